package build

import (
	"math"

	"groundline/course/follow"
	"groundline/detect"
	"groundline/trace"
)

// clockHeedByGaitsS is the least offset of the clocks that is believed on the gaits' word: over the labelled rounds it
// misses by up to 1.3 s, and a debrief bears what is below.
const clockHeedByGaitsS = 1.5

// clockByGaits is how far the motion's clock is ahead, from the changes of gait against the changes of speed: for rides
// whose jumps can't be held against passages over obstacles. Where there is a plan, in says what is known of
// it: once the gaits have brought the clocks near, the jumps tell them to a tenth of a second.
func (r *ride) clockByGaits(in *follow.Input) (off trace.Estimate, ok bool) {
	if r.ev == nil || r.track == nil {
		return off, false
	}
	c := detect.ClockByGaits(r.ev, r.track)
	// Clocks mostly agree: to set one back takes more than an interval that just leaves out zero.
	if c.OffsetS == nil || math.Abs(c.OffsetS.Value) < max(clockHeedByGaitsS, c.OffsetS.High-c.OffsetS.Low) {
		return off, false
	}
	off = *c.OffsetS
	if in == nil {
		return off, true
	}
	near := *in
	near.Jumps, near.Gaits = nil, nil
	for _, j := range in.Jumps {
		near.Jumps = append(near.Jumps, jumpEarlier(j, off.Value))
	}
	for _, g := range in.Gaits {
		g.FromS, g.ToS = g.FromS-off.Value, g.ToS-off.Value
		near.Gaits = append(near.Gaits, g)
	}
	rest, ok := follow.ClockOffset(near)
	if !ok {
		return off, true
	}
	off = trace.Estimate{Value: off.Value + rest.Value, Low: off.Value + rest.Low, High: off.Value + rest.High}
	return off, math.Abs(off.Value) >= clockHeedByGaitsS
}

func jumpEarlier(j detect.Jump, byS float64) detect.Jump {
	for _, e := range []*trace.Estimate{&j.TakeoffS, &j.LandingS} {
		e.Value, e.Low, e.High = e.Value-byS, e.Low-byS, e.High-byS
	}
	j.PushPeakS, j.LandPeakS = j.PushPeakS-byS, j.LandPeakS-byS
	return j
}
