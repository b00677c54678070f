package serve

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	cdpbrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report/keep"
	"groundline/trace/testkit/chrome"
)

// The parts that need no page: undo, snapping, units, words, live questions, drafts.
func TestEditorParts(t *testing.T) {
	server := site(t)
	ctx := chrome.New(t)
	chrome.Visit(t, ctx, server.URL+"/courses/new")
	checks, err := os.ReadFile("testdata/editor_parts.js")
	require.NoError(t, err)
	require.Empty(t, chrome.JS[string](t, ctx, string(checks)))
}

// editing is an editor in a browser.
type editing struct {
	t     *testing.T
	ctx   context.Context
	store *keep.Store
	url   string
}

// demoCourse is a server with the demo's course, and the course.
func demoCourse(t *testing.T) (*httptest.Server, *keep.Store, keep.Course) {
	t.Helper()
	var store *keep.Store
	var kept keep.Course
	server := site(t, func(t *testing.T, opt *Options) {
		store = opt.Store
		p, _, err := course.ReadPlan("course.yaml", demoFiles(t)["course.yaml"])
		require.NoError(t, err)
		kept, err = store.SaveCourse(t.Context(), 0, p)
		require.NoError(t, err)
	})
	return server, store, kept
}

// edit opens the editor of the demo's course.
func edit(t *testing.T, width int64) editing {
	t.Helper()
	server, store, kept := demoCourse(t)
	ctx := chrome.New(t)
	chrome.At(t, ctx, width, "light")
	e := editing{t, ctx, store, fmt.Sprintf("%s/courses/%d/edit", server.URL, kept.ID)}
	chrome.Visit(t, ctx, e.url)
	e.settled()
	return e
}

func (e editing) do(actions ...chromedp.Action[chromedp.Void]) {
	e.t.Helper()
	require.NoError(e.t, chromedp.Do(e.ctx, actions...))
}

// settled waits until the figures are those of the drawing.
func (e editing) settled() {
	e.t.Helper()
	chrome.Until(e.t, e.ctx, `document.getElementById('editor').dataset.figures === 'now'`)
	chrome.JS[int](e.t, e.ctx, `new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(1))))`)
}

// on is where a thing lies on the screen, with the drawing in view.
func (e editing) on(key string) (x, y float64) {
	e.t.Helper()
	at := chrome.JS[[]float64](e.t, e.ctx, `(() => {document.getElementById('drawing').scrollIntoView({block: 'center', behavior: 'instant'});
		const b = document.querySelector('[data-key="`+key+`"] .hit').getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2]})()`)
	return at[0], at[1]
}

// perMetre is how many pixels a metre has in the drawing.
func (e editing) perMetre() float64 {
	return chrome.JS[float64](e.t, e.ctx, `(() => {const s = document.getElementById('drawing'), v = s.getAttribute('viewBox').split(' ').map(Number); return s.clientWidth / v[2]})()`)
}

// drag moves the mouse from a place by so many pixels, in steps.
func (e editing) drag(x, y, dx, dy float64, steps int) {
	e.t.Helper()
	e.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x, y), chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, x, y, chromedp.ButtonLeft, chromedp.ClickCount(1)))
	for i := 1; i <= steps; i++ {
		k := float64(i) / float64(steps)
		e.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x+k*dx, y+k*dy, chromedp.ButtonLeft))
	}
	e.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, x+dx, y+dy, chromedp.ButtonLeft, chromedp.ClickCount(1)))
}

func (e editing) value(id string) string {
	e.t.Helper()
	return chrome.JS[string](e.t, e.ctx, `document.getElementById('`+id+`').value`)
}

func (e editing) text(id string) string {
	e.t.Helper()
	return chrome.JS[string](e.t, e.ctx, `document.getElementById('`+id+`').textContent`)
}

// place is where the chosen obstacle stands by its fields.
func (e editing) place() (x, y float64) {
	e.t.Helper()
	at := chrome.JS[[]float64](e.t, e.ctx, `['f-x', 'f-y'].map(id => Number(document.getElementById(id).value))`)
	return at[0], at[1]
}

// typed replaces what a field has by typing.
func (e editing) typed(id, text string) {
	e.t.Helper()
	chrome.JS[int](e.t, e.ctx, `(() => {const f = document.getElementById('`+id+`'); f.focus(); f.select(); return 1})()`)
	if text == "" {
		text = kb.Delete
	}
	e.do(chromedp.KeyEvent(text))
}

func (e editing) click(id string) {
	e.t.Helper()
	e.do(chromedp.Click("#" + id))
}

func (e editing) open(id string) {
	e.t.Helper()
	chrome.JS[int](e.t, e.ctx, `(document.getElementById('`+id+`').open = true, 1)`)
}

// fine holds that nothing went wrong in the page.
func (e editing) fine() {
	e.t.Helper()
	require.Empty(e.t, chrome.JS[string](e.t, e.ctx, `window.wrong.join('; ')`))
}

// plan is what the store has of the course that the editor is of.
func (e editing) plan() *course.Plan {
	e.t.Helper()
	id := chrome.JS[int](e.t, e.ctx, `Number(document.getElementById('editor').dataset.course)`)
	c, err := e.store.Course(e.t.Context(), int64(id))
	require.NoError(e.t, err)
	p, _, err := e.store.Plan(e.t.Context(), c.VersionID)
	require.NoError(e.t, err)
	return p
}

func (e editing) save() *course.Plan {
	e.t.Helper()
	e.click("save")
	chrome.Until(e.t, e.ctx, `document.getElementById('saved').textContent.startsWith('Saved as version')`)
	return e.plan()
}

func obstacle(t *testing.T, p *course.Plan, id string) course.Obstacle {
	t.Helper()
	o, ok := p.Obstacle(id)
	require.True(t, ok, "obstacle %s", id)
	return o
}

// An obstacle is dragged; the figures follow; it goes back and forth in time; what is saved is what is drawn.
func TestEditorDragsTurnsAndUndoes(t *testing.T) {
	e := edit(t, 1280)
	before := obstacle(t, e.plan(), "5")
	px := e.perMetre()
	e.click("snap")
	x, y := e.on("o:5")
	e.drag(x, y, -6*px, 4*px, 12)
	e.settled()
	gotX, gotY := e.place()
	require.InDelta(t, before.At.X-6, gotX, 0.2)
	require.InDelta(t, before.At.Y-4, gotY, 0.2, "down the screen is back")
	require.Equal(t, "Changes are not saved yet.", e.text("saved"))
	require.Contains(t, e.text("now"), "4 to 5: ")
	require.Contains(t, e.text("now"), "5 to 6a: ")
	chrome.Until(t, e.ctx, `document.getElementById('aloud').textContent.startsWith('5, vertical, ')`)
	require.Contains(t, e.text("aloud"), "4 to 5: ", "told aloud when it has settled")

	// The handle turns it.
	handle := chrome.JS[[]float64](t, e.ctx, `(() => {const b = document.querySelector('.turnhit').getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2]})()`)
	x, y = e.on("o:5")
	r := math.Hypot(handle[0]-x, handle[1]-y)
	e.drag(handle[0], handle[1], x+r-handle[0], y-handle[1], 10)
	e.settled()
	require.InDelta(t, 90, facing(e), 2, "a pixel is a degree and a half there")

	// One step each: the turn, then the drag; and again.
	e.click("undo")
	e.settled()
	require.Equal(t, "0", e.value("f-facing"))
	e.do(chromedp.KeyEvent("z", chromedp.KeyModifiers(chromedp.ModifierCtrl)))
	e.settled()
	gotX, gotY = e.place()
	require.Equal(t, []float64{before.At.X, before.At.Y}, []float64{gotX, gotY})
	require.Equal(t, "As it was kept.", e.text("saved"))
	require.True(t, chrome.JS[bool](t, e.ctx, `document.getElementById('undo').disabled`))
	e.do(chromedp.KeyEvent("Z", chromedp.KeyModifiers(chromedp.ModifierCtrl, chromedp.ModifierShift)))
	e.click("redo")
	e.settled()
	after := obstacle(t, e.save(), "5")
	require.InDelta(t, 90, after.FacingDeg, 2)
	require.InDelta(t, before.At.X-6, after.At.X, 0.2)
	e.fine()
}

func facing(e editing) float64 {
	return chrome.JS[float64](e.t, e.ctx, `Number(document.getElementById('f-facing').value)`)
}

// All by keyboard: from thing to thing, moved, turned, removed.
func TestEditorByKeyboard(t *testing.T) {
	e := edit(t, 1280)
	before := e.plan()
	chrome.JS[int](t, e.ctx, `(document.getElementById('add').focus(), 1)`)
	e.do(chromedp.KeyEvent(kb.Tab))
	require.Equal(t, "o:1", chrome.JS[string](t, e.ctx, `document.activeElement.dataset.key ?? document.activeElement.outerHTML.slice(0, 200)`))
	e.do(chromedp.KeyEvent(kb.Tab))
	require.Equal(t, "o:2", chrome.JS[string](t, e.ctx, `document.activeElement.dataset.key`))
	require.Equal(t, "2, oxer, 24.0 m right, 39.3 m forward, facing 0°", chrome.JS[string](t, e.ctx, `document.activeElement.getAttribute('aria-label')`))
	require.Equal(t, "2", e.value("f-id"), "what has the focus is chosen")
	for range 5 {
		e.do(chromedp.KeyEvent(kb.ArrowRight))
	}
	e.do(chromedp.KeyEvent(kb.ArrowUp, chromedp.KeyModifiers(chromedp.ModifierShift)), chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent("["), chromedp.KeyEvent("["), chromedp.KeyEvent("]"), chromedp.KeyEvent("}"))
	e.settled()
	x, y := e.place()
	require.InDelta(t, 24.5, x, 1e-9)
	require.InDelta(t, 39.25+1-0.1, y, 0.01)
	require.Equal(t, "14", e.value("f-facing"))
	require.Equal(t, "o:2", chrome.JS[string](t, e.ctx, `document.activeElement.dataset.key`), "the focus stays")
	require.Contains(t, e.text("now")+e.text("aloud"), "1 to 2", "the line's words, or that its tape is out")
	e.do(chromedp.KeyEvent(kb.Delete))
	e.settled()
	require.NotContains(t, chrome.JS[string](t, e.ctx, `document.getElementById('route').textContent`), "2 oxer")
	require.Equal(t, "o:3", chrome.JS[string](t, e.ctx, `document.activeElement.dataset.key`), "the focus goes to the next")
	for range 3 {
		e.do(chromedp.KeyEvent("z", chromedp.KeyModifiers(chromedp.ModifierCtrl)))
	}
	e.settled()
	e.do(chromedp.KeyEvent("s", chromedp.KeyModifiers(chromedp.ModifierCtrl)))
	chrome.Until(t, e.ctx, `document.getElementById('saved').textContent.startsWith('Saved')`)
	require.Equal(t, before, e.plan(), "undone all: as it was")

	// What is added by the keyboard has the focus: arrows move it at once.
	chrome.JS[int](t, e.ctx, `(document.getElementById('add').focus(), 1)`)
	e.do(chromedp.KeyEvent(kb.Enter))
	e.settled()
	x, y = e.place()
	require.Equal(t, "o:"+e.value("f-id"), chrome.JS[string](t, e.ctx, `document.activeElement.dataset.key ?? document.activeElement.id`))
	e.do(chromedp.KeyEvent(kb.ArrowRight))
	e.settled()
	gotX, gotY := e.place()
	require.InDelta(t, x+0.1, gotX, 1e-9)
	require.Equal(t, y, gotY)
	e.fine()
}

// Near a tape distance an obstacle goes to it; with Alt it does not.
func TestEditorSnapsToDistances(t *testing.T) {
	e := edit(t, 1280)
	px := e.perMetre()
	x, y := e.on("o:2")
	// 21.65 m by the map; the 12-ft horse's five strides are 60 ft and 12 ft, 21.95 m.
	e.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, x, y, chromedp.ButtonLeft, chromedp.ClickCount(1)))
	e.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x+8, y-8, chromedp.ButtonLeft), chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x+0.2*px, y-0.5*px, chromedp.ButtonLeft))
	chrome.Until(t, e.ctx, `document.getElementById('now').textContent === 'Snapped in line with 1: 21.95 m, 5 strides'`)
	e.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, x+0.2*px, y-0.5*px, chromedp.ButtonLeft, chromedp.ClickCount(1)))
	e.settled()
	gotX, gotY := e.place()
	require.Equal(t, 24.0, gotX)
	require.InDelta(t, 17+21.95+0.15+0.45, gotY, 0.011)
	l := e.save().Lines[0]
	require.InDelta(t, 21.95, l.MapM, 0.006)
	require.Nil(t, l.WalkedM, "the tape was of the old place")

	// The tables' distances are buttons too, and any distance is typed.
	require.Equal(t, "1", e.value("p-by"))
	e.do(chromedp.Click("#p-fits button:first-child"))
	e.settled()
	require.InDelta(t, 18.29, e.save().Lines[0].MapM, 0.006)
	e.typed("p-d", "72 ft")
	e.click("p-put")
	e.settled()
	require.InDelta(t, 72*0.3048, e.save().Lines[0].MapM, 1e-3)
	chrome.JS[int](t, e.ctx, `(() => {const s = document.getElementById('p-how'); s.value = 'bearing'; s.dispatchEvent(new Event('change')); return 1})()`)
	e.typed("p-deg", "30")
	e.do(chromedp.KeyEvent(kb.Enter))
	e.settled()
	o := obstacle(t, e.save(), "2")
	require.InDelta(t, 24+(21.9456+0.6)*math.Sin(math.Pi/6), o.At.X, 0.01)
	require.InDelta(t, 17+(21.9456+0.6)*math.Cos(math.Pi/6), o.At.Y, 0.01)
	e.fine()
}

// Numbers are typed; what can't be meant is told beside its field, with the last figures kept and said to be old.
func TestEditorTellsFaultsBesideTheirFields(t *testing.T) {
	e := edit(t, 1280)
	e.do(chromedp.Click(`#route li:nth-child(4) .ed-name`))
	require.Equal(t, "4", e.value("f-id"))
	e.typed("f-x", "57,5")
	e.typed("f-height", "105")
	chrome.Until(t, e.ctx, `document.getElementById('f-height-fault').textContent.includes('metres from 0 to 3')`)
	require.Equal(t, "true", chrome.JS[string](t, e.ctx, `document.getElementById('f-height').getAttribute('aria-invalid')`))
	require.Contains(t, e.text("faults"), `Obstacle 4, height: found "105", expected metres from 0 to 3`)
	require.Contains(t, e.text("freshness"), "from before")
	require.True(t, chrome.JS[bool](t, e.ctx, `document.getElementById('drawing').classList.contains('stale')`))
	require.NotEmpty(t, e.text("whole-course"), "the last figures stay")
	e.typed("f-height", "1.05")
	e.settled()
	require.Empty(t, e.text("f-height-fault")+e.text("freshness"))
	e.typed("f-height", "high")
	require.Contains(t, e.text("f-height-fault"), "is no number")
	require.Equal(t, "high", e.value("f-height"), "nobody's typing is taken away")
	require.Contains(t, e.text("freshness"), "can’t be read")
	e.typed("f-id", "2")
	require.Contains(t, e.text("f-id-fault"), "there is an obstacle 2 already")
	e.typed("f-id", "40")
	e.settled()
	p := e.save()
	o := obstacle(t, p, "40")
	require.Equal(t, course.Point{X: 57.5, Y: 13.5}, o.At)
	require.Equal(t, 1.05, o.HeightM)
	require.Equal(t, "40", p.Route[3])
	require.Equal(t, "40", p.Lines[2].To)
	require.Equal(t, course.Bending, p.Lines[2].Kind, "what was said of the line stays with it")
	e.fine()
}

// The figures are for whom the coach chooses, in the units that the coach chooses.
func TestEditorForAKeptHorseInFeet(t *testing.T) {
	server := site(t, withDemo)
	ctx := chrome.New(t)
	chrome.At(t, ctx, 1280, "light")
	e := editing{t: t, ctx: ctx, url: server.URL + "/courses/1/edit"}
	chrome.Visit(t, ctx, e.url)
	e.settled()
	first := chrome.JS[string](t, ctx, `document.querySelector('#lines tbody tr').innerText`)
	require.Contains(t, first, "21.60 m")
	choose := func(id, value string) {
		t.Helper()
		chrome.JS[int](t, ctx, `(() => {const s = document.getElementById('`+id+`'); s.focus(); s.value = [...s.options].find(o => o.value === '`+value+`' || o.text === '`+value+`').value; s.dispatchEvent(new Event('change')); return 1})()`)
	}
	choose("horse", "Birch")
	chrome.Until(t, ctx, `document.getElementById('fit-head').textContent === 'For Birch'`)
	require.NotEqual(t, first, chrome.JS[string](t, ctx, `document.querySelector('#lines tbody tr').innerText`))
	choose("horse", "size:small pony")
	chrome.Until(t, ctx, `document.getElementById('fit-head').textContent === 'For a small pony'`)
	require.Contains(t, chrome.JS[string](t, ctx, `document.querySelector('#lines tbody tr').innerText`), "6 (")
	choose("unit", "feet")
	chrome.Until(t, ctx, `document.querySelector('#lines tbody tr').innerText.includes('70.9 ft')`)
	e.do(chromedp.Click(`#route li:nth-child(1) .ed-name`))
	require.Equal(t, "78.7", e.value("f-x"))
	require.Equal(t, "0.85", e.value("f-height"), "heights stay in metres")
	e.typed("f-x", "79")
	e.settled()
	choose("unit", "metres")
	chrome.Until(t, ctx, `document.getElementById('f-x').value === '24.08'`)
	choose("unit", "paces")
	chrome.Until(t, ctx, `document.getElementById('f-x').value === '26.34'`)
	require.Equal(t, "As it was kept.", func() string { e.click("undo"); e.settled(); return e.text("saved") }())
	e.fine()
}

// The ground: heights and corners are dragged, moved by keys, removed; start and finish are turned; a boundary that crosses
// itself is told.
func TestEditorShapesTheGround(t *testing.T) {
	e := edit(t, 1280)
	require.Equal(t, 0, chrome.JS[int](t, e.ctx, `document.querySelectorAll('[data-key^="spot:"], [data-key^="corner:"]').length`), "not in the way until they are worked on")
	e.open("d-heights")
	chrome.Until(t, e.ctx, `document.querySelectorAll('[data-key^="spot:"]').length === 4`)
	require.Contains(t, e.text("ground"), "Falls 2.7 %")
	px := e.perMetre()
	x, y := e.on("spot:3")
	e.drag(x, y, 10*px, 5*px, 8)
	e.settled()
	require.NotContains(t, e.text("ground"), "in one plane", "the same height elsewhere is no plane any more")
	chrome.JS[int](t, e.ctx, `(document.querySelector('[data-key="spot:0"]').focus(), 1)`)
	e.do(chromedp.KeyEvent(kb.Delete))
	e.settled()
	e.open("d-arena")
	chrome.Until(t, e.ctx, `document.querySelectorAll('[data-key^="corner:"]').length === 4`)
	chrome.JS[int](t, e.ctx, `(document.querySelector('[data-key="corner:2"]').focus(), 1)`)
	for range 3 {
		e.do(chromedp.KeyEvent(kb.ArrowUp, chromedp.KeyModifiers(chromedp.ModifierShift)))
	}
	e.settled()
	require.Empty(t, e.value("a-width"), "no rectangle any more")
	require.Equal(t, "Corner 3, 92.0 m right, 63.0 m forward", chrome.JS[string](t, e.ctx, `document.activeElement.getAttribute('aria-label')`))

	chrome.JS[int](t, e.ctx, `(document.querySelector('[data-key="start"]').focus(), 1)`)
	e.do(chromedp.KeyEvent("]"), chromedp.KeyEvent("]"), chromedp.KeyEvent(kb.ArrowLeft))
	e.settled()
	require.Equal(t, "Start line, 23.9 m right, 8.0 m forward, facing 2°", chrome.JS[string](t, e.ctx, `document.activeElement.getAttribute('aria-label')`))
	e.open("d-timing")
	e.click("t-gate")
	p := e.save()
	require.Len(t, p.Levels, 3)
	require.InDelta(t, 10, p.Levels[2].X, 0.3)
	require.InDelta(t, 55, p.Levels[2].Y, 0.3)
	require.Equal(t, course.Point{X: 92, Y: 63}, p.Arena[2])
	require.Nil(t, p.Gate)
	require.InDelta(t, 8, math.Hypot(p.Start[1].X-p.Start[0].X, p.Start[1].Y-p.Start[0].Y), 1e-3)

	chrome.JS[int](t, e.ctx, `(() => {const f = document.querySelectorAll('#corners .ed-row')[2].querySelectorAll('input')[1]; f.focus(); f.select(); return 1})()`)
	e.do(chromedp.KeyEvent("-20"))
	chrome.Until(t, e.ctx, `document.getElementById('arena-fault').textContent.includes('crosses')`)
	e.do(chromedp.KeyEvent("z", chromedp.KeyModifiers(chromedp.ModifierCtrl)))
	chrome.Until(t, e.ctx, `document.getElementById('arena-fault').textContent === ''`)
	e.click("a-open")
	e.settled()
	require.Nil(t, e.save().Arena)
	e.click("a-open")
	e.settled()
	require.Len(t, e.save().Arena, 4, "the boundary that was there before")
	e.fine()
}

// A coach builds a course from nothing.
func TestCoachBuildsACourse(t *testing.T) {
	var store *keep.Store
	server := site(t, func(t *testing.T, opt *Options) { store = opt.Store })
	ctx := chrome.New(t)
	chrome.At(t, ctx, 1280, "light")
	e := editing{t, ctx, store, server.URL + "/courses/new"}
	chrome.Visit(t, ctx, e.url)
	require.Equal(t, "Add the first obstacle.", e.text("now"))
	require.Equal(t, "Not kept yet.", e.text("saved"))
	e.typed("name", "Thursday group")
	e.open("d-arena")
	e.typed("a-width", "70")
	e.typed("a-length", "45")

	put := func(id, kind, x, y, facing, height, spread string) {
		t.Helper()
		e.click("add")
		e.settled()
		require.Equal(t, id, e.value("f-id"))
		chrome.JS[int](t, ctx, `(() => {const s = document.getElementById('f-kind'); s.value = '`+kind+`'; s.dispatchEvent(new Event('change')); return 1})()`)
		e.typed("f-x", x)
		e.typed("f-y", y)
		e.typed("f-facing", facing)
		e.typed("f-height", height)
		e.typed("f-spread", spread)
		e.settled()
	}
	put("1", "vertical", "15", "12", "90", "0.8", "")
	put("2", "oxer", "40", "12", "90", "0.85", "0.9")
	// 5 strides of a 12-ft horse behind 1, in line.
	e.typed("p-d", "21.95")
	e.click("p-put")
	e.settled()
	require.Contains(t, e.text("now"), "1 to 2: 21.95 m, 5 strides")
	put("3", "vertical", "60", "30", "320", "0.85", "")
	put("4", "wall", "35", "35", "270", "0.8", "0.4")
	// 4 becomes a double.
	e.click("element")
	e.settled()
	require.Equal(t, "4b", e.value("f-id"))
	require.Equal(t, []string{"1", "2", "3", "4a", "4b"}, chrome.JS[[]string](t, ctx, `[...document.querySelectorAll('#route .ed-name b')].map(b => b.textContent)`))
	require.Contains(t, e.text("now"), "4a to 4b: ")

	// Start and finish, home, speed; a slope of spot heights.
	e.open("d-timing")
	e.click("t-start")
	e.click("t-finish")
	e.click("t-home")
	e.settled()
	require.Contains(t, e.text("whole-course"), "time allowed")
	e.open("d-course")
	e.typed("speed", "300")
	e.open("d-heights")
	for i, h := range [][3]string{{"0", "0", "0"}, {"70", "0", "0.7"}, {"0", "45", "0"}} {
		e.click("s-add")
		for k, v := range h {
			chrome.JS[int](t, ctx, fmt.Sprintf(`(() => {const f = document.querySelectorAll('#spots .ed-row')[%d].querySelectorAll('input')[%d]; f.focus(); f.select(); return 1})()`, i, k))
			e.do(chromedp.KeyEvent(v))
		}
	}
	e.settled()
	require.Contains(t, e.text("ground"), "Falls 1.0 % towards the left of the plan")
	require.NotEmpty(t, chrome.JS[int](t, ctx, `document.querySelectorAll('.contour').length`))

	// The tape, and what it is meant to be.
	chrome.JS[int](t, ctx, `(() => {const f = document.querySelector('#lines tbody tr:first-child input'); f.focus(); f.select(); return 1})()`)
	e.do(chromedp.KeyEvent("21.9"))
	e.settled()
	require.Contains(t, chrome.JS[string](t, ctx, `document.querySelector('#lines tbody tr:first-child').innerText`), "21.90 m")
	// The route: 3 before 2, and back.
	e.do(chromedp.Click(`[data-do="up 2"]`))
	e.settled()
	require.Equal(t, []string{"1", "3", "2", "4a", "4b"}, chrome.JS[[]string](t, ctx, `[...document.querySelectorAll('#route .ed-name b')].map(b => b.textContent)`))
	require.Equal(t, "up 1", chrome.JS[string](t, ctx, `document.activeElement.dataset.do`), "the focus goes along")
	e.do(chromedp.KeyEvent("z", chromedp.KeyModifiers(chromedp.ModifierCtrl)))
	e.settled()

	p := e.save()
	require.Equal(t, "Thursday group", p.Name)
	require.Equal(t, []string{"1", "2", "3", "4a", "4b"}, p.Route)
	require.Equal(t, []course.Point{{X: 0, Y: 0}, {X: 70, Y: 0}, {X: 70, Y: 45}, {X: 0, Y: 45}}, p.Arena)
	require.Equal(t, 300.0, p.SpeedMMin)
	require.Equal(t, 21.9, *p.Lines[0].WalkedM)
	require.InDelta(t, 21.95, p.Lines[0].MapM, 1e-3)
	require.Equal(t, course.Combination, p.Lines[3].Kind)
	require.Len(t, p.Levels, 3)
	require.NotNil(t, p.Start)
	require.NotNil(t, p.Home)
	require.Equal(t, 0.9, obstacle(t, p, "2").SpreadM)
	require.Regexp(t, `/courses/\d+/edit$`, chrome.JS[string](t, ctx, `location.href`))
	require.True(t, chrome.JS[bool](t, ctx, `document.getElementById('to-course').checkVisibility()`))

	// Opened again it is the same, and nothing is offered.
	chrome.Visit(t, ctx, chrome.JS[string](t, ctx, `location.href`))
	e.settled()
	require.Equal(t, "As it was kept.", e.text("saved"))
	require.False(t, chrome.JS[bool](t, ctx, `document.getElementById('ask').checkVisibility()`))
	e.fine()
}

// While dragging, the figures are those of the drawing within a tenth of a second, and no frame takes the script long: on
// the demo's course and on one of fifteen obstacles, and on a processor slowed four times, as a cheap phone's.
func TestFiguresFollowTheDrag(t *testing.T) {
	for _, c := range []struct {
		what   string
		many   bool
		slower float64
	}{{"8 obstacles", false, 1}, {"15 obstacles", true, 1}, {"15 obstacles, processor slowed four times", true, 4}} {
		e := edit(t, 1280)
		if c.many {
			p := fifteen()
			_, err := e.store.SaveCourse(t.Context(), 1, p)
			require.NoError(t, err)
			chrome.Visit(t, e.ctx, e.url)
			e.settled()
		}
		e.do(chrome.Command(emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: c.slower}))
		px := e.perMetre()
		tries := 0
	again:
		x, y := e.on("o:3")
		chrome.JS[int](t, e.ctx, `(() => {window.stopped = false; performance.clearMeasures(); window.frames60 = []; let last = performance.now(); const f = now => { frames60.push(now - last); last = now; if (!window.stopped) requestAnimationFrame(f) }; requestAnimationFrame(f); return 1})()`)
		e.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, x, y, chromedp.ButtonLeft, chromedp.ClickCount(1)))
		for i := range 90 {
			a := float64(i) / 14
			e.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x+6*px*math.Sin(a), y+4*px*(1-math.Cos(a)), chromedp.ButtonLeft))
		}
		e.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, x, y, chromedp.ButtonLeft, chromedp.ClickCount(1)))
		e.settled()
		took := chrome.JS[[]float64](t, e.ctx, `(window.stopped = true, performance.getEntriesByName('figures').map(m => m.duration))`)
		frames := chrome.JS[[]float64](t, e.ctx, `frames60.slice(2)`)
		drawn := chrome.JS[[]float64](t, e.ctx, `performance.getEntriesByName('frame').map(m => m.duration)`)
		slices.Sort(took)
		slices.Sort(frames)
		slices.Sort(drawn)
		at := func(v []float64, share float64) float64 { return v[int(share*float64(len(v)-1))] }
		t.Logf("%s: figures behind the last change: median %.0f ms, nine in ten %.0f, worst %.0f, of %d; frames: median %.1f ms, nine in ten %.1f, worst %.0f, of %d, of which the script takes %.1f, %.1f, %.0f ms",
			c.what, at(took, 0.5), at(took, 0.9), at(took, 1), len(took), at(frames, 0.5), at(frames, 0.9), at(frames, 1), len(frames), at(drawn, 0.5), at(drawn, 0.9), at(drawn, 1))
		require.Greater(t, len(took), 3)
		e.fine()
		if c.slower > 1 {
			continue
		}
		if tries++; at(took, 0.5) >= 100 && tries < 4 {
			goto again // others may have had the machine
		}
		require.Less(t, at(took, 0.5), 100.0, c.what)
		require.Less(t, at(drawn, 0.5), 1000.0/60, c.what)
	}
}

// fifteen is a course of 15 obstacles in five rows, on a slope.
func fifteen() *course.Plan {
	p := &course.Plan{Name: "Fifteen", Arena: []course.Point{{X: 0, Y: 0}, {X: 90, Y: 0}, {X: 90, Y: 75}, {X: 0, Y: 75}}, SpeedMMin: 350,
		Levels: []course.Spot{{X: 0, Y: 0, Z: 0}, {X: 90, Y: 0, Z: 1}, {X: 90, Y: 75, Z: 3}, {X: 0, Y: 75, Z: 1}, {X: 45, Y: 40, Z: 2}, {X: 20, Y: 30, Z: 1}}}
	for row := range 5 {
		for i := range 3 {
			x, deg := 20+22*float64(i), 80+10*float64(i)
			if row%2 == 1 {
				x, deg = 90-x, 360-deg
			}
			id := fmt.Sprint(row*3 + i + 1)
			p.Obstacles = append(p.Obstacles, course.Obstacle{ID: id, Kind: course.Oxer, At: course.Point{X: x, Y: 10 + 14*float64(row) + 2*float64(i%2)}, FacingDeg: deg, HeightM: 1, SpreadM: 1, WidthM: 3.5})
			p.Route = append(p.Route, id)
		}
	}
	p.SetLines(nil)
	return p
}

// Two editors of one course: the second to save is asked, and loses nothing.
func TestEditorAsksWhenSomebodySavedMeanwhile(t *testing.T) {
	e := edit(t, 1280)
	theirs := e.plan()
	theirs.Name = "Theirs"
	_, err := e.store.SaveCourse(t.Context(), 1, theirs)
	require.NoError(t, err)
	e.typed("name", "Mine")
	e.click("save")
	chrome.Until(t, e.ctx, `document.getElementById('ask').textContent.includes('was saved by somebody else')`)
	require.Contains(t, e.text("saved"), "Not saved")
	require.Equal(t, "Theirs", e.plan().Name)
	e.do(chromedp.Click("#ask button:first-child"))
	chrome.Until(t, e.ctx, `document.getElementById('saved').textContent.startsWith('Saved as version')`)
	require.Equal(t, "Mine", e.plan().Name)
	e.typed("name", "Mine again")
	e.save()
	require.Equal(t, "Mine again", e.plan().Name, "no conflict with oneself")

	theirs.Name = "Theirs again"
	_, err = e.store.SaveCourse(t.Context(), 1, theirs)
	require.NoError(t, err)
	e.typed("name", "My own")
	e.click("save")
	chrome.Until(t, e.ctx, `document.getElementById('ask').textContent.includes('was saved by somebody else')`)
	e.do(chromedp.Click("#ask button:nth-child(2)"))
	chrome.Until(t, e.ctx, `location.pathname === '/courses/2/edit'`)
	require.Equal(t, "My own", e.plan().Name)
	old, err := e.store.Course(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, "Theirs again", old.Name)
	e.fine()
}

// What was not saved is offered again, and leaving with it asks first.
func TestEditorKeepsADraft(t *testing.T) {
	e := edit(t, 1280)
	asked := 0
	require.NoError(t, chromedp.Listen(e.ctx, func(ev any) {
		if d, ok := ev.(*page.EventJavascriptDialogOpening); ok {
			if d.Type == page.DialogTypeBeforeunload {
				asked++
			}
			go func() {
				_, _ = chromedp.Call(e.ctx, page.HandleJavaScriptDialog, page.HandleJavaScriptDialogParams{Accept: true})
			}()
		}
	}))
	e.do(chromedp.Click(`#route li:nth-child(1) .ed-name`))
	e.typed("f-x", "26")
	e.settled()
	time.Sleep(600 * time.Millisecond) // the draft is kept a little later
	chrome.Visit(t, e.ctx, e.url)
	require.Equal(t, 1, asked, "leaving asks")
	e.settled()
	require.Contains(t, e.text("ask"), "was not saved")
	require.Equal(t, "As it was kept.", e.text("saved"))
	e.do(chromedp.Click("#ask button:first-child"))
	e.settled()
	require.Equal(t, "Changes are not saved yet.", e.text("saved"))
	e.do(chromedp.Click(`#route li:nth-child(1) .ed-name`))
	require.Equal(t, "26", e.value("f-x"))
	require.Equal(t, 26.0, obstacle(t, e.save(), "1").At.X)
	chrome.Visit(t, e.ctx, e.url)
	require.Equal(t, 1, asked, "nothing is lost, nobody is asked")
	require.False(t, chrome.JS[bool](t, e.ctx, `document.getElementById('ask').checkVisibility()`))

	e.do(chromedp.Click(`#route li:nth-child(1) .ed-name`))
	e.typed("f-x", "27")
	time.Sleep(600 * time.Millisecond)
	chrome.Visit(t, e.ctx, e.url)
	e.do(chromedp.Click("#ask button:nth-child(2)"))
	chrome.Visit(t, e.ctx, e.url)
	require.False(t, chrome.JS[bool](t, e.ctx, `document.getElementById('ask').checkVisibility()`), "thrown away is gone")

	// Who draws on while a draft is offered loses neither.
	e.do(chromedp.Click(`#route li:nth-child(1) .ed-name`))
	e.typed("f-x", "28")
	time.Sleep(600 * time.Millisecond)
	chrome.Visit(t, e.ctx, e.url)
	e.do(chromedp.Click(`#route li:nth-child(2) .ed-name`))
	e.typed("f-x", "29")
	time.Sleep(600 * time.Millisecond)
	chrome.Visit(t, e.ctx, e.url)
	e.do(chromedp.Click("#ask button:nth-child(2)"))
	chrome.Until(t, e.ctx, `document.getElementById('ask').checkVisibility()`)
	e.do(chromedp.Click("#ask button:first-child"))
	e.settled()
	e.do(chromedp.Click(`#route li:nth-child(2) .ed-name`))
	require.Equal(t, "29", e.value("f-x"))
	e.fine()
}

// Plans come and go as files, and as text.
func TestEditorImportsAndExports(t *testing.T) {
	e := edit(t, 1280)
	e.open("d-file")
	dir := t.TempDir()
	plans := filepath.Join("..", "..", "testdata", "plans")
	upload := func(name string) {
		t.Helper()
		full, err := filepath.Abs(filepath.Join(plans, name))
		require.NoError(t, err)
		e.do(chromedp.SetUploadFiles("#import", []string{full}))
	}
	upload("field.yaml")
	chrome.Until(t, e.ctx, `document.getElementById('text-said').textContent.includes('field.yaml is drawn')`)
	require.Contains(t, e.text("text-said"), "comments are not kept")
	e.settled()
	shipped, err := os.ReadFile(filepath.Join(plans, "field.yaml"))
	require.NoError(t, err)
	want, _, err := course.ReadPlan("field.yaml", shipped)
	require.NoError(t, err)
	require.Equal(t, want, e.save())

	upload("faulty.yaml")
	chrome.Until(t, e.ctx, `document.getElementById('text-said').textContent.includes('can’t be read')`)
	require.Contains(t, e.text("text-said"), "Row ")
	require.Equal(t, "Sloping field", e.value("name"), "what was drawn stays")

	// Out and in again, each way, is the same plan.
	_, err = chromedp.Call(e.ctx, cdpbrowser.SetDownloadBehavior, cdpbrowser.SetDownloadBehaviorParams{Behavior: cdpbrowser.SetDownloadBehaviorBehaviorAllow, DownloadPath: dir})
	require.NoError(t, err)
	for _, format := range []string{"yaml", "geojson", "pdf", "svg"} {
		e.do(chromedp.Click(`[data-export="` + format + `"]`))
		file := filepath.Join(dir, "Sloping field."+format)
		require.Eventually(t, func() bool { info, err := os.Stat(file); return err == nil && info.Size() > 0 }, 20*time.Second, 20*time.Millisecond, file)
		time.Sleep(50 * time.Millisecond)
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		switch format {
		case "pdf":
			require.True(t, strings.HasPrefix(string(data), "%PDF"))
		case "svg":
			require.Contains(t, string(data), "</svg>")
		default:
			p, _, err := course.Read("plan."+format, data)
			require.NoError(t, err)
			if format == "yaml" {
				require.Equal(t, want, p)
			} else {
				require.Equal(t, len(want.Obstacles), len(p.Obstacles))
				require.InDelta(t, want.Obstacles[2].At.X, p.Obstacles[2].At.X, 2e-3)
				require.Equal(t, want.Route, p.Route)
			}
		}
	}
	e.click("text-write")
	chrome.Until(t, e.ctx, `document.getElementById('text').value.startsWith('plan: groundline/1')`)
	chrome.JS[int](t, e.ctx, `(() => {const f = document.getElementById('text'); f.value = f.value.replace('Sloping field', 'By text'); return 1})()`)
	e.click("text-read")
	chrome.Until(t, e.ctx, `document.getElementById('name').value === 'By text'`)
	require.Equal(t, "By text", e.save().Name)
	upload("field.geojson")
	chrome.Until(t, e.ctx, `document.getElementById('text-said').textContent.includes('field.geojson is drawn')`)
	e.settled()
	require.InDelta(t, want.Obstacles[2].At.X, e.save().Obstacles[2].At.X, 2e-3)
	e.fine()
}

// On a phone: a finger on an obstacle drags it and the page stays; a finger on the ground scrolls the page; two zoom.
func TestEditorByTouch(t *testing.T) {
	e := edit(t, 360)
	e.do(chromedp.EmulateViewport(360, 800, chromedp.EmulateTouch))
	e.click("snap")
	e.settled()
	touch := func(kind input.DispatchTouchEventType, points ...[2]float64) {
		t.Helper()
		p := input.DispatchTouchEventParams{Type: kind, TouchPoints: []*input.TouchPoint{}}
		for i, at := range points {
			id := float64(i)
			p.TouchPoints = append(p.TouchPoints, &input.TouchPoint{X: at[0], Y: at[1], ID: &id})
		}
		_, err := chromedp.Call(e.ctx, input.DispatchTouchEvent, p)
		require.NoError(t, err)
	}
	x, y := e.on("o:5")
	px := e.perMetre()
	scrolled := func() float64 { return chrome.JS[float64](t, e.ctx, `scrollY`) }
	was := scrolled()
	touch(input.DispatchTouchEventTypeTouchStart, [2]float64{x + 3, y + 2})
	for i := 1; i <= 10; i++ {
		touch(input.DispatchTouchEventTypeTouchMove, [2]float64{x + 3 - float64(i)*px, y + 2 + 0.5*float64(i)*px})
	}
	touch(input.DispatchTouchEventTypeTouchEnd)
	e.settled()
	gotX, gotY := e.place()
	require.InDelta(t, 78-10, gotX, 0.5)
	require.InDelta(t, 24-5, gotY, 0.5)
	require.Equal(t, was, scrolled(), "the page did not scroll")

	// Two fingers.
	box := chrome.JS[[]float64](t, e.ctx, `(() => {const b = document.getElementById('drawing').getBoundingClientRect(); return [b.left, b.top, b.width, b.height]})()`)
	cx, cy := box[0]+box[2]/2, box[1]+box[3]/2
	touch(input.DispatchTouchEventTypeTouchStart, [2]float64{cx - 30, cy}, [2]float64{cx + 30, cy})
	for i := 1; i <= 8; i++ {
		d := 30 + 6*float64(i)
		touch(input.DispatchTouchEventTypeTouchMove, [2]float64{cx - d, cy}, [2]float64{cx + d, cy})
		time.Sleep(20 * time.Millisecond)
	}
	touch(input.DispatchTouchEventTypeTouchEnd)
	chrome.Until(t, e.ctx, fmt.Sprintf(`(() => {const s = document.getElementById('drawing'), v = s.getAttribute('viewBox').split(' ').map(Number); return s.clientWidth / v[2] > %f})()`, 2*px))
	require.Equal(t, was, scrolled())
	gone, _ := e.place()
	require.Equal(t, gotX, gone, "nothing was moved by it")

	// Zoomed in, a finger on the ground pans; as a whole, it scrolls the page.
	view := func() string {
		return chrome.JS[string](t, e.ctx, `document.getElementById('drawing').getAttribute('viewBox')`)
	}
	before := view()
	swipe := func(fromX, fromY, dy float64) {
		t.Helper()
		touch(input.DispatchTouchEventTypeTouchStart, [2]float64{fromX, fromY})
		for i := 1; i <= 10; i++ {
			touch(input.DispatchTouchEventTypeTouchMove, [2]float64{fromX, fromY + float64(i)*dy/10})
			time.Sleep(16 * time.Millisecond)
		}
		touch(input.DispatchTouchEventTypeTouchEnd)
		time.Sleep(100 * time.Millisecond)
	}
	free := chrome.JS[[]float64](t, e.ctx, `(() => {const b = document.getElementById('drawing').getBoundingClientRect();
		for (let y = b.top + 20; y < b.bottom - 20; y += 6) for (let x = b.left + 20; x < b.right - 20; x += 6)
			if ([...document.querySelectorAll('.drawing .hit')].every(h => {const r = h.getBoundingClientRect(); return Math.hypot(r.left + r.width / 2 - x, r.top + r.height / 2 - y) > 48})) return [x, y];
		return [0, 0]})()`)
	require.NotZero(t, free[0], "no free ground to put a finger on")
	swipe(free[0], free[1], -60)
	require.NotEqual(t, before, view())
	require.Equal(t, was, scrolled())
	e.click("whole")
	whole := view()
	_, y = e.on("gate") // brings the drawing to the middle again
	swipe(cx, y-8*px, -120)
	require.Equal(t, whole, view())
	require.NotEqual(t, was, scrolled(), "the page scrolls")
	e.fine()
}

// Without a script the plan is text, checked and saved by the server.
func TestEditorWithoutScript(t *testing.T) {
	server, store, kept := demoCourse(t)
	ctx := chrome.New(t)
	require.NoError(t, chromedp.Do(ctx, chrome.Command(emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})))
	chrome.At(t, ctx, 360, "light")
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(fmt.Sprintf("%s/courses/%d/edit", server.URL, kept.ID))))
	seen := func(what string) bool {
		return chrome.JS[bool](t, ctx, `Boolean(document.querySelector('`+what+`')?.checkVisibility())`)
	}
	require.False(t, seen("#editor"))
	require.True(t, seen("#plan-text"))
	require.LessOrEqual(t, chrome.JS[int](t, ctx, `document.documentElement.scrollWidth`), 360)
	text := chrome.JS[string](t, ctx, `document.getElementById('plan-text').value`)
	require.Contains(t, text, `id: "6a"`)
	set := func(text string) {
		t.Helper()
		chrome.JS[int](t, ctx, `(document.getElementById('plan-text').value = `+fmt.Sprintf("%q", text)+`, 1)`)
	}
	set(strings.Replace(text, "kind: oxer", "kind: oxxer", 1))
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`button[value=check]`)))
	chrome.Until(t, ctx, `document.querySelector('.ed-text .ed-faults')?.textContent.includes('did you mean oxer?')`)
	set(strings.Replace(text, "Low field", "High field", 1))
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`button[value=check]`)))
	chrome.Until(t, ctx, `document.querySelector('table.list')?.textContent.includes('21.60')`)
	require.Contains(t, chrome.JS[string](t, ctx, `document.querySelector('main').innerText`), "the time allowed is 43 s")
	scripts := func(disabled bool) {
		t.Helper()
		require.NoError(t, chromedp.Do(ctx, chrome.Command(emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: disabled})))
	}
	scripts(false) // for axe-core, on the page as it is
	chrome.Axe(t, ctx)
	scripts(true)
	require.Greater(t, chrome.JS[float64](t, ctx, `document.querySelector('.ed-picture').naturalWidth`), 100.0)
	require.LessOrEqual(t, chrome.JS[int](t, ctx, `document.documentElement.scrollWidth`), 360)
	if chrome.Folder() != "" {
		png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(chrome.Folder(), "editor-plain-360-light.png"), png, 0o666))
	}
	require.NoError(t, chromedp.Do(ctx, chromedp.Click(`button[value=save]`)))
	chrome.Until(t, ctx, `location.pathname === '/courses/1'`)
	now, err := store.Course(t.Context(), kept.ID)
	require.NoError(t, err)
	require.Equal(t, "High field, an invented course", now.Name)
}

// When the server is gone, drawing goes on, and the figures are said to be old.
func TestEditorWithoutServer(t *testing.T) {
	down := make(chan struct{})
	var store *keep.Store
	inner := site(t, func(t *testing.T, opt *Options) {
		store = opt.Store
		p, _, err := course.ReadPlan("course.yaml", demoFiles(t)["course.yaml"])
		require.NoError(t, err)
		_, err = store.SaveCourse(t.Context(), 0, p)
		require.NoError(t, err)
	})
	away := false
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		select {
		case <-down:
			away = true
			panic(http.ErrAbortHandler)
		default:
			inner.Config.Handler.ServeHTTP(w, r)
		}
	}))
	server.Config.ErrorLog = nil
	t.Cleanup(server.Close)
	ctx := chrome.New(t)
	chrome.At(t, ctx, 1280, "light")
	e := editing{t, ctx, store, server.URL + "/courses/1/edit"}
	chrome.Visit(t, ctx, e.url)
	e.settled()
	close(down)
	chrome.JS[int](t, ctx, `(document.querySelector('[data-key="o:1"]').focus(), 1)`)
	e.do(chromedp.KeyEvent(kb.ArrowRight, chromedp.KeyModifiers(chromedp.ModifierShift)))
	chrome.Until(t, ctx, `document.getElementById('freshness').textContent.includes('does not answer')`)
	require.True(t, away)
	x, _ := e.place()
	require.Equal(t, 25.0, x)
	require.True(t, chrome.JS[bool](t, ctx, `document.getElementById('editor').classList.contains('old')`))
	e.click("save")
	chrome.Until(t, ctx, `document.getElementById('saved').textContent.includes('draft is kept')`)
	e.fine()
}

// The plan prints to a round scale, with its lines, checks and cautions, on one sheet or two.
func TestEditorPrints(t *testing.T) {
	e := edit(t, 1280)
	for _, size := range [][2]float64{{8.27, 11.69}, {8.5, 11}} {
		pdf, err := chromedp.Run(e.ctx, chromedp.PrintToPDF(func(p *page.PrintToPDFParams) { p.PaperWidth, p.PaperHeight = size[0], size[1] }))
		require.NoError(t, err)
		n := len(regexp.MustCompile(`/Type\s*/Page[^s]`).FindAll(pdf, -1))
		require.LessOrEqual(t, n, 2)
		require.GreaterOrEqual(t, n, 1)
		if chrome.Folder() != "" {
			require.NoError(t, os.WriteFile(filepath.Join(chrome.Folder(), fmt.Sprintf("editor-print-%g.pdf", size[0])), pdf, 0o666))
		}
	}
	require.Regexp(t, `^1 : [1-9]\d*0$`, e.text("print-scale"))
	e.fine()
}

// The page in its states at three widths in both schemes: whole, reachable, no violation of axe-core's rules.
func TestEditorLooks(t *testing.T) {
	e := edit(t, 360)
	chrome.Looked(t, e.ctx, "editor")
	chrome.JS[int](t, e.ctx, `(document.querySelector('[data-key="o:4"]').focus(), 1)`)
	for _, id := range []string{"d-arena", "d-timing", "d-heights", "d-course", "d-file"} {
		e.open(id)
	}
	e.typed("f-height", "105")
	chrome.Until(t, e.ctx, `document.getElementById('f-height-fault').textContent !== ''`)
	chrome.Looked(t, e.ctx, "editor-open")
	e.fine()
	chrome.At(t, e.ctx, 360, "light")
}
