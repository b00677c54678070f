package build

import (
	"errors"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/trace/read"
)

// The motion of another day is not laid over a ride, and no figure comes out as no number.
func TestRecordingsOfOtherDaysAreNoRide(t *testing.T) {
	rec, err := read.Open(t.Context(), []string{demoRide + "/ride.gpx", demoRide + "/motion.csv"}, read.Options{})
	require.NoError(t, err)
	for _, byS := range []float64{-2 * 86400, 3 * 86400, 90 * 86400} {
		other := *rec
		m := *rec.Motion
		m.TimeS = slices.Clone(m.TimeS)
		for i := range m.TimeS {
			m.TimeS[i] += byS
		}
		other.Motion = &m
		_, err = Debrief(t.Context(), &other, nil, Options{})
		var why *NotTogetherError
		require.True(t, errors.As(err, &why), "%v", err)
		require.ErrorContains(t, err, "may not belong to the same ride")
	}
}

// Half round the Earth is 20,015 km (mean radius of the IUGG), a quarter half of that; near by a chord is its own length.
func TestGreatCircle(t *testing.T) {
	require.InDelta(t, 20_015_114, greatCircleM(2*6371008.8), 100)
	require.InDelta(t, 10_007_557, greatCircleM(6371008.8*1.4142135623730951), 100)
	require.InDelta(t, 1000, greatCircleM(1000), 1e-3)
}
