package editor

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"groundline/cmd/serve/shell"
	"groundline/course"
	"groundline/course/horse"
	"groundline/report"
	"groundline/report/draw"
	"groundline/report/keep"
	"groundline/report/sketch"
	"groundline/trace"
	"html/template"
	"math"
	"net/http"
	"slices"
	"strconv"
	"time"
)

// editorView is what the page of the editor is filled with.
type editorView struct {
	PlanJSON string // as [sketch.Fields]; "" for a new course
	Course   int64  // 0: new
	Base     string // SHA-256 of the version that is drawn on; "" for a new course
	Horse    string // chosen size
	Shape    int    // the drawing's height for ten of its width; see shapeOf
	Sizes    []sizeChoice
	Horses   []keep.Horse
	Kinds    []course.Kind
	Cautions []trace.Note

	// The plan as text, for browsers that run no script.
	Text         string
	Faults       []string
	Conflict     int              // the version that somebody else saved meanwhile; 0 without
	Told         *report.PlanTold // what the text says; nil until it was checked
	Track        string
	Notes        []trace.Note // to look at
	Picture      template.URL
	PictureWords string
}

type sizeChoice struct{ Name, Stride string }

// newPlanText is the text that a new course begins with where it is typed.
const newPlanText = `plan: groundline/1
name: New course
units: metres
arena: [[0, 0], [60, 0], [60, 40], [0, 40]]
speed: 350
obstacles:
  - {id: "1", kind: vertical, at: [20, 20], facing: 90, height: 0.8, width: 3.5}
  - {id: "2", kind: oxer, at: [42.4, 20], facing: 90, height: 0.8, spread: 0.8, width: 3.5}
route: ["1", "2"]
`

// editorOf is the page for a course's last version, or for a new course with id 0.
func (s *Room) editorOf(r *http.Request, id int64) (editorView, string, error) {
	v := editorView{Course: id, Kinds: course.Kinds(), Cautions: course.Cautions(), Horse: course.Profiles()[0].Name, Text: newPlanText}
	metres := shell.UnitsOf(r) == report.Metric
	for _, p := range course.Profiles() {
		stride := fmt.Sprintf("%.2f m", p.StrideM)
		if !metres {
			stride = fmt.Sprintf("%.1f ft", p.StrideM/0.3048)
		}
		v.Sizes = append(v.Sizes, sizeChoice{p.Name, stride})
	}
	var err error
	if v.Horses, err = s.Store.Horses(r.Context()); err != nil {
		return v, "", err
	}
	if id == 0 {
		v.Shape = shapeOf(&course.Plan{})
		return v, "Draw a new course", nil
	}
	versions, err := s.Store.Versions(r.Context(), id)
	if err != nil {
		return v, "", err
	}
	v.Base = versions[0].SHA256
	p, _, err := s.Store.Plan(r.Context(), versions[0].ID)
	if err != nil {
		return v, "", err
	}
	fields, err := json.Marshal(sketch.FieldsOf(p))
	if err != nil {
		return v, "", err
	}
	v.PlanJSON, v.Text, v.Shape = string(fields), string(course.WritePlan(p)), shapeOf(p)
	return v, "Draw a course", nil
}

// shapeOf is how high the drawing of a plan is for ten of its width, 5 to 16, so that its place is left before the script
// draws: as bounds and shapeOf in static/editor/draw.js have it.
func shapeOf(p *course.Plan) int {
	all := slices.Clone(p.Arena)
	for _, o := range p.Obstacles {
		all = append(all, o.At)
		if len(p.Arena) == 0 {
			all = append(all, course.Point{X: o.At.X - 8, Y: o.At.Y - 8}, course.Point{X: o.At.X + 8, Y: o.At.Y + 8})
		}
	}
	for _, ends := range []*[2]course.Point{p.Start, p.Finish} {
		if ends != nil {
			all = append(all, ends[:]...)
		}
	}
	if p.Gate != nil {
		all = append(all, *p.Gate)
	}
	if len(all) == 0 {
		all = []course.Point{{}, {X: 60, Y: 40}}
	}
	low, high := all[0], all[0]
	for _, q := range all {
		low = course.Point{X: min(low.X, q.X), Y: min(low.Y, q.Y)}
		high = course.Point{X: max(high.X, q.X), Y: max(high.Y, q.Y)}
	}
	w, h := high.X-low.X, high.Y-low.Y
	edge := max(2, 0.03*max(w, h))
	return int(min(16, max(5, math.Floor(10*(h+2*edge)/(w+2*edge)+0.5))))
}

// courseID is the course of the address; 0 where it is for a new one.
func courseID(r *http.Request) (int64, error) {
	word := r.PathValue("id")
	if word == "" {
		return 0, nil
	}
	id, err := strconv.ParseInt(word, 10, 64)
	if err != nil || id < 1 {
		return 0, keep.ErrNotFound
	}
	return id, nil
}

// editCourse shows the editor.
func (s *Room) editCourse(w http.ResponseWriter, r *http.Request) {
	id, err := courseID(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	v, title, err := s.editorOf(r, id)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	s.Show(w, r, http.StatusOK, "editor.html", shell.View{Title: title, Here: "courses", Data: v})
}

// editCourseText takes the plan as text, and checks or keeps it: the editor without a script.
func (s *Room) editCourseText(w http.ResponseWriter, r *http.Request) {
	id, err := courseID(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	if err := shell.ReadForm(w, r, shell.MaxPlanSent); err != nil {
		s.Fail(w, r, err)
		return
	}
	v, title, err := s.editorOf(r, id)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	v.Text, v.Base = r.PostForm.Get("text"), r.PostForm.Get("base")
	if size := r.PostForm.Get("horse"); size != "" {
		v.Horse = size
	}
	h, err := horseChoice{Size: v.Horse}.horse()
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	p, warnings, err := planOf([]byte(v.Text))
	status := http.StatusOK
	var faults course.Faults
	switch {
	case errors.As(err, &faults):
		status = http.StatusUnprocessableEntity
		for _, f := range faults {
			v.Faults = append(v.Faults, faultWords(f))
		}
	case err != nil:
		s.Fail(w, r, err)
		return
	case r.PostForm.Get("do") == "save":
		base := v.Base
		if r.PostForm.Get("over") != "" {
			base = ""
		}
		kept, err := s.Store.SaveCourseOver(r.Context(), id, base, p)
		var changed *keep.ChangedError
		if err == nil {
			http.Redirect(w, r, fmt.Sprintf("/courses/%d?said=saved", kept.ID), http.StatusSeeOther)
			return
		}
		if !errors.As(err, &changed) {
			s.Fail(w, r, err)
			return
		}
		status, v.Conflict = http.StatusConflict, changed.Now.Version
	}
	if p != nil {
		if err := v.tell(p, warnings, h, shell.UnitsOf(r)); err != nil {
			s.Fail(w, r, err)
			return
		}
	}
	s.Show(w, r, status, "editor.html", shell.View{Title: title, Here: "courses", Data: v})
}

// faultWords are a fault of a plan's text for who typed it.
func faultWords(f course.Fault) string {
	words := ""
	if f.Line > 0 {
		words = fmt.Sprintf("Row %d: ", f.Line)
	}
	if f.Field != "" {
		words += f.Field + ": "
	}
	return words + f.Found + ", expected " + f.Expected
}

// tell fills in what a plan says: its lines in words, what should be looked at, and a picture to scale.
func (v *editorView) tell(p *course.Plan, warnings []course.Warning, h course.Horse, units report.Units) error {
	told := report.TellPlan(p, report.PlanOptions{Units: units, Horse: course.Profile{Name: h.Size, StrideM: h.StrideM.Value}})
	walk := report.WalkOf(p, p.Walk(h), warnings)
	v.Told, v.Track = &told, fmt.Sprintf("Track %.0f m.", walk.Course.LengthM)
	if c := walk.Course; c.TimeAllowedS != nil {
		v.Track = fmt.Sprintf("Track %.0f m; at %g m/min the time allowed is %.0f s. The rules in force decide.", c.LengthM, *c.SpeedMMin, *c.TimeAllowedS)
	}
	for _, n := range walk.Notes {
		if n.Level == "warning" {
			v.Notes = append(v.Notes, n)
		}
	}
	d := draw.PlanSheet(p, draw.Options{Imperial: units == report.Imperial, Horse: h, Warnings: warnings})
	var picture bytes.Buffer
	if err := draw.WriteSVG(&picture, d); err != nil {
		return err
	}
	v.PictureWords = d.Description
	v.Picture = template.URL("data:image/svg+xml;base64," + base64.StdEncoding.EncodeToString(picture.Bytes())) // our own bytes
	return nil
}

// savePlan keeps a drawn plan as its course's last version.
func (s *Room) savePlan(w http.ResponseWriter, r *http.Request) {
	d, p, _, _, err := understood(w, r)
	if err != nil {
		s.FailPlan(w, r, err)
		return
	}
	kept, err := s.Store.SaveCourseOver(r.Context(), d.Course, d.Base, p)
	var changed *keep.ChangedError
	if errors.As(err, &changed) {
		s.Overtaken(w, r, d.Course, changed)
		return
	}
	if err != nil {
		s.FailPlan(w, r, err)
		return
	}
	// Somebody may have saved since; what is drawn began with this plan, whose hash is the store's (see [keep.Version]).
	sum := sha256.Sum256(course.WritePlan(p))
	shell.Answer(w, http.StatusOK, map[string]any{"course": kept.ID, "name": kept.Name, "version": kept.Version, "base": hex.EncodeToString(sum[:])})
}

// Overtaken tells programs that a course has another version by now than the one that they began with.
func (s *Room) Overtaken(w http.ResponseWriter, r *http.Request, id int64, changed *keep.ChangedError) {
	versions, err := s.Store.Versions(r.Context(), id)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	shell.ProblemWith(w, http.StatusConflict, changed.Error(), map[string]any{"base": versions[0].SHA256, "version": changed.Now.Version,
		"name": changed.Now.Name, "changed_at": changed.Now.ChangedAt.UTC().Format(time.RFC3339)})
}

// planHorse is a kept horse as its record tells it, as a horse file for the editor to send along.
func (s *Room) planHorse(w http.ResponseWriter, r *http.Request) {
	kept, err := s.OfHorse(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	size := shell.ProfileOf(kept.Size)
	ridden, err := s.horses.CourseHorse(r.Context(), kept)
	switch {
	case errors.Is(err, horse.ErrNoLine) && size != nil:
		ridden = size.Horse()
		ridden.Name = kept.Name
	case errors.Is(err, horse.ErrNoLine):
		s.Fail(w, r, shell.Refusal{Status: http.StatusConflict, Err: fmt.Errorf("%s: %w; choose a size instead", kept.Name, err)})
		return
	case err != nil:
		s.Fail(w, r, err)
		return
	}
	shell.Answer(w, http.StatusOK, map[string]any{"id": kept.ID, "name": kept.Name, "stride_m": ridden.StrideM, "file": string(course.WriteHorse(ridden))})
}
