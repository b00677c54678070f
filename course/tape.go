package course

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strings"
)

const tapeFormat = "groundline/1"

// maxTapes is the most distances of a tape file: every pair of 20 obstacles is 190.
const maxTapes = 250

// Tape is what was measured by hand on a course walk, all in metres.
type Tape struct {
	File      string
	Name      string // of the course; "" when not given
	Paced     bool   // the distances were paced, not taped
	Distances []TapeDistance
	Levels    []TapeLevel
	Obstacles []TapeObstacle
}

// TapeDistance is the distance from one mark to another. Between two obstacles it is the trade's: from the
// back of the first to the front of the second; to anything else it is to the obstacle's middle.
type TapeDistance struct {
	From, To string
	M        float64
	SDM      float64 // standard deviation; 0 when not given
	Line     int     // of the file
	Field    string  // path in the file
}

// TapeLevel is the height of the ground at a mark.
type TapeLevel struct {
	At    string
	ZM    float64
	Line  int
	Field string
}

// TapeObstacle is what an obstacle is built as. Zero fields were not given.
type TapeObstacle struct {
	ID                       string
	Kind                     Kind
	HeightM, SpreadM, WidthM float64
	SpreadGiven              bool // also where it is 0
	Line                     int
	Field                    string
}

// ReadTape understands a tape file in YAML:
//
//	tape: groundline/1
//	name: Long field, Thursday group          # optional
//	units: metres                             # metres | feet | paces, as in plans
//	distances:
//	  - {from: "1", to: "2", d: 21.95}        # sd: its standard deviation, optional
//	  - {from: corner 1, to: "1", d: 31.4}
//	levels:                                   # heights of the ground, from any zero
//	  - {at: "1", z: 0.40}
//	obstacles:                                # optional: what stands there
//	  - {id: "2", kind: oxer, height: 0.90, spread: 1.00, width: 3.5}
//
// Marks are named as while walking; whether there are such marks only the survey can tell. As in a plan,
// height and spread are in metres whatever the units. The error is a [Faults] with everything that is wrong.
func ReadTape(name string, data []byte) (*Tape, error) {
	r := &planReader{file: name, unitM: 1}
	t := r.tape(data)
	if len(r.faults) > 0 {
		slices.SortStableFunc(r.faults, func(a, b Fault) int { return a.Line - b.Line })
		return nil, r.faults
	}
	return t, nil
}

func (r *planReader) tape(data []byte) *Tape {
	if line, found, expected := hostile(data); found != "" {
		r.fault(line, "", found, expected)
		return nil
	}
	body := r.parse(bytes.TrimPrefix(data, []byte("\uFEFF")))
	if body == nil {
		return nil
	}
	top := r.fields(node{Node: body}, "tape", "name", "units", "distances", "levels", "obstacles")
	if top == nil {
		return nil
	}
	if f, ok := top["tape"]; !ok {
		r.fault(1, "tape", "the field is missing", tapeFormat)
	} else if s, ok := r.text(f.node, maxNameRunes, tapeFormat); ok && s != tapeFormat {
		r.fault(f.node.line(), f.node.path, f.node.describe(), tapeFormat)
	}
	if f, ok := top["units"]; ok && !f.node.isNull() {
		r.units(f.node)
	}
	t := &Tape{File: r.file, Paced: r.unitM == paceM}
	if f, ok := top["name"]; ok && !f.node.isNull() {
		t.Name, _ = r.text(f.node, maxNameRunes, "a name")
	}
	if f, ok := top["distances"]; ok && !f.node.isNull() {
		for _, it := range r.items(f.node, maxTapes, "a list of distances {from, to, d}") {
			t.Distances = append(t.Distances, r.tapeDistance(it))
		}
	}
	if f, ok := top["levels"]; ok && !f.node.isNull() {
		for _, it := range r.items(f.node, maxLevels, "a list of heights {at, z}") {
			t.Levels = append(t.Levels, r.tapeLevel(it))
		}
	}
	if f, ok := top["obstacles"]; ok && !f.node.isNull() {
		lineOf := map[string]int{}
		for _, it := range r.items(f.node, maxObstacles, "a list of obstacles {id, kind, height, spread, width}") {
			o := r.tapeObstacle(it)
			if first, twice := lineOf[strings.ToLower(o.ID)]; twice && o.ID != "" {
				r.fault(o.Line, o.Field+".id", "id "+quoteShort(o.ID)+" given twice", fmt.Sprintf("every id once (first in line %d)", first))
			}
			lineOf[strings.ToLower(o.ID)] = o.Line
			t.Obstacles = append(t.Obstacles, o)
		}
	}
	return t
}

// needed are the fields of an entry of which some must be there; nil after a fault.
func (r *planReader) needed(it node, must map[string]string, known ...string) map[string]field {
	f := r.fields(it, known...)
	if f == nil {
		return nil
	}
	for _, key := range known {
		if _, ok := f[key]; must[key] != "" && !ok {
			r.fault(it.line(), it.path+"."+key, "the field is missing", must[key])
		}
	}
	return f
}

// markName is the name of a mark, as it was walked.
func (r *planReader) markName(f map[string]field, key string) string {
	g, ok := f[key]
	if !ok {
		return ""
	}
	s, _ := r.text(g.node, maxIDRunes, "the name of a mark")
	return s
}

// above is a length above 0 and up to most metres in the file's units; 0 where it is absent or at fault.
func (r *planReader) above(f map[string]field, key string, mostM float64) float64 {
	g, ok := f[key]
	if !ok || g.node.isNull() {
		return 0
	}
	v, ok := r.length(g.node, 0, mostM)
	if ok && v == 0 {
		r.fault(g.node.line(), g.node.path, g.node.describe(), "a length above zero")
	}
	return v
}

func (r *planReader) tapeDistance(it node) TapeDistance {
	d := TapeDistance{Line: it.line(), Field: it.path}
	f := r.needed(it, map[string]string{"from": "the name of a mark", "to": "the name of a mark", "d": "the distance"}, "from", "to", "d", "sd")
	if f == nil {
		return d
	}
	d.From, d.To = r.markName(f, "from"), r.markName(f, "to")
	if d.From != "" && strings.EqualFold(d.From, d.To) {
		r.fault(d.Line, d.Field, "found a distance from "+quoteShort(d.From)+" to itself", "two marks")
	}
	if g, ok := f["d"]; ok && g.node.isNull() {
		r.fault(g.node.line(), it.path+".d", "found nothing", "the distance")
	}
	d.M, d.SDM = r.above(f, "d", maxWalkedM), r.above(f, "sd", maxWalkedM)
	return d
}

func (r *planReader) tapeLevel(it node) TapeLevel {
	l := TapeLevel{Line: it.line(), Field: it.path}
	f := r.needed(it, map[string]string{"at": "the name of a mark", "z": "the height of the ground"}, "at", "z")
	if f == nil {
		return l
	}
	l.At = r.markName(f, "at")
	if g, ok := f["z"]; ok {
		l.ZM, _ = r.length(g.node, -maxLevelM, maxLevelM)
	}
	return l
}

func (r *planReader) tapeObstacle(it node) TapeObstacle {
	o := TapeObstacle{Line: it.line(), Field: it.path}
	f := r.needed(it, map[string]string{"id": "the obstacle's name"}, "id", "kind", "height", "spread", "width")
	if f == nil {
		return o
	}
	o.ID = r.markName(f, "id")
	if g, ok := f["kind"]; ok && !g.node.isNull() {
		if s, ok := r.text(g.node, maxNameRunes, "one of "+kindList()); ok {
			o.Kind = Kind(s)
			if !slices.Contains(Kinds(), o.Kind) {
				r.fault(g.node.line(), g.node.path, "unknown kind "+quoteShort(s), "one of "+kindList())
			}
		}
	}
	if g, ok := f["height"]; ok && !g.node.isNull() {
		o.HeightM, _ = r.number(g.node, 0, maxHeightM, "metres")
	}
	if g, ok := f["spread"]; ok && !g.node.isNull() {
		o.SpreadM, o.SpreadGiven = r.number(g.node, 0, maxSpreadM, "metres")
	}
	o.WidthM = r.above(f, "width", maxWidthM)
	return o
}

// TapeSDM is the standard deviation that a distance of d metres gets where the file gives none, metres.
//
// A tape pulled over grass by one person errs by some 5 cm at its ends (where the poles hang, where the
// middle is) and by 0.3 % with sag, slope and crookedness: 8 cm in 22 m (common practice, ours). Paces err by
// 3 % and a third of a pace (surveying texts give pacing 1 in 50 to 1 in 30 without training; from memory).
func TapeSDM(d float64, paced bool) float64 {
	if paced {
		return math.Hypot(0.3, 0.03*d)
	}
	return math.Hypot(0.05, 0.003*d)
}
