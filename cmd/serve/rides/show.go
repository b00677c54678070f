package rides

import (
	"errors"
	"fmt"
	"groundline/cmd/serve/columns"
	"groundline/cmd/serve/guard"
	"groundline/cmd/serve/lines"
	"groundline/cmd/serve/shell"
	"groundline/report"
	"groundline/report/keep"
	ridepage "groundline/report/page"
	"net/http"
	"strings"
	"time"
)

// rideView is a ride that has no debrief to show: not yet, or not at all.
type rideView struct {
	Row
	Doing   string
	Refused bool
	Faults  []string
	Several bool // files, each of which may have been a ride of its own
	CSV     *columns.Form
}

// showRide is the debrief or, while there is none, what becomes of the ride.
func (s *Room) showRide(w http.ResponseWriter, r *http.Request) {
	ride, err := s.OfRide(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	if ride.State == keep.Ready {
		d, err := s.anew.fetch(r.Context(), ride.ID, patience, s.Store.Debrief)
		var notReady *keep.NotReadyError
		switch {
		case d != nil:
			s.showDebrief(w, r, ride, d)
			return
		case err == nil: // the page looks again until it is there
			s.Show(w, r, http.StatusOK, "ride.html", shell.View{Title: shell.RideName(ride), Here: "rides", Data: rideView{Row: RowOf(ride), Doing: "Working it out anew, with this version of groundline."}})
			return
		case !errors.As(err, &notReady):
			s.Fail(w, r, err)
			return
		}
		ride.State = notReady.State // it was changed just now
	}
	v := rideView{Row: RowOf(ride), Doing: s.doing(ride), Refused: ride.State == keep.Refused, Several: len(ride.Files) > 1}
	title := shell.RideName(ride)
	if v.Refused {
		title = "This ride can't be read"
		for _, line := range faultLines(ride.Why) {
			v.Faults = append(v.Faults, onPage(line))
		}
		v.CSV = columns.FormOf(r.Context(), s.Store, ride)
	}
	s.Show(w, r, http.StatusOK, "ride.html", shell.View{Title: title, Here: "rides", Data: v})
}

// doing is what is done about a ride that is not ready, in words.
func (s *Room) doing(r keep.Ride) string {
	if r.State == keep.Waiting {
		return "Waiting for its turn."
	}
	if done, size, ok := s.Store.Progress(r.ID); ok && done < size {
		return fmt.Sprintf("Reading the files: %d %%.", 100*done/size)
	}
	return "Working out strides and lines."
}

// faultLines are the faults of a ride one by one.
func faultLines(why string) []string {
	var out []string
	for line := range strings.SplitSeq(why, "\n") {
		if line = strings.TrimSpace(line); line != "" {
			out = append(out, line)
		}
	}
	return out
}

// onPage is a fault in the words of the page, where columns are named by a form and not by a flag.
func onPage(fault string) string {
	if strings.HasPrefix(fault, "no track: ") { // the reader counts fixes
		return "The recording holds too few positions one after the other to show a track. It is too short, or was cut off."
	}
	for _, by := range []string{"name them by --columns", "name it by --columns", "name the columns by --columns", "name another column by --columns", "name the columns: --columns",
		"choose by number: --columns", "give the unit: --columns", "give the rate by --columns"} {
		if before, _, found := strings.Cut(fault, by); found {
			return before + "say below which column is which"
		}
	}
	return fault
}

// showDebrief is the debrief's own page, with ways to the rest. Its own policy is stricter than that of the other pages.
func (s *Room) showDebrief(w http.ResponseWriter, r *http.Request, ride keep.Ride, d *report.Debrief) {
	html, policy, err := ridepage.Render(d, ridepage.Options{Units: shell.UnitsOf(r), Links: shell.MainLinks("/"), Own: ownLinks(r, ride, d), LineHref: lineHref(ride)})
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	guard.SetPolicy(w, policy)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(html)
}

// lineHref gives the address of all attempts at a line of the ride's course; nil where it has none.
func lineHref(ride keep.Ride) func(from, to string) string {
	if ride.CourseID == 0 {
		return nil
	}
	return func(from, to string) string { return lines.Address(ride.CourseID, from, to) }
}

// ownLinks lead from a ride's debrief to what else there is of it, what is missing first.
func ownLinks(r *http.Request, ride keep.Ride, d *report.Debrief) []report.Link {
	at := fmt.Sprintf("/rides/%d", ride.ID)
	details := report.Link{Text: "Details", Href: at + "/details"}
	switch {
	case ride.CourseID == 0 && ride.HorseID == 0:
		details = report.Link{Text: "Details: name its horse and course", Href: at + "/details"}
	case ride.CourseID == 0:
		details = report.Link{Text: "Details: name its course", Href: at + "/details"}
	case ride.HorseID == 0:
		details = report.Link{Text: "Details: name its horse", Href: at + "/details"}
	}
	links := []report.Link{details, {Text: "Compare", Href: fmt.Sprintf("/compare?ride=%d", ride.ID)}}
	links = append(links, report.Link{Text: "Lesson", Href: fmt.Sprintf("/lessons/%s/%d", ride.At().UTC().Format(time.DateOnly), ride.CourseID)})
	if ride.CourseID != 0 {
		links = append(links, report.Link{Text: "Course", Href: fmt.Sprintf("/courses/%d", ride.CourseID)})
	}
	if ride.HorseID != 0 {
		links = append(links, report.Link{Text: "Horse", Href: shell.HorseAddress(ride.HorseID)})
		links = append(links, report.Link{Text: "Against the horse's record", Href: fmt.Sprintf("%s/rides/%d", shell.HorseAddress(ride.HorseID), ride.ID)})
	}
	if hasSheet(d) {
		links = append(links, report.Link{Text: "PDF", Href: at + "/debrief.pdf" + shell.AskedUnits(r)})
	}
	return append(links, shell.OtherUnits(r))
}

// hasSheet tells whether there is something to draw: a course or a track.
func hasSheet(d *report.Debrief) bool {
	return d.Plan != nil || d.Ridden != nil && len(d.Ridden.TimeS) > 1
}
