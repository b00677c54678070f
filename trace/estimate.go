package trace

import (
	"math"
)

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

// Minus is e less other with a 90 % interval from the two, which are taken as independent and may be
// lopsided: the square-and-add method ("MOVER": Newcombe 1998, Stat. Med. 17:873, method 10; Zou & Donner 2008,
// Stat. Med. 27:1693, eq. 3 and 4, with correlation zero; from memory). For normal figures it is the
// usual root of the sum of squares. It only turns its sign when the two change places.
func (e Estimate) Minus(other Estimate) Estimate {
	d := e.Value - other.Value
	return Estimate{Value: d,
		Low:  d - math.Hypot(e.Value-e.Low, other.High-other.Value),
		High: d + math.Hypot(e.High-e.Value, other.Value-other.Low)}
}

// Size is an estimate without its sign. An interval on both sides of zero begins at zero.
func (e Estimate) Size() Estimate {
	lo, hi := math.Abs(e.Low), math.Abs(e.High)
	out := Estimate{Value: math.Abs(e.Value), Low: min(lo, hi), High: max(lo, hi)}
	if e.Low < 0 && e.High > 0 {
		out.Low = 0
	}
	return out
}
