//go:build unix

package read

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"syscall"
	"testing"

	"github.com/muktihari/fit/proto"
)

// readAgain opens the input again and again, and reports the speed by processor time too, which
// other work on the machine does not change.
func readAgain(b *testing.B, in []Input) {
	b.SetBytes(int64(len(in[0].Data)))
	b.ReportAllocs()
	began := processorS()
	for b.Loop() {
		if _, err := OpenBytes(context.Background(), in, Options{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(in[0].Data))*float64(b.N)/1e6/(processorS()-began), "cpu-MB/s")
}

func processorS() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Sec+u.Stime.Sec) + float64(u.Utime.Usec+u.Stime.Usec)*1e-6
}

// An hour of six axes at 200 Hz: 720,000 rows, about 50 MB.
func BenchmarkMotionCSV(b *testing.B) {
	var text bytes.Buffer
	text.WriteString("time_s,ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s\n")
	for i := range 720_000 {
		w := 6 * math.Sin(float64(i)*0.05)
		fmt.Fprintf(&text, "%.4f,%.4f,%.4f,%.4f,%.5f,%.5f,%.5f\n", float64(i)/200, 5.29+w, 6.45-w, 5.77+w, -0.017+w, -0.009, 0.026)
	}
	in := []Input{{Name: "motion.csv", Data: text.Bytes()}}
	readAgain(b, in)
}

// The same with dates, semicolons and decimal commas.
func BenchmarkMotionCSVWithDates(b *testing.B) {
	var text bytes.Buffer
	text.WriteString("Time;Acceleration x (m/s^2);Acceleration y (m/s^2);Acceleration z (m/s^2)\n")
	for i := range 360_000 {
		w := 6 * math.Sin(float64(i)*0.05)
		row := fmt.Sprintf(";%.4f;%.4f;%.4f\n", 5.29+w, 6.45-w, 5.77+w)
		fmt.Fprintf(&text, "2026-05-02T15:%02d:%02d.%03dZ", i/6000, i/100%60, i%100*10)
		text.WriteString(strings.ReplaceAll(row, ".", ","))
	}
	in := []Input{{Name: "motion.csv", Data: text.Bytes()}}
	readAgain(b, in)
}

// 36,000 points with extensions: an hour at 10 Hz, 12 MB.
func BenchmarkGPX(b *testing.B) {
	text := longGPX(36_000)
	in := []Input{{Name: "ride.gpx", Data: text}}
	readAgain(b, in)
}

func longGPX(n int) []byte {
	var b bytes.Buffer
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="field recorder" xmlns="http://www.topografix.com/GPX/1/1"><trk><name>ride</name><trkseg>
`)
	for i := range n {
		fmt.Fprintf(&b, `  <trkpt lat="%.7f" lon="%.7f">
    <ele>%.1f</ele>
    <time>2026-04-04T%02d:%02d:%02d.%d00Z</time>
    <extensions>
      <gpxtpx:TrackPointExtension>
        <gpxtpx:speed>%.2f</gpxtpx:speed>
        <gpxtpx:hr>%d</gpxtpx:hr>
      </gpxtpx:TrackPointExtension>
    </extensions>
  </trkpt>
`, 51.4+float64(i)*1e-6, -2.3+float64(i)*1e-6, 12.3, 15+i/36000, i/600%60, i/10%60, i%10, 5.5, 120)
	}
	b.WriteString("</trkseg></trk></gpx>\n")
	return b.Bytes()
}

// dayFile is a day of six axes at 200 Hz, 17.28 million rows of 70 bytes, made as it is read.
type dayFile struct {
	rows    int64
	pattern []string
}

const (
	dayHead = "time_s,ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s            \n"
	dayRow  = "%09.3f,%+08.4f,%+08.4f,%+08.4f,%+09.5f,%+09.5f,%+09.5f   \n"
)

func (d dayFile) size() int64 { return (d.rows + 1) * int64(len(dayHead)) }

func (d dayFile) ReadAt(p []byte, off int64) (int, error) {
	n := 0
	for n < len(p) && off < d.size() {
		i := off / int64(len(dayHead))
		line := []byte(dayHead)
		if i > 0 {
			copy(line, d.pattern[i%int64(len(d.pattern))])
			for k, ms := 8, (i-1)*5; k >= 0; k-- { // the time, nine figures
				if k == 5 {
					continue
				}
				line[k] = byte('0' + ms%10)
				ms /= 10
			}
		}
		c := copy(p[n:], line[off%int64(len(dayHead)):])
		n, off = n+c, off+int64(c)
	}
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}

// BenchmarkDay reports the most memory that the process ever held, read with -benchtime 1x.
func BenchmarkDay(b *testing.B) {
	day := dayFile{rows: 17_280_000}
	for i := range 977 {
		w := float64(i)
		day.pattern = append(day.pattern, fmt.Sprintf(dayRow, 0.0, w/200, 9.8-w/500, w/700, w/300, w/400, -w/500))
	}
	b.SetBytes(day.size())
	calls := 0
	for b.Loop() {
		rec, _, err := readAll(context.Background(), 1, Options{Progress: func(string, int64, int64) { calls++ }}, func(int) (string, io.ReaderAt, int64, func(), *Fault) {
			return "day.csv", day, day.size(), func() {}, nil
		})
		if err != nil || len(rec.Motion.TimeS) != int(day.rows) {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(calls)/float64(b.N), "progress/op")
	status, _ := os.ReadFile("/proc/self/status")
	for line := range strings.Lines(string(status)) {
		var kb float64
		if n, _ := fmt.Sscanf(line, "VmHWM: %f kB", &kb); n == 1 {
			b.ReportMetric(kb/1024, "MB-resident")
		}
	}
}

// 100,000 records of a FIT file: a day at 1 Hz.
func BenchmarkFIT(b *testing.B) {
	var messages []proto.Message
	for i := range 100_000 {
		messages = append(messages, fitRecord(i))
	}
	readAgain(b, []Input{{Name: "a.fit", Data: fitFile(b, messages...)}})
}

func BenchmarkTCX(b *testing.B) {
	point := tcxText[strings.Index(tcxText, "<Trackpoint>"):strings.Index(tcxText, "</Trackpoint>")]
	var text strings.Builder
	text.WriteString(tcxText[:strings.Index(tcxText, "<Trackpoint>")])
	for i := range 36_000 {
		text.WriteString(strings.Replace(point, "T09:12:00.000", fmt.Sprintf("T%02d:%02d:%02d.000", 9+i/3600, i/60%60, i%60), 1) + "</Trackpoint>\n")
	}
	text.WriteString("</Track></Lap></Activity></Activities></TrainingCenterDatabase>")
	readAgain(b, []Input{{Name: "a.tcx", Data: []byte(text.String())}})
}
