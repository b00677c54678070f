package serve

import (
	"bytes"
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"
	"time"

	"groundline/report/compare"
	"groundline/report/layout"
	"groundline/report/record"
	"groundline/trace"
)

// The charts of a record are made as those of attempts (see attemptChart): heights in pixels, widths in shares.
const mostPoints = 600 // of a chart; more only cover one another

// axis is a range with round borders.
type axis struct{ low, high, step float64 }

// axisOf is an axis about a range, its steps no smaller than leastStep.
func axisOf(low, high, leastStep float64) axis {
	step := max(leastStep, tickStep(high-low))
	a := axis{math.Floor(low/step) * step, math.Ceil(high/step) * step, step}
	if a.high-a.low < step/2 {
		a.low, a.high = a.low-step, a.high+step
	}
	return a
}

func (a axis) share(v float64) float64 { return (v - a.low) / (a.high - a.low) }
func (a axis) decimals() int           { return max(0, -int(math.Floor(math.Log10(a.step)+1e-9))) }

// ticks are the values of the grid.
func (a axis) ticks() []float64 {
	var out []float64
	for i := 0; a.low+float64(i)*a.step <= a.high+a.step/2; i++ {
		out = append(out, a.low+float64(i)*a.step)
	}
	return out
}

// plot is a chart being drawn.
type plot struct {
	bytes.Buffer
	x, y axis
}

func (p *plot) px(v float64) float64 { return 100 * p.x.share(v) }                          // percent
func (p *plot) py(v float64) float64 { return chartLow - p.y.share(v)*(chartLow-chartTop) } // pixels

// open begins the chart with the scale beside it and the grid of its values.
func (p *plot) open(words string) {
	fmt.Fprintf(p, `<div class="chart"><svg class="scale" width="%g" height="%g" aria-hidden="true">`, scaleWide, chartHigh)
	for _, v := range p.y.ticks() {
		fmt.Fprintf(p, `<text x="%g" y="%s" dy=".35em">%s</text>`, scaleWide-6, tenth(p.py(v)), layout.Number(v, p.y.decimals()))
	}
	fmt.Fprintf(p, `</svg><svg class="attempts" width="100%%" height="%g" role="img" aria-label="%s">`, chartHigh, html.EscapeString(words))
	for _, v := range p.y.ticks() {
		fmt.Fprintf(p, `<line class="grid" x1="0" x2="100%%" y1="%s" y2="%s"/>`, tenth(p.py(v)), tenth(p.py(v)))
	}
}

// close ends it with the name of the axis below.
func (p *plot) close(below string) template.HTML {
	fmt.Fprintf(p, `<text class="axis" x="50%%" y="%g">%s</text></svg></div>`, chartHigh-4, html.EscapeString(below))
	return template.HTML(p.String()) // every text in it is escaped above
}

// stretched is a path that is drawn in the plot's own shares, so that it keeps its place at any width.
func (p *plot) stretched(class string, points [][2]float64, closed bool) {
	var d strings.Builder
	for i, q := range points {
		d.WriteString(map[bool]string{true: "M", false: "L"}[i == 0])
		fmt.Fprintf(&d, "%.1f %.1f", 1000*p.x.share(q[0]), p.py(q[1])-chartTop)
	}
	if closed {
		d.WriteString("Z")
	}
	fmt.Fprintf(p, `<svg x="0" y="%g" width="100%%" height="%g" viewBox="0 0 1000 %g" preserveAspectRatio="none"><path class="%s" d="%s"/></svg>`,
		chartTop, chartLow-chartTop, chartLow-chartTop, class, d.String())
}

// paceChart draws the lines' strides against their paces, with the horse's own and its doubt.
func (r recordView) paceChart() horseChart {
	points := r.Points()
	if len(points) > mostPoints {
		points = points[len(points)-mostPoints:]
	}
	k, perSI := compare.StrideLength, compare.StrideLength.PerSI(r.units)
	x := [2]float64{math.Inf(1), math.Inf(-1)}
	y := x
	for _, q := range points {
		x[0], x[1] = min(x[0], q.SpeedMS*60), max(x[1], q.SpeedMS*60)
		y[0], y[1] = min(y[0], q.StrideM*perSI), max(y[1], q.StrideM*perSI)
	}
	pace := r.Record.Pace
	from, to := r.StrideAt(pace.FromMS), r.StrideAt(pace.ToMS)
	y[0], y[1] = min(y[0], from.Low*perSI, to.Low*perSI), max(y[1], from.High*perSI, to.High*perSI)
	p := &plot{x: axisOf(x[0], x[1], 0), y: axisOf(y[0], y[1], 0)}
	words := fmt.Sprintf("%s of %s against the pace, %s to %s m/min. At %s m/min its own stride is %s, at %s m/min %s.",
		layout.Count(len(points), "line"), layout.Count(pace.Count, "ride"), layout.Number(x[0], 0), layout.Number(x[1], 0),
		layout.Number(pace.FromMS*60, 0), withUnit(k, *from, r.units), layout.Number(pace.ToMS*60, 0), withUnit(k, *to, r.units))
	p.open(words)
	for _, v := range p.x.ticks() {
		class := "axis"
		switch at := p.px(v); {
		case at < 3:
			class = "when" // begins there
		case at > 97:
			class = "last" // ends there
		}
		fmt.Fprintf(p, `<text class="%s" x="%.2f%%" y="%g">%s</text>`, class, p.px(v), chartLow+18, layout.Number(v, 0))
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
	p.stretched("doubtful", append(up, down...), true)
	p.stretched("own", middle, false)
	for _, q := range points {
		fmt.Fprintf(p, `<circle class="h0" cx="%.2f%%" cy="%s" r="3.5"/>`, p.px(q.SpeedMS*60), tenth(p.py(q.StrideM*perSI)))
	}
	return horseChart{Title: "Stride against pace", SVG: p.close("pace of the line, m/min"), Words: words}
}

// timeChart draws a figure of each ride over the days, with its doubt; nothing where fewer than two rides have a date.
func (r recordView) timeChart(title string, k compare.Key, of func(record.RideFigures) *trace.Estimate) horseChart {
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
	p := &plot{x: axis{first - room, last + room, 1}, y: axisOf(y[0], y[1], 0)}
	day := func(d float64) string { return dayWords(time.Unix(int64(d*86400), 0)) }
	words := fmt.Sprintf("%s, %s from %s to %s: the lowest %s, the highest %s.", title, layout.Count(len(dots), "ride"), day(first), day(last),
		withUnit(k, least, r.units), withUnit(k, most, r.units))
	if undated > 0 {
		words += fmt.Sprintf(" %s without a date %s not in it.", layout.Count(undated, "ride"), map[bool]string{true: "is", false: "are"}[undated == 1])
	}
	p.open(words)
	// The first and the last day, where there is room for both.
	fmt.Fprintf(p, `<text class="when" x="0" y="%g">%s</text>`, chartLow+18, day(first))
	if day(first) != day(last) {
		fmt.Fprintf(p, `<text class="last" x="100%%" y="%g">%s</text>`, chartLow+18, day(last))
	}
	for _, d := range dots {
		x := p.px(d.day)
		fmt.Fprintf(p, `<line class="doubt" x1="%.2f%%" x2="%.2f%%" y1="%s" y2="%s"/><circle class="h0" cx="%.2f%%" cy="%s" r="4"/>`,
			x, x, tenth(p.py(d.e.Low*perSI)), tenth(p.py(d.e.High*perSI)), x, tenth(p.py(d.e.Value*perSI)))
	}
	return horseChart{Title: title, SVG: p.close(k.Head(r.units) + ", by day"), Words: words}
}

// edgeFigures are the distances of one group of fences.
type edgeFigures struct {
	name             string
	takeoff, landing *trace.Estimate
}

// edgeChart draws take-offs to the left of a fence and landings to its right, a row for each group.
func (r recordView) edgeChart(rows []edgeFigures) horseChart {
	const rowPx, topPx, footPx = 46.0, 6.0, 40.0
	k, perSI := compare.Takeoff, compare.Takeoff.PerSI(r.units)
	most := 0.0
	for _, q := range rows {
		for _, e := range []*trace.Estimate{q.takeoff, q.landing} {
			if e != nil {
				most = max(most, e.High*perSI)
			}
		}
	}
	a := axisOf(0, most, 0)
	// A fence of some room stands in the middle of the plot.
	const left, right = 48.0, 52.0
	x := func(v float64, landing bool) float64 {
		if landing {
			return right + a.share(v)*(98-right)
		}
		return left - a.share(v)*(left-2)
	}
	high := topPx + rowPx*float64(len(rows)) + footPx
	var said []string
	for _, q := range rows {
		words := q.name + ":"
		if q.takeoff != nil {
			words += " takes off " + withUnit(k, *q.takeoff, r.units) + " before it"
		}
		if q.landing != nil {
			if q.takeoff != nil {
				words += ","
			}
			words += " lands " + withUnit(k, *q.landing, r.units) + " behind it"
		}
		said = append(said, words+".")
	}
	words := strings.Join(said, " ")
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg class="attempts" width="100%%" height="%g" role="img" aria-label="%s">`, high, html.EscapeString(words))
	foot := topPx + rowPx*float64(len(rows))
	for i, v := range a.ticks() {
		for _, landing := range []bool{false, true} {
			at := x(v, landing)
			fmt.Fprintf(&b, `<line class="grid" x1="%.2f%%" x2="%.2f%%" y1="%g" y2="%s"/>`, at, at, topPx, tenth(foot))
			class := "axis"
			switch {
			case at < 4:
				class = "when" // begins there
			case at > 96:
				class = "last" // ends there
			}
			if i%2 == 0 && i > 0 {
				fmt.Fprintf(&b, `<text class="%s" x="%.2f%%" y="%s">%s</text>`, class, at, tenth(foot+16), layout.Number(v, a.decimals()))
			}
		}
	}
	for i, q := range rows {
		y := topPx + rowPx*float64(i)
		fmt.Fprintf(&b, `<rect class="fence" x="%g%%" width="%g%%" y="%s" height="22"/><text class="row" x="2%%" y="%s">%s</text>`, left, right-left, tenth(y+20), tenth(y+13), html.EscapeString(q.name))
		for _, landing := range []bool{false, true} {
			e := q.takeoff
			if landing {
				e = q.landing
			}
			if e == nil {
				continue
			}
			y := y + 31
			fmt.Fprintf(&b, `<line class="reach" x1="%.2f%%" x2="%.2f%%" y1="%s" y2="%s"/>`, x(0, landing), x(e.Value*perSI, landing), tenth(y), tenth(y))
			fmt.Fprintf(&b, `<line class="doubt" x1="%.2f%%" x2="%.2f%%" y1="%s" y2="%s"/>`, x(max(0, e.Low)*perSI, landing), x(e.High*perSI, landing), tenth(y), tenth(y))
			fmt.Fprintf(&b, `<circle class="%s" cx="%.2f%%" cy="%s" r="5"/>`, map[bool]string{true: "h1", false: "h0"}[landing], x(e.Value*perSI, landing), tenth(y))
		}
	}
	unit := unitName(k, r.units)
	fmt.Fprintf(&b, `<text class="axis" x="25%%" y="%s">take-off before it, %s</text><text class="axis" x="75%%" y="%s">landing behind it, %s</text></svg>`, tenth(high-6), unit, tenth(high-6), unit)
	return horseChart{Title: "Take-off and landing", SVG: template.HTML(b.String()), Words: words}
}
