package report

import (
	"fmt"
	"math"

	"groundline/course"
	"groundline/course/horse"
	"groundline/trace"
)

// References that a line's fit is held against ([Fit].Against).
const (
	AgainstRide   = "this ride" // the other lines of the ride
	AgainstRecord = "record"    // the horse's other rides and the other lines of this one
	AgainstSize   = "size"      // the tables' stride for the horse's size, and the other lines
)

// SetUsual fills in the horse's usual stride in this ride and how each related and bending line suits it. other are the
// horse's other rides, and its size, where they are known; nil where they are not. The verdict on a line never rests on
// the line itself.
func (d *Debrief) SetUsual(other *horse.Rides) {
	mine := RiddenIn([]*Debrief{d})
	if other != nil {
		mine.Size = other.Size
	}
	usual := horse.Of(mine)
	if l := usual.StrideM; l != nil {
		e := l.Own[0]
		d.Horse.CanterStrideM = &e
	}
	if l := usual.StrideS; l != nil {
		e := l.Own[0]
		d.Horse.StrideS = &e
	}
	all, against := mine, AgainstRide
	switch {
	case other != nil && other.Rides > 0:
		against = AgainstRecord
		all.Rides += other.Rides
		for _, l := range other.Lines {
			l.Ride++ // this ride is the first
			all.Lines = append(all.Lines, l)
		}
	case mine.Size != nil:
		against = AgainstSize
	}
	k := 0
	for i := range d.Lines {
		l := &d.Lines[i]
		if mine.Size != nil && l.PlannedStrides != nil && l.DistanceM != nil {
			n := course.PlannedStrides(*l.DistanceM, mine.Size.StrideM, d.heightM(l))
			l.PlannedStrides = &n
		}
		l.Fit = nil
		if !measuredLine(*l) {
			continue
		}
		if l.StrideLengthM != nil && (l.Kind == string(course.Related) || l.Kind == string(course.Bending)) {
			if f, ok := all.Fit(k); ok {
				l.Fit = newFit(f, against)
			}
		}
		k++
	}
}

// heightM is the height of the higher of a line's obstacles; 0 where it is not known.
func (d *Debrief) heightM(l *Line) float64 {
	if d.Plan == nil {
		return 0
	}
	a, _ := d.Plan.Obstacle(l.From)
	b, _ := d.Plan.Obstacle(l.To)
	return math.Max(a.HeightM, b.HeightM)
}

// newFit is a fit as the debrief has it.
func newFit(f horse.Fit, against string) *Fit {
	e := f.PerStrideM
	out := &Fit{PerStrideM: &e, PLong: f.Long, PRight: f.Right, PShort: f.Short, Against: against}
	if says, _ := f.Says(); says != "" {
		out.Says = &says
	}
	return out
}

// Verdict is long, right or short, "" where it is too close to call or nothing is known.
func (f *Fit) Verdict() string {
	if f == nil || f.Says == nil {
		return ""
	}
	return *f.Says
}

// StoredFit is a fit of which only the figure and the verdict were kept ("" where it was too close to call): it is certain
// where even the near end of the interval is beyond the band of right.
func StoredFit(perStrideM *trace.Estimate, says string) Fit {
	const bandM = 0.07 // 2 % of a 12-ft stride
	f := Fit{PerStrideM: perStrideM}
	if says == "" {
		return f
	}
	if says == "tight" { // the old word
		says = "short"
	}
	f.Says = &says
	if e := perStrideM; e != nil && (e.Low > bandM || e.High < -bandM || e.Low > -bandM && e.High < bandM) {
		f.PLong = 1
	}
	return f
}

// Certain reports whether the verdict is to be said plainly, not with "probably".
func (f *Fit) Certain() bool {
	return math.Max(f.PLong, math.Max(f.PRight, f.PShort)) >= horse.Certain
}

// measuredLine reports whether a line shows anything of the horse: its strides were found, and it was ridden straight away.
func measuredLine(l Line) bool {
	return l.Strides != nil && math.Round(l.Strides.Value) >= 1 && (l.StrideLengthM != nil || l.StrideS != nil) &&
		(l.StrideLengthM == nil || l.StrideLengthM.Value > 0 && !WentRound(l))
}

// RiddenIn gathers what debriefs measured of one horse: the lines whose strides were found, but for those that went round,
// and the hooves' distances at what was jumped. The horse's name is the first that is given. Lines are in the debriefs'
// order.
func RiddenIn(debriefs []*Debrief) horse.Rides {
	out := horse.Rides{Rides: len(debriefs)}
	for i, d := range debriefs {
		if out.Name == "" && d.Horse.Name != nil {
			out.Name = *d.Horse.Name
		}
		// A line of the same course is the same ground; without a name each ride has a course of its own.
		ground := fmt.Sprintf("%d", i)
		if d.Course != nil && d.Course.Name != "" {
			ground = d.Course.Name
		}
		for _, e := range d.Efforts {
			if e.Outcome == "jumped" && e.TakeoffDistanceM != nil && e.LandingDistanceM != nil {
				j := horse.Jump{Ride: i, LandingM: e.LandingDistanceM, TakeoffM: e.TakeoffDistanceM}
				if e.Obstacle != nil {
					j.Obstacle = ground + "/" + *e.Obstacle
				}
				out.Jumps = append(out.Jumps, j)
			}
		}
		for _, l := range d.Lines {
			if !measuredLine(l) {
				continue
			}
			var groundM *float64
			if l.Kind == string(course.Related) {
				groundM = l.DistanceM
			}
			out.Lines = append(out.Lines, horse.Line{Ride: i, GroundM: groundM, Way: ground + "/" + l.From + "/" + l.To, Kind: course.LineKind(l.Kind),
				Strides: *l.Strides, Counted: l.StridesBy != "estimated", StrideM: l.StrideLengthM, SpeedMS: l.SpeedMS, StrideS: l.StrideS, Grade: l.Grade, Homeward: l.Homeward})
		}
	}
	return out
}

// WentRound reports whether a related or bending line was ridden by a long way round, after a refusal or in a circle: the
// way is half as long again as the line.
func WentRound(l Line) bool {
	const factor = 1.5
	return (l.Kind == string(course.Related) || l.Kind == string(course.Bending)) && l.DistanceM != nil &&
		l.Strides.Value*l.StrideLengthM.Value > factor**l.DistanceM
}
