package detect

import (
	"math"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// TurnHint is a turn and the way it went, known from a gyroscope, from the track or from the plan.
type TurnHint struct {
	FromS, ToS float64
	LeftRad    float64 // angle turned, left positive
}

// strideWave is what one canter stride shows of the lead: the first two harmonics of the level force and of the turn
// rate, in sensor axes, with the load's first harmonic as their clock. Left and right lead are mirror images, so
// what goes sideways changes its sign with the lead; which signal carries it, and at what phase, differs from horse
// to horse and from one way of carrying the sensor to another, and is learned from the ride.
type strideWave struct {
	up          [3]float64
	force, rate [waveHarmonics][3]complex128 // m/s², rad/s
	gyro        bool
}

const waveHarmonics = 2

// waveOfStride is the wave of the stride between two samples, nil where it is no canter stride.
func (p *piece) waveOfStride(from, to int) *strideWave {
	const shortest, longest = 0.25, 1.2 // s
	if d := float64(to-from) * stepS; d < shortest || d > longest {
		return nil
	}
	mid := (from + to) / 2
	w := &strideWave{up: [3]float64{p.up[0][mid], p.up[1][mid], p.up[2][mid]}, gyro: p.g[0] != nil}
	var load complex128
	for i := from; i < to; i++ {
		var a, g [3]float64
		u := 0.0
		for c := range a {
			a[c] = p.a[c][i]
			u += a[c] * p.up[c][i]
			if w.gyro {
				g[c] = p.g[c][i]
			}
		}
		turn := cmplx.Rect(2/float64(to-from), -2*math.Pi*float64(i-from)/float64(to-from))
		load += complex(u, 0) * turn
		for h := range w.force {
			for c := range a {
				w.force[h][c] += complex(a[c]-u*p.up[c][i], 0) * turn
				w.rate[h][c] += complex(g[c], 0) * turn
			}
			turn *= cmplx.Rect(1, -2*math.Pi*float64(i-from)/float64(to-from))
		}
	}
	if cmplx.Abs(load) < leastLoadMS2 {
		return nil
	}
	clock := cmplx.Conj(load) / complex(cmplx.Abs(load), 0)
	back := clock
	for h := range w.force {
		for c := range w.force[h] {
			w.force[h][c] *= back
			w.rate[h][c] *= back
		}
		back *= clock
	}
	return w
}

// leastLoadMS2 is the first harmonic of the load that a stride needs so that its phase is a clock; 11 canters
// digitised from films show 6.4 to 7.8 m/s².
const leastLoadMS2 = 0.5

// addWaves keeps the waves of the piece's canter strides, for [SettleLeads].
func (p *piece) addLeadWaves(strides []Stride) {
	for i := range strides {
		if s := &strides[i]; s.Gait == Canter {
			s.wave = p.waveOfStride(p.idx(s.FromS), p.idx(s.ToS))
		}
	}
}

// inCarriedFrame gives the waves as numbers in a frame that is carried along with up and never turns about it, so that a
// sensor that tips slowly takes its frame with it; and how many numbers in turn belong to one signal, whose level directions are alike.
func inCarriedFrame(ws []*strideWave) (x [][]float64, groups []int) {
	gyro := true
	for _, w := range ws {
		gyro = gyro && w.gyro
	}
	out := make([][]float64, len(ws))
	e := [3]float64{1, 0, 0}
	if math.Abs(ws[0].up[0]) > 0.8 {
		e = [3]float64{0, 1, 0}
	}
	for i, w := range ws {
		along := dot3(e, w.up)
		for c := range e {
			e[c] -= along * w.up[c]
		}
		if n := math.Sqrt(dot3(e, e)); n > 1e-6 {
			e = [3]float64{e[0] / n, e[1] / n, e[2] / n}
		}
		f := [3]float64{w.up[1]*e[2] - w.up[2]*e[1], w.up[2]*e[0] - w.up[0]*e[2], w.up[0]*e[1] - w.up[1]*e[0]}
		add := func(axis [3]float64, v [3]complex128) {
			z := complex(axis[0], 0)*v[0] + complex(axis[1], 0)*v[1] + complex(axis[2], 0)*v[2]
			out[i] = append(out[i], real(z), imag(z))
		}
		for h := range w.force {
			add(e, w.force[h])
			add(f, w.force[h])
			if gyro {
				add(w.up, w.rate[h])
				add(e, w.rate[h])
				add(f, w.rate[h])
			}
		}
	}
	for range waveHarmonics {
		groups = append(groups, 4)
		if gyro {
			groups = append(groups, 2, 4)
		}
	}
	return out, groups
}

func dot3(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// sets are the ways of cantering that a ride's strides fall into: each stride's probabilities of the sets, and the sets'
// middles in units of the noise from one stride to the next.
type sets struct {
	stride []int       // indices in the events' strides
	prob   [][]float64 // a stride's probability of each set
	middle [][]float64
	weight []float64 // strides in each
}

const (
	// mostSets: two leads, two ways of being disunited, and as many again for what pace, slope or a slipping sensor do to them.
	mostSets = 8
	// fewestWaves are the strides that two leads need: eight each.
	fewestWaves = 16
	// leadAxes are the directions kept: the leads' own, that of the disunited canter, and two for what pace does.
	leadAxes = 4
)

// findSets sorts the canter strides of a ride by their waves, without a name for any set. The noise is told by what differs
// between neighbouring strides, which are nearly always on the same lead; whatever differs by much more than that
// between stretches of the ride makes sets (a hidden Markov model over them, Rabiner 1989, by expectation maximization
// with Student's t of four degrees, so that no single stride decides).
func findSets(strides []Stride) *sets {
	var at []int
	var ws []*strideWave
	for i := range strides {
		if strides[i].wave != nil {
			at, ws = append(at, i), append(ws, strides[i].wave)
		}
	}
	if len(ws) < fewestWaves {
		return nil
	}
	follows := make([]bool, len(at)) // without a jump or a pause between
	for i := 1; i < len(at); i++ {
		follows[i] = strides[at[i]].FromS-strides[at[i-1]].ToS < 0.1
	}
	x, groups := inCarriedFrame(ws)
	y := whitened(x, groups, follows)
	if y == nil {
		return nil
	}
	y = mainAxes(y, follows, leadAxes)
	s := fitSets(y, follows, mostSets)
	if s == nil {
		return nil
	}
	s.stride = at
	return s
}

// whitened scales the waves so that the noise from one stride to the next is one in every direction. nil where there are
// too few neighbours.
func whitened(x [][]float64, groups []int, follows []bool) [][]float64 {
	d := len(x[0])
	var diff [][]float64
	for i := range x {
		if follows[i] {
			v := make([]float64, d)
			for c := range v {
				v[c] = (x[i][c] - x[i-1][c]) / math.Sqrt2
			}
			diff = append(diff, v)
		}
	}
	if len(diff) < fewestWaves/2 {
		return nil
	}
	// Along the level directions in which neighbours differ most and least, which are the horse's own, each number by its middle
	// deviation; then all together by the covariance of the calmer seven tenths: changes of lead are among the rest.
	turn := mainDirection(diff, groups)
	x, diff = turnedLevel(x, groups, turn), turnedLevel(diff, groups, turn)
	scale := make([]float64, d)
	col := make([]float64, len(diff))
	for c := range scale {
		for i := range diff {
			col[i] = math.Abs(diff[i][c])
		}
		scale[c] = 1.4826*median(col) + 1e-4
	}
	size := make([]float64, len(diff))
	for i := range diff {
		for c := range scale {
			diff[i][c] /= scale[c]
			size[i] += diff[i][c] * diff[i][c]
		}
	}
	limit := quantileOf(size, 0.7)
	cov := mat.NewSymDense(d, nil)
	n, kept := 0.0, 0.0
	for i, v := range diff {
		if size[i] > limit {
			continue
		}
		n++
		kept += size[i] / float64(d)
		for a := range v {
			for b := a; b < d; b++ {
				cov.SetSym(a, b, cov.At(a, b)+v[a]*v[b])
			}
		}
	}
	// Of few differences the covariance is shrunk towards the single scales.
	keep := n / (n + 2*float64(d))
	mean := kept / n
	for a := 0; a < d; a++ {
		for b := a; b < d; b++ {
			v := keep * cov.At(a, b) / n / mean
			if a == b {
				v += 1 - keep
			}
			cov.SetSym(a, b, v)
		}
	}
	var ch mat.Cholesky
	if !ch.Factorize(cov) {
		return nil
	}
	var l mat.TriDense
	ch.LTo(&l)
	out := make([][]float64, len(x))
	for i := range x {
		v := mat.NewVecDense(d, nil)
		for c := range scale {
			v.SetVec(c, x[i][c]/scale[c])
		}
		var w mat.VecDense
		if err := w.SolveVec(&l, v); err != nil {
			return nil
		}
		out[i] = w.RawVector().Data
	}
	return out
}

// mainDirection is the angle from the first level axis to the direction in which the force differs most, [-π/2, π/2].
func mainDirection(diff [][]float64, groups []int) float64 {
	size := make([]float64, len(diff))
	eachLevel := func(v []float64, of func(e, f float64)) {
		at := 0
		for k, n := range groups {
			if n == 4 && (k == 0 || groups[k-1] != 2) { // of force, not of turn rate
				of(v[at], v[at+2])
				of(v[at+1], v[at+3])
			}
			at += n
		}
	}
	for i, v := range diff {
		eachLevel(v, func(e, f float64) { size[i] += e*e + f*f })
	}
	usual := median(size) + 1e-12
	var ee, ff, ef float64
	for i, v := range diff {
		w := 1 / (usual + size[i]) // no single pair decides
		eachLevel(v, func(e, f float64) { ee, ff, ef = ee+w*e*e, ff+w*f*f, ef+w*e*f })
	}
	return 0.5 * math.Atan2(2*ef, ee-ff)
}

// turnedLevel is x with its level directions turned by an angle.
func turnedLevel(x [][]float64, groups []int, by float64) [][]float64 {
	sin, cos := math.Sincos(by)
	out := make([][]float64, len(x))
	for i, v := range x {
		out[i] = append([]float64(nil), v...)
		at := 0
		for _, n := range groups {
			if n == 4 {
				for k := at; k < at+2; k++ {
					out[i][k], out[i][k+2] = cos*v[k]+sin*v[k+2], -sin*v[k]+cos*v[k+2]
				}
			}
			at += n
		}
	}
	return out
}

// quantileOf is the q quantile of x, q in [0, 1].
func quantileOf(x []float64, q float64) float64 {
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	return s[int(q*float64(len(s)-1))]
}

// calmed are running means over up to three strides that follow on each other.
func calmed(x [][]float64, follows []bool) [][]float64 {
	out := make([][]float64, len(x))
	for i := range x {
		from, to := i, i
		if follows[i] {
			from = i - 1
		}
		if i+1 < len(x) && follows[i+1] {
			to = i + 1
		}
		out[i] = make([]float64, len(x[i]))
		for k := from; k <= to; k++ {
			for c, v := range x[k] {
				out[i][c] += v / float64(to-from+1)
			}
		}
	}
	return out
}

// mainAxes projects onto the axes along which the calmed strides differ most.
func mainAxes(x [][]float64, follows []bool, axes int) [][]float64 {
	d := len(x[0])
	axes = min(axes, d)
	calm := calmed(x, follows)
	one := make([]float64, len(calm))
	for i := range one {
		one[i] = 1
	}
	mean := nearestToAll(calm, one)
	// A single wild stride must not choose an axis: each counts by its direction and the root of its length.
	cov := mat.NewSymDense(d, nil)
	for _, v := range calm {
		size := 0.0
		for c := range v {
			size += (v[c] - mean[c]) * (v[c] - mean[c])
		}
		w := 1 / math.Sqrt(1+size)
		for a := range v {
			for b := a; b < d; b++ {
				cov.SetSym(a, b, cov.At(a, b)+w*(v[a]-mean[a])*(v[b]-mean[b]))
			}
		}
	}
	var eig mat.EigenSym
	if !eig.Factorize(cov, true) {
		return x
	}
	var vec mat.Dense
	eig.VectorsTo(&vec)
	out := make([][]float64, len(x))
	for i, v := range x {
		out[i] = make([]float64, axes)
		for k := range axes {
			for c := range v {
				out[i][k] += vec.At(c, d-1-k) * (v[c] - mean[c])
			}
		}
	}
	return out
}

// Chances from one stride to the next, of a set.
const (
	changeSet     = 1.0 / 25
	changeOnLand  = 1.0 / 2 // over a jump or a pause
	tails         = 4.0     // degrees of freedom
	roundsOfSets  = 40
	leastInSet    = 2.5 // strides; a smaller set is dropped
	leastSpreadSD = 1.0 // of a set, in units of the noise
)

// fitSets finds at most most sets among the strides.
func fitSets(y [][]float64, follows []bool, most int) *sets {
	calm := calmed(y, follows)
	s := &sets{middle: farthest(calm, most)}
	d := len(y[0])
	spread := make([]float64, d)
	for c := range spread {
		spread[c] = leastSpreadSD * leastSpreadSD
	}
	for range roundsOfSets {
		s.assign(y, follows, spread)
		// Drop what has hardly a stride, then move the middles and the spread that all sets share.
		var middle [][]float64
		var keep []int
		for k, w := range s.weight {
			if w >= leastInSet {
				keep = append(keep, k)
				middle = append(middle, make([]float64, d))
			}
		}
		if len(keep) == 0 {
			return nil
		}
		sum := make([]float64, len(keep))
		for i := range y {
			for j, k := range keep {
				w := s.prob[i][k] * tailWeight(y[i], s.middle[k], spread)
				sum[j] += w
				for c := range middle[j] {
					middle[j][c] += w * y[i][c]
				}
			}
		}
		for j := range middle {
			for c := range middle[j] {
				middle[j][c] /= sum[j] + 1e-12
			}
		}
		next := make([]float64, d)
		total := 0.0
		for i := range y {
			for j, k := range keep {
				w := s.prob[i][k] * tailWeight(y[i], s.middle[k], spread)
				total += s.prob[i][k]
				for c := range next {
					next[c] += w * (y[i][c] - middle[j][c]) * (y[i][c] - middle[j][c])
				}
			}
		}
		for c := range next {
			spread[c] = math.Max(leastSpreadSD*leastSpreadSD, next[c]/total)
		}
		s.middle = middle
	}
	s.assign(y, follows, spread)
	return s
}

// tailWeight is how much a stride counts in a set: less the farther it lies out (Student's t).
func tailWeight(y, m, spread []float64) float64 {
	q := 0.0
	for c := range y {
		q += (y[c] - m[c]) * (y[c] - m[c]) / spread[c]
	}
	return (tails + float64(len(y))) / (tails + q)
}

// assign gives each stride its probabilities of the sets, forward and backward.
func (s *sets) assign(y [][]float64, follows []bool, spread []float64) {
	n, k := len(y), len(s.middle)
	like := make([][]float64, n)
	for i := range y {
		like[i] = make([]float64, k)
		best := math.Inf(-1)
		for j := range s.middle {
			q := 0.0
			for c := range y[i] {
				q += (y[i][c] - s.middle[j][c]) * (y[i][c] - s.middle[j][c]) / spread[c]
			}
			like[i][j] = -(tails + float64(len(y[i]))) / 2 * math.Log1p(q/tails)
			best = math.Max(best, like[i][j])
		}
		for j := range like[i] {
			like[i][j] = math.Exp(like[i][j] - best)
		}
	}
	step := func(x []float64, follows bool) []float64 {
		c := changeOnLand
		if follows {
			c = changeSet
		}
		sum := 0.0
		for _, v := range x {
			sum += v
		}
		out := make([]float64, k)
		for j := range out {
			out[j] = (1-c)*x[j] + c*sum/float64(k)
		}
		return out
	}
	normal := func(x []float64) {
		sum := 0.0
		for _, v := range x {
			sum += v
		}
		for j := range x {
			x[j] /= sum
		}
	}
	fwd := make([][]float64, n)
	for i := range y {
		fwd[i] = make([]float64, k)
		prior := make([]float64, k)
		for j := range prior {
			prior[j] = 1 / float64(k)
		}
		if i > 0 {
			prior = step(fwd[i-1], follows[i])
		}
		for j := range prior {
			fwd[i][j] = prior[j]*like[i][j] + 1e-300
		}
		normal(fwd[i])
	}
	back := make([]float64, k)
	for j := range back {
		back[j] = 1
	}
	s.prob = make([][]float64, n)
	s.weight = make([]float64, k)
	for i := n - 1; i >= 0; i-- {
		s.prob[i] = make([]float64, k)
		for j := range back {
			s.prob[i][j] = fwd[i][j]*back[j] + 1e-300
		}
		normal(s.prob[i])
		for j, v := range s.prob[i] {
			s.weight[j] += v
		}
		next := make([]float64, k)
		for j := range next {
			next[j] = like[i][j] * back[j]
		}
		back = step(next, follows[i])
		normal(back)
	}
}

// farthest picks middles to begin with: the stride nearest to all, then again and again the one that is farthest from those
// picked, leaving out the farthest twentieth, which may be slips.
func farthest(y [][]float64, most int) [][]float64 {
	away := make([]float64, len(y))
	zero := make([]float64, len(y[0]))
	near := 0
	for i := range y {
		away[i] = math.Inf(1)
		if distance2(y[i], zero) < distance2(y[near], zero) {
			near = i
		}
	}
	out := [][]float64{append([]float64(nil), y[near]...)}
	for len(out) < most {
		for i := range y {
			away[i] = math.Min(away[i], distance2(y[i], out[len(out)-1]))
		}
		limit := quantileOf(away, 0.95)
		pick := -1
		for i := range y {
			if away[i] <= limit && (pick < 0 || away[i] > away[pick]) {
				pick = i
			}
		}
		if away[pick] == 0 {
			break
		}
		out = append(out, append([]float64(nil), y[pick]...))
	}
	return out
}

func distance2(a, b []float64) float64 {
	s := 0.0
	for c := range a {
		s += (a[c] - b[c]) * (a[c] - b[c])
	}
	return s
}

// Evidence for which set is which lead.
const (
	// insideLead is how often a horse canters a turn on the inside lead, outsideLead on the other: about 19 % of freely chosen
	// gallop strides are on the outside lead (Parkes 2020, second hand); the rest is disunited.
	insideLead, outsideLead, disunitedInTurn = 0.70, 0.14, 0.16
	// turnWeight: the turns of one ride are not independent of each other, a horse has its ways.
	turnWeight = 0.7
	// pathWeight: nor are changes of lead, which turns and fences bring about.
	pathWeight = 0.5
	// Where a ride's sets lie, in halves of what lies between the leads: those of one lead about its middle, by sameAlong along the
	// line that joins the leads and sameAcross off it. A disunited canter mirrors one pair of legs and not the other, so it lies
	// off the line: by offLine, spread offSpread, and anywhere along it (alongLine). Measured on 380 sets of rounds from six worlds,
	// three of which have disunited strides; with either of these worlds left out the middles differ by 0.01.
	sameAlong, sameAcross         = 0.3, 0.25
	alongLine, offLine, offSpread = 0.8, 1.45, 0.35
	// leastGap between the leads, in units of a stride's noise: below it chance alone makes two sets.
	leastGap = 4.0
	// leastLead are the strides of its largest set that a lead needs.
	leastLead = 5
	// mostDisunited is the share of a ride that may be disunited (43 % of strides after a drop, Moore et al. 1995), mostSpread how far
	// a lead's own sets may lie apart, in halves of the gap: where something else moves the sensor more than the lead does,
	// as on a wrist, nothing is named.
	mostDisunited, mostSpread = 0.45, 0.6
	// leastApart is how near a set of one lead may come to one of the other, in gaps: where sets lie in a row, something changes
	// little by little, and that is no lead.
	leastApart = 0.4
	// sureLead is the probability from which a stride's lead is published.
	sureLead = 0.9
)

// naming gives each set a lead.
type naming []Lead

// SettleLeads names the leads of the canter strides where turns show which is which: a horse mostly
// canters a turn on the inside lead, and left and right lead are mirror images of which the disunited canter is neither.
// All ways to name the ride's sets of strides are weighed against each other; a stride's lead is published where it is
// named so with a probability of 0.9 or more. Turns to one side alone name nothing, because what a turn
// does to the sensor would pass for a lead. It reports whether any were named.
func SettleLeads(ev *Events, turns []TurnHint) bool {
	for i := range ev.Strides {
		ev.Strides[i].Lead, ev.Strides[i].LeadP = LeadUnknown, 0
	}
	s := ev.sets
	if s == nil || !bothWays(turns) {
		return false
	}
	names, odds := s.namings(ev.Strides, turns)
	any := false
	for i, at := range s.stride {
		var p [4]float64
		for k, name := range names {
			for j, q := range s.prob[i] {
				p[name[j]] += odds[k] * q
			}
		}
		for _, l := range []Lead{LeadLeft, LeadRight, LeadDisunited} {
			if p[l] >= sureLead {
				ev.Strides[at].Lead, ev.Strides[at].LeadP, any = l, p[l], true
			}
		}
	}
	return any
}

func bothWays(turns []TurnHint) bool {
	left, right := false, false
	for _, t := range turns {
		left, right = left || t.LeftRad > 0, right || t.LeftRad < 0
	}
	return left && right
}

// namings are all ways to name the sets, with their probabilities. None where the
// likeliest does not stand for two leads.
func (s *sets) namings(strides []Stride, turns []TurnHint) ([]naming, []float64) {
	k := len(s.middle)
	// What each turn shows: the share of each set.
	type shown struct {
		left  bool
		share []float64
		much  float64
	}
	var seen []shown
	for _, t := range turns {
		v := shown{left: t.LeftRad > 0, share: make([]float64, k)}
		n := 0.0
		for i, at := range s.stride {
			if strides[at].FromS >= t.FromS && strides[at].ToS <= t.ToS {
				n++
				for j, q := range s.prob[i] {
					v.share[j] += q
				}
			}
		}
		if n == 0 {
			continue
		}
		for j := range v.share {
			v.share[j] /= n
		}
		v.much = math.Min(1, n/3) // one stride of a turn may be a change's; three are the turn's lead
		seen = append(seen, v)
	}
	within, over, first := s.steps(strides)
	var names []naming
	var score []float64
	var good []bool
	name := make(naming, k)
	var try func(j int)
	try = func(j int) {
		if j < k {
			for _, l := range []Lead{LeadLeft, LeadRight, LeadDisunited} {
				name[j] = l
				try(j + 1)
			}
			return
		}
		v, ok := s.geometry(name)
		if math.IsInf(v, -1) {
			return
		}
		turned, allLeft, allRight := 0.0, 0.0, 0.0
		for _, t := range seen {
			p := [4]float64{}
			for j, q := range t.share {
				p[name[j]] += q
			}
			in, out := p[LeadLeft], p[LeadRight]
			if !t.left {
				in, out = out, in
			}
			disunited := p[LeadDisunited] * math.Log(disunitedInTurn)
			turned += t.much * (in*math.Log(insideLead) + out*math.Log(outsideLead) + disunited)
			one, other := (in+out)*math.Log(insideLead)+disunited, (in+out)*math.Log(outsideLead)+disunited
			if !t.left {
				one, other = other, one
			}
			allLeft, allRight = allLeft+t.much*one, allRight+t.much*other
		}
		v += turnWeight * turned
		for j, from := range name {
			v += pathWeight * first[j] * math.Log(chanceFirst(from))
			for l, to := range name {
				v += pathWeight * (within[j][l]*math.Log(chanceWithin(from, to)) + over[j][l]*math.Log(chanceOver(from, to)))
			}
		}
		// Two leads must make more of the turns than one lead all along would.
		ok = ok && turned >= max(allLeft, allRight)-0.5
		names, score, good = append(names, append(naming(nil), name...)), append(score, v), append(good, ok)
	}
	try(0)
	best := -1
	for i, v := range score {
		if best < 0 || v > score[best] {
			best = i
		}
	}
	if best < 0 || !good[best] {
		return nil, nil
	}
	top, sum := score[best], 0.0
	for i := range score {
		score[i] = math.Exp(score[i] - top)
		sum += score[i]
	}
	for i := range score {
		score[i] /= sum
	}
	return names, score
}

// geometry is how well the sets' places fit their names, in nats: those of one lead lie together, the disunited ones
// anywhere. ok is false where not both leads are named or they hardly stand apart.
func (s *sets) geometry(name naming) (nats float64, ok bool) {
	var mean [4][]float64
	var n [4]float64
	total := 0.0
	for l := range mean {
		mean[l], n[l] = s.centre(name, Lead(l))
		total += n[l]
	}
	disunited := n[LeadDisunited]
	ok = n[LeadLeft] >= leastLead && n[LeadRight] >= leastLead && disunited <= mostDisunited*total
	if !ok {
		return math.Inf(-1), false
	}
	gap := math.Sqrt(distance2(mean[LeadLeft], mean[LeadRight]))
	ok = ok && gap >= leastGap
	half := gap / 2
	var line, mid []float64
	for c := range mean[LeadLeft] {
		line = append(line, (mean[LeadRight][c]-mean[LeadLeft][c])/gap)
		mid = append(mid, (mean[LeadLeft][c]+mean[LeadRight][c])/2)
	}
	// The places of small sets are known to the noise only.
	gauss := func(x, sd float64) float64 {
		sd = math.Hypot(sd, 1/half)
		return -x*x/(2*sd*sd) - math.Log(sd)
	}
	off, of := 0.0, 0.0
	for j, l := range name {
		from := mid
		if l != LeadDisunited {
			from = mean[l]
		}
		along, across := splitAlong(s.middle[j], from, line)
		apart := gauss(along/half, alongLine) + gauss(across/half-offLine, offSpread)
		if l == LeadDisunited {
			nats += apart
			continue
		}
		// A few strides of a lead may look like anything: a slip, a spook, the first after a landing.
		odd := 0.001 + 0.3*math.Exp(-s.weight[j]/2)
		near := gauss(along/half, sameAlong) + gauss(across/half, sameAcross) + math.Ln2
		nats += math.Log((1-odd)*math.Exp(near) + odd*math.Exp(apart))
		off, of = off+s.weight[j]*(along*along+across*across), of+s.weight[j]
		for k, m := range name {
			if l == LeadLeft && m == LeadRight && distance2(s.middle[j], s.middle[k]) < leastApart*leastApart*gap*gap {
				ok = false
			}
		}
	}
	return nats, ok && math.Sqrt(off/of) < mostSpread*half
}

// centre is the point from which the strides of a lead's sets lie least far, so that a small set far out does not move it; and how many
// strides they are.
func (s *sets) centre(name naming, of Lead) (at []float64, strides float64) {
	var places [][]float64
	var weights []float64
	for j, l := range name {
		if l == of {
			places, weights = append(places, s.middle[j]), append(weights, s.weight[j])
			strides += s.weight[j]
		}
	}
	if len(places) == 0 {
		return nil, 0
	}
	return nearestToAll(places, weights), strides
}

// nearestToAll is the geometric median of places with weights, by a dozen of Weiszfeld's steps; one is the noise of a stride.
func nearestToAll(places [][]float64, weights []float64) []float64 {
	var at []float64
	for round := range 12 {
		next, sum := make([]float64, len(places[0])), 0.0
		for j, x := range places {
			w := weights[j]
			if round > 0 {
				w /= 1 + math.Sqrt(distance2(x, at))
			}
			sum += w
			for c, v := range x {
				next[c] += w * v
			}
		}
		for c := range next {
			next[c] /= sum
		}
		at = next
	}
	return at
}

// splitAlong splits the way from about to x into what lies along a line and the length of what lies across it.
func splitAlong(x, about, line []float64) (along, across float64) {
	all := 0.0
	for c := range x {
		along += (x[c] - about[c]) * line[c]
		all += (x[c] - about[c]) * (x[c] - about[c])
	}
	return along, math.Sqrt(math.Max(0, all-along*along))
}

// steps counts how often one set follows another, within a stretch of canter and over a jump or a pause, and which come first.
func (s *sets) steps(strides []Stride) (within, over [][]float64, first []float64) {
	k := len(s.middle)
	for range k {
		within, over = append(within, make([]float64, k)), append(over, make([]float64, k))
	}
	first = make([]float64, k)
	last := -1
	for i, at := range s.stride {
		now := 0
		for j, q := range s.prob[i] {
			if q > s.prob[i][now] {
				now = j
			}
		}
		switch {
		case last < 0:
			first[now]++
		case strides[at].FromS-strides[s.stride[i-1]].ToS > 0.1:
			over[last][now]++
		default:
			within[last][now]++
		}
		last = now
	}
	return within, over, first
}

// chanceFirst is how often a canter begins with a lead, chanceWithin how often a stride follows another on the same
// or another lead, chanceOver the same over a jump or a pause. Over a drop two fifths of horses changed, and 43 % of the strides after it
// were disunited (Moore et al. 1995, across country); in the arena fewer are: a wide prior, which the ride's own strides outweigh.
func chanceFirst(to Lead) float64 {
	if to == LeadDisunited {
		return 0.2
	}
	return 0.4
}

func chanceWithin(from, to Lead) float64 {
	switch {
	case from == LeadDisunited && to == LeadDisunited:
		return 0.87
	case from == LeadDisunited:
		return 0.065
	case to == from:
		return 0.93
	case to == LeadDisunited:
		return 0.01
	}
	return 0.06
}

func chanceOver(from, to Lead) float64 {
	switch {
	case to == LeadDisunited:
		return 0.3
	case from == LeadDisunited:
		return 0.35
	case to == from:
		return 0.45
	}
	return 0.25
}
