package place

import (
	"math"
	"slices"
	"sort"
)

// The state: the columns of the design, which keep their values, then the creeping error of either axis.
const (
	wanderX, wanderY = nBeta, nBeta + 1
	nState           = nBeta + 2
)

type (
	state    [nState]float64
	stateCov [nState][nState]float64
)

// creep is what jumps say of the state all ride long. The creeping error is an Ornstein-Uhlenbeck process, a Markov chain at
// the instants of the jumps, so a Kalman filter and a smoother back over them (H. E. Rauch, F. Tung and C. T. Striebel,
// AIAA J. 3, 1965, 1445-1450) give what a Gaussian process with its covariance gives, in a time that grows with the
// number of jumps and not with its cube (J. Hartikainen and S. Särkkä, IEEE MLSP 2010, 379-384).
type creep struct {
	variance, tauS float64 // of the creeping error
	knots          []knot  // in time order
	// logML is the logarithm of the likelihood of what was seen, without the constant; square is the sum of the squares of the
	// innovations over their variances.
	logML, square float64
}

// knot is the state at one jump.
type knot struct {
	timeS      float64
	mean       state // given the jumps so far
	cov        stateCov
	aheadCov   stateCov // predicted for the next knot …
	ahead      stateCov // … and its inverse
	smooth     state    // given all jumps
	smoothCov  stateCov
	correction state // ahead times what the jumps from the next knot on move its prediction by
}

// reading is one number seen at an instant: h·state + noise.
type reading struct {
	h        state
	z, noise float64 // noise is a variance
}

// creepOf runs over readings at times that need not be in order. prior holds the variances of what keeps its value.
func creepOf(prior [nBeta]float64, wanderM, tauS float64, times []float64, readings func(i int) [2]reading) *creep {
	c := &creep{variance: wanderM * wanderM, tauS: tauS, knots: make([]knot, len(times))}
	order := make([]int, len(times))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case times[a] < times[b]:
			return -1
		case times[a] > times[b]:
			return 1
		}
		return 0
	})
	var m state
	p := c.start(prior)
	for k, i := range order {
		q := &c.knots[k]
		q.timeS = times[i]
		if k > 0 {
			last := &c.knots[k-1]
			c.advance(&m, &p, q.timeS-last.timeS)
			last.aheadCov = p
			last.ahead = inverse(&p)
		}
		for _, r := range readings(i) {
			c.take(&m, &p, r)
		}
		q.mean, q.cov = m, p
	}
	if n := len(c.knots); n > 0 {
		last := &c.knots[n-1]
		last.smooth, last.smoothCov = last.mean, last.cov
		for k := n - 2; k >= 0; k-- {
			c.back(k)
		}
	}
	return c
}

func (c *creep) start(prior [nBeta]float64) (p stateCov) {
	for i, v := range prior {
		p[i][i] = v
	}
	p[wanderX][wanderX], p[wanderY][wanderY] = c.variance, c.variance
	return p
}

// kept is the share of the creeping error that is left after dt seconds.
func (c *creep) kept(dt float64) float64 { return math.Exp(-math.Abs(dt) / c.tauS) }

func (c *creep) advance(m *state, p *stateCov, dt float64) {
	f := c.kept(dt)
	for i := wanderX; i <= wanderY; i++ {
		m[i] *= f
		for j := range nState {
			p[i][j] *= f
			p[j][i] *= f
		}
		p[i][i] += c.variance * (1 - f*f)
	}
}

func (c *creep) take(m *state, p *stateCov, r reading) {
	var ph state
	var s, seen float64
	for i := range nState {
		for j := range nState {
			ph[i] += p[i][j] * r.h[j]
		}
		s += r.h[i] * ph[i]
		seen += r.h[i] * m[i]
	}
	s += r.noise
	e := r.z - seen
	c.square += e * e / s
	c.logML -= (e*e/s + math.Log(s)) / 2
	for i := range nState {
		m[i] += ph[i] / s * e
	}
	for i := range nState {
		for j := 0; j <= i; j++ {
			v := p[i][j] - ph[i]*ph[j]/s
			p[i][j], p[j][i] = v, v
		}
	}
}

// back smooths knot k by the next.
func (c *creep) back(k int) {
	q, next := &c.knots[k], &c.knots[k+1]
	ahead := q.mean
	f := c.kept(next.timeS - q.timeS)
	ahead[wanderX] *= f
	ahead[wanderY] *= f
	var d state
	for i := range nState {
		d[i] = next.smooth[i] - ahead[i]
	}
	q.correction = q.ahead.times(&d)
	q.smooth, q.smoothCov = c.between(&q.mean, &q.cov, q, next, next.timeS-q.timeS)
}

// between is the smoothed state of an instant restS before the next knot, whose state given the jumps before it is known.
func (c *creep) between(m *state, p *stateCov, q, next *knot, restS float64) (state, stateCov) {
	// The covariance with the next knot: p f', f being diagonal.
	cross := *p
	f := c.kept(restS)
	for i := range nState {
		for j := wanderX; j <= wanderY; j++ {
			cross[i][j] *= f
		}
	}
	mean := cross.times(&q.correction)
	for i := range nState {
		mean[i] += m[i]
	}
	gain := cross.mul(&q.ahead)
	var diff stateCov
	for i := range nState {
		for j := range nState {
			diff[i][j] = next.smoothCov[i][j] - q.aheadCov[i][j]
		}
	}
	half := gain.mul(&diff)
	cov := *p
	for i := range nState {
		for j := 0; j <= i; j++ {
			v := cov[i][j]
			for k := range nState {
				v += half[i][k] * gain[j][k]
			}
			cov[i][j], cov[j][i] = v, v
		}
	}
	return mean, cov
}

// at is the state at any instant.
func (c *creep) at(timeS float64) (state, stateCov) {
	k := c.last(timeS)
	if k < 0 {
		// The process runs backward as it runs forward.
		first := &c.knots[0]
		m, p := first.smooth, first.smoothCov
		c.advance(&m, &p, first.timeS-timeS)
		return m, p
	}
	q := &c.knots[k]
	m, p := q.mean, q.cov
	c.advance(&m, &p, timeS-q.timeS)
	if k == len(c.knots)-1 {
		return m, p
	}
	return c.between(&m, &p, q, &c.knots[k+1], c.knots[k+1].timeS-timeS)
}

// meanAt is at without the covariance, at a twentieth of the cost.
func (c *creep) meanAt(timeS float64) state {
	k := c.last(timeS)
	if k < 0 {
		m := c.knots[0].smooth
		f := c.kept(c.knots[0].timeS - timeS)
		m[wanderX] *= f
		m[wanderY] *= f
		return m
	}
	q := &c.knots[k]
	m, p := q.mean, q.cov
	c.advance(&m, &p, timeS-q.timeS)
	if k == len(c.knots)-1 {
		return m
	}
	d := q.correction
	f := c.kept(c.knots[k+1].timeS - timeS)
	d[wanderX] *= f
	d[wanderY] *= f
	move := p.times(&d)
	for i := range nState {
		m[i] += move[i]
	}
	return m
}

// last is the last knot not after an instant; -1 before the first.
func (c *creep) last(timeS float64) int {
	return sort.Search(len(c.knots), func(i int) bool { return c.knots[i].timeS > timeS }) - 1
}

func (a *stateCov) times(x *state) (y state) {
	for i := range nState {
		for j := range nState {
			y[i] += a[i][j] * x[j]
		}
	}
	return y
}

func (a *stateCov) mul(b *stateCov) (c stateCov) {
	for i := range nState {
		for k := range nState {
			x := a[i][k]
			for j := range nState {
				c[i][j] += x * b[k][j]
			}
		}
	}
	return c
}

// inverse of a symmetric positive definite matrix, by Cholesky's factors. A variance of zero, of what is known
// beforehand, has zero as its inverse: nothing moves it.
func inverse(a *stateCov) (inv stateCov) {
	var l stateCov
	for i := range nState {
		for j := 0; j <= i; j++ {
			s := a[i][j]
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			switch {
			case i != j && l[j][j] > 0:
				l[i][j] = s / l[j][j]
			case i == j && s > 0:
				l[i][i] = math.Sqrt(s)
			}
		}
	}
	for c := range nState {
		if l[c][c] == 0 {
			continue
		}
		var y state
		for i := c; i < nState; i++ {
			if l[i][i] == 0 {
				continue
			}
			s := 0.0
			if i == c {
				s = 1
			}
			for k := c; k < i; k++ {
				s -= l[i][k] * y[k]
			}
			y[i] = s / l[i][i]
		}
		for i := nState - 1; i >= 0; i-- {
			if l[i][i] == 0 {
				continue
			}
			s := y[i]
			for k := i + 1; k < nState; k++ {
				s -= l[k][i] * inv[k][c]
			}
			inv[i][c] = s / l[i][i]
		}
	}
	return inv
}
