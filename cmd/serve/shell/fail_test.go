package shell

import (
	"fmt"
	"groundline/report/keep"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/require"
)

// A disk that is full is reported as such, to people and to programs.
func TestFullDisk(t *testing.T) {
	for path, want := range map[string]string{"/rides": "text/html; charset=utf-8", "/api/1/rides": "application/problem+json"} {
		w := httptest.NewRecorder()
		New(Options{Log: slog.New(slog.DiscardHandler)}).Fail(w, httptest.NewRequest(http.MethodPost, path, nil), fmt.Errorf("keeping: %w", &keep.FullError{Dir: "/home/someone/store"}))
		require.Equal(t, http.StatusInsufficientStorage, w.Code)
		require.Equal(t, want, w.Header().Get("Content-Type"))
		require.NotContains(t, w.Body.String(), "someone")
		require.Contains(t, w.Body.String(), "no room is left on the disk")
	}
}
