package draw

import (
	"math"
)

// room is a sheet in small cells: what stands where, for finding places for labels. Cells that are taken can
// hold no label; lightly drawn ones can, at a price.
type room struct {
	wide, high int
	taken      []bool
	drawn      []int16
	inside     [2]XY // where labels may lie
}

// cellPt is fine enough to pass between two letters.
const cellPt = 2.0

func newRoom(widthPt, highPt float64, low, high XY) *room {
	r := &room{wide: int(math.Ceil(widthPt/cellPt)) + 1, high: int(math.Ceil(highPt/cellPt)) + 1, inside: [2]XY{low, high}}
	r.taken = make([]bool, r.wide*r.high)
	r.drawn = make([]int16, r.wide*r.high)
	return r
}

// cells calls do for each cell that a box touches.
func (r *room) cells(low, high XY, do func(i int)) {
	x0, x1 := max(0, int(low.X/cellPt)), min(r.wide-1, int(high.X/cellPt))
	y0, y1 := max(0, int(low.Y/cellPt)), min(r.high-1, int(high.Y/cellPt))
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			do(y*r.wide + x)
		}
	}
}

func (r *room) take(low, high XY) { r.cells(low, high, func(i int) { r.taken[i] = true }) }

// takeBox takes the cells of a box along an obstacle's axes.
func (r *room) takeBox(a axes, u0, v0, u1, v1 float64) {
	nu, nv := int((u1-u0)/cellPt)+1, int((v1-v0)/cellPt)+1
	for i := range nu + 1 {
		for j := range nv + 1 {
			p := a.p(u0+(u1-u0)*float64(i)/float64(nu), v0+(v1-v0)*float64(j)/float64(nv))
			r.take(p, p)
		}
	}
}

// draw adds weight to the cells along a line; the same with the opposite weight takes it off again.
func (r *room) draw(points []XY, weight int16) {
	last := -1
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		n := int(math.Hypot(b.X-a.X, b.Y-a.Y)/cellPt*1.5) + 1
		for k := range n + 1 {
			t := float64(k) / float64(n)
			p := XY{a.X + (b.X-a.X)*t, a.Y + (b.Y-a.Y)*t}
			r.cells(p, p, func(i int) {
				if i != last {
					r.drawn[i] += weight
				}
				last = i
			})
		}
	}
}

// price of a label there: what it covers, and whether it may lie there at all.
func (r *room) price(low, high XY) (covers float64, free bool) {
	free = low.X >= r.inside[0].X && low.Y >= r.inside[0].Y && high.X <= r.inside[1].X && high.Y <= r.inside[1].Y
	r.cells(low, high, func(i int) {
		if r.taken[i] {
			free = false
			covers += 50
		}
		covers += float64(max(0, r.drawn[i]))
	})
	return covers, free
}

// label is a block of rows of text.
type label struct {
	rows []Text // SizePt, Bold, Colour and Text; places are found
}

const rowGap = 1.12 // sizes from row to row

func (l label) size(f *fonts) (w, h float64) {
	for _, t := range l.rows {
		w = max(w, f.width(t.Text, t.SizePt, t.Bold))
		h += t.SizePt * rowGap
	}
	return w + 3, h
}

// spot is where a label's middle may come to lie, and what is against it.
type spot struct {
	at      XY
	against float64
}

// put lays the label at the best of the spots and takes the room; false where none is free. A label that must
// be laid goes to the least bad.
func (r *room) put(f *fonts, l label, spots []spot, must bool) ([]Item, bool) {
	w, h := l.size(f)
	best, bestPrice, found := XY{}, math.Inf(1), false
	for _, s := range spots {
		low, high := XY{s.at.X - w/2, s.at.Y - h/2}, XY{s.at.X + w/2, s.at.Y + h/2}
		covers, free := r.price(low, high)
		if !free && !must {
			continue
		}
		price := covers + s.against
		if !free {
			price += 1e6
			// On the sheet at least.
			s.at.X = max(r.inside[0].X+w/2, min(r.inside[1].X-w/2, s.at.X))
			s.at.Y = max(r.inside[0].Y+h/2, min(r.inside[1].Y-h/2, s.at.Y))
		}
		if price < bestPrice {
			best, bestPrice, found = s.at, price, true
		}
	}
	if !found {
		return nil, false
	}
	low, high := XY{best.X - w/2, best.Y - h/2}, XY{best.X + w/2, best.Y + h/2}
	r.take(low, high)
	items := []Item{Area{rectangle(best, w, h), paper}}
	y := low.Y
	for _, t := range l.rows {
		y += t.SizePt * rowGap
		t.At, t.Align = XY{best.X, y - t.SizePt*0.3}, Middle
		items = append(items, t)
	}
	return items, true
}

// around are spots about an anchor, nearest first: rings of growing distance, each way the box of that size just
// touching its ring.
func around(c XY, w, h float64, rings []float64, askew float64) []spot {
	var out []spot
	for i, d := range rings {
		for k := range 16 {
			s, co := math.Sincos(askew + 2*math.Pi*float64(k)/16)
			out = append(out, spot{XY{c.X + co*(d+w/2), c.Y + s*(d+h/2)}, 6 * float64(i)})
		}
	}
	return out
}

// alongLine are spots on a line and beside it, best in its middle.
func alongLine(points []XY, w, h float64) []spot {
	var length float64
	for i := 1; i < len(points); i++ {
		length += math.Hypot(points[i].X-points[i-1].X, points[i].Y-points[i-1].Y)
	}
	if length == 0 {
		return nil
	}
	var out []spot
	for i := range 17 {
		part := 0.5 + float64((i+1)/2)*[]float64{1, -1}[i%2]*0.05
		p, dir := pointAt(points, part*length)
		n := XY{-dir.Y, dir.X}
		// So far from the line the box just does not touch it.
		off := math.Abs(n.X)*w/2 + math.Abs(n.Y)*h/2 + 2
		away := 60 * math.Abs(part-0.5)
		for _, side := range []float64{0, 1, -1, 1.6, -1.6, 2.4, -2.4} {
			out = append(out, spot{XY{p.X + side*off*n.X, p.Y + side*off*n.Y}, away + 14*math.Abs(side)})
		}
	}
	return out
}

// pointAt is the place d points along a line, and the direction there.
func pointAt(points []XY, d float64) (XY, XY) {
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		l := math.Hypot(b.X-a.X, b.Y-a.Y)
		if l == 0 {
			continue
		}
		if d <= l || i == len(points)-1 {
			t := min(1, d/l)
			return XY{a.X + (b.X-a.X)*t, a.Y + (b.Y-a.Y)*t}, XY{(b.X - a.X) / l, (b.Y - a.Y) / l}
		}
		d -= l
	}
	return points[0], XY{1, 0}
}
