package editor

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"groundline/cmd/serve/guard"
	"groundline/cmd/serve/shell"
	"groundline/course"
	"groundline/report"
	"groundline/report/draw"
	"groundline/report/sketch"
	"io"
	"net/http"
	"strconv"
)

// Routes are the drawing of a course.
func (s *Room) Routes(mux *http.ServeMux) {
	mux.HandleFunc("POST /api/1/plan/sketch", s.sketchPlan)
	mux.HandleFunc("POST /api/1/plan/read", s.readPlan)
	mux.HandleFunc("POST /api/1/plan/write", s.writePlan)
	mux.HandleFunc("POST /api/1/plan/save", s.savePlan)
	mux.HandleFunc("GET /api/1/plan/horse/{id}", s.planHorse)
	mux.HandleFunc("GET /courses/new", s.editCourse)
	mux.HandleFunc("POST /courses/new", s.editCourseText)
	mux.HandleFunc("GET /courses/{id}/edit", s.editCourse)
	mux.HandleFunc("POST /courses/{id}/edit", s.editCourseText)
}

// maxSketchBytes is more than any plan that its reader takes (256 KiB), with a horse beside it.
const maxSketchBytes = 1 << 20

// drawn is what an editor sends: a plan, and the horse that it is for.
type drawn struct {
	Plan  json.RawMessage `json:"plan"`
	Horse horseChoice     `json:"horse"`
	// For a plan that is kept: the course, 0 for a new one, and the SHA-256 of the version that the drawing began with; ""
	// keeps it over whichever is the last.
	Course int64  `json:"course"`
	Base   string `json:"base"`
	// For a plan as a file.
	Format string       `json:"format"`
	Units  report.Units `json:"units"`
}

// horseChoice is a horse by one of: a size of the tables, a stride, a horse file's text. None is the standard horse.
type horseChoice struct {
	Size    string  `json:"size"`
	StrideM float64 `json:"stride_m"`
	File    string  `json:"file"`
}

// Strides that can be meant between fences, metres: half a pony's short canter to a racehorse's gallop.
const leastStrideM, mostStrideM = 1.0, 8.0

// ownStrideDoubt is the doubt of a stride that somebody names: the natural variation of 2 %, nine times in ten.
const ownStrideDoubt = 0.02 * 1.645

// horse is the chosen one.
func (c horseChoice) horse() (course.Horse, error) {
	switch {
	case c.File != "":
		h, err := course.ReadHorse("horse", []byte(c.File))
		if err != nil {
			return course.Horse{}, shell.BadRequest("horse: %v", err)
		}
		return h, nil
	case c.StrideM != 0:
		if !(c.StrideM >= leastStrideM && c.StrideM <= mostStrideM) {
			return course.Horse{}, shell.BadRequest("horse.stride_m: found %g, expected %g to %g metres", c.StrideM, leastStrideM, mostStrideM)
		}
		own := course.Profile{StrideM: c.StrideM, LowM: c.StrideM * (1 - ownStrideDoubt), HighM: c.StrideM * (1 + ownStrideDoubt), Source: "the stride that was named"}
		return own.Horse(), nil
	case c.Size != "":
		of := shell.ProfileOf(c.Size)
		if of == nil {
			return course.Horse{}, shell.BadRequest("horse.size: found %q, expected one of %s", shell.Short(shell.Cleaned(c.Size)), shell.SizeNames())
		}
		return of.Horse(), nil
	}
	return course.Profiles()[0].Horse(), nil
}

// understood reads what an editor sent.
func understood(w http.ResponseWriter, r *http.Request) (d drawn, p *course.Plan, warnings []course.Warning, h course.Horse, err error) {
	dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxSketchBytes))
	dec.DisallowUnknownFields()
	if err = dec.Decode(&d); err != nil {
		var tooLarge *http.MaxBytesError
		if !errors.As(err, &tooLarge) {
			err = shell.BadRequest("found something else (%v), expected one JSON object with a plan", err)
		}
		return
	}
	if h, err = d.Horse.horse(); err != nil {
		return
	}
	p, warnings, err = sketch.Read(d.Plan)
	return
}

// sketchPlan answers with all figures of a plan and what to draw.
func (s *Room) sketchPlan(w http.ResponseWriter, r *http.Request) {
	_, p, warnings, h, err := understood(w, r)
	if err != nil {
		s.FailPlan(w, r, err)
		return
	}
	told, err := sketch.Of(p, h, warnings)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = sketch.Write(w, told) // the reader has gone: nobody to tell
}

// planFault is a fault of a plan for programs.
type planFault struct {
	Line     int    `json:"line"`  // of the text; 0 where there is none
	Field    string `json:"field"` // path such as obstacles[3].height
	Found    string `json:"found"`
	Expected string `json:"expected"`
}

// FailPlan answers for programs, with all faults where it is a plan that can't be read.
func (s *Room) FailPlan(w http.ResponseWriter, r *http.Request, err error) {
	var faults course.Faults
	if !errors.As(err, &faults) {
		s.Fail(w, r, err)
		return
	}
	out := []planFault{}
	for _, f := range faults {
		out = append(out, planFault{f.Line, f.Field, f.Found, f.Expected})
	}
	shell.ProblemWith(w, shell.FaultyPlan, "The plan can't be read.", map[string]any{"faults": out})
}

// planWarning is a warning of reading a plan's text.
type planWarning struct {
	Line   int    `json:"line"`
	Field  string `json:"field"`
	What   string `json:"what"`
	Why    string `json:"why"`
	Source string `json:"source"`
}

// readPlan understands a plan file, YAML or GeoJSON, and answers with its fields.
func (s *Room) readPlan(w http.ResponseWriter, r *http.Request) {
	text, err := io.ReadAll(http.MaxBytesReader(w, r.Body, shell.MaxPlanSent))
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	p, warnings, err := planOf(text)
	if err != nil {
		s.FailPlan(w, r, err)
		return
	}
	told := []planWarning{}
	for _, x := range warnings {
		told = append(told, planWarning(x))
	}
	shell.Answer(w, http.StatusOK, map[string]any{"plan": sketch.FieldsOf(p), "warnings": told, "comments": hasComments(text)})
}

// planOf is the plan of a file's text. One from a map is rounded to the millimetre.
func planOf(text []byte) (*course.Plan, []course.Warning, error) {
	p, warnings, err := course.Read("plan", text)
	if err == nil && isMap(text) {
		p.ToMillimetres()
	}
	return p, warnings, err
}

func isMap(text []byte) bool {
	text = bytes.TrimLeft(bytes.TrimPrefix(text, []byte("\uFEFF")), " \t\r\n")
	return bytes.HasPrefix(text, []byte("{")) && bytes.Contains(text, []byte(`"FeatureCollection"`))
}

// hasComments tells whether a plan in YAML has comments, which a drawn plan does not keep: a # at the beginning of a
// line or after a space, outside quotes.
func hasComments(text []byte) bool {
	if isMap(text) {
		return false
	}
	for line := range bytes.Lines(text) {
		var quote, last byte = 0, ' '
		for _, c := range line {
			switch {
			case quote != 0:
				if c == quote {
					quote = 0
				}
			case c == '#' && (last == ' ' || last == '\t'):
				return true
			case (c == '"' || c == '\'') && bytes.IndexByte([]byte(" \t[{,:"), last) >= 0:
				quote = c
			}
			last = c
		}
	}
	return false
}

// writePlan answers with a plan as a file.
func (s *Room) writePlan(w http.ResponseWriter, r *http.Request) {
	d, p, warnings, h, err := understood(w, r)
	if err != nil {
		s.FailPlan(w, r, err)
		return
	}
	data, kind, err := planFile(p, warnings, h, d.Format, d.Units)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	guard.Attachment(w, planFileName(p.Name, d.Format), kind)
	w.Header().Set("Content-Length", strconv.Itoa(len(data)))
	_, _ = w.Write(data)
}

// planFileName is the file's name after the course's.
func planFileName(name, format string) string {
	if name = shell.Cleaned(name); name == "" {
		name = "course"
	}
	return name + "." + format
}

// planFile is a plan in one of the formats in which people take it away.
func planFile(p *course.Plan, warnings []course.Warning, h course.Horse, format string, units report.Units) (data []byte, kind string, err error) {
	switch format {
	case "yaml":
		return course.WritePlan(p), "application/yaml", nil
	case "geojson":
		data, err = course.WriteGeoJSON(p)
		if err != nil {
			return nil, "", shell.Refusal{Status: http.StatusUnprocessableEntity, Err: err}
		}
		return data, "application/geo+json", nil
	case "pdf", "svg":
		d := draw.PlanSheet(p, draw.Options{Horse: h, Warnings: warnings, Imperial: units == report.Imperial, Letter: units == report.Imperial})
		var b bytes.Buffer
		write, kind := draw.WritePDF, "application/pdf"
		if format == "svg" {
			write, kind = draw.WriteSVG, "image/svg+xml"
		}
		if err := write(&b, d); err != nil {
			return nil, "", fmt.Errorf("a picture of the plan: %w", err)
		}
		return b.Bytes(), kind, nil
	}
	return nil, "", shell.BadRequest("format: found %q, expected yaml, geojson, pdf or svg", shell.Short(shell.Cleaned(format)))
}
