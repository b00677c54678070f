package dsp

import "math"

// Up is the direction that is up in a sensor's own axes over time: unit vectors, one
// a sample.
type Up struct{ X, Y, Z []float64 }

// FindUp finds the way up from specific force in m/s² on an even grid: what is left
// of it under a zero-phase low-pass at cutHz (second order) is gravity. For a steady
// mounting 0.1 to 0.3 Hz is right: well below the slowest step of a walk, fast enough for
// a pocket that turns. In a turn at 5 m/s and 8 m radius the horse leans and up
// leans with it. It fails, ok false, where the sensor saw no gravity for a whole
// stretch: mean force below a fifth of 9.81 m/s² (gravity was removed, or
// no samples).
func FindUp(ax, ay, az []float64, rateHz, cutHz float64) (up Up, ok bool) {
	if len(ax) == 0 {
		return Up{}, false
	}
	up = Up{X: slow(ax, rateHz, cutHz), Y: slow(ay, rateHz, cutHz), Z: slow(az, rateHz, cutHz)}
	const leastMS2 = 9.81 / 5
	for i := range up.X {
		g := math.Sqrt(up.X[i]*up.X[i] + up.Y[i]*up.Y[i] + up.Z[i]*up.Z[i])
		if !(g >= leastMS2) {
			return Up{}, false
		}
		up.X[i] /= g
		up.Y[i] /= g
		up.Z[i] /= g
	}
	return up, true
}

// slow is x low-passed with ends continued by even reflection over one period of the
// cut. An odd reflection would turn the slow wave about the noise of the first sample.
func slow(x []float64, rateHz, cutHz float64) []float64 {
	f, err := Lowpass(2, cutHz, rateHz)
	pad := 0
	if err == nil {
		pad = int(rateHz / cutHz)
	}
	if pad == 0 || len(x) <= pad {
		// Too short to know more than the mean.
		sum := 0.0
		for _, v := range x {
			sum += v
		}
		out := make([]float64, len(x))
		for i := range out {
			out[i] = sum / float64(len(x))
		}
		return out
	}
	ext := make([]float64, len(x)+2*pad)
	copy(ext[pad:], x)
	last := len(x) - 1
	for i := 1; i <= pad; i++ {
		ext[pad-i] = x[i]
		ext[pad+last+i] = x[last-i]
	}
	f.bothWays(ext)
	return ext[pad : pad+len(x) : pad+len(x)]
}

// Level turns a vector in sensor axes (force or turn rate) into its part along up and
// two parts in the horizontal plane, u and v, which make a right-handed set
// (u, v, up). The horizontal axes are the sensor's own tilted by the least turn that
// brings the mean up to up, so they stay with the mounting and turn about the vertical as
// the horse does; which of them is forward is not known here.
func (up Up) Level(x, y, z []float64) (vertical, u, v []float64) {
	n := len(x)
	vertical, u, v = make([]float64, n), make([]float64, n), make([]float64, n)
	base := leastTurn(up.mean())
	for i := range x {
		d := [3]float64{up.X[i], up.Y[i], up.Z[i]}
		in := base.turn([3]float64{x[i], y[i], z[i]})
		out := leastTurn(base.turn(d)).turn(in)
		u[i], v[i], vertical[i] = out[0], out[1], out[2]
	}
	return vertical, u, v
}

// mean is the mean direction, a unit vector; the sensor's z where directions cancel.
func (up Up) mean() [3]float64 {
	var s [3]float64
	for i := range up.X {
		s[0] += up.X[i]
		s[1] += up.Y[i]
		s[2] += up.Z[i]
	}
	g := math.Sqrt(s[0]*s[0] + s[1]*s[1] + s[2]*s[2])
	if g == 0 {
		return [3]float64{0, 0, 1}
	}
	return [3]float64{s[0] / g, s[1] / g, s[2] / g}
}

// rotation is a rotation matrix by rows.
type rotation [3][3]float64

func (r rotation) turn(v [3]float64) (out [3]float64) {
	for i := range out {
		out[i] = r[i][0]*v[0] + r[i][1]*v[1] + r[i][2]*v[2]
	}
	return out
}

// leastTurn is the smallest rotation that brings the unit vector d to z (Rodrigues'
// formula); half a turn about x where d points straight down.
func leastTurn(d [3]float64) rotation {
	if d[2] < -1+1e-12 {
		return rotation{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}
	}
	k := 1 / (1 + d[2])
	return rotation{
		{1 - k*d[0]*d[0], -k * d[0] * d[1], -d[0]},
		{-k * d[0] * d[1], 1 - k*d[1]*d[1], -d[1]},
		{d[0], d[1], d[2]},
	}
}
