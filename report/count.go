package report

import (
	"fmt"
	"math"
)

// CountWords are a line's strides as a trainer counts them: "5 strides", "5 to 7 strides" where the recording leaves that open, "bounce" for
// none; "" where they are not known.
func CountWords(l Line) string {
	if l.Strides == nil {
		return ""
	}
	low, high := math.Round(l.Strides.Low), math.Round(l.Strides.High)
	switch {
	case low < high:
		return fmt.Sprintf("%.0f to %.0f strides", low, high)
	case low == 0:
		return "bounce"
	case low == 1:
		return "1 stride"
	}
	return fmt.Sprintf("%.0f strides", low)
}

// OffPlan is how many strides more than planned a line had, fewer below zero; known is false where there is no plan or the
// recording leaves the count open.
func OffPlan(l Line) (off int, known bool) {
	if l.Strides == nil || l.PlannedStrides == nil {
		return 0, false
	}
	low, high := int(math.Round(l.Strides.Low)), int(math.Round(l.Strides.High))
	return low - *l.PlannedStrides, low == high
}
