package serve

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report/keep"
	"groundline/trace/testkit/chrome"
)

// demoOnDisk are files of the demo as somebody has them on a disk.
func demoOnDisk(t *testing.T, names ...string) []string {
	t.Helper()
	dir := t.TempDir()
	var out []string
	for _, name := range names {
		out = append(out, filepath.Join(dir, name))
		require.NoError(t, os.WriteFile(out[len(out)-1], demoFiles(t)[name], 0o666))
	}
	return out
}

// Every page of the rides, at every width and in both schemes.
func TestBrowserRidePages(t *testing.T) {
	web := site(t, withDemo)
	ctx := chrome.New(t)
	require.NoError(t, chromedp.Do(ctx, chrome.Command(emulation.SetTimezoneOverride, emulation.SetTimezoneOverrideParams{TimezoneID: "Asia/Tokyo"})))
	for _, p := range []struct{ name, path string }{
		{"rides", "/"}, {"debrief", "/rides/1"}, {"details", "/rides/1/details"}, {"remove", "/rides/1/remove"}, {"understood", "/rides/1/understood"}, {"missing", "/rides/99"},
	} {
		chrome.At(t, ctx, 360, "light")
		chrome.Visit(t, ctx, web.URL+p.path)
		chrome.Looked(t, ctx, p.name)
		if p.name == "rides" || p.name == "details" { // the reader's own time
			require.Contains(t, chrome.JS[string](t, ctx, `document.querySelector('main time').textContent`), "9 May 2026, 23:30")
		}
	}
}

// An empty store welcomes, and its invented round is a tap away.
func TestBrowserDemo(t *testing.T) {
	web := site(t)
	ctx := chrome.New(t)
	chrome.Visit(t, ctx, web.URL)
	chrome.Looked(t, ctx, "empty")
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(".welcome button")))
	chrome.Until(t, ctx, `document.getElementById('plan')`)
	chrome.Still(t, ctx)
}

// choose puts files into the form as a rider does who taps on it.
func choose(t *testing.T, ctx context.Context, files ...string) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.SetUploadFiles("#files", files)))
	chrome.Until(t, ctx, `document.querySelectorAll('#chosen li').length > 0`)
}

// dropFiles drops files onto the page as somebody with a mouse does.
func dropFiles(t *testing.T, ctx context.Context, files ...string) {
	t.Helper()
	at := chrome.JS[[]float64](t, ctx, `(() => {const b = document.getElementById('drop').getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2]})()`)
	data := &input.DragData{Items: []*input.DragDataItem{}, Files: files, DragOperationsMask: 1}
	for _, kind := range []input.DispatchDragEventType{input.DispatchDragEventTypeDragEnter, input.DispatchDragEventTypeDragOver, input.DispatchDragEventTypeDrop} {
		require.NoError(t, chromedp.Do(ctx, chrome.Command(input.DispatchDragEvent, input.DispatchDragEventParams{Type: kind, X: at[0], Y: at[1], Data: data})))
	}
	chrome.Until(t, ctx, `document.querySelectorAll('#chosen li').length > 0`)
}

// From the drop to the debrief: two files of one ride, with a horse that is named here; then the same again.
func TestBrowserDropToDebrief(t *testing.T) {
	var store *keep.Store
	web := site(t, func(t *testing.T, o *Options) {
		store = o.Store
		keptCourse(t, store)
	})
	ctx := chrome.New(t)
	files := demoOnDisk(t, "ride.gpx", "motion.csv")
	chrome.At(t, ctx, 1280, "light")
	chrome.Visit(t, ctx, web.URL)
	dropFiles(t, ctx, files...)
	require.Equal(t, 2, chrome.JS[int](t, ctx, `document.getElementById('files').files.length`))
	require.NoError(t, chromedp.Do(ctx, chromedp.SendKeys("#horse", "Birch"), chromedp.SetValue("#course-id", "1")))
	began := time.Now()
	require.NoError(t, chromedp.Do(ctx, chromedp.Click("#send")))
	chrome.Until(t, ctx, `document.getElementById('plan')`)
	took := time.Since(began)
	t.Logf("from the press of the button to the debrief on the screen: %v", took)
	chrome.Still(t, ctx)
	ride, err := store.Ride(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, "Birch", ride.Horse)
	require.Equal(t, int64(1), ride.CourseID)
	require.Len(t, ride.Files, 2)
	require.Equal(t, "/rides/1", chrome.JS[string](t, ctx, `location.pathname`))

	// The form remembers horse and course; the same files are told, and not kept twice.
	chrome.Visit(t, ctx, web.URL)
	require.Equal(t, "1 1", chrome.JS[string](t, ctx, `document.getElementById('horse-id').value + ' ' + document.getElementById('course-id').value`))
	choose(t, ctx, files[1])
	choose(t, ctx, files[0]) // one by one, in another order
	require.Equal(t, 2, chrome.JS[int](t, ctx, `document.getElementById('files').files.length`))
	require.NoError(t, chromedp.Do(ctx, chromedp.Click("#send")))
	chrome.Until(t, ctx, `document.querySelector('.ride-row .doing').textContent.includes('kept before')`)
	require.Contains(t, chrome.JS[string](t, ctx, `document.getElementById('aloud').textContent`), "not kept twice")
	require.Equal(t, "/rides/1", chrome.JS[string](t, ctx, `document.querySelector('.ride-row .doing a').getAttribute('href')`))
	chrome.Looked(t, ctx, "twice")
	_, _, total, err := store.Rides(t.Context(), keep.Filter{})
	require.NoError(t, err)
	require.Equal(t, 1, total)
}

// Several files that are rides of their own: a row for each, those that can't be read among them.
func TestBrowserSeveralRides(t *testing.T) {
	var store *keep.Store
	web := site(t, func(t *testing.T, o *Options) { store = o.Store })
	ctx := chrome.New(t)
	photo := filepath.Join(t.TempDir(), "photo.jpg")
	require.NoError(t, os.WriteFile(photo, []byte("\xff\xd8\xff\xe0 not a ride"), 0o666))
	empty := filepath.Join(t.TempDir(), "empty.gpx")
	require.NoError(t, os.WriteFile(empty, nil, 0o666))
	chrome.At(t, ctx, 360, "light")
	chrome.Visit(t, ctx, web.URL)
	choose(t, ctx, append(demoOnDisk(t, "ride.gpx", "motion.csv"), photo, empty)...)
	require.NoError(t, chromedp.Do(ctx, chromedp.Click("#each")))
	chrome.Looked(t, ctx, "chosen") // two files of watches: whether they are several rides stands open to be said
	require.NoError(t, chromedp.Do(ctx, chromedp.Click("#send")))
	chrome.Until(t, ctx, `[...document.querySelectorAll('.ride-row')].every(r => r.querySelector('.doing a') || r.classList.contains('bad'))`)
	chrome.Still(t, ctx) // no row moves another
	chrome.Looked(t, ctx, "several")
	rows := chrome.JS[[]string](t, ctx, `[...document.querySelectorAll('.ride-row')].map(r => r.innerText.replaceAll('\n', ' '))`)
	require.Len(t, rows, 4)
	require.Contains(t, rows[0], "Worked out")
	require.Contains(t, rows[1], "Worked out")
	require.Contains(t, rows[2], "can't be read")
	require.Contains(t, rows[3], "the file is empty")
	_, _, total, err := store.Rides(t.Context(), keep.Filter{})
	require.NoError(t, err)
	require.Equal(t, 3, total)

	// The photo's page says so, and the way out of it works.
	photos := chrome.JS[string](t, ctx, `document.querySelectorAll('.ride-row')[2].querySelector('a').getAttribute('href')`)
	chrome.Visit(t, ctx, web.URL+photos)
	chrome.Looked(t, ctx, "refused-photo")
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`main a[href$="/remove"]`)))
	chrome.Until(t, ctx, `document.querySelector('form[action$="/remove"]')`)
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`form[action$="/remove"] button`)))
	chrome.Until(t, ctx, `document.querySelector('.said')`)
	status, _ := got(t, web.URL+photos)
	require.Equal(t, http.StatusNotFound, status)
}

// nameless is the demo's motion with a header that tells nothing, and its clock in milliseconds.
func nameless(t *testing.T) string {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(string(demoFiles(t)["motion.csv"])), "\n")
	var out strings.Builder
	out.WriteString("a,b,c,d\n")
	for _, line := range lines[1:] {
		f := strings.Split(line, ",")
		v, err := strconv.ParseFloat(f[0], 64)
		require.NoError(t, err)
		fmt.Fprintf(&out, "%s,%s,%s,%.1f\n", f[1], f[2], f[3], v*1000)
	}
	file := filepath.Join(t.TempDir(), "sensor.csv")
	require.NoError(t, os.WriteFile(file, []byte(out.String()), 0o666))
	return file
}

// A CSV that nobody understands is mended by saying its columns, and becomes a debrief.
func TestBrowserColumnsByHand(t *testing.T) {
	var store *keep.Store
	web := site(t, func(t *testing.T, o *Options) {
		store = o.Store
		keptCourse(t, store)
	})
	ctx := chrome.New(t)
	chrome.At(t, ctx, 360, "light")
	chrome.Visit(t, ctx, web.URL)
	choose(t, ctx, nameless(t))
	require.NoError(t, chromedp.Do(ctx, chromedp.SetValue("#course-id", "1"), chromedp.Click("#send")))
	chrome.Until(t, ctx, `document.querySelector('.faults')`)
	chrome.Still(t, ctx)
	chrome.Looked(t, ctx, "refused-columns")
	for column, n := range map[string]string{"t": "4", "ax": "1", "ay": "2", "az": "3"} {
		require.NoError(t, chromedp.Do(ctx, chromedp.SetValue("#column-"+column, n)))
	}
	require.NoError(t, chromedp.Do(ctx, chromedp.SetValue("#unit-t", "ms"), chromedp.Click(`form[action$="/columns"] button`)))
	chrome.Until(t, ctx, `document.getElementById('chart')`)
	ride, err := store.Ride(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, "t=#4/ms,ax=#1,ay=#2,az=#3", ride.Columns)
	require.Greater(t, ride.Jumps, 3)
}

// A ride that waits says so, and its page lands on the debrief by itself, with a script and without.
func TestBrowserWaiting(t *testing.T) {
	for _, script := range []bool{true, false} {
		var store *keep.Store
		web := site(t, unworked, func(t *testing.T, o *Options) { store = o.Store })
		ctx := chrome.New(t)
		chrome.At(t, ctx, 360, "light")
		if !script {
			require.NoError(t, chromedp.Do(ctx, chrome.Command(emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})))
		}
		require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(web.URL), chromedp.SetUploadFiles("#files", demoOnDisk(t, "ride.gpx", "motion.csv"))))
		if script {
			chrome.Until(t, ctx, `document.querySelectorAll('#chosen li').length === 2`)
		}
		require.NoError(t, chromedp.Do(ctx, chromedp.Click("#send")))
		if script {
			chrome.Until(t, ctx, `document.querySelector('.ride-row .doing').textContent === 'Kept. Waiting for its turn.'`)
			chrome.Looked(t, ctx, "under-way")
			chrome.Visit(t, ctx, web.URL)
			require.Contains(t, chrome.JS[string](t, ctx, `document.getElementById('rides').innerText`), "waiting")
			chrome.Looked(t, ctx, "list-waiting")
			chrome.Visit(t, ctx, web.URL+"/rides/1")
			chrome.Looked(t, ctx, "waiting")
		} else {
			chrome.Until(t, ctx, `document.getElementById('waiting')`)
			require.Equal(t, "/rides/1", chrome.JS[string](t, ctx, `location.pathname`))
		}
		worked(t, store)
		chrome.Until(t, ctx, `document.getElementById('plan')`)
	}
}

// A row of the list becomes what the ride has become, without the page being loaded anew.
func TestBrowserListFollows(t *testing.T) {
	var store *keep.Store
	web := site(t, unworked, func(t *testing.T, o *Options) { store = o.Store })
	ctx := chrome.New(t)
	chrome.At(t, ctx, 1280, "light")
	r, err := store.Receive(t.Context(), "motion.csv", bytes.NewReader(demoFiles(t)["motion.csv"]), 1<<30)
	require.NoError(t, err)
	_, _, err = store.Keep(t.Context(), []*keep.Received{r}, keep.About{Label: "lesson"})
	require.NoError(t, err)
	chrome.Visit(t, ctx, web.URL)
	chrome.JS[int](t, ctx, `window.same = 1`)
	worked(t, store)
	chrome.Until(t, ctx, `document.querySelector('#ride-1 .told.ready')`)
	require.Equal(t, 1, chrome.JS[int](t, ctx, `window.same`))
	chrome.Still(t, ctx)
}

// Cancelled, a network that fails, trying again: nothing is kept that was not sent whole, and no file is lost.
func TestBrowserCancelAndTryAgain(t *testing.T) {
	var store *keep.Store
	web := site(t, func(t *testing.T, o *Options) { store = o.Store })
	ctx := chrome.New(t)
	slow := func(offline bool, bytesS float64) {
		require.NoError(t, chromedp.Do(ctx, chrome.Command(network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: offline, DownloadThroughput: -1, UploadThroughput: bytesS}),
			chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
				_, err := cdp.Call(ctx, target, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{MatchedNetworkConditions: []*network.Conditions{{
					DownloadThroughput: -1, UploadThroughput: bytesS, Offline: offline}}})
				return err
			})))
	}
	chrome.At(t, ctx, 360, "light")
	chrome.Visit(t, ctx, web.URL)
	// Longer than what lies between browser and server: a browser that is held back hands on more than it tells of, and what
	// has arrived whole is kept.
	files := demoOnDisk(t, "ride.gpx", "motion.csv")
	rows := strings.Split(strings.TrimSpace(string(demoFiles(t)["motion.csv"])), "\n")
	for i, word := range append([]string{"remark"}, slices.Repeat([]string{strings.Repeat("-", 4000)}, len(rows)-1)...) {
		rows[i] += "," + word
	}
	require.NoError(t, os.WriteFile(files[1], []byte(strings.Join(rows, "\n")+"\n"), 0o666))
	choose(t, ctx, files...)
	slow(false, 1e6)
	require.NoError(t, chromedp.Do(ctx, chromedp.Click("#send")))
	chrome.Until(t, ctx, `/^Sending: [1-9]/.test(document.querySelector('.ride-row .doing').textContent)`)
	require.Equal(t, "Cancel", chrome.JS[string](t, ctx, `document.activeElement.textContent`))
	chrome.Looked(t, ctx, "sending")
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.Enter)))
	chrome.Until(t, ctx, `document.querySelector('.ride-row .doing').textContent.startsWith('Cancelled')`)
	require.Equal(t, "Back", chrome.JS[string](t, ctx, `document.activeElement.textContent`))

	slow(true, -1)
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.Tab), chromedp.KeyEvent(kb.Enter)))
	chrome.Until(t, ctx, `document.querySelector('.ride-row .doing').textContent.startsWith('The connection failed')`)
	chrome.Looked(t, ctx, "failed")
	_, _, total, err := store.Rides(t.Context(), keep.Filter{})
	require.NoError(t, err)
	require.Zero(t, total)

	slow(false, -1)
	require.Equal(t, "Try again", chrome.JS[string](t, ctx, `document.activeElement.textContent`))
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.Enter)))
	chrome.Until(t, ctx, `document.getElementById('plan')`)
}

// By keyboard alone: past the navigation, to the horse, to the button, to the debrief's own links.
func TestBrowserKeyboardAlone(t *testing.T) {
	var store *keep.Store
	web := site(t, func(t *testing.T, o *Options) { store = o.Store })
	ctx := chrome.New(t)
	chrome.At(t, ctx, 1280, "light")
	chrome.Visit(t, ctx, web.URL)
	here := func() string {
		return chrome.JS[string](t, ctx, `document.activeElement.id || document.activeElement.textContent.trim()`)
	}
	tab := func(to string) {
		t.Helper()
		for range 20 {
			require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.Tab)))
			require.NotEqual(t, "none", chrome.JS[string](t, ctx, `getComputedStyle(document.activeElement).outlineStyle`), "no sign of the focus on %s", here())
			if here() == to {
				return
			}
		}
		t.Fatalf("%s is not reached by tabs, but %s", to, here())
	}
	tab("To the content")
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.Enter)))
	tab("files")
	choose(t, ctx, demoOnDisk(t, "motion.csv")...) // the system's own dialog can't be tested
	tab("Leave out")
	tab("horse")
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent("Birch")))
	tab("send")
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.Enter)))
	chrome.Until(t, ctx, `document.getElementById('chart')`)
	ride, err := store.Ride(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, "Birch", ride.Horse)
	tab("Details: name its course")
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.Enter)))
	chrome.Until(t, ctx, `document.getElementById('h-said')`)
}

// Without a script: several files in one form are one ride; the same again is told; a horse is changed.
func TestBrowserWithoutScript(t *testing.T) {
	later := time.Duration(0)
	web := site(t, func(t *testing.T, o *Options) {
		keptCourse(t, o.Store)
		o.Now = func() time.Time { return time.Now().Add(later) }
	})
	ctx := chrome.New(t)
	require.NoError(t, chromedp.Do(ctx, chrome.Command(emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})))
	chrome.At(t, ctx, 360, "light")
	send := func() {
		require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(web.URL), chromedp.SetUploadFiles("#files", demoOnDisk(t, "ride.gpx", "motion.csv")),
			chromedp.SetValue("#course-id", "1"), chromedp.Click("#send")))
	}
	send()
	chrome.Until(t, ctx, `document.getElementById('plan')`)
	send() // as whoever presses twice does
	chrome.Until(t, ctx, `document.getElementById('plan')`)
	later = time.Hour
	send()
	chrome.Until(t, ctx, `document.querySelector('.said')`)
	require.Contains(t, chrome.JS[string](t, ctx, `document.querySelector('.said').textContent`), "not kept twice")
	require.NoError(t, chromedp.Do(ctx, chromedp.SendKeys("#horse", "Birch"), chromedp.Click(`form[action$="/details"] button`)))
	chrome.Until(t, ctx, `document.querySelector('.said') && document.querySelector('h1').textContent.startsWith('Birch, ')`)
	require.Equal(t, "Birch", chrome.JS[string](t, ctx, `document.getElementById('horse-id').selectedOptions[0].textContent`))
	require.Equal(t, "none", chrome.JS[string](t, ctx, `getComputedStyle(document.querySelector('.new-horse')).display`))
	require.NoError(t, chromedp.Do(ctx, chromedp.SetValue("#horse-id", "new")))
	require.Equal(t, "block", chrome.JS[string](t, ctx, `getComputedStyle(document.querySelector('.new-horse')).display`))
}

// The first page is drawn within 300 ms on loopback, in a browser that has nothing of it yet.
func TestBrowserFirstPageIsSoon(t *testing.T) {
	web := site(t, withDemo)
	ctx := chrome.New(t)
	chrome.At(t, ctx, 360, "light")
	var took []float64
	for range 5 {
		require.NoError(t, chromedp.Do(ctx, chrome.Command(network.ClearBrowserCache, cdp.Empty{})))
		chrome.Visit(t, ctx, web.URL)
		took = append(took, chrome.JS[float64](t, ctx, `performance.getEntriesByName('first-contentful-paint')[0].startTime`))
	}
	t.Logf("first page drawn after %.0f ms", took)
	require.Less(t, slices.Min(took), 300.0) // the machine may be busy with other tests
}

// Two minutes at 1 Hz and 100 Hz, from the drop to the debrief on the screen within two seconds: the demo's round, and
// where they are at hand practice rounds of two and of three minutes.
func TestBrowserDropToDebriefIsSoon(t *testing.T) {
	rounds := [][]string{demoOnDisk(t, "ride.gpx", "motion.csv", "course.yaml")}
	for _, name := range []string{"05-full-logger10hz", "07-full-runout-warmup"} {
		dir := filepath.Join("..", "..", "..", "shared", "data", "rounds", name)
		if _, err := os.Stat(dir); err != nil {
			t.Logf("%s is not here: left out", name)
			continue
		}
		dir, err := filepath.Abs(dir)
		require.NoError(t, err)
		rounds = append(rounds, []string{filepath.Join(dir, "ride.gpx"), filepath.Join(dir, "motion.csv"), filepath.Join(dir, "course.yaml")})
	}
	soon := func(files []string) time.Duration {
		web := site(t, func(t *testing.T, o *Options) {
			data, err := os.ReadFile(files[2])
			require.NoError(t, err)
			plan, _, err := course.ReadPlan("course.yaml", data)
			require.NoError(t, err)
			_, err = o.Store.SaveCourse(t.Context(), 0, plan)
			require.NoError(t, err)
		})
		ctx := chrome.New(t)
		chrome.At(t, ctx, 1280, "light")
		chrome.Visit(t, ctx, web.URL)
		began := time.Now()
		dropFiles(t, ctx, files[:2]...)
		require.NoError(t, chromedp.Do(ctx, chromedp.SetValue("#course-id", "1"), chromedp.Click("#send")))
		chrome.Until(t, ctx, `document.getElementById('plan')`)
		return time.Since(began)
	}
	for _, files := range rounds {
		took := soon(files)
		for range 2 { // the machine has other work too
			if took >= 2*time.Second {
				took = min(took, soon(files))
			}
		}
		t.Logf("%s: debrief %v after the drop", files[0], took.Round(time.Millisecond))
		require.Less(t, took, 2*time.Second)
	}
}
