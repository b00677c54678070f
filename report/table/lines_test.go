package table

import (
	"bytes"
	"encoding/csv"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/report"
	"groundline/trace"
)

// A row a ridden line; each figure of the table of figures has three columns, empty where the recording can't say.
func TestLineTable(t *testing.T) {
	one, distance, planned := 1, 21.95, 5
	from, to := "1", "2"
	e := func(v float64) *trace.Estimate { return &trace.Estimate{Value: v, Low: v - 1, High: v + 2} }
	d := &report.Debrief{Basis: "motion", Rounds: []report.Round{{Round: 1}}, Efforts: []report.Effort{
		{Obstacle: &from, Outcome: "jumped", TakeoffS: e(1), LandingS: e(10), LandingDistanceM: e(2)}, {Obstacle: &to, Outcome: "jumped", TakeoffS: e(14), LandingS: e(15)}},
		Lines: []report.Line{{From: from, To: to, Round: &one, Attempt: 1, Kind: "related", DistanceM: &distance, PlannedStrides: &planned, StridesBy: "counted", Strides: e(5)}}}
	var out bytes.Buffer
	w, err := NewLineWriter(&out)
	require.NoError(t, err)
	require.NoError(t, w.Write(lineRowsOf(d, Source{Recording: "a.gpx", Horse: "Ash"})))
	require.NoError(t, w.Close())
	rows, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 2)
	got := map[string]string{}
	for i, name := range rows[0] {
		got[name] = rows[1][i]
	}
	for name, want := range map[string]string{"recording": "a.gpx", "horse": "Ash", "round": "1", "line": "1-2", "attempt": "1", "kind": "related",
		"distance_m": "21.95", "planned_strides": "5", "basis": "motion", "strides_by": "counted", "strides": "5", "strides_low": "4", "strides_high": "7",
		"landing_distance_m": "2", "time_s": "4", "stride_length_m": "", "stride_length_m_low": "", "off_planned_strides": "0"} {
		require.Equal(t, want, got[name], name)
	}
	// The dictionary has every column of it.
	var dictionary bytes.Buffer
	require.NoError(t, Dictionary(&dictionary))
	all, err := csv.NewReader(&dictionary).ReadAll()
	require.NoError(t, err)
	var listed []string
	for _, r := range all[1:] {
		if r[6] == "lines" {
			require.NotEmpty(t, r[4])
			require.NotEmpty(t, r[5])
			listed = append(listed, r[0])
		}
	}
	require.Equal(t, rows[0], listed)
}
