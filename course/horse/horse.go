// Package horse is the model of one horse: what rides measured of it, with what is known of horses beforehand
// (package prior), made one estimate of its stride, stride time, pace, landing and take-off, and of what slope, home and
// pace do to the stride.
//
// A ride's lines are not independent: they share the day, the ground, the rider's plan and the recording's error. So each
// figure is a mixed model ([Mixed]): lines within rides within the horse. The debrief of one ride, the horse's record,
// the comparison of rides and the walk of a course all ask [Of], so that they say the same of the same rides.
package horse

import (
	"errors"
	"fmt"
	"math"

	"groundline/course"
	"groundline/course/prior"
	"groundline/trace"
)

// ErrNoLine is returned where no related or bending line was ridden whose strides were measured.
var ErrNoLine = errors.New("no related or bending line whose strides were counted and measured, which is what shows a horse's stride")

// Usual is a horse's usual way of going. A nil figure is one that the rides don't show.
type Usual struct {
	// StrideM is the canter stride on related and bending lines, hind contact to hind contact, on level ground and square
	// to home; StrideS its time; SpeedMS the pace there; TurnMS the pace of rollbacks.
	StrideM, StrideS, SpeedMS, TurnMS *Level
	// LandingM is from an obstacle's back to the fore hooves, TakeoffM from the hind hooves to its front.
	LandingM, TakeoffM *Level
	// StridePerMS is by how much the stride grows for each m/s of pace, m.
	StridePerMS trace.Estimate
	// HomewardRel and GradeRel are the parts of its length that the stride gains straight towards home, and for each
	// metre of rise a metre.
	HomewardRel, GradeRel trace.Estimate

	rides Rides
}

// Level is a figure over rides.
type Level struct {
	// Mean is the horse's own; NextRide where the next ride's own level is expected, nine times in ten.
	Mean, NextRide trace.Estimate
	// Between is by how much rides differ beyond what lines and recordings explain, as a standard deviation; nil with
	// fewer than three rides, which hardly show it. LineSD is the same from line to line (jump to jump) of one ride,
	// MeasuredSD the recordings' own error of one line.
	Between            *trace.Estimate
	LineSD, MeasuredSD float64
	N, Rides           int // lines or jumps, and recordings
	// Own are the rides' own levels, by ride.
	Own map[int]trace.Estimate
}

// Of is what rides show of their horse.
//
// The stride is a mean over lines with what is known beforehand of slope, home and unrelated stretches; a line counts by how
// well it was measured, by what the stride differs from line to line, and by its number of strides, since a whole
// number had to fit the ground. Stride time and pace are means likewise, landing and take-off over the jumps. A size's
// strides, where Rides has one, are known beforehand, to a tenth.
func Of(r Rides) Usual {
	u := Usual{rides: r, HomewardRel: normal(prior.HomewardRel()), GradeRel: normal(prior.GradeRel())}
	if f, ok := strideModel(r, -1); ok {
		u.StrideM = level(f.fit, 0)
		if m := f.scale; m > 0 {
			u.HomewardRel = share(f.fit.At(0, 0, 1, 0), m)
			u.GradeRel = share(f.fit.At(0, 0, 0, 1), m)
		}
	}
	u.StrideS = u.figure(func(l Line) *trace.Estimate { return l.StrideS }, prior.StrideLineS().SD, false)
	u.SpeedMS = u.figure(func(l Line) *trace.Estimate { return l.SpeedMS }, 0, true)
	u.TurnMS = u.turns()
	u.LandingM = u.hooves(func(j Jump) *trace.Estimate { return j.LandingM })
	u.TakeoffM = u.hooves(func(j Jump) *trace.Estimate { return j.TakeoffM })
	u.StridePerMS = stridePerMS(r, u.SpeedMS, u.StrideS)
	return u
}

// normal is a figure known beforehand with its 90 % interval.
func normal(f prior.Figure) trace.Estimate { return trace.FromSD(f.Value, f.SD) }

// share is an estimate in parts of m.
func share(e trace.Estimate, m float64) trace.Estimate {
	return trace.Estimate{Value: e.Value / m, Low: e.Low / m, High: e.High / m}
}

// level is the fit's level, with an error that all rides have in common.
func level(f Fitted, sharedSD float64) *Level {
	x := make([]float64, len(f.parts[0].beta))
	x[0] = 1
	more := func(e trace.Estimate) trace.Estimate {
		if sharedSD > 0 {
			e.Low, e.High = e.Value-math.Hypot(e.Value-e.Low, z90*sharedSD), e.Value+math.Hypot(e.High-e.Value, z90*sharedSD)
		}
		return trace.Estimate{Value: max(0, e.Value), Low: max(0, e.Low), High: max(0, e.High)}
	}
	out := &Level{Mean: more(f.At(x...)), NextRide: more(f.Next(x...)), LineSD: f.LineSD, MeasuredSD: f.MeasureSD, N: f.Rows, Rides: f.Rides,
		Own: map[int]trace.Estimate{}}
	if f.Rides >= 3 {
		b := f.Between()
		out.Between = &b
	}
	for i, e := range f.Owns() {
		out.Own[i] = more(e)
	}
	return out
}

// LevelOf is the level of rows, with an error that all rides have in common; nil without rows.
func LevelOf(rows []Row, before Before, sharedSD float64) *Level {
	f, ok := Mixed(rows, before)
	if !ok {
		return nil
	}
	return level(f, sharedSD)
}

// strideWorth is how many lines the priors of the spreads between lines count for: they have been seen over many horses.
const strideWorth = 12

// strides is the model of the stride: over level, unrelated stretch, home and slope.
type strides struct {
	fit   Fitted
	scale float64 // the rows' mean stride, m
}

// strideModel fits the stride over all lines but one (-1: none left out).
func strideModel(r Rides, without int) (strides, bool) {
	ids, again := wayIDs(r, without)
	var rows []Row
	var sum float64
	for i, l := range r.Lines {
		if i == without || l.StrideM == nil || l.StrideM.Value < leastFigure || !l.ShowsUsual() {
			continue
		}
		own, shared := l.pieces()
		v := l.StrideM.Value
		// Rides of the same line on the same number share what the whole number leaves open.
		open := prior.WholeStrides().SD / l.Strides.Value * math.Sqrt(float64(again[i]))
		rows = append(rows, Row{Ride: l.Ride, Line: ids[i], X: []float64{1, r.unrelated(l), orZero(l.Homeward), orZero(l.Grade)},
			Y: v, SD: own * v, Spread: open * v, SharedSD: shared * v})
		sum += v
	}
	if len(rows) == 0 {
		return strides{}, false
	}
	m := sum / float64(len(rows))
	before := ByLine(prior.LineRel().SD * m)
	before.Worth, before.RideSD = strideWorth, prior.RideRel().SD*m
	rel := func(f prior.Figure) Normal { return Normal{f.Value * m, f.SD * m} }
	before.Coef = []Normal{{}, rel(prior.UnrelatedRel()), rel(prior.HomewardRel()), rel(prior.GradeRel())}
	if r.Size != nil {
		before.Coef[0] = sizePrior(r.Size)
	}
	f, ok := Mixed(rows, before)
	return strides{f, m}, ok
}

// sizePrior is the stride at the hooves of a horse of that size, as known beforehand.
func sizePrior(p *course.Profile) Normal {
	return Normal{p.StrideM * prior.SizeRel().Value, p.StrideM * prior.SizeRel().SD}
}

// unrelated is 1 for a stretch that is no line to be ridden on a number of strides, 0 for one that is, or may be: of a
// ride without a plan nobody knows.
func (r Rides) unrelated(l Line) float64 {
	if l.onALine() {
		return 0
	}
	for _, other := range r.Lines {
		if other.Ride == l.Ride && other.Kind != course.Between {
			return 1
		}
	}
	return 0
}

// wayIDs number the lines by their ground, -1 where it is not known, and count how often each was ridden on the same number
// of strides.
func wayIDs(r Rides, without int) (ids, again []int) {
	type key struct {
		way string
		n   int
	}
	seen, count := map[string]int{}, map[key]int{}
	ids, again = make([]int, len(r.Lines)), make([]int, len(r.Lines))
	for i, l := range r.Lines {
		ids[i] = -1
		if l.Way == "" {
			continue
		}
		if _, ok := seen[l.Way]; !ok {
			seen[l.Way] = len(seen)
		}
		ids[i] = seen[l.Way]
		if i != without {
			count[key{l.Way, l.whole()}]++
		}
	}
	for i, l := range r.Lines {
		again[i] = 1
		if l.Way != "" {
			again[i] = max(1, count[key{l.Way, l.whole()}])
		}
	}
	return ids, again
}

// figure is the level of a figure of lines; lineSD is by how much lines of one ride differ, zero for a part of the
// figure as paces do. slower takes unrelated stretches to be ridden slower.
func (u Usual) figure(of func(Line) *trace.Estimate, lineSD float64, slower bool) *Level {
	ids, _ := wayIDs(u.rides, -1)
	var rows []Row
	var sum float64
	for i, l := range u.rides.Lines {
		e := of(l)
		if e == nil || e.Value < leastFigure || !l.ShowsUsual() {
			continue
		}
		row := Mean([]float64{1}, l.Ride, ids[i], *e)
		if !slower && !l.Counted {
			// An estimated stride time is one figure of its whole ride.
			row.SD = min(row.SD, lineSD)
			row.SharedSD = math.Sqrt(max(0, e.SD()*e.SD()-row.SD*row.SD))
		}
		if slower {
			row.X = []float64{1, u.rides.unrelated(l)}
		}
		rows = append(rows, row)
		sum += e.Value
	}
	if len(rows) == 0 {
		return nil
	}
	m := sum / float64(len(rows))
	if lineSD == 0 {
		lineSD = prior.PaceLineRel().SD * m
	}
	before := ByLine(lineSD)
	before.Worth = strideWorth
	if slower {
		before.Coef = []Normal{{}, {prior.UnrelatedRel().Value * m, prior.UnrelatedRel().SD * m}}
	}
	return LevelOf(rows, before, 0)
}

// turns is the pace of rollbacks.
func (u Usual) turns() *Level {
	var rows []Row
	var sum float64
	ids, _ := wayIDs(u.rides, -1)
	for i, l := range u.rides.Lines {
		if l.Kind == course.Rollback && l.SpeedMS != nil && l.SpeedMS.Value >= leastFigure {
			rows = append(rows, Mean([]float64{1}, l.Ride, ids[i], *l.SpeedMS))
			sum += l.SpeedMS.Value
		}
	}
	if len(rows) == 0 {
		return nil
	}
	return LevelOf(rows, ByLine(prior.PaceLineRel().SD*sum/float64(len(rows))), 0)
}

// hooves is the level of landing or take-off distance.
func (u Usual) hooves(of func(Jump) *trace.Estimate) *Level {
	seen := map[string]int{}
	var rows []Row
	for _, j := range u.rides.Jumps {
		e := of(j)
		if e == nil {
			continue
		}
		id := -1
		if j.Obstacle != "" {
			if _, ok := seen[j.Obstacle]; !ok {
				seen[j.Obstacle] = len(seen)
			}
			id = seen[j.Obstacle]
		}
		rows = append(rows, Mean([]float64{1}, j.Ride, id, *e))
	}
	return LevelOf(rows, ByLine(prior.HoofJumpM().SD), prior.HoofSharedM().SD)
}

// stridePerMS is by how much the stride grows with the pace. A stride is pace times time, so it grows by its time, and by the
// pace times what the pace does to the time; only that little is fitted, the time over the pace within rides. An error of
// the measured pace flattens the fit; so each pace enters as what is expected of the true one: drawn to its ride's mean by
// the part of the scatter that is measurement (regression calibration: Carroll et al. 2006, Measurement Error in Nonlinear
// Models, ch. 4; from memory).
func stridePerMS(r Rides, pace, time *Level) trace.Estimate {
	t, v := normal(prior.StrideS()), trace.FromSD(5.5, 0.4)
	if time != nil {
		t = time.Mean
	}
	if pace != nil {
		v = pace.Mean
	}
	type at struct{ v, t, sd, vSD float64 }
	byRide := map[int][]at{}
	for _, l := range r.Lines {
		// An estimated stride time was itself made with the prior, and shows nothing of it.
		if l.Counted && l.ShowsUsual() && l.SpeedMS != nil && l.StrideS != nil {
			byRide[l.Ride] = append(byRide[l.Ride], at{l.SpeedMS.Value, l.StrideS.Value, l.StrideS.SD(), l.SpeedMS.SD()})
		}
	}
	// The scatter of the paces within rides, and how much of it is measured.
	var ss, df, err2 float64
	for ride := range r.Rides {
		all := byRide[ride]
		var m float64
		for _, a := range all {
			m += a.v / float64(len(all))
		}
		for _, a := range all {
			ss, err2 = ss+(a.v-m)*(a.v-m), err2+a.vSD*a.vSD
		}
		df += max(0, float64(len(all)-1))
	}
	perPace := normal(prior.StrideSPerMS())
	if df > 0 {
		n := 0
		for _, all := range byRide {
			n += len(all)
		}
		noise := err2 / float64(n)
		truly := max(0, ss/df-noise)
		var rows []Row
		for ride := range r.Rides {
			all := byRide[ride]
			var m float64
			for _, a := range all {
				m += a.v / float64(len(all))
			}
			for _, a := range all {
				k := 0.0
				if truly > 0 {
					k = truly / (truly + a.vSD*a.vSD)
				}
				rows = append(rows, Row{Ride: ride, Line: -1, X: []float64{1, k * (a.v - m)}, Y: a.t, SD: a.sd})
			}
		}
		before := ByLine(prior.StrideLineS().SD)
		before.Coef = []Normal{{}, {prior.StrideSPerMS().Value, prior.StrideSPerMS().SD}}
		if f, ok := Mixed(rows, before); ok {
			perPace = f.At(0, 1)
		}
	}
	return trace.FromSD(t.Value+v.Value*perPace.Value, math.Sqrt(t.SD()*t.SD()+sq(v.Value*perPace.SD())+sq(perPace.Value*v.SD())))
}

// StrideAt is the horse's stride at a pace, m/s.
func (u Usual) StrideAt(speedMS float64) *trace.Estimate {
	if u.StrideM == nil || u.SpeedMS == nil {
		return nil
	}
	by := speedMS - u.SpeedMS.Mean.Value
	e := trace.FromSD(u.StrideM.Mean.Value+by*u.StridePerMS.Value, math.Hypot(u.StrideM.Mean.SD(), by*u.StridePerMS.SD()))
	return &e
}

// Course is the horse as a walk takes it. The error is [ErrNoLine].
func (u Usual) Course() (course.Horse, error) {
	lines := 0
	for _, l := range u.rides.Lines {
		if l.onALine() && l.StrideM != nil && l.StrideM.Value > 0 && l.whole() >= 1 {
			lines++
		}
	}
	if lines == 0 || u.StrideM == nil {
		return course.Horse{}, ErrNoLine
	}
	usual := u.StrideM.Mean
	jumps := 0
	for _, j := range u.rides.Jumps {
		if j.LandingM != nil && j.TakeoffM != nil {
			jumps++
		}
	}
	source := fmt.Sprintf("measured on %s, %s and %s", plural(lines, "line"), plural(jumps, "jump"), plural(u.rides.Rides, "recording"))
	h := course.Horse{Name: u.rides.Name, StrideM: usual, LineSDRel: prior.LineRel().SD}
	if u.LandingM != nil && u.TakeoffM != nil {
		landing, takeoff := asOnTheGround(u.LandingM.Mean, u.TakeoffM.Mean, u.rides.Lines)
		h = course.HorseFromHooves(u.rides.Name, usual, landing, takeoff)
	} else {
		half := trace.Estimate{Value: usual.Value / 2, Low: 0.4 * usual.Value, High: 0.6 * usual.Value}
		h.LandingM, h.TakeoffM = half, half
		source += "; landing and take-off, which they don't show, half a stride each as in the distance tables"
	}
	h.Source = source
	if u.rides.Size != nil {
		h.Size = u.rides.Size.Name
	}
	home, grade, per := u.HomewardRel, u.GradeRel, u.StridePerMS
	h.HomewardRel, h.GradeRel, h.StridePerMS = &home, &grade, &per
	mean := func(l *Level) *trace.Estimate {
		if l == nil {
			return nil
		}
		e := l.Mean
		return &e
	}
	h.SpeedMS, h.TurnMS, h.StrideS = mean(u.SpeedMS), mean(u.TurnMS), mean(u.StrideS)
	return h, nil
}

// asOnTheGround are landing and take-off with what the straight lines show of their sum: ground less strides less the way
// from the fore hooves' landing to the hind hooves'. The two sources are weighed by their errors, and both edges moved
// alike, so that the horse's edges and strides come out as on the ground, whatever the recording's bias.
func asOnTheGround(landing, takeoff trace.Estimate, lines []Line) (trace.Estimate, trace.Estimate) {
	// The strides' lengths of one horse are all measured on the same pace: part of their error is shared.
	const sharedSDM, tapeM = 0.2, 0.1
	getaway := prior.Getaway()
	var sum, weight float64
	for _, l := range lines {
		if l.GroundM == nil || l.Kind != course.Related || l.StrideM == nil || l.whole() < 1 {
			continue
		}
		n := l.Strides.Value + getaway.Value
		sd := math.Hypot(math.Hypot(n*l.StrideM.SD(), l.Strides.SD()*l.StrideM.Value), math.Hypot(tapeM, getaway.SD*l.StrideM.Value))
		sum += (*l.GroundM - n*l.StrideM.Value) / (sd * sd)
		weight += 1 / (sd * sd)
	}
	if weight == 0 {
		return landing, takeoff
	}
	hooves, hoovesSD := landing.Value+takeoff.Value, math.Hypot(landing.SD(), takeoff.SD())
	byLines, byLinesSD := sum/weight, math.Hypot(1/math.Sqrt(weight), sharedSDM)
	k := hoovesSD * hoovesSD / (hoovesSD*hoovesSD + byLinesSD*byLinesSD)
	move := k * (byLines - hooves) / 2
	less := math.Sqrt(1 - k)
	return trace.FromSD(max(0, landing.Value+move), landing.SD()*less), trace.FromSD(max(0, takeoff.Value+move), takeoff.SD()*less)
}

func sq(x float64) float64 { return x * x }

func orZero(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
