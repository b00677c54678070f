package keep

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/report/paths"
	"groundline/report/table"
)

// study is a store with rides of every kind: with and without horse, course, label and columns, of one file and two, one refused, names
// that lead elsewhere, and ids with holes.
func study(t *testing.T, s *Store) (ids []int64) {
	t.Helper()
	ctx := t.Context()
	keep := func(of About, files ...*Received) {
		t.Helper()
		id, already, err := s.Keep(ctx, files, of)
		require.NoError(t, err)
		require.False(t, already)
		ids = append(ids, id)
	}
	bramble, err := s.NameHorse(ctx, "Bramble")
	require.NoError(t, err)
	gone, err := s.NameHorse(ctx, "Gone")
	require.NoError(t, err)
	moss, err := s.NameHorse(ctx, "Moss, \"the\" Élan")
	require.NoError(t, err)
	require.NoError(t, s.RemoveHorse(ctx, gone))
	require.NoError(t, s.SetHorse(ctx, Horse{ID: moss, Name: "Moss, \"the\" Élan", Size: "large pony", Note: "two\nlines, é"}))
	plan := demoPlan(t)
	first, err := s.SaveCourse(ctx, 0, plan)
	require.NoError(t, err)
	gpx, csv := demoFile(t, "ride.gpx"), demoFile(t, "motion.csv")
	keep(About{HorseID: bramble, CourseVersionID: first.VersionID, Label: "morning"}, receive(t, s, "ride.gpx", gpx), receive(t, s, "motion.csv", csv))
	plan.Obstacles[0].HeightM += 0.05
	second, err := s.SaveCourse(ctx, first.ID, plan)
	require.NoError(t, err)
	require.Equal(t, 2, second.Version)
	keep(About{HorseID: moss, CourseVersionID: second.VersionID, Note: "a note\nof two lines"}, receive(t, s, "../../x+y.gpx", gpx))
	keep(About{}, receive(t, s, "never", []byte("never")))
	require.NoError(t, s.RemoveRide(ctx, ids[2]))
	ids = append(ids[:2], ids[3:]...)
	other := demoPlan(t) // of the same name
	other.Obstacles[1].At.X += 1
	third, err := s.SaveCourse(ctx, 0, other)
	require.NoError(t, err)
	require.NoError(t, s.PutAway(ctx, third.ID, true))
	keep(About{HorseID: moss, Label: "evening"}, receive(t, s, "CON.csv", csv))
	keep(About{CourseVersionID: first.VersionID}, receive(t, s, "broken.gpx", gpx[:len(gpx)/3]), receive(t, s, "BROKEN.gpx", []byte("<gpx>\nno")))
	head, rest, _ := strings.Cut(string(csv), "\n")
	keep(About{Columns: "t=clock,ax=x,ay=y,az=z"}, receive(t, s, "phone.csv", []byte(strings.Replace(head, "time_s,ax_m_s2,ay_m_s2,az_m_s2", "clock,x,y,z", 1)+"\n"+rest)))
	return ids
}

func workAll(t *testing.T, s *Store, ids []int64) {
	t.Helper()
	working(t, s)
	for _, id := range ids {
		_, err := s.Wait(t.Context(), id)
		require.NoError(t, err)
	}
}

// folder is every file of a folder with its content.
func folder(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	require.NoError(t, filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		out[filepath.ToSlash(rel)] = string(data)
		return err
	}))
	return out
}

func sameFolder(t *testing.T, want, got map[string]string) {
	t.Helper()
	require.Equal(t, slices.Sorted(maps.Keys(want)), slices.Sorted(maps.Keys(got)))
	for name := range want {
		require.True(t, want[name] == got[name], name)
	}
}

// What goes out and comes back is the same, before it is worked out again and after.
func TestRoundTrip(t *testing.T) {
	s := opened(t, t.TempDir())
	ids := study(t, s)
	workAll(t, s, ids)
	out := filepath.Join(t.TempDir(), "out")
	require.NoError(t, s.Export(t.Context(), out))
	want := folder(t, out)
	require.NotEmpty(t, want["rides/1-bramble-low-field-an-invented-course/ride.gpx"])
	require.NotEmpty(t, want["rides/2-moss-the-élan-low-field-an-invented-cou/x_y.gpx"])
	require.NotEmpty(t, want["rides/4-moss-the-élan/_CON.csv"])
	require.NotEmpty(t, want["courses/low-field-an-invented-course.v2.yaml"])
	require.NotEmpty(t, want["courses/low-field-an-invented-course-2.v1.yaml"])
	require.True(t, string(demoFile(t, "motion.csv")) == want["rides/1-bramble-low-field-an-invented-course/motion.csv"])

	again := opened(t, t.TempDir())
	got, err := again.Import(t.Context(), out)
	require.NoError(t, err)
	require.Equal(t, Imported{Rides: 5, Horses: 2, Courses: 2}, got)
	back := filepath.Join(t.TempDir(), "back")
	require.NoError(t, again.Export(t.Context(), back))
	sameFolder(t, want, folder(t, back))
	list, _, _, err := again.Rides(t.Context(), Filter{})
	require.NoError(t, err)
	before, _, _, err := s.Rides(t.Context(), Filter{})
	require.NoError(t, err)
	for i := range list {
		require.Equal(t, before[i].ID, list[i].ID, "the order is that of the rides, not of the import")
	}

	workAll(t, again, ids)
	last := filepath.Join(t.TempDir(), "last")
	require.NoError(t, again.Export(t.Context(), last))
	sameFolder(t, want, folder(t, last))
	for _, id := range ids {
		a, errA := s.DebriefJSON(t.Context(), id)
		b, errB := again.DebriefJSON(t.Context(), id)
		require.Equal(t, errA, errB)
		require.Equal(t, string(a), string(b))
	}

	// A second time it changes nothing.
	got, err = again.Import(t.Context(), out)
	require.NoError(t, err)
	require.Equal(t, Imported{Already: 5}, got)
	require.NoError(t, again.Export(t.Context(), filepath.Join(t.TempDir(), "x")))

	// Into a store that has other rides under these ids, everything finds a place.
	full := opened(t, t.TempDir())
	_, _, err = full.Keep(t.Context(), []*Received{receive(t, full, "other.csv", []byte("other"))}, About{})
	require.NoError(t, err)
	horse, err := full.NameHorse(t.Context(), "MOSS, \"the\" élan")
	require.NoError(t, err)
	plan := demoPlan(t)
	plan.Name = "Another"
	_, err = full.SaveCourse(t.Context(), 0, plan)
	require.NoError(t, err)
	got, err = full.Import(t.Context(), out)
	require.NoError(t, err)
	require.Equal(t, Imported{Rides: 5, Horses: 1, Courses: 2}, got)
	list, _, total, err := full.Rides(t.Context(), Filter{HorseID: horse})
	require.NoError(t, err)
	require.Equal(t, 2, total)
	require.Equal(t, "Low field, an invented course", list[0].Course+list[1].Course)
	h, err := full.Horse(t.Context(), horse)
	require.NoError(t, err)
	require.Equal(t, "large pony", h.Size)
}

// The table of the store is, byte by byte, that of the command over the exported folder.
func TestStridesAreTheCommands(t *testing.T) {
	s := opened(t, t.TempDir())
	ids := study(t, s)
	workAll(t, s, ids[:3]) // two are waiting
	out := filepath.Join(t.TempDir(), "out")
	require.NoError(t, s.Export(t.Context(), out))
	t.Chdir(out)
	manifest, err := os.ReadFile("rides.csv")
	require.NoError(t, err)
	rides, err := paths.ReadManifest("rides.csv", manifest, "")
	require.NoError(t, err)
	require.Len(t, rides, 5)
	formats := []table.Format{table.CSV, table.JSONL, table.Parquet}
	for _, set := range []table.Settings{{}, {WithoutPlaces: true}} {
		var want [3]bytes.Buffer
		var writers []table.Writer
		for i, format := range formats {
			w, err := table.NewWriter(&want[i], format, "")
			require.NoError(t, err)
			writers = append(writers, w)
		}
		of := table.NewProvenance("groundline test", set, "1/1", "")
		require.NoError(t, table.Run(t.Context(), rides, set, table.RunOptions{Program: "groundline test"}, func(r *table.Result) error {
			of.Add(r)
			for _, w := range writers {
				require.NoError(t, w.Write(r.Rows))
			}
			return nil
		}))
		require.Len(t, of.Recordings, 4)
		require.Len(t, of.Failed, 1)
		var wantOf bytes.Buffer
		require.NoError(t, of.JSON(&wantOf))
		for i, format := range formats {
			require.NoError(t, writers[i].Close(of))
			var got, gotOf bytes.Buffer
			p, err := s.WriteStrides(t.Context(), &got, format, nil, set)
			require.NoError(t, err)
			require.NoError(t, p.JSON(&gotOf))
			require.Equal(t, wantOf.String(), gotOf.String())
			require.True(t, bytes.Equal(want[i].Bytes(), got.Bytes()), "%s %v", format, set)
		}
		workAll(t, s, ids) // the second time all are ready
	}

	// Some of them: as of a manifest with these rows.
	var got bytes.Buffer
	p, err := s.WriteStrides(t.Context(), &got, table.CSV, []int64{ids[2], ids[0]}, table.Settings{})
	require.NoError(t, err)
	require.Len(t, p.Recordings, 2)
	require.ErrorIs(t, s.Strides(t.Context(), []int64{99}, table.Settings{}, nil), ErrNotFound)
}

// What is ready is not worked out for the table.
func TestStridesDoNotWorkAgain(t *testing.T) {
	s := opened(t, t.TempDir())
	id := keepDemo(t, s)
	workAll(t, s, []int64{id})
	s.broken = func(Ride) { panic("built again") }
	rows := 0
	require.NoError(t, s.Strides(t.Context(), nil, table.Settings{}, func(r *table.Result) error {
		require.NoError(t, r.Err)
		rows += len(r.Rows)
		return nil
	}))
	require.Equal(t, 114, rows)
}

func TestExportPutsNothingOverAnything(t *testing.T) {
	s := opened(t, t.TempDir())
	keepDemo(t, s)
	dir := t.TempDir()
	require.NoError(t, s.Export(t.Context(), dir), "an empty folder is as good as none")
	err := s.Export(t.Context(), dir)
	var invalid *InvalidError
	require.ErrorAs(t, err, &invalid)
	require.ErrorContains(t, err, "not empty")
	parent := t.TempDir()
	file := filepath.Join(parent, "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	require.Error(t, s.Export(t.Context(), file))
	entries, err := os.ReadDir(parent)
	require.NoError(t, err)
	require.Len(t, entries, 1, "nothing is left beside")
}

// A ride whose file the disk has spoilt is left out and told; the rest goes out.
func TestExportTellsDamage(t *testing.T) {
	s := opened(t, t.TempDir())
	ids := study(t, s)
	r, err := s.Ride(t.Context(), ids[1])
	require.NoError(t, err)
	// Its file is also one of the first ride's.
	require.NoError(t, os.WriteFile(s.path(r.Files[0].SHA256), []byte("spoilt"), 0o600))
	out := filepath.Join(t.TempDir(), "out")
	err = s.Export(t.Context(), out)
	var bad *DamagedError
	require.ErrorAs(t, err, &bad)
	require.Equal(t, 2, strings.Count(err.Error(), "another content in the store"))
	again := opened(t, t.TempDir())
	got, err := again.Import(t.Context(), out)
	require.NoError(t, err)
	require.Equal(t, 3, got.Rides)
}

// Whatever was done to the folder is told, all at once, and nothing of it is taken in.
func TestImportTellsAllFaults(t *testing.T) {
	s := opened(t, t.TempDir())
	study(t, s)
	out := filepath.Join(t.TempDir(), "out")
	require.NoError(t, s.Export(t.Context(), out))
	secret := filepath.Join(t.TempDir(), "secret")
	require.NoError(t, os.WriteFile(secret, []byte("secret"), 0o600))
	require.NoError(t, os.Symlink(secret, filepath.Join(out, "link")))
	var k Kept
	data, err := os.ReadFile(filepath.Join(out, "kept.json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, &k))
	sum := k.Rides[0].Files[0].SHA256
	k.Rides[0].Files[0].File = "../secret"
	k.Rides[0].Files[1].File = secret
	k.Rides[1].Files[0].File = "link"
	k.Rides[2].Files[0].SHA256 = "../../../../../../etc/passwd"
	k.Rides[2].Label = "a\nb"
	k.Rides[3].Files[0].File = "rides"
	k.Rides[3].Files[1].File = "missing\x00"
	k.Courses[1].ID = 1<<63 - 1
	none := int64(77)
	k.Rides[3].Horse = &none
	k.Horses[0].Name = ""
	k.Courses[0].Versions[0].SHA256 = sum
	k.Courses[0].Versions[1].Version = 1
	data, err = json.Marshal(k)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(out, "kept.json"), data, 0o600))

	empty := opened(t, t.TempDir())
	_, err = empty.Import(t.Context(), out)
	require.ErrorContains(t, err, "the list was changed or is damaged")
	require.NoError(t, os.Remove(filepath.Join(out, "kept.json.sha256")))
	_, err = empty.Import(t.Context(), out)
	var faults Faults
	require.ErrorAs(t, err, &faults)
	for _, want := range []string{
		"rides[0].files[0]: \"../secret\": leads out of the folder", "rides[0].files[1]: ", "rides[1].files[0]: \"link\": can't be read",
		"rides[2].files[0]: sha256: ", "rides[2]: label: has a control character", "rides[3].files[0]: \"rides\": not a plain file",
		"rides[3].files[1]: ", "rides[3].horse: 77", "horses[0]: horse: no name", "courses[1].id: 9223372036854775807, expected one of its own, 1 to 1099511627776", "courses[0].versions[0].file: ", "courses[0].versions[1].version: 1",
	} {
		require.ErrorContains(t, err, want)
	}
	require.Len(t, faults, 12)
	_, _, total, err := empty.Rides(t.Context(), Filter{})
	require.NoError(t, err)
	require.Zero(t, total)
	horses, err := empty.Horses(t.Context())
	require.NoError(t, err)
	require.Empty(t, horses)

	for _, content := range []string{"", "{", "[]", `{"schema": "else"}`} {
		require.NoError(t, os.WriteFile(filepath.Join(out, "kept.json"), []byte(content), 0o600))
		_, err = empty.Import(t.Context(), out)
		require.ErrorAs(t, err, &faults, content)
	}
	require.NoError(t, os.Remove(filepath.Join(out, "kept.json")))
	_, err = empty.Import(t.Context(), out)
	require.ErrorAs(t, err, &faults)
	_, err = empty.Import(t.Context(), filepath.Join(out, "none"))
	require.Error(t, err)
}

// Names from outside never lead anywhere: they are told without their folders, and exported so that any file system takes them.
func TestNamesAreNoPaths(t *testing.T) {
	for name, want := range map[string]string{
		"ride.gpx": "ride.gpx", "../../x": "x", "/etc/passwd": "passwd", `C:\rides\mon.csv`: "mon.csv", "..": "recording", "": "recording", "a/": "recording",
		"a\x00b\nc": "a_b_c", "\xff.csv": "\ufffd.csv", strings.Repeat("é", 300) + ".gpx": strings.Repeat("é", 98) + ".gpx",
	} {
		require.Equal(t, want, baseName(name), "%q", name)
	}
	for name, want := range map[string]string{
		"ride.gpx": "ride.gpx", "a+b.csv": "a_b.csv", "NUL": "_NUL", "com1.tar.gz": "_com1.tar.gz", "aux .csv": "_aux .csv", "a. ": "a", " ...": "_",
		".hidden": "_.hidden", "a:b*c?.csv": "a_b_c_.csv", "..": "_", "console.csv": "console.csv", "lpt¹.csv": "_lpt¹.csv",
		strings.Repeat("a", 300) + ".gpx": strings.Repeat("a", 116) + ".gpx", strings.Repeat("a", 300): strings.Repeat("a", 120),
	} {
		require.Equal(t, want, safeName(name), "%q", name)
	}
	require.Equal(t, []string{"a.csv", "A-2.csv", "a-2-2.csv", "a-3.csv"}, fileNames([]File{{Name: "a.csv"}, {Name: "A.csv"}, {Name: "a-2.csv"}, {Name: "a.csv"}}))

	s := opened(t, t.TempDir())
	names := []string{"../../x", "/etc/passwd", "nul\x00byte", strings.Repeat("long", 75), "AUX.csv", "x", "..", "X", `..\..\x`}
	for i, name := range names {
		_, _, err := s.Keep(t.Context(), []*Received{receive(t, s, name, fmt.Append(nil, "one ", i)), receive(t, s, name, fmt.Append(nil, "two ", i))}, About{})
		require.NoError(t, err)
	}
	out := filepath.Join(t.TempDir(), "out")
	require.NoError(t, s.Export(t.Context(), out))
	got := folder(t, out)
	require.Len(t, got, 2*len(names)+5)
	for i := range names {
		found := 0
		for name, content := range got {
			if strings.HasPrefix(name, fmt.Sprintf("rides/%d/", i+1)) && (content == fmt.Sprint("one ", i) || content == fmt.Sprint("two ", i)) {
				found++
			}
		}
		require.Equal(t, 2, found, names[i])
	}
	_, err := s.OpenFile(t.Context(), "../../groundline.db")
	require.ErrorIs(t, err, ErrNotFound)
	back := opened(t, t.TempDir())
	_, err = back.Import(t.Context(), out)
	require.NoError(t, err)
	var times []time.Time
	for i := range names {
		a, errA := s.Ride(t.Context(), int64(i+1))
		b, errB := back.Ride(t.Context(), int64(i+1))
		require.NoError(t, errors.Join(errA, errB))
		require.Equal(t, a, b)
		times = append(times, a.KeptAt)
	}
	require.Len(t, times, len(names))
}

// An import that was stopped is taken up by the next.
func TestImportGoesOn(t *testing.T) {
	s := opened(t, t.TempDir())
	for i := range 20 {
		_, _, err := s.Keep(t.Context(), []*Received{receive(t, s, "a.csv", fmt.Append(nil, i))}, About{})
		require.NoError(t, err)
	}
	out := filepath.Join(t.TempDir(), "out")
	require.NoError(t, s.Export(t.Context(), out))
	again := opened(t, t.TempDir())
	ctx, stop := context.WithCancel(t.Context())
	go func() {
		for range 4 { // horses and courses, then rides
			<-again.Changed()
		}
		stop()
	}()
	got, err := again.Import(ctx, out)
	if err != nil { // it may have been faster
		require.ErrorIs(t, err, context.Canceled)
	}
	checkFiles(t, again)
	rest, err := again.Import(t.Context(), out)
	require.NoError(t, err)
	require.Equal(t, got.Rides, rest.Already)
	require.Equal(t, 20, got.Rides+rest.Rides)
	back := filepath.Join(t.TempDir(), "back")
	require.NoError(t, again.Export(t.Context(), back))
	sameFolder(t, folder(t, out), folder(t, back))
}

// How long everything takes to a folder and back, a thousand rides of 50 kB.
func BenchmarkExportAndImport(b *testing.B) {
	s := opened(b, b.TempDir())
	gpx := bytes.Repeat([]byte("x"), 50_000)
	for i := range 1000 {
		if _, _, err := s.Keep(b.Context(), []*Received{receive(b, s, "a.gpx", fmt.Append(gpx, i))}, About{}); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		out := filepath.Join(b.TempDir(), "out")
		if err := s.Export(b.Context(), out); err != nil {
			b.Fatal(err)
		}
		if _, err := opened(b, b.TempDir()).Import(b.Context(), out); err != nil {
			b.Fatal(err)
		}
	}
}

// A ride whose file is damaged in the folder is left out and named; the rest is taken in.
func TestImportTakesTheSoundRest(t *testing.T) {
	s := opened(t, t.TempDir())
	ids := study(t, s)
	out := filepath.Join(t.TempDir(), "out")
	require.NoError(t, s.Export(t.Context(), out))
	require.NoError(t, Verify(t.Context(), out, Options{}))
	var k Kept
	data, err := os.ReadFile(filepath.Join(out, "kept.json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, &k))
	flip(t, filepath.Join(out, filepath.FromSlash(k.Rides[0].Files[0].File)), 5, 1)
	require.NoError(t, os.Remove(filepath.Join(out, filepath.FromSlash(k.Rides[1].Files[0].File))))
	require.Error(t, Verify(t.Context(), out, Options{}))

	again := opened(t, t.TempDir())
	got, err := again.Import(t.Context(), out)
	var left *LeftOutError
	require.ErrorAs(t, err, &left)
	require.Len(t, left.Faults, 2)
	require.ErrorContains(t, err, "ride 1: "+k.Rides[0].Files[0].File+": its SHA-256 is ")
	require.ErrorContains(t, err, "ride 2: "+k.Rides[1].Files[0].File+": missing")
	require.Equal(t, len(ids)-2, got.Rides)
	entries, err := os.ReadDir(filepath.Dir(out))
	require.NoError(t, err)
	require.Len(t, entries, 1, "the trials left nothing")
}

// What an export leaves that is killed is removed by the next who opens the store, and nothing else is.
func TestKilledExportLeavesNothing(t *testing.T) {
	dir, to := t.TempDir(), t.TempDir()
	part, other := filepath.Join(to, ".out.123.part"), filepath.Join(to, "other")
	for _, d := range []string{part, other} {
		require.NoError(t, os.MkdirAll(filepath.Join(d, "rides"), 0o700))
	}
	dead(t, dir)
	for i, d := range []string{part, other} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, incomingName, "DEAD", fmt.Sprint(exportNote, i)), []byte(d), 0o600))
	}
	opened(t, dir)
	require.NoDirExists(t, part)
	require.DirExists(t, other)
}
