// Package page renders a debrief as one HTML file that needs nothing else: no network, no second file,
// and no script to be read. It is for a phone in the sun beside the ring, a desk, and two sheets of paper.
//
// The page draws the plan to scale with the ridden track on it, figures over the way ridden, and
// tables, all from [report.Debrief] and in the words of [report.Tell]. A small script ties them together: a
// moment touched, pointed at or reached by keyboard in one of them is shown in all. Without the script all
// is there to be read.
//
// Rules of the page. Colour never carries a meaning alone: speed has width beside colour, and figures beside
// both. A number has its doubt. What the recording can't tell is left out and said so. Texts from files are
// escaped, and the page's own Content-Security-Policy lets nothing run but its own script and style, by
// their hashes. The same debrief gives the same bytes.
package page

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"unicode"

	"groundline/report"
)

//go:embed page.html
var pageHTML string

//go:embed page.css
var pageCSS string

// StripStyle is the style of strips, for pages that show them ([Strips]). Their colours are the page's own: ink, quiet, line, faint,
// mark, strip-short and strip-long.
//
//go:embed strip.css
var StripStyle string

//go:embed page.js
var pageJS string

// Options are the reader's choices.
type Options struct {
	Units report.Units // of lengths; metric when empty
	// Links lead away from a page that is one of several, above everything else, the first by the name of the whole; none
	// for a file that stands alone. Own are those to what else there is of this ride.
	Links, Own []report.Link
	// LineHref is where all attempts at a line are, for the cards; nil where they lead nowhere.
	LineHref func(from, to string) string
}

// Write writes the debrief as one HTML file. It is refused, as by [report.JSON], when a figure is NaN
// or infinite.
func Write(w io.Writer, d *report.Debrief, opt Options) error {
	html, _, err := Render(d, opt)
	if err != nil {
		return err
	}
	_, err = w.Write(html)
	return err
}

// Render is the debrief as one HTML file, and the Content-Security-Policy that stands in it, for a server that
// sends it along. It is refused as by [Write].
func Render(d *report.Debrief, opt Options) (html []byte, policy string, err error) {
	if err := finite(d); err != nil {
		return nil, "", err
	}
	if opt.Units == "" {
		opt.Units = report.Metric
	}
	v := newView(d, opt.Units)
	plan, chart := v.drawPlan(), v.drawChart()
	style := pageCSS + StripStyle + v.sizes()
	c := content{
		Policy: fmt.Sprintf("default-src 'none'; script-src '%s'; style-src '%s'; base-uri 'none'; form-action 'none'", hashOf(pageJS), hashOf(style)),
		Links:  opt.Links, Own: opt.Own,
		Style: template.CSS(style), Script: template.JS(pageJS),
		Title: v.told.Title, Told: v.told, Plan: plan, Chart: chart, Furniture: v.furniture(), TrackKey: v.trackKey(), TrackTitle: v.trackKeyTitle(), Moments: v.moments,
		Cards: v.cards(opt.LineHref), Headline: v.headline(), Grave: v.grave(),
		Lines: v.linesTable(), Efforts: v.effortsTable(), Nothing: len(d.Efforts) == 0, NoPlan: d.Course == nil, Offs: told(d), Basis: d.Basis,
	}
	t, err := template.New("page").Funcs(template.FuncMap{"clean": cleaned, "short": short, "join": strings.Join, "sentence": sentence}).Parse(pageHTML)
	if err != nil {
		panic(err) // the page's own text
	}
	var out bytes.Buffer
	if err := t.Execute(&out, c); err != nil {
		return nil, "", fmt.Errorf("page: %w", err)
	}
	return out.Bytes(), c.Policy, nil
}

// finite refuses a debrief that has a figure which is none.
func finite(d *report.Debrief) error { return report.JSON(io.Discard, d) }

// told tells whether any distance of take-off or landing is.
func told(d *report.Debrief) bool {
	return slices.ContainsFunc(d.Efforts, func(e report.Effort) bool { return e.TakeoffDistanceM != nil || e.LandingDistanceM != nil })
}

// content is what the page's text is filled with.
type content struct {
	Policy          string
	Links, Own      []report.Link
	Style           template.CSS
	Script          template.JS
	Title           string
	Told            report.Told
	Plan, Chart     *figure
	Furniture       template.HTML
	TrackKey        []key
	TrackTitle      string
	Moments         moments
	Lines, Efforts  *table
	Cards           []card
	Headline        string
	Grave           []report.ToldDoubt // what must be read before any figure
	Nothing, NoPlan bool
	Offs            bool // take-off distances are told
	Basis           string
}

// figure is a drawing with what must be said beside it.
type figure struct {
	SVG   template.HTML
	Title string
	Words string // what is seen, for those who can't
	Keys  []key
	Wide  bool // wider than a phone: it scrolls there
}

// key explains a mark of a drawing.
type key struct {
	SVG  template.HTML
	Says string
}

// hashOf is the source that a Content-Security-Policy names for an inline script or style.
func hashOf(s string) string {
	h := sha256.Sum256([]byte(s))
	return "sha256-" + base64.StdEncoding.EncodeToString(h[:])
}

// cleaned is a text without what would steer whoever shows it: line ends become blanks; control and
// formatting characters, such as those that turn the reading direction, and broken encoding the replacement
// character.
func cleaned(s string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\r' || r == '\t':
			return ' '
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r), unicode.Is(unicode.Zl, r), unicode.Is(unicode.Zp, r), r == 0xFFFE, r == 0xFFFF:
			return unicode.ReplacementChar
		}
		return r
	}, s))
}

// sentence is words with a full stop.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return ""
	}
	return strings.TrimSuffix(s, ".") + "."
}
