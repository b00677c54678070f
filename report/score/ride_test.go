package score

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report"
	"groundline/report/build"
	"groundline/trace"
	"groundline/trace/read"
	"groundline/trace/synth"
)

// truthOf is the truth of a made ride, as far as it has one, in the shape of the rounds' own, with these
// refusals and run-outs in between, in time order. Every jump is one of the plan's route, in its order.
func truthOf(t *testing.T, m *synth.Made, w synth.Receiver, start time.Time, refusals ...TrueEffort) *Truth {
	t.Helper()
	truth := &Truth{Start: start.Format(time.RFC3339), DurationS: m.DurationS, OffsetM: &w.OffsetM}
	broken := make(map[int]bool) // the ways from these jumps on
	for i, j := range m.Jumps {
		for len(refusals) > 0 && *refusals[0].AtS < j.TakeoffS {
			truth.Efforts = append(truth.Efforts, refusals[0])
			refusals, broken[i-1] = refusals[1:], true
		}
		truth.Efforts = append(truth.Efforts, TrueEffort{Obstacle: j.Fence, Outcome: "jumped", TakeoffS: &j.TakeoffS, LandingS: &j.LandingS,
			TakeoffDistanceM: &j.TakeoffDistanceM, LandingDistanceM: &j.LandingDistanceM})
	}
	for _, l := range m.Lines {
		i := l.Jump
		if broken[i] {
			continue
		}
		from, to := m.Jumps[i].LandingM, m.Jumps[i+1].TakeoffM
		turned := m.Path.At(from).FacingDeg - m.Path.At(to).FacingDeg
		side := "straight"
		if turned > 10 {
			side = "left"
		} else if turned < -10 {
			side = "right"
		}
		radius := math.Inf(1)
		for s := from + 2; s <= to-2; s += 0.25 { // the tightest over 4 m of travel
			radius = min(radius, 4/math.Abs((m.Path.At(s-2).FacingDeg-m.Path.At(s+2).FacingDeg)*math.Pi/180))
		}
		tl := TrueLine{From: l.From, To: l.To, Strides: l.Strides, StrideS: p(l.StrideS), TrackM: l.TrackM, SpeedMeanMS: l.SpeedMS, Turn: side, TurnedDeg: turned, RadiusMinM: &radius}
		var sum float64
		for _, s := range m.Strides {
			if s.FromS > m.Jumps[i].LandingS && s.ToS < m.Jumps[i+1].TakeoffS {
				sum += s.LengthM / float64(l.Strides)
			}
		}
		tl.StrideLengthM = &sum
		truth.Lines = append(truth.Lines, tl)
	}
	for _, g := range m.Gaits {
		truth.Gaits = append(truth.Gaits, TrueGait{g.Gait, g.FromS, g.ToS})
	}
	for _, s := range m.Strides {
		truth.Strides = append(truth.Strides, TrueStride{s.Gait, s.FromS, s.ToS})
		if s.Gait == synth.Canter {
			truth.Leads = append(truth.Leads, TrueLead{s.FromS, s.Lead})
		}
	}
	require.NoError(t, truth.prepare())
	return truth
}

// ridden is a made ride with what its devices wrote.
type ridden struct {
	plan  *course.Plan
	made  *synth.Made
	rec   *trace.Recording
	truth *Truth
}

// ride makes the field's ride with these devices; a device without a rate is left at home.
func ride(t *testing.T, plan *course.Plan, r synth.Ride, w synth.Receiver, s synth.Sensor, seed uint64) ridden {
	t.Helper()
	m, err := r.Make(seed)
	require.NoError(t, err)
	var pos *trace.Positions
	var mo *trace.Motion
	if w.RateHz > 0 {
		pos, err = m.Positions(w, plan.Anchor.At, plan.Anchor.BearingDeg, seed)
		require.NoError(t, err)
	}
	if s.RateHz > 0 {
		mo, err = m.Motion(s, seed)
		require.NoError(t, err)
	}
	return ridden{plan, m, m.Recording(fieldStart(), pos, mo), truthOf(t, m, w, fieldStart())}
}

func (r ridden) debrief(t *testing.T) *report.Debrief {
	t.Helper()
	d, err := build.Debrief(t.Context(), r.rec, r.plan, build.Options{})
	require.NoError(t, err)
	return d
}

func (r ridden) score(t *testing.T) *Result {
	t.Helper()
	return Round(r.debrief(t), r.truth)
}

// What the demo says must be right, read from the files as they are shipped: with both devices, with the watch
// alone, with the sensor alone.
func TestDemoDebriefs(t *testing.T) {
	dir := filepath.Join("..", "..", "cmd", "groundline", "demo")
	text, err := os.ReadFile(filepath.Join(dir, "course.yaml"))
	require.NoError(t, err)
	plan, _, err := course.ReadPlan("course.yaml", text)
	require.NoError(t, err)
	made, err := fieldRide(plan).Make(demoSeed)
	require.NoError(t, err)
	for _, c := range []struct {
		name    string
		files   []string
		counted bool
	}{
		{"both", []string{"ride.gpx", "motion.csv"}, true},
		{"watch", []string{"ride.gpx"}, false},
		{"sensor", []string{"motion.csv"}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			var paths []string
			for _, f := range c.files {
				paths = append(paths, filepath.Join(dir, f))
			}
			rec, err := read.Open(context.Background(), paths, read.Options{})
			require.NoError(t, err)
			d, err := build.Debrief(t.Context(), rec, plan, build.Options{})
			require.NoError(t, err)
			r := Round(d, truthOf(t, made, fieldWatch(), fieldStart()))
			require.Equal(t, 8, r.TrueJumps)
			require.Equal(t, []int{8, 8, 8, 8}, []int{r.FoundJumps, r.ReportedJumps, r.RightObstacle, r.RightOutcome})
			require.Zero(t, r.FalseRefusals)
			require.Len(t, d.Rounds, 1)
			require.True(t, d.Rounds[0].Complete)
			require.Equal(t, []int{r.Short.True, r.Long.True}, []int{r.Short.Within1, r.Long.Within1})
			if c.counted {
				require.Equal(t, []int{r.Short.True, r.Long.True}, []int{r.Short.Exact, r.Long.Exact})
				require.Equal(t, 1.0, r.TakeoffS.Within(0.05))
				require.Equal(t, 1.0, r.LandingS.Within(0.05))
				require.Greater(t, r.StrideF1(), 0.98)
				require.Equal(t, r.ToldLeads, r.RightLeads, "a lead that is told is right")
			}
			require.Greater(t, r.GaitRight(), 0.9)
		})
	}
}
