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

// stepper gives the model's step from node k to the next; what it points to holds until the next call.
type stepper func(k int) *step

// stepsOf makes the steps as they are asked for, each linear about the way half way: a day's steps
// at once would fill the memory.
func stepsOf(nodes []node) stepper {
	s := new(step)
	return func(k int) *step {
		a, b := &nodes[k], &nodes[k+1]
		*s = newStep(a.nom.between(b.nom), b.timeS-a.timeS)
		return s
	}
}

// storedSteps makes them once, for those who go over few nodes many times.
func storedSteps(nodes []node) stepper {
	of := stepsOf(nodes)
	steps := make([]step, max(len(nodes)-1, 0))
	for k := range steps {
		steps[k] = *of(k)
	}
	return func(k int) *step { return &steps[k] }
}

// The standard deviations of what is not known before the first fix: the place (about the
// first fix) within a hundred metres, the velocity within a gallop.
const (
	startPlaceM = 100.0
	startSpeed  = 8.0
)

// filter runs the Kalman filter over the nodes and then, where smooth, the Rauch-Tung-Striebel
// smoother (H. E. Rauch, F. Tung and C. T. Striebel, AIAA J. 3, 1965, 1445-1450) back over
// them, filling in mean, cov and gain; steps(k) leads from node k to the next. It returns the logarithm of the likelihood of the
// fixes, by the prediction error decomposition (A. C. Harvey, Forecasting, Structural
// Time Series Models and the Kalman Filter, 1989, section 3.4). ok is false where rounding
// has eaten a covariance.
func filter(nodes []node, steps stepper, n Noise, smooth bool) (logLik float64, ok bool) {
	return filterKeeping(nodes, steps, n, smooth, nil)
}

// pulls are the Kalman gains of one node's measurements, in the order of [measurements].
type pulls [3]vec

// filterKeeping is filter, and fills in the gains of each node where keep is not nil.
func filterKeeping(nodes []node, steps stepper, n Noise, smooth bool, keep []pulls) (logLik float64, ok bool) {
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
	var pf matrix
	for k0 := range nodes {
		nd := &nodes[k0]
		if k0 > 0 {
			st := steps(k0 - 1)
			m = st.way.apply(&m)
			st.way.rows(&p)
			if smooth {
				pf = p.transpose() // P F', P being symmetric
			}
			st.way.columns(&p)
			st.addNoise(&p, n)
			if smooth {
				back[k0-1] = kept{ahead: p, aheadAt: m}
				if !solveRight(&nodes[k0-1].gain, &pf, &p) {
					return 0, false
				}
			}
		}
		if nd.fix >= 0 {
			for i, z := range measurements(nd, n) {
				if z.noise2 == 0 {
					continue
				}
				k, ll, good := update(&m, &p, &z)
				if !good {
					return 0, false
				}
				logLik += ll
				if keep != nil {
					keep[k0][i] = k
				}
			}
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
		g := &nd.gain
		var d vec
		for i := range dim {
			d[i] = next.mean[i] - back[k].aheadAt[i]
		}
		d = g.apply(&d)
		for i := range dim {
			nd.mean[i] += d[i]
		}
		diff := next.cov.sub(&back[k].ahead)
		nd.cov.addCarried(g, &diff)
	}
	return logLik, !math.IsNaN(logLik)
}

// measurement is z = ca x[a] + cb x[b] + noise of variance noise2; none where noise2 is 0.
type measurement struct {
	a, b      int
	ca, cb    float64
	z, noise2 float64
}

// of is what the measurement would read without noise.
func (z *measurement) of(x *vec) float64 { return z.ca*x[z.a] + z.cb*x[z.b] }

// measurements are what a node's fix tells: east and north, whose errors are independent, then
// the device's speed along the nominal direction.
func measurements(nd *node, n Noise) (out [3]measurement) {
	r := n.WhiteM * n.WhiteM / nd.weight
	out[0] = measurement{a: iE, b: wE, ca: 1, cb: 1, z: nd.zE, noise2: r}
	out[1] = measurement{a: iN, b: wN, ca: 1, cb: 1, z: nd.zN, noise2: r}
	// Below a walk the direction is not known well enough to tell what a speed is along.
	const leastMS = 0.5
	if n.SpeedMS > 0 && !math.IsNaN(nd.speed) && nd.nom.speedMS > leastMS {
		out[2] = measurement{a: vE, b: vN, ca: nd.nom.cos, cb: nd.nom.sin, z: nd.speed, noise2: n.SpeedMS * n.SpeedMS / nd.weight}
	}
	return out
}

// update takes in one measurement, in Joseph's form, which keeps the covariance positive
// whatever the rounding (R. S. Bucy and P. D. Joseph, Filtering for Stochastic Processes
// with Applications to Guidance, 1968). It returns the Kalman gain.
func update(m *vec, p *matrix, z *measurement) (k vec, logLik float64, ok bool) {
	var ph vec
	for i := range dim {
		ph[i] = z.ca*p[i][z.a] + z.cb*p[i][z.b]
	}
	s := z.of(&ph) + z.noise2
	e := z.z - z.of(m)
	if !(s > 0) {
		return k, 0, false
	}
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
	return k, -0.5 * (math.Log(2*math.Pi*s) + e*e/s), true
}

// again smooths other fixes at the same nodes by the gains of their own: means is filled in, ahead is scratch. It starts as a
// filter does that has run for a while: on the way, off by the first fix's error.
func again(means, ahead []vec, nodes []node, steps []transition, gains []pulls, fixes []drawnFix, way []vec) {
	m := way[0]
	m[wE], m[wN] = 0, 0
	if nodes[0].fix >= 0 {
		m[iE], m[iN] = fixes[0].zE, fixes[0].zN
	}
	for k := range nodes {
		nd := &nodes[k]
		if k > 0 {
			m = steps[k-1].apply(&m)
			ahead[k] = m
		}
		if nd.fix >= 0 {
			g := &gains[k]
			pull(&m, &g[0], fixes[k].zE-m[iE]-m[wE])
			pull(&m, &g[1], fixes[k].zN-m[iN]-m[wN])
			if g[2] != (vec{}) && !math.IsNaN(nd.speed) {
				pull(&m, &g[2], fixes[k].speed-nd.nom.cos*m[vE]-nd.nom.sin*m[vN])
			}
		}
		means[k] = m
	}
	for k := len(nodes) - 2; k >= 0; k-- {
		var d vec
		for i := range dim {
			d[i] = means[k+1][i] - ahead[k+1][i]
		}
		d = nodes[k].gain.apply(&d)
		for i := range dim {
			means[k][i] += d[i]
		}
	}
}

func pull(m, gain *vec, e float64) {
	for i := range dim {
		m[i] += gain[i] * e
	}
}
