package dsp

import (
	"math"
	"sort"
)

// madToSD turns the median absolute deviation of normal values into their standard
// deviation: 1/Φ⁻¹(3/4).
const madToSD = 1.482602218505602

// Hampel returns x with outliers replaced by the median about them, and their
// indices in order. A sample is an outlier when it lies more than nSigma robust
// standard deviations from the median of the samples up to half places to either
// side (R. K. Pearson, Outliers in process modeling and identification, IEEE Trans.
// Control Syst. Technol. 10, 2002, 55-63). Windows are cut off at the ends. Where
// half the window or more is one and the same value any other value is an outlier.
// half must be >= 1, nSigma > 0.
func Hampel(x []float64, half int, nSigma float64) (clean []float64, outliers []int) {
	clean = append([]float64(nil), x...)
	window := make([]float64, 0, 2*half+1)
	for i, v := range x {
		window = append(window[:0], x[max(0, i-half):min(len(x), i+half+1)]...)
		m := median(window)
		for j, w := range window {
			window[j] = math.Abs(w - m)
		}
		if math.Abs(v-m) > nSigma*madToSD*median(window) {
			clean[i] = m
			outliers = append(outliers, i)
		}
	}
	return clean, outliers
}

// median sorts v and returns its middle; v must not be empty.
func median(v []float64) float64 {
	sort.Float64s(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}
