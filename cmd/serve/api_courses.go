package serve

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"groundline/report"
	"groundline/report/keep"
	"groundline/trace"
)

// courseInterface is what programs may ask of courses.
func (s *server) courseInterface(mux *http.ServeMux) {
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
	mux.HandleFunc("GET /api/1/courses/{id}/lines/{from}/{to}/attempts", s.apiAttempts)
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

func (s *server) apiCourses(w http.ResponseWriter, r *http.Request) {
	courses, err := s.Store.Courses(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	out := struct {
		Courses []courseJSON `json:"courses"`
	}{[]courseJSON{}}
	for _, c := range courses {
		out.Courses = append(out.Courses, courseAsJSON(c))
	}
	answer(w, http.StatusOK, out)
}

func (s *server) apiCourse(w http.ResponseWriter, r *http.Request) {
	c, err := s.ofCourse(r)
	if err == nil {
		err = s.answerCourse(w, r, http.StatusOK, c)
	}
	if err != nil {
		s.fail(w, r, err)
	}
}

func (s *server) answerCourse(w http.ResponseWriter, r *http.Request, status int, c keep.Course) error {
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
	answer(w, status, out)
	return nil
}

// apiSaveCourse keeps a plan, YAML or GeoJSON told apart by content, as a new course (POST) or as the next version of one (PUT),
// there only over the version that base names, if it names one.
func (s *server) apiSaveCourse(w http.ResponseWriter, r *http.Request) {
	var id int64
	status := http.StatusCreated
	if r.Method == http.MethodPut {
		c, err := s.ofCourse(r)
		if err != nil {
			s.fail(w, r, err)
			return
		}
		id, status = c.ID, http.StatusOK
	}
	data, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxPlanSent))
	if err != nil {
		s.fail(w, r, cutOff(err))
		return
	}
	base := ""
	if id != 0 {
		base = r.URL.Query().Get("base")
	}
	c, err := s.saveCourse(r.Context(), id, base, "plan", data)
	var changed *keep.ChangedError
	if errors.As(err, &changed) {
		s.overtaken(w, r, id, changed)
		return
	}
	if err == nil {
		w.Header().Set("Location", fmt.Sprintf("/api/1/courses/%d", c.ID))
		err = s.answerCourse(w, r, status, c)
	}
	if err != nil {
		s.failPlan(w, r, err)
	}
}

// apiPutCourseAway hides a course from choices, or brings it back.
func (s *server) apiPutCourseAway(w http.ResponseWriter, r *http.Request) {
	c, err := s.ofCourse(r)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	var body struct {
		PutAway *bool `json:"put_away"`
	}
	dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxFormBytes))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&body); err != nil || body.PutAway == nil {
		s.fail(w, r, badRequest(`expected {"put_away": true} or false`))
		return
	}
	if err := s.Store.PutAway(r.Context(), c.ID, *body.PutAway); err != nil {
		s.fail(w, r, err)
		return
	}
	s.apiCourse(w, r)
}

func (s *server) apiRemoveCourse(w http.ResponseWriter, r *http.Request) {
	c, err := s.ofCourse(r)
	if err == nil {
		err = s.Store.RemoveCourse(r.Context(), c.ID)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

// apiPlan is a version's plan, by the ending of the address or, without one, by what is accepted: YAML unless GeoJSON is asked for.
func (s *server) apiPlan(w http.ResponseWriter, r *http.Request, ending string) {
	_, plan, _, err := s.versionPlan(r)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	asMap := ending == ".geojson"
	if ending == "" {
		w.Header().Add("Vary", "Accept")
		accept := strings.ToLower(r.Header.Get("Accept"))
		asMap = strings.Contains(accept, "geo+json") || strings.Contains(accept, "application/json")
	}
	f := planFiles()[btoi(asMap)]
	var out bytes.Buffer
	if err := f.write(&out, plan, nil); err != nil {
		s.fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", f.kind)
	_, _ = w.Write(out.Bytes()) // the reader has gone: nobody to tell
}

// apiWalk is a course walked for a horse, as the command writes it.
func (s *server) apiWalk(w http.ResponseWriter, r *http.Request) {
	_, plan, walk, warnings, err := s.walked(r)
	var out bytes.Buffer
	if err == nil {
		err = report.WalkJSON(&out, plan, walk, warnings)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(out.Bytes())
}

// attemptJSON is one ride of a line; figures as in the debrief's lines.
type attemptJSON struct {
	RideID        int64           `json:"ride_id"`
	Attempt       int             `json:"attempt"` // which ride of this way in its ride, from 1
	Round         *int            `json:"round"`
	RiddenAt      time.Time       `json:"ridden_at"` // when the ride began or, while that is not known, when it was kept
	Start         *time.Time      `json:"start"`     // of the ride
	StartS        *float64        `json:"start_s"`   // landing before the line, seconds from the ride's start
	HorseID       *int64          `json:"horse_id"`
	Horse         *string         `json:"horse"`
	Label         string          `json:"label"`
	Basis         string          `json:"basis"`
	VersionID     int64           `json:"course_version_id"`
	Kind          string          `json:"kind"`
	DistanceM     *float64        `json:"distance_m"`
	Strides       *trace.Estimate `json:"strides"`
	StridesBy     string          `json:"strides_by"`
	StrideLengthM *trace.Estimate `json:"stride_length_m"`
	StrideS       *trace.Estimate `json:"stride_s"`
	SpeedMS       *trace.Estimate `json:"speed_m_s"`
	SpeedInMS     *trace.Estimate `json:"speed_in_m_s"`
	SpeedOutMS    *trace.Estimate `json:"speed_out_m_s"`
	TrackM        *trace.Estimate `json:"track_m"`
	RadiusMinM    *trace.Estimate `json:"radius_min_m"`
	PerStrideM    *trace.Estimate `json:"per_stride_m"`
	Says          string          `json:"says"` // long | right | tight; "" where the horse's usual stride is not known
}

type attemptsJSON struct {
	From     string        `json:"from"`
	To       string        `json:"to"`
	Attempts []attemptJSON `json:"attempts"` // newest first
	Total    int           `json:"total"`
}

// apiAttempts are the rides of a line of a course, in any of its versions.
func (s *server) apiAttempts(w http.ResponseWriter, r *http.Request) {
	c, err := s.ofCourse(r)
	var f keep.AttemptFilter
	if err == nil {
		f, err = attemptFilter(r.URL.Query())
	}
	if text := r.URL.Query().Get("limit"); err == nil && text != "" {
		if f.Limit, err = strconv.Atoi(text); err != nil || f.Limit < 1 || f.Limit > 10_000 {
			err = badRequest("limit: %q, expected 1 to 10000", short(text))
		}
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	out := attemptsJSON{From: r.PathValue("from"), To: r.PathValue("to"), Attempts: []attemptJSON{}}
	list, total, err := s.Store.Attempts(r.Context(), c.ID, out.From, out.To, f)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	out.Total = total
	for _, a := range list {
		x := attemptJSON{RideID: a.RideID, Attempt: a.Attempt, Round: a.Round, RiddenAt: a.RiddenAt, Start: a.Start, StartS: a.StartS, HorseID: known(a.HorseID), Label: a.Label,
			Basis: a.Basis, VersionID: a.VersionID, Kind: a.Kind, DistanceM: a.DistanceM, Strides: a.Strides, StridesBy: a.StridesBy, StrideLengthM: a.StrideLengthM,
			StrideS: a.StrideS, SpeedMS: a.SpeedMS, SpeedInMS: a.SpeedInMS, SpeedOutMS: a.SpeedOutMS, TrackM: a.TrackM, RadiusMinM: a.RadiusMinM, PerStrideM: a.PerStrideM, Says: a.Says}
		if a.HorseID != 0 {
			name := a.Horse
			x.Horse = &name
		}
		out.Attempts = append(out.Attempts, x)
	}
	if out, err = report.Rounded(out, "attempts"); err != nil {
		s.fail(w, r, err)
		return
	}
	answer(w, http.StatusOK, out)
}

// attemptFilter reads horse_id (again for more), from and to.
func attemptFilter(q map[string][]string) (keep.AttemptFilter, error) {
	var f keep.AttemptFilter
	first := func(name string) string {
		if v := q[name]; len(v) > 0 {
			return v[0]
		}
		return ""
	}
	for _, text := range q["horse_id"] {
		id, err := number("horse_id", text)
		if err != nil {
			return f, err
		}
		if id != 0 && !slices.Contains(f.HorseIDs, id) {
			f.HorseIDs = append(f.HorseIDs, id)
		}
	}
	const mostHorses = 100
	if len(f.HorseIDs) > mostHorses {
		return f, badRequest("horse_id: %d horses, expected at most %d", len(f.HorseIDs), mostHorses)
	}
	var err error
	if f.From, err = dayOf("from", first("from"), 0); err != nil {
		return f, err
	}
	f.To, err = dayOf("to", first("to"), 24*time.Hour)
	return f, err
}
