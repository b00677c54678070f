package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"groundline/course"
	"groundline/trace"
)

// Limits of a debrief that is read back: a whole day's is within them.
const (
	// MaxDebriefBytes is the longest debrief that [ReadDebrief] takes.
	MaxDebriefBytes  = 16 << 20
	maxDebriefItems  = 20000
	maxDebriefFaults = 20
	maxDebriefName   = 200 // runes
)

// Bounds of what a debrief can mean, far beyond any horse: what lies outside is a slip of a unit or a decimal.
const (
	mostStrides, mostStrideM, mostStrideS = 500, 10, 3 // a stride of 10 m; a fault tells a missing decimal point
	mostSpeedMS, mostHoofM, mostWayM      = 25, 10, 5000
)

// ReadDebrief reads what a debrief in JSON (Schema) tells of its horse. Only the fields that matter for that
// are looked at: schema, course.name, horse.name, efforts and lines; what else is there, now or in later versions, is
// passed over. Every fault is told; the error is a [course.Faults]. The result is for [RiddenIn] only: fields not named here are
// empty.
func ReadDebrief(name string, data []byte) (*Debrief, error) {
	r := &debriefReader{file: name}
	d := r.debrief(data)
	if len(r.faults) > 0 {
		return nil, r.faults
	}
	return d, nil
}

type debriefReader struct {
	file   string
	faults course.Faults
	more   bool
}

func (r *debriefReader) fault(line int, field, found, expected string) {
	switch {
	case r.more:
	case len(r.faults) >= maxDebriefFaults:
		r.more = true
		r.faults = append(r.faults, course.Fault{File: r.file, Found: "more faults than are told", Expected: "these mended first"})
	default:
		r.faults = append(r.faults, course.Fault{File: r.file, Line: line, Field: field, Found: found, Expected: expected})
	}
}

type rawObject map[string]json.RawMessage

func (r *debriefReader) debrief(data []byte) *Debrief {
	if len(data) > MaxDebriefBytes {
		r.fault(0, "", "the file is too long", fmt.Sprintf("at most %d MB", MaxDebriefBytes>>20))
		return nil
	}
	data = bytes.TrimPrefix(data, []byte("\uFEFF"))
	if len(bytes.TrimSpace(data)) == 0 {
		r.fault(0, "", "the file is empty", "a debrief in JSON")
		return nil
	}
	var top rawObject
	if err := json.Unmarshal(data, &top); err != nil {
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			r.fault(1+bytes.Count(data[:min(int(syntax.Offset), len(data))], []byte("\n")), "", "no JSON: "+syntax.Error(), "a debrief in JSON")
		} else {
			r.fault(1, "", "no JSON object", "a debrief in JSON")
		}
		return nil
	}
	d := &Debrief{}
	if s := r.str(top, "", "schema", false); s != nil {
		if d.Schema = *s; d.Schema != Schema {
			r.fault(0, "schema", quoted(d.Schema), Schema)
		}
	}
	if len(r.faults) > 0 {
		return nil // of another kind of file nothing more can be said
	}
	if c := r.object(top, "", "course"); c != nil {
		if s := r.str(c, "course.", "name", false); s != nil {
			d.Course = &CourseInfo{Name: *s}
		}
	}
	if h := r.object(top, "", "horse"); h != nil {
		d.Horse.Name = r.str(h, "horse.", "name", true)
	}
	for i, o := range r.objects(top, "efforts") {
		path := fmt.Sprintf("efforts[%d].", i)
		e := Effort{
			TakeoffDistanceM: r.estimate(o, path, "takeoff_distance_m", 0, mostHoofM),
			LandingDistanceM: r.estimate(o, path, "landing_distance_m", 0, mostHoofM),
		}
		if _, ok := o["obstacle"]; ok {
			e.Obstacle = r.str(o, path, "obstacle", true)
		}
		if s := r.str(o, path, "outcome", false); s != nil {
			e.Outcome = r.oneOf(path+"outcome", *s, "jumped", "refused", "ran out", "warm-up")
		}
		d.Efforts = append(d.Efforts, e)
	}
	for i, o := range r.objects(top, "lines") {
		path := fmt.Sprintf("lines[%d].", i)
		l := Line{
			DistanceM:     r.number(o, path, "distance_m", 0, mostWayM),
			TrackM:        r.estimate(o, path, "track_m", 0, mostWayM),
			Strides:       r.estimate(o, path, "strides", 0, mostStrides),
			StrideLengthM: r.estimate(o, path, "stride_length_m", 0, mostStrideM),
			StrideS:       r.estimate(o, path, "stride_s", 0, mostStrideS),
			SpeedMS:       r.estimate(o, path, "speed_m_s", 0, mostSpeedMS),
			Grade:         r.number(o, path, "grade", -1, 1),
			Homeward:      r.number(o, path, "homeward", -1, 1),
		}
		if s := r.str(o, path, "from", false); s != nil {
			l.From = *s
		}
		if s := r.str(o, path, "to", false); s != nil {
			l.To = *s
		}
		if _, ok := o["strides_by"]; ok {
			if s := r.str(o, path, "strides_by", false); s != nil && *s != "" {
				l.StridesBy = r.oneOf(path+"strides_by", *s, "counted", "estimated")
			}
		}
		if s := r.str(o, path, "kind", false); s != nil {
			l.Kind = r.oneOf(path+"kind", *s, string(course.Related), string(course.Bending), string(course.Rollback),
				string(course.Combination), string(course.Single), string(course.Between))
		}
		d.Lines = append(d.Lines, l)
	}
	return d
}

// get is the value of a field that must be there, nil where it is null or, with a fault, missing.
func (r *debriefReader) get(o rawObject, path, key, expected string) json.RawMessage {
	v, ok := o[key]
	if !ok {
		r.fault(0, path+key, "the field is missing", expected)
		return nil
	}
	if string(v) == "null" {
		return nil
	}
	return v
}

func (r *debriefReader) str(o rawObject, path, key string, orNull bool) *string {
	expected := fmt.Sprintf("a text of up to %d printable characters", maxDebriefName)
	v := r.get(o, path, key, expected)
	if v == nil {
		if _, ok := o[key]; ok && !orNull {
			r.fault(0, path+key, "null", expected)
		}
		return nil
	}
	var s string
	unprintable := func(c rune) bool { return !unicode.IsPrint(c) }
	if json.Unmarshal(v, &s) != nil || utf8.RuneCountInString(s) > maxDebriefName || strings.ContainsFunc(s, unprintable) {
		r.fault(0, path+key, excerpt(v), expected)
		return nil
	}
	return &s
}

func (r *debriefReader) oneOf(field, found string, names ...string) string {
	for _, n := range names {
		if n == found {
			return found
		}
	}
	r.fault(0, field, quoted(found), "one of "+strings.Join(names, ", "))
	return ""
}

func (r *debriefReader) number(o rawObject, path, key string, low, high float64) *float64 {
	expected := fmt.Sprintf("a number from %g to %g, or null", low, high)
	v := r.get(o, path, key, expected)
	if v == nil {
		return nil
	}
	var x float64
	if json.Unmarshal(v, &x) != nil || !(x >= low && x <= high) {
		r.fault(0, path+key, excerpt(v), expected)
		return nil
	}
	return &x
}

// estimate is a figure with its interval; value and bounds lie in [low, high], but for a lower bound below zero.
func (r *debriefReader) estimate(o rawObject, path, key string, low, high float64) *trace.Estimate {
	expected := fmt.Sprintf("{value, low, high} in order, value from %g to %g, or null", low, high)
	v := r.get(o, path, key, expected)
	if v == nil {
		return nil
	}
	var parts struct{ Value, Low, High *float64 }
	if json.Unmarshal(v, &parts) != nil || parts.Value == nil || parts.Low == nil || parts.High == nil {
		r.fault(0, path+key, excerpt(v), expected)
		return nil
	}
	e := trace.Estimate{Value: *parts.Value, Low: *parts.Low, High: *parts.High}
	if !(e.Low <= e.Value && e.Value <= e.High && e.Value >= low && e.Value <= high && e.Low >= -2*high && e.High <= 2*high) {
		r.fault(0, path+key, excerpt(v), expected)
		return nil
	}
	return &e
}

func (r *debriefReader) object(o rawObject, path, key string) rawObject {
	v := r.get(o, path, key, "an object or null")
	if v == nil {
		return nil
	}
	var out rawObject
	if json.Unmarshal(v, &out) != nil {
		r.fault(0, path+key, excerpt(v), "an object or null")
	}
	return out
}

func (r *debriefReader) objects(o rawObject, key string) []rawObject {
	expected := fmt.Sprintf("a list of up to %d objects", maxDebriefItems)
	v := r.get(o, "", key, expected)
	if v == nil {
		if _, ok := o[key]; ok {
			r.fault(0, key, "null", expected)
		}
		return nil
	}
	var items []json.RawMessage
	if json.Unmarshal(v, &items) != nil {
		r.fault(0, key, excerpt(v), expected)
		return nil
	}
	if len(items) > maxDebriefItems {
		r.fault(0, key, fmt.Sprintf("%d items", len(items)), expected)
		return nil
	}
	var out []rawObject
	for i, item := range items {
		var x rawObject
		if json.Unmarshal(item, &x) != nil || x == nil {
			r.fault(0, fmt.Sprintf("%s[%d]", key, i), excerpt(item), "an object")
		}
		out = append(out, x)
	}
	return out
}

// excerpt is the beginning of a piece of JSON, on one line.
func excerpt(v json.RawMessage) string {
	var b bytes.Buffer
	if json.Compact(&b, v) != nil {
		return quoted(string(v))
	}
	return cut(b.String())
}

func quoted(s string) string { return cut(fmt.Sprintf("%q", s)) }

func cut(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
