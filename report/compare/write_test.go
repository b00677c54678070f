package compare

import (
	"bytes"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/report"
	"groundline/report/layout"
	"groundline/trace/testkit"
)

const schemaFile = "../../cmd/serve/api/schema/compare-1.json"

func asText(t require.TestingT, c *Comparison, units report.Units) string {
	var out bytes.Buffer
	require.NoError(t, Text(&out, c, TextOptions{Units: units}))
	return out.String()
}

func asJSON(t require.TestingT, c *Comparison) string {
	var out bytes.Buffer
	require.NoError(t, JSON(&out, c))
	return out.String()
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	testkit.Golden(t, filepath.Join("testdata", name+".golden"), []byte(got))
}

func TestTexts(t *testing.T) {
	for _, x := range comparisons() {
		if x.name != "many" {
			t.Run(x.name, func(t *testing.T) { golden(t, x.name, asText(t, of(t, x.attempts...), report.Metric)) })
		}
	}
	t.Run("imperial", func(t *testing.T) { golden(t, "imperial", asText(t, of(t, first(), second()), report.Imperial)) })
	t.Run("json", func(t *testing.T) { golden(t, "json", asJSON(t, of(t, first(), second()))) })
}

// No row is wider than the page, none ends in a blank, nothing could steer a terminal.
func TestTextFitsThePage(t *testing.T) {
	for _, x := range comparisons() {
		for _, units := range []report.Units{report.Metric, report.Imperial} {
			for _, row := range strings.Split(asText(t, of(t, x.attempts...), units), "\n") {
				require.LessOrEqual(t, layout.Columns(row), layout.Width, row)
				require.Equal(t, strings.TrimRight(row, " "), row)
				require.NotContains(t, row, "\x1b")
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 4).Draw(t, "rides")
		var all []Attempt
		for i := range n {
			all = append(all, anyRide(t, label(i)))
		}
		for _, row := range strings.Split(asText(t, of(t, all...), report.Metric), "\n") {
			require.LessOrEqual(t, layout.Columns(row), layout.Width, row)
		}
	})
}

// What the tables cut off would be lost: no figure of the usual kind is.
func TestNothingUsualIsCutOff(t *testing.T) {
	for _, x := range comparisons() {
		if x.name != "long-names" {
			require.NotContains(t, asText(t, of(t, x.attempts...), report.Metric), "…", x.name)
			require.NotContains(t, asText(t, of(t, x.attempts...), report.Imperial), "…", x.name)
		}
	}
}

func TestBoldIsOrnamentOnly(t *testing.T) {
	c := of(t, first(), second())
	var bold bytes.Buffer
	require.NoError(t, Text(&bold, c, TextOptions{Bold: true}))
	require.Contains(t, bold.String(), "\x1b[1mHow sure\x1b[0m")
	require.Equal(t, asText(t, c, report.Metric), strings.NewReplacer("\x1b[1m", "", "\x1b[0m", "").Replace(bold.String()))
}

func TestFigureInWords(t *testing.T) {
	for _, c := range []struct {
		got, want string
	}{
		{report.StrideLength.Difference(*pm(0.427, 0.128), report.Metric), "each stride 0.43 m ±0.13 longer"},
		{report.StrideLength.Difference(*pm(-0.427, 0.128), report.Imperial), "each stride 1.4 ft ±0.5 shorter"},
		{report.Speed.Difference(*pm(-0.6, 0.3), report.Metric), "pace 36 m/min ±18 down"},
		{report.Angle.Difference(*pm(-7, 3), report.Metric), "approach 7° ±3 squarer"},
		{report.Strides.Difference(*exactly(-1), report.Metric), "1 stride fewer"},
		{report.Strides.Difference(*exactly(2), report.Metric), "2 strides more"},
		{report.Rhythm.Difference(*pm(-0.02, 0.01), report.Metric), "rhythm 2.0 % ±1.0 steadier"},
		{report.Track.Measured(*pm(3.5, 2), report.Metric, true), "+4 ±2"},
		{report.Radius.Measured(*bounds(5.6, 4.6, 7.2), report.Metric, false), "5.6 (4.6 to 7.2)"},
		{report.StrideLength.Measured(*pm(0.31, 0.28), report.Metric, true), "+0.31 ±0.28"}, // not 0.3 ±0.3
		{report.Angle.Measured(*bounds(1, 0, 4.2), report.Metric, false), "under 5"},
		{report.Strides.Measured(*bounds(6, 5, 8), report.Metric, false), "6 (5-8)"},
		{report.Strides.Measured(*exactly(1), report.Metric, true), "+1"},
		{report.Time.Measured(*pm(0, 0.004), report.Metric, true), "0.00 ±0.01"},
	} {
		require.Equal(t, c.want, c.got)
	}
}

func schema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	s, err := jsonschema.NewCompiler().Compile(schemaFile)
	require.NoError(t, err)
	return s
}

func TestJSONHoldsToItsSchema(t *testing.T) {
	s := schema(t)
	for _, x := range comparisons() {
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(asJSON(t, of(t, x.attempts...))))
		require.NoError(t, err)
		require.NoError(t, s.Validate(v), x.name)
	}
	one, err := Of([]Attempt{first(), second()}, Options{From: "3", To: "4"})
	require.NoError(t, err)
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(asJSON(t, one)))
	require.NoError(t, err)
	require.NoError(t, s.Validate(v))
}

// A schema that accepts anything would hold too.
func TestSchemaRefusesWhatIsWrong(t *testing.T) {
	s := schema(t)
	good := asJSON(t, of(t, first(), second()))
	for _, c := range []struct{ old, new string }{
		{`"schema": "groundline.compare/1"`, `"schema": "groundline.compare/2"`},
		{`"figure": "strides"`, `"figure": "hops"`},
		{`"verdict": "beyond doubt"`, `"verdict": "surely"`},
		{`"kind": "way in"`, `"kind": "start"`},
		{`"lines": [`, `"lynes": [`},
		{`"basis": "position+motion"`, `"basis": "guess"`},
		{`"nth": 1`, `"nth": 0`},
		{`"says": "improved"`, `"says": "better"`},
		{`"complete": true`, `"complete": 1`},
	} {
		require.Contains(t, good, c.old)
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(strings.Replace(good, c.old, c.new, 1)))
		require.NoError(t, err)
		require.Error(t, s.Validate(v), c.new)
	}
}

//go:generate go test . -run SchemaAndComparison -update

// Every field is in the schema and demanded there, and the schema has no other; every figure has its name there.
func TestSchemaAndComparisonHaveTheSameFields(t *testing.T) {
	var keys []string
	for _, f := range report.Figures() {
		keys = append(keys, string(f.Key))
	}
	keys = append(keys, string(report.JumpingTime))
	testkit.SameFields(t, "compare-1.json", reflect.TypeFor[Comparison](), func(string) string { return "" }, map[string][]string{"figure": keys})
}

func TestSameBytesEachTime(t *testing.T) {
	for _, x := range comparisons() {
		require.Equal(t, asJSON(t, of(t, x.attempts...)), asJSON(t, of(t, x.attempts...)))
		require.Equal(t, asText(t, of(t, x.attempts...), report.Metric), asText(t, of(t, x.attempts...), report.Metric))
	}
}

// Writing rounds copies, not the comparison itself.
func TestWritingLeavesTheComparison(t *testing.T) {
	c := of(t, first(), second())
	d := c.line(t, "3", "4").diff(t, report.StrideLength).Difference
	asJSON(t, c)
	require.Equal(t, d, c.line(t, "3", "4").diff(t, report.StrideLength).Difference)
}
