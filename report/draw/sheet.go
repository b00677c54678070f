package draw

import (
	"fmt"
	"math"
	"strings"

	"groundline/course"
)

// Options are the choices of who draws a plan.
type Options struct {
	Imperial bool // lengths in feet
	Letter   bool // the sheet is US Letter, else A4
	// Horse is whom the strides and the other tracks are for; the first of [course.Profiles] when
	// its stride is 0.
	Horse course.Horse
	// PlannedOnly leaves out the other tracks of bending lines and rollbacks.
	PlannedOnly bool
	// Warnings are those of reading the plan; those of [course.Plan.Check] are added.
	Warnings []course.Warning
}

// The sheet in points. The letters are readable at arm's length: 7 points is what small print of
// newspapers has; on a phone the sheet is zoomed.
const (
	a4ShortPt, a4LongPt         = 595.28, 841.89 // ISO 216
	letterShortPt, letterLongPt = 612.0, 792.0
	marginPt                    = 30.0 // printers leave some 4 to 6 mm of the edge blank
	titlePt, factPt, smallPt    = 16.0, 8.5, 7.0
	numberPt, linePt            = 10.5, 7.5
	footerPart                  = 0.16        // of the height, at most for small print
	ptPerMOfOne                 = 72 / 0.0254 // at 1:1
)

// scales are the m in 1:m×10ⁿ that a plan is drawn in: whoever has a ruler can measure on the paper.
func scales() []float64 { return []float64{1, 1.25, 1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 9} }

const (
	nearestScale = 50.0 // a jump pole is 7 cm long then
	aroundM      = 8.0  // of ground shown about the obstacles of a plan without arena
	// An obstacle that to scale would be narrower than this is drawn larger, and the sheet says so.
	leastFacePt = 9.0
)

// PlanSheet draws a plan to scale on one sheet, upright or across as fits it best: the ground with its
// contours, the obstacles with their facings, the planned track with what each line measures and how many
// strides it takes, the other ways to ride bending lines and rollbacks, and what people ask of
// a plan besides. The plan must be one that [course.ReadPlan] gives.
//
// The groups are ground (contours), arena, other-tracks, track, obstacles, marks (start, finish, gate, home),
// names of obstacles and marks, labels of lines and contours, and text around the plan.
func PlanSheet(p *course.Plan, opt Options) *Drawing {
	if opt.Horse.StrideM.Value == 0 {
		opt.Horse = course.Profiles()[0].Horse()
	}
	walk := p.Walk(opt.Horse)
	short, long := a4ShortPt, a4LongPt
	if opt.Letter {
		short, long = letterShortPt, letterLongPt
	}
	across := newSheet(p, walk, opt, long, short, nil)
	upright := newSheet(p, walk, opt, short, long, nil)
	s := across
	if upright.d.PtPerM > across.d.PtPerM {
		s = upright
	}
	unlaid := s.draw()
	// What found no room is told below, which takes some room of its own.
	for range 2 {
		if len(unlaid) == 0 {
			break
		}
		s = newSheet(p, walk, opt, s.d.WidthPt, s.d.HighPt, unlaid)
		unlaid = s.draw()
	}
	return s.d
}

type sheet struct {
	p    *course.Plan
	walk course.Walk
	opt  Options
	f    *fonts
	d    *Drawing
	room *room

	low, high  course.Point // of the ground shown
	map0, map1 XY           // the part of the sheet that it is shown in
	facts      []string
	keys       []key
	keyRows    int
	denom      float64 // of the scale
	stepM      float64 // from contour to contour; 0 for none
	contours   []contour
	others     []other
}

// newSheet lays out a sheet: what stands above and below, and the plan as large as fits between. unlaid
// is what the small print will have to tell besides.
func newSheet(p *course.Plan, walk course.Walk, opt Options, widthPt, highPt float64, unlaid []string) *sheet {
	s := &sheet{p: p, walk: walk, opt: opt, f: newFonts(), d: &Drawing{WidthPt: widthPt, HighPt: highPt}}
	s.d.Title = cleaned(p.Name)
	if strings.TrimSpace(s.d.Title) == "" {
		s.d.Title = "Course plan"
	}
	for _, name := range []string{"ground", "arena", "other-tracks", "track", "obstacles", "marks", "names", "labels", "text"} {
		s.d.group(name)
	}
	s.others = s.findOthers()
	s.bounds()
	s.stepM = s.contourStepM()

	head := s.titleRows()
	s.facts = s.factRows()
	s.keys, s.keyRows = s.makeKeys()
	top := marginPt + float64(head)*titlePt*1.15 + float64(len(s.facts))*factPt*1.25
	if s.compassWidth() > 0 {
		top = max(top, marginPt+compassHighPt)
	}
	rows := len(s.smallPrint(unlaid))
	bottom := highPt - marginPt - float64((rows+1)/2)*smallPt*1.2 - float64(s.keyRows)*keyHighPt - 4
	s.map0, s.map1 = XY{marginPt, top + 6}, XY{widthPt - marginPt, bottom - 6}

	edge := 4.0
	if s.p.Home != nil {
		edge = 16 // for the arrow
	}
	w, h := max(s.high.X-s.low.X, 0.1), max(s.high.Y-s.low.Y, 0.1)
	s.denom = scaleFor(min((s.map1.X-s.map0.X-2*edge)/w, (s.map1.Y-s.map0.Y-2*edge)/h))
	s.d.PtPerM = ptPerMOfOne / s.denom
	s.d.Origin = XY{(s.map0.X+s.map1.X)/2 - (s.low.X+s.high.X)/2*s.d.PtPerM, (s.map0.Y+s.map1.Y)/2 + (s.low.Y+s.high.Y)/2*s.d.PtPerM}
	s.room = newRoom(widthPt, highPt, s.map0, s.map1)
	return s
}

// scaleFor is the largest scale to draw in that is at most so many points a metre.
func scaleFor(ptPerM float64) float64 {
	most := ptPerMOfOne / ptPerM
	for tens := nearestScale / 5; ; tens *= 10 {
		for _, m := range scales() {
			if n := m * tens; n >= nearestScale && n >= most {
				return n
			}
		}
	}
}

// bounds finds the ground to show: the arena, and all that stands or is ridden, but not home, which may be far.
func (s *sheet) bounds() {
	ps := append([]course.Point{}, s.p.Arena...)
	for _, o := range s.p.Obstacles {
		a, r := math.Sincos(o.FacingDeg * math.Pi / 180)
		for _, u := range []float64{-o.WidthM / 2, o.WidthM / 2} {
			for _, v := range []float64{-o.SpreadM / 2, o.SpreadM / 2} {
				ps = append(ps, course.Point{X: o.At.X + u*r + v*a, Y: o.At.Y - u*a + v*r})
			}
		}
		if s.p.Arena == nil {
			ps = append(ps, course.Point{X: o.At.X - aroundM, Y: o.At.Y - aroundM}, course.Point{X: o.At.X + aroundM, Y: o.At.Y + aroundM})
		}
	}
	for _, l := range []*[2]course.Point{s.p.Start, s.p.Finish} {
		if l != nil {
			ps = append(ps, l[0], l[1])
		}
	}
	if s.p.Gate != nil {
		ps = append(ps, *s.p.Gate)
	}
	for _, l := range s.walk.Figures.Track.Legs {
		ps = append(ps, PathPoints(l.Path, 0.1)...)
	}
	for _, o := range s.others {
		ps = append(ps, PathPoints(o.path, 0.1)...)
	}
	if len(ps) == 0 { // a plan without anything
		ps = []course.Point{{X: -aroundM, Y: -aroundM}, {X: aroundM, Y: aroundM}}
	}
	s.low, s.high = boundsOf(ps)
}

// PathPoints are points on a path, arcs cut into chords that leave them by at most offM.
func PathPoints(path course.Path, offM float64) []course.Point {
	var out []course.Point
	for i, q := range path {
		n := 1
		if turn := math.Abs(q.LengthM * q.Curvature1M); turn > 0 {
			// A chord of angle a leaves its arc by r (1 - cos a/2).
			chord := 2 * math.Acos(max(-1, 1-offM*math.Abs(q.Curvature1M)))
			n = min(200, int(math.Ceil(turn/chord)))
		}
		for k := range n + 1 {
			if k == 0 && i > 0 {
				continue
			}
			at, _ := q.At(q.LengthM * float64(k) / float64(max(n, 1)))
			out = append(out, at)
		}
	}
	return out
}

// draw lays all down, and tells which lines' labels found no room.
func (s *sheet) draw() (unlaid []string) {
	s.contours = s.findContours()
	s.drawGround()
	s.drawArena()
	s.takeMarks()
	s.drawTrack()
	s.drawObstacles()
	s.labelObstacles()
	s.labelMarks()
	unlaid = s.labelLines()
	s.drawOthers()
	s.labelContours()
	s.drawHeader()
	s.drawFooter(unlaid)
	s.d.Description = s.words(unlaid)
	return unlaid
}

func (s *sheet) points(ps []course.Point) []XY {
	out := make([]XY, len(ps))
	for i, p := range ps {
		out[i] = s.d.At(p)
	}
	return out
}

// path is a path on the sheet, to a fortieth of a point.
func (s *sheet) path(p course.Path) []XY { return s.points(PathPoints(p, 0.025/s.d.PtPerM)) }

// Lengths as people are told them.

const footM = 0.3048

func (s *sheet) length(m float64, decimals int) string {
	if s.opt.Imperial {
		return fmt.Sprintf("%.*f ft", max(0, decimals-1), m/footM)
	}
	return fmt.Sprintf("%.*f m", decimals, m)
}

// measured is the length of a line and where it is from. A tape is good to the centimetre, a map to the
// decimetre, and a track is not ridden to less than a metre.
func (s *sheet) measured(l course.WalkLine) string {
	switch {
	case l.WalkedM != nil:
		return s.length(*l.WalkedM, 2) + " walked"
	case l.WayM > l.MapM+0.05:
		return s.length(l.WayM, 0) + " track"
	}
	return s.length(l.MapM, 1) + " map"
}

// Beyond so many strides nobody counts on a course walk, and a way is as long as it is ridden.
const toldStrides = 9

// strides is the number of strides of a line, "" where nobody counts. A distance between two numbers is told as
// it is.
func strides(l course.WalkLine) string {
	if !(l.Real.Value < toldStrides+0.5) {
		return ""
	}
	words := "strides"
	if l.Whole == 1 {
		words = "stride"
	}
	if tenths := math.Round(10 * l.Real.Value); math.Abs(tenths-10*float64(l.Whole)) >= 2 && tenths > 0 {
		return fmt.Sprintf("%d %s (%.1f)", l.Whole, words, l.Real.Value)
	}
	return fmt.Sprintf("%d %s", l.Whole, words)
}

// leg is the planned track of line i.
func (s *sheet) leg(i int) (course.Leg, bool) {
	t := s.walk.Figures.Track
	if t.FromStart {
		i++
	}
	if i >= len(t.Legs) {
		return course.Leg{}, false
	}
	return t.Legs[i], true
}
