package detect

import "math"

// flight is what lies between two load peaks if the first is a push-off and the second a landing.
type flight struct {
	push, land peak
	hP, hL     float64 // heights of the two peaks over the usual beat's, as a share
	low        float64 // mean load of the flight's inner part, over the usual beat's height
	rhythmGain float64 // nats by which the rhythm around prefers the jump to plain strides
}

// shape fills what needs only the load.
func (p *piece) shape(a, b peak, r rhythm) flight {
	f := flight{push: a, land: b}
	f.hP, f.hL = a.h/r.high, b.h/r.high
	i, j := p.idx(a.t+pushToEdge+0.02), p.idx(b.t-edgeToLand-0.02)
	if j <= i {
		i, j = (a.i+b.i)/2, (a.i+b.i)/2
	}
	var s float64
	for k := i; k <= j; k++ {
		s += p.load[k]
	}
	f.low = s / float64(j-i+1) / r.high
	return f
}

// shapeCost is the cost in nats of taking a and b as a jump's two peaks.
func (p *piece) shapeCost(a, b peak, r rhythm) float64 {
	dt := b.t - a.t
	air := dt - pushToEdge - edgeToLand
	// flights of 0.28 to 0.7 s (apex and take-off speeds of Santamaria et al. 2004, Clayton et al. 1995), with room for the peaks' own doubt
	if air < 0.2 || air > 0.85 {
		return math.Inf(1)
	}
	c := 5.0
	c += sq(math.Max(0, 0.28-air)/0.03) + sq(math.Max(0, air-0.7)/0.05)
	f := p.shape(a, b, r)
	c -= 4 * math.Max(-1.5, math.Min(1, f.hP-1))
	c -= 4 * math.Max(-1.5, math.Min(1, f.hL-1))
	c += 5 * math.Max(-1, math.Min(3, f.low+0.55))
	return c
}
