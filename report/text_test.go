package report

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the golden files of testdata")

// golden holds got against testdata/name.golden.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name+".golden")
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got)
}

func text(t *testing.T, d *Debrief, opt TextOptions) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, Text(&out, d, opt))
	return out.String()
}

func TestTextReadsAsAgreed(t *testing.T) {
	for _, r := range rides() {
		t.Run(r.name, func(t *testing.T) { golden(t, r.name, text(t, r.d, TextOptions{})) })
	}
	t.Run("imperial", func(t *testing.T) { golden(t, "imperial", text(t, fullRound(), TextOptions{Units: Imperial})) })
	t.Run("explain", func(t *testing.T) { golden(t, "explain", text(t, fullRound(), TextOptions{Explain: true})) })
}

func TestTextFitsOneScreen(t *testing.T) {
	for _, r := range rides() {
		for _, opt := range []TextOptions{{}, {Units: Imperial}, {Explain: true}} {
			got := text(t, r.d, opt)
			rows := strings.Split(strings.TrimSuffix(got, "\n"), "\n")
			for _, row := range rows {
				require.LessOrEqual(t, utf8.RuneCountInString(row), textWidth, "%s: %q", r.name, row)
				require.Equal(t, strings.TrimRight(row, " "), row, "blanks at the end of a row")
			}
			if !opt.Explain {
				require.LessOrEqual(t, len(rows), 40, "%s is more than a screen:\n%s", r.name, got)
			}
		}
	}
}
