package synth

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"groundline/trace"
	"groundline/trace/geo"
)

// Sensor is an accelerometer, with a gyroscope or without, on the trunk.
type Sensor struct {
	RateHz              float64
	JitterS             float64 // standard deviation of a sample's time about the even one
	NoiseMS2, NoiseRadS float64 // standard deviation per sample and axis
	// MountDeg turns the trunk's axes into the sensor's: about the forward, the left and the up axis, in this
	// order.
	MountDeg [3]float64
	Gyro     bool
}

// Motion is what the sensor writes during the ride. The seed decides jitter and noise.
func (m *Made) Motion(s Sensor, seed uint64) (*trace.Motion, error) {
	if !(s.RateHz > 0 && s.RateHz <= 2000) {
		return nil, fmt.Errorf("sensor at %v Hz, expected more than 0 and at most 2000", s.RateHz)
	}
	rng := rand.New(rand.NewPCG(seed, 2))
	mount := rotation(s.MountDeg)
	n := int(m.DurationS*s.RateHz) + 1
	out := &trace.Motion{RateHz: s.RateHz}
	last := math.Inf(-1)
	pad := m.pad()
	for i := range n {
		t := (float64(i) + 0.5) / s.RateHz
		// A sample never overtakes its neighbour.
		t = max(t+clip(rng.NormFloat64())*s.JitterS, last+0.1/s.RateHz)
		last = t
		force, rate := m.felt(t)
		if k := t / padStepS; pad != nil && int(k) < len(pad)-1 {
			i, part := int(k), k-math.Floor(k)
			force[2] += pad[i]*(1-part) + pad[i+1]*part
		}
		force, rate = mount.turn(force), mount.turn(rate)
		var z [6]float64
		for k := range z {
			z[k] = rng.NormFloat64()
		}
		out.TimeS = append(out.TimeS, t)
		out.AX = append(out.AX, force[0]+s.NoiseMS2*z[0])
		out.AY = append(out.AY, force[1]+s.NoiseMS2*z[1])
		out.AZ = append(out.AZ, force[2]+s.NoiseMS2*z[2])
		if s.Gyro {
			out.GX = append(out.GX, rate[0]+s.NoiseRadS*z[3])
			out.GY = append(out.GY, rate[1]+s.NoiseRadS*z[4])
			out.GZ = append(out.GZ, rate[2]+s.NoiseRadS*z[5])
		}
	}
	return out, nil
}

type matrix [3][3]float64

func (a matrix) turn(v [3]float64) (out [3]float64) {
	for i := range out {
		for j := range v {
			out[i] += a[i][j] * v[j]
		}
	}
	return out
}

// rotation is the rotation about x, then y, then z, in degrees.
func rotation(deg [3]float64) matrix {
	sx, cx := math.Sincos(deg[0] * math.Pi / 180)
	sy, cy := math.Sincos(deg[1] * math.Pi / 180)
	sz, cz := math.Sincos(deg[2] * math.Pi / 180)
	return matrix{
		{cz * cy, cz*sy*sx - sz*cx, cz*sy*cx + sz*sx},
		{sz * cy, sz*sy*sx + cz*cx, sz*sy*cx - cz*sx},
		{-sy, cy * sx, cy * cx},
	}
}

// Receiver is a satellite receiver on the rider.
type Receiver struct {
	RateHz  float64
	OffsetM [2]float64 // constant, along the arena's x and y
	// WanderM is the standard deviation, and WanderS the time constant, of a slow error of each axis
	// (an Ornstein-Uhlenbeck process: errors of stationary receivers are correlated like one, Sensors 2020; 20: 6050, over
	// about a minute).
	WanderM, WanderS float64
	WhiteM           float64      // standard deviation of the rest, fix to fix
	HeightNoiseM     float64      // standard deviation of the height
	SpeedNoiseMS     float64      // standard deviation of the speed; no speed is written where 0
	Gaps             [][2]float64 // no fix in [from, to), s
	Outliers         []float64    // the fix next after each of these instants is some 15 m off
}

// Positions is what the receiver writes during the ride over an arena whose (0, 0) lies at the anchor and
// whose +y axis points to the true bearing. The seed decides the errors.
func (m *Made) Positions(r Receiver, anchor geo.LatLon, bearingDeg float64, seed uint64) (*trace.Positions, error) {
	if !(r.RateHz > 0 && r.RateHz <= 50) {
		return nil, fmt.Errorf("receiver at %v Hz, expected more than 0 and at most 50", r.RateHz)
	}
	if !anchor.Valid() {
		return nil, fmt.Errorf("anchor at %v, %v, expected a place on earth", anchor.LatDeg, anchor.LonDeg)
	}
	rng := rand.New(rand.NewPCG(seed, 3))
	frame := geo.NewFrame(anchor, m.Ride.GroundM[0])
	sb, cb := math.Sincos(bearingDeg * math.Pi / 180)
	out := &trace.Positions{RateHz: r.RateHz}
	wander := [2]float64{r.WanderM * rng.NormFloat64(), r.WanderM * rng.NormFloat64()}
	keep := 0.0
	if r.WanderS > 0 {
		keep = math.Exp(-1 / (r.RateHz * r.WanderS))
	}
	outliers := r.Outliers
	for i := range int(m.DurationS*r.RateHz) + 1 {
		t := float64(i) / r.RateHz
		var z [7]float64
		for k := range z {
			z[k] = rng.NormFloat64()
		}
		for k := range wander {
			wander[k] = keep*wander[k] + math.Sqrt(1-keep*keep)*r.WanderM*z[k]
		}
		if within(t, r.Gaps) {
			continue
		}
		v, s := m.At(t)
		p := m.Path.At(s)
		x := p.X + r.OffsetM[0] + wander[0] + r.WhiteM*z[2]
		y := p.Y + r.OffsetM[1] + wander[1] + r.WhiteM*z[3]
		if len(outliers) > 0 && t >= outliers[0] {
			outliers = outliers[1:]
			x += 15
		}
		g := m.Ride.GroundM
		height := g[0] + g[1]*p.X + g[2]*p.Y
		place, _ := frame.FromENU(x*cb+y*sb, -x*sb+y*cb, height-g[0])
		out.TimeS = append(out.TimeS, t)
		out.LatDeg = append(out.LatDeg, place.LatDeg)
		out.LonDeg = append(out.LonDeg, place.LonDeg)
		out.HeightM = append(out.HeightM, height+r.HeightNoiseM*z[4])
		if r.SpeedNoiseMS > 0 {
			out.SpeedMS = append(out.SpeedMS, math.Abs(v+m.ripple(t)+r.SpeedNoiseMS*z[5]))
		}
		out.Segment = append(out.Segment, 0)
	}
	return out, nil
}

// ripple is how much faster than the mean of its stride the trunk is at t, m/s: the fore-aft force of the stride, summed up over time.
func (m *Made) ripple(t float64) float64 {
	i := m.strideAt(t)
	if i < 0 {
		return 0
	}
	st := m.Strides[i]
	d := st.ToS - st.FromS
	phase := (t - st.FromS) / d
	var v float64
	for _, w := range m.motions(st.Gait).forward {
		turns := 2 * math.Pi * w.harmonic / d
		v += gravity * w.amplitude / turns * math.Sin(2*math.Pi*(w.harmonic*phase-w.crest))
	}
	return v * st.strength * m.fade(st.Gait, t)
}

func within(t float64, spans [][2]float64) bool {
	for _, s := range spans {
		if t >= s[0] && t < s[1] {
			return true
		}
	}
	return false
}

// Recording is the ride as one recording on one clock; either channel may be nil.
func (m *Made) Recording(start time.Time, p *trace.Positions, mo *trace.Motion) *trace.Recording {
	return &trace.Recording{Start: start, DurationS: m.DurationS, Positions: p, Motion: mo}
}
