package synth

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// aGymnastic: out of a trot over a fence, a stride, a bounce, two strides, and to a halt.
func aGymnastic() Ride {
	r := aRide()
	bounce := fence("3", 40, 19.9, 0, 0)
	bounce.Fence.Bounce = true
	trotted := fence("1", 40, 10, 0, 0)
	trotted.Gait = Trot
	r.Stops = []Stop{r.Stops[0], r.Stops[1], trotted, fence("2", 40, 16.2, 0, 1), bounce, fence("4", 40, 30.2, 0, 2),
		{Pose: Pose{40, 60, 0}, Gait: Canter}, {Pose: Pose{40, 70, 0}, Gait: Walk}}
	for i := 2; i < 6; i++ {
		r.Stops[i].Fence.HeightM = 0.5
		if i > 2 {
			r.Stops[i].SpeedMS = 4.6
		}
	}
	return r
}

func TestGymnasticLine(t *testing.T) {
	m := makeRide(t, aGymnastic(), 1)
	require.Len(t, m.Jumps, 4)
	require.Equal(t, []int{1, 0, 2}, []int{m.Lines[0].Strides, m.Lines[1].Strides, m.Lines[2].Strides})
	require.InDelta(t, 2*edgeStrides*Warmblood().CanterS, m.Jumps[2].TakeoffS-m.Jumps[1].LandingS, 1e-9, "a bounce has no stride")
	require.Equal(t, Trot, m.Gaits[2].Gait)
	require.InDelta(t, m.Jumps[0].TakeoffS, m.Gaits[2].ToS, 1e-9, "it trots to the first fence, and canters from it")
	require.Equal(t, Canter, m.Gaits[3].Gait)
}

// Whatever the moves, a stride's mean load is 1 g and it is never below its floor.
func TestBeatCarriesTheWeight(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for range 300 {
		m := AnyMoves(rng)
		b := m.beat()
		require.InDelta(t, 1, mean(b), 1e-6)
		floor := m.FloorG
		if m.Feet != nil {
			floor = 0
		}
		for i, v := range b {
			require.GreaterOrEqual(t, v, floor)
			require.Less(t, math.Abs(v-b[(i+1)%len(b)]), 0.2, "no step from one two-hundredth of a stride to the next")
		}
		require.Equal(t, b[0], b.at(1))
	}
	// Without a second and third harmonic and too small to reach the floor it is the first one only.
	plain := (&Moves{CanterMS2: gravity / 2}).beat()
	for i := range plain {
		require.InDelta(t, 1+0.5*math.Cos(2*math.Pi*(float64(i)/256-canterCrest)), plain[i], 1e-6)
	}
}

// Two hooves that stand for a quarter each push one after the other, in half sines.
func TestFeetPush(t *testing.T) {
	b := (&Moves{Feet: []Foot{{0, 0.25, 1}, {0.5, 0.25, 3}}}).beat()
	require.InDelta(t, math.Pi/2*4*0.25, b.at(0.125), 1e-3) // a half sine's peak is π/2 of its mean
	require.InDelta(t, math.Pi/2*4*0.75, b.at(0.625), 1e-3)
	require.Zero(t, b.at(0.3))
	require.Zero(t, b.at(0.9))
	// A hoof that stands beyond the stride's end stands at the next one's beginning.
	over := (&Moves{Feet: []Foot{{0.8, 0.4, 1}}}).beat()
	require.InDelta(t, over.at(0.9), over.at(0.1), 0.02)
	require.Zero(t, over.at(0.5))
}

// Gaits have the sizes that are asked for, in flight it falls, and the load lags or leads as asked.
func TestMovesAreAsAsked(t *testing.T) {
	r := aRide()
	r.Horse.Moves = &Moves{WalkMS2: 2, TrotMS2: 6, CanterMS2: 7, Second: 0.2, AirG: 0.05, CanterLateral: 1, CanterRoll: 1}
	m := makeRide(t, r, 1)
	mo, err := m.Motion(sensor(), 1)
	require.NoError(t, err)
	up := upOf(m, mo.TimeS)
	for _, c := range []struct {
		gait int
		want float64
	}{{1, 2}, {2, 6}} {
		g := m.Gaits[c.gait]
		x := between(mo.TimeS, up, g.FromS+0.5, g.ToS-0.5)
		var ss float64
		for _, v := range x {
			ss += (v - mean(x)) * (v - mean(x))
		}
		require.InEpsilon(t, c.want, math.Sqrt(ss/float64(len(x))), 0.12, g.Gait)
	}
	canter := m.Gaits[3]
	require.InEpsilon(t, gravity, mean(between(mo.TimeS, up, canter.FromS, canter.ToS)), 0.03)
	for _, j := range m.Jumps {
		for _, a := range between(mo.TimeS, up, j.TakeoffS+0.06, j.LandingS-0.06) {
			require.InDelta(t, 0.05*gravity, a, 0.05)
		}
	}
	late := *r.Horse.Moves
	late.LagS = 0.03
	r.Horse.Moves = &late
	lag := makeRide(t, r, 1)
	require.Equal(t, m.Jumps, lag.Jumps, "the hooves stay where they are")
	a, _ := m.trunk(m.Jumps[0].TakeoffS)
	b, _ := lag.trunk(m.Jumps[0].TakeoffS + 0.03)
	require.InDelta(t, a.up, b.up, 1e-9)
}

// A soft pad hands on the weight, and less of what is quick.
func TestPad(t *testing.T) {
	r := aRide()
	r.Horse.Moves = &Moves{WalkMS2: 2, TrotMS2: 5, CanterMS2: 6, FloorG: 0.1, CanterLateral: 1, CanterRoll: 1}
	stiff := makeRide(t, r, 1)
	require.Nil(t, stiff.pad())
	soft := *r.Horse.Moves
	soft.PadHz, soft.PadDamping = 6, 0.5
	r.Horse.Moves = &soft
	m := makeRide(t, r, 1)
	pad := m.pad()
	require.InDelta(t, 0, mean(pad), 0.02*gravity)
	require.Zero(t, pad[100], "at a halt")
	c := m.Gaits[3]
	require.Greater(t, largest(pad[int(c.FromS/padStepS):int(c.ToS/padStepS)]), 1.0, "it springs back")
	for i, p := range pad {
		f, _ := m.trunk(float64(i) * padStepS)
		require.GreaterOrEqual(t, f.up+p, -1e-9, "a pad does not pull")
	}
}

// The first stride after a landing is longer and the last before a fence shorter by what was asked, and the line as long.
func TestUnevenStrides(t *testing.T) {
	d := []float64{0.6, 0.6, 0.6, 0.6}
	(&Moves{LongFirst: 0.1, ShortLast: 0.1}).uneven(d, true, true)
	require.InDeltaSlice(t, []float64{0.66, 0.6, 0.6, 0.54}, d, 1e-12)
	(&Moves{LongFirst: 0.1}).uneven(d, false, true)
	require.InDeltaSlice(t, []float64{0.66, 0.6, 0.6, 0.54}, d, 1e-12)
	(*Moves)(nil).uneven(d, true, true)
	require.InDeltaSlice(t, []float64{0.66, 0.6, 0.6, 0.54}, d, 1e-12)
}

// Disunited strides come right after landings, two to five at a time; their side waves follow the forehand, their roll the hind legs.
func TestDisunitedStrides(t *testing.T) {
	r := aRide()
	r.Horse.Moves = &Moves{WalkMS2: 1, TrotMS2: 4, CanterMS2: 6, CanterLateral: 1, CanterRoll: 1, Disunited: 1}
	m := makeRide(t, r, 1)
	r.Horse.Moves.Disunited = 0
	united := makeRide(t, r, 1)
	for i, j := range m.Jumps {
		n := 0
		for k, s := range m.Strides {
			if s.FromS > j.LandingS && (i+1 == len(m.Jumps) || s.ToS < m.Jumps[i+1].TakeoffS) && s.Lead == Disunited {
				n++
				require.NotEqual(t, Disunited, united.Strides[k].Lead)
				at := s.FromS + 0.2
				_, a := m.trunk(at)
				_, b := united.trunk(at)
				fa, _ := m.trunk(at)
				fb, _ := united.trunk(at)
				require.Equal(t, fb.left, fa.left)
				require.NotEqual(t, b.roll, a.roll)
			}
		}
		require.True(t, n >= 2 && n <= 5, "%d strides", n)
	}
}
