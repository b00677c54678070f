package keep

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// slip is what people said of a ride, in a file of its own beside the database (about/ID.json), from which the store is made
// again when the database is lost. Its content follows the database: [Store.Check] writes what differs.
type slip struct {
	KeptMS  int64      `json:"kept_ms"`
	Files   []slipFile `json:"files"`
	Horse   string     `json:"horse,omitempty"`
	Label   string     `json:"label,omitempty"`
	Note    string     `json:"note,omitempty"`
	Columns string     `json:"columns,omitempty"`
	Plan    string     `json:"plan,omitempty"` // as YAML
}

type slipFile struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
	Bytes  int64  `json:"bytes"`
}

const (
	slipsName  = "about"
	slipEnding = ".json"
	maxSlip    = 2 << 20 // a plan, and what is said of a ride
)

func (s *Store) slipFile(id int64) string {
	return filepath.Join(s.dir, slipsName, strconv.FormatInt(id, 10)+slipEnding)
}

// slipOf is a ride's slip as it should be.
func (s *Store) slipOf(ctx context.Context, id int64) ([]byte, error) {
	r, err := s.Ride(ctx, id)
	if err != nil {
		return nil, err
	}
	out := slip{KeptMS: ms(r.KeptAt), Horse: r.Horse, Label: r.Label, Note: r.Note, Columns: r.Columns}
	for _, f := range r.Files {
		out.Files = append(out.Files, slipFile(f))
	}
	if r.CourseVersionID != 0 {
		text, _, err := s.planText(ctx, r.CourseVersionID)
		if err != nil {
			return nil, err
		}
		out.Plan = string(text)
	}
	return json.Marshal(out)
}

// writeSlip brings a ride's slip to disk. The ride is kept all the same where that fails.
func (s *Store) writeSlip(ctx context.Context, id int64) error {
	data, err := s.slipOf(ctx, id)
	if err != nil {
		return err
	}
	beside := s.desk.place()
	defer os.Remove(beside)
	if err := writeFile(beside, data); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(s.dir, slipsName), folderMode); err != nil {
		return err
	}
	if err := os.Rename(beside, s.slipFile(id)); err != nil {
		return err
	}
	return syncDir(filepath.Join(s.dir, slipsName))
}

// trySlip is [Store.writeSlip] for who can't do anything about its failing.
func (s *Store) trySlip(ctx context.Context, id int64) {
	if err := s.writeSlip(context.WithoutCancel(ctx), id); err != nil && !errors.Is(err, ErrNotFound) {
		s.log.Warn("what is said of a ride is in the database alone; groundline kept check --repair writes it beside", "ride", id, "error", err)
	}
}

// slips are the ids of the rides that have one.
func (s *Store) slips() ([]int64, error) {
	entries, err := os.ReadDir(filepath.Join(s.dir, slipsName))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	var ids []int64
	for _, e := range entries {
		name, ok := strings.CutSuffix(e.Name(), slipEnding)
		if id, err := strconv.ParseInt(name, 10, 64); ok && err == nil && id > 0 {
			ids = append(ids, id)
		}
	}
	return ids, nil
}

// readSlip reads a slip; it is false for one that is damaged.
func (s *Store) readSlip(id int64) (slip, bool) {
	var out slip
	info, err := os.Stat(s.slipFile(id))
	if err != nil || info.Size() > maxSlip {
		return out, false
	}
	data, err := os.ReadFile(s.slipFile(id))
	if err != nil || json.Unmarshal(data, &out) != nil || len(out.Files) == 0 {
		return out, false
	}
	for _, f := range out.Files {
		if !isSum(f.SHA256) {
			return out, false
		}
	}
	return out, true
}

// dropSlips removes the slips of rides that are not known and whose files are gone too. Of a database that was put back from
// an older copy, the others are what somebody kept.
func (s *Store) dropSlips(known map[int64]bool) error {
	ids, err := s.slips()
	if err != nil {
		return err
	}
	for _, id := range ids {
		if known[id] {
			continue
		}
		p, ok := s.readSlip(id)
		if ok && !slices.ContainsFunc(p.Files, func(f slipFile) bool {
			_, err := os.Stat(s.path(f.SHA256))
			return errors.Is(err, fs.ErrNotExist)
		}) {
			continue
		}
		os.Remove(s.slipFile(id))
	}
	return nil
}
