package report

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report/layout"
)

// A straight five-stride line and a double, invented: distances of the published table for a 12-ft
// stride (72 ft, 21.95 m) and of its in-and-outs at 3 ft.
const straightPlan = `plan: groundline/1
name: Long side
units: metres
anchor: {latitude: 51.4, longitude: -2.3, bearing: 90}
arena: [[0, 0], [30, 0], [30, 80], [0, 80]]
levels: [[0, 0, 0], [30, 0, 0], [0, 80, 1.6]]
home: [10, 200]
speed: 350
start: [[5, 8], [15, 8]]
finish: [[5, 62], [15, 62]]
obstacles:
  - {id: "1", kind: vertical, at: [10, 20], facing: 0, height: 0.9, spread: 0.3, width: 3.5}
  - {id: "2a", kind: oxer, at: [10, 42.55], facing: 0, height: 0.9, spread: 0.9, width: 3.5}
  - {id: "2b", kind: vertical, at: [10, 50.90], facing: 0, height: 0.9, spread: 0.3, width: 3.5}
route: ["1", "2a", "2b"]
lines:
  - {from: "1", to: "2a", walked: 22.1}
`

func planText(t *testing.T, yaml string, opt PlanOptions) string {
	t.Helper()
	plan, warnings, err := course.ReadPlan("course.yaml", []byte(yaml))
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, PlanText(&out, plan, warnings, opt))
	for _, row := range strings.Split(out.String(), "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(row), layout.Width, "%q", row)
	}
	return out.String()
}

func TestPlanTextReadsAsAgreed(t *testing.T) {
	golden(t, "plan", planText(t, straightPlan, PlanOptions{}))
	golden(t, "plan-pony-imperial", planText(t, straightPlan, PlanOptions{Units: Imperial, Horse: course.Profiles()[2]}))
}

func TestPlanTextOfTheLeastPlans(t *testing.T) {
	const head = "plan: groundline/1\nname: x\nunits: metres\nobstacles:\n"
	one := head + `  - {id: "1", kind: vertical, at: [10, 20], facing: 0}` + "\nroute: [\"1\"]\n"
	require.Contains(t, planText(t, one, PlanOptions{}), "1 obstacle, 1 effort; route 1.")
	two := head + `  - {id: "1", kind: vertical, at: [10, 20], facing: 0}` + "\n" +
		`  - {id: "2", kind: vertical, at: [10, 60], facing: 0}` + "\nroute: [\"1\", \"2\"]\n"
	got := planText(t, two, PlanOptions{})
	require.Contains(t, got, "No slope: ")
	require.NotContains(t, got, "time allowed")
}

// The strides told are those of the published tables: 72 ft is 5 on a 12-ft stride and 6 on
// a 10 ft 3 in one; see package course for every row.
func TestPlanTextOfAPlanWithoutAName(t *testing.T) {
	text := planText(t, strings.Replace(straightPlan, "name: Long side\n", "", 1), PlanOptions{})
	require.True(t, strings.HasPrefix(text, "Course without a name\n2 obstacles"), text)
}

func TestTheWayAPlanWasMovedInWordsAndUnits(t *testing.T) {
	require.Equal(t, "1.06 m right", moved(Metric.length(), 1.06, "right", "left"))
	require.Equal(t, "3.22 m back", moved(Metric.length(), -3.22, "forward", "back"))
	require.Equal(t, "10.6 ft left", moved(Imperial.length(), -3.22, "right", "left"))
}

func TestPlanTextTellsTheTable(t *testing.T) {
	require.Regexp(t, `1 to 2a .*22\.10 .* 5 \(5\.0\)`, planText(t, straightPlan, PlanOptions{}))
	pony := course.Profiles()[3]
	pony.StrideM = 3.124 // 10 ft 3 in
	require.Regexp(t, `1 to 2a .*22\.10 .* 6 \(6\.1\)`, planText(t, straightPlan, PlanOptions{Horse: pony}))
}
