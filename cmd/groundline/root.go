package main

import (
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"

	"groundline/report"
	"groundline/trace/read"
)

func rootCommand(std streams) *cobra.Command {
	root := &cobra.Command{
		Use:   "groundline",
		Short: "How each line of a show-jumping round was ridden",
		Long: `groundline reads what a watch (GPX) and a motion sensor (CSV) recorded of a
show-jumping ride, lays the ride on the course plan, and tells how each line was
ridden: strides, stride length, pace in and out, turns, long or tight, each figure
with its doubt.

` + exitHelp,
		Example: `  groundline demo
  groundline plan check course.yaml
  groundline debrief ride.gpx motion.csv --course course.yaml`,
		SilenceErrors:     true,
		SilenceUsage:      true,
		CompletionOptions: cobra.CompletionOptions{HiddenDefaultCmd: true},
	}
	root.AddCommand(debriefCommand(std), demoCommand(std), planCommand(std), inspectCommand(std), versionCommand(std))
	root.AddCommand(stridesCommand(std))
	root.AddCommand(walkCommand(std))
	root.AddCommand(compareCommand(std))
	root.AddCommand(validateCommand(std), labelsCommand(std))
	root.AddCommand(serveCommand(std))
	root.AddCommand(keepCommand(std), keptCommand(std), workCommand(std))
	return root
}

func versionCommand(std streams) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Tell which build this is",
		Args:  filesGiven("", 0, 0),
		RunE: func(*cobra.Command, []string) error {
			version, revision := "unknown", ""
			if info, ok := debug.ReadBuildInfo(); ok {
				version = info.Main.Version
				for _, s := range info.Settings {
					if s.Key == "vcs.revision" {
						revision = " " + s.Value
					}
				}
			}
			_, err := fmt.Fprintf(std.out, "groundline %s%s, %s\n", version, revision, report.Schema)
			return written(err)
		},
	}
}

// maxFiles is more than the files of any ride.
const maxFiles = 1000

// filesGiven refuses fewer or more files than a command takes.
func filesGiven(what string, least, most int) cobra.PositionalArgs {
	return argsGiven("file", what, least, most)
}

// argsGiven refuses fewer or more arguments than a command takes.
func argsGiven(kind, what string, least, most int) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		switch {
		case len(args) < least:
			return fmt.Errorf("%s: no %s given, expected %s", c.Name(), kind, what)
		case len(args) > most && most == 0:
			return fmt.Errorf("%s: %q given, expected nothing", c.Name(), args[0])
		case len(args) > most:
			return fmt.Errorf("%s: %d arguments given, expected %s", c.Name(), len(args), what)
		}
		return nil
	}
}

// unitsFlag is the choice of units, checked when it is set.
type unitsFlag struct{ units report.Units }

func (u *unitsFlag) String() string { return string(u.units) }
func (u *unitsFlag) Type() string   { return "metric|imperial" }
func (u *unitsFlag) Set(s string) error {
	switch report.Units(s) {
	case report.Metric, report.Imperial:
		u.units = report.Units(s)
		return nil
	}
	return fmt.Errorf("no such units, expected metric or imperial")
}

// columnsFlag maps the columns of a CSV by hand; what it can't be is wrong use, told before a file is opened.
type columnsFlag string

func (f *columnsFlag) String() string { return string(*f) }
func (f *columnsFlag) Type() string   { return "string" }
func (f *columnsFlag) Set(s string) error {
	if err := read.CheckColumns(s); err != nil {
		return err
	}
	*f = columnsFlag(s)
	return nil
}

// formatFlag is the choice between text for people and JSON for programs.
type formatFlag string

func (f *formatFlag) String() string { return string(*f) }
func (f *formatFlag) Type() string   { return "text|json" }
func (f *formatFlag) Set(s string) error {
	if s != "text" && s != "json" {
		return fmt.Errorf("no such format, expected text or json")
	}
	*f = formatFlag(s)
	return nil
}
