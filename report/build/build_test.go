package build

import (
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/course"
	"groundline/report"
	"groundline/trace"
	"groundline/trace/read"
)

// Whatever a device writes and whatever plan it is held against, the answer is a debrief of finite numbers
// whose intervals hold their values, or an error; never a panic.
func TestAnyRecordingIsToldOrRefused(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/plans/field.yaml")
	require.NoError(t, err)
	field, _, err := course.ReadPlan("field.yaml", raw)
	require.NoError(t, err)
	told := 0
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		rec := &trace.Recording{}
		if rapid.Bool().Draw(t, "positions") {
			rec.Positions = wanderings(t, rng, field)
		}
		if rapid.Bool().Draw(t, "motion") {
			rec.Motion = shakings(t, rng)
		}
		plan := field
		switch rapid.IntRange(0, 3).Draw(t, "plan") {
		case 0:
			plan = nil
		case 1:
			p := *field
			p.Anchor = nil
			plan = &p
		case 2:
			p := *field
			p.Route, p.Levels, p.Home, p.Arena, p.Start = p.Route[:1], nil, nil, nil, nil
			p.SetLines(nil)
			plan = &p
		}
		d, err := Debrief(t.Context(), rec, plan, Options{})
		if err != nil {
			return
		}
		told++
		require.NoError(t, report.JSON(io.Discard, d))
		require.NoError(t, report.Text(io.Discard, d, report.TextOptions{Explain: true}))
		for _, e := range d.Efforts {
			require.True(t, e.Confidence >= 0 && e.Confidence <= 1 && e.ObstacleConfidence <= e.Confidence+1e-9)
			if e.TakeoffS != nil {
				require.True(t, e.TakeoffS.Low <= e.TakeoffS.Value && e.TakeoffS.Value <= e.TakeoffS.High)
			}
		}
		for _, l := range d.Lines {
			for _, x := range []*trace.Estimate{l.TrackM, l.Strides, l.StrideLengthM, l.StrideS, l.SpeedMS, l.RhythmCV} {
				require.True(t, x == nil || x.Low <= x.Value+1e-9 && x.Value <= x.High+1e-9, "%+v", x)
			}
		}
	})
	require.Positive(t, told, "nothing was told at all: the test tests nothing")
}

// wanderings are fixes of a ride over the field, or of no ride at all.
func wanderings(t *rapid.T, rng *rand.Rand, plan *course.Plan) *trace.Positions {
	p := &trace.Positions{}
	step := rapid.SampledFrom([]float64{0.1, 0.2, 1, 5}).Draw(t, "step")
	n := rapid.IntRange(1, 150).Draw(t, "fixes")
	p.RateHz = 1 / step
	lat, lon := plan.Anchor.At.LatDeg, plan.Anchor.At.LonDeg
	h, v, now := rng.Float64()*7, 0.0, 0.0
	wild := rapid.Float64Range(0, 0.1).Draw(t, "wild")
	scatter := rapid.Float64Range(0, 5).Draw(t, "scatter") / 111e3
	for range n {
		now += step
		if rng.Float64() < 0.02 {
			now += 60 * rng.Float64() // a gap
		}
		h += 0.5 * rng.NormFloat64() * math.Sqrt(step)
		v = math.Min(math.Max(v+rng.NormFloat64(), 0), 8)
		lat += v * step * math.Cos(h) / 111e3
		lon += v * step * math.Sin(h) / 70e3
		la, lo := lat+scatter*rng.NormFloat64(), lon+scatter*rng.NormFloat64()
		if rng.Float64() < wild {
			la, lo = la+rng.NormFloat64(), lo-rng.NormFloat64()
		}
		p.TimeS, p.LatDeg, p.LonDeg, p.Segment = append(p.TimeS, now), append(p.LatDeg, la), append(p.LonDeg, lo), append(p.Segment, 0)
	}
	return p
}

// shakings are a sensor's samples: rest, waves of any rate, leaps and nothing, with holes and jitter.
func shakings(t *rapid.T, rng *rand.Rand) *trace.Motion {
	m := &trace.Motion{RateHz: rapid.SampledFrom([]float64{12, 50, 100}).Draw(t, "rate")}
	n := rapid.IntRange(1, 3000).Draw(t, "samples")
	gyro := rapid.Bool().Draw(t, "gyroscope")
	now, hz, size := 0.0, 1.7, 5.0
	for i := range n {
		now += (1 + 0.2*rng.Float64()) / m.RateHz
		switch {
		case rng.Float64() < 0.001:
			now += 3 * rng.Float64()
		case rng.Float64() < 0.005:
			hz, size = 3*rng.Float64(), 25*rng.Float64()
		}
		w := size * math.Sin(2*math.Pi*hz*float64(i)/m.RateHz)
		m.TimeS = append(m.TimeS, now)
		m.AX, m.AY, m.AZ = append(m.AX, rng.NormFloat64()), append(m.AY, 0.3*w), append(m.AZ, 9.81+w)
		if gyro {
			m.GX, m.GY, m.GZ = append(m.GX, 0.1*w), append(m.GY, rng.NormFloat64()), append(m.GZ, 0.3)
		}
	}
	return m
}

// A distance that the track tells is told as that; one that a plan tells, as it stands there.
func TestFoundDistancesAreAbout(t *testing.T) {
	rec, err := read.Open(t.Context(), []string{filepath.Join(demoRide, "ride.gpx"), filepath.Join(demoRide, "motion.csv")}, read.Options{})
	require.NoError(t, err)
	d, err := Debrief(t.Context(), rec, nil, Options{})
	require.NoError(t, err)
	told := false
	for _, l := range report.Tell(d, report.Metric).Lines {
		kind, distance, has := strings.Cut(l.Ground, " ")
		require.True(t, !has || regexp.MustCompile(`^about \d+ m$`).MatchString(distance), "%s: %s", kind, l.Ground)
		told = told || has
	}
	require.True(t, told, "no line of a kind that people walk")
	var out strings.Builder
	require.NoError(t, report.Text(&out, d, report.TextOptions{Units: report.Imperial, Tables: true}))
	require.Regexp(t, `(related|bending) about \d+ ft`, out.String())
	require.Contains(t, report.Tell(rideIn(t, demoRide, "ride.gpx", "motion.csv"), report.Metric).Lines[0].Ground, "related 21.60 m")
}
