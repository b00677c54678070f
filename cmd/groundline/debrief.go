package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"groundline/course"
	"groundline/report"
	"groundline/report/build"
	"groundline/report/paths"
	"groundline/trace"
	"groundline/trace/read"
)

// debriefFlags are the choices of a debrief.
type debriefFlags struct {
	course  string
	out     string
	columns columnsFlag
	horse   string
	save    string
	format  debriefFormat
	units   unitsFlag
	explain bool
	tables  bool
	from    []string
	size    string
}

func debriefCommand(std streams) *cobra.Command {
	f := debriefFlags{format: "text", units: unitsFlag{report.Metric}}
	c := &cobra.Command{
		Use:   "debrief FILE...",
		Short: "Tell how each line of a recorded ride was ridden",
		Long: `debrief reads the files of one ride (a watch's GPX, a motion sensor's CSV, or both,
told apart by their content), lays them on the course plan, and tells how each line
was ridden. A folder stands for the one ride in it and for the plan beside it. Without a
plan the obstacles are found from the jumps.

` + exitHelp + `
A ride in which nothing was jumped is told, with exit code 1.`,
		Example: `  groundline debrief ride.gpx motion.csv --course course.yaml
  groundline debrief ride.gpx --course course.yaml --format json -o ride.json
  groundline debrief ride.gpx motion.csv --course course.yaml --format html -o debrief.html
  groundline debrief motion.csv --course course.yaml --units imperial
  groundline debrief ride.gpx motion.csv --save-plan draft.yaml
  groundline debrief phone.csv --course course.yaml --columns t=clock,ax=x,ay=y,az=z`,
		Args: filesGiven("a recording", 1, maxFiles),
		RunE: func(c *cobra.Command, files []string) error {
			return debrief(c.Context(), files, f, std)
		},
	}
	flags := c.Flags()
	flags.StringVar(&f.course, "course", "", "course plan that was ridden, YAML or GeoJSON")
	flags.Var(&f.format, "format", "text for people, json for programs, html for one page with pictures, or the ride on one sheet")
	flags.StringVarP(&f.out, "output", "o", "", "write to this file instead of standard output")
	flags.Var(&f.units, "units", "units of lengths; JSON is in metres")
	flags.Var(&f.columns, "columns", "columns of a motion CSV whose header doesn't tell: t=…,ax=…,ay=…,az=…")
	flags.StringVar(&f.horse, "horse", "", "the horse's name, for the title")
	flags.StringVar(&f.save, "save-plan", "", "write the plan that was found in the ride here, as a draft to correct")
	flags.StringSliceVar(&f.from, "horse-from", nil, "debriefs in JSON of the same horse's other rides, which its lines are held against")
	flags.StringVar(&f.size, "size", "", "size of horse or pony, for its planned strides: "+strings.Join(sizes(), ", "))
	flags.BoolVar(&f.tables, "tables", false, "text: also the tables of lines and efforts")
	flags.BoolVar(&f.explain, "explain", false, "text: also each effort's figures, stride lengths and lesser notes")
	return c
}

// debrief reads, builds and writes. A ride in which nothing was jumped is written too, and
// then is a failure, for a script that asked how the lines were ridden.
func debrief(ctx context.Context, files []string, f debriefFlags, std streams) error {
	ride, left, err := paths.One(files, paths.Options{Course: f.course, Columns: string(f.columns)})
	if err != nil {
		return badInput(err)
	}
	notRead(left, std)
	files, f.course = ride.Files, ride.Course
	for _, in := range slices.Concat(files, []string{f.course}) {
		for _, out := range []string{f.out, f.save} {
			if out != "" && sameFile(out, in) {
				return badUse(fmt.Errorf("%s: is input, expected another file to write to", out))
			}
		}
	}
	if f.save != "" && f.course != "" {
		return badUse(fmt.Errorf("--save-plan: a course was given, expected --save-plan without --course, to find one in the ride"))
	}
	d, err := readAndBuild(ctx, files, f, std)
	if err != nil {
		return err
	}
	write := func(w io.Writer) error {
		if f.format == "json" {
			return written(report.JSON(w, d))
		}
		if f.format != "text" {
			return debriefPage(w, d, f, std)
		}
		return written(report.Text(w, d, report.TextOptions{
			Units: f.units.units, Bold: std.bold && f.out == "", Explain: f.explain, Tables: f.tables,
		}))
	}
	if f.out != "" {
		err = writeWhole(f.out, write)
	} else {
		err = write(std.out)
	}
	if err == nil && f.save != "" {
		err = savePlan(f.save, d)
	}
	if err == nil && !anyJump(d) {
		err = noAnswer(fmt.Errorf("%s: no jump was found, expected a ride over obstacles", strings.Join(files, " and ")))
	}
	return err
}

// savePlan writes the plan found in the ride.
func savePlan(file string, d *report.Debrief) error {
	if d.Plan == nil {
		return noAnswer(fmt.Errorf("%s: no plan was found in the ride, expected positions and motion with jumps", file))
	}
	return writeWhole(file, func(w io.Writer) error {
		_, err := w.Write(course.WritePlan(d.Plan))
		return written(err)
	})
}

func readAndBuild(ctx context.Context, files []string, f debriefFlags, std streams) (*report.Debrief, error) {
	var plan *course.Plan
	var notes []trace.Note
	if f.course != "" {
		var warnings []course.Warning
		var err error
		if plan, warnings, err = readPlan(f.course); err != nil {
			return nil, err
		}
		for _, w := range warnings {
			notes = append(notes, w.Note())
		}
	}
	opt := build.Options{HorseName: f.horse}
	if len(f.from) > 0 || f.size != "" {
		size, err := sizeGiven(f.size)
		if err != nil {
			return nil, err
		}
		rides, err := ridesFrom(f.from)
		if err != nil {
			return nil, err
		}
		rides.Size = size
		opt.Record = &rides
	}
	show, clear := progress(std)
	rec, err := read.Open(ctx, files, read.Options{Columns: string(f.columns), Progress: show})
	clear()
	if err != nil {
		return nil, badInput(err)
	}
	d, err := build.Debrief(ctx, rec, plan, opt)
	if err != nil {
		return nil, noAnswer(fmt.Errorf("%s: %w", strings.Join(files, " and "), err))
	}
	d.Notes = append(notes, d.Notes...)
	return d, nil
}

// anyJump tells whether anything was jumped.
func anyJump(d *report.Debrief) bool {
	for _, e := range d.Efforts {
		if e.Outcome == "jumped" || e.Outcome == "warm-up" {
			return true
		}
	}
	return false
}
