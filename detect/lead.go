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

// leadWave is what one canter stride shows across the vertical: the level force at stride frequency a quarter of a
// stride before or after the vertical wave. What moves with the vertical wave is left out, because any error
// of up, such as a lean in a turn, would put some of that wave itself there.
type leadWave struct {
	stride int        // index in the events' strides
	q      [3]float64 // in sensor axes, m/s²
	up     [3]float64
	after  bool // a jump or a pause lies between this stride and the one before
}

// findSides tells the canter strides of one piece apart into two sets, one for each lead, and says for each
// how probable the second set is (Stride.side). The lateral force at stride frequency changes its sign with the lead; which set
// is the left lead only [SettleLeads] can tell. Strides keep no side where the two sets don't
// stand apart.
func (p *piece) findSides(ev *Events, first, pieceNo int) {
	waves := p.leadWaves(ev.Strides[first:], first)
	const fewest = 16 // two leads of eight strides each
	if len(waves) < fewest {
		return
	}
	s := splitSides(inCarriedFrame(waves))
	if !(s.gap > sidesApart*s.sd) {
		return
	}
	prob := sidesHMM(waves, s)
	for i, w := range waves {
		ev.Strides[w.stride].side = prob[i]
		ev.Strides[w.stride].piece = pieceNo
	}
}

// sidesApart is how many spreads of one stride the two sets must stand apart. Averages of seven strides split
// a single set of pure noise at 0.6; on the labelled rounds saddles and pockets show 3.9 to 10. Wrists show 1.4
// to 1.7, which gets one stride in five wrong: too little to publish.
const sidesApart = 2.5

// leadWaves are the level waves of the canter strides given, whose indices start at first.
func (p *piece) leadWaves(strides []Stride, first int) []leadWave {
	var out []leadWave
	lastTo := math.Inf(-1)
	for k, s := range strides {
		if s.Gait != Canter {
			continue
		}
		a, b := p.idx(s.FromS), p.idx(s.ToS)
		after := s.FromS-lastTo > 0.1
		lastTo = s.ToS
		if b-a < 25 || b-a > 120 { // no canter stride
			continue
		}
		mid := (a + b) / 2
		w := leadWave{stride: first + k, after: after, up: [3]float64{p.up[0][mid], p.up[1][mid], p.up[2][mid]}}
		var v complex128
		var h [3]complex128
		step := cmplx.Rect(1, -2*math.Pi/float64(b-a))
		ph := complex(1, 0)
		for i := a; i < b; i++ {
			u := p.a[0][i]*p.up[0][i] + p.a[1][i]*p.up[1][i] + p.a[2][i]*p.up[2][i]
			v += complex(u, 0) * ph
			for c := range h {
				h[c] += complex(p.a[c][i]-u*p.up[c][i], 0) * ph
			}
			ph *= step
		}
		size := cmplx.Abs(v)
		if size == 0 {
			continue
		}
		for c := range h {
			w.q[c] = 2 / float64(b-a) * imag(h[c]*cmplx.Conj(v)) / size
		}
		out = append(out, w)
	}
	return out
}

// inCarriedFrame gives the waves' two level parts in a frame that is carried along with up and never
// turns about it, so that a sensor that tips slowly takes its frame with it.
func inCarriedFrame(ws []leadWave) [][2]float64 {
	out := make([][2]float64, len(ws))
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
		out[i] = [2]float64{dot3(e, w.q), dot3(f, w.q)}
	}
	return out
}

func dot3(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// sides are strides told apart: each one's place between the two sets, negative on the first's side; their means lie gap
// apart and one stride strays by sd.
type sides struct {
	at      []float64
	gap, sd float64
}

// splitSides finds the two sets. Averages of seven strides show them where one stride is all
// noise (a wrist).
func splitSides(x [][2]float64) sides {
	const around = 3
	avg := make([][2]float64, len(x))
	for i := range x {
		n := 0.0
		for k := max(0, i-around); k <= min(len(x)-1, i+around); k++ {
			avg[i][0] += x[k][0]
			avg[i][1] += x[k][1]
			n++
		}
		avg[i][0] /= n
		avg[i][1] /= n
	}
	m, ok := twoMeans(avg)
	d := [2]float64{m[1][0] - m[0][0], m[1][1] - m[0][1]}
	s := sides{gap: math.Hypot(d[0], d[1]), at: make([]float64, len(x)), sd: 1}
	if !ok || s.gap == 0 {
		s.gap = 0
		return s
	}
	var ss float64
	for i, v := range x {
		s.at[i] = ((v[0]-m[0][0])*d[0]+(v[1]-m[0][1])*d[1])/s.gap - s.gap/2
		off := math.Abs(s.at[i]) - s.gap/2
		ss += off * off
	}
	s.sd = math.Sqrt(ss/float64(len(x))) + 1e-9
	return s
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

// sidesHMM is the probability of the second set for every stride (forward and backward, Rabiner 1989).
// A lead is kept for some forty strides, but over a jump it changes about every third time (Moore et al.
// 1995 saw it change in two fifths of jumps across country).
func sidesHMM(waves []leadWave, s sides) []float64 {
	const change, changeOverJump = 1.0 / 40, 1.0 / 3
	n := len(s.at)
	like := make([]float64, n) // of the second set over the first
	for i, x := range s.at {
		// no single stride may decide alone
		like[i] = math.Exp(math.Max(-5, math.Min(5, x*s.gap/(s.sd*s.sd))))
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
	// eachRein is what the turns of each rein must bring: most of one turn's.
	eachRein = 1.0
	// sureSide is the probability from which a stride's set is believed.
	sureSide = 0.9
)

// SettleLeads names the leads of the canter strides where turns show which is which: a horse mostly
// canters a turn on the inside lead. Each turn weighs by how sure its strides' side is. The leads of a stretch
// without a gap are named when its turns together speak 19 to 1 for one reading and turns to the left and to the
// right both speak for it (on one rein alone, what a turn does to the sensor would pass for a lead); else they are taken
// back. It tells whether any were named.
func SettleLeads(ev *Events, turns []TurnHint) bool {
	type evidence struct{ left, right float64 } // log odds that the second set is the left lead
	odds := map[int]evidence{}
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
			e := odds[k]
			if t.LeftRad > 0 {
				e.left += v
			} else {
				e.right -= v
			}
			odds[k] = e
		}
	}
	any := false
	for i := range ev.Strides {
		s := &ev.Strides[i]
		s.Lead = LeadUnknown
		e := odds[s.piece]
		o := e.left + e.right
		if s.side == 0 || math.Abs(o) < settled || math.Abs(e.left) < eachRein || math.Abs(e.right) < eachRein || e.left*e.right < 0 {
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
