package build

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course/place"
)

// turning is a path straight for 8 m, round an arc and straight again, at 5 m/s.
func turning(radiusM, turnDeg float64) *ride {
	var q place.Piece
	x, y, h := 0.0, 0.0, 0.0
	side := math.Copysign(1, turnDeg)
	arc := math.Abs(turnDeg) * math.Pi / 180 * radiusM
	for d := 0.0; d < 16+arc; d += 5 * place.StepS {
		q.X, q.Y = append(q.X, x), append(q.Y, y)
		q.VX, q.VY = append(q.VX, 5*math.Sin(h)), append(q.VY, 5*math.Cos(h))
		q.PlaceSDM, q.SpeedSDMS = append(q.PlaceSDM, 0.1), append(q.SpeedSDMS, 0.1)
		if d > 8 && d < 8+arc {
			h += side * 5 * place.StepS / radiusM
		}
		x, y = x+5*place.StepS*math.Sin(h), y+5*place.StepS*math.Cos(h)
	}
	r := &ride{}
	r.path = &place.Path{Pieces: []place.Piece{q}}
	return r
}

func TestArcRadius(t *testing.T) {
	for _, radius := range []float64{5, 8, 12} {
		for _, turn := range []float64{90, -140, 180} {
			r := turning(radius, turn)
			to := r.path.Pieces[0].ToS()
			// A turn to the right is negative in turned_deg.
			e := r.arcRadius(0, to, -turn)
			require.NotNil(t, e, "%v m, %v°", radius, turn)
			require.InDelta(t, radius, e.Value, 0.12*radius)
			require.True(t, e.Low < radius*1.06 && radius*0.94 < e.High)
		}
	}
	r := turning(8, 20)
	require.Nil(t, r.arcRadius(0, r.path.Pieces[0].ToS(), -20), "hardly a turn")
	r = turning(8, 90)
	require.Nil(t, r.arcRadius(0, r.path.Pieces[0].ToS()+9, -90), "not recorded to the end")
	// Where a place is unsure by a metre a bend of 35 degrees is no arc to measure.
	r = turning(10, 35)
	for i := range r.path.Pieces[0].PlaceSDM {
		r.path.Pieces[0].PlaceSDM[i] = 1
	}
	require.Nil(t, r.arcRadius(0, r.path.Pieces[0].ToS(), -35))
}

// Straightness of a way along the x axis that weaves by a sine of 0.5 m is the sine's own spread, 0.5/√2, over whole waves; of
// a track shorter than asked for it is unknown.
func TestStraightOver(t *testing.T) {
	q := place.Piece{}
	for i := range 200 {
		x := 5 * float64(i) * place.StepS // 5 m/s
		q.X, q.Y = append(q.X, x), append(q.Y, 0.5*math.Sin(2*math.Pi*x/2.5))
		q.VX, q.VY = append(q.VX, 5), append(q.VY, 0)
		q.PlaceSDM, q.SpeedSDMS = append(q.PlaceSDM, 0), append(q.SpeedSDMS, 0)
	}
	r := &ride{}
	r.path = &place.Path{Pieces: []place.Piece{q}}
	got := r.straightOver(q.ToS(), 25)
	require.NotNil(t, got)
	require.InDelta(t, 0.5/math.Sqrt2, got.Value, 0.02)
	require.Nil(t, r.straightOver(q.ToS(), 200))
}
