package place

import (
	"math"

	"groundline/course"
	"groundline/trace/smooth"
)

// axes is the turn from east and north to the plan's axes.
type axes struct{ sin, cos float64 }

func axesOf(a *course.Anchor) axes {
	if a == nil {
		return axes{cos: 1}
	}
	s, c := math.Sincos(a.BearingDeg * math.Pi / 180)
	return axes{sin: s, cos: c}
}

func (a axes) turn(e, n float64) (x, y float64) { return e*a.cos - n*a.sin, e*a.sin + n*a.cos }

// FromTrack samples a smoothed track, whose frame has its origin at the plan's anchor, in the
// plan's axes. Without an anchor x is east and y north.
func FromTrack(tr *smooth.Track, a *course.Anchor) *Path {
	ax := axesOf(a)
	out := &Path{RateHz: tr.RateHz}
	// What the smoother leaves of the error that changes from fix to fix: a canter's way is smooth over
	// about a second, so that many fixes share it.
	quick := tr.Noise.WhiteM / math.Sqrt(0.5+math.Max(tr.RateHz, 0.5))
	for i := range tr.Pieces {
		sp := &tr.Pieces[i]
		n := int((sp.ToS-sp.FromS)/StepS) + 1
		q := Piece{FromS: sp.FromS, X: make([]float64, n), Y: make([]float64, n), VX: make([]float64, n), VY: make([]float64, n),
			PlaceSDM: make([]float64, n), SpeedSDMS: make([]float64, n)}
		moments := tr.Moments(sp, sp.FromS, StepS, n)
		for k, m := range moments {
			q.X[k], q.Y[k] = ax.turn(m.EM, m.NM)
			q.VX[k], q.VY[k] = ax.turn(m.VE, m.VN)
			q.PlaceSDM[k], q.SpeedSDMS[k] = quick, m.SpeedSDMS
		}
		if k := len(moments); k < n {
			q.X, q.Y, q.VX, q.VY, q.PlaceSDM, q.SpeedSDMS = q.X[:k], q.Y[:k], q.VX[:k], q.VY[:k], q.PlaceSDM[:k], q.SpeedSDMS[:k]
		}
		if len(q.X) > 1 {
			out.Pieces = append(out.Pieces, q)
		}
	}
	return out
}
