// Package record gathers what the rides of one horse tell of it: the horse's record.
//
// It is made of what each debrief tells ([Extract]), without the debriefs themselves, and knows neither where rides
// are kept nor who asks. A ride's lines are not independent witnesses: they share the day, the ground, the
// rider's plan and the recording's error. So every mean is one of rides, not of strides, with what differs from
// ride to ride beside what differs from line to line and what the recordings can't see.
package record

import (
	"groundline/course"
	"groundline/report"
)

// Schema names the layout of a record in JSON. Fields are added, never renamed.
const Schema = "groundline.horse/1"

// Record is what the rides of one horse tell of it.
type Record struct {
	Schema string `json:"schema"`
	Name   string `json:"name"`
	Size   string `json:"size"` // a name of [course.Profiles]; "" if not known

	rides []Ride
	size  *course.Profile
}

// Of is the record of a horse. name is its name, "" for that which the rides tell; size its size, nil if not known. The
// order of the rides does not matter. The error is for rides of a version that is not this program's.
func Of(name string, size *course.Profile, rides []Ride) (*Record, error) {
	r := &Record{Schema: Schema, Name: name, rides: rides, size: size}
	if size != nil {
		r.Size = size.Name
	}
	return r, nil
}

// CourseHorse is the horse for a walk, from the rides of the record. The error is [course.ErrNoLine].
func (r *Record) CourseHorse() (course.Horse, error) {
	var all []*report.Debrief
	for _, d := range r.rides {
		all = append(all, d.debrief())
	}
	ridden := report.RiddenIn(all)
	if r.Name != "" {
		ridden.Name = r.Name
	}
	return course.HorseFromRides(ridden, r.size)
}
