package report

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/report/layout"
	"groundline/trace"
)

// anyDebrief is a debrief in which every figure may be there or not, of any size that a recording
// could give and far beyond.
func anyDebrief(t *rapid.T) *Debrief {
	figure := func(name string, least, most float64) *trace.Estimate {
		if rapid.IntRange(0, 3).Draw(t, "no "+name) == 0 {
			return nil
		}
		v := rapid.Float64Range(least, most).Draw(t, name)
		down := rapid.Float64Range(0, 1).Draw(t, "below "+name) * rapid.SampledFrom([]float64{0, 0.01, 1, most}).Draw(t, "scale")
		up := rapid.Float64Range(0, 1).Draw(t, "above "+name) * rapid.SampledFrom([]float64{0, 0.01, 1, most}).Draw(t, "scale")
		return &trace.Estimate{Value: v, Low: v - down, High: v + up}
	}
	maybe := func(name string) bool { return rapid.Bool().Draw(t, name) }
	id := rapid.SampledFrom([]string{"1", "2", "7a", "7b", "12", strings.Repeat("é", 32), "a rather long name"})
	lead := func() *string {
		if maybe("lead") {
			return ptr(rapid.SampledFrom([]string{"left", "right"}).Draw(t, "lead"))
		}
		return nil
	}
	round := func() *int {
		if maybe("in a round") {
			return ptr(rapid.IntRange(1, 3).Draw(t, "round"))
		}
		return nil
	}
	d := &Debrief{Schema: Schema, Basis: rapid.SampledFrom([]string{"position+motion", "position", "motion"}).Draw(t, "basis")}
	d.Recording = RecordingInfo{Files: []string{"a.gpx"}, DurationS: rapid.Float64Range(0, 1e6).Draw(t, "duration")}
	if maybe("course") {
		d.Course = &CourseInfo{Name: rapid.SampledFrom([]string{"x", strings.Repeat("long name ", 20)}).Draw(t, "name")}
	}
	for range rapid.IntRange(0, 6).Draw(t, "efforts") {
		e := Effort{Round: round(), Attempt: 1, Outcome: rapid.SampledFrom([]string{"jumped", "refused", "ran out", "warm-up"}).Draw(t, "outcome"),
			TakeoffS: figure("take-off", 0, 1e5), LandingS: figure("landing", 0, 1e5), TakeoffDistanceM: figure("off", 0, 5),
			LandingDistanceM: figure("land", 0, 5), SpeedMS: figure("speed", 0, 12), LeadIn: lead(), LeadOut: lead(),
			Confidence: rapid.Float64Range(0, 1).Draw(t, "confidence")}
		if maybe("known obstacle") {
			e.Obstacle = ptr(id.Draw(t, "obstacle"))
		}
		if maybe("approach") {
			e.Approach = &Approach{StraightRMSM: figure("straight", 0, 2), AngleDeg: figure("angle", -90, 90)}
		}
		d.Efforts = append(d.Efforts, e)
	}
	for range rapid.IntRange(0, 6).Draw(t, "lines") {
		l := Line{From: id.Draw(t, "from"), To: id.Draw(t, "to"), Round: round(), Attempt: rapid.IntRange(1, 30).Draw(t, "attempt"),
			Kind:   rapid.SampledFrom([]string{"related", "bending", "rollback", "combination", "single", "between"}).Draw(t, "kind"),
			TrackM: figure("track", 0, 500), Strides: figure("strides", 0, 150), StrideLengthM: figure("stride", 1, 8),
			StrideS: figure("stride time", 0.3, 1), RhythmCV: figure("rhythm", 0, 0.5), SpeedMS: figure("speed", 0, 12),
			SpeedInMS: figure("in", 0, 12), SpeedOutMS: figure("out", 0, 12), SpeedDriftMS: figure("drift", -5, 5)}
		if l.Strides != nil {
			l.StridesBy = rapid.SampledFrom([]string{"counted", "estimated"}).Draw(t, "by")
		}
		if maybe("distance") {
			l.DistanceM = ptr(rapid.Float64Range(0, 1000).Draw(t, "distance"))
		}
		if maybe("turn") {
			l.Turn = &Turn{Direction: rapid.SampledFrom([]string{"left", "right", "straight"}).Draw(t, "direction"),
				TurnedDeg: figure("turned", -720, 720), RadiusMinM: figure("radius", 1, 1e4), SpeedMinMS: figure("slowest", 0, 12)}
		}
		if maybe("planned") {
			l.PlannedStrides = ptr(rapid.IntRange(0, 20).Draw(t, "planned"))
		}
		if maybe("fit") {
			p := rapid.Float64Range(0, 1).Draw(t, "p")
			l.Fit = &Fit{PerStrideM: figure("fit", -2, 2), PLong: p, PRight: 1 - p, Against: AgainstRide}
			if says := rapid.SampledFrom([]string{"long", "right", "short", ""}).Draw(t, "says"); says != "" {
				l.Fit.Says = &says
			}
		}
		if maybe("each stride") {
			l.StrideLengthsM = rapid.SliceOfN(rapid.Float64Range(1, 8), 0, 60).Draw(t, "stride lengths")
		}
		d.Lines = append(d.Lines, l)
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "rounds") {
		r := Round{Round: i + 1, Complete: maybe("complete"), TimeS: figure("time", 0, 300), Disobediences: ptr(rapid.IntRange(0, 3).Draw(t, "disobediences")),
			Missed: rapid.SliceOfN(id, 0, 5).Draw(t, "missed")}
		if maybe("allowed") {
			r.TimeAllowedS, r.TimeFaults = ptr(rapid.Float64Range(1, 200).Draw(t, "allowed")), ptr(rapid.IntRange(0, 200).Draw(t, "faults"))
		}
		d.Rounds = append(d.Rounds, r)
	}
	d.Horse = Horse{CanterStrideM: figure("usual stride", 1, 8), StrideS: figure("usual time", 0.3, 1)}
	for range rapid.IntRange(0, 10).Draw(t, "notes") {
		d.Notes = append(d.Notes, trace.Note{Level: rapid.SampledFrom([]string{"info", "caution", "warning"}).Draw(t, "level"),
			What: rapid.SampledFrom([]string{"a", "b", strings.Repeat("words ", 40)}).Draw(t, "what"), Why: rapid.SampledFrom([]string{"", "c", "d"}).Draw(t, "why")})
	}
	return d
}

// Whatever figures are there or absent, the text fits its page, holds no number that is none, and names
// every line of the route that was ridden.
func TestTextOfAnyDebrief(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDebrief(t)
		opt := TextOptions{Units: rapid.SampledFrom([]Units{Metric, Imperial}).Draw(t, "units"), Tables: rapid.Bool().Draw(t, "tables"), Explain: rapid.Bool().Draw(t, "explain")}
		var out bytes.Buffer
		require.NoError(t, Text(&out, d, opt))
		for i, row := range strings.Split(out.String(), "\n") {
			if i > 0 { // the title is the course's own
				require.LessOrEqual(t, utf8.RuneCountInString(row), layout.Width, "%q", row)
			}
		}
		for _, never := range []string{"NaN", "Inf", "%!", "±0 ", "±-", "-0.0 ", "\x1b", "<nil>"} {
			require.NotContains(t, out.String(), never)
		}
		if len(d.Efforts) == 0 {
			return
		}
		for _, l := range d.Lines {
			if l.Kind != "between" && (opt.Tables || opt.Explain) {
				require.Contains(t, out.String(), l.From+" to "+l.To)
			}
		}
		var second bytes.Buffer
		require.NoError(t, Text(&second, d, opt))
		require.Equal(t, out.String(), second.String())
	})
}

func TestJSONOfAnyDebriefHoldsToItsSchema(t *testing.T) {
	s := schema(t)
	rapid.Check(t, func(t *rapid.T) {
		d := anyDebrief(t)
		var out bytes.Buffer
		require.NoError(t, JSON(&out, d))
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(out.Bytes()))
		require.NoError(t, err)
		require.NoError(t, s.Validate(v))
		var back Debrief
		require.NoError(t, json.Unmarshal(out.Bytes(), &back))
		require.Len(t, back.Lines, len(d.Lines))
	})
}
