package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"groundline/course"
	"groundline/report"
	"groundline/report/build"
	"groundline/report/compare"
	"groundline/report/paths"
	"groundline/trace/read"
)

// compareFlags are the choices of a comparison.
type compareFlags struct {
	course string
	line   string
	names  string
	out    string
	format compareFormat
	units  unitsFlag
}

// compareFormat is formatFlag's choice with the page.
type compareFormat string

func (f *compareFormat) String() string { return string(*f) }
func (f *compareFormat) Type() string   { return "text|json|html" }
func (f *compareFormat) Set(s string) error {
	if s != "text" && s != "json" && s != "html" {
		return errors.New("no such format, expected text, json or html")
	}
	*f = compareFormat(s)
	return nil
}

// maxRides is more than anybody compares in one table.
const maxRides = 200

func compareCommand(std streams) *cobra.Command {
	f := compareFlags{format: "text", units: unitsFlag{report.Metric}}
	c := &cobra.Command{
		Use:   "compare RIDE...",
		Short: "Tell how rides of the same lines differ, and which differences are sure",
		Long: `compare sets rides of one course side by side, line by line, in the order given:
what the last has more than the first, with its doubt, and from three rides on the
trend. One RIDE alone is compared with itself: lines ridden again and again.

A RIDE is one argument:
  ride.gpx                 a file
  ride.gpx+motion.csv      the files of one ride, joined by +
  monday/                  a folder: each ride in it, found by what its files hold; files that
                           are part of no ride are named
  monday.json              a debrief written before by debrief --format json
Recordings need --course; debriefs do not.

Beyond doubt is said of a difference that is sure even though many were looked at
(in 95 comparisons of 100 no such word is wrong); likely, where one in ten may be
wrong; ~ where no difference can be told. All else that both rides share (tape, plan)
cancels in a difference, and its ± is then rather too wide.

For two rides of one course in two folders:
  groundline compare monday thursday --course course.yaml --names Monday,Thursday
For all rides of one line in a lesson:
  groundline compare lesson.gpx+motion.csv --course course.yaml --line 3-4

` + exitHelp + `
Where no line was ridden twice that is told, with exit code 1.`,
		Example: `  groundline compare ride.gpx+motion.csv ride.gpx --course course.yaml --names "with sensor,watch alone"
  groundline compare ride.gpx+motion.csv motion.csv --course course.yaml --format json -o compared.json
  groundline compare ride.gpx+motion.csv ride.gpx --course course.yaml --format html -o compared.html`,
		Args: filesGiven("a ride", 1, maxRides),
		RunE: func(c *cobra.Command, args []string) error {
			return compareRides(c.Context(), args, f, std)
		},
	}
	flags := c.Flags()
	flags.StringVar(&f.course, "course", "", "course plan that was ridden, YAML or GeoJSON")
	flags.StringVar(&f.line, "line", "", "compare this line only, as 3-4; also one that the route does not have")
	flags.StringVar(&f.names, "names", "", "what to call the rides, in their order, with commas between")
	flags.Var(&f.format, "format", "text for people, json for programs, html with the tracks on the plan")
	flags.StringVarP(&f.out, "output", "o", "", "write to this file instead of standard output")
	flags.Var(&f.units, "units", "units of lengths in the text; JSON is in metres")
	return c
}

// rideFiles are the files of one ride; debrief tells that it is one written before.
type rideFiles struct {
	name    string
	files   []string
	debrief bool
}

func compareRides(ctx context.Context, args []string, f compareFlags, std streams) error {
	var names []string
	if f.names != "" {
		names = strings.Split(f.names, ",")
	}
	var rides []rideFiles
	var faults []error
	for _, arg := range args {
		found, err := ridesOf(arg, std)
		if err != nil {
			faults = append(faults, err)
		}
		rides = append(rides, found...)
	}
	if len(faults) > 0 {
		return badInput(errors.Join(faults...))
	}
	if len(rides) > maxRides {
		return badUse(fmt.Errorf("compare: %d rides given, expected at most %d", len(rides), maxRides))
	}
	if names != nil && len(names) != len(rides) {
		return badUse(fmt.Errorf("--names: %d names given, expected %d, one for each ride", len(names), len(rides)))
	}
	recordings := false
	for i := range rides {
		r := &rides[i]
		if names != nil && strings.TrimSpace(names[i]) != "" {
			r.name = strings.TrimSpace(names[i])
		}
		recordings = recordings || !r.debrief
		for _, in := range append(slices.Clone(r.files), f.course) {
			if f.out != "" && sameFile(f.out, in) {
				return badUse(fmt.Errorf("%s: is input, expected another file to write to", f.out))
			}
		}
	}
	if recordings && f.course == "" {
		return badUse(errors.New("groundline: no course given, expected --course with the plan that was ridden; only debriefs written before need none"))
	}
	var plan *course.Plan
	var warnings []course.Warning
	if f.course != "" {
		var err error
		if plan, warnings, err = readPlan(f.course); err != nil {
			return err
		}
	}
	var attempts []compare.Attempt
	for _, r := range rides {
		d, err := debriefOf(ctx, r, plan, std)
		if err != nil {
			return err
		}
		attempts = append(attempts, compare.Attempt{Name: r.name, Debrief: d})
	}
	opt, err := lineAsked(f.line, attempts)
	if err != nil {
		return err
	}
	c, err := compare.Of(attempts, opt)
	if err != nil {
		return noAnswer(fmt.Errorf("%s: %w", strings.Join(args, " and "), err))
	}
	for _, w := range warnings {
		c.Notes = append(c.Notes, w.Note())
	}
	write := func(w io.Writer) error {
		switch f.format {
		case "json":
			return written(compare.JSON(w, c))
		case "html":
			return written(compare.Page(w, c, attempts, compare.PageOptions{Units: f.units.units}))
		}
		return written(compare.Text(w, c, compare.TextOptions{Units: f.units.units, Bold: std.bold && f.out == ""}))
	}
	if f.out != "" {
		return writeWhole(f.out, write)
	}
	return write(std.out)
}

// ridesOf finds the rides of one argument, and says which of a folder's files are part of none.
func ridesOf(arg string, std streams) ([]rideFiles, error) {
	if is, err := beginsAsDebrief(arg); is || err != nil {
		return []rideFiles{{name: stem(arg), files: []string{arg}, debrief: is}}, err
	}
	found, left, err := paths.Rides([]string{arg}, paths.Options{})
	if err != nil {
		return nil, err
	}
	notRead(left, std)
	var out []rideFiles
	for _, r := range found {
		out = append(out, rideFiles{name: stem(r.Files[0]), files: r.Files})
	}
	if info, err := os.Stat(arg); err == nil && info.IsDir() && len(out) == 1 {
		out[0].name = filepath.Base(filepath.Clean(arg))
	}
	return out, nil
}

// notRead says which files of a folder were not read.
func notRead(left []paths.Left, std streams) {
	if word := paths.NotRead(left); word != "" {
		fmt.Fprintf(std.err, "groundline: %s\n", word)
	}
}

// stem is a file's name without its folder and ending.
func stem(path string) string {
	base := filepath.Base(path)
	if s := strings.TrimSuffix(base, filepath.Ext(base)); s != "" {
		return s
	}
	return base
}

// beginsAsDebrief looks at a file's first bytes. A file that is missing or odd is the reader's to refuse.
func beginsAsDebrief(path string) (bool, error) {
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() {
		return false, nil
	}
	file, err := os.Open(path)
	if err != nil {
		return false, nil
	}
	defer file.Close()
	begin := make([]byte, 512)
	n, err := io.ReadFull(file, begin)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return false, fmt.Errorf("%s: can't be read", path)
	}
	return report.IsDebrief(begin[:n]), nil
}

// debriefOf reads a ride's debrief, or makes it from its recordings.
func debriefOf(ctx context.Context, r rideFiles, plan *course.Plan, std streams) (*report.Debrief, error) {
	if r.debrief {
		return readDebrief(r.files[0])
	}
	show, clear := progress(std)
	rec, err := read.Open(ctx, r.files, read.Options{Progress: show})
	clear()
	if errors.Is(err, context.Canceled) {
		return nil, err
	}
	if err != nil {
		return nil, badInput(err)
	}
	d, err := build.Debrief(ctx, rec, plan, build.Options{})
	if err != nil {
		return nil, noAnswer(fmt.Errorf("%s: %w", strings.Join(r.files, " and "), err))
	}
	return d, nil
}

// lineAsked reads the --line choice.
func lineAsked(line string, attempts []compare.Attempt) (compare.Options, error) {
	if line == "" {
		return compare.Options{}, nil
	}
	from, to, ok := compare.LineOf(line, attempts)
	if !ok {
		return compare.Options{}, badUse(fmt.Errorf("--line %q: expected two obstacles with a dash between, as 3-4", line))
	}
	return compare.Options{From: from, To: to}, nil
}
