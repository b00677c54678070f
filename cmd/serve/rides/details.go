package rides

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"groundline/cmd/serve/columns"
	"groundline/cmd/serve/guard"
	"groundline/cmd/serve/shell"
	"groundline/report"
	"groundline/report/draw"
	"groundline/report/keep"
	ridepage "groundline/report/page"
	"groundline/trace/read"
	"io"
	"net/http"
	"strconv"
)

// detailsView is all that is kept about a ride.
type detailsView struct {
	Row
	Horses, Versions []shell.Pick
	Files            []fileRow
	Downloads        []downloadRow // none unless the ride is ready
	FoundPlan        bool          // a course was found in the ride, which is of none
	Refused          bool
}

type fileRow struct {
	keep.File
	N    int
	Size string
}

type downloadRow struct{ Href, Text, About string }

// showDetails is the page about a ride: what is said about it, its files, what may be taken away.
func (s *Room) showDetails(w http.ResponseWriter, r *http.Request) {
	ride, err := s.OfRide(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	ctx := r.Context()
	v := detailsView{Row: RowOf(ride), Refused: ride.State == keep.Refused}
	if v.Horses, err = s.HorsePicks(ctx, ride.HorseID); err != nil {
		s.Fail(w, r, err)
		return
	}
	if v.Versions, err = s.versionPicks(ctx, ride); err != nil {
		s.Fail(w, r, err)
		return
	}
	for i, f := range ride.Files {
		v.Files = append(v.Files, fileRow{f, i + 1, sizeWords(f.Bytes)})
	}
	if ride.State == keep.Ready {
		d, err := s.Store.Debrief(ctx, ride.ID)
		if err != nil {
			s.Fail(w, r, err)
			return
		}
		for _, to := range Downloads() {
			if to.Sheet == nil || hasSheet(d) {
				v.Downloads = append(v.Downloads, downloadRow{fmt.Sprintf("/rides/%d/debrief.%s", ride.ID, to.Ending), to.Text, to.About})
			}
		}
		v.FoundPlan = ride.CourseID == 0 && d.Plan != nil
	}
	s.Show(w, r, http.StatusOK, "ride_details.html", shell.View{Title: shell.RideName(ride), Here: "rides", Data: v})
}

// versionPicks are the plans that a ride may be said to be of: the one it is of now, and the last version of every course
// in use.
func (s *Room) versionPicks(ctx context.Context, ride keep.Ride) ([]shell.Pick, error) {
	courses, err := s.Store.Courses(ctx)
	if err != nil {
		return nil, err
	}
	var out []shell.Pick
	for _, c := range courses {
		if c.ID == ride.CourseID && c.VersionID != ride.CourseVersionID {
			out = append(out, shell.Pick{Value: strconv.FormatInt(ride.CourseVersionID, 10), Text: fmt.Sprintf("%s, version %d, as now", ride.Course, ride.CourseVersion), Chosen: true})
			out = append(out, shell.Pick{Value: strconv.FormatInt(c.VersionID, 10), Text: fmt.Sprintf("%s, version %d, the newest", c.Name, c.Version), Chosen: false})
			continue
		}
		if !c.PutAway || c.ID == ride.CourseID {
			out = append(out, shell.Pick{Value: strconv.FormatInt(c.VersionID, 10), Text: c.Name, Chosen: c.ID == ride.CourseID})
		}
	}
	return out, nil
}

// changeDetails changes what is said about a ride.
func (s *Room) changeDetails(w http.ResponseWriter, r *http.Request) {
	s.change(w, r, func(ride keep.Ride, fields map[string]string) (keep.About, error) {
		return s.aboutOf(r.Context(), fields)
	}, "/details?said=saved")
}

// changeColumns says how the columns of a ride's CSV are to be read, and has it read again.
func (s *Room) changeColumns(w http.ResponseWriter, r *http.Request) {
	s.change(w, r, func(ride keep.Ride, fields map[string]string) (keep.About, error) {
		of := ride.About()
		columns, err := columns.Of(fields)
		of.Columns = columns
		return of, err
	}, "")
}

// change changes what is said about a ride, and goes to a page of it.
func (s *Room) change(w http.ResponseWriter, r *http.Request, to func(keep.Ride, map[string]string) (keep.About, error), then string) {
	ride, err := s.OfRide(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	fields, err := shell.Posted(w, r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	of, err := to(ride, fields)
	if err == nil {
		err = shell.Gone(s.Store.SetAbout(r.Context(), ride.ID, of), "the ride, course or horse is no longer kept")
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	http.Redirect(w, r, fmt.Sprintf("/rides/%d%s", ride.ID, then), http.StatusSeeOther)
}

// takeApart makes each file of a ride a ride of its own.
func (s *Room) takeApart(w http.ResponseWriter, r *http.Request) {
	ride, err := s.OfRide(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	if len(ride.Files) < 2 {
		s.Fail(w, r, shell.Refusal{Status: http.StatusConflict, Err: errors.New("only a ride of several files can be taken apart")})
		return
	}
	h := &handed{}
	defer h.discard()
	for _, f := range ride.Files {
		in, err := s.Store.OpenFile(r.Context(), f.SHA256)
		if err != nil {
			s.Fail(w, r, err)
			return
		}
		received, err := s.Store.Receive(r.Context(), f.Name, in, f.Bytes)
		in.Close()
		if err != nil {
			s.Fail(w, r, err)
			return
		}
		h.files = append(h.files, received)
	}
	for _, f := range h.files {
		if _, _, err := s.Store.Keep(r.Context(), []*keep.Received{f}, ride.About()); err != nil {
			s.Fail(w, r, err)
			return
		}
	}
	if err := s.Store.RemoveRide(r.Context(), ride.ID); err != nil && !errors.Is(err, keep.ErrNotFound) {
		s.Fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/?said=kept", http.StatusSeeOther)
}

// keepPlan keeps the plan that was found in a ride as a course, to be corrected by whoever knows it.
func (s *Room) keepPlan(w http.ResponseWriter, r *http.Request) {
	ride, err := s.OfRide(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	d, err := s.Store.Debrief(r.Context(), ride.ID)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	if ride.CourseID != 0 || d.Plan == nil {
		s.Fail(w, r, shell.Refusal{Status: http.StatusConflict, Err: errors.New("no course was found in this ride, expected positions, motion and jumps, and a ride of no course yet")})
		return
	}
	c, err := s.Store.SaveCourse(r.Context(), 0, d.Plan)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	http.Redirect(w, r, fmt.Sprintf("/courses/%d/edit", c.ID), http.StatusSeeOther)
}

// askRemoval asks before a ride is removed: it can't be taken back.
func (s *Room) askRemoval(w http.ResponseWriter, r *http.Request) {
	ride, err := s.OfRide(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	s.Show(w, r, http.StatusOK, "ride_remove.html", shell.View{Title: "Remove this ride?", Here: "rides", Data: RowOf(ride)})
}

func (s *Room) removeRide(w http.ResponseWriter, r *http.Request) {
	ride, err := s.OfRide(r)
	if err == nil {
		err = s.Store.RemoveRide(r.Context(), ride.ID)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/?said=removed", http.StatusSeeOther)
}

// rideFile gives one of a ride's files as it was received.
func (s *Room) rideFile(w http.ResponseWriter, r *http.Request) {
	ride, err := s.OfRide(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	n, err := strconv.Atoi(r.PathValue("n"))
	if err != nil || n < 1 || n > len(ride.Files) {
		s.Fail(w, r, keep.ErrNotFound)
		return
	}
	f := ride.Files[n-1]
	in, err := s.Store.OpenFile(r.Context(), f.SHA256)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	defer in.Close()
	guard.Attachment(w, f.Name, "") // whatever is in it, no browser is to open it as a page of ours
	w.Header().Set("ETag", `"`+f.SHA256+`"`)
	http.ServeContent(w, r, "", ride.KeptAt, in)
}

// showUnderstood tells what was understood of a ride's files. They are read again for it.
func (s *Room) showUnderstood(w http.ResponseWriter, r *http.Request) {
	ride, err := s.OfRide(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	var files []read.Named
	for _, f := range ride.Files {
		in, err := s.Store.OpenFile(r.Context(), f.SHA256)
		if err != nil {
			s.Fail(w, r, err)
			return
		}
		defer in.Close()
		files = append(files, read.Named{Name: f.Name, At: in, Size: f.Bytes})
	}
	rec, summaries, err := read.InspectNamed(r.Context(), files, read.Options{Columns: ride.Columns})
	v := struct {
		Row
		Faults []string
		Text   string
	}{Row: RowOf(ride)}
	var look *report.Looked
	if err != nil {
		v.Faults = faultLines(err.Error())
	} else {
		look = report.Look(rec)
	}
	var text bytes.Buffer
	if err := report.InspectText(&text, rec, look, summaries, false); err != nil {
		s.Fail(w, r, err)
		return
	}
	v.Text = text.String()
	s.Show(w, r, http.StatusOK, "ride_understood.html", shell.View{Title: "What was understood of the files", Here: "rides", Data: v})
}

// takeAway is a form in which a debrief can be saved as a file.
type takeAway struct {
	Ending, Kind string
	Text, About  string
	Write        func(io.Writer, *report.Debrief, report.Units) error // nil with Sheet
	Sheet        func(io.Writer, *draw.Drawing) error
}

// Downloads are all of them, those for people first.
func Downloads() []takeAway {
	return []takeAway{
		{Ending: "pdf", Kind: "application/pdf", Text: "PDF", About: "the ride on one sheet, to print", Sheet: draw.WritePDF},
		{Ending: "html", Kind: "text/html; charset=utf-8", Text: "HTML", About: "the debrief as one file that needs nothing else, to send", Write: func(w io.Writer, d *report.Debrief, u report.Units) error {
			return ridepage.Write(w, d, ridepage.Options{Units: u})
		}},
		{Ending: "txt", Kind: "text/plain; charset=utf-8", Text: "Text", About: "as a coach reads it aloud", Write: func(w io.Writer, d *report.Debrief, u report.Units) error {
			return report.Text(w, d, report.TextOptions{Units: u})
		}},
		{Ending: "png", Kind: "image/png", Text: "PNG", About: "the sheet as a picture", Sheet: draw.WritePNG},
		{Ending: "svg", Kind: "image/svg+xml", Text: "SVG", About: "the sheet as a drawing", Sheet: draw.WriteSVG},
		{Ending: "json", Kind: "application/json", Text: "JSON", About: "every figure, for programs"},
	}
}

// download gives the debrief of a ride in a form.
func (s *Room) download(to takeAway) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		ride, err := s.OfRide(r)
		if err != nil {
			s.Fail(w, r, err)
			return
		}
		data, err := s.written(r, ride, to)
		if errors.Is(err, ridepage.ErrNothingToDraw) {
			err = shell.Refusal{Status: http.StatusConflict, Err: errors.New("there is neither a course nor a track to draw")}
		}
		if err != nil {
			s.Fail(w, r, err)
			return
		}
		guard.Attachment(w, shell.RideName(ride)+"."+to.Ending, to.Kind)
		_, _ = w.Write(data)
	}
}

func (s *Room) written(r *http.Request, ride keep.Ride, to takeAway) ([]byte, error) {
	if to.Ending == "json" { // as the store has it
		return s.Store.DebriefJSON(r.Context(), ride.ID)
	}
	d, err := s.Store.Debrief(r.Context(), ride.ID)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	if to.Sheet == nil {
		err = to.Write(&out, d, shell.UnitsOf(r))
		return out.Bytes(), err
	}
	sheet, err := ridepage.Sheet(d, ridepage.Options{Units: shell.UnitsOf(r)})
	if err != nil {
		return nil, err
	}
	err = to.Sheet(&out, sheet)
	return out.Bytes(), err
}
