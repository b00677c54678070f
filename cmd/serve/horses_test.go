package serve

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report/keep"
	"groundline/report/record"
	"groundline/trace/testkit/chrome"
)

// stable is a site with a horse that rode the demo's course on several days, one without rides, and one with a name that attacks.
type stable struct {
	*httptest.Server
	store       *keep.Store
	birch, idle int64
	hostile     int64
	rides       []int64
	client      *http.Client // that follows no redirect
}

const hostileName = `"><script>alert(1)</script>`

func newStable(t *testing.T, days int) *stable {
	t.Helper()
	y := &stable{client: &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
	y.Server = site(t, func(t *testing.T, opt *Options) {
		ctx := t.Context()
		y.store = opt.Store
		files := demoFiles(t)
		c := keptCourse(t, y.store)
		var err error
		y.birch, err = y.store.NameHorse(ctx, "Birch")
		require.NoError(t, err)
		y.idle, err = y.store.NameHorse(ctx, "Alder")
		require.NoError(t, err)
		y.hostile, err = y.store.NameHorse(ctx, hostileName)
		require.NoError(t, err)
		for day := range days {
			about := keep.About{HorseID: y.birch, CourseVersionID: c.VersionID}
			var received []*keep.Received
			for name, data := range map[string][]byte{"ride.gpx": onDay(files["ride.gpx"], day), "motion.csv": files["motion.csv"]} {
				if name == "motion.csv" {
					data = append(bytes.Clone(data), strings.Repeat("\n", day)...) // not the same file
				}
				r, err := y.store.Receive(ctx, name, bytes.NewReader(data), 1<<30)
				require.NoError(t, err)
				received = append(received, r)
			}
			id, _, err := y.store.Keep(ctx, received, about)
			require.NoError(t, err)
			y.rides = append(y.rides, id)
		}
		for _, id := range y.rides {
			ride, err := y.store.Wait(ctx, id)
			require.NoError(t, err)
			require.Equal(t, keep.Ready, ride.State, ride.Why)
		}
	})
	return y
}

// onDay is the demo's track some days later, its places a decimetre off.
func onDay(gpx []byte, day int) []byte {
	dice := rand.New(rand.NewPCG(uint64(day), 1))
	date := time.Date(2026, 5, 9+6*day, 0, 0, 0, 0, time.UTC).Format("2006-01-02")
	out := strings.ReplaceAll(string(gpx), "2026-05-09", date)
	return []byte(regexp.MustCompile(`lat="([0-9.-]+)"`).ReplaceAllStringFunc(out, func(s string) string {
		v, _ := strconv.ParseFloat(s[5:len(s)-1], 64)
		return fmt.Sprintf(`lat="%.7f"`, v+1e-6*dice.NormFloat64())
	}))
}

func (y *stable) post(t *testing.T, path string, form url.Values) (int, string, string) {
	t.Helper()
	r, err := y.client.PostForm(y.URL+path, form)
	require.NoError(t, err)
	defer r.Body.Close()
	var b bytes.Buffer
	_, err = b.ReadFrom(r.Body)
	require.NoError(t, err)
	return r.StatusCode, b.String(), r.Header.Get("Location")
}

func TestHorsesComeAndGo(t *testing.T) {
	y := newStable(t, 1)
	status, html := got(t, y.URL+"/horses")
	require.Equal(t, http.StatusOK, status)
	require.Contains(t, html, fmt.Sprintf(`href="/horses/%d"`, y.birch))
	require.NotContains(t, html, "<script>alert")
	require.Contains(t, plain(html), "not told yet")
	require.Regexp(t, `3\.\d+ m ±`, plain(html), "the usual stride")

	status, _, to := y.post(t, "/horses", url.Values{"name": {" Hazel "}, "size": {"large pony"}})
	require.Equal(t, http.StatusSeeOther, status)
	hazel := strings.TrimSuffix(to, "?said=saved")
	_, html = got(t, y.URL+hazel)
	require.Contains(t, plain(html), "Large pony; no ride yet")
	// The same name again is the same horse, and keeps what was said of it.
	status, _, to = y.post(t, "/horses", url.Values{"name": {"hazel"}})
	require.Equal(t, http.StatusSeeOther, status)
	require.Equal(t, hazel+"?said=saved", to)
	_, html = got(t, y.URL+hazel)
	require.Contains(t, plain(html), "Large pony")
	for _, form := range []url.Values{{"name": {""}}, {"name": {"Ivy"}, "size": {"elephant"}}, {"name": {"a\nb"}}, {"name": {strings.Repeat("x", 5000)}}} {
		status, html, _ := y.post(t, "/horses", form)
		require.Equal(t, http.StatusBadRequest, status)
		require.Contains(t, html, `role="alert"`)
	}
	_, html = got(t, y.URL+"/horses")
	require.NotContains(t, html, "Ivy", "a horse that was refused is not kept")

	status, _, _ = y.post(t, hazel, url.Values{"name": {"Hazelnut"}, "size": {""}, "note": {"long back\nlikes water"}})
	require.Equal(t, http.StatusSeeOther, status)
	_, html = got(t, y.URL+hazel)
	require.Contains(t, plain(html), "Hazelnut")
	require.Contains(t, plain(html), "Size not said")
	require.Contains(t, html, "likes water")
	status, html, _ = y.post(t, hazel, url.Values{"name": {"birch"}, "size": {"small pony"}, "note": {"typed"}})
	require.Equal(t, http.StatusBadRequest, status, "the name of another horse")
	require.Contains(t, html, "typed", "what was typed is not lost")

	_, html = got(t, y.URL+hazel+"/remove")
	require.Contains(t, html, "Remove for good")
	status, _, to = y.post(t, hazel+"/remove", nil)
	require.Equal(t, http.StatusSeeOther, status)
	require.Equal(t, "/horses?said=removed", to)
	status, _ = got(t, y.URL+hazel)
	require.Equal(t, http.StatusNotFound, status)
	_, html = got(t, fmt.Sprintf("%s/horses/%d/remove", y.URL, y.birch))
	require.NotContains(t, html, "Remove for good")
	status, _, _ = y.post(t, fmt.Sprintf("/horses/%d/remove", y.birch), nil)
	require.Equal(t, http.StatusConflict, status)

	for path, want := range map[string]int{"/horses/x": 404, "/horses/0": 404, "/horses/99999999999999999999": 404, "/horses/1/walk?course=77": 400, "/horses/1/walk?course=x": 400, "/horses/1/walk": 400,
		fmt.Sprintf("/horses/%d/horse.yaml", y.idle): 409, fmt.Sprintf("/horses/%d/record.json", y.idle): 200} {
		status, _ := got(t, y.URL+path)
		require.Equal(t, want, status, path)
	}
}

func TestHorsePageTellsTheRecord(t *testing.T) {
	y := newStable(t, 4)
	at := fmt.Sprintf("%s/horses/%d", y.URL, y.birch)
	status, html := got(t, at)
	require.Equal(t, http.StatusOK, status)
	text := plain(html)
	for _, want := range []string{"Its way of going", "Stride against pace", "Rhythm over time", "Take-off and landing", "Slope and home", "Leads", "Ride by ride", "4 rides", "± holds nine times in ten"} {
		require.Contains(t, text, want)
	}
	for _, id := range y.rides {
		require.Contains(t, html, fmt.Sprintf(`href="/rides/%d"`, id))
	}
	require.NotContains(t, html, "NaN")
	require.NotContains(t, html, "%!")

	// The figures are the record's.
	told, err := y.store.Told(t.Context(), y.birch)
	require.NoError(t, err)
	require.Len(t, told, 4)
	rec, err := record.Of("Birch", nil, told)
	require.NoError(t, err)
	var want bytes.Buffer
	require.NoError(t, record.JSON(&want, rec))
	_, data := got(t, at+"/record.json")
	require.Equal(t, want.String(), data)
	_, data = got(t, fmt.Sprintf("%s/api/1/horses/%d/record", y.URL, y.birch))
	require.Equal(t, want.String(), data)

	// The horse file is read back.
	_, data = got(t, at+"/horse.yaml")
	h, err := course.ReadHorse("birch.yaml", []byte(data))
	require.NoError(t, err)
	require.Equal(t, "Birch", h.Name)
	own, err := rec.CourseHorse()
	require.NoError(t, err)
	require.InDelta(t, own.StrideM.Value, h.StrideM.Value, 1e-4)

	// The walk for it.
	r, err := y.client.Get(at + "/walk?course=1")
	require.NoError(t, err)
	r.Body.Close()
	require.Equal(t, http.StatusSeeOther, r.StatusCode)
	status, html = got(t, y.URL+r.Header.Get("Location"))
	require.Equal(t, http.StatusOK, status)
	require.Contains(t, plain(html), "Birch")

	// A ride against the others: the demo's lines are ridden as they are each time.
	status, html = got(t, fmt.Sprintf("%s/rides/%d", at, y.rides[1]))
	require.Equal(t, http.StatusOK, status)
	require.Contains(t, plain(html), "By 3 other rides its usual stride is 3.")
	require.Regexp(t, `(long|right|short) \([+-]?\d`, plain(html))
	_, html = got(t, fmt.Sprintf("%s/rides/%d", y.URL, y.rides[1]))
	require.Contains(t, html, fmt.Sprintf(`href="/horses/%d/rides/%d"`, y.birch, y.rides[1]), "the debrief leads to it")
	for _, path := range []string{"/rides/77", "/rides/x"} {
		status, _ = got(t, at+path)
		require.Equal(t, http.StatusNotFound, status)
	}

	// In feet.
	q, err := http.NewRequest("GET", at, nil)
	require.NoError(t, err)
	q.AddCookie(&http.Cookie{Name: "units", Value: "imperial"})
	r, err = http.DefaultClient.Do(q)
	require.NoError(t, err)
	defer r.Body.Close()
	var page bytes.Buffer
	_, err = page.ReadFrom(r.Body)
	require.NoError(t, err)
	require.Regexp(t, `1[0-9]\.\d ft ±`, plain(page.String()))
}

// A record is held until its rides change.
func TestRecordsAreHeld(t *testing.T) {
	y := newStable(t, 2)
	page := func() string {
		_, html := got(t, fmt.Sprintf("%s/horses/%d", y.URL, y.birch))
		return plain(html)
	}
	require.Contains(t, page(), "two rides only")
	require.NoError(t, y.store.RemoveRide(t.Context(), y.rides[0]))
	require.Contains(t, page(), "one ride only")
	_, html := got(t, fmt.Sprintf("%s/horses/%d/rides/%d", y.URL, y.birch, y.rides[1]))
	require.Contains(t, html, "nothing to hold this ride against")
}

// Every page of horses at three widths in both schemes: whole, reachable, and nothing moves.
func TestHorsesInTheBrowser(t *testing.T) {
	y := newStable(t, 5)
	ctx := chrome.New(t)
	for _, p := range []struct{ name, address string }{
		{"horses", "/horses"},
		{"horse", fmt.Sprintf("/horses/%d", y.birch)},
		{"horse-idle", fmt.Sprintf("/horses/%d", y.idle)},
		{"horse-against", fmt.Sprintf("/horses/%d/rides/%d", y.birch, y.rides[0])},
		{"horse-remove", fmt.Sprintf("/horses/%d/remove", y.idle)},
	} {
		chrome.At(t, ctx, 360, "light")
		chrome.Visit(t, ctx, y.URL+p.address)
		chrome.Looked(t, ctx, p.name)
	}
	// Opened, the rides behind a figure keep to the rules too.
	chrome.Visit(t, ctx, fmt.Sprintf("%s/horses/%d", y.URL, y.birch))
	chrome.JS[int](t, ctx, `document.querySelectorAll('details').forEach(d => d.open = true), 1`)
	chrome.Looked(t, ctx, "horse-open")
}

// A coach names a horse, and opens a ride behind a figure, by keyboard alone.
func TestHorsesByKeyboard(t *testing.T) {
	y := newStable(t, 1)
	ctx := chrome.New(t)
	chrome.At(t, ctx, 1280, "light")
	chrome.Visit(t, ctx, y.URL+"/horses")
	press := func(keys ...string) {
		for _, k := range keys {
			require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(k)))
		}
	}
	to := func(test string) {
		t.Helper()
		for range 80 {
			if press(kb.Tab); chrome.JS[bool](t, ctx, `(e => Boolean(`+test+`))(document.activeElement)`) {
				require.NotEqual(t, "none", chrome.JS[string](t, ctx, `getComputedStyle(document.activeElement).outlineStyle`), "the focus is seen")
				return
			}
		}
		t.Fatalf("%s can't be reached by the tab key", test)
	}
	to(`e.id == 'name'`)
	press("R", "u", "e")
	to(`e.textContent == 'Keep this horse'`)
	press(kb.Enter)
	chrome.Until(t, ctx, `document.querySelector('h1').textContent == 'Rue' && document.readyState == 'complete'`)
	require.Contains(t, chrome.JS[string](t, ctx, `document.body.innerText`), "Saved.")

	chrome.Visit(t, ctx, fmt.Sprintf("%s/horses/%d", y.URL, y.birch))
	to(`e.tagName == 'SUMMARY'`)
	press(kb.Enter)
	to(fmt.Sprintf(`e.getAttribute('href') == '/rides/%d'`, y.rides[0]))
	press(kb.Enter)
	chrome.Until(t, ctx, fmt.Sprintf(`location.pathname == '/rides/%d' && document.readyState == 'complete'`, y.rides[0]))
}
