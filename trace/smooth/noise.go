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

// best is a coordinate search in the logarithms from given levels on, in steps of firstStep down to 2.5 %.
func (s *search) best(from levels, firstStep float64) (best levels, top float64) {
	best, top = from, s.score(from)
	speed := len(best) - 1
	for step := firstStep; step > 0.02; step /= 2 {
		for moved := true; moved; {
			moved = false
			for i := range best {
				if i == speed && from[speed] == 0 {
					continue
				}
				for _, d := range [2]float64{step, -step} {
					try := best
					try[i] += d
					// Levels beyond e^±6 of their start are not a receiver's or a horse's. A device smooths its
					// speed, so that its errors hang together and look smaller than they are.
					if math.Abs(try[i]-s.lean[i]) > 6 || i == speed && try[i] < s.lean[i]-math.Ln2 {
						continue
					}
					if now := s.score(try); now > top {
						best, top, moved = try, now, true
						break
					}
				}
			}
		}
	}
	return best, top
}

// firstNoise chooses the kind of receiver and finds its noise levels for the first time. The finer kind is looked at
// only where fixes are smoother than the usual receiver's can be, to save half of the time.
func (t *Track) firstNoise(starts [2]Noise) (n, start Noise) {
	s := t.newSearch(starts[0])
	usual, top := s.best(s.lean, 0.4)
	const smoothM = 0.08
	if n := usual.noise(); n.WhiteM > smoothM {
		return n, starts[0]
	}
	s.lean = starts[1].levels()
	if fine, finest := s.best(s.lean, 0.4); finest > top {
		return fine.noise(), starts[1]
	}
	return usual.noise(), starts[0]
}

// levels are the logarithms of the noise levels, in the order of leanSD; the speed's is 0 where there is none.
type levels [5]float64

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
