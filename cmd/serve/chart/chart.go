package chart

import (
	"bytes"
	"fmt"
	"groundline/cmd/serve/shell"
	"groundline/report/layout"
	"html"
	"html/template"
	"math"
	"strings"
)

// The chart: heights in pixels, from left to right in shares of its width, so that letters and marks keep their size on any
// screen. The scale stands beside it in a drawing of its own, as wide as its letters.
const (
	chartHigh = 244.0
	Top, Low  = 14.0, 196.0 // of the plot
	scaleWide = 44.0        // px
)

// tickStep is 1, 2 or 5 times a power of ten that divides a range into some five.
func tickStep(span float64) float64 {
	if !(span > 0) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(span/5)))
	for _, k := range []float64{1, 2, 5} {
		if k*power >= span/5 {
			return k * power
		}
	}
	return 10 * power
}

// Axis is a range with round borders.
type Axis struct{ Low, High, Step float64 }

// AxisOf is an axis about a range, its steps no smaller than leastStep.
func AxisOf(low, high, leastStep float64) Axis {
	step := max(leastStep, tickStep(high-low))
	a := Axis{math.Floor(low/step) * step, math.Ceil(high/step) * step, step}
	if a.High-a.Low < step/2 {
		a.Low, a.High = a.Low-step, a.High+step
	}
	return a
}

func (a Axis) Share(v float64) float64 { return (v - a.Low) / (a.High - a.Low) }
func (a Axis) Decimals() int           { return max(0, -int(math.Floor(math.Log10(a.Step)+1e-9))) }

// Ticks are the values of the grid.
func (a Axis) Ticks() []float64 {
	var out []float64
	for i := 0; a.Low+float64(i)*a.Step <= a.High+a.Step/2; i++ {
		out = append(out, a.Low+float64(i)*a.Step)
	}
	return out
}

// Plot is a chart being drawn.
type Plot struct {
	bytes.Buffer
	X, Y Axis
}

func (p *Plot) Px(v float64) float64 { return 100 * p.X.Share(v) }           // percent
func (p *Plot) Py(v float64) float64 { return Low - p.Y.Share(v)*(Low-Top) } // pixels

// Open begins the chart with the scale beside it and the grid of its values.
func (p *Plot) Open(words string) {
	fmt.Fprintf(p, `<div class="chart"><svg class="scale" width="%g" height="%g" aria-hidden="true">`, scaleWide, chartHigh)
	for _, v := range p.Y.Ticks() {
		fmt.Fprintf(p, `<text x="%g" y="%s" dy=".35em">%s</text>`, scaleWide-6, shell.Tenth(p.Py(v)), layout.Number(v, p.Y.Decimals()))
	}
	fmt.Fprintf(p, `</svg><svg class="attempts" width="100%%" height="%g" role="img" aria-label="%s">`, chartHigh, html.EscapeString(words))
	for _, v := range p.Y.Ticks() {
		fmt.Fprintf(p, `<line class="grid" x1="0" x2="100%%" y1="%s" y2="%s"/>`, shell.Tenth(p.Py(v)), shell.Tenth(p.Py(v)))
	}
}

// Close ends it with the name of the axis below.
func (p *Plot) Close(below string) template.HTML {
	fmt.Fprintf(p, `<text class="axis" x="50%%" y="%g">%s</text></svg></div>`, chartHigh-4, html.EscapeString(below))
	return template.HTML(p.String()) // every text in it is escaped above
}

// Stretched is a path that is drawn in the plot's own shares, so that it keeps its place at any width.
func (p *Plot) Stretched(class string, points [][2]float64, closed bool) {
	var d strings.Builder
	for i, q := range points {
		d.WriteString(map[bool]string{true: "M", false: "L"}[i == 0])
		fmt.Fprintf(&d, "%.1f %.1f", 1000*p.X.Share(q[0]), p.Py(q[1])-Top)
	}
	if closed {
		d.WriteString("Z")
	}
	fmt.Fprintf(p, `<svg x="0" y="%g" width="100%%" height="%g" viewBox="0 0 1000 %g" preserveAspectRatio="none"><path class="%s" d="%s"/></svg>`,
		Top, Low-Top, Low-Top, class, d.String())
}
