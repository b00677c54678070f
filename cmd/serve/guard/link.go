package guard

import (
	"crypto/rand"
	"crypto/subtle"
	"net/http"
	"net/url"
)

// Without a passcode, who opens the page is whoever was given the address that was printed at the start: other accounts of the
// machine can reach the port, but not read it. The address has a key in it that signs one browser in, once; a program
// sends the key as it would a passcode.

const linkField = "key"

// AskForLink asks everybody for a key of its own, and gives the path and query of the address that has it. A passcode that is
// set later takes its place.
func (g *Guard) AskForLink() (path string, err error) {
	key := rand.Text()
	phc, err := Hash(key)
	if err == nil {
		err = g.SetPasscode(phc)
	}
	if err != nil {
		return "", err
	}
	g.link.Store(&link{key, phc})
	return signInPath + "?" + url.Values{linkField: {key}}.Encode(), nil
}

// link is a key that has not been used, with its hash.
type link struct{ key, phc string }

// byLink signs a browser in that comes by the address, and reports whether it has answered.
func (g *Guard) byLink(w http.ResponseWriter, r *http.Request, phc string) bool {
	l := g.link.Load()
	key := r.URL.Query().Get(linkField)
	if r.Method != http.MethodGet || key == "" || l == nil || l.phc != phc || subtle.ConstantTimeCompare([]byte(l.key), []byte(key)) != 1 {
		return false
	}
	if !g.link.CompareAndSwap(l, nil) { // somebody was faster
		return false
	}
	if err := g.begin(w, r, phc); err != nil {
		g.link.CompareAndSwap(nil, l)
		g.failed(w, r, err)
		return true
	}
	w.Header().Set("Cache-Control", "no-store")
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return true
}
