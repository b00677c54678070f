package draw

import (
	"bytes"
	"compress/zlib"
	"encoding/xml"
	"image"
	"image/png"
	"io"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/require"
	"golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"pgregory.net/rapid"

	"groundline/course"
	"groundline/trace/testkit"
)

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	testkit.Golden(t, filepath.Join("testdata", name), got)
}

func svg(t require.TestingT, d *Drawing) []byte {
	var b bytes.Buffer
	require.NoError(t, WriteSVG(&b, d))
	return b.Bytes()
}

// sample has one item of every sort.
func sample() *Drawing {
	d := &Drawing{Title: "Sample", Description: "One of each.", WidthPt: 100, HighPt: 50}
	d.Add("shapes",
		Area{rectangle(XY{20, 20}, 20, 10), Colour{200, 0, 0}},
		Line{Points: []XY{{50, 10}, {90, 10}, {90, 40}}, WidthPt: 2, Colour: ink},
		Line{Points: []XY{{50, 20}, {80, 20}}, WidthPt: 2, Colour: track, DashPt: []float64{6, 4}},
		Line{Points: disc(XY{65, 35}, 5), Closed: true, WidthPt: 1, Colour: ground})
	d.Add("words", Text{At: XY{5, 45}, SizePt: 8, Bold: true, Text: "Größe & <Łódź>"})
	return d
}

func TestWriters(t *testing.T) {
	d := sample()
	golden(t, "sample.svg", svg(t, d))

	var p bytes.Buffer
	require.NoError(t, WritePNG(&p, d))
	m, err := png.Decode(bytes.NewReader(p.Bytes()))
	require.NoError(t, err)
	require.Equal(t, image.Pt(278, 139), m.Bounds().Size(), "100 by 50 points at 200 dots an inch")
	at := func(x, y float64) Colour {
		r, g, b, _ := m.At(int(x*200/72), int(y*200/72)).RGBA()
		return Colour{uint8(r >> 8), uint8(g >> 8), uint8(b >> 8)}
	}
	require.Equal(t, Colour{200, 0, 0}, at(20, 20))
	require.Equal(t, Colour{200, 0, 0}, at(11, 16), "near the area's corner")
	require.Equal(t, paper, at(8, 20), "left of the area")
	require.Equal(t, ink, at(70, 10), "on the line")
	require.Equal(t, ink, at(90, 10), "at its corner")
	require.Equal(t, paper, at(70, 12.5), "beside the line")
	require.Equal(t, track, at(53, 20), "in the first dash")
	require.Equal(t, paper, at(58, 20), "in the first gap")
	require.Equal(t, track, at(63, 20), "in the second dash")
	require.Equal(t, paper, at(65, 35), "in the ring")
	inked := 0
	for x := 5.0; x < 60; x += 0.36 {
		for y := 38.0; y < 46; y += 0.36 {
			if at(x, y).R < 128 {
				inked++
			}
		}
	}
	require.Greater(t, inked, 300, "letters")
	// 200 dots an inch are 7874 a metre; the chunk stands before the picture's data.
	phys := bytes.Index(p.Bytes(), []byte("pHYs\x00\x00\x1e\xc2\x00\x00\x1e\xc2\x01"))
	require.Greater(t, bytes.Index(p.Bytes(), []byte("IDAT")), phys)
	require.Positive(t, phys)

	var f bytes.Buffer
	require.NoError(t, WritePDF(&f, d))
	require.True(t, bytes.HasPrefix(f.Bytes(), []byte("%PDF-")))
	require.Contains(t, f.String(), "/MediaBox [0 0 100.00 50.00]")
	require.Equal(t, 1, bytes.Count(f.Bytes(), []byte("/Type /Page\n")))
	require.Contains(t, pdfStreams(t, f.Bytes()), utf16be("Größe & <Łódź>"), "text stays text")
}

// pdfStreams are the unpacked streams of a PDF, the escapes of its strings undone.
func pdfStreams(t *testing.T, data []byte) string {
	var out strings.Builder
	for {
		_, rest, ok := bytes.Cut(data, []byte("stream\n"))
		if !ok {
			return strings.NewReplacer(`\(`, "(", `\)`, ")", `\\`, `\`, `\r`, "\r").Replace(out.String())
		}
		if r, err := zlib.NewReader(bytes.NewReader(rest)); err == nil {
			s, err := io.ReadAll(r)
			require.NoError(t, err)
			out.Write(s)
		}
		data = rest
	}
}

func utf16be(s string) string {
	var b strings.Builder
	for _, u := range utf16.Encode([]rune(s)) {
		b.WriteByte(byte(u >> 8))
		b.WriteByte(byte(u))
	}
	return b.String()
}

func TestSameBytesEachRun(t *testing.T) {
	for name, write := range map[string]func(io.Writer, *Drawing) error{"svg": WriteSVG, "png": WritePNG, "pdf": WritePDF} {
		var a, b bytes.Buffer
		require.NoError(t, write(&a, PlanSheet(read(t, fullPlan), Options{})))
		require.NoError(t, write(&b, PlanSheet(read(t, fullPlan), Options{})))
		require.True(t, bytes.Equal(a.Bytes(), b.Bytes()), name)
	}
}

func TestWritersRefuseWhatLiesNowhere(t *testing.T) {
	for _, bad := range []Item{
		Line{Points: []XY{{0, 0}, {math.NaN(), 1}}, WidthPt: 1},
		Area{Points: []XY{{0, 0}, {1, math.Inf(1)}, {1, 0}}},
		Text{At: XY{math.NaN(), 0}, SizePt: 5, Text: "a"},
		Line{}, // no points
	} {
		for _, write := range []func(io.Writer, *Drawing) error{WriteSVG, WritePNG, WritePDF} {
			d := sample()
			d.Add("bad", bad)
			require.ErrorContains(t, write(io.Discard, d), `"bad"`)
		}
	}
	require.Error(t, WritePNG(io.Discard, &Drawing{WidthPt: 1e7, HighPt: 10}), "no picture of gigabytes")
	require.Error(t, WriteSVG(io.Discard, &Drawing{WidthPt: math.NaN(), HighPt: 10}))
}

// What stands in the file is what a reader of XML gets back, whatever the text.
func TestTextsAreEscaped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.String().Draw(t, "text")
		d := &Drawing{Title: s, Description: s, WidthPt: 10, HighPt: 10}
		d.Add("words", Text{SizePt: 5, Text: s})
		var got struct {
			Label string `xml:"aria-label,attr"`
			Title string `xml:"title"`
			Desc  string `xml:"desc"`
			Group struct {
				Text string `xml:"text"`
			} `xml:"g"`
		}
		require.NoError(t, xml.Unmarshal(svg(t, d), &got))
		for _, v := range []string{got.Label, got.Title, got.Desc, got.Group.Text} {
			require.Equal(t, cleaned(s), v)
		}
		require.NoError(t, WritePDF(io.Discard, d))
		require.NoError(t, WritePNG(io.Discard, d))
	})
	require.Equal(t, "a b\uFFFDc\uFFFD", cleaned("a\nb\x1bc\xff"))
}

func TestDashes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		on, off := rapid.Float64Range(0.5, 9).Draw(t, "on"), rapid.Float64Range(0.5, 9).Draw(t, "off")
		var points []XY
		for range rapid.IntRange(2, 6).Draw(t, "n") {
			points = append(points, XY{rapid.Float64Range(0, 50).Draw(t, "x"), rapid.Float64Range(0, 50).Draw(t, "y")})
		}
		total, dashes := long(points), 0.0
		for _, d := range dashed(points, []float64{on, off}) {
			require.LessOrEqual(t, long(d), on+1e-6)
			dashes += long(d)
		}
		// Whole periods have their dash, the rest begins with one.
		whole := math.Floor(total / (on + off))
		require.InDelta(t, whole*on+min(on, total-whole*(on+off)), dashes, 1e-6)
	})
}

func long(points []XY) (l float64) {
	for i := 1; i < len(points); i++ {
		l += math.Hypot(points[i].X-points[i-1].X, points[i].Y-points[i-1].Y)
	}
	return l
}

func TestRowsOfText(t *testing.T) {
	f := newFonts()
	// The font library measures the same by its own way, to its grid of 1/64 point.
	face, err := opentype.NewFace(f.faces[1], &opentype.FaceOptions{Size: 100, DPI: 72})
	require.NoError(t, err)
	for _, s := range []string{"", "M", "21.95 m walked", "Łódź – Größe"} {
		require.InDelta(t, float64(font.MeasureString(face, s))/64, f.width(s, 100, true), 0.02*float64(len(s)))
	}
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringMatching(`[a-zA-Zäß ]{0,80}`).Draw(t, "s")
		w := rapid.Float64Range(15, 200).Draw(t, "w")
		rows := f.wrapped(s, 8, false, w)
		for _, r := range rows {
			require.LessOrEqual(t, f.width(r, 8, false), w)
		}
		require.Equal(t, strings.ReplaceAll(s, " ", ""), strings.ReplaceAll(strings.Join(rows, ""), " ", ""), "no letter is lost")
		require.LessOrEqual(t, f.width(f.fitted(s, 8, false, w), 8, false), w)
	})
	require.Equal(t, "abc", f.fitted("abc", 8, false, 100))
}

func TestMissingLetters(t *testing.T) {
	d := sample()
	require.Empty(t, d.MissingLetters(), "Latin letters with accents are there")
	d.Add("words", Text{SizePt: 5, Text: "Ωж 漢字漢"})
	require.Equal(t, []rune("漢字"), d.MissingLetters())
}

// Contrast of two colours (WCAG 2.2, relative luminance and contrast ratio).
func contrast(a, b Colour) float64 {
	luminance := func(c Colour) float64 {
		part := func(v uint8) float64 {
			x := float64(v) / 255
			if x <= 0.04045 {
				return x / 12.92
			}
			return math.Pow((x+0.055)/1.055, 2.4)
		}
		return 0.2126*part(c.R) + 0.7152*part(c.G) + 0.0722*part(c.B)
	}
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func TestColoursCanBeRead(t *testing.T) {
	require.InDelta(t, 21, contrast(ink, paper), 1e-9)
	require.InDelta(t, 8.4, contrast(track, paper), 0.05)
	require.InDelta(t, 5.3, contrast(ground, paper), 0.1)
}

// Every two kinds differ in shape: with all ink black they are not the same drawing, at any usual scale.
func TestKindsDifferInShape(t *testing.T) {
	for _, scale := range []float64{2.5, 7, 28} { // points a metre
		seen := map[string]course.Kind{}
		for _, k := range course.Kinds() {
			items := symbol(k, axesOf(XY{50, 50}, 30), 3.5*scale, 1*scale)
			shape := ""
			for _, it := range items {
				switch it := it.(type) {
				case Line:
					require.Equal(t, ink, it.Colour)
					shape += pathData(it.Points, it.Closed)
				case Area:
					require.True(t, it.Fill == ink || it.Fill == paper, "%s", k)
					shape += pathData(it.Points, true) + it.Fill.Hex()
				}
			}
			require.NotContains(t, seen, shape)
			seen[shape] = k
		}
	}
}

func TestScales(t *testing.T) {
	require.Equal(t, 50.0, scaleFor(1e9), "never larger")
	rapid.Check(t, func(t *rapid.T) {
		most := rapid.Float64Range(0.001, 56).Draw(t, "points a metre")
		n := scaleFor(most)
		require.LessOrEqual(t, ptPerMOfOne/n, most*(1+1e-12), "it fits")
		require.GreaterOrEqual(t, ptPerMOfOne/n, most/1.34-1e-9, "and wastes little")
		require.InDelta(t, 0, math.Remainder(n, math.Pow(10, math.Floor(math.Log10(n)))/4), 1e-6, "a round number")
	})
}
