package keep

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"time"
)

// State is how far a ride is.
type State string

// The states of a ride. Refused is one that can't be read or told: Ride.Why says why.
const (
	Waiting State = "waiting"
	Working State = "working"
	Ready   State = "ready"
	Refused State = "refused"
)

// File is one of a ride's files.
type File struct {
	Name   string
	SHA256 string
	Bytes  int64
}

// Ride is one kept recording.
type Ride struct {
	ID     int64
	KeptAt time.Time
	State  State
	Why    string // why it was refused, one fault a line
	Tries  int    // how often its working out was begun

	HorseID         int64  // 0: not said
	Horse           string // name
	CourseID        int64  // 0: no course
	CourseVersionID int64
	CourseVersion   int    // from 1
	Course          string // name of that version's plan
	Label, Note     string
	Columns         string
	Files           []File

	// What it told, once it was worked out.
	Start     *time.Time // nil where no file tells the date
	DurationS float64
	Basis     string // as in report.Debrief
	Jumps     int    // efforts jumped, warm-up among them
	Refusals  int    // refused and run out
	Lines     int
	Rounds    int
	Strides   int    // rows of the stride table
	Program   string // that worked it out
}

// About is what people said about the ride.
func (r Ride) About() About {
	return About{HorseID: r.HorseID, CourseVersionID: r.CourseVersionID, Label: r.Label, Note: r.Note, Columns: r.Columns}
}

// At is when the ride began or, while that is not known, when it was kept: what lists are ordered by.
func (r Ride) At() time.Time {
	if r.Start != nil {
		return *r.Start
	}
	return r.KeptAt
}

// Filter chooses rides; zero fields choose all.
type Filter struct {
	HorseID         int64
	CourseID        int64
	CourseVersionID int64
	State           State
	Text            string    // words that all must be in label, note, names of files, horse or course
	From, To        time.Time // [From, To) of Ride.At
	Before          Cursor    // where the page before ended
	Limit           int       // rides a page; 50 if 0, at most 1000
}

// Cursor is a place in the list of rides, newest first. The zero value is its beginning.
type Cursor struct{ atMS, id int64 }

// IsZero tells whether it is the beginning.
func (c Cursor) IsZero() bool { return c == Cursor{} }

// String is the cursor as text for a link; "" for the beginning.
func (c Cursor) String() string {
	if c.IsZero() {
		return ""
	}
	return fmt.Sprintf("%d-%d", c.atMS, c.id)
}

// ParseCursor understands what String wrote.
func ParseCursor(s string) (Cursor, error) {
	if s == "" {
		return Cursor{}, nil
	}
	i := strings.LastIndexByte(s, '-')
	if i > 0 {
		at, errAt := strconv.ParseInt(s[:i], 10, 64)
		id, errID := strconv.ParseInt(s[i+1:], 10, 64)
		if errAt == nil && errID == nil && id > 0 {
			return Cursor{at, id}, nil
		}
	}
	return Cursor{}, &InvalidError{"page", strconv.Quote(cut(s, 40)), "what the page before gave"}
}

const (
	usualPage = 50
	mostPage  = 1000
	mostWords = 10
)

const rideColumns = `r.id, r.kept_ms, r.state, r.why, r.tries, coalesce(r.horse_id, 0), coalesce(h.name, ''), coalesce(r.course_id, 0),
	coalesce(r.version_id, 0), coalesce(v.version, 0), coalesce(v.name, ''), r.label, r.note, r.columns,
	r.start_ms, r.duration_s, r.basis, r.jumps, r.refusals, r.lines, r.rounds, r.strides, r.program, r.at_ms`

const rideTables = ` FROM ride r LEFT JOIN horse h ON h.id = r.horse_id LEFT JOIN course_version v ON v.id = r.version_id`

type row interface{ Scan(...any) error }

func scanRide(r row) (Ride, int64, error) {
	var out Ride
	var keptMS, atMS int64
	var startMS *int64
	err := r.Scan(&out.ID, &keptMS, &out.State, &out.Why, &out.Tries, &out.HorseID, &out.Horse, &out.CourseID,
		&out.CourseVersionID, &out.CourseVersion, &out.Course, &out.Label, &out.Note, &out.Columns,
		&startMS, &out.DurationS, &out.Basis, &out.Jumps, &out.Refusals, &out.Lines, &out.Rounds, &out.Strides, &out.Program, &atMS)
	out.KeptAt = fromMS(keptMS)
	if startMS != nil {
		t := fromMS(*startMS)
		out.Start = &t
	}
	return out, atMS, err
}

// where is the filter as SQL, without Before.
func (f Filter) where() (string, []any) {
	var parts []string
	var args []any
	add := func(part string, a ...any) {
		parts = append(parts, part)
		args = append(args, a...)
	}
	if f.HorseID != 0 {
		add("r.horse_id = ?", f.HorseID)
	}
	if f.CourseID != 0 {
		add("r.course_id = ?", f.CourseID)
	}
	if f.CourseVersionID != 0 {
		add("r.version_id = ?", f.CourseVersionID)
	}
	if f.State != "" {
		add("r.state = ?", string(f.State))
	}
	if !f.From.IsZero() {
		add("r.at_ms >= ?", ms(f.From))
	}
	if !f.To.IsZero() {
		add("r.at_ms < ?", ms(f.To))
	}
	for i, w := range strings.Fields(fold(cut(f.Text, 200))) {
		if i == mostWords {
			break
		}
		add(`(instr(r.folded, ?) OR r.horse_id IN (SELECT id FROM horse WHERE instr(folded, ?))
			OR r.version_id IN (SELECT id FROM course_version WHERE instr(folded, ?)))`, w, w, w)
	}
	if parts == nil {
		return "", nil
	}
	return " WHERE " + strings.Join(parts, " AND "), args
}

// Rides is one page of the rides that a filter chooses, newest first, where the next page begins (nil after the last),
// and how many there are in all.
func (s *Store) Rides(ctx context.Context, f Filter) (rides []Ride, next *Cursor, total int, err error) {
	limit := f.Limit
	switch {
	case limit <= 0:
		limit = usualPage
	case limit > mostPage:
		limit = mostPage
	}
	tx, err := s.read.BeginTx(ctx, nil) // count and page of one moment
	if err != nil {
		return nil, nil, 0, s.explain(err)
	}
	defer tx.Rollback()
	where, args := f.where()
	if f.Text != "" {
		// Words are looked for in every ride; once is enough, for the count and for the page.
		var all []Cursor
		err := each(ctx, tx, "SELECT r.at_ms, r.id FROM ride r"+where+" ORDER BY r.at_ms DESC, r.id DESC", func(r row) error {
			var c Cursor
			err := r.Scan(&c.atMS, &c.id)
			all = append(all, c)
			return err
		}, args...)
		if err != nil {
			return nil, nil, 0, s.explain(err)
		}
		total = len(all)
		if b := f.Before; !b.IsZero() {
			all = all[sort.Search(len(all), func(i int) bool { return all[i].atMS < b.atMS || all[i].atMS == b.atMS && all[i].id < b.id }):]
		}
		ids := []int64{}
		for _, c := range all[:min(len(all), limit+1)] {
			ids = append(ids, c.id)
		}
		text, err := json.Marshal(ids)
		if err != nil {
			return nil, nil, 0, err
		}
		where, args = " WHERE r.id IN (SELECT value FROM json_each(?))", []any{string(text)}
	} else {
		if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM ride r"+where, args...).Scan(&total); err != nil {
			return nil, nil, 0, s.explain(err)
		}
		if b := f.Before; !b.IsZero() {
			if where == "" {
				where = " WHERE "
			} else {
				where += " AND "
			}
			where += "(r.at_ms, r.id) < (?, ?)"
			args = append(args, b.atMS, b.id)
		}
	}
	rows, err := tx.QueryContext(ctx, "SELECT "+rideColumns+rideTables+where+" ORDER BY r.at_ms DESC, r.id DESC LIMIT ?", append(args, limit+1)...)
	if err != nil {
		return nil, nil, 0, s.explain(err)
	}
	defer rows.Close()
	var last Cursor
	for rows.Next() {
		r, atMS, err := scanRide(rows)
		if err != nil {
			return nil, nil, 0, s.explain(err)
		}
		if len(rides) == limit {
			next = &last
			break
		}
		last = Cursor{atMS, r.ID}
		rides = append(rides, r)
	}
	if err := rows.Err(); err != nil {
		return nil, nil, 0, s.explain(err)
	}
	rows.Close()
	for i := range rides {
		if rides[i].Files, err = filesOf(ctx, tx, rides[i].ID); err != nil {
			return nil, nil, 0, s.explain(err)
		}
	}
	return rides, next, total, nil
}

type querier interface {
	queryer
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

func filesOf(ctx context.Context, q querier, id int64) ([]File, error) {
	rows, err := q.QueryContext(ctx, "SELECT name, sha256, bytes FROM file WHERE ride_id = ? ORDER BY nth", id)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []File
	for rows.Next() {
		var f File
		if err := rows.Scan(&f.Name, &f.SHA256, &f.Bytes); err != nil {
			return nil, err
		}
		out = append(out, f)
	}
	return out, rows.Err()
}

// Ride is one ride, or [ErrNotFound].
func (s *Store) Ride(ctx context.Context, id int64) (Ride, error) {
	r, err := rideOf(ctx, s.read, id)
	return r, s.explain(err)
}

func rideOf(ctx context.Context, q querier, id int64) (Ride, error) {
	r, _, err := scanRide(q.QueryRowContext(ctx, "SELECT "+rideColumns+rideTables+" WHERE r.id = ?", id))
	if err != nil {
		return Ride{}, err
	}
	r.Files, err = filesOf(ctx, q, id)
	return r, err
}

// SetAbout changes what is said about a ride. With another course or other columns it is worked out anew; a
// refused ride is with any change.
func (s *Store) SetAbout(ctx context.Context, id int64, of About) error {
	if err := of.check(); err != nil {
		return err
	}
	anew := false
	err := s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		was, err := rideOf(ctx, tx, id)
		if err != nil {
			return err
		}
		courseID, err := ofAbout(ctx, tx, of)
		if err != nil {
			return err
		}
		names := make([]string, len(was.Files))
		for i, f := range was.Files {
			names[i] = f.Name
		}
		if _, err := tx.ExecContext(ctx, "UPDATE ride SET horse_id = ?, course_id = ?, version_id = ?, label = ?, note = ?, columns = ?, folded = ? WHERE id = ?",
			orNull(of.HorseID), orNull(courseID), orNull(of.CourseVersionID), of.Label, of.Note, of.Columns, foldedOf(of, names), id); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "UPDATE ridden SET horse_id = ? WHERE ride_id = ?", orNull(of.HorseID), id); err != nil {
			return err
		}
		anew = of.CourseVersionID != was.CourseVersionID || of.Columns != was.Columns || was.State == Refused
		if !anew {
			return nil
		}
		return s.again(ctx, tx, id)
	})
	if err != nil {
		return err
	}
	s.trySlip(ctx, id)
	if anew {
		s.kept.ring()
	}
	s.bell.ring()
	return nil
}

// again has a ride worked out anew: what it told is forgotten, and what somebody is making of it will not be taken.
func (s *Store) again(ctx context.Context, tx *sql.Tx, id int64) error {
	for _, q := range []string{
		`UPDATE ride SET state = 'waiting', why = '', edition = edition + 1, tries = 0, program = '',
			at_ms = kept_ms, start_ms = NULL, duration_s = 0, basis = '', jumps = 0, refusals = 0, lines = 0, rounds = 0, strides = 0 WHERE id = ?`,
		"DELETE FROM told WHERE ride_id = ?",
		"DELETE FROM ridden WHERE ride_id = ?",
	} {
		if _, err := tx.ExecContext(ctx, q, id); err != nil {
			return err
		}
	}
	return nil
}

// RemoveRide removes a ride and the files that no other ride has. On a full disk, room for doing so is made by removing what can
// be worked out anew.
func (s *Store) RemoveRide(ctx context.Context, id int64) error {
	err := s.removeRide(ctx, id)
	var full *FullError
	if errors.As(err, &full) {
		s.dropWorked(func(int64) bool { return true })
		err = s.removeRide(ctx, id)
	}
	if err != nil {
		return err
	}
	s.bell.ring()
	os.Remove(s.workedFile(id))
	os.Remove(s.slipFile(id))
	// The ride is gone. What can't be unlinked now is when the store is next opened.
	if err := s.unlink(context.WithoutCancel(ctx)); err != nil {
		s.log.Warn("files of a removed ride are still there", "ride", id, "error", err)
	}
	// What was said of it leaves the log of the database too; where somebody reads, when they are done.
	_, _ = s.write.ExecContext(context.WithoutCancel(ctx), "PRAGMA wal_checkpoint(TRUNCATE)")
	return nil
}

func (s *Store) removeRide(ctx context.Context, id int64) error {
	return s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		files, err := filesOf(ctx, tx, id)
		if err != nil {
			return err
		}
		if err := one(tx.ExecContext(ctx, "DELETE FROM ride WHERE id = ?", id)); err != nil {
			return err
		}
		for _, f := range files {
			if _, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO doomed SELECT ?1 WHERE NOT EXISTS (SELECT 1 FROM file WHERE sha256 = ?1)", f.SHA256); err != nil {
				return err
			}
		}
		return nil
	})
}

// unlink removes the files that are doomed and that no ride has come to have since.
func (s *Store) unlink(ctx context.Context) error {
	err := s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, "SELECT sha256 FROM doomed WHERE NOT EXISTS (SELECT 1 FROM file WHERE file.sha256 = doomed.sha256)")
		if err != nil {
			return err
		}
		defer rows.Close()
		var sums []string
		for rows.Next() {
			var sum string
			if err := rows.Scan(&sum); err != nil {
				return err
			}
			sums = append(sums, sum)
		}
		if err := rows.Err(); err != nil {
			return err
		}
		for _, sum := range sums {
			if !isSum(sum) {
				continue
			}
			if err := os.Remove(s.path(sum)); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
		_, err = tx.ExecContext(ctx, "DELETE FROM doomed")
		return err
	})
	return err
}

// dropWorked removes what was worked out of some rides; it can be made anew.
func (s *Store) dropWorked(of func(id int64) bool) {
	entries, err := os.ReadDir(filepath.Join(s.dir, workedName))
	if err != nil {
		return
	}
	for _, e := range entries {
		if id, err := strconv.ParseInt(e.Name(), 10, 64); err == nil && of(id) {
			os.Remove(filepath.Join(s.dir, workedName, e.Name()))
		}
	}
}

// OpenFile opens the untouched original of a SHA-256, or gives [ErrNotFound].
func (s *Store) OpenFile(ctx context.Context, sha256 string) (*os.File, error) {
	if !isSum(sha256) {
		return nil, ErrNotFound
	}
	var n int
	if err := s.read.QueryRowContext(ctx, "SELECT count(*) FROM file WHERE sha256 = ?", sha256).Scan(&n); err != nil {
		return nil, s.explain(err)
	}
	if n == 0 {
		return nil, ErrNotFound
	}
	f, err := os.Open(s.path(sha256))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, ErrNotFound
	}
	return f, err
}
