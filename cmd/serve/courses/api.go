package courses

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"groundline/cmd/serve/shell"
	"groundline/report"
	"groundline/report/keep"
	"io"
	"net/http"
	"strings"
	"time"
)

// courseInterface is what programs may ask of courses.
func (s *Room) courseInterface(mux *http.ServeMux) {
	mux.HandleFunc("GET /api/1/courses", s.apiCourses)
	mux.HandleFunc("POST /api/1/courses", s.apiSaveCourse)
	mux.HandleFunc("GET /api/1/courses/{id}", s.apiCourse)
	mux.HandleFunc("PUT /api/1/courses/{id}", s.apiSaveCourse)
	mux.HandleFunc("PATCH /api/1/courses/{id}", s.apiPutCourseAway)
	mux.HandleFunc("DELETE /api/1/courses/{id}", s.apiRemoveCourse)
	plan := func(ending string) http.HandlerFunc {
		return func(w http.ResponseWriter, r *http.Request) { s.apiPlan(w, r, ending) }
	}
	mux.HandleFunc("GET /api/1/courses/{id}/plan", plan(""))
	mux.HandleFunc("GET /api/1/courses/{id}/plan.yaml", plan(".yaml"))
	mux.HandleFunc("GET /api/1/courses/{id}/plan.geojson", plan(".geojson"))
	mux.HandleFunc("GET /api/1/courses/{id}/walk", s.apiWalk)
}

// courseJSON is a course in its last version.
type courseJSON struct {
	ID        int64     `json:"id"`
	Page      string    `json:"page"` // for people
	Name      string    `json:"name"`
	VersionID int64     `json:"version_id"`
	Version   int       `json:"version"` // from 1
	ChangedAt time.Time `json:"changed_at"`
	Rides     int       `json:"rides"` // over any of its versions
	PutAway   bool      `json:"put_away"`
}

// courseWhole is a course with its versions, the last first, and the lines that were ridden.
type courseWhole struct {
	courseJSON
	Versions []versionJSON    `json:"versions"`
	Ridden   []riddenLineJSON `json:"ridden"`
}

type versionJSON struct {
	ID      int64     `json:"id"`
	Version int       `json:"version"`
	Name    string    `json:"name"`
	MadeAt  time.Time `json:"made_at"`
	Rides   int       `json:"rides"`
	SHA256  string    `json:"sha256"` // of the plan as YAML
}

type riddenLineJSON struct {
	From     string `json:"from"`
	To       string `json:"to"`
	Kind     string `json:"kind"`
	Rides    int    `json:"rides"`
	Attempts int    `json:"attempts"`
	Horses   int    `json:"horses"`
}

func courseAsJSON(c keep.Course) courseJSON {
	return courseJSON{c.ID, fmt.Sprintf("/courses/%d", c.ID), c.Name, c.VersionID, c.Version, c.ChangedAt, c.Rides, c.PutAway}
}

func (s *Room) apiCourses(w http.ResponseWriter, r *http.Request) {
	courses, err := s.Store.Courses(r.Context())
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	out := struct {
		Courses []courseJSON `json:"courses"`
	}{[]courseJSON{}}
	for _, c := range courses {
		out.Courses = append(out.Courses, courseAsJSON(c))
	}
	shell.Answer(w, http.StatusOK, out)
}

func (s *Room) apiCourse(w http.ResponseWriter, r *http.Request) {
	c, err := s.OfCourse(r)
	if err == nil {
		err = s.answerCourse(w, r, http.StatusOK, c)
	}
	if err != nil {
		s.Fail(w, r, err)
	}
}

func (s *Room) answerCourse(w http.ResponseWriter, r *http.Request, status int, c keep.Course) error {
	versions, err := s.Store.Versions(r.Context(), c.ID)
	if err != nil {
		return err
	}
	ridden, err := s.Store.RiddenLines(r.Context(), c.ID)
	if err != nil {
		return err
	}
	out := courseWhole{courseAsJSON(c), []versionJSON{}, []riddenLineJSON{}}
	for _, v := range versions {
		out.Versions = append(out.Versions, versionJSON{v.ID, v.Version, v.Name, v.MadeAt, v.Rides, v.SHA256})
	}
	for _, l := range ridden {
		out.Ridden = append(out.Ridden, riddenLineJSON{l.From, l.To, l.Kind, l.Rides, l.Attempts, l.Horses})
	}
	shell.Answer(w, status, out)
	return nil
}

// apiSaveCourse keeps a plan, YAML or GeoJSON told apart by content, as a new course (POST) or as the next version of one (PUT),
// there only over the version that base names, if it names one.
func (s *Room) apiSaveCourse(w http.ResponseWriter, r *http.Request) {
	var id int64
	status := http.StatusCreated
	if r.Method == http.MethodPut {
		c, err := s.OfCourse(r)
		if err != nil {
			s.Fail(w, r, err)
			return
		}
		id, status = c.ID, http.StatusOK
	}
	data, err := io.ReadAll(http.MaxBytesReader(w, r.Body, shell.MaxPlanSent))
	if err != nil {
		s.Fail(w, r, shell.CutOff(err))
		return
	}
	base := ""
	if id != 0 {
		base = r.URL.Query().Get("base")
	}
	c, err := s.saveCourse(r.Context(), id, base, "plan", data)
	var changed *keep.ChangedError
	if errors.As(err, &changed) {
		s.editor.Overtaken(w, r, id, changed)
		return
	}
	if err == nil {
		w.Header().Set("Location", fmt.Sprintf("/api/1/courses/%d", c.ID))
		err = s.answerCourse(w, r, status, c)
	}
	if err != nil {
		s.editor.FailPlan(w, r, err)
	}
}

// apiPutCourseAway hides a course from choices, or brings it back.
func (s *Room) apiPutCourseAway(w http.ResponseWriter, r *http.Request) {
	c, err := s.OfCourse(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	var body struct {
		PutAway *bool `json:"put_away"`
	}
	dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, shell.MaxFormBytes))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&body); err != nil || body.PutAway == nil {
		s.Fail(w, r, shell.BadRequest(`expected {"put_away": true} or false`))
		return
	}
	if err := s.Store.PutAway(r.Context(), c.ID, *body.PutAway); err != nil {
		s.Fail(w, r, err)
		return
	}
	s.apiCourse(w, r)
}

func (s *Room) apiRemoveCourse(w http.ResponseWriter, r *http.Request) {
	c, err := s.OfCourse(r)
	if err == nil {
		err = s.Store.RemoveCourse(r.Context(), c.ID)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

// apiPlan is a version's plan, by the ending of the address or, without one, by what is accepted: YAML unless GeoJSON is asked for.
func (s *Room) apiPlan(w http.ResponseWriter, r *http.Request, ending string) {
	_, plan, _, err := s.versionPlan(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	asMap := ending == ".geojson"
	if ending == "" {
		w.Header().Add("Vary", "Accept")
		accept := strings.ToLower(r.Header.Get("Accept"))
		asMap = strings.Contains(accept, "geo+json") || strings.Contains(accept, "application/json")
	}
	f := planFiles()[shell.Btoi(asMap)]
	var out bytes.Buffer
	if err := f.write(&out, plan, nil); err != nil {
		s.Fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", f.kind)
	_, _ = w.Write(out.Bytes()) // the reader has gone: nobody to tell
}

// apiWalk is a course walked for a horse, as the command writes it.
func (s *Room) apiWalk(w http.ResponseWriter, r *http.Request) {
	_, plan, walk, warnings, err := s.walked(r)
	var out bytes.Buffer
	if err == nil {
		err = report.WalkJSON(&out, plan, walk, warnings)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(out.Bytes())
}
