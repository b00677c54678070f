package score

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/report"
	"groundline/trace"
)

func p[T any](v T) *T { return &v }

// est is v with the interval v ± half.
func est(v, half float64) *trace.Estimate {
	return &trace.Estimate{Value: v, Low: v - half, High: v + half}
}

// smallTruth is a round of three obstacles, 1, 2 and 3, with a run-out at 3 before it was jumped, so
// one line only. Every figure is round, so that a reader can work out the scores.
func smallTruth(t *testing.T) *Truth {
	t.Helper()
	truth, err := ReadTruth(strings.NewReader(`{
		"start": "2026-01-02T03:04:05Z", "duration_s": 100,
		"efforts": [
			{"obstacle": "1", "k": null, "outcome": "warm-up", "takeoff_s": 10, "landing_s": 10.5, "takeoff_distance_m": 1.5, "landing_distance_m": 1.6, "speed_over_m_s": 5},
			{"obstacle": "1", "k": 0, "outcome": "jumped", "takeoff_s": 30, "landing_s": 30.5, "takeoff_distance_m": 1.5, "landing_distance_m": 1.6, "speed_over_m_s": 5},
			{"obstacle": "2", "k": 1, "outcome": "jumped", "takeoff_s": 34, "landing_s": 34.5, "takeoff_distance_m": 1.5, "landing_distance_m": 1.6, "speed_over_m_s": 5},
			{"obstacle": "3", "k": 2, "outcome": "ran out", "t": 50},
			{"obstacle": "3", "k": 2, "outcome": "jumped", "takeoff_s": 70, "landing_s": 70.5, "takeoff_distance_m": 1.5, "landing_distance_m": 1.6, "speed_over_m_s": 5}],
		"lines": [
			{"from": "1", "to": "1", "k": 0, "strides": 32, "stride_length_m": 3.0, "stride_s": 0.6, "track_m": 100, "radius_min_m": 8, "turned_deg": -358, "turn": "right", "speed_mean_m_s": 5, "grade_mean": 0.01, "homeward_mean": -0.5},
			{"from": "1", "to": "2", "k": 1, "strides": 5, "stride_length_m": 3.0, "stride_s": 0.6, "track_m": 17, "radius_min_m": 300, "turned_deg": 2, "turn": "straight", "speed_mean_m_s": 5}],
		"gaits": [["walk", 0, 5], ["trot", 5, 8], ["canter", 8, 98], ["halt", 98, 100]],
		"strides": [{"gait": "trot", "t0": 5, "t1": 5.7}, {"gait": "canter", "t0": 8, "t1": 8.6}, {"gait": "canter", "t0": 8.6, "t1": 9.2},
			{"gait": "canter", "t0": 9.2, "t1": 9.8}, {"gait": "canter", "t0": 10.7, "t1": 11.3}],
		"leads": [[8, "left"], [8.6, "left"], [9.2, "right"], [10.7, "right"]],
		"gnss_offset_m": [3, -4],
		"sensors": {"gnss": {"hz": 1}, "inertial": {"hz": 100, "mount": "wrist", "clock_s": 7}}}`))
	require.NoError(t, err)
	return truth
}

// rightDebrief says just what happened in smallTruth, with intervals that hold it.
func rightDebrief() *report.Debrief {
	effort := func(id, outcome string, round *int, at float64) report.Effort {
		return report.Effort{Obstacle: &id, Outcome: outcome, Round: round, Confidence: 0.99,
			TakeoffS: est(at, 0.03), LandingS: est(at+0.5, 0.03),
			TakeoffDistanceM: est(1.5, 0.2), LandingDistanceM: est(1.6, 0.2), SpeedMS: est(5, 0.2)}
	}
	line := func(from, to string, round *int, n, track, turned, radius float64, direction string) report.Line {
		return report.Line{From: from, To: to, Round: round, Strides: est(n, 0), StridesBy: "counted", TrackM: est(track, 1),
			StrideLengthM: est(3, 0.1), StrideS: est(0.6, 0.01), SpeedMS: est(5, 0.1),
			Turn: &report.Turn{Direction: direction, TurnedDeg: est(turned, 5), RadiusMinM: est(radius, 1)}}
	}
	stride := func(gait string, from, to float64, lead *string) report.Stride {
		return report.Stride{Gait: gait, FromS: from, ToS: to, Lead: lead}
	}
	left, right := p("left"), p("right")
	return &report.Debrief{
		Recording: report.RecordingInfo{Start: p("2026-01-02T03:04:05Z"), PositionHz: p(1.0), MotionHz: p(100.0), ClockOffsetS: p(7.25)},
		Basis:     "position+motion",
		Course:    &report.CourseInfo{Placed: &report.Placed{RightM: 3, ForwardM: -4}},
		Efforts: []report.Effort{
			effort("1", "warm-up", nil, 10), effort("1", "jumped", p(1), 30), effort("2", "jumped", p(1), 34),
			{Obstacle: p("3"), Outcome: "ran out", Round: p(1), Confidence: 0.9},
			effort("3", "jumped", p(1), 70)},
		Lines: []report.Line{line("1", "1", nil, 32, 100, -358, 8, "right"), line("1", "2", p(1), 5, 17, 2, 90, "straight")},
		Gaits: []report.GaitSpan{{Gait: "walk", FromS: 0, ToS: 5}, {Gait: "trot", FromS: 5, ToS: 8}, {Gait: "canter", FromS: 8, ToS: 98}, {Gait: "halt", FromS: 98, ToS: 100}},
		Strides: []report.Stride{stride("trot", 5, 5.7, nil), stride("canter", 8, 8.6, left), stride("canter", 8.6, 9.2, left),
			stride("canter", 9.2, 9.8, right), stride("canter", 10.7, 11.3, right)},
	}
}

func TestRightDebriefScoresFull(t *testing.T) {
	r := Round(rightDebrief(), smallTruth(t))
	require.Equal(t, 0.5, r.WindowS)
	require.Equal(t, []int{4, 4, 4, 4, 4}, []int{r.TrueJumps, r.FoundJumps, r.ReportedJumps, r.RightObstacle, r.RightOutcome})
	require.Equal(t, []int{1, 1, 1, 0}, []int{r.TrueRefusals, r.FoundRefusals, r.RightRefusalKind, r.FalseRefusals})
	require.Equal(t, Lines{1, 1, 1, 1}, r.Short)
	require.Equal(t, Lines{1, 1, 1, 1}, r.Long)
	for name, f := range map[string]Figure{"takeoff": r.TakeoffS, "landing": r.LandingS, "takeoff distance": r.TakeoffDistanceM, "over": r.OverSpeedMS,
		"landing distance": r.LandingDistanceM, "strides": r.Strides, "length": r.StrideLengthM, "stride": r.StrideS, "speed": r.SpeedMS, "track": r.TrackM, "turned": r.TurnedDeg, "radius": r.RadiusMinM} {
		require.NotZero(t, f.Truths, name)
		require.Len(t, f.Told, f.Truths, name)
		require.InDelta(t, 0, f.MedianAbs(), 1e-12, name)
		require.InDelta(t, 0, f.Bias(), 1e-12, name)
		require.Equal(t, 1.0, f.Covered(), name)
	}
	require.Equal(t, 1, r.RadiusMinM.Truths, "the straight line's radius is not scored")
	require.Equal(t, []int{1, 1}, []int{r.TrueTurns, r.RightTurns})
	require.Equal(t, []int{1, 0}, []int{r.Grade.Truths, len(r.Grade.Told)}, "one line has a grade, and none was told")
	require.Equal(t, 0.25, r.ClockS.WorstAbs())
	require.Equal(t, 1.0, r.GaitRight())
	require.Equal(t, []int{4, 4, 4}, []int{r.TrueStrides, r.ToldStrides, r.PairedStrides}, "trot strides are not scored")
	require.Equal(t, 1.0, r.StrideF1())
	require.Equal(t, []int{4, 4, 4}, []int{r.TrueLeads, r.ToldLeads, r.RightLeads})
	require.Equal(t, []float64{0}, r.PlacedM)
	require.Equal(t, "both wrist", smallTruth(t).Kind())
}

func TestEmptyDebriefScoresNothing(t *testing.T) {
	r := Round(&report.Debrief{Basis: "motion"}, smallTruth(t))
	require.Equal(t, []int{4, 0, 0}, []int{r.TrueJumps, r.FoundJumps, r.ReportedJumps})
	require.Equal(t, []int{1, 0, 0}, []int{r.TrueRefusals, r.FoundRefusals, r.FalseRefusals})
	require.Equal(t, Lines{True: 1}, r.Short, "an unreported line is a wrong one")
	require.Equal(t, Lines{True: 1}, r.Long)
	require.Equal(t, 2, r.StrideLengthM.Truths)
	require.Empty(t, r.StrideLengthM.Told)
	require.True(t, math.IsNaN(r.StrideLengthM.MedianAbs()) && math.IsNaN(r.StrideLengthM.Covered()))
	require.Zero(t, r.GaitRight())
	require.Equal(t, 100.0, r.GaitS[0][4]+r.GaitS[1][4]+r.GaitS[2][4]+r.GaitS[3][4], "all time untold")
	require.Zero(t, r.StrideF1())
	require.Empty(t, r.PlacedM)

	// Fixes alone that show no strides were not asked for any.
	r = Round(&report.Debrief{Basis: "position"}, smallTruth(t))
	require.Zero(t, r.TrueStrides)
	require.True(t, math.IsNaN(r.StrideF1()))
}

func TestNullFiguresAreUntoldNotZero(t *testing.T) {
	d := rightDebrief()
	d.Efforts[1].LandingS, d.Efforts[1].TakeoffDistanceM = nil, nil
	d.Efforts[2].TakeoffS = nil // its landing, 0.5 s later, is then what pairs it: at the very edge of the window
	d.Lines[1].Strides, d.Lines[1].Turn = nil, nil
	d.Strides[1].Lead = nil
	r := Round(d, smallTruth(t))
	require.Equal(t, 4, r.FoundJumps)
	require.Equal(t, 4, r.TakeoffS.Truths)
	require.Len(t, r.TakeoffS.Told, 3)
	require.Len(t, r.LandingS.Told, 3)
	require.Len(t, r.TakeoffDistanceM.Told, 3)
	require.Equal(t, Lines{True: 1}, r.Short)
	require.Equal(t, []int{3, 3}, []int{r.ToldLeads, r.RightLeads})
	require.Len(t, r.TurnedDeg.Told, 1)
}

func TestOffByOneStrides(t *testing.T) {
	d := rightDebrief()
	d.Lines[0].Strides = est(32.4, 0.3) // rounds to the truth, but the interval misses it
	d.Lines[1].Strides = est(6, 1)
	r := Round(d, smallTruth(t))
	require.Equal(t, Lines{1, 1, 1, 1}, r.Long)
	require.Equal(t, Lines{1, 1, 0, 1}, r.Short)
	require.Equal(t, 0.5, r.Strides.Covered())
	require.InDelta(t, 0.7, r.Strides.Bias(), 1e-12) // of 0.4 and 1

	require.True(t, r.Strides.Stretch() > 1, "the worse of the two misses")
	d.Lines[1].Strides = est(7, 0)
	require.Equal(t, Lines{1, 1, 0, 0}, Round(d, smallTruth(t)).Short)
}

func TestExtraJump(t *testing.T) {
	d := rightDebrief()
	extra := d.Efforts[1]
	extra.Obstacle, extra.TakeoffS, extra.LandingS = nil, est(20, 0.03), est(20.5, 0.03)
	d.Efforts = append(d.Efforts[:1:1], append([]report.Effort{extra}, d.Efforts[1:]...)...)
	r := Round(d, smallTruth(t))
	require.Equal(t, []int{4, 4, 5, 4}, []int{r.TrueJumps, r.FoundJumps, r.ReportedJumps, r.RightObstacle})
	require.Equal(t, Lines{True: 1}, r.Long, "a jump amid a line breaks it")

	d.Efforts[1].Confidence = 0.3 // told as unlikely: not reported, but its confidence is judged
	r = Round(d, smallTruth(t))
	require.Equal(t, 4, r.ReportedJumps)
	require.Equal(t, Lines{1, 1, 1, 1}, r.Long)
	require.Len(t, r.Confidence, 5)
	require.Equal(t, Called{Confidence: 0.3, Right: false}, r.Confidence[1])
}

func TestMissedJump(t *testing.T) {
	d := rightDebrief()
	d.Efforts = append(d.Efforts[:1:1], d.Efforts[2:]...)
	r := Round(d, smallTruth(t))
	require.Equal(t, []int{4, 3, 3}, []int{r.TrueJumps, r.FoundJumps, r.ReportedJumps})
	require.Equal(t, Lines{True: 1}, r.Short)
	require.Equal(t, Lines{True: 1}, r.Long)
	require.Equal(t, 1, r.FoundRefusals)
}

func TestSwappedObstacle(t *testing.T) {
	d := rightDebrief()
	d.Efforts[2].Obstacle = p("9")
	d.Lines[1].To = "9"
	r := Round(d, smallTruth(t))
	require.Equal(t, []int{4, 3, 4}, []int{r.FoundJumps, r.RightObstacle, r.RightOutcome})
	require.Equal(t, Lines{True: 1}, r.Short, "a line to another obstacle is not that line")
	d.Efforts[0].Outcome = "jumped"
	require.Equal(t, 3, Round(d, smallTruth(t)).RightOutcome)
}

func TestJumpOutsideTheWindow(t *testing.T) {
	d := rightDebrief()
	d.Efforts[1].TakeoffS = est(30.6, 0.03)
	require.Equal(t, 3, Round(d, smallTruth(t)).FoundJumps)
	d.Basis = "position" // a watch alone: three fixes
	r := Round(d, smallTruth(t))
	require.Equal(t, 4, r.FoundJumps)
	require.Equal(t, 1.5, r.WindowS)
	require.InDelta(t, 0.75, r.TakeoffS.Within(0.05), 1e-12)
	require.InDelta(t, 0.75, r.TakeoffS.Covered(), 1e-12)
	d.Recording.PositionHz = p(10.0)
	require.Equal(t, 3, Round(d, smallTruth(t)).FoundJumps)
}

func TestRefusals(t *testing.T) {
	d := rightDebrief()
	d.Efforts[3].Outcome = "refused"
	r := Round(d, smallTruth(t))
	require.Equal(t, []int{1, 0, 0}, []int{r.FoundRefusals, r.RightRefusalKind, r.FalseRefusals})

	d.Efforts[3].Obstacle = p("2")
	r = Round(d, smallTruth(t))
	require.Equal(t, []int{0, 1}, []int{r.FoundRefusals, r.FalseRefusals})

	d = rightDebrief() // the right obstacle, after it was jumped; then twice
	d.Efforts[3], d.Efforts[4] = d.Efforts[4], d.Efforts[3]
	r = Round(d, smallTruth(t))
	require.Equal(t, []int{0, 1}, []int{r.FoundRefusals, r.FalseRefusals})
	d = rightDebrief()
	d.Efforts = append(d.Efforts[:4:4], d.Efforts[3:]...)
	r = Round(d, smallTruth(t))
	require.Equal(t, []int{1, 1}, []int{r.FoundRefusals, r.FalseRefusals})
	d.Efforts[4].Confidence = 0.2
	require.Zero(t, Round(d, smallTruth(t)).FalseRefusals)
}

// A line ridden again after a refusal broke it the first time belongs to the second go.
func TestLinesBelongToTheirGo(t *testing.T) {
	d := rightDebrief()
	again := []report.Effort{d.Efforts[1], d.Efforts[2]}
	d.Efforts[2].Obstacle = p("2")
	d.Efforts = []report.Effort{d.Efforts[1], {Obstacle: p("2"), Outcome: "refused", Confidence: 1}, d.Efforts[2], again[0], again[1]}
	d.Lines = []report.Line{{From: "1", To: "2", Round: p(1)}}
	require.Equal(t, map[effortPair]int{{3, 4}: 0}, linesOf(d))
	d.Lines = append(d.Lines, report.Line{From: "2", To: "1"}, report.Line{From: "1", To: "2", Round: p(1)}, report.Line{From: "1", To: "2"})
	require.Equal(t, map[effortPair]int{{3, 4}: 0, {2, 3}: 1, {0, 2}: 2}, linesOf(d), "the fourth line joins nothing")
}

func TestClockShift(t *testing.T) {
	d := rightDebrief()
	d.Recording.Start = p("2026-01-02T03:04:06.5Z") // zero is 1.5 s later, and all times said are too small by nothing
	r := Round(d, smallTruth(t))
	require.Zero(t, r.FoundJumps)
	for i := range d.Efforts {
		d.Efforts[i].TakeoffS = shifted(d.Efforts[i].TakeoffS, -1.5)
		d.Efforts[i].LandingS = shifted(d.Efforts[i].LandingS, -1.5)
	}
	r = Round(d, smallTruth(t))
	require.Equal(t, 4, r.FoundJumps)
	require.InDelta(t, 0, r.TakeoffS.MedianAbs(), 1e-12)
}

func TestGaitsByTime(t *testing.T) {
	d := rightDebrief()
	d.Gaits = []report.GaitSpan{{Gait: "trot", FromS: 0, ToS: 10}, {Gait: "canter", FromS: 10, ToS: 90}}
	r := Round(d, smallTruth(t))
	require.InDelta(t, 0.83, r.GaitRight(), 1e-12)              // 3 s of trot, 80 s of canter, of 100 s
	require.InDelta(t, 5, r.GaitS[1][2], 1e-12)                 // walk told as trot
	require.InDelta(t, 2, r.GaitS[3][2], 1e-12)                 // canter told as trot
	require.InDelta(t, 8+2, r.GaitS[3][4]+r.GaitS[0][4], 1e-12) // untold
}

func TestStrideWindows(t *testing.T) {
	d := rightDebrief()
	for i := range d.Strides {
		d.Strides[i].FromS += 0.1 // late by more than the narrow window
	}
	d.Strides[4].Lead = p("left")
	r := Round(d, smallTruth(t))
	require.Zero(t, r.PairedStrides)
	require.InDelta(t, 0.1, median(r.StrideBiasS), 1e-9)
	require.Equal(t, []int{4, 3}, []int{r.ToldLeads, r.RightLeads})

	d = rightDebrief()
	d.Strides = d.Strides[:3] // two of four
	r = Round(d, smallTruth(t))
	require.InDelta(t, 2.0*2/(4+2), r.StrideF1(), 1e-12)
}

func TestMergeAddsUp(t *testing.T) {
	r := Round(rightDebrief(), smallTruth(t))
	d := rightDebrief()
	d.Course.Placed.RightM = 2
	r.Merge(Round(d, smallTruth(t)))
	r.Merge(Round(&report.Debrief{Basis: "motion"}, smallTruth(t)))
	require.Equal(t, 3, r.Rounds)
	require.Equal(t, []int{12, 8, 8, 8, 8}, []int{r.TrueJumps, r.FoundJumps, r.ReportedJumps, r.RightObstacle, r.RightOutcome})
	require.Equal(t, []int{3, 2, 2, 0}, []int{r.TrueRefusals, r.FoundRefusals, r.RightRefusalKind, r.FalseRefusals})
	require.Equal(t, Lines{3, 2, 2, 2}, r.Short)
	require.Equal(t, Lines{3, 2, 2, 2}, r.Long)
	require.Equal(t, []int{3, 2, 6, 4}, []int{r.RadiusMinM.Truths, len(r.RadiusMinM.Told), r.SpeedMS.Truths, len(r.SpeedMS.Told)})
	require.Equal(t, []int{3, 2}, []int{r.TrueTurns, r.RightTurns})
	require.InDelta(t, 2.0/3, r.GaitRight(), 1e-12)
	require.InDelta(t, 2*8.0/(12+8), r.StrideF1(), 1e-12)
	require.Equal(t, []int{12, 8, 8}, []int{r.TrueLeads, r.ToldLeads, r.RightLeads})
	require.Equal(t, []float64{0, 1}, r.PlacedM)
	require.Len(t, r.Confidence, 8)
}

func TestTable(t *testing.T) {
	one := Round(rightDebrief(), smallTruth(t))
	none := Round(&report.Debrief{Basis: "position"}, smallTruth(t))
	var columns []Column
	for range 4 {
		columns = append(columns, Column{"both wrist", one}, Column{"03-teaching-green-first", none})
	}
	var b strings.Builder
	require.NoError(t, Table(&b, columns))
	require.NotContains(t, b.String(), "NaN")
	for _, l := range strings.Split(b.String(), "\n") {
		require.LessOrEqual(t, len(l), 120, l)
	}
	require.Contains(t, b.String(), "  true jumps found                   1.000 /   4   0.000 /   4")
	require.Contains(t, b.String(), "  radius_min_m                     1.000  x 0.00             -")
	require.Equal(t, 2, strings.Count(b.String(), "true jumps found"), "eight columns make two blocks")

	b.Reset()
	require.NoError(t, GaitTable(&b, one))
	require.Contains(t, b.String(), "canter           0.0       0.0       0.0      90.0       0.0     1.000\n")

	b.Reset()
	one.Confidence = []Called{{1, true}, {0.99, true}, {0.98, false}, {0.97, true}, {0.9, true}, {0, false}}
	require.NoError(t, Reliability(&b, one))
	require.Contains(t, b.String(), "0.97 to 1.00           4   0.985   0.750\n")
	require.Contains(t, b.String(), "0.90 to 0.97           1   0.900   1.000\n")
	require.Contains(t, b.String(), "0.75 to 0.90           0       -       -\n")
	require.Contains(t, b.String(), "0.00 to 0.25           1   0.000   0.000\n")
}

func TestReadTruthFaults(t *testing.T) {
	for name, in := range map[string]string{
		"not JSON":                `{`,
		"a gait of two values":    `{"gaits": [["walk", 0]]}`,
		"a gait with a word":      `{"gaits": [["walk", 0, "x"]]}`,
		"a start that is none":    `{"start": "yesterday"}`,
		"a jump without times":    `{"efforts": [{"obstacle": "1", "outcome": "jumped"}]}`,
		"a refusal with a flight": `{"efforts": [{"obstacle": "1", "outcome": "refused", "takeoff_s": 1, "landing_s": 2}]}`,
		"a line between nothing":  `{"lines": [{"from": "1", "to": "2"}]}`,
	} {
		_, err := ReadTruth(strings.NewReader(in))
		require.Error(t, err, name)
	}
}

// Pairing is checked against trying every possibility.
func TestPairIsOptimal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		instants := rapid.Custom(func(t *rapid.T) []float64 {
			n := rapid.IntRange(0, 6).Draw(t, "n")
			x := make([]float64, n)
			at := 0.0
			for i := range x {
				at += rapid.Float64Range(0, 1).Draw(t, "step")
				x[i] = at
			}
			return x
		})
		a, b := instants.Draw(t, "a"), instants.Draw(t, "b")
		const window = 0.4
		var brute func(i, j int) (int, float64)
		brute = func(i, j int) (int, float64) {
			if i == len(a) || j == len(b) {
				return 0, 0
			}
			n, c := brute(i+1, j)
			if n2, c2 := brute(i, j+1); n2 > n || n2 == n && c2 < c {
				n, c = n2, c2
			}
			if d := math.Abs(a[i] - b[j]); d <= window {
				if n2, c2 := brute(i+1, j+1); n2+1 > n || n2+1 == n && c2+d < c {
					n, c = n2+1, c2+d
				}
			}
			return n, c
		}
		pairs := Pair(a, b, window)
		var sum float64
		last := [2]int{-1, -1}
		for _, p := range pairs {
			require.True(t, p[0] > last[0] && p[1] > last[1], "pairs cross")
			require.LessOrEqual(t, math.Abs(a[p[0]]-b[p[1]]), window)
			sum += math.Abs(a[p[0]] - b[p[1]])
			last = p
		}
		n, c := brute(0, 0)
		require.Len(t, pairs, n)
		require.InDelta(t, c, sum, 1e-9)
	})
}

func TestPairOfNothing(t *testing.T) {
	require.Empty(t, Pair(nil, nil, 1))
	require.Empty(t, Pair([]float64{1}, nil, 1))
	require.Empty(t, Pair([]float64{math.NaN()}, []float64{1}, 1))
	require.Equal(t, [][2]int{{1, 0}}, Pair([]float64{math.NaN(), 1}, []float64{1}, 1))
}

// How much wider intervals should be is read off by hand: of ten, the ninth.
func TestStretch(t *testing.T) {
	var f Figure
	for i := range 9 {
		f.add(&trace.Estimate{Value: 0, Low: -2, High: 1}, float64(i)/4) // to 2 above: 0, 0.25, ... 2 times the upper half
	}
	f.add(&trace.Estimate{Value: 0, Low: -2, High: 1}, -5) // 2.5 times the lower half
	require.Equal(t, 2.0, f.Stretch())
	require.Equal(t, 0.5, f.Covered())
	f.add(&trace.Estimate{Value: 1, Low: 1, High: 1}, 1)
	require.Equal(t, 2.0, f.Stretch(), "a certain figure that is right needs nothing: ten of eleven")
	f.add(&trace.Estimate{Value: 1, Low: 1, High: 1}, 2)
	require.Equal(t, 2.5, f.Stretch())
	require.True(t, math.IsInf(f.Told[11].Stretch, 1))
	require.True(t, math.IsNaN(Figure{}.Stretch()))
}

// A wide window flatters a late detector: 0.28 s late on strides 0.6 s apart still pairs nearly all of them.
func TestWideWindowFlatters(t *testing.T) {
	var truth, late []float64
	for i := range 100 {
		truth = append(truth, 0.6*float64(i))
		late = append(late, 0.6*float64(i)+0.28)
	}
	require.Len(t, Pair(late, truth, 0.5), 100)
	require.Empty(t, Pair(late, truth, StrideNarrowS))
}

// A stride that is disunited has to be called so, one that is not must not; the usual stride is held to the middle of
// the strides of lines of three and more.
func TestDisunitedAndUsualStride(t *testing.T) {
	truth, d := smallTruth(t), rightDebrief()
	truth.Leads[1].Lead = "disunited" // of four
	truth.Leads[2].Lead = "disunited"
	d.Strides[2].Lead, d.Strides[4].Lead = p("disunited"), p("disunited")
	d.Horse.CanterStrideM, d.Horse.StrideS = est(3.2, 0.1), est(0.61, 0.02)
	r := Round(d, truth)
	r.Merge(&Result{Failed: 1})
	require.Equal(t, []int{2, 1, 1, 1}, []int{r.TrueDisunited, r.FoundDisunited, r.FalseDisunited, r.Failed})
	require.Equal(t, []int{4, 2}, []int{r.ToldLeads, r.RightLeads})
	require.Equal(t, 1, r.UsualStrideM.Truths)
	require.InDelta(t, 0.2, r.UsualStrideM.MedianAbs(), 1e-12)
	require.Zero(t, r.UsualStrideM.Covered())
	require.Equal(t, 1.0, r.UsualStrideS.Covered())

	var b strings.Builder
	require.NoError(t, Summary(&b, []Column{{Title: "both", Result: r}}))
	require.Regexp(t, `disunited strides found +0.500 +/ +2\n`, b.String())
	require.Regexp(t, `usual stride time +1.000 +/ +1\n`, b.String())
}
