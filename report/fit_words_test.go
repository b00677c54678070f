package report

import (
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/trace"
)

func TestFitWords(t *testing.T) {
	fit := func(says string, p, value, half float64) Fit {
		f := Fit{PerStrideM: &trace.Estimate{Value: value, Low: value - half, High: value + half}, PLong: p}
		if says != "" {
			f.Says = &says
		}
		return f
	}
	for _, c := range []struct {
		want string
		f    Fit
	}{
		{"long, 0.26 m ±0.04", fit("long", 0.99, 0.26, 0.04)},
		{"a touch short, 0.12 m ±0.05", fit("short", 0.96, -0.12, 0.05)},
		{"probably long, 0.3 m ±0.2", fit("long", 0.9, 0.26, 0.2)},
		{"", fit("", 0.6, 0.2, 0.3)},
		{"right", fit("right", 0.95, 0.01, 0.05)},
		{"probably right", fit("right", 0.8, 0.01, 0.05)},
		{"", Fit{}},
	} {
		require.Equal(t, c.want, FitWords(c.f, Metric))
	}
	require.Equal(t, "long, 0.9 ft ±0.2", FitWords(fit("long", 0.99, 0.26, 0.06), Imperial))
	require.Equal(t, "long, 0.26 m ±0.04", FitWords(StoredFit(&trace.Estimate{Value: 0.26, Low: 0.22, High: 0.3}, "long"), Metric))
	require.Equal(t, "probably short, 0.3 m ±0.3", FitWords(StoredFit(&trace.Estimate{Value: -0.26, Low: -0.5, High: -0.02}, "tight"), Metric), "the old word")
}
