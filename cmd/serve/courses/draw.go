package courses

import (
	"bytes"
	"fmt"
	"groundline/cmd/serve/shell"
	"groundline/course"
	"groundline/report"
	"groundline/report/draw"
	"groundline/report/layout"
	"html"
	"html/template"
	"math"
	"strings"
)

// A picture of a plan for the page is drawn over so many units from left to right, whatever its size; colours, widths of
// lines and sizes of letters are the style sheet's, so that it is as readable on a phone as on a desk, in light and dark.
const pictureWide = 1000.0

const (
	pictureEdgeM = 3.0
	chordOffM    = 0.05 // by how much chords leave the arcs that they stand for: a pixel on any screen
	tickM        = 1.8  // of the tick that shows the way an obstacle is jumped
)

// pictureFrame turns places of the arena into places of a picture.
type pictureFrame struct {
	low   course.Point
	highY float64
	scale float64 // units a metre
	high  float64 // units
}

// frameOf is the frame that all of a plan fits into, with its planned track. What the horse is drawn to may lie far off and
// is left out.
func frameOf(p *course.Plan, track []course.Point) pictureFrame {
	low, high := course.Point{X: math.Inf(1), Y: math.Inf(1)}, course.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	take := func(points ...course.Point) {
		for _, q := range points {
			low.X, low.Y = min(low.X, q.X), min(low.Y, q.Y)
			high.X, high.Y = max(high.X, q.X), max(high.Y, q.Y)
		}
	}
	take(p.Arena...)
	take(track...)
	for _, o := range p.Obstacles {
		l, r := faceEnds(o, 0)
		take(l, r)
	}
	for _, l := range []*[2]course.Point{p.Start, p.Finish} {
		if l != nil {
			take(l[:]...)
		}
	}
	if p.Gate != nil {
		take(*p.Gate)
	}
	f := pictureFrame{low: course.Point{X: low.X - pictureEdgeM, Y: low.Y - pictureEdgeM}, highY: high.Y + pictureEdgeM}
	f.scale = pictureWide / (high.X - low.X + 2*pictureEdgeM)
	f.high = (f.highY - f.low.Y) * f.scale
	return f
}

func (f pictureFrame) at(p course.Point) (x, y float64) {
	return (p.X - f.low.X) * f.scale, (f.highY - p.Y) * f.scale
}

// path is points joined, as the d of an SVG path.
func (f pictureFrame) path(points []course.Point, closed bool) string {
	var b strings.Builder
	for i, p := range points {
		x, y := f.at(p)
		b.WriteString([]string{"L", "M"}[shell.Btoi(i == 0)] + shell.Tenth(x) + " " + shell.Tenth(y))
	}
	if closed {
		b.WriteByte('Z')
	}
	return b.String()
}

// faceEnds are the ends of an obstacle's face, ahead metres along its facing from the middle.
func faceEnds(o course.Obstacle, aheadM float64) (left, right course.Point) {
	return placeOf(o, -o.WidthM/2, aheadM), placeOf(o, o.WidthM/2, aheadM)
}

// placeOf is a place to the right of and ahead of an obstacle's middle, as the rider sees it.
func placeOf(o course.Obstacle, rightM, aheadM float64) course.Point {
	s, c := math.Sincos(o.FacingDeg * math.Pi / 180)
	return course.Point{X: o.At.X + rightM*c + aheadM*s, Y: o.At.Y - rightM*s + aheadM*c}
}

// trackPoints is the planned track, leg by leg.
func trackPoints(t course.Track) []course.Point {
	var out []course.Point
	for _, l := range t.Legs {
		out = append(out, draw.PathPoints(l.Path, chordOffM)...)
	}
	return out
}

// closeM is how near to each other the points are that stand for the track where letters look for room.
const closeM = 1.0

// trodden are places all along the planned track.
func trodden(t course.Track) []course.Point {
	var out []course.Point
	for _, l := range t.Legs {
		for d := 0.0; d < l.Path.LengthM(); d += closeM {
			at, _ := l.Path.At(d)
			out = append(out, at)
		}
	}
	return out
}

// planPicture draws a plan for the page, with the distances of the lines that riders count, and says in words what it shows.
func planPicture(p *course.Plan, w course.Walk, units report.Units) (template.HTML, string) {
	track := trackPoints(w.Figures.Track)
	f := frameOf(p, track)
	words := fmt.Sprintf("The plan to scale from above: %s, the planned track of %.0f m, and at each line of related, bending or combined fences its distance and strides for this horse.",
		layout.Count(len(p.Obstacles), "obstacle"), w.Figures.LengthM)
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg class="plan" viewBox="0 0 %g %s" role="img" aria-label="%s">`, pictureWide, shell.Tenth(f.high), html.EscapeString(words))
	f.ground(&b, p)
	for _, l := range w.Lines {
		for _, t := range l.Tracks {
			fmt.Fprintf(&b, `<path class="other" d="%s"/>`, f.path(draw.PathPoints(t.Path, chordOffM), false))
		}
		if c := l.Turn; c != nil && c.LongerM.Value > 1 {
			fmt.Fprintf(&b, `<path class="other" d="%s"/>`, f.path(draw.PathPoints(c.Wide.Path, chordOffM), false))
		}
	}
	fmt.Fprintf(&b, `<path class="track" d="%s"/>`, f.path(track, false))
	f.obstacles(&b, p)
	var taken []box
	for _, o := range p.Obstacles {
		id := layout.Clip(shell.Cleaned(o.ID), 8)
		x, y := f.at(placeOf(o, o.WidthM/2+1.4+0.25*float64(layout.Columns(id)), -0.6))
		fmt.Fprintf(&b, `<text class="id" x="%s" y="%s" dy=".35em">%s</text>`, shell.Tenth(x), shell.Tenth(y), html.EscapeString(id))
		taken = append(taken, boxAt(x, y, layout.Columns(id)))
		l, r := faceEnds(o, 0)
		for _, at := range []course.Point{l, o.At, r} {
			x, y := f.at(at)
			taken = append(taken, box{x - 8, y - 8, x + 8, y + 8})
		}
	}
	for _, at := range trodden(w.Figures.Track) {
		x, y := f.at(at)
		taken = append(taken, box{x - 3, y - 3, x + 3, y + 3})
	}
	for _, l := range w.Lines {
		if words := lineLabel(l, units); words != "" {
			f.label(&b, p, l, words, &taken)
		}
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String()), words // every text in it is escaped above
}

// lineLabel is what is written at a line: the ground as the table has it, a bending line along its track, and its strides; "" where nobody counts.
func lineLabel(l course.WalkLine, units report.Units) string {
	if l.Kind != course.Related && l.Kind != course.Bending && l.Kind != course.Combination || l.Whole < 0 {
		return ""
	}
	distance := layout.Number(l.GroundM.Value, 2)
	if units == report.Imperial {
		distance = layout.Number(l.GroundM.Value/shell.FootM, 1) + " ft"
	}
	return fmt.Sprintf("%s · %d", distance, l.Whole)
}

// box is what a text covers, in units.
type box struct{ left, top, right, bottom float64 }

// boxAt is the box of a text of so many letters about its middle; the letters are the widest that the style sheet gives
// where labels are shown.
func boxAt(x, y float64, letters int) box {
	const high, wide = 26.0, 10.5
	half := float64(letters)*wide/2 + 4
	return box{x - half, y - high/2, x + half, y + high/2}
}

func (b box) meets(c box) bool {
	return b.left < c.right && c.left < b.right && b.top < c.bottom && c.top < b.bottom
}

// label writes a line's label beside its middle, at the first of some places where it covers nothing; nowhere if there is none:
// the table has it too.
func (f pictureFrame) label(out *bytes.Buffer, p *course.Plan, l course.WalkLine, words string, taken *[]box) {
	a, okA := p.Obstacle(l.From)
	b, okB := p.Obstacle(l.To)
	if !okA || !okB {
		return
	}
	ax, ay := f.at(a.At)
	bx, by := f.at(b.At)
	long := math.Hypot(bx-ax, by-ay)
	if long == 0 {
		return
	}
	// Across the line, upwards first.
	nx, ny := (by-ay)/long, -(bx-ax)/long
	if ny > 0 {
		nx, ny = -nx, -ny
	}
	letters := layout.Columns(words)
	off := 18 + 4.5*float64(letters)*math.Abs(nx)
	for _, at := range [][2]float64{{0.5, 1}, {0.5, -1}, {0.35, 1}, {0.65, 1}, {0.35, -1}, {0.65, -1}, {0.5, 2}, {0.5, -2}} {
		x, y := ax+at[0]*(bx-ax)+at[1]*off*nx, ay+at[0]*(by-ay)+at[1]*off*ny
		here := boxAt(x, y, letters)
		free := here.left > 0 && here.right < pictureWide && here.top > 0 && here.bottom < f.high
		for _, t := range *taken {
			free = free && !here.meets(t)
		}
		if free {
			*taken = append(*taken, here)
			fmt.Fprintf(out, `<text class="distance" x="%s" y="%s" dy=".35em">%s</text>`, shell.Tenth(x), shell.Tenth(y), html.EscapeString(words))
			return
		}
	}
}

// ground draws arena, start, finish and gate.
func (f pictureFrame) ground(b *bytes.Buffer, p *course.Plan) {
	if len(p.Arena) > 2 {
		fmt.Fprintf(b, `<path class="arena" d="%s"/>`, f.path(p.Arena, true))
	}
	for _, l := range []struct {
		name string
		ends *[2]course.Point
	}{{"start", p.Start}, {"finish", p.Finish}} {
		if l.ends == nil {
			continue
		}
		fmt.Fprintf(b, `<path class="timing" d="%s"/>`, f.path(l.ends[:], false))
		x, y := f.at(l.ends[1])
		fmt.Fprintf(b, `<text class="place" x="%s" y="%s">%s</text>`, shell.Tenth(x), shell.Tenth(y-10), l.name)
	}
	if p.Gate != nil {
		x, y := f.at(*p.Gate)
		fmt.Fprintf(b, `<rect class="gate" x="%s" y="%s" width="14" height="14"/><text class="place" x="%s" y="%s">gate</text>`, shell.Tenth(x-7), shell.Tenth(y-7), shell.Tenth(x), shell.Tenth(y-14))
	}
}

// obstacles draws each obstacle as its poles from above, with a tick the way that it is jumped.
func (f pictureFrame) obstacles(b *bytes.Buffer, p *course.Plan) {
	for _, o := range p.Obstacles {
		class := "fence"
		if o.Kind == course.Pole {
			class = "pole"
		}
		half := o.SpreadM / 2
		if o.Kind == course.Vertical || o.Kind == course.Wall || o.Kind == course.Cross || o.Kind == course.Pole || half < 0.2 {
			half = 0
		}
		l, r := faceEnds(o, -half)
		if half > 0 {
			l2, r2 := faceEnds(o, half)
			fmt.Fprintf(b, `<path class="%s spread" d="%s"/>`, class, f.path([]course.Point{l, r, r2, l2}, true))
		} else {
			fmt.Fprintf(b, `<path class="%s" d="%s"/>`, class, f.path([]course.Point{l, r}, false))
		}
		if o.Kind != course.Pole {
			fmt.Fprintf(b, `<path class="facing" d="%s"/>`, f.path([]course.Point{placeOf(o, 0, half), placeOf(o, 0, half+tickM)}, false))
		}
	}
}

// planIcon is a plan as a small picture of its own: a file that a page shows as an image, so it has its own colours,
// which stand out from light and dark alike (at least 3:1, WCAG 2.2, 1.4.11).
func planIcon(p *course.Plan) []byte {
	// The stride only sets how long the straights at the fences are.
	track := trackPoints(p.PlanTrack(course.StandardStrideM))
	f := frameOf(p, track)
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %s" fill="none" stroke-linejoin="round" stroke-linecap="round">`, pictureWide, shell.Tenth(f.high))
	if len(p.Arena) > 2 {
		fmt.Fprintf(&b, `<path d="%s" stroke="#7b8791" stroke-width="8"/>`, f.path(p.Arena, true))
	}
	fmt.Fprintf(&b, `<path d="%s" stroke="#2f8f87" stroke-width="9"/>`, f.path(track, false))
	for _, o := range p.Obstacles {
		if o.Kind != course.Pole {
			l, r := faceEnds(o, 0)
			fmt.Fprintf(&b, `<path d="%s" stroke="#c2683a" stroke-width="22"/>`, f.path([]course.Point{l, r}, false))
		}
	}
	b.WriteString("</svg>")
	return b.Bytes()
}
