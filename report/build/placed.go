package build

import (
	"math"

	"groundline/course"
	"groundline/course/follow"
	"groundline/report"
	"groundline/trace"
)

// placed is a ride in a plan's axes.
type placed struct {
	recorded              // path in the plan's axes, not yet laid
	plan     *course.Plan // the plan that the ride is held against; nil for none
	found    bool         // the plan was found in the ride
	loose    bool         // the path lies in the plan's axes only to some degrees and metres
	ways     *follow.Ways
	poses    []follow.Pose   // that brought the path into the plan's axes, where an anchor did not
	surface  *course.Surface // nil without a slope
}

// placed brings the ride into the axes of its plan, or finds a plan in the ride where none is given. ways are the plan's;
// nil: worked out.
func (q recorded) placed(plan *course.Plan, ways *follow.Ways) (placed, error) {
	p := placed{recorded: q, plan: plan, ways: ways}
	if plan == nil {
		if p = q.planFound(); p.plan == nil {
			return p, nil
		}
	}
	if len(p.plan.Levels) > 0 {
		var why string
		if p.surface, why = course.NewSurface(p.plan.Levels); p.surface == nil {
			p.notes = noted(p.notes, "info", "no slope told", why)
		}
	}
	if p.ways == nil {
		p.ways = follow.WaysOf(p.plan)
	}
	if p.plan.Anchor != nil || p.path == nil {
		return p, nil
	}
	first, pose, err := follow.RideUnanchored(p.input())
	if err != nil {
		return p, err
	}
	if len(first.Efforts) < unanchoredLeast {
		return p, &NoAnchorError{}
	}
	p.poses, p.path, p.loose = append(p.poses, pose), pose.Apply(p.path), true
	p.notes = noted(p.notes, "caution", "the plan was laid by the ride itself",
		"it has no anchor (latitude, longitude and bearing of the arena's corner), so where it lies and which way it points were found from what was jumped")
	return p, nil
}

// input is what following needs of it.
func (p *placed) input() follow.Input {
	in := follow.Input{Plan: p.plan, Path: p.path, Gaits: p.gaits, Found: p.found, Ways: p.ways, Loose: p.loose}
	if p.ev != nil {
		in.HasMotion, in.Jumps = true, p.ev.Jumps
		if p.ev.YawTimeS != nil {
			in.TurnedDeg = p.yaw.between
		}
	}
	return in
}

// NoAnchorError tells that a watch alone can't be held against a plan without anchor.
type NoAnchorError struct{}

func (*NoAnchorError) Error() string {
	return "the plan has no anchor, so positions alone can't be held against it: add anchor: {latitude: …, longitude: …, bearing: …} to the plan"
}

// unanchoredLeast is how many obstacles must fall into place before a plan without an anchor is believed
// to lie under a ride: three could by chance.
const unanchoredLeast = 4

// planFound makes a plan of the jumps themselves, where both motion and positions show them.
func (q recorded) planFound() placed {
	p := placed{recorded: q}
	if q.ev == nil || q.path == nil {
		return p
	}
	plan := follow.FoundObstacles(q.path, q.ev.Jumps)
	if len(plan.Obstacles) == 0 {
		return p
	}
	// The corner of the found arena lies left of and before everything jumped.
	const marginM = 12
	minX, minY := math.Inf(1), math.Inf(1)
	for _, o := range plan.Obstacles {
		minX, minY = math.Min(minX, o.At.X), math.Min(minY, o.At.Y)
	}
	dx, dy := marginM-minX, marginM-minY
	for i := range plan.Obstacles {
		o := &plan.Obstacles[i]
		// To the centimetre and the tenth of a degree: a draft to correct, and no finer than that by far.
		o.At.X, o.At.Y = math.Round(100*(o.At.X+dx))/100, math.Round(100*(o.At.Y+dy))/100
		o.FacingDeg = math.Mod(math.Round(10*o.FacingDeg)/10, 360)
	}
	plan.SetLines(nil)
	corner, _ := q.track.Frame.FromENU(-dx, -dy, 0)
	plan.Anchor = &course.Anchor{At: corner}
	pose := follow.Pose{X: dx, Y: dy}
	p.plan, p.found, p.poses, p.path = plan, true, []follow.Pose{pose}, pose.Apply(q.path)
	p.notes = noted(p.notes, "info", report.PlanFound,
		"they are numbered in the order first jumped; where they stand and how far apart is the track's word, to a metre or two, and what they are built of is not known")
	return p
}

// clocked brings the motion to the positions' clock by the jumps and the passages over obstacles, or by the changes of
// gait where these don't settle it.
func (p placed) clocked() placed {
	if off, ok := follow.ClockOffset(p.input()); ok {
		p.recorded = p.earlier(off, "the jumps and the track's passages over the obstacles then fall together")
		return p
	}
	off, ok := p.offsetByGaits()
	if !ok {
		return p
	}
	// Once the gaits have brought the clocks near, the jumps tell them to a tenth of a second.
	near := p
	near.recorded = p.earlier(off, "")
	if rest, ok := follow.ClockOffset(near.input()); ok {
		off = plus(off, trace.Estimate{Value: rest.Value, Low: rest.Low, High: rest.High})
		if math.Abs(off.Value) < clockHeedByGaitsS {
			return p
		}
	}
	p.recorded = p.earlier(off, "the changes of gait and of speed then fall together")
	return p
}
