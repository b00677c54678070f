package follow

import (
	"math"
	"sort"

	"groundline/course"
	"groundline/course/place"
)

// candidate is an instant at which an obstacle may have been jumped.
type candidate struct {
	timeS float64 // middle of the flight, on the true clock
	jump  int     // index of the sensor's jump, -1 for a passage of the track
	// logOdds that there was a jump at all, from the sensor, or from the way the track passes.
	logOdds float64
	only    int // the obstacle passed, -1 for any
	at      place.Sample
	placed  bool // at is known
}

// pathS is the instant of the recorded path to hold against the obstacle. A sensor's jump is held
// against the track of the same instant, and the receiver's lag is then found from what is left; a
// passage was read off the laid path, which runs ahead of the recorded one by the lag.
func (c candidate) pathS(lag float64) float64 {
	if c.jump < 0 {
		return c.timeS + lag
	}
	return c.timeS
}

// state is a place in the route, or an obstacle that the route leaves out.
type state struct {
	obstacle int
	route    int
}

type decoded struct {
	cand  candidate
	state int
	p     float64 // posterior probability
	gain  float64 // what this step added to the log likelihood ratio
}

// model is the plan as the decoder sees it.
type model struct {
	in      Input
	states  []state
	inRoute []bool
	way     [][]float64 // expected length from obstacle to obstacle, metres
	turned  [][]float64 // net turn from obstacle to obstacle, degrees, left positive, modulo 360
	slackM  float64     // how far the placement may still be off
}

func newModel(in Input) *model {
	m := &model{in: in, inRoute: make([]bool, len(in.Plan.Obstacles)), slackM: 0.5}
	index := map[string]int{}
	for i, o := range in.Plan.Obstacles {
		index[o.ID] = i
	}
	for k, id := range in.Plan.Route {
		m.states = append(m.states, state{index[id], k})
		m.inRoute[index[id]] = true
	}
	for i, o := range in.Plan.Obstacles {
		if !m.inRoute[i] && o.Kind != course.Pole {
			m.states = append(m.states, state{i, -1})
		}
	}
	n := len(in.Plan.Obstacles)
	m.way, m.turned = make([][]float64, n), make([][]float64, n)
	for i := range n {
		m.way[i], m.turned[i] = make([]float64, n), make([]float64, n)
		for j := range n {
			l, _ := wayM(in.Plan.Obstacles[i], in.Plan.Obstacles[j])
			if i == j {
				l = math.Max(l, 2*math.Pi*turnRadiusM+20)
			}
			m.way[i][j] = l
			m.turned[i][j] = wrapDeg(in.Plan.Obstacles[i].FacingDeg - in.Plan.Obstacles[j].FacingDeg)
		}
	}
	for _, l := range in.Plan.Lines {
		a, aok := index[l.From]
		b, bok := index[l.To]
		if aok && bok && l.WalkedM != nil && math.Abs(wrapDeg(in.Plan.Obstacles[a].FacingDeg-in.Plan.Obstacles[b].FacingDeg)) < 15 {
			m.way[a][b] = *l.WalkedM + (in.Plan.Obstacles[a].SpreadM+in.Plan.Obstacles[b].SpreadM)/2
		}
	}
	return m
}

// How people ride a route: the next obstacle nearly always; now and then the same again, from the
// beginning, one left out (or missed by the sensor), or any other. Priors of our own.
const (
	pNext    = 0.80
	pSame    = 0.05
	pRestart = 0.05
	pSkip    = 0.03
	pOther   = 0.07
)

func (m *model) logTransition(a, b int) float64 {
	sb := m.states[b]
	n := float64(len(m.states))
	p := pOther / n
	if a < 0 {
		p = 0.5 / n
		if sb.route == 0 {
			p += 0.5
		}
		return math.Log(p)
	}
	sa := m.states[a]
	if sa.obstacle == sb.obstacle {
		p += pSame
	}
	if sb.route == 0 {
		p += pRestart
	}
	if sa.route >= 0 && sb.route == sa.route+1 {
		p += pNext
	}
	if sa.route >= 0 && sb.route == sa.route+2 {
		p += pSkip
	}
	return math.Log(p)
}

// Usual pace on a practice course (facts: 5.53 ± 0.15 m/s in a round of elite horses, Tranquille et
// al. 2017; ponies and green horses slower) and the spread of a leg's time about it, as a ratio.
const (
	usualSpeedMS = 5.3
	legSpread    = 0.17
	// legOtherwise is the share of legs that go some other way: a circle, a halt, a chat.
	legOtherwise = 0.12
	// meanGapS is the usual time between two jumps, against which a leg's time is weighed.
	meanGapS = 12.0
)

// logTime weighs the time from one middle of flight to the next against the way from a to b.
func (m *model) logTime(a, b int, from, to candidate) float64 {
	dt := to.timeS - from.timeS
	oa, ob := m.states[a].obstacle, m.states[b].obstacle
	mu := math.Log(m.way[oa][ob] / usualSpeedMS)
	z := (math.Log(dt) - mu) / legSpread
	near := math.Exp(-z*z/2) / (dt * legSpread * math.Sqrt(2*math.Pi))
	// Otherwise anything from the shortest ride upwards, falling off over a minute.
	other := 0.0
	if dt > 0.75*math.Exp(mu) {
		other = math.Exp(-dt/60) / 60
	}
	base := math.Exp(-dt/meanGapS) / meanGapS
	base = math.Max(base, math.Exp(-dt/60)/60)
	v := math.Log((1-legOtherwise)*near+legOtherwise*other+1e-9) - math.Log(base)
	if m.in.TurnedDeg != nil {
		if d, sd, ok := m.in.TurnedDeg(from.timeS, to.timeS); ok {
			s := math.Hypot(14, sd)
			e := wrapDeg(d - m.turned[oa][ob])
			v += math.Log(0.97*math.Exp(-e*e/(2*s*s))/(s*math.Sqrt(2*math.Pi))+0.03/360) - math.Log(1.0/360)
		}
	}
	return v
}

// logAt weighs where a candidate lies against an obstacle; 0 without positions.
func (m *model) logAt(c candidate, st int) float64 {
	o := m.in.Plan.Obstacles[m.states[st].obstacle]
	if !c.placed {
		return 0
	}
	s, co := math.Sincos(o.FacingDeg * math.Pi / 180)
	dx, dy := c.at.X-o.At.X, c.at.Y-o.At.Y
	al, ac := dx*s+dy*co-0.35, dx*co-dy*s
	sdl := math.Sqrt(0.45*0.45 + m.slackM*m.slackM*2 + c.at.PlaceSDM*c.at.PlaceSDM)
	sdc := math.Sqrt(0.5*0.5 + m.slackM*m.slackM + c.at.PlaceSDM*c.at.PlaceSDM)
	h := wrapDeg(c.at.HeadingDeg() - o.FacingDeg)
	hsd := 12.0 + 40*c.at.PlaceSDM/math.Max(c.at.SpeedMS(), 1)
	const arenaM2, floor = 4000.0, 1e-7
	v := math.Log(math.Exp(-ac*ac/(2*sdc*sdc)-h*h/(2*hsd*hsd))+floor) -
		math.Log(sdc*hsd*2*math.Pi) + math.Log(360)
	if c.jump >= 0 {
		v += math.Log(math.Exp(-al*al/(2*sdl*sdl))+floor) - math.Log(sdl*math.Sqrt(2*math.Pi)) + math.Log(arenaM2)
		return v
	}
	// A passage: anywhere on a face line of some tens of metres.
	return v + math.Log(30)
}

// candidatesFromJumps are the sensor's jumps, with their places where a path is given.
func (m *model) candidatesFromJumps(laid *place.Path) []candidate {
	var out []candidate
	for i, j := range m.in.Jumps {
		p := math.Min(math.Max(j.Confidence, 0.02), 0.995)
		c := candidate{timeS: midS(j), jump: i, only: -1, logOdds: math.Log(p / (1 - p))}
		if laid != nil {
			c.at, c.placed = laid.At(c.timeS)
		}
		out = append(out, c)
	}
	return out
}

// candidates are the sensor's jumps and the track's passages over obstacles; where a sensor was
// there and saw no jump, a passage alone is unlikely to have been one.
func (m *model) candidates(laid *place.Path) []candidate {
	out := m.candidatesFromJumps(laid)
	n := len(out)
	for i, o := range m.in.Plan.Obstacles {
		if o.Kind == course.Pole {
			continue
		}
		for _, p := range passages(laid, o, o.WidthM/2+1.5+2*m.slackM) {
			near := false
			for _, c := range out[:n] {
				if math.Abs(c.timeS-p.timeS) < 1.2 {
					near = true
				}
			}
			if near && m.in.HasMotion {
				continue
			}
			c := candidate{timeS: p.timeS, jump: -1, only: i, at: p.at, placed: true}
			// Fences are jumped from a canter, seldom from a trot (3.4 m/s), never from a walk.
			c.logOdds = math.Min(math.Max((p.at.SpeedMS()-3.9)/0.25, -6), 1)
			if m.in.HasMotion {
				c.logOdds -= 8
			}
			out = append(out, c)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].timeS < out[j].timeS })
	return out
}

type passage struct {
	timeS float64
	at    place.Sample
	// acrossM is how far right of the obstacle's middle the track passes.
	acrossM float64
}

// minPassSpeedMS is the least speed at which a fence is jumped from a canter or a trot; slower
// passages are somebody walking by.
const minPassSpeedMS = 2.2

// passages are the moments when the path passes the line of an obstacle's face, in the direction in
// which it is jumped, at most withinM off its middle.
func passages(path *place.Path, o course.Obstacle, withinM float64) []passage {
	s, c := math.Sincos(o.FacingDeg * math.Pi / 180)
	var out []passage
	for _, q := range path.Pieces {
		prev := math.NaN()
		for i := range q.X {
			dx, dy := q.X[i]-o.At.X, q.Y[i]-o.At.Y
			al := dx*s + dy*c - 0.35
			if i > 0 && prev < 0 && al >= 0 {
				u := prev / (prev - al)
				t := q.FromS + (float64(i-1)+u)*place.StepS
				at, ok := path.At(t)
				ac := (at.X-o.At.X)*c - (at.Y-o.At.Y)*s
				if ok && math.Abs(ac) <= withinM && at.SpeedMS() >= minPassSpeedMS &&
					math.Abs(wrapDeg(at.HeadingDeg()-o.FacingDeg)) < 55 {
					out = append(out, passage{t, at, ac})
				}
			}
			prev = al
		}
	}
	return out
}

// decode picks the likeliest sequence of candidates and states (Viterbi) and its posterior
// probabilities (forward-backward), in log likelihood ratios against "nothing was jumped here".
func (m *model) decode(cands []candidate) []decoded {
	n, s := len(cands), len(m.states)
	if n == 0 {
		return nil
	}
	const lookback = 14 // candidates passed over between two that count
	emit := make([][]float64, n)
	for i, c := range cands {
		emit[i] = make([]float64, s)
		for k := range s {
			if c.only >= 0 && c.only != m.states[k].obstacle {
				emit[i][k] = math.Inf(-1)
				continue
			}
			emit[i][k] = c.logOdds + m.logAt(c, k)
		}
	}
	step := func(i, a, j, b int) float64 {
		if cands[j].timeS-cands[i].timeS < 0.5 {
			return math.Inf(-1)
		}
		return m.logTransition(a, b) + m.logTime(a, b, cands[i], cands[j])
	}
	vit, fwd, bwd := grid(n, s), grid(n, s), grid(n, s)
	backI, backK := make([][]int, n), make([][]int, n)
	for j := range n {
		backI[j], backK[j] = make([]int, s), make([]int, s)
		for b := range s {
			backI[j][b] = -1
			if math.IsInf(emit[j][b], -1) {
				vit[j][b], fwd[j][b] = math.Inf(-1), math.Inf(-1)
				continue
			}
			start := m.logTransition(-1, b)
			best, sum := start, start
			for i := max(0, j-lookback); i < j; i++ {
				for a := range s {
					if math.IsInf(fwd[i][a], -1) {
						continue
					}
					t := step(i, a, j, b)
					if v := vit[i][a] + t; v > best {
						best, backI[j][b], backK[j][b] = v, i, a
					}
					sum = logAdd(sum, fwd[i][a]+t)
				}
			}
			vit[j][b], fwd[j][b] = best+emit[j][b], sum+emit[j][b]
		}
	}
	total := 0.0 // nothing jumped at all
	bi, bk, bv := -1, -1, 0.0
	for j := range n {
		for b := range s {
			if vit[j][b] > bv {
				bi, bk, bv = j, b, vit[j][b]
			}
			total = logAdd(total, fwd[j][b])
		}
	}
	for i := n - 1; i >= 0; i-- {
		for a := range s {
			sum := 0.0 // the last one
			for j := i + 1; j < n && j <= i+lookback; j++ {
				for b := range s {
					if !math.IsInf(emit[j][b], -1) {
						sum = logAdd(sum, step(i, a, j, b)+emit[j][b]+bwd[j][b])
					}
				}
			}
			bwd[i][a] = sum
		}
	}
	var out []decoded
	for i, k := bi, bk; i >= 0; i, k = backI[i][k], backK[i][k] {
		p := math.Inf(-1)
		for a := range s {
			if m.states[a].obstacle == m.states[k].obstacle {
				p = logAdd(p, fwd[i][a]+bwd[i][a]-total)
			}
		}
		gain := vit[i][k]
		if backI[i][k] >= 0 {
			gain -= vit[backI[i][k]][backK[i][k]]
		}
		out = append(out, decoded{cands[i], k, math.Min(math.Exp(p), 1), gain})
	}
	for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
		out[i], out[j] = out[j], out[i]
	}
	return out
}

func grid(n, s int) [][]float64 {
	g := make([][]float64, n)
	for i := range g {
		g[i] = make([]float64, s)
	}
	return g
}

func logAdd(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	if math.IsInf(b, -1) {
		return a
	}
	return a + math.Log1p(math.Exp(b-a))
}
