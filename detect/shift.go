package detect

import (
	"slices"

	"groundline/trace"
)

// Earlier is the same events by a clock that shows byS seconds less: what [FromMotion] finds in the same motion with byS
// subtracted from its times, to a nanosecond. The events given stay as they are.
func (e *Events) Earlier(byS float64) *Events {
	out := *e
	out.Gaits = slices.Clone(e.Gaits)
	for i := range out.Gaits {
		out.Gaits[i].FromS, out.Gaits[i].ToS = out.Gaits[i].FromS-byS, out.Gaits[i].ToS-byS
	}
	out.Strides = slices.Clone(e.Strides)
	for i := range out.Strides {
		out.Strides[i].FromS, out.Strides[i].ToS = out.Strides[i].FromS-byS, out.Strides[i].ToS-byS
	}
	out.Jumps = slices.Clone(e.Jumps)
	for i := range out.Jumps {
		j := &out.Jumps[i]
		j.TakeoffS, j.LandingS = estimateEarlier(j.TakeoffS, byS), estimateEarlier(j.LandingS, byS)
		j.PushPeakS, j.LandPeakS = j.PushPeakS-byS, j.LandPeakS-byS
	}
	out.Rejected = slices.Clone(e.Rejected)
	for i := range out.Rejected {
		out.Rejected[i].AtS -= byS
	}
	out.BeatS, out.YawTimeS = timesEarlier(e.BeatS, byS), timesEarlier(e.YawTimeS, byS)
	out.behindS = e.behindS + byS
	return &out
}

func estimateEarlier(e trace.Estimate, byS float64) trace.Estimate {
	return trace.Estimate{Value: e.Value - byS, Low: e.Low - byS, High: e.High - byS}
}

func timesEarlier(t []float64, byS float64) []float64 {
	out := slices.Clone(t)
	for i := range out {
		out[i] -= byS
	}
	return out
}
