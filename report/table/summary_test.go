package table

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"groundline/report"
	"groundline/trace"
)

// strideOf is a canter stride on a line.
func strideOf(recording, line string, attempt, in, of int, lengthM, grade float64) Row {
	return Row{Recording: recording, Horse: "Bramble", StrideRow: report.StrideRow{Gait: "canter", Line: &line, Attempt: &attempt, InLine: &in, OfLine: &of,
		DurationS: 0.6, LengthM: &trace.Estimate{Value: lengthM}, SpeedMS: ptr(lengthM / 0.6), Grade: &grade}}
}

func figure(t *testing.T, s *Summary, line, direction, name string) Line {
	t.Helper()
	for _, l := range s.Lines() {
		if l.Line == line && l.Direction == direction && l.Figure == name {
			return l
		}
	}
	t.Fatalf("no %s of %s %s", name, line, direction)
	return Line{}
}

// By hand: three rides with means 3.4, 3.6 and 3.8 m: mean 3.6, standard deviation 0.2; Student's t of 2 degrees of
// freedom at 0.95 is 2.920 (the usual printed table), so ± 2.920 × 0.2/√3 = 0.337. A long ride weighs no more than a short one.
func TestSummaryByHand(t *testing.T) {
	var s Summary
	for ride, lengths := range [][]float64{{3.3, 3.5}, {3.6, 3.6, 3.6, 3.6, 3.6, 3.6}, {3.7, 3.9}} {
		r := &Result{CourseName: "Field"}
		for i, m := range lengths {
			r.Rows = append(r.Rows, strideOf(fmt.Sprint("ride ", ride), "1-2", 1, i+1, len(lengths), m, -0.02))
		}
		walk := strideOf("ride 0", "1-2", 1, 1, 1, 99, 0)
		walk.Gait = "walk"
		off := strideOf("ride 0", "1-2", 1, 1, 1, 99, 0)
		off.Line = nil
		r.Rows = append(r.Rows, walk, off)
		s.Add(r)
	}
	l := figure(t, &s, "1-2", Downhill, "length_m")
	require.InDelta(t, 3.6, l.Mean, 1e-9)
	require.InDelta(t, 3.6-0.337, *l.Low, 0.001)
	require.InDelta(t, 3.6+0.337, *l.High, 0.001)
	require.InDelta(t, 0.2, *l.SDBetween, 0.001)
	// Single strides: squares about their mean of 3.6 are 0.09 + 0.01 + 0.01 + 0.09 = 0.2 over 9.
	require.InDelta(t, math.Sqrt(0.2/9), *l.SD, 0.001)
	require.Equal(t, []int{3, 3, 10}, []int{l.Rides, l.Ridings, l.N})
	require.Equal(t, "rides", l.Over)
	require.Equal(t, "Field", l.Course)
	all := figure(t, &s, AllLines, AllDirections, "length_m")
	require.Equal(t, l.Mean, all.Mean)
	require.Empty(t, all.Course)
	n := figure(t, &s, "1-2", AllDirections, "strides_in_line")
	require.InDelta(t, 10.0/3, n.Mean, 0.01)
	require.Equal(t, 3, n.N)
}

func TestDirections(t *testing.T) {
	for grade, want := range map[float64]string{0.01: Uphill, 0.0099: Level, 0: Level, -0.0099: Level, -0.01: Downhill} {
		r := strideOf("a", "1-2", 1, 1, 1, 3, grade)
		require.Equal(t, want, direction(&r), grade)
	}
	require.Equal(t, UnknownSlope, direction(&Row{}))
}

// One ride: its lines ridden count; one riding of one line: no interval.
func TestSummaryOfOneRide(t *testing.T) {
	var s Summary
	r := &Result{}
	for attempt, m := range []float64{3.4, 3.6, 3.8} {
		r.Rows = append(r.Rows, strideOf("a", "1-2", attempt+1, 1, 1, m, 0))
	}
	r.Rows = append(r.Rows, strideOf("a", "2-3", 1, 1, 1, 3.2, 0.02))
	s.Add(r)
	l := figure(t, &s, "1-2", AllDirections, "length_m")
	require.Equal(t, "lines ridden", l.Over)
	require.InDelta(t, 0.337, (*l.High-*l.Low)/2, 0.001)
	one := figure(t, &s, "2-3", AllDirections, "length_m")
	require.Nil(t, one.Low)
	require.Nil(t, one.SD)
	require.Equal(t, 3.2, one.Mean)
}

// Over many made studies the interval holds the horse's true mean nine times in ten, though strides of one ride are alike.
func TestIntervalHoldsNineTimesInTen(t *testing.T) {
	rnd := rand.New(rand.NewPCG(20, 26))
	const studies, truth = 1000, 3.5
	held := 0
	for range studies {
		var s Summary
		for ride := range 2 + rnd.IntN(7) {
			of := 5 + rnd.IntN(20)
			mean := truth + 0.12*rnd.NormFloat64()
			r := &Result{}
			for i := range of {
				r.Rows = append(r.Rows, strideOf(fmt.Sprint(ride), "1-2", 1, i+1, of, mean+0.07*rnd.NormFloat64(), 0))
			}
			s.Add(r)
		}
		if l := figure(t, &s, "1-2", Level, "length_m"); *l.Low <= truth && truth <= *l.High {
			held++
		}
	}
	require.InDelta(t, 0.9, float64(held)/studies, 0.028, "three standard errors of a share of 0.9 in 1000")
}

func TestSummaryIsWrittenInThreeWays(t *testing.T) {
	var s Summary
	r := &Result{CourseName: "Long field, Thursday"}
	for i, g := range []float64{0.02, 0, -0.02} {
		r.Rows = append(r.Rows, strideOf("a", "a very long name of an obstacle-2", 1, i+1, 3, 3.4, g), strideOf("a", "4-5", 1, i+1, 3, 3.4, 0))
	}
	s.Add(r)
	lines := s.Lines()
	var text, table, js bytes.Buffer
	require.NoError(t, SummaryText(&text, lines))
	require.NoError(t, SummaryCSV(&table, lines))
	require.NoError(t, SummaryJSON(&js, lines))
	for _, row := range strings.Split(text.String(), "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(row), 80, row)
	}
	require.Contains(t, text.String(), "4-5 in 3 level", "a line that goes one way has one row")
	rows, err := csv.NewReader(&table).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, len(lines)+1)
	var back struct{ Lines []Line }
	require.NoError(t, json.Unmarshal(js.Bytes(), &back))
	require.Equal(t, lines, back.Lines)

	text.Reset()
	require.NoError(t, SummaryText(&text, (&Summary{}).Lines()))
	require.Equal(t, "No canter stride on a line.\n", text.String())
}
