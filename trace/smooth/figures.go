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
	return t.state(chain[0]), true
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
		out[i] = t.state(chain[i])
	}
	return out
}

// Speed is the speed over ground, m/s, never below zero.
func (s State) Speed() trace.Estimate {
	return positive(trace.FromSD(math.Hypot(s.VE, s.VN), speedSD(s.VE, s.VN, s.Cov[2][2], s.Cov[3][3], s.Cov[2][3])))
}

// speedSD is the standard deviation of the speed by the velocity and its covariance.
func speedSD(ve, vn, ee, nn, en float64) float64 {
	v := math.Hypot(ve, vn)
	if v == 0 {
		return math.Sqrt(ee)
	}
	c, d := ve/v, vn/v
	return math.Sqrt(max(c*c*ee+d*d*nn+2*c*d*en, 0))
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
		speed, along := t.speed2(chain[i])
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
		mean, _ := t.figures(chain[i])
		if i > 0 {
			sum += math.Atan2(last[vE]*mean[vN]-last[vN]*mean[vE], last[vE]*mean[vE]+last[vN]*mean[vN])
		}
		last = mean
	}
	for _, end := range [2]struct {
		i    int
		sign float64
	}{{0, -1}, {len(chain) - 1, 1}} {
		mean, _ := t.figures(chain[end.i])
		// Below a slow walk the direction is next to unknown: as much as this speed lets it be.
		v2 := max(mean[vE]*mean[vE]+mean[vN]*mean[vN], 0.3*0.3)
		w := vec{vE: -end.sign * mean[vN] / v2, vN: end.sign * mean[vE] / v2}
		if t.LagS != 0 {
			m := t.unlag(chain[end.i])
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
func variance(chain []*node, w []vec) float64 {
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

// chain are the nodes from fromS to toS with nodes put in exactly at both ends; nil where they don't lie in one
// piece. The nodes between are the track's own and must not be changed.
func (t *Track) chain(fromS, toS float64) []*node {
	p := t.pieceOf(fromS, toS)
	if p == nil {
		return nil
	}
	a := lastAt(p.nodes, fromS)
	b := lastAt(p.nodes, toS)
	chain := make([]*node, 0, b-a+3)
	first := &p.nodes[a]
	if first.timeS < fromS {
		_, mid, ok := t.insert(first, &p.nodes[a+1], fromS)
		if !ok {
			return nil
		}
		first = mid
	}
	chain = append(chain, first)
	for k := a + 1; k <= b; k++ {
		chain = append(chain, &p.nodes[k])
	}
	if last := chain[len(chain)-1]; last.timeS < toS {
		from, mid, ok := t.insert(last, &p.nodes[b+1], toS)
		if !ok {
			return nil
		}
		chain[len(chain)-1] = from
		chain = append(chain, mid)
	}
	return chain
}

// pieceOf is the piece that holds both instants; nil where none does.
func (t *Track) pieceOf(fromS, toS float64) *Piece {
	for i := range t.Pieces {
		if p := &t.Pieces[i]; fromS >= p.FromS && toS <= p.ToS && fromS <= toS {
			return p
		}
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

// bridge is how the state at an instant between two nodes follows from theirs: x = fromA x_a + fromB x_b + noise of
// covariance rest, whatever the other fixes are.
type bridge struct {
	at                 nominal
	fromA, fromB, rest matrix
}

// bridgeAt is, with F1 and Q1 the model from a to the instant and F2 and Q2 from there to b, fromB = Q1 F2' (F2 Q1 F2' + Q2)⁻¹,
// fromA = F1 - fromB F2 F1 and rest = Q1 - fromB F2 Q1.
func (t *Track) bridgeAt(a, b *node, timeS float64) (g bridge, ok bool) {
	g.at = a.nom.between(b.nom)
	s1, s2 := newStep(g.at, timeS-a.timeS), newStep(g.at, b.timeS-timeS)
	f1, q1, f2, q2 := &s1.f, s1.noise(t.Noise), &s2.f, s2.noise(t.Noise)
	qf := q1.mulT(f2)
	s := f2.mul(&qf)
	s = s.add(&q2)
	s = s.symmetric()
	if g.fromB, ok = rightSolve(&qf, &s); !ok {
		return g, false
	}
	kf := g.fromB.mul(f2)
	g.fromA = kf.mul(f1)
	g.fromA = f1.sub(&g.fromA)
	g.rest = kf.mul(&q1)
	g.rest = q1.sub(&g.rest)
	return g, true
}

// mean is the state at the instant, given those of a and b.
func (g *bridge) mean(a, b *vec) vec {
	x, y := g.fromA.apply(a), g.fromB.apply(b)
	for i := range dim {
		x[i] += y[i]
	}
	return x
}

// insert makes a node at timeS between nodes a and b, and a with its gain to the new one.
func (t *Track) insert(a, b *node, timeS float64) (from, mid *node, ok bool) {
	g, ok := t.bridgeAt(a, b, timeS)
	if !ok {
		return nil, nil, false
	}
	mid = &node{timeS: timeS, fix: -1, weight: 1, nom: g.at, mean: g.mean(&a.mean, &b.mean)}
	// Covariances of the middle with either end, from cov(x_a, x_b) = G P_b.
	cross := a.gain.mul(&b.cov)
	ac := g.fromA.mul(&a.cov)
	kc := g.fromB.mulT(&cross) // fromB cov(x_b, x_a)
	midA := ac.add(&kc)
	fc := g.fromA.mul(&cross)
	kb := g.fromB.mul(&b.cov)
	midB := fc.add(&kb)
	one := midA.mulT(&g.fromA)
	two := midB.mulT(&g.fromB)
	mid.cov = one.add(&two)
	mid.cov = mid.cov.add(&g.rest)
	mid.cov = mid.cov.symmetric()

	if mid.gain, ok = rightSolve(&midB, &b.cov); !ok {
		return nil, nil, false
	}
	aMid := midA.transpose()
	left := *a
	if left.gain, ok = rightSolve(&aMid, &mid.cov); !ok {
		return nil, nil, false
	}
	return &left, mid, true
}

// Moment is the way at an instant: place and velocity as in [State], and the standard deviation of the speed.
type Moment struct {
	TimeS, EM, NM, VE, VN, SpeedSDMS float64
}

// Speed is the speed over ground, m/s, never below zero.
func (m Moment) Speed() trace.Estimate {
	return positive(trace.FromSD(math.Hypot(m.VE, m.VN), m.SpeedSDMS))
}

// Moments are count instants of one of the track's pieces, stepS apart from fromS on, in one pass; those outside the piece are
// left out. Between two nodes the way is the polynomial of the fifth degree with the place, velocity and acceleration of both, which
// is what [Track.At] finds to a ten-thousandth of its interval, at a hundredth of the cost.
func (t *Track) Moments(p *Piece, fromS, stepS float64, count int) []Moment {
	out := make([]Moment, 0, count)
	k := 0
	var a, b vec
	var sdA, sdB float64
	for i := range count {
		at := fromS + float64(i)*stepS
		if at < p.FromS || at > p.ToS {
			continue
		}
		last := k
		for k+2 < len(p.nodes) && p.nodes[k+1].timeS <= at {
			k++
		}
		switch {
		case len(out) > 0 && k == last:
		case len(out) > 0 && k == last+1:
			a, sdA = b, sdB
			b, sdB = t.going(&p.nodes[k+1])
		default:
			a, sdA = t.going(&p.nodes[k])
			b, sdB = t.going(&p.nodes[k+1])
		}
		dt := p.nodes[k+1].timeS - p.nodes[k].timeS
		u := (at - p.nodes[k].timeS) / dt
		m := Moment{TimeS: at, SpeedSDMS: sdA + u*(sdB-sdA)}
		pE, vE, aE := quintic(u, dt, a[iE], a[vE], a[aE], b[iE], b[vE], b[aE])
		pN, vN, aN := quintic(u, dt, a[iN], a[vN], a[aN], b[iN], b[vN], b[aN])
		// The lag is taken out as [Track.Unlag] does.
		m.EM, m.NM = pE+t.LagS*vE, pN+t.LagS*vN
		m.VE, m.VN = vE+t.LagS*aE, vN+t.LagS*aN
		out = append(out, m)
	}
	return out
}

// going is a node's state, and the standard deviation of its speed with the lag taken out.
func (t *Track) going(nd *node) (vec, float64) {
	mean, cov := t.figures(nd)
	return nd.mean, speedSD(mean[vE], mean[vN], cov[vE][vE], cov[vN][vN], cov[vE][vN])
}

// quintic is the place, the velocity and the acceleration at share u of a step of dt seconds, whose ends have these places, velocities and accelerations.
func quintic(u, dt, p0, v0, a0, p1, v1, a1 float64) (p, v, a float64) {
	d := p1 - p0 - dt*(v0+dt*a0/2)
	e := dt * (v1 - v0 - dt*a0)
	f := dt * dt * (a1 - a0) / 2
	c3, c4, c5 := 10*d-4*e+f, -15*d+7*e-2*f, 6*d-3*e+f
	p = p0 + u*(dt*v0+u*(dt*dt*a0/2+u*(c3+u*(c4+u*c5))))
	v = v0 + u*dt*a0 + u*u*(3*c3+u*(4*c4+u*5*c5))/dt
	a = a0 + u*(6*c3+u*(12*c4+u*20*c5))/(dt*dt)
	return p, v, a
}

// Velocity is how the horse went at an instant: m/s east and north.
type Velocity struct{ TimeS, VE, VN float64 }

// Velocities are those of [Track.States], at a tenth of the cost.
func (t *Track) Velocities(fromS, toS float64) []Velocity {
	p := t.pieceOf(fromS, toS)
	if p == nil {
		return nil
	}
	w, ok := t.windowOf(p.nodes, fromS, toS)
	if !ok {
		return nil
	}
	means := make([]vec, len(p.nodes[w.from:w.to]))
	for k := range means {
		means[k] = p.nodes[w.from+k].mean
	}
	return w.velocities(p.nodes[w.from:w.to], means, t.LagS)
}

// window is a stretch of nodes from the last one not after an instant to the first one not before another, and how
// the states at the two instants follow from them.
type window struct {
	from, to     int // nodes[from:to]
	fromS, toS   float64
	first, last  bridge
	begin, ended bool // the instants lie between nodes
}

func (t *Track) windowOf(nodes []node, fromS, toS float64) (w window, ok bool) {
	w = window{from: lastAt(nodes, fromS), to: lastAt(nodes, toS) + 1, fromS: fromS, toS: toS}
	if w.begin = nodes[w.from].timeS < fromS; w.begin {
		if w.first, ok = t.bridgeAt(&nodes[w.from], &nodes[w.from+1], fromS); !ok {
			return w, false
		}
	}
	if w.ended = nodes[w.to-1].timeS < toS; w.ended {
		if w.last, ok = t.bridgeAt(&nodes[w.to-1], &nodes[w.to], toS); !ok {
			return w, false
		}
		w.to++
	}
	return w, true
}

// velocities are those at both instants and at the nodes between, of means in the place of the nodes' own.
func (w *window) velocities(nodes []node, means []vec, lagS float64) []Velocity {
	out := make([]Velocity, 0, len(nodes)+1)
	add := func(timeS float64, x *vec) {
		// The lag is taken out as [Track.Unlag] does.
		out = append(out, Velocity{timeS, x[vE] + lagS*x[aE], x[vN] + lagS*x[aN]})
	}
	from := 0
	if w.begin {
		x := w.first.mean(&means[0], &means[1])
		add(w.fromS, &x)
		from = 1
	}
	for k := from; k < len(nodes) && nodes[k].timeS <= w.toS; k++ {
		add(nodes[k].timeS, &means[k])
	}
	if n := len(means); w.ended {
		x := w.last.mean(&means[n-2], &means[n-1])
		add(w.toS, &x)
	}
	return out
}

// Replicas are what the smoother makes of invented recordings of a ride like this one: the parametric
// bootstrap (B. Efron, Ann. Stat. 7, 1979, 1-26). How a figure differs between Way, Calm and Drawn
// shows how far noise and smoothing move it, and which way.
type Replicas struct {
	// Way is the ride taken for the truth: the track with its turns evened out over evenM, because bumps
	// that noise left in it would hide what more noise adds.
	Way []Velocity
	// Calm is Way recorded without errors and smoothed: what smoothing alone does.
	Calm []Velocity
	// Drawn are smoothed recordings of Way with errors of the receiver's kind.
	Drawn [][]Velocity
}

// evenM is how much of the way turns are evened out over for [Replicas]: half the arc of a quarter turn of 12 m
// radius, three strides.
const evenM = 10.0

// Replicas makes count drawn replicas from fromS to toS, with what is around that matters to it. The same call
// gives the same replicas. nil where the stretch is not in one piece.
//
// What a smoother makes of other measurements at the same instants needs only the gains of the track itself, which do not depend
// on what was measured.
func (t *Track) Replicas(fromS, toS float64, count int) *Replicas {
	p := t.pieceOf(fromS, toS)
	if p == nil {
		return nil
	}
	// Fixes further away than this have no say: over it the model's acceleration has died down and the
	// noise of several fixes is averaged.
	const reachS = 8.0
	a := lastAt(p.nodes, max(fromS-reachS, p.FromS))
	b := min(lastAt(p.nodes, min(toS+reachS, p.ToS))+2, len(p.nodes))
	nodes, gains := p.nodes[a:b], p.gains[a:b]
	w, ok := t.windowOf(nodes, fromS, toS)
	if !ok {
		return nil
	}
	steps := make([]transition, len(nodes)-1)
	for k := range steps {
		steps[k] = newTransition(nodes[k].nom.between(nodes[k+1].nom), nodes[k+1].timeS-nodes[k].timeS)
	}
	way := evened(nodes)
	of := func(means []vec) []Velocity { return w.velocities(nodes[w.from:w.to], means[w.from:w.to], t.LagS) }
	rng := rand.New(rand.NewPCG(1, 2))
	fixes, means, ahead := make([]drawnFix, len(nodes)), make([]vec, len(nodes)), make([]vec, len(nodes))
	record := func(n Noise) []Velocity {
		draw(fixes, nodes, way, n, rng)
		again(means, ahead, nodes, steps, gains, fixes, way)
		return of(means)
	}
	r := &Replicas{Way: of(way), Calm: record(Noise{})}
	for range count {
		r.Drawn = append(r.Drawn, record(t.Noise))
	}
	return r
}

// evened are the nodes' states on a way whose direction is the mean over evenM of travel, ridden at the same
// pace. Accelerations stay as they were: no figure of a replica's Way uses them.
func evened(nodes []node) []vec {
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
	out := make([]vec, n)
	for k := range out {
		out[k] = nodes[k].mean
		direction := turned[k]
		// Near the ends over as much as there is on both sides.
		if half := min(evenM/2, dist[k], dist[n-1]-dist[k]); half > 0.1 {
			direction = (sumAt(dist[k]+half) - sumAt(dist[k]-half)) / (2 * half)
		}
		m := &out[k]
		m[vE], m[vN] = speed[k]*math.Cos(direction), speed[k]*math.Sin(direction)
		if k > 0 {
			p := &out[k-1]
			dt := nodes[k].timeS - nodes[k-1].timeS
			m[iE] = p[iE] + (p[vE]+m[vE])/2*dt
			m[iN] = p[iN] + (p[vN]+m[vN])/2*dt
		}
	}
	return out
}

// drawnFix is an invented fix: east, north and the device's speed.
type drawnFix struct{ zE, zN, speed float64 }

// draw puts fixes with errors of the given kind about a way, where the nodes have fixes.
func draw(fixes []drawnFix, nodes []node, way []vec, n Noise, rng *rand.Rand) {
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
		fixes[k].zE = way[k][iE] + wander[0] + white*rng.NormFloat64()
		fixes[k].zN = way[k][iN] + wander[1] + white*rng.NormFloat64()
		if !math.IsNaN(nd.speed) {
			fixes[k].speed = math.Hypot(way[k][vE], way[k][vN]) + n.SpeedMS/math.Sqrt(nd.weight)*rng.NormFloat64()
		}
	}
}
