package read

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"strings"
)

// format is one kind of recording.
type format struct {
	name string
	// text tells apart what is recognised from characters in UTF-8, without blanks before them, from what is from bytes.
	text bool
	is   func(head []byte) bool
	// brings is what a file has whose first bytes are head; why says why it is no recording all the same.
	brings func(t *task, name string, head []byte) (b Brings, why string)
	read   func(t *task, name string, c *content) (*part, *Faults)
}

// formats are all kinds of recordings, in the order in which they are asked whether a file is theirs: a further one is its
// line here, its reader and its test.
func formats() []format {
	places := func(*task, string, []byte) (Brings, string) { return Brings{Positions: true}, "" }
	return []format{
		{"FIT", false, isFIT, places, func(t *task, name string, c *content) (*part, *Faults) { return t.fit(name, c.r) }},
		{"GPX", true, rootIs("gpx"), places, func(t *task, name string, c *content) (*part, *Faults) { return t.gpx(name, c.r) }},
		{"TCX", true, rootIs("TrainingCenterDatabase"), places, func(t *task, name string, c *content) (*part, *Faults) { return t.tcx(name, c.r) }},
		{"NMEA", true, isNMEA, places, (*task).nmea},
		{"CSV", true, isTable, tableBrings, (*task).csv}, // any text that is nothing else
	}
}

// formatNames are those of all formats, for people.
func formatNames() string {
	var names []string
	for _, f := range formats() {
		names = append(names, f.name)
	}
	return strings.Join(names, ", ")
}

// unknown says what a file is that no reader takes.
func unknown(name string, body []byte) Fault {
	fault := Fault{File: name, Found: "binary data of no known kind",
		Expected: "a recording: " + formatNames() + " (of motion or places), plain or packed with gzip or zip"}
	switch {
	case body[0] == '<':
		root := rootElement(body)
		fault.Found = fmt.Sprintf("XML <%s>", root)
		switch root {
		case "":
			fault.Found = "XML without an outermost element"
		case "kml":
			fault.Hint = "export the ride as GPX: KML tells the way, seldom the times"
		}
	case !isBinary(body) && (body[0] == '{' || body[0] == '['):
		fault.Found = "JSON"
	}
	return fault
}

// isBinary reports whether there are bytes that no text has.
func isBinary(head []byte) bool {
	n := 0
	for _, c := range head[:min(len(head), 4096)] {
		switch {
		case c == 0:
			return true
		case c < 32 && c != '\t' && c != '\n' && c != '\r' && c != '\f':
			n++
		}
	}
	return n > 4
}

func isTable(body []byte) bool {
	return !isBinary(body) && body[0] != '<' && body[0] != '{' && body[0] != '['
}

// rootIs recognises an XML document by its outermost element.
func rootIs(name string) func(body []byte) bool {
	return func(body []byte) bool { return body[0] == '<' && rootElement(body) == name }
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
