package keep

import (
	"bufio"
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
	"groundline/report/record"
	"groundline/trace"
)

// What was worked out is kept beside the database in one file of two parts, each packed by itself, with nothing rounded: first
// what the stride table needs, then the rest.

// rowsPart is the first part, with what the file was made by.
type rowsPart struct {
	Program string
	Edition int // of the ride
	Basis   string
	Rounds  []report.Round
	Notes   []trace.Note // without those about the plan
	Rows    []report.StrideRow
}

// restPart is the second.
type restPart struct {
	Debrief *report.Debrief
	Plan    *course.Plan
	Ridden  *report.Ridden
}

// built is a debrief, with how many of its notes, the first, are about the plan, and as it is stored.
type built struct {
	debrief      *report.Debrief
	onPlan       int
	json, record []byte // packed
	worked       []byte // both parts
}

// pack makes what is stored of a debrief.
func (b *built) pack(program string, edition int) error {
	text, err := asJSON(b.debrief)
	if err != nil {
		return err
	}
	if b.json, err = packedText(text); err != nil {
		return err
	}
	if b.record, err = packed(record.Extract(b.debrief)); err != nil {
		return err
	}
	d := b.debrief
	rows, err := packed(rowsPart{program, edition, d.Basis, d.Rounds, d.Notes[b.onPlan:], d.StrideRows})
	if err != nil {
		return err
	}
	rest, err := packed(restPart{d, d.Plan, d.Ridden})
	b.worked = append(rows, rest...)
	return err
}

// debrief is the whole of what the two parts hold.
func (p restPart) debrief(rows rowsPart) *report.Debrief {
	d := p.Debrief
	d.Plan, d.Ridden, d.StrideRows = p.Plan, p.Ridden, rows.Rows
	return d
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

// writeWorked writes what was worked out to a file of its own, to be renamed to workedFile. It can be made anew, so it need not
// be on disk at once.
func (s *Store) writeWorked(b built) (beside string, err error) {
	beside = s.desk.place()
	if err := os.WriteFile(beside, b.worked, fileMode); err != nil {
		os.Remove(beside)
		return "", err
	}
	return beside, nil
}

// readWorked reads the first part of what was worked out, and into rest the second where rest is not nil. It is false for a file
// that is missing, damaged, of another edition of the ride or by another program.
func (s *Store) readWorked(id int64, edition int, rest *restPart) (rowsPart, bool) {
	f, err := os.Open(s.workedFile(id))
	if err != nil {
		return rowsPart{}, false
	}
	defer f.Close()
	rows, ok := readParts(f, rest)
	return rows, ok && rows.Program == s.program && rows.Edition == edition
}

// readParts reads the first part and, where rest is not nil, the second.
func readParts(r io.Reader, rest *restPart) (rows rowsPart, ok bool) {
	in := bufio.NewReader(r) // which gzip does not read beyond its part
	zip, err := gzip.NewReader(in)
	if err != nil {
		return rows, false
	}
	part := func(v any) bool {
		zip.Multistream(false)
		text, err := io.ReadAll(zip)
		return err == nil && json.Unmarshal(text, v) == nil
	}
	if !part(&rows) {
		return rows, false
	}
	if rest != nil && (zip.Reset(in) != nil || !part(rest) || rest.Debrief == nil) {
		return rows, false
	}
	return rows, true
}

// Debrief is the whole debrief of a ready ride, as it was built: with Plan, Ridden and StrideRows. What is missing, or was
// made by another program, is made anew, which takes as long as the working out. Else the error is
// [ErrNotFound] or a [*NotReadyError].
func (s *Store) Debrief(ctx context.Context, id int64) (*report.Debrief, error) {
	var rest restPart
	rows, made, horse, err := s.worked(ctx, id, &rest)
	if err != nil {
		return nil, err
	}
	d := made.debrief
	if d == nil {
		d = rest.debrief(rows)
	}
	nameHorse(d, horse)
	return d, nil
}

// worked is what a ready ride has told: read into the two parts, or made anew. horse is its horse's name.
func (s *Store) worked(ctx context.Context, id int64, rest *restPart) (rows rowsPart, made built, horse string, err error) {
	for range 3 {
		var state State
		var edition int
		var why string
		err := s.read.QueryRowContext(ctx, "SELECT r.state, r.edition, r.why, coalesce(h.name, '') FROM ride r LEFT JOIN horse h ON h.id = r.horse_id WHERE r.id = ?", id).
			Scan(&state, &edition, &why, &horse)
		switch {
		case err != nil:
			return rows, made, "", s.explain(err)
		case state != Ready:
			return rows, made, "", &NotReadyError{ID: id, State: state, Why: why}
		}
		if rows, ok := s.readWorked(id, edition, rest); ok {
			return rows, made, horse, nil
		}
		if made, err = s.rebuild(ctx, id, edition); !errors.Is(err, errOvertaken) {
			return rows, made, horse, err
		}
	}
	return rows, made, "", fmt.Errorf("ride %d: changed while it was read, ask again", id)
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

// Told is what each ready ride of a horse tells of it, oldest first: the rides of a [record.Record].
func (s *Store) Told(ctx context.Context, horseID int64) ([]record.Ride, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT r.id, coalesce(h.name, ''), coalesce(r.version_id, 0), t.record FROM ride r JOIN told t ON t.ride_id = r.id
		LEFT JOIN horse h ON h.id = r.horse_id WHERE r.horse_id = ? AND r.state = 'ready' ORDER BY r.at_ms, r.id`, horseID)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []record.Ride
	var older []int // told in another layout
	var zip gzip.Reader
	var text bytes.Buffer
	for rows.Next() {
		var id, versionID int64
		var horse string
		var data []byte
		if err := rows.Scan(&id, &horse, &versionID, &data); err != nil {
			return nil, s.explain(err)
		}
		text.Reset()
		err := zip.Reset(bytes.NewReader(data))
		if err == nil {
			_, err = text.ReadFrom(&zip)
		}
		if err != nil {
			return nil, fmt.Errorf("ride %d: what it told is damaged: %w", id, err)
		}
		var r record.Ride
		if json.Unmarshal(text.Bytes(), &r) != nil || r.V != record.RideVersion {
			older = append(older, len(out))
		}
		r.ID, r.Horse, r.Ground = id, horse, ""
		if versionID != 0 {
			r.Ground = fmt.Sprintf("course version %d", versionID)
		}
		out = append(out, r)
	}
	if err := rows.Err(); err != nil {
		return nil, s.explain(err)
	}
	rows.Close()
	for _, i := range older {
		d, err := s.Debrief(ctx, out[i].ID)
		if err != nil {
			return nil, err
		}
		r := record.Extract(d)
		r.ID, r.Horse, r.Ground = out[i].ID, out[i].Horse, out[i].Ground
		out[i] = r
	}
	return out, nil
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
	// What is counted and sorted is found in the indexes alone; the figures are fetched for what is shown.
	where := " WHERE l.course_id = ? AND l.from_id = ? AND l.to_id = ?"
	args := []any{courseID, from, to}
	if len(f.HorseIDs) > 0 {
		where += " AND l.horse_id IN (0"
		for _, id := range f.HorseIDs {
			where += ", ?"
			args = append(args, id)
		}
		where += ")"
	}
	table := " FROM ridden l"
	const joined = " FROM ridden l JOIN ride r ON r.id = l.ride_id"
	if !f.From.IsZero() {
		table, where, args = joined, where+" AND r.at_ms >= ?", append(args, ms(f.From))
	}
	if !f.To.IsZero() {
		table, where, args = joined, where+" AND r.at_ms < ?", append(args, ms(f.To))
	}
	if err := s.read.QueryRowContext(ctx, "SELECT count(*)"+table+where, args...).Scan(&total); err != nil {
		return nil, 0, s.explain(err)
	}
	rows, err := s.read.QueryContext(ctx, "WITH shown AS MATERIALIZED (SELECT l.ride_id, l.nth"+joined+where+" ORDER BY r.at_ms DESC, r.id DESC, l.nth LIMIT ?) SELECT "+attemptColumns+
		" FROM shown s JOIN ridden l ON l.ride_id = s.ride_id AND l.nth = s.nth JOIN ride r ON r.id = l.ride_id LEFT JOIN horse h ON h.id = r.horse_id ORDER BY r.at_ms DESC, r.id DESC, l.nth",
		append(args, limit)...)
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
	Kind     string // as in report.Line, of the last kept ride of it
	Rides    int    // in which it was ridden
	Attempts int
	Horses   int // that rode it, as far as said
}

// RiddenLines are the lines of a course that were ridden, in any of its versions, the most ridden first.
func (s *Store) RiddenLines(ctx context.Context, courseID int64) ([]RiddenLine, error) {
	var out []RiddenLine
	var last []int64
	err := each(ctx, s.read, `SELECT from_id, to_id, max(ride_id), sum(attempt = 1), count(*), count(DISTINCT horse_id)
		FROM ridden WHERE course_id = ? GROUP BY from_id, to_id ORDER BY count(*) DESC, from_id, to_id`, func(r row) error {
		var l RiddenLine
		var id int64
		err := r.Scan(&l.From, &l.To, &id, &l.Rides, &l.Attempts, &l.Horses)
		out, last = append(out, l), append(last, id)
		return err
	}, courseID)
	if err != nil {
		return nil, s.explain(err)
	}
	for i, l := range out {
		err := s.read.QueryRowContext(ctx, "SELECT kind FROM ridden WHERE ride_id = ? AND from_id = ? AND to_id = ? LIMIT 1", last[i], l.From, l.To).Scan(&out[i].Kind)
		if err != nil && !errors.Is(err, sql.ErrNoRows) { // removed meanwhile
			return nil, s.explain(err)
		}
	}
	return out, nil
}
