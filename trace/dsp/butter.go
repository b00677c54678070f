package dsp

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"sync"
)

// ErrDesign is wrapped by every refusal to design a filter.
var ErrDesign = errors.New("filter can't be designed")

// maxOrder bounds the order of a design: beyond it a narrow filter's sections lose
// more to rounding than the steeper slope gains, and nothing on a horse asks for it.
const maxOrder = 12

// Section is one second-order section,
//
//	H(z) = (B0 + B1/z + B2/z²) / (1 + A1/z + A2/z²).
type Section struct{ B0, B1, B2, A1, A2 float64 }

// Filter is a cascade of second-order sections.
type Filter []Section

// Lowpass is the digital Butterworth low-pass of the given order (1 to 12) with its
// half-power point at cutHz, for samples at rateHz; 0 < cutHz < rateHz/2. It is
// the filter of SciPy's butter(order, cutHz, "low", fs=rateHz): poles of the analogue
// prototype on a circle (S. Butterworth, 1930), bilinear transform with the cut
// pre-warped (A. V. Oppenheim and R. W. Schafer, Discrete-Time Signal Processing,
// 3rd ed., sections 7.2 and B.1).
func Lowpass(order int, cutHz, rateHz float64) (Filter, error) {
	if err := checkDesign(order, rateHz, cutHz); err != nil {
		return nil, err
	}
	w := warp(cutHz, rateHz)
	poles := prototype(order)
	for i := range poles {
		poles[i] *= complex(w, 0)
	}
	return digital(poles, -1, -1, 0), nil
}

// Highpass is the high-pass counterpart of [Lowpass].
func Highpass(order int, cutHz, rateHz float64) (Filter, error) {
	if err := checkDesign(order, rateHz, cutHz); err != nil {
		return nil, err
	}
	w := warp(cutHz, rateHz)
	poles := prototype(order)
	for i := range poles {
		poles[i] = complex(w, 0) / poles[i]
	}
	return digital(poles, 1, 1, math.Pi), nil
}

// Bandpass is the band-pass counterpart of [Lowpass] with half-power points at lowHz
// and highHz; it has twice the order's poles, as SciPy's has.
func Bandpass(order int, lowHz, highHz, rateHz float64) (Filter, error) {
	if err := checkDesign(order, rateHz, lowHz, highHz); err != nil {
		return nil, err
	}
	if lowHz >= highHz {
		return nil, fmt.Errorf("%w: band from %g to %g Hz is empty", ErrDesign, lowHz, highHz)
	}
	w1, w2 := warp(lowHz, rateHz), warp(highHz, rateHz)
	half, centre := complex((w2-w1)/2, 0), complex(w1*w2, 0)
	var poles []complex128
	for _, p := range prototype(order) {
		root := cmplx.Sqrt(p*p*half*half - centre)
		poles = append(poles, p*half+root, p*half-root)
	}
	// The analogue centre √(w1 w2) has gain one; that is where the digital one is set to it.
	return digital(poles, 1, -1, 2*math.Atan(math.Sqrt(w1*w2))), nil
}

func checkDesign(order int, rateHz float64, cutsHz ...float64) error {
	if order < 1 || order > maxOrder {
		return fmt.Errorf("%w: order %d is not in 1 to %d", ErrDesign, order, maxOrder)
	}
	for _, c := range cutsHz {
		if !(c > 0 && c < rateHz/2) || math.IsInf(rateHz, 0) {
			return fmt.Errorf("%w: cut at %g Hz is not between 0 and half the rate of %g Hz", ErrDesign, c, rateHz)
		}
	}
	return nil
}

// warp is the analogue frequency that the bilinear transform s = (z-1)/(z+1) puts at hz.
func warp(hz, rateHz float64) float64 { return math.Tan(math.Pi * hz / rateHz) }

// prototype has the poles of the analogue Butterworth low-pass with cut 1 rad/s.
func prototype(order int) []complex128 {
	poles := make([]complex128, order)
	for k := range poles {
		poles[k] = cmplx.Rect(1, math.Pi*float64(2*k+order+1)/float64(2*order))
	}
	if order%2 == 1 {
		poles[order/2] = -1 // exactly real
	}
	return poles
}

// digital brings analogue poles to the z plane, pairs conjugates into sections with
// zeros z1 and z2 (a section of one pole has z1 only), and gives each section gain one
// at the angular frequency unit (radians a sample).
func digital(analogue []complex128, z1, z2, unit float64) Filter {
	var real1 []float64
	var f Filter
	for _, s := range analogue {
		p := (1 + s) / (1 - s)
		switch {
		case math.Abs(imag(p)) < 1e-14:
			real1 = append(real1, real(p))
		case imag(p) > 0:
			f = append(f, Section{A1: -2 * real(p), A2: real(p)*real(p) + imag(p)*imag(p)})
		}
	}
	for len(real1) >= 2 {
		f = append(f, Section{A1: -real1[0] - real1[1], A2: real1[0] * real1[1]})
		real1 = real1[2:]
	}
	for i := range f {
		f[i].B0, f[i].B1, f[i].B2 = 1, -z1-z2, z1*z2
	}
	if len(real1) == 1 {
		f = append(f, Section{B0: 1, B1: -z1, A1: -real1[0]})
	}
	for i, s := range f {
		g := 1 / cmplx.Abs(s.at(unit))
		f[i].B0, f[i].B1, f[i].B2 = s.B0*g, s.B1*g, s.B2*g
	}
	return f
}

// at is the section's response at an angular frequency in radians a sample.
func (s Section) at(w float64) complex128 {
	z := cmplx.Rect(1, -w)
	return (complex(s.B0, 0) + z*(complex(s.B1, 0)+z*complex(s.B2, 0))) /
		(1 + z*(complex(s.A1, 0)+z*complex(s.A2, 0)))
}

// Response is the filter's complex gain at a frequency, run forward once. Run
// forward and backward the gain is the square of its modulus, without phase.
func (f Filter) Response(hz, rateHz float64) complex128 {
	h := complex(1, 0)
	for _, s := range f {
		h *= s.at(2 * math.Pi * hz / rateHz)
	}
	return h
}

// ZeroPhase is the filter run forward and then backward over x: no delay, the
// gain squared. Ends are continued by odd reflection over three times the filter's
// length and both runs start in the steady state of their first value (F. Gustafsson,
// Determining the initial states in forward-backward filtering, IEEE Trans. Signal
// Process. 44, 1996, gives the problem; this is SciPy's sosfiltfilt with its
// defaults). Where x is too short for that padding the padding is as long as x allows.
func (f Filter) ZeroPhase(x []float64) []float64 {
	pad := min(f.padLen(), len(x)-1)
	if pad < 0 {
		return nil
	}
	ext := make([]float64, len(x)+2*pad)
	copy(ext[pad:], x)
	last := len(x) - 1
	for i := 1; i <= pad; i++ {
		ext[pad-i] = 2*x[0] - x[i]
		ext[pad+last+i] = 2*x[last] - x[last-i]
	}
	f.bothWays(ext)
	return ext[pad : pad+len(x) : pad+len(x)]
}

// ZeroPhaseAll is [Filter.ZeroPhase] of several channels, on all processors.
func (f Filter) ZeroPhaseAll(channels ...[]float64) [][]float64 {
	out := make([][]float64, len(channels))
	var all sync.WaitGroup
	for c, x := range channels {
		all.Go(func() { out[c] = f.ZeroPhase(x) })
	}
	all.Wait()
	return out
}

// padLen is SciPy's default for sosfiltfilt: three times the number of coefficients,
// zeros at either end of numerator and denominator not counted.
func (f Filter) padLen() int {
	b2, a2 := 0, 0
	for _, s := range f {
		if s.B2 == 0 {
			b2++
		}
		if s.A2 == 0 {
			a2++
		}
	}
	return 3 * (2*len(f) + 1 - min(b2, a2))
}

// bothWays filters x in place, forward and backward, each way from the steady state.
func (f Filter) bothWays(x []float64) {
	f.run(x, 0, 1)
	f.run(x, len(x)-1, -1)
}

// run filters x in place from sample start on, by steps of 1 or -1, starting in the state
// that the first sample, had it stood there for ever, has led to. Two sections go in one pass: the
// second works on a sample while the first is at the next, and x is fetched once.
func (f Filter) run(x []float64, start, step int) {
	level := x[start]
	for len(f) > 0 {
		a, b := f[0], Section{B0: 1}
		f = f[1:]
		if len(f) > 0 {
			b, f = f[0], f[1:]
		}
		middle := level * a.dcGain()
		a.runWith(b, x, start, step, level, middle)
		level = middle * b.dcGain()
	}
}

// dcGain is the section's gain for a constant.
func (s Section) dcGain() float64 { return (s.B0 + s.B1 + s.B2) / (1 + s.A1 + s.A2) }

// steady is the state in which a constant level at the input leaves the section.
func (s Section) steady(level float64) (w1, w2 float64) {
	g := s.dcGain()
	return (g - s.B0) * level, (s.B2 - s.A2*g) * level
}

// runWith filters x in place by the section a and then b, in transposed direct form II
// (Oppenheim and Schafer, section 6.3.4), with levels at the inputs of both to start from.
func (a Section) runWith(b Section, x []float64, start, step int, level, middle float64) {
	a1, a2 := a.steady(level)
	b1, b2 := b.steady(middle)
	for i := start; uint(i) < uint(len(x)); i += step {
		in := x[i]
		mid := a.B0*in + a1
		a1 = a.B1*in - a.A1*mid + a2
		a2 = a.B2*in - a.A2*mid
		out := b.B0*mid + b1
		b1 = b.B1*mid - b.A1*out + b2
		b2 = b.B2*mid - b.A2*out
		x[i] = out
	}
}
