package page

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strconv"
	"strings"
)

// svg is a drawing being written. Only text, attr and title take words from outside; they escape them.
type svg struct{ b strings.Builder }

// f writes markup of the page's own; its arguments are numbers and names of classes.
func (s *svg) f(format string, args ...any) { fmt.Fprintf(&s.b, format, args...) }

// text writes a row of text at a share of the drawing, moved by pixels.
func (s *svg) text(class string, x, y, dx, dy float64, words string) {
	s.f(`<text class="%s" x="%s%%" y="%s%%" dx="%s" dy="%s">%s</text>`, class, num(100*x), num(100*y), num(dx), num(dy), html.EscapeString(cleaned(words)))
}

// symbol draws paths of pixel size at a share of the drawing, turned clockwise.
func (s *svg) symbol(x, y, deg float64, inner string) {
	s.f(`<svg x="%s%%" y="%s%%"><g transform="rotate(%s)">%s</g></svg>`, num(100*x), num(100*y), num(deg), inner)
}

func (s *svg) html() template.HTML { return template.HTML(s.b.String()) }

// num is a number with as many decimals as it needs, at most two.
func num(x float64) string {
	x = math.Round(x*100) / 100
	if x == 0 {
		return "0"
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// pathOf is a path through points in whole units, each told from the one before.
func pathOf(xs, ys []float64) string {
	var b strings.Builder
	px, py := 0, 0
	for i := range xs {
		x, y := int(math.Round(xs[i])), int(math.Round(ys[i]))
		switch {
		case i == 0:
			fmt.Fprintf(&b, "M%d %d", x, y)
		case x == px && y == py:
			continue
		default:
			b.WriteByte('l')
			b.WriteString(strconv.Itoa(x - px))
			if y >= py {
				b.WriteByte(' ')
			}
			b.WriteString(strconv.Itoa(y - py))
		}
		px, py = x, y
	}
	return b.String()
}
