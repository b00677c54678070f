package compare

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"groundline/report"
)

// browser is a Chromium of its own; the test is skipped where there is none.
func browser(t *testing.T) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser takes seconds: left out with -short")
	}
	found := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			found = path
			break
		}
	}
	if found == "" {
		t.Skip("no Chromium on this machine: the page is not looked at in a browser")
	}
	alloc, stop := chromedp.NewExecAllocator(t.Context(), chromedp.ExecPath(found), chromedp.NoSandbox, chromedp.Headless, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.UserDataDir(t.TempDir()), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	t.Cleanup(stop)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Do(ctx))
	ctx, end := context.WithTimeout(ctx, 2*time.Minute)
	t.Cleanup(end)
	return ctx
}

func js[T any](t *testing.T, ctx context.Context, expression string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	require.NoError(t, err, expression)
	return v
}

// Every kind of comparison at three widths in both schemes: no wider than the screen, and no violation of any of axe's rules.
func TestPagesInABrowser(t *testing.T) {
	axe, err := os.ReadFile("../page/testdata/axe/node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Skip("axe-core is not here: npm ci in report/page/testdata/axe brings it")
	}
	ctx := browser(t)
	pages := map[string][]Attempt{"tracks": {onPlan(first(), 19), onPlan(second(), 21)}}
	for _, x := range comparisons() {
		pages[x.name] = x.attempts
	}
	for name, attempts := range pages {
		html, _, err := Render(of(t, attempts...), attempts, PageOptions{Links: []report.Link{{Text: "Rides", Href: "/"}, {Text: "As text", Href: "/text"}}})
		require.NoError(t, err)
		file := filepath.Join(t.TempDir(), "page.html")
		require.NoError(t, os.WriteFile(file, html, 0o666))
		for _, width := range []int64{360, 768, 1280} {
			for _, scheme := range []string{"light", "dark"} {
				if name != "tracks" && width != 360 {
					continue
				}
				media := chromedp.Func(func(ctx context.Context, to *chromedp.Target) error {
					_, err := cdp.Call(ctx, to, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
					return err
				})
				require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 800), media, chromedp.Navigate("file://"+file)))
				at := fmt.Sprintf("%s at %d px, %s", name, width, scheme)
				require.LessOrEqual(t, js[int](t, ctx, `document.documentElement.scrollWidth`), int(width), at)
				_, err := chromedp.Run(ctx, chromedp.Evaluate[int](string(axe)+"; 1"))
				require.NoError(t, err)
				found := js[string](t, ctx, `axe.run().then(r => r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 200) + ' ' + n.failureSummary).join(' | ')).join('\n'))`)
				require.Empty(t, found, at)
			}
		}
	}
}
