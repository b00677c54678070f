package follow

import (
	"fmt"
	"math"

	"groundline/course"
	"groundline/course/place"
	"groundline/trace"
)

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
		if al < -4 && math.Abs(ac) < 1.5+0.45*(-al) && math.Abs(course.WrapDeg(q.HeadingDeg()-toward)) < 30 {
			return true
		}
	}
	return false
}

// standstill is a moment when the horse, having come at more than a walk, stood or nearly.
type standstill struct {
	timeS   float64
	at      place.Sample
	cameDeg float64 // the heading in which it came
}

// What a standstill is: from more than 2.8 m/s (a trot) to less than 1.6 m/s (a walk) within four seconds. How slow
// and where it stood weighs in [model.logBeside].
const (
	cameMS, stoodMS = 2.8, 1.6
	cameWithinS     = 4.0
)

// standstills are the moments of least speed after each such braking.
func standstills(path *place.Path) []standstill {
	var out []standstill
	for _, q := range path.Pieces {
		braked := math.Inf(-1) // when it last came at more than a trot
		var came float64
		for i := 0; i < len(q.X); i++ {
			t := q.FromS + float64(i)*place.StepS
			v := math.Hypot(q.VX[i], q.VY[i])
			if v > cameMS {
				braked, came = t, math.Atan2(q.VX[i], q.VY[i])*180/math.Pi
				continue
			}
			if v >= stoodMS || t-braked > cameWithinS {
				continue
			}
			// On to the least speed of this slow stretch, or the first near-standstill.
			k := i
			for j := i; j < len(q.X) && float64(j-i)*place.StepS < 3; j++ {
				w := math.Hypot(q.VX[j], q.VY[j])
				if w > cameMS {
					break
				}
				if w < v {
					v, k = w, j
				}
				if w < 0.4 {
					break
				}
			}
			// It refused when it broke out of its pace; where it then stood is what is held against the face.
			at, _ := path.At(q.FromS + float64(k)*place.StepS)
			out = append(out, standstill{t, at, came})
			braked, i = math.Inf(-1), k
		}
	}
	return out
}

// tell works out legs, attempts, rounds and warm-ups.
func (m *model) tell(r *Result) {
	attempts := map[int]int{}
	for i := range r.Efforts {
		e := &r.Efforts[i]
		attempts[e.Obstacle]++
		e.Attempt = attempts[e.Obstacle]
	}
	if !m.in.Found {
		r.Rounds = m.rounds(r.Efforts)
	}
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
	if !m.in.Found {
		m.markWarmUps(r)
	}
	for _, e := range r.Efforts {
		id := m.in.Plan.Obstacles[e.Obstacle].ID
		switch {
		case e.Confidence < 0.8:
			r.Notes = append(r.Notes, trace.Note{Level: "caution",
				What: fmt.Sprintf("%s at %s, %.0f s, is not certain", e.Outcome, id, e.MidS),
				Why:  fmt.Sprintf("the recording gives it a probability of %.0f %%", 100*e.Confidence)})
		case e.OfObstacle < 0.8:
			r.Notes = append(r.Notes, trace.Note{Level: "caution",
				What: fmt.Sprintf("the jump at %.0f s may not have been over %s", e.MidS, id),
				Why:  fmt.Sprintf("times and strides alone fit other obstacles of the plan too: %.0f %% for this one", 100*e.OfObstacle)})
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
	if a < 0 || a > b {
		return false // an obstacle that the route leaves out is in none of its combinations
	}
	for k := a; k < b+1 && k < len(m.in.Plan.Lines); k++ {
		if m.in.Plan.Lines[k].Kind != course.Combination {
			return k == b
		}
	}
	return true
}

// markWarmUps marks what was jumped before any line of the plan was ridden, or alone and out of order.
// A fence jumped several times running by itself is an exercise, not a warm-up, and so is one that the plan
// itself calls single: a lone fence is there to be jumped alone.
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
		if again(i-1) || again(i+1) || m.lone(e.Obstacle) {
			continue
		}
		e.Outcome = WarmUp
	}
}

// lone tells whether the plan itself, not the geometry, calls the obstacle a single fence.
func (m *model) lone(obstacle int) bool {
	for _, l := range m.in.Plan.Lines {
		if l.To == m.in.Plan.Obstacles[obstacle].ID && l.Kind == course.Single && !l.Derived {
			return true
		}
	}
	return false
}
