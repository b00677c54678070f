package validate

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
)

// ResultSchema names the layout of the result as JSON. Fields are added, never renamed.
const ResultSchema = "groundline.validate/1"

// Result is what the labels of all rides say of their debriefs.
type Result struct {
	Schema string      `json:"schema"`
	Rides  []RideClock `json:"rides"`
	// Clock is that of the only ride; nil with more, whose clocks are in Rides.
	Clock  *Clock  `json:"clock"`
	Raters *Raters `json:"raters"` // nil with one rater
	Counts Counts  `json:"counts"`
	// Events are take-offs, landings, flights, contacts, stride times, refusals and run-outs that were labelled.
	Events   Events     `json:"events"`
	Gaits    *Confusion `json:"gaits"` // in seconds; nil where no gait was labelled
	Leads    *Confusion `json:"leads"`
	Coverage Coverages  `json:"coverage"`
	// ByMounting and ByHorse are the same of each part, where there are two or more.
	ByMounting []Part   `json:"by_mounting"`
	ByHorse    []Part   `json:"by_horse"`
	Notes      []string `json:"notes"`
}

// RideClock is one ride with its film's clock.
type RideClock struct {
	Ride     string `json:"ride"`
	Horse    string `json:"horse"`
	Mounting string `json:"mounting"`
	Clock    *Clock `json:"clock"` // nil where no label has a time
	Labels   int    `json:"labels"`
}

// Part is the result of one mounting or horse.
type Part struct {
	Name     string    `json:"name"`
	Rides    int       `json:"rides"`
	Counts   Counts    `json:"counts"`
	Events   Events    `json:"events"`
	Coverage Coverages `json:"coverage"`
}

// Counts are the strides of lines, counted and found.
type Counts struct {
	Exact     Share `json:"exact"`
	WithinOne Share `json:"within_one"`
	// Inside is how often the 90 % interval of the debrief's count holds the label's.
	Inside  Share `json:"inside"`
	Missing int   `json:"missing"` // lines labelled for which the debrief gave no count
	// Confusion is how often a count (first key) was found as another (second).
	Confusion map[string]map[string]int `json:"confusion"`
}

// Event is one kind of event: how many were found, and how far off.
type Event struct {
	Event string `json:"event"`
	Unit  string `json:"unit"`
	Pairs int    `json:"pairs"`
	// Precision, Recall and F1 are those of the widest window of Detection, F1 by its window in seconds.
	Precision *Share             `json:"precision"`
	Recall    *Share             `json:"recall"`
	F1        map[string]float64 `json:"f1"`
	Detection []Detection        `json:"detection"` // within 0.05, 0.1 and 0.2 s; within 5 s for refusals
	// Agreement is of the pairs; nil where the event has no time.
	Agreement *Agreement `json:"agreement"`
}

// Events are the kinds of events in the order in which they are reported; in JSON an object by kind.
type Events []Event

// MarshalJSON writes an object by kind.
func (e Events) MarshalJSON() ([]byte, error) {
	by := map[string]Event{}
	for _, x := range e {
		if n := len(x.Detection); n > 0 {
			x.Precision, x.Recall, x.F1 = &x.Detection[n-1].Precision, &x.Detection[n-1].Recall, map[string]float64{}
			for _, d := range x.Detection {
				if d.F1 != nil {
					x.F1[strconv.FormatFloat(d.WindowS, 'f', -1, 64)] = *d.F1
				}
			}
		}
		by[x.Event] = x
	}
	return json.Marshal(by)
}

// Confusion is how often one name was found as another: seconds of a gait, labels of a lead.
type Confusion struct {
	Unit  string                        `json:"unit"`
	Right Share                         `json:"right"` // in whole units
	Table map[string]map[string]float64 `json:"table"` // labelled, then found; "" where none was found
}

// Coverage is how often the 90 % interval of a figure held the label.
type Coverage struct {
	Figure string `json:"figure"`
	Inside Share  `json:"inside"`
}

// Coverages are the figures in the order in which they are reported; in JSON an object by figure.
type Coverages []Coverage

// MarshalJSON writes an object by figure.
func (c Coverages) MarshalJSON() ([]byte, error) {
	by := map[string]Coverage{}
	for _, x := range c {
		by[x.Figure] = x
	}
	return json.Marshal(by)
}

// windows are those of detection, s.
func windows() []float64 { return []float64{0.05, 0.1, 0.2} }

// timed are the kinds with a time or a duration, in the order in which they are reported.
func timed() []string { return []string{Takeoff, Landing, "flight", Contact, "stride time"} }

// Sum sums up judged rides. raters may be nil.
func Sum(rides []*Judged, raters *Raters) *Result {
	r := &Result{Schema: ResultSchema, Rides: []RideClock{}, Events: Events{}, Coverage: Coverages{}, ByMounting: []Part{}, ByHorse: []Part{}, Notes: []string{}, Raters: raters}
	var all []Pair
	number := map[string]int{}
	frameVar := 0.0
	known, given := 0, 0
	for i, j := range rides {
		number[j.Name] = i
		j.Pairs = append(j.Pairs, flights(j.Pairs)...)
		all = append(all, j.Pairs...)
		r.Rides = append(r.Rides, RideClock{Ride: j.Name, Horse: j.Horse, Mounting: j.Mounting, Clock: j.Clock, Labels: labelsOf(j.Pairs)})
		if j.Clock != nil {
			if j.Clock.Given {
				given++
			}
			if j.FPS > 0 {
				// An event lies evenly within its frame: variance of a uniform of one frame's width.
				frameVar += 1 / (12 * sq(j.FPS))
				known++
			}
		}
	}
	if known > 0 {
		frameVar /= float64(known)
	}
	if len(rides) == 1 {
		r.Clock = rides[0].Clock
	}
	s := summer{number: number, frameVar: frameVar}
	r.Counts, r.Events, r.Coverage = s.counts(all), s.events(all), s.coverage(all)
	r.Gaits, r.Leads = confusion(all, Gait, "s"), confusion(all, Lead, "labels")
	r.ByMounting = s.parts(all, func(p Pair) string { return p.Mounting })
	r.ByHorse = s.parts(all, func(p Pair) string { return p.Horse })
	if len(r.Events) > 0 && given < len(rides) && slices.ContainsFunc(rides, func(j *Judged) bool { return j.Clock != nil && !j.Clock.Given }) {
		r.Notes = append(r.Notes, "The film's clock was matched by the take-offs and landings themselves: a shift that all of them share can't be told from the clock's offset. Flights and stride times don't depend on it; an offset known from elsewhere (--offset) shows it.")
	}
	if known == 0 && len(r.Events) > 0 {
		r.Notes = append(r.Notes, "The film's frames a second were not given (--fps): what they add to the spread is in it.")
	}
	for _, e := range r.Events {
		if e.Pairs > 0 && e.Pairs < 20 {
			r.Notes = append(r.Notes, fmt.Sprintf("%s: %d pairs; fewer than 20 say little of spread and limits.", e.Event, e.Pairs))
		}
	}
	return r
}

func labelsOf(pairs []Pair) int {
	n := 0
	for _, p := range pairs {
		if p.Label != "" && p.Kind != "stride time" && p.Kind != "flight" {
			n++
		}
	}
	return n
}

// flights are the times from take-off to landing of the efforts that have both, by one rater.
func flights(pairs []Pair) []Pair {
	type key struct {
		rater, at string
		attempt   int
	}
	takeoff := map[key]Pair{}
	var out []Pair
	for _, p := range pairs {
		k := key{p.Rater, p.At, p.Attempt}
		switch {
		case p.Seen == nil || p.Found == nil || p.At == "":
		case p.Kind == Takeoff:
			takeoff[k] = p
		case p.Kind == Landing:
			t, ok := takeoff[k]
			if !ok || *p.Seen-*t.Seen <= 0 || *p.Seen-*t.Seen > 1.5 {
				continue
			}
			f := p
			f.Kind = "flight"
			seen := *p.Seen - *t.Seen
			// Without a joint interval of both ends the flight's is not known: it is judged by its value only.
			f.Seen, f.Found = &seen, exact(p.Found.Value-t.Found.Value)
			out = append(out, f)
		}
	}
	return out
}

type summer struct {
	number   map[string]int // of each ride
	frameVar float64
}

func (s summer) counts(all []Pair) Counts {
	c := Counts{Confusion: map[string]map[string]int{}}
	var n, is, one, inside int
	for _, p := range all {
		if p.Kind != Strides {
			continue
		}
		row := strconv.Itoa(int(*p.Seen))
		if c.Confusion[row] == nil {
			c.Confusion[row] = map[string]int{}
		}
		if p.Found == nil {
			c.Missing++
			c.Confusion[row]["none"]++
			continue
		}
		n++
		off := math.Abs(math.Round(p.Found.Value) - *p.Seen)
		if off == 0 {
			is++
		}
		if off <= 1 {
			one++
		}
		if *p.Seen >= p.Found.Low-1e-9 && *p.Seen <= p.Found.High+1e-9 {
			inside++
		}
		c.Confusion[row][strconv.Itoa(int(math.Round(p.Found.Value)))]++
	}
	c.Exact, c.WithinOne, c.Inside = shareOf(is, n), shareOf(one, n), shareOf(inside, n)
	return c
}

func (s summer) events(all []Pair) Events {
	out := Events{}
	for _, kind := range timed() {
		e := Event{Event: kind, Unit: "s", Detection: []Detection{}}
		var seen, found []float64
		var ride []int
		labelled, told := 0, 0
		near := make([]int, len(windows()))
		for _, p := range all {
			if p.Kind != kind {
				continue
			}
			if p.Seen != nil {
				labelled++
			}
			if p.Found != nil {
				told++
			}
			if p.Seen == nil || p.Found == nil {
				continue
			}
			seen, found, ride = append(seen, *p.Seen), append(found, p.Found.Value), append(ride, s.number[p.Ride])
			for w, width := range windows() {
				if math.Abs(p.Found.Value-*p.Seen) <= width {
					near[w]++
				}
			}
		}
		if labelled+told == 0 {
			continue
		}
		e.Pairs = len(seen)
		if kind != "flight" && kind != "stride time" {
			for w, width := range windows() {
				e.Detection = append(e.Detection, detectionOf(width, labelled, told, near[w]))
			}
		}
		v := s.frameVar
		if kind == "flight" || kind == "stride time" {
			v *= 2 // of two events
		}
		a := agreementOf(seen, found, ride, v)
		e.Agreement = &a
		out = append(out, e)
	}
	for _, kind := range []string{Refusal, RunOut} {
		var labelled, told, paired int
		for _, p := range all {
			if p.Kind == kind {
				labelled += have(p.Seen != nil)
				told += have(p.Found != nil)
				paired += have(p.Seen != nil && p.Found != nil)
			}
		}
		if labelled+told > 0 {
			out = append(out, Event{Event: kind, Unit: "", Pairs: paired, Detection: []Detection{detectionOf(refusalS, labelled, told, paired)}})
		}
	}
	return out
}

func have(is bool) int {
	if is {
		return 1
	}
	return 0
}

// z90 is the standard normal quantile of 0.95, of a central 90 % interval.
const z90 = 1.6448536269514722

// coverage is of the figures with an interval of their own, widened by what the film's frames add to the label, for
// which the debrief is not to blame.
func (s summer) coverage(all []Pair) Coverages {
	out := Coverages{}
	for _, kind := range []string{Takeoff, Landing, Strides} {
		n, is := 0, 0
		for _, p := range all {
			if p.Kind != kind || p.Seen == nil || p.Found == nil {
				continue
			}
			n++
			v := 0.0
			if kind != Strides {
				v = s.frameVar
			}
			off := *p.Seen - p.Found.Value
			half := max(0, p.Found.High-p.Found.Value)
			if off < 0 {
				half = max(0, p.Found.Value-p.Found.Low)
			}
			is += have(math.Abs(off) <= math.Sqrt(half*half+sq(z90)*v)+1e-9)
		}
		if n > 0 {
			out = append(out, Coverage{Figure: kind, Inside: shareOf(is, n)})
		}
	}
	return out
}

func confusion(all []Pair, kind, unit string) *Confusion {
	c := &Confusion{Unit: unit, Table: map[string]map[string]float64{}}
	var total, right float64
	for _, p := range all {
		if p.Kind != kind {
			continue
		}
		if c.Table[p.SeenIs] == nil {
			c.Table[p.SeenIs] = map[string]float64{}
		}
		c.Table[p.SeenIs][p.FoundIs] = math.Round(10*(c.Table[p.SeenIs][p.FoundIs]+p.WeightS)) / 10
		total += p.WeightS
		if p.SeenIs == p.FoundIs {
			right += p.WeightS
		}
	}
	if total == 0 {
		return nil
	}
	c.Right = shareOf(min(int(math.Round(right)), int(math.Round(total))), int(math.Round(total)))
	return c
}

// parts are the results of the parts that by names; none where there is one only.
func (s summer) parts(all []Pair, by func(Pair) string) []Part {
	groups := map[string][]Pair{}
	for _, p := range all {
		groups[by(p)] = append(groups[by(p)], p)
	}
	out := []Part{}
	if len(groups) < 2 {
		return out
	}
	for name, pairs := range groups {
		rides := map[string]bool{}
		for _, p := range pairs {
			rides[p.Ride] = true
		}
		out = append(out, Part{Name: name, Rides: len(rides), Counts: s.counts(pairs), Events: s.events(pairs), Coverage: s.coverage(pairs)})
	}
	slices.SortFunc(out, func(a, b Part) int { return cmp.Compare(a.Name, b.Name) })
	return out
}
