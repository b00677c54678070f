package read

import (
	"bufio"
	"bytes"
	"context"
	"encoding/xml"
	"fmt"
	"io"
	"strings"

	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// headBytes is how much of a text is looked at to understand it.
const headBytes = 256 << 10

// meter counts the bytes taken from the file itself, tells the progress and hears the
// context's end.
type meter struct {
	ctx  context.Context
	r    io.Reader
	done int64
	size int64
	tell func(done, size int64)
	told int64
}

func (m *meter) Read(p []byte) (int, error) {
	if err := m.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := m.r.Read(p)
	m.done += int64(n)
	const every = 4 << 20 // often enough for a progress line, seldom enough to cost nothing
	if m.tell != nil && (m.done-m.told >= every || err != nil && m.told < m.done) {
		m.told = m.done
		m.tell(m.done, m.size)
	}
	return n, err
}

// fraction is the share of the file that has been taken, (0, 1].
func (m *meter) fraction() float64 {
	if m.size <= 0 || m.done >= m.size {
		return 1
	}
	return max(float64(m.done), 1) / float64(m.size)
}

func (t *task) meter(name string, r io.Reader, size int64) *meter {
	m := &meter{ctx: t.ctx, r: r, size: size}
	if tell := t.opt.Progress; tell != nil {
		m.tell = func(done, size int64) { tell(name, done, size) }
	}
	return m
}

func newBytesAt(data []byte) io.ReaderAt { return bytes.NewReader(data) }

// file finds out what a file is and reads it.
func (t *task) file(name string, at io.ReaderAt, size int64) ([]*part, *Faults) {
	var magic [14]byte
	n, err := at.ReadAt(magic[:], 0)
	if err != nil && err != io.EOF {
		return nil, refuse(Fault{File: name, Found: "can't be read: " + err.Error()}, problems{})
	}
	head := magic[:n]
	m := t.meter(name, io.NewSectionReader(at, 0, size), size)
	switch {
	case n == 0:
		return nil, refuse(Fault{File: name, Found: "an empty file", Expected: "a recording"}, problems{})
	case isGzip(head):
		return t.gzip(name, m)
	case isZip(head):
		return t.zip(name, at, size)
	case isFIT(head):
		p, bad := t.fit(name, m)
		return listed(p), bad
	}
	p, bad := t.text(name, m, m)
	return listed(p), bad
}

func listed(p *part) []*part {
	if p == nil {
		return nil
	}
	return []*part{p}
}

func isGzip(head []byte) bool { return len(head) > 2 && head[0] == 0x1f && head[1] == 0x8b }
func isZip(head []byte) bool {
	return bytes.HasPrefix(head, []byte("PK\x03\x04")) || bytes.HasPrefix(head, []byte("PK\x05\x06"))
}
func isFIT(head []byte) bool { return len(head) >= 12 && string(head[8:12]) == ".FIT" }

// text reads an unpacked text: XML or a table. m meters the file that it comes from.
func (t *task) text(name string, r io.Reader, m *meter) (*part, *Faults) {
	buffered := bufio.NewReaderSize(r, headBytes)
	first, _ := buffered.Peek(4)
	wide := ""
	switch {
	case bytes.HasPrefix(first, []byte{0xff, 0xfe}), bytes.HasPrefix(first, []byte{0xfe, 0xff}):
		wide = "UTF-16"
	case len(first) == 4 && first[0] != 0 && first[1] == 0 && first[2] != 0 && first[3] == 0:
		wide = "UTF-16, low byte first"
	case len(first) == 4 && first[0] == 0 && first[1] != 0 && first[2] == 0 && first[3] != 0:
		wide = "UTF-16, high byte first"
	case bytes.HasPrefix(first, []byte{0xef, 0xbb, 0xbf}):
		buffered.Discard(3)
	}
	if wide != "" {
		endian := unicode.LittleEndian
		if first[0] == 0xfe || first[0] == 0 {
			endian = unicode.BigEndian
		}
		decoder := unicode.UTF16(endian, unicode.UseBOM).NewDecoder()
		buffered = bufio.NewReaderSize(transform.NewReader(buffered, decoder), headBytes)
	}
	head, err := buffered.Peek(headBytes)
	if err != nil && err != io.EOF && len(head) == 0 {
		return nil, refuse(Fault{File: name, Found: "can't be read: " + err.Error(), Hint: "the file is damaged: get it anew"}, problems{})
	}
	body := trim(head)
	switch {
	case len(body) == 0:
		return nil, refuse(Fault{File: name, Found: "nothing but blanks", Expected: "a recording"}, problems{})
	case body[0] == '<':
		return t.markup(name, body, buffered)
	case bytes.IndexByte(head[:min(len(head), 4096)], 0) >= 0 || control(head):
		return nil, refuse(unknown(name, "binary data of no known kind"), problems{})
	case body[0] == '{' || body[0] == '[':
		return nil, refuse(unknown(name, "JSON"), problems{})
	}
	size := int64(0)
	if wide == "" && r == io.Reader(m) {
		size = m.size
	}
	return t.csv(name, head, buffered, m, size)
}

// control tells that there are bytes that no text has.
func control(head []byte) bool {
	n := 0
	for _, c := range head[:min(len(head), 4096)] {
		if c < 32 && c != '\t' && c != '\n' && c != '\r' && c != '\f' {
			n++
		}
	}
	return n > 4
}

func unknown(name, found string) Fault {
	return Fault{File: name, Found: found, Expected: "a recording: GPX, TCX, FIT or a motion CSV, plain or packed with gzip or zip"}
}

// markup reads an XML document by its outermost element.
func (t *task) markup(name string, head []byte, r io.Reader) (*part, *Faults) {
	switch root := rootElement(head); root {
	case "gpx":
		return t.gpx(name, r)
	case "TrainingCenterDatabase":
		return t.tcx(name, r)
	case "":
		return nil, refuse(unknown(name, "XML without an outermost element"), problems{})
	default:
		fault := unknown(name, fmt.Sprintf("XML <%s>", root))
		if root == "kml" {
			fault.Hint = "export the ride as GPX: KML tells the way, seldom the times"
		}
		return nil, refuse(fault, problems{})
	}
}

func rootElement(head []byte) string {
	dec := xml.NewDecoder(bytes.NewReader(head))
	dec.Strict = false
	dec.CharsetReader = func(label string, in io.Reader) (io.Reader, error) {
		if r, err := decoded(label, in); err == nil {
			return r, nil
		}
		return in, nil // its reader will say what is wrong with it
	}
	for {
		tok, err := dec.RawToken()
		if err != nil {
			return ""
		}
		if start, ok := tok.(xml.StartElement); ok {
			return strings.TrimSpace(start.Name.Local)
		}
	}
}
