package build

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"groundline/report"
	"groundline/report/layout"
	"groundline/trace"
)

func levels(l *report.Looked) map[string]string {
	out := map[string]string{}
	for _, a := range l.Answers {
		out[a.Figure] = a.WithPlan + " " + a.Without
	}
	return out
}

func TestLookAtLabelledRounds(t *testing.T) {
	mounts := map[string]string{"saddle": "steady", "pocket": "turning", "wrist": "swinging"}
	for _, r := range madeRounds(t, "01-*", "03-*", "05-*", "09-*", "02-*", "08-*") {
		l := report.Look(r.rec)
		var out bytes.Buffer
		require.NoError(t, report.InspectText(&out, r.rec, l, nil, false))
		for _, row := range strings.Split(out.String(), "\n") {
			require.LessOrEqual(t, utf8.RuneCountInString(row), layout.Width, row)
		}
		if r.rec.Motion != nil {
			require.Equal(t, mounts[r.mount], *l.Motion.Mounting, r.name)
			require.False(t, l.Motion.GravityRemoved)
			require.Less(t, l.Motion.JitterS, 0.5/l.Motion.RateHz)
		} else {
			require.Nil(t, l.Motion)
			require.Equal(t, "partly no", levels(l)["jumps"])
			require.Contains(t, l.Positions.LagWhy, "motion sensor")
		}
		if r.rec.Positions == nil {
			require.Nil(t, l.Positions)
			require.Nil(t, l.Clocks)
			continue
		}
		// The rounds' receivers: 0.12 to 0.5 m from fix to fix.
		require.Greater(t, *l.Positions.WhiteM, 0.05, r.name)
		require.Less(t, *l.Positions.WhiteM, 0.8, r.name)
		if l.Motion != nil {
			require.NotNil(t, l.Clocks.OffsetS, l.Clocks.Why)
			require.InDelta(t, r.aheadS, l.Clocks.OffsetS.Value, 1.6, r.name)
		}
	}
}

// What is said to be untellable is not told, and what is said to be tellable is.
func TestAnswersAreKept(t *testing.T) {
	for _, r := range madeRounds(t, "01-*", "02-*", "08-*", "05-*") {
		l := report.Look(r.rec)
		for _, with := range []bool{true, false} {
			plan := r.plan
			if !with {
				plan = nil
			}
			d, err := Debrief(t.Context(), r.rec, plan, Options{})
			require.NoError(t, err)
			told := map[string]bool{"jumps": len(d.Efforts) > 0}
			for _, x := range d.Lines {
				told["strides"] = told["strides"] || x.Strides != nil
				told["stride length"] = told["stride length"] || x.StrideLengthM != nil
				told["turns and radius"] = told["turns and radius"] || x.Turn != nil && x.Turn.RadiusMinM != nil
			}
			for _, x := range d.Strides {
				told["leads"] = told["leads"] || x.Lead != nil
			}
			for _, x := range d.Rounds {
				told["times of a round"] = told["times of a round"] || x.TimeS != nil
			}
			for _, a := range l.Answers {
				level := a.Without
				if with {
					level = a.WithPlan
				}
				if a.Figure == "slope" || a.Figure == "times of a round" && r.plan.Start == nil || level == "partly" {
					continue // hangs on the plan, or on the day
				}
				require.Equal(t, level == "yes", told[a.Figure], "%s, plan %v: %s", r.name, with, a.Figure)
			}
		}
	}
}

// A day is looked at in parts.
func TestLookAtALongRecording(t *testing.T) {
	r := madeRounds(t, "01-*")[0]
	long := &trace.Recording{Motion: &trace.Motion{RateHz: r.rec.Motion.RateHz}, Positions: &trace.Positions{RateHz: 1}}
	m, p := r.rec.Motion, r.rec.Positions
	for k := range 60 {
		at := float64(k) * 95
		for _, x := range m.TimeS {
			long.Motion.TimeS = append(long.Motion.TimeS, x+at)
		}
		long.Motion.AX, long.Motion.AY, long.Motion.AZ = append(long.Motion.AX, m.AX...), append(long.Motion.AY, m.AY...), append(long.Motion.AZ, m.AZ...)
		for i, x := range p.TimeS {
			long.Positions.TimeS = append(long.Positions.TimeS, x+at)
			long.Positions.LatDeg, long.Positions.LonDeg = append(long.Positions.LatDeg, p.LatDeg[i]), append(long.Positions.LonDeg, p.LonDeg[i])
			long.Positions.Segment = append(long.Positions.Segment, k)
		}
	}
	l := report.Look(long)
	require.Equal(t, "steady", *l.Motion.Mounting)
	require.LessOrEqual(t, *l.Positions.ToS-*l.Positions.FromS, 1800.0)
	require.InDelta(t, 59, l.Motion.Gaps, 59)
}
