package read

import (
	"bytes"
	"fmt"
	"io"
)

// markup passes an XML document on such that none of its tokens is longer than most bytes: the decoder holds a whole
// token in memory. Comments and directives are left out but for their line breaks; a CDATA section goes on as plain
// text, cut where it is too long, since no field that is read is that long; any other token that is too long is an
// error.
//
// Looking for the signs byte by byte is right for UTF-8 and for every encoding in which they stand for themselves.
type markup struct {
	r    io.Reader
	most int

	in    [32 << 10]byte
	out   []byte // passed on up to sent
	sent  int
	err   error
	state markupState
	since int    // bytes passed on of the token so far
	tail  []byte // the first bytes of a tag, to find its kind; or the last of a section, to find its end
	quote byte   // the one that is open in a tag or directive; 0 for none
	depth int    // of <…> in a directive
}

type markupState uint8

const (
	inText markupState = iota
	inOpening
	inTag
	inInstruction
	inComment
	inCDATA
	inDirective
)

func newMarkup(r io.Reader, most int) *markup { return &markup{r: r, most: most} }

// Read implements [io.Reader].
func (m *markup) Read(p []byte) (int, error) {
	for m.sent == len(m.out) {
		m.out, m.sent = m.out[:0], 0
		if m.err != nil {
			return 0, m.err
		}
		n, err := m.r.Read(m.in[:])
		m.err = err
		if bad := m.pass(m.in[:n]); bad != nil {
			m.err = bad
		} else if err == io.EOF && m.state == inOpening {
			m.out = append(m.out, m.tail...)
		}
	}
	n := copy(p, m.out[m.sent:])
	m.sent += n
	return n, nil
}

// pass takes in what was read.
func (m *markup) pass(in []byte) error {
	for len(in) > 0 {
		taken := 1
		switch m.state {
		case inText:
			taken = m.text(in)
		case inOpening:
			m.tail = append(m.tail, in[0])
			m.opening()
		case inTag, inInstruction:
			taken = m.tag(in)
		case inDirective:
			m.directive(in[0])
		case inComment:
			taken = m.section(in, "-->")
		case inCDATA:
			taken = m.section(in, "]]>")
		}
		if m.since > m.most {
			return fmt.Errorf("a text or tag of more than %d bytes", m.most)
		}
		in = in[taken:]
	}
	return nil
}

// text passes on what comes before the next '<'. The token goes on behind a comment or CDATA section.
func (m *markup) text(in []byte) int {
	n := bytes.IndexByte(in, '<')
	if n < 0 {
		n = len(in)
	} else {
		m.state, m.tail = inOpening, m.tail[:0]
	}
	m.out = append(m.out, in[:n]...)
	m.since += n
	return n
}

// opening finds what begins with the bytes in tail, of which the first is '<'.
func (m *markup) opening() {
	const comment, cdata = "<!--", "<![CDATA["
	switch t := string(m.tail); {
	case t == comment:
		m.state, m.tail = inComment, m.tail[:0]
	case t == cdata:
		m.state, m.tail = inCDATA, m.tail[:0]
	case len(t) < len(comment) && comment[:len(t)] == t, len(t) < len(cdata) && cdata[:len(t)] == t:
	case t[1] == '!':
		m.state, m.quote, m.depth = inDirective, 0, 1
		for _, c := range m.tail[2:] {
			m.directive(c)
		}
	default:
		m.out = append(m.out, m.tail...)
		m.state, m.since, m.quote = inTag, len(t), 0
		switch t[1] {
		case '?':
			m.state, m.tail = inInstruction, m.tail[:1]
		case '>':
			m.state, m.since = inText, 0
		}
	}
}

// tag passes on up to the end of a tag or processing instruction.
func (m *markup) tag(in []byte) int {
	for i, c := range in {
		end := false
		switch {
		case m.state == inInstruction:
			end = c == '>' && m.tail[0] == '?'
			m.tail[0] = c
		case m.quote == c:
			m.quote = 0
		case m.quote != 0:
		case c == '"' || c == '\'':
			m.quote = c
		case c == '>':
			end = true
		}
		if end {
			m.out = append(m.out, in[:i+1]...)
			m.state, m.since = inText, 0
			return i + 1
		}
	}
	m.out = append(m.out, in...)
	m.since += len(in)
	return len(in)
}

// directive leaves out one byte of a directive.
func (m *markup) directive(c byte) {
	switch {
	case m.quote == c:
		m.quote = 0
	case m.quote != 0:
	case c == '"' || c == '\'':
		m.quote = c
	case c == '<':
		m.depth++
	case c == '>':
		if m.depth--; m.depth == 0 {
			m.state = inText
		}
	}
	m.lineBreak(c)
}

// section takes in what belongs to a comment or CDATA section.
func (m *markup) section(in []byte, end string) int {
	for i, c := range in {
		m.tail = append(m.tail, c)
		if len(m.tail) < len(end) {
			continue
		}
		if string(m.tail) == end {
			m.state = inText
			return i + 1
		}
		if m.state == inCDATA {
			m.plain(m.tail[0])
		} else {
			m.lineBreak(m.tail[0])
		}
		copy(m.tail, m.tail[1:])
		m.tail = m.tail[:len(end)-1]
	}
	return len(in)
}

// room reports whether more of what may be left out fits into the token.
func (m *markup) room() bool { return m.since < m.most/2 }

// lineBreak passes on line breaks alone, so that lines keep their numbers.
func (m *markup) lineBreak(c byte) {
	if c == '\n' && m.room() {
		const kept = "<!--\n-->"
		m.out = append(m.out, kept...)
		m.since += len(kept)
	}
}

// plain passes on one byte of a CDATA section.
func (m *markup) plain(c byte) {
	if !m.room() {
		return
	}
	n := len(m.out)
	switch c {
	case '<':
		m.out = append(m.out, "&lt;"...)
	case '>':
		m.out = append(m.out, "&gt;"...)
	case '&':
		m.out = append(m.out, "&amp;"...)
	default:
		m.out = append(m.out, c)
	}
	m.since += len(m.out) - n
}
