package follow

import (
	"math"
	"sort"

	"groundline/course/place"
)

// learnPace takes the horse's pace from a decoded sequence: the middle of way over time on the legs that
// the route has.
func (m *model) learnPace(seq []decoded) {
	var v []float64
	for i := 1; i < len(seq); i++ {
		a, b := m.states[seq[i-1].state], m.states[seq[i].state]
		if a.route < 0 || b.route != a.route+1 {
			continue
		}
		x := m.way[a.obstacle][b.obstacle] / (seq[i].cand.timeS - seq[i-1].cand.timeS)
		if x > 0.6*usualSpeedMS && x < 1.5*usualSpeedMS {
			v = append(v, x)
		}
	}
	if len(v) < 3 {
		return
	}
	m.paceMS = place.Median(v)
	m.paceSD = paceSpread / math.Sqrt(1+float64(len(v)))
}

const (
	// againSpread is how much the time of one line differs from go to go, as a ratio: a stride time varies by 2 %
	// (Equine Veterinary Journal 1980; 12:60-65) and take-off and landing by some decimetres of 20 m.
	againSpread = 0.04
	// lineTimeM is the longest way whose time is held to be the same each go: what is ridden as a line, not as a turn.
	lineTimeM = 45.0
)

// decodeLines decodes what has no positions. A line that is ridden again takes the time that it took before, which tells two
// lines of much the same length apart: each line's own time is an unknown, and the set of times that makes the whole likeliest is
// sought, one line after the other, among the times between jumps. Where nothing is ridden again there is nothing to be learned.
func (m *model) decodeLines(cands []candidate) []decoded {
	best := m.decode(cands)
	if len(cands) <= len(m.in.Plan.Route) || len(cands) > 60 {
		return best
	}
	score := m.worth(best)
	gaps := shortGaps(cands)
	for range 2 {
		better := false
		for k := 1; k < len(m.in.Plan.Route); k++ {
			way := [2]int{m.states[k-1].obstacle, m.states[k].obstacle}
			if m.way[way[0]][way[1]] > lineTimeM {
				continue
			}
			had, was := m.lineS[way]
			for _, g := range gaps {
				if math.Abs(math.Log(g*m.paceMS/m.way[way[0]][way[1]])) > 0.5 {
					continue
				}
				m.lineS[way] = g
				if seq := m.decode(cands); m.worth(seq) > score+1e-9 {
					best, score, better = seq, m.worth(seq), true
					had, was = g, true
				}
			}
			if delete(m.lineS, way); was {
				m.lineS[way] = had
			}
		}
		if !better {
			break
		}
	}
	return best
}

// worth is the log likelihood ratio of a sequence in which each line that is ridden more than once, or whose time was set, has a time of
// its own. Such a time costs its prior about the plan's way at the horse's pace, over the width to which its goes determine it
// (Laplace's approximation).
func (m *model) worth(seq []decoded) float64 {
	var sum float64
	goes := make(map[[2]int][]int) // the steps of the sequence that end each way
	var ways [][2]int
	for i, d := range seq {
		sum += d.gain
		if i == 0 {
			continue
		}
		way := [2]int{m.states[seq[i-1].state].obstacle, m.states[d.state].obstacle}
		if goes[way] == nil {
			ways = append(ways, way)
		}
		goes[way] = append(goes[way], i)
	}
	for _, way := range ways {
		steps := goes[way]
		if s, ok := m.lineS[way]; ok {
			sum += m.priceOf(way, s, len(steps))
			continue
		}
		if len(steps) < 2 || m.way[way[0]][way[1]] > lineTimeM {
			continue
		}
		best := math.Inf(-1)
		for _, k := range steps {
			s := seq[k].cand.timeS - seq[k-1].cand.timeS
			v := m.priceOf(way, s, len(steps))
			for _, i := range steps {
				v -= m.logTime(seq[i-1].state, seq[i].state, seq[i-1].cand, seq[i].cand)
			}
			m.lineS[way] = s
			for _, i := range steps {
				v += m.logTime(seq[i-1].state, seq[i].state, seq[i-1].cand, seq[i].cand)
			}
			delete(m.lineS, way)
			best = math.Max(best, v)
		}
		sum += best
	}
	return sum
}

// priceOf is the log of the price of a line's time that so many goes determine.
func (m *model) priceOf(way [2]int, s float64, goes int) float64 {
	mu := math.Log(m.way[way[0]][way[1]] / m.paceMS)
	sd := math.Hypot(lineSpread, math.Hypot(m.paceSD, fitS/math.Exp(mu)))
	z := (math.Log(s) - mu) / sd
	return -z*z/2 - math.Log(sd) + math.Log(againSpread) - math.Log(float64(goes))/2
}

// shortGaps are the times between neighbouring jumps that lines may have taken, each once: the middle of those that lie together.
func shortGaps(cands []candidate) []float64 {
	var all []float64
	last := math.NaN()
	for _, c := range cands {
		if c.jump < 0 {
			continue
		}
		if g := c.timeS - last; g < 12 {
			all = append(all, g)
		}
		last = c.timeS
	}
	sort.Float64s(all)
	var out []float64
	for i := 0; i < len(all); {
		j := i + 1
		for j < len(all) && all[j] < all[i]*(1+3*againSpread) {
			j++
		}
		out = append(out, place.Median(all[i:j]))
		i = j
	}
	return out
}
