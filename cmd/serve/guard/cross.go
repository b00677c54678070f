package guard

import (
	"net/http"
	"net/url"
	"strings"
)

// fromHere refuses what another site makes a browser send.
//
// A browser says where a request comes from by Sec-Fetch-Site (Fetch Metadata, W3C) to servers it trusts, which
// are those with TLS and loopback, and by Origin with every request that may change something. net/http's
// CrossOriginProtection judges by both. It lets pass what carries neither; here that is only for programs. Other
// ports of the same machine are another site to us, though not to a browser's cookies.
//
// No answer ever carries an Access-Control header: no other site reads anything.
func (g *Guard) fromHere(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !g.isFromHere(r) {
			refuse(w, r, http.StatusForbidden, "Another site asked for this in your name, so it was refused. Open the page itself and try again.")
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (g *Guard) isFromHere(r *http.Request) bool {
	site := r.Header.Get("Sec-Fetch-Site")
	if safeMethod(r.Method) {
		switch site {
		case "", "same-origin", "none":
			return true
		}
		// A link to a page may be followed from anywhere; nothing else may be fetched, framed or run.
		return r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document" && r.Method != http.MethodOptions
	}
	if g.origins.Check(r) != nil {
		return false
	}
	if origins := r.Header["Origin"]; len(origins) > 0 {
		return len(origins) == 1 && g.ownOrigin(r, origins[0])
	}
	if site == "same-origin" {
		return true
	}
	// Neither header, or one that says nobody asked: a browser must say more.
	return site == "" && len(r.Header["Cookie"]) == 0 && len(r.Header["Referer"]) == 0 &&
		!strings.HasPrefix(r.UserAgent(), "Mozilla/")
}

// ownOrigin tells whether an Origin header is the one that the server's own pages have: scheme, name and port as the
// browser sees them. "null" never is. The name of a proxy in front is our own also where the proxy does not pass on
// the Host it was asked for.
func (g *Guard) ownOrigin(r *http.Request, origin string) bool {
	u, err := url.Parse(origin)
	if err != nil || u.Host == "" {
		return false
	}
	scheme, usual := "http", "80"
	if g.secure(r) {
		scheme, usual = "https", "443"
	}
	host, port, ok := splitHost(u.Host)
	if n := g.named(host, port); ok && n != nil && n.proxy && n.port == port && u.Scheme == "https" {
		return true
	}
	ourHost, ourPort, ourOK := splitHost(r.Host)
	if port == "" {
		port = usual
	}
	if ourPort == "" {
		ourPort = usual
	}
	return ok && ourOK && u.Scheme == scheme && host == ourHost && port == ourPort
}
