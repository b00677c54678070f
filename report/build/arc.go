package build

import (
	"math"

	"groundline/course"
	"groundline/course/place"
	"groundline/detect"
	"groundline/trace"
)

// An arc is the stretch about the tightest place in which the way bends at least this share of as much as there.
const arcShare = 0.6

// arcRadius is the radius of the circle through the tight part of a turn, fitted to the places by Taubin's
// method: nothing of it comes from headings, so it checks the tightest radius, than which it is a little larger.
// It is nil where the arc's sagitta L²/8R is not three times as large as the doubt of a place, since the radius
// is as unsure as the sagitta (dR/R = ds/s), or where the way hardly turns.
func (r *ride) arcRadius(from, to, turnedDeg float64) *trace.Estimate {
	if math.Abs(turnedDeg) < 30 {
		return nil
	}
	var p []place.Sample
	var dist []float64
	for t := from; t <= to; t += place.StepS {
		s, ok := r.path.At(t)
		if !ok {
			return nil
		}
		d := 0.0
		if n := len(p); n > 0 {
			d = dist[n-1] + math.Hypot(s.X-p[n-1].X, s.Y-p[n-1].Y)
		}
		p, dist = append(p, s), append(dist, d)
	}
	// Bend over 4 m about each sample, to the side of the whole turn (right positive).
	const overM = 4.0
	side := -math.Copysign(1, turnedDeg)
	bend := make([]float64, len(p))
	most := -1
	for i, j, k := 0, 0, 0; i < len(p); i++ {
		for j < i && dist[i]-dist[j] > overM/2 {
			j++
		}
		for k < len(p)-1 && dist[k]-dist[i] < overM/2 {
			k++
		}
		if dist[k]-dist[j] > overM/2 {
			bend[i] = side * course.WrapDeg(p[k].HeadingDeg()-p[j].HeadingDeg()) / (dist[k] - dist[j])
		}
		if most < 0 || bend[i] > bend[most] {
			most = i
		}
	}
	if most < 0 || bend[most] <= 0 {
		return nil
	}
	a, b := most, most
	for a > 0 && bend[a-1] >= arcShare*bend[most] {
		a--
	}
	for b < len(p)-1 && bend[b+1] >= arcShare*bend[most] {
		b++
	}
	var x, y []float64
	for i := a; i <= b; i += 2 {
		x, y = append(x, p[i].X), append(y, p[i].Y)
	}
	c, ok := detect.FitTaubin(x, y)
	if !ok {
		return nil
	}
	var ss float64
	for i := range x {
		ss += sq(math.Hypot(x[i]-c.EM, y[i]-c.NM) - c.RadiusM)
	}
	// The smoothed places hang together over half a second, so that their doubt hardly averages out.
	doubt := math.Hypot(p[most].PlaceSDM/2, math.Sqrt(ss/float64(len(x))))
	sagitta := c.RadiusM * (1 - math.Cos(math.Min((dist[b]-dist[a])/c.RadiusM/2, math.Pi)))
	if sagitta < 3*doubt {
		return nil
	}
	e := trace.FromSD(c.RadiusM, c.RadiusM*doubt/sagitta)
	e.Low = math.Max(e.Low, 0)
	return &e
}
