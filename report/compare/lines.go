package compare

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"groundline/report"
	"groundline/report/layout"
	"groundline/trace"
)

// ride is one ride of a line before it is compared.
type ride struct {
	attempt int // from 0
	report.RiddenLine
}

// rides are all rides of a line, in the order of the attempts, then in time.
type rides struct {
	from, to string
	kind     string
	order    [3]int // along the route
	rides    []ride
}

// gather finds the lines and their rides, in the order of the route: by the plan where a debrief has it,
// else as first ridden in a round, else as first ridden at all. Ways between are left out unless asked for
// by name. Before a line whose rides begin with an obstacle that no compared ride leads into stands the way
// in to that obstacle.
func gather(attempts []Attempt, opt Options) []rides {
	found := map[[2]string]*rides{}
	ledInto := map[*report.Effort]bool{}
	for i, a := range attempts {
		d := a.Debrief
		place := planOrder(attempts)
		ends := d.Ends()
		for k := range d.Lines {
			l := &d.Lines[k]
			asked := l.From == opt.From && l.To == opt.To
			if opt.From != "" && !asked || opt.From == "" && l.Kind == "between" && d.Course != nil {
				continue
			}
			if opt.From != "" && i < len(opt.Nth) && len(opt.Nth[i]) > 0 && !slices.Contains(opt.Nth[i], l.Attempt) {
				continue
			}
			way := [2]string{l.From, l.To}
			g := found[way]
			if g == nil {
				g = &rides{from: l.From, to: l.To, kind: l.Kind, order: [3]int{1, i, k}}
				if l.Round == nil {
					g.order[0] = 2
				}
				if at, ok := place[way]; ok {
					g.order = [3]int{0, at, 0}
				}
				found[way] = g
			} else if l.Round != nil && g.order[0] == 2 {
				g.order = [3]int{1, i, k}
			}
			g.rides = append(g.rides, ride{i, report.RiddenLine{Line: l, From: ends[k][0], To: ends[k][1]}})
			if ends[k][1] != nil {
				ledInto[ends[k][1]] = true
			}
		}
	}
	lines := make([]rides, 0, len(found))
	for _, g := range found {
		lines = append(lines, *g)
	}
	sort.Slice(lines, func(a, b int) bool {
		x, y := lines[a], lines[b]
		return cmp.Or(slices.Compare(x.order[:], y.order[:]), cmp.Compare(x.from, y.from), cmp.Compare(x.to, y.to)) < 0
	})
	out := make([]rides, 0, 2*len(lines))
	for _, g := range lines {
		in := rides{to: g.from, kind: "way in"}
		for _, r := range g.rides {
			if r.From != nil && !ledInto[r.From] {
				in.rides = append(in.rides, ride{attempt: r.attempt, RiddenLine: report.RiddenLine{To: r.From}})
				ledInto[r.From] = true
			}
		}
		out = append(out, in, g)
	}
	return out
}

// planOrder is where each way stands in the route, by the first plan there is.
func planOrder(attempts []Attempt) map[[2]string]int {
	place := map[[2]string]int{}
	for _, a := range attempts {
		if p := a.Debrief.Plan; p != nil {
			for i, l := range p.Lines {
				if _, twice := place[[2]string{l.From, l.To}]; !twice {
					place[[2]string{l.From, l.To}] = i
				}
			}
			break
		}
	}
	return place
}

// samePlanM is how far the distances of two plans may differ by rounding.
const samePlanM = 0.05

// otherPlan takes out the rides that were held against another plan than the first, and tells how many.
func otherPlan(g *rides) int {
	var first *float64
	n := len(g.rides)
	g.rides = slices.DeleteFunc(g.rides, func(r ride) bool {
		if r.Line == nil || r.Line.DistanceM == nil {
			return false
		}
		if first == nil {
			first = r.Line.DistanceM
		}
		return math.Abs(*r.Line.DistanceM-*first) > samePlanM
	})
	return n - len(g.rides)
}

// compared makes a line of its rides; verdicts come later. of is how many attempts there are.
func (g rides) compared(of int) Line {
	out := Line{From: g.from, To: g.to, Kind: g.kind, Rides: []Ride{}, Differences: []Difference{}, Trends: []Trend{}}
	perAttempt := map[int]int{}
	for _, r := range g.rides {
		perAttempt[r.attempt]++
	}
	nth := map[int]int{}
	for _, r := range g.rides {
		nth[r.attempt]++
		t := Ride{Attempt: r.attempt + 1, Nth: nth[r.attempt], Figures: figuresOf(r.RiddenLine)}
		if l := r.Line; l != nil {
			t.Round, t.Nth, t.StridesBy = l.Round, l.Attempt, l.StridesBy
			if out.DistanceM == nil {
				out.DistanceM = l.DistanceM
			}
			if out.PlannedStrides == nil {
				out.PlannedStrides = l.PlannedStrides
			}
			if r.From != nil && finite(r.From.LandingS) {
				t.AtS = &r.From.LandingS.Value
			}
		} else {
			t.Round = r.To.Round
			if finite(r.To.TakeoffS) {
				t.AtS = &r.To.TakeoffS.Value
			}
		}
		t.Label = rideLabel(t, of, perAttempt[r.attempt])
		out.Rides = append(out.Rides, t)
	}
	first, last := out.Rides[0], out.Rides[len(out.Rides)-1]
	for _, f := range report.Figures() {
		k := f.Key
		if d, ok := difference(k, first.Figure(k), last.Figure(k), estimatedOf(first, last)); ok {
			out.Differences = append(out.Differences, d)
		}
	}
	for _, f := range report.Figures() {
		k := f.Key
		if t, ok := trendOf(k, out.Rides); ok {
			out.Trends = append(out.Trends, t)
		}
	}
	if len(out.Rides) > 2 {
		out.Best = best(out.Rides)
		// Where the rhythm of one is too steady to be told from the doubt of when a stride begins, it may be the steadiest.
		if !slices.ContainsFunc(out.Rides, func(r Ride) bool { return r.Figure(report.Rhythm) == nil }) {
			out.Steadiest = least(out.Rides, report.Rhythm)
		}
	}
	return out
}

// rideLabel tells a ride from the others: by attempt where there are several, by its order where one
// attempt has several.
func rideLabel(r Ride, attempts, ofThis int) string {
	if ofThis == 1 {
		return label(r.Attempt - 1)
	}
	said := layout.Ordinal(r.Nth)
	if attempts > 1 {
		said = label(r.Attempt-1) + " " + said
	}
	return said
}

// Where a count was estimated, an interval that names one number only is right nine times in ten at the
// least and nobody knows how much more: a difference of such counts is never more than likely, and of two such
// one stride may always be too many (0.9 x 0.9 is no 90 %).
const (
	estimatedP       = Alpha
	estimatedStrides = 1.0
)

// difference is last less first; nil where either is. estimated says how many of the two are counts that nobody counted.
func difference(k report.Key, first, last *trace.Estimate, estimated int) (Difference, bool) {
	if first == nil || last == nil {
		return Difference{}, false
	}
	d := last.Minus(*first)
	if k.Figure().Unit == report.Count && estimated == 2 {
		d.Low, d.High = min(d.Low, d.Value-estimatedStrides), max(d.High, d.Value+estimatedStrides)
	}
	out := Difference{Key: k, Difference: d, P: p(d)}
	if k.Figure().Unit == report.Count && estimated > 0 {
		out.P = max(out.P, estimatedP)
	}
	return out, true
}

// estimatedOf is how many of two rides have strides that were estimated.
func estimatedOf(a, b Ride) int {
	n := 0
	for _, r := range []Ride{a, b} {
		if r.StridesBy == "estimated" {
			n++
		}
	}
	return n
}

// trendOf is the trend of a figure over the rides that tell it.
func trendOf(k report.Key, all []Ride) (Trend, bool) {
	var x []float64
	var y []trace.Estimate
	for i, r := range all {
		if e := r.Figure(k); e != nil {
			x, y = append(x, float64(i)), append(y, *e)
		}
	}
	leastSD := 0.0
	if k.Figure().Unit == report.Count {
		leastSD = countSD
	}
	slope, prob, ok := trend(x, y, leastSD)
	return Trend{Key: k, PerRide: slope, N: len(x), P: prob}, ok
}

// least is the ride with the smallest figure; nil where fewer than two tell it or two have the same.
func least(all []Ride, k report.Key) *Mark {
	at, told, equal := -1, 0, 0
	for i, r := range all {
		e := r.Figure(k)
		if e == nil {
			continue
		}
		told++
		switch {
		case at < 0 || e.Value < all[at].Figure(k).Value:
			at, equal = i, 1
		case e.Value == all[at].Figure(k).Value:
			equal++
		}
	}
	if told < 2 || equal > 1 {
		return nil
	}
	return &Mark{Ride: at, Apart: apart(all, at, k)}
}

// apart tells that the figure of one ride is below that of every other that tells it, by the 90 %
// interval of each difference shared out among them (Bonferroni).
func apart(all []Ride, at int, k report.Key) bool {
	var ps []float64
	for i, r := range all {
		e := r.Figure(k)
		if i == at || e == nil {
			continue
		}
		d, _ := difference(k, all[at].Figure(k), e, estimatedOf(all[at], r))
		if d.Difference.Value <= 0 {
			return false
		}
		ps = append(ps, d.P)
	}
	for _, x := range ps {
		if x*float64(len(ps)) >= 0.1 {
			return false
		}
	}
	return len(ps) > 0
}

// best is the ride nearest to the planned strides, among equals that nearest to the usual stride; nil where
// fewer than two tell one of these or two are equal in both.
func best(all []Ride) *Mark {
	fewest := math.Inf(1)
	for _, r := range all {
		if e := r.Figure(report.OffPlanned); e != nil {
			fewest = min(fewest, e.Value)
		}
	}
	if m := least(all, report.OffPlanned); m != nil {
		return m
	}
	// Those that are equally near to the plan, or all where nothing is planned.
	var some []Ride
	var place []int
	for i, r := range all {
		if e := r.Figure(report.OffPlanned); math.IsInf(fewest, 1) || e != nil && e.Value == fewest {
			some, place = append(some, r), append(place, i)
		}
	}
	m := least(some, report.OffUsual)
	if m != nil {
		m.Ride = place[m.Ride]
	}
	return m
}

// compareRounds lists the rounds of all attempts and what the last complete one took less the first,
// where they are of the same plan: the times of two courses are no difference of riding.
func compareRounds(attempts []Attempt, samePlan bool) Rounds {
	out := Rounds{Rounds: []Round{}, Differences: []Difference{}}
	for i, a := range attempts {
		for _, r := range a.Debrief.Rounds {
			t := Round{Attempt: i + 1, Label: label(i), Round: r.Round, Complete: r.Complete, TimeFaults: r.TimeFaults,
				Disobediences: r.Disobediences, Missed: append([]string{}, r.Missed...)}
			if finite(r.TimeS) {
				t.TimeS = r.TimeS
			}
			if r.Complete {
				t.JumpingS = jumpingTime(a.Debrief, r.Round)
			}
			out.Rounds = append(out.Rounds, t)
		}
	}
	var first, last *Round
	for i := range out.Rounds {
		if r := &out.Rounds[i]; r.Complete {
			if first == nil {
				first = r
			}
			last = r
		}
	}
	if first == nil || first == last || !samePlan {
		return out
	}
	if d, ok := difference(report.Time, first.TimeS, last.TimeS, 0); ok {
		out.Differences = append(out.Differences, d)
	}
	if d, ok := difference(report.JumpingTime, first.JumpingS, last.JumpingS, 0); ok {
		out.Differences = append(out.Differences, d)
	}
	return out
}

// jumpingTime is from the first take-off of a round to its last landing.
func jumpingTime(d *report.Debrief, round int) *trace.Estimate {
	var off, on *trace.Estimate
	for i := range d.Efforts {
		e := &d.Efforts[i]
		if e.Round == nil || *e.Round != round || !e.Taken() {
			continue
		}
		if off == nil {
			off = e.TakeoffS
		}
		on = e.LandingS
	}
	if !finite(off) || !finite(on) {
		return nil
	}
	t := report.TimeBetween(*off, *on)
	return &t
}
