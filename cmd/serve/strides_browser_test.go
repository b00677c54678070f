package serve

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	downloads "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"groundline/report/keep"
	"groundline/trace/testkit/chrome"
)

// withRides keeps the demo round three ways, one that can't be told, and one that nobody works out.
func withRides(t *testing.T, opt *Options) {
	withDemo(t, opt)
	keptDemo(t, opt.Store, "Rowan", "motion.csv")
	keptDemo(t, opt.Store, "", "ride.gpx")
	r, err := opt.Store.Receive(t.Context(), `<img src=x onerror="wrong.push('ran')">.csv`, strings.NewReader("no,recording\n"), 1<<20)
	require.NoError(t, err)
	id, _, err := opt.Store.Keep(t.Context(), []*keep.Received{r}, keep.About{Label: `"><script>wrong.push('ran')</script>`})
	require.NoError(t, err)
	_, err = opt.Store.Wait(t.Context(), id)
	require.NoError(t, err)
}

// Every page of the stride table and that for programs is what a page must be.
func TestBrowserStridesPages(t *testing.T) {
	server := site(t, withRides)
	ctx := chrome.New(t)
	for _, p := range [][2]string{
		{"strides", "/strides"}, {"strides-picked", "/strides?rides=1-4"}, {"strides-nothing", "/strides?nothing=1&q=none"}, {"strides-summary", "/strides/summary?rides=1-4"},
		{"strides-columns", "/strides/columns"}, {"programs", "/programs"},
	} {
		chrome.Visit(t, ctx, server.URL+p[1])
		chrome.Looked(t, ctx, p[0])
	}
	chrome.At(t, ctx, 360, "light")
	chrome.Visit(t, ctx, server.URL+"/strides?q=rowan")
	require.True(t, chrome.JS[bool](t, ctx, `document.querySelector('.narrow').open`), "what narrows the list is shown")
}

// saving is a folder that the browser's downloads go to.
func saving(t *testing.T, ctx context.Context) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, chromedp.Do(ctx, chrome.Command(downloads.SetDownloadBehavior, downloads.SetDownloadBehaviorParams{Behavior: downloads.SetDownloadBehaviorBehaviorAllow, DownloadPath: dir})))
	return dir
}

// saved is a download's content, once it is whole.
func saved(t *testing.T, dir, name string) string {
	t.Helper()
	var data []byte
	require.Eventually(t, func() bool {
		var err error
		data, err = os.ReadFile(filepath.Join(dir, name))
		return err == nil
	}, 20*time.Second, 20*time.Millisecond, "%s was not saved", name)
	return string(data)
}

// Rides are picked and their table saved, by keyboard alone.
func TestBrowserStridesByKeyboard(t *testing.T) {
	server := site(t, withRides)
	ctx := chrome.New(t)
	dir := saving(t, ctx)
	chrome.At(t, ctx, 1280, "light")
	chrome.Visit(t, ctx, server.URL+"/strides")
	focused := func(what string) bool { return chrome.JS[bool](t, ctx, `document.activeElement.matches('`+what+`')`) }
	tabTo := func(what string) {
		t.Helper()
		for range 60 {
			if focused(what) {
				require.NotEqual(t, "none", chrome.JS[string](t, ctx, `getComputedStyle(document.activeElement).outlineStyle`), "%s shows no focus", what)
				return
			}
			require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.Tab)))
		}
		t.Fatalf("the keyboard does not get to %s", what)
	}
	tabTo(`[name=ride][value="1"]`)
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(" ")))
	require.Equal(t, "1 ride is picked.", chrome.JS[string](t, ctx, `document.getElementById('picked').textContent`))
	tabTo(`[name=format]`)
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.ArrowDown)))
	tabTo(`[value=table]`)
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.Enter)))
	_, want := got(t, server.URL+"/strides/table?rides=1&format=jsonl")
	require.Equal(t, want, saved(t, dir, "strides.jsonl"))
	require.Contains(t, chrome.JS[string](t, ctx, `document.getElementById('making').textContent`), "the download begins by itself")
	chrome.Still(t, ctx)

	// The summary of the same, and back to the rides with the choice as it was.
	tabTo(`[value=summary]`)
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.Enter)))
	chrome.Until(t, ctx, `document.querySelector('h1').textContent === 'Summary of strides'`)
	require.Contains(t, chrome.JS[string](t, ctx, `document.querySelector('main').innerText`), "1 ride,")
	tabTo(`main a.button`)
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.Enter)))
	chrome.Until(t, ctx, `document.querySelector('h1').textContent === 'Stride table'`)
	require.True(t, chrome.JS[bool](t, ctx, `document.querySelector('[name=ride][value="1"]').checked`))
	require.True(t, chrome.JS[bool](t, ctx, `document.querySelector('[name=format][value=jsonl]').checked`))
	chrome.Still(t, ctx)
}

// The same without a script, on a phone, by Enter in the words to look for and by the buttons.
func TestBrowserStridesWithoutScript(t *testing.T) {
	server := site(t, withRides)
	ctx := chrome.New(t)
	dir := saving(t, ctx)
	chrome.At(t, ctx, 360, "dark")
	require.NoError(t, chromedp.Do(ctx, chrome.Command(emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})))
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(server.URL+"/strides")))
	click := func(what string) {
		t.Helper()
		require.NoError(t, chromedp.Do(ctx, chromedp.Click(what)), what)
	}
	click(`.narrow summary`)
	require.NoError(t, chromedp.Do(ctx, chromedp.Focus(`[name=q]`), chromedp.KeyEvent("rowan"), chromedp.KeyEvent(kb.Enter)))
	chrome.Until(t, ctx, `document.querySelectorAll('[name=ride]').length === 1`)
	click(`[value=pick]`)
	chrome.Until(t, ctx, `document.querySelector('#picked').textContent.startsWith('1 ride is picked, with 1')`)
	click(`[name=without_places]`)
	click(`[name=format][value=parquet]`)
	click(`[value=table]`)
	_, want := got(t, server.URL+"/strides/table?rides=2&format=parquet&without_places=true")
	require.Equal(t, want, saved(t, dir, "strides.parquet"))
	require.LessOrEqual(t, chrome.JS[int](t, ctx, `document.documentElement.scrollWidth`), 360)
	click(`[value=provenance]`)
	require.Contains(t, saved(t, dir, "strides.provenance.json"), `"without_places": true`)
}
