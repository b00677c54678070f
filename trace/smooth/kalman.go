package smooth

import "math"

// node is one instant of a piece: a fix, or a stop between two fixes put there so that no
// step is longer than maxStepS.
type node struct {
	timeS float64
	fix   int // index into the positions; -1 at a stop
	// zE, zN are the fix, m; speed the device's own speed, NaN without one.
	zE, zN, speed float64
	// weight divides the variance of the fix: 1 for a good one, towards 0 for an outlier.
	weight float64
	nom    nominal

	// What smoothing leaves: the state and its covariance given all fixes of the piece, and
	// the smoother's gain from the next node to this one.
	mean vec
	cov  matrix
	gain matrix
}

// stepsOf are the model's steps between nodes, each linear about the way half way.
func stepsOf(nodes []node) []step {
	if len(nodes) == 0 {
		return nil
	}
	steps := make([]step, len(nodes)-1)
	for k := range steps {
		a, b := &nodes[k], &nodes[k+1]
		steps[k] = newStep(a.nom.between(b.nom), b.timeS-a.timeS)
	}
	return steps
}

// The standard deviations of what is not known before the first fix: the place (about the
// first fix) within a hundred metres, the velocity within a gallop.
const (
	startPlaceM = 100.0
	startSpeed  = 8.0
)

// filter runs the Kalman filter over the nodes and then, where smooth, the Rauch-Tung-Striebel
// smoother (H. E. Rauch, F. Tung and C. T. Striebel, AIAA J. 3, 1965, 1445-1450) back over
// them, filling in mean, cov and gain; steps[k] leads from node k to the next. It returns the logarithm of the likelihood of the
// fixes, by the prediction error decomposition (A. C. Harvey, Forecasting, Structural
// Time Series Models and the Kalman Filter, 1989, section 3.4). ok is false where rounding
// has eaten a covariance.
func filter(nodes []node, steps []step, n Noise, smooth bool) (logLik float64, ok bool) {
	if len(nodes) == 0 {
		return 0, true
	}
	var m vec
	var p matrix
	first := &nodes[0]
	m[iE], m[iN] = first.zE, first.zN
	for i := range 2 {
		p[iE+i][iE+i] = startPlaceM * startPlaceM
		p[vE+i][vE+i] = startSpeed * startSpeed
		p[aE+i][aE+i] = n.SwerveMS2 * n.SwerveMS2
		p[wE+i][wE+i] = n.WanderM * n.WanderM
	}
	type kept struct {
		ahead   matrix // the covariance and the state predicted for the next node
		aheadAt vec
	}
	var back []kept
	if smooth {
		back = make([]kept, len(nodes))
	}
	for k := range nodes {
		nd := &nodes[k]
		if k > 0 {
			st := &steps[k-1]
			m = st.f.apply(&m)
			q := st.noise(n)
			p = st.f.carry(&p)
			p = p.add(&q)
			if smooth {
				back[k-1] = kept{ahead: p, aheadAt: m}
			}
		}
		if nd.fix >= 0 {
			ll, good := update(&m, &p, nd, n)
			if !good {
				return 0, false
			}
			logLik += ll
		}
		if smooth {
			nd.mean, nd.cov = m, p
		}
	}
	if !smooth {
		return logLik, !math.IsNaN(logLik)
	}
	for k := len(nodes) - 2; k >= 0; k-- {
		nd, next := &nodes[k], &nodes[k+1]
		pf := steps[k].f.mul(&nd.cov) // the filter's covariance is symmetric: this is (P F')'
		pf = pf.transpose()
		g, good := rightSolve(&pf, &back[k].ahead)
		if !good {
			return 0, false
		}
		var d vec
		for i := range dim {
			d[i] = next.mean[i] - back[k].aheadAt[i]
		}
		d = g.apply(&d)
		for i := range dim {
			nd.mean[i] += d[i]
		}
		diff := next.cov.sub(&back[k].ahead)
		gd := g.mul(&diff)
		add := gd.mulT(&g)
		nd.cov = nd.cov.add(&add)
		nd.cov = nd.cov.symmetric()
		nd.gain = g
	}
	return logLik, !math.IsNaN(logLik)
}

// update takes in one fix: east and north one after the other, since their errors are
// independent, then the device's speed along the nominal direction.
func update(m *vec, p *matrix, nd *node, n Noise) (logLik float64, ok bool) {
	r := n.WhiteM * n.WhiteM / nd.weight
	for axis, z := range [2]float64{nd.zE, nd.zN} {
		var h vec
		h[iE+axis], h[wE+axis] = 1, 1
		ll, good := scalarUpdate(m, p, &h, z, r)
		if !good {
			return 0, false
		}
		logLik += ll
	}
	// Below a walk the direction is not known well enough to tell what a speed is along.
	const leastMS = 0.5
	if n.SpeedMS > 0 && !math.IsNaN(nd.speed) && nd.nom.speedMS > leastMS {
		h := vec{vE: nd.nom.cos, vN: nd.nom.sin}
		ll, good := scalarUpdate(m, p, &h, nd.speed, n.SpeedMS*n.SpeedMS/nd.weight)
		if !good {
			return 0, false
		}
		logLik += ll
	}
	return logLik, true
}

// scalarUpdate is the measurement update for z = h x + noise of variance r, in Joseph's
// form, which keeps the covariance positive whatever the rounding (P. D. Joseph; R. S. Bucy
// and P. D. Joseph, Filtering for Stochastic Processes, 1968).
func scalarUpdate(m *vec, p *matrix, h *vec, z, r float64) (logLik float64, ok bool) {
	ph := p.apply(h)
	s, e := r, z
	for i := range dim {
		s += h[i] * ph[i]
		e -= h[i] * m[i]
	}
	if !(s > 0) {
		return 0, false
	}
	var k vec
	for i := range dim {
		k[i] = ph[i] / s
		m[i] += k[i] * e
	}
	// (I-kh) P (I-kh)' + k r k' written out.
	for i := range dim {
		for j := 0; j <= i; j++ {
			v := p[i][j] - k[i]*ph[j] - ph[i]*k[j] + k[i]*s*k[j]
			p[i][j], p[j][i] = v, v
		}
	}
	return -0.5 * (math.Log(2*math.Pi*s) + e*e/s), true
}
