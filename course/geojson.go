package course

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"groundline/trace/geo"
)

// The map of a plan as GeoJSON (RFC 7946; WGS 84, longitude first). One Feature for each thing, told by its
// property "role":
//
//	plan      Point at the anchor: name, bearing, speed, route, lines
//	obstacle  Point with facing_true, or LineString along the face from the left end to the right: id,
//	          kind, height, spread, width
//	arena     Polygon          level    Point: z
//	home gate Point            start finish  LineString
//
// Lengths are metres, bearings degrees clockwise from true north at the anchor. Other properties,
// which map programs like to add, are left alone.

const (
	maxGeoJSONBytes = 4 << 20
	maxFeatures     = 3000
	// 9 decimals of a degree are 0.1 mm; the 6 that RFC 7946 §11.2 finds enough for most are 0.1 m.
	degreeDecimals = 1e9
)

type featureCollection struct {
	Type     string    `json:"type"`
	Features []feature `json:"features"`
}

type feature struct {
	Type       string     `json:"type"`
	Geometry   geometry   `json:"geometry"`
	Properties properties `json:"properties"`
}

type geometry struct {
	Type        string `json:"type"`
	Coordinates any    `json:"coordinates"`
}

// properties are those of all roles; each feature has its own few.
type properties struct {
	Role       string        `json:"role"`
	Plan       string        `json:"plan,omitempty"`
	Name       string        `json:"name,omitempty"`
	Bearing    *float64      `json:"bearing,omitempty"`
	Speed      *float64      `json:"speed,omitempty"`
	Route      []string      `json:"route,omitempty"`
	Lines      []geojsonLine `json:"lines,omitempty"`
	ID         string        `json:"id,omitempty"`
	Kind       string        `json:"kind,omitempty"`
	FacingTrue *float64      `json:"facing_true,omitempty"`
	Height     *float64      `json:"height,omitempty"`
	Spread     *float64      `json:"spread,omitempty"`
	Width      *float64      `json:"width,omitempty"`
	Z          *float64      `json:"z,omitempty"`
	// Clockwise tells that the plan has the arena's corners clockwise; RFC 7946 wants them
	// anticlockwise.
	Clockwise bool `json:"clockwise,omitempty"`
}

type geojsonLine struct {
	From   string   `json:"from"`
	To     string   `json:"to"`
	Kind   string   `json:"kind,omitempty"`
	Walked *float64 `json:"walked,omitempty"`
}

// WriteGeoJSON is the plan as a map that [ReadGeoJSON] reads back to the same plan within a millimetre or so. The
// error is that the plan has no anchor and so no place on the earth.
func WriteGeoJSON(p *Plan) ([]byte, error) {
	if p.Anchor == nil {
		return nil, errors.New("the plan has no anchor (latitude, longitude, bearing), so it has no place on a map")
	}
	f := onEarth{geo.NewFrame(p.Anchor.At, 0), p.Anchor.BearingDeg}
	c := featureCollection{Type: "FeatureCollection"}
	add := func(kind string, coordinates any, pr properties) {
		c.Features = append(c.Features, feature{"Feature", geometry{kind, coordinates}, pr})
	}
	plan := properties{Role: "plan", Plan: planFormat, Name: p.Name, Bearing: &p.Anchor.BearingDeg, Route: p.Route}
	if p.SpeedMMin > 0 {
		plan.Speed = &p.SpeedMMin
	}
	for _, l := range p.Lines {
		if l.Derived && l.WalkedM == nil || slices.ContainsFunc(plan.Lines, func(w geojsonLine) bool { return w.From == l.From && w.To == l.To }) {
			continue
		}
		w := geojsonLine{From: l.From, To: l.To, Walked: l.WalkedM}
		if !l.Derived {
			w.Kind = string(l.Kind)
		}
		plan.Lines = append(plan.Lines, w)
	}
	add("Point", f.position(Point{}), plan)
	if len(p.Arena) > 0 {
		ring := slices.Clone(p.Arena)
		clockwise := area(ring) < 0
		if clockwise {
			slices.Reverse(ring[1:])
		}
		add("Polygon", [][][2]float64{f.positions(append(ring, ring[0]))}, properties{Role: "arena", Clockwise: clockwise})
	}
	for _, s := range p.Levels {
		add("Point", f.position(Point{s.X, s.Y}), properties{Role: "level", Z: &s.Z})
	}
	for _, v := range []struct {
		role string
		at   *Point
	}{{"home", p.Home}, {"gate", p.Gate}} {
		if v.at != nil {
			add("Point", f.position(*v.at), properties{Role: v.role})
		}
	}
	for _, v := range []struct {
		role string
		line *[2]Point
	}{{"start", p.Start}, {"finish", p.Finish}} {
		if v.line != nil {
			add("LineString", f.positions(v.line[:]), properties{Role: v.role})
		}
	}
	for _, o := range p.Obstacles {
		facing := math.Mod(o.FacingDeg+f.bearingDeg, 360)
		pr := properties{Role: "obstacle", ID: o.ID, Kind: string(o.Kind), FacingTrue: &facing, Width: &o.WidthM}
		if o.HeightM != 0 {
			pr.Height = &o.HeightM
		}
		if o.SpreadM != 0 {
			pr.Spread = &o.SpreadM
		}
		add("Point", f.position(o.At), pr)
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	if err := e.Encode(c); err != nil {
		return nil, fmt.Errorf("the plan has a number that is none: %w", err)
	}
	return b.Bytes(), nil
}

// onEarth ties the arena frame to latitude and longitude.
type onEarth struct {
	frame      geo.Frame
	bearingDeg float64
}

func (f onEarth) position(p Point) [2]float64 {
	s, c := math.Sincos(f.bearingDeg * math.Pi / 180)
	at, _ := f.frame.FromENU(p.X*c+p.Y*s, -p.X*s+p.Y*c, 0)
	return [2]float64{math.Round(at.LonDeg*degreeDecimals) / degreeDecimals, math.Round(at.LatDeg*degreeDecimals) / degreeDecimals}
}

func (f onEarth) positions(ps []Point) [][2]float64 {
	out := make([][2]float64, len(ps))
	for i, p := range ps {
		out[i] = f.position(p)
	}
	return out
}

func (f onEarth) point(at geo.LatLon) Point {
	e, n, _ := f.frame.ToENU(at, 0)
	s, c := math.Sincos(f.bearingDeg * math.Pi / 180)
	return Point{e*c - n*s, e*s + n*c}
}

// ReadGeoJSON understands a map of a course: see [WriteGeoJSON] for what it may have. Without a plan feature
// the arena frame is east and north from the first obstacle, and without a route the
// obstacles are jumped in the order of the file, which is a warning. The error is a [Faults] with all that is
// wrong; a fault has the line of its feature.
func ReadGeoJSON(name string, data []byte) (*Plan, []Warning, error) {
	r := &mapReader{planReader: planReader{file: name, unitM: 1}, data: data}
	p := r.read()
	if len(r.faults) > 0 {
		return nil, nil, r.faults
	}
	return p, r.warnings, nil
}

type mapReader struct {
	planReader
	data []byte
}

// A mapFeature is a feature as it came, with its place in the file.
type mapFeature struct {
	line  int
	path  string
	role  string
	kind  string // of the geometry
	at    []geo.LatLon
	props map[string]json.RawMessage
}

func (r *mapReader) lineAt(offset int64) int {
	return 1 + bytes.Count(r.data[:min(int64(len(r.data)), max(0, offset))], []byte("\n"))
}

func (r *mapReader) read() *Plan {
	const expected = "a GeoJSON FeatureCollection"
	r.data = bytes.TrimPrefix(r.data, []byte("\uFEFF"))
	if len(r.data) > maxGeoJSONBytes {
		r.fault(0, "", fmt.Sprintf("found %d bytes", len(r.data)), fmt.Sprintf("a map of at most %d", maxGeoJSONBytes))
		return nil
	}
	if !utf8.Valid(r.data) {
		r.fault(0, "", "the text is not UTF-8", expected)
		return nil
	}
	var top struct {
		Type     string            `json:"type"`
		Features []json.RawMessage `json:"features"`
		CRS      json.RawMessage   `json:"crs"`
	}
	if err := json.Unmarshal(r.data, &top); err != nil {
		line := 0
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			line = r.lineAt(syntax.Offset)
		}
		r.fault(line, "", "can't be read as GeoJSON: "+quoteShort(strings.TrimPrefix(err.Error(), "json: ")), expected)
		return nil
	}
	if top.Type != "FeatureCollection" {
		r.fault(1, "type", "found "+quoteShort(top.Type), "FeatureCollection")
		return nil
	}
	if crs := string(top.CRS); crs != "" && crs != "null" && !strings.Contains(crs, "CRS84") && !strings.Contains(crs, "4326") {
		r.fault(1, "crs", "found another coordinate system", "longitude and latitude of WGS 84, as RFC 7946 has it")
	}
	if len(top.Features) > maxFeatures {
		r.fault(1, "features", fmt.Sprintf("found %d", len(top.Features)), fmt.Sprintf("at most %d", maxFeatures))
		return nil
	}
	lines := r.featureLines()
	var all []mapFeature
	for i, raw := range top.Features {
		f := mapFeature{path: fmt.Sprintf("features[%d]", i)}
		if i < len(lines) {
			f.line = lines[i]
		}
		if r.feature(raw, &f) {
			all = append(all, f)
		}
	}
	return r.plan(all)
}

// featureLines are the lines on which the features begin. The file is known to be sound JSON.
func (r *mapReader) featureLines() []int {
	dec := json.NewDecoder(bytes.NewReader(r.data))
	_, _ = dec.Token() // {
	for dec.More() {
		key, err := dec.Token()
		if err != nil {
			return nil
		}
		var skip json.RawMessage
		if key != "features" {
			if dec.Decode(&skip) != nil {
				return nil
			}
			continue
		}
		if open, err := dec.Token(); err != nil || open != json.Delim('[') {
			return nil
		}
		var out []int
		line, from := 1, int64(0)
		for dec.More() {
			// Up to the feature there is only white space and a comma.
			to := dec.InputOffset()
			for to < int64(len(r.data)) && strings.IndexByte(" \t\r\n,", r.data[to]) >= 0 {
				to++
			}
			line += bytes.Count(r.data[from:to], []byte("\n"))
			from = to
			out = append(out, line)
			if dec.Decode(&skip) != nil {
				return out
			}
		}
		return out
	}
	return nil
}

// feature takes a feature apart; false where it is none that a course has, or after a fault.
func (r *mapReader) feature(raw json.RawMessage, f *mapFeature) bool {
	var v struct {
		Type       string                     `json:"type"`
		Properties map[string]json.RawMessage `json:"properties"`
		Geometry   *struct {
			Type        string          `json:"type"`
			Coordinates json.RawMessage `json:"coordinates"`
		} `json:"geometry"`
	}
	if err := json.Unmarshal(raw, &v); err != nil || v.Type != "Feature" {
		r.fault(f.line, f.path, "found no Feature", "type, geometry and properties of a Feature")
		return false
	}
	f.props = v.Properties
	roles, drawnAs := rolesAndGeometries()
	if role, ok := f.props["role"]; ok {
		if json.Unmarshal(role, &f.role) != nil {
			r.fault(f.line, f.path+".properties.role", "found "+quoteShort(string(role)), "one of "+strings.Join(roles, ", "))
			return false
		}
		if !slices.Contains(roles, f.role) {
			r.warn(f.line, f.path, "the role "+quoteShort(f.role)+" is none of a course", "the feature is not used", "")
			return false
		}
	} else {
		// Maps drawn elsewhere: what has a kind is an obstacle, and a polygon the arena.
		switch _, kind := f.props["kind"]; {
		case kind:
			f.role = "obstacle"
		case v.Geometry != nil && v.Geometry.Type == "Polygon":
			f.role = "arena"
		default:
			r.warn(f.line, f.path, "a feature without a role", "it is not used", "")
			return false
		}
	}
	path := f.path + ".geometry"
	if v.Geometry == nil {
		r.fault(f.line, path, "found nothing", "a "+drawnAs[f.role])
		return false
	}
	f.kind = v.Geometry.Type
	var coordinates [][]float64
	var err error
	switch {
	case f.kind == "Point" && !slices.Contains([]string{"arena", "start", "finish"}, f.role):
		coordinates = make([][]float64, 1)
		err = json.Unmarshal(v.Geometry.Coordinates, &coordinates[0])
	case f.kind == "LineString" && slices.Contains([]string{"obstacle", "start", "finish"}, f.role):
		if err = json.Unmarshal(v.Geometry.Coordinates, &coordinates); err == nil && len(coordinates) != 2 {
			r.fault(f.line, path, fmt.Sprintf("found a LineString of %d places", len(coordinates)), "two ends")
			return false
		}
	case f.kind == "Polygon" && f.role == "arena":
		var rings [][][]float64
		if err = json.Unmarshal(v.Geometry.Coordinates, &rings); err == nil && len(rings) != 1 {
			r.fault(f.line, path, fmt.Sprintf("found a Polygon of %d rings", len(rings)), "one ring without holes")
			return false
		} else if err == nil {
			coordinates = rings[0]
		}
	default:
		r.fault(f.line, path, "found "+quoteShort(f.kind), "a "+drawnAs[f.role])
		return false
	}
	if err != nil || len(coordinates) > maxArenaPoints {
		r.fault(f.line, path+".coordinates", "found what are no places", "[longitude, latitude] each")
		return false
	}
	for _, c := range coordinates {
		if len(c) < 2 || len(c) > 3 || math.Abs(c[0]) > 180 || math.Abs(c[1]) > 90 {
			r.fault(f.line, path+".coordinates", fmt.Sprintf("found %v", c[:min(4, len(c))]), "[longitude, latitude], -180 to 180 and -90 to 90 degrees")
			return false
		}
		f.at = append(f.at, geo.LatLon{LatDeg: c[1], LonDeg: c[0]})
	}
	return true
}

// rolesAndGeometries are the roles that a feature may have, and what each is drawn as.
func rolesAndGeometries() (roles []string, drawnAs map[string]string) {
	return []string{"plan", "obstacle", "arena", "level", "home", "gate", "start", "finish"},
		map[string]string{"plan": "Point", "obstacle": "Point or LineString", "arena": "Polygon", "level": "Point",
			"home": "Point", "gate": "Point", "start": "LineString", "finish": "LineString"}
}

// property is a number in [low, high]; fallback where it is absent, a fault where it is none.
func (r *mapReader) property(f mapFeature, key string, low, high, fallback float64) float64 {
	raw, ok := f.props[key]
	if !ok || string(raw) == "null" {
		return fallback
	}
	var v float64
	if json.Unmarshal(raw, &v) != nil || !(v >= low && v <= high) {
		r.fault(f.line, f.path+".properties."+key, "found "+quoteShort(string(raw)), fmt.Sprintf("a number from %v to %v", low, high))
		return fallback
	}
	return v
}

// word is a property of text or, for ids, a whole number; "" where it is absent.
func (r *mapReader) word(f mapFeature, key string, most int) string {
	raw, ok := f.props[key]
	if !ok || string(raw) == "null" {
		return ""
	}
	var v any
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.UseNumber()
	_ = dec.Decode(&v)
	var s string
	switch w := v.(type) {
	case string:
		s = strings.TrimSpace(w)
	case json.Number:
		s = w.String()
	}
	if s == "" || utf8.RuneCountInString(s) > most || strings.ContainsFunc(s, func(c rune) bool { return !unicode.IsPrint(c) }) {
		r.fault(f.line, f.path+".properties."+key, "found "+quoteShort(string(raw)), fmt.Sprintf("1 to %d printable characters", most))
		return ""
	}
	return s
}

// plan puts the features together.
func (r *mapReader) plan(all []mapFeature) *Plan {
	p := &Plan{}
	var head *mapFeature
	for i := range all {
		switch f := &all[i]; {
		case f.role == "plan" && head != nil:
			r.fault(f.line, f.path, "found a second plan", "one")
		case f.role == "plan":
			head = f
		}
	}
	obstacles := 0
	for _, f := range all {
		if f.role == "obstacle" {
			obstacles++
			if p.Anchor == nil {
				p.Anchor = &Anchor{At: f.at[0]}
			}
		}
	}
	if obstacles == 0 || obstacles > maxObstacles {
		r.fault(0, "features", fmt.Sprintf("found %d obstacles", obstacles), fmt.Sprintf("1 to %d features with role obstacle", maxObstacles))
		return nil
	}
	if head != nil {
		p.Anchor = &Anchor{head.at[0], math.Mod(r.property(*head, "bearing", 0, 360, 0), 360)}
		p.Name = r.word(*head, "name", maxNameRunes)
		p.SpeedMMin = r.property(*head, "speed", minSpeedMMin, maxSpeedMMin, 0)
		if format := r.word(*head, "plan", maxNameRunes); format != "" && format != planFormat {
			r.fault(head.line, head.path+".properties.plan", "found "+quoteShort(format), planFormat)
		}
	}
	e := onEarth{geo.NewFrame(p.Anchor.At, 0), p.Anchor.BearingDeg}
	lineOf := map[string]int{}
	once := map[string]int{}
	for _, f := range all {
		at := make([]Point, len(f.at))
		for i, g := range f.at {
			at[i] = e.point(g)
			if math.Max(math.Abs(at[i].X), math.Abs(at[i].Y)) > maxCoordinateM {
				r.fault(f.line, f.path+".geometry", fmt.Sprintf("found a place %.0f km off the rest", math.Hypot(at[i].X, at[i].Y)/1000), "[longitude, latitude] within 5 km of the anchor")
				break
			}
		}
		if first, twice := once[f.role]; twice && f.role != "level" && f.role != "obstacle" && f.role != "plan" {
			r.fault(f.line, f.path, "found a second "+f.role, fmt.Sprintf("one (first in line %d)", first))
			continue
		}
		once[f.role] = f.line
		switch f.role {
		case "arena":
			p.Arena = r.corners(f, at)
		case "level":
			if len(p.Levels) == maxLevels {
				r.fault(f.line, f.path, "found one more spot height", fmt.Sprintf("at most %d", maxLevels))
				return nil
			}
			if _, ok := f.props["z"]; !ok {
				r.fault(f.line, f.path+".properties.z", "the property is missing", "metres")
			}
			p.Levels = append(p.Levels, Spot{at[0].X, at[0].Y, r.property(f, "z", -maxLevelM, maxLevelM, 0)})
		case "home":
			p.Home = &at[0]
		case "gate":
			p.Gate = &at[0]
		case "start", "finish":
			if at[0] == at[1] {
				r.fault(f.line, f.path+".geometry", "both ends are the same place", "two ends")
				continue
			}
			if f.role == "start" {
				p.Start = &[2]Point{at[0], at[1]}
			} else {
				p.Finish = &[2]Point{at[0], at[1]}
			}
		case "obstacle":
			p.Obstacles = append(p.Obstacles, r.obstacle(f, at, e.bearingDeg, lineOf))
		}
	}
	meant, meantAt := r.routeAndLines(head, p, lineOf)
	if len(r.faults) > 0 {
		return nil
	}
	p.SetLines(meant)
	r.compareWithMap(p, meant, meantAt)
	r.look(p, lineOf, once["level"])
	return p
}

func (r *mapReader) corners(f mapFeature, at []Point) []Point {
	if n := len(f.at); n < 4 || f.at[0] != f.at[n-1] {
		r.fault(f.line, f.path+".geometry", fmt.Sprintf("found a ring of %d places that is not closed", n), "three corners or more and the first again")
		return nil
	}
	at = at[:len(at)-1]
	var clockwise bool
	_ = json.Unmarshal(f.props["clockwise"], &clockwise)
	if clockwise {
		slices.Reverse(at[1:])
	}
	r.checkRing(f.line, f.path+".geometry", at)
	return at
}

func (r *mapReader) obstacle(f mapFeature, at []Point, bearingDeg float64, lineOf map[string]int) Obstacle {
	o := Obstacle{ID: r.word(f, "id", maxIDRunes), At: at[0],
		HeightM: r.property(f, "height", 0, maxHeightM, 0), SpreadM: r.property(f, "spread", 0, maxSpreadM, 0), WidthM: UsualWidthM}
	facing := r.property(f, "facing_true", 0, 360, math.NaN())
	if len(at) == 2 {
		o.At = Point{(at[0].X + at[1].X) / 2, (at[0].Y + at[1].Y) / 2}
		o.WidthM = distance(at[0], at[1])
		square := bearing(at[0], at[1]) - 90 // the left end first, as it is jumped
		switch along := math.Abs(turnDeg(square+bearingDeg, facing)); {
		case o.WidthM == 0 || o.WidthM > maxWidthM:
			r.fault(f.line, f.path+".geometry", fmt.Sprintf("found a face of %.2f m", o.WidthM), fmt.Sprintf("a face above 0 and up to %.0f m", maxWidthM))
		case math.IsNaN(facing):
			facing = square + bearingDeg
		case along > 45 && along < 135:
			r.fault(f.line, f.path+".properties.facing_true", fmt.Sprintf("found %v", facing), "a bearing across the face")
		}
	}
	if math.IsNaN(facing) {
		if _, given := f.props["facing_true"]; !given {
			r.fault(f.line, f.path+".properties.facing_true", "the property is missing", "degrees from true north, 0 to 360")
		}
		facing = 0
	}
	o.FacingDeg = math.Mod(math.Mod(facing-bearingDeg, 360)+360, 360)
	if w := r.property(f, "width", 0, maxWidthM, o.WidthM); w > 0 {
		o.WidthM = w
	} else {
		r.fault(f.line, f.path+".properties.width", "found 0", "a width above zero")
	}
	kind := r.word(f, "kind", maxNameRunes)
	o.Kind = Kind(kind)
	if !slices.Contains(Kinds(), o.Kind) {
		r.fault(f.line, f.path+".properties.kind", "unknown kind "+quoteShort(kind), "one of "+kindList())
	}
	if o.ID == "" {
		r.fault(f.line, f.path+".properties.id", "the property is missing", "a name such as 7a")
	} else if first, twice := lineOf[o.ID]; twice {
		r.fault(f.line, f.path+".properties.id", "id "+quoteShort(o.ID)+" given twice", fmt.Sprintf("every id once (first in line %d)", first))
	} else {
		lineOf[o.ID] = f.line
	}
	for key := range f.props {
		if near := nearest(key, []string{"facing_true", "height", "spread", "width"}); near != "" && near != key {
			r.warn(f.line, f.path, "the property "+quoteShort(key)+" is not used", "perhaps "+near+" is meant", "")
		}
	}
	return o
}

// routeAndLines fills p.Route and gives what the map says of lines.
func (r *mapReader) routeAndLines(head *mapFeature, p *Plan, lineOf map[string]int) (meant []Line, at []int) {
	pole := map[string]bool{}
	for _, o := range p.Obstacles {
		pole[o.ID] = o.Kind == Pole
	}
	var route []string
	if head == nil || head.props["route"] == nil {
		for _, o := range p.Obstacles {
			route = append(route, o.ID)
		}
		r.warn(0, "route", "the map has no route", "the obstacles are taken in the order of the file", "")
	} else if json.Unmarshal(head.props["route"], &route) != nil || len(route) > maxRoute {
		r.fault(head.line, head.path+".properties.route", "found "+quoteShort(string(head.props["route"])), fmt.Sprintf("a list of up to %d ids", maxRoute))
	}
	for i, id := range route {
		if _, known := lineOf[id]; !known {
			if head != nil {
				r.fault(head.line, fmt.Sprintf("%s.properties.route[%d]", head.path, i), "no obstacle has the id "+quoteShort(id), "the id of an obstacle")
			}
		} else if !pole[id] {
			p.Route = append(p.Route, id)
		}
	}
	if len(p.Route) == 0 && len(r.faults) == 0 {
		r.fault(0, "route", "no obstacle is jumped", "one id or more that is no pole")
	}
	if head == nil || head.props["lines"] == nil {
		return nil, nil
	}
	var lines []geojsonLine
	path := head.path + ".properties.lines"
	if json.Unmarshal(head.props["lines"], &lines) != nil || len(lines) > maxRoute {
		r.fault(head.line, path, "found what is no list of lines", "a list of {from, to, kind, walked}")
		return nil, nil
	}
	for i, l := range lines {
		field := fmt.Sprintf("%s[%d]", path, i)
		for _, id := range []string{l.From, l.To} {
			if _, known := lineOf[id]; !known {
				r.fault(head.line, field, "no obstacle has the id "+quoteShort(id), "the ids of two obstacles")
			}
		}
		if l.Kind != "" && !slices.Contains(lineKinds(), LineKind(l.Kind)) {
			r.fault(head.line, field+".kind", "unknown kind "+quoteShort(l.Kind), "one of "+lineKindList())
		}
		if l.Walked != nil && !(*l.Walked > 0 && *l.Walked <= maxWalkedM) {
			r.fault(head.line, field+".walked", fmt.Sprintf("found %v", *l.Walked), fmt.Sprintf("a distance above 0 and up to %v metres", maxWalkedM))
		}
		if slices.ContainsFunc(meant, func(m Line) bool { return m.From == l.From && m.To == l.To }) {
			r.fault(head.line, field, fmt.Sprintf("the way from %s to %s given twice", l.From, l.To), "it once")
		}
		meant = append(meant, Line{From: l.From, To: l.To, Kind: LineKind(l.Kind), WalkedM: l.Walked})
		at = append(at, head.line)
	}
	return meant, at
}
