package smooth

import "math"

// startNoise are where the search for the noise levels starts, and what it leans on where the ride does
// not tell: published sizes of receivers' errors and of a horse's accelerations. The first is the usual
// receiver at this rate, the second one with corrections from a base.
func startNoise(rateHz float64, hasSpeed bool) [2]Noise {
	n := Noise{
		// A 1-Hz wrist receiver: metres of error that move slowly, decimetres from fix to fix; a
		// stand-alone 10-Hz logger: about 0.7 m per axis (three quarters of the errors
		// within 1.04 m) and speed good to 0.05 m/s (O. Gloersen, J. Kocbach and M. Gilgien, Front.
		// Physiol. 9, 2018, 1425), so little from fix to fix.
		WhiteM: 0.25, WanderM: 1.2,
		// Round a 10-m turn at 5 m/s a horse accelerates by 2.5 m/s² across its way; half the
		// round is turns. Along its way changes of 1 m/s take about two seconds.
		ThrustMS2: 0.5, SwerveMS2: 1.5,
	}
	if rateHz > 3 {
		n.WhiteM, n.WanderM = 0.12, 0.6
	}
	if hasSpeed {
		// Speed of a 1-Hz receiver: 45 % within 0.2 m/s, 64 % within 0.4 m/s (T. H. Witte
		// and A. M. Wilson, J. Biomech. 37, 2004, 1891-1898).
		n.SpeedMS = 0.35
		if rateHz > 3 {
			n.SpeedMS = 0.1
		}
	}
	fine := n
	fine.WhiteM, fine.WanderM = 0.01, 0.05 // carrier-phase fixes are good to a centimetre or two
	return [2]Noise{n, fine}
}

// leanSD is how far, in units of the natural logarithm, a level may stray from its start before
// the start resists: one standard deviation of a log-normal prior. The wander hardly strays: what looks
// like more of it in a ride is the horse's own unevenness.
var leanSD = [...]float64{1.0, 0.05, 0.5, 0.5, 1.0}

// searchNodes bounds the nodes that the noise levels are estimated from: enough for 3 %.
const searchNodes = 3000

// search looks for the noise levels that make some of a track's fixes most likely, given the way and the weights
// as they are.
type search struct {
	sample [][]node
	steps  []stepper
	// lean is what the levels' prior is about.
	lean levels
}

func (t *Track) newSearch(lean Noise) *search {
	s := &search{sample: t.sample(), lean: lean.levels()}
	for _, nodes := range s.sample {
		s.steps = append(s.steps, storedSteps(nodes))
	}
	return s
}

// score is the logarithm of the levels' likelihood times their prior.
func (s *search) score(l levels) float64 {
	sum := 0.0
	for i, nodes := range s.sample {
		ll, ok := filter(nodes, s.steps[i], l.noise(), false)
		if !ok {
			return math.Inf(-1)
		}
		sum += ll
	}
	for i := range l {
		d := (l[i] - s.lean[i]) / leanSD[i]
		sum -= d * d / 2
	}
	return sum
}

// within keeps levels where they can be: beyond e^±6 of their start they are not a receiver's or a horse's, and a device smooths its
// speed, so that its errors hang together and look smaller than they are.
func (s *search) within(l levels) levels {
	for i := range l {
		least := s.lean[i] - 6
		if i == speedLevel {
			if l[i] == 0 {
				continue
			}
			least = s.lean[i] - math.Ln2
		}
		l[i] = min(max(l[i], least), s.lean[i]+6)
	}
	return l
}

// curvature is the inverse of the score's second derivatives, turned positive: how a step follows from a gradient.
type curvature [len(levels{})][len(levels{})]float64

// best climbs from given levels to the best by a quasi-Newton method (BFGS; J. Nocedal and S. J. Wright, Numerical Optimization, 2nd ed.,
// 2006, eq 6.17) until a step is below 2 %. The gradient is of differences. know holds what an earlier search found of the
// curvature, and after it what this one did; nil or zero: it is measured.
func (s *search) best(from levels, know *curvature) (best levels, top float64) {
	const (
		near    = 0.002 // of one-sided differences
		far     = 0.05  // of second differences
		longest = 1.0
		enough  = 0.02
		rounds  = 40
		stale   = 6 // rounds since the curvature was measured
	)
	best = s.within(from)
	top = s.score(best)
	free := func(i int) bool { return i != speedLevel || from[speedLevel] != 0 }
	measure := *know == curvature{}
	measuredAt := -1
	var last, lastStep levels
	for round := range rounds {
		var g levels
		if measure {
			*know, measuredAt = curvature{}, round
		}
		for i := range g {
			if !free(i) {
				continue
			}
			up := best
			if measure {
				down := best
				up[i] += far
				down[i] -= far
				ahead, back := s.score(up), s.score(down)
				g[i] = (ahead - back) / (2 * far)
				know[i][i] = 1 / max(math.Abs(ahead-2*top+back)/(far*far), 1/(leanSD[i]*leanSD[i]))
				continue
			}
			up[i] += near
			g[i] = (s.score(up) - top) / near
		}
		if round > 0 && !measure {
			know.learn(lastStep, g, last)
		}
		measure = false
		step := know.step(g)
		for i, v := range step {
			step[i] = min(max(v, -longest), longest)
		}
		asked := step.most()
		accepted := false
		for range 6 {
			try := best
			for i := range try {
				try[i] += step[i]
			}
			try = s.within(try)
			for i := range try {
				step[i] = try[i] - best[i]
			}
			if now := s.score(try); now > top {
				best, top, accepted = try, now, true
				break
			}
			for i := range step {
				step[i] /= 3
			}
		}
		if small := asked < enough || accepted && step.most() < enough; small || !accepted {
			if round-measuredAt <= stale && (small || measuredAt == round) {
				break
			}
			measure = true // what was known of the curvature may hold no longer
			continue
		}
		last, lastStep = g, step
	}
	return best, top
}

// most is the greatest of the levels' sizes.
func (l levels) most() (m float64) {
	for _, v := range l {
		m = max(m, math.Abs(v))
	}
	return m
}

// step is the Newton step for a gradient.
func (c *curvature) step(g levels) (step levels) {
	for i := range step {
		for j := range g {
			step[i] += c[i][j] * g[j]
		}
	}
	return step
}

// learn takes in how the gradient changed over a step.
func (c *curvature) learn(step, now, before levels) {
	var y levels // of the score turned upside down
	sy := 0.0
	for i := range y {
		y[i] = before[i] - now[i]
		sy += step[i] * y[i]
	}
	if !(sy > 1e-9) {
		return // not convex along the step
	}
	cy := c.step(y)
	yCy := 0.0
	for i := range y {
		yCy += y[i] * cy[i]
	}
	for i := range step {
		for j := range step {
			c[i][j] += (1+yCy/sy)*step[i]*step[j]/sy - (cy[i]*step[j]+step[i]*cy[j])/sy
		}
	}
}

// firstNoise chooses the kind of receiver and finds its noise levels for the first time. The finer kind is looked at
// only where fixes are smoother than the usual receiver's can be, to save half of the time.
func (t *Track) firstNoise(starts [2]Noise, know *curvature) (n, start Noise) {
	s := t.newSearch(starts[0])
	usual, top := s.best(s.lean, know)
	const smoothM = 0.08
	if n := usual.noise(); n.WhiteM > smoothM {
		return n, starts[0]
	}
	s.lean = starts[1].levels()
	other := curvature{}
	if fine, finest := s.best(s.lean, &other); finest > top {
		*know = other
		return fine.noise(), starts[1]
	}
	return usual.noise(), starts[0]
}

// levels are the logarithms of the noise levels, in the order of leanSD; the speed's is 0 where there is none.
type levels [5]float64

// speedLevel is the place of the device's own speed among the levels.
const speedLevel = 4

func (n Noise) levels() (l levels) {
	for i, v := range [...]float64{n.WhiteM, n.WanderM, n.ThrustMS2, n.SwerveMS2, n.SpeedMS} {
		if v > 0 {
			l[i] = math.Log(v)
		}
	}
	return l
}

func (l levels) noise() Noise {
	n := Noise{WhiteM: math.Exp(l[0]), WanderM: math.Exp(l[1]), ThrustMS2: math.Exp(l[2]), SwerveMS2: math.Exp(l[3])}
	if l[4] != 0 {
		n.SpeedMS = math.Exp(l[4])
	}
	return n
}

// sample is all nodes or, of a long ride, blocks of them spread evenly over it.
func (t *Track) sample() [][]node {
	total := 0
	for _, p := range t.Pieces {
		total += len(p.nodes)
	}
	const block = 300
	every := 1
	if total > searchNodes {
		every = (total + searchNodes - 1) / searchNodes
	}
	var out [][]node
	count := 0
	for _, p := range t.Pieces {
		for from := 0; from < len(p.nodes); from += block {
			to := min(from+block, len(p.nodes))
			if every == 1 {
				to = len(p.nodes)
			}
			part := p.nodes[from:to]
			for len(part) > 0 && part[0].fix < 0 {
				part = part[1:] // a block starts at a fix, which places it
			}
			if count%every == 0 && len(part) > 0 {
				out = append(out, part)
			}
			count++
			if every == 1 {
				break
			}
		}
	}
	return out
}
