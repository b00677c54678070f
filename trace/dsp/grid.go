package dsp

import "math"

// Piece is a stretch of samples without a gap, laid on an even time grid: grid
// sample i is at StartS + i/RateHz.
type Piece struct {
	From, To int // the samples it was made from, [From, To)
	StartS   float64
	RateHz   float64
	N        int // grid samples
}

// Pieces cuts samples at times timeS (strictly increasing, seconds) wherever two
// neighbours are more than maxGapS apart and gives each piece a grid of rateHz that
// lies inside it. All grids are multiples of 1/rateHz, so that pieces and sensors
// share one. A piece too short to hold a grid point is left out. The grid has at
// most len(timeS) * (1 + maxGapS*rateHz) points.
func Pieces(timeS []float64, rateHz, maxGapS float64) []Piece {
	var out []Piece
	from := 0
	for i := 1; i <= len(timeS); i++ {
		if i < len(timeS) && timeS[i]-timeS[i-1] <= maxGapS {
			continue
		}
		// A sample that lies on the grid but for rounding belongs to it.
		const onGrid = 1e-6
		first := math.Ceil(timeS[from]*rateHz - onGrid)
		last := math.Floor(timeS[i-1]*rateHz + onGrid)
		if last >= first {
			out = append(out, Piece{From: from, To: i, StartS: first / rateHz, RateHz: rateHz, N: int(last-first) + 1})
		}
		from = i
	}
	return out
}

// TimeS is the time of grid sample i, in [0, N).
func (p Piece) TimeS(i int) float64 { return p.StartS + float64(i)/p.RateHz }

// Sample is x, measured at timeS, on the piece's grid, by a cubic through each two
// neighbours with slopes from the parabola through three (Bessel's; C. de Boor, A
// Practical Guide to Splines, chapter IV). For a wave of a tenth of the sampling rate
// the error is below 0.5 % of its amplitude, where straight lines make 5 %. It does not
// filter: when the grid is slower than the samples, low-pass first.
func (p Piece) Sample(timeS, x []float64) []float64 { return p.SampleAll(timeS, x)[0] }

// SampleAll is [Piece.Sample] for several channels of one sensor, in a fraction of the time:
// how much each sample weighs at a grid point depends on the times only.
func (p Piece) SampleAll(timeS []float64, channels ...[]float64) [][]float64 {
	t := timeS[p.From:p.To]
	out := make([][]float64, len(channels))
	for c := range out {
		out[c] = make([]float64, p.N)
	}
	const block = 512 // points, so that their weights stay in the nearest cache
	var weights [block]stencil
	k := 0
	for from := 0; from < p.N; from += block {
		w := weights[:min(block, p.N-from)]
		for i := range w {
			at := p.TimeS(from + i)
			for k < len(t)-2 && at >= t[k+1] {
				k++
			}
			w[i].k = k
			if k > 0 && k < len(t)-2 {
				w[i].weigh(t, at)
			}
		}
		for c, x := range channels {
			v, y := x[p.From:p.To], out[c][from:from+len(w)]
			for i := range y {
				s := &w[i]
				if s.k == 0 || s.k >= len(v)-2 {
					y[i] = cubic(t, v, s.k, p.TimeS(from+i))
					continue
				}
				near := v[s.k-1 : s.k+3]
				y[i] = s.w[0]*near[0] + s.w[1]*near[1] + s.w[2]*near[2] + s.w[3]*near[3]
			}
		}
	}
	return out
}

// stencil is how a grid point between the samples k and k+1 is made of the samples k-1 to k+2.
type stencil struct {
	k int
	w [4]float64
}

// weigh finds the weights of the [cubic] at a time; the sample k has two neighbours to the right and one to the left.
func (s *stencil) weigh(t []float64, at float64) {
	near := t[s.k-1 : s.k+3]
	h0, h, h2 := near[1]-near[0], near[2]-near[1], near[3]-near[2]
	u := min(max((at-near[1])/h, 0), 1)
	w := 1 - u
	left, right := h*u*w*w, -h*u*u*w // of the slopes at k and k+1
	before0, after0 := slopeWeights(h0, h)
	before1, after1 := slopeWeights(h, h2)
	s.w[0] = -left * before0
	s.w[1] = (1+2*u)*w*w + left*(before0-after0) - right*before1
	s.w[2] = (3-2*u)*u*u + left*after0 + right*(before1-after1)
	s.w[3] = right * after1
}

// slopeWeights tell the [slope] at a sample from the steps before and after it: it is
// before times the rise over the one and after times the rise over the other.
func slopeWeights(h0, h1 float64) (before, after float64) {
	both := 1 / (h0 + h1)
	if h0 > uneven*h1 || h1 > uneven*h0 {
		return both, both
	}
	return h1 / h0 * both, h0 / h1 * both
}

// cubic is the value at a time between the samples k and k+1.
func cubic(t, v []float64, k int, at float64) float64 {
	if len(t) == 1 {
		return v[0]
	}
	h := t[k+1] - t[k]
	// Rounding may put a grid point just outside the piece: hold the end.
	u := min(max((at-t[k])/h, 0), 1)
	w := 1 - u
	return v[k]*(1+2*u)*w*w + v[k+1]*(3-2*u)*u*u + h*u*w*(slope(t, v, k)*w-slope(t, v, k+1)*u)
}

// uneven is how much longer than its neighbour a step may be for a parabola: two samples
// written almost at once would turn their noise into a steep slope, which the chord over both steps can't.
const uneven = 4

// slope is the derivative at sample k of the parabola through it and its neighbours.
func slope(t, v []float64, k int) float64 {
	n := len(t)
	if n == 2 {
		return (v[1] - v[0]) / (t[1] - t[0])
	}
	mid := min(max(k, 1), n-2)
	h0, h1 := t[mid]-t[mid-1], t[mid+1]-t[mid]
	d0, d1 := (v[mid]-v[mid-1])/h0, (v[mid+1]-v[mid])/h1
	if h0 > uneven*h1 || h1 > uneven*h0 {
		return (v[mid+1] - v[mid-1]) / (h0 + h1)
	}
	bend := (d1 - d0) / (h0 + h1)
	switch {
	case k < mid:
		return d0 - h0*bend
	case k > mid:
		return d1 + h1*bend
	}
	return d0 + h0*bend
}
