package read

import (
	"fmt"
	"strings"
)

// Fault is one thing wrong with one file, told so that its owner can mend it.
type Fault struct {
	File     string // as given; "ride.zip/Gyroscope.csv" inside an archive
	Line     int    // counted from 1; 0 where the fault has no line
	Field    string // column, element or message; may be empty
	Found    string // what stands there
	Expected string // what may stand there
	Hint     string // what to do about it; may be empty
}

// Error is one line: "file:line: field: found, expected what; what to do".
func (f Fault) Error() string {
	var b strings.Builder
	b.WriteString(f.File)
	if f.Line > 0 {
		fmt.Fprintf(&b, ":%d", f.Line)
	}
	b.WriteString(": ")
	if f.Field != "" {
		b.WriteString(f.Field + ": ")
	}
	b.WriteString(f.Found)
	if f.Expected != "" {
		b.WriteString(", expected " + f.Expected)
	}
	if f.Hint != "" {
		b.WriteString("; " + f.Hint)
	}
	return b.String()
}

// maxFaults is how many faults of one file are told; more would scroll the first away.
const maxFaults = 20

// Faults are all that is wrong with the files given, file by file in the order given.
type Faults struct {
	List []Fault
	// More is how many further faults were found and not listed.
	More int
}

// Error is one line a fault.
func (f *Faults) Error() string {
	lines := make([]string, 0, len(f.List)+1)
	for _, one := range f.List {
		lines = append(lines, one.Error())
	}
	if f.More > 0 {
		lines = append(lines, fmt.Sprintf("and %d more", f.More))
	}
	return strings.Join(lines, "\n")
}

func (f *Faults) add(other *Faults) {
	f.List = append(f.List, other.List...)
	f.More += other.More
}

// refuse is a refusal of one file: the reason, then the rows that led to it.
func refuse(why Fault, rows problems) *Faults {
	f := &Faults{List: []Fault{why}}
	for _, p := range rows.first {
		p.File = why.File
		f.List = append(f.List, p)
	}
	f.More = rows.count - len(rows.first)
	return f
}

// problems are rows or points that were left out: the first few with their place, all counted.
type problems struct {
	first []Fault
	count int
}

func (p *problems) add(f Fault) {
	p.count++
	if len(p.first) < maxFaults-1 {
		p.first = append(p.first, f)
	}
}

// append takes the problems of o in after its own.
func (p *problems) append(o problems) {
	p.count += o.count
	p.first = append(p.first, o.first[:min(len(o.first), maxFaults-1-len(p.first))]...)
}

// addAll takes the problems of o in before its own: those were found first.
func (p *problems) addAll(o problems) {
	first := append(o.first, p.first...)
	p.first = first[:min(len(first), maxFaults-1)]
	p.count += o.count
}

// quoteShort is text from a file, fit for one line of an error: printable and short.
func quoteShort(text string) string {
	const longest = 40
	if len(text) > longest {
		text = text[:longest] + "…"
	}
	return fmt.Sprintf("%q", text)
}
