package course

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/trace"
)

// goodPlan is a whole plan with everything that the format knows; an invented place.
const goodPlan = `plan: groundline/1
name: Long field, Thursday group
units: metres
anchor: {latitude: 51.4, longitude: -2.3, bearing: 41.5}
arena: [[0, 0], [80, 0], [80, 60], [0, 60]]
levels:
  - [0, 0, 0.00]
  - [80, 0, 2.00]
  - [0, 45, 0.20]
home: [-35, 20]
gate: [2, 22]
speed: 325
start:  [[74, 30], [74, 38]]
finish: [[38, 10], [38, 18]]
obstacles:
  - {id: "1", kind: vertical, at: [62, 34], facing: 270, height: 0.85, spread: 0.3, width: 3.5}
  - {id: "2", kind: oxer, at: [40, 34], facing: 270, height: 0.9, spread: 0.9, width: 3.5}
  - {id: "3", kind: pole, at: [30, 34], facing: 270}
  - {id: "4a", kind: vertical, at: [20, 14], facing: 90, height: 0.9, spread: 0.3, width: 3.0}
  - {id: "4b", kind: oxer, at: [28.4, 14], facing: 90, height: 0.9, spread: 1.0, width: 3.0}
route: ["1", "2", "3", "4a", "4b"]
lines:
  - {from: "1", to: "2", kind: related, walked: 21.45}
  - {from: "4a", to: "4b", kind: combination}
`

func mustRead(t testing.TB, text string) (*Plan, []Warning) {
	t.Helper()
	p, w, err := ReadPlan("course.yaml", []byte(text))
	require.NoError(t, err)
	return p, w
}

func TestReadPlanReadsEverything(t *testing.T) {
	p, w := mustRead(t, goodPlan)
	require.Empty(t, w)
	require.Equal(t, "Long field, Thursday group", p.Name)
	require.Equal(t, 51.4, p.Anchor.At.LatDeg)
	require.Equal(t, -2.3, p.Anchor.At.LonDeg)
	require.Equal(t, 41.5, p.Anchor.BearingDeg)
	require.Equal(t, []Point{{0, 0}, {80, 0}, {80, 60}, {0, 60}}, p.Arena)
	require.Equal(t, []Spot{{0, 0, 0}, {80, 0, 2}, {0, 45, 0.2}}, p.Levels)
	require.Equal(t, Point{-35, 20}, *p.Home)
	require.Equal(t, Point{2, 22}, *p.Gate)
	require.Equal(t, 325.0, p.SpeedMMin)
	require.Equal(t, [2]Point{{74, 30}, {74, 38}}, *p.Start)
	require.Equal(t, [2]Point{{38, 10}, {38, 18}}, *p.Finish)
	require.Len(t, p.Obstacles, 5)
	require.Equal(t, Obstacle{"4b", Oxer, Point{28.4, 14}, 90, 0.9, 1, 3}, p.Obstacles[4])
	require.Equal(t, UsualWidthM, p.Obstacles[2].WidthM)
	require.Equal(t, []string{"1", "2", "4a", "4b"}, p.Route, "a pole is no effort")
	require.Len(t, p.Lines, 3)
	require.Equal(t, Related, p.Lines[0].Kind)
	require.False(t, p.Lines[0].Derived)
	require.Equal(t, 21.45, p.Lines[0].DistanceM())
	require.InDelta(t, 22-0.45-0.15, p.Lines[0].MapM, 1e-9)
	require.True(t, p.Lines[1].Derived)
	require.NotEmpty(t, p.Lines[1].Why)
	require.InDelta(t, 8.4-0.15-0.5, p.Lines[2].DistanceM(), 1e-9)
}

// Each edit of the good plan makes one fault; the message names the line, the field, what was found
// and what is allowed.
func TestEveryFaultIsTold(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"format", "groundline/1", "groundline/9", `course.yaml:1: plan: found "groundline/9", expected groundline/1`},
		{"no format", "plan: groundline/1\n", "", `course.yaml:1: plan: the field is missing, expected groundline/1`},
		{"unknown field", "name:", "nmae:", `course.yaml:2: unknown field "nmae", expected one of plan, name`},
		{"hint", "name:", "nmae:", `(did you mean name?)`},
		{"units", "metres", "yards", `course.yaml:3: units: found "yards", expected metres, feet or paces`},
		{"latitude", "51.4,", "91,", `course.yaml:4: anchor.latitude: found "91", expected degrees from -90 to 90`},
		{"bearing", "41.5", "-1", `course.yaml:4: anchor.bearing: found "-1", expected degrees from 0 to 360`},
		{"half an anchor", ", bearing: 41.5", "", `course.yaml:4: anchor.bearing: the field is missing`},
		{"arena of two", "[80, 0], [80, 60], ", "", `course.yaml:5: arena: found a ring of 2 corners, expected three corners or more`},
		{"arena crossed", "[80, 0], [80, 60]", "[80, 60], [80, 0]", `course.yaml:5: arena: side 1 crosses side 3, expected corners in order`},
		{"arena flat", "[80, 60], [0, 60]", "[90, 0], [95, 0]", `course.yaml:5: arena: the corners lie on a line`},
		{"spot of two", "[80, 0, 2.00]", "[80, 0]", `course.yaml:8: levels[1]: found a list of 2, expected a spot height [x, y, z]`},
		{"NaN", "[-35, 20]", "[.nan, 20]", `course.yaml:10: home: found ".nan", expected a number of metres from -5000 to 5000`},
		{"Inf", "[-35, 20]", "[-.inf, 20]", `course.yaml:10: home: found "-.inf"`},
		{"too far", "[-35, 20]", "[1e300, 20]", `course.yaml:10: home: found "1e300"`},
		{"speed", "325", "0", `course.yaml:12: speed: found "0", expected m/min from 50 to 1200`},
		{"quoted number", "325", `"325"`, `without quotes`},
		{"underscore", "325", "3_25", `course.yaml:12: speed: found "3_25"`},
		{"hexadecimal", "325", "0x145", `course.yaml:12: speed: found "0x145"`},
		{"one end", "[[74, 30], [74, 38]]", "[[74, 30]]", `course.yaml:13: start: found a list of 1, expected two ends`},
		{"no length", "[[74, 30], [74, 38]]", "[[74, 30], [74, 30]]", `course.yaml:13: start: both ends are the same place`},
		{"unknown kind", "kind: oxer, at: [40", "kind: oxr, at: [40", `course.yaml:17: obstacles[1].kind: unknown kind "oxr", expected one of vertical, oxer, triple bar, wall, cross, water, ditch, pole (did you mean oxer?)`},
		{"id twice", `{id: "2"`, `{id: "1"`, `course.yaml:17: obstacles[1].id: id "1" given twice, expected every id once (first in line 16)`},
		{"facing", "facing: 270, height: 0.85", "facing: 361, height: 0.85", `course.yaml:16: obstacles[0].facing: found "361", expected degrees from 0 to 360`},
		{"no facing", "facing: 270, height: 0.85", "height: 0.85", `course.yaml:16: obstacles[0].facing: the field is missing`},
		{"spread below zero", "spread: 0.9", "spread: -0.9", `course.yaml:17: obstacles[1].spread: found "-0.9", expected metres from 0 to 8`},
		{"height in feet", "height: 0.85", "height: 33", `course.yaml:16: obstacles[0].height: found "33", expected metres from 0 to 3`},
		{"no width", "width: 3.0", "width: 0", `expected a width above zero`},
		{"route", `"1", "2", "3"`, `"1", "2", "33"`, `course.yaml:21: route[2]: no obstacle has the id "33", expected one of 1, 2, 3, 4a, 4b`},
		{"no route", `route: ["1", "2", "3", "4a", "4b"]`, ``, `course.yaml:1: route: the field is missing`},
		{"empty route", `route: ["1", "2", "3", "4a", "4b"]`, `route: []`, `course.yaml:21: route: no obstacle is jumped`},
		{"only poles", `route: ["1", "2", "3", "4a", "4b"]`, `route: ["3"]`, `course.yaml:21: route: no obstacle is jumped`},
		{"line id", `from: "1", to: "2", kind`, `from: "1", to: "5", kind`, `course.yaml:23: lines[0].to: no obstacle has the id "5"`},
		{"line kind", "kind: related", "kind: between", `course.yaml:23: lines[0].kind: unknown kind "between", expected one of related, bending, rollback, combination, single`},
		{"line twice", `from: "4a", to: "4b"`, `from: "1", to: "2"`, `course.yaml:24: lines[1]: the way from 1 to 2 given twice, expected it once (first in line 23)`},
		{"walked", "21.45", "-2", `course.yaml:23: lines[0].walked: found "-2"`},
		{"field twice", "name:", "speed: 300\nname:", `course.yaml:13: speed: field given twice, expected it once (first in line 2)`},
		{"obstacles of no list", "obstacles:\n", "obstacles: 5\nspare:\n", `course.yaml:15: obstacles: found "5", expected a list of obstacles`},
		{"no obstacles", "obstacles:\n", "obstacles: []\nspare:\n", `course.yaml:15: obstacles: found a list of 0, expected one obstacle or more`},
		{"route of no list", `route: ["1", "2", "3", "4a", "4b"]`, `route: 1`, `course.yaml:21: route: found "1", expected a list of ids`},
		{"long route", `route: ["1", "2", "3", "4a", "4b"]`, `route: ["1"` + strings.Repeat(`, "2"`, maxRoute) + `]`, `course.yaml:21: route: found a list of 201, expected at most 200`},
		{"name of no text", "name: Long field, Thursday group", "name: [a]", `course.yaml:2: name: found a list of 1, expected a name`},
		{"name that ends nowhere", "name: Long field, Thursday group", "name: " + strings.Repeat("x", 300), `expected a name of 1 to 200 printable characters`},
		{"empty id", `{id: "2"`, `{id: ""`, `course.yaml:17: obstacles[1].id: found "", expected a name such as 7a of 1 to 32`},
		{"anchor of no group", "{latitude: 51.4, longitude: -2.3, bearing: 41.5}", "51.4", `course.yaml:4: anchor: found "51.4", expected fields: latitude, longitude, bearing`},
		{"block of text", "gate: [2, 22]", "gate: |\n  x", `course.yaml:11: gate: found a block of text, expected [x, y]`},
		{"group for a place", "gate: [2, 22]", "gate: {x: 2}", `course.yaml:11: gate: found a group of fields`},
		{"nothing for a place", "at: [62, 34]", "at: ", `obstacles[0].at: found nothing, expected [x, y]`},
		{"list as key", "gate: [2, 22]", "[a]: 2", `course.yaml:11:`},
		{"three ends", "[[74, 30], [74, 38]]", "[[74, 30], [74, 38], [1, 1]]", `course.yaml:13: start: found a list of 3, expected at most 2`},
		{"anchor of YAML", "gate: [2, 22]", "gate: &g [2, 22]", `course.yaml:11: gate: found an anchor or alias, expected [x, y]`},
		{"alias", "gate: [2, 22]", "gate: *g", `course.yaml:11: gate: found an anchor or alias`},
		{"tag", "gate: [2, 22]", "gate: !!seq [2, 22]", `course.yaml:11: gate: found a tag`},
		{"merge key", "gate: [2, 22]", "<<: {a: 1}", `course.yaml:11:`},
		{"second document", "lines:", "---\nlines:", `course.yaml:23: found a second document, expected one plan in a file`},
		{"control character", "Long", "L\x07ong", `course.yaml:2: found the control character 0x07, expected text`},
		{"not UTF-8", "Long", "L\xffong", `course.yaml:2: found the byte 0xff, expected text in UTF-8`},
		{"broken YAML", "[2, 22]", "[2, 22", `can't be read as YAML`},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Contains(t, goodPlan, c.old)
			p, w, err := ReadPlan("course.yaml", []byte(strings.Replace(goodPlan, c.old, c.new, 1)))
			require.Nil(t, p)
			require.Nil(t, w)
			var faults Faults
			require.True(t, errors.As(err, &faults))
			require.Contains(t, err.Error(), c.want)
			for _, f := range faults {
				require.NotContains(t, f.Error(), "\n", "one line each")
			}
		})
	}
}

func TestAllFaultsOfAFileAtOnceInItsOrder(t *testing.T) {
	text := strings.NewReplacer("facing: 270, height: 0.85", "facing: 400, height: 9", "units: metres", "units: miles",
		`to: "2"`, `to: "x"`, "kind: pole", "kind: barrel").Replace(goodPlan)
	_, _, err := ReadPlan("c.yaml", []byte(text))
	var faults Faults
	require.ErrorAs(t, err, &faults)
	var at []string
	for _, f := range faults {
		at = append(at, fmt.Sprintf("%d %s", f.Line, f.Field))
	}
	require.Equal(t, []string{"3 units", "16 obstacles[0].facing", "16 obstacles[0].height", "18 obstacles[2].kind", "23 lines[0].to"}, at)
}

func TestFaultsWithoutEndAreCutShort(t *testing.T) {
	_, _, err := ReadPlan("c", []byte("plan: groundline/1\nobstacles:\n"+strings.Repeat("  - {id: [], kind: x, at: 5, facing: n}\n", 140)+"route: []\n"))
	var faults Faults
	require.ErrorAs(t, err, &faults)
	require.Len(t, faults, maxFaults+1)
	require.Contains(t, err.Error(), "more faults than are told here")
}

func TestWarningAsANote(t *testing.T) {
	n := Warning{Field: "line 1-2", What: "too short", Why: "ponies", Source: "a book"}.Note()
	require.Equal(t, trace.Note{Level: "warning", What: "line 1-2: too short", Why: "ponies (a book)"}, n)
	require.Equal(t, trace.Note{Level: "warning", What: "x", Why: "y"}, Warning{What: "x", Why: "y"}.Note())
}

func TestNothingAtAll(t *testing.T) {
	for _, text := range []string{"", "\n", "# only a remark\n", "---\n", "\uFEFF", "~", "null", "just words", "[1, 2]", "3", "{}", "plan: groundline/1"} {
		_, _, err := ReadPlan("c.yaml", []byte(text))
		require.Error(t, err, "%q", text)
		require.Contains(t, err.Error(), "expected", "%q", text)
	}
}

// Files that are made to hurt: refused, and soon.
func TestHostileFilesAreRefusedSoon(t *testing.T) {
	bomb := "a: &a [x, x, x, x, x, x, x, x, x]\n"
	for c := 'b'; c <= 'z'; c++ {
		bomb += fmt.Sprintf("%c: &%c [*%c, *%c, *%c, *%c, *%c, *%c, *%c, *%c]\n", c, c, c-1, c-1, c-1, c-1, c-1, c-1, c-1, c-1)
	}
	var keys strings.Builder
	for i := range 9000 {
		fmt.Fprintf(&keys, "k%d: 1\n", i)
	}
	for name, text := range map[string]string{
		"alias bomb":    bomb,
		"100 MB":        strings.Repeat("# nothing to see\n", 100<<20/17),
		"deep brackets": "home: " + strings.Repeat("[", 100000),
		"deep braces":   "home: " + strings.Repeat("{a: ", 50000),
		"deep dashes":   strings.Repeat("- ", 100000),
		"deep keys":     strings.Repeat("? ", 100000),
		"deep indentation": func() string {
			var b strings.Builder
			for i := range 600 {
				b.WriteString(strings.Repeat(" ", i) + "a:\n")
			}
			return b.String()
		}(),
		"many keys":    keys.String(),
		"many commas":  "arena: [" + strings.Repeat("1,", 120000) + "]",
		"many tags":    strings.Repeat("!a ", 80000),
		"many anchors": strings.Repeat("&a ", 80000),
		"long line":    "name: " + strings.Repeat("x", 250000),
		"long text":    "name: |\n" + strings.Repeat("  x\n", 19000),
		"many spaces":  strings.Repeat(" ", 250000) + "a: 1",
		"long quote":   `name: "` + strings.Repeat(`\u0041`, 40000),
		"many remarks": strings.Repeat("#\n", 19000),
		"many routes":  "route: [" + strings.Repeat("1, ", 9000) + "1]",
	} {
		t.Run(name, func(t *testing.T) {
			start := time.Now()
			p, _, err := ReadPlan("c.yaml", []byte(text))
			require.Error(t, err)
			require.Nil(t, p)
			require.Less(t, len(err.Error()), 40000)
			require.Less(t, time.Since(start), 5*time.Second)
		})
	}
}

func TestWarnings(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"walked far off the map", "walked: 21.45", "walked: 22.6", "walked 22.60 m but 21.40 m by the map"},
		{"walked by more than 0.3 m", "walked: 21.45", "walked: 21.71", "walked 21.71 m but 21.40 m by the map"},
		{"walked by more than 3 %", "kind: combination}", "kind: combination, walked: 7.99}", "walked 7.99 m but 7.75 m by the map"},
		{"outside the arena", "at: [62, 34]", "at: [82, 34]", "stands outside the arena, at [82.00, 34.00]"},
		{"no such way", `from: "4a", to: "4b"`, `from: "4b", to: "4a"`, "the route never goes from 4b to 4a"},
		{"few heights", "  - [0, 45, 0.20]\n", "", "fewer than three spot heights"},
		{"heights on a line", "[0, 45, 0.20]", "[40, 0, 0.20]", "all spot heights lie on a line"},
		{"oxer without spread", "height: 0.9, spread: 0.9, ", "height: 0.9, ", "is a spread obstacle without a spread"},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Contains(t, goodPlan, c.old)
			_, w := mustRead(t, strings.Replace(goodPlan, c.old, c.new, 1))
			var said []string
			for _, v := range w {
				require.NotEmpty(t, v.Why)
				require.Positive(t, v.Line)
				said = append(said, v.What)
			}
			require.Contains(t, said, c.want)
		})
	}
	// Just inside the bounds nothing is said.
	for _, walked := range []string{"21.69", "21.11"} {
		_, w := mustRead(t, strings.Replace(goodPlan, "walked: 21.45", "walked: "+walked, 1))
		require.Empty(t, w)
	}
	// The track of a bending line may be walked, so its tape may be longer than the map.
	_, w := mustRead(t, strings.Replace(goodPlan, "kind: related, walked: 21.45", "kind: bending, walked: 23", 1))
	require.Empty(t, w)
}

func TestALoneFenceIsARoute(t *testing.T) {
	p, w := mustRead(t, "plan: groundline/1\nobstacles:\n  - {id: 1, kind: cross, at: [0, 0], facing: 090}\nroute: [1]\n")
	require.Empty(t, w)
	require.Equal(t, []string{"1"}, p.Route)
	require.Empty(t, p.Lines)
	require.Equal(t, 90.0, p.Obstacles[0].FacingDeg, "a leading zero is no octal number")
}

func TestLineEndsAndByteOrderMarkOfOtherSystems(t *testing.T) {
	p, w := mustRead(t, "\uFEFF"+strings.ReplaceAll(goodPlan, "\n", "\r\n"))
	require.Empty(t, w)
	q, _ := mustRead(t, goodPlan)
	requireSamePlan(t, q, p, 0)
}

func TestFullCircleIsNorth(t *testing.T) {
	p, _ := mustRead(t, "plan: groundline/1\nobstacles:\n  - {id: 1, kind: cross, at: [0, 0], facing: 360}\nroute: [1]\n")
	require.Zero(t, p.Obstacles[0].FacingDeg)
}

func TestFeetAndPacesAreTheSamePlan(t *testing.T) {
	metres, _ := mustRead(t, goodPlan)
	for unit, m := range map[string]float64{"feet": 0.3048, "paces": 0.914} {
		// The same ground in another unit, number by number.
		q := *metres
		q.Obstacles = append([]Obstacle(nil), metres.Obstacles...)
		q.Lines = append([]Line(nil), metres.Lines...)
		scale := func(p Point) Point { return Point{p.X / m, p.Y / m} }
		for i := range q.Arena {
			q.Arena = append(append([]Point(nil), q.Arena[:i]...), append([]Point{scale(metres.Arena[i])}, q.Arena[i+1:]...)...)
		}
		q.Levels = nil
		for _, s := range metres.Levels {
			q.Levels = append(q.Levels, Spot{s.X / m, s.Y / m, s.Z / m})
		}
		home, gate := scale(*metres.Home), scale(*metres.Gate)
		q.Home, q.Gate = &home, &gate
		q.Start = &[2]Point{scale(metres.Start[0]), scale(metres.Start[1])}
		q.Finish = &[2]Point{scale(metres.Finish[0]), scale(metres.Finish[1])}
		for i := range q.Obstacles {
			q.Obstacles[i].At = scale(q.Obstacles[i].At)
			q.Obstacles[i].WidthM /= m
		}
		walked := *q.Lines[0].WalkedM / m
		q.Lines[0].WalkedM = &walked
		got, w := mustRead(t, strings.Replace(string(WritePlan(&q)), "units: metres", "units: "+unit, 1))
		require.Empty(t, w)
		requireSamePlan(t, metres, got, 1e-9)
	}
}

// requireSamePlan compares two plans to a tolerance in metres and degrees.
func requireSamePlan(t require.TestingT, want, got *Plan, tol float64) {
	near := func(a, b float64) { require.InDelta(t, a, b, tol) }
	points := func(a, b []Point) {
		require.Equal(t, len(a), len(b))
		for i := range a {
			near(a[i].X, b[i].X)
			near(a[i].Y, b[i].Y)
		}
	}
	pair := func(a, b *[2]Point) {
		require.Equal(t, a == nil, b == nil)
		if a != nil {
			points(a[:], b[:])
		}
	}
	point := func(a, b *Point) {
		require.Equal(t, a == nil, b == nil)
		if a != nil {
			points([]Point{*a}, []Point{*b})
		}
	}
	require.Equal(t, want.Name, got.Name)
	require.Equal(t, want.Route, got.Route)
	require.Equal(t, want.Anchor, got.Anchor)
	near(want.SpeedMMin, got.SpeedMMin)
	points(want.Arena, got.Arena)
	point(want.Home, got.Home)
	point(want.Gate, got.Gate)
	pair(want.Start, got.Start)
	pair(want.Finish, got.Finish)
	require.Equal(t, len(want.Levels), len(got.Levels))
	for i := range want.Levels {
		near(want.Levels[i].X, got.Levels[i].X)
		near(want.Levels[i].Y, got.Levels[i].Y)
		near(want.Levels[i].Z, got.Levels[i].Z)
	}
	require.Equal(t, len(want.Obstacles), len(got.Obstacles))
	for i, a := range want.Obstacles {
		b := got.Obstacles[i]
		require.Equal(t, a.ID, b.ID)
		require.Equal(t, a.Kind, b.Kind)
		points([]Point{a.At}, []Point{b.At})
		near(0, turnDeg(a.FacingDeg, b.FacingDeg))
		near(a.HeightM, b.HeightM)
		near(a.SpreadM, b.SpreadM)
		near(a.WidthM, b.WidthM)
	}
	require.Equal(t, len(want.Lines), len(got.Lines))
	for i, a := range want.Lines {
		b := got.Lines[i]
		require.Equal(t, a.From+" "+a.To+" "+string(a.Kind), b.From+" "+b.To+" "+string(b.Kind))
		require.Equal(t, a.Derived, b.Derived)
		near(a.MapM, b.MapM)
		require.Equal(t, a.WalkedM == nil, b.WalkedM == nil)
		if a.WalkedM != nil {
			near(*a.WalkedM, *b.WalkedM)
		}
	}
}

// anyPlan draws plans of a few obstacles, all valid.
func anyPlan() *rapid.Generator[*Plan] {
	return rapid.Custom(func(t *rapid.T) *Plan {
		metre := rapid.Float64Range(-150, 150)
		at := func(label string) Point { return Point{metre.Draw(t, label), metre.Draw(t, label)} }
		p := &Plan{Name: rapid.StringMatching(`[A-Za-z][A-Za-z "'\\:#&é-]{0,20}[a-z]`).Draw(t, "name")}
		for i := range rapid.IntRange(1, 8).Draw(t, "obstacles") {
			kinds := Kinds()[:7] // no poles: these are left out of the route
			p.Obstacles = append(p.Obstacles, Obstacle{
				ID: fmt.Sprint(i + 1), Kind: rapid.SampledFrom(kinds).Draw(t, "kind"), At: at("at"),
				FacingDeg: rapid.Float64Range(0, 359.9).Draw(t, "facing"), HeightM: rapid.Float64Range(0, 1.6).Draw(t, "height"),
				SpreadM: rapid.Float64Range(0.1, 2).Draw(t, "spread"), WidthM: rapid.Float64Range(1, 5).Draw(t, "width")})
		}
		for range rapid.IntRange(1, 10).Draw(t, "route") {
			p.Route = append(p.Route, p.Obstacles[rapid.IntRange(0, len(p.Obstacles)-1).Draw(t, "next")].ID)
		}
		var meant []Line
		if len(p.Route) > 1 && rapid.Bool().Draw(t, "walked") {
			w := rapid.Float64Range(3, 60).Draw(t, "walked")
			meant = append(meant, Line{From: p.Route[0], To: p.Route[1], WalkedM: &w, Kind: rapid.SampledFrom([]LineKind{"", Related, Bending}).Draw(t, "meant")})
		}
		if rapid.Bool().Draw(t, "home") {
			h := at("home")
			p.Home = &h
			p.Start = &[2]Point{{1, 2}, {h.X + 400, 3}}
		}
		for range rapid.IntRange(0, 7).Draw(t, "levels") {
			s := at("level")
			p.Levels = append(p.Levels, Spot{s.X, s.Y, rapid.Float64Range(-3, 3).Draw(t, "z")})
		}
		p.SetLines(meant)
		return p
	})
}

func TestWritePlanReadsBackTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPlan().Draw(t, "plan")
		text := WritePlan(p)
		q, _, err := ReadPlan("c.yaml", text)
		require.NoError(t, err, "%s", text)
		requireSamePlan(t, p, q, 0)
		require.Equal(t, string(text), string(WritePlan(q)), "same bytes again")
	})
}

func TestShippedPlansAreRead(t *testing.T) {
	for f, p := range sharedPlans(t) {
		q, w, err := ReadPlan(f, WritePlan(p))
		require.NoError(t, err, f)
		require.Empty(t, w, f)
		requireSamePlan(t, p, q, 0)
	}
}

// sharedPlans are the plans of the rounds with known truth, which are not part of the source.
func sharedPlans(t testing.TB) map[string]*Plan {
	t.Helper()
	out := map[string]*Plan{}
	for _, group := range []string{"rounds", "practice"} {
		files, _ := filepath.Glob(filepath.Join("..", "..", "shared", "data", group, "*", "course.yaml"))
		for _, f := range files {
			data, err := os.ReadFile(f)
			require.NoError(t, err)
			p, w, err := ReadPlan(f, data)
			require.NoError(t, err)
			require.Empty(t, w, f)
			out[f] = p
		}
	}
	if len(out) == 0 {
		t.Skip("the rounds with known truth are not beside the source")
	}
	return out
}

func FuzzReadPlan(f *testing.F) {
	f.Add([]byte(goodPlan))
	f.Add([]byte("plan: groundline/1\nobstacles:\n- id: 1\n  kind: oxer\n  at:\n  - 1\n  - 2\n  facing: 3\nroute:\n- 1\n"))
	f.Add([]byte("{plan: groundline/1, obstacles: [{id: a, kind: wall, at: [0, 0], facing: 1}], route: [a]}"))
	f.Add([]byte("a: &a [*a]\nb: !!float 1\n? x\n: y\n<<: *a\n"))
	f.Add([]byte("name: |\n  x\n  y\n---\nname: >-\n  z\n..."))
	f.Fuzz(func(t *testing.T, data []byte) {
		start := time.Now()
		p, w, err := ReadPlan("f", data)
		if time.Since(start) > 2*time.Second {
			t.Fatalf("took %v for %d bytes", time.Since(start), len(data))
		}
		if err != nil {
			var faults Faults
			if !errors.As(err, &faults) || len(faults) == 0 || p != nil {
				t.Fatalf("error %v with plan %v", err, p)
			}
			return
		}
		// What was read is usable to the end, and reads back.
		for _, l := range p.Lines {
			if !(l.DistanceM() >= 0) || math.IsInf(l.DistanceM(), 0) || l.Kind == "" || l.Derived == (l.Why == "") {
				t.Fatalf("line %+v", l)
			}
		}
		for _, x := range w {
			if x.What == "" || x.Why == "" {
				t.Fatalf("warning %+v", x)
			}
		}
		q, _, err := ReadPlan("f", WritePlan(p))
		if err != nil {
			t.Fatalf("written plan: %v\n%s", err, WritePlan(p))
		}
		requireSamePlan(t, p, q, 0)
		if l := p.PlanTrack(StandardStrideM).LengthM; !(l >= 0) || math.IsInf(l, 0) {
			t.Fatalf("track of %v m", l)
		}
	})
}
