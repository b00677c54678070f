package record

import (
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report/build"
	"groundline/trace"
	"groundline/trace/synth"
)

// One made horse rides the demo's course on six days, at a pace of its own each day, seen by a logger and a sensor: the record
// holds what the horse did.
func TestRecordOfAMadeHorse(t *testing.T) {
	if testing.Short() {
		t.Skip("six rides worked out take some seconds")
	}
	data, err := os.ReadFile("../../cmd/groundline/demo/course.yaml")
	require.NoError(t, err)
	plan, _, err := course.ReadPlan("course.yaml", data)
	require.NoError(t, err)
	dice := rand.New(rand.NewPCG(3, 14))
	var measured, truth []Ride
	for day := range 6 {
		horse := synth.Warmblood()
		horse.CanterMS += 0.15 * dice.NormFloat64()
		start := synth.Pose{X: 46, Y: 3}
		r := synth.Ride{Start: start, WaitS: 6, Horse: horse, GroundM: [3]float64{31, 0, 0}, Stops: []synth.Stop{
			{Pose: synth.Pose{X: 46, Y: 12}, Gait: synth.Walk},
			{Pose: synth.Pose{X: 38, Y: 26, FacingDeg: 300}, Gait: synth.Trot, RadiusM: 7},
			{Pose: synth.Pose{X: 6, Y: 30, FacingDeg: 180}, Gait: synth.Canter},
		}}
		radius := map[string]float64{"3": 9.5, "4": 14, "5": 9, "6a": 10, "7": 11}
		for _, id := range plan.Route {
			o, _ := plan.Obstacle(id)
			r.Stops = append(r.Stops, synth.Stop{Pose: synth.Pose{X: o.At.X, Y: o.At.Y, FacingDeg: o.FacingDeg}, Gait: synth.Canter,
				SpeedMS: horse.CanterMS + 0.1*dice.NormFloat64(), RadiusM: radius[id], Fence: &synth.Fence{ID: id, HeightM: o.HeightM, SpreadM: o.SpreadM}})
		}
		r.Stops = append(r.Stops, synth.Stop{Pose: synth.Pose{X: 48, Y: 7, FacingDeg: 90}, Gait: synth.Canter},
			synth.Stop{Pose: synth.Pose{X: 64, Y: 7, FacingDeg: 90}, Gait: synth.Trot}, synth.Stop{Pose: synth.Pose{X: 74, Y: 7, FacingDeg: 90}, Gait: synth.Walk, HoldS: 3})
		m, err := r.Make(uint64(day + 1))
		require.NoError(t, err)
		places, err := m.Positions(synth.Receiver{RateHz: 5, OffsetM: [2]float64{1.1, -0.7}, WanderM: 0.6, WanderS: 60, WhiteM: 0.15, HeightNoiseM: 0.4}, plan.Anchor.At, plan.Anchor.BearingDeg, uint64(day+1))
		require.NoError(t, err)
		motion, err := m.Motion(synth.Sensor{RateHz: 100, JitterS: 0.0004, NoiseMS2: 0.25, NoiseRadS: 0.02, MountDeg: [3]float64{8, -12, 65}, Gyro: true}, uint64(day+1))
		require.NoError(t, err)
		at := time.Date(2026, 5, 9+3*day, 14, 30, 0, 0, time.UTC)
		d, err := build.Debrief(t.Context(), m.Recording(at, places, motion), plan, build.Options{HorseName: "Birch"})
		require.NoError(t, err)
		got := Extract(d)
		got.ID = int64(day + 1)
		require.Equal(t, at, got.At.UTC())
		measured = append(measured, got)
		truth = append(truth, truthOfMade(got, m))
	}
	got, want := recordOf(t, measured), recordOf(t, truth)
	require.Equal(t, "Birch", got.Name)
	for _, c := range []struct {
		name      string
		got, want trace.Estimate
		within    float64 // what recordings of this kind tell it to
	}{
		{"stride", got.StrideM.Mean, want.StrideM.Mean, 0.1},
		{"usual stride", *got.Usual(), *want.Usual(), 0.1},
		{"time of a stride", got.StrideS.Mean, want.StrideS.Mean, 0.01},
		{"pace", got.SpeedMS.Mean, want.SpeedMS.Mean, 0.1},
		{"take-off", got.TakeoffM.All.Mean, want.TakeoffM.All.Mean, 0.4},
		{"landing", got.LandingM.All.Mean, want.LandingM.All.Mean, 0.4},
	} {
		t.Logf("%s: %.3f [%.3f, %.3f], from the truth %.3f", c.name, c.got.Value, c.got.Low, c.got.High, c.want.Value)
		require.InDelta(t, c.want.Value, c.got.Value, c.within, c.name)
		require.LessOrEqual(t, c.got.Low, c.want.Value, c.name)
		require.GreaterOrEqual(t, c.got.High, c.want.Value, c.name)
	}
	require.Zero(t, got.Disobediences.Events)
	require.Equal(t, 48, got.Disobediences.Of)
	require.NotNil(t, got.Leads.WithTurn)
	h, err := got.CourseHorse()
	require.NoError(t, err)
	require.InDelta(t, want.StrideM.Mean.Value, h.StrideM.Value, 0.25)
}

// truthOfMade is what a made horse did, as a ride without doubt.
func truthOfMade(like Ride, m *synth.Made) Ride {
	out := like
	out.Lines, out.Efforts = nil, nil
	for _, l := range m.Lines {
		var length float64
		for _, s := range m.Strides {
			if s.FromS > m.Jumps[l.Jump].LandingS && s.ToS < m.Jumps[l.Jump+1].TakeoffS {
				length += s.LengthM / float64(l.Strides)
			}
		}
		for _, k := range like.Lines {
			if k.From == l.From && k.To == l.To {
				k.Strides, k.StrideLengthM, k.StrideS, k.SpeedMS = exactly(float64(l.Strides)), exactly(length), exactly(l.StrideS), exactly(l.SpeedMS)
				out.Lines = append(out.Lines, k)
			}
		}
	}
	for _, j := range m.Jumps {
		out.Efforts = append(out.Efforts, Effort{Obstacle: j.Fence, Outcome: "jumped", TakeoffDistanceM: exactly(j.TakeoffDistanceM), LandingDistanceM: exactly(j.LandingDistanceM)})
	}
	return out
}
