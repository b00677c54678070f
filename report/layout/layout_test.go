package layout

import (
	"bufio"
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestDigitsFollowTheDoubt(t *testing.T) {
	for _, c := range []struct {
		half     float64
		most     int
		decimals int
		doubt    string
	}{
		{0.06, 2, 2, "0.06"}, {0.12, 2, 2, "0.12"}, {0.34, 2, 1, "0.4"}, {9, 0, 0, "9"}, {18, 0, 0, "18"}, {24, 0, -1, "30"}, {0.0004, 2, 2, "0.01"},
		{0.121, 2, 2, "0.13"}, {0.1204, 2, 2, "0.12"}, // just above a unit: it is not worth one more
	} {
		require.Equal(t, c.decimals, Decimals(c.half, c.most), c.half)
		require.Equal(t, c.doubt, Doubt(c.half, c.decimals))
	}
	require.Equal(t, 2, Decimals(0, 2), "without doubt: as many as are worth saying")
	require.Equal(t, "0.00", Number(-0.001, 2), "no minus zero")
	require.False(t, math.Signbit(Round(-0.0001, 2)))
	require.Equal(t, 1e300, Round(1e300, 6))
	require.Equal(t, "120", Number(123, -1))
	rapid.Check(t, func(t *rapid.T) {
		half := rapid.Float64Range(1e-4, 1e4).Draw(t, "half")
		d := Decimals(half, 3)
		require.GreaterOrEqual(t, RoundedUp(half, d), 0.94*half, "never told as much smaller")
	})
}

func TestWordsFitThePage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOf(rapid.StringMatching(`[a-zé\x1b]{1,20}`)).Draw(t, "words")
		var b bytes.Buffer
		p := Page{Out: bufio.NewWriter(&b)}
		p.Para(" - ", rapid.IntRange(0, 100).Draw(t, "indent"), strings.Join(words, " "))
		require.NoError(t, p.Out.Flush())
		for _, row := range strings.Split(b.String(), "\n") {
			require.LessOrEqual(t, Columns(row), Width)
			require.NotContains(t, row, "\x1b")
			require.False(t, strings.HasSuffix(row, " "))
		}
		require.Equal(t, strings.Fields(Printable("- "+strings.Join(words, " "))), strings.Fields(b.String()), "no word is lost")
	})
	require.Equal(t, "abcd…", Clip("abcdefg", 5))
	require.Equal(t, "abcde", Clip("abcde", 5))
}

func TestWords(t *testing.T) {
	for n, want := range map[int]string{1: "1st", 2: "2nd", 3: "3rd", 4: "4th", 11: "11th", 12: "12th", 13: "13th", 21: "21st", 111: "111th", 102: "102nd"} {
		require.Equal(t, want, Ordinal(n))
	}
	require.Equal(t, "1 ride", Count(1, "ride"))
	require.Equal(t, "0 rides", Count(0, "ride"))
	require.Equal(t, "4 April 2026 15:49 UTC", Instant("2026-04-04T17:49:00+02:00"))
	require.Equal(t, "Thursday", Instant("Thursday"))
}
