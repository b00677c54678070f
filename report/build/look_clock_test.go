package build

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report"
	"groundline/report/layout"
	"groundline/trace"
	"groundline/trace/read"
)

// A madeRound is a labelled round read anew, so that a test may spoil it.
type madeRound struct {
	name string
	rec  *trace.Recording
	plan *course.Plan
	// aheadS is how far the motion's clock is ahead in truth.
	aheadS  float64
	strides map[string]int // of each line "from-to" ridden once
	mount   string
}

// madeRounds are the labelled rounds with these endings of their names; the test is skipped without them.
func madeRounds(t *testing.T, names ...string) []madeRound {
	var out []madeRound
	for _, name := range names {
		dirs, err := filepath.Glob("../../../shared/data/*/" + name)
		require.NoError(t, err)
		if len(dirs) == 0 {
			t.Skip("the labelled rounds are not here")
		}
		for _, dir := range dirs {
			r := madeRound{name: filepath.Base(dir), strides: map[string]int{}}
			b, err := os.ReadFile(filepath.Join(dir, "truth.json"))
			require.NoError(t, err)
			var truth struct {
				Lines []struct {
					From, To string
					Strides  int
				}
				Sensors struct {
					Inertial struct {
						Mount  string
						ClockS float64 `json:"clock_s"`
					}
				}
			}
			require.NoError(t, json.Unmarshal(b, &truth))
			r.aheadS, r.mount = truth.Sensors.Inertial.ClockS, truth.Sensors.Inertial.Mount
			for _, l := range truth.Lines {
				key := l.From + "-" + l.To
				if _, again := r.strides[key]; again {
					r.strides[key] = -1
					continue
				}
				r.strides[key] = l.Strides
			}
			var files []string
			for _, f := range []string{"ride.gpx", "motion.csv"} {
				if _, err := os.Stat(filepath.Join(dir, f)); err == nil {
					files = append(files, filepath.Join(dir, f))
				}
			}
			r.rec, err = read.Open(context.Background(), files, read.Options{})
			require.NoError(t, err)
			text, err := os.ReadFile(filepath.Join(dir, "course.yaml"))
			require.NoError(t, err)
			r.plan, _, err = course.Read("course.yaml", text)
			require.NoError(t, err)
			out = append(out, r)
		}
	}
	return out
}

func setAhead(rec *trace.Recording, s float64) {
	for i := range rec.Motion.TimeS {
		rec.Motion.TimeS[i] += s
	}
}

func TestClocksAreFoundWithoutAPlan(t *testing.T) {
	for _, r := range madeRounds(t, "09-*", "p009-*", "01-*", "03-*") {
		d, err := Debrief(t.Context(), r.rec, nil, Options{})
		require.NoError(t, err)
		require.NotNil(t, d.Recording.ClockOffsetS)
		require.InDelta(t, r.aheadS, *d.Recording.ClockOffsetS, 1.6, r.name)
		require.Equal(t, r.aheadS != 0, hasNote(d, "clock was ahead"), "%s: %v", r.name, d.Notes)
	}
}

// A phone that wrote the local time of a zone far away.
func TestClocksOfTwoZonesAreBroughtTogether(t *testing.T) {
	for _, r := range madeRounds(t, "01-*", "12-*") {
		const zoneS = -7 * 3600
		setAhead(r.rec, zoneS)
		with, err := Debrief(t.Context(), r.rec, r.plan, Options{})
		require.NoError(t, err)
		require.InDelta(t, zoneS, *with.Recording.ClockOffsetS, 0.8, r.name)
		require.Less(t, with.Recording.DurationS, 200.0)
		require.True(t, hasNote(with, "7 h 0 min"), "%v", with.Notes)
		counted := 0
		for _, l := range with.Lines {
			if n, ok := r.strides[l.From+"-"+l.To]; ok && n > 0 && l.StridesBy == "counted" {
				counted++
				require.Equal(t, float64(n), l.Strides.Value, "%s %s-%s", r.name, l.From, l.To)
			}
		}
		t.Logf("%s: %d lines counted", r.name, counted)
		require.Positive(t, counted)
		without, err := Debrief(t.Context(), r.rec, nil, Options{})
		require.NoError(t, err)
		require.InDelta(t, zoneS, *without.Recording.ClockOffsetS, 1.0, r.name)
	}
}

func hasNote(d *report.Debrief, part string) bool {
	for _, n := range d.Notes {
		if strings.Contains(n.What, part) || strings.Contains(n.Why, part) {
			return true
		}
	}
	return false
}

func TestClockWords(t *testing.T) {
	for s, want := range map[float64]string{7.44: "7.4 s", -1.5: "-1.5 s", 125: "2 min 5.0 s", 25205.3: "7 h 0 min 5.3 s", -50400: "-14 h 0 min 0.0 s", 3599.96: "1 h 0 min 0.0 s"} {
		require.Equal(t, want, layout.ClockOffset(s))
	}
}
