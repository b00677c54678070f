package comparisons

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"groundline/cmd/serve/guard"
	"groundline/cmd/serve/lines"
	"groundline/cmd/serve/shell"
	"groundline/report"
	"groundline/report/compare"
	"groundline/report/keep"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
)

// Routes are the comparison of rides.
func (s *Room) Routes(mux *http.ServeMux) {
	mux.HandleFunc("GET /compare", s.showComparison)
	mux.HandleFunc("GET /compare/comparison.txt", s.comparisonText)
	mux.HandleFunc("GET /compare/comparison.json", s.comparisonJSON)
	mux.HandleFunc("GET /api/1/compare", s.apiCompare)
}

// maxCompared is how many rides are compared at once: as many as there are letters to call them by.
const maxCompared = 26

// picked is a ride that is to be compared.
type picked struct {
	ride int64
	nth  []int // which rides of the line, by their number in the ride; nil for all
}

// picks reads what is to be compared: ride=NUMBER, or attempt=NUMBER.NTH of a line for one ride of that line, in the order given.
// twice tells that the same was given again.
func picks(q url.Values) (out []picked, twice bool, err error) {
	add := func(ride int64, nth int) {
		i := slices.IndexFunc(out, func(p picked) bool { return p.ride == ride })
		switch {
		case i < 0 && nth == 0:
			out = append(out, picked{ride: ride})
		case i < 0:
			out = append(out, picked{ride, []int{nth}})
		case nth == 0 || slices.Contains(out[i].nth, nth):
			twice = true
		default:
			out[i].nth = append(out[i].nth, nth)
		}
	}
	for _, text := range q["ride"] {
		id, err := shell.Number("ride", text)
		if err != nil {
			return nil, false, err
		}
		if id != 0 {
			add(id, 0)
		}
	}
	for _, text := range q["attempt"] {
		ride, nth, ok := strings.Cut(text, ".")
		id, err := strconv.ParseInt(ride, 10, 64)
		n, err2 := strconv.Atoi(nth)
		if !ok || err != nil || err2 != nil || id < 1 || n < 1 {
			return nil, false, shell.BadRequest("attempt: %q, expected a ride's number and which ride of the line, as 12.1", shell.Short(shell.Cleaned(text)))
		}
		add(id, n)
	}
	if len(out) > maxCompared {
		return nil, false, shell.BadRequest("%d rides to compare, expected at most %d at once", len(out), maxCompared)
	}
	return out, twice, nil
}

// compared is a comparison that was made.
type compared struct {
	comparison *compare.Comparison
	attempts   []compare.Attempt
	rides      []keep.Ride // in the same order
}

// unlikeError tells why rides can't be compared and what would do.
type unlikeError struct {
	why   string
	rides []keep.Ride
	lines []string // of each ride
	would string
}

func (e *unlikeError) Error() string {
	words := e.why
	for i := range e.rides {
		words += fmt.Sprintf("; ride %d has %s", e.rides[i].ID, e.lines[i])
	}
	return words + "; " + e.would
}

// compareRides compares rides in the order given, at one line or at all that they have in common.
func (s *Room) compareRides(ctx context.Context, which []picked, line string) (*compared, error) {
	out := &compared{}
	opt := compare.Options{}
	for _, p := range which {
		ride, err := s.Store.Ride(ctx, p.ride)
		if err != nil {
			return nil, shell.Gone(err, "ride: %d, expected a ride that is kept", p.ride)
		}
		d, err := s.Store.Debrief(ctx, p.ride)
		if err != nil {
			return nil, err
		}
		out.rides = append(out.rides, ride)
		out.attempts = append(out.attempts, compare.Attempt{Name: comparedName(ride), Debrief: d})
		opt.Nth = append(opt.Nth, p.nth)
	}
	if line == "" && slices.ContainsFunc(which, func(p picked) bool { return len(p.nth) > 0 }) {
		return nil, shell.BadRequest("attempt without a line, expected line= as 3-4: it says which ride of that line")
	}
	if line != "" {
		var ok bool
		if opt.From, opt.To, ok = compare.LineOf(line, out.attempts); !ok {
			return nil, shell.BadRequest("line: %q, expected two obstacles with a dash between, as 3-4", shell.Short(shell.Cleaned(line)))
		}
	}
	c, err := compare.Of(out.attempts, opt)
	var nothing *compare.NothingInCommonError
	if errors.As(err, &nothing) {
		return nil, out.unlike(opt)
	}
	if err != nil {
		return nil, err
	}
	out.comparison = c
	return out, nil
}

// comparedName is what a comparison calls a ride; its horse and day stand beside.
func comparedName(r keep.Ride) string {
	if r.Label != "" {
		return r.Label
	}
	return fmt.Sprintf("Ride %d", r.ID)
}

// unlike tells why nothing could be compared.
func (c *compared) unlike(opt compare.Options) *unlikeError {
	const toldLines = 12
	e := &unlikeError{rides: c.rides, why: "no line was ridden in two of them",
		would: "rides over the same course have lines in common, and so have rides over different courses where obstacles of the same numbers follow each other at the same distance"}
	if opt.From != "" {
		e.why = fmt.Sprintf("the line %s to %s was not ridden twice in them", opt.From, opt.To)
		e.would = "choose a line that both have, or all lines"
	}
	if len(c.rides) == 1 {
		e.would = "choose a second ride"
	}
	for i, r := range c.rides {
		var names []string
		for _, l := range c.attempts[i].Debrief.Lines {
			if name := l.From + " to " + l.To; !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
		words := "no line"
		if len(names) > 0 {
			words = strings.Join(names[:min(len(names), toldLines)], ", ")
			if more := len(names) - toldLines; more > 0 {
				words += fmt.Sprintf(" and %d more", more)
			}
		}
		if r.Course != "" {
			words += " of " + r.Course
		} else {
			words += ", without a course"
		}
		e.lines = append(e.lines, words)
	}
	return e
}

// inOrder puts picks in the order in which they were ridden; what is not kept stays as it is, to be told.
func (s *Room) inOrder(ctx context.Context, which []picked) ([]picked, error) {
	type dated struct {
		picked
		ride keep.Ride
	}
	var all []dated
	for _, p := range which {
		r, err := s.Store.Ride(ctx, p.ride)
		if err != nil {
			return nil, shell.Gone(err, "ride: %d, expected a ride that is kept", p.ride)
		}
		all = append(all, dated{p, r})
	}
	slices.SortStableFunc(all, func(a, b dated) int { return a.ride.At().Compare(b.ride.At()) })
	out := make([]picked, len(all))
	for i, d := range all {
		out[i] = d.picked
		slices.Sort(out[i].nth)
	}
	return out, nil
}

// comparison makes what a page or a file of it is asked for: the rides in the order in which they were ridden.
func (s *Room) comparison(r *http.Request) (*compared, error) {
	which, _, err := picks(r.URL.Query())
	if err != nil {
		return nil, err
	}
	if len(which) == 0 {
		return nil, shell.BadRequest("no ride was picked, expected ride= or attempt=")
	}
	if which, err = s.inOrder(r.Context(), which); err != nil {
		return nil, err
	}
	return s.compareRides(r.Context(), which, r.URL.Query().Get("line"))
}

// toldUnlike turns what can't be compared into an answer of its own.
func toldUnlike(err error) error {
	var unlike *unlikeError
	if errors.As(err, &unlike) {
		return shell.Refusal{Status: http.StatusUnprocessableEntity, Err: unlike}
	}
	return err
}

func (s *Room) comparisonText(w http.ResponseWriter, r *http.Request) {
	c, err := s.comparison(r)
	var out bytes.Buffer
	if err == nil {
		err = compare.Text(&out, c.comparison, compare.TextOptions{Units: shell.UnitsOf(r)})
	}
	if err != nil {
		s.Fail(w, r, toldUnlike(err))
		return
	}
	guard.Attachment(w, "comparison.txt", "text/plain")
	_, _ = w.Write(out.Bytes()) // the reader has gone: nobody to tell
}

func (s *Room) comparisonJSON(w http.ResponseWriter, r *http.Request) {
	c, err := s.comparison(r)
	var out bytes.Buffer
	if err == nil {
		err = compare.JSON(&out, c.comparison)
	}
	if err != nil {
		s.Fail(w, r, toldUnlike(err))
		return
	}
	guard.Attachment(w, "comparison.json", "application/json")
	_, _ = w.Write(out.Bytes())
}

// apiCompare compares rides in the order given, as the command does.
func (s *Room) apiCompare(w http.ResponseWriter, r *http.Request) {
	which, twice, err := picks(r.URL.Query())
	var c *compared
	switch {
	case err != nil:
	case len(which) == 0:
		err = shell.BadRequest("no ride was given, expected ride= two times or more, or attempt=")
	case twice:
		err = shell.BadRequest("the same ride was given twice: compared with itself it shows no difference")
	default:
		c, err = s.compareRides(r.Context(), which, r.URL.Query().Get("line"))
	}
	var out bytes.Buffer
	if err == nil {
		err = compare.JSON(&out, c.comparison)
	}
	if err != nil {
		s.Fail(w, r, toldUnlike(err))
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(out.Bytes())
}

// showComparison is the comparison's own page or, where there is nothing to compare yet, the choice of rides.
func (s *Room) showComparison(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	which, twice, err := picks(q)
	if err != nil {
		s.chooseRides(w, r, nil, nil, err.Error())
		return
	}
	if which, err = s.inOrder(r.Context(), which); err != nil {
		s.chooseRides(w, r, nil, nil, err.Error())
		return
	}
	// Who picked too few attempts at a line goes back to them.
	if back := guard.OwnPath(q.Get("back")); strings.HasPrefix(back, "/courses/") && !strings.Contains(back, "?") && (len(which) == 0 || len(which) == 1 && len(which[0].nth) < 2) {
		http.Redirect(w, r, back+"?said=two", http.StatusSeeOther)
		return
	}
	alone := len(which) == 1 && len(which[0].nth) < 2 && q.Get("alone") == ""
	switch {
	case q.Has("find") || len(which) == 0:
		s.chooseRides(w, r, which, nil, "")
		return
	case alone && twice:
		s.chooseRides(w, r, which, nil, "That is the same ride twice: compared with itself it shows no difference. Pick another beside it.")
		return
	case alone:
		s.chooseRides(w, r, which, nil, "")
		return
	}
	c, err := s.compareRides(r.Context(), which, q.Get("line"))
	var unlike *unlikeError
	var notReady *keep.NotReadyError
	switch {
	case errors.As(err, &unlike):
		s.chooseRides(w, r, which, unlike, "")
		return
	case errors.As(err, &notReady):
		s.chooseRides(w, r, which, nil, shell.UpperFirst(notReady.Error())+".")
		return
	case err != nil:
		var asked shell.Refusal
		if errors.As(err, &asked) {
			s.chooseRides(w, r, which, nil, shell.UpperFirst(asked.Error())+".")
			return
		}
		s.Fail(w, r, err)
		return
	}
	html, policy, err := compare.Render(c.comparison, c.attempts, compare.PageOptions{Units: shell.UnitsOf(r), Links: shell.MainLinks("/"), Own: append(comparedLinks(which, q, c), shell.OtherUnits(r))})
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	guard.SetPolicy(w, policy)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(html)
}

// comparedQuery is the query of a comparison, without what only chooses.
func comparedQuery(which []picked, q url.Values) url.Values {
	out := url.Values{}
	for _, p := range which {
		if len(p.nth) == 0 {
			out.Add("ride", strconv.FormatInt(p.ride, 10))
		}
		for _, n := range p.nth {
			out.Add("attempt", fmt.Sprintf("%d.%d", p.ride, n))
		}
	}
	for _, k := range []string{"line", "alone"} {
		if v := q.Get(k); v != "" {
			out.Set(k, v)
		}
	}
	return out
}

// comparedLinks lead away from a comparison.
func comparedLinks(which []picked, q url.Values, c *compared) []report.Link {
	same := comparedQuery(which, q)
	choose := comparedQuery(which, url.Values{})
	choose.Set("find", "1")
	var links []report.Link
	if line := q.Get("line"); line != "" && len(c.comparison.Lines) > 0 {
		l := c.comparison.Lines[len(c.comparison.Lines)-1]
		for _, r := range c.rides {
			if r.CourseID != 0 {
				links = append(links, report.Link{Text: "All attempts at this line", Href: lines.Address(r.CourseID, l.From, l.To)})
				break
			}
		}
		all := comparedQuery(which, url.Values{})
		all.Del("attempt")
		for _, p := range which {
			if len(p.nth) > 0 {
				all.Add("ride", strconv.FormatInt(p.ride, 10))
			}
		}
		if len(which) > 1 {
			links = append(links, report.Link{Text: "All lines of these rides", Href: "/compare?" + all.Encode()})
		}
	}
	return append(links, report.Link{Text: "Other rides", Href: "/compare?" + choose.Encode()},
		report.Link{Text: "As text", Href: "/compare/comparison.txt?" + same.Encode()}, report.Link{Text: "As JSON", Href: "/compare/comparison.json?" + same.Encode()})
}
