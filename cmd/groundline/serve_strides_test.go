package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What the page and the interface give of strides has the bytes that the command writes over what the store exports: the
// table in each format, with and without places, its provenance, its summary and the dictionary, of all rides and of some.
func TestServedStridesAreTheCommands(t *testing.T) {
	if testing.Short() {
		t.Skip("several rides are worked out twice: left out with -short")
	}
	t.Chdir(exampleFolder(t))
	page := startPage(t)
	do := func(args ...string) string {
		t.Helper()
		var out, errOut bytes.Buffer
		code := run(t.Context(), args, streams{out: &out, err: &errOut})
		require.Equal(t, exitDone, code, "%s\n%s", strings.Join(args, " "), errOut.String())
		return out.String()
	}
	keep := func(name string, fields map[string]string, files ...string) {
		t.Helper()
		content := map[string][]byte{}
		for _, f := range files {
			data, err := os.ReadFile(f)
			require.NoError(t, err)
			content[filepath.Base(f)] = data
		}
		kind, body := sent(t, content, fields)
		answer, text := page.ask(t, "POST", "/api/1/rides", kind, body)
		require.Equal(t, 201, answer.StatusCode, "%s\n%s", name, text)
	}
	plan, err := os.ReadFile("course.yaml")
	require.NoError(t, err)
	answer, text := page.ask(t, "POST", "/api/1/courses", "application/yaml", bytes.NewReader(plan))
	require.Equal(t, 201, answer.StatusCode, text)
	keep("whole", map[string]string{"course_id": "1", "horse": "Birch", "label": `first, "wet"`}, "ride.gpx", "motion.csv")
	keep("motion", map[string]string{"course_id": "1", "horse": "Rowan <b>"}, "motion.csv")
	keep("places", nil, "ride.gpx")
	require.NoError(t, os.WriteFile("empty.csv", []byte("no,recording\n"), 0o666))
	keep("nothing", map[string]string{"label": "nothing"}, "empty.csv")
	motion, err := os.ReadFile("motion.csv") // one whose columns only its owner can tell
	require.NoError(t, err)
	_, numbers, _ := strings.Cut(string(motion), "\n")
	require.NoError(t, os.WriteFile("bare.csv", []byte("a,b,c,d,e,f,g\n"+numbers), 0o666))
	keep("bare", map[string]string{"course_id": "1", "horse": "Rowan <b>", "columns": "t=a,ax=b,ay=c,az=d,gx=e,gy=f,gz=g"}, "bare.csv")

	served := func(what string, v url.Values) string {
		t.Helper()
		v.Set("unready", "wait")
		answer, text := page.get(t, what+"?"+v.Encode())
		require.Equal(t, 200, answer.StatusCode, "%s\n%s", what, text)
		return text
	}
	same := func(want, have, what string) {
		t.Helper()
		require.True(t, want == have, "%s: %d bytes by the command, %d served\n%.2000s\n---\n%.2000s", what, len(want), len(have), want, have)
	}
	served("/api/1/strides", url.Values{}) // all are worked out before they are exported
	do("kept", "export", "out", "--store", page.store)
	t.Chdir("out")
	all, err := os.ReadFile("rides.csv")
	require.NoError(t, err)
	rows, err := csv.NewReader(bytes.NewReader(all)).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 6)
	idAt := -1
	for i, name := range rows[0] {
		if name == "id" {
			idAt = i
		}
	}
	require.GreaterOrEqual(t, idAt, 0)

	for _, of := range []string{"", "1,3-3,5"} {
		// The manifest of these rides alone.
		const manifest = "some.csv"
		f, err := os.Create(manifest)
		require.NoError(t, err)
		w := csv.NewWriter(f)
		require.NoError(t, w.Write(rows[0]))
		for _, row := range rows[1:] {
			if of == "" || row[idAt] == "1" || row[idAt] == "3" || row[idAt] == "5" {
				require.NoError(t, w.Write(row))
			}
		}
		w.Flush()
		require.NoError(t, w.Error())
		require.NoError(t, f.Close())
		query := func(more ...string) url.Values {
			v := url.Values{}
			if of != "" {
				v.Set("rides", of)
			}
			for i := 0; i < len(more); i += 2 {
				v.Set(more[i], more[i+1])
			}
			return v
		}
		failed := of == "" // one of them, and that is told
		for _, without := range []string{"false", "true"} {
			for _, format := range []string{"csv", "jsonl", "parquet"} {
				args := []string{"strides", "--manifest", manifest, "-o", "../table." + format, "--restart"}
				if without == "true" {
					args = append(args, "--without-places")
				}
				if failed {
					run(t.Context(), args, streams{out: io.Discard, err: io.Discard})
				} else {
					do(args...)
				}
				want, err := os.ReadFile("../table." + format)
				require.NoError(t, err)
				what := fmt.Sprintf("%q %s without places %s", of, format, without)
				same(string(want), served("/api/1/strides", query("format", format, "without_places", without)), what)
				same(string(want), served("/strides/table", query("format", format, "without_places", without)), what+" by the page")
				if format == "csv" {
					want, err := os.ReadFile("../table.csv.provenance.json")
					require.NoError(t, err)
					same(string(want), served("/api/1/strides/provenance", query("without_places", without)), what+" provenance")
				}
			}
		}
		for _, format := range []string{"json", "csv"} {
			var out bytes.Buffer
			run(t.Context(), []string{"strides", "--manifest", manifest, "--summary=" + format}, streams{out: &out, err: io.Discard})
			require.NotEmpty(t, out.String())
			same(out.String(), served("/api/1/strides/summary", query("format", format)), of+" summary "+format)
			if format == "csv" {
				same(out.String(), served("/strides/summary.csv", query()), of+" summary by the page")
			}
		}
	}
	same(do("strides", "--dictionary", "-"), served("/api/1/strides/columns", url.Values{"format": {"csv"}}), "dictionary")
	same(do("strides", "--dictionary", "-"), served("/strides/columns.csv", url.Values{}), "dictionary by the page")
}
