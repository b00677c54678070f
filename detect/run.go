package detect

import (
	"math"

	"groundline/trace"
)

func (p *piece) run(ev *Events, o Options) {
	w := p.windows()
	path := gaitPath(w)
	var canterT, highs []float64
	for i, g := range path {
		if g == Canter {
			canterT = append(canterT, 1/w[i].peakHz)
			highs = append(highs, math.Sqrt(2*w[i].powLow))
		}
	}
	var canters [][]step
	var pk []peak
	if len(canterT) >= 8 {
		amp := median(highs)
		pk = p.loadPeaks(0.15 * amp)
		T := median(canterT)
		r := rhythm{strideS: func(float64) float64 { return T }, sd: 0.09, prom: 1.8 * amp, high: amp}
		for pass := 0; pass < 3; pass++ {
			c := pathCost{pk: pk, r: r, node: p.nodeCosts(pk, w, r)}
			c.jump = func(j, k int) float64 {
				s := p.shapeCost(pk[j], pk[k], r)
				if math.IsInf(s, 1) {
					return s
				}
				var skip float64
				for q := j + 1; q < k; q++ {
					// a bump in the flight is the rider's or the arm's; a loaded one is a stride
					skip += sq(math.Max(0, pk[q].h+0.3*r.high) / (0.3 * r.high))
				}
				return s + skip
			}
			c.prepare()
			canters = c.best(8)
			r = learn(pk, canters, r)
		}
	}
	p.emit(ev, o, w, path, pk, canters)
}

// nodeCosts say how little or much a peak looks like a canter's: by its own prominence and by the gait of the window around it.
func (p *piece) nodeCosts(pk []peak, w []gaitWin, r rhythm) []float64 {
	out := make([]float64, len(pk))
	for k, q := range pk {
		i := int(math.Round((q.t - p.t0) / winHopS))
		i = max(0, min(len(w)-1, i))
		other := math.Inf(1)
		for _, g := range [...]Gait{Halt, Walk, Trot} {
			other = math.Min(other, gaitCost(w[i], g))
		}
		d := gaitCost(w[i], Canter) - other
		out[k] = math.Max(-3, math.Min(3, d)) + math.Min(6, sq(math.Max(0, 0.5-q.prom/r.prom)/0.15))
	}
	return out
}

// learn takes stride time, prominence and height from the paths found.
func learn(pk []peak, canters [][]step, old rhythm) rhythm {
	var mid, dur, prom, high []float64
	for _, path := range canters {
		for i, s := range path {
			if s.part != beat {
				continue
			}
			prom = append(prom, pk[s.k].prom)
			high = append(high, pk[s.k].h)
			if i > 0 && path[i-1].part == beat {
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
	r := old
	r.prom, r.high = median(prom), median(high)
	all := median(dur)
	// the stride time around t: strides within some four seconds, held to the ride's by the weight of two strides
	r.strideS = func(t float64) float64 {
		sw, s := 2.0, 2.0*all
		lo := 0
		hi := len(mid)
		for lo < hi {
			m := (lo + hi) / 2
			if mid[m] < t-8 {
				lo = m + 1
			} else {
				hi = m
			}
		}
		for i := lo; i < len(mid) && mid[i] < t+8; i++ {
			z := (mid[i] - t) / 4
			wt := math.Exp(-0.5 * z * z)
			sw += wt
			s += wt * dur[i]
		}
		return s / sw
	}
	r.sd = 0.07
	return r
}

func (p *piece) emit(ev *Events, o Options, w []gaitWin, path []Gait, pk []peak, canters [][]step) {
	end := p.at(float64(p.n - 1))
	type span struct{ a, b float64 }
	var cs []span
	for _, c := range canters {
		first, last := pk[c[0].k].t, pk[c[len(c)-1].k].t
		var T float64
		cnt := 0.0
		for i := 1; i < len(c); i++ {
			if c[i].part == beat && c[i-1].part == beat {
				T += pk[c[i].k].t - pk[c[i-1].k].t
				cnt++
			}
		}
		if cnt > 0 {
			T /= cnt
		} else {
			T = 0.6
		}
		cs = append(cs, span{math.Max(p.t0, first-beatPhase*T), math.Min(end, last+(1-beatPhase)*T)})
		for i, s := range c {
			q := pk[s.k]
			switch s.part {
			case beat:
				ev.BeatS = append(ev.BeatS, q.t)
				ev.Strides = append(ev.Strides, Stride{Gait: Canter, FromS: q.t - beatPhase*T, ToS: q.t + (1-beatPhase)*T})
			case push:
				l := pk[c[i+1].k]
				ev.Jumps = append(ev.Jumps, Jump{
					TakeoffS:  trace.FromSD(q.t+pushToEdge, 0.012),
					LandingS:  trace.FromSD(l.t-edgeToLand, 0.012),
					PushPeakS: q.t, LandPeakS: l.t, Confidence: 0.99,
				})
			}
		}
	}
	// gaits: canters by their beats, the rest by the windows
	in := func(t float64) bool {
		for _, c := range cs {
			if t >= c.a && t < c.b {
				return true
			}
		}
		return false
	}
	k := 0
	add := func(g Gait, a, b float64) {
		if b <= a {
			return
		}
		if n := len(ev.Gaits); n > 0 && ev.Gaits[n-1].Gait == g && a-ev.Gaits[n-1].ToS < 1e-9 {
			ev.Gaits[n-1].ToS = b
			return
		}
		ev.Gaits = append(ev.Gaits, Span{g, a, b})
	}
	_ = in
	fill := func(a, b float64) {
		for t := a; t < b-1e-12; {
			i := int(math.Floor((t-p.t0)/winHopS + 0.5 + 1e-9))
			next := math.Min(b, p.t0+(float64(i)+0.5)*winHopS)
			if next <= t {
				next = math.Min(b, t+winHopS)
			}
			g := Halt
			if len(path) > 0 {
				i = max(0, min(len(path)-1, i))
				g = path[i]
				for d := 0; g == Canter && d < len(path); d++ {
					// the windows said canter, the beats did not: the nearest other gait
					if i-d >= 0 && path[i-d] != Canter {
						g = path[i-d]
					} else if i+d < len(path) && path[i+d] != Canter {
						g = path[i+d]
					}
				}
				if g == Canter {
					g = Trot
				}
			}
			add(g, t, next)
			t = next
		}
	}
	at := p.t0
	for ; k < len(cs); k++ {
		fill(at, cs[k].a)
		add(Canter, math.Max(at, cs[k].a), cs[k].b)
		at = cs[k].b
	}
	fill(at, end)
}

// beatPhase is the part of a stride from hind contact to the load's peak.
const beatPhase = 0.4

func (e *Events) finish() {}
