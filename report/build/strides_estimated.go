package build

import (
	"math"
	"sort"

	"groundline/trace"
)

// What is known of horses' stride times before the ride, all wide.
const (
	// Stride time falls as the pace rises. Published: 0.617 s at 3.4 m/s to 0.592 s at 7.0 m/s over dressage horses
	// (Deuel & Park 1991), 0.615 s at 4.2 m/s (Tranquille et al. 2017), 0.50 s at 8 to 9 m/s (Groppi 2008; Witte, Hirst & Wilson
	// 2006): -0.007 to -0.03 s for each m/s, by horse.
	strideSPerMS   = -0.018
	strideSPerMSSD = 0.008
	// lineStrideSDS is what is left from line to line of one horse at one pace: below the 2 % of single strides
	// (Equine Vet. J. 1980;12:60-65), of which a line averages several.
	lineStrideSDS = 0.006
)

// kindOfHorse is what is taken of one size of horse: its stride time at its pace between fences, and that pace.
type kindOfHorse struct {
	share             float64
	strideS, strideSD float64
	paceMS, paceSD    float64
}

// kindsOfHorse: warmbloods canter at 1.5 to 1.85 Hz and go 5.5 m/s (Tranquille et al. 2017) to 6.4 m/s (BMC Vet. Res. 2020, doi
// 10.1186/s12917-020-02400-9) between fences. Of two horses alike but in size time goes with the root of the leg's
// length and so does pace (equal Froude numbers, R. McN. Alexander): at four fifths of the height nine tenths of both. That
// one recorded horse in four is a pony is our own assumption.
var kindsOfHorse = [...]kindOfHorse{
	{0.75, 0.603, 0.040, 5.8, 0.7},
	{0.25, 0.535, 0.040, 5.1, 0.6},
}

// stridePrior is the density, up to a factor, of a horse's stride time at the usual pace of its ride.
func stridePrior(strideS, paceMS float64) float64 {
	var p float64
	for _, k := range kindsOfHorse {
		p += k.share * normal(paceMS-k.paceMS, k.paceSD) * normal(strideS-k.strideS, k.strideSD)
	}
	// Some horse is unlike either, from the slowest canter to the quickest pony's.
	return p + 1e-3*normal(strideS-0.58, 0.08)
}

// normal is the normal density at d from the mean, less the factor that all share.
func normal(d, sd float64) float64 { return math.Exp(-sq(d/sd)/2) / sd }

// builtFor is how likely a count is, so many strides off the one that the distance is built for. Courses are built
// for the horses that ride them, but ponies add strides on horses' distances and long-striding horses leave some out. Own
// prior, flatter than single lines are, since one horse does the same on all.
func builtFor(off int) float64 {
	switch off {
	case 0:
		return 0.4
	case 1, -1:
		return 0.25
	case 2, -2:
		return 0.1
	}
	return 0.03
}

// The grid of the joint estimate: stride times from a quick pony's 2.5 Hz to a slow horse's 1.3 Hz.
const (
	shortestStrideS, longestStrideS, strideStepS = 0.40, 0.77, 0.0025
	mostInLine                                   = 400 // in one line: four minutes of canter
)

// node is a point of Gauss and Hermite's rule for a normal density: standard deviations from the mean, and weight
// (M. Abramowitz and I. A. Stegun, table 25.10, scaled).
type node struct{ at, weight float64 }

var (
	threeNodes = [...]node{{-1.7320508, 1.0 / 6}, {0, 2.0 / 3}, {1.7320508, 1.0 / 6}}
	fiveNodes  = [...]node{{-2.8569700, 0.0112574}, {-1.3556262, 0.2220759}, {0, 0.5333333}, {1.3556262, 0.2220759}, {2.8569700, 0.0112574}}
)

// estimateStrides finds how many strides fitted where nobody counted them: one stride time, how it changes with the
// pace, and how much longer than expected this horse's flights and edges of a line are must make the counts of
// all its lines whole at once. It is a posterior over a grid of these three, and given them over the count of each line. The
// 90 % interval of a count holds those between its 5 % and 95 % points: one count, or "5 or 6".
func (r *ride) estimateStrides() {
	var open []*leg
	for i := range r.legs {
		if r.legs[i].strides == nil && r.legs[i].speed != nil {
			open = append(open, &r.legs[i])
		}
	}
	if len(open) == 0 {
		return
	}
	g := r.strideGrid()
	lines := make([]countsAt, len(open))
	for k, m := range open {
		lines[k] = r.countsOf(g, m)
	}
	for c := range g.cells {
		for k := range lines {
			g.cells[c].log += lines[k].log[c]
		}
	}
	g.normalise()
	for k, m := range open {
		g.settle(m, lines[k])
	}
}

// strideCell is one stride time at the ride's usual pace, its change with the pace, and what the time of every
// line is longer by.
type strideCell struct {
	strideS, perMS, moreS float64
	log                   float64 // of its probability
	p                     float64
}

type strideGrid struct {
	paceMS float64 // the ride's usual
	cells  []strideCell
}

// strideGrid is the prior, and what counted lines and a receiver that shows the canter's wave say of the stride time.
func (r *ride) strideGrid() *strideGrid {
	g := &strideGrid{paceMS: r.usualPace()}
	var seen []waveTime
	for i := range r.legs {
		m := &r.legs[i]
		switch {
		case m.speed == nil:
		case m.strides != nil && m.by == "counted" && m.strideS != nil:
			seen = append(seen, waveTime{m.strideS.Value, m.strideS.SD(), m.speed.Value})
		case m.strides == nil:
			if w, ok := r.waveTime(m); ok {
				seen = append(seen, w)
			}
		}
	}
	moreSD := math.Hypot(flightHorseSDS, r.prior.edgesSD*0.6)
	for i := 0; shortestStrideS+float64(i)*strideStepS <= longestStrideS; i++ {
		t := shortestStrideS + float64(i)*strideStepS
		prior := math.Log(stridePrior(t, g.paceMS))
		for _, slope := range threeNodes {
			perMS := strideSPerMS + slope.at*strideSPerMSSD
			log := prior + math.Log(slope.weight)
			for _, s := range seen {
				d := s.strideS - t - perMS*(s.paceMS-g.paceMS)
				log -= sq(d/math.Hypot(math.Hypot(s.sdS, lineStrideSDS), strideStepS/2)) / 2
			}
			for _, more := range fiveNodes {
				g.cells = append(g.cells, strideCell{strideS: t, perMS: perMS, moreS: more.at * moreSD, log: log + math.Log(more.weight)})
			}
		}
	}
	return g
}

// usualPace is the middle pace of the lines of more than two strides or so.
func (r *ride) usualPace() float64 {
	var v, all []float64
	for i := range r.legs {
		if m := &r.legs[i]; m.speed != nil {
			all = append(all, m.speed.Value)
			if m.durS > 1.7 {
				v = append(v, m.speed.Value)
			}
		}
	}
	if len(v) == 0 {
		v = all
	}
	return median(v)
}

func (g *strideGrid) normalise() {
	top := math.Inf(-1)
	for i := range g.cells {
		top = math.Max(top, g.cells[i].log)
	}
	var sum float64
	for i := range g.cells {
		g.cells[i].p = math.Exp(g.cells[i].log - top)
		sum += g.cells[i].p
	}
	for i := range g.cells {
		g.cells[i].p /= sum
	}
}

// countsAt holds, for one line and each cell of the grid, the logarithm of the probability of its time and that of
// the counts from first on.
type countsAt struct {
	first []int
	p     [][]float64
	log   []float64
}

// timesFarOff is the share of the lines whose time is three times as uncertain as it seems: a fence passed wide, a
// fix gone astray.
const timesFarOff = 0.05

// countsOf weighs the counts of a line whose time from landing to take-off is known to ownSD but for what all lines share.
func (r *ride) countsOf(g *strideGrid, m *leg) countsAt {
	out := countsAt{first: make([]int, len(g.cells)), p: make([][]float64, len(g.cells)), log: make([]float64, len(g.cells))}
	own := m.durSD
	if m.middleSD > 0 {
		own = math.Hypot(m.middleSD, flightJumpSDS/math.Sqrt2)
	}
	v := m.speed.Value - g.paceMS
	for i := range g.cells {
		c := &g.cells[i]
		t := math.Max(c.strideS+c.perMS*v, 0.3)
		sdAt := func(n float64) float64 {
			return math.Sqrt(sq(own) + sq(r.prior.edgesLineSD*t) + sq(lineStrideSDS*(n+r.prior.edges)))
		}
		middle := (m.durS-c.moreS)/t - r.prior.edges
		reach := 4*sdAt(math.Max(middle, 0))/t + 0.5
		from := min(max(int(math.Ceil(middle-reach)), 0), mostInLine)
		to := min(max(int(math.Floor(middle+reach)), from), mostInLine)
		p := make([]float64, to-from+1)
		var sum float64
		for n := from; n <= to; n++ {
			d, sd := m.durS-c.moreS-(float64(n)+r.prior.edges)*t, sdAt(float64(n))
			w := (1-timesFarOff)*normal(d, sd) + timesFarOff*normal(d, 3*sd)
			if m.planned > 0 {
				w *= builtFor(n - m.planned)
			}
			p[n-from] = w
			sum += w
		}
		out.first[i], out.p[i] = from, p
		out.log[i] = math.Log(sum + 1e-12)
		for k := range p {
			if sum > 0 {
				p[k] /= sum
			}
		}
	}
	return out
}

// settle gives a line its count and its stride time.
func (g *strideGrid) settle(m *leg, line countsAt) {
	p := make([]float64, mostInLine+1)
	for i := range g.cells {
		for k, w := range line.p[i] {
			p[line.first[i]+k] += g.cells[i].p * w
		}
	}
	var mean float64
	best := 0
	for n, v := range p {
		mean += float64(n) * v
		if v > p[best] {
			best = n
		}
	}
	// The mean says more than the likeliest count, unless it rounds to another.
	if math.Round(mean) != float64(best) {
		mean = float64(best)
	}
	low, high := quantileOf(p, 0.05), quantileOf(p, 0.95)
	m.strides = &trace.Estimate{Value: mean, Low: math.Min(low, mean), High: math.Max(high, mean)}
	m.by = "estimated"
	s := g.strideS(m.speed.Value - g.paceMS)
	m.strideS = &s
}

// strideS is the stride time at so much more than the usual pace.
func (g *strideGrid) strideS(moreMS float64) trace.Estimate {
	type weighed struct{ s, p float64 }
	x := make([]weighed, len(g.cells))
	var mean float64
	for i, c := range g.cells {
		x[i] = weighed{c.strideS + c.perMS*moreMS, c.p}
		mean += x[i].s * c.p
	}
	sort.Slice(x, func(i, j int) bool { return x[i].s < x[j].s })
	at := func(q float64) float64 {
		var sum float64
		for _, w := range x {
			if sum += w.p; sum >= q {
				return w.s
			}
		}
		return x[len(x)-1].s
	}
	const z = 1.6448536269514722
	low, high := mean-at(0.05), at(0.95)-mean
	return trace.Estimate{Value: mean, Low: mean - math.Hypot(math.Max(low, 0), z*lineStrideSDS), High: mean + math.Hypot(math.Max(high, 0), z*lineStrideSDS)}
}

// waveTime is a stride time that was seen, at a pace.
type waveTime struct{ strideS, sdS, paceMS float64 }

// waveTime is the stride time of a line by the wave in a receiver's speed. It looks at the line less a third of a second at
// either end, where the flight's edges disturb the wave.
func (r *ride) waveTime(m *leg) (w waveTime, ok bool) {
	const edgeS = 0.35
	if r.wave == nil || m.toS-m.fromS < 2+2*edgeS {
		return w, false
	}
	n, ok := r.wave.Strides(m.fromS+edgeS, m.toS-edgeS)
	if !ok || n.Value < 2 {
		return w, false
	}
	t := (m.toS - m.fromS - 2*edgeS) / n.Value
	return waveTime{t, t * n.SD() / n.Value, m.speed.Value}, true
}

// quantileOf is the least count whose cumulated probability reaches q.
func quantileOf(p []float64, q float64) float64 {
	var c float64
	for i, v := range p {
		if c += v; c >= q {
			return float64(i)
		}
	}
	return float64(len(p) - 1)
}
