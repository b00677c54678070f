package course

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Physics of a turn, a = v²/R and lean = atan(a/g), and the half circle's length and time, worked by hand for
// 300, 350 and 400 m/min.
func TestLean(t *testing.T) {
	for _, c := range []struct{ speedMMin, radiusM, leanDeg float64 }{
		{300, 5, 27.0}, {300, 8, 17.7}, {300, 10, 14.3}, {300, 15, 9.6}, {300, 20, 7.3},
		{350, 5, 34.8}, {350, 8, 23.4}, {350, 10, 19.1}, {350, 15, 13.0}, {350, 20, 9.8},
		{400, 5, 42.2}, {400, 8, 29.5}, {400, 10, 24.4}, {400, 15, 16.8}, {400, 20, 12.8},
	} {
		require.InDelta(t, c.leanDeg, LeanDeg(c.speedMMin/60, c.radiusM), 0.06)
		require.InDelta(t, c.radiusM, TurnRadiusM(c.speedMMin/60, LeanDeg(c.speedMMin/60, c.radiusM)), 1e-9)
	}
	require.InDelta(t, 9.53, TurnRadiusM(350.0/60, usualLeanDeg), 0.01)
	require.InDelta(t, 6.01, TurnRadiusM(350.0/60, tightestLeanDeg), 0.01)
	half := Piece{LengthM: math.Pi * 8, Curvature1M: 1.0 / 8}
	require.InDelta(t, 25.1, half.LengthM, 0.05)
	require.InDelta(t, 4.31, half.LengthM/(350.0/60), 0.005)
	at, deg := half.At(half.LengthM)
	require.InDelta(t, 16, at.X, 1e-9, "a half circle to the right ends two radii to the right")
	require.InDelta(t, 0, at.Y, 1e-9)
	require.InDelta(t, 180, deg, 1e-9)
}

// Ways whose length is known from plane geometry.
func TestTurnsOfKnownLength(t *testing.T) {
	shortest := func(to Point, deg, r float64) float64 {
		l := math.Inf(1)
		for _, p := range turns(Point{}, 0, to, deg, r) {
			if p == nil {
				continue
			}
			l = min(l, p.LengthM())
		}
		return l
	}
	require.InDelta(t, 30, shortest(Point{0, 30}, 0, 8), 1e-9, "straight on")
	require.InDelta(t, math.Pi*8, shortest(Point{16, 0}, 180, 8), 1e-9, "half a circle")
	require.InDelta(t, math.Pi*8+10, shortest(Point{26, 0}, 180, 8), 1e-9, "two quarters and a straight between")
	// Both arcs to the right: centres at (8, 0) and (15, 5), arcs of 90° together.
	require.InDelta(t, math.Sqrt(7*7+5*5)+math.Pi/2*8, shortest(Point{15, 13}, 90, 8), 1e-9)
	// Two equal arcs that meet: a lane change sideways by 2r(1 - cos 30°).
	r := 10.0
	side := 2 * r * (1 - math.Cos(math.Pi/6))
	require.InDelta(t, 2*r*math.Pi/6, shortest(Point{side, 2 * r * math.Sin(math.Pi/6)}, 0, r), 1e-9)
}

func TestEveryWayEndsWhereItShould(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.Float64Range(-60, 60)
		a := Point{m.Draw(t, "x"), m.Draw(t, "y")}
		b := Point{m.Draw(t, "x2"), m.Draw(t, "y2")}
		degA, degB := rapid.Float64Range(0, 359.99).Draw(t, "deg"), rapid.Float64Range(0, 359.99).Draw(t, "deg2")
		r := rapid.Float64Range(2, 15).Draw(t, "r")
		ways := turns(a, degA, b, degB, r)
		require.NotNil(t, ways[0])
		require.NotNil(t, ways[1])
		for _, w := range ways {
			if w == nil {
				continue
			}
			at, deg := a, degA
			for _, q := range w {
				require.InDelta(t, 0, distance(at, q.From), 1e-6, "no hole")
				require.InDelta(t, 0, turnDeg(deg, q.BearingDeg), 1e-6, "no corner")
				at, deg = q.At(q.LengthM)
			}
			require.InDelta(t, 0, distance(at, b), 1e-5)
			require.InDelta(t, 0, turnDeg(deg, degB), 1e-4)
			require.GreaterOrEqual(t, w.LengthM(), distance(a, b)-1e-5, "no shorter than the straight line")
			if len(w) > 0 {
				require.GreaterOrEqual(t, w.TightestM(), r-1e-9)
			}
		}
	})
}

// The length of a course is measured on the line that a horse would follow through the middle
// of every obstacle, in whole metres (Royal Dutch federation, art. 204.1): so it is longer than point to point, and the
// track goes through every middle in the right direction.
func TestTrackThroughTheMiddles(t *testing.T) {
	p, _ := mustRead(t, goodPlan)
	track := p.PlanTrack(StandardStrideM)
	require.True(t, track.FromStart)
	require.True(t, track.ToFinish)
	require.Len(t, track.Legs, 5)
	require.Equal(t, "start", track.Legs[0].From)
	require.Equal(t, "finish", track.Legs[4].To)
	var points, sum float64
	for i, l := range track.Legs {
		at, deg := l.Path.At(l.Path.LengthM())
		sum += l.Path.LengthM()
		points += distance(l.Path[0].From, at)
		require.Zero(t, l.OutsideM)
		if i > 0 {
			o, ok := p.Obstacle(l.From)
			require.True(t, ok)
			require.InDelta(t, 0, distance(l.Path[0].From, o.At), 1e-9)
			require.InDelta(t, 0, turnDeg(l.Path[0].BearingDeg, o.FacingDeg), 1e-9)
		}
		if i < 4 {
			o, _ := p.Obstacle(l.To)
			require.InDelta(t, 0, distance(at, o.At), 1e-6)
			require.InDelta(t, 0, turnDeg(deg, o.FacingDeg), 1e-6)
		}
	}
	require.InDelta(t, sum, track.LengthM, 1e-9)
	require.Greater(t, track.LengthM, points+1)
	require.InDelta(t, 8.4, track.Legs[3].Path.LengthM(), 1e-9, "a combination is straight")
	require.InDelta(t, 22, track.Legs[1].Path.LengthM(), 1e-9, "so is a related line")
}

func TestTrackWithoutRoomSaysSo(t *testing.T) {
	// A fence 3 m from the end of a small arena, jumped towards it: no horse turns there.
	p := &Plan{SpeedMMin: 350, Arena: []Point{{0, 0}, {20, 0}, {20, 40}, {0, 40}},
		Obstacles: []Obstacle{{ID: "1", At: Point{10, 37}}, {ID: "2", At: Point{10, 10}, FacingDeg: 180}}, Route: []string{"1", "2"}}
	p.SetLines(nil)
	require.Greater(t, p.PlanTrack(StandardStrideM).Legs[0].OutsideM, 2.0)
	p.Arena = nil
	require.Zero(t, p.PlanTrack(StandardStrideM).Legs[0].OutsideM)
	require.Zero(t, (&Plan{}).PlanTrack(StandardStrideM).LengthM)
}

// An obstacle jumped twice running is ridden round to, whatever its spread.
func TestTrackBackToTheSameObstacle(t *testing.T) {
	p := &Plan{Obstacles: []Obstacle{{ID: "1", Kind: Cross}}, Route: []string{"1", "1"}}
	p.SetLines(nil)
	require.Greater(t, p.PlanTrack(StandardStrideM).LengthM, 2*math.Pi*TurnRadiusM(usualSpeedMMin/60, tightestLeanDeg))
}

func TestTrackStaysWhenThePlanIsMoved(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := ridablePlan().Draw(t, "plan")
		mirror := rapid.Bool().Draw(t, "mirror")
		q := moved(p, rapid.Float64Range(0, 360).Draw(t, "turn"), 3, -7, mirror)
		a, b := p.PlanTrack(3.4), q.PlanTrack(3.4)
		require.InDelta(t, a.LengthM, b.LengthM, 1e-4)
		require.Equal(t, p.PlannedStrides(a, 3.4), q.PlannedStrides(b, 3.4))
		for i := range a.Legs {
			net, total := a.Legs[i].Path.TurnedDeg()
			netQ, totalQ := b.Legs[i].Path.TurnedDeg()
			if mirror {
				netQ = -netQ
			}
			require.InDelta(t, total, totalQ, 1e-4)
			// Where left and right are as good as each other, either may be taken.
			if math.Abs(net-netQ) > 1e-4 {
				require.InDelta(t, a.Legs[i].Path.LengthM(), b.Legs[i].Path.LengthM(), 1e-6)
			}
		}
	})
}
