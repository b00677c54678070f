package shell

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"path"
	"strconv"
	"strings"
)

// maxQueryBytes is the longest query that is looked at: room for a choice of rides and a filter.
const maxQueryBytes = MaxChoiceBytes + 4<<10

// mostHeld is the longest answer that is held back to be named and packed: a debrief of an hour is some
// hundred kilobytes.
const mostHeld = 4 << 20

// leastPacked is the shortest answer that is worth packing: less fits one packet of a network anyway.
const leastPacked = 1400

// manners are what all answers to programs have in common: a query of bounded length and, for what is read as JSON, an
// entity tag, so that who has it already is told just that (RFC 9110, 13.1.2), and gzip for who takes it.
func (s *Shell) manners(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if len(r.URL.RawQuery) > maxQueryBytes {
			s.Fail(w, r, Refusal{http.StatusRequestURITooLong, fmt.Errorf("the query is %d characters long, expected at most %d", len(r.URL.RawQuery), maxQueryBytes)})
			return
		}
		if IsInterface(r.URL.Path) && path.Clean(r.URL.Path) != r.URL.Path {
			s.Nowhere(w, r) // a program is not sent elsewhere
			return
		}
		if !IsInterface(r.URL.Path) || r.Method != http.MethodGet && r.Method != http.MethodHead {
			next.ServeHTTP(w, r)
			return
		}
		h := &held{ResponseWriter: w, r: r}
		next.ServeHTTP(h, r)
		h.finish()
	})
}

func IsInterface(path string) bool { return strings.HasPrefix(path, "/api/") }

// held keeps back an answer of JSON until it is whole. All others, and what is too long or is flushed, pass at once.
type held struct {
	http.ResponseWriter
	r      *http.Request
	status int
	body   bytes.Buffer
	passes bool // what comes goes straight on
}

// Unwrap is for [http.ResponseController].
func (h *held) Unwrap() http.ResponseWriter { return h.ResponseWriter }

func (h *held) WriteHeader(status int) {
	if h.status != 0 || status < 200 {
		return
	}
	h.status = status
	kind, _, _ := strings.Cut(h.Header().Get("Content-Type"), ";")
	if status != http.StatusOK || kind != "application/json" && !strings.HasSuffix(kind, "+json") || h.Header().Get("Content-Encoding") != "" {
		h.pass()
	}
}

func (h *held) Write(b []byte) (int, error) {
	if h.status == 0 {
		h.WriteHeader(http.StatusOK)
	}
	if !h.passes && h.body.Len()+len(b) > mostHeld {
		h.pass()
	}
	if h.passes {
		return h.ResponseWriter.Write(b)
	}
	return h.body.Write(b)
}

// Flush sends what there is: the handler wants it to be seen now.
func (h *held) Flush() {
	if h.status == 0 {
		h.WriteHeader(http.StatusOK)
	}
	h.pass()
	_ = http.NewResponseController(h.ResponseWriter).Flush() // where it can't, it comes later
}

func (h *held) pass() {
	if h.passes {
		return
	}
	h.passes = true
	h.ResponseWriter.WriteHeader(h.status)
	_, _ = h.ResponseWriter.Write(h.body.Bytes()) // the reader has gone: the handler's next write tells
	h.body = bytes.Buffer{}
}

// finish sends an answer that was held back.
func (h *held) finish() {
	if h.status == 0 || h.passes {
		return
	}
	sum := sha256.Sum256(h.body.Bytes())
	tag := `"` + hex.EncodeToString(sum[:12]) + `"`
	head := h.Header()
	// Weak, as packed and plain are the same answer in other bytes.
	head.Set("ETag", "W/"+tag)
	head.Add("Vary", "Accept-Encoding")
	if sameTag(h.r.Header.Values("If-None-Match"), tag) {
		head.Del("Content-Type")
		head.Del("Content-Length")
		h.ResponseWriter.WriteHeader(http.StatusNotModified)
		return
	}
	body := h.body.Bytes()
	if len(body) >= leastPacked && takesGzip(h.r.Header.Values("Accept-Encoding")) {
		var packed bytes.Buffer
		z := gzip.NewWriter(&packed)
		_, err := z.Write(body)
		if err = errors.Join(err, z.Close()); err == nil && packed.Len() < len(body) {
			body = packed.Bytes()
			head.Set("Content-Encoding", "gzip")
		}
	}
	head.Set("Content-Length", strconv.Itoa(len(body)))
	h.ResponseWriter.WriteHeader(http.StatusOK)
	_, _ = h.ResponseWriter.Write(body)
}

// sameTag tells whether one of the tags that the reader has is this one, compared weakly.
func sameTag(have []string, tag string) bool {
	for _, line := range have {
		for part := range strings.SplitSeq(line, ",") {
			if part = strings.TrimSpace(part); part == "*" || strings.TrimPrefix(part, "W/") == tag {
				return true
			}
		}
	}
	return false
}

// takesGzip tells whether a reader takes gzip (RFC 9110, 12.5.3), as far as readers say it in practice.
func takesGzip(accepts []string) bool {
	for _, line := range accepts {
		for part := range strings.SplitSeq(line, ",") {
			coding, weight, _ := strings.Cut(part, ";")
			if c := strings.ToLower(strings.TrimSpace(coding)); c != "gzip" && c != "*" {
				continue
			}
			_, q, given := strings.Cut(strings.ReplaceAll(weight, " ", ""), "q=")
			v, err := strconv.ParseFloat(q, 64)
			return !given || err == nil && v > 0
		}
	}
	return false
}

// otherwise answers for paths that have no handler: there are none, or not for this method.
func (s *Shell) otherwise(mux *http.ServeMux) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		var allowed []string
		for _, method := range []string{http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete} {
			other := r.WithContext(r.Context()) // a copy
			other.Method = method
			if _, pattern := mux.Handler(other); pattern != "/" && pattern != "" {
				allowed = append(allowed, method)
			}
		}
		if len(allowed) == 0 {
			s.Nowhere(w, r)
			return
		}
		w.Header().Set("Allow", strings.Join(allowed, ", "))
		s.Fail(w, r, Refusal{http.StatusMethodNotAllowed, fmt.Errorf("%s is not for this address, expected %s", r.Method, strings.Join(allowed, ", "))})
	}
}
