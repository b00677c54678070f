package detect

import "math"

// The gait windows: two seconds hold three canter strides; a fifth of a second is how finely their centres lie.
const (
	winS    = 2.0
	winHopS = 0.2
	// decim brings the load to 25 Hz before the windows are taken: the highest wave that tells a
	// gait is the second harmonic of a pony's trot, below 7 Hz.
	decim = 4
)

// The bands of the vertical wave. A canter is one wave a stride at 1.4 to 2.3 Hz, a walk
// two waves a stride of about 1.1 s (1.6 to 2.2 Hz), a trot two waves a stride of 0.6 to 0.8 s (2.5 to 3.4 Hz):
// strides of Groppi 2008, Deuel & Park 1991, Tranquille et al. 2017, with room for ponies.
const (
	lowFromHz, lowToHz     = 1.3, 2.35
	highFromHz, highToHz   = 2.45, 3.7
	quickFromHz, quickToHz = 3.0, 4.6 // the second harmonic of a walk's wave, above an arm's sway
	bandStepHz             = 0.1
	// no gait's wave but its weak high harmonics lies here: what is found is the sensor's noise
	noiseFromHz, noiseToHz, noiseStepHz = 6.0, 9.0, 0.25
)

// gaitWin is what one window shows.
type gaitWin struct {
	t       float64
	level   float64 // ln of the power in both bands, (m/s²)²
	ratio   float64 // ln of the power in the high band over the low band
	peakHz  float64 // frequency of the strongest line in the low band
	trotHz  float64 // and in the high band
	slow    float64 // ln of the power at 0.5 to 1.1 Hz
	quick   float64 // ln of the power at 3.0 to 4.6 Hz, the sensor's noise taken out
	powLow  float64
	powHigh float64
}

// windows are the features along a piece between two moments; what lies outside is not looked at,
// so that windows at the ends hold less.
func (p *piece) windows(fromS, toS float64) []gaitWin {
	first, last := p.idx(fromS), p.idx(toS)
	half := int(winS / 2 / (stepS * decim))
	// the quick smoothing reaches three of its widths
	const reach = 10
	lo, hi := max(0, first-reach), min(p.n, last+1+reach)
	x := smooth(p.v[lo:hi], 0.03)
	x = x[first-lo : last+1-lo]
	m := len(x) / decim
	if m < half/2 {
		return nil
	}
	d := make([]float64, m)
	for i := range d {
		d[i] = x[i*decim]
	}
	var freqs []float64
	for f := 0.5; f <= quickToHz+1e-9; f += bandStepHz {
		freqs = append(freqs, f)
	}
	bands := len(freqs)
	for f := noiseFromHz; f <= noiseToHz+1e-9; f += noiseStepHz {
		freqs = append(freqs, f)
	}
	// white noise in the quick band for what is found in the noise band, from the smoothing's response
	var inQuick, inNoise float64
	for j, f := range freqs {
		r := smoothPower(f, 0.015) * smoothPower(f, 0.03)
		switch {
		case j >= bands:
			inNoise += r
		case f >= quickFromHz-1e-9:
			inQuick += r
		}
	}
	// Hann-weighted cosine and sine tables; scaled so that the sum over bins is the power.
	L := 2*half + 1
	cs := make([]float64, len(freqs)*L)
	sn := make([]float64, len(freqs)*L)
	var sw, sw2 float64
	wt := make([]float64, L)
	for k := range wt {
		wt[k] = 0.5 * (1 + math.Cos(math.Pi*float64(k-half)/float64(half+1)))
		sw += wt[k]
		sw2 += wt[k] * wt[k]
	}
	dt := stepS * decim
	scale := math.Sqrt(2 * bandStepHz * dt / sw2)
	for j, f := range freqs {
		for k := 0; k < L; k++ {
			a := 2 * math.Pi * f * float64(k-half) * dt
			cs[j*L+k] = wt[k] * math.Cos(a) * scale
			sn[j*L+k] = wt[k] * math.Sin(a) * scale
		}
	}
	hop := int(math.Round(winHopS / dt))
	var out []gaitWin
	seg := make([]float64, L)
	pow := make([]float64, len(freqs))
	for c := 0; c < m; c += hop {
		var mean float64
		cnt := 0.0
		for k := 0; k < L; k++ {
			i := c + k - half
			if i < 0 || i >= m {
				seg[k] = math.NaN()
				continue
			}
			seg[k] = d[i]
			mean += d[i] * wt[k]
			cnt += wt[k]
		}
		mean /= cnt
		for k := range seg {
			if math.IsNaN(seg[k]) {
				seg[k] = 0
			} else {
				seg[k] -= mean
			}
		}
		edge := sw / cnt // windows hanging over the edge hold less
		for j := range freqs {
			var a, b float64
			cc, ss := cs[j*L:j*L+L], sn[j*L:j*L+L]
			for k, y := range seg {
				a += y * cc[k]
				b += y * ss[k]
			}
			pow[j] = (a*a + b*b) * edge
		}
		g := gaitWin{t: p.at(float64(first)) + float64(c)*dt}
		best, bestHigh := -1.0, -1.0
		var slow float64
		for j, f := range freqs[:bands] {
			switch {
			case f >= lowFromHz-1e-9 && f <= lowToHz+1e-9:
				g.powLow += pow[j]
				if pow[j] > best {
					best, g.peakHz = pow[j], f
				}
			case f >= highFromHz-1e-9 && f <= highToHz+1e-9:
				g.powHigh += pow[j]
				if pow[j] > bestHigh {
					bestHigh, g.trotHz = pow[j], f
				}
			case f < 1.1+1e-9:
				slow += pow[j]
			}
		}
		var quick, noise float64
		for j, f := range freqs {
			switch {
			case j >= bands:
				noise += pow[j] * inQuick / inNoise
			case f >= quickFromHz-1e-9:
				quick += pow[j]
			}
		}
		quick = math.Max(quick-noise, 0.1*noise)
		const floor = 1e-4 // (m/s²)², below any sensor's noise
		g.level = math.Log(g.powLow + g.powHigh + floor)
		g.ratio = math.Log((g.powHigh + floor/10) / (g.powLow + floor/10))
		g.slow = math.Log(slow + floor)
		g.quick = math.Log(quick + floor)
		out = append(out, g)
	}
	return out
}

// gaitSizes are the sizes of the gaits' waves on this ride: ln of the power, (m/s²)², as in gaitWin.level.
type gaitSizes struct{ walk, trot, canter float64 }

// The usual sizes and how far a ride may be from them. A real walk moves a trunk by 1.6 to 2.5 m/s² at the withers and by 4.2 to
// 5.4 at the croup, a trot by 7.0 to 7.6 (one horse's markers, all frequencies); a canter's first harmonic is 6.4 to 7.8
// m/s² high (eleven digitised films). Where a sensor is carried (saddle, seat, pocket, arm) makes all of a ride's waves larger or
// smaller together, by a factor of two and more either way: carrySD, of the ln of the power. By how much a walk is smaller than the
// other two differs from horse to horse (walkSD); trot and canter are much alike (strideSizeSD).
var usualSizes = gaitSizes{walk: 0.9, trot: 3.3, canter: 3.5}

const (
	carrySD      = 0.9
	walkSD       = 0.7
	strideSizeSD = 0.35
	levelSD      = 0.7 // of one window
)

// learnSizes finds the likeliest sizes of the gaits' waves on this ride, and the gait of each window with them: first the
// carrying's share and the walk's own are tried in steps, then each size moves to the median of its windows as far as its prior lets
// it.
func learnSizes(w []gaitWin) (gaitSizes, []Gait) {
	all := []Gait{Halt, Walk, Trot, Canter}
	some := w
	if k := len(w)/sizeWindows + 1; k > 1 {
		// a long recording's sizes show in a part of its windows; a change of gait between them is no dearer
		some = nil
		for i := 0; i < len(w); i += k {
			some = append(some, w[i])
		}
	}
	try := func(w []gaitWin, s gaitSizes) ([]Gait, float64) {
		return gaitPathCost(len(w), all, func(i int, g Gait) float64 { return gaitCost(w[i], g, s) })
	}
	const step, reach = 0.5, 5
	best, carried, least := usualSizes, 0.0, math.Inf(1)
	for k := -reach; k <= reach; k++ {
		for walk := -1.5; walk <= 1.5; walk += 0.75 {
			by := step * float64(k)
			s := gaitSizes{usualSizes.walk + by + walk, usualSizes.trot + by, usualSizes.canter + by}
			_, c := try(some, s)
			if c = evidence*c + gaussCost(by/carrySD) + gaussCost(walk/walkSD); c < least {
				best, carried, least = s, by, c
			}
		}
	}
	path, _ := try(w, best)
	for range 2 {
		var level [4][]float64
		for i, g := range path {
			level[g] = append(level[g], w[i].level)
		}
		held := func(x []float64, usual, sd float64) float64 {
			if len(x) == 0 {
				return usual
			}
			// windows overlap, and those of one ride are alike: more than three say no more than three
			n := math.Min(3, float64(len(x))*winHopS/winS)
			own := levelSD * levelSD / n
			return (median(x)*sd*sd + usual*own) / (sd*sd + own)
		}
		best = gaitSizes{
			walk:   held(level[Walk], best.walk, walkSD),
			trot:   held(level[Trot], usualSizes.trot+carried, strideSizeSD),
			canter: held(level[Canter], usualSizes.canter+carried, strideSizeSD),
		}
		path, _ = try(w, best)
	}
	return best, path
}

// evidence is what the windows' costs count for against the sizes' priors: the windows of one gait are alike, so that the
// same misfit comes back in each.
const evidence = 0.1

// sizeWindows is how many windows are looked at for the sizes: ten minutes' worth.
const sizeWindows = 3000

// gaitCost is how badly a window fits a gait of the ride's sizes, in nats, no single figure counting more than 8. A trot's
// wave lies in the high band, a canter's and a walk's in the low one; a second harmonic of 0.6 of a canter's first is a
// ratio of -1. A halt is found, where an arm sways below 3 Hz at a halt too, by what it lacks above.
func gaitCost(g gaitWin, s Gait, size gaitSizes) float64 {
	q := func(x, mean, sd float64) float64 {
		z := (x - mean) / sd
		return math.Min(0.5*z*z, 8)
	}
	// a jump, a turn or a stronger seat makes a wave larger for a while: half as much counts
	level := func(usual float64) float64 { return math.Min(g.level-usual, (g.level-usual)/2) }
	switch s {
	case Halt:
		// what is left in the low band must be the tail of a slower sway, or next to nothing
		over := g.level - math.Max(g.slow, -4.5)
		return q(math.Max(g.level, 0), 0, 0.6) + q(math.Max(g.quick, -6.5), -6.5, 0.8) + q(math.Max(over, 0), 0, 1.5)
	case Walk:
		quick := 0.0
		if g.level < 0.5 { // a halt can't be as large
			quick = q(math.Min(g.quick, -4), -4, 1.1)
		}
		return q(level(size.walk), 0, levelSD) + quick + q(math.Max(g.ratio, -1), -1, 1)
	case Trot:
		return q(level(size.trot), 0, levelSD) + q(math.Min(g.ratio, 2), 2, 0.9)
	}
	return q(level(size.canter), 0, levelSD) + q(math.Max(g.ratio, -1), -1, 0.9)
}

// gaitPath is the likeliest gait of every window (Viterbi 1967) among the allowed ones. cost tells how badly
// window i fits a gait; windows overlap, so each weighs only its share; a change of gait
// costs what one change in half a minute is worth.
func gaitPath(n int, allowed []Gait, cost func(i int, g Gait) float64) []Gait {
	path, _ := gaitPathCost(n, allowed, cost)
	return path
}

// gaitPathCost is gaitPath with the whole cost of that path, nats.
func gaitPathCost(n int, allowed []Gait, cost func(i int, g Gait) float64) ([]Gait, float64) {
	if n == 0 {
		return nil, 0
	}
	const weight = 2 * winHopS / winS
	change := math.Log(30 / winHopS)
	m := len(allowed)
	back := make([]uint8, n*m)
	sum, next := make([]float64, m), make([]float64, m)
	for i := 0; i < n; i++ {
		for s := range allowed {
			best, from := math.Inf(1), 0
			for r := range allowed {
				c := sum[r]
				if r != s {
					c += change
				}
				if c < best {
					best, from = c, r
				}
			}
			next[s] = best + weight*cost(i, allowed[s])
			back[i*m+s] = uint8(from)
		}
		sum, next = next, sum
	}
	s := 0
	for r := range allowed {
		if sum[r] < sum[s] {
			s = r
		}
	}
	total := sum[s]
	out := make([]Gait, n)
	for i := n - 1; i >= 0; i-- {
		out[i] = allowed[s]
		s = int(back[i*m+s])
	}
	return out, total
}

// sharpen moves the bounds between halt, walk and trot, which windows of two seconds leave blunt, to where
// the size of the wave changes: the likeliest change point between two normal signals whose variances are those of the
// seconds before and after (Page 1955). Bounds of canters are set by their beats already.
func (p *piece) sharpen(spans []Span) {
	slow := smooth(p.v, 0.12)
	x2 := func(i int) float64 { d := p.v[i] - slow[i]; return d * d }
	mean := func(a, b float64) float64 {
		i, j := p.idx(a), p.idx(b)
		var s float64
		for k := i; k < j; k++ {
			s += x2(k)
		}
		return s/math.Max(1, float64(j-i)) + 1e-6
	}
	for k := 1; k < len(spans); k++ {
		l, r := &spans[k-1], &spans[k]
		if l.Gait == Canter || r.Gait == Canter {
			continue
		}
		// the middle half second around the bound is left out of the variances
		at := r.FromS
		a, b := math.Max(l.FromS, at-3), math.Min(r.ToS, at+3)
		if at-0.5-a < 0.5 || b-at-0.5 < 0.5 {
			continue
		}
		v1, v2 := mean(a, at-0.5), mean(at+0.5, b)
		// less than half as much again is no change that a second of samples could place
		if ratio := v1 / v2; ratio < 1.5 && ratio > 1/1.5 {
			continue
		}
		i0 := p.idx(math.Max(a, at-1))
		i1 := p.idx(math.Min(b, at+1))
		var sum float64
		best, where := 0.0, -1
		for i := i0; i < i1; i++ {
			// one sample more to the left of the change
			x := x2(i)
			sum += math.Log(v1) + x/v1 - math.Log(v2) - x/v2
			if sum < best || where < 0 {
				best, where = sum, i+1
			}
		}
		if where > 0 {
			l.ToS = p.at(float64(where))
			r.FromS = l.ToS
		}
	}
}
