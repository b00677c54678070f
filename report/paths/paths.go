// Package paths finds the rides among files and folders, by what the files hold and not by what they are called.
package paths

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

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

// Left is a file of a folder that is part of no ride.
type Left struct{ Path, Why string }

// Options are what is known of all rides beforehand.
type Options struct {
	Course  string // plan file of rides that have none of their own
	Horse   string
	Columns string // by which motion CSVs are recognised whose header does not tell, see [read.Options]
}

// Plans that a folder may hold beside its recordings, the first found being taken.
var planNames = [...]string{"course.yaml", "course.yml", "plan.yaml", "plan.yml", "course.geojson", "plan.geojson"}

const (
	// SidecarEnding ends the name of the file that tells a table's provenance.
	SidecarEnding = ".provenance.json"
	// PartsEnding ends the name of a folder of parts of a table.
	PartsEnding = ".parts"
)

// Rides are the rides among files and folders, and the files of the folders that are part of none.
//
//   - "a.gpx+a.csv" is one ride of these files.
//   - Files beside each other are one ride where no two of them can be two rides: at most one of them has positions and
//     at most one an accelerometer.
//   - A folder with a plan (course.yaml, plan.yaml, or .yml or .geojson) and one file with positions is one ride of all its
//     recordings.
//   - Otherwise files of the same name before the ending (a.gpx, a.csv) are one ride, and any other file is a ride.
//   - Folders are searched with all below them, but for names that begin with a dot. A plan in a folder is that of
//     the recordings beside it. A folder that holds one ride over a plan gives it its name.
//
// What a folder's files are is found by their content; files that are given by name are taken for recordings whatever
// they hold. The rides come sorted by their names; the error tells every fault.
func Rides(args []string, opt Options) ([]Ride, []Left, error) {
	f := finder{opt: opt}
	var loose []string
	for _, a := range args {
		if strings.Contains(a, "+") && !exists(a) {
			f.add(a, strings.Split(a, "+"), opt.Course)
			continue
		}
		info, err := os.Stat(a)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			f.fault("%s: no such file, expected a recording or a folder of recordings", a)
		case err != nil:
			f.fault("%s: can't be read, expected a recording or a folder of recordings", a)
		case info.IsDir():
			rides, left := len(f.rides), len(f.left)
			f.folder(a, 0)
			if len(f.rides) == rides {
				f.fault("%s: no recording in it%s", a, lookedAt(f.left[left:]))
				f.left = f.left[:left]
			}
		default:
			loose = append(loose, a)
		}
	}
	f.group(loose, opt.Course)
	return f.done()
}

// One is the ride of all files given. A folder among them has to hold one ride; the plan in it is the ride's where the
// options have none.
func One(args []string, opt Options) (Ride, []Left, error) {
	out := Ride{Recording: filepath.ToSlash(strings.Join(args, "+")), Course: opt.Course, Horse: opt.Horse, Columns: opt.Columns}
	var left []Left
	var faults []error
	for _, a := range args {
		if info, err := os.Stat(a); err != nil || !info.IsDir() {
			out.Files = append(out.Files, a) // one that can't be read is its reader's to refuse
			continue
		}
		in, others, err := Rides([]string{a}, Options{Columns: opt.Columns})
		switch {
		case err != nil:
			faults = append(faults, err)
		case len(in) > 1:
			faults = append(faults, fmt.Errorf("%s: %d rides in it (%s), expected one: name the files of one", a, len(in), some(in, func(r Ride) string { return r.Recording })))
		default:
			out.Files = append(out.Files, in[0].Files...)
			left = append(left, others...)
			if out.Course == "" {
				out.Course = in[0].Course
			}
		}
	}
	return out, left, errors.Join(faults...)
}

// some names the first of a list, and how many more there are.
func some[T any](list []T, name func(T) string) string {
	const shown = 5
	var names []string
	for i, x := range list {
		if i == shown && len(list) > shown+1 {
			return fmt.Sprintf("%s and %d more", strings.Join(names, ", "), len(list)-shown)
		}
		names = append(names, name(x))
	}
	return strings.Join(names, ", ")
}

// NotRead names the files that are part of no ride, "" for none.
func NotRead(left []Left) string {
	if len(left) == 0 {
		return ""
	}
	return "not read: " + some(left, func(l Left) string { return fmt.Sprintf("%s (%s)", filepath.ToSlash(l.Path), l.Why) })
}

// lookedAt says why a folder's files are no recordings.
func lookedAt(left []Left) string {
	if len(left) == 0 {
		return ", expected the files of a ride"
	}
	return ", " + NotRead(left)
}

// file is a recording with what it holds.
type file struct {
	path string
	read.Kind
}

type finder struct {
	opt    Options
	rides  []Ride
	left   []Left
	faults []error
}

func (f *finder) fault(format string, args ...any) {
	f.faults = append(f.faults, fmt.Errorf(format, args...))
}

func (f *finder) add(name string, files []string, course string) {
	for _, p := range files {
		if p == "" {
			f.fault("%s: a + without a file on either side, expected files joined by +", name)
			return
		}
		if !exists(p) {
			f.fault("%s: no such file %s, expected a recording", name, p)
			return
		}
	}
	f.rides = append(f.rides, Ride{Recording: filepath.ToSlash(name), Files: files, Course: course, Horse: f.opt.Horse})
}

// done sorts the rides and refuses a ride that is there twice.
func (f *finder) done() ([]Ride, []Left, error) {
	slices.SortFunc(f.rides, func(a, b Ride) int { return strings.Compare(a.Recording, b.Recording) })
	for i := 1; i < len(f.rides); i++ {
		if f.rides[i].Recording == f.rides[i-1].Recording {
			f.fault("%s: is there twice, expected each ride once", f.rides[i].Recording)
		}
	}
	return f.rides, f.left, errors.Join(f.faults...)
}

// deepest is how far down folders are searched: links that lead back up end there.
const deepest = 12

func (f *finder) folder(dir string, depth int) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		f.fault("%s: can't be read, expected a folder of recordings", dir)
		return
	}
	plan := ""
	for _, name := range planNames {
		if p := filepath.Join(dir, name); exists(p) {
			plan = p
			break
		}
	}
	var files []string
	for _, e := range entries {
		path := filepath.Join(dir, e.Name())
		switch {
		case strings.HasPrefix(e.Name(), "."), path == plan, strings.HasSuffix(e.Name(), SidecarEnding):
		case e.IsDir():
			if depth < deepest && !strings.HasSuffix(e.Name(), PartsEnding) {
				f.folder(path, depth+1)
			}
		case exists(path + SidecarEnding):
			f.left = append(f.left, Left{path, "a table"})
		default:
			if k := read.Look(path, f.opt.Columns); k.Format == "" {
				f.left = append(f.left, Left{path, k.Why})
			} else {
				files = append(files, path)
			}
		}
	}
	before := len(f.rides)
	if plan == "" {
		f.group(files, f.opt.Course)
		return
	}
	if positions, _ := f.count(f.look(files)); positions == 1 {
		f.add(dir, files, plan)
		return
	}
	f.group(files, plan)
	if len(f.rides) == before+1 {
		f.rides[before].Recording = filepath.ToSlash(dir)
	}
}

// look finds out what files hold, in order of their names.
func (f *finder) look(paths []string) []file {
	var out []file
	for _, p := range paths {
		out = append(out, file{p, read.Look(p, f.opt.Columns)})
	}
	slices.SortFunc(out, func(a, b file) int { return strings.Compare(a.path, b.path) })
	return out
}

// count is how many of the files have positions, and how many an accelerometer; what is no recording may be either.
func (f *finder) count(files []file) (positions, motions int) {
	for _, x := range files {
		if x.Positions || x.Format == "" {
			positions++
		}
		if x.Motion || x.Format == "" {
			motions++
		}
	}
	return positions, motions
}

// group makes rides of single files.
func (f *finder) group(paths []string, course string) {
	byFolder := map[string][]file{}
	for _, x := range f.look(paths) {
		dir := filepath.Dir(x.path)
		byFolder[dir] = append(byFolder[dir], x)
	}
	for _, dir := range sortedKeys(byFolder) {
		in := byFolder[dir]
		if positions, motions := f.count(in); positions <= 1 && motions <= 1 {
			slices.SortStableFunc(in, func(a, b file) int { // positions first
				switch {
				case a.Positions && !b.Positions:
					return -1
				case b.Positions && !a.Positions:
					return 1
				}
				return 0
			})
			f.addAll(in, course)
			continue
		}
		byStem := map[string][]file{}
		for _, x := range in {
			byStem[stem(x.path)] = append(byStem[stem(x.path)], x)
		}
		for _, s := range sortedKeys(byStem) {
			f.addAll(byStem[s], course)
		}
	}
}

func (f *finder) addAll(files []file, course string) {
	var names []string
	for _, x := range files {
		names = append(names, x.path)
	}
	f.add(strings.Join(names, "+"), names, course)
}

// stem is a name without its ending and that of a packed file.
func stem(name string) string {
	name = strings.TrimSuffix(name, ".gz")
	return strings.TrimSuffix(name, filepath.Ext(name))
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
