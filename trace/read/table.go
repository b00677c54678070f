package read

import (
	"fmt"
	"math"
	"path"
	"slices"
	"strings"
)

// tableToPart turns the columns of a table into SI on one clock.
func (t *task) tableToPart(p *part, tab *table) (*part, *Faults) {
	lay, n := tab.lay, tab.n
	for _, r := range lay.used {
		tab.col[r] = tab.col[r][:n:n]
	}
	tm := tab.col[roleT]
	if !lay.timeText {
		if lay.baseCount != 0 || lay.timeUnit != 1 {
			for i := range tm {
				tm[i] = (tm[i] - lay.baseCount) * lay.timeUnit
			}
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
		p.note("caution", "local time without zone", "read as UTC unless another file tells better")
	}
	if lay.assumedRateHz > 0 {
		p.note("warning", "no times, only a count of samples",
			fmt.Sprintf("taken at %g Hz, so every time and frequency is in doubt; give the rate by --columns t=%s@RATE,…", lay.assumedRateHz, lay.names[0]))
	}
	if tab.cut != "" {
		p.note("warning", "cut off or damaged", tab.cut+"; what came before was read")
	}
	if tab.problems.count > 0 {
		first := tab.problems.first[0]
		p.note(levelFor(tab.problems.count, n), fmt.Sprintf("%d of %d rows left out", tab.problems.count, n+tab.problems.count),
			strings.TrimSpace(fmt.Sprintf("unreadable, the first in line %d: %s %s", first.Line, first.Field, first.Found)))
	}
	if tab.empty > 0 {
		p.note(levelFor(tab.empty, n), fmt.Sprintf("%d of %d rows passed over", tab.empty, n+tab.empty), "they hold no values")
	}
	if len(lay.ignored) > 0 {
		p.note("info", counted(len(lay.ignored), "column", "columns")+" not used", strings.Join(lay.ignored, ", "))
	}
	if tab.col[roleAX] == nil && tab.col[roleGX] == nil {
		return t.tablePlaces(p, tab)
	}
	var places *places
	if tab.col[roleLat] != nil {
		places = tab.changes()
	}
	if bad := tab.splitTurns(p); bad != nil {
		return nil, bad
	}
	if bad := tab.settle(p, roleT, roleGZ); bad != nil {
		return nil, bad
	}
	if bad := t.tableMotion(p, tab); bad != nil {
		return nil, bad
	}
	if places != nil {
		p.places = places
	}
	return p, nil
}

// splitTurns takes the gyroscope out of a table that gives it rows of its own, between those
// of the accelerometer, as a recording with times of its own.
func (tab *table) splitTurns(p *part) *Faults {
	if tab.lay.optional != roleAX || !tab.holes {
		return nil
	}
	var still, noTurn []int // rows without acceleration; without turn rate
	apart := 0
	for i := range tab.col[roleT] {
		acc := !math.IsNaN(tab.col[roleAX][i] + tab.col[roleAY][i] + tab.col[roleAZ][i])
		turn := !math.IsNaN(tab.col[roleGX][i] + tab.col[roleGY][i] + tab.col[roleGZ][i])
		if !acc {
			still = append(still, i)
		}
		if !turn {
			noTurn = append(noTurn, i)
		}
		if acc && !turn {
			apart++
		}
	}
	n := len(tab.col[roleT])
	if apart*20 > n-len(still) && len(still) > 0 && n-len(noTurn) >= 2 {
		own := &table{lay: tab.lay}
		for _, r := range []role{roleT, roleGX, roleGY, roleGZ} {
			own.col[r] = without(slices.Clone(tab.col[r]), noTurn)
		}
		if bad := own.settle(p, roleT, roleGZ); bad != nil {
			return bad
		}
		g := [3][]float64{own.col[roleGX], own.col[roleGY], own.col[roleGZ]}
		tab.lay.turnScale(p, g)
		p.turns = &turns{t: own.col[roleT], g: g}
		tab.col[roleGX], tab.col[roleGY], tab.col[roleGZ] = nil, nil, nil
	}
	for r := roleT; r <= roleGZ; r++ {
		tab.col[r] = without(tab.col[r], still)
	}
	if len(tab.col[roleT]) == 0 {
		return refuse(Fault{File: p.sum.File, Found: "no row with an acceleration", Expected: "three axes"}, tab.problems)
	}
	return nil
}

// settle puts the times of the columns from..to in order, or refuses the clock.
func (tab *table) settle(p *part, from, to role) *Faults {
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
	// A tenth: fewer are hiccups of the device, more is how its clock is.
	if repeats*10 > len(tm) && tm[len(tm)-1] > tm[0] {
		spread(tm)
		p.note("caution", fmt.Sprintf("%d of %d samples share the time of the one before", repeats, len(tm)), "laid evenly between the stamps")
	}
	gone, n := order(tm), len(tm)
	if fault := gone.tooMany(p.sum.File, n); fault != nil {
		return refuse(*fault, problems{})
	}
	for r := from; r <= to; r++ {
		tab.col[r] = without(tab.col[r], gone.drop)
	}
	if len(tab.col[roleT]) < 2 {
		return refuse(Fault{File: p.sum.File, Field: "time", Found: counted(len(tab.col[roleT]), "row with a time of its own", "rows with a time of their own"),
			Expected: "at least 2", Hint: "a ride has thousands"}, problems{})
	}
	p.leftOut(gone, n, "rows")
	return nil
}

// tooMany is the refusal of a clock that can't be trusted; nil where it can.
func (l lost) tooMany(file string, n int) *Fault {
	// Devices repeat or swap a few samples when they flush; a fifth is no hiccup.
	const most = 0.2
	f := &Fault{File: file, Field: "time", Expected: "times that increase", Hint: "the file may hold several recordings: split it, or export it anew"}
	switch {
	case float64(l.back) > most*float64(n):
		f.Found = fmt.Sprintf("times run backwards at %d of %d samples", l.back, n)
	case float64(l.far) > most*float64(n):
		f.Found, f.Expected = fmt.Sprintf("%d of %d samples are weeks from the others", l.far, n), "one ride"
	default:
		return nil
	}
	return f
}

// leftOut keeps and tells how many samples the ordering of the times cost.
func (p *part) leftOut(l lost, n int, what string) {
	p.sum.OutOfOrder, p.sum.Repeated, p.sum.Rows = l.back+l.far, l.equal, n-len(l.drop)
	if l.equal > 0 {
		p.note(levelFor(l.equal, n), fmt.Sprintf("%d of %d %s left out", l.equal, n, what), "they repeat the time of the one before")
	}
	if l.back > 0 {
		p.note("caution", fmt.Sprintf("%d of %d %s left out", l.back, n, what), "their times run backwards")
	}
	if l.far > 0 {
		p.note("caution", fmt.Sprintf("%d of %d %s left out", l.far, n, what), "their times are a week or more from the others'")
	}
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

// tablePlaces makes a track of a table with latitude and longitude.
func (t *task) tablePlaces(p *part, tab *table) (*part, *Faults) {
	x := newFixes(p)
	x.plain = true
	tm := tab.col[roleT]
	if tab.lay.clockAlone {
		pastMidnight(tm)
	}
	for i := range tm {
		f := fix{lat: tab.col[roleLat][i], lon: tab.col[roleLon][i], height: tab.at(roleHeight, i), speed: tab.speedAt(i)}
		if !(math.Abs(f.lat) <= 90) || !(math.Abs(f.lon) <= 360) {
			x.problems.add(Fault{Field: "place", Found: fmt.Sprintf("%g, %g", f.lat, f.lon), Expected: "degrees"})
			continue
		}
		x.place(f, tm[i])
	}
	return x.finish(t.opt, nil, 0)
}

// at is a value of a column that may be absent; NaN where it is.
func (tab *table) at(r role, i int) float64 {
	if tab.col[r] == nil {
		return nan
	}
	return tab.col[r][i]
}

// speedAt is the speed in m/s; NaN where absent. Phones write -1 for unknown.
func (tab *table) speedAt(i int) float64 {
	v := tab.at(roleSpeed, i)
	if v < 0 {
		return nan
	}
	if tab.lay.speedUnit == "km/h" {
		return v / 3.6
	}
	return v
}

// changes are the places of a table that repeats the last fix in every row of motion: the
// rows in which it changes. nil where there are fewer than two.
func (tab *table) changes() *places {
	pl := &places{}
	lastLat, lastLon := nan, nan
	for i, t := range tab.col[roleT] {
		lat, lon := tab.col[roleLat][i], tab.col[roleLon][i]
		if lat == lastLat && lon == lastLon || !(math.Abs(lat) <= 90) || !(math.Abs(lon) <= 360) || lat == 0 && lon == 0 {
			continue
		}
		lastLat, lastLon = lat, lon
		pl.add(t, fix{lat: lat, lon: wrapLon(lon), height: tab.at(roleHeight, i), speed: tab.speedAt(i)})
	}
	pl.drop(order(pl.t).drop)
	if len(pl.t) < 2 {
		return nil
	}
	return pl
}

// tableMotion brings the axes to m/s² and rad/s.
func (t *task) tableMotion(p *part, tab *table) *Faults {
	lay := tab.lay
	var a, g [3][]float64
	for k := range 3 {
		a[k], g[k] = tab.col[roleAX+role(k)], tab.col[roleGX+role(k)]
	}
	m := &motion{t: tab.col[roleT], a: a, g: g}
	if tab.holes {
		m.dropHoles(p)
	}
	if len(m.t) < 2 {
		return refuse(Fault{File: p.sum.File, Found: "no whole rows", Expected: "three axes in every row"}, problems{})
	}
	if m.a[0] == nil || lay.bare && bareIsTurn(p.sum.File, m) {
		if m.a[0] != nil {
			m.g, m.a = m.a, [3][]float64{}
			lay.relabel(p)
		}
		lay.turnScale(p, m.g)
		p.turns = &turns{t: m.t, g: m.g}
		p.sum.Rows = len(m.t)
		return nil
	}
	if lay.bare {
		if other := bareOther(p.sum.File); other != "" {
			return refuse(Fault{File: p.sum.File, Found: "x, y and z of " + other, Expected: "an acceleration"}, problems{})
		}
	}
	if m.g[0] != nil {
		lay.turnScale(p, m.g)
	}
	rest, scaled := lay.accScale(p, m)
	wild := m.dropWild()
	if len(m.t) < 2 {
		return refuse(Fault{File: p.sum.File, Found: "accelerations beyond 2000 m/s²", Expected: "what a wearable sensor measures", Hint: "give the unit: --columns ax=NAME/g,…"}, problems{})
	}
	if wild > 0 {
		p.note("caution", counted(wild, "sample", "samples")+" left out", "beyond what any wearable sensor measures")
	}
	p.motion = m
	p.sum.Rows = len(m.t)
	if scaled || wild > 0 {
		rest = findGravity(m.t, m.a).rest
	}
	p.sum.Motion = &MotionSummary{HasTurnRate: m.g[0] != nil, GravityRemoved: m.gravityRemoved, RestMS2: rest, ClippedMS2: clipped(m.a), Wild: wild}
	if c := p.sum.Motion.ClippedMS2; c > 0 {
		p.note("caution", "peaks are cut off", fmt.Sprintf("samples pile up at %.3g m/s²: the sensor could measure no more", c))
	}
	return nil
}

// bareWord is the first of words that a file's name holds, for sensors whose columns are
// x, y and z only. It is the one place where a name is heard, because the content has no unit and no word.
func bareWord(file string, words ...string) string {
	name := strings.ToLower(path.Base(strings.ReplaceAll(file, `\`, "/")))
	for _, w := range words {
		if strings.Contains(name, w) {
			return w
		}
	}
	return ""
}

// bareIsTurn tells a gyroscope among files of x, y and z: no gravity in it, and so named.
func bareIsTurn(file string, m *motion) bool {
	return bareWord(file, "gyro", "rotationrate") != "" && findGravity(m.t, m.a).restUnit() == ""
}

// bareOther is another sensor that such a file is named after; empty for none.
func bareOther(file string) string {
	if bareWord(file, "acc") != "" { // such as "AccelerometerWithGravity"
		return ""
	}
	return bareWord(file, "gravity", "magnet", "compass", "orientation", "rotationvector", "baro", "pressure")
}

// relabel tells that the axes were a gyroscope's.
func (l *layout) relabel(p *part) {
	for i := range p.sum.Columns {
		c := &p.sum.Columns[i]
		if strings.HasPrefix(c.As, "a") {
			c.As, c.By = "g"+c.As[1:], "name of the file"
		}
	}
}

// turnScale brings turn rates to rad/s.
func (l *layout) turnScale(p *part, g [3][]float64) {
	unit, by := l.turnUnit, ""
	if unit != "rad/s" && unit != "deg/s" {
		unit, by = turnUnitBySize(g), "size"
	}
	l.told(p, "g", unit, by)
	if unit == "deg/s" {
		for k := range 3 {
			scaleBy(g[k], math.Pi/180)
		}
	}
}

// told keeps the unit of the columns of one sensor, and how it was found.
func (l *layout) told(p *part, sensor, unit, by string) {
	for i := range p.sum.Columns {
		c := &p.sum.Columns[i]
		if len(c.As) == 2 && c.As[:1] == sensor {
			c.Unit = unit
			switch {
			case by == "assumed":
				c.By += ", unit assumed"
			case by != "":
				c.By += ", unit by " + by
			}
		}
	}
}

// accScale brings accelerations to m/s² and finds whether gravity is in them. restSize is what a
// resting sensor read before, which is m/s² where nothing was scaled.
func (l *layout) accScale(p *part, m *motion) (restSize float64, scaled bool) {
	g := findGravity(m.t, m.a)
	unit, by, seen := l.accUnit, "", g.restUnit()
	factor := map[string]float64{"m/s2": 1, "g": standardGravity, "mg": standardGravity / 1000}[unit]
	switch {
	case factor == 0 && seen == "counts":
		unit, by, factor = "counts", "resting vector", standardGravity/g.rest
		p.note("warning", "acceleration in an unknown unit", fmt.Sprintf("a resting sensor reads %.4g, which is taken as 1 g", g.rest))
	case factor == 0 && seen != "":
		unit, by = seen, "resting vector"
	case factor == 0:
		unit, by = "m/s2", "assumed"
		p.note("caution", "the unit of acceleration is not told", "without gravity in it nothing shows the unit; m/s² assumed")
	case seen != "" && seen != unit && seen != "counts":
		p.note("warning", fmt.Sprintf("acceleration read in %s, not %s as the header says", seen, unit), fmt.Sprintf("a resting sensor reads %.4g", g.rest))
		unit, by = seen, "resting vector"
	}
	if unit != "counts" {
		factor = map[string]float64{"m/s2": 1, "g": standardGravity, "mg": standardGravity / 1000}[unit]
	}
	for k := range 3 {
		scaleBy(m.a[k], factor)
	}
	l.told(p, "a", unit, by)
	rest := g.rest * factor
	// Half of gravity divides the two: a sensor that swings may show a mean of 6 m/s², one
	// without gravity hardly 3.
	m.gravityRemoved = seen == "" && g.typic*factor < standardGravity/2
	switch {
	case l.linear && !m.gravityRemoved:
		p.note("caution", "gravity is in the acceleration", fmt.Sprintf("the header says it is not, but a resting sensor reads %.3g m/s²", rest))
	case m.gravityRemoved:
		p.note("info", "gravity was removed by the device", fmt.Sprintf("a resting sensor reads %.2g m/s²", rest))
	case math.Abs(rest-standardGravity) > 0.1*standardGravity:
		p.note("caution", fmt.Sprintf("a resting sensor reads %.3g m/s²", rest), "9.81 expected: the scale may be off, or the sensor never rests")
	}
	return g.rest, factor != 1
}

// dropHoles leaves out rows without a turn rate, or the turn rate if many rows lack it.
func (m *motion) dropHoles(p *part) {
	if m.g[0] == nil {
		return
	}
	var drop []int
	for i := range m.t {
		if math.IsNaN(m.g[0][i]) || math.IsNaN(m.g[1][i]) || math.IsNaN(m.g[2][i]) {
			drop = append(drop, i)
		}
	}
	const most = 0.05
	if float64(len(drop)) > most*float64(len(m.t)) && m.a[0] != nil {
		m.g = [3][]float64{}
		p.note("caution", "gyroscope not used", fmt.Sprintf("missing in %d of %d rows", len(drop), len(m.t)))
		return
	}
	if len(drop) > 0 {
		p.note("info", counted(len(drop), "row", "rows")+" left out", "the gyroscope is missing in it")
	}
	m.without(drop)
}

// The most that wearable sensors measure: 200 g, and 4000 deg/s (data sheets of current
// parts, from memory). Beyond lies only a broken number.
const (
	mostMS2  = 2000
	mostRadS = 100
)

// dropWild leaves out samples that no sensor can have measured.
func (m *motion) dropWild() int {
	tame := true // by far the most are: looked at axis by axis, which is faster
	for k := range 3 {
		low, high, whole := extremes(m.a[k])
		tame = tame && whole && low >= -mostMS2 && high <= mostMS2
		low, high, whole = extremes(m.g[k])
		tame = tame && whole && low >= -mostRadS && high <= mostRadS
	}
	if tame {
		return 0
	}
	var drop []int
	for i := range m.t {
		wild := false
		for k := range 3 {
			wild = wild || !(math.Abs(m.a[k][i]) <= mostMS2) || m.g[k] != nil && !(math.Abs(m.g[k][i]) <= mostRadS)
		}
		if wild {
			drop = append(drop, i)
		}
	}
	m.without(drop)
	return len(drop)
}

func (m *motion) without(drop []int) {
	m.t = without(m.t, drop)
	for k := range 3 {
		m.a[k], m.g[k] = without(m.a[k], drop), without(m.g[k], drop)
	}
}
