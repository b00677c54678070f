package rides

import (
	"context"
	"groundline/report"
	"sync"
	"time"
)

// anew is the debriefs that are being fetched for people. Most are there at once. One that another version of the program
// made, or whose copy was lost, is made anew, which may take long: whoever asks is then told to wait, and asks again, while
// it is made once for all.
type anew struct {
	mu sync.Mutex
	of map[int64]*making // by ride
}

// making is one debrief on its way; what it became may be read once done is closed.
type making struct {
	done chan struct{}
	d    *report.Debrief
	err  error
}

// patience is how long a page keeps its reader without a word: about as long as a train of thought lasts (a second, by
// Miller, "Response time in man-computer conversational transactions", 1968).
const patience = time.Second

// fetch gives a debrief, or nil when it is still being made after the time that somebody waits.
func (a *anew) fetch(ctx context.Context, id int64, wait time.Duration, get func(context.Context, int64) (*report.Debrief, error)) (*report.Debrief, error) {
	a.mu.Lock()
	m := a.of[id]
	if m == nil {
		m = &making{done: make(chan struct{})}
		if a.of == nil {
			a.of = map[int64]*making{}
		}
		a.of[id] = m
		go func() {
			m.d, m.err = get(context.WithoutCancel(ctx), id) // others wait for it too
			a.mu.Lock()
			delete(a.of, id)
			a.mu.Unlock()
			close(m.done)
		}()
	}
	a.mu.Unlock()
	select {
	case <-m.done:
		return m.d, m.err
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-time.After(wait):
		return nil, nil
	}
}
