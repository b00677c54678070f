package report

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"groundline/course"
	"groundline/trace"
)

// Limits of a debrief that is read.
const (
	// MaxDebriefBytes is the longest debrief that [ReadDebrief] takes: a day's is some 20 MB.
	MaxDebriefBytes  = 64 << 20
	maxDebriefMemory = 128 << 20 // of what is made of it
	maxDebriefFaults = 20
	maxDebriefName   = 200 // runes

	// maxNumber bounds numbers that no figure bounds more closely, so that differences stay finite. No ride has such.
	maxNumber = 1e9
)

// fieldWords are what a field may say, by its path.
var fieldWords = map[string][]string{
	"basis":              {"position+motion", "position", "motion"},
	"efforts[].outcome":  {"jumped", "refused", "ran out", "warm-up"},
	"lines[].strides_by": {"counted", "estimated", ""},
	"lines[].kind":       {"related", "bending", "rollback", "combination", "single", "between"},
}

// fieldBounds are those of plain numbers; those of figures stand in the table of figures.
var fieldBounds = map[string][2]float64{
	"lines[].distance_m":      {0, 5000},
	"lines[].grade":           {-1, 1},
	"lines[].homeward":        {-1, 1},
	"lines[].attempt":         {1, 1e6},
	"lines[].round":           {1, 1e6},
	"lines[].planned_strides": {0, 1000},
}

// nameFields are the fields that hold what people call something.
var nameFields = []string{"course.name", "horse.name", "lines[].from", "lines[].to", "efforts[].obstacle"}

// requiredFields are the fields without which nothing can be made of a debrief, by the path of what they are in. Figures
var requiredFields = map[string][]string{
	"":          {"schema", "efforts", "lines"},
	"efforts[]": {"outcome"},
	"lines[]":   {"from", "to", "kind"},
}

// IsDebrief reports whether a file that begins like this may be a debrief in JSON: nothing else that riders
// record begins with a brace.
func IsDebrief(begin []byte) bool {
	begin = bytes.TrimLeft(bytes.TrimPrefix(begin, []byte(bom)), " \t\r\n")
	return len(begin) > 0 && begin[0] == '{'
}

const bom = "\uFEFF"

// ReadDebrief reads a debrief that [JSON] wrote, of this layout ([Schema]) in any version of the program: fields that are
// not known are left out. Numbers outside what a ride can have, intervals out of order, and words that are none of the
// layout's are refused. The error is a [course.Faults]: all faults with their lines, the first 20 of a file that is wrong
// throughout. name is what they call the file. It reads as a stream, up to [MaxDebriefBytes].
func ReadDebrief(name string, in io.Reader) (*Debrief, error) {
	lines := &lineCounter{in: bufio.NewReaderSize(in, 1<<16), line: 1}
	if b, _ := lines.in.Peek(len(bom)); string(b) == bom {
		_, _ = lines.in.Discard(len(bom))
	}
	r := &debriefReader{file: name, lines: lines, dec: json.NewDecoder(lines), fields: map[reflect.Type]fields{}}
	r.dec.UseNumber()
	d := &Debrief{}
	if err := r.document(reflect.ValueOf(d).Elem()); err != nil && !errors.Is(err, errStop) {
		var syntax *json.SyntaxError
		switch {
		case errors.Is(err, errTooLong):
			r.faults = nil
			r.add(0, "", "the file is too long", fmt.Sprintf("at most %d MB", MaxDebriefBytes>>20))
		case errors.Is(err, io.EOF) && lines.read == 0:
			r.add(0, "", "the file is empty", "a debrief in JSON")
		case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
			r.add(lines.at(math.MaxInt64), "", "no JSON: it ends too early", "a debrief in JSON")
		case errors.As(err, &syntax):
			r.add(lines.at(syntax.Offset), "", "no JSON: "+syntax.Error(), "a debrief in JSON")
		default:
			return nil, fmt.Errorf("%s: %w", name, err)
		}
	}
	if len(r.faults) > 0 {
		return nil, r.faults
	}
	for i := range d.Lines {
		d.Lines[i].Attempt = max(d.Lines[i].Attempt, 1)
	}
	return d, nil
}

var (
	errStop    = errors.New("nothing more can be said of this file")
	errTooLong = errors.New("too long")
)

// lineCounter counts the bytes and lines that went through it.
type lineCounter struct {
	in   *bufio.Reader
	read int64
	ends []int64 // offsets behind line ends that nobody asked beyond
	line int
}

// Read fills p as far as it can: the decoder looks through long blanks again after each piece.
func (c *lineCounter) Read(p []byte) (int, error) {
	n, err := io.ReadFull(c.in, p)
	if errors.Is(err, io.ErrUnexpectedEOF) {
		err = io.EOF
	}
	for i, b := range p[:n] {
		if b == '\n' {
			c.ends = append(c.ends, c.read+int64(i)+1)
		}
	}
	if c.read += int64(n); c.read > MaxDebriefBytes {
		return 0, errTooLong
	}
	return n, err
}

// at is the line of an offset, which is not before the one asked for last.
func (c *lineCounter) at(offset int64) int {
	passed := 0
	for passed < len(c.ends) && c.ends[passed] < offset {
		passed++
	}
	c.ends = c.ends[passed:]
	c.line += passed
	return c.line
}

type debriefReader struct {
	file   string
	lines  *lineCounter
	dec    *json.Decoder
	memory int
	faults course.Faults
	path   []step                  // to what is read
	fields map[reflect.Type]fields // by type, as met
}

// step is one step of a path: a field's name or, without one, a place in a list.
type step struct {
	name string
	i    int
}

// fields are the places of a struct's fields by their JSON names.
type fields map[string]int

func (r *debriefReader) where() string {
	var b strings.Builder
	for _, s := range r.path {
		switch {
		case s.name == "":
			fmt.Fprintf(&b, "[%d]", s.i)
		case b.Len() > 0:
			b.WriteString("." + s.name)
		default:
			b.WriteString(s.name)
		}
	}
	return b.String()
}

// fault is about what was read last.
func (r *debriefReader) fault(field, found, expected string) error {
	return r.add(r.lines.at(r.dec.InputOffset()), field, found, expected)
}

func (r *debriefReader) add(line int, field, found, expected string) error {
	if len(r.faults) >= maxDebriefFaults {
		r.faults = append(r.faults, course.Fault{File: r.file, Found: "more faults than are listed", Expected: "these mended first"})
		return errStop
	}
	r.faults = append(r.faults, course.Fault{File: r.file, Line: line, Field: field, Found: found, Expected: expected})
	return nil
}

// document reads the one object of the file.
func (r *debriefReader) document(into reflect.Value) error {
	tok, err := r.dec.Token()
	if err != nil {
		return err
	}
	if tok != json.Delim('{') {
		_ = r.fault("", "no JSON object", "a debrief in JSON")
		return errStop
	}
	if err := r.object(into, ""); err != nil {
		return err
	}
	switch _, err := r.dec.Token(); {
	case err == nil:
		return r.fault("", "more behind the debrief", "one JSON object")
	case !errors.Is(err, io.EOF):
		return err
	}
	return nil
}

// object reads an object, whose brace is read, into a struct. kind is where it stands, without numbers.
func (r *debriefReader) object(into reflect.Value, kind string) error {
	seen := map[string]bool{}
	for r.dec.More() {
		tok, err := r.dec.Token()
		if err != nil {
			return err
		}
		name := tok.(string) // the decoder has seen to it
		seen[name] = true
		field := r.field(into, name)
		if !field.IsValid() {
			if err := r.skip(nil); err != nil {
				return err
			}
			continue
		}
		r.path = append(r.path, step{name: name})
		if err := r.value(field, joinPath(kind, name)); err != nil {
			return err
		}
		r.path = r.path[:len(r.path)-1]
		if d, ok := into.Addr().Interface().(*Debrief); ok && name == "schema" && d.Schema != Schema && len(r.faults) == 0 {
			_ = r.fault("schema", quoted(d.Schema), Schema)
			return errStop // of another kind of file nothing more can be said
		}
	}
	if _, err := r.dec.Token(); err != nil {
		return err
	}
	return r.missing(seen, kind)
}

// missing adds a fault where fields that have to be there are not.
func (r *debriefReader) missing(seen map[string]bool, kind string) error {
	var lack []string
	for _, name := range requiredFields[kind] {
		if !seen[name] {
			lack = append(lack, name)
		}
	}
	switch {
	case len(lack) == 0:
		return nil
	case lack[0] == "schema":
		r.faults = nil // of another kind of file nothing more can be said
		_ = r.fault(joinPath(r.where(), lack[0]), "the field is missing", Schema)
		return errStop
	case len(lack) == 1:
		return r.fault(joinPath(r.where(), lack[0]), "the field is missing", "it as the debrief was written")
	}
	return r.fault(r.where(), "the fields "+strings.Join(lack, ", ")+" are missing", "them as the debrief was written")
}

// expected is what the figure's field holds.
func (f *Figure) expected() string {
	return fmt.Sprintf("{value, low, high} in order, value from %g to %g, or null", f.Low, f.High)
}

func joinPath(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

// field is the field of a struct with that JSON name; the zero Value where it has none.
func (r *debriefReader) field(v reflect.Value, name string) reflect.Value {
	t := v.Type()
	known, ok := r.fields[t]
	if !ok {
		known = fields{}
		for i := range t.NumField() {
			if f := t.Field(i); f.IsExported() && jsonName(f) != "-" {
				known[jsonName(f)] = i
			}
		}
		r.fields[t] = known
	}
	if i, ok := known[name]; ok {
		return v.Field(i)
	}
	return reflect.Value{}
}

// value reads what comes next into a field.
func (r *debriefReader) value(into reflect.Value, kind string) error {
	if into.Kind() == reflect.Map || into.Kind() == reflect.Interface {
		return r.skip(nil) // nothing that is read back is kept so
	}
	tok, err := r.dec.Token()
	if err != nil {
		return err
	}
	if tok == nil {
		switch into.Kind() {
		case reflect.Pointer:
			into.SetZero()
			return nil
		case reflect.Slice:
			if slices.Contains(requiredFields[""], kind) {
				return r.fault(r.where(), "null", "a list")
			}
			return nil
		}
		return r.fault(r.where(), "null", typeWords(into.Type()))
	}
	if into.Kind() == reflect.Pointer {
		if r.memory += int(into.Type().Elem().Size()); r.memory > maxDebriefMemory {
			return r.tooMuch()
		}
		into.Set(reflect.New(into.Type().Elem()))
		into = into.Elem()
	}
	switch into.Kind() {
	case reflect.Struct:
		if tok != json.Delim('{') {
			return r.wrong(tok, "an object")
		}
		if into.Type() == estimateType {
			return r.estimate(into, kind)
		}
		return r.object(into, kind)
	case reflect.Slice:
		if tok != json.Delim('[') {
			return r.wrong(tok, "a list")
		}
		return r.list(into, kind)
	case reflect.String:
		s, ok := tok.(string)
		if !ok {
			return r.wrong(tok, textWords)
		}
		into.SetString(s)
		return r.word(s, kind)
	case reflect.Bool:
		b, ok := tok.(bool)
		if !ok {
			return r.wrong(tok, "true or false")
		}
		into.SetBool(b)
	case reflect.Float64, reflect.Int:
		return r.number(into, tok, kind)
	default:
		return r.skip(tok)
	}
	return nil
}

func (r *debriefReader) tooMuch() error {
	_ = r.fault(r.where(), "too many items", fmt.Sprintf("a debrief that takes at most %d MB of memory", maxDebriefMemory>>20))
	return errStop
}

func (r *debriefReader) list(into reflect.Value, kind string) error {
	kind += "[]"
	elem := into.Type().Elem()
	out := reflect.MakeSlice(into.Type(), 0, 0)
	for i := 0; r.dec.More(); i++ {
		if r.memory += int(elem.Size()); r.memory > maxDebriefMemory {
			return r.tooMuch()
		}
		x := reflect.New(elem).Elem()
		r.path = append(r.path, step{i: i})
		if err := r.value(x, kind); err != nil {
			return err
		}
		r.path = r.path[:len(r.path)-1]
		out = reflect.Append(out, x)
	}
	into.Set(out)
	_, err := r.dec.Token()
	return err
}

const textWords = "a text of up to 200 printable characters"

// word checks a text that has a choice of words, or is a name.
func (r *debriefReader) word(s, kind string) error {
	if choice, ok := fieldWords[kind]; ok && !slices.Contains(choice, s) {
		return r.fault(r.where(), quoted(s), "one of "+strings.TrimSuffix(strings.Join(choice, ", "), ", "))
	}
	if !slices.Contains(nameFields, kind) {
		return nil
	}
	steers := func(c rune) bool { return !unicode.IsPrint(c) && !unicode.IsSpace(c) || unicode.IsControl(c) }
	empty := s == "" && strings.HasPrefix(kind, "lines[].")
	if empty || utf8.RuneCountInString(s) > maxDebriefName || strings.ContainsFunc(s, steers) {
		return r.fault(r.where(), quoted(s), textWords)
	}
	return nil
}

func (r *debriefReader) number(into reflect.Value, tok json.Token, kind string) error {
	limits, ok := fieldBounds[kind]
	if !ok {
		limits = [2]float64{-maxNumber, maxNumber}
	}
	what := "a number"
	if into.Kind() == reflect.Int {
		what = "a whole number"
	}
	expected := fmt.Sprintf("%s from %g to %g", what, limits[0], limits[1])
	n, ok := tok.(json.Number)
	if !ok {
		return r.wrong(tok, expected)
	}
	x, err := strconv.ParseFloat(string(n), 64)
	if err != nil || !(x >= limits[0] && x <= limits[1]) || into.Kind() == reflect.Int && x != math.Trunc(x) {
		return r.fault(r.where(), cut(string(n)), expected)
	}
	if into.Kind() == reflect.Int {
		into.SetInt(int64(x))
	} else {
		into.SetFloat(x)
	}
	return nil
}

// estimate reads a figure with its interval, within the bounds of the figure that stands there.
func (r *debriefReader) estimate(into reflect.Value, kind string) error {
	var got struct {
		Value *float64 `json:"value"`
		Low   *float64 `json:"low"`
		High  *float64 `json:"high"`
	}
	before := len(r.faults)
	if err := r.object(reflect.ValueOf(&got).Elem(), kind); err != nil || len(r.faults) > before {
		return err
	}
	f := Figure{Low: -maxNumber, High: maxNumber}
	for i := range figures {
		if figures[i].Field == kind {
			f = figures[i]
		}
	}
	if got.Value == nil || got.Low == nil || got.High == nil {
		found, _ := json.Marshal(got)
		return r.fault(r.where(), string(found), f.expected())
	}
	e := trace.Estimate{Value: *got.Value, Low: *got.Low, High: *got.High}
	// A bound may lie as far beyond again: it is wide, not wrong.
	beyond := 2 * max(math.Abs(f.Low), math.Abs(f.High))
	if !(e.Low <= e.Value && e.Value <= e.High && e.Value >= f.Low && e.Value <= f.High && e.Low >= -beyond && e.High <= beyond) {
		return r.fault(r.where(), fmt.Sprintf("value %g, low %g, high %g", e.Value, e.Low, e.High), f.expected())
	}
	into.Set(reflect.ValueOf(e))
	return nil
}

// wrong is the fault of something of another type, which is passed over.
func (r *debriefReader) wrong(tok json.Token, expected string) error {
	found := "a list"
	switch t := tok.(type) {
	case json.Delim:
		if t == '{' {
			found = "an object"
		}
	case string:
		found = quoted(t)
	default:
		found = cut(fmt.Sprint(t))
	}
	if err := r.fault(r.where(), found, expected); err != nil {
		return err
	}
	return r.skip(tok)
}

// skip passes over what comes next, or the rest of what begins with tok.
func (r *debriefReader) skip(tok json.Token) error {
	depth := 0
	for {
		if tok == nil {
			var err error
			if tok, err = r.dec.Token(); err != nil {
				return err
			}
		}
		switch tok {
		case json.Delim('{'), json.Delim('['):
			depth++
		case json.Delim('}'), json.Delim(']'):
			depth--
		}
		if depth == 0 {
			return nil
		}
		tok = nil
	}
}

// typeWords is what a field that may not be null holds.
func typeWords(t reflect.Type) string {
	switch t.Kind() {
	case reflect.String:
		return textWords
	case reflect.Struct:
		return "an object"
	case reflect.Bool:
		return "true or false"
	}
	return "a number"
}

func quoted(s string) string { return cut(fmt.Sprintf("%q", s)) }

func cut(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
