package place

import (
	"errors"
	"math"

	"groundline/course"
	"groundline/trace"
)

// Over is one jump held against one obstacle: where the track was at the middle of the flight.
type Over struct {
	MidS     float64 // middle of the flight
	Obstacle course.Obstacle
	At       Sample // the path at MidS
	// Timed tells that MidS comes from a motion sensor. Where the time was itself read off the
	// path (the moment it passes the obstacle) the track says nothing along its direction, and
	// only the distance across counts.
	Timed bool
}

// Options are what is known about such recordings beforehand. Zero values are replaced by [Defaults].
type Options struct {
	ShiftSDM    float64 // of the constant offset, one axis
	TurnSDDeg   float64 // of the anchor's bearing
	WanderM     float64 // standard deviation of the creeping error, one axis; 0: found from the ride …
	WanderUsual float64 // … as a usual size, metres, which the ride may change by half
	WanderTauS  float64 // its time constant
	LagSDS      float64 // of the receiver's lag
	AheadM      float64 // middle of the sensor's flight beyond the middle of the obstacle …
	AheadSDM    float64 // … its doubt from horse to horse
	JumpAlongSD float64 // … and from jump to jump, metres
	JumpAcrosSD float64 // how far off the middle of the face horses jump, metres
}

// For is what is known of a receiver by its rate: a watch at one fix a second creeps by a metre or so, a
// logger at 4 Hz or more by half of that (Gloersen et al. 2018: 5.3 m against 1.0 m in all, of which most is
// the constant part).
func For(rateHz float64) Options {
	o := Defaults()
	if rateHz >= 4 {
		o.WanderUsual = 0.6
	}
	return o
}

// Defaults: receivers are off by 1-5 m and their error keeps its value for about a minute
// (Gloersen et al. 2018; the time constant of 60 s after stationary tests). A trunk lies about
// 1.2 m ahead of the hind hooves at take-off (Colborne et al. 1995: 1.11-1.30 m to the centre of
// mass) and close behind the fore hooves at landing, so the middle of its flight lies ahead of the
// middle of the hooves' by some 0.35 m. The spreads of single jumps, 0.3 m along and 0.4 m across,
// are common practice: a horse presented straight jumps the middle of the fence.
func Defaults() Options {
	return Options{ShiftSDM: 4, TurnSDDeg: 2, WanderUsual: 1, WanderTauS: 60, LagSDS: 0.3,
		AheadM: 0.35, AheadSDM: 0.15, JumpAlongSD: 0.3, JumpAcrosSD: 0.4}
}

// Placement is where the plan lies under the ride.
type Placement struct {
	// ShiftX and ShiftY move the course, in its own axes, to lie under the track.
	ShiftX, ShiftY trace.Estimate
	// TurnDeg turns it clockwise about Centre.
	TurnDeg trace.Estimate
	Centre  course.Point
	// LagS is how late the positions are; only with Timed jumps.
	LagS trace.Estimate
	// WanderM is the creeping error found, standard deviation of one axis.
	WanderM float64
	// ResidualM is the root mean square of what is left at the obstacles, along and across.
	ResidualM float64
	// ResidualsM holds, per jump, what is left along and across.
	ResidualsM [][2]float64
	N          int
	// LogFit is the log prior density, up to a constant, of the offsets found: a placement that needs
	// a great shift or a restless receiver pays for it here.
	LogFit float64

	opt   Options
	creep *creep
}

// ErrNothingOver is returned when there is no jump to place the plan by.
var ErrNothingOver = errors.New("place: no jump at a known obstacle to place the plan by")

const deg = math.Pi / 180

// The columns of the design: shift x, shift y, ahead, lag, turn.
const nBeta = 5

func (p *Placement) prior() [nBeta]float64 {
	o := p.opt
	return [nBeta]float64{o.ShiftSDM * o.ShiftSDM, o.ShiftSDM * o.ShiftSDM, o.AheadSDM * o.AheadSDM,
		o.LagSDS * o.LagSDS, o.TurnSDDeg * deg * o.TurnSDDeg * deg}
}

// design is the pair of rows (x, y) of one jump.
func (p *Placement) design(v Over) (bx, by [nBeta]float64) {
	s, c := math.Sincos(v.Obstacle.FacingDeg * deg)
	bx = [nBeta]float64{1, 0, s, -v.At.VX, v.Obstacle.At.Y - p.Centre.Y}
	by = [nBeta]float64{0, 1, c, -v.At.VY, -(v.Obstacle.At.X - p.Centre.X)}
	if !v.Timed {
		bx[2], bx[3], by[2], by[3] = 0, 0, 0, 0
	}
	return bx, by
}

// Fit places the plan by jumps whose obstacles are known. It is generalised least squares with
// the creeping error as an Ornstein-Uhlenbeck process, by a Kalman smoother, and weights after Student's t with four degrees
// of freedom so that one wrong match can't drag the course (Lange, Little & Taylor 1989).
func Fit(overs []Over, centre course.Point, opt Options) (*Placement, error) {
	if len(overs) == 0 {
		return nil, ErrNothingOver
	}
	wanders := []float64{opt.WanderM}
	if opt.WanderM == 0 {
		wanders = nil
		for _, f := range []float64{0.4, 0.6, 0.85, 1.2, 1.7, 2.4} {
			wanders = append(wanders, f*opt.WanderUsual)
		}
	}
	var best *Placement
	var tries []*Placement
	var scores []float64
	for _, w := range wanders {
		o := opt
		o.WanderM = w
		p, logML, err := fitOne(overs, centre, o)
		if err != nil {
			return nil, err
		}
		// A prior about the usual size keeps a ride with few jumps from claiming none or a lot.
		s := logML
		if len(wanders) > 1 {
			s -= math.Pow(math.Log(w/opt.WanderUsual)/0.45, 2) / 2
		}
		if best == nil || s > scores[bestOf(scores)] {
			best = p
		}
		tries, scores = append(tries, p), append(scores, s)
	}
	// How restless the receiver was is a guess too: what is told carries the doubt of all guesses, each by
	// its probability.
	top := scores[bestOf(scores)]
	for i := range scores {
		scores[i] = math.Exp(scores[i] - top)
	}
	for _, of := range []func(*Placement) *trace.Estimate{
		func(p *Placement) *trace.Estimate { return &p.ShiftX },
		func(p *Placement) *trace.Estimate { return &p.ShiftY },
		func(p *Placement) *trace.Estimate { return &p.TurnDeg },
		func(p *Placement) *trace.Estimate { return &p.LagS },
	} {
		var sum, mean, square float64
		for i, p := range tries {
			e := of(p)
			sum += scores[i]
			mean += scores[i] * e.Value
			square += scores[i] * (e.SD()*e.SD() + e.Value*e.Value)
		}
		mean /= sum
		*of(best) = trace.FromSD(mean, math.Sqrt(math.Max(square/sum-mean*mean, 0)))
	}
	return best, nil
}

func bestOf(x []float64) int {
	k := 0
	for i, v := range x {
		if v > x[k] {
			k = i
		}
	}
	return k
}

func fitOne(overs []Over, centre course.Point, opt Options) (*Placement, float64, error) {
	n := len(overs)
	p := &Placement{opt: opt, Centre: centre, N: n, WanderM: opt.WanderM}
	robust := make([]float64, n)
	times := make([]float64, n)
	rows := make([][2]reading, n) // along and across, of weight 1
	for i, v := range overs {
		robust[i] = 1
		times[i] = v.MidS
		rows[i] = p.rows(v)
	}
	for iter := range 4 {
		p.creep = creepOf(p.prior(), opt.WanderM, opt.WanderTauS, times, func(i int) [2]reading {
			r := rows[i]
			r[0].noise /= robust[i]
			r[1].noise /= robust[i]
			return r
		})
		if bad := p.creep.logML; math.IsNaN(bad) || math.IsInf(bad, 0) {
			return nil, 0, errors.New("place: the placement is ill-conditioned")
		}
		p.ResidualsM = p.ResidualsM[:0]
		// The prior's log density at the fit: half of what the residuals leave of the innovations' squares.
		p.LogFit = -p.creep.square / 2
		var ss float64
		var count int
		for i, v := range overs {
			// What is left after shift, turn, drift, lag.
			x := p.creep.meanAt(times[i])
			al, ac := rows[i][0].left(&x), rows[i][1].left(&x)
			p.LogFit += robust[i] * (al*al/rows[i][0].noise + ac*ac/rows[i][1].noise) / 2
			if !v.Timed {
				al = 0
			} else {
				ss += al * al
				count++
			}
			ss += ac * ac
			count++
			p.ResidualsM = append(p.ResidualsM, [2]float64{al, ac})
			r2 := ac*ac/rows[i][1].noise + al*al/rows[i][0].noise
			if iter < 3 {
				robust[i] = math.Min(1, (4+2)/(4+r2))
			}
		}
		p.ResidualM = math.Sqrt(ss / float64(count))
	}
	last := &p.creep.knots[n-1]
	of := func(k int, unit float64) trace.Estimate {
		return trace.FromSD(last.smooth[k]/unit, math.Sqrt(math.Max(last.smoothCov[k][k], 0))/unit)
	}
	p.ShiftX, p.ShiftY, p.LagS, p.TurnDeg = of(0, 1), of(1, 1), of(3, 1), of(4, deg)
	return p, p.creep.logML, nil
}

// rows are what one jump says along and across its obstacle's face.
func (p *Placement) rows(v Over) [2]reading {
	s, c := math.Sincos(v.Obstacle.FacingDeg * deg)
	bx, by := p.design(v)
	ahead := p.opt.AheadM
	if !v.Timed {
		ahead = 0
	}
	x := v.At.X - v.Obstacle.At.X - ahead*s
	y := v.At.Y - v.Obstacle.At.Y - ahead*c
	l, a := p.noiseSD(v)
	along, across := reading{z: x*s + y*c, noise: l * l}, reading{z: x*c - y*s, noise: a * a}
	for k := range nBeta {
		along.h[k], across.h[k] = bx[k]*s+by[k]*c, bx[k]*c-by[k]*s
	}
	along.h[wanderX], along.h[wanderY] = s, c
	across.h[wanderX], across.h[wanderY] = c, -s
	return [2]reading{along, across}
}

// left is what a state leaves of a reading.
func (r *reading) left(x *state) float64 {
	left := r.z
	for i := range nState {
		left -= r.h[i] * x[i]
	}
	return left
}

// noiseSD is the spread of one jump along and across, its place on the smoothed track included.
func (p *Placement) noiseSD(v Over) (along, across float64) {
	s2 := v.At.PlaceSDM * v.At.PlaceSDM
	along = math.Sqrt(p.opt.JumpAlongSD*p.opt.JumpAlongSD + s2)
	if !v.Timed {
		along = 1e3 // says nothing
	}
	return along, math.Sqrt(p.opt.JumpAcrosSD*p.opt.JumpAcrosSD + s2)
}

// Offset is what to take off a place recorded at time t near (x, y) to get the plan's, with the
// standard deviation of either axis.
func (p *Placement) Offset(t, x, y float64) (dx, dy, sdx, sdy float64) {
	m, cov := p.creep.at(t)
	dx, sdx = offsetOf(&m, &cov, 0, y-p.Centre.Y, wanderX)
	dy, sdy = offsetOf(&m, &cov, 1, -(x - p.Centre.X), wanderY)
	return dx, dy, sdx, sdy
}

// offsetOf is the shift of one axis, what the turn adds so far from the centre, and the creeping error.
func offsetOf(m *state, cov *stateCov, shift int, turned float64, wander int) (d, sd float64) {
	h := state{4: turned}
	h[shift], h[wander] = 1, 1
	ph := cov.times(&h)
	var v float64
	for i := range nState {
		d += h[i] * m[i]
		v += h[i] * ph[i]
	}
	return d, math.Sqrt(math.Max(v, 0))
}

// shift is Offset without its doubt, which costs far more.
func (p *Placement) shift(t, x, y float64) (dx, dy float64) {
	m := p.creep.meanAt(t)
	return m[0] + m[4]*(y-p.Centre.Y) + m[wanderX], m[1] - m[4]*(x-p.Centre.X) + m[wanderY]
}

// Lay moves the path onto the plan: every sample less the offset at its time, and earlier by the lag.
func (p *Placement) Lay(path *Path) *Path {
	out := &Path{RateHz: path.RateHz, Pieces: make([]Piece, 0, len(path.Pieces))}
	for _, q := range path.Pieces {
		r := q
		r.FromS = q.FromS - p.LagS.Value
		r.X, r.Y = make([]float64, len(q.X)), make([]float64, len(q.Y))
		// The offset creeps over a minute: once a second is plenty, linear between.
		every := int(math.Round(1 / StepS))
		var dx0, dy0, dx1, dy1 float64
		for i := range q.X {
			if i%every == 0 {
				t0 := q.FromS + float64(i)*StepS
				if i == 0 {
					dx0, dy0 = p.shift(t0, q.X[i], q.Y[i])
				} else {
					dx0, dy0 = dx1, dy1
				}
				j := min(i+every, len(q.X)-1)
				dx1, dy1 = p.shift(t0+1, q.X[j], q.Y[j])
			}
			u := float64(i%every) / float64(every)
			r.X[i] = q.X[i] - dx0 - u*(dx1-dx0)
			r.Y[i] = q.Y[i] - dy0 - u*(dy1-dy0)
		}
		out.Pieces = append(out.Pieces, r)
	}
	return out
}
