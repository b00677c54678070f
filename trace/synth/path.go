package synth

import (
	"fmt"
	"math"
	"sort"
)

// Pose is a place and a direction in the arena frame.
type Pose struct {
	X, Y      float64 // metres
	FacingDeg float64 // bearing, clockwise from +y
}

// ahead is the pose d metres further on, straight.
func (p Pose) ahead(d float64) Pose {
	s, c := math.Sincos(p.FacingDeg * math.Pi / 180)
	return Pose{X: p.X + d*s, Y: p.Y + d*c, FacingDeg: p.FacingDeg}
}

// angle is the direction of travel counted from +x towards +y, as the mathematics below has it.
func (p Pose) angle() float64 { return math.Pi/2 - p.FacingDeg*math.Pi/180 }

// Path is a curve of straights and arcs, passed once from end to end.
type Path struct{ pieces []piece }

// piece is a straight or an arc; curvature is 1/radius, left positive.
type piece struct {
	fromM, lengthM float64
	x, y, angle    float64 // at its start; the angle is continuous over the path
	curvature      float64
}

// LengthM is the length of the path.
func (p *Path) LengthM() float64 {
	if len(p.pieces) == 0 {
		return 0
	}
	last := p.pieces[len(p.pieces)-1]
	return last.fromM + last.lengthM
}

// at is the piece that holds the place s, the ends' own beyond them.
func (p *Path) at(s float64) piece {
	i := sort.Search(len(p.pieces), func(i int) bool { return p.pieces[i].fromM > s })
	return p.pieces[max(i-1, 0)]
}

// At is the pose after s metres; the facing is not wrapped to a circle. Before the start and behind
// the end the path goes straight on.
func (p *Path) At(s float64) Pose {
	x, y, a := p.at(s).walk(s, p.LengthM())
	return Pose{X: x, Y: y, FacingDeg: 90 - a*180/math.Pi}
}

func (c piece) walk(s, end float64) (x, y, angle float64) {
	over := max(s-end, 0) + min(s, 0)
	d := s - over - c.fromM
	if k := c.curvature; k == 0 {
		x, y, angle = c.x+d*math.Cos(c.angle), c.y+d*math.Sin(c.angle), c.angle
	} else {
		angle = c.angle + k*d
		x = c.x + (math.Sin(angle)-math.Sin(c.angle))/k
		y = c.y - (math.Cos(angle)-math.Cos(c.angle))/k
	}
	return x + over*math.Cos(angle), y + over*math.Sin(angle), angle
}

// Curvature is 1/radius at s metres, left positive, 0 on a straight.
func (p *Path) Curvature(s float64) float64 {
	if s < 0 || s > p.LengthM() {
		return 0
	}
	return p.at(s).curvature
}

// meanCurvature is the turn over the trunk's own length about s, over that length: fore and hind hooves of a horse
// are some 1.5 m apart either side of its middle when it canters (our choice), so no trunk turns with a jerk.
func (p *Path) meanCurvature(s float64) float64 {
	const half = 1.5
	return (p.At(s-half).FacingDeg - p.At(s+half).FacingDeg) * math.Pi / 180 / (2 * half)
}

// add appends a piece of this length and curvature behind the end.
func (p *Path) add(lengthM, curvature float64) {
	if lengthM < 1e-9 {
		return
	}
	end := p.LengthM()
	last := p.pieces[len(p.pieces)-1]
	x, y, a := last.walk(end, end)
	p.pieces = append(p.pieces, piece{fromM: end, lengthM: lengthM, x: x, y: y, angle: a, curvature: curvature})
}

// startPath is a path of no length at a pose.
func startPath(at Pose) *Path {
	return &Path{pieces: []piece{{x: at.X, y: at.Y, angle: at.angle()}}}
}

// join goes on from one pose to another by the shortest way of an arc, a straight and an arc of one radius
// (L. E. Dubins, On curves of minimal length with a constraint on average curvature, American
// Journal of Mathematics 79, 1957, 497-516; of its six words the four with a straight, as
// no rider turns left in the middle of a right turn).
func (p *Path) join(from, to Pose, radiusM float64) error {
	dx, dy := (to.X-from.X)/radiusM, (to.Y-from.Y)/radiusM
	d, chord := math.Hypot(dx, dy), math.Atan2(dy, dx)
	sa, ca := math.Sincos(from.angle() - chord)
	sb, cb := math.Sincos(to.angle() - chord)
	a, b := from.angle()-chord, to.angle()-chord
	cab := math.Cos(a - b)

	best := [3]float64{math.Inf(1)}
	var side [2]float64
	try := func(square float64, ends func(straight float64) (first, second float64), s [2]float64) {
		if square < -1e-12 {
			return
		}
		straight := math.Sqrt(max(square, 0))
		t, q := ends(straight)
		t, q = turn(t), turn(q)
		if t+straight+q < best[0]+best[1]+best[2] {
			best, side = [3]float64{t, straight, q}, s
		}
	}
	try(2+d*d-2*cab+2*d*(sa-sb), func(float64) (float64, float64) {
		m := math.Atan2(cb-ca, d+sa-sb)
		return m - a, b - m
	}, [2]float64{1, 1})
	try(2+d*d-2*cab+2*d*(sb-sa), func(float64) (float64, float64) {
		m := math.Atan2(ca-cb, d-sa+sb)
		return a - m, m - b
	}, [2]float64{-1, -1})
	try(-2+d*d+2*cab+2*d*(sa+sb), func(s float64) (float64, float64) {
		m := math.Atan2(-ca-cb, d+sa+sb) - math.Atan2(-2, s)
		return m - a, m - b
	}, [2]float64{1, -1})
	try(-2+d*d+2*cab-2*d*(sa+sb), func(s float64) (float64, float64) {
		m := math.Atan2(ca+cb, d-sa-sb) - math.Atan2(2, s)
		return a - m, b - m
	}, [2]float64{-1, 1})

	p.add(best[0]*radiusM, side[0]/radiusM)
	p.add(best[1]*radiusM, 0)
	p.add(best[2]*radiusM, side[1]/radiusM)
	if end := p.At(p.LengthM()); !(math.Hypot(end.X-to.X, end.Y-to.Y) < 1e-6) {
		return fmt.Errorf("no way from (%.1f, %.1f) to (%.1f, %.1f) with a radius of %.1f m", from.X, from.Y, to.X, to.Y, radiusM)
	}
	return nil
}

// turn brings an angle into [0, 2π), what rounding left of a full circle to 0.
func turn(a float64) float64 {
	a = math.Mod(a, 2*math.Pi)
	if a < 0 {
		a += 2 * math.Pi
	}
	if a > 2*math.Pi-1e-9 {
		return 0
	}
	return a
}
