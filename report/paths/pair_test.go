package paths

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/trace/read"
)

func TestDevice(t *testing.T) {
	for name, want := range map[string]string{"20260621-093000-watch1.gpx": "watch1", "IMU-4-001.csv": "IMU 4", "log0018.csv": "log",
		"motion_0930_1.csv": "motion 1", "folder/Accel 20260621-093548.csv": "Accel", "20260621.gpx": ""} {
		require.Equal(t, want, Device(name), name)
	}
}

func TestPair(t *testing.T) {
	at := func(minute int) time.Time { return time.Date(2026, 6, 21, 9, minute, 0, 0, time.UTC) }
	gpx := func(name string, minute int, long float64) File {
		return File{Name: name, Start: at(minute), DurationS: long, Positions: true}
	}
	csv := func(name string, start time.Time, long float64) File {
		return File{Name: name, Start: start, DurationS: long, Motion: true}
	}
	never := time.Time{}
	for _, c := range []struct {
		name  string
		files []File
		want  [][]int
	}{
		{"nothing", nil, nil},
		{"by the clock", []File{gpx("a.gpx", 0, 100), gpx("b.gpx", 5, 100), csv("m2.csv", at(5), 101), csv("m1.csv", at(0), 99)}, [][]int{{0, 3}, {1, 2}}},
		{"a clock of another hour", []File{gpx("a.gpx", 0, 100), csv("m.csv", at(40), 100)}, [][]int{{0}, {1}}},
		{"by a device's durations", []File{gpx("w1 100.gpx", 0, 100), gpx("w2 101.gpx", 3, 130), gpx("w1 102.gpx", 6, 90), gpx("w2 103.gpx", 9, 80),
			csv("log001.csv", never, 130.5), csv("log002.csv", never, 80.5)}, [][]int{{0}, {1, 4}, {2}, {3, 5}}},
		{"two watches fit", []File{gpx("w1.gpx", 0, 100), gpx("w2.gpx", 3, 101), csv("log.csv", never, 100.5)}, [][]int{{0}, {1}, {2}}},
		{"more files than rides", []File{gpx("w1 100.gpx", 0, 100), csv("log001.csv", never, 100), csv("log002.csv", never, 100)}, [][]int{{0}, {1}, {2}}},
		{"both in one", []File{{Name: "a.fit", Start: at(0), DurationS: 100, Positions: true, Motion: true}, csv("m.csv", at(0), 100)}, [][]int{{0}, {1}}},
	} {
		require.Equal(t, c.want, Pair(c.files), c.name)
	}
}

// A lesson of six pupils with five dialects of motion files: every ride's files find each other.
func TestPairOfALesson(t *testing.T) {
	dir := "../../../shared/data/lesson"
	data, err := os.ReadFile(filepath.Join(dir, "lesson.json"))
	if err != nil {
		t.Skip("the lesson's files are not here")
	}
	var rides []struct{ Files []string }
	require.NoError(t, json.Unmarshal(data, &rides))
	var want []string
	for _, r := range rides {
		slices.Sort(r.Files)
		want = append(want, strings.Join(r.Files, "+"))
	}
	names, err := filepath.Glob(filepath.Join(dir, "files", "*"))
	require.NoError(t, err)
	var files []File
	for _, name := range names {
		_, sum, err := read.Inspect(context.Background(), []string{name}, read.Options{})
		require.NoError(t, err)
		f := File{Name: filepath.Base(name), DurationS: sum[0].DurationS, Positions: sum[0].Positions != nil, Motion: sum[0].Motion != nil}
		if sum[0].DateKnown {
			f.Start = sum[0].Start
		}
		files = append(files, f)
	}
	var got []string
	for _, ride := range Pair(files) {
		var of []string
		for _, i := range ride {
			of = append(of, files[i].Name)
		}
		slices.Sort(of)
		got = append(got, strings.Join(of, "+"))
	}
	require.ElementsMatch(t, want, got)
}
