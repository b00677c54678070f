package smooth_test

import (
	"math/rand"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/trace/smooth"
)

// An hour of a 10-Hz receiver.
func BenchmarkSmoothHour10Hz(b *testing.B) {
	p := record(rand.New(rand.NewSource(41)), oval(5), 36000, 10, 0.12, 0.6, 60)
	b.ReportAllocs()
	for b.Loop() {
		_, err := smooth.Smooth(p, field, smooth.Options{})
		require.NoError(b, err)
	}
}
