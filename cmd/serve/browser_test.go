package serve

import (
	"context"
	"database/sql"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
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

	"groundline/cmd/serve/guard"
	"groundline/course"
	"groundline/report/keep"
)

// pictures is a folder for screenshots to be looked at: go test ./cmd/serve -run Browser -pictures DIR.
var pictures = flag.String("pictures", "", "folder to write screenshots into")

// opened is a store in a folder of its own, where rides wait until worked works them out.
func opened(t *testing.T) *keep.Store {
	t.Helper()
	store, err := keep.Open(t.Context(), filepath.Join(t.TempDir(), "store"), keep.Options{Program: "groundline test", Log: logOf(t)})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, store.Close()) })
	return store
}

// worked works out a store's rides while the test runs.
func worked(t *testing.T, store *keep.Store) {
	ctx, stop := context.WithCancel(t.Context())
	var working sync.WaitGroup
	working.Go(func() {
		if err := store.Work(ctx, 1); err != nil && ctx.Err() == nil {
			t.Errorf("the work ended: %v", err)
		}
	})
	t.Cleanup(func() {
		stop()
		working.Wait()
	})
}

// unworked has a site where rides wait.
func unworked(t *testing.T, opt *Options) { opt.Store = opened(t) }

// logOf has what the program complains of told with the test.
func logOf(t *testing.T) *slog.Logger {
	return slog.New(slog.NewTextHandler(testLog{t}, &slog.HandlerOptions{Level: slog.LevelWarn}))
}

type testLog struct{ t *testing.T }

func (l testLog) Write(b []byte) (int, error) {
	l.t.Logf("%s", strings.TrimSpace(string(b)))
	return len(b), nil
}

// site is a server behind its guard over a new store, which seed fills before it starts (withDemo is one such). seed may
// also change the options.
func site(t *testing.T, seed ...func(*testing.T, *Options)) *httptest.Server {
	t.Helper()
	store := opened(t)
	worked(t, store)
	opt := Options{Store: store, Program: "groundline test", Demo: demoFiles(t), Log: logOf(t)}
	for _, s := range seed {
		s(t, &opt)
	}
	if opt.MaxUploadBytes == 0 {
		opt.MaxUploadBytes = DefaultMaxUploadBytes
	}
	door, err := guard.New(guard.Options{Open: OpenToAll, Uploading: BringsFiles, Weight: Weight, MaxUpload: opt.MaxUploadBytes + 1<<20, Log: opt.Log})
	require.NoError(t, err)
	require.NoError(t, door.SetPasscode(""))
	server := httptest.NewUnstartedServer(nil)
	server.Config = door.Server(New(opt))
	server.Start()
	t.Cleanup(server.Close)
	return server
}

// demoFiles are the files of the round that the command ships.
func demoFiles(t *testing.T) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	for _, name := range []string{"ride.gpx", "motion.csv", "course.yaml"} {
		data, err := os.ReadFile(filepath.Join("..", "groundline", "demo", name))
		require.NoError(t, err)
		files[name] = data
	}
	return files
}

// withDemo keeps the demo round, ridden by the horse Birch over the demo's course, and waits until it is worked out.
func withDemo(t *testing.T, opt *Options) { keptDemo(t, opt.Store, "Birch", "ride.gpx", "motion.csv") }

// keptDemo keeps files of the demo as a ride over the demo's course, and gives its number when it is worked out.
func keptDemo(t *testing.T, store *keep.Store, horse string, names ...string) int64 {
	t.Helper()
	ctx := t.Context()
	files := demoFiles(t)
	about := keep.About{CourseVersionID: keptCourse(t, store).VersionID}
	var err error
	if horse != "" {
		about.HorseID, err = store.NameHorse(ctx, horse)
		require.NoError(t, err)
	}
	var received []*keep.Received
	for _, name := range names {
		r, err := store.Receive(ctx, name, strings.NewReader(string(files[name])), 1<<30)
		require.NoError(t, err)
		received = append(received, r)
	}
	id, _, err := store.Keep(ctx, received, about)
	require.NoError(t, err)
	_, err = store.Wait(ctx, id)
	require.NoError(t, err)
	return id
}

// withMany keeps ten thousand rides of a hundred horses over the demo's course: the demo's, written again and again to
// the database.
func withMany(t *testing.T, opt *Options) {
	t.Helper()
	id := keptDemo(t, opt.Store, "Horse 1", "ride.gpx", "motion.csv")
	for i := 2; i <= 100; i++ {
		_, err := opt.Store.NameHorse(t.Context(), fmt.Sprintf("Horse %d", i))
		require.NoError(t, err)
	}
	db, err := sql.Open("sqlite", filepath.Join(opt.Store.Dir(), "groundline.db"))
	require.NoError(t, err)
	defer db.Close()
	// Whatever columns a table has are copied, but for those that tell one ride from another.
	again := func(table, key string, others map[string]string) {
		rows, err := db.Query("SELECT name FROM pragma_table_info(?)", table)
		require.NoError(t, err)
		defer rows.Close()
		var names, values []string
		for rows.Next() {
			var name string
			require.NoError(t, rows.Scan(&name))
			value := name
			if other, ok := others[name]; ok {
				value = other
			}
			names, values = append(names, name), append(values, value)
		}
		_, err = db.Exec(fmt.Sprintf("WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 9999) INSERT INTO %s (%s) SELECT %s FROM %s, n WHERE %s = %d",
			table, strings.Join(names, ", "), strings.Join(values, ", "), table, key, id))
		require.NoError(t, err, table)
	}
	again("ride", "id", map[string]string{"id": fmt.Sprintf("%d + i", id), "files": "files || i", "at_ms": "at_ms - i * 7200000", "start_ms": "start_ms - i * 7200000", "horse_id": "1 + i % 100"})
	for _, table := range []string{"file", "told", "ridden"} {
		again(table, "ride_id", map[string]string{"ride_id": fmt.Sprintf("%d + i", id)})
	}
}

// keptCourse is the demo's course, kept.
func keptCourse(t *testing.T, store *keep.Store) keep.Course {
	t.Helper()
	plan, _, err := course.ReadPlan("course.yaml", demoFiles(t)["course.yaml"])
	require.NoError(t, err)
	courses, err := store.Courses(t.Context())
	require.NoError(t, err)
	for _, c := range courses {
		if c.Name == plan.Name {
			return c
		}
	}
	kept, err := store.SaveCourse(t.Context(), 0, plan)
	require.NoError(t, err)
	return kept
}

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
		t.Skip("no Chromium on this machine: the pages are not looked at in a browser")
	}
	alloc, stop := chromedp.NewExecAllocator(t.Context(), chromedp.ExecPath(found), chromedp.NoSandbox, chromedp.Headless, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.UserDataDir(t.TempDir()), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	t.Cleanup(stop)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Do(ctx))
	ctx, end := context.WithTimeout(ctx, 3*time.Minute)
	t.Cleanup(end)
	require.NoError(t, chromedp.Do(ctx, command(network.Enable, network.EnableParams{}), command(emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}),
		command(cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: `window.wrong = [];
			addEventListener('error', e => wrong.push(String(e.message)));
			addEventListener('unhandledrejection', e => wrong.push(String(e.reason)));
			addEventListener('securitypolicyviolation', e => wrong.push('refused ' + e.violatedDirective + ' ' + e.blockedURI));
			window.shifted = 0;
			new PerformanceObserver(l => { for (const e of l.getEntries()) if (!e.hadRecentInput) shifted += e.value }).observe({type: 'layout-shift', buffered: true});`})))
	require.NoError(t, chromedp.Listen(ctx, func(ev any) {
		if sent, ok := ev.(*network.EventRequestWillBeSent); ok {
			if u := sent.Request.URL; !strings.HasPrefix(u, "http://127.0.0.1:") && !strings.HasPrefix(u, "data:") && !strings.HasPrefix(u, "about:") {
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

func command[P, R any](c cdp.Command[P, R], p P) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, c, p)
		return err
	})
}

// js is the value of an expression in the page.
func js[T any](t *testing.T, ctx context.Context, expression string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	require.NoError(t, err, expression)
	return v
}

// until waits until an expression in the page is true, over navigations too.
func until(t *testing.T, ctx context.Context, expression string) {
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

// at sets the width in CSS pixels and the colour scheme.
func at(t *testing.T, ctx context.Context, width int64, scheme string) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 800), command(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})))
}

// visit opens a page and holds that nothing went wrong in it and nothing moved while it was drawn.
func visit(t *testing.T, ctx context.Context, url string) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(url)))
	still(t, ctx)
}

// still holds that nothing went wrong in the page so far, and that nothing moved by itself.
func still(t *testing.T, ctx context.Context) {
	t.Helper()
	js[int](t, ctx, `new Promise(done => requestAnimationFrame(() => setTimeout(() => done(1), 50)))`)
	require.Empty(t, js[string](t, ctx, `window.wrong.join('; ')`))
	require.Zero(t, js[float64](t, ctx, `window.shifted`), "the layout moved (CLS)")
}

// axe holds that the page breaks none of axe-core's rules, as it stands.
func axe(t *testing.T, ctx context.Context) {
	t.Helper()
	rules, err := os.ReadFile("../../report/page/testdata/axe/node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Log("axe-core is not here, so the page is not held to its rules: npm ci in report/page/testdata/axe brings it")
		return
	}
	_, err = chromedp.Run(ctx, chromedp.Evaluate[int](string(rules)+"; 1"))
	require.NoError(t, err)
	require.Empty(t, js[string](t, ctx, `axe.run().then(r => r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 300) + ' ' + n.failureSummary).join(' | ')).join('\n'))`))
}

// looked holds what every page must be, at three widths in both schemes: no wider than the screen, no violation of
// axe-core's rules, targets large enough for a thumb. With -pictures it writes them to be looked at.
func looked(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	for i, width := range []int64{360, 768, 1280} {
		for j, scheme := range []string{"light", "dark"} {
			at(t, ctx, width, scheme)
			require.LessOrEqual(t, js[int](t, ctx, `document.documentElement.scrollWidth`), int(width), "%s is wider than %d px", name, width)
			if i != 1 || j == 0 {
				axe(t, ctx)
			}
			if *pictures != "" {
				png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
				require.NoError(t, err)
				require.NoError(t, os.WriteFile(filepath.Join(*pictures, fmt.Sprintf("%s-%d-%s.png", name, width, scheme)), png, 0o666))
			}
		}
	}
	at(t, ctx, 320, "light") // the narrowest that WCAG 2.2 asks for (1.4.10, Reflow)
	require.LessOrEqual(t, js[int](t, ctx, `document.documentElement.scrollWidth`), 320, "%s is wider than 320 px", name)
	at(t, ctx, 360, "light")
	require.Empty(t, js[string](t, ctx, smallTargets), "%s: targets under 44 px", name)
}

// smallTargets names what can be tapped and is less than 44 CSS pixels high (links within a sentence aside). The debrief has
// its own rules within its tables, whose rows are the targets.
const smallTargets = `[...document.querySelectorAll('main button, main input:not([type=hidden]), main select, main summary, main .button, header a')]
	.filter(e => e.checkVisibility() && !e.closest('#lines, #efforts') && !e.closest('.unseen') && !e.classList.contains('unseen'))
	.map(e => [e, (e.matches('[type=checkbox],[type=radio]') ? e.closest('label') || e : e).getBoundingClientRect().height])
	.filter(([e, h]) => h > 0 && h < 43.5).map(([e, h]) => e.outerHTML.slice(0, 120) + ' ' + h).join('\n')`

// got is the answer to a GET, as text, with its status.
func got(t *testing.T, url string) (int, string) {
	t.Helper()
	r, err := http.Get(url)
	require.NoError(t, err)
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	return r.StatusCode, string(b)
}
