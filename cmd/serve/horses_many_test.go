//go:build unix

package serve

import (
	"bytes"
	"compress/gzip"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/cmd/serve/shell"
	"groundline/report/keep"
	"groundline/report/record"
	"groundline/trace"
)

// The list of horses with ten thousand rides, and a horse with five hundred of them, each as a server that has just started shows it.
func TestHorsesOfManyRides(t *testing.T) {
	if testing.Short() {
		t.Skip("ten thousand rides take some seconds to write")
	}
	store := opened(t)
	worked(t, store)
	keptDemo(t, store, "Birch", "ride.gpx", "motion.csv")
	multiply(t, store, 10_000)
	horses, err := store.Horses(t.Context())
	require.NoError(t, err)
	require.Len(t, horses, 60)
	most := horses[0]
	for _, h := range horses {
		if h.Rides > most.Rides {
			most = h
		}
	}
	require.GreaterOrEqual(t, most.Rides, 500)
	for _, c := range []struct {
		name, address string
		fresh         bool // the server has just started
		limit         time.Duration
	}{
		{"list, first seen", "/horses", true, 100 * time.Millisecond},
		{"list", "/horses", false, 100 * time.Millisecond},
		{"horse of many rides, first seen", shell.HorseAddress(most.ID), true, 600 * time.Millisecond},
		{"horse of many rides", shell.HorseAddress(most.ID), false, 100 * time.Millisecond},
	} {
		h := New(Options{Store: store})
		best := time.Hour
		for range 5 {
			if c.fresh {
				h = New(Options{Store: store})
			}
			w := httptest.NewRecorder()
			from := processorTime(t)
			h.ServeHTTP(w, httptest.NewRequest("GET", c.address, nil))
			best = min(best, processorTime(t)-from)
			require.Equal(t, http.StatusOK, w.Code)
			require.NotContains(t, w.Body.String(), "NaN")
			if c.fresh && c.address == "/horses" {
				require.Contains(t, w.Body.String(), "on its page", "the rest is not waited for")
			}
		}
		t.Logf("%s: %v", c.name, best.Round(time.Millisecond))
		require.Less(t, best, c.limit, c.name)
	}
}

// multiply makes so many rides of one that is worked out, written to the database directly: of 60 horses, one of them with five hundred
// rides, on days of their own, each with its own figures.
func multiply(t *testing.T, store *keep.Store, n int) {
	t.Helper()
	for i := range 59 {
		_, err := store.NameHorse(t.Context(), fmt.Sprintf("Horse %02d", i))
		require.NoError(t, err)
	}
	db, err := sql.Open("sqlite", "file:"+filepath.Join(store.Dir(), "groundline.db")+"?_pragma=busy_timeout(5000)")
	require.NoError(t, err)
	defer db.Close()
	columns := func(table string, without ...string) string {
		rows, err := db.Query("SELECT name FROM pragma_table_info(?)", table)
		require.NoError(t, err)
		defer rows.Close()
		var out []string
		for rows.Next() {
			var c string
			require.NoError(t, rows.Scan(&c))
			if !strings.Contains(strings.Join(without, " "), c) {
				out = append(out, c)
			}
		}
		require.NoError(t, rows.Err())
		return strings.Join(out, ", ")
	}
	var packed []byte
	require.NoError(t, db.QueryRow("SELECT record FROM told WHERE ride_id = 1").Scan(&packed))
	z, err := gzip.NewReader(bytes.NewReader(packed))
	require.NoError(t, err)
	text, err := io.ReadAll(z)
	require.NoError(t, err)
	var one record.Ride
	require.NoError(t, json.Unmarshal(text, &one))
	dice := rand.New(rand.NewPCG(4, 4))
	rest := columns("ride", "id", "files", "kept_ms", "at_ms", "horse_id")
	tx, err := db.Begin()
	require.NoError(t, err)
	for i := 2; i <= n; i++ {
		horse := 1 + dice.IntN(60)
		if i <= 500 {
			horse = 1
		}
		at := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(i) * 5 * time.Hour)
		r := one
		r.At = &at
		r.Lines = append([]record.Line{}, one.Lines...)
		for k := range r.Lines {
			l := &r.Lines[k]
			for _, e := range []**trace.Estimate{&l.StrideLengthM, &l.SpeedMS, &l.StrideS} {
				if *e != nil {
					by := 1 + 0.03*dice.NormFloat64()
					*e = &trace.Estimate{Value: (*e).Value * by, Low: (*e).Low * by, High: (*e).High * by}
				}
			}
		}
		data, err := json.Marshal(r)
		require.NoError(t, err)
		var out bytes.Buffer
		zip, _ := gzip.NewWriterLevel(&out, gzip.BestSpeed)
		_, err = zip.Write(data)
		require.NoError(t, err)
		require.NoError(t, zip.Close())
		_, err = tx.Exec("INSERT INTO ride (id, files, kept_ms, at_ms, horse_id, "+rest+") SELECT ?, ?, ?, ?, ?, "+rest+" FROM ride WHERE id = 1",
			i, fmt.Sprintf("%064x", i), at.UnixMilli(), at.UnixMilli(), horse)
		require.NoError(t, err)
		_, err = tx.Exec("INSERT INTO told (ride_id, horse, debrief, record) SELECT ?, horse, x'', ? FROM told WHERE ride_id = 1", i, out.Bytes())
		require.NoError(t, err)
	}
	require.NoError(t, tx.Commit())
}
