package rides

import (
	"context"
	"groundline/report"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// What takes long is made once for all who ask, and they are asked to wait.
func TestFetchedOnce(t *testing.T) {
	var a anew
	made, release := 0, make(chan struct{})
	get := func(context.Context, int64) (*report.Debrief, error) {
		made++
		<-release
		return &report.Debrief{}, nil
	}
	for range 3 {
		d, err := a.fetch(t.Context(), 1, time.Millisecond, get)
		require.NoError(t, err)
		require.Nil(t, d)
	}
	gone, leave := context.WithCancel(t.Context())
	leave()
	_, err := a.fetch(gone, 1, time.Minute, get)
	require.ErrorIs(t, err, context.Canceled)
	close(release)
	require.Eventually(t, func() bool {
		d, err := a.fetch(t.Context(), 1, time.Minute, get)
		return d != nil && err == nil
	}, time.Minute, time.Millisecond)
	require.LessOrEqual(t, made, 2)
	require.Empty(t, a.of)
}
