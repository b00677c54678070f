package page

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"groundline/report"
	"groundline/trace/testkit/chrome"
)

// opened is the page of a ride in the browser, at a width in CSS pixels and in a colour scheme. What goes wrong in it
// or is refused by its policy is gathered in window.wrong.
func opened(t testing.TB, ctx context.Context, d *report.Debrief, width int64, scheme string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "debrief.html")
	require.NoError(t, os.WriteFile(file, []byte(render(t, d, report.Metric)), 0o666))
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 800), chrome.Command(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}}),
		chrome.Command(emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}),
		chrome.Command(page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: `window.wrong = [];
			addEventListener('error', e => wrong.push(String(e.message)));
			addEventListener('securitypolicyviolation', e => wrong.push('refused ' + e.violatedDirective + ' ' + e.blockedURI));`}),
		chromedp.Navigate("file://"+file)))
	require.Empty(t, chrome.JS[string](t, ctx, `window.wrong.join('; ')`))
}

// A moment reached in any way is shown in the plan, the chart, the tables and in words.
func TestOneMomentIsShownInAll(t *testing.T) {
	ctx := chrome.Start(t)
	d := demoRide(t, true, "ride.gpx", "motion.csv")
	opened(t, ctx, d, 1280, "light")
	require.True(t, chrome.JS[bool](t, ctx, `document.getElementById('now').hidden`))
	require.True(t, chrome.JS[bool](t, ctx, `document.getElementById('over').open`), "on a desk the chart stands beside the plan")
	chrome.JS[int](t, ctx, `(document.querySelectorAll('details.fold').forEach(d => { d.open = true }), 1)`)

	// The shares of both drawings at which the moment stands, as seen on the screen; the words; the rows.
	at := func() (plan, chart float64) {
		return chrome.JS[float64](t, ctx, `(() => {const b = document.getElementById('plan').getBoundingClientRect(), c = document.querySelector('#plan-here circle').getBoundingClientRect(); return (c.left + c.width / 2 - b.left) / b.width})()`),
			chrome.JS[float64](t, ctx, `parseFloat(document.getElementById('chart-here').getAttribute('x1')) / 100`)
	}
	said := func() string { return chrome.JS[string](t, ctx, `document.getElementById('said').textContent`) }
	rows := func() string {
		return chrome.JS[string](t, ctx, `[...document.querySelectorAll('tr[aria-current]')].map(r => r.id).join(' ')`)
	}
	v := newView(d, report.Metric)
	mid := func(i int) float64 { return (d.Ridden.LineS[i][0] + d.Ridden.LineS[i][1]) / 2 }
	shares := func(time float64) (plan, chart float64) {
		plan, _ = v.frame.share(v.at(v.ridden.XM, time), 0)
		chart, _ = v.along(time)
		return plan, chart
	}
	near := func(time float64) {
		t.Helper()
		wantPlan, wantChart := shares(time)
		plan, chart := at()
		require.InDelta(t, wantPlan, plan, 0.02)
		require.InDelta(t, wantChart, chart, 0.005)
		require.Equal(t, "visible", chrome.JS[string](t, ctx, `getComputedStyle(document.getElementById('plan-here')).visibility`))
		require.Contains(t, said(), clockOf(time))
		require.True(t, chrome.JS[bool](t, ctx, `(() => {const b = document.getElementById('now').getBoundingClientRect(); return b.height > 0 && b.top > 0 && Math.abs(b.bottom - innerHeight) < 1})()`), "the moment's words are on the screen")
		require.Equal(t, chrome.JS[string](t, ctx, `document.getElementById('plan').getAttribute('aria-valuetext')`), chrome.JS[string](t, ctx, `document.getElementById('chart').getAttribute('aria-valuetext')`))
	}
	move := func(id string, x, y float64) {
		chrome.JS[int](t, ctx, `(document.getElementById('`+id+`').scrollIntoView({block: 'center'}), 1)`)
		left := chrome.JS[[]float64](t, ctx, `(() => {const b = document.getElementById('`+id+`').firstElementChild.getBoundingClientRect(); return [b.left, b.top, b.width, b.height]})()`)
		require.NoError(t, chromedp.Do(ctx, chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, left[0]+x*left[2], left[1]+y*left[3])))
	}

	// By pointing at the plan, then at the chart.
	x, y := v.frame.share(v.at(v.ridden.XM, mid(1)), v.at(v.ridden.YM, mid(1)))
	move("plan", x, y)
	plan, _ := at()
	require.InDelta(t, x, plan, 0.01)
	_, c := shares(mid(3))
	move("chart", c, 0.5)
	near(mid(3))

	// By pointing at a line's strip, whose own mark follows, and by the address of a stride.
	card := v.addresses()[3]
	chrome.JS[int](t, ctx, `(document.getElementById('`+card+`').scrollIntoView({block: 'center'}), 1)`)
	strip := chrome.JS[[]float64](t, ctx, `(() => {const b = document.querySelector('[id="`+card+`"] .ridden').getBoundingClientRect(); return [b.left, b.top, b.width, b.height]})()`)
	require.NoError(t, chromedp.Do(ctx, chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, strip[0]+0.5*strip[2], strip[1]+0.5*strip[3])))
	_, c = at()
	_, from := v.along(d.Ridden.LineS[3][0])
	require.True(t, from)
	low, _ := v.along(d.Ridden.LineS[3][0])
	high, _ := v.along(d.Ridden.LineS[3][1])
	require.InDelta(t, (low+high)/2, c, 0.15*(high-low), "the middle of the strip is about the middle of the line")
	require.InDelta(t, 50, chrome.JS[float64](t, ctx, `parseFloat(document.querySelector('[id="`+card+`"] .ridden .here').getAttribute('x1'))`), 3)
	chrome.JS[int](t, ctx, `(location.hash = '`+card+`.2', 1)`)
	chrome.Until(t, ctx, `document.getElementById('said').textContent.includes('stride 2 of')`)
	_, c = shares(mid(3))
	move("chart", c, 0.5)

	// By a row of the table, with what it is about picked out; within it stride by stride.
	line := v.told.Lines[2]
	row := lineID(2)
	require.NoError(t, chromedp.Do(ctx, chromedp.Focus("#"+row+" button")))
	near(mid(line.Index))
	require.Equal(t, row, rows())
	require.NotEmpty(t, chrome.JS[string](t, ctx, `document.getElementById('plan-pick').getAttribute('d')`))
	before := said()
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.ArrowRight)))
	require.NotEqual(t, before, said())
	require.Contains(t, said(), line.Name+", stride ")
	require.Equal(t, row, rows())
	require.Equal(t, chrome.JS[string](t, ctx, `document.getElementById('said').textContent`), chrome.JS[string](t, ctx, `document.getElementById('aloud').textContent`))
	require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.ArrowDown)))
	require.Equal(t, lineID(3), rows())

	// By keyboard on plan and chart: to the ends, from effort to effort, by strides.
	for _, id := range []string{"plan", "chart"} {
		require.NoError(t, chromedp.Do(ctx, chromedp.Focus("#"+id), chromedp.KeyEvent(kb.Home), chromedp.KeyEvent(kb.PageUp)))
		near(d.Efforts[0].TakeoffS.Value)
		require.Contains(t, said(), "over "+v.told.Efforts[0].Name)
		require.Equal(t, effortID(0), rows())
		require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.PageUp)))
		near(d.Efforts[1].TakeoffS.Value)
		_, a := at()
		require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.ArrowLeft)))
		_, b := at()
		require.Less(t, b, a)
		require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(kb.End)))
		_, b = at()
		require.InDelta(t, 1, b, 0.001)
		require.Equal(t, "slider", chrome.JS[string](t, ctx, `document.activeElement.getAttribute('role')`))
	}

	// By a thumb: a tap on the chart, and the buttons.
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(360, 800, chromedp.EmulateTouch)))
	box := chrome.JS[[]float64](t, ctx, `(() => {document.getElementById('chart').scrollIntoView({block:'center'}); const b = document.getElementById('chart-in').getBoundingClientRect(); return [b.left, b.top, b.width, b.height]})()`)
	require.NoError(t, chromedp.Do(ctx, chromedp.TapXY(box[0]+c*box[2], box[1]+box[3]/2)))
	_, chart := at()
	require.InDelta(t, c, chart, 0.01)
	require.NoError(t, chromedp.Do(ctx, chromedp.Click("#on")))
	_, later := at()
	require.Greater(t, later, chart)
}

// clockOf is a time as the page tells it, without tenths.
func clockOf(s float64) string { return fmt.Sprintf("%d:%02d", int(s)/60, int(s)%60) }

// Without the script all is there, and nothing that would need it.
func TestPageWithoutScript(t *testing.T) {
	ctx := chrome.Start(t)
	require.NoError(t, chromedp.Do(ctx, chrome.Command(emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})))
	opened(t, ctx, loops(1, 3, 0), 360, "light")
	require.Equal(t, 0, chrome.JS[int](t, ctx, `document.querySelectorAll('main button, [role=slider]').length`))
	require.Equal(t, "none", chrome.JS[string](t, ctx, `getComputedStyle(document.getElementById('now')).display`))
	require.Equal(t, 3, chrome.JS[int](t, ctx, `document.querySelectorAll('#efforts tbody tr').length`))
	require.Greater(t, chrome.JS[float64](t, ctx, `document.querySelector('#plan > svg').getBoundingClientRect().height`), 100.0)
}

// No page is wider than the screen, from the narrowest phone on, whatever the names.
func TestPagesFitTheirWidth(t *testing.T) {
	ctx := chrome.Start(t)
	for _, r := range rides(t) {
		opened(t, ctx, r.d, 320, "light")
		for _, width := range []int64{320, 360, 768, 1280} {
			require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 800)))
			require.LessOrEqual(t, chrome.JS[int](t, ctx, `document.documentElement.scrollWidth`), int(width), "%s at %d px", r.name, width)
		}
	}
}

// A round is opened and drawn within a second on a machine that does nothing else: the first page of a fresh browser, and on a
// processor slowed six times, as slow as a cheap phone's is commonly taken to be.
func BenchmarkPageIsDrawn(b *testing.B) {
	for _, slower := range []float64{1, 6} {
		b.Run(fmt.Sprintf("slowed %g times", slower), func(b *testing.B) {
			for b.Loop() {
				ctx := chrome.Start(b)
				require.NoError(b, chromedp.Do(ctx, chrome.Command(emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: slower})))
				opened(b, ctx, demoRide(b, true, "ride.gpx", "motion.csv"), 360, "light")
				b.ReportMetric(chrome.JS[float64](b, ctx, `new Promise(done => requestAnimationFrame(() => setTimeout(() => done(Math.max(
					performance.getEntriesByType('navigation')[0].loadEventEnd, ...performance.getEntriesByType('paint').map(p => p.startTime))), 0)))`), "ms-to-drawn")
			}
		})
	}
}

// A round takes two sheets, A4 or Letter.
func TestRoundPrintsOnTwoSheets(t *testing.T) {
	ctx := chrome.Start(t)
	for name, d := range map[string]*report.Debrief{"demo": demoRide(t, true, "ride.gpx", "motion.csv"), "ten obstacles": loops(1, 10, 0)} {
		opened(t, ctx, d, 1280, "dark")
		for _, size := range [][2]float64{{8.27, 11.69}, {8.5, 11}} {
			pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(func(p *page.PrintToPDFParams) { p.PaperWidth, p.PaperHeight = size[0], size[1] }))
			require.NoError(t, err)
			require.Len(t, pageObject().FindAll(pdf, -1), 2, "%s, %v", name, size)
		}
	}
}

func pageObject() *regexp.Regexp { return regexp.MustCompile(`/Type\s*/Page[^s]`) }

// Screen readers and keyboards find all: no violation of any of axe's rules, in either scheme, wide and narrow.
func TestAxeFindsNoViolation(t *testing.T) {
	ctx := chrome.Start(t)
	for i, r := range rides(t) {
		type look struct {
			width  int64
			scheme string
		}
		looks := []look{{360, "dark"}, {1280, "light"}, {768, "dark"}}
		if i > 0 {
			looks = looks[i%2 : i%2+1] // all for the first, in turn for the others
		}
		for _, at := range looks {
			opened(t, ctx, r.d, at.width, at.scheme)
			chrome.JS[int](t, ctx, `document.getElementById("plan")?.focus(); 1`)
			chrome.Axe(t, ctx)
		}
	}
}

// TestPictures writes screenshots of every kind of ride.
func TestPictures(t *testing.T) {
	if chrome.Folder() == "" {
		t.Skip("no folder given (-pictures DIR) to write screenshots into")
	}
	ctx := chrome.Start(t)
	for _, r := range rides(t) {
		for _, width := range []int64{360, 768, 1280} {
			for _, scheme := range []string{"light", "dark"} {
				opened(t, ctx, r.d, width, scheme)
				chrome.Picture(t, ctx, fmt.Sprintf("%s-%d-%s", strings.ReplaceAll(r.name, " ", "-"), width, scheme))
			}
		}
	}
}
