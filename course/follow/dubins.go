package follow

import (
	"math"

	"groundline/course"
)

// The way between two obstacles as it would be ridden: straight on after the landing, an arc, a
// straight, an arc, straight before the take-off. The radius is an easy turn at the pace of a practice
// round; the straights are some two strides after and three before (common practice).
const (
	turnRadiusM = 8.0
	runOutM     = 5.0
	runInM      = 7.0
)

// wayM is the length of the shortest such way from the middle of a to the middle of b, and how far
// it turns in all, degrees, left positive. It is a Dubins path (Dubins 1957) of the four kinds that
// have a straight between two arcs, which are the shortest where the ends lie far apart; nearer
// ones are still rideable, only longer.
func wayM(a, b course.Obstacle) (lengthM, turnedDeg float64) {
	sa, ca := math.Sincos(a.FacingDeg * math.Pi / 180)
	sb, cb := math.Sincos(b.FacingDeg * math.Pi / 180)
	dx, dy := b.At.X-a.At.X, b.At.Y-a.At.Y
	dist := math.Hypot(dx, dy)
	// Obstacles in one line, or nearly: the straights may be as short as the line is.
	out, in := runOutM, runInM
	if f := dist / (out + in + 4); f < 1 {
		out, in = out*f, in*f
	}
	px, py := a.At.X+out*sa, a.At.Y+out*ca
	qx, qy := b.At.X-in*sb, b.At.Y-in*cb
	best := math.Inf(1)
	for _, r := range []float64{turnRadiusM, turnRadiusM / 2} {
		for _, s0 := range []float64{-1, 1} { // -1 left, +1 right
			for _, s1 := range []float64{-1, 1} {
				l, t, ok := csc(px, py, sa, ca, qx, qy, sb, cb, r, s0, s1)
				// A tight turn only where nothing wider is much shorter.
				if r < turnRadiusM {
					l += 6
				}
				if ok && l < best {
					best, turnedDeg = l, t
				}
			}
		}
	}
	return best + out + in, turnedDeg
}

// csc is the arc-straight-arc way from (px, py) heading (sa, ca) to (qx, qy) heading (sb, cb), with
// turns of side s0 and s1 (+1 right) and radius r.
func csc(px, py, sa, ca, qx, qy, sb, cb, r, s0, s1 float64) (length, turned float64, ok bool) {
	// The centre of a right turn lies to the right of the heading: (ca, -sa).
	c0x, c0y := px+s0*r*ca, py-s0*r*sa
	c1x, c1y := qx+s1*r*cb, qy-s1*r*sb
	dx, dy := c1x-c0x, c1y-c0y
	d := math.Hypot(dx, dy)
	var straight, dir float64
	if s0 == s1 {
		straight, dir = d, math.Atan2(dx, dy)
		if d < 1e-9 {
			dir = math.Atan2(sa, ca)
		}
	} else {
		if d < 2*r {
			return 0, 0, false
		}
		straight = math.Sqrt(d*d - 4*r*r)
		// The crossing tangent leans from the line of centres by asin(2r/d), to the side of the first turn.
		dir = math.Atan2(dx, dy) + s0*math.Asin(2*r/d)
	}
	t0 := turnBy(s0, math.Atan2(sa, ca), dir)
	t1 := turnBy(s1, dir, math.Atan2(sb, cb))
	return r*(t0+t1) + straight, -(s0*t0 + s1*t1) * 180 / math.Pi, true
}

// turnBy is how far one turns to side s (+1 right, clockwise) from heading a to heading b, [0, 2π).
func turnBy(s, a, b float64) float64 {
	t := math.Mod(s*(b-a), 2*math.Pi)
	if t < 0 {
		t += 2 * math.Pi
	}
	if t > 2*math.Pi-1e-6 {
		t = 0
	}
	return t
}
