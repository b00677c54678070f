package lesson

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report"
	"groundline/trace"
)

func TestMatrix(t *testing.T) {
	planned := 5
	counted := func(low, high float64) *trace.Estimate {
		return &trace.Estimate{Value: (low + high) / 2, Low: low, High: high}
	}
	line := func(n *trace.Estimate) report.Line {
		return report.Line{From: "1", To: "2", Attempt: 1, Kind: "related", PlannedStrides: &planned, Strides: n}
	}
	two := "2"
	plan := &course.Plan{Route: []string{"1", "2", "3"}}
	at := func(minute int) time.Time { return time.Date(2026, 6, 21, 9, minute, 0, 0, time.UTC) }
	m := Of([]Ride{
		{ID: 3, Pupil: "Juniper", At: at(20), Debrief: &report.Debrief{Plan: plan, Lines: []report.Line{line(counted(5, 5))}}},
		{ID: 1, Pupil: "Juniper", At: at(0), Debrief: &report.Debrief{Plan: plan, Lines: []report.Line{line(counted(6, 6)), {From: "3", To: "1", Kind: "between"}}}},
		{ID: 2, Pupil: "Bracken", At: at(10), Debrief: &report.Debrief{Plan: plan, Lines: []report.Line{line(counted(5, 6))},
			Efforts: []report.Effort{{Obstacle: &two, Outcome: "refused", TakeoffS: counted(10, 10)}}}},
	})
	require.Equal(t, []string{"1", "1–2", "2–3"}, []string{m.Columns[0].Name(), m.Columns[1].Name(), m.Columns[2].Name()})
	require.Equal(t, planned, *m.Columns[1].Planned)
	require.Len(t, m.Rows, 2)
	require.Equal(t, "Juniper", m.Rows[0].Pupil, "by the first ride")
	require.Equal(t, []int64{1, 3}, m.Rows[0].Rides)
	require.Equal(t, []Tried{{1, 1, "6 strides", "added 1", "added"}, {3, 1, "5 strides", "", "good"}}, m.Rows[0].Cells[1])
	require.Equal(t, []Tried{{2, 1, "5 to 6 strides", "", ""}, {2, 0, "", "refused", "stop"}}, m.Rows[1].Cells[1], "an open count is no verdict")
	require.Empty(t, m.Rows[1].Cells[2])
	require.Empty(t, Of(nil).Rows)
	seen := m.Tried()
	require.Len(t, seen.Columns, 1, "nobody has a try at the others")
	require.Equal(t, m.Rows[0].Cells[1], seen.Rows[0].Cells[0])
	require.Len(t, m.Rows[0].Cells, 3, "the whole stays as it was")
}
