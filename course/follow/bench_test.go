package follow

import (
	"strings"
	"testing"
)

// BenchmarkLesson is half an hour of lines ridden again and again: some 130 jumps, by both devices.
func BenchmarkLesson(b *testing.B) {
	p := field(b)
	m := ride(b, p, strings.Repeat("3 4 3 4 1 2 1 2 5 6 1 2 3 4 5 6 ", 8), 17)
	in := Input{Plan: p, Path: moved(m.path, 2, -1), Jumps: m.jumps, HasMotion: true}
	for b.Loop() {
		r, err := Ride(in)
		if err != nil || len(r.Efforts) < 128 {
			b.Fatal(err, len(r.Efforts))
		}
	}
}

// BenchmarkWays is what every plan costs once before its first ride is followed.
func BenchmarkWays(b *testing.B) {
	p := field(b)
	for b.Loop() {
		WaysOf(p)
	}
}
