package build

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report"
	"groundline/trace"
	"groundline/trace/read"
)

// rideIn is the debrief of a ride in a folder, of some of its files.
func rideIn(t *testing.T, dir string, files ...string) *report.Debrief {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, "course.yaml"))
	require.NoError(t, err)
	plan, _, err := course.Read("course.yaml", data)
	require.NoError(t, err)
	var paths []string
	for _, f := range files {
		paths = append(paths, filepath.Join(dir, f))
	}
	rec, err := read.Open(t.Context(), paths, read.Options{})
	require.NoError(t, err)
	d, err := Debrief(t.Context(), rec, plan, Options{})
	require.NoError(t, err)
	return d
}

const demoRide = "../../cmd/groundline/demo"

// byLine are the rows of each of the debrief's lines.
func byLine(d *report.Debrief) map[int][]report.StrideRow {
	out := map[int][]report.StrideRow{}
	for _, row := range d.StrideRows {
		for i, l := range d.Lines {
			if row.Line != nil && *row.Line == l.From+"-"+l.To && *row.Attempt == l.Attempt {
				out[i] = append(out[i], row)
			}
		}
	}
	return out
}

// What holds for the rows of any ride.
func soundRows(t *testing.T, d *report.Debrief) {
	t.Helper()
	last := math.Inf(-1)
	for _, row := range d.StrideRows {
		require.GreaterOrEqual(t, row.StartS, last)
		last = row.StartS
		require.Positive(t, row.DurationS)
		require.Contains(t, []string{"counted", "estimated"}, row.By)
		if row.LengthM != nil {
			require.LessOrEqual(t, row.LengthM.Low, row.LengthM.Value)
			require.LessOrEqual(t, row.LengthM.Value, row.LengthM.High)
			require.InDelta(t, row.LengthM.Value, *row.SpeedMS*row.DurationS, 1e-9)
		}
		if row.Homeward != nil {
			require.LessOrEqual(t, math.Abs(*row.Homeward), 1.0)
		}
		require.Equal(t, row.Line == nil, row.Attempt == nil)
		require.Equal(t, row.Line == nil, row.OfLine == nil)
	}
	lines := byLine(d)
	require.Positive(t, len(lines))
	for i, rows := range lines {
		l := d.Lines[i]
		require.Len(t, rows, int(math.Round(l.Strides.Value)), "%s-%s", l.From, l.To)
		var sum float64
		for k, row := range rows {
			require.Equal(t, k+1, *row.InLine)
			require.Equal(t, len(rows), *row.OfLine)
			require.Equal(t, l.StridesBy, row.By)
			require.Equal(t, l.Round, row.Round)
			require.Equal(t, "canter", row.Gait)
			require.GreaterOrEqual(t, row.StartS, d.Ridden.LineS[i][0]-0.05)
			require.LessOrEqual(t, row.StartS+row.DurationS, d.Ridden.LineS[i][1]+0.05)
			if row.LengthM != nil {
				sum += row.LengthM.Value
			}
		}
		if l.StrideLengthM != nil {
			require.InDelta(t, l.StrideLengthM.Value, sum/float64(len(rows)), 1e-6, "the strides' mean is the line's")
		}
	}
}

func TestStrideRowsOfBothDevices(t *testing.T) {
	d := rideIn(t, demoRide, "ride.gpx", "motion.csv")
	soundRows(t, d)
	require.Len(t, d.StrideRows, len(d.Strides), "all seen, none estimated")
	for i, rows := range byLine(d) {
		l := d.Lines[i]
		if l.Grade == nil || l.Homeward == nil || len(rows) < 3 {
			continue
		}
		var grade, home, way, turn float64
		for _, row := range rows {
			grade += *row.Grade * row.LengthM.Value
			home += *row.Homeward * row.LengthM.Value
			turn += *row.CurvaturePerM * row.LengthM.Value
			way += row.LengthM.Value
		}
		// The line's means hold the landing's and the take-off's way as well, a stride in a few.
		require.InDelta(t, *l.Grade, grade/way, 0.008, "%s-%s", l.From, l.To)
		require.InDelta(t, *l.Homeward, home/way, 0.25, "%s-%s", l.From, l.To)
		if deg := l.Turn.TurnedDeg.Value; math.Abs(deg) > 20 {
			require.Greater(t, turn*deg, 0.0, "curvature is positive where the line turns left: %s-%s", l.From, l.To)
			require.InDelta(t, deg, turn*180/math.Pi, 0.35*math.Abs(deg)+10, "%s-%s", l.From, l.To)
		}
	}
}

func TestStrideRowsOfAWatch(t *testing.T) {
	d := rideIn(t, demoRide, "ride.gpx")
	soundRows(t, d)
	n := 0
	for _, l := range d.Lines {
		n += int(math.Round(l.Strides.Value))
	}
	require.Len(t, d.StrideRows, n, "as many as the lines were estimated to have")
}

func TestStrideRowsOfMotionAlone(t *testing.T) {
	d := rideIn(t, demoRide, "motion.csv")
	soundRows(t, d)
	for _, row := range d.StrideRows {
		require.Nil(t, row.CurvaturePerM)
		if row.Line == nil {
			require.Nil(t, row.LengthM, "nothing tells how far it went")
			require.Nil(t, row.Grade)
		}
	}
}

// Over all kinds of recordings. That the lines' own figures are right is judged elsewhere.
func TestStrideRowsOfTheRounds(t *testing.T) {
	dirs, err := filepath.Glob("../../../shared/data/rounds/*")
	require.NoError(t, err)
	rounds := 0
	for _, dir := range dirs {
		var files []string
		for _, f := range []string{"ride.gpx", "motion.csv"} {
			if _, err := os.Stat(filepath.Join(dir, f)); err == nil {
				files = append(files, f)
			}
		}
		if len(files) == 0 {
			continue
		}
		rounds++
		t.Run(filepath.Base(dir), func(t *testing.T) { soundRows(t, rideIn(t, dir, files...)) })
	}
	if rounds == 0 {
		t.Skip("the labelled rounds are not here")
	}
}

// A line whose strides were not all seen one by one keeps its count and leaves the numbers out; halves are no strides.
func TestLineRowsThatDontAgree(t *testing.T) {
	r := &ride{}
	line := report.Line{From: "1", To: "2", Attempt: 1, Strides: exactly(3), StridesBy: "counted", StrideLengthM: within(3.5, 0.1)}
	rows := []report.StrideRow{{DurationS: 0.5}, {DurationS: 0.7}}
	r.lineRows(rows, []int{0, 1}, &line)
	for _, row := range rows {
		require.Nil(t, row.InLine)
		require.Equal(t, 3, *row.OfLine)
	}
	require.InDelta(t, 3.5*0.5/0.6, rows[0].LengthM.Value, 1e-9, "at one pace, time shares the length")

	require.Empty(t, estimatedRows(&report.Line{Strides: exactly(0), StrideS: within(0.6, 0.01)}, [2]float64{1, 2}))
	require.Empty(t, estimatedRows(&report.Line{Strides: exactly(2)}, [2]float64{1, 2}))
	two := estimatedRows(&report.Line{Strides: &trace.Estimate{Value: 2, Low: 1, High: 3}, StrideS: within(0.6, 0.01)}, [2]float64{10, 11.6})
	require.InDelta(t, 10.2, two[0].StartS, 1e-9)
	require.InDelta(t, 10.8, two[1].StartS, 1e-9)
	require.Nil(t, two[0].LengthM)
}
