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
	for _, sp := range tr.Pieces {
		n := int((sp.ToS-sp.FromS)/StepS) + 1
		q := Piece{FromS: sp.FromS}
		for i := range n {
			st, ok := tr.At(sp.FromS + float64(i)*StepS)
			if !ok {
				break
			}
			x, y := ax.turn(st.EM, st.NM)
			vx, vy := ax.turn(st.VE, st.VN)
			q.X, q.Y, q.VX, q.VY = append(q.X, x), append(q.Y, y), append(q.VX, vx), append(q.VY, vy)
			q.PlaceSDM = append(q.PlaceSDM, quick)
			q.SpeedSDMS = append(q.SpeedSDMS, st.Speed().SD())
		}
		if len(q.X) > 1 {
			out.Pieces = append(out.Pieces, q)
		}
	}
	return out
}
