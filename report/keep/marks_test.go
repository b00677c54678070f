package keep

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A horse's mark changes with what its rides tell, and only then.
func TestMarksChangeWithWhatIsTold(t *testing.T) {
	s := seeded(t, 300, 10)
	ctx := t.Context()
	marks := func() map[int64]string {
		m, err := s.Marks(ctx)
		require.NoError(t, err)
		return m
	}
	first := marks()
	require.Equal(t, first, marks())
	require.Greater(t, len(first), 80)
	ride, err := s.Ride(ctx, 7)
	require.NoError(t, err)

	// Another label changes nothing, another horse both.
	about := About{HorseID: ride.HorseID, CourseVersionID: ride.CourseVersionID, Label: "another"}
	require.NoError(t, s.SetAbout(ctx, 7, about))
	require.Equal(t, first, marks())
	other := ride.HorseID%120 + 1
	about.HorseID = other
	require.NoError(t, s.SetAbout(ctx, 7, about))
	now := marks()
	require.NotEqual(t, first[ride.HorseID], now[ride.HorseID])
	require.NotEqual(t, first[other], now[other])
	for id, m := range first {
		if id != ride.HorseID && id != other {
			require.Equal(t, m, now[id])
		}
	}
	// A ride removed.
	require.NoError(t, s.RemoveRide(ctx, 7))
	require.NotEqual(t, now[other], marks()[other])
}

func TestMarksOfManyRidesAreQuick(t *testing.T) {
	if testing.Short() {
		t.Skip("ten thousand rides take some seconds to write")
	}
	s := seeded(t, 10_000, 10)
	best := time.Hour
	for range 5 {
		from := spent()
		_, err := s.Marks(t.Context())
		require.NoError(t, err)
		best = min(best, spent()-from)
	}
	t.Logf("marks of 10,000 rides in %v of processor time", best)
	require.Less(t, best, 100*time.Millisecond)
}
