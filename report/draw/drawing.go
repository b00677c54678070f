// Package draw makes pictures of plans: a course on one sheet of paper, to scale.
//
// A [Drawing] is lines, areas and texts on a sheet, in the order in which they are laid down. It knows
// nothing of files: [WriteSVG], [WritePNG] and [WritePDF] write any drawing, with the same shapes at the
// same places and the same bytes each time. [PlanSheet] draws a plan. What else lies on the ground of a
// plan is laid over it by [Drawing.At], which turns places of the arena into places of the sheet.
package draw

import (
	"fmt"
	"math"
	"strings"
	"unicode"

	"groundline/course"
)

// XY is a place on the sheet: points (1/72 inch) to the right and down from its upper left corner.
type XY struct{ X, Y float64 }

// Colour is an opaque colour, sRGB.
type Colour struct{ R, G, B uint8 }

// Hex is the colour as style sheets write it: #1d4e89.
func (c Colour) Hex() string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// Item is a [Line], an [Area] or a [Text].
type Item interface{ extent(*fonts) (min, max XY) }

// Line is a stroke through points, with round corners and blunt ends.
type Line struct {
	Points  []XY
	Closed  bool
	WidthPt float64
	Colour  Colour
	DashPt  []float64 // lengths of dash and gap in turn; nil for an unbroken line
}

// Area is a filled polygon.
type Area struct {
	Points []XY
	Fill   Colour
}

// Align is where a text's place lies in it.
type Align int

// A text's place is its left end, its middle or its right end, on the line that letters stand on.
const (
	Left Align = iota
	Middle
	Right
)

// Text is one row of text.
type Text struct {
	At     XY
	Align  Align
	SizePt float64
	Bold   bool
	Colour Colour
	Text   string
}

// Group is items that belong together; in SVG Name becomes their class.
type Group struct {
	Name  string
	Items []Item
}

// Drawing is a sheet with what is drawn on it.
type Drawing struct {
	Title string
	// Description says in words what the drawing shows, for those who can't see it.
	Description     string
	WidthPt, HighPt float64
	Groups          []Group // the first lies lowest
	// PtPerM is the scale, and Origin where (0, 0) of the plan lies on the sheet.
	PtPerM float64
	Origin XY
}

// At is where a place of the plan lies on the sheet.
func (d *Drawing) At(p course.Point) XY {
	return XY{d.Origin.X + p.X*d.PtPerM, d.Origin.Y - p.Y*d.PtPerM}
}

// group is the group of that name, made above all others when there is none yet.
func (d *Drawing) group(name string) *Group {
	for i := range d.Groups {
		if d.Groups[i].Name == name {
			return &d.Groups[i]
		}
	}
	d.Groups = append(d.Groups, Group{Name: name})
	return &d.Groups[len(d.Groups)-1]
}

// Add lays items over what the group of that name holds; a new group lies above all others.
func (d *Drawing) Add(group string, items ...Item) {
	g := d.group(group)
	g.Items = append(g.Items, items...)
}

// check refuses what no writer can draw.
func (d *Drawing) check() error {
	const mostPt = 14400 // 200 inches, the largest page that PDF readers must show
	if !(d.WidthPt > 0 && d.WidthPt <= mostPt && d.HighPt > 0 && d.HighPt <= mostPt) {
		return fmt.Errorf("draw: a sheet of %g by %g points, expected up to %d", d.WidthPt, d.HighPt, mostPt)
	}
	f := newFonts()
	for _, g := range d.Groups {
		for _, it := range g.Items {
			low, high := it.extent(f)
			for _, v := range []float64{low.X, low.Y, high.X, high.Y} {
				if math.IsNaN(v) || math.Abs(v) > 1e6 {
					return fmt.Errorf("draw: something in %q lies nowhere on the sheet", g.Name)
				}
			}
		}
	}
	return nil
}

// MissingLetters are the characters of the drawing's texts that the font of PNG and PDF does not have, each
// once, in the order found; an SVG leaves the font to who shows it.
func (d *Drawing) MissingLetters() []rune {
	f := newFonts()
	var out []rune
	seen := map[rune]bool{}
	for _, g := range d.Groups {
		for _, it := range g.Items {
			t, ok := it.(Text)
			if !ok {
				continue
			}
			for _, r := range t.Text {
				if !seen[r] && !f.has(r) {
					out = append(out, r)
				}
				seen[r] = true
			}
		}
	}
	return out
}

func (l Line) extent(*fonts) (XY, XY) {
	low, high := extentOf(l.Points)
	h := l.WidthPt / 2
	return XY{low.X - h, low.Y - h}, XY{high.X + h, high.Y + h}
}

func (a Area) extent(*fonts) (XY, XY) { return extentOf(a.Points) }

func (t Text) extent(f *fonts) (XY, XY) {
	w := f.width(t.Text, t.SizePt, t.Bold)
	x := t.left(w)
	return XY{x, t.At.Y - ascent*t.SizePt}, XY{x + w, t.At.Y + descent*t.SizePt}
}

// left is where a text of that width begins.
func (t Text) left(width float64) float64 {
	switch t.Align {
	case Middle:
		return t.At.X - width/2
	case Right:
		return t.At.X - width
	}
	return t.At.X
}

func extentOf(points []XY) (low, high XY) {
	low, high = XY{math.Inf(1), math.Inf(1)}, XY{math.Inf(-1), math.Inf(-1)}
	for _, p := range points {
		if math.IsNaN(p.X) || math.IsNaN(p.Y) {
			return p, p
		}
		low = XY{min(low.X, p.X), min(low.Y, p.Y)}
		high = XY{max(high.X, p.X), max(high.Y, p.Y)}
	}
	return low, high
}

// cleaned is a text as XML and printers take it: line ends become blanks, other control characters and broken
// encoding the replacement character.
func cleaned(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\r' || r == '\t':
			return ' '
		case unicode.IsControl(r), r == 0xFFFE, r == 0xFFFF:
			return unicode.ReplacementChar
		}
		return r
	}, s)
}

// disc is a circle as a polygon.
func disc(c XY, r float64) []XY {
	const sides = 24
	out := make([]XY, sides)
	for i := range out {
		s, k := math.Sincos(2 * math.Pi * float64(i) / sides)
		out[i] = XY{c.X + r*k, c.Y + r*s}
	}
	return out
}

// rectangle of that middle and size.
func rectangle(c XY, w, h float64) []XY {
	return []XY{{c.X - w/2, c.Y - h/2}, {c.X + w/2, c.Y - h/2}, {c.X + w/2, c.Y + h/2}, {c.X - w/2, c.Y + h/2}}
}
