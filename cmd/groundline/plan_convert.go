package main

import (
	"bytes"
	"fmt"
	"io"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"groundline/course"
)

// maxMapBytes is what is read of a map: more than any may have, so that its reader tells that it is too long.
const maxMapBytes = 8 << 20

func planConvertCommand(std streams) *cobra.Command {
	out := ""
	c := &cobra.Command{
		Use:   "convert course.yaml|course.geojson",
		Short: "Turn a plan into a GeoJSON map, or such a map into a plan",
		Long: `convert turns a course plan (YAML) into a map (GeoJSON, RFC 7946) that map programs
show and edit, and such a map into a plan. Which of both it is given, it finds from the
content. Places come back within 1 cm. A plan needs an anchor to have a place on a map.

In the map every feature has a "role": plan, obstacle, arena, level, home, gate, start,
finish. In maps drawn elsewhere a feature with a "kind" is an obstacle and a polygon
the arena; an obstacle needs id, kind and facing_true (degrees from true north), or is a
line along its face from the left end to the right.

Warnings go to standard error. ` + exitHelp,
		Example: `  groundline plan convert course.yaml -o course.geojson
  groundline plan convert course.yaml`,
		Args: filesGiven("a plan or a map", 1, 1),
		RunE: func(_ *cobra.Command, args []string) error {
			return planConvert(args[0], out, std)
		},
	}
	c.Flags().StringVarP(&out, "output", "o", "", "write to this file instead of standard output")
	return c
}

func planConvert(file, out string, std streams) error {
	if out != "" && sameFile(file, out) {
		return badUse(fmt.Errorf("%s: is input, expected another file to write to", out))
	}
	data, err := readWhole(file, "a course plan or a map of one", maxMapBytes)
	if err != nil {
		return err
	}
	var plan *course.Plan
	var warnings []course.Warning
	isMap := looksLikeMap(data)
	if isMap {
		plan, warnings, err = course.ReadGeoJSON(file, data)
	} else {
		plan, warnings, err = course.ReadPlan(file, data)
	}
	if err != nil {
		return badInput(err)
	}
	var text []byte
	if isMap {
		plan.ToMillimetres()
		text = course.WritePlan(plan)
	} else if text, err = course.WriteGeoJSON(plan); err != nil {
		return noAnswer(fmt.Errorf("%s: %w", file, err))
	}
	for _, w := range warnings {
		at := file
		if w.Line > 0 {
			at += fmt.Sprintf(":%d", w.Line)
		}
		n := w.Note()
		fmt.Fprintf(std.err, "%s: warning: %s: %s\n", at, n.What, n.Why)
	}
	write := func(w io.Writer) error {
		_, err := w.Write(text)
		return written(err)
	}
	if out == "" {
		return write(std.out)
	}
	return writeWhole(out, write)
}

// looksLikeMap tells JSON from YAML: JSON of a map begins with a brace and has a FeatureCollection or at least a
// "type" in quotes, which no plan has.
func looksLikeMap(data []byte) bool {
	data = bytes.TrimLeft(bytes.TrimPrefix(data, []byte("\uFEFF")), " \t\r\n")
	return bytes.HasPrefix(data, []byte("{")) && utf8.Valid(data) && bytes.Contains(data, []byte(`"type"`))
}
