package main

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"mime/multipart"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// heard is an error stream that may be read while it is written.
type heard struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (h *heard) Write(p []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.b.Write(p)
}

func (h *heard) String() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.b.String()
}

// served is a page that the command serves, in this process.
type served struct {
	url, store string
	said       *heard
	stop       func() int // ends it and gives the exit code
	*http.Client
}

var pageAt = regexp.MustCompile(`the page is at (\S+)/ until`)

// startPage runs "groundline serve" with a store of its own, unless args name one.
func startPage(t *testing.T, args ...string) *served {
	t.Helper()
	s := &served{said: &heard{}, store: filepath.Join(t.TempDir(), "store")}
	full := append([]string{"serve", "--listen", "127.0.0.1:0", "--store", s.store, "--open-here"}, args...)
	ctx, cancel := context.WithCancel(context.Background())
	code := make(chan int, 1)
	go func() { code <- run(ctx, full, streams{out: io.Discard, err: s.said}) }()
	s.stop = sync.OnceValue(func() int {
		cancel()
		return <-code
	})
	t.Cleanup(func() { s.stop() })
	require.Eventually(t, func() bool {
		m := pageAt.FindAllStringSubmatch(s.said.String(), -1)
		for _, found := range m {
			s.url = found[1]
		}
		return m != nil || len(code) > 0
	}, 20*time.Second, 5*time.Millisecond)
	require.NotEmpty(t, s.url, s.said.String())
	s.Client = &http.Client{
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport:     &http.Transport{MaxIdleConnsPerHost: 100}, Timeout: time.Minute,
	}
	t.Cleanup(s.CloseIdleConnections)
	return s
}

// ask sends a request as our own page would, and reads the answer.
func (s *served) ask(t *testing.T, method, path, kind string, body io.Reader, headers ...string) (*http.Response, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, s.url+path, body)
	require.NoError(t, err)
	if body != nil {
		r.Header.Set("Content-Type", kind)
	}
	r.Header.Set("Accept", "text/html")
	r.Header.Set("Origin", s.url)
	for _, h := range headers {
		name, value, _ := strings.Cut(h, ": ")
		r.Header.Set(name, value)
	}
	answer, err := s.Do(r)
	require.NoError(t, err, path)
	defer answer.Body.Close()
	all, err := io.ReadAll(answer.Body)
	require.NoError(t, err, path)
	return answer, string(all)
}

func (s *served) get(t *testing.T, path string, headers ...string) (*http.Response, string) {
	t.Helper()
	return s.ask(t, "GET", path, "", nil, headers...)
}

func (s *served) post(t *testing.T, path string, fields url.Values) (*http.Response, string) {
	t.Helper()
	return s.ask(t, "POST", path, "application/x-www-form-urlencoded", strings.NewReader(fields.Encode()))
}

// sent is a form with files and fields, as a browser sends it.
func sent(t testing.TB, files map[string][]byte, fields map[string]string) (kind string, body *bytes.Buffer) {
	t.Helper()
	body = &bytes.Buffer{}
	w := multipart.NewWriter(body)
	for name, value := range fields {
		require.NoError(t, w.WriteField(name, value))
	}
	for name, data := range files {
		part, err := w.CreateFormFile("file", name)
		require.NoError(t, err)
		_, err = part.Write(data)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return w.FormDataContentType(), body
}

const spoken = "a grey mare over the wall"

func writeFile(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
	return path
}

func TestServeRefusesWhatLetsOthersIn(t *testing.T) {
	file := writeFile(t, "passcode", spoken+"\n")
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"--listen", "0.0.0.0:0"}, exitUsage, "--set-passcode"},
		{[]string{"--listen", ":0"}, exitUsage, "--set-passcode"},
		{[]string{"--listen", "[::]:0"}, exitUsage, "--set-passcode"},
		{[]string{"--name", "https://ride.example"}, exitUsage, "--set-passcode"},
		{[]string{"--listen", "nonsense"}, exitUsage, "expected"},
		{[]string{"--listen", "127.0.0.1:99999"}, exitUsage, "expected"},
		{[]string{"--name", "*.example"}, exitUsage, "host name"},
		{[]string{"--cert", "x.pem"}, exitUsage, "key"},
		{[]string{"--cert", "nowhere.pem", "--key", "nowhere.key"}, exitInput, "nowhere.pem"},
		{[]string{"--max-upload", "0"}, exitUsage, "megabytes"},
		{[]string{"--set-passcode"}, exitUsage, "no terminal"},
		{[]string{"--set-passcode", "--passcode-file", file}, exitUsage, "passcode-file"},
		{[]string{"--passcode-file", "nowhere"}, exitInput, "nowhere"},
		{[]string{"--passcode-file", writeFile(t, "empty", "")}, exitInput, "first line"},
		{[]string{"--passcode-file", writeFile(t, "short", "short\n")}, exitInput, "5 characters"},
		{[]string{"extra"}, exitUsage, "expected nothing"},
	} {
		said := &heard{}
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		args := append([]string{"serve", "--store", filepath.Join(t.TempDir(), "store")}, c.args...)
		require.Equal(t, c.code, run(ctx, args, streams{out: io.Discard, err: said}), "%v %s", c.args, said)
		cancel()
		require.Contains(t, said.String(), c.says, c.args)
		require.Equal(t, 1, strings.Count(said.String(), "\n"), "one error, one line: %s", said)
		require.NotContains(t, said.String(), spoken)
	}
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer taken.Close()
	said := &heard{}
	require.Equal(t, exitUsage, run(t.Context(), []string{"serve", "--store", t.TempDir(), "--listen", taken.Addr().String()}, streams{out: io.Discard, err: said}))
	require.Contains(t, said.String(), "does the page run already?")
}

func TestServeAloneAsksForNothing(t *testing.T) {
	s := startPage(t)
	answer, page := s.get(t, "/")
	require.Equal(t, 200, answer.StatusCode)
	require.NotContains(t, page, "Sign out")
	require.NotContains(t, s.said.String(), "TLS")
	require.Equal(t, exitDone, s.stop(), s.said.String())
	_, err := s.Get(s.url)
	require.Error(t, err)
}

// typed answers what is asked on the terminal.
func typed(lines ...string) func(context.Context, string) (string, error) {
	return func(context.Context, string) (string, error) {
		if len(lines) == 0 {
			return "", io.EOF
		}
		line := lines[0]
		lines = lines[1:]
		return line, nil
	}
}

func TestSetPasscode(t *testing.T) {
	store := filepath.Join(t.TempDir(), "store")
	set := func(what string, ask func(context.Context, string) (string, error)) (int, string) {
		said := &heard{}
		return run(t.Context(), []string{"serve", what, "--store", store}, streams{out: io.Discard, err: said, ask: ask}), said.String()
	}
	code, said := set("--set-passcode", typed(spoken, "another"))
	require.Equal(t, exitInput, code)
	require.Contains(t, said, "differ")
	code, _ = set("--set-passcode", typed("short"))
	require.Equal(t, exitInput, code)
	code, _ = set("--set-passcode", typed())
	require.Equal(t, exitNoAnswer, code)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	code, _ = set("--set-passcode", func(context.Context, string) (string, error) { return "", ctx.Err() })
	require.Equal(t, exitStopped, code)

	s := startPage(t, "--store", store)
	answer, _ := s.get(t, "/")
	require.Equal(t, 200, answer.StatusCode, "a passcode was set by mistake")
	s.stop()

	code, said = set("--set-passcode", typed(spoken, spoken))
	require.Equal(t, exitDone, code, said)
	require.NotContains(t, said, spoken)
	s = startPage(t, "--store", store)
	answer, _ = s.get(t, "/")
	require.Equal(t, 303, answer.StatusCode)
	answer, _ = s.get(t, "/static/site.css")
	require.Equal(t, 200, answer.StatusCode)
	s.stop()

	code, _ = set("--forget-passcode", nil)
	require.Equal(t, exitDone, code)
	s = startPage(t, "--store", store)
	answer, _ = s.get(t, "/")
	require.Equal(t, 200, answer.StatusCode)
}

func TestPasscodeKeepsPeopleInOverARestart(t *testing.T) {
	file, store := writeFile(t, "passcode", spoken+"\r\n"), filepath.Join(t.TempDir(), "store")
	args := []string{"--store", store, "--passcode-file", file}
	s := startPage(t, args...)
	answer, _ := s.get(t, "/courses?x=1")
	require.Equal(t, "/sign-in?next=%2Fcourses%3Fx%3D1", answer.Header.Get("Location"))
	answer, page := s.get(t, "/sign-in?next=/courses")
	require.Equal(t, 200, answer.StatusCode)
	require.Contains(t, page, `name="passcode"`)
	answer, _ = s.post(t, "/sign-in", url.Values{"passcode": {"not the passcode"}})
	require.Equal(t, 401, answer.StatusCode)
	answer, _ = s.post(t, "/sign-in", url.Values{"passcode": {spoken}, "next": {"/courses"}})
	require.Equal(t, 303, answer.StatusCode)
	require.Equal(t, "/courses", answer.Header.Get("Location"))
	require.Len(t, answer.Cookies(), 1)
	cookie := "Cookie: " + answer.Cookies()[0].Name + "=" + answer.Cookies()[0].Value
	answer, page = s.get(t, "/", cookie)
	require.Equal(t, 200, answer.StatusCode)
	require.Contains(t, page, `action="/sign-out"`)
	s.stop()

	// Nothing in the store opens it.
	require.NoError(t, filepath.WalkDir(store, func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		require.NotContains(t, string(data), spoken, path)
		require.NotContains(t, string(data), strings.TrimPrefix(cookie, "Cookie: groundline="), path)
		return err
	}))

	s = startPage(t, args...)
	answer, _ = s.get(t, "/", cookie)
	require.Equal(t, 200, answer.StatusCode, "a restart signed people out")
	answer, _ = s.get(t, "/api/1/rides", "Authorization: Bearer "+spoken)
	require.Equal(t, 200, answer.StatusCode)
	answer, problem := s.get(t, "/api/1/rides", "Authorization: Bearer not the passcode")
	require.Equal(t, 401, answer.StatusCode)
	require.Equal(t, "application/problem+json", answer.Header.Get("Content-Type"))
	require.NotContains(t, problem, spoken)
	s.stop()

	require.NoError(t, os.WriteFile(file, []byte("another passcode altogether\n"), 0o600))
	s = startPage(t, args...)
	answer, _ = s.get(t, "/", cookie)
	require.Equal(t, 303, answer.StatusCode, "who knew the old passcode is still in")
	require.NotContains(t, s.said.String(), "altogether")
}

// certificate writes a self-made pair for 127.0.0.1 and gives the pool that trusts it.
func certificate(t *testing.T, certFile, keyFile string, serial int64) *x509.CertPool {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	made := &x509.Certificate{
		SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: "yard"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, DNSNames: []string{"yard.example"}, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, made, made, &key.PublicKey, key)
	require.NoError(t, err)
	private, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(certFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	require.NoError(t, os.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}), 0o600))
	parsed, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	pool := x509.NewCertPool()
	pool.AddCert(parsed)
	return pool
}

func TestServeWithTLS(t *testing.T) {
	dir := t.TempDir()
	certFile, keyFile := filepath.Join(dir, "yard.pem"), filepath.Join(dir, "yard.key")
	pool := certificate(t, certFile, keyFile, 1)
	s := startPage(t, "--cert", certFile, "--key", keyFile, "--passcode-file", writeFile(t, "passcode", spoken))
	require.True(t, strings.HasPrefix(s.url, "https://"), s.url)
	for _, h2 := range []bool{false, true} {
		jar, err := cookiejar.New(nil)
		require.NoError(t, err)
		s.Client = &http.Client{Jar: jar, Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}, ForceAttemptHTTP2: h2}, CheckRedirect: s.CheckRedirect, Timeout: time.Minute}
		answer, _ := s.post(t, "/sign-in", url.Values{"passcode": {spoken}})
		require.Equal(t, 303, answer.StatusCode)
		require.Equal(t, h2, answer.ProtoMajor == 2)
		c := answer.Cookies()[0]
		require.Equal(t, "__Host-groundline", c.Name)
		require.True(t, c.Secure)
		answer, page := s.get(t, "/")
		require.Equal(t, 200, answer.StatusCode)
		require.Contains(t, page, "Sign out")
		// A ride comes over it, too, in either protocol.
		kind, body := sent(t, map[string][]byte{fmt.Sprintf("%t.gpx", h2): []byte("no track\n")}, nil)
		answer, _ = s.ask(t, "POST", "/api/1/rides", kind, body)
		require.Less(t, answer.StatusCode, 300)
		s.CloseIdleConnections()
	}
	// Without TLS nobody is answered, and no cookie is asked for.
	plain := &http.Client{Timeout: 10 * time.Second}
	answer, err := plain.Get("http://" + strings.TrimPrefix(s.url, "https://") + "/")
	require.NoError(t, err)
	require.Equal(t, 400, answer.StatusCode)
	require.NoError(t, answer.Body.Close())
	_, err = (&http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool, MaxVersion: tls.VersionTLS11, MinVersion: tls.VersionTLS10}}}).Get(s.url)
	require.Error(t, err, "an old TLS is spoken")
}

// An upload under way when the page is stopped is taken whole; new ones are not.
func TestStoppingWaitsForUploads(t *testing.T) {
	s := startPage(t)
	kind, whole := sent(t, map[string][]byte{"ride.gpx": []byte(strings.Repeat("no track\n", 10_000))}, nil)
	reader, writer := io.Pipe()
	r, err := http.NewRequestWithContext(t.Context(), "POST", s.url+"/api/1/rides", reader)
	require.NoError(t, err)
	r.Header.Set("Content-Type", kind)
	type result struct {
		status int
		err    error
	}
	done := make(chan result, 1)
	go func() {
		answer, err := s.Do(r)
		if err != nil {
			done <- result{err: err}
			return
		}
		_ = answer.Body.Close()
		done <- result{status: answer.StatusCode}
	}()
	_, err = writer.Write(whole.Next(80_000))
	require.NoError(t, err)
	require.Eventually(t, func() bool { // it has begun
		found, err := filepath.Glob(filepath.Join(s.store, "incoming", "*", "*"))
		require.NoError(t, err)
		return len(found) > 0
	}, 10*time.Second, 5*time.Millisecond)
	code := make(chan int, 1)
	go func() { code <- s.stop() }()
	require.Eventually(t, func() bool {
		c, err := net.Dial("tcp", strings.TrimPrefix(s.url, "http://"))
		if err == nil {
			_ = c.Close()
		}
		return err != nil
	}, 10*time.Second, 10*time.Millisecond, "new ones still come in")
	require.Eventually(t, func() bool {
		return strings.Contains(s.said.String(), "still under way and gets up to 10 s; Ctrl+C again")
	},
		5*time.Second, 10*time.Millisecond, "what it waits for is not told")
	_, err = io.Copy(writer, whole)
	require.NoError(t, err)
	require.NoError(t, writer.Close())
	got := <-done
	require.NoError(t, got.err)
	require.Equal(t, http.StatusCreated, got.status)
	require.Equal(t, exitDone, <-code)
}

// Another account of the machine can reach the port, and gets nothing; who has the printed address comes in by it, once.
func TestTheAddressIsTheKey(t *testing.T) {
	said := &heard{}
	ctx, cancel := context.WithCancel(context.Background())
	code := make(chan int, 1)
	go func() {
		code <- run(ctx, []string{"serve", "--listen", "127.0.0.1:0", "--store", filepath.Join(t.TempDir(), "store")}, streams{out: io.Discard, err: said})
	}()
	defer func() { cancel(); <-code }()
	printed := regexp.MustCompile(`the page is at (http://[^/]+)(/sign-in\?key=\w+) until`)
	require.Eventually(t, func() bool { return printed.MatchString(said.String()) }, 20*time.Second, 5*time.Millisecond)
	at := printed.FindStringSubmatch(said.String())
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	other, owner := &http.Client{}, &http.Client{Jar: jar}
	status := func(c *http.Client, path string) int {
		answer, err := c.Get(at[1] + path)
		require.NoError(t, err)
		answer.Body.Close()
		return answer.StatusCode
	}
	for _, path := range []string{"/", "/rides", "/api/1/rides", "/api/1/horses"} {
		require.Equal(t, http.StatusUnauthorized, status(other, path), path)
	}
	require.Equal(t, http.StatusOK, status(owner, at[2]))
	require.Equal(t, http.StatusOK, status(owner, "/api/1/rides"))
	require.Equal(t, http.StatusOK, status(other, at[2]), "the page that asks for it")
	require.Equal(t, http.StatusUnauthorized, status(other, "/api/1/rides"))
}
