package report

import (
	"groundline/trace"
)

// The rides below are invented: a name for each kind of recording and of ride that the
// renderings must cope with.

func ptr[T any](v T) *T { return &v }

// within is value ± half.
func within(value, half float64) *trace.Estimate {
	return &trace.Estimate{Value: value, Low: value - half, High: value + half}
}

func between(value, low, high float64) *trace.Estimate {
	return &trace.Estimate{Value: value, Low: low, High: high}
}

func exactly(n float64) *trace.Estimate { return within(n, 0) }

// way is a ridden line with the figures that a watch and a motion sensor give together.
func way(from, to, kind string, distanceM, strides, strideM, in, out float64) Line {
	return Line{
		From: from, To: to, Round: ptr(1), Attempt: 1, Kind: kind, DistanceM: ptr(distanceM),
		TrackM: within(distanceM-3, 0.4), Strides: exactly(strides), StridesBy: "counted",
		StrideLengthM: within(strideM, 0.2/strides), StrideS: within(0.606, 0.004), RhythmCV: within(0.02, 0.01),
		SpeedMS: within((in+out)/2, 0.06), SpeedInMS: within(in, 0.13), SpeedOutMS: within(out, 0.14),
		SpeedDriftMS: within(out-in, 0.19), Grade: ptr(-0.0151), Homeward: ptr(-0.714),
		Turn: &Turn{Direction: "straight", TurnedDeg: within(0.2, 2), SpeedMinMS: within(min(in, out), 0.1)},
	}
}

func (l Line) turning(direction string, turnedDeg, radiusM, slowest float64) Line {
	sign := 1.0
	if direction == "right" {
		sign = -1
	}
	l.Turn = &Turn{Direction: direction, TurnedDeg: within(sign*turnedDeg, 3),
		RadiusMinM: between(radiusM, 0.94*radiusM, 1.07*radiusM), SpeedMinMS: within(slowest, 0.12)}
	return l
}

func (l Line) fitting(planned int, perStrideM float64, says string) Line {
	l.PlannedStrides, l.Fit = ptr(planned), &Fit{PerStrideM: within(perStrideM, 0.04), Says: &says, Against: AgainstRide}
	switch says {
	case "long":
		l.Fit.PLong = 1
	case "short":
		l.Fit.PShort = 1
	default:
		l.Fit.PRight = 1
	}
	return l
}

func jumped(obstacle string, takeoffS float64) Effort {
	return Effort{
		Obstacle: &obstacle, Round: ptr(1), Attempt: 1, Outcome: "jumped",
		TakeoffS: within(takeoffS, 0.025), LandingS: within(takeoffS+0.52, 0.03),
		TakeoffDistanceM: within(1.85, 0.35), LandingDistanceM: within(1.8, 0.35), SpeedMS: within(5.7, 0.1),
		LeadIn: ptr("left"), LeadOut: ptr("left"),
		Approach:   &Approach{StraightRMSM: within(0.12, 0.05), AngleDeg: within(2, 3)},
		Confidence: 0.99,
	}
}

// fullRound is ten efforts with both devices, one round, a time fault.
func fullRound() *Debrief {
	d := &Debrief{
		Schema: Schema,
		Recording: RecordingInfo{Files: []string{"ride.gpx", "motion.csv"}, Start: ptr("2026-04-04T15:49:38Z"),
			DurationS: 119.357, PositionHz: ptr(10.0), MotionHz: ptr(200.4), ClockOffsetS: ptr(0.0)},
		Basis: "position+motion",
		Course: &CourseInfo{Name: "Long field, Thursday group",
			Placed: &Placed{RightM: 1.06, ForwardM: -0.39, ResidualM: 0.31}},
		Lines: []Line{
			way("1", "2", "single", 61.38, 17, 3.676, 6.05, 6.22).turning("right", 108.7, 9.3, 5.85),
			way("2", "3", "single", 80.1, 26, 3.13, 5.2, 5.0).turning("right", 64.7, 9.5, 4.7),
			way("3", "4", "related", 21.95, 5, 3.413, 5.62, 5.58).fitting(5, -0.12, "short"),
			way("4", "5", "rollback", 32.4, 13, 3.363, 5.6, 5.3).turning("right", 154.6, 6.63, 4.9),
			way("5", "6", "bending", 22.98, 5, 3.645, 5.8, 6.1).turning("right", 20.7, 17, 5.8).fitting(5, 0.26, "long"),
			way("6", "7a", "single", 62.0, 20, 3.19, 5.4, 5.1).turning("left", 172.7, 9.3, 4.8),
			way("7a", "7b", "combination", 7.6, 1, 2.261, 4.5, 4.4).fitting(1, -0.02, "right"),
			way("7b", "8", "single", 76.4, 22, 3.568, 5.9, 5.95).turning("left", 162.5, 9.5, 5.5),
			way("8", "9", "related", 18.3, 4, 3.417, 5.6, 5.65).fitting(4, 0.01, "right"),
		},
		Rounds: []Round{{Round: 1, Complete: true, StartS: ptr(27.1), FinishS: ptr(109.9), TimeS: within(82.8, 0.15),
			TimeAllowedS: ptr(82.0), TimeFaults: ptr(1)}},
		Slope: &Slope{PerPercentMS: within(-0.05, 0.03), HomewardMS: within(0.1, 0.2), N: 9},
		Gaits: []GaitSpan{{"walk", 0, 12}, {"trot", 12, 20}, {"canter", 20, 112}, {"walk", 112, 119.3}},
		Strides: []Stride{{Gait: "canter", FromS: 58.2, ToS: 58.811, LengthM: within(3.41, 0.05),
			SpeedMS: within(5.6, 0.07), Lead: ptr("left"), Line: ptr("3-4")}},
		Horse: Horse{Name: ptr("Bramble"), CanterStrideM: within(3.48, 0.03), StrideS: within(0.607, 0.003)},
		Notes: []trace.Note{
			{Level: "info", What: "take-off and landing distances", Why: "the sensor sits ahead of the hind hooves by an assumed 1.2 m ±0.3"},
		},
	}
	for i, at := range []float64{29.43, 40.53, 57.45, 61.41, 70.38, 74.35, 87.54, 89.26, 103.58, 106.93} {
		d.Efforts = append(d.Efforts, jumped([]string{"1", "2", "3", "4", "5", "6", "7a", "7b", "8", "9"}[i], at))
	}
	d.Efforts[3].TakeoffDistanceM = within(1.15, 0.3)
	d.Efforts[5].Approach.AngleDeg = within(16, 5)
	d.Efforts[5].LeadOut = ptr("right")
	d.Lines[2].StrideLengthsM = []float64{3.48, 3.44, 3.41, 3.39, 3.345}
	return d
}

// watchAlone is five efforts seen by a watch once a second.
func watchAlone() *Debrief {
	d := fullRound()
	d.Recording = RecordingInfo{Files: []string{"morning-ride.gpx"}, Start: ptr("2026-03-24T17:37:09Z"), DurationS: 92, PositionHz: ptr(1.0)}
	d.Basis = "position"
	d.Efforts, d.Lines = d.Efforts[:5], d.Lines[:4]
	for i := range d.Efforts {
		e := &d.Efforts[i]
		e.TakeoffS, e.LandingS = within(e.TakeoffS.Value, 0.4), within(e.LandingS.Value, 0.4)
		e.TakeoffDistanceM, e.LandingDistanceM, e.LeadIn, e.LeadOut = nil, nil, nil, nil
		e.SpeedMS, e.Confidence, e.Approach = within(5.6, 0.4), 0.96, nil
	}
	for i := range d.Lines {
		l := &d.Lines[i]
		l.StridesBy, l.StrideLengthsM, l.RhythmCV, l.Fit = "estimated", nil, nil, nil
		l.Strides = between(l.Strides.Value, l.Strides.Value-0.3, l.Strides.Value+0.4*float64(i)) // settled for the first two
		l.StrideLengthM = within(l.StrideLengthM.Value, 0.15)
		l.SpeedInMS, l.SpeedOutMS, l.SpeedDriftMS = within(l.SpeedInMS.Value, 0.4), within(l.SpeedOutMS.Value, 0.4), within(0.1, 0.5)
		if l.Turn.RadiusMinM != nil {
			r := l.Turn.RadiusMinM.Value
			l.Turn.RadiusMinM = between(r, r*0.85, r*1.4)
		}
	}
	d.Rounds = []Round{{Round: 1, Complete: true, StartS: ptr(29.4), FinishS: ptr(70.9), TimeS: within(41.5, 0.6)}}
	d.Horse.Name = nil
	d.Slope, d.Strides = nil, []Stride{}
	d.Notes = []trace.Note{
		{Level: "caution", What: "strides", Why: "no motion sensor: a watch at 1 Hz shows no stride, so they are time between fences over the stride time that makes all lines whole"},
		{Level: "caution", What: "take-off and landing distances", Why: "positions are metres off and seconds apart"},
		{Level: "caution", What: "leads", Why: "positions are metres off and seconds apart"},
	}
	return d
}

// motionAlone is a pony with a sensor and no positions.
func motionAlone() *Debrief {
	d := fullRound()
	d.Recording = RecordingInfo{Files: []string{"motion.csv"}, DurationS: 98.2, MotionHz: ptr(50.0)}
	d.Basis, d.Course.Placed, d.Horse = "motion", nil, Horse{CanterStrideM: within(2.45, 0.1), StrideS: within(0.527, 0.004)}
	d.Efforts, d.Lines = d.Efforts[:5], d.Lines[:4]
	for i := range d.Efforts {
		e := &d.Efforts[i]
		e.TakeoffDistanceM, e.LandingDistanceM, e.SpeedMS, e.Approach, e.LeadIn, e.LeadOut = nil, nil, nil, nil, nil, nil
	}
	d.Efforts[4].Confidence = 0.82
	for i := range d.Lines {
		l := &d.Lines[i]
		l.TrackM, l.StrideLengthM, l.StrideLengthsM, l.SpeedMS, l.SpeedInMS, l.SpeedOutMS, l.SpeedDriftMS, l.Turn, l.Fit =
			nil, nil, nil, nil, nil, nil, nil, nil, nil
	}
	d.Lines[2].StrideLengthM, d.Lines[2].SpeedMS = within(2.63, 0.09), within(5.0, 0.15)
	d.Rounds[0] = Round{Round: 1, Complete: true, StartS: ptr(29.4), FinishS: ptr(70.9), TimeS: within(41.5, 0.05)}
	d.Slope, d.Strides = nil, nil
	d.Notes = []trace.Note{
		{Level: "caution", What: "which obstacle each jump was", Why: "no positions: read from the order of the route, times and strides"},
		{Level: "caution", What: "turns, and stride lengths but on straight measured lines", Why: "no positions"},
	}
	return d
}

// nothingJumped is a hack: walk and trot.
func nothingJumped() *Debrief {
	d := fullRound()
	d.Efforts, d.Lines, d.Rounds, d.Slope, d.Strides = nil, nil, nil, nil, nil
	d.Gaits = []GaitSpan{{"walk", 0, 190}, {"trot", 190, 310.4}, {"walk", 310.4, 330}}
	d.Horse = Horse{}
	d.Notes = []trace.Note{{Level: "warning", What: "nothing was jumped", Why: "no push-off, flight and landing were found"}}
	return d
}

// refusal is a round with a stop at 5, a fence left out and another count than planned.
func refusal() *Debrief {
	d := fullRound()
	stop := Effort{Obstacle: ptr("5"), Round: ptr(1), Attempt: 1, Outcome: "refused", TakeoffS: within(67.2, 0.5), Confidence: 0.97}
	again := d.Efforts[4]
	again.Attempt, again.TakeoffS = 2, within(82.33, 0.03)
	d.Efforts = append(append(append([]Effort{}, d.Efforts[:4]...), stop, again), d.Efforts[5:9]...)
	d.Lines = append(d.Lines[:3:3], d.Lines[4:7]...)
	d.Lines[3].Attempt = 2
	d.Lines[2].Strides, d.Lines[2].RhythmCV = exactly(6), within(0.09, 0.03)
	d.Rounds = []Round{{Round: 1, StartS: ptr(27.1), Disobediences: ptr(1), TimeAllowedS: ptr(82.0), Missed: []string{"9"}}}
	return d
}

// lesson is two lines ridden again and again, then a round.
func lesson() *Debrief {
	d := fullRound()
	var efforts []Effort
	var lines []Line
	at := 37.9
	take := func(id string, round *int) {
		e := jumped(id, at)
		e.Round = round
		efforts = append(efforts, e)
		at += 4
	}
	ride := func(l Line, attempt int, round *int) {
		l.Attempt, l.Round = attempt, round
		lines = append(lines, l)
	}
	at = 18.4
	take("5", nil)
	efforts[0].Outcome = "warm-up"
	for k := range 2 {
		take("3", nil)
		take("4", nil)
		ride(way("3", "4", "related", 21.95, 5, 3.44-0.06*float64(k), 5.7, 5.6).fitting(5, -0.03-0.1*float64(k), []string{"right", "short"}[k]), k+1, nil)
		ride(way("4", "3", "between", 70, 22, 3.41, 5.6, 5.6), k+1, nil)
	}
	for k := range 3 {
		var round *int
		if k == 2 {
			round = ptr(1)
		}
		take("1", round)
		take("2", round)
		ride(way("1", "2", "bending", 21.4, 5, 3.55+0.05*float64(k), 5.7, 5.9).turning("left", 36, 13.8-float64(k), 5.6), k+1, round)
	}
	for _, id := range []string{"3", "4", "5"} {
		take(id, ptr(1))
	}
	ride(way("2", "3", "rollback", 30, 17, 2.98, 4.9, 4.75).turning("left", 125.8, 6.9, 4.5), 1, ptr(1))
	ride(way("3", "4", "related", 21.95, 5, 3.336, 5.6, 5.5).fitting(5, -0.22, "short"), 3, ptr(1))
	ride(way("4", "5", "single", 58.5, 20, 3.05, 5.0, 4.9).turning("left", 181.6, 9.5, 4.6), 1, ptr(1))
	for i := range efforts {
		efforts[i].Confidence = 0.99
	}
	d.Efforts, d.Lines = efforts, lines
	d.Rounds = []Round{{Round: 1, Complete: true, StartS: ptr(110.0), FinishS: ptr(144.0), TimeS: within(34, 0.2), TimeAllowedS: ptr(40.0), TimeFaults: ptr(0)}}
	return d
}

// noPlan is a ride with jumps and no course.
func noPlan() *Debrief {
	d := fullRound()
	d.Course, d.Lines, d.Rounds, d.Slope = nil, nil, nil, nil
	d.Efforts = d.Efforts[:3]
	for i := range d.Efforts {
		d.Efforts[i].Obstacle, d.Efforts[i].Round = nil, nil
	}
	d.Notes = []trace.Note{{Level: "warning", What: "lines", Why: "no course plan was given"}}
	return d
}

// empty is a debrief of which nothing is told, every slice and pointer nil.
func empty() *Debrief {
	return &Debrief{Schema: Schema, Basis: "position", Recording: RecordingInfo{Files: []string{"a.gpx"}}}
}

// rides are the fixtures by name, in a fixed order.
func rides() []struct {
	name string
	d    *Debrief
} {
	return []struct {
		name string
		d    *Debrief
	}{
		{"both", fullRound()}, {"watch-alone", watchAlone()}, {"motion-alone", motionAlone()},
		{"nothing-jumped", nothingJumped()}, {"refusal", refusal()}, {"lesson", lesson()},
		{"no-plan", noPlan()}, {"empty", empty()},
	}
}
