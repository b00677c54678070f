package report

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"groundline/report/layout"
	"groundline/trace"
	"groundline/trace/read"
)

// toldGaps is how many gaps of a file are told one by one.
const toldGaps = 5

// InspectText tells what was understood of each file of a recording, and what [Look] found; rec and look may be
// nil where they were refused.
func InspectText(w io.Writer, rec *trace.Recording, look *Looked, files []read.Summary, bold bool) error {
	out := bufio.NewWriter(w)
	p := &page{layout.Page{Out: out, Bold: bold}}
	for _, f := range files {
		p.title(f.File)
		writeSummary(p, f)
		p.Blank()
	}
	if rec != nil {
		writeJoined(p, rec)
	}
	if look != nil {
		writeLook(p, look)
	}
	return out.Flush()
}

func writeSummary(p *page, f read.Summary) {
	tell := func(what, text string) { p.Para(fmt.Sprintf("  %-10s", what), 12, text) }
	format := f.Format
	if f.Packed != "" {
		format += ", packed by " + f.Packed
	}
	if f.Device != "" {
		format += ", written by " + f.Device
	}
	tell("format", format)
	switch {
	case !f.DateKnown:
		tell("start", "not told: the clock counts from an unknown instant")
	case !f.ZoneKnown:
		tell("start", f.Start.UTC().Format("2006-01-02 15:04:05.000")+", zone not told, taken as UTC")
	default:
		tell("start", f.Start.UTC().Format("2006-01-02 15:04:05.000")+" UTC")
	}
	rows := fmt.Sprintf("%d over %.1f s", f.Rows, f.DurationS)
	for _, left := range []struct {
		n   int
		why string
	}{{f.Unreadable, "unreadable"}, {f.OutOfOrder, "out of order"}, {f.Repeated, "repeated in time"}} {
		if left.n > 0 {
			rows += fmt.Sprintf("; %d left out, %s", left.n, left.why)
		}
	}
	tell("samples", rows)
	if f.RateHz > 0 {
		tell("rate", fmt.Sprintf("%.4g Hz, steps vary by %.2g s", f.RateHz, f.JitterS))
	}
	for i, g := range f.Gaps {
		if i == toldGaps {
			tell("gaps", fmt.Sprintf("and %d more", len(f.Gaps)-toldGaps))
			break
		}
		tell("gap", fmt.Sprintf("%.2f to %.2f s", g.FromS, g.ToS))
	}
	if s := f.Positions; s != nil {
		words := fmt.Sprintf("in %s", layout.Count(s.Segments, "piece"))
		words += has(s.HasHeight, "height") + has(s.HasSpeed, "own speed")
		if s.Outliers > 0 {
			words += fmt.Sprintf("; %d that no horse can reach", s.Outliers)
		}
		tell("positions", words)
	}
	if s := f.Motion; s != nil {
		words := "rest not told"
		switch {
		case s.GravityRemoved:
			words = "gravity taken out by the device"
		case s.RestMS2 > 0:
			words = fmt.Sprintf("at rest %.2f m/s²", s.RestMS2)
		}
		words += has(s.HasTurnRate, "turn rate")
		if s.ClippedMS2 > 0 {
			words += fmt.Sprintf("; peaks cut off at %.0f m/s²", s.ClippedMS2)
		}
		if s.Wild > 0 {
			words += fmt.Sprintf("; %d beyond what a wearable sensor measures left out", s.Wild)
		}
		tell("motion", words)
	}
	for _, c := range f.Columns {
		words := fmt.Sprintf("%s is %s", c.Header, c.As)
		if c.Unit != "" {
			words += " in " + c.Unit
		}
		tell("column", words+", by "+c.By)
	}
	if len(f.Ignored) > 0 {
		tell("not used", strings.Join(f.Ignored, ", "))
	}
}

func has(yes bool, what string) string {
	if yes {
		return ", with " + what
	}
	return ", without " + what
}

// writeJoined tells of the ride that the files make together.
func writeJoined(p *page, rec *trace.Recording) {
	p.title("Together")
	var said []string
	if rec.Positions != nil {
		said = append(said, fmt.Sprintf("positions at %.4g Hz", rec.Positions.RateHz))
	}
	if rec.Motion != nil {
		said = append(said, fmt.Sprintf("motion at %.4g Hz", rec.Motion.RateHz))
	}
	said = append(said, fmt.Sprintf("%.1f s", rec.DurationS))
	p.Para("  ", 2, strings.Join(said, ", ")+".")
	if rec.ClockOffsetS != nil {
		p.Para("  ", 2, "The motion file's clock is ahead by "+seconds().measured(*rec.ClockOffsetS)+".")
	}
	for _, n := range rec.Notes {
		p.Para("  ", 4, strings.TrimSuffix(n.What+": "+n.Why, ".")+".")
	}
}
