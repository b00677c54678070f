package shell

import (
	"context"
	"errors"
	"groundline/cmd/serve/guard"
	"groundline/report/keep"
	"io"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Known is a number; nil for 0, which is none.
func Known(id int64) *int64 {
	if id == 0 {
		return nil
	}
	return &id
}

// MaxPlanSent is more than any plan or map that its reader takes, so that it tells that it is too long.
const MaxPlanSent = 8 << 20

// FaultyPlan is the status of a plan that was sent and can't be read.
const FaultyPlan = http.StatusUnprocessableEntity

// ReadForm reads a form without files, of at most so many bytes, into r.PostForm. The error is one that can be answered
// as it is.
func ReadForm(w http.ResponseWriter, r *http.Request, most int64) error {
	r.Body = http.MaxBytesReader(w, r.Body, most)
	err := r.ParseForm()
	if err == nil {
		return nil
	}
	var tooLarge *http.MaxBytesError
	if _, _, known := guard.BodyStatus(err); known || errors.As(err, &tooLarge) {
		return err
	}
	return BadRequest("the form can't be read; go back to its page and send it again")
}

// MaxFormBytes is more than any form without files.
const MaxFormBytes = 1 << 20

// Pick is one entry of a list to choose from.
type Pick struct {
	Value, Text string
	Chosen      bool
}

// Number is a number of something kept; 0 where none is given.
func Number(field, s string) (int64, error) {
	if s == "" {
		return 0, nil
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n < 0 {
		return 0, BadRequest("%s: %q, expected a number", field, Short(s))
	}
	return n, nil
}

// DayOf is a day (2026-05-03) or a moment (RFC 3339). A day gets plus, so that the last day is one that counts.
func DayOf(field, s string, plus time.Duration) (time.Time, error) {
	if s == "" {
		return time.Time{}, nil
	}
	if t, err := time.Parse(time.DateOnly, s); err == nil {
		return t.Add(plus), nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return t, BadRequest("%s: %q, expected a day as 2026-05-03", field, Short(s))
	}
	return t, nil
}

// Short is the beginning of what somebody sent, for a message.
func Short(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}

func (s *Shell) HorsePicks(ctx context.Context, chosen int64) ([]Pick, error) {
	horses, err := s.Store.Horses(ctx)
	var out []Pick
	for _, h := range horses {
		out = append(out, Pick{strconv.FormatInt(h.ID, 10), h.Name, h.ID == chosen})
	}
	return out, err
}

// CoursePicks are the courses in use, and the chosen one even if it was put away.
func (s *Shell) CoursePicks(ctx context.Context, chosen int64) ([]Pick, error) {
	courses, err := s.Store.Courses(ctx)
	var out []Pick
	for _, c := range courses {
		if !c.PutAway || c.ID == chosen {
			out = append(out, Pick{strconv.FormatInt(c.ID, 10), c.Name, c.ID == chosen})
		}
	}
	return out, err
}

// Posted are the fields of a form without files.
func Posted(w http.ResponseWriter, r *http.Request) (map[string]string, error) {
	if err := ReadForm(w, r, MaxFormBytes); err != nil {
		return nil, err
	}
	fields := map[string]string{}
	for _, name := range slices.Sorted(maps.Keys(r.PostForm)) {
		fields[name] = strings.TrimSpace(r.PostForm.Get(name))
	}
	return fields, nil
}

// CutOff tells a request that ended midway from what else may go wrong.
func CutOff(err error) error {
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		return err
	}
	if errors.Is(err, guard.ErrParts) {
		return BadRequest("the form's fields or file names are too long; rename the files and send them again")
	}
	if errors.Is(err, guard.ErrForm) || errors.Is(err, io.ErrUnexpectedEOF) {
		return BadRequest("the files did not arrive whole; send them again")
	}
	return err
}

// Gone turns what the store does not find into a fault of the request.
func Gone(err error, format string, a ...any) error {
	if errors.Is(err, keep.ErrNotFound) {
		return BadRequest(format, a...)
	}
	return err
}

// MaxChoiceBytes bounds a choice in an address: more than every second of ten thousand rides, and less than any
// browser or server takes.
const MaxChoiceBytes = 64 << 10
