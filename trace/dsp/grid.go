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
func (p Piece) Sample(timeS, x []float64) []float64 {
	t, v := timeS[p.From:p.To], x[p.From:p.To]
	out := make([]float64, p.N)
	if len(t) == 1 {
		for i := range out {
			out[i] = v[0]
		}
		return out
	}
	k := 0
	m0, m1 := slope(t, v, 0), slope(t, v, 1)
	for i := range out {
		at := p.TimeS(i)
		for k < len(t)-2 && at >= t[k+1] {
			k++
			m0, m1 = m1, slope(t, v, k+1)
		}
		h := t[k+1] - t[k]
		// Rounding may put a grid point just outside the piece: hold the end.
		u := min(max((at-t[k])/h, 0), 1)
		w := 1 - u
		out[i] = v[k]*(1+2*u)*w*w + v[k+1]*(3-2*u)*u*u + h*u*w*(m0*w-m1*u)
	}
	return out
}

// slope is the derivative at sample k of the parabola through it and its neighbours.
func slope(t, v []float64, k int) float64 {
	n := len(t)
	if n == 2 {
		return (v[1] - v[0]) / (t[1] - t[0])
	}
	mid := min(max(k, 1), n-2)
	h0, h1 := t[mid]-t[mid-1], t[mid+1]-t[mid]
	d0, d1 := (v[mid]-v[mid-1])/h0, (v[mid+1]-v[mid])/h1
	// Two samples written almost at once would turn their noise into a steep slope: the
	// chord over both steps can't.
	const uneven = 4
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
