//go:build unix

package read_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"groundline/trace/dsp"
	"groundline/trace/read"
)

// BenchmarkHour is an hour of six axes at 200 Hz (720,000 rows, 41 MB, jittered times) from the file to
// filtered channels: read, laid on an even 100-Hz grid, and low-passed at 20 Hz forward and backward, all six.
// The same steps by pandas and SciPy are in DEVELOPERS.md; GROUNDLINE_HOUR names a file to use, made where
// there is none, so that both run over one.
func BenchmarkHour(b *testing.B) {
	file := os.Getenv("GROUNDLINE_HOUR")
	if file == "" {
		file = filepath.Join(b.TempDir(), "hour.csv")
	}
	if _, err := os.Stat(file); err != nil {
		writeHour(b, file)
	}
	low, err := dsp.Lowpass(4, 20, 100)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	began := processorS()
	for b.Loop() {
		rec, err := read.Open(context.Background(), []string{file}, read.Options{})
		if err != nil {
			b.Fatal(err)
		}
		m := rec.Motion
		for _, p := range dsp.Pieces(m.TimeS, 100, 0.25) {
			for _, y := range low.ZeroPhaseAll(p.SampleAll(m.TimeS, m.AX, m.AY, m.AZ, m.GX, m.GY, m.GZ)...) {
				if len(y) != p.N {
					b.Fatal("samples were lost")
				}
			}
		}
	}
	b.ReportMetric((processorS()-began)/float64(b.N)*1e3, "cpu-ms/op")
}

func processorS() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Sec+u.Stime.Sec) + float64(u.Utime.Usec+u.Stime.Usec)*1e-6
}

func writeHour(b *testing.B, file string) {
	f, err := os.Create(file)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	text := []byte("time_s,ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s\n")
	for i := range 720_000 {
		w := 6 * math.Sin(float64(i)*0.05)
		jitter := 0.0008 * math.Sin(float64(i)*12.9898)
		text = fmt.Appendf(text, "%.4f,%.4f,%.4f,%.4f,%.5f,%.5f,%.5f\n", float64(i)/200+jitter, 5.29+w, 6.45-w, 5.77+w, -0.017+w/9, -0.009, 0.026)
	}
	if _, err := f.Write(text); err != nil {
		b.Fatal(err)
	}
}
