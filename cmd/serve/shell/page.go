package shell

import (
	"bytes"
	"embed"
	"fmt"
	"groundline/cmd/serve/guard"
	"groundline/report"
	"html/template"
	"io/fs"
	"net/http"
	"net/url"
	"strings"
	"time"
)

// templateFiles are the shell's own pages. base.html is what all have about them; the others, of every room, define "main", and may
// define "head" for their own style sheets and scripts. Names that begin with _ are parts that any page of the room may take.
//
//go:embed templates
var templateFiles embed.FS

// View is what every page is filled with.
type View struct {
	Title string // of the window and the page's h1
	Here  string // which entry of the navigation: "rides", "courses", "horses", "strides" or ""
	Units report.Units
	Said  string // what the last action did, for once
	Back  string // this page, to come back to from what only changes how it looks
	Leave bool   // people signed in and may sign out
	Data  any
}

// Add reads a room's templates, files of the folder "templates". They are the program's own, so a fault in them is its
// author's.
func (s *Shell) Add(files fs.FS) {
	funcs := template.FuncMap{
		"clean": Cleaned,
		"asset": func(name string) string { return assetURL(s.static, name) },
		"join":  strings.Join,
		"upper": Capital,
		"day":   func(t time.Time) string { return t.UTC().Format("2 January 2006") },
		"when":  func(t time.Time) string { return t.UTC().Format("2 January 2006, 15:04 UTC") },
		"iso":   func(t time.Time) string { return t.UTC().Format(time.RFC3339) },
		"clock": func(s float64) string { return fmt.Sprintf("%d:%02d", int(s+0.5)/60, int(s+0.5)%60) },
	}
	base := template.Must(template.New("base").Funcs(funcs).ParseFS(templateFiles, "templates/base.html"))
	names, err := fs.Glob(files, "templates/*.html")
	if err != nil {
		panic(err)
	}
	for _, name := range names {
		if strings.HasPrefix(name, "templates/_") {
			template.Must(base.ParseFS(files, name))
		}
	}
	for _, name := range names {
		if short := strings.TrimPrefix(name, "templates/"); short != "base.html" && !strings.HasPrefix(short, "_") {
			s.pages[short] = template.Must(template.Must(base.Clone()).ParseFS(files, name))
		}
	}
}

// Show answers with a page. v.Units, v.Said, v.Back and v.Leave are filled in.
func (s *Shell) Show(w http.ResponseWriter, r *http.Request, status int, name string, v View) {
	v.Units, v.Said, v.Back, v.Leave = UnitsOf(r), said(r), withoutUnits(r.URL), guard.SignedIn(r.Context())
	if r.Method != http.MethodGet {
		v.Back = "/"
	}
	var b bytes.Buffer
	if err := s.pages[name].ExecuteTemplate(&b, "base.html", v); err != nil {
		s.Log.Error("page", "name", name, "error", err)
		http.Error(w, "This page could not be written; the program's log says why.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	if r.Method != http.MethodHead {
		_, _ = w.Write(b.Bytes()) // the reader has gone: nobody to tell
	}
}

// UnitsOf are the units that the reader chose: in the address for one page, or for all by the switch at the foot.
func UnitsOf(r *http.Request) report.Units {
	if asked := report.Units(r.URL.Query().Get("units")); asked == report.Metric || asked == report.Imperial {
		return asked
	}
	if c, err := r.Cookie("units"); err == nil && report.Units(c.Value) == report.Imperial {
		return report.Imperial
	}
	return report.Metric
}

// OtherUnits lead to the same page in the other units. A page whose policy has no forms can't have the switch that others
// have, and a link must not change what is kept.
func OtherUnits(r *http.Request) report.Link {
	q := r.URL.Query()
	link := report.Link{Text: "In feet"}
	q.Set("units", string(report.Imperial))
	if UnitsOf(r) == report.Imperial {
		link.Text = "In metres"
		q.Set("units", string(report.Metric))
	}
	link.Href = r.URL.EscapedPath() + "?" + q.Encode()
	return link
}

// AskedUnits is the query that asks for the same units as this page's address, "" where it asks for none.
func AskedUnits(r *http.Request) string {
	if r.URL.Query().Get("units") == "" {
		return ""
	}
	return "?units=" + string(UnitsOf(r))
}

// withoutUnits is a page's address without the units that it asks for, so that the switch is not overruled by it.
func withoutUnits(u *url.URL) string {
	if !u.Query().Has("units") {
		return u.RequestURI()
	}
	q := u.Query()
	q.Del("units")
	only := *u
	only.RawQuery = q.Encode()
	return only.RequestURI()
}

// MainLinks are the links that every page begins with, for those that are not made from base.html. here is the one that the
// page belongs to.
func MainLinks(here string) []report.Link {
	links := []report.Link{{Text: "groundline", Href: "/"}, {Text: "Rides", Href: "/"}, {Text: "Lessons", Href: "/lessons"}, {Text: "Courses", Href: "/courses"}, {Text: "Horses", Href: "/horses"}, {Text: "Strides", Href: "/strides"}}
	for i := range links {
		links[i].Here = i > 0 && links[i].Href == here
	}
	return links
}

// setUnits keeps the reader's choice of units, and goes back to where it was made.
func (s *Shell) setUnits(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, MaxFormBytes)
	units := report.Units(r.PostFormValue("units"))
	if units != report.Metric && units != report.Imperial {
		s.Fail(w, r, BadRequest("units: %q, expected metric or imperial", units))
		return
	}
	http.SetCookie(w, &http.Cookie{Name: "units", Value: string(units), Path: "/", MaxAge: 400 * 24 * 3600, HttpOnly: true, SameSite: http.SameSiteStrictMode})
	http.Redirect(w, r, guard.OwnPath(r.PostFormValue("back")), http.StatusSeeOther)
}

// sayings are what an action may leave to be said on the page that it leads to, by the code in the address: words
// from an address itself would let anybody write on the page.
func sayings(code string) string {
	switch code {
	case "saved":
		return "Saved."
	case "two":
		return "Pick two or more to compare."
	case "removed":
		return "Removed."
	case "kept":
		return "Kept. The rides are worked out one after the other."
	case "again":
		return "This recording was kept before. It is not kept twice."
	}
	return ""
}

func said(r *http.Request) string { return sayings(r.URL.Query().Get("said")) }
