package guard

import (
	"crypto/tls"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"os"
	"sync"
	"time"
)

const (
	// A choice of some thousand rides in an address is up to 64 KiB; cookies and what browsers say of themselves are
	// some kilobytes.
	maxHeaderBytes = 96 << 10
	maxStreams     = 100 // of one HTTP/2 connection, what RFC 9113, 6.5.2, advises at the least
)

// Server is a server that answers through the guard, with its time-outs and limits.
func (g *Guard) Server(pages http.Handler) *http.Server {
	return &http.Server{
		Handler:                      g.Handler(pages),
		ReadHeaderTimeout:            g.opt.Pace.Head,
		IdleTimeout:                  g.opt.Pace.Idle,
		MaxHeaderBytes:               maxHeaderBytes,
		DisableGeneralOptionsHandler: true, // "OPTIONS *" passes the guard like all others
		HTTP2:                        &http.HTTP2Config{MaxConcurrentStreams: maxStreams, SendPingTimeout: g.opt.Pace.Idle, WriteByteTimeout: g.opt.Pace.Stall},
		ErrorLog:                     slog.NewLogLogger(g.opt.Log.Handler(), slog.LevelDebug),
	}
}

const (
	mostConnections = 512 // half of the files a process may have open on most systems
	mostOfOne       = 128 // of one address beside loopback: fifty uploads, and pages meanwhile
)

// Limit makes a listener that closes connections at once when there are too many, in all or of one address
// (loopback's may be a proxy's, for all).
func Limit(inner net.Listener) net.Listener {
	return &listener{Listener: inner, of: map[netip.Prefix]int{}}
}

type listener struct {
	net.Listener
	mu  sync.Mutex
	all int
	of  map[netip.Prefix]int
}

func (l *listener) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		var who netip.Prefix
		loopback := false
		if tcp, ok := c.RemoteAddr().(*net.TCPAddr); ok {
			addr := tcp.AddrPort().Addr().Unmap().WithZone("")
			who, loopback = network(addr), addr.IsLoopback()
		}
		if l.enter(who, loopback) {
			return &conn{Conn: c, leave: sync.OnceFunc(func() { l.leave(who) })}, nil
		}
		_ = c.Close()
	}
}

func (l *listener) enter(who netip.Prefix, loopback bool) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.all >= mostConnections || (!loopback && l.of[who] >= mostOfOne) {
		return false
	}
	l.all++
	l.of[who]++
	return true
}

func (l *listener) leave(who netip.Prefix) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all--
	if l.of[who]--; l.of[who] <= 0 {
		delete(l.of, who)
	}
}

type conn struct {
	net.Conn
	leave func()
}

// CloseWrite is what net/http ends with when it hangs up on who still sends, so that its last word is read.
func (c *conn) CloseWrite() error {
	if half, ok := c.Conn.(interface{ CloseWrite() error }); ok {
		return half.CloseWrite()
	}
	return nil
}

func (c *conn) Close() error {
	c.leave()
	return c.Conn.Close()
}

// lookEach is how often a certificate's files are looked at.
const lookEach = 30 * time.Second

// TLS is a configuration with the certificate and key of the files. When they change, as when a certificate is renewed, the new
// ones are taken; while they can't be read, the ones before.
func TLS(certFile, keyFile string, log *slog.Logger) (*tls.Config, error) {
	c := &certificate{certFile: certFile, keyFile: keyFile, log: log}
	if err := c.load(); err != nil {
		return nil, fmt.Errorf("certificate: %w", err)
	}
	return &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: c.get, NextProtos: []string{"h2", "http/1.1"}}, nil
}

type certificate struct {
	certFile, keyFile string
	log               *slog.Logger
	mu                sync.Mutex
	pair              *tls.Certificate
	looked            time.Time
	changed           [2]time.Time
}

func (c *certificate) times() [2]time.Time {
	var at [2]time.Time
	for i, name := range []string{c.certFile, c.keyFile} {
		if info, err := os.Stat(name); err == nil {
			at[i] = info.ModTime()
		}
	}
	return at
}

func (c *certificate) load() error {
	at := c.times()
	pair, err := tls.LoadX509KeyPair(c.certFile, c.keyFile)
	if err != nil {
		return err
	}
	c.pair, c.changed, c.looked = &pair, at, time.Now()
	return nil
}

func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if time.Since(c.looked) > lookEach {
		c.looked = time.Now()
		if c.times() != c.changed {
			if err := c.load(); err != nil {
				c.log.Warn("the new certificate can't be used, so the old one is", "error", err)
			}
		}
	}
	return c.pair, nil
}
