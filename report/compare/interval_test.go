package compare

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/trace"
)

func TestP(t *testing.T) {
	require.Equal(t, 1.0, p(*pm(0, 1)))
	require.Equal(t, 1.0, p(*pm(0, 0)))
	require.Equal(t, 0.0, p(*pm(-1, 0)))
	require.InDelta(t, 0.10, p(*pm(1, 1)), 1e-9, "the 90 %% interval ends at nought")
	require.InDelta(t, 0.10, p(*pm(-1, 1)), 1e-9)
	// Two-sided, at 1.959964 standard deviations: 0.05 (any table of the normal distribution).
	require.InDelta(t, 0.05, p(trace.FromSD(1.959964, 1)), 1e-7)
	require.InDelta(t, 0.001003, p(trace.Estimate{Value: 2, Low: 1, High: 9}), 1e-6, "only the side towards nought counts: 3.29 standard deviations")
}

// The p-values of Benjamini & Hochberg 1995, section 4.1: their method rejects four at 0.05, Bonferroni three; so
// does Holm, as 0.0095 is above 0.05/12.
func TestManyFiguresAtOnce(t *testing.T) {
	p := []float64{0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1}
	rejected := func(x []bool) (n int) {
		for i, r := range x {
			if r {
				require.Equal(t, n, i, "the smallest first")
				n++
			}
		}
		return n
	}
	require.Equal(t, 4, rejected(BenjaminiHochberg(p, 0.05)))
	require.Equal(t, 3, rejected(Holm(p, 0.05)))
	// Adjusted by Holm 0.03, 0.06, 0.06, 0.02.
	require.Equal(t, []bool{true, false, false, true}, Holm([]float64{0.01, 0.04, 0.03, 0.005}, 0.05))
	// The last one below its bound takes those before it along: 0.02 is above 0.05/3, 0.03 below 0.1/3.
	require.Equal(t, []bool{true, true, false}, BenjaminiHochberg([]float64{0.02, 0.03, 0.9}, 0.05))
	require.Empty(t, Holm(nil, 0.05))
	require.Empty(t, BenjaminiHochberg(nil, 0.05))
}

func TestHolmAgainstItsDefinitionAndWithinBenjaminiHochberg(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 30).Draw(t, "p")
		if rapid.Bool().Draw(t, "small") {
			for i := range p {
				p[i] = math.Pow(p[i], 6)
			}
		}
		holm, bh := Holm(p, Alpha), BenjaminiHochberg(p, LikelyWrong)
		for i := range p {
			// Rejected when every hypothesis with a p no larger passes its own step: by the adjusted p-value
			// max over j of min((number of p not below p_j) p_j, 1).
			adjusted := 0.0
			for j := range p {
				if p[j] <= p[i] {
					above := 0
					for k := range p {
						if p[k] > p[j] || p[k] == p[j] && k >= j {
							above++
						}
					}
					adjusted = max(adjusted, float64(above)*p[j])
				}
			}
			if math.Abs(adjusted-Alpha) > 1e-12 {
				require.Equal(t, adjusted <= Alpha, holm[i])
			}
			if holm[i] {
				require.True(t, bh[i], "beyond doubt must be likely too")
			}
		}
	})
}

// y = 1, 3, 2, 5, 4 over 0 to 4: slope 0.8, residual sum of squares 3.6, standard error sqrt(1.2/10); Student's 0.95 quantile
// with 3 degrees of freedom 2.353363; r = 0.8 with n = 5 has p = 0.104088 (SciPy 1.10 stats.linregress).
func TestTrend(t *testing.T) {
	var x []float64
	var y []trace.Estimate
	for i, v := range []float64{1, 3, 2, 5, 4} {
		x, y = append(x, float64(i)), append(y, *exactly(v))
	}
	slope, prob, ok := trend(x, y, 0)
	require.True(t, ok)
	require.InDelta(t, 0.8, slope.Value, 1e-12)
	require.InDelta(t, 2.353363*math.Sqrt(0.12), slope.High-slope.Value, 1e-6)
	require.InDelta(t, 0.104088, prob, 1e-6)

	// Doubts larger than the scatter rule: each ± 2, so the slope ± 2/sqrt(10).
	for i := range y {
		y[i] = *pm(y[i].Value, 2)
	}
	slope, _, _ = trend(x, y, 0)
	require.InDelta(t, 2.353363*math.Sqrt(0.12), slope.High-slope.Value, 1e-6, "the scatter is the larger still")
	for i := range y {
		y[i] = *pm(y[i].Value, 5)
	}
	slope, prob, _ = trend(x, y, 0)
	require.InDelta(t, 5/math.Sqrt(10), slope.High-slope.Value, 1e-9)
	require.InDelta(t, p(slope), prob, 1e-9)

	_, _, ok = trend(x[:2], y[:2], 0)
	require.False(t, ok, "two rides are no trend")
	_, _, ok = trend([]float64{1, 1, 1}, y[:3], 0)
	require.False(t, ok)
}

// Counts on a perfect line are still counts: three of them tell no trend, four do.
func TestTrendOfCounts(t *testing.T) {
	x := []float64{0, 1, 2, 3}
	y := []trace.Estimate{*exactly(7), *exactly(6), *exactly(5), *exactly(4)}
	slope, prob, _ := trend(x[:3], y[:3], countSD)
	require.Equal(t, -1.0, slope.Value)
	require.Greater(t, slope.High, 0.0)
	require.Greater(t, prob, 0.1)
	slope, prob, _ = trend(x, y, countSD)
	require.Less(t, slope.High, 0.0)
	require.Less(t, prob, 0.1)
}

// A trend's interval holds the true slope nine times in ten where rides scatter by themselves, and more often where
// only the recording errs.
func TestTrendHoldsTheSlope(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 8))
	for _, c := range []struct{ horse, device, least, most float64 }{{1, 0, 0.88, 0.92}, {1, 0.3, 0.88, 0.97}, {0, 1, 0.90, 1}} {
		const n = 4000
		in := 0
		for range n {
			var x []float64
			var y []trace.Estimate
			for i := range 6 {
				x = append(x, float64(i))
				y = append(y, trace.FromSD(0.5*float64(i)+c.horse*rnd.NormFloat64()+c.device*rnd.NormFloat64(), c.device))
			}
			slope, _, _ := trend(x, y, 0)
			if slope.Low <= 0.5 && 0.5 <= slope.High {
				in++
			}
		}
		share := float64(in) / n
		require.GreaterOrEqual(t, share, c.least)
		require.LessOrEqual(t, share, c.most)
	}
}
