package follow

import (
	"fmt"
	"math"
	"sort"

	"groundline/course"
	"groundline/course/place"
	"groundline/detect"
	"groundline/trace"
)

// A disobedience costs a way round: the horse must be turned and brought to the fence again. So it is
// looked for only where a leg took longer than its way by this much.
const (
	detourRatio = 1.35
	detourMinS  = 5.0
)

// withDisobediences looks between the jumps for refusals (the horse comes, stops before the face and
// is taken away) and run-outs (it passes beside the face), by the rules' own definitions, and puts
// them among the efforts.
func (m *model) withDisobediences(efforts []Effort, path *place.Path) []Effort {
	var out []Effort
	for i, e := range efforts {
		from := math.Inf(-1)
		if i > 0 {
			from = efforts[i-1].MidS
		}
		if path != nil {
			out = append(out, m.between(from, e, i > 0, efforts, i, path)...)
		} else if d, ok := m.stopped(from, e, i > 0, efforts, i); ok {
			out = append(out, d)
		}
		out = append(out, e)
	}
	if path != nil && len(efforts) > 0 {
		// After the last jump a horse may have been taken out of the ring after a refusal at the next one.
		last := efforts[len(efforts)-1]
		if last.RouteIndex >= 0 && last.RouteIndex+1 < len(m.in.Plan.Route) {
			next := Effort{RouteIndex: last.RouteIndex + 1, MidS: math.Inf(1)}
			next.Obstacle = m.states[next.RouteIndex].obstacle
			out = append(out, m.between(last.MidS, next, false, nil, 0, path)...)
		}
	}
	return out
}

// longer tells whether the way to effort i took so much longer than it should that a second
// approach fits in.
func (m *model) longer(from float64, e Effort, known bool, efforts []Effort, i int) bool {
	if !known {
		return true
	}
	way := m.way[efforts[i-1].Obstacle][e.Obstacle] / usualSpeedMS
	dt := e.MidS - from
	return dt > detourRatio*way && dt > way+detourMinS
}

// between are the disobediences at the obstacle of e after from and before e.
func (m *model) between(from float64, e Effort, known bool, efforts []Effort, i int, path *place.Path) []Effort {
	if !known && math.IsInf(from, -1) {
		return nil // walking past fences before the first jump is no disobedience
	}
	if !m.longer(from, e, known, efforts, i) {
		return nil
	}
	o := m.in.Plan.Obstacles[e.Obstacle]
	half := o.WidthM / 2
	var found []Effort
	for _, p := range passages(path, o, half+6) {
		// Beside the face, but brought to it: the last strides before led at it.
		if p.timeS < from+2 || p.timeS > e.MidS-3 || math.Abs(p.acrossM) < half-0.6 {
			continue
		}
		if !m.brought(path, o, p.timeS) {
			continue
		}
		sd := 0.8
		conf := 1 / (1 + math.Exp(-(math.Abs(p.acrossM)-half+0.9)/sd*1.5))
		found = append(found, Effort{Obstacle: e.Obstacle, RouteIndex: e.RouteIndex, Outcome: RanOut, Jump: -1,
			MidS: p.timeS, Confidence: conf})
	}
	for _, h := range stops(path, o, half) {
		if h.timeS < from+2 || h.timeS > e.MidS-3 {
			continue
		}
		dup := false
		for _, f := range found {
			if math.Abs(f.MidS-h.timeS) < 5 {
				dup = true
			}
		}
		if !dup {
			found = append(found, Effort{Obstacle: e.Obstacle, RouteIndex: e.RouteIndex, Outcome: Refused, Jump: -1,
				MidS: h.timeS, Confidence: 0.9})
		}
	}
	sort.SliceStable(found, func(a, b int) bool { return found[a].MidS < found[b].MidS })
	return found
}

// brought tells whether the horse was ridden at the obstacle before passing it at time t: two to
// four seconds earlier it was in front of it, within a cone of 30 degrees, and heading for it.
func (m *model) brought(path *place.Path, o course.Obstacle, t float64) bool {
	s, c := math.Sincos(o.FacingDeg * math.Pi / 180)
	for _, b := range []float64{1.0, 1.5, 2.0, 2.5} {
		q, ok := path.At(t - b)
		if !ok {
			continue
		}
		al := (q.X-o.At.X)*s + (q.Y-o.At.Y)*c
		ac := (q.X-o.At.X)*c - (q.Y-o.At.Y)*s
		toward := math.Atan2(o.At.X-q.X, o.At.Y-q.Y) * 180 / math.Pi
		if al < -4 && math.Abs(ac) < 1.5+0.45*(-al) && math.Abs(wrapDeg(q.HeadingDeg()-toward)) < 30 {
			return true
		}
	}
	return false
}

// stops are the moments when the horse stands (or nearly) before the face of the obstacle after having
// come at it at more than a walk.
func stops(path *place.Path, o course.Obstacle, half float64) []passage {
	s, c := math.Sincos(o.FacingDeg * math.Pi / 180)
	var out []passage
	for _, q := range path.Pieces {
		in := false
		for i := range q.X {
			v := math.Hypot(q.VX[i], q.VY[i])
			dx, dy := q.X[i]-o.At.X, q.Y[i]-o.At.Y
			al, ac := dx*s+dy*c, dx*c-dy*s
			standing := v < 1.3 && al < 0.8 && al > -9 && math.Abs(ac) < half+1.5
			if standing && !in {
				t := q.FromS + float64(i)*place.StepS
				// It came: some seconds before it was moving at the fence at a trot or canter.
				for _, b := range []float64{1.5, 2, 2.5, 3, 4} {
					p, ok := path.At(t - b)
					if ok && p.SpeedMS() > 2.8 && math.Abs(wrapDeg(p.HeadingDeg()-o.FacingDeg)) < 60 {
						at, _ := path.At(t)
						out = append(out, passage{t, at, ac})
						break
					}
				}
			}
			in = standing
		}
	}
	return out
}

// stopped is a refusal seen by a motion sensor alone: a leg far longer than its way, with a canter that
// ends in a halt and is taken up again. Where it happened the time tells only roughly.
func (m *model) stopped(from float64, e Effort, known bool, efforts []Effort, i int) (Effort, bool) {
	if !known || !m.longer(from, e, known, efforts, i) {
		return Effort{}, false
	}
	for k, g := range m.in.Gaits {
		if g.Gait != detect.Halt || g.FromS < from+1 || g.ToS > e.MidS-3 || k == 0 {
			continue
		}
		if p := m.in.Gaits[k-1]; p.Gait == detect.Canter && g.FromS-p.FromS > 2 {
			return Effort{Obstacle: e.Obstacle, RouteIndex: e.RouteIndex, Outcome: Refused, Jump: -1, MidS: g.FromS, Confidence: 0.6}, true
		}
	}
	return Effort{}, false
}

// tell works out legs, attempts, rounds and warm-ups.
func (m *model) tell(r *Result) {
	attempts := map[int]int{}
	for i := range r.Efforts {
		e := &r.Efforts[i]
		attempts[e.Obstacle]++
		e.Attempt = attempts[e.Obstacle]
	}
	r.Rounds = m.rounds(r.Efforts)
	for n, rd := range r.Rounds {
		for i := rd.FirstEffort; i <= rd.LastEffort; i++ {
			r.Efforts[i].Round = n + 1
		}
	}
	type pair struct{ a, b int }
	rides := map[pair]int{}
	prev := -1
	for i, e := range r.Efforts {
		if e.Outcome != Jumped {
			prev = -1
			continue
		}
		if prev >= 0 {
			f := r.Efforts[prev]
			leg := Leg{From: prev, To: i, RouteLine: m.routeLine(f, e)}
			if f.Round == e.Round {
				leg.Round = e.Round
			}
			rides[pair{f.Obstacle, e.Obstacle}]++
			leg.Attempt = rides[pair{f.Obstacle, e.Obstacle}]
			r.Legs = append(r.Legs, leg)
		}
		prev = i
	}
	m.markWarmUps(r)
	for _, e := range r.Efforts {
		if e.Confidence < 0.8 {
			id := m.in.Plan.Obstacles[e.Obstacle].ID
			r.Notes = append(r.Notes, trace.Note{Level: "caution",
				What: fmt.Sprintf("obstacle %s at %.1f s is not certain", id, e.MidS),
				Why:  fmt.Sprintf("the recording gives it a probability of %.0f %% (%s)", 100*e.Confidence, e.Outcome)})
		}
	}
}

// routeLine is the line of the plan that leads from effort a to effort b, -1 if there is none.
func (m *model) routeLine(a, b Effort) int {
	at := func(k int) bool {
		return k >= 0 && k+1 < len(m.in.Plan.Route) &&
			m.states[k].obstacle == a.Obstacle && m.states[k+1].obstacle == b.Obstacle
	}
	if at(a.RouteIndex) {
		return a.RouteIndex
	}
	for k := range m.in.Plan.Route {
		if at(k) {
			return k
		}
	}
	return -1
}

// rounds are the goes at the whole route: from its first obstacle on in its order, to its last one or
// nearly (at least four fifths of it), with what was left out told.
func (m *model) rounds(efforts []Effort) []Round {
	n := len(m.in.Plan.Route)
	var out []Round
	for i := 0; i < len(efforts); {
		if efforts[i].RouteIndex > 1 || efforts[i].RouteIndex < 0 {
			i++
			continue
		}
		rd := Round{FirstEffort: i, LastEffort: i}
		seen := make([]bool, n)
		k := efforts[i].RouteIndex
		count := 0
		j := i
		for ; j < len(efforts); j++ {
			e := efforts[j]
			if e.RouteIndex < k || e.RouteIndex > k+2 {
				// After a refusal in a combination its first element is jumped again (common practice by
				// the rules): going back there ends no round.
				if !(e.RouteIndex >= 0 && j > i && efforts[j-1].Outcome != Jumped && m.sameCombination(e.RouteIndex, k)) {
					break
				}
			}
			if j > i && e.RouteIndex == k && efforts[j-1].Outcome == Jumped {
				break // the same again: an exercise, or a new start
			}
			if e.Outcome == Jumped {
				if !seen[e.RouteIndex] {
					count++
				}
				seen[e.RouteIndex] = true
				k = e.RouteIndex
				rd.LastEffort = j
			} else {
				rd.Disobediences++
			}
		}
		if count*5 >= n*4 && k >= n-2 && n > 1 {
			for q, s := range seen {
				if !s {
					rd.Missed = append(rd.Missed, q)
				}
			}
			rd.Complete = len(rd.Missed) == 0
			rd.Disobediences = 0
			for _, e := range efforts[rd.FirstEffort : rd.LastEffort+1] {
				if e.Outcome != Jumped {
					rd.Disobediences++
				}
			}
			out = append(out, rd)
			i = rd.LastEffort + 1
			continue
		}
		i++
	}
	return out
}

// sameCombination tells whether two places of the route are elements of one combination, a before b.
func (m *model) sameCombination(a, b int) bool {
	if a > b {
		return false
	}
	for k := a; k < b+1 && k < len(m.in.Plan.Lines); k++ {
		if m.in.Plan.Lines[k].Kind != course.Combination {
			return k == b
		}
	}
	return true
}

// markWarmUps marks what was jumped before any line of the plan was ridden, or alone and out of order.
// A fence jumped several times running by itself is an exercise, not a warm-up.
func (m *model) markWarmUps(r *Result) {
	inLine := make([]bool, len(r.Efforts))
	for _, l := range r.Legs {
		if l.RouteLine >= 0 {
			inLine[l.From], inLine[l.To] = true, true
		}
	}
	for i := range r.Efforts {
		e := &r.Efforts[i]
		if e.Outcome != Jumped || e.Round > 0 || inLine[i] {
			continue
		}
		again := func(j int) bool {
			return j >= 0 && j < len(r.Efforts) && r.Efforts[j].Obstacle == e.Obstacle && !inLine[j]
		}
		if again(i-1) || again(i+1) {
			continue
		}
		e.Outcome = WarmUp
	}
}
