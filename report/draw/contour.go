package draw

import (
	"math"
	"slices"

	"groundline/course"
)

// contour is a line of one height; between the spot heights it is measured, beyond them the surface only goes on.
type contour struct {
	heightM  float64
	points   []course.Point
	measured bool
}

// Contour is a line of equal height in the arena frame.
type Contour struct {
	HeightM float64
	Points  []course.Point
	// Measured tells that it lies between the spot heights; beyond them the surface only goes on.
	Measured bool
}

// Contours are the contours of a plan's ground within its arena, or within what the spot heights enclose, every stepM of
// height, a round number of metres; none, and a step of 0, where the ground is level to the decimetre. ground is the
// plan's, as [course.NewSurface] gives it, and may be nil.
func Contours(p *course.Plan, ground *course.Surface) (lines []Contour, stepM float64) {
	stepM = contourStepM(ground, p.Levels, 1)
	if stepM == 0 {
		return nil, 0
	}
	hull := hullOf(p.Levels)
	ring := p.Arena
	if ring == nil {
		ring = hull
	}
	for _, c := range contours(ground, ring, hull, stepM) {
		lines = append(lines, Contour{c.heightM, thinnedM(c.points, 0.05), c.measured})
	}
	return lines, stepM
}

// thinnedM is thinned for places of the arena.
func thinnedM(points []course.Point, offM float64) []course.Point {
	flat := make([]XY, len(points))
	for i, p := range points {
		flat[i] = XY(p)
	}
	flat = thinned(flat, offM)
	out := make([]course.Point, len(flat))
	for i, p := range flat {
		out[i] = course.Point(p)
	}
	return out
}

// contourStepM is a round number of units (of so many metres) that gives some four to ten contours; 0 where the ground
// is level to the decimetre or not known.
func contourStepM(ground *course.Surface, levels []course.Spot, unitM float64) float64 {
	if ground == nil {
		return 0
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, l := range levels {
		z := ground.HeightAt(l.X, l.Y)
		low, high = min(low, z), max(high, z)
	}
	if high-low < 0.1 {
		return 0
	}
	return max(0.05*unitM, roundBelow((high-low)/unitM/4)*unitM)
}

// contours are the lines of equal height of a surface every stepM, within the ring. hull is what the
// spot heights enclose. Found on a square grid (marching squares, linear between its corners).
func contours(s *course.Surface, ring, hull []course.Point, stepM float64) []contour {
	low, high := boundsOf(ring)
	const cells = 72
	side := max(high.X-low.X, high.Y-low.Y) / cells
	if !(side > 0) {
		return nil
	}
	nx, ny := int(math.Ceil((high.X-low.X)/side)), int(math.Ceil((high.Y-low.Y)/side))
	z := make([]float64, (nx+1)*(ny+1))
	bottom, top := math.Inf(1), math.Inf(-1)
	at := func(i, j int) course.Point {
		return course.Point{X: low.X + float64(i)*side, Y: low.Y + float64(j)*side}
	}
	for j := range ny + 1 {
		for i := range nx + 1 {
			p := at(i, j)
			v := s.HeightAt(p.X, p.Y)
			z[j*(nx+1)+i] = v
			bottom, top = min(bottom, v), max(top, v)
		}
	}
	var out []contour
	for k := math.Ceil(bottom / stepM); k*stepM <= top && len(out) < 2000; k++ {
		level := k * stepM
		for _, line := range levelLines(z, nx, ny, level) {
			points := make([]course.Point, len(line))
			for i, p := range line {
				points[i] = course.Point{X: low.X + p.X*side, Y: low.Y + p.Y*side}
			}
			for _, part := range clipped(points, ring, hull) {
				part.heightM = level
				out = append(out, part)
			}
		}
	}
	return out
}

// levelLines are the lines at a level through a grid of heights, in grid steps.
func levelLines(z []float64, nx, ny int, level float64) [][]XY {
	// Each edge of the grid that the level crosses is a node: 2n for the edge to the right of corner n,
	// 2n+1 for the one upwards. Each cell joins its crossed edges in pairs.
	w := nx + 1
	above := func(n int) bool { return z[n] >= level }
	place := func(edge int) XY {
		n := edge / 2
		m := n + 1
		if edge%2 == 1 {
			m = n + w
		}
		t := (level - z[n]) / (z[m] - z[n])
		x, y := float64(n%w), float64(n/w)
		if edge%2 == 1 {
			return XY{x, y + t}
		}
		return XY{x + t, y}
	}
	joins := map[int][]int{}
	var order []int
	join := func(a, b int) {
		for _, e := range []int{a, b} {
			if _, ok := joins[e]; !ok {
				order = append(order, e)
			}
		}
		joins[a] = append(joins[a], b)
		joins[b] = append(joins[b], a)
	}
	for j := range ny {
		for i := range nx {
			n := j*w + i
			edges := []int{2 * n, 2*(n+1) + 1, 2 * (n + w), 2*n + 1} // below, right, above, left
			corner := []bool{above(n), above(n + 1), above(n + w + 1), above(n + w)}
			var crossed []int
			for k := range 4 {
				if corner[k] != corner[(k+1)%4] {
					crossed = append(crossed, edges[k])
				}
			}
			switch len(crossed) {
			case 2:
				join(crossed[0], crossed[1])
			case 4: // a saddle: the middle tells which corners belong together
				middle := (z[n]+z[n+1]+z[n+w]+z[n+w+1])/4 >= level
				if middle == corner[0] {
					join(crossed[0], crossed[1])
					join(crossed[2], crossed[3])
				} else {
					join(crossed[3], crossed[0])
					join(crossed[1], crossed[2])
				}
			}
		}
	}
	// Ends first, then what is left are rings.
	slices.SortStableFunc(order, func(a, b int) int { return len(joins[a]) - len(joins[b]) })
	used := map[[2]int]bool{}
	var out [][]XY
	for _, start := range order {
		for _, next := range joins[start] {
			if used[[2]int{start, next}] {
				continue
			}
			line := []XY{place(start)}
			from, to := start, next
			for {
				used[[2]int{from, to}], used[[2]int{to, from}] = true, true
				line = append(line, place(to))
				onward := -1
				for _, e := range joins[to] {
					if !used[[2]int{to, e}] {
						onward = e
						break
					}
				}
				if onward < 0 {
					break
				}
				from, to = to, onward
			}
			out = append(out, line)
		}
	}
	return out
}

// clipped are the parts of a line within the ring, cut where they leave the hull.
func clipped(line []course.Point, ring, hull []course.Point) []contour {
	var out []contour
	var run *contour
	flush := func() {
		if run != nil && len(run.points) > 1 {
			out = append(out, *run)
		}
		run = nil
	}
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		cuts := []float64{0, 1}
		for _, r := range [][]course.Point{ring, hull} {
			for k := range r {
				if t, ok := meets(a, b, r[k], r[(k+1)%len(r)]); ok {
					cuts = append(cuts, t)
				}
			}
		}
		slices.Sort(cuts)
		at := func(t float64) course.Point { return course.Point{X: a.X + (b.X-a.X)*t, Y: a.Y + (b.Y-a.Y)*t} }
		for k := 1; k < len(cuts); k++ {
			if cuts[k]-cuts[k-1] < 1e-9 {
				continue
			}
			mid := at((cuts[k] + cuts[k-1]) / 2)
			if !within(ring, mid) {
				flush()
				continue
			}
			measured := within(hull, mid)
			if run != nil && run.measured != measured {
				flush()
			}
			if run == nil {
				run = &contour{measured: measured, points: []course.Point{at(cuts[k-1])}}
			}
			run.points = append(run.points, at(cuts[k]))
		}
	}
	flush()
	return out
}

// meets is where along ab the segment cd crosses it.
func meets(a, b, c, d course.Point) (float64, bool) {
	rx, ry, sx, sy := b.X-a.X, b.Y-a.Y, d.X-c.X, d.Y-c.Y
	cross := rx*sy - ry*sx
	if cross == 0 {
		return 0, false
	}
	t := ((c.X-a.X)*sy - (c.Y-a.Y)*sx) / cross
	u := ((c.X-a.X)*ry - (c.Y-a.Y)*rx) / cross
	return t, t > 0 && t < 1 && u >= 0 && u <= 1
}

// within tells whether p lies in the ring (ray casting).
func within(ring []course.Point, p course.Point) bool {
	in := false
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// cutTo is the part of a ring within a box (Sutherland and Hodgman 1974).
func cutTo(ring []course.Point, low, high course.Point) []course.Point {
	for _, side := range []func(p course.Point) float64{ // above zero within
		func(p course.Point) float64 { return p.X - low.X }, func(p course.Point) float64 { return high.X - p.X },
		func(p course.Point) float64 { return p.Y - low.Y }, func(p course.Point) float64 { return high.Y - p.Y },
	} {
		var out []course.Point
		for i, a := range ring {
			b := ring[(i+1)%len(ring)]
			da, db := side(a), side(b)
			if da >= 0 {
				out = append(out, a)
			}
			if (da >= 0) != (db >= 0) {
				t := da / (da - db)
				out = append(out, course.Point{X: a.X + (b.X-a.X)*t, Y: a.Y + (b.Y-a.Y)*t})
			}
		}
		ring = out
	}
	return ring
}

func boundsOf(ps []course.Point) (low, high course.Point) {
	low, high = course.Point{X: math.Inf(1), Y: math.Inf(1)}, course.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, p := range ps {
		low = course.Point{X: min(low.X, p.X), Y: min(low.Y, p.Y)}
		high = course.Point{X: max(high.X, p.X), Y: max(high.Y, p.Y)}
	}
	return low, high
}

// hullOf is the convex hull of spot heights, anticlockwise (Andrew 1979).
func hullOf(levels []course.Spot) []course.Point {
	ps := make([]course.Point, len(levels))
	for i, s := range levels {
		ps[i] = course.Point{X: s.X, Y: s.Y}
	}
	slices.SortFunc(ps, func(a, b course.Point) int {
		if a.X < b.X || a.X == b.X && a.Y < b.Y {
			return -1
		}
		if a == b {
			return 0
		}
		return 1
	})
	ps = slices.Compact(ps)
	half := func(ps []course.Point) []course.Point {
		var h []course.Point
		for _, p := range ps {
			for len(h) > 1 {
				a, b := h[len(h)-2], h[len(h)-1]
				if (b.X-a.X)*(p.Y-a.Y)-(b.Y-a.Y)*(p.X-a.X) > 0 {
					break
				}
				h = h[:len(h)-1]
			}
			h = append(h, p)
		}
		return h
	}
	lower := half(ps)
	slices.Reverse(ps)
	upper := half(ps)
	if len(lower) < 2 || len(upper) < 2 {
		return ps
	}
	return append(lower[:len(lower)-1], upper[:len(upper)-1]...)
}
