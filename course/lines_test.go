package course

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// twoFences is a plan of two obstacles: the first at the origin jumped towards +y, the second d
// metres away (middle to middle) in a direction outDeg right of that, facing inDeg further right.
func twoFences(d, outDeg, inDeg float64) *Plan {
	p := &Plan{Obstacles: []Obstacle{
		{ID: "1", Kind: Vertical, HeightM: 1, SpreadM: 0.2, WidthM: 3.5},
		{ID: "2", Kind: Oxer, At: along(Point{}, outDeg, d), FacingDeg: math.Mod(outDeg+inDeg+720, 360), HeightM: 1, SpreadM: 1, WidthM: 3.5},
	}, Route: []string{"1", "2"}}
	p.SetLines(nil)
	return p
}

// Back of the first to front of the second, along the ground: by hand, a 0.2-m and a 1.0-m spread take
// 0.6 m off the distance of the middles.
func TestDistanceIsBackToFront(t *testing.T) {
	require.InDelta(t, 22.55-0.6, twoFences(22.55, 0, 0).Lines[0].MapM, 1e-9)
	require.InDelta(t, 22.55-0.6, twoFences(22.55, 16, 16).Lines[0].MapM, 1e-9, "bending: still the straight of the map")
	require.Zero(t, twoFences(0.3, 0, 0).Lines[0].MapM, "spreads that overlap leave no distance below zero")
}

// The ends of the ranges: a combination from 6.50 to 12.00 m (Luxembourg federation §508.1), related up to
// seven strides (8 × 12 ft = 29.26 m; Swedish riding-school table).
func TestKindOfALine(t *testing.T) {
	const half = 0.6 // the half spreads of twoFences
	for _, c := range []struct {
		d, out, in float64
		want       LineKind
	}{
		{7.6 + half, 0, 0, Combination},
		{6.5 + half, 0, 0, Combination},
		{12.00 + half, 0, 0, Combination},
		{12.01 + half, 0, 0, Related},
		{3.6 + half, 0, 0, Combination}, // a bounce is no line either
		{21.95 + half, 0, 0, Related},
		{21.95 + half, 9, -9, Related},
		{29.26 + half, 0, 0, Related},
		{29.4 + half, 0, 0, Single},
		{21.95 + half, 16, 16, Bending},
		{21.95 + half, -16, -16, Bending},
		{21.95 + half, 25, 10, Bending},
		{10 + half, 20, 20, Bending}, // not in line: no combination
		{45, 16, 16, Single},
		{18, -4, -135, Rollback},
		{28, 39, 114, Rollback},
		{9, 150, 25, Rollback},  // turned at once, and the fence is near
		{27, -147, -27, Single}, // turned at once, then a long straight to the fence
		{60, -20, -140, Single}, // far off
		{28, -5, 75, Single},    // a corner without room for a related track
		{0.1, 0, 0, Single},     // the same place again
		{20, 180, 0, Single},    // behind the horse
	} {
		l := twoFences(c.d, c.out, c.in).Lines[0]
		require.Equal(t, c.want, l.Kind, "%+v: %s", c, l.Why)
		require.True(t, l.Derived)
		require.NotEmpty(t, l.Why)
	}
}

// Six fences in line 11 m apart are a barrier competition's and no combination (Luxembourg federation §531), but
// three may be one, and letters are believed.
func TestARowOfFencesIsNoCombination(t *testing.T) {
	row := func(ids ...string) []LineKind {
		p := &Plan{Route: ids}
		for i, id := range ids {
			p.Obstacles = append(p.Obstacles, Obstacle{ID: id, Kind: Vertical, At: Point{0, 11 * float64(i)}})
		}
		p.SetLines(nil)
		var out []LineKind
		for _, l := range p.Lines {
			out = append(out, l.Kind)
		}
		return out
	}
	require.Equal(t, []LineKind{Related, Related, Related, Related, Related}, row("1", "2", "3", "4", "5", "6"))
	require.Equal(t, []LineKind{Combination, Combination}, row("1", "2", "3"))
	require.Equal(t, []LineKind{Combination, Combination, Combination}, row("6", "7a", "7b", "7c"))
	require.Equal(t, []LineKind{Combination, Combination, Combination, Combination}, row("6", "7A", "7B", "8", "9"))
}

func TestMeantKindsAndTapesAreTaken(t *testing.T) {
	p := twoFences(22.55, 0, 0)
	walked := 21.5
	p.SetLines([]Line{{From: "2", To: "1", Kind: Single}, {From: "1", To: "2", Kind: Bending, WalkedM: &walked}})
	require.Equal(t, Bending, p.Lines[0].Kind)
	require.False(t, p.Lines[0].Derived)
	require.Equal(t, 21.5, p.Lines[0].DistanceM())
	// A tape without a kind leaves the kind to be derived, from the tape.
	walked = 11.9
	p.SetLines([]Line{{From: "1", To: "2", WalkedM: &walked}})
	require.Equal(t, Combination, p.Lines[0].Kind)
	require.True(t, p.Lines[0].Derived)
}

// ridablePlan draws plans whose obstacles stand some metres apart and at no round angles, so that rounding
// decides nothing when the plan is moved.
func ridablePlan() *rapid.Generator[*Plan] {
	return rapid.Custom(func(t *rapid.T) *Plan {
		seed := rapid.Uint64().Draw(t, "seed")
		rnd := rand.New(rand.NewPCG(seed, 1))
		p := &Plan{Home: &Point{-31, 17}, Start: &[2]Point{{-9, 1}, {-10, 9}}, SpeedMMin: 300 + 100*rnd.Float64()}
		for i := range rapid.IntRange(2, 8).Draw(t, "obstacles") {
			p.Obstacles = append(p.Obstacles, Obstacle{ID: fmt.Sprint(i + 1), Kind: Kinds()[rnd.IntN(7)],
				At:        Point{25*float64(i%3) + 9*rnd.Float64(), 22*float64(i/3) + 9*rnd.Float64()},
				FacingDeg: 360 * rnd.Float64(), HeightM: 0.6 + 0.7*rnd.Float64(), SpreadM: 0.2 + rnd.Float64(), WidthM: 2.5 + rnd.Float64()})
		}
		for _, i := range rnd.Perm(len(p.Obstacles)) {
			p.Route = append(p.Route, p.Obstacles[i].ID)
		}
		for range rapid.IntRange(0, 8).Draw(t, "levels") {
			p.Levels = append(p.Levels, Spot{70 * rnd.Float64(), 60 * rnd.Float64(), 2 * rnd.Float64()})
		}
		if rapid.Bool().Draw(t, "arena") {
			p.Arena = []Point{{-12, -15}, {75, -14}, {77, 71}, {-13, 70}}
		}
		p.SetLines(nil)
		return p
	})
}

// moved is the plan turned about the origin, shifted, and mirrored left to right first where asked.
func moved(p *Plan, turnDeg, dx, dy float64, mirror bool) *Plan {
	s, c := math.Sincos(turnDeg * math.Pi / 180) // clockwise
	at := func(q Point) Point {
		if mirror {
			q.X = -q.X
		}
		return Point{q.X*c + q.Y*s + dx, -q.X*s + q.Y*c + dy}
	}
	q := *p
	q.Obstacles = slices.Clone(p.Obstacles)
	for i := range q.Obstacles {
		o := &q.Obstacles[i]
		o.At = at(o.At)
		if mirror {
			o.FacingDeg = -o.FacingDeg
		}
		o.FacingDeg = math.Mod(o.FacingDeg+turnDeg+1080, 360)
	}
	q.Levels = slices.Clone(p.Levels)
	for i := range q.Levels {
		v := at(Point{q.Levels[i].X, q.Levels[i].Y})
		q.Levels[i].X, q.Levels[i].Y = v.X, v.Y
	}
	q.Arena = slices.Clone(p.Arena)
	for i := range q.Arena {
		q.Arena[i] = at(q.Arena[i])
	}
	pair := func(l *[2]Point) *[2]Point {
		if l == nil {
			return nil
		}
		return &[2]Point{at(l[0]), at(l[1])}
	}
	q.Start, q.Finish = pair(p.Start), pair(p.Finish)
	if p.Home != nil {
		h := at(*p.Home)
		q.Home = &h
	}
	q.SetLines(meantOnly(p.Lines))
	return &q
}

// meantOnly are the lines as a file would give them: derived kinds taken out.
func meantOnly(lines []Line) []Line {
	out := slices.Clone(lines)
	for i := range out {
		if out[i].Derived {
			out[i].Kind = ""
		}
	}
	return out
}

func TestDistancesAndKindsStayWhenThePlanIsMoved(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := ridablePlan().Draw(t, "plan")
		mirror := rapid.Bool().Draw(t, "mirror")
		q := moved(p, rapid.Float64Range(0, 360).Draw(t, "turn"), rapid.Float64Range(-50, 50).Draw(t, "dx"), rapid.Float64Range(-50, 50).Draw(t, "dy"), mirror)
		for i, l := range p.Lines {
			require.InDelta(t, l.MapM, q.Lines[i].MapM, 1e-9)
			a, _ := p.Obstacle(l.From)
			b, _ := p.Obstacle(l.To)
			c, _ := q.Obstacle(l.From)
			d, _ := q.Obstacle(l.To)
			outP, inP := bends(a, b)
			outQ, inQ := bends(c, d)
			if mirror { // left becomes right
				outQ, inQ = -outQ, -inQ
			}
			require.InDelta(t, 0, turnDeg(outP, outQ), 1e-6)
			require.InDelta(t, 0, turnDeg(inP, inQ), 1e-6)
			require.Equal(t, l.Kind, q.Lines[i].Kind)
		}
	})
}

// The kinds that the makers of the rounds gave, against those found from the geometry. The plans are
// two layouts shaken at random, so this is less evidence than its count says.
func TestDerivedKindsAgreeWithGivenOnes(t *testing.T) {
	var given, agree int
	var unlike []string
	for f, p := range sharedPlans(t) {
		q := *p
		meant := slices.Clone(p.Lines)
		for i := range meant {
			meant[i].Kind = ""
		}
		q.SetLines(meant)
		for i, l := range p.Lines {
			if l.Derived {
				continue
			}
			given++
			if l.Kind == q.Lines[i].Kind {
				agree++
			} else {
				unlike = append(unlike, fmt.Sprintf("%s %s-%s given %s, found %s: %s", f, l.From, l.To, l.Kind, q.Lines[i].Kind, q.Lines[i].Why))
			}
		}
	}
	slices.Sort(unlike)
	t.Logf("%d of %d given kinds found from the geometry", agree, given)
	require.GreaterOrEqual(t, float64(agree), 0.95*float64(given), "%v", unlike)
}
