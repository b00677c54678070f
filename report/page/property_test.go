package page

import (
	"bytes"
	"encoding/json"
	"math"
	"regexp"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
	"pgregory.net/rapid"

	"groundline/course"
	"groundline/report"
	"groundline/trace"
)

// anyRide is a debrief with any figure there or not, of any size that a recording could give and beyond, its
// parts not fitting one another.
func anyRide(t *rapid.T) *report.Debrief {
	num := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
	scale := rapid.SampledFrom([]float64{1e-6, 1, 100, 1e5}).Draw(t, "scale")
	figure := func(name string, low, high float64) *trace.Estimate {
		if rapid.IntRange(0, 3).Draw(t, "no "+name) == 0 {
			return nil
		}
		v := num(name, low, high)
		return &trace.Estimate{Value: v, Low: v - num("below "+name, 0, 3), High: v + num("above "+name, 0, 3)}
	}
	id := rapid.SampledFrom([]string{"1", "2", "7a", "", hostile, "é"})
	d := &report.Debrief{Schema: report.Schema, Basis: "position+motion", Recording: report.RecordingInfo{DurationS: num("duration", 0, 1e6)}}
	if rapid.Bool().Draw(t, "plan") {
		name := id.Draw(t, "name")
		d.Course = &report.CourseInfo{Name: name}
		d.Plan = &course.Plan{Name: name}
		for range rapid.IntRange(0, 4).Draw(t, "obstacles") {
			d.Plan.Obstacles = append(d.Plan.Obstacles, course.Obstacle{ID: id.Draw(t, "id"), Kind: rapid.SampledFrom(course.Kinds()).Draw(t, "kind"),
				At: course.Point{X: num("x", -scale, scale), Y: num("y", -scale, scale)}, FacingDeg: num("facing", 0, 360), WidthM: num("width", 0, 10), SpreadM: num("spread", 0, 3)})
		}
		if rapid.Bool().Draw(t, "home") {
			d.Plan.Home = &course.Point{X: num("x", -scale, scale), Y: num("y", -scale, scale)}
			d.Plan.Start = &[2]course.Point{*d.Plan.Home, {}}
		}
	}
	if n := rapid.IntRange(0, 60).Draw(t, "samples"); rapid.Bool().Draw(t, "ridden") {
		r := &report.Ridden{}
		heights := rapid.Bool().Draw(t, "heights")
		at, dist := num("from", -10, 1e5), 0.0
		for i := range n {
			if i == 0 || rapid.IntRange(0, 9).Draw(t, "gap") == 0 {
				r.Pieces = append(r.Pieces, i)
				at += num("gap s", 0.05, 1e4)
			}
			at += 0.1
			dist += num("step", 0, scale)
			r.TimeS, r.XM, r.YM = append(r.TimeS, at), append(r.XM, num("x", -scale, scale)), append(r.YM, num("y", -scale, scale))
			r.SpeedMS, r.SpeedSDMS, r.DistanceM = append(r.SpeedMS, num("v", 0, 20)), append(r.SpeedSDMS, num("sd", 0, 5)), append(r.DistanceM, dist)
			if heights {
				r.HeightM = append(r.HeightM, num("z", -scale, scale))
			}
		}
		d.Ridden = r
	}
	for range rapid.IntRange(0, 4).Draw(t, "efforts") {
		d.Efforts = append(d.Efforts, report.Effort{Obstacle: rapid.Ptr(id, true).Draw(t, "of"), Outcome: rapid.SampledFrom([]string{"jumped", "refused", "ran out", "warm-up"}).Draw(t, "outcome"),
			TakeoffS: figure("take-off", -10, 1e5), LandingS: figure("landing", -10, 1e5), SpeedMS: figure("speed", 0, 12), TakeoffDistanceM: figure("off", 0, 5)})
	}
	for i := range rapid.IntRange(0, 4).Draw(t, "lines") {
		l := report.Line{From: id.Draw(t, "from"), To: id.Draw(t, "to"), Attempt: 1, Kind: rapid.SampledFrom([]string{"related", "rollback", "between"}).Draw(t, "kind"),
			Strides: figure("strides", 0, 150), StridesBy: "counted", StrideLengthM: figure("stride", 0, 8), SpeedDriftMS: figure("drift", -5, 5)}
		if rapid.Bool().Draw(t, "turn") {
			l.Turn = &report.Turn{Direction: "left", TurnedDeg: figure("turned", -400, 400), RadiusMinM: figure("radius", 0.1, 1e4)}
		}
		d.Lines = append(d.Lines, l)
		if d.Ridden != nil && rapid.Bool().Draw(t, "when") {
			from := num("line from", -10, 1e5)
			d.Ridden.LineS = append(d.Ridden.LineS, [2]float64{from, from + num("line s", -1, 100)})
			if l.Turn != nil && l.Turn.RadiusMinM != nil {
				d.Ridden.Bends = append(d.Ridden.Bends, report.Bend{Line: i, XM: num("x", -scale, scale), YM: num("y", -scale, scale), RadiusM: num("radius", 0.1, 1e4), TouchDeg: num("touch", -180, 180), EitherWayDeg: num("either way", 0, 60)})
			}
		}
	}
	for range rapid.IntRange(0, 6).Draw(t, "strides") {
		from := num("stride from", -10, 1e5)
		d.Strides = append(d.Strides, report.Stride{Gait: "canter", FromS: from, ToS: from + num("stride s", -1, 2), LengthM: figure("length", 0, 8)})
		d.Gaits = append(d.Gaits, report.GaitSpan{Gait: rapid.SampledFrom([]string{"halt", "canter", "trot", "no such gait"}).Draw(t, "gait"), FromS: from, ToS: from + num("gait s", -1, 1e4)})
	}
	return d
}

// Whatever a debrief holds: a page, well formed, of bounded size, without a number that is none, with columns that fit
// one another; and a sheet, or a reason.
func TestAnyDebriefHasAPage(t *testing.T) {
	code := regexp.MustCompile(`(?s)<(script|style)>.*?</`)
	rapid.Check(t, func(t *rapid.T) {
		d := anyRide(t)
		var out bytes.Buffer
		require.NoError(t, Write(&out, d, Options{Units: rapid.SampledFrom([]report.Units{"", report.Metric, report.Imperial}).Draw(t, "units")}))
		require.Less(t, out.Len(), 200_000)
		require.NotRegexp(t, `NaN|\bInf\b|%!|[eE]\+[0-9]`, code.ReplaceAllString(out.String(), ""))
		_, err := html.Parse(bytes.NewReader(out.Bytes()))
		require.NoError(t, err)
		v := newView(d, report.Metric)
		m := v.moments
		require.Len(t, m.C, len(m.T))
		require.True(t, sort.IntsAreSorted(m.T))
		for _, column := range [][]int{m.X, m.Y, m.V, m.H} {
			require.True(t, column == nil || len(column) == len(m.T))
		}
		for _, c := range m.C {
			require.True(t, c >= 0 && c <= 100_000)
		}
		_, err = json.Marshal(m)
		require.NoError(t, err)
		if sheet, err := Sheet(d, Options{}); err == nil {
			require.False(t, math.IsNaN(sheet.PtPerM))
		} else {
			require.ErrorIs(t, err, ErrNothingToDraw)
		}
	})
}
