package detect

import (
	"math"

	"groundline/trace"
)

// gravityMS2 is the standard acceleration of gravity (CGPM 1901).
const gravityMS2 = 9.80665

// stepS is the step of the even grid on which everything is found: ten times finer than the
// shortest edge that matters (a push-off's, 0.1 s).
const stepS = 0.01

// piece is a stretch of motion without a gap, on an even grid.
type piece struct {
	t0  float64 // time of sample 0, s
	dtS float64 // mean step of the samples behind it, s
	n   int
	a   [3][]float64 // specific force, sensor axes, m/s²
	g   [3][]float64 // turn rate, rad/s; nil without a gyroscope
	up  [3][]float64 // unit vector up, sensor axes

	gravityGone bool  // the device had taken gravity out
	mount       Mount // how the sensor was carried

	v       []float64 // upward load less its slow mean, m/s², hardly smoothed
	load    []float64 // the same smoothed to the canter's waves
	noise   float64   // standard deviation of v's sample noise, m/s²
	clipMS2 float64   // where the sensor stops, 0 where it did not, m/s²
	rough   []float64 // what the load holds at about 6 to 12 Hz, m/s²
	level   []float64 // load less what is slower than a stride, m/s²
	horiz   []float64 // size of the force across up, smoothed and less what is slower in the same way, m/s²
}

func (p *piece) at(i float64) float64 { return p.t0 + i*stepS }

func (p *piece) idx(t float64) int {
	i := int(math.Round((t - p.t0) / stepS))
	return max(0, min(p.n-1, i))
}

// resample brings samples [from, to) to the even grid: the mean of the samples within a step, nearer ones weighing more,
// where the device is faster than the grid, a cubic (Catmull & Rom 1974) through the nearest four where it is slower.
func resample(m *trace.Motion, from, to int) *piece {
	t := m.TimeS
	ch := [][]float64{m.AX, m.AY, m.AZ}
	if m.GX != nil {
		ch = append(ch, m.GX, m.GY, m.GZ)
	}
	t0, last := t[from], to-1
	span := t[last] - t0
	p := &piece{t0: t0, n: int(span/stepS) + 1, clipMS2: m.ClippedMS2}
	p.dtS = span / float64(last-from)
	out := make([][]float64, len(ch))
	for c := range out {
		out[c] = make([]float64, p.n)
	}
	j := from
	for k := 0; k < p.n; k++ {
		x := t0 + float64(k)*stepS
		for j+1 < last && t[j+1] <= x {
			j++
		}
		i0, i1 := j, j+1
		if t[i1]-t[i0] < 0.7*stepS {
			// faster than the grid: mean under a triangle of a step to each side
			a, b := j, j
			for a > from && t[a-1] > x-stepS {
				a--
			}
			for b < last && t[b+1] < x+stepS {
				b++
			}
			var sw float64
			for q := a; q <= b; q++ {
				wt := math.Max(0, 1-math.Abs(t[q]-x)/stepS)
				sw += wt
				for c := range ch {
					out[c][k] += wt * ch[c][q]
				}
			}
			for c := range ch {
				if sw > 0 {
					out[c][k] /= sw
				} else {
					out[c][k] = ch[c][i0]
				}
			}
			continue
		}
		im, ip := max(from, j-1), min(last, j+2)
		h := t[i1] - t[i0]
		w := math.Min(1, math.Max(0, (x-t[i0])/h))
		for c := range ch {
			y0, y1 := ch[c][i0], ch[c][i1]
			d0, d1 := (y1-y0)/h, (y1-y0)/h
			if im != i0 {
				d0 = (y1 - ch[c][im]) / (t[i1] - t[im])
			}
			if ip != i1 {
				d1 = (ch[c][ip] - y0) / (t[ip] - t[i0])
			}
			w2, w3 := w*w, w*w*w
			out[c][k] = (2*w3-3*w2+1)*y0 + (w3-2*w2+w)*h*d0 + (-2*w3+3*w2)*y1 + (w3-w2)*h*d1
		}
	}
	copy(p.a[:], out[:3])
	if len(out) == 6 {
		copy(p.g[:], out[3:])
	}
	return p
}

// meanHalf is how far each of the three running means of a window of standard deviation sdS reaches to each
// side, in steps: the variance of three means of width w is (w²-1)/4.
func meanHalf(sdS float64) int {
	return int(math.Round(math.Sqrt(4*sdS*sdS/(stepS*stepS)+1))) / 2
}

// smooth is x under a near-Gaussian window of standard deviation sdS seconds: three running
// means (Wells 1986), edges held. It delays nothing, and unlike a Butterworth filter it does not ring beside the steep sides of a
// flight.
func smooth(x []float64, sdS float64) []float64 {
	out := append([]float64(nil), x...)
	n := len(x)
	if n < 2 {
		return out
	}
	h := meanHalf(sdS)
	if h < 1 {
		return out
	}
	buf := make([]float64, n)
	for pass := 0; pass < 3; pass++ {
		var s float64
		at := func(i int) float64 { return out[max(0, min(n-1, i))] }
		for i := -h; i <= h; i++ {
			s += at(i)
		}
		for i := 0; i < n; i++ {
			buf[i] = s / float64(2*h+1)
			s += at(i+h+1) - at(i-h)
		}
		out, buf = buf, out
	}
	return out
}

// smoothPower is the share of a wave's power that [smooth] lets through.
func smoothPower(hz, sdS float64) float64 {
	h := meanHalf(sdS)
	if h < 1 {
		return 1
	}
	w := float64(2*h + 1)
	x := math.Pi * hz * stepS
	r := math.Sin(w*x) / (w * math.Sin(x))
	return math.Pow(r, 6)
}

// findUp sets the direction of up at every step.
func (p *piece) findUp(gravityRemoved bool) {
	var g [3][]float64
	var mean float64
	for c := range g {
		// 0.8 s is longer than a stride, so that the wave is gone, and shorter than a
		// phone's slow turning in a pocket.
		g[c] = smooth(p.a[c], 0.8)
	}
	for i := 0; i < p.n; i++ {
		mean += math.Sqrt(g[0][i]*g[0][i] + g[1][i]*g[1][i] + g[2][i]*g[2][i])
	}
	mean /= float64(p.n)
	// a third of gravity: with it the slow mean is 9.81, without it near 0
	if gravityRemoved || mean < gravityMS2/3 {
		p.gravityGone = true
		p.upFromWave()
		return
	}
	for c := range g {
		p.up[c] = make([]float64, p.n)
	}
	for i := 0; i < p.n; i++ {
		s := math.Sqrt(g[0][i]*g[0][i] + g[1][i]*g[1][i] + g[2][i]*g[2][i])
		if s < 1e-9 {
			s = math.Inf(1)
		}
		for c := range g {
			p.up[c][i] = g[c][i] / s
		}
	}
}

// loads makes the upward load from force and up.
func (p *piece) loads() {
	raw := make([]float64, p.n)
	for i := range raw {
		raw[i] = p.a[0][i]*p.up[0][i] + p.a[1][i]*p.up[1][i] + p.a[2][i]*p.up[2][i]
	}
	base := smooth(raw, 2.0)
	fine := smooth(raw, 0.02)
	var ss float64
	for i := range raw {
		d := raw[i] - fine[i]
		ss += d * d
		raw[i] -= base[i]
	}
	p.noise = math.Sqrt(ss / float64(p.n))
	p.v = smooth(raw, 0.015)
	p.load = smooth(raw, 0.035)
	p.rough = make([]float64, p.n)
	for i := range raw {
		p.rough[i] = p.v[i] - p.load[i]
	}
	h := make([]float64, p.n)
	for i := range h {
		var s float64
		for c := range p.a {
			s += p.a[c][i] * p.a[c][i]
		}
		u := raw[i] + base[i]
		h[i] = math.Sqrt(math.Max(0, s-u*u))
	}
	p.horiz = without(smooth(h, 0.035), smooth(h, slowS))
	p.level = without(p.load, smooth(raw, slowS))
}

// slowS is the standard deviation of the window whose mean is what is slower than a stride: an arm's sway, a turn. It
// holds back 3 % of a wave of 1.4 Hz.
const slowS = 0.3

func without(x, y []float64) []float64 {
	out := make([]float64, len(x))
	for i := range x {
		out[i] = x[i] - y[i]
	}
	return out
}

// upFromWave sets up where gravity is missing: the axis of the strongest wave around each
// moment, signed so that loads are peaked and troughs flat (positive skewness).
func (p *piece) upFromWave() {
	var w [3][]float64
	for c := range w {
		s, l := smooth(p.a[c], 0.035), smooth(p.a[c], 0.8)
		w[c] = make([]float64, p.n)
		for i := range s {
			w[c][i] = s[i] - l[i]
		}
	}
	var cov [3][3][]float64
	for r := 0; r < 3; r++ {
		for c := r; c < 3; c++ {
			x := make([]float64, p.n)
			for i := range x {
				x[i] = w[r][i] * w[c][i]
			}
			// a pocket turns over tens of seconds; three seconds hold five strides
			cov[r][c] = smooth(x, 3)
			cov[c][r] = cov[r][c]
		}
	}
	for c := range p.up {
		p.up[c] = make([]float64, p.n)
	}
	// power iteration, carried on from one step to the next so that the axis can't flip
	u := [3]float64{1, 0.7, 0.4}
	for i := 0; i < p.n; i++ {
		rounds := 4
		if i == 0 {
			rounds = 200
		}
		for k := 0; k < rounds; k++ {
			var q [3]float64
			for r := 0; r < 3; r++ {
				for c := 0; c < 3; c++ {
					q[r] += cov[r][c][i] * u[c]
				}
			}
			s := math.Sqrt(q[0]*q[0] + q[1]*q[1] + q[2]*q[2])
			if s < 1e-12 {
				break
			}
			for r := range q {
				u[r] = q[r] / s
			}
		}
		s := math.Sqrt(u[0]*u[0] + u[1]*u[1] + u[2]*u[2])
		for c := range u {
			p.up[c][i] = u[c] / s
		}
	}
	var m3 float64
	for i := 0; i < p.n; i++ {
		x := w[0][i]*p.up[0][i] + w[1][i]*p.up[1][i] + w[2][i]*p.up[2][i]
		m3 += x * x * x
	}
	if m3 < 0 {
		for c := range p.up {
			for i := range p.up[c] {
				p.up[c][i] = -p.up[c][i]
			}
		}
	}
}
