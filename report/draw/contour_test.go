package draw

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/course"
)

// On a plane the contours are straight, square to the fall, and each at its height.
func TestContoursOfAPlane(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		gx, gy := rapid.Float64Range(-0.08, 0.08).Draw(t, "gx"), rapid.Float64Range(-0.08, 0.08).Draw(t, "gy")
		ring := []course.Point{{X: 0, Y: 0}, {X: 80, Y: 0}, {X: 80, Y: 50}, {X: 0, Y: 50}}
		var levels []course.Spot
		for _, p := range ring {
			levels = append(levels, course.Spot{X: p.X, Y: p.Y, Z: 100 + gx*p.X + gy*p.Y})
		}
		s, why := course.NewSurface(levels)
		require.Empty(t, why)
		low, high := math.Inf(1), math.Inf(-1)
		for _, l := range levels {
			low, high = min(low, l.Z), max(high, l.Z)
		}
		const step = 0.5
		found := map[float64]int{}
		for _, c := range contours(s, ring, hullOf(levels), step) {
			found[c.heightM]++
			require.True(t, c.measured)
			require.InDelta(t, 0, math.Remainder(c.heightM, step), 1e-9)
			for _, p := range c.points {
				require.InDelta(t, c.heightM, 100+gx*p.X+gy*p.Y, 1e-6)
				require.True(t, p.X >= -1e-9 && p.X <= 80+1e-9 && p.Y >= -1e-9 && p.Y <= 50+1e-9)
			}
			// The straight way through a convex ring is one line from edge to edge.
			a, b := c.points[0], c.points[len(c.points)-1]
			for _, p := range []course.Point{a, b} {
				edge := min(math.Abs(p.X), math.Abs(p.X-80), math.Abs(p.Y), math.Abs(p.Y-50))
				require.InDelta(t, 0, edge, 1e-6)
			}
		}
		for k := math.Ceil((low + 0.01) / step); k*step < high-0.01; k++ {
			require.Equal(t, 1, found[k*step], "contour at %g of %g to %g", k*step, low, high)
		}
	})
}

// A cone's contours are circles, closed and of the right radius.
func TestLevelLinesOfACone(t *testing.T) {
	const n = 60
	z := make([]float64, (n+1)*(n+1))
	for j := range n + 1 {
		for i := range n + 1 {
			z[j*(n+1)+i] = math.Hypot(float64(i)-30.3, float64(j)-29.6)
		}
	}
	for _, r := range []float64{5.2, 12.7, 25} {
		lines := levelLines(z, n, n, r)
		require.Len(t, lines, 1)
		require.Equal(t, lines[0][0], lines[0][len(lines[0])-1], "closed")
		for _, p := range lines[0] {
			require.InDelta(t, r, math.Hypot(p.X-30.3, p.Y-29.6), 0.05)
		}
		require.InDelta(t, 2*math.Pi*r, long(lines[0]), 0.02*2*math.Pi*r)
	}
	// A saddle's lines never cross: each edge of the grid is used once.
	saddle := []float64{0, 1, 1, 0}
	require.Len(t, levelLines(saddle, 1, 1, 0.4), 2)
	require.Len(t, levelLines(saddle, 1, 1, 0.6), 2)
	require.Empty(t, levelLines([]float64{1, 1, 1, 1}, 1, 1, 0.5))
}

// A line through an arena with a notch comes out in two parts; beyond the spot heights it is not measured.
func TestClipped(t *testing.T) {
	notched := []course.Point{{X: 0, Y: 0}, {X: 30, Y: 0}, {X: 30, Y: 20}, {X: 20, Y: 20}, {X: 20, Y: 5}, {X: 10, Y: 5}, {X: 10, Y: 20}, {X: 0, Y: 20}}
	hull := []course.Point{{X: 0, Y: 0}, {X: 25, Y: 0}, {X: 25, Y: 20}, {X: 0, Y: 20}}
	parts := clipped([]course.Point{{X: -5, Y: 10}, {X: 15, Y: 10}, {X: 40, Y: 10}}, notched, hull)
	require.Len(t, parts, 3)
	require.Equal(t, []course.Point{{X: 0, Y: 10}, {X: 10, Y: 10}}, parts[0].points)
	require.Equal(t, []course.Point{{X: 20, Y: 10}, {X: 25, Y: 10}}, parts[1].points)
	require.Equal(t, []course.Point{{X: 25, Y: 10}, {X: 30, Y: 10}}, parts[2].points)
	require.Equal(t, []bool{true, true, false}, []bool{parts[0].measured, parts[1].measured, parts[2].measured})
}

func TestHullHoldsEverySpot(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var levels []course.Spot
		for range rapid.IntRange(3, 30).Draw(t, "n") {
			levels = append(levels, course.Spot{X: float64(rapid.IntRange(-9, 9).Draw(t, "x")), Y: float64(rapid.IntRange(-9, 9).Draw(t, "y"))})
		}
		h := hullOf(levels)
		for i, a := range h {
			b := h[(i+1)%len(h)]
			for _, p := range levels {
				require.GreaterOrEqual(t, (b.X-a.X)*(p.Y-a.Y)-(b.Y-a.Y)*(p.X-a.X), 0.0)
			}
		}
	})
}

func TestCutTo(t *testing.T) {
	ring := cutTo([]course.Point{{X: -10, Y: -10}, {X: 10, Y: -10}, {X: 10, Y: 10}, {X: -10, Y: 10}}, course.Point{X: 0, Y: 0}, course.Point{X: 4, Y: 40})
	low, high := boundsOf(ring)
	require.Equal(t, course.Point{X: 0, Y: 0}, low)
	require.Equal(t, course.Point{X: 4, Y: 10}, high)
	require.Empty(t, cutTo(ring, course.Point{X: 100, Y: 100}, course.Point{X: 101, Y: 101}))
}
