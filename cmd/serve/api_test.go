package serve

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"log/slog"
	"maps"
	"math/rand/v2"
	"mime"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"groundline/cmd/serve/guard"
	"groundline/course"
	"groundline/report/keep"
)

// description is openapi.yaml as programs get it in one piece.
func description(t *testing.T) map[string]any {
	t.Helper()
	data, err := openAPIJSON(apiFiles)
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	require.NoError(t, err)
	return doc.(map[string]any)
}

// The description is an OpenAPI 3.1 document, each schema in it is one, and nothing refers to what is not there.
func TestDescriptionIsOpenAPI(t *testing.T) {
	meta, err := jsonschema.NewCompiler().Compile("testdata/openapi/schema-3.1.json")
	require.NoError(t, err)
	doc := description(t)
	require.NoError(t, meta.Validate(doc))

	c := compiler(t, doc)
	schemas := 0
	walk(doc, "#", func(at string, v map[string]any) {
		if s, ok := v["schema"]; ok && !strings.HasPrefix(at, "#/components/schemas/") {
			schemas++
			_, isMap := s.(map[string]any)
			require.True(t, isMap, at)
			_, err := c.Compile(docURL + at + "/schema")
			require.NoError(t, err, at)
		}
		if ref, ok := v["$ref"].(string); ok {
			require.NotNil(t, resolve(doc, ref), "%s refers to %s, which is not there", at, ref)
		}
	})
	for name := range under(doc, "components", "schemas") {
		schemas++
		_, err := c.Compile(docURL + "#/components/schemas/" + name)
		require.NoError(t, err, name)
	}
	require.Greater(t, schemas, 20)

	// And can fail: a document with a fault in a corner is told.
	under(doc, "components", "parameters", "Limit")["in"] = "nowhere"
	require.Error(t, meta.Validate(doc))
}

const docURL = "urn:groundline:openapi"

func compiler(t *testing.T, doc map[string]any) *jsonschema.Compiler {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	c.AssertFormat()
	require.NoError(t, c.AddResource(docURL, doc))
	return c
}

// walk visits every object below v with its JSON pointer, in order.
func walk(v any, at string, visit func(at string, v map[string]any)) {
	switch v := v.(type) {
	case map[string]any:
		visit(at, v)
		for _, k := range slices.Sorted(maps.Keys(v)) {
			walk(v[k], at+"/"+url.PathEscape(escape(k)), visit)
		}
	case []any:
		for i, inner := range v {
			walk(inner, fmt.Sprintf("%s/%d", at, i), visit)
		}
	}
}

func escape(key string) string {
	return strings.NewReplacer("~", "~0", "/", "~1").Replace(key)
}

// under is the object at a place.
func under(doc map[string]any, path ...string) map[string]any {
	for _, k := range path {
		doc, _ = doc[k].(map[string]any)
	}
	return doc
}

// resolve is what a reference within the document leads to; nil for nothing.
func resolve(doc map[string]any, ref string) any {
	var v any = doc
	for key := range strings.SplitSeq(strings.TrimPrefix(ref, "#/"), "/") {
		key = strings.NewReplacer("~1", "/", "~0", "~").Replace(key)
		switch in := v.(type) {
		case map[string]any:
			v = in[key]
		case []any:
			i, err := strconv.Atoi(key)
			if err != nil || i >= len(in) {
				return nil
			}
			v = in[i]
		default:
			return nil
		}
	}
	return v
}

// operation is one thing that the description says can be asked for.
type operation struct {
	method, path string
	params       []map[string]any
	body         map[string]any // nil: none
	responses    map[string]any
	at           string // where its responses stand, as a JSON pointer
}

func (o operation) String() string { return o.method + " " + o.path }

// operations are those of the description, in order.
func operations(t *testing.T, doc map[string]any) []operation {
	t.Helper()
	object := func(v any) map[string]any {
		m, ok := v.(map[string]any)
		require.True(t, ok, "%v", v)
		if ref, ok := m["$ref"].(string); ok {
			m, _ = resolve(doc, ref).(map[string]any)
		}
		return m
	}
	var out []operation
	paths := under(doc, "paths")
	for _, path := range slices.Sorted(maps.Keys(paths)) {
		item := under(paths, path)
		shared, _ := item["parameters"].([]any)
		for _, method := range []string{"get", "post", "put", "patch", "delete"} {
			of, ok := item[method].(map[string]any)
			if !ok {
				continue
			}
			o := operation{method: strings.ToUpper(method), path: path, responses: map[string]any{}, at: "#/paths/" + url.PathEscape(escape(path)) + "/" + method + "/responses/"}
			own, _ := of["parameters"].([]any)
			for _, p := range append(slices.Clone(shared), own...) {
				o.params = append(o.params, object(p))
			}
			if body, ok := of["requestBody"]; ok {
				o.body = object(body)
			}
			for status, r := range of["responses"].(map[string]any) {
				o.responses[status] = object(r)
			}
			out = append(out, o)
		}
	}
	return out
}

// Every address that the server answers under /api/ is described, and every one that is described is answered.
func TestEveryRouteIsDescribed(t *testing.T) {
	var described []string
	for _, o := range operations(t, description(t)) {
		described = append(described, o.String())
	}
	slices.Sort(described)
	require.Equal(t, described, registered(t))
}

// registered are the patterns under /api/ that the rooms' files hand to a mux.
func registered(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	rooms, err := filepath.Glob("*/*.go")
	require.NoError(t, err)
	var out []string
	calls := 0
	for _, name := range append(files, rooms...) {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) != 2 {
				return true
			}
			s, ok := call.Fun.(*ast.SelectorExpr)
			if !ok || s.Sel.Name != "HandleFunc" && s.Sel.Name != "Handle" {
				return true
			}
			calls++
			pattern := call.Args[0]
			whole := true
			for b, ok := pattern.(*ast.BinaryExpr); ok; b, ok = pattern.(*ast.BinaryExpr) { // what it begins with
				pattern, whole = b.X, false
			}
			lit, ok := pattern.(*ast.BasicLit)
			require.True(t, ok, "%s: a pattern that begins with no text of its own", name)
			text, err := strconv.Unquote(lit.Value)
			require.NoError(t, err)
			if strings.Contains(text, "/api/") {
				require.True(t, whole, "%s: %s: a pattern that is put together", name, text)
				out = append(out, text)
			}
			return true
		})
	}
	require.Greater(t, calls, 20, "hardly any route was found")
	slices.Sort(out)
	return out
}

// seeded is a store that has something of everything, and nobody who works on it: rides 1 and 3 are ready (the
// demo with and without its positions, by horse 1 over course 1), ride 2 refused, ride 4 waiting; horse 2 and course 2 have no rides.
type seeded struct{ dir string }

func seed(t *testing.T) seeded {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "seed")
	ctx := t.Context()
	store, err := keep.Open(ctx, dir, keep.Options{Program: "groundline test"})
	require.NoError(t, err)
	work, stop := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() { defer close(done); _ = store.Work(work, 1) }() // ends with its context
	require.EqualValues(t, 1, keptDemo(t, store, "Birch", "ride.gpx", "motion.csv"))
	kept := func(name, text string) int64 {
		r, err := store.Receive(ctx, name, strings.NewReader(text), 1<<20)
		require.NoError(t, err)
		id, _, err := store.Keep(ctx, []*keep.Received{r}, keep.About{})
		require.NoError(t, err)
		return id
	}
	ride, err := store.Wait(ctx, kept("notes.csv", "no,recording\n"))
	require.NoError(t, err)
	require.Equal(t, keep.Refused, ride.State)
	require.EqualValues(t, 2, ride.ID)
	motion, err := store.Receive(ctx, "motion.csv", bytes.NewReader(demoFiles(t)["motion.csv"]), 1<<20)
	require.NoError(t, err)
	id, _, err := store.Keep(ctx, []*keep.Received{motion}, keep.About{HorseID: 1, CourseVersionID: 1})
	require.NoError(t, err)
	ride, err = store.Wait(ctx, id)
	require.NoError(t, err)
	require.Equal(t, keep.Ready, ride.State)
	require.EqualValues(t, 3, ride.ID)
	stop()
	<-done
	require.EqualValues(t, 4, kept("later.csv", "not,yet\n"))
	horse, err := store.NameHorse(ctx, "Rowan")
	require.NoError(t, err)
	require.EqualValues(t, 2, horse)
	plan, _, err := course.ReadPlan("course.yaml", demoFiles(t)["course.yaml"])
	require.NoError(t, err)
	plan.Name = "Another"
	c, err := store.SaveCourse(ctx, 0, plan)
	require.NoError(t, err)
	require.EqualValues(t, 2, c.ID)
	require.NoError(t, store.Close())
	return seeded{dir}
}

// server is a handler over a copy of the store.
func (s seeded) server(t *testing.T) http.Handler {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "store")
	require.NoError(t, os.CopyFS(dir, os.DirFS(s.dir)))
	store, err := keep.Open(t.Context(), dir, keep.Options{Program: "groundline test"})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, store.Close()) })
	return New(Options{Store: store, Program: "groundline test", Patience: 20 * time.Millisecond, Log: slog.New(slog.NewTextHandler(testLog{t}, &slog.HandlerOptions{Level: slog.LevelWarn}))})
}

// request is one to be made.
type request struct {
	path, query map[string]string
	more        url.Values // of parameters with several values
	kind        string
	body        []byte
	what        string // that is tried
}

func (q request) with(p map[string]any, value any, what string) request {
	q.path, q.query, q.more = maps.Clone(q.path), maps.Clone(q.query), maps.Clone(q.more)
	name := p["name"].(string)
	q.what += " " + name + "=" + what
	switch list, isList := value.([]any); {
	case p["in"] == "path":
		q.path[name] = fmt.Sprint(value)
	case isList:
		for _, v := range list {
			q.more.Add(name, fmt.Sprint(v))
		}
	default:
		q.query[name] = fmt.Sprint(value)
	}
	return q
}

func (q request) make(o operation) *http.Request {
	path := o.path
	for name, v := range q.path {
		path = strings.Replace(path, "{"+name+"}", url.PathEscape(v), 1)
	}
	values := maps.Clone(q.more)
	for name, v := range q.query {
		values.Set(name, v)
	}
	if len(values) > 0 {
		path += "?" + values.Encode()
	}
	r := httptest.NewRequest(o.method, "http://127.0.0.1"+path, bytes.NewReader(q.body))
	if q.kind != "" {
		r.Header.Set("Content-Type", q.kind)
	}
	return r
}

// examplesOf are the values of example or examples, by name.
func (c *contract) examplesOf(v map[string]any) map[string]any {
	out := map[string]any{}
	if e, ok := v["example"]; ok {
		out["example"] = e
	}
	for name, e := range under(v, "examples") {
		of := e.(map[string]any)
		if ref, ok := of["$ref"].(string); ok {
			of = resolve(c.doc, ref).(map[string]any)
		}
		out[name] = of["value"]
	}
	return out
}

// requests are those that the description's examples make: with as little as it takes, then with each further example
// of each parameter and body.
func (c *contract) requests(t *testing.T, o operation) []request {
	t.Helper()
	base := request{path: map[string]string{}, query: map[string]string{}, more: url.Values{}, what: o.String()}
	var more []request
	each := func(p map[string]any, take func(name string, value any)) {
		of := c.examplesOf(p)
		require.NotEmpty(t, of, "%s: %v has no example", o, p["name"])
		for _, name := range slices.Sorted(maps.Keys(of)) {
			take(name, of[name])
		}
	}
	for _, p := range o.params {
		if p["required"] == true {
			first := true
			each(p, func(name string, v any) {
				if first {
					base = base.with(p, v, name)
				}
				first = false
			})
		}
	}
	for _, p := range o.params {
		first := p["required"] == true
		each(p, func(name string, v any) {
			if !first {
				more = append(more, base.with(p, v, name))
			}
			first = false
		})
	}
	if o.body == nil {
		return append([]request{base}, more...)
	}
	var bodies []request
	content := under(o.body, "content")
	for _, kind := range slices.Sorted(maps.Keys(content)) {
		of := c.examplesOf(under(content, kind))
		require.NotEmpty(t, of, "%s: %s has no example", o, kind)
		for _, name := range slices.Sorted(maps.Keys(of)) {
			q := base
			q.what += " " + kind + " " + name
			q.kind, q.body = encoded(t, kind, of[name])
			bodies = append(bodies, q)
		}
	}
	for i := range more {
		more[i].kind, more[i].body = bodies[0].kind, bodies[0].body
	}
	return append(bodies, more...)
}

// encoded is a body of a media type. In a form, file names those of the demo.
func encoded(t *testing.T, kind string, value any) (string, []byte) {
	t.Helper()
	if kind != "multipart/form-data" {
		if text, ok := value.(string); ok && !strings.HasSuffix(kind, "json") {
			return kind, []byte(text)
		}
		data, err := json.Marshal(value)
		require.NoError(t, err)
		return kind, data
	}
	var b bytes.Buffer
	form := multipart.NewWriter(&b)
	fields := value.(map[string]any)
	for _, name := range slices.Sorted(maps.Keys(fields)) {
		names, isFiles := fields[name].([]any)
		if !isFiles {
			require.NoError(t, form.WriteField(name, fmt.Sprint(fields[name])))
			continue
		}
		for _, n := range names {
			part, err := form.CreateFormFile(name, n.(string))
			require.NoError(t, err)
			_, err = part.Write(demoFiles(t)[n.(string)])
			require.NoError(t, err)
		}
	}
	require.NoError(t, form.Close())
	return form.FormDataContentType(), b.Bytes()
}

// contract holds answers to what the description says of them.
type contract struct {
	doc      map[string]any
	compiler *jsonschema.Compiler
	known    map[string]*jsonschema.Schema
}

func newContract(t *testing.T) *contract {
	doc := description(t)
	closed(under(doc, "components", "schemas"))
	return &contract{doc, compiler(t, doc), map[string]*jsonschema.Schema{}}
}

// closed has objects with known fields have no others, so that no field goes undescribed. The layouts of the
// commands are held to that by tests of their own.
func closed(schemas map[string]any) {
	for _, s := range schemas {
		if title, _ := s.(map[string]any)["title"].(string); strings.HasPrefix(title, "groundline ") {
			continue
		}
		walk(s, "", func(_ string, v map[string]any) {
			_, some := v["properties"].(map[string]any)
			if _, said := v["additionalProperties"]; some && !said && v["type"] != nil {
				v["additionalProperties"] = false
			}
		})
	}
}

// check fails on an answer that is not described.
func (c *contract) check(t *testing.T, o operation, what string, a *http.Response) {
	t.Helper()
	body, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	status := strconv.Itoa(a.StatusCode)
	said, ok := o.responses[status].(map[string]any)
	require.True(t, ok, "%s: %s is not among its answers\n%s", what, status, body)
	for name, h := range under(said, "headers") {
		h := h.(map[string]any)
		if ref, ok := h["$ref"].(string); ok {
			h = resolve(c.doc, ref).(map[string]any)
		}
		if h["required"] == true {
			require.NotEmpty(t, a.Header.Get(name), "%s: %s: no %s", what, status, name)
		}
	}
	content := under(said, "content")
	if content == nil {
		require.Empty(t, body, "%s: %s has a body", what, status)
		return
	}
	kind, _, err := mime.ParseMediaType(a.Header.Get("Content-Type"))
	require.NoError(t, err, "%s: %s", what, status)
	require.Contains(t, content, kind, "%s: %s", what, status)
	if !strings.HasSuffix(kind, "json") {
		require.NotEmpty(t, body, what)
		return
	}
	where := o.at + status
	if ref, ok := under(c.doc, "paths", o.path, strings.ToLower(o.method), "responses", status)["$ref"].(string); ok {
		where = ref
	}
	where += "/content/" + url.PathEscape(escape(kind)) + "/schema"
	s := c.known[where]
	if s == nil {
		s, err = c.compiler.Compile(docURL + where)
		require.NoError(t, err, where)
		c.known[where] = s
	}
	value, err := jsonschema.UnmarshalJSON(bytes.NewReader(body))
	require.NoError(t, err, "%s: %s\n%s", what, status, body)
	require.NoError(t, s.Validate(value), "%s: %s\n%.2000s", what, status, body)
}

func ask(h http.Handler, r *http.Request) *http.Response {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w.Result()
}

// Every example of the description is answered as it says, what changes something over a store of its own; and each operation
// succeeds with at least one of them.
func TestExamplesAreAnswered(t *testing.T) {
	seeds, c := seed(t), newContract(t)
	asked := 0
	for _, o := range operations(t, c.doc) {
		t.Run(o.String(), func(t *testing.T) {
			succeeded := false
			h := seeds.server(t)
			for _, q := range c.requests(t, o) {
				if o.method != http.MethodGet {
					succeeded = c.try(t, seeds.server(t), o, q) || succeeded
					continue
				}
				succeeded = c.try(t, h, o, q) || succeeded
				// The same by HEAD, but for the body; and by its tag, where it has one.
				whole, r := ask(h, q.make(o)), q.make(o)
				r.Method = http.MethodHead
				head := ask(h, r)
				require.Equal(t, whole.StatusCode, head.StatusCode, q.what)
				require.Equal(t, whole.Header.Get("Content-Type"), head.Header.Get("Content-Type"), q.what)
				if tag := whole.Header.Get("ETag"); tag != "" {
					r := q.make(o)
					r.Header.Set("If-None-Match", tag)
					same := ask(h, r)
					require.Equal(t, http.StatusNotModified, same.StatusCode, q.what)
					c.check(t, o, q.what+" by its tag", same)
				}
				asked++
			}
			require.True(t, succeeded, "no example of it succeeds")
		})
	}
	require.Greater(t, asked, 20)
}

func (c *contract) try(t *testing.T, h http.Handler, o operation, q request) (succeeded bool) {
	t.Helper()
	a := ask(h, q.make(o))
	c.check(t, o, q.what, a)
	return a.StatusCode < 300
}

// Requests with faults, one at a time, are answered as described, and never by 500.
func TestFaultsAreAnswered(t *testing.T) {
	seeds, c := seed(t), newContract(t)
	strange := []any{"", " ", "0", "-1", "+1", "01", "1.0", "1e3", "9223372036854775807", "9223372036854775808", "99999999999999999999999", "0x1", "١", "null", "true",
		"x", "..", "../up", "a\x00b", "\xff\xfe", "\u202e", "%00", "<script>", "'; DROP TABLE ride; --", "2026-13-45", "9999-12-31", "0000-00-00", "2026-01-01T00:00:00Z",
		strings.Repeat("9", 300), strings.Repeat("1,", 5000) + "1", strings.Repeat("x", 5000)}
	for _, o := range operations(t, c.doc) {
		t.Run(o.String(), func(t *testing.T) {
			h := seeds.server(t)
			first := c.requests(t, o)[0]
			try := func(q request, wanted ...int) {
				t.Helper()
				a := ask(h, q.make(o))
				require.NotEqual(t, http.StatusInternalServerError, a.StatusCode, q.what)
				if wanted != nil {
					require.Contains(t, wanted, a.StatusCode, q.what)
				}
				c.check(t, o, q.what, a)
			}
			for _, p := range o.params {
				for _, v := range strange {
					try(first.with(p, v, fmt.Sprintf("%.40q", v)))
				}
				schema := under(p, "schema")
				switch {
				case p["in"] == "path" && schema["type"] == "integer":
					try(first.with(p, 999_999, "none"), http.StatusNotFound)
					try(first.with(p, "x", "x"), http.StatusNotFound)
				case p["in"] == "query" && (schema["type"] == "integer" || schema["enum"] != nil):
					try(first.with(p, "surely not", "surely not"), http.StatusBadRequest)
				}
			}
			if o.body != nil {
				json := strings.HasSuffix(first.kind, "json")
				for _, b := range []string{"", "{", "[]", "null", `"x"`, "1", `{"a":`, `{"schema":1}`, "\x00\xff", strings.Repeat("[", 20_000), `{"label":{"x":[]}}`, `{"horse_id":1e400}`, `{"horse_id":-1}`, `{"horse_id":"1"}`} {
					q := first
					q.body, q.what = []byte(b), fmt.Sprintf("%s body %.40q", o, b)
					if json {
						try(q)
					} else {
						try(q, http.StatusBadRequest, http.StatusUnprocessableEntity)
					}
				}
				for _, kind := range []string{"", "text/plain", "application/octet-stream", "multipart/form-data", "multipart/form-data; boundary=\"", "application/json; charset=utf-16", "x"} {
					q := first
					q.kind, q.what = kind, fmt.Sprintf("%s as %q", o, kind)
					try(q)
				}
			}
			// Too long a query, and methods that are none of its.
			r := first.make(o)
			r.URL.RawQuery = "x=" + strings.Repeat("y", (68<<10))
			a := ask(h, r)
			require.Equal(t, http.StatusRequestURITooLong, a.StatusCode)
			c.check(t, o, o.String()+" too long", a)
			for _, method := range []string{"PUT", "TRACE", "PROPFIND"} {
				if under(c.doc, "paths", o.path)[strings.ToLower(method)] != nil {
					continue
				}
				r := first.make(o)
				r.Method = method
				a := ask(h, r)
				require.Equal(t, http.StatusMethodNotAllowed, a.StatusCode, "%s %s", method, o.path)
				require.Contains(t, strings.Split(a.Header.Get("Allow"), ", "), o.method)
				require.Equal(t, "application/problem+json", a.Header.Get("Content-Type"))
			}
		})
	}
}

// Requests at random, drawn from what the description says of their parameters and from what it does not, are answered as
// described, and never by 500.
func TestRandomRequestsAreAnswered(t *testing.T) {
	seeds, c := seed(t), newContract(t)
	draw := rand.New(rand.NewPCG(20261125, 7))
	letters := []rune("0123456789-,:TZ.xX/%&=+ \"'é馬\u202e\x00{}[]")
	text := func() string {
		b := make([]rune, draw.IntN(12))
		for i := range b {
			b[i] = letters[draw.IntN(len(letters))]
		}
		return string(b)
	}
	value := func(schema map[string]any) any {
		if enum, ok := schema["enum"].([]any); ok && draw.IntN(4) > 0 {
			return enum[draw.IntN(len(enum))]
		}
		switch draw.IntN(4) {
		case 0:
			return draw.IntN(5)
		case 1:
			return int64(draw.Uint64())
		}
		return text()
	}
	for _, o := range operations(t, c.doc) {
		t.Run(o.String(), func(t *testing.T) {
			h := seeds.server(t)
			firsts := c.requests(t, o)
			for range 80 {
				q := firsts[draw.IntN(len(firsts))]
				for _, p := range o.params {
					if draw.IntN(2) == 0 {
						v := value(under(p, "schema"))
						q = q.with(p, v, fmt.Sprintf("%q", fmt.Sprint(v)))
					}
				}
				if o.body != nil && draw.IntN(2) == 0 {
					q.body = mangled(draw, q.body)
					q.what += fmt.Sprintf(" body %.300q", q.body)
				}
				a := ask(h, q.make(o))
				require.NotEqual(t, http.StatusInternalServerError, a.StatusCode, q.what)
				c.check(t, o, q.what, a)
			}
		})
	}
}

// mangled is a body with some bytes changed, left out or twice.
func mangled(draw *rand.Rand, body []byte) []byte {
	b := slices.Clone(body)
	for range 1 + draw.IntN(3) {
		if len(b) == 0 {
			break
		}
		i := draw.IntN(len(b))
		switch draw.IntN(4) {
		case 0:
			b[i] = byte(draw.Uint32())
		case 1:
			b = b[:i]
		case 2:
			b = slices.Delete(b, i, min(len(b), i+1+draw.IntN(8)))
		case 3:
			b = slices.Insert(b, i, b[max(0, i-draw.IntN(8)):i]...)
		}
	}
	return b
}

// What is none of the interface's addresses is told as a problem.
func TestOtherAddressesAreProblems(t *testing.T) {
	h := seed(t).server(t)
	for _, path := range []string{"/api/", "/api/1", "/api/1/", "/api/2/rides", "/api/1/rides/", "/api/1/rides/1/", "/api/1/rides/1/nothing", "/api/1/Rides", "/api/schema/..%2fopenapi.yaml", "/api/schema/none.json"} {
		a := ask(h, httptest.NewRequest(http.MethodGet, "http://127.0.0.1"+path, nil))
		require.Equal(t, http.StatusNotFound, a.StatusCode, path)
		require.Equal(t, "application/problem+json", a.Header.Get("Content-Type"), path)
		var p struct {
			Title, Detail string
			Status        int
		}
		require.NoError(t, json.NewDecoder(a.Body).Decode(&p))
		require.Equal(t, http.StatusNotFound, p.Status)
		require.NotEmpty(t, p.Detail)
		require.True(t, utf8.ValidString(p.Detail))
	}
}

// What the guard before the interface answers is among what the description says may befall any request; and who sends
// the passcode is answered as if there were no guard.
func TestGuardsAnswersAreDescribed(t *testing.T) {
	const passcode = "a grey mare over the wall"
	hash, err := guard.Hash(passcode)
	require.NoError(t, err)
	door, err := guard.New(guard.Options{Open: OpenToAll, Uploading: BringsFiles})
	require.NoError(t, err)
	require.NoError(t, door.SetPasscode(hash))
	seeds, c := seed(t), newContract(t)
	problem, err := c.compiler.Compile(docURL + "#/components/schemas/Problem")
	require.NoError(t, err)
	words := under(c.doc, "components", "responses", "Other")["description"].(string)
	all := operations(t, c.doc)
	for i, o := range all {
		require.Contains(t, o.responses, "default", "%s says nothing of what may befall any request", o)
		server := httptest.NewUnstartedServer(nil)
		server.Config = door.Server(seeds.server(t))
		server.Start()
		q := c.requests(t, o)[0]
		for _, tried := range []struct {
			status int
			change func(*http.Request)
		}{
			{http.StatusUnauthorized, func(*http.Request) {}},
			{http.StatusForbidden, func(r *http.Request) {
				r.Header.Set("Sec-Fetch-Site", "cross-site")
				r.Header.Set("Origin", "https://elsewhere.example")
			}},
			{http.StatusMisdirectedRequest, func(r *http.Request) { r.Host = "elsewhere.example" }},
			{0, func(r *http.Request) { r.Header.Set("Authorization", "Bearer "+passcode) }},
			{http.StatusUnauthorized, func(r *http.Request) { r.Header.Set("Authorization", "Bearer wrong") }},
		} {
			if r := q.make(o); i < len(all)-1 && tried.status == http.StatusUnauthorized {
				if tried.change(r); r.Header.Get("Authorization") != "" {
					continue // wrong passcodes slow down the right one: once, at the end
				}
			}
			r := q.make(o)
			r.RequestURI, r.URL.Host, r.Host = "", server.Listener.Addr().String(), server.Listener.Addr().String()
			tried.change(r)
			a, err := server.Client().Do(r)
			require.NoError(t, err)
			defer a.Body.Close()
			if tried.status == 0 {
				c.check(t, o, q.what+" with the passcode", a)
				require.Contains(t, a.Header.Get("Cache-Control"), "no-store", o)
				continue
			}
			require.Equal(t, tried.status, a.StatusCode, o)
			require.Contains(t, words, strconv.Itoa(a.StatusCode)+":")
			require.Equal(t, "application/problem+json", a.Header.Get("Content-Type"), o)
			body, err := jsonschema.UnmarshalJSON(a.Body)
			require.NoError(t, err)
			require.NoError(t, problem.Validate(body))
		}
		server.Close()
	}
}

// Whoever lost an answer sends the request once more: the same files are the same ride, in whatever order, at the same
// moment too.
func TestKeepingTwiceIsKeepingOnce(t *testing.T) {
	h, c := seed(t).server(t), newContract(t)
	var post operation
	for _, o := range operations(t, c.doc) {
		if o.String() == "POST /api/1/rides" {
			post = o
		}
	}
	form := func(files ...any) *http.Request {
		q := request{}
		q.kind, q.body = encoded(t, "multipart/form-data", map[string]any{"label": "lost", "file": files})
		return q.make(post)
	}
	answers := make(chan *httptest.ResponseRecorder, 4)
	for i := range cap(answers) {
		files := []any{"ride.gpx", "course.yaml"}
		if i%2 == 1 {
			slices.Reverse(files)
		}
		r := form(files...)
		go func() {
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			answers <- w
		}()
	}
	made := 0
	var id int64
	kept := func(w *httptest.ResponseRecorder) {
		var ride struct {
			ID      int64
			Already bool
		}
		require.NoError(t, json.Unmarshal(w.Body.Bytes(), &ride))
		c.check(t, post, "keeping twice", w.Result())
		require.Equal(t, w.Code == http.StatusOK, ride.Already)
		require.True(t, id == 0 || id == ride.ID)
		id = ride.ID
		if w.Code == http.StatusCreated {
			made++
		}
	}
	for range cap(answers) {
		kept(<-answers)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, form("ride.gpx", "course.yaml"))
	kept(w)
	require.Equal(t, 1, made)
}
