package course

import (
	"bytes"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// The first line of every plan names its format: plan: groundline/1.
const planFormat = "groundline/1"

// Limits of a plan file. A large course has some 20 obstacles and is 4 kB; these leave room
// for a venue's whole store and keep hostile files cheap: the parser's work grows with the
// square of the number of keys and its stack with the nesting, the planned track's work with
// route times obstacles.
const (
	maxPlanBytes     = 256 << 10
	maxStructure     = 20000 // separators, brackets and lines together
	maxNesting       = 24
	maxMarkers       = 500 // of anchors, aliases, tags and complex keys
	maxObstacles     = 150
	maxRoute         = 200
	maxLevels        = 500 // a thin plate through them is still solved in a fraction of a second
	maxArenaPoints   = 100
	maxNameRunes     = 200
	maxIDRunes       = 32
	maxFaults        = 200
	maxCoordinateM   = 5000 // beyond it the ground is no plane any more
	maxLevelM        = 9000 // the highest ground on earth
	maxHeightM       = 3.0
	maxSpreadM       = 8.0
	maxWidthM        = 50.0
	maxWalkedM       = 1000.0
	minSpeedMMin     = 50.0   // a walk
	maxSpeedMMin     = 1200.0 // a racing gallop
	feetM            = 0.3048 // international foot, exact
	paceM            = 0.914  // four paces make one 12-ft stride
	walkedDiffersM   = 0.3
	walkedDiffersRel = 0.03
)

// ReadPlan understands a course plan in YAML (plan: groundline/1). The error is a
// [Faults] with everything that is wrong in the file, not the first only; the
// warnings are what can be read but should be looked at. Unknown fields, anchors,
// aliases and tags are faults. Lengths may be in metres, feet or paces of 0.914 m (height and
// spread always in metres); the plan is in metres. Poles on the ground are obstacles but no
// efforts, so they are left out of Route. A line about a pair that the route does not have is a
// warning and is dropped, not a fault: a coach may measure ways that today's route leaves out,
// and nothing that is computed is wrong by it.
//
// name is used in the messages only. Files over 256 KiB or nested deeper than any plan are refused
// unread.
func ReadPlan(name string, data []byte) (*Plan, []Warning, error) {
	r := &planReader{file: name, unitM: 1}
	p := r.read(data)
	if len(r.faults) > 0 {
		slices.SortStableFunc(r.faults, func(a, b Fault) int { return a.Line - b.Line })
		return nil, nil, r.faults
	}
	slices.SortStableFunc(r.warnings, func(a, b Warning) int { return a.Line - b.Line })
	return p, r.warnings, nil
}

type planReader struct {
	file     string
	unitM    float64
	faults   Faults
	warnings []Warning
}

func (r *planReader) fault(line int, field, found, expected string) {
	switch {
	case len(r.faults) < maxFaults:
		r.faults = append(r.faults, Fault{r.file, line, field, found, expected})
	case len(r.faults) == maxFaults:
		r.faults = append(r.faults, Fault{r.file, 0, "", "found more faults than are told here", "the others mended first"})
	}
}

func (r *planReader) warn(line int, field, what, why, source string) {
	r.warnings = append(r.warnings, Warning{line, field, what, why, source})
}

// A node with the path to it.
type node struct {
	ast.Node
	path string
}

func (n node) line() int {
	if n.Node == nil || n.GetToken() == nil || n.GetToken().Position == nil {
		return 0
	}
	return n.GetToken().Position.Line
}

func (n node) isNull() bool {
	if n.Node == nil {
		return true
	}
	_, null := n.Node.(*ast.NullNode)
	return null
}

func (n node) isGroup() bool {
	switch n.Node.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return true
	}
	return false
}

// describe says in a few words what stands in a node.
func (n node) describe() string {
	switch v := n.Node.(type) {
	case nil, *ast.NullNode:
		return "found nothing"
	case *ast.MappingNode, *ast.MappingValueNode:
		return "found a group of fields"
	case *ast.SequenceNode:
		return fmt.Sprintf("found a list of %d", len(v.Values))
	case *ast.AliasNode, *ast.AnchorNode:
		return "found an anchor or alias"
	case *ast.TagNode:
		return "found a tag"
	case *ast.LiteralNode:
		return "found a block of text"
	}
	return "found " + quoteShort(n.GetToken().Value)
}

func quoteShort(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		return strconv.Quote(string(r[:most])) + "…"
	}
	return strconv.Quote(s)
}

// field is one key of a group.
type field struct {
	key  string
	line int
	node node
}

// fields are the keys of a group, each known and given once; the rest are told.
func (r *planReader) fields(n node, known ...string) map[string]field {
	var values []*ast.MappingValueNode
	switch v := n.Node.(type) {
	case *ast.MappingNode:
		values = v.Values
	case *ast.MappingValueNode:
		values = []*ast.MappingValueNode{v}
	default:
		r.fault(n.line(), n.path, n.describe(), "fields: "+strings.Join(known, ", "))
		return nil
	}
	found := map[string]field{}
	for _, v := range values {
		var key string
		line := node{Node: v}.line()
		switch k := v.Key.(type) {
		case *ast.StringNode, *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.NullNode:
			line = node{Node: k}.line()
			key = k.GetToken().Value
		default:
			r.fault(line, n.path, "found a key that is no plain word", "one of "+strings.Join(known, ", "))
			continue
		}
		path := key
		if n.path != "" {
			path = n.path + "." + key
		}
		switch {
		case !slices.Contains(known, key):
			expected := "one of " + strings.Join(known, ", ")
			if near := nearest(key, known); near != "" {
				expected += " (did you mean " + near + "?)"
			}
			r.fault(line, n.path, "unknown field "+quoteShort(key), expected)
		case found[key].key != "":
			r.fault(line, path, "field given twice", fmt.Sprintf("it once (first in line %d)", found[key].line))
		default:
			found[key] = field{key, line, node{v.Value, path}}
		}
	}
	return found
}

// nearest is the known name that a misspelt one most likely means, "" if none is near.
func nearest(name string, known []string) string {
	best, least := "", 3 // up to two letters wrong
	for _, k := range known {
		if d := editDistance(strings.ToLower(name), k); d < least && d < len(k) {
			best, least = k, d
		}
	}
	return best
}

// editDistance is the number of letters to put in, take out, change or swap (Damerau 1964,
// restricted to neighbours); it gives up at names longer than any that is known.
func editDistance(a, b string) int {
	x, y := []rune(a), []rune(b)
	if len(x) > 30 || len(y) > 30 {
		return 30
	}
	d := make([][]int, len(x)+1)
	for i := range d {
		d[i] = make([]int, len(y)+1)
		d[i][0] = i
	}
	for j := range d[0] {
		d[0][j] = j
	}
	for i := 1; i <= len(x); i++ {
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			d[i][j] = min(d[i-1][j]+1, d[i][j-1]+1, d[i-1][j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				d[i][j] = min(d[i][j], d[i-2][j-2]+1)
			}
		}
	}
	return d[len(x)][len(y)]
}

// items are the entries of a list, each with its path.
func (r *planReader) items(n node, most int, expected string) []node {
	seq, ok := n.Node.(*ast.SequenceNode)
	if !ok {
		r.fault(n.line(), n.path, n.describe(), expected)
		return nil
	}
	if len(seq.Values) > most {
		r.fault(n.line(), n.path, n.describe(), fmt.Sprintf("at most %d", most))
		return nil
	}
	out := make([]node, len(seq.Values))
	for i, v := range seq.Values {
		out[i] = node{v, fmt.Sprintf("%s[%d]", n.path, i)}
	}
	return out
}

var plainNumber = regexp.MustCompile(`^[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?$`)

// number is a plain decimal number in [low, high]; false and a fault otherwise.
func (r *planReader) number(n node, low, high float64, what string) (float64, bool) {
	expected := fmt.Sprintf("%s from %v to %v", what, low, high)
	switch v := n.Node.(type) {
	case *ast.IntegerNode, *ast.FloatNode, *ast.InfinityNode, *ast.NanNode:
	case *ast.StringNode:
		// An unquoted 090 or 1_000 comes as text or as another number; it is judged below.
		if t := v.Token.Type; t == token.DoubleQuoteType || t == token.SingleQuoteType {
			expected += ", without quotes"
			r.fault(n.line(), n.path, n.describe(), expected)
			return 0, false
		}
	default:
		r.fault(n.line(), n.path, n.describe(), expected)
		return 0, false
	}
	text := n.GetToken().Value
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !plainNumber.MatchString(text) || !(v >= low && v <= high) {
		r.fault(n.line(), n.path, n.describe(), expected)
		return 0, false
	}
	return v, true
}

// length is a length in the file's units, given back in metres and bounded in metres.
func (r *planReader) length(n node, lowM, highM float64) (float64, bool) {
	unit := "metres"
	switch r.unitM {
	case feetM:
		unit = "feet"
	case paceM:
		unit = "paces"
	}
	v, ok := r.number(n, math.Ceil(lowM/r.unitM), math.Floor(highM/r.unitM), "a number of "+unit)
	return v * r.unitM, ok
}

// text is a scalar as it stands, quoted or not.
func (r *planReader) text(n node, most int, expected string) (string, bool) {
	switch n.Node.(type) {
	case *ast.StringNode, *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
	default:
		r.fault(n.line(), n.path, n.describe(), expected)
		return "", false
	}
	s := strings.TrimSpace(n.GetToken().Value)
	unprintable := strings.ContainsFunc(s, func(c rune) bool { return !unicode.IsPrint(c) })
	if s == "" || unprintable || utf8.RuneCountInString(s) > most {
		r.fault(n.line(), n.path, n.describe(), fmt.Sprintf("%s of 1 to %d printable characters", expected, most))
		return "", false
	}
	return s, true
}

func (r *planReader) point(n node) (Point, bool) {
	v := r.numbers(n, 2, "[x, y]")
	if v == nil {
		return Point{}, false
	}
	return Point{v[0], v[1]}, true
}

// numbers are the two or three lengths of a place.
func (r *planReader) numbers(n node, count int, expected string) []float64 {
	seq, ok := n.Node.(*ast.SequenceNode)
	if !ok || len(seq.Values) != count {
		r.fault(n.line(), n.path, n.describe(), expected)
		return nil
	}
	v := make([]float64, count)
	good := true
	for i := range v {
		low, high := -float64(maxCoordinateM), float64(maxCoordinateM)
		if i == 2 {
			low, high = -maxLevelM, maxLevelM
		}
		var ok bool
		v[i], ok = r.length(node{seq.Values[i], n.path}, low, high)
		good = good && ok
	}
	if !good {
		return nil
	}
	return v
}

// hostile says why data is refused before the parser sees it, with the line.
func hostile(data []byte) (line int, found, expected string) {
	if len(data) > maxPlanBytes {
		return 0, fmt.Sprintf("found %d bytes", len(data)), fmt.Sprintf("a plan of at most %d", maxPlanBytes)
	}
	line = 1
	var structure, markers, nesting, dashes int
	atStart := true
	for _, c := range data {
		switch c {
		case '\n':
			line++
			structure++
			dashes, atStart = 0, true
			continue
		case ',', ':':
			structure++
		case '[', '{':
			structure++
			nesting++
		case ']', '}':
			nesting = max(0, nesting-1)
		case '&', '*', '!', '?', '%', '|', '>':
			markers++
		}
		switch {
		case c == 0 || c < ' ' && c != '\t' && c != '\r' || c == 0x7f:
			return line, fmt.Sprintf("found the control character 0x%02x", c), "text"
		case !atStart:
		case c == '-' || c == '?' || c == ':':
			dashes++
		case c != ' ' && c != '\t':
			atStart = false
		}
		switch {
		case nesting > maxNesting || dashes > maxNesting:
			return line, "found lists within lists beyond measure", fmt.Sprintf("at most %d levels", maxNesting)
		case structure > maxStructure:
			return line, "found more separators and lines than any plan has", fmt.Sprintf("at most %d", maxStructure)
		case markers > maxMarkers:
			return line, "found more anchors, aliases or tags than can be meant", "plain values"
		}
	}
	for l, b := 1, data; len(b) > 0; {
		c, size := utf8.DecodeRune(b)
		if c == utf8.RuneError && size == 1 {
			return l, fmt.Sprintf("found the byte 0x%02x", b[0]), "text in UTF-8"
		}
		if c == '\n' {
			l++
		}
		b = b[size:]
	}
	return 0, "", ""
}

var parserPlace = regexp.MustCompile(`^\[(\d+):\d+\] (.*)`)

// parse is the body of the one document in data; nil after a fault. The parser is not ours: should
// a file make it panic, then the file is at fault and the program goes on.
func (r *planReader) parse(data []byte) (body ast.Node) {
	defer func() {
		if recover() != nil {
			r.fault(0, "", "found something that can't be read as YAML", "a plan in YAML")
			body = nil
		}
	}()
	file, err := parser.ParseBytes(data, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		line, what := 0, "is no YAML"
		if m := parserPlace.FindStringSubmatch(err.Error()); m != nil {
			line, _ = strconv.Atoi(m[1])
			what = "can't be read as YAML: " + m[2]
		}
		r.fault(line, "", what, "a plan in YAML")
		return nil
	}
	for _, doc := range file.Docs {
		if doc.Body == nil {
			continue
		}
		if body != nil {
			r.fault(node{Node: doc.Body}.line(), "", "found a second document", "one plan in a file")
			return nil
		}
		body = doc.Body
	}
	if body == nil {
		r.fault(0, "", "the file is empty", "plan: "+planFormat+" and obstacles")
	}
	return body
}

func (r *planReader) read(data []byte) *Plan {
	if line, found, expected := hostile(data); found != "" {
		r.fault(line, "", found, expected)
		return nil
	}
	body := r.parse(bytes.TrimPrefix(data, []byte("\uFEFF")))
	if body == nil {
		return nil
	}
	top := r.fields(node{Node: body}, "plan", "name", "units", "anchor", "arena", "levels", "home", "gate",
		"speed", "start", "finish", "obstacles", "route", "lines")
	if top == nil {
		return nil
	}
	given := func(key string) (node, bool) {
		f, ok := top[key]
		return f.node, ok && !f.node.isNull()
	}

	if n, ok := given("plan"); !ok {
		r.fault(1, "plan", "the field is missing", planFormat)
	} else if s, ok := r.text(n, maxNameRunes, planFormat); ok && s != planFormat {
		r.fault(n.line(), n.path, n.describe(), planFormat)
	}
	// Units first: they hold for all lengths, wherever the file names them.
	if n, ok := given("units"); ok {
		r.units(n)
	}

	p := &Plan{}
	if n, ok := given("name"); ok {
		p.Name, _ = r.text(n, maxNameRunes, "a name")
	}
	if n, ok := given("anchor"); ok {
		p.Anchor = r.anchor(n)
	}
	if n, ok := given("arena"); ok {
		p.Arena = r.arena(n)
	}
	if n, ok := given("levels"); ok {
		p.Levels = r.levels(n)
	}
	if n, ok := given("home"); ok {
		if at, ok := r.point(n); ok {
			p.Home = &at
		}
	}
	if n, ok := given("gate"); ok {
		if at, ok := r.point(n); ok {
			p.Gate = &at
		}
	}
	if n, ok := given("speed"); ok {
		p.SpeedMMin, _ = r.number(n, minSpeedMMin, maxSpeedMMin, "m/min")
	}
	if n, ok := given("start"); ok {
		p.Start = r.gateLine(n)
	}
	if n, ok := given("finish"); ok {
		p.Finish = r.gateLine(n)
	}

	obstacles, ok := given("obstacles")
	if !ok {
		r.fault(1, "obstacles", "the field is missing", "a list of obstacles")
		return nil
	}
	lineOf := r.obstacles(obstacles, p)
	if n, ok := given("route"); ok {
		r.route(n, p, lineOf)
	} else {
		r.fault(1, "route", "the field is missing", "the ids in the order jumped")
	}
	var meant []Line
	var meantAt []int
	if n, ok := given("lines"); ok {
		meant, meantAt = r.lines(n, lineOf)
	}
	if len(r.faults) > 0 {
		return nil
	}
	p.SetLines(meant)
	r.compareWithMap(p, meant, meantAt)
	r.look(p, lineOf, top["levels"].line)
	return p
}

func (r *planReader) anchor(n node) *Anchor {
	f := r.fields(n, "latitude", "longitude", "bearing")
	if f == nil {
		return nil
	}
	var a Anchor
	good := true
	for _, v := range []struct {
		key       string
		low, high float64
		to        *float64
	}{{"latitude", -90, 90, &a.At.LatDeg}, {"longitude", -180, 180, &a.At.LonDeg}, {"bearing", 0, 360, &a.BearingDeg}} {
		g, ok := f[v.key]
		if !ok {
			r.fault(n.line(), n.path+"."+v.key, "the field is missing", "degrees")
			good = false
			continue
		}
		*v.to, ok = r.number(g.node, v.low, v.high, "degrees")
		good = good && ok
	}
	if !good {
		return nil
	}
	a.BearingDeg = math.Mod(a.BearingDeg, 360)
	return &a
}

func (r *planReader) arena(n node) []Point {
	faults := len(r.faults)
	var out []Point
	for _, it := range r.items(n, maxArenaPoints, "a list of corners [x, y]") {
		at, _ := r.point(it)
		out = append(out, at)
	}
	if len(r.faults) > faults {
		return nil
	}
	// A ring may close itself by its first corner, as maps often do.
	if k := len(out); k > 1 && out[0] == out[k-1] {
		out = out[:k-1]
	}
	r.checkRing(n.line(), n.path, out)
	return out
}

// checkRing tells what keeps corners from being a boundary.
func (r *planReader) checkRing(line int, field string, corners []Point) {
	switch i, j := crossingSides(corners); {
	case len(corners) < 3:
		r.fault(line, field, fmt.Sprintf("found a ring of %d corners", len(corners)), "three corners or more")
	case thin(corners):
		r.fault(line, field, "the corners lie on a line", "corners round a ground")
	case i >= 0:
		r.fault(line, field, fmt.Sprintf("side %d crosses side %d", i+1, j+1), "corners in order round the arena")
	}
}

func (r *planReader) levels(n node) []Spot {
	var out []Spot
	for _, it := range r.items(n, maxLevels, "a list of spot heights [x, y, z]") {
		if v := r.numbers(it, 3, "a spot height [x, y, z]"); v != nil {
			out = append(out, Spot{v[0], v[1], v[2]})
		}
	}
	return out
}

func (r *planReader) gateLine(n node) *[2]Point {
	const expected = "two ends [[x, y], [x, y]]"
	items := r.items(n, 2, expected)
	if items == nil {
		return nil
	}
	if len(items) != 2 {
		r.fault(n.line(), n.path, n.describe(), expected)
		return nil
	}
	a, okA := r.point(items[0])
	b, okB := r.point(items[1])
	if !okA || !okB {
		return nil
	}
	if a == b {
		r.fault(n.line(), n.path, "both ends are the same place", expected)
		return nil
	}
	return &[2]Point{a, b}
}

// obstacles fills p.Obstacles and gives the line of every id.
func (r *planReader) obstacles(n node, p *Plan) map[string]int {
	lineOf := map[string]int{}
	items := r.items(n, maxObstacles, "a list of obstacles")
	if _, list := n.Node.(*ast.SequenceNode); list && len(items) == 0 {
		r.fault(n.line(), n.path, n.describe(), "one obstacle or more")
	}
	for _, it := range items {
		f := r.fields(it, "id", "kind", "at", "facing", "height", "spread", "width")
		if f == nil {
			continue
		}
		var o Obstacle
		for _, key := range []string{"id", "kind", "at", "facing"} {
			if _, ok := f[key]; !ok {
				r.fault(it.line(), it.path+"."+key, "the field is missing",
					map[string]string{"id": "a name such as 7a", "kind": "one of " + kindList(), "at": "[x, y]", "facing": "degrees from 0 to 360"}[key])
			}
		}
		if g, ok := f["id"]; ok {
			if id, ok := r.text(g.node, maxIDRunes, "a name such as 7a"); ok {
				if first, twice := lineOf[id]; twice {
					r.fault(g.node.line(), g.node.path, "id "+quoteShort(id)+" given twice", fmt.Sprintf("every id once (first in line %d)", first))
				} else {
					lineOf[id] = g.node.line()
				}
				o.ID = id
			}
		}
		if g, ok := f["kind"]; ok {
			if s, ok := r.text(g.node, maxNameRunes, "one of "+kindList()); ok {
				o.Kind = Kind(s)
				if !slices.Contains(Kinds(), o.Kind) {
					expected := "one of " + kindList()
					var known []string
					for _, k := range Kinds() {
						known = append(known, string(k))
					}
					if near := nearest(s, known); near != "" {
						expected += " (did you mean " + near + "?)"
					}
					r.fault(g.node.line(), g.node.path, "unknown kind "+quoteShort(s), expected)
				}
			}
		}
		if g, ok := f["at"]; ok {
			o.At, _ = r.point(g.node)
		}
		if g, ok := f["facing"]; ok {
			v, _ := r.number(g.node, 0, 360, "degrees")
			o.FacingDeg = math.Mod(v, 360)
		}
		if g, ok := f["height"]; ok && !g.node.isNull() {
			o.HeightM, _ = r.number(g.node, 0, maxHeightM, "metres")
		}
		if g, ok := f["spread"]; ok && !g.node.isNull() {
			o.SpreadM, _ = r.number(g.node, 0, maxSpreadM, "metres")
		}
		o.WidthM = UsualWidthM
		if g, ok := f["width"]; ok && !g.node.isNull() {
			if v, ok := r.length(g.node, 0, maxWidthM); ok && v > 0 {
				o.WidthM = v
			} else if ok {
				r.fault(g.node.line(), g.node.path, g.node.describe(), "a width above zero")
			}
		}
		p.Obstacles = append(p.Obstacles, o)
	}
	return lineOf
}

func (r *planReader) route(n node, p *Plan, lineOf map[string]int) {
	items := r.items(n, maxRoute, "a list of ids in the order jumped")
	pole := map[string]bool{}
	for _, o := range p.Obstacles {
		pole[o.ID] = o.Kind == Pole
	}
	for _, it := range items {
		id, ok := r.knownID(it, lineOf)
		if ok && !pole[id] {
			p.Route = append(p.Route, id)
		}
	}
	if _, list := n.Node.(*ast.SequenceNode); list && len(p.Route) == 0 && len(r.faults) == 0 {
		r.fault(n.line(), n.path, "no obstacle is jumped", "one id or more that is no pole")
	}
}

// knownID is an id that the list of obstacles has.
func (r *planReader) knownID(n node, lineOf map[string]int) (string, bool) {
	id, ok := r.text(n, maxIDRunes, "the id of an obstacle")
	if !ok {
		return "", false
	}
	if _, ok := lineOf[id]; !ok {
		ids := make([]string, 0, len(lineOf))
		for k := range lineOf {
			ids = append(ids, k)
		}
		slices.SortFunc(ids, func(a, b string) int { return lineOf[a] - lineOf[b] })
		more := ""
		if len(ids) > 30 {
			ids, more = ids[:30], ", …"
		}
		r.fault(n.line(), n.path, "no obstacle has the id "+quoteShort(id), "one of "+strings.Join(ids, ", ")+more)
		return "", false
	}
	return id, true
}

// lines are what the plan says of ways, and the line of the file for each.
func (r *planReader) lines(n node, lineOf map[string]int) ([]Line, []int) {
	var out []Line
	var at []int
	for _, it := range r.items(n, maxRoute, "a list of lines") {
		f := r.fields(it, "from", "to", "kind", "walked")
		if f == nil {
			continue
		}
		var l Line
		for _, v := range []struct {
			key string
			to  *string
		}{{"from", &l.From}, {"to", &l.To}} {
			g, ok := f[v.key]
			if !ok {
				r.fault(it.line(), it.path+"."+v.key, "the field is missing", "the id of an obstacle")
				continue
			}
			*v.to, _ = r.knownID(g.node, lineOf)
		}
		if g, ok := f["kind"]; ok && !g.node.isNull() {
			expected := "one of " + lineKindList()
			if s, ok := r.text(g.node, maxNameRunes, expected); ok {
				l.Kind = LineKind(s)
				if !slices.Contains(lineKinds(), l.Kind) {
					r.fault(g.node.line(), g.node.path, "unknown kind "+quoteShort(s), expected)
				}
			}
		}
		if g, ok := f["walked"]; ok && !g.node.isNull() {
			if v, ok := r.length(g.node, 0, maxWalkedM); ok && v > 0 {
				l.WalkedM = &v
			} else if ok {
				r.fault(g.node.line(), g.node.path, g.node.describe(), "a distance above zero")
			}
		}
		if i := slices.IndexFunc(out, func(o Line) bool { return o.From == l.From && o.To == l.To && l.From != "" && l.To != "" }); i >= 0 {
			r.fault(it.line(), it.path, fmt.Sprintf("the way from %s to %s given twice", l.From, l.To), fmt.Sprintf("it once (first in line %d)", at[i]))
		}
		out = append(out, l)
		at = append(at, it.line())
	}
	return out, at
}

// lineKinds are the kinds that a plan may give a line.
func lineKinds() []LineKind { return []LineKind{Related, Bending, Rollback, Combination, Single} }

func lineKindList() string { return join(lineKinds()) }

func kindList() string { return join(Kinds()) }

func join[T ~string](words []T) string {
	s := make([]string, len(words))
	for i, w := range words {
		s[i] = string(w)
	}
	return strings.Join(s, ", ")
}

// compareWithMap warns of lines that the route does not have and of tapes that the map doubts.
func (r *planReader) compareWithMap(p *Plan, meant []Line, at []int) {
	for i, m := range meant {
		name := "line " + m.From + "-" + m.To
		j := slices.IndexFunc(p.Lines, func(l Line) bool { return l.From == m.From && l.To == m.To })
		if j < 0 {
			r.warn(at[i], name, "the route never goes from "+m.From+" to "+m.To, "what the plan says of this way is not used", "")
			continue
		}
		if l := p.Lines[j]; l.WalkedM != nil {
			if why := l.disagrees(); why != "" {
				r.warn(at[i], name, fmt.Sprintf("walked %.2f m but %.2f m by the map", *l.WalkedM, l.MapM), why, "")
			}
		}
	}
}

// disagrees says why tape and map do not belong together; "" if they do. A bending line or rollback
// may have been walked along its track, so there only a tape that is too short is wrong.
func (l Line) disagrees() string {
	d := *l.WalkedM - l.MapM
	apart := math.Abs(d) > walkedDiffersM || math.Abs(d) > walkedDiffersRel*l.MapM
	if !apart || d > 0 && l.Kind != Related && l.Kind != Combination {
		return ""
	}
	return "they differ by more than 0.3 m or 3 %; the walked distance is believed"
}

// look warns of what can be read but can hardly be meant.
func (r *planReader) look(p *Plan, lineOf map[string]int, levelsLine int) {
	for _, o := range p.Obstacles {
		name := "obstacle " + o.ID
		if p.Arena != nil && !inside(p.Arena, o.At) {
			r.warn(lineOf[o.ID], name, fmt.Sprintf("stands outside the arena, at [%.2f, %.2f]", o.At.X, o.At.Y), "a place or the boundary is wrong", "")
		}
		if o.SpreadM == 0 && (o.Kind == Oxer || o.Kind == TripleBar || o.Kind == Water || o.Kind == Ditch) {
			r.warn(lineOf[o.ID], name, "is a spread obstacle without a spread", "distances to and from it are measured from its middle", "")
		}
	}
	if len(p.Levels) > 0 {
		if why := flatBecause(p.Levels); why != "" {
			r.warn(levelsLine, "levels", why, "no slope can be told", "")
		}
	}
}
