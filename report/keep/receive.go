package keep

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"groundline/trace/read"
)

// Received is a file that has been taken in and is not yet part of a ride.
type Received struct {
	Name   string // without folders
	SHA256 string // hex digits
	Bytes  int64

	place string
}

// Open opens what was received, before it is kept. The reader has to close it.
func (r *Received) Open() (*os.File, error) { return os.Open(r.place) }

// Discard drops what was not kept; after Keep it does nothing.
func (r *Received) Discard() {
	if r != nil && r.place != "" {
		os.Remove(r.place)
	}
}

// Receive takes a file in, up to limit bytes. On return it is on disk, but will be dropped when the store is closed
// before it is kept. The error is a [*TooLargeError], a [*FullError], or what reading gave.
func (s *Store) Receive(ctx context.Context, name string, r io.Reader, limit int64) (*Received, error) {
	name = baseName(name)
	place := s.desk.place()
	f, err := os.OpenFile(place, os.O_CREATE|os.O_EXCL|os.O_WRONLY, fileMode)
	if err != nil {
		return nil, s.explain(err)
	}
	sum := sha256.New()
	// One byte more than allowed shows that there is more.
	limit = min(limit, math.MaxInt64-1)
	n, err := io.Copy(io.MultiWriter(f, sum), io.LimitReader(untilDone{ctx, r}, limit+1))
	if err == nil && n > limit {
		err = &TooLargeError{Name: name, Limit: limit}
	}
	if err == nil {
		err = f.Sync()
	}
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err != nil {
		os.Remove(place)
		return nil, s.explain(err)
	}
	return &Received{Name: name, SHA256: hex.EncodeToString(sum.Sum(nil)), Bytes: n, place: place}, nil
}

// untilDone reads until the context ends.
type untilDone struct {
	ctx context.Context
	r   io.Reader
}

func (u untilDone) Read(p []byte) (int, error) {
	if err := u.ctx.Err(); err != nil {
		return 0, err
	}
	return u.r.Read(p)
}

// Bounds of what people may write: names as in a list of rides for the stride table, notes of some pages.
const (
	maxNameBytes = 80
	maxFileName  = 200
	maxNoteBytes = 4000
	// More files than any ride has.
	maxFiles = 100
)

// baseName is a file's name without the folders that it was in, as it is told to people: one line, bounded.
func baseName(name string) string {
	name = strings.ToValidUTF8(name, "\ufffd")
	if i := strings.LastIndexAny(name, `/\`); i >= 0 {
		name = name[i+1:]
	}
	name = strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || !unicode.IsPrint(r) && r != ' ' {
			return '_'
		}
		return r
	}, name))
	if len(name) > maxFileName { // the ending is worth more than the middle
		end := filepath.Ext(name)
		if len(end) > 10 {
			end = ""
		}
		name = cut(name, maxFileName-len(end)) + end
	}
	if name == "" || strings.Trim(name, ".") == "" {
		return "recording"
	}
	return name
}

// cut is at most n bytes of a text, whole letters.
func cut(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return s[:n]
}

// About is what people say about a ride.
type About struct {
	HorseID         int64  // 0: not said
	CourseVersionID int64  // 0: no course
	Label           string // what the round is called in tables
	Note            string
	Columns         string // of motion CSVs whose header doesn't tell, see [read.Options]
}

// check tells what of it can't be kept.
func (a About) check() error {
	if err := line("label", a.Label, maxNameBytes); err != nil {
		return err
	}
	if len(a.Note) > maxNoteBytes || !utf8.ValidString(a.Note) {
		return &InvalidError{"note", fmt.Sprintf("%d bytes", len(a.Note)), fmt.Sprintf("text of at most %d bytes", maxNoteBytes)}
	}
	if len(a.Columns) > maxNoteBytes {
		return &InvalidError{"columns", fmt.Sprintf("%d bytes", len(a.Columns)), fmt.Sprintf("at most %d", maxNoteBytes)}
	}
	if err := read.CheckColumns(a.Columns); err != nil {
		return &InvalidError{"columns", err.Error(), "the columns of a motion CSV, as t=…,ax=…,ay=…,az=…"}
	}
	return nil
}

// line refuses what is not one line of words.
func line(field, s string, most int) error {
	switch {
	case len(s) > most:
		return &InvalidError{field, fmt.Sprintf("%d bytes long", len(s)), fmt.Sprintf("at most %d", most)}
	case !utf8.ValidString(s):
		return &InvalidError{field, "not UTF-8", "words"}
	case strings.ContainsFunc(s, unicode.IsControl):
		return &InvalidError{field, "has a control character", "words"}
	case strings.TrimSpace(s) != s:
		return &InvalidError{field, "begins or ends with a blank", "words"}
	}
	return nil
}

// Keep makes one ride of received files, in their order. On return it is on disk. Where there is a ride of the same files,
// in any order and under whatever names, already is true and id is that ride's: nothing is kept twice, and what was said
// about it stays; a file that the store has lost or whose content is another by now is put back, and a ride that was refused for
// it is worked out anew. The received files are used up.
func (s *Store) Keep(ctx context.Context, files []*Received, of About) (id int64, already bool, err error) {
	return s.keep(ctx, files, of, nil)
}

// before is what is known of a ride that was kept before, in another store or this.
type before struct {
	id      int64 // taken where it is free
	keptMS  int64
	startMS *int64
}

func (s *Store) keep(ctx context.Context, files []*Received, of About, known *before) (id int64, already bool, err error) {
	if len(files) == 0 || len(files) > maxFiles {
		return 0, false, &InvalidError{"ride", fmt.Sprintf("%d files", len(files)), fmt.Sprintf("1 to %d", maxFiles)}
	}
	if err := of.check(); err != nil {
		return 0, false, err
	}
	folders, err := s.folders(files)
	if err != nil {
		return 0, false, s.explain(err)
	}
	damaged, err := s.damaged(ctx, files) // before the received copies are dropped
	if err != nil {
		return 0, false, s.explain(err)
	}
	var placed []*Received
	mended := false
	err = s.in(ctx, func(ctx context.Context, tx *sql.Tx) (err error) {
		key := filesKey(files)
		if err := tx.QueryRowContext(ctx, "SELECT id FROM ride WHERE files = ?", key).Scan(&id); err == nil {
			already = true
		} else if !errors.Is(err, sql.ErrNoRows) {
			return err
		} else if id, err = s.insert(ctx, tx, key, files, of, known); err != nil {
			return err
		}
		// Also of a ride that is there already: one of its files may have been lost or damaged.
		for _, f := range files {
			if damaged[f] {
				s.log.Warn("a kept file was not what was kept; the recording is given once more", "ride", id, "file", f.SHA256)
				if err := os.Remove(s.path(f.SHA256)); err != nil {
					return err
				}
			}
			moved, err := s.put(f)
			if moved {
				placed = append(placed, f)
			}
			if err != nil {
				return err
			}
		}
		for _, folder := range folders {
			if err := syncDir(folder); err != nil {
				return err
			}
		}
		for _, f := range placed {
			n, err := s.retry(ctx, tx, f.SHA256)
			if err != nil {
				return err
			}
			mended = mended || n > 0
		}
		return nil
	})
	if err != nil {
		s.takeBack(placed)
	}
	for _, f := range placed {
		os.Remove(s.desk.note(f.SHA256))
	}
	if err != nil {
		return 0, false, err
	}
	for _, f := range files {
		f.Discard()
	}
	s.trySlip(ctx, id)
	if !already || mended {
		s.kept.ring()
		s.bell.ring()
	}
	return id, already, nil
}

// filesKey is the same for the same files.
func filesKey(files []*Received) string {
	sums := make([]string, len(files))
	for i, f := range files {
		sums[i] = f.SHA256
	}
	return keyOf(sums)
}

func keyOf(sums []string) string {
	sums = slices.Clone(sums)
	slices.Sort(sums)
	sum := sha256.Sum256([]byte(strings.Join(slices.Compact(sums), "\n")))
	return hex.EncodeToString(sum[:])
}

// folders makes the folders of the files, on disk, and gives them.
func (s *Store) folders(files []*Received) ([]string, error) {
	var out []string
	made := false
	for _, f := range files {
		folder := filepath.Dir(s.path(f.SHA256))
		if !slices.Contains(out, folder) {
			out = append(out, folder)
		}
		_, missing := os.Stat(folder)
		if err := os.MkdirAll(folder, folderMode); err != nil {
			return nil, err
		}
		made = made || missing != nil
	}
	if made {
		return out, syncDir(filepath.Join(s.dir, filesName))
	}
	return out, nil
}

// path is where the file of a SHA-256 lies.
func (s *Store) path(sum string) string {
	return filepath.Join(s.dir, filesName, sum[:2], sum)
}

// isSum tells whether a text is a SHA-256 in lower hex digits, and so may be part of a path.
func isSum(s string) bool {
	return len(s) == 2*sha256.Size && strings.Trim(s, "0123456789abcdef") == ""
}

// put places a file where it belongs; moved tells whether it was not there yet. The transaction keeps others from
// removing it.
func (s *Store) put(f *Received) (moved bool, err error) {
	to := s.path(f.SHA256)
	if info, err := os.Stat(to); err == nil && info.Mode().IsRegular() && info.Size() == f.Bytes {
		return false, nil
	}
	if err := os.WriteFile(s.desk.note(f.SHA256), nil, fileMode); err != nil {
		return false, err
	}
	if err := os.Rename(f.place, to); err != nil {
		return false, err
	}
	return true, nil
}

// damaged tells which files are in the store and have another content by now: the disk, or somebody, has changed them.
func (s *Store) damaged(ctx context.Context, files []*Received) (map[*Received]bool, error) {
	out := map[*Received]bool{}
	for _, f := range files {
		in, err := os.Open(s.path(f.SHA256))
		if err != nil {
			continue // nothing there; what else is told when it is put
		}
		out[f] = checkSum(ctx, in, f.SHA256, f.Bytes) != nil
		in.Close()
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
	}
	return out, nil
}

// retry has the rides worked out again that have a file and were refused, most likely for want of it.
func (s *Store) retry(ctx context.Context, tx *sql.Tx, sum string) (n int, err error) {
	var ids []int64
	err = each(ctx, tx, "SELECT DISTINCT r.id FROM ride r JOIN file f ON f.ride_id = r.id WHERE f.sha256 = ? AND r.state = 'refused'", func(r row) error {
		var id int64
		err := r.Scan(&id)
		ids = append(ids, id)
		return err
	}, sum)
	for _, id := range ids {
		if err == nil {
			err = s.again(ctx, tx, id)
		}
	}
	return len(ids), err
}

// takeBack undoes put after the transaction has failed, but for files that a ride has all the same: another process may
// have kept one meanwhile, or the commit come through.
func (s *Store) takeBack(placed []*Received) {
	if len(placed) == 0 {
		return
	}
	err := s.in(context.Background(), func(ctx context.Context, tx *sql.Tx) error {
		for _, f := range placed {
			var n int
			if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM file WHERE sha256 = ?", f.SHA256).Scan(&n); err != nil {
				return err
			}
			if n > 0 {
				continue
			}
			if err := os.Rename(s.path(f.SHA256), f.place); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		s.log.Warn("files that were not kept may lie in the store", "error", err)
	}
}

// insert writes the rows of a new ride.
func (s *Store) insert(ctx context.Context, tx *sql.Tx, key string, files []*Received, of About, known *before) (int64, error) {
	courseID, err := ofAbout(ctx, tx, of)
	if err != nil {
		return 0, err
	}
	names := make([]string, len(files))
	for i, f := range files {
		names[i] = f.Name
	}
	now := ms(s.now())
	at, was := now, before{keptMS: now}
	var as any
	if known != nil {
		was, at = *known, known.keptMS
		if was.startMS != nil {
			at = *was.startMS
		}
		if as, err = freeID(ctx, tx, "ride", was.id); err != nil {
			return 0, err
		}
	}
	res, err := tx.ExecContext(ctx, `INSERT INTO ride (id, files, kept_ms, at_ms, horse_id, course_id, version_id, label, note, columns, folded,
		state, why, edition, tries, worker, lease_ms, program, start_ms, duration_s, basis, jumps, refusals, lines, rounds, strides)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 'waiting', '', 1, 0, '', 0, '', ?, 0, '', 0, 0, 0, 0, 0)`,
		as, key, was.keptMS, at, orNull(of.HorseID), orNull(courseID), orNull(of.CourseVersionID), of.Label, of.Note, of.Columns, foldedOf(of, names), was.startMS)
	if err != nil {
		return 0, err
	}
	id, err := res.LastInsertId()
	if err != nil {
		return 0, err
	}
	for i, f := range files {
		if _, err := tx.ExecContext(ctx, "INSERT INTO file VALUES (?, ?, ?, ?, ?)", id, i, f.Name, f.SHA256, f.Bytes); err != nil {
			return 0, err
		}
		if _, err := tx.ExecContext(ctx, "DELETE FROM doomed WHERE sha256 = ?", f.SHA256); err != nil {
			return 0, err
		}
	}
	return id, nil
}

// ofAbout checks that horse and course are there and gives the course of the version.
func ofAbout(ctx context.Context, tx *sql.Tx, of About) (courseID int64, err error) {
	if of.HorseID != 0 {
		var n int
		if err := tx.QueryRowContext(ctx, "SELECT 1 FROM horse WHERE id = ?", of.HorseID).Scan(&n); err != nil {
			return 0, missing("horse", err)
		}
	}
	if of.CourseVersionID != 0 {
		if err := tx.QueryRowContext(ctx, "SELECT course_id FROM course_version WHERE id = ?", of.CourseVersionID).Scan(&courseID); err != nil {
			return 0, missing("course", err)
		}
	}
	return courseID, nil
}

func missing(what string, err error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("%s: %w", what, ErrNotFound)
	}
	return err
}

func orNull(id int64) any {
	if id == 0 {
		return nil
	}
	return id
}

// fold is a text as it is searched and told apart: small and capital letters alike, and an accent the same whether it is
// typed with its letter or after it.
func fold(s string) string { return strings.ToLower(norm.NFC.String(s)) }

// SameName tells whether the store takes two names of horses or courses for one: small and capital letters alike, blanks
// about them left out, however accents are typed.
func SameName(a, b string) bool { return fold(strings.TrimSpace(a)) == fold(strings.TrimSpace(b)) }

func foldedOf(of About, names []string) string {
	return fold(strings.Join(append([]string{of.Label, of.Note}, names...), "\n"))
}
