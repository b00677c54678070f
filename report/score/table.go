package score

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// Column is one column of a table: a round, or all of a kind.
type Column struct {
	Title  string
	Result *Result
}

// Widths of the table: a label and up to six figures stay within 120 columns.
const (
	labelWidth  = 34
	cellWidth   = 14
	columnsWide = 6
)

// row is one line of the table: a label and how its cell reads; a nil cell is a heading.
type row struct {
	label string
	cell  func(*Result) string
}

// Table prints the results side by side as plain text, at most 120 columns wide, six results a
// block. A figure is followed by how many it rests on; a dash is a figure that nothing was there for.
func Table(w io.Writer, columns []Column) error { return table(w, columns, rows()) }

// Summary prints the figures that worlds are compared by, a third of [Table]'s, in the same way.
func Summary(w io.Writer, columns []Column) error { return table(w, columns, summaryRows()) }

func table(w io.Writer, columns []Column, rows []row) error {
	for len(columns) > 0 {
		n := min(columnsWide, len(columns))
		if err := block(w, columns[:n], rows); err != nil {
			return err
		}
		columns = columns[n:]
	}
	return nil
}

func block(w io.Writer, columns []Column, rows []row) error {
	var b strings.Builder
	for line := range 2 { // titles in two lines, split at a space
		fmt.Fprintf(&b, "%-*s", labelWidth, "")
		for _, c := range columns {
			fmt.Fprintf(&b, "%*s", cellWidth, titleLine(c.Title, line))
		}
		b.WriteByte('\n')
	}
	for _, r := range rows {
		if r.cell == nil {
			b.WriteString(r.label + "\n")
			continue
		}
		fmt.Fprintf(&b, "  %-*s", labelWidth-2, r.label)
		for _, c := range columns {
			fmt.Fprintf(&b, "%*s", cellWidth, r.cell(c.Result))
		}
		b.WriteByte('\n')
	}
	b.WriteByte('\n')
	_, err := io.WriteString(w, b.String())
	return err
}

// titleLine is the first or second line of a title, cut to a cell.
func titleLine(title string, line int) string {
	first, second, _ := strings.Cut(title, " ")
	if second == "" && len(first) > cellWidth-1 {
		first, second = first[:cellWidth-1], first[cellWidth-1:]
	}
	s := first
	if line == 1 {
		s = second
	}
	if len(s) > cellWidth-1 {
		s = s[:cellWidth-1]
	}
	return s
}

// summaryRows are what was found and what the intervals hold.
func summaryRows() []row {
	of := func(n, all func(*Result) int) func(*Result) string {
		return func(r *Result) string { return number("%.3f", share(n(r), all(r)), all(r)) }
	}
	trueJumps := func(r *Result) int { return r.TrueJumps }
	found := func(r *Result) int { return r.FoundJumps }
	short := func(r *Result) int { return r.Short.True }
	long := func(r *Result) int { return r.Long.True }
	out := []row{
		{"rounds", func(r *Result) string { return fmt.Sprint(r.Rounds) }},
		{"no debrief could be made", func(r *Result) string { return fmt.Sprint(r.Failed) }},
		{"true jumps found", of(found, trueJumps)},
		{"reported jumps true", of(found, func(r *Result) int { return r.ReportedJumps })},
		{"right obstacle", of(func(r *Result) int { return r.RightObstacle }, trueJumps)},
		{"refusals and run-outs found", of(func(r *Result) int { return r.FoundRefusals }, func(r *Result) int { return r.TrueRefusals })},
		{"false refusals and run-outs", func(r *Result) string { return fmt.Sprint(r.FalseRefusals) }},
		{fmt.Sprintf("strides exact, up to %d", ShortLine), of(func(r *Result) int { return r.Short.Exact }, short)},
		{"strides exact, longer", of(func(r *Result) int { return r.Long.Exact }, long)},
		{"gait right, share of time", func(r *Result) string { return number("%.4f", r.GaitRight(), -1) }},
		{"canter strides F1", func(r *Result) string { return number("%.3f", r.StrideF1(), -1) }},
		{"canter strides, bias, ms", func(r *Result) string { return number("%+.0f", median(r.StrideBiasS)*1000, len(r.StrideBiasS)) }},
		{"take-off, median |error|, ms", func(r *Result) string { return number("%.0f", r.TakeoffS.MedianAbs()*1000, len(r.TakeoffS.Told)) }},
		{"take-off, bias, ms", func(r *Result) string { return number("%+.0f", r.TakeoffS.Bias()*1000, len(r.TakeoffS.Told)) }},
		{"landing, bias, ms", func(r *Result) string { return number("%+.0f", r.LandingS.Bias()*1000, len(r.LandingS.Told)) }},
		{"stride length, median |error|, %", func(r *Result) string {
			return number("%.2f", r.StrideLengthM.MedianShare()*100, len(r.StrideLengthM.Told))
		}},
		{"speed, median |error|, m/s", func(r *Result) string { return number("%.3f", r.SpeedMS.MedianAbs(), len(r.SpeedMS.Told)) }},
		{"lead reported", of(func(r *Result) int { return r.ToldLeads }, func(r *Result) int { return r.TrueLeads })},
		{"lead right where reported", of(func(r *Result) int { return r.RightLeads }, func(r *Result) int { return r.ToldLeads })},
		{"disunited strides found", of(func(r *Result) int { return r.FoundDisunited }, func(r *Result) int { return r.TrueDisunited })},
		{"called disunited, and were not", func(r *Result) string { return fmt.Sprint(r.FalseDisunited) }},
		{fmt.Sprintf("verdicts on lines %.2f m off usual", OffUsualM), of(func(r *Result) int { return r.CalledOff }, func(r *Result) int { return r.OffUsual })},
		{"verdicts right where given", of(func(r *Result) int { return r.RightOff }, func(r *Result) int { return r.CalledOff })},
		{"truths inside the 90 % interval (of how many)", nil},
	}
	for _, c := range []struct {
		label string
		of    func(*Result) *Figure
	}{
		{"take-off", func(r *Result) *Figure { return &r.TakeoffS }},
		{"landing", func(r *Result) *Figure { return &r.LandingS }},
		{"take-off distance", func(r *Result) *Figure { return &r.TakeoffDistanceM }},
		{"landing distance", func(r *Result) *Figure { return &r.LandingDistanceM }},
		{"speed over", func(r *Result) *Figure { return &r.OverSpeedMS }},
		{"strides", func(r *Result) *Figure { return &r.Strides }},
		{"stride length", func(r *Result) *Figure { return &r.StrideLengthM }},
		{"stride time", func(r *Result) *Figure { return &r.StrideS }},
		{"speed", func(r *Result) *Figure { return &r.SpeedMS }},
		{"track", func(r *Result) *Figure { return &r.TrackM }},
		{"turned", func(r *Result) *Figure { return &r.TurnedDeg }},
		{"tightest radius", func(r *Result) *Figure { return &r.RadiusMinM }},
		{"usual stride", func(r *Result) *Figure { return &r.UsualStrideM }},
		{"usual stride time", func(r *Result) *Figure { return &r.UsualStrideS }},
	} {
		out = append(out, row{c.label, func(r *Result) string { return number("%.3f", c.of(r).Covered(), len(c.of(r).Told)) }})
	}
	return out
}

// rows are the figures in the order in which they are read: what was found, then how well.
func rows() []row {
	abs := func(f func(*Result) *Figure, format string, scale float64) func(*Result) string {
		return func(r *Result) string { return number(format, f(r).MedianAbs()*scale, len(f(r).Told)) }
	}
	bias := func(f func(*Result) *Figure, format string, scale float64) func(*Result) string {
		return func(r *Result) string { return number(format, f(r).Bias()*scale, len(f(r).Told)) }
	}
	medianShare := func(f func(*Result) *Figure) func(*Result) string {
		return func(r *Result) string { return number("%.2f", f(r).MedianShare()*100, len(f(r).Told)) }
	}
	// How many truths are inside, and how many times as wide the intervals should be.
	covered := func(f func(*Result) *Figure) func(*Result) string {
		return func(r *Result) string {
			if len(f(r).Told) == 0 {
				return "-"
			}
			return fmt.Sprintf("%.3f  x%5.2f", f(r).Covered(), min(f(r).Stretch(), 99.99))
		}
	}
	of := func(n, all func(*Result) int) func(*Result) string {
		return func(r *Result) string { return number("%.3f", share(n(r), all(r)), all(r)) }
	}
	takeoff := func(r *Result) *Figure { return &r.TakeoffS }
	landing := func(r *Result) *Figure { return &r.LandingS }
	takeoffM := func(r *Result) *Figure { return &r.TakeoffDistanceM }
	landingM := func(r *Result) *Figure { return &r.LandingDistanceM }
	over := func(r *Result) *Figure { return &r.OverSpeedMS }
	strides := func(r *Result) *Figure { return &r.Strides }
	length := func(r *Result) *Figure { return &r.StrideLengthM }
	strideS := func(r *Result) *Figure { return &r.StrideS }
	speed := func(r *Result) *Figure { return &r.SpeedMS }
	track := func(r *Result) *Figure { return &r.TrackM }
	turned := func(r *Result) *Figure { return &r.TurnedDeg }
	radius := func(r *Result) *Figure { return &r.RadiusMinM }
	trueJumps := func(r *Result) int { return r.TrueJumps }
	foundJumps := func(r *Result) int { return r.FoundJumps }
	trueRefusals := func(r *Result) int { return r.TrueRefusals }
	short := func(r *Result) int { return r.Short.True }
	long := func(r *Result) int { return r.Long.True }

	out := []row{
		{"rounds", func(r *Result) string { return fmt.Sprint(r.Rounds) }},
		{"jumps (a share, then of how many)", nil},
		{"paired within, s", func(r *Result) string { return fmt.Sprint(r.WindowS) }},
		{"true jumps found", of(foundJumps, trueJumps)},
		{"reported jumps true", of(foundJumps, func(r *Result) int { return r.ReportedJumps })},
		{"found: right obstacle", of(func(r *Result) int { return r.RightObstacle }, foundJumps)},
		{"found: right outcome", of(func(r *Result) int { return r.RightOutcome }, foundJumps)},
		{"refusals, run-outs found", of(func(r *Result) int { return r.FoundRefusals }, trueRefusals)},
		{"  as the right one of the two", of(func(r *Result) int { return r.RightRefusalKind }, trueRefusals)},
		{"  false ones a round", func(r *Result) string {
			return number("%.3f", share(r.FalseRefusals, r.Rounds), r.FalseRefusals)
		}},
		{"errors of the found (and how many)", nil},
		{"take-off, median |error|, ms", abs(takeoff, "%.0f", 1000)},
		{"take-off, bias, ms", bias(takeoff, "%+.0f", 1000)},
		{"take-off, share within 50 ms", func(r *Result) string { return number("%.3f", r.TakeoffS.Within(0.05), len(r.TakeoffS.Told)) }},
		{"landing, median |error|, ms", abs(landing, "%.0f", 1000)},
		{"landing, bias, ms", bias(landing, "%+.0f", 1000)},
		{"landing, share within 50 ms", func(r *Result) string { return number("%.3f", r.LandingS.Within(0.05), len(r.LandingS.Told)) }},
		{"take-off distance, |error|, m", abs(takeoffM, "%.2f", 1)},
		{"landing distance, |error|, m", abs(landingM, "%.2f", 1)},
		{"effort speed, |error|, m/s", abs(over, "%.2f", 1)},
		{"lines (an unreported one is wrong)", nil},
		{fmt.Sprintf("strides told, up to %d", ShortLine), of(func(r *Result) int { return r.Short.Told }, short)},
		{fmt.Sprintf("strides exact, up to %d", ShortLine), of(func(r *Result) int { return r.Short.Exact }, short)},
		{fmt.Sprintf("strides within 1, up to %d", ShortLine), of(func(r *Result) int { return r.Short.Within1 }, short)},
		{"strides told, longer", of(func(r *Result) int { return r.Long.Told }, long)},
		{"strides exact, longer", of(func(r *Result) int { return r.Long.Exact }, long)},
		{"strides within 1, longer", of(func(r *Result) int { return r.Long.Within1 }, long)},
		{"stride length, median |error|, %", medianShare(length)},
		{"stride length, bias, m", bias(length, "%+.3f", 1)},
		{"stride time, median |error|, ms", abs(strideS, "%.1f", 1000)},
		{"speed, median |error|, m/s", abs(speed, "%.3f", 1)},
		{"speed, bias, m/s", bias(speed, "%+.3f", 1)},
		{"track, median |error|, %", medianShare(track)},
		{"track, bias, m", bias(track, "%+.2f", 1)},
		{"turned, median |error|, deg", abs(turned, "%.1f", 1)},
		{fmt.Sprintf("turn's side, of turns > %.0f deg", TurnMinDeg), of(func(r *Result) int { return r.RightTurns }, func(r *Result) int { return r.TrueTurns })},
		{"tightest radius, |error|, %", medianShare(radius)},
		{"tightest radius, bias, m", bias(radius, "%+.2f", 1)},
		{fmt.Sprintf("verdicts on lines %.2f m off usual", OffUsualM), of(func(r *Result) int { return r.CalledOff }, func(r *Result) int { return r.OffUsual })},
		{"verdicts right where given", of(func(r *Result) int { return r.RightOff }, func(r *Result) int { return r.CalledOff })},
		{"grade, median |error|, %", func(r *Result) string { return number("%.2f", r.Grade.MedianAbs()*100, len(r.Grade.Told)) }},
		{"homeward, median |error|", func(r *Result) string { return number("%.3f", r.Homeward.MedianAbs(), len(r.Homeward.Told)) }},
		{"gaits, strides, leads, placing", nil},
		{"gait right, share of time", func(r *Result) string { return number("%.4f", r.GaitRight(), -1) }},
		{"canter strides found", of(func(r *Result) int { return r.PairedStrides }, func(r *Result) int { return r.TrueStrides })},
		{"canter strides true", of(func(r *Result) int { return r.PairedStrides }, func(r *Result) int { return r.ToldStrides })},
		{"canter strides F1", func(r *Result) string { return number("%.3f", r.StrideF1(), -1) }},
		{"canter strides, bias, ms", func(r *Result) string { return number("%+.0f", median(r.StrideBiasS)*1000, len(r.StrideBiasS)) }},
		{"lead told", of(func(r *Result) int { return r.ToldLeads }, func(r *Result) int { return r.TrueLeads })},
		{"lead right where told", of(func(r *Result) int { return r.RightLeads }, func(r *Result) int { return r.ToldLeads })},
		{"placing, median |error|, m", func(r *Result) string { return number("%.2f", median(r.PlacedM), len(r.PlacedM)) }},
		{"clocks' offset, worst |error|, s", func(r *Result) string { return number("%.3f", r.ClockS.WorstAbs(), len(r.ClockS.Told)) }},
		{"truths inside the 90 % interval (x: by what to widen it)", nil},
	}
	for _, c := range []struct {
		label string
		of    func(*Result) *Figure
	}{
		{"takeoff_s", takeoff}, {"landing_s", landing}, {"takeoff_distance_m", takeoffM},
		{"landing_distance_m", landingM}, {"efforts' speed_m_s", over}, {"strides", strides},
		{"stride_length_m", length}, {"stride_s", strideS}, {"speed_m_s", speed}, {"track_m", track},
		{"turned_deg", turned}, {"radius_min_m", radius},
		{"horse: canter_stride_m", func(r *Result) *Figure { return &r.UsualStrideM }}, {"horse: stride_s", func(r *Result) *Figure { return &r.UsualStrideS }},
	} {
		out = append(out, row{c.label, covered(c.of)})
	}
	return out
}

// number is a figure and how many it rests on, a dash where there is none; n < 0 leaves the number off.
func number(format string, v float64, n int) string {
	if math.IsNaN(v) {
		return "-"
	}
	s := fmt.Sprintf(format, v)
	if n >= 0 {
		s += fmt.Sprintf(" /%4d", n)
	}
	return s
}

// GaitTable prints where the time went: a row for each true gait, a column for each told one,
// seconds, and the share that was right.
func GaitTable(w io.Writer, r *Result) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%-10s", "true, s")
	for _, g := range append(Gaits(), "none") {
		fmt.Fprintf(&b, "%10s", g)
	}
	fmt.Fprintf(&b, "%10s\n", "right")
	for i, g := range Gaits() {
		var all float64
		fmt.Fprintf(&b, "%-10s", g)
		for _, s := range r.GaitS[i] {
			fmt.Fprintf(&b, "%10.1f", s)
			all += s
		}
		if all == 0 {
			all = math.NaN()
		}
		fmt.Fprintf(&b, "%10s\n", number("%.3f", r.GaitS[i][i]/all, -1))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// reliabilityEdges part the confidences: finer where a coach would believe, as there a wrong one hurts.
func reliabilityEdges() []float64 { return []float64{0, 0.25, 0.5, 0.75, 0.9, 0.97, 1} }

// Reliability prints how often a jump of a given confidence was one: said and right agree where the
// confidence is a probability.
func Reliability(w io.Writer, r *Result) error {
	edges := reliabilityEdges()
	var b strings.Builder
	fmt.Fprintf(&b, "%-16s%8s%8s%8s\n", "confidence", "jumps", "said", "right")
	for i := 0; i+1 < len(edges); i++ {
		low, high := edges[i], edges[i+1]
		n, right, said := 0, 0, 0.0
		for _, c := range r.Confidence {
			if c.Confidence < low || c.Confidence > high || c.Confidence == high && high < 1 {
				continue
			}
			n++
			said += c.Confidence
			if c.Right {
				right++
			}
		}
		if n > 0 {
			said /= float64(n)
		} else {
			said = math.NaN()
		}
		fmt.Fprintf(&b, "%-16s%8d%8s%8s\n", fmt.Sprintf("%.2f to %.2f", low, high), n, number("%.3f", said, -1), number("%.3f", share(right, n), -1))
	}
	_, err := io.WriteString(w, b.String())
	return err
}
