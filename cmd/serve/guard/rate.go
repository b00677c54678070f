package guard

import (
	"math"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"
)

// Tries at the passcode are limited twice. Per address: three are free, then the wait doubles from one second to a
// quarter of an hour, and one try is forgotten each quarter of an hour. Over all addresses: one each three seconds,
// with a store of twenty. That is less than 30 000 tries a day from however many addresses.
//
// Nobody is locked out for good: a wait ends by itself, what is refused while it lasts does not lengthen it,
// sessions go on, and an address that was right before does not wait for all others (but for its own errors).
const (
	freeTries    = 3
	firstWait    = time.Second
	longestWait  = 15 * time.Minute
	forgetEach   = 15 * time.Minute
	overallEach  = 3 * time.Second
	overallStore = 20
	// Addresses kept in mind; at the overall rate, others push one out after hours, when it is forgotten anyway.
	mostAddresses = 4096
	mostTrusted   = 64
)

type tries struct {
	wrong float64 // tries that were not right, less those forgotten
	at    time.Time
	until time.Time // no try before
}

// rates keeps count. Its methods may be called from many goroutines.
type rates struct {
	now     func() time.Time
	mu      sync.Mutex
	of      map[netip.Prefix]tries
	trusted map[netip.Prefix]time.Time // when an address was right
	store   float64
	filled  time.Time
}

func newRates(now func() time.Time) *rates {
	return &rates{now: now, of: map[netip.Prefix]tries{}, trusted: map[netip.Prefix]time.Time{}, store: overallStore, filled: now()}
}

// blocked is how long the address must wait for its own earlier tries.
func (l *rates) blocked(who netip.Prefix) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	return max(0, l.of[who].until.Sub(l.now()))
}

// try asks for a try: zero, it is granted and counts as wrong until right is called; else it is refused, and the
// wait is told.
func (l *rates) try(who netip.Prefix) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	t := l.of[who]
	if wait := t.until.Sub(now); wait > 0 {
		return wait
	}
	if _, trusted := l.trusted[who]; !trusted {
		l.store = min(overallStore, l.store+max(0, now.Sub(l.filled).Seconds())/overallEach.Seconds())
		l.filled = now
		if l.store < 1 {
			return time.Duration((1 - l.store) * float64(overallEach))
		}
		l.store--
	}
	if !t.at.IsZero() {
		t.wrong = max(0, t.wrong-max(0, now.Sub(t.at).Seconds())/forgetEach.Seconds())
	}
	t.wrong++
	t.at, t.until = now, now.Add(waitAfter(t.wrong))
	if _, known := l.of[who]; !known && len(l.of) >= mostAddresses {
		l.dropOldest()
	}
	l.of[who] = t
	return 0
}

func waitAfter(wrong float64) time.Duration {
	over := math.Ceil(wrong) - freeTries
	if over < 0 {
		return 0
	}
	return min(longestWait, time.Duration(float64(firstWait)*math.Pow(2, min(over, 30))))
}

// right takes back the try that was granted last: no more, or who knows the passcode would buy free tries for
// others at the same address.
func (l *rates) right(who netip.Prefix) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if t, known := l.of[who]; known {
		t.wrong--
		t.until = l.now()
		if t.wrong <= 0 {
			delete(l.of, who)
		} else {
			l.of[who] = t
		}
	}
	if _, known := l.trusted[who]; !known && len(l.trusted) >= mostTrusted {
		oldest, when := who, l.now()
		for a, at := range l.trusted {
			if at.Before(when) {
				oldest, when = a, at
			}
		}
		delete(l.trusted, oldest)
	}
	l.trusted[who] = l.now()
}

func (l *rates) dropOldest() {
	var oldest netip.Prefix
	var when time.Time
	for a, t := range l.of {
		if when.IsZero() || t.at.Before(when) {
			oldest, when = a, t.at
		}
	}
	delete(l.of, oldest)
}

// caller is whose tries are counted together: an IPv4 address, or the /64 that one IPv6 customer has at the least
// (RFC 6177). Behind a proxy of ours on this machine, the address that it names last, which it alone has written.
func (g *Guard) caller(r *http.Request) netip.Prefix {
	addr := remoteAddr(r)
	if addr.IsLoopback() && g.behindProxy(r) {
		if via := r.Header.Values("X-Forwarded-For"); len(via) > 0 {
			last := via[len(via)-1]
			if named, err := netip.ParseAddr(strings.TrimSpace(last[strings.LastIndexByte(last, ',')+1:])); err == nil {
				addr = named.Unmap().WithZone("")
			}
		}
	}
	return network(addr)
}

func network(addr netip.Addr) netip.Prefix {
	bits := addr.BitLen()
	if addr.Is6() {
		bits = 64
	}
	p, err := addr.Prefix(bits)
	if err != nil { // no address at all: all such share one count
		return netip.Prefix{}
	}
	return p
}

func remoteAddr(r *http.Request) netip.Addr {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return netip.Addr{}
	}
	addr, err := netip.ParseAddr(host)
	if err != nil {
		return netip.Addr{}
	}
	return addr.Unmap().WithZone("")
}
