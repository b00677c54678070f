package table

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Dataset is a table partitioned by horse, as query engines read it: a folder horse=NAME for each horse with one
// Parquet file of this shard in it, which has all columns but horse. Rides come sorted by horse. Nothing is to
// be seen of it before Commit.
type Dataset struct {
	dir   string
	shard Shard
	all   Provenance

	horse  string
	open   *os.File
	writer Writer
	of     Provenance // of the horse's file
	done   []written
}

type written struct{ temp, name string }

// noHorse is the folder for rides whose horse nobody said: what engines take for null.
const noHorse = "__HIVE_DEFAULT_PARTITION__"

// Folder is the folder of a horse. As engines write and read it, what file systems or they themselves give a
// meaning is %XX; letters of any language stand as they are.
func Folder(horse string) string {
	if horse == "" {
		return "horse=" + noHorse
	}
	var b strings.Builder
	b.WriteString("horse=")
	for i := range len(horse) {
		if c := horse[i]; c < 0x20 || c == 0x7f || strings.IndexByte(`"#%'*/:=?\{}[]^<>|`, c) >= 0 {
			fmt.Fprintf(&b, "%%%02X", c)
		} else {
			b.WriteByte(c)
		}
	}
	return b.String()
}

// NewDataset begins a table in a folder, which is made. A folder with a table in another number of shards is refused:
// engines would read both.
func NewDataset(dir string, shard Shard, p Provenance) (*Dataset, error) {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, err
	}
	d := &Dataset{dir: dir, shard: shard, all: p, of: p}
	there, err := filepath.Glob(filepath.Join(globEscaped(dir), "horse=*", "part-*.parquet"))
	if err != nil {
		return nil, err
	}
	for _, name := range there {
		if !strings.HasSuffix(name, d.ofN()) {
			return nil, &OtherShardsError{File: name}
		}
	}
	return d, nil
}

// OtherShardsError tells that a folder holds a table that was cut otherwise.
type OtherShardsError struct{ File string }

func (e *OtherShardsError) Error() string {
	return fmt.Sprintf("%s: is part of a table in another number of shards, expected a folder without one", e.File)
}

// globEscaped is a path without meaning to Glob.
func globEscaped(p string) string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(p)
}

func (d *Dataset) ofN() string { return fmt.Sprintf("-of-%05d.parquet", d.shard.N) }

// Add takes up a ride, of the last ride's horse or one after it.
func (d *Dataset) Add(r *Result) error {
	d.all.Add(r)
	if r.Err != nil || len(r.Rows) == 0 {
		return nil
	}
	if d.open != nil && r.Ride.Horse != d.horse {
		if err := d.end(); err != nil {
			return err
		}
	}
	if d.open == nil {
		d.horse, d.of = r.Ride.Horse, d.all
		d.of.Recordings, d.of.Failed = []Source{}, []Failure{}
		folder := filepath.Join(d.dir, Folder(d.horse))
		if err := os.MkdirAll(folder, 0o777); err != nil {
			return err
		}
		var err error
		name := filepath.Join(folder, fmt.Sprintf("part-%05d%s", d.shard.I, d.ofN()))
		if d.open, err = beside(name); err != nil {
			return err
		}
		d.done = append(d.done, written{d.open.Name(), name})
		if d.writer, err = NewWriter(d.open, Parquet, "horse"); err != nil {
			return err
		}
	}
	d.of.Add(r)
	return d.writer.Write(r.Rows)
}

// end ends the file of a horse.
func (d *Dataset) end() error {
	if d.open == nil {
		return nil
	}
	err := d.writer.Close(d.of)
	err = errors.Join(err, d.open.Sync(), d.open.Close())
	d.open = nil
	return err
}

// beside opens a new hidden file beside name, which is to be renamed to it when whole.
func beside(name string) (*os.File, error) {
	return os.Create(filepath.Join(filepath.Dir(name), fmt.Sprintf(".%s.%d.tmp", filepath.Base(name), os.Getpid())))
}

// contents is what a shard's list of files holds besides the provenance.
type contents struct {
	Files []string `json:"files"` // in the table's folder
	Provenance
}

// Commit puts the table in its place: first the files of all horses, then the list of them with the
// provenance. Files that the shard's earlier list names and that are no more are removed.
func (d *Dataset) Commit() error {
	if err := d.end(); err != nil {
		return err
	}
	list := filepath.Join(d.dir, fmt.Sprintf("_provenance-%05d-of-%05d.json", d.shard.I, d.shard.N))
	var before contents
	if data, err := os.ReadFile(list); err == nil {
		if json.Unmarshal(data, &before) != nil {
			before.Files = nil
		}
	}
	now := contents{Files: []string{}, Provenance: d.all}
	for _, w := range d.done {
		if err := os.Rename(w.temp, w.name); err != nil {
			return err
		}
		rel, err := filepath.Rel(d.dir, w.name)
		if err != nil {
			return err
		}
		now.Files = append(now.Files, filepath.ToSlash(rel))
	}
	d.done = nil
	for _, name := range before.Files {
		// Only what is a part of this shard: the list is a file that anyone may have changed.
		ours := filepath.IsLocal(name) && strings.HasPrefix(name, "horse=") && strings.HasSuffix(name, fmt.Sprintf("/part-%05d%s", d.shard.I, d.ofN()))
		if ours && !slices.Contains(now.Files, name) {
			old := filepath.Join(d.dir, filepath.FromSlash(name))
			os.Remove(old)
			os.Remove(filepath.Dir(old)) // if nothing else is in it
		}
	}
	out, err := beside(list)
	if err != nil {
		return err
	}
	enc := json.NewEncoder(out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := errors.Join(enc.Encode(now), out.Sync(), out.Close()); err != nil {
		os.Remove(out.Name())
		return err
	}
	return os.Rename(out.Name(), list)
}

// Abort removes what was written and not put in its place.
func (d *Dataset) Abort() {
	if d.open != nil {
		d.open.Close()
		d.open = nil
	}
	for _, w := range d.done {
		os.Remove(w.temp)
		os.Remove(filepath.Dir(w.temp)) // if nothing else is in it
	}
	d.done = nil
}
