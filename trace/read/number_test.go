package read

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// strconv.ParseFloat is the reference: it rounds correctly (package documentation).
func TestNumbersAreRoundedAsStrconvRoundsThem(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(
			rapid.Custom(func(t *rapid.T) string {
				v := rapid.Float64().Draw(t, "v")
				return strconv.FormatFloat(v, rapid.SampledFrom([]byte("gef")).Draw(t, "f"), rapid.IntRange(-1, 20).Draw(t, "p"), 64)
			}),
			rapid.StringMatching(`[+-]?[0-9]{0,25}\.[0-9]{1,25}([eE][+-]?[0-9]{1,3})?`),
			rapid.StringMatching(`[+-]?[0-9]{1,25}\.?([eE][+-]?[0-9]{1,3})?`),
		).Draw(t, "text")
		want, err := strconv.ParseFloat(text, 64)
		got, next, ok := scanNumber([]byte(text), 0, '.')
		if err != nil || math.IsInf(want, 0) || math.IsNaN(want) {
			if ok {
				t.Fatalf("%q read as %v", text, got)
			}
			return
		}
		if !ok || next != len(text) || math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%q: %v (%v, to %d), want %v", text, got, ok, next, want)
		}
		comma := strings.Replace(text, ".", ",", 1)
		got, next, ok = scanNumber([]byte(comma), 0, ',')
		if !ok || next != len(comma) || math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%q: %v, want %v", comma, got, want)
		}
	})
}

// What strconv takes and no recording means.
func TestNumbersRefused(t *testing.T) {
	for _, text := range []string{"", "-", "+", ".", "nan", "NaN", "inf", "-Inf", "infinity", "0x1p-2", "1_000", "1e", "1e+", "e5", "--1", "1e999", "1 2", "1,5"} {
		_, ok := number([]byte(text))
		require.False(t, ok, "%q", text)
	}
}

func TestTimes(t *testing.T) {
	for _, c := range []struct {
		text, want string // RFC 3339
		zoned      bool
	}{
		{"2026-06-03T09:12:00Z", "2026-06-03T09:12:00Z", true},
		{"2026-06-03T09:12:00.250Z", "2026-06-03T09:12:00.25Z", true},
		{"2026-06-03T09:12:00,123456789Z", "2026-06-03T09:12:00.123456789Z", true},
		{"2026-06-03T11:12:00.5+02:00", "2026-06-03T09:12:00.5Z", true},
		{"2026-06-03T11:12:00+0200", "2026-06-03T09:12:00Z", true},
		{"2026-06-03 03:42:00-05:30", "2026-06-03T09:12:00Z", true},
		{"2026-06-03T07:12:00-02", "2026-06-03T09:12:00Z", true},
		{"2026-06-03 09:12:00.25", "2026-06-03T09:12:00.25Z", false},
		{"2026-06-03 09:12:00:250", "2026-06-03T09:12:00.25Z", false},
		{"2026/06/03 09:12:00", "2026-06-03T09:12:00Z", false},
		{"2026-06-03T09:12Z", "2026-06-03T09:12:00Z", true},
		{" 2026-06-03t09:12:00z ", "2026-06-03T09:12:00Z", true},
		{"2024-02-29T00:00:00Z", "2024-02-29T00:00:00Z", true},
		{"2016-12-31T23:59:60Z", "2017-01-01T00:00:00Z", true}, // the leap second of that year
		{"1901-12-13T20:45:52.2073437Z", "1901-12-13T20:45:52.2073437Z", true},
	} {
		want, err := time.Parse(time.RFC3339Nano, c.want)
		require.NoError(t, err)
		got, ok := scanTime([]byte(c.text))
		require.True(t, ok, c.text)
		require.True(t, got.dayful, c.text)
		require.Equal(t, want.UTC(), got.time(), c.text)
		require.Equal(t, c.zoned, got.zoned, c.text)
	}
	for _, text := range []string{"", "2026", "2026-06-03", "2026-13-03T09:12:00Z", "2026-02-29T09:12:00Z", "2026-06-31T00:00:00Z", "2026-06-03T25:00:00Z",
		"2026-06-03T09:60:00Z", "2026-06-03T09:12:61Z", "2026-06-03T09:12:00.Z", "2026-06-03T09:12:00+", "2026-06-03T09:12:00+99:00", "2026-06-03X09:12:00Z",
		"03/06/2026 09:12:00", "2026-06-03T09:12:00Zjunk", "1234567890123", "-2026-06-03T09:12:00"} {
		_, ok := scanTime([]byte(text))
		require.False(t, ok, "%q", text)
	}
	day, ok := scanTime([]byte("09:12:00.5"))
	require.True(t, ok)
	require.False(t, day.dayful)
	require.Equal(t, int64(9*3600+12*60), day.unixS)
}

// The standard library's calendar is the reference.
func TestTimesAgreeWithTheStandardLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := time.Unix(rapid.Int64Range(-62_135_596_800, 253_402_300_799).Draw(t, "s"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns")).UTC()
		zone := time.FixedZone("", 900*rapid.IntRange(-48, 56).Draw(t, "quarter"))
		text := want.In(zone).Format("2006-01-02T15:04:05.000000000Z07:00")
		if len(text) > 35 || text[0] == '-' {
			t.Skip("a year that has no four digits")
		}
		got, ok := scanTime([]byte(text))
		if !ok || !got.time().Equal(want) {
			t.Fatalf("%s read as %v, want %v", text, got.time(), want)
		}
	})
}

func ExampleFault_Error() {
	fmt.Println(Fault{File: "ride.csv", Line: 17, Field: "ax", Found: `"abc"`, Expected: "a number", Hint: "export anew"}.Error())
	// Output: ride.csv:17: ax: "abc", expected a number; export anew
}
