package page

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report"
	"groundline/report/build"
	"groundline/trace"
	"groundline/trace/read"
)

// demoRide is the shipped round, debriefed anew from the files named.
func demoRide(t testing.TB, withPlan bool, files ...string) *report.Debrief {
	t.Helper()
	const folder = "../../cmd/groundline/demo/"
	var plan *course.Plan
	if withPlan {
		data, err := os.ReadFile(folder + "course.yaml")
		require.NoError(t, err)
		plan, _, err = course.ReadPlan("course.yaml", data)
		require.NoError(t, err)
	}
	for i := range files {
		files[i] = folder + files[i]
	}
	rec, err := read.Open(context.Background(), files, read.Options{})
	require.NoError(t, err)
	d, err := build.Debrief(t.Context(), rec, plan, build.Options{})
	require.NoError(t, err)
	return d
}

func render(t testing.TB, d *report.Debrief, units report.Units) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, Write(&out, d, Options{Units: units}))
	return out.String()
}

func within(v, half float64) *trace.Estimate {
	return &trace.Estimate{Value: v, Low: v - half, High: v + half}
}

func ptr[T any](v T) *T { return &v }

// loops is a drawn ride, invented: a walk to a ring of 25 m radius about (40, 30), cantered round so many times over
// two obstacles that stand on it, then a walk off; with a pause between loops where pauseS is above 0.
//
//	    2 →
//	 .-----.
//	|       |     anticlockwise from the right
//	 '-----'
//	    1 ←
func loops(n, obstacles int, pauseS float64) *report.Debrief {
	const radius, speed = 25.0, 5.5
	d := &report.Debrief{Schema: report.Schema, Basis: "position+motion", Course: &report.CourseInfo{Name: "Ring"},
		Recording: report.RecordingInfo{Files: []string{"ride.gpx"}, Start: ptr("2026-05-02T09:00:00Z"), PositionHz: ptr(10.0), MotionHz: ptr(100.0)},
		Plan: &course.Plan{Name: "Ring", Arena: []course.Point{{X: 0, Y: 0}, {X: 80, Y: 0}, {X: 80, Y: 60}, {X: 0, Y: 60}},
			Home: &course.Point{X: 300, Y: 30}, Gate: &course.Point{X: 80, Y: 30}}}
	r := &report.Ridden{Pieces: []int{0}}
	d.Ridden = r
	dist := 0.0
	add := func(t, x, y, v float64) {
		if k := len(r.TimeS); k > 0 {
			dist += math.Hypot(x-r.XM[k-1], y-r.YM[k-1])
		}
		r.TimeS, r.XM, r.YM = append(r.TimeS, t), append(r.XM, x), append(r.YM, y)
		r.SpeedMS, r.SpeedSDMS, r.DistanceM = append(r.SpeedMS, v), append(r.SpeedSDMS, 0.1), append(r.DistanceM, dist)
		r.HeightM = append(r.HeightM, 0.02*x)
	}
	k := 0 // in tenths of a second, so that times carry no rounding
	at := func() float64 { return float64(k) / 10 }
	for ; k < 150; k++ {
		add(at(), 80-0.1*float64(k), 30, 1)
	}
	loopS := 2 * math.Pi * radius / speed
	id := func(o int) string { return fmt.Sprint(o + 1) }
	for o := range obstacles {
		a := 2 * math.Pi * (float64(o) + 0.5) / float64(obstacles)
		d.Plan.Obstacles = append(d.Plan.Obstacles, course.Obstacle{ID: id(o), Kind: course.Vertical, WidthM: 3.5, SpreadM: 0.3, HeightM: 0.9,
			At: course.Point{X: 40 + radius*math.Cos(a), Y: 30 + radius*math.Sin(a)}, FacingDeg: math.Mod(720-a*180/math.Pi, 360)})
	}
	var last *report.Effort
	for loop := range n {
		start := at()
		for ; at() < start+loopS; k++ {
			a := (at() - start) / loopS * 2 * math.Pi
			add(at(), 40+radius*math.Cos(a), 30+radius*math.Sin(a), speed+0.6*math.Sin(a))
		}
		for o := range obstacles {
			off := start + loopS*(float64(o)+0.5)/float64(obstacles) - 0.25
			e := report.Effort{Obstacle: ptr(id(o)), Attempt: loop + 1, Outcome: "jumped", TakeoffS: within(off, 0.02), LandingS: within(off+0.5, 0.02),
				TakeoffDistanceM: within(1.8, 0.3), LandingDistanceM: within(1.7, 0.3), SpeedMS: within(speed, 0.2), Confidence: 0.99}
			if last != nil {
				from := last.LandingS.Value
				l := report.Line{From: *last.Obstacle, To: id(o), Attempt: loop + 1, Kind: "bending", DistanceM: ptr(60.0), Strides: within(10, 0), StridesBy: "counted",
					StrideLengthM: within(3.4, 0.05), SpeedMS: within(speed, 0.1), SpeedInMS: within(speed, 0.2), SpeedOutMS: within(speed-0.3, 0.2), SpeedDriftMS: within(-0.3, 0.3),
					Turn: &report.Turn{Direction: "left", TurnedDeg: within(160, 4), RadiusMinM: within(radius, 2), SpeedMinMS: within(5, 0.2)}}
				d.Lines = append(d.Lines, l)
				r.LineS = append(r.LineS, [2]float64{from, off})
				r.Bends = append(r.Bends, report.Bend{Line: len(d.Lines) - 1, XM: 40, YM: 30, RadiusM: radius, TouchDeg: 0, EitherWayDeg: 40})
			}
			d.Efforts = append(d.Efforts, e)
			last = &d.Efforts[len(d.Efforts)-1]
		}
		for s := start; s+0.6 < at(); s += 0.6 {
			d.Strides = append(d.Strides, report.Stride{Gait: "canter", FromS: s, ToS: s + 0.6, LengthM: within(3.3, 0.1), SpeedMS: within(speed, 0.1)})
		}
		for end := at() + pauseS; pauseS > 0 && at() < end; k++ {
			add(at(), 65, 30, 0.1)
		}
	}
	for range 100 {
		add(at(), 65, 30, 0.5)
		k++
	}
	d.Recording.DurationS = at()
	d.Gaits = []report.GaitSpan{{Gait: "walk", FromS: 0, ToS: 15}, {Gait: "canter", FromS: 15, ToS: at() - 10}, {Gait: "halt", FromS: at() - 10, ToS: at()}}
	return d
}

// hostile is a name that would do harm where it is not escaped, and turns the reading direction.
const hostile = "</script><script>document.title='harm'</script><img src=x onerror=alert(1)>\"'&\u202egnp\x00 "

// named is a ride whose every name from outside is the same.
func named(name string) *report.Debrief {
	d := loops(1, 2, 0)
	d.Course.Name, d.Plan.Name, d.Horse.Name = name, name, &name
	d.Recording.Files = []string{"folder/" + name}
	d.Plan.Obstacles[0].ID = name
	d.Efforts[0].Obstacle = &name
	d.Lines[0].From = name
	d.Notes = []trace.Note{{Level: "warning", What: name, Why: name}}
	return d
}

// rides are a ride of each kind that the page must cope with.
func rides(t testing.TB) []struct {
	name string
	d    *report.Debrief
} {
	gap := loops(2, 2, 0)
	gap.Ridden.Pieces = []int{0, 400, 401}
	bare := loops(1, 2, 0)
	bare.Plan, bare.Course, bare.Efforts, bare.Lines, bare.Ridden.LineS, bare.Ridden.Bends = nil, nil, nil, nil, nil, nil
	still := loops(1, 2, 0)
	for i := range still.Ridden.TimeS {
		still.Ridden.XM[i], still.Ridden.YM[i], still.Ridden.SpeedMS[i], still.Ridden.DistanceM[i] = 3, 4, 0, 0
	}
	noTrack := loops(1, 2, 0)
	noTrack.Ridden = nil
	empty := &report.Debrief{Schema: report.Schema, Basis: "position"}
	return []struct {
		name string
		d    *report.Debrief
	}{
		{"demo", demoRide(t, true, "ride.gpx", "motion.csv")}, {"watch alone", demoRide(t, true, "ride.gpx")},
		{"motion alone", demoRide(t, true, "motion.csv")}, {"no plan", demoRide(t, false, "ride.gpx", "motion.csv")},
		{"motion, no plan", demoRide(t, false, "motion.csv")}, {"track only", demoRide(t, false, "ride.gpx")},
		{"thirty obstacles", loops(1, 30, 0)}, {"long lesson", loops(40, 2, 32)}, {"gap", gap}, {"nothing jumped", bare},
		{"stands still", still}, {"no track", noTrack}, {"empty", empty}, {"one file of no name", named("")},
		{"hostile", named(hostile)}, {"long names", named(strings.Repeat("Überlänge ", 30))},
	}
}
