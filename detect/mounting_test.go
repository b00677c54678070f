package detect

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/trace"
	"groundline/trace/read"
)

// carriedAs is the way of carrying that the makers of the labelled rounds named.
var carriedAs = map[string]Mount{"saddle": MountSteady, "girth": MountSteady, "pocket": MountTurning, "wrist": MountSwinging}

// The limits were fitted on rounds 0, 2, 4 …; 1, 3, 5 … check them.
func TestMountingOverTheLabelledRounds(t *testing.T) {
	names := []string{"saddle", "pocket", "wrist"}
	for half, title := range []string{"fitted on", "checked on"} {
		table := map[string]map[Mount]int{}
		ranges := map[string]*[2][2]float64{} // swing, turn
		rounds, right := 0, 0
		for i, r := range labelledRounds(t) {
			if i%2 != half {
				continue
			}
			name := r.Sensors.Inertial.Mount
			got := Mounting(r.m)
			if table[name] == nil {
				table[name] = map[Mount]int{}
			}
			table[name][got.Mount]++
			span := func(x *[2]float64, v float64) {
				if x[0] == 0 {
					x[0] = v
				}
				x[0], x[1] = math.Min(x[0], v), math.Max(x[1], v)
			}
			if ranges[name] == nil {
				ranges[name] = &[2][2]float64{}
			}
			span(&ranges[name][0], got.SwingDeg)
			span(&ranges[name][1], got.TurnDeg)
			rounds++
			if got.Mount == carriedAs[name] {
				right++
			} else {
				t.Logf("%s (%s): %+v", r.name, name, got)
			}
			require.NotEmpty(t, got.Why)
		}
		text := fmt.Sprintf("%s: %d of %d right\n%8s %8s %8s %8s %8s\n", title, right, rounds, "", "steady", "turning", "swinging", "unknown")
		for _, n := range names {
			text += fmt.Sprintf("%8s %8d %8d %8d %8d   swing, turn %.2f\n", n, table[n][MountSteady], table[n][MountTurning], table[n][MountSwinging], table[n][MountUnknown], *ranges[n])
		}
		t.Log(text)
		require.GreaterOrEqual(t, float64(right), 0.95*float64(rounds))
	}
}

// People are no horses, but a hip is steadier than a foot, and a phone that was never fixed is not told to be.
func TestMountingOfPeople(t *testing.T) {
	root := "../../shared/data/real"
	for file, never := range map[string]Mount{
		"run-100hz/left_hip.first-half.csv.gz":                   MountSwinging,
		"csv-phone/ms_aXYZ_gXYZ/foot_run.csv.gz":                 MountSteady,
		"gait-lowerback/HA001_TimeMeasure1_Test11_Trial1.csv.gz": MountSteady, // sits, lies, bends and turns about
		"steps-phone/user1_bag_1506423095164.csv.gz":             MountSwinging,
		"steps-phone/user1_hand_1506421989895.csv.gz":            MountSwinging, // held before the body
	} {
		files, err := filepath.Glob(filepath.Join(root, file))
		require.NoError(t, err)
		if len(files) == 0 {
			t.Skip("the recordings of people are not here")
		}
		rec, err := read.Open(context.Background(), files, read.Options{})
		require.NoError(t, err)
		got := Mounting(rec.Motion)
		t.Logf("%s: %q %+v", file, got.Mount.String(), got)
		require.NotEqual(t, never, got.Mount, "%s: %+v", file, got)
	}
}

// cantering is motion of a plain canter whose sensor turns by angleDeg(t) about its own x axis.
func cantering(seconds, rateHz float64, angleDeg func(t float64) float64) *trace.Motion {
	m := &trace.Motion{RateHz: rateHz}
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range int(seconds * rateHz) {
		t := float64(i) / rateHz
		up := gravityMS2 + 4*math.Sin(2*math.Pi*1.7*t) + 0.2*rng.NormFloat64()
		fore := 2 * math.Sin(2*math.Pi*1.7*t+1)
		s, c := math.Sincos(angleDeg(t) * math.Pi / 180)
		m.TimeS = append(m.TimeS, t)
		m.AX = append(m.AX, fore)
		m.AY = append(m.AY, s*up)
		m.AZ = append(m.AZ, c*up)
	}
	return m
}

func TestMountingOfKnownTurning(t *testing.T) {
	sway := func(deg, periodS float64) func(float64) float64 {
		return func(t float64) float64 { return deg * math.Sin(2*math.Pi*t/periodS) }
	}
	still := Mounting(cantering(90, 100, sway(0, 1)))
	require.Equal(t, MountSteady, still.Mount, still.Why)
	// A sine's median is its size over the square root of two.
	slow := Mounting(cantering(120, 50, sway(8, 20)))
	require.Equal(t, MountTurning, slow.Mount, slow.Why)
	require.InDelta(t, 8/math.Sqrt2, slow.TurnDeg, 1.5)
	both := func(t float64) float64 { return sway(25, 20)(t) + sway(25, 4)(t) }
	swung := Mounting(cantering(120, 100, both))
	require.Equal(t, MountSwinging, swung.Mount, swung.Why)

	// A turn of the whole sensor changes nothing.
	m := cantering(90, 100, sway(8, 20))
	a := Mounting(m)
	m.AX, m.AY, m.AZ = m.AZ, m.AX, m.AY
	b := Mounting(m)
	require.InDelta(t, a.TurnDeg, b.TurnDeg, 1e-9)
	require.Equal(t, a.Mount, b.Mount)

	// A gyroscope on a limb.
	m.GX, m.GY, m.GZ = make([]float64, len(m.AX)), make([]float64, len(m.AX)), make([]float64, len(m.AX))
	for i := range m.GX {
		m.GX[i] = 5
	}
	require.Equal(t, MountSwinging, Mounting(m).Mount)
}

func TestMountingRefuses(t *testing.T) {
	level := func(float64) float64 { return 0 }
	for name, m := range map[string]*trace.Motion{
		"nothing":      nil,
		"empty":        {},
		"unequal":      {TimeS: []float64{0, 1}, AX: []float64{1}},
		"too short":    cantering(20, 100, level),
		"at rest":      {TimeS: []float64{0, 100}, AX: []float64{0, 0}, AY: []float64{0, 0}, AZ: []float64{9.8, 9.8}},
		"gravity gone": func() *trace.Motion { m := cantering(90, 100, level); m.GravityRemoved = true; return m }(),
		"not a number": func() *trace.Motion {
			m := cantering(90, 100, level)
			for i := range m.AX {
				m.AX[i] = math.NaN()
			}
			return m
		}(),
		"without sense": func() *trace.Motion {
			m := cantering(90, 100, level)
			for i := range m.AX {
				m.AY[i], m.AZ[i] = 0, 0
			}
			return m
		}(),
	} {
		got := Mounting(m)
		require.Equal(t, MountUnknown, got.Mount, name)
		require.NotEmpty(t, got.Why, name)
	}
}

// A day is looked at in parts: the same answer as from an hour of it.
func TestMountingOfADay(t *testing.T) {
	m := cantering(6*3600, 12.5, func(t float64) float64 { return 8 * math.Sin(2*math.Pi*t/20) })
	got := Mounting(m)
	require.Equal(t, MountTurning, got.Mount, got.Why)
	require.LessOrEqual(t, got.MovingS, mountPartS*mountParts)
}
