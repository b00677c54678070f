package synth

import (
	"bytes"
	"encoding/xml"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/trace/geo"
)

func fence(id string, x, y, facing float64, strides int) Stop {
	return Stop{Pose: Pose{x, y, facing}, Gait: Canter, Fence: &Fence{ID: id, HeightM: 0.9, SpreadM: 0.3, Strides: strides}}
}

// aRide: two fences up one side, a left half circle, one fence down the other, then standing still.
//
//	    ___
//	   /   \
//	  3     |
//	  |     2
//	  |     |
//	  |     1
//	end     start
func aRide() Ride {
	return Ride{
		Start: Pose{40, -50, 0}, WaitS: 3, Horse: Warmblood(), GroundM: [3]float64{12, 0.02, 0},
		Stops: []Stop{
			{Pose: Pose{40, -45, 0}, Gait: Walk},
			{Pose: Pose{40, -30, 0}, Gait: Trot},
			fence("1", 40, 10, 0, 0), fence("2", 40, 31.5, 0, 5), fence("3", 20, 30, 180, 0),
			{Pose: Pose{20, 5, 180}, Gait: Canter},
			{Pose: Pose{20, -5, 180}, Gait: Walk, HoldS: 2},
		},
	}
}

func makeRide(t require.TestingT, r Ride, seed uint64) *Made {
	m, err := r.Make(seed)
	require.NoError(t, err)
	return m
}

// A path joins any two poses: it ends where it should, has no corner, and its length is that of a fine polygon.
func TestPathJoinsPoses(t *testing.T) {
	pose := rapid.Custom(func(t *rapid.T) Pose {
		c := rapid.Float64Range(-60, 60)
		return Pose{c.Draw(t, "x"), c.Draw(t, "y"), rapid.Float64Range(-360, 720).Draw(t, "facing")}
	})
	rapid.Check(t, func(t *rapid.T) {
		from, to := pose.Draw(t, "from"), pose.Draw(t, "to")
		radius := rapid.Float64Range(3, 20).Draw(t, "radius")
		p := startPath(from)
		require.NoError(t, p.join(from, to, radius))
		end := p.At(p.LengthM())
		require.InDelta(t, to.X, end.X, 1e-6)
		require.InDelta(t, to.Y, end.Y, 1e-6)
		require.InDelta(t, 0, math.Sin((to.FacingDeg-end.FacingDeg)*math.Pi/360), 1e-6, "facing")

		const n = 500
		step := p.LengthM() / n
		var sum float64
		for i := range n {
			a, b := p.At(float64(i)*step), p.At(float64(i+1)*step)
			sum += math.Hypot(b.X-a.X, b.Y-a.Y)
			if turned := math.Abs(b.FacingDeg-a.FacingDeg) * math.Pi / 180; turned > step/radius+1e-9 {
				t.Fatalf("a corner of %v rad at %v m", turned, float64(i)*step)
			}
		}
		require.InEpsilon(t, p.LengthM()+1, sum+1, 1e-3)
		require.LessOrEqual(t, p.LengthM(), math.Hypot(to.X-from.X, to.Y-from.Y)+4*math.Pi*radius, "no needless circle")
	})
}

// Known ways: straight on is straight, a half circle to the left has the length πR.
func TestPathKnown(t *testing.T) {
	for _, c := range []struct {
		to     Pose
		length float64
	}{
		{Pose{0, 30, 0}, 30},
		{Pose{-20, 0, 180}, math.Pi * 10},
		{Pose{20, 0, 180}, math.Pi * 10},
		{Pose{-20, -5, 180}, math.Pi*10 + 5},
		{Pose{10, 10, 90}, math.Pi / 2 * 10},
		{Pose{-30, 10, 270}, math.Pi/2*10 + 20},
	} {
		p := startPath(Pose{})
		require.NoError(t, p.join(Pose{}, c.to, 10))
		require.InDelta(t, c.length, p.LengthM(), 1e-9, "%v", c.to)
	}
	p := startPath(Pose{})
	require.NoError(t, p.join(Pose{}, Pose{-20, 0, 180}, 10))
	require.Equal(t, 0.1, p.Curvature(5), "left is positive")
	require.InDelta(t, 0.1, p.meanCurvature(5), 1e-12)
	require.InDelta(t, 0.05, p.meanCurvature(0), 1e-9, "half the trunk is in the turn")
	require.Zero(t, p.Curvature(-1))
}

// What the truth says of time, way and speed must agree with itself.
func TestTruthIsOfOnePiece(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := aRide()
		if rapid.Bool().Draw(t, "pony") {
			r.Horse = Pony()
			r.Stops[3].Fence.Strides = 0
		}
		m := makeRide(t, r, rapid.Uint64().Draw(t, "seed"))

		// The speed summed up over time is the way, everywhere; and all of the path is gone.
		const dt = 0.01
		var sum float64
		for i := range int(m.DurationS / dt) {
			at := (float64(i) + 0.5) * dt
			v, s := m.At(at)
			sum += v * dt
			if v < 0 || math.Abs(s-(sum-v*dt/2)) > 0.02 {
				t.Fatalf("at %v s: speed %v m/s, place %v m, and the speeds sum up to %v", at, v, s, sum-v*dt/2)
			}
		}
		require.InDelta(t, m.Path.LengthM(), sum, 0.03)

		require.Len(t, m.Jumps, 3)
		at := []Stop{r.Stops[2], r.Stops[3], r.Stops[4]}
		for i, j := range m.Jumps {
			// The middle of the fence lies where its front and back say, seen from either end of the flight.
			h, spread := r.Horse, at[i].Fence.SpreadM
			front := j.TakeoffM - h.AheadM + j.TakeoffDistanceM
			back := j.LandingM + h.BehindM - j.LandingDistanceM
			require.InDelta(t, spread, back-front, 1e-9)
			mid := m.Path.At((front + back) / 2)
			require.InDelta(t, at[i].X, mid.X, 1e-6)
			require.InDelta(t, at[i].Y, mid.Y, 1e-6)
			_, s := m.At(j.TakeoffS)
			require.InDelta(t, j.TakeoffM, s, 1e-6)
			_, s = m.At(j.LandingS)
			require.InDelta(t, j.LandingM, s, 1e-6)
			// Published: a flight of 0.35-0.80 s; over 1.10 m take-off at 1.46-1.65 and landing at 1.71-1.99 m, less over less.
			require.True(t, j.LandingS-j.TakeoffS > 0.35 && j.LandingS-j.TakeoffS < 0.8)
			require.True(t, j.TakeoffDistanceM > 1.1 && j.TakeoffDistanceM < 1.65 && j.LandingDistanceM > 1.3 && j.LandingDistanceM < 1.99, "%+v", j)
		}
		require.Len(t, m.Lines, 2)
		for i, l := range m.Lines {
			from, to := m.Jumps[i].LandingS, m.Jumps[i+1].TakeoffS
			n, sum := 0, 0.0
			for _, s := range m.Strides {
				if s.FromS > from && s.ToS < to {
					n++
					sum += s.ToS - s.FromS
				}
			}
			require.Equal(t, l.Strides, n)
			require.InDelta(t, l.StrideS, sum/float64(n), 1e-9)
			require.InDelta(t, float64(n)+0.7, (to-from)/r.Horse.CanterS, 0.35, "n + 0.7 strides of the horse's usual time")
			require.InDelta(t, l.SpeedMS*(to-from)-r.Horse.AheadM-r.Horse.BehindM, l.TrackM, 1e-6)
		}
		if r.Stops[3].Fence.Strides > 0 {
			require.Equal(t, 5, m.Lines[0].Strides, "as asked")
		}

		// Gaits and strides follow one another; strides lie in their gait, and none in the air.
		require.Zero(t, m.Gaits[0].FromS)
		require.Equal(t, m.DurationS, m.Gaits[len(m.Gaits)-1].ToS)
		var names []string
		for i, g := range m.Gaits {
			names = append(names, g.Gait)
			if i > 0 {
				require.Equal(t, m.Gaits[i-1].ToS, g.FromS)
			}
		}
		require.Equal(t, []string{Halt, Walk, Trot, Canter, Walk, Halt}, names)
		for i, s := range m.Strides {
			require.Less(t, s.FromS, s.ToS)
			if i > 0 {
				require.GreaterOrEqual(t, s.FromS, m.Strides[i-1].ToS)
			}
			for _, j := range m.Jumps {
				require.True(t, s.ToS < j.TakeoffS || s.FromS > j.LandingS)
			}
			_, a := m.At(s.FromS)
			_, b := m.At(s.ToS)
			require.InDelta(t, s.LengthM, b-a, 1e-9)
			require.Equal(t, s.Gait == Canter, s.Lead != "")
			g := m.Gaits
			in := 0
			for in < len(g)-1 && g[in].ToS <= s.FromS {
				in++
			}
			require.Equal(t, g[in].Gait, s.Gait)
		}
	})
}

// Speeds, stride times and lengths lie in the published bands: canter in a round 4-7 m/s, 1.6-2.1 strides a second,
// 2.5-3.9 m.
func TestHorsesAreInPublishedBands(t *testing.T) {
	m := makeRide(t, aRide(), 1)
	for _, s := range m.Strides {
		hz, speed := 1/(s.ToS-s.FromS), s.LengthM/(s.ToS-s.FromS)
		switch s.Gait {
		case Canter:
			require.True(t, hz > 1.5 && hz < 2.1 && s.LengthM < 3.9, "%+v", s)
		case Trot:
			require.True(t, hz > 1.2 && hz < 1.6 && speed > 1.5 && speed < 5, "%+v", s)
		case Walk:
			require.True(t, hz > 0.8 && hz < 1.1, "%+v", s)
		}
	}
	require.Equal(t, "left", m.Strides[len(m.Strides)-12].Lead, "the turn is to the left")
}

func sensor() Sensor { return Sensor{RateHz: 100, Gyro: true} }

func mean(x []float64) float64 {
	var s float64
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

// between is a channel's part from one time to another.
func between(t, x []float64, from, to float64) []float64 {
	var out []float64
	for i := range t {
		if t[i] >= from && t[i] < to {
			out = append(out, x[i])
		}
	}
	return out
}

func TestMotionFeelsLikeAHorse(t *testing.T) {
	m := makeRide(t, aRide(), 1)
	mo, err := m.Motion(sensor(), 1)
	require.NoError(t, err)

	still := between(mo.TimeS, mo.AZ, 0, 2)
	require.InDelta(t, gravity, mean(still), 1e-9)
	require.InDelta(t, 0, mean(between(mo.TimeS, mo.AX, 0, 2)), 1e-9)

	// Over a gait the load is 1 g on the mean: the trunk stays at its height. So it is over jumps with
	// their strides about them.
	canter := m.Gaits[3]
	up := between(mo.TimeS, upOf(m, mo.TimeS), canter.FromS, canter.ToS)
	require.InEpsilon(t, gravity, mean(up), 0.02)

	for _, j := range m.Jumps {
		air := between(mo.TimeS, mo.AZ, j.TakeoffS+0.06, j.LandingS-0.06)
		for _, a := range air {
			require.True(t, a > 0.05*gravity && a < 0.5*gravity, "%v in the air", a/gravity)
		}
		push := largest(between(mo.TimeS, mo.AZ, j.TakeoffS-0.3, j.TakeoffS))
		land := largest(between(mo.TimeS, mo.AZ, j.LandingS, j.LandingS+0.3))
		stride := largest(between(mo.TimeS, mo.AZ, j.TakeoffS-1.4, j.TakeoffS-0.3))
		require.True(t, push > 1.2*stride && land > 1.2*stride, "push-off %.1f, landing %.1f, stride %.1f m/s²", push, land, stride)
	}

	// The gyroscope's turn rate about the up axis sums up to what the path turns, but for the tilt of the trunk.
	var yaw, way float64
	from, to := m.Jumps[1].LandingS+0.5, m.Jumps[2].TakeoffS-0.5
	for _, z := range between(mo.TimeS, mo.GZ, from, to) {
		yaw += z / 100
	}
	_, a := m.At(from)
	_, b := m.At(to)
	way = (m.Path.At(a).FacingDeg - m.Path.At(b).FacingDeg) * math.Pi / 180
	require.InEpsilon(t, way, yaw, 0.12)
	require.Greater(t, yaw, 0.0, "left is positive")
	// Level and steady, the trunk leans into the turn and feels no side force: the mean over the turn is small beside v²/R.
	require.Less(t, math.Abs(mean(between(mo.TimeS, mo.AY, from, to))), 0.5)
}

// upOf is the load in level axes at these times.
func upOf(m *Made, times []float64) []float64 {
	out := make([]float64, len(times))
	for i, t := range times {
		f, _ := m.trunk(t)
		out[i] = f.up
	}
	return out
}

func largest(x []float64) float64 {
	v := math.Inf(-1)
	for _, a := range x {
		v = max(v, a)
	}
	return v
}

// In canter the load crests once a stride, in trot twice.
func TestBeatsOfTheGaits(t *testing.T) {
	m := makeRide(t, aRide(), 2)
	for _, s := range m.Strides {
		if m.fade(s.Gait, s.FromS) < 1 || m.fade(s.Gait, s.ToS) < 1 {
			continue
		}
		crests := 0
		const n = 60
		last, before := 0.0, 0.0
		for i := range n + 2 {
			f, _ := m.trunk(s.FromS + (s.ToS-s.FromS)*float64(i)/n)
			if i > 1 && last > before && last >= f.up && last > gravity {
				crests++
			}
			last, before = f.up, last
		}
		require.Equal(t, map[string]int{Walk: 2, Trot: 2, Canter: 1}[s.Gait], crests, "%+v", s)
	}
}

// A leap takes a stride's time, has a short flight, and changes nothing before and after.
func TestLeap(t *testing.T) {
	r := aRide()
	plain := makeRide(t, r, 1)
	at := plain.Jumps[1].LandingS + 3
	r.LeapsS = []float64{at}
	m := makeRide(t, r, 1)
	require.Equal(t, plain.Jumps, m.Jumps)
	n, i := 0, m.strideAt(at)
	for _, s := range m.Strides {
		if s.Leap {
			n++
		}
	}
	require.Equal(t, 1, n)
	s := m.Strides[i]
	require.True(t, s.Leap)
	mid, _ := m.trunk((s.FromS + s.ToS) / 2)
	require.Less(t, mid.up, 0.3*gravity)
	for _, out := range []float64{s.FromS - 0.01, s.ToS + 0.01} {
		a, _ := plain.trunk(out)
		b, _ := m.trunk(out)
		require.Equal(t, a, b)
	}
}

// A mounting turns the vectors and nothing else; a sensor at another seed differs by its noise only.
func TestMountingKeepsSizes(t *testing.T) {
	m := makeRide(t, aRide(), 1)
	a, err := m.Motion(sensor(), 1)
	require.NoError(t, err)
	s := sensor()
	s.MountDeg = [3]float64{100, -30, 200}
	b, err := m.Motion(s, 1)
	require.NoError(t, err)
	for i := range a.TimeS {
		require.Equal(t, a.TimeS[i], b.TimeS[i])
		require.InDelta(t, norm(a.AX[i], a.AY[i], a.AZ[i]), norm(b.AX[i], b.AY[i], b.AZ[i]), 1e-9)
		require.InDelta(t, norm(a.GX[i], a.GY[i], a.GZ[i]), norm(b.GX[i], b.GY[i], b.GZ[i]), 1e-9)
	}
	require.Equal(t, [3]float64{0, 0, 1}, rounded(rotation([3]float64{90, 0, 0}).turn([3]float64{0, 1, 0})), "about the forward axis left goes up")
	require.Equal(t, [3]float64{0, 0, -1}, rounded(rotation([3]float64{0, 90, 0}).turn([3]float64{1, 0, 0})), "about the left axis the nose goes down")
	require.Equal(t, [3]float64{0, 1, 0}, rounded(rotation([3]float64{0, 0, 90}).turn([3]float64{1, 0, 0})), "about the up axis the nose goes left")
}

func norm(x, y, z float64) float64 { return math.Sqrt(x*x + y*y + z*z) }

func rounded(v [3]float64) [3]float64 {
	for i := range v {
		v[i] = math.Round(v[i]*1e9)/1e9 + 0 // no negative zero
	}
	return v
}

// Noise and jitter have the size that was asked for.
func TestNoiseIsAsAsked(t *testing.T) {
	m := makeRide(t, aRide(), 1)
	clean, err := m.Motion(sensor(), 3)
	require.NoError(t, err)
	s := sensor()
	s.NoiseMS2, s.NoiseRadS = 0.3, 0.02
	noisy, err := m.Motion(s, 3)
	require.NoError(t, err)
	var a, g float64
	for i := range clean.TimeS {
		a += math.Pow(noisy.AX[i]-clean.AX[i], 2)
		g += math.Pow(noisy.GZ[i]-clean.GZ[i], 2)
	}
	n := float64(len(clean.TimeS))
	require.InEpsilon(t, 0.3, math.Sqrt(a/n), 0.05)
	require.InEpsilon(t, 0.02, math.Sqrt(g/n), 0.05)

	s = sensor()
	s.JitterS = 0.1 // far more than a step: the order must hold all the same
	wild, err := m.Motion(s, 3)
	require.NoError(t, err)
	for i := 1; i < len(wild.TimeS); i++ {
		require.Greater(t, wild.TimeS[i], wild.TimeS[i-1])
	}
}

func TestPositionsAreWhereTheHorseWas(t *testing.T) {
	m := makeRide(t, aRide(), 1)
	anchor := geo.LatLon{LatDeg: 51.2, LonDeg: 5.7}
	p, err := m.Positions(Receiver{RateHz: 5, OffsetM: [2]float64{3, -1}, SpeedNoiseMS: 1e-12, Gaps: [][2]float64{{10, 12}}, Outliers: []float64{20}}, anchor, 90, 1)
	require.NoError(t, err)
	frame := geo.NewFrame(anchor, 12)
	far := 0
	for i, at := range p.TimeS {
		require.False(t, at >= 10 && at < 12, "a fix in the gap")
		east, north, _ := frame.ToENU(geo.LatLon{LatDeg: p.LatDeg[i], LonDeg: p.LonDeg[i]}, p.HeightM[i])
		_, s := m.At(at)
		want := m.Path.At(s)
		// +y points east, so +x points south.
		if math.Hypot(east-(want.Y-1), -north-(want.X+3)) > 1e-3 {
			far++
		}
		require.InDelta(t, 12+0.02*want.X, p.HeightM[i], 1e-9)
	}
	require.Equal(t, 1, far, "one outlier")

	// The wander has the size and the memory that were asked for.
	r := aRide()
	r.WaitS = 20000
	m = makeRide(t, r, 1)
	p, err = m.Positions(Receiver{RateHz: 1, WanderM: 1.5, WanderS: 40}, anchor, 0, 2)
	require.NoError(t, err)
	var square, lag float64
	x := make([]float64, 20000)
	for i := range x {
		e, _, _ := frame.ToENU(geo.LatLon{LatDeg: p.LatDeg[i], LonDeg: p.LonDeg[i]}, 12)
		x[i] = e - 40
		square += x[i] * x[i] / 20000
		if i >= 40 {
			lag += x[i] * x[i-40] / (20000 - 40)
		}
	}
	require.InEpsilon(t, 1.5, math.Sqrt(square), 0.15) // some 250 independent values: 6 % on the standard deviation
	require.InDelta(t, math.Exp(-1), lag/square, 0.2)
}

// The ripple of the receiver's speed is what the fore-aft force of a stride sums up to.
func TestRippleIsTheForceSummedUp(t *testing.T) {
	m := makeRide(t, aRide(), 1)
	for _, s := range m.Strides {
		if m.fade(s.Gait, s.FromS) < 1 || m.fade(s.Gait, s.ToS) < 1 {
			continue
		}
		w := gaitMotions(s.Gait).forward
		d := s.ToS - s.FromS
		const n = 400
		v := m.ripple(s.FromS)
		for i := range n {
			at := (float64(i) + 0.5) / n
			v += gravity * s.strength * sum(w, at) * d / n
			require.InDelta(t, m.ripple(s.FromS+(at+0.4999/n)*d), v, 0.002)
		}
	}
}

func TestSameSeedSameBytes(t *testing.T) {
	files := func(seed uint64) []byte {
		m := makeRide(t, aRide(), seed)
		s := sensor()
		s.JitterS, s.NoiseMS2, s.NoiseRadS = 0.001, 0.2, 0.02
		mo, err := m.Motion(s, seed)
		require.NoError(t, err)
		p, err := m.Positions(Receiver{RateHz: 1, WanderM: 1, WanderS: 60, WhiteM: 0.3}, geo.LatLon{LatDeg: 51, LonDeg: 5}, 30, seed)
		require.NoError(t, err)
		start := time.Date(2026, 5, 1, 9, 0, 0, 0, time.UTC)
		return append(GPX(p, start), MotionCSV(mo)...)
	}
	require.Equal(t, files(7), files(7))
	require.NotEqual(t, files(7), files(8))
}

func TestFilesHold(t *testing.T) {
	m := makeRide(t, aRide(), 1)
	p, err := m.Positions(Receiver{RateHz: 10, SpeedNoiseMS: 0.1}, geo.LatLon{LatDeg: -51.2, LonDeg: 5.7}, 0, 1)
	require.NoError(t, err)
	text := GPX(p, time.Date(2026, 12, 31, 23, 59, 59, 0, time.UTC))
	require.NoError(t, xml.Unmarshal(text, new(struct{})))
	require.Equal(t, len(p.TimeS), bytes.Count(text, []byte("<trkpt ")))
	require.Contains(t, string(text), "<time>2027-01-01T00:00:00.100Z</time>")

	s := sensor()
	s.Gyro = false
	mo, err := m.Motion(s, 1)
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(MotionCSV(mo))), "\n")
	require.Len(t, lines, len(mo.TimeS)+1)
	require.Equal(t, "time_s,ax_m_s2,ay_m_s2,az_m_s2", lines[0])
	require.Equal(t, "0.0050,0.00,0.00,9.81", lines[1])

	rec := m.Recording(time.Time{}, p, nil)
	require.Nil(t, rec.Motion)
	require.Equal(t, m.DurationS, rec.DurationS)
}

// What can't be ridden is refused, with a word where.
func TestWhatCantBeRidden(t *testing.T) {
	for name, change := range map[string]func(*Ride){
		"a gait that is none":        func(r *Ride) { r.Stops[0].Gait = "piaffe" },
		"a fence out of walk":        func(r *Ride) { r.Stops[2].Gait = Walk },
		"no way to the fence":        func(r *Ride) { r.Stops[2].Y = -30 },
		"a negative radius":          func(r *Ride) { r.Stops[2].RadiusM = -1 },
		"twenty strides in a line":   func(r *Ride) { r.Stops[3].Fence.Strides = 60 },
		"an end in the air":          func(r *Ride) { r.Stops = r.Stops[:5] },
		"fences within one another":  func(r *Ride) { r.Stops[3].Pose = r.Stops[2].Pose },
		"a leap in the air":          func(r *Ride) { r.LeapsS = []float64{makeRide(t, aRide(), 1).Jumps[0].TakeoffS + 0.2} },
		"a leap while standing":      func(r *Ride) { r.LeapsS = []float64{1} },
		"a horse without strides":    func(r *Ride) { r.Horse = Horse{} },
		"a place that is none":       func(r *Ride) { r.Stops[1].X = math.NaN() },
		"a walk shorter than a step": func(r *Ride) { r.Stops[0].Y = -49.9 },
	} {
		r := aRide()
		change(&r)
		_, err := r.Make(1)
		require.Error(t, err, name)
	}
	m := makeRide(t, aRide(), 1)
	_, err := m.Motion(Sensor{}, 1)
	require.Error(t, err)
	_, err = m.Motion(Sensor{RateHz: math.NaN()}, 1)
	require.Error(t, err)
	_, err = m.Positions(Receiver{RateHz: 1}, geo.LatLon{LatDeg: 91}, 0, 1)
	require.Error(t, err)
	_, err = m.Positions(Receiver{}, geo.LatLon{}, 0, 1)
	require.Error(t, err)
}
