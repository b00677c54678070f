package keep

import (
	"bytes"
	"crypto/sha256"
	"database/sql"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// old writes a store's database of an earlier layout, as that program left it.
func old(t *testing.T, dir string, layout int, more ...string) string {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("testdata/layout-%d.sql", layout))
	require.NoError(t, err)
	file := filepath.Join(dir, databaseName)
	db, err := sql.Open("sqlite", fileURI(file))
	require.NoError(t, err)
	defer db.Close()
	for _, q := range append([]string{string(text), "PRAGMA journal_mode = WAL"}, more...) {
		_, err = db.Exec(q)
		require.NoError(t, err)
	}
	for _, content := range []string{"a", "b", "c"} {
		data := fmt.Appendf(nil, "recording %s\n", content)
		sum := fmt.Sprintf("%x", sha256.Sum256(data))
		require.NoError(t, os.MkdirAll(filepath.Join(dir, filesName, sum[:2]), 0o700))
		require.NoError(t, os.WriteFile(filepath.Join(dir, filesName, sum[:2], sum), data, 0o600))
	}
	return file
}

// A store of the first layout is brought to this one, with all that is in it.
func TestFromLayout1(t *testing.T) {
	dir := t.TempDir()
	old(t, dir, 1)
	s := opened(t, dir)
	var version int
	require.NoError(t, s.read.QueryRow("PRAGMA user_version").Scan(&version))
	require.Equal(t, layout, version)
	var steps []string
	require.NoError(t, each(t.Context(), s.read, "SELECT version || ' by ' || program FROM migration ORDER BY version", func(r row) error {
		var line string
		err := r.Scan(&line)
		steps = append(steps, line)
		return err
	}))
	require.Equal(t, []string{"1 by groundline of layout 1", "2 by groundline test"}, steps)

	rides, _, total, err := s.Rides(t.Context(), Filter{})
	require.NoError(t, err)
	require.Equal(t, 4, total)
	var told []string
	for _, r := range rides {
		told = append(told, fmt.Sprint(r.ID, " ", r.State, " ", r.Horse, " ", r.Course, " ", len(r.Files)))
	}
	require.Equal(t, []string{"6 working   1", "5 refused   1", "2 ready Élan Old field 1", "1 ready Bramble Old field 2"}, told)
	lines, err := s.RiddenLines(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, []RiddenLine{{From: "1", To: "2", Kind: "related", Rides: 2, Attempts: 3, Horses: 2}}, lines)
	list, total, err := s.Attempts(t.Context(), 1, "1", "2", AttemptFilter{HorseIDs: []int64{3}})
	require.NoError(t, err)
	require.Equal(t, 2, total)
	require.Equal(t, int64(2), list[0].RideID)
	plan, _, err := s.Plan(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, "Old field", plan.Name)
	passcode, err := s.Setting(t.Context(), "passcode")
	require.NoError(t, err)
	require.Equal(t, "a hash", passcode)
	checkFiles(t, s)

	// It is the same as a store that was new with this layout.
	fresh := opened(t, t.TempDir())
	require.Equal(t, schemaOf(t, fresh), schemaOf(t, s))
	// And is used as one: the ride in hand is taken over once its lease has ended.
	_, err = s.WorkOut(t.Context(), 6)
	require.NoError(t, err)
	require.NoError(t, s.Export(t.Context(), filepath.Join(t.TempDir(), "out")))
}

// schemaOf is the layout by table and column, whatever way it came about.
func schemaOf(t *testing.T, s *Store) []string {
	t.Helper()
	var out []string
	require.NoError(t, each(t.Context(), s.read, `SELECT m.name || ': ' || group_concat(c.name || ' ' || c.type || ' ' || c."notnull" || ' ' || c.pk, ', ')
		FROM sqlite_schema m, pragma_table_info(m.name) c WHERE m.type = 'table' GROUP BY m.name
		UNION ALL SELECT name || ' ' || coalesce(sql, '') FROM sqlite_schema WHERE type = 'index' ORDER BY 1`, func(r row) error {
		var line string
		err := r.Scan(&line)
		out = append(out, line)
		return err
	}))
	return out
}

// A step that fails leaves the store as it was.
func TestFailedStepChangesNothing(t *testing.T) {
	dir := t.TempDir()
	file := old(t, dir, 1, "DROP INDEX ridden_by_line")
	_, err := Open(t.Context(), dir, Options{})
	require.ErrorContains(t, err, "layout 2 can't be made")
	db, err := sql.Open("sqlite", fileURI(file))
	require.NoError(t, err)
	defer db.Close()
	var version, columns int
	require.NoError(t, db.QueryRow("PRAGMA user_version").Scan(&version))
	require.Equal(t, 1, version)
	require.NoError(t, db.QueryRow("SELECT count(*) FROM pragma_table_info('ridden') WHERE name = 'horse_id'").Scan(&columns))
	require.Zero(t, columns)
}

// Two processes that open an old store at once bring it forward once.
func TestSteppedOnce(t *testing.T) {
	dir := t.TempDir()
	old(t, dir, 1)
	done := make(chan error, 6)
	for range cap(done) {
		go func() {
			s, err := Open(t.Context(), dir, Options{})
			if err == nil {
				err = s.Close()
			}
			done <- err
		}()
	}
	for range cap(done) {
		require.NoError(t, <-done)
	}
	s := opened(t, dir)
	var n int
	require.NoError(t, s.read.QueryRow("SELECT count(*) FROM migration").Scan(&n))
	require.Equal(t, layout, n)
}

// A newer program brings the store to its layout while this one has it open: this one writes nothing more.
func TestNewerMeanwhile(t *testing.T) {
	s := opened(t, t.TempDir())
	r := receive(t, s, "a", []byte("a"))
	require.NoError(t, write(filepath.Join(s.dir, databaseName), fmt.Sprintf("PRAGMA user_version = %d", layout+1)))
	_, _, err := s.Keep(t.Context(), []*Received{r}, About{})
	var newer *NewerError
	require.ErrorAs(t, err, &newer)
	_, err = s.NameHorse(t.Context(), "A")
	require.ErrorAs(t, err, &newer)
	checkFiles(t, s)
}

// A store of a newer program, another program's database, and what is none are told and not touched.
func TestWhatIsNoStoreOfOurs(t *testing.T) {
	for name, c := range map[string]struct {
		make func(file string) error
		want any
		says string
	}{
		"newer": {func(file string) error {
			return write(file, "CREATE TABLE later (x)", fmt.Sprintf("PRAGMA application_id = %d", applicationID), fmt.Sprintf("PRAGMA user_version = %d", layout+1), "PRAGMA journal_mode = WAL")
		}, new(*NewerError), fmt.Sprintf("layout %d, expected at most %d: a newer groundline made it", layout+1, layout)},
		"another's": {func(file string) error { return write(file, "CREATE TABLE notes (x)", "INSERT INTO notes VALUES (1)") }, new(*ForeignError), "a database of another program"},
		"another's with a mark": {func(file string) error {
			return write(file, "CREATE TABLE notes (x)", "PRAGMA application_id = 77", "PRAGMA user_version = 1")
		}, new(*ForeignError), "a database of another program"},
		"no database": {func(file string) error { return os.WriteFile(file, bytes.Repeat([]byte("<gpx>"), 1000), 0o600) }, new(*ForeignError), "no database or a damaged one"},
		"short":       {func(file string) error { return os.WriteFile(file, []byte("SQLite format 3\x00"), 0o600) }, new(*ForeignError), "no database or a damaged one"},
		"a folder":    {func(file string) error { return os.Mkdir(file, 0o700) }, new(*ForeignError), "not a plain file"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			file := filepath.Join(dir, databaseName)
			require.NoError(t, c.make(file))
			before, _ := os.ReadFile(file)
			_, err := Open(t.Context(), dir, Options{})
			require.ErrorAs(t, err, c.want)
			require.ErrorContains(t, err, c.says)
			require.ErrorContains(t, err, "nothing was changed")
			after, _ := os.ReadFile(file)
			require.True(t, bytes.Equal(before, after), "it was changed")
		})
	}
}

func write(file string, queries ...string) error {
	db, err := sql.Open("sqlite", fileURI(file))
	if err != nil {
		return err
	}
	defer db.Close()
	for _, q := range queries {
		if _, err := db.Exec(q); err != nil {
			return err
		}
	}
	return nil
}

// A database that the disk has spoilt is told as that when it is met, and the program goes on.
func TestSpoiltDatabase(t *testing.T) {
	dir := t.TempDir()
	s := seededIn(t, dir, 200, 500)
	require.NoError(t, s.Close())
	file := filepath.Join(dir, databaseName)
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	for i := 4096; i < len(data); i++ {
		if i%4096 < 64 && i > 40*4096 { // the heads of pages
			data[i] = 0xa5
		}
	}
	require.NoError(t, os.WriteFile(file, data, 0o600))
	s, err = Open(t.Context(), dir, Options{})
	if err == nil {
		defer s.Close()
		for _, list := range lists(s) {
			if _, e := list(t.Context()); e != nil {
				err = e
			}
		}
	}
	var foreign *ForeignError
	require.ErrorAs(t, err, &foreign)
	require.ErrorContains(t, err, "damaged")
}

// Nobody but the owner may look into a store, whatever folder it is in.
func TestModes(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a b?c#d%41", "störe")
	s := opened(t, dir)
	id := keepDemo(t, s)
	_, err := s.WorkOut(t.Context(), id)
	require.NoError(t, err)
	receive(t, s, "x.csv", []byte("x"))
	files := 0
	require.NoError(t, filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		require.NoError(t, err)
		info, err := e.Info()
		require.NoError(t, err)
		if e.IsDir() {
			require.Equal(t, folderMode, info.Mode().Perm(), path)
		} else {
			files++
			require.Equal(t, fileMode, info.Mode().Perm(), path)
		}
		return nil
	}))
	require.GreaterOrEqual(t, files, 8, "database, log, index, two files, worked out, lock, received")
	outside, err := os.ReadDir(filepath.Dir(filepath.Dir(dir)))
	require.NoError(t, err)
	require.Len(t, outside, 1)
	require.NoError(t, s.Close())
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		require.False(t, strings.HasSuffix(e.Name(), "-wal"), "closed, the database is one file")
	}
}

// Several open a new store at the same moment: one makes it, none takes what is half seen for something else.
func TestOpenedAtOnce(t *testing.T) {
	for range 25 {
		dir := t.TempDir()
		var all sync.WaitGroup
		stores, errs := make([]*Store, 4), make([]error, 4)
		for i := range stores {
			all.Go(func() { stores[i], errs[i] = Open(t.Context(), dir, Options{Program: "groundline test"}) })
		}
		all.Wait()
		for i, s := range stores {
			require.NoError(t, errs[i])
			require.NoError(t, s.Close())
		}
	}
}
