package report

import (
	"bytes"
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/trace"
	"groundline/trace/read"
)

func twoFiles() (*trace.Recording, []read.Summary) {
	start := time.Date(2026, 5, 2, 15, 8, 45, 0, time.UTC)
	return &trace.Recording{
			Start: start, DurationS: 130.24,
			Positions: &trace.Positions{RateHz: 1}, Motion: &trace.Motion{RateHz: 99.98},
			ClockOffsetS: within(3.41, 0.06),
			Notes:        []trace.Note{{Level: "caution", What: "motion.csv: 2 rows left out", Why: "their times run backwards"}},
		}, []read.Summary{
			{File: "ride.gpx.gz", Format: "GPX 1.1", Packed: "gzip", Device: "invented watch", Start: start, DateKnown: true, ZoneKnown: true,
				DurationS: 130, Rows: 131, RateHz: 1, Gaps: []read.Gap{{FromS: 20, ToS: 26}, {FromS: 40, ToS: 45}, {FromS: 50, ToS: 55},
					{FromS: 60, ToS: 65}, {FromS: 70, ToS: 75}, {FromS: 80, ToS: 85}, {FromS: 90, ToS: 95}},
				Positions: &read.PositionSummary{Segments: 2, HasSpeed: true, Outliers: 3}},
			{File: "motion.csv", Format: "CSV", DurationS: 130.24, Rows: 13021, Unreadable: 1, OutOfOrder: 2, Repeated: 3, RateHz: 99.98, JitterS: 0.0014,
				Motion:  &read.MotionSummary{HasTurnRate: true, RestMS2: 9.79, ClippedMS2: 39.2, Wild: 4},
				Columns: []read.Column{{Header: "t", As: "t", Unit: "ms", By: "size"}, {Header: "x", As: "ax", Unit: "g", By: "resting vector"}},
				Ignored: []string{"temperature"}},
			{File: "bare.csv", Format: "CSV", Rows: 2, Motion: &read.MotionSummary{GravityRemoved: true}},
		}
}

func TestInspectTextReadsAsAgreed(t *testing.T) {
	rec, files := twoFiles()
	look := lookedAt()
	var out bytes.Buffer
	require.NoError(t, InspectText(&out, rec, look, files, false))
	golden(t, "inspect", out.String())
}

func TestInspectJSON(t *testing.T) {
	rec, files := twoFiles()
	look := lookedAt()
	var out bytes.Buffer
	require.NoError(t, InspectJSON(&out, rec, look, files))
	golden(t, "inspect-json", out.String())

	// Refused files are told, without a ride; what is absent is null, never zero.
	out.Reset()
	require.NoError(t, InspectJSON(&out, nil, nil, files[2:]))
	var got map[string]any
	require.NoError(t, json.Unmarshal(out.Bytes(), &got))
	require.Nil(t, got["together"])
	file := got["files"].([]any)[0].(map[string]any)
	for _, name := range []string{"start", "rate_hz", "jitter_s", "device", "packed", "positions"} {
		require.Contains(t, file, name)
		require.Nil(t, file[name], name)
	}
	require.Equal(t, []any{}, file["gaps"])
}
