package shell

import (
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What is flushed or too long goes straight on, and is whole.
func TestLongAnswersPass(t *testing.T) {
	s := New(Options{})
	long := strings.Repeat("x", mostHeld/4+1)
	for name, answer := range map[string]http.HandlerFunc{
		"long": func(w http.ResponseWriter, _ *http.Request) {
			for range 5 {
				_, _ = io.WriteString(w, long)
			}
		},
		"flushed": func(w http.ResponseWriter, _ *http.Request) {
			_, _ = io.WriteString(w, long)
			_ = http.NewResponseController(w).Flush()
			_, _ = io.WriteString(w, strings.Repeat(long, 4))
		},
	} {
		h := s.manners(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			answer(w, r)
		}))
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "http://127.0.0.1/api/1/x", nil))
		require.Equal(t, 5*len(long), w.Body.Len(), name)
		require.Empty(t, w.Header().Get("ETag"), name)
	}
}
