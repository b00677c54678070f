package guard

import (
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
	"unicode/utf8"
)

// name is a further host name the server answers to.
type name struct {
	host  string // lower case, without the root's dot
	port  string // "": any
	proxy bool   // TLS is done by a proxy in front
}

func parseName(s string) (name, error) {
	bad := fmt.Errorf("host name %q: expected a name such as ride.example, with a port if only that is meant, or https://ride.example behind a proxy", s)
	rest, proxy := strings.CutPrefix(s, "https://")
	host, port, ok := splitHost(rest)
	if !ok || host == "" || strings.ContainsAny(host, "*/@ ") {
		return name{}, bad
	}
	return name{host: host, port: port, proxy: proxy}, nil
}

// splitHost takes a Host header apart (RFC 9110, 7.2; RFC 3986, 3.2.2): the host in lower case, without brackets
// and without the dot of the root; the port as its digits without leading zeros, or "". Not ok: no such thing.
func splitHost(s string) (host, port string, ok bool) {
	host = s
	if rest, bracketed := strings.CutPrefix(s, "["); bracketed {
		inner, after, closed := strings.Cut(rest, "]")
		addr, err := netip.ParseAddr(inner)
		if !closed || err != nil || !addr.Is6() || addr.Zone() != "" || (after != "" && after[0] != ':') {
			return "", "", false
		}
		host, port = addr.String(), strings.TrimPrefix(after, ":")
	} else if before, after, some := strings.Cut(s, ":"); some {
		host, port = before, after
	}
	if strings.Contains(port, ":") {
		return "", "", false
	}
	if port != "" {
		n, err := strconv.ParseUint(port, 10, 16)
		if err != nil || n == 0 || port[0] == '+' {
			return "", "", false
		}
		port = strconv.FormatUint(n, 10)
	}
	return strings.ToLower(strings.TrimSuffix(host, ".")), port, true
}

// answers tells whether the request asks for this server by a name that is its own. A page of another site whose
// name was pointed at this machine after it was loaded (DNS rebinding; Jackson and others 2007) asks under that
// name, which no browser lets it change.
//
// The server's own are: loopback's names and addresses; the address the connection came in on; the names given.
// With an address or a loopback name goes the port that was called.
func (g *Guard) answers(r *http.Request) bool {
	host, port, ok := splitHost(r.Host)
	if !ok || host == "" {
		return false
	}
	usual := "80"
	if r.TLS != nil {
		usual = "443"
	}
	if g.named(host, port) != nil {
		return true
	}
	if port == "" {
		port = usual
	}
	here, ok := localAddr(r)
	if !ok || port != strconv.Itoa(int(here.Port())) {
		return false
	}
	if host == "localhost" {
		return true
	}
	addr, err := netip.ParseAddr(host)
	if err != nil {
		return false
	}
	addr = addr.Unmap()
	return addr.IsLoopback() || addr == here.Addr()
}

// named is the given name that host and port are of, or nil.
func (g *Guard) named(host, port string) *name {
	for i := range g.names {
		n := &g.names[i]
		if n.host == host && (n.port == "" || n.port == port) {
			return n
		}
	}
	return nil
}

// behindProxy tells whether the request came through a proxy in front that does TLS: it asks for a name that was
// given so.
func (g *Guard) behindProxy(r *http.Request) bool {
	host, port, ok := splitHost(r.Host)
	if !ok {
		return false
	}
	n := g.named(host, port)
	return n != nil && n.proxy
}

// secure tells whether the browser speaks TLS, to us or to a proxy in front.
func (g *Guard) secure(r *http.Request) bool { return r.TLS != nil || g.behindProxy(r) }

// localAddr is where the connection came in.
func localAddr(r *http.Request) (netip.AddrPort, bool) {
	tcp, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	if !ok {
		return netip.AddrPort{}, false
	}
	a := tcp.AddrPort()
	return netip.AddrPortFrom(a.Addr().Unmap().WithZone(""), a.Port()), true
}

// asked refuses what is not asked of this server, and addresses that no page of it has.
func (g *Guard) asked(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case !g.answers(r):
			refuse(w, r, http.StatusMisdirectedRequest, "This server does not answer to that name. If it should, start it with --name and the name.")
		case !methods[r.Method]:
			w.Header().Set("Allow", "GET, HEAD, POST, PUT, PATCH, DELETE, OPTIONS")
			refuse(w, r, http.StatusMethodNotAllowed, "No page here knows that method.")
		case !plainPath(r.URL):
			refuse(w, r, http.StatusBadRequest, "No page here has such an address.")
		case g.passcode.Load() == nil && forwarded(r):
			refuse(w, r, http.StatusForbidden, "A proxy passes this on from elsewhere, and no passcode is set: set one before others may come in.")
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// forwarded tells a request that a proxy passed on (RFC 7239 and the header that was common before).
func forwarded(r *http.Request) bool {
	return len(r.Header["Forwarded"]) > 0 || len(r.Header["X-Forwarded-For"]) > 0
}

// plainPath tells a path that means the same to everyone who reads it: no step upwards, no backslash, no control
// character, no broken encoding, however written.
func plainPath(u *url.URL) bool {
	path := u.Path
	if !strings.HasPrefix(path, "/") || !utf8.ValidString(path) {
		return false
	}
	for _, r := range path {
		if r < ' ' || r == 0x7f || r == '\\' {
			return false
		}
	}
	for step := range strings.SplitSeq(path, "/") {
		if step == "." || step == ".." {
			return false
		}
	}
	return true
}
