package detect

import (
	"math"

	"groundline/trace"
)

// The flight between the hooves' contacts: 0.28 to 0.7 s, from apex heights and take-off speeds of
// Santamaria et al. 2004 and Clayton et al. 1995; beyond the outer limits nothing is a flight.
const (
	airMinS, airMaxS     = 0.28, 0.70
	airNeverS, airAlways = 0.20, 0.85
)

// shapeCost is the cost in nats of taking peaks a and b as a jump's push-off and landing:
// what a jump must overcome, less what its peaks rise above the horse's own beats and
// the flight sinks below them. The figures are set so that an even chance comes out at zero gain on
// the labelled rounds (see confidence).
func (p *piece) shapeCost(a, b peak, r rhythm) float64 {
	air := b.t - a.t - pushToTakeoffS - landingToLandS
	if air < airNeverS || air > airAlways || !(r.high > 0) {
		return math.Inf(1)
	}
	i, j := p.idx(a.t+pushToTakeoffS+0.02), p.idx(b.t-landingToLandS-0.02)
	var low float64
	for k := i; k <= j; k++ {
		low += p.load[k]
	}
	low /= float64(max(1, j-i+1)) * r.high
	c := 5.0
	c += gaussCost(math.Max(0, airMinS-air)/0.03) + gaussCost(math.Max(0, air-airMaxS)/0.05)
	c -= 4 * math.Max(-1.5, math.Min(1, a.h/r.high-1))
	c -= 4 * math.Max(-1.5, math.Min(1, b.h/r.high-1))
	// a canter's suspension sinks to about half a beat's height below the mean
	c += 5 * math.Max(-1, math.Min(3, low+0.55))
	return c
}

// flightCost is shapeCost with what lies between the two peaks: a bump in the flight is the
// rider's or the arm's, a loaded one is a stride.
func (p *piece) flightCost(pk []peak, r rhythm, j, k int) float64 {
	c := p.shapeCost(pk[j], pk[k], r)
	if math.IsInf(c, 1) {
		return c
	}
	for q := j + 1; q < k; q++ {
		c += gaussCost(math.Max(0, pk[q].h+0.3*r.high) / (0.3 * r.high))
	}
	return c
}

// edge is a steep side of a flight: the moment at which the load is half way between the
// flight's level and the peak, and how steep it is there.
type edge struct {
	t     float64 // s
	slope float64 // m/s³, positive
}

// edges are the fall after the push-off and the rise before the landing; ok is false where the load has
// no such sides. spread is the standard deviation of the flight's middle third around its level, m/s².
func (p *piece) edges(a, b peak) (fall, rise edge, spread float64, ok bool) {
	i, j := a.i, b.i
	m, q := (i+j)/2, (j-i)/6
	in := p.v[m-q : m+q+1]
	level := median(in)
	for _, x := range in {
		spread += (x - level) * (x - level)
	}
	spread = math.Sqrt(spread / float64(len(in)))
	// from the last moment before the middle with four fifths of the peak's height, on to the half
	k := m
	for k > i && p.v[k] < level+0.8*(p.load[i]-level) {
		k--
	}
	half := level + 0.5*(p.load[i]-level)
	for ; k < m; k++ {
		if d := p.v[k] - p.v[k+1]; p.v[k] >= half && p.v[k+1] < half {
			fall = edge{p.at(float64(k) + (p.v[k]-half)/d), d / stepS}
			break
		}
	}
	k = m
	for k < j && p.v[k] < level+0.8*(p.load[j]-level) {
		k++
	}
	half = level + 0.5*(p.load[j]-level)
	for ; k > m; k-- {
		if d := p.v[k] - p.v[k-1]; p.v[k] >= half && p.v[k-1] < half {
			rise = edge{p.at(float64(k) - (p.v[k]-half)/d), d / stepS}
			break
		}
	}
	return fall, rise, spread, fall.slope > 0 && rise.slope > 0
}

// The hooves against the load's edges, and the doubt about them: medians over the labelled rounds. The doubt's parts were
// fitted (Student's t of five degrees, so that single strays don't rule) to the rounds as they are, thinned
// to 25 and 12.5 Hz, and with noise of 0.5 to 2 m/s² added; fitted on every other ride, they cover 84 to 90 % of the
// rest's take-offs and 78 to 90 % of its landings, on all rides together nine in ten. TestScore prints
// the coverage.
const (
	fallToTakeoffS = 0.0236
	riseToLandingS = -0.0141
	edgeFloorS     = 0.0013
	edgeUneven     = 0.62 // of the beats' unevenness over the edge's steepness
	edgeSpread     = 0.52 // of the flight's own spread over it
	edgeNoise      = 0.50 // of the sample noise over it
	edgeStepPerS   = 1.2  // of the sampling step squared: what lies between samples
	// clippedDoubtS is added where the peak was cut off, so that its half height is not known: the rounds with
	// everything above 2 g cut off.
	clippedDoubtS = 0.0045
	// peakDoubtS is the doubt where an edge is missing and the peak must do.
	peakDoubtS = 0.02
)

// timeJump tells take-off and landing from the flight's edges.
func (p *piece) timeJump(a, b peak, r rhythm) (takeoff, landing trace.Estimate) {
	fall, rise, spread, ok := p.edges(a, b)
	if !ok {
		return trace.FromSD(a.t+pushToTakeoffS, peakDoubtS), trace.FromSD(b.t-landingToLandS, peakDoubtS)
	}
	doubt := func(e edge, q peak) float64 {
		u, s := edgeUneven*r.uneven/e.slope, edgeSpread*spread/e.slope
		n, d := edgeNoise*p.noise/e.slope, edgeStepPerS*p.dtS*p.dtS
		c := 0.0
		if p.clipped(q) {
			c = clippedDoubtS
		}
		return math.Sqrt(edgeFloorS*edgeFloorS + u*u + s*s + n*n + d*d + c*c)
	}
	return trace.FromSD(fall.t+fallToTakeoffS, doubt(fall, a)), trace.FromSD(rise.t+riseToLandingS, doubt(rise, b))
}

// clipped tells whether the sensor stopped within a tenth of a second of the peak.
func (p *piece) clipped(q peak) bool {
	if p.clipMS2 == 0 {
		return false
	}
	for i := max(0, q.i-5); i < min(p.n, q.i+6); i++ {
		for c := range p.a {
			// resampling may take the edge off a cut top
			if math.Abs(p.a[c][i]) > 0.95*p.clipMS2 {
				return true
			}
		}
	}
	return false
}

// gainSlope turns nats of gain into log odds. On the labelled rounds as they are, every jump gains more than 3 and
// everything else less than -6; with noise of up to 3 m/s² or an arm's sway of up to 4 m/s² added the two meet, and a
// logistic regression there gives 0.78 to 1.3 depending on which kind of horse is left out (TestConfidence does it again).
// Less is taken, because real sensors have more ways to mislead.
const gainSlope = 0.6

// confidence is the probability that a candidate was a jump, from the nats by which the ride is better told with
// it than without.
func confidence(gain float64) float64 { return 1 / (1 + math.Exp(-gainSlope*gain)) }

// gainOf is the gain that has confidence p, in (0, 1).
func gainOf(p float64) float64 { return math.Log(p/(1-p)) / gainSlope }
