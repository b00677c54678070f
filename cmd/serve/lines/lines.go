package lines

import (
	"cmp"
	"fmt"
	"groundline/cmd/serve/shell"
	"groundline/course"
	"groundline/report"
	"groundline/report/keep"
	"groundline/report/layout"
	"groundline/trace"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
)

// Address is where the attempts at a line are.
func Address(courseID int64, from, to string) string {
	return fmt.Sprintf("/courses/%d/lines/%s/%s", courseID, segment(from), segment(to))
}

// segment is a name as one part of an address's path. A name of dots alone would mean another folder.
func segment(name string) string {
	if strings.Trim(name, ".") == "" {
		return strings.ReplaceAll(name, ".", "%2E")
	}
	return url.PathEscape(name)
}

// mostAttempts is how many attempts a page has: more are narrowed by horse or day.
const mostAttempts = 200

// lineView are the attempts at one line.
type lineView struct {
	Course    keep.Course
	From, To  string
	Line      string // as the comparison takes it
	Horses    []shell.Pick
	Many      bool // horses: too many for boxes to tick
	FromDay   string
	ToDay     string
	Narrowed  bool
	Shown     []shell.Pick // figures that may be drawn
	Columns   []attemptColumn
	Attempts  []attemptRow
	Total     int
	Cut       bool // not all are shown
	Chart     template.HTML
	Drawn     int      // how many attempts the chart has, where not all
	Words     []string // what the chart shows
	Key       []horseKey
	Lines     []RiddenRow // the other lines of the course
	Here      string      // this address without its query
	SortField string
	Figure    string
	Turning   bool
	Estimated bool
}

// attemptColumn is a column's head, which sorts by it.
type attemptColumn struct {
	Name, Href, Sorted string // Sorted as aria-sort has it; "" for not
}

type attemptRow struct {
	keep.Attempt
	Value   string // of the checkbox
	Nth     string // "2nd, round 1"; "" for the only one
	Strides string
	Each    string
	InOut   string
	Time    string
	Track   string
	Radius  string
	Rode    string
	Mark    template.HTML
}

// lineFigure is a figure of an attempt that can be drawn and sorted by.
type lineFigure struct {
	name string // in addresses
	key  report.Key
	of   func(keep.Attempt) *trace.Estimate
}

func lineFigures() []lineFigure {
	return []lineFigure{
		{"length", report.StrideLength, func(a keep.Attempt) *trace.Estimate { return a.StrideLengthM }},
		{"strides", report.Strides, func(a keep.Attempt) *trace.Estimate { return a.Strides }},
		{"in", report.SpeedIn, func(a keep.Attempt) *trace.Estimate { return a.SpeedInMS }},
		{"out", report.SpeedOut, func(a keep.Attempt) *trace.Estimate { return a.SpeedOutMS }},
		{"pace", report.Speed, func(a keep.Attempt) *trace.Estimate { return a.SpeedMS }},
		{"time", report.StrideTime, func(a keep.Attempt) *trace.Estimate { return a.StrideS }},
		{"track", report.Track, func(a keep.Attempt) *trace.Estimate { return a.TrackM }},
		{"radius", report.Radius, func(a keep.Attempt) *trace.Estimate { return a.RadiusMinM }},
		{"rode", report.OffUsual, func(a keep.Attempt) *trace.Estimate { return a.PerStrideM }},
	}
}

func figureNamed(name string) (lineFigure, bool) {
	for _, f := range lineFigures() {
		if f.name == name {
			return f, true
		}
	}
	return lineFigure{}, false
}

// showLine lists all attempts at a line of a course, by any horse on any day, drawn over time and to be picked from for
// comparing.
func (s *Room) showLine(w http.ResponseWriter, r *http.Request) {
	ctx, q, units := r.Context(), r.URL.Query(), shell.UnitsOf(r)
	c, err := s.OfCourse(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	v := lineView{Course: c, From: r.PathValue("from"), To: r.PathValue("to"), FromDay: q.Get("from"), ToDay: q.Get("to"), SortField: q.Get("sort"), Figure: q.Get("figure")}
	v.Line, v.Here = v.From+"-"+v.To, Address(c.ID, v.From, v.To)
	filter, err := attemptFilter(q)
	if err == nil {
		v.Horses, err = s.HorsePicks(ctx, 0)
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	for i := range v.Horses {
		id, _ := strconv.ParseInt(v.Horses[i].Value, 10, 64)
		v.Horses[i].Chosen = slices.Contains(filter.HorseIDs, id)
	}
	const mostBoxes = 8
	v.Many = len(v.Horses) > mostBoxes
	v.Narrowed = len(filter.HorseIDs) > 0 || v.FromDay != "" || v.ToDay != ""
	filter.Limit = mostAttempts
	list, total, err := s.Store.Attempts(ctx, c.ID, v.From, v.To, filter)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	v.Total, v.Cut = total, total > len(list)
	if err := s.otherLines(r, &v); err != nil {
		s.Fail(w, r, err)
		return
	}
	if total == 0 && !v.Narrowed && !slices.ContainsFunc(v.Lines, func(l RiddenRow) bool { return l.From == v.From && l.To == v.To }) {
		if plan, _, err := s.Store.Plan(ctx, c.VersionID); err != nil || !hasObstacles(plan, v.From, v.To) {
			s.Fail(w, r, shell.Refusal{Status: http.StatusNotFound, Err: fmt.Errorf("%s has no line from %s to %s", shell.Cleaned(c.Name), shell.Short(shell.Cleaned(v.From)), shell.Short(shell.Cleaned(v.To)))})
			return
		}
	}
	shown, ok := figureNamed(v.Figure)
	if !ok {
		if v.Figure != "" {
			s.Fail(w, r, shell.BadRequest("figure: %q, expected one of the list", shell.Short(shell.Cleaned(v.Figure))))
			return
		}
		shown = lineFigures()[0]
	}
	for _, f := range lineFigures() {
		if f.name != "rode" && slices.ContainsFunc(list, func(a keep.Attempt) bool { return f.of(a) != nil }) {
			v.Shown = append(v.Shown, shell.Pick{Value: f.name, Text: f.key.Name(), Chosen: f.name == shown.name})
		}
	}
	marks := marksOf(list[:min(len(list), mostDrawn)])
	if len(list) > mostDrawn {
		v.Drawn = mostDrawn
	}
	v.Chart, v.Words = attemptChart(list, shown, marks, units)
	v.Key = marks.key(list[:min(len(list), mostDrawn)])
	if err := sortAttempts(list, v.SortField); err != nil {
		s.Fail(w, r, err)
		return
	}
	v.Turning = slices.ContainsFunc(list, func(a keep.Attempt) bool { return a.Kind != "related" && a.Kind != "combination" })
	v.Estimated = slices.ContainsFunc(list, func(a keep.Attempt) bool { return a.StridesBy == "estimated" })
	v.Columns = attemptColumns(v, q, units)
	many := map[int64]int{}
	for _, a := range list {
		many[a.RideID]++
	}
	for _, a := range list {
		v.Attempts = append(v.Attempts, rowOfAttempt(a, many[a.RideID], marks, units))
	}
	s.Show(w, r, http.StatusOK, "course_line.html", shell.View{Title: fmt.Sprintf("%s to %s, %s", v.From, v.To, c.Name), Here: "courses", Data: v})
}

func (s *Room) otherLines(r *http.Request, v *lineView) error {
	ridden, err := s.Store.RiddenLines(r.Context(), v.Course.ID)
	if err != nil {
		return err
	}
	if plan, _, err := s.Store.Plan(r.Context(), v.Course.VersionID); err == nil {
		ridden = AlongRoute(ridden, plan)
	}
	for _, l := range ridden {
		v.Lines = append(v.Lines, RiddenRow{l, Address(v.Course.ID, l.From, l.To)})
	}
	return nil
}

func rowOfAttempt(a keep.Attempt, ofRide int, marks marks, units report.Units) attemptRow {
	tell := func(k report.Key, e *trace.Estimate) string {
		if e == nil {
			return ""
		}
		return k.Measured(*e, units, false)
	}
	row := attemptRow{Attempt: a, Value: fmt.Sprintf("%d.%d", a.RideID, a.Attempt), Strides: tell(report.Strides, a.Strides), Each: tell(report.StrideLength, a.StrideLengthM),
		Time: tell(report.StrideTime, a.StrideS), Track: tell(report.Track, a.TrackM), Radius: tell(report.Radius, a.RadiusMinM), Mark: marks.svg(a.HorseID)}
	if a.StridesBy == "estimated" {
		row.Strides = "~" + row.Strides
	}
	in, out := tell(report.SpeedIn, a.SpeedInMS), tell(report.SpeedOut, a.SpeedOutMS)
	switch {
	case in != "" && out != "":
		row.InOut = in + ", " + out
	case a.SpeedMS != nil:
		row.InOut = "mean " + tell(report.Speed, a.SpeedMS)
	}
	row.Rode = report.FitWords(report.StoredFit(a.PerStrideM, a.Says), units)
	var said []string
	if ofRide > 1 {
		said = append(said, layout.Ordinal(a.Attempt))
	}
	if a.Round != nil {
		said = append(said, fmt.Sprintf("round %d", *a.Round))
	}
	if a.StartS != nil && ofRide > 1 {
		said = append(said, "at "+shell.RideClock(*a.StartS)+" of the ride")
	}
	row.Nth = strings.Join(said, ", ")
	return row
}

// attemptColumns are the heads of the table, each with the address that sorts by it, the other way on again.
func attemptColumns(v lineView, q url.Values, units report.Units) []attemptColumn {
	heads := []struct{ field, name string }{{"when", "Ridden"}, {"horse", "Horse"}, {"strides", report.Strides.Head(units)}, {"length", report.StrideLength.Head(units)},
		{"in", "pace in, out, m/min"}, {"time", report.StrideTime.Head(units)}}
	if v.Turning {
		heads = append(heads, struct{ field, name string }{"track", report.Track.Head(units)}, struct{ field, name string }{"radius", report.Radius.Head(units)})
	}
	heads = append(heads, struct{ field, name string }{"rode", "rode"})
	var out []attemptColumn
	for _, h := range heads {
		to, sorted := h.field, ""
		switch v.SortField {
		case h.field:
			to, sorted = "-"+h.field, "ascending"
		case "-" + h.field:
			sorted = "descending"
		}
		if v.SortField == "" && h.field == "when" {
			sorted = "descending"
		}
		only := url.Values{"sort": {to}}
		for _, k := range []string{"horse_id", "from", "to", "figure"} {
			if x := q[k]; len(x) > 0 && x[0] != "" {
				only[k] = x
			}
		}
		name := []rune(h.name)
		out = append(out, attemptColumn{strings.ToUpper(string(name[:1])) + string(name[1:]), v.Here + "?" + only.Encode() + "#attempts", sorted})
	}
	return out
}

// sortAttempts orders attempts by a field, a dash before it for the other way; those without the figure come last.
func sortAttempts(list []keep.Attempt, field string) error {
	name, down := strings.CutPrefix(field, "-")
	sign := 1
	if down {
		sign = -1
	}
	switch name {
	case "":
		if down {
			return shell.BadRequest("sort: %q, expected a column", field)
		}
	case "when":
		slices.SortStableFunc(list, func(a, b keep.Attempt) int {
			return sign * cmp.Or(a.RiddenAt.Compare(b.RiddenAt), cmp.Compare(a.RideID, b.RideID), cmp.Compare(a.Nth, b.Nth))
		})
	case "horse":
		slices.SortStableFunc(list, func(a, b keep.Attempt) int {
			return sign * cmp.Compare(strings.ToLower(a.Horse), strings.ToLower(b.Horse))
		})
	default:
		f, ok := figureNamed(name)
		if !ok {
			return shell.BadRequest("sort: %q, expected a column", shell.Short(shell.Cleaned(field)))
		}
		slices.SortStableFunc(list, func(a, b keep.Attempt) int {
			x, y := f.of(a), f.of(b)
			if x == nil || y == nil {
				return shell.Btoi(x == nil) - shell.Btoi(y == nil)
			}
			return sign * cmp.Compare(x.Value, y.Value)
		})
	}
	return nil
}

type RiddenRow struct {
	keep.RiddenLine
	Href string
}

// AlongRoute puts the lines of a plan's route in its order, and behind them the others as they come.
func AlongRoute(ridden []keep.RiddenLine, plan *course.Plan) []keep.RiddenLine {
	place := func(l keep.RiddenLine) int {
		if i := slices.IndexFunc(plan.Lines, func(x course.Line) bool { return x.From == l.From && x.To == l.To }); i >= 0 {
			return i
		}
		return len(plan.Lines)
	}
	slices.SortStableFunc(ridden, func(a, b keep.RiddenLine) int { return place(a) - place(b) })
	return ridden
}
