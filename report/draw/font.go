package draw

import (
	"strings"
	"unicode/utf8"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// How far letters reach above and below the line that they stand on, in sizes: of the Go fonts' own
// header 0.94 and 0.21; brackets and accents on capitals need no more.
const ascent, descent = 0.94, 0.22

// fonts measures texts in the Go fonts (Bigelow and Holmes 2016; Latin, Greek and Cyrillic letters).
type fonts struct {
	faces  [2]*sfnt.Font // regular, bold
	buffer sfnt.Buffer
	widths map[letter]float64
}

type letter struct {
	r    rune
	bold bool
}

func newFonts() *fonts {
	f := &fonts{widths: map[letter]float64{}}
	for i, data := range [][]byte{goregular.TTF, gobold.TTF} {
		face, err := sfnt.Parse(data)
		if err != nil {
			panic("draw: the embedded font is broken: " + err.Error())
		}
		f.faces[i] = face
	}
	return f
}

func (f *fonts) face(bold bool) *sfnt.Font {
	if bold {
		return f.faces[1]
	}
	return f.faces[0]
}

// glyph is the font's shape for a letter; that of the replacement character where it has none.
func (f *fonts) glyph(r rune, bold bool) sfnt.GlyphIndex {
	i, err := f.face(bold).GlyphIndex(&f.buffer, r)
	if err != nil || i == 0 {
		i, _ = f.face(bold).GlyphIndex(&f.buffer, utf8.RuneError)
	}
	return i
}

func (f *fonts) has(r rune) bool {
	return r == utf8.RuneError || f.glyph(r, false) != f.glyph(utf8.RuneError, false) && f.glyph(r, true) != f.glyph(utf8.RuneError, true)
}

// unit is the size at which glyphs are measured: one to one in the font's own units.
func (f *fonts) unit(bold bool) fixed.Int26_6 { return fixed.I(int(f.face(bold).UnitsPerEm())) }

// advance is how far a letter moves the next on, in sizes.
func (f *fonts) advance(r rune, bold bool) float64 {
	if w, ok := f.widths[letter{r, bold}]; ok {
		return w
	}
	w := 0.5
	if a, err := f.face(bold).GlyphAdvance(&f.buffer, f.glyph(r, bold), f.unit(bold), font.HintingNone); err == nil {
		w = float64(a) / float64(f.unit(bold))
	}
	f.widths[letter{r, bold}] = w
	return w
}

// width of a text in points.
func (f *fonts) width(s string, sizePt float64, bold bool) float64 {
	var w float64
	for _, r := range s {
		w += f.advance(r, bold)
	}
	return w * sizePt
}

// fitted is s, cut with dots where it is wider than widthPt.
func (f *fonts) fitted(s string, sizePt float64, bold bool, widthPt float64) string {
	if f.width(s, sizePt, bold) <= widthPt {
		return s
	}
	for s != "" {
		_, n := utf8.DecodeLastRuneInString(s)
		s = s[:len(s)-n]
		if f.width(s+"…", sizePt, bold) <= widthPt {
			break
		}
	}
	return s + "…"
}

// wrapped breaks s at blanks into rows of at most widthPt, and within words that are wider.
func (f *fonts) wrapped(s string, sizePt float64, bold bool, widthPt float64) []string {
	var rows []string
	row := ""
	for _, word := range strings.Fields(s) {
		if row != "" && f.width(row+" "+word, sizePt, bold) > widthPt {
			rows, row = append(rows, row), ""
		}
		if row != "" {
			row += " "
		}
		for _, r := range word {
			if row != "" && f.width(row+string(r), sizePt, bold) > widthPt {
				rows, row = append(rows, row), ""
			}
			row += string(r)
		}
	}
	if row != "" {
		rows = append(rows, row)
	}
	return rows
}

// known is s with a replacement character for each letter that the font does not have.
func (f *fonts) known(s string) string {
	return strings.Map(func(r rune) rune {
		if f.has(r) {
			return r
		}
		return utf8.RuneError
	}, s)
}
