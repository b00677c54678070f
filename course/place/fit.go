package place

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"

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

	opt     Options
	overs   []Over
	weights []float64 // K⁻¹ y
	chol    *mat.Cholesky
	times   []float64
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
// the creeping error as an Ornstein-Uhlenbeck process (a Gaussian process, Rasmussen & Williams
// 2006, eqs 2.25-2.26 with the explicit basis of section 2.7), and weights after Student's t with four degrees
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
	p := &Placement{opt: opt, overs: overs, Centre: centre, N: n, WanderM: opt.WanderM}
	pri := p.prior()
	robust := make([]float64, n)
	y := make([]float64, 2*n)
	for i, v := range overs {
		robust[i] = 1
		s, c := math.Sincos(v.Obstacle.FacingDeg * deg)
		ahead := opt.AheadM
		if !v.Timed {
			ahead = 0
		}
		y[2*i] = v.At.X - v.Obstacle.At.X - ahead*s
		y[2*i+1] = v.At.Y - v.Obstacle.At.Y - ahead*c
		p.times = append(p.times, v.MidS)
	}
	var logML float64
	for iter := range 4 {
		k := mat.NewSymDense(2*n, nil)
		for i := range n {
			ix, iy := p.design(overs[i])
			for j := i; j < n; j++ {
				jx, jy := p.design(overs[j])
				w := p.wander(p.times[i] - p.times[j])
				k.SetSym(2*i, 2*j, dotPrior(ix, jx, pri)+w)
				k.SetSym(2*i+1, 2*j+1, dotPrior(iy, jy, pri)+w)
				k.SetSym(2*i, 2*j+1, dotPrior(ix, jy, pri))
				if i != j {
					k.SetSym(2*i+1, 2*j, dotPrior(iy, jx, pri))
				}
			}
			rxx, rxy, ryy := p.noise(overs[i], robust[i])
			k.SetSym(2*i, 2*i, k.At(2*i, 2*i)+rxx)
			k.SetSym(2*i, 2*i+1, k.At(2*i, 2*i+1)+rxy)
			k.SetSym(2*i+1, 2*i+1, k.At(2*i+1, 2*i+1)+ryy)
		}
		var ch mat.Cholesky
		if !ch.Factorize(k) {
			return nil, 0, errors.New("place: the placement is ill-conditioned")
		}
		p.chol = &ch
		var a mat.VecDense
		if err := ch.SolveVecTo(&a, mat.NewVecDense(2*n, y)); err != nil {
			var c mat.Condition
			if !errors.As(err, &c) {
				return nil, 0, err
			}
		}
		p.weights = append(p.weights[:0], a.RawVector().Data...)
		logML = -0.5*mat.Dot(&a, mat.NewVecDense(2*n, y)) - 0.5*ch.LogDet()
		p.ResidualsM = p.ResidualsM[:0]
		var ss float64
		var count int
		for i, v := range overs {
			// What is left after shift, turn, drift, lag: the noise part, R a.
			rxx, rxy, ryy := p.noise(v, robust[i])
			ax, ay := p.weights[2*i], p.weights[2*i+1]
			ex, ey := rxx*ax+rxy*ay, rxy*ax+ryy*ay
			s, c := math.Sincos(v.Obstacle.FacingDeg * deg)
			al, ac := ex*s+ey*c, ex*c-ey*s
			if !v.Timed {
				al = 0
			} else {
				ss += al * al
				count++
			}
			ss += ac * ac
			count++
			p.ResidualsM = append(p.ResidualsM, [2]float64{al, ac})
			sdl, sdc := p.noiseSD(v)
			r2 := ac * ac / (sdc * sdc)
			if v.Timed {
				r2 += al * al / (sdl * sdl)
			}
			if iter < 3 {
				robust[i] = math.Min(1, (4+2)/(4+r2))
			}
		}
		p.ResidualM = math.Sqrt(ss / float64(count))
	}
	// The prior's log density at the fit: -½ aᵀ(K-R)a with a = K⁻¹y.
	for i, v := range overs {
		rxx, rxy, ryy := p.noise(v, robust[i])
		ax, ay := p.weights[2*i], p.weights[2*i+1]
		p.LogFit -= (y[2*i]*ax + y[2*i+1]*ay - rxx*ax*ax - 2*rxy*ax*ay - ryy*ay*ay) / 2
	}
	m, v := p.posterior([nBeta]float64{1}, 0, nil)
	p.ShiftX = trace.FromSD(m, math.Sqrt(v))
	m, v = p.posterior([nBeta]float64{0, 1}, 1, nil)
	p.ShiftY = trace.FromSD(m, math.Sqrt(v))
	m, v = p.posterior([nBeta]float64{0, 0, 0, 1}, 0, nil)
	p.LagS = trace.FromSD(m, math.Sqrt(v))
	m, v = p.posterior([nBeta]float64{0, 0, 0, 0, 1}, 0, nil)
	p.TurnDeg = trace.FromSD(m/deg, math.Sqrt(v)/deg)
	return p, logML, nil
}

func dotPrior(a, b, pri [nBeta]float64) float64 {
	var s float64
	for k := range nBeta {
		s += a[k] * b[k] * pri[k]
	}
	return s
}

func (p *Placement) wander(dt float64) float64 {
	return p.opt.WanderM * p.opt.WanderM * math.Exp(-math.Abs(dt)/p.opt.WanderTauS)
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

func (p *Placement) noise(v Over, w float64) (xx, xy, yy float64) {
	s, c := math.Sincos(v.Obstacle.FacingDeg * deg)
	l, a := p.noiseSD(v)
	l2, a2 := l*l/w, a*a/w
	// along = (s, c), across = (c, -s)
	return l2*s*s + a2*c*c, (l2 - a2) * s * c, l2*c*c + a2*s*s
}

// cross is the prior covariance of b·beta, plus the creeping error of axis at time *t where t is given,
// with what was seen.
func (p *Placement) cross(b [nBeta]float64, axis int, t *float64) []float64 {
	pri := p.prior()
	ks := make([]float64, 2*len(p.overs))
	for i, v := range p.overs {
		bx, by := p.design(v)
		ks[2*i], ks[2*i+1] = dotPrior(b, bx, pri), dotPrior(b, by, pri)
		if t != nil {
			ks[2*i+axis] += p.wander(*t - p.times[i])
		}
	}
	return ks
}

// mean is the posterior mean of b·beta, plus the creeping error of axis at time *t where t is given.
func (p *Placement) mean(b [nBeta]float64, axis int, t *float64) (m float64) {
	for i, k := range p.cross(b, axis, t) {
		m += k * p.weights[i]
	}
	return m
}

// posterior is the mean and the variance of the same.
func (p *Placement) posterior(b [nBeta]float64, axis int, t *float64) (mean, variance float64) {
	ks := p.cross(b, axis, t)
	for i, k := range ks {
		mean += k * p.weights[i]
	}
	variance = dotPrior(b, b, p.prior())
	if t != nil {
		variance += p.wander(0)
	}
	var a mat.VecDense
	kv := mat.NewVecDense(len(ks), ks)
	if err := p.chol.SolveVecTo(&a, kv); err != nil {
		var c mat.Condition
		if !errors.As(err, &c) {
			return mean, variance
		}
	}
	return mean, math.Max(variance-mat.Dot(kv, &a), 0)
}

// Offset is what to take off a place recorded at time t near (x, y) to get the plan's, with the
// standard deviation of either axis.
func (p *Placement) Offset(t, x, y float64) (dx, dy, sdx, sdy float64) {
	mx, vx := p.posterior([nBeta]float64{1, 0, 0, 0, y - p.Centre.Y}, 0, &t)
	my, vy := p.posterior([nBeta]float64{0, 1, 0, 0, -(x - p.Centre.X)}, 1, &t)
	return mx, my, math.Sqrt(vx), math.Sqrt(vy)
}

// shift is Offset without its doubt, which costs a hundred times more.
func (p *Placement) shift(t, x, y float64) (dx, dy float64) {
	return p.mean([nBeta]float64{1, 0, 0, 0, y - p.Centre.Y}, 0, &t), p.mean([nBeta]float64{0, 1, 0, 0, -(x - p.Centre.X)}, 1, &t)
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
