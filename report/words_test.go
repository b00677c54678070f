package report

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/trace"
)

// What Tell says is what the text says: every word and figure of it stands in the full text.
func TestTellSaysWhatTheTextSays(t *testing.T) {
	flat := func(s string) string { return strings.Join(strings.Fields(s), " ") }
	for _, units := range []Units{Metric, Imperial} {
		for _, r := range rides() {
			var out bytes.Buffer
			require.NoError(t, Text(&out, r.d, TextOptions{Units: units, Explain: true}))
			text := flat(out.String())
			told := Tell(r.d, units)
			has := func(what string) {
				t.Helper()
				if what != "" {
					require.Contains(t, text, flat(what), "%s, %s", r.name, units)
				}
			}
			has(told.Title)
			has(told.Recorded)
			has(told.Cautions)
			has(told.Gaits)
			has(told.Slope)
			for _, words := range append(append([]string{}, told.OfNote...), told.Rounds...) {
				has(words)
			}
			for _, n := range told.Doubts {
				has(n.Why)
				for _, w := range n.What {
					has(w)
				}
			}
			for _, l := range told.Lines {
				for _, s := range []string{l.Ground, l.Ride, l.Strides, l.Length, l.Pace, l.Rode, l.Track, l.Slowest, l.Words} {
					has(s)
				}
			}
			for _, e := range told.Efforts {
				for _, s := range []string{e.Name, e.Outcome, e.Takeoff, e.TakeoffDistance, e.LandingDistance, e.Pace, e.Sure} {
					has(s)
				}
			}
		}
	}
}

func TestSignedFigures(t *testing.T) {
	for _, c := range []struct {
		value, half float64
		want        string
	}{
		{0.3, 0.1, "+18 ±6"},
		{-0.3, 0.1, "−18 ±6"},
		{0.01, 0.4, "0 ±30"}, // 0.6 m/min in tens is nothing, which has no sign
	} {
		require.Equal(t, c.want, withSign(pace().bare(*within(c.value, c.half)), c.value))
	}
}

func TestDoubtsStandTogetherByReason(t *testing.T) {
	got := doubts([]trace.Note{{Level: "info", What: "a", Why: "x"}, {Level: "warning", What: "b", Why: "y"}, {Level: "info", What: "c", Why: "x"}, {Level: "info", What: "a", Why: "x"}})
	require.Equal(t, []ToldDoubt{{"warning", []string{"b"}, "y"}, {"info", []string{"a", "c"}, "x"}}, got)
}
