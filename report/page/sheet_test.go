package page

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/report"
	"groundline/report/draw"
)

// Every kind of ride that has a plan or a track is drawn, the same each time, and every text begins on the sheet.
func TestSheetOfEveryKindOfRide(t *testing.T) {
	for _, r := range rides(t) {
		t.Run(r.name, func(t *testing.T) {
			d, err := Sheet(r.d, Options{})
			if r.d.Plan == nil && (r.d.Ridden == nil || len(r.d.Ridden.TimeS) == 0) {
				require.ErrorIs(t, err, ErrNothingToDraw)
				return
			}
			require.NoError(t, err)
			for _, write := range []func(*bytes.Buffer) error{
				func(b *bytes.Buffer) error { return draw.WriteSVG(b, d) }, func(b *bytes.Buffer) error { return draw.WritePDF(b, d) },
			} {
				var first, second bytes.Buffer
				require.NoError(t, write(&first))
				require.NoError(t, write(&second))
				require.Equal(t, first.Bytes(), second.Bytes())
				require.NotEmpty(t, first.Bytes())
			}
			lowest := 0.0
			for _, g := range d.Groups {
				for _, it := range g.Items {
					if text, ok := it.(draw.Text); ok {
						require.True(t, text.At.X >= 0 && text.At.X < d.WidthPt && text.At.Y > 0 && text.At.Y <= d.HighPt-edgePt+smallRowPt, "%q at %v", text.Text, text.At)
						lowest = max(lowest, text.At.Y)
					}
				}
			}
			require.Contains(t, textsOf(d), "vet.") // the cautions always find room
		})
	}
}

func textsOf(d *draw.Drawing) string {
	var out []string
	for _, g := range d.Groups {
		for _, it := range g.Items {
			if text, ok := it.(draw.Text); ok {
				out = append(out, text.Text)
			}
		}
	}
	return strings.Join(out, "\n")
}

// The sheet is to scale: the arena's 80 m are as long as the bar says that 20 m are.
func TestSheetIsToScale(t *testing.T) {
	ride := loops(1, 2, 0)
	d, err := Sheet(ride, Options{})
	require.NoError(t, err)
	a, b := d.At(ride.Plan.Arena[0]), d.At(ride.Plan.Arena[1])
	require.InDelta(t, 80*d.PtPerM, b.X-a.X, 1e-9)
	denominator := ptPerMAtOne / d.PtPerM
	require.InDelta(t, 0, denominator-scaleStep*float64(int(denominator/scaleStep+0.5)), 1e-6)
	radius := 0.0
	for _, g := range d.Groups {
		for _, it := range g.Items {
			if l, ok := it.(draw.Line); ok && g.Name == "turns" {
				radius = max(radius, math.Hypot(l.Points[1].X-l.Points[0].X, l.Points[1].Y-l.Points[0].Y))
			}
		}
	}
	require.InDelta(t, 25*d.PtPerM, radius, 1e-6)
	require.Contains(t, textsOf(d), fmt.Sprintf("20 m; 1 : %.0f on A4", denominator))
}

// The colours are the page's.
func TestSheetHasThePagesColours(t *testing.T) {
	for k, c := range speedColours() {
		require.Contains(t, pageCSS, fmt.Sprintf("--k%d:%s", k, c.Hex()))
	}
	for name, c := range map[string]draw.Colour{"ink": ink(), "quiet": quiet(), "arena": arena(), "accent": accent()} {
		require.Contains(t, pageCSS, "--"+name+":"+c.Hex())
	}
}

func TestSheetInFeet(t *testing.T) {
	d, err := Sheet(loops(1, 2, 0), Options{Units: report.Imperial})
	require.NoError(t, err)
	require.Contains(t, textsOf(d), "50 ft; ")
	require.Contains(t, textsOf(d), "Each, ft")
}
