// Package keep keeps rides: the recordings untouched, and what they told.
//
// A [Store] is a folder. In it lie an SQLite database, the recordings' files by their SHA-256 (files/ab/abcdef…), files
// that are being received (incoming/) and, for each ride that was worked out, what takes longest to make (worked/, which
// can be made anew at any time). One store may be used by several processes at once, on one machine.
//
// A recording goes in two steps: [Store.Receive] takes each of its files in, [Store.Keep] makes a ride of them. When
// Keep returns, the ride is on disk and stays there whatever happens to the process. [Store.Work] then reads and
// builds it, and its state goes from waiting over working to ready, or to refused with all that is wrong. A ride that is
// refused keeps its files.
//
// A course has versions: a plan that was ridden never changes under the ride. What the plan calls a line is, across the
// versions of its course, the same line ([Store.Attempts]).
//
// Whatever comes from outside is a value in the database and never part of a path.
package keep

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"time"

	"github.com/gofrs/flock"
	_ "modernc.org/sqlite" // the database

	"groundline/report"
)

// Options are the choices of who opens a store; zero fields take their default.
type Options struct {
	Program string           // name and version, told with what was worked out; default "groundline"
	Log     *slog.Logger     // default: nothing is logged
	Now     func() time.Time // default time.Now
	// Child makes the command of a process that calls [WorkApart] on its standard streams; each ride is then read and worked
	// out in one, which may die of it. nil: in this process.
	Child func(context.Context) *exec.Cmd

	remaking bool // the database is lost: begin a new one beside the recordings
}

// Store is an open store. Its methods may be called from several goroutines.
type Store struct {
	dir     string
	program string
	log     *slog.Logger
	now     func() time.Time
	child   func(context.Context) *exec.Cmd

	write *sql.DB // one connection: who writes waits here for the others of this process, in turn
	read  *sql.DB

	desk     *desk // this store's part of incoming
	bell     bell  // rings when a ride changes
	kept     bell  // rings when there is work
	ways     waysOf
	prog     progress
	workers  workers
	deaths   deaths
	remaking bool
	anew     chan struct{} // rides that are made anew for who asks

	// Of tests: stand for faults of the program in building a ride.
	broken func(Ride)
	spoil  func(*report.Debrief)
}

// The names in a store's folder.
const (
	databaseName = "groundline.db"
	filesName    = "files"
	incomingName = "incoming"
	workedName   = "worked"
)

// Who else than the owner may look at rides is nobody's business but the owner's.
const (
	folderMode fs.FileMode = 0o700
	fileMode   fs.FileMode = 0o600
)

// readers is how many lists are read at the same time.
const readers = 4

// busyMS is how long a statement waits for the other processes' writing, ms; each holds the database for some
// milliseconds, or as long as the disk takes.
const busyMS = 20_000

// Open opens the store in a folder, which is made where there is none, and brings it to this program's layout. The
// error is a [*NewerError] for a store that a newer program made, a [*ForeignError] for a database that is something
// else or damaged; neither is touched.
func Open(ctx context.Context, dir string, opt Options) (*Store, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", dir, err)
	}
	s := &Store{dir: abs, program: opt.Program, log: opt.Log, now: opt.Now, child: opt.Child, remaking: opt.remaking}
	if s.program == "" {
		s.program = "groundline"
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if s.now == nil {
		s.now = time.Now
	}
	s.anew = make(chan struct{}, runtime.GOMAXPROCS(0))
	s.ways.known, s.prog.of = map[int64]*ways{}, map[int64]*reading{}
	if info, err := os.Stat(abs); err == nil && !info.IsDir() {
		return nil, &InvalidError{abs, "not a folder", "one to keep rides in"}
	}
	if err := os.MkdirAll(abs, folderMode); err != nil {
		return nil, s.explain(err)
	}
	if err := syncDir(filepath.Dir(abs)); err != nil && !errors.Is(err, fs.ErrPermission) { // of a folder that is not ours, and there
		return nil, s.explain(err)
	}
	if err := s.open(ctx); err != nil {
		s.Close()
		return nil, s.explain(err)
	}
	return s, nil
}

func (s *Store) open(ctx context.Context) error {
	file := filepath.Join(s.dir, databaseName)
	full, err := s.hasRecordings() // looked at before the database: they come after it
	if err != nil {
		return err
	}
	full = full && !s.remaking
	if _, err := os.Stat(file); full && errors.Is(err, fs.ErrNotExist) {
		return &ForeignError{file, "missing, beside the recordings that it knew", true}
	}
	// Made here and not by SQLite, for its mode, which the files beside it take over.
	made, err := os.OpenFile(file, os.O_CREATE|os.O_EXCL|os.O_RDWR, fileMode)
	switch {
	case err == nil:
		made.Close()
	case !errors.Is(err, fs.ErrExist):
		return err
	}
	if err := patient(ctx, func() error { return s.known(ctx, file, full) }); err != nil {
		return err
	}
	for _, name := range []string{filesName, incomingName, workedName} {
		if err := os.Mkdir(filepath.Join(s.dir, name), folderMode); err != nil && !errors.Is(err, fs.ErrExist) {
			return err
		}
	}
	if s.write, err = sql.Open("sqlite", dsn(file, "_txlock", "immediate")); err != nil {
		return err
	}
	s.write.SetMaxOpenConns(1)
	if err := patient(ctx, func() error { return s.migrate(ctx, file) }); err != nil {
		return err
	}
	if err := syncDir(s.dir); err != nil {
		return err
	}
	if s.read, err = sql.Open("sqlite", dsn(file, "_query_only", "1")); err != nil {
		return err
	}
	s.read.SetMaxOpenConns(readers)
	s.read.SetMaxIdleConns(readers)
	s.workers.lock = flock.New(filepath.Join(s.dir, workLockName), flock.SetPermissions(fileMode))
	if s.desk, err = newDesk(filepath.Join(s.dir, incomingName)); err != nil {
		return err
	}
	return s.tidy(ctx)
}

// patient does something again while the database is busy, for as long as a statement would wait. A database that is just
// being made says so at once: SQLite doesn't wait where another changes the way its log is kept.
func patient(ctx context.Context, do func() error) error {
	for until := time.Now().Add(busyMS * time.Millisecond); ; {
		err := do()
		if sqliteCode(err) != sqliteBusy || time.Now().After(until) {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(10 * time.Millisecond):
		}
	}
}

// There tells whether a folder holds a store, or what is left of one.
func There(dir string) bool {
	for _, name := range []string{databaseName, filesName} {
		if _, err := os.Stat(filepath.Join(dir, name)); !errors.Is(err, fs.ErrNotExist) {
			return true
		}
	}
	return false
}

// hasRecordings tells whether there is a file among the kept ones.
func (s *Store) hasRecordings() (bool, error) {
	folders, err := os.ReadDir(filepath.Join(s.dir, filesName))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return false, err
	}
	for _, f := range folders {
		files, err := os.ReadDir(filepath.Join(s.dir, filesName, f.Name()))
		if err != nil {
			continue // not a folder of the store's
		}
		if slices.ContainsFunc(files, func(e fs.DirEntry) bool { return isSum(e.Name()) }) {
			return true, nil
		}
	}
	return false, nil
}

// dsn is how a database file is opened: readers and the writer don't wait for each other, and what is committed is on disk.
func dsn(file string, more ...string) string {
	q := url.Values{"_pragma": {
		fmt.Sprintf("busy_timeout(%d)", busyMS), "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)", "trusted_schema(0)", "secure_delete(1)",
	}}
	for i := 0; i+1 < len(more); i += 2 {
		q.Set(more[i], more[i+1])
	}
	return fileURI(file) + "?" + q.Encode()
}

// fileURI names a file as SQLite wants it.
func fileURI(file string) string {
	u := url.URL{Scheme: "file", OmitHost: true, Path: filepath.ToSlash(file)}
	if filepath.VolumeName(file) != "" {
		u.Path = "/" + u.Path
	}
	return u.String()
}

// Close ends the use of the store. What was kept is on disk already.
func (s *Store) Close() error {
	var all []error
	if s.desk != nil {
		s.desk.close()
	}
	for _, db := range []*sql.DB{s.read, s.write} {
		if db != nil {
			all = append(all, db.Close())
		}
	}
	return errors.Join(all...)
}

// Dir is the store's folder.
func (s *Store) Dir() string { return s.dir }

// syncDir brings the names in a folder to disk.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return syncFolder(d)
}

// in runs a transaction that may write, and that nobody else's writing comes between. Once begun, it is not stopped when the
// context ends: SQLite would roll it back, and free the lock, in the middle of what is done beside the database. A full
// disk does that all the same; what was done beside it has then to be undone under a lock of its own.
func (s *Store) in(ctx context.Context, do func(ctx context.Context, tx *sql.Tx) error) error {
	conn, err := s.write.Conn(ctx) // waits for this process's others
	if err != nil {
		return s.explain(err)
	}
	defer conn.Close()
	ctx = context.WithoutCancel(ctx)
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return s.explain(err)
	}
	// A newer program may have brought the store to its layout since it was opened here.
	var version int
	err = tx.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version)
	if err == nil && version > layout {
		err = &NewerError{File: filepath.Join(s.dir, databaseName), Made: version, Known: layout}
	}
	if err == nil {
		err = do(ctx, tx)
	}
	if err != nil {
		tx.Rollback()
		return s.explain(err)
	}
	return s.explain(tx.Commit())
}

// bell wakes all who wait for something to happen.
type bell struct {
	mu sync.Mutex
	ch chan struct{}
}

// wait is a channel that is closed when the bell rings next.
func (b *bell) wait() <-chan struct{} {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.ch == nil {
		b.ch = make(chan struct{})
	}
	return b.ch
}

func (b *bell) ring() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.ch != nil {
		close(b.ch)
		b.ch = nil
	}
}

// Changed is a channel that is closed when a ride of this store next changes its state, is kept or removed. Ask for it
// before looking at the store, so that nothing happens in between. What other processes do is heard while Work runs, within a
// second.
func (s *Store) Changed() <-chan struct{} { return s.bell.wait() }

func ms(t time.Time) int64 { return t.UnixMilli() }

func fromMS(v int64) time.Time { return time.UnixMilli(v).UTC() }
