package strides

import (
	"bytes"
	"groundline/cmd/serve/shell"
	"groundline/report"
	"groundline/report/keep"
	"groundline/report/table"
	"net/http"
	"net/url"
	"strconv"
)

// ridesShown is how many rides a page of the list has: few enough to be drawn at once on a phone.
const ridesShown = 50

// stridesView fills strides.html.
type stridesView struct {
	Query       stridesFields
	Horses      []keep.Horse
	Courses     []keep.Course
	Rides       []pickedRide
	Total       int
	Filtered    bool
	First       bool   // page of the list
	Older       string // where the next page begins
	Shown       string // the page's rides, as a choice
	Chosen      tally
	Elsewhere   int  // chosen rides that are not on this page
	Nothing     bool // a table was asked for, and nothing was chosen
	Formats     []formatView
	Wait, Leave bool
}

// stridesFields are an address's parts as the form has them.
type stridesFields struct {
	Horse, Course                 int64
	From, To, Text, Before, Rides string
	WithoutPlaces                 bool
}

type pickedRide struct {
	keep.Ride
	Picked bool
	State  string // "" when it is worked out
}

type formatView struct {
	Value, Name, For string
	Picked           bool
}

// stridesPage lists the rides, with a choice of them that stays from page to page. All of it is one form whose buttons say
// what to do (do=…); each is answered with the address of what it led to, so that an address alone tells the page.
func (s *Room) stridesPage(w http.ResponseWriter, r *http.Request) {
	v := r.URL.Query()
	q, _, err := s.readStrides(r.Context(), v, tableFormats())
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	if do := v.Get("do"); do != "" {
		to, err := s.stridesDo(r, do, q)
		if err != nil {
			s.Fail(w, r, err)
			return
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
		return
	}
	ctx := r.Context()
	f := q.filter
	f.Limit = ridesShown
	rides, next, total, err := s.Store.Rides(ctx, f)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	d := stridesView{
		Query: stridesFields{f.HorseID, f.CourseID, q.find.Get("from"), q.find.Get("to"), q.find.Get("q"), f.Before.String(), q.rides.String(), q.withoutPlaces},
		Total: total, Filtered: len(q.find) > 0,
		First: f.Before.IsZero(), Nothing: len(q.rides) == 0 && v.Has("nothing"), Wait: q.unready != "leave", Leave: q.unready == "leave",
		Formats: formatViews(q.format),
	}
	if next != nil {
		d.Older = next.String()
	}
	var shown []int64
	here := 0
	for _, ride := range rides {
		p := pickedRide{Ride: ride, Picked: q.rides.has(ride.ID), State: pickWords(ride.State)}
		if p.Picked {
			here++
		}
		shown = append(shown, ride.ID)
		d.Rides = append(d.Rides, p)
	}
	d.Shown = choiceOf(shown).String()
	picks, err := s.picked(ctx, q, true)
	if err == nil {
		d.Chosen = tallyOf(picks)
		d.Elsewhere = d.Chosen.Rides - here
		d.Horses, err = s.Store.Horses(ctx)
	}
	if err == nil {
		d.Courses, err = s.Store.Courses(ctx)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	s.Show(w, r, http.StatusOK, "strides.html", shell.View{Title: "Stride table", Here: "strides", Data: d})
}

func formatViews(picked table.Format) []formatView {
	out := []formatView{
		{Value: string(table.CSV), Name: "CSV", For: "spreadsheets, R, Python"},
		{Value: string(table.JSONL), Name: "JSON Lines", For: "one object a line, for scripts"},
		{Value: string(table.Parquet), Name: "Parquet", For: "typed columns, for query engines; holds its provenance"},
	}
	for i := range out {
		out[i].Picked = out[i].Value == string(picked)
	}
	return out
}

// pickWords is what the list says of a ride that is not worked out.
func pickWords(state keep.State) string {
	switch state {
	case keep.Ready:
		return ""
	case keep.Refused:
		return "can't be told"
	}
	return "not worked out yet"
}

// stridesDo does what a button of the form says, and gives the address that it leads to.
func (s *Room) stridesDo(r *http.Request, do string, q strideQuery) (string, error) {
	v := r.URL.Query()
	shown, err := parseChoice(v.Get("shown"))
	if err != nil {
		return "", err
	}
	var ids, on []int64
	for _, part := range shown {
		for id := part.first; id <= part.last && len(ids) < maxShown; id++ {
			ids = append(ids, id)
		}
	}
	if len(v["ride"]) > maxShown {
		return "", shell.BadRequest("ride: %d of them, expected one page's", len(v["ride"]))
	}
	for _, text := range v["ride"] {
		id, ok := rideNumber(text)
		if !ok {
			return "", shell.BadRequest("ride: %q, expected a number", shell.Short(text))
		}
		on = append(on, id)
	}
	q.rides = q.rides.without(ids).with(on)
	path := "/strides"
	switch do {
	case "show": // a new filter begins at its first page
		q.filter.Before = keep.Cursor{}
	case "pick":
		q.rides = q.rides.with(ids)
	case "drop":
		q.rides = q.rides.without(ids)
	case "all":
		found, err := s.Store.Picks(r.Context(), q.filter)
		if err != nil {
			return "", err
		}
		all := make([]int64, len(found))
		for i, p := range found {
			all[i] = p.ID
		}
		q.rides = q.rides.with(all)
	case "none":
		q.rides = nil
	case "newest":
		q.filter.Before = keep.Cursor{}
	case "older":
		if q.filter.Before, err = keep.ParseCursor(v.Get("older")); err != nil {
			return "", shell.BadRequest("older: %q, expected what the list gave", shell.Short(v.Get("older")))
		}
	case "table", "summary", "provenance":
		if len(q.rides) == 0 {
			to := q.address()
			to.Set("nothing", "1")
			return path + "?" + to.Encode() + "#take", nil
		}
		if do != "summary" { // it leads back to the list
			q.find, q.filter = url.Values{}, keep.Filter{}
		}
		path += "/" + do
	default:
		return "", shell.BadRequest("do: %q, expected what a button of the page says", shell.Short(do))
	}
	given := q.rides.String()
	if len(given) > shell.MaxChoiceBytes {
		return "", shell.BadRequest("the choice is too scattered to be kept: choose whole stretches of the list, or all that a filter finds")
	}
	return path + "?" + q.address().Encode(), nil
}

// maxShown is more rides than a page of the list ever has.
const maxShown = 1000

// summaryView fills strides_summary.html.
type summaryView struct {
	Order        string // the address's query
	Back         string
	Rides        int
	Failed       int
	Horses       []horseSummary
	LengthUnit   string
	SpeedUnit    string
	OneRide      bool
	SteepPercent float64
}

type horseSummary struct {
	Name   string
	Groups []lineSummary
}

type lineSummary struct {
	Course string // "" for all lines
	Rows   []summaryRow
}

// summaryRow is a line, or the strides in one direction on it. A line that goes one way only has one row, which says
// which way.
type summaryRow struct {
	Line, Direction                      string
	Within                               bool // below the row of the whole line
	Rides, Strides                       int
	OneRide                              bool
	Counted, Length, Spread, Time, Speed figureView
}

// figureView is a mean with its interval as text; "" where there is none.
type figureView struct{ Value, Between string }

// summaryPage tells means and spread, by horse, line and slope.
func (s *Room) summaryPage(w http.ResponseWriter, r *http.Request, making chan struct{}) {
	var lines []table.Line
	o, err := s.readOrder(r, tableFormats())
	if err == nil {
		lines, err = inTurn(r.Context(), making, func() ([]table.Line, error) { return s.summarized(r.Context(), o) })
	}
	if err != nil {
		s.Fail(w, r, unlessGone(r, err))
		return
	}
	v := r.URL.Query()
	order := v.Encode()
	d := summaryView{Order: order, Back: "/strides?" + order, Rides: len(o.rides), SteepPercent: 100 * table.SteepGrade}
	d.fill(lines, shell.UnitsOf(r))
	s.Show(w, r, http.StatusOK, "strides_summary.html", shell.View{Title: "Summary of strides", Here: "strides", Data: d})
}

// fill groups the lines as the page shows them.
func (d *summaryView) fill(lines []table.Line, units report.Units) {
	perM, decimals := report.StrideLength.PerSI(units), 2
	if units == report.Imperial {
		decimals = 1
	}
	d.LengthUnit = shell.UnitName(report.StrideLength, units)
	d.SpeedUnit = d.LengthUnit + "/s"
	var row *summaryRow
	for i, l := range lines {
		var before table.Line
		if i > 0 {
			before = lines[i-1]
		}
		if i == 0 || l.Horse != before.Horse {
			d.Horses = append(d.Horses, horseSummary{Name: l.Horse})
		}
		h := &d.Horses[len(d.Horses)-1]
		if len(h.Groups) == 0 || h.Groups[len(h.Groups)-1].Course != l.Course {
			h.Groups = append(h.Groups, lineSummary{Course: l.Course})
		}
		g := &h.Groups[len(h.Groups)-1]
		if n := len(g.Rows); n == 0 || g.Rows[n-1].Line != l.Line || g.Rows[n-1].Direction != l.Direction {
			g.Rows = append(g.Rows, summaryRow{Line: l.Line, Direction: l.Direction, Within: l.Direction != table.AllDirections})
		}
		row = &g.Rows[len(g.Rows)-1]
		switch l.Figure {
		case "duration_s": // every stride has it
			row.Rides, row.Strides, row.OneRide = l.Rides, l.N, l.Rides == 1 && l.Low != nil
			d.OneRide = d.OneRide || row.OneRide
			row.Time = figureOf(l, 1, 3)
		case "length_m":
			row.Length = figureOf(l, perM, decimals)
			if l.SD != nil {
				row.Spread.Value = strconv.FormatFloat(*l.SD*perM, 'f', decimals, 64)
			}
		case "speed_m_s":
			row.Speed = figureOf(l, perM, decimals)
		case "strides_in_line":
			row.Counted = figureOf(l, 1, 1)
		}
	}
	for i := range d.Horses {
		for k := range d.Horses[i].Groups {
			g := &d.Horses[i].Groups[k]
			g.Rows = oneWay(g.Rows)
		}
	}
}

// oneWay joins the rows of each line that was ridden in one direction only.
func oneWay(rows []summaryRow) []summaryRow {
	var out []summaryRow
	for i := 0; i < len(rows); {
		end := i + 1
		for end < len(rows) && rows[end].Line == rows[i].Line {
			end++
		}
		if end == i+2 && rows[i].Line != table.AllLines {
			rows[i].Direction = rows[i+1].Direction
			out = append(out, rows[i])
		} else {
			out = append(out, rows[i:end]...)
		}
		i = end
	}
	return out
}

func figureOf(l table.Line, scale float64, decimals int) figureView {
	text := func(v float64) string { return strconv.FormatFloat(v*scale, 'f', decimals, 64) }
	f := figureView{Value: text(l.Mean)}
	if l.Low != nil && l.High != nil {
		f.Between = text(*l.Low) + " to " + text(*l.High)
	}
	return f
}

// columnView is a row of the data dictionary.
type columnView struct {
	table.Column
	Type string
}

// columnsPage is the data dictionary for people.
func (s *Room) columnsPage(w http.ResponseWriter, r *http.Request) {
	var rows []columnView
	for _, c := range table.Columns() {
		rows = append(rows, columnView{c, typeOf(c.Kind)})
	}
	s.Show(w, r, http.StatusOK, "strides_columns.html", shell.View{Title: "Columns of the stride table", Here: "strides", Data: rows})
}

func typeOf(k table.Kind) string {
	switch k {
	case table.Count:
		return "whole number"
	case table.Number:
		return "number"
	}
	return "text"
}

// dictionary is the data dictionary as the command writes it.
func dictionary() (*download, error) {
	var b bytes.Buffer
	err := table.Dictionary(&b)
	return &download{name: "strides-columns.csv", kind: kindOfTable(table.CSV), data: b.Bytes()}, err
}

// columnsCSV is the data dictionary as the command writes it.
func (s *Room) columnsCSV(w http.ResponseWriter, r *http.Request) {
	d, err := dictionary()
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	s.send(w, r, d)
}

// columnsAPI is the data dictionary for programs.
func (s *Room) columnsAPI(w http.ResponseWriter, r *http.Request) {
	q, _, err := s.readStrides(r.Context(), r.URL.Query(), []table.Format{asJSON, table.CSV})
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	if q.format == table.CSV {
		s.columnsCSV(w, r)
		return
	}
	type column struct {
		Name    string `json:"name"`
		Type    string `json:"type"`
		Unit    string `json:"unit"`
		Missing bool   `json:"missing"`
		Locates bool   `json:"locates"`
		Meaning string `json:"meaning"`
		Derived string `json:"derived"`
	}
	var columns []column
	for _, c := range table.Columns() {
		columns = append(columns, column{c.Name, typeOf(c.Kind), c.Unit, !c.Required, c.Locates, c.Meaning, c.Derived})
	}
	shell.Answer(w, http.StatusOK, map[string]any{"schema": table.Schema, "columns": columns})
}
