package main

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// swollen is what packs to little: a text of so many pieces, as gzip.
func swollen(t *testing.T, begin, piece, end string, megabytes int) []byte {
	t.Helper()
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestSpeed)
	require.NoError(t, err)
	_, err = io.WriteString(z, begin)
	require.NoError(t, err)
	block := []byte(strings.Repeat(piece, 1<<20/len(piece)))
	for range megabytes {
		_, err = z.Write(block)
		require.NoError(t, err)
	}
	_, err = io.WriteString(z, end)
	require.NoError(t, err)
	require.NoError(t, z.Close())
	return b.Bytes()
}

// counting is a motion recording of so many samples at 200 Hz, which no limit of the reader refuses.
func counting(t *testing.T, samples int) []byte {
	t.Helper()
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestSpeed)
	require.NoError(t, err)
	_, err = io.WriteString(z, "time_s,ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s\n")
	require.NoError(t, err)
	var block []byte
	for i := range samples {
		block = fmt.Appendf(block, "%d.%03d,0.1,0.2,9.8,0.01,0.02,0.03\n", i/200, i%200*5)
		if len(block) > 1<<20 || i == samples-1 {
			_, err = z.Write(block)
			require.NoError(t, err)
			block = block[:0]
		}
	}
	require.NoError(t, z.Close())
	return b.Bytes()
}

// Under a limit of 1 GiB for it and for each process that it starts, no recording ends the server, and what is too large
// ends only its own ride, also when its page is asked for again and again.
func TestNoRecordingEndsTheServer(t *testing.T) {
	if testing.Short() || runtime.GOOS != "linux" {
		t.Skip("some tens of seconds, with limits as Linux has them")
	}
	store := filepath.Join(t.TempDir(), "store")
	c := &child{Cmd: exec.Command("sh", "-c", `ulimit -v 1048576 && exec groundline serve --listen 127.0.0.1:0 --open-here --store "$0"`, store), said: &heard{}}
	c.Stderr = c.said
	require.NoError(t, c.Start())
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	require.Eventually(t, func() bool {
		m := pageAt.FindStringSubmatch(c.said.String())
		if m != nil {
			c.url = m[1]
		}
		return m != nil
	}, 30*time.Second, 5*time.Millisecond, c.said)

	client := &http.Client{Timeout: time.Minute}
	const gpx = `<gpx><trk><trkseg><trkpt lat="51" lon="2"><time>2026-06-03T09:12:00Z</time></trkpt></trkseg></trk><metadata>`
	began := time.Now()
	for name, data := range map[string][]byte{
		"cdata.gpx.gz":     swollen(t, gpx+"<![CDATA[", "<", "", 600),
		"comment.gpx.gz":   swollen(t, gpx+"<!--", "<", "", 600),
		"attribute.gpx.gz": swollen(t, gpx+`<a b="`, ">", "", 600),
		"waypoints.gpx.gz": swollen(t, "<gpx>", `<wpt lat="51" lon="2"><time>2026-06-03T09:12:00Z</time><name>abcdefghijklmnopqrstuvwxyz</name></wpt>`, "", 600),
		"laps.tcx.gz":      swollen(t, "<TrainingCenterDatabase>", `<Lap StartTime="2026-06-03T09:12:00Z"/>`, "", 600),
		"rows.csv.gz":      swollen(t, "time_s,ax,ay,az\n", "0,0,0,9.8\n", "", 400),
		"long.csv.gz":      counting(t, 8_000_000),
	} {
		kind, body := sent(t, map[string][]byte{name: data}, nil)
		k, status, err := upload(client, c.url, kind, body.Bytes())
		require.NoError(t, err, name)
		require.Equal(t, http.StatusCreated, status, name)
		var ride struct {
			State string
			Why   []string
		}
		require.Eventually(t, func() bool {
			answer, err := client.Get(fmt.Sprintf("%s/api/1/rides/%d", c.url, k.ID))
			if err != nil {
				return false
			}
			defer answer.Body.Close()
			return json.NewDecoder(answer.Body).Decode(&ride) == nil && (ride.State == "refused" || ride.State == "ready")
		}, 2*time.Minute, 50*time.Millisecond, name)
		for range 3 {
			answer, err := client.Get(fmt.Sprintf("%s/rides/%d", c.url, k.ID))
			require.NoError(t, err, name)
			answer.Body.Close()
		}
		_, most := residentMB(c.Process.Pid)
		t.Logf("%-17s %6d kB: %s after %.1f s, the server at most %.0f MB: %.120s", name, len(data)>>10, ride.State, time.Since(began).Seconds(), most, ride.Why)
		require.Equal(t, "refused", ride.State, name)
		require.Less(t, most, 300.0)
	}
	// And it still does what it is for.
	kind, body := sent(t, dayOf(t, 1), nil)
	k, _, err := upload(client, c.url, kind, body.Bytes())
	require.NoError(t, err)
	require.Eventually(t, func() bool {
		answer, err := client.Get(fmt.Sprintf("%s/api/1/rides/%d/debrief", c.url, k.ID))
		if err != nil {
			return false
		}
		answer.Body.Close()
		return answer.StatusCode == http.StatusOK
	}, time.Minute, 50*time.Millisecond)
}
