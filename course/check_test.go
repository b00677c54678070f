package course

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// said are the warnings of a plan for a horse, one line each.
func said(t *testing.T, text string, horse Profile) []string {
	t.Helper()
	p, _ := mustRead(t, text)
	var out []string
	for _, w := range p.Check(p.PlanTrack(horse.StrideM), horse) {
		require.NotEmpty(t, w.Why)
		out = append(out, w.Field+": "+w.What+" ("+w.Source+")")
	}
	return out
}

func has(list []string, parts ...string) bool {
	for _, s := range list {
		all := true
		for _, p := range parts {
			all = all && strings.Contains(s, p)
		}
		if all {
			return true
		}
	}
	return false
}

func TestNothingToSayOfASoundPlan(t *testing.T) {
	require.Empty(t, said(t, goodPlan, Profiles()[0]))
}

// Limits from the rule texts named in each warning: just inside passes, just outside is told.
func TestLimitsOfTheRuleBooks(t *testing.T) {
	pony := Profiles()[2]
	for _, c := range []struct {
		name, old, inside, outside string
		horse                      Profile
		want                       []string
	}{
		{"height 1.70 + 5 cm", "height: 0.85", "height: 1.75", "height: 1.76", Profiles()[0], []string{"obstacle 1", "1.76 m high", "art. 208"}},
		{"spread 2.00 + 10 cm", "height: 0.9, spread: 0.9", "height: 0.9, spread: 2.1", "height: 0.9, spread: 2.11", Profiles()[0], []string{"obstacle 2", "2.11 m wide"}},
		{"triple bar 2.20", "oxer, at: [40, 34], facing: 270, height: 0.9, spread: 0.9", "triple bar, at: [40, 34], facing: 270, height: 0.9, spread: 2.3", "triple bar, at: [40, 34], facing: 270, height: 0.9, spread: 2.31", Profiles()[0], []string{"obstacle 2", "2.31 m wide"}},
		{"water 4.00", "oxer, at: [40, 34], facing: 270, height: 0.9, spread: 0.9", "water, at: [40, 34], facing: 270, height: 0.9, spread: 4.1", "water, at: [40, 34], facing: 270, height: 0.9, spread: 4.11", Profiles()[0], []string{"obstacle 2", "4.11 m wide"}},
		{"combination from 6.50", "kind: combination}", "kind: combination, walked: 6.50}", "kind: combination, walked: 6.49}", Profiles()[0], []string{"line 4a-4b", "6.49 m", "§508.1"}},
		{"combination to 12.00", "kind: combination}", "kind: combination, walked: 11.00}", "kind: combination, walked: 12.01}", Profiles()[0], []string{"line 4a-4b", "12.01 m", "§508.1"}},
		{"easier classes, one stride", "kind: combination}", "kind: combination, walked: 8.00}", "kind: combination, walked: 8.01}", Profiles()[0], []string{"line 4a-4b", "8.01 m", "§504.1"}},
		{"easier classes, two strides", "kind: combination}", "kind: combination, walked: 10.00}", "kind: combination, walked: 9.99}", Profiles()[0], []string{"line 4a-4b", "9.99 m", "§504.1"}},
		{"pony classes", "kind: combination}", "kind: combination, walked: 7.50}", "kind: combination, walked: 7.51}", pony, []string{"line 4a-4b", "7.51 m", "§504.1"}},
		{"start to 15 m", "[[74, 30], [74, 38]]", "[[77.1, 30], [77.1, 38]]", "[[77.35, 30], [77.35, 38]]", Profiles()[0], []string{"start", "15.2 m from obstacle 1", "art. 204.6"}},
		{"start from 3.6 m", "[[74, 30], [74, 38]]", "[[65.8, 30], [65.8, 38]]", "[[65.65, 30], [65.65, 38]]", Profiles()[0], []string{"start", "3.5 m from obstacle 1", "459"}},
		{"speed from 300", "speed: 325", "speed: 300", "speed: 299", Profiles()[0], []string{"speed", "299 m/min", "§504.3"}},
		{"speed to 400", "speed: 325", "speed: 400", "speed: 401", Profiles()[0], []string{"speed", "401 m/min"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Contains(t, goodPlan, c.old)
			in := said(t, strings.Replace(goodPlan, c.old, c.inside, 1), c.horse)
			out := said(t, strings.Replace(goodPlan, c.old, c.outside, 1), c.horse)
			require.True(t, has(out, c.want...), "%v in %v", c.want, out)
			source := sourceOf(out, c.want...)
			for _, w := range in {
				require.False(t, strings.HasPrefix(w, c.want[0]+": ") && strings.HasSuffix(w, "("+source+")"), "%s", w)
			}
		})
	}
}

// sourceOf is the source of the warning that has all parts.
func sourceOf(list []string, parts ...string) string {
	for _, s := range list {
		if has([]string{s}, parts...) {
			return strings.TrimSuffix(s[strings.LastIndex(s, " (")+2:], ")")
		}
	}
	return "none"
}

func TestStartAndFinishOnTheWrongSide(t *testing.T) {
	require.True(t, has(said(t, strings.Replace(goodPlan, "[[74, 30], [74, 38]]", "[[50, 30], [50, 38]]", 1), Profiles()[0]), "start: it lies behind obstacle 1"))
	require.True(t, has(said(t, strings.Replace(goodPlan, "[[38, 10], [38, 18]]", "[[22, 10], [22, 18]]", 1), Profiles()[0]), "finish: it lies in front of obstacle 4b"))
}

// A course of n obstacles is at most 60 n metres long: 10 obstacles, 600 m pass and 601 do not
// (Royal Dutch federation, art. 204.5). A combination is one obstacle.
func TestLengthAgainstObstacles(t *testing.T) {
	p := &Plan{}
	for i := range 10 {
		p.Route = append(p.Route, fmt.Sprint(i))
		p.Obstacles = append(p.Obstacles, Obstacle{ID: fmt.Sprint(i), Kind: Vertical, At: Point{0, 25 * float64(i)}})
	}
	p.SetLines(nil)
	track := p.PlanTrack(3.6)
	over := func(m float64) bool {
		track.LengthM = m
		for _, w := range p.Check(track, Profiles()[0]) {
			if strings.Contains(w.Source, "204.5") {
				return true
			}
		}
		return false
	}
	require.False(t, over(600))
	require.True(t, over(601))
	p.Route = []string{"1", "7a", "7b", "7c", "8", "1"}
	require.Equal(t, 3, p.Numbered())
}

func TestRoom(t *testing.T) {
	tight := `plan: groundline/1
arena: [[0, 0], [20, 0], [20, 40], [0, 40]]
speed: 350
obstacles:
  - {id: 1, kind: vertical, at: [10, 36], facing: 0, height: 0.9, spread: 0.2}
  - {id: 2, kind: vertical, at: [16, 20], facing: 180, height: 0.9, spread: 0.2, width: 10}
  - {id: 3, kind: vertical, at: [12, 20.1], facing: 170, height: 0.9, spread: 0.2}
route: [1, 2]
`
	list := said(t, tight, Profiles()[0])
	require.True(t, has(list, "1-2: too little room to turn"), "%v", list)
	require.True(t, has(list, "obstacle 2: its face of 10.0 m reaches out of the arena"), "%v", list)
	require.True(t, has(list, "obstacle 3: its face crosses that of obstacle 2"), "%v", list)
	inTheWay := `plan: groundline/1
obstacles:
  - {id: 1, kind: vertical, at: [0, 0], facing: 0}
  - {id: 2, kind: vertical, at: [0, 12], facing: 90}
  - {id: 3, kind: vertical, at: [0, 22], facing: 0}
  - {id: 4, kind: vertical, at: [0.5, 11], facing: 10}
route: [1, 3]
`
	list = said(t, inTheWay, Profiles()[0])
	require.True(t, has(list, "1-3: the track runs through obstacle 4"), "%v", list)
}

// Ponies on a horse's distance, and the other way round, get neither number of strides.
func TestDistanceBetweenTwoNumbers(t *testing.T) {
	text := strings.Replace(goodPlan, "walked: 21.45", "walked: 20.20", 1)
	require.True(t, has(said(t, text, Profiles()[0]), "line 1-2: 4.5 strides for a horse's stride of 3.66 m"))
	require.False(t, has(said(t, text, Profiles()[2]), "line 1-2"))
}

func TestAStraightKindOnABentWay(t *testing.T) {
	bent := strings.Replace(goodPlan, "at: [40, 34], facing: 270", "at: [40, 34], facing: 245", 1)
	require.True(t, has(said(t, bent, Profiles()[0]), "line 1-2: leaves 0° and comes 25° off the straight way"))
}

func TestFigures(t *testing.T) {
	p, _ := mustRead(t, goodPlan)
	f := p.Figures(Profiles()[0], TimeRuleSets()[0])
	require.Equal(t, 3, f.Obstacles, "4a and 4b are one")
	require.Equal(t, 4, f.Efforts)
	require.Len(t, f.Lines, 3)
	require.Len(t, f.Lines[0].Strides, len(Profiles()))
	require.Equal(t, 5, f.Lines[0].Strides[0].Whole, "21.45 m at 12 ft")
	require.InDelta(t, 21.45/3.6576-1, f.Lines[0].Strides[0].Real, 1e-9)
	require.Nil(t, f.Lines[0].TightestM)
	require.NotNil(t, f.Lines[1].TightestM)
	require.Less(t, f.Lines[1].TurnedDeg, -179.0, "a turn back to the left")
	require.NotNil(t, f.Ground)
	require.NotNil(t, f.Lines[0].Grade)
	require.InDelta(t, -0.025, *f.Lines[0].Grade, 1e-9, "2 m over 80 m, downhill")
	require.Greater(t, *f.Lines[0].Homeward, 0.9)
	require.Equal(t, TimeAllowedS(f.LengthM, 325), *f.TimeAllowedS)
	require.Equal(t, 2**f.TimeAllowedS, *f.TimeLimitS)
	require.NotEmpty(t, f.Cautions)

	p, _ = mustRead(t, "plan: groundline/1\nobstacles: [{id: 1, kind: cross, at: [0, 0], facing: 0}]\nroute: [1]\n")
	f = p.Figures(Profiles()[0], TimeRuleSets()[0])
	require.Zero(t, f.LengthM)
	require.Nil(t, f.TimeAllowedS)
	require.Nil(t, f.Ground)
	require.Equal(t, "fewer than three spot heights", f.WhyLevel)
}
