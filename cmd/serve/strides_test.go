package serve

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/report/keep"
	"groundline/report/table"
)

// filled is a server over a store of so many rides that were never worked out.
func filled(t testing.TB, rides int) (*httptest.Server, *keep.Store) {
	t.Helper()
	store, err := keep.Open(t.Context(), filepath.Join(t.TempDir(), "store"), keep.Options{})
	require.NoError(t, err)
	for i := range rides {
		r, err := store.Receive(t.Context(), fmt.Sprintf("ride%d.csv", i), strings.NewReader(fmt.Sprintf("not,%d\n", i)), 1<<20)
		require.NoError(t, err)
		_, _, err = store.Keep(t.Context(), []*keep.Received{r}, keep.About{Label: fmt.Sprintf("lot%d", i%10)})
		require.NoError(t, err)
	}
	server := httptest.NewServer(New(Options{Store: store, Program: "groundline test", Patience: 50 * time.Millisecond}))
	t.Cleanup(func() {
		server.Close()
		require.NoError(t, store.Close())
	})
	return server, store
}

// stridesForm is the page as a browser without a script has it: fields that are there, boxes that may be ticked.
type stridesForm struct {
	url, page string
	fields    url.Values
	boxes     []string
}

var (
	inputTag = regexp.MustCompile(`<input ([^>]*)>`)
	attrOf   = func(tag, name string) string {
		m := regexp.MustCompile(` ?` + name + `="([^"]*)"`).FindStringSubmatch(tag)
		if m == nil {
			return ""
		}
		return m[1]
	}
	tickedTag = regexp.MustCompile(` checked`)
)

func opensForm(t *testing.T, address string) *stridesForm {
	t.Helper()
	r, err := http.Get(address)
	require.NoError(t, err)
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, r.StatusCode, "%s\n%s", address, b)
	f := &stridesForm{url: r.Request.URL.String(), page: string(b), fields: url.Values{}}
	for _, m := range inputTag.FindAllStringSubmatch(f.page, -1) {
		name, kind := attrOf(m[1], "name"), attrOf(m[1], "type")
		switch {
		case name == "" || name == "back":
		case kind == "checkbox" || kind == "radio":
			if name == "ride" {
				f.boxes = append(f.boxes, attrOf(m[1], "value"))
			}
			if tickedTag.MatchString(m[1]) {
				f.fields.Add(name, attrOf(m[1], "value"))
			}
		default:
			f.fields.Set(name, attrOf(m[1], "value"))
		}
	}
	return f
}

// press is the page that a button leads to.
func (f *stridesForm) press(t *testing.T, do string) *stridesForm {
	t.Helper()
	v := url.Values{}
	for k, values := range f.fields {
		v[k] = slices.Clone(values)
	}
	v.Set("do", do)
	base, _, _ := strings.Cut(f.url, "?")
	return opensForm(t, base+"?"+v.Encode())
}

func (f *stridesForm) chosen(t *testing.T) string {
	t.Helper()
	return f.fields.Get("rides")
}

// Without a script a choice is made over several pages and filters, and stays.
func TestChoiceStaysFromPageToPage(t *testing.T) {
	server, _ := filled(t, 120)
	f := opensForm(t, server.URL+"/strides")
	require.Len(t, f.boxes, 50)
	require.Contains(t, f.page, "120 rides are kept")
	require.Equal(t, "120", f.boxes[0], "the newest first")
	require.NotContains(t, f.page, `value="newest"`)

	// Two of the first page, then one of the second, then back.
	f.fields["ride"] = []string{"120", "118"}
	f = f.press(t, "older")
	require.Equal(t, "118,120", f.chosen(t))
	require.Equal(t, "70", f.boxes[0])
	require.Contains(t, f.page, "2 rides are picked, with 0 strides; 2 of them not on this page.")
	f.fields["ride"] = []string{"70"}
	f = f.press(t, "newest")
	require.Equal(t, "70,118,120", f.chosen(t))
	require.ElementsMatch(t, []string{"120", "118"}, f.fields["ride"])
	// One is dropped by its box.
	f.fields["ride"] = []string{"120"}
	f = f.press(t, "show")
	require.Equal(t, "70,120", f.chosen(t))

	// All that a filter finds, beside what was chosen; the filter stays as well.
	f.fields.Set("q", "lot3")
	f = f.press(t, "show")
	require.Contains(t, f.page, "12 rides are found")
	require.Equal(t, "lot3", f.fields.Get("q"))
	f = f.press(t, "all")
	require.Equal(t, "4,14,24,34,44,54,64,70,74,84,94,104,114,120", f.chosen(t))
	f = f.press(t, "drop")
	require.Equal(t, "70,120", f.chosen(t))
	f = f.press(t, "pick")
	f.fields.Set("q", "")
	f = f.press(t, "show")
	require.Len(t, strings.Split(f.chosen(t), ","), 14)

	// All, on every page, and none.
	f = f.press(t, "all")
	require.Equal(t, "1-120", f.chosen(t))
	f = f.press(t, "older").press(t, "older")
	require.Equal(t, "1-120", f.chosen(t))
	require.Len(t, f.boxes, 20)
	require.Len(t, f.fields["ride"], 20)
	require.NotContains(t, f.page, `value="older"`)
	f = f.press(t, "none")
	require.Empty(t, f.chosen(t))
	require.Contains(t, f.page, "No ride is picked yet.")

	// Asked for with nothing chosen, the page says so, and nothing is sent.
	f = f.press(t, "table")
	require.Contains(t, f.page, `role="alert"`)
	require.Contains(t, f.url, "/strides?")

	// What nobody can have pressed is refused.
	for _, q := range []string{"do=x", "do=older&older=x", "do=pick&shown=x", "do=pick&ride=x", "do=pick&ride=0", "before=x", "rides=x", "format=x", "unready=x", "horse_id=x", "from=x"} {
		status, _ := got(t, server.URL+"/strides?"+q)
		require.Equal(t, http.StatusBadRequest, status, q)
	}
	status, _ := got(t, server.URL+"/strides?do=pick&shown=1-9223372036854775807")
	require.Equal(t, http.StatusOK, status, "no more than a page's are taken")
}

// Rides that are not worked out are told, and refused, waited for or left out.
func TestRidesThatAreNotReady(t *testing.T) {
	seeds := seed(t)
	h := seeds.server(t)
	page := func(path string) (int, string) {
		a := ask(h, httptest.NewRequest(http.MethodGet, "http://127.0.0.1"+path, nil))
		b, err := io.ReadAll(a.Body)
		require.NoError(t, err)
		return a.StatusCode, string(b)
	}
	status, text := page("/strides?rides=1-4")
	require.Equal(t, http.StatusOK, status)
	require.Contains(t, text, "1 of them is not worked out yet")
	require.Contains(t, text, "1 of them can't be told")

	status, text = page("/api/1/strides?rides=1-4")
	require.Equal(t, http.StatusConflict, status)
	require.Contains(t, text, "1 ride is not worked out yet")
	status, text = page("/api/1/strides?rides=1-4&unready=wait")
	require.Equal(t, http.StatusConflict, status)
	require.Contains(t, text, "still not worked out")
	status, left := page("/api/1/strides?rides=1-4&unready=leave")
	require.Equal(t, http.StatusOK, status)
	status, ready := page("/api/1/strides?rides=1-3")
	require.Equal(t, http.StatusOK, status)
	require.Equal(t, ready, left)
	require.Greater(t, strings.Count(left, "\n"), 100)
	for _, q := range []string{"rides=4&unready=leave", "rides=2"} { // nothing to leave; nothing that can be told
		status, _ = page("/api/1/strides?" + q)
		require.Equal(t, http.StatusConflict, status, q)
	}
	for _, q := range []string{"rides=5-900", "rides=", "q=none+such", "horse_id=2"} {
		status, _ = page("/api/1/strides?" + q)
		require.Equal(t, http.StatusNotFound, status, q)
	}
	for _, q := range []string{"horse=Birch", "rides=1&ride=1"} { // misspelt, these would give all rides
		status, _ = page("/api/1/strides?" + q)
		require.Equal(t, http.StatusBadRequest, status, q)
	}
	// The provenance tells the ride that gave nothing.
	status, text = page("/api/1/strides/provenance?rides=1-3")
	require.Equal(t, http.StatusOK, status)
	var of struct {
		Recordings []struct{ Rows int }
		Failed     []struct{ Why string }
	}
	require.NoError(t, json.Unmarshal([]byte(text), &of))
	require.Len(t, of.Recordings, 2)
	require.Len(t, of.Failed, 1)
	require.Contains(t, of.Failed[0].Why, "notes.csv")

	// Without places nothing tells where it was.
	for _, q := range []string{"format=csv", "format=jsonl", "format=parquet"} {
		status, text = page("/api/1/strides?rides=1-3&without_places=true&" + q)
		require.Equal(t, http.StatusOK, status)
		for _, name := range []string{"ride.gpx", "motion.csv", "Low field", "low-field", "course.yaml"} {
			require.NotContains(t, text, name, q)
		}
	}
}

// A ride that is worked out while a table waits for it is in the table.
func TestTableWaitsForItsRides(t *testing.T) {
	store := opened(t)
	worked(t, store)
	server := httptest.NewServer(New(Options{Store: store, Program: "groundline test"}))
	defer server.Close()
	for _, name := range []string{"motion.csv", "ride.gpx"} {
		r, err := store.Receive(t.Context(), name, strings.NewReader(string(demoFiles(t)[name])), 1<<20)
		require.NoError(t, err)
		_, _, err = store.Keep(t.Context(), []*keep.Received{r}, keep.About{})
		require.NoError(t, err)
	}
	status, text := got(t, server.URL+"/api/1/strides?rides=1-2&unready=wait")
	require.Equal(t, http.StatusOK, status, text)
	require.Greater(t, strings.Count(text, "\n"), 100)
}

// Nothing of a table stays behind: not when it was sent, not when who asked has gone.
func TestNothingStaysOfATable(t *testing.T) {
	store := opened(t)
	worked(t, store)
	keptDemo(t, store, "Birch", "ride.gpx", "motion.csv")
	h := New(Options{Store: store, Program: "groundline test"})
	left := func() (names []string) {
		require.NoError(t, filepath.WalkDir(filepath.Join(store.Dir(), "incoming"), func(path string, e os.DirEntry, err error) error {
			if err == nil && e.Type().IsRegular() && !strings.HasSuffix(path, ".lock") {
				names = append(names, path)
			}
			return err
		}))
		return names
	}
	require.Equal(t, http.StatusOK, ask(h, httptest.NewRequest(http.MethodGet, "http://127.0.0.1/api/1/strides", nil)).StatusCode)
	require.Empty(t, left())
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "http://127.0.0.1/api/1/strides", nil).WithContext(gone))
	require.Equal(t, http.StatusServiceUnavailable, w.Code, "an end in the middle never looks like a table")
	require.Empty(t, left())
}

// An answer is packed for who takes it, named, and short for who has it.
func TestManners(t *testing.T) {
	h := seed(t).server(t)
	get := func(path string, headers ...string) *http.Response {
		r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1"+path, nil)
		for i := 0; i < len(headers); i += 2 {
			r.Header.Add(headers[i], headers[i+1])
		}
		return ask(h, r)
	}
	body := func(a *http.Response) string {
		b, err := io.ReadAll(a.Body)
		require.NoError(t, err)
		return string(b)
	}
	plain := get("/api/1/rides/1/debrief")
	whole := body(plain)
	require.Equal(t, strconv.Itoa(len(whole)), plain.Header.Get("Content-Length"))
	tag := plain.Header.Get("ETag")
	require.NotEmpty(t, tag)
	packed := get("/api/1/rides/1/debrief", "Accept-Encoding", "br, gzip;q=0.5")
	require.Equal(t, "gzip", packed.Header.Get("Content-Encoding"))
	require.Equal(t, tag, packed.Header.Get("ETag"))
	small := body(packed)
	require.Less(t, len(small), len(whole)/3)
	for _, no := range []string{"identity", "gzip;q=0", "br", ""} {
		require.Empty(t, get("/api/1/rides/1/debrief", "Accept-Encoding", no).Header.Get("Content-Encoding"), no)
	}
	for _, have := range []string{tag, strings.TrimPrefix(tag, "W/"), `"x", ` + tag, "*"} {
		same := get("/api/1/rides/1/debrief", "If-None-Match", have)
		require.Equal(t, http.StatusNotModified, same.StatusCode, have)
		require.Empty(t, body(same))
	}
	require.Equal(t, http.StatusOK, get("/api/1/rides/1/debrief", "If-None-Match", `"x"`).StatusCode)
	require.NotEqual(t, tag, get("/api/1/rides/1").Header.Get("ETag"))
	// Errors are neither named nor packed.
	lost := get("/api/1/rides/999", "If-None-Match", "*", "Accept-Encoding", "gzip")
	require.Equal(t, http.StatusNotFound, lost.StatusCode)
	require.Empty(t, lost.Header.Get("ETag"))
}

// The page's examples do what it says, by curl, in their order.
func TestExamplesForProgramsRun(t *testing.T) {
	curl, err := exec.LookPath("curl")
	if err != nil {
		t.Skip("no curl on this machine: the examples for programs are not run")
	}
	shell, err := exec.LookPath("sh")
	if err != nil {
		t.Skip("no shell on this machine: the examples for programs are not run")
	}
	server := site(t)
	dir := t.TempDir()
	for name, data := range demoFiles(t) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o666))
	}
	_, page := got(t, server.URL+"/programs")
	examples := regexp.MustCompile(`(?s)<pre class="shell"><code>(.*?)</code></pre>`).FindAllStringSubmatch(page, -1)
	require.GreaterOrEqual(t, len(examples), 7)
	for i, m := range examples {
		line := strings.NewReplacer("&#39;", "'", "&amp;", "&", "&#34;", `"`).Replace(m[1])
		require.Contains(t, line, server.URL)
		c := exec.CommandContext(t.Context(), shell, "-ec", line)
		c.Dir, c.Env = dir, []string{"PATH=" + filepath.Dir(curl), "PASSCODE=a grey mare over the wall", "HOME=" + dir}
		out, err := c.Output()
		require.NoError(t, err, line)
		if !strings.Contains(line, " -o ") {
			require.True(t, json.Valid(out), "%s\n%s", line, out)
			require.NotContains(t, string(out), `"detail"`, "%s\n%s", line, out)
		}
		if i == 1 { // the page says to ask until it is ready
			require.Eventually(t, func() bool {
				_, ride := got(t, server.URL+"/api/1/rides/1")
				return strings.Contains(ride, `"ready"`)
			}, 30*time.Second, 20*time.Millisecond)
		}
	}
	for name, begins := range map[string]string{"strides.csv": "recording,horse,", "strides.parquet": "PAR1"} {
		data, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		require.True(t, strings.HasPrefix(string(data), begins), name)
	}
}

// With ten thousand rides kept, each page of the list is there within a tenth of a second, whatever is chosen; and a table
// of a thousand rides takes no more memory than one of a hundred, but for what its provenance says of each.
func TestStridesOfManyRidesAreSoon(t *testing.T) {
	if testing.Short() {
		t.Skip("ten thousand rides take some seconds to write")
	}
	var store *keep.Store
	web := site(t, withMany, func(t *testing.T, opt *Options) {
		store = opt.Store
		for id := 2; id <= 1000; id++ { // what the demo told is what each of these told
			require.NoError(t, os.Link(filepath.Join(store.Dir(), "worked", "1"), filepath.Join(store.Dir(), "worked", strconv.Itoa(id))))
		}
	})
	var second []int64
	for id := int64(1); id < 10_000; id += 2 {
		second = append(second, id)
	}
	for name, path := range map[string]string{
		"first page": "/strides", "all chosen": "/strides?rides=1-10000", "every second chosen": "/strides?rides=" + strings.Trim(strings.Join(strings.Fields(fmt.Sprint(second)), ","), "[]"),
		"older": "/strides?before=1700000000000-5000", "a horse": "/strides?horse_id=7", "words": "/strides?q=horse+birch", "choosing all": "/strides?do=all",
	} {
		best := time.Hour
		for range 5 {
			from := processorTime(t)
			status, _ := got(t, web.URL+path)
			best = min(best, processorTime(t)-from)
			require.Equal(t, http.StatusOK, status, name)
		}
		t.Logf("%-20s %v", name, best.Round(100*time.Microsecond))
		require.Less(t, best, 100*time.Millisecond, name)
	}
	var peaks []uint64
	for _, what := range []string{"table?rides=1-100", "table?rides=1-1000", "table?rides=1-1000&format=jsonl", "table?rides=1-1000&format=parquet", "summary?rides=1-1000"} {
		stop, peak := watchHeap()
		began := time.Now()
		r, err := http.Get(web.URL + "/strides/" + what)
		require.NoError(t, err)
		size, err := io.Copy(io.Discard, r.Body)
		require.NoError(t, err)
		require.NoError(t, r.Body.Close())
		require.Equal(t, http.StatusOK, r.StatusCode, what)
		stop()
		t.Logf("%-34s %5.1f MB in %5d ms, at most %d MB of heap", what, float64(size)/1e6, time.Since(began).Milliseconds(), *peak>>20)
		peaks = append(peaks, *peak)
	}
	// Those who have gone hold up nobody.
	for range 4 {
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, web.URL+"/strides/table?rides=1-1000", nil)
		require.NoError(t, err)
		if a, err := http.DefaultClient.Do(r); err == nil {
			require.NoError(t, a.Body.Close())
			t.Error("a thousand rides in 20 ms")
		}
		cancel()
	}
	began := time.Now()
	status, _ := got(t, web.URL+"/strides/table?rides=1")
	require.Equal(t, http.StatusOK, status)
	t.Logf("one ride's table while others have gone: %d ms", time.Since(began).Milliseconds())
	require.Less(t, time.Since(began), 2*time.Second)
	require.Less(t, peaks[1], peaks[0]+32<<20, "the table of a thousand rides was held in memory")
}

// watchHeap watches the heap until it is stopped.
func watchHeap() (stop func(), peak *uint64) {
	peak = new(uint64)
	end, ended := make(chan struct{}), make(chan struct{})
	runtime.GC()
	go func() {
		defer close(ended)
		for {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			*peak = max(*peak, m.HeapAlloc)
			select {
			case <-end:
				return
			case <-time.After(5 * time.Millisecond):
			}
		}
	}()
	return func() { close(end); <-ended }, peak
}

// The summary's page has each mean and interval of the summary, in the reader's units, and each line once.
func TestSummaryPageTellsTheSummary(t *testing.T) {
	h := seed(t).server(t)
	get := func(path, units string) string {
		r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1"+path, nil)
		r.AddCookie(&http.Cookie{Name: "units", Value: units})
		a := ask(h, r)
		b, err := io.ReadAll(a.Body)
		require.NoError(t, err)
		require.Equal(t, http.StatusOK, a.StatusCode, "%s", b)
		return string(b)
	}
	var of struct{ Lines []table.Line }
	require.NoError(t, json.Unmarshal([]byte(get("/api/1/strides/summary?rides=1-3", "metric")), &of))
	metric, imperial := get("/strides/summary?rides=1-3", "metric"), get("/strides/summary?rides=1-3", "imperial")
	shown := 0
	for _, l := range of.Lines {
		if l.Figure != "length_m" || l.Low == nil {
			continue
		}
		shown++
		require.Contains(t, metric, fmt.Sprintf("%.2f<small>%.2f to %.2f</small>", l.Mean, *l.Low, *l.High))
		require.Contains(t, imperial, fmt.Sprintf("%.1f<small>%.1f to %.1f</small>", l.Mean/0.3048, *l.Low/0.3048, *l.High/0.3048))
	}
	require.Greater(t, shown, 2)
	require.Contains(t, imperial, "Lengths in ft")
}
