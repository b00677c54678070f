package read

import (
	"encoding/xml"
	"fmt"
	"io"
	"strings"

	"golang.org/x/net/html/charset"
)

// maxDepth is how deep elements may nest. Track formats nest some 10 deep with
// extensions; the limit keeps recursive readers from running out of stack.
const maxDepth = 64

// xmlWalk hands out the tokens of an XML document one by one and keeps what the
// decoder's raw tokens do not: the path to the element, and that it is closed rightly.
// Entities of the document's own are not expanded, so they can't blow it up.
type xmlWalk struct {
	dec  *xml.Decoder
	path []string // local names of the open elements
	line int      // of the token last handed out
	// cut tells why the document ended before its end; empty while it has not.
	cut string
}

func newXMLWalk(r io.Reader, limits Limits) *xmlWalk {
	dec := xml.NewDecoder(newMarkup(r, limits.LineBytes))
	dec.CharsetReader = decoded
	return &xmlWalk{dec: dec}
}

// decoded turns the encoding that a document declares into UTF-8.
func decoded(label string, in io.Reader) (io.Reader, error) {
	if strings.HasPrefix(strings.ToLower(label), "utf-16") {
		return in, nil // already turned into UTF-8 from its first bytes
	}
	return charset.NewReaderLabel(label, in)
}

// next is the next start element, end element or text; nil at the end, wanted or not.
func (w *xmlWalk) next() xml.Token {
	for w.cut == "" {
		tok, err := w.dec.RawToken()
		if err != nil {
			if err == io.EOF {
				if len(w.path) > 0 {
					w.cut = fmt.Sprintf("the file ends within <%s>", w.path[len(w.path)-1])
				}
				return nil
			}
			w.line, _ = w.dec.InputPos()
			w.cut = strings.TrimPrefix(err.Error(), "XML syntax error on ")
			return nil
		}
		switch t := tok.(type) {
		case xml.StartElement:
			w.line, _ = w.dec.InputPos()
			if len(w.path) == maxDepth {
				w.cut = fmt.Sprintf("elements nest more than %d deep", maxDepth)
				return nil
			}
			w.path = append(w.path, t.Name.Local)
			return tok // not t, which would be boxed anew
		case xml.EndElement:
			if len(w.path) == 0 || w.path[len(w.path)-1] != t.Name.Local {
				w.line, _ = w.dec.InputPos()
				w.cut = fmt.Sprintf("</%s> closes nothing", t.Name.Local)
				return nil
			}
			w.path = w.path[:len(w.path)-1]
			return tok
		case xml.CharData:
			return tok
		}
	}
	return nil
}

// text is the text of the element just opened, which is read to its end.
func (w *xmlWalk) text() string {
	depth := len(w.path)
	var b strings.Builder
	for len(w.path) >= depth {
		tok := w.next()
		if tok == nil {
			break
		}
		if data, ok := tok.(xml.CharData); ok && len(w.path) == depth {
			b.Write(data)
		}
	}
	return strings.TrimSpace(b.String())
}

// skip reads the element just opened to its end.
func (w *xmlWalk) skip() {
	depth := len(w.path)
	for len(w.path) >= depth && w.next() != nil {
	}
}
