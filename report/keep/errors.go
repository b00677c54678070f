package keep

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"syscall"

	"modernc.org/sqlite"
)

// ErrNotFound tells that there is no such ride, horse, course or file.
var ErrNotFound = errors.New("no such thing in the store")

// NewerError tells that a newer program made the store.
type NewerError struct {
	File        string
	Made, Known int // layouts
}

func (e *NewerError) Error() string {
	return fmt.Sprintf("%s: layout %d, expected at most %d: a newer groundline made it, use that one; nothing was changed", e.File, e.Made, e.Known)
}

// ForeignError tells that a store's database is something else, or damaged.
type ForeignError struct {
	File, Found string
	Lost        bool // it is missing or damaged, and not another program's
}

func (e *ForeignError) Error() string {
	if e.Lost {
		return fmt.Sprintf("%s: %s, expected a store's database: put this file back from a copy, or make the store again of its recordings by groundline kept check --repair; nothing was changed", e.File, e.Found)
	}
	return fmt.Sprintf("%s: %s, expected a store's database: name another folder, or put this file back from a copy; nothing was changed", e.File, e.Found)
}

// FullError tells that the disk takes no more. What was kept before is whole.
type FullError struct {
	Dir     string
	Outside bool // not the store's: a folder that is exported to
	Err     error
}

func (e *FullError) Error() string {
	if e.Outside {
		return fmt.Sprintf("%s: no room left on the disk: free some space, or name a folder on another disk; what is kept is whole", e.Dir)
	}
	return fmt.Sprintf("%s: no room left on the disk: free some space, or remove rides, and give the recording once more; what was kept before is whole", e.Dir)
}

func (e *FullError) Unwrap() error { return e.Err }

// NotAllowedError tells that a folder's place or owner lets this user not write there.
type NotAllowedError struct {
	Dir string
	Err error
}

func (e *NotAllowedError) Error() string {
	return fmt.Sprintf("%s: can't be written to (%v), expected a folder of your own: name another or, to read it, a copy", e.Dir, e.Err)
}

func (e *NotAllowedError) Unwrap() error { return e.Err }

// TooLargeError tells that a file is longer than its receiver takes.
type TooLargeError struct {
	Name  string
	Limit int64 // bytes
}

func (e *TooLargeError) Error() string {
	return fmt.Sprintf("%s: longer than %d bytes, expected a recording of a ride", e.Name, e.Limit)
}

// InvalidError tells that a value can't be kept.
type InvalidError struct{ Field, Found, Expected string }

func (e *InvalidError) Error() string {
	return fmt.Sprintf("%s: %s, expected %s", e.Field, e.Found, e.Expected)
}

// InUseError tells that something can't be removed because rides have it.
type InUseError struct {
	What  string
	Rides int
	Hint  string // what to do instead
}

func (e *InUseError) Error() string {
	n := fmt.Sprintf("%d rides are", e.Rides)
	if e.Rides == 1 {
		n = "1 ride is"
	}
	return fmt.Sprintf("%s: %s of it, expected none: %s", e.What, n, e.Hint)
}

// NotReadyError tells that a ride is not worked out.
type NotReadyError struct {
	ID    int64
	State State
	Why   string // of a refused ride
}

func (e *NotReadyError) Error() string {
	if e.State == Refused {
		return fmt.Sprintf("ride %d can't be told: %s", e.ID, e.Why)
	}
	return fmt.Sprintf("ride %d is %s, expected one that is worked out", e.ID, e.State)
}

// SQLite's result codes that are told apart (sqlite.org/rescode.html): the low byte of the code.
const (
	sqliteBusy     = 5
	sqliteReadOnly = 8
	sqliteCorrupt  = 11
	sqliteFull     = 13
	sqliteCantOpen = 14
	sqliteNotADB   = 26
	sqliteShmSize  = 10 | 19<<8 // whole code: no room for what the processes share
)

func sqliteCode(err error) int { return sqliteWholeCode(err) & 0xff }

func sqliteWholeCode(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code()
	}
	return 0
}

// explain turns what the system says into an error of this package, where there is one.
func (s *Store) explain(err error) error {
	var full *FullError
	var barred *NotAllowedError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &full), errors.As(err, &barred):
		return err
	case errors.Is(err, sql.ErrNoRows):
		return ErrNotFound
	case sqliteCode(err) == sqliteFull, sqliteWholeCode(err) == sqliteShmSize, errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return &FullError{Dir: s.dir, Err: err}
	case sqliteCode(err) == sqliteReadOnly, sqliteCode(err) == sqliteCantOpen, errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return &NotAllowedError{Dir: s.dir, Err: err}
	case sqliteCode(err) == sqliteBusy:
		return fmt.Errorf("%s: another program has held the store for more than %d s, expected it to be free: try again (%w)", s.dir, busyMS/1000, err)
	case sqliteCode(err) == sqliteCorrupt, sqliteCode(err) == sqliteNotADB:
		return &ForeignError{filepath.Join(s.dir, databaseName), "a damaged database", true}
	}
	return err
}
