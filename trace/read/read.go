// Package read turns what devices wrote into one [trace.Recording].
//
// A rider hands over whatever the watch, phone or sensor gave: GPX, TCX, FIT, a motion
// CSV in any of many dialects, packed with gzip or zip, one file or several. What a file is,
// is found from its content; each format has one reader; what the readers bring home is
// laid on one clock.
//
// A reader refuses a file only where its clock or its places can't be trusted, and then
// tells every fault with its place ([Faults]). All else it puts up with and says so: a bad
// row is left out and counted, a missing channel is nil, a gap stays a gap. Nothing is
// taken on trust: not the size that an archive declares, not the length of a line, not
// the order of times.
package read

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"groundline/trace"
)

// Options say how to read. The zero value reads anything of sensible size.
type Options struct {
	// Columns maps the columns of motion CSV files by hand where the header does not tell, as
	// "t=timestamp,ax=c1,ay=c2,az=c3"; a column is named as in the header or numbered from 1
	// as #1, #2, … Names to the left: t, ax, ay, az, gx, gy, gz. A unit may follow a slash
	// ("ax=x/g", "gx=p/deg", "t=clock/ms"), and "t=samples@100" says that column samples
	// counts at 100 Hz.
	Columns string
	// PlacesOnly asks for waypoints and laps where there may be no ride: a survey's file
	// is not refused for having no track, and waypoints without a time are kept at second 0.
	PlacesOnly bool
	// Progress, where given, is called now and then with the bytes read of a file and its size.
	Progress func(file string, done, size int64)
	// Limits bound what a file may ask for; zero fields take their default.
	Limits Limits
}

// Limits bound the memory and time that a ride can cost. All but the last hold for the sum over its files and over the
// files in an archive. They are far above any ride.
type Limits struct {
	Bytes     int64 // bytes of text, unpacked; default 4 GiB: two days of six axes at 200 Hz
	Ratio     int64 // unpacked over packed bytes, beyond the first 64 MiB; default 200: text packs 3 to 20 times
	Rows      int   // rows, points and marks; default 20 million: 28 h at 200 Hz, 1.1 GB in memory
	LineBytes int   // one line of text, one XML token; default 1 MiB
}

func (l Limits) orDefaults() Limits {
	if l.Bytes <= 0 {
		l.Bytes = 4 << 30
	}
	if l.Ratio <= 0 {
		l.Ratio = 200
	}
	if l.Rows <= 0 {
		l.Rows = 20_000_000
	}
	if l.LineBytes <= 0 {
		l.LineBytes = 1 << 20
	}
	return l
}

// Input is a file held in memory.
type Input struct {
	Name string
	Data []byte
}

// Open reads the files as one ride. The error is a [*Faults] where the fault lies in the
// input, the context's error where that ended it.
func Open(ctx context.Context, paths []string, opt Options) (*trace.Recording, error) {
	rec, _, err := Inspect(ctx, paths, opt)
	return rec, err
}

// Inspect is [Open] with what was understood of each file, for people to check. Where
// files are refused, the summaries of the others still come with the error.
func Inspect(ctx context.Context, paths []string, opt Options) (*trace.Recording, []Summary, error) {
	return readAll(ctx, len(paths), opt, func(i int) (string, io.ReaderAt, int64, func(), *Fault) {
		path := paths[i]
		file, size, fault := openRegular(path)
		if fault != nil {
			return path, nil, 0, nil, fault
		}
		return path, file, size, func() { file.Close() }, nil
	})
}

// OpenBytes is [Open] for files held in memory.
func OpenBytes(ctx context.Context, inputs []Input, opt Options) (*trace.Recording, error) {
	rec, _, err := InspectBytes(ctx, inputs, opt)
	return rec, err
}

// InspectBytes is [Inspect] for files held in memory.
func InspectBytes(ctx context.Context, inputs []Input, opt Options) (*trace.Recording, []Summary, error) {
	return readAll(ctx, len(inputs), opt, func(i int) (string, io.ReaderAt, int64, func(), *Fault) {
		in := inputs[i]
		return in.Name, newBytesAt(in.Data), int64(len(in.Data)), func() {}, nil
	})
}

// Named is a file that lies under another name than its own: Name is what people are told of it.
type Named struct {
	Name string
	At   io.ReaderAt
	Size int64
}

// OpenNamed is [Open] for files that somebody else has opened.
func OpenNamed(ctx context.Context, files []Named, opt Options) (*trace.Recording, error) {
	rec, _, err := InspectNamed(ctx, files, opt)
	return rec, err
}

// InspectNamed is [Inspect] for files that somebody else has opened.
func InspectNamed(ctx context.Context, files []Named, opt Options) (*trace.Recording, []Summary, error) {
	return readAll(ctx, len(files), opt, func(i int) (string, io.ReaderAt, int64, func(), *Fault) {
		return files[i].Name, files[i].At, files[i].Size, func() {}, nil
	})
}

func openRegular(path string) (*os.File, int64, *Fault) {
	// Looked at before it is opened: opening a named pipe would wait for who writes to it.
	info, err := os.Stat(path)
	var file *os.File
	if err == nil && info.Mode().IsRegular() {
		file, err = os.Open(path)
	}
	if err != nil {
		fault := Fault{File: path, Found: "can't be opened", Expected: "a file that may be read"}
		switch {
		case errors.Is(err, fs.ErrNotExist):
			fault.Found = "no such file"
			fault.Expected = "the name of a recording"
		case errors.Is(err, fs.ErrPermission):
			fault.Found = "not permitted to read"
		}
		return nil, 0, &fault
	}
	if file == nil {
		fault := Fault{File: path, Found: "not a plain file", Expected: "a recording's file"}
		if info.IsDir() {
			fault.Found, fault.Hint = "a folder", "name the files in it"
		}
		return nil, 0, &fault
	}
	return file, info.Size(), nil
}

// readAll reads n files one after the other and joins what they hold.
func readAll(ctx context.Context, n int, opt Options,
	open func(i int) (name string, at io.ReaderAt, size int64, done func(), fault *Fault),
) (*trace.Recording, []Summary, error) {
	opt.Limits = opt.Limits.orDefaults()
	var faults Faults
	var parts []*part
	var files []string
	hand, fault := parseColumns(opt.Columns)
	if fault != nil {
		return nil, nil, &Faults{List: []Fault{*fault}}
	}
	if n == 0 {
		return nil, nil, &Faults{List: []Fault{{File: "no file", Found: "nothing to read", Expected: "at least one recording"}}}
	}
	spent := &spending{}
	for i := range n {
		name, at, size, done, fault := open(i)
		files = append(files, name)
		if fault != nil {
			faults.add(&Faults{List: []Fault{*fault}})
			continue
		}
		task := &task{ctx: ctx, opt: opt, hand: hand, spent: spent}
		got, bad := task.file(name, at, size)
		done()
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		if bad != nil {
			faults.add(bad)
		}
		parts = append(parts, got...)
	}
	if len(faults.List) > 0 {
		return nil, summaries(parts), &faults
	}
	rec, bad := join(parts, files, opt)
	if bad != nil {
		return nil, summaries(parts), bad
	}
	return rec, summaries(parts), nil
}

// task is the reading of one file given by the user.
type task struct {
	ctx  context.Context
	opt  Options
	hand *handColumns // nil: by the header
	// spent is shared by all files of the ride.
	spent *spending
}

// spending is what the files of a ride have cost so far.
type spending struct {
	bytes, packed int64 // out of archives, and in them
	rows          int
}

// rowsLeft is how many rows the next file may have.
func (t *task) rowsLeft() int { return max(0, t.opt.Limits.Rows-t.spent.rows) }

// tooManyRows is what is found where a file has more than that.
func (t *task) tooManyRows() string {
	return fmt.Sprintf("more than %d rows or points in all", t.opt.Limits.Rows)
}

// part is what one file, or one file of an archive, brought home.
type part struct {
	sum    Summary
	places *places
	motion *motion
	turns  *turns // a gyroscope's file without accelerometer
	marks  []trace.Mark
	notes  []trace.Note
	// base is the instant of time zero of the part's own clock; known is false for a clock
	// that counts from an unknown instant.
	base  moment
	known bool
}

func (p *part) note(level, what, why string) {
	p.notes = append(p.notes, trace.Note{Level: level, What: filepath.Base(p.sum.File) + ": " + what, Why: why})
}

// places are fixes on the part's own clock. Absent heights and speeds are NaN until joined.
type places struct {
	t, lat, lon, height, speed []float64
	segment                    []int
}

// motion is an accelerometer, perhaps with a gyroscope, on the part's own clock, in SI.
type motion struct {
	t              []float64
	a, g           [3][]float64 // g nil without a gyroscope
	gravityRemoved bool
}

// turns is a gyroscope with times of its own, rad/s.
type turns struct {
	t    []float64
	g    [3][]float64
	used bool // an accelerometer has taken it
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
