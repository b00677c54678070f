package serve

import (
	"context"
	"database/sql"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/cmd/serve/guard"
	"groundline/course"
	"groundline/report/keep"
)

// opened is a store in a folder of its own, where rides wait until worked works them out.
func opened(t *testing.T) *keep.Store {
	t.Helper()
	store, err := keep.Open(t.Context(), filepath.Join(t.TempDir(), "store"), keep.Options{Program: "groundline test", Log: logOf(t)})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, store.Close()) })
	return store
}

// worked works out a store's rides while the test runs.
func worked(t *testing.T, store *keep.Store) {
	ctx, stop := context.WithCancel(t.Context())
	var working sync.WaitGroup
	working.Go(func() {
		if err := store.Work(ctx, 1); err != nil && ctx.Err() == nil {
			t.Errorf("the work ended: %v", err)
		}
	})
	t.Cleanup(func() {
		stop()
		working.Wait()
	})
}

// unworked has a site where rides wait.
func unworked(t *testing.T, opt *Options) { opt.Store = opened(t) }

// logOf has what the program complains of told with the test.
func logOf(t *testing.T) *slog.Logger {
	return slog.New(slog.NewTextHandler(testLog{t}, &slog.HandlerOptions{Level: slog.LevelWarn}))
}

type testLog struct{ t *testing.T }

func (l testLog) Write(b []byte) (int, error) {
	l.t.Logf("%s", strings.TrimSpace(string(b)))
	return len(b), nil
}

// site is a server behind its guard over a new store, which seed fills before it starts (withDemo is one such). seed may
// also change the options.
func site(t *testing.T, seed ...func(*testing.T, *Options)) *httptest.Server {
	t.Helper()
	store := opened(t)
	worked(t, store)
	opt := Options{Store: store, Program: "groundline test", Demo: demoFiles(t), Log: logOf(t)}
	for _, s := range seed {
		s(t, &opt)
	}
	if opt.MaxUploadBytes == 0 {
		opt.MaxUploadBytes = DefaultMaxUploadBytes
	}
	door, err := guard.New(guard.Options{Open: OpenToAll, Uploading: BringsFiles, Weight: Weight, MaxUpload: opt.MaxUploadBytes + 1<<20, Log: opt.Log})
	require.NoError(t, err)
	require.NoError(t, door.SetPasscode(""))
	server := httptest.NewUnstartedServer(nil)
	server.Config = door.Server(New(opt))
	server.Start()
	t.Cleanup(server.Close)
	return server
}

// demoFiles are the files of the round that the command ships.
func demoFiles(t *testing.T) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	for _, name := range []string{"ride.gpx", "motion.csv", "course.yaml"} {
		data, err := os.ReadFile(filepath.Join("..", "groundline", "demo", name))
		require.NoError(t, err)
		files[name] = data
	}
	return files
}

// withDemo keeps the demo round, ridden by the horse Birch over the demo's course, and waits until it is worked out.
func withDemo(t *testing.T, opt *Options) { keptDemo(t, opt.Store, "Birch", "ride.gpx", "motion.csv") }

// keptDemo keeps files of the demo as a ride over the demo's course, and gives its number when it is worked out.
func keptDemo(t *testing.T, store *keep.Store, horse string, names ...string) int64 {
	t.Helper()
	ctx := t.Context()
	files := demoFiles(t)
	about := keep.About{CourseVersionID: keptCourse(t, store).VersionID}
	var err error
	if horse != "" {
		about.HorseID, err = store.NameHorse(ctx, horse)
		require.NoError(t, err)
	}
	var received []*keep.Received
	for _, name := range names {
		r, err := store.Receive(ctx, name, strings.NewReader(string(files[name])), 1<<30)
		require.NoError(t, err)
		received = append(received, r)
	}
	id, _, err := store.Keep(ctx, received, about)
	require.NoError(t, err)
	_, err = store.Wait(ctx, id)
	require.NoError(t, err)
	return id
}

// withMany keeps ten thousand rides of a hundred horses over the demo's course: the demo's, written again and again to
// the database.
func withMany(t *testing.T, opt *Options) {
	t.Helper()
	id := keptDemo(t, opt.Store, "Horse 1", "ride.gpx", "motion.csv")
	for i := 2; i <= 100; i++ {
		_, err := opt.Store.NameHorse(t.Context(), fmt.Sprintf("Horse %d", i))
		require.NoError(t, err)
	}
	db, err := sql.Open("sqlite", filepath.Join(opt.Store.Dir(), "groundline.db"))
	require.NoError(t, err)
	defer db.Close()
	// Whatever columns a table has are copied, but for those that tell one ride from another.
	again := func(table, key string, others map[string]string) {
		rows, err := db.Query("SELECT name FROM pragma_table_info(?)", table)
		require.NoError(t, err)
		defer rows.Close()
		var names, values []string
		for rows.Next() {
			var name string
			require.NoError(t, rows.Scan(&name))
			value := name
			if other, ok := others[name]; ok {
				value = other
			}
			names, values = append(names, name), append(values, value)
		}
		_, err = db.Exec(fmt.Sprintf("WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 9999) INSERT INTO %s (%s) SELECT %s FROM %s, n WHERE %s = %d",
			table, strings.Join(names, ", "), strings.Join(values, ", "), table, key, id))
		require.NoError(t, err, table)
	}
	again("ride", "id", map[string]string{"id": fmt.Sprintf("%d + i", id), "files": "files || i", "at_ms": "at_ms - i * 7200000", "start_ms": "start_ms - i * 7200000", "horse_id": "1 + i % 100"})
	for _, table := range []string{"file", "told", "ridden"} {
		again(table, "ride_id", map[string]string{"ride_id": fmt.Sprintf("%d + i", id)})
	}
}

// keptCourse is the demo's course, kept.
func keptCourse(t *testing.T, store *keep.Store) keep.Course {
	t.Helper()
	plan, _, err := course.ReadPlan("course.yaml", demoFiles(t)["course.yaml"])
	require.NoError(t, err)
	courses, err := store.Courses(t.Context())
	require.NoError(t, err)
	for _, c := range courses {
		if c.Name == plan.Name {
			return c
		}
	}
	kept, err := store.SaveCourse(t.Context(), 0, plan)
	require.NoError(t, err)
	return kept
}

// got is the answer to a GET, as text, with its status.
func got(t *testing.T, url string) (int, string) {
	t.Helper()
	r, err := http.Get(url)
	require.NoError(t, err)
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	return r.StatusCode, string(b)
}
