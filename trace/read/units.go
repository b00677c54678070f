package read

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// standardGravity is the conventional value of g, m/s² (3rd CGPM, 1901).
const standardGravity = 9.80665

// tableToPart turns the columns of a table into SI on one clock.
func (t *task) tableToPart(p *part, tab *table) (*part, *Faults) {
	lay, n := tab.lay, tab.n
	for _, r := range lay.used {
		tab.col[r] = tab.col[r][:n:n]
	}
	tm := tab.col[roleT]
	if !lay.timeText {
		for i := range tm {
			tm[i] = (tm[i] - lay.baseCount) * lay.timeUnit
		}
		if !lay.baseKnown {
			addTo(tm, lay.baseCount*lay.timeUnit)
		}
	}
	p.base, p.known = lay.base, lay.baseKnown
	p.sum.ZoneKnown = p.known && !tab.unzoned && lay.base.zoned
	for _, note := range lay.notes {
		p.note(note[0], note[1], note[2])
	}
	if p.known && !p.sum.ZoneKnown {
		p.note("caution", "local time without zone", "read as UTC")
	}
	if lay.assumedRateHz > 0 {
		p.note("warning", "no times, only a count of samples",
			fmt.Sprintf("taken at %g Hz, so every time and frequency is in doubt; give the rate by --columns t=…@RATE", lay.assumedRateHz))
	}
	if tab.problems.count > 0 {
		first := tab.problems.first[0]
		p.note(levelFor(tab.problems.count, n), fmt.Sprintf("%d of %d rows left out", tab.problems.count, n+tab.problems.count),
			fmt.Sprintf("unreadable, the first in line %d: %s %s", first.Line, first.Field, first.Found))
	}
	if len(lay.ignored) > 0 {
		p.note("info", counted(len(lay.ignored), "column", "columns")+" not used", strings.Join(lay.ignored, ", "))
	}
	if bad := t.settle(p, tab); bad != nil {
		return nil, bad
	}
	if tab.col[roleLat] != nil {
		return t.tablePlaces(p, tab)
	}
	return t.tableMotion(p, tab)
}

// settle puts the times in order, or refuses the clock.
func (t *task) settle(p *part, tab *table) *Faults {
	tm := tab.col[roleT]
	if tab.lay.clockAlone {
		pastMidnight(tm)
	}
	repeats := 0
	for i := 1; i < len(tm); i++ {
		if tm[i] == tm[i-1] {
			repeats++
		}
	}
	if tab.col[roleLat] == nil && repeats*5 > len(tm) && tm[len(tm)-1] > tm[0] {
		spread(tm)
		p.note("caution", fmt.Sprintf("%d of %d samples share the time of the one before", repeats, len(tm)), "laid evenly between the stamps")
	}
	drop, equal, back := order(tm)
	if float64(back) > mostOutOfOrder*float64(len(tm)) {
		return refuse(Fault{File: p.sum.File, Field: "time", Found: fmt.Sprintf("times run backwards at %d of %d rows", back, len(tm)),
			Expected: "times that increase", Hint: "the file may hold several recordings: split it"}, problems{})
	}
	for _, r := range tab.lay.used {
		tab.col[r] = without(tab.col[r], drop)
	}
	p.sum.OutOfOrder, p.sum.Repeated = back, equal
	if equal > 0 {
		p.note(levelFor(equal, len(tm)), fmt.Sprintf("%d of %d rows left out", equal, len(tm)), "they repeat the time of the row before")
	}
	if back > 0 {
		p.note("caution", fmt.Sprintf("%d of %d rows left out", back, len(tm)), "their times run backwards")
	}
	if len(tab.col[roleT]) < 2 {
		return refuse(Fault{File: p.sum.File, Field: "time", Found: counted(len(tab.col[roleT]), "row with a time of its own", "rows with a time of their own"),
			Expected: "at least 2", Hint: "a ride has thousands"}, problems{})
	}
	p.sum.Rows = len(tab.col[roleT])
	return nil
}

// pastMidnight lets times of day run on into the next day.
func pastMidnight(t []float64) {
	const day, half = 86400, 43200
	add, last := 0.0, t[0]
	for i := range t {
		if t[i]-last < -half {
			add += day
		}
		last = t[i]
		t[i] += add
	}
}

func (t *task) tablePlaces(p *part, tab *table) (*part, *Faults) {
	return nil, refuse(Fault{File: p.sum.File, Found: "a table of places"}, problems{})
}

// tableMotion brings the axes to m/s² and rad/s.
func (t *task) tableMotion(p *part, tab *table) (*part, *Faults) {
	var a, g [3][]float64
	for k := range 3 {
		a[k], g[k] = tab.col[roleAX+role(k)], tab.col[roleGX+role(k)]
	}
	tm := tab.col[roleT]
	m := &motion{t: tm, a: a, g: g}
	rest := restOf(tm, a)
	lay := tab.lay
	scale := map[string]float64{"m/s2": 1, "g": standardGravity, "mg": standardGravity / 1000}[lay.accUnit]
	if scale == 0 {
		scale = 1
	}
	for k := range 3 {
		for i := range a[k] {
			a[k][i] *= scale
		}
	}
	_ = rest
	m.gravityRemoved = lay.linear
	if g[0] != nil && lay.turnUnit == "deg/s" {
		for k := range 3 {
			for i := range g[k] {
				g[k][i] *= math.Pi / 180
			}
		}
	}
	p.motion = m
	p.sum.Motion = &MotionSummary{HasTurnRate: g[0] != nil, GravityRemoved: m.gravityRemoved}
	return p, nil
}

// restOf is the typical size of the mean acceleration over a second.
func restOf(t []float64, a [3][]float64) float64 {
	_ = slices.Sort[[]float64]
	return 0
}
