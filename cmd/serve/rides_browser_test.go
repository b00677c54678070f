package serve

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"groundline/report/keep"
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
	ctx := browser(t)
	for _, p := range []struct{ name, path string }{
		{"rides", "/"}, {"debrief", "/rides/1"}, {"details", "/rides/1/details"}, {"remove", "/rides/1/remove"}, {"understood", "/rides/1/understood"}, {"missing", "/rides/99"},
	} {
		at(t, ctx, 360, "light")
		visit(t, ctx, web.URL+p.path)
		looked(t, ctx, p.name)
	}
}

// An empty store welcomes, and its invented round is a tap away.
func TestBrowserDemo(t *testing.T) {
	web := site(t)
	ctx := browser(t)
	visit(t, ctx, web.URL)
	looked(t, ctx, "empty")
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(".welcome button")))
	until(t, ctx, `document.getElementById('plan')`)
	still(t, ctx)
}

// choose puts files into the form as a rider does who taps on it.
func choose(t *testing.T, ctx context.Context, files ...string) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.SetUploadFiles("#files", files)))
	until(t, ctx, `document.querySelectorAll('#chosen li').length > 0`)
}

// dropFiles drops files onto the page as somebody with a mouse does.
func dropFiles(t *testing.T, ctx context.Context, files ...string) {
	t.Helper()
	at := js[[]float64](t, ctx, `(() => {const b = document.getElementById('drop').getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2]})()`)
	data := &input.DragData{Items: []*input.DragDataItem{}, Files: files, DragOperationsMask: 1}
	for _, kind := range []input.DispatchDragEventType{input.DispatchDragEventTypeDragEnter, input.DispatchDragEventTypeDragOver, input.DispatchDragEventTypeDrop} {
		require.NoError(t, chromedp.Do(ctx, command(input.DispatchDragEvent, input.DispatchDragEventParams{Type: kind, X: at[0], Y: at[1], Data: data})))
	}
	until(t, ctx, `document.querySelectorAll('#chosen li').length > 0`)
}

// From the drop to the debrief: two files of one ride, with a horse that is named here; then the same again.
func TestBrowserDropToDebrief(t *testing.T) {
	var store *keep.Store
	web := site(t, func(t *testing.T, o *Options) {
		store = o.Store
		keptCourse(t, store)
	})
	ctx := browser(t)
	files := demoOnDisk(t, "ride.gpx", "motion.csv")
	at(t, ctx, 1280, "light")
	visit(t, ctx, web.URL)
	dropFiles(t, ctx, files...)
	require.Equal(t, 2, js[int](t, ctx, `document.getElementById('files').files.length`))
	require.NoError(t, chromedp.Do(ctx, chromedp.SendKeys("#horse", "Birch"), chromedp.SetValue("#course-id", "1")))
	began := time.Now()
	require.NoError(t, chromedp.Do(ctx, chromedp.Click("#send")))
	until(t, ctx, `document.getElementById('plan')`)
	took := time.Since(began)
	t.Logf("from the press of the button to the debrief on the screen: %v", took)
	still(t, ctx)
	ride, err := store.Ride(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, "Birch", ride.Horse)
	require.Equal(t, int64(1), ride.CourseID)
	require.Len(t, ride.Files, 2)
	require.Equal(t, "/rides/1", js[string](t, ctx, `location.pathname`))

	// The form remembers horse and course; the same files are told, and not kept twice.
	visit(t, ctx, web.URL)
	require.Equal(t, "1 1", js[string](t, ctx, `document.getElementById('horse-id').value + ' ' + document.getElementById('course-id').value`))
	choose(t, ctx, files[1])
	choose(t, ctx, files[0]) // one by one, in another order
	require.Equal(t, 2, js[int](t, ctx, `document.getElementById('files').files.length`))
	require.NoError(t, chromedp.Do(ctx, chromedp.Click("#send")))
	until(t, ctx, `document.querySelector('.ride-row .doing').textContent.includes('kept before')`)
	require.Contains(t, js[string](t, ctx, `document.getElementById('aloud').textContent`), "not kept twice")
	require.Equal(t, "/rides/1", js[string](t, ctx, `document.querySelector('.ride-row .doing a').getAttribute('href')`))
	looked(t, ctx, "twice")
	_, _, total, err := store.Rides(t.Context(), keep.Filter{})
	require.NoError(t, err)
	require.Equal(t, 1, total)
}

// Several files that are rides of their own: a row for each, those that can't be read among them.
func TestBrowserSeveralRides(t *testing.T) {
	var store *keep.Store
	web := site(t, func(t *testing.T, o *Options) { store = o.Store })
	ctx := browser(t)
	photo := filepath.Join(t.TempDir(), "photo.jpg")
	require.NoError(t, os.WriteFile(photo, []byte("\xff\xd8\xff\xe0 not a ride"), 0o666))
	empty := filepath.Join(t.TempDir(), "empty.gpx")
	require.NoError(t, os.WriteFile(empty, nil, 0o666))
	at(t, ctx, 360, "light")
	visit(t, ctx, web.URL)
	choose(t, ctx, append(demoOnDisk(t, "ride.gpx", "motion.csv"), photo, empty)...)
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(".more summary"), chromedp.Click("#each")))
	looked(t, ctx, "chosen")
	require.NoError(t, chromedp.Do(ctx, chromedp.Click("#send")))
	until(t, ctx, `[...document.querySelectorAll('.ride-row progress')].every(p => p.hidden)`)
	looked(t, ctx, "several")
	rows := js[[]string](t, ctx, `[...document.querySelectorAll('.ride-row')].map(r => r.innerText.replaceAll('\n', ' '))`)
	require.Len(t, rows, 4)
	require.Contains(t, rows[0], "Worked out")
	require.Contains(t, rows[1], "Worked out")
	require.Contains(t, rows[2], "can’t be read")
	require.Contains(t, rows[3], "the file is empty")
	_, _, total, err := store.Rides(t.Context(), keep.Filter{})
	require.NoError(t, err)
	require.Equal(t, 3, total)

	// The photo's page says so, and the way out of it works.
	visit(t, ctx, web.URL+"/rides/3")
	looked(t, ctx, "refused-photo")
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`main a[href$="/remove"]`)))
	until(t, ctx, `document.querySelector('form[action$="/remove"]')`)
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`form[action$="/remove"] button`)))
	until(t, ctx, `document.querySelector('.said')`)
	_, err = store.Ride(t.Context(), 3)
	require.ErrorIs(t, err, keep.ErrNotFound)
}
