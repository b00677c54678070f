// Package place lays the plan under a recorded ride.
//
// A receiver's places are off by metres, nearly the same metres all ride long, and
// the error creeps. So the plan is moved until the jumps happen over obstacles:
// along the track the middle of a flight lies near the middle of its obstacle,
// across it the horse keeps near the middle of the face. What is fitted is a
// shift, a small turn, a creeping drift and the receiver's lag ([Fit]), all at
// once and with their doubt. [Path] is the ride as the plan's axes see it.
package place

import (
	"math"
	"slices"
)

// StepS is the even time step at which a Path is sampled: at 7 m/s a step is 0.35 m, and what
// lies between two samples is read off by cubic interpolation.
const StepS = 0.05

// Path is a ride in the plan's axes (metres, x right, y forward), sampled evenly within each
// piece. Pieces are what gaps in the recording leave; nothing is read across a gap.
type Path struct {
	Pieces []Piece
	RateHz float64 // of the fixes that it was smoothed from
}

// Piece is an unbroken stretch of a Path; sample i lies at FromS + i*StepS.
type Piece struct {
	FromS        float64
	X, Y, VX, VY []float64
	PlaceSDM     []float64 // of one axis, without the receiver's slow error
	SpeedSDMS    []float64
}

// ToS is the time of the piece's last sample.
func (p *Piece) ToS() float64 { return p.FromS + float64(len(p.X)-1)*StepS }

// Sample is the ride at one instant, in the plan's axes.
type Sample struct {
	X, Y, VX, VY        float64
	PlaceSDM, SpeedSDMS float64
}

// SpeedMS is the speed over ground.
func (s Sample) SpeedMS() float64 { return math.Hypot(s.VX, s.VY) }

// HeadingDeg is the direction of travel, clockwise from the plan's +y, [-180, 180].
func (s Sample) HeadingDeg() float64 { return math.Atan2(s.VX, s.VY) * 180 / math.Pi }

// At is the path at time t; false where nothing was recorded.
func (p *Path) At(t float64) (Sample, bool) {
	for i := range p.Pieces {
		q := &p.Pieces[i]
		if t < q.FromS-1e-9 || t > q.ToS()+1e-9 || len(q.X) == 0 {
			continue
		}
		f := (t - q.FromS) / StepS
		k := min(max(int(f), 0), len(q.X)-1)
		if k == len(q.X)-1 {
			return q.sample(k), true
		}
		u := f - float64(k)
		a, b := q.sample(k), q.sample(k+1)
		// Cubic Hermite: places and velocities at both ends hold.
		h00, h10 := (1+2*u)*(1-u)*(1-u), u*(1-u)*(1-u)*StepS
		h01, h11 := u*u*(3-2*u), u*u*(u-1)*StepS
		return Sample{
			X: h00*a.X + h10*a.VX + h01*b.X + h11*b.VX, Y: h00*a.Y + h10*a.VY + h01*b.Y + h11*b.VY,
			VX: a.VX + u*(b.VX-a.VX), VY: a.VY + u*(b.VY-a.VY),
			PlaceSDM: a.PlaceSDM + u*(b.PlaceSDM-a.PlaceSDM), SpeedSDMS: a.SpeedSDMS + u*(b.SpeedSDMS-a.SpeedSDMS),
		}, true
	}
	return Sample{}, false
}

func (p *Piece) sample(k int) Sample {
	return Sample{X: p.X[k], Y: p.Y[k], VX: p.VX[k], VY: p.VY[k], PlaceSDM: p.PlaceSDM[k], SpeedSDMS: p.SpeedSDMS[k]}
}

// LengthM is the way along the path from time a to time b; false where a gap lies between.
func (p *Path) LengthM(a, b float64) (float64, bool) {
	var sum float64
	prev, ok := p.At(a)
	if !ok {
		return 0, false
	}
	for t := a; t < b; {
		t = math.Min(t+StepS, b)
		next, ok := p.At(t)
		if !ok {
			return 0, false
		}
		sum += math.Hypot(next.X-prev.X, next.Y-prev.Y)
		prev = next
	}
	return sum, true
}

// Median is the middle value of x, or the mean of the two middle ones; x is not changed and must
// not be empty.
func Median(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}
