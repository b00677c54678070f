package score

import (
	"math"
	"slices"

	"groundline/trace"
)

// Figure collects one figure over many rounds: what was found beside what was true.
type Figure struct {
	// Truths counts the true figures that there were to tell, told or not.
	Truths int
	Told   []Told
}

// Told is one figure that a debrief told, beside the truth.
type Told struct {
	Found, True float64
	Inside      bool // the truth lies in the 90 % interval, ends included
	// Stretch is how many times as wide the interval would have to be, on the truth's side, to just
	// reach it: up to 1 inside; infinite where it has no width and misses.
	Stretch float64
}

// add takes a figure in: e is nil where the debrief did not tell it.
func (f *Figure) add(e *trace.Estimate, truth float64) {
	f.Truths++
	if e == nil {
		return
	}
	t := Told{Found: e.Value, True: truth, Inside: e.Low <= truth && truth <= e.High}
	switch {
	case truth > e.Value:
		t.Stretch = (truth - e.Value) / max(e.High-e.Value, 0)
	case truth < e.Value:
		t.Stretch = (e.Value - truth) / max(e.Value-e.Low, 0)
	}
	f.Told = append(f.Told, t)
}

func (f *Figure) merge(o Figure) {
	f.Truths += o.Truths
	f.Told = append(f.Told, o.Told...)
}

// MedianAbs is the median of |found - true|; NaN with nothing told.
func (f Figure) MedianAbs() float64 {
	return median(f.each(func(t Told) float64 { return math.Abs(t.Found - t.True) }))
}

// WorstAbs is the largest |found - true|; NaN with nothing told.
func (f Figure) WorstAbs() float64 {
	worst := math.NaN()
	for _, t := range f.Told {
		if d := math.Abs(t.Found - t.True); !(d <= worst) {
			worst = d
		}
	}
	return worst
}

// MedianShare is the median of |found - true| / |true|, over the truths that are not 0; NaN without.
func (f Figure) MedianShare() float64 {
	var x []float64
	for _, t := range f.Told {
		if t.True != 0 {
			x = append(x, math.Abs((t.Found-t.True)/t.True))
		}
	}
	return median(x)
}

// Bias is the median of found - true, so that one wild error does not make it; NaN with nothing told.
func (f Figure) Bias() float64 {
	return median(f.each(func(t Told) float64 { return t.Found - t.True }))
}

// Within is the share of told figures no further than d from the truth; NaN with nothing told.
func (f Figure) Within(d float64) float64 {
	return f.share(func(t Told) bool { return math.Abs(t.Found-t.True) <= d })
}

// Covered is the share of told figures whose 90 % interval holds the truth; NaN with nothing told.
func (f Figure) Covered() float64 { return f.share(func(t Told) bool { return t.Inside }) }

// Stretch is how many times as wide the intervals would have to be to hold nine truths in ten: 1 where they are right, more
// where they are too narrow; NaN with nothing told.
func (f Figure) Stretch() float64 {
	x := f.each(func(t Told) float64 { return t.Stretch })
	if len(x) == 0 {
		return math.NaN()
	}
	slices.Sort(x)
	return x[(9*len(x)+9)/10-1] // the least that nine in ten do not exceed
}

func (f Figure) each(of func(Told) float64) []float64 {
	x := make([]float64, len(f.Told))
	for i, t := range f.Told {
		x[i] = of(t)
	}
	return x
}

func (f Figure) share(is func(Told) bool) float64 {
	n := 0
	for _, t := range f.Told {
		if is(t) {
			n++
		}
	}
	return share(n, len(f.Told))
}

// share is n of of, NaN where there is nothing to have a share of.
func share(n, of int) float64 {
	if of == 0 {
		return math.NaN()
	}
	return float64(n) / float64(of)
}

// median is the middle value, the mean of the middle two; NaN of nothing.
func median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	x = slices.Clone(x)
	slices.Sort(x)
	h := len(x) / 2
	if len(x)%2 == 1 {
		return x[h]
	}
	return (x[h-1] + x[h]) / 2
}
