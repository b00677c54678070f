package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"groundline/course"
	"groundline/course/horse"
	"groundline/report"
)

// walkFlags are the choices of a walk.
type walkFlags struct {
	horse     string
	horseFrom []string
	size      string
	paceMMin  float64
	saveHorse string
	out       string
	format    formatFlag
	units     unitsFlag
}

// maxHorseBytes is more than any horse file may have, so that its reader tells that it is too long.
const maxHorseBytes = 1 << 20

func walkCommand(std streams) *cobra.Command {
	f := walkFlags{format: "text", units: unitsFlag{report.Metric}}
	c := &cobra.Command{
		Use:   "walk course.yaml",
		Short: "Walk a course on paper for one horse",
		Long: `walk tells what a course asks of one horse, line by line: the strides that the ground has
for it and the whole number, how long or tight that is, what slope and home do to it, what one
stride more or less would ask, the tracks of bending lines, wide and cut turns of rollbacks,
what jumping in weak or forward leaves, the length of the track and the time allowed.

The horse is one of the sizes of published tables, or a horse file, or what debriefs
(groundline debrief --format json) measured of it; a size beside debriefs is what is known
of the horse beforehand. So, after a ride or two:

  groundline debrief ride.gpx motion.csv --course course.yaml --format json -o ride.json
  groundline walk next.yaml --horse-from ride.json --save-horse bramble.yaml
  groundline walk other.yaml --horse bramble.yaml

` + exitHelp,
		Example: `  groundline walk course.yaml
  groundline walk course.yaml --size "large pony" --units imperial
  groundline walk course.yaml --pace 350
  groundline walk course.yaml --size "small pony" --save-horse pony.yaml
  groundline walk course.yaml --format json -o walk.json`,
		Args: filesGiven("a course plan", 1, 1),
		RunE: func(c *cobra.Command, args []string) error {
			return walk(args[0], f, c.Flags().Changed("pace"), std)
		},
	}
	flags := c.Flags()
	flags.StringVar(&f.horse, "horse", "", "horse file")
	flags.StringArrayVar(&f.horseFrom, "horse-from", nil, "debrief in JSON that measured the horse; may be given again")
	flags.StringVar(&f.size, "size", "", "size of horse or pony: "+strings.Join(sizes(), ", "))
	flags.Float64Var(&f.paceMMin, "pace", 0, "pace between fences in m/min, if another than the horse's or the plan's")
	flags.StringVar(&f.saveHorse, "save-horse", "", "write the horse to this file")
	flags.Var(&f.format, "format", "text for people, json for programs")
	flags.StringVarP(&f.out, "output", "o", "", "write to this file instead of standard output")
	flags.Var(&f.units, "units", "units of lengths in the text; JSON is in metres")
	return c
}

// Paces between walk and racing gallop.
const minPaceMMin, maxPaceMMin = 100, 1000

func walk(path string, f walkFlags, paced bool, std streams) error {
	inputs := append([]string{path, f.horse}, f.horseFrom...)
	for _, out := range []string{f.out, f.saveHorse} {
		for _, in := range inputs {
			if out != "" && sameFile(out, in) {
				return badUse(fmt.Errorf("%s: is input, expected another file to write to", out))
			}
		}
	}
	switch {
	case f.horse != "" && (f.size != "" || len(f.horseFrom) > 0):
		return badUse(fmt.Errorf("groundline: --horse with --size or --horse-from, expected one horse"))
	case f.out != "" && f.out == f.saveHorse:
		return badUse(fmt.Errorf("groundline: --output and --save-horse name the same file, expected two"))
	case paced && !(f.paceMMin >= minPaceMMin && f.paceMMin <= maxPaceMMin):
		return badUse(fmt.Errorf("groundline: --pace %g, expected %d to %d m/min", f.paceMMin, minPaceMMin, maxPaceMMin))
	}
	plan, warnings, err := readPlan(path)
	if err != nil {
		return err
	}
	horse, err := walkHorse(f)
	if err != nil {
		return err
	}
	if f.saveHorse != "" {
		if err := writeWhole(f.saveHorse, func(w io.Writer) error {
			_, err := w.Write(course.WriteHorse(horse))
			return written(err)
		}); err != nil {
			return err
		}
	}
	if paced {
		horse = horse.AtPace(f.paceMMin / 60)
	}
	walked := plan.Walk(horse)
	write := func(w io.Writer) error {
		if f.format == "json" {
			return written(report.WalkJSON(w, plan, walked, warnings))
		}
		return written(report.WalkText(w, plan, walked, warnings, report.WalkOptions{Units: f.units.units, Bold: std.bold && f.out == ""}))
	}
	if f.out != "" {
		return writeWhole(f.out, write)
	}
	return write(std.out)
}

// walkHorse is the horse that the flags say.
func walkHorse(f walkFlags) (course.Horse, error) {
	size, err := sizeGiven(f.size)
	if err != nil {
		return course.Horse{}, err
	}
	switch {
	case f.horse != "":
		data, err := readWhole(f.horse, "a horse file", maxHorseBytes)
		if err != nil {
			return course.Horse{}, err
		}
		h, err := course.ReadHorse(f.horse, data)
		if err != nil {
			return course.Horse{}, badInput(err)
		}
		return h, nil
	case len(f.horseFrom) > 0:
		return horseFrom(f.horseFrom, size)
	case size != nil:
		return size.Horse(), nil
	}
	return course.Profiles()[0].Horse(), nil
}

// sizeGiven is the size of that name; nil for none.
func sizeGiven(name string) (*course.Profile, error) {
	if name == "" {
		return nil, nil
	}
	i := slices.Index(sizes(), name)
	if i < 0 {
		return nil, badUse(fmt.Errorf("groundline: --size %q, expected %s", name, strings.Join(sizes(), ", ")))
	}
	return &course.Profiles()[i], nil
}

// horseFrom is the horse that debriefs measured.
func horseFrom(paths []string, size *course.Profile) (course.Horse, error) {
	rides, err := ridesFrom(paths)
	if err != nil {
		return course.Horse{}, err
	}
	rides.Size = size
	h, err := horse.Of(rides).Course()
	if err != nil {
		return course.Horse{}, noAnswer(fmt.Errorf("%s: %w; expected a debrief of related or bending lines, or --size alone", strings.Join(paths, " and "), err))
	}
	return h, nil
}

// ridesFrom are the rides of a horse that debriefs measured. The faults of all of them are reported at once.
func ridesFrom(paths []string) (horse.Rides, error) {
	var debriefs []*report.Debrief
	var faults []string
	for _, path := range paths {
		d, err := readDebrief(path)
		if err != nil {
			faults = append(faults, err.Error())
			continue
		}
		debriefs = append(debriefs, d)
	}
	if len(faults) > 0 {
		return horse.Rides{}, badInput(fmt.Errorf("%s", strings.Join(faults, "\n")))
	}
	return report.RiddenIn(debriefs), nil
}
