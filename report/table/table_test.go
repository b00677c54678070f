package table

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/report"
	"groundline/report/layout"
	"groundline/trace"
)

func ptr[T any](v T) *T { return &v }

// madeRows are invented strides: one with all that can be known, one with as little, and words that formats quote.
func madeRows() []Row {
	return []Row{
		{Recording: "a.csv", Horse: `Épée "2", gelding`, Round: "1", Basis: "position+motion", StrideRow: report.StrideRow{
			Round: ptr(1), Attempt: ptr(2), Line: ptr("3-4"), InLine: ptr(1), OfLine: ptr(5), Gait: "canter", Lead: ptr("left"),
			StartS: 31.2004999, DurationS: 0.605, LengthM: &trace.Estimate{Value: 3.4567, Low: 3.3, High: 3.6}, SpeedMS: ptr(3.4567 / 0.605),
			Grade: ptr(-0.02514), Homeward: ptr(-0.00001), CurvaturePerM: ptr(0.123456), By: "counted"}},
		{Recording: "a.csv", Basis: "motion", StrideRow: report.StrideRow{Gait: "walk", StartS: 0, DurationS: 1.1, By: "counted"}},
		{Recording: "a.csv", Horse: "=1+1\nnext", Basis: "motion", StrideRow: report.StrideRow{Gait: "trot", StartS: 1e6, DurationS: 0.7, By: "estimated", Lead: ptr("right")}},
	}
}

// The columns and their order are a promise to scripts.
func TestColumnsAreAsPromised(t *testing.T) {
	var names []string
	for _, c := range Columns() {
		names = append(names, c.Name)
		require.NotEmpty(t, c.Meaning)
		require.NotEmpty(t, c.Derived)
		require.Equal(t, c.Kind == Text, c.text != nil, c.Name)
		require.Equal(t, c.Kind != Text, c.number != nil, c.Name)
	}
	require.Equal(t, "recording horse round attempt line stride_in_line strides_in_line gait lead start_s duration_s frequency_hz "+
		"length_m length_low_m length_high_m speed_m_s grade homeward curvature_1_m basis strides_by", strings.Join(names, " "))
}

func written3(t *testing.T, f Format) string {
	t.Helper()
	var out bytes.Buffer
	w, err := NewWriter(&out, f, "")
	require.NoError(t, err)
	require.NoError(t, w.Write(madeRows()))
	require.NoError(t, w.Close(Provenance{}))
	return out.String()
}

func TestCSV(t *testing.T) {
	rows, err := csv.NewReader(strings.NewReader(written3(t, CSV))).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"a.csv", `Épée "2", gelding`, "1", "2", "3-4", "1", "5", "canter", "left", "31.2", "0.605", "1.6529",
		"3.457", "3.3", "3.6", "5.714", "-0.0251", "0", "0.12346", "position+motion", "counted"}, rows[1])
	require.Equal(t, []string{"a.csv", "", "", "", "", "", "", "walk", "", "0", "1.1", "0.9091", "", "", "", "", "", "", "", "motion", "counted"}, rows[2])
	require.Equal(t, "'=1+1\nnext", rows[3][1], "no formula")
}

// JSON Lines says the same as CSV: each line an object, missing is null.
func TestJSONLines(t *testing.T) {
	rows, err := csv.NewReader(strings.NewReader(written3(t, CSV))).ReadAll()
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSuffix(written3(t, JSONL), "\n"), "\n")
	require.Len(t, lines, 3)
	for i, line := range lines {
		d := json.NewDecoder(strings.NewReader(line))
		d.UseNumber()
		var got map[string]any
		require.NoError(t, d.Decode(&got))
		require.Len(t, got, len(Columns()))
		for k, c := range Columns() {
			switch v := got[c.Name].(type) {
			case nil:
				require.Empty(t, rows[i+1][k], c.Name)
			case json.Number:
				require.NotEqual(t, Text, c.Kind)
				require.Equal(t, rows[i+1][k], v.String(), c.Name)
			default:
				require.Equal(t, Text, c.Kind)
				require.Equal(t, layout.OfCell(rows[i+1][k]), v, c.Name)
			}
		}
		for k, c := range Columns() { // in order
			if k > 0 {
				require.Less(t, strings.Index(line, `"`+Columns()[k-1].Name+`":`), strings.Index(line, `"`+c.Name+`":`))
			}
		}
	}
}

func TestDictionaryHasEveryColumn(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, Dictionary(&out))
	rows, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), len(Columns())+1)
	require.Equal(t, []string{"column", "unit", "type", "missing", "meaning", "derived", "table"}, rows[0])
	for i, c := range Columns() {
		require.Equal(t, c.Name, rows[i+1][0])
		require.Equal(t, c.Unit, rows[i+1][1])
		require.Equal(t, "strides", rows[i+1][6])
	}
}
