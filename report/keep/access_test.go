package keep

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestSettingsAndSessionsOutliveTheProcess(t *testing.T) {
	ctx, dir := context.Background(), t.TempDir()
	now := time.Date(2026, 5, 4, 10, 0, 0, 0, time.UTC)
	open := func() *Store {
		s, err := Open(ctx, dir, Options{Now: func() time.Time { return now }})
		require.NoError(t, err)
		return s
	}
	s := open()
	value, err := s.Setting(ctx, "passcode")
	require.NoError(t, err)
	require.Empty(t, value)
	require.NoError(t, s.SetSetting(ctx, "passcode", "a"))
	require.NoError(t, s.SetSetting(ctx, "passcode", "b"))
	a, b := [32]byte{1}, [32]byte{2}
	require.NoError(t, s.Sessions().Put(ctx, a, now.Add(time.Hour)))
	require.NoError(t, s.Sessions().Put(ctx, a, now.Add(2*time.Hour)))
	require.NoError(t, s.Sessions().Put(ctx, b, now.Add(time.Minute)))
	require.NoError(t, s.Close())

	s = open()
	defer s.Close()
	other := open() // another process's view
	defer other.Close()
	value, err = s.Setting(ctx, "passcode")
	require.NoError(t, err)
	require.Equal(t, "b", value)
	until := func(s *Store, hash [32]byte) time.Time {
		at, err := s.Sessions().Until(ctx, hash)
		require.NoError(t, err)
		return at
	}
	require.Equal(t, now.Add(2*time.Hour), until(s, a))
	require.Equal(t, now.Add(time.Minute), until(other, b))
	require.Zero(t, until(s, [32]byte{3}))

	now = now.Add(time.Minute)
	require.NoError(t, s.Sessions().Put(ctx, [32]byte{4}, now.Add(time.Hour)))
	require.Zero(t, until(s, b), "one that has ended stays in the way")
	require.NoError(t, s.Sessions().Drop(ctx, a))
	require.Zero(t, until(other, a))
	require.NoError(t, s.Sessions().DropAll(ctx))
	require.Zero(t, until(other, [32]byte{4}))
	require.NoError(t, s.SetSetting(ctx, "passcode", ""))
	value, err = other.Setting(ctx, "passcode")
	require.NoError(t, err)
	require.Empty(t, value)
}
