package follow

import (
	"math"

	"groundline/course/place"
	"groundline/trace"
)

// Offsets of two devices' clocks up to this much are looked for by jumps against passages. Watches keep
// the satellites' time; what is off by more is off by a zone, which reading the files settles.
const clockReachS = 90.0

// clockHeedS is the least offset that is told from a receiver's own lag of up to half a second and
// from the spread of the passages.
const clockHeedS = 0.8

// ClockOffset is how far the motion sensor's clock runs ahead of the positions', found from the ride: the
// jumps' times are slid along the times at which the track passes over obstacles until they fall together.
// It is false where no offset makes at least four of them meet, or where they meet as they are. A
// receiver's lag looks the same as a clock that is late by as much, so the interval carries it.
func ClockOffset(in Input) (trace.Estimate, bool) {
	if in.Path == nil || !in.HasMotion {
		return trace.Estimate{}, false
	}
	alone := in
	alone.HasMotion, alone.Jumps, alone.TurnedDeg = false, nil, nil
	m := newModel(alone)
	m.hasty = true
	var passes []float64
	var sin, cos float64 // sums over the directions of the passages
	for _, d := range m.placeAndDecode(alone).seq {
		if d.p > 0.5 {
			passes = append(passes, d.cand.timeS)
			s, c := math.Sincos(in.Plan.Obstacles[m.states[d.state].obstacle].FacingDeg * math.Pi / 180)
			sin, cos = sin+s, cos+c
		}
	}
	heedS, oneWay := clockHeedS, math.Hypot(sin, cos) > oneWayShare*float64(len(passes))
	if oneWay {
		heedS = clockHeedOneWayS
	}
	var jumps []float64
	for _, j := range in.Jumps {
		if j.Confidence > 0.3 {
			jumps = append(jumps, midS(j))
		}
	}
	meet := func(off, sd float64) float64 {
		var sum float64
		for _, p := range passes {
			best := 0.0
			for _, j := range jumps {
				best = math.Max(best, math.Exp(-math.Pow((j-off-p)/sd, 2)/2))
			}
			sum += best
		}
		return sum
	}
	best, at := 0.0, 0.0
	for off := -clockReachS; off <= clockReachS; off += 0.1 {
		// Nearer offsets are likelier: a tie goes to them.
		if s := meet(off, 0.3) - 0.004*math.Abs(off); s > best {
			best, at = s, off
		}
	}
	if asIs := meet(0, 0.45); best < 3.5 || math.Abs(at) < heedS || best < asIs+1.5 {
		return trace.Estimate{}, false
	}
	// The median of what is left at the pairs that meet.
	var rest []float64
	for _, p := range passes {
		for _, j := range jumps {
			if d := j - at - p; math.Abs(d) < 0.8 {
				rest = append(rest, d)
			}
		}
	}
	if len(rest) < 4 {
		return trace.Estimate{}, false
	}
	med, sd := medianAndSD(rest)
	lag := clockLagSDS
	if oneWay {
		lag = clockOneWaySDS
	}
	return trace.FromSD(at+med, math.Hypot(sd, lag)), true
}

// Where all that is jumped faces one way, as in a gymnastic line, the receiver's constant error of some metres along it looks the same
// as a clock that is off by as many metres over the pace: 3 m (one standard deviation, of the size that receivers on riders have) at
// 5 m/s are 0.6 s.
const (
	clockHeedOneWayS = 2.5
	clockOneWaySDS   = 0.6
	// oneWayShare is how long the mean of the passages' directions has to be, of 1, to call them one way: within some 30 degrees.
	oneWayShare = 0.85
)

// clockLagSDS is the doubt that a receiver's possible lag leaves in a clock's offset.
const clockLagSDS = 0.1

// medianAndSD is the median and the standard deviation of it, from the median absolute deviation.
func medianAndSD(x []float64) (m, sd float64) {
	m = place.Median(x)
	dev := make([]float64, len(x))
	for i, v := range x {
		dev[i] = math.Abs(v - m)
	}
	return m, 1.2533 * math.Max(1.4826*place.Median(dev), 0.03) / math.Sqrt(float64(len(x)))
}
