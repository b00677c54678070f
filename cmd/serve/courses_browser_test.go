package serve

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"groundline/cmd/serve/lines"
	"groundline/report/keep"
	"groundline/trace/testkit/chrome"
)

// Every page of courses and comparisons at three widths in both schemes: whole, reachable, and nothing moves.
func TestCoursesInTheBrowser(t *testing.T) {
	y := newYard(t)
	ctx := chrome.New(t)
	pair := fmt.Sprintf("ride=%d&ride=%d", y.both, y.gps)
	for _, p := range []struct{ name, address string }{
		{"courses", "/courses"},
		{"course", "/courses/1"},
		{"course-horse", fmt.Sprintf("/courses/1?for=horse-%d", y.birch)},
		{"course-remove", "/courses/1/remove"},
		{"line", "/courses/1/lines/3/4"},
		{"line-turning", "/courses/1/lines/4/5?figure=strides&sort=length"},
		{"compare", fmt.Sprintf("/compare?ride=%d", y.both)},
		{"compare-none", "/compare?" + pair + "&line=77-78"},
		{"comparison", "/compare?" + pair},
		{"comparison-line", fmt.Sprintf("/compare?line=4-5&attempt=%d.1&attempt=%d.1&attempt=%d.1", y.both, y.gps, y.motion)},
	} {
		chrome.At(t, ctx, 360, "light")
		chrome.Visit(t, ctx, y.URL+p.address)
		chrome.Looked(t, ctx, p.name)
	}
}

// Names as long as the store takes, without a blank in them, break no page of a phone.
func TestLongNamesOfCourses(t *testing.T) {
	y := newYard(t)
	long := strings.Repeat("Zwergseidenschnabel", 4)
	plan, _, err := y.store.Plan(t.Context(), y.course.VersionID)
	require.NoError(t, err)
	plan.Name = long
	for i := range plan.Obstacles {
		plan.Obstacles[i].ID = fmt.Sprintf("%s%d", long[:30], i)
	}
	plan.Route = nil
	for _, o := range plan.Obstacles {
		plan.Route = append(plan.Route, o.ID)
	}
	plan.SetLines(nil)
	c, err := y.store.SaveCourse(t.Context(), 0, plan)
	require.NoError(t, err)
	require.NoError(t, y.store.SetHorse(t.Context(), keep.Horse{ID: y.birch, Name: long}))
	ctx := chrome.New(t)
	for i, address := range []string{"/courses", fmt.Sprintf("/courses/%d?for=horse-%d", c.ID, y.birch), lines.Address(c.ID, plan.Route[0], plan.Route[1]), lines.Address(y.course.ID, "3", "4"),
		"/compare", fmt.Sprintf("/compare?ride=%d&ride=%d", y.both, y.gps)} {
		chrome.At(t, ctx, 360, "light")
		chrome.Visit(t, ctx, y.URL+address)
		require.LessOrEqual(t, chrome.JS[int](t, ctx, `document.documentElement.scrollWidth`), 360, address)
		chrome.Axe(t, ctx)
		if chrome.Folder() != "" {
			png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(filepath.Join(chrome.Folder(), fmt.Sprintf("long-%d.png", i)), png, 0o666))
		}
	}
}

// A coach picks attempts of two horses on the line's page, by keyboard alone, and lands on the comparison.
func TestCoachComparesByKeyboard(t *testing.T) {
	y := newYard(t)
	ctx := chrome.New(t)
	chrome.At(t, ctx, 1280, "light")
	chrome.Visit(t, ctx, y.URL+"/courses")
	focused := func() string {
		return chrome.JS[string](t, ctx, `(e => [e.getAttribute('value'), e.getAttribute('href'), e.textContent.trim()].join('|'))(document.activeElement)`)
	}
	press := func(keys ...string) {
		for _, k := range keys {
			require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent(k)))
		}
	}
	to := func(what string) {
		t.Helper()
		for range 120 {
			if press(kb.Tab); slices.Contains(strings.Split(focused(), "|"), what) {
				require.NotEqual(t, "none", chrome.JS[string](t, ctx, `getComputedStyle(document.activeElement).outlineStyle`), "the focus is seen")
				return
			}
		}
		t.Fatalf("%s can't be reached by the tab key", what)
	}
	to("/courses/1")
	press(kb.Enter)
	chrome.Until(t, ctx, `location.pathname == '/courses/1' && document.readyState == 'complete'`)
	to("/courses/1/lines/3/4")
	press(kb.Enter)
	chrome.Until(t, ctx, `location.pathname == '/courses/1/lines/3/4' && document.readyState == 'complete'`)
	to(fmt.Sprintf("%d.1", y.both))
	press(" ")
	to(fmt.Sprintf("%d.1", y.motion))
	press(" ")
	to("Compare the picked attempts")
	press(kb.Enter)
	chrome.Until(t, ctx, `location.pathname == '/compare' && document.readyState == 'complete'`)
	require.Contains(t, chrome.JS[string](t, ctx, `document.querySelector('h1').textContent`), "rides compared")
	text := chrome.JS[string](t, ctx, `document.body.innerText`)
	require.Contains(t, text, "Birch")
	require.Contains(t, text, "Ash")
	require.Contains(t, text, "Different horses")
	chrome.Still(t, ctx)
	// On to all lines of these rides, and back to choosing, by links.
	to("All lines of these rides")
	press(kb.Enter)
	chrome.Until(t, ctx, `document.querySelectorAll('h2').length > 8`)
	chrome.Still(t, ctx)
}

// A course prints on few sheets, whatever the scheme: the plan, the walk and the cautions, without what is only for the screen.
func TestCoursePrints(t *testing.T) {
	y := newYard(t)
	ctx := chrome.New(t)
	chrome.At(t, ctx, 1280, "dark")
	for address, most := range map[string]int{"/courses/1": 2, "/courses/1/lines/3/4": 1} {
		chrome.Visit(t, ctx, y.URL+address)
		pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(func(p *page.PrintToPDFParams) { p.PaperWidth, p.PaperHeight = 8.27, 11.69 }))
		require.NoError(t, err)
		sheets := len(pageObject().FindAll(pdf, -1))
		require.LessOrEqual(t, sheets, most, address)
		require.Positive(t, sheets)
		if chrome.Folder() != "" {
			printed(t, "print"+fmt.Sprint(most), pdf)
		}
	}
}

func pageObject() *regexp.Regexp { return regexp.MustCompile(`/Type\s*/Page[^s]`) }

func printed(t *testing.T, name string, pdf []byte) {
	t.Helper()
	require.NoError(t, os.WriteFile(filepath.Join(chrome.Folder(), name+".pdf"), pdf, 0o666))
}
