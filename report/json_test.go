package report

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/report/layout"
	"groundline/trace"
	"groundline/trace/testkit"
)

const schemaFile = "../cmd/serve/api/schema/debrief-1.json"

func parse(t require.TestingT, s string) float64 {
	x, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return x
}

func asJSON(t *testing.T, d *Debrief) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, JSON(&out, d))
	return out.Bytes()
}

func schema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	s, err := jsonschema.NewCompiler().Compile(schemaFile)
	require.NoError(t, err)
	return s
}

func TestJSONHoldsToItsSchema(t *testing.T) {
	s := schema(t)
	for _, r := range rides() {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(asJSON(t, r.d)))
		require.NoError(t, err)
		require.NoError(t, s.Validate(v), r.name)
	}
}

// A schema that accepts anything would hold too.
func TestSchemaRefusesWhatIsWrong(t *testing.T) {
	s := schema(t)
	good := string(asJSON(t, fullRound()))
	for _, c := range []struct{ old, new string }{
		{`"basis": "position+motion"`, `"basis": "guess"`},
		{`"outcome": "jumped"`, `"outcome": "cleared"`},
		{`"lines": [`, `"lynes": [`},
		{`"missed": []`, `"missed": null`},
		{`"confidence": 0.99`, `"confidence": 1.5`},
		{`"kind": "related"`, `"kind": "straight"`},
		{`"direction": "right"`, `"direction": "r"`},
		{`"strides_by": "counted"`, `"strides_by": "guessed"`},
		{`"start": "2026-04-04T15:49:38Z"`, `"start": 5`},
		{`"time_faults": 1`, `"time_faults": 1.5`},
	} {
		require.Contains(t, good, c.old)
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(strings.Replace(good, c.old, c.new, 1)))
		require.NoError(t, err)
		require.Error(t, s.Validate(v), c.new)
	}
}

//go:generate go test . -run SchemaAndDebrief -update

// Every field is in the schema and demanded there, and the schema has no other.
func TestSchemaAndDebriefHaveTheSameFields(t *testing.T) {
	testkit.SameFields(t, "debrief-1.json", reflect.TypeFor[Debrief](), meaningOf, nil)
}

// meaningOf is what the table of figures says of a field.
func meaningOf(path string) string {
	for _, f := range Figures() {
		if f.Field == path {
			return sentenceOf(f.Meaning)
		}
	}
	return ""
}

func sentenceOf(words string) string { return strings.ToUpper(words[:1]) + words[1:] + "." }

func TestJSONIsTheSameBytesEachTime(t *testing.T) {
	require.Equal(t, asJSON(t, fullRound()), asJSON(t, fullRound()))
}

func TestJSONTellsAbsentAsNullAndEmptyAsEmpty(t *testing.T) {
	got := string(asJSON(t, empty()))
	for _, want := range []string{`"course": null`, `"efforts": []`, `"lines": []`, `"rounds": []`, `"gaits": []`, `"strides": []`,
		`"notes": []`, `"slope": null`, `"position_hz": null`, `"name": null`} {
		require.Contains(t, got, want)
	}
	d := refusal()
	d.Lines[0].StrideLengthsM, d.Rounds[0].Missed = nil, nil
	got = string(asJSON(t, d))
	require.Contains(t, got, `"stride_lengths_m": []`)
	require.Contains(t, got, `"missed": []`)
}

func TestNoNumberThatIsNoneGetsOut(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		d := fullRound()
		d.Lines[2].SpeedMS.High = bad
		require.ErrorContains(t, JSON(&bytes.Buffer{}, d), "debrief.lines[2].speed_m_s")
		require.ErrorContains(t, Text(&bytes.Buffer{}, d, TextOptions{}), "debrief.lines[2].speed_m_s")
		d = fullRound()
		d.Recording.DurationS = bad
		require.ErrorContains(t, JSON(&bytes.Buffer{}, d), "debrief.recording.duration_s")
		d = fullRound()
		d.Lines[2].StrideLengthsM[1] = bad
		require.ErrorContains(t, JSON(&bytes.Buffer{}, d), "debrief.lines[2].stride_lengths_m[1]")
	}
}

func TestRoundingByTheInterval(t *testing.T) {
	for _, c := range []struct{ in, want trace.Estimate }{
		{trace.Estimate{Value: 3.541234, Low: 3.481111, High: 3.601357}, trace.Estimate{Value: 3.5412, Low: 3.4811, High: 3.6014}},
		{trace.Estimate{Value: 1234.5, Low: 234.5, High: 2234.5}, trace.Estimate{Value: 1230, Low: 230, High: 2230}},
		{trace.Estimate{Value: 5, Low: 5, High: 5}, trace.Estimate{Value: 5, Low: 5, High: 5}},
		{trace.Estimate{Value: 0.1 + 0.2, Low: 0.1 + 0.2, High: 0.1 + 0.2}, trace.Estimate{Value: 0.3, Low: 0.3, High: 0.3}},
	} {
		require.Equal(t, c.want, roundEstimate(c.in))
	}
	require.False(t, math.Signbit(layout.Round(-0.0001, 2)), "minus zero")
	require.Equal(t, 1e300, layout.Round(1e300, 6))
}

// Rounding must not change whether an interval holds the truth but in one case in a hundred
// at most, nor put its bounds out of order.
func TestRoundingKeepsTheInterval(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64Range(-1e4, 1e4).Draw(t, "value")
		half := math.Pow(10, rapid.Float64Range(-3, 3).Draw(t, "log half"))
		down := rapid.Float64Range(0, 1).Draw(t, "below") * half
		in := trace.Estimate{Value: value, Low: value - down, High: value - down + 2*half}
		in.High = max(in.High, value)
		out := roundEstimate(in)
		require.LessOrEqual(t, out.Low, out.Value)
		require.LessOrEqual(t, out.Value, out.High)
		h := (in.High - in.Low) / 2
		require.InDelta(t, in.Low, out.Low, 0.0051*h)
		require.InDelta(t, in.High, out.High, 0.0051*h)
	})
}

// Whoever reads the JSON back has the same debrief to the digits told.
func TestJSONReadsBack(t *testing.T) {
	first := asJSON(t, lesson())
	var d Debrief
	require.NoError(t, json.Unmarshal(first, &d))
	require.Equal(t, string(first), string(asJSON(t, &d)))
}
