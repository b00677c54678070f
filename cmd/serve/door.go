package serve

import (
	"groundline/cmd/serve/guard"
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

// Weight tells what an answer takes to make. Pictures, recordings read once more and the debriefs of many rides side by side
// take tens of megabytes; stride tables wait for rides to be worked out, and take turns among themselves.
func Weight(r *http.Request) guard.Weight {
	switch path := r.URL.Path; {
	case strings.HasSuffix(path, ".png"), strings.HasSuffix(path, "/understood"),
		path == "/compare", strings.HasPrefix(path, "/lessons/"), strings.HasPrefix(path, "/compare/"), path == "/api/1/compare":
		return guard.Heavy
	case strings.HasPrefix(path, "/strides/"), path == "/api/1/strides", strings.HasPrefix(path, "/api/1/strides/"):
		return guard.Waiting
	}
	return guard.Page
}
