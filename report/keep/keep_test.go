package keep

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report"
	"groundline/report/build"
	"groundline/report/record"
	"groundline/trace/read"
)

// demo is the project's invented round.
const demo = "../../cmd/groundline/demo"

func demoFile(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(demo, name))
	require.NoError(t, err)
	return data
}

func demoPlan(t testing.TB) *course.Plan {
	t.Helper()
	plan, _, err := course.Read("course.yaml", demoFile(t, "course.yaml"))
	require.NoError(t, err)
	return plan
}

func opened(t testing.TB, dir string) *Store {
	t.Helper()
	s, err := Open(t.Context(), dir, Options{Program: "groundline test"})
	require.NoError(t, err)
	t.Cleanup(func() { s.Close() })
	return s
}

func receive(t testing.TB, s *Store, name string, data []byte) *Received {
	t.Helper()
	r, err := s.Receive(t.Context(), name, bytes.NewReader(data), 1<<30)
	require.NoError(t, err)
	return r
}

// keepDemo keeps the demo's ride with its course and a horse.
func keepDemo(t testing.TB, s *Store) int64 {
	t.Helper()
	horse, err := s.NameHorse(t.Context(), "Bramble")
	require.NoError(t, err)
	c, err := s.SaveCourse(t.Context(), 0, demoPlan(t))
	require.NoError(t, err)
	id, already, err := s.Keep(t.Context(), []*Received{
		receive(t, s, "ride.gpx", demoFile(t, "ride.gpx")), receive(t, s, "motion.csv", demoFile(t, "motion.csv")),
	}, About{HorseID: horse, CourseVersionID: c.VersionID})
	require.NoError(t, err)
	require.False(t, already)
	return id
}

// working works in the background until the test ends.
func working(t testing.TB, s *Store) {
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		s.Work(ctx, 1)
	}()
	t.Cleanup(func() {
		stop()
		<-done
	})
}

// What is kept and worked out is what the debrief of the same files tells.
func TestKeptRideTellsTheSame(t *testing.T) {
	s := opened(t, t.TempDir())
	working(t, s)
	id := keepDemo(t, s)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	r, err := s.Wait(ctx, id)
	require.NoError(t, err)
	require.Equal(t, Ready, r.State, r.Why)

	rec, err := read.OpenBytes(t.Context(), []read.Input{{Name: "ride.gpx", Data: demoFile(t, "ride.gpx")}, {Name: "motion.csv", Data: demoFile(t, "motion.csv")}}, read.Options{})
	require.NoError(t, err)
	want, err := build.Debrief(t.Context(), rec, demoPlan(t), build.Options{HorseName: "Bramble"})
	require.NoError(t, err)
	var text bytes.Buffer
	require.NoError(t, report.JSON(&text, want))
	got, err := s.DebriefJSON(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, text.String(), string(got))
	d, err := s.Debrief(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, want, d)

	told, err := s.Told(t.Context(), r.HorseID)
	require.NoError(t, err)
	require.Len(t, told, 1)
	one := record.Extract(want)
	one.ID, one.Ground = id, told[0].Ground
	require.Equal(t, one, told[0])

	list, total, err := s.Attempts(t.Context(), r.CourseID, "3", "4", AttemptFilter{})
	require.NoError(t, err)
	require.Equal(t, 1, total)
	for i, l := range want.Lines {
		if l.From == "3" && l.To == "4" {
			require.Equal(t, Attempt{RideID: id, Nth: i, From: "3", To: "4", Kind: l.Kind, Round: l.Round, Attempt: l.Attempt, RiddenAt: r.At(), Start: r.Start, StartS: &want.Ridden.LineS[i][0],
				HorseID: r.HorseID, Horse: "Bramble", Basis: "position+motion", VersionID: r.CourseVersionID, DistanceM: l.DistanceM, Strides: l.Strides, StridesBy: l.StridesBy,
				StrideLengthM: l.StrideLengthM, StrideS: l.StrideS, SpeedMS: l.SpeedMS, SpeedInMS: l.SpeedInMS, SpeedOutMS: l.SpeedOutMS, TrackM: l.TrackM, RadiusMinM: l.Turn.RadiusMinM,
				PerStrideM: l.Fit.PerStrideM, Says: l.Fit.Verdict()}, list[0])
		}
	}
	lines, err := s.RiddenLines(t.Context(), r.CourseID)
	require.NoError(t, err)
	require.Len(t, lines, len(want.Lines))
}
