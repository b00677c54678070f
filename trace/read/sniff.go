package read

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"io"
	"os"

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
	var magic [4]byte
	n, err := at.ReadAt(magic[:], 0)
	if err != nil && err != io.EOF {
		return nil, refuse(Fault{File: name, Found: "can't be read: " + err.Error()}, problems{})
	}
	head := magic[:n]
	m := t.meter(name, io.NewSectionReader(at, 0, size), size)
	switch {
	case isGzip(head):
		return t.gzip(name, m)
	case isZip(head):
		return t.zip(name, at, size)
	}
	p, bad := t.plain(name, m, m)
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

// plain reads an unpacked file. m meters the file that it comes from.
func (t *task) plain(name string, r io.Reader, m *meter) (*part, *Faults) {
	f, c, fault := recognise(name, bufio.NewReaderSize(r, headBytes))
	if fault != nil {
		return nil, refuse(*fault, problems{})
	}
	c.meter = m
	if r == io.Reader(m) && !c.decoded {
		c.size = m.size
	}
	return f.read(t, name, c)
}

// content is an unpacked file that is about to be read.
type content struct {
	head    []byte        // its first bytes, at most headBytes; of a text, in UTF-8
	r       *bufio.Reader // all of it, the head too
	decoded bool          // r is a text that was written in another encoding
	meter   *meter        // of the file that it comes from
	size    int64         // of r, bytes; 0 where that is not known
}

// recognise finds a file's format by its first bytes, of which in holds at most headBytes. The fault says why it has none.
func recognise(name string, in *bufio.Reader) (format, *content, *Fault) {
	c := &content{r: in}
	var err error
	c.head, err = in.Peek(headBytes)
	if len(c.head) == 0 {
		if err == io.EOF {
			return format{}, nil, &Fault{File: name, Found: "an empty file", Expected: "a recording"}
		}
		return format{}, nil, &Fault{File: name, Found: "can't be read: " + err.Error(), Hint: "the file is damaged: get it again"}
	}
	for _, f := range formats() {
		if !f.text && f.is(c.head) {
			return f, c, nil
		}
	}
	c.asText()
	body := trim(c.head)
	if len(body) == 0 {
		return format{}, nil, &Fault{File: name, Found: "nothing but blanks", Expected: "a recording"}
	}
	for _, f := range formats() {
		if f.text && f.is(body) {
			return f, c, nil
		}
	}
	fault := unknown(name, body)
	return format{}, nil, &fault
}

// asText turns UTF-16 into UTF-8 and leaves a byte order mark out.
func (c *content) asText() {
	first := c.head[:min(len(c.head), 4)]
	endian := unicode.LittleEndian
	switch {
	case bytes.HasPrefix(first, []byte{0xff, 0xfe}):
	case bytes.HasPrefix(first, []byte{0xfe, 0xff}):
		endian = unicode.BigEndian
	case len(first) == 4 && first[0] != 0 && first[1] == 0 && first[2] != 0 && first[3] == 0:
	case len(first) == 4 && first[0] == 0 && first[1] != 0 && first[2] == 0 && first[3] != 0:
		endian = unicode.BigEndian
	case bytes.HasPrefix(first, []byte{0xef, 0xbb, 0xbf}):
		c.r.Discard(3)
		c.head, _ = c.r.Peek(headBytes)
		return
	default:
		return
	}
	decoder := unicode.UTF16(endian, unicode.UseBOM).NewDecoder()
	c.r = bufio.NewReaderSize(transform.NewReader(c.r, decoder), headBytes)
	c.head, _ = c.r.Peek(headBytes)
	c.decoded = true
}

// Kind is what a file holds, as far as its first bytes tell. An archive holds what all its files hold.
type Kind struct {
	Format string // as in [Summary], without a version; "" for a file that is no recording
	Why    string // of a file that is no recording: what it is
	Brings
}

// Brings are the signals that a file has.
type Brings struct{ Positions, Motion, Turns bool }

// Look finds out what the file of a path holds, by its content alone. columns is as in [Options].
func Look(path, columns string) Kind {
	hand, fault := parseColumns(columns)
	if fault != nil {
		return Kind{Why: fault.Error()}
	}
	file, size, fault := openRegular(path)
	if fault != nil {
		return Kind{Why: fault.Found}
	}
	defer file.Close()
	return (&task{ctx: context.Background(), opt: Options{Limits: Limits{}.orDefaults()}, hand: hand, spent: &spending{}}).look(path, file, size)
}

func (t *task) look(name string, file *os.File, size int64) Kind {
	var magic [4]byte
	n, _ := file.ReadAt(magic[:], 0)
	switch head := magic[:n]; {
	case isGzip(head):
		unpacked, err := gzip.NewReader(io.NewSectionReader(file, 0, size))
		if err != nil {
			return Kind{Why: "a damaged gzip"}
		}
		return t.kind(name, unpacked)
	case isZip(head):
		return t.lookIntoZip(name, file, size)
	}
	return t.kind(name, io.NewSectionReader(file, 0, size))
}

// kind is what an unpacked file holds.
func (t *task) kind(name string, r io.Reader) Kind {
	const enough = 64 << 10 // far behind any header
	f, c, fault := recognise(name, bufio.NewReaderSize(io.LimitReader(r, enough), headBytes))
	if fault != nil {
		return Kind{Why: fault.Found}
	}
	brings, why := f.brings(t, name, c.head)
	if why != "" {
		return Kind{Why: why}
	}
	return Kind{Format: f.name, Brings: brings}
}
