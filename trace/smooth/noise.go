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

// estimate finds the noise levels that make the fixes most likely, given the way and the
// weights as they are: a coordinate search in the logarithms, with the start as a weak prior,
// from steps of firstStep down to 2.5 %. It returns the logarithm of their likelihood times the prior too.
func (t *Track) estimate(from, start Noise, firstStep float64) (Noise, float64) {
	sample := t.sample()
	steps := make([]stepper, len(sample))
	for i, nodes := range sample {
		steps[i] = storedSteps(nodes)
	}
	lean := start.levels()
	best := from.levels()
	score := func(l [5]float64) float64 {
		sum := 0.0
		for i, nodes := range sample {
			ll, ok := filter(nodes, steps[i], noiseOf(l), false)
			if !ok {
				return math.Inf(-1)
			}
			sum += ll
		}
		for i := range l {
			d := (l[i] - lean[i]) / leanSD[i]
			sum -= d * d / 2
		}
		return sum
	}
	top := score(best)
	levels := len(best)
	if from.SpeedMS == 0 {
		levels--
	}
	for step := firstStep; step > 0.02; step /= 2 {
		for moved := true; moved; {
			moved = false
			for i := range levels {
				for _, d := range [2]float64{step, -step} {
					try := best
					try[i] += d
					// Levels beyond e^±6 of their start are not a receiver's or a horse's. A device smooths its
					// speed, so that its errors hang together and look smaller than they are.
					if math.Abs(try[i]-lean[i]) > 6 || i == len(best)-1 && try[i] < lean[i]-math.Ln2 {
						continue
					}
					if s := score(try); s > top {
						best, top, moved = try, s, true
						break
					}
				}
			}
		}
	}
	return noiseOf(best), top
}

// levels are the logarithms of the noise levels; the speed's is 0 where there is none.
func (n Noise) levels() (l [5]float64) {
	for i, v := range [...]float64{n.WhiteM, n.WanderM, n.ThrustMS2, n.SwerveMS2, n.SpeedMS} {
		if v > 0 {
			l[i] = math.Log(v)
		}
	}
	return l
}

func noiseOf(l [5]float64) Noise {
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
