package keep

import (
	"bytes"
	"compress/gzip"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"groundline/course"
	"groundline/report"
	"groundline/trace"
)

// whole is a debrief with the parts that its JSON leaves out, and nothing rounded.
type whole struct {
	Program string
	Edition int // of the ride
	Debrief *report.Debrief
	Plan    *course.Plan
	Ridden  *report.Ridden
	Rows    []report.StrideRow
}

func (s *Store) workedFile(id int64) string {
	return filepath.Join(s.dir, workedName, strconv.FormatInt(id, 10))
}

// packed is v as JSON, packed with gzip. Numbers come back as they were.
func packed(v any) ([]byte, error) {
	text, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	return packedText(text)
}

func packedText(text []byte) ([]byte, error) {
	var out bytes.Buffer
	zip, _ := gzip.NewWriterLevel(&out, gzip.BestSpeed)
	if _, err := zip.Write(text); err != nil {
		return nil, err
	}
	if err := zip.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

func unpacked(data []byte) ([]byte, error) {
	zip, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	return io.ReadAll(zip)
}

// saveWhole writes what takes longest to make beside the database. It is a copy that can be made anew, so it
// need not be on disk at once, but must be whole.
func (s *Store) saveWhole(id int64, w whole) error {
	data, err := packed(w)
	if err != nil {
		return err
	}
	beside := s.desk.place()
	if err := os.WriteFile(beside, data, fileMode); err != nil {
		os.Remove(beside)
		return err
	}
	if err := os.Rename(beside, s.workedFile(id)); err != nil {
		os.Remove(beside)
		return err
	}
	return nil
}

// loadWhole is what saveWhole wrote, if it is whole, of this ride's edition and of this program.
func (s *Store) loadWhole(id int64, edition int) (*whole, bool) {
	data, err := os.ReadFile(s.workedFile(id))
	if err != nil {
		return nil, false
	}
	text, err := unpacked(data)
	if err != nil {
		return nil, false
	}
	var w whole
	if json.Unmarshal(text, &w) != nil || w.Debrief == nil || w.Program != s.program || w.Edition != edition {
		return nil, false
	}
	w.Debrief.Plan, w.Debrief.Ridden, w.Debrief.StrideRows = w.Plan, w.Ridden, w.Rows
	return &w, true
}

// Debrief is the whole debrief of a ready ride, as it was built: with Plan, Ridden and StrideRows. What is missing, or was
// made by another program, is made anew, which takes as long as the working out. Else the error is
// [ErrNotFound] or a [*NotReadyError].
func (s *Store) Debrief(ctx context.Context, id int64) (*report.Debrief, error) {
	for range 2 {
		var state State
		var edition int
		var why, horse string
		err := s.read.QueryRowContext(ctx, "SELECT r.state, r.edition, r.why, coalesce(h.name, '') FROM ride r LEFT JOIN horse h ON h.id = r.horse_id WHERE r.id = ?", id).
			Scan(&state, &edition, &why, &horse)
		switch {
		case err != nil:
			return nil, s.explain(err)
		case state != Ready:
			return nil, &NotReadyError{ID: id, State: state, Why: why}
		}
		if w, ok := s.loadWhole(id, edition); ok {
			nameHorse(w.Debrief, horse)
			return w.Debrief, nil
		}
		d, err := s.rebuild(ctx, id, edition)
		if errors.Is(err, errOvertaken) {
			continue
		}
		if err != nil {
			return nil, err
		}
		nameHorse(d, horse)
		return d, nil
	}
	return nil, fmt.Errorf("ride %d: changed while it was read, ask again", id)
}

// nameHorse gives a debrief the name that the horse has today: nothing else in it hangs on the name.
func nameHorse(d *report.Debrief, name string) {
	d.Horse.Name = nil
	if name != "" {
		d.Horse.Name = &name
	}
}

// DebriefJSON is the debrief of a ready ride as [report.JSON] writes it.
func (s *Store) DebriefJSON(ctx context.Context, id int64) ([]byte, error) {
	var state State
	var why, horse, program string
	var named sql.NullString
	var data []byte
	err := s.read.QueryRowContext(ctx, `SELECT r.state, r.why, r.program, coalesce(h.name, ''), t.horse, t.debrief FROM ride r
		LEFT JOIN horse h ON h.id = r.horse_id LEFT JOIN told t ON t.ride_id = r.id WHERE r.id = ?`, id).Scan(&state, &why, &program, &horse, &named, &data)
	switch {
	case err != nil:
		return nil, s.explain(err)
	case state != Ready:
		return nil, &NotReadyError{ID: id, State: state, Why: why}
	case program == s.program && named.Valid && named.String == horse:
		return unpacked(data)
	}
	d, err := s.Debrief(ctx, id)
	if err != nil {
		return nil, err
	}
	return asJSON(d)
}

func asJSON(d *report.Debrief) ([]byte, error) {
	var out bytes.Buffer
	err := report.JSON(&out, d)
	return out.Bytes(), err
}

// Attempt is one ride of one line, with what a list of them shows.
type Attempt struct {
	RideID    int64
	Nth       int // in the debrief's lines, from 0
	From, To  string
	Kind      string // as in report.Line
	Round     *int
	Attempt   int        // which ride of this way in its ride, from 1
	RiddenAt  time.Time  // as Ride.At
	Start     *time.Time // of the ride; nil where no file tells the date
	StartS    *float64   // landing before it, seconds from the ride's start
	HorseID   int64
	Horse     string
	Label     string // of the ride
	Basis     string
	VersionID int64 // of the course
	DistanceM *float64
	Strides   *trace.Estimate
	StridesBy string

	StrideLengthM, StrideS, SpeedMS, SpeedInMS, SpeedOutMS, TrackM, RadiusMinM *trace.Estimate
	// PerStrideM is what the line asked a stride beyond (+) or short of the horse's usual, Says the word for it.
	PerStrideM *trace.Estimate
	Says       string
}

// AttemptFilter chooses attempts; zero fields choose all.
type AttemptFilter struct {
	HorseIDs []int64
	From, To time.Time // [From, To) of the ride's At
	Limit    int       // attempts; 500 if 0, at most 10,000
}

// figures are the estimates of a line in the order of the table's columns.
func (a *Attempt) figures() []**trace.Estimate {
	return []**trace.Estimate{&a.Strides, &a.StrideLengthM, &a.StrideS, &a.SpeedMS, &a.SpeedInMS, &a.SpeedOutMS, &a.TrackM, &a.RadiusMinM, &a.PerStrideM}
}

const attemptColumns = `l.ride_id, l.nth, l.from_id, l.to_id, l.kind, l.round, l.attempt, r.at_ms, r.start_ms, l.start_s, coalesce(r.horse_id, 0), coalesce(h.name, ''),
	r.label, r.basis, coalesce(r.version_id, 0), l.distance_m, l.says, l.strides_by,
	l.strides, l.strides_low, l.strides_high, l.length, l.length_low, l.length_high, l.time, l.time_low, l.time_high,
	l.speed, l.speed_low, l.speed_high, l.speed_in, l.speed_in_low, l.speed_in_high, l.speed_out, l.speed_out_low, l.speed_out_high,
	l.track, l.track_low, l.track_high, l.radius, l.radius_low, l.radius_high, l.beyond, l.beyond_low, l.beyond_high`

// Attempts are the rides of a line of a course, in any of its versions, newest first; total counts them all.
func (s *Store) Attempts(ctx context.Context, courseID int64, from, to string, f AttemptFilter) (list []Attempt, total int, err error) {
	limit := f.Limit
	switch {
	case limit <= 0:
		limit = 500
	case limit > 10_000:
		limit = 10_000
	}
	tables := " FROM ridden l JOIN ride r ON r.id = l.ride_id LEFT JOIN horse h ON h.id = r.horse_id WHERE l.course_id = ? AND l.from_id = ? AND l.to_id = ?"
	args := []any{courseID, from, to}
	if len(f.HorseIDs) > 0 {
		tables += " AND r.horse_id IN (0"
		for _, id := range f.HorseIDs {
			tables += ", ?"
			args = append(args, id)
		}
		tables += ")"
	}
	if !f.From.IsZero() {
		tables += " AND r.at_ms >= ?"
		args = append(args, ms(f.From))
	}
	if !f.To.IsZero() {
		tables += " AND r.at_ms < ?"
		args = append(args, ms(f.To))
	}
	if err := s.read.QueryRowContext(ctx, "SELECT count(*)"+tables, args...).Scan(&total); err != nil {
		return nil, 0, s.explain(err)
	}
	rows, err := s.read.QueryContext(ctx, "SELECT "+attemptColumns+tables+" ORDER BY r.at_ms DESC, r.id DESC, l.nth LIMIT ?", append(args, limit)...)
	if err != nil {
		return nil, 0, s.explain(err)
	}
	defer rows.Close()
	for rows.Next() {
		a, err := scanAttempt(rows)
		if err != nil {
			return nil, 0, s.explain(err)
		}
		list = append(list, a)
	}
	return list, total, s.explain(rows.Err())
}

func scanAttempt(r row) (Attempt, error) {
	var a Attempt
	var atMS int64
	var startMS *int64
	figures := a.figures()
	values := make([]*float64, 3*len(figures))
	to := []any{&a.RideID, &a.Nth, &a.From, &a.To, &a.Kind, &a.Round, &a.Attempt, &atMS, &startMS, &a.StartS, &a.HorseID, &a.Horse,
		&a.Label, &a.Basis, &a.VersionID, &a.DistanceM, &a.Says, &a.StridesBy}
	for i := range values {
		to = append(to, &values[i])
	}
	if err := r.Scan(to...); err != nil {
		return a, err
	}
	for i, f := range figures {
		if v := values[3*i : 3*i+3]; v[0] != nil && v[1] != nil && v[2] != nil {
			*f = &trace.Estimate{Value: *v[0], Low: *v[1], High: *v[2]}
		}
	}
	a.RiddenAt = fromMS(atMS)
	if startMS != nil {
		t := fromMS(*startMS)
		a.Start = &t
	}
	return a, nil
}

// RiddenLine is a line of a course that was ridden.
type RiddenLine struct {
	From, To string
	Kind     string // as in report.Line, of the newest ride of it
	Rides    int    // in which it was ridden
	Attempts int
	Horses   int // that rode it, as far as said
}

// RiddenLines are the lines of a course that were ridden, in any of its versions, the most ridden first.
func (s *Store) RiddenLines(ctx context.Context, courseID int64) ([]RiddenLine, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT l.from_id, l.to_id, max(r.at_ms), l.kind, count(DISTINCT l.ride_id), count(*), count(DISTINCT r.horse_id)
		FROM ridden l JOIN ride r ON r.id = l.ride_id WHERE l.course_id = ? GROUP BY l.from_id, l.to_id ORDER BY count(*) DESC, l.from_id, l.to_id`, courseID)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []RiddenLine
	for rows.Next() {
		var l RiddenLine
		var newest int64
		if err := rows.Scan(&l.From, &l.To, &newest, &l.Kind, &l.Rides, &l.Attempts, &l.Horses); err != nil {
			return nil, s.explain(err)
		}
		out = append(out, l)
	}
	return out, s.explain(rows.Err())
}
