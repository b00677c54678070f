package detect

import "math"

// addWaves adds the strides of a walk or trot: both load the trunk twice a stride, once for each pair of
// limbs. Which of the two comes first can't be told from the load, so the first wave of the span begins the
// first stride. A stride begins half a wave before its first peak, where the load is least.
func (p *piece) addWaves(ev *Events, w []gaitWin, g Span) {
	var period []float64
	var size float64
	for _, x := range w {
		if x.t < g.FromS || x.t >= g.ToS {
			continue
		}
		hz, pow := x.peakHz, x.powLow
		if g.Gait == Trot {
			hz, pow = x.trotHz, x.powHigh
		}
		period = append(period, 1/hz)
		size = math.Max(size, pow)
	}
	if len(period) < 3 {
		return
	}
	T := median(period)
	// a sixth of a wave smooths away what is quicker and hardly lowers the wave
	x := smooth(p.v[p.idx(g.FromS):p.idx(g.ToS)+1], T/6)
	off := p.idx(g.FromS)
	q := piece{t0: p.at(float64(off)), n: len(x)}
	c := &canterPath{pk: q.peaksOf(x, 0, q.n, 0.2*math.Sqrt(size)), entry: 2}
	c.jump = func(int, int) float64 { return math.Inf(1) }
	c.r = rhythm{strideS: func(float64) float64 { return T }, sd: waveSD, prom: 2 * math.Sqrt(size)}
	for pass := 0; pass < 2; pass++ {
		c.node = make([]float64, len(c.pk))
		for k, pk := range c.pk {
			c.node[k] = promCost(pk, c.r) - 2
		}
		c.solve()
		if pass == 0 {
			c.r = learn([]*reading{{c: c, canters: c.best()}}, c.r)
			c.r.sd = waveSD
		}
	}
	for _, path := range c.best() {
		var at []float64 // the peaks, the unseen ones too
		for i, s := range path {
			t := c.pk[s.k].t
			if s.unseen {
				at = append(at, (c.pk[path[i-1].k].t+t)/2)
			}
			at = append(at, t)
		}
		start := func(i int) float64 {
			if i == 0 {
				return math.Max(g.FromS, at[0]-c.r.strideS(at[0])/2)
			}
			return (at[i-1] + at[i]) / 2
		}
		for i := 0; i+1 < len(at); i += 2 {
			to := at[i+1] + c.r.strideS(at[i+1])/2
			if i+2 < len(at) {
				to = start(i + 2)
			}
			ev.Strides = append(ev.Strides, Stride{Gait: g.Gait, FromS: start(i), ToS: math.Min(to, g.ToS)})
		}
	}
}

// waveSD is the spread of one wave's time as a share: left and right halves differ, and the peak
// of a low wave is blunt.
const waveSD = 0.12
