package draw

import (
	"fmt"
	"math"
	"unicode/utf8"

	"groundline/course"
)

func trackLine() Line { return Line{WidthPt: 1.1, Colour: track} }
func otherLine() Line { return Line{WidthPt: 0.9, Colour: track, DashPt: []float64{4.5, 2.5}} }

// contourLine is thin; dotted where the heights are not measured.
func contourLine(measured bool) Line {
	l := Line{WidthPt: 0.5, Colour: ground}
	if !measured {
		l.DashPt = []float64{1, 2}
	}
	return l
}

// ring is the ground that contours are drawn on: the arena, or what the spot heights enclose, as far as
// the sheet shows it.
func (s *sheet) ring() []course.Point {
	ring := s.p.Arena
	if ring == nil {
		ring = hullOf(s.p.Levels)
	}
	ground := func(at XY) course.Point {
		return course.Point{X: (at.X - s.d.Origin.X) / s.d.PtPerM, Y: (s.d.Origin.Y - at.Y) / s.d.PtPerM}
	}
	low, high := ground(XY{s.map0.X, s.map1.Y}), ground(XY{s.map1.X, s.map0.Y})
	return cutTo(ring, low, high)
}

// contourStepM is the step of the contours, in feet where people read feet; 0 without any.
func (s *sheet) contourStepM() float64 {
	unit := 1.0
	if s.opt.Imperial {
		unit = footM
	}
	return contourStepM(s.walk.Figures.Ground, s.p.Levels, unit)
}

// beyondSpots tells whether part of the arena lies farther out than the spot heights reach.
func (s *sheet) beyondSpots() bool {
	hull := hullOf(s.p.Levels)
	for i, a := range hull {
		b := hull[(i+1)%len(hull)]
		l := math.Hypot(b.X-a.X, b.Y-a.Y)
		for _, p := range s.p.Arena {
			if (b.X-a.X)*(p.Y-a.Y)-(b.Y-a.Y)*(p.X-a.X) < -0.01*l { // a centimetre
				return true
			}
		}
	}
	return false
}

func (s *sheet) heightUnit() string {
	if s.opt.Imperial {
		return "ft"
	}
	return "m"
}

func (s *sheet) findContours() []contour {
	if s.stepM == 0 {
		return nil
	}
	return contours(s.walk.Figures.Ground, s.ring(), hullOf(s.p.Levels), s.stepM)
}

func (s *sheet) drawGround() {
	for _, c := range s.contours {
		l := contourLine(c.measured)
		l.Points = thinned(s.points(c.points), 0.05)
		s.d.Add("ground", l)
		s.room.draw(l.Points, 1)
	}
}

// thinned leaves out points that lie on the way from the last one kept to the next, to within offPt.
func thinned(points []XY, offPt float64) []XY {
	if len(points) < 3 {
		return points
	}
	out := []XY{points[0]}
	from := 0
	for i := 2; i < len(points); i++ {
		a, b := points[from], points[i]
		l := math.Hypot(b.X-a.X, b.Y-a.Y)
		for k := from + 1; k < i; k++ {
			p := points[k]
			if l == 0 || math.Abs((p.X-a.X)*(b.Y-a.Y)-(p.Y-a.Y)*(b.X-a.X))/l > offPt {
				out = append(out, points[i-1])
				from = i - 1
				break
			}
		}
	}
	return append(out, points[len(points)-1])
}

func (s *sheet) drawArena() {
	if s.p.Arena != nil {
		edge := s.points(s.p.Arena)
		s.d.Add("arena", Line{Points: edge, Closed: true, WidthPt: 1.3, Colour: ink})
		s.room.draw(append(append([]XY{}, edge...), edge[0]), 6)
	}
	if s.p.Gate != nil {
		g := s.gate()
		s.d.Add("marks", Area{g.box(-9, -1.4, 9, 1.4), paper})
		for _, u := range []float64{-9, 9} {
			s.d.Add("marks", Area{g.box(u-1.2, -4, u+1.2, 4), ink})
		}
	}
}

// gate is where the gate is drawn: on the nearest side of the arena when there is one near.
func (s *sheet) gate() axes {
	const nearM = 5.0
	best, nearest := axesOf(s.d.At(*s.p.Gate), 0), nearM
	for i, a := range s.p.Arena {
		b := s.p.Arena[(i+1)%len(s.p.Arena)]
		dx, dy := b.X-a.X, b.Y-a.Y
		l := math.Hypot(dx, dy)
		if l == 0 {
			continue
		}
		t := max(0, min(1, ((s.p.Gate.X-a.X)*dx+(s.p.Gate.Y-a.Y)*dy)/(l*l)))
		foot := course.Point{X: a.X + t*dx, Y: a.Y + t*dy}
		if d := math.Hypot(s.p.Gate.X-foot.X, s.p.Gate.Y-foot.Y); d < nearest {
			nearest = d
			best = axesOf(s.d.At(foot), math.Atan2(dx, dy)*180/math.Pi-90)
		}
	}
	return best
}

// A mark is a line or place with a word.
type mark struct {
	word  string
	at    XY
	reach float64
	draw  []Item
	path  []XY // taken cells lie along it
}

func (s *sheet) marks() []mark {
	var out []mark
	for _, l := range []struct {
		word string
		line *[2]course.Point
	}{{"start", s.p.Start}, {"finish", s.p.Finish}} {
		if l.line == nil {
			continue
		}
		a, b := s.d.At(l.line[0]), s.d.At(l.line[1])
		m := mark{word: l.word, at: XY{(a.X + b.X) / 2, (a.Y + b.Y) / 2}, reach: 4, path: []XY{a, b}}
		m.draw = append(m.draw, Line{Points: []XY{a, b}, WidthPt: 1, Colour: ink, DashPt: []float64{2, 1.5}})
		for _, p := range m.path {
			fill := ink
			if l.word == "finish" {
				fill = paper
			}
			m.draw = append(m.draw, Area{disc(p, 2.6), fill}, Line{Points: disc(p, 2.6), Closed: true, WidthPt: 0.9, Colour: ink})
		}
		out = append(out, m)
	}
	if s.p.Gate != nil {
		g := s.gate()
		out = append(out, mark{word: "gate", at: g.at, reach: 6, path: []XY{g.p(-9, 0), g.p(9, 0)}})
	}
	if s.p.Home != nil {
		out = append(out, s.home())
	}
	return out
}

// home is a house where home is on the sheet, else an arrow at its edge.
func (s *sheet) home() mark {
	at := s.d.At(*s.p.Home)
	const pad = 10.0
	if at.X > s.map0.X+pad && at.X < s.map1.X-pad && at.Y > s.map0.Y+pad && at.Y < s.map1.Y-pad {
		house := []XY{{at.X - 4, at.Y + 4}, {at.X - 4, at.Y - 1}, {at.X, at.Y - 5}, {at.X + 4, at.Y - 1}, {at.X + 4, at.Y + 4}}
		return mark{"home", at, 6, []Item{Area{house, paper}, Line{Points: house, Closed: true, WidthPt: 1, Colour: ink}}, []XY{{at.X - 4, at.Y}, {at.X + 4, at.Y}}}
	}
	c := XY{(s.map0.X + s.map1.X) / 2, (s.map0.Y + s.map1.Y) / 2}
	dx, dy := at.X-c.X, at.Y-c.Y
	l := math.Hypot(dx, dy)
	t := min(reachOf(s.map1.X-c.X, dx), reachOf(s.map1.Y-c.Y, dy))
	tip := XY{c.X + dx*t, c.Y + dy*t}
	from := XY{tip.X - dx/l*15, tip.Y - dy/l*15}
	return mark{"home", from, 4, arrow(from, tip, 1.6, 7, ink), []XY{from, tip}}
}

func reachOf(half, d float64) float64 {
	if d == 0 {
		return math.Inf(1)
	}
	return half / math.Abs(d)
}

func (s *sheet) takeMarks() {
	for _, m := range s.marks() {
		s.d.Add("marks", m.draw...)
		for i := range 9 {
			t := float64(i) / 8
			a, b := m.path[0], m.path[len(m.path)-1]
			p := XY{a.X + (b.X-a.X)*t, a.Y + (b.Y-a.Y)*t}
			s.room.take(XY{p.X - 3, p.Y - 3}, XY{p.X + 3, p.Y + 3})
		}
	}
}

func (s *sheet) labelMarks() {
	for _, m := range s.marks() {
		l := label{rows: []Text{{SizePt: linePt, Text: m.word, Colour: ink}}}
		w, h := l.size(s.f)
		spots := around(m.at, w, h, []float64{m.reach, m.reach + 6, m.reach + 14, m.reach + 24}, 0)
		for _, p := range m.path {
			spots = append(spots, around(p, w, h, []float64{4, 9}, 0)...)
		}
		if items, ok := s.room.put(s.f, l, spots, false); ok {
			s.d.Add("names", items...)
		}
	}
}

func (s *sheet) drawTrack() {
	for _, leg := range s.walk.Figures.Track.Legs {
		l := trackLine()
		l.Points = s.path(leg.Path)
		s.d.Add("track", l)
		s.room.draw(l.Points, 3)
		// Arrow heads on long ways, so that the eye keeps the direction where tracks cross.
		length := 0.0
		for i := 1; i < len(l.Points); i++ {
			length += math.Hypot(l.Points[i].X-l.Points[i-1].X, l.Points[i].Y-l.Points[i-1].Y)
		}
		if length > 110 {
			for _, part := range []float64{0.3, 0.72} {
				at, dir := pointAt(l.Points, part*length)
				n := XY{-dir.Y, dir.X}
				s.d.Add("track", Area{[]XY{{at.X - 2.2*n.X, at.Y - 2.2*n.Y}, {at.X + 2.2*n.X, at.Y + 2.2*n.Y}, {at.X + 6*dir.X, at.Y + 6*dir.Y}}, track})
			}
		}
	}
}

// face is an obstacle's size on the sheet. One enlarged to be seen keeps its proportions, but grows no deeper than wide.
func (s *sheet) face(o course.Obstacle) (widthPt, spreadPt float64) {
	more := max(1, leastFacePt/(o.WidthM*s.d.PtPerM))
	width, spread := o.WidthM*s.d.PtPerM*more, o.SpreadM*s.d.PtPerM
	return width, max(spread, min(spread*more, width), leastSpreadPt(o.Kind))
}

func (s *sheet) enlargedAt(ptPerM float64) bool {
	for _, o := range s.p.Obstacles {
		if ptPerM > 0 && o.WidthM*ptPerM < leastFacePt {
			return true
		}
	}
	return false
}

func (s *sheet) drawObstacles() {
	for _, o := range s.p.Obstacles {
		a := axesOf(s.d.At(o.At), o.FacingDeg)
		w, d := s.face(o)
		s.d.Add("obstacles", symbol(o.Kind, a, w, d)...)
		s.room.takeBox(a, -w/2-1, -d/2-1, w/2+1, d/2+1)
		if o.Kind != course.Pole {
			s.d.Add("obstacles", facing(a, d)...)
			s.room.takeBox(a, -2, d/2, 2, d/2+10)
		}
	}
}

func (s *sheet) labelObstacles() {
	for _, o := range s.p.Obstacles {
		a := axesOf(s.d.At(o.At), o.FacingDeg)
		w, d := s.face(o)
		size := numberPt
		if utf8.RuneCountInString(o.ID) > 4 {
			size = 8
		}
		l := label{rows: []Text{{SizePt: size, Bold: true, Text: s.f.fitted(cleaned(o.ID), size, true, 90), Colour: ink}}}
		bw, bh := l.size(s.f)
		var spots []spot
		// Beside the posts first: the track runs through the middle.
		off := math.Abs(a.right.X)*bw/2 + math.Abs(a.right.Y)*bh/2
		for i, gap := range []float64{3, 7, 12} {
			for _, v := range []float64{0, -6, 6, -12, 12} {
				for _, side := range []float64{1, -1} {
					spots = append(spots, spot{a.p(side*(w/2+gap+off), v), 10*float64(i) + math.Abs(v)})
				}
			}
		}
		for _, sp := range around(a.at, bw, bh, []float64{d/2 + 4, w/2 + 2, w/2 + 10, w/2 + 20, w/2 + 34}, 0.2) {
			spots = append(spots, spot{sp.at, 2*sp.against + 20})
		}
		items, _ := s.room.put(s.f, l, spots, true)
		s.d.Add("names", items...)
	}
}

// On plans with more lines the eye can't always tell whose label stands where: each then names its line.
const crowdedLines = 14

// labelLines writes strides and length on each line, and tells those that find no room.
func (s *sheet) labelLines() (unlaid []string) {
	for i, l := range s.walk.Lines {
		leg, ok := s.leg(i)
		if !ok {
			continue
		}
		points := s.path(leg.Path)
		words := s.measured(l)
		if len(s.walk.Lines) > crowdedLines {
			words = cleaned(l.From+"–"+l.To) + ": " + words
		}
		rows := []Text{{SizePt: linePt - 0.5, Text: words, Colour: track}}
		if n := strides(l); n != "" {
			rows = append([]Text{{SizePt: linePt, Bold: true, Text: n, Colour: track}}, rows...)
		}
		s.room.draw(points, -3) // its own line is no hindrance
		placed := false
		for _, smaller := range []float64{0, 1} {
			block := label{}
			for _, r := range rows {
				r.SizePt -= smaller
				block.rows = append(block.rows, r)
			}
			w, h := block.size(s.f)
			items, ok := s.room.put(s.f, block, alongLine(points, w, h), false)
			if ok {
				s.d.Add("labels", items...)
				placed = true
				break
			}
		}
		s.room.draw(points, 3)
		if !placed {
			unlaid = append(unlaid, s.lineWords(l))
		}
	}
	return unlaid
}

// An other is a way to ride a line beside the planned one.
type other struct {
	path course.Path
	word string
}

// others are the tracks of bending lines for one stride less, the usual number and one more, and a rollback cut and
// wide, where they can be ridden and can be told from the planned track and from each other.
func (s *sheet) findOthers() []other {
	if s.opt.PlannedOnly {
		return nil
	}
	var out []other
	for i, l := range s.walk.Lines {
		leg, ok := s.leg(i)
		if !ok {
			continue
		}
		shown := []course.Path{leg.Path}
		add := func(path course.Path, word string) {
			for _, q := range shown {
				if apartM(path, q) < apartLeastM {
					return
				}
			}
			shown = append(shown, path)
			out = append(out, other{path, word})
		}
		for _, t := range l.Tracks {
			if t.Asked.CanBeRidden && t.Strides >= l.Whole-1 && t.Strides <= l.Whole+1 {
				add(t.Path, counted(t.Strides, "stride")+", "+s.length(t.LengthM, 1))
			}
		}
		if t := l.Turn; t != nil {
			for _, turn := range []struct {
				course.Turn
				word string
			}{{t.Cut, "cut "}, {t.Wide, "wide "}} {
				if turn.OutsideM <= 0.1 && len(turn.Through) == 0 {
					add(turn.Path, turn.word+s.length(turn.LengthM, 0))
				}
			}
		}
	}
	return out
}

// Tracks nearer to each other than a horse is broad look like one (ours).
const apartLeastM = 0.5

// apartM is the farthest that two paths lie from each other at equal parts of their lengths.
func apartM(a, b course.Path) float64 {
	var most float64
	for i := range 21 {
		t := float64(i) / 20
		p, _ := a.At(t * a.LengthM())
		q, _ := b.At(t * b.LengthM())
		most = max(most, math.Hypot(p.X-q.X, p.Y-q.Y))
	}
	return most
}

func (s *sheet) drawOthers() {
	for _, o := range s.others {
		l := otherLine()
		l.Points = s.path(o.path)
		s.d.Add("other-tracks", l)
		s.room.draw(l.Points, 2)
	}
	for _, o := range s.others {
		points := s.path(o.path)
		l := label{rows: []Text{{SizePt: linePt - 1, Text: o.word, Colour: track}}}
		w, h := l.size(s.f)
		s.room.draw(points, -2)
		if items, ok := s.room.put(s.f, l, alongLine(points, w, h), false); ok {
			s.d.Add("labels", items...)
		}
		s.room.draw(points, 2)
	}
}

func (s *sheet) labelContours() {
	unit := 1.0
	if s.opt.Imperial {
		unit = footM
	}
	decimals := 0
	for step := s.stepM / unit; decimals < 2 && math.Abs(step-math.Round(step)) > 1e-6; decimals++ {
		step *= 10
	}
	for _, c := range s.contours {
		points := s.points(c.points)
		z := c.heightM / unit
		if math.Abs(z) < 1e-9 {
			z = 0 // never -0.0
		}
		l := label{rows: []Text{{SizePt: smallPt - 0.5, Text: fmt.Sprintf("%.*f", decimals, z), Colour: ground}}}
		w, _ := l.size(s.f)
		var spots []spot
		for _, part := range []float64{0.06, 0.94, 0.15, 0.85, 0.3, 0.7, 0.5} {
			var length float64
			for i := 1; i < len(points); i++ {
				length += math.Hypot(points[i].X-points[i-1].X, points[i].Y-points[i-1].Y)
			}
			if length < 3*w {
				break
			}
			at, _ := pointAt(points, part*length)
			spots = append(spots, spot{at, 10 * part * (1 - part)})
		}
		s.room.draw(points, -1)
		if items, ok := s.room.put(s.f, l, spots, false); ok {
			s.d.Add("labels", items...)
		}
		s.room.draw(points, 1)
	}
}
