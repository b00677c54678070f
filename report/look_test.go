package report

import (
	"bytes"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

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
	s, err := jsonschema.NewCompiler().Compile("../cmd/serve/api/schema/inspect-1.json")
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
