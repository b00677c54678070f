package read

import (
	"archive/zip"
	"bufio"
	"cmp"
	"compress/flate"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"math"
	"path"
	"slices"
	"strings"
)

// Archives are unpacked as a stream, and what they declare is not believed: a file is read
// until it ends or until a limit is reached.

// errTooLarge ends the unpacking of what swells beyond all sense.
var errTooLarge = errors.New("it unpacks to more than a recording can be")

// swelling passes unpacked bytes on and stops where they are too many, in all or for the
// packed bytes taken, over all files of the ride.
type swelling struct {
	r      io.Reader
	packed *meter
	seen   int64 // of packed
	limits Limits
	spent  *spending
}

func (t *task) swelling(r io.Reader, packed *meter) *swelling {
	return &swelling{r: r, packed: packed, limits: t.opt.Limits, spent: t.spent}
}

func (s *swelling) Read(p []byte) (int, error) {
	const grace = 64 << 20 // so much does no harm, however small it was packed
	n, err := s.r.Read(p)
	s.spent.bytes += int64(n)
	s.spent.packed += s.packed.done - s.seen
	s.seen = s.packed.done
	if s.spent.bytes > s.limits.Bytes || s.spent.bytes > grace && s.spent.bytes/s.limits.Ratio > s.spent.packed {
		return 0, errTooLarge
	}
	return n, err
}

func (t *task) gzip(name string, m *meter) ([]*part, *Faults) {
	p, bad := t.gunzip(name, m, m)
	return listed(p), bad
}

// gunzip reads what one gzip stream holds.
func (t *task) gunzip(name string, r io.Reader, m *meter) (*part, *Faults) {
	unpacked, err := gzip.NewReader(r)
	if err != nil {
		return nil, refuse(damaged(name, "gzip", err), problems{})
	}
	p, bad := t.unpacked(name, t.swelling(unpacked, m), m)
	if p != nil {
		p.sum.Packed = "gzip"
	}
	return p, bad
}

// unpacked reads a file out of an archive. An archive in an archive is refused.
func (t *task) unpacked(name string, r io.Reader, m *meter) (*part, *Faults) {
	buffered := bufio.NewReaderSize(r, 64<<10)
	head, err := buffered.Peek(4)
	switch {
	case len(head) == 0 && err != nil && err != io.EOF:
		return nil, refuse(damaged(name, "archive", err), problems{})
	case isGzip(head) || isZip(head):
		return nil, refuse(Fault{File: name, Found: "an archive in an archive", Expected: "a recording", Hint: "unpack the outer one first"}, problems{})
	}
	return t.plain(name, buffered, m)
}

func damaged(name, kind string, err error) Fault {
	return Fault{File: name, Found: "a damaged " + kind + ": " + err.Error(), Hint: "get the file anew"}
}

// mostMembers bounds the files of a zip that are looked at; a phone's logger writes some 30.
const mostMembers = 200

// maxDirectory bounds the bytes of a zip's list of files, all of which is held in memory: far more than that of a phone.
const maxDirectory = 1 << 20

// bounded reads no more than left bytes.
type bounded struct {
	at   io.ReaderAt
	left int64
}

func (b *bounded) ReadAt(p []byte, off int64) (int, error) {
	if b.left -= int64(len(p)); b.left < 0 {
		return 0, errors.New("its list of files is too long")
	}
	return b.at.ReadAt(p, off)
}

// zip reads an archive: all files in it that are recordings, as phone loggers write one a
// sensor. What is none of these is named in a note; it is no fault unless nothing is left.
func (t *task) zip(name string, at io.ReaderAt, size int64) ([]*part, *Faults) {
	files, further, fault := members(name, at, size)
	if fault != nil {
		return nil, refuse(*fault, problems{})
	}
	var parts []*part
	var faults Faults
	var skipped []string
	if further > 0 {
		skipped = append(skipped, counted(further, "further file", "further files"))
	}
	for _, member := range files {
		inner := name + "/" + member.Name
		base := path.Base(member.Name)
		p, bad := t.member(inner, member, size)
		if t.ctx.Err() != nil {
			return nil, refuse(Fault{File: inner, Found: "stopped"}, problems{})
		}
		if bad != nil {
			faults.add(bad)
			skipped = append(skipped, base+" ("+bad.List[0].Found+")")
			continue
		}
		p.sum.Packed = "zip"
		parts = append(parts, p)
	}
	if len(parts) == 0 {
		if len(faults.List) == 0 {
			faults.add(refuse(Fault{File: name, Found: "a zip without files", Expected: "recordings"}, problems{}))
		}
		return nil, &faults
	}
	if len(skipped) > 0 {
		parts[0].note("info", counted(len(skipped), "file", "files")+" of the zip not used", strings.Join(skipped, "; "))
		parts[0].sum.Ignored = append(parts[0].sum.Ignored, skipped...)
	}
	return parts, nil
}

// members are the files of a zip that may be recordings, and how many more than mostMembers it has.
func members(name string, at io.ReaderAt, size int64) (files []*zip.File, further int, fault *Fault) {
	directory := &bounded{at: at, left: maxDirectory}
	archive, err := zip.NewReader(directory, size)
	directory.left = math.MaxInt64
	var twice string
	if err == nil {
		twice, err = overlapping(archive.File)
	}
	switch {
	case err != nil:
		fault := damaged(name, "zip", err)
		return nil, 0, &fault
	case twice != "":
		return nil, 0, &Fault{File: name + "/" + twice, Found: "lies over another file of the zip", Expected: "bytes of its own", Hint: "pack the recordings again"}
	}
	for i, f := range archive.File {
		if i == mostMembers {
			return files, len(archive.File) - i, nil
		}
		if !f.FileInfo().IsDir() && !strings.HasPrefix(path.Base(f.Name), ".") && !strings.HasPrefix(f.Name, "__MACOSX/") {
			files = append(files, f)
		}
	}
	return files, 0, nil
}

// lookIntoZip is what all files of a zip hold.
func (t *task) lookIntoZip(name string, at io.ReaderAt, size int64) Kind {
	files, _, fault := members(name, at, size)
	if fault != nil {
		return Kind{Why: fault.Found}
	}
	all := Kind{Why: "a zip without a recording"}
	for _, f := range files {
		r, _, fault := t.openMember(name, f, size)
		if fault != nil {
			continue
		}
		if k := t.kind(name+"/"+f.Name, r); k.Format != "" {
			all = Kind{k.Format, "", Brings{all.Positions || k.Positions, all.Motion || k.Motion, all.Turns || k.Turns}}
		}
	}
	return all
}

// overlapping is the name of a file that shares bytes with another of the archive, "" where none does. Entries that point
// at the same bytes make a small archive a huge one.
func overlapping(files []*zip.File) (string, error) {
	type span struct {
		name     string
		from, to int64
	}
	spans := make([]span, 0, len(files))
	for _, f := range files {
		at, err := f.DataOffset()
		if err != nil {
			return "", err
		}
		if f.CompressedSize64 > math.MaxInt64-uint64(at) {
			return "", zip.ErrFormat
		}
		spans = append(spans, span{f.Name, at, at + int64(f.CompressedSize64)})
	}
	slices.SortFunc(spans, func(a, b span) int { return cmp.Compare(a.from, b.from) })
	for i := 1; i < len(spans); i++ {
		// Each file has a head of its own of 30 bytes or more before its data (APPNOTE.TXT 4.3.7).
		const head = 30
		if spans[i].from-head < spans[i-1].to {
			return spans[i].name, nil
		}
	}
	return "", nil
}

// member reads one file of a zip of the given size.
func (t *task) member(name string, member *zip.File, size int64) (*part, *Faults) {
	r, m, fault := t.openMember(name, member, size)
	if fault != nil {
		return nil, refuse(*fault, problems{})
	}
	return t.unpacked(name, t.swelling(r, m), m)
}

// openMember unpacks one file of a zip; m meters its packed bytes.
func (t *task) openMember(name string, member *zip.File, size int64) (r io.Reader, m *meter, fault *Fault) {
	if member.Flags&1 != 0 {
		return nil, nil, &Fault{File: name, Found: "encrypted", Expected: "a plain file", Hint: "unpack it first"}
	}
	raw, err := member.OpenRaw()
	if err != nil {
		fault := damaged(name, "zip", err)
		return nil, nil, &fault
	}
	// The packed bytes are metered as they are taken; a declared size is believed only up to
	// that of the archive itself.
	m = t.meter(name, raw, int64(min(member.CompressedSize64, uint64(size))))
	switch member.Method {
	case zip.Store:
		return m, m, nil
	case zip.Deflate:
		return flate.NewReader(m), m, nil
	}
	return nil, nil, &Fault{File: name, Found: fmt.Sprintf("packed by method %d", member.Method), Expected: "deflate", Hint: "unpack it first"}
}
