package course

import (
	"fmt"
	"strings"

	"groundline/trace"
)

// Fault is one thing in a file that makes it no plan.
type Fault struct {
	File            string
	Line            int    // from 1; 0 where the fault is of the whole file
	Field           string // path from the top, such as obstacles[3].kind; "" for the whole file
	Found, Expected string
}

// Error is one line: file:line: field: what was found, expected what.
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
	return b.String() + f.Found + ", expected " + f.Expected
}

// Faults are all the faults of a file, in the order of its lines.
type Faults []Fault

// Error is one line for each fault.
func (f Faults) Error() string {
	s := make([]string, len(f))
	for i := range f {
		s[i] = f[i].Error()
	}
	return strings.Join(s, "\n")
}

// Warning is something in a plan that can be ridden but should be looked at.
type Warning struct {
	Line   int    // of the file, from 1; 0 where the warning is of no single line
	Field  string // path in the file or name of the thing, such as "line 3-4"
	What   string
	Why    string
	Source string // of the limit; "" where none is published
}

// Note is the warning as a note of a report.
func (w Warning) Note() trace.Note {
	n := trace.Note{Level: "warning", What: w.What, Why: w.Why}
	if w.Field != "" {
		n.What = w.Field + ": " + w.What
	}
	if w.Source != "" {
		n.Why += " (" + w.Source + ")"
	}
	return n
}
