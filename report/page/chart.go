package page

import (
	"fmt"
	"html"
	"math"
	"slices"
	"strconv"
	"strings"
)

// The chart's sizes, pixels.
const (
	namesPx, panelPx, headPx, gaitPx, axisPx = 16.0, 104.0, 24.0, 18.0, 22.0
	phonePx                                  = 328.0 // of width on the narrowest phone
	widePx                                   = 1500.0
	longM, longS                             = 1400.0, 240.0 // a chart of more scrolls on a phone
	digitPx                                  = 7.5
)

// panel is one figure over the way ridden.
type panel struct {
	title     string
	low, high float64
	ticks     []float64
	decimals  int
	draw      func(s *svg, y func(float64) float64)
}

// drawChart draws the figures over the way ridden or, without positions, over time; nil where there is
// nothing to draw.
func (v *view) drawChart() *figure {
	if len(v.sections) == 0 {
		return nil
	}
	panels := v.panels()
	if len(panels) == 0 && len(v.d.Gaits) == 0 {
		return nil
	}
	f := &figure{Title: "Over the way ridden", Wide: v.track && v.total > longM || !v.track && v.total > longS}
	if !v.track {
		f.Title = "Over time"
	}
	bands, rows := v.bands(f.Wide)
	top := float64(rows)*namesPx + 4
	high := top + float64(len(panels))*(headPx+panelPx) + gaitPx + headPx + axisPx
	s := &svg{}
	s.f(`<svg class="draw" width="100%%" height="%s" role="img" aria-labelledby="chart-title"><title id="chart-title">%s</title>`, num(high), html.EscapeString(f.Title))
	foot := high - axisPx
	for _, b := range bands {
		s.f(`<rect class="band" x="%s%%" y="%s" width="%s%%" height="%s"/><line class="over" x1="%s%%" x2="%s%%" y1="%s" y2="%s"/>`,
			num(100*b.from), num(top), num(100*(b.to-b.from)), num(foot-top), num(50*(b.from+b.to)), num(50*(b.from+b.to)), num(top), num(foot))
		s.f(`<text class="%s" x="%s%%" y="%s">%s</text>`, b.class, num(50*(b.from+b.to)), num(float64(b.row)*namesPx+13), html.EscapeString(cleaned(b.name)))
	}
	s.f(`<rect class="pick" id="chart-pick" x="0%%" width="0%%" y="%s" height="%s"/>`, num(top), num(foot-top))
	y := top
	for _, p := range panels {
		s.text("head", 0, 0, 0, y+15, p.title)
		y += headPx
		p := p
		at := func(x float64) float64 { return panelPx * (p.high - x) / (p.high - p.low) }
		for _, t := range p.ticks {
			s.f(`<line class="grid" x1="0" x2="100%%" y1="%s" y2="%s"/>`, num(y+at(t)), num(y+at(t)))
		}
		s.f(`<svg class="panel" x="0" y="%s" width="100%%" height="%s" viewBox="0 0 100000 %s" preserveAspectRatio="none">`, num(y), num(panelPx), num(100*panelPx))
		p.draw(s, func(x float64) float64 { return 100 * at(min(max(x, p.low), p.high)) })
		s.f(`</svg>`)
		for _, t := range p.ticks {
			up := -3.0
			if at(t) < 12 {
				up = 11 // below its line, clear of the heading
			}
			s.f(`<text class="tickmark" x="1" y="%s">%s</text>`, num(y+at(t)+up), minus(strconv.FormatFloat(t, 'f', p.decimals, 64)))
		}
		y += panelPx
	}
	if len(v.d.Gaits) > 0 {
		s.text("head", 0, 0, 0, y+15, "Gait (rising: halt, walk, trot, canter)")
		y += headPx
		v.gaitLane(s, y)
	}
	v.breaks(s, top, foot)
	v.axis(s, foot, f.Wide)
	s.f(`<line id="chart-here" class="here" x1="0%%" x2="0%%" y1="%s" y2="%s"/></svg>`, num(top), num(foot))
	f.SVG = s.html()
	f.Words = v.chartWords(panels)
	return f
}

func minus(s string) string { return strings.Replace(s, "-", "−", 1) }

// band is an obstacle on the chart.
type band struct {
	from, to float64
	name     string
	class    string
	row      int
}

// bands are the efforts from take-off to landing, their names in as many rows as keep them apart on a phone.
func (v *view) bands(wide bool) ([]band, int) {
	px := phonePx
	if wide {
		px = widePx
	}
	const most = 3
	var ends [most]float64
	for i := range ends {
		ends[i] = math.Inf(-1)
	}
	var out []band
	rows := 1
	for i, e := range v.d.Efforts {
		if e.TakeoffS == nil {
			continue
		}
		from, ok := v.along(e.TakeoffS.Value)
		if !ok {
			continue
		}
		b := band{from: from, to: from, name: strconv.Itoa(i + 1), class: "id"}
		if e.Obstacle != nil {
			b.name = short(*e.Obstacle, 12)
		}
		if e.LandingS != nil {
			if to, ok := v.along(e.LandingS.Value); ok {
				b.to = to
			}
		}
		if e.Outcome == "refused" || e.Outcome == "ran out" {
			b.name += " ×"
		}
		half := (float64(len([]rune(b.name)))*digitPx + 4) / 2 / px
		mid := (b.from + b.to) / 2
		switch {
		case mid < half:
			b.class = "id start"
		case mid > 1-half:
			b.class = "id end"
		}
		for b.row < most-1 && ends[b.row] > mid-half {
			b.row++
		}
		ends[b.row] = mid + half
		rows = max(rows, b.row+1)
		out = append(out, b)
	}
	return out, rows
}

// panels are speed, stride and grade, as far as the recording tells them.
func (v *view) panels() []panel {
	var out []panel
	if v.track {
		if p, ok := v.speedPanel(); ok {
			out = append(out, p)
		}
	}
	if p, ok := v.stridePanel(); ok {
		out = append(out, p)
	}
	if !v.track {
		if p, ok := v.beatPanel(); ok {
			out = append(out, p)
		}
	}
	if v.track && v.grade != nil {
		if p, ok := v.gradePanel(); ok {
			out = append(out, p)
		}
	}
	return out
}

// x is a time in the panel's own units; a time outside the sections is at the nearest end of one.
func (v *view) x(t float64) float64 {
	near, off := v.sections[0].fromS, math.Inf(1)
	for _, s := range v.sections {
		in := min(max(t, s.fromS), s.toS)
		if d := math.Abs(t - in); d < off {
			near, off = in, d
		}
	}
	c, _ := v.along(near)
	return 1e5 * c
}

func (v *view) speedPanel() (panel, bool) {
	runs := v.runs()
	var all []float64
	for _, r := range runs {
		for _, i := range v.thinned(r) {
			all = append(all, 60*v.ridden.SpeedMS[i])
		}
	}
	if len(all) == 0 {
		return panel{}, false
	}
	slices.Sort(all)
	// A pull-up at the end does not take the room from the rest: the slowest twentieth may lie below.
	p := newPanel("Speed, m/min", all[len(all)/20], all[len(all)-1], 40, 0)
	p.draw = func(s *svg, y func(float64) float64) {
		for _, r := range runs {
			ids := v.thinned(r)
			var xs, ys []float64
			for k := range 2 * len(ids) {
				i, sign := ids[min(k, 2*len(ids)-1-k)], 1.0
				if k >= len(ids) {
					sign = -1
				}
				xs = append(xs, v.x(v.ridden.TimeS[i]))
				ys = append(ys, y(60*(v.ridden.SpeedMS[i]+sign*1.645*v.ridden.SpeedSDMS[i])))
			}
			s.f(`<path class="doubt" d="%sZ"/>`, pathOf(xs, ys))
			v.coloured(ids, v.speedClass, func(class int, ids []int) {
				xs, ys := make([]float64, len(ids)), make([]float64, len(ids))
				for n, i := range ids {
					xs[n], ys[n] = v.x(v.ridden.TimeS[i]), y(60*v.ridden.SpeedMS[i])
				}
				s.f(`<path class="k%d" d="%s"/>`, class, pathOf(xs, ys))
			})
		}
	}
	return p, true
}

// A step is a flat piece with its interval: a stride, or the mean of a line.
type step struct{ from, to, value, half float64 }

func stepPath(v *view, s *svg, y func(float64) float64, steps []step) {
	var doubt, line strings.Builder
	for i, q := range steps {
		a, b := v.x(q.from), v.x(q.to)
		if q.half > 0 {
			doubt.WriteString(pathOf([]float64{a, b, b, a}, []float64{y(q.value + q.half), y(q.value + q.half), y(q.value - q.half), y(q.value - q.half)}) + "Z")
		}
		if i > 0 && math.Abs(steps[i-1].to-q.from) < 0.02 {
			line.WriteString(strings.Replace(pathOf([]float64{a, b}, []float64{y(q.value), y(q.value)}), "M", "L", 1))
			continue
		}
		line.WriteString(pathOf([]float64{a, b}, []float64{y(q.value), y(q.value)}))
	}
	if doubt.Len() > 0 {
		s.f(`<path class="doubt" d="%s"/>`, doubt.String())
	}
	s.f(`<path class="steps" d="%s"/>`, line.String())
}

func (v *view) stridePanel() (panel, bool) {
	var steps []step
	title := "Stride length, " + v.told.Unit
	for _, q := range v.strides {
		if q.lengthM > 0 {
			steps = append(steps, step{q.fromS, q.toS, q.lengthM * v.perM(), q.halfM * v.perM()})
		}
	}
	if len(steps) == 0 {
		title = "Mean stride of each line, " + v.told.Unit
		for i, s := range v.ridden.LineS {
			if i >= len(v.d.Lines) || v.d.Lines[i].StrideLengthM == nil {
				continue
			}
			_, ok1 := v.along(s[0])
			_, ok2 := v.along(s[1])
			if e := v.d.Lines[i].StrideLengthM; ok1 && ok2 {
				steps = append(steps, step{s[0], s[1], e.Value * v.perM(), (e.High - e.Low) / 2 * v.perM()})
			}
		}
	}
	if len(steps) == 0 {
		return panel{}, false
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, q := range steps {
		low, high = math.Min(low, q.value), math.Max(high, q.value)
	}
	usual := 0.0
	if e := v.d.Horse.CanterStrideM; e != nil {
		usual = e.Value * v.perM()
		low, high = math.Min(low, usual), math.Max(high, usual)
		title += " (dashed: usual)"
	}
	p := newPanel(title, low, high, 0.5*v.perM(), 1)
	p.draw = func(s *svg, y func(float64) float64) {
		if usual > 0 {
			s.f(`<path class="usual" d="M0 %.0fH100000"/>`, y(usual))
		}
		stepPath(v, s, y, steps)
	}
	return p, true
}

// beatPanel is the time of each stride, for rides that have no way to go by.
func (v *view) beatPanel() (panel, bool) {
	var steps []step
	low, high := math.Inf(1), math.Inf(-1)
	for _, q := range v.strides {
		d := q.toS - q.fromS
		steps = append(steps, step{q.fromS, q.toS, d, 0})
		low, high = math.Min(low, d), math.Max(high, d)
	}
	if len(steps) == 0 {
		return panel{}, false
	}
	p := newPanel("Canter stride time, s", low, high, 0.1, 2)
	p.draw = func(s *svg, y func(float64) float64) { stepPath(v, s, y, steps) }
	return p, true
}

func (v *view) gradePanel() (panel, bool) {
	runs := v.runs()
	most, told := 0.0, false
	for _, r := range runs {
		for _, i := range v.thinned(r) {
			if g := v.grade[i]; !math.IsNaN(g) {
				most, told = math.Max(most, math.Abs(g)), true
			}
		}
	}
	if !told {
		return panel{}, false
	}
	most = math.Max(most, 0.5)
	p := newPanel("Grade, % (above the line: uphill)", -most, most, 1, 0)
	if most < 2 {
		p.decimals = 1
	}
	p.draw = func(s *svg, y func(float64) float64) {
		for _, r := range runs {
			var xs, ys []float64
			flush := func() {
				if len(xs) > 1 {
					s.f(`<path class="fill" d="%s"/>`, pathOf(append(append([]float64{xs[0]}, xs...), xs[len(xs)-1]), append(append([]float64{y(0)}, ys...), y(0)))+"Z")
				}
				xs, ys = nil, nil
			}
			for _, i := range v.thinned(r) {
				if math.IsNaN(v.grade[i]) {
					flush()
					continue
				}
				xs, ys = append(xs, v.x(v.ridden.TimeS[i])), append(ys, y(v.grade[i]))
			}
			flush()
		}
		s.f(`<path class="zero" d="M0 %.0fH100000"/>`, y(0))
	}
	return p, true
}

// newPanel covers low to high, at least so much of it, with two to four round ticks.
func newPanel(title string, low, high, least float64, decimals int) panel {
	if high-low < least {
		mid := (low + high) / 2
		low, high = mid-least/2, mid+least/2
	}
	pad := 0.08 * (high - low)
	p := panel{title: title, low: low - pad, high: high + pad, decimals: decimals}
	// The widest round gap that leaves two ticks or more, at most four or so.
	span := p.high - p.low
	for e := math.Ceil(math.Log10(span)); len(p.ticks) < 2; e-- {
		for _, m := range []float64{5, 2, 1} {
			gap := m * math.Pow(10, e)
			if p.ticks = nil; gap > span/1.5 {
				continue
			}
			for k := math.Ceil(p.low / gap); k*gap <= p.high; k++ {
				p.ticks = append(p.ticks, k*gap+0) // no minus before nothing
			}
			p.decimals = max(decimals, -int(math.Floor(math.Log10(gap)+1e-9)))
			if gap >= 1 {
				p.decimals = 0
			}
			if len(p.ticks) >= 2 {
				break
			}
		}
	}
	return p
}

// gaitLane draws the gaits as steps.
func (v *view) gaitLane(s *svg, y float64) {
	for _, g := range v.d.Gaits {
		k := 0
		for i, name := range gaitNames() {
			if name == g.Gait {
				k = i
			}
		}
		for _, c := range v.sections {
			a, b := math.Max(g.FromS, c.fromS), math.Min(g.ToS, c.toS)
			if a >= b {
				continue
			}
			from, _ := v.along(a)
			to, _ := v.along(b)
			h := []float64{2, 6, 11, gaitPx - 2}[k]
			s.f(`<rect class="gait" x="%s%%" width="%s%%" y="%s" height="%s"/>`, num(100*from), num(100*(to-from)), num(y+gaitPx-h), num(h))
		}
	}
}

// breaks mark what lies between sections.
func (v *view) breaks(s *svg, top, foot float64) {
	for i := 1; i < len(v.sections); i++ {
		a := v.sections[i-1]
		x := 100 * (a.at + a.length + v.gap/2) / v.total
		s.f(`<line class="break" x1="%s%%" x2="%s%%" y1="%s" y2="%s"/>`, num(x), num(x), num(top), num(foot))
	}
}

// axis numbers the way ridden, or the time.
func (v *view) axis(s *svg, y float64, wide bool) {
	unit, perM := v.told.Unit, v.perM()
	if !v.track {
		unit, perM = "s", 1
	}
	labels := 5.0
	if wide {
		labels = 16
	}
	gap := 5.0
	for k := 1; v.total*perM/gap > labels; k++ {
		gap = []float64{5, 10, 20}[k%3] * math.Pow(10, float64(k/3))
	}
	start := v.sections[0].measure
	if !v.track {
		start = 0
	}
	for i, c := range v.sections {
		from := (c.measure - start) * perM
		for m := math.Ceil(from/gap-1e-9) * gap; m <= from+c.length*perM; m += gap {
			x := (c.at + (m-from)/perM) / v.total
			if x > 0.94 || i > 0 && x < c.at/v.total+0.01 {
				continue
			}
			class := "axis"
			if x < 0.02 {
				class = "axis start"
			}
			s.f(`<line class="grid" x1="%s%%" x2="%s%%" y1="%s" y2="%s"/><text class="%s" x="%s%%" y="%s">%s</text>`,
				num(100*x), num(100*x), num(y), num(y+4), class, num(100*x), num(y+17), v.axisNumber(m))
		}
	}
	if v.track {
		s.f(`<text class="axis end" x="100%%" y="%s">%s</text>`, num(y+17), unit)
	}
}

// axisNumber is a length, or a time as minutes and seconds.
func (v *view) axisNumber(m float64) string {
	m = math.Abs(m) // no minus before nothing
	if v.track {
		return strconv.FormatFloat(m, 'f', 0, 64)
	}
	return fmt.Sprintf("%d:%02d", int(m)/60, int(m)%60)
}

// chartWords say what the chart shows.
func (v *view) chartWords(panels []panel) string {
	said := "From left to right the way ridden"
	if !v.track {
		said = "From left to right the time of the recording"
	}
	if len(v.d.Efforts) > 0 {
		said += ", with a band from take-off to landing of each effort"
	}
	if v.track {
		said += "; the shade about speed and strides holds nine times in ten"
	}
	if len(v.sections) > 1 {
		said += fmt.Sprintf("; %d stretches, the ways of more than half a minute between them left out", len(v.sections))
	}
	said += ". Its figures are also in the tables."
	return said
}
