package draw

import (
	"math"

	"groundline/course"
)

// Ink and the two tones beside it. Against white ink has a contrast of 21 to 1, track of 8.4 and ground of 5.3
// (WCAG 2.2 asks 4.5 of text and 3 of lines); what they stand for is told by the kind of line as well.
var (
	ink    = Colour{0, 0, 0}
	paper  = Colour{255, 255, 255}
	track  = Colour{0x1d, 0x4e, 0x89}
	ground = Colour{0x84, 0x66, 0x42}
)

// axes are an obstacle's own directions on the sheet: along its face to the right, and the way it is jumped.
type axes struct {
	at           XY
	right, ahead XY
}

func axesOf(at XY, facingDeg float64) axes {
	s, c := math.Sincos(facingDeg * math.Pi / 180)
	return axes{at, XY{c, s}, XY{s, -c}} // the sheet's y points down
}

// p is the place u to the right of the middle and v ahead of it.
func (a axes) p(u, v float64) XY {
	return XY{a.at.X + u*a.right.X + v*a.ahead.X, a.at.Y + u*a.right.Y + v*a.ahead.Y}
}

func (a axes) box(u0, v0, u1, v1 float64) []XY {
	return []XY{a.p(u0, v0), a.p(u1, v0), a.p(u1, v1), a.p(u0, v1)}
}

const (
	barPt  = 1.8 // thickness of a pole or plank
	leafPt = 0.7 // of a drawn edge
	postPt = 1.6
)

// leastSpreadPt is the depth that a kind needs to be told from the others at any scale.
func leastSpreadPt(k course.Kind) float64 {
	switch k {
	case course.Oxer:
		return 4.6
	case course.TripleBar:
		return 9
	case course.Wall:
		return 5
	case course.Cross, course.Ditch:
		return 5.5
	case course.Water:
		return 8
	}
	return 2
}

// symbol draws an obstacle of that width and spread in points. Each kind has its own shape: one pole, two poles
// a spread apart, three, bricks, crossed poles, waves, hatching, a pole in bands. Posts stand
// where there are any.
func symbol(k course.Kind, a axes, widthPt, spreadPt float64) []Item {
	h, s := widthPt/2, max(spreadPt, leastSpreadPt(k))/2
	var out []Item
	area := func(c Colour, points []XY) { out = append(out, Area{points, c}) }
	line := func(w float64, points ...XY) { out = append(out, Line{Points: points, WidthPt: w, Colour: ink}) }
	frame := func() {
		area(paper, a.box(-h, -s, h, s))
		out = append(out, Line{Points: a.box(-h, -s, h, s), Closed: true, WidthPt: leafPt, Colour: ink})
	}
	pole := func(v float64) { area(ink, a.box(-h, v-barPt/2, h, v+barPt/2)) }
	posts := func(reach float64) {
		for _, u := range []float64{-h, h} {
			area(ink, a.box(u-postPt/2, -reach, u+postPt/2, reach))
		}
	}
	switch k {
	case course.Oxer:
		area(paper, a.box(-h, -s, h, s))
		pole(-s + barPt/2)
		pole(s - barPt/2)
		posts(s + 1)
	case course.TripleBar:
		area(paper, a.box(-h, -s, h, s))
		pole(-s + barPt/2)
		pole(0)
		pole(s - barPt/2)
		posts(s + 1)
	case course.Wall:
		frame()
		line(leafPt, a.p(-h, 0), a.p(h, 0))
		n := max(2, int(math.Round(widthPt/5)))
		for i := 1; i < 2*n; i++ { // joints, of the two rows in turn
			u, v := -h+widthPt*float64(i)/float64(2*n), s
			if i%2 == 0 {
				v = -s
			}
			line(leafPt, a.p(u, 0), a.p(u, v))
		}
	case course.Cross:
		area(paper, a.box(-h, -s, h, s))
		line(barPt, a.p(-h, -s), a.p(h, s))
		line(barPt, a.p(-h, s), a.p(h, -s))
		posts(s + 1)
	case course.Water:
		frame()
		for _, v := range []float64{-s / 2.4, s / 2.4} {
			var wave []XY
			n := 4 * max(2, int(math.Round(widthPt/8)))
			for i := range n + 1 {
				up := []float64{0, 1, 0, -1}[i%4] * s / 4
				wave = append(wave, a.p(-h+widthPt*float64(i)/float64(n), v+up))
			}
			line(leafPt, wave...)
		}
	case course.Ditch:
		frame()
		n := max(3, int(math.Round(widthPt/4)))
		for i := range n { // strokes that lean one step
			u := -h + widthPt*float64(i)/float64(n)
			line(leafPt, a.p(u, -s), a.p(u+widthPt/float64(n), s))
		}
	case course.Pole:
		n := 5
		area(paper, a.box(-h, -1.2, h, 1.2))
		out = append(out, Line{Points: a.box(-h, -1.2, h, 1.2), Closed: true, WidthPt: 0.5, Colour: ink})
		for i := 0; i < n; i += 2 {
			area(ink, a.box(-h+widthPt*float64(i)/float64(n), -1.2, -h+widthPt*float64(i+1)/float64(n), 1.2))
		}
	default: // vertical, and what later kinds may come
		area(ink, a.box(-h, -max(s, barPt/2), h, max(s, barPt/2)))
		posts(max(s, barPt/2) + 2.2)
	}
	return out
}

// facing is the arrow through an obstacle in the direction in which it is jumped.
func facing(a axes, spreadPt float64) []Item {
	s := spreadPt / 2
	const before, stem, head, half = 5.0, 3.5, 6.5, 3.0
	return []Item{
		Line{Points: []XY{a.p(0, -s-before), a.p(0, s+stem)}, WidthPt: 1.1, Colour: ink},
		Area{[]XY{a.p(-half, s+stem), a.p(half, s+stem), a.p(0, s+stem+head)}, ink},
	}
}

// arrow from one place to another with a filled head.
func arrow(from, to XY, widthPt, headPt float64, c Colour) []Item {
	length := math.Hypot(to.X-from.X, to.Y-from.Y)
	if length == 0 {
		return nil
	}
	ux, uy := (to.X-from.X)/length, (to.Y-from.Y)/length
	base := XY{to.X - ux*headPt, to.Y - uy*headPt}
	return []Item{
		Line{Points: []XY{from, base}, WidthPt: widthPt, Colour: c},
		Area{[]XY{{base.X - uy*headPt*0.45, base.Y + ux*headPt*0.45}, to, {base.X + uy*headPt*0.45, base.Y - ux*headPt*0.45}}, c},
	}
}
