package keep

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"groundline/course"
	"groundline/report"
	"groundline/report/build"
	"groundline/trace"
	"groundline/trace/read"

	"github.com/gofrs/flock"
)

// Rides are worked out by one process at a time, the one that holds the store's lock; the system frees it when the process
// dies, and the next one takes over what it had in hand. A ride that has cost mostTries processes their life is refused.
const (
	workLockName = "work.lock"
	lookEach     = time.Second // for rides that other processes kept, and for the lock
	tidyEach     = 5           // looks
	retryEach    = 10 * time.Second
	mostTries    = 3
)

// errOvertaken tells that a ride was changed or removed while it was worked on.
var errOvertaken = errors.New("the ride changed while it was worked out")

// job is a ride to be worked out.
type job struct {
	ride    Ride
	edition int
}

// workers are who of this process work rides out, under the lock that no two processes hold.
type workers struct {
	mu    sync.Mutex
	lock  *flock.Flock
	users int
}

// enter takes part in working rides out; ok is false while another process does. Who entered has to leave.
func (s *Store) enter(ctx context.Context) (leave func(), ok bool, err error) {
	w := &s.workers
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.users == 0 {
		if ok, err := w.lock.TryLock(); !ok || err != nil {
			return nil, false, s.explain(err)
		}
		// Nobody works: what is in hand was left by a process that died.
		err := s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
			_, err := tx.ExecContext(ctx, "UPDATE ride SET state = 'waiting' WHERE state = 'working'")
			return err
		})
		if err != nil {
			return nil, false, errors.Join(err, w.lock.Unlock())
		}
	}
	w.users++
	return func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		if w.users--; w.users == 0 {
			if err := w.lock.Unlock(); err != nil {
				s.log.Warn("the lock of the working process can't be freed", "error", err)
			}
		}
	}, true, nil
}

// Work reads and builds waiting rides, so many at the same time, until the context ends; it then puts back what it has in
// hand. While another process does so over the same store, it waits for that one to end.
func (s *Store) Work(ctx context.Context, workers int) error {
	var all sync.WaitGroup
	all.Go(func() { s.watch(ctx) })
	for range max(1, workers) {
		all.Go(func() { s.workOn(ctx) })
	}
	all.Wait()
	return ctx.Err()
}

// watch rings the bell for what other processes changed, and takes over from those that died.
func (s *Store) watch(ctx context.Context) {
	conn, err := s.read.Conn(ctx) // the version is told by connection
	if err != nil {
		return
	}
	defer conn.Close()
	var last int64
	for looks := 0; ; looks++ {
		if looks%tidyEach == tidyEach-1 {
			if err := s.tidy(ctx); err != nil && ctx.Err() == nil {
				s.log.Warn("what other processes left can't be tidied up", "error", err)
			}
		}
		var now int64
		if err := conn.QueryRowContext(ctx, "PRAGMA data_version").Scan(&now); err == nil && now != last {
			last = now
			if looks > 0 {
				s.bell.ring()
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(lookEach):
		}
	}
}

// workOn works out one ride after the other.
func (s *Store) workOn(ctx context.Context) {
	leave, ok := func() {}, false
	defer func() { leave() }()
	told := "" // once, and not at each look
	for ctx.Err() == nil {
		rings := s.kept.wait() // before looking, so that nothing is missed
		var err error
		if !ok {
			var free func()
			if free, ok, err = s.enter(ctx); ok {
				leave = free
			}
		}
		var j job
		if err == nil && ok {
			j, err = s.take(ctx, 0)
		}
		if err != nil || !ok {
			now := fmt.Sprint(err)
			if err != nil && ctx.Err() == nil && now != told && !errors.Is(err, ErrNotFound) {
				s.log.Error("no ride can be taken to work out", "error", err)
			}
			told = now
			select {
			case <-ctx.Done():
			case <-rings:
			case <-time.After(lookEach):
			}
			continue
		}
		if err := s.workOut(ctx, j); err != nil && ctx.Err() == nil {
			s.log.Error("a ride can't be worked out now", "ride", j.ride.ID, "error", err)
			select { // the disk is full, most likely: it will not help to try at once
			case <-ctx.Done():
			case <-time.After(retryEach):
			}
		}
	}
}

// take is the longest waiting ride, or the one asked for if it waits; [ErrNotFound] where there is none.
func (s *Store) take(ctx context.Context, only int64) (job, error) {
	const toDo = `FROM ride WHERE state = 'waiting' AND (?1 = 0 OR id = ?1) ORDER BY id LIMIT 1`
	var id int64
	if err := s.read.QueryRowContext(ctx, "SELECT id "+toDo, only).Scan(&id); err != nil {
		return job{}, s.explain(err) // mostly: nothing to do, found out without locking the others out
	}
	var j job
	given := false
	err := s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		var tries int
		if err := tx.QueryRowContext(ctx, "SELECT id, edition, tries "+toDo, only).Scan(&id, &j.edition, &tries); err != nil {
			return err
		}
		if given = tries >= mostTries; given {
			_, err := tx.ExecContext(ctx, "UPDATE ride SET state = 'refused', why = ?, program = ? WHERE id = ?", deadly(tries), s.program, id)
			return err
		}
		if _, err := tx.ExecContext(ctx, "UPDATE ride SET state = 'working', tries = tries + 1 WHERE id = ?", id); err != nil {
			return err
		}
		var err error
		j.ride, err = rideOf(ctx, tx, id)
		return err
	})
	if err != nil {
		return job{}, err
	}
	s.bell.ring()
	if given {
		return s.take(ctx, only)
	}
	return j, nil
}

// deadly says why a ride is refused that ended what worked it out so often.
func deadly(tries int) string {
	return fmt.Sprintf("groundline ended %d times while it worked this ride out: it may be too long for this machine's memory; please report this", tries)
}

// WorkOut returns when a ride is ready or refused, and gives it. Where no other process works, it works it out itself.
func (s *Store) WorkOut(ctx context.Context, id int64) (Ride, error) {
	for {
		rings := s.bell.wait()
		leave, ok, err := s.enter(ctx)
		if ok {
			var j job
			if j, err = s.take(ctx, id); err == nil {
				err = s.workOut(ctx, j)
			}
			leave()
		}
		if err != nil && !errors.Is(err, ErrNotFound) {
			return Ride{}, err
		}
		r, err := s.Ride(ctx, id)
		if err != nil || r.State == Ready || r.State == Refused {
			return r, err
		}
		select {
		case <-ctx.Done():
			return r, ctx.Err()
		case <-rings:
		case <-time.After(lookEach):
		}
	}
}

// workOut works out a ride that was taken, and stores what it tells or why it can't be told.
func (s *Store) workOut(ctx context.Context, j job) error {
	b, err := s.build(ctx, j.ride, j.edition, namesOf(j.ride))
	var ours notTheRides
	var died *diedError
	switch {
	case err == nil:
		err = s.store(ctx, j.ride, j.edition, b, Working)
	case ctx.Err() == nil && errors.As(err, &died):
		s.log.Error("the process that worked a ride out has died", "ride", j.ride.ID, "how", died.how)
		err = s.tryAgain(ctx, j)
	case ctx.Err() == nil && !errors.As(err, &ours) && !errors.Is(err, errOvertaken):
		err = s.refuse(ctx, j, err)
	}
	s.prog.end(j.ride.ID)
	if errors.Is(err, errOvertaken) {
		err = nil
	}
	if err != nil {
		s.putBack(j)
	}
	s.bell.ring()
	return err
}

// tryAgain makes a ride wait again that cost what worked it out its life.
func (s *Store) tryAgain(ctx context.Context, j job) error {
	return s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "UPDATE ride SET state = 'waiting' WHERE id = ? AND state = 'working' AND edition = ?", j.ride.ID, j.edition)
		return err
	})
}

// putBack makes a ride wait again that was taken and is not finished, which is not its fault.
func (s *Store) putBack(j job) {
	ctx := context.Background() // the work's own may have ended
	err := s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "UPDATE ride SET state = 'waiting', tries = max(0, tries - 1) WHERE id = ? AND state = 'working' AND edition = ?", j.ride.ID, j.edition)
		return err
	})
	if err != nil {
		s.log.Warn("a ride can't be put back, and waits until this process ends", "ride", j.ride.ID, "error", err)
	}
}

// store stores what a ride of an edition told, where it is in that state, else it is errOvertaken.
func (s *Store) store(ctx context.Context, ride Ride, edition int, b built, in State) error {
	d := b.debrief
	beside, err := s.writeWorked(b)
	if err != nil {
		return s.explain(err)
	}
	defer os.Remove(beside)
	return s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		atMS := ms(ride.KeptAt)
		var startMS any
		if d.Recording.Start != nil {
			if t, err := time.Parse(time.RFC3339Nano, *d.Recording.Start); err == nil {
				atMS = ms(t)
				startMS = atMS
			}
		}
		jumps, refusals := 0, 0
		for _, e := range d.Efforts {
			switch e.Outcome {
			case "jumped", "warm-up":
				jumps++
			default:
				refusals++
			}
		}
		err := one(tx.ExecContext(ctx, `UPDATE ride SET state = 'ready', why = '', program = ?, at_ms = ?, start_ms = ?, duration_s = ?, basis = ?,
			jumps = ?, refusals = ?, lines = ?, rounds = ?, strides = ? WHERE id = ? AND edition = ? AND state = ?`,
			s.program, atMS, startMS, d.Recording.DurationS, d.Basis, jumps, refusals, len(d.Lines), len(d.Rounds), len(d.StrideRows), ride.ID, edition, in))
		if errors.Is(err, ErrNotFound) {
			return errOvertaken
		}
		if err != nil {
			return err
		}
		horse := ""
		if d.Horse.Name != nil {
			horse = *d.Horse.Name
		}
		if _, err := tx.ExecContext(ctx, "INSERT OR REPLACE INTO told (ride_id, horse, debrief, record) VALUES (?, ?, ?, ?)", ride.ID, horse, b.json, b.record); err != nil {
			return err
		}
		now, err := rideOf(ctx, tx, ride.ID) // its horse may be another by now
		if err != nil {
			return err
		}
		if err := insertRidden(ctx, tx, now, d); err != nil {
			return err
		}
		err = os.Rename(beside, s.workedFile(ride.ID))
		if errors.Is(err, fs.ErrNotExist) { // somebody cleared away all that can be made anew
			if err := os.MkdirAll(filepath.Join(s.dir, workedName), folderMode); err != nil {
				return err
			}
			return os.Rename(beside, s.workedFile(ride.ID))
		}
		return err
	})
}

func insertRidden(ctx context.Context, tx *sql.Tx, ride Ride, d *report.Debrief) error {
	if _, err := tx.ExecContext(ctx, "DELETE FROM ridden WHERE ride_id = ?", ride.ID); err != nil {
		return err
	}
	for i, l := range d.Lines {
		a := Attempt{Strides: l.Strides, StrideLengthM: l.StrideLengthM, StrideS: l.StrideS, SpeedMS: l.SpeedMS, SpeedInMS: l.SpeedInMS, SpeedOutMS: l.SpeedOutMS, TrackM: l.TrackM}
		if l.Turn != nil {
			a.RadiusMinM = l.Turn.RadiusMinM
		}
		says := ""
		if l.Fit != nil {
			a.PerStrideM, says = l.Fit.PerStrideM, l.Fit.Verdict()
		}
		var startS any
		if d.Ridden != nil && i < len(d.Ridden.LineS) {
			startS = d.Ridden.LineS[i][0]
		}
		args := []any{ride.ID, i, orNull(ride.CourseID), l.From, l.To, l.Kind, l.Round, l.Attempt, startS, l.DistanceM, says, l.StridesBy}
		for _, f := range a.figures() {
			args = append(args, ofEstimate(*f)...)
		}
		args = append(args, orNull(ride.HorseID))
		if _, err := tx.ExecContext(ctx, "INSERT INTO ridden VALUES (?"+strings.Repeat(", ?", len(args)-1)+")", args...); err != nil {
			return err
		}
	}
	return nil
}

func ofEstimate(e *trace.Estimate) []any {
	if e == nil {
		return []any{nil, nil, nil}
	}
	return []any{e.Value, e.Low, e.High}
}

// refuse stores why a ride can't be told.
func (s *Store) refuse(ctx context.Context, j job, why error) error {
	s.log.Info("a ride was refused", "ride", j.ride.ID, "why", why)
	return s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		err := one(tx.ExecContext(ctx, "UPDATE ride SET state = 'refused', why = ?, program = ? WHERE id = ? AND state = 'working' AND edition = ?",
			why.Error(), s.program, j.ride.ID, j.edition))
		if errors.Is(err, ErrNotFound) {
			return errOvertaken
		}
		return err
	})
}

// rebuild makes what a ready ride told anew, a few at a time: after a change of the program every ride that somebody looks at
// is made anew, and each takes the memory of its recording.
func (s *Store) rebuild(ctx context.Context, id int64, edition int) (built, error) {
	ride, err := s.Ride(ctx, id)
	if err != nil {
		return built{}, err
	}
	select {
	case s.anew <- struct{}{}:
		defer func() { <-s.anew }()
	case <-ctx.Done():
		return built{}, ctx.Err()
	}
	defer s.prog.end(id)
	if s.deaths.of(ride) >= mostTries {
		return built{}, &NotReadyError{ID: id, State: Refused, Why: deadly(mostTries)}
	}
	b, err := s.build(ctx, ride, edition, namesOf(ride))
	var ours notTheRides
	var died *diedError
	switch {
	case ctx.Err() != nil:
		return built{}, ctx.Err()
	case errors.As(err, &died):
		s.deaths.add(ride)
		return built{}, &NotReadyError{ID: id, State: Refused, Why: died.Error()}
	case errors.As(err, &ours), errors.Is(err, errOvertaken):
		return built{}, err
	case err != nil: // this program can't tell what another one could
		return built{}, &NotReadyError{ID: id, State: Refused, Why: err.Error()}
	}
	err = s.store(ctx, ride, edition, b, Ready)
	var full *FullError
	if errors.As(err, &full) { // it can be told all the same
		err = nil
	}
	return b, err
}

// deaths count how often building a ride that was ready has cost a process its life, so that looking at it does not for ever.
type deaths struct {
	mu sync.Mutex
	n  map[string]int // by the ride's files
}

func (d *deaths) of(r Ride) int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.n[recordingKey(r)]
}

func (d *deaths) add(r Ride) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.n == nil {
		d.n = map[string]int{}
	}
	d.n[recordingKey(r)]++
}

func recordingKey(r Ride) string {
	var sums []string
	for _, f := range r.Files {
		sums = append(sums, f.SHA256)
	}
	return keyOf(sums)
}

func namesOf(r Ride) []string {
	out := make([]string, len(r.Files))
	for i, f := range r.Files {
		out[i] = f.Name
	}
	return out
}

// unreadable is an error that lies in the files, not in what they could tell.
type unreadable struct{ error }

func (u unreadable) Unwrap() error { return u.error }

// notTheRides is an error that lies neither in the files nor in what they could tell: the database is busy, or too many
// files are open. Later it may go.
type notTheRides struct{ error }

func (n notTheRides) Unwrap() error { return n.error }

// build reads a ride's files under the names given and makes its debrief, in a process of its own where the store has a
// command for that. Whatever breaks in it is an error of this ride alone. It returns at once when the context ends, though
// what builds in this process can't be stopped and ends later, for nothing.
func (s *Store) build(ctx context.Context, ride Ride, edition int, names []string) (built, error) {
	p := &parcel{Program: s.program, Edition: edition, Columns: ride.Columns, Horse: ride.Horse}
	for i, f := range ride.Files {
		p.Files = append(p.Files, parcelFile{names[i], s.path(f.SHA256), f.SHA256, f.Bytes})
	}
	var known *ways
	if ride.CourseVersionID != 0 {
		text, v, err := s.planText(ctx, ride.CourseVersionID)
		if err == nil {
			p.Plan, p.Named = text, planName(v)
			if s.child == nil {
				known, err = s.planWays(ctx, ride.CourseVersionID)
			}
		}
		var faults course.Faults
		switch {
		case errors.As(err, &faults):
			return built{}, err
		case errors.Is(err, ErrNotFound): // with its ride
			return built{}, errOvertaken
		case err != nil:
			return built{}, notTheRides{err}
		}
	}
	progress := s.prog.begin(ride)
	if s.child != nil {
		b, err := p.buildApart(ctx, s.child, progress)
		if ctx.Err() != nil {
			return built{}, context.Cause(ctx)
		}
		return b, err
	}
	type made struct {
		b   built
		err error
	}
	done := make(chan made, 1)
	go func() {
		var m made
		defer func() {
			if p := recover(); p != nil {
				s.log.Error("groundline broke on a ride", "ride", ride.ID, "panic", p, "stack", string(debug.Stack()))
				m = made{err: fmt.Errorf("groundline broke on it (%v), please report this", p)}
			}
			done <- m
		}()
		h := hooks{spoil: s.spoil}
		if s.broken != nil {
			h.broken = func() { s.broken(ride) }
		}
		if m.b, m.err = p.build(ctx, known, progress, h); m.err == nil {
			m.err = m.b.pack(p.Program, p.Edition)
		}
	}()
	select {
	case <-ctx.Done():
		return built{}, context.Cause(ctx)
	case m := <-done:
		return m.b, m.err
	}
}

// build reads a ride's files and makes its debrief. known is its plan where that is read already.
func (p *parcel) build(ctx context.Context, known *ways, progress func(file string, done, size int64), h hooks) (built, error) {
	var files []read.Named
	for _, f := range p.Files {
		in, err := os.Open(f.Path)
		switch {
		case errors.Is(err, fs.ErrNotExist), errors.Is(err, fs.ErrPermission):
			return built{}, unreadable{fmt.Errorf("%s: the kept file is missing in the store or can't be opened: give the recording once more", f.Name)}
		case err != nil:
			return built{}, notTheRides{err}
		}
		defer in.Close()
		if err := checkSum(ctx, in, f.SHA256, f.Bytes); err != nil {
			if ctx.Err() != nil {
				return built{}, ctx.Err()
			}
			return built{}, unreadable{fmt.Errorf("%s: this recording is damaged (%w): give it again", f.Name, err)}
		}
		files = append(files, read.Named{Name: f.Name, At: in, Size: f.Bytes})
	}
	w, err := p.planOf(known)
	if err != nil {
		return built{}, err
	}
	if w == nil {
		w = &ways{}
	}
	rec, err := read.OpenNamed(ctx, files, read.Options{Columns: p.Columns, Progress: progress})
	if err != nil {
		return built{}, unreadable{err}
	}
	if h.broken != nil {
		h.broken()
	}
	d, err := build.Debrief(ctx, rec, w.plan, build.Options{HorseName: p.Horse, Ways: w.ways})
	if err != nil {
		return built{}, err
	}
	if h.spoil != nil {
		h.spoil(d)
	}
	var notes []trace.Note
	for _, warning := range w.warnings {
		notes = append(notes, warning.Note())
	}
	d.Notes = append(notes, d.Notes...)
	return built{debrief: d, onPlan: len(notes)}, nil
}

// checkSum holds a kept file against what it was when it was kept.
func checkSum(ctx context.Context, in io.ReaderAt, want string, size int64) error {
	sum := sha256.New()
	n, err := io.Copy(sum, untilDone{ctx, io.NewSectionReader(in, 0, math.MaxInt64)})
	switch {
	case err != nil:
		return err
	case n != size:
		return fmt.Errorf("%d bytes, expected %d", n, size)
	case hex.EncodeToString(sum.Sum(nil)) != want:
		return errors.New("not the bytes that were kept")
	}
	return nil
}

// progress tells how much of the rides in hand is read.
type progress struct {
	mu sync.Mutex
	of map[int64]*reading
}

type reading struct {
	size int64
	done map[string]int64 // by file
}

// begin gives what the reader tells its progress to.
func (p *progress) begin(ride Ride) func(file string, done, size int64) {
	r := &reading{done: map[string]int64{}}
	for _, f := range ride.Files {
		r.size += f.Bytes
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.of[ride.ID] = r
	return func(file string, done, _ int64) {
		p.mu.Lock()
		defer p.mu.Unlock()
		r.done[file] = done
	}
}

func (p *progress) end(id int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.of, id)
}

// Progress is how many bytes of a ride this process has read, of how many; ok is false for a ride that it is not reading.
func (s *Store) Progress(id int64) (done, size int64, ok bool) {
	s.prog.mu.Lock()
	defer s.prog.mu.Unlock()
	r := s.prog.of[id]
	if r == nil {
		return 0, 0, false
	}
	for _, n := range r.done {
		done += n
	}
	return min(done, r.size), r.size, true
}

// Wait returns when a ride is ready or refused, whoever works it out, and gives it.
func (s *Store) Wait(ctx context.Context, id int64) (Ride, error) {
	for {
		rings := s.bell.wait()
		r, err := s.Ride(ctx, id)
		if err != nil || r.State == Ready || r.State == Refused {
			return r, err
		}
		select {
		case <-ctx.Done():
			return r, ctx.Err()
		case <-rings:
		case <-time.After(lookEach):
		}
	}
}
