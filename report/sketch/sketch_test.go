package sketch

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/course"
	"groundline/trace/testkit"
)

const schemaFile = "../../cmd/serve/api/schema/sketch-1.json"

func field(t require.TestingT) *course.Plan {
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "plans", "field.yaml"))
	require.NoError(t, err)
	p, w, err := course.ReadPlan("field.yaml", data)
	require.NoError(t, err)
	require.Empty(t, w)
	return p
}

func standard() course.Horse { return course.Profiles()[0].Horse() }

func sketched(t require.TestingT, p *course.Plan, h course.Horse, w ...course.Warning) Sketch {
	s, err := Of(p, h, w)
	require.NoError(t, err)
	return s
}

func written(t require.TestingT, s Sketch) []byte {
	var b bytes.Buffer
	require.NoError(t, Write(&b, s))
	return b.Bytes()
}

// What a person would measure on the shipped course, by hand.
func TestShippedCourse(t *testing.T) {
	s := sketched(t, field(t), standard())
	require.Len(t, s.Lines, 6)
	l := s.Lines[0]
	require.Equal(t, "related", l.Kind)
	require.False(t, l.Derived)
	require.InDelta(t, 41.1-22-0.15-0.45, l.MapM, 1e-9)
	require.Equal(t, 18.45, *l.WalkedM)
	require.Equal(t, 18.45, l.GroundM.Value, "the tape is believed over the map")
	require.Equal(t, 4, l.Whole)
	// US Equestrian's chart of suggested distances for a 12-ft stride: 48, 60 and 72 ft for 3, 4 and 5 strides.
	for n, ft := range map[int]float64{3: 48, 4: 60, 5: 72} {
		require.Equal(t, n, l.Fits[n-1].Strides)
		require.InDelta(t, ft*0.3048, l.Fits[n-1].DistanceM, 0.0051)
	}
	require.Equal(t, "bending", s.Lines[1].Kind)
	require.NotEmpty(t, s.Lines[1].Tracks)
	for _, b := range s.Lines[1].Tracks {
		require.Equal(t, [2]float64{41.1, 12}, b.Path[0])
		require.Equal(t, [2]float64{70, 18}, b.Path[len(b.Path)-1])
		require.InDelta(t, b.LengthM+0.45+0.15, lengthOf(b.Path), 0.02, "the points follow the arcs")
	}
	// The double's chart: at 0.90 m, 3 ft and less, 24 ft and a foot a foot of height above 1.5 ft for one stride.
	require.InDelta(t, 25.4*0.3048, s.Lines[4].Fits[0].DistanceM, 0.05)

	// The track goes from start to finish without a gap, through every obstacle's middle.
	require.Len(t, s.Track, 8)
	total := 0.0
	for i, leg := range s.Track {
		require.InDelta(t, leg.LengthM, lengthOf(leg.Path), 0.05)
		total += leg.LengthM
		if i > 0 {
			require.Equal(t, s.Track[i-1].To, leg.From)
			require.InDelta(t, 0, apart(s.Track[i-1].Path[len(s.Track[i-1].Path)-1], leg.Path[0]), 0.015)
		}
	}
	require.InDelta(t, s.Course.LengthM, total, 0.51, "told in whole metres")
	require.Equal(t, "start", s.Track[0].From)
	require.Equal(t, "finish", s.Track[7].To)

	// 1.80 m on 90 m to the right and 0.60 m on 60 m forward: falls back and to the left.
	require.InDelta(t, math.Hypot(0.02, 0.01), s.Ground.Grade, 1e-4)
	require.InDelta(t, 180+math.Atan2(0.02, 0.01)*180/math.Pi, s.Ground.FallsDeg, 0.01)
	require.False(t, s.Ground.Bends)
	require.NotEmpty(t, s.Ground.Contours)
	for _, c := range s.Ground.Contours {
		require.True(t, c.Measured, "the heights are the arena's corners")
		for _, p := range c.Path {
			require.InDelta(t, c.HeightM, 0.02*p[0]+0.01*p[1], 0.011, "a place to the centimetre on a slope of 2 %%, on a line drawn to 5 cm")
		}
	}
	for _, a := range s.Ground.Arrows {
		require.InDelta(t, s.Ground.Grade, a.Grade, 1e-4, "a plane")
	}
	require.Len(t, s.Cautions, len(course.Cautions())+1, "and that the rules in force decide")
}

func lengthOf(path [][2]float64) (l float64) {
	for i := 1; i < len(path); i++ {
		l += apart(path[i-1], path[i])
	}
	return l
}

func apart(a, b [2]float64) float64 { return math.Hypot(b[0]-a[0], b[1]-a[1]) }

// A measured horse's fits are its own ground from three strides on.
func TestMeasuredHorseFitsItsOwnGround(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "plans", "horse.yaml"))
	require.NoError(t, err)
	h, err := course.ReadHorse("horse.yaml", data)
	require.NoError(t, err)
	p := field(t)
	s := sketched(t, p, h)
	require.Equal(t, "Bramble", s.Horse.Name)
	for _, f := range s.Lines[0].Fits[2:] {
		p.Obstacles[1].At.X = 22 + f.DistanceM + 0.6
		p.SetLines(nil)
		l := sketched(t, p, course.Horse{Name: h.Name, StrideM: h.StrideM, LandingM: h.LandingM, TakeoffM: h.TakeoffM, HoofLandingM: h.HoofLandingM}).Lines[0]
		require.InDelta(t, float64(f.Strides), l.Strides.Value, 0.01, "put at the distance for %d strides, the line has them", f.Strides)
	}
}

func TestSketchHoldsToItsSchema(t *testing.T) {
	c := jsonschema.NewCompiler()
	schema, err := c.Compile(schemaFile)
	require.NoError(t, err)
	valid := func(b []byte) error {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
		require.NoError(t, err)
		return schema.Validate(v)
	}
	good := written(t, sketched(t, field(t), standard()))
	require.NoError(t, valid(good))
	flat := field(t)
	flat.Levels, flat.Start, flat.Finish, flat.SpeedMMin, flat.Route = nil, nil, nil, 0, flat.Route[:1]
	flat.SetLines(nil)
	require.NoError(t, valid(written(t, sketched(t, flat, standard()))))
	// A schema that accepts anything would hold too.
	for _, c := range [][2]string{{`"notes":[]`, `"notes":null`}, {`"kind":"related"`, `"kind":"straight"`}, {`"step_m"`, `"step"`}, {`"why_level":""`, `"why_level":1`}, {`"path":[[`, `"path":[[1],[`}} {
		require.Contains(t, string(good), c[0])
		require.Error(t, valid([]byte(strings.Replace(string(good), c[0], c[1], 1))), c[1])
	}
}

// Every field is in the schema and demanded there, and the schema has no other.
func TestSchemaAndSketchHaveTheSameFields(t *testing.T) {
	data, err := os.ReadFile(schemaFile)
	require.NoError(t, err)
	var root map[string]any
	require.NoError(t, json.Unmarshal(data, &root))
	defs := root["$defs"].(map[string]any)
	var same func(path string, typ reflect.Type, node map[string]any)
	same = func(path string, typ reflect.Type, node map[string]any) {
		for typ.Kind() == reflect.Pointer || typ.Kind() == reflect.Slice {
			typ = typ.Elem()
		}
		for {
			if items, ok := node["items"].(map[string]any); ok {
				node = items
			} else if either, ok := node["anyOf"].([]any); ok {
				node = either[0].(map[string]any)
			} else if ref, ok := node["$ref"].(string); ok {
				node = defs[strings.TrimPrefix(ref, "#/$defs/")].(map[string]any)
			} else {
				break
			}
		}
		if typ.Kind() != reflect.Struct {
			return
		}
		types := map[string]reflect.Type{}
		var gather func(typ reflect.Type)
		gather = func(typ reflect.Type) {
			for i := range typ.NumField() {
				f := typ.Field(i)
				if f.Anonymous {
					gather(f.Type)
				}
			}
			for i := range typ.NumField() { // the outer ones hide those of what is embedded
				if f := typ.Field(i); !f.Anonymous {
					types[strings.Split(f.Tag.Get("json"), ",")[0]] = f.Type
				}
			}
		}
		gather(typ)
		properties, _ := node["properties"].(map[string]any)
		var fields, listed, required []string
		for name, typ := range types {
			fields = append(fields, name)
			if sub, ok := properties[name].(map[string]any); ok {
				same(path+"."+name, typ, sub)
			}
		}
		for name := range properties {
			listed = append(listed, name)
		}
		for _, name := range node["required"].([]any) {
			required = append(required, name.(string))
		}
		require.ElementsMatch(t, fields, listed, "properties of %s", path)
		require.ElementsMatch(t, fields, required, "required of %s", path)
	}
	same("sketch", reflect.TypeFor[Sketch](), root)
}

func TestSketchAsWritten(t *testing.T) {
	p := field(t)
	got := written(t, sketched(t, p, standard()))
	require.Equal(t, string(got), string(written(t, sketched(t, p, standard()))), "the same bytes each time")
	testkit.Golden(t, "testdata/field.golden.json", got)
}

// Each warning is about the thing that it names, whatever people call their obstacles.
func TestNotesAreAboutTheirThing(t *testing.T) {
	p := field(t)
	for i, id := range []string{"a-b", "b"} { // with a dash, so that a-b-b reads two ways
		old := p.Obstacles[i].ID
		p.Obstacles[i].ID = id
		for k := range p.Route {
			if p.Route[k] == old {
				p.Route[k] = id
			}
		}
	}
	p.Obstacles[1].HeightM = 2.5
	p.Obstacles[1].At.X = 43 // between two numbers of strides
	p.SetLines(nil)
	p.Start = &[2]course.Point{{X: 30, Y: 8}, {X: 30, Y: 16}}
	p.SpeedMMin = 500
	s := sketched(t, p, standard(), course.Warning{Field: "levels", What: "the heights lie on a line"}, course.Warning{Field: "line 9-10", What: "the route never goes from 9 to 10"})
	about := map[string]Note{}
	said := map[string]string{}
	for _, n := range s.Notes {
		about[n.About] = n
		said[n.About] += n.What + "; "
	}
	require.Equal(t, "b", about["obstacle"].Obstacle)
	require.Contains(t, said["obstacle"], "2.50 m high")
	require.NotNil(t, about["line"].Line)
	require.Contains(t, said["start"], "behind obstacle a-b")
	require.Contains(t, said["levels"], "the heights lie on a line")
	require.Contains(t, said["speed"], "500")
	require.Equal(t, "line 9-10: the route never goes from 9 to 10; ", said["plan"])
	found := false
	for _, n := range s.Notes {
		if n.About == "line" && strings.Contains(n.What, "strides for a horse") {
			found = true
			require.Equal(t, "a-b", s.Lines[*n.Line].From)
			require.NotEmpty(t, n.Source)
		}
	}
	require.True(t, found)
}

// anyPlan is a plan that may be drawn: obstacles 4 m apart or more that face anywhere, none jumped twice running.
func anyPlan(t *rapid.T) *course.Plan {
	metre := func(low, high float64, what string) float64 {
		return math.Round(rapid.Float64Range(low, high).Draw(t, what)*100) / 100
	}
	p := &course.Plan{Name: rapid.SampledFrom([]string{"", "Field", `a "name" # of: [kinds]`}).Draw(t, "name")}
	if rapid.Bool().Draw(t, "arena") {
		p.Arena = []course.Point{{X: 0, Y: 0}, {X: metre(20, 90, "width"), Y: 0}, {X: metre(20, 90, "right"), Y: metre(20, 80, "length")}, {X: 0, Y: metre(20, 80, "left")}}
	}
	n := rapid.IntRange(1, 6).Draw(t, "obstacles")
	for i := range n {
		p.Obstacles = append(p.Obstacles, course.Obstacle{ID: fmt.Sprint(i + 1), Kind: rapid.SampledFrom(course.Kinds()[:5]).Draw(t, "kind"),
			At: course.Point{X: 30*float64(i%3) + metre(2, 28, "x"), Y: 40*float64(i/3) + metre(2, 38, "y")}, FacingDeg: math.Mod(metre(0, 360, "facing"), 360),
			HeightM: metre(0, 1.6, "height"), SpreadM: metre(0, 2, "spread"), WidthM: metre(2, 5, "face")})
	}
	for range rapid.IntRange(1, 8).Draw(t, "route") {
		id := p.Obstacles[rapid.IntRange(0, n-1).Draw(t, "jumped")].ID
		if len(p.Route) == 0 || p.Route[len(p.Route)-1] != id {
			p.Route = append(p.Route, id)
		}
	}
	for range rapid.IntRange(0, 7).Draw(t, "heights") {
		p.Levels = append(p.Levels, course.Spot{X: metre(0, 90, "x"), Y: metre(0, 80, "y"), Z: metre(-2, 2, "z")})
	}
	if rapid.Bool().Draw(t, "home") {
		p.Home = &course.Point{X: metre(-90, 90, "x"), Y: metre(-90, 90, "y")}
	}
	if rapid.Bool().Draw(t, "start") {
		x, y := metre(0, 90, "x"), metre(0, 80, "y")
		p.Start = &[2]course.Point{{X: x, Y: y}, {X: x + 8, Y: y + 1}}
	}
	p.SpeedMMin = float64(rapid.SampledFrom([]int{0, 300, 350}).Draw(t, "speed"))
	p.SetLines(nil)
	return p
}

// What Fields hold is the plan: read back it is the same, by way of JSON.
func TestFieldsAreThePlan(t *testing.T) {
	shipped := field(t)
	back := throughFields(t, shipped)
	require.Equal(t, shipped, back)
	rapid.Check(t, func(t *rapid.T) {
		p := anyPlan(t)
		if len(p.Lines) > 0 && rapid.Bool().Draw(t, "tape") {
			walked := 12.5
			meant := []course.Line{{From: p.Lines[0].From, To: p.Lines[0].To, Kind: course.Related, WalkedM: &walked}}
			p.SetLines(meant)
		}
		if p.Arena != nil && crosses(p) {
			t.Skip("an arena that crosses itself")
		}
		require.Equal(t, p, throughFields(t, p))
	})
}

func crosses(p *course.Plan) bool {
	_, _, err := course.ReadPlan("plan", course.WritePlan(p))
	return err != nil
}

func throughFields(t require.TestingT, p *course.Plan) *course.Plan {
	data, err := json.Marshal(FieldsOf(p))
	require.NoError(t, err)
	back, _, err := Read(data)
	require.NoError(t, err)
	return back
}

// figures are all of a sketch that no turn, shift or mirror of the plan changes.
func figures(s Sketch) []float64 {
	out := []float64{s.Course.LengthM}
	for _, l := range s.Lines {
		out = append(out, l.MapM, l.GroundM.Value, l.Strides.Value, float64(l.Whole), math.Abs(l.TurnedDeg), float64(len(l.Tracks)))
		for _, b := range l.Tracks {
			out = append(out, float64(b.Strides), b.LengthM, b.OutsideM)
		}
		if l.Turn != nil {
			out = append(out, l.Turn.Cut.LengthM, l.Turn.Wide.LengthM)
		}
	}
	if s.Ground != nil {
		out = append(out, s.Ground.Grade)
	}
	return append(out, float64(len(s.Notes)))
}

// A plan that is shifted, turned or mirrored has the same figures: nothing hangs on where the arena's corner is.
func TestFiguresStayWhenThePlanIsTurnedShiftedOrMirrored(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPlan(t)
		if p.Arena != nil && crosses(p) {
			p.Arena = nil
		}
		deg := rapid.Float64Range(0, 360).Draw(t, "by")
		dx, dy := rapid.Float64Range(-50, 50).Draw(t, "right"), rapid.Float64Range(-50, 50).Draw(t, "forward")
		mirror := rapid.Bool().Draw(t, "mirror")
		sin, cos := math.Sincos(deg * math.Pi / 180)
		to := func(a course.Point) course.Point {
			if mirror {
				a.X = -a.X
			}
			return course.Point{X: dx + a.X*cos + a.Y*sin, Y: dy + a.Y*cos - a.X*sin}
		}
		q := *p
		q.Arena = nil
		for _, c := range p.Arena {
			q.Arena = append(q.Arena, to(c))
		}
		q.Levels = nil
		for _, l := range p.Levels {
			at := to(course.Point{X: l.X, Y: l.Y})
			q.Levels = append(q.Levels, course.Spot{X: at.X, Y: at.Y, Z: l.Z})
		}
		q.Obstacles = nil
		for _, o := range p.Obstacles {
			o.At = to(o.At)
			if mirror {
				o.FacingDeg = -o.FacingDeg
			}
			o.FacingDeg = math.Mod(math.Mod(o.FacingDeg+deg, 360)+360, 360)
			q.Obstacles = append(q.Obstacles, o)
		}
		if p.Home != nil {
			h := to(*p.Home)
			q.Home = &h
		}
		if p.Start != nil {
			q.Start = &[2]course.Point{to(p.Start[0]), to(p.Start[1])}
		}
		q.SetLines(nil)
		a, b := sketched(t, p, standard()), sketched(t, &q, standard())
		// Where two ways round are equally long, or a limit is met to the last digit, rounding decides; so the kinds
		// must be the same to compare the rest.
		for i := range a.Lines {
			if a.Lines[i].Kind != b.Lines[i].Kind {
				t.Skip("a kind on the edge")
			}
		}
		before, after := figures(a), figures(b)
		require.Len(t, after, len(before))
		for i := range before {
			require.InDelta(t, before[i], after[i], 0.02+1e-3*math.Abs(before[i]))
		}
	})
}

// Read tells every fault by its field, and takes nothing that is no JSON.
func TestFaultsHaveTheirField(t *testing.T) {
	_, _, err := Read([]byte(`{"plan":"groundline/1","obstacles":[{"id":"1","kind":"oxxer","at":[1,2],"facing":400,"height":85}],"route":["1","2"]}`))
	var faults course.Faults
	require.True(t, errors.As(err, &faults))
	var fields []string
	for _, f := range faults {
		fields = append(fields, f.Field)
	}
	require.Equal(t, []string{"obstacles[0].kind", "obstacles[0].facing", "obstacles[0].height", "route[1]"}, fields)
	for _, text := range []string{"", "plan: groundline/1", "{", "[1", "nul"} {
		_, _, err := Read([]byte(text))
		require.True(t, errors.As(err, &faults), text)
	}
}

// Whatever is sent: a sketch that can be written, or faults; never a panic.
func FuzzSketch(f *testing.F) {
	good, err := json.Marshal(FieldsOf(field(f)))
	require.NoError(f, err)
	f.Add(good)
	for _, s := range []string{`{}`, `null`, `[[[[`, `{"plan":"groundline/1","obstacles":[{"id":"1","kind":"pole","at":[0,0],"facing":0}],"route":["1"]}`,
		`{"plan":"groundline/1","obstacles":[{"id":"1","kind":"oxer","at":[0,0],"facing":0},{"id":"2","kind":"oxer","at":[0,0],"facing":0}],"route":["1","2","1"],"levels":[[0,0,0],[0,0,1],[1,1,9000]]}`,
		`{"plan":"groundline/1","arena":[[0,0],[1e-3,0],[0,5000]],"obstacles":[{"id":"1","kind":"oxer","at":[5000,-5000],"facing":360,"spread":8,"width":1e-9}],"route":["1","1"],"speed":50,"start":[[0,0],[1e-9,0]]}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, w, err := Read(data)
		if err != nil {
			var faults course.Faults
			require.True(t, errors.As(err, &faults))
			require.NotEmpty(t, faults)
			return
		}
		if len(p.Route)*len(p.Obstacles) > 400 {
			return // the work is bounded (see the reader's limits), but not for a fuzzer's millions
		}
		for _, h := range []course.Horse{standard(), course.Profiles()[4].Horse()} {
			s, err := Of(p, h, w)
			require.NoError(t, err)
			require.True(t, json.Valid(written(t, s)))
		}
	})
}

// A large course is sketched well within the tenth of a second that a figure may lag behind a drag.
func TestSketchIsQuick(t *testing.T) {
	p := large()
	took := testing.Benchmark(func(b *testing.B) {
		for b.Loop() {
			sketched(b, p, standard())
		}
	})
	t.Logf("15 obstacles: %v", took)
	require.Less(t, took.NsPerOp(), int64(100e6))
}

// large is a course of 15 obstacles in five rows, with a slope.
func large() *course.Plan {
	p := &course.Plan{Arena: []course.Point{{X: 0, Y: 0}, {X: 90, Y: 0}, {X: 90, Y: 75}, {X: 0, Y: 75}}, SpeedMMin: 350,
		Start: &[2]course.Point{{X: 6, Y: 6}, {X: 6, Y: 14}}, Levels: []course.Spot{{X: 0, Y: 0, Z: 0}, {X: 90, Y: 0, Z: 1}, {X: 90, Y: 75, Z: 3}, {X: 0, Y: 75, Z: 1}, {X: 45, Y: 40, Z: 2}, {X: 20, Y: 30, Z: 1}}}
	for row := range 5 {
		for i := range 3 {
			x, deg := 20+22*float64(i), 80+10*float64(i)
			if row%2 == 1 {
				x, deg = 90-x, 360-deg
			}
			id := fmt.Sprint(row*3 + i + 1)
			p.Obstacles = append(p.Obstacles, course.Obstacle{ID: id, Kind: course.Oxer, At: course.Point{X: x, Y: 10 + 14*float64(row) + 2*float64(i%2)}, FacingDeg: deg, HeightM: 1, SpreadM: 1, WidthM: 3.5})
			p.Route = append(p.Route, id)
		}
	}
	p.SetLines(nil)
	return p
}
