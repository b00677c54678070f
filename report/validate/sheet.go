package validate

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"

	"groundline/course"
	"groundline/trace"
)

// Blank writes a sheet to fill in at the rail or beside a film, from the plan alone, so that nobody sees the tool's
// answer first: a row for each line of the route (its strides) and, with times, for each take-off and landing.
// attempts is how often the route is ridden, from 1.
func Blank(w io.Writer, plan *course.Plan, attempts int, times bool, rater string) error {
	out := csv.NewWriter(w)
	rows := [][]string{{"event", "obstacle", "line", "attempt", "time_s", "count", "value", "sure", "rater"}}
	// An obstacle or line that the route has twice has two attempts a round.
	seen := map[string]int{}
	for n := 0; n < attempts; n++ {
		for i, id := range plan.Route {
			if times {
				seen[id]++
				a := strconv.Itoa(seen[id])
				rows = append(rows, []string{Takeoff, inert(id), "", a, "", "", "", "", inert(rater)},
					[]string{Landing, inert(id), "", a, "", "", "", "", inert(rater)})
			}
			if i+1 < len(plan.Route) {
				line := id + "-" + plan.Route[i+1]
				seen[line]++
				rows = append(rows, []string{Strides, "", inert(line), strconv.Itoa(seen[line]), "", "", "", "", inert(rater)})
			}
		}
	}
	return out.WriteAll(rows)
}

// ShareCSV writes the labels with the debrief's residuals and without what tells who or where: no names of rides,
// horses, raters or files, no times of day and no places. Rides and horses become ride 1, horse 1 in their order.
func ShareCSV(w io.Writer, rides []*Judged) error {
	anon := func(m map[string]string, name, word string) string {
		if m[name] == "" {
			m[name] = fmt.Sprintf("%s %d", word, len(m)+1)
		}
		return m[name]
	}
	horses, raters := map[string]string{}, map[string]string{}
	shared := make([]*Judged, 0, len(rides))
	for i, j := range rides {
		c := *j
		c.Name = fmt.Sprintf("ride %d", i+1)
		c.Pairs = make([]Pair, len(j.Pairs))
		start := 0.0
		for k, p := range j.Pairs {
			if k == 0 && p.Seen != nil && (p.Kind == Takeoff || p.Kind == Landing) {
				start = *p.Seen
			}
			p.Ride, p.Horse, p.Rater = c.Name, anon(horses, p.Horse, "horse"), anon(raters, p.Rater, "rater")
			if p.Label != "" {
				p.Label = "label " + strconv.Itoa(k+1)
			}
			if p.Kind == Takeoff || p.Kind == Landing || p.Kind == Contact || p.Kind == Lead {
				p.Seen, p.Found = less(p.Seen, start), lessEstimate(p.Found, start)
			}
			c.Pairs[k] = p
		}
		shared = append(shared, &c)
	}
	return PairsCSV(w, shared)
}

// Judge reads nothing and writes nothing: it judges all rides and sums them up.
func Judge(rides []RideInput) (*Result, []*Judged, error) {
	between := Between(rides)
	var judged []*Judged
	for _, in := range rides {
		j, err := Ride(in)
		if err != nil {
			return nil, nil, fmt.Errorf("%s: %w", in.Name, err)
		}
		judged = append(judged, j)
	}
	return Sum(judged, between), judged, nil
}

// Of are the labels of one ride: those that name it, and, where only one ride is judged, those that name none.
func Of(labels []Label, ride string, only bool) []Label {
	var out []Label
	for _, l := range labels {
		if l.Ride == ride || l.Ride == "" && only {
			out = append(out, l)
		}
	}
	return out
}

func less(v *float64, by float64) *float64 {
	if v == nil {
		return nil
	}
	x := *v - by
	return &x
}

func lessEstimate(e *trace.Estimate, by float64) *trace.Estimate {
	if e == nil {
		return nil
	}
	return &trace.Estimate{Value: e.Value - by, Low: e.Low - by, High: e.High - by}
}
