package main

import (
	"github.com/spf13/cobra"

	"groundline/report"
	"groundline/report/paths"
	"groundline/trace/read"
)

func inspectCommand(std streams) *cobra.Command {
	columns, format := columnsFlag(""), formatFlag("text")
	c := &cobra.Command{
		Use:   "inspect FILE...",
		Short: "Tell what was understood of a recording's files",
		Long: `inspect reads the files of one ride and tells what was understood of each: format, start,
length, rate, gaps, columns and their units, and what had to be left out. Of the ride it tells how the
sensor was carried, how noisy the positions are, how far the two clocks are apart, and what a debrief can
and can't tell from it, each with the reason.

` + exitHelp,
		Example: `  groundline inspect ride.gpx motion.csv
  groundline inspect motion.csv --format json`,
		Args: filesGiven("a recording", 1, maxFiles),
		RunE: func(c *cobra.Command, files []string) error {
			ride, left, err := paths.One(files, paths.Options{Columns: string(columns)})
			if err != nil {
				return badInput(err)
			}
			notRead(left, std)
			files = ride.Files
			show, clear := progress(std)
			rec, summaries, err := read.Inspect(c.Context(), files, read.Options{Columns: string(columns), Progress: show})
			clear()
			if len(summaries) > 0 {
				var look *report.Looked
				if rec != nil {
					look = report.Look(rec)
				}
				tell := func() error { return report.InspectText(std.out, rec, look, summaries, std.bold) }
				if format == "json" {
					tell = func() error { return report.InspectJSON(std.out, rec, look, summaries) }
				}
				if bad := tell(); bad != nil {
					return written(bad)
				}
			}
			if err != nil {
				return badInput(err)
			}
			return nil
		},
	}
	c.Flags().Var(&format, "format", "text for people, json for programs")
	c.Flags().Var(&columns, "columns", "columns of a motion CSV whose header doesn't tell: t=…,ax=…,ay=…,az=…")
	return c
}
