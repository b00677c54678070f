package report

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"groundline/report/layout"
	"groundline/trace"
	"groundline/trace/read"
)

func lookedAt() *Looked {
	l := &Looked{
		Motion: &LookedMotion{Mounting: ptr("turning"), MountingWhy: "up moves by 1.4° within a few seconds and by 4.6° within half a minute",
			SwingDeg: ptr(1.4), TurnDeg: ptr(4.6), TurnRateRadS: ptr(0.7), ClippedMS2: ptr(39.2), ClippedShare: 0.0021, RateHz: 99.98, JitterS: 0.0014, Gaps: 1, GapsS: 0.8},
		Positions: &LookedPositions{RateHz: 1, Gaps: 7, GapsS: 36, NoiseWhy: "found from the ride", WhiteM: ptr(0.27), WanderM: ptr(1.2), SpeedMS: ptr(0.3),
			Outliers: ptr(3), LagWhy: "told in a debrief with a plan", FromS: ptr(0.0), ToS: ptr(130.0)},
		Clocks: &LookedClocks{OffsetS: between(25203.4, 25202.8, 25204), DriftPPM: between(900, 700, 1100), Why: "6 changes of gait against changes of speed"},
	}
	l.Answers = answers(l)
	return l
}

func inspectSchemaOf(t *testing.T) *jsonschema.Schema {
	s, err := jsonschema.NewCompiler().Compile("../testdata/schema/inspect-1.json")
	require.NoError(t, err)
	return s
}

func TestInspectionsHoldTheirSchema(t *testing.T) {
	s := inspectSchemaOf(t)
	rec, files := twoFiles()
	check := func(rec *trace.Recording, look *Looked, files []read.Summary) string {
		var out bytes.Buffer
		require.NoError(t, InspectJSON(&out, rec, look, files))
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(out.Bytes()))
		require.NoError(t, err)
		require.NoError(t, s.Validate(v), out.String())
		return out.String()
	}
	good := check(rec, lookedAt(), files)
	check(nil, nil, files[2:])
	check(rec, Look(rec), files)
	check(rec, Look(&trace.Recording{}), files)
	// A schema that accepts anything would hold too.
	for _, c := range [][2]string{{`"jitter_s"`, `"jitter"`}, {`"partly"`, `"perhaps"`}, {`"turning"`, `"shaking"`}, {`"low"`, `"lo"`}, {`"look"`, `"looks"`}} {
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(strings.Replace(good, c[0], c[1], 1)))
		require.NoError(t, err)
		require.Error(t, s.Validate(v), "%v", c)
	}
}

func levels(l *Looked) map[string]string {
	out := map[string]string{}
	for _, a := range l.Answers {
		out[a.Figure] = a.WithPlan + " " + a.Without
	}
	return out
}

// What is promised follows what was recorded: the more of it, the more can be told.
func TestAnswersFollowTheRecording(t *testing.T) {
	steady := func(hz float64) *LookedMotion { return &LookedMotion{RateHz: hz, Mounting: ptr("steady")} }
	fixes := func(hz float64) *LookedPositions { return &LookedPositions{RateHz: hz, WhiteM: ptr(0.2)} }
	gyro := steady(100)
	gyro.TurnRateRadS = ptr(0.7)
	clipped := steady(100)
	clipped.ClippedMS2 = ptr(19.6)
	wrist := steady(100)
	wrist.Mounting = ptr("swinging")
	for _, c := range []struct {
		name string
		l    Looked
		want string // jumps, strides, stride length, leads, turns and radius, times of a round, slope; with and without a plan
	}{
		{"both", Looked{Motion: steady(100), Positions: fixes(10)}, "yes yes, yes yes, yes yes, yes yes, yes yes, yes no, partly no"},
		{"both, a watch", Looked{Motion: steady(100), Positions: fixes(1)}, "yes yes, yes yes, yes partly, yes yes, yes yes, yes no, partly no"},
		{"watch alone", Looked{Positions: fixes(1)}, "partly no, partly no, partly no, no no, yes no, yes no, partly no"},
		{"motion alone", Looked{Motion: steady(50)}, "yes yes, yes yes, yes no, no no, no no, partly no, partly no"},
		{"motion with gyroscope", Looked{Motion: gyro}, "yes yes, yes yes, yes no, yes yes, partly partly, partly no, partly no"},
		{"slow motion", Looked{Motion: steady(12.5)}, "partly partly, partly partly, yes no, no no, no no, partly no, partly no"},
		{"clipped", Looked{Motion: clipped}, "partly partly, partly partly, yes no, no no, no no, partly no, partly no"},
		{"wrist", Looked{Motion: wrist, Positions: fixes(1)}, "partly partly, partly partly, yes partly, partly partly, yes yes, yes no, partly no"},
		{"far too slow", Looked{Motion: steady(5)}, "no no, no no, no no, no no, no no, no no, no no"},
		{"a fix in five seconds", Looked{Positions: fixes(0.2)}, "no no, no no, no no, no no, no no, no no, no no"},
		{"nothing", Looked{}, "no no, no no, no no, no no, no no, no no, no no"},
	} {
		c.l.Answers = answers(&c.l)
		var got []string
		for _, a := range c.l.Answers {
			require.NotEmpty(t, a.Why)
			got = append(got, a.WithPlan+" "+a.Without)
		}
		require.Equal(t, c.want, strings.Join(got, ", "), c.name)
	}
}

func TestLookAtLabelledRounds(t *testing.T) {
	mounts := map[string]string{"saddle": "steady", "pocket": "turning", "wrist": "swinging"}
	for _, r := range madeRounds(t, "01-*", "03-*", "05-*", "09-*", "02-*", "08-*") {
		l := Look(r.rec)
		var out bytes.Buffer
		require.NoError(t, InspectText(&out, r.rec, l, nil, false))
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
		l := Look(r.rec)
		for _, with := range []bool{true, false} {
			plan := r.plan
			if !with {
				plan = nil
			}
			d, err := Build(r.rec, plan, Options{})
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
				if a.Figure == "slope" || a.Figure == "times of a round" && r.plan.Start == nil || level == tellsPartly {
					continue // hangs on the plan, or on the day
				}
				require.Equal(t, level == tellsYes, told[a.Figure], "%s, plan %v: %s", r.name, with, a.Figure)
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
	l := Look(long)
	require.Equal(t, "steady", *l.Motion.Mounting)
	require.LessOrEqual(t, *l.Positions.ToS-*l.Positions.FromS, lookS)
	require.InDelta(t, 59, l.Motion.Gaps, 59)
}
