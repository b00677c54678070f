package compare

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"

	"groundline/report"
	"groundline/trace"
)

// MaxDebriefBytes is the largest debrief read: a day's is some 20 MB.
const MaxDebriefBytes = 64 << 20

// maxNumber bounds what a figure may be, so that differences of figures stay finite. No ride has such.
const maxNumber = 1e9

// maxFaults are told of one file; a broken file has the same fault a thousand times.
const maxFaults = 10

// IsDebrief tells whether a file that begins like this may be a debrief in JSON: nothing else that riders
// record begins with a brace.
func IsDebrief(begin []byte) bool {
	begin = bytes.TrimLeft(bytes.TrimPrefix(begin, []byte("\ufeff")), " \t\r\n")
	return len(begin) > 0 && begin[0] == '{'
}

// ReadDebrief reads a debrief that was written as JSON before. Fields that it does not know are left out.
// All faults are told, each with its field, the first ten of them. name is what errors call the file.
func ReadDebrief(name string, data []byte) (*report.Debrief, error) {
	if len(data) > MaxDebriefBytes {
		return nil, fmt.Errorf("%s: larger than %d MB, expected a debrief", name, MaxDebriefBytes>>20)
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	var is struct {
		Schema *string `json:"schema"`
	}
	if err := json.Unmarshal(data, &is); err != nil {
		return nil, fmt.Errorf("%s%s, expected a debrief written with --format json", name, syntax(data, err))
	}
	if is.Schema == nil || *is.Schema != report.Schema {
		found := "no schema"
		if is.Schema != nil {
			found = fmt.Sprintf("schema %.60q", *is.Schema)
		}
		return nil, fmt.Errorf("%s: schema: %s, expected %q, a debrief written with --format json", name, found, report.Schema)
	}
	var d report.Debrief
	if err := json.Unmarshal(data, &d); err != nil {
		return nil, fmt.Errorf("%s%s, expected a debrief written with --format json", name, syntax(data, err))
	}
	f := faults{name: name}
	f.walk(reflect.ValueOf(d), "")
	f.meaning(&d)
	if len(f.found) > 0 {
		return nil, errors.Join(f.found...)
	}
	return &d, nil
}

// syntax is where and what a JSON error is.
func syntax(data []byte, err error) string {
	var s *json.SyntaxError
	var t *json.UnmarshalTypeError
	switch {
	case errors.As(err, &s):
		return fmt.Sprintf(":%d: not JSON: %v", 1+bytes.Count(data[:min(int(s.Offset), len(data))], []byte("\n")), s)
	case errors.As(err, &t):
		return fmt.Sprintf(":%d: %s: a %s", 1+bytes.Count(data[:min(int(t.Offset), len(data))], []byte("\n")), t.Field, t.Value)
	}
	return ": " + err.Error()
}

type faults struct {
	name  string
	found []error
}

func (f *faults) add(field, format string, args ...any) {
	if len(f.found) < maxFaults {
		f.found = append(f.found, fmt.Errorf("%s: %s: %s", f.name, strings.TrimPrefix(field, "."), fmt.Sprintf(format, args...)))
	}
}

// walk checks every number and every interval.
func (f *faults) walk(v reflect.Value, path string) {
	if e, ok := v.Interface().(trace.Estimate); ok {
		switch {
		case max(math.Abs(e.Value), math.Abs(e.Low), math.Abs(e.High)) > maxNumber:
			f.add(path, "%g, expected a figure of a ride", e.Value)
		case !(e.Low <= e.Value && e.Value <= e.High):
			f.add(path, "value %g, low %g, high %g, expected low <= value <= high", e.Value, e.Low, e.High)
		}
		return
	}
	switch v.Kind() {
	case reflect.Float64:
		if math.Abs(v.Float()) > maxNumber {
			f.add(path, "%g, expected a figure of a ride", v.Float())
		}
	case reflect.Pointer:
		if !v.IsNil() {
			f.walk(v.Elem(), path)
		}
	case reflect.Slice:
		for i := range v.Len() {
			f.walk(v.Index(i), fmt.Sprintf("%s[%d]", path, i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
			if name != "-" {
				f.walk(v.Field(i), path+"."+name)
			}
		}
	}
}

// meaning checks what the comparison leans on.
func (f *faults) meaning(d *report.Debrief) {
	bases := []string{"position+motion", "position", "motion"}
	if !slices.Contains(bases, d.Basis) {
		f.add("basis", "%.60q, expected %s", d.Basis, strings.Join(bases, ", "))
	}
	for i, e := range d.Efforts {
		outcomes := []string{"jumped", "refused", "ran out", "warm-up"}
		if !slices.Contains(outcomes, e.Outcome) {
			f.add(fmt.Sprintf("efforts[%d].outcome", i), "%.60q, expected %s", e.Outcome, strings.Join(outcomes, ", "))
		}
	}
	for i, l := range d.Lines {
		at := fmt.Sprintf("lines[%d]", i)
		if l.From == "" || l.To == "" {
			f.add(at, "from %.60q to %.60q, expected two obstacles", l.From, l.To)
		}
		if l.Attempt < 1 {
			f.add(at+".attempt", "%d, expected 1 or more", l.Attempt)
		}
		kinds := []string{"related", "bending", "rollback", "combination", "single", "between"}
		if !slices.Contains(kinds, l.Kind) {
			f.add(at+".kind", "%.60q, expected %s", l.Kind, strings.Join(kinds, ", "))
		}
		if l.Round != nil && *l.Round < 1 {
			f.add(at+".round", "%d, expected 1 or more", *l.Round)
		}
		if by := l.StridesBy; by != "counted" && by != "estimated" && by != "" {
			f.add(at+".strides_by", "%.60q, expected counted, estimated or nothing", by)
		}
		if p := l.PlannedStrides; p != nil && (*p < 0 || *p > 1000) {
			f.add(at+".planned_strides", "%d, expected strides", *p)
		}
	}
}
