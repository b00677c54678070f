package detect

import (
	"testing"

	"github.com/stretchr/testify/require"
	"groundline/trace"
	"groundline/trace/synth"
)

// aRound is a ride with a walk, a trot, three fences ridden from both reins, and back to a halt.
func aRound(t testing.TB, h synth.Horse, seed uint64) *synth.Made {
	fence := func(id string, high float64) *synth.Fence {
		return &synth.Fence{ID: id, HeightM: high, SpreadM: 0.3}
	}
	at := func(x, y, facing float64) synth.Pose { return synth.Pose{X: x, Y: y, FacingDeg: facing} }
	made, err := synth.Ride{Start: at(10, 10, 0), WaitS: 5, Horse: h, Stops: []synth.Stop{
		{Pose: at(10, 20, 0), Gait: synth.Walk},
		{Pose: at(10, 40, 0), Gait: synth.Trot},
		{Pose: at(40, 60, 90), Gait: synth.Canter},
		{Pose: at(70, 40, 180), Gait: synth.Canter, Fence: fence("1", 0.9)},
		{Pose: at(70, 12, 180), Gait: synth.Canter, Fence: fence("2", 1.0)},
		{Pose: at(30, 10, 300), Gait: synth.Canter},
		{Pose: at(20, 40, 0), Gait: synth.Canter, Fence: fence("3", 0.4)},
		{Pose: at(20, 70, 0), Gait: synth.Canter},
		{Pose: at(-10, 60, 180), Gait: synth.Canter},
		{Pose: at(-10, 30, 180), Gait: synth.Canter, Fence: fence("4", 0.7)},
		{Pose: at(10, 10, 90), Gait: synth.Canter},
		{Pose: at(40, 20, 60), Gait: synth.Canter, Fence: fence("5", 0.7)},
		{Pose: at(70, 40, 0), Gait: synth.Canter},
		{Pose: at(70, 70, 0), Gait: synth.Walk, HoldS: 5},
	}}.Make(seed)
	require.NoError(t, err)
	return made
}

func aMotion(t testing.TB, made *synth.Made, s synth.Sensor, seed uint64) *trace.Motion {
	m, err := made.Motion(s, seed)
	require.NoError(t, err)
	return m
}

// saddle is an ordinary sensor.
func saddle(hz float64) synth.Sensor {
	return synth.Sensor{RateHz: hz, JitterS: 0.001, NoiseMS2: 0.15, NoiseRadS: 0.02, Gyro: true, MountDeg: [3]float64{40, 70, -130}}
}

// longRide is motion at 100 Hz cut to the given length.
func longRide(t testing.TB, seconds float64) *trace.Motion {
	m := aMotion(t, aRound(t, synth.Warmblood(), 1), saddle(100), 2)
	out := *m
	out.TimeS, out.AX, out.AY, out.AZ, out.GX, out.GY, out.GZ = nil, nil, nil, nil, nil, nil, nil
	for len(out.TimeS) < int(seconds*100) {
		for i := range m.TimeS {
			if len(out.TimeS) == int(seconds*100) {
				break
			}
			out.TimeS = append(out.TimeS, float64(len(out.TimeS))/100)
			out.AX, out.AY, out.AZ = append(out.AX, m.AX[i]), append(out.AY, m.AY[i]), append(out.AZ, m.AZ[i])
			out.GX, out.GY, out.GZ = append(out.GX, m.GX[i]), append(out.GY, m.GY[i]), append(out.GZ, m.GZ[i])
		}
	}
	return &out
}
