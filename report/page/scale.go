package page

import (
	"fmt"
	"math"
	"slices"
	"strconv"
)

// speedClasses is how many classes of speed are told apart: few enough to be named by eye, enough to see
// a horse come back before a fence.
const speedClasses = 6

// speedScale are classes of equal width between round numbers of m/min. Everything below the first bound
// is class 0, everything above the last the last.
type speedScale struct {
	fromMMin, stepMMin float64 // the bounds are from + step, from + 2 step ...
}

// newSpeedScale covers the middle nine tenths of the speeds (m/s), so that one gallop out or a halt do not
// take the colours from the rest.
func newSpeedScale(speedMS []float64) speedScale {
	v := slices.Clone(speedMS)
	slices.Sort(v)
	low, high := 200.0, 440.0 // of canter at large, where nothing is known
	if len(v) > 0 {
		low, high = 60*v[len(v)/20], 60*v[len(v)-1-len(v)/20]
	}
	for _, step := range []float64{5, 10, 15, 20, 25, 30, 40, 50, 75, 100, 150, 200} {
		from := math.Floor(low/step) * step
		if from+speedClasses*step >= high {
			return speedScale{from, step}
		}
	}
	return speedScale{0, math.Ceil(high / speedClasses)}
}

// class of a speed, from 0 for the slowest.
func (s speedScale) class(speedMS float64) int {
	k := math.Floor((60*speedMS - s.fromMMin) / s.stepMMin)
	return int(min(max(k, 0), speedClasses-1))
}

// says names a class.
func (s speedScale) says(k int) string {
	low, high := s.fromMMin+float64(k)*s.stepMMin, s.fromMMin+float64(k+1)*s.stepMMin
	switch k {
	case 0:
		return "below " + strconv.FormatFloat(high, 'f', -1, 64)
	case speedClasses - 1:
		return strconv.FormatFloat(low, 'f', -1, 64) + " and above"
	}
	return fmt.Sprintf("%.0f–%.0f", low, high)
}
