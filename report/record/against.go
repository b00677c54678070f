package record

import (
	"groundline/course"
	"groundline/course/horse"
	"groundline/report"
	"groundline/trace"
)

// Held is how one ride of a line suits the horse by its record: metres a stride beyond (+, long) or short of (-, short)
// the horse's usual stride.
type Held struct {
	Line       int            `json:"line"` // in Ride.Lines, from 0
	PerStrideM trace.Estimate `json:"per_stride_m"`
	Says       string         `json:"says"` // long | right | short; "" where it is too close to call
}

// Against holds the related and bending lines of a ride against the horse's other rides, as its debrief does where it is given
// them ([report.Debrief.SetUsual]). Empty where nothing shows the horse's usual stride.
func Against(others []Ride, size *course.Profile, ride Ride) []Held {
	rides := Ridden(others)
	rides.Size = size
	d := clean(ride).debrief()
	d.SetUsual(&rides)
	var out []Held
	for i, l := range d.Lines {
		if l.Fit != nil {
			out = append(out, Held{i, *l.Fit.PerStrideM, l.Fit.Verdict()})
		}
	}
	return out
}

// Ridden are rides as the model of the horse takes them; those that are recordings of the same minutes count once.
func Ridden(rides []Ride) horse.Rides {
	var all []*report.Debrief
	kept, _ := counting(rides)
	for _, r := range kept {
		all = append(all, r.debrief())
	}
	return report.RiddenIn(all)
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
