package detect

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"groundline/trace"
	"groundline/trace/synth"
	"pgregory.net/rapid"
)

// sameEvents compares what two tellings of one ride found, the second's times brought back by at.
func sameEvents(t require.TestingT, a, b *Events, within float64, at func(s float64) float64) {
	require.Len(t, b.Jumps, len(a.Jumps))
	for i, j := range a.Jumps {
		k := b.Jumps[i]
		require.InDelta(t, j.TakeoffS.Value, at(k.TakeoffS.Value), within)
		require.InDelta(t, j.LandingS.Value, at(k.LandingS.Value), within)
		require.InDelta(t, j.Confidence, k.Confidence, 0.05)
	}
	require.Len(t, b.BeatS, len(a.BeatS))
	for i := range a.BeatS {
		require.InDelta(t, a.BeatS[i], at(b.BeatS[i]), within)
	}
	require.Len(t, b.Gaits, len(a.Gaits))
	for i, g := range a.Gaits {
		require.Equal(t, g.Gait, b.Gaits[i].Gait)
	}
}

func events(t require.TestingT, m *trace.Motion) *Events {
	ev, err := FromMotion(m, Options{})
	require.NoError(t, err)
	return ev
}

func same(s float64) float64 { return s }

// TestMadeRide: on a ride by another maker than the labelled rounds', everything is found.
func TestMadeRide(t *testing.T) {
	for name, h := range map[string]synth.Horse{"warmblood": synth.Warmblood(), "pony": synth.Pony()} {
		for _, hz := range []float64{25, 50, 100, 200, 400} {
			made := aRound(t, h, 7)
			ev := events(t, aMotion(t, made, saddle(hz), 3))
			require.Len(t, ev.Jumps, len(made.Jumps), "%s %v Hz", name, hz)
			for i, j := range made.Jumps {
				require.InDelta(t, j.TakeoffS, ev.Jumps[i].TakeoffS.Value, 0.02, "%s %v Hz", name, hz)
				require.InDelta(t, j.LandingS, ev.Jumps[i].LandingS.Value, 0.02, "%s %v Hz", name, hz)
				require.Greater(t, ev.Jumps[i].Confidence, 0.9)
			}
			for i, l := range made.Lines {
				n, beats := ev.CountBetween(ev.Jumps[i].LandPeakS, ev.Jumps[i+1].PushPeakS)
				require.Equal(t, trace.Exactly(float64(l.Strides)), n, "%s %v Hz, line %s-%s", name, hz, l.From, l.To)
				require.Len(t, beats, l.Strides)
			}
			var want, got [4]int
			for _, s := range made.Strides {
				switch s.Gait {
				case synth.Walk:
					want[Walk]++
				case synth.Trot:
					want[Trot]++
				case synth.Canter:
					want[Canter]++
				}
			}
			for _, s := range ev.Strides {
				got[s.Gait]++
			}
			require.Equal(t, want[Canter], got[Canter], "%s %v Hz", name, hz)
			require.InDelta(t, want[Walk], got[Walk], 2, "%s %v Hz", name, hz)
			require.InDelta(t, want[Trot], got[Trot], 2, "%s %v Hz", name, hz)
			require.InEpsilon(t, h.CanterS, ev.StrideS.Value, 0.1)
		}
	}
}

func TestAnyMountingTellsTheSame(t *testing.T) {
	m := aMotion(t, aRound(t, synth.Warmblood(), 1), saddle(100), 2)
	want := events(t, m)
	rapid.Check(t, func(t *rapid.T) {
		// any turn: a unit quaternion
		angle := func(name string) float64 { return rapid.Float64Range(0, 2*math.Pi).Draw(t, name) }
		a, b := angle("a"), angle("b")
		u := rapid.Float64Range(0, 1).Draw(t, "u")
		w, x, y, z := math.Sqrt(1-u)*math.Sin(a), math.Sqrt(1-u)*math.Cos(a), math.Sqrt(u)*math.Sin(b), math.Sqrt(u)*math.Cos(b)
		r := [3][3]float64{
			{1 - 2*(y*y+z*z), 2 * (x*y - z*w), 2 * (x*z + y*w)},
			{2 * (x*y + z*w), 1 - 2*(x*x+z*z), 2 * (y*z - x*w)},
			{2 * (x*z - y*w), 2 * (y*z + x*w), 1 - 2*(x*x+y*y)},
		}
		turned := func(px, py, pz []float64) (out [3][]float64) {
			for k := range out {
				out[k] = make([]float64, len(px))
				for i := range px {
					out[k][i] = r[k][0]*px[i] + r[k][1]*py[i] + r[k][2]*pz[i]
				}
			}
			return out
		}
		f, g := turned(m.AX, m.AY, m.AZ), turned(m.GX, m.GY, m.GZ)
		n := &trace.Motion{TimeS: m.TimeS, AX: f[0], AY: f[1], AZ: f[2], GX: g[0], GY: g[1], GZ: g[2], RateHz: m.RateHz}
		got := events(t, n)
		sameEvents(t, want, got, 1e-6, same)
		require.InDeltaSlice(t, want.YawRadS, got.YawRadS, 1e-6)
		for i, s := range want.Strides {
			require.Equal(t, s.Lead, got.Strides[i].Lead)
		}
	})
}

func TestLaterIsLater(t *testing.T) {
	m := aMotion(t, aRound(t, synth.Warmblood(), 1), saddle(100), 2)
	want := events(t, m)
	rapid.Check(t, func(t *rapid.T) {
		// the grid moves with the first sample, so the shift changes nothing but rounding
		by := rapid.Float64Range(-1e5, 1e5).Draw(t, "by")
		n := *m
		n.TimeS = make([]float64, len(m.TimeS))
		for i, s := range m.TimeS {
			n.TimeS[i] = s + by
		}
		sameEvents(t, want, events(t, &n), 1e-4, func(s float64) float64 { return s - by })
	})
}

// TestStretchedTime: a ride of k times the time has strides of k times the time, within what a horse does.
func TestStretchedTime(t *testing.T) {
	m := aMotion(t, aRound(t, synth.Warmblood(), 1), saddle(100), 2)
	want := events(t, m)
	for _, k := range []float64{0.9, 0.95, 1.05, 1.1} {
		n := *m
		n.TimeS = make([]float64, len(m.TimeS))
		for i, s := range m.TimeS {
			n.TimeS[i] = s * k
		}
		got := events(t, &n)
		require.Len(t, got.Jumps, len(want.Jumps), "%v", k)
		for i := 1; i < len(want.Jumps); i++ {
			a, _ := want.CountBetween(want.Jumps[i-1].LandPeakS, want.Jumps[i].PushPeakS)
			b, _ := got.CountBetween(got.Jumps[i-1].LandPeakS, got.Jumps[i].PushPeakS)
			require.Equal(t, a, b, "%v", k)
		}
		require.InEpsilon(t, k*want.StrideS.Value, got.StrideS.Value, 0.01, "%v", k)
	}
}

func TestHalfTheRateCountsTheSame(t *testing.T) {
	made := aRound(t, synth.Pony(), 5)
	m := aMotion(t, made, saddle(200), 2)
	want := events(t, m)
	for _, k := range []int{2, 4, 8} {
		sameEvents(t, want, events(t, thinned(m, k)), 0.02, same)
	}
}

// TestNoiseDegradesGracefully: up to a noise of 1 m/s² per sample all jumps and counts stand, and the intervals grow with it.
func TestNoiseDegradesGracefully(t *testing.T) {
	made := aRound(t, synth.Warmblood(), 5)
	quiet := aMotion(t, made, saddle(100), 2)
	want := events(t, quiet)
	last := 0.0
	for _, sd := range []float64{0, 0.3, 1} {
		g := rand.New(rand.NewPCG(1, 2))
		m := *quiet
		add := func(x []float64) []float64 {
			out := make([]float64, len(x))
			for i, v := range x {
				out[i] = v + sd*g.NormFloat64()
			}
			return out
		}
		m.AX, m.AY, m.AZ = add(m.AX), add(m.AY), add(m.AZ)
		ev := events(t, &m)
		require.Len(t, ev.Jumps, len(want.Jumps))
		require.Len(t, ev.BeatS, len(want.BeatS))
		var width float64
		for _, j := range ev.Jumps {
			width += j.TakeoffS.SD()
		}
		require.Greater(t, width, last)
		last = width
	}
}

// TestWithoutGravity: a device that takes gravity out leaves the same events.
func TestWithoutGravity(t *testing.T) {
	m := aMotion(t, aRound(t, synth.Warmblood(), 1), saddle(100), 2)
	want := events(t, m)
	p := resample(m, 0, len(m.TimeS))
	p.findUp(false)
	n := *m
	less := func(x []float64, c int) []float64 {
		out := make([]float64, len(x))
		for i, v := range x {
			out[i] = v - gravityMS2*p.up[c][p.idx(m.TimeS[i])]
		}
		return out
	}
	n.AX, n.AY, n.AZ = less(m.AX, 0), less(m.AY, 1), less(m.AZ, 2)
	for _, told := range []bool{true, false} {
		n.GravityRemoved = told
		sameEvents(t, want, events(t, &n), 0.02, same)
	}
}

// TestLeads: the made ride is on known leads, ridden on both reins; the mirror ride is on the others.
func TestLeads(t *testing.T) {
	made := aRound(t, synth.Warmblood(), 1)
	m := aMotion(t, made, saddle(100), 2)
	mirror := *m
	neg := func(x []float64) []float64 {
		out := make([]float64, len(x))
		for i, v := range x {
			out[i] = -v
		}
		return out
	}
	// a mirror flips one axis of force and the two other axes of turning
	mirror.AY, mirror.GX, mirror.GZ = neg(m.AY), neg(m.GX), neg(m.GZ)
	a, b := events(t, m), events(t, &mirror)
	sameEvents(t, a, b, 1e-6, same)
	right, wrong := 0, 0
	for i, s := range a.Strides {
		flipped := map[Lead]Lead{LeadUnknown: LeadUnknown, LeadLeft: LeadRight, LeadRight: LeadLeft}
		require.Equal(t, flipped[s.Lead], b.Strides[i].Lead)
		for _, q := range made.Strides {
			if q.Gait == synth.Canter && math.Abs(q.FromS-s.FromS) < 0.1 && s.Lead != LeadUnknown {
				if q.Lead == s.Lead.String() {
					right++
				} else {
					wrong++
				}
			}
		}
	}
	t.Logf("leads right %d, wrong %d", right, wrong)
	require.LessOrEqual(t, wrong*20, right)
}

// TestGapIsNotBridged: a hole in the recording is a hole in the gaits, and no stride or jump lies over it.
func TestGapIsNotBridged(t *testing.T) {
	made := aRound(t, synth.Warmblood(), 1)
	m := aMotion(t, made, saddle(100), 2)
	whole := events(t, m)
	require.Len(t, whole.Jumps, 5)
	a := whole.Jumps[1].LandingS.Value + 2.1
	for _, hole := range []struct {
		s    float64
		rows bool // rows are there, but hold no numbers
	}{{0.4, false}, {2, false}, {2, true}} {
		gap := hole.s
		cut := &trace.Motion{RateHz: m.RateHz}
		for i, s := range m.TimeS {
			x := m.AX[i]
			if s >= a && s <= a+gap {
				if !hole.rows {
					continue
				}
				x = math.NaN()
			}
			cut.TimeS = append(cut.TimeS, s)
			cut.AX, cut.AY, cut.AZ = append(cut.AX, x), append(cut.AY, m.AY[i]), append(cut.AZ, m.AZ[i])
		}
		ev := events(t, cut)
		require.Len(t, ev.Jumps, 5)
		over := func(from, to float64) bool { return from < a+gap/2 && to > a+gap/2 }
		for _, s := range ev.Strides {
			require.False(t, over(s.FromS, s.ToS), "stride %v", s)
		}
		for _, g := range ev.Gaits {
			require.False(t, over(g.FromS, g.ToS), "gait %v", g)
		}
		for _, b := range ev.BeatS {
			require.False(t, b > a && b < a+gap)
		}
	}
}

// TestMinConfidence: asked for more than any jump reaches, the jumps stay listed but the strides go on through them.
func TestMinConfidence(t *testing.T) {
	m := aMotion(t, aRound(t, synth.Warmblood(), 1), saddle(100), 2)
	want := events(t, m)
	got, err := FromMotion(m, Options{MinConfidence: 1 - 1e-12})
	require.NoError(t, err)
	require.Len(t, got.Jumps, len(want.Jumps))
	for i := range want.Jumps {
		require.InDelta(t, want.Jumps[i].PushPeakS, got.Jumps[i].PushPeakS, 1e-9)
		require.Greater(t, got.Jumps[i].Confidence, 0.5)
	}
	require.Greater(t, len(got.BeatS), len(want.BeatS))
}

// TestClippedPeaksWidenTheInterval: a sensor that stops at 2 g still shows the jumps, and says less about when.
func TestClippedPeaksWidenTheInterval(t *testing.T) {
	sensor := saddle(100)
	sensor.MountDeg = [3]float64{}
	m := aMotion(t, aRound(t, synth.Warmblood(), 1), sensor, 2)
	want := events(t, m)
	const stop = 2 * gravityMS2
	n := *m
	n.ClippedMS2 = stop
	clip := func(x []float64) []float64 {
		out := make([]float64, len(x))
		for i, v := range x {
			out[i] = math.Max(-stop, math.Min(stop, v))
		}
		return out
	}
	n.AX, n.AY, n.AZ = clip(m.AX), clip(m.AY), clip(m.AZ)
	got := events(t, &n)
	require.Len(t, got.Jumps, len(want.Jumps))
	wider := 0
	for i, j := range got.Jumps {
		require.InDelta(t, want.Jumps[i].TakeoffS.Value, j.TakeoffS.Value, 0.03)
		if j.TakeoffS.SD() > want.Jumps[i].TakeoffS.SD() {
			wider++
		}
	}
	require.Equal(t, len(want.Jumps), wider)
}

// TestLongRecordingIsCutWhereQuiet: three hours are worked on in parts, and lose nothing.
func TestLongRecordingIsCutWhereQuiet(t *testing.T) {
	one := aMotion(t, aRound(t, synth.Warmblood(), 1), saddle(25), 2)
	long := &trace.Motion{RateHz: one.RateHz}
	span := one.TimeS[len(one.TimeS)-1] - one.TimeS[0] + 0.04
	rides := int(3 * 3600 / span)
	for k := range rides {
		for i, s := range one.TimeS {
			long.TimeS = append(long.TimeS, s-one.TimeS[0]+float64(k)*span)
			long.AX, long.AY, long.AZ = append(long.AX, one.AX[i]), append(long.AY, one.AY[i]), append(long.AZ, one.AZ[i])
		}
	}
	require.Greater(t, len(split(long)), 2)
	n := events(t, long)
	a := events(t, one)
	require.Len(t, n.Jumps, rides*len(a.Jumps))
	require.Len(t, n.BeatS, rides*len(a.BeatS))
	for i := 1; i < len(n.Gaits); i++ {
		require.Equal(t, n.Gaits[i-1].ToS, n.Gaits[i].FromS)
	}
}
