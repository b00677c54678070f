package page

import (
	"fmt"
	"html/template"
	"math"

	"groundline/course"
	"groundline/report"
)

// furniture is the strip below the plan: a scale bar, north, and which way the ground falls.
func (v *view) furniture() template.HTML {
	s := &svg{}
	long, unit, perM := v.scaleBar()
	share := math.Min(long/perM/v.frame.wide, 1)
	words := fmt.Sprintf("Scale bar of %g %s", long, unit)
	x := 0.0
	inner := &svg{}
	arrow := func(deg float64, says string) {
		inner.f(`<svg x="%s%%" y="50%%"><g transform="translate(%s 0)"><g transform="rotate(%s)"><path class="needle" d="M0 -13L5 9L0 5L-5 9Z"/></g><text class="place start" x="16" y="4">%s</text></g></svg>`,
			num(100*(share+0.02)), num(36+x), num(deg), says)
		x += 66
	}
	if deg, ok := v.north(); ok {
		arrow(deg, "north")
		words += fmt.Sprintf("; north is %.0f° clockwise from the top", math.Mod(deg+360, 360))
	}
	if deg, pct, ok := v.fall(); ok {
		arrow(deg, fmt.Sprintf("falls %.1f %%", pct))
		words += fmt.Sprintf("; the ground falls %.1f %% towards %.0f° clockwise from the top", pct, math.Mod(deg+360, 360))
	}
	s.f(`<svg class="strip" width="100%%" height="40" role="img" aria-label="%s">`, words)
	s.f(`<svg x="0" y="50%%" width="100%%"><line class="bar" x1="1" x2="%s%%" y1="0" y2="0"/><line class="bar" x1="1" x2="1" y1="-5" y2="5"/><line class="bar" x1="%s%%" x2="%s%%" y1="-5" y2="5"/><text class="place" x="%s%%" y="-7">%g %s</text></svg>`,
		num(100*share), num(100*share), num(100*share), num(50*share), long, unit)
	s.b.WriteString(inner.b.String())
	s.f(`</svg>`)
	return s.html()
}

// scaleBar is a round length of up to a third of the drawing's width, in a unit of which perM are a metre.
func (v *view) scaleBar() (long float64, unit string, perM float64) {
	steps := []float64{1, 2, 5, 10, 20, 50, 100, 200, 500, 1000}
	unit, perM = "m", 1
	if v.units == report.Imperial {
		steps = []float64{5, 10, 20, 50, 100, 200, 500, 1000, 3000}
		unit, perM = "ft", 1/footM
	}
	long = steps[0]
	for _, x := range steps {
		if x/perM <= v.frame.wide/3 {
			long = x
		}
	}
	return long, unit, perM
}

// north is how far clockwise from the drawing's top north lies, where that is known.
func (v *view) north() (deg float64, ok bool) {
	switch p := v.d.Plan; {
	case p != nil && p.Anchor != nil:
		return math.Round(-p.Anchor.BearingDeg), true
	case p == nil && v.track:
		return 0, true
	}
	return 0, false
}

// fall is the way in which the ground falls most, clockwise from the drawing's top, and how steeply, percent;
// as the heights show it in the middle of the obstacles. Slopes below a half percent are called level.
func (v *view) fall() (deg, pct float64, ok bool) {
	const levelPct = 0.5 // half a metre on a hundred, which nobody sees
	p := v.d.Plan
	if p == nil || len(p.Obstacles) == 0 {
		return 0, 0, false
	}
	ground, _ := course.NewSurface(p.Levels)
	if ground == nil {
		return 0, 0, false
	}
	var x, y float64
	for _, o := range p.Obstacles {
		gx, gy := ground.GradeAlong(o.At.X, o.At.Y, 90), ground.GradeAlong(o.At.X, o.At.Y, 0)
		x, y = x+gx/float64(len(p.Obstacles)), y+gy/float64(len(p.Obstacles))
	}
	if pct = 100 * math.Hypot(x, y); pct < levelPct {
		return 0, 0, false
	}
	return math.Round(math.Atan2(-x, -y) * 180 / math.Pi), pct, true
}
