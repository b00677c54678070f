package draw

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundline/course"
)

const (
	compassHighPt, compassStepPt = 46.0, 50.0
	keyHighPt                    = 19.0
	barMostPt                    = 150.0
)

// A dial is an arrow in a ring with a word below.
type dial struct {
	bearingDeg float64 // of the plan
	word       string
	level      bool // no arrow
}

// dials are north, where the plan tells it, and where the ground falls to.
func (s *sheet) dials() []dial {
	var out []dial
	if g := s.walk.Figures.Ground; g != nil {
		c := s.middle()
		right, ahead := g.GradeAlong(c.X, c.Y, 90), g.GradeAlong(c.X, c.Y, 0)
		grade := math.Hypot(right, ahead)
		if grade < toldGrade {
			out = append(out, dial{word: "level", level: true})
		} else {
			out = append(out, dial{bearingDeg: math.Atan2(-right, -ahead) * 180 / math.Pi, word: fmt.Sprintf("falls %.1f %%", 100*grade)})
		}
	}
	if s.p.Anchor != nil {
		out = append(out, dial{bearingDeg: -s.p.Anchor.BearingDeg, word: "true north"})
	}
	return out
}

// Slopes below this are within what spot heights of a centimetre tell over a line (ours).
const toldGrade = 0.005

// middle is the middle of the obstacles.
func (s *sheet) middle() course.Point {
	var c course.Point
	for _, o := range s.p.Obstacles {
		c.X += o.At.X / float64(len(s.p.Obstacles))
		c.Y += o.At.Y / float64(len(s.p.Obstacles))
	}
	return c
}

func (s *sheet) compassWidth() float64 { return compassStepPt * float64(len(s.dials())) }

func (s *sheet) textWidth() float64 { return s.d.WidthPt - 2*marginPt - s.compassWidth() - 8 }

// titleRows is how many rows the title takes.
func (s *sheet) titleRows() int {
	return min(2, len(s.f.wrapped(s.d.Title, titlePt, true, s.textWidth())))
}

// factRows say what people ask first: how many, how high, how long, how fast, in which order.
func (s *sheet) factRows() []string {
	fig := s.walk.Figures
	what := []string{counted(fig.Obstacles, "obstacle"), counted(fig.Efforts, "effort")}
	if low, high := s.heights(); high > 0 {
		words := fmt.Sprintf("%.2f m high", high)
		if high-low >= 0.005 {
			words = fmt.Sprintf("%.2f to %.2f m high", low, high)
		}
		what = append(what, words)
	}
	if w, h, ok := s.rectangular(); ok {
		what = append(what, fmt.Sprintf("arena %s × %s", s.side(w), s.side(h)))
	}
	long := ""
	if fig.LengthM > 0 {
		from, to := "the start line", "the finish line"
		if !fig.Track.FromStart {
			from = "the first obstacle"
		}
		if !fig.Track.ToFinish {
			to = "the last obstacle"
		}
		long = fmt.Sprintf("Track %.0f m from %s to %s", fig.LengthM, from, to)
		if s.opt.Imperial {
			long = fmt.Sprintf("Track %s (%.0f m) from %s to %s", s.length(fig.LengthM, 0), fig.LengthM, from, to)
		}
		switch {
		case fig.TimeAllowedS != nil:
			long += fmt.Sprintf("; at %g m/min time allowed %.0f s, limit %.0f s", s.p.SpeedMMin, *fig.TimeAllowedS, *fig.TimeLimitS)
		case s.p.SpeedMMin > 0:
			long += fmt.Sprintf("; %g m/min", s.p.SpeedMMin)
		}
	}
	var rows []string
	for _, words := range []string{strings.Join(what, ", "), long, s.routeWords()} {
		if words != "" {
			rows = append(rows, s.f.wrapped(cleaned(words), factPt, false, s.textWidth())...)
		}
	}
	const most = 6
	if len(rows) > most {
		rows = append(rows[:most-1], s.f.fitted(rows[most-1]+" …", factPt, false, s.textWidth()))
	}
	return rows
}

func (s *sheet) routeWords() string {
	if len(s.p.Route) == 0 {
		return ""
	}
	return "Route " + strings.Join(s.p.Route, " – ")
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// heights are the lowest and highest of the obstacles whose height the plan gives.
func (s *sheet) heights() (low, high float64) {
	low = math.Inf(1)
	for _, o := range s.p.Obstacles {
		if o.HeightM > 0 {
			low, high = min(low, o.HeightM), max(high, o.HeightM)
		}
	}
	return low, high
}

// rectangular tells the sides of an arena with four square corners.
func (s *sheet) rectangular() (w, h float64, ok bool) {
	a := s.p.Arena
	if len(a) != 4 {
		return 0, 0, false
	}
	side := func(i int) (course.Point, float64) {
		d := course.Point{X: a[(i+1)%4].X - a[i].X, Y: a[(i+1)%4].Y - a[i].Y}
		return d, math.Hypot(d.X, d.Y)
	}
	for i := range 4 {
		d, l := side(i)
		e, m := side((i + 1) % 4)
		if math.Abs(d.X*e.X+d.Y*e.Y) > 0.01*l*m {
			return 0, 0, false
		}
	}
	_, w = side(0)
	_, h = side(1)
	return w, h, true
}

// side is the length of a side of the arena, to the decimetre where that is not nought.
func (s *sheet) side(m float64) string {
	if s.opt.Imperial || math.Abs(m-math.Round(m)) < 0.05 {
		return s.length(m, 0)
	}
	return s.length(m, 1)
}

func (s *sheet) drawHeader() {
	x, y := marginPt, marginPt
	rows := s.f.wrapped(s.d.Title, titlePt, true, s.textWidth())
	if len(rows) > 2 {
		rows = []string{rows[0], s.f.fitted(rows[1]+"…", titlePt, true, s.textWidth())}
		if !strings.HasSuffix(rows[1], "…") {
			rows[1] += "…"
		}
	}
	for _, r := range rows {
		s.d.Add("text", Text{At: XY{x, y + titlePt*0.85}, SizePt: titlePt, Bold: true, Text: r})
		y += titlePt * 1.15
	}
	for _, r := range s.facts {
		s.d.Add("text", Text{At: XY{x, y + factPt}, SizePt: factPt, Text: r})
		y += factPt * 1.25
	}
	for i, dl := range s.dials() {
		c := XY{s.d.WidthPt - marginPt - compassStepPt*(float64(i)+0.5), marginPt + 16}
		const r = 15.0
		s.d.Add("text", Line{Points: disc(c, r), Closed: true, WidthPt: 0.6, Colour: ink})
		if !dl.level {
			a := axesOf(c, dl.bearingDeg)
			s.d.Add("text", arrow(a.p(0, -r+2), a.p(0, r-1), 1.2, 9, ink)...)
		} else {
			s.d.Add("text", Line{Points: []XY{{c.X - 8, c.Y}, {c.X + 8, c.Y}}, WidthPt: 1.2, Colour: ink})
		}
		s.d.Add("text", Text{At: XY{c.X, marginPt + compassHighPt - 6}, Align: Middle, SizePt: smallPt, Text: dl.word})
	}
}

// A key shows what something drawn stands for.
type key struct {
	word  string
	width float64
	draw  func(at XY) []Item // about the middle of a place of keySymbolPt width
}

const keySymbolPt = 22.0

// makeKeys are the keys of what the sheet shows, and how many rows they take beside the scale.
func (s *sheet) makeKeys() ([]key, int) {
	var out []key
	add := func(word string, draw func(at XY) []Item) {
		out = append(out, key{word, keySymbolPt + 4 + s.f.width(word, smallPt, false) + 10, draw})
	}
	for _, k := range course.Kinds() {
		if slices.ContainsFunc(s.p.Obstacles, func(o course.Obstacle) bool { return o.Kind == k }) {
			add(string(k), func(at XY) []Item { return symbol(k, axesOf(at, 0), 20, 0) })
		}
	}
	straight := func(l Line) func(at XY) []Item {
		return func(at XY) []Item {
			l.Points = []XY{{at.X - keySymbolPt/2, at.Y}, {at.X + keySymbolPt/2, at.Y}}
			return []Item{l}
		}
	}
	if len(s.walk.Figures.Track.Legs) > 0 {
		add("planned track", straight(trackLine()))
	}
	if len(s.others) > 0 {
		add("other tracks", straight(otherLine()))
	}
	if s.stepM > 0 {
		add("height of the ground, "+s.heightUnit(), straight(contourLine(true)))
		if s.beyondSpots() {
			add("beyond the spot heights", straight(contourLine(false)))
		}
	}
	x, rows := s.keysFrom(), 1
	for _, k := range out {
		if x+k.width > s.d.WidthPt-marginPt && x > s.keysFrom() {
			x, rows = s.keysFrom(), rows+1
		}
		x += k.width
	}
	return out, rows
}

func (s *sheet) keysFrom() float64 { return marginPt + barMostPt + 50 }

func (s *sheet) drawFooter(unlaid []string) {
	rows := s.smallPrint(unlaid)
	perColumn := (len(rows) + 1) / 2
	y := s.d.HighPt - marginPt - float64(perColumn)*smallPt*1.2
	for i, r := range rows {
		x := marginPt
		if i >= perColumn {
			x = s.d.WidthPt/2 + 6
		}
		r.At = XY{x, y + float64(i%perColumn)*smallPt*1.2 + smallPt}
		s.d.Add("text", r)
	}
	top := s.map1.Y + 6
	s.drawScale(XY{marginPt, top + 4})
	x, ky := s.keysFrom(), top+keyHighPt/2
	for _, k := range s.keys {
		if x+k.width > s.d.WidthPt-marginPt && x > s.keysFrom() {
			x, ky = s.keysFrom(), ky+keyHighPt
		}
		s.d.Add("text", k.draw(XY{x + keySymbolPt/2, ky})...)
		s.d.Add("text", Text{At: XY{x + keySymbolPt + 4, ky + smallPt*0.35}, SizePt: smallPt, Text: k.word})
		x += k.width
	}
}

// drawScale draws a bar of a round length, and the scale in numbers.
func (s *sheet) drawScale(at XY) {
	unitM, unit := 1.0, "m"
	if s.opt.Imperial {
		unitM, unit = footM, "ft"
	}
	most := barMostPt / (s.d.PtPerM * unitM)
	length := roundBelow(most)
	parts := 4
	if length/math.Pow(10, math.Floor(math.Log10(length))) > 4.5 { // 5, 50 …
		parts = 5
	}
	w := length * unitM * s.d.PtPerM / float64(parts)
	for i := range parts {
		box := []XY{{at.X + float64(i)*w, at.Y}, {at.X + float64(i+1)*w, at.Y}, {at.X + float64(i+1)*w, at.Y + 4}, {at.X + float64(i)*w, at.Y + 4}}
		if i%2 == 0 {
			s.d.Add("text", Area{box, ink})
		}
		s.d.Add("text", Line{Points: box, Closed: true, WidthPt: 0.5, Colour: ink})
	}
	s.d.Add("text", Text{At: XY{at.X, at.Y + 12}, SizePt: smallPt, Text: "0"})
	s.d.Add("text", Text{At: XY{at.X + w*float64(parts), at.Y + 12}, Align: Middle, SizePt: smallPt, Text: fmt.Sprintf("%g %s", length, unit)})
	s.d.Add("text", Text{At: XY{at.X + w*float64(parts)/2, at.Y + 12}, Align: Middle, SizePt: smallPt, Text: "1 : " + fmt.Sprintf("%g", s.denom)})
}

// roundBelow is the largest of 1, 2 and 5 times a power of ten up to x.
func roundBelow(x float64) float64 {
	tens := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{5, 2} {
		if m*tens <= x {
			return m * tens
		}
	}
	return tens
}

// smallPrint is what stands below: who decides, what the numbers mean, what found no room, what to look at. Rows of the
// left column first.
func (s *sheet) smallPrint(unlaid []string) []Text {
	type para struct {
		bold bool
		text string
	}
	var paras []para
	for i, c := range s.walk.Figures.Cautions {
		if i == 0 {
			paras = append(paras, para{true, c.What + " " + c.Why})
		}
	}
	h := s.walk.Horse
	stride := s.length(h.StrideM.Value, 2)
	if h.Name != "" {
		stride += " (" + h.Name + ")"
	}
	if len(s.p.Lines) > 0 {
		paras = append(paras, para{false, fmt.Sprintf("Strides of %s; in brackets what the distance asks. Lengths from the back of one obstacle to the front of the next: walked with tape or wheel, from the map, or along the planned track.", stride)})
	}
	if s.enlargedAt(s.d.PtPerM) {
		paras = append(paras, para{false, "Obstacles are drawn larger than to scale."})
	}
	if out := s.unridden(); len(out) > 0 {
		paras = append(paras, para{false, "Not in the route: " + strings.Join(out, ", ") + "."})
	}
	if why := s.walk.Figures.WhyLevel; why != "" && len(s.p.Levels) > 0 {
		paras = append(paras, para{false, "No contours: " + why + "."})
	}
	if len(unlaid) > 0 {
		paras = append(paras, para{false, "No room beside the lines for: " + strings.Join(unlaid, "; ") + "."})
	}
	warnings := append(append([]course.Warning{}, s.opt.Warnings...), s.walk.Figures.Warnings...)
	explained := map[string]bool{} // each reason once
	for i, w := range warnings {
		words := w.What
		if w.Field != "" {
			words = w.Field + ": " + words
		}
		if w.Why != "" && !explained[w.Why] {
			words += ", " + w.Why
			explained[w.Why] = true
		}
		if i == 0 {
			words = "To look at: " + words
		}
		paras = append(paras, para{false, strings.TrimSuffix(words, ".") + "."})
	}
	for _, c := range s.walk.Figures.Cautions[min(1, len(s.walk.Figures.Cautions)):] {
		paras = append(paras, para{false, c.What})
	}
	width := (s.d.WidthPt-2*marginPt)/2 - 6
	var out []Text
	for _, p := range paras {
		for _, r := range s.f.wrapped(cleaned(p.text), smallPt, p.bold, width) {
			out = append(out, Text{SizePt: smallPt, Bold: p.bold, Text: r})
		}
	}
	if most := 2 * int(footerPart*s.d.HighPt/(smallPt*1.2)); len(out) > most {
		out = out[:most]
		const rest = " … checking the plan tells the rest."
		out[most-1].Text = strings.TrimSuffix(s.f.fitted(out[most-1].Text, smallPt, false, width-s.f.width(rest, smallPt, false)), "…") + rest
	}
	return out
}

// unridden are the obstacles that the route leaves out, poles aside.
func (s *sheet) unridden() []string {
	var out []string
	for _, o := range s.p.Obstacles {
		if o.Kind != course.Pole && !slices.Contains(s.p.Route, o.ID) {
			out = append(out, o.ID)
		}
	}
	return out
}

// words say what the drawing shows, for those who hear it.
func (s *sheet) words(unlaid []string) string {
	var b strings.Builder
	b.WriteString("Course plan to scale 1 : " + fmt.Sprintf("%g", s.denom) + ". ")
	for _, r := range s.facts {
		b.WriteString(r + " ")
	}
	b.WriteString("Obstacles: ")
	for i, o := range s.p.Obstacles {
		if i > 0 {
			b.WriteString("; ")
		}
		fmt.Fprintf(&b, "%s %s facing %.0f°", o.ID, o.Kind, o.FacingDeg)
	}
	b.WriteString(".")
	for i, l := range s.walk.Lines {
		if i == 0 {
			b.WriteString(" Lines: ")
		} else {
			b.WriteString("; ")
		}
		b.WriteString(s.lineWords(l))
	}
	if len(s.walk.Lines) > 0 {
		b.WriteString(".")
	}
	for _, dl := range s.dials() {
		fmt.Fprintf(&b, " %s", dl.word)
		if !dl.level {
			fmt.Fprintf(&b, " towards %.0f° of the plan", math.Mod(dl.bearingDeg+720, 360))
		}
		b.WriteString(".")
	}
	return cleaned(b.String())
}

func (s *sheet) lineWords(l course.WalkLine) string {
	words := l.From + "–" + l.To + " " + s.measured(l)
	if n := strides(l); n != "" {
		words += ", " + n
	}
	return words
}
