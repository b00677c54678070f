package course

import "math"

// flatBecause says why spot heights tell no slope; "" when they do. Three heights that do not lie
// on a line are needed. Collinear: across the line on which they spread most they reach less than a
// hundredth of their spread, so that a centimetre of error would tip the plane.
func flatBecause(spots []Spot) string {
	if len(spots) < 3 {
		return "fewer than three spot heights"
	}
	_, across := spread(spots)
	lengthways, _ := spread(spots)
	switch {
	case lengthways == 0:
		return "all spot heights are at one place"
	case across < 0.01*lengthways:
		return "all spot heights lie on a line"
	}
	return ""
}

// spread is the standard deviation of places along the direction in which they lie farthest
// apart, and across it.
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
