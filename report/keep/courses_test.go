package keep

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
)

func TestHorses(t *testing.T) {
	s := opened(t, t.TempDir())
	ctx := t.Context()
	id, err := s.NameHorse(ctx, " Bramble ")
	require.NoError(t, err)
	again, err := s.NameHorse(ctx, "BRAMBLE")
	require.NoError(t, err)
	require.Equal(t, id, again)
	elan, err := s.NameHorse(ctx, "élan")
	require.NoError(t, err)
	typed, err := s.NameHorse(ctx, "e\u0301lan") // the accent after its letter, as some phones type it
	require.NoError(t, err)
	require.Equal(t, elan, typed)
	require.NoError(t, s.SetHorse(ctx, Horse{ID: elan, Name: "Élan", Size: "large pony", Note: "grey"}))
	var invalid *InvalidError
	for _, bad := range []Horse{{ID: elan, Name: "bramble"}, {ID: elan, Name: " "}, {ID: elan, Name: "x", Size: "huge"}, {ID: elan, Name: strings.Repeat("é", 41)}, {ID: elan, Name: "a\nb"}, {ID: elan, Name: "\xff"}} {
		require.ErrorAs(t, s.SetHorse(ctx, bad), &invalid, bad.Name)
	}
	_, err = s.NameHorse(ctx, "")
	require.ErrorAs(t, err, &invalid)
	require.ErrorIs(t, s.SetHorse(ctx, Horse{ID: 99, Name: "nobody"}), ErrNotFound)
	_, err = s.Horse(ctx, 99)
	require.ErrorIs(t, err, ErrNotFound)
	for _, size := range course.Profiles() {
		require.NoError(t, s.SetHorse(ctx, Horse{ID: elan, Name: "Élan", Size: size.Name, Note: "grey"}))
	}
	ride := keepDemo(t, s)
	h, err := s.Horse(ctx, id)
	require.NoError(t, err)
	require.Equal(t, 1, h.Rides)
	require.Nil(t, h.Last, "when it was handed in is no date of a ride")
	working(t, s)
	done, err := s.Wait(ctx, ride)
	require.NoError(t, err)
	h, err = s.Horse(ctx, id)
	require.NoError(t, err)
	require.Equal(t, done.Start, h.Last)
	var used *InUseError
	require.ErrorAs(t, s.RemoveHorse(ctx, id), &used)
	require.Equal(t, "Bramble: 1 ride is of it, expected none: remove the ride or give it another", used.Error())
	require.NoError(t, s.RemoveHorse(ctx, elan))
	require.ErrorIs(t, s.RemoveHorse(ctx, elan), ErrNotFound)
	all, err := s.Horses(ctx)
	require.NoError(t, err)
	require.Len(t, all, 1)
}

// A plan that was ridden stays as it was; a plan that nobody rode is what it was last saved as.
func TestCourseVersions(t *testing.T) {
	s := opened(t, t.TempDir())
	ctx := t.Context()
	plan := demoPlan(t)
	a, err := s.SaveCourse(ctx, 0, plan)
	require.NoError(t, err)
	require.Equal(t, 1, a.Version)
	same, err := s.SaveCourse(ctx, a.ID, plan)
	require.NoError(t, err)
	require.Equal(t, a, same)
	plan.Obstacles[0].HeightM = 1
	b, err := s.SaveCourse(ctx, a.ID, plan)
	require.NoError(t, err)
	require.Equal(t, 1, b.Version, "nobody rode the first")
	ridden, _, err := s.Keep(ctx, []*Received{receive(t, s, "ride.gpx", demoFile(t, "ride.gpx"))}, About{CourseVersionID: b.VersionID})
	require.NoError(t, err)
	plan.Obstacles[0].HeightM = 1.1
	plan.Name = "Renamed"
	c, err := s.SaveCourse(ctx, a.ID, plan)
	require.NoError(t, err)
	require.Equal(t, 2, c.Version)
	require.Equal(t, "Renamed", c.Name)
	require.Equal(t, 1, c.Rides)
	was, _, err := s.Plan(ctx, b.VersionID)
	require.NoError(t, err)
	require.Equal(t, 1.0, was.Obstacles[0].HeightM)
	require.Equal(t, "Low field, an invented course", was.Name)
	r, err := s.Ride(ctx, ridden)
	require.NoError(t, err)
	require.Equal(t, 1, r.CourseVersion)
	require.Equal(t, "Low field, an invented course", r.Course)
	now, _, err := s.Plan(ctx, c.VersionID)
	require.NoError(t, err)
	require.Equal(t, plan, now, "what was saved is what is read")

	var used *InUseError
	require.ErrorAs(t, s.RemoveCourse(ctx, a.ID), &used)
	require.Equal(t, "Renamed: 1 ride is of it, expected none: put it away instead", used.Error())
	require.NoError(t, s.PutAway(ctx, a.ID, true))
	d, err := s.SaveCourse(ctx, 0, &course.Plan{Obstacles: plan.Obstacles[:2], Route: []string{"1", "2"}})
	require.NoError(t, err)
	require.Equal(t, "Course 2", d.Name)
	all, err := s.Courses(ctx)
	require.NoError(t, err)
	require.Equal(t, "Course 2", all[0].Name)
	require.True(t, all[1].PutAway)
	require.NoError(t, s.RemoveCourse(ctx, d.ID))
	_, err = s.Course(ctx, d.ID)
	require.ErrorIs(t, err, ErrNotFound)
	_, err = s.Versions(ctx, d.ID)
	require.ErrorIs(t, err, ErrNotFound)
	_, _, err = s.Plan(ctx, d.VersionID)
	require.ErrorIs(t, err, ErrNotFound)
	_, err = s.SaveCourse(ctx, d.ID, plan)
	require.ErrorIs(t, err, ErrNotFound)
	require.ErrorIs(t, s.PutAway(ctx, d.ID, true), ErrNotFound)
	_, err = s.SaveCourse(ctx, 0, &course.Plan{})
	require.Error(t, err)
}

// A plan's file belongs to the course that has it, or that is called the same.
func TestTakePlan(t *testing.T) {
	s := opened(t, t.TempDir())
	ctx := t.Context()
	plan := demoPlan(t)
	c, first, made, err := s.TakePlan(ctx, plan)
	require.NoError(t, err)
	require.True(t, made)
	_, _, err = s.Keep(ctx, []*Received{receive(t, s, "a", []byte("a"))}, About{CourseVersionID: first})
	require.NoError(t, err)
	plan.Obstacles[0].HeightM = 1
	plan.Name = strings.ToUpper(plan.Name)
	d, second, made, err := s.TakePlan(ctx, plan)
	require.NoError(t, err)
	require.True(t, made)
	require.Equal(t, c.ID, d.ID)
	require.Equal(t, 2, d.Version)
	_, again, made, err := s.TakePlan(ctx, demoPlan(t))
	require.NoError(t, err)
	require.False(t, made)
	require.Equal(t, first, again, "the version that it is, not the last")
	require.NotEqual(t, first, second)
	plan.Name = "Another"
	e, _, made, err := s.TakePlan(ctx, plan)
	require.NoError(t, err)
	require.True(t, made)
	require.NotEqual(t, c.ID, e.ID)
}

func TestSameName(t *testing.T) {
	require.True(t, SameName(" Ring Caf\u00e9", "ring cafe\u0301"))
	require.False(t, SameName("Ring 1", "Ring 2"))
}
