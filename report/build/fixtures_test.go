package build

import (
	"groundline/trace"
)

// within is a figure with half the width of its interval.
func within(value, half float64) *trace.Estimate {
	return &trace.Estimate{Value: value, Low: value - half, High: value + half}
}

func exactly(n float64) *trace.Estimate { return within(n, 0) }
