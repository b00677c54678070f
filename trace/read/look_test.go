//go:build unix

package read

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// What a file is comes from its content, whatever it is called.
func TestLook(t *testing.T) {
	dir := t.TempDir()
	motion, places := []byte(rows(20, nil)), []byte("time,lat,lon,alt,speed (km/h)\n1780477920,51.4,-2.3,12,18\n1780477921,51.4,-2.3,12,18\n")
	for name, c := range map[string]struct {
		data []byte
		want Kind
	}{
		"watch.txt":    {watch(nineTwelve, 4, time.RFC3339).Data, Kind{Format: "GPX", Brings: Brings{Positions: true}}},
		"packed":       {gzipped(t, watch(nineTwelve, 4, time.RFC3339).Data), Kind{Format: "GPX", Brings: Brings{Positions: true}}},
		"lap.xml":      {[]byte(tcxText), Kind{Format: "TCX", Brings: Brings{Positions: true}}},
		"a.bin":        {fitRide(t), Kind{Format: "FIT", Brings: Brings{Positions: true}}},
		"motion.tsv":   {motion, Kind{Format: "CSV", Brings: Brings{Motion: true, Turns: true}}},
		"places.csv":   {places, Kind{Format: "CSV", Brings: Brings{Positions: true}}},
		"all.zip":      {zipped(t, map[string][]byte{"a.csv": motion, "b": places, "notes.txt": []byte("fine")}), Kind{Format: "CSV", Brings: Brings{true, true, true}}},
		"none.zip":     {zipped(t, map[string][]byte{"notes.txt": []byte("fine")}), Kind{Why: "a zip without a recording"}},
		"notes.csv":    {[]byte("a fine ride\n"), Kind{Why: "no rows of numbers"}},
		"truth.csv":    {[]byte(`{"a": 1}`), Kind{Why: "JSON"}},
		"way.gpx":      {[]byte("<kml/>"), Kind{Why: "XML <kml>"}},
		"empty.gpx":    {nil, Kind{Why: "an empty file"}},
		"picture.fit":  {[]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR"), Kind{Why: "binary data of no known kind"}},
		"noise.gpx.gz": {[]byte("\x1f\x8b\x08"), Kind{Why: "a damaged gzip"}},
	} {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, c.data, 0o600))
		got := Look(path, "")
		if c.want.Brings.Turns {
			got.Turns = true // rows may have a gyroscope or not
		}
		require.Equal(t, c.want, got, name)
	}
	require.Equal(t, Kind{Why: "a folder"}, Look(dir, ""))
	require.Equal(t, Kind{Why: "no such file"}, Look(filepath.Join(dir, "none"), ""))
	require.Equal(t, Kind{Format: "CSV", Brings: Brings{Motion: true}}, Look(filepath.Join(dir, "places.csv"), "t=#1,ax=#2,ay=#3,az=#4"))
}

// A named pipe, or a device, would be waited for without end.
func TestLookAtNoPlainFile(t *testing.T) {
	pipe := filepath.Join(t.TempDir(), "ride.gpx")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Skip("no named pipes here")
	}
	done := make(chan Kind, 1)
	go func() { done <- Look(pipe, "") }()
	select {
	case k := <-done:
		require.Equal(t, Kind{Why: "not a plain file"}, k)
	case <-time.After(10 * time.Second):
		t.Fatal("it waits for the pipe")
	}
}
