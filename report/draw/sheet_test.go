package draw

import (
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/course"
)

func read(t require.TestingT, yaml string) *course.Plan {
	p, _, err := course.ReadPlan("plan.yaml", []byte(yaml))
	require.NoError(t, err)
	return p
}

// A course with one of everything.
const fullPlan = `plan: groundline/1
name: Evening course
units: metres
anchor: {latitude: 51.4, longitude: -2.3, bearing: 20}
arena: [[0, 0], [80, 0], [80, 45], [0, 45]]
levels: [[0, 0, 0], [80, 0, 2], [0, 45, 0.2]]
home: [-35, 20]
gate: [2, 22]
speed: 325
start: [[8, 12], [8, 4]]
finish: [[5, 32], [5, 40]]
obstacles:
  - {id: "1", kind: vertical, at: [20, 8], facing: 90, height: 0.85, spread: 0.3, width: 3.5}
  - {id: "2", kind: oxer, at: [42.55, 8], facing: 90, height: 0.85, spread: 0.9, width: 3.5}
  - {id: "3a", kind: wall, at: [52, 36], facing: 270, height: 0.85, spread: 0.4, width: 3.5}
  - {id: "3b", kind: triple bar, at: [43.4, 36], facing: 270, height: 0.85, spread: 1.4, width: 3.5}
  - {id: "4", kind: cross, at: [20, 36], facing: 270, height: 0.5, spread: 0.3, width: 3.5}
  - {id: "P", kind: pole, at: [33, 22], facing: 0, width: 3}
  - {id: "S", kind: water, at: [60, 22], facing: 0, spread: 3, width: 4}
  - {id: "D", kind: ditch, at: [68, 22], facing: 0, spread: 1, width: 4}
route: ["1", "2", "3a", "3b", "4"]
lines:
  - {from: "1", to: "2", kind: related, walked: 21.95}
`

func TestPlanSheetGolden(t *testing.T) {
	golden(t, "evening.svg", svg(t, PlanSheet(read(t, fullPlan), Options{})))
	golden(t, "lone.svg", svg(t, PlanSheet(read(t, lonePlan), Options{Letter: true, Imperial: true})))
}

const lonePlan = `plan: groundline/1
name: One fence
obstacles: [{id: "1", kind: vertical, at: [3, 4], facing: 30}]
route: ["1"]
`

// The sheet is to scale: places lie as far apart as the scale says, x to the right and y up, and a face is as wide.
func TestToScale(t *testing.T) {
	p := read(t, fullPlan)
	d := PlanSheet(p, Options{})
	a, b, c := d.At(course.Point{}), d.At(course.Point{X: 80}), d.At(course.Point{Y: 45})
	require.InDelta(t, 80*d.PtPerM, b.X-a.X, 1e-9)
	require.InDelta(t, 45*d.PtPerM, a.Y-c.Y, 1e-9)
	n := 72 / 0.0254 / d.PtPerM
	require.Contains(t, string(svg(t, d)), fmt.Sprintf(">1 : %.0f<", n))
	require.InDelta(t, n, math.Round(n), 1e-9)
	// The arena's line runs through the corners.
	edge := d.group("arena").Items[0].(Line)
	require.True(t, edge.Closed)
	require.Equal(t, []XY{a, b, d.At(course.Point{X: 80, Y: 45}), c}, edge.Points)
	// The first obstacle's face: east of its place nothing but its thickness, 3.5 m along y.
	bar := d.group("obstacles").Items[0].(Area)
	low, high := extentOf(bar.Points)
	require.InDelta(t, 3.5*d.PtPerM, high.Y-low.Y, 1e-9)
	at := d.At(course.Point{X: 20, Y: 8})
	require.InDelta(t, at.X, (low.X+high.X)/2, 1e-9)
	require.InDelta(t, at.Y, (low.Y+high.Y)/2, 1e-9)
	// It faces east: its arrow's tip lies to the right.
	tip := at
	for _, it := range d.group("obstacles").Items[3:5] {
		if head, ok := it.(Area); ok {
			tip = head.Points[2]
		}
	}
	require.Greater(t, tip.X, at.X+5)
	require.InDelta(t, at.Y, tip.Y, 1e-9)
}

// True north is where the anchor says: the bearing of +y is 20°, so north lies 20° to the left of up.
func TestNorthAndFall(t *testing.T) {
	s := newSheet(read(t, fullPlan), read(t, fullPlan).Walk(course.Profiles()[0].Horse()), Options{}, a4LongPt, a4ShortPt, nil)
	dials := s.dials()
	require.Len(t, dials, 2)
	require.Equal(t, "true north", dials[1].word)
	require.InDelta(t, -20, dials[1].bearingDeg, 1e-9)
	// Heights of 0, 2 m in 80 m to the right and 0.2 m in 45 m ahead: it falls to the left and a little back.
	fall := math.Hypot(2.0/80, 0.2/45)
	require.Equal(t, fmt.Sprintf("falls %.1f %%", 100*fall), dials[0].word)
	require.InDelta(t, -(180 - math.Atan2(2.0/80, 0.2/45)*180/math.Pi), dials[0].bearingDeg, 1e-6)
}

func TestWordsOnTheSheet(t *testing.T) {
	p := read(t, fullPlan)
	d := PlanSheet(p, Options{Warnings: []course.Warning{{Line: 3, Field: "speed", What: "a thing to look at"}}})
	all := words(d)
	track := math.Round(p.PlanTrack(course.Profiles()[0].StrideM).LengthM)
	for _, want := range []string{
		"Evening course", "arena 80 m × 45 m", "0.50 to 0.85 m high",
		fmt.Sprintf("Track %.0f m from the start line to the finish line", track),
		fmt.Sprintf("at 325 m/min time allowed %.0f s", course.TimeAllowedS(track, 325)),
		"Route 1 – 2 – 3a – 3b – 4", "21.95 m walked", "5 strides", "The instructor on the ground decides.",
		"start", "finish", "gate", "home", "true north", "speed: a thing to look at", "Not in the route: S, D.",
		"vertical", "oxer", "triple bar", "wall", "cross", "water", "ditch", "pole", "0.5", "1.0",
	} {
		require.Contains(t, all, want)
	}
	require.Contains(t, d.Description, "3b triple bar facing 270°")
	require.Contains(t, d.Description, "1–2 21.95 m walked, 5 strides")
	require.Contains(t, words(PlanSheet(p, Options{Imperial: true})), "72.0 ft walked")
	// A horse of a longer stride takes fewer.
	require.Contains(t, words(PlanSheet(p, Options{Horse: course.Profile{Name: "Bramble", StrideM: 4.39, LowM: 4.3, HighM: 4.5}.Horse()})), "4 strides")
}

// words are all texts of a drawing, a blank between.
func words(d *Drawing) string {
	var out []string
	for _, g := range d.Groups {
		for _, it := range g.Items {
			if t, ok := it.(Text); ok {
				out = append(out, t.Text)
			}
		}
	}
	return strings.Join(out, " ")
}

// requireSound holds what every sheet must be: nothing beyond the sheet's printable edge, every number of an obstacle
// there, no text twice at one place.
func requireSound(t require.TestingT, p *course.Plan, d *Drawing) {
	f := newFonts()
	const edge = 12.0 // 4 mm
	for _, g := range d.Groups {
		for _, it := range g.Items {
			low, high := it.extent(f)
			require.True(t, low.X >= edge && low.Y >= edge && high.X <= d.WidthPt-edge && high.Y <= d.HighPt-edge,
				"%s: %v from %v to %v on %g by %g", g.Name, it, low, high, d.WidthPt, d.HighPt)
		}
	}
	shown := map[string]int{}
	for _, it := range d.group("names").Items {
		if text, ok := it.(Text); ok {
			shown[text.Text]++
		}
	}
	for _, o := range p.Obstacles {
		if len(o.ID) <= 4 {
			require.Positive(t, shown[o.ID], "number %s", o.ID)
		}
	}
	require.NoError(t, WriteSVG(io.Discard, d))
	require.NotContains(t, d.Description+words(d), "NaN")
	require.NotContains(t, d.Description+words(d), "Inf")
}

// overlaps are the pairs of labels that lie over each other, and the labels over obstacles' middles.
func overlaps(p *course.Plan, d *Drawing) (out []string) {
	type box struct {
		low, high XY
		text      string
	}
	var boxes []box
	f := newFonts()
	for _, it := range append(append([]Item{}, d.group("names").Items...), d.group("labels").Items...) {
		if t, ok := it.(Text); ok {
			low, high := t.extent(f)
			// The letters themselves: without the room above small ones and below the line.
			boxes = append(boxes, box{XY{low.X, t.At.Y - 0.6*t.SizePt}, XY{high.X, t.At.Y}, t.Text})
		}
	}
	for i, a := range boxes {
		for _, b := range boxes[:i] {
			if a.low.X < b.high.X && b.low.X < a.high.X && a.low.Y < b.high.Y && b.low.Y < a.high.Y {
				out = append(out, a.text+" over "+b.text)
			}
		}
		for _, o := range p.Obstacles {
			if at := d.At(o.At); at.X > a.low.X && at.X < a.high.X && at.Y > a.low.Y && at.Y < a.high.Y {
				out = append(out, a.text+" over obstacle "+o.ID)
			}
		}
	}
	return out
}

// odd are plans that lack or overdo something.
func odd() map[string]string {
	const head = "plan: groundline/1\nname: Odd\n"
	long := strings.Repeat("Long name ", 19)
	out := map[string]string{
		"lone fence": lonePlan,
		"full":       fullPlan,
		"tiny arena": head + "arena: [[0, 0], [6, 0], [6, 5], [0, 5]]\nobstacles: [{id: \"1\", kind: cross, at: [3, 2.5], facing: 0, width: 3}]\nroute: [\"1\"]\n",
		"huge arena": head + "arena: [[-4000, -4000], [4000, -4000], [4000, 4000], [-4000, 4000]]\nlevels: [[-4000, -4000, 0], [4000, 0, 300], [0, 4000, 500]]\nhome: [0, 0]\n" +
			"obstacles:\n  - {id: \"1\", kind: oxer, at: [-3000, 100], facing: 0}\n  - {id: \"2\", kind: wall, at: [3000, 100], facing: 180}\nroute: [\"1\", \"2\"]\n",
		"narrow arena":          head + "arena: [[0, 0], [900, 0], [900, 12], [0, 12]]\nhome: [2000, 6]\nobstacles:\n  - {id: \"1\", kind: water, at: [50, 6], facing: 90, spread: 4}\n  - {id: \"2\", kind: wall, at: [850, 6], facing: 90}\nroute: [\"1\", \"2\"]\n",
		"no levels to speak of": head + "levels: [[0, 0, 1], [10, 0, 1]]\nobstacles: [{id: \"1\", kind: wall, at: [3, 4], facing: 30}]\nroute: [\"1\"]\n",
		"level ground":          head + "levels: [[0, 0, 1], [10, 0, 1], [5, 9, 1]]\nobstacles: [{id: \"1\", kind: wall, at: [3, 4], facing: 30}]\nroute: [\"1\"]\n",
		"long names": "plan: groundline/1\nname: \"" + long + "\"\narena: [[0, 0], [60, 0], [60, 40], [0, 40]]\nobstacles:\n" +
			"  - {id: \"The planks by the old oak, left\", kind: wall, at: [5, 5], facing: 0}\n  - {id: \"The brook at the lower corner\", kind: water, at: [55, 35], facing: 90}\n" +
			"route: [\"The planks by the old oak, left\", \"The brook at the lower corner\"]\n",
		"one fence twice": head + "obstacles:\n  - {id: \"1\", kind: vertical, at: [0, 0], facing: 0}\n  - {id: \"2\", kind: vertical, at: [0, 30], facing: 180}\nroute: [\"1\", \"2\", \"1\", \"2\"]\n",
		"same place":      head + "obstacles:\n  - {id: \"1\", kind: vertical, at: [0, 0], facing: 0}\n  - {id: \"2\", kind: vertical, at: [0, 0], facing: 180}\nroute: [\"1\", \"2\"]\n",
		"home here":       head + "home: [0, 0]\ngate: [0, 0]\nobstacles: [{id: \"1\", kind: ditch, at: [0, 0], facing: 0}]\nroute: [\"1\"]\n",
		"far away":        head + "home: [-5000, 5000]\nobstacles: [{id: \"1\", kind: ditch, at: [4990, -4990], facing: 0}]\nroute: [\"1\"]\n",
	}
	many := head + "arena: [[0, 0], [100, 0], [100, 65], [0, 65]]\nobstacles:\n"
	route := []string{}
	for i := range 30 {
		many += fmt.Sprintf("  - {id: \"%d\", kind: %s, at: [%d, %d], facing: %d, spread: 0.8}\n", i+1, course.Kinds()[i%7], 10+i%6*16, 8+i/6*12, i*77%360)
		route = append(route, fmt.Sprintf("%q", fmt.Sprint(i+1)))
	}
	out["thirty"] = many + "route: [" + strings.Join(route, ", ") + "]\n"
	return out
}

func TestOddPlans(t *testing.T) {
	for name, yaml := range odd() {
		t.Run(name, func(t *testing.T) {
			p := read(t, yaml)
			for _, opt := range []Options{{}, {Imperial: true, Letter: true, PlannedOnly: true}} {
				d := PlanSheet(p, opt)
				requireSound(t, p, d)
				require.NoError(t, WritePDF(io.Discard, d))
				if name != "same place" && name != "home here" {
					require.Empty(t, overlaps(p, d))
				}
			}
		})
	}
	require.NotPanics(t, func() { requireSound(t, &course.Plan{}, PlanSheet(&course.Plan{}, Options{})) })
}

// The number of a line is on the sheet even where there is no room beside the line.
func TestNoLineIsLost(t *testing.T) {
	p := read(t, odd()["thirty"])
	s := newSheet(p, p.Walk(course.Profiles()[0].Horse()), Options{}, a4LongPt, a4ShortPt, nil)
	s.room.take(XY{0, 0}, XY{s.d.WidthPt, s.d.HighPt}) // no room at all
	unlaid := s.draw()
	require.Len(t, unlaid, 29)
	require.Contains(t, words(s.d), "No room beside the lines for: 1–2 ")

	d := PlanSheet(p, Options{})
	shown := words(d)
	for _, l := range p.Walk(course.Profiles()[0].Horse()).Lines {
		require.Contains(t, shown, l.From+"–"+l.To, "on a crowded sheet each label names its line")
	}
}

func TestRandomPlans(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.Float64Range(4, 3000).Draw(t, "size")
		place := func(what string) course.Point {
			return course.Point{X: rapid.Float64Range(0, size).Draw(t, what), Y: rapid.Float64Range(0, size).Draw(t, what)}
		}
		p := &course.Plan{Name: rapid.StringN(0, 200, -1).Draw(t, "name")}
		n := rapid.IntRange(1, 6).Draw(t, "obstacles")
		for i := range n {
			p.Obstacles = append(p.Obstacles, course.Obstacle{ID: fmt.Sprint(i + 1), Kind: rapid.SampledFrom(course.Kinds()[:7]).Draw(t, "kind"),
				At: place("at"), FacingDeg: rapid.Float64Range(0, 359.9).Draw(t, "facing"), WidthM: rapid.Float64Range(0.5, 20).Draw(t, "width"),
				SpreadM: rapid.Float64Range(0, 4).Draw(t, "spread")})
			p.Route = append(p.Route, fmt.Sprint(i+1))
		}
		p.SetLines(nil)
		if rapid.Bool().Draw(t, "arena") {
			p.Arena = []course.Point{{}, {X: size}, {X: size, Y: size}, {Y: size}}
		}
		if rapid.Bool().Draw(t, "levels") {
			for range rapid.IntRange(1, 7).Draw(t, "spots") {
				at := place("spot")
				p.Levels = append(p.Levels, course.Spot{X: at.X, Y: at.Y, Z: rapid.Float64Range(-3, 3).Draw(t, "z")})
			}
		}
		if rapid.Bool().Draw(t, "home") {
			at := place("home")
			p.Home = &course.Point{X: 3*at.X - size, Y: 3*at.Y - size}
		}
		if rapid.Bool().Draw(t, "lines") {
			p.Start, p.Finish = &[2]course.Point{place("start"), place("start")}, &[2]course.Point{place("finish"), place("finish")}
		}
		requireSound(t, p, PlanSheet(p, Options{Letter: rapid.Bool().Draw(t, "letter")}))
	})
}

// The rounds' plans are drawn with every label in a place of its own.
func TestRoundsPlans(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "..", "..", "shared", "data", "rounds", "*", "course.yaml"))
	require.NoError(t, err)
	if len(files) == 0 {
		t.Skip("no rounds beside the project")
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		p := read(t, string(data))
		d := PlanSheet(p, Options{})
		requireSound(t, p, d)
		require.Empty(t, overlaps(p, d), file)
		require.NotContains(t, words(d), "No room beside", file)
	}
}
