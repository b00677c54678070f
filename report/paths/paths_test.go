package paths

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// tree makes files in a new folder and goes there. What they hold follows from their endings, but for .is-KIND before it.
func tree(t *testing.T, names ...string) {
	t.Helper()
	t.Chdir(t.TempDir())
	held := map[string]string{
		".gpx":  "<gpx/>",
		".tcx":  "<TrainingCenterDatabase/>",
		".fit":  "\x0e\x10\x00\x00\x00\x00\x00\x00.FIT\x00\x00",
		".csv":  "time_s,ax_m_s2,ay_m_s2,az_m_s2\n0,0,0,9.8\n0.01,0,0,9.8\n0.02,0,0,9.8\n",
		".gyr":  "time_s,gx_rad_s,gy_rad_s,gz_rad_s\n0,0,0,1\n0.01,0,0,1\n0.02,0,0,1\n",
		".loc":  "time,lat,lon\n1780477920,51.4,-2.3\n1780477921,51.4,-2.3\n1780477922,51.4,-2.3\n",
		".json": "{}",
		".txt":  "a fine ride",
	}
	for _, n := range names {
		require.NoError(t, os.MkdirAll(filepath.Dir(n), 0o777))
		kind := strings.ToLower(filepath.Ext(strings.TrimSuffix(n, ".gz")))
		if _, is, ok := strings.Cut(n, ".is-"); ok {
			kind = "." + strings.TrimSuffix(is, filepath.Ext(is))
		}
		require.NoError(t, os.WriteFile(n, []byte(held[kind]), 0o666))
	}
}

func TestWhatIsOneRide(t *testing.T) {
	for name, c := range map[string]struct {
		files, args string
		want        []string // recording < course
	}{
		"a track and a motion file":            {"ride.gpx motion.csv", "ride.gpx motion.csv", []string{"ride.gpx+motion.csv < given"}},
		"in another order":                     {"ride.gpx motion.csv", "motion.csv ride.gpx", []string{"ride.gpx+motion.csv < given"}},
		"joined by hand":                       {"b.gpx a.csv c.csv", "b.gpx+a.csv c.csv", []string{"b.gpx+a.csv < given", "c.csv < given"}},
		"tracks are a ride each":               {"a.gpx b.gpx", "a.gpx b.gpx", []string{"a.gpx < given", "b.gpx < given"}},
		"motion files too":                     {"a.csv b.csv", "b.csv a.csv", []string{"a.csv < given", "b.csv < given"}},
		"one name, one ride":                   {"a.gpx a.csv.gz b.FIT b.csv c.tcx", "a.gpx a.csv.gz b.FIT b.csv c.tcx", []string{"a.csv.gz+a.gpx < given", "b.FIT+b.csv < given", "c.tcx < given"}},
		"a folder with a plan":                 {"r/course.yaml r/x.gpx r/y.csv r/z.csv r/truth.json", "r", []string{"r < r/course.yaml"}},
		"days over one plan":                   {"r/course.yaml r/mon.gpx r/mon.csv r/tue.gpx", "r", []string{"r/mon.csv+r/mon.gpx < r/course.yaml", "r/tue.gpx < r/course.yaml"}},
		"a motion file with its plan":          {"r/course.yaml r/motion.csv", "r", []string{"r < r/course.yaml"}},
		"folders of folders":                   {"d/1/ride.gpx d/1/motion.csv d/1/course.yaml d/2/ride.gpx d/2/motion.csv d/.hidden/ride.gpx", "d", []string{"d/1 < d/1/course.yaml", "d/2/ride.gpx+d/2/motion.csv < given"}},
		"a plan above does not swallow a tree": {"d/course.yaml d/1/a.gpx d/1/b.gpx", "d", []string{"d/1/a.gpx < given", "d/1/b.gpx < given"}},
		"a table is no recording":              {"d/ride.gpx d/table.csv d/table.csv.provenance.json d/table.csv.parts/k.csv", "d", []string{"d/ride.gpx < given"}},
		"a name with a plus":                   {"a+b.gpx", "a+b.gpx", []string{"a+b.gpx < given"}},
		"by what they hold":                    {"d/ride.gpx d/motion.is-csv.tsv d/notes.txt", "d", []string{"d/ride.gpx+d/motion.is-csv.tsv < given"}},
		"one file for each sensor":             {"d/l.is-loc.csv d/a.csv d/g.is-gyr.csv", "d", []string{"d/l.is-loc.csv+d/a.csv+d/g.is-gyr.csv < given"}},
		"places in a table":                    {"d/a.is-loc.csv d/a.csv d/b.is-loc.csv", "d", []string{"d/a.csv < given", "d/a.is-loc.csv < given", "d/b.is-loc.csv < given"}},
		"called a recording":                   {"d/a.gpx d/b.is-json.gpx", "d", []string{"d/a.gpx < given"}},
	} {
		t.Run(name, func(t *testing.T) {
			tree(t, strings.Fields(c.files)...)
			rides, _, err := Rides(strings.Fields(c.args), Options{Course: "given", Horse: "Bramble"})
			require.NoError(t, err)
			var got []string
			for _, r := range rides {
				got = append(got, r.Recording+" < "+filepath.ToSlash(r.Course))
				require.Equal(t, "Bramble", r.Horse)
				require.NotEmpty(t, r.Files)
			}
			require.Equal(t, c.want, got)
		})
	}
}

// What lies in a folder and is part of no ride is named.
func TestWhatIsLeftOut(t *testing.T) {
	tree(t, "d/course.yaml", "d/ride.gpx", "d/motion.csv", "d/truth.json", "d/.hidden", "d/deep/notes.txt", "d/table.csv", "d/table.csv.provenance.json")
	_, left, err := Rides([]string{"d"}, Options{})
	require.NoError(t, err)
	require.Equal(t, "not read: d/deep/notes.txt (no rows of numbers), d/table.csv (a table), d/truth.json (JSON)", NotRead(left))
	require.Empty(t, NotRead(nil))
}

func TestOne(t *testing.T) {
	tree(t, "d/course.yaml", "d/ride.gpx", "d/motion.csv", "d/truth.json", "two/a.gpx", "two/b.gpx", "none/notes.txt", "x.gpx")
	ride, left, err := One([]string{"d"}, Options{})
	require.NoError(t, err)
	require.Equal(t, Ride{Recording: "d", Files: []string{"d/motion.csv", "d/ride.gpx"}, Course: "d/course.yaml"}, ride)
	require.Equal(t, []Left{{"d/truth.json", "JSON"}}, left)
	ride, _, err = One([]string{"x.gpx", "d/motion.csv", "missing"}, Options{Course: "given"})
	require.NoError(t, err, "what is named is the reader's")
	require.Equal(t, Ride{Recording: "x.gpx+d/motion.csv+missing", Files: []string{"x.gpx", "d/motion.csv", "missing"}, Course: "given"}, ride)
	_, _, err = One([]string{"two", "none"}, Options{})
	require.ErrorContains(t, err, "two: 2 rides in it (two/a.gpx, two/b.gpx), expected one: name the files of one")
	require.ErrorContains(t, err, "none: no recording in it")
}

// All faults come at once, each with its place.
func TestNoRide(t *testing.T) {
	tree(t, "empty/notes.txt", "a.gpx")
	_, _, err := Rides([]string{"missing.gpx", "empty", "a.gpx+b.csv", "a.gpx+", "a.gpx", "a.gpx"}, Options{})
	require.Error(t, err)
	for _, want := range []string{
		"missing.gpx: no such file, expected a recording or a folder of recordings",
		"empty: no recording in it, not read: empty/notes.txt (no rows of numbers)",
		"a.gpx+: a + without a file on either side, expected files joined by +",
		"a.gpx+b.csv: no such file b.csv, expected a recording",
	} {
		require.Contains(t, err.Error(), want)
	}
	_, _, err = Rides([]string{"a.gpx+a.gpx", "a.gpx+a.gpx"}, Options{})
	require.ErrorContains(t, err, "a.gpx+a.gpx: is there twice, expected each ride once")
}

func TestManifest(t *testing.T) {
	tree(t, "study/one.gpx", "study/one.csv", "study/two/ride.gpx", "study/two/motion.csv", "study/two/course.yaml", "study/c.yaml", "three.zip")
	rides, err := ReadManifest("study/rides.csv", []byte("\ufeffHorse,Recording,round,course,vet,columns\r\n"+
		"Bramble,one.gpx+one.csv,first,c.yaml,yes,\"t=clock,ax=x,ay=y,az=z\"\r\n"+
		"\"Moss, the\",two,,,\r\n"+
		"\r\n"+
		",../three.zip\r\n"), "given")
	require.NoError(t, err)
	require.Equal(t, []Ride{
		{Recording: "../three.zip", Files: []string{"three.zip"}, Course: "given"},
		{Recording: "one.gpx+one.csv", Files: []string{"study/one.gpx", "study/one.csv"}, Course: "study/c.yaml", Horse: "Bramble", Label: "first", Columns: "t=clock,ax=x,ay=y,az=z"},
		{Recording: "two", Files: []string{"study/two/motion.csv", "study/two/ride.gpx"}, Course: "study/two/course.yaml", Horse: "Moss, the"},
	}, rides)
}

func TestManifestFaults(t *testing.T) {
	tree(t, "a.gpx", "none/notes.txt")
	for data, wants := range map[string][]string{
		"":                      {"m.csv: empty or no CSV, expected a header recording,course,horse,round"},
		"file,horse\na.gpx,B\n": {"m.csv:1: header file,horse, expected a column recording"},
		"recording\n":           {"m.csv: no ride in it"},
		"recording,horse\n,B\nb.gpx,B\na.gpx+c.csv,\nnone,\n": {
			"m.csv:2: recording: empty, expected a file", "m.csv:3: recording: no such file b.gpx",
			"m.csv:4: recording: no such file c.csv", "m.csv:5: recording: no recording in none"},
		"recording,course\na.gpx,b.yaml\n":                         {"m.csv:2: course: no such file b.yaml"},
		"recording,horse,horse\na.gpx,B,C\n":                       {"m.csv:1: horse: is there twice"},
		"recording,columns\na.gpx,nonsense\n":                      {"m.csv:2: columns: "},
		"recording\na.gpx\na.gpx\n":                                {"a.gpx: is there twice"},
		"recording,horse\na.gpx," + strings.Repeat("x", 81) + "\n": {"m.csv:2: horse: 81 bytes long, expected at most 80"},
		"recording,horse\na.gpx,\"a\tb\"\n":                        {"m.csv:2: horse: has a control character"},
		"recording,horse\na.gpx,\"open\n":                          {"m.csv: "},
		"recording\n\xff\xfe\n":                                    {"m.csv: not UTF-8"},
	} {
		_, err := ReadManifest("m.csv", []byte(data), "")
		require.Error(t, err, data)
		for _, want := range wants {
			require.ErrorContains(t, err, want)
		}
	}
}

func FuzzManifest(f *testing.F) {
	f.Add([]byte("recording,course,horse,round\na.gpx,,Bramble,1\n"))
	f.Add([]byte("recording\n\"a"))
	f.Fuzz(func(t *testing.T, data []byte) {
		rides, err := ReadManifest("m.csv", data, "")
		if err == nil && len(rides) == 0 {
			t.Fatal("neither rides nor a fault")
		}
	})
}

// Rounds as people keep them: a folder each, with the plan, the recordings, and what is none.
func TestRoundsAreOneRideEach(t *testing.T) {
	dirs, err := filepath.Glob("../../../shared/data/rounds/*/course.yaml")
	require.NoError(t, err)
	if len(dirs) == 0 {
		t.Skip("the shared rounds are not here")
	}
	for _, plan := range dirs {
		rides, left, err := Rides([]string{filepath.Dir(plan)}, Options{})
		require.NoError(t, err)
		require.Len(t, rides, 1)
		require.Equal(t, plan, rides[0].Course)
		for _, l := range left {
			require.NotContains(t, []string{".gpx", ".fit", ".tcx"}, filepath.Ext(l.Path))
			require.NotEqual(t, "motion.csv", filepath.Base(l.Path))
		}
	}
}
