package draw

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// WriteSVG writes the drawing as SVG 1.1 of the sheet's own size in millimetres. Texts stay texts; each
// is held to the width that it was laid out with, whatever font shows it. Title and description are there for
// screen readers.
func WriteSVG(w io.Writer, d *Drawing) error {
	if err := d.check(); err != nil {
		return err
	}
	f := newFonts()
	out := bufio.NewWriter(w)
	const mmPerPt = 25.4 / 72
	fmt.Fprintf(out, `<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %s %s" role="img" aria-label="%s" font-family="Go, Helvetica, Arial, sans-serif">`+"\n",
		decimal(d.WidthPt*mmPerPt), decimal(d.HighPt*mmPerPt), decimal(d.WidthPt), decimal(d.HighPt), escaped(d.Title))
	fmt.Fprintf(out, "<title>%s</title>\n<desc>%s</desc>\n", escaped(d.Title), escaped(d.Description))
	fmt.Fprintf(out, `<rect width="%s" height="%s" fill="#ffffff"/>`+"\n", decimal(d.WidthPt), decimal(d.HighPt))
	for _, g := range d.Groups {
		fmt.Fprintf(out, `<g class="%s" stroke-linejoin="round">`+"\n", escaped(g.Name))
		for _, it := range g.Items {
			writeItem(out, f, it)
		}
		out.WriteString("</g>\n")
	}
	out.WriteString("</svg>\n")
	return out.Flush()
}

func writeItem(out *bufio.Writer, f *fonts, it Item) {
	switch it := it.(type) {
	case Line:
		fmt.Fprintf(out, `<path d="%s" fill="none" stroke="%s" stroke-width="%s"`, pathData(it.Points, it.Closed), it.Colour.Hex(), decimal(it.WidthPt))
		if len(it.DashPt) > 0 {
			dashes := make([]string, len(it.DashPt))
			for i, v := range it.DashPt {
				dashes[i] = decimal(v)
			}
			fmt.Fprintf(out, ` stroke-dasharray="%s"`, strings.Join(dashes, " "))
		}
		out.WriteString("/>\n")
	case Area:
		fmt.Fprintf(out, `<path d="%s" fill="%s"/>`+"\n", pathData(it.Points, true), it.Fill.Hex())
	case Text:
		width := f.width(it.Text, it.SizePt, it.Bold)
		fmt.Fprintf(out, `<text x="%s" y="%s" font-size="%s" textLength="%s" lengthAdjust="spacingAndGlyphs"`,
			decimal(it.left(width)), decimal(it.At.Y), decimal(it.SizePt), decimal(width))
		if it.Bold {
			out.WriteString(` font-weight="bold"`)
		}
		fmt.Fprintf(out, ` fill="%s">%s</text>`+"\n", it.Colour.Hex(), escaped(it.Text))
	}
}

func pathData(points []XY, closed bool) string {
	var b strings.Builder
	for i, p := range points {
		if i == 0 {
			b.WriteByte('M')
		} else {
			b.WriteByte('L')
		}
		b.WriteString(decimal(p.X) + " " + decimal(p.Y))
	}
	if closed {
		b.WriteByte('Z')
	}
	return b.String()
}

// decimal is a number to a hundredth of a point (4 µm), without needless digits.
func decimal(x float64) string {
	x = math.Round(x*100) / 100
	if x == 0 {
		return "0" // never -0
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// escaped is a text as XML takes it, in elements and attributes. Characters that XML has no place for are
// replaced.
func escaped(s string) string {
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;", "'", "&#39;").Replace(cleaned(s))
}
