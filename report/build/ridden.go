package build

import (
	"math"

	"groundline/course"
	"groundline/course/place"
	"groundline/report"
)

// riddenStep is how many steps of the path make one sample: a tenth of a second.
const riddenStep = 2

// ridden gathers the track, when each line was ridden, and the turns' circles.
func (r *ride) ridden(lines []report.Line) *report.Ridden {
	out := &report.Ridden{LineS: r.lineTimes()}
	if r.path == nil {
		return out
	}
	dist := 0.0
	for i := range r.path.Pieces {
		q := &r.path.Pieces[i]
		if len(q.X) == 0 {
			continue
		}
		out.Pieces = append(out.Pieces, len(out.TimeS))
		for k := 0; k < len(q.X); k += riddenStep {
			if k > 0 {
				dist += math.Hypot(q.X[k]-q.X[k-riddenStep], q.Y[k]-q.Y[k-riddenStep])
			}
			out.TimeS = append(out.TimeS, q.FromS+float64(k)*place.StepS)
			out.XM, out.YM = append(out.XM, q.X[k]), append(out.YM, q.Y[k])
			out.SpeedMS = append(out.SpeedMS, math.Hypot(q.VX[k], q.VY[k]))
			out.SpeedSDMS = append(out.SpeedSDMS, q.SpeedSDMS[k])
			out.DistanceM = append(out.DistanceM, dist)
			if r.surface != nil {
				out.HeightM = append(out.HeightM, r.surface.HeightAt(q.X[k], q.Y[k]))
			}
		}
	}
	for i, l := range lines {
		if l.Turn == nil || l.Turn.RadiusMinM == nil || l.Turn.TurnedDeg == nil || i >= len(out.LineS) {
			continue
		}
		if b, ok := r.bend(out.LineS[i], l.Turn.RadiusMinM.Value, l.Turn.TurnedDeg.Value); ok {
			b.Line = i
			out.Bends = append(out.Bends, b)
		}
	}
	return out
}

// lineTimes are landing and take-off of each line, in the order in which lines are told.
func (r *ride) lineTimes() [][2]float64 {
	var out [][2]float64
	if r.res != nil {
		for _, l := range r.res.Legs {
			out = append(out, [2]float64{r.efforts[l.From].landing.Value, r.efforts[l.To].takeoff.Value})
		}
		return out
	}
	if r.ev == nil {
		return out
	}
	prev := -1
	for i, j := range r.ev.Jumps {
		if j.Confidence < 0.5 {
			continue
		}
		if prev >= 0 {
			if a := r.ev.Jumps[prev].LandingS.Value; j.TakeoffS.Value-a < bareLineS {
				out = append(out, [2]float64{a, j.TakeoffS.Value})
			}
		}
		prev = i
	}
	return out
}

// The stretch that a tightest radius is measured over (detect's choice, about one stride), and the most of a
// circle that is worth drawing to either side of where it touches.
const bendM, bendMostDeg = 4.0, 60.0

// bend finds where the track turned most sharply over bendM, to the side that the line turned to.
func (r *ride) bend(s [2]float64, radiusM, turnedDeg float64) (report.Bend, bool) {
	var t, d, h []float64 // time, distance and heading of the way, the heading counted on
	for i, at := 0, s[0]; at <= s[1]; i, at = i+1, s[0]+float64(i+1)*place.StepS {
		p, ok := r.path.At(at)
		if !ok {
			return report.Bend{}, false
		}
		head := p.HeadingDeg()
		if i > 0 {
			head = h[i-1] + course.WrapDeg(head-h[i-1])
			d = append(d, d[i-1]+p.SpeedMS()*place.StepS)
		} else {
			d = append(d, 0)
		}
		t, h = append(t, at), append(h, head)
	}
	side := -1.0 // a left turn's heading falls
	if turnedDeg < 0 {
		side = 1
	}
	most, at := 0.0, -1
	j := 0
	for i := range d {
		for j < len(d) && d[j]-d[i] < bendM {
			j++
		}
		if j == len(d) {
			break
		}
		if k := side * (h[j] - h[i]) / (d[j] - d[i]); k > most {
			most, at = k, (i+j)/2
		}
	}
	if at < 0 {
		return report.Bend{}, false
	}
	p, _ := r.path.At(t[at])
	inward := p.HeadingDeg() + side*90
	sin, cos := math.Sincos(inward * math.Pi / 180)
	half := math.Min(bendMostDeg, math.Max(math.Abs(turnedDeg)/2, bendM/2/radiusM*180/math.Pi))
	return report.Bend{XM: p.X + radiusM*sin, YM: p.Y + radiusM*cos, RadiusM: radiusM, TouchDeg: course.WrapDeg(inward + 180), EitherWayDeg: half}, true
}
