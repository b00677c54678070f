package courses

import (
	"context"
	"errors"
	"fmt"
	"groundline/cmd/serve/guard"
	"groundline/cmd/serve/shell"
	"groundline/course"
	"groundline/report/keep"
	"io"
	"net/http"
	"strconv"
)

// Routes are the courses: the list, a course walked for a horse, attempts at its lines.
func (s *Room) Routes(mux *http.ServeMux) {
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

func (s *Room) showCourses(w http.ResponseWriter, r *http.Request) {
	s.listCourses(w, r, http.StatusOK, coursesView{})
}

func (s *Room) listCourses(w http.ResponseWriter, r *http.Request, status int, v coursesView) {
	courses, err := s.Store.Courses(r.Context())
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	for _, c := range courses {
		if c.PutAway {
			v.Away = append(v.Away, courseRow{c})
		} else {
			v.Courses = append(v.Courses, courseRow{c})
		}
	}
	s.Show(w, r, status, "courses.html", shell.View{Title: "Courses", Here: "courses", Data: v})
}

// importCourse takes a plan as a file: a new course, or the next version of one.
func (s *Room) importCourse(w http.ResponseWriter, r *http.Request) {
	var id int64
	if r.PathValue("id") != "" {
		c, err := s.OfCourse(r)
		if err != nil {
			s.Fail(w, r, err)
			return
		}
		id = c.ID
	}
	name, data, err := planSent(w, r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	c, err := s.saveCourse(r.Context(), id, "", name, data)
	var faults course.Faults
	if errors.As(err, &faults) {
		v := coursesView{File: name}
		for _, f := range faults {
			v.Faults = append(v.Faults, f.Error())
		}
		s.listCourses(w, r, shell.FaultyPlan, v)
		return
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	http.Redirect(w, r, fmt.Sprintf("/courses/%d?said=saved", c.ID), http.StatusSeeOther)
}

// planSent is the file of a form.
func planSent(w http.ResponseWriter, r *http.Request) (name string, data []byte, err error) {
	r.Body = http.MaxBytesReader(w, r.Body, shell.MaxPlanSent+shell.MaxFormBytes)
	parts, err := guard.NewParts(r)
	if err != nil {
		return "", nil, shell.Refusal{Status: http.StatusUnsupportedMediaType, Err: errors.New("expected a form with a file (multipart/form-data)")}
	}
	for {
		part, err := parts.NextPart()
		if err == io.EOF {
			return "", nil, shell.BadRequest("no file was chosen, expected a plan as YAML or GeoJSON")
		}
		if err != nil {
			return "", nil, shell.CutOff(err)
		}
		if part.FormName() != "file" || part.FileName() == "" {
			continue
		}
		data, err := io.ReadAll(io.LimitReader(part, shell.MaxPlanSent))
		if err != nil {
			return "", nil, shell.CutOff(err)
		}
		return shell.Cleaned(part.FileName()), data, nil
	}
}

// saveCourse reads a plan and keeps it. The error may be a [course.Faults].
func (s *Room) saveCourse(ctx context.Context, id int64, base, name string, data []byte) (keep.Course, error) {
	plan, _, err := course.Read(name, data)
	if err != nil {
		return keep.Course{}, err
	}
	plan.ToMillimetres() // places from a map have no end of digits
	return s.Store.SaveCourseOver(ctx, id, base, plan)
}

// ofVersion is the version of a course that the address asks for by its number, the last without.
func (s *Room) ofVersion(r *http.Request, c keep.Course) (keep.Version, []keep.Version, error) {
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
	return keep.Version{}, nil, shell.Refusal{Status: http.StatusNotFound, Err: fmt.Errorf("version %s: there is none, expected 1 to %d", shell.Short(shell.Cleaned(asked)), all[0].Version)}
}

func (s *Room) putCourseAway(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, shell.MaxFormBytes)
	c, err := s.OfCourse(r)
	away := r.PostFormValue("away") == "1"
	if err == nil {
		err = s.Store.PutAway(r.Context(), c.ID, away)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/courses?said=saved", http.StatusSeeOther)
}

func (s *Room) askCourseRemoval(w http.ResponseWriter, r *http.Request) {
	c, err := s.OfCourse(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	s.Show(w, r, http.StatusOK, "course_remove.html", shell.View{Title: "Remove " + c.Name + "?", Here: "courses", Data: c})
}

func (s *Room) removeCourse(w http.ResponseWriter, r *http.Request) {
	c, err := s.OfCourse(r)
	if err == nil {
		err = s.Store.RemoveCourse(r.Context(), c.ID)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/courses?said=removed", http.StatusSeeOther)
}
