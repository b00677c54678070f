package guard

import (
	"bytes"
	"context"
	_ "embed" // signin.html
	"encoding/base64"
	"errors"
	"fmt"
	"html"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// Paths that the guard answers itself.
const (
	signInPath  = "/sign-in"
	signOutPath = "/sign-out"
)

//go:embed signin.html
var signInPage string

type signIn struct {
	Next, Said string
}

// signedIn lets in who knows the passcode, and answers the sign-in page.
func (g *Guard) signedIn(next http.Handler) http.Handler {
	page := template.Must(template.New("signin").Parse(signInPage))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		phc := g.passcode.Load()
		switch {
		case r.URL.Path == signInPath && phc == nil:
			http.Redirect(w, r, "/", http.StatusSeeOther)
		case r.URL.Path == signInPath:
			if !g.byLink(w, r, *phc) {
				g.signIn(w, r, *phc, page)
			}
		case r.URL.Path == signOutPath:
			g.signOut(w, r, phc)
		case phc == nil || g.opt.Open(r.URL.Path):
			next.ServeHTTP(w, r)
		case len(r.Header["Authorization"]) > 0:
			g.fromProgram(w, r, *phc, next)
		default:
			hash, until, err := g.session(r, *phc)
			switch {
			case err != nil:
				g.failed(w, r, err)
				return
			case until.IsZero():
				g.turnAway(w, r)
				return
			}
			if now := g.opt.Now(); until.Sub(now) < sessionIdle-sessionMoved {
				if err := g.sessions.Put(r.Context(), hash, now.Add(sessionIdle)); err == nil {
					for _, c := range r.CookiesNamed(cookieName(g.secure(r))) {
						if token, err := base64.RawURLEncoding.Strict().DecodeString(c.Value); err == nil && sessionHash(*phc, token) == hash {
							g.setCookie(w, r, c.Value, int(sessionIdle/time.Second))
						}
					}
				}
			}
			next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), sessionKey, true)))
		}
	})
}

// turnAway sends who looks at a page to sign in, and tells all others how.
func (g *Guard) turnAway(w http.ResponseWriter, r *http.Request) {
	if (r.Method == http.MethodGet || r.Method == http.MethodHead) && !forProgram(r) && strings.Contains(r.Header.Get("Accept"), "text/html") {
		next, to := OwnPath(r.URL.RequestURI()), signInPath
		if site := r.Header.Get("Sec-Fetch-Site"); site == "cross-site" || site == "same-site" {
			// A link from elsewhere: the browser keeps the cookie back (SameSite). Asked for by a page of ours, it does not.
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			next = html.EscapeString(next)
			_, _ = fmt.Fprintf(w, "<!doctype html>\n<html lang=\"en\">\n<title>groundline</title>\n<meta http-equiv=\"refresh\" content=\"0;url=%s\">\n<p><a href=\"%s\">Open the page</a></p>\n", next, next)
			return
		}
		if next != "/" && len(next) <= longestNext {
			to += "?next=" + url.QueryEscape(next)
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
		return
	}
	w.Header().Set("WWW-Authenticate", `Bearer realm="groundline"`)
	refuse(w, r, http.StatusUnauthorized, "A passcode is needed: sign in at "+signInPath+", or send the header Authorization: Bearer and the passcode.")
}

// tooSoon tells to wait.
func tooSoon(w http.ResponseWriter, wait time.Duration) string {
	w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(wait.Seconds()))))
	return "Too many tries. Wait " + waitWords(wait) + ", then try again."
}

func waitWords(wait time.Duration) string {
	switch s := int(math.Ceil(wait.Seconds())); {
	case s <= 1:
		return "a second"
	case s < 90:
		return fmt.Sprintf("%d seconds", s)
	default:
		return fmt.Sprintf("%d minutes", (s+59)/60)
	}
}

// verdict is what became of a passcode that was tried.
type verdict struct {
	right bool
	code  int           // of the answer when not
	wait  time.Duration // more than zero: too many tries, and how long
	said  string
}

// tried judges a passcode under the limits.
func (g *Guard) tried(r *http.Request, phc, passcode string) (verdict, error) {
	who := g.caller(r)
	if wait := g.rates.try(who); wait > 0 {
		return verdict{code: http.StatusTooManyRequests, wait: wait}, nil
	}
	ok, err := g.check(r.Context(), phc, passcode)
	switch {
	case errors.Is(err, errBusy):
		return verdict{code: http.StatusServiceUnavailable, wait: verifyWait, said: "Many are signing in. Try again in a few seconds."}, nil
	case err != nil:
		return verdict{}, err
	case !ok:
		g.opt.Log.Warn("wrong passcode", "from", who.Addr().String())
		return verdict{code: http.StatusUnauthorized, said: "That is not the passcode."}, nil
	}
	g.rates.right(who)
	return verdict{right: true}, nil
}

// fromProgram lets a program in that sends the passcode with its request.
func (g *Guard) fromProgram(w http.ResponseWriter, r *http.Request, phc string, next http.Handler) {
	scheme, passcode, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	passcode = strings.TrimLeft(passcode, " ")
	if !strings.EqualFold(scheme, "Bearer") || passcode == "" || len(r.Header["Authorization"]) > 1 {
		w.Header().Set("WWW-Authenticate", `Bearer realm="groundline"`)
		refuse(w, r, http.StatusUnauthorized, "Expected the header Authorization: Bearer and the passcode.")
		return
	}
	// The wait comes first: or the short way for the right one would tell it to whoever guesses fast.
	if wait := g.rates.blocked(g.caller(r)); wait > 0 {
		refuse(w, r, http.StatusTooManyRequests, tooSoon(w, wait))
		return
	}
	if g.knownRight(phc, passcode) {
		next.ServeHTTP(w, r)
		return
	}
	v, err := g.tried(r, phc, passcode)
	switch {
	case err != nil:
		g.failed(w, r, err)
	case v.right:
		if err := g.rememberRight(phc, passcode); err != nil {
			g.failed(w, r, err)
			return
		}
		next.ServeHTTP(w, r)
	default:
		said := v.said
		if v.wait > 0 {
			if wait := tooSoon(w, v.wait); said == "" {
				said = wait
			}
		} else {
			w.Header().Set("WWW-Authenticate", `Bearer realm="groundline", error="invalid_token"`)
		}
		refuse(w, r, v.code, said)
	}
}

func (g *Guard) signIn(w http.ResponseWriter, r *http.Request, phc string, page *template.Template) {
	next := OwnPath(r.FormValue("next"))
	switch r.Method {
	case http.MethodGet, http.MethodHead:
		if _, until, err := g.session(r, phc); err == nil && !until.IsZero() {
			http.Redirect(w, r, next, http.StatusSeeOther)
			return
		}
		g.showSignIn(w, r, page, http.StatusOK, signIn{Next: next})
	case http.MethodPost:
		v, err := g.tried(r, phc, r.PostFormValue("passcode"))
		if err != nil {
			g.failed(w, r, err)
			return
		}
		if !v.right {
			said := v.said
			if v.wait > 0 {
				if wait := tooSoon(w, v.wait); said == "" {
					said = wait
				}
			}
			g.showSignIn(w, r, page, v.code, signIn{Next: next, Said: said})
			return
		}
		if old, until, err := g.session(r, phc); err == nil && !until.IsZero() {
			_ = g.sessions.Drop(r.Context(), old) // it would end by itself
		}
		if err := g.begin(w, r, phc); err != nil {
			g.failed(w, r, err)
			return
		}
		http.Redirect(w, r, next, http.StatusSeeOther)
	default:
		w.Header().Set("Allow", "GET, HEAD, POST")
		refuse(w, r, http.StatusMethodNotAllowed, "Expected GET or POST.")
	}
}

func (g *Guard) showSignIn(w http.ResponseWriter, r *http.Request, page *template.Template, status int, what signIn) {
	var b bytes.Buffer
	if err := page.Execute(&b, what); err != nil {
		g.failed(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	if status == http.StatusUnauthorized {
		w.Header().Set("WWW-Authenticate", `Bearer realm="groundline"`)
	}
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes())
}

// signOut ends the browser's session, or with the form's field "everywhere" all of them.
func (g *Guard) signOut(w http.ResponseWriter, r *http.Request, phc *string) {
	if r.Method != http.MethodPost {
		w.Header().Set("Allow", "POST")
		refuse(w, r, http.StatusMethodNotAllowed, "Expected POST.")
		return
	}
	if phc != nil {
		hash, until, err := g.session(r, *phc)
		if err == nil && !until.IsZero() {
			if r.PostFormValue("everywhere") != "" {
				err = g.sessions.DropAll(r.Context())
			} else {
				err = g.sessions.Drop(r.Context(), hash)
			}
		}
		if err != nil {
			g.failed(w, r, err)
			return
		}
	}
	g.setCookie(w, r, "", -1)
	http.Redirect(w, r, signInPath, http.StatusSeeOther)
}

// failed answers what was nobody's fault who asked.
func (g *Guard) failed(w http.ResponseWriter, r *http.Request, err error) {
	if r.Context().Err() == nil {
		g.opt.Log.Error("who may in could not be told", "error", err)
	}
	refuse(w, r, http.StatusServiceUnavailable, "Who may in could not be told just now. Try again.")
}

// longestNext is the longest address that the sign-in page's own carries on. Longer ones are a choice of many rides.
const longestNext = 2048

// OwnPath is the path when it leads to a page of this server, else "/": no other host, however written, and not the
// sign-in page again. Browsers read a backslash as a slash and leave out tabs and line ends, so neither may be there.
func OwnPath(path string) string {
	if !strings.HasPrefix(path, "/") || strings.HasPrefix(path, "//") {
		return "/"
	}
	for _, r := range path {
		if r <= ' ' || r == 0x7f || r == '\\' {
			return "/"
		}
	}
	u, err := url.Parse(path)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || u.Opaque != "" || !plainPath(u) || strings.HasPrefix(u.Path, "//") ||
		u.Path == signInPath || u.Path == signOutPath {
		return "/"
	}
	return u.RequestURI()
}
