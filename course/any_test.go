package course

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestRecordingsAreNoPlans(t *testing.T) {
	for _, data := range []string{"<?xml version=\"1.0\"?><gpx/>", "\uFEFF <gpx>", "PK\x03\x04rest", "\x1f\x8b\x08", "\x0e\x20\x98\x08\x00\x00\x00\x00.FIT\x00\x00"} {
		_, _, err := Read("ride.gpx", []byte(data))
		var f Faults
		require.ErrorAs(t, err, &f)
		require.Len(t, f, 1)
		require.Equal(t, "a course plan, as YAML or GeoJSON", f[0].Expected)
		require.Equal(t, 1, f[0].Line)
	}
}
