package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"groundline/course"
	"groundline/course/survey"
	"groundline/report"
	"groundline/trace/read"
)

// surveyFlags are the choices of a survey.
type surveyFlags struct {
	tape      string
	out       string
	receiverM float64
	units     unitsFlag
}

// A receiver's doubt beyond these is none: survey receivers are right to centimetres, and beyond 20 m a map of a
// course is not worth drawing.
const leastReceiverM, mostReceiverM = 0.01, 20.0

func planSurveyCommand(std streams) *cobra.Command {
	f := surveyFlags{units: unitsFlag{report.Metric}, receiverM: survey.ReceiverSDM}
	c := &cobra.Command{
		Use:   "survey FILE",
		Short: "Make a plan of waypoints or laps taken on a course walk, and a tape",
		Long: `survey makes a course plan of what a watch or phone wrote while somebody walked the
course: a waypoint, lap or mark at each obstacle, in the order jumped. A mark without
a place gets it from the track: stand still for a few seconds when you press.

Names say what a mark is, words in any order:
  1, 2, 7a, 7b             an obstacle; marked twice running: the two ends of its face
  3 left, 3 right          an end of its face, as jumped
  4 oxer, 4 oxer 0.90      its kind and height in metres: vertical, oxer, triple bar,
                           wall, cross, water, ditch, pole (a ground pole)
  corner                   of the arena, in order round it
  start left, start right, finish left, finish right, home, gate
  level 0.35               a height of the ground; behind any name: 5 level 0.35
Marks without a name, or with the device's own (lap 3, waypoint 12), are obstacles,
numbered as they come; two within 5 m are the ends of one.

Places by a receiver err by a metre or two. Distances by tape pull them right by least
squares, and a distance or mark that fits no other is told and left out. --tape is YAML:

  tape: groundline/1
  units: metres                        # metres | feet | paces
  distances:                           # back of the first to front of the second
    - {from: "1", to: "2", d: 21.95}   # to a corner, home, …: to the obstacle's middle
  levels:                              # optional: heights of the ground
    - {at: "1", z: 0.40}
  obstacles:                           # optional: what stands there
    - {id: "2", kind: oxer, height: 0.90, spread: 1.00, width: 3.5}

The way an obstacle is jumped: square to its face where both ends were marked, to the
side that turns least or as left and right say; else between the ways from the obstacle
before and to the next where these differ by up to 60°, beyond that along the nearer of
the two. Mark both ends: from middles one facing in fifteen comes out the wrong way.

The report says what became what, what fits, what is uncertain and what to check on the
ground. The plan that -o writes is a draft to correct.

` + exitHelp,
		Example: `  groundline plan survey points.gpx
  groundline plan survey points.gpx --tape tape.yaml -o course.yaml
  groundline plan survey points.gpx --tape tape.yaml --receiver 3 --units imperial`,
		Args: filesGiven("waypoints or laps of a course walk", 1, 1),
		RunE: func(c *cobra.Command, args []string) error {
			return planSurvey(c.Context(), args[0], f, std)
		},
	}
	flags := c.Flags()
	flags.StringVar(&f.tape, "tape", "", "distances, heights and kinds taken by hand, YAML")
	flags.StringVarP(&f.out, "output", "o", "", "write the plan to this file")
	flags.Float64Var(&f.receiverM, "receiver", f.receiverM, "standard deviation of the receiver's places in metres, beside what they have in common")
	flags.Var(&f.units, "units", "units of lengths in the report; the plan is in metres")
	return c
}

func planSurvey(ctx context.Context, file string, f surveyFlags, std streams) error {
	if !(f.receiverM >= leastReceiverM && f.receiverM <= mostReceiverM) {
		return badUse(fmt.Errorf("groundline: --receiver %g, expected %g to %g metres", f.receiverM, leastReceiverM, mostReceiverM))
	}
	for _, in := range []string{file, f.tape} {
		if f.out != "" && in != "" && sameFile(in, f.out) {
			return badUse(fmt.Errorf("%s: is input, expected another file to write to", f.out))
		}
	}
	// Both files' faults are told at once.
	var tape *course.Tape
	var badTape error
	if f.tape != "" {
		tape, badTape = readTape(f.tape)
	}
	show, clear := progress(std)
	rec, err := read.Open(ctx, []string{file}, read.Options{PlacesOnly: true, Progress: show})
	clear()
	if errors.Is(err, context.Canceled) {
		return err
	}
	if err := errors.Join(err, badTape); err != nil {
		return badInput(err)
	}
	s, err := survey.Make(rec, tape, survey.Options{ReceiverSDM: f.receiverM})
	var faults course.Faults
	switch {
	case errors.As(err, &faults):
		return badInput(err)
	case err != nil:
		return noAnswer(fmt.Errorf("%s: %w", file, err))
	}
	s.Notes = append(rec.Notes, s.Notes...)
	if f.out != "" {
		err := writeWhole(f.out, func(w io.Writer) error {
			_, err := w.Write(s.Draft())
			return written(err)
		})
		if err != nil {
			return err
		}
	}
	return written(report.SurveyText(std.out, s, report.SurveyOptions{Units: f.units.units, Bold: std.bold, Plan: f.out}))
}

func readTape(path string) (*course.Tape, error) {
	data, err := readWhole(path, "a tape file", maxPlanBytes)
	if err != nil {
		return nil, err
	}
	return course.ReadTape(path, data)
}
