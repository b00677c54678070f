package detect

import (
	"math"
	"math/cmplx"
)

// TurnHint is a turn and the way it went, known from a gyroscope or from the track.
type TurnHint struct {
	FromS, ToS float64
	LeftRad    float64 // angle turned, left positive
}

// leadWave is what one canter stride shows across the direction of travel: the part of the lateral
// wave at stride frequency that moves with the vertical wave, and a quarter stride from it.
type leadWave struct {
	stride int // index in the events' strides
	x      [2]float64
	after  bool // a jump lies between this stride and the one before
}

// findSides tells the strides of one piece apart into two sets, one for each lead, and says for each how
// probable the second set is (Stride.side). The lateral force at stride frequency changes its sign against the
// vertical one with the lead; which set is the left lead only [SettleLeads] can tell. Strides
// keep no side where the two sets don't stand apart.
func (p *piece) findSides(ev *Events, first, pieceNo int) {
	waves := p.leadWaves(ev.Strides[first:], first)
	const fewest = 16 // two leads of eight strides each
	if len(waves) < fewest {
		return
	}
	// Averages of seven strides show the two sets where one stride is all noise (a wrist).
	const around = 3
	avg := make([][2]float64, len(waves))
	for i := range waves {
		n := 0.0
		for k := max(0, i-around); k <= min(len(waves)-1, i+around); k++ {
			avg[i][0] += waves[k].x[0]
			avg[i][1] += waves[k].x[1]
			n++
		}
		avg[i][0] /= n
		avg[i][1] /= n
	}
	m, ok := twoMeans(avg)
	if !ok {
		return
	}
	// along the line through the two means, one stride's value and its spread
	d := [2]float64{m[1][0] - m[0][0], m[1][1] - m[0][1]}
	gap := math.Hypot(d[0], d[1])
	if gap == 0 {
		return
	}
	at := make([]float64, len(waves))
	var ss float64
	for i, w := range waves {
		at[i] = ((w.x[0]-m[0][0])*d[0]+(w.x[1]-m[0][1])*d[1])/gap - gap/2
		ss += sqr(math.Abs(at[i]) - gap/2)
	}
	sd := math.Sqrt(ss / float64(len(at)))
	// less than one spread apart, averages of seven from a single set would be split as well
	if gap < sd {
		return
	}
	prob := sidesHMM(waves, at, gap, sd)
	for i, w := range waves {
		ev.Strides[w.stride].side = prob[i]
		ev.Strides[w.stride].piece = pieceNo
	}
}

func sqr(x float64) float64 { return x * x }

// leadWaves are the lateral waves of the canter strides given, whose indices start at first.
func (p *piece) leadWaves(strides []Stride, first int) []leadWave {
	type wave struct {
		stride int
		one    [3]complex128 // level force at stride frequency, phase against the vertical wave's
		two    [3]complex128 // at twice that
		mid    int
		after  bool
	}
	var ws []wave
	lastTo := math.Inf(-1)
	for k, s := range strides {
		if s.Gait != Canter {
			continue
		}
		a, b := p.idx(s.FromS), p.idx(s.ToS)
		after := s.FromS-lastTo > 0.1
		lastTo = s.ToS
		if b-a < 25 || b-a > 120 {
			continue
		}
		w := wave{stride: first + k, mid: (a + b) / 2, after: after}
		var v complex128
		step := cmplx.Rect(1, -2*math.Pi/float64(b-a))
		ph := complex(1, 0)
		for i := a; i < b; i++ {
			u := p.a[0][i]*p.up[0][i] + p.a[1][i]*p.up[1][i] + p.a[2][i]*p.up[2][i]
			v += complex(u, 0) * ph
			for c := range w.one {
				h := complex(p.a[c][i]-u*p.up[c][i], 0)
				w.one[c] += h * ph
				w.two[c] += h * ph * ph
			}
			ph *= step
		}
		if cmplx.Abs(v) == 0 {
			continue
		}
		turn := cmplx.Conj(v) / complex(cmplx.Abs(v), 0)
		scale := complex(2/float64(b-a), 0)
		for c := range w.one {
			w.one[c] *= turn * scale
			w.two[c] *= turn * turn * scale
		}
		ws = append(ws, w)
	}
	// Forward and back is the line along which the level force beats twice a stride, whatever the
	// lead; it is followed over some sixteen strides, because a pocket turns.
	out := make([]leadWave, 0, len(ws))
	var fwd [3]float64
	for i, w := range ws {
		var z [3]complex128
		for k := max(0, i-8); k <= min(len(ws)-1, i+8); k++ {
			for c := range z {
				z[c] += ws[k].two[c]
			}
		}
		var sq complex128
		for _, x := range z {
			sq += x * x
		}
		back := cmplx.Rect(1, -cmplx.Phase(sq)/2)
		var d [3]float64
		var dot, norm float64
		for c, x := range z {
			d[c] = real(x * back)
			dot += d[c] * fwd[c]
			norm += d[c] * d[c]
		}
		norm = math.Sqrt(norm)
		if norm == 0 {
			continue
		}
		if dot < 0 {
			norm = -norm
		}
		for c := range d {
			d[c] /= norm
		}
		fwd = d
		up := [3]float64{p.up[0][w.mid], p.up[1][w.mid], p.up[2][w.mid]}
		left := [3]float64{up[1]*d[2] - up[2]*d[1], up[2]*d[0] - up[0]*d[2], up[0]*d[1] - up[1]*d[0]}
		var l complex128
		for c := range left {
			l += complex(left[c], 0) * w.one[c]
		}
		out = append(out, leadWave{w.stride, [2]float64{real(l), imag(l)}, w.after})
	}
	return out
}

// twoMeans splits points into two sets about their means (Lloyd 1982), from the two ends of their
// main axis. ok is false where one set holds fewer than six points, two changes of lead within the
// average's width.
func twoMeans(x [][2]float64) (m [2][2]float64, ok bool) {
	var c [2]float64
	for _, v := range x {
		c[0] += v[0] / float64(len(x))
		c[1] += v[1] / float64(len(x))
	}
	var xx, xy, yy float64
	for _, v := range x {
		a, b := v[0]-c[0], v[1]-c[1]
		xx, xy, yy = xx+a*a, xy+a*b, yy+b*b
	}
	th := 0.5 * math.Atan2(2*xy, xx-yy)
	ax := [2]float64{math.Cos(th), math.Sin(th)}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		s := (v[0]-c[0])*ax[0] + (v[1]-c[1])*ax[1]
		lo, hi = math.Min(lo, s), math.Max(hi, s)
	}
	m[0] = [2]float64{c[0] + lo*ax[0], c[1] + lo*ax[1]}
	m[1] = [2]float64{c[0] + hi*ax[0], c[1] + hi*ax[1]}
	var n [2]int
	for round := 0; round < 30; round++ {
		var s [2][2]float64
		n = [2]int{}
		for _, v := range x {
			k := 0
			if math.Hypot(v[0]-m[1][0], v[1]-m[1][1]) < math.Hypot(v[0]-m[0][0], v[1]-m[0][1]) {
				k = 1
			}
			s[k][0] += v[0]
			s[k][1] += v[1]
			n[k]++
		}
		if n[0] == 0 || n[1] == 0 {
			return m, false
		}
		for k := range m {
			m[k] = [2]float64{s[k][0] / float64(n[k]), s[k][1] / float64(n[k])}
		}
	}
	return m, n[0] >= 6 && n[1] >= 6
}

// sidesHMM is the probability of the second set for every stride (forward and backward, Rabiner 1989). at is a stride's
// place between the sets, negative on the first's side; their means lie gap apart, with spread sd.
// A lead is kept for some forty strides, but over a jump it changes about every third time (Moore et al.
// 1995 saw it change in two fifths of jumps across country).
func sidesHMM(waves []leadWave, at []float64, gap, sd float64) []float64 {
	const change, changeOverJump = 1.0 / 40, 1.0 / 3
	n := len(at)
	like := make([]float64, n) // of the second set over the first
	for i, x := range at {
		// no single stride may decide alone
		like[i] = math.Exp(math.Max(-5, math.Min(5, x*gap/(sd*sd))))
	}
	fwd := make([]float64, n)
	for i := range fwd {
		prior := 0.5
		if i > 0 {
			c := change
			if waves[i].after {
				c = changeOverJump
			}
			prior = fwd[i-1]*(1-c) + (1-fwd[i-1])*c
		}
		fwd[i] = prior * like[i] / (prior*like[i] + 1 - prior)
	}
	out := make([]float64, n)
	out[n-1] = fwd[n-1]
	ratio := 1.0 // of the future given the second set over that given the first
	for i := n - 2; i >= 0; i-- {
		c := change
		if waves[i+1].after {
			c = changeOverJump
		}
		f := like[i+1] * ratio
		ratio = ((1-c)*f + c) / (c*f + 1 - c)
		out[i] = fwd[i] * ratio / (fwd[i]*ratio + 1 - fwd[i])
	}
	return out
}

// Evidence for which set is the left lead.
const (
	// insideLead is how often a horse canters a turn on the inside lead ("mostly"; common practice).
	insideLead = 0.85
	// settled is the log odds from which the sign is believed: 19 to 1.
	settled = 2.94
	// sureSide is the probability from which a stride's set is believed.
	sureSide = 0.9
)

// SettleLeads names the leads of the canter strides where turns show which is which: a horse mostly
// canters a turn on the inside lead. Each turn of canter strides on one side weighs by how sure that side is; the leads of a
// stretch without a gap are named when the turns together speak 19 to 1 for one reading, and taken back when
// they don't. It tells whether any were named.
func SettleLeads(ev *Events, turns []TurnHint) bool {
	odds := map[int]float64{}
	for _, t := range turns {
		sum, n := map[int]float64{}, map[int]float64{}
		for _, s := range ev.Strides {
			if s.side > 0 && s.FromS >= t.FromS && s.ToS <= t.ToS {
				sum[s.piece] += 2*s.side - 1
				n[s.piece]++
			}
		}
		for k := range n {
			// one stride of a turn may be a change's; three are the turn's lead
			v := sum[k] / n[k] * math.Min(1, n[k]/3) * math.Log(insideLead/(1-insideLead))
			if t.LeftRad < 0 {
				v = -v
			}
			odds[k] += v
		}
	}
	any := false
	for i := range ev.Strides {
		s := &ev.Strides[i]
		s.Lead = LeadUnknown
		o := odds[s.piece]
		if s.side == 0 || math.Abs(o) < settled {
			continue
		}
		left := s.side // the second set is the left lead
		if o < 0 {
			left = 1 - s.side
		}
		switch {
		case left >= sureSide:
			s.Lead, any = LeadLeft, true
		case left <= 1-sureSide:
			s.Lead, any = LeadRight, true
		}
	}
	return any
}
