package detect

import (
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/trace/synth"
)

// Events on another clock are those of motion on that clock, in every field that is a time and in no other.
func TestEarlierIsWhatShiftedMotionShows(t *testing.T) {
	m := aMotion(t, aRound(t, synth.Warmblood(), 7), saddle(100), 7)
	ev := events(t, m)
	const byS = 37.25
	shifted := *m
	shifted.TimeS = timesEarlier(m.TimeS, byS)
	want, got := events(t, &shifted), ev.Earlier(byS)
	sameEvents(t, want, got, 1e-6, same)
	require.InDeltaSlice(t, want.YawTimeS, got.YawTimeS, 1e-6)
	require.InDeltaSlice(t, want.YawRadS, got.YawRadS, 1e-6)
	require.InDelta(t, want.StrideS.Value, got.StrideS.Value, 1e-6)
	require.Len(t, got.Rejected, len(want.Rejected))
	for i := range got.Rejected {
		require.InDelta(t, want.Rejected[i].AtS, got.Rejected[i].AtS, 1e-6)
	}
	for i := 1; i < len(got.Jumps); i++ {
		n, beats := want.CountBetween(want.Jumps[i-1].LandPeakS, want.Jumps[i].PushPeakS)
		n2, beats2 := got.CountBetween(got.Jumps[i-1].LandPeakS, got.Jumps[i].PushPeakS)
		require.InDelta(t, n.Value, n2.Value, 1e-9)
		require.InDelta(t, n.High, n2.High, 1e-9)
		require.InDeltaSlice(t, beats, beats2, 1e-6)
	}
	require.NotEmpty(t, got.Jumps)
	sameEvents(t, events(t, m), ev, 0, same) // and the events given stay
}
