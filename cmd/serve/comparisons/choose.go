package comparisons

import (
	"groundline/cmd/serve/rides"
	"groundline/cmd/serve/shell"
	"groundline/report/keep"
	"net/http"
	"net/url"
	"slices"
	"strconv"
)

// chooseView is the choice of rides to compare.
type chooseView struct {
	Wrong   string // why what was picked can't be compared
	Why     string
	Each    []string // what each picked ride has
	Would   string
	Picked  []rides.Row
	Attempt []string // picked rides of a line, carried along
	Line    string
	Alone   string // address of the only picked ride compared with itself, where it rode lines again
	Find    rides.FindForm
	Rides   []rides.Row
	Total   int
	Next    string
	Most    int
}

// choosePage is how many rides a page of the choice has.
const choosePage = 30

// chooseRides shows rides to pick for comparing, those picked first, with what was wrong with the last choice.
func (s *Room) chooseRides(w http.ResponseWriter, r *http.Request, which []picked, unlike *unlikeError, wrong string) {
	ctx, q := r.Context(), r.URL.Query()
	v := chooseView{Wrong: wrong, Line: q.Get("line"), Most: maxCompared}
	if unlike != nil {
		v.Why, v.Each, v.Would = shell.UpperFirst(shell.Cleaned(unlike.why))+".", nil, shell.UpperFirst(unlike.would)+"."
		for i, ride := range unlike.rides {
			v.Each = append(v.Each, shell.RideName(ride)+": "+unlike.lines[i])
		}
	}
	filter, err := s.rides.Filter(ctx, q)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	filter.State, filter.Limit = keep.Ready, choosePage
	for _, p := range which {
		ride, err := s.Store.Ride(ctx, p.ride)
		if err != nil {
			continue // removed just now
		}
		v.Picked = append(v.Picked, rides.RowOf(ride))
	}
	if len(v.Picked) == 1 {
		v.Alone = s.aloneAddress(r, v.Picked[0].Ride)
	}
	if v.Find, err = s.rides.FindForm(ctx, q, filter); err != nil {
		s.Fail(w, r, err)
		return
	}
	v.Find.Set = filter.HorseID != 0 || filter.CourseID != 0 || filter.Text != "" || v.Find.From != "" || v.Find.To != ""
	list, next, total, err := s.Store.Rides(ctx, filter)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	v.Total = total
	for _, ride := range list {
		if !slices.ContainsFunc(v.Picked, func(p rides.Row) bool { return p.ID == ride.ID }) {
			v.Rides = append(v.Rides, rides.RowOf(ride))
		}
	}
	if next != nil {
		more := comparedQuery(which, q)
		for _, k := range []string{"horse_id", "course_id", "q", "from", "to"} {
			if x := q.Get(k); x != "" {
				more.Set(k, x)
			}
		}
		more.Set("before", next.String())
		more.Set("find", "1")
		v.Next = "/compare?" + more.Encode()
	}
	status := http.StatusOK
	if wrong != "" || unlike != nil {
		status = http.StatusUnprocessableEntity
	}
	s.Show(w, r, status, "compare.html", shell.View{Title: "Compare rides", Here: "rides", Data: v})
}

// aloneAddress compares a ride with itself at the lines that it rode again; "" where it rode none again.
func (s *Room) aloneAddress(r *http.Request, ride keep.Ride) string {
	if ride.State != keep.Ready {
		return ""
	}
	d, err := s.Store.Debrief(r.Context(), ride.ID)
	if err != nil {
		return ""
	}
	for _, l := range d.Lines {
		if l.Attempt > 1 && (l.Kind != "between" || d.Course == nil) {
			return "/compare?" + url.Values{"ride": {strconv.FormatInt(ride.ID, 10)}, "alone": {"1"}}.Encode()
		}
	}
	return ""
}
