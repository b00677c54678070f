package layout

import (
	"math"
	"strconv"
)

// Decimals is the last decimal worth telling beside a doubt of half, the larger distance from the value to a bound: that of the
// doubt's first digit, or of its second where the first is a 1 (a doubt of 0.1 may be anything from 0.05 to 0.15,
// one of 0.10 may not); never more than most. Negative: tens and so on.
func Decimals(half float64, most int) int {
	if half <= 0 {
		return most
	}
	exponent := math.Floor(math.Log10(half))
	decimals := -int(exponent)
	if half/math.Pow(10, exponent) < 2 {
		decimals++
	}
	return min(decimals, most)
}

// RoundedUp is a doubt rounded up to a decimal unless it is within a twentieth of a unit above one: a doubt
// is never told as much smaller than it is, nor as nothing.
func RoundedUp(half float64, decimals int) float64 {
	scale := math.Pow(10, float64(decimals))
	return max(1, math.Ceil(half*scale-0.05)) / scale
}

// Doubt is half an interval as it is told; see [RoundedUp].
func Doubt(half float64, decimals int) string { return Number(RoundedUp(half, decimals), decimals) }

// Number is a number to so many decimals.
func Number(x float64, decimals int) string {
	return strconv.FormatFloat(Round(x, decimals), 'f', max(decimals, 0), 64)
}

// Round rounds to so many decimals; fewer than none rounds to tens, hundreds and so on. Minus zero becomes
// zero.
func Round(x float64, decimals int) float64 {
	scale := math.Pow(10, math.Abs(float64(decimals)))
	if decimals < 0 {
		return math.Round(x/scale)*scale + 0
	}
	if r := math.Round(x*scale) / scale; !math.IsInf(r, 0) {
		return r + 0
	}
	return x // too large to have decimals
}
