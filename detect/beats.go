package detect

import (
	"math"
	"sort"
)

// peak is a local maximum of the load.
type peak struct {
	i    int
	t    float64 // s, between samples by a parabola
	h    float64 // load, m/s²
	prom float64 // how far it stands out on its lower side, m/s²
}

// peaksOf are the maxima of x between samples from and to that stand out by at least minProm, looking no further
// than one second to each side, which is more than a stride and a half.
func (p *piece) peaksOf(x []float64, from, to int, minProm float64) []peak {
	reach := int(1.0 / stepS)
	var out []peak
	for i := max(1, from); i+1 < min(p.n, to); i++ {
		if !(x[i] > x[i-1] && x[i] >= x[i+1]) {
			continue
		}
		left, right := x[i], x[i]
		for k := i - 1; k >= 0 && k > i-reach && x[k] <= x[i]; k-- {
			left = math.Min(left, x[k])
		}
		for k := i + 1; k < p.n && k < i+reach && x[k] <= x[i]; k++ {
			right = math.Min(right, x[k])
		}
		prom := x[i] - math.Max(left, right)
		if prom < minProm {
			continue
		}
		off := 0.0
		if d := x[i-1] - 2*x[i] + x[i+1]; d < 0 {
			off = 0.5 * (x[i-1] - x[i+1]) / d
		}
		out = append(out, peak{i: i, t: p.at(float64(i) + off), h: x[i], prom: prom})
	}
	return out
}

// part is what a load peak does in a canter.
type part uint8

const (
	beat   part = iota // an ordinary stride's
	push               // the push-off of a jump
	land               // the landing of a jump
	bounce             // a landing and the next jump's push-off in one
	parts
)

// up tells whether a jump begins with the part.
func (a part) up() bool { return a == push || a == bounce }

// steps are the parts that may follow each other.
var steps = [...][2]part{{beat, beat}, {beat, push}, {push, land}, {push, bounce}, {bounce, bounce}, {bounce, land}, {land, beat}, {land, push}}

// aground are those of them in which no jump is under way.
var aground = [...][2]part{{beat, beat}, {beat, push}, {land, beat}, {land, push}}

// rhythm is what the canter of this ride looks like; it is learnt from the ride itself.
type rhythm struct {
	strideS func(t float64) float64 // usual stride time around t, s
	sd      float64                 // spread of one stride's time, as a share of it
	prom    float64                 // usual prominence of a beat, m/s²
	high    float64                 // usual height of a beat, m/s²
	uneven  float64                 // standard deviation of the heights, from their median deviation, m/s²

	// the lulls between this horse's own beats: how long at half height, and how low, with their spreads
	width, widthSD float64 // s
	level, levelSD float64 // m/s²

	beatPhase        float64 // from hind contact to the beat, strides
	toPush, fromLand float64 // from the last beat to the push-off's peak, from the landing's to the first beat, strides
	placeSD          float64 // the doubt about either for one jump, strides
}

// Where the hind hooves come down. In canter they end the suspension: just after the middle of the lull between two beats, hindAfterMid
// of a stride in most made worlds (0 to 0.17 in all). usualBeatPhase, from hind contact to the beat, is only where a ride's
// own is not known yet. After a landing they come down about 0.2 s later, and about 0.2 s before take-off they come down
// for the push-off (trade's definition of a line's strides; a stance lasts about that long).
const (
	hindAfterMid       = 0.02
	usualBeatPhase     = 0.45
	hindAfterLandingS  = 0.21
	hindBeforeTakeoffS = 0.21
)

// step is one peak of a canter and the part it plays. unseen tells that a beat without a
// peak of its own lies between the step before and this one.
type step struct {
	k      int
	part   part
	unseen bool
}

// gaussCost is the cost in nats of a deviation of z standard deviations.
func gaussCost(z float64) float64 { return 0.5 * z * z }

// Costs of the canter path that are choices, in nats.
const (
	enterCost   = 8   // a canter must be three good strides long to be believed
	coldJump    = 3   // more for one that begins with a push-off (from a trot or a stand)
	brokenCost  = 7.5 // a stride out of rhythm that is simply lived with
	resumeCost  = 7   // the same for the first stride after a landing, where a canter is found again
	unseenCost  = 6   // a beat that left no peak
	bounceCost  = 3   // no stride between landing and the next push-off
	skipWorst   = 10  // passing over a peak as high as a beat's
	reachS      = 1.9 // no step is longer: the longest stride twice
	strideSD    = 0.07
	strideSDRaw = 0.09 // before the ride's own stride times are learnt
)

// canterPath judges sequences of peaks as canters.
type canterPath struct {
	pk    []peak
	r     rhythm
	node  []float64 // cost of taking the peak as a canter's; negative speaks for it
	cum   []float64 // running sum of the costs of passing over a peak
	jump  func(j, k int) float64
	entry float64 // what it must earn before it is believed, nats

	lulls map[[2]int]lull // measured once for each pair of peaks
	p     *piece          // nil where there are no jumps to be found

	fwd, bwd [][parts]float64 // cheapest past up to, and future from, a peak in its part
	from     [][parts]int32   // predecessor*parts + part; -1: the canter begins here
	out      []float64        // cheapest past with no canter going on before peak k
	outFrom  []int32          // last step of the canter that ended just before k; -1: none
	in       []float64        // cheapest future with no canter going on before peak k
}

// light is what counting needs, without the piece and the tables of the search.
func (c *canterPath) light() *canterPath { return &canterPath{pk: c.pk, r: c.r, cum: c.cum} }

// lull is what lies between peaks j and k.
func (c *canterPath) lull(j, k int) lull {
	if c.p == nil {
		return lull{}
	}
	l, known := c.lulls[[2]int{j, k}]
	if !known {
		l = c.p.lullBetween(c.p.load, c.pk[j], c.pk[k])
		c.lulls[[2]int{j, k}] = l
	}
	return l
}

// shape is what speaks against a jump from peak j to peak k, nats.
func (c *canterPath) shape(j, k int) float64 {
	if c.pk[k].t-c.pk[j].t > airAlways+0.5 {
		return math.Inf(1)
	}
	return shapeCost(c.lull(j, k), c.pk[j], c.pk[k], c.r, c.p.gravityGone)
}

func (c *canterPath) skip(j, k int) float64 { return c.cum[k] - c.cum[j+1] }

// beatSteps are the costs of going from beat to beat: as one stride, and as two with the beat
// between unseen.
func (c *canterPath) beatSteps(j, k int) (one, two float64) {
	x := (c.pk[k].t - c.pk[j].t) / c.r.strideS((c.pk[k].t+c.pk[j].t)/2)
	if x < 0.5 || x > 2.5 {
		return math.Inf(1), math.Inf(1)
	}
	skip := c.skip(j, k)
	one = math.Min(brokenCost, gaussCost((x-1)/c.r.sd)) + skip
	two = unseenCost + gaussCost((x-2)/(1.4*c.r.sd)) + skip // two strides' spread: √2
	return one, two
}

// stepCost is the cost of going from peak j as a to peak k as b.
func (c *canterPath) stepCost(j int, a part, k int, b part) float64 {
	dt := c.pk[k].t - c.pk[j].t
	switch {
	case a == beat && b == beat:
		return math.Min(c.beatSteps(j, k))
	case a == beat && b == push:
		T := c.r.strideS(c.pk[j].t)
		z := dt/T - c.r.toPush
		if math.Abs(z) > 0.45 {
			return math.Inf(1)
		}
		return math.Min(brokenCost, gaussCost(z/c.r.placeSD)) + c.skip(j, k)
	case a.up() && b == land:
		return c.jump(j, k)
	case a.up() && b == bounce:
		return bounceCost + c.jump(j, k)
	case a == land && b == beat:
		T := c.r.strideS(c.pk[k].t)
		z := dt/T - c.r.fromLand
		if z < -0.3 || z > 0.9 {
			return math.Inf(1)
		}
		return math.Min(resumeCost, gaussCost(z/c.r.placeSD)) + c.skip(j, k)
	case a == land && b == push:
		x := dt / c.r.strideS(c.pk[k].t)
		if x < 0.35 || x > 1.2 {
			return math.Inf(1)
		}
		return bounceCost + c.skip(j, k)
	}
	return math.Inf(1)
}

// solve finds the cheapest past and future of every peak in every part (Viterbi 1967, both ways).
func (c *canterPath) solve() {
	n := len(c.pk)
	c.cum = make([]float64, n+1)
	for k, q := range c.pk {
		// a peak a fifth as prominent as a beat is nothing; one as prominent is a beat
		c.cum[k+1] = c.cum[k] + math.Min(skipWorst, gaussCost(q.prom/(0.2*c.r.prom)))
	}
	inf := [parts]float64{math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1)}
	c.fwd, c.bwd = make([][parts]float64, n), make([][parts]float64, n)
	c.from = make([][parts]int32, n)
	c.out, c.outFrom, c.in = make([]float64, n+1), make([]int32, n+1), make([]float64, n+1)
	c.outFrom[0] = -1
	type edge struct {
		k    int32
		a, b part
		cost float64
	}
	next := make([][]edge, n) // the steps from each peak
	for k := 0; k < n; k++ {
		c.fwd[k], c.from[k] = inf, [parts]int32{-1, -1, -1, -1}
		c.fwd[k][beat] = c.out[k] + c.entry + c.node[k]
		c.fwd[k][push] = c.out[k] + c.entry + coldJump + c.node[k]
		for j := k - 1; j >= 0 && c.pk[k].t-c.pk[j].t < reachS; j-- {
			for _, ab := range steps {
				a, b := ab[0], ab[1]
				if math.IsInf(c.fwd[j][a], 1) {
					continue
				}
				s := c.stepCost(j, a, k, b)
				if math.IsInf(s, 1) {
					continue
				}
				next[j] = append(next[j], edge{int32(k), a, b, s})
				if v := c.fwd[j][a] + s + c.node[k]; v < c.fwd[k][b] {
					c.fwd[k][b], c.from[k][b] = v, int32(j*int(parts)+int(a))
				}
			}
		}
		c.out[k+1], c.outFrom[k+1] = c.out[k], -1
		for _, b := range [...]part{beat, land} {
			if v := c.fwd[k][b]; v < c.out[k+1] {
				c.out[k+1], c.outFrom[k+1] = v, int32(k*int(parts)+int(b))
			}
		}
	}
	for k := n - 1; k >= 0; k-- {
		c.bwd[k] = inf
		c.bwd[k][beat], c.bwd[k][land] = c.in[k+1], c.in[k+1]
		for _, e := range next[k] {
			if v := e.cost + c.node[e.k] + c.bwd[e.k][e.b]; v < c.bwd[k][e.a] {
				c.bwd[k][e.a] = v
			}
		}
		c.in[k] = math.Min(c.in[k+1], c.node[k]+c.entry+math.Min(c.bwd[k][beat], coldJump+c.bwd[k][push]))
	}
}

// best is the cheapest set of canters; solve must have run.
func (c *canterPath) best() [][]step {
	var paths [][]step
	for k := len(c.pk); k > 0; {
		if c.outFrom[k] < 0 {
			k--
			continue
		}
		var path []step
		for at := c.outFrom[k]; at >= 0; {
			j, a := int(at)/int(parts), part(int(at)%int(parts))
			at = c.from[j][a]
			s := step{k: j, part: a}
			if a == beat && at >= 0 && part(int(at)%int(parts)) == beat {
				one, two := c.beatSteps(int(at)/int(parts), j)
				s.unseen = two < one
			}
			path = append(path, s)
			k = j
		}
		reverse(path)
		paths = append(paths, path)
	}
	reverse(paths)
	return paths
}

func reverse[T any](x []T) {
	for i, j := 0, len(x)-1; i < j; i, j = i+1, j-1 {
		x[i], x[j] = x[j], x[i]
	}
}

// with is the cost of the best account of the ride with a jump from j to k.
func (c *canterPath) with(j, k int) float64 {
	return math.Min(c.fwd[j][push], c.fwd[j][bounce]) + c.jump(j, k) + c.node[k] + math.Min(c.bwd[k][land], bounceCost+c.bwd[k][bounce])
}

// jumpGain is by how many nats the best account of the ride with a jump from j to k is cheaper than the best one in
// which no jump is under way at the middle of that flight.
func (c *canterPath) jumpGain(j, k int) float64 {
	with := c.with(j, k)
	mid := (c.pk[j].t + c.pk[k].t) / 2
	m := sort.Search(len(c.pk), func(i int) bool { return c.pk[i].t > mid })
	without := c.out[m] + c.in[m]
	for y := m; y < len(c.pk) && c.pk[y].t-mid < reachS; y++ {
		for x := m - 1; x >= 0 && c.pk[y].t-c.pk[x].t < reachS; x-- {
			for _, ab := range aground {
				v := c.fwd[x][ab[0]] + c.stepCost(x, ab[0], y, ab[1]) + c.node[y] + c.bwd[y][ab[1]]
				without = math.Min(without, v)
			}
		}
	}
	return without - with
}

// candidate is a pair of peaks that might be a jump's.
type candidate struct {
	push, land int
	gain       float64 // jumpGain
}

// candidates are the likeliest pairs, no two of which share a part of their flights, in time
// order. Those worse than least nats are left out.
func (c *canterPath) candidates(least float64) []candidate {
	var all []candidate
	total := c.out[len(c.pk)]
	for j := range c.pk {
		for k := j + 1; k < len(c.pk) && c.pk[k].t-c.pk[j].t < reachS; k++ {
			// no ride told with this pair can be better than this
			if !(c.with(j, k) < total-least) {
				continue
			}
			if g := c.jumpGain(j, k); g > least {
				all = append(all, candidate{j, k, g})
			}
		}
	}
	sort.SliceStable(all, func(a, b int) bool { return all[a].gain > all[b].gain })
	var out []candidate
	for _, x := range all {
		free := true
		for _, y := range out {
			free = free && (x.land <= y.push || x.push >= y.land)
		}
		if free {
			out = append(out, x)
		}
	}
	sort.SliceStable(out, func(a, b int) bool { return out[a].push < out[b].push })
	return out
}

// The places of a jump's load peaks in a stride: where a hoof lies in the wave differs from horse to horse, so these are
// only where the search begins; each ride's own are learnt from it.
const (
	usualToPush, usualFromLand = 0.71, 0.62
	placeSDRaw, placeSD        = 0.15, 0.10
	placeWeight                = 2 // the usual place counts as so many jumps
)

// learn takes what this ride's strides and jumps are like from the canters found.
func learn(rs []*reading, old rhythm) rhythm {
	var mid, dur, prom, high, width, level, phase, toPush, fromLand []float64
	for _, r := range rs {
		c, pk := r.c, r.c.pk
		for _, path := range r.canters {
			for i, s := range path {
				if i > 0 {
					q := path[i-1]
					d := pk[s.k].t - pk[q.k].t
					m := (pk[s.k].t + pk[q.k].t) / 2
					switch x := d / old.strideS(m); {
					case s.part == beat && q.part == beat && !s.unseen && x > 0.7 && x < 1.35:
						mid, dur = append(mid, m), append(dur, d)
						if l := c.lull(q.k, s.k); l.ok {
							width, level = append(width, l.widthS()), append(level, l.level)
							phase = append(phase, (pk[s.k].t-(l.fall.t+l.rise.t)/2)/d-hindAfterMid)
						}
					case s.part == push && q.part == beat && x < 1.2:
						toPush = append(toPush, x)
					case s.part == beat && q.part == land && x < 1.2:
						fromLand = append(fromLand, x)
					}
				}
				if s.part == beat {
					prom = append(prom, pk[s.k].prom)
					high = append(high, pk[s.k].h)
				}
			}
		}
	}
	if len(dur) < 4 {
		return old
	}
	all := median(dur)
	r := rhythm{sd: strideSD, prom: median(prom), high: median(high)}
	r.uneven = spreadOf(high)
	r.width, r.level, r.widthSD, r.levelSD = old.width, old.level, old.widthSD, old.levelSD
	if len(width) >= 4 {
		r.width, r.widthSD = median(width), math.Max(minWidthSD, spreadOf(width))
		r.level, r.levelSD = median(level), math.Max(minLevelSD*r.high, spreadOf(level))
	}
	usually := func(x []float64, usual float64) float64 {
		if len(x) == 0 {
			return usual
		}
		n := float64(len(x))
		return (n*median(x) + placeWeight*usual) / (n + placeWeight)
	}
	if r.beatPhase = old.beatPhase; len(phase) >= 4 {
		r.beatPhase = median(phase)
	}
	r.toPush, r.fromLand, r.placeSD = usually(toPush, usualToPush), usually(fromLand, usualFromLand), placeSD
	// Around t: the strides within some four seconds, held to the whole ride's by the weight of two
	// strides. A horse changes its pace over a line, not from stride to stride.
	const about, few, grid = 4.0, 2.0, 0.5
	at := func(t float64) float64 {
		sw, s := few, few*all
		for i := sort.SearchFloat64s(mid, t-2*about); i < len(mid) && mid[i] < t+2*about; i++ {
			z := (mid[i] - t) / about
			w := math.Exp(-0.5 * z * z)
			sw += w
			s += w * dur[i]
		}
		return s / sw
	}
	// asked for at every pair of peaks, so kept on a grid: it hardly changes in half a second
	t0 := mid[0]
	table := make([]float64, int((mid[len(mid)-1]-t0)/grid)+2)
	for i := range table {
		table[i] = at(t0 + float64(i)*grid)
	}
	r.strideS = func(t float64) float64 {
		return table[max(0, min(len(table)-1, int((t-t0)/grid+0.5)))]
	}
	return r
}

// The least spread that a lull's length, s, and its level, as a share of a beat's height, are believed to have.
const (
	minWidthSD = 0.025
	minLevelSD = 0.1
)

// spreadOf is the standard deviation of a normal sample from its median absolute deviation.
func spreadOf(x []float64) float64 {
	m := median(x)
	d := make([]float64, len(x))
	for i := range x {
		d[i] = math.Abs(x[i] - m)
	}
	return 1.4826 * median(d)
}

// median is the middle value, NaN of nothing.
func median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	y := append([]float64(nil), x...)
	sort.Float64s(y)
	if n := len(y); n%2 == 0 {
		return (y[n/2-1] + y[n/2]) / 2
	}
	return y[len(y)/2]
}
