package validate

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Schema names the layout of the labels.
const Schema = "groundline.labels/1"

// The events that a label may be of.
const (
	Takeoff = "takeoff" // the last hind hoof leaves the ground
	Landing = "landing" // the first fore hoof touches it
	Contact = "contact" // a hind contact that begins a canter stride
	Strides = "strides" // the strides of a line, as a trainer counts
	Gait    = "gait"    // from this time on, until the next label of a gait
	Lead    = "lead"    // from this time on, or after this obstacle
	Refusal = "refusal"
	RunOut  = "runout"
)

func events() []string {
	return []string{Takeoff, Landing, Contact, Strides, Gait, Lead, Refusal, RunOut}
}

// Label is one event that a person saw.
type Label struct {
	File     string
	Row      int // line of the file, from 1
	Event    string
	Obstacle string   // "" where not given
	From, To string   // of a line; "" where not given
	Attempt  int      // from 1; 0 where not given
	TimeS    *float64 // on the film's clock; nil for counts made at the rail
	Count    *int     // of strides
	Value    string   // a gait or a lead
	Sure     float64  // in (0, 1]; 1 where not given
	Rater    string   // who set it; "" where not said
	Ride     string   // which ride it is of; "" where the file is of one ride
}

// Line is the label's line, as 3-4.
func (l Label) Line() string { return l.From + "-" + l.To }

// at names the label's place for a message.
func (l Label) at() string { return fmt.Sprintf("%s:%d", l.File, l.Row) }

// Fault is one thing wrong with one file of labels.
type Fault struct {
	File            string
	Line            int    // from 1; 0 for the whole file
	Field           string // the column
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

// LabelOptions are what the file itself doesn't say.
type LabelOptions struct {
	FPS float64 // frames a second of the film, for labels by frame; 0 where not said
}

const (
	// MaxLabelBytes is more than a film of a day with every hoof.
	MaxLabelBytes = 16 << 20
	maxLabels     = 200_000
	maxFaults     = 20
	maxCell       = 200
)

// ReadLabels reads labels: CSV with a header that names the columns event, obstacle, line, attempt, time_s, frame,
// count, value, sure, rater and ride in any order, of which only event must be there; other columns are left
// alone. A file with tabs and no such header is read as start, end and label, times in seconds, with labels such
// as "takeoff 3", "strides 3-4 5", "gait canter". The labels come in the file's order; the error joins every
// [Fault].
func ReadLabels(name string, data []byte, opt LabelOptions) ([]Label, error) {
	whole := func(found, expected string) error { return Fault{File: name, Found: found, Expected: expected} }
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	switch {
	case len(data) > MaxLabelBytes:
		return nil, whole("too long", fmt.Sprintf("at most %d MB", MaxLabelBytes>>20))
	case !utf8.Valid(data):
		return nil, whole("not UTF-8", "labels as CSV in UTF-8")
	case len(bytes.TrimSpace(data)) == 0:
		return nil, whole("empty", "a header with a column event, and a row for each label")
	case opt.FPS != 0 && !(opt.FPS >= 1 && opt.FPS <= 10_000):
		return nil, whole(fmt.Sprintf("%g frames a second", opt.FPS), "from 1 to 10000")
	}
	r := labelReader{name: name, opt: opt}
	first, _, _ := bytes.Cut(data, []byte("\n"))
	if !hasHeader(first) && bytes.ContainsRune(first, '\t') {
		r.spans(data)
	} else {
		r.table(data)
	}
	if r.more > 0 {
		r.faults = append(r.faults, fmt.Errorf("%s: and %d more", name, r.more))
	}
	if len(r.faults) == 0 {
		r.contradictions()
	}
	if len(r.faults) > 0 {
		return nil, errors.Join(r.faults...)
	}
	if len(r.labels) == 0 {
		return nil, whole("no label", "a row for each event seen")
	}
	return r.labels, nil
}

func hasHeader(line []byte) bool {
	return slices.ContainsFunc(strings.FieldsFunc(string(line), func(c rune) bool { return c == ',' || c == '\t' || c == ';' }),
		func(s string) bool { return strings.EqualFold(strings.Trim(s, " \"\r"), "event") })
}

type labelReader struct {
	name   string
	opt    LabelOptions
	labels []Label
	faults []error
	more   int
}

func (r *labelReader) fault(line int, field, found, expected string) {
	if len(r.faults) >= maxFaults {
		r.more++
		return
	}
	r.faults = append(r.faults, Fault{File: r.name, Line: line, Field: field, Found: found, Expected: expected})
}

// table reads a CSV with a header.
func (r *labelReader) table(data []byte) {
	in := csv.NewReader(bytes.NewReader(data))
	in.FieldsPerRecord, in.TrimLeadingSpace = -1, true
	head := firstLine(data)
	for _, sep := range []rune{'\t', ';'} {
		if strings.Count(head, string(sep)) > strings.Count(head, ",") {
			in.Comma = sep
		}
	}
	names, err := in.Read()
	if err != nil {
		r.fault(1, "", "no CSV", "a header such as event,obstacle,line,attempt,time_s,count,value,sure,rater")
		return
	}
	column := map[string]int{}
	for i, h := range names {
		h = strings.ToLower(strings.TrimSpace(h))
		if _, twice := column[h]; twice && slices.Contains(labelColumns(), h) {
			r.fault(1, h, "is there twice", "each column once")
		}
		column[h] = i
	}
	if _, ok := column["event"]; !ok {
		r.fault(1, "header", clipped(head), "a column event, and obstacle, line, attempt, time_s, count, value, sure, rater where known")
		return
	}
	if _, ok := column["frame"]; ok && r.opt.FPS == 0 {
		if _, timed := column["time_s"]; !timed {
			r.fault(1, "frame", "frames without a rate", "the film's frames a second (--fps 25)")
		}
	}
	for {
		fields, err := in.Read()
		if err == io.EOF {
			return
		}
		if err != nil { // quotes that don't match: what follows is anyone's guess
			r.fault(0, "", err.Error(), "CSV")
			return
		}
		line, _ := in.FieldPos(0)
		get := func(c string) string {
			if i, ok := column[c]; ok && i < len(fields) {
				return strings.TrimSpace(fields[i])
			}
			return ""
		}
		if strings.TrimSpace(strings.Join(fields, "")) == "" {
			continue
		}
		if len(r.labels) >= maxLabels {
			r.fault(line, "", "more labels than that", fmt.Sprintf("at most %d", maxLabels))
			return
		}
		r.row(line, get)
	}
}

func labelColumns() []string {
	return []string{"event", "obstacle", "line", "attempt", "time_s", "frame", "count", "value", "sure", "rater", "ride"}
}

func firstLine(data []byte) string {
	first, _, _ := bytes.Cut(data, []byte("\n"))
	return strings.TrimRight(string(first), "\r")
}

// row takes in one label; what is wrong with it is noted with its line.
func (r *labelReader) row(line int, get func(string) string) {
	l := Label{File: r.name, Row: line, Event: strings.ToLower(get("event")), Obstacle: get("obstacle"), Sure: 1,
		Value: strings.ToLower(get("value")), Rater: get("rater"), Ride: get("ride")}
	before := len(r.faults) + r.more
	for _, c := range []string{"obstacle", "line", "rater", "ride", "value"} {
		if s := get(c); len(s) > maxCell || strings.ContainsFunc(s, unicode.IsControl) {
			r.fault(line, c, clipped(s), fmt.Sprintf("at most %d letters", maxCell))
		}
	}
	if !slices.Contains(events(), l.Event) {
		r.fault(line, "event", clipped(get("event")), strings.Join(events(), ", "))
	}
	if s := get("line"); s != "" {
		var ok bool
		if l.From, l.To, ok = strings.Cut(s, "-"); !ok || l.From == "" || l.To == "" {
			r.fault(line, "line", clipped(s), "two obstacles with a dash between, as 3-4")
		}
	}
	if s := get("attempt"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 1 || n > 1000 {
			r.fault(line, "attempt", clipped(s), "a whole number from 1")
		}
		l.Attempt = n
	}
	r.time(line, get, &l)
	if s := get("count"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 0 || n > 200 {
			r.fault(line, "count", clipped(s), "a whole number of strides from 0 to 200")
		}
		l.Count = &n
	}
	if s := get("sure"); s != "" {
		v, ok := decimal(s)
		if !ok || v <= 0 || v > 1 {
			r.fault(line, "sure", clipped(s), "how sure, above 0 and up to 1")
		}
		l.Sure = v
	}
	r.needs(line, l)
	if len(r.faults)+r.more == before {
		r.labels = append(r.labels, l)
	}
}

// time reads the label's time or frame.
func (r *labelReader) time(line int, get func(string) string, l *Label) {
	if s := get("time_s"); s != "" {
		v, ok := decimal(s)
		if !ok || math.Abs(v) > 1e6 {
			r.fault(line, "time_s", clipped(s), "seconds on the film's clock, such as 31.24")
			return
		}
		l.TimeS = &v
		return
	}
	if s := get("frame"); s != "" {
		n, err := strconv.Atoi(s)
		switch {
		case err != nil || n < 0:
			r.fault(line, "frame", clipped(s), "the number of a frame, from 0")
		case r.opt.FPS == 0:
			r.fault(line, "frame", s, "the film's frames a second (--fps 25)")
		default:
			v := float64(n) / r.opt.FPS
			l.TimeS = &v
		}
	}
}

// needs holds a label to what its event must have.
func (r *labelReader) needs(line int, l Label) {
	switch l.Event {
	case Takeoff, Landing, Contact:
		if l.TimeS == nil {
			r.fault(line, "time_s", "none", "the time of the "+l.Event+" on the film's clock")
		}
	case Strides:
		if l.Count == nil {
			r.fault(line, "count", "none", "the strides counted")
		}
		if l.From == "" {
			r.fault(line, "line", "none", "the line counted, as 3-4")
		}
	case Refusal, RunOut:
		if l.Obstacle == "" {
			r.fault(line, "obstacle", "none", "which obstacle")
		}
	case Gait:
		if l.TimeS == nil {
			r.fault(line, "time_s", "none", "the time from which on the horse goes so")
		}
		if !slices.Contains([]string{"halt", "walk", "trot", "canter"}, l.Value) {
			r.fault(line, "value", clipped(l.Value), "halt, walk, trot or canter")
		}
	case Lead:
		if l.TimeS == nil && l.Obstacle == "" {
			r.fault(line, "time_s", "none", "the time, or the obstacle after which the horse led so")
		}
		if !slices.Contains([]string{"left", "right", "disunited"}, l.Value) {
			r.fault(line, "value", clipped(l.Value), "left, right or disunited")
		}
	}
}

// spans reads start, end and label with tabs between: an event is taken at its start.
func (r *labelReader) spans(data []byte) {
	for i, row := range strings.Split(string(data), "\n") {
		row = strings.TrimRight(row, "\r")
		line := i + 1
		if strings.TrimSpace(row) == "" {
			continue
		}
		if len(r.labels) >= maxLabels {
			r.fault(line, "", "more labels than that", fmt.Sprintf("at most %d", maxLabels))
			return
		}
		f := strings.Split(row, "\t")
		if len(f) < 3 {
			r.fault(line, "", clipped(row), "start, end and label with tabs between")
			continue
		}
		start, ok := decimal(strings.TrimSpace(f[0]))
		end, ok2 := decimal(strings.TrimSpace(f[1]))
		if !ok || !ok2 || end < start {
			r.fault(line, "start and end", clipped(f[0]+" "+f[1]), "two times in seconds, the end not before the start")
			continue
		}
		words := strings.Fields(f[2])
		if len(words) == 0 {
			r.fault(line, "label", "none", "an event, such as takeoff 3")
			continue
		}
		cells := map[string]string{"event": words[0], "time_s": strings.TrimSpace(f[0])}
		for _, w := range words[1:] {
			switch event := strings.ToLower(words[0]); {
			case strings.HasPrefix(w, "@"): // who: @helper
				cells["rater"] = w[1:]
			case strings.HasPrefix(w, "#"): // which go: #2
				cells["attempt"] = w[1:]
			case event == Gait, event == Lead:
				cells["value"] = w
			case event == Strides && strings.Contains(w, "-"):
				cells["line"] = w
			case event == Strides:
				cells["count"] = w
			default:
				cells["obstacle"] = w
			}
		}
		r.row(line, func(c string) string { return cells[c] })
	}
}

// contradictions finds labels of one rater that can't both be true: one event with two counts or values, or
// at two times.
func (r *labelReader) contradictions() {
	type key struct {
		event, obstacle, line, rater, ride string
		attempt                            int
	}
	seen := map[key]Label{}
	for _, l := range r.labels {
		if l.Attempt == 0 || l.Event == Contact || l.Event == Gait || l.Event == Lead {
			continue
		}
		k := key{l.Event, l.Obstacle, l.Line(), l.Rater, l.Ride, l.Attempt}
		if o, twice := seen[k]; twice {
			what := l.Event + " " + l.Obstacle
			if l.From != "" {
				what = l.Event + " " + l.Line()
			}
			r.fault(l.Row, "event", fmt.Sprintf("%s, attempt %d, stands in line %d already", strings.TrimSpace(what), l.Attempt, o.Row),
				"one label of an event by each rater")
		}
		seen[k] = l
	}
	landing := map[key]Label{}
	for _, l := range r.labels {
		if l.Event == Landing {
			landing[key{obstacle: l.Obstacle, rater: l.Rater, ride: l.Ride, attempt: l.Attempt}] = l
		}
	}
	for _, l := range r.labels {
		if l.Event != Takeoff || l.Attempt == 0 {
			continue
		}
		if d, ok := landing[key{obstacle: l.Obstacle, rater: l.Rater, ride: l.Ride, attempt: l.Attempt}]; ok && *d.TimeS <= *l.TimeS {
			r.fault(d.Row, "time_s", fmt.Sprintf("landing at %g s, not after the take-off at %g s of line %d", *d.TimeS, *l.TimeS, l.Row),
				"a landing after its take-off")
		}
	}
}

// decimal is a plain decimal number; no underscores, hexadecimals, nan or inf.
func decimal(s string) (float64, bool) {
	if strings.ContainsFunc(s, func(c rune) bool { return !strings.ContainsRune("0123456789+-.eE", c) }) {
		return 0, false
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil && !math.IsNaN(v) && !math.IsInf(v, 0)
}

// clipped is text from a file, fit for one line of a message.
func clipped(s string) string {
	if s == "" {
		return "nothing"
	}
	if r := []rune(s); len(r) > 40 {
		s = string(r[:40]) + "…"
	}
	return strconv.Quote(s)
}
