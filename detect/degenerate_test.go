package detect

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"groundline/trace"
	"groundline/trace/synth"
	"pgregory.net/rapid"
)

func TestRefused(t *testing.T) {
	ok := []float64{0, 0.01, 0.02}
	for name, m := range map[string]*trace.Motion{
		"nil":            nil,
		"empty":          {},
		"unequal":        {TimeS: ok, AX: ok, AY: ok, AZ: ok[:2]},
		"unequal gyro":   {TimeS: ok, AX: ok, AY: ok, AZ: ok, GX: ok, GY: ok},
		"too slow":       {TimeS: []float64{0, 0.2, 0.4}, AX: ok, AY: ok, AZ: ok, RateHz: 5},
		"only odd times": {TimeS: []float64{0, math.NaN(), 1}, AX: ok, AY: ok, AZ: ok, RateHz: 5},
	} {
		_, err := FromMotion(m, Options{})
		require.ErrorIs(t, err, ErrMotion, name)
	}
	_, err := FromMotion(&trace.Motion{TimeS: ok, AX: ok, AY: ok, AZ: ok}, Options{MinConfidence: 1.5})
	require.Error(t, err)
}

// tidy is what all events must be, whatever the motion.
func tidy(t require.TestingT, m *trace.Motion, ev *Events) {
	fine := func(x ...float64) {
		for _, v := range x {
			require.False(t, math.IsNaN(v) || math.IsInf(v, 0))
		}
	}
	last := math.Inf(-1)
	for _, g := range ev.Gaits {
		fine(g.FromS, g.ToS)
		require.Less(t, g.FromS, g.ToS)
		require.GreaterOrEqual(t, g.FromS, last)
		last = g.ToS
	}
	last = math.Inf(-1)
	for _, s := range ev.Strides {
		fine(s.FromS, s.ToS)
		require.Less(t, s.FromS, s.ToS)
		require.GreaterOrEqual(t, s.FromS, last)
		last = s.ToS - 1e-9
	}
	last = math.Inf(-1)
	for _, b := range ev.BeatS {
		fine(b)
		require.Greater(t, b, last)
		last = b
	}
	last = math.Inf(-1)
	for _, j := range ev.Jumps {
		fine(j.TakeoffS.Value, j.TakeoffS.Low, j.TakeoffS.High, j.LandingS.Value, j.LandingS.Low, j.LandingS.High, j.Confidence)
		require.Less(t, j.PushPeakS, j.TakeoffS.Value)
		require.Less(t, j.TakeoffS.Value, j.LandingS.Value)
		require.Less(t, j.LandingS.Value, j.LandPeakS)
		require.GreaterOrEqual(t, j.PushPeakS, last)
		last = j.LandPeakS
	}
	for _, r := range ev.Rejected {
		fine(r.AtS, r.Found, r.Limit)
	}
	fine(ev.YawRadS...)
	require.Equal(t, len(ev.YawTimeS), len(ev.YawRadS))
	if m.GX == nil {
		require.Nil(t, ev.YawRadS)
	}
	if ev.StrideS != nil {
		fine(ev.StrideS.Value, ev.StrideS.Low, ev.StrideS.High)
	}
}

// TestDullMotion: nothing happens, and nothing is found.
func TestDullMotion(t *testing.T) {
	make := func(n int, f func(i int) (x, y, z float64)) *trace.Motion {
		m := &trace.Motion{RateHz: 100}
		for i := 0; i < n; i++ {
			x, y, z := f(i)
			m.TimeS = append(m.TimeS, float64(i)/100)
			m.AX, m.AY, m.AZ = append(m.AX, x), append(m.AY, y), append(m.AZ, z)
		}
		return m
	}
	for name, m := range map[string]*trace.Motion{
		"zero":          make(3000, func(int) (float64, float64, float64) { return 0, 0, 0 }),
		"constant":      make(3000, func(int) (float64, float64, float64) { return 1, -9.6, 2 }),
		"two samples":   make(2, func(int) (float64, float64, float64) { return 0, 0, 9.81 }),
		"half a second": make(50, func(i int) (float64, float64, float64) { return 0, 0, 9.81 + float64(i%7) }),
		"saw":           make(3000, func(i int) (float64, float64, float64) { return 0, 0, float64(i % 2 * 40) }),
		"huge":          make(3000, func(i int) (float64, float64, float64) { return 1e300, -1e300, float64(i) }),
		"not numbers":   make(3000, func(int) (float64, float64, float64) { return math.NaN(), math.Inf(1), 0 }),
		"one blow":      make(3000, func(i int) (float64, float64, float64) { return 0, 0, 9.81 + 1000*float64(i/1500%2*(1500/max(1, i))) }),
		"sine 1.7 Hz":   make(6000, func(i int) (float64, float64, float64) { return 0, 0, 9.81 + 6*math.Sin(2*math.Pi*1.7*float64(i)/100) }),
	} {
		ev, err := FromMotion(m, Options{})
		require.NoError(t, err, name)
		tidy(t, m, ev)
		require.Empty(t, ev.Jumps, name)
		if name != "sine 1.7 Hz" { // that is a canter's first wave, with no other beside it
			require.Empty(t, ev.BeatS, name)
		}
	}
}

func TestOneSampleAndWildTimes(t *testing.T) {
	for name, times := range map[string][]float64{
		"one":       {3},
		"backwards": {3, 2, 1, 0},
		"same":      {1, 1, 1, 1},
		"far apart": {0, 1e6, 2e6, 3e6},
		"odd":       {0, math.NaN(), math.Inf(1), 1},
	} {
		x := make([]float64, len(times))
		m := &trace.Motion{TimeS: times, AX: x, AY: x, AZ: x}
		ev, err := FromMotion(m, Options{})
		require.NoError(t, err, name)
		tidy(t, m, ev)
	}
}

// TestBrokenRides cuts, scrambles and spoils a ride: the events stay tidy.
func TestBrokenRides(t *testing.T) {
	m := aMotion(t, aRound(t, synth.Pony(), 1), saddle(50), 2)
	rapid.Check(t, func(t *rapid.T) {
		n := &trace.Motion{RateHz: m.RateHz, ClippedMS2: rapid.SampledFrom([]float64{0, 19.6}).Draw(t, "clip")}
		from := rapid.IntRange(0, len(m.TimeS)-2).Draw(t, "from")
		to := rapid.IntRange(from+1, len(m.TimeS)).Draw(t, "to")
		gapAt, gapLen := rapid.IntRange(from, to).Draw(t, "gap at"), rapid.IntRange(0, 400).Draw(t, "gap")
		badAt, badLen := rapid.IntRange(from, to).Draw(t, "bad at"), rapid.IntRange(0, 60).Draw(t, "bad")
		bad := rapid.SampledFrom([]float64{math.NaN(), math.Inf(-1), 1e9, 0, 80}).Draw(t, "value")
		gyro := rapid.Bool().Draw(t, "gyro")
		for i := from; i < to; i++ {
			if i >= gapAt && i < gapAt+gapLen {
				continue
			}
			x := m.AX[i]
			if i >= badAt && i < badAt+badLen {
				x = bad
			}
			n.TimeS = append(n.TimeS, m.TimeS[i])
			n.AX, n.AY, n.AZ = append(n.AX, x), append(n.AY, m.AY[i]), append(n.AZ, m.AZ[i])
			if gyro {
				n.GX, n.GY, n.GZ = append(n.GX, m.GX[i]), append(n.GY, m.GY[i]), append(n.GZ, m.GZ[i])
			}
		}
		if len(n.TimeS) == 0 {
			t.Skip("nothing left")
		}
		ev, err := FromMotion(n, Options{})
		require.NoError(t, err)
		tidy(t, n, ev)
	})
}

// TestWhatFitsNothingIsTold: a strong wave without any gait's rhythm is no canter, and is reported with what was seen of it.
func TestWhatFitsNothingIsTold(t *testing.T) {
	g := rand.New(rand.NewPCG(3, 5))
	rough := make([]float64, 9000)
	for i := range rough {
		rough[i] = g.NormFloat64()
	}
	rough = smooth(rough, 0.06)
	m := &trace.Motion{RateHz: 100}
	for i, v := range rough {
		m.TimeS = append(m.TimeS, float64(i)/100)
		m.AX, m.AY, m.AZ = append(m.AX, 0), append(m.AY, 0), append(m.AZ, gravityMS2+50*v)
	}
	ev, err := FromMotion(m, Options{})
	require.NoError(t, err)
	tidy(t, m, ev)
	for _, j := range ev.Jumps {
		require.Less(t, j.Confidence, 0.5)
	}
	said := false
	for _, n := range ev.Notes {
		t.Log(n)
		said = said || strings.Contains(n.What, "fits no gait") && strings.Contains(n.Why, "Hz") && strings.Contains(n.Why, "girth")
	}
	require.True(t, said)
}
