package detect_test

import (
	"math"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/detect"
	track "groundline/trace/smooth"
)

// A receiver with good speeds at 10 and 5 Hz: strides are counted to a fraction, and the interval holds.
func TestStridesFromTheWave(t *testing.T) {
	for _, rate := range []float64{10, 5} {
		var count spread
		for seed := range int64(6) {
			rng := rand.New(rand.NewSource(50 + seed))
			p := paced(rng, rate, 0.1, [][2]float64{{6, 1.5}, {45, 5}, {6, 1.5}})
			phase, last := 0.0, 0.0
			phases := make([]float64, len(p.TimeS))
			for i, at := range p.TimeS {
				hz := 1.68 + 0.08*math.Sin(at/9+float64(seed))
				phase += hz * (at - last)
				last = at
				phases[i] = phase
				v := 1.5
				if at > 6 && at < 51 {
					v = 5 + 0.25*math.Sin(2*math.Pi*phase)
				}
				p.SpeedMS = append(p.SpeedMS, v+0.08*rng.NormFloat64())
			}
			tr, err := track.Smooth(p, arena, track.Options{})
			require.NoError(t, err)
			w := detect.StrideWave(tr, p)
			require.NotNil(t, w)
			at := func(s float64) float64 { return phases[int(math.Round(s*rate))] }
			for from := 12.0; from < 40; from += 6 {
				n, ok := w.Strides(from, from+5)
				require.True(t, ok)
				count.add(&n, at(from+5)-at(from), false)
			}
		}
		t.Logf("%g Hz: strides in 5 s %v", rate, &count)
		require.Less(t, count.median(), 0.12)
		require.Greater(t, float64(count.in)/float64(count.told), 0.8)
	}
}

// Noise has no wave, whatever the rate; at 1 Hz none can be seen.
func TestNoWaveInNoise(t *testing.T) {
	for _, rate := range []float64{1, 5, 10} {
		for seed := range int64(8) {
			rng := rand.New(rand.NewSource(70 + seed))
			p := paced(rng, rate, 0.1, [][2]float64{{40, 5}})
			tr, err := track.Smooth(p, arena, track.Options{})
			require.NoError(t, err)
			require.Nil(t, detect.StrideWave(tr, p), "in the fixes' steps")
			for range p.TimeS {
				p.SpeedMS = append(p.SpeedMS, 5+0.1*rng.NormFloat64())
			}
			require.Nil(t, detect.StrideWave(tr, p), "in the device's speed")
		}
	}
}

func TestStridesOutsideTheWave(t *testing.T) {
	w := &detect.Wave{TimeS: []float64{10, 11, 30}, FrequencyHz: []float64{1.6, 1.7, 1.8}, SDHz: []float64{0.02, 0.02, 0.02}}
	for _, c := range [][2]float64{{5, 10}, {12, 40}, {11, 11}, {12, 11}, {12, 25}, {math.NaN(), 11}} {
		_, ok := w.Strides(c[0], c[1])
		require.False(t, ok, "%v", c)
	}
	n, ok := w.Strides(9, 11)
	require.True(t, ok)
	require.InDelta(t, 1.6+1.65, n.Value, 0.03)
}

// The rounds' receivers write no speed, and in their fixes there is no wave to be found: nothing is made up.
func TestNoWaveInTheRounds(t *testing.T) {
	for _, r := range trackRounds(t) {
		require.Nil(t, detect.StrideWave(r.track, r.fixes), r.name)
	}
}
