package serve

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"groundline/cmd/serve/guard"
	"groundline/course"
	"groundline/report/keep"
)

// courseRoutes are the courses: the list, a course walked for a horse, attempts at its lines.
func (s *server) courseRoutes(mux *http.ServeMux) {
	mux.HandleFunc("GET /courses", s.showCourses)
	mux.HandleFunc("POST /courses", s.importCourse)
	mux.HandleFunc("GET /courses/{id}", s.showCourse)
	mux.HandleFunc("POST /courses/{id}", s.importCourse)
	mux.HandleFunc("POST /courses/{id}/away", s.putCourseAway)
	mux.HandleFunc("GET /courses/{id}/remove", s.askCourseRemoval)
	mux.HandleFunc("POST /courses/{id}/remove", s.removeCourse)
	mux.HandleFunc("GET /courses/{id}/small.svg", s.smallPlan)
	for _, f := range planFiles() {
		mux.HandleFunc("GET /courses/{id}/plan."+f.ending, s.planFile(f))
	}
	mux.HandleFunc("GET /courses/{id}/walk.txt", s.walkText)
	mux.HandleFunc("GET /courses/{id}/walk.json", s.walkJSON)
	mux.HandleFunc("GET /courses/{id}/lines/{from}/{to}", s.showLine)
	s.courseInterface(mux)
}

// coursesView is the list of courses.
type coursesView struct {
	Courses, Away []courseRow
	Faults        []string // of a plan that was sent
	File          string   // its name
}

type courseRow struct{ keep.Course }

// Small is the address of the course's small drawing, which changes with its plan.
func (c courseRow) Small() string {
	return fmt.Sprintf("/courses/%d/small.svg?of=%d", c.ID, c.ChangedAt.UnixMilli())
}

func (s *server) showCourses(w http.ResponseWriter, r *http.Request) {
	s.listCourses(w, r, http.StatusOK, coursesView{})
}

func (s *server) listCourses(w http.ResponseWriter, r *http.Request, status int, v coursesView) {
	courses, err := s.Store.Courses(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	for _, c := range courses {
		if c.PutAway {
			v.Away = append(v.Away, courseRow{c})
		} else {
			v.Courses = append(v.Courses, courseRow{c})
		}
	}
	s.show(w, r, status, "courses.html", view{Title: "Courses", Here: "courses", Data: v})
}

// maxPlanSent is more than any plan or map that its reader takes, so that it tells that it is too long.
const maxPlanSent = 8 << 20

// faultyPlan is the status of a plan that was sent and can't be read.
const faultyPlan = http.StatusUnprocessableEntity

// importCourse takes a plan as a file: a new course, or the next version of one.
func (s *server) importCourse(w http.ResponseWriter, r *http.Request) {
	var id int64
	if r.PathValue("id") != "" {
		c, err := s.ofCourse(r)
		if err != nil {
			s.fail(w, r, err)
			return
		}
		id = c.ID
	}
	name, data, err := planSent(w, r)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	c, err := s.saveCourse(r.Context(), id, "", name, data)
	var faults course.Faults
	if errors.As(err, &faults) {
		v := coursesView{File: name}
		for _, f := range faults {
			v.Faults = append(v.Faults, f.Error())
		}
		s.listCourses(w, r, faultyPlan, v)
		return
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	http.Redirect(w, r, fmt.Sprintf("/courses/%d?said=saved", c.ID), http.StatusSeeOther)
}

// planSent is the file of a form.
func planSent(w http.ResponseWriter, r *http.Request) (name string, data []byte, err error) {
	r.Body = http.MaxBytesReader(w, r.Body, maxPlanSent+maxFormBytes)
	parts, err := guard.NewParts(r)
	if err != nil {
		return "", nil, refusal{http.StatusUnsupportedMediaType, errors.New("expected a form with a file (multipart/form-data)")}
	}
	for {
		part, err := parts.NextPart()
		if err == io.EOF {
			return "", nil, badRequest("no file was chosen, expected a plan as YAML or GeoJSON")
		}
		if err != nil {
			return "", nil, cutOff(err)
		}
		if part.FormName() != "file" || part.FileName() == "" {
			continue
		}
		data, err := io.ReadAll(io.LimitReader(part, maxPlanSent))
		if err != nil {
			return "", nil, cutOff(err)
		}
		return cleaned(part.FileName()), data, nil
	}
}

// saveCourse reads a plan and keeps it. The error may be a [course.Faults].
func (s *server) saveCourse(ctx context.Context, id int64, base, name string, data []byte) (keep.Course, error) {
	plan, _, err := course.Read(name, data)
	if err != nil {
		return keep.Course{}, err
	}
	plan.ToMillimetres() // places from a map have no end of digits
	return s.Store.SaveCourseOver(ctx, id, base, plan)
}

// ofCourse is the course whose number stands in the address.
func (s *server) ofCourse(r *http.Request) (keep.Course, error) {
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil {
		return keep.Course{}, keep.ErrNotFound
	}
	return s.Store.Course(r.Context(), id)
}

// ofVersion is the version of a course that the address asks for by its number, the last without.
func (s *server) ofVersion(r *http.Request, c keep.Course) (keep.Version, []keep.Version, error) {
	all, err := s.Store.Versions(r.Context(), c.ID)
	if err != nil {
		return keep.Version{}, nil, err
	}
	asked := r.URL.Query().Get("version")
	for _, v := range all {
		if asked == "" || asked == strconv.Itoa(v.Version) {
			return v, all, nil
		}
	}
	return keep.Version{}, nil, refusal{http.StatusNotFound, fmt.Errorf("version %s: there is none, expected 1 to %d", short(cleaned(asked)), all[0].Version)}
}

func (s *server) putCourseAway(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, maxFormBytes)
	c, err := s.ofCourse(r)
	away := r.PostFormValue("away") == "1"
	if err == nil {
		err = s.Store.PutAway(r.Context(), c.ID, away)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/courses?said=saved", http.StatusSeeOther)
}

func (s *server) askCourseRemoval(w http.ResponseWriter, r *http.Request) {
	c, err := s.ofCourse(r)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.show(w, r, http.StatusOK, "course_remove.html", view{Title: "Remove " + c.Name + "?", Here: "courses", Data: c})
}

func (s *server) removeCourse(w http.ResponseWriter, r *http.Request) {
	c, err := s.ofCourse(r)
	if err == nil {
		err = s.Store.RemoveCourse(r.Context(), c.ID)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/courses?said=removed", http.StatusSeeOther)
}

// lineAddress is where the attempts at a line are.
func lineAddress(courseID int64, from, to string) string {
	return fmt.Sprintf("/courses/%d/lines/%s/%s", courseID, segment(from), segment(to))
}

// segment is a name as one part of an address's path. A name of dots alone would mean another folder.
func segment(name string) string {
	if strings.Trim(name, ".") == "" {
		return strings.ReplaceAll(name, ".", "%2E")
	}
	return url.PathEscape(name)
}
