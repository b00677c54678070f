package record

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report/build"
	"groundline/trace"
	"groundline/trace/read"
)

// truthRide is what happened in a round of known truth, as a ride without doubt. Slope, home, kinds and distances are the debrief's.
func truthRide(t *testing.T, dir string, like Ride) (string, Ride) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	require.NoError(t, err)
	var truth struct {
		Horse string
		Lines []struct {
			From, To string
			Strides  float64
			LengthM  float64 `json:"stride_length_m"`
			StrideS  float64 `json:"stride_s"`
			SpeedMS  float64 `json:"speed_mean_m_s"`
			Grade    float64 `json:"grade_mean"`
			Home     float64 `json:"homeward_mean"`
		}
		Efforts []struct {
			Obstacle, Outcome string
			TakeoffM          float64 `json:"takeoff_distance_m"`
			LandingM          float64 `json:"landing_distance_m"`
		}
	}
	require.NoError(t, json.Unmarshal(data, &truth))
	out := like
	out.Lines, out.Efforts = nil, nil
	for _, l := range truth.Lines {
		kind := ""
		for _, k := range like.Lines {
			if k.From == l.From && k.To == l.To {
				kind = k.Kind
			}
		}
		if kind == "" {
			continue
		}
		out.Lines = append(out.Lines, Line{From: l.From, To: l.To, Kind: kind, Strides: exactly(l.Strides), StrideLengthM: exactly(l.LengthM),
			StrideS: exactly(l.StrideS), SpeedMS: exactly(l.SpeedMS), Grade: &l.Grade, Homeward: &l.Home})
	}
	for _, e := range truth.Efforts {
		q := Effort{Obstacle: e.Obstacle, Outcome: e.Outcome}
		if e.Outcome == "jumped" {
			q.TakeoffDistanceM, q.LandingDistanceM = exactly(e.TakeoffM), exactly(e.LandingM)
		}
		out.Efforts = append(out.Efforts, q)
	}
	return truth.Horse, out
}

// Records from rides that were measured against records from what happened in them: the rounds with known truth, each kind of horse taken
// as one horse. Both have the same lines, so what differs is measurement, which is a part of the interval only.
func TestRecordsOfRoundsWithKnownTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("-short leaves the rounds with known truth out")
	}
	dirs, err := filepath.Glob(filepath.Join("..", "..", "..", "shared", "data", "practice", "*-both-*", "truth.json"))
	require.NoError(t, err)
	more, err := filepath.Glob(filepath.Join("..", "..", "..", "shared", "data", "practice", "*-gps10", "truth.json"))
	require.NoError(t, err)
	if dirs = append(dirs, more...); len(dirs) == 0 {
		t.Skip("the rounds with known truth are not beside the project")
	}
	measured, true_ := map[string][]Ride{}, map[string][]Ride{}
	for i, f := range dirs {
		dir := filepath.Dir(f)
		data, err := os.ReadFile(filepath.Join(dir, "course.yaml"))
		require.NoError(t, err)
		plan, _, err := course.ReadPlan("course.yaml", data)
		require.NoError(t, err)
		files := []string{filepath.Join(dir, "ride.gpx")}
		if strings.Contains(dir, "both") {
			files = append(files, filepath.Join(dir, "motion.csv"))
		}
		rec, err := read.Open(context.Background(), files, read.Options{})
		require.NoError(t, err)
		d, err := build.Debrief(t.Context(), rec, plan, build.Options{})
		require.NoError(t, err)
		r := Extract(d)
		at := time.Date(2026, 1, 1+i, 9, 0, 0, 0, time.UTC)
		r.ID, r.Ground, r.At = int64(i+1), filepath.Base(dir), &at
		horse, truth := truthRide(t, dir, r)
		measured[horse], true_[horse] = append(measured[horse], r), append(true_[horse], truth)
	}
	held, told := 0, 0
	for _, horse := range []string{"warmblood", "cob", "green", "pony"} {
		m, w := recordOf(t, measured[horse]), recordOf(t, true_[horse])
		see := func(name string, got, want *trace.Estimate) {
			if got == nil || want == nil {
				return
			}
			told++
			if got.Low <= want.Value && want.Value <= got.High {
				held++
			}
			t.Logf("%s, %d rides, %s: %.3f [%.3f, %.3f], from the truth %.3f", horse, len(m.Rides), name, got.Value, got.Low, got.High, want.Value)
		}
		see("stride", &m.StrideM.Mean, &w.StrideM.Mean)
		see("stride time", &m.StrideS.Mean, &w.StrideS.Mean)
		see("pace", &m.SpeedMS.Mean, &w.SpeedMS.Mean)
		see("take-off", &m.TakeoffM.All.Mean, &w.TakeoffM.All.Mean)
		see("landing", &m.LandingM.All.Mean, &w.LandingM.All.Mean)
		if m.Pace != nil && w.Pace != nil {
			see("stride for each m/s", m.Pace.PerMS, w.Pace.PerMS)
		}
		see("pace a percent", m.Ground.Speed.PerPercent, w.Ground.Speed.PerPercent)
		see("pace homeward", m.Ground.Speed.Homeward, w.Ground.Speed.Homeward)
	}
	require.Greater(t, told, 20)
	// A 90 % interval is promised to hold 85 to 95 of 100. Of 32, 28 are held: the cobs' three rides by positions alone were
	// all made with a prior on the stride time that these cobs are slower than.
	require.GreaterOrEqual(t, float64(held), 0.85*float64(told))
}
