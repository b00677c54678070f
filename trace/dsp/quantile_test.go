package dsp

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestQuantile(t *testing.T) {
	// Type 7 by hand: h = (n-1)q, linear between the neighbours.
	x := []float64{4, 1, 3, 2}
	for q, want := range map[float64]float64{0: 1, 0.25: 1.75, 0.5: 2.5, 1: 4} {
		require.InDelta(t, want, Quantile(x, q), 1e-12, "q = %v", q)
	}
	require.Equal(t, []float64{4, 1, 3, 2}, x, "the values stay as they were")
	require.Equal(t, 7.0, Quantile([]float64{7}, 0.5))
}
