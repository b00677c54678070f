package course

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/trace"
)

// newNormal draws standard normal numbers from a seed.
func newNormal(seed uint64) func() float64 { return rand.New(rand.NewPCG(seed, 0)).NormFloat64 }

func exactHorse(strideM, landingM, takeoffM float64) Horse {
	return Horse{Name: "test", StrideM: trace.Exactly(strideM), LandingM: trace.Exactly(landingM), TakeoffM: trace.Exactly(takeoffM)}
}

// 6 ft landing, n times 12 ft, 6 ft take-off: the rule of the trade gives whole numbers on 24 to 84 ft, and what
// a stride more or less would ask, worked by hand on 72 ft: five strides of 12 ft, or four of 15, or six of 10.
func TestWalkOnTheRuleOfTheTrade(t *testing.T) {
	h := exactHorse(feet(12, 0), feet(6, 0), feet(6, 0))
	for i, ft := range []float64{24, 36, 48, 60, 72, 84} {
		p := twoFences(feet(ft, 0)+0.6, 0, 0)
		for j := range p.Obstacles {
			p.Obstacles[j].HeightM = 0.3 // the tables' 24 and 36 ft are those of low fences
		}
		l := p.Walk(h).Lines[0]
		require.InDelta(t, float64(i+1), l.Real.Value, 1e-9)
		require.Equal(t, i+1, l.Whole)
		n := slices.IndexFunc(l.Asked, func(a Asked) bool { return a.Strides == l.Whole })
		require.InDelta(t, 0, l.Asked[n].PerStrideM.Value, 1e-9)
		require.Equal(t, "right", l.Asked[n].Says)
		require.True(t, l.Asked[n].CanBeRidden)
	}
	l := twoFences(feet(72, 0)+0.6, 0, 0).Walk(h).Lines[0]
	require.Len(t, l.Asked, 3)
	require.InDelta(t, feet(15, 0), l.Asked[0].StrideM.Value, 1e-9)
	require.Equal(t, "long", l.Asked[0].Says)
	require.False(t, l.Asked[0].CanBeRidden, "a stride of 15 ft is none")
	require.InDelta(t, feet(10, 0), l.Asked[2].StrideM.Value, 1e-9)
	require.Equal(t, "tight", l.Asked[2].Says)
	require.InDelta(t, -feet(2, 0), l.Asked[2].PerStrideM.Value, 1e-9)
	require.True(t, l.Asked[2].CanBeRidden, "10 ft is a riding-school stride")
}

// The doubt of the real number, by drawing the three lengths at random: 90 % of the draws lie inside.
func TestWalkDoubtHolds(t *testing.T) {
	h := Horse{StrideM: trace.FromSD(3.5, 0.12), LandingM: trace.FromSD(1.9, 0.2), TakeoffM: trace.FromSD(1.7, 0.15)}
	walked := 22.0
	p := twoFences(22.6, 0, 0)
	p.SetLines([]Line{{From: "1", To: "2", WalkedM: &walked}})
	l := p.Walk(h).Lines[0]
	rnd := newNormal(3)
	in := 0
	const draws = 20000
	for range draws {
		n := (22 + l.GroundM.SD()*rnd() - 1.9 - 0.2*rnd() - 1.7 - 0.15*rnd()) / (3.5 + 0.12*rnd())
		if n >= l.Real.Low && n <= l.Real.High {
			in++
		}
	}
	require.InDelta(t, 0.90, float64(in)/draws, 0.015)
}

func TestFitSays(t *testing.T) {
	require.Equal(t, "right", FitSays(0.069, 3.5))
	require.Equal(t, "long", FitSays(0.071, 3.5))
	require.Equal(t, "tight", FitSays(-0.071, 3.5))
}

// Uphill shortens by 0.33 % a per cent (Parsons, Pfau and Wilson 2008): at their 8 and 12 % the measured 4.73 m and
// 5.95 m became 4.57 and 5.76 m. Home has a sign only and is left out unless it is given.
func TestSlopeAndHomeOnTheStride(t *testing.T) {
	p := twoFences(22.6, 0, 0)
	p.Levels = []Spot{{0, 0, 0}, {0, 100, 10}, {50, 0, 0}} // 10 % uphill along +y
	p.Home = &Point{0, 500}
	h := exactHorse(4.73, 2, 2)
	h.GradeRel = defaultGradeRel()
	l := p.Walk(h).Lines[0]
	require.InDelta(t, 4.57, l.StrideM.Value, 0.01)
	require.InDelta(t, -0.156, l.GradeM.Value, 0.001)
	require.Nil(t, l.HomewardM)
	require.Less(t, l.GradeM.Low, l.GradeM.Value)
	require.GreaterOrEqual(t, l.GradeM.High, -0.001, "no effect at all stays possible")
	home := trace.Exactly(0.04)
	h.GradeRel, h.HomewardRel = nil, &home
	l = p.Walk(h).Lines[0]
	require.Nil(t, l.GradeM)
	require.InDelta(t, 0.04*4.73, l.HomewardM.Value, 1e-6)
	require.InDelta(t, 1.04*4.73, l.StrideM.Value, 1e-6)
}

func TestCameInWeakAndForward(t *testing.T) {
	h := exactHorse(feet(12, 0), feet(6, 0), feet(6, 0))
	l := twoFences(feet(72, 0)+0.6, 0, 0).Walk(h).Lines[0]
	require.Len(t, l.In, 2)
	require.Equal(t, "weak", l.In[0].How)
	// By hand: landing a seventh short (0.257 m) and five strides 4 % short (0.731 m) leave 0.99 m.
	require.InDelta(t, 0.257+0.731, l.In[0].LeftM.Value, 0.002)
	require.InDelta(t, 0.988/5, l.In[0].PerStrideM.Value, 0.001)
	require.InDelta(t, -l.In[0].LeftM.Value, l.In[1].LeftM.Value, 1e-9, "forward is as much over")
	require.Nil(t, twoFences(60, 0, 0).Walk(h).Lines[0].In, "a lone fence is no line")
}

// A single arc between two fences whose facings meet the straight line at the same angle θ: length
// Dθ/sin θ, sagitta D/2 tan(θ/2), radius D/(2 sin θ). The square track of a bending line is that arc.
func TestBendingArcIsTheCirclesOwn(t *testing.T) {
	const d, theta = 24.0, 20.0
	rad := theta * math.Pi / 180
	path := biarc(Point{}, Point{0, d}, -theta, theta)
	require.InDelta(t, d*rad/math.Sin(rad), path.LengthM(), 1e-9)
	require.InDelta(t, d/(2*math.Sin(rad)), path.TightestM(), 1e-9)
	mid, deg := path.At(path.LengthM() / 2)
	require.InDelta(t, d/2*math.Tan(rad/2), toLine(mid, Point{}, Point{0, d}), 1e-9)
	require.InDelta(t, 0, turnDeg(deg, 0), 1e-9)
	net, _ := path.TurnedDeg()
	require.InDelta(t, 2*theta, net, 1e-9, "a bow to the left turns right")
}

func TestBiarcEndsWhereItShould(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		to := Point{rapid.Float64Range(-30, 30).Draw(t, "x"), rapid.Float64Range(5, 40).Draw(t, "y")}
		way := bearing(Point{}, to)
		a, b := rapid.Float64Range(-84, 84).Draw(t, "a"), rapid.Float64Range(-84, 84).Draw(t, "b")
		path := biarc(Point{}, to, way+a, way+b)
		require.InDelta(t, 0, turnDeg(way+a, path[0].BearingDeg), 1e-9)
		at, deg := path[0].At(path[0].LengthM)
		require.InDelta(t, 0, distance(at, path[1].From), 1e-6)
		require.InDelta(t, 0, turnDeg(deg, path[1].BearingDeg), 1e-6)
		at, deg = path[1].At(path[1].LengthM)
		require.InDelta(t, 0, distance(at, to), 1e-6)
		require.InDelta(t, 0, turnDeg(deg, way+b), 1e-4)
		require.GreaterOrEqual(t, path.LengthM(), distance(Point{}, to)-1e-6)
	})
}

// Riders' example of a bending line: a normal five on the direct track and a quiet six when bowed out. Here 70° of
// turn on 25.6 m: the tracks differ by length, bow and radius, the outer one has the stride more.
func TestBendingLineHasATrackForEachNumber(t *testing.T) {
	h := exactHorse(3.5, 1.75, 1.75)
	p := twoFences(24.6, 35, 35)
	l := p.Walk(h).Lines[0]
	require.Equal(t, Bending, l.Kind, l.Why)
	require.GreaterOrEqual(t, len(l.Tracks), 2)
	for i, tr := range l.Tracks {
		require.True(t, tr.Asked.CanBeRidden)
		require.Equal(t, tr.Strides, tr.Asked.Strides)
		require.LessOrEqual(t, tr.AskewDeg, askewMostDeg+1e-9)
		require.GreaterOrEqual(t, *tr.TightestM, TurnRadiusM(usualSpeedMMin/60, tightestLeanDeg))
		require.InDelta(t, (tr.LengthM-3.5)/float64(tr.Strides), tr.Asked.StrideM.Value, 1e-9)
		if i > 0 {
			require.Equal(t, l.Tracks[i-1].Strides+1, tr.Strides)
			require.GreaterOrEqual(t, tr.LengthM, l.Tracks[i-1].LengthM)
			require.GreaterOrEqual(t, tr.OutsideM, l.Tracks[i-1].OutsideM)
		}
	}
	require.Greater(t, l.Tracks[len(l.Tracks)-1].LengthM-l.Tracks[0].LengthM, 1.5)
	require.InDelta(t, 0, l.Square.AskewDeg, 1e-9)
	require.InDelta(t, 24.6*(35*math.Pi/180)/math.Sin(35*math.Pi/180)-0.6, l.Square.LengthM, 1e-9, "one arc")
	// A boundary close outside the bow takes the wide track away.
	wide := l.Tracks[len(l.Tracks)-1].LengthM
	p.Arena = []Point{{-0.3, -20}, {60, -20}, {60, 60}, {-0.3, 60}}
	for _, tr := range p.Walk(h).Lines[0].Tracks {
		require.Less(t, tr.LengthM, wide)
	}
}

// A rollback that is a plain half circle: fences side by side, 30 m apart, jumped in opposite directions. Cut and wide
// turn end to end are straights and arcs, by hand; at 350 m/min the wide one has 9.53 m radius and the tight one 6.01.
func TestRollbackCutAndWide(t *testing.T) {
	p := &Plan{SpeedMMin: 350, Obstacles: []Obstacle{{ID: "1", Kind: Vertical}, {ID: "2", Kind: Vertical, At: Point{24, 0}, FacingDeg: 180}}, Route: []string{"1", "2"}}
	p.SetLines([]Line{{From: "1", To: "2", Kind: Rollback}})
	h := exactHorse(3.4, 1.7, 1.7)
	pace := trace.FromSD(350.0/60, 0.1)
	h.SpeedMS = &pace
	c := p.Walk(h).Lines[0].Turn
	require.InDelta(t, 6.01, c.Cut.RadiusM, 0.01)
	require.InDelta(t, 9.53, c.Wide.RadiusM, 0.01)
	// Straight 1.7 m behind the first and 3.4 m before the second, two arcs of half a circle together, and between
	// their centres 24 m less two radii across and 1.7 m lengthways.
	length := func(r float64) float64 { return 1.7 + 3.4 + math.Pi*r + math.Hypot(24-2*r, 1.7) }
	require.InDelta(t, length(c.Cut.RadiusM), c.Cut.LengthM, 1e-6)
	require.InDelta(t, length(c.Wide.RadiusM), c.Wide.LengthM, 1e-6)
	require.InDelta(t, c.Wide.LengthM-c.Cut.LengthM, c.LongerM.Value, 1e-9)
	require.InDelta(t, c.LongerM.Value/(350.0/60), c.LaterS.Value, 1e-9)
	require.Less(t, c.LaterS.Low, c.LaterS.Value)
	require.InDelta(t, c.Cut.LengthM/(350.0/60), c.Cut.TimeS.Value, 1e-9)
	require.Zero(t, c.Wide.OutsideM)
	// A wall where only the tight turn fits leaves no choice of width; where none fits, that is told.
	p.Arena = []Point{{-5, -30}, {30, -30}, {30, 10}, {-5, 10}}
	c = p.Walk(h).Lines[0].Turn
	require.Less(t, c.Wide.RadiusM, 7.5)
	require.LessOrEqual(t, c.Wide.OutsideM, outsideToldM)
	p.Arena = []Point{{-5, -30}, {30, -30}, {30, 5}, {-5, 5}}
	c = p.Walk(h).Lines[0].Turn
	require.Greater(t, c.Cut.OutsideM, 1.0)
	require.Zero(t, c.LongerM.Value)
	// An obstacle in the way is gone round or told.
	p.Arena = nil
	p.Obstacles = append(p.Obstacles, Obstacle{ID: "3", Kind: Wall, At: Point{12, 10}, FacingDeg: 90, WidthM: 3})
	c = p.Walk(h).Lines[0].Turn
	require.Empty(t, c.Cut.Through)
	require.Empty(t, c.Wide.Through)
}

func TestWalkStaysWhenThePlanIsMoved(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := ridablePlan().Draw(t, "plan")
		q := moved(p, rapid.Float64Range(0, 360).Draw(t, "turn"), 5, 9, rapid.Bool().Draw(t, "mirror"))
		h := Profiles()[0].Horse()
		a, b := p.Walk(h), q.Walk(h)
		for i := range a.Lines {
			x, y := a.Lines[i], b.Lines[i]
			require.InDelta(t, x.Real.Value, y.Real.Value, 1e-3)
			require.Equal(t, len(x.Tracks), len(y.Tracks))
			require.Equal(t, x.Turn == nil, y.Turn == nil)
			if x.Turn != nil {
				require.InDelta(t, x.Turn.Cut.LengthM, y.Turn.Cut.LengthM, 1e-3)
			}
		}
	})
}

// Nothing that a walk tells may be no number, whatever the plan.
func TestWalkIsFinite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPlan().Draw(t, "plan")
		h := Profiles()[rapid.IntRange(0, 4).Draw(t, "profile")].Horse()
		w := p.Walk(h)
		_, err := json.Marshal(w) // refuses NaN and infinities
		require.NoError(t, err)
	})
}

// The walk of each round's plan for its own horse, with the stride, landing and take-off that it had on that round:
// how often the number of strides walked is the one ridden on the related lines. (A horse changes its stride
// to make a distance fit, so the stride of one line alone predicts another one badly.)
func TestWalkPredictsRiddenStrides(t *testing.T) {
	right, all := 0, 0
	var gradeOff, homeOff []float64
	for f, p := range sharedPlans(t) {
		data, err := os.ReadFile(filepath.Join(filepath.Dir(f), "truth.json"))
		require.NoError(t, err)
		var truth struct {
			Efforts []struct {
				Outcome string   `json:"outcome"`
				Takeoff *float64 `json:"takeoff_distance_m"`
				Landing *float64 `json:"landing_distance_m"`
			} `json:"efforts"`
			Lines []struct {
				From     string   `json:"from"`
				To       string   `json:"to"`
				Strides  int      `json:"strides"`
				StrideM  *float64 `json:"stride_length_m"`
				Grade    float64  `json:"grade_mean"`
				Homeward float64  `json:"homeward_mean"`
			} `json:"lines"`
		}
		require.NoError(t, json.Unmarshal(data, &truth))
		var landing, takeoff, stride []float64
		for _, e := range truth.Efforts {
			if e.Outcome == "jumped" && e.Takeoff != nil && e.Landing != nil {
				landing, takeoff = append(landing, *e.Landing), append(takeoff, *e.Takeoff)
			}
		}
		type ridden struct{ plan, truth int }
		var related []ridden
		for i, l := range truth.Lines {
			k := slices.IndexFunc(p.Lines, func(q Line) bool { return q.From == l.From && q.To == l.To && q.Kind == Related })
			const roundAgain = 12 // more strides than that on a related line: it was ridden in a circle
			if k < 0 || l.StrideM == nil || l.Strides > roundAgain {
				continue
			}
			related = append(related, ridden{k, i})
			stride = append(stride, *l.StrideM)
		}
		if len(related) == 0 || len(landing) == 0 {
			continue
		}
		w := p.Walk(HorseFromHooves("", trace.Exactly(mean(stride)), trace.Exactly(mean(landing)), trace.Exactly(mean(takeoff))))
		for _, r := range related {
			l, got := truth.Lines[r.truth], w.Lines[r.plan]
			all++
			if got.Whole == l.Strides {
				right++
			}
			gradeOff = append(gradeOff, math.Abs(*got.Grade-l.Grade))
			homeOff = append(homeOff, math.Abs(*got.Homeward-l.Homeward))
		}
	}
	slices.Sort(gradeOff)
	slices.Sort(homeOff)
	t.Logf("%d of %d related lines ridden as walked; grade of the planned way off the ridden one: 90 %% within %.4f, homeward %.3f",
		right, all, gradeOff[len(gradeOff)*9/10], homeOff[len(homeOff)*9/10])
	require.GreaterOrEqual(t, float64(right), 0.9*float64(all))
	require.Less(t, gradeOff[len(gradeOff)*9/10], 0.003)
	require.Less(t, homeOff[len(homeOff)*9/10], 0.05)
}

func mean(v []float64) float64 {
	var s float64
	for _, x := range v {
		s += x / float64(len(v))
	}
	return s
}
