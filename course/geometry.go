package course

import "math"

// direction is the unit vector of a bearing in degrees clockwise from +y.
func direction(deg float64) Point {
	s, c := math.Sincos(deg * math.Pi / 180)
	return Point{s, c}
}

// bearing is the bearing from a to b, degrees clockwise from +y, in [0, 360).
func bearing(a, b Point) float64 {
	d := math.Atan2(b.X-a.X, b.Y-a.Y) * 180 / math.Pi
	if d < 0 {
		d += 360
	}
	if d >= 360 { // the smallest negative angles round up to the full circle
		d = 0
	}
	return d
}

// turnDeg is the turn from one bearing to another, right positive, in (-180, 180].
func turnDeg(from, to float64) float64 { return WrapDeg(to - from) }

// WrapDeg is the angle in (-180, 180] that differs from deg by whole turns.
func WrapDeg(deg float64) float64 {
	d := math.Mod(deg, 360)
	switch {
	case d > 180:
		d -= 360
	case d <= -180:
		d += 360
	}
	return d
}

func distance(a, b Point) float64 { return math.Hypot(b.X-a.X, b.Y-a.Y) }

// along is the place d metres from p towards a bearing.
func along(p Point, deg, d float64) Point {
	u := direction(deg)
	return Point{p.X + d*u.X, p.Y + d*u.Y}
}

// area of a ring, anticlockwise positive (the shoelace formula).
func area(ring []Point) float64 {
	var a float64
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		a += p.X*q.Y - q.X*p.Y
	}
	return a / 2
}

// thin tells whether places lie on a line, to half a metre.
func thin(ps []Point) bool {
	spots := make([]Spot, len(ps))
	for i, p := range ps {
		spots[i] = Spot{X: p.X, Y: p.Y}
	}
	_, across := spread(spots)
	return across < 0.5
}

// inside tells whether p lies in the ring or on its edge (ray casting; the edge is tested first,
// to a tenth of a millimetre, so that rounding never puts an obstacle on the fence outside).
func inside(ring []Point, p Point) bool {
	in := false
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		if toSegment(p, a, b) < 1e-4 {
			return true
		}
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// toSegment is the distance of p from the segment ab.
func toSegment(p, a, b Point) float64 {
	dx, dy := b.X-a.X, b.Y-a.Y
	t := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		t = max(0, min(1, ((p.X-a.X)*dx+(p.Y-a.Y)*dy)/l))
	}
	return math.Hypot(p.X-a.X-t*dx, p.Y-a.Y-t*dy)
}

// crossingSides are two sides of a ring that are no neighbours and meet; -1, -1 if there are none.
func crossingSides(ring []Point) (int, int) {
	n := len(ring)
	for i := range n {
		for j := i + 2; j < n; j++ {
			if i == 0 && j == n-1 {
				continue
			}
			if segmentsMeet(ring[i], ring[(i+1)%n], ring[j], ring[(j+1)%n]) {
				return i, j
			}
		}
	}
	return -1, -1
}

func segmentsMeet(a, b, c, d Point) bool {
	side := func(p, q, r Point) float64 { return (q.X-p.X)*(r.Y-p.Y) - (q.Y-p.Y)*(r.X-p.X) }
	s1, s2 := side(a, b, c), side(a, b, d)
	s3, s4 := side(c, d, a), side(c, d, b)
	if s1*s2 < 0 && s3*s4 < 0 {
		return true
	}
	return toSegment(c, a, b) == 0 || toSegment(d, a, b) == 0 || toSegment(a, c, d) == 0 || toSegment(b, c, d) == 0
}
