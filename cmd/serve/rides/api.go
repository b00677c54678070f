package rides

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"groundline/cmd/serve/shell"
	"groundline/report/keep"
	"io"
	"maps"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
)

// rideInterface is what programs may ask of rides; the page's own scripts ask no other.
func (s *Room) rideInterface(mux *http.ServeMux) {
	mux.HandleFunc("POST /api/1/rides", s.apiTakeRide)
	mux.HandleFunc("GET /api/1/rides", s.apiRides)
	mux.HandleFunc("GET /api/1/rides/{id}", s.apiRide)
	mux.HandleFunc("PATCH /api/1/rides/{id}", s.apiChangeRide)
	mux.HandleFunc("DELETE /api/1/rides/{id}", s.apiRemoveRide)
	mux.HandleFunc("GET /api/1/rides/{id}/debrief", s.apiDebrief)
	mux.HandleFunc("GET /api/1/rides/{id}/files/{n}", s.rideFile)
}

// RideJSON is a ride as programs see it. What is not known or not said is null.
type RideJSON struct {
	ID    int64      `json:"id"`
	Page  string     `json:"page"` // for people
	State keep.State `json:"state"`
	Why   []string   `json:"why"` // faults of a refused ride
	// Already tells, in the answer to a new ride alone, that the same files were kept before and this is that ride.
	Already         *bool         `json:"already,omitempty"`
	Progress        *progressJSON `json:"progress"` // of a ride that is being worked out by this program
	KeptAt          time.Time     `json:"kept_at"`
	HorseID         *int64        `json:"horse_id"`
	Horse           *string       `json:"horse"`
	CourseID        *int64        `json:"course_id"`
	CourseVersionID *int64        `json:"course_version_id"`
	Course          *string       `json:"course"`
	Label           string        `json:"label"`
	Note            string        `json:"note"`
	Columns         string        `json:"columns"`
	Files           []fileJSON    `json:"files"`
	Told            *toldJSON     `json:"told"` // nil unless it is ready
}

// progressJSON is how much of a ride's files is read. Once all is, the working out goes on for a while.
type progressJSON struct {
	DoneBytes int64 `json:"done_bytes"`
	SizeBytes int64 `json:"size_bytes"`
}

type fileJSON struct {
	N      int    `json:"n"` // in the address of the file, from 1
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// toldJSON is the least of what a debrief tells.
type toldJSON struct {
	Start     *time.Time `json:"start"`
	DurationS float64    `json:"duration_s"`
	Basis     string     `json:"basis"` // as in the debrief
	Jumped    int        `json:"jumped"`
	Refusals  int        `json:"refusals"` // refused and run out
	Lines     int        `json:"lines"`
	Rounds    int        `json:"rounds"`
	Strides   int        `json:"strides"`
	Program   string     `json:"program"` // that worked it out
}

func (s *Room) rideJSON(r keep.Ride) RideJSON {
	out := RideJSON{
		ID: r.ID, Page: fmt.Sprintf("/rides/%d", r.ID), State: r.State, Why: []string{}, KeptAt: r.KeptAt,
		HorseID: shell.Known(r.HorseID), CourseID: shell.Known(r.CourseID), CourseVersionID: shell.Known(r.CourseVersionID),
		Label: r.Label, Note: r.Note, Columns: r.Columns, Files: []fileJSON{},
	}
	if r.HorseID != 0 {
		out.Horse = &r.Horse
	}
	if r.CourseID != 0 {
		out.Course = &r.Course
	}
	if r.State == keep.Refused {
		out.Why = faultLines(r.Why)
	}
	if done, size, ok := s.Store.Progress(r.ID); ok && r.State == keep.Working {
		out.Progress = &progressJSON{done, size}
	}
	for i, f := range r.Files {
		out.Files = append(out.Files, fileJSON{i + 1, f.Name, f.Bytes, f.SHA256})
	}
	if r.State == keep.Ready {
		out.Told = &toldJSON{r.Start, r.DurationS, r.Basis, r.Jumps, r.Refusals, r.Lines, r.Rounds, r.Strides, r.Program}
	}
	return out
}

// apiTakeRide makes one ride of the files of a form: 201, or 200 where it was kept before.
func (s *Room) apiTakeRide(w http.ResponseWriter, r *http.Request) {
	h, err := s.receive(w, r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	defer h.discard()
	of, err := s.aboutOf(r.Context(), h.fields)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	id, already, err := s.Store.Keep(r.Context(), h.files, of)
	if err != nil {
		s.Fail(w, r, shell.Gone(err, "the course or horse is not kept"))
		return
	}
	ride, err := s.Store.Ride(r.Context(), id)
	if err != nil { // removed just now
		s.Fail(w, r, err)
		return
	}
	status := http.StatusCreated
	if already {
		status = http.StatusOK
	} else {
		rememberChoice(w, ride)
	}
	out := s.rideJSON(ride)
	out.Already = &already
	w.Header().Set("Location", fmt.Sprintf("/api/1/rides/%d", id))
	shell.Answer(w, status, out)
}

// maxAsked is how many rides may be asked for by number at once.
const maxAsked = 200

// apiRides is a page of the list of rides, narrowed as the page of the list is; or the rides of the numbers given.
func (s *Room) apiRides(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	if ids := q["id"]; len(ids) > 0 {
		s.apiRidesOf(w, r, ids)
		return
	}
	f, err := s.Filter(r.Context(), q)
	if err == nil {
		f.Limit, err = limitOf(q.Get("limit"))
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	rides, next, total, err := s.Store.Rides(r.Context(), f)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	var before *string
	if next != nil {
		c := next.String()
		before = &c
	}
	s.answerRides(w, rides, before, total)
}

// RidesJSON is a page of rides. Next is what the next page is asked for with, as "before"; null on the last.
type RidesJSON struct {
	Rides []RideJSON `json:"rides"`
	Next  *string    `json:"next"`
	Total int        `json:"total"`
}

func (s *Room) answerRides(w http.ResponseWriter, rides []keep.Ride, next *string, total int) {
	out := RidesJSON{Rides: []RideJSON{}, Next: next, Total: total}
	for _, ride := range rides {
		out.Rides = append(out.Rides, s.rideJSON(ride))
	}
	shell.Answer(w, http.StatusOK, out)
}

// apiRidesOf are rides by number; those that are no more are left out. Whoever waits for several asks once for all.
func (s *Room) apiRidesOf(w http.ResponseWriter, r *http.Request, ids []string) {
	if len(ids) > maxAsked {
		s.Fail(w, r, shell.BadRequest("%d rides were asked for, expected at most %d at once", len(ids), maxAsked))
		return
	}
	var rides []keep.Ride
	for _, text := range ids {
		id, err := shell.Number("id", text)
		if err != nil {
			s.Fail(w, r, err)
			return
		}
		switch ride, err := s.Store.Ride(r.Context(), id); {
		case err == nil:
			rides = append(rides, ride)
		case !errors.Is(err, keep.ErrNotFound):
			s.Fail(w, r, err)
			return
		}
	}
	s.answerRides(w, rides, nil, len(rides))
}

// limitOf is how many rides a page of the interface has.
func limitOf(s string) (int, error) {
	if s == "" {
		return 50, nil
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 || n > 1000 {
		return 0, shell.BadRequest("limit: %q, expected 1 to 1000", shell.Short(s))
	}
	return n, nil
}

func (s *Room) apiRide(w http.ResponseWriter, r *http.Request) {
	ride, err := s.OfRide(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	shell.Answer(w, http.StatusOK, s.rideJSON(ride))
}

// apiChangeRide changes what is said about a ride: what is not named stays, null takes away (RFC 7396).
func (s *Room) apiChangeRide(w http.ResponseWriter, r *http.Request) {
	ride, err := s.OfRide(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	said, err := changes(w, r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	// Horse and course may be said by number or by name: one said takes the place of all that was.
	of := ride.About()
	fresh, err := s.aboutOf(r.Context(), said)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	for name := range said {
		switch name {
		case "horse", "horse_id":
			of.HorseID = fresh.HorseID
		case "course", "course_id", "course_version_id":
			of.CourseVersionID = fresh.CourseVersionID
		case "label":
			of.Label = fresh.Label
		case "note":
			of.Note = fresh.Note
		case "columns":
			of.Columns = fresh.Columns
		}
	}
	if err := s.Store.SetAbout(r.Context(), ride.ID, of); err != nil {
		s.Fail(w, r, shell.Gone(err, "the ride, course or horse is no longer kept"))
		return
	}
	s.apiRide(w, r)
}

// changes are the fields of a change as a form would have them: "" for null.
func changes(w http.ResponseWriter, r *http.Request) (map[string]string, error) {
	kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if kind != "application/json" && kind != "application/merge-patch+json" {
		return nil, shell.Refusal{Status: http.StatusUnsupportedMediaType, Err: fmt.Errorf("%q was sent, expected application/json", shell.Short(kind))}
	}
	data, err := io.ReadAll(http.MaxBytesReader(w, r.Body, shell.MaxFormBytes))
	if err != nil {
		return nil, shell.CutOff(err)
	}
	var values map[string]any
	decode := json.NewDecoder(bytes.NewReader(data))
	decode.UseNumber()
	if err := decode.Decode(&values); err != nil || decode.More() {
		return nil, shell.BadRequest("the body is no JSON object, expected one with what is to change")
	}
	fields := map[string]string{}
	for _, name := range slices.Sorted(maps.Keys(values)) { // of several faults always the same is told
		v := values[name]
		if !slices.Contains(rideFields(), name) {
			return nil, shell.BadRequest("%q: no such field, expected %s", shell.Short(name), strings.Join(rideFields(), ", "))
		}
		switch v := v.(type) {
		case nil:
			fields[name] = ""
		case string:
			fields[name] = strings.TrimSpace(v)
		case json.Number:
			fields[name] = v.String()
		default:
			return nil, shell.BadRequest("%s: expected a text, a number or null", name)
		}
	}
	return fields, nil
}

func (s *Room) apiRemoveRide(w http.ResponseWriter, r *http.Request) {
	ride, err := s.OfRide(r)
	if err == nil {
		err = s.Store.RemoveRide(r.Context(), ride.ID)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

// apiDebrief is the debrief as the command writes it, byte by byte.
func (s *Room) apiDebrief(w http.ResponseWriter, r *http.Request) {
	ride, err := s.OfRide(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	data, err := s.Store.DebriefJSON(r.Context(), ride.ID)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(data)
}
