package guard

import (
	"bufio"
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/argon2"
)

// secret is a passcode that may be set.
const secret = "a grey mare over the wall"

// phc is a hash of the secret that costs little: most tests are about other things.
func phc(t *testing.T) string {
	t.Helper()
	salt := []byte("saltsalt")
	tag := argon2.IDKey([]byte(secret), salt, 1, 64, 1, 32)
	b64 := base64.RawStdEncoding
	return "$argon2id$v=19$m=64,t=1,p=1$" + b64.EncodeToString(salt) + "$" + b64.EncodeToString(tag)
}

// clock is a time that tests move.
type clock struct {
	mu sync.Mutex
	at time.Time
}

func newClock() *clock { return &clock{at: time.Date(2026, 5, 4, 10, 0, 0, 0, time.UTC)} }

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

func (c *clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(d)
}

// pages is what stands behind the guard in these tests: it tells that it was reached.
func pages(w http.ResponseWriter, r *http.Request) {
	n, err := io.Copy(io.Discard, r.Body)
	if err != nil {
		status, word, ok := BodyStatus(err)
		if !ok {
			status, word = http.StatusTeapot, err.Error()
		}
		refuse(w, r, status, word)
		return
	}
	_, _ = fmt.Fprintf(w, "reached %s with %d bytes, signed in %t", r.URL.Path, n, SignedIn(r.Context()))
}

// standing is a real server with a guard before it.
type standing struct {
	*Guard
	addr string
	port string
	log  *bytes.Buffer
}

// serve listens on loopback, for real.
func serve(t *testing.T, opt Options, behind http.Handler) *standing {
	t.Helper()
	s := &standing{log: &bytes.Buffer{}}
	opt.Log = slog.New(slog.NewTextHandler(&locked{w: s.log}, nil))
	g, err := New(opt)
	require.NoError(t, err)
	s.Guard = g
	if behind == nil {
		behind = http.HandlerFunc(pages)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	server := g.Server(behind)
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = server.Serve(Limit(l))
	}()
	t.Cleanup(func() {
		_ = server.Close()
		<-done
	})
	s.addr = l.Addr().String()
	_, s.port, err = net.SplitHostPort(s.addr)
	require.NoError(t, err)
	return s
}

type locked struct {
	mu sync.Mutex
	w  io.Writer
}

func (l *locked) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.w.Write(p)
}

// raw sends bytes as they are on a connection of its own and reads one answer.
func (s *standing) raw(t *testing.T, request string) (status int, header http.Header, body string) {
	t.Helper()
	c, err := net.Dial("tcp", s.addr)
	require.NoError(t, err)
	defer c.Close()
	require.NoError(t, c.SetDeadline(time.Now().Add(10*time.Second)))
	_, err = io.WriteString(c, request)
	require.NoError(t, err)
	answer, err := http.ReadResponse(bufio.NewReader(c), nil)
	require.NoError(t, err)
	defer answer.Body.Close()
	all, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	return answer.StatusCode, answer.Header, string(all)
}

// ask sends a request with headers ("Name: value") and follows nothing.
func (s *standing) ask(t *testing.T, method, path, body string, headers ...string) (*http.Response, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(context.Background(), method, "http://"+s.addr+path, strings.NewReader(body))
	require.NoError(t, err)
	if body == "" {
		r.Body = http.NoBody
		r.ContentLength = 0
	}
	for _, h := range headers {
		name, value, _ := strings.Cut(h, ": ")
		if name == "Host" {
			r.Host = value
			continue
		}
		r.Header.Add(name, value)
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }, Timeout: 20 * time.Second}
	answer, err := client.Do(r)
	require.NoError(t, err)
	defer answer.Body.Close()
	all, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	return answer, string(all)
}

const form = "Content-Type: application/x-www-form-urlencoded"

func TestHostHeaders(t *testing.T) {
	s := serve(t, Options{Names: []string{"Ride.Example", "yard.example:8443", "192.0.2.7:9000"}}, nil)
	for _, c := range []struct {
		host string
		want int
	}{
		{"127.0.0.1:PORT", 200},
		{"localhost:PORT", 200},
		{"LocalHost:PORT", 200},
		{"localhost.:PORT", 200},
		{"[::1]:PORT", 200},
		{"[0:0:0:0:0:0:0:1]:PORT", 200},
		{"[::ffff:127.0.0.1]:PORT", 200},
		{"127.8.9.10:PORT", 200}, // all of 127/8 is loopback (RFC 1122, 3.2.1.3)
		{"127.0.0.1:0PORT", 200}, // the same number
		{"ride.example", 200},
		{"ride.example:1", 200},
		{"RIDE.example.:PORT", 200},
		{"yard.example:8443", 200},
		{"192.0.2.7:9000", 200},
		// the wrong port, or none where ours is not the usual one
		{"localhost", 421},
		{"localhost:", 421},
		{"127.0.0.1:1", 421},
		{"127.0.0.1:80", 421},
		{"yard.example", 421},
		{"yard.example:PORT", 421},
		// a foreign name that was pointed here, and what looks like ours
		{"evil.example:PORT", 421},
		{"evil.example", 421},
		{"localhost.evil.example:PORT", 421},
		{"127.0.0.1.evil.example:PORT", 421},
		{"evil.ride.example:PORT", 421},
		{"a.localhost:PORT", 421},
		{"localhost..:PORT", 421},
		{"0.0.0.0:PORT", 421}, // reaches loopback on many systems
		{"[::]:PORT", 421},
		{"0:PORT", 421},
		{"2130706433:PORT", 421}, // 127.0.0.1 as one number
		{"0x7f000001:PORT", 421},
		{"127.1:PORT", 421},
		{"017700000001:PORT", 421},
		{"192.168.1.5:PORT", 421}, // not where the connection came in
		{"169.254.169.254:PORT", 421},
		{"10.0.0.1:PORT", 421},
		{"[fe80::1]:PORT", 421},
		{"[::1%25lo]:PORT", 421},
		{"::1:PORT", 421},
		{"[::1]PORT", 421},
		{"[127.0.0.1]:PORT", 421},
		{"localhost:PORT:PORT", 421},
		{"localhost:+PORT", 421},
		{"localhost:99999", 421},
		{"localhost:0", 421},
		{"localhost:-1", 421},
		{":PORT", 421},
		{"*:PORT", 421},
	} {
		host := strings.ReplaceAll(c.host, "PORT", s.port)
		status, _, body := s.raw(t, "GET /rides HTTP/1.1\r\nHost: "+host+"\r\nConnection: close\r\n\r\n")
		require.Equal(t, c.want, status, host)
		require.Equal(t, c.want == 200, strings.Contains(body, "reached"), host)
	}
	for what, c := range map[string]struct {
		request string
		want    int
	}{
		"no Host":                {"GET / HTTP/1.1\r\nConnection: close\r\n\r\n", 400},
		"no Host, HTTP/1.0":      {"GET / HTTP/1.0\r\n\r\n", 421},
		"two":                    {"GET / HTTP/1.1\r\nHost: localhost:PORT\r\nHost: evil.example\r\nConnection: close\r\n\r\n", 400},
		"user in it":             {"GET / HTTP/1.1\r\nHost: localhost:PORT@evil.example\r\nConnection: close\r\n\r\n", 400},
		"absolute, ours":         {"GET http://localhost:PORT/ HTTP/1.1\r\nHost: localhost:PORT\r\nConnection: close\r\n\r\n", 200},
		"absolute, foreign":      {"GET http://evil.example/ HTTP/1.1\r\nHost: localhost:PORT\r\nConnection: close\r\n\r\n", 421},
		"absolute, over foreign": {"GET http://localhost:PORT/ HTTP/1.1\r\nHost: evil.example\r\nConnection: close\r\n\r\n", 200}, // RFC 9112, 3.2.2: the target counts
		"options of all":         {"OPTIONS * HTTP/1.1\r\nHost: localhost:PORT\r\nConnection: close\r\n\r\n", 400},
		"options of all, evil":   {"OPTIONS * HTTP/1.1\r\nHost: evil.example\r\nConnection: close\r\n\r\n", 421},
		"trace":                  {"TRACE / HTTP/1.1\r\nHost: localhost:PORT\r\nConnection: close\r\n\r\n", 405},
		"connect":                {"CONNECT localhost:PORT HTTP/1.1\r\nHost: localhost:PORT\r\nConnection: close\r\n\r\n", 405},
		"own method":             {"JUMP / HTTP/1.1\r\nHost: localhost:PORT\r\nConnection: close\r\n\r\n", 405},
		"through a proxy":        {"GET / HTTP/1.1\r\nHost: localhost:PORT\r\nX-Forwarded-For: 192.0.2.1\r\nConnection: close\r\n\r\n", 403},
		"through a proxy, new":   {"GET / HTTP/1.1\r\nHost: localhost:PORT\r\nForwarded: for=192.0.2.1\r\nConnection: close\r\n\r\n", 403},
	} {
		status, _, _ := s.raw(t, strings.ReplaceAll(c.request, "PORT", s.port))
		require.Equal(t, c.want, status, what)
	}
}

func TestTheAddressThatWasCalledIsAName(t *testing.T) {
	var other net.IP
	addrs, err := net.InterfaceAddrs()
	require.NoError(t, err)
	for _, a := range addrs {
		if n, ok := a.(*net.IPNet); ok && n.IP.To4() != nil && !n.IP.IsLoopback() {
			other = n.IP
		}
	}
	if other == nil {
		t.Skip("this machine has no address but loopback's")
	}
	g, err := New(Options{})
	require.NoError(t, err)
	l, err := net.Listen("tcp", net.JoinHostPort(other.String(), "0"))
	if err != nil {
		t.Skip("this machine's address can't be listened on: ", err)
	}
	server := g.Server(http.HandlerFunc(pages))
	go func() { _ = server.Serve(l) }()
	t.Cleanup(func() { _ = server.Close() })
	s := &standing{addr: l.Addr().String()}
	_, s.port, err = net.SplitHostPort(s.addr)
	require.NoError(t, err)
	for host, want := range map[string]int{s.addr: 200, "localhost:" + s.port: 200, "127.0.0.1:" + s.port: 200, "evil.example:" + s.port: 421, "198.51.100.9:" + s.port: 421, other.String(): 421} {
		status, _, _ := s.raw(t, "GET / HTTP/1.1\r\nHost: "+host+"\r\nConnection: close\r\n\r\n")
		require.Equal(t, want, status, host)
	}
}

func TestNamesThatAreNone(t *testing.T) {
	for _, n := range []string{"", "*", "*.example", "http://ride.example", "https://ride.example/path", "ride.example:0", "ride.example:x", "a@b", "ride example", "[::1", "https://"} {
		_, err := New(Options{Names: []string{n}})
		require.Error(t, err, "%q", n)
	}
}

func TestOddPaths(t *testing.T) {
	s := serve(t, Options{}, nil)
	for path, want := range map[string]int{
		"/rides/1":                     200,
		"/static/site.css?v=..":        200,
		"/a//b":                        200,
		"/caf%C3%A9":                   200,
		"/static/../../etc/passwd":     400,
		"/static/%2e%2e/%2e%2e/passwd": 400,
		"/static/..%2f..%2fpasswd":     400,
		"/static/%2e%2e%2fpasswd":      400,
		"/static/..%5c..%5cpasswd":     400,
		`/static/..\..\passwd`:         400,
		"/static/site.css%00.png":      400,
		"/rides/1%0d%0aSet-Cookie:a=b": 400,
		"/rides/%ff%fe":                400,
		"/./rides":                     400,
		"/rides/%7f":                   400,
		"/rides/%09":                   400,
		"/static/....//....//x":        200, // no step upwards; a name like others
		"/static/%252e%252e/x":         200, // a name with %2e in it
	} {
		status, header, body := s.raw(t, "GET "+path+" HTTP/1.1\r\nHost: "+s.addr+"\r\nConnection: close\r\n\r\n")
		require.Equal(t, want, status, path)
		require.Empty(t, header.Get("Set-Cookie"))
		require.Equal(t, want == 200, strings.Contains(body, "reached"), path)
	}
}

func TestCrossSite(t *testing.T) {
	s := serve(t, Options{}, nil)
	own, evil := "Origin: http://"+s.addr, "Origin: http://evil.example"
	site := func(v string) string { return "Sec-Fetch-Site: " + v }
	browser := "User-Agent: Mozilla/5.0"
	for _, c := range []struct {
		what, method string
		want         int
		headers      []string
	}{
		{"our form", "POST", 200, []string{own, site("same-origin"), "Sec-Fetch-Mode: navigate", form, browser, "Cookie: units=metric"}},
		{"our form over plain HTTP of a network, where browsers say less", "POST", 200, []string{own, form, browser}},
		{"our script", "DELETE", 200, []string{own, site("same-origin"), "Sec-Fetch-Mode: cors", browser}},
		{"a program", "POST", 200, []string{"User-Agent: curl/8"}},
		{"a program that deletes", "DELETE", 200, nil},
		{"same origin, no Origin header", "POST", 200, []string{site("same-origin"), browser}},
		{"the address bar", "GET", 200, []string{site("none"), "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: document"}},
		{"a link from elsewhere", "GET", 200, []string{site("cross-site"), "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: document"}},

		{"a form of another site", "POST", 403, []string{evil, site("cross-site"), "Sec-Fetch-Mode: navigate", form}},
		{"a form of another site, older browser", "POST", 403, []string{evil, form}},
		{"text that is JSON", "POST", 403, []string{evil, site("cross-site"), "Sec-Fetch-Mode: no-cors", "Content-Type: text/plain"}},
		{"a sandboxed frame", "POST", 403, []string{"Origin: null", site("cross-site"), form}},
		{"null alone", "POST", 403, []string{"Origin: null", form}},
		{"null that says it is ours", "POST", 403, []string{"Origin: null", site("same-origin"), form}},
		{"another port of this machine", "POST", 403, []string{"Origin: http://127.0.0.1:1", site("same-site"), form}},
		{"another port, older browser", "POST", 403, []string{"Origin: http://127.0.0.1:1", form}},
		{"our name at another", "POST", 403, []string{"Origin: http://localhost:" + s.port, form}},
		{"TLS where we have none", "POST", 403, []string{"Origin: https://" + s.addr, form}},
		{"an extension", "POST", 403, []string{"Origin: moz-extension://abc", site("none")}},
		{"nobody asked", "POST", 403, []string{site("none"), form}},
		{"two origins", "POST", 403, []string{own, evil, site("same-origin")}},
		{"an empty origin", "POST", 403, []string{"Origin: ", form}},
		{"an unknown word", "POST", 403, []string{site("sideways"), own}},
		{"an old browser that says nothing, with a cookie", "POST", 403, []string{"Cookie: groundline=x", form}},
		{"an old browser that says nothing", "POST", 403, []string{browser, form}},
		{"an old browser that says from where", "POST", 403, []string{"Referer: http://evil.example/", form}},
		{"a picture of another site", "GET", 403, []string{site("cross-site"), "Sec-Fetch-Mode: no-cors", "Sec-Fetch-Dest: image"}},
		{"a script of another site", "GET", 403, []string{site("same-site"), "Sec-Fetch-Mode: no-cors", "Sec-Fetch-Dest: script"}},
		{"a fetch of another site", "GET", 403, []string{site("cross-site"), "Sec-Fetch-Mode: cors", "Sec-Fetch-Dest: empty", evil}},
		{"a frame of another site", "GET", 403, []string{site("cross-site"), "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: iframe"}},
		{"an object of another site", "GET", 403, []string{site("cross-site"), "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: object"}},
		{"may I, of another site", "OPTIONS", 403, []string{site("cross-site"), "Sec-Fetch-Mode: cors", evil, "Access-Control-Request-Method: DELETE"}},
	} {
		body := ""
		if c.method == "POST" {
			body = "a=b"
		}
		answer, said := s.ask(t, c.method, "/rides", body, c.headers...)
		require.Equal(t, c.want, answer.StatusCode, c.what)
		require.Equal(t, c.want == 200, strings.HasPrefix(said, "reached"), c.what)
		for name := range answer.Header {
			require.False(t, strings.HasPrefix(name, "Access-Control-"), c.what)
		}
	}
}

// Behind a proxy that does TLS its name is ours, whether or not it passes on the Host it was asked for.
func TestOriginsBehindAProxy(t *testing.T) {
	s := serve(t, Options{Names: []string{"https://ride.example", "https://yard.example:8443"}}, nil)
	require.NoError(t, s.SetPasscode(phc(t)))
	for _, c := range []struct {
		host, origin string
		want         bool
	}{
		{"ride.example", "https://ride.example", true},
		{"yard.example:8443", "https://yard.example:8443", true},
		{s.addr, "https://ride.example", true},
		{s.addr, "http://" + s.addr, true},
		{"ride.example", "http://ride.example", false},
		{"ride.example", "https://ride.example:444", false},
		{"ride.example", "https://evil.ride.example", false},
		{"ride.example", "https://ride.example.evil", false},
		{"ride.example", "null", false},
		{s.addr, "https://yard.example", false},
		{s.addr, "http://ride.example", false},
	} {
		for _, more := range []string{"Sec-Fetch-Site: same-origin", "X-Old: browser"} {
			answer, said := s.ask(t, "POST", signInPath, "passcode=", form, "Host: "+c.host, "Origin: "+c.origin, more)
			require.Equal(t, !c.want, answer.StatusCode == 403, "%v %s: %s", c, more, said)
		}
	}
}

func TestHeadersOfEachAnswer(t *testing.T) {
	own := "default-src 'none'; script-src 'sha256-abc='; style-src 'sha256-def='; frame-ancestors *; script-src *; base-uri 'self'"
	s := serve(t, Options{}, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/own":
			SetPolicy(w, own)
		case "/straight":
			w.Header().Set("Content-Security-Policy", own)
		case "/none":
			w.Header().Del("Content-Security-Policy")
		case "/panic":
			panic("no")
		}
		_, _ = io.WriteString(w, "x")
	}))
	for path, policy := range map[string]string{
		"/":         Policy,
		"/own":      "default-src 'none'; script-src 'sha256-abc='; style-src 'sha256-def='; base-uri 'self'; form-action 'self'; frame-ancestors 'none'",
		"/straight": "default-src 'none'; script-src 'sha256-abc='; style-src 'sha256-def='; base-uri 'self'; form-action 'self'; frame-ancestors 'none'",
		"/none":     "default-src 'none'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
		"/panic":    Policy,
	} {
		answer, _ := s.ask(t, "GET", path, "")
		require.Equal(t, policy, answer.Header.Get("Content-Security-Policy"), path)
		for name, want := range map[string]string{
			"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin", "Cache-Control": "no-store",
			"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin",
		} {
			require.Equal(t, want, answer.Header.Get(name), path)
		}
	}
}

func TestPanicIsToldAndSurvived(t *testing.T) {
	s := serve(t, Options{}, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/half":
			_, _ = w.Write(bytes.Repeat([]byte("x"), 100_000))
			panic("half way")
		case "/fine":
		default:
			w.Header().Set("ETag", `"1"`)
			panic("before a word")
		}
	}))
	answer, said := s.ask(t, "GET", "/", "", "X-Secret: sesame")
	require.Equal(t, 500, answer.StatusCode)
	require.Contains(t, said, "Something went wrong")
	require.NotContains(t, said, "before a word")
	require.Empty(t, answer.Header.Get("ETag"))
	answer, said = s.ask(t, "GET", "/api/1/rides", "")
	require.Equal(t, "application/problem+json", answer.Header.Get("Content-Type"))
	require.JSONEq(t, `{"type":"about:blank","title":"Internal Server Error","status":500,"detail":"Something went wrong here. Nothing that was kept is lost; the server's log tells more."}`, said)

	r, err := http.Get("http://" + s.addr + "/half")
	require.NoError(t, err)
	_, err = io.ReadAll(r.Body)
	require.Error(t, err, "half an answer looked whole")
	require.NoError(t, r.Body.Close())
	answer, _ = s.ask(t, "GET", "/fine", "")
	require.Equal(t, 200, answer.StatusCode)
	require.Contains(t, s.log.String(), "before a word")
	require.Contains(t, s.log.String(), "half way")
	require.NotContains(t, s.log.String(), "sesame")
}

func TestNothingSecretIsLogged(t *testing.T) {
	s := serve(t, Options{}, nil)
	require.NoError(t, s.SetPasscode(phc(t)))
	s.ask(t, "GET", "/rides?text=sesame", "", "Authorization: Bearer sesame", "Cookie: groundline=sesame")
	s.ask(t, "POST", signInPath, "passcode=sesame&next=/sesame", form)
	s.ask(t, "GET", "/rides%0aforged", "", "User-Agent: sesame")
	require.Contains(t, s.log.String(), "/rides")
	require.NotContains(t, s.log.String(), "sesame")
	for line := range strings.SplitSeq(strings.TrimSpace(s.log.String()), "\n") {
		require.True(t, strings.HasPrefix(line, "time="), "a line was forged: %q", line)
	}
}

func TestDownloadNames(t *testing.T) {
	for name, want := range map[string]string{
		"ride.gpx":               `attachment; filename="ride.gpx"`,
		"../../etc/passwd":       `attachment; filename="passwd"`,
		`C:\Users\x\ride.gpx`:    `attachment; filename="ride.gpx"`,
		"Äpfel.gpx":              `attachment; filename="_pfel.gpx"; filename*=UTF-8''%C3%84pfel.gpx`,
		"a\r\nSet-Cookie: x=y":   `attachment; filename="aSet-Cookie_ x=y"`,
		`"; filename="evil.html`: `attachment; filename="__ filename=_evil.html"`,
		"50% (a) b'c*.csv":       `attachment; filename="50_ (a) b'c_.csv"; filename*=UTF-8''50%25%20%28a%29%20b%27c_.csv`,
		"ride\u202egpx.exe":      `attachment; filename="ridegpx.exe"`,
		"":                       `attachment; filename="download"`,
		"...":                    `attachment; filename="download"`,
		".profile":               `attachment; filename="profile"`,
		"con.gpx":                `attachment; filename="_con.gpx"`,
		"COM1":                   `attachment; filename="_COM1"`,
		"console.gpx":            `attachment; filename="console.gpx"`,
		"a\x00b.gpx":             `attachment; filename="ab.gpx"`,
		"\xff.gpx":               `attachment; filename="_.gpx"`,
		"x/":                     `attachment; filename="x"`,
		"/":                      `attachment; filename="_"`,
	} {
		require.Equal(t, want, disposition(name), "%q", name)
	}
	long := FileName(strings.Repeat("ä", 400) + ".gpx")
	require.LessOrEqual(t, len(long), longestName)
	require.True(t, strings.HasSuffix(long, "ä.gpx"))
}

func FuzzDisposition(f *testing.F) {
	f.Add("ride.gpx")
	f.Add("a\r\nb\"; x*=UTF-8''é.html")
	f.Fuzz(func(t *testing.T, name string) {
		d := disposition(name)
		for _, r := range d {
			if r < ' ' || r >= 0x7f {
				t.Fatalf("%q holds %q", d, r)
			}
		}
		safe := FileName(name)
		require.NotEmpty(t, safe)
		require.NotContains(t, safe, "/")
		require.NotContains(t, safe, `\`)
		require.NotEqual(t, ".", safe[:1])
		require.Equal(t, safe, FileName(safe), "safe twice is another")
	})
}

func TestNoBrowserRunsWhatIsDownloaded(t *testing.T) {
	s := serve(t, Options{}, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		Attachment(w, "evil.html", r.URL.Query().Get("type"))
		_, _ = io.WriteString(w, "<script>alert(1)</script>")
	}))
	for kind, want := range map[string]string{"": "application/octet-stream", "text/html": "text/html"} {
		answer, _ := s.ask(t, "GET", "/x?type="+kind, "")
		require.Equal(t, want, answer.Header.Get("Content-Type"), kind)
		require.Equal(t, "nosniff", answer.Header.Get("X-Content-Type-Options"))
		require.Equal(t, `attachment; filename="evil.html"`, answer.Header.Get("Content-Disposition"))
		require.Equal(t, "default-src 'none'; frame-ancestors 'none'; sandbox", answer.Header.Get("Content-Security-Policy"))
	}
}
