package keep

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"github.com/gofrs/flock"

	"groundline/course"
	"groundline/trace/read"
)

// CheckOptions are the choices of a check.
type CheckOptions struct {
	ReadData bool // read every recording, and not only its length
	Repair   bool // mend what can be
}

// Finding is one thing in a store that is not as it was kept.
type Finding struct {
	Item   string // "ride 3: motion.csv", "course version 2", "database"
	Found  string
	Damage bool   // else it is a remark
	Mended string // what was done about it; "" for nothing
}

func (f Finding) String() string {
	out := f.Item + ": " + f.Found
	if f.Mended != "" {
		out += "; " + f.Mended
	}
	return out
}

// Checked is what a check looked at.
type Checked struct {
	Rides, Files, Plans int
	Bytes               int64 // read
	Damaged             int   // findings of damage that was not mended
}

// checking is a check under way.
type checking struct {
	*Store
	opt  CheckOptions
	out  Checked
	tell func(Finding)
}

func (c *checking) found(f Finding) {
	if f.Damage && f.Mended == "" {
		c.out.Damaged++
	}
	c.tell(f)
}

// Check holds a store against what was kept: the database against itself, recordings and plans against their SHA-256, what
// rides told against what can be read, and files against rides. tell hears of all that is not as it should be. The store may be
// in use meanwhile.
func (s *Store) Check(ctx context.Context, opt CheckOptions, tell func(Finding)) (Checked, error) {
	c := &checking{Store: s, opt: opt, tell: tell}
	for _, part := range []func(context.Context) error{c.database, c.recordings, c.plans, c.results, c.slipsToo} {
		if err := part(ctx); err != nil {
			return c.out, s.explain(err)
		}
	}
	return c.out, nil
}

func (c *checking) database(ctx context.Context) error {
	for _, query := range []string{
		"PRAGMA integrity_check(20)",
		`SELECT "table" || ' row ' || coalesce(rowid, 0) || ' refers to nothing' FROM pragma_foreign_key_check LIMIT 20`,
	} {
		err := each(ctx, c.read, query, func(r row) error {
			var text string
			if err := r.Scan(&text); err != nil {
				return err
			}
			if text != "ok" {
				c.found(Finding{Item: "database", Found: text, Damage: true})
			}
			return nil
		})
		if code := sqliteCode(err); code == sqliteCorrupt || code == sqliteNotADB {
			c.found(Finding{Item: "database", Found: err.Error(), Damage: true})
		} else if err != nil {
			return err
		}
	}
	return nil
}

// recordings holds the files against the rides, both ways.
func (c *checking) recordings(ctx context.Context) error {
	type kept struct {
		ride  int64
		name  string
		bytes int64
	}
	rides, known := map[int64]bool{}, map[string][]kept{}
	var sums []string
	err := each(ctx, c.read, "SELECT ride_id, name, sha256, bytes FROM file ORDER BY ride_id, nth", func(r row) error {
		var k kept
		var sum string
		err := r.Scan(&k.ride, &k.name, &sum, &k.bytes)
		if known[sum] == nil {
			sums = append(sums, sum)
		}
		rides[k.ride], known[sum] = true, append(known[sum], k)
		return err
	})
	if err != nil {
		return err
	}
	c.out.Rides = len(rides)
	for _, sum := range sums {
		found, err := c.recording(ctx, sum, known[sum][0].bytes)
		if err != nil {
			return err
		}
		c.out.Files++
		for _, k := range known[sum] {
			if found != "" {
				c.found(Finding{Item: fmt.Sprintf("ride %d: %s", k.ride, k.name), Found: found + ": this recording is damaged, give it again", Damage: true})
			}
		}
	}
	return c.eachFile(func(sum string) error {
		if known[sum] != nil {
			return nil
		}
		var doomed int
		if err := c.read.QueryRowContext(ctx, "SELECT (SELECT count(*) FROM doomed WHERE sha256 = ?1) + (SELECT count(*) FROM file WHERE sha256 = ?1)", sum).Scan(&doomed); err != nil || doomed > 0 {
			return err // kept or removed meanwhile
		}
		f := Finding{Item: "file " + sum[:12], Found: "of no ride"}
		if c.opt.Repair {
			if id, err := c.keepFound(ctx, slip{Files: []slipFile{{SHA256: sum}}}, 0); err != nil {
				f.Found += ": " + err.Error()
			} else {
				f.Mended = fmt.Sprintf("ride %d now", id)
			}
		}
		c.found(f)
		return nil
	})
}

// recording says what is wrong with a kept file, "" for nothing.
func (c *checking) recording(ctx context.Context, sum string, size int64) (string, error) {
	info, err := os.Stat(c.path(sum))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "missing", nil
	case err != nil:
		return "can't be read", nil
	case !info.Mode().IsRegular():
		return "not a plain file", nil
	case info.Size() != size:
		return fmt.Sprintf("%d bytes, expected %d", info.Size(), size), nil
	case !c.opt.ReadData:
		return "", nil
	}
	in, err := os.Open(c.path(sum))
	if err != nil {
		return "can't be read", nil
	}
	defer in.Close()
	c.out.Bytes += size
	if err := checkSum(ctx, in, sum, size); err != nil {
		return err.Error(), ctx.Err()
	}
	return "", nil
}

// eachFile calls do with each kept file.
func (s *Store) eachFile(do func(sum string) error) error {
	folders, err := os.ReadDir(filepath.Join(s.dir, filesName))
	if err != nil {
		return err
	}
	for _, folder := range folders {
		files, err := os.ReadDir(filepath.Join(s.dir, filesName, folder.Name()))
		if err != nil {
			continue // not a folder of the store's
		}
		for _, f := range files {
			if isSum(f.Name()) && f.Name()[:2] == folder.Name() {
				if err := do(f.Name()); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

func (c *checking) plans(ctx context.Context) error {
	type version struct {
		id   int64
		want string
		sum  string
		bad  error
	}
	var wrong []version
	err := each(ctx, c.read, "SELECT id, sha256, plan FROM course_version ORDER BY id", func(r row) error {
		var v version
		var text []byte
		if err := r.Scan(&v.id, &v.want, &text); err != nil {
			return err
		}
		c.out.Plans++
		sum := sha256.Sum256(text)
		if v.sum = hex.EncodeToString(sum[:]); v.sum != v.want {
			_, _, v.bad = course.ReadPlan("plan", text)
			wrong = append(wrong, v)
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, v := range wrong {
		f := Finding{Item: fmt.Sprintf("course version %d", v.id), Found: "its plan is not the one that was kept", Damage: true}
		if v.bad != nil {
			f.Found += " and can't be read"
		} else if c.opt.Repair {
			err := c.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
				_, err := tx.ExecContext(ctx, "UPDATE course_version SET sha256 = ? WHERE id = ? AND sha256 = ?", v.sum, v.id, v.want)
				return err
			})
			if err != nil {
				return err
			}
			f.Mended = "it can be read, and is taken as it is now"
		}
		c.found(f)
	}
	return nil
}

// results looks whether what rides told can be read; it can be made again.
func (c *checking) results(ctx context.Context) error {
	var wrong []int64
	err := each(ctx, c.read, "SELECT r.id, coalesce(t.debrief, x''), coalesce(t.record, x'') FROM ride r LEFT JOIN told t ON t.ride_id = r.id WHERE r.state = 'ready' ORDER BY r.id", func(r row) error {
		var id int64
		var debrief, record []byte
		if err := r.Scan(&id, &debrief, &record); err != nil {
			return err
		}
		for _, packed := range [][]byte{debrief, record} {
			if text, err := unpacked(packed); err != nil || !json.Valid(text) {
				wrong = append(wrong, id)
				break
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, id := range wrong {
		f := Finding{Item: fmt.Sprintf("ride %d", id), Found: "what it told is damaged", Damage: true}
		if c.opt.Repair {
			if err := c.in(ctx, func(ctx context.Context, tx *sql.Tx) error { return c.again(ctx, tx, id) }); err != nil {
				return err
			}
			c.kept.ring()
			f.Mended = "it is worked out again"
		}
		c.found(f)
	}
	entries, err := os.ReadDir(filepath.Join(c.dir, workedName))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, e := range entries {
		path := filepath.Join(c.dir, workedName, e.Name())
		data, err := os.ReadFile(path)
		var rest restPart
		if _, ok := readParts(bytes.NewReader(data), &rest); err != nil || ok {
			continue
		}
		f := Finding{Item: "worked/" + e.Name(), Found: "can't be read, and is made again when it is asked for"}
		if c.opt.Repair && os.Remove(path) == nil {
			f.Mended = "removed"
		}
		c.found(f)
	}
	return nil
}

// slipsToo holds what is written beside the database against it.
func (c *checking) slipsToo(ctx context.Context) error {
	var ids []int64
	err := each(ctx, c.read, "SELECT id FROM ride ORDER BY id", func(r row) error {
		var id int64
		err := r.Scan(&id)
		ids = append(ids, id)
		return err
	})
	if err != nil {
		return err
	}
	behind := 0
	for _, id := range ids {
		want, err := c.slipOf(ctx, id)
		if errors.Is(err, ErrNotFound) {
			continue // removed meanwhile
		}
		if err != nil {
			return err
		}
		if have, err := os.ReadFile(c.slipFile(id)); err == nil && bytes.Equal(have, want) {
			continue
		}
		behind++
		if c.opt.Repair {
			if err := c.writeSlip(ctx, id); err != nil {
				return err
			}
		}
	}
	if behind > 0 {
		f := Finding{Item: slipsName, Found: fmt.Sprintf("%d of %d rides are described in the database alone, or were changed there since", behind, len(ids))}
		if c.opt.Repair {
			f.Mended = "written beside it"
		}
		c.found(f)
	}
	return nil
}

// keepFound makes a ride of files that are in the store already. Where the slip has no names, they are made up.
func (s *Store) keepFound(ctx context.Context, p slip, id int64) (int64, error) {
	var files []*Received
	for _, f := range p.Files {
		path := s.path(f.SHA256)
		in, err := os.Open(path)
		if err != nil {
			return 0, fmt.Errorf("%s is missing", f.SHA256[:12])
		}
		info, err := in.Stat()
		if err == nil {
			err = checkSum(ctx, in, f.SHA256, info.Size())
		}
		in.Close()
		if err != nil {
			return 0, err
		}
		name := f.Name
		if name == "" {
			name = "recording-" + f.SHA256[:8]
			if k := read.Look(path, ""); k.Format != "" {
				name += "." + fold(k.Format)
			}
		}
		files = append(files, &Received{Name: baseName(name), SHA256: f.SHA256, Bytes: info.Size()})
	}
	of := About{Label: p.Label, Note: p.Note, Columns: p.Columns}
	var err error
	if p.Horse != "" {
		if of.HorseID, err = s.NameHorse(ctx, p.Horse); err != nil {
			return 0, err
		}
	}
	if p.Plan != "" {
		plan, _, err := course.ReadPlan("plan", []byte(p.Plan))
		if err != nil {
			return 0, err
		}
		if _, of.CourseVersionID, _, err = s.TakePlan(ctx, plan); err != nil {
			return 0, err
		}
	}
	var known *before
	if id > 0 {
		known = &before{id: id, keptMS: p.KeptMS}
	}
	got, _, err := s.keep(ctx, files, of, known)
	return got, err
}

// Rebuild makes a store again of its recordings and of what is written beside its database, which is missing or damaged; what
// is left of that is put aside under another name. tell hears of every ride and of what can't be one. The error is an
// [*InUseError] while another process has the store, and that of [Open] for a database that is not lost.
func Rebuild(ctx context.Context, dir string, opt Options, tell func(Finding)) error {
	s, err := Open(ctx, dir, opt)
	if err == nil {
		s.Close()
		return &InvalidError{dir, "its database is whole", "a store that has lost it"}
	}
	var foreign *ForeignError
	if !errors.As(err, &foreign) || !foreign.Lost {
		return err
	}
	lock := flock.New(filepath.Join(dir, workLockName), flock.SetPermissions(fileMode))
	if ok, err := lock.TryLock(); err != nil {
		return err
	} else if !ok {
		return &InvalidError{dir, "another program works in it", "one that no program uses"}
	}
	err = putAside(filepath.Join(dir, databaseName), tell)
	if err = errors.Join(err, lock.Unlock()); err != nil {
		return err
	}
	opt.remaking = true
	if s, err = Open(ctx, dir, opt); err != nil {
		return err
	}
	defer s.Close()
	ids, err := s.slips()
	if err != nil {
		return err
	}
	slices.Sort(ids)
	used := map[string]bool{}
	again := func(p slip, id int64, item string) {
		f := Finding{Item: item, Found: "found again"}
		got, err := s.keepFound(ctx, p, id)
		if err != nil {
			f.Found, f.Damage = "can't be kept again: "+err.Error(), true
		} else {
			f.Mended = fmt.Sprintf("ride %d", got)
			for _, x := range p.Files {
				used[x.SHA256] = true
			}
		}
		tell(f)
	}
	for _, id := range ids {
		if p, ok := s.readSlip(id); ok {
			again(p, id, fmt.Sprintf("ride %d", id))
		} else {
			tell(Finding{Item: filepath.Base(s.slipFile(id)), Found: "can't be read", Damage: true})
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
	}
	return s.eachFile(func(sum string) error {
		if !used[sum] {
			again(slip{Files: []slipFile{{SHA256: sum}}}, 0, "file "+sum[:12])
		}
		return ctx.Err()
	})
}

// putAside renames what is left of a database.
func putAside(file string, tell func(Finding)) error {
	for n := 1; ; n++ {
		aside := fmt.Sprintf("%s.lost-%d", file, n)
		if _, err := os.Stat(aside); !errors.Is(err, fs.ErrNotExist) {
			continue
		}
		for _, ending := range []string{"-wal", "-shm", ""} {
			if err := os.Rename(file+ending, aside+ending); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
		tell(Finding{Item: filepath.Base(file), Found: "lost", Mended: "what is left of it is " + filepath.Base(aside)})
		return nil
	}
}
