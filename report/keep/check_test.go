package keep

import (
	"context"
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// check is what a check finds, a line each.
func check(t *testing.T, s *Store, opt CheckOptions) (lines []string, out Checked) {
	t.Helper()
	out, err := s.Check(t.Context(), opt, func(f Finding) { lines = append(lines, f.String()) })
	require.NoError(t, err)
	return lines, out
}

// twoRides keeps the demo and its watch alone, which share a file, and works both out.
func twoRides(t *testing.T, s *Store) (both, watch int64) {
	t.Helper()
	both, watch = keepDemo(t, s), keepDemo2(t, s)
	for _, id := range []int64{both, watch} {
		r, err := s.WorkOut(t.Context(), id)
		require.NoError(t, err)
		require.Equal(t, Ready, r.State, r.Why)
	}
	return both, watch
}

func TestAWholeStoreHasNothingToTell(t *testing.T) {
	s := opened(t, t.TempDir())
	twoRides(t, s)
	lines, out := check(t, s, CheckOptions{ReadData: true})
	require.Empty(t, lines)
	require.Equal(t, 2, out.Rides)
	require.Equal(t, 2, out.Files)
	require.Equal(t, 1, out.Plans)
	require.Zero(t, out.Damaged)
	require.Positive(t, out.Bytes)
}

// flip changes one bit of a file.
func flip(t *testing.T, name string, at int64, bit uint) {
	t.Helper()
	require.NoError(t, os.Chmod(name, 0o600))
	f, err := os.OpenFile(name, os.O_RDWR, 0)
	require.NoError(t, err)
	defer f.Close()
	var b [1]byte
	_, err = f.ReadAt(b[:], at)
	require.NoError(t, err)
	b[0] ^= 1 << bit
	_, err = f.WriteAt(b[:], at)
	require.NoError(t, err)
}

// Each of 200 flipped bits, anywhere in the recordings, is noticed, and the ride named; turned back, nothing is.
func TestEveryFlippedBitIsNoticed(t *testing.T) {
	s := opened(t, t.TempDir())
	id := keepDemo(t, s)
	r, err := s.Ride(t.Context(), id)
	require.NoError(t, err)
	random := rand.New(rand.NewPCG(1, 2))
	noticed := 0
	for range 200 {
		f := r.Files[random.IntN(len(r.Files))]
		at, bit := random.Int64N(f.Bytes), uint(random.IntN(8))
		flip(t, s.path(f.SHA256), at, bit)
		lines, out := check(t, s, CheckOptions{ReadData: true})
		if len(lines) == 1 && strings.HasPrefix(lines[0], "ride 1: "+f.Name+": not the bytes that were kept: this recording is damaged") && out.Damaged == 1 {
			noticed++
		}
		flip(t, s.path(f.SHA256), at, bit)
	}
	require.Equal(t, 200, noticed)
	lines, _ := check(t, s, CheckOptions{ReadData: true})
	require.Empty(t, lines)
}

// A damaged recording is told where it is read, and giving it again mends every ride that has it.
func TestADamagedRecordingIsGivenAgain(t *testing.T) {
	s := opened(t, t.TempDir())
	both, watch := keepDemo(t, s), keepDemo2(t, s)
	r, err := s.Ride(t.Context(), watch)
	require.NoError(t, err)
	file := s.path(r.Files[0].SHA256)
	flip(t, file, 1000, 3)
	for _, id := range []int64{both, watch} {
		r, err := s.WorkOut(t.Context(), id)
		require.NoError(t, err)
		require.Equal(t, Refused, r.State)
		require.Contains(t, r.Why, "ride.gpx: this recording is damaged (not the bytes that were kept): give it again")
	}
	// A new ride that has the same file is not kept with the bad copy.
	next, already, err := s.Keep(t.Context(), []*Received{receive(t, s, "ride.gpx", demoFile(t, "ride.gpx")), receive(t, s, "x.csv", []byte("x"))}, About{})
	require.NoError(t, err)
	require.False(t, already)
	lines, _ := check(t, s, CheckOptions{ReadData: true})
	require.Empty(t, lines)
	for _, id := range []int64{both, watch} {
		r, err := s.WorkOut(t.Context(), id)
		require.NoError(t, err)
		require.Equal(t, Ready, r.State, r.Why)
	}
	require.NotEqual(t, watch, next)
}

func TestCheckNamesEveryDamage(t *testing.T) {
	s := opened(t, t.TempDir())
	both, watch := twoRides(t, s)
	r, err := s.Ride(t.Context(), both)
	require.NoError(t, err)
	require.NoError(t, os.Truncate(s.path(r.Files[1].SHA256), 10))
	orphan := strings.Repeat("ab", 32)
	require.NoError(t, os.MkdirAll(filepath.Dir(s.path(orphan)), 0o700))
	require.NoError(t, os.WriteFile(s.path(orphan), []byte("x"), 0o600))
	require.NoError(t, os.WriteFile(s.workedFile(watch), []byte("x"), 0o600))
	require.NoError(t, os.Remove(s.slipFile(watch)))
	require.NoError(t, s.in(t.Context(), func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "UPDATE course_version SET plan = CAST(plan AS TEXT) || '# more'; UPDATE told SET record = x'00' WHERE ride_id = 2")
		return err
	}))
	lines, out := check(t, s, CheckOptions{})
	require.Equal(t, []string{
		"ride 1: motion.csv: 10 bytes, expected " + fmt.Sprint(r.Files[1].Bytes) + ": this recording is damaged, give it again",
		"file abababababab: of no ride",
		"course version 1: its plan is not the one that was kept",
		"ride 2: what it told is damaged",
		"worked/2: can't be read, and is made again when it is asked for",
		"about: 2 of 2 rides are described in the database alone, or were changed there since",
	}, lines)
	require.Equal(t, 3, out.Damaged)

	lines, out = check(t, s, CheckOptions{Repair: true})
	require.Equal(t, 1, out.Damaged, "the recording")
	require.Contains(t, lines, "course version 1: its plan is not the one that was kept; it can be read, and is taken as it is now")
	require.Contains(t, lines, "ride 2: what it told is damaged; it is worked out again")
	lines, _ = check(t, s, CheckOptions{})
	require.Len(t, lines, 2, "the recording, and the file that is not what its name says: %q", lines)
}

// A store whose database is lost is made again of its files: with all that was said of the rides where it is written beside,
// and else of the recordings alone.
func TestRebuild(t *testing.T) {
	for name, lose := range map[string]func(file string) error{
		"missing": os.Remove,
		"emptied": func(file string) error { return os.Truncate(file, 0) },
		"garbage": func(file string) error { return os.WriteFile(file, []byte(strings.Repeat("garbage", 1000)), 0o600) },
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			s, err := Open(t.Context(), dir, Options{})
			require.NoError(t, err)
			both, watch := twoRides(t, s)
			r, err := s.Ride(t.Context(), both)
			require.NoError(t, err)
			of := r.About()
			of.Label, of.Note = "first round", "windy"
			require.NoError(t, s.SetAbout(t.Context(), both, of))
			want, err := s.Ride(t.Context(), both)
			require.NoError(t, err)
			require.NoError(t, os.Remove(s.slipFile(watch)))
			require.NoError(t, s.Close())
			require.NoError(t, lose(filepath.Join(dir, databaseName)))
			_, err = Open(t.Context(), dir, Options{})
			require.ErrorContains(t, err, "kept check --repair")

			var lines []string
			require.NoError(t, Rebuild(t.Context(), dir, Options{}, func(f Finding) { lines = append(lines, f.String()) }))
			require.Contains(t, lines, "ride 1: found again; ride 1")
			s = opened(t, dir)
			got, err := s.WorkOut(t.Context(), both)
			require.NoError(t, err)
			require.Equal(t, Ready, got.State, got.Why)
			require.Equal(t, want.Files, got.Files)
			require.Equal(t, []string{want.Horse, want.Course, want.Label, want.Note}, []string{got.Horse, got.Course, got.Label, got.Note})
			require.Equal(t, want.Jumps, got.Jumps)
			require.Equal(t, want.KeptAt, got.KeptAt)
			_, out := check(t, s, CheckOptions{ReadData: true})
			require.Zero(t, out.Damaged)
			err = Rebuild(t.Context(), dir, Options{}, func(Finding) {})
			require.ErrorContains(t, err, "its database is whole")
		})
	}
}

// What was said of a ride that is removed is nowhere in the store.
func TestRemovedIsGone(t *testing.T) {
	dir := t.TempDir()
	s := opened(t, dir)
	id := keepDemo(t, s)
	r, err := s.Ride(t.Context(), id)
	require.NoError(t, err)
	of := r.About()
	of.Note = "between you and me, xyzzy"
	require.NoError(t, s.SetAbout(t.Context(), id, of))
	require.NoError(t, s.RemoveRide(t.Context(), id))
	require.NoError(t, filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			data, err := os.ReadFile(path)
			require.NoError(t, err)
			require.NotContains(t, string(data), "xyzzy", path)
		}
		return err
	}))
}
