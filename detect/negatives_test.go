package detect

import (
	"context"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"groundline/trace"
	"groundline/trace/read"
)

// people are recordings of walking, running and jumping persons; steps is the count of a
// reference where there is one.
var people = []struct {
	file, columns string
	steps         int
}{
	{file: "recordings/person-walking-lowback.csv"},
	{file: "real/run-100hz/left_hip.first-half.csv.gz"},
	{file: "real/run-100hz/left_ankle.first-half.csv.gz"},
	{file: "real/steps-phone/user1_armband_1506423438471.csv.gz", steps: 335},
	{file: "real/steps-phone/user1_bag_1506423095164.csv.gz", steps: 346},
	{file: "real/steps-phone/user1_hand_1506421989895.csv.gz", steps: 326},
	{file: "real/steps-phone/user2_backpocket_1506422483834.csv.gz"},
	{file: "real/steps-phone/user2_frontpocket_1506422217391.csv.gz", steps: 343},
	{file: "real/steps-phone/user2_neckpouch_1506423094931.csv.gz", steps: 360},
	{file: "real/gait-lowerback/HA001_TimeMeasure1_Test11_Trial1.csv.gz"},
	{file: "real/gait-lowerback/HA001_TimeMeasure1_Test5_Trial1.csv.gz"},
	{file: "real/gait-lowerback/HA001_TimeMeasure1_Test5_Trial2.csv.gz"},
	{file: "real/gait-foot/imu_sample.csv.gz", columns: "t=#1@204.8,ax=#2,ay=#4,az=#6"},
	{file: "real/gait-foot/imu_sample.csv.gz", columns: "t=#1@204.8,ax=#3,ay=#5,az=#7"},
	{file: "real/csv-phone/linear-acceleration_absolute/human_jump_pocket.csv.gz"},
	{file: "real/csv-phone/ms_aXYZ_gXYZ/foot_run.csv.gz"},
	{file: "real/csv-phone/ns-epoch_seconds-elapsed_zyx/Accelerometer.csv.gz"},
	{file: "real/csv-phone/time-s_quoted_scientific/Accelerometer.csv.gz"},
	{file: "real/csv-phone/units-in-header_g_degs/imu.csv.gz"},
	{file: "real/gnss-rtk/walk-a.imu.csv.gz"},
}

// TestPeopleDoNotJump: none of these recordings holds a horse. That a bag swings at a canter's rate may be taken for a weak
// canter; that anybody jumped may not.
func TestPeopleDoNotJump(t *testing.T) {
	for _, p := range people {
		t.Run(filepath.Base(p.file), func(t *testing.T) {
			path := "../../shared/data/" + p.file
			if m, _ := filepath.Glob(path); len(m) == 0 {
				t.Skip("the recording is not here")
			}
			rec, err := read.Open(context.Background(), []string{path}, read.Options{Columns: p.columns})
			require.NoError(t, err)
			for name, m := range map[string]*trace.Motion{"as is": rec.Motion, "thinned": thinned(rec.Motion, 2)} {
				ev, err := FromMotion(m, Options{})
				require.NoError(t, err)
				for _, j := range ev.Jumps {
					require.Less(t, j.Confidence, 0.5, "%s: jump at %.2f s", name, j.TakeoffS.Value)
				}
				// what is taken for a weak canter is counted as one, with holes where it is uneven
				steps := 0
				canterS := 0.0
				for _, g := range ev.Gaits {
					if g.Gait == Canter {
						canterS += g.ToS - g.FromS
					}
				}
				t.Logf("%s: canter %.1f s", name, canterS)
				if canterS > 5 {
					weak := false
					for _, n := range ev.Notes {
						weak = weak || strings.Contains(n.What, "the canter's wave is")
					}
					require.True(t, weak, "%s: a canter of %.0f s on a person, and nothing is said of its size", name, canterS)
				}
				for _, s := range ev.Strides {
					if s.Gait == Canter {
						steps++
					} else {
						steps += 2
					}
				}
				if p.steps > 0 && canterS == 0 {
					// one or two steps are lost at each start and stop
					require.InEpsilon(t, p.steps, steps, 0.02, name)
				}
			}
		})
	}
}

// thinned keeps every kth sample.
func thinned(m *trace.Motion, k int) *trace.Motion {
	every := func(x []float64) []float64 {
		var out []float64
		for i := 0; i < len(x); i += k {
			out = append(out, x[i])
		}
		return out
	}
	out := *m
	out.TimeS, out.AX, out.AY, out.AZ = every(m.TimeS), every(m.AX), every(m.AY), every(m.AZ)
	out.GX, out.GY, out.GZ = every(m.GX), every(m.GY), every(m.GZ)
	out.RateHz = m.RateHz / float64(k)
	return &out
}
