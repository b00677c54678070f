package guard

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// quick is a pace for tests, some fifty times that of a real server.
func quick() Pace {
	return Pace{Head: 300 * time.Millisecond, Stall: 400 * time.Millisecond, Idle: 400 * time.Millisecond, Longest: 3 * time.Second, MinBytesPerS: 200}
}

func uploads(r *http.Request) bool { return r.URL.Path == "/rides" && r.Method == "POST" }

func (s *standing) dial(t *testing.T) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", s.addr)
	require.NoError(t, err)
	require.NoError(t, c.SetDeadline(time.Now().Add(15*time.Second)))
	t.Cleanup(func() { _ = c.Close() })
	return c
}

// closedWithin tells whether the other side ends the connection in time; what it says before is dropped.
func closedWithin(t *testing.T, c net.Conn, d time.Duration) bool {
	t.Helper()
	require.NoError(t, c.SetReadDeadline(time.Now().Add(d)))
	_, err := io.Copy(io.Discard, c)
	var timeout net.Error
	return !(errors.As(err, &timeout) && timeout.Timeout())
}

// dripFor sends a byte each pause until the connection breaks, and gives how long that took.
func dripFor(c net.Conn, pause, most time.Duration) time.Duration {
	began := time.Now()
	for time.Since(began) < most {
		if _, err := c.Write([]byte("x")); err != nil {
			break
		}
		time.Sleep(pause)
	}
	return time.Since(began)
}

func TestSlowHeadersAreDropped(t *testing.T) {
	t.Parallel()
	s := serve(t, Options{Pace: quick()}, nil)
	c := s.dial(t)
	_, err := io.WriteString(c, "GET / HTTP/1.1\r\nHost: "+s.addr+"\r\nX-Slow: ")
	require.NoError(t, err)
	require.Less(t, dripFor(c, 20*time.Millisecond, 5*time.Second), 2*time.Second)
	silent := s.dial(t)
	require.True(t, closedWithin(t, silent, 2*time.Second), "one that says nothing is held")
	idle := s.dial(t)
	_, err = io.WriteString(idle, "GET / HTTP/1.1\r\nHost: "+s.addr+"\r\n\r\n")
	require.NoError(t, err)
	require.True(t, closedWithin(t, idle, 2*time.Second), "one that has nothing more to ask is held")
}

func TestSlowBodies(t *testing.T) {
	t.Parallel()
	s := serve(t, Options{Pace: quick(), Uploading: uploads}, nil)
	head := func(path string, n int) string {
		return fmt.Sprintf("POST %s HTTP/1.1\r\nHost: %s\r\nContent-Length: %d\r\n\r\n", path, s.addr, n)
	}
	for _, path := range []string{"/rides", "/units"} {
		// A trickle, far below the least rate, though never silent for long.
		c := s.dial(t)
		_, err := io.WriteString(c, head(path, 100_000))
		require.NoError(t, err)
		require.Less(t, dripFor(c, 50*time.Millisecond, 6*time.Second), 3*time.Second, path)
		// Silence.
		c = s.dial(t)
		_, err = io.WriteString(c, head(path, 100_000)+"abc")
		require.NoError(t, err)
		answer, err := http.ReadResponse(bufio.NewReader(c), nil)
		require.NoError(t, err)
		require.Equal(t, http.StatusRequestTimeout, answer.StatusCode, path)
		require.True(t, closedWithin(t, c, 2*time.Second), path)
	}
	// A slow phone: three times the stall in all, with pauses below it, above the least rate.
	c := s.dial(t)
	_, err := io.WriteString(c, head("/rides", 1200))
	require.NoError(t, err)
	for range 12 {
		time.Sleep(100 * time.Millisecond)
		_, err = c.Write(bytes.Repeat([]byte("x"), 100))
		require.NoError(t, err)
	}
	answer, err := http.ReadResponse(bufio.NewReader(c), nil)
	require.NoError(t, err)
	said, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.Equal(t, 200, answer.StatusCode)
	require.Contains(t, string(said), "1200 bytes")
	// The same connection is good for another.
	_, err = io.WriteString(c, "GET /again HTTP/1.1\r\nHost: "+s.addr+"\r\n\r\n")
	require.NoError(t, err)
	answer, err = http.ReadResponse(bufio.NewReader(c), nil)
	require.NoError(t, err)
	require.Equal(t, 200, answer.StatusCode)
}

// A body that no handler reads must not hold the connection either.
func TestBodiesThatNobodyReads(t *testing.T) {
	t.Parallel()
	s := serve(t, Options{Pace: quick()}, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(204) }))
	for _, host := range []string{s.addr, "evil.example"} {
		c := s.dial(t)
		_, err := fmt.Fprintf(c, "POST / HTTP/1.1\r\nHost: %s\r\nContent-Length: 100000\r\n\r\n", host)
		require.NoError(t, err)
		require.Less(t, dripFor(c, 20*time.Millisecond, 5*time.Second), 2*time.Second, host)
	}
}

// A handler may work for longer than a stall once it has the whole body.
func TestDeadlinesDoNotEndTheWork(t *testing.T) {
	t.Parallel()
	s := serve(t, Options{Pace: quick()}, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		_, _ = io.WriteString(w, "began ")
		http.NewResponseController(w).Flush()
		select {
		case <-r.Context().Done():
			return
		case <-time.After(3 * quick().Stall):
		}
		_, _ = io.WriteString(w, "done")
	}))
	answer, said := s.ask(t, "POST", "/", "body")
	require.Equal(t, 200, answer.StatusCode)
	require.Equal(t, "began done", said)
}

// Who does not read the answer is given up on, in time and in memory.
func TestSlowReadersAreDropped(t *testing.T) {
	t.Parallel()
	gone := make(chan int64, 1)
	s := serve(t, Options{Pace: quick()}, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		n, err := io.Copy(w, io.LimitReader(zeros{}, 1<<30))
		if err != nil {
			gone <- n
		}
	}))
	c := s.dial(t)
	_, err := io.WriteString(c, "GET / HTTP/1.1\r\nHost: "+s.addr+"\r\n\r\n")
	require.NoError(t, err)
	select {
	case n := <-gone:
		require.Less(t, n, int64(64<<20))
	case <-time.After(5 * time.Second):
		t.Fatal("still writing")
	}
	// A slow one that reads is served whole: one large piece, four stalls long.
	big := bytes.Repeat([]byte("x"), 24<<20)
	s = serve(t, Options{Pace: quick()}, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { _, _ = w.Write(big) }))
	c = s.dial(t)
	_, err = io.WriteString(c, "GET / HTTP/1.1\r\nHost: "+s.addr+"\r\nConnection: close\r\n\r\n")
	require.NoError(t, err)
	got := 0
	buf := make([]byte, 1<<20)
	for {
		n, err := io.ReadFull(c, buf)
		got += n
		if err != nil {
			break
		}
		time.Sleep(60 * time.Millisecond)
	}
	require.Greater(t, got, len(big))
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { return len(p), nil }

func TestGiantHeaders(t *testing.T) {
	t.Parallel()
	s := serve(t, Options{}, nil)
	for _, request := range []string{
		"GET / HTTP/1.1\r\nHost: " + s.addr + "\r\nX-Big: " + strings.Repeat("x", 200_000) + "\r\n\r\n",
		"GET /" + strings.Repeat("x", 200_000) + " HTTP/1.1\r\nHost: " + s.addr + "\r\n\r\n",
		"GET / HTTP/1.1\r\nHost: " + s.addr + "\r\n" + strings.Repeat("X-Many: y\r\n", 15_000) + "\r\n",
	} {
		status, _, _ := s.raw(t, request)
		require.Equal(t, 431, status)
	}
}

func TestBodiesBeyondTheLimit(t *testing.T) {
	t.Parallel()
	s := serve(t, Options{Uploading: uploads, MaxBody: 1000, MaxUpload: 50_000}, nil)
	for _, c := range []struct {
		path string
		n    int
		want int
	}{
		{"/units", 1000, 200}, {"/units", 1001, 413}, {"/units", 40_000, 413},
		{"/rides", 50_000, 200}, {"/rides", 50_001, 413}, {"/rides", 150_000, 413},
	} {
		answer, said := s.ask(t, "POST", c.path, strings.Repeat("x", c.n))
		require.Equal(t, c.want, answer.StatusCode, c)
		if c.want == 413 {
			require.Contains(t, said, "Too large")
		}
		// The same in pieces, without a length said.
		r, err := http.NewRequestWithContext(context.Background(), "POST", "http://"+s.addr+c.path, io.MultiReader(strings.NewReader(strings.Repeat("x", c.n))))
		require.NoError(t, err)
		answer, err = http.DefaultClient.Do(r)
		require.NoError(t, err)
		require.Equal(t, c.want, answer.StatusCode, c)
		require.NoError(t, answer.Body.Close())
	}
	// An upload without end: the server stops reading.
	c := s.dial(t)
	_, err := fmt.Fprintf(c, "POST /rides HTTP/1.1\r\nHost: %s\r\nTransfer-Encoding: chunked\r\n\r\n", s.addr)
	require.NoError(t, err)
	sent := 0
	for sent < 1<<30 {
		n, err := fmt.Fprintf(c, "%x\r\n%s\r\n", 65536, strings.Repeat("x", 65536))
		if err != nil {
			break
		}
		sent += n
	}
	require.Less(t, sent, 64<<20)
}

func TestSmugglingIsRefused(t *testing.T) {
	s := serve(t, Options{}, nil)
	for _, headers := range []string{
		"Content-Length: 4\r\nContent-Length: 5\r\n", "Transfer-Encoding: chunked, chunked\r\n", "Transfer-Encoding: xchunked\r\n", "Content-Length: +4\r\n", "Content-Length: -4\r\n", "Transfer-Encoding : chunked\r\n",
	} {
		status, _, _ := s.raw(t, "POST / HTTP/1.1\r\nHost: "+s.addr+"\r\n"+headers+"\r\nabcd\r\n")
		require.GreaterOrEqual(t, status, 400, headers)
	}
}

func TestUploadsTakeTurns(t *testing.T) {
	var now, most atomic.Int64
	open := make(chan struct{})
	s := serve(t, Options{Uploading: uploads, Uploads: 3, UploadQueue: 4}, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/rides" {
			n := now.Add(1)
			for m := most.Load(); n > m && !most.CompareAndSwap(m, n); m = most.Load() {
			}
			<-open
			now.Add(-1)
		}
		_, _ = io.Copy(io.Discard, r.Body)
	}))
	var mu sync.Mutex
	got := map[int]int{}
	var all sync.WaitGroup
	for range 12 {
		all.Go(func() {
			answer, said := s.ask(t, "POST", "/rides", "abc")
			mu.Lock()
			defer mu.Unlock()
			got[answer.StatusCode]++
			if answer.StatusCode == 503 {
				if answer.Header.Get("Retry-After") == "" || !strings.Contains(said, "Try again") {
					t.Error("not told when to come again")
				}
			}
		})
	}
	require.Eventually(t, func() bool { mu.Lock(); defer mu.Unlock(); return got[503] == 5 }, 5*time.Second, 5*time.Millisecond)
	answer, _ := s.ask(t, "GET", "/", "")
	require.Equal(t, 200, answer.StatusCode, "pages wait for uploads")
	close(open)
	all.Wait()
	require.Equal(t, map[int]int{200: 7, 503: 5}, got)
	require.EqualValues(t, 3, most.Load())
}

// form with parts, by hand, so that it may be wrong.
func multi(parts ...string) *http.Request {
	body := ""
	for _, p := range parts {
		body += "--b\r\n" + p + "\r\n"
	}
	r, err := http.NewRequest("POST", "/rides", strings.NewReader(body+"--b--\r\n"))
	if err != nil {
		panic(err)
	}
	r.Header.Set("Content-Type", "multipart/form-data; boundary=b")
	return r
}

func readParts(r *http.Request) (names []string, err error) {
	parts, err := NewParts(r)
	if err != nil {
		return nil, err
	}
	for {
		var p *multipart.Part
		p, err = parts.NextPart()
		if err != nil {
			return names, err
		}
		data, err := io.ReadAll(p)
		if err != nil {
			return names, err
		}
		names = append(names, fmt.Sprintf("%s %s %d", p.FormName(), p.FileName(), len(data)))
	}
}

func TestParts(t *testing.T) {
	part := "Content-Disposition: form-data; name=\"file\"; filename=\"../a.gpx\"\r\n\r\n"
	names, err := readParts(multi(part+"abc", part+strings.Repeat("x", 300_000), "Content-Disposition: form-data; name=\"horse\"\r\n\r\nMoss"))
	require.ErrorIs(t, err, io.EOF)
	require.Equal(t, []string{"file a.gpx 3", "file a.gpx 300000", "horse  4"}, names)

	var many []string
	for range mostParts + 1 {
		many = append(many, part)
	}
	names, err = readParts(multi(many...))
	require.ErrorIs(t, err, ErrParts)
	require.Len(t, names, mostParts)

	_, err = readParts(multi("Content-Disposition: form-data; name=\"" + strings.Repeat("n", 5<<20) + "\"\r\n\r\n"))
	require.ErrorIs(t, err, ErrParts)
	_, err = readParts(multi(strings.Repeat("X-Many: y\r\n", 100_000) + "\r\n"))
	require.ErrorIs(t, err, ErrParts)

	// A form that ends anywhere before its end is none, and whole without the last line end.
	for n := range len("--b\r\n"+part+"abc\r\n--b\r\n"+part+"abc\r\n--b--\r\n") + 1 {
		cut := multi(part+"abc", part+"abc")
		whole, err := io.ReadAll(cut.Body)
		require.NoError(t, err)
		cut.Body = io.NopCloser(bytes.NewReader(whole[:n]))
		_, err = readParts(cut)
		if n == len(whole)-1 {
			continue // half a line end
		}
		if n >= len(whole)-2 {
			require.ErrorIs(t, err, io.EOF)
			continue
		}
		status, _, ok := BodyStatus(err)
		require.True(t, ok, "%d: %v", n, err)
		require.Equal(t, 400, status)
	}

	for kind, want := range map[string]error{"": http.ErrNotMultipart, "text/plain": http.ErrNotMultipart, "multipart/form-data": http.ErrMissingBoundary, "multipart/mixed; boundary=b": http.ErrNotMultipart} {
		r := multi(part)
		r.Header.Set("Content-Type", kind)
		_, err := NewParts(r)
		require.ErrorIs(t, err, want, kind)
	}
}

func TestConnectionsAreLimited(t *testing.T) {
	l := Limit(nil).(*listener)
	far, near := netip.MustParsePrefix("192.0.2.1/32"), netip.MustParsePrefix("127.0.0.1/32")
	for range mostOfOne {
		require.True(t, l.enter(far, false))
	}
	require.False(t, l.enter(far, false))
	for range mostConnections - mostOfOne {
		require.True(t, l.enter(near, true))
	}
	require.False(t, l.enter(near, true))
	l.leave(far)
	require.True(t, l.enter(far, false))
	for range mostOfOne {
		l.leave(far)
	}
	require.NotContains(t, l.of, far)

	inner, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	limited := Limit(inner).(*listener)
	limited.all = mostConnections - 1
	go func() {
		for {
			c, err := limited.Accept()
			if err != nil {
				return
			}
			_, _ = c.Write([]byte("in"))
			buf := make([]byte, 1)
			_, _ = c.Read(buf)
			_ = c.Close()
			_ = c.Close() // twice counts once
		}
	}()
	said := func(c net.Conn) string {
		_ = c.SetReadDeadline(time.Now().Add(5 * time.Second))
		buf := make([]byte, 2)
		n, _ := io.ReadFull(c, buf)
		return string(buf[:n])
	}
	first, err := net.Dial("tcp", inner.Addr().String())
	require.NoError(t, err)
	require.Equal(t, "in", said(first))
	require.NoError(t, first.Close())
	require.Eventually(t, func() bool { limited.mu.Lock(); defer limited.mu.Unlock(); return limited.all == mostConnections-1 }, 5*time.Second, time.Millisecond)
	limited.mu.Lock()
	limited.all++
	limited.mu.Unlock()
	second, err := net.Dial("tcp", inner.Addr().String())
	require.NoError(t, err)
	require.Empty(t, said(second))
	require.NoError(t, inner.Close())
}

// Answers are worked out a few at a time; who reads slowly, sends slowly or asks for what is heavy keeps nobody else
// waiting.
func TestAnswersTakeTurns(t *testing.T) {
	var now, most atomic.Int64
	open := make(chan struct{})
	s := serve(t, Options{
		Pages: 3, HeavyPages: 1, Uploading: uploads,
		Open: func(path string) bool { return strings.HasPrefix(path, "/static/") },
		Weight: func(r *http.Request) Weight {
			switch {
			case strings.HasSuffix(r.URL.Path, ".png"):
				return Heavy
			case r.URL.Path == "/patient":
				return Waiting
			}
			return Page
		},
	}, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/slow", "/big.png":
			n := now.Add(1)
			for m := most.Load(); n > m && !most.CompareAndSwap(m, n); m = most.Load() {
			}
			<-open
			now.Add(-1)
		case "/read":
			_, _ = w.Write([]byte("begun"))
			http.NewResponseController(w).Flush()
			<-open
		case "/panic":
			panic("in its turn")
		}
		_, _ = io.WriteString(w, "done")
	}))
	var all sync.WaitGroup
	ask := func(path string) {
		all.Go(func() {
			if answer, said := s.ask(t, "GET", path, ""); answer.StatusCode != 200 || !strings.HasSuffix(said, "done") {
				t.Errorf("%s: %s", path, answer.Status)
			}
		})
	}
	for range 5 {
		ask("/big.png")
		ask("/read")
	}
	require.Eventually(t, func() bool { return now.Load() == 1 }, 5*time.Second, time.Millisecond)
	for range 5 { // none of them leaves its turn behind
		answer, _ := s.ask(t, "GET", "/panic", "")
		require.Equal(t, 500, answer.StatusCode)
	}
	answer, _ := s.ask(t, "GET", "/", "")
	require.Equal(t, 200, answer.StatusCode, "a page waits for pictures, or for those who read slowly")
	for range 6 {
		ask("/slow")
	}
	require.Eventually(t, func() bool { return now.Load() == 4 && s.pages.waiting.Load() == 3 }, 5*time.Second, time.Millisecond)
	for _, path := range []string{"/static/site.css", "/patient"} {
		answer, _ = s.ask(t, "GET", path, "")
		require.Equal(t, 200, answer.StatusCode)
	}
	answer, _ = s.ask(t, "POST", "/rides", "abc")
	require.Equal(t, 200, answer.StatusCode)
	// Who gives up waiting leaves.
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, "GET", "http://"+s.addr+"/", nil)
	require.NoError(t, err)
	_, err = http.DefaultClient.Do(r)
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.Eventually(t, func() bool { return s.pages.waiting.Load() == 3 }, 5*time.Second, time.Millisecond)
	close(open)
	all.Wait()
	require.EqualValues(t, 4, most.Load())
	require.Empty(t, s.pages.slots)
	require.Empty(t, s.heavy.slots)
}
