package compare

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"groundline/report"
	"groundline/report/layout"
	"groundline/trace"
)

// The rules of the text. 80 columns. What changed comes first, in words, then each line's figures
// side by side, the rounds, what to bear in mind and the cautions. A difference that the recordings do not settle
// is told as not settled, never as none. Words neither praise nor blame. Bold headings are the only
// ornament, and carry no meaning.

// TextOptions are the reader's choices.
type TextOptions struct {
	Units report.Units // report.Metric when empty
	Bold  bool         // headings in bold, for a terminal that shows it
}

const cautions = "Distances are guides; the instructor on the ground and the rules in force decide. " +
	"No veterinary tool: a stride that stays short or uneven is for the vet."

// Text writes the comparison for people.
func Text(w io.Writer, c *Comparison, opt TextOptions) error {
	out := bufio.NewWriter(w)
	t := text{Page: layout.Page{Out: out, Bold: opt.Bold}, units: opt.Units, c: c}
	if t.units == "" {
		t.units = report.Metric
	}
	t.top()
	t.changed()
	for _, l := range c.Lines {
		if len(l.Rides) == 2 {
			t.pair(l)
		} else {
			t.series(l)
		}
	}
	t.rounds()
	t.key()
	t.Para("", 0, cautions)
	return out.Flush()
}

type text struct {
	layout.Page
	units report.Units
	c     *Comparison
}

// pad fills up to so many columns.
func pad(s string, n int) string { return s + strings.Repeat(" ", max(n-layout.Columns(s), 0)) }

func (t *text) top() {
	t.Row(t.c.title(), true)
	for _, a := range t.c.Attempts {
		lead := ""
		if len(t.c.Attempts) > 1 {
			lead = a.Label + "  "
		}
		t.Para(lead, 3, a.words())
	}
}

func (c *Comparison) title() string {
	if c.Course != nil {
		return *c.Course + ": rides compared"
	}
	return "Rides compared"
}

func (a AttemptInfo) words() string {
	said := a.Name
	if a.Horse != nil {
		said += ", " + *a.Horse
	}
	if a.Start != nil {
		said += ", " + layout.Instant(*a.Start)
	}
	return said + ", " + basisWords(a.Basis) + "."
}

func basisWords(basis string) string {
	switch basis {
	case "position":
		return "positions alone"
	case "motion":
		return "motion alone"
	}
	return "positions and motion"
}

// lineName is a line as people say it.
func lineName(l Line) string {
	if l.From == "" {
		return "Approach to " + l.To
	}
	return l.From + " to " + l.To
}

// changed tells in words what differs, line after line, and where the first improvement lies.
func (t *text) changed() {
	head, said := t.changedWords()
	t.Heading(head)
	for _, words := range said {
		t.Para(" ", 3, words)
	}
}

// changedWords are the head and the paragraphs of what changed.
func (t *text) changedWords() (head string, out []string) {
	head = "What changed from the first ride of a line to the last"
	if len(t.c.Attempts) == 2 && !slices.ContainsFunc(t.c.Lines, func(l Line) bool { return len(l.Rides) > 2 }) {
		head = "What changed from A to B"
	}
	var none, small []string
	for _, l := range t.c.Lines {
		var sure, likely []string
		for _, d := range l.Differences {
			if follows(l, d.Key) || !worthAWord(d) {
				continue
			}
			switch d.Verdict {
			case BeyondDoubt:
				sure = append(sure, t.difference(l, d))
			case Likely:
				likely = append(likely, t.difference(l, d))
			}
		}
		said := ""
		if len(sure) > 0 {
			said = "beyond doubt " + strings.Join(sure, ", ") + "."
		}
		if len(likely) > 0 {
			if said != "" {
				said += " "
			}
			word := "Likely "
			if said == "" {
				word = "likely "
			}
			said += word + strings.Join(likely, ", ") + "."
		}
		if said == "" {
			if slices.ContainsFunc(l.Differences, func(d Difference) bool { return d.Verdict != NotResolved }) {
				small = append(small, lowerFirst(lineName(l)))
			} else {
				none = append(none, lowerFirst(lineName(l)))
			}
			continue
		}
		out = append(out, lineName(l)+": "+said)
	}
	if len(none) > 0 {
		out = append(out, "No difference can be told: "+strings.Join(none, "; ")+".")
	}
	if len(small) > 0 {
		out = append(out, "Differences too small to use: "+strings.Join(small, "; ")+".")
	}
	if d := t.c.Rounds.Differences; len(d) > 0 {
		var said []string
		for _, x := range d {
			if x.Verdict != NotResolved && worthAWord(x) {
				said = append(said, x.Key.Difference(x.Difference, t.units)+sureWords(x.Verdict))
			}
		}
		if len(said) > 0 {
			out = append(out, "Whole round: "+strings.Join(said, ", ")+".")
		}
	}
	return head, append(out, t.improvedWords())
}

// worthS is the least time that is worth a word: in a tenth of a second a horse covers half a metre.
const worthS = 0.1

// worthAWord tells a difference that a rider can use; tables and JSON have the others too.
func worthAWord(d Difference) bool {
	return d.Key != report.Time && d.Key != report.JumpingTime || math.Abs(d.Difference.Value) >= worthS
}

// follows tells a figure that another one already says in words: a pace says how long the line took.
func follows(l Line, k report.Key) bool {
	settled := func(k report.Key) bool {
		return slices.ContainsFunc(l.Differences, func(d Difference) bool { return d.Key == k && d.Verdict != NotResolved })
	}
	switch k {
	case report.OffPlanned:
		return settled(report.Strides)
	case report.Time, report.SpeedIn, report.SpeedOut, report.SpeedMin:
		return settled(report.Speed)
	case report.StrideTime:
		return settled(report.Strides) || settled(report.StrideLength) || settled(report.Speed)
	}
	return false
}

func upperFirst(s string) string {
	first, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[n:]
}

func lowerFirst(s string) string {
	if rest, ok := strings.CutPrefix(s, "Approach "); ok {
		return "approach " + rest
	}
	return s
}

// difference is one difference in words; strides are told as counts.
func (t *text) difference(l Line, d Difference) string {
	if d.Key == report.Strides {
		first, last := l.Rides[0].Figure(report.Strides), l.Rides[len(l.Rides)-1].Figure(report.Strides)
		said := fmt.Sprintf("%s strides, before %s", layout.Number(last.Value, 0), layout.Number(first.Value, 0))
		if l.PlannedStrides != nil {
			said += fmt.Sprintf(" (%d planned)", *l.PlannedStrides)
		}
		return said
	}
	return d.Key.Difference(d.Difference, t.units)
}

func sureWords(v Verdict) string {
	if v == Likely {
		return " (likely)"
	}
	return " (beyond doubt)"
}

func (t *text) improvedWords() string {
	const what = "Improved means, with nothing the other way: nearer to the planned strides or to the horse's usual stride, a steadier rhythm or pace, " +
		"a squarer or straighter approach."
	if t.c.FirstImproved == nil {
		return "Improvement: on no line can it be told. " + what
	}
	for _, l := range t.c.Lines {
		if l.From == t.c.FirstImproved.From && l.To == t.c.FirstImproved.To {
			return fmt.Sprintf("First along the route to improve: %s, %s (%s). %s", lineName(l), l.Improvement.Verdict, strings.Join(signs(l), ", "), what)
		}
	}
	return ""
}

// signs are what improved in a line.
func signs(l Line) []string {
	var said []string
	for _, k := range l.Improvement.Better {
		switch k {
		case report.OffPlanned:
			said = append(said, "strides")
		case report.OffUsual:
			said = append(said, "its usual stride")
		case report.Rhythm:
			said = append(said, "rhythm")
		case report.PaceChange:
			said = append(said, "even pace")
		case report.Angle:
			said = append(said, "squarer approach")
		case report.Wander:
			said = append(said, "straighter approach")
		}
	}
	return said
}

// lineHead is what a line is, for the head of its table.
func (t *text) lineHead(l Line) string {
	said := lineName(l)
	if l.From == "" {
		return said + ", the way in"
	}
	said += ", " + l.Kind
	if l.DistanceM != nil && l.Kind != "single" && l.Kind != "rollback" {
		unit, perSI, decimals := report.Length.In(t.units)
		said += " " + layout.Number(*l.DistanceM*perSI, decimals) + " " + unit
	}
	if l.PlannedStrides != nil {
		said += fmt.Sprintf(", planned %d", *l.PlannedStrides)
	}
	return said
}

// core tells the figures that a line's table always has, where they are told; others have a row where they
// differ.
func core(l Line, k report.Key) bool {
	switch k {
	case report.Strides, report.StrideLength, report.SpeedIn, report.SpeedOut, report.Time:
		return true
	case report.Track, report.Radius:
		return turning(l)
	case report.Takeoff, report.Angle, report.Wander:
		return l.From == ""
	}
	return false
}

// turning tells the lines on which the rider chooses the track.
func turning(l Line) bool { return l.Kind != "related" && l.Kind != "combination" }

// pair writes the figures of two rides side by side, with what the second has more, and then names those that
// nobody can tell apart.
func (t *text) pair(l Line) {
	rows, open := t.pairRows(l)
	if rows == nil {
		return
	}
	t.Blank()
	t.table(rows)
	if open != "" {
		t.Para(" ", 3, open)
	}
}

// pairRows are the rows of the table of two rides and the words below it; nil for a way in without a
// difference, which is named among those.
func (t *text) pairRows(l Line) (rows [][]string, below string) {
	a, b := l.Rides[0], l.Rides[1]
	rows = [][]string{{t.lineHead(l), a.Label, b.Label, b.Label + " - " + a.Label, ""}}
	var open []string
	some := false
	for _, f := range report.Figures() {
		k := f.Key
		x, y := a.Figure(k), b.Figure(k)
		at := slices.IndexFunc(l.Differences, func(d Difference) bool { return d.Key == k })
		settled := at >= 0 && l.Differences[at].Verdict != NotResolved
		some = some || settled
		switch {
		case x == nil && y == nil, k == report.OffPlanned && settled:
			continue
		case !settled && !core(l, k):
			if at >= 0 && k != report.OffPlanned && k != report.PaceChange {
				open = append(open, k.Name())
			}
			continue
		}
		row := []string{" " + k.Head(t.units), t.cell(a, k), t.cell(b, k), "", ""}
		if at >= 0 {
			d := l.Differences[at]
			row[3], row[4] = k.Measured(d.Difference, t.units, true), mark(d.Verdict)
		}
		rows = append(rows, row)
	}
	if l.From == "" && !some {
		return nil, ""
	}
	if len(open) > 0 {
		below = "~ " + strings.Join(open, ", ") + "."
	}
	return rows, below
}

// mark is a verdict as the tables have it.
func mark(v Verdict) string {
	switch v {
	case BeyondDoubt:
		return "sure"
	case Likely:
		return "likely"
	}
	return "~"
}

// cell is a ride's figure in a table.
func (t *text) cell(r Ride, k report.Key) string {
	e := r.Figure(k)
	if e == nil {
		return "-"
	}
	said := k.Measured(*e, t.units, false)
	if k == report.Strides && r.StridesBy == "estimated" {
		said = "~" + said
	}
	return said
}

// table writes rows under a head row. Where the head's first cell is wider than its column it may reach over
// its own row only.
func (t *text) table(rows [][]string) {
	widths := make([]int, len(rows[0]))
	for _, r := range rows[1:] {
		for i, c := range r {
			widths[i] = max(widths[i], layout.Columns(c))
		}
	}
	for i := 1; i < len(rows[0]); i++ {
		widths[i] = max(widths[i], layout.Columns(rows[0][i]))
	}
	head := rows[0]
	if layout.Columns(head[0]) > widths[0] {
		t.Row(layout.Clip(head[0], layout.Width), true)
		head = slices.Concat([]string{""}, head[1:])
	}
	for n, r := range slices.Concat([][]string{head}, rows[1:]) {
		line := ""
		for i, c := range r {
			line += pad(c, widths[i]) + "  "
		}
		t.Row(layout.Clip(strings.TrimRight(line, " "), layout.Width), n == 0)
	}
}

// series writes the rides of a line one below the other, then the trend. What else there is, is in the words and
// in the JSON.
func (t *text) series(l Line) {
	tables := t.seriesTables(l)
	if tables == nil {
		return
	}
	t.Blank()
	t.Row(layout.Clip(t.lineHead(l), layout.Width), true)
	for _, columns := range tables {
		for i := range columns[0] {
			row := ""
			for _, c := range columns {
				row += pad(c[i], columnWidth(c)) + "  "
			}
			t.Row(layout.Clip(strings.TrimRight(row, " "), layout.Width), i == 0)
		}
	}
	t.Para(" ", 3, t.trendWords(l))
}

// seriesTables are the columns of the tables of many rides; nil for a way in without a difference.
func (t *text) seriesTables(l Line) (out [][][]string) {
	names := []string{""}
	for i, r := range l.Rides {
		name := " " + r.Label
		if r.Round != nil && r.Label != label(r.Attempt-1) {
			name += fmt.Sprintf(", round %d", *r.Round)
		}
		if m := marks(l, i); m != "" {
			name += "  " + m
		}
		names = append(names, name)
	}
	column := func(head string, cell func(Ride) string) []string {
		out := []string{head}
		for _, r := range l.Rides {
			out = append(out, cell(r))
		}
		return out
	}
	one := func(head string, k report.Key) []string {
		if unit := k.UnitName(t.units); unit != "" {
			head += " " + unit
		}
		return column(head, func(r Ride) string { return t.cell(r, k) })
	}
	blocks := [][][]string{{one("strides", report.Strides), one("each,", report.StrideLength), column("in, out m/min", t.inOut), one("time,", report.Time), one("rhythm", report.Rhythm)}}
	switch {
	case l.From == "":
		blocks = [][][]string{{one("take-off,", report.Takeoff), one("angle", report.Angle), one("wander,", report.Wander)}}
	case turning(l):
		blocks = append(blocks, [][]string{one("track,", report.Track), one("radius,", report.Radius), one("slowest", report.SpeedMin), one("angle", report.Angle)})
	}
	if l.From == "" && !slices.ContainsFunc(l.Trends, func(x Trend) bool { return x.Verdict != NotResolved }) &&
		!slices.ContainsFunc(l.Differences, func(x Difference) bool { return x.Verdict != NotResolved }) {
		return nil
	}
	for _, block := range blocks {
		columns, wide := [][]string{names}, columnWidth(names)
		for _, c := range block {
			if !slices.ContainsFunc(c[1:], func(s string) bool { return s != "-" }) {
				continue
			}
			// A figure is never cut: what does not fit goes into a table of its own below.
			if w := columnWidth(c); len(columns) > 1 && wide+2+w > layout.Width {
				out = append(out, columns)
				columns, wide = [][]string{names}, columnWidth(names)
			}
			columns, wide = append(columns, c), wide+2+columnWidth(c)
		}
		if len(columns) > 1 {
			out = append(out, columns)
		}
	}
	return out
}

// inOut is the pace in and out with the larger doubt of the two.
func (t *text) inOut(r Ride) string {
	in, out := r.Figure(report.SpeedIn), r.Figure(report.SpeedOut)
	if in == nil || out == nil {
		return "-"
	}
	_, perSI, most := report.Pace.In(t.units)
	half := max(in.High-in.Value, in.Value-in.Low, out.High-out.Value, out.Value-out.Low) * perSI
	decimals := layout.Decimals(half, most)
	said := layout.Number(in.Value*perSI, decimals) + ", " + layout.Number(out.Value*perSI, decimals)
	if half > 0 {
		said += " ±" + layout.Doubt(half, decimals)
	}
	return said
}

func columnWidth(c []string) int {
	w := 0
	for _, s := range c {
		w = max(w, layout.Columns(s))
	}
	return w
}

// marks are N for the ride nearest to the planned strides and S for the steadiest, with a question mark where
// it might be another.
func marks(l Line, ride int) string {
	said := ""
	for _, x := range []struct {
		mark   *Mark
		letter string
	}{{l.Best, "N"}, {l.Steadiest, "S"}} {
		if x.mark != nil && x.mark.Ride == ride {
			said += x.letter
			if !x.mark.Apart {
				said += "?"
			}
		}
	}
	return said
}

// trendWords tells the trends over the rides.
func (t *text) trendWords(l Line) string {
	var said, open []string
	for _, x := range l.Trends {
		switch {
		case x.Verdict != NotResolved:
			said = append(said, x.Key.Difference(x.PerRide, t.units)+sureWords(x.Verdict))
		case x.Key == report.StrideLength, x.Key == report.Speed, x.Key == report.Rhythm:
			open = append(open, fmt.Sprintf("%s %s", x.Key.Head(t.units), x.Key.Measured(x.PerRide, t.units, true)))
		}
	}
	words := "From ride to ride: "
	if len(said) > 0 {
		words += strings.Join(said, ", ") + "; "
	} else {
		words += "no trend can be told"
		if len(open) > 0 {
			words += " (" + strings.Join(open, "; ") + " a ride)"
		}
		return words + "."
	}
	return words + "no other trend can be told."
}

// rounds writes the whole rounds of all rides.
func (t *text) rounds() {
	if len(t.c.Rounds.Rounds) == 0 {
		return
	}
	rows, below := t.roundRows()
	t.Blank()
	t.table(rows)
	for _, words := range below {
		t.Para(" ", 3, words)
	}
}

// roundRows are the rows of the table of rounds and the words below it.
func (t *text) roundRows() (rows [][]string, below []string) {
	rows = [][]string{{"Rounds", "time, s", "jumping time, s", "refusals, run-outs", "missed"}}
	for _, r := range t.c.Rounds.Rounds {
		name := " " + r.Label
		if len(t.c.Attempts) == 1 {
			name = fmt.Sprintf(" round %d", r.Round)
		} else if r.Round > 1 {
			name += fmt.Sprintf(" round %d", r.Round)
		}
		if !r.Complete {
			name += ", not complete"
		}
		cell := func(k report.Key, e *trace.Estimate) string {
			if e == nil {
				return "-"
			}
			return k.Measured(*e, t.units, false)
		}
		missed := strings.Join(r.Missed, ", ")
		timed := cell(report.Time, r.TimeS)
		if r.TimeFaults != nil && *r.TimeFaults > 0 {
			timed += fmt.Sprintf(" (%s)", layout.Count(*r.TimeFaults, "fault"))
		}
		rows = append(rows, []string{name, timed, cell(report.JumpingTime, r.JumpingS), disobediences(r.Disobediences), missed})
	}
	for _, d := range t.c.Rounds.Differences {
		if d.Verdict == NotResolved {
			below = append(below, fmt.Sprintf("Difference of %s, last less first: %s s, not resolved.", d.Key.Name(), d.Key.Measured(d.Difference, t.units, true)))
		}
	}
	return rows, below
}

// key tells what the signs and words mean, and what to bear in mind.
func (t *text) key() {
	t.Heading("How sure")
	for _, words := range t.keyWords() {
		t.Para(" ", 1, words)
	}
	t.Blank()
}

func (t *text) keyWords() []string {
	by := int(math.Round(100 * (1 - t.c.Alpha)))
	words := fmt.Sprintf("± holds nine times in ten. Beyond doubt, in the tables sure: so even though %s were looked at together (Holm 1979; %d times in 100 not one such word "+
		"here is wrong). Likely: of those called so one in ten may be wrong (Benjamini and Hochberg 1995). ~ no difference can be told, which is not "+
		"to say that there is none.", layout.Count(t.c.Tests, "difference"), by)
	if slices.ContainsFunc(t.c.Lines, func(l Line) bool { return len(l.Rides) > 2 }) {
		words = strings.Replace(words, "differences were", "differences and trends were", 1)
		words += " N: nearest to the planned strides, then to the horse's usual stride. S: steadiest, stride time varied least. ?: another ride may be it."
	}
	words += " Errors of two rides count as independent; what both share (tape, plan, the hooves' reach) cancels, so the ± of a difference is rather too wide. " +
		"A horse also changes by itself from ride to ride: two rides are no trend."
	out := []string{words}
	for _, n := range t.c.Notes {
		out = append(out, upperFirst(n.What)+": "+n.Why+".")
	}
	return out
}

// disobediences is a count, or that nobody could see them.
func disobediences(n *int) string {
	if n == nil {
		return "not seen"
	}
	return strconv.Itoa(*n)
}
