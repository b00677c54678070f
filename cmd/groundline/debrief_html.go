package main

import (
	"fmt"
	"io"

	"groundline/report"
	"groundline/report/page"
)

// debriefFormat is formatFlag's choice with the page, which the debrief alone has.
type debriefFormat string

func (f *debriefFormat) String() string { return string(*f) }
func (f *debriefFormat) Type() string   { return "text|json|html" }
func (f *debriefFormat) Set(s string) error {
	switch s {
	case "text", "json", "html":
		*f = debriefFormat(s)
		return nil
	}
	return fmt.Errorf("no such format, expected text, json or html")
}

// debriefHTML writes the debrief as one page that needs nothing else.
func debriefHTML(w io.Writer, d *report.Debrief, units report.Units) error {
	return written(page.Write(w, d, page.Options{Units: units}))
}
