package build

import (
	"fmt"
	"math"

	"groundline/course"
	"groundline/course/horse"
	"groundline/detect"
	"groundline/report"
	"groundline/report/layout"
	"groundline/trace"
)

// leastEventP is the probability from which an event is listed.
const leastEventP = 0.5

// tellEvents are the events of the ride, in time order, and what the recording can't show. Lines are those of the debrief, one a leg;
// those with a circle in them lose their strides.
func (r *ride) tellEvents(lines []report.Line) ([]report.Event, []report.Unseen) {
	events := r.circles()
	r.circled(events, lines)
	if len(lines) > 0 && r.res != nil {
		r.notTheLine(lines)
	}
	events = append(events, r.breaks()...)
	events = append(events, r.leadEvents()...)
	events = append(events, r.strideEvents(lines)...)
	kept := []report.Event{}
	for _, e := range events {
		if e.P >= leastEventP {
			kept = append(kept, e)
		}
	}
	report.SortEvents(kept)
	return kept, r.unseen()
}

// notTheLine takes strides away that cannot have been ridden on a line: so many more than it is built for that the horse must have circled
// or come again, which a sensor without a gyroscope does not show.
func (r *ride) notTheLine(lines []report.Line) {
	for i := range lines {
		l := &lines[i]
		if l.Strides == nil || l.PlannedStrides == nil || l.Strides.Low < float64(2**l.PlannedStrides) || l.Strides.Low < float64(*l.PlannedStrides+6) {
			continue
		}
		n := int(math.Round(l.Strides.Value))
		r.note("info", fmt.Sprintf("%s to %s was not ridden as a line", l.From, l.To),
			fmt.Sprintf("%d strides where %d are planned: a circle, or another approach after a refusal or run-out; they are not compared with the plan", n, *l.PlannedStrides))
		r.uncount(i, l)
	}
}

// uncount takes the strides of a line away.
func (r *ride) uncount(i int, l *report.Line) {
	l.Strides, l.StridesBy, l.StrideS, l.StrideLengthM, l.StrideLengthsM, l.RhythmCV = nil, "", nil, nil, []float64{}, nil
	r.legs[i].strides, r.legs[i].strideS, r.legs[i].strideM, r.legs[i].by = nil, nil, nil, ""
}

// unseen are the kinds of events that the recording can't show, with the reason.
func (r *ride) unseen() []report.Unseen {
	out := []report.Unseen{}
	add := func(why string, kinds ...string) {
		for _, k := range kinds {
			out = append(out, report.Unseen{Event: k, Why: why})
		}
	}
	switch {
	case r.ev == nil:
		add("positions show no legs: that takes a motion sensor on the horse", report.EventDisunited, report.EventWrongLead, report.EventChange)
		add("a slow canter is as fast as a trot: that takes a motion sensor", report.EventBreak)
	case !r.leadsNamed():
		add("the strides' waves do not show two leads apart, as on a wrist, or no turns say which is left", report.EventDisunited, report.EventWrongLead, report.EventChange)
	}
	switch {
	case r.plan == nil || r.found:
		add("without a plan nobody knows what was to be jumped", report.EventDisobedience, report.EventAddedStride, report.EventLeftOut)
	case r.path == nil:
		add("a sensor alone does not show where a horse stopped: that takes positions", report.EventDisobedience)
	}
	if r.path == nil && (r.ev == nil || r.ev.YawTimeS == nil) {
		add("no positions and no gyroscope", report.EventCircle)
	}
	return out
}

// leadsNamed reports whether any canter stride has a lead.
func (r *ride) leadsNamed() bool {
	for _, s := range r.ev.Strides {
		if s.Lead != detect.LeadUnknown {
			return true
		}
	}
	return false
}

// lineAt is the line ridden at a time, landing to take-off; nil between lines.
func (r *ride) lineAt(t float64) *string {
	if r.res == nil {
		return nil
	}
	for i := range r.res.Legs {
		if from, to, ok := r.legSpan(i); ok && t > from && t < to {
			return r.lineName(i)
		}
	}
	return nil
}

func (r *ride) lineName(i int) *string {
	l := r.res.Legs[i]
	id := r.plan.Obstacles[r.res.Efforts[l.From].Obstacle].ID + "-" + r.plan.Obstacles[r.res.Efforts[l.To].Obstacle].ID
	return &id
}

// legSpan is when a leg began and ended, landing to take-off.
func (r *ride) legSpan(i int) (from, to float64, ok bool) {
	a, b := r.efforts[r.res.Legs[i].From], r.efforts[r.res.Legs[i].To]
	if a.landing == nil || b.takeoff == nil {
		return 0, 0, false
	}
	return a.landing.Value, b.takeoff.Value, true
}

// circles are the voltes ridden on the way to the next obstacle of the route: the horse turned once round more than the way there asks.
// Ways that the route has not, such as back to the start of a line that is ridden again, turn as they like.
func (r *ride) circles() []report.Event {
	if r.res == nil {
		return nil
	}
	var out []report.Event
	for i, l := range r.res.Legs {
		from, to, ok := r.legSpan(i)
		if !ok || l.RouteLine < 0 {
			continue
		}
		turned, sd, ok := r.turnedOver(from, to)
		if !ok {
			continue
		}
		oa, ob := r.plan.Obstacles[r.res.Efforts[l.From].Obstacle], r.plan.Obstacles[r.res.Efforts[l.To].Obstacle]
		// Jumped askew, the way begins and ends up to 30 degrees off; the way there, to either side, turns by less than a circle.
		asked := course.WrapDeg(oa.FacingDeg - ob.FacingDeg) // left positive
		side := "left"
		over := turned - asked
		if turned < 0 {
			side = "right"
			over = asked - turned
		}
		// A turn back may be ridden the long way round, which turns by a full circle less what was asked, so both must be there: more than
		// three quarters of a circle in all and most of one beyond what the way asks.
		p := phi((math.Abs(turned)-circleDeg)/math.Hypot(sd, 15)) * phi((over-circleDeg)/math.Hypot(sd, 30))
		a, b := r.loop(from, to)
		if r.path != nil {
			if b > a { // it crosses its own track
				p = 1 - (1-p)*0.3
			} else {
				p *= 0.5
			}
		}
		if r.path == nil {
			p *= orCameAgain
		}
		if p < leastEventP {
			continue
		}
		if b <= a {
			a, b = from, to
		}
		s := side
		out = append(out, report.Event{Event: report.EventCircle, FromS: a, ToS: b, Line: r.lineName(i), Side: &s, P: math.Min(p, 0.99)})
	}
	return out
}

// orCameAgain is how much of what turns like a circle is one where refusals and run-outs can't be seen: these, after which the obstacle is
// approached again, come with some 3 in 100 efforts of practice (1 to 8 in 100 of them were faults of any kind at 1.40 m and more, Nicova and
// Bartosova 2022), voltes hardly more often. Our own assumption.
const orCameAgain = 0.55

// circleDeg is the least turn of a circle: with less a horse does not come back to its own track.
const circleDeg = 270.0

// turnedOver is how far the horse turned between two times, left positive, counted on beyond half a turn, by the track or
// else by the gyroscope.
func (r *ride) turnedOver(from, to float64) (deg, sd float64, ok bool) {
	if r.path == nil {
		if r.ev == nil || r.ev.YawTimeS == nil {
			return 0, 0, false
		}
		return r.yaw.between(from, to)
	}
	prev, okPrev := r.path.At(from)
	if !okPrev {
		return 0, 0, false
	}
	const stepS = 0.1
	for t := from + stepS; t <= to; t += stepS {
		s, ok := r.path.At(t)
		if !ok {
			return 0, 0, false
		}
		// A horse that all but stands has no heading.
		if s.SpeedMS() > 0.7 && prev.SpeedMS() > 0.7 {
			deg -= course.WrapDeg(s.HeadingDeg() - prev.HeadingDeg())
		}
		prev = s
	}
	return deg, 12, true
}

// loop is the shortest stretch after which the track crosses itself between two times, having turned all the way round; b is
// not after a where there is none.
func (r *ride) loop(from, to float64) (a, b float64) {
	if r.path == nil {
		return 0, 0
	}
	const stepS = 0.2
	type point struct{ t, x, y float64 }
	var pts []point
	for t := from; t <= to; t += stepS {
		s, ok := r.path.At(t)
		if !ok {
			return 0, 0
		}
		pts = append(pts, point{t, s.X, s.Y})
	}
	best := math.Inf(1)
	for i := 1; i < len(pts); i++ {
		for j := i + 2; j < len(pts); j++ {
			if pts[j].t-pts[i].t >= best || pts[j].t-pts[i].t < leastLoopS {
				continue
			}
			if crosses(pts[i-1].x, pts[i-1].y, pts[i].x, pts[i].y, pts[j-1].x, pts[j-1].y, pts[j].x, pts[j].y) {
				best, a, b = pts[j].t-pts[i].t, pts[i].t, pts[j].t
			}
		}
	}
	return a, b
}

// leastLoopS is the least time for a circle: one of 8 m across at a canter of 5 m/s.
const leastLoopS = 4.0

// crosses reports whether the stretch from a to b crosses that from c to d.
func crosses(ax, ay, bx, by, cx, cy, dx, dy float64) bool {
	side := func(px, py, qx, qy, x, y float64) float64 { return (qx-px)*(y-py) - (qy-py)*(x-px) }
	return side(ax, ay, bx, by, cx, cy)*side(ax, ay, bx, by, dx, dy) < 0 && side(cx, cy, dx, dy, ax, ay)*side(cx, cy, dx, dy, bx, by) < 0
}

// breaks are trots, walks and halts on the way from one obstacle to the next of the route.
func (r *ride) breaks() []report.Event {
	if r.res == nil || r.ev == nil {
		return nil
	}
	var out []report.Event
	for i, l := range r.res.Legs {
		from, to, ok := r.legSpan(i)
		if !ok || l.RouteLine < 0 {
			continue
		}
		for k, g := range r.gaits {
			if g.Gait == detect.Canter || g.FromS < from || g.ToS > to {
				continue
			}
			end := g.ToS
			if k > 0 && r.gaits[k-1].Gait != detect.Canter && r.gaits[k-1].FromS >= from {
				continue // goes on from the span before, which has it
			}
			for n := k + 1; n < len(r.gaits) && r.gaits[n].Gait != detect.Canter && r.gaits[n].ToS <= to; n++ {
				end = r.gaits[n].ToS
			}
			p := breakP(end - g.FromS)
			if r.path != nil {
				// At a canter's pace it was none.
				if d, ok := r.path.LengthM(g.FromS, end); ok {
					v := d / (end - g.FromS)
					p *= phi((trotMostMS - v) / trotMostSDMS)
				}
			}
			out = append(out, report.Event{Event: report.EventBreak, FromS: g.FromS, ToS: end, Line: r.lineName(i), P: p})
		}
	}
	return out
}

// A horse that breaks between obstacles trots at up to 4.5 m/s or so (a working trot is ridden at 3.3 to 4, common practice; with a receiver's error and what
// it still has of the canter's pace).
const trotMostMS, trotMostSDMS = 4.5, 0.5

// breakP is how sure a break is by its length: two strides of trot last 1.4 s, and a canter's odd stride is shorter.
func breakP(s float64) float64 { return 1 / (1 + math.Exp(-(s-1.0)/0.35)) }

// leadEvents are disunited stretches, turns on the outside lead, and changes.
func (r *ride) leadEvents() []report.Event {
	if r.ev == nil {
		return nil
	}
	var strides []detect.Stride
	for _, s := range r.ev.Strides {
		if s.Gait == detect.Canter {
			strides = append(strides, s)
		}
	}
	var out []report.Event
	add := func(kind string, from, to float64, n int, side string, p float64) {
		e := report.Event{Event: kind, FromS: from, ToS: to, Line: r.lineAt((from + to) / 2), P: p}
		if n > 0 {
			e.Strides = &n
		}
		if side != "" {
			e.Side = &side
		}
		out = append(out, e)
	}
	// A stretch of strides on one lead; strides without a name between two of the same belong to it.
	run := func(from int, is func(detect.Stride) bool) (to, n int, p float64) {
		sum := 0.0
		to = from
		for k := from; k < len(strides) && (k == from || strides[k].FromS-strides[k-1].ToS < leadGapS); k++ {
			switch {
			case is(strides[k]):
				to, n, sum = k, k-from+1, sum+strides[k].LeadP
			case strides[k].Lead != detect.LeadUnknown || k-to > 1:
				return to, n, sum / float64(max(1, to-from+1))
			}
		}
		return to, n, sum / float64(max(1, to-from+1))
	}
	for i := 0; i < len(strides); i++ {
		if strides[i].Lead != detect.LeadDisunited {
			continue
		}
		to, n, p := run(i, func(s detect.Stride) bool { return s.Lead == detect.LeadDisunited })
		if n >= 2 {
			add(report.EventDisunited, strides[i].FromS, strides[to].ToS, n, "", p)
		}
		i = to
	}
	for _, t := range r.turns() {
		outside := detect.LeadRight
		if t.LeftRad < 0 {
			outside = detect.LeadLeft
		}
		for i := 0; i < len(strides); i++ {
			s := strides[i]
			if s.Lead != outside || s.ToS < t.FromS || s.FromS > t.ToS {
				continue
			}
			to, n, p := run(i, func(s detect.Stride) bool { return s.Lead == outside && s.FromS <= t.ToS })
			if n >= 3 {
				add(report.EventWrongLead, s.FromS, strides[to].ToS, n, outside.String(), p)
			}
			i = to
		}
	}
	return append(out, r.changes(strides)...)
}

// leadGapS is the longest hole between strides of one stretch: less than any flight.
const leadGapS = 0.15

// turns are the turns of the ride by an eighth of a circle or more, from the track, the gyroscope or the plan.
func (r *ride) turns() []detect.TurnHint {
	var all []detect.TurnHint
	switch {
	case r.path != nil:
		all = r.turnHints()
	case r.ev.YawTimeS != nil:
		all = r.ev.Turns()
	case r.res != nil:
		all = r.plannedTurns()
	}
	var out []detect.TurnHint
	for _, t := range all {
		if math.Abs(t.LeftRad) >= math.Pi/4 {
			out = append(out, t)
		}
	}
	return out
}

// changes are the changes of lead: from the last stride of one to the first of the other, disunited strides or a flight between. Over a
// trot, a walk or a gap there is none.
func (r *ride) changes(strides []detect.Stride) []report.Event {
	united := func(s detect.Stride) bool { return s.Lead == detect.LeadLeft || s.Lead == detect.LeadRight }
	var out []report.Event
	last := -1
	for i, s := range strides {
		if !united(s) {
			continue
		}
		if last >= 0 && strides[last].Lead != s.Lead && s.FromS-strides[last].ToS < changeWithinS && r.canters(strides[last].ToS, s.FromS) {
			side := s.Lead.String()
			e := report.Event{Event: report.EventChange, FromS: strides[last].ToS, ToS: s.FromS, Side: &side, P: strides[last].LeadP * s.LeadP}
			e.Line, e.Obstacle = r.lineAt((e.FromS+e.ToS)/2), r.obstacleIn(e.FromS, e.ToS)
			out = append(out, e)
		}
		last = i
	}
	return out
}

// changeWithinS is the longest that a change may take: a dozen disunited strides.
const changeWithinS = 8.0

// canters reports whether the gait is canter all the way between two times.
func (r *ride) canters(from, to float64) bool {
	for _, g := range r.gaits {
		if g.Gait != detect.Canter && g.ToS > from+0.05 && g.FromS < to-0.05 {
			return false
		}
	}
	return true
}

// obstacleIn is the obstacle jumped between two times; nil where none was.
func (r *ride) obstacleIn(from, to float64) *string {
	if r.res == nil {
		return nil
	}
	for i, e := range r.res.Efforts {
		m := r.efforts[i]
		if m.takeoff != nil && m.landing != nil && m.takeoff.Value > from-0.3 && m.landing.Value < to+0.3 {
			return &r.plan.Obstacles[e.Obstacle].ID
		}
	}
	return nil
}

// strideEvents are the lines ridden in more or fewer strides than planned.
func (r *ride) strideEvents(lines []report.Line) []report.Event {
	if r.res == nil || r.found || len(lines) != len(r.res.Legs) {
		return nil
	}
	var out []report.Event
	for i, l := range lines {
		from, to, ok := r.legSpan(i)
		if !ok || l.PlannedStrides == nil || l.Strides == nil {
			continue
		}
		by := int(math.Round(l.Strides.Value)) - *l.PlannedStrides
		if by == 0 {
			continue
		}
		kind := report.EventAddedStride
		if by < 0 {
			kind, by = report.EventLeftOut, -by
		}
		out = append(out, report.Event{Event: kind, FromS: from, ToS: to, Line: r.lineName(i), Strides: &by, P: differsP(*l.Strides, *l.PlannedStrides)})
	}
	return out
}

// differsP is the probability that a count, told with its 90 % interval of whole numbers, is on the side of the plan's number that its
// value is on.
func differsP(n trace.Estimate, planned int) float64 {
	k := float64(planned)
	switch {
	case n.Value > k && n.Low > k || n.Value < k && n.High < k:
		return 0.97 // the tenth left out lies on both sides
	case n.High == n.Low:
		return leastEventP
	}
	// The interval's numbers share nine tenths, the value having more than the others.
	others := n.High - n.Low
	sum, side := 0.0, 0.0
	for v := n.Low; v <= n.High; v++ {
		w := 1.0
		if v == n.Value {
			w = 1 + others
		}
		sum += w
		if (v > k) == (n.Value > k) && v != k {
			side += w
		}
	}
	return 0.05 + 0.9*side/sum
}

// circled takes the strides of lines with a circle in them out of what is compared with the plan, and says so. A circle's strides are part of
// the way ridden and of no line.
func (r *ride) circled(events []report.Event, lines []report.Line) {
	for _, e := range events {
		// A circle that may as well be the way from one fence to the next takes no count away.
		if e.Event != report.EventCircle || e.P < horse.Probable {
			continue
		}
		for i := range lines {
			from, to, ok := r.legSpan(i)
			if !ok || e.FromS < from-0.1 || e.ToS > to+0.1 {
				continue
			}
			l := &lines[i]
			n := "its strides"
			if l.Strides != nil {
				n = layout.Plural(int(math.Round(l.Strides.Value)), "stride", "strides")
			}
			why := "the circle among them"
			if r.path == nil {
				why = "among them a full turn: a circle, or another approach after a refusal or run-out, which a sensor alone does not show"
			}
			r.note("info", fmt.Sprintf("%s to %s was ridden with a circle", l.From, l.To),
				fmt.Sprintf("%s from landing to take-off, %s, are no count of the line and are not compared with the plan", n, why))
			r.uncount(i, l)
		}
	}
}
