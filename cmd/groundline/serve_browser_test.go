package main

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"context"
	"fmt"
	"groundline/trace/testkit/chrome"
	"hash/crc32"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// holds waits until an expression is true, over navigations too.
func holds(t *testing.T, ctx context.Context, expression string) {
	t.Helper()
	require.Eventually(t, func() bool {
		v, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`Boolean(`+expression+`)`))
		return err == nil && v
	}, 20*time.Second, 20*time.Millisecond, expression)
}

// A real browser with the page signed in, and another site open in it that tries what it can: forms, fetches, frames,
// scripts, a name of its own pointed at this machine, a window that it opened.
func TestAnotherSiteInTheSameBrowser(t *testing.T) {
	s := startPage(t, "--store", evilStore(t), "--passcode-file", writeFile(t, "passcode", spoken+"\n"), "--name", "yard.example")
	at, err := url.Parse(s.url)
	require.NoError(t, err)
	ctx := chrome.Start(t, chromedp.Flag("host-resolver-rules", "MAP evil.example 127.0.0.1, MAP yard.example 127.0.0.1"))
	// The other site answers under any name: evil.example, localhost, 127.0.0.1 at another port.
	evilPort := ""
	site := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		_, _ = fmt.Fprintf(w, `<!doctype html><title>evil</title><body>evil<script>var out = {}</script>`)
	}))
	defer site.Close()
	_, evilPort, err = net.SplitHostPort(strings.TrimPrefix(site.URL, "http://"))
	require.NoError(t, err)

	signIn := func(base string) {
		t.Helper()
		require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(base+"/horses")))
		holds(t, ctx, `location.pathname === '/sign-in' && document.querySelector('#passcode')`)
		chrome.JS[int](t, ctx, `(document.querySelector('#passcode').value = `+fmt.Sprintf("%q", spoken)+`, document.querySelector('form').requestSubmit(), 1)`)
		holds(t, ctx, `location.pathname === '/horses' && document.querySelector('form[action="/sign-out"]')`)
	}
	rides := func() string {
		_, body := s.get(t, "/api/1/rides?limit=100", "Authorization: Bearer "+spoken)
		return body
	}
	before := rides()

	// Signed in by an address where browsers trust HTTP and say more, and by a name where they don't and say less.
	for _, base := range []string{s.url, "http://yard.example:" + at.Port()} {
		signIn(base)
		// Our own form works there: the choice of units is kept.
		chrome.JS[int](t, ctx, `(document.querySelector('form.units button').click(), 1)`)
		holds(t, ctx, `document.querySelector('#units-now')?.textContent.includes('feet')`)
		chrome.JS[int](t, ctx, `(document.querySelector('form.units button').click(), 1)`)
		holds(t, ctx, `document.querySelector('#units-now')?.textContent.includes('metres')`)

		for _, host := range []string{"evil.example", "localhost", "127.0.0.1"} { // another site; on the same machine; only another port
			other := "http://" + net.JoinHostPort(host, evilPort)
			require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(other)))
			for what, try := range map[string]string{
				"read by fetch":   `fetch(BASE + '/api/1/rides', {credentials: 'include'}).then(r => r.text()).then(t => 'read ' + t.length, e => 'no')`,
				"blind read":      `fetch(BASE + '/api/1/rides', {credentials: 'include', mode: 'no-cors'}).then(r => r.type, e => 'no')`,
				"blind text":      `fetch(BASE + '/api/1/rides/1', {method: 'POST', credentials: 'include', mode: 'no-cors', headers: {'Content-Type': 'text/plain'}, body: '{}'}).then(r => r.type, e => 'no')`,
				"delete":          `fetch(BASE + '/api/1/rides/1', {method: 'DELETE', credentials: 'include'}).then(r => 'done ' + r.status, e => 'no')`,
				"keepalive":       `fetch(BASE + '/rides/1/remove', {method: 'POST', credentials: 'include', mode: 'no-cors', keepalive: true, body: new URLSearchParams({yes: '1'})}).then(r => r.type, e => 'no')`,
				"beacon":          `Promise.resolve(String(navigator.sendBeacon(BASE + '/rides/1/remove', new URLSearchParams({yes: '1'}))))`,
				"picture":         `new Promise(d => { const i = new Image(); i.onload = () => d('loaded'); i.onerror = () => d('no'); i.src = BASE + '/static/icon.svg' })`,
				"script":          `new Promise(d => { const i = document.createElement('script'); i.onload = () => d('loaded'); i.onerror = () => d('no'); i.src = BASE + '/static/rides.js'; document.body.append(i) })`,
				"style":           `new Promise(d => { const i = document.createElement('link'); i.rel = 'stylesheet'; i.onload = () => d('loaded'); i.onerror = () => d('no'); i.href = BASE + '/static/site.css'; document.head.append(i) })`,
				"frame":           `new Promise(d => { const i = document.createElement('iframe'); i.src = BASE + '/'; i.onload = () => { let t = 'no'; try { t = i.contentDocument ? 'no' : 'no' ; t = i.contentWindow.length + ''; } catch (e) {} d(t === '0' ? 'no' : t) }; document.body.append(i) })`,
				"form in a frame": `new Promise(d => { const f = document.createElement('form'); f.method = 'post'; f.action = BASE + '/rides/1/remove'; f.target = 'hole'; const i = document.createElement('iframe'); i.name = 'hole'; document.body.append(i, f); i.onload = () => d('no'); f.submit() })`,
				"form as JSON":    `new Promise(d => { const f = document.createElement('form'); f.method = 'post'; f.enctype = 'text/plain'; f.action = BASE + '/api/1/plan/save'; f.target = 'hole2'; f.innerHTML = '<input name=\'{"a":"\' value=\'"}\'>'; const i = document.createElement('iframe'); i.name = 'hole2'; document.body.append(i, f); i.onload = () => d('no'); f.submit() })`,
				"null origin":     `new Promise(d => { const i = document.createElement('iframe'); i.sandbox = 'allow-scripts allow-forms'; i.srcdoc = '<form method=post action="' + BASE + '/rides/1/remove"></form><script>document.forms[0].submit()<\/script>'; let n = 0; i.onload = () => { if (++n > 1) d('no') }; document.body.append(i); setTimeout(() => d('no'), 700) })`,
				"websocket":       `new Promise(d => { const w = new WebSocket(BASE.replace('http', 'ws') + '/api/1/rides'); w.onopen = () => d('open'); w.onerror = () => d('no') })`,
			} {
				got := chrome.JS[string](t, ctx, strings.ReplaceAll(try, "BASE", fmt.Sprintf("%q", base)))
				require.Contains(t, []string{"no", "true", "opaque"}, got, "%s from %s: %s", what, other, got)
			}
			// A form that takes the whole window there, which sends what a browser sends with it.
			chrome.JS[int](t, ctx, `(() => { const f = document.createElement('form'); f.method = 'post'; f.action = `+fmt.Sprintf("%q", base+"/rides/1/remove")+`; document.body.append(f); f.submit(); return 1 })()`)
			holds(t, ctx, `document.body?.innerText.includes('Another site asked for this')`)
		}
		// Its name pointed at this machine, at our port (DNS rebinding).
		require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("http://evil.example:"+at.Port()+"/")))
		holds(t, ctx, `document.body?.innerText.includes('does not answer to that name')`)
	}
	require.Equal(t, before, rides(), "the other site changed something")

	// A link from elsewhere opens the page, without signing in again.
	for _, base := range []string{s.url, "http://yard.example:" + at.Port()} {
		require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("http://evil.example:"+evilPort)))
		chrome.JS[int](t, ctx, `(location.href = `+fmt.Sprintf("%q", base+"/horses")+`, 1)`)
		if base == s.url { // elsewhere browsers don't say that it is a link from another site
			holds(t, ctx, `location.pathname === '/horses' && document.querySelector('form[action="/sign-out"]')`)
		} else {
			holds(t, ctx, `location.pathname === '/sign-in'`)
		}
	}
	// Signed out, the cookie is gone and the page with it, also by going back.
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(s.url+"/horses")))
	chrome.JS[int](t, ctx, `(document.querySelector('form[action="/sign-out"] button').click(), 1)`)
	holds(t, ctx, `location.pathname === '/sign-in'`)
	chrome.JS[int](t, ctx, `(history.back(), 1)`)
	time.Sleep(300 * time.Millisecond)
	holds(t, ctx, `document.querySelector('#passcode')`)
	require.Equal(t, "", chrome.JS[string](t, ctx, `document.cookie`), "a script could read the session")
}

// The sign-in page is as good as the others: narrow, in both schemes, to a screen reader.
func TestSignInPageInABrowser(t *testing.T) {
	s := startPage(t, "--passcode-file", writeFile(t, "passcode", spoken+"\n"))
	ctx := chrome.Start(t)
	look := func(name string) {
		t.Helper()
		for _, width := range []int64{360, 768, 1280} {
			for _, scheme := range []string{"light", "dark"} {
				chrome.At(t, ctx, width, scheme)
				require.LessOrEqual(t, chrome.JS[int](t, ctx, `document.documentElement.scrollWidth`), int(width))
				chrome.Axe(t, ctx)
				chrome.Picture(t, ctx, fmt.Sprintf("%s-%d-%s", name, width, scheme))
			}
		}
		require.Empty(t, chrome.JS[string](t, ctx, `[...document.querySelectorAll('input:not([type=hidden]), button, a')].filter(e => e.getBoundingClientRect().height < 44).map(e => e.outerHTML).join()`))
	}
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(s.url+"/horses")))
	holds(t, ctx, `document.activeElement?.id === 'passcode'`)
	look("sign-in")
	for try := range 5 {
		chrome.JS[int](t, ctx, `(document.querySelector('#passcode').value = 'a wrong one', document.querySelector('form').requestSubmit(), 1)`)
		holds(t, ctx, `document.querySelector('[role=alert]')`)
		if try == 0 {
			require.Contains(t, chrome.JS[string](t, ctx, `document.querySelector('[role=alert]').innerText`), "That is not the passcode.")
			look("sign-in-wrong")
		}
		chrome.JS[int](t, ctx, `(document.querySelector('[role=alert]').removeAttribute('role'), 1)`)
	}
	require.Contains(t, chrome.JS[string](t, ctx, `document.querySelector('#said').innerText`), "Too many tries. Wait")
}

// A zip that unfolds to gigabytes is refused and told; the server lives and stays small.
func TestZipBombsAreRefused(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of unpacking")
	}
	c := startProcess(t, filepath.Join(t.TempDir(), "store"))
	client := &http.Client{Timeout: time.Minute}
	for name, data := range map[string][]byte{
		"zeros.zip": bomb(t, "ride.gpx", nil, "\x00", 1<<30), "csv.zip": bomb(t, "motion.csv", []byte("time_s,ax_m_s2,ay_m_s2,az_m_s2\n"), "0.01,1,2,3\n", 3<<30),
		"gpx.zip": bomb(t, "ride.gpx", []byte("<gpx version=\"1.1\"><trk><trkseg>"), "<!--"+strings.Repeat("x", 1000)+"-->\n", 1<<30), "deep.zip": nested(t, 6), "many.zip": crowd(t, 60_000),
	} {
		require.Less(t, len(data), 20<<20)
		kind, body := sent(t, map[string][]byte{name: data}, nil)
		k, status, err := upload(client, c.url, kind, body.Bytes())
		require.NoError(t, err, name)
		require.Equal(t, http.StatusCreated, status, name)
		began := time.Now()
		var why string
		require.Eventually(t, func() bool {
			answer, err := client.Get(fmt.Sprintf("%s/api/1/rides/%d", c.url, k.ID))
			if err != nil {
				return false
			}
			defer answer.Body.Close()
			var b bytes.Buffer
			_, _ = b.ReadFrom(answer.Body)
			why = b.String()
			return strings.Contains(why, `"state":"refused"`)
		}, time.Minute, 50*time.Millisecond, "%s: %s", name, why)
		now, most := residentMB(c.Process.Pid)
		t.Logf("%s, %d kB: refused after %v; %.0f MB in use, %.0f at most: %.300s", name, len(data)>>10, time.Since(began).Round(time.Millisecond), now, most, why[strings.Index(why, `"why"`):])
		require.Less(t, most, 800.0, name)
	}
}

// bomb is a zip with one file: a head, and then so many bytes of the same again and again. The packed middle is made once
// and repeated, as an attacker would.
func bomb(t *testing.T, name string, head []byte, again string, size int64) []byte {
	t.Helper()
	piece := bytes.Repeat([]byte(again), 1<<20/len(again))
	pack := func(p []byte) []byte {
		var b bytes.Buffer
		w, err := flate.NewWriter(&b, flate.BestCompression)
		require.NoError(t, err)
		_, err = w.Write(p)
		require.NoError(t, err)
		require.NoError(t, w.Flush()) // ends on a byte, so that pieces may follow each other
		return b.Bytes()
	}
	times := int(size / int64(len(piece)))
	sum := crc32.ChecksumIEEE(head)
	middle := pack(piece)
	packed := pack(head)
	for range times {
		packed = append(packed, middle...)
		sum = crc32.Update(sum, crc32.IEEETable, piece)
	}
	packed = append(packed, 3, 0) // the last block, empty
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	w, err := z.CreateRaw(&zip.FileHeader{Name: name, Method: zip.Deflate, CRC32: sum, CompressedSize64: uint64(len(packed)), UncompressedSize64: uint64(len(head) + times*len(piece))})
	require.NoError(t, err)
	_, err = w.Write(packed)
	require.NoError(t, err)
	require.NoError(t, z.Close())
	return b.Bytes()
}

// nested is a zip in a zip, so many times, each with ten copies of the one within.
func nested(t *testing.T, times int) []byte {
	t.Helper()
	inner, name := bytes.Repeat([]byte("0"), 1<<20), "ride.gpx"
	for range times {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		for i := range 10 {
			w, err := z.Create(fmt.Sprintf("%d-%s", i, name))
			require.NoError(t, err)
			_, err = w.Write(inner)
			require.NoError(t, err)
		}
		require.NoError(t, z.Close())
		inner, name = b.Bytes(), "more.zip"
	}
	return inner
}

// crowd is a zip with so many files, each empty.
func crowd(t *testing.T, files int) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := range files {
		_, err := z.Create(fmt.Sprintf("%d.gpx", i))
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	return b.Bytes()
}
