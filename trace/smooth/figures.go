package smooth

import (
	"math"
	"math/rand/v2"
	"sort"

	"groundline/trace"
)

// At is the smoothed state at an instant: at a fix or between two, by the model itself, with
// its covariance. ok is false in a gap and outside the ride.
func (t *Track) At(timeS float64) (s State, ok bool) {
	chain := t.chain(timeS, timeS)
	if chain == nil {
		return State{}, false
	}
	return t.state(&chain[0]), true
}

// Unlag is the same track with the lag of the receiver's own filter taken out: a receiver
// that smooths its fixes shows y with lagS dy/dt = x - y where the horse went x, so
// x = y + lagS dy/dt. That moves the places forward along the way and gives turns back the
// width that the receiver's smoothing took (6 % at 0.75 rad/s and 0.5 s). The fixes alone do
// not tell the lag; crossings of known obstacles or a motion sensor's jumps do.
func (t *Track) Unlag(lagS float64) *Track {
	u := *t
	u.LagS = lagS
	return &u
}

// unlag is the linear map of Unlag at a node.
func (t *Track) unlag(nd *node) matrix {
	m := identity()
	for i := range 2 {
		m[iE+i][vE+i], m[vE+i][aE+i] = t.LagS, t.LagS
	}
	// The acceleration turns with the horse.
	m.place(aE, aE, complex(1, t.LagS*nd.nom.turnRadS))
	return m
}

// figures are a node's mean and covariance with the receiver's lag taken out.
func (t *Track) figures(nd *node) (vec, matrix) {
	if t.LagS == 0 {
		return nd.mean, nd.cov
	}
	m := t.unlag(nd)
	return m.apply(&nd.mean), m.carry(&nd.cov)
}

func (t *Track) state(nd *node) State {
	m, cov := t.figures(nd)
	s := State{TimeS: nd.timeS, EM: m[iE], NM: m[iN], VE: m[vE], VN: m[vN], AE: m[aE], AN: m[aN]}
	for i := range 6 {
		copy(s.Cov[i][:], cov[i][:6])
	}
	return s
}

// States are the smoothed states from fromS to toS: both ends and, between them, every fix and
// enough instants that no two are more than a quarter of a second apart (1 s for receivers slower
// than 1 Hz). nil where a gap lies between or the ride does not reach.
func (t *Track) States(fromS, toS float64) []State {
	chain := t.chain(fromS, toS)
	if chain == nil {
		return nil
	}
	out := make([]State, len(chain))
	for i := range chain {
		out[i] = t.state(&chain[i])
	}
	return out
}

// Speed is the speed over ground, m/s, never below zero.
func (s State) Speed() trace.Estimate {
	v := math.Hypot(s.VE, s.VN)
	var sd float64
	if v > 0 {
		c, d := s.VE/v, s.VN/v
		sd = math.Sqrt(c*c*s.Cov[2][2] + d*d*s.Cov[3][3] + 2*c*d*s.Cov[2][3])
	} else {
		sd = math.Sqrt(s.Cov[2][2])
	}
	e := trace.FromSD(v, sd)
	e.Low = max(e.Low, 0)
	return e
}

// PathLength is the length of the way from one instant to another, m: the integral of the
// speed. Its interval knows that errors a few seconds apart are much the same. ok is false
// where a gap lies between, the ride does not reach, or toS <= fromS.
func (t *Track) PathLength(fromS, toS float64) (length trace.Estimate, ok bool) {
	if !(toS > fromS) {
		return trace.Estimate{}, false
	}
	chain := t.chain(fromS, toS)
	if chain == nil {
		return trace.Estimate{}, false
	}
	sum := 0.0
	weights := make([]vec, len(chain))
	for i := range chain {
		// The trapezoid's weight of this instant.
		w := 0.0
		if i > 0 {
			w += (chain[i].timeS - chain[i-1].timeS) / 2
		}
		if i+1 < len(chain) {
			w += (chain[i+1].timeS - chain[i].timeS) / 2
		}
		speed, along := t.speed2(&chain[i])
		sum += w * speed
		for j := range dim {
			weights[i][j] = w * along[j]
		}
	}
	return positive(trace.FromSD(sum, math.Sqrt(variance(chain, weights)))), true
}

// Turned is the change of the direction of travel from one instant to another, radians, left
// positive, counted on beyond half a turn; ok as in [Track.PathLength]. Where the horse stood
// in between its direction is noise and the interval says so.
func (t *Track) Turned(fromS, toS float64) (angle trace.Estimate, ok bool) {
	if !(toS > fromS) {
		return trace.Estimate{}, false
	}
	chain := t.chain(fromS, toS)
	if chain == nil {
		return trace.Estimate{}, false
	}
	sum := 0.0
	weights := make([]vec, len(chain))
	last := vec{}
	for i := range chain {
		mean, _ := t.figures(&chain[i])
		if i > 0 {
			sum += math.Atan2(last[vE]*mean[vN]-last[vN]*mean[vE], last[vE]*mean[vE]+last[vN]*mean[vN])
		}
		last = mean
	}
	for _, end := range [2]struct {
		i    int
		sign float64
	}{{0, -1}, {len(chain) - 1, 1}} {
		mean, _ := t.figures(&chain[end.i])
		// Below a slow walk the direction is next to unknown: as much as this speed lets it be.
		v2 := max(mean[vE]*mean[vE]+mean[vN]*mean[vN], 0.3*0.3)
		w := vec{vE: -end.sign * mean[vN] / v2, vN: end.sign * mean[vE] / v2}
		if t.LagS != 0 {
			m := t.unlag(&chain[end.i])
			w = m.applyT(&w)
		}
		weights[end.i] = w
	}
	return trace.FromSD(sum, math.Sqrt(variance(chain, weights))), true
}

// MeanSpeed is the mean speed from one instant to another, m/s; ok as in [Track.PathLength].
func (t *Track) MeanSpeed(fromS, toS float64) (speed trace.Estimate, ok bool) {
	l, ok := t.PathLength(fromS, toS)
	if !ok {
		return trace.Estimate{}, false
	}
	d := toS - fromS
	return trace.Estimate{Value: l.Value / d, Low: l.Low / d, High: l.High / d}, true
}

func positive(e trace.Estimate) trace.Estimate {
	e.Low = max(e.Low, 0)
	return e
}

// speed2 is the expected speed at a node, to the second order in its doubt, and its derivative
// by the node's own state (lag and all).
// The doubt across the way lengthens a velocity: E|v| = |m| + s²/(2|m|).
func (t *Track) speed2(nd *node) (speed float64, along vec) {
	mean, cov := t.figures(nd)
	speed = math.Hypot(mean[vE], mean[vN])
	if speed < 1e-9 {
		return 0, vec{}
	}
	c, s := mean[vE]/speed, mean[vN]/speed
	across := s*s*cov[vE][vE] + c*c*cov[vN][vN] - 2*s*c*cov[vE][vN]
	along[vE], along[vN] = c, s
	if t.LagS != 0 {
		m := t.unlag(nd)
		along = m.applyT(&along)
	}
	// Near a halt the series fails, and a halted horse should not be said to walk on noise.
	const leastMS = 1.0
	if speed > leastMS {
		speed += across / (2 * speed)
	}
	return speed, along
}

// variance of the sum of w_i' x_i over a chain of smoothed nodes. Going backward in time the
// smoothed states are a Markov chain, x_i = G_i x_{i+1} + e_i with cov e_i = P_i - G_i P_{i+1} G_i'
// (the sampling form of the smoother), so weights are handed on from node to node.
func variance(chain []node, w []vec) float64 {
	sum := 0.0
	var d vec
	for i := range chain {
		for j := range dim {
			d[j] += w[i][j]
		}
		if i+1 == len(chain) {
			sum += chain[i].cov.quad(&d)
			break
		}
		handed := chain[i].gain.applyT(&d)
		sum += chain[i].cov.quad(&d) - chain[i+1].cov.quad(&handed)
		d = handed
	}
	return max(sum, 0)
}

// chain is a copy of the nodes from fromS to toS with nodes put in exactly at both ends; nil
// where they don't lie in one piece.
func (t *Track) chain(fromS, toS float64) []node {
	for i := range t.Pieces {
		p := &t.Pieces[i]
		if !(fromS >= p.FromS && toS <= p.ToS && fromS <= toS) {
			continue
		}
		a := lastAt(p.nodes, fromS)
		b := lastAt(p.nodes, toS)
		chain := append([]node(nil), p.nodes[a:min(b+2, len(p.nodes))]...)
		ok := true
		if chain[0].timeS < fromS {
			if chain, ok = t.insert(chain, 0, fromS); !ok {
				return nil
			}
			chain = chain[1:]
		}
		k := lastAt(chain, toS)
		if chain[k].timeS < toS {
			if chain, ok = t.insert(chain, k, toS); !ok {
				return nil
			}
			k++
		}
		return chain[:k+1]
	}
	return nil
}

// lastAt is the last node at or before an instant that is not before the first.
func lastAt(nodes []node, timeS float64) int {
	lo, hi := 0, len(nodes)-1
	for lo < hi {
		mid := (lo + hi + 1) / 2
		if nodes[mid].timeS <= timeS {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	return lo
}

// insert puts a node at timeS between nodes k and k+1. Given these two the state between
// them is x = (F1 - K F2 F1) x_k + K x_{k+1} + noise of covariance Q1 - K F2 Q1, with K = Q1 F2'
// (F2 Q1 F2' + Q2)⁻¹: the model's bridge, which no other fix can change.
func (t *Track) insert(chain []node, k int, timeS float64) ([]node, bool) {
	a, b := &chain[k], &chain[k+1]
	at := a.nom.between(b.nom)
	s1, s2 := newStep(at, timeS-a.timeS), newStep(at, b.timeS-timeS)
	f1, q1, f2, q2 := s1.f, s1.noise(t.Noise), s2.f, s2.noise(t.Noise)
	qf := q1.mulT(&f2)
	s := f2.mul(&qf)
	s = s.add(&q2)
	s = s.symmetric()
	kk, ok := rightSolve(&qf, &s)
	if !ok {
		return nil, false
	}
	kf := kk.mul(&f2)
	fromA := kf.mul(&f1)
	fromA = f1.sub(&fromA)
	rest := kf.mul(&q1)
	rest = q1.sub(&rest)

	mid := node{timeS: timeS, fix: -1, weight: 1, nom: at}
	ma, mb := fromA.apply(&a.mean), kk.apply(&b.mean)
	for i := range dim {
		mid.mean[i] = ma[i] + mb[i]
	}
	// Covariances of the middle with either end, from cov(x_k, x_{k+1}) = G P_{k+1}.
	cross := a.gain.mul(&b.cov)
	ac := fromA.mul(&a.cov)
	kc := kk.mulT(&cross) // K cov(x_{k+1}, x_k)
	midA := ac.add(&kc)
	fc := fromA.mul(&cross)
	kb := kk.mul(&b.cov)
	midB := fc.add(&kb)
	one := midA.mulT(&fromA)
	two := midB.mulT(&kk)
	mid.cov = one.add(&two)
	mid.cov = mid.cov.add(&rest)
	mid.cov = mid.cov.symmetric()

	gain, ok := rightSolve(&midB, &b.cov)
	if !ok {
		return nil, false
	}
	aMid := midA.transpose()
	gainA, ok := rightSolve(&aMid, &mid.cov)
	if !ok {
		return nil, false
	}
	mid.gain = gain
	out := make([]node, 0, len(chain)+1)
	out = append(out, chain[:k+1]...)
	out = append(out, mid)
	out = append(out, chain[k+1:]...)
	out[k].gain = gainA
	return out, true
}

// Replicas are what the smoother makes of invented recordings of a ride like this one: the parametric
// bootstrap (B. Efron, Ann. Stat. 7, 1979, 1-26). How a figure differs between Way, Calm and Drawn
// shows how far noise and smoothing move it, and which way.
type Replicas struct {
	// Way is the ride taken for the truth: the track with its turns evened out over evenM, because bumps
	// that noise left in it would hide what more noise adds.
	Way *Track
	// Calm is Way recorded without errors and smoothed: what smoothing alone does.
	Calm *Track
	// Drawn are smoothed recordings of Way with errors of the receiver's kind.
	Drawn []*Track
}

// evenM is how much of the way turns are evened out over for [Replicas]: half the arc of a quarter turn of 12 m
// radius, three strides.
const evenM = 10.0

// Replicas makes count drawn replicas from fromS to toS and what is around that matters to it. The same call
// gives the same replicas. nil where the stretch is not in one piece.
func (t *Track) Replicas(fromS, toS float64, count int) *Replicas {
	nodes := t.around(fromS, toS)
	if nodes == nil {
		return nil
	}
	steps := storedSteps(nodes)
	keep := make([]pulls, len(nodes))
	if _, ok := filterKeeping(append([]node(nil), nodes...), steps, t.Noise, true, keep); !ok {
		return nil
	}
	made := func(nodes []node) *Track {
		r := *t
		r.Outliers = nil
		r.Pieces = []Piece{{FromS: nodes[0].timeS, ToS: nodes[len(nodes)-1].timeS, nodes: nodes}}
		return &r
	}
	way := evened(nodes)
	rng := rand.New(rand.NewPCG(1, 2))
	record := func(n Noise) *Track {
		copied := append([]node(nil), way...)
		draw(copied, n, rng)
		again(copied, steps, t.Noise, keep)
		return made(copied)
	}
	r := &Replicas{Way: made(way), Calm: record(Noise{})}
	for range count {
		r.Drawn = append(r.Drawn, record(t.Noise))
	}
	return r
}

// evened are the nodes on a way whose direction is the mean over evenM of travel, ridden at the same
// pace. Accelerations stay as they were: no figure of a replica's Way uses them.
func evened(nodes []node) []node {
	n := len(nodes)
	speed, dist, turned := make([]float64, n), make([]float64, n), make([]float64, n)
	summed := make([]float64, n) // of the direction over the distance
	for k := range nodes {
		m := &nodes[k].mean
		speed[k] = math.Hypot(m[vE], m[vN])
		if k == 0 {
			turned[0] = math.Atan2(m[vN], m[vE])
			continue
		}
		p := &nodes[k-1].mean
		step := (speed[k] + speed[k-1]) / 2 * (nodes[k].timeS - nodes[k-1].timeS)
		dist[k] = dist[k-1] + step
		turned[k] = turned[k-1] + math.Atan2(p[vE]*m[vN]-p[vN]*m[vE], p[vE]*m[vE]+p[vN]*m[vN])
		summed[k] = summed[k-1] + (turned[k]+turned[k-1])/2*step
	}
	sumAt := func(d float64) float64 {
		i := sort.SearchFloat64s(dist, d)
		if i == 0 || i == n || dist[i] == dist[i-1] {
			return summed[min(i, n-1)]
		}
		return summed[i-1] + (summed[i]-summed[i-1])*(d-dist[i-1])/(dist[i]-dist[i-1])
	}
	out := append([]node(nil), nodes...)
	for k := range out {
		direction := turned[k]
		// Near the ends over as much as there is on both sides.
		if half := min(evenM/2, dist[k], dist[n-1]-dist[k]); half > 0.1 {
			direction = (sumAt(dist[k]+half) - sumAt(dist[k]-half)) / (2 * half)
		}
		m := &out[k].mean
		m[vE], m[vN] = speed[k]*math.Cos(direction), speed[k]*math.Sin(direction)
		if k > 0 {
			p := &out[k-1].mean
			dt := out[k].timeS - out[k-1].timeS
			m[iE] = p[iE] + (p[vE]+m[vE])/2*dt
			m[iN] = p[iN] + (p[vN]+m[vN])/2*dt
		}
	}
	return out
}

// around are the nodes of one piece that have a say between two instants.
func (t *Track) around(fromS, toS float64) []node {
	// Fixes further away than this have none: over it the model's acceleration has died down and the
	// noise of several fixes is averaged.
	const reachS = 8.0
	for i := range t.Pieces {
		p := &t.Pieces[i]
		if !(fromS >= p.FromS && toS <= p.ToS && fromS <= toS) {
			continue
		}
		a := lastAt(p.nodes, max(fromS-reachS, p.FromS))
		b := min(lastAt(p.nodes, min(toS+reachS, p.ToS))+2, len(p.nodes))
		for a > 0 && p.nodes[a].fix < 0 {
			a-- // a filter starts at a fix
		}
		return p.nodes[a:b]
	}
	return nil
}

// draw puts fixes with errors of the given kind about the smoothed way.
func draw(nodes []node, n Noise, rng *rand.Rand) {
	var wander [2]float64
	for k := range nodes {
		nd := &nodes[k]
		for axis := range wander {
			if k == 0 {
				wander[axis] = n.WanderM * rng.NormFloat64()
				continue
			}
			dt := nd.timeS - nodes[k-1].timeS
			wander[axis] = wander[axis]*math.Exp(-dt/wanderS) + n.WanderM*math.Sqrt(-math.Expm1(-2*dt/wanderS))*rng.NormFloat64()
		}
		white := n.WhiteM / math.Sqrt(nd.weight)
		nd.zE = nd.mean[iE] + wander[0] + white*rng.NormFloat64()
		nd.zN = nd.mean[iN] + wander[1] + white*rng.NormFloat64()
		if !math.IsNaN(nd.speed) {
			nd.speed = math.Hypot(nd.mean[vE], nd.mean[vN]) + n.SpeedMS/math.Sqrt(nd.weight)*rng.NormFloat64()
		}
	}
}
