package detect

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func BenchmarkFromMotion(b *testing.B) {
	m := longRide(b, 120)
	b.ReportAllocs()
	for b.Loop() {
		_, err := FromMotion(m, Options{})
		require.NoError(b, err)
	}
}
