package main

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"groundline/course"
	"groundline/report/paths"
	"groundline/report/validate"
)

// validateFlags are the choices of a check against labels.
type validateFlags struct {
	labels                       []string
	course, manifest             string
	horse, mounting              string
	fps                          float64
	offset                       string
	format, out, pairs, shareOut string
}

func validateCommand(std streams) *cobra.Command {
	f := validateFlags{}
	c := &cobra.Command{
		Use:   "validate --labels LABELS RIDE...",
		Short: "Check debriefs against what people saw on film or counted at the rail",
		Long: `validate sets what a debrief says beside labels that people set: strides counted at
the rail, or take-offs, landings, hind contacts, gaits and leads marked on a film.
It reports how many counts are right, how far take-offs and landings lie apart, and
how often the 90 % intervals hold what was seen, by mounting and by horse; where two
people labelled one ride, first how far they agree with each other.

Labels are CSV with a header, an event a row:
  event,obstacle,line,attempt,time_s,count,value,sure,rater,ride
event is takeoff, landing, contact, strides, gait, lead, refusal or runout; time_s is
on the film's clock (or frame, with --fps); line is written 3-4; value is a gait or a
lead. Counts alone are enough. Rows of start, end and label with tabs between are
read too ("takeoff 3", "strides 3-4 5", "gait canter").

A RIDE is one argument, as for compare: a file, files joined by +, a folder, or a
debrief as JSON. With several rides the column ride says which a label is of (the
name of the file or folder without its ending). Where no label says so, all files
are one ride. The film's clock is matched to the ride's by the events that both have.

--manifest lists many rides: a CSV with the columns recording and labels, and
course, horse, mounting, fps and offset where known.

` + exitHelp,
		Example: `  groundline validate --labels labels.csv ride.gpx+motion.csv --course course.yaml --fps 25
  groundline validate --labels rail.csv ride.gpx --course course.yaml --format html -o checked.html
  groundline validate --manifest rides.csv -o checked.json --pairs pairs.csv`,
		RunE: func(c *cobra.Command, args []string) error { return validateRides(c.Context(), args, f, std) },
	}
	flags := c.Flags()
	flags.StringArrayVar(&f.labels, "labels", nil, "labels of the rides (CSV, or start, end and label with tabs); may be given again")
	flags.StringVar(&f.course, "course", "", "course plan that was ridden, YAML or GeoJSON")
	flags.StringVar(&f.manifest, "manifest", "", "CSV that lists rides with their labels")
	flags.StringVar(&f.horse, "horse", "", "the horse's name")
	flags.StringVar(&f.mounting, "mounting", "", "where the sensor was, such as saddle, girth, pocket or wrist")
	flags.Float64Var(&f.fps, "fps", 0, "the film's frames a second")
	flags.StringVar(&f.offset, "offset", "", "seconds by which the film's clock is ahead of the ride's, where that is known")
	flags.StringVar(&f.format, "format", "", "text, json, html, or csv for the pairs; else by the ending of -o")
	flags.StringVarP(&f.out, "output", "o", "", "write to this file instead of standard output")
	flags.StringVar(&f.pairs, "pairs", "", "also write every label beside what was found to this file, as CSV")
	flags.StringVar(&f.shareOut, "share", "", "also write labels and differences without names or places to this file, as CSV")
	return c
}

// labelledRide is one ride to judge, before its recordings are read.
type labelledRide struct {
	rideFiles
	course, horse, mounting string
	labels                  []validate.Label
	fps                     float64
	offsetS                 *float64
}

func validateRides(ctx context.Context, args []string, f validateFlags, std streams) error {
	format, err := formatOf(f.format, f.out, []string{"text", "json", "html", "csv"})
	if err != nil {
		return badUse(err)
	}
	var rides []labelledRide
	switch {
	case f.manifest != "" && (len(args) > 0 || len(f.labels) > 0):
		return badUse(errors.New("groundline: --manifest beside rides or --labels, expected one of them"))
	case f.manifest != "":
		rides, err = manifestRides(f)
	case len(args) == 0:
		return badUse(errors.New("groundline: no ride given, expected recordings or debriefs, see groundline validate --help"))
	case len(f.labels) == 0:
		return badUse(errors.New("groundline: no labels given, expected --labels with what was seen; groundline labels blank makes a sheet to fill in"))
	default:
		rides, err = argumentRides(args, f, std)
	}
	if err != nil {
		return err
	}
	if err := keepInputs(rides, f); err != nil {
		return err
	}
	result, judged, err := judgeRides(ctx, rides, std)
	if err != nil {
		return err
	}
	if f.pairs != "" {
		err = writeWhole(f.pairs, func(w io.Writer) error { return written(validate.PairsCSV(w, judged)) })
	}
	if err == nil && f.shareOut != "" {
		err = writeWhole(f.shareOut, func(w io.Writer) error { return written(validate.ShareCSV(w, judged)) })
	}
	if err != nil {
		return err
	}
	write := func(w io.Writer) error {
		switch format {
		case "json":
			return written(validate.JSON(w, result))
		case "html":
			return written(validate.HTML(w, result))
		case "csv":
			return written(validate.PairsCSV(w, judged))
		}
		return written(validate.Text(w, result))
	}
	if f.out != "" {
		return writeWhole(f.out, write)
	}
	return write(std.out)
}

// keepInputs refuses to write over what is read.
func keepInputs(rides []labelledRide, f validateFlags) error {
	inputs := append(slices.Clone(f.labels), f.manifest)
	for _, r := range rides {
		inputs = append(append(inputs, r.files...), r.course)
	}
	for _, in := range inputs {
		for _, out := range []string{f.out, f.pairs, f.shareOut} {
			if out != "" && in != "" && sameFile(out, in) {
				return badUse(fmt.Errorf("%s: is input, expected another file to write to", out))
			}
		}
	}
	return nil
}

// formatOf is the format asked for, else that of the output's ending, else the first.
func formatOf(asked, out string, formats []string) (string, error) {
	if asked == "" {
		if ending := strings.TrimPrefix(strings.ToLower(filepath.Ext(out)), "."); slices.Contains(formats[1:], ending) {
			return ending, nil
		}
		return formats[0], nil
	}
	if !slices.Contains(formats, asked) {
		return "", fmt.Errorf("--format %q: no such format, expected %s", asked, strings.Join(formats, ", "))
	}
	return asked, nil
}

// readLabels reads files of labels; the error joins the faults of all of them.
func readLabels(files []string, fps float64) ([]validate.Label, error) {
	var all []validate.Label
	var faults []error
	for _, name := range files {
		data, err := readWhole(name, "labels as CSV", validate.MaxLabelBytes)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		labels, err := validate.ReadLabels(name, data, validate.LabelOptions{FPS: fps})
		if err != nil {
			faults = append(faults, err)
			continue
		}
		all = append(all, labels...)
	}
	if len(faults) > 0 {
		return nil, badInput(errors.Join(faults...))
	}
	return all, nil
}

// argumentRides are the rides given as arguments, each with its labels.
func argumentRides(args []string, f validateFlags, std streams) ([]labelledRide, error) {
	labels, err := readLabels(f.labels, f.fps)
	if err != nil {
		return nil, err
	}
	named := slices.ContainsFunc(labels, func(l validate.Label) bool { return l.Ride != "" })
	if !named && len(args) > 1 {
		args = []string{strings.Join(args, "+")}
	}
	offsetS, err := offsetOf(f.offset)
	if err != nil {
		return nil, badUse(err)
	}
	var out []labelledRide
	var faults []error
	for _, arg := range args {
		found, err := ridesOf(arg, std)
		if err == nil && len(found) != 1 {
			err = fmt.Errorf("%s: %d rides in it, expected one: name the files of each", arg, len(found))
		}
		if err != nil {
			faults = append(faults, err)
			continue
		}
		r := found[0]
		of := validate.Of(labels, r.name, len(args) == 1)
		if len(of) == 0 {
			faults = append(faults, fmt.Errorf("%s: no label names this ride, expected rows with %q in the column ride", arg, r.name))
		}
		out = append(out, labelledRide{rideFiles: r, course: f.course, horse: f.horse, mounting: f.mounting, labels: of, fps: f.fps, offsetS: offsetS})
	}
	for _, l := range labels {
		if len(faults) == 0 && l.Ride != "" && !slices.ContainsFunc(out, func(r labelledRide) bool { return r.name == l.Ride }) {
			faults = append(faults, fmt.Errorf("%s:%d: ride: %q is none of the rides given, expected the name of a file or folder without its ending", l.File, l.Row, l.Ride))
		}
	}
	if len(faults) > 0 {
		return nil, badInput(errors.Join(faults...))
	}
	return out, nil
}

// offsetOf is a clock's offset as given, in seconds; nil where none is.
func offsetOf(s string) (*float64, error) {
	if s == "" {
		return nil, nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !(v > -1e9 && v < 1e9) {
		return nil, fmt.Errorf("--offset %q: expected seconds", s)
	}
	return &v, nil
}

// manifestRides are the rides of a list, each with its labels.
func manifestRides(f validateFlags) ([]labelledRide, error) {
	data, err := readWhole(f.manifest, "a list of rides", paths.MaxManifestBytes)
	if err != nil {
		return nil, err
	}
	rides, err := paths.ReadManifest(f.manifest, data, f.course)
	if err != nil {
		return nil, badInput(err)
	}
	cells, err := manifestCells(f.manifest, data)
	if err != nil {
		return nil, badInput(err)
	}
	var out []labelledRide
	var faults []error
	fault := func(field, found, of, expected string) {
		faults = append(faults, fmt.Errorf("%s: %s: %q for %s, expected %s", f.manifest, field, found, of, expected))
	}
	for _, r := range rides {
		m := cells[r.Recording]
		x := labelledRide{rideFiles: rideFiles{name: r.Recording, files: r.Files}, course: r.Course, horse: r.Horse, mounting: m["mounting"], fps: f.fps}
		if s := m["fps"]; s != "" {
			if x.fps, err = strconv.ParseFloat(s, 64); err != nil || !(x.fps >= 1 && x.fps <= 10_000) {
				fault("fps", s, r.Recording, "frames a second")
			}
		}
		if x.offsetS, err = offsetOf(m["offset"]); err != nil {
			fault("offset", m["offset"], r.Recording, "seconds")
		}
		if m["labels"] == "" {
			fault("labels", "", r.Recording, "a file of labels")
			continue
		}
		name := filepath.FromSlash(m["labels"])
		if !filepath.IsAbs(name) {
			name = filepath.Join(filepath.Dir(f.manifest), name)
		}
		labels, err := readLabels([]string{name}, x.fps)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		if x.labels = validate.Of(labels, r.Recording, true); len(x.labels) == 0 {
			faults = append(faults, fmt.Errorf("%s: no label of %s, expected rows with that in the column ride, or without one", name, r.Recording))
		}
		out = append(out, x)
	}
	if len(faults) > 0 {
		return nil, badInput(errors.Join(faults...))
	}
	return out, nil
}

// manifestCells are the cells of each recording by the names of their columns.
func manifestCells(name string, data []byte) (map[string]map[string]string, error) {
	in := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(data), "\ufeff")))
	in.FieldsPerRecord, in.TrimLeadingSpace = -1, true
	rows, err := in.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w, expected CSV with the columns recording and labels", name, err)
	}
	cells := map[string]map[string]string{}
	for _, row := range rows {
		m := map[string]string{}
		for i, h := range rows[0] {
			if i < len(row) {
				m[strings.ToLower(strings.TrimSpace(h))] = strings.TrimSpace(row[i])
			}
		}
		cells[filepath.ToSlash(filepath.Clean(m["recording"]))] = m
	}
	return cells, nil
}

// judgeRides reads and debriefs the rides, one after the other, and judges them all.
func judgeRides(ctx context.Context, rides []labelledRide, std streams) (*validate.Result, []*validate.Judged, error) {
	plans := map[string]*course.Plan{}
	var inputs []validate.RideInput
	for _, r := range rides {
		if r.course != "" && plans[r.course] == nil && !r.debrief {
			plan, _, err := readPlan(r.course)
			if err != nil {
				return nil, nil, err
			}
			plans[r.course] = plan
		}
		d, err := debriefOf(ctx, r.rideFiles, plans[r.course], std)
		if err != nil {
			return nil, nil, err
		}
		inputs = append(inputs, validate.RideInput{Name: r.name, Horse: r.horse, Mounting: r.mounting, Debrief: d, Labels: r.labels, OffsetS: r.offsetS, FPS: r.fps})
	}
	result, judged, err := validate.Judge(inputs)
	var clock *validate.ClockError
	var fault validate.Fault
	switch {
	case errors.As(err, &clock):
		return nil, nil, noAnswer(err)
	case errors.As(err, &fault):
		return nil, nil, badInput(err)
	}
	return result, judged, err
}

// labelsFlags are the choices of a sheet for labels.
type labelsFlags struct {
	attempts   int
	times      bool
	rater, out string
}

func labelsCommand(std streams) *cobra.Command {
	c := &cobra.Command{
		Use:   "labels",
		Short: "Sheets for what people see: to fill in at the rail or beside a film",
		Long:  "labels makes the files that validate reads.",
	}
	f := labelsFlags{}
	blank := &cobra.Command{
		Use:   "blank COURSE",
		Short: "A sheet to fill in, made of the course alone",
		Long: `blank writes a CSV with a row for each line of the route, to write the strides into as
they are counted, and with --times also for each take-off and landing. It is made of
the course, not of a recording, so that nobody counts what they have read.

` + exitHelp,
		Example: `  groundline labels blank course.yaml -o rail-sheet.csv
  groundline labels blank course.yaml --attempts 2 --times --rater Ash -o film-sheet.csv`,
		Args: filesGiven("a course plan", 1, 1),
		RunE: func(c *cobra.Command, args []string) error { return blankSheet(args[0], f, std) },
	}
	flags := blank.Flags()
	flags.IntVar(&f.attempts, "attempts", 1, "how often the route will be ridden")
	flags.BoolVar(&f.times, "times", false, "also rows for take-offs and landings")
	flags.StringVar(&f.rater, "rater", "", "who will fill it in")
	flags.StringVarP(&f.out, "output", "o", "", "write to this new file instead of standard output")
	c.AddCommand(blank)
	return c
}

func blankSheet(planFile string, f labelsFlags, std streams) error {
	if f.attempts < 1 || f.attempts > 50 {
		return badUse(fmt.Errorf("--attempts %d: expected 1 to 50", f.attempts))
	}
	plan, _, err := readPlan(planFile)
	if err != nil {
		return err
	}
	write := func(w io.Writer) error { return written(validate.Blank(w, plan, f.attempts, f.times, f.rater)) }
	if f.out == "" {
		return write(std.out)
	}
	if _, err := os.Stat(f.out); err == nil {
		return badUse(fmt.Errorf("%s: is there already and may be filled in, expected a new file", f.out))
	}
	return writeWhole(f.out, write)
}
