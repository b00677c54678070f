package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"groundline/report"
	"groundline/report/draw"
	"groundline/report/page"
)

// debriefFormat is formatFlag's choice with the page and the pictures, which the debrief alone has.
type debriefFormat string

// debriefFormats are all that a debrief is written as.
func debriefFormats() []string { return append([]string{"text", "json", "html"}, pictureFormats()...) }

func (f *debriefFormat) String() string { return string(*f) }
func (f *debriefFormat) Type() string   { return strings.Join(debriefFormats(), "|") }
func (f *debriefFormat) Set(s string) error {
	if !slices.Contains(debriefFormats(), s) {
		return fmt.Errorf("no such format, expected %s", strings.Join(debriefFormats(), ", "))
	}
	*f = debriefFormat(s)
	return nil
}

// debriefPage writes the debrief as one page that needs nothing else, or as a drawing on one sheet.
func debriefPage(w io.Writer, d *report.Debrief, f debriefFlags, std streams) error {
	opt := page.Options{Units: f.units.units}
	if f.format == "html" {
		return written(page.Write(w, d, opt))
	}
	sheet, err := page.Sheet(d, opt)
	if err != nil {
		return noAnswer(fmt.Errorf("groundline: %w, expected a recording with positions or a course plan", err))
	}
	switch f.format {
	case "png":
		err = draw.WritePNG(w, sheet)
	case "pdf":
		err = draw.WritePDF(w, sheet)
	default:
		err = draw.WriteSVG(w, sheet)
	}
	if missing := sheet.MissingLetters(); len(missing) > 0 && f.format != "svg" {
		fmt.Fprintf(std.err, "groundline: the font of %s pictures has no %s; svg and html show them\n", f.format, strings.Join(quoted(missing), " "))
	}
	return written(err)
}
