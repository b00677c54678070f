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
	beat part = iota // an ordinary stride's
	push             // the push-off of a jump
	land             // the landing of a jump
	parts
)

// rhythm is what the canter of this ride looks like; it is learnt from the ride itself.
type rhythm struct {
	strideS func(t float64) float64 // usual stride time around t, s
	sd      float64                 // spread of one stride's time, as a share of it
	prom    float64                 // usual prominence of a beat, m/s²
	high    float64                 // usual height of a beat, m/s²
	uneven  float64                 // standard deviation of the heights, from their median deviation, m/s²
}

// Where the load peaks lie in a stride, measured on the labelled rounds of five kinds of horse (the medians of
// single rides differ by less than 0.01 stride or 0.01 s; TestPhasesFitTheRounds holds them to it).
const (
	// beatPhase is the part of a stride from hind contact to the load's peak.
	beatPhase = 0.447
	// hindAfterLandingS is from landing to the hind contact that begins stride 1, hindBeforeTakeoffS from
	// the hind contact that ends the last stride to take-off.
	hindAfterLandingS  = 0.217
	hindBeforeTakeoffS = 0.209
	// pushToTakeoffS is from the push-off's load peak to take-off, landingToLandS from landing to its load peak.
	pushToTakeoffS = 0.117
	landingToLandS = 0.117
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

	fwd, bwd [][parts]float64 // cheapest past up to, and future from, a peak in its part
	from     [][parts]int32   // predecessor*parts + part; -1: the canter begins here
	out      []float64        // cheapest past with no canter going on before peak k
	outFrom  []int32          // last step of the canter that ended just before k; -1: none
	in       []float64        // cheapest future with no canter going on before peak k
}

// light is what counting needs, without the piece and the tables of the search.
func (c *canterPath) light() *canterPath { return &canterPath{pk: c.pk, r: c.r, cum: c.cum} }

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
		z := (dt - (1-beatPhase)*T - hindBeforeTakeoffS + pushToTakeoffS) / T
		if math.Abs(z) > 0.45 {
			return math.Inf(1)
		}
		return math.Min(brokenCost, gaussCost(z/c.r.sd)) + c.skip(j, k)
	case a == push && b == land:
		return c.jump(j, k)
	case a == land && b == beat:
		T := c.r.strideS(c.pk[k].t)
		z := (dt - beatPhase*T - hindAfterLandingS + landingToLandS) / T
		if z < -0.3 || z > 0.9 {
			return math.Inf(1)
		}
		return math.Min(resumeCost, gaussCost(z/(1.2*c.r.sd))) + c.skip(j, k)
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
	inf := [parts]float64{math.Inf(1), math.Inf(1), math.Inf(1)}
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
		c.fwd[k], c.from[k] = inf, [parts]int32{-1, -1, -1}
		c.fwd[k][beat] = c.out[k] + c.entry + c.node[k]
		c.fwd[k][push] = c.out[k] + c.entry + coldJump + c.node[k]
		for j := k - 1; j >= 0 && c.pk[k].t-c.pk[j].t < reachS; j-- {
			for _, ab := range [...][2]part{{beat, beat}, {beat, push}, {push, land}, {land, beat}, {land, push}} {
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

// jumpGain is by how many nats the best account of the ride with a jump from j to k is cheaper than the best one in
// which no jump is under way at the middle of that flight.
func (c *canterPath) jumpGain(j, k int) float64 {
	with := c.fwd[j][push] + c.jump(j, k) + c.node[k] + c.bwd[k][land]
	mid := (c.pk[j].t + c.pk[k].t) / 2
	m := sort.Search(len(c.pk), func(i int) bool { return c.pk[i].t > mid })
	without := c.out[m] + c.in[m]
	for y := m; y < len(c.pk) && c.pk[y].t-mid < reachS; y++ {
		for x := m - 1; x >= 0 && c.pk[y].t-c.pk[x].t < reachS; x-- {
			for _, ab := range [...][2]part{{beat, beat}, {beat, push}, {land, beat}, {land, push}} {
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
			if with := c.fwd[j][push] + c.jump(j, k) + c.node[k] + c.bwd[k][land]; !(with < total-least) {
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

// learn takes stride time, prominence and height of the beats from the canters found.
func learn(pk []peak, canters [][]step, old rhythm) rhythm {
	var mid, dur, prom, high []float64
	for _, path := range canters {
		for i, s := range path {
			if s.part != beat {
				continue
			}
			prom = append(prom, pk[s.k].prom)
			high = append(high, pk[s.k].h)
			if i > 0 && path[i-1].part == beat && !s.unseen {
				d := pk[s.k].t - pk[path[i-1].k].t
				m := (pk[s.k].t + pk[path[i-1].k].t) / 2
				if x := d / old.strideS(m); x > 0.7 && x < 1.35 {
					mid, dur = append(mid, m), append(dur, d)
				}
			}
		}
	}
	if len(dur) < 4 {
		return old
	}
	r := rhythm{sd: strideSD, prom: median(prom), high: median(high)}
	for i := range high {
		high[i] = math.Abs(high[i] - r.high)
	}
	r.uneven = 1.4826 * median(high) // a normal's standard over its median absolute deviation
	// Around t: the strides within some four seconds, held to the whole ride's by the weight of two
	// strides. A horse changes its pace over a line, not from stride to stride.
	all := median(dur)
	const width, few, grid = 4.0, 2.0, 0.5
	at := func(t float64) float64 {
		sw, s := few, few*all
		for i := sort.SearchFloat64s(mid, t-2*width); i < len(mid) && mid[i] < t+2*width; i++ {
			z := (mid[i] - t) / width
			w := math.Exp(-0.5 * z * z)
			sw += w
			s += w * dur[i]
		}
		return s / sw
	}
	// asked for at every pair of peaks, so kept on a grid: it hardly changes in half a second
	t0 := pk[0].t
	table := make([]float64, int((pk[len(pk)-1].t-t0)/grid)+2)
	for i := range table {
		table[i] = at(t0 + float64(i)*grid)
	}
	r.strideS = func(t float64) float64 {
		return table[max(0, min(len(table)-1, int((t-t0)/grid+0.5)))]
	}
	return r
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
