package course

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func shipped(t *testing.T, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "testdata", "plans", name))
	require.NoError(t, err)
	return data
}

// The course that is shipped as an example: what a person would measure on it, by hand.
func TestExampleCourse(t *testing.T) {
	p, w, err := Read("field.yaml", shipped(t, "field.yaml"))
	require.NoError(t, err)
	require.Empty(t, w)
	f := p.Figures(Profiles()[0], TimeRuleSets()[0])
	require.Empty(t, f.Warnings)
	require.Equal(t, 6, f.Obstacles)
	require.InDelta(t, 41.1-22-0.15-0.45, f.Lines[0].MapM, 1e-9)
	require.Equal(t, 4, f.Lines[0].Strides[0].Whole)
	require.Equal(t, Bending, f.Lines[1].Kind)
	require.InDelta(t, math.Hypot(70-41.1, 18-12)-0.45-0.15, f.Lines[1].MapM, 1e-9)
	require.InDelta(t, -35, f.Lines[1].TurnedDeg, 1e-6)
	require.Equal(t, Combination, f.Lines[4].Kind)
	require.Equal(t, 1, f.Lines[4].Strides[0].Whole)
	require.InDelta(t, -0.02, *f.Lines[4].Grade, 1e-9, "1.8 m on 90 m, ridden downhill")
	require.Equal(t, math.Ceil(f.LengthM*60/325), *f.TimeAllowedS)

	m, w, err := Read("field.geojson", shipped(t, "field.geojson"))
	require.NoError(t, err)
	require.Empty(t, w)
	m.Anchor = p.Anchor
	requireSamePlan(t, p, m, 2e-3)

	h, err := ReadHorse("horse.yaml", shipped(t, "horse.yaml"))
	require.NoError(t, err)
	require.Equal(t, 4, p.Walk(h).Lines[0].Whole)
}

// A file with a fault of nearly every kind, and all that is said of it.
func TestExampleOfFaults(t *testing.T) {
	_, _, err := ReadPlan("faulty.yaml", shipped(t, "faulty.yaml"))
	require.EqualError(t, err, string(shipped(t, "faulty.txt")[:len(shipped(t, "faulty.txt"))-1]))
}
