package report

import (
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/trace"
)

func TestFitWords(t *testing.T) {
	fit := func(says string, value, half float64) Fit {
		return Fit{Says: says, PerStrideM: &trace.Estimate{Value: value, Low: value - half, High: value + half}}
	}
	for want, f := range map[string]Fit{
		"long, 0.26 m ±0.04":        fit("long", 0.26, 0.04),
		"touch tight, 0.12 m ±0.05": fit("tight", -0.12, 0.05),
		"not settled":               fit("long", 0.2, 0.3),
		"right":                     fit("right", 0.01, 0.05),
		"long":                      {Says: "long"},
		"":                          {},
	} {
		require.Equal(t, want, FitWords(f, Metric))
	}
	require.Equal(t, "long, 0.9 ft ±0.2", FitWords(fit("long", 0.26, 0.04), Imperial))
}
