package paths

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"strings"
	"unicode"
	"unicode/utf8"

	"groundline/report/layout"
	"groundline/trace/read"
)

// What bounds a manifest.
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
				return layout.OfCell(strings.TrimSpace(fields[i]))
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
				in := finder{opt: Options{Columns: r.Columns}}
				in.folder(p, deepest)
				for _, q := range in.rides {
					r.Files = append(r.Files, q.Files...)
					if folderPlan == "" {
						folderPlan = q.Course
					}
				}
				if len(r.Files) == 0 {
					f.fault("%s:%d: recording: no recording in %s%s", name, line, p, lookedAt(in.left))
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
	all, _, err := f.done()
	return all, err
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
