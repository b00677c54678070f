package keep

import (
	"bytes"
	"fmt"
	"testing"

	"groundline/report/table"
)

// How long it takes to keep a ride of two files so that it is on disk, the demo's 0.4 MB.
func BenchmarkKeep(b *testing.B) {
	s := opened(b, b.TempDir())
	gpx, motion := demoFile(b, "ride.gpx"), demoFile(b, "motion.csv")
	b.SetBytes(int64(len(gpx) + len(motion)))
	for i := 0; b.Loop(); i++ {
		own := append(bytes.Clone(motion), fmt.Sprintf("# %d\n", i)...)
		if _, _, err := s.Keep(b.Context(), []*Received{receive(b, s, "ride.gpx", gpx), receive(b, s, "motion.csv", own)}, About{}); err != nil {
			b.Fatal(err)
		}
	}
}

// How long it takes to look at a ride that is worked out.
func BenchmarkDebrief(b *testing.B) {
	s := opened(b, b.TempDir())
	id := keepDemo(b, s)
	if _, err := s.WorkOut(b.Context(), id); err != nil {
		b.Fatal(err)
	}
	b.Run("whole", func(b *testing.B) {
		for b.Loop() {
			if _, err := s.Debrief(b.Context(), id); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("json", func(b *testing.B) {
		for b.Loop() {
			if _, err := s.DebriefJSON(b.Context(), id); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("strides", func(b *testing.B) {
		for b.Loop() {
			if err := s.Strides(b.Context(), nil, table.Settings{}, func(*table.Result) error { return nil }); err != nil {
				b.Fatal(err)
			}
		}
	})
}
