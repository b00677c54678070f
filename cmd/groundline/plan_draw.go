package main

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"groundline/course"
	"groundline/report"
	"groundline/report/draw"
)

// pictureFormats are the formats of pictures by the endings of their files.
func pictureFormats() []string { return []string{"svg", "png", "pdf"} }

func planDrawCommand(std streams) *cobra.Command {
	units := unitsFlag{report.Metric}
	outPath, format, sheet, size, horsePath := "", "", "a4", "", ""
	strideM, plannedOnly := 0.0, false
	c := &cobra.Command{
		Use:   "draw course.yaml -o plan.svg|png|pdf",
		Short: "Draw a plan to scale on one sheet",
		Long: `draw lays a course plan on one sheet of paper, to scale: the arena, each obstacle with
its kind, spread and facing, the planned track with the length and strides of each line,
other ways to ride bending lines and rollbacks (dashed), contour lines of the slope, scale,
north, length of the track and time allowed. It prints well in black and white.

` + exitHelp,
		Example: `  groundline plan draw course.yaml -o plan.pdf
  groundline plan draw course.yaml -o plan.svg --units imperial --paper letter
  groundline plan draw course.yaml -o plan.png --size "large pony" --planned-only`,
		Args: filesGiven("a course plan", 1, 1),
		RunE: func(c *cobra.Command, args []string) error {
			format, err := pictureFormat(format, outPath)
			if err != nil {
				return err
			}
			if sheet != "a4" && sheet != "letter" {
				return badUse(fmt.Errorf("groundline: --paper %q, expected a4 or letter", sheet))
			}
			if horsePath != "" && (c.Flags().Changed("size") || c.Flags().Changed("stride")) {
				return badUse(fmt.Errorf("groundline: --horse with --size or --stride, expected one horse"))
			}
			usual, err := profile(size)
			if err != nil {
				return err
			}
			horse := usual.Horse()
			if horsePath != "" {
				if horse, err = walkHorse(walkFlags{horse: horsePath}); err != nil {
					return err
				}
			}
			if c.Flags().Changed("stride") {
				if !(strideM >= minStrideM && strideM <= maxStrideM) {
					return badUse(fmt.Errorf("groundline: --stride %g, expected %g to %g metres", strideM, minStrideM, maxStrideM))
				}
				own := course.Profile{StrideM: strideM, LowM: strideM, HighM: strideM}
				horse = own.Horse()
			}
			if sameFile(args[0], outPath) || sameFile(horsePath, outPath) {
				return badUse(fmt.Errorf("groundline: -o %s is input, expected another file to write to", outPath))
			}
			plan, warnings, err := readPlan(args[0])
			if err != nil {
				return err
			}
			d := draw.PlanSheet(plan, draw.Options{Imperial: units.units == report.Imperial, Letter: sheet == "letter",
				Horse: horse, PlannedOnly: plannedOnly, Warnings: warnings})
			if missing := d.MissingLetters(); len(missing) > 0 && format != "svg" {
				fmt.Fprintf(std.err, "groundline: the font of %s pictures has no %s; an SVG shows them\n", format, strings.Join(quoted(missing), " "))
			}
			write := func(w io.Writer) error {
				switch format {
				case "png":
					return draw.WritePNG(w, d)
				case "pdf":
					return draw.WritePDF(w, d)
				}
				return draw.WriteSVG(w, d)
			}
			if outPath == "-" {
				return written(write(std.out))
			}
			return writeWhole(outPath, func(w io.Writer) error { return written(write(w)) })
		},
	}
	c.Flags().StringVarP(&outPath, "output", "o", "", "file to write; - for standard output, with --format")
	c.Flags().StringVar(&format, "format", "", "svg, png or pdf, if the file's ending does not tell")
	c.Flags().StringVar(&sheet, "paper", sheet, "a4 or letter")
	c.Flags().Var(&units, "units", "units of lengths")
	c.Flags().StringVar(&size, "size", sizes()[0], "size of horse or pony that the strides are for: "+strings.Join(sizes(), ", "))
	c.Flags().Float64Var(&strideM, "stride", 0, "the horse's canter stride in metres, if another than its size's")
	c.Flags().StringVar(&horsePath, "horse", "", "horse file that the strides and other tracks are for")
	c.Flags().BoolVar(&plannedOnly, "planned-only", false, "leave out the other tracks of bending lines and rollbacks")
	return c
}

// pictureFormat is the format asked for, or that of the file's ending.
func pictureFormat(format, path string) (string, error) {
	known := strings.Join(pictureFormats(), ", ")
	switch {
	case path == "":
		return "", badUse(fmt.Errorf("groundline: draw: no file to write, expected -o plan.svg, plan.png or plan.pdf"))
	case format == "" && path == "-":
		return "", badUse(fmt.Errorf("groundline: draw: -o - needs --format, expected %s", known))
	case format == "":
		format = strings.ToLower(strings.TrimPrefix(filepath.Ext(path), "."))
		if !slices.Contains(pictureFormats(), format) {
			return "", badUse(fmt.Errorf("groundline: -o %s: the ending tells no format, expected %s or --format", path, known))
		}
	case !slices.Contains(pictureFormats(), format):
		return "", badUse(fmt.Errorf("groundline: --format %q, expected %s", format, known))
	}
	return format, nil
}

// quoted are letters between quotes, the first ten.
func quoted(letters []rune) []string {
	var out []string
	for _, r := range letters[:min(len(letters), 10)] {
		out = append(out, fmt.Sprintf("%q", r))
	}
	return out
}
