package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"groundline/report/paths"
	"groundline/report/table"
)

// stridesFlags are the choices of a stride table.
type stridesFlags struct {
	course, horse, manifest string
	out, format             string
	columns                 columnsFlag
	partition, dictionary   string
	summary                 string
	lines                   string
	shard                   shardFlag
	workers                 int
	withoutPlaces, restart  bool
}

func stridesCommand(std streams) *cobra.Command {
	f := stridesFlags{shard: shardFlag{1, 1}, workers: runtime.GOMAXPROCS(0)}
	c := &cobra.Command{
		Use:   "strides RECORDING...",
		Short: "Make a table of every stride of one ride or thousands",
		Long: `strides writes one row a stride: its ride, line, gait, lead, time, length with interval,
speed, grade, and more (--dictionary tells all), for scripts and statistics.

A RECORDING is a file, a folder, or the files of one ride joined by + (ride.gpx+motion.csv).
A folder with a plan (course.yaml) and one track is one ride of all its recordings. Other
folders are searched with all below them, each file being a ride, but for files of the
same name before the ending (mon.gpx, mon.csv) and a folder's only track with its only
motion file, which are one ride. --manifest lists rides instead: a CSV with the
columns recording, course, horse, round, columns; paths are relative to it.

A ride that fails is told and the rest goes on. With --out, what is done is kept in
OUT.parts until the table is whole, so the same command takes up a run that was stopped
or in which rides failed; --restart begins anew. The same rides give the same bytes, in
whatever order they are given and with any number of workers. What the table was made of
stands in the Parquet file's metadata, or in OUT.provenance.json.

--shard 3/8 does the third of eight parts (array jobs: give each its own --out, or one
folder with --partition horse, which holds horse=NAME/part-….parquet for query engines).

--summary tells means, spread and 90 % intervals by horse, line and direction on the
slope, on standard output, instead of the table or beside --out.

` + exitHelp + `
Some rides failed: 1. All were unreadable: 3.`,
		Example: `  groundline strides ride.gpx motion.csv --course course.yaml
  groundline strides ride.gpx+motion.csv --course course.yaml --format jsonl
  groundline strides ride.gpx motion.csv --course course.yaml --summary
  groundline strides --manifest rides.csv -o table.parquet
  groundline strides --dictionary -`,
		RunE: func(c *cobra.Command, args []string) error {
			return strides(c.Context(), args, f, std)
		},
	}
	flags := c.Flags()
	flags.StringVar(&f.course, "course", "", "course plan of the rides that have none of their own")
	flags.StringVar(&f.horse, "horse", "", "the horse's name, for rides without a manifest")
	flags.StringVar(&f.manifest, "manifest", "", "CSV that lists the rides: recording, course, horse, round, columns")
	flags.StringVarP(&f.out, "out", "o", "", "write the table to this file, or folder with --partition")
	flags.StringVar(&f.format, "format", "", "csv, jsonl or parquet; else by the ending of --out, else csv")
	flags.Var(&f.columns, "columns", "columns of motion CSVs whose header doesn't tell: t=…,ax=…,ay=…,az=…")
	flags.Var(&f.shard, "shard", "do only this part of the rides, such as 3/8")
	flags.StringVar(&f.partition, "partition", "", "horse: Parquet in a folder horse=NAME for each horse")
	flags.BoolVar(&f.withoutPlaces, "without-places", false, "leave out names of files and plans, homeward and curvature: what could tell where it was")
	flags.StringVar(&f.dictionary, "dictionary", "", "write the data dictionary as CSV to this file; - is standard output")
	flags.StringVar(&f.lines, "lines", "", "also write one row a ridden line, every figure with its interval, as CSV to this file")
	flags.StringVar(&f.summary, "summary", "", "tell means by horse, line and slope: text, csv or json")
	flags.Lookup("summary").NoOptDefVal = "text"
	flags.IntVar(&f.workers, "workers", f.workers, "rides worked out at the same time")
	flags.BoolVar(&f.restart, "restart", false, "do not take up what an earlier run has kept")
	return c
}

// shardFlag is one part of several.
type shardFlag table.Shard

func (s *shardFlag) String() string { return fmt.Sprintf("%d/%d", s.I, s.N) }
func (s *shardFlag) Type() string   { return "i/n" }
func (s *shardFlag) Set(v string) error {
	a, b, ok := strings.Cut(v, "/")
	i, errI := strconv.Atoi(a)
	n, errN := strconv.Atoi(b)
	if !ok || errI != nil || errN != nil || i < 1 || n < i || n > 99_999 {
		return fmt.Errorf("no such part, expected 1/N to N/N")
	}
	s.I, s.N = i, n
	return nil
}

// settle checks the choices against each other.
func (f *stridesFlags) settle(args []string) error {
	use := func(format string, a ...any) error { return badUse(fmt.Errorf("groundline: strides: "+format, a...)) }
	if f.format == "" {
		f.format = string(table.CSV)
		if end := strings.TrimPrefix(strings.ToLower(filepath.Ext(f.out)), "."); slices.Contains([]string{"jsonl", "ndjson", "parquet"}, end) {
			f.format = strings.Replace(end, "ndjson", "jsonl", 1)
		}
		if f.partition != "" {
			f.format = string(table.Parquet)
		}
	}
	switch {
	case !slices.Contains([]string{"csv", "jsonl", "parquet"}, f.format):
		return use("--format %q, expected csv, jsonl or parquet", f.format)
	case !slices.Contains([]string{"", "text", "csv", "json"}, f.summary):
		return use("--summary %q, expected text, csv or json (as --summary=json)", f.summary)
	case f.partition != "" && f.partition != "horse":
		return use("--partition %q, expected horse", f.partition)
	case f.partition != "" && f.format != string(table.Parquet):
		return use("--partition with --format %s, expected parquet", f.format)
	case f.partition != "" && f.out == "":
		return use("--partition without --out, expected a folder to write to")
	case f.format == string(table.Parquet) && f.out == "" && f.summary == "":
		return use("Parquet without --out, expected a file to write to")
	case f.dictionary == "-" && f.out == "" && (len(args) > 0 || f.manifest != ""):
		return use("--dictionary - beside the table on standard output, expected a file")
	case f.workers < 1:
		return use("--workers %d, expected 1 or more", f.workers)
	case f.manifest != "" && len(args) > 0:
		return use("%s beside --manifest, expected one of them", args[0])
	case f.manifest != "" && f.horse != "":
		return use("--horse beside --manifest, expected a column horse in it")
	case f.manifest == "" && len(args) == 0 && f.dictionary == "":
		return use("nothing given, expected recordings or --manifest, see groundline strides --help")
	}
	return nil
}

func strides(ctx context.Context, args []string, f stridesFlags, std streams) error {
	if err := f.settle(args); err != nil {
		return err
	}
	if f.dictionary != "" {
		var err error
		if f.dictionary == "-" {
			err = written(table.Dictionary(std.out))
		} else {
			err = writeWhole(f.dictionary, func(w io.Writer) error { return written(table.Dictionary(w)) })
		}
		if err != nil || f.manifest == "" && len(args) == 0 {
			return err
		}
	}
	rides, err := findRides(args, f, std)
	if err != nil {
		return err
	}
	if f.partition != "" {
		slices.SortStableFunc(rides, func(a, b paths.Ride) int { return strings.Compare(a.Horse, b.Horse) })
	}
	return makeTable(ctx, table.Shard(f.shard).Take(rides), f, std)
}

// findRides is the rides given, none of them the file to be written.
func findRides(args []string, f stridesFlags, std streams) ([]paths.Ride, error) {
	if f.course != "" { // a plan that can't be read would fail every ride
		if _, _, err := readPlan(f.course); err != nil {
			return nil, err
		}
	}
	var rides []paths.Ride
	if f.manifest == "" {
		found, left, err := paths.Rides(args, paths.Options{Course: f.course, Horse: f.horse, Columns: string(f.columns)})
		if err != nil {
			return nil, badInput(err)
		}
		notRead(left, std)
		rides = found
	} else {
		data, err := readWhole(f.manifest, "a list of rides", paths.MaxManifestBytes)
		if err != nil {
			return nil, err
		}
		if rides, err = paths.ReadManifest(f.manifest, data, f.course); err != nil {
			return nil, badInput(err)
		}
	}
	inputs := []string{f.course, f.manifest}
	for _, r := range rides {
		inputs = append(append(inputs, r.Course), r.Files...)
	}
	for _, out := range []string{f.out, f.dictionary, f.lines} {
		info, err := os.Stat(out)
		if err != nil {
			continue
		}
		for _, in := range inputs {
			if there, err := os.Stat(in); in != "" && err == nil && os.SameFile(info, there) {
				return nil, badUse(fmt.Errorf("%s: is input, expected another file to write to", out))
			}
		}
	}
	return rides, nil
}

// makeTable works out the rides and writes what was asked for.
func makeTable(ctx context.Context, rides []paths.Ride, f stridesFlags, std streams) error {
	r := tableRun{ctx: ctx, rides: rides, show: &ridesProgress{std: std, begun: time.Now()}}
	set := table.Settings{Columns: string(f.columns), WithoutPlaces: f.withoutPlaces}
	r.set, r.opt = set, table.RunOptions{Program: program(), Workers: f.workers, Anew: f.restart, Progress: r.show.at}
	r.of = table.NewProvenance(r.opt.Program, set, f.shard.String(), f.partition)
	if f.summary != "" {
		r.sum = &table.Summary{}
	}
	if f.out != "" {
		r.opt.Parts = strings.TrimRight(f.out, "/") + paths.PartsEnding
		if err := os.Mkdir(r.opt.Parts, 0o777); err != nil && !errors.Is(err, os.ErrExist) {
			return written(err)
		}
		defer os.Remove(r.opt.Parts) // when nothing is in it
	}
	err := r.tables(f, std)
	r.show.clear()
	if err == nil && r.sum != nil {
		err = written(writeSummary(std.out, f.summary, r.sum.Lines()))
	}
	if err == nil && r.failed == 0 {
		for _, d := range r.done {
			d.Forget()
		}
	}
	return r.verdict(err)
}

// tableRun is the making of one table.
type tableRun struct {
	ctx   context.Context
	rides []paths.Ride
	set   table.Settings
	opt   table.RunOptions
	of    table.Provenance
	sum   *table.Summary    // nil: not asked for
	lines *table.LineWriter // nil: not asked for
	show  *ridesProgress

	done                     []*table.Result // without their rows
	rows, failed, unreadable int
}

// errNoRide ends the writing of a table that would be empty because every ride failed.
var errNoRide = errors.New("every ride failed")

// each works out the rides and hands over each.
func (r *tableRun) each(add func(*table.Result) error) error {
	err := table.Run(r.ctx, r.rides, r.set, r.opt, func(d *table.Result) error {
		if d.Err != nil {
			r.failed++
			if d.Unreadable {
				r.unreadable++
			}
			r.show.tell(d.Err)
		}
		if err := add(d); err != nil {
			return err
		}
		r.of.Add(d)
		if r.sum != nil {
			r.sum.Add(d)
		}
		if r.lines != nil {
			if err := r.lines.Write(d.Lines); err != nil {
				return written(err)
			}
		}
		r.rows += len(d.Rows)
		d.Rows, d.Lines = nil, nil
		r.done = append(r.done, d)
		return nil
	})
	if err == nil && r.failed > 0 && r.failed == len(r.rides) {
		return errNoRide
	}
	return err
}

// tables writes the stride table and, where asked for, the lines beside it.
func (r *tableRun) tables(f stridesFlags, std streams) error {
	if f.lines == "" {
		return r.write(f, std)
	}
	return writeWhole(f.lines, func(w io.Writer) (err error) {
		if r.lines, err = table.NewLineWriter(w); err != nil {
			return written(err)
		}
		if err := r.write(f, std); err != nil {
			return err
		}
		return written(r.lines.Close())
	})
}

// write works out the rides and writes the table to where it belongs.
func (r *tableRun) write(f stridesFlags, std streams) error {
	one := func(out io.Writer) error {
		w, err := table.NewWriter(out, table.Format(f.format), "")
		if err != nil {
			return written(err)
		}
		if err := r.each(func(d *table.Result) error { return written(w.Write(d.Rows)) }); err != nil {
			return err
		}
		return written(w.Close(r.of))
	}
	switch {
	case f.partition != "":
		return r.dataset(f)
	case f.out == "" && r.sum != nil:
		return r.each(func(*table.Result) error { return nil })
	case f.out == "":
		return one(std.out)
	}
	if s := table.ShardOf(f.out, table.Format(f.format)); s != "" && s != f.shard.String() {
		return badUse(fmt.Errorf("%s: holds part %s of a table, expected another --out for part %s", f.out, s, f.shard.String()))
	}
	if err := writeWhole(f.out, one); err != nil || f.format == string(table.Parquet) {
		return err
	}
	return writeWhole(f.out+paths.SidecarEnding, func(w io.Writer) error { return written(r.of.JSON(w)) })
}

func (r *tableRun) dataset(f stridesFlags) error {
	d, err := table.NewDataset(f.out, table.Shard(f.shard), r.of)
	if other := (*table.OtherShardsError)(nil); errors.As(err, &other) {
		return badUse(err)
	}
	if err != nil {
		return written(err)
	}
	defer d.Abort() // what is not committed
	if err := r.each(func(q *table.Result) error { return written(d.Add(q)) }); err != nil {
		return err
	}
	return written(d.Commit())
}

// verdict is how the run ended.
func (r *tableRun) verdict(err error) error {
	total := len(r.rides)
	switch {
	case errors.Is(err, context.Canceled):
		why := "groundline: interrupted"
		if r.opt.Parts != "" {
			why += ", what is done is kept in " + r.opt.Parts + ": the same command takes it up"
		}
		return failure{exitStopped, errors.New(why)}
	case err != nil && !errors.Is(err, errNoRide):
		return err
	case r.unreadable > 0 && r.unreadable == total:
		return badInput(fmt.Errorf("groundline: none of %d rides could be read, expected recordings", total))
	case r.failed > 0:
		return noAnswer(fmt.Errorf("groundline: %d of %d rides failed for the reasons above", r.failed, total))
	case r.rows == 0 && total > 0:
		return noAnswer(errors.New("groundline: no stride was found, expected a motion sensor's recording, or positions with a course"))
	}
	return nil
}

// program is this program with its version.
func program() string {
	version := "unknown"
	if info, ok := debug.ReadBuildInfo(); ok {
		version = info.Main.Version
	}
	return "groundline " + version
}

func writeSummary(w io.Writer, format string, lines []table.Line) error {
	switch format {
	case "csv":
		return table.SummaryCSV(w, lines)
	case "json":
		return table.SummaryJSON(w, lines)
	}
	return table.SummaryText(w, lines)
}

// ridesProgress tells on one row of a terminal how far the rides have come, and errors above it.
type ridesProgress struct {
	std   streams
	begun time.Time

	mu    sync.Mutex
	last  time.Time
	shown bool
}

func (p *ridesProgress) at(now table.Progress) {
	if !p.std.progress {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if time.Since(p.last) < progressEvery {
		return
	}
	p.last, p.shown = time.Now(), true
	line := fmt.Sprintf("%d of %d rides", now.Done, now.Total)
	if now.Failed > 0 {
		line += fmt.Sprintf(", %d failed", now.Failed)
	}
	if fresh := now.Done - now.Kept; fresh > 0 {
		took := time.Since(p.begun)
		left := time.Duration(float64(took) / float64(fresh) * float64(now.Total-now.Done)).Round(time.Second)
		line += fmt.Sprintf(", %.1f a second, %s left", float64(fresh)/took.Seconds(), left)
	}
	fmt.Fprintf(p.std.err, "\r\x1b[K%s", line)
}

// tell writes an error on a row of its own.
func (p *ridesProgress) tell(err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.wipe()
	fmt.Fprintln(p.std.err, err)
}

func (p *ridesProgress) clear() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.wipe()
}

func (p *ridesProgress) wipe() {
	if p.shown {
		p.shown = false
		fmt.Fprint(p.std.err, "\r\x1b[K")
	}
}
