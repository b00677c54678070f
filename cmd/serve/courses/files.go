package courses

import (
	"bytes"
	"errors"
	"fmt"
	"groundline/cmd/serve/guard"
	"groundline/cmd/serve/shell"
	"groundline/course"
	"groundline/course/horse"
	"groundline/report"
	"groundline/report/draw"
	"groundline/report/keep"
	"io"
	"net/http"
)

// planFormat is a form in which a plan can be taken away.
type planFormat struct {
	ending, kind string
	write        func(w io.Writer, p *course.Plan, drawing func() *draw.Drawing) error
}

func planFiles() []planFormat {
	return []planFormat{
		{"yaml", "application/yaml", func(w io.Writer, p *course.Plan, _ func() *draw.Drawing) error {
			_, err := w.Write(course.WritePlan(p))
			return err
		}},
		{"geojson", "application/geo+json", func(w io.Writer, p *course.Plan, _ func() *draw.Drawing) error {
			data, err := course.WriteGeoJSON(p)
			if err != nil {
				return shell.Refusal{Status: http.StatusConflict, Err: fmt.Errorf("this plan has no place on a map: %w", err)}
			}
			_, err = w.Write(data)
			return err
		}},
		{"pdf", "application/pdf", func(w io.Writer, _ *course.Plan, d func() *draw.Drawing) error { return draw.WritePDF(w, d()) }},
		{"svg", "image/svg+xml", func(w io.Writer, _ *course.Plan, d func() *draw.Drawing) error { return draw.WriteSVG(w, d()) }},
		{"png", "image/png", func(w io.Writer, _ *course.Plan, d func() *draw.Drawing) error { return draw.WritePNG(w, d()) }},
	}
}

// versionPlan is the plan that an address asks for, with its version and what should be looked at.
func (s *Room) versionPlan(r *http.Request) (keep.Version, *course.Plan, []course.Warning, error) {
	c, err := s.OfCourse(r)
	if err != nil {
		return keep.Version{}, nil, nil, err
	}
	v, _, err := s.ofVersion(r, c)
	if err != nil {
		return keep.Version{}, nil, nil, err
	}
	plan, warnings, err := s.Store.Plan(r.Context(), v.ID)
	return v, plan, warnings, err
}

// planFile answers with a plan as a file. A drawing is for the horse, the units and the paper (a4 or letter) asked for.
func (s *Room) planFile(f planFormat) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v, plan, warnings, err := s.versionPlan(r)
		var chosen walker
		if err == nil {
			chosen, err = s.walker(r.Context(), r.URL.Query())
			if errors.Is(err, horse.ErrNoLine) { // drawn for the standard horse, as the page is
				err = nil
			}
		}
		var out bytes.Buffer
		if err == nil {
			err = f.write(&out, plan, func() *draw.Drawing {
				return draw.PlanSheet(plan, draw.Options{Imperial: shell.UnitsOf(r) == report.Imperial, Letter: r.URL.Query().Get("paper") == "letter",
					Horse: chosen.horse, Warnings: warnings})
			})
		}
		if err != nil {
			s.Fail(w, r, err)
			return
		}
		if f.ending == "svg" { // to be looked at: nothing in it may run
			guard.Inert(w, f.kind)
		} else {
			guard.Attachment(w, v.Name+"."+f.ending, f.kind)
		}
		_, _ = w.Write(out.Bytes()) // the reader has gone: nobody to tell
	}
}

// smallPlan is the drawing of a list's row.
func (s *Room) smallPlan(w http.ResponseWriter, r *http.Request) {
	c, err := s.OfCourse(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	plan, _, err := s.Store.Plan(r.Context(), c.VersionID)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	guard.Inert(w, "image/svg+xml")
	if r.URL.Query().Get("of") == fmt.Sprint(c.ChangedAt.UnixMilli()) {
		w.Header().Set("Cache-Control", "private, max-age=31536000, immutable") // the address changes with the plan
	}
	_, _ = w.Write(planIcon(plan))
}

// walked is a course walked for the horse that the address asks for.
func (s *Room) walked(r *http.Request) (keep.Version, *course.Plan, course.Walk, []course.Warning, error) {
	v, plan, warnings, err := s.versionPlan(r)
	if err != nil {
		return v, nil, course.Walk{}, nil, err
	}
	chosen, err := s.walker(r.Context(), r.URL.Query())
	if errors.Is(err, horse.ErrNoLine) {
		err = shell.Refusal{Status: http.StatusConflict, Err: fmt.Errorf("the rides of %s have %w; expected a ride of such a line, the horse's size on its page, or size=", shell.Cleaned(chosen.name), err)}
	}
	if err != nil {
		return v, nil, course.Walk{}, nil, err
	}
	return v, plan, plan.Walk(chosen.horse), warnings, nil
}

func (s *Room) walkText(w http.ResponseWriter, r *http.Request) {
	v, plan, walk, warnings, err := s.walked(r)
	var out bytes.Buffer
	if err == nil {
		err = report.WalkText(&out, plan, walk, warnings, report.WalkOptions{Units: shell.UnitsOf(r)})
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	guard.Attachment(w, v.Name+", walk.txt", "text/plain")
	_, _ = w.Write(out.Bytes())
}

func (s *Room) walkJSON(w http.ResponseWriter, r *http.Request) {
	v, plan, walk, warnings, err := s.walked(r)
	var out bytes.Buffer
	if err == nil {
		err = report.WalkJSON(&out, plan, walk, warnings)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	guard.Attachment(w, v.Name+", walk.json", "application/json")
	_, _ = w.Write(out.Bytes())
}
