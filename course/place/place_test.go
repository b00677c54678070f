package place

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/course"
)

func TestPathAtFollowsAParabolaExactly(t *testing.T) {
	// x = t + t²/2 is within a cubic, so between samples too it must come back to rounding.
	q := Piece{FromS: 3}
	for i := range 41 {
		u := float64(i) * StepS
		q.X, q.Y = append(q.X, u+u*u/2), append(q.Y, -2*u)
		q.VX, q.VY = append(q.VX, 1+u), append(q.VY, -2)
		q.PlaceSDM, q.SpeedSDMS = append(q.PlaceSDM, 0.1), append(q.SpeedSDMS, 0.2)
	}
	p := &Path{Pieces: []Piece{q}}
	for _, u := range []float64{0, 0.013, 0.5, 1.234, 2} {
		s, ok := p.At(3 + u)
		require.True(t, ok)
		require.InDelta(t, u+u*u/2, s.X, 1e-12)
		require.InDelta(t, -2*u, s.Y, 1e-12)
		require.InDelta(t, math.Hypot(1+u, 2), s.SpeedMS(), 1e-12)
	}
	for _, out := range []float64{2.9, 5.1, math.Inf(1)} {
		_, ok := p.At(out)
		require.False(t, ok, "nothing was recorded at %v", out)
	}
	// The length of a straight stretch, and none across a gap.
	straight := &Path{Pieces: []Piece{line(0, 0, 5, 10), line(20, 0, 5, 10)}}
	l, ok := straight.LengthM(1, 3.33)
	require.True(t, ok)
	require.InDelta(t, 5*2.33, l, 1e-9)
	_, ok = straight.LengthM(9, 21)
	require.False(t, ok, "a gap lies between")
}

// line is a piece along +y at speed v from y0.
func line(fromS, y0, v, durS float64) Piece {
	q := Piece{FromS: fromS}
	for i := range int(durS/StepS) + 1 {
		q.X, q.Y = append(q.X, 0), append(q.Y, y0+v*float64(i)*StepS)
		q.VX, q.VY = append(q.VX, 0), append(q.VY, v)
		q.PlaceSDM, q.SpeedSDMS = append(q.PlaceSDM, 0.1), append(q.SpeedSDMS, 0.1)
	}
	return q
}

// truePlace makes jumps over n obstacles all round as a receiver would show them: shifted, turned, late.
func truePlace(rng *rand.Rand, n int, shiftX, shiftY, turnDeg, lagS float64, timed bool) []Over {
	o := Defaults()
	var out []Over
	for i := range n {
		f := 360 * rng.Float64()
		s, c := math.Sincos(f * deg)
		at := course.Point{X: 80 * rng.Float64(), Y: 40 * rng.Float64()}
		v := 5 + rng.Float64()
		along := o.AheadM + 0.25*rng.NormFloat64() - v*lagS
		if !timed {
			along = 0
		}
		across := 0.25 * rng.NormFloat64()
		dx, dy := at.X-40, at.Y-20
		th := turnDeg * deg
		out = append(out, Over{MidS: float64(i) * 9, Timed: timed,
			Obstacle: course.Obstacle{At: at, FacingDeg: f, WidthM: 3.5},
			At: Sample{X: at.X + along*s + across*c + shiftX + th*dy, Y: at.Y + along*c - across*s + shiftY - th*dx,
				VX: v * s, VY: v * c, PlaceSDM: 0.1}})
	}
	return out
}

func TestFitFindsShiftTurnAndLag(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	p, err := Fit(truePlace(rng, 14, 2.5, -3.1, 1.5, 0.45, true), course.Point{X: 40, Y: 20}, Defaults())
	require.NoError(t, err)
	// The creeping error is fitted too, and what it takes is missing from the shift: some tenths.
	require.InDelta(t, 2.5, p.ShiftX.Value, 0.4)
	require.InDelta(t, -3.1, p.ShiftY.Value, 0.4)
	require.InDelta(t, 1.5, p.TurnDeg.Value, 0.6)
	require.InDelta(t, 0.45, p.LagS.Value, 0.06)
	require.Less(t, p.ResidualM, 0.4)
	for _, e := range []struct{ low, value, high float64 }{{p.ShiftX.Low, 2.5, p.ShiftX.High}, {p.ShiftY.Low, -3.1, p.ShiftY.High}} {
		require.True(t, e.low < e.value && e.value < e.high)
	}
}

func TestFitByPassagesKnowsOnlyAcross(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	p, err := Fit(truePlace(rng, 12, -1.5, 2, 0, 0, false), course.Point{X: 40, Y: 20}, Defaults())
	require.NoError(t, err)
	require.InDelta(t, -1.5, p.ShiftX.Value, 0.5)
	require.InDelta(t, 2, p.ShiftY.Value, 0.5)
	// Nothing was learnt of the lag.
	require.InDelta(t, 0, p.LagS.Value, 1e-9)
	require.InDelta(t, Defaults().LagSDS, p.LagS.SD(), 1e-6)
	// One obstacle tells nothing along itself.
	lone := truePlace(rng, 1, 0, 0, 0, 0, false)
	one, err := Fit(lone, course.Point{}, Defaults())
	require.NoError(t, err)
	s, c := math.Sincos(lone[0].Obstacle.FacingDeg * deg)
	if math.Abs(s) > math.Abs(c) {
		require.Greater(t, one.ShiftX.SD(), 1.5, "x is mostly along the obstacle's facing")
	} else {
		require.Greater(t, one.ShiftY.SD(), 1.5)
	}
}

func TestOneWrongMatchDoesNotDragTheCourse(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	overs := truePlace(rng, 12, 1, 1, 0, 0, true)
	clean, err := Fit(overs, course.Point{X: 40, Y: 20}, Defaults())
	require.NoError(t, err)
	overs[4].At.X += 7
	overs[4].At.Y -= 6
	bad, err := Fit(overs, course.Point{X: 40, Y: 20}, Defaults())
	require.NoError(t, err)
	require.InDelta(t, clean.ShiftX.Value, bad.ShiftX.Value, 0.6)
	require.InDelta(t, clean.ShiftY.Value, bad.ShiftY.Value, 0.6)
}

func TestLayTakesTheOffsetAway(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	p, err := Fit(truePlace(rng, 14, 2, -1, 0, 0.3, true), course.Point{X: 40, Y: 20}, Defaults())
	require.NoError(t, err)
	laid := p.Lay(&Path{Pieces: []Piece{line(0, 0, 5, 60)}})
	s, ok := laid.At(30)
	require.True(t, ok)
	// At 30 s the late receiver shows the place of 29.7 s, 2 m to the right and 1 m back.
	require.InDelta(t, 0-2, s.X, 0.5)
	require.InDelta(t, 5*30.3+1, s.Y, 0.7)
	_, ok = p.Lay(&Path{}).At(0)
	require.False(t, ok)
}

func TestFitOfNothing(t *testing.T) {
	_, err := Fit(nil, course.Point{}, Defaults())
	require.ErrorIs(t, err, ErrNothingOver)
}

// The shift's 90 % interval must hold the truth about nine times in ten over made rides whose error
// creeps as the model says.
func TestShiftIntervalsHold(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	in, n := 0, 0
	for range 150 {
		sx, sy := 3*rng.NormFloat64(), 3*rng.NormFloat64()
		overs := truePlace(rng, 10, sx, sy, 0, 0.1, true)
		wx, wy := 0.8*rng.NormFloat64(), 0.8*rng.NormFloat64()
		k := math.Exp(-9.0 / 60)
		for i := range overs {
			overs[i].At.X += wx
			overs[i].At.Y += wy
			wx, wy = k*wx+0.8*math.Sqrt(1-k*k)*rng.NormFloat64(), k*wy+0.8*math.Sqrt(1-k*k)*rng.NormFloat64()
		}
		p, err := Fit(overs, course.Point{X: 40, Y: 20}, Defaults())
		require.NoError(t, err)
		for _, e := range [][3]float64{{p.ShiftX.Low, sx, p.ShiftX.High}, {p.ShiftY.Low, sy, p.ShiftY.High}} {
			n++
			if e[0] <= e[1] && e[1] <= e[2] {
				in++
			}
		}
	}
	share := float64(in) / float64(n)
	t.Logf("%d of %d shifts inside: %.3f", in, n, share)
	require.InDelta(t, 0.90, share, 0.07)
}

func TestShiftOfTheRideShiftsThePlacement(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		opt := Defaults()
		opt.ShiftSDM, opt.WanderM = 1e3, 0.8 // no prior to pull back
		overs := truePlace(rng, 8, 0, 0, 0, 0, true)
		a, err := Fit(overs, course.Point{X: 40, Y: 20}, opt)
		require.NoError(t, err)
		dx, dy := rapid.Float64Range(-20, 20).Draw(t, "dx"), rapid.Float64Range(-20, 20).Draw(t, "dy")
		for i := range overs {
			overs[i].At.X += dx
			overs[i].At.Y += dy
		}
		b, err := Fit(overs, course.Point{X: 40, Y: 20}, opt)
		require.NoError(t, err)
		require.InDelta(t, dx, b.ShiftX.Value-a.ShiftX.Value, 0.02)
		require.InDelta(t, dy, b.ShiftY.Value-a.ShiftY.Value, 0.02)
	})
}
