package read

import (
	"math"
	"slices"
)

// standardGravity is the conventional value of g, m/s² (3rd CGPM, 1901).
const standardGravity = 9.80665

// gravityVector is what a table of accelerations shows of gravity, in the table's own unit.
//
// The mean over a second cancels the strides and leaves gravity. With gravity in the
// signal its size hardly changes from second to second, whatever the sensor rides on;
// without it what is left is small beside the strides and of any size.
type gravityVector struct {
	still  bool    // there are moments of rest, a quarter of a second in which the vector hardly changes
	rest   float64 // median size of the vector in these, else in the quietest quarter of the seconds
	typic  float64 // median size of the mean vector over all seconds
	spread float64 // interquartile range of that size over its median
	rms    float64 // root mean square size of all samples
}

// findGravity looks at up to 2000 seconds spread over the recording.
func findGravity(t []float64, a [3][]float64) gravityVector {
	step := medianStep(t)
	if step == 0 {
		return gravityVector{}
	}
	per := max(2, int(math.Round(1/step)))
	if len(t) < 4*per {
		per = max(2, len(t)/4)
	}
	const most = 2000
	every := max(per, len(t)/most)
	type second struct{ size, unrest float64 }
	var all []second
	var still, quiet, sizes []float64
	sum2 := 0.0
	for from := 0; from+per <= len(t); from += every {
		var whole vectorSums
		for k := range 4 {
			lo, hi := from+k*per/4, from+(k+1)*per/4
			part := sumsOf(a, lo, hi)
			whole.add(part)
			// Rest comes in shorter pieces than a second, as when a foot stands.
			if hi-lo < 3 {
				continue
			}
			// 5 %: half a m/s² about gravity.
			if size, unrest := part.mean(); unrest < 0.05*0.05*size*size {
				still = append(still, size)
			}
		}
		size, unrest := whole.mean()
		all = append(all, second{size, unrest})
		sizes = append(sizes, size)
		sum2 += size*size + unrest
	}
	if len(all) == 0 {
		return gravityVector{}
	}
	slices.SortFunc(all, func(x, y second) int { return compare(x.unrest, y.unrest) })
	for _, s := range all[:(len(all)+3)/4] {
		quiet = append(quiet, s.size)
	}
	slices.Sort(quiet)
	slices.Sort(sizes)
	slices.Sort(still)
	g := gravityVector{rest: middle(quiet), typic: middle(sizes), rms: math.Sqrt(sum2 / float64(len(all))), spread: quartileSpread(sizes)}
	// In free fall a sensor without gravity reads a steady 1 g too, but then its seconds
	// average to far less.
	if len(still) >= 3 && quartileSpread(still) < 0.1 && g.typic > 0.5*middle(still) {
		g.still, g.rest = true, middle(still)
	}
	return g
}

// vectorSums are the sums of some vectors by axis, and of the squares of all.
type vectorSums struct{ x, y, z, squares, n float64 }

func sumsOf(a [3][]float64, from, to int) vectorSums {
	s := vectorSums{n: float64(to - from)}
	y, z := a[1][from:to], a[2][from:to]
	for i, x := range a[0][from:to] {
		s.x += x
		s.y += y[i]
		s.z += z[i]
		s.squares += x*x + y[i]*y[i] + z[i]*z[i]
	}
	return s
}

func (s *vectorSums) add(o vectorSums) {
	s.x += o.x
	s.y += o.y
	s.z += o.z
	s.squares += o.squares
	s.n += o.n
}

// mean is the size of the mean vector, and the sum of the variances of the axes.
func (s vectorSums) mean() (size, unrest float64) {
	x, y, z := s.x/s.n, s.y/s.n, s.z/s.n
	size2 := x*x + y*y + z*z
	return math.Sqrt(size2), math.Max(0, s.squares/s.n-size2)
}

// quartileSpread is the interquartile range of sorted values over their median.
func quartileSpread(sorted []float64) float64 {
	m := middle(sorted)
	if m == 0 {
		return math.Inf(1)
	}
	return (sorted[len(sorted)*3/4] - sorted[len(sorted)/4]) / m
}

func compare(x, y float64) int {
	switch {
	case x < y:
		return -1
	case x > y:
		return 1
	}
	return 0
}

// steady tells that gravity is in the signal: the mean vector keeps its size. For means of
// three independent normal axes, as without gravity, the spread would be 0.6 (chi with 3
// degrees of freedom: quartiles 1.10 and 2.03, median 1.54); wrists and feet that swing stay below 0.3.
func (g gravityVector) steady() bool {
	return g.still || g.spread < 0.3 && g.typic > 0.2*g.rms
}

// restUnit is a unit told from the size of the resting vector: "m/s2", "g", "mg" or, for the
// plain counts of a sensor, "counts"; empty where nothing fits.
func (g gravityVector) restUnit() string {
	near := func(size float64) bool { return g.rest > 0.85*size && g.rest < 1.15*size }
	switch {
	case !g.steady():
		return ""
	case near(standardGravity):
		return "m/s2"
	case near(1):
		return "g"
	case near(1000):
		return "mg"
	case g.rest > 50:
		return "counts"
	}
	return ""
}

// clipped is the least size at which samples of an axis pile up because the sensor could
// measure no more, m/s²; 0 where none do. A pile is 5 samples or more within 0.1 % of the
// greatest size, two of them in a row, and twice as many as in the 2 % below it.
func clipped(a [3][]float64) float64 {
	const least = 1.5 * standardGravity // no sensor's range ends below 2 g
	found := 0.0
	for k := range 3 {
		low, high, _ := extremes(a[k])
		for _, top := range []float64{high, low} {
			size := math.Abs(top)
			if size >= least && piled(a[k], top) && (found == 0 || size < found) {
				found = size
			}
		}
	}
	return found
}

// extremes are the least and the greatest of the values and 0; whole tells that none is NaN.
func extremes(v []float64) (low, high float64, whole bool) {
	whole = true
	for _, x := range v {
		if x > high {
			high = x
		} else if x < low {
			low = x
		} else if x != x {
			whole = false
		}
	}
	return low, high, whole
}

// piled tells whether samples pile up at top, the greatest or the least of them.
func piled(v []float64, top float64) bool {
	pile, below, row, longest := 0, 0, 0, 0
	scale := 1 / top // also turns the least into the greatest
	for _, x := range v {
		x *= scale
		if x < 0.98 {
			row = 0
			continue
		}
		if x < 0.999 {
			below++
			row = 0
			continue
		}
		pile++
		row++
		longest = max(longest, row)
	}
	return pile >= 5 && longest >= 2 && pile >= 2*below
}

// turnUnitBySize tells rad/s from deg/s by the root mean square of the turn rate. Bodies that
// walk, run or ride turn at 0.2 to 5 rad/s, which is 11 to 290 deg/s; the usual full
// scale of a gyroscope, 2000 deg/s, is 35 rad/s.
func turnUnitBySize(g [3][]float64) string {
	every := max(1, len(g[0])/sampled)
	sum2, n, top := 0.0, 0, 0.0
	for i := 0; i < len(g[0]); i += every {
		for k := range 3 {
			sum2 += g[k][i] * g[k][i]
			top = math.Max(top, math.Abs(g[k][i]))
		}
		n++
	}
	if n > 0 && (math.Sqrt(sum2/float64(n)) > 6 || top > 36) {
		return "deg/s"
	}
	return "rad/s"
}

func scaleBy(v []float64, by float64) {
	if by == 1 {
		return
	}
	for i := range v {
		v[i] *= by
	}
}
