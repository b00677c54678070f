package table

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"groundline/course"
	"groundline/course/follow"
	"groundline/report"
	"groundline/report/build"
	"groundline/report/paths"
	"groundline/trace/read"
)

// Settings are the choices that change the table's content.
type Settings struct {
	// Columns maps the columns of motion CSV files by hand, see [read.Options].
	Columns string `json:"columns"`
	// WithoutPlaces leaves out whatever could tell where the ride was: the names of files, folders and plans, the
	// warnings and errors that may quote them, and the columns that with the speed would redraw the track. Files
	// are told by their SHA-256 alone.
	WithoutPlaces bool `json:"without_places"`
}

// Result is what came of one ride: rows, or an error.
type Result struct {
	Ride   paths.Ride
	Source Source
	// CourseName is the plan's name or, without places, what stands for it; "" without a plan.
	CourseName string
	Rows       []Row
	Lines      []LineRow
	Err        error
	// Unreadable tells that Err lies in the input files, not in what they could tell.
	Unreadable bool
	// Kept tells that the rows are from an earlier run that was not finished.
	Kept bool

	part string // file that holds the rows for a restart; "" for none
}

// Forget removes what was kept of the ride for a restart.
func (r *Result) Forget() {
	if r.part != "" {
		os.Remove(r.part)
	}
}

// Progress is how far a run has come.
type Progress struct {
	Done, Kept, Failed, Total int // Kept and Failed are among Done
}

// RunOptions are the choices that do not change the content.
type RunOptions struct {
	Program string // and its version: what another version has kept is worked out anew
	Workers int    // rides worked out at the same time; 1 if less
	// Parts is a folder in which the rows of each ride are kept until the table is whole, so that a run that was
	// stopped can be taken up; "" keeps nothing.
	Parts string
	// Anew works out also what is kept.
	Anew bool
	// Progress, where given, is called after each ride, one call at a time.
	Progress func(Progress)
}

// ahead is how many rides for each worker may be finished before their turn comes: enough that a long ride does not
// hold up the others, few enough for memory.
const ahead = 16

// Run works out the rides, several at a time, and calls each with the result of every one in their order, from one
// goroutine. A ride that fails is a Result with Err; the rest goes on. Run ends early with the context's error or with
// that of each.
func Run(ctx context.Context, rides []paths.Ride, set Settings, opt RunOptions, each func(*Result) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	workers := max(1, min(opt.Workers, len(rides)))
	window := workers * ahead
	// Ride i lies in slot i % window once done. A token is held from taking a ride to handing it over, so no two rides
	// share a slot and the first ride not handed over is always being worked on.
	slots := make([]chan *Result, window)
	for i := range slots {
		slots[i] = make(chan *Result, 1)
	}
	tokens := make(chan struct{}, window)
	var mu sync.Mutex
	next, now := 0, Progress{Total: len(rides)}
	known := plans{ways: map[string]*follow.Ways{}}
	var running sync.WaitGroup
	for range workers {
		running.Go(func() {
			for {
				select {
				case tokens <- struct{}{}:
				case <-ctx.Done():
					return
				}
				mu.Lock()
				i := next
				next++
				mu.Unlock()
				if i >= len(rides) || ctx.Err() != nil {
					return
				}
				r := workOut(ctx, rides[i], set, opt, &known)
				mu.Lock()
				now.Done++
				if r.Kept {
					now.Kept++
				}
				if r.Err != nil {
					now.Failed++
				}
				if opt.Progress != nil && ctx.Err() == nil {
					opt.Progress(now)
				}
				mu.Unlock()
				slots[i%window] <- r
			}
		})
	}
	defer running.Wait()
	defer cancel()
	for i := range rides {
		var r *Result
		select {
		case r = <-slots[i%window]:
		case <-ctx.Done():
			return ctx.Err()
		}
		if errors.Is(r.Err, context.Canceled) || errors.Is(r.Err, context.DeadlineExceeded) {
			return r.Err
		}
		if err := each(r); err != nil {
			return err
		}
		<-tokens
	}
	return nil
}

// maxPlanBytes is more than any plan may have: the plan's reader tells that it is too long.
const maxPlanBytes = 1 << 20

// workOut reads a ride and makes its rows, or takes them from an earlier run.
func workOut(ctx context.Context, ride paths.Ride, set Settings, opt RunOptions, known *plans) (r *Result) {
	r = &Result{Ride: ride, Source: Source{Recording: ride.Recording, Horse: ride.Horse, Round: ride.Label, Columns: ride.Columns, Files: []File{}, Warnings: []string{}}}
	defer func() {
		// One ride that breaks the program must not cost a night's work on the others.
		if p := recover(); p != nil {
			r.Rows, r.Err = nil, fmt.Errorf("%s: groundline broke on it (%v), please report this", ride.Recording, p)
		}
	}()
	fail := func(unreadable bool, err error) *Result {
		r.fail(unreadable, err)
		return r
	}
	for _, name := range ride.Files {
		f, err := hashed(ctx, name)
		if err != nil {
			return fail(true, err)
		}
		r.Source.Files = append(r.Source.Files, f)
	}
	var plan *course.Plan
	var planSum string
	if ride.Course != "" {
		data, f, err := planFile(ride.Course)
		if err != nil {
			return fail(true, err)
		}
		if plan, _, err = course.Read(ride.Course, data); err != nil {
			return fail(true, err)
		}
		r.Source.Course, r.CourseName, planSum = &f, plan.Name, f.SHA256
	}
	if set.WithoutPlaces {
		r.hidePlaces()
	}
	key := r.key(set, opt.Program)
	if opt.Parts != "" {
		r.part = filepath.Join(opt.Parts, key+".json")
		if !opt.Anew && r.takeUp() {
			return r
		}
	}
	rec, err := read.Open(ctx, ride.Files, read.Options{Columns: cmp.Or(ride.Columns, set.Columns)})
	if err != nil {
		return fail(true, err)
	}
	d, err := build.Debrief(ctx, rec, plan, build.Options{HorseName: ride.Horse, Ways: known.of(plan, planSum)})
	if err != nil {
		return fail(false, err)
	}
	r.tell(d, set)
	if r.part != "" {
		if err := r.keep(); err != nil {
			return fail(false, fmt.Errorf("its rows can't be kept for a restart: %w", err))
		}
	}
	return r
}

// fail has the ride be one that can't be told.
func (r *Result) fail(unreadable bool, err error) {
	// Most faults begin with the file; where they don't, or the ride has several, it is said which ride.
	if !strings.Contains(err.Error(), r.Ride.Files[0]) {
		err = fmt.Errorf("%s: %w", r.Ride.Recording, err)
	}
	r.Rows, r.Err, r.Unreadable = nil, err, unreadable
}

// tell makes the rows of a debrief.
func (r *Result) tell(d *report.Debrief, set Settings) {
	r.Rows, r.Lines = rowsOf(d, r.Source, set), lineRowsOf(d, r.Source)
	r.Source.Rows = len(r.Rows)
	if !set.WithoutPlaces {
		for _, n := range d.Notes {
			if n.Level == "warning" {
				r.Source.Warnings = append(r.Source.Warnings, n.What+": "+n.Why)
			}
		}
	}
}

// Worked is the result of a ride that was worked out elsewhere, as [Run] would have it from the files. Of the debrief,
// Basis, Rounds, Notes, Lines, Efforts and StrideRows are looked at; without one, err is why there is none, and unreadable as in
// Result. courseName is the plan's name where there is a course.
func Worked(ride paths.Ride, files []File, course *File, courseName string, d *report.Debrief, err error, unreadable bool, set Settings) *Result {
	r := &Result{Ride: ride, CourseName: courseName, Source: Source{Recording: ride.Recording, Horse: ride.Horse, Round: ride.Label,
		Columns: ride.Columns, Files: slices.Clone(files), Warnings: []string{}}}
	if course != nil {
		c := *course
		r.Source.Course = &c
	}
	if set.WithoutPlaces {
		r.hidePlaces()
	}
	if err != nil {
		r.fail(unreadable, err)
	} else {
		r.tell(d, set)
	}
	return r
}

// plans remembers the ways of the plans met, by the SHA-256 of their files: a study has many rides over few courses, and
// to work out a course's ways takes longer than to work out many a ride.
type plans struct {
	mu   sync.Mutex
	ways map[string]*follow.Ways
}

// mostPlans bounds what is remembered; a course's ways take some kilobytes.
const mostPlans = 1000

func (p *plans) of(plan *course.Plan, sum string) *follow.Ways {
	if plan == nil {
		return nil
	}
	p.mu.Lock()
	w := p.ways[sum]
	p.mu.Unlock()
	if w != nil {
		return w
	}
	w = follow.WaysOf(plan) // two workers may do this at once, to the same end
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.ways) >= mostPlans {
		clear(p.ways)
	}
	p.ways[sum] = w
	return w
}

// rowsOf makes the rows of a ride.
func rowsOf(d *report.Debrief, s Source, set Settings) []Row {
	rows := make([]Row, len(d.StrideRows))
	for i, stride := range d.StrideRows {
		row := Row{Recording: s.Recording, Horse: s.Horse, Basis: d.Basis, StrideRow: stride}
		row.Round = roundOf(s.Round, stride.Round, len(d.Rounds))
		if set.WithoutPlaces {
			row.Homeward, row.CurvaturePerM = nil, nil
		}
		rows[i] = row
	}
	return rows
}

// roundOf is the name of a round: the label, the number, or both where a labelled recording has several rounds.
func roundOf(label string, number *int, rounds int) string {
	switch {
	case label != "" && number != nil && rounds > 1:
		return fmt.Sprintf("%s/%d", label, *number)
	case label != "" || number == nil:
		return label
	}
	return fmt.Sprint(*number)
}

// hidePlaces puts hashes where names were.
func (r *Result) hidePlaces() {
	h := sha256.New()
	for i := range r.Source.Files {
		io.WriteString(h, r.Source.Files[i].SHA256)
		r.Source.Files[i].Name = ""
	}
	r.Source.Recording = hex.EncodeToString(h.Sum(nil))[:16]
	if c := r.Source.Course; c != nil {
		c.Name, r.CourseName = "", "course "+c.SHA256[:8]
	}
}

func hashed(ctx context.Context, name string) (File, error) {
	info, err := os.Stat(name)
	if err != nil || !info.Mode().IsRegular() {
		return File{}, fmt.Errorf("%s: not a plain file that can be read, expected a recording", name)
	}
	in, err := os.Open(name)
	if err != nil {
		return File{}, fmt.Errorf("%s: can't be opened, expected a recording", name)
	}
	defer in.Close()
	h := sha256.New()
	n, err := io.Copy(h, readUntil{ctx, in})
	if ctx.Err() != nil {
		return File{}, ctx.Err()
	}
	if err != nil {
		return File{}, fmt.Errorf("%s: can't be read, expected a recording", name)
	}
	return File{Name: filepath.ToSlash(name), SHA256: hex.EncodeToString(h.Sum(nil)), Bytes: n}, nil
}

// readUntil reads until the context ends.
type readUntil struct {
	ctx context.Context
	in  io.Reader
}

func (r readUntil) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.in.Read(p)
}

func planFile(name string) ([]byte, File, error) {
	info, err := os.Stat(name)
	if err != nil || !info.Mode().IsRegular() {
		return nil, File{}, fmt.Errorf("%s: not a plain file that can be read, expected a course plan", name)
	}
	in, err := os.Open(name)
	if err != nil {
		return nil, File{}, fmt.Errorf("%s: can't be opened, expected a course plan", name)
	}
	defer in.Close()
	data, err := io.ReadAll(io.LimitReader(in, maxPlanBytes+1))
	if err != nil {
		return nil, File{}, fmt.Errorf("%s: can't be read, expected a course plan", name)
	}
	sum := sha256.Sum256(data)
	return data, File{Name: filepath.ToSlash(name), SHA256: hex.EncodeToString(sum[:]), Bytes: int64(len(data))}, nil
}

// key is a name for all that the rows depend on.
func (r *Result) key(set Settings, program string) string {
	h := sha256.New()
	if err := json.NewEncoder(h).Encode([]any{Schema, program, set, r.Source}); err != nil {
		panic("a source holds what JSON can't: " + err.Error()) // strings and numbers: can't be
	}
	return hex.EncodeToString(h.Sum(nil))
}

// part is what is kept of a ride.
type part struct {
	Source     Source
	CourseName string
	Rows       []Row
	Lines      []LineRow
}

// takeUp fetches the rows that an earlier run kept; false where it kept none, or none that are whole.
func (r *Result) takeUp() bool {
	data, err := os.ReadFile(r.part)
	if err != nil {
		return false
	}
	var p part
	if json.Unmarshal(data, &p) != nil || p.Lines == nil || p.Source.Rows != len(p.Rows) || p.Source.Recording != r.Source.Recording {
		return false
	}
	r.Source, r.CourseName, r.Rows, r.Lines, r.Kept = p.Source, p.CourseName, p.Rows, p.Lines, true
	return true
}

// keep writes the rows under another name and renames them when all are there.
func (r *Result) keep() error {
	data, err := json.Marshal(part{r.Source, r.CourseName, r.Rows, r.Lines})
	if err != nil {
		return err
	}
	f, err := beside(r.part)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err == nil {
		err = os.Rename(f.Name(), r.part)
	}
	if err != nil {
		os.Remove(f.Name())
	}
	return err
}
