package dsp

import (
	"slices"
)

// Quantile is the q quantile of x, q in [0, 1], type 7 of Hyndman and Fan (Sample quantiles in statistical packages,
// Am. Stat. 50, 1996, 361-365): linear between the order statistics. x must not be empty; it is not changed.
func Quantile(x []float64, q float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	h := q * float64(len(s)-1)
	i := int(h)
	if i+1 >= len(s) {
		return s[len(s)-1]
	}
	return s[i] + (h-float64(i))*(s[i+1]-s[i])
}
