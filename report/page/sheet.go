package page

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"groundline/course"
	"groundline/report"
	"groundline/report/draw"
)

// ErrNothingToDraw tells that the ride has neither a plan nor a track.
var ErrNothingToDraw = errors.New("there is neither a course plan nor a track to draw")

// The sheet in points: A4 upright (ISO 216), with the edge that printers leave blank. The plan takes at most half
// of it; the lines stand below.
const (
	sheetWidePt, sheetHighPt = 595.28, 841.89
	edgePt                   = 30.0
	mapHighPt                = 400.0
	rowPt, smallPt           = 12.5, 8.0
	ptPerMAtOne              = 72 / 0.0254
	scaleStep                = 50.0 // the scale is 1 to a multiple of this, so that a ruler reads it
)

// Sheet draws the ride on one sheet: the plan to scale with the ridden track by speed, strides, take-offs, landings
// and turns, and below it the lines in figures. [draw.WriteSVG], [draw.WritePNG] and [draw.WritePDF]
// write it. It is refused, as by [Write], when a figure is NaN or infinite.
func Sheet(d *report.Debrief, opt Options) (*draw.Drawing, error) {
	if err := finite(d); err != nil {
		return nil, err
	}
	v := newView(d, opt.Units)
	if d.Plan == nil && !v.track {
		return nil, ErrNothingToDraw
	}
	s := &sheet{view: v, d: &draw.Drawing{Title: cleaned(v.told.Title), WidthPt: sheetWidePt, HighPt: sheetHighPt}}
	if s.d.Title == "" {
		s.d.Title = "Debrief"
	}
	s.d.Description = v.planWords()
	for _, name := range []string{"arena", "turns", "track", "strides", "obstacles", "jumps", "labels", "scale", "key", "lines", "text"} {
		s.d.Add(name) // the first lies lowest
	}
	y := s.header()
	y = s.ground(y)
	y = s.keys(y + 6)
	s.lines(y + 8)
	return s.d, nil
}

type sheet struct {
	*view
	d *draw.Drawing
}

// The page's light colours: ink, quiet, faint, arena, accent, and speed from slow to fast.
func ink() draw.Colour    { return draw.Colour{R: 0x14, G: 0x20, B: 0x2b} }
func quiet() draw.Colour  { return draw.Colour{R: 0x46, G: 0x53, B: 0x5e} }
func paper() draw.Colour  { return draw.Colour{R: 0xff, G: 0xff, B: 0xff} }
func arena() draw.Colour  { return draw.Colour{R: 0xf8, G: 0xf6, B: 0xf0} }
func accent() draw.Colour { return draw.Colour{R: 0x0b, G: 0x5d, B: 0x5a} }
func sector() draw.Colour { return draw.Colour{R: 0xdb, G: 0xe8, B: 0xe5} } // accent at a seventh on white

func speedColours() [speedClasses]draw.Colour {
	return [speedClasses]draw.Colour{{R: 0xba, G: 0x7d, B: 0x44}, {R: 0xb2, G: 0x56, B: 0x42}, {R: 0x9e, G: 0x32, B: 0x54},
		{R: 0x77, G: 0x20, B: 0x66}, {R: 0x48, G: 0x1c, B: 0x66}, {R: 0x1c, G: 0x17, B: 0x53}}
}

// speedLine is a class's line: wider for the faster.
func speedLine(k int) draw.Line {
	return draw.Line{WidthPt: 1.2 + 0.5*float64(k), Colour: speedColours()[k]}
}

// askedColours are of strides shorter than, as and longer than the horse's usual one.
func askedColours() [askedClasses]draw.Colour {
	return [askedClasses]draw.Colour{{R: 0xb2, G: 0x56, B: 0x12}, {R: 0x46, G: 0x53, B: 0x5e}, {R: 0x1d, G: 0x4e, B: 0x89}}
}

// trackLine is the line of a class of the track.
func (s *sheet) trackLine(class int) draw.Line {
	if s.asked {
		return draw.Line{WidthPt: []float64{1.4, 2.2, 3.4}[class], Colour: askedColours()[class]}
	}
	return speedLine(class)
}

// speedNames are the classes of the track in words.
func (v *view) speedNames() []string {
	if v.asked {
		return []string{"shorter", "usual", "longer"}
	}
	out := make([]string, speedClasses)
	for k := range out {
		out[k] = v.speeds.says(k)
	}
	return out
}

func (s *sheet) text(group string, x, y, size float64, bold bool, align draw.Align, c draw.Colour, words string) {
	if words = cleaned(words); words != "" {
		s.d.Add(group, draw.Text{At: draw.XY{X: x, Y: y}, Align: align, SizePt: size, Bold: bold, Colour: c, Text: words})
	}
}

// header is title, recording and rounds; it gives where it ends.
func (s *sheet) header() float64 {
	y := edgePt + 14
	s.text("text", edgePt, y, 15, true, draw.Left, ink(), short(s.d.Title, 62))
	s.text("text", edgePt, y+14, smallPt, false, draw.Left, quiet(), short(sentence(s.told.Recorded)+" From "+strings.Join(s.told.Files, ", ")+".", 125))
	s.text("text", edgePt, y+28, 9, true, draw.Left, ink(), short(joinedWords(append([]string{s.told.Tally}, s.told.Rounds...)), 105))
	return y + 36
}

func joinedWords(parts []string) string {
	var out []string
	for _, p := range parts {
		out = append(out, sentence(p))
	}
	return strings.Join(out, " ")
}

// ground draws the plan with the ride from y on, as large as fits; it gives where it ends.
func (s *sheet) ground(y float64) float64 {
	perM := min((sheetWidePt-2*edgePt)/s.frame.wide, mapHighPt/s.frame.high)
	perM = ptPerMAtOne / (math.Ceil(ptPerMAtOne/perM/scaleStep) * scaleStep)
	wide, high := perM*s.frame.wide, perM*s.frame.high
	left := (sheetWidePt - wide) / 2
	s.d.PtPerM = perM
	s.d.Origin = draw.XY{X: left - perM*s.frame.lowX, Y: y + high + perM*s.frame.lowY}
	if p := s.view.d.Plan; p != nil {
		if len(p.Arena) > 2 {
			s.d.Add("arena", draw.Area{Points: s.at(p.Arena), Fill: arena()}, draw.Line{Points: s.at(p.Arena), Closed: true, WidthPt: 1, Colour: quiet()})
		}
		for i, l := range []*[2]course.Point{p.Start, p.Finish} {
			if l != nil {
				s.d.Add("arena", draw.Line{Points: s.at(l[:]), WidthPt: 1, Colour: quiet(), DashPt: []float64{1.5, 2}})
				at := s.d.At(l[1])
				s.text("labels", at.X, at.Y-3, 7, false, draw.Middle, quiet(), []string{"start", "finish"}[i])
			}
		}
	}
	if p := s.view.d.Plan; p != nil && p.Gate != nil {
		at := s.d.At(*p.Gate)
		s.d.Add("arena", draw.Area{Points: []draw.XY{{X: at.X - 3, Y: at.Y - 3}, {X: at.X + 3, Y: at.Y - 3}, {X: at.X + 3, Y: at.Y + 3}, {X: at.X - 3, Y: at.Y + 3}}, Fill: quiet()})
		s.text("labels", at.X, at.Y+11, 7, false, draw.Middle, quiet(), "gate")
	}
	s.ride()
	s.obstacles()
	if s.track {
		s.jumps()
	}
	room := newLabelRoom(s.view)
	for _, l := range s.placeObstacleLabels(room) {
		at := s.d.At(l.at)
		s.text("labels", at.X, at.Y+3.5, 9.5, true, draw.Middle, ink(), short(l.words, 12))
	}
	for _, l := range s.placeLineLabels(room) {
		at := s.d.At(l.at)
		s.text("labels", at.X, at.Y+3, 8.5, true, l.align, ink(), l.words)
	}
	bends := s.shownBends()
	for _, l := range s.placeBendLabels(room) {
		at := s.d.At(l.at)
		if b := bends[l.of]; math.Hypot(l.at.X-b.XM, l.at.Y-b.YM) > 0.4*b.RadiusM {
			s.d.Add("turns", draw.Line{Points: []draw.XY{s.d.At(course.Point{X: b.XM, Y: b.YM}), at}, WidthPt: 0.6, Colour: accent()})
		}
		s.text("labels", at.X, at.Y+2.5, 7.5, true, draw.Middle, accent(), "r "+l.words)
	}
	end := y + high + 14
	s.furniture(left, end)
	return end + 10
}

func (s *sheet) at(ps []course.Point) []draw.XY {
	out := make([]draw.XY, len(ps))
	for i, p := range ps {
		out[i] = s.d.At(p)
	}
	return out
}

// ride draws turns, track and strides.
func (s *sheet) ride() {
	for _, b := range s.shownBends() {
		c := course.Point{X: b.XM, Y: b.YM}
		fan := []course.Point{c}
		const parts = 24
		for i := 0; i <= parts; i++ {
			fan = append(fan, along(c, b.TouchDeg-b.EitherWayDeg+2*b.EitherWayDeg*float64(i)/parts, b.RadiusM))
		}
		s.d.Add("turns", draw.Area{Points: s.at(fan), Fill: sector()},
			draw.Line{Points: s.at([]course.Point{c, along(c, b.TouchDeg, b.RadiusM)}), WidthPt: 0.6, Colour: accent()})
	}
	for _, r := range s.runs() {
		s.coloured(s.thinned(r), s.trackClass, func(class int, ids []int) {
			l := s.trackLine(class)
			for _, i := range ids {
				l.Points = append(l.Points, s.d.At(course.Point{X: s.ridden.XM[i], Y: s.ridden.YM[i]}))
			}
			s.d.Add("track", l)
		})
	}
	for _, q := range s.strides {
		if s.track && s.recorded(q.fromS) {
			p, h := s.place(q.fromS), s.heading(q.fromS)
			s.d.Add("strides", draw.Line{Points: s.at([]course.Point{along(p, h-90, tickHalfM), along(p, h+90, tickHalfM)}), WidthPt: 0.6, Colour: ink()})
		}
	}
}

// place is where the horse was at a time.
func (v *view) place(t float64) course.Point {
	return course.Point{X: v.at(v.ridden.XM, t), Y: v.at(v.ridden.YM, t)}
}

func (s *sheet) obstacles() {
	if s.view.d.Plan == nil {
		return
	}
	for _, o := range s.view.d.Plan.Obstacles {
		ring := s.at(faceOf(o))
		if o.Kind == course.Pole {
			s.d.Add("obstacles", draw.Line{Points: ring, Closed: true, WidthPt: 0.6, Colour: quiet()})
			continue
		}
		s.d.Add("obstacles", draw.Area{Points: ring, Fill: paper()}, draw.Line{Points: ring, Closed: true, WidthPt: 1.3, Colour: ink()})
	}
	for _, o := range s.unridden() {
		tip := along(o.At, o.FacingDeg, 1.6)
		s.d.Add("obstacles", draw.Line{Points: s.at([]course.Point{along(tip, o.FacingDeg+145, 1.2), tip, along(tip, o.FacingDeg-145, 1.2)}), WidthPt: 1, Colour: ink()},
			draw.Line{Points: s.at([]course.Point{tip, along(o.At, o.FacingDeg, -1.6)}), WidthPt: 1, Colour: ink()})
	}
}

// jumps marks take-offs, landings and stops.
func (s *sheet) jumps() {
	for _, e := range s.view.d.Efforts {
		if e.TakeoffS == nil {
			continue
		}
		if e.LandingS != nil && s.marked(e.LandingS.Value) {
			s.d.Add("jumps", landingOn(s.d.At(s.place(e.LandingS.Value)))...)
		}
		if t := e.TakeoffS.Value; s.marked(t) {
			if e.Outcome == "refused" || e.Outcome == "ran out" {
				s.d.Add("jumps", stopOn(s.d.At(s.place(t)))...)
			} else {
				s.d.Add("jumps", takeoffOn(s.d.At(s.place(t)), s.heading(t))...)
			}
		}
	}
}

// marked tells that a time is drawn.
func (v *view) marked(t float64) bool {
	_, ok := v.along(t)
	return ok && v.recorded(t)
}

func takeoffOn(at draw.XY, deg float64) []draw.Item {
	var ring []draw.XY
	for _, p := range [][2]float64{{0, 5}, {140, 5}, {-140, 5}} {
		sin, cos := math.Sincos((deg + p[0]) * math.Pi / 180)
		ring = append(ring, draw.XY{X: at.X + p[1]*sin, Y: at.Y - p[1]*cos})
	}
	return []draw.Item{draw.Area{Points: ring, Fill: ink()}, draw.Line{Points: ring, Closed: true, WidthPt: 0.6, Colour: paper()}}
}

func landingOn(at draw.XY) []draw.Item {
	var ring []draw.XY
	for i := range 16 {
		sin, cos := math.Sincos(float64(i) / 8 * math.Pi)
		ring = append(ring, draw.XY{X: at.X + 3*sin, Y: at.Y - 3*cos})
	}
	return []draw.Item{draw.Area{Points: ring, Fill: paper()}, draw.Line{Points: ring, Closed: true, WidthPt: 1.2, Colour: ink()}}
}

func stopOn(at draw.XY) []draw.Item {
	cross := func(a float64) draw.Item {
		return draw.Line{Points: []draw.XY{{X: at.X - 4, Y: at.Y - a}, {X: at.X + 4, Y: at.Y + a}}, WidthPt: 2, Colour: ink()}
	}
	return []draw.Item{cross(4), cross(-4)}
}

// furniture is the scale bar and north.
func (s *sheet) furniture(x, y float64) {
	long, unit, perM := s.scaleBar()
	w := long / perM * s.d.PtPerM
	s.d.Add("scale", draw.Line{Points: []draw.XY{{X: x, Y: y - 3}, {X: x, Y: y}, {X: x + w, Y: y}, {X: x + w, Y: y - 3}}, WidthPt: 1, Colour: ink()})
	s.text("scale", x+w+6, y, smallPt, false, draw.Left, ink(), fmt.Sprintf("%g %s; 1 : %.0f on A4", long, unit, ptPerMAtOne/s.d.PtPerM))
	at := x + w + 120
	needle := func(deg float64, words string) {
		var ring []draw.XY
		for _, p := range [][2]float64{{0, 8}, {150, 7}, {180, 3.5}, {-150, 7}} {
			sin, cos := math.Sincos((deg + p[0]) * math.Pi / 180)
			ring = append(ring, draw.XY{X: at + p[1]*sin, Y: y - 3 - p[1]*cos})
		}
		s.d.Add("scale", draw.Area{Points: ring, Fill: quiet()})
		s.text("scale", at+12, y, smallPt, false, draw.Left, ink(), words)
		at += 80
	}
	if deg, ok := s.north(); ok {
		needle(deg, "north")
	}
	if deg, pct, ok := s.fall(); ok {
		needle(deg, fmt.Sprintf("falls %.1f %%", pct))
	}
}

// keys explain speed and marks; they give where they end.
func (s *sheet) keys(y float64) float64 {
	if !s.track {
		return y
	}
	x := edgePt
	row := func(words string, items func(at draw.XY) []draw.Item, width float64) {
		if x+width > sheetWidePt-edgePt {
			x, y = edgePt, y+rowPt
		}
		s.d.Add("key", items(draw.XY{X: x + 9, Y: y - 3})...)
		s.text("key", x+23, y, smallPt, false, draw.Left, ink(), words)
		x += width
	}
	y += rowPt
	s.text("key", x, y, smallPt, true, draw.Left, ink(), s.trackKeyTitle())
	x += 60
	classes := s.speedNames()
	if s.asked {
		x += 50
	}
	for k, says := range classes {
		row(says, func(at draw.XY) []draw.Item {
			l := s.trackLine(k)
			l.Points = []draw.XY{{X: at.X - 9, Y: at.Y}, {X: at.X + 9, Y: at.Y}}
			return []draw.Item{l}
		}, 76)
	}
	x, y = edgePt, y+rowPt
	row("take-off", func(at draw.XY) []draw.Item { return takeoffOn(at, 0) }, 65)
	row("landing", landingOn, 65)
	if len(s.strides) > 0 {
		row("a tick begins each canter stride", func(at draw.XY) []draw.Item {
			l := draw.Line{WidthPt: 1.5, Colour: ink()}
			l.Points = []draw.XY{{X: at.X - 9, Y: at.Y}, {X: at.X + 9, Y: at.Y}}
			return []draw.Item{l, draw.Line{Points: []draw.XY{{X: at.X, Y: at.Y - 4}, {X: at.X, Y: at.Y + 4}}, WidthPt: 0.6, Colour: ink()}}
		}, 150)
	}
	if len(s.shownBends()) > 0 {
		row("r: tightest radius, "+s.told.Unit+", held over 4 m", func(at draw.XY) []draw.Item {
			return []draw.Item{draw.Area{Points: []draw.XY{{X: at.X, Y: at.Y + 5}, {X: at.X - 7, Y: at.Y - 4}, {X: at.X + 7, Y: at.Y - 4}}, Fill: sector()},
				draw.Line{Points: []draw.XY{{X: at.X, Y: at.Y + 5}, {X: at.X, Y: at.Y - 5}}, WidthPt: 0.6, Colour: accent()}}
		}, 170)
	}
	return y + 4
}

// lines is the table of the lines as far as the sheet goes, then what its readers must know.
func (s *sheet) lines(y float64) {
	bottom := sheetHighPt - edgePt
	columns := []float64{0, 74, 208, 252, 306, 384, 484}
	heads := []string{"Line", "", "Strides", "Each, " + s.told.Unit, "In, out, m/min", "Turn, radius, " + s.told.Unit, "Rode"}
	cells := func(y float64, bold bool, c draw.Colour, words []string) {
		for i, w := range words {
			s.text("lines", edgePt+columns[i], y, smallPt, bold && i == 0, draw.Left, c, w)
		}
	}
	if len(s.told.Lines) > 0 {
		y += rowPt
		cells(y, false, quiet(), heads)
		s.d.Add("lines", draw.Line{Points: []draw.XY{{X: edgePt, Y: y + 3}, {X: sheetWidePt - edgePt, Y: y + 3}}, WidthPt: 0.7, Colour: quiet()})
	}
	for i, l := range s.told.Lines {
		if y+rowPt > bottom-6*smallRowPt {
			y += rowPt
			cells(y, false, quiet(), []string{fmt.Sprintf("and %d more", len(s.told.Lines)-i)})
			break
		}
		y += rowPt
		turn := l.Turn
		if l.Radius != "" {
			turn += ", " + l.Radius
		}
		ground := joined(l.Ground, l.Track)
		if l.Ride != "" {
			ground = joined(l.Ground, l.Ride)
		}
		cells(y, true, ink(), []string{short(l.Name, 16), short(ground, 34), l.Strides, l.Length, l.Pace, short(turn, 24), l.Rode})
	}
	y += rowPt + 3
	y = s.paragraph(y, bottom-2*smallRowPt, strings.Join(s.told.LineKeys, " "))
	for i, n := range s.told.Doubts {
		if y > bottom-5*smallRowPt {
			y = s.paragraph(y, bottom, fmt.Sprintf("And %d more that is uncertain, in the page.", len(s.told.Doubts)-i))
			break
		}
		words := strings.Join(n.What, "; ")
		if n.Why != "" {
			words += ": " + n.Why
		}
		y = s.paragraph(y, bottom-2*smallRowPt, sentence(words))
	}
	s.paragraph(y, bottom, s.told.Cautions)
}

// smallRowPt is the height of a row of small print.
const smallRowPt = 10.0

// paragraph is small print from y on, down to the bottom; it gives where it ends.
func (s *sheet) paragraph(y, bottom float64, words string) float64 {
	for _, row := range wrapped(words, 140) {
		if y > bottom {
			break
		}
		s.text("text", edgePt, y, 7.5, false, draw.Left, quiet(), row)
		y += smallRowPt
	}
	return y
}

// wrapped are rows of at most so many characters.
func wrapped(words string, most int) []string {
	var out []string
	row := ""
	for _, w := range strings.Fields(words) {
		if row != "" && len([]rune(row))+1+len([]rune(w)) > most {
			out, row = append(out, row), ""
		}
		row = strings.TrimSpace(row + " " + w)
	}
	if row != "" {
		out = append(out, row)
	}
	return out
}
