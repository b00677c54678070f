package read

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// heapPeak is the most memory that was in use while do ran, bytes, as seen after each of its calls of look.
func heapPeak(do func(look func())) uint64 {
	var most uint64
	look := func() {
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		most = max(most, m.HeapAlloc)
	}
	runtime.GC()
	do(look)
	look()
	return most
}

// overlaid is a zip whose directory names one member n times.
func overlaid(t testing.TB, n int, data []byte) []byte {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	f, err := w.Create("a.csv")
	require.NoError(t, err)
	_, err = f.Write(data)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	out := b.Bytes()
	end := len(out) - 22 // the end record without a comment (APPNOTE.TXT 4.3.16)
	at := binary.LittleEndian.Uint32(out[end+16:])
	entry, record := bytes.Clone(out[at:end]), bytes.Clone(out[end:])
	out = append(out[:at], bytes.Repeat(entry, n)...)
	binary.LittleEndian.PutUint16(record[8:], uint16(n))
	binary.LittleEndian.PutUint16(record[10:], uint16(n))
	binary.LittleEndian.PutUint32(record[12:], uint32(n*len(entry)))
	return append(out, record...)
}

// What is small on disk and huge unpacked is refused, or read, in bounded memory: a few times the sum that the limits allow.
func TestBombs(t *testing.T) {
	motion := []byte(rows(4_000, nil))
	tag := gpxFile(`<metadata>%s</metadata><trk><trkseg>` + point(51, 2, "<time>2026-06-03T09:12:00Z</time>") + point(51.0001, 2, "<time>2026-06-03T09:12:01Z</time>") + `</trkseg></trk>`)
	filled := func(begin, fill, end string) []byte {
		return gzipped(t, []byte(strings.Replace(tag, "%s", begin+strings.Repeat(fill, 60<<20/len(fill))+end, 1)))
	}
	many := map[string][]byte{}
	for i := range 150 {
		many[fmt.Sprint(i, ".csv")] = motion
	}
	for name, c := range map[string]struct {
		data  []byte
		fault string // "" where it is read
	}{
		"one member under 190 names": {overlaid(t, 190, motion), "lies over another file of the zip"},
		"a long directory":           {overlaid(t, 60_000, motion[:1000]), "its list of files is too long"},
		"many members":               {zipped(t, many), ""}, // until the rows are spent, then the rest is named
		"text of CDATA":              {filled("<![CDATA[", "<", "]]>"), ""},
		"a comment":                  {filled("<!--", "<", "-->"), ""},
		"text":                       {filled("", ">", ""), "a text or tag of more than"},
		"an attribute":               {filled("<a b=\"", ">", "\"/>"), "a text or tag of more than"},
		"laps":                       {gzipped(t, []byte("<TrainingCenterDatabase>"+strings.Repeat(`<Lap StartTime="2026-06-03T09:12:00Z"/>`, 1<<17))), "rows or points in all"},
	} {
		t.Run(name, func(t *testing.T) {
			opt := Options{Limits: Limits{Rows: 100_000}}
			var err error
			peak := heapPeak(func(look func()) {
				opt.Progress = func(string, int64, int64) { look() }
				_, err = OpenBytes(context.Background(), []Input{{Name: "a", Data: c.data}}, opt)
			})
			t.Logf("%d kB packed, peak %d MB", len(c.data)>>10, peak>>20)
			require.Less(t, peak, uint64(100<<20))
			if c.fault != "" {
				requireFault(t, err, c.fault)
			} else {
				require.NoError(t, err)
			}
		})
	}
}

// The limit of rows holds for all files of a ride together.
func TestRowsOfAllFilesTogether(t *testing.T) {
	a := Input{Name: "a.csv", Data: []byte(rows(100, nil))}
	_, err := OpenBytes(context.Background(), []Input{a, a}, Options{Limits: Limits{Rows: 150}})
	requireFault(t, err, "more than 150 rows")
	_, err = OpenBytes(context.Background(), []Input{a, a}, Options{Limits: Limits{Rows: 200}})
	require.NoError(t, err)
}
