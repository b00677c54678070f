package keep

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"groundline/course"
)

// Imported is what an import brought: how many were new, and of the rides how many were kept already.
type Imported struct{ Rides, Already, Horses, Courses int }

// Faults are all that is wrong with an exported folder, one a line.
type Faults []error

func (f Faults) Error() string { return errors.Join(f...).Error() }

// Bounds of kept.json: a ride takes some 500 bytes.
const (
	maxKeptBytes = 256 << 20
	maxPlanBytes = 1 << 20
	// After the largest number that SQLite has, nothing more could be kept.
	maxID      = 1 << 40
	maxVersion = 1 << 30
)

// Import takes in a folder that Export wrote, into an empty store or one with rides in it: horses of the same name are the
// same, courses with a plan in common are, and rides of the same files are kept once. Where they are free, the ids
// stay. Everything is looked at first, the files' SHA-256 too; faults of the list are all told ([Faults]), and then nothing
// is taken in. Rides whose files are damaged or missing are left out and told ([*LeftOutError]), beside which the rest is taken in.
func (s *Store) Import(ctx context.Context, dir string) (Imported, error) {
	root, err := os.OpenRoot(dir) // no name in the folder leads out of it
	if err != nil {
		return Imported{}, Faults{fmt.Errorf("%s: not a folder that can be read, expected one that groundline kept export wrote", dir)}
	}
	defer root.Close()
	k, plans, left, err := checkFolder(ctx, dir, root)
	if err != nil {
		return Imported{}, err
	}
	var out Imported
	horses, versions := map[int64]int64{}, map[int64]int64{}
	err = s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		for _, h := range k.Horses {
			id, made, err := importHorse(ctx, tx, h)
			if err != nil {
				return err
			}
			horses[h.ID] = id
			if made {
				out.Horses++
			}
		}
		for _, c := range k.Courses {
			made, err := importCourse(ctx, tx, c, plans, versions)
			if err != nil {
				return err
			}
			if made {
				out.Courses++
			}
		}
		return nil
	})
	if err != nil {
		return Imported{}, err
	}
	s.bell.ring()
	for _, r := range k.Rides {
		already, err := s.importRide(ctx, root, r, horses, versions)
		if err != nil {
			return out, fmt.Errorf("%s: ride %d: %w; the rides before it are kept, and the same import goes on", dir, r.ID, err)
		}
		if already {
			out.Already++
		} else {
			out.Rides++
		}
	}
	if left != nil {
		return out, &LeftOutError{dir, left}
	}
	return out, nil
}

// LeftOutError tells which rides of an exported folder could not be taken in, a fault a line; all others were.
type LeftOutError struct {
	Dir    string
	Faults Faults
}

func (e *LeftOutError) Error() string {
	return e.Faults.Error() + "\n" + e.Dir + ": these rides are left out, the rest is taken in"
}

// Verify looks whether a folder that Export wrote could be taken in, by doing so into a new store beside it, which is then
// removed: it takes as much room as the folder. The error is that of [Store.Import], or tells what would be missing.
func Verify(ctx context.Context, dir string, opt Options) error {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	trial, err := os.MkdirTemp(filepath.Dir(dir), "."+filepath.Base(dir)+".*"+exportEnding)
	if err != nil {
		return inFolder(filepath.Dir(dir), err)
	}
	defer os.RemoveAll(trial)
	s, err := Open(ctx, trial, opt)
	if err != nil {
		return err
	}
	defer s.Close()
	got, err := s.Import(ctx, dir)
	if err != nil {
		return err
	}
	out, err := s.Check(ctx, CheckOptions{ReadData: true}, func(Finding) {})
	if err == nil && (out.Damaged > 0 || out.Rides != got.Rides) {
		err = fmt.Errorf("%s: %d of %d rides came whole, expected all", dir, out.Rides-out.Damaged, got.Rides)
	}
	return err
}

// spoilt is a fault of one file of a folder that leaves only its ride out.
type spoilt struct{ error }

// checkFolder reads kept.json and looks at everything that it names.
func checkFolder(ctx context.Context, dir string, root *os.Root) (k *Kept, plans map[string]planIn, left Faults, err error) {
	name := filepath.Join(dir, keptFile)
	data, err := readIn(root, keptFile, maxKeptBytes)
	if err != nil {
		return nil, nil, nil, Faults{fmt.Errorf("%s: %w", dir, err)}
	}
	if told, err := readIn(root, sumFile, 200); err == nil { // exports of earlier versions have none
		if sum := sha256.Sum256(data); !strings.HasPrefix(string(told), hex.EncodeToString(sum[:])) {
			return nil, nil, nil, Faults{fmt.Errorf("%s: its SHA-256 is %x, expected what %s says: the list was changed or is damaged; without %s it is taken as it is", name, sum, sumFile, sumFile)}
		}
	}
	k = &Kept{}
	if err := json.Unmarshal(data, k); err != nil {
		return nil, nil, nil, Faults{fmt.Errorf("%s: no JSON of that layout (%w), expected what groundline kept export wrote", name, err)}
	}
	if k.Schema != KeptSchema {
		return nil, nil, nil, Faults{fmt.Errorf("%s: schema: %q, expected %s", name, cut(k.Schema, 60), KeptSchema)}
	}
	var faults Faults
	fault := func(err error) {
		const most = 100 // more than anybody mends by hand
		if len(faults) < most {
			faults = append(faults, fmt.Errorf("%s: %w", name, err))
		}
	}
	horses, versions := map[int64]bool{}, map[int64]bool{}
	for i, h := range k.Horses {
		if horses[h.ID] || h.ID < 1 || h.ID > maxID {
			fault(fmt.Errorf("horses[%d].id: %d, expected one of its own, 1 to %d", i, h.ID, maxID))
		}
		horses[h.ID] = true
		if err := checkHorse(Horse{Name: h.Name, Size: h.Size, Note: h.Note}); err != nil {
			fault(fmt.Errorf("horses[%d]: %w", i, err))
		}
	}
	plans = map[string]planIn{}
	courses := map[int64]bool{}
	for i, c := range k.Courses {
		if courses[c.ID] || c.ID < 1 || c.ID > maxID {
			fault(fmt.Errorf("courses[%d].id: %d, expected one of its own, 1 to %d", i, c.ID, maxID))
		}
		courses[c.ID] = true
		if len(c.Versions) == 0 {
			fault(fmt.Errorf("courses[%d].versions: none, expected one or more", i))
		}
		for j, v := range c.Versions {
			at := fmt.Sprintf("courses[%d].versions[%d]", i, j)
			if versions[v.ID] || v.ID < 1 || v.ID > maxID {
				fault(fmt.Errorf("%s.id: %d, expected one of its own, 1 to %d", at, v.ID, maxID))
			}
			versions[v.ID] = true
			if v.Version < 1 || v.Version > maxVersion || j > 0 && v.Version <= c.Versions[j-1].Version {
				fault(fmt.Errorf("%s.version: %d, expected more than that before, 1 to %d", at, v.Version, maxVersion))
			}
			if err := checkStamp(v.Made); err != nil {
				fault(fmt.Errorf("%s.made: %w", at, err))
			}
			plan, err := readPlan(root, v)
			if err != nil {
				fault(fmt.Errorf("%s.file: %w", at, err))
			}
			plans[v.SHA256] = plan
		}
	}
	rides, without := map[int64]bool{}, map[int64]bool{}
	for i, r := range k.Rides {
		at := fmt.Sprintf("rides[%d]", i)
		if rides[r.ID] || r.ID < 1 || r.ID > maxID {
			fault(fmt.Errorf("%s.id: %d, expected one of its own, 1 to %d", at, r.ID, maxID))
		}
		rides[r.ID] = true
		if r.Horse != nil && !horses[*r.Horse] {
			fault(fmt.Errorf("%s.horse: %d, expected one of horses", at, *r.Horse))
		}
		if r.CourseVersion != nil && !versions[*r.CourseVersion] {
			fault(fmt.Errorf("%s.course_version: %d, expected one of courses", at, *r.CourseVersion))
		}
		if err := (About{Label: r.Label, Note: r.Note, Columns: r.Columns}).check(); err != nil {
			fault(fmt.Errorf("%s: %w", at, err))
		}
		if err := checkStamp(r.Kept); err != nil {
			fault(fmt.Errorf("%s.kept: %w", at, err))
		}
		if r.Start != nil {
			if err := checkStamp(*r.Start); err != nil {
				fault(fmt.Errorf("%s.start: %w", at, err))
			}
		}
		if len(r.Files) == 0 || len(r.Files) > maxFiles {
			fault(fmt.Errorf("%s.files: %d, expected 1 to %d", at, len(r.Files), maxFiles))
		}
		for j, f := range r.Files {
			err := checkFile(ctx, root, f)
			var bad spoilt
			if errors.As(err, &bad) {
				left = append(left, fmt.Errorf("%s: ride %d: %w", dir, r.ID, err))
				without[r.ID] = true
			} else if err != nil {
				fault(fmt.Errorf("%s.files[%d]: %w", at, j, err))
			}
			if err := ctx.Err(); err != nil {
				return nil, nil, nil, err
			}
		}
	}
	if faults != nil {
		return nil, nil, nil, faults
	}
	k.Rides = slices.DeleteFunc(k.Rides, func(r KeptRide) bool { return without[r.ID] })
	return k, plans, left, nil
}

func checkStamp(s string) error {
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil || t.Year() < 1970 {
		return fmt.Errorf("%q, expected a time as 2026-04-04T15:49:00Z", cut(s, 60))
	}
	return nil
}

func stampMS(s string) int64 {
	t, _ := time.Parse(time.RFC3339Nano, s) // checkStamp has
	return ms(t)
}

// openIn opens a plain file by its name in the folder; a name that leads elsewhere is refused.
func openIn(root *os.Root, name string) (*os.File, error) {
	bad := func(found string) error {
		return fmt.Errorf("%q: %s, expected a plain file that groundline kept export wrote", cut(name, 200), found)
	}
	if !filepath.IsLocal(filepath.FromSlash(name)) {
		return nil, bad("leads out of the folder")
	}
	info, err := root.Stat(filepath.FromSlash(name))
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil, bad("no such file")
	case err != nil:
		return nil, bad("can't be read")
	case !info.Mode().IsRegular():
		return nil, bad("not a plain file")
	}
	f, err := root.Open(filepath.FromSlash(name))
	if err != nil {
		return nil, bad("can't be opened")
	}
	return f, nil
}

func readIn(root *os.Root, name string, most int64) ([]byte, error) {
	f, err := openIn(root, name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(data)) > most {
		err = fmt.Errorf("%q: too long, expected at most %d bytes", name, most)
	}
	return data, err
}

// planIn is a plan as it lies in the folder.
type planIn struct {
	text []byte
	plan *course.Plan
}

func readPlan(root *os.Root, v KeptVersion) (planIn, error) {
	data, err := readIn(root, v.File, maxPlanBytes)
	if err != nil {
		return planIn{}, err
	}
	if sum := sha256.Sum256(data); hex.EncodeToString(sum[:]) != v.SHA256 {
		return planIn{}, fmt.Errorf("%s: its SHA-256 is %s, expected %s: the file was changed", v.File, hex.EncodeToString(sum[:]), cut(v.SHA256, 64))
	}
	plan, _, err := course.ReadPlan(v.File, data)
	if err == nil {
		err = line("name", strings.TrimSpace(plan.Name), maxPlanName)
	}
	return planIn{data, plan}, err
}

func checkFile(ctx context.Context, root *os.Root, f KeptFile) error {
	if !isSum(f.SHA256) {
		return fmt.Errorf("sha256: %q, expected 64 hex digits", cut(f.SHA256, 80))
	}
	if _, err := root.Stat(filepath.FromSlash(f.File)); filepath.IsLocal(filepath.FromSlash(f.File)) && errors.Is(err, fs.ErrNotExist) {
		return spoilt{fmt.Errorf("%s: missing, expected a recording's file", f.File)}
	}
	in, err := openIn(root, f.File)
	if err != nil {
		return err
	}
	defer in.Close()
	sum := sha256.New()
	n, err := io.Copy(sum, untilDone{ctx, in})
	if err != nil {
		return err
	}
	if got := hex.EncodeToString(sum.Sum(nil)); got != f.SHA256 || n != f.Bytes {
		return spoilt{fmt.Errorf("%s: its SHA-256 is %s, expected %s: the file was changed", f.File, got, f.SHA256)}
	}
	return nil
}

// freeID is an id where no row has it yet, else nil for the next free one.
func freeID(ctx context.Context, tx *sql.Tx, table string, id int64) (any, error) {
	var n int
	err := tx.QueryRowContext(ctx, "SELECT count(*) FROM "+table+" WHERE id = ?", id).Scan(&n)
	if err != nil || n > 0 {
		return nil, err
	}
	return id, nil
}

func importHorse(ctx context.Context, tx *sql.Tx, h KeptHorse) (id int64, made bool, err error) {
	name := strings.TrimSpace(h.Name)
	err = tx.QueryRowContext(ctx, "SELECT id FROM horse WHERE folded = ?", fold(name)).Scan(&id)
	if err == nil { // what is known already is kept, what isn't is taken
		_, err = tx.ExecContext(ctx, "UPDATE horse SET size = iif(size = '', ?, size), note = iif(note = '', ?, note) WHERE id = ?", h.Size, h.Note, id)
		return id, false, err
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return 0, false, err
	}
	as, err := freeID(ctx, tx, "horse", h.ID)
	if err != nil {
		return 0, false, err
	}
	res, err := tx.ExecContext(ctx, "INSERT INTO horse (id, name, folded, size, note) VALUES (?, ?, ?, ?, ?)", as, name, fold(name), h.Size, h.Note)
	if err != nil {
		return 0, false, err
	}
	id, err = res.LastInsertId()
	return id, true, err
}

// importCourse takes in the versions that are not there yet and notes the id of each in versions.
func importCourse(ctx context.Context, tx *sql.Tx, c KeptCourse, plans map[string]planIn, versions map[int64]int64) (made bool, err error) {
	var id int64
	for _, v := range c.Versions {
		err := tx.QueryRowContext(ctx, "SELECT course_id FROM course_version WHERE sha256 = ? ORDER BY course_id <> ?, id LIMIT 1", v.SHA256, c.ID).Scan(&id)
		if err == nil {
			break
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return false, err
		}
	}
	if id == 0 {
		as, err := freeID(ctx, tx, "course", c.ID)
		if err != nil {
			return false, err
		}
		res, err := tx.ExecContext(ctx, "INSERT INTO course (id, name, folded, away) VALUES (?, '', '', ?)", as, c.PutAway)
		if err != nil {
			return false, err
		}
		if id, err = res.LastInsertId(); err != nil {
			return false, err
		}
		made = true
	}
	for _, v := range c.Versions {
		var known int64
		err := tx.QueryRowContext(ctx, "SELECT id FROM course_version WHERE course_id = ? AND sha256 = ? ORDER BY version <> ?, id LIMIT 1", id, v.SHA256, v.Version).Scan(&known)
		if err == nil {
			versions[v.ID] = known
			continue
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return false, err
		}
		as, err := freeID(ctx, tx, "course_version", v.ID)
		if err != nil {
			return false, err
		}
		number := v.Version
		if !made {
			if err := tx.QueryRowContext(ctx, "SELECT coalesce(max(version), 0) + 1 FROM course_version WHERE course_id = ?", id).Scan(&number); err != nil {
				return false, err
			}
		}
		plan := plans[v.SHA256]
		name := planTitle(plan.plan, id)
		res, err := tx.ExecContext(ctx, "INSERT INTO course_version (id, course_id, version, name, folded, plan, sha256, made_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
			as, id, number, name, fold(name), plan.text, v.SHA256, stampMS(v.Made))
		if err != nil {
			return false, err
		}
		if versions[v.ID], err = res.LastInsertId(); err != nil {
			return false, err
		}
	}
	_, err = tx.ExecContext(ctx, `UPDATE course SET (name, folded) = (SELECT name, folded FROM course_version WHERE course_id = course.id ORDER BY version DESC LIMIT 1) WHERE id = ?`, id)
	return made, err
}

func (s *Store) importRide(ctx context.Context, root *os.Root, r KeptRide, horses, versions map[int64]int64) (already bool, err error) {
	sums := make([]string, len(r.Files))
	for i, f := range r.Files {
		sums[i] = f.SHA256
	}
	var n int
	if err := s.read.QueryRowContext(ctx, "SELECT count(*) FROM ride WHERE files = ?", keyOf(sums)).Scan(&n); err != nil {
		return false, err
	}
	if n > 0 {
		return true, nil
	}
	var files []*Received
	defer func() {
		for _, f := range files {
			f.Discard()
		}
	}()
	for _, f := range r.Files {
		in, err := openIn(root, f.File)
		if err != nil {
			return false, err
		}
		got, err := s.Receive(ctx, f.Name, in, f.Bytes)
		in.Close()
		if err != nil {
			return false, err
		}
		files = append(files, got)
		if got.SHA256 != f.SHA256 {
			return false, fmt.Errorf("%s: changed while it was read", f.File)
		}
	}
	of := About{Label: r.Label, Note: r.Note, Columns: r.Columns}
	if r.Horse != nil {
		of.HorseID = horses[*r.Horse]
	}
	if r.CourseVersion != nil {
		of.CourseVersionID = versions[*r.CourseVersion]
	}
	known := &before{id: r.ID, keptMS: stampMS(r.Kept)}
	if r.Start != nil {
		at := stampMS(*r.Start)
		known.startMS = &at
	}
	_, already, err = s.keep(ctx, files, of, known)
	return already, err
}
