package shell

import (
	"encoding/json"
	"errors"
	"fmt"
	"groundline/cmd/serve/guard"
	"groundline/report/keep"
	"maps"
	"net/http"
	"strings"
)

// Refusal is an error with the status that it is answered with.
type Refusal struct {
	Status int
	Err    error
}

func (r Refusal) Error() string { return r.Err.Error() }
func (r Refusal) Unwrap() error { return r.Err }

func BadRequest(format string, a ...any) error {
	return Refusal{http.StatusBadRequest, fmt.Errorf(format, a...)}
}

// StatusOf is the status of an error. What nobody foresaw is the server's fault, and its text is for the log.
func StatusOf(err error) (status int, words string) {
	var r Refusal
	var tooLarge *http.MaxBytesError
	var large *keep.TooLargeError
	var full *keep.FullError
	var notReady *keep.NotReadyError
	var invalid *keep.InvalidError
	var inUse *keep.InUseError
	switch {
	case errors.As(err, &r):
		return r.Status, r.Error()
	case errors.Is(err, keep.ErrNotFound):
		return http.StatusNotFound, "There is nothing here by that number. It may have been removed."
	case errors.As(err, &tooLarge):
		return http.StatusRequestEntityTooLarge, fmt.Sprintf("more than %d MB were sent, expected less", tooLarge.Limit>>20)
	case errors.As(err, &large):
		return http.StatusRequestEntityTooLarge, large.Error()
	case errors.As(err, &full): // without the folder's name, which is the machine's owner's business
		return http.StatusInsufficientStorage, "no room is left on the disk that rides are kept on: free some space there, or remove rides, and hand it in once more; what was kept before is whole"
	case errors.As(err, &invalid):
		return http.StatusBadRequest, invalid.Error()
	case errors.As(err, &notReady), errors.As(err, &inUse):
		return http.StatusConflict, err.Error()
	}
	if status, words, ok := guard.BodyStatus(err); ok {
		return status, words
	}
	return http.StatusInternalServerError, "This did not work; the program's log says why."
}

// Fail answers with an error: as a page for people, as a problem (RFC 9457) for programs.
func (s *Shell) Fail(w http.ResponseWriter, r *http.Request, err error) {
	status, words := StatusOf(err)
	switch {
	case r.Context().Err() != nil: // whoever asked has gone: nobody to tell, and nothing wrong here
		s.Log.Info("gone", "method", r.Method, "path", r.URL.Path)
	case status == http.StatusInternalServerError:
		s.Log.Error("answer", "method", r.Method, "path", r.URL.Path, "error", err)
	}
	if strings.HasPrefix(r.URL.Path, "/api/") {
		problem(w, status, words)
		return
	}
	s.Show(w, r, status, "error.html", View{Title: titleOf(status), Data: strings.Split(words, "\n")})
}

// titleOf is what a status means to people.
func titleOf(status int) string {
	switch status {
	case http.StatusNotFound:
		return "Not here"
	case http.StatusInsufficientStorage:
		return "The disk is full"
	case http.StatusInternalServerError:
		return "Something went wrong"
	}
	return "That can't be done"
}

// problem is an error for programs.
func problem(w http.ResponseWriter, status int, detail string) { ProblemWith(w, status, detail, nil) }

// ProblemWith is an error for programs with more members (RFC 9457, 3.2).
func ProblemWith(w http.ResponseWriter, status int, detail string, more map[string]any) {
	body := map[string]any{"type": "about:blank", "title": http.StatusText(status), "status": status, "detail": detail}
	maps.Copy(body, more)
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(body) // the reader has gone: nobody to tell
}

// Nowhere answers for all paths that are none.
func (s *Shell) Nowhere(w http.ResponseWriter, r *http.Request) {
	s.Fail(w, r, Refusal{http.StatusNotFound, errors.New("no page has this address")})
}

// Answer writes a value as JSON.
func Answer(w http.ResponseWriter, status int, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		problem(w, http.StatusInternalServerError, "the answer can't be written")
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(append(data, '\n'))
}
