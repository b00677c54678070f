package table

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// tree makes empty files in a new folder and goes there.
func tree(t *testing.T, names ...string) {
	t.Helper()
	t.Chdir(t.TempDir())
	for _, n := range names {
		require.NoError(t, os.MkdirAll(filepath.Dir(n), 0o777))
		require.NoError(t, os.WriteFile(n, nil, 0o666))
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
	} {
		t.Run(name, func(t *testing.T) {
			tree(t, strings.Fields(c.files)...)
			rides, err := Find(strings.Fields(c.args), "given", "Bramble")
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

// All faults come at once, each with its place.
func TestNoRide(t *testing.T) {
	tree(t, "empty/notes.txt", "a.gpx")
	_, err := Find([]string{"missing.gpx", "empty", "a.gpx+b.csv", "a.gpx", "a.gpx"}, "", "")
	require.Error(t, err)
	for _, want := range []string{
		"missing.gpx: no such file, expected a recording or a folder of recordings",
		"empty: no recording in it, expected files that end in .gpx, .tcx, .fit, .csv, .zip",
		"a.gpx+b.csv: no such file b.csv, expected a recording",
	} {
		require.Contains(t, err.Error(), want)
	}
	_, err = Find([]string{"a.gpx+a.gpx", "a.gpx+a.gpx"}, "", "")
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

// The shards of any number of rides are all of them, each once, and about equally many.
func TestShardsAreTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rides := make([]Ride, rapid.IntRange(0, 50).Draw(t, "rides"))
		for i := range rides {
			rides[i].Recording = string(rune('A' + i))
		}
		n := rapid.IntRange(1, 12).Draw(t, "n")
		seen := map[string]int{}
		for i := 1; i <= n; i++ {
			part := Shard{i, n}.Take(rides)
			require.InDelta(t, float64(len(rides))/float64(n), len(part), 1)
			for _, r := range part {
				seen[r.Recording]++
			}
		}
		require.Len(t, seen, len(rides))
		for _, k := range seen {
			require.Equal(t, 1, k)
		}
	})
}

// Folder names are what Hive, and the engines after it, write and read: percent and two hex digits for what has a meaning
// in paths or to them (the characters of Hive's FileUtils, from memory), all else as it stands.
func TestFolder(t *testing.T) {
	for horse, want := range map[string]string{
		"":            "horse=__HIVE_DEFAULT_PARTITION__",
		"Bramble":     "horse=Bramble",
		"Old Moss":    "horse=Old Moss",
		"a/b\\..":     "horse=a%2Fb%5C..",
		"50% = x:y?":  "horse=50%25 %3D x%3Ay%3F",
		"Épée":        "horse=Épée",
		"tab\there#1": "horse=tab%09here%231",
	} {
		require.Equal(t, want, Folder(horse))
	}
}
