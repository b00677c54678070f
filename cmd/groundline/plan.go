package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"groundline/course"
	"groundline/report"
)

// maxPlanBytes is what is read of a plan file: more than any plan may have, so that the plan's
// reader tells that it is too long.
const maxPlanBytes = 1 << 20

// readPlan reads a plan file.
func readPlan(path string) (*course.Plan, []course.Warning, error) {
	data, err := readWhole(path, "a course plan", maxPlanBytes)
	if err != nil {
		return nil, nil, err
	}
	plan, warnings, err := course.Read(path, data)
	if err != nil {
		return nil, nil, badInput(err)
	}
	return plan, warnings, nil
}

func planCommand(std streams) *cobra.Command {
	c := &cobra.Command{
		Use:   "plan",
		Short: "Work with course plans",
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return badUse(fmt.Errorf("groundline: plan has no command %q, expected check, draw, survey or convert", args[0]))
			}
			return badUse(fmt.Errorf("groundline: plan: no command given, expected check, draw, survey or convert"))
		},
	}
	c.AddCommand(planCheckCommand(std), planDrawCommand(std))
	c.AddCommand(planSurveyCommand(std), planConvertCommand(std))
	return c
}

func planCheckCommand(std streams) *cobra.Command {
	units := unitsFlag{report.Metric}
	strideM, size := 0.0, ""
	c := &cobra.Command{
		Use:   "check course.yaml",
		Short: "Tell every fault of a plan, or its route, lines and distances",
		Long: `check reads a course plan and tells every fault in it with its line, or, when there is none,
the route, each line's distance and the strides it rides in, the slope, the length of the
track and the time allowed, and what should be looked at.

` + exitHelp,
		Example: `  groundline plan check course.yaml
  groundline plan check course.yaml --size "large pony"
  groundline plan check course.yaml --stride 3.25 --units imperial`,
		Args: filesGiven("a course plan", 1, 1),
		RunE: func(c *cobra.Command, args []string) error {
			horse, err := profile(size)
			if err != nil {
				return err
			}
			if c.Flags().Changed("stride") {
				if !(strideM >= minStrideM && strideM <= maxStrideM) {
					return badUse(fmt.Errorf("groundline: --stride %g, expected %g to %g metres", strideM, minStrideM, maxStrideM))
				}
				horse.StrideM = strideM
			}
			plan, warnings, err := readPlan(args[0])
			if err != nil {
				return err
			}
			return written(report.PlanText(std.out, plan, warnings, report.PlanOptions{
				Units: units.units, Bold: std.bold, Horse: horse,
			}))
		},
	}
	c.Flags().Var(&units, "units", "units of lengths")
	c.Flags().StringVar(&size, "size", sizes()[0], "size of horse or pony: "+strings.Join(sizes(), ", "))
	c.Flags().Float64Var(&strideM, "stride", 0, "the horse's canter stride in metres, if another than its size's")
	return c
}

// A canter stride beyond these is none: the smallest ponies' is some 2 m, a racing gallop's 7 m.
const minStrideM, maxStrideM = 1.5, 7.5

// sizes are the names of the sizes that strides are known for.
func sizes() []string {
	var names []string
	for _, p := range course.Profiles() {
		names = append(names, p.Name)
	}
	return names
}

// profile is the size of that name.
func profile(name string) (course.Profile, error) {
	for _, p := range course.Profiles() {
		if p.Name == name {
			return p, nil
		}
	}
	return course.Profile{}, badUse(fmt.Errorf("groundline: --size %q, expected %s", name, strings.Join(sizes(), ", ")))
}
