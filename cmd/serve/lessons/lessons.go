// Package lessons is the rides of one day over one course side by side: pupils by elements, named in place.
package lessons

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"groundline/cmd/serve/shell"
	"groundline/report/keep"
	"groundline/report/layout"
	"groundline/report/lesson"
	"groundline/report/page"
	"groundline/report/paths"
)

//go:embed templates
var templates embed.FS

// Room is the pages of lessons.
type Room struct{ *shell.Shell }

// New adds the room to the shell.
func New(sh *shell.Shell) *Room {
	sh.Add(templates)
	return &Room{sh}
}

// Routes are the list of lessons and each lesson.
func (s *Room) Routes(mux *http.ServeMux) {
	mux.HandleFunc("GET /lessons", s.list)
	mux.HandleFunc("GET /lessons/{day}/{course}", s.show)
	mux.HandleFunc("POST /lessons/{day}/{course}/names", s.name)
}

const (
	mostListed = 1000 // rides that the list looks back over
	mostRides  = 120  // of one lesson
	leastRides = 2    // fewer are no lesson
)

// listed is a lesson in the list.
type listed struct {
	Href, Course  string
	Day           time.Time
	Rides, Horses string
}

func (s *Room) list(w http.ResponseWriter, r *http.Request) {
	rides, _, _, err := s.Store.Rides(r.Context(), keep.Filter{Limit: mostListed})
	var v struct {
		Lessons []listed
		Courses []shell.Pick
		Limit   int64
	}
	v.Limit = s.MaxUploadBytes
	if err == nil {
		v.Courses, err = s.CoursePicks(r.Context(), 0)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	var order []string
	of := map[string][]keep.Ride{}
	for _, ride := range rides {
		k := address(ride)
		if of[k] == nil {
			order = append(order, k)
		}
		of[k] = append(of[k], ride)
	}
	for _, k := range order {
		if len(of[k]) < leastRides {
			continue
		}
		pupils := map[string]bool{}
		for _, ride := range of[k] {
			pupils[pupilOf(ride)] = true
		}
		first := of[k][0]
		v.Lessons = append(v.Lessons, listed{Href: k, Course: first.Course, Day: first.At().UTC(), Rides: layout.Count(len(of[k]), "ride"), Horses: layout.Count(len(pupils), "pupil")})
	}
	s.Show(w, r, http.StatusOK, "lessons.html", shell.View{Title: "Lessons", Here: "lessons", Data: v})
}

// address is where the lesson of a ride is.
func address(r keep.Ride) string {
	return fmt.Sprintf("/lessons/%s/%d", r.At().UTC().Format(time.DateOnly), r.CourseID)
}

// pupilOf is whose a ride is: its horse or, while nobody has said, what recorded it.
func pupilOf(r keep.Ride) string {
	if r.HorseID != 0 {
		return "horse " + strconv.FormatInt(r.HorseID, 10)
	}
	return "device " + deviceOf(r)
}

func deviceOf(r keep.Ride) string {
	if len(r.Files) == 0 {
		return ""
	}
	return paths.Device(r.Files[0].Name)
}

// cell is what a pupil did at an element.
type cell struct {
	Before []tried
	Last   *tried
	Href   string // to compare, where there are two tries or more
}

type tried struct {
	lesson.Tried
	Href string
	Bare string // the count without its unit
}

// pupil is a row.
type pupil struct {
	Key, Name, Device, Suggested string
	HorseID                      int64
	Rides                        []rideLink
	Cells                        []cell
}

type rideLink struct{ Href, Text string }

type column struct {
	Name, Planned, Href string
}

type lessonView struct {
	Course  string
	Day     time.Time
	Here    string
	Columns []column
	Rows    []pupil
	Waiting int
	Refused []keep.Ride
	Names   []string // of horses
	Unnamed bool
}

// ofLesson are the rides of the lesson that the address names, the oldest first.
func (s *Room) ofLesson(r *http.Request) ([]keep.Ride, error) {
	day, err := time.Parse(time.DateOnly, r.PathValue("day"))
	if err != nil {
		return nil, keep.ErrNotFound
	}
	courseID, err := strconv.ParseInt(r.PathValue("course"), 10, 64)
	if err != nil || courseID < 0 {
		return nil, keep.ErrNotFound
	}
	all, _, _, err := s.Store.Rides(r.Context(), keep.Filter{CourseID: courseID, From: day, To: day.Add(24 * time.Hour), Limit: mostRides})
	if err != nil {
		return nil, err
	}
	rides := slices.DeleteFunc(all, func(ride keep.Ride) bool { return ride.CourseID != courseID })
	if len(rides) == 0 {
		return nil, keep.ErrNotFound
	}
	slices.Reverse(rides)
	return rides, nil
}

func (s *Room) show(w http.ResponseWriter, r *http.Request) {
	rides, err := s.ofLesson(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	v, err := s.view(r.Context(), rides)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	title := "Lesson"
	if v.Course != "" {
		title = "Lesson: " + v.Course
	}
	s.Show(w, r, http.StatusOK, "lesson.html", shell.View{Title: title, Here: "lessons", Data: v})
}

func (s *Room) view(ctx context.Context, rides []keep.Ride) (lessonView, error) {
	v := lessonView{Course: rides[0].Course, Day: rides[0].At().UTC(), Here: address(rides[0])}
	byID := map[int64]keep.Ride{}
	var of []lesson.Ride
	for _, ride := range rides {
		byID[ride.ID] = ride
		v.Unnamed = v.Unnamed || ride.HorseID == 0
		switch ride.State {
		case keep.Refused:
			v.Refused = append(v.Refused, ride)
			continue
		case keep.Ready:
		default:
			v.Waiting++
			continue
		}
		d, err := s.Store.Debrief(ctx, ride.ID)
		var notReady *keep.NotReadyError
		if errors.As(err, &notReady) { // changed just now
			v.Waiting++
			continue
		}
		if err != nil {
			return v, err
		}
		of = append(of, lesson.Ride{ID: ride.ID, Pupil: pupilOf(ride), At: ride.At(), Debrief: d})
	}
	m := lesson.Of(of).Tried()
	for _, c := range m.Columns {
		out := column{Name: c.Name()}
		if c.Planned != nil {
			out.Planned = strconv.Itoa(*c.Planned)
		}
		if rides[0].CourseID != 0 && c.From != "" {
			out.Href = fmt.Sprintf("/courses/%d/lines/%s/%s", rides[0].CourseID, url.PathEscape(c.From), url.PathEscape(c.To))
		}
		v.Columns = append(v.Columns, out)
	}
	horses, err := s.Store.Horses(ctx)
	if err != nil {
		return v, err
	}
	for _, h := range horses {
		v.Names = append(v.Names, h.Name)
	}
	known := map[string]string{}
	if v.Unnamed {
		if known, err = s.seenBefore(ctx); err != nil {
			return v, err
		}
	}
	for _, row := range m.Rows {
		first := byID[row.Rides[0]]
		p := pupil{Key: row.Pupil, Name: first.Horse, HorseID: first.HorseID, Device: deviceOf(first)}
		if p.HorseID == 0 {
			p.Suggested = known[p.Device]
		}
		for i, id := range row.Rides {
			p.Rides = append(p.Rides, rideLink{fmt.Sprintf("/rides/%d", id), fmt.Sprintf("%s ride, %s UTC", layout.Ordinal(i+1), byID[id].At().UTC().Format("15:04"))})
		}
		for k, tries := range row.Cells {
			p.Cells = append(p.Cells, cellOf(m.Columns[k], tries))
		}
		v.Rows = append(v.Rows, p)
	}
	return v, nil
}

func cellOf(c lesson.Column, tries []lesson.Tried) cell {
	var out cell
	q := url.Values{"line": {c.From + "-" + c.To}}
	for i, t := range tries {
		bare, _, _ := strings.Cut(strings.Replace(t.Count, " to ", "–", 1), " stride")
		link := tried{Tried: t, Bare: bare, Href: fmt.Sprintf("/rides/%d", t.RideID)}
		if t.Nth > 0 {
			link.Href += "#" + page.LineAddress(c.From, c.To)
			q.Add("attempt", fmt.Sprintf("%d.%d", t.RideID, t.Nth))
		}
		if i == len(tries)-1 {
			out.Last = &link
		} else {
			out.Before = append(out.Before, link)
		}
	}
	if len(q["attempt"]) > 1 {
		out.Href = "/compare?" + q.Encode()
	}
	return out
}

// seenBefore are the horses that devices recorded before, by device: only where it was always the same horse.
func (s *Room) seenBefore(ctx context.Context) (map[string]string, error) {
	const lookBack = 300
	rides, _, _, err := s.Store.Rides(ctx, keep.Filter{Limit: lookBack})
	out := map[string]string{}
	for _, r := range rides {
		if r.HorseID == 0 || deviceOf(r) == "" {
			continue
		}
		if name, seen := out[deviceOf(r)]; seen && name != r.Horse {
			out[deviceOf(r)] = ""
			continue
		}
		out[deviceOf(r)] = r.Horse
	}
	return out, err
}

// name says whose the rides of each row are. A row left empty stays as it is.
func (s *Room) name(w http.ResponseWriter, r *http.Request) {
	rides, err := s.ofLesson(r)
	if err == nil {
		err = shell.ReadForm(w, r, shell.MaxFormBytes)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	keys, names := r.PostForm["pupil"], r.PostForm["name"]
	if len(keys) != len(names) {
		s.Fail(w, r, shell.BadRequest("a name for each row was expected; go back to the lesson and send it again"))
		return
	}
	for i, key := range keys {
		name := strings.TrimSpace(names[i])
		if name == "" {
			continue
		}
		id, err := s.Store.NameHorse(r.Context(), name)
		for _, ride := range rides {
			if err != nil {
				break
			}
			if about := ride.About(); pupilOf(ride) == key && about.HorseID != id {
				about.HorseID = id
				err = shell.Gone(s.Store.SetAbout(r.Context(), ride.ID, about), "a ride of this lesson is no longer kept")
			}
		}
		if err != nil {
			s.Fail(w, r, err)
			return
		}
	}
	http.Redirect(w, r, address(rides[0])+"?said=saved", http.StatusSeeOther)
}
