package keep

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A test binary that finds childEnv is a process of its own that uses a store, for another to end.
const childEnv = "GROUNDLINE_KEEP_CHILD"

func TestMain(m *testing.M) {
	if what := os.Getenv(childEnv); what != "" {
		if err := child(what, os.Getenv(childEnv+"_STORE")); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	// Each case brings dozens of files to disk. The command line may ask for more.
	if err := flag.Set("rapid.checks", "15"); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

func child(what, dir string) error {
	kind, arg, _ := strings.Cut(what, " ")
	switch kind {
	case "keep":
		return keepForever(dir)
	case "share":
		return keepAndWork(dir, arg)
	case "full":
		return fillDisk(dir)
	}
	return errors.New("no such child: " + what)
}

// process starts this test binary as a child.
func process(t *testing.T, what, dir string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	c := exec.Command(self)
	c.Env = append(os.Environ(), childEnv+"="+what, childEnv+"_STORE="+dir)
	c.Stderr = os.Stderr
	return c
}

// keepForever keeps rides of one or two files, some of which many rides have, removes some, and works them out, and tells
// what it was told is done.
func keepForever(dir string) error {
	ctx := context.Background()
	s, err := Open(ctx, dir, Options{})
	if err != nil {
		return err
	}
	go s.Work(ctx, 1)
	noise := rand.NewChaCha8([32]byte{byte(os.Getpid()), byte(os.Getpid() >> 8)})
	dice := rand.New(noise)
	motion, err := os.ReadFile(filepath.Join(demo, "motion.csv"))
	if err != nil {
		return err
	}
	motion = motion[:len(motion)/5] // some strides, so that there is something to tell
	var own []int64
	for n := 0; ; n++ {
		var files []*Received
		var sums []string
		for i := range 1 + dice.IntN(2) {
			data := []byte("all rides have this")
			if i == 0 {
				data = make([]byte, 1+dice.IntN(60_000))
				noise.Read(data)
			}
			if i == 0 && n%4 == 0 {
				data = fmt.Appendf(bytes.Clone(motion), "\n# %d", dice.Uint64())
			}
			r, err := s.Receive(ctx, fmt.Sprintf("%d.csv", i), bytes.NewReader(data), 1<<20)
			if err != nil {
				return err
			}
			files, sums = append(files, r), append(sums, r.SHA256)
		}
		id, already, err := s.Keep(ctx, files, About{})
		if err != nil || already {
			return fmt.Errorf("kept already %v: %w", already, err)
		}
		fmt.Printf("kept %d %s\n", id, strings.Join(sums, "+"))
		own = append(own, id)
		if dice.IntN(4) == 0 {
			i := dice.IntN(len(own))
			fmt.Printf("removing %d\n", own[i])
			if err := s.RemoveRide(ctx, own[i]); err != nil {
				return err
			}
			own = append(own[:i], own[i+1:]...)
		}
	}
}

// The process is killed at any moment; what it was told is kept is there, whole, and nothing else is left behind.
func TestKilledAtAnyMoment(t *testing.T) {
	kills := 24
	if testing.Short() {
		kills = 4
	}
	dir := t.TempDir()
	acknowledged := map[int64]string{}
	gone := map[int64]bool{}
	for k := range kills {
		c := process(t, "keep", dir)
		out, err := c.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, c.Start())
		lines := bufio.NewReader(out)
		note := func(line string) {
			word, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
			number, sums, _ := strings.Cut(rest, " ")
			id, err := strconv.ParseInt(number, 10, 64)
			require.NoError(t, err, line)
			if word == "kept" {
				acknowledged[id] = sums
			} else {
				gone[id] = true
			}
		}
		line, err := lines.ReadString('\n')
		require.NoError(t, err)
		note(line)
		time.Sleep(time.Duration(rand.IntN(150_000)) * time.Microsecond)
		require.NoError(t, c.Process.Kill())
		for {
			line, err := lines.ReadString('\n')
			if err != nil { // a line that was cut short was not told
				break
			}
			note(line)
		}
		c.Wait()

		s, err := Open(t.Context(), dir, Options{})
		require.NoError(t, err)
		checkWhole(t, s, acknowledged, gone)
		if k%2 == 0 { // else closed with the next process at work
			require.NoError(t, s.Close())
		} else {
			t.Cleanup(func() { s.Close() })
		}
	}
	t.Logf("%d kills, %d rides acknowledged, %d of them removed", kills, len(acknowledged), len(gone))
	require.Greater(t, len(acknowledged), kills, "hardly a ride was kept: the test tells nothing")
}

// checkWhole holds a store that nobody else is using against what was acknowledged.
func checkWhole(t *testing.T, s *Store, acknowledged map[int64]string, gone map[int64]bool) {
	t.Helper()
	ctx := t.Context()
	for id, sums := range acknowledged {
		r, err := s.Ride(ctx, id)
		if gone[id] { // its removal may or may not have come through
			continue
		}
		require.NoError(t, err, "ride %d was acknowledged", id)
		var got []string
		for _, f := range r.Files {
			got = append(got, f.SHA256)
		}
		require.Equal(t, sums, strings.Join(got, "+"))
	}
	checkFiles(t, s)
	require.NoError(t, filepath.WalkDir(filepath.Join(s.dir, workedName), func(_ string, e fs.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			id, err := strconv.ParseInt(e.Name(), 10, 64)
			require.NoError(t, err)
			_, err = s.Ride(ctx, id)
			require.NoError(t, err, "what was worked out of a ride that is no more")
		}
		return err
	}))
	entries, err := os.ReadDir(filepath.Join(s.dir, incomingName))
	require.NoError(t, err)
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), lockEnding) {
			inside, err := os.ReadDir(filepath.Join(s.dir, incomingName, e.Name()))
			require.NoError(t, err)
			require.Empty(t, inside, "a file that nobody is receiving")
		}
	}
	for query, want := range map[string]any{
		"PRAGMA integrity_check":                            "ok",
		"SELECT count(*) FROM doomed":                       int64(0),
		"SELECT count(*) FROM ride WHERE state = 'working'": int64(0),
		"SELECT count(*) FROM pragma_foreign_key_check":     int64(0),
	} {
		var got any
		require.NoError(t, s.read.QueryRowContext(ctx, query).Scan(&got))
		require.Equal(t, want, got, query)
	}
}

// checkFiles holds the files against the rides.
func checkFiles(t *testing.T, s *Store) {
	t.Helper()
	ctx := t.Context()
	wanted := map[string]bool{}
	require.NoError(t, each(ctx, s.read, "SELECT DISTINCT sha256, bytes FROM file", func(r row) error {
		var sum string
		var size int64
		if err := r.Scan(&sum, &size); err != nil {
			return err
		}
		wanted[sum] = true
		f, err := s.OpenFile(ctx, sum)
		if err != nil {
			return err
		}
		defer f.Close()
		h := sha256.New()
		n, err := io.Copy(h, f)
		require.Equal(t, size, n)
		require.Equal(t, sum, hex.EncodeToString(h.Sum(nil)), "a kept file is whole")
		return err
	}))
	require.NoError(t, filepath.WalkDir(filepath.Join(s.dir, filesName), func(_ string, e fs.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			require.True(t, wanted[e.Name()], "a file that no ride has: %s", e.Name())
		}
		return err
	}))
}

// keepAndWork keeps pieces of the demo's motion, its own and ones that the other process keeps too, and works on what there is.
func keepAndWork(dir, name string) error {
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	data, err := os.ReadFile(filepath.Join(demo, "motion.csv"))
	if err != nil {
		return err
	}
	s, err := Open(ctx, dir, Options{})
	if err != nil {
		return err
	}
	defer s.Close()
	worked := make(chan error, 1)
	go func() { worked <- s.Work(ctx, 1) }()
	defer func() {
		stop()
		<-worked // what it has in hand is put back
	}()
	var ids []int64
	for i := range 2 * sharedRides {
		piece := bytes.Clone(data[:len(data)/4+100*i])
		if i%2 == 0 {
			piece = append(piece, "\n# "+name+"\n"...)
		}
		r, err := s.Receive(ctx, "motion.csv", bytes.NewReader(piece), 1<<20)
		if err != nil {
			return err
		}
		id, already, err := s.Keep(ctx, []*Received{r}, About{Label: name})
		if err != nil {
			return err
		}
		ids = append(ids, id)
		fmt.Println("kept", id, already)
	}
	for _, id := range ids {
		r, err := s.Wait(ctx, id)
		if err != nil || r.State != Ready {
			return fmt.Errorf("ride %d is %s: %s %w", id, r.State, r.Why, err)
		}
	}
	return nil
}

const sharedRides = 8

// Two processes keep in one store and work on what is in it: nothing is lost, kept twice or worked out twice.
func TestTwoProcessesShareAStore(t *testing.T) {
	dir := t.TempDir()
	var outs [2]bytes.Buffer
	var cs [2]*exec.Cmd
	for i := range cs {
		cs[i] = process(t, fmt.Sprint("share process", i), dir)
		cs[i].Stdout = &outs[i]
		require.NoError(t, cs[i].Start())
	}
	for _, c := range cs {
		require.NoError(t, c.Wait())
	}
	s := opened(t, dir)
	rides, _, total, err := s.Rides(t.Context(), Filter{Limit: 1000})
	require.NoError(t, err)
	require.Equal(t, 3*sharedRides, total, "each its own, and the common ones once")
	labels := map[string]int{}
	for _, r := range rides {
		require.Equal(t, Ready, r.State)
		require.Equal(t, 1, r.Tries, "worked out once")
		labels[r.Label]++
	}
	require.GreaterOrEqual(t, labels["process0"], sharedRides)
	require.GreaterOrEqual(t, labels["process1"], sharedRides)
	all := outs[0].String() + outs[1].String()
	require.Equal(t, 3*sharedRides, strings.Count(all, " false\n"), "kept once")
	require.Equal(t, sharedRides, strings.Count(all, " true\n"), "told that it was kept already")
	checkWhole(t, s, nil, nil)
}

// A store that is in use loses nothing to one that is opened beside it.
func TestSweepLeavesTheLiving(t *testing.T) {
	dir := t.TempDir()
	a := opened(t, dir)
	r := receive(t, a, "a.csv", []byte("a"))
	b := opened(t, dir)
	require.FileExists(t, r.place)
	id, _, err := a.Keep(t.Context(), []*Received{r}, About{})
	require.NoError(t, err)
	got, err := b.Ride(t.Context(), id)
	require.NoError(t, err)
	require.Equal(t, "a.csv", got.Files[0].Name)
	require.NoError(t, a.Close())
	entries, err := os.ReadDir(filepath.Join(dir, incomingName))
	require.NoError(t, err)
	require.Len(t, entries, 2, "b's folder and lock")
	// One that died between making its lock and its folder, and one between removing these.
	require.NoError(t, os.WriteFile(filepath.Join(dir, incomingName, "DEAD"+lockEnding), nil, 0o600))
	require.NoError(t, os.MkdirAll(filepath.Join(dir, incomingName, "GONE", "x"), 0o700))
	opened(t, dir)
	entries, err = os.ReadDir(filepath.Join(dir, incomingName))
	require.NoError(t, err)
	require.Len(t, entries, 4, "b's and the last's")
}
