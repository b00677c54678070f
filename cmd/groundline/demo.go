package main

import (
	"bytes"
	"embed"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"groundline/report"
)

// demoFiles is an invented round with its course: see demo/README.md.
//
//go:embed demo
var demoFiles embed.FS

const demoFolder = "groundline-demo"

func demoCommand(std streams) *cobra.Command {
	units := unitsFlag{report.Metric}
	c := &cobra.Command{
		Use:   "demo [DIR]",
		Short: "Write a shipped, invented round into a folder and debrief it",
		Long: `demo writes a course plan and the recording of an invented round into DIR (a new folder ` + demoFolder + `
if none is given) and debriefs it. Files that are there already with other content are
not touched.

` + exitHelp,
		Example: `  groundline demo
  groundline demo /tmp/round --units imperial`,
		Args: filesGiven("a folder", 0, 1),
		RunE: func(c *cobra.Command, args []string) error {
			dir := demoFolder
			if len(args) == 1 {
				dir = args[0]
			}
			if err := writeDemo(dir); err != nil {
				return err
			}
			ride := []string{filepath.Join(dir, "ride.gpx"), filepath.Join(dir, "motion.csv")}
			plan := filepath.Join(dir, "course.yaml")
			fmt.Fprintf(std.err, "groundline debrief %s %s --course %s\n", ride[0], ride[1], plan)
			return debrief(c.Context(), ride, debriefFlags{course: plan, format: "text", units: units}, std)
		},
	}
	c.Flags().Var(&units, "units", "units of lengths")
	return c
}

// writeDemo writes the shipped files into dir, making it where it is missing. It looks at all
// files before it writes the first.
func writeDemo(dir string) error {
	files := map[string][]byte{}
	var names []string
	err := fs.WalkDir(demoFiles, "demo", func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		data, err := demoFiles.ReadFile(path)
		names = append(names, e.Name())
		files[e.Name()] = data
		return err
	})
	if err != nil {
		return noAnswer(err)
	}
	var missing []string
	for _, name := range names {
		path := filepath.Join(dir, name)
		switch found, err := os.ReadFile(path); {
		case os.IsNotExist(err):
			missing = append(missing, name)
		case err != nil || !bytes.Equal(found, files[name]):
			return badUse(fmt.Errorf("%s: is there with other content, expected a new folder or the demo's own files", path))
		}
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return badUse(fmt.Errorf("%s: can't be made, expected a folder that may be written", dir))
	}
	for _, name := range missing {
		data := files[name]
		if err := writeWhole(filepath.Join(dir, name), func(w io.Writer) error {
			_, err := w.Write(data)
			return written(err)
		}); err != nil {
			return err
		}
	}
	return nil
}
