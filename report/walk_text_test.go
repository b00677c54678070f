package report

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/course/horse"
	"groundline/report/layout"
	"groundline/trace/testkit"
)

const walkSchemaFile = "../cmd/serve/api/schema/walk-1.json"

func fieldPlan(t *testing.T) *course.Plan {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "testdata", "plans", "field.yaml"))
	require.NoError(t, err)
	p, warnings, err := course.ReadPlan("field.yaml", data)
	require.NoError(t, err)
	require.Empty(t, warnings)
	return p
}

func bramble(t *testing.T) course.Horse {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "testdata", "plans", "horse.yaml"))
	require.NoError(t, err)
	h, err := course.ReadHorse("horse.yaml", data)
	require.NoError(t, err)
	return h
}

// measuredHorse is one as two debriefs of the invented rides tell it.
func measuredHorse(t *testing.T) course.Horse {
	t.Helper()
	a, b := fullRound(), fullRound()
	h, err := horse.Of(RiddenIn([]*Debrief{a, b})).Course()
	require.NoError(t, err)
	return h
}

// leastPlan has one obstacle and nothing else.
const leastPlan = "plan: groundline/1\nname: x\nunits: metres\nobstacles:\n" +
	`  - {id: "1", kind: vertical, at: [10, 20], facing: 0}` + "\nroute: [\"1\"]\n"

func readPlanText(t *testing.T, text string) *course.Plan {
	t.Helper()
	p, _, err := course.ReadPlan("course.yaml", []byte(text))
	require.NoError(t, err)
	return p
}

func walkText(t *testing.T, p *course.Plan, h course.Horse, opt WalkOptions) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, WalkText(&out, p, p.Walk(h), nil, opt))
	for _, row := range strings.Split(out.String(), "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(row), layout.Width, "%q", row)
		require.Equal(t, strings.TrimRight(row, " "), row)
	}
	return out.String()
}

func TestWalkTextReadsAsAgreed(t *testing.T) {
	p := fieldPlan(t)
	golden(t, "walk", walkText(t, p, bramble(t), WalkOptions{}))
	golden(t, "walk-pony-imperial", walkText(t, p, course.Profiles()[2].Horse(), WalkOptions{Units: Imperial}))
	golden(t, "walk-measured", walkText(t, p, measuredHorse(t), WalkOptions{}))
}

// What a coach looks for is there: the table's number with its real one, and the published rule of the trade says that 72 ft
// are five strides of a 12-ft horse, of 12 ft each.
func TestWalkTextTellsTheRuleOfTheTrade(t *testing.T) {
	p := readPlanText(t, strings.Replace(straightPlan, "walked: 22.1", "walked: 21.95", 1))
	sloping := strings.Join(strings.Fields(walkText(t, p, course.Profiles()[0].Horse(), WalkOptions{Units: Imperial})), " ")
	require.Contains(t, sloping, "rises 2.0 %: strides 0.1 ft ±0.1 shorter", "0.33 % a per cent of 12 ft")
	require.Contains(t, sloping, "towards home: horses open")
	p.Levels = nil
	text := walkText(t, p, course.Profiles()[0].Horse(), WalkOptions{Units: Imperial})
	require.Regexp(t, `1 to 2a +72\.0 ±\d\.\d +5 \(5\.0 ±\d\.\d\) +12\.0 ±\d\.\d +right +\d+ %`, text)
	require.Regexp(t, `or 4 +15\.0 ±\d\.\d +3\.0 ±\d\.\d long !`, text)
	require.Regexp(t, `or 6 +10\.0 ±\d\.\d +2\.0 ±\d\.\d tight`, text)
	require.Contains(t, sloping, "US Equestrian's chart of suggested distances", "the table is named")
	require.Equal(t, 1, strings.Count(text, "The instructor on the ground decides."))
	require.Equal(t, 1, strings.Count(text, rulesDecide[:20]))
}

// At 350 m/min a lean of 30° and 20° are radii of 6.0 and 9.5 m (v²/(g tan lean)).
func TestWalkTextTellsTheTurns(t *testing.T) {
	p := readPlanText(t, `plan: groundline/1
name: Back again
units: metres
speed: 350
obstacles:
  - {id: "1", kind: vertical, at: [10, 20], facing: 0}
  - {id: "2", kind: vertical, at: [34, 20], facing: 180}
route: ["1", "2"]
lines: [{from: "1", to: "2", kind: rollback}]
`)
	text := walkText(t, p, course.Profiles()[0].Horse(), WalkOptions{})
	require.Regexp(t, `Cut at 350 m/min: .* in .* s, radius 6\.0 m, lean 30°\.`, text)
	require.Regexp(t, `Wide: .* radius 9\.5 m, lean 20°:\s.* m ±.* s ±?.*\s*more\.`, strings.Join(strings.Fields(text), " "))
	p.Arena = []course.Point{{X: 0, Y: 0}, {X: 50, Y: 0}, {X: 50, Y: 23}, {X: 0, Y: 23}}
	text = strings.Join(strings.Fields(walkText(t, p, course.Profiles()[0].Horse(), WalkOptions{})), " ")
	require.Contains(t, text, "No room at 350 m/min")
	require.Contains(t, text, "leaves the arena by")
}

func TestWalkOfTheLeastPlans(t *testing.T) {
	p := readPlanText(t, leastPlan)
	text := walkText(t, p, course.Profiles()[0].Horse(), WalkOptions{})
	require.Contains(t, text, "x, walked for a horse")
	require.Contains(t, text, "1 obstacle, 1 effort; route 1.")
	require.NotContains(t, text, "Lines")
	require.NotContains(t, text, "NaN")
}

// Elements 3.60 m apart are jumped without a stride between (the bounce of the published tables is 3.0 to 3.7 m).
func TestWalkTextTellsABounce(t *testing.T) {
	p := readPlanText(t, "plan: groundline/1\nname: x\nunits: metres\nobstacles:\n"+
		`  - {id: "1", kind: vertical, at: [10, 20], facing: 0, height: 0.6, spread: 0.2}`+"\n"+
		`  - {id: "2", kind: vertical, at: [10, 23.8], facing: 0, height: 0.6, spread: 0.2}`+"\n"+"route: [\"1\", \"2\"]\n")
	text := walkText(t, p, course.Profiles()[0].Horse(), WalkOptions{})
	require.Regexp(t, `1 to 2 +3\.6 ±0\.3 +0 \(`, text)
	require.Contains(t, text, "Combination, a bounce.")
}

func asWalkJSON(t *testing.T, p *course.Plan, h course.Horse) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, WalkJSON(&out, p, p.Walk(h), []course.Warning{{What: "w", Why: "y"}}))
	return out.Bytes()
}

func TestWalkJSONHoldsToItsSchema(t *testing.T) {
	s, err := jsonschema.NewCompiler().Compile(walkSchemaFile)
	require.NoError(t, err)
	holds := func(data []byte) error {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
		require.NoError(t, err)
		return s.Validate(v)
	}
	horses := []course.Horse{bramble(t), measuredHorse(t)}
	for _, p := range course.Profiles() {
		horses = append(horses, p.Horse())
	}
	for _, p := range []*course.Plan{fieldPlan(t), readPlanText(t, straightPlan), readPlanText(t, leastPlan)} {
		for _, h := range horses {
			data := asWalkJSON(t, p, h)
			require.NoError(t, holds(data), h.Name)
			require.Equal(t, data, asWalkJSON(t, p, h), "the same bytes")
		}
	}
	// A schema that accepts anything would hold too.
	good := string(asWalkJSON(t, fieldPlan(t), bramble(t)))
	for _, c := range [][2]string{{`"says": "right"`, `"says": "fits"`}, {`"how": "weak"`, `"how": "slow"`}, {`"lines": [`, `"lynes": [`},
		{`"kind": "bending"`, `"kind": "curved"`}, {`"through": []`, `"through": null`}, {`"whole": 4`, `"whole": 4.5`},
		{`"schema": "groundline.walk/1"`, `"schema": "groundline.walk/2"`}, {`"level": "caution"`, `"level": "loud"`}} {
		require.Contains(t, good, c[0])
		require.Error(t, holds([]byte(strings.Replace(good, c[0], c[1], 1))), c[1])
	}
}

// Every field is in the schema and demanded there, and the schema has no other.
func TestSchemaAndWalkHaveTheSameFields(t *testing.T) {
	testkit.SameFields(t, "walk-1.json", reflect.TypeFor[Walk](), func(string) string { return "" }, nil)
}

// The figures of the JSON are those of the walk.
func TestWalkJSONSaysWhatTheWalkSays(t *testing.T) {
	p, h := fieldPlan(t), bramble(t)
	w := p.Walk(h)
	var got Walk
	require.NoError(t, json.Unmarshal(asWalkJSON(t, p, h), &got))
	require.Len(t, got.Lines, len(w.Lines))
	for i, l := range got.Lines {
		require.Equal(t, w.Lines[i].Whole, l.Whole)
		require.InDelta(t, w.Lines[i].Real.Value, l.Strides.Value, 0.01)
		require.InDelta(t, -w.Lines[i].TurnedDeg, l.TurnedDeg, 0.01, "left positive, as in the debrief")
		require.Equal(t, w.Lines[i].Turn == nil, l.Turn == nil)
	}
	require.Equal(t, "w", got.Notes[0].What)
	require.Equal(t, rulesDecide, got.Notes[len(got.Notes)-1].What)
}

// A line that was ridden by a long way round, or not counted, or at a walk's length of nothing, tells no stride.
func TestRiddenInLeavesOut(t *testing.T) {
	line := way("1", "2", "related", 21.95, 5, 3.45, 5.6, 5.7)
	long := way("1", "2", "related", 21.95, 24, 3.0, 5.6, 5.7)
	uncounted := line
	uncounted.Strides = nil
	none := way("1", "2", "related", 21.95, 0, 3.0, 5.6, 5.7)
	refused := jumped("1", 9)
	refused.Outcome = "refused"
	d := &Debrief{Lines: []Line{line, long, uncounted, none}, Efforts: []Effort{jumped("1", 5), refused}}
	r := RiddenIn([]*Debrief{d})
	require.Len(t, r.Lines, 1)
	require.Equal(t, 21.95, *r.Lines[0].GroundM)
	require.Len(t, r.Jumps, 1)
	other := RiddenIn([]*Debrief{d, d})
	require.NotEqual(t, other.Lines[0].Way, other.Lines[1].Way, "rides without a course's name share no ground")
}
