package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"

	"groundline/course"
	"groundline/report/layout"
	"groundline/trace"
)

// WalkOptions are the choices of who walks a course on paper.
type WalkOptions struct {
	Units Units // Metric when empty
	Bold  bool  // headings in bold, for a terminal that shows it
}

const (
	// A track that bows out less than this is ridden straight (ours).
	toldOutsideM = 0.3
	// A turn wider than this asks for nothing: a lean of 3° at 350 m/min.
	toldRadiusM = 60.0
	// A wide turn that costs less than this is no choice (ours: half a stride).
	toldLongerM = 1.5
)

// WalkTold is a walk in words, of which the text and the page are made: figures have their doubt, lengths their unit in a
// column's head.
type WalkTold struct {
	Title string
	About []string // the course in short; the horse as it was taken
	Unit  string   // of the lengths in Lines
	Lines []WalkToldLine
	Key   string   // what the columns mean; "" without lines
	Track []string // the whole track, its time, the ground
	// Look is what should be looked at, each with why and by which source.
	Look     []string
	Cautions string
}

// WalkToldLine is a line of the route. Words stand below its rows, then come the tracks of a bending line with theirs, then More.
type WalkToldLine struct {
	From, To string
	// Rows are the number of strides that the ground has, then one less and one more where that is told; one row without strides
	// where nobody counts.
	Rows   []WalkToldRow
	Words  []string
	Tracks []WalkToldRow
	More   []string
}

// WalkToldRow is a number of strides and what it asks.
type WalkToldRow struct{ Ground, Strides, Each, Fit, Chance, Words string }

// TellWalk words what a course asks of one horse. It is refused, as by [Text], when a figure is NaN or infinite. warnings are
// those of reading the plan.
func TellWalk(p *course.Plan, w course.Walk, warnings []course.Warning, units Units) (WalkTold, error) {
	if err := WriteJSON(io.Discard, WalkOf(p, w, warnings), "walk"); err != nil {
		return WalkTold{}, err
	}
	if units == "" {
		units = Metric
	}
	t := &walker{units: units, p: p, w: w}
	told := WalkTold{Unit: units.length().unit, Track: trackWords(p, w.Figures), Cautions: t.cautions(),
		Look: warningWords(append(append([]course.Warning{}, warnings...), w.Figures.Warnings...))}
	t.head(&told)
	t.lines(&told)
	return told, nil
}

// WalkText tells what a course asks of one horse, for who reads it beside the ring before the ride: the horse as it was
// taken, the lines in the order of the route, the whole track and its time, what should be looked at, and the cautions once.
// It is refused, as by [Text], when a figure is NaN or infinite. warnings are those of reading the plan.
func WalkText(out io.Writer, p *course.Plan, w course.Walk, warnings []course.Warning, opt WalkOptions) error {
	told, err := TellWalk(p, w, warnings, opt.Units)
	if err != nil {
		return err
	}
	buffer := bufio.NewWriter(out)
	pg := &page{layout.Page{Out: buffer, Bold: opt.Bold}}
	pg.title(told.Title)
	for _, words := range told.About {
		pg.Para("", 0, words)
	}
	writeWalkLines(pg, told)
	writePlanTrack(pg, p, w.Figures)
	writeWarnings(pg, append(append([]course.Warning{}, warnings...), w.Figures.Warnings...))
	pg.Blank()
	pg.Para("", 0, told.Cautions)
	return buffer.Flush()
}

func writeWalkLines(pg *page, told WalkTold) {
	if len(told.Lines) == 0 {
		return
	}
	var rows []tableRow
	add := func(name string, r WalkToldRow) {
		rows = append(rows, tableRow{cells: []string{name, r.Ground, r.Strides, r.Each, r.Fit, r.Chance}})
	}
	below := func(said ...string) {
		for _, words := range said {
			rows = append(rows, tableRow{below: words})
		}
	}
	for _, l := range told.Lines {
		for i, r := range l.Rows {
			name := ""
			if i == 0 {
				name = l.From + " to " + l.To
			}
			add(name, r)
		}
		below(l.Words...)
		for _, r := range l.Tracks {
			add("", r)
			below(r.Words)
		}
		below(l.More...)
	}
	pg.table([]string{"Lines, " + told.Unit, "ground", "strides", "each", "for this horse", "chance"}, rows)
	pg.Para(" ", 1, told.Key)
}

// walker words a walk.
type walker struct {
	units Units
	p     *course.Plan
	w     course.Walk
}

func (t *walker) head(told *WalkTold) {
	h := t.w.Horse
	name := h.Name
	switch {
	case name == "" && h.Size == "":
		name = "the horse"
	case name == "" || name == h.Size:
		name = "a " + h.Size
	case h.Size != "":
		name += ", " + h.Size
	}
	told.Title = courseName(t.p.Name) + ", walked for " + name
	f := t.w.Figures
	about := fmt.Sprintf("%s, %s; route %s.", layout.Count(f.Obstacles, "obstacle"), layout.Count(f.Efforts, "effort"), strings.Join(t.p.Route, " "))
	q := t.units.length()
	words := "Stride " + q.measured(h.StrideM)
	if h.HoofLandingM != nil {
		words += fmt.Sprintf("; lands %s behind a fence, takes off %s in front (hooves)", q.measured(*h.HoofLandingM), q.measured(h.TakeoffM))
	} else {
		words += fmt.Sprintf("; landing %s and take-off %s, half a stride each", q.measured(h.LandingM), q.measured(h.TakeoffM))
	}
	words += "; " + pace().measured(t.w.SpeedMS)
	switch {
	case h.SpeedMS == nil && t.p.SpeedMMin > 0:
		words += ", the class speed"
	case h.SpeedMS == nil:
		words += ", as no pace is known"
	case h.TurnMS != nil:
		words += ", in rollbacks " + pace().measured(*h.TurnMS)
	}
	if h.StridePerMS != nil && h.SpeedMS != nil {
		per := trace.Estimate{Value: h.StridePerMS.Value / 6, Low: h.StridePerMS.Low / 6, High: h.StridePerMS.High / 6}
		words += fmt.Sprintf("; 10 m/min more pace makes the stride %s longer", q.measured(per))
	}
	told.About = []string{about, words + ". From: " + strings.TrimSuffix(h.Source, ".") + "."}
}

func (t *walker) lines(told *WalkTold) {
	if len(t.w.Lines) == 0 {
		return
	}
	q, r := t.units.length(), t.units.radius()
	beyond := false
	asked := func(a course.Asked, words string) WalkToldRow {
		beyond = beyond || !a.CanBeRidden
		return WalkToldRow{Strides: words, Each: q.bare(a.StrideM), Fit: t.fit(a, q.bare), Chance: chance(a.Chance)}
	}
	for _, l := range t.w.Lines {
		line, ground := WalkToldLine{From: l.From, To: l.To}, q.bare(l.GroundM)
		if c := l.Turn; c != nil {
			// The way of a rollback is the rider's choice.
			if ground = r.bareNumber(c.Cut.LengthM); c.LongerM.Value >= toldLongerM {
				ground += " to " + r.bareNumber(c.Wide.LengthM)
			}
		}
		if !t.counts(l) {
			line.Rows = []WalkToldRow{{Ground: ground}}
		} else {
			first := WalkToldRow{Strides: fmt.Sprintf("%d (%s)", l.Whole, strides().bare(l.Real))}
			if a := askedFor(l, l.Whole); a != nil {
				first = asked(*a, first.Strides)
			}
			first.Ground = ground
			line.Rows = append(line.Rows, first)
			for _, a := range l.Asked {
				if a.Strides != l.Whole && l.Kind != course.Bending {
					line.Rows = append(line.Rows, asked(a, fmt.Sprintf("or %d", a.Strides)))
				}
			}
		}
		kind := string(l.Kind)
		if t.counts(l) && l.Whole == 0 {
			kind += ", a bounce"
		}
		line.Words = append(line.Words, sentence(append([]string{kind}, t.ground(l)...)))
		if len(l.In) > 0 {
			line.Words = append(line.Words, t.cameIn(l))
		}
		for _, b := range l.Tracks {
			chances := ""
			if a := askedFor(l, b.Strides); a != nil {
				chances = chance(a.Chance)
			}
			line.Tracks = append(line.Tracks, WalkToldRow{r.bareNumber(b.LengthM), fmt.Sprintf("on %d", b.Strides), q.bare(b.Asked.StrideM), t.fit(b.Asked, q.bare), chances, t.track(b)})
		}
		if l.Kind == course.Bending && len(l.Tracks) == 0 {
			line.More = append(line.More, "No track was found that can be ridden at this pace in the arena.")
		}
		if l.Turn != nil {
			line.More = append(line.More, t.turn(*l.Turn)...)
		}
		told.Lines = append(told.Lines, line)
	}
	key := "Strides: whole, and as many as the ground has. Each: what that number asks of a stride. Chance: how often this horse would go " +
		"on that number unasked. ? not settled."
	if beyond {
		key += " ! beyond what horses are asked for."
	}
	told.Key = key + " ± holds nine times in ten. Tracks and turns are as drawn on the plan."
}

// counts tells that riders count the strides of this line.
func (t *walker) counts(l course.WalkLine) bool {
	switch l.Kind {
	case course.Related, course.Bending, course.Combination:
		return l.Real.Value > -0.5
	}
	return false
}

func askedFor(l course.WalkLine, n int) *course.Asked {
	for i := range l.Asked {
		if l.Asked[i].Strides == n {
			return &l.Asked[i]
		}
	}
	return nil
}

// strides are counted; a tenth is the least worth telling.
func strides() quantity { return quantity{"strides", 1, 1} }

// fit is how a stride asked suits the horse: long or tight, with a ? where that is not beyond doubt and a ! where no
// horse is asked for it.
func (t *walker) fit(a course.Asked, tell func(trace.Estimate) string) string {
	words := "right"
	if a.Says != "right" {
		words = tell(size(a.PerStrideM)) + " " + a.Says
		if !t.units.length().beyondDoubt(a.PerStrideM) {
			words += "?"
		}
	}
	if !a.CanBeRidden {
		words += " !"
	}
	return words
}

// chance is a probability in steps of 5 %, the finest that few rides can tell; "" for hardly any.
func chance(p float64) string {
	switch r := 5 * math.Round(100*p/5); {
	case r >= 95:
		return "95 %+"
	case r < 5:
		return ""
	default:
		return fmt.Sprintf("%.0f %%", r)
	}
}

// ground is what slope and home do, and the turn of the way.
func (t *walker) ground(l course.WalkLine) []string {
	var said []string
	if g := l.Grade; g != nil && math.Abs(*g) >= toldGrade {
		word := "rises"
		if *g < 0 {
			word = "falls"
		}
		words := fmt.Sprintf("%s %.1f %%", word, 100*math.Abs(*g))
		if l.GradeM != nil && t.counts(l) {
			words += ": strides " + t.changed(*l.GradeM)
		}
		said = append(said, words)
	}
	if h := l.Homeward; h != nil && math.Abs(*h) > toldHomeward {
		word := "towards home"
		if *h < 0 {
			word = "away from home"
		}
		switch {
		case !t.counts(l):
		case l.HomewardM != nil:
			word += ": strides " + t.changed(*l.HomewardM)
		case *h > 0:
			word += ": horses open their stride, how much is not known of this one"
		}
		said = append(said, word)
	}
	if l.TightestM != nil && math.Abs(l.TurnedDeg) >= 1 && l.Kind != course.Rollback {
		side := "right"
		if l.TurnedDeg < 0 {
			side = "left"
		}
		said = append(said, fmt.Sprintf("turns %s %s", side, degrees().plain(math.Abs(l.TurnedDeg))))
		r := t.units.radius()
		switch {
		case l.Kind != course.Bending:
			said[len(said)-1] += ", radius " + r.plain(*l.TightestM)
		case l.Square != nil:
			said[len(said)-1] += fmt.Sprintf(" on one sweep with both fences square, %s outside at the middle, radius %s", r.plain(l.Square.OutsideM), r.plain(*l.Square.TightestM))
		}
	}
	return said
}

// changed is a change of length in words.
func (t *walker) changed(e trace.Estimate) string {
	q := t.units.length()
	word := "longer"
	if e.Value < 0 {
		word = "shorter"
	}
	if layout.Round(math.Abs(e.Value)*q.perSI, q.decimals) == 0 {
		return "as on the level ±" + q.doubt(q.half(e))
	}
	return q.measured(size(e)) + " " + word
}

// cameIn is what a weak or a forward jump in does to the way out, against coming in as usual: what the landing and the
// shorter strides lack. The size of such a jump is an assumption, so it is told as about.
func (t *walker) cameIn(l course.WalkLine) string {
	r, c := t.units.radius(), l.In[0]
	lacks := t.w.Horse.LandingM.Value - c.LandingM + float64(l.Whole)*(l.StrideM.Value-c.StrideM)
	words := "in weak: about " + r.plain(lacks) + " more to make up than usual"
	if l.Whole > 1 {
		words += ", " + t.units.length().plain(lacks/float64(l.Whole)) + " a stride"
	}
	return sentence([]string{words, "in forward: as much too much"})
}

// track is where a track of a bending line runs.
func (t *walker) track(b course.BendingTrack) string {
	r := t.units.radius()
	words := "straight across"
	if b.OutsideM >= toldOutsideM {
		words = r.plain(b.OutsideM) + " outside at the middle"
		if b.TightestM != nil && *b.TightestM < toldRadiusM {
			words += ", radius " + r.plain(*b.TightestM)
		}
	}
	if b.AskewDeg >= 1 {
		return sentence([]string{words + ", fences " + degrees().plain(b.AskewDeg) + " off square"})
	}
	return sentence([]string{words + ", fences square"})
}

// turn is the choice that a rollback leaves.
func (t *walker) turn(c course.TurnChoice) []string {
	r := t.units.radius()
	tell := func(u course.Turn) string {
		return fmt.Sprintf("%s in %s, radius %s, lean %s", r.plain(u.LengthM), tenths().measured(u.TimeS), r.plain(u.RadiusM), degrees().plain(u.LeanDeg))
	}
	at := " at " + pace().measured(t.w.TurnMS)
	switch {
	case c.Cut.OutsideM > 0.1:
		return []string{sentence([]string{"no room" + at + ": the tightest sensible turn, " + tell(c.Cut) + ", leaves the arena by " + r.plain(c.Cut.OutsideM) + "; come slower"})}
	case len(c.Cut.Through) > 0:
		return []string{sentence([]string{"no turn" + at + " misses every obstacle: the shortest, " + tell(c.Cut) + ", runs through " + strings.Join(c.Cut.Through, ", ")})}
	case c.LongerM.Value < toldLongerM:
		return []string{sentence([]string{"one turn" + at + ": " + tell(c.Cut)})}
	}
	return []string{sentence([]string{"cut" + at + ": " + tell(c.Cut)}),
		sentence([]string{fmt.Sprintf("wide: %s: %s and %s more", tell(c.Wide), t.units.length().measured(c.LongerM), seconds().measured(c.LaterS))})}
}

// tenths are seconds of a turn's time, which nobody times finer.
func tenths() quantity { return quantity{"s", 1, 1} }

// sentence joins what is said, begins with a capital and ends with a full stop.
func sentence(said []string) string {
	var parts []string
	for _, s := range said {
		if s != "" {
			parts = append(parts, s)
		}
	}
	if len(parts) == 0 {
		return ""
	}
	s := strings.Join(parts, "; ")
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

// cautions once: what every reader of distances should know, and who decides.
func (t *walker) cautions() string {
	words := []string{}
	for _, c := range t.w.Figures.Cautions {
		words = append(words, c.What+" "+c.Why)
	}
	return strings.Join(append(words, rulesDecide), " ")
}

const rulesDecide = "The rules in force decide length, time and what may be asked."

// bareNumber is a figure without doubt and unit, for tables.
func (q quantity) bareNumber(si float64) string { return layout.Number(si*q.perSI, q.decimals) }
