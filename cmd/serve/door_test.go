package serve

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/cmd/serve/guard"
	"groundline/cmd/serve/shell"
	"groundline/report/keep"
)

func TestWeight(t *testing.T) {
	for path, want := range map[string]guard.Weight{
		"/": guard.Page, "/rides/1": guard.Page, "/rides/1/debrief.png": guard.Heavy, "/courses/1/plan.png": guard.Heavy, "/rides/1/understood": guard.Heavy,
		"/compare": guard.Heavy, "/compare/comparison.json": guard.Heavy, "/api/1/compare": guard.Heavy, "/courses": guard.Page,
		"/strides": guard.Page, "/strides/table": guard.Waiting, "/api/1/strides": guard.Waiting, "/api/1/strides/summary": guard.Waiting,
	} {
		require.Equal(t, want, Weight(httptest.NewRequest(http.MethodGet, path, nil)), path)
	}
}

// A form that can't be read is the sender's fault, one that is too long too.
func TestFormsThatAreNone(t *testing.T) {
	var store *keep.Store
	url := site(t, withStore(&store)).URL
	keptDemo(t, store, "Bramble", "ride.gpx")
	for _, path := range []string{"/horses", "/horses/1", "/rides/1/details", "/rides/1/columns"} {
		answer, _ := does(t, http.MethodPost, url+path, "application/x-www-form-urlencoded", []byte("name=%zz&note=%"))
		require.Equal(t, http.StatusBadRequest, answer.StatusCode, path)
		answer, _ = does(t, http.MethodPost, url+path, "application/x-www-form-urlencoded", []byte("note="+strings.Repeat("a", shell.MaxFormBytes)))
		require.Equal(t, http.StatusRequestEntityTooLarge, answer.StatusCode, path)
	}
	answer, _ := does(t, http.MethodPost, url+"/courses/new", "application/x-www-form-urlencoded", []byte("text=%zz"))
	require.Equal(t, http.StatusBadRequest, answer.StatusCode)
}
