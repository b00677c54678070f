package compare

import (
	"math"

	"groundline/report"
	"groundline/trace"
)

// Key names a figure of a ride, with its unit at the end; the words of the debrief where it has them.
type Key string

// The figures. Those from OffPlanned on are made so that less is better.
const (
	Strides      Key = "strides"
	StrideLength Key = "stride_length_m"
	StrideTime   Key = "stride_s"
	Speed        Key = "speed_m_s"
	SpeedIn      Key = "speed_in_m_s"
	SpeedOut     Key = "speed_out_m_s"
	SpeedDrift   Key = "speed_drift_m_s"
	Time         Key = "time_s" // landing to take-off; of a round, start line to finish
	Track        Key = "track_m"
	Radius       Key = "radius_min_m"
	Turned       Key = "turned_deg" // either way, without its sign
	SpeedMin     Key = "speed_min_m_s"
	Landing      Key = "landing_distance_m" // behind From
	Takeoff      Key = "takeoff_distance_m" // before To
	OffPlanned   Key = "off_planned_strides"
	OffUsual     Key = "off_usual_stride_m" // from the horse's usual stride of that ride, either way
	Rhythm       Key = "rhythm_cv"
	PaceChange   Key = "pace_change_m_s"     // out against in, either way
	Angle        Key = "approach_angle_deg"  // to To, either way
	Wander       Key = "approach_straight_m" // to To
	JumpingTime  Key = "jumping_time_s"      // of a round
)

// Keys are the figures of a line in the order told.
func Keys() []Key {
	return []Key{Strides, StrideLength, StrideTime, Speed, SpeedIn, SpeedOut, SpeedDrift, Time, Track, Radius, Turned, SpeedMin,
		Landing, Takeoff, OffPlanned, OffUsual, Rhythm, PaceChange, Angle, Wander}
}

// better tells the figures that are better when smaller.
func (k Key) better() bool {
	switch k {
	case OffPlanned, OffUsual, Rhythm, PaceChange, Angle, Wander:
		return true
	}
	return false
}

// whole tells the figures that are whole numbers.
func (k Key) whole() bool { return k == Strides || k == OffPlanned }

// minTurnDeg is the turn from which a line has a radius worth telling: below it the debrief calls a line
// straight, and the radius of a straight line is noise.
const minTurnDeg = 10.0

// figuresOf are the figures of one ride of a line. from and to are its efforts, nil where they are
// not known; line is nil for a way in.
func figuresOf(line *report.Line, from, to *report.Effort) []Figure {
	got := map[Key]*trace.Estimate{}
	size := func(e *trace.Estimate) *trace.Estimate {
		if e == nil {
			return nil
		}
		s := Size(*e)
		return &s
	}
	if l := line; l != nil {
		got[Strides], got[StrideLength], got[StrideTime], got[Rhythm] = l.Strides, l.StrideLengthM, l.StrideS, l.RhythmCV
		got[Speed], got[SpeedIn], got[SpeedOut], got[SpeedDrift] = l.SpeedMS, l.SpeedInMS, l.SpeedOutMS, l.SpeedDriftMS
		got[Track], got[PaceChange] = l.TrackM, size(l.SpeedDriftMS)
		if t := l.Turn; t != nil {
			got[Turned], got[SpeedMin] = size(t.TurnedDeg), t.SpeedMinMS
			if t.Direction != "straight" && t.TurnedDeg != nil && math.Abs(t.TurnedDeg.Value) >= minTurnDeg {
				got[Radius] = t.RadiusMinM
			}
		}
		if l.Fit != nil {
			got[OffUsual] = size(l.Fit.PerStrideM)
		}
		if l.PlannedStrides != nil && l.Strides != nil {
			n := float64(*l.PlannedStrides)
			e := Size(trace.Estimate{Value: l.Strides.Value - n, Low: l.Strides.Low - n, High: l.Strides.High - n})
			got[OffPlanned] = &e
		}
	}
	if from != nil {
		got[Landing] = from.LandingDistanceM
		if from.LandingS != nil && to != nil && to.TakeoffS != nil {
			e := between(*from.LandingS, *to.TakeoffS)
			got[Time] = &e
		}
	}
	if to != nil {
		got[Takeoff] = to.TakeoffDistanceM
		if a := to.Approach; a != nil {
			got[Angle], got[Wander] = size(a.AngleDeg), a.StraightRMSM
		}
	}
	if r := got[Rhythm]; r != nil && r.Low == r.High {
		delete(got, Rhythm) // all of it hidden by the doubt of when a stride begins: no steadiness is exact
	}
	out := []Figure{}
	for _, k := range Keys() {
		if e := got[k]; finite(e) {
			out = append(out, Figure{k, *e})
		}
	}
	return out
}

// between is the time from one instant to another of one recording. Where positions alone told the instants their
// intervals reach further back than forward, as some receivers tell all places late; being late at both
// ends it cancels in the time between, which is left with the doubt of either end without it. Of a mixture with a
// quarter of late receivers the upper bound lies at 1.50 standard deviations of an end, not 1.645: hence the tenth more.
func between(from, to trace.Estimate) trace.Estimate {
	both := func(e trace.Estimate) trace.Estimate {
		if up, down := e.High-e.Value, e.Value-e.Low; down > 1.05*up {
			half := min(1.1*up, down)
			return trace.Estimate{Value: e.Value, Low: e.Value - half, High: e.Value + half}
		}
		return e
	}
	return Minus(both(to), both(from))
}
