package compare

import (
	"groundline/report"
)

// figuresOf are the figures of one ride of a line.
func figuresOf(r report.RiddenLine) []Figure {
	out := []Figure{}
	for _, f := range report.Figures() {
		if e := f.Of(r); finite(e) {
			out = append(out, Figure{f.Key, *e})
		}
	}
	return out
}
