package rides

import (
	"context"
	"errors"
	"fmt"
	"groundline/cmd/serve/guard"
	"groundline/cmd/serve/shell"
	"groundline/course"
	"groundline/report/keep"
	"groundline/report/paths"
	"groundline/trace/read"
	"io"
	"mime/multipart"
	"net/http"
	"slices"
	"sort"
	"strings"
	"time"
)

// Bounds of what one request may hold beside its bytes: a ride has a handful of files, a day at a lesson some dozens.
const (
	maxParts      = 120
	maxFieldBytes = 8 << 10 // the longest is a note, which the store bounds at less
)

// handed is what somebody handed in: files that have been taken in, and what was said beside them.
type handed struct {
	files  []*keep.Received
	fields map[string]string
}

// rideFields are what may be said beside the files of a ride.
func rideFields() []string {
	return []string{"horse_id", "horse", "course_id", "course_version_id", "course", "label", "note", "columns"}
}

// discard drops the files that did not become part of a ride.
func (h *handed) discard() {
	for _, f := range h.files {
		f.Discard()
	}
}

// receive takes the parts of a form as they come: files go to the store, never into memory. fields may stand before
// or after the files; more names those that this request may have beside rideFields. The files have to be discarded.
func (s *Room) receive(w http.ResponseWriter, r *http.Request, more ...string) (*handed, error) {
	if r.ContentLength > s.MaxUploadBytes+maxParts*maxFieldBytes {
		w.Header().Set("Connection", "close") // no use in reading it
		return nil, &http.MaxBytesError{Limit: s.MaxUploadBytes}
	}
	r.Body = http.MaxBytesReader(w, r.Body, s.MaxUploadBytes+maxParts*maxFieldBytes)
	parts, err := guard.NewParts(r)
	if err != nil {
		return nil, shell.Refusal{Status: http.StatusUnsupportedMediaType, Err: errors.New("expected a form with files (multipart/form-data)")}
	}
	h := &handed{fields: map[string]string{}}
	left := s.MaxUploadBytes
	for n := 0; ; n++ {
		part, err := parts.NextPart()
		if err == io.EOF {
			break
		}
		if err == nil && n == maxParts {
			err = shell.BadRequest("more than %d files and fields, expected those of one ride", maxParts)
		}
		if err == nil {
			err = s.receivePart(r.Context(), part, h, &left, append(rideFields(), more...))
		}
		if err != nil {
			h.discard()
			return nil, shell.CutOff(err)
		}
	}
	if len(h.files) == 0 {
		return nil, shell.BadRequest("no file was chosen, expected one or more recordings of a ride")
	}
	return h, nil
}

func (s *Room) receivePart(ctx context.Context, part *multipart.Part, h *handed, left *int64, known []string) error {
	name := part.FormName()
	if name != "file" {
		if !slices.Contains(known, name) {
			return shell.BadRequest("%q: no such field, expected file, %s", shell.Short(name), strings.Join(known, ", "))
		}
		value, err := io.ReadAll(io.LimitReader(part, maxFieldBytes+1))
		if err != nil {
			return err
		}
		if len(value) > maxFieldBytes {
			return shell.BadRequest("%s: longer than %d bytes", name, maxFieldBytes)
		}
		h.fields[name] = strings.TrimSpace(string(value))
		return nil
	}
	f, err := s.Store.Receive(ctx, part.FileName(), part, *left)
	if err != nil {
		var large *keep.TooLargeError
		if errors.As(err, &large) {
			return &http.MaxBytesError{Limit: s.MaxUploadBytes} // it is the whole that is too large
		}
		return err
	}
	if f.Bytes == 0 {
		f.Discard()
		if part.FileName() == "" { // a form sent without choosing any
			return nil
		}
		return shell.BadRequest("%s: the file is empty; export it again from the watch or phone, and wait until it is done", f.Name)
	}
	h.files = append(h.files, f)
	*left -= f.Bytes
	return nil
}

// aboutOf is what was said about a ride, with horse and course found by number or name. A horse that is not kept
// yet is: its name is all it takes.
func (s *Room) aboutOf(ctx context.Context, fields map[string]string) (keep.About, error) {
	of := keep.About{Label: fields["label"], Note: strings.ReplaceAll(fields["note"], "\r\n", "\n"), Columns: fields["columns"]}
	var err error
	if of.CourseVersionID, err = s.versionOf(ctx, fields); err != nil {
		return of, err
	}
	of.HorseID, err = s.horseOf(ctx, fields)
	return of, err
}

// newHorse is the choice of a horse that is typed.
const newHorse = "new"

func (s *Room) horseOf(ctx context.Context, fields map[string]string) (int64, error) {
	if id := fields["horse_id"]; id != newHorse && id != "" {
		n, err := shell.Number("horse_id", id)
		if err != nil || n == 0 {
			return 0, err
		}
		if _, err := s.Store.Horse(ctx, n); err != nil {
			return 0, shell.Gone(err, "horse_id: %d, expected a horse that is kept", n)
		}
		return n, nil
	}
	if fields["horse"] == "" {
		return 0, nil
	}
	return s.Store.NameHorse(ctx, fields["horse"])
}

// versionOf is the plan that was ridden: a version by number, or the last version of a course by number or name.
func (s *Room) versionOf(ctx context.Context, fields map[string]string) (int64, error) {
	n, err := shell.Number("course_version_id", fields["course_version_id"])
	if err != nil || n != 0 {
		return n, err // the store looks whether it is there
	}
	if n, err = shell.Number("course_id", fields["course_id"]); err != nil {
		return 0, err
	}
	if n != 0 {
		c, err := s.Store.Course(ctx, n)
		return c.VersionID, shell.Gone(err, "course_id: %d, expected a course that is kept", n)
	}
	name := fields["course"]
	if name == "" {
		return 0, nil
	}
	courses, err := s.Store.Courses(ctx)
	if err != nil {
		return 0, err
	}
	var found []keep.Course
	for _, c := range courses {
		if keep.SameName(c.Name, name) {
			found = append(found, c)
		}
	}
	if len(found) != 1 {
		return 0, shell.BadRequest("course: %d courses are called %q, expected one; course_id tells them apart", len(found), shell.Short(name))
	}
	return found[0].VersionID, nil
}

// takeRides takes what the form of the first page was sent with where there is no script: one ride, or as many as
// files.
func (s *Room) takeRides(w http.ResponseWriter, r *http.Request) {
	h, err := s.receive(w, r, "each")
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
	groups := [][]*keep.Received{h.files}
	switch h.fields["each"] {
	case "":
	case eachPaired:
		groups = paired(r.Context(), h.files, of.Columns)
	default:
		groups = eachAlone(h.files)
	}
	var id int64
	var already bool
	for _, files := range groups {
		if id, already, err = s.Store.Keep(r.Context(), files, of); err != nil {
			s.Fail(w, r, shell.Gone(err, "the course or horse chosen is no longer kept; choose another"))
			return
		}
	}
	ride, err := s.Store.Ride(r.Context(), id)
	switch {
	case err != nil: // removed just now
	case !already:
		rememberChoice(w, ride)
	case s.Now().Sub(ride.KeptAt) < pressedTwice:
		already = false
	}
	if h.fields["each"] == eachPaired {
		http.Redirect(w, r, "/lessons?said=kept", http.StatusSeeOther)
		return
	}
	http.Redirect(w, r, afterKeeping(id, already, len(groups)), http.StatusSeeOther)
}

// eachPaired is the choice that files are of several rides and find each other by time and content.
const eachPaired = "pair"

// paired are the files of a lesson by rides. One that can't be read is a ride of its own, which says why.
func paired(ctx context.Context, files []*keep.Received, columns string) [][]*keep.Received {
	of := make([]paths.File, len(files))
	for i, f := range files {
		of[i] = lookedAt(ctx, f, columns)
	}
	var out [][]*keep.Received
	for _, ride := range paths.Pair(of) {
		var group []*keep.Received
		for _, i := range ride {
			group = append(group, files[i])
		}
		out = append(out, group)
	}
	return out
}

func lookedAt(ctx context.Context, f *keep.Received, columns string) paths.File {
	of := paths.File{Name: f.Name}
	in, err := f.Open()
	if err != nil {
		return of
	}
	defer in.Close()
	_, sums, err := read.InspectNamed(ctx, []read.Named{{Name: f.Name, At: in, Size: f.Bytes}}, read.Options{Columns: columns})
	if err != nil || len(sums) != 1 {
		return of
	}
	of.DurationS, of.Positions, of.Motion = sums[0].DurationS, sums[0].Positions != nil, sums[0].Motion != nil
	if sums[0].DateKnown {
		of.Start = sums[0].Start
	}
	return of
}

// pressedTwice is how long after a ride was kept the same again is no second try, but a button that was pressed twice, or a
// page that was sent again because its answer was lost.
const pressedTwice = time.Minute

// afterKeeping is where people land who kept rides, the last of which is id.
func afterKeeping(id int64, already bool, rides int) string {
	switch {
	case rides > 1:
		return "/?said=kept"
	case already:
		return fmt.Sprintf("/rides/%d/details?said=again", id)
	}
	return fmt.Sprintf("/rides/%d", id)
}

func eachAlone(files []*keep.Received) [][]*keep.Received {
	var out [][]*keep.Received
	for _, f := range files {
		out = append(out, []*keep.Received{f})
	}
	return out
}

// demoHorse is the horse of the invented round, which has no name of its own.
const demoHorse = "Invented horse"

// takeDemo keeps the invented round with its course, as if somebody had handed it in.
func (s *Room) takeDemo(w http.ResponseWriter, r *http.Request) {
	if s.Demo == nil {
		s.Nowhere(w, r)
		return
	}
	id, err := s.keepDemo(r.Context())
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	http.Redirect(w, r, fmt.Sprintf("/rides/%d", id), http.StatusSeeOther)
}

func (s *Room) keepDemo(ctx context.Context) (id int64, err error) {
	h := &handed{fields: map[string]string{"horse": demoHorse, "label": "Demo round"}}
	defer h.discard()
	var names []string
	for name := range s.Demo {
		names = append(names, name)
	}
	sort.Strings(names)
	var plan *course.Plan
	for _, name := range names {
		if strings.HasSuffix(name, ".yaml") {
			if plan, _, err = course.ReadPlan(name, s.Demo[name]); err != nil {
				return 0, err
			}
			continue
		}
		f, err := s.Store.Receive(ctx, name, strings.NewReader(string(s.Demo[name])), s.MaxUploadBytes)
		if err != nil {
			return 0, err
		}
		h.files = append(h.files, f)
	}
	courses, err := s.Store.Courses(ctx)
	if err != nil {
		return 0, err
	}
	i := slices.IndexFunc(courses, func(c keep.Course) bool { return plan != nil && c.Name == plan.Name })
	switch {
	case i >= 0: // tried before
		h.fields["course_id"] = fmt.Sprint(courses[i].ID)
	case plan != nil:
		c, err := s.Store.SaveCourse(ctx, 0, plan)
		if err != nil {
			return 0, err
		}
		h.fields["course_id"] = fmt.Sprint(c.ID)
	}
	of, err := s.aboutOf(ctx, h.fields)
	if err != nil {
		return 0, err
	}
	id, _, err = s.Store.Keep(ctx, h.files, of)
	return id, err
}
