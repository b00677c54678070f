package guard

import (
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"os"
	"strconv"
	"strings"
	"time"
)

// Pace is how slow a connection may be. Zero fields take defaults. net/http's time-outs for a whole request can't
// tell a slow phone from one that only holds the line; these look at what came since.
type Pace struct {
	Head    time.Duration // for a request's headers to be whole; 10 s
	Stall   time.Duration // without a byte read or a piece written; 30 s
	Idle    time.Duration // between requests; 60 s
	Longest time.Duration // waited for one request's body in all; 1 h
	// MinBytesPerS is how fast a body must come after the first Stall. 1 KiB/s is a tenth of the slowest mobile line
	// in use (GPRS), common practice.
	MinBytesPerS int64
}

func (p Pace) orDefault() Pace {
	for _, d := range []struct {
		value     *time.Duration
		otherwise time.Duration
	}{{&p.Head, 10 * time.Second}, {&p.Stall, 30 * time.Second}, {&p.Idle, time.Minute}, {&p.Longest, time.Hour}} {
		if *d.value <= 0 {
			*d.value = d.otherwise
		}
	}
	orElse(&p.MinBytesPerS, 1024)
	return p
}

// Errors of reading a body, beside *http.MaxBytesError.
var (
	errSlow  = errors.New("the upload came too slowly")
	ErrParts = errors.New("too many parts, or their headers are too long")
	ErrForm  = errors.New("the form can't be read")
)

// BodyStatus is the status and the word for an error of reading a request's body; ok is false for errors that are
// not of that.
func BodyStatus(err error) (status int, word string, ok bool) {
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return http.StatusRequestEntityTooLarge, "Too large: " + sizeWords(large.Limit) + " can be sent at once.", true
	case errors.Is(err, errSlow), errors.Is(err, os.ErrDeadlineExceeded):
		return http.StatusRequestTimeout, "The upload came too slowly and was given up. Try again.", true
	case errors.Is(err, ErrParts):
		return http.StatusBadRequest, "Too many files at once, or their names are too long.", true
	case errors.Is(err, ErrForm), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, multipart.ErrMessageTooLarge), errors.Is(err, http.ErrNotMultipart), errors.Is(err, http.ErrMissingBoundary):
		return http.StatusBadRequest, "The upload broke off or can't be read. Try again.", true
	}
	return 0, "", false
}

func sizeWords(n int64) string {
	if n >= 1<<20 {
		return strconv.FormatInt(n>>20, 10) + " MB"
	}
	return strconv.FormatInt((n+1023)>>10, 10) + " kB"
}

// paced watches over a request's body.
func (g *Guard) paced(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Body == nil || r.Body == http.NoBody || r.ContentLength == 0 {
			next.ServeHTTP(w, r)
			return
		}
		b := &body{inner: r.Body, control: http.NewResponseController(w), pace: g.opt.Pace, limit: g.opt.MaxBody}
		r.Body = b
		next.ServeHTTP(w, r)
		if !b.ended { // the server reads on a little, so that the answer is seen; not for long
			b.deadline(time.Now().Add(g.opt.Pace.Head / 2))
		}
	})
}

// body is a request's body that must come at a pace and may have so many bytes.
type body struct {
	inner       io.ReadCloser
	control     *http.ResponseController
	pace        Pace
	limit, read int64
	waited      time.Duration // in reads
	moved       time.Time     // when the deadline was
	ended       bool
}

func (b *body) deadline(at time.Time) {
	_ = b.control.SetReadDeadline(at) // a connection without deadlines is one of a test
}

func (b *body) Read(p []byte) (int, error) {
	if b.read > b.limit {
		return 0, &http.MaxBytesError{Limit: b.limit}
	}
	if b.waited > b.pace.Longest || (b.waited > b.pace.Stall && float64(b.read) < b.waited.Seconds()*float64(b.pace.MinBytesPerS)) {
		return 0, errSlow
	}
	began := time.Now()
	if began.Sub(b.moved) > b.pace.Stall/10 {
		b.deadline(began.Add(b.pace.Stall))
		b.moved = began
	}
	if most := b.limit - b.read + 1; int64(len(p)) > most {
		p = p[:most]
	}
	n, err := b.inner.Read(p)
	b.waited += time.Since(began)
	b.read += int64(n)
	if errors.Is(err, io.EOF) {
		b.ended = true
		b.deadline(time.Time{}) // or it would end the request while its handler works
	}
	if b.read > b.limit {
		return n - 1, &http.MaxBytesError{Limit: b.limit}
	}
	return n, err
}

func (b *body) Close() error { return b.inner.Close() }

// uploading lets the requests that bring files send more, and only so many of them at once. Some more wait their turn;
// others are told to come again.
func (g *Guard) uploading(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b, some := r.Body.(*body)
		if !some || !g.opt.Uploading(r) {
			next.ServeHTTP(w, r)
			return
		}
		if !g.uploads.enter(r.Context()) {
			w.Header().Set("Retry-After", "5")
			w.Header().Set("Connection", "close")
			refuse(w, r, http.StatusServiceUnavailable, "Many uploads at once. Try again in a few seconds.")
			return
		}
		defer g.uploads.leave()
		b.limit = g.opt.MaxUpload
		next.ServeHTTP(w, r)
	})
}

const (
	// A ride has a handful of files and fields, a day at a lesson some dozens.
	mostParts = 200
	// A part's headers are its name and type. mime/multipart itself would take ten megabytes of them.
	mostPartHead = 32 << 10
)

// Parts reads a form with files piece by piece, nothing of it kept in memory or on disk.
type Parts struct {
	from  *multipart.Reader
	head  *headLimit
	part  *multipart.Part
	count int
}

// NewParts begins to read the request's form.
func NewParts(r *http.Request) (*Parts, error) {
	kind, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != "multipart/form-data" {
		return nil, http.ErrNotMultipart
	}
	if params["boundary"] == "" {
		return nil, http.ErrMissingBoundary
	}
	// mime/multipart takes a form that ends within a part's headers for a whole one. Here the end of the body is an
	// error, and the last line may lack its line end.
	head := &headLimit{from: io.MultiReader(r.Body, strings.NewReader("\r\n"), brokenOff{}), left: -1}
	return &Parts{from: multipart.NewReader(head, params["boundary"]), head: head}, nil
}

// NextPart is the next part, until io.EOF. The one before can't be read any more.
func (p *Parts) NextPart() (*multipart.Part, error) {
	if p.part != nil {
		if _, err := io.Copy(io.Discard, p.part); err != nil {
			return nil, err
		}
	}
	if p.count++; p.count > mostParts {
		return nil, ErrParts
	}
	p.head.left = mostPartHead
	var err error
	p.part, err = p.from.NextPart()
	p.head.left = -1
	if p.head.exceeded {
		return nil, ErrParts
	}
	if err != nil && !errors.Is(err, io.EOF) {
		if _, _, known := BodyStatus(err); !known {
			err = fmt.Errorf("%w: %w", ErrForm, err)
		}
	}
	return p.part, err
}

// brokenOff is what is read behind the end of a form.
type brokenOff struct{}

func (brokenOff) Read([]byte) (int, error) { return 0, io.ErrUnexpectedEOF }

// headLimit hands on what it reads, but while left is not negative no more than that.
type headLimit struct {
	from     io.Reader
	left     int
	exceeded bool
}

func (h *headLimit) Read(p []byte) (int, error) {
	if h.left < 0 {
		return h.from.Read(p)
	}
	if h.left == 0 {
		h.exceeded = true
		return 0, ErrParts
	}
	n, err := h.from.Read(p[:min(len(p), h.left)])
	h.left -= n
	return n, err
}
