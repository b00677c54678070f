package compare

import (
	"fmt"

	"groundline/report"
	"groundline/trace"
)

// The rides below are invented, every number of them chosen.

func ptr[T any](v T) *T { return &v }

func bounds(value, low, high float64) *trace.Estimate {
	return &trace.Estimate{Value: value, Low: low, High: high}
}

// pm is value ± half.
func pm(value, half float64) *trace.Estimate {
	return &trace.Estimate{Value: value, Low: value - half, High: value + half}
}

func exactly(n float64) *trace.Estimate { return pm(n, 0) }

// way is a straight related line of 21.95 m for five strides.
func way(from, to string, strides, strideM, in, out float64) report.Line {
	return report.Line{From: from, To: to, Round: ptr(1), Attempt: 1, Kind: "related", DistanceM: ptr(21.95),
		TrackM: pm(19, 0.5), Strides: exactly(strides), StridesBy: "counted", StrideLengthM: pm(strideM, 0.08), StrideS: pm(0.61, 0.01),
		RhythmCV: pm(0.03, 0.01), SpeedMS: pm((in+out)/2, 0.1), SpeedInMS: pm(in, 0.3), SpeedOutMS: pm(out, 0.4), SpeedDriftMS: pm(out-in, 0.5),
		Turn:           &report.Turn{Direction: "straight", TurnedDeg: pm(-1, 4), SpeedMinMS: pm(min(in, out), 0.3), RadiusMinM: pm(200, 50)},
		PlannedStrides: ptr(5), Fit: &report.Fit{PerStrideM: pm(strideM-3.5, 0.12), PRight: 1, Says: ptr("right"), Against: report.AgainstRide}}
}

func turning90(l report.Line, radiusM float64) report.Line {
	l.Kind, l.PlannedStrides, l.Fit = "rollback", nil, nil
	l.Turn = &report.Turn{Direction: "left", TurnedDeg: pm(90, 5), RadiusMinM: pm(radiusM, 0.8), SpeedMinMS: pm(4.5, 0.3)}
	return l
}

func jumped(id string, takeoffS float64) report.Effort {
	return report.Effort{Obstacle: &id, Round: ptr(1), Attempt: 1, Outcome: "jumped", TakeoffS: pm(takeoffS, 0.04), LandingS: pm(takeoffS+0.5, 0.03),
		TakeoffDistanceM: pm(1.7, 0.3), LandingDistanceM: pm(1.6, 0.3), SpeedMS: pm(5.5, 0.3),
		Approach:   &report.Approach{StraightRMSM: &trace.Estimate{Value: 0.1, High: 0.4}, AngleDeg: pm(-6, 3)},
		Confidence: 0.99, ObstacleConfidence: 0.99}
}

// round is a debrief of these lines, one after the other, each effort 4 s of flight and line after the last.
func round(name string, lines ...report.Line) *report.Debrief {
	d := &report.Debrief{Schema: report.Schema, Basis: "position+motion", Course: &report.CourseInfo{Name: "Long field"},
		Recording: report.RecordingInfo{Files: []string{name + ".gpx", name + ".csv"}, Start: ptr("2026-06-03T09:12:00Z"), DurationS: 90, PositionHz: ptr(1.0), MotionHz: ptr(100.0)},
		Efforts:   []report.Effort{}, Lines: lines,
		Rounds: []report.Round{}, Gaits: []report.GaitSpan{}, Strides: []report.Stride{}, Notes: []trace.Note{}, Rejected: []report.Rejected{},
		Horse: report.Horse{Name: ptr("Bramble"), CanterStrideM: pm(3.5, 0.05), StrideS: pm(0.61, 0.01)}}
	at := 20.0
	for i, l := range lines {
		if i == 0 || lines[i-1].To != l.From {
			d.Efforts = append(d.Efforts, jumped(l.From, at))
			at += 4.5
		}
		d.Efforts = append(d.Efforts, jumped(l.To, at))
		at += 4.5
	}
	if len(lines) > 0 && lines[0].Round != nil {
		d.Rounds = append(d.Rounds, report.Round{Round: 1, Complete: true, StartS: ptr(18.0), FinishS: ptr(at), TimeS: pm(62, 0.2), TimeFaults: ptr(0), Disobediences: ptr(0), Missed: []string{}})
	}
	return d
}

// first and second are one horse twice over three lines: the second has 3 to 4 in the planned five strides and a
// wider rollback.
func first() Attempt {
	return Attempt{"Monday", round("monday", way("1", "2", 5, 3.50, 5.6, 5.7), turning90(way("2", "3", 14, 2.9, 5.0, 4.9), 6.0), way("3", "4", 6, 3.00, 4.8, 4.8))}
}

func second() Attempt {
	d := round("thursday", way("1", "2", 5, 3.52, 5.6, 5.6), turning90(way("2", "3", 15, 3.1, 5.1, 5.0), 9.0), way("3", "4", 5, 3.45, 5.6, 5.7))
	d.Recording.Start = ptr("2026-06-06T09:12:00Z")
	d.Rounds[0].Disobediences, d.Rounds[0].TimeFaults = ptr(1), ptr(2)
	return Attempt{"Thursday", d}
}

// lesson is one line ridden n times in one recording, the stride a little longer each time.
func lesson(n int) Attempt {
	var lines []report.Line
	for i := range n {
		wobble := []float64{0.004, -0.006, 0.002, -0.003, 0.005}[i%5]
		l := way("3", "4", 5, 3.2+0.06*float64(i)+wobble, 5.2, 5.2)
		l.Attempt, l.Round = i+1, nil
		l.StrideLengthM = pm(l.StrideLengthM.Value, 0.03)
		l.RhythmCV = pm(0.05-0.004*float64(i), 0.002)
		lines = append(lines, l)
	}
	return Attempt{"lesson", round("lesson", lines...)}
}

// watch is an attempt by a watch alone.
func watch(name string, strides float64) Attempt {
	d := round(name, way("1", "2", 5, 3.5, 5.6, 5.7), way("2", "3", strides, 3.4, 5.6, 5.7))
	d.Basis, d.Recording.MotionHz, d.Horse.Name, d.Recording.Start = "position", nil, nil, nil
	for i := range d.Lines {
		l := &d.Lines[i]
		l.StridesBy, l.RhythmCV, l.Fit = "estimated", nil, nil
	}
	return Attempt{name, d}
}

// longNames has names that no table has room for.
func longNames() []Attempt {
	a, b := first(), second()
	for _, x := range []*Attempt{&a, &b} {
		x.Name = "a lesson at the far end of the long field behind the \x1b[31mred\nbarn, the second group of that afternoon"
		for i := range x.Debrief.Lines {
			l := &x.Debrief.Lines[i]
			l.From, l.To = "obstacle with a long name "+l.From, "obstacle with a long name "+l.To
		}
		for i := range x.Debrief.Efforts {
			x.Debrief.Efforts[i].Obstacle = ptr("obstacle with a long name " + *x.Debrief.Efforts[i].Obstacle)
		}
	}
	return []Attempt{a, b}
}

// comparisons are all of these, by name.
func comparisons() []struct {
	name     string
	attempts []Attempt
} {
	three := second()
	three.Name = "Saturday"
	var many []Attempt
	for i := range 30 {
		a := first()
		a.Name = fmt.Sprintf("ride %d", i+1)
		many = append(many, a)
	}
	return []struct {
		name     string
		attempts []Attempt
	}{
		{"pair", []Attempt{first(), second()}},
		{"lesson", []Attempt{lesson(6)}},
		{"three", []Attempt{first(), second(), three}},
		{"watch", []Attempt{watch("one", 5), watch("two", 6)}},
		{"long-names", longNames()},
		{"many", many},
	}
}
