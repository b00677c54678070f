package detect

import (
	"math"

	"groundline/trace"
)

// The flight between the hooves' contacts: 0.28 to 0.7 s, from apex heights and take-off speeds of
// Santamaria et al. 2004 and Clayton et al. 1995. A lull at half height is longer by up to a tenth of a second, since the load falls before the
// last hoof leaves and rises after the first has touched; beyond the outer limits nothing is a flight.
const (
	airMinS, airMaxS     = 0.28, 0.78
	airNeverS, airAlways = 0.20, 1.00
)

// edge is a steep side of a flight: the moment at which the load is half way between the
// flight's level and the peak, and how steep it is there.
type edge struct {
	t     float64 // s
	slope float64 // m/s³, positive
}

// lull is what lies between two load peaks: in a jump the flight, in a canter the suspension.
type lull struct {
	fall, rise edge
	level      float64 // mean load of its middle third, m/s²
	spread     float64 // standard deviation there, m/s²
	force      float64 // median size of the whole force in its middle third, m/s²
	bump       float64 // by how much the highest load between the edges lies above the level, m/s²
	ok         bool    // false where the load has no such sides
}

func (l lull) widthS() float64 { return l.rise.t - l.fall.t }

// top is the highest load within a tenth of a second of sample i: a peak of the smoothed wave may lie beside it.
func (p *piece) top(i int) (int, float64) {
	const reach = int(0.1 / stepS)
	best := i
	for k := max(0, i-reach); k <= min(p.n-1, i+reach); k++ {
		if p.load[k] > p.load[best] {
			best = k
		}
	}
	return best, p.load[best]
}

// lullBetween measures the lull between two peaks in a wave x of the load.
func (p *piece) lullBetween(x []float64, a, b peak) (l lull) {
	i, hi := p.top(a.i)
	j, hj := p.top(b.i)
	if j-i < int(airNeverS/stepS) {
		return l
	}
	m, q := (i+j)/2, (j-i)/6
	in := x[m-q : m+q+1]
	l.level = median(in)
	for _, y := range in {
		l.spread += (y - l.level) * (y - l.level)
	}
	l.spread = math.Sqrt(l.spread / float64(len(in)))
	whole := make([]float64, 0, len(in))
	for k := m - q; k <= m+q; k++ {
		whole = append(whole, math.Sqrt(p.a[0][k]*p.a[0][k]+p.a[1][k]*p.a[1][k]+p.a[2][k]*p.a[2][k]))
	}
	l.force = median(whole)
	if hi <= l.level || hj <= l.level {
		return l
	}
	// from the last moment before the middle with four fifths of the peak's height, on to the half
	k := m
	for k > i && x[k] < l.level+0.8*(hi-l.level) {
		k--
	}
	half := l.level + 0.5*(hi-l.level)
	for ; k < m; k++ {
		if d := x[k] - x[k+1]; x[k] >= half && x[k+1] < half {
			l.fall = edge{p.at(float64(k) + (x[k]-half)/d), d / stepS}
			break
		}
	}
	k = m
	for k < j && x[k] < l.level+0.8*(hj-l.level) {
		k++
	}
	half = l.level + 0.5*(hj-l.level)
	for ; k > m; k-- {
		if d := x[k] - x[k-1]; x[k] >= half && x[k-1] < half {
			l.rise = edge{p.at(float64(k) - (x[k]-half)/d), d / stepS}
			break
		}
	}
	l.ok = l.fall.slope > 0 && l.rise.slope > 0 && l.rise.t > l.fall.t
	if l.ok {
		for k := p.idx(l.fall.t + 0.03); k < p.idx(l.rise.t-0.03); k++ {
			l.bump = math.Max(l.bump, x[k]-l.level)
		}
	}
	return l
}

// shapeCost is the cost in nats of taking a lull and the peaks on its sides for a jump's flight, push-off and landing: what a jump
// must overcome, less what speaks for it. A flight is longer than this horse's own suspensions (published flights last 0.28 to
// 0.7 s), sinks at least as deep, because both are free fall, and the landing loads more than a stride does; the push-off may,
// but on an arm it hardly shows.
func shapeCost(l lull, a, b peak, r rhythm, gravityGone bool) float64 {
	w := l.widthS()
	if !l.ok || w < airNeverS || w > airAlways || !(r.high > 0) {
		return math.Inf(1)
	}
	c := 7.0
	c += gaussCost(math.Max(0, airMinS-w)/0.03) + gaussCost(math.Max(0, w-airMaxS)/0.05)
	c -= math.Min(8, gaussCost(math.Max(0, w-r.width)/r.widthSD))
	// nowhere near free fall: along up, and whichever way up may be
	c += gaussCost(math.Max(0, l.level/gravityMS2+0.35) / 0.1)
	if !gravityGone {
		c += gaussCost(math.Max(0, l.force/gravityMS2-0.7) / 0.08)
	}
	z := (r.level - l.level) / r.levelSD
	if z > 0 {
		c -= math.Min(3, z)
	} else {
		c += math.Min(6, gaussCost(z))
	}
	c -= 3 * math.Max(-0.5, math.Min(1, a.h/r.high-1))
	c -= 3 * math.Max(-1.5, math.Min(1, b.h/r.high-1))
	c += math.Min(8, gaussCost(math.Max(0, l.bump/(r.high-l.level)-0.5)/0.15))
	return c
}

// place is where a hoof's contact lies after a mark on the load's edge, s, and the doubt about that.
type place struct{ afterS, sdS float64 }

// Where the last hind hoof leaves after the moment at which the load has fallen half way, and where the first fore hoof
// touches after the moment at which it has risen by footShare: what the trunk feels is not what the hooves do. A pad, a seat and a pocket's
// cloth lag behind, the trunk's own turning adds or takes away, and how a limb lets go differs from horse to horse. A ride has one
// such offset, which nothing in it shows, so that the doubt about it does not shrink with the number of jumps; published floors for
// hoof events from sensors on trunk and limbs are 20 to 40 ms for one event (Olsen, Andersen & Pfau 2012: 23 to 25 ms). The centres
// lie in the middle of made worlds of unlike make (sines of one shape; forces at the hooves), by the way of carrying that
// [Mounting] finds, and the doubts reach over both with room for others.
var (
	takeoffAfterFall = [...]place{MountUnknown: {0.026, 0.014}, MountSteady: {0.029, 0.010}, MountTurning: {0.018, 0.015}, MountSwinging: {0.024, 0.012}}
	landingAfterFoot = [...]place{MountUnknown: {-0.006, 0.024}, MountSteady: {0.006, 0.012}, MountTurning: {-0.010, 0.028}, MountSwinging: {0, 0.021}}
)

// footShare is the share of the rise from the flight's level to the landing's peak at which the fore hoof's touch is looked for: low, so
// that it matters little how stiff the pad is, but above the flight's own unevenness.
const footShare = 0.15

// The rest of the doubt, other at every jump. Its parts were fitted (Student's t of five degrees, so that single strays don't rule) to
// one generator's rounds as they are, thinned to 25 and 12.5 Hz, and with noise of 0.5 to 2 m/s² added.
const (
	edgeFloorS   = 0.0013
	edgeUneven   = 0.62 // of the beats' unevenness over the edge's steepness
	edgeSpread   = 0.52 // of the flight's own spread over it
	edgeNoise    = 0.50 // of the sample noise over it
	edgeStepPerS = 1.2  // of the sampling step squared: what lies between samples
	// clippedDoubtS is added where the peak was cut off, so that its half height is not known: the rounds with
	// everything above 2 g cut off.
	clippedDoubtS = 0.0045
	// pushToTakeoffS is from the push-off's load peak to take-off, landingToLandS from landing to its load peak, and peakDoubtS
	// the doubt, where an edge is missing and the peak must do: half of a stance of 0.2 s, which Clayton & Barlow 1989 give for
	// jumps, give or take a third.
	pushToTakeoffS = 0.1
	landingToLandS = 0.1
	peakDoubtS     = 0.035
)

// timeJump finds take-off and landing at the flight's edges.
func (p *piece) timeJump(a, b peak, r rhythm) (takeoff, landing trace.Estimate) {
	l := p.lullBetween(p.v, a, b)
	if !l.ok {
		return trace.FromSD(a.t+pushToTakeoffS, peakDoubtS), trace.FromSD(b.t-landingToLandS, peakDoubtS)
	}
	doubt := func(e edge, q peak, offset place) float64 {
		u, s := edgeUneven*r.uneven/e.slope, edgeSpread*l.spread/e.slope
		n, d := edgeNoise*p.noise/e.slope, edgeStepPerS*p.dtS*p.dtS
		c := 0.0
		if p.clipped(q) {
			c = clippedDoubtS
		}
		return math.Sqrt(edgeFloorS*edgeFloorS + u*u + s*s + n*n + d*d + c*c + offset.sdS*offset.sdS)
	}
	up, down := takeoffAfterFall[p.mount], landingAfterFoot[p.mount]
	foot := p.footOf(l, b)
	return trace.FromSD(l.fall.t+up.afterS, doubt(l.fall, a, up)), trace.FromSD(foot+down.afterS, doubt(l.rise, b, down))
}

// footOf is the moment at which the load begins to rise at a lull's end, s.
func (p *piece) footOf(l lull, b peak) float64 {
	_, high := p.top(b.i)
	limit := l.level + footShare*(high-l.level)
	k := p.idx(l.rise.t)
	for k > p.idx(l.fall.t) && p.v[k] > limit {
		k--
	}
	if k+1 < p.n && p.v[k+1] > p.v[k] {
		return math.Min(l.rise.t, p.at(float64(k)+math.Max(0, math.Min(1, (limit-p.v[k])/(p.v[k+1]-p.v[k])))))
	}
	return p.at(float64(k))
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

// gainSlope turns nats of gain into log odds. Where noise of up to 3 m/s² or an arm's sway of up to 4 m/s² is added to labelled
// rounds, jumps and other candidates meet, and a logistic regression there gives 0.37 to 0.38 whichever kind of horse
// is left out (TestConfidence does it again).
const gainSlope = 0.36

// confidence is the probability that a candidate was a jump, from the nats by which the ride is better told with
// it than without.
func confidence(gain float64) float64 { return 1 / (1 + math.Exp(-gainSlope*gain)) }

// gainOf is the gain that has confidence p, in (0, 1).
func gainOf(p float64) float64 { return math.Log(p/(1-p)) / gainSlope }
