package validate

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Peak expiratory flow of 17 subjects by two meters, first measurements: Bland & Altman 1986, Lancet 327:307, table 1.
// They give a mean difference of -2.1 l/min, a standard deviation of 38.8, limits of -79.7 and 75.5 (with 2 for 1.96),
// and a standard error of the mean difference of 9.4.
func peakFlow() (large, mini []float64) {
	large = []float64{494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427}
	mini = []float64{512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451}
	return large, mini
}

func TestAgreementIsTheLancets(t *testing.T) {
	large, mini := peakFlow()
	ride := make([]int, len(large))
	for i := range ride {
		ride[i] = i // one pair a subject
	}
	a := agreementOf(mini, large, ride, 0)
	require.InDelta(t, -2.1, a.Bias.Value, 0.05)
	require.InDelta(t, 38.8, *a.SD, 0.05)
	require.InDelta(t, -2.1-1.96*38.8, a.Low.Value, 0.1)
	require.InDelta(t, -2.1+1.96*38.8, a.High.Value, 0.1)
	// 9.4 is the standard error; t of 16 degrees at 0.95 is 1.746 (their tables).
	require.InDelta(t, 1.746*9.4, (a.Bias.High-a.Bias.Low)/2, 0.1)
	require.Equal(t, 17, a.Rides)
	require.Nil(t, a.WithinSD)
}

// The analysis of variance of three groups, by SciPy 1.10.1: scipy.stats.f_oneway([1,2,4,3],[6,5,7],[2,2,5,4,3]) is
// F = 7.456521739.
func TestVarianceComponents(t *testing.T) {
	groups := [][]float64{{1, 2, 4, 3}, {6, 5, 7}, {2, 2, 5, 4, 3}}
	var seen, found []float64
	var ride []int
	for g, x := range groups {
		for _, v := range x {
			seen, found, ride = append(seen, 10), append(found, 10+v), append(ride, g)
		}
	}
	a := agreementOf(seen, found, ride, 0)
	// By hand: within sum of squares 5 + 2 + 6.8 over 9 degrees; between 4(2.5-3.6667)² + 3(6-3.6667)² + 5(3.2-3.6667)² over 2.
	msw := (5 + 2 + 6.8) / 9.0
	msb := (4*sq(2.5-44.0/12) + 3*sq(6-44.0/12) + 5*sq(3.2-44.0/12)) / 2
	require.InDelta(t, 7.456521739, msb/msw, 1e-8)
	m0 := (12 - (16+9+25)/12.0) / 2
	require.InDelta(t, math.Sqrt(msw), *a.WithinSD, 1e-9)
	require.InDelta(t, math.Sqrt((msb-msw)/m0), *a.BetweenSD, 1e-9)
	require.InDelta(t, 44.0/12, a.Bias.Value, 1e-9)
	require.InDelta(t, a.Bias.Value-1.96*math.Sqrt(msw+(msb-msw)/m0), a.Low.Value, 1e-3)
}

// The limits recover what a known model puts in: the shares of the spread, and 95 of 100 differences within.
func TestLimitsRecoverTheModel(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var between, within, inside float64
	const runs = 200
	for range runs {
		var seen, found []float64
		var ride []int
		for r := range 20 {
			shift := 0.03 * rng.NormFloat64()
			for range 8 {
				v := 30 + 60*rng.Float64()
				seen, found, ride = append(seen, v), append(found, v+0.01+shift+0.02*rng.NormFloat64()), append(ride, r)
			}
		}
		a := agreementOf(seen, found, ride, 0)
		between, within = between+*a.BetweenSD/runs, within+*a.WithinSD/runs
		if a.Bias.Low <= 0.01 && 0.01 <= a.Bias.High {
			inside++
		}
	}
	require.InDelta(t, 0.03, between, 0.002)
	require.InDelta(t, 0.02, within, 0.001)
	require.InDelta(t, 0.9, inside/runs, 0.05)
}

// Clopper & Pearson 1934: 90 % limits of 8 of 10 are the roots of the binomial tails, 0.4931 and 0.9632 (tail 0.05 each:
// checked by summing the tails here).
func TestShares(t *testing.T) {
	s := shareOf(8, 10)
	tail := func(p float64, from, to int) (sum float64) {
		for k := from; k <= to; k++ {
			c := 1.0
			for i := range k {
				c = c * float64(10-i) / float64(i+1)
			}
			sum += c * math.Pow(p, float64(k)) * math.Pow(1-p, float64(10-k))
		}
		return sum
	}
	require.InDelta(t, 0.05, tail(s.Share.Low, 8, 10), 1e-6)
	require.InDelta(t, 0.05, tail(s.Share.High, 0, 8), 1e-6)
	require.Nil(t, shareOf(0, 0).Share)
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 500).Draw(t, "n")
		is := rapid.IntRange(0, n).Draw(t, "is")
		e := shareOf(is, n).Share
		if !(0 <= e.Low && e.Low <= e.Value && e.Value <= e.High && e.High <= 1) {
			t.Fatal(e)
		}
	})
}

// Pairs in order: as many as can be, none crossing, whatever shift both lists share.
func TestInOrder(t *testing.T) {
	require.Equal(t, [][2]int{{0, 0}, {1, 2}}, inOrder([]float64{1, 2}, []float64{1.1, 1.5, 2.05}, 0.2))
	require.Empty(t, inOrder(nil, []float64{1}, 1))
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.SliceOfN(rapid.Float64Range(0, 50), 0, 25).Draw(t, "a")
		b := rapid.SliceOfN(rapid.Float64Range(0, 50), 0, 25).Draw(t, "b")
		sortFloats(a)
		sortFloats(b)
		p := inOrder(a, b, 0.5)
		if q := pairBlock(a, b, 0.5); len(p) != len(q) {
			t.Fatalf("in blocks %d, whole %d", len(p), len(q))
		}
		for i, x := range p {
			if math.Abs(a[x[0]]-b[x[1]]) > 0.5 || i > 0 && (x[0] <= p[i-1][0] || x[1] <= p[i-1][1]) {
				t.Fatal(p)
			}
		}
	})
}

func sortFloats(x []float64) {
	for i := range x {
		for k := i; k > 0 && x[k] < x[k-1]; k-- {
			x[k], x[k-1] = x[k-1], x[k]
		}
	}
}
