package trace

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The half width of a central 90 % interval is the normal quantile of 0.95, 1.6449 (Abramowitz & Stegun 1964, table
// 26.5), which the error function must agree with.
func TestFromSDHoldsNineInTen(t *testing.T) {
	e := FromSD(5, 2)
	require.InDelta(t, 1.6449*2, e.High-e.Value, 2e-4)
	require.InDelta(t, e.High-e.Value, e.Value-e.Low, 1e-12)
	require.InDelta(t, 0.90, math.Erf((e.High-e.Value)/2/math.Sqrt2), 1e-12)
	require.InDelta(t, 2, e.SD(), 1e-12)
}

func TestExactly(t *testing.T) {
	e := Exactly(7)
	require.Equal(t, Estimate{7, 7, 7}, e)
	require.Zero(t, e.SD())
}

// wilson is the score interval of a proportion at 95 % (Wilson 1927), to check the square-and-add method on its
// published example.
func wilson(r, n float64) Estimate {
	const z = 1.959963984540054
	p := r / n
	mid, half := (2*n*p+z*z)/(2*(n+z*z)), z*math.Sqrt(z*z+4*n*p*(1-p))/(2*(n+z*z))
	return Estimate{Value: p, Low: mid - half, High: mid + half}
}

// Newcombe 1998, Stat. Med. 17:873-890, Table II, method 10, examples (a) and (b): 56/70 less 48/80 is 0.0524 to 0.3339;
// 9/10 less 3/10 is 0.1705 to 0.8090 (values from memory; the formula gives both).
func TestMinusOnNewcombesExamples(t *testing.T) {
	d := wilson(56, 70).Minus(wilson(48, 80))
	require.InDelta(t, 0.2, d.Value, 1e-12)
	require.InDelta(t, 0.0524, d.Low, 0.00005)
	require.InDelta(t, 0.3339, d.High, 0.00005)
	d = wilson(9, 10).Minus(wilson(3, 10))
	require.InDelta(t, 0.1705, d.Low, 0.00005)
	require.InDelta(t, 0.8090, d.High, 0.00005)
}

// Of normal figures it is the root of the sum of squares: 3, 4, 5.
func TestMinusOfNormalFigures(t *testing.T) {
	d := pm(7, 0.3).Minus(pm(5, 0.4))
	require.InDelta(t, 2, d.Value, 1e-12)
	require.InDelta(t, 1.5, d.Low, 1e-12)
	require.InDelta(t, 2.5, d.High, 1e-12)
}

func TestSize(t *testing.T) {
	for _, c := range []struct{ in, want Estimate }{
		{pm(-6, 2), Estimate{Value: 6, Low: 4, High: 8}},
		{pm(6, 2), Estimate{Value: 6, Low: 4, High: 8}},
		{pm(-1, 4), Estimate{Value: 1, Low: 0, High: 5}},
		{pm(0, 3), Estimate{Value: 0, Low: 0, High: 3}},
	} {
		require.Equal(t, c.want, c.in.Size())
	}
}

func pm(value, half float64) Estimate {
	return Estimate{Value: value, Low: value - half, High: value + half}
}
