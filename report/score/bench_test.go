package score

import (
	"context"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report/build"
	"groundline/trace"
	"groundline/trace/geo"
	"groundline/trace/synth"
)

// roundEveryS is how often the field's course is ridden in the long rides.
const roundEveryS = 120.0

// ridesOnEnd is the field's course ridden again and again, with a walk back to the start between, as a receiver shows it.
func ridesOnEnd(t testing.TB, hours float64, w synth.Receiver) (*trace.Recording, *course.Plan) {
	t.Helper()
	plan := fieldPlan()
	m, err := fieldRide(plan).Make(demoSeed)
	require.NoError(t, err)
	require.Less(t, m.DurationS, roundEveryS-5)
	rng := rand.New(rand.NewPCG(1, 2))
	all := &trace.Positions{RateHz: w.RateHz}
	for round := range int(hours * 3600 / roundEveryS) {
		one, err := m.Positions(w, plan.Anchor.At, plan.Anchor.BearingDeg, rng.Uint64())
		require.NoError(t, err)
		from := roundEveryS * float64(round)
		if n := len(all.TimeS); n > 0 {
			// Back to the start in a straight line.
			a := geo.LatLon{LatDeg: all.LatDeg[n-1], LonDeg: all.LonDeg[n-1]}
			t0, t1 := all.TimeS[n-1], from+one.TimeS[0]
			for s := t0 + 1/w.RateHz; s < t1-0.5/w.RateHz; s += 1 / w.RateHz {
				u := (s - t0) / (t1 - t0)
				all.TimeS = append(all.TimeS, s)
				all.LatDeg = append(all.LatDeg, a.LatDeg+u*(one.LatDeg[0]-a.LatDeg))
				all.LonDeg = append(all.LonDeg, a.LonDeg+u*(one.LonDeg[0]-a.LonDeg))
				if one.SpeedMS != nil {
					all.SpeedMS = append(all.SpeedMS, 1.4)
				}
			}
		}
		for i, s := range one.TimeS {
			all.TimeS = append(all.TimeS, from+s)
			all.LatDeg, all.LonDeg = append(all.LatDeg, one.LatDeg[i]), append(all.LonDeg, one.LonDeg[i])
			if one.SpeedMS != nil {
				all.SpeedMS = append(all.SpeedMS, one.SpeedMS[i])
			}
		}
	}
	return m.Recording(fieldStart(), all, nil), plan
}

// BenchmarkWatch is the debrief of a watch's ride of a course, from fixes to figures: one round of two minutes, and rounds
// every two minutes for an hour and for four.
func BenchmarkWatch(b *testing.B) {
	for _, c := range []struct {
		name  string
		hours float64
	}{{"round", roundEveryS / 3600}, {"1h", 1}, {"4h", 4}} {
		b.Run(c.name, func(b *testing.B) {
			rec, plan := ridesOnEnd(b, c.hours, fieldWatch())
			benchDebrief(b, rec, plan)
		})
	}
}

// BenchmarkLogger is the same of a receiver at 10 Hz with a speed of its own.
func BenchmarkLogger(b *testing.B) {
	w := synth.Receiver{RateHz: 10, OffsetM: [2]float64{1.7, -1.1}, WanderM: 0.5, WanderS: 60, WhiteM: 0.1, SpeedNoiseMS: 0.05}
	rec, plan := ridesOnEnd(b, 1, w)
	benchDebrief(b, rec, plan)
}

func benchDebrief(b *testing.B, rec *trace.Recording, plan *course.Plan) {
	b.ReportAllocs()
	for b.Loop() {
		d, err := build.Debrief(context.Background(), rec, plan, build.Options{})
		require.NoError(b, err)
		require.NotEmpty(b, d.Lines)
	}
}
