// Package chrome looks at pages in a Chromium: it opens them at a width and in a colour scheme, asks them by script, holds them to
// axe-core's rules and writes screenshots. Where no Chromium is, or with -short, its tests skip with a word.
package chrome

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"groundline/trace/testkit"
)

var pictures = flag.String("pictures", "", "folder to write screenshots into")

// Start is a Chromium of its own that knows nothing of the pages that it will be shown; the test is skipped where there is none.
func Start(t testing.TB, flags ...chromedp.ExecAllocatorOption) context.Context {
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
		t.Skip("no Chromium on this machine: the pages are not looked at in a browser")
	}
	alloc, stop := chromedp.NewExecAllocator(t.Context(), append([]chromedp.ExecAllocatorOption{chromedp.ExecPath(found), chromedp.NoSandbox, chromedp.Headless,
		chromedp.DisableGPU, chromedp.NoFirstRun, chromedp.UserDataDir(t.TempDir()), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true)}, flags...)...)
	t.Cleanup(stop)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Do(ctx))
	ctx, end := context.WithTimeout(ctx, 3*time.Minute)
	t.Cleanup(end)
	return ctx
}

// New is a Chromium that watches the pages it is shown: the test fails where one asks for anything beside this machine or the browser's
// console complains. What goes wrong in a page is gathered in its window.wrong, how far it moved by itself in window.shifted.
func New(t testing.TB) context.Context {
	t.Helper()
	ctx := Start(t)
	require.NoError(t, chromedp.Do(ctx, Command(network.Enable, network.EnableParams{}), Command(emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}),
		Command(cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: `window.wrong = [];
			addEventListener('error', e => wrong.push(String(e.message)));
			addEventListener('unhandledrejection', e => wrong.push(String(e.reason)));
			addEventListener('securitypolicyviolation', e => wrong.push('refused ' + e.violatedDirective + ' ' + e.blockedURI));
			window.shifted = 0;
			new PerformanceObserver(l => { for (const e of l.getEntries()) if (!e.hadRecentInput) shifted += e.value }).observe({type: 'layout-shift', buffered: true});`})))
	require.NoError(t, chromedp.Listen(ctx, func(ev any) {
		if sent, ok := ev.(*network.EventRequestWillBeSent); ok {
			if u := sent.Request.URL; !strings.HasPrefix(u, "http://127.0.0.1:") && !strings.HasPrefix(u, "file:") && !strings.HasPrefix(u, "data:") && !strings.HasPrefix(u, "about:") {
				t.Errorf("the page asked for %s", u)
			}
		}
	}))
	seen, err := watchConsole(ctx)
	require.NoError(t, err)
	t.Cleanup(func() {
		for _, m := range seen() {
			t.Errorf("console: %s", m)
		}
	})
	return ctx
}

// watchConsole gathers what the pages complain of. What the browser itself logs of an answer that is no success is left
// out: tests ask for such.
func watchConsole(ctx context.Context) (seen func() []string, err error) {
	var mu sync.Mutex
	var said []string
	messages := chromedp.Console(ctx)
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			if m.Source != "network" && (m.IsException() || m.Type == "error" || m.Type == "warning") {
				mu.Lock()
				said = append(said, m.String())
				mu.Unlock()
			}
		}
	}()
	return func() []string {
		mu.Lock()
		defer mu.Unlock()
		return said
	}, nil
}

// Command is a command of the browser's protocol as an action.
func Command[P, R any](c cdp.Command[P, R], p P) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, c, p)
		return err
	})
}

// JS is the value of an expression in the page.
func JS[T any](t testing.TB, ctx context.Context, expression string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	require.NoError(t, err, expression)
	return v
}

// Until waits until an expression in the page is true, over navigations too.
func Until(t testing.TB, ctx context.Context, expression string) {
	t.Helper()
	deadline := time.Now().Add(30 * time.Second)
	for {
		v, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`Boolean(`+expression+`)`, chromedp.EvalAwaitPromise))
		if err == nil && v {
			return
		}
		if time.Now().After(deadline) {
			text, _ := chromedp.Run(ctx, chromedp.Evaluate[string](`location.href + '\n' + document.body.innerText`))
			t.Fatalf("still not so: %s (%v)\n%s", expression, err, text)
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// At sets the width in CSS pixels and the colour scheme.
func At(t testing.TB, ctx context.Context, width int64, scheme string) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 800), Command(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})))
}

// Visit opens a page and holds that nothing went wrong in it and nothing moved while it was drawn.
func Visit(t testing.TB, ctx context.Context, url string) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(url)))
	Still(t, ctx)
}

// Still holds that nothing went wrong in the page so far, and that nothing moved by itself.
func Still(t testing.TB, ctx context.Context) {
	t.Helper()
	JS[int](t, ctx, `new Promise(done => requestAnimationFrame(() => setTimeout(() => done(1), 50)))`)
	require.Empty(t, JS[string](t, ctx, `window.wrong.join('; ')`))
	require.Zero(t, JS[float64](t, ctx, `window.shifted`), "the layout moved (CLS)")
}

// Axe holds that the page breaks none of axe-core's rules, as it stands.
func Axe(t testing.TB, ctx context.Context) {
	t.Helper()
	rules, err := os.ReadFile(filepath.Join(testkit.Root(t), "report/page/testdata/axe/node_modules/axe-core/axe.min.js"))
	if err != nil {
		t.Log("axe-core is not here, so the page is not held to its rules: npm ci in report/page/testdata/axe brings it")
		return
	}
	_, err = chromedp.Run(ctx, chromedp.Evaluate[int](string(rules)+"; 1"))
	require.NoError(t, err)
	require.Empty(t, JS[string](t, ctx, `axe.run().then(r => r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 300) + ' ' + n.failureSummary).join(' | ')).join('\n'))`))
}

// Looked holds what every page must be, at three widths in both schemes: no wider than the screen, no violation of
// axe-core's rules, targets large enough for a thumb. With -pictures it writes them to be looked at.
func Looked(t testing.TB, ctx context.Context, name string) {
	t.Helper()
	for i, width := range []int64{360, 768, 1280} {
		for j, scheme := range []string{"light", "dark"} {
			At(t, ctx, width, scheme)
			require.LessOrEqual(t, JS[int](t, ctx, `document.documentElement.scrollWidth`), int(width), "%s is wider than %d px", name, width)
			if i != 1 || j == 0 {
				Axe(t, ctx)
			}
			Picture(t, ctx, fmt.Sprintf("%s-%d-%s", name, width, scheme))
		}
	}
	At(t, ctx, 320, "light") // the narrowest that WCAG 2.2 asks for (1.4.10, Reflow)
	require.LessOrEqual(t, JS[int](t, ctx, `document.documentElement.scrollWidth`), 320, "%s is wider than 320 px", name)
	At(t, ctx, 360, "light")
	require.Empty(t, JS[string](t, ctx, smallTargets), "%s: targets under 44 px", name)
}

// smallTargets names what can be tapped and is less than 44 CSS pixels high (links within a sentence aside). The debrief has
// its own rules within its tables, whose rows are the targets.
const smallTargets = `[...document.querySelectorAll('main button, main input:not([type=hidden]), main select, main summary, main .button, header a')]
	.filter(e => e.checkVisibility() && !e.closest('#lines, #efforts') && !e.closest('.unseen') && !e.classList.contains('unseen'))
	.map(e => [e, (e.matches('[type=checkbox],[type=radio]') ? e.closest('label') || e : e).getBoundingClientRect().height])
	.filter(([e, h]) => h > 0 && h < 43.5).map(([e, h]) => e.outerHTML.slice(0, 120) + ' ' + h).join('\n')`

// Picture writes a screenshot of the whole page into the folder that -pictures names; without one it does nothing.
func Picture(t testing.TB, ctx context.Context, name string) {
	t.Helper()
	if *pictures == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(*pictures, name+".png"), png, 0o666))
}

// Folder is where screenshots are asked for, "" for none.
func Folder() string { return *pictures }
