package detect

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"groundline/trace/read"
)

// markerGaits are the gaits of a session of the real horse (Vienna Horse Data Collection, optical markers).
func markerGaits(t testing.TB, session string) []named {
	b, err := os.ReadFile(filepath.Join("../../shared/data/horse-markers/derived", session+".truth.json"))
	require.NoError(t, err)
	var truth struct {
		Gaits []struct {
			Gait   string
			T0, T1 float64
		}
	}
	require.NoError(t, json.Unmarshal(b, &truth))
	var out []named
	for _, g := range truth.Gaits {
		out = append(out, named{g.Gait, g.T0, g.T1})
	}
	return out
}

// TestARealHorseWalksAndTrots: one horse's trunk by optical markers, at three places of it, walks and trots, and neither canters
// nor jumps.
func TestARealHorseWalksAndTrots(t *testing.T) {
	files, err := filepath.Glob("../../shared/data/horse-markers/derived/*.csv")
	require.NoError(t, err)
	if len(files) == 0 {
		t.Skip("the real horse's markers are not here")
	}
	for _, f := range files {
		name := filepath.Base(f)
		session, _, _ := strings.Cut(name, "-")
		rec, err := read.Open(context.Background(), []string{f}, read.Options{})
		require.NoError(t, err)
		ev, err := FromMotion(rec.Motion, Options{})
		require.NoError(t, err)
		require.Empty(t, ev.Jumps, name)
		require.Empty(t, ev.BeatS, name)
		right, all := 0.0, 0.0
		for _, want := range markerGaits(t, session) {
			all += want.To - want.From
			for _, g := range ev.Gaits {
				if g.Gait.String() == want.Name {
					right += math.Max(0, math.Min(g.ToS, want.To)-math.Max(g.FromS, want.From))
				}
				require.NotEqual(t, Canter, g.Gait, name)
			}
		}
		t.Logf("%s: %.3f of the time right", name, right/all)
		require.Greater(t, right/all, 0.95, name)
	}
}
