package detect

import (
	"fmt"
	"math"
	"slices"

	"groundline/trace"
)

// Mount is how a sensor was carried, as far as its motion shows.
type Mount uint8

// The ways of carrying told apart.
const (
	MountUnknown  Mount = iota // can't tell, see [Mounted.Why]
	MountSteady                // holds to the horse's trunk: saddle, girth, a tight belt
	MountTurning               // turns slowly with a body or a cloth: pocket
	MountSwinging              // swings with a limb: wrist, arm, leg
)

// String is "steady", "turning", "swinging" or "" for unknown.
func (m Mount) String() string { return [...]string{"", "steady", "turning", "swinging"}[m] }

// Mounted is how a sensor was carried and the numbers that decided.
type Mounted struct {
	Mount Mount
	// SwingDeg is the median angle between up over about a second and up over about five, degrees,
	// while the horse moved; 0 where it was not measured.
	SwingDeg float64
	// TurnDeg is the same between up over about five seconds and over half a minute.
	TurnDeg float64
	// TurnRateRadS is the turn rate's root mean square while the horse moved; 0 without a gyroscope.
	TurnRateRadS float64
	// MovingS is how long the horse moved in the parts looked at, s.
	MovingS float64
	// Why is the reason in words.
	Why string
}

// The windows over which up is compared: standard deviations of near-Gaussian windows, s. The shortest holds
// back a canter's wave (1.4 Hz and more) to 0.2 %, so that what is left is the sensor's own turning and not the stride; the longest is
// about half a minute from end to end.
const (
	upShortS  = 0.4
	upMiddleS = 2.0
	upLongS   = 15.0
)

// Limits between the ways of carrying, degrees. On every second labelled round, which they were fitted on, saddles turn by 1.5
// to 2.0 degrees, pockets by 3.9 to 5.6, wrists by 17 to 18; saddles and pockets swing by 0.7 to 1.6, wrists by
// 5.1 to 5.3. Between the two numbers of a pair, which are the middle third of the gap in its logarithm, nothing is told.
var (
	steadyTurnDeg   = [2]float64{2.5, 3.1}
	turningTurnDeg  = [2]float64{8.1, 11.9}
	turningSwingDeg = [2]float64{2.3, 3.5}
)

// A trunk turns at 0.6 to 0.8 rad/s, root mean square (labelled rounds), a running person's foot at 6.6 rad/s (a real
// recording). Two is far from both.
const limbRadS = 2.0

const (
	// mountLeastS of moving hold about ten strides and the slow mean's window.
	mountLeastS = 30.0
	// movingMS2 is the root mean square of the upward load, over a few seconds, from which a horse walks or
	// more: half of a walk's 1 m/s².
	movingMS2 = 0.5
	// A day is not looked at in full: so many parts of so long, spread evenly, tell the mounting as well.
	mountPartS = 600.0
	mountParts = 8
)

// Mounting tells from the motion alone how the sensor was carried: up, found from gravity, stays where it is in a steady sensor,
// wanders over tens of seconds in a pocket and over a second or two on a wrist. Only time in which the carrier moves counts. It needs half
// a minute of it, and gravity: where the device had taken it out, up is only a guess. At most eight parts of
// ten minutes are looked at, spread over the recording. Motion that can't be used tells nothing.
func Mounting(m *trace.Motion) Mounted {
	if m == nil || len(m.TimeS) < 2 || len(m.AX) != len(m.TimeS) || len(m.AY) != len(m.TimeS) || len(m.AZ) != len(m.TimeS) ||
		m.GX != nil && (len(m.GX) != len(m.TimeS) || len(m.GY) != len(m.TimeS) || len(m.GZ) != len(m.TimeS)) {
		return Mounted{Why: "no motion"}
	}
	if m.GravityRemoved {
		return Mounted{Why: "the device took gravity out, so that the way up can't be followed"}
	}
	var c carry
	for _, part := range sampleParts(m) {
		one := numbersOnly(part)
		for _, at := range split(one) {
			// A piece shorter than the long window has no long mean.
			if one.TimeS[at[1]-1]-one.TimeS[at[0]] < 2*upLongS {
				c.shortS += one.TimeS[at[1]-1] - one.TimeS[at[0]]
				continue
			}
			c.add(resample(one, at[0], at[1]))
		}
	}
	return c.told()
}

// sampleParts are parts of the motion, spread evenly: all of it where it is short.
func sampleParts(m *trace.Motion) []*trace.Motion {
	n := len(m.TimeS)
	first, last := m.TimeS[0], m.TimeS[n-1]
	if !(last-first > mountPartS*mountParts) {
		return []*trace.Motion{m}
	}
	var out []*trace.Motion
	for k := range mountParts {
		from := first + (last-first-mountPartS)*float64(k)/(mountParts-1)
		a, _ := slices.BinarySearch(m.TimeS, from)
		b, _ := slices.BinarySearch(m.TimeS, from+mountPartS)
		if b-a < 2 {
			continue
		}
		one := &trace.Motion{TimeS: m.TimeS[a:b], AX: m.AX[a:b], AY: m.AY[a:b], AZ: m.AZ[a:b], RateHz: m.RateHz}
		if m.GX != nil {
			one.GX, one.GY, one.GZ = m.GX[a:b], m.GY[a:b], m.GZ[a:b]
		}
		out = append(out, one)
	}
	return out
}

// carry gathers what decides over the pieces of a recording.
type carry struct {
	swing, turn []float64 // degrees, while moving
	rate2       float64   // sum of squares
	rates       int
	lostGravity bool
	shortS      float64 // in pieces too short for the long mean
}

// carryStep is how many steps of the grid lie between two looks: a tenth of a second.
const carryStep = 10

func (c *carry) add(p *piece) {
	p.findUp(false)
	var mean float64
	for i := range p.n {
		mean += math.Sqrt(p.a[0][i]*p.a[0][i] + p.a[1][i]*p.a[1][i] + p.a[2][i]*p.a[2][i])
	}
	if mean/float64(p.n) < gravityMS2/2 {
		c.lostGravity = true
		return
	}
	load2 := make([]float64, p.n)
	for i := range load2 {
		u := p.a[0][i]*p.up[0][i] + p.a[1][i]*p.up[1][i] + p.a[2][i]*p.up[2][i] - gravityMS2
		load2[i] = u
	}
	load2 = without(load2, smooth(load2, upMiddleS))
	for i, u := range load2 {
		load2[i] = u * u
	}
	load2 = smooth(load2, upMiddleS)
	short, middle, long := directions(p, upShortS), directions(p, upMiddleS), directions(p, upLongS)
	for i := 0; i < p.n; i += carryStep {
		if load2[i] < movingMS2*movingMS2 {
			continue
		}
		c.swing = append(c.swing, degreesBetween(short, middle, i))
		c.turn = append(c.turn, degreesBetween(middle, long, i))
		if p.g[0] != nil {
			c.rate2 += p.g[0][i]*p.g[0][i] + p.g[1][i]*p.g[1][i] + p.g[2][i]*p.g[2][i]
			c.rates++
		}
	}
}

// directions is the mean force under a window.
func directions(p *piece, sdS float64) (d [3][]float64) {
	for k := range d {
		d[k] = smooth(p.a[k], sdS)
	}
	return d
}

func degreesBetween(a, b [3][]float64, i int) float64 {
	x, y := [3]float64{a[0][i], a[1][i], a[2][i]}, [3]float64{b[0][i], b[1][i], b[2][i]}
	cross := [3]float64{x[1]*y[2] - x[2]*y[1], x[2]*y[0] - x[0]*y[2], x[0]*y[1] - x[1]*y[0]}
	sin := math.Sqrt(cross[0]*cross[0] + cross[1]*cross[1] + cross[2]*cross[2])
	return math.Atan2(sin, x[0]*y[0]+x[1]*y[1]+x[2]*y[2]) * 180 / math.Pi
}

func (c *carry) told() Mounted {
	out := Mounted{MovingS: float64(len(c.swing)) * carryStep * stepS}
	if out.MovingS < mountLeastS {
		out.Why = fmt.Sprintf("only %.0f s in motion, %.0f needed", out.MovingS, mountLeastS)
		switch {
		case c.lostGravity:
			out.Why = "the force holds no gravity, so that the way up can't be followed"
		case c.shortS > 0:
			out.Why = fmt.Sprintf("%.0f s lie in pieces shorter than half a minute, too short to follow the way up", c.shortS)
		}
		return out
	}
	slices.Sort(c.swing)
	slices.Sort(c.turn)
	out.SwingDeg, out.TurnDeg = c.swing[len(c.swing)/2], c.turn[len(c.turn)/2]
	if c.rates > 0 {
		out.TurnRateRadS = math.Sqrt(c.rate2 / float64(c.rates))
	}
	moved := fmt.Sprintf("up moves by %.1f° within a few seconds and by %.1f° within half a minute", out.SwingDeg, out.TurnDeg)
	switch {
	case out.TurnRateRadS > limbRadS:
		out.Mount = MountSwinging
		out.Why = fmt.Sprintf("it turns at %.1f rad/s, a trunk at less than %.0f", out.TurnRateRadS, limbRadS)
		return out
	case out.SwingDeg > turningSwingDeg[1] && out.TurnDeg > turningTurnDeg[1]:
		out.Mount = MountSwinging
	case out.SwingDeg < turningSwingDeg[0] && out.TurnDeg < steadyTurnDeg[0]:
		out.Mount = MountSteady
	case out.SwingDeg < turningSwingDeg[0] && out.TurnDeg > steadyTurnDeg[1] && out.TurnDeg < turningTurnDeg[0]:
		out.Mount = MountTurning
	default:
		moved += ": between two ways of carrying"
	}
	out.Why = moved
	return out
}
