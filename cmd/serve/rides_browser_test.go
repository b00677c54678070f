package serve

import (
	"os"
	"path/filepath"
	"testing"

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
	var store *keep.Store
	web := site(t, withDemo, func(t *testing.T, o *Options) { store = o.Store })
	ctx := browser(t)
	for _, p := range []struct{ name, path string }{
		{"rides", "/"}, {"debrief", "/rides/1"}, {"details", "/rides/1/details"}, {"remove", "/rides/1/remove"}, {"understood", "/rides/1/understood"}, {"missing", "/rides/99"},
	} {
		at(t, ctx, 360, "light")
		visit(t, ctx, web.URL+p.path)
		looked(t, ctx, p.name)
	}
	_ = store
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
