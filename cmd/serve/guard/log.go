package guard

import (
	"net/http"
	"runtime/debug"
	"strings"
	"time"
)

// logged writes a line for each request, without anything secret: no query, no cookie, no header. A handler that
// panics is told there, and to who asked as a status and a word.
func (g *Guard) logged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		a := &answer{ResponseWriter: w, control: http.NewResponseController(w), stall: g.opt.Pace.Stall}
		began := time.Now()
		path := r.URL.Path // handlers may change it
		if len(path) > 200 {
			path = path[:200]
		}
		defer func() {
			failure := recover()
			if failure != nil && failure != http.ErrAbortHandler {
				g.opt.Log.Error("panic", "what", failure, "method", r.Method, "path", path, "stack", string(debug.Stack()))
				if a.status == 0 {
					refuse(a, r, http.StatusInternalServerError, "Something went wrong here. Nothing that was kept is lost; the server's log tells more.")
					failure = nil
				} else {
					failure = http.ErrAbortHandler // half an answer must not look whole
				}
			}
			a.deadline() // of what the server still has to write
			status := a.status
			if status == 0 {
				status = http.StatusOK
			}
			g.opt.Log.Info("asked", "method", r.Method, "path", path, "status", status, "bytes", a.bytes,
				"ms", float64(time.Since(began).Microseconds())/1000, "from", remoteAddr(r).String())
			if failure != nil {
				panic(failure)
			}
		}()
		next.ServeHTTP(a, r)
	})
}

// answer is a ResponseWriter that knows its status and size, and gives up on who does not read.
type answer struct {
	http.ResponseWriter
	control *http.ResponseController
	stall   time.Duration
	status  int
	bytes   int64
}

func (a *answer) deadline() { _ = a.control.SetWriteDeadline(time.Now().Add(a.stall)) }

// WriteHeader is of http.ResponseWriter.
func (a *answer) WriteHeader(status int) {
	if a.status == 0 && status >= 200 {
		a.status = status
		if policy := a.Header().Get("Content-Security-Policy"); !strings.Contains(policy, "frame-ancestors 'none'") {
			SetPolicy(a, policy) // a page's own, which can't say that in a meta element
		}
	}
	a.ResponseWriter.WriteHeader(status)
}

// piece is written within one stall.
const piece = 32 << 10

// Write is of http.ResponseWriter.
func (a *answer) Write(p []byte) (int, error) {
	if a.status == 0 {
		a.WriteHeader(http.StatusOK)
	}
	written := 0
	for {
		n := min(len(p)-written, piece)
		a.deadline()
		m, err := a.ResponseWriter.Write(p[written : written+n])
		written += m
		a.bytes += int64(m)
		if err != nil || written == len(p) {
			_ = a.control.SetWriteDeadline(time.Time{}) // a handler may think for longer between two
			return written, err
		}
	}
}

// Flush is of http.Flusher.
func (a *answer) Flush() {
	a.deadline()
	_ = a.control.Flush()
	_ = a.control.SetWriteDeadline(time.Time{})
}

// Unwrap is what http.ResponseController looks for.
func (a *answer) Unwrap() http.ResponseWriter { return a.ResponseWriter }
