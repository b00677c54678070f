package keep

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// dead leaves what a process that was killed leaves in incoming, with notes of the files that it was placing.
func dead(t *testing.T, dir string, placing ...string) {
	t.Helper()
	desk := filepath.Join(dir, incomingName, "DEAD")
	require.NoError(t, os.MkdirAll(desk, 0o700))
	require.NoError(t, os.WriteFile(desk+lockEnding, nil, 0o600))
	for _, sum := range placing {
		require.NoError(t, os.WriteFile(filepath.Join(desk, sum), nil, 0o600))
	}
}

// A store whose database is gone does not begin anew over the recordings, whose only list it was.
func TestRecordingsWithoutTheirDatabase(t *testing.T) {
	for name, lose := range map[string]func(file string) error{
		"missing": os.Remove,
		"emptied": func(file string) error { return os.Truncate(file, 0) },
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			s, err := Open(t.Context(), dir, Options{})
			require.NoError(t, err)
			r := receive(t, s, "a.csv", []byte("a"))
			_, _, err = s.Keep(t.Context(), []*Received{r}, About{})
			require.NoError(t, err)
			require.NoError(t, s.Close())
			dead(t, dir)
			file := filepath.Join(dir, databaseName)
			kept, err := os.ReadFile(file)
			require.NoError(t, err)
			require.NoError(t, lose(file))

			_, err = Open(t.Context(), dir, Options{})
			var foreign *ForeignError
			require.ErrorAs(t, err, &foreign)
			require.ErrorContains(t, err, "put this file back from a copy")
			require.FileExists(t, s.path(r.SHA256))

			require.NoError(t, os.WriteFile(file, kept, 0o600))
			rides, _, _, err := opened(t, dir).Rides(t.Context(), Filter{})
			require.NoError(t, err)
			require.Len(t, rides, 1)
		})
	}
}

// A database that was put back from an older copy does not know the newest rides. Their files stay, for who puts back a newer
// copy; only what a killed process was placing when it died is cleared away.
func TestAnOlderDatabasePutBack(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, databaseName)
	keepOne := func(content string) string {
		s, err := Open(t.Context(), dir, Options{})
		require.NoError(t, err)
		r := receive(t, s, "a.csv", []byte(content))
		_, _, err = s.Keep(t.Context(), []*Received{r}, About{})
		require.NoError(t, err)
		require.NoError(t, s.Close())
		return s.path(r.SHA256)
	}
	older := keepOne("older")
	copied, err := os.ReadFile(file)
	require.NoError(t, err)
	newer, placing := keepOne("newer"), keepOne("being placed")
	require.NoError(t, os.WriteFile(file, copied, 0o600))
	dead(t, dir, filepath.Base(placing), filepath.Base(older))

	s := opened(t, dir)
	require.FileExists(t, older)
	require.FileExists(t, newer)
	require.NoFileExists(t, placing)
	entries, err := os.ReadDir(s.desk.folder())
	require.NoError(t, err)
	require.Empty(t, entries, "notes taken over and done with")
}

// A process that takes over another's notes and is killed too leaves them to the next.
func TestNotesGoOn(t *testing.T) {
	dir := t.TempDir()
	s := opened(t, dir)
	sum := "00" + filesKey([]*Received{{SHA256: "x"}})[2:]
	dead(t, dir, sum)
	gone, placing, err := s.desk.sweep()
	require.NoError(t, err)
	require.Equal(t, []string{"DEAD"}, gone)
	require.Equal(t, []string{sum}, placing)
	require.FileExists(t, s.desk.note(sum))
}

func TestAFolderThatIsNone(t *testing.T) {
	file := filepath.Join(t.TempDir(), "ride.gpx")
	require.NoError(t, os.WriteFile(file, []byte("x"), 0o600))
	_, err := Open(t.Context(), file, Options{})
	require.EqualError(t, err, file+": not a folder, expected one to keep rides in")
}

// Another program's database gets no folders beside it.
func TestAnothersFolderStaysAsItWas(t *testing.T) {
	dir := t.TempDir()
	db, err := sql.Open("sqlite", fileURI(filepath.Join(dir, databaseName)))
	require.NoError(t, err)
	_, err = db.Exec("CREATE TABLE notes (x)")
	require.NoError(t, err)
	require.NoError(t, db.Close())
	_, err = Open(t.Context(), dir, Options{})
	require.ErrorContains(t, err, "a database of another program")
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, entries, 1)
}

func TestNotAllowed(t *testing.T) {
	s := Store{dir: "stable"}
	for _, errno := range []error{syscall.EACCES, syscall.EPERM, syscall.EROFS} {
		err := s.explain(&fs.PathError{Op: "open", Path: "stable/x", Err: errno})
		var barred *NotAllowedError
		require.ErrorAs(t, err, &barred)
		require.ErrorContains(t, err, "stable: can't be written to (open stable/x: ")
		require.ErrorContains(t, err, "expected a folder of your own")
		require.Equal(t, err, s.explain(err), "explained once")
	}
	require.NotErrorAs(t, s.explain(errors.New("else")), new(*NotAllowedError))
}

func TestExportInNoFolder(t *testing.T) {
	err := opened(t, t.TempDir()).Export(t.Context(), filepath.Join(t.TempDir(), "none", "everything"))
	var invalid *InvalidError
	require.ErrorAs(t, err, &invalid)
	require.Equal(t, "a new folder in one that is there", invalid.Expected)
}

// What stops all work is logged once, and not at each look.
func TestStoppedWorkIsLoggedOnce(t *testing.T) {
	var log bytes.Buffer
	s, err := Open(t.Context(), t.TempDir(), Options{Log: slog.New(slog.NewTextHandler(&log, nil))})
	require.NoError(t, err)
	defer s.Close()
	_, err = s.write.Exec("ALTER TABLE ride RENAME TO gone")
	require.NoError(t, err)
	ctx, stop := context.WithTimeout(t.Context(), 2*lookEach+lookEach/2)
	defer stop()
	s.workOn(ctx)
	require.Equal(t, 1, strings.Count(log.String(), "no ride can be taken"), log.String())
}

// A kept file whose content is another by now is put back when its recording is given again.
func TestDamagedFileIsPutBack(t *testing.T) {
	s := opened(t, t.TempDir())
	id := keepDemo(t, s)
	r, err := s.Ride(t.Context(), id)
	require.NoError(t, err)
	file := s.path(r.Files[0].SHA256)
	whole, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, make([]byte, len(whole)), 0o600))
	var bad *DamagedError
	require.ErrorAs(t, s.Export(t.Context(), filepath.Join(t.TempDir(), "out")), &bad)

	again, already, err := s.Keep(t.Context(), []*Received{
		receive(t, s, "motion.csv", demoFile(t, "motion.csv")), receive(t, s, "ride.gpx", demoFile(t, "ride.gpx")),
	}, About{})
	require.NoError(t, err)
	require.True(t, already)
	require.Equal(t, id, again)
	now, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, whole, now)
	require.NoError(t, s.Export(t.Context(), filepath.Join(t.TempDir(), "out")))
}

// Folders that somebody clears away under an open store come back when they are needed.
func TestFoldersClearedAway(t *testing.T) {
	s := opened(t, t.TempDir())
	require.NoError(t, os.Remove(filepath.Join(s.dir, filesName)))
	require.NoError(t, os.Remove(filepath.Join(s.dir, workedName)))
	id := keepDemo(t, s)
	r, err := s.WorkOut(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, Ready, r.State)
	require.NoError(t, os.RemoveAll(filepath.Join(s.dir, workedName)))
	_, err = s.Debrief(t.Context(), id)
	require.NoError(t, err)
	require.FileExists(t, s.workedFile(id))
}
