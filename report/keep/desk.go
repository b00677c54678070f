package keep

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"

	"github.com/gofrs/flock"
)

// desk is an open store's own place in incoming: a folder for the files that it receives, and a locked file beside it
// that tells the others that it is in use. When its process dies, the system frees the lock, and the next one tidies up.
type desk struct {
	incoming string
	name     string
	lock     *flock.Flock
	next     atomic.Int64
}

const lockEnding = ".lock"

func newDesk(incoming string) (*desk, error) {
	for {
		d := &desk{incoming: incoming, name: rand.Text()}
		d.lock = flock.New(d.lockFile(), flock.SetPermissions(fileMode))
		ok, err := d.lock.TryLock()
		if err != nil {
			return nil, err
		}
		// Another process that tidies up may take it for a dead one's until it is locked.
		if _, gone := os.Stat(d.lockFile()); !ok || gone != nil {
			d.lock.Unlock()
			continue
		}
		if err := os.Mkdir(d.folder(), folderMode); err != nil {
			d.close()
			return nil, err
		}
		return d, nil
	}
}

func (d *desk) folder() string   { return filepath.Join(d.incoming, d.name) }
func (d *desk) lockFile() string { return filepath.Join(d.incoming, d.name+lockEnding) }

// note is the name of a note, which lies here while the file of that SHA-256 goes to its place in the store: should this
// process die, the next one looks whether a ride has that file. None but these is looked for: of a store whose database was put
// back from an older copy, the others are what somebody kept.
func (d *desk) note(sum string) string { return filepath.Join(d.folder(), sum) }

// takeNotes takes over the notes of a desk that is no more.
func (d *desk) takeNotes(of string) (sums []string, err error) {
	entries, err := os.ReadDir(filepath.Join(d.incoming, of))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), exportNote) {
			removeExport(filepath.Join(d.incoming, of, e.Name()))
		}
		if isSum(e.Name()) {
			if err := os.WriteFile(d.note(e.Name()), nil, fileMode); err != nil {
				return nil, err
			}
			sums = append(sums, e.Name())
		}
	}
	return sums, nil
}

// exportNote begins the name of a note that says which folder an export is being written to, before it has its name.
const exportNote = "export."

const exportEnding = ".part"

// noteExport leaves a note that an export goes to a folder, so that what a killed one leaves is removed; done takes it back.
func (d *desk) noteExport(folder string) (done func(), err error) {
	note := filepath.Join(d.folder(), fmt.Sprint(exportNote, d.next.Add(1)))
	return func() { os.Remove(note) }, writeFile(note, []byte(folder))
}

// removeExport removes what an export left that was killed. The name is looked at: anyone may have written the note.
func removeExport(note string) {
	data, err := os.ReadFile(note)
	folder := string(data)
	if base := filepath.Base(folder); err == nil && filepath.IsAbs(folder) && strings.HasPrefix(base, ".") && strings.HasSuffix(base, exportEnding) {
		os.RemoveAll(folder)
	}
}

// place is the name of a new file.
func (d *desk) place() string {
	return filepath.Join(d.folder(), fmt.Sprint(d.next.Add(1)))
}

func (d *desk) close() {
	os.RemoveAll(d.folder())
	letGo(d.lock)
}

// letGo removes a lock's file while it is held or, where an open file can't be removed, after.
func letGo(lock *flock.Flock) {
	err := os.Remove(lock.Path())
	lock.Unlock()
	if err != nil {
		os.Remove(lock.Path())
	}
}

// sweep removes the desks of processes that are no more, and gives their names and the files that they were placing.
func (d *desk) sweep() (dead, placing []string, err error) {
	entries, err := os.ReadDir(d.incoming)
	if err != nil {
		return nil, nil, err
	}
	locked := map[string]bool{}
	for _, e := range entries {
		name, isLock := strings.CutSuffix(e.Name(), lockEnding)
		if !isLock {
			continue
		}
		if name == d.name {
			locked[name] = true
			continue
		}
		lock := flock.New(filepath.Join(d.incoming, e.Name()), flock.SetFlag(os.O_RDWR)) // never made here
		if ok, err := lock.TryLock(); !ok || err != nil {
			locked[name] = true
			continue
		}
		dead = append(dead, name)
		sums, err := d.takeNotes(name)
		if placing = append(placing, sums...); err == nil {
			err = os.RemoveAll(filepath.Join(d.incoming, name))
		}
		letGo(lock)
		if err != nil {
			return dead, placing, err
		}
	}
	// A desk has its lock before it has a folder, and loses it after.
	for _, e := range entries {
		if name, isLock := strings.CutSuffix(e.Name(), lockEnding); !isLock && !locked[name] {
			if _, err := os.Stat(filepath.Join(d.incoming, name+lockEnding)); errors.Is(err, fs.ErrNotExist) {
				if err := os.RemoveAll(filepath.Join(d.incoming, name)); err != nil {
					return dead, placing, err
				}
			}
		}
	}
	return dead, placing, nil
}

// tidy does what processes that died have left undone.
func (s *Store) tidy(ctx context.Context) error {
	dead, placing, err := s.desk.sweep()
	if err != nil {
		return err
	}
	if len(dead) > 0 {
		s.log.Info("another process has ended without closing the store", "desks", len(dead))
		if leave, ok, err := s.enter(ctx); ok {
			leave() // what it had in hand waits again
		} else if err != nil {
			return err
		}
	}
	var doomed int
	if err := s.read.QueryRowContext(ctx, "SELECT count(*) FROM doomed").Scan(&doomed); err != nil {
		return err
	}
	if len(dead) == 0 && doomed == 0 {
		return nil
	}
	err = s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		for _, sum := range placing {
			if _, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO doomed SELECT ?1 WHERE NOT EXISTS (SELECT 1 FROM file WHERE sha256 = ?1)", sum); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, sum := range placing {
		os.Remove(s.desk.note(sum))
	}
	known := map[int64]bool{}
	err = each(ctx, s.read, "SELECT id FROM ride", func(r row) error {
		var id int64
		err := r.Scan(&id)
		known[id] = true
		return err
	})
	if err != nil {
		return err
	}
	s.dropWorked(func(id int64) bool { return !known[id] })
	if err := s.dropSlips(known); err != nil {
		return err
	}
	s.kept.ring() // there may be rides to take over
	s.bell.ring()
	return s.unlink(ctx)
}
