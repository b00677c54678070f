package horses

import (
	"errors"
	"fmt"
	"groundline/cmd/serve/shell"
	"groundline/course/horse"
	"groundline/report"
	"groundline/report/keep"
	"groundline/report/layout"
	"groundline/report/record"
	"groundline/trace"
	"html/template"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
)

// horseView is a horse with its record.
type horseView struct {
	Horse    keep.Horse
	Rides    string // address of the list of its rides
	Form     horseForm
	Courses  []shell.Pick // to walk for it
	Told     bool         // there is a ride to tell of
	HasFile  bool         // the rides give a horse for a walk
	Figures  []figureRow
	Pace     horseChart
	PaceRows []paceRow
	Beyond   string // how much a m/s more of pace brings
	Times    []horseChart
	Trends   []string
	Edges    horseChart
	EdgeRows []edgeRow
	Ground   []groundRow
	Why      []string // what slope and home can't tell
	On       behind   // the rides of slope and home
	Leads    []leadRow
	WithTurn string
	Refusals string
	RefusalsOn,
	LeadsOn behind
	List []horseRideRow
	More int // rides that the list leaves out
	Unit string
	Look []trace.Note // cautions
	Info []trace.Note
}

// horseForm is what can be said of a horse.
type horseForm struct {
	Wrong, Name, Note string
	Sizes             []shell.Pick
}

// figureRow is a figure of the record.
type figureRow struct {
	Name, Usual, Next, Differ, Of string
	On                            behind
}

// behind are the rides behind a figure, the newest first and no more than a page can take.
type behind struct {
	Count int
	Links []rideLink
	More  int
}

type rideLink struct {
	Href, Text string
}

type paceRow struct{ Pace, Stride string }

type edgeRow struct{ Name, Takeoff, Landing, Of string }

type groundRow struct{ Name, Pace, Stride string }

type leadRow struct{ Turn, In, Out string }

type horseRideRow struct {
	ID                                                   int64
	At                                                   *time.Time
	Course, Stride, Time, Pace, Rhythm, Takeoff, Landing string
}

// A figure names so many of its rides, and the list has so many; the others are in the list of rides.
const mostBehind, mostListed = 12, 20

// showHorse is a horse with its record.
func (s *Room) showHorse(w http.ResponseWriter, r *http.Request) {
	h, err := s.OfHorse(r)
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	s.answerHorse(w, r, http.StatusOK, h, horseForm{Name: h.Name, Note: h.Note, Sizes: shell.SizePicks(h.Size)})
}

func (s *Room) answerHorse(w http.ResponseWriter, r *http.Request, status int, h keep.Horse, form horseForm) {
	rec, err := s.record(r.Context(), h)
	var courses []keep.Course
	if err == nil {
		courses, err = s.Store.Courses(r.Context())
	}
	if err != nil {
		s.Fail(w, r, err)
		return
	}
	v := horseView{Horse: h, Form: form, Rides: fmt.Sprintf("/?horse_id=%d", h.ID)}
	for _, c := range courses {
		if !c.PutAway {
			v.Courses = append(v.Courses, shell.Pick{Value: strconv.FormatInt(c.ID, 10), Text: c.Name, Chosen: false})
		}
	}
	recordView{rec, shell.UnitsOf(r), ridesOf(rec)}.fill(&v)
	s.Show(w, r, status, "horse.html", shell.View{Title: h.Name, Here: "horses", Data: v})
}

// recordView words a record.
type recordView struct {
	*record.Record
	units report.Units
	by    map[int64]record.RideFigures
}

func ridesOf(rec *record.Record) map[int64]record.RideFigures {
	by := map[int64]record.RideFigures{}
	for _, r := range rec.Rides {
		by[r.ID] = r
	}
	return by
}

// fill tells the record in words and figures.
func (r recordView) fill(v *horseView) {
	v.Told = len(r.Rides) > 0
	_, err := r.CourseHorse()
	v.HasFile = !errors.Is(err, horse.ErrNoLine)
	v.Unit = shell.UnitName(report.StrideLength, r.units)
	r.figures(v)
	if p := r.Record.Pace; p != nil {
		v.Pace = r.paceChart()
		for _, q := range p.Table {
			v.PaceRows = append(v.PaceRows, paceRow{layout.Number(q.SpeedMS*60, 0), report.StrideLength.Measured(q.StrideM, r.units, false)})
		}
		// People think in steps of 25 m/min.
		const step = 25.0 / 60
		e := trace.Estimate{Value: p.PerMS.Value * step, Low: p.PerMS.Low * step, High: p.PerMS.High * step}
		v.Beyond = "25 m/min more make each stride " + shell.WithUnit(report.StrideLength, e, r.units) + " longer."
		if e.Low <= 0 && e.High >= 0 {
			v.Beyond = "Whether its stride grows with the pace is not settled by these rides."
		}
	}
	r.times(v)
	r.edges(v)
	r.ground(v)
	r.leads(v)
	for _, q := range slices.Backward(r.Rides) {
		if len(v.List) == mostListed {
			v.More = len(r.Rides) - mostListed
			break
		}
		row := horseRideRow{ID: q.ID, At: dateOf(q), Course: q.Course}
		for _, c := range []struct {
			to  *string
			key report.Key
			e   *trace.Estimate
		}{{&row.Stride, report.StrideLength, q.StrideM}, {&row.Time, report.StrideTime, q.StrideS}, {&row.Pace, report.Speed, q.SpeedMS},
			{&row.Rhythm, report.Rhythm, q.RhythmCV}, {&row.Takeoff, report.Takeoff, q.TakeoffM}, {&row.Landing, report.Landing, q.LandingM}} {
			if c.e != nil {
				*c.to = c.key.Measured(*c.e, r.units, false)
			}
		}
		v.List = append(v.List, row)
	}
	for _, n := range r.Notes {
		if n.Level == "info" {
			v.Info = append(v.Info, n)
		} else {
			v.Look = append(v.Look, n)
		}
	}
}

func dateOf(q record.RideFigures) *time.Time {
	if q.At == nil {
		return nil
	}
	t, err := time.Parse(time.RFC3339, *q.At)
	if err != nil {
		return nil
	}
	return &t
}

// ranged is an interval: "3.1 to 3.8 m".
func ranged(k report.Key, e trace.Estimate, u report.Units) string {
	half := (e.High - e.Low) / 2 * k.PerSI(u)
	decimals := layout.Decimals(half, 3)
	said := layout.Number(e.Low*k.PerSI(u), decimals) + " to " + layout.Number(e.High*k.PerSI(u), decimals)
	return strings.TrimSpace(said + " " + shell.UnitName(k, u))
}

// behind names the rides of a figure.
func (r recordView) behind(ids []int64, count int) behind {
	b := behind{Count: count}
	for _, id := range slices.Backward(ids) {
		if len(b.Links) == mostBehind {
			b.More = len(ids) - mostBehind
			break
		}
		text := fmt.Sprintf("ride %d", id)
		if at := dateOf(r.by[id]); at != nil {
			text = at.Format("2 Jan 2006, 15:04")
		}
		b.Links = append(b.Links, rideLink{fmt.Sprintf("/rides/%d", id), text})
	}
	return b
}

func (r recordView) figures(v *horseView) {
	if p := r.Record.Pace; p != nil {
		v.Figures = append(v.Figures, figureRow{Name: fmt.Sprintf("Stride at its usual pace, %s m/min", layout.Number(p.UsualMS*60, 0)), Usual: shell.WithUnit(report.StrideLength, p.UsualM, r.units),
			Of: layout.Count(p.N, "line"), On: r.behind(p.Rides, p.Count)})
	}
	for _, f := range []struct {
		name, noun string
		key        report.Key
		of         *record.Figure
	}{
		{"Stride at any pace", "line", report.StrideLength, r.StrideM},
		{"Time of a stride", "line", report.StrideTime, r.StrideS},
		{"Pace between fences", "line", report.Speed, r.SpeedMS},
		{"Take-off before a fence", "jump", report.Takeoff, r.TakeoffM.All},
		{"Landing behind it", "jump", report.Landing, r.LandingM.All},
		{"Rhythm: stride times vary by", "", report.Rhythm, r.Record.Rhythm.CV},
	} {
		if f.of == nil {
			continue
		}
		row := figureRow{Name: f.name, Usual: shell.WithUnit(f.key, f.of.Mean, r.units), Next: ranged(f.key, f.of.NextRide, r.units), Differ: "not known yet", On: r.behind(f.of.Rides, f.of.Count)}
		if b := f.of.BetweenSD; b != nil {
			row.Differ = ranged(f.key, *b, r.units)
		}
		if f.noun != "" {
			row.Of = layout.Count(f.of.N, f.noun)
		}
		v.Figures = append(v.Figures, row)
	}
}

func (r recordView) times(v *horseView) {
	stride := r.timeChart("Time of a stride", report.StrideTime, func(q record.RideFigures) *trace.Estimate { return q.StrideS })
	rhythm := r.timeChart("Rhythm: how much stride times vary within a line", report.Rhythm, func(q record.RideFigures) *trace.Estimate { return q.RhythmCV })
	for _, c := range []horseChart{stride, rhythm} {
		if c.SVG != "" {
			v.Times = append(v.Times, c)
		}
	}
	if len(v.Times) == 0 {
		return
	}
	if r.Record.Rhythm.Why != "" {
		v.Trends = append(v.Trends, shell.Capital(r.Record.Rhythm.Why)+".")
	}
	days := layout.Count(int(r.Record.Rhythm.Days+0.5), "day")
	if e := r.Record.Rhythm.StrideS; e != nil {
		v.Trends = append(v.Trends, trendWords("Stride time", *e, 1000, "ms", "longer", "shorter", days))
	}
	if e := r.Record.Rhythm.CVTrend; e != nil {
		v.Trends = append(v.Trends, trendWords("Rhythm", *e, 100, "percentage points", "less even", "more even", days))
	}
}

// trendWords tell a change in thirty days; perSI is how many of the unit make one of the figure's.
func trendWords(name string, e trace.Estimate, perSI float64, unit, more, less, days string) string {
	settled := e.Low > 0 || e.High < 0
	word := more
	if settled && e.Value < 0 {
		word, e = less, trace.Estimate{Value: -e.Value, Low: -e.High, High: -e.Low}
	}
	decimals := layout.Decimals((e.High-e.Low)/2*perSI, 2)
	n := func(x float64) string { return layout.Number(x*perSI, decimals) }
	if !settled {
		return fmt.Sprintf("%s: no change beyond doubt over %s; in 30 days between %s and +%s %s.", name, days, n(e.Low), n(e.High), unit)
	}
	return fmt.Sprintf("%s: %s %s %s in 30 days (%s to %s).", name, n(e.Value), unit, word, n(e.Low), n(e.High))
}

func (r recordView) edges(v *horseView) {
	type pair struct{ takeoff, landing *record.Figure }
	var names []string
	by := map[string]*pair{}
	add := func(name string, f *record.Figure, landing bool) {
		if by[name] == nil {
			by[name] = &pair{}
			names = append(names, name)
		}
		if landing {
			by[name].landing = f
		} else {
			by[name].takeoff = f
		}
	}
	for i, e := range []record.Edges{r.TakeoffM, r.LandingM} {
		landing := i == 1
		if e.All == nil {
			continue
		}
		add("All fences", e.All, landing)
		for _, k := range e.ByKind {
			add(shell.Capital(k.Kind), &k.Figure, landing)
		}
		for _, h := range e.ByHeight {
			name := fmt.Sprintf("%.2f to %.2f m", h.FromM, h.ToM-0.01)
			switch {
			case h.FromM == 0:
				name = fmt.Sprintf("Below %.2f m", h.ToM)
			case h.ToM > 3:
				name = fmt.Sprintf("%.2f m and higher", h.FromM)
			}
			add(name, &h.Figure, landing)
		}
	}
	var rows []edgeFigures
	for _, name := range names {
		p := by[name]
		row := edgeRow{Name: name}
		f := edgeFigures{name: name}
		if p.takeoff != nil {
			row.Takeoff, row.Of = report.Takeoff.Measured(p.takeoff.Mean, r.units, false), layout.Count(p.takeoff.N, "jump")
			f.takeoff = &p.takeoff.Mean
		}
		if p.landing != nil {
			row.Landing, row.Of = report.Landing.Measured(p.landing.Mean, r.units, false), layout.Count(p.landing.N, "jump")
			f.landing = &p.landing.Mean
		}
		v.EdgeRows = append(v.EdgeRows, row)
		rows = append(rows, f)
	}
	if len(rows) > 0 {
		v.Edges = r.edgeChart(rows)
	}
}

func (r recordView) ground(v *horseView) {
	effect := func(k report.Key, e *trace.Estimate) string {
		if e == nil {
			return "not told"
		}
		said := k.Measured(*e, r.units, true)
		if e.Low <= 0 && e.High >= 0 {
			said += " (not settled)"
		}
		return said
	}
	g := r.Record.Ground
	if g.Speed.Lines == 0 && g.Stride.Lines == 0 {
		if g.Speed.Why != "" && v.Told {
			v.Why = append(v.Why, shell.Capital(g.Speed.Why)+".")
		}
		return
	}
	if g.Speed.PerPercent != nil || g.Speed.Homeward != nil || g.Stride.PerPercent != nil || g.Stride.Homeward != nil {
		v.Ground = []groundRow{
			{"Each 1 % uphill", effect(report.Speed, g.Speed.PerPercent), effect(report.StrideLength, g.Stride.PerPercent)},
			{"Straight home, against square to it", effect(report.Speed, g.Speed.Homeward), effect(report.StrideLength, g.Stride.Homeward)},
		}
	}
	for _, why := range []string{g.Speed.Why, g.Stride.Why} {
		if why != "" && !slices.Contains(v.Why, shell.Capital(why)+".") {
			v.Why = append(v.Why, shell.Capital(why)+".")
		}
	}
	on := g.Speed
	if len(on.Rides) == 0 {
		on = g.Stride
	}
	v.On = r.behind(on.Rides, on.Count)
}

// rateWords are a share in words: "3 of 125, 2 % (1 to 6)".
func rateWords(q *record.Rate) string {
	if q == nil {
		return ""
	}
	percent := func(x float64) string { return layout.Number(100*x, 0) }
	return fmt.Sprintf("%d of %d, %s %% (%s to %s)", q.Events, q.Of, percent(q.Share.Value), percent(q.Share.Low), percent(q.Share.High))
}

func (r recordView) leads(v *horseView) {
	at := func(list []record.LeadsBy, turn string) *record.Rate {
		for _, l := range list {
			if l.Turn == turn {
				return &l.Left
			}
		}
		return nil
	}
	for _, turn := range []string{"left", "right", "straight"} {
		in, out := at(r.Record.Leads.In, turn), at(r.Record.Leads.Out, turn)
		if in == nil && out == nil {
			continue
		}
		name := "Line turns " + turn
		if turn == "straight" {
			name = "Straight line"
		}
		v.Leads = append(v.Leads, leadRow{name, rateWords(in), rateWords(out)})
	}
	if q := r.Record.Leads.WithTurn; q != nil {
		v.WithTurn = rateWords(q)
		v.LeadsOn = r.behind(q.Rides, q.Count)
	}
	if q := r.Disobediences; q != nil {
		v.Refusals = rateWords(q)
		v.RefusalsOn = r.behind(q.Rides, q.Count)
	}
}

// horseChart is a drawing with what it shows in words.
type horseChart struct {
	Title string
	SVG   template.HTML
	Words string
}
