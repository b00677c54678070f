package serve

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"groundline/report/keep"
)

// rideRoutes are the rides: dropping files, the list, the debrief.
func (s *server) rideRoutes(mux *http.ServeMux) {
	mux.HandleFunc("GET /{$}", s.showRides)
	mux.HandleFunc("GET /rides", func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "/", http.StatusMovedPermanently)
	})
	mux.HandleFunc("POST /rides", s.takeRides)
	mux.HandleFunc("POST /demo", s.takeDemo)
	mux.HandleFunc("GET /rides/{id}", s.showRide)
	mux.HandleFunc("GET /rides/{id}/details", s.showDetails)
	mux.HandleFunc("POST /rides/{id}/details", s.changeDetails)
	mux.HandleFunc("POST /rides/{id}/columns", s.changeColumns)
	mux.HandleFunc("POST /rides/{id}/apart", s.takeApart)
	mux.HandleFunc("POST /rides/{id}/plan", s.keepPlan)
	mux.HandleFunc("GET /rides/{id}/remove", s.askRemoval)
	mux.HandleFunc("POST /rides/{id}/remove", s.removeRide)
	mux.HandleFunc("GET /rides/{id}/files/{n}", s.rideFile)
	mux.HandleFunc("GET /rides/{id}/understood", s.showUnderstood)
	for _, d := range takeAways() {
		mux.HandleFunc("GET /rides/{id}/debrief."+d.Ending, s.download(d))
	}
	s.rideInterface(mux)
}

// listPage is how many rides a page of the list has: three phone screens of them.
const listPage = 30

// ridesView is the list of rides with the form for a new one.
type ridesView struct {
	Form   handInForm
	Demo   bool // nothing is kept yet, and there is an invented round to try
	Empty  bool // nothing is kept yet
	Find   findForm
	Rides  []rideRow
	Total  int
	Next   string // address of the next page; "" on the last
	First  string // address of the first page; "" on it
	States []pick
}

// handInForm is the form that files are given with.
type handInForm struct {
	Horses, Courses []pick
	Limit           int64 // bytes
}

// pick is one entry of a list to choose from.
type pick struct {
	Value, Text string
	Chosen      bool
}

// findForm is what the list is narrowed by, as it was typed.
type findForm struct {
	Horses, Courses, States []pick
	Text, From, To          string
	Set                     bool // anything is
}

// rideRow is a ride in the list.
type rideRow struct {
	keep.Ride
	Name  string
	Only  string // the files' names, where nothing else tells the ride from others
	Told  string
	Names string // of its files
	Busy  bool   // its state will change by itself
}

// showRides is the first page: the form for files and the list of what is kept.
func (s *server) showRides(w http.ResponseWriter, r *http.Request) {
	ctx, q := r.Context(), r.URL.Query()
	filter, err := s.rideFilter(ctx, q)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	filter.Limit = listPage
	rides, next, total, err := s.Store.Rides(ctx, filter)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v := ridesView{Total: total}
	if v.Form, err = s.handInForm(ctx, lastChoice(r)); err != nil {
		s.fail(w, r, err)
		return
	}
	if v.Find, err = s.findForm(ctx, q, filter); err != nil {
		s.fail(w, r, err)
		return
	}
	v.Empty = total == 0 && !v.Find.Set
	v.Demo = v.Empty && s.Demo != nil
	for _, ride := range rides {
		v.Rides = append(v.Rides, rowOf(ride))
	}
	address := func(before string) string {
		only := url.Values{}
		for _, k := range []string{"horse_id", "course_id", "state", "q", "from", "to"} {
			if x := q.Get(k); x != "" {
				only.Set(k, x)
			}
		}
		if before != "" {
			only.Set("before", before)
		}
		if len(only) == 0 {
			return "/"
		}
		return "/?" + only.Encode()
	}
	if next != nil {
		v.Next = address(next.String())
	}
	if !filter.Before.IsZero() {
		v.First = address("")
	}
	s.show(w, r, http.StatusOK, "rides.html", view{Title: "Rides", Here: "rides", Data: v})
}

// rideFilter is what a list is narrowed by: the same words in the address of the page and of the interface.
func (s *server) rideFilter(ctx context.Context, q url.Values) (keep.Filter, error) {
	f := keep.Filter{Text: q.Get("q"), State: keep.State(q.Get("state"))}
	switch f.State {
	case "", keep.Waiting, keep.Working, keep.Ready, keep.Refused:
	default:
		return f, badRequest("state: %q, expected waiting, working, ready or refused", q.Get("state"))
	}
	var err error
	if f.HorseID, err = number("horse_id", q.Get("horse_id")); err != nil {
		return f, err
	}
	if f.CourseID, err = number("course_id", q.Get("course_id")); err != nil {
		return f, err
	}
	if f.From, err = dayOf("from", q.Get("from"), 0); err != nil {
		return f, err
	}
	if f.To, err = dayOf("to", q.Get("to"), 24*time.Hour); err != nil {
		return f, err
	}
	f.Before, err = keep.ParseCursor(q.Get("before"))
	return f, err
}

// number is a number of something kept; 0 where none is given.
func number(field, s string) (int64, error) {
	if s == "" {
		return 0, nil
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n < 0 {
		return 0, badRequest("%s: %q, expected a number", field, short(s))
	}
	return n, nil
}

// dayOf is a day (2026-05-03) or a moment (RFC 3339). A day gets plus, so that the last day is one that counts.
func dayOf(field, s string, plus time.Duration) (time.Time, error) {
	if s == "" {
		return time.Time{}, nil
	}
	if t, err := time.Parse(time.DateOnly, s); err == nil {
		return t.Add(plus), nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return t, badRequest("%s: %q, expected a day as 2026-05-03", field, short(s))
	}
	return t, nil
}

// short is the beginning of what somebody sent, for a message.
func short(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}

// handInForm is the form with the last choice of this browser chosen again.
func (s *server) handInForm(ctx context.Context, last lastChosen) (handInForm, error) {
	f := handInForm{Limit: s.MaxUploadBytes}
	var err error
	if f.Horses, err = s.horsePicks(ctx, last.horse); err != nil {
		return f, err
	}
	f.Courses, err = s.coursePicks(ctx, last.course)
	return f, err
}

func (s *server) horsePicks(ctx context.Context, chosen int64) ([]pick, error) {
	horses, err := s.Store.Horses(ctx)
	var out []pick
	for _, h := range horses {
		out = append(out, pick{strconv.FormatInt(h.ID, 10), h.Name, h.ID == chosen})
	}
	return out, err
}

// coursePicks are the courses in use, and the chosen one even if it was put away.
func (s *server) coursePicks(ctx context.Context, chosen int64) ([]pick, error) {
	courses, err := s.Store.Courses(ctx)
	var out []pick
	for _, c := range courses {
		if !c.PutAway || c.ID == chosen {
			out = append(out, pick{strconv.FormatInt(c.ID, 10), c.Name, c.ID == chosen})
		}
	}
	return out, err
}

func (s *server) findForm(ctx context.Context, q url.Values, f keep.Filter) (findForm, error) {
	v := findForm{Text: q.Get("q"), From: q.Get("from"), To: q.Get("to")}
	v.Set = f.HorseID != 0 || f.CourseID != 0 || f.State != "" || v.Text != "" || v.From != "" || v.To != ""
	var err error
	if v.Horses, err = s.horsePicks(ctx, f.HorseID); err != nil {
		return v, err
	}
	if v.Courses, err = s.coursePicks(ctx, f.CourseID); err != nil {
		return v, err
	}
	for _, st := range []keep.State{keep.Ready, keep.Waiting, keep.Working, keep.Refused} {
		v.States = append(v.States, pick{string(st), rideState(st), st == f.State})
	}
	return v, nil
}

// lastChosen is the horse and the course that this browser last gave a ride with.
type lastChosen struct{ horse, course int64 }

const lastCookie = "last"

func lastChoice(r *http.Request) (l lastChosen) {
	c, err := r.Cookie(lastCookie)
	if err != nil {
		return l
	}
	horse, course, _ := strings.Cut(c.Value, ".")
	l.horse, _ = strconv.ParseInt(horse, 10, 64) // whoever changed the cookie gets no choice made for him
	l.course, _ = strconv.ParseInt(course, 10, 64)
	return l
}

// rememberChoice has the next form begin with what this ride was given.
func rememberChoice(w http.ResponseWriter, ride keep.Ride) {
	http.SetCookie(w, &http.Cookie{Name: lastCookie, Value: fmt.Sprintf("%d.%d", ride.HorseID, ride.CourseID), Path: "/", MaxAge: 400 * 24 * 3600, HttpOnly: true, SameSite: http.SameSiteStrictMode})
}

func rowOf(r keep.Ride) rideRow {
	names := make([]string, len(r.Files))
	for i, f := range r.Files {
		names[i] = f.Name
	}
	row := rideRow{Ride: r, Name: rideName(r), Told: toldOf(r), Names: strings.Join(names, ", "), Busy: busy(r)}
	if r.Label == "" && (r.Horse == "" || r.State == keep.Refused) {
		row.Only = row.Names
	}
	return row
}

func busy(r keep.Ride) bool { return r.State == keep.Waiting || r.State == keep.Working }

// rideName is what a ride is called where it stands alone.
func rideName(r keep.Ride) string {
	name := r.Label
	if name == "" {
		name = r.Horse
	}
	day, of := r.At().UTC().Format("2 January 2006"), "Ride of "
	if r.Start == nil {
		day, of = "kept "+day, "Ride " // no file tells when it was ridden, or not yet
	}
	if name == "" {
		return of + day
	}
	return name + ", " + day
}

// toldOf is what became of a ride, in a few words.
func toldOf(r keep.Ride) string {
	if r.State != keep.Ready {
		return rideState(r.State)
	}
	if r.Jumps == 0 && r.Refusals == 0 {
		return "nothing jumped"
	}
	words := []string{fmt.Sprintf("%d jumped", r.Jumps)}
	for _, p := range []struct {
		n         int
		one, many string
	}{{r.Refusals, "refusal", "refusals"}, {r.Lines, "line", "lines"}, {r.Rounds, "round", "rounds"}} {
		switch {
		case p.n == 1:
			words = append(words, "1 "+p.one)
		case p.n > 1:
			words = append(words, fmt.Sprintf("%d %s", p.n, p.many))
		}
	}
	return strings.Join(words, ", ")
}

func rideState(s keep.State) string {
	switch s {
	case keep.Waiting:
		return "waiting"
	case keep.Working:
		return "being worked out"
	case keep.Refused:
		return "can't be read"
	}
	return "ready"
}

// sizeWords is a file's size for people.
func sizeWords(n int64) string {
	switch {
	case n < 1000:
		return fmt.Sprintf("%d bytes", n)
	case n < 999_500:
		return fmt.Sprintf("%d kB", (n+500)/1000)
	}
	return fmt.Sprintf("%.1f MB", float64(n)/1e6)
}

// ofRide is the ride whose number stands in the address.
func (s *server) ofRide(r *http.Request) (keep.Ride, error) {
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil {
		return keep.Ride{}, keep.ErrNotFound
	}
	return s.Store.Ride(r.Context(), id)
}
