package serve

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"mime/multipart"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/cmd/serve/rides"
	"groundline/report"
	"groundline/report/keep"
)

// part is one part of a form: a file where it has a name, else a field.
type part struct{ field, file, content string }

func formOf(t *testing.T, parts ...part) (kind string, body []byte) {
	t.Helper()
	var out bytes.Buffer
	w := multipart.NewWriter(&out)
	for _, p := range parts {
		to, err := w.CreateFormField(p.field)
		if p.file != "" {
			to, err = w.CreateFormFile(p.field, p.file)
		}
		require.NoError(t, err)
		_, err = to.Write([]byte(p.content))
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return w.FormDataContentType(), out.Bytes()
}

// sent posts a form and gives the answer without following where it leads.
func sent(t *testing.T, url string, parts ...part) (*http.Response, string) {
	t.Helper()
	kind, body := formOf(t, parts...)
	return does(t, http.MethodPost, url, kind, body)
}

func does(t *testing.T, method, url, kind string, body []byte) (*http.Response, string) {
	t.Helper()
	r, err := http.NewRequest(method, url, bytes.NewReader(body))
	require.NoError(t, err)
	r.Header.Set("Content-Type", kind)
	if len(body) > 1<<20 { // ask before sending what may be refused unread
		r.Header.Set("Expect", "100-continue")
	}
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	a, err := client.Do(r)
	require.NoError(t, err)
	defer a.Body.Close()
	text, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	return a, string(text)
}

func demoParts(t *testing.T) []part {
	files := demoFiles(t)
	return []part{{"file", "ride.gpx", string(files["ride.gpx"])}, {"file", "motion.csv", string(files["motion.csv"])}}
}

// withStore gives the store of a site.
func withStore(to **keep.Store) func(*testing.T, *Options) {
	return func(_ *testing.T, o *Options) { *to = o.Store }
}

// nothingIncoming holds that no file lies in the store that is part of no ride.
func nothingIncoming(t *testing.T, store *keep.Store) {
	t.Helper()
	require.Eventually(t, func() bool {
		files := 0
		require.NoError(t, filepath.WalkDir(filepath.Join(store.Dir(), "incoming"), func(name string, e os.DirEntry, err error) error {
			if err == nil && !e.IsDir() && !strings.HasSuffix(name, ".lock") {
				files++
			}
			return nil
		}))
		return files == 0
	}, 5*time.Second, 10*time.Millisecond, "files lie in incoming")
}

func TestRideIsTaken(t *testing.T) {
	var store *keep.Store
	web := site(t, withStore(&store))
	c := keptCourse(t, store)

	// Fields before and after the files; horse and course by name, small and capital letters alike.
	parts := append([]part{{"horse", "", "Birch"}}, demoParts(t)...)
	a, text := sent(t, web.URL+"/api/1/rides", append(parts, part{"course", "", strings.ToUpper(c.Name)}, part{"label", "", "lesson"}, part{"note", "", "two\r\nlines"})...)
	require.Equal(t, http.StatusCreated, a.StatusCode, text)
	require.Equal(t, "/api/1/rides/1", a.Header.Get("Location"))
	var ride rides.RideJSON
	require.NoError(t, json.Unmarshal([]byte(text), &ride))
	require.False(t, *ride.Already)
	require.Equal(t, "Birch", *ride.Horse)
	require.Equal(t, c.ID, *ride.CourseID)
	require.Equal(t, "lesson", ride.Label)
	require.Equal(t, "two\nlines", ride.Note)
	require.Len(t, ride.Files, 2)
	_, err := store.Wait(t.Context(), 1)
	require.NoError(t, err)

	// The same again is that ride.
	a, text = sent(t, web.URL+"/api/1/rides", append([]part{{"horse", "", "Other"}}, demoParts(t)...)...)
	require.Equal(t, http.StatusOK, a.StatusCode, text)
	require.NoError(t, json.Unmarshal([]byte(text), &ride))
	require.True(t, *ride.Already)
	require.Equal(t, "Birch", *ride.Horse)
	require.NotNil(t, ride.Told)
	require.Equal(t, 8, ride.Told.Jumped)

	// The debrief is the command's, byte by byte; the files are those that came.
	d, err := store.Debrief(t.Context(), 1)
	require.NoError(t, err)
	var want bytes.Buffer
	require.NoError(t, report.JSON(&want, d))
	for _, path := range []string{"/api/1/rides/1/debrief", "/rides/1/debrief.json"} {
		status, got := got(t, web.URL+path)
		require.Equal(t, http.StatusOK, status)
		require.Equal(t, want.String(), got)
	}
	for _, path := range []string{"/api/1/rides/1/files/2", "/rides/1/files/2"} {
		a, text := does(t, http.MethodGet, web.URL+path, "", nil)
		require.Equal(t, http.StatusOK, a.StatusCode)
		require.Equal(t, string(demoFiles(t)["motion.csv"]), text)
		require.Equal(t, `attachment; filename="motion.csv"`, a.Header.Get("Content-Disposition"))
		require.Equal(t, "application/octet-stream", a.Header.Get("Content-Type"))
	}
	nothingIncoming(t, store)
}

// The debrief's page comes with its own policy, in the reader's units, and with ways to the rest.
func TestDebriefPageHasItsPolicy(t *testing.T) {
	web := site(t, withDemo)
	a, text := does(t, http.MethodGet, web.URL+"/rides/1", "", nil)
	require.Contains(t, a.Header.Get("Content-Security-Policy"), "script-src 'sha256-")
	require.Contains(t, a.Header.Get("Content-Security-Policy"), "frame-ancestors 'none'")
	require.NotContains(t, a.Header.Get("Content-Security-Policy"), "'self'")
	require.Contains(t, text, `href="/rides/1/details"`)
	r, err := http.NewRequest(http.MethodGet, web.URL+"/rides/1", nil)
	require.NoError(t, err)
	r.AddCookie(&http.Cookie{Name: "units", Value: "imperial"})
	b, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer b.Body.Close()
	imperial, err := io.ReadAll(b.Body)
	require.NoError(t, err)
	require.Contains(t, string(imperial), "ft")
	require.NotEqual(t, text, string(imperial))

	// It begins as every page does. A link shows the other units, there and in what is taken away from there; it wins over
	// what was chosen for all pages, and is no choice.
	require.Contains(t, text, `<li><a href="/" aria-current="page">Rides</a></li>`)
	require.Contains(t, text, `<a href="/rides/1?units=imperial">In feet</a>`)
	require.Contains(t, text, `<a href="/rides/1/debrief.pdf">`)
	c, feet := does(t, http.MethodGet, web.URL+"/rides/1?units=imperial", "", nil)
	require.Empty(t, c.Cookies())
	require.Contains(t, feet, `<a href="/rides/1?units=metric">In metres</a>`)
	require.Contains(t, feet, `<a href="/rides/1/debrief.pdf?units=imperial">`)
	require.Contains(t, feet, "Each, ft")
	_, text = does(t, http.MethodGet, web.URL+"/rides/1?units=furlongs", "", nil)
	require.Contains(t, text, "Each, m")
	// The switch of other pages comes back to the page without it.
	_, text = does(t, http.MethodGet, web.URL+"/?q=x&units=imperial", "", nil)
	require.Contains(t, text, `name="back" value="/?q=x"`)
	require.Contains(t, text, "Lengths in feet")
}

// Who has named nothing yet is led to where that is done, and a ride that nothing tells from others has its files' names.
func TestUnnamedRides(t *testing.T) {
	var store *keep.Store
	web := site(t, withStore(&store))
	_, text := sent(t, web.URL+"/api/1/rides", demoParts(t)[0])
	require.Contains(t, text, `"id":1`)
	_, err := store.Wait(t.Context(), 1)
	require.NoError(t, err)
	_, text = does(t, http.MethodGet, web.URL+"/rides/1", "", nil)
	require.Contains(t, text, `<a href="/rides/1/details">Details: name its horse and course</a>`)
	_, text = does(t, http.MethodGet, web.URL+"/", "", nil)
	require.Contains(t, text, `<small><bdi>ride.gpx</bdi></small>`)
	const noDay = "kept then; its files tell no day"
	require.NotContains(t, text, noDay)
	keptDemo(t, store, "Birch", "motion.csv")
	_, text = does(t, http.MethodGet, web.URL+"/", "", nil)
	require.NotContains(t, text, `<small><bdi>motion.csv</bdi></small>`)
	require.Equal(t, 1, strings.Count(text, noDay))
}

// The columns of a table that is packed are asked for as of one that is not.
func TestColumnsOfPackedTable(t *testing.T) {
	var store *keep.Store
	web := site(t, withStore(&store))
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	_, err := z.Write([]byte("clock,left,right,up\n0,1,2,9\n1,1,2,9\n2,1,2,9\n"))
	require.NoError(t, err)
	require.NoError(t, z.Close())
	_, text := sent(t, web.URL+"/api/1/rides", part{"file", "motion.csv.gz", packed.String()})
	require.Contains(t, text, `"id":1`)
	_, err = store.Wait(t.Context(), 1)
	require.NoError(t, err)
	_, text = does(t, http.MethodGet, web.URL+"/rides/1", "", nil)
	require.Contains(t, text, `<option value="4">4 up</option>`)
	require.Contains(t, text, `name="column_az" required>`)
	require.Contains(t, text, `name="column_gz">`)
}

// Every form in which a debrief may be taken away is one.
func TestDebriefIsTakenAway(t *testing.T) {
	web := site(t, withDemo)
	for _, d := range rides.Downloads() {
		a, text := does(t, http.MethodGet, web.URL+"/rides/1/debrief."+d.Ending, "", nil)
		require.Equal(t, http.StatusOK, a.StatusCode, d.Ending)
		require.Equal(t, d.Kind, a.Header.Get("Content-Type"))
		require.Contains(t, a.Header.Get("Content-Disposition"), "attachment")
		require.Contains(t, a.Header.Get("Content-Disposition"), "."+d.Ending)
		begins := map[string]string{"pdf": "%PDF", "html": "<!doctype html>", "txt": "Low field", "png": "\x89PNG", "svg": "<", "json": "{"}[d.Ending]
		require.True(t, strings.HasPrefix(text, begins), "%s begins with %.40q", d.Ending, text)
	}
}

// What is wrong with a request is told with its status, and leaves nothing behind.
func TestFaultyHandIns(t *testing.T) {
	var store *keep.Store
	web := site(t, withStore(&store), func(_ *testing.T, o *Options) { o.MaxUploadBytes = 1000 })
	many := []part{{"file", "a.csv", "x"}}
	for i := range 120 {
		many = append(many, part{"note", "", fmt.Sprint(i)})
	}
	for name, c := range map[string]struct {
		parts  []part
		status int
		says   string
	}{
		"no file":          {[]part{{"horse", "", "Birch"}}, 400, "no file was chosen"},
		"empty file":       {[]part{{"file", "ride.gpx", ""}}, 400, "ride.gpx: the file is empty"},
		"one of two empty": {[]part{{"file", "a.csv", "x"}, {"file", "ride.gpx", ""}}, 400, "ride.gpx: the file is empty"},
		"too large":        {[]part{{"file", "a.csv", strings.Repeat("x", 1001)}}, 413, "expected less"},
		"two too large":    {[]part{{"file", "a.csv", strings.Repeat("x", 600)}, {"file", "b.csv", strings.Repeat("y", 600)}}, 413, "expected less"},
		"far too large":    {[]part{{"file", "a.csv", strings.Repeat("x", 2<<20)}}, 413, "expected less"},
		"unknown field":    {[]part{{"file", "a.csv", "x"}, {"hors", "", "Birch"}}, 400, "no such field"},
		"long field":       {[]part{{"file", "a.csv", "x"}, {"note", "", strings.Repeat("x", (8<<10)+1)}}, 400, "note: longer"},
		"too many":         {many, 400, "more than"},
		"no such horse":    {[]part{{"file", "a.csv", "x"}, {"horse_id", "", "7"}}, 400, "horse_id: 7"},
		"no such course":   {[]part{{"file", "a.csv", "x"}, {"course_id", "", "7"}}, 400, "course_id: 7"},
		"no such name":     {[]part{{"file", "a.csv", "x"}, {"course", "", "Nowhere"}}, 400, "Nowhere"},
		"no such version":  {[]part{{"file", "a.csv", "x"}, {"course_version_id", "", "7"}}, 400, "not kept"},
		"no number":        {[]part{{"file", "a.csv", "x"}, {"course_id", "", "x"}}, 400, "expected a number"},
		"bad columns":      {[]part{{"file", "a.csv", "x"}, {"columns", "", "t=1"}}, 400, "columns"},
		"bad horse":        {[]part{{"file", "a.csv", "x"}, {"horse", "", strings.Repeat("B", 81)}}, 400, "horse"},
	} {
		a, text := sent(t, web.URL+"/api/1/rides", c.parts...)
		require.Equal(t, c.status, a.StatusCode, "%s: %s", name, text)
		require.Equal(t, "application/problem+json", a.Header.Get("Content-Type"), name)
		require.Contains(t, text, c.says, name)
		a, text = sent(t, web.URL+"/rides", c.parts...)
		require.Equal(t, c.status, a.StatusCode, name)
		require.Contains(t, a.Header.Get("Content-Type"), "text/html", name)
		require.Contains(t, text, "</html>", name)
	}
	a, _ := does(t, http.MethodPost, web.URL+"/api/1/rides", "application/json", []byte("{}"))
	require.Equal(t, http.StatusUnsupportedMediaType, a.StatusCode)
	_, _, total, err := store.Rides(t.Context(), keep.Filter{})
	require.NoError(t, err)
	require.Zero(t, total)
	nothingIncoming(t, store)
}

// A request that is cut off midway leaves nothing behind.
func TestClientGone(t *testing.T) {
	var store *keep.Store
	web := site(t, withStore(&store))
	kind, body := formOf(t, demoParts(t)...)
	for _, n := range []int{10, 300, len(body) / 2, len(body) - 3} {
		c, err := net.Dial("tcp", strings.TrimPrefix(web.URL, "http://"))
		require.NoError(t, err)
		fmt.Fprintf(c, "POST /api/1/rides HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: %s\r\nContent-Length: %d\r\n\r\n", kind, len(body))
		_, err = c.Write(body[:n])
		require.NoError(t, err)
		require.NoError(t, c.Close())
	}
	nothingIncoming(t, store)
	_, _, total, err := store.Rides(t.Context(), keep.Filter{})
	require.NoError(t, err)
	require.Zero(t, total)
}

// Rides are asked for by number, filtered, page by page, changed and removed.
func TestRideInterface(t *testing.T) {
	var store *keep.Store
	web := site(t, unworked, withStore(&store))
	c := keptCourse(t, store)
	for i := range 7 {
		a, text := sent(t, web.URL+"/api/1/rides", part{"file", "a.csv", fmt.Sprint(i)}, part{"horse", "", []string{"Birch", "Elm"}[i%2]}, part{"label", "", fmt.Sprintf("ride %d", i)})
		require.Equal(t, http.StatusCreated, a.StatusCode, text)
	}
	list := func(query string) (ids []int64, out rides.RidesJSON) {
		t.Helper()
		status, text := got(t, web.URL+"/api/1/rides"+query)
		require.Equal(t, http.StatusOK, status, text)
		require.NoError(t, json.Unmarshal([]byte(text), &out))
		for _, r := range out.Rides {
			ids = append(ids, r.ID)
		}
		return ids, out
	}
	ids, out := list("?limit=4")
	require.Equal(t, []int64{7, 6, 5, 4}, ids)
	require.Equal(t, 7, out.Total)
	ids, out = list("?limit=4&before=" + *out.Next)
	require.Equal(t, []int64{3, 2, 1}, ids)
	require.Nil(t, out.Next)
	ids, _ = list("?horse_id=2")
	require.Equal(t, []int64{6, 4, 2}, ids)
	ids, _ = list("?q=elm+3")
	require.Equal(t, []int64{4}, ids)
	ids, _ = list("?id=3&id=99&id=5")
	require.Equal(t, []int64{3, 5}, ids)
	ids, _ = list("?state=ready")
	require.Empty(t, ids)
	ids, _ = list("?to=2001-01-01")
	require.Empty(t, ids)
	for _, q := range []string{"?limit=0", "?limit=x", "?state=x", "?from=yesterday", "?before=x", "?horse_id=x", "?id=x"} {
		status, _ := got(t, web.URL+"/api/1/rides"+q)
		require.Equal(t, http.StatusBadRequest, status, q)
	}
	for path, status := range map[string]int{"/api/1/rides/99": 404, "/api/1/rides/x": 404, "/api/1/rides/1/files/2": 404, "/api/1/rides/1/files/0": 404, "/api/1/rides/1/debrief": 409} {
		got, text := got(t, web.URL+path)
		require.Equal(t, status, got, path)
		require.Contains(t, text, `"status"`)
	}

	patch := func(body string) (int, rides.RideJSON) {
		t.Helper()
		a, text := does(t, http.MethodPatch, web.URL+"/api/1/rides/1", "application/json", []byte(body))
		var r rides.RideJSON
		if a.StatusCode == http.StatusOK {
			require.NoError(t, json.Unmarshal([]byte(text), &r))
		}
		return a.StatusCode, r
	}
	status, r := patch(fmt.Sprintf(`{"course_id": %d, "note": "good"}`, c.ID))
	require.Equal(t, http.StatusOK, status)
	require.Equal(t, c.VersionID, *r.CourseVersionID)
	require.Equal(t, "Birch", *r.Horse, "what is not named stays")
	require.Equal(t, "good", r.Note)
	status, r = patch(`{"horse": "Ash", "course_id": null}`)
	require.Equal(t, http.StatusOK, status)
	require.Equal(t, "Ash", *r.Horse)
	require.Nil(t, r.Course)
	status, r = patch(`{"horse": null, "label": null}`)
	require.Equal(t, http.StatusOK, status)
	require.Nil(t, r.HorseID)
	require.Empty(t, r.Label)
	for _, body := range []string{"", "[]", "{", `{"x": 1}`, `{"note": {}}`, `{"horse_id": 77}`, `{"horse_id": 1.5}`, `{} {}`} {
		status, _ := patch(body)
		require.Equal(t, http.StatusBadRequest, status, body)
	}
	a, _ := does(t, http.MethodPatch, web.URL+"/api/1/rides/1", "text/plain", []byte("{}"))
	require.Equal(t, http.StatusUnsupportedMediaType, a.StatusCode)

	a, _ = does(t, http.MethodDelete, web.URL+"/api/1/rides/1", "", nil)
	require.Equal(t, http.StatusNoContent, a.StatusCode)
	a, _ = does(t, http.MethodDelete, web.URL+"/api/1/rides/1", "", nil)
	require.Equal(t, http.StatusNotFound, a.StatusCode)
}

// Pages say what is kept with every name escaped, and hold what was found to the address.
func TestRidePages(t *testing.T) {
	var store *keep.Store
	web := site(t, unworked, withStore(&store))
	const evil = `<script>alert(1)</script>"'&\u202e`
	a, text := sent(t, web.URL+"/rides", part{"file", evil + ".csv", "x"}, part{"horse", "", "<b>Birch"}, part{"label", "", "\"><img src=x>"}, part{"note", "", "</textarea><script>"})
	require.Equal(t, http.StatusSeeOther, a.StatusCode, text)
	require.Equal(t, "/rides/1", a.Header.Get("Location"))
	require.Contains(t, a.Header.Get("Set-Cookie"), "last=1.0;")
	for _, path := range []string{"/", "/rides/1", "/rides/1/details", "/rides/1/remove", "/rides/1/understood", "/?q=%3Cscript%3E"} {
		status, text := got(t, web.URL+path)
		require.Equal(t, http.StatusOK, status, path)
		for _, bad := range []string{"<script>", "<b>Birch", "<img"} {
			require.NotContains(t, text, bad, path)
		}
		require.Contains(t, text, "</html>")
	}
	a, _ = does(t, http.MethodGet, web.URL+"/rides", "", nil)
	require.Equal(t, "/", a.Header.Get("Location"))
	for _, path := range []string{"/rides/2", "/rides/-1", "/rides/1/files/7", "/rides/99999999999999999999/details", "/rides/2/debrief.pdf"} {
		status, _ := got(t, web.URL+path)
		require.Equal(t, http.StatusNotFound, status, path)
	}
	for _, path := range []string{"/?from=x", "/?state=x", "/?before=x", "/?horse_id=-1"} {
		status, _ := got(t, web.URL+path)
		require.Equal(t, http.StatusBadRequest, status, path)
	}
	a, _ = does(t, http.MethodGet, web.URL+"/rides/1/debrief.pdf", "", nil)
	require.Equal(t, http.StatusConflict, a.StatusCode, "not worked out yet")
}

// Files that can't be one ride are made rides of their own.
func TestTakenApart(t *testing.T) {
	var store *keep.Store
	web := site(t, withStore(&store))
	files := demoFiles(t)
	a, text := sent(t, web.URL+"/rides", part{"file", "ride.gpx", string(files["ride.gpx"])}, part{"file", "photo.jpg", "\xff\xd8\xff"}, part{"horse", "", "Birch"})
	require.Equal(t, http.StatusSeeOther, a.StatusCode, text)
	r, err := store.Wait(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, keep.Refused, r.State)
	for _, path := range []string{"/rides/1", "/rides/1/details"} {
		_, text = got(t, web.URL+path)
		require.Contains(t, text, "Make each file its own ride")
	}
	a, text = does(t, http.MethodPost, web.URL+"/rides/1/apart", "application/x-www-form-urlencoded", nil)
	require.Equal(t, http.StatusSeeOther, a.StatusCode, text)
	for id, want := range map[int64]keep.State{2: keep.Ready, 3: keep.Refused} {
		r, err = store.Wait(t.Context(), id)
		require.NoError(t, err)
		require.Equal(t, want, r.State)
		require.Equal(t, "Birch", r.Horse)
	}
	_, err = store.Ride(t.Context(), 1)
	require.ErrorIs(t, err, keep.ErrNotFound)
	a, _ = does(t, http.MethodPost, web.URL+"/rides/2/apart", "application/x-www-form-urlencoded", nil)
	require.Equal(t, http.StatusConflict, a.StatusCode, "one file can't be taken apart")
}

// The course that was found in a ride is kept to be corrected.
func TestFoundPlanIsKept(t *testing.T) {
	var store *keep.Store
	web := site(t, withStore(&store))
	sent(t, web.URL+"/rides", demoParts(t)...)
	_, err := store.Wait(t.Context(), 1)
	require.NoError(t, err)
	_, text := got(t, web.URL+"/rides/1/details")
	require.Contains(t, text, "Keep the plan found in this ride")
	a, text := does(t, http.MethodPost, web.URL+"/rides/1/plan", "application/x-www-form-urlencoded", nil)
	require.Equal(t, http.StatusSeeOther, a.StatusCode, text)
	require.Equal(t, "/courses/1/edit", a.Header.Get("Location"))
	_, err = store.Course(t.Context(), 1)
	require.NoError(t, err)
}

// The invented round is kept once, however often it is tried.
func TestDemoIsKeptOnce(t *testing.T) {
	var store *keep.Store
	web := site(t, withStore(&store))
	for range 2 {
		a, text := does(t, http.MethodPost, web.URL+"/demo", "application/x-www-form-urlencoded", nil)
		require.Equal(t, http.StatusSeeOther, a.StatusCode, text)
		require.Equal(t, "/rides/1", a.Header.Get("Location"))
	}
	courses, err := store.Courses(t.Context())
	require.NoError(t, err)
	require.Len(t, courses, 1)
	r, err := store.Wait(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, keep.Ready, r.State, r.Why)
	_, text := got(t, web.URL)
	require.NotContains(t, text, `action="/demo"`, "somebody who has rides needs no invented one")
}

// Fifty at once are all kept, each of them once.
func TestFiftyAtOnce(t *testing.T) {
	var store *keep.Store
	web := site(t, unworked, withStore(&store))
	var all sync.WaitGroup
	for i := range 50 {
		all.Go(func() {
			kind, body := formOf(t, part{"file", fmt.Sprintf("%d.csv", i), strings.Repeat(fmt.Sprint(i), 10_000)}, part{"horse", "", "Birch"})
			a, err := http.Post(web.URL+"/api/1/rides", kind, bytes.NewReader(body))
			if err != nil || a.StatusCode != http.StatusCreated {
				t.Errorf("ride %d: %v %v", i, a, err)
				return
			}
			a.Body.Close()
		})
	}
	all.Wait()
	_, _, total, err := store.Rides(t.Context(), keep.Filter{})
	require.NoError(t, err)
	require.Equal(t, 50, total)
	horses, err := store.Horses(t.Context())
	require.NoError(t, err)
	require.Len(t, horses, 1)
	nothingIncoming(t, store)
}

// Of ten thousand rides every page of the list, narrowed in any way, is answered within 100 ms.
func TestListOfManyRidesIsSoon(t *testing.T) {
	if testing.Short() {
		t.Skip("ten thousand rides take some seconds to write")
	}
	web := site(t, withMany)
	for _, path := range []string{"/", "/?horse_id=7", "/?course_id=1", "/?q=horse+birch", "/?q=motion", "/?from=2025-01-01&to=2025-06-01", "/?state=refused", "/?before=1700000000000-5000", "/api/1/rides", "/api/1/rides?limit=1000"} {
		best := time.Hour
		for range 5 {
			from := processorTime(t)
			status, _ := got(t, web.URL+path)
			best = min(best, processorTime(t)-from)
			require.Equal(t, http.StatusOK, status)
		}
		t.Logf("%-36s %v", path, best.Round(100*time.Microsecond))
		require.Less(t, best, 100*time.Millisecond, path)
	}
	_, text := got(t, web.URL)
	require.Contains(t, text, "10000 kept")
}

// A ride stays with the version of the course that was ridden until somebody says otherwise; then it is worked out anew.
func TestVersionOfTheCourse(t *testing.T) {
	var store *keep.Store
	web := site(t, withDemo, withStore(&store))
	ride, err := store.Ride(t.Context(), 1)
	require.NoError(t, err)
	plan, _, err := store.Plan(t.Context(), ride.CourseVersionID)
	require.NoError(t, err)
	plan.SpeedMMin = 400
	newer, err := store.SaveCourse(t.Context(), ride.CourseID, plan)
	require.NoError(t, err)
	require.Equal(t, 2, newer.Version)
	_, text := got(t, web.URL+"/rides/1/details")
	require.Contains(t, text, "version 1, as now")
	require.Contains(t, text, "version 2, the newest")
	say := func(fields string) {
		t.Helper()
		a, text := does(t, http.MethodPost, web.URL+"/rides/1/details", "application/x-www-form-urlencoded", []byte(fields))
		require.Equal(t, http.StatusSeeOther, a.StatusCode, text)
		require.Equal(t, "/rides/1/details?said=saved", a.Header.Get("Location"))
	}
	say(fmt.Sprintf("horse_id=%d&course_version_id=%d&note=good", ride.HorseID, ride.CourseVersionID))
	ride, err = store.Ride(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, keep.Ready, ride.State, "a note alone changes no figure")
	require.Equal(t, "good", ride.Note)
	say(fmt.Sprintf("horse_id=new&horse=Elm&course_version_id=%d", newer.VersionID))
	ride, err = store.Wait(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, newer.VersionID, ride.CourseVersionID)
	require.Equal(t, "Elm", ride.Horse)
	_, text = got(t, web.URL+"/rides/1/details")
	require.NotContains(t, text, "the newest")
	_, text = got(t, web.URL+"/rides/1/details?said=saved")
	require.Contains(t, text, "Saved.")
	_, text = got(t, web.URL+"/?said=%3Cb%3Ewords")
	require.NotContains(t, text, "words</p>", "nobody writes on the page by its address")
}

// A debrief whose copy was lost is made anew for whoever asks; one that takes long is made once for all who ask, and they are
// told to wait.
func TestDebriefIsMadeAnew(t *testing.T) {
	var store *keep.Store
	web := site(t, withDemo, withStore(&store))
	_, before := got(t, web.URL+"/rides/1")
	require.NoError(t, os.RemoveAll(filepath.Join(store.Dir(), "worked", "1")))
	require.Eventually(t, func() bool {
		status, after := got(t, web.URL+"/rides/1")
		require.Equal(t, http.StatusOK, status)
		if strings.Contains(after, "Working it out anew") { // the machine is busy
			return false
		}
		require.Equal(t, before, after)
		return true
	}, time.Minute, 100*time.Millisecond)
}
