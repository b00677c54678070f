package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"groundline/course"
	"groundline/report/keep"
	"groundline/trace/testkit/chrome"
)

// evil is what an attacker calls a horse, a course, a file: it runs wherever somebody forgets to escape it, in text, in
// attributes with either quote, in scripts and in addresses.
const evil = `"'><script>ran=1</script><img src=x onerror=ran=1>`

// evils are more of the kind, each for another place that it breaks out of.
var evils = []string{
	evil,
	`</script><script>ran=1</script>`,
	`</title></style></textarea><svg onload=ran=1>`,
	`javascript:ran=1`,
	`\u003cimg src=x onerror=ran=1>`,
	"{{.Store}} ${ran=1} `+ran+`",
	`' onfocus=ran=1 autofocus x='`,
	`]]><script>ran=1</script>`,
	`--><script>ran=1</script><!--`,
	`&lt;script&gt;ran=1&lt;/script&gt;`,
}

// wildID is the name of the nth obstacle of a route, as wild as a plan may have it.
func wildID(n int, id string) string {
	return []string{`"'><script>ran=1</script>`, `</script><svg onload=ran=1>`, `javascript:ran=1`, `' onfocus=ran=1 autofocus x='`}[n%4] + id
}

// evilStore keeps rides, horses and courses under such names, some worked out and some that can't be read.
func evilStore(t *testing.T) (dir string) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "store")
	ctx := t.Context()
	s, err := keep.Open(ctx, dir, keep.Options{Program: program()})
	require.NoError(t, err)
	defer s.Close()
	text, err := demoFiles.ReadFile("demo/course.yaml")
	require.NoError(t, err)
	plan, _, err := course.ReadPlan("course.yaml", text)
	require.NoError(t, err)
	plan.Name = evil
	// Ids as wild as a plan may have them.
	wild := map[string]string{}
	for i, id := range plan.Route {
		wild[id] = wildID(i, id)
	}
	again := func(id *string) {
		if w, ok := wild[*id]; ok {
			*id = w
		}
	}
	made := *plan
	made.Route, made.Obstacles, made.Lines = slices.Clone(plan.Route), slices.Clone(plan.Obstacles), slices.Clone(plan.Lines)
	for i := range made.Route {
		again(&made.Route[i])
	}
	for i := range made.Obstacles {
		again(&made.Obstacles[i].ID)
	}
	for i := range made.Lines {
		again(&made.Lines[i].From)
		again(&made.Lines[i].To)
	}
	c, err := s.SaveCourse(ctx, 0, &made)
	require.NoError(t, err)

	keepRide := func(files map[string][]byte, of keep.About) int64 {
		t.Helper()
		var received []*keep.Received
		var names []string
		for name := range files {
			names = append(names, name)
		}
		sort.Strings(names)
		for _, name := range names {
			r, err := s.Receive(ctx, name, bytes.NewReader(files[name]), 1<<30)
			require.NoError(t, err)
			received = append(received, r)
		}
		id, _, err := s.Keep(ctx, received, of)
		require.NoError(t, err)
		_, err = s.WorkOut(ctx, id)
		require.NoError(t, err)
		return id
	}
	for n := range 2 {
		horse, err := s.NameHorse(ctx, evils[n])
		require.NoError(t, err)
		h, err := s.Horse(ctx, horse)
		require.NoError(t, err)
		h.Note = strings.Join(evils, "\n")
		require.NoError(t, s.SetHorse(ctx, h))
		day := dayOf(t, n)
		keepRide(map[string][]byte{evil + ".gpx": day["ride.gpx"], "'onload=ran=1'.csv": day["motion.csv"]},
			keep.About{HorseID: horse, CourseVersionID: c.VersionID, Label: evils[n+2], Note: strings.Join(evils, "\n")})
	}
	day := dayOf(t, 7) // without course or horse
	keepRide(map[string][]byte{evils[2] + ".gpx": bytes.ReplaceAll(day["ride.gpx"], []byte(`creator="made"`), []byte(`creator="`+html.EscapeString(evil)+`"`))}, keep.About{Label: evil})
	// Files that can't be read tell what was found in them.
	keepRide(map[string][]byte{evil + ".csv": []byte(evil + "," + evil + "\n1,2\n3,4\n")}, keep.About{Note: evil})
	keepRide(map[string][]byte{evil + ".gpx": []byte(`<gpx><trk><trkseg><trkpt lat="` + html.EscapeString(evil) + `" lon="1"><time>` + html.EscapeString(evil) + `</time></trkpt></trkseg></trk></gpx>`)}, keep.About{})
	keepRide(map[string][]byte{evil + ".txt": []byte(evil)}, keep.About{})
	return dir
}

// crawled is a page that can be reached.
type crawled struct {
	path, kind, body string
	status           int
	header           http.Header
}

// crawl follows every link from the first page, and what those lead to; every form that only asks is sent as it stands.
func crawl(t *testing.T, s *served, seeds ...string) []crawled {
	t.Helper()
	todo := append([]string{"/"}, seeds...)
	seen := map[string]bool{}
	shapes := map[string]int{} // of one path with other queries, some are enough
	var out []crawled
	for len(todo) > 0 && len(out) < 1000 {
		path := todo[0]
		todo = todo[1:]
		path, _, _ = strings.Cut(path, "#")
		bare, _, _ := strings.Cut(path, "?")
		if seen[path] || shapes[bare] > 6 {
			continue
		}
		seen[path] = true
		shapes[bare]++
		answer, body := s.get(t, path)
		require.Less(t, answer.StatusCode, 500, path)
		if to := answer.Header.Get("Location"); to != "" {
			todo = append(todo, to)
		}
		page := crawled{path, answer.Header.Get("Content-Type"), body, answer.StatusCode, answer.Header}
		out = append(out, page)
		if !strings.HasPrefix(page.kind, "text/html") {
			continue
		}
		base, err := url.Parse(path)
		require.NoError(t, err)
		for tag := range tags(t, body) {
			if tag.Data == "form" && !strings.EqualFold(attr(tag, "method"), "post") {
				todo = append(todo, asked(t, base, tag)...)
			}
			for _, a := range tag.Attr {
				if a.Key == "href" || a.Key == "src" {
					to, err := base.Parse(a.Val)
					require.NoError(t, err, "%s: %q", path, a.Val)
					if to.Scheme == "data" {
						continue
					}
					require.Empty(t, to.Host, "%s leads away to %s", path, a.Val)
					require.Contains(t, []string{"", "data"}, to.Scheme, "%s: %s", path, a.Val)
					todo = append(todo, to.String())
				}
			}
		}
	}
	return out
}

// asked are the addresses that a form leads to: as it stands but for all boxes being ticked, by each of its buttons.
func asked(t *testing.T, base *url.URL, form *html.Node) (out []string) {
	t.Helper()
	q := url.Values{}
	ways := []*html.Node{nil}
	for n := range form.Descendants() {
		name, value := attr(n, "name"), attr(n, "value")
		switch {
		case n.Data == "button" && (name != "" || attr(n, "formaction") != ""):
			ways = append(ways, n)
		case name == "" || n.Type != html.ElementNode:
		case n.Data == "input" && attr(n, "type") == "radio":
			if q.Get(name) == "" || slices.ContainsFunc(n.Attr, func(a html.Attribute) bool { return a.Key == "checked" }) {
				q.Set(name, value)
			}
		case n.Data == "input":
			q.Add(name, value)
		case n.Data == "select":
			for o := range n.Descendants() {
				if o.Data == "option" && (!q.Has(name) || attr(o, "value") != "") {
					q.Set(name, attr(o, "value"))
				}
			}
		}
	}
	for _, b := range ways {
		action, more := attr(form, "action"), url.Values{}
		for name, values := range q {
			more[name] = values
		}
		if b != nil {
			if to := attr(b, "formaction"); to != "" {
				action = to
			}
			if name := attr(b, "name"); name != "" {
				more.Set(name, attr(b, "value"))
			}
		}
		to, err := base.Parse(action)
		require.NoError(t, err)
		require.Empty(t, to.Host, action)
		to.RawQuery = more.Encode()
		out = append(out, to.String())
	}
	return out
}

func attr(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

// tags are all elements of a page as a browser builds them.
func tags(t *testing.T, page string) func(func(*html.Node) bool) {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	return func(yield func(*html.Node) bool) {
		for n := range root.Descendants() {
			if n.Type == html.ElementNode && !yield(n) {
				return
			}
		}
	}
}

// allowedByHash tells whether a policy names a script or style by its content.
func allowedByHash(policy, text string) bool {
	sum := sha256.Sum256([]byte(text))
	return strings.Contains(policy, "'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'")
}

// requireTame holds what every answer must be, whatever people called their horses.
func requireTame(t *testing.T, p crawled) {
	t.Helper()
	policy := p.header.Get("Content-Security-Policy")
	require.Contains(t, policy, "default-src 'none'", p.path)
	require.Contains(t, policy, "frame-ancestors 'none'", p.path)
	require.NotContains(t, policy, "unsafe-eval", p.path)
	require.NotContains(t, policy, "*", p.path)
	for part := range strings.SplitSeq(policy, ";") {
		if strings.HasPrefix(strings.TrimSpace(part), "script-src") {
			require.NotContains(t, part, "unsafe", p.path)
			require.NotContains(t, part, "http", p.path)
		}
	}
	for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin"} {
		require.Equal(t, want, p.header.Get(name), "%s: %s", p.path, name)
	}
	require.Empty(t, p.header.Get("Access-Control-Allow-Origin"), p.path)
	require.Empty(t, p.header.Get("Server"), p.path)
	if !strings.HasPrefix(p.path, "/static/") {
		cache := p.header.Get("Cache-Control")
		require.True(t, strings.Contains(cache, "no-store") || strings.Contains(cache, "no-cache") || strings.Contains(cache, "private"), "%s may be kept by others: %q", p.path, cache)
	}
	for name, values := range p.header {
		for _, v := range values {
			require.NotContains(t, v, "ran=1>", "%s: %s", p.path, name)
			require.NotContains(t, v, "\"'>", "%s: %s", p.path, name)
		}
	}
	kind, _, _ := strings.Cut(p.kind, ";")
	switch kind {
	case "text/html":
		saved := strings.HasPrefix(p.header.Get("Content-Disposition"), "attachment") // opened from a disk, where only its own policy holds
		require.True(t, p.header.Get("Location") != "" || strings.HasPrefix(strings.ToLower(p.body), "<!doctype html>"), p.path)
		for n := range tags(t, p.body) {
			for _, a := range n.Attr {
				require.False(t, strings.HasPrefix(a.Key, "on"), "%s: <%s %s=%q>", p.path, n.Data, a.Key, a.Val)
				if a.Key == "href" || a.Key == "src" || a.Key == "action" || a.Key == "formaction" || a.Key == "xlink:href" {
					v := strings.ToLower(strings.TrimSpace(a.Val))
					require.False(t, strings.HasPrefix(v, "javascript:") || strings.HasPrefix(v, "data:text") || strings.HasPrefix(v, "vbscript:"), "%s: <%s %s=%q>", p.path, n.Data, a.Key, a.Val)
					require.NotEqual(t, "x", v, "%s: <%s %s=%q>", p.path, n.Data, a.Key, a.Val)
				}
			}
			switch n.Data {
			case "meta":
				if saved && attr(n, "http-equiv") == "Content-Security-Policy" {
					policy = attr(n, "content")
				}
			case "script":
				src := attr(n, "src")
				inline := ""
				if n.FirstChild != nil {
					inline = n.FirstChild.Data
				}
				switch kind := attr(n, "type"); {
				case src != "":
					require.True(t, strings.HasPrefix(src, "/static/"), "%s: script %q", p.path, src)
				case kind == "application/json": // does not run
				default:
					require.True(t, allowedByHash(policy, inline), "%s: a script that its policy does not name: %.200s", p.path, inline)
				}
			case "style":
				require.True(t, n.FirstChild == nil || allowedByHash(policy, n.FirstChild.Data), "%s: a style that its policy does not name", p.path)
			case "iframe", "object", "embed", "base", "applet", "frame":
				t.Errorf("%s: <%s>", p.path, n.Data)
			case "form":
				action := attr(n, "action")
				require.True(t, action == "" || strings.HasPrefix(action, "/") && !strings.HasPrefix(action, "//"), "%s: form to %q", p.path, action)
			}
		}
	case "image/svg+xml":
		for n := range tags(t, p.body) {
			require.NotEqual(t, "script", n.Data, p.path)
			for _, a := range n.Attr {
				require.False(t, strings.HasPrefix(strings.ToLower(a.Key), "on"), "%s: <%s %s=%q>", p.path, n.Data, a.Key, a.Val)
			}
		}
	case "text/css", "text/javascript":
		require.True(t, strings.HasPrefix(p.path, "/static/"), p.path)
	case "application/json", "application/problem+json", "application/yaml", "application/schema+json", "text/plain", "text/csv", "application/octet-stream", "application/pdf", "image/png",
		"application/geo+json", "application/vnd.apache.parquet", "application/jsonl", "application/x-ndjson", "application/zip", "":
	default:
		t.Errorf("%s: an answer of type %q that this test does not know", p.path, p.kind)
	}
}

func TestNamesOfOthersRunNowhere(t *testing.T) {
	if testing.Short() {
		t.Skip("thousands of requests: left out with -short")
	}
	s := startPage(t, "--store", evilStore(t))
	more := []string{"/api/schema/debrief-1.json"}
	for _, route := range routesOf(t) {
		if path, ok := strings.CutPrefix(route, "GET "); ok {
			for _, id := range []string{"1", "2", "6"} {
				more = append(more, fill(path, id))
			}
			line := strings.NewReplacer("{id}", "1", "{from}", url.PathEscape(wildID(0, "1")), "{to}", url.PathEscape(wildID(1, "2")))
			more = append(more, line.Replace(path), line.Replace(path)+"?"+url.Values{"from": {wildID(0, "1")}, "to": {wildID(1, "2")}, "ride": {"1", "2"}, "id": {"1", "2"}}.Encode())
		}
	}
	for _, q := range evils {
		e := url.QueryEscape(q)
		more = append(more, "/?q="+e, "/?text="+e, "/rides?q="+e, "/?horse="+e, "/?said="+e, "/?state="+e, "/?before="+e, "/sign-in?next="+e, "/compare?ride="+e, "/compare?course=1&from="+e+"&to="+e,
			"/strides?ride="+e, "/courses?q="+e, "/horses?name="+e, "/"+url.PathEscape(q), "/rides/"+url.PathEscape(q), "/courses/"+url.PathEscape(q), "/horses/"+url.PathEscape(q),
			"/courses/1/line?from="+e+"&to="+e, "/api/1/rides?q="+e, "/api/1/"+url.PathEscape(q))
	}
	for id := range 8 {
		for _, p := range []string{"/rides/%d", "/rides/%d/details", "/rides/%d/understood", "/rides/%d/remove", "/rides/%d/files/1", "/rides/%d/files/2", "/rides/%d/debrief.html", "/courses/%d", "/courses/%d/edit", "/horses/%d", "/compare?ride=%d", "/compare?ride=1&ride=%d", "/api/1/rides/%d", "/api/1/rides/%d/debrief"} {
			more = append(more, fmt.Sprintf(p, id))
		}
	}
	all := func() string {
		var b strings.Builder
		for _, list := range []string{"/api/1/rides?limit=100", "/api/1/courses", "/api/1/horses"} {
			_, body := s.get(t, list)
			b.WriteString(body)
		}
		return b.String()
	}
	before := all()
	pages := crawl(t, s, more...)
	require.True(t, before == all(), "looking at pages changed something")
	kinds := map[string]int{}
	seenEvil := 0
	for _, p := range pages {
		kind, _, _ := strings.Cut(p.kind, ";")
		kinds[kind]++
		requireTame(t, p)
		if strings.Contains(p.body, "ran=1") {
			seenEvil++
		}
	}
	t.Logf("%d answers: %v; %d show what was meant to run", len(pages), kinds, seenEvil)
	require.Greater(t, kinds["text/html"], 30)
	require.Greater(t, seenEvil, 10, "the evil names are shown nowhere, so this test shows nothing")

	// Nothing that there is was left out.
	mux, reached := http.NewServeMux(), map[string]bool{}
	for _, route := range routesOf(t) {
		if strings.HasPrefix(route, "GET ") && !strings.HasSuffix(route, ".any") {
			mux.HandleFunc(route, http.NotFound)
			reached[route] = false
		}
	}
	var some []crawled // of each
	opened := map[string]int{}
	for _, p := range pages {
		r, err := http.NewRequest("GET", s.url+p.path, nil)
		require.NoError(t, err)
		_, route := mux.Handler(r)
		if opened[route]++; opened[route] <= 4 {
			some = append(some, p)
		}
		if p.status == 200 || p.header.Get("Location") != "" {
			reached[route] = true
		}
	}
	for route, was := range reached {
		assert.True(t, was, "%s was not looked at", route)
	}

	// Originals come back as they were sent, and nothing runs them.
	answer, body := s.get(t, "/rides/4/files/1")
	require.Equal(t, 200, answer.StatusCode)
	require.Equal(t, evil+","+evil+"\n1,2\n3,4\n", body)
	require.Equal(t, "application/octet-stream", answer.Header.Get("Content-Type"))
	require.True(t, strings.HasPrefix(answer.Header.Get("Content-Disposition"), "attachment"))
	require.Contains(t, answer.Header.Get("Content-Security-Policy"), "sandbox")

	inBrowser(t, s, some)
}

// inBrowser opens the pages in Chromium, where nothing of what the names hold may run.
func inBrowser(t *testing.T, s *served, pages []crawled) {
	t.Helper()
	ctx := chrome.Start(t) // what stands above was held already; where there is no browser the rest is skipped
	require.NoError(t, chromedp.Listen(ctx, func(ev any) {
		if sent, ok := ev.(*network.EventRequestWillBeSent); ok {
			if u := sent.Request.URL; !strings.HasPrefix(u, s.url) && !strings.HasPrefix(u, "data:") && !strings.HasPrefix(u, "about:") && !strings.HasPrefix(u, "blob:"+s.url) {
				t.Errorf("a page asked for %s", u)
			}
		}
	}))
	require.NoError(t, chromedp.Do(ctx, chrome.Command(network.Enable, network.EnableParams{}), chrome.Command(cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: `
		window.ran = 0; window.refused = [];
		addEventListener('securitypolicyviolation', e => refused.push(e.violatedDirective + ' ' + e.blockedURI + ' ' + e.sample));`})))
	opened := 0
	for _, p := range pages {
		if !strings.HasPrefix(p.kind, "text/html") && !strings.HasPrefix(p.kind, "image/svg") || p.header.Get("Content-Disposition") != "" || strings.Contains(p.header.Get("Content-Security-Policy"), "sandbox") || opened >= 120 {
			continue
		}
		opened++
		require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(s.url+p.path)), p.path)
		told, err := chromedp.Run(ctx, chromedp.Evaluate[string](`new Promise(done => setTimeout(() => done(window.ran + '|' + window.refused.join(', ')), 30))`, chromedp.EvalAwaitPromise))
		require.NoError(t, err, p.path)
		require.Equal(t, "0|", told, p.path)
	}
	t.Logf("%d pages opened in a browser: nothing ran", opened)
}

// routesOf are all routes of the page as its source registers them: "METHOD /path/{name}".
func routesOf(t *testing.T) []string {
	t.Helper()
	var files []string
	require.NoError(t, filepath.WalkDir("../serve", func(path string, _ fs.DirEntry, err error) error {
		if strings.HasSuffix(path, ".go") {
			files = append(files, path)
		}
		return err
	}))
	var out []string
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		require.NoError(t, err)
		ast.Inspect(parsed, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) != 2 {
				return true
			}
			if f, ok := call.Fun.(*ast.SelectorExpr); !ok || f.Sel.Name != "HandleFunc" && f.Sel.Name != "Handle" {
				return true
			}
			pattern := call.Args[0]
			ending := ""
			if joined, ok := pattern.(*ast.BinaryExpr); ok { // "…debrief." and an ending
				pattern, ending = joined.X, "any"
			}
			if lit, ok := pattern.(*ast.BasicLit); ok {
				path, err := strconv.Unquote(lit.Value)
				require.NoError(t, err)
				if strings.Contains(path, " /") {
					out = append(out, path+ending)
				}
			}
			return true
		})
	}
	require.Greater(t, len(out), 25)
	return out
}

// fill puts a value into each {name} of a path.
func fill(path, value string) string {
	for {
		before, rest, found := strings.Cut(path, "{")
		if !found {
			return path
		}
		name, after, _ := strings.Cut(rest, "}")
		if name == "$" {
			path = before + after
			continue
		}
		path = before + value + after
	}
}

// Every route that there is, whoever adds one: another site can't make it change anything, nobody reads it without
// the passcode, a foreign name is not answered.
func TestEveryRouteIsGuarded(t *testing.T) {
	file := writeFile(t, "passcode", spoken+"\n")
	open, shut := startPage(t), startPage(t, "--passcode-file", file)
	for _, route := range routesOf(t) {
		method, path, _ := strings.Cut(route, " ")
		path = fill(path, "1")
		if method != "GET" {
			answer, _ := open.ask(t, method, path, "text/plain", strings.NewReader(`{"a":1}`), "Origin: http://evil.example", "Sec-Fetch-Site: cross-site")
			require.Equal(t, 403, answer.StatusCode, route)
			answer, _ = open.ask(t, method, path, "application/x-www-form-urlencoded", strings.NewReader("a=b"), "Origin: null")
			require.Equal(t, 403, answer.StatusCode, route)
		}
		answer, _ := open.get(t, path, "Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: no-cors", "Sec-Fetch-Dest: script")
		require.Equal(t, 403, answer.StatusCode, route)
		r, err := http.NewRequestWithContext(t.Context(), method, open.url+path, http.NoBody)
		require.NoError(t, err)
		r.Host = "evil.example"
		answer, err = open.Do(r)
		require.NoError(t, err)
		require.NoError(t, answer.Body.Close())
		require.Equal(t, 421, answer.StatusCode, route)

		answer, body := shut.ask(t, method, path, "text/plain", nil)
		if strings.HasPrefix(path, "/static/") {
			require.Equal(t, 404, answer.StatusCode, route)
			continue
		}
		require.Contains(t, []int{401, 303}, answer.StatusCode, route)
		if answer.StatusCode == 303 {
			require.True(t, strings.HasPrefix(answer.Header.Get("Location"), "/sign-in"), route)
		}
		require.Less(t, len(body), 500, route)
	}
	rides, err := open.Get(open.url + "/api/1/rides")
	require.NoError(t, err)
	defer rides.Body.Close()
	var b bytes.Buffer
	_, err = b.ReadFrom(rides.Body)
	require.NoError(t, err)
	require.Contains(t, b.String(), `"total":0`, "something was changed")
}

// Numbers, names and texts that no page sends: each is answered as somebody's fault or as nothing found, and never
// does what it says.
func TestOddRequestsAreAnswered(t *testing.T) {
	if testing.Short() {
		t.Skip("thousands of requests: left out with -short")
	}
	s := startPage(t, "--store", evilStore(t))
	count := func() string {
		_, body := s.get(t, "/api/1/rides?limit=1")
		return body[strings.Index(body, `"total"`):]
	}
	before := count()
	odd := []string{"0", "-1", "-9223372036854775808", "9223372036854775807", "9223372036854775808", "99999999999999999999999", "1e3", "0x1", "1.0", "%2b1", "01", "%201", "1%20", "%D9%A1", "NaN", "null", "true", "_1",
		"1;DROP%20TABLE%20ride", "1'--", "1%20OR%201=1", "..%2f1", "%00", "1%00", "[]", strings.Repeat("a", 300)}
	for _, route := range routesOf(t) {
		method, path, _ := strings.Cut(route, " ")
		values := odd
		if !strings.Contains(path, "{") || strings.Contains(path, "{$}") {
			values = []string{""}
		}
		for _, v := range values {
			at := fill(path, v)
			var answer *http.Response
			if method == "GET" {
				answer, _ = s.get(t, at)
			} else {
				answer, _ = s.ask(t, method, at, "application/x-www-form-urlencoded", strings.NewReader("a=b&page=-1"))
			}
			require.Less(t, answer.StatusCode, 500, "%s %s", method, at)
			if v != "" && v != "01" && v != "%2b1" && !strings.Contains(path, "{file") && answer.StatusCode < 300 {
				t.Errorf("%s %s is answered with %d", method, at, answer.StatusCode)
			}
			for _, kind := range []string{"application/json", "text/plain", "multipart/form-data; boundary=b", "nonsense", ""} {
				if method == "GET" || v != values[0] {
					continue
				}
				for _, body := range []string{"", "null", "[]", "{", `{"id":-1}`, strings.Repeat("[", 20_000), "--b\r\n", "\x00\xff"} {
					answer, _ := s.ask(t, method, at, kind, strings.NewReader(body))
					require.Less(t, answer.StatusCode, 500, "%s %s %s %.20q", method, at, kind, body)
				}
			}
		}
	}
	queries := []string{"q", "text", "horse", "course", "state", "from", "to", "before", "limit", "page", "ride", "id", "said", "format", "version", "line", "units", "columns", "from_id", "by"}
	texts := []string{"' OR 1=1 --", `" OR ""="`, "%", "_", "%%%%%", "1; DROP TABLE ride", "UNION SELECT * FROM setting", "\x00", "\xff", "-1", "99999999999999999999", "0001-01-01", "9999-12-31", "2026-02-30", strings.Repeat("%", 3000), strings.Repeat("a", 9000), "[[", "*", "NEAR(", "🐴", "NaN", "1e309", "-0"}
	turn := 0 // each text meets each query somewhere
	for _, path := range []string{"/", "/rides", "/courses", "/horses", "/strides", "/strides/table", "/strides/summary", "/compare", "/courses/1", "/horses/1", "/rides/1", "/rides/1/details", "/api/1/rides", "/api/1/strides", "/api/1/courses", "/api/1/horses"} {
		for _, q := range queries {
			for range 5 {
				turn++
				text := texts[turn%len(texts)]
				began := time.Now()
				answer, _ := s.get(t, path+"?"+q+"="+url.QueryEscape(text))
				require.Less(t, answer.StatusCode, 500, "%s?%s=%.40q", path, q, text)
				require.Less(t, time.Since(began), 5*time.Second, "%s?%s=%.40q", path, q, text)
			}
		}
	}
	// Text that is looked for is looked for as it stands.
	for _, text := range []string{"' OR 1=1 --", "%", "_%_", "zzz%"} {
		_, body := s.get(t, "/api/1/rides?q="+url.QueryEscape(text))
		require.Contains(t, body, `"total":0`, text)
	}
	require.Equal(t, before, count(), "rides came or went")
}

// However the place to go back to is written, nobody is led to another site.
func TestRedirectsStayHere(t *testing.T) {
	s := startPage(t)
	own, err := url.Parse(s.url + "/")
	require.NoError(t, err)
	for _, back := range []string{"//evil.example", "/\\evil.example", "\\/evil.example", "https://evil.example", "https:evil.example", "/\t/evil.example", "\n//evil.example", "/%2f/evil.example", "/.//evil.example", "/..//evil.example",
		"/%5cevil.example", "//evil.example/%2f..", "javascript:ran=1", "@evil.example", " //evil.example", "/\x00/evil.example", "/\u2215/evil.example", "///evil.example", "http:///evil.example", "/?x=//evil.example"} {
		for _, path := range []string{"/units", "/strides", "/compare", "/sign-in"} {
			answer, _ := s.post(t, path, url.Values{"units": {"imperial"}, "back": {back}, "next": {back}, "to": {back}})
			to := answer.Header.Get("Location")
			if to == "" {
				continue
			}
			require.NotContains(t, to, "\\", "%s %q", path, back)
			// As a browser reads it: without tabs and line ends, from where we are.
			led, err := own.Parse(strings.NewReplacer("\t", "", "\n", "", "\r", "").Replace(to))
			require.NoError(t, err, "%s %q: %q", path, back, to)
			require.Equal(t, own.Host, led.Host, "%s %q: %q", path, back, to)
			require.Equal(t, "http", led.Scheme, "%s %q: %q", path, back, to)
		}
	}
}
