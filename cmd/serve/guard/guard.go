// Package guard decides who may ask a local page what, and how slowly. A browser stands in the middle of two
// worlds: the page's own, and every other page that is open in it. Whatever those can make it send must not reach
// the rides kept here. So each request passes, in this order:
//
//   - a word in the log, and a net for panics (log.go);
//   - time: a request that trickles is dropped, a slow phone is not (pace.go);
//   - headers that say what the answer may do in a browser: no foreign script, no frame (headers.go);
//   - the name it asks for: only the server's own names and addresses are answered, so that no foreign name that was
//     pointed at this machine (DNS rebinding) reads anything (hosts.go);
//   - where it comes from: nothing is changed, and nothing but a page opened, at another site's word (cross.go);
//   - the passcode, where one is set, or else the key of the address that was printed (link.go): a session of a browser, or the passcode itself from a program (passcode.go,
//     sessions.go, rate.go, signin.go);
//   - its turn: only so many recordings are taken in and so many answers worked out at once (pace.go, turns.go).
//
// The package knows nothing of pages, rides or the store.
package guard

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// Options say how strictly and for whom. Zero fields take defaults.
type Options struct {
	// Names are further host names the server answers to, beside loopback and the address that was called: "ride",
	// "ride:8417" (that port only) or "https://ride.example" (a proxy in front does TLS, so cookies are for TLS only
	// and the last address of its X-Forwarded-For is the caller's).
	Names []string
	// Sessions keeps who is signed in; nil: in memory, gone with the process.
	Sessions Sessions
	// Open tells the paths that are answered without the passcode, such as those of style sheets; nil: none.
	Open func(path string) bool
	// Uploading tells the requests that bring recordings; nil: none.
	Uploading func(*http.Request) bool
	// MaxUpload and MaxBody limit a request's body, in bytes: of those (default 512 MiB) and of all others
	// (default 4 MiB).
	MaxUpload, MaxBody int64
	// Uploads is how many uploads are read at once (default 64) and UploadQueue how many more may wait (default 64).
	Uploads, UploadQueue int
	// Weight tells what an answer takes to make; nil: a Page's. HeavyPages of the Heavy ones are made at once (default
	// one for each processor), and Pages of the others (default four, but eight at the least).
	Weight            func(*http.Request) Weight
	Pages, HeavyPages int
	Pace              Pace
	Log               *slog.Logger // nil: discards
	Now               func() time.Time
}

const (
	// An hour of six axes at 200 Hz as text is some 100 MB.
	defaultMaxUpload = 512 << 20
	// A form is some kilobytes, a plan with its survey some hundred.
	defaultMaxBody = 4 << 20
	// Fifty phones at a yard's lesson, with some room.
	defaultUploads = 64
	// A tablet on a slow line may wait this long for its turn.
	queueFor = 20 * time.Second
	// Whoever waits for a page for longer has gone or pressed again.
	pageWithin   = 30 * time.Second
	waitingPages = 256
)

// Guard is the door of one server. Its methods may be called from many goroutines.
type Guard struct {
	opt      Options
	names    []name
	origins  *http.CrossOriginProtection
	passcode atomic.Pointer[string] // PHC string; nil: none is asked for
	link     atomic.Pointer[link]   // nil: none, or used
	sessions Sessions
	rates    *rates
	checking chan struct{} // how many passcodes are verified at once
	program  verified
	uploads  *turns
	pages    *turns
	heavy    *turns

	mu sync.Mutex // of program
}

// New makes a guard; an error tells a name that can't be one.
func New(opt Options) (*Guard, error) {
	if opt.Log == nil {
		opt.Log = slog.New(slog.DiscardHandler)
	}
	if opt.Now == nil {
		opt.Now = time.Now
	}
	if opt.Sessions == nil {
		opt.Sessions = newMemory(opt.Now)
	}
	if opt.Open == nil {
		opt.Open = func(string) bool { return false }
	}
	if opt.Uploading == nil {
		opt.Uploading = func(*http.Request) bool { return false }
	}
	if opt.Weight == nil {
		opt.Weight = func(*http.Request) Weight { return Page }
	}
	orElse(&opt.Pages, max(8, 4*runtime.GOMAXPROCS(0)))
	orElse(&opt.HeavyPages, runtime.GOMAXPROCS(0))
	orElse(&opt.MaxUpload, defaultMaxUpload)
	orElse(&opt.MaxBody, defaultMaxBody)
	orElse(&opt.Uploads, defaultUploads)
	orElse(&opt.UploadQueue, defaultUploads)
	opt.Pace = opt.Pace.orDefault()
	g := &Guard{
		opt: opt, origins: http.NewCrossOriginProtection(), sessions: opt.Sessions, rates: newRates(opt.Now),
		checking: make(chan struct{}, verifiedAtOnce), uploads: newTurns(opt.Uploads, opt.UploadQueue, queueFor),
		pages: newTurns(opt.Pages, waitingPages, pageWithin), heavy: newTurns(opt.HeavyPages, waitingPages, pageWithin),
	}
	for _, n := range opt.Names {
		parsed, err := parseName(n)
		if err != nil {
			return nil, err
		}
		g.names = append(g.names, parsed)
		if parsed.proxy {
			if err := g.origins.AddTrustedOrigin(n); err != nil {
				return nil, fmt.Errorf("host name %q: %w", n, err)
			}
		}
	}
	return g, nil
}

func orElse[T int | int64](value *T, otherwise T) {
	if *value <= 0 {
		*value = otherwise
	}
}

// Handler stands before all of the server's pages.
func (g *Guard) Handler(next http.Handler) http.Handler {
	return g.logged(g.paced(g.withHeaders(g.asked(g.fromHere(g.signedIn(g.uploading(g.thinking(next))))))))
}

// methods that the pages and the JSON interface use.
var methods = map[string]bool{
	http.MethodGet: true, http.MethodHead: true, http.MethodPost: true, http.MethodPut: true, http.MethodPatch: true,
	http.MethodDelete: true, http.MethodOptions: true,
}

// safeMethod tells a method that changes nothing (RFC 9110, 9.2.1).
func safeMethod(method string) bool {
	return method == http.MethodGet || method == http.MethodHead || method == http.MethodOptions
}

// refuse answers with a status and a word: as a problem (RFC 9457) to a program, as plain text to all others.
func refuse(w http.ResponseWriter, r *http.Request, status int, word string) {
	h := w.Header()
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Cache-Control", "no-store")
	h.Del("Content-Length")
	h.Del("Content-Encoding")
	h.Del("Content-Disposition")
	h.Del("ETag")
	h.Del("Last-Modified")
	if !forProgram(r) {
		h.Set("Content-Type", "text/plain; charset=utf-8")
		w.WriteHeader(status)
		_, _ = w.Write([]byte(word + "\n"))
		return
	}
	body, err := json.Marshal(struct {
		Type   string `json:"type"`
		Title  string `json:"title"`
		Status int    `json:"status"`
		Detail string `json:"detail"`
	}{"about:blank", http.StatusText(status), status, word})
	if err != nil { // two strings and a number
		body = []byte("{}")
	}
	h.Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	_, _ = w.Write(append(body, '\n'))
}

// forProgram tells requests that no person looks at.
func forProgram(r *http.Request) bool {
	return strings.HasPrefix(r.URL.Path, "/api/") || strings.HasPrefix(r.Header.Get("Accept"), "application/json")
}

// key is of what the guard tells the handlers behind it.
type key int

const sessionKey key = iota

// SignedIn tells whether the request comes from a browser that signed in with the passcode, so that its page can
// offer to sign out.
func SignedIn(ctx context.Context) bool {
	in, _ := ctx.Value(sessionKey).(bool)
	return in
}
