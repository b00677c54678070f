package validate

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"groundline/report"
	"groundline/trace"
)

// Clock brings the film's clock to the ride's: film = OffsetS + (1 + DriftPPM/1e6) ride.
type Clock struct {
	OffsetS  *trace.Estimate `json:"offset_s"`
	DriftPPM *trace.Estimate `json:"drift_ppm"` // nil where too few events, or too short a time, to see it
	Events   int             `json:"events"`    // take-offs and landings that agreed
	Given    bool            `json:"given"`     // the offset was given, not found
}

// at is a ride's time on the film's clock.
func (c *Clock) at(rideS float64) float64 {
	v := c.OffsetS.Value + rideS
	if c.DriftPPM != nil {
		v += c.DriftPPM.Value / 1e6 * rideS
	}
	return v
}

// ClockError says why the film's clock can't be brought to the ride's.
type ClockError struct {
	At  string // file:line of the label that shows it; "" for all
	Why string
	Do  string
}

// Error is one line.
func (e *ClockError) Error() string {
	s := "the film's clock can't be matched to the ride's: " + e.Why
	if e.At != "" {
		s = e.At + ": " + s
	}
	return s + "; " + e.Do
}

// tie is a label's time beside the debrief's time of what may be the same event.
type tie struct {
	label, effort int
	filmS, rideS  float64
}

const (
	// voteS is how far events may lie apart under one offset and still agree on it: a slow or quick clock of 300
	// millionths over ten minutes, a label of three frames and a take-off of 50 ms together.
	voteS = 0.35
	// leastTies is how many events must agree: two could by chance.
	leastTies = 4
	// rivalS is how far another offset must lie to be another one.
	rivalS = 1.5
	// driftFromS and driftTies are what a drift needs to be seen at all: over a minute, an error of 40 ms a label is
	// 700 millionths of a single pair.
	driftFromS, driftTies = 60.0, 8
	// maxDriftPPM is more than any quartz is off (common practice: 100 at the worst).
	maxDriftPPM = 1000.0
	// jumpS is a step of the film's clock that can't be a slip of one label.
	jumpS = 0.4
)

// filmRates are the ratios of frame rates that are confused with each other.
func filmRates() []float64 {
	var out []float64
	rates := []float64{24, 25, 30, 50, 60, 100, 120, 240}
	for _, a := range rates {
		for _, b := range rates {
			if a != b && !slices.ContainsFunc(out, func(x float64) bool { return math.Abs(x-a/b) < 1e-6 }) {
				out = append(out, a/b)
			}
		}
	}
	return out
}

// Match finds the clock by the take-offs and landings that labels and debrief share: the offset that most events
// agree on, then a line through these (Theil 1950, Sen 1968, robust against slips). It is refused, as a
// [*ClockError], where too few agree, where another offset fits nearly as well, where the film's clock jumps, and
// where the frames were counted at another rate than said. offsetS, where not nil, is taken as it is.
func Match(labels []Label, d *report.Debrief, offsetS *float64) (*Clock, error) {
	ties := tiesOf(labels, d, false)
	if offsetS != nil {
		e := trace.Exactly(*offsetS)
		n := 0
		for _, t := range ties {
			if math.Abs(t.filmS-t.rideS-*offsetS) < voteS {
				n++
			}
		}
		return &Clock{OffsetS: &e, Events: n, Given: true}, nil
	}
	// Labels that name the attempt are held to it, unless the debrief missed a go and counts on from there.
	if strict := tiesOf(labels, d, true); len(strict) < len(ties) && distinct(agreeing(strict, 1)) >= leastTies {
		ties = strict
	}
	found := agreeing(ties, 1)
	if rate, n := likeliestRate(ties); n >= max(4, 2*distinct(found)) {
		return nil, &ClockError{Why: fmt.Sprintf("its times run %.4g times as fast as the ride's", rate),
			Do: "check the film's frames a second (--fps), and that the film was not slowed down"}
	}
	if len(found) < leastTies {
		return nil, &ClockError{Why: fmt.Sprintf("%d take-offs and landings agree on one offset, expected %d or more", len(found), leastTies),
			Do: "label more of them, check that the labels are of this ride, or give the offset (--offset)"}
	}
	best := offsetOf(found)
	var rest []tie
	for _, t := range ties {
		if math.Abs(t.filmS-t.rideS-best) > rivalS {
			rest = append(rest, t)
		}
	}
	if at, stepS, ok := jumped(found, labels, rest); ok {
		return nil, &ClockError{At: labels[at].at(), Why: fmt.Sprintf("from here on its times are %.1f s off what they were before", stepS),
			Do: "label the pieces of a cut film as films of their own"}
	}
	if rival := agreeing(rest, 1); 5*distinct(rival) >= 4*distinct(found) {
		return nil, &ClockError{Why: fmt.Sprintf("an offset of %.1f s fits as well as one of %.1f s (%d and %d events)",
			offsetOf(rival), best, distinct(rival), distinct(found)),
			Do: "name the obstacles in the labels, label more events, or give the offset (--offset)"}
	}
	return fitClock(found), nil
}

// likeliestRate is the confusion of frame rates that most efforts agree on, and how many do.
func likeliestRate(ties []tie) (rate float64, n int) {
	for _, r := range filmRates() {
		if k := distinct(agreeing(ties, r)); k > n {
			rate, n = r, k
		}
	}
	return rate, n
}

// tiesOf are all pairs of a label and an effort that may be one event: of one obstacle where the label names it, and
// of one attempt where it names that and goes says so.
func tiesOf(labels []Label, d *report.Debrief, goes bool) []tie {
	var out []tie
	for i, l := range labels {
		if l.TimeS == nil || l.Event != Takeoff && l.Event != Landing {
			continue
		}
		for k, e := range d.Efforts {
			at := e.TakeoffS
			if l.Event == Landing {
				at = e.LandingS
			}
			if at == nil || e.Outcome == "refused" || e.Outcome == "ran out" {
				continue
			}
			if l.Obstacle != "" && (e.Obstacle == nil || *e.Obstacle != l.Obstacle) {
				continue
			}
			if goes && l.Attempt != 0 && l.Attempt != e.Attempt {
				continue
			}
			out = append(out, tie{i, k, *l.TimeS, at.Value})
		}
	}
	return out
}

// agreeing are the ties that the most popular offset has within voteS, at most one for each label.
func agreeing(ties []tie, rate float64) []tie {
	off := make([]float64, len(ties))
	order := make([]int, len(ties))
	for i, t := range ties {
		off[i], order[i] = t.filmS-rate*t.rideS, i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(off[a], off[b]) })
	bestN, from, to := 0, 0, 0
	count := map[int]int{} // of each label within the window
	j := 0
	for i := range order {
		for ; j < len(order) && off[order[j]] <= off[order[i]]+2*voteS; j++ {
			count[ties[order[j]].label]++
		}
		if len(count) > bestN {
			bestN, from, to = len(count), i, j
		}
		l := ties[order[i]].label
		if count[l]--; count[l] == 0 {
			delete(count, l)
		}
	}
	var mid float64
	if to > from {
		mid = off[order[(from+to)/2]]
	}
	best := map[int]tie{}
	for _, k := range order[from:to] {
		t := ties[k]
		if o, ok := best[t.label]; !ok || math.Abs(off[k]-mid) < math.Abs(o.filmS-rate*o.rideS-mid) {
			best[t.label] = t
		}
	}
	out := make([]tie, 0, len(best))
	for _, t := range best {
		out = append(out, t)
	}
	slices.SortFunc(out, func(a, b tie) int { return cmp.Or(cmp.Compare(a.rideS, b.rideS), a.label-b.label) })
	return out
}

// distinct is how many efforts the ties are of.
func distinct(ties []tie) int {
	seen := map[int]bool{}
	for _, t := range ties {
		seen[t.effort] = true
	}
	return len(seen)
}

func offsetOf(ties []tie) float64 {
	x := make([]float64, len(ties))
	for i, t := range ties {
		x[i] = t.filmS - t.rideS
	}
	return median(x)
}

// jumped looks for a label from which on the events agree on another offset: two efforts and more on each side.
func jumped(found []tie, labels []Label, rest []tie) (at int, stepS float64, ok bool) {
	other := agreeing(rest, 1)
	if distinct(other) < 3 {
		return 0, 0, false
	}
	// What the other offset explains lies wholly after, or before, what the first does.
	first, second := found, other
	if other[0].rideS < found[0].rideS {
		first, second = other, found
	}
	last := first[len(first)-1].rideS
	after := 0
	for _, t := range second {
		if t.rideS > last {
			after++
		}
	}
	step := offsetOf(second) - offsetOf(first)
	if after*5 < len(second)*4 || math.Abs(step) < jumpS {
		return 0, 0, false
	}
	return second[0].label, step, true
}

// fitClock is the line through the ties.
func fitClock(ties []tie) *Clock {
	drift, off := line(ties)
	res := make([]float64, len(ties))
	for i, t := range ties {
		res[i] = t.filmS - t.rideS - off - drift*t.rideS
	}
	sd := spread(res)
	n := float64(len(ties))
	mean, ss := 0.0, 0.0
	for _, t := range ties {
		mean += t.rideS / n
	}
	for _, t := range ties {
		ss += sq(t.rideS - mean)
	}
	c := &Clock{Events: len(ties)}
	// The median's standard error is 1.2533 times the mean's (normal errors).
	e := trace.FromSD(off, 1.2533*sd/math.Sqrt(n))
	if canDrift(ties) {
		p := trace.FromSD(1e6*drift, 1e6*1.2533*sd/math.Sqrt(ss))
		c.DriftPPM = &p
		e = trace.FromSD(off, math.Hypot(1.2533*sd/math.Sqrt(n), p.SD()/1e6*mean))
	}
	c.OffsetS = &e
	return c
}

func canDrift(ties []tie) bool {
	return len(ties) >= driftTies && ties[len(ties)-1].rideS-ties[0].rideS >= driftFromS
}

// line is the drift (Theil–Sen) and offset of film - ride over ride; drift 0 where too little shows it.
func line(ties []tie) (drift, off float64) {
	if canDrift(ties) {
		// Every 1/k-th pair where there are many: the median of ten thousand slopes is as good.
		n := len(ties)
		step := 1 + n*n/20_000
		var slopes []float64
		for i := range ties {
			for j := i + 1; j < n; j++ {
				if dt := ties[j].rideS - ties[i].rideS; dt > driftFromS/4 && (i+j)%step == 0 {
					slopes = append(slopes, (ties[j].filmS-ties[j].rideS-ties[i].filmS+ties[i].rideS)/dt)
				}
			}
		}
		if len(slopes) > 0 {
			drift = max(-maxDriftPPM/1e6, min(maxDriftPPM/1e6, median(slopes)))
		}
	}
	x := make([]float64, len(ties))
	for i, t := range ties {
		x[i] = t.filmS - t.rideS - drift*t.rideS
	}
	return drift, median(x)
}

// clocked gives each label's time on the ride's clock: by the clock of all events but those of its own effort, so
// that no event is judged by itself.
type clocked struct {
	ties        []tie
	given       *float64
	drift, off  float64
	effortOfLab map[int]int
	without     map[int][2]float64 // drift and offset without an effort
}

func newClocked(labels []Label, d *report.Debrief, c *Clock) *clocked {
	k := &clocked{effortOfLab: map[int]int{}, without: map[int][2]float64{}}
	if c.Given {
		k.off = c.OffsetS.Value
		k.given = &k.off
		return k
	}
	for _, t := range tiesOf(labels, d, false) {
		if math.Abs(t.filmS-c.at(t.rideS)) < voteS {
			k.ties = append(k.ties, t)
		}
	}
	k.drift, k.off = line(k.ties)
	for _, t := range k.ties {
		k.effortOfLab[t.label] = t.effort
	}
	return k
}

// rideS is a film's time on the ride's clock, for label i.
func (k *clocked) rideS(i int, filmS float64) float64 {
	drift, off := k.drift, k.off
	if e, ok := k.effortOfLab[i]; ok && k.given == nil {
		w, done := k.without[e]
		if !done {
			rest := slices.DeleteFunc(slices.Clone(k.ties), func(t tie) bool { return t.effort == e })
			w[0], w[1] = drift, off
			if len(rest) > 0 {
				w[0], w[1] = line(rest)
			}
			k.without[e] = w
		}
		drift, off = w[0], w[1]
	}
	return (filmS - off) / (1 + drift)
}

func sq(x float64) float64 { return x * x }

// median is the middle value, the mean of the middle two; 0 of nothing.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	x = slices.Clone(x)
	slices.Sort(x)
	h := len(x) / 2
	if len(x)%2 == 1 {
		return x[h]
	}
	return (x[h-1] + x[h]) / 2
}

// spread is the standard deviation that a normal of this median absolute deviation has.
func spread(x []float64) float64 {
	m := median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return 1.4826 * median(d)
}
