package follow

import (
	"math"
	"sort"

	"groundline/course"
	"groundline/course/place"
	"groundline/detect"
)

// candidate is an instant at which an obstacle may have been jumped.
type candidate struct {
	timeS float64 // middle of the flight, on the true clock
	jump  int     // index of the sensor's jump, -1 for a passage of the track
	// logOdds that there was a jump at all, from the sensor, or from the way the track passes.
	logOdds float64
	only    int // the obstacle passed, -1 for any
	// stop tells that the horse stood still here after a canter: no jump, but a refusal perhaps.
	stop bool
	// passing tells that the horse was not ridden at the obstacle before it passed its line: no run-out.
	passing bool
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

// state is a place in the route, or an obstacle that the route leaves out: jumped, or refused or run
// out at.
type state struct {
	obstacle int
	route    int
	disobey  bool
}

type decoded struct {
	cand  candidate
	state int
	p     float64 // posterior probability of this obstacle, jumped or disobeyed at
	any   float64 // posterior probability that any obstacle was jumped (or disobeyed at) then
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
	// straight tells which ways have no turn. paceMS is the horse's pace and paceSD its relative doubt.
	straight [][]bool
	lones    int // obstacles that the plan calls single
	// begins tells at which places of the route a line, or a row of a combination, begins; row which places belong
	// to the row of a combination with the one before.
	begins, row []bool
	// hasty leaves out rival readings and the last refinement of the placement.
	hasty bool
	// barred are passages that a rival reading holds not to have been jumps.
	barred         []bar
	paceMS, paceSD float64
	// lineS are the times that lines of this ride take, by the two obstacles, where they were found.
	lineS map[[2]int]float64
}

// bar is a passage of an obstacle about a time.
type bar struct {
	obstacle int
	timeS    float64
}

func (m *model) isBarred(c candidate) bool {
	for _, b := range m.barred {
		if c.jump < 0 && c.only == b.obstacle && math.Abs(c.timeS-b.timeS) < 2 {
			return true
		}
	}
	return false
}

// Ways are the ways from every obstacle of a plan to every other: worked out once for a plan.
type Ways struct {
	lengthM, turnedDeg [][]float64 // net turn, left positive, modulo 360
	straight           [][]bool
}

// WaysOf are the ways of a plan; the tape is believed where there is one and no turn.
func WaysOf(p *course.Plan) *Ways {
	n := len(p.Obstacles)
	w := &Ways{lengthM: grid(n, n), turnedDeg: grid(n, n), straight: make([][]bool, n)}
	index := map[string]int{}
	for i, a := range p.Obstacles {
		index[a.ID] = i
		w.straight[i] = make([]bool, n)
		for j, b := range p.Obstacles {
			l := p.Way(a, b, course.StandardStrideM).Path.LengthM()
			if i == j {
				l = math.Max(l, againM)
			}
			chord := math.Hypot(b.At.X-a.At.X, b.At.Y-a.At.Y)
			w.lengthM[i][j] = l
			w.straight[i][j] = i != j && math.Abs(course.WrapDeg(a.FacingDeg-b.FacingDeg)) < 40 && l < 1.12*chord && chord < 45
			w.turnedDeg[i][j] = course.WrapDeg(a.FacingDeg - b.FacingDeg)
		}
	}
	for _, l := range p.Lines {
		i, j := index[l.From], index[l.To]
		a, b := p.Obstacles[i], p.Obstacles[j]
		if l.WalkedM != nil && math.Abs(course.WrapDeg(a.FacingDeg-b.FacingDeg)) < 15 {
			w.lengthM[i][j] = *l.WalkedM + (a.SpreadM+b.SpreadM)/2
		}
	}
	return w
}

func newModel(in Input) *model {
	m := &model{in: in, inRoute: make([]bool, len(in.Plan.Obstacles)), slackM: 0.5, paceMS: usualSpeedMS, paceSD: paceSpread,
		lineS: make(map[[2]int]float64)}
	index := map[string]int{}
	for i, o := range in.Plan.Obstacles {
		index[o.ID] = i
	}
	for k, id := range in.Plan.Route {
		m.states = append(m.states, state{obstacle: index[id], route: k})
		m.inRoute[index[id]] = true
	}
	if !in.Found {
		for k, id := range in.Plan.Route {
			m.states = append(m.states, state{obstacle: index[id], route: k, disobey: true})
		}
	}
	for i, o := range in.Plan.Obstacles {
		if !m.inRoute[i] && o.Kind != course.Pole {
			m.states = append(m.states, state{obstacle: i, route: -1})
		}
	}
	w := in.Ways
	if w == nil {
		w = WaysOf(in.Plan)
	}
	m.way, m.turned, m.straight = w.lengthM, w.turnedDeg, w.straight
	for i := range in.Plan.Obstacles {
		if m.lone(i) {
			m.lones++
		}
	}
	m.begins, m.row = make([]bool, len(in.Plan.Route)), make([]bool, len(in.Plan.Route))
	for k := 1; k < len(in.Plan.Route); k++ {
		a, b := m.states[k-1].obstacle, m.states[k].obstacle
		m.row[k] = m.straight[a][b] && m.way[a][b] < rowM
		m.begins[k-1] = m.straight[a][b] && !m.row[k-1]
	}
	return m
}

// rowM is the longest way between neighbours of a combination or gymnastic line: two strides between
// obstacles are 10.5 to 11 m (common practice), and half of two spreads.
const rowM = 12.5

// How people ride a route: the next obstacle nearly always; now and then the same again, from the
// beginning, the line just ridden or another one again, one left out (or missed by the sensor), or any other. Behind the last
// obstacle there is no next: it begins from the first, or with a line. One approach in thirty ends in a
// refusal or a run-out, and after it the same obstacle is ridden at again. Priors of our own.
const (
	pNext    = 0.77
	pSame    = 0.04
	pRestart = 0.05
	pLine    = 0.05 // the line that ends here
	pLines   = 0.01 // some line of the route
	pSkip    = 0.03
	pOther   = 0.05

	pRestartAtEnd = 0.30
	pLinesAtEnd   = 0.02

	pDisobey = 0.03
	pRetry   = 0.85
	pAgain   = 0.05 // disobeys once more
)

func (m *model) logTransition(a, b int) float64 {
	sb := m.states[b]
	n := float64(len(m.in.Plan.Obstacles))
	if a >= 0 && m.states[a].disobey {
		sa := m.states[a]
		switch {
		case sa.route == sb.route && sb.disobey:
			return math.Log(pAgain)
		case sa.route == sb.route:
			return math.Log(pRetry)
		case !sb.disobey && m.sameCombination(sb.route, sa.route):
			return math.Log(pRetry / 3) // a combination is jumped again from its first element
		}
		return math.Log((1 - pRetry - pAgain) / (2 * n))
	}
	p := pOther / n
	if a < 0 {
		// The first jump of a ride is as often a lone fence, to settle rhythm and pace, as the first of the route.
		p = 0.65 / n
		if m.lones > 0 {
			p = 0.40 / n
			if m.lone(sb.obstacle) {
				p += 0.25 / float64(m.lones)
			}
		}
		if sb.route == 0 {
			p += 0.35
		}
	} else {
		sa := m.states[a]
		restart, lines := pRestart, pLines
		if sa.route == len(m.in.Plan.Route)-1 {
			restart, lines = pRestartAtEnd, pLinesAtEnd
		}
		if sa.obstacle == sb.obstacle {
			p += pSame
		}
		if sb.route == 0 {
			p += restart
		}
		if sb.route >= 0 && m.begins[sb.route] {
			p += lines / float64(m.lines())
			if m.lineBefore(sa.route) == sb.route {
				p += pLine
			}
		}
		if sa.route >= 0 && sb.route == sa.route+1 {
			p += pNext
		}
		if sa.route >= 0 && sb.route == sa.route+2 {
			p += pSkip
		}
	}
	if sb.disobey {
		p *= pDisobey
	}
	return math.Log(p)
}

// lines is how many lines and rows the route has.
func (m *model) lines() int {
	n := 0
	for _, b := range m.begins {
		if b {
			n++
		}
	}
	return n
}

// lineBefore is where in the route the line or row begins that ends at the place k, or goes on there; -1 for none.
func (m *model) lineBefore(k int) int {
	if k < 1 {
		return -1
	}
	for k--; k >= 0 && !m.begins[k]; k-- {
		if !m.row[k] {
			return -1
		}
	}
	return k
}

// againM is the least way round to one obstacle again: a circle of 8 m radius and some straight in front
// and behind.
const againM = 70.0

// Usual pace on a practice course (5.53 ± 0.15 m/s in a round of elite horses, Tranquille et al. 2017; 6.4 m/s over a course of
// 1.10 m, BMC Veterinary Research 2020, doi 10.1186/s12917-020-02400-9; ponies and green horses slower, down to some 4.6 m/s) and the
// spread of a leg's time about it, as a ratio.
const (
	usualSpeedMS = 5.4
	// A line without a turn has one length; elsewhere the rider chooses the track.
	lineSpread = 0.08
	legSpread  = 0.12
	// Three turns in ten are ridden wider than need be, by a third or so (own assumption, of the order that
	// the practice rounds show: 1.0 to 1.8 times the shortest way).
	pWide, wideRatio, wideSpread = 0.3, 1.35, 0.25
	// paceSpread is how much one horse's pace differs from another's: 4.6 to 6.4 m/s hold nine in ten.
	paceSpread = 0.10
	// Where the way is short, the horse fits its strides and its flights to it: half a stride's time more or less holds nine
	// times in ten (own assumption).
	fitS = 0.18
	// One line in twenty is ridden at another pace than the rest, downhill or towards home.
	pPaced, pacedSpread = 0.05, 0.22
	// legOtherwise is the share of legs that go some other way: a circle, a halt, a chat.
	legOtherwise = 0.12
	// meanGapS is the usual time between two jumps, against which a leg's time is weighed.
	meanGapS = 12.0
)

// baseRate is the density, 1/s, of the next jump a time dt after one, of whatever order. Beyond an hour it stays, as it would
// else be zero within a day.
func baseRate(dtS float64) float64 {
	dtS = math.Min(dtS, 3600)
	return math.Max(math.Exp(-dtS/meanGapS)/meanGapS, math.Exp(-dtS/60)/60)
}

// logTime weighs the time from one middle of flight to the next against the way from a to b.
func (m *model) logTime(a, b int, from, to candidate) float64 {
	dt := to.timeS - from.timeS
	oa, ob := m.states[a].obstacle, m.states[b].obstacle
	if m.states[a].disobey {
		// Round and back again: some 14 s after a run-out, longer after a stop; hardly less than 6 s.
		near := logNormal(dt, math.Log(14), 0.35)
		other := 0.0
		if dt > 8 {
			other = math.Exp(-dt/60) / 60
		}
		return math.Log(0.8*near+0.2*other+1e-9) - math.Log(baseRate(dt))
	}
	mu := math.Log(m.way[oa][ob] / m.paceMS)
	fit := math.Hypot(m.paceSD, fitS/math.Exp(mu))
	near := (1-pPaced)*logNormal(dt, mu, math.Hypot(lineSpread, fit)) + pPaced*logNormal(dt, mu, math.Hypot(pacedSpread, fit))
	if !m.straight[oa][ob] {
		// Where there is a turn the rider may give the horse more room: the shortest way is the least.
		near = (1-pWide)*logNormal(dt, mu+0.04, math.Hypot(legSpread, fit)) +
			pWide*logNormal(dt, mu+math.Log(wideRatio), math.Hypot(wideSpread, m.paceSD))
	}
	if s, ok := m.lineS[[2]int{oa, ob}]; ok {
		near = (1-pPaced)*logNormal(dt, math.Log(s), againSpread) + pPaced*near
	}
	// Otherwise anything from the shortest ride upwards, falling off over a minute.
	other := 0.0
	if dt > 0.75*math.Exp(mu) {
		other = math.Exp(-dt/60) / 60
	}
	base := baseRate(dt)
	// A refusal or a run-out that no candidate shows costs a way round.
	again := 0.0
	if !m.states[b].disobey {
		again = logNormal(dt, math.Log(math.Exp(mu)+14), 0.2)
	}
	v := math.Log((1-legOtherwise)*near+legOtherwise*(0.7*other+0.3*again)+1e-9) - math.Log(base)
	if m.in.TurnedDeg != nil && !m.states[b].disobey {
		if d, sd, ok := m.in.TurnedDeg(from.timeS, to.timeS); ok {
			s := math.Hypot(14, sd)
			e := course.WrapDeg(d - m.turned[oa][ob])
			v += math.Log(0.97*math.Exp(-e*e/(2*s*s))/(s*math.Sqrt(2*math.Pi))+0.03/360) - math.Log(1.0/360)
		}
	}
	return v
}

// logNormal is the density at x > 0 of a log-normal distribution.
func logNormal(x, mu, sd float64) float64 {
	z := (math.Log(x) - mu) / sd
	return math.Exp(-z*z/2) / (x * sd * math.Sqrt(2*math.Pi))
}

// logAt weighs where a candidate lies against an obstacle; 0 without positions.
func (m *model) logAt(c candidate, st int) float64 {
	o := m.in.Plan.Obstacles[m.states[st].obstacle]
	if m.states[st].disobey {
		return m.logBeside(c, o)
	}
	if !c.placed {
		return 0
	}
	s, co := math.Sincos(o.FacingDeg * math.Pi / 180)
	dx, dy := c.at.X-o.At.X, c.at.Y-o.At.Y
	al, ac := dx*s+dy*co-0.35, dx*co-dy*s
	sdl := math.Sqrt(0.45*0.45 + m.slackM*m.slackM*2 + c.at.PlaceSDM*c.at.PlaceSDM)
	sdc := math.Sqrt(sq(place.Defaults().JumpAcrosSD) + m.slackM*m.slackM + c.at.PlaceSDM*c.at.PlaceSDM)
	h := course.WrapDeg(c.at.HeadingDeg() - o.FacingDeg)
	// Horses are presented within some 5 degrees of square; a crossing in a turn is no jump.
	hsd := 6.0 + 20*c.at.PlaceSDM/math.Max(c.at.SpeedMS(), 1)
	const arenaM2, floor = 4000.0, 1e-7
	v := math.Log(math.Exp(-ac*ac/(2*sdc*sdc)-h*h/(2*hsd*hsd))+floor) -
		math.Log(sdc*hsd*2*math.Pi) + math.Log(360)
	if c.jump >= 0 {
		v += math.Log(math.Exp(-al*al/(2*sdl*sdl))+floor) - math.Log(sdl*math.Sqrt(2*math.Pi)) + math.Log(arenaM2)
		return v
	}
	return v + math.Log(faceLineM)
}

// A halt out of a canter between two jumps is some ten times likelier after a refusal than for any other
// reason; before the face of the obstacle that is next, a hundred times. Own assumptions.
const (
	logStop       = 2.5
	logStopBefore = 4.5
)

// faceLineM is the stretch of a face's line on which a track may pass it for no reason.
const faceLineM = 30

// logBeside weighs a candidate as a refusal (it stands in front) or a run-out (it passes beside the
// face, up to 3 m off it).
func (m *model) logBeside(c candidate, o course.Obstacle) float64 {
	switch {
	case c.jump >= 0:
		return math.Inf(-1)
	case c.stop && !c.placed:
		return logStop
	}
	s, co := math.Sincos(o.FacingDeg * math.Pi / 180)
	if c.stop {
		// In front of the face, up to two strides away: the sensor stands that far behind the horse's nose
		// and the horse may have slid or backed.
		al := (c.at.X-o.At.X)*s + (c.at.Y-o.At.Y)*co
		ac := math.Abs((c.at.X-o.At.X)*co - (c.at.Y-o.At.Y)*s)
		off := func(over, sd float64) float64 { return sq(math.Max(over, 0)/math.Hypot(sd, m.slackM)) / 2 }
		return logStopBefore - off(ac-o.WidthM/2, 1) - off(al, 0.8) - off(-6-al, 2) - sq(math.Max(c.at.SpeedMS()-0.8, 0)/0.4)/2
	}
	ac := math.Abs((c.at.X-o.At.X)*co - (c.at.Y-o.At.Y)*s)
	sd := math.Sqrt(0.4*0.4 + m.slackM*m.slackM + c.at.PlaceSDM*c.at.PlaceSDM)
	half := o.WidthM / 2
	inside := phi((ac-half+0.2)/sd) - phi((ac-half-3)/sd)
	h := course.WrapDeg(c.at.HeadingDeg() - o.FacingDeg)
	const hsd = 22.0
	return math.Log(inside/6+1e-6) - h*h/(2*hsd*hsd) - math.Log(hsd*math.Sqrt(2*math.Pi)) + math.Log(360) + math.Log(faceLineM)
}

func sq(x float64) float64 { return x * x }

// phi is the standard normal distribution function.
func phi(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

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
	halts := standstills(laid)
	for i, o := range m.in.Plan.Obstacles {
		if o.Kind == course.Pole {
			continue
		}
		for _, p := range passages(laid, o, o.WidthM/2+4+m.slackM) {
			near, row := false, m.in.HasMotion && m.inRowOf(i, p.timeS, out[:n])
			for _, c := range out[:n] {
				if d := math.Abs(c.timeS - p.timeS); d < sameJumpS && (!row || d < sameInRowS) {
					near = true
				}
			}
			if near && m.in.HasMotion {
				continue
			}
			c := candidate{timeS: p.timeS, jump: -1, only: i, at: p.at, placed: true}
			// Fences are jumped from a canter, seldom from a trot (3.4 m/s), never from a walk.
			c.logOdds = math.Min(math.Max((p.at.SpeedMS()-3.9)/0.25, -6), 1)
			switch {
			case row: // the sensor missed it: over its neighbour the horse came from here, or went on to here
				c.logOdds = missedInRow
			case m.in.HasMotion:
				c.logOdds -= 10
			}
			if !m.brought(laid, o, p.timeS) {
				c.passing = true
			}
			out = append(out, c)
		}
		for _, h := range halts {
			if math.Abs(course.WrapDeg(h.cameDeg-o.FacingDeg)) < 70 && math.Hypot(h.at.X-o.At.X, h.at.Y-o.At.Y) < 15 {
				out = append(out, candidate{timeS: h.timeS, jump: -1, only: i, stop: true, at: h.at, placed: true})
			}
		}
	}
	out = m.withHalts(out)
	sort.SliceStable(out, func(i, j int) bool { return out[i].timeS < out[j].timeS })
	return out
}

const (
	// A passage this near a jump of the sensor is that jump. Elements of a bounce are 0.9 s apart.
	sameJumpS, sameInRowS = 1.2, 0.5
	// missedInRow is the log odds of a jump that the sensor did not show between or beside jumps of the same row, over
	// whose face the track passes straight: a sensor misses one in twenty, and there is no other way through a row.
	missedInRow = -1.5
)

// inRowOf tells whether a passage over an obstacle at a time is one element of a row of which the sensor showed a jump over
// a neighbour, as long before or after as the way between them takes at 3 to 8 m/s.
func (m *model) inRowOf(obstacle int, timeS float64, jumps []candidate) bool {
	for k := 1; k < len(m.row); k++ {
		if !m.row[k] {
			continue
		}
		a, b := m.states[k-1].obstacle, m.states[k].obstacle
		sign, other := 1.0, b
		switch obstacle {
		case a:
		case b:
			sign, other = -1, a
		default:
			continue
		}
		o := m.in.Plan.Obstacles[other]
		s, c := math.Sincos(o.FacingDeg * math.Pi / 180)
		for _, j := range jumps {
			dt := sign * (j.timeS - timeS)
			if j.logOdds < 0 || !j.placed || dt < m.way[a][b]/8 || dt > m.way[a][b]/3 {
				continue
			}
			al, ac := (j.at.X-o.At.X)*s+(j.at.Y-o.At.Y)*c, (j.at.X-o.At.X)*c-(j.at.Y-o.At.Y)*s
			if math.Abs(al) < m.way[a][b]/2 && math.Abs(ac) < o.WidthM/2+m.slackM && math.Abs(course.WrapDeg(j.at.HeadingDeg()-o.FacingDeg)) < 20 {
				return true
			}
		}
	}
	return false
}

// withHalts adds the halts after a canter that the gaits show and no stop of the track accounts for.
func (m *model) withHalts(cands []candidate) []candidate {
	if !m.in.HasMotion {
		return cands
	}
	for k := 1; k < len(m.in.Gaits); k++ {
		g, before := m.in.Gaits[k], m.in.Gaits[k-1]
		if g.Gait != detect.Halt || before.Gait != detect.Canter || before.ToS-before.FromS < 2 {
			continue
		}
		seen := false
		for _, c := range cands {
			if c.stop && math.Abs(c.timeS-g.FromS) < 3 {
				seen = true
			}
		}
		if !seen {
			cands = append(cands, candidate{timeS: g.FromS, jump: -1, only: -1, stop: true})
		}
	}
	return cands
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
					math.Abs(course.WrapDeg(at.HeadingDeg()-o.FacingDeg)) < 55 {
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
	// What lies far from an obstacle was never over it, whatever the rest says: leaving it out keeps a long lesson
	// with many obstacles quick.
	const hopeless = -14
	emit := make([][]float64, n)
	for i, c := range cands {
		emit[i] = make([]float64, s)
		for k := range s {
			if c.only >= 0 && c.only != m.states[k].obstacle {
				emit[i][k] = math.Inf(-1)
				continue
			}
			switch {
			case m.states[k].disobey && c.passing, !m.states[k].disobey && (c.stop || m.isBarred(c)):
				emit[i][k] = math.Inf(-1)
			case m.states[k].disobey:
				emit[i][k] = m.logAt(c, k)
			default:
				emit[i][k] = c.logOdds + m.logAt(c, k)
			}
			if c.placed && emit[i][k] < hopeless {
				emit[i][k] = math.Inf(-1)
			}
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
			if math.IsInf(fwd[i][a], -1) {
				continue
			}
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
		p, anyP := math.Inf(-1), math.Inf(-1)
		for a := range s {
			if m.states[a].disobey == m.states[k].disobey {
				anyP = logAdd(anyP, fwd[i][a]+bwd[i][a]-total)
			}
			if m.states[a].obstacle == m.states[k].obstacle && m.states[a].disobey == m.states[k].disobey {
				p = logAdd(p, fwd[i][a]+bwd[i][a]-total)
			}
		}
		gain := vit[i][k]
		if backI[i][k] >= 0 {
			gain -= vit[backI[i][k]][backK[i][k]]
		}
		out = append(out, decoded{cands[i], k, math.Min(math.Exp(p), 1), math.Min(math.Exp(anyP), 1), gain})
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
