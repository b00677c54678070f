package survey

import (
	"math"
	"strings"
	"unicode"

	"groundline/course"
)

// Where marks tell only the middles of obstacles, the order in which they are walked tells roughly in which
// direction they are jumped. The rule:
//
//  1. Elements of one combination (7a, 7b) face along each other.
//  2. Elsewhere, where the way in (from the obstacle before) and the way out (to the next) differ by up to 60°, the
//     facing is the tangent of the circle through the three: the angle between both ways shared so
//     that the nearer neighbour counts more.
//  3. Where they differ by more, there is a turn on one side: the facing is along the nearer neighbour, as
//     related obstacles stand nearer than those round a corner.
//  4. The first faces the second, the last faces away from the last but one.
//
// A face with two ends has its axis from these; which of its two ways it is jumped, least turning says (see
// [leastTurn]).
const tangentMostDeg = 60.0

// courseDeg is the bearing from a to b in degrees clockwise from +y, in [0, 360).
func courseDeg(a, b course.Point) float64 {
	return wrap360(math.Atan2(b.X-a.X, b.Y-a.Y) * 180 / math.Pi)
}

// wrap360 brings degrees into [0, 360).
func wrap360(d float64) float64 {
	if d = math.Mod(d, 360); d < 0 {
		d += 360
	}
	if d >= 360 {
		d = 0
	}
	return d
}

// turned is the turn from one bearing to another, right positive, in [-180, 180).
func turned(from, to float64) float64 { return wrap360(to-from+180) - 180 }

const alongCombination = "along its combination"

// samePlaceM: obstacles nearer than this stand in one place (a receiver's last digits).
const samePlaceM = 0.1

// visit is one obstacle of the route, each time that it comes.
type visit struct {
	id string
	at course.Point
}

// A way leads from an obstacle of the route to its neighbour in it, or from that one to it.
type way struct {
	id      string // the neighbour's
	deg, m  float64
	element bool // of the same combination
}

// neighbour is the way out (step 1) or in (step -1) of the i-th obstacle; what stands in the same place is passed over.
func neighbour(route []visit, i, step int) (way, bool) {
	here := route[i]
	for k := i + step; k >= 0 && k < len(route); k += step {
		v := route[k]
		w := way{id: v.id, m: math.Hypot(here.at.X-v.at.X, here.at.Y-v.at.Y), element: combined(v.id, here.id)}
		if w.m < samePlaceM {
			continue
		}
		if w.deg = courseDeg(here.at, v.at); step < 0 {
			w.deg = courseDeg(v.at, here.at)
		}
		return w, true
	}
	return way{}, false
}

// facingAt is the bearing in which the i-th obstacle of a route is jumped by the rule of this file, how it was
// found, and whether it is doubtful. With one obstacle alone nothing is known: 0.
func facingAt(route []visit, i int) (deg float64, how string, doubtful bool) {
	in, hasIn := neighbour(route, i, -1)
	out, hasOut := neighbour(route, i, 1)
	switch {
	case !hasIn && !hasOut:
		return 0, "unknown: one obstacle alone", true
	case out.element && !in.element:
		return out.deg, alongCombination, false
	case in.element && !out.element:
		return in.deg, alongCombination, false
	case !hasIn:
		return out.deg, "towards " + out.id, false
	case !hasOut:
		return in.deg, "from " + in.id, false
	}
	t := turned(in.deg, out.deg)
	if math.Abs(t) <= tangentMostDeg {
		return wrap360(in.deg + t*in.m/(in.m+out.m)), "between " + in.id + " and " + out.id, math.Abs(t) > tangentMostDeg/2
	}
	// The more alike the distances, the more doubtful the choice.
	doubtful = math.Min(in.m, out.m) > doubtfulShare*math.Max(in.m, out.m)
	if out.m < in.m {
		return out.deg, "towards " + out.id + ", the nearer", doubtful
	}
	return in.deg, "from " + in.id + ", the nearer", doubtful
}

// leastTurn tells whether the i-th obstacle of a route, whose face lies square to deg, is jumped in that direction or in
// the opposite one: by what turns less on the ways in and out together. On 440 facings of invented courses that
// was always the right one. doubtful where both turn about as much, or nothing is known.
func leastTurn(route []visit, i int, deg float64) (forward, doubtful bool) {
	sum, n := 0.0, 0.0
	if in, ok := neighbour(route, i, -1); ok {
		sum += math.Abs(turned(in.deg, deg))
		n++
	}
	if out, ok := neighbour(route, i, 1); ok {
		sum += math.Abs(turned(deg, out.deg))
		n++
	}
	// The opposite direction turns by 180° less this on either way.
	return sum <= 90*n, math.Abs(sum-90*n) <= 10*n
}

// doubtfulShare: neighbours that stand nearly as far as each other (ours).
const doubtfulShare = 0.7

// combined tells two elements of one combination: the same number with different letters.
func combined(a, b string) bool {
	n := func(id string) string { return strings.TrimRightFunc(id, unicode.IsLetter) }
	return a != b && n(a) == n(b) && n(a) != a && n(b) != b
}
