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
