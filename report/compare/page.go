package compare

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"

	"groundline/course"
	"groundline/report"
	"groundline/report/draw"
	"groundline/report/layout"
	"groundline/report/page"
)

//go:embed page.html
var pageHTML string

//go:embed page.css
var pageCSS string

// PageOptions are the reader's choices.
type PageOptions struct {
	Units report.Units // of lengths; metric when empty
	// Links lead away from a page that is one of several, above everything else, the first by the name of the whole; none
	// for a file that stands alone. Own are those to what else there is of this comparison.
	Links, Own []report.Link
}

// Page writes the comparison as one HTML file that needs nothing else: no network, no second file, no script. It
// says what the text says, and shows the tracks of the compared rides on the plan. attempts are those that c
// was made of; a debrief read from a file has no track, and is left out of the picture.
func Page(w io.Writer, c *Comparison, attempts []Attempt, opt PageOptions) error {
	html, _, err := Render(c, attempts, opt)
	if err != nil {
		return err
	}
	_, err = w.Write(html)
	return err
}

// Render is the comparison as one HTML file, as by [Page], and the Content-Security-Policy that stands in it, for a server
// that sends it along.
func Render(c *Comparison, attempts []Attempt, opt PageOptions) (html []byte, policy string, err error) {
	if opt.Units == "" {
		opt.Units = report.Metric
	}
	t := text{units: opt.Units, c: c}
	style := pageCSS + page.StripStyle
	v := pageContent{Title: c.title(), Links: opt.Links, Own: opt.Own, Style: template.CSS(style), Many: len(c.Attempts) > 1, First: "figure or ride", Sure: t.keyWords(), Cautions: cautions}
	sum := sha256.Sum256([]byte(style))
	v.Policy = "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'"
	for _, a := range c.Attempts {
		v.Attempts = append(v.Attempts, pageAttempt{a.Label, a.words()})
	}
	// Whether these rides may be compared at all stands before the rest; what each recording warns of comes with the doubts.
	for _, n := range c.Notes {
		if n.Level == "warning" && !slices.Contains(warningsOf(attempts), n) {
			v.Look = append(v.Look, upperFirst(n.What)+": "+n.Why+".")
		}
	}
	v.Head, v.Changed = t.changedWords()
	for _, l := range c.Lines {
		section := pageSection{Head: t.lineHead(l), Strips: stripsOf(l, attempts, opt.Units)}
		if len(l.Rides) == 2 {
			rows, below := t.pairRows(l)
			if rows == nil {
				continue
			}
			rows[0][0] = ""
			section.Tables = []pageTable{{rows[0], rows[1:]}}
			if below != "" {
				section.Below = []string{below}
			}
		} else {
			tables := t.seriesTables(l)
			if tables == nil {
				continue
			}
			for _, columns := range tables {
				section.Tables = append(section.Tables, turnedTable(columns))
			}
			section.Below = []string{t.trendWords(l)}
		}
		v.Folded = v.Folded || section.Strips != nil
		v.Lines = append(v.Lines, section)
	}
	if len(c.Rounds.Rounds) > 0 {
		rows, below := t.roundRows()
		head := rows[0]
		head[0] = ""
		v.Lines = append(v.Lines, pageSection{Head: "Rounds", Tables: []pageTable{{head, rows[1:]}}, Below: below})
	}
	if d := tracks(c, attempts); d != nil {
		var svg bytes.Buffer
		if err := draw.WriteSVG(&svg, d); err != nil {
			return nil, "", fmt.Errorf("the tracks: %w", err)
		}
		v.Plan, v.Caption = template.HTML(svg.String()), d.Description // escaped by its writer
	}
	shown, err := template.New("page").Funcs(template.FuncMap{"clean": cleaned}).Parse(pageHTML)
	if err != nil {
		panic(err) // the page's own text
	}
	var out bytes.Buffer
	if err := shown.Execute(&out, v); err != nil {
		return nil, "", fmt.Errorf("page: %w", err)
	}
	return out.Bytes(), v.Policy, nil
}

// cleaned is a text without blanks about it and without characters that steer.
func cleaned(s string) string { return layout.Printable(strings.TrimSpace(s)) }

type pageContent struct {
	Title, Policy, Head, First, Caption, Cautions string
	Links, Own                                    []report.Link
	Style                                         template.CSS
	Plan                                          template.HTML
	Many                                          bool
	Folded                                        bool // the tables: the strips say what matters first
	Attempts                                      []pageAttempt
	Look, Changed, Sure                           []string
	Lines                                         []pageSection
}

type pageAttempt struct{ Label, Words string }

type pageSection struct {
	Head   string
	Strips []pageStrip
	Tables []pageTable
	Below  []string
}

// pageStrip is the strip of one ride of a line.
type pageStrip struct {
	Label string
	page.Stripped
}

// mostStrips is how many rides of a line are drawn above one another; more are in the tables.
const mostStrips = 6

// stripsOf are the rides of a line as strips above one another; nil where none has its strides.
func stripsOf(l Line, attempts []Attempt, units report.Units) []pageStrip {
	var of []page.LineOf
	var labels []string
	for _, r := range l.Rides {
		d := attempts[r.Attempt-1].Debrief
		for i, x := range d.Lines {
			if x.From == l.From && x.To == l.To && x.Attempt == r.Nth && len(of) < mostStrips {
				of = append(of, page.LineOf{Debrief: d, Line: i})
				label := r.Label
				if r.Nth > 1 {
					label += " " + layout.Ordinal(r.Nth)
				}
				labels = append(labels, label)
			}
		}
	}
	var out []pageStrip
	for i, s := range page.Strips(of, units, l.From+"-"+l.To) {
		if s.SVG != "" {
			out = append(out, pageStrip{labels[i], s})
		}
	}
	return out
}

type pageTable struct {
	Head []string
	Rows [][]string
}

// turnedTable makes rows of columns.
func turnedTable(columns [][]string) pageTable {
	var out pageTable
	for i := range columns[0] {
		var row []string
		for _, c := range columns {
			row = append(row, strings.TrimSpace(c[i]))
		}
		if i == 0 {
			out.Head = row
		} else {
			out.Rows = append(out.Rows, row)
		}
	}
	return out
}

// The sheet of the tracks, in points; a page shows it as wide as it is.
const (
	mapWidePt, mapMostHighPt = 720.0, 900.0
	mapEdgeM                 = 4.0
	aroundS                  = 1.0 // of track before the landing and after the take-off of a line: the flights
)

// trackLine is how the k-th ride of a line is drawn: dash and width tell rides apart without colour. From the fifth on
// they repeat.
func trackLine(k int) draw.Line {
	return []draw.Line{
		{WidthPt: 3, Colour: draw.Colour{R: 0x14, G: 0x20, B: 0x2b}},
		{WidthPt: 3, Colour: draw.Colour{R: 0xb0, G: 0x3a, B: 0x2e}, DashPt: []float64{8, 4}},
		{WidthPt: 2.4, Colour: draw.Colour{R: 0x1d, G: 0x5f, B: 0x9e}, DashPt: []float64{2, 3}},
		{WidthPt: 1.8, Colour: draw.Colour{R: 0x6b, G: 0x5b, B: 0x00}, DashPt: []float64{10, 3, 2, 3}},
	}[k%4]
}

func trackWord(k int) string { return []string{"unbroken", "dashed", "dotted", "dash and dot"}[k%4] }

// ridden is the track of one compared ride.
type ridden struct {
	ride   int // from 0, in its line
	pieces [][]course.Point
}

// tracks draws the compared rides on the plan; nil where no debrief has a plan with tracks.
func tracks(c *Comparison, attempts []Attempt) *draw.Drawing {
	var plan *course.Plan
	var rode []ridden
	most := 0
	names := map[int]string{}
	several := false
	for _, l := range c.Lines {
		if l.From == "" {
			continue
		}
		for i, r := range l.Rides {
			d := attempts[r.Attempt-1].Debrief
			if d.Plan == nil || d.Ridden == nil {
				continue
			}
			if plan == nil {
				plan = d.Plan
			}
			pieces := trackOf(d, l, r)
			if len(pieces) == 0 {
				continue
			}
			rode = append(rode, ridden{i, pieces})
			most = max(most, i+1)
			if was, ok := names[i]; ok && was != r.Label {
				several = true
			}
			names[i] = r.Label
		}
	}
	if plan == nil || len(rode) == 0 {
		return nil
	}
	d := &draw.Drawing{Title: "The tracks on the plan"}
	laidOut(d, frameOf(c, plan, rode))
	if len(plan.Arena) > 2 {
		at := places(d, plan.Arena)
		d.Add("arena", draw.Area{Points: at, Fill: draw.Colour{R: 0xf8, G: 0xf6, B: 0xf0}}, draw.Line{Points: at, Closed: true, WidthPt: 1, Colour: draw.Colour{R: 0x46, G: 0x53, B: 0x5e}})
	}
	for _, r := range rode {
		for _, piece := range r.pieces {
			line := trackLine(r.ride)
			line.Points = places(d, piece)
			d.Add("tracks", line)
		}
	}
	for _, o := range plan.Obstacles {
		obstacle(d, o)
	}
	var keys []string
	for k := range min(most, 4) {
		name := names[k]
		if several || name == "" {
			name = layout.Ordinal(k+1) + " ride"
		}
		keys = append(keys, name+" "+trackWord(k))
	}
	d.Description = "The compared rides to scale: " + strings.Join(keys, ", ") + "; bars are obstacles, the tick the way they are jumped."
	if most > 4 {
		d.Description += " From the fifth ride on the lines repeat."
	}
	return d
}

// trackOf is the recorded track of one ride of a line, with its flights, in unbroken pieces.
func trackOf(d *report.Debrief, l Line, r Ride) [][]course.Point {
	t := d.Ridden
	at := -1
	for i, x := range d.Lines {
		if x.From == l.From && x.To == l.To && x.Attempt == r.Nth && i < len(t.LineS) {
			at = i
			break
		}
	}
	if at < 0 {
		return nil
	}
	from, to := t.LineS[at][0]-aroundS, t.LineS[at][1]+aroundS
	var out [][]course.Point
	for k, first := range t.Pieces {
		last := len(t.TimeS)
		if k+1 < len(t.Pieces) {
			last = t.Pieces[k+1]
		}
		var piece []course.Point
		for i := first; i < last; i++ {
			if t.TimeS[i] >= from && t.TimeS[i] <= to {
				piece = append(piece, course.Point{X: t.XM[i], Y: t.YM[i]})
			}
		}
		if len(piece) > 1 {
			out = append(out, piece)
		}
	}
	return out
}

// frameOf are the points that the sheet has to show: arena, obstacles and tracks or, where one line alone was compared, the tracks
// and the obstacles of that line, for a closer look.
func frameOf(c *Comparison, plan *course.Plan, rode []ridden) (all []course.Point) {
	ways := slices.DeleteFunc(slices.Clone(c.Lines), func(l Line) bool { return l.From == "" })
	for _, o := range plan.Obstacles {
		if len(ways) > 1 || o.ID == ways[0].From || o.ID == ways[0].To {
			all = append(all, o.At)
		}
	}
	if len(ways) > 1 {
		all = append(all, plan.Arena...)
	}
	for _, r := range rode {
		for _, piece := range r.pieces {
			all = append(all, piece...)
		}
	}
	return all
}

// laidOut sets scale and place so that all these points fit.
func laidOut(d *draw.Drawing, points []course.Point) {
	low, high := course.Point{X: math.Inf(1), Y: math.Inf(1)}, course.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, p := range points {
		low.X, low.Y = min(low.X, p.X), min(low.Y, p.Y)
		high.X, high.Y = max(high.X, p.X), max(high.Y, p.Y)
	}
	// A line along the arena leaves room for names beside it, and fills a screen.
	const leastWideRel = 0.6
	if lacks := leastWideRel*(high.Y-low.Y) - (high.X - low.X); lacks > 0 {
		low.X, high.X = low.X-lacks/2, high.X+lacks/2
	}
	wide, tall := high.X-low.X+2*mapEdgeM, high.Y-low.Y+2*mapEdgeM
	d.PtPerM = min(mapWidePt/wide, mapMostHighPt/tall)
	d.WidthPt, d.HighPt = wide*d.PtPerM, tall*d.PtPerM
	d.Origin = draw.XY{X: (mapEdgeM - low.X) * d.PtPerM, Y: d.HighPt - (mapEdgeM-low.Y)*d.PtPerM}
}

func places(d *draw.Drawing, points []course.Point) []draw.XY {
	out := make([]draw.XY, len(points))
	for i, p := range points {
		out[i] = d.At(p)
	}
	return out
}

// obstacle draws an obstacle as a bar across its way, with a tick that way and its name before it.
func obstacle(d *draw.Drawing, o course.Obstacle) {
	const tickM, nameM, widthPt = 2.0, 3.4, 5.0
	s, c := math.Sincos(o.FacingDeg * math.Pi / 180)
	half := o.WidthM / 2
	ink := draw.Colour{R: 0x14, G: 0x20, B: 0x2b}
	place := func(right, ahead float64) course.Point {
		return course.Point{X: o.At.X + right*c + ahead*s, Y: o.At.Y - right*s + ahead*c}
	}
	// Sizes are for a phone, which shows the sheet at half its width: twelve points of a name there.
	d.Add("obstacles", draw.Line{Points: places(d, []course.Point{place(-half, 0), place(half, 0)}), WidthPt: widthPt, Colour: ink},
		draw.Line{Points: places(d, []course.Point{o.At, place(0, tickM)}), WidthPt: 1.5, Colour: ink})
	at := d.At(place(half+nameM/2, -nameM/2))
	d.Add("names", draw.Text{At: draw.XY{X: at.X, Y: at.Y + 8}, Align: draw.Middle, SizePt: 24, Bold: true, Colour: ink, Text: layout.Clip(cleaned(o.ID), 12)})
}
