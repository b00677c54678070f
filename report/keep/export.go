package keep

import (
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	cells "groundline/report/layout"
)

// KeptSchema names the layout of kept.json, which an exported folder holds. Fields are added, never renamed.
const KeptSchema = "groundline.kept/1"

// The files at the top of an exported folder.
const (
	keptFile   = "kept.json"
	ridesFile  = "rides.csv"
	horsesFile = "horses.csv"
	sumFile    = "kept.json.sha256" // as sha256sum writes it
	readFile   = "README.txt"
)

// Kept is what kept.json holds: all that people said, and where the files are. What rides told is not in it: it is
// worked out anew. Times are RFC 3339 in UTC.
type Kept struct {
	Schema  string       `json:"schema"`
	Horses  []KeptHorse  `json:"horses"`
	Courses []KeptCourse `json:"courses"`
	Rides   []KeptRide   `json:"rides"`
}

// KeptHorse is a horse.
type KeptHorse struct {
	ID   int64  `json:"id"`
	Name string `json:"name"`
	Size string `json:"size"`
	Note string `json:"note"`
}

// KeptCourse is a course with its versions, the first first.
type KeptCourse struct {
	ID       int64         `json:"id"`
	PutAway  bool          `json:"put_away"`
	Versions []KeptVersion `json:"versions"`
}

// KeptVersion is one version of a course.
type KeptVersion struct {
	ID      int64  `json:"id"`
	Version int    `json:"version"`
	Made    string `json:"made"`
	File    string `json:"file"` // in the folder, with slashes
	SHA256  string `json:"sha256"`
}

// KeptRide is a ride with its files in their order.
type KeptRide struct {
	ID            int64      `json:"id"`
	Kept          string     `json:"kept"`
	Start         *string    `json:"start"`          // nil where it is not known
	Horse         *int64     `json:"horse"`          // id
	CourseVersion *int64     `json:"course_version"` // id
	Label         string     `json:"label"`
	Note          string     `json:"note"`
	Columns       string     `json:"columns"`
	Files         []KeptFile `json:"files"`
}

// KeptFile is a recording's file.
type KeptFile struct {
	Name   string `json:"name"` // as it was given
	File   string `json:"file"` // in the folder, with slashes
	SHA256 string `json:"sha256"`
	Bytes  int64  `json:"bytes"`
}

// stamp is a time as text, exact to the millisecond.
func stamp(msUTC int64) string { return fromMS(msUTC).Format(time.RFC3339Nano) }

// inventory is all of a store at one moment.
type inventory struct {
	kept   Kept
	plans  map[int64][]byte // by version
	horse  map[int64]string
	course map[int64]string // name by version
	file   map[int64]string // plan's file by version
	sums   map[int64]string // its SHA-256
	names  map[int64]string // the plan's own name by version, as far as asked for
}

// takeStock reads everything that people said.
func (s *Store) takeStock(ctx context.Context) (*inventory, error) {
	tx, err := s.read.BeginTx(ctx, nil)
	if err != nil {
		return nil, err
	}
	defer tx.Rollback()
	inv := &inventory{kept: Kept{Schema: KeptSchema, Horses: []KeptHorse{}, Courses: []KeptCourse{}, Rides: []KeptRide{}},
		plans: map[int64][]byte{}, horse: map[int64]string{}, course: map[int64]string{}, file: map[int64]string{}, sums: map[int64]string{}, names: map[int64]string{}}
	k := &inv.kept
	err = each(ctx, tx, "SELECT id, name, size, note FROM horse ORDER BY id", func(r row) error {
		var h KeptHorse
		if err := r.Scan(&h.ID, &h.Name, &h.Size, &h.Note); err != nil {
			return err
		}
		k.Horses, inv.horse[h.ID] = append(k.Horses, h), h.Name
		return nil
	})
	if err != nil {
		return nil, err
	}
	taken := map[string]bool{}
	base := ""
	err = each(ctx, tx, `SELECT c.id, c.name, c.away, v.id, v.version, v.name, v.made_ms, v.sha256, v.plan FROM course c JOIN course_version v ON v.course_id = c.id
		ORDER BY c.id, v.version`, func(r row) error {
		var c KeptCourse
		var v KeptVersion
		var name, versionName string
		var madeMS int64
		var plan []byte
		if err := r.Scan(&c.ID, &name, &c.PutAway, &v.ID, &v.Version, &versionName, &madeMS, &v.SHA256, &plan); err != nil {
			return err
		}
		if n := len(k.Courses); n == 0 || k.Courses[n-1].ID != c.ID {
			k.Courses = append(k.Courses, c)
			if base = slug(name); base == "" {
				base = "course"
			}
			base = unique(taken, base)
		}
		v.Made, v.File = stamp(madeMS), path.Join("courses", safeName(fmt.Sprintf("%s.v%d.yaml", base, v.Version)))
		sum := sha256.Sum256(plan) // of what is written, whatever the database says
		v.SHA256 = hex.EncodeToString(sum[:])
		inv.plans[v.ID], inv.course[v.ID], inv.file[v.ID], inv.sums[v.ID] = append([]byte{}, plan...), versionName, v.File, v.SHA256
		last := &k.Courses[len(k.Courses)-1]
		last.Versions = append(last.Versions, v)
		return nil
	})
	if err != nil {
		return nil, err
	}
	var files [][]File // by ride
	err = each(ctx, tx, `SELECT r.id, r.kept_ms, r.start_ms, r.horse_id, r.version_id, r.label, r.note, r.columns, f.name, f.sha256, f.bytes
		FROM ride r JOIN file f ON f.ride_id = r.id ORDER BY r.id, f.nth`, func(row row) error {
		var r KeptRide
		var f File
		var keptMS int64
		var startMS *int64
		if err := row.Scan(&r.ID, &keptMS, &startMS, &r.Horse, &r.CourseVersion, &r.Label, &r.Note, &r.Columns, &f.Name, &f.SHA256, &f.Bytes); err != nil {
			return err
		}
		if n := len(k.Rides); n == 0 || k.Rides[n-1].ID != r.ID {
			r.Kept = stamp(keptMS)
			if startMS != nil {
				t := stamp(*startMS)
				r.Start = &t
			}
			k.Rides, files = append(k.Rides, r), append(files, nil)
		}
		files[len(files)-1] = append(files[len(files)-1], f)
		return nil
	})
	if err != nil {
		return nil, err
	}
	for i := range k.Rides {
		r := &k.Rides[i]
		folder := inv.folder(*r)
		names := fileNames(files[i])
		for j, f := range files[i] {
			r.Files = append(r.Files, KeptFile{Name: f.Name, File: path.Join(folder, names[j]), SHA256: f.SHA256, Bytes: f.Bytes})
		}
	}
	return inv, nil
}

// each calls do with each row of a query.
func each(ctx context.Context, q querier, query string, do func(row) error, args ...any) error {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := do(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

func (inv *inventory) horseOf(r KeptRide) string {
	if r.Horse == nil {
		return ""
	}
	return inv.horse[*r.Horse]
}

func (inv *inventory) folder(r KeptRide) string {
	course := ""
	if r.CourseVersion != nil {
		course = inv.course[*r.CourseVersion]
	}
	return rideFolder(r.ID, inv.horseOf(r), course)
}

// recording is what the list of rides calls a ride: its files, joined by +.
func (r KeptRide) recording() string {
	names := make([]string, len(r.Files))
	for i, f := range r.Files {
		names[i] = f.File
	}
	return strings.Join(names, "+")
}

// Export copies everything to a folder that people and programs can use without this one: recordings under their own names,
// plans, and rides.csv, from which groundline strides --manifest makes the stride table. [Store.Import] takes it back.
// The folder must not exist, or be empty; it appears whole or not at all. A ride whose files are damaged in
// the store is left out, and told in the error, beside which the rest is there.
func (s *Store) Export(ctx context.Context, dir string) error {
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return &InvalidError{dir, "a folder that is not empty", "a new one"}
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return &InvalidError{dir, "not a folder that can be read", "a new one"}
	}
	dir, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	if info, err := os.Stat(filepath.Dir(dir)); errors.Is(err, fs.ErrNotExist) || err == nil && !info.IsDir() {
		return &InvalidError{dir, "no folder " + filepath.Dir(dir), "a new folder in one that is there"}
	}
	inv, err := s.takeStock(ctx)
	if err != nil {
		return s.explain(err)
	}
	beside, err := os.MkdirTemp(filepath.Dir(dir), "."+filepath.Base(dir)+".*"+exportEnding)
	if err != nil {
		return inFolder(filepath.Dir(dir), err)
	}
	defer os.RemoveAll(beside) // what was not put in place
	done, err := s.desk.noteExport(beside)
	defer done()
	if err != nil { // the store's disk is full, from which an export may be the way out
		s.log.Warn("what this export leaves where it is killed will not be removed", "error", err)
	}
	damaged, err := s.export(ctx, beside, inv)
	if err == nil {
		os.Remove(dir) // an empty one
		err = os.Rename(beside, dir)
	}
	if err == nil {
		err = syncDir(filepath.Dir(dir))
	}
	if err != nil {
		return inFolder(dir, err)
	}
	return errors.Join(damaged...)
}

// inFolder tells of a folder outside the store that it is full.
func inFolder(dir string, err error) error {
	s := Store{dir: dir}
	var full *FullError
	if err = s.explain(err); errors.As(err, &full) {
		full.Outside = true
	}
	return err
}

func (s *Store) export(ctx context.Context, to string, inv *inventory) (damaged []error, err error) {
	for _, name := range []string{"rides", "courses"} {
		if err := os.Mkdir(filepath.Join(to, name), folderMode); err != nil {
			return nil, err
		}
	}
	whole := []KeptRide{}
	for _, r := range inv.kept.Rides {
		if err := s.exportRide(ctx, to, r); err != nil {
			var bad *DamagedError
			if !errors.As(err, &bad) {
				return nil, err
			}
			if err := os.RemoveAll(filepath.Join(to, path.Dir(r.Files[0].File))); err != nil {
				return nil, err
			}
			if _, err := s.Ride(ctx, r.ID); !errors.Is(err, ErrNotFound) { // else it was removed meanwhile
				damaged = append(damaged, bad)
			}
			continue
		}
		whole = append(whole, r)
	}
	inv.kept.Rides = whole
	for _, c := range inv.kept.Courses {
		for _, v := range c.Versions {
			if err := writeFile(filepath.Join(to, v.File), inv.plans[v.ID]); err != nil {
				return nil, err
			}
		}
	}
	if err := inv.lists(to); err != nil {
		return nil, err
	}
	for _, name := range []string{"rides", "courses", "."} {
		if err := syncDir(filepath.Join(to, name)); err != nil {
			return nil, err
		}
	}
	return damaged, nil
}

// DamagedError tells that a file of the store is not what was kept: the disk has lost it, or somebody changed it.
type DamagedError struct {
	RideID int64
	Name   string
	Found  string
}

func (e *DamagedError) Error() string {
	return fmt.Sprintf("ride %d: %s: %s in the store, expected what was kept: it is left out", e.RideID, e.Name, e.Found)
}

// exportRide copies a ride's files and looks whether they are what was kept.
func (s *Store) exportRide(ctx context.Context, to string, r KeptRide) error {
	folder := filepath.Join(to, filepath.FromSlash(path.Dir(r.Files[0].File)))
	if err := os.Mkdir(folder, folderMode); err != nil {
		return err
	}
	for _, f := range r.Files {
		in, err := os.Open(s.path(f.SHA256))
		if err != nil {
			return &DamagedError{r.ID, f.Name, "missing"}
		}
		sum, err := copyTo(ctx, filepath.Join(to, filepath.FromSlash(f.File)), in)
		in.Close()
		if err != nil {
			return err
		}
		if sum != f.SHA256 {
			return &DamagedError{r.ID, f.Name, "another content"}
		}
		if err := s.written(ctx, filepath.Join(to, filepath.FromSlash(f.File)), f); err != nil {
			return err
		}
	}
	return syncDir(folder)
}

// written looks whether a file lies there as it was written.
func (s *Store) written(ctx context.Context, name string, f KeptFile) error {
	in, err := os.Open(name)
	if err != nil {
		return err
	}
	defer in.Close()
	if err := checkSum(ctx, in, f.SHA256, f.Bytes); err != nil {
		return fmt.Errorf("%s: %w, expected what was just written: the disk is failing", name, err)
	}
	return nil
}

// copyTo writes a new file, on disk, and gives its SHA-256.
func copyTo(ctx context.Context, name string, in io.Reader) (string, error) {
	out, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, fileMode)
	if err != nil {
		return "", err
	}
	sum := sha256.New()
	_, err = io.Copy(io.MultiWriter(out, sum), untilDone{ctx, in})
	if err == nil {
		err = out.Sync()
	}
	if closed := out.Close(); err == nil {
		err = closed
	}
	return hex.EncodeToString(sum.Sum(nil)), err
}

func writeFile(name string, data []byte) error {
	_, err := copyTo(context.Background(), name, strings.NewReader(string(data)))
	return err
}

const aboutExport = `Everything that groundline kept.

rides/       the recordings, untouched, a folder for each ride
courses/     the course plans, a file for each version
rides.csv    the rides, with their files, course, horse and round. It is a list of rides for the stride table:
             groundline strides --manifest rides.csv
horses.csv   the horses
kept.json    all of this for programs, with the files' SHA-256; its own is in kept.json.sha256

To take it into a store again: groundline kept import, and this folder.
`

// lists writes the files at the top.
func (inv *inventory) lists(to string) error {
	var rides, horses strings.Builder
	table := csv.NewWriter(&rides)
	table.Write([]string{"recording", "course", "horse", "round", "id", "start", "kept", "columns", "note"})
	for _, r := range inv.kept.Rides {
		course, start := "", ""
		if r.CourseVersion != nil {
			course = inv.file[*r.CourseVersion]
		}
		if r.Start != nil {
			start = *r.Start
		}
		table.Write([]string{r.recording(), course, cells.Cell(inv.horseOf(r)), cells.Cell(r.Label), fmt.Sprint(r.ID), start, r.Kept, cells.Cell(r.Columns), cells.Cell(r.Note)})
	}
	table.Flush()
	list := csv.NewWriter(&horses)
	list.Write([]string{"id", "name", "size", "note"})
	for _, h := range inv.kept.Horses {
		list.Write([]string{fmt.Sprint(h.ID), cells.Cell(h.Name), h.Size, cells.Cell(h.Note)})
	}
	list.Flush()
	if err := errors.Join(table.Error(), list.Error()); err != nil {
		return err
	}
	kept, err := json.MarshalIndent(inv.kept, "", " ")
	if err != nil {
		return err
	}
	kept = append(kept, '\n')
	sum := sha256.Sum256(kept)
	for _, f := range []struct {
		name string
		data []byte
	}{
		{sumFile, fmt.Appendf(nil, "%x  %s\n", sum, keptFile)}, {ridesFile, []byte(rides.String())}, {horsesFile, []byte(horses.String())}, {keptFile, kept}, {readFile, []byte(aboutExport)},
	} {
		if err := writeFile(filepath.Join(to, f.name), f.data); err != nil {
			return err
		}
	}
	return nil
}
