package guard

import (
	"context"
	"net/http"
	"sync"
	"sync/atomic"
	"time"
)

// turns lets so many do something at once; some more wait, for so long.
type turns struct {
	slots   chan struct{}
	queue   int64
	patient time.Duration
	waiting atomic.Int64
}

func newTurns(atOnce, queue int, patient time.Duration) *turns {
	return &turns{slots: make(chan struct{}, atOnce), queue: int64(queue), patient: patient}
}

// enter waits for a turn; false if there are too many or it takes too long. After true, leave ends it.
func (t *turns) enter(ctx context.Context) bool {
	select {
	case t.slots <- struct{}{}:
		return true
	default:
	}
	defer t.waiting.Add(-1)
	if t.waiting.Add(1) > t.queue {
		return false
	}
	timer := time.NewTimer(t.patient)
	defer timer.Stop()
	select {
	case t.slots <- struct{}{}:
		return true
	case <-timer.C:
	case <-ctx.Done():
	}
	return false
}

func (t *turns) leave() { <-t.slots }

// Weight is what an answer takes to make.
type Weight int

// The weights.
const (
	Page    Weight = iota // some milliseconds and megabytes
	Heavy                 // much memory or time
	Waiting               // it waits for something and takes turns by itself
)

// thinking bounds how many answers are worked out at once, and with them the memory that these take. A turn ends with
// the answer's first byte: who reads slowly keeps nobody waiting.
func (g *Guard) thinking(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		weight := g.opt.Weight(r)
		if r.Method != http.MethodGet && r.Method != http.MethodHead || g.opt.Open(r.URL.Path) || weight == Waiting {
			next.ServeHTTP(w, r) // what somebody still sends must not keep others waiting either
			return
		}
		of := g.pages
		if weight == Heavy {
			of = g.heavy
		}
		if !of.enter(r.Context()) {
			w.Header().Set("Retry-After", "5")
			refuse(w, r, http.StatusServiceUnavailable, "Many ask at once. Try again in a few seconds.")
			return
		}
		leave := sync.OnceFunc(of.leave)
		defer leave()
		next.ServeHTTP(&worked{ResponseWriter: w, done: leave}, r)
	})
}

// worked is a ResponseWriter that tells when the answer begins.
type worked struct {
	http.ResponseWriter
	done func()
}

// WriteHeader is of http.ResponseWriter.
func (w *worked) WriteHeader(status int) {
	w.done()
	w.ResponseWriter.WriteHeader(status)
}

// Write is of http.ResponseWriter.
func (w *worked) Write(p []byte) (int, error) {
	w.done()
	return w.ResponseWriter.Write(p)
}

// Unwrap is what http.ResponseController looks for.
func (w *worked) Unwrap() http.ResponseWriter { return w.ResponseWriter }
