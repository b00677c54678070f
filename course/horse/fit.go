package horse

import (
	"math"

	"groundline/trace"
)

// Fit is how one ride of a line suits the horse.
type Fit struct {
	// PerStrideM is metres a stride beyond (+, long) or short of (-, short) the horse's usual stride.
	PerStrideM trace.Estimate
	UsualM     trace.Estimate // what it is held against
	// Long, Right and Short are probabilities, which add up to 1: that the stride lay above, within or below the 2 % about the
	// usual by which single strides vary anyway.
	Long, Right, Short float64
}

const (
	// Natural stride-to-stride variation is 2 % (30 Standardbreds, Equine Vet. J. 1980): less is no change.
	sameRel = 0.02
	// Probable and Certain are the probabilities from which a verdict is given with "probably", and plainly.
	Probable, Certain = 0.75, 0.95
)

// Says is the verdict: long, right or short, "" where it is too close to call, and its probability.
func (f Fit) Says() (verdict string, p float64) {
	switch {
	case f.Long >= Probable:
		return "long", f.Long
	case f.Short >= Probable:
		return "short", f.Short
	case f.Right >= Probable:
		return "right", f.Right
	}
	return "", max(f.Long, f.Right, f.Short)
}

// Fit holds line i against the horse's usual stride as all the other lines show it: never against itself. Lines of the same
// ride share part of their error, which cancels between them; other rides bring more lines, but days differ. The better
// known of the two differences is taken. It is false where the line has no stride, or nothing else shows the horse's.
func (r Rides) Fit(i int) (Fit, bool) {
	l := r.Lines[i]
	if l.StrideM == nil || l.StrideM.Value < leastFigure || l.whole() < 1 {
		return Fit{}, false
	}
	y := l.StrideM.Value
	own, shared := l.pieces()
	own, shared = own*y, shared*y
	model, ok := strideModel(r, i)
	if !ok {
		if r.Size == nil {
			return Fit{}, false
		}
		size := sizeStride(r)
		return fitOf(y, size.Value, math.Hypot(own, shared), size.SD()), true
	}
	others, same := false, false
	for k, o := range r.Lines {
		if k != i && o.StrideM != nil && o.ShowsUsual() {
			others = others || o.Ride != l.Ride
			same = same || o.Ride == l.Ride
		}
	}
	mean := model.fit.At(1, 0, 0, 0)
	best := fitOf(y, mean.Value, math.Hypot(own, shared), mean.SD())
	if same {
		usual, sd := model.fit.Own(l.Ride, false)
		if others || r.Size != nil {
			sd = math.Hypot(sd, model.fit.Between().Value)
		}
		if f := fitOf(y, usual, own, sd); !(others || r.Size != nil) || f.PerStrideM.SD() < best.PerStrideM.SD() {
			best = f
		}
	}
	return best, true
}

// sizeStride is the stride of the horse's size, at the hooves.
func sizeStride(r Rides) trace.Estimate {
	p := sizePrior(r.Size)
	return trace.FromSD(p.Mean, p.SD)
}

// fitOf holds a stride against a usual one, each with its standard deviation.
func fitOf(y, usual, sd, usualSD float64) Fit {
	all := math.Hypot(sd, usualSD)
	f := Fit{PerStrideM: trace.FromSD(y-usual, all), UsualM: trace.FromSD(usual, usualSD)}
	band := sameRel * usual
	above := func(x float64) float64 {
		if all < 1e-9 {
			if y-usual > x {
				return 1
			}
			return 0
		}
		return math.Erfc((x-(y-usual))/(all*math.Sqrt2)) / 2
	}
	f.Long, f.Short = above(band), 1-above(-band)
	f.Right = max(0, 1-f.Long-f.Short)
	return f
}
