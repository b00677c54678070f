package record

import (
	"cmp"
	"encoding/json"
	"slices"
	"time"

	"groundline/trace"
)

// Bounds of what can be meant, far beyond any horse: as those of a debrief that is read back. What lies outside, or is no
// number at all, is taken as not told.
const (
	mostStrides, mostStrideM, mostStrideS = 500, 10, 3
	mostSpeedMS, mostHoofM, mostWayM      = 25, 10, 5000
	mostCV                                = 1
)

// counting are the rides that count, oldest first, with figures that can be meant only. A horse goes one ride at a time,
// so of recordings whose times overlap (the watch's and the sensor's, kept apart) the one that tells most counts; so does one of
// recordings without a date that tell the same.
func counting(rides []Ride) ([]Ride, []LeftOut) {
	type keyed struct {
		Ride
		key string
	}
	all := make([]keyed, 0, len(rides))
	for _, r := range rides {
		r = clean(r)
		k := keyed{Ride: r}
		if r.At == nil || r.ID == 0 {
			r.ID = 0
			b, err := json.Marshal(r)
			if err != nil {
				panic("record: a clean ride that is no JSON: " + err.Error())
			}
			k.key = string(b)
		}
		all = append(all, k)
	}
	slices.SortStableFunc(all, func(a, b keyed) int {
		return cmp.Or(compareTimes(a.At, b.At), cmp.Compare(a.key, b.key), cmp.Compare(a.ID, b.ID))
	})
	var out []Ride
	leftOut := []LeftOut{}
	leave := func(id, same int64) {
		if id != same {
			leftOut = append(leftOut, LeftOut{id, same})
		}
	}
	var until time.Time // of the rides so far
	seen := map[int64]bool{}
	for i, r := range all {
		if r.ID != 0 && seen[r.ID] {
			continue
		}
		seen[r.ID] = true
		n := len(out)
		same := n > 0 && (r.At != nil && out[n-1].At != nil && (r.At.Before(until) || r.At.Equal(*out[n-1].At)) ||
			r.At == nil && out[n-1].At == nil && i > 0 && r.key == all[i-1].key)
		if r.At != nil {
			if end := r.At.Add(time.Duration(r.DurationS * float64(time.Second))); end.After(until) {
				until = end
			}
		}
		if !same {
			out = append(out, r.Ride)
			continue
		}
		if tells(r.Ride) > tells(out[n-1]) {
			leave(out[n-1].ID, r.ID)
			out[n-1] = r.Ride
		} else {
			leave(r.ID, out[n-1].ID)
		}
	}
	return out, leftOut
}

// tells is how much a ride tells: both devices before one, then by the number of figures that a record takes.
func tells(r Ride) int {
	n := 0
	if r.Basis == "position+motion" {
		n = 1 << 20
	}
	for _, l := range r.Lines {
		for _, e := range []*trace.Estimate{l.StrideLengthM, l.StrideS, l.SpeedMS, l.RhythmCV} {
			if e != nil {
				n++
			}
		}
	}
	for _, e := range r.Efforts {
		if e.TakeoffDistanceM != nil {
			n++
		}
	}
	return n
}

// compareTimes puts rides without a date first.
func compareTimes(a, b *time.Time) int {
	switch {
	case a == nil && b == nil:
		return 0
	case a == nil:
		return -1
	case b == nil:
		return 1
	}
	return a.Compare(*b)
}

// clean is a copy of a ride with the figures that can be meant.
func clean(r Ride) Ride {
	// A day is more than any ride.
	if !(r.DurationS >= 0 && r.DurationS <= 86400) {
		r.DurationS = 0
	}
	r.CanterStrideM, r.StrideS = within0(r.CanterStrideM, mostStrideM), within0(r.StrideS, mostStrideS)
	r.Lines = append([]Line{}, r.Lines...)
	for i := range r.Lines {
		l := &r.Lines[i]
		l.Strides, l.StrideLengthM, l.StrideS = within0(l.Strides, mostStrides), within0(l.StrideLengthM, mostStrideM), within0(l.StrideS, mostStrideS)
		l.RhythmCV, l.SpeedMS = within0(l.RhythmCV, mostCV), within0(l.SpeedMS, mostSpeedMS)
		l.SpeedInMS, l.SpeedOutMS, l.TrackM = within0(l.SpeedInMS, mostSpeedMS), within0(l.SpeedOutMS, mostSpeedMS), within0(l.TrackM, mostWayM)
		l.DistanceM = between(l.DistanceM, 0, mostWayM)
		l.Grade, l.Homeward = between(l.Grade, -1, 1), between(l.Homeward, -1, 1)
		l.TurnedDeg, l.RadiusMinM, l.FitM = told(l.TurnedDeg), told(l.RadiusMinM), told(l.FitM)
	}
	r.Efforts = append([]Effort{}, r.Efforts...)
	for i := range r.Efforts {
		e := &r.Efforts[i]
		e.TakeoffDistanceM, e.LandingDistanceM, e.SpeedMS = within0(e.TakeoffDistanceM, mostHoofM), within0(e.LandingDistanceM, mostHoofM), within0(e.SpeedMS, mostSpeedMS)
		e.HeightM = between(e.HeightM, 0, mostHoofM)
		e.Confidence = number(e.Confidence)
	}
	return r
}

// within0 is the estimate where its value lies in [0, most] and its doubt is of that size too.
func within0(e *trace.Estimate, most float64) *trace.Estimate {
	if e = told(e); e == nil || e.Value < 0 || e.Value > most || e.Low < -2*most || e.High > 3*most {
		return nil
	}
	return e
}

func between(x *float64, low, high float64) *float64 {
	if x = finite(x); x == nil || *x < low || *x > high {
		return nil
	}
	return x
}
