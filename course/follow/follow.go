// Package follow reads from a ride which obstacle was jumped when.
//
// A recording is a lesson, not a tidy round: walking in, warm-up fences, one line
// three times, a refusal and another go, a whole round. So the jumps that a
// motion sensor found, and the passages over obstacles that a track shows, are
// candidates; a hidden Markov model over them, whose states are the places in the
// route, picks the sequence that goes best with where the horse was, which way
// it went, how long it took from one to the next and how people ride a route
// ([Ride]). The same model runs without positions, on times, strides and turns
// alone. The plan is laid under the ride while it is followed (package place).
package follow

import (
	"errors"
	"math"
	"sort"

	"groundline/course"
	"groundline/course/place"
	"groundline/detect"
	"groundline/trace"
)

// Outcome is what became of an effort.
type Outcome string

// The outcomes of formats.md: a warm-up was jumped before any line of the plan or alone and out of
// order.
const (
	Jumped  Outcome = "jumped"
	Refused Outcome = "refused"
	RanOut  Outcome = "ran out"
	WarmUp  Outcome = "warm-up"
)

// Effort is one obstacle taken, or tried.
type Effort struct {
	Obstacle   int // index in Plan.Obstacles
	RouteIndex int // index in Plan.Route, -1 for an obstacle that the route leaves out
	Outcome    Outcome
	// Jump is the index in Input.Jumps; -1 where no motion sensor saw it.
	Jump int
	// MidS is the middle of the flight; for a refusal or run-out the moment of it.
	MidS float64
	// Round counts whole rounds from 1; 0 for what belongs to none. Attempt counts the efforts
	// at this obstacle, from 1.
	Round, Attempt int
	// Confidence is the probability that an obstacle was jumped (or refused) then, OfObstacle that
	// it was this one.
	Confidence, OfObstacle float64
}

// Leg is a way ridden from one jump to the next without a disobedience between.
type Leg struct {
	From, To int // indices in Result.Efforts
	// RouteLine is the index in Plan.Lines; -1 for a way that the route does not have.
	RouteLine int
	Round     int
	Attempt   int // counts the rides of this way, from 1
}

// Round is one go at the whole route.
type Round struct {
	FirstEffort, LastEffort int // indices in Result.Efforts
	Complete                bool
	Missed                  []int // indices in Plan.Route
	Disobediences           int
}

// Result is the ride as the plan sees it.
type Result struct {
	Efforts []Effort
	Legs    []Leg
	Rounds  []Round
	// Placement and Path are nil without positions. Path is laid onto the plan.
	Placement *place.Placement
	Path      *place.Path
	// Unplaced are jumps of the sensor that no obstacle of the plan accounts for.
	Unplaced []int
	Notes    []trace.Note

	score float64 // log likelihood ratio of the whole reading
}

// Input is what is known of the ride.
type Input struct {
	Plan *course.Plan
	// Path is the track in the plan's axes as recorded, not laid; nil without positions.
	Path *place.Path
	// Jumps are what a motion sensor found, on the clock of Path; HasMotion tells that there was one.
	Jumps     []detect.Jump
	HasMotion bool
	// Gaits are from motion where there is one, else from positions.
	Gaits []detect.Span
	// TurnedDeg is how far the horse turned between two instants, left positive, by the gyroscope; nil
	// without one.
	TurnedDeg func(fromS, toS float64) (deg, sd float64, ok bool)
	// Ways are the plan's ways; nil: worked out.
	Ways *Ways
	// Found tells that the plan was found in the ride: its route is a guess, so nothing is held against it, no round,
	// no warm-up and no disobedience.
	Found bool
	// Loose tells that Path lies in the plan's axes only to some degrees and metres.
	Loose bool
}

// ErrNoRoute is returned for a plan whose route has no obstacle to jump.
var ErrNoRoute = errors.New("follow: the plan's route has no obstacle")

// Ride follows the route through the ride.
func Ride(in Input) (*Result, error) {
	if len(in.Plan.Route) == 0 || len(in.Plan.Obstacles) == 0 {
		return nil, ErrNoRoute
	}
	m := newModel(in)
	res := &Result{}
	if in.Path == nil {
		cands := m.withHalts(m.candidatesFromJumps(nil))
		sort.SliceStable(cands, func(i, j int) bool { return cands[i].timeS < cands[j].timeS })
		m.learnPace(m.decode(cands))
		seq := m.decodeLines(cands)
		for _, d := range seq {
			res.score += d.gain
		}
		res.collect(m, seq)
		return res, nil
	}
	best := m.placeAndDecode(in)
	res.Placement, res.Path, res.score = best.p, best.path, best.score
	res.collect(m, best.seq)
	return res, nil
}

// mirrorGain is how much likelier, as a logarithm, the ride must be with every turn the other way before the
// gyroscope is taken for a mirrored one.
const mirrorGain = 5

// RideEitherWay is [Ride] for a motion sensor alone whose axes may be left-handed: some devices tell the
// acceleration with the opposite sign, and up, and with it left and right, is then taken the wrong way round. It
// tells whether the ride fits the plan far better with every turn mirrored; the result is that of the better way.
func RideEitherWay(in Input) (res *Result, mirrored bool, err error) {
	res, err = Ride(in)
	if err != nil || in.TurnedDeg == nil || in.Path != nil {
		return res, false, err
	}
	other := in
	other.TurnedDeg = func(fromS, toS float64) (float64, float64, bool) {
		d, sd, ok := in.TurnedDeg(fromS, toS)
		return -d, sd, ok
	}
	if r, err := Ride(other); err == nil && r.score > res.score+mirrorGain {
		return r, true, nil
	}
	return res, false, nil
}

// collect turns the decoded sequence into efforts, legs and rounds.
func (r *Result) collect(m *model, seq []decoded) {
	used := map[int]bool{}
	for _, d := range seq {
		e := Effort{Obstacle: m.states[d.state].obstacle, RouteIndex: m.states[d.state].route,
			Outcome: Jumped, Jump: d.cand.jump, MidS: d.cand.timeS, Confidence: d.any, OfObstacle: d.p}
		if e.Jump >= 0 {
			used[e.Jump] = true
		}
		if m.states[d.state].disobey {
			e.Outcome = RanOut
			if d.cand.stop {
				e.Outcome = Refused
			}
		}
		r.Efforts = append(r.Efforts, e)
	}
	for j := range m.in.Jumps {
		if !used[j] && m.in.Jumps[j].Confidence >= 0.5 {
			r.Unplaced = append(r.Unplaced, j)
		}
	}
	m.tell(r)
}

// centreOf is the middle of the plan's obstacles.
func centreOf(p *course.Plan) course.Point {
	var c course.Point
	for _, o := range p.Obstacles {
		c.X += o.At.X / float64(len(p.Obstacles))
		c.Y += o.At.Y / float64(len(p.Obstacles))
	}
	return c
}

// reading is one way to read the ride: where the course lies and what was jumped.
type reading struct {
	p     *place.Placement
	refit func() (*place.Placement, error) // the placement with the receiver's restlessness found from the ride
	path  *place.Path
	seq   []decoded
	score float64
}

// placeAndDecode finds the shift, the sequence and the placement together: from several first
// guesses of the shift the sequence is decoded and the plan placed by it, again until nothing
// moves; the guess whose sequence is likeliest wins. A track that passes one obstacle twice within
// half a minute may have run out at it the first time; where no sensor tells, that reading is
// worked out too, with a placement of its own.
func (m *model) placeAndDecode(in Input) reading {
	best := reading{score: math.Inf(-1)}
	for _, s := range m.firstShifts(in.Path) {
		guess := &place.Path{}
		for _, q := range in.Path.Pieces {
			r := q
			r.X, r.Y = make([]float64, len(q.X)), make([]float64, len(q.Y))
			for i := range q.X {
				r.X[i], r.Y[i] = q.X[i]-s.dx, q.Y[i]-s.dy
			}
			guess.Pieces = append(guess.Pieces, r)
		}
		m.slackM = 1.6
		if r := m.settle(in, guess); r.score > best.score {
			best = r
		}
	}
	for range 4 {
		if in.HasMotion || best.p == nil || m.hasty {
			break
		}
		better := best
		for i, d := range best.seq {
			for _, e := range best.seq[i+1:] {
				if e.cand.timeS-d.cand.timeS > 30 || m.states[e.state] != m.states[d.state] || m.states[d.state].disobey || !m.nearEdge(d) {
					continue
				}
				m.barred = append(m.barred, bar{m.states[d.state].obstacle, d.cand.timeS})
				m.slackM = 1.0
				if r := m.settle(in, best.path); r.score > better.score {
					better = r
				}
				m.barred = m.barred[:len(m.barred)-1]
			}
		}
		if better.score <= best.score {
			break
		}
		best = better
	}
	if best.p != nil && !m.hasty {
		if p, err := best.refit(); err == nil {
			best.p, best.path = p, p.Lay(in.Path)
		}
	}
	return best
}

// looseTurnDeg is how far a pose found by vote may be turned.
const looseTurnDeg = 5

// nearEdge tells whether a passage was near the edge of the face or beyond it, where a creeping receiver may
// have pushed a run-out.
func (m *model) nearEdge(d decoded) bool {
	o := m.in.Plan.Obstacles[m.states[d.state].obstacle]
	s, c := math.Sincos(o.FacingDeg * math.Pi / 180)
	return d.cand.jump < 0 && math.Abs((d.cand.at.X-o.At.X)*c-(d.cand.at.Y-o.At.Y)*s) > o.WidthM/2-1
}

// settle decodes and places in turn, from a first laid path, until the sequence stays.
func (m *model) settle(in Input, laid *place.Path) reading {
	centre := centreOf(in.Plan)
	r := reading{path: laid, score: math.Inf(-1)}
	lag := 0.0
	last := ""
	for iter := range 6 {
		r.seq = m.decode(m.candidates(r.path))
		key := keyOf(r.seq)
		if iter > 1 && key == last {
			break
		}
		last = key
		var overs []place.Over
		for _, d := range r.seq {
			if d.p < 0.5 && iter > 0 || m.states[d.state].disobey {
				continue
			}
			at, ok := in.Path.At(d.cand.pathS(lag))
			if !ok {
				continue
			}
			overs = append(overs, place.Over{MidS: d.cand.timeS, Obstacle: in.Plan.Obstacles[m.states[d.state].obstacle],
				At: at, Timed: d.cand.jump >= 0})
		}
		opt := place.For(in.Path.RateHz)
		if in.Loose {
			opt.TurnSDDeg = looseTurnDeg
		}
		// How restless the receiver is matters while it is still sought which passages were jumps; where a
		// sensor tells, and in long lessons, the usual will do until the end.
		final := opt
		if in.HasMotion || m.hasty || len(overs) > 60 {
			opt.WanderM = opt.WanderUsual
		}
		q, err := place.Fit(overs, centre, opt)
		if err != nil {
			break
		}
		r.p, r.refit = q, func() (*place.Placement, error) { return place.Fit(overs, centre, final) }
		lag = 0
		if in.HasMotion {
			lag = q.LagS.Value
		}
		r.path = q.Lay(in.Path)
		m.slackM = 0.35
	}
	if r.p == nil {
		return r
	}
	r.score = r.p.LogFit
	for _, d := range r.seq {
		r.score += d.gain
	}
	return r
}

func keyOf(seq []decoded) string {
	b := make([]byte, 0, len(seq)*5)
	for _, d := range seq {
		t := int(math.Round(d.cand.timeS * 2))
		b = append(b, byte(d.state), byte(t), byte(t>>8), ' ')
	}
	return string(b)
}

type shift struct{ dx, dy, score float64 }

// firstShifts are the likeliest constant offsets of the receiver: on a grid of half a metre over
// ±9 m, each is scored by how well the jumps (or, without a motion sensor, the passages) fall on
// obstacles in their direction.
func (m *model) firstShifts(path *place.Path) []shift {
	const reach, step = 9.0, 0.5
	type vote struct {
		x, y   float64 // residual in the plan's axes
		s, c   float64 // facing
		timed  bool
		weight float64
		group  int
	}
	var votes []vote
	groups := 0
	add := func(s place.Sample, o course.Obstacle, timed bool, w float64, g int) {
		if math.Abs(course.WrapDeg(s.HeadingDeg()-o.FacingDeg)) > 50 {
			return
		}
		dx, dy := s.X-o.At.X, s.Y-o.At.Y
		if math.Hypot(dx, dy) > reach*1.5+2 {
			return
		}
		si, co := math.Sincos(o.FacingDeg * math.Pi / 180)
		votes = append(votes, vote{dx, dy, si, co, timed, w, g})
	}
	if m.in.HasMotion {
		for _, j := range m.in.Jumps {
			s, ok := path.At(midS(j))
			if !ok || j.Confidence < 0.1 {
				continue
			}
			for _, o := range m.in.Plan.Obstacles {
				add(s, o, true, j.Confidence, groups)
			}
			groups++
		}
	} else {
		for i := range m.in.Plan.Obstacles {
			if !m.inRoute[i] {
				continue
			}
			for _, c := range passages(path, m.in.Plan.Obstacles[i], reach+3) {
				add(c.at, m.in.Plan.Obstacles[i], false, 1, i)
			}
		}
		groups = len(m.in.Plan.Obstacles)
	}
	var all []shift
	best := make([]float64, groups)
	for dx := -reach; dx <= reach; dx += step {
		for dy := -reach; dy <= reach; dy += step {
			for i := range best {
				best[i] = 0
			}
			for _, v := range votes {
				x, y := v.x-dx, v.y-dy
				al, ac := x*v.s+y*v.c, x*v.c-y*v.s
				q := ac * ac / (2 * 1.1 * 1.1)
				if v.timed {
					al += 1 // a late receiver shows the jump up to 3 m early along the track
					q += al * al / (2 * 2 * 2)
				}
				if g := v.weight * math.Exp(-q); g > best[v.group] {
					best[v.group] = g
				}
			}
			sc := -(dx*dx + dy*dy) / (2 * 5 * 5)
			for _, g := range best {
				sc += 2 * g
			}
			all = append(all, shift{dx, dy, sc})
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].score > all[j].score })
	var out []shift
	for _, s := range all {
		far := true
		for _, t := range out {
			if math.Hypot(s.dx-t.dx, s.dy-t.dy) < 2.1 {
				far = false
			}
		}
		if far {
			out = append(out, s)
		}
		if len(out) == 4 {
			break
		}
	}
	return out
}

func midS(j detect.Jump) float64 { return (j.TakeoffS.Value + j.LandingS.Value) / 2 }
