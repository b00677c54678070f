package build

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"groundline/course"
	"groundline/course/follow"
	"groundline/course/place"
	"groundline/detect"
	"groundline/report"
	"groundline/report/layout"
	"groundline/trace"
	"groundline/trace/dsp"
)

func (r *ride) tellEfforts() []report.Effort {
	out := []report.Effort{}
	for i, e := range r.res.Efforts {
		m := r.efforts[i]
		id := r.plan.Obstacles[e.Obstacle].ID
		t := report.Effort{Obstacle: &id, Round: number(e.Round), Attempt: e.Attempt, Outcome: string(e.Outcome),
			TakeoffS: m.takeoff, LandingS: m.landing, TakeoffDistanceM: m.toM, LandingDistanceM: m.ldM,
			SpeedMS: m.speed, Confidence: e.Confidence, ObstacleConfidence: e.OfObstacle}
		if e.Outcome == follow.Refused || e.Outcome == follow.RanOut {
			// The moment of it, so that it has its place in time: to about a second.
			at := trace.FromSD(e.MidS, 0.6)
			t.TakeoffS = &at
		}
		t.LeadIn, t.LeadOut = r.leads(m)
		switch {
		case r.path == nil:
		case e.Outcome == follow.Refused || e.Outcome == follow.RanOut:
			t.Approach = r.approachRefused(r.plan.Obstacles[e.Obstacle], e.MidS)
		case m.takeoff != nil:
			t.Approach = r.approach(r.plan.Obstacles[e.Obstacle], m.takeoff.Value)
		}
		out = append(out, t)
	}
	return out
}

// bareEfforts are the jumps of a ride without a plan.
func (r *ride) bareEfforts() []report.Effort {
	out := []report.Effort{}
	if r.ev == nil {
		r.note("info", "no jumps told", "a track alone shows no jump without a plan that says where the obstacles stand")
		return out
	}
	for i := range r.ev.Jumps {
		j := r.ev.Jumps[i]
		if j.Confidence < 0.5 {
			continue
		}
		m := effort{takeoff: &j.TakeoffS, landing: &j.LandingS}
		t := report.Effort{Attempt: 1, Outcome: string(follow.Jumped), TakeoffS: m.takeoff, LandingS: m.landing, Confidence: j.Confidence}
		t.LeadIn, t.LeadOut = r.leads(m)
		if r.path != nil {
			if d, ok := r.path.LengthM(j.TakeoffS.Value, j.LandingS.Value); ok && j.LandingS.Value > j.TakeoffS.Value {
				at, _ := r.path.At((j.TakeoffS.Value + j.LandingS.Value) / 2)
				v := trace.FromSD(d/(j.LandingS.Value-j.TakeoffS.Value), math.Max(at.SpeedSDMS, 0.05))
				t.SpeedMS = &v
			}
		}
		out = append(out, t)
	}
	return out
}

// bareLineS is the longest time between two jumps that is told as a line where nothing else is known: some
// twenty strides.
const bareLineS = 13.0

// bareLines are the ways between the jumps of a ride that has neither a plan nor positions: times and
// strides only.
func (r *ride) bareLines() []report.Line {
	out := []report.Line{}
	if r.ev == nil {
		return out
	}
	r.prior = priorFor()
	prev, n := -1, 0
	for i, j := range r.ev.Jumps {
		if j.Confidence < 0.5 {
			continue
		}
		n++
		if prev >= 0 && j.TakeoffS.Value-r.ev.Jumps[prev].LandingS.Value < bareLineS {
			a := r.ev.Jumps[prev]
			m := leg{durS: j.TakeoffS.Value - a.LandingS.Value, durSD: math.Hypot(j.TakeoffS.SD(), a.LandingS.SD())}
			r.count(&m, prev, i)
			out = append(out, report.Line{From: fmt.Sprintf("jump %d", n-1), To: fmt.Sprintf("jump %d", n), Attempt: 1, Kind: string(course.Between),
				Strides: m.strides, StridesBy: m.by, StrideS: m.strideS, RhythmCV: rhythm(m.beats), StrideLengthsM: []float64{},
				Turn: r.turnByGyro(a.LandingS.Value, j.TakeoffS.Value)})
		}
		prev = i
	}
	if len(out) > 0 {
		r.note("info", "lines by time and strides only", "without a plan and without positions nobody can say which obstacles these were, how far apart, or how long a stride")
	}
	return out
}

func number(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}

// leads are the leads of the last stride before take-off and of the first after landing.
func (r *ride) leads(m effort) (in, out *string) {
	if r.ev == nil || m.takeoff == nil || m.landing == nil {
		return nil, nil
	}
	for _, s := range r.ev.Strides {
		if s.Gait != detect.Canter || s.Lead == detect.LeadUnknown {
			continue
		}
		l := s.Lead.String()
		if s.ToS < m.takeoff.Value+0.1 && s.ToS > m.takeoff.Value-1.2 {
			in = &l
		}
		if out == nil && s.FromS > m.landing.Value-0.1 && s.FromS < m.landing.Value+1.2 {
			out = &l
		}
	}
	return in, out
}

// approachS is how much of the way in is looked at: three strides.
const approachS = 1.8

// approach is how straight the horse came over the last strides, and at what angle.
func (r *ride) approach(o course.Obstacle, takeoffS float64) *report.Approach {
	var pts []place.Sample
	for t := takeoffS - approachS; t <= takeoffS; t += place.StepS {
		s, ok := r.path.At(t)
		if !ok {
			return nil
		}
		pts = append(pts, s)
	}
	if len(pts) < 5 {
		return nil
	}
	last := pts[len(pts)-1]
	angle := course.WrapDeg(last.HeadingDeg() - o.FacingDeg)
	sd := last.SpeedSDMS / math.Max(last.SpeedMS(), 1) * 180 / math.Pi
	an := trace.FromSD(angle, math.Max(sd, 1))
	return &report.Approach{StraightRMSM: straightness(pts), AngleDeg: &an, Straight10M: r.straightOver(takeoffS, 10)}
}

// straightOver is the straightness of the last metres ridden before an instant; nil where the track does not reach back
// so far within ten seconds.
func (r *ride) straightOver(toS, metres float64) *trace.Estimate {
	var pts []place.Sample
	var way float64
	for t := toS; t > toS-10; t -= place.StepS {
		s, ok := r.path.At(t)
		if !ok {
			return nil
		}
		if n := len(pts); n > 0 {
			way += math.Hypot(s.X-pts[n-1].X, s.Y-pts[n-1].Y)
		}
		if pts = append(pts, s); way >= metres {
			slices.Reverse(pts)
			return straightness(pts)
		}
	}
	return nil
}

// straightness is the spread of a way about the best straight line: the root of the least principal value (orthogonal
// regression). pts are at least two.
func straightness(pts []place.Sample) *trace.Estimate {
	n := float64(len(pts))
	var mx, my float64
	for _, p := range pts {
		mx, my = mx+p.X/n, my+p.Y/n
	}
	var sxx, sxy, syy float64
	for _, p := range pts {
		sxx, sxy, syy = sxx+sq(p.X-mx), sxy+(p.X-mx)*(p.Y-my), syy+sq(p.Y-my)
	}
	least := (sxx+syy)/2 - math.Sqrt(sq((sxx-syy)/2)+sq(sxy))
	rms := math.Sqrt(math.Max(least, 0) / n)
	noise := pts[len(pts)-1].PlaceSDM
	return &trace.Estimate{Value: rms, Low: math.Max(0, rms-1.645*noise), High: rms + 1.645*noise}
}

// approachRefused is how the horse came to an obstacle that it did not jump, up to where the pace fell or, if it did not, to the
// obstacle: from where the pace fell, how far from the middle of the face it was heading then, and how straight.
func (r *ride) approachRefused(o course.Obstacle, atS float64) *report.Approach {
	const wayInS, fellTo, leastMS = 6.0, 0.85, 2.0
	sin, cos := math.Sincos(o.FacingDeg * math.Pi / 180)
	// Metres before the obstacle and to the right of its middle, as jumped.
	ahead := func(s place.Sample) (before, right float64) {
		dx, dy := o.At.X-s.X, o.At.Y-s.Y
		return dx*sin + dy*cos, -(dx*cos - dy*sin)
	}
	var pts []place.Sample
	var at []float64
	for t := atS - wayInS; t <= atS; t += place.StepS {
		if s, ok := r.path.At(t); ok {
			if before, _ := ahead(s); before > 0 {
				pts, at = append(pts, s), append(at, t)
			}
		}
	}
	if len(pts) < 5 {
		return nil
	}
	pace := make([]float64, len(pts))
	for i, s := range pts {
		pace[i] = s.SpeedMS()
	}
	usual := dsp.Quantile(pace, 0.75)
	if usual < leastMS {
		return nil
	}
	// The last moment at which it still went at its pace.
	fell := len(pts) - 1
	for fell > 0 && pace[fell] < fellTo*usual {
		fell--
	}
	if fell == 0 {
		return nil
	}
	s := pts[fell]
	before, right := ahead(s)
	out := r.approach(o, at[fell])
	if out == nil {
		out = &report.Approach{}
	}
	// Between two fixes the pace may have fallen anywhere.
	step := 0.5
	if p := r.rec.Positions; p != nil && p.RateHz > 0 {
		step = 0.5 / p.RateHz
	}
	if fell < len(pts)-1 {
		from := trace.FromSD(before, math.Hypot(s.PlaceSDM, usual*step))
		from.Low = math.Max(from.Low, 0)
		out.SlowedFromM = &from
	}
	if vx, vy := s.VX*sin+s.VY*cos, s.VX*cos-s.VY*sin; vx > 0.5*s.SpeedMS() {
		off := trace.FromSD(right+before*vy/vx, math.Hypot(s.PlaceSDM, before*s.SpeedSDMS/math.Max(s.SpeedMS(), 1)))
		out.OffCentreM = &off
	}
	return out
}

func (r *ride) tellLines() []report.Line {
	out := []report.Line{}
	for i, l := range r.res.Legs {
		m := r.legs[i]
		a, b := r.res.Efforts[l.From], r.res.Efforts[l.To]
		oa, ob := r.plan.Obstacles[a.Obstacle], r.plan.Obstacles[b.Obstacle]
		t := report.Line{From: oa.ID, To: ob.ID, Round: number(l.Round), Attempt: l.Attempt, Kind: string(course.Between),
			TrackM: r.hoofTrack(i), Strides: m.strides, StridesBy: m.by, StrideS: m.strideS, StrideLengthM: m.strideM,
			SpeedMS: m.speed, RhythmCV: rhythm(m.beats), StrideLengthsM: []float64{}}
		from, to := r.efforts[l.From].landing.Value, r.efforts[l.To].takeoff.Value
		if l.RouteLine >= 0 {
			pl := r.plan.Lines[l.RouteLine]
			t.Kind = string(pl.Kind)
			d := pl.DistanceM()
			t.DistanceM = &d
			if pl.Kind == course.Related || pl.Kind == course.Bending || pl.Kind == course.Combination {
				n := course.PlannedStrides(d, course.StandardStrideM, math.Max(oa.HeightM, ob.HeightM))
				if !r.found { // a plan of the jumps themselves meant no number
					t.PlannedStrides = &n
				}
			}
		}
		if r.path == nil {
			t.Turn = r.turnByGyro(from, to)
		} else {
			t.SpeedInMS, t.SpeedOutMS, t.SpeedDriftMS = r.ends(from, to)
			t.Turn = r.turn(from, to)
			t.StrideLengthsM = r.strideLengths(m, from, to)
		}
		t.Grade, t.Homeward = r.ground(from, to, oa, ob)
		out = append(out, t)
	}
	if r.path == nil && len(out) > 0 {
		r.note("info", "no track and no speeds on turning lines", "the recording has no positions, so no radius and no pace along the way; on straight lines speed and stride length come from the plan's distance and the time")
	}
	return out
}

// hoofTrack is the way from the fore hooves at landing to the hind hooves at take-off: what the sensor
// flew less what the hooves reach beyond it.
func (r *ride) hoofTrack(i int) *trace.Estimate {
	p := r.legs[i].pathM
	if p == nil {
		return nil
	}
	e := trace.FromSD(p.Value-r.prior.hoofM, math.Hypot(p.SD(), r.prior.hoofSDM))
	e.Low = math.Max(e.Low, 0)
	e.Value = math.Max(e.Value, 0)
	return &e
}

// rhythm is the coefficient of variation of the stride time, the beats' own jitter taken out, with an
// interval from the chi-square distribution of a variance.
func rhythm(beats []float64) *trace.Estimate {
	n := len(beats) - 1
	if n < 3 {
		return nil
	}
	var mean, ss float64
	for i := range n {
		mean += (beats[i+1] - beats[i]) / float64(n)
	}
	for i := range n {
		ss += sq(beats[i+1] - beats[i] - mean)
	}
	v := ss / float64(n-1)
	// A load peak is found to about 3 ms at 100 Hz; two of them bound a stride.
	const jitterS = 0.003
	chi := distuv.ChiSquared{K: float64(n - 1)}
	cv := func(v float64) float64 { return math.Sqrt(math.Max(v-2*jitterS*jitterS, 0)) / mean }
	return &trace.Estimate{Value: cv(v), Low: cv(ss / chi.Quantile(0.95)), High: cv(ss / chi.Quantile(0.05))}
}

// endsS is how long the way in and the way out are: two strides.
const endsS = 1.2

// ends are the mean speeds over the first and the last strides of a line, and the one less the other.
func (r *ride) ends(from, to float64) (in, out, drift *trace.Estimate) {
	d := math.Min(endsS, (to-from)/2)
	if d < 0.4 {
		return nil, nil, nil
	}
	mean := func(a, b float64) (v, sd float64, ok bool) {
		l, ok := r.path.LengthM(a, b)
		at, ok2 := r.path.At((a + b) / 2)
		return l / (b - a), at.SpeedSDMS, ok && ok2
	}
	v1, s1, ok1 := mean(from, from+d)
	v2, s2, ok2 := mean(to-d, to)
	if !ok1 || !ok2 {
		return nil, nil, nil
	}
	a, b, c := trace.FromSD(v1, s1), trace.FromSD(v2, s2), trace.FromSD(v2-v1, math.Hypot(s1, s2))
	return &a, &b, &c
}

// turn is how the line turned.
func (r *ride) turn(from, to float64) *report.Turn {
	a, b := r.onTrack(from, to)
	t, ok := detect.TurnBetween(r.track, a, b)
	if !ok {
		return nil
	}
	if r.sparse() {
		t.RadiusMinM = nil
	}
	out := &report.Turn{Direction: t.Direction, TurnedDeg: &t.TurnedDeg, RadiusMinM: t.RadiusMinM, SpeedMinMS: t.SpeedMinMS}
	if t.RadiusMinM != nil {
		out.ArcRadiusM = r.arcRadius(from, to, t.TurnedDeg.Value)
	}
	return out
}

// turnByGyro is how a line turned by the gyroscope alone: how far, not how tightly.
func (r *ride) turnByGyro(from, to float64) *report.Turn {
	if r.ev == nil || r.ev.YawTimeS == nil {
		return nil
	}
	deg, sd, ok := r.yaw.between(from, to)
	if !ok {
		return nil
	}
	e := trace.FromSD(deg, sd)
	t := &report.Turn{Direction: "straight", TurnedDeg: &e}
	switch {
	case deg > straightDeg:
		t.Direction = "left"
	case deg < -straightDeg:
		t.Direction = "right"
	}
	return t
}

// straightDeg is the net turn below which a line is called straight: a rider sees no turn in it.
const straightDeg = 10.0

// strideLengths are the lengths of the single strides, rescaled so that they fit the line's mean.
func (r *ride) strideLengths(m leg, from, to float64) []float64 {
	out := []float64{}
	n := len(m.beats)
	if n < 1 || m.strideM == nil || m.by != "counted" {
		return out
	}
	// Stride borders lie half way between the load peaks.
	b := make([]float64, n+1)
	for i := 1; i < n; i++ {
		b[i] = (m.beats[i-1] + m.beats[i]) / 2
	}
	b[0], b[n] = math.Max(from, m.beats[0]-m.strideS.Value/2), math.Min(to, m.beats[n-1]+m.strideS.Value/2)
	var sum float64
	for i := range n {
		l, ok := r.path.LengthM(b[i], b[i+1])
		if !ok {
			return []float64{}
		}
		out = append(out, l)
		sum += l
	}
	for i := range out {
		out[i] *= m.strideM.Value * float64(n) / sum
	}
	return out
}

// usualMS is the pace of a practice round (5.53 ± 0.15 m/s in elite rounds, Tranquille et al. 2017; others slower).
const usualMS = 5.3

// ground is the mean rise per metre ridden and the mean cosine towards home.
func (r *ride) ground(from, to float64, oa, ob course.Obstacle) (grade, home *float64) {
	var pts []course.Point
	if r.path != nil {
		for t := from; t <= to; t += 0.25 {
			s, ok := r.path.At(t)
			if !ok {
				return nil, nil
			}
			pts = append(pts, course.Point{X: s.X, Y: s.Y})
		}
	} else {
		turn := math.Abs(course.WrapDeg(ob.FacingDeg - oa.FacingDeg))
		chord := math.Hypot(ob.At.X-oa.At.X, ob.At.Y-oa.At.Y)
		off := math.Abs(course.WrapDeg(math.Atan2(ob.At.X-oa.At.X, ob.At.Y-oa.At.Y)*180/math.Pi - oa.FacingDeg))
		if turn > 60 || off > 40 || (to-from)*usualMS > 1.4*chord {
			return nil, nil // the rider chooses the way
		}
		pts = []course.Point{oa.At, ob.At}
	}
	var ride, rise, cos float64
	for i := 1; i < len(pts); i++ {
		a, b := pts[i-1], pts[i]
		d := math.Hypot(b.X-a.X, b.Y-a.Y)
		if d < 1e-6 {
			continue
		}
		ride += d
		if r.surface != nil {
			rise += r.surface.HeightAt(b.X, b.Y) - r.surface.HeightAt(a.X, a.Y)
		}
		if h := r.plan.Home; h != nil {
			if hd := math.Hypot(h.X-a.X, h.Y-a.Y); hd > 1 {
				cos += ((b.X-a.X)*(h.X-a.X) + (b.Y-a.Y)*(h.Y-a.Y)) / hd
			}
		}
	}
	if ride < 1 {
		return nil, nil
	}
	if r.surface != nil {
		g := rise / ride
		grade = &g
	}
	if r.plan.Home != nil {
		c := cos / ride
		home = &c
	}
	return grade, home
}

func (r *ride) tellRounds() []report.Round {
	out := []report.Round{}
	for i, rd := range r.res.Rounds {
		t := report.Round{Round: i + 1, Complete: rd.Complete, Missed: []string{}}
		if r.path != nil {
			n := rd.Disobediences
			t.Disobediences = &n
		} else if i == 0 {
			r.note("info", "no count of refusals and run-outs", "a sensor alone does not show where a horse stopped or went past: that takes positions")
		}
		for _, k := range rd.Missed {
			if r.hidden(rd, k) {
				r.note("warning", fmt.Sprintf("round %d: nobody knows whether %s was jumped", i+1, r.plan.Route[k]), "the recording has a gap where it should have been")
				continue
			}
			t.Missed = append(t.Missed, r.plan.Route[k])
		}
		first, last := r.efforts[rd.FirstEffort], r.efforts[rd.LastEffort]
		if first.takeoff == nil || last.landing == nil {
			out = append(out, t)
			continue
		}
		start, finish := first.takeoff.Value, last.landing.Value
		if r.plan.Start != nil && r.plan.Finish != nil && r.path != nil {
			s, okS := crossing(r.path, *r.plan.Start, first.takeoff.Value-15, first.takeoff.Value, true)
			f, okF := crossing(r.path, *r.plan.Finish, last.landing.Value, last.landing.Value+15, false)
			if okS && okF {
				start, finish = s, f
				// Either line is passed to about half a metre at 5.5 m/s.
				e := trace.FromSD(f-s, math.Sqrt2*0.5/5.5)
				t.TimeS = &e
				if a, ok := r.allowed(); ok {
					t.TimeAllowedS = &a
					faults := course.TimeRuleSets()[0].TimeFaults(e.Value, a)
					t.TimeFaults = &faults
				}
			} else {
				missed := "the start line before the first obstacle"
				if okS {
					missed = "the finish line after the last obstacle"
				}
				r.note("info", fmt.Sprintf("round %d has no time", i+1), "the track does not cross "+missed)
			}
		} else if i == 0 {
			r.note("info", "no time and no time faults", "these need positions and a plan with start and finish lines; start and finish told are the first take-off and the last landing")
		}
		t.StartS, t.FinishS = &start, &finish
		out = append(out, t)
	}
	return out
}

// hidden tells whether a gap in the recording lies where place k of the route should have been jumped.
func (r *ride) hidden(rd follow.Round, k int) bool {
	if r.path == nil {
		return false
	}
	from, to := math.Inf(-1), math.Inf(1)
	for _, e := range r.res.Efforts[rd.FirstEffort : rd.LastEffort+1] {
		if e.RouteIndex >= 0 && e.RouteIndex < k {
			from = e.MidS
		}
		if e.RouteIndex > k && math.IsInf(to, 1) {
			to = e.MidS
		}
	}
	// Before the first or after the last effort it is looked for within half a minute.
	if math.IsInf(from, -1) {
		from = to - 30
	}
	if math.IsInf(to, 1) {
		to = from + 30
	}
	for i := 1; i < len(r.path.Pieces); i++ {
		if a, b := r.path.Pieces[i-1].ToS(), r.path.Pieces[i].FromS; a < to && b > from {
			return true
		}
	}
	return false
}

// allowed is the time allowed at the plan's speed over its planned track.
func (r *ride) allowed() (float64, bool) {
	if r.plan.SpeedMMin <= 0 {
		return 0, false
	}
	t := r.plan.PlanTrack(course.StandardStrideM)
	return course.TimeAllowedS(t.LengthM, r.plan.SpeedMMin), true
}

// crossing is when the path crosses a line between two times: the last time (for a start) or
// the first (for a finish). The line is taken 3 m longer at both ends, for what the placement leaves.
func crossing(p *place.Path, line [2]course.Point, from, to float64, last bool) (float64, bool) {
	ax, ay, bx, by := line[0].X, line[0].Y, line[1].X, line[1].Y
	l := math.Hypot(bx-ax, by-ay)
	if l == 0 {
		return 0, false
	}
	ux, uy := (bx-ax)/l, (by-ay)/l
	found, at := false, 0.0
	prevOK := false
	var prev float64
	for t := from; t <= to; t += place.StepS {
		s, ok := p.At(t)
		if !ok {
			prevOK = false
			continue
		}
		side := ux*(s.Y-ay) - uy*(s.X-ax)
		along := ux*(s.X-ax) + uy*(s.Y-ay)
		if prevOK && prev*side <= 0 && prev != side && along > -3 && along < l+3 {
			at, found = t-place.StepS*side/(side-prev), true
			if !last {
				return at, true
			}
		}
		prev, prevOK = side, true
	}
	return at, found
}

// tellSlope is the ordinary regression of line speed on grade and on the cosine towards home.
func (r *ride) tellSlope(lines []report.Line) *report.Slope {
	type row struct{ v, g, h float64 }
	var rows []row
	for _, l := range lines {
		if l.SpeedMS != nil && l.Grade != nil && l.Homeward != nil && l.Kind != string(course.Rollback) && l.Kind != string(course.Between) {
			rows = append(rows, row{l.SpeedMS.Value, 100 * *l.Grade, *l.Homeward})
		}
	}
	if r.surface == nil || r.plan.Home == nil {
		return nil
	}
	n := len(rows)
	if n < 5 {
		r.note("info", "slope and home not told", fmt.Sprintf("%s with speed and slope; at least 5 are needed to tell slope from home", layout.Plural(n, "line", "lines")))
		return nil
	}
	x, y := mat.NewDense(n, 3, nil), mat.NewVecDense(n, nil)
	var mg, mh float64
	for i, q := range rows {
		x.SetRow(i, []float64{1, q.g, q.h})
		y.SetVec(i, q.v)
		mg, mh = mg+q.g/float64(n), mh+q.h/float64(n)
	}
	var sgg, shh, sgh float64
	for _, q := range rows {
		sgg, shh, sgh = sgg+sq(q.g-mg), shh+sq(q.h-mh), sgh+(q.g-mg)*(q.h-mh)
	}
	if sgg < 0.5 || shh < 0.1 || math.Abs(sgh) > 0.9*math.Sqrt(sgg*shh) {
		r.note("info", "slope and home not told apart", "on this course the lines that go downhill are the ones that go home, or there is hardly any slope")
		return nil
	}
	var qr mat.QR
	qr.Factorize(x)
	var b mat.VecDense
	if err := qr.SolveVecTo(&b, false, y); err != nil {
		return nil
	}
	var ss float64
	for _, q := range rows {
		ss += sq(q.v - b.AtVec(0) - b.AtVec(1)*q.g - b.AtVec(2)*q.h)
	}
	s2 := ss / float64(n-3)
	det := sgg*shh - sgh*sgh
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(n - 3)}.Quantile(0.95)
	est := func(v, variance float64) *trace.Estimate {
		d := t * math.Sqrt(variance)
		return &trace.Estimate{Value: v, Low: v - d, High: v + d}
	}
	return &report.Slope{PerPercentMS: est(b.AtVec(1), s2*shh/det), HomewardMS: est(b.AtVec(2), s2*sgg/det), N: n}
}

func (r *ride) tellStrides() []report.Stride {
	out := []report.Stride{}
	if r.ev == nil {
		return out
	}
	for _, s := range r.ev.Strides {
		t := report.Stride{Gait: s.Gait.String(), FromS: s.FromS, ToS: s.ToS}
		if s.Lead != detect.LeadUnknown {
			l := s.Lead.String()
			t.Lead = &l
		}
		d := s.ToS - s.FromS
		if r.path != nil && d > 0 {
			if l, ok := r.path.LengthM(s.FromS, s.ToS); ok {
				at, _ := r.path.At((s.FromS + s.ToS) / 2)
				v, sd := l/d, math.Max(at.SpeedSDMS, 0.03)
				ve, le := trace.FromSD(v, sd), trace.FromSD(l, math.Hypot(sd*d, v*0.02))
				ve.Low, le.Low = math.Max(ve.Low, 0), math.Max(le.Low, 0)
				t.SpeedMS, t.LengthM = &ve, &le
			}
		}
		if r.res != nil {
			for i, l := range r.res.Legs {
				mid := (s.FromS + s.ToS) / 2
				if r.legs[i].by == "counted" && mid > r.efforts[l.From].landing.Value && mid < r.efforts[l.To].takeoff.Value {
					id := r.plan.Obstacles[r.res.Efforts[l.From].Obstacle].ID + "-" + r.plan.Obstacles[r.res.Efforts[l.To].Obstacle].ID
					t.Line = &id
				}
			}
		}
		out = append(out, t)
	}
	return out
}
