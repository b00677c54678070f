package compare

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/course"
	"groundline/report"
	"groundline/trace"
)

func of(t require.TestingT, attempts ...Attempt) *Comparison {
	c, err := Of(attempts, Options{})
	require.NoError(t, err)
	return c
}

func (c *Comparison) line(t require.TestingT, from, to string) Line {
	for _, l := range c.Lines {
		if l.From == from && l.To == to {
			return l
		}
	}
	require.Failf(t, "no such line", "%s to %s", from, to)
	return Line{}
}

func (l Line) diff(t require.TestingT, k report.Key) Difference {
	for _, d := range l.Differences {
		if d.Key == k {
			return d
		}
	}
	require.Failf(t, "no such difference", "%s", k)
	return Difference{}
}

func estimateNear(t *testing.T, want, got trace.Estimate, what string) {
	t.Helper()
	for _, x := range [][2]float64{{want.Value, got.Value}, {want.Low, got.Low}, {want.High, got.High}} {
		require.InDelta(t, x[0], x[1], 1e-9, what)
	}
}

// Every figure of a line, from debriefs whose numbers are all known.
func TestDifferencesOfTwoRides(t *testing.T) {
	c := of(t, first(), second())
	require.Equal(t, []string{"A", "B"}, []string{c.Attempts[0].Label, c.Attempts[1].Label})
	l := c.line(t, "3", "4")
	require.Len(t, l.Rides, 2)
	require.Equal(t, 21.95, *l.DistanceM)
	require.Equal(t, 5, *l.PlannedStrides)
	root2 := math.Sqrt2
	for _, want := range []struct {
		key  report.Key
		diff trace.Estimate
	}{
		{report.Strides, *exactly(-1)},
		{report.StrideLength, *pm(0.45, 0.08*root2)},
		{report.StrideTime, *pm(0, 0.01*root2)},
		{report.Speed, *pm(0.85, 0.1*root2)},
		{report.SpeedIn, *pm(0.8, 0.3*root2)},
		{report.SpeedOut, *pm(0.9, 0.4*root2)},
		{report.SpeedDrift, *pm(0.1, 0.5*root2)},
		{report.Time, *pm(0, 0.05*root2)}, // 4.0 s each, landing ± 0.03 and take-off ± 0.04
		{report.Track, *pm(0, 0.5*root2)},
		{report.Turned, trace.Estimate{Value: 0, Low: -math.Hypot(1, 4), High: math.Hypot(1, 4)}}, // 1, 0 to 5 each
		{report.SpeedMin, *pm(0.8, 0.3*root2)},
		{report.Landing, *pm(0, 0.3*root2)},
		{report.Takeoff, *pm(0, 0.3*root2)},
		{report.OffPlanned, *exactly(-1)},
		{report.OffUsual, trace.Estimate{Value: 0.05 - 0.5, Low: -0.45 - math.Hypot(0.05, 0.12), High: -0.45 + math.Hypot(0.12, 0.12)}},
		{report.Rhythm, *pm(0, 0.01*root2)},
		{report.Angle, *pm(0, 3*root2)},
		{report.Wander, trace.Estimate{Value: 0, Low: -math.Hypot(0.1, 0.3), High: math.Hypot(0.1, 0.3)}},
	} {
		estimateNear(t, want.diff, l.diff(t, want.key).Difference, string(want.key))
	}
	require.Nil(t, l.Rides[0].Figure(report.Radius), "a straight line has no radius to tell")
	require.Equal(t, 6.0, l.Rides[0].Figure(report.Strides).Value)
	require.Equal(t, 6.0, l.Rides[0].Figure(report.Angle).Value, "without its sign")
	require.InDelta(t, 4.0, l.Rides[1].Figure(report.Time).Value, 1e-9)
	require.InDelta(t, 29.5, *l.Rides[1].AtS, 1e-9, "the landing at 3, the third effort")

	require.Equal(t, BeyondDoubt, l.diff(t, report.Strides).Verdict)
	require.Equal(t, BeyondDoubt, l.diff(t, report.StrideLength).Verdict)
	require.Equal(t, NotResolved, l.diff(t, report.Landing).Verdict)
	turn := c.line(t, "2", "3")
	estimateNear(t, *pm(3, 0.8*root2), turn.diff(t, report.Radius).Difference, "radius")

	// Only the first obstacle has a way in of its own: lines lead to the others.
	in := c.line(t, "", "1")
	require.Equal(t, "way in", in.Kind)
	for _, l := range c.Lines {
		require.True(t, l.From != "" || l.To == "1")
	}
	var keys []report.Key
	for _, d := range in.Differences {
		keys = append(keys, d.Key)
	}
	require.Equal(t, []report.Key{report.Takeoff, report.Angle, report.Wander}, keys)
}

// Every difference and trend that is listed was judged with the others.
func TestTestsAreWhatIsListed(t *testing.T) {
	for _, x := range comparisons() {
		c := of(t, x.attempts...)
		n := len(c.Rounds.Differences)
		for _, l := range c.Lines {
			n += len(l.Differences) + len(l.Trends)
			for _, d := range l.Differences {
				require.NotEmpty(t, d.Verdict)
			}
			for _, d := range l.Trends {
				require.NotEmpty(t, d.Verdict)
			}
		}
		require.Equal(t, n, c.Tests, x.name)
	}
}

func TestImprovement(t *testing.T) {
	with := func(change func(*report.Line, *report.Effort)) Attempt {
		d := round("ride", way("1", "2", 6, 3.2, 5.5, 6.5))
		d.Lines[0].SpeedDriftMS = pm(1, 0.1)
		d.Efforts[1].Approach = &report.Approach{AngleDeg: pm(-20, 1), StraightRMSM: pm(0.6, 0.05)}
		change(&d.Lines[0], &d.Efforts[1])
		return Attempt{"ride", d}
	}
	none := func(*report.Line, *report.Effort) {}
	for _, c := range []struct {
		name          string
		change        func(*report.Line, *report.Effort)
		says          string
		better, worse []report.Key
	}{
		{"nothing", none, "not resolved", nil, nil},
		{"planned strides", func(l *report.Line, _ *report.Effort) { l.Strides = exactly(5) }, "improved", []report.Key{report.OffPlanned}, nil},
		{"one too few is as far off as one too many", func(l *report.Line, _ *report.Effort) { l.Strides = exactly(4) }, "not resolved", nil, nil},
		{"further from the plan", func(l *report.Line, _ *report.Effort) { l.Strides = exactly(7) }, "declined", nil, []report.Key{report.OffPlanned}},
		{"its own stride", func(l *report.Line, _ *report.Effort) { l.Fit.PerStrideM = pm(0.02, 0.03) }, "improved", []report.Key{report.OffUsual}, nil},
		{"rhythm", func(l *report.Line, _ *report.Effort) { l.RhythmCV = pm(0.005, 0.001) }, "improved", []report.Key{report.Rhythm}, nil},
		{"even pace", func(l *report.Line, _ *report.Effort) { l.SpeedDriftMS = pm(-0.1, 0.1) }, "improved", []report.Key{report.PaceChange}, nil},
		{"square", func(_ *report.Line, e *report.Effort) { e.Approach.AngleDeg = pm(4, 1) }, "improved", []report.Key{report.Angle}, nil},
		{"straight", func(_ *report.Line, e *report.Effort) { e.Approach.StraightRMSM = pm(0.1, 0.05) }, "improved", []report.Key{report.Wander}, nil},
		{"the other side is no squarer", func(_ *report.Line, e *report.Effort) { e.Approach.AngleDeg = pm(20, 1) }, "not resolved", nil, nil},
		{"both ways", func(l *report.Line, e *report.Effort) { l.Strides = exactly(5); e.Approach.AngleDeg = pm(-35, 1) }, "mixed", []report.Key{report.OffPlanned}, []report.Key{report.Angle}},
		{"not beyond its doubt", func(l *report.Line, _ *report.Effort) { l.Fit.PerStrideM = pm(-0.28, 0.12) }, "not resolved", nil, nil},
	} {
		got := of(t, with(none), with(c.change))
		i := got.line(t, "1", "2").Improvement
		require.Equal(t, c.says, i.Says, c.name)
		require.ElementsMatch(t, c.better, i.Better, c.name)
		require.ElementsMatch(t, c.worse, i.Worse, c.name)
		if c.says == "improved" {
			require.Equal(t, &Way{"1", "2"}, got.FirstImproved, c.name)
			require.Equal(t, BeyondDoubt, i.Verdict, c.name)
		} else {
			require.Nil(t, got.FirstImproved, c.name)
		}
	}
}

// First is first along the route, not first in time or in the list.
func TestFirstImprovedFollowsTheRoute(t *testing.T) {
	ride := func(strides float64) Attempt {
		a, b := way("1", "2", strides, 3.5, 5, 5), way("5", "6", strides, 3.5, 5, 5)
		return Attempt{"ride", round("ride", b, a)}
	}
	c := of(t, ride(6), ride(5))
	require.Equal(t, &Way{"5", "6"}, c.FirstImproved, "without a plan the order ridden")
	x, y := ride(6), ride(5)
	x.Debrief.Plan = &course.Plan{Lines: []course.Line{{From: "1", To: "2"}, {From: "2", To: "5"}, {From: "5", To: "6"}}}
	c = of(t, x, y)
	require.Equal(t, &Way{"1", "2"}, c.FirstImproved)
}

func TestRidesInsideOneRecording(t *testing.T) {
	c := of(t, lesson(6))
	l := c.line(t, "3", "4")
	require.Len(t, l.Rides, 6)
	require.Equal(t, "1st", l.Rides[0].Label)
	require.Equal(t, "6th", l.Rides[5].Label)
	estimateNear(t, *pm(0.3+0.004-0.004, 0.03*math.Sqrt2), l.diff(t, report.StrideLength).Difference, "last less first")
	for _, x := range l.Trends {
		switch x.Key {
		case report.StrideLength:
			require.Equal(t, 6, x.N)
			require.InDelta(t, 0.06, x.PerRide.Value, 0.001)
			require.Equal(t, BeyondDoubt, x.Verdict)
		case report.Strides, report.Track:
			require.Equal(t, NotResolved, x.Verdict)
			require.Zero(t, x.PerRide.Value)
		}
	}
	require.Equal(t, &Mark{Ride: 5, Apart: false}, l.Steadiest, "0.030 ± 0.002 and 0.034 ± 0.002, among five")
	require.Equal(t, 5, l.Best.Ride, "all have the planned strides; the stride of the sixth is nearest to its usual")
	require.ElementsMatch(t, []report.Key{report.OffUsual, report.Rhythm}, l.Improvement.Better)
}

func TestBestAndSteadiest(t *testing.T) {
	ride := func(strides, fit, cv, half float64) report.Line {
		l := way("1", "2", strides, 3.5, 5, 5)
		l.Fit.PerStrideM, l.RhythmCV, l.Round = pm(fit, half), pm(cv, 0.001), nil
		return l
	}
	marks := func(lines ...report.Line) Line {
		for i := range lines {
			lines[i].Attempt = i + 1
		}
		return of(t, Attempt{"ride", round("ride", lines...)}).line(t, "1", "2")
	}
	l := marks(ride(6, 0, 0.05, 0.1), ride(5, 0.3, 0.02, 0.1), ride(7, 0.1, 0.04, 0.1))
	require.Equal(t, &Mark{1, true}, l.Best, "the planned strides before all")
	require.Equal(t, &Mark{1, true}, l.Steadiest)
	l = marks(ride(5, -0.3, 0.05, 0.05), ride(5, 0.2, 0.05, 0.05), ride(5, -0.1, 0.05, 0.2))
	require.Equal(t, &Mark{2, false}, l.Best, "then the usual stride, here within the doubt")
	l = marks(ride(5, -0.5, 0.05, 0.02), ride(5, 0.2, 0.05, 0.02), ride(5, -0.1, 0.05, 0.02))
	require.Equal(t, &Mark{2, true}, l.Best)
	silent := ride(5, 0, 0.05, 0.1)
	silent.RhythmCV = nil
	l = marks(ride(5, 0, 0.05, 0.1), silent, ride(5, 0, 0.03, 0.1))
	require.Nil(t, l.Steadiest, "the one that is not told may be the steadiest")
	require.Nil(t, marks(ride(5, 0.1, 0.05, 0.1), ride(5, 0.1, 0.05, 0.1), ride(6, 0, 0.06, 0.1)).Best, "two are equal")
	require.Nil(t, marks(ride(5, 0.1, 0.05, 0.1), ride(5, 0.1, 0.05, 0.1), ride(6, 0, 0.06, 0.1)).Steadiest)
	without := ride(5, 0, 0.05, 0.1)
	without.PlannedStrides, without.Fit = nil, nil
	require.Nil(t, marks(without, without, without).Best)
	require.Nil(t, of(t, first(), second()).line(t, "3", "4").Best, "two rides have their differences")
}

// A count that nobody counted never makes a difference beyond doubt, and one stride not even a likely one.
func TestEstimatedStrides(t *testing.T) {
	c := of(t, watch("a", 5), watch("b", 6))
	d := c.line(t, "2", "3").diff(t, report.Strides)
	estimateNear(t, *pm(1, 1), d.Difference, "either may be one off")
	require.Equal(t, NotResolved, d.Verdict)
	d = of(t, watch("a", 5), watch("b", 9)).line(t, "2", "3").diff(t, report.Strides)
	require.NotEqual(t, BeyondDoubt, d.Verdict)
	require.GreaterOrEqual(t, d.P, estimatedP)
	require.Contains(t, what(c.Notes), "strides estimated, not counted")
}

func what(notes []trace.Note) (out []string) {
	for _, n := range notes {
		out = append(out, n.What)
	}
	return out
}

func TestRhythmWithoutDoubtIsNotTold(t *testing.T) {
	d := round("a", way("1", "2", 5, 3.5, 5, 5))
	d.Lines[0].RhythmCV = exactly(0)
	l := of(t, Attempt{"a", d}, second()).line(t, "1", "2")
	require.Nil(t, l.Rides[0].Figure(report.Rhythm))
}

func TestWhatMakesComparingHard(t *testing.T) {
	a, b := first(), second()
	require.Empty(t, of(t, a, b).Notes)
	b.Debrief.Horse.Name = ptr("Thistle")
	require.Contains(t, what(of(t, a, b).Notes), "different horses")
	b = second()
	b.Debrief.Basis = "motion"
	require.Contains(t, what(of(t, a, b).Notes), "recorded by different devices")
	b = second()
	b.Debrief.Course.Name = "Short field"
	require.Contains(t, what(of(t, a, b).Notes), "the debriefs are of plans with different names")
	require.Nil(t, of(t, a, b).Course, "none of the names is that of all")
	require.NotEmpty(t, of(t, a, b).Rounds.Differences, "a course may have got another name")
	require.Contains(t, what(of(t, second(), first()).Notes), "A was recorded after B")
	b = second()
	b.Debrief.Notes = []trace.Note{{Level: "warning", What: "clock lost", Why: "battery"}, {Level: "info", What: "lesser", Why: "small"}}
	require.Equal(t, []string{"B: clock lost"}, what(of(t, a, b).Notes))
	// A line with another distance is another line.
	b = second()
	b.Debrief.Lines[2].DistanceM = ptr(18.3)
	c := of(t, a, b)
	require.Contains(t, what(c.Notes), "3 to 4: 1 ride left out")
	require.Empty(t, c.Rounds.Differences, "times of two courses are no difference of riding")
	require.Len(t, c.Rounds.Rounds, 2)
	for _, l := range c.Lines {
		require.NotEqual(t, "4", l.To)
	}
}

func TestNothingInCommon(t *testing.T) {
	for _, attempts := range [][]Attempt{
		{first()},
		{first(), {"other", round("other", way("7", "8", 5, 3.5, 5, 5))}},
		{{"a", round("a")}, {"b", round("b")}},
		{{"a", &report.Debrief{}}, {"b", &report.Debrief{}}},
	} {
		_, err := Of(attempts, Options{})
		var none *NothingInCommonError
		require.ErrorAs(t, err, &none)
	}
	_, err := Of([]Attempt{first(), second()}, Options{From: "1", To: "9"})
	require.ErrorContains(t, err, "the line 1-9 was not ridden twice")
}

func TestOneLineAskedFor(t *testing.T) {
	c, err := Of([]Attempt{first(), second()}, Options{From: "3", To: "4"})
	require.NoError(t, err)
	require.Len(t, c.Lines, 2)
	require.Equal(t, []string{"", "3"}, []string{c.Lines[0].From, c.Lines[0].To}, "now nothing leads into 3")
	require.Equal(t, []string{"3", "4"}, []string{c.Lines[1].From, c.Lines[1].To})
	require.Empty(t, c.Rounds.Rounds)
	// Ways between are compared when asked for only.
	a, b := first(), second()
	for _, x := range []Attempt{a, b} {
		x.Debrief.Lines[1].Kind = "between"
	}
	require.Len(t, of(t, a, b).Lines, 4, "1 to 2, 3 to 4 and the ways in to 1 and 3")
	c, err = Of([]Attempt{a, b}, Options{From: "2", To: "3"})
	require.NoError(t, err)
	require.Equal(t, "between", c.line(t, "2", "3").Kind)
}

func TestRounds(t *testing.T) {
	a, b := first(), second()
	b.Debrief.Rounds[0].TimeS = pm(60, 0.2)
	c := of(t, a, b)
	require.Len(t, c.Rounds.Rounds, 2)
	require.Equal(t, 1, *c.Rounds.Rounds[1].Disobediences)
	require.InDelta(t, 14.0, c.Rounds.Rounds[0].JumpingS.Value, 1e-9, "20.0 s to 34.0 s: four efforts 4.5 s apart and a flight")
	require.Equal(t, report.Time, c.Rounds.Differences[0].Key)
	estimateNear(t, *pm(-2, 0.2*math.Sqrt2), c.Rounds.Differences[0].Difference, "round time")
	require.Equal(t, BeyondDoubt, c.Rounds.Differences[0].Verdict)
	b.Debrief.Rounds[0].Complete = false
	require.Empty(t, of(t, a, b).Rounds.Differences, "half a round takes less by being half")
}

// anyRide is a debrief with any figures.
func anyRide(t *rapid.T, name string) Attempt {
	d := round(name, way("1", "2", 5, 3.5, 5.6, 5.7), turning90(way("2", "3", 14, 2.9, 5.0, 4.9), 6), way("3", "4", 5, 3.4, 5, 5))
	any := func(value float64) *trace.Estimate {
		if rapid.IntRange(0, 9).Draw(t, "told") == 0 {
			return nil
		}
		v := value * rapid.Float64Range(0.7, 1.3).Draw(t, "value")
		return &trace.Estimate{Value: v, Low: v - rapid.Float64Range(0, 0.2).Draw(t, "down")*math.Abs(v), High: v + rapid.Float64Range(0, 0.2).Draw(t, "up")*math.Abs(v)}
	}
	for i := range d.Lines {
		l := &d.Lines[i]
		l.Strides = exactly(float64(rapid.IntRange(1, 9).Draw(t, "strides")))
		l.StridesBy = rapid.SampledFrom([]string{"counted", "estimated"}).Draw(t, "by")
		l.StrideLengthM, l.SpeedMS, l.SpeedInMS, l.SpeedOutMS, l.SpeedDriftMS = any(3.5), any(5.5), any(5.5), any(5.5), any(-0.5)
		l.TrackM, l.RhythmCV, l.StrideS = any(19), any(0.03), any(0.6)
		l.Turn.RadiusMinM, l.Turn.TurnedDeg = any(9), any(-80)
		if l.Fit != nil {
			l.Fit.PerStrideM = any(0.3)
		}
	}
	for i := range d.Efforts {
		e := &d.Efforts[i]
		e.TakeoffDistanceM, e.LandingDistanceM, e.Approach.AngleDeg, e.Approach.StraightRMSM = any(1.7), any(1.6), any(5), any(0.2)
	}
	return Attempt{name, d}
}

// A and B in the other order turn every difference about, and nothing else.
func TestSwapTurnsSigns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := anyRide(t, "a"), anyRide(t, "b")
		c, s := of(t, a, b), of(t, b, a)
		require.Equal(t, c.Tests, s.Tests)
		require.Len(t, s.Lines, len(c.Lines))
		other := map[string]string{"improved": "declined", "declined": "improved", "mixed": "mixed", "not resolved": "not resolved"}
		for i := range c.Lines {
			x, y := c.Lines[i], s.Lines[i]
			require.Equal(t, []string{x.From, x.To, x.Kind}, []string{y.From, y.To, y.Kind})
			require.Equal(t, x.Rides[0].Figures, y.Rides[1].Figures)
			require.Equal(t, x.Rides[1].Figures, y.Rides[0].Figures)
			turned := slices.Clone(y.Differences)
			for k := range turned {
				d := &turned[k].Difference
				*d = trace.Estimate{Value: 0 - d.Value, Low: 0 - d.High, High: 0 - d.Low}
			}
			require.Equal(t, x.Differences, turned)
			require.Equal(t, other[x.Improvement.Says], y.Improvement.Says)
			require.Equal(t, x.Improvement.Better, y.Improvement.Worse)
			require.Equal(t, x.Improvement.Verdict, y.Improvement.Verdict)
		}
	})
}

// A ride against itself: every difference is nought and none is resolved.
func TestARideAgainstItself(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := anyRide(t, "a")
		n := rapid.IntRange(2, 5).Draw(t, "times")
		var all []Attempt
		for range n {
			all = append(all, a)
		}
		c := of(t, all...)
		for _, l := range c.Lines {
			require.Len(t, l.Rides, n)
			for _, d := range l.Differences {
				require.Zero(t, d.Difference.Value)
				require.Equal(t, 1.0, d.P)
				require.Equal(t, NotResolved, d.Verdict)
			}
			for _, x := range l.Trends {
				require.InDelta(t, 0, x.PerRide.Value, 1e-9)
				require.Equal(t, NotResolved, x.Verdict)
			}
			require.Equal(t, "not resolved", l.Improvement.Says)
			require.False(t, l.Best != nil && l.Best.Apart)
			require.False(t, l.Steadiest != nil && l.Steadiest.Apart)
		}
		require.Nil(t, c.FirstImproved)
	})
}

// Comparing reads its debriefs and changes nothing in them.
func TestDebriefsStayAsTheyAre(t *testing.T) {
	a, b := first(), second()
	before, err := json.Marshal([]any{a.Debrief, b.Debrief})
	require.NoError(t, err)
	of(t, a, b)
	after, err := json.Marshal([]any{a.Debrief, b.Debrief})
	require.NoError(t, err)
	require.JSONEq(t, string(before), string(after))
}

// Rides that truly do not differ, seen with normal errors: at most one comparison in twenty calls anything at all
// beyond doubt. Rides of which some figures truly differ: at most one in ten of what is called likely or beyond
// doubt is wrong, on average over the comparisons.
func TestWordsAreKeptOverManyComparisons(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 4))
	seen := func(d *report.Debrief, shift float64) *report.Debrief {
		see := func(e *trace.Estimate, shifted bool) *trace.Estimate {
			sd := e.SD()
			v := e.Value + sd*rnd.NormFloat64()
			if shifted {
				v += shift * sd
			}
			out := trace.FromSD(v, sd)
			return &out
		}
		for i := range d.Lines {
			l := &d.Lines[i]
			l.Strides = exactly(5)
			l.StrideLengthM, l.SpeedMS, l.SpeedInMS, l.SpeedOutMS = see(l.StrideLengthM, true), see(l.SpeedMS, i == 0), see(l.SpeedInMS, false), see(l.SpeedOutMS, false)
			l.TrackM, l.StrideS, l.RhythmCV = see(l.TrackM, false), see(l.StrideS, true), see(l.RhythmCV, false)
			l.SpeedDriftMS, l.Turn, l.Fit, l.PlannedStrides = nil, nil, nil, nil
		}
		for i := range d.Efforts {
			e := &d.Efforts[i]
			e.TakeoffDistanceM, e.LandingDistanceM, e.Approach = see(e.TakeoffDistanceM, i == 1), see(e.LandingDistanceM, false), nil
		}
		d.Rounds = nil
		return d
	}
	const n = 2000
	none := func() Attempt { return Attempt{"a", seen(first().Debrief, 0)} }
	any := 0
	for range n {
		found := false
		for _, l := range of(t, none(), none()).Lines {
			found = found || slices.ContainsFunc(l.Differences, func(d Difference) bool { return d.Verdict == BeyondDoubt })
		}
		if found {
			any++
		}
	}
	require.LessOrEqual(t, float64(any)/n, 0.06) // 0.05 and two standard errors
	require.Greater(t, any, 0, "a bound that nothing comes near tests nothing")

	share := 0.0
	for range n {
		called, wrong := 0, 0
		for _, l := range of(t, none(), Attempt{"b", seen(first().Debrief, 5)}).Lines {
			for _, d := range l.Differences {
				if d.Verdict == NotResolved {
					continue
				}
				called++
				differs := d.Key == report.StrideLength || d.Key == report.StrideTime || d.Key == report.Speed && l.From == "1" || d.Key == report.Takeoff && l.To == "2"
				if !differs || d.Difference.Value < 0 {
					wrong++
				}
			}
		}
		if called > 0 {
			share += float64(wrong) / float64(called) / n
		}
	}
	require.LessOrEqual(t, share, 0.11)
	require.Greater(t, share, 0.02)
}

// Ends that may both be late by the same are not late between each other: 0.3 s forward and 0.8 s back leave
// a tenth more than 0.3 s of either.
func TestLatenessCancelsWithinALine(t *testing.T) {
	end := func(at float64) trace.Estimate { return trace.Estimate{Value: at, Low: at - 0.8, High: at + 0.3} }
	estimateNear(t, *pm(4, 0.33*math.Sqrt2), report.TimeBetween(end(10), end(14)), "both late")
	estimateNear(t, *pm(4, 0.05), report.TimeBetween(*pm(10, 0.03), *pm(14, 0.04)), "timed by a sensor")
	one := trace.Estimate{Value: 14, Low: 13.68, High: 14.3}
	estimateNear(t, *pm(4, math.Hypot(0.32, 0.03)), report.TimeBetween(*pm(10, 0.03), one), "never wider than it was")
}

// Of a line that was ridden again and again, those asked for are compared and no others.
func TestSomeRidesOfALine(t *testing.T) {
	a, b := lesson(6), lesson(4)
	c, err := Of([]Attempt{a, b}, Options{From: "3", To: "4", Nth: [][]int{{5}, {1, 2}}})
	require.NoError(t, err)
	l := c.line(t, "3", "4")
	var got [][2]int
	for _, r := range l.Rides {
		got = append(got, [2]int{r.Attempt, r.Nth})
	}
	require.Equal(t, [][2]int{{1, 5}, {2, 1}, {2, 2}}, got)
	want, err := Of([]Attempt{a, b}, Options{From: "3", To: "4"})
	require.NoError(t, err)
	require.Equal(t, want.line(t, "3", "4").Rides[4].Figures, l.Rides[0].Figures, "a ride has the same figures in any company")
	all, err := Of([]Attempt{a, b}, Options{From: "3", To: "4", Nth: [][]int{nil}})
	require.NoError(t, err)
	require.Equal(t, want, all)
	var none *NothingInCommonError
	_, err = Of([]Attempt{a, b}, Options{From: "3", To: "4", Nth: [][]int{{5}, {9}}})
	require.ErrorAs(t, err, &none)
}

func TestLineOf(t *testing.T) {
	rides := []Attempt{first()}
	rides[0].Debrief.Lines[0].From = "a-b"
	for line, want := range map[string][2]string{"3-4": {"3", "4"}, "a-b-2": {"a-b", "2"}, "x-y-z": {"x", "y-z"}} {
		from, to, ok := LineOf(line, rides)
		require.True(t, ok)
		require.Equal(t, want, [2]string{from, to})
	}
	for _, line := range []string{"", "-", "3-", "-4", "34"} {
		_, _, ok := LineOf(line, rides)
		require.False(t, ok, line)
	}
}

// A difference that is sure and of no use is neither made much of nor denied.
func TestSmallDifferences(t *testing.T) {
	ride := func(name string, laterS float64) Attempt {
		d := round(name, way("3", "4", 5, 3.5, 5.6, 5.6))
		d.Efforts[0].LandingS, d.Efforts[1].TakeoffS = pm(20.5, 0.002), pm(24.5+laterS, 0.002)
		return Attempt{name, d}
	}
	text := asText(t, of(t, ride("one", 0), ride("two", 0.05)), report.Metric)
	require.Contains(t, text, "Differences too small to use: 3 to 4.")
	require.NotContains(t, text, "No difference can be told: 3 to 4")
	require.Contains(t, text, "sure")
	require.Contains(t, asText(t, of(t, ride("one", 0), ride("two", 0)), report.Metric), "No difference can be told: approach to 3; 3 to 4.")
}
