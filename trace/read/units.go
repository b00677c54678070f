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
	still  bool    // there are seconds at rest: the vector itself hardly changes within them
	rest   float64 // median size of the mean vector in these, else in the quietest quarter of the seconds
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
	sum2, n := 0.0, 0
	for from := 0; from+per <= len(t); from += every {
		var mean [3]float64
		s2 := 0.0
		for k := range 3 {
			for _, v := range a[k][from : from+per] {
				mean[k] += v
				s2 += v * v
			}
			mean[k] /= float64(per)
		}
		m2 := mean[0]*mean[0] + mean[1]*mean[1] + mean[2]*mean[2]
		sum2, n = sum2+s2, n+per
		all = append(all, second{math.Sqrt(m2), s2/float64(per) - m2})
	}
	if len(all) == 0 {
		return gravityVector{}
	}
	slices.SortFunc(all, func(x, y second) int { return compare(x.unrest, y.unrest) })
	var quiet, still, sizes []float64
	for i, s := range all {
		if i*4 < len(all) {
			quiet = append(quiet, s.size)
		}
		// 5 %: half a m/s² about gravity. Noise about zero, all that rest leaves without
		// gravity, is as large as its mean.
		if s.unrest < 0.05*0.05*s.size*s.size {
			still = append(still, s.size)
		}
		sizes = append(sizes, s.size)
	}
	if len(still) >= 2 {
		quiet = still
	}
	slices.Sort(quiet)
	slices.Sort(sizes)
	g := gravityVector{still: len(still) >= 2, rest: middle(quiet), typic: middle(sizes), rms: math.Sqrt(sum2 / float64(n))}
	if g.typic > 0 {
		g.spread = (sizes[len(sizes)*3/4] - sizes[len(sizes)/4]) / g.typic
	}
	return g
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
		for _, sign := range []float64{1, -1} {
			top := 0.0
			for _, v := range a[k] {
				top = math.Max(top, sign*v)
			}
			if top < least {
				continue
			}
			pile, below, row, longest := 0, 0, 0, 0
			for _, v := range a[k] {
				switch v *= sign; {
				case v >= 0.999*top:
					pile++
					row++
					longest = max(longest, row)
					continue
				case v >= 0.98*top:
					below++
				}
				row = 0
			}
			if pile >= 5 && longest >= 2 && pile >= 2*below && (found == 0 || top < found) {
				found = top
			}
		}
	}
	return found
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
