package record

import (
	"gonum.org/v1/gonum/stat/distuv"

	"groundline/report/layout"
	"groundline/trace"
)

// tally counts what happened in one ride.
type tally struct {
	ride       int
	events, of int
}

// rate is the share of events with the interval of Clopper and Pearson (1934, Biometrika 26:404), whose number is the
// effective one where rides differ more than chance makes them (Korn & Graubard 1998, Survey Methodology 24:193; the variance of a
// ratio over clusters; from memory): a horse that stops three times on one day and never on nine others has told less
// than ten days of thirty tries. nil for no tries.
func (r *Record) rate(tallies []tally) *Rate {
	out := &Rate{Rides: []int64{}}
	for _, t := range tallies {
		if t.of == 0 {
			continue
		}
		out.Events, out.Of, out.Count = out.Events+t.events, out.Of+t.of, out.Count+1
		if id := r.rides[t.ride].ID; id != 0 {
			out.Rides = append(out.Rides, id)
		}
	}
	if out.Of == 0 {
		return nil
	}
	n := float64(out.Of)
	p := float64(out.Events) / n
	effective := n
	if k := float64(out.Count); k > 1 && p > 0 && p < 1 {
		var ss float64
		for _, t := range tallies {
			e := float64(t.events) - p*float64(t.of)
			ss += e * e
		}
		design := k / (k - 1) * ss / (n * p * (1 - p))
		effective = n / max(1, design)
	}
	out.Share = clopperPearson(p*effective, effective)
	out.Share.Value = p
	return out
}

// clopperPearson is the central 90 % interval of a share with x of n, which need not be whole.
func clopperPearson(x, n float64) trace.Estimate {
	e := trace.Estimate{Value: x / n, Low: 0, High: 1}
	if x > 0 {
		e.Low = distuv.Beta{Alpha: x, Beta: n - x + 1}.Quantile(0.05)
	}
	if x < n {
		e.High = distuv.Beta{Alpha: x + 1, Beta: n - x}.Quantile(0.95)
	}
	return e
}

// tellDisobediences tells how often the horse refused or ran out.
func (r *Record) tellDisobediences() {
	var all []tally
	blind := 0
	for i, d := range r.rides {
		t := tally{ride: i}
		for _, e := range d.Efforts {
			switch e.Outcome {
			case "refused", "ran out":
				t.events++
				t.of++
			case "jumped":
				t.of++
			}
		}
		if d.Basis == "motion" || d.Course == "" && d.Ground == "" {
			if t.of > 0 {
				blind++
			}
			continue
		}
		all = append(all, t)
	}
	r.Disobediences = r.rate(all)
	if blind > 0 {
		r.note("info", "refusals and run-outs: "+layout.Count(blind, "ride")+" not counted", "motion alone hardly shows them, and without a plan nobody knows what was to be jumped")
	}
}

// tellLeads tells the leads by the side that the lines turn to.
func (r *Record) tellLeads() {
	leads := func(turn string, lead func(Line) string) *Rate {
		var all []tally
		for i, d := range r.rides {
			t := tally{ride: i}
			for _, l := range d.Lines {
				if l.Direction != turn || lead(l) != "left" && lead(l) != "right" {
					continue
				}
				t.of++
				if lead(l) == "left" {
					t.events++
				}
			}
			all = append(all, t)
		}
		return r.rate(all)
	}
	r.Leads = Leads{In: []LeadsBy{}, Out: []LeadsBy{}}
	for _, turn := range []string{"left", "right", "straight"} {
		if q := leads(turn, func(l Line) string { return l.LeadFirst }); q != nil {
			r.Leads.In = append(r.Leads.In, LeadsBy{turn, *q})
		}
		if q := leads(turn, func(l Line) string { return l.LeadLast }); q != nil {
			r.Leads.Out = append(r.Leads.Out, LeadsBy{turn, *q})
		}
	}
	var with []tally
	for i, d := range r.rides {
		t := tally{ride: i}
		for _, l := range d.Lines {
			if l.LeadFirst == "" || l.Direction != "left" && l.Direction != "right" {
				continue
			}
			t.of++
			if l.LeadFirst == l.Direction {
				t.events++
			}
		}
		with = append(with, t)
	}
	r.Leads.WithTurn = r.rate(with)
	if r.Leads.WithTurn == nil && len(r.rides) > 0 {
		r.note("info", "no leads told", "no ride told them: that takes a motion sensor on the horse, and turns that say which lead is left")
	}
}
