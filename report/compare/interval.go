package compare

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"groundline/trace"
)

// z90 is the standard normal quantile of 0.95: half a central 90 % interval in standard deviations.
const z90 = 1.6448536269514722

// p is the two-sided chance of a difference this far from nought were there none, taking the side of
// the interval that lies towards nought for 1.645 standard deviations. Below 0.1 exactly when the interval
// leaves nought out.
func p(d trace.Estimate) float64 {
	toNought := d.Value - d.Low
	if d.Value < 0 {
		toNought = d.High - d.Value
	}
	switch {
	case d.Value == 0:
		return 1
	case toNought <= 0:
		return 0
	}
	return math.Erfc(math.Abs(d.Value) / (toNought / z90) / math.Sqrt2)
}

// Holm tells which of the hypotheses with these p-values are rejected so that the chance of a single
// false rejection stays at or below alpha, however the figures hang together: the smallest p against alpha/m,
// the next against alpha/(m-1), and so on to the first that fails (Holm 1979, Scand. J. Statist. 6:65-70).
func Holm(p []float64, alpha float64) []bool {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p[a], p[b]) })
	out := make([]bool, len(p))
	for k, i := range order {
		if !(p[i] <= alpha/float64(len(p)-k)) {
			break
		}
		out[i] = true
	}
	return out
}

// BenjaminiHochberg tells which of the hypotheses with these p-values are rejected so that, of those rejected, a
// share of at most q is expected to be rejected falsely: all up to the last whose p is at or below q·k/m
// (Benjamini & Hochberg 1995, J. R. Statist. Soc. B 57:289-300; holds for figures that are independent or hang
// together positively). With q of 2 alpha or more it rejects all that Holm does at alpha.
func BenjaminiHochberg(p []float64, q float64) []bool {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p[a], p[b]) })
	last := -1
	for k, i := range order {
		if p[i] <= q*float64(k+1)/float64(len(p)) {
			last = k
		}
	}
	out := make([]bool, len(p))
	for k, i := range order {
		out[i] = k <= last
	}
	return out
}

// countSD is the standard deviation of what rounding to whole numbers hides: uniform over one.
const countSD = 0.28867513459481287 // 1/√12

// trend is the least-squares slope of y over x, one for each ride, from three figures on. Its interval is
// the wider of two: Student's, from how the figures scatter about the line (n - 2 degrees of freedom), which holds
// both the recordings' errors and the horse's own changes; and what the recordings' errors alone
// leave open. leastSD is the least scatter believed, for whole numbers.
func trend(x []float64, y []trace.Estimate, leastSD float64) (slope trace.Estimate, prob float64, ok bool) {
	n := float64(len(x))
	if n < 3 {
		return slope, 1, false
	}
	var mx, my float64
	for i := range x {
		mx, my = mx+x[i]/n, my+y[i].Value/n
	}
	var sxx, sxy, known float64
	for i := range x {
		dx := x[i] - mx
		sxx, sxy = sxx+dx*dx, sxy+dx*(y[i].Value-my)
		half := max(y[i].High-y[i].Value, y[i].Value-y[i].Low)
		known += dx * dx * half * half
	}
	if sxx == 0 {
		return slope, 1, false
	}
	b := sxy / sxx
	var ss float64
	for i := range x {
		e := y[i].Value - my - b*(x[i]-mx)
		ss += e * e
	}
	se := math.Max(math.Sqrt(ss/(n-2)), leastSD) / math.Sqrt(sxx)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 2}
	half := math.Max(t.Quantile(0.95)*se, math.Sqrt(known)/sxx)
	slope = trace.Estimate{Value: b, Low: b - half, High: b + half}
	prob = p(slope)
	if se > 0 && b != 0 {
		prob = math.Max(p(trace.Estimate{Value: b, Low: b - math.Sqrt(known)/sxx, High: b + math.Sqrt(known)/sxx}), 2*t.Survival(math.Abs(b)/se))
	}
	return slope, prob, true
}
