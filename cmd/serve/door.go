package serve

import (
	"net/http"
	"strings"
)

// OpenToAll tells the paths that are answered without the passcode: what the sign-in page needs, which is the same in
// every copy of the program.
func OpenToAll(path string) bool { return strings.HasPrefix(path, "/static/") }

// BringsFiles tells the requests that bring recordings, whose bodies may be large.
func BringsFiles(r *http.Request) bool {
	return r.Method == http.MethodPost && (r.URL.Path == "/rides" || r.URL.Path == "/api/1/rides")
}
