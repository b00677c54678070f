// Package course knows the plan: obstacles on the ground, the route, the lines
// between them, the slope, and how the trade measures and rides these.
//
// A plan is read by [ReadPlan], which tells every fault of the file at once. Its
// frame is the arena's: x to the right, y forward, metres; bearings in degrees
// clockwise from +y. Package place lays the plan under a recorded ride, package
// follow reads from the ride which obstacle was jumped when, package survey makes
// a plan of a course walk. What a plan asks of one [Horse] is told by [Plan.Walk].
package course

import "groundline/trace/geo"

// Kind is what an obstacle is built as.
type Kind string

// The kinds of obstacles that a plan may name. A pole lies on the ground and is no effort.
const (
	Vertical  Kind = "vertical"
	Oxer      Kind = "oxer"
	TripleBar Kind = "triple bar"
	Wall      Kind = "wall"
	Cross     Kind = "cross"
	Water     Kind = "water"
	Ditch     Kind = "ditch"
	Pole      Kind = "pole"
)

// Kinds are the kinds of obstacles that a plan may name, in the order in which people are told them.
func Kinds() []Kind {
	return []Kind{Vertical, Oxer, TripleBar, Wall, Cross, Water, Ditch, Pole}
}

// LineKind is how the way from one obstacle to the next is meant to be ridden.
type LineKind string

// The kinds of lines. Single: a lone fence, the way to it is no line. Between: a way that the
// route does not have.
const (
	Related     LineKind = "related"
	Bending     LineKind = "bending"
	Rollback    LineKind = "rollback"
	Combination LineKind = "combination"
	Single      LineKind = "single"
	Between     LineKind = "between"
)

// Point is a place in the arena frame, metres.
type Point struct{ X, Y float64 }

// Spot is a measured height of the ground at a place, metres.
type Spot struct{ X, Y, Z float64 }

// Anchor ties the arena frame to the earth: where (0, 0) lies and the true bearing of +y.
type Anchor struct {
	At         geo.LatLon
	BearingDeg float64 // clockwise from true north, [0, 360)
}

// Obstacle is one obstacle. All lengths in metres.
type Obstacle struct {
	ID        string
	Kind      Kind
	At        Point   // the middle: of the spread and of the face
	FacingDeg float64 // bearing in which it is jumped, clockwise from +y, [0, 360)
	HeightM   float64 // 0 when not given
	SpreadM   float64 // front to back; 0 when not given
	WidthM    float64 // of the face; UsualWidthM when not given
}

// UsualWidthM is the width of an obstacle's face where a plan gives none: jump poles are
// commonly 3 to 4 m long (common practice, from memory).
const UsualWidthM = 3.5

// Line is the way from one obstacle to the next in the route.
type Line struct {
	From, To string
	Kind     LineKind
	// Derived tells that the kind was not in the plan but found from the geometry; Why says how.
	Derived bool
	Why     string
	// WalkedM is the distance by wheel or tape, back of the first to front of the second; nil if
	// not walked.
	WalkedM *float64
	// MapM is the same distance by the map: centre distance less half of either spread.
	MapM float64
}

// DistanceM is the distance believed: walked where there is one, else by the map.
func (l Line) DistanceM() float64 {
	if l.WalkedM != nil {
		return *l.WalkedM
	}
	return l.MapM
}

// Plan is a course plan. Slices are as in the file, in its order.
type Plan struct {
	Name       string
	Anchor     *Anchor
	Arena      []Point // nil without a boundary
	Levels     []Spot  // nil without spot heights
	Home, Gate *Point
	SpeedMMin  float64 // prescribed speed, m/min; 0 when not given
	Start      *[2]Point
	Finish     *[2]Point
	Obstacles  []Obstacle
	Route      []string // ids in the order jumped, poles left out
	Lines      []Line   // one for each consecutive pair of Route, in its order
}

// Obstacle is the obstacle of that id, and whether there is one.
func (p *Plan) Obstacle(id string) (Obstacle, bool) {
	for _, o := range p.Obstacles {
		if o.ID == id {
			return o, true
		}
	}
	return Obstacle{}, false
}
