package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"groundline/report/keep"
	"groundline/report/paths"
	"groundline/report/table"
	"groundline/trace/read"
)

// storeFlag adds the choice of the store. Its default is the user's own, which the help does not name: it is another
// one on each machine.
func storeFlag(c *cobra.Command, to *string) {
	c.Flags().StringVar(to, "store", "", "the folder that rides are kept in; else groundline in the user's data folder")
}

// openStore opens the store that --store names, or the user's own. log may be nil.
func openStore(ctx context.Context, dir string, std streams, log *slog.Logger) (*keep.Store, error) {
	if dir == "" {
		dir = std.store
	}
	if dir == "" {
		return nil, badUse(fmt.Errorf("groundline: no home folder to keep rides in, expected --store FOLDER"))
	}
	s, err := keep.Open(ctx, dir, keep.Options{Program: program(), Log: log, Child: std.apart(runtime.GOMAXPROCS(0))})
	return s, ofStore(err)
}

// openKept opens a store to see or take out what is in it: one that --store names has to be there, lest a misspelt name
// be told as an empty store.
func openKept(ctx context.Context, dir string, std streams) (*keep.Store, error) {
	if dir != "" && !keep.There(dir) {
		return nil, badInput(fmt.Errorf("%s: no store there, expected a folder that groundline keep or serve made", dir))
	}
	return openStore(ctx, dir, std, nil)
}

// ofStore gives an error of the store its exit code.
func ofStore(err error) error {
	var newer *keep.NewerError
	var foreign *keep.ForeignError
	var faults keep.Faults
	var invalid *keep.InvalidError
	switch {
	case err == nil || errors.Is(err, context.Canceled):
		return err
	case errors.As(err, &newer), errors.As(err, &foreign), errors.As(err, &faults):
		return badInput(err)
	case errors.As(err, &invalid):
		return badUse(err)
	}
	return noAnswer(err)
}

// keepFlags are the choices of keeping rides.
type keepFlags struct {
	store, course, horse string
	label, note          string
	columns              columnsFlag
	wait                 bool
	workers              int
}

func keepCommand(std streams) *cobra.Command {
	f := keepFlags{workers: runtime.GOMAXPROCS(0)}
	c := &cobra.Command{
		Use:   "keep RECORDING...",
		Short: "Keep rides in the store: the recordings untouched, and what they tell",
		Long: `keep copies recordings into the store, where groundline serve and groundline kept show them.
A ride is kept once: the same files again are told, and nothing is kept twice. When the
command has told that a ride is kept, it is on the disk.

A RECORDING is named as for groundline strides: a file, a folder, or the files of one ride
joined by + (ride.gpx+motion.csv). Each makes one ride. --course is a plan's file, or the
name of a course in the store; a folder's own plan comes first. A plan that is not in the
store yet becomes a version of the course of its name, or a new course.

Rides are worked out by groundline serve while it runs, or at once with --wait.

` + exitHelp + `
With --wait, rides that can't be told: 1; they are kept all the same.`,
		Example: `  groundline keep ride.gpx motion.csv --course course.yaml --horse Bramble --wait
  groundline keep monday thursday --course course.yaml --horse Bramble
  groundline keep ride.gpx+motion.csv --label "first round" --store riding-school`,
		Args: filesGiven("a recording", 1, maxFiles),
		RunE: func(c *cobra.Command, args []string) error {
			return keepRides(c.Context(), args, f, std)
		},
	}
	storeFlag(c, &f.store)
	flags := c.Flags()
	flags.StringVar(&f.course, "course", "", "a plan's file, or the name of a course in the store, for rides that have no plan of their own")
	flags.StringVar(&f.horse, "horse", "", "the horse's name")
	flags.StringVar(&f.label, "label", "", "what the round is called in tables")
	flags.StringVar(&f.note, "note", "", "a note")
	flags.Var(&f.columns, "columns", "columns of motion CSVs whose header doesn't tell: t=…,ax=…,ay=…,az=…")
	flags.BoolVar(&f.wait, "wait", false, "work the rides out and tell when they are ready")
	flags.IntVar(&f.workers, "workers", f.workers, "with --wait: rides worked out at the same time")
	return c
}

// mostKeptBytes is far more than the file of any ride: two days of a sensor at 200 Hz.
const mostKeptBytes = 4 << 30

func keepRides(ctx context.Context, args []string, f keepFlags, std streams) error {
	if f.workers < 1 {
		return badUse(fmt.Errorf("groundline: keep: --workers %d, expected 1 or more", f.workers))
	}
	rides, left, err := paths.Rides(args, paths.Options{Horse: f.horse, Columns: string(f.columns)})
	if err != nil {
		return badInput(err)
	}
	notRead(left, std)
	for _, r := range rides {
		for _, file := range r.Files {
			if kind := read.Look(file, string(f.columns)); kind.Format == "" {
				err = errors.Join(err, fmt.Errorf("%s: %s, expected a recording", file, kind.Why))
			}
		}
	}
	if err != nil {
		return badInput(err)
	}
	s, err := openStore(ctx, f.store, std, nil)
	if err != nil {
		return err
	}
	defer s.Close()
	k := keeper{s: s, f: f, std: std, versions: map[string]int64{}}
	if err := k.settle(ctx); err != nil {
		return err
	}
	var ids []int64
	for _, r := range rides {
		id, err := k.keep(ctx, r)
		if err != nil {
			return keptSoFar(err)
		}
		ids = append(ids, id)
	}
	if !f.wait {
		return nil
	}
	return keptSoFar(k.workOut(ctx, ids))
}

// keptSoFar says of an interrupt that it undoes nothing.
func keptSoFar(err error) error {
	if errors.Is(err, context.Canceled) {
		return failure{exitStopped, errors.New("groundline: interrupted; the rides told to be kept are, and the same command goes on")}
	}
	return err
}

// keeper keeps the rides of one command line.
type keeper struct {
	s        *keep.Store
	f        keepFlags
	std      streams
	horse    int64
	course   int64            // version of rides without a plan of their own
	versions map[string]int64 // of plans' files
}

// settle finds or makes the horse and the course.
func (k *keeper) settle(ctx context.Context) (err error) {
	if k.f.horse != "" {
		if k.horse, err = k.s.NameHorse(ctx, k.f.horse); err != nil {
			return ofStore(err)
		}
	}
	if k.f.course == "" {
		return nil
	}
	if _, err := os.Stat(k.f.course); err == nil {
		k.course, err = k.plan(ctx, k.f.course)
		return err
	} else if !errors.Is(err, fs.ErrNotExist) {
		return badInput(fmt.Errorf("%s: can't be read, expected a course plan", k.f.course))
	}
	c, err := courseNamed(ctx, k.s, k.f.course, "no such file, and ")
	if err != nil {
		return err
	}
	k.course = c.VersionID
	return nil
}

// courseNamed is the store's course of a name, small and capital letters alike. Where there is none, the error begins with what
// else was looked for.
func courseNamed(ctx context.Context, s *keep.Store, name, looked string) (keep.Course, error) {
	all, err := s.Courses(ctx)
	if err != nil {
		return keep.Course{}, ofStore(err)
	}
	var found []keep.Course
	for _, c := range all {
		if keep.SameName(c.Name, name) {
			found = append(found, c)
		}
	}
	switch len(found) {
	case 0:
		return keep.Course{}, badInput(fmt.Errorf("%s: %sno course of that name in the store, expected one; groundline kept courses lists them", name, looked))
	case 1:
		return found[0], nil
	}
	return keep.Course{}, badInput(fmt.Errorf("%s: %d courses in the store have that name, expected one: give the plan's file", name, len(found)))
}

// plan is the version of the course in a plan's file.
func (k *keeper) plan(ctx context.Context, file string) (int64, error) {
	if id, ok := k.versions[file]; ok {
		return id, nil
	}
	plan, _, err := readPlan(file)
	if err != nil {
		return 0, err
	}
	_, id, _, err := k.s.TakePlan(ctx, plan)
	if err != nil {
		return 0, ofStore(err)
	}
	k.versions[file] = id
	return id, nil
}

// keep keeps one ride and tells so.
func (k *keeper) keep(ctx context.Context, r paths.Ride) (int64, error) {
	of := keep.About{HorseID: k.horse, CourseVersionID: k.course, Label: k.f.label, Note: k.f.note, Columns: string(k.f.columns)}
	if r.Course != "" {
		var err error
		if of.CourseVersionID, err = k.plan(ctx, r.Course); err != nil {
			return 0, err
		}
	}
	var files []*keep.Received
	defer func() {
		for _, f := range files {
			f.Discard()
		}
	}()
	for _, name := range r.Files {
		in, err := os.Open(name)
		var info fs.FileInfo
		if err == nil {
			info, err = in.Stat()
		}
		if err != nil {
			return 0, badInput(fmt.Errorf("%s: can't be opened, expected a recording", name))
		}
		show, clear := progress(k.std)
		got, err := k.s.Receive(ctx, filepath.Base(name), &shown{r: in, name: name, size: info.Size(), show: show}, mostKeptBytes)
		clear()
		in.Close()
		if err != nil {
			return 0, ofStore(err)
		}
		if got.Bytes != info.Size() { // still being written, or a file that the system makes up as it is read
			got.Discard()
			return 0, badInput(fmt.Errorf("%s: %d bytes came where it says %d, expected a recording that is done", name, got.Bytes, info.Size()))
		}
		files = append(files, got)
	}
	id, already, err := k.s.Keep(ctx, files, of)
	if err != nil {
		return 0, ofStore(err)
	}
	word := "kept"
	if already {
		word = "kept already"
	}
	_, err = fmt.Fprintf(k.std.out, "ride %d: %s, %s\n", id, word, r.Recording)
	return id, written(err)
}

// shown tells how much of a file has been read.
type shown struct {
	r          io.Reader
	name       string
	done, size int64
	show       func(file string, done, size int64) // nil: to nobody
}

func (s *shown) Read(p []byte) (int, error) {
	n, err := s.r.Read(p)
	s.done += int64(n)
	if s.show != nil {
		s.show(s.name, s.done, s.size)
	}
	return n, err
}

// workOut works rides out and tells what became of each, in their order.
func (k *keeper) workOut(ctx context.Context, ids []int64) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	type outcome struct {
		ride keep.Ride
		err  error
	}
	outcomes := make([]chan outcome, len(ids))
	for i := range outcomes {
		outcomes[i] = make(chan outcome, 1)
	}
	next := make(chan int)
	var workers sync.WaitGroup
	for range min(k.f.workers, len(ids)) {
		workers.Go(func() {
			for i := range next {
				r, err := k.s.WorkOut(ctx, ids[i])
				outcomes[i] <- outcome{r, err}
			}
		})
	}
	go func() {
		defer close(next)
		for i := range ids {
			select {
			case next <- i:
			case <-ctx.Done():
				return
			}
		}
	}()
	defer workers.Wait()
	defer stop()
	refused := 0
	show := ridesProgress{std: k.std, begun: time.Now()}
	defer show.clear()
	for i := range ids {
		show.at(table.Progress{Done: i, Failed: refused, Total: len(ids)})
		select {
		case o := <-outcomes[i]:
			show.clear()
			if o.err != nil {
				return ofStore(o.err)
			}
			if o.ride.State == keep.Refused {
				refused++
				fmt.Fprintf(k.std.err, "ride %d: can't be told:\n%s\n", o.ride.ID, o.ride.Why)
				continue
			}
			if _, err := fmt.Fprintf(k.std.out, "ride %d: %s\n", o.ride.ID, inShort(o.ride)); err != nil {
				return written(err)
			}
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	if refused > 0 {
		return noAnswer(fmt.Errorf("groundline: %d of %s can't be told for the reasons above; kept all the same", refused, amount(len(ids), "ride", "rides")))
	}
	return nil
}

func amount(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

// inShort is what a ready ride told, in a few words.
func inShort(r keep.Ride) string {
	var parts []string
	for _, p := range []struct {
		n         int
		one, more string
	}{{r.Jumps, "jump", "jumps"}, {r.Refusals, "refusal or run-out", "refusals and run-outs"}, {r.Lines, "line", "lines"}, {r.Rounds, "round", "rounds"}} {
		if p.n > 0 || p.one == "jump" {
			parts = append(parts, amount(p.n, p.one, p.more))
		}
	}
	return strings.Join(parts, ", ")
}
