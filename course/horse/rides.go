package horse

import (
	"math"

	"groundline/course"
	"groundline/trace"
)

// Rides are what recordings measured of one horse between and over fences.
type Rides struct {
	Name  string          // "" if not known
	Size  *course.Profile // nil if not known
	Rides int             // recordings
	Lines []Line
	Jumps []Jump
}

// Line is one ride of one line.
type Line struct {
	Ride int    // which recording, from 0: what its lines have in common counts once
	Way  string // names the ground, the same for each ride of the same line; "" where it is not known
	Kind course.LineKind
	// Strides are at least 1 and without an interval where they were Counted; they need not be whole where they were
	// estimated.
	Strides trace.Estimate
	Counted bool
	// StrideM is the mean ground covered by a stride, hind contact to hind contact, SpeedMS the mean pace and StrideS the
	// mean time of a stride; nil where not measured.
	StrideM, SpeedMS, StrideS *trace.Estimate
	// GroundM is the length of a straight line, back of the first obstacle to front of the second, by tape or map; nil
	// where the way turns or none is known.
	GroundM *float64
	// Grade is the mean rise per metre and Homeward the mean cosine towards home; nil where not known.
	Grade, Homeward *float64
}

// Jump is one obstacle jumped: the hooves' distances, from its back to the fore hooves and from the hind hooves to its
// front; nil where not measured.
type Jump struct {
	Ride               int
	Obstacle           string // names it, the same each time; "" where it is not known
	LandingM, TakeoffM *trace.Estimate
}

const (
	// Landing and take-off stretch or shorten the strides beside them, so that two strides show no usual one.
	leastStrides = 2.5
	// A stride of less than a tenth of a metre, of a second, or of a metre a second is none.
	leastFigure = 0.1
)

// ShowsUsual reports whether the line shows the horse's usual way of going: no rollback, whose turn has a pace of its own, no
// combination, and more than two strides.
func (l Line) ShowsUsual() bool {
	return l.Strides.Value >= leastStrides && l.Kind != course.Rollback && l.Kind != course.Combination
}

// whole is the number of strides.
func (l Line) whole() int { return int(math.Round(l.Strides.Value)) }

// onALine reports whether the stretch is ridden as one line, on a whole number of strides.
func (l Line) onALine() bool { return l.Kind == course.Related || l.Kind == course.Bending }

// pieces splits the errors of a line's stride into the line's own and what all lines of its ride have in common, as parts of
// the stride. Where strides were estimated from the time between fences, the stride time is one figure of the whole
// ride, and the pace the line's own.
func (l Line) pieces() (own, shared float64) {
	if l.StrideM == nil || !(l.StrideM.Value > 0) {
		return 0, 0
	}
	all := l.StrideM.SD() / l.StrideM.Value
	if l.Counted || l.StrideS == nil || l.SpeedMS == nil || !(l.StrideS.Value > 0) || !(l.SpeedMS.Value > 0) {
		return all, 0
	}
	own = math.Hypot(l.SpeedMS.SD()/l.SpeedMS.Value, timeLineRel)
	return min(own, all), math.Sqrt(max(0, all*all-own*own))
}

// timeLineRel is by how much stride times of one ride differ from line to line, as a part; see prior.StrideLineS.
const timeLineRel = 0.012
