package record

import (
	"math"

	"groundline/course"
	"groundline/trace"
)

// Held is how one ride of a line suits the horse by its record: metres a stride beyond (+, long) or short of (-, tight)
// the horse's usual stride.
type Held struct {
	Line       int            `json:"line"` // in Ride.Lines, from 0
	PerStrideM trace.Estimate `json:"per_stride_m"`
	Says       string         `json:"says"` // long | right | tight
}

// Against holds the related and bending lines of a ride against the record of the horse's other rides, as a debrief holds them
// against that ride's own middle stride. The record should leave the ride itself out (see [Without]). Empty where
// the record has no usual stride.
func (r *Record) Against(ride Ride) []Held {
	var out []Held
	own := r.Usual()
	if own == nil {
		return out
	}
	usual := *own
	for i, l := range clean(ride).Lines {
		if l.StrideLengthM == nil || !usualLine(l) || l.Kind != string(course.Related) && l.Kind != string(course.Bending) {
			continue
		}
		v := l.StrideLengthM.Value - usual.Value
		e := trace.Estimate{Value: v,
			Low:  v - math.Hypot(l.StrideLengthM.Value-l.StrideLengthM.Low, usual.High-usual.Value),
			High: v + math.Hypot(l.StrideLengthM.High-l.StrideLengthM.Value, usual.Value-usual.Low)}
		says := course.FitSays(v, usual.Value)
		if e.Low < 0 && e.High > 0 {
			says = "right" // not told from it
		}
		out = append(out, Held{i, e, says})
	}
	return out
}

// Without are the rides but one and the recordings of its minutes.
func Without(rides []Ride, one Ride) []Ride {
	var out []Ride
	for _, r := range rides {
		if r.ID == one.ID {
			continue
		}
		if both, left := counting([]Ride{r, one}); len(both) == 1 || len(left) > 0 {
			continue
		}
		out = append(out, r)
	}
	return out
}
