package draw

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"
	"slices"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/vector"
)

// pngDPI is fine enough for print at arm's length, and for a phone to zoom in on 7-point letters.
const pngDPI = 200

// WritePNG writes the drawing as PNG of 200 dots an inch, which the file says so that it prints to scale.
func WritePNG(w io.Writer, d *Drawing) error {
	if err := d.check(); err != nil {
		return err
	}
	c := newCanvas(d.WidthPt, d.HighPt, pngDPI/72.0)
	f := newFonts()
	for _, g := range d.Groups {
		for _, it := range g.Items {
			switch it := it.(type) {
			case Line:
				// A few polygons at a time: the rasteriser works on the box around them.
				for polygons := range slices.Chunk(strokes(it), 8) {
					c.fill(polygons, it.Colour)
				}
			case Area:
				c.fill([][]XY{it.Points}, it.Fill)
			case Text:
				c.text(f, it)
			}
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, c.image); err != nil {
		return err
	}
	_, err := w.Write(withResolution(b.Bytes(), pngDPI))
	return err
}

// withResolution puts a pHYs chunk behind a PNG's first (PNG, third edition, 11.3.4.3).
func withResolution(data []byte, dpi float64) []byte {
	const signatureAndHeader = 8 + 25
	chunk := binary.BigEndian.AppendUint32(nil, 9)
	chunk = append(chunk, "pHYs"...)
	perM := uint32(math.Round(dpi / 0.0254))
	chunk = binary.BigEndian.AppendUint32(chunk, perM)
	chunk = binary.BigEndian.AppendUint32(chunk, perM)
	chunk = append(chunk, 1) // a metre
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
	out := append([]byte{}, data[:signatureAndHeader]...)
	return append(append(out, chunk...), data[signatureAndHeader:]...)
}

// canvas is an image with points as unit.
type canvas struct {
	image  *image.RGBA
	perPt  float64
	raster vector.Rasterizer
}

func newCanvas(widthPt, highPt, perPt float64) *canvas {
	c := &canvas{perPt: perPt}
	c.image = image.NewRGBA(image.Rect(0, 0, int(math.Ceil(widthPt*perPt)), int(math.Ceil(highPt*perPt))))
	draw.Draw(c.image, c.image.Bounds(), image.White, image.Point{}, draw.Src)
	return c
}

// open readies the rasteriser for a shape within low and high, in pixels; false if none of it is on the image.
func (c *canvas) open(low, high XY) (at image.Rectangle, ok bool) {
	b := c.image.Bounds()
	clamp := func(v float64, most int) int { return int(max(0, min(v, float64(most)))) }
	at = image.Rect(clamp(math.Floor(low.X)-1, b.Max.X), clamp(math.Floor(low.Y)-1, b.Max.Y),
		clamp(math.Ceil(high.X)+1, b.Max.X), clamp(math.Ceil(high.Y)+1, b.Max.Y))
	if at.Empty() {
		return at, false
	}
	c.raster.Reset(at.Dx(), at.Dy())
	return at, true
}

func (c *canvas) close(at image.Rectangle, colour Colour) {
	c.raster.Draw(c.image, at, image.NewUniform(color.RGBA{colour.R, colour.G, colour.B, 255}), image.Point{})
}

// fill paints the union of polygons of one orientation.
func (c *canvas) fill(polygons [][]XY, colour Colour) {
	var all []XY
	for _, p := range polygons {
		all = append(all, p...)
	}
	if len(all) == 0 {
		return
	}
	low, high := extentOf(all)
	at, ok := c.open(XY{low.X * c.perPt, low.Y * c.perPt}, XY{high.X * c.perPt, high.Y * c.perPt})
	if !ok {
		return
	}
	for _, p := range polygons {
		for i, q := range p {
			x, y := float32(q.X*c.perPt-float64(at.Min.X)), float32(q.Y*c.perPt-float64(at.Min.Y))
			if i == 0 {
				c.raster.MoveTo(x, y)
			} else {
				c.raster.LineTo(x, y)
			}
		}
		c.raster.ClosePath()
	}
	c.close(at, colour)
}

func (c *canvas) text(f *fonts, t Text) {
	low, high := t.extent(f)
	size := t.SizePt * c.perPt
	// Letters may reach a little over their own width.
	at, ok := c.open(XY{low.X*c.perPt - size/2, low.Y*c.perPt - size/2}, XY{high.X*c.perPt + size/2, high.Y*c.perPt + size/2})
	if !ok {
		return
	}
	x, y := low.X*c.perPt-float64(at.Min.X), t.At.Y*c.perPt-float64(at.Min.Y)
	scale := size / float64(f.unit(t.Bold))
	for _, r := range t.Text {
		segments, err := f.face(t.Bold).LoadGlyph(&f.buffer, f.glyph(r, t.Bold), f.unit(t.Bold), nil)
		if err == nil {
			for _, s := range segments {
				var p [3][2]float32
				for i, a := range s.Args {
					p[i] = [2]float32{float32(x + float64(a.X)*scale), float32(y + float64(a.Y)*scale)}
				}
				switch s.Op {
				case sfnt.SegmentOpMoveTo:
					c.raster.ClosePath()
					c.raster.MoveTo(p[0][0], p[0][1])
				case sfnt.SegmentOpLineTo:
					c.raster.LineTo(p[0][0], p[0][1])
				case sfnt.SegmentOpQuadTo:
					c.raster.QuadTo(p[0][0], p[0][1], p[1][0], p[1][1])
				case sfnt.SegmentOpCubeTo:
					c.raster.CubeTo(p[0][0], p[0][1], p[1][0], p[1][1], p[2][0], p[2][1])
				}
			}
			c.raster.ClosePath()
		}
		x += f.advance(r, t.Bold) * size
	}
	c.close(at, t.Colour)
}

// strokes are the polygons that a line covers, all of one orientation: a box for each piece and a disc on
// each corner.
func strokes(l Line) [][]XY {
	runs := [][]XY{l.Points}
	if l.Closed && len(l.Points) > 0 {
		runs[0] = append(append([]XY{}, l.Points...), l.Points[0])
	}
	if len(l.DashPt) > 0 {
		runs = dashed(runs[0], l.DashPt)
	}
	var out [][]XY
	h := l.WidthPt / 2
	for _, run := range runs {
		for i := 1; i < len(run); i++ {
			a, b := run[i-1], run[i]
			length := math.Hypot(b.X-a.X, b.Y-a.Y)
			if length == 0 {
				continue
			}
			dx, dy := (b.X-a.X)/length, (b.Y-a.Y)/length
			// Long slanting pieces in parts that overlap by a pixel, so that no box around them is large.
			part := length
			if dx != 0 && dy != 0 {
				part = min(length, 100)
			}
			for from := 0.0; from < length; from += part {
				to := min(length, from+part+72.0/pngDPI)
				p, q := XY{a.X + dx*from, a.Y + dy*from}, XY{a.X + dx*to, a.Y + dy*to}
				out = append(out, []XY{{p.X + dy*h, p.Y - dx*h}, {q.X + dy*h, q.Y - dx*h}, {q.X - dy*h, q.Y + dx*h}, {p.X - dy*h, p.Y + dx*h}})
			}
			if next := corner(run, i, l.Closed && len(l.DashPt) == 0); next != nil && math.Abs((next.X-b.X)*dy-(next.Y-b.Y)*dx) > bluntly*math.Hypot(next.X-b.X, next.Y-b.Y) {
				out = append(out, disc(b, h))
			}
		}
	}
	return out
}

// bluntly is the sine of a corner that needs no rounding: it opens by less than a tenth of the line's width.
const bluntly = 0.15

// corner is the point after run[i], round to the second of a closed line; nil at the end.
func corner(run []XY, i int, closed bool) *XY {
	switch {
	case i+1 < len(run):
		return &run[i+1]
	case closed && len(run) > 1:
		return &run[1]
	}
	return nil
}

// dashed cuts a line into its dashes.
func dashed(points []XY, pattern []float64) [][]XY {
	var total float64
	for _, v := range pattern {
		total += v
	}
	if !(total > 0) {
		return [][]XY{points}
	}
	var out [][]XY
	var run []XY
	k, left := 0, pattern[0]
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		length := math.Hypot(b.X-a.X, b.Y-a.Y)
		for done := 0.0; done < length; {
			at := func(d float64) XY { return XY{a.X + (b.X-a.X)*d/length, a.Y + (b.Y-a.Y)*d/length} }
			if k%2 == 0 && run == nil {
				run = []XY{at(done)}
			}
			step := min(left, length-done)
			done += step
			left -= step
			if k%2 == 0 {
				run = append(run, at(done))
			}
			if left <= 1e-9 {
				if run != nil {
					out, run = append(out, run), nil
				}
				k++
				left = pattern[k%len(pattern)]
			}
		}
	}
	if run != nil {
		out = append(out, run)
	}
	return out
}
