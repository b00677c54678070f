package table

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"groundline/trace/read"
)

// Ride is one ride to be read.
type Ride struct {
	// Recording names the ride: its files as given, joined by +, or its folder.
	Recording string
	Files     []string // to be opened
	Course    string   // plan file; "" for none
	Horse     string   // "" where nobody said
	Label     string   // round label; "" for none
	// Columns maps the columns of its motion CSVs by hand, see [read.Options]; "" takes those of the settings.
	Columns string
}

// Plans that a folder may hold beside its recordings, the first found being taken.
var planNames = [...]string{"course.yaml", "course.yml", "plan.yaml", "plan.yml", "course.geojson", "plan.geojson"}

// SidecarEnding ends the name of the file that tells a table's provenance.
const SidecarEnding = ".provenance.json"

// Find is the rides among files and folders.
//
//   - "a.gpx+a.csv" is one ride of these files.
//   - A folder with a plan (course.yaml, plan.yaml, or .yml or .geojson) and one file of positions (.gpx, .tcx, .fit) is one
//     ride of all its recordings.
//   - Other files, given or in a folder, are a ride each, but for two cases in which they are one: files of the
//     same name before the ending (a.gpx, a.csv), and a folder's only file of positions with its only other one.
//   - Folders are searched with all below them, but for names that begin with a dot. A plan in a folder is that of
//     the recordings beside it. A folder that holds one ride over a plan gives it its name.
//
// course is the plan of rides that have none of their own, horse the horse's name. Tables made by this program are
// no recordings. The rides come sorted by their names; the error tells every fault.
func Find(args []string, course, horse string) ([]Ride, error) {
	f := finder{course: course, horse: horse}
	var loose []string
	for _, a := range args {
		if strings.Contains(a, "+") && !exists(a) {
			f.add(a, strings.Split(a, "+"), course)
			continue
		}
		info, err := os.Stat(a)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			f.fault("%s: no such file, expected a recording or a folder of recordings", a)
		case err != nil:
			f.fault("%s: can't be read, expected a recording or a folder of recordings", a)
		case info.IsDir():
			before := len(f.rides)
			f.folder(a, 0)
			if len(f.rides) == before {
				f.fault("%s: no recording in it, expected files that end in %s", a, strings.Join(recordingEndings[:], ", "))
			}
		default:
			loose = append(loose, a)
		}
	}
	f.group(loose, course)
	return f.done()
}

type finder struct {
	course, horse string
	rides         []Ride
	faults        []error
}

func (f *finder) fault(format string, args ...any) {
	f.faults = append(f.faults, fmt.Errorf(format, args...))
}

func (f *finder) add(name string, files []string, course string) {
	for _, p := range files {
		if !exists(p) {
			f.fault("%s: no such file %s, expected a recording", name, p)
			return
		}
	}
	f.rides = append(f.rides, Ride{Recording: filepath.ToSlash(name), Files: files, Course: course, Horse: f.horse})
}

// done sorts the rides and refuses a ride that is there twice.
func (f *finder) done() ([]Ride, error) {
	slices.SortFunc(f.rides, func(a, b Ride) int { return strings.Compare(a.Recording, b.Recording) })
	for i := 1; i < len(f.rides); i++ {
		if f.rides[i].Recording == f.rides[i-1].Recording {
			f.fault("%s: is there twice, expected each ride once", f.rides[i].Recording)
		}
	}
	return f.rides, errors.Join(f.faults...)
}

// deepest is how far down folders are searched: links that lead back up end there.
const deepest = 12

func (f *finder) folder(dir string, depth int) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		f.fault("%s: can't be read, expected a folder of recordings", dir)
		return
	}
	var files []string
	plan := ""
	for _, name := range planNames {
		if p := filepath.Join(dir, name); exists(p) {
			plan = p
			break
		}
	}
	for _, e := range entries {
		name := filepath.Join(dir, e.Name())
		switch {
		case strings.HasPrefix(e.Name(), "."):
		case e.IsDir():
			if depth < deepest && !strings.HasSuffix(e.Name(), PartsEnding) {
				f.folder(name, depth+1)
			}
		case isRecording(name):
			files = append(files, name)
		}
	}
	tracks := 0
	for _, p := range files {
		if hasPlaces(p) {
			tracks++
		}
	}
	before := len(f.rides)
	switch {
	case plan == "":
		f.group(files, f.course)
	case tracks == 1:
		f.add(dir, files, plan)
	default:
		f.group(files, plan)
		if len(f.rides) == before+1 {
			f.rides[before].Recording = filepath.ToSlash(dir)
		}
	}
}

var recordingEndings = [...]string{".gpx", ".tcx", ".fit", ".csv", ".zip"}

// ending is the ending that tells what a file holds, in lower case and without that of a packed file, and
// the name before it.
func ending(name string) (stem, end string) {
	stem = strings.TrimSuffix(name, ".gz")
	end = strings.ToLower(filepath.Ext(stem))
	return stem[:len(stem)-len(end)], end
}

func isRecording(name string) bool {
	_, end := ending(name)
	return slices.Contains(recordingEndings[:], end) && !exists(name+SidecarEnding)
}

func hasPlaces(name string) bool {
	_, end := ending(name)
	return end == ".gpx" || end == ".tcx" || end == ".fit"
}

// group makes rides of single files.
func (f *finder) group(files []string, course string) {
	slices.Sort(files)
	byFolder := map[string][]string{}
	for _, p := range files {
		byFolder[filepath.Dir(p)] = append(byFolder[filepath.Dir(p)], p)
	}
	for _, dir := range sortedKeys(byFolder) {
		in := byFolder[dir]
		if len(in) == 2 && hasPlaces(in[0]) != hasPlaces(in[1]) {
			if !hasPlaces(in[0]) {
				in[0], in[1] = in[1], in[0]
			}
			f.add(strings.Join(in, "+"), in, course)
			continue
		}
		byStem := map[string][]string{}
		for _, p := range in {
			stem, _ := ending(p)
			byStem[stem] = append(byStem[stem], p)
		}
		for _, stem := range sortedKeys(byStem) {
			f.add(strings.Join(byStem[stem], "+"), byStem[stem], course)
		}
	}
}

func sortedKeys[T any](m map[string]T) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

func exists(name string) bool {
	_, err := os.Stat(name)
	return err == nil
}

// The manifest: its columns, and what bounds it.
const (
	// MaxManifestBytes is more than a manifest of a million rides.
	MaxManifestBytes = 256 << 20
	// maxName bounds a horse's name: in a partitioned table it names a folder, and file systems
	// allow 255 bytes, of which escaping may take three for one.
	maxName = 80
)

// ReadManifest reads a list of rides: CSV with a header that names the columns recording, course, horse, round and
// columns (see [Ride]), in any order; only recording must be there. A recording is one file or folder, or the files of one ride joined by +.
// Paths are relative to the manifest's folder, written with / or as the system has it. A ride without course of
// its own has that of its folder, where there is one, else the course given. name is the manifest's path. The error
// tells every fault with its line.
func ReadManifest(name string, data []byte, course string) ([]Ride, error) {
	if len(data) > MaxManifestBytes {
		return nil, fmt.Errorf("%s: too long, expected at most %d MB", name, MaxManifestBytes>>20)
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	if !utf8.Valid(data) {
		return nil, fmt.Errorf("%s: not UTF-8, expected a manifest as CSV", name)
	}
	in := csv.NewReader(bytes.NewReader(data))
	in.FieldsPerRecord, in.TrimLeadingSpace = -1, true
	head, err := in.Read()
	if err != nil {
		return nil, fmt.Errorf("%s: empty or no CSV, expected a header recording,course,horse,round", name)
	}
	column := map[string]int{}
	f := finder{}
	for i, h := range head {
		switch h = strings.ToLower(strings.TrimSpace(h)); h {
		case "recording", "course", "horse", "round", "columns":
			if _, twice := column[h]; twice {
				f.fault("%s:1: %s: is there twice, expected each column once", name, h)
			}
			column[h] = i
		case "round label", "round_label":
			column["round"] = i
		default:
			// Columns of the researcher's own are left alone.
		}
	}
	if _, ok := column["recording"]; !ok {
		return nil, fmt.Errorf("%s:1: header %s, expected a column recording, and course, horse, round where known", name, strings.Join(head, ","))
	}
	beside := filepath.Dir(name)
	place := func(p string) string {
		if p = filepath.FromSlash(p); filepath.IsAbs(p) {
			return p
		}
		return filepath.Join(beside, p)
	}
	for {
		fields, err := in.Read()
		if err == io.EOF {
			break
		}
		if err != nil { // quotes that don't match: what follows is anyone's guess
			f.fault("%s: %v, expected CSV", name, err)
			break
		}
		line, _ := in.FieldPos(0)
		get := func(c string) string {
			if i, ok := column[c]; ok && i < len(fields) {
				return strings.TrimSpace(fields[i])
			}
			return ""
		}
		r := Ride{Recording: get("recording"), Horse: get("horse"), Label: get("round"), Columns: get("columns")}
		if r.Recording == "" {
			if len(fields) > 1 || strings.TrimSpace(fields[0]) != "" {
				f.fault("%s:%d: recording: empty, expected a file, a folder, or files joined by +", name, line)
			}
			continue
		}
		if bad := badName(r.Horse); bad != "" {
			f.fault("%s:%d: horse: %s", name, line, bad)
		}
		if bad := badName(r.Label); bad != "" {
			f.fault("%s:%d: round: %s", name, line, bad)
		}
		if err := read.CheckColumns(r.Columns); err != nil {
			f.fault("%s:%d: columns: %w", name, line, err)
		}
		folderPlan := ""
		parts := []string{r.Recording}
		if !exists(place(r.Recording)) {
			parts = strings.Split(r.Recording, "+")
		}
		for _, p := range parts {
			p = place(strings.TrimSpace(p))
			info, err := os.Stat(p)
			switch {
			case err != nil:
				f.fault("%s:%d: recording: no such file %s, expected one beside the manifest", name, line, p)
			case info.IsDir():
				in := finder{}
				in.folder(p, deepest)
				for _, q := range in.rides {
					r.Files = append(r.Files, q.Files...)
					if folderPlan == "" {
						folderPlan = q.Course
					}
				}
				if len(r.Files) == 0 {
					f.fault("%s:%d: recording: no recording in %s, expected files that end in %s", name, line, p, strings.Join(recordingEndings[:], ", "))
				}
			default:
				r.Files = append(r.Files, p)
			}
		}
		switch c := get("course"); {
		case c != "":
			if r.Course = place(c); !exists(r.Course) {
				f.fault("%s:%d: course: no such file %s, expected a plan beside the manifest", name, line, r.Course)
			}
		case folderPlan != "":
			r.Course = folderPlan
		default:
			r.Course = course
		}
		r.Recording = path.Clean(filepath.ToSlash(r.Recording))
		f.rides = append(f.rides, r)
	}
	if len(f.rides) == 0 && len(f.faults) == 0 {
		f.fault("%s: no ride in it, expected a row for each", name)
	}
	return f.done()
}

// badName says what is wrong with a horse's name or a round's label, "" for nothing.
func badName(s string) string {
	switch {
	case len(s) > maxName:
		return fmt.Sprintf("%d bytes long, expected at most %d", len(s), maxName)
	case strings.ContainsFunc(s, unicode.IsControl):
		return "has a control character, expected words"
	}
	return ""
}

// Shard is a part of the rides, I of N, I from 1.
type Shard struct{ I, N int }

// Take is the shard's rides: every Nth of the sorted rides, so that the shards are about equally long and each ride is in
// exactly one.
func (s Shard) Take(rides []Ride) []Ride {
	if s.N <= 1 {
		return rides
	}
	var out []Ride
	for i := s.I - 1; i < len(rides); i += s.N {
		out = append(out, rides[i])
	}
	return out
}
