package table

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"groundline/report/paths"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// demoRides are rides of the demo's files in the working folder: with both devices, each alone, and some that fail.
func demoRides(t *testing.T) []paths.Ride {
	t.Helper()
	from, err := filepath.Abs("../../cmd/groundline/demo")
	require.NoError(t, err)
	t.Chdir(t.TempDir())
	for _, name := range []string{"ride.gpx", "motion.csv", "course.yaml"} {
		data, err := os.ReadFile(filepath.Join(from, name))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(name, data, 0o666))
	}
	require.NoError(t, os.WriteFile("broken.gpx", []byte("<gpx"), 0o666))
	require.NoError(t, os.WriteFile("broken.yaml", []byte("plan: none"), 0o666))
	c := "course.yaml"
	return []paths.Ride{
		{Recording: "both", Files: []string{"ride.gpx", "motion.csv"}, Course: c, Horse: "Bramble", Label: "first"},
		{Recording: "broken", Files: []string{"broken.gpx"}, Course: c, Horse: "Bramble"},
		{Recording: "motion", Files: []string{"motion.csv"}, Course: c, Horse: "Bramble"},
		{Recording: "no plan", Files: []string{"motion.csv"}, Horse: "Moss"},
		{Recording: "no such plan", Files: []string{"motion.csv"}, Course: "broken.yaml", Horse: "Moss"},
		{Recording: "watch", Files: []string{"ride.gpx"}, Course: c},
	}
}

// run is the table and its provenance as bytes, the errors, and how many rides were kept from before.
func runAll(t *testing.T, rides []paths.Ride, set Settings, opt RunOptions) (out, errs string, kept int) {
	t.Helper()
	var text, said bytes.Buffer
	w, err := NewWriter(&text, CSV, "")
	require.NoError(t, err)
	p := NewProvenance(opt.Program, set, "1/1", "")
	require.NoError(t, Run(t.Context(), rides, set, opt, func(r *Result) error {
		if r.Err != nil {
			fmt.Fprintf(&said, "%v (unreadable %v)\n", r.Err, r.Unreadable)
		}
		if r.Kept {
			kept++
		}
		p.Add(r)
		return w.Write(r.Rows)
	}))
	require.NoError(t, w.Close(p))
	require.NoError(t, p.JSON(&text))
	return text.String(), said.String(), kept
}

// Neither the number of workers nor a restart shows in the table; one ride's failure costs no other.
func TestRunIsTheSameHoweverItIsDone(t *testing.T) {
	rides := demoRides(t)
	want, errs, _ := runAll(t, rides, Settings{}, RunOptions{Workers: 1})
	require.Contains(t, errs, "broken.gpx")
	require.Contains(t, errs, "broken.yaml")
	require.NotContains(t, errs, "unreadable false")
	for _, r := range []string{"both", "motion", "no plan", "watch"} {
		require.Contains(t, want, "\n"+r+",", "rows of "+r)
	}
	require.Contains(t, want, ",first,")
	require.Contains(t, want, ",estimated\n", "the watch's strides")

	require.NoError(t, os.Mkdir("parts", 0o777))
	for n := range 2 {
		got, e, kept := runAll(t, rides, Settings{}, RunOptions{Workers: 4 - 3*n, Parts: "parts"})
		require.Equal(t, want, got)
		require.Equal(t, errs, e)
		require.Equal(t, map[bool]int{true: 0, false: 4}[n == 0], kept)
	}

	// What is kept counts for the same program, settings and content only, and whole.
	_, _, kept := runAll(t, rides, Settings{}, RunOptions{Program: "another", Parts: "parts"})
	require.Zero(t, kept)
	_, _, kept = runAll(t, rides, Settings{WithoutPlaces: true}, RunOptions{Parts: "parts"})
	require.Zero(t, kept)
	_, _, kept = runAll(t, rides, Settings{}, RunOptions{Parts: "parts", Anew: true})
	require.Zero(t, kept)
	parts, err := filepath.Glob("parts/*.json")
	require.NoError(t, err)
	for _, p := range parts {
		data, err := os.ReadFile(p)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(p, data[:len(data)/2], 0o666))
	}
	got, _, kept := runAll(t, rides, Settings{}, RunOptions{Parts: "parts"})
	require.Zero(t, kept)
	require.Equal(t, want, got)
	data, err := os.ReadFile("motion.csv")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile("motion.csv", append(data, '\n'), 0o666))
	_, _, kept = runAll(t, rides, Settings{}, RunOptions{Parts: "parts"})
	require.Equal(t, 1, kept, "the watch's ride, which has no motion")
}

// Nothing in the output tells names, places or the way ridden.
func TestWithoutPlaces(t *testing.T) {
	rides := demoRides(t)
	for i := range rides {
		rides[i].Recording = "Secret Farm " + rides[i].Recording
	}
	out, _, _ := runAll(t, rides, Settings{WithoutPlaces: true}, RunOptions{Workers: 2})
	for _, tell := range []string{"Secret", "ride.gpx", "motion.csv", "course", ".yaml", "broken"} {
		if tell == "course" {
			require.NotContains(t, out, `"name": "course`)
			continue
		}
		require.NotContains(t, out, tell)
	}
	require.NoError(t, Run(t.Context(), rides[:1], Settings{WithoutPlaces: true}, RunOptions{}, func(r *Result) error {
		require.Regexp(t, "^[0-9a-f]{16}$", r.Source.Recording)
		require.NotContains(t, r.CourseName, "Thursday")
		require.NotEmpty(t, r.Rows)
		grades := 0
		for _, row := range r.Rows {
			require.Nil(t, row.Homeward)
			require.Nil(t, row.CurvaturePerM)
			if row.Grade != nil {
				grades++
			}
		}
		require.Positive(t, grades, "the slope stays")
		return nil
	}))
}

func TestRunStops(t *testing.T) {
	rides := demoRides(t)[2:3]
	for len(rides) < 200 {
		rides = append(rides, rides...)
	}
	ctx, cancel := context.WithCancel(t.Context())
	n := 0
	err := Run(ctx, rides, Settings{}, RunOptions{Workers: 2}, func(*Result) error {
		if n++; n == 3 {
			cancel()
		}
		return nil
	})
	require.ErrorIs(t, err, context.Canceled)
	require.Less(t, n, 200)

	full := errors.New("disk full")
	require.ErrorIs(t, Run(t.Context(), rides, Settings{}, RunOptions{Workers: 2}, func(*Result) error { return full }), full)
	require.NoError(t, Run(t.Context(), nil, Settings{}, RunOptions{}, func(*Result) error { return full }))
}

func TestProgressCountsEveryRide(t *testing.T) {
	rides := demoRides(t)
	var seen []Progress
	require.NoError(t, Run(t.Context(), rides, Settings{}, RunOptions{Workers: 3, Progress: func(p Progress) { seen = append(seen, p) }},
		func(*Result) error { return nil }))
	require.Len(t, seen, len(rides))
	for i, p := range seen {
		require.Equal(t, i+1, p.Done)
		require.Equal(t, len(rides), p.Total)
	}
	require.Equal(t, 2, seen[len(seen)-1].Failed)
}

// The rows of a ride without plan, without slope, label or horse hold only what they can.
func TestRoundsAndLabels(t *testing.T) {
	rides := demoRides(t)
	rounds := map[string]map[string]int{}
	require.NoError(t, Run(t.Context(), rides, Settings{}, RunOptions{Workers: 2}, func(r *Result) error {
		rounds[r.Ride.Recording] = map[string]int{}
		for _, row := range r.Rows {
			rounds[r.Ride.Recording][row.Round]++
			require.Equal(t, r.Ride.Horse, row.Horse)
		}
		return nil
	}))
	require.Len(t, rounds["both"], 1)
	require.Positive(t, rounds["both"]["first"], "a label names every stride of its ride")
	require.Positive(t, rounds["motion"]["1"])
	require.Positive(t, rounds["motion"][""], "strides before and after the round")
	require.Len(t, rounds["no plan"], 1)
	require.Positive(t, rounds["no plan"][""])
}
