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

// loadPeaks are the maxima of the load that stand out by at least minProm, looking no further than one second
// (more than two strides' half) to each side.
func (p *piece) loadPeaks(minProm float64) []peak {
	x := p.load
	reach := int(1.0 / stepS)
	var out []peak
	for i := 1; i+1 < p.n; i++ {
		if !(x[i] > x[i-1] && x[i] >= x[i+1]) {
			continue
		}
		lo, ro := x[i], x[i]
		for k := i - 1; k >= 0 && k > i-reach && x[k] <= x[i]; k-- {
			lo = math.Min(lo, x[k])
		}
		for k := i + 1; k < p.n && k < i+reach && x[k] <= x[i]; k++ {
			ro = math.Min(ro, x[k])
		}
		prom := x[i] - math.Max(lo, ro)
		if prom < minProm {
			continue
		}
		d := x[i-1] - 2*x[i] + x[i+1]
		off := 0.0
		if d < 0 {
			off = 0.5 * (x[i-1] - x[i+1]) / d
		}
		out = append(out, peak{i: i, t: p.at(float64(i) + off), h: x[i], prom: prom})
	}
	return out
}

// The parts that a load peak can play in a canter.
const (
	beat = iota // an ordinary stride's
	push        // the push-off of a jump
	land        // the landing of a jump
	parts
)

// rhythm is what a canter of this ride looks like.
type rhythm struct {
	strideS func(t float64) float64 // stride time around t
	sd      float64                 // spread of one stride's time, as a share
	prom    float64                 // usual prominence of a beat, m/s²
	high    float64                 // usual height of a beat, m/s²
}

// The places of push-off and landing in the rhythm, in strides: the hind limbs of the push-off come
// down when the next stride's would, but the load is over sooner. Measured on labelled rounds
// (the spread between horses is 0.02): see the fit in rhythm_test.go.
const (
	beatToPush = 0.68
	landToBeat = 0.64
	// pushToEdge and edgeToLand are the times from the push-off's peak to take-off and from landing to its peak, s.
	pushToEdge = 0.117
	edgeToLand = 0.117
)

// step is one decision of the path.
type step struct {
	k, part int // peak and part
}

func sq(x float64) float64 { return 0.5 * x * x }

// pathCost gives the costs of the canter path over peaks, in nats.
type pathCost struct {
	pk   []peak
	r    rhythm
	node []float64 // cost of taking peak k as a canter's (negative: speaks for it)
	cum  []float64 // running sum of the skip costs
	jump func(j, k int) float64
}

func (c *pathCost) prepare() {
	c.cum = make([]float64, len(c.pk)+1)
	for k, q := range c.pk {
		c.cum[k+1] = c.cum[k] + math.Min(10, sq(q.prom/(0.2*c.r.prom)))
	}
}

func (c *pathCost) skip(j, k int) float64 { return c.cum[k] - c.cum[j+1] }

// step is the cost of going from peak j as a to peak k as b.
func (c *pathCost) step(j, a, k, b int) float64 {
	const worst = 14 // a break of the rhythm that is simply lived with
	dt := c.pk[k].t - c.pk[j].t
	T := c.r.strideS((c.pk[k].t + c.pk[j].t) / 2)
	x := dt / T
	switch {
	case a == beat && b == beat:
		if x < 0.5 || x > 2.5 {
			return math.Inf(1)
		}
		one := sq((x - 1) / c.r.sd)
		two := 9 + sq((x-2)/(1.4*c.r.sd)) // one beat unseen
		return math.Min(worst, math.Min(one, two)) + c.skip(j, k)
	case a == beat && b == push:
		if x < 0.35 || x > 1.1 {
			return math.Inf(1)
		}
		return math.Min(worst, sq((x-beatToPush)/c.r.sd)) + c.skip(j, k)
	case a == push && b == land:
		return c.jump(j, k)
	case a == land && b == beat:
		if x < 0.35 || x > 1.1 {
			return math.Inf(1)
		}
		return math.Min(worst, sq((x-landToBeat)/(1.2*c.r.sd))) + c.skip(j, k)
	case a == land && b == push:
		if x < 0.35 || x > 1.2 {
			return math.Inf(1)
		}
		return 3 + c.skip(j, k) // a bounce
	}
	return math.Inf(1)
}

// best is the cheapest set of canters over the peaks: each a path of beats and jumps,
// between them nothing. entry is what a canter must earn before it is believed.
func (c *pathCost) best(entry float64) [][]step {
	n := len(c.pk)
	cost := make([][parts]float64, n)
	from := make([][parts]int32, n) // predecessor*parts + part, -1: canter begins here
	out := make([]float64, n+1)     // cost of the best past in which no canter is going on before peak k
	outFrom := make([]int32, n+1)   // last step of the canter that ended, -1: none ended just here
	outFrom[0] = -1
	for k := 0; k < n; k++ {
		for b := 0; b < parts; b++ {
			cost[k][b], from[k][b] = math.Inf(1), -1
		}
		cost[k][beat] = out[k] + entry + c.node[k]
		cost[k][push] = out[k] + entry + 3 + c.node[k] // out of a trot or from a stand
		for j := k - 1; j >= 0 && c.pk[k].t-c.pk[j].t < 1.9; j-- {
			for a := 0; a < parts; a++ {
				if math.IsInf(cost[j][a], 1) {
					continue
				}
				for b := 0; b < parts; b++ {
					if v := cost[j][a] + c.step(j, a, k, b) + c.node[k]; v < cost[k][b] {
						cost[k][b], from[k][b] = v, int32(j*parts+a)
					}
				}
			}
		}
		out[k+1], outFrom[k+1] = out[k], -1
		for _, b := range [...]int{beat, land} {
			if v := cost[k][b]; v < out[k+1] {
				out[k+1], outFrom[k+1] = v, int32(k*parts+b)
			}
		}
	}
	var paths [][]step
	for k := n; k > 0; {
		if outFrom[k] < 0 {
			k--
			continue
		}
		var path []step
		at := outFrom[k]
		for at >= 0 {
			j, a := int(at)/parts, int(at)%parts
			path = append(path, step{j, a})
			at = from[j][a]
			k = j
		}
		for i, j := 0, len(path)-1; i < j; i, j = i+1, j-1 {
			path[i], path[j] = path[j], path[i]
		}
		paths = append(paths, path)
	}
	for i, j := 0, len(paths)-1; i < j; i, j = i+1, j-1 {
		paths[i], paths[j] = paths[j], paths[i]
	}
	return paths
}

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
