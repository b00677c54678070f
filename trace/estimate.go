package trace

// z90 is the standard normal quantile of 0.95: half the width of a central
// 90 % interval in standard deviations.
const z90 = 1.6448536269514722

// FromSD is the estimate of a normal figure with standard deviation sd (>= 0):
// value ± 1.645 sd.
func FromSD(value, sd float64) Estimate {
	return Estimate{Value: value, Low: value - z90*sd, High: value + z90*sd}
}

// SD is the standard deviation of the normal figure that has this interval.
func (e Estimate) SD() float64 { return (e.High - e.Low) / (2 * z90) }

// Exactly is a figure without doubt, such as a count that nothing puts in question.
func Exactly(v float64) Estimate { return Estimate{Value: v, Low: v, High: v} }
