package course

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// The way a surface is fitted.
const (
	// A thin plate needs six spots: three are the plane, and fewer than three more
	// would only bend to their own errors (ours).
	thinPlateLeast = 6
	// Spots must reach across their line by a fifth as far as along it for a thin plate (ours); by a
	// hundredth for a plane, else a centimetre of error tips it.
	thinPlateAcross, planeAcross = 0.2, 0.01
	// Spots within a metre are one, at their mean: a height stands for the ground of a stride or so, and
	// two centimetres of error over a short way would be a hillside.
	oneSpotM = 1.0
)

// Surface is the ground between spot heights.
type Surface struct {
	// ResidualRMSM and ResidualMaxM are how far the spots lie off the best plane: the root mean square
	// and the largest. Heights of three spots fit exactly, which is no proof.
	ResidualRMSM, ResidualMaxM float64
	// ThinPlate tells that the surface bends through every spot; false for the plane.
	ThinPlate bool

	centre    Point
	z, zx, zy float64 // of the plane at the centre: height, rise per metre of x and of y
	nodes     []Spot  // of the thin plate, places from the centre
	weights   []float64
}

// NewSurface is the ground that spot heights show: the plane of least squares or, from six spots well
// spread over the ground, the thin plate that bends least through all of them (Duchon 1977; kernel
// r² log r with a plane). why says why there is none: fewer than three heights, or all in a line. Beyond the
// spots the surface goes on nearly as a plane; there its heights are no measurement.
func NewSurface(levels []Spot) (s *Surface, why string) {
	if why := flatBecause(levels); why != "" {
		return nil, why
	}
	s = &Surface{}
	spots := merged(levels)
	if flatBecause(spots) != "" {
		spots = levels
	}
	n := float64(len(spots))
	for _, p := range spots {
		s.centre.X += p.X / n
		s.centre.Y += p.Y / n
		s.z += p.Z / n
	}
	// Normal equations about the centre, where the constant falls out.
	var xx, xy, yy, xz, yz float64
	for _, p := range spots {
		x, y, z := p.X-s.centre.X, p.Y-s.centre.Y, p.Z-s.z
		xx, xy, yy = xx+x*x, xy+x*y, yy+y*y
		xz, yz = xz+x*z, yz+y*z
	}
	det := xx*yy - xy*xy // above zero, because the spots are not in a line
	s.zx, s.zy = (xz*yy-yz*xy)/det, (yz*xx-xz*xy)/det
	for _, p := range spots {
		r := p.Z - s.HeightAt(p.X, p.Y)
		s.ResidualRMSM += r * r / n
		s.ResidualMaxM = max(s.ResidualMaxM, math.Abs(r))
	}
	s.ResidualRMSM = math.Sqrt(s.ResidualRMSM)
	if wide, across := spread(spots); len(spots) >= thinPlateLeast && across >= thinPlateAcross*wide {
		s.bend(spots)
	}
	return s, ""
}

// merged are the spots with those that are nearly one place taken together.
func merged(levels []Spot) []Spot {
	type heap struct {
		first Point
		sum   Spot
		n     float64
	}
	var heaps []heap
next:
	for _, l := range levels {
		for i := range heaps {
			if h := &heaps[i]; distance(h.first, Point{l.X, l.Y}) < oneSpotM {
				h.sum.X, h.sum.Y, h.sum.Z, h.n = h.sum.X+l.X, h.sum.Y+l.Y, h.sum.Z+l.Z, h.n+1
				continue next
			}
		}
		heaps = append(heaps, heap{Point{l.X, l.Y}, l, 1})
	}
	out := make([]Spot, len(heaps))
	for i, h := range heaps {
		out[i] = Spot{h.sum.X / h.n, h.sum.Y / h.n, h.sum.Z / h.n}
	}
	return out
}

// bend adds to the plane the thin plate through what the plane leaves over: weights w with
// Σ w φ(|p - pi|) + a + b x + c y through every spot and no weight, nor moment of weights, over all.
func (s *Surface) bend(spots []Spot) {
	n := len(spots)
	// Distances in units of the spots' spread keep the equations well conditioned; the plate is the
	// same, since log of the unit only adds what the plane takes up.
	unit, _ := spread(spots)
	nodes := make([]Spot, n)
	for i, p := range spots {
		nodes[i] = Spot{(p.X - s.centre.X) / unit, (p.Y - s.centre.Y) / unit, p.Z - s.HeightAt(p.X, p.Y)}
	}
	a, b := mat.NewDense(n+3, n+3, nil), mat.NewVecDense(n+3, nil)
	for i, p := range nodes {
		for j, q := range nodes {
			a.Set(i, j, plate(math.Hypot(p.X-q.X, p.Y-q.Y)))
		}
		for k, v := range []float64{1, p.X, p.Y} {
			a.Set(i, n+k, v)
			a.Set(n+k, i, v)
		}
		b.SetVec(i, p.Z)
	}
	var w mat.VecDense
	if err := w.SolveVec(a, b); err != nil {
		return // spots that no plate goes through soundly: the plane stands
	}
	for i := range n + 3 {
		if v := w.AtVec(i); math.IsNaN(v) || math.IsInf(v, 0) {
			return
		}
	}
	s.ThinPlate = true
	s.nodes, s.weights = nodes, w.RawVector().Data[:n]
	for i := range s.nodes {
		s.nodes[i].X *= unit
		s.nodes[i].Y *= unit
		s.weights[i] /= unit * unit
	}
	// Taking the unit out of φ leaves -log(unit) r², a plane because of the moments; it is found by
	// what the constant, x and y still lack at the spots.
	c, bx, by := w.AtVec(n), w.AtVec(n+1)/unit, w.AtVec(n+2)/unit
	logUnit := math.Log(unit)
	for i, q := range s.nodes {
		// Σ w r² = Σ w (qx² + qy²) - 2x Σ w qx - 2y Σ w qy + (x² + y²) Σ w; the last three are zero.
		c -= logUnit * s.weights[i] * (q.X*q.X + q.Y*q.Y)
	}
	s.z += c
	s.zx += bx
	s.zy += by
}

// plate is the kernel r² log r.
func plate(r float64) float64 {
	if r == 0 {
		return 0
	}
	return r * r * math.Log(r)
}

// HeightAt is the height of the ground at a place of the arena frame, metres.
func (s *Surface) HeightAt(x, y float64) float64 {
	x, y = x-s.centre.X, y-s.centre.Y
	z := s.z + s.zx*x + s.zy*y
	for i, q := range s.nodes {
		z += s.weights[i] * plate(math.Hypot(x-q.X, y-q.Y))
	}
	return z
}

// GradeAlong is the rise per metre at a place towards a bearing (degrees clockwise from +y): 0.02 is
// 2 % uphill.
func (s *Surface) GradeAlong(x, y, bearingDeg float64) float64 {
	x, y = x-s.centre.X, y-s.centre.Y
	gx, gy := s.zx, s.zy
	for i, q := range s.nodes {
		dx, dy := x-q.X, y-q.Y
		if r := math.Hypot(dx, dy); r > 0 {
			// d/dr of r² log r is r (2 log r + 1), along (dx, dy)/r.
			slope := s.weights[i] * (2*math.Log(r) + 1)
			gx += slope * dx
			gy += slope * dy
		}
	}
	u := direction(bearingDeg)
	return gx*u.X + gy*u.Y
}

// flatBecause says why spot heights tell no slope; "" when they do.
func flatBecause(spots []Spot) string {
	if len(spots) < 3 {
		return "fewer than three spot heights"
	}
	wide, across := spread(spots)
	switch {
	case wide < oneSpotM:
		return "all spot heights are at one place"
	case across < planeAcross*wide:
		return "all spot heights lie on a line"
	}
	return ""
}

// spread is the standard deviation of places along the direction in which they lie farthest apart, and
// across it.
func spread(spots []Spot) (along, across float64) {
	var mx, my, xx, xy, yy float64
	n := float64(len(spots))
	for _, s := range spots {
		mx += s.X / n
		my += s.Y / n
	}
	for _, s := range spots {
		xx += (s.X - mx) * (s.X - mx) / n
		xy += (s.X - mx) * (s.Y - my) / n
		yy += (s.Y - my) * (s.Y - my) / n
	}
	mean, half := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	return math.Sqrt(mean + half), math.Sqrt(max(0, mean-half))
}

// homeIsHereM: nearer than this there is no direction home.
const homeIsHereM = 1.0

// Homeward is the cosine of the angle between a bearing and the way home from a place: 1 straight
// towards home, -1 straight away; 0 within a metre of home.
func Homeward(at Point, bearingDeg float64, home Point) float64 {
	if distance(at, home) < homeIsHereM {
		return 0
	}
	return math.Cos((bearing(at, home) - bearingDeg) * math.Pi / 180)
}

// SlopeAlong is the mean rise per metre of a path and its mean cosine towards home, each nil where
// the plan has no surface or no home. They are taken every half metre.
func SlopeAlong(path Path, s *Surface, home *Point) (grade, homeward *float64) {
	length := path.LengthM()
	if length <= 0 {
		return nil, nil
	}
	n := int(math.Ceil(length / 0.5))
	var g, h float64
	for i := range n {
		at, deg := path.At(length * (float64(i) + 0.5) / float64(n))
		if s != nil {
			g += s.GradeAlong(at.X, at.Y, deg) / float64(n)
		}
		if home != nil {
			h += Homeward(at, deg, *home) / float64(n)
		}
	}
	if s != nil {
		grade = &g
	}
	if home != nil {
		homeward = &h
	}
	return grade, homeward
}
