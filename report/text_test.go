package report

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"groundline/report/layout"
	"groundline/trace/testkit"
)

// golden holds got against testdata/name.golden.
func golden(t *testing.T, name, got string) {
	t.Helper()
	testkit.Golden(t, filepath.Join("testdata", name+".golden"), []byte(got))
}

func text(t *testing.T, d *Debrief, opt TextOptions) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, Text(&out, d, opt))
	return out.String()
}

func TestTextReadsAsAgreed(t *testing.T) {
	for _, r := range rides() {
		t.Run(r.name, func(t *testing.T) { golden(t, r.name, text(t, r.d, TextOptions{Tables: true})) })
	}
	t.Run("imperial", func(t *testing.T) {
		golden(t, "imperial", text(t, fullRound(), TextOptions{Units: Imperial, Tables: true}))
	})
	t.Run("answers", func(t *testing.T) { golden(t, "answers", text(t, fullRound(), TextOptions{})) })
	t.Run("explain", func(t *testing.T) { golden(t, "explain", text(t, fullRound(), TextOptions{Explain: true})) })
}

func TestTextFitsOneScreen(t *testing.T) {
	for _, r := range rides() {
		for _, opt := range []TextOptions{{}, {Units: Imperial}, {Explain: true}} {
			got := text(t, r.d, opt)
			rows := strings.Split(strings.TrimSuffix(got, "\n"), "\n")
			for _, row := range rows {
				require.LessOrEqual(t, utf8.RuneCountInString(row), layout.Width, "%s: %q", r.name, row)
				require.Equal(t, strings.TrimRight(row, " "), row, "blanks at the end of a row")
			}
			if !opt.Explain {
				require.LessOrEqual(t, len(rows), 40, "%s is more than a screen:\n%s", r.name, got)
			}
		}
	}
}

// Bold carries no meaning: without its codes the text is the same.
func TestBoldIsOrnamentOnly(t *testing.T) {
	for _, r := range rides() {
		plain, bold := text(t, r.d, TextOptions{Explain: true}), text(t, r.d, TextOptions{Explain: true, Bold: true})
		require.NotContains(t, plain, "\x1b")
		require.Contains(t, bold, "\x1b[1m")
		require.Equal(t, plain, strings.NewReplacer("\x1b[1m", "", "\x1b[0m", "").Replace(bold))
	}
}

func TestWordsForSlope(t *testing.T) {
	require.Equal(t, "Over 9 lines: for each 1 % uphill 3 m/min ±2 slower; straight towards home 12 m/min ±6 faster than square to it.",
		slopeWords(Slope{PerPercentMS: within(-0.05, 0.03), HomewardMS: within(0.2, 0.1), N: 9}))
	require.Equal(t, "Over 5 lines: slope's pull not settled; home's pull not settled.",
		slopeWords(Slope{PerPercentMS: within(-0.05, 0.06), N: 5}))
}

func TestTimeFaultsTooCloseToCall(t *testing.T) {
	r := Round{Round: 1, Complete: true, TimeS: within(82, 0.15), TimeAllowedS: ptr(82.1), TimeFaults: ptr(0)}
	require.Contains(t, roundWords(r), "too close to call")
	r.TimeAllowedS = ptr(83.0)
	require.Contains(t, roundWords(r), "no time faults")
	r.TimeAllowedS, r.TimeFaults = ptr(80.0), ptr(2)
	require.Contains(t, roundWords(r), "2 time faults")
}

// Names come from files and flags: what could steer a terminal is shown, not sent.
func TestNamesCannotSteerTheTerminal(t *testing.T) {
	d := fullRound()
	d.Course.Name, d.Horse.Name = "Field\x1b[31m", ptr("Bramble\nRows\x07\u202e")
	d.Notes[0].What = "note\x1b]0;title\x07"
	for _, r := range text(t, d, TextOptions{Explain: true}) {
		require.True(t, r == '\n' || r >= ' ' && r != 0x7f && r != 0x202e && (r < 0x80 || r > 0x9f), "%q", r)
	}
}
