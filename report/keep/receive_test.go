package keep

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// inDesk is how many files are being received.
func inDesk(t require.TestingT, s *Store) int {
	entries, err := os.ReadDir(s.desk.folder())
	require.NoError(t, err)
	return len(entries)
}

func TestReceive(t *testing.T) {
	s := opened(t, t.TempDir())
	var large *TooLargeError
	_, err := s.Receive(t.Context(), "../large.gpx", strings.NewReader("12345"), 4)
	require.ErrorAs(t, err, &large)
	require.Equal(t, "large.gpx: longer than 4 bytes, expected a recording of a ride", err.Error())
	broken := errors.New("the line is gone")
	_, err = s.Receive(t.Context(), "a", io.MultiReader(strings.NewReader("half"), iotest.ErrReader(broken)), 100)
	require.ErrorIs(t, err, broken)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = s.Receive(ctx, "a", strings.NewReader("1"), 100)
	require.ErrorIs(t, err, context.Canceled)
	require.Zero(t, inDesk(t, s), "nothing is left of what was not received")

	r := receive(t, s, "a", []byte("1234"))
	require.Equal(t, int64(4), r.Bytes)
	require.Equal(t, "03ac674216f3e15c761ee1a5e255f067953623c8b388b4459e13f978d7c846f4", r.SHA256) // sha256sum's
	require.Equal(t, 1, inDesk(t, s))
	r.Discard()
	r.Discard()
	require.Zero(t, inDesk(t, s))
	empty := receive(t, s, "empty", nil)
	_, _, err = s.Keep(t.Context(), []*Received{empty}, About{})
	require.NoError(t, err, "an empty file is kept, and refused when it is read")
}

// The same files are one ride, whatever they are called and in whatever order they come; of others that share a file, it lies there once.
func TestTheSameFilesAreOneRide(t *testing.T) {
	s := opened(t, t.TempDir())
	keep := func(of About, contents ...string) (int64, bool) {
		t.Helper()
		var files []*Received
		for i, c := range contents {
			files = append(files, receive(t, s, fmt.Sprintf("%s%d.csv", c, i), []byte(c)))
		}
		id, already, err := s.Keep(t.Context(), files, of)
		require.NoError(t, err)
		for _, f := range files {
			f.Discard()
		}
		require.Zero(t, inDesk(t, s))
		return id, already
	}
	first, already := keep(About{Label: "first"}, "a", "b")
	require.False(t, already)
	again, already := keep(About{Label: "second"}, "b", "a")
	require.True(t, already)
	require.Equal(t, first, again)
	r, err := s.Ride(t.Context(), first)
	require.NoError(t, err)
	require.Equal(t, "first", r.Label)
	require.Equal(t, "a0.csv", r.Files[0].Name)
	other, already := keep(About{}, "a")
	require.False(t, already)
	require.NotEqual(t, first, other)
	require.NoError(t, s.RemoveRide(t.Context(), first))
	_, err = s.OpenFile(t.Context(), r.Files[1].SHA256)
	require.ErrorIs(t, err, ErrNotFound)
	require.NoFileExists(t, s.path(r.Files[1].SHA256))
	f, err := s.OpenFile(t.Context(), r.Files[0].SHA256)
	require.NoError(t, err, "another ride has it")
	f.Close()
	require.ErrorIs(t, s.RemoveRide(t.Context(), first), ErrNotFound)
	checkWhole(t, s, nil, nil)
}

// Many who hand in the same ride at once get the same one.
func TestTheSameRideAtOnce(t *testing.T) {
	dir := t.TempDir()
	stores := []*Store{opened(t, dir), opened(t, dir)}
	var mu sync.Mutex
	ids, made := map[int64]int{}, 0
	var all sync.WaitGroup
	for i := range 16 {
		all.Go(func() {
			s := stores[i%2]
			r, err := s.Receive(t.Context(), "a.csv", strings.NewReader("the same"), 100)
			if err == nil {
				var id int64
				var already bool
				id, already, err = s.Keep(t.Context(), []*Received{r}, About{})
				mu.Lock()
				defer mu.Unlock()
				ids[id]++
				if !already {
					made++
				}
			}
			if err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	require.Len(t, ids, 1)
	require.Equal(t, 1, made)
	checkWhole(t, stores[0], nil, nil)
}

// Rides of a file come while others of it go, in two stores over one folder: a ride that is there always has its file.
func TestRemovalAgainstUpload(t *testing.T) {
	dir := t.TempDir()
	stores := []*Store{opened(t, dir), opened(t, dir)}
	common := bytes.Repeat([]byte("common "), 10_000)
	var all sync.WaitGroup
	for g := range 4 {
		all.Go(func() {
			s := stores[g%2]
			for i := range 15 {
				a, errA := s.Receive(t.Context(), "common.csv", bytes.NewReader(common), 1<<20)
				b, errB := s.Receive(t.Context(), "own.csv", strings.NewReader(fmt.Sprint(g, " ", i)), 100)
				if err := errors.Join(errA, errB); err != nil {
					t.Error(err)
					return
				}
				id, _, err := s.Keep(t.Context(), []*Received{a, b}, About{})
				if err != nil {
					t.Error(err)
					return
				}
				f, err := stores[1-g%2].OpenFile(t.Context(), a.SHA256)
				if err != nil {
					t.Error("the file of a ride that is there is not:", err)
					return
				}
				info, err := f.Stat()
				f.Close()
				if err != nil || info.Size() != int64(len(common)) {
					t.Error("not whole", err)
				}
				if err := s.RemoveRide(t.Context(), id); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	checkWhole(t, stores[0], nil, nil)
	_, _, total, err := stores[0].Rides(t.Context(), Filter{})
	require.NoError(t, err)
	require.Zero(t, total)
}

// A database that can't grow is told as a full disk. Nothing is half kept, and what was received can be kept later.
func TestDatabaseFull(t *testing.T) {
	s := opened(t, t.TempDir())
	var pages int
	require.NoError(t, s.write.QueryRow("PRAGMA page_count").Scan(&pages))
	_, err := s.write.Exec(fmt.Sprintf("PRAGMA max_page_count = %d", pages))
	require.NoError(t, err)
	kept, files := 0, []*Received(nil)
	var full *FullError
	for {
		files = []*Received{receive(t, s, "a.csv", fmt.Append(nil, kept)), receive(t, s, "b.csv", []byte("common"))}
		_, _, err := s.Keep(t.Context(), files, About{Note: strings.Repeat("long ", 700)})
		if err != nil {
			require.ErrorAs(t, err, &full)
			require.ErrorContains(t, err, "no room left on the disk: free some space, or remove rides")
			break
		}
		kept++
		require.Less(t, kept, 1000)
	}
	require.Equal(t, 2, inDesk(t, s), "what was received is there")
	_, _, total, err := s.Rides(t.Context(), Filter{})
	require.NoError(t, err)
	require.Equal(t, kept, total)
	checkFiles(t, s)
	_, err = s.write.Exec("PRAGMA max_page_count = 1000000")
	require.NoError(t, err)
	_, already, err := s.Keep(t.Context(), files, About{})
	require.NoError(t, err)
	require.False(t, already)
	checkFiles(t, s)
}

// A commit that fails takes the files back, but for those that another ride has by then.
func TestTakeBack(t *testing.T) {
	s := opened(t, t.TempDir())
	lone, common := receive(t, s, "a", []byte("lone")), receive(t, s, "b", []byte("common"))
	_, err := s.folders([]*Received{lone, common})
	require.NoError(t, err)
	for _, f := range []*Received{lone, common} {
		moved, err := s.put(f)
		require.NoError(t, err)
		require.True(t, moved)
	}
	_, _, err = s.Keep(t.Context(), []*Received{receive(t, s, "c", []byte("common"))}, About{}) // by another, just now
	require.NoError(t, err)
	s.takeBack([]*Received{lone, common})
	require.FileExists(t, lone.place)
	require.NoFileExists(t, s.path(lone.SHA256))
	require.FileExists(t, s.path(common.SHA256))
	checkFiles(t, s)
}

func TestWhatCanNotBeKept(t *testing.T) {
	s := opened(t, t.TempDir())
	var invalid *InvalidError
	for name, of := range map[string]About{
		"label": {Label: "a\x00"}, "label too long": {Label: strings.Repeat("x", 81)}, "note": {Note: strings.Repeat("x", 4001)}, "note not text": {Note: "\xff"},
		"columns": {Columns: "nonsense"}, "columns too long": {Columns: strings.Repeat("t", 5000)}, "blanks": {Label: " x"},
	} {
		_, _, err := s.Keep(t.Context(), []*Received{receive(t, s, "a", []byte(name))}, of)
		require.ErrorAs(t, err, &invalid, name)
	}
	_, _, err := s.Keep(t.Context(), nil, About{})
	require.ErrorAs(t, err, &invalid)
	_, _, err = s.Keep(t.Context(), []*Received{receive(t, s, "a", []byte("a"))}, About{HorseID: 9})
	require.ErrorIs(t, err, ErrNotFound)
	_, _, err = s.Keep(t.Context(), []*Received{receive(t, s, "a", []byte("a"))}, About{CourseVersionID: 9})
	require.ErrorIs(t, err, ErrNotFound)
	_, _, total, err := s.Rides(t.Context(), Filter{})
	require.NoError(t, err)
	require.Zero(t, total)
	checkFiles(t, s)
	require.ErrorIs(t, s.SetAbout(t.Context(), 7, About{}), ErrNotFound)
	require.ErrorAs(t, s.SetAbout(t.Context(), 7, About{Columns: "x"}), &invalid)
}

// Whatever is kept, changed and removed in whatever order, the store holds what a plain list would.
func TestStoreIsAList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp("", "keep")
		require.NoError(t, err)
		defer os.RemoveAll(dir)
		ctx := context.Background()
		s, err := Open(ctx, dir, Options{})
		require.NoError(t, err)
		defer func() { s.Close() }()
		type model struct {
			files []string
			of    About
		}
		rides, horses := map[int64]model{}, map[string]int64{}
		ids := func() []int64 {
			var out []int64
			for id := range rides {
				out = append(out, id)
			}
			slices.Sort(out)
			return out
		}
		about := rapid.Custom(func(t *rapid.T) About {
			of := About{Label: rapid.StringMatching(`([a-zé]{0,9})`).Draw(t, "label"), Note: rapid.StringN(0, 50, 200).Draw(t, "note")}
			if name := rapid.SampledFrom([]string{"", "A", "b", "É"}).Draw(t, "horse"); name != "" {
				id, err := s.NameHorse(ctx, rapid.SampledFrom([]string{name, strings.ToLower(name), strings.ToUpper(name)}).Draw(t, "written"))
				require.NoError(t, err)
				if was, ok := horses[strings.ToLower(name)]; ok {
					require.Equal(t, was, id)
				}
				horses[strings.ToLower(name)], of.HorseID = id, id
			}
			return of
		})
		t.Repeat(map[string]func(*rapid.T){
			"keep": func(t *rapid.T) {
				contents := rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"", "a", "b", "c"}), 1, 3, rapid.ID).Draw(t, "files")
				var files []*Received
				for i, c := range contents {
					r, err := s.Receive(ctx, fmt.Sprint(i), strings.NewReader(c), 10)
					require.NoError(t, err)
					files = append(files, r)
				}
				of := about.Draw(t, "about")
				id, already, err := s.Keep(ctx, files, of)
				require.NoError(t, err)
				same := func(a []string) bool {
					return slices.Equal(slices.Sorted(slices.Values(a)), slices.Sorted(slices.Values(contents)))
				}
				known := int64(0)
				for i, r := range rides {
					if same(r.files) {
						known = i
					}
				}
				require.Equal(t, known != 0, already)
				if already {
					require.Equal(t, known, id)
				} else {
					rides[id] = model{contents, of}
				}
			},
			"change": func(t *rapid.T) {
				if len(rides) == 0 {
					t.Skip("no ride is kept yet")
				}
				id := rapid.SampledFrom(ids()).Draw(t, "ride")
				of := about.Draw(t, "about")
				require.NoError(t, s.SetAbout(ctx, id, of))
				rides[id] = model{rides[id].files, of}
			},
			"remove": func(t *rapid.T) {
				if len(rides) == 0 {
					t.Skip("no ride is kept yet")
				}
				id := rapid.SampledFrom(ids()).Draw(t, "ride")
				require.NoError(t, s.RemoveRide(ctx, id))
				delete(rides, id)
			},
			"reopen": func(t *rapid.T) {
				require.NoError(t, s.Close())
				var err error
				s, err = Open(ctx, dir, Options{})
				require.NoError(t, err)
			},
			"": func(t *rapid.T) {
				list, _, total, err := s.Rides(ctx, Filter{})
				require.NoError(t, err)
				require.Equal(t, len(rides), total)
				wanted := map[string]bool{}
				count := map[int64]int{}
				for _, r := range list {
					m, ok := rides[r.ID]
					require.True(t, ok)
					require.Equal(t, m.of, r.About())
					require.Len(t, r.Files, len(m.files))
					count[r.HorseID]++
					for i, f := range r.Files {
						in, err := s.OpenFile(ctx, f.SHA256)
						require.NoError(t, err)
						data, err := io.ReadAll(in)
						in.Close()
						require.NoError(t, err)
						require.Equal(t, m.files[i], string(data))
						wanted[f.SHA256] = true
					}
				}
				all, err := s.Horses(ctx)
				require.NoError(t, err)
				require.Len(t, all, len(horses))
				for _, h := range all {
					require.Equal(t, count[h.ID], h.Rides)
				}
				entries, err := os.ReadDir(s.dir + "/" + filesName)
				require.NoError(t, err)
				lie := 0
				for _, e := range entries {
					inside, err := os.ReadDir(s.dir + "/" + filesName + "/" + e.Name())
					require.NoError(t, err)
					lie += len(inside)
				}
				require.Equal(t, len(wanted), lie)
				require.Zero(t, inDesk(t, s))
			},
		})
	})
}
