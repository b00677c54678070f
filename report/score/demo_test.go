package score

import (
	"bytes"
	"flag"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/trace/geo"
	"groundline/trace/synth"
)

// update writes the demo's files anew: go test ./report/score -run Demo -update.
var update = flag.Bool("update", false, "write the demo's files anew")

// demoSeed is the seed of the shipped files: any will do.
const demoSeed = 20

// fieldPlan is the demo's course: an invented field, rising to the right, home beyond the gate at its lower edge.
//
//	60 +---------------------------------------------+
//	   |                                             |
//	   |                          6b<  6a<           |
//	   |           ^2      v3                        |
//	   |                                       ^5    |
//	   |               v7                            |
//	   |           ^1            4\                  |
//	 0 +----------------------gate-------------------+
//	   0                                            92
func fieldPlan() *course.Plan {
	vertical := func(id string, x, y, facing, height float64) course.Obstacle {
		return course.Obstacle{ID: id, Kind: course.Vertical, At: course.Point{X: x, Y: y}, FacingDeg: facing, HeightM: height, SpreadM: 0.3, WidthM: 3.5}
	}
	oxer := func(id string, x, y, facing, height, spread float64) course.Obstacle {
		o := vertical(id, x, y, facing, height)
		o.Kind, o.SpreadM = course.Oxer, spread
		return o
	}
	plan := &course.Plan{
		Name:   "Low field, an invented course",
		Anchor: &course.Anchor{At: geo.LatLon{LatDeg: 47.5, LonDeg: -15.25}, BearingDeg: 24},
		Arena:  []course.Point{{X: 0, Y: 0}, {X: 92, Y: 0}, {X: 92, Y: 60}, {X: 0, Y: 60}},
		Levels: []course.Spot{{X: 0, Y: 0, Z: 0}, {X: 92, Y: 0, Z: 2.3}, {X: 92, Y: 60, Z: 2.9}, {X: 0, Y: 60, Z: 0.6}},
		Home:   &course.Point{X: 46, Y: -40}, Gate: &course.Point{X: 46, Y: 0},
		SpeedMMin: 325,
		Start:     &[2]course.Point{{X: 20, Y: 8}, {X: 28, Y: 8}},
		Finish:    &[2]course.Point{{X: 32.1, Y: 14.6}, {X: 39.7, Y: 17.4}},
		Obstacles: []course.Obstacle{
			vertical("1", 24, 17, 0, 0.85),
			oxer("2", 24, 39.25, 0, 0.9, 0.9),
			vertical("3", 43, 36, 180, 0.9),
			oxer("4", 55.5, 13.5, 128, 0.9, 0.8),
			vertical("5", 78, 24, 0, 0.95),
			vertical("6a", 62, 49, 270, 0.9),
			oxer("6b", 53.8, 49, 270, 0.9, 0.9),
			oxer("7", 33, 25, 160, 0.95, 1),
		},
		Route: []string{"1", "2", "3", "4", "5", "6a", "6b", "7"},
	}
	walked := func(from, to string, kind course.LineKind, m float64) course.Line {
		return course.Line{From: from, To: to, Kind: kind, WalkedM: &m}
	}
	plan.SetLines([]course.Line{
		walked("1", "2", course.Related, 21.6),
		{From: "2", To: "3", Kind: course.Rollback},
		{From: "3", To: "4", Kind: course.Bending},
		walked("6a", "6b", course.Combination, 7.6),
	})
	return plan
}

// fieldRide rides the demo's course: in through the gate, the round, out to a halt.
func fieldRide(plan *course.Plan) synth.Ride {
	horse := synth.Warmblood()
	start := synth.Pose{X: 46, Y: 3, FacingDeg: 0}
	r := synth.Ride{Start: start, WaitS: 6, Horse: horse,
		GroundM: [3]float64{31, 2.3 / 92, 0.01},
		Stops: []synth.Stop{
			{Pose: synth.Pose{X: 46, Y: 12}, Gait: synth.Walk},
			{Pose: synth.Pose{X: 38, Y: 26, FacingDeg: 300}, Gait: synth.Trot, RadiusM: 7},
			{Pose: synth.Pose{X: 6, Y: 30, FacingDeg: 180}, Gait: synth.Canter},
		}}
	// The pull of home and the grade make the wanted speed: by how much is our choice, and small.
	speed := func(from, to course.Point) float64 {
		d := math.Hypot(to.X-from.X, to.Y-from.Y)
		grade := (2.3/92*(to.X-from.X) + 0.01*(to.Y-from.Y)) / d
		home := -(to.Y - from.Y) / d
		return horse.CanterMS - 6*grade + 0.12*home
	}
	at := course.Point{X: 6, Y: 30}
	strides := map[string]int{"2": 5, "6b": 1}
	radius := map[string]float64{"3": 9.5, "4": 14, "5": 9, "6a": 10, "7": 11}
	for _, id := range plan.Route {
		o, _ := plan.Obstacle(id)
		r.Stops = append(r.Stops, synth.Stop{
			Pose: synth.Pose{X: o.At.X, Y: o.At.Y, FacingDeg: o.FacingDeg}, Gait: synth.Canter, SpeedMS: speed(at, o.At), RadiusM: radius[id],
			Fence: &synth.Fence{ID: o.ID, HeightM: o.HeightM, SpreadM: o.SpreadM, Strides: strides[id]}})
		at = o.At
	}
	r.Stops = append(r.Stops,
		synth.Stop{Pose: synth.Pose{X: 48, Y: 7, FacingDeg: 90}, Gait: synth.Canter},
		synth.Stop{Pose: synth.Pose{X: 64, Y: 7, FacingDeg: 90}, Gait: synth.Trot},
		synth.Stop{Pose: synth.Pose{X: 74, Y: 7, FacingDeg: 90}, Gait: synth.Walk, HoldS: 3})
	return r
}

func fieldStart() time.Time { return time.Date(2026, 5, 9, 14, 30, 0, 0, time.UTC) }

// A watch of the usual kind: 1 Hz, some metres off, wandering within a minute (Gløersen et al. 2018 and
// D. L. Wilson's long records, by size).
func fieldWatch() synth.Receiver {
	return synth.Receiver{RateHz: 1, OffsetM: [2]float64{1.7, -1.1}, WanderM: 0.8, WanderS: 60, WhiteM: 0.2, HeightNoiseM: 0.4}
}

// A small sensor under the saddle, put in as it came.
func fieldSensor() synth.Sensor {
	return synth.Sensor{RateHz: 100, JitterS: 0.0004, NoiseMS2: 0.25, NoiseRadS: 0.02, MountDeg: [3]float64{8, -12, 65}, Gyro: true}
}

// TestDemoFiles holds the shipped demo to what makes it. On a processor that fuses multiplications and
// additions the last digits may differ: make the files on amd64.
func TestDemoFiles(t *testing.T) {
	plan := fieldPlan()
	m, err := fieldRide(plan).Make(demoSeed)
	require.NoError(t, err)
	watch, err := m.Positions(fieldWatch(), plan.Anchor.At, plan.Anchor.BearingDeg, demoSeed)
	require.NoError(t, err)
	motion, err := m.Motion(fieldSensor(), demoSeed)
	require.NoError(t, err)
	files := map[string][]byte{
		"course.yaml": course.WritePlan(plan),
		"ride.gpx":    synth.GPX(watch, fieldStart()),
		"motion.csv":  synth.MotionCSV(motion),
	}
	dir := filepath.Join("..", "..", "cmd", "groundline", "demo")
	total := 0
	for _, name := range []string{"course.yaml", "ride.gpx", "motion.csv"} {
		total += len(files[name])
		if *update {
			require.NoError(t, os.WriteFile(filepath.Join(dir, name), files[name], 0o644))
		}
		shipped, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		require.True(t, bytes.Equal(files[name], shipped), "%s is not what makes it: run with -update", name)
	}
	require.Less(t, total, 1_500_000, "the demo is in the program")
}

// The plan that is shipped has no fault and nothing to warn of, and the ride jumps its obstacles where they stand.
func TestDemoPlanAndRideAgree(t *testing.T) {
	plan, warnings, err := course.ReadPlan("course.yaml", course.WritePlan(fieldPlan()))
	require.NoError(t, err)
	require.Empty(t, warnings)
	m, err := fieldRide(plan).Make(demoSeed)
	require.NoError(t, err)
	require.Len(t, m.Jumps, len(plan.Route))
	for i, j := range m.Jumps {
		o, _ := plan.Obstacle(plan.Route[i])
		mid := m.Path.At((j.TakeoffM + j.LandingM) / 2)
		require.InDelta(t, 0, math.Hypot(mid.X-o.At.X, mid.Y-o.At.Y), 1, "at %s", o.ID)
		require.InDelta(t, 0, math.Sin((mid.FacingDeg-o.FacingDeg)*math.Pi/180), 1e-9)
	}
	for at := 0.0; at < m.DurationS; at += 0.1 {
		_, s := m.At(at)
		q := m.Path.At(s)
		require.True(t, q.X > 1 && q.X < 91 && q.Y > 1 && q.Y < 59, "in the arena at %.1f s: %.1f, %.1f", at, q.X, q.Y)
	}
}
