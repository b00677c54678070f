package read

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// byRow reads a table one line at a time by [table.row], which is the reference for what is read fast.
func byRow(lay *layout, text []byte, limit int) *table {
	tab := &table{lay: lay, limit: limit, meter: &meter{ctx: context.Background()}}
	lines := bytes.Split(text, []byte{lay.newline})
	if len(lines[len(lines)-1]) == 0 {
		lines = lines[:len(lines)-1]
	}
	for i, line := range lines {
		if i >= lay.skip {
			tab.row(line, i+1)
		}
	}
	return tab
}

// sameTable demands the same numbers, bit for bit, and the same faults.
func sameTable(t require.TestingT, text []byte, want, got *table) {
	require.Equal(t, want.n, got.n, "%q", text)
	require.Equal(t, want.problems, got.problems, "%q", text)
	require.Equal(t, want.empty, got.empty, "%q", text)
	require.Equal(t, want.unzoned, got.unzoned, "%q", text)
	for _, r := range want.lay.used {
		for i := range want.n {
			if math.Float64bits(want.col[r][i]) != math.Float64bits(got.col[r][i]) {
				t.Errorf("row %d, %s: %v, want %v\n%q", i, roleNames[r], got.col[r][i], want.col[r][i], text)
				t.FailNow()
			}
		}
	}
}

// anyNumber is a decimal as loggers write them, by mostly few digits.
func anyNumber(t *rapid.T, point string) string {
	text := rapid.OneOf(
		rapid.StringMatching(`-?[0-9]{1,2}\.[0-9]{1,6}`), rapid.StringMatching(`-?[0-9]{1,5}\.[0-9]{2,9}`),
		rapid.StringMatching(`[+-]?[0-9]{0,20}\.?[0-9]{0,20}`), rapid.StringMatching(`-?[0-9]\.[0-9]{1,3}[eE][+-]?[0-9]{1,2}`),
	).Draw(t, "number")
	return strings.Replace(text, ".", point, 1)
}

// What is read fast is what is read row by row: the same numbers, faults and line numbers, in every dialect.
func TestPlainRowsAgreeWithRows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		delim := rapid.SampledFrom([]string{",", ";", "\t"}).Draw(t, "delim")
		point := "."
		if delim != "," {
			point = rapid.SampledFrom([]string{".", ","}).Draw(t, "point")
		}
		newline := rapid.SampledFrom([]string{"\n", "\r\n", "\r"}).Draw(t, "newline")
		head := rapid.SampledFrom([]string{"time_s|ax_m_s2|ay_m_s2|az_m_s2", "time_s|ax_m_s2|ay_m_s2|az_m_s2|gx_rad_s|gy_rad_s|gz_rad_s",
			"note|time_s|ax_m_s2|ay_m_s2|az_m_s2|battery", "time|ax (g)|ay (g)|az (g)"}).Draw(t, "head")
		names := strings.Split(head, "|")
		lines := []string{strings.Join(names, delim)}
		odd := []string{"", " ", "nan", "\"1\"", " 1", "1 ", "-", "+1", "--1", "1" + point + "2" + point + "3", "x", "0x1", "1_0", "."}
		for i := range rapid.IntRange(4, 40).Draw(t, "rows") {
			fields := make([]string, len(names))
			for k, name := range names {
				switch {
				case i > 3 && rapid.IntRange(0, 60).Draw(t, "odd") == 0:
					fields[k] = rapid.SampledFrom(odd).Draw(t, "what")
				case name == "time":
					fields[k] = fmt.Sprintf("2026-05-02T15:08:%02d.%03dZ", i, i*7)
				case name == "note" || i < 4:
					fields[k] = strconv.Itoa(i + k)
				default:
					fields[k] = anyNumber(t, point)
				}
			}
			lines = append(lines, strings.Join(fields, delim))
			if i > 3 && rapid.IntRange(0, 20).Draw(t, "extra") == 0 {
				lines = append(lines, rapid.SampledFrom([]string{"", "# 1,2,3,4", "//", "1", "\r", "1" + delim + "2", strings.Repeat(delim, len(names)-1), strings.Repeat("1"+delim, 9), "#" + strings.Repeat("1"+delim, 9)}).Draw(t, "line"))
			}
		}
		text := []byte(strings.Join(lines, newline))
		if rapid.Bool().Draw(t, "ended") {
			text = append(text, newline...)
		}
		lay, fault := understand("a", text, nil)
		if fault != nil {
			t.Skip("no table")
		}
		want := byRow(lay, text, 1000)
		got := &table{lay: lay, limit: 1000, meter: &meter{ctx: context.Background()}}
		require.Nil(t, got.read(bytes.NewReader(text), 1<<20))
		sameTable(t, text, want, got)
	})
}

// strconv.ParseFloat is the reference, and the fast path is shown to be taken.
func TestPlainNumbersAreRoundedAsStrconvRoundsThem(t *testing.T) {
	columns := []plainColumn{{stop: ',', to: make([]float64, 1)}}
	rapid.Check(t, func(t *rapid.T) {
		text := anyNumber(t, ".")
		want, err := strconv.ParseFloat(text, 64)
		next := plainNumbers([]byte(text+","+strings.Repeat("7", fieldAhead)), 0, columns, '.', 0)
		if err != nil {
			if next >= 0 {
				t.Fatalf("%q read as %v", text, columns[0].to[0])
			}
			return
		}
		if next != len(text)+1 || math.Float64bits(columns[0].to[0]) != math.Float64bits(want) {
			t.Fatalf("%q: %v to %d, want %v", text, columns[0].to[0], next, want)
		}
	})
}

func TestPlainRowsTakePlainTables(t *testing.T) {
	for _, text := range []string{
		"time_s,ax_m_s2,ay_m_s2,az_m_s2\n", "time_s;ax_m_s2;ay_m_s2;az_m_s2\r\n", "time_s,ax_m_s2,ay_m_s2,az_m_s2,battery\n"} {
		delim, ending := text[6:7], strings.TrimLeft(text, "abcdefghijklmnopqrstuvwxyz_2;,")
		for i := range 100 {
			row := fmt.Sprintf("%.3f|%.4f|-0.2500|%d.125|7", float64(i)*17, 0.01*float64(i), i)
			text += strings.ReplaceAll(strings.TrimSuffix(row, strings.Repeat("|7", 1-strings.Count(text[:strings.IndexAny(text, "\r\n")], "battery"))), "|", delim) + ending
		}
		lay, fault := understand("a", []byte(text), nil)
		require.Nil(t, fault)
		tab := &table{lay: lay, limit: 1000}
		for _, r := range lay.used {
			tab.col[r] = make([]float64, 100)
		}
		_, rows := tab.plainRows([]byte(text[strings.IndexByte(text, '\n')+1:]))
		require.GreaterOrEqual(t, rows, 98, text[:40])
		require.Equal(t, []float64{0, 17, 34, 51}, tab.col[roleT][:4])
		require.Equal(t, []float64{0.125, 1.125, 2.125}, tab.col[roleAZ][:3])
	}
}

// A table long enough to be read in parts, with lines that are no rows, faults and gaps strewn in.
func TestPartsAgreeWithRows(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	odd := []string{"", "# a comment\n", "x,1,2,3,,,\n", "\n", "1,2\n", "5,1,2,3,,,\n", "6,,,,1,2,3\n", "7,,,,,,\n", "8,1,2,3,nan,1,2\n"}
	for _, faults := range []int{0, 3, 400} {
		var text bytes.Buffer
		text.WriteString("time_s,ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s\n")
		for i := range 60_000 {
			fmt.Fprintf(&text, "%.4f,%.4f,%.4f,%.4f,%.5f,%.5f,%.5f\n", float64(i)/200, rng.NormFloat64(), rng.NormFloat64(), 9.8+rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64())
			if faults > 0 && rng.IntN(60_000/faults) == 0 {
				text.WriteString(odd[rng.IntN(len(odd))])
			}
		}
		lay, fault := understand("a", text.Bytes()[:headBytes], nil)
		require.Nil(t, fault)
		want := byRow(lay, text.Bytes(), 100_000)
		for _, processors := range []int{1, 2, 3, 8} {
			before := runtime.GOMAXPROCS(processors)
			got := &table{lay: lay, limit: 100_000, meter: &meter{ctx: context.Background()}, total: int64(text.Len())}
			fault := got.read(bytes.NewReader(text.Bytes()), 1<<20)
			runtime.GOMAXPROCS(before)
			require.Nil(t, fault)
			sameTable(t, nil, want, got)
			require.Equal(t, want.holes, got.holes)
		}
		// At the limit of rows the fault names the same line.
		for _, limit := range []int{50_000, want.n - 1} {
			before := runtime.GOMAXPROCS(1)
			one := &table{lay: lay, limit: limit, meter: &meter{ctx: context.Background()}}
			first := one.read(bytes.NewReader(text.Bytes()), 1<<20)
			runtime.GOMAXPROCS(4)
			four := &table{lay: lay, limit: limit, meter: &meter{ctx: context.Background()}}
			second := four.read(bytes.NewReader(text.Bytes()), 1<<20)
			runtime.GOMAXPROCS(before)
			require.NotNil(t, first)
			require.Equal(t, first, second)
		}
	}
}
