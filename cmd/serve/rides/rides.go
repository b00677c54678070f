package rides

import (
	"context"
	"fmt"
	"groundline/cmd/serve/shell"
	"groundline/report/keep"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// Routes are the rides: dropping files, the list, the debrief.
func (s *Room) Routes(mux *http.ServeMux) {
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
	for _, d := range Downloads() {
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
	Find   FindForm
	Rides  []Row
	Total  int
	Next   string // address of the next page; "" on the last
	First  string // address of the first page; "" on it
	States []shell.Pick
}

// handInForm is the form that files are given with.
type handInForm struct {
	Horses, Courses []shell.Pick
	Limit           int64 // bytes
}

// FindForm is what the list is narrowed by, as it was typed.
type FindForm struct {
	Horses, Courses, States []shell.Pick
	Text, From, To          string
	Set                     bool // anything is
}

// Row is a ride in the list.
type Row struct {
	keep.Ride
	Name  string
	Only  string // the files' names, where nothing else tells the ride from others
	Told  string
	Names string // of its files
	Busy  bool   // its state will change by itself
}

// showRides is the first page: the form for files and the list of what is kept.
func (s *Room) showRides(w http.ResponseWriter, r *http.Request) {
	ctx, q := r.Context(), r.URL.Query()
	filter, err := s.Filter(ctx, q)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	filter.Limit = listPage
	rides, next, total, err := s.Store.Rides(ctx, filter)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	v := ridesView{Total: total}
	if v.Form, err = s.handInForm(ctx, lastChoice(r)); err != nil {
		s.Fail(w, r, err)
		return
	}
	if v.Find, err = s.FindForm(ctx, q, filter); err != nil {
		s.Fail(w, r, err)
		return
	}
	v.Empty = total == 0 && !v.Find.Set
	v.Demo = v.Empty && s.Demo != nil
	for _, ride := range rides {
		v.Rides = append(v.Rides, RowOf(ride))
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
	s.Show(w, r, http.StatusOK, "rides.html", shell.View{Title: "Rides", Here: "rides", Data: v})
}

// Filter is what a list is narrowed by: the same words in the address of the page and of the interface.
func (s *Room) Filter(ctx context.Context, q url.Values) (keep.Filter, error) {
	f := keep.Filter{Text: q.Get("q"), State: keep.State(q.Get("state"))}
	switch f.State {
	case "", keep.Waiting, keep.Working, keep.Ready, keep.Refused:
	default:
		return f, shell.BadRequest("state: %q, expected waiting, working, ready or refused", q.Get("state"))
	}
	var err error
	if f.HorseID, err = shell.Number("horse_id", q.Get("horse_id")); err != nil {
		return f, err
	}
	if f.CourseID, err = shell.Number("course_id", q.Get("course_id")); err != nil {
		return f, err
	}
	if f.From, err = shell.DayOf("from", q.Get("from"), 0); err != nil {
		return f, err
	}
	if f.To, err = shell.DayOf("to", q.Get("to"), 24*time.Hour); err != nil {
		return f, err
	}
	f.Before, err = keep.ParseCursor(q.Get("before"))
	return f, err
}

// handInForm is the form with the last choice of this browser chosen again.
func (s *Room) handInForm(ctx context.Context, last lastChosen) (handInForm, error) {
	f := handInForm{Limit: s.MaxUploadBytes}
	var err error
	if f.Horses, err = s.HorsePicks(ctx, last.horse); err != nil {
		return f, err
	}
	f.Courses, err = s.CoursePicks(ctx, last.course)
	return f, err
}

func (s *Room) FindForm(ctx context.Context, q url.Values, f keep.Filter) (FindForm, error) {
	v := FindForm{Text: q.Get("q"), From: q.Get("from"), To: q.Get("to")}
	v.Set = f.HorseID != 0 || f.CourseID != 0 || f.State != "" || v.Text != "" || v.From != "" || v.To != ""
	var err error
	if v.Horses, err = s.HorsePicks(ctx, f.HorseID); err != nil {
		return v, err
	}
	if v.Courses, err = s.CoursePicks(ctx, f.CourseID); err != nil {
		return v, err
	}
	for _, st := range []keep.State{keep.Ready, keep.Waiting, keep.Working, keep.Refused} {
		v.States = append(v.States, shell.Pick{Value: string(st), Text: rideState(st), Chosen: st == f.State})
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

func RowOf(r keep.Ride) Row {
	names := make([]string, len(r.Files))
	for i, f := range r.Files {
		names[i] = f.Name
	}
	row := Row{Ride: r, Name: shell.RideName(r), Told: toldOf(r), Names: strings.Join(names, ", "), Busy: busy(r)}
	if r.Label == "" && (r.Horse == "" || r.State == keep.Refused) {
		row.Only = row.Names
	}
	return row
}

func busy(r keep.Ride) bool { return r.State == keep.Waiting || r.State == keep.Working }

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
