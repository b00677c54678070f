package build

import (
	"fmt"
	"math"
	"slices"

	"groundline/course"
	"groundline/course/follow"
	"groundline/course/place"
	"groundline/detect"
	"groundline/report/layout"
)

// followed is a ride whose obstacles are known. Clock, mounting and lag are settled: nothing after it changes them.
type followed struct {
	placed                // path as laid on the plan
	res    *follow.Result // nil without a plan
}

// lagHeedS is the least lag that is undone: less than that is within what a horse's own way over an obstacle and
// a creeping receiver make.
const lagHeedS = 0.2

// followed reads from the ride which obstacle was jumped when.
func (p placed) followed() (followed, error) {
	f := followed{placed: p}
	in := p.input()
	res, mirrored, err := follow.RideEitherWay(in)
	if err != nil {
		return f, err
	}
	if mirrored {
		if f.recorded, err = p.mirrored(); err != nil {
			return f, err
		}
	}
	if l := res.Placement; l != nil && in.HasMotion && l.LagS.Value > lagHeedS && l.LagS.Low > 0 {
		// The receiver's own filter told the places late and cut the corners: both are undone, and the ride is
		// read once more.
		f.track = f.track.Unlag(l.LagS.Value)
		f.raw = place.FromTrack(f.track, p.plan.Anchor)
		in.Path = f.raw
		for _, pose := range p.poses {
			in.Path = pose.Apply(in.Path)
		}
		if again, err := follow.Ride(in); err == nil {
			f.notes = noted(f.notes, "info", fmt.Sprintf("the positions lag by %.1f s", l.LagS.Value), "the jumps that the motion sensor felt happen that long before the track passes the obstacles; the track was freed of it")
			res = again
		}
	}
	f.res = res
	if res.Path != nil {
		f.path = res.Path
	}
	f.notes = append(slices.Clip(f.notes), res.Notes...)
	if n := len(res.Unplaced); n > 0 {
		f.notes = noted(f.notes, "info", fmt.Sprintf("%s left out", layout.Plural(n, "jump", "jumps")),
			"the sensor felt a leap where the plan has no obstacle, or out of any order that fits the ride")
	}
	if len(res.Efforts) == 0 {
		f.notes = noted(f.notes, "warning", "no obstacle of the plan was jumped in this recording", f.whyNothing())
	}
	if on, off := len(res.Efforts), len(res.Unplaced); f.ev != nil && res.Path != nil && off >= 3 && off > on {
		f.notes = noted(f.notes, "warning", "the plan and the ride may not belong together",
			fmt.Sprintf("of %d jumps only %d fell on obstacles of the plan", on+off, on))
	}
	f.nameLeads()
	return f, nil
}

// nameLeads lets turns say which lead is which: those of the track, or those of the gyroscope, by which they are named
// already; without either, those that the plan asks for between the obstacles jumped.
func (f *followed) nameLeads() {
	switch {
	case f.ev == nil:
	case f.path != nil:
		detect.SettleLeads(f.ev, f.turnHints())
	case f.ev.YawTimeS == nil && f.res != nil:
		detect.SettleLeads(f.ev, f.plannedTurns())
	}
}

// plannedTurns are the turns by 60 degrees or more that a rider must have made between two obstacles of the plan, each in the
// middle half of the way: where else it was ridden nobody knows.
func (f *followed) plannedTurns() []detect.TurnHint {
	// Out to the chord and in from it; where both are strong and opposite, or either nearly turns back, the rider chooses the side.
	const leastDeg, eitherDeg, acrossDeg = 60, 150, 20
	var out []detect.TurnHint
	for _, l := range f.res.Legs {
		if l.RouteLine < 0 {
			continue
		}
		a, b := f.res.Efforts[l.From], f.res.Efforts[l.To]
		oa, ob := f.plan.Obstacles[a.Obstacle], f.plan.Obstacles[b.Obstacle]
		chord := math.Atan2(ob.At.X-oa.At.X, ob.At.Y-oa.At.Y) * 180 / math.Pi
		away, back := course.WrapDeg(chord-oa.FacingDeg), course.WrapDeg(ob.FacingDeg-chord)
		if math.Max(math.Abs(away), math.Abs(back)) > eitherDeg || away*back < 0 && math.Min(math.Abs(away), math.Abs(back)) > acrossDeg {
			continue
		}
		left := -(away + back)
		if math.Abs(left) < leastDeg {
			continue
		}
		d := b.MidS - a.MidS
		out = append(out, detect.TurnHint{FromS: a.MidS + d/3, ToS: b.MidS - d/6, LeftRad: left * math.Pi / 180})
	}
	return out
}

// onTrack is two instants by the clock of track and raw, which are late by the receiver's lag where path, once laid, is not.
func (f *followed) onTrack(fromS, toS float64) (float64, float64) {
	if f.res == nil || f.res.Placement == nil {
		return fromS, toS
	}
	lagS := f.res.Placement.LagS.Value
	return fromS + lagS, toS + lagS
}

// whyNothing is why no obstacle of the plan was jumped.
func (f *followed) whyNothing() string {
	for _, g := range f.gaits {
		if g.Gait == detect.Canter {
			if f.path != nil {
				return "the horse cantered, but never over the line of an obstacle's face in the direction in which it is jumped"
			}
			return "the horse cantered, but no leap in it fits the order and the distances of the plan"
		}
	}
	return "no canter was found"
}

// turnHints are the track's turns.
func (f *followed) turnHints() []detect.TurnHint {
	// A horse that turns by 15 degrees a second or more for a second and a half is in a turn: 20 m of
	// radius at 5.3 m/s.
	const leastRadS, leastS, overS = 0.26, 1.5, 0.5
	var hints []detect.TurnHint
	for _, q := range f.path.Pieces {
		from, sum, side := 0.0, 0.0, 0.0
		close := func(to float64) {
			if side != 0 && to-from >= leastS {
				hints = append(hints, detect.TurnHint{FromS: from, ToS: to, LeftRad: sum * 4 * place.StepS})
			}
			side, sum = 0, 0
		}
		for t := q.FromS + overS; t < q.ToS()-overS; t += 4 * place.StepS {
			a, _ := f.path.At(t - overS)
			b, _ := f.path.At(t + overS)
			w := -course.WrapDeg(b.HeadingDeg()-a.HeadingDeg()) * math.Pi / 180 / (2 * overS)
			if math.Abs(w) < leastRadS || w*side < 0 {
				close(t)
			}
			if math.Abs(w) >= leastRadS && side == 0 {
				from, side = t, w
			}
			sum += w
		}
		close(q.ToS() - overS)
	}
	return hints
}
