package guard

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"net/http"
	"sync"
	"time"
)

// Sessions keeps who is signed in. It is given hashes only: what is kept opens nothing. Its methods are called from
// many goroutines; what lies behind may serve several processes.
type Sessions interface {
	// Put keeps a session, or moves its end.
	Put(ctx context.Context, hash [32]byte, until time.Time) error
	// Until is a session's end; the zero time for one that is not kept.
	Until(ctx context.Context, hash [32]byte) (time.Time, error)
	// Drop ends a session; one that is not kept is no error.
	Drop(ctx context.Context, hash [32]byte) error
	// DropAll ends all.
	DropAll(ctx context.Context) error
}

const (
	// A session ends when it was not used for a month: a coach who looks in each week need not sign in again.
	sessionIdle = 30 * 24 * time.Hour
	// However often it is used, it ends after a quarter of a year (OWASP, the same sheet, asks for an end that nothing moves).
	sessionLongest = 90 * 24 * time.Hour
	// Its end is moved at most once a day.
	sessionMoved = 24 * time.Hour
	// OWASP's Session Management Cheat Sheet asks for 64 bits of chance; these are 192, behind 64 that say when it began.
	tokenBytes = 32
	// Sessions an in-memory store holds; the one that ends first goes.
	mostSessions = 1024
)

// cookieName is that of the session's cookie. With TLS the prefix makes browsers take it only from this very host, with TLS,
// for all paths (RFC 6265bis, 4.1.3.2), so that nobody can plant one.
func cookieName(secure bool) string {
	if secure {
		return "__Host-groundline"
	}
	return "groundline"
}

// sessionHash is what is kept of a session's token. The passcode's hash is part of it: another passcode, other
// sessions.
func sessionHash(phc string, token []byte) [32]byte {
	h := sha256.New()
	_, _ = h.Write(token)
	_, _ = h.Write([]byte(phc))
	return [32]byte(h.Sum(nil))
}

// session finds the session that the request's cookie is of. A browser may send several cookies of one name, and
// only one need be ours.
func (g *Guard) session(r *http.Request, phc string) (hash [32]byte, until time.Time, err error) {
	for i, c := range r.CookiesNamed(cookieName(g.secure(r))) {
		token, bad := base64.RawURLEncoding.Strict().DecodeString(c.Value)
		if bad != nil || len(token) != tokenBytes || i > 3 || g.opt.Now().Sub(begunAt(token)) > sessionLongest {
			continue
		}
		hash = sessionHash(phc, token)
		until, err = g.sessions.Until(r.Context(), hash)
		if err != nil {
			return hash, time.Time{}, err
		}
		if until.After(g.opt.Now()) {
			return hash, until, nil
		}
	}
	return [32]byte{}, time.Time{}, nil
}

// begunAt is when a token was made, which its first bytes say: what is kept of it is a hash of all of it, so nobody moves it.
func begunAt(token []byte) time.Time {
	return time.Unix(int64(binary.BigEndian.Uint64(token)), 0)
}

// begin starts a session. Its token is always a new one, whatever the browser sent.
func (g *Guard) begin(w http.ResponseWriter, r *http.Request, phc string) error {
	token := make([]byte, tokenBytes)
	if _, err := rand.Read(token); err != nil {
		return err
	}
	binary.BigEndian.PutUint64(token, uint64(g.opt.Now().Unix()))
	if err := g.sessions.Put(r.Context(), sessionHash(phc, token), g.opt.Now().Add(sessionIdle)); err != nil {
		return err
	}
	g.setCookie(w, r, base64.RawURLEncoding.EncodeToString(token), int(sessionIdle/time.Second))
	return nil
}

func (g *Guard) setCookie(w http.ResponseWriter, r *http.Request, value string, maxAgeS int) {
	secure := g.secure(r)
	http.SetCookie(w, &http.Cookie{
		Name: cookieName(secure), Value: value, Path: "/", MaxAge: maxAgeS,
		HttpOnly: true, Secure: secure, SameSite: http.SameSiteStrictMode,
	})
}

// memory keeps sessions in memory: they end with the process.
type memory struct {
	now   func() time.Time
	mu    sync.Mutex
	until map[[32]byte]time.Time
}

// newMemory makes an empty one.
func newMemory(now func() time.Time) *memory {
	return &memory{now: now, until: map[[32]byte]time.Time{}}
}

// Put is of Sessions.
func (m *memory) Put(_ context.Context, hash [32]byte, until time.Time) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, known := m.until[hash]; !known && len(m.until) >= mostSessions {
		var first [32]byte
		var when time.Time
		for h, u := range m.until {
			if when.IsZero() || u.Before(when) {
				first, when = h, u
			}
		}
		delete(m.until, first)
	}
	m.until[hash] = until
	return nil
}

// Until is of Sessions.
func (m *memory) Until(_ context.Context, hash [32]byte) (time.Time, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	until, known := m.until[hash]
	if known && !until.After(m.now()) {
		delete(m.until, hash)
		return time.Time{}, nil
	}
	return until, nil
}

// Drop is of Sessions.
func (m *memory) Drop(_ context.Context, hash [32]byte) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.until, hash)
	return nil
}

// DropAll is of Sessions.
func (m *memory) DropAll(context.Context) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	clear(m.until)
	return nil
}
