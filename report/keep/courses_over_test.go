package keep

import (
	"errors"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
)

// Who began with a version that is no longer the last keeps nothing over it, unless both say the same.
func TestSavingOverAnotherVersionIsRefused(t *testing.T) {
	s, err := Open(t.Context(), filepath.Join(t.TempDir(), "store"), Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	plan := func(x float64) *course.Plan {
		p := &course.Plan{Name: "Field", Route: []string{"1"}, Obstacles: []course.Obstacle{{ID: "1", Kind: course.Vertical, At: course.Point{X: x, Y: 5}, WidthM: 3.5}}}
		p.SetLines(nil)
		return p
	}
	hash := func(id int64) string {
		all, err := s.Versions(t.Context(), id)
		require.NoError(t, err)
		return all[0].SHA256
	}
	first, err := s.SaveCourse(t.Context(), 0, plan(1))
	require.NoError(t, err)
	base := hash(first.ID)
	_, err = s.SaveCourseOver(t.Context(), first.ID, base, plan(2))
	require.NoError(t, err)
	_, err = s.SaveCourseOver(t.Context(), first.ID, base, plan(3))
	var changed *ChangedError
	require.True(t, errors.As(err, &changed), "%v", err)
	require.Equal(t, first.ID, changed.Now.ID)
	now, _, err := s.Plan(t.Context(), changed.Now.VersionID)
	require.NoError(t, err)
	require.Equal(t, 2.0, now.Obstacles[0].At.X)
	// The same plan again is no conflict, whatever it began with.
	_, err = s.SaveCourseOver(t.Context(), first.ID, base, plan(2))
	require.NoError(t, err)
	_, err = s.SaveCourseOver(t.Context(), first.ID, hash(first.ID), plan(3))
	require.NoError(t, err)
}
