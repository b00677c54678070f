package serve

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report/keep"
	"groundline/report/sketch"
	"groundline/trace/testkit/chrome"
)

// askedOf sends a body and gives the answer.
func askedOf(t *testing.T, address, kind, body string) (status int, header http.Header, answer string) {
	t.Helper()
	r, err := http.Post(address, kind, strings.NewReader(body))
	require.NoError(t, err)
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	return r.StatusCode, r.Header, string(b)
}

// demoFields are the demo's course as an editor sends it.
func demoFields(t *testing.T) (*course.Plan, string) {
	t.Helper()
	p, _, err := course.ReadPlan("course.yaml", demoFiles(t)["course.yaml"])
	require.NoError(t, err)
	fields, err := json.Marshal(sketch.FieldsOf(p))
	require.NoError(t, err)
	return p, string(fields)
}

// What the server says of a drawn plan is what the package below says, for each way to name a horse.
func TestSketchIsThePackages(t *testing.T) {
	server := site(t)
	p, fields := demoFields(t)
	for choice, h := range map[string]course.Horse{
		`{}`:                    course.Profiles()[0].Horse(),
		`{"size":"small pony"}`: course.Profiles()[4].Horse(),
		`{"file":` + asJSONText(t, string(course.WriteHorse(course.Profiles()[2].Horse()))) + `}`: horseOf(t, course.WriteHorse(course.Profiles()[2].Horse())),
	} {
		status, header, body := askedOf(t, server.URL+"/api/1/plan/sketch", "application/json", `{"plan":`+fields+`,"horse":`+choice+`}`)
		require.Equal(t, 200, status, body)
		require.Equal(t, "application/json", header.Get("Content-Type"))
		s, err := sketch.Of(p, h, nil)
		require.NoError(t, err)
		var want bytes.Buffer
		require.NoError(t, sketch.Write(&want, s))
		require.Equal(t, want.String(), body)
	}
	status, _, body := askedOf(t, server.URL+"/api/1/plan/sketch", "application/json", `{"plan":`+fields+`,"horse":{"stride_m":3.4}}`)
	require.Equal(t, 200, status, body)
	var told sketch.Sketch
	require.NoError(t, json.Unmarshal([]byte(body), &told))
	require.InDelta(t, 3.4, told.Horse.StrideM.Value, 1e-9)
}

func asJSONText(t *testing.T, s string) string {
	t.Helper()
	b, err := json.Marshal(s)
	require.NoError(t, err)
	return string(b)
}

func horseOf(t *testing.T, file []byte) course.Horse {
	t.Helper()
	h, err := course.ReadHorse("horse", file)
	require.NoError(t, err)
	return h
}

// What can't be answered is a problem that says what was found and what was expected; never a panic.
func TestPlanProblems(t *testing.T) {
	server := site(t)
	_, fields := demoFields(t)
	for _, c := range []struct {
		what, path, body string
		status           int
		says             string
	}{
		{"no JSON", "sketch", "plan: groundline/1", 400, "expected one JSON object"},
		{"nothing", "sketch", "", 400, "expected one JSON object"},
		{"no plan", "sketch", "{}", 422, "found no JSON"},
		{"null", "sketch", `{"plan":null}`, 422, "found nothing"},
		{"an unknown field", "sketch", `{"plan":` + fields + `,"hurry":1}`, 400, "hurry"},
		{"faults", "sketch", `{"plan":{"plan":"groundline/1","obstacles":[{"id":"1","kind":"oxxer","at":[1,2],"facing":0}],"route":["1"]}}`, 422, `"field":"obstacles[0].kind"`},
		{"an unknown size", "sketch", `{"plan":` + fields + `,"horse":{"size":"elephant"}}`, 400, "small pony"},
		{"a stride of nobody", "sketch", `{"plan":` + fields + `,"horse":{"stride_m":80}}`, 400, "expected 1 to 8 metres"},
		{"a stride below zero", "sketch", `{"plan":` + fields + `,"horse":{"stride_m":-3}}`, 400, "expected 1 to 8 metres"},
		{"a broken horse file", "sketch", `{"plan":` + fields + `,"horse":{"file":"horse: groundline/1\nstride: many"}}`, 400, "stride"},
		{"too much", "sketch", `{"plan":"` + strings.Repeat("x", 1<<20) + `"}`, 413, "MB"},
		{"a recording", "read", `<?xml version="1.0"?><gpx></gpx>`, 422, "XML"},
		{"faults by line", "read", "plan: groundline/1\nobstacles: []\nroute: []\n", 422, `"line":2`},
		{"an unknown format", "write", `{"plan":` + fields + `,"format":"docx"}`, 400, "expected yaml, geojson, pdf or svg"},
		{"a course that is not there", "save", `{"plan":` + fields + `,"course":77}`, 404, "nothing here"},
	} {
		status, header, body := askedOf(t, server.URL+"/api/1/plan/"+c.path, "application/json", c.body)
		require.Equal(t, c.status, status, "%s: %s", c.what, body)
		require.Equal(t, "application/problem+json", header.Get("Content-Type"), c.what)
		require.Contains(t, body, c.says, c.what)
	}
	without := strings.Replace(fields, `"anchor":{"latitude":47.5,"longitude":-15.25,"bearing":24}`, `"anchor":null`, 1)
	require.NotEqual(t, fields, without)
	status, _, body := askedOf(t, server.URL+"/api/1/plan/write", "application/json", `{"plan":`+without+`,"format":"geojson"}`)
	require.Equal(t, 422, status)
	require.Contains(t, body, "anchor")
	for _, path := range []string{"/courses/0/edit", "/courses/x/edit", "/courses/99999999999999999999/edit", "/courses/5/edit", "/api/1/plan/horse/9", "/api/1/plan/horse/x"} {
		status, _ := got(t, server.URL+path)
		require.Equal(t, 404, status, path)
	}
}

// Files come in and go out by name and type, and are the command's bytes.
func TestPlanFiles(t *testing.T) {
	server := site(t)
	p, fields := demoFields(t)
	for format, kind := range map[string]string{"yaml": "application/yaml", "geojson": "application/geo+json", "pdf": "application/pdf", "svg": "image/svg+xml"} {
		status, header, body := askedOf(t, server.URL+"/api/1/plan/write", "application/json", `{"plan":`+fields+`,"format":"`+format+`"}`)
		require.Equal(t, 200, status, format)
		require.Equal(t, kind, header.Get("Content-Type"))
		require.Contains(t, header.Get("Content-Disposition"), `attachment; filename="Low field, an invented course.`+format+`"`)
		switch format {
		case "yaml":
			require.Equal(t, string(course.WritePlan(p)), body)
		case "geojson":
			want, err := course.WriteGeoJSON(p)
			require.NoError(t, err)
			require.Equal(t, string(want), body)
		}
		if format == "yaml" || format == "geojson" {
			status, _, read := askedOf(t, server.URL+"/api/1/plan/read", "text/plain", body)
			require.Equal(t, 200, status, read)
			require.Contains(t, read, `"comments":false`)
		}
	}
	status, _, body := askedOf(t, server.URL+"/api/1/plan/read", "text/plain", string(demoFiles(t)["course.yaml"])+"# a comment\n")
	require.Equal(t, 200, status)
	require.Contains(t, body, `"comments":true`)
}

// A plan is kept over the version that it began with, else somebody is asked.
func TestPlanIsSavedOverWhatItBeganWith(t *testing.T) {
	var store *keep.Store
	server := site(t, func(t *testing.T, opt *Options) { store = opt.Store })
	p, fields := demoFields(t)
	save := func(fields, rest string) (int, map[string]any) {
		t.Helper()
		status, _, body := askedOf(t, server.URL+"/api/1/plan/save", "application/json", `{"plan":`+fields+rest+`}`)
		var v map[string]any
		require.NoError(t, json.Unmarshal([]byte(body), &v))
		return status, v
	}
	status, first := save(fields, "")
	require.Equal(t, 200, status)
	require.Equal(t, 1.0, first["course"])
	second := strings.Replace(fields, "Low field", "High field", 1)
	status, kept := save(second, fmt.Sprintf(`,"course":1,"base":%q`, first["base"]))
	require.Equal(t, 200, status)
	third := strings.Replace(fields, "Low field", "Far field", 1)
	status, conflict := save(third, fmt.Sprintf(`,"course":1,"base":%q`, first["base"]))
	require.Equal(t, 409, status)
	require.Equal(t, kept["base"], conflict["base"], "who goes on knows what over")
	require.Equal(t, "High field, an invented course", conflict["name"])
	status, _ = save(second, fmt.Sprintf(`,"course":1,"base":%q`, first["base"]))
	require.Equal(t, 200, status, "the same again is no conflict")
	status, _ = save(third, fmt.Sprintf(`,"course":1,"base":%q`, conflict["base"]))
	require.Equal(t, 200, status)

	// The same by form.
	text := string(course.WritePlan(p))
	form := func(over string) (int, string, string) {
		t.Helper()
		client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
		r, err := client.PostForm(server.URL+"/courses/1/edit", url.Values{"text": {text}, "do": {"save"}, "base": {fmt.Sprint(first["base"]) + "0"}, "over": {over}})
		require.NoError(t, err)
		defer r.Body.Close()
		b, err := io.ReadAll(r.Body)
		require.NoError(t, err)
		return r.StatusCode, r.Header.Get("Location"), string(b)
	}
	status, _, page := form("")
	require.Equal(t, 409, status)
	require.Contains(t, page, "Somebody saved this course meanwhile")
	status, to, _ := form("1")
	require.Equal(t, 303, status)
	require.Equal(t, "/courses/1?said=saved", to)
	now, err := store.Course(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, "Low field, an invented course", now.Name)
}

// Names that would break out of the page stay names.
func TestEditorEscapesWhatPeopleTyped(t *testing.T) {
	var store *keep.Store
	server := site(t, func(t *testing.T, opt *Options) { store = opt.Store })
	p, _ := demoFields(t)
	p.Name = `"><script>alert(1)</script>`
	kept, err := store.SaveCourse(t.Context(), 0, p)
	require.NoError(t, err)
	_, err = store.NameHorse(t.Context(), `</option><script>alert(2)</script>`)
	require.NoError(t, err)
	_, page := got(t, fmt.Sprintf("%s/courses/%d/edit", server.URL, kept.ID))
	require.NotContains(t, page, "<script>alert")
	require.Contains(t, page, "&lt;script&gt;alert(2)")
}

// A kept horse goes along as its record tells it; one without rides as its size, or not at all.
func TestKeptHorseForTheEditor(t *testing.T) {
	var store *keep.Store
	server := site(t, withDemo, func(t *testing.T, opt *Options) { store = opt.Store })
	birch, err := store.NameHorse(t.Context(), "Birch")
	require.NoError(t, err)
	status, body := got(t, fmt.Sprintf("%s/api/1/plan/horse/%d", server.URL, birch))
	require.Equal(t, 200, status, body)
	var told struct{ Name, File string }
	require.NoError(t, json.Unmarshal([]byte(body), &told))
	require.Equal(t, "Birch", told.Name)
	h := horseOf(t, []byte(told.File))
	require.NotNil(t, h.HoofLandingM, "measured at the hooves")
	_, fields := demoFields(t)
	status, _, body = askedOf(t, server.URL+"/api/1/plan/sketch", "application/json", `{"plan":`+fields+`,"horse":{"file":`+asJSONText(t, told.File)+`}}`)
	require.Equal(t, 200, status, body)
	require.Contains(t, body, `"name":"Birch"`)

	foal, err := store.NameHorse(t.Context(), "Foal")
	require.NoError(t, err)
	status, body = got(t, fmt.Sprintf("%s/api/1/plan/horse/%d", server.URL, foal))
	require.Equal(t, 409, status)
	require.Contains(t, body, "choose a size instead")
	require.NoError(t, store.SetHorse(t.Context(), keep.Horse{ID: foal, Name: "Foal", Size: "small pony"}))
	status, body = got(t, fmt.Sprintf("%s/api/1/plan/horse/%d", server.URL, foal))
	require.Equal(t, 200, status)
	require.Contains(t, body, "small pony")
}

// FuzzPlan sends anything to what reads plans: an answer, never a panic or the server's fault.
func FuzzPlan(f *testing.F) {
	store, err := keep.Open(f.Context(), filepath.Join(f.TempDir(), "store"), keep.Options{})
	require.NoError(f, err)
	f.Cleanup(func() { require.NoError(f, store.Close()) })
	h := New(Options{Store: store, Log: slog.New(slog.DiscardHandler)})
	plan := `{"plan":"groundline/1","obstacles":[{"id":"1","kind":"vertical","at":[20,20],"facing":90},{"id":"2","kind":"oxer","at":[42,20],"facing":90,"spread":0.8}],"route":["1","2"]}`
	for _, path := range []string{"sketch", "read", "write"} {
		for _, body := range []string{`{"plan":` + plan + `}`, `{"plan":` + plan + `,"horse":{"stride_m":1e308},"format":"svg","units":"imperial"}`, plan, "{", `{"plan":[],"horse":{"file":"horse: groundline/1\nsize: horse"}}`, "plan: groundline/1\nname: New course\n", "\x00\xff"} {
			f.Add(path, body)
		}
	}
	f.Fuzz(func(t *testing.T, path, body string) {
		if path != "read" && path != "write" {
			path = "sketch"
		}
		if strings.Count(body, `"id"`) > 20 {
			return
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("POST", "/api/1/plan/"+path, strings.NewReader(body)))
		require.Less(t, w.Code, 500, w.Body.String())
		if kind := w.Header().Get("Content-Type"); strings.Contains(kind, "json") && !strings.Contains(kind, "geo") {
			require.True(t, json.Valid(w.Body.Bytes()))
		}
	})
}

// The script has the same shape as the server left room for.
func TestEditorKeepsItsShape(t *testing.T) {
	server, _, kept := demoCourse(t)
	ctx := chrome.New(t)
	for _, width := range []int64{360, 1280} {
		chrome.At(t, ctx, width, "light")
		for _, path := range []string{"/courses/new", fmt.Sprintf("/courses/%d/edit", kept.ID)} {
			_, page := got(t, server.URL+path)
			before := regexp.MustCompile(`data-shape="(\d+)"`).FindStringSubmatch(page)
			require.Len(t, before, 2, path)
			chrome.Visit(t, ctx, server.URL+path)
			chrome.Until(t, ctx, `document.querySelector('#drawing .arena')`)
			require.Equal(t, before[1], chrome.JS[string](t, ctx, `document.getElementById('drawing').dataset.shape`), path)
		}
	}
}
