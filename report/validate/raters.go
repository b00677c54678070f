package validate

import (
	"math"
	"slices"
)

// Raters is how far two people's labels of the same events agree, before any debrief is looked at.
type Raters struct {
	A string `json:"a"`
	B string `json:"b"`
	// Counts are the lines that both counted; Times the take-offs and landings that both labelled, B less A, of one
	// film's clock.
	Counts Share      `json:"counts"`
	Times  *Agreement `json:"times"` // nil without
	Words  Share      `json:"words"` // gaits and leads given alike
	Slips  []Slip     `json:"slips"`
}

// Slip is a label on which the two disagree: counts or words that differ, and times further apart than 0.1 s.
type Slip struct {
	Event   string  `json:"event"`
	At      string  `json:"at"`
	Attempt int     `json:"attempt"`
	Ride    string  `json:"ride"`
	LabelA  string  `json:"label_a"` // file:line
	LabelB  string  `json:"label_b"`
	A       string  `json:"a_says"`
	B       string  `json:"b_says"`
	ByS     float64 `json:"by_s"` // how far apart the times lie; 0 of counts and words
	// Recording is what the debrief found: it may say which of the two slipped, but was not asked who is right.
	Recording string `json:"recording"`
}

// slipS is how far apart two people's times of one event must lie to be a slip: some three frames at 25 a second.
const slipS = 0.1

// Between holds the labels of the first two raters against each other, over the rides; nil where fewer than two
// labelled the same events. Labels without a ride are taken for one of rides[i].Name.
func Between(rides []RideInput) *Raters {
	var names []string
	for _, in := range rides {
		for _, r := range ratersOf(in.Labels) {
			if !slices.Contains(names, r) {
				names = append(names, r)
			}
		}
	}
	slices.Sort(names)
	if len(names) < 2 {
		return nil
	}
	r := &Raters{A: names[0], B: names[1], Slips: []Slip{}}
	var a, b []float64
	var ride []int
	counts, alike, words, same := 0, 0, 0, 0
	for k, in := range rides {
		for _, pq := range sameEvents(in.Labels, names[0], names[1]) {
			p, q := in.Labels[pq[0]], in.Labels[pq[1]]
			slip := Slip{Event: p.Event, At: where(p), Attempt: p.Attempt, Ride: in.Name, LabelA: p.at(), LabelB: q.at()}
			switch p.Event {
			case Strides:
				counts++
				if *p.Count == *q.Count {
					alike++
					continue
				}
				slip.A, slip.B = number(float64(*p.Count), 0), number(float64(*q.Count), 0)
				slip.Recording = recorded(in, p)
			case Gait, Lead:
				words++
				if p.Value == q.Value {
					same++
					continue
				}
				slip.A, slip.B = p.Value, q.Value
			default:
				a, b, ride = append(a, *p.TimeS), append(b, *q.TimeS), append(ride, k)
				if d := *q.TimeS - *p.TimeS; math.Abs(d) <= slipS {
					continue
				} else {
					slip.ByS = math.Round(1000*d) / 1000
				}
				slip.A, slip.B = number(*p.TimeS, 2), number(*q.TimeS, 2)
			}
			r.Slips = append(r.Slips, slip)
		}
	}
	if counts+words+len(a) == 0 {
		return nil
	}
	r.Counts, r.Words = shareOf(alike, counts), shareOf(same, words)
	if len(a) > 0 {
		ag := agreementOf(a, b, ride, 0)
		r.Times = &ag
	}
	return r
}

// sameEvents pairs labels of two raters that are of one event: of one name and attempt, or close in time.
func sameEvents(labels []Label, a, b string) [][2]int {
	used := map[int]bool{}
	var out [][2]int
	for i, p := range labels {
		if p.Rater != a || p.Event == Contact {
			continue
		}
		best, bestOff := -1, math.Inf(1)
		for k, q := range labels {
			if q.Rater != b || used[k] || q.Event != p.Event || q.Obstacle != p.Obstacle || q.Line() != p.Line() || q.Attempt != p.Attempt {
				continue
			}
			off := 0.0
			if p.TimeS != nil && q.TimeS != nil {
				if off = math.Abs(*p.TimeS - *q.TimeS); off > 1 && (p.Attempt == 0 || where(p) == "") || off > 5 {
					continue
				}
			} else if (p.TimeS == nil) != (q.TimeS == nil) {
				continue
			}
			if off < bestOff {
				best, bestOff = k, off
			}
		}
		if best >= 0 {
			used[best] = true
			out = append(out, [2]int{i, best})
		}
	}
	return out
}

// recorded is the debrief's count of a label's line.
func recorded(in RideInput, l Label) string {
	for _, d := range in.Debrief.Lines {
		if d.From == l.From && d.To == l.To && (l.Attempt == 0 || d.Attempt == l.Attempt) && d.Strides != nil {
			return number(d.Strides.Value, 0)
		}
	}
	return ""
}
