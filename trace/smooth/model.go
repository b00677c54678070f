package smooth

import (
	"math"
	"math/cmplx"
)

// Noise is what the smoother takes the ride and the receiver to be like. All but the wander is
// estimated from the ride (see [Smooth]).
type Noise struct {
	// WhiteM is the standard deviation, per axis, of the error that changes from fix to fix, m.
	WhiteM float64
	// WanderM is the standard deviation, per axis, of the error that wanders with a time
	// constant of wanderS, m.
	WanderM float64
	// ThrustMS2 and SwerveMS2 are the standard deviations of the horse's acceleration
	// along its way and across it at refSpeedMS, m/s².
	ThrustMS2, SwerveMS2 float64
	// SpeedMS is the standard deviation of the device's own speed, m/s; 0 without one.
	SpeedMS float64
}

const (
	// wanderS is the correlation time of a receiver's wander: the error of stationary
	// receivers bends at about a minute (public 20-day test of one receiver; a first-order
	// Gauss-Markov error is what Sensors 2020, 20:6050, finds better than white noise). Only
	// WanderM²/wanderS, the speed of the wander, matters over a line.
	wanderS = 60.0
	// accelS is how long an acceleration lasts, along the way and across it: a canter turn of 90 degrees takes
	// 2 to 3 s, a change of pace as long. Of 0.5, 1, 2, 4 and 8 s the fixes of 10-Hz receivers on horses' rounds are
	// likeliest with 2, of 1-Hz ones with 4.
	accelS = 2.0
	// refSpeedMS is the pace of a round (5.5 m/s in elite rounds, 4.2 warming up) at which the
	// acceleration's size is stated.
	refSpeedMS = 5.0
	// calmMS is added to the speed so that a halted horse may still start to move.
	calmMS = 0.3
)

// nominal is what the model's equations are linear about at one node: the way that the
// last round of smoothing found.
type nominal struct {
	cos, sin float64 // of the direction of travel
	speedMS  float64
	turnRadS float64 // turn rate, left positive
}

// between is the nominal half way.
func (a nominal) between(b nominal) nominal {
	c, s := a.cos+b.cos, a.sin+b.sin
	if h := math.Hypot(c, s); h > 0 {
		c, s = c/h, s/h
	}
	return nominal{cos: c, sin: s, speedMS: (a.speedMS + b.speedMS) / 2, turnRadS: (a.turnRadS + b.turnRadS) / 2}
}

// step is the model over a stretch of time, x' = f x + noise, with the noise's covariance
// told for noise levels of one.
//
// Place is the integral of velocity and velocity that of acceleration. Acceleration
// decays with accelS (R. A. Singer, IEEE Trans. Aerosp. Electron. Syst. 6, 1970, 473-483)
// and turns with the horse at the nominal turn rate, so that riding round an arc at an
// even pace needs hardly any noise: in complex notation da = (-1/accelS + iω) a dt + dW.
// The noise is larger across the way than along it and grows with the pace. The
// wander is a first-order Gauss-Markov process.
type step struct {
	f             matrix
	way           transition // f by its parts
	along, across matrix     // for ThrustMS2 = 1 and for SwerveMS2 = 1
	drift         float64    // variance that the wander gains for WanderM = 1
}

// newStep is the model over dt seconds, at most longStepS, linear about a nominal.
func newStep(at nominal, dt float64) (s step) {
	lambda := complex(-1/accelS, at.turnRadS)
	p, v, a := response(lambda, dt)
	s.f = identity()
	s.f[iE][vE], s.f[iN][vN] = dt, dt
	s.f.place(iE, aE, p)
	s.f.place(vE, aE, v)
	s.f.place(aE, aE, a)
	decay := math.Exp(-dt / wanderS)
	s.f[wE][wE], s.f[wN][wN] = decay, decay
	s.way = transition{dt: dt, decay: decay, p: p, v: v, a: a}
	s.drift = -math.Expm1(-2 * dt / wanderS)

	// The intensity of the driving noise that keeps the acceleration's variance at its size.
	scale := (at.speedMS + calmMS) / (refSpeedMS + calmMS)
	size := 2 / accelS * scale * scale
	ahead := complex(at.cos, at.sin)
	// Three-point Gauss-Legendre: exact for polynomials to the fifth power, and over a node's
	// step the integrand is nearly of the fourth.
	for _, g := range [...]struct{ at, weight float64 }{
		{0.5 - math.Sqrt(0.15), 5.0 / 18}, {0.5, 8.0 / 18}, {0.5 + math.Sqrt(0.15), 5.0 / 18},
	} {
		p, v, a := response(lambda, g.at*dt)
		w := math.Sqrt(g.weight * dt * size)
		var one, two vec // what a unit push along and across the way does
		for i, h := range [3]complex128{p, v, a} {
			h *= complex(w, 0) * ahead
			one[2*i], one[2*i+1] = real(h), imag(h)
			two[2*i], two[2*i+1] = -imag(h), real(h)
		}
		s.along.addSquare(&one)
		s.across.addSquare(&two)
	}
	return s
}

// transition is the f of a step without its noise: what an acceleration does to place, velocity and itself, as complex
// factors, and what is left of the wander.
type transition struct {
	dt, decay float64
	p, v, a   complex128
}

func newTransition(at nominal, dt float64) (t transition) {
	t.dt, t.decay = dt, math.Exp(-dt/wanderS)
	t.p, t.v, t.a = response(complex(-1/accelS, at.turnRadS), dt)
	return t
}

// apply is the state dt later.
func (t *transition) apply(x *vec) (y vec) {
	a := complex(x[aE], x[aN])
	p, v, q := t.p*a, t.v*a, t.a*a
	y[iE], y[iN] = x[iE]+t.dt*x[vE]+real(p), x[iN]+t.dt*x[vN]+imag(p)
	y[vE], y[vN] = x[vE]+real(v), x[vN]+imag(v)
	y[aE], y[aN] = real(q), imag(q)
	y[wE], y[wN] = t.decay*x[wE], t.decay*x[wN]
	return y
}

// rows makes f m of m.
func (t *transition) rows(m *matrix) {
	pr, pi, vr, vi, ar, ai := real(t.p), imag(t.p), real(t.v), imag(t.v), real(t.a), imag(t.a)
	for j := range dim {
		v0, v1, a0, a1 := m[vE][j], m[vN][j], m[aE][j], m[aN][j]
		m[iE][j] += t.dt*v0 + pr*a0 - pi*a1
		m[iN][j] += t.dt*v1 + pi*a0 + pr*a1
		m[vE][j] = v0 + vr*a0 - vi*a1
		m[vN][j] = v1 + vi*a0 + vr*a1
		m[aE][j] = ar*a0 - ai*a1
		m[aN][j] = ai*a0 + ar*a1
		m[wE][j] *= t.decay
		m[wN][j] *= t.decay
	}
}

// columns makes m f' of m.
func (t *transition) columns(m *matrix) {
	pr, pi, vr, vi, ar, ai := real(t.p), imag(t.p), real(t.v), imag(t.v), real(t.a), imag(t.a)
	for i := range dim {
		r := &m[i]
		v0, v1, a0, a1 := r[vE], r[vN], r[aE], r[aN]
		r[iE] += t.dt*v0 + pr*a0 - pi*a1
		r[iN] += t.dt*v1 + pi*a0 + pr*a1
		r[vE] = v0 + vr*a0 - vi*a1
		r[vN] = v1 + vi*a0 + vr*a1
		r[aE] = ar*a0 - ai*a1
		r[aN] = ai*a0 + ar*a1
		r[wE] *= t.decay
		r[wN] *= t.decay
	}
}

// addNoise adds the covariance of the step's noise.
func (s *step) addNoise(p *matrix, n Noise) {
	along, across := n.ThrustMS2*n.ThrustMS2, n.SwerveMS2*n.SwerveMS2
	for i := range wE {
		for j := range wE {
			p[i][j] += along*s.along[i][j] + across*s.across[i][j]
		}
	}
	w := n.WanderM * n.WanderM * s.drift
	p[wE][wE] += w
	p[wN][wN] += w
}

// noise is the covariance of the step's noise.
func (s *step) noise(n Noise) (q matrix) {
	s.addNoise(&q, n)
	return q
}

// response is what a unit of acceleration now does to place, velocity and acceleration
// after t seconds.
func response(lambda complex128, t float64) (p, v, a complex128) {
	z := lambda * complex(t, 0)
	a = cmplx.Exp(z)
	// (e^z-1)/z and (e^z-1-z)/z² by their series: |z| is below one half for 1-Hz receivers and faster and
	// below two for any (20 terms: 1e-13), and the closed forms lose their digits for small z.
	term, sumV, sumP := complex(1, 0), complex(0, 0), complex(0, 0)
	for k := 1.0; k <= 20; k++ {
		term *= complex(1/k, 0) // z^(k-1)/k!
		sumV += term
		sumP += term * complex(1/(k+1), 0)
		term *= z
		if math.Abs(real(term))+math.Abs(imag(term)) < 1e-18 {
			break
		}
	}
	return complex(t*t, 0) * sumP, complex(t, 0) * sumV, a
}

// place writes a complex factor as the turn and stretch that it is.
func (m *matrix) place(i, j int, z complex128) {
	m[i][j], m[i][j+1] = real(z), -imag(z)
	m[i+1][j], m[i+1][j+1] = imag(z), real(z)
}

// addSquare adds x x'.
func (m *matrix) addSquare(x *vec) {
	for i := range dim {
		for j := range dim {
			m[i][j] += x[i] * x[j]
		}
	}
}

func identity() (m matrix) {
	for i := range dim {
		m[i][i] = 1
	}
	return m
}
