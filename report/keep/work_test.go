package keep

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/report"
)

// One process works at a time; the next takes over what it left in hand, and what it brings later is not taken.
func TestOneProcessWorks(t *testing.T) {
	dir := t.TempDir()
	a, b := opened(t, dir), opened(t, dir)
	id := keepDemo(t, a)
	leave, ok, err := a.enter(t.Context())
	require.NoError(t, err)
	require.True(t, ok)
	first, err := a.take(t.Context(), 0)
	require.NoError(t, err)
	require.Equal(t, id, first.ride.ID)
	_, ok, err = b.enter(t.Context())
	require.NoError(t, err)
	require.False(t, ok, "a works")
	leave2, ok, err := a.enter(t.Context())
	require.NoError(t, err)
	require.True(t, ok, "as many of one process as it likes")
	_, err = a.take(t.Context(), 0)
	require.ErrorIs(t, err, ErrNotFound, "it is in hand")
	leave()
	_, ok, err = b.enter(t.Context())
	require.NoError(t, err)
	require.False(t, ok, "a still works")
	leave2() // as the system does when a dies

	built, err := a.build(t.Context(), first.ride, first.edition, namesOf(first.ride))
	require.NoError(t, err)
	leave, ok, err = b.enter(t.Context())
	require.NoError(t, err)
	require.True(t, ok)
	defer leave()
	require.ErrorIs(t, a.store(t.Context(), first.ride, first.edition, built, Working), errOvertaken)
	require.ErrorIs(t, a.refuse(t.Context(), first, errors.New("no")), errOvertaken)
	a.putBack(first)
	second, err := b.take(t.Context(), 0)
	require.NoError(t, err)
	require.NoError(t, b.workOut(t.Context(), second))
	r, err := a.Ride(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, Ready, r.State)
	require.Equal(t, 2, r.Tries)
}

// dies takes a ride and leaves it in hand, as a process does that is killed.
func dies(t *testing.T, s *Store, id int64) {
	t.Helper()
	leave, ok, err := s.enter(t.Context())
	require.NoError(t, err)
	require.True(t, ok)
	j, err := s.take(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, id, j.ride.ID)
	leave()
}

// A ride that ends every process that works on it is not tried for ever.
func TestGivesUpAfterSomeTries(t *testing.T) {
	s := opened(t, t.TempDir())
	bad := keepDemo(t, s)
	good, _, err := s.Keep(t.Context(), []*Received{receive(t, s, "b.csv", []byte("b"))}, About{})
	require.NoError(t, err)
	for range mostTries {
		dies(t, s, bad)
	}
	leave, _, err := s.enter(t.Context())
	require.NoError(t, err)
	j, err := s.take(t.Context(), 0)
	require.NoError(t, err)
	require.Equal(t, good, j.ride.ID, "and the next one is taken")
	leave()
	r, err := s.Ride(t.Context(), bad)
	require.NoError(t, err)
	require.Equal(t, Refused, r.State)
	require.Contains(t, r.Why, "ended 3 times while it worked this ride out")
	// Its owner may have it tried again.
	require.NoError(t, s.SetAbout(t.Context(), bad, r.About()))
	r, err = s.WorkOut(t.Context(), bad)
	require.NoError(t, err)
	require.Equal(t, Ready, r.State, r.Why)
}

// What breaks on one ride does not harm the others, nor the process.
func TestBreakingIsOneRides(t *testing.T) {
	s := opened(t, t.TempDir())
	id := keepDemo(t, s)
	other, _, err := s.Keep(t.Context(), []*Received{receive(t, s, "ride.gpx", demoFile(t, "ride.gpx"))}, About{})
	require.NoError(t, err)
	s.broken = func(r Ride) {
		if r.ID == id {
			var none []int
			_ = none[r.ID]
		}
	}
	working(t, s)
	r, err := s.Wait(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, Refused, r.State)
	require.Contains(t, r.Why, "groundline broke on it (runtime error: index out of range")
	require.Contains(t, r.Why, "please report this")
	r, err = s.Wait(t.Context(), other)
	require.NoError(t, err)
	require.Equal(t, Ready, r.State)
}

// holding makes the building of rides wait for the test.
func holding(s *Store) (begun <-chan int64, goOn func()) {
	ids, free := make(chan int64, 100), make(chan struct{})
	s.broken = func(r Ride) {
		ids <- r.ID
		<-free
	}
	return ids, sync.OnceFunc(func() { close(free) })
}

// When the work ends, it ends at once, and what was in hand is there for the next.
func TestStoppingPutsBack(t *testing.T) {
	s := opened(t, t.TempDir())
	begun, goOn := holding(s)
	defer goOn()
	id := keepDemo(t, s)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- s.Work(ctx, 2) }()
	require.Equal(t, id, <-begun)
	r, err := s.Ride(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, Working, r.State)
	done, size, ok := s.Progress(id)
	require.True(t, ok)
	require.Equal(t, size, done, "all of it is read")
	require.Equal(t, r.Files[0].Bytes+r.Files[1].Bytes, size)
	_, err = s.Debrief(t.Context(), id)
	var not *NotReadyError
	require.ErrorAs(t, err, &not)
	require.Equal(t, Working, not.State)
	stop()
	require.ErrorIs(t, <-ended, context.Canceled)
	r, err = s.Ride(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, Waiting, r.State)
	require.Zero(t, r.Tries, "it is not the ride's fault")
	_, _, ok = s.Progress(id)
	require.False(t, ok)
}

// A ride whose course changes while it is worked out is worked out again, over the new course.
func TestChangedWhileWorkedOut(t *testing.T) {
	s := opened(t, t.TempDir())
	begun, goOn := holding(s)
	id := keepDemo(t, s)
	working(t, s)
	<-begun
	r, err := s.Ride(t.Context(), id)
	require.NoError(t, err)
	of := r.About()
	of.CourseVersionID = 0
	require.NoError(t, s.SetAbout(t.Context(), id, of))
	moss, err := s.NameHorse(t.Context(), "Moss")
	require.NoError(t, err)
	of.HorseID = moss
	require.NoError(t, s.SetAbout(t.Context(), id, of))
	goOn()
	r, err = s.Wait(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, Ready, r.State)
	d, err := s.Debrief(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, "Found in the ride", d.Course.Name)
	require.Equal(t, "Moss", *d.Horse.Name)
	lines, err := s.RiddenLines(t.Context(), 1)
	require.NoError(t, err)
	require.Empty(t, lines)
}

// A ride that is removed while it is worked out leaves nothing behind.
func TestRemovedWhileWorkedOut(t *testing.T) {
	s := opened(t, t.TempDir())
	begun, goOn := holding(s)
	id := keepDemo(t, s)
	working(t, s)
	<-begun
	require.NoError(t, s.RemoveRide(t.Context(), id))
	_, err := s.Wait(t.Context(), id)
	require.ErrorIs(t, err, ErrNotFound)
	goOn()
	next := keepDemo2(t, s)
	_, err = s.Wait(t.Context(), next)
	require.NoError(t, err)
	require.NotEqual(t, id, next, "a number is not used twice")
	require.NoFileExists(t, s.workedFile(id))
	checkWhole(t, s, nil, nil)
}

// keepDemo2 keeps the demo's watch alone.
func keepDemo2(t *testing.T, s *Store) int64 {
	t.Helper()
	id, _, err := s.Keep(t.Context(), []*Received{receive(t, s, "ride.gpx", demoFile(t, "ride.gpx"))}, About{})
	require.NoError(t, err)
	return id
}

// Work begins as soon as a ride is kept, not at the next look.
func TestKeepWakes(t *testing.T) {
	s := opened(t, t.TempDir())
	working(t, s)
	best := time.Hour
	for i := range 5 {
		time.Sleep(20 * time.Millisecond) // the worker has nothing to do
		changed := s.Changed()
		began := time.Now()
		id, _, err := s.Keep(t.Context(), []*Received{receive(t, s, "a.csv", []byte{byte(i)})}, About{})
		require.NoError(t, err)
		<-changed
		_, err = s.Wait(t.Context(), id)
		require.NoError(t, err)
		best = min(best, time.Since(began))
	}
	require.Less(t, best, lookEach/2)
}

// Another process's work is seen.
func TestOthersWorkIsSeen(t *testing.T) {
	dir := t.TempDir()
	a, b := opened(t, dir), opened(t, dir)
	working(t, b)
	id := keepDemo(t, a)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	r, err := a.Wait(ctx, id)
	require.NoError(t, err)
	require.Equal(t, Ready, r.State)
}

// All that is wrong with a ride's files is told, and the files are still there.
func TestRefusedTellsAllFaults(t *testing.T) {
	s := opened(t, t.TempDir())
	id, _, err := s.Keep(t.Context(), []*Received{receive(t, s, "folder/a.gpx", []byte("<gpx>\nno")), receive(t, s, "b.csv", []byte("x")), receive(t, s, "c.bin", make([]byte, 99))}, About{})
	require.NoError(t, err)
	r, err := s.WorkOut(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, Refused, r.State)
	for _, name := range []string{"a.gpx", "b.csv", "c.bin"} {
		require.Contains(t, "\n"+r.Why, "\n"+name)
	}
	require.NotContains(t, r.Why, s.dir)
	f, err := s.OpenFile(t.Context(), r.Files[2].SHA256)
	require.NoError(t, err)
	require.NoError(t, f.Close())
	_, err = s.DebriefJSON(t.Context(), id)
	var not *NotReadyError
	require.ErrorAs(t, err, &not)
	require.Equal(t, r.Why, not.Why)
	require.Contains(t, err.Error(), "can't be told: a.gpx")
}

// A horse's new name, or another horse, is in what its rides tell without working them out again.
func TestHorseOfAToldRide(t *testing.T) {
	s := opened(t, t.TempDir())
	id := keepDemo(t, s)
	r, err := s.WorkOut(t.Context(), id)
	require.NoError(t, err)
	s.broken = func(Ride) { panic("worked out again") }
	named := func(want string) {
		t.Helper()
		d, err := s.Debrief(t.Context(), id)
		require.NoError(t, err)
		text, err := s.DebriefJSON(t.Context(), id)
		require.NoError(t, err)
		var back report.Debrief
		require.NoError(t, json.Unmarshal(text, &back))
		if want == "" {
			require.Nil(t, d.Horse.Name)
			require.Nil(t, back.Horse.Name)
			return
		}
		require.Equal(t, want, *d.Horse.Name)
		require.Equal(t, want, *back.Horse.Name)
		now, err := s.Ride(t.Context(), id)
		require.NoError(t, err)
		told, err := s.Told(t.Context(), now.HorseID)
		require.NoError(t, err)
		require.Equal(t, want, told[0].Horse)
		list, _, err := s.Attempts(t.Context(), r.CourseID, "1", "2", AttemptFilter{HorseIDs: []int64{now.HorseID}})
		require.NoError(t, err)
		require.Equal(t, want, list[0].Horse)
	}
	named("Bramble")
	require.NoError(t, s.SetHorse(t.Context(), Horse{ID: r.HorseID, Name: "Bramble the second"}))
	named("Bramble the second")
	moss, err := s.NameHorse(t.Context(), "Moss")
	require.NoError(t, err)
	of := r.About()
	of.HorseID, of.Label, of.Note = moss, "label", "note"
	require.NoError(t, s.SetAbout(t.Context(), id, of))
	named("Moss")
	of.HorseID = 0
	require.NoError(t, s.SetAbout(t.Context(), id, of))
	named("")
}

// What lies beside the database can be lost, damaged or another program's: it is made anew, the same.
func TestWorkedIsMadeAnew(t *testing.T) {
	dir := t.TempDir()
	s := opened(t, dir)
	id := keepDemo(t, s)
	_, err := s.WorkOut(t.Context(), id)
	require.NoError(t, err)
	want, err := s.Debrief(t.Context(), id)
	require.NoError(t, err)
	data, err := os.ReadFile(s.workedFile(id))
	require.NoError(t, err)
	for name, spoil := range map[string]func() error{
		"lost":      func() error { return os.Remove(s.workedFile(id)) },
		"cut":       func() error { return os.WriteFile(s.workedFile(id), data[:len(data)-100], 0o600) },
		"cut short": func() error { return os.WriteFile(s.workedFile(id), data[:10], 0o600) },
		"none":      func() error { return os.WriteFile(s.workedFile(id), nil, 0o600) },
		"else":      func() error { return os.WriteFile(s.workedFile(id), []byte("else"), 0o600) },
	} {
		require.NoError(t, spoil(), name)
		got, err := s.Debrief(t.Context(), id)
		require.NoError(t, err, name)
		require.Equal(t, want, got, name)
		again, err := os.ReadFile(s.workedFile(id))
		require.NoError(t, err, name)
		require.True(t, bytes.Equal(data, again), name)
	}
	later, err := Open(t.Context(), dir, Options{Program: "groundline later"})
	require.NoError(t, err)
	defer later.Close()
	built := 0
	later.broken = func(Ride) { built++ }
	_, err = later.DebriefJSON(t.Context(), id)
	require.NoError(t, err)
	_, err = later.Debrief(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, 1, built)
	r, err := later.Ride(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, "groundline later", r.Program)
	// A program that can't tell it any more says so, and what was known stays.
	s.broken = func(Ride) { panic("not by this program") }
	_, err = s.Debrief(t.Context(), id)
	var not *NotReadyError
	require.ErrorAs(t, err, &not)
	require.Contains(t, not.Why, "not by this program")
	r, err = s.Ride(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, Ready, r.State)
}

// A ride that is looked at while its files are gone is told as that, not lost.
func TestMissingFileIsTold(t *testing.T) {
	s := opened(t, t.TempDir())
	id := keepDemo2(t, s)
	r, err := s.Ride(t.Context(), id)
	require.NoError(t, err)
	require.NoError(t, os.Remove(s.path(r.Files[0].SHA256)))
	r, err = s.WorkOut(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, Refused, r.State)
	require.True(t, strings.HasPrefix(r.Why, "ride.gpx: the kept file is missing in the store"), r.Why)
	require.NotContains(t, r.Why, s.dir)
	_, err = s.OpenFile(t.Context(), r.Files[0].SHA256)
	require.ErrorIs(t, err, ErrNotFound)
	// Giving it again mends it.
	_, already, err := s.Keep(t.Context(), []*Received{receive(t, s, "ride.gpx", demoFile(t, "ride.gpx"))}, About{})
	require.NoError(t, err)
	require.True(t, already)
	r, err = s.WorkOut(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, Ready, r.State, r.Why)
}

// A debrief that can't be written is a fault of its ride, not one to try again and again.
func TestWhatCanNotBeStored(t *testing.T) {
	b := built{debrief: &report.Debrief{Recording: report.RecordingInfo{DurationS: math.NaN()}}}
	require.ErrorContains(t, b.pack("", 1), "is not a number that can be told")
	s := opened(t, t.TempDir())
	id := keepDemo(t, s)
	s.spoil = func(d *report.Debrief) { d.Recording.DurationS = math.Inf(1) }
	r, err := s.WorkOut(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, Refused, r.State)
	require.Contains(t, r.Why, "debrief.recording.duration_s: +Inf is not a number that can be told")
}

// What is not the ride's fault does not refuse it: it waits, and is worked out when that has gone.
func TestNotTheRidesFault(t *testing.T) {
	s := opened(t, t.TempDir())
	id := keepDemo(t, s)
	r, err := s.Ride(t.Context(), id)
	require.NoError(t, err)
	file := s.path(r.Files[0].SHA256)
	require.NoError(t, os.Rename(file, file+".away"))
	if err := os.Symlink(file, file); err != nil { // opening it fails, though it is there
		t.Skip("no links here: ", err)
	}
	_, err = s.WorkOut(t.Context(), id)
	require.Error(t, err)
	r, err = s.Ride(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, Waiting, r.State)
	require.Zero(t, r.Tries)

	require.NoError(t, os.Rename(file+".away", file))
	r, err = s.WorkOut(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, Ready, r.State)
}

// Rides of another program that people look at are made anew a few at a time, and who has gone does not wait.
func TestMadeAnewAFewAtATime(t *testing.T) {
	dir := t.TempDir()
	s := opened(t, dir)
	id := keepDemo(t, s)
	_, err := s.WorkOut(t.Context(), id)
	require.NoError(t, err)

	later, err := Open(t.Context(), dir, Options{Program: "groundline later"})
	require.NoError(t, err)
	defer later.Close()
	for range cap(later.anew) {
		later.anew <- struct{}{}
	}
	gone, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	_, err = later.Debrief(gone, id)
	require.ErrorIs(t, err, context.DeadlineExceeded)
	<-later.anew
	_, err = later.Debrief(t.Context(), id)
	require.NoError(t, err)
	require.Len(t, later.anew, cap(later.anew)-1, "its turn ended")
}
