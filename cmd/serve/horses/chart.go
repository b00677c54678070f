package horses

import (
	"bytes"
	"fmt"
	"groundline/cmd/serve/chart"
	"groundline/cmd/serve/shell"
	"groundline/report"
	"groundline/report/layout"
	"groundline/report/record"
	"groundline/trace"
	"html"
	"html/template"
	"math"
	"strings"
	"time"
)

// The charts of a record are made as those of attempts (see attemptChart): heights in pixels, widths in shares.
const mostPoints = 600 // of a chart; more only cover one another

// paceChart draws the lines' strides against their paces, with the horse's own and its doubt.
func (r recordView) paceChart() horseChart {
	points := r.Points()
	if len(points) > mostPoints {
		points = points[len(points)-mostPoints:]
	}
	k, perSI := report.StrideLength, report.StrideLength.PerSI(r.units)
	x := [2]float64{math.Inf(1), math.Inf(-1)}
	y := x
	for _, q := range points {
		x[0], x[1] = min(x[0], q.SpeedMS*60), max(x[1], q.SpeedMS*60)
		y[0], y[1] = min(y[0], q.StrideM*perSI), max(y[1], q.StrideM*perSI)
	}
	pace := r.Record.Pace
	from, to := r.StrideAt(pace.FromMS), r.StrideAt(pace.ToMS)
	y[0], y[1] = min(y[0], from.Low*perSI, to.Low*perSI), max(y[1], from.High*perSI, to.High*perSI)
	p := &chart.Plot{X: chart.AxisOf(x[0], x[1], 0), Y: chart.AxisOf(y[0], y[1], 0)}
	words := fmt.Sprintf("%s of %s against the pace, %s to %s m/min. At %s m/min its own stride is %s, at %s m/min %s.",
		layout.Count(len(points), "line"), layout.Count(pace.Count, "ride"), layout.Number(x[0], 0), layout.Number(x[1], 0),
		layout.Number(pace.FromMS*60, 0), shell.WithUnit(k, *from, r.units), layout.Number(pace.ToMS*60, 0), shell.WithUnit(k, *to, r.units))
	p.Open(words)
	for _, v := range p.X.Ticks() {
		class := "axis"
		switch at := p.Px(v); {
		case at < 3:
			class = "when" // begins there
		case at > 97:
			class = "last" // ends there
		}
		fmt.Fprintf(p, `<text class="%s" x="%.2f%%" y="%g">%s</text>`, class, p.Px(v), chart.Low+18, layout.Number(v, 0))
	}
	var up, down, middle [][2]float64
	const steps = 24
	for i := range steps + 1 {
		v := pace.FromMS + (pace.ToMS-pace.FromMS)*float64(i)/steps
		e := r.StrideAt(min(v, pace.ToMS))
		up = append(up, [2]float64{v * 60, e.High * perSI})
		down = append([][2]float64{{v * 60, e.Low * perSI}}, down...)
		middle = append(middle, [2]float64{v * 60, e.Value * perSI})
	}
	p.Stretched("doubtful", append(up, down...), true)
	p.Stretched("own", middle, false)
	for _, q := range points {
		fmt.Fprintf(p, `<circle class="h0" cx="%.2f%%" cy="%s" r="3.5"/>`, p.Px(q.SpeedMS*60), shell.Tenth(p.Py(q.StrideM*perSI)))
	}
	return horseChart{Title: "Stride against pace", SVG: p.Close("pace of the line, m/min"), Words: words}
}

// timeChart draws a figure of each ride over the days, with its doubt; nothing where fewer than two rides have a date.
func (r recordView) timeChart(title string, k report.Key, of func(record.RideFigures) *trace.Estimate) horseChart {
	type dot struct {
		day float64
		e   trace.Estimate
	}
	var dots []dot
	undated := 0
	perSI := k.PerSI(r.units)
	y := [2]float64{math.Inf(1), math.Inf(-1)}
	for _, q := range r.Rides {
		e := of(q)
		if e == nil {
			continue
		}
		at := dateOf(q)
		if at == nil {
			undated++
			continue
		}
		dots = append(dots, dot{float64(at.Unix()) / 86400, *e})
	}
	if len(dots) > mostPoints {
		dots = dots[len(dots)-mostPoints:]
	}
	if len(dots) < 2 {
		return horseChart{}
	}
	least, most := dots[0].e, dots[0].e
	for _, d := range dots {
		y[0], y[1] = min(y[0], d.e.Low*perSI), max(y[1], d.e.High*perSI)
		if d.e.Value < least.Value {
			least = d.e
		}
		if d.e.Value > most.Value {
			most = d.e
		}
	}
	first, last := dots[0].day, dots[len(dots)-1].day
	room := max(0.5, (last-first)/30)
	p := &chart.Plot{X: chart.Axis{Low: first - room, High: last + room, Step: 1}, Y: chart.AxisOf(y[0], y[1], 0)}
	day := func(d float64) string { return shell.DayWords(time.Unix(int64(d*86400), 0)) }
	words := fmt.Sprintf("%s, %s from %s to %s: the lowest %s, the highest %s.", title, layout.Count(len(dots), "ride"), day(first), day(last),
		shell.WithUnit(k, least, r.units), shell.WithUnit(k, most, r.units))
	if undated > 0 {
		words += fmt.Sprintf(" %s without a date %s not in it.", layout.Count(undated, "ride"), map[bool]string{true: "is", false: "are"}[undated == 1])
	}
	p.Open(words)
	// The first and the last day, where there is room for both.
	fmt.Fprintf(p, `<text class="when" x="0" y="%g">%s</text>`, chart.Low+18, day(first))
	if day(first) != day(last) {
		fmt.Fprintf(p, `<text class="last" x="100%%" y="%g">%s</text>`, chart.Low+18, day(last))
	}
	for _, d := range dots {
		x := p.Px(d.day)
		fmt.Fprintf(p, `<line class="doubt" x1="%.2f%%" x2="%.2f%%" y1="%s" y2="%s"/><circle class="h0" cx="%.2f%%" cy="%s" r="4"/>`,
			x, x, shell.Tenth(p.Py(d.e.Low*perSI)), shell.Tenth(p.Py(d.e.High*perSI)), x, shell.Tenth(p.Py(d.e.Value*perSI)))
	}
	return horseChart{Title: title, SVG: p.Close(k.Head(r.units) + ", by day"), Words: words}
}

// edgeFigures are the distances of one group of fences.
type edgeFigures struct {
	name             string
	takeoff, landing *trace.Estimate
}

// edgeChart draws take-offs to the left of a fence and landings to its right, a row for each group.
func (r recordView) edgeChart(rows []edgeFigures) horseChart {
	const rowPx, topPx, footPx = 46.0, 6.0, 40.0
	k, perSI := report.Takeoff, report.Takeoff.PerSI(r.units)
	most := 0.0
	for _, q := range rows {
		for _, e := range []*trace.Estimate{q.takeoff, q.landing} {
			if e != nil {
				most = max(most, e.High*perSI)
			}
		}
	}
	a := chart.AxisOf(0, most, 0)
	// A fence of some room stands in the middle of the plot.
	const left, right = 48.0, 52.0
	x := func(v float64, landing bool) float64 {
		if landing {
			return right + a.Share(v)*(98-right)
		}
		return left - a.Share(v)*(left-2)
	}
	high := topPx + rowPx*float64(len(rows)) + footPx
	var said []string
	for _, q := range rows {
		words := q.name + ":"
		if q.takeoff != nil {
			words += " takes off " + shell.WithUnit(k, *q.takeoff, r.units) + " before it"
		}
		if q.landing != nil {
			if q.takeoff != nil {
				words += ","
			}
			words += " lands " + shell.WithUnit(k, *q.landing, r.units) + " behind it"
		}
		said = append(said, words+".")
	}
	words := strings.Join(said, " ")
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg class="attempts" width="100%%" height="%g" role="img" aria-label="%s">`, high, html.EscapeString(words))
	foot := topPx + rowPx*float64(len(rows))
	for i, v := range a.Ticks() {
		for _, landing := range []bool{false, true} {
			at := x(v, landing)
			fmt.Fprintf(&b, `<line class="grid" x1="%.2f%%" x2="%.2f%%" y1="%g" y2="%s"/>`, at, at, topPx, shell.Tenth(foot))
			class := "axis"
			switch {
			case at < 4:
				class = "when" // begins there
			case at > 96:
				class = "last" // ends there
			}
			if i%2 == 0 && i > 0 {
				fmt.Fprintf(&b, `<text class="%s" x="%.2f%%" y="%s">%s</text>`, class, at, shell.Tenth(foot+16), layout.Number(v, a.Decimals()))
			}
		}
	}
	for i, q := range rows {
		y := topPx + rowPx*float64(i)
		fmt.Fprintf(&b, `<rect class="fence" x="%g%%" width="%g%%" y="%s" height="22"/><text class="row" x="2%%" y="%s">%s</text>`, left, right-left, shell.Tenth(y+20), shell.Tenth(y+13), html.EscapeString(q.name))
		for _, landing := range []bool{false, true} {
			e := q.takeoff
			if landing {
				e = q.landing
			}
			if e == nil {
				continue
			}
			y := y + 31
			fmt.Fprintf(&b, `<line class="reach" x1="%.2f%%" x2="%.2f%%" y1="%s" y2="%s"/>`, x(0, landing), x(e.Value*perSI, landing), shell.Tenth(y), shell.Tenth(y))
			fmt.Fprintf(&b, `<line class="doubt" x1="%.2f%%" x2="%.2f%%" y1="%s" y2="%s"/>`, x(max(0, e.Low)*perSI, landing), x(e.High*perSI, landing), shell.Tenth(y), shell.Tenth(y))
			fmt.Fprintf(&b, `<circle class="%s" cx="%.2f%%" cy="%s" r="5"/>`, map[bool]string{true: "h1", false: "h0"}[landing], x(e.Value*perSI, landing), shell.Tenth(y))
		}
	}
	unit := shell.UnitName(k, r.units)
	fmt.Fprintf(&b, `<text class="axis" x="25%%" y="%s">take-off before it, %s</text><text class="axis" x="75%%" y="%s">landing behind it, %s</text></svg>`, shell.Tenth(high-6), unit, shell.Tenth(high-6), unit)
	return horseChart{Title: "Take-off and landing", SVG: template.HTML(b.String()), Words: words}
}
