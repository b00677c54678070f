package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strings"

	"groundline/report/layout"
	"groundline/trace"
)

// The text's rules. It is one screen for one round, what a coach reads to a rider: a sentence for each element first, then
// rounds, limits and cautions; the tables of lines and efforts where they are asked for. A number
// has the digits that its interval leaves, and its doubt; a difference that the interval
// does not settle is not told as one. What can't be told is a dash or is left out, never a
// zero. Words are the trade's, say what was measured, and neither praise nor blame. Bold
// headings are the only ornament, and carry no meaning.

// TextOptions are the reader's choices.
type TextOptions struct {
	Units   Units // Metric when empty
	Bold    bool  // headings in bold, for a terminal that shows it
	Tables  bool  // also the tables of lines and efforts
	Explain bool  // tables, and every effort's figures, stride lengths, placing and lesser notes
}

// Text writes the debrief for people. It is refused, as by [JSON], when a figure is NaN
// or infinite.
func Text(w io.Writer, d *Debrief, opt TextOptions) error {
	if _, err := rounded(reflect.ValueOf(*d), "debrief", ""); err != nil {
		return err
	}
	if opt.Units == "" {
		opt.Units = Metric
	}
	out := bufio.NewWriter(w)
	p := &page{layout.Page{Out: out, Bold: opt.Bold}}
	writeHead(p, d, opt.Explain)
	if len(d.Efforts) == 0 {
		writeNothingJumped(p, d)
	} else {
		writeAnswers(p, d, opt.Units)
		if opt.Tables || opt.Explain || d.Course == nil {
			writeLines(p, d, opt.Units)
			writeEfforts(p, d, opt.Units)
		}
		writeRounds(p, d)
	}
	if opt.Explain {
		writeExplained(p, d, opt.Units)
	}
	writeNotes(p, d, opt.Explain)
	writeCautions(p)
	return out.Flush()
}

func writeHead(p *page, d *Debrief, explain bool) {
	p.title(titleOf(d))
	p.Para("", 0, recordedAs(d)+".")
	if explain {
		p.Para("", 0, "From "+strings.Join(baseNames(d.Recording.Files), " and ")+".")
	}
}

// baseNames are file names without their folders, whichever way the slashes lean.
func baseNames(files []string) []string {
	names := make([]string, len(files))
	for i, f := range files {
		names[i] = f[strings.LastIndexAny(f, `/\\`)+1:]
	}
	return names
}

func writeNothingJumped(p *page, d *Debrief) {
	p.Heading("No jumps found")
	if d.Course == nil && d.Basis == "position" {
		p.Para("", 0, "Jumps need a course: choose one, draw one or walk one (--course), or wear a motion sensor too. What the track alone shows:")
	} else {
		p.Para("", 0, "No jump was found in this recording, so there are no lines to report.")
	}
	if said := gaitTotals(d.Gaits); said != "" {
		p.Para("", 0, said)
	}
}

// gaitTotals is the time in each gait, in minutes and seconds.
func gaitTotals(spans []GaitSpan) string {
	var said []string
	for _, gait := range []string{"halt", "walk", "trot", "canter"} {
		total := 0.0
		for _, s := range spans {
			if s.Gait == gait {
				total += s.ToS - s.FromS
			}
		}
		if total >= 0.5 {
			said = append(said, gait+" "+lasting(total))
		}
	}
	if len(said) == 0 {
		return ""
	}
	return "Time in each gait: " + strings.Join(said, ", ") + "."
}

func writeLines(p *page, d *Debrief, units Units) {
	ways, rides, others := waysOf(d)
	if len(ways) == 0 {
		return
	}
	var rows []tableRow
	ridden := d.RiddenLines()
	for _, way := range ways {
		name := way[0] + " to " + way[1]
		all := linesAt(d, rides[way])
		if len(all) == 1 {
			l := ridden[rides[way][0]]
			rows = append(rows, tableRow{lineCells(name, groundWords(d, *l.Line, units), l.Line, units), joined(plannedWords(all), lineWords(l, units))})
			continue
		}
		rows = append(rows, tableRow{lineCells(name, groundWords(d, all[0], units), nil, units), plannedWords(all)})
		for _, k := range rides[way] {
			l := ridden[k]
			rows = append(rows, tableRow{lineCells("", rideWords(*l.Line), l.Line, units), lineWords(l, units)})
		}
	}
	p.table([]string{"Lines", "", "strides", "each, " + units.length().unit, "in, out m/min", "rode"}, rows)
	keys := lineKeys(d, units, others)
	p.Para(" ", 1, strings.Join(keys, " "))
	if d.Slope != nil {
		p.Para(" ", 1, slopeWords(*d.Slope))
	}
}

// slopeWords tells what slope and home did to the pace, where it is beyond doubt.
func slopeWords(s Slope) string {
	uphill, home := "slope's pull not settled", "home's pull not settled"
	if e := s.PerPercentMS; e != nil && pace().beyondDoubt(*e) {
		uphill = fmt.Sprintf("for each 1 %% uphill %s %s", pace().measured(size(*e)), faster(*e))
	}
	if e := s.HomewardMS; e != nil && pace().beyondDoubt(*e) {
		home = fmt.Sprintf("straight towards home %s %s than square to it", pace().measured(size(*e)), faster(*e))
	}
	return fmt.Sprintf("Over %s: %s; %s.", layout.Count(s.N, "line"), uphill, home)
}

func faster(e trace.Estimate) string {
	if e.Value < 0 {
		return "slower"
	}
	return "faster"
}

// lineCells is a line's row of the table; l is nil for a heading of several rides.
func lineCells(name, words string, l *Line, units Units) []string {
	cells := []string{name, words, "", "", "", ""}
	if l == nil {
		return cells
	}
	cells[2] = strideWords(*l)
	if l.StrideLengthM != nil {
		cells[3] = units.length().bare(*l.StrideLengthM)
	}
	cells[4] = paceWords(*l)
	if l.Fit != nil {
		cells[5] = fitWords(*l.Fit)
	}
	return cells
}

// groundWords is what kind of line it is and, where people walk it, how long on the ground: about so long, where that is the
// track's word too.
func groundWords(d *Debrief, l Line, units Units) string {
	if l.DistanceM == nil || !walkedKind(l.Kind) {
		return l.Kind
	}
	if slices.ContainsFunc(d.Notes, func(n trace.Note) bool { return n.What == PlanFound }) {
		about := units.length()
		about.decimals = 0
		return l.Kind + " about " + about.plain(*l.DistanceM)
	}
	return l.Kind + " " + units.length().plain(*l.DistanceM)
}

// walkedKind tells the kinds of lines whose distance people walk; the straight distance of the others says
// little, so these are told by the track that was ridden.
func walkedKind(kind string) bool { return kind != "single" && kind != "rollback" }

// rideWords tells one ride of a line from the others.
func rideWords(l Line) string {
	said := "  " + layout.Ordinal(l.Attempt)
	if l.Round != nil {
		said += fmt.Sprintf(", round %d", *l.Round)
	}
	return said
}

// strideWords is the count, with ~ where it was estimated and its bounds where they leave others open:
// "5", "~6 (5-8)".
func strideWords(l Line) string {
	if l.Strides == nil {
		return "-"
	}
	said := fmt.Sprintf("%.0f", l.Strides.Value)
	if l.StridesBy == "estimated" {
		said = "~" + said
	}
	if low, high := math.Round(l.Strides.Low), math.Round(l.Strides.High); low != high {
		said += fmt.Sprintf(" (%.0f-%.0f)", low, high)
	}
	return said
}

// paceWords is the pace in and out with the larger doubt of the two, or the mean pace where
// only that is told.
func paceWords(l Line) string {
	q := pace()
	if l.SpeedInMS == nil || l.SpeedOutMS == nil {
		if l.SpeedMS == nil {
			return ""
		}
		return "mean " + q.bare(*l.SpeedMS)
	}
	half := max(q.half(*l.SpeedInMS), q.half(*l.SpeedOutMS))
	decimals := q.decimalsFor(half)
	said := layout.Number(l.SpeedInMS.Value*q.perSI, decimals) + ", " + layout.Number(l.SpeedOutMS.Value*q.perSI, decimals)
	if half > 0 {
		said += " ±" + q.doubt(half)
	}
	return said
}

// touchM is where "a touch" ends: two tenths of a metre a stride are a whole metre over a line of five. Our choice; no
// published bound was found.
const touchM = 0.20

// fitWords is how the line suited the horse; "" where it is too close to call.
func fitWords(f Fit) string {
	says := f.Verdict()
	if e := f.PerStrideM; e != nil && says != "" && says != "right" && math.Abs(e.Value) < touchM {
		says = "a touch " + says
	}
	if says != "" && !f.Certain() {
		return "probably " + says
	}
	return says
}

// FitWords is how a line suited the horse with how far its strides were from the usual, "long, 0.26 m ±0.04"; "" where it is
// too close to call.
func FitWords(f Fit, units Units) string {
	words := fitWords(f)
	if f.PerStrideM == nil || words == "" || f.Verdict() == "right" {
		return words
	}
	return words + ", " + units.length().measured(size(*f.PerStrideM))
}

// Stride time of a free canter varies by about 2 % (published for the trot, Equine Vet. J. 1980
// 12:60-65); above twice that the text has a word on rhythm.
const steadyRhythmCV = 0.04

// lineWords is what else there is to say of a ride of a line: its track and turn, a change of pace that is
// beyond doubt, how long or tight it was, an uneven rhythm.
func lineWords(r RiddenLine, units Units) string {
	var said []string
	l := r.Line
	if l.TrackM != nil && !walkedKind(l.Kind) {
		said = append(said, units.radius().measured(*l.TrackM)+" ridden")
	}
	if t := l.Turn; t != nil && t.Direction != "straight" {
		words := t.Direction
		if t.TurnedDeg != nil {
			words += " " + degrees().plain(math.Abs(t.TurnedDeg.Value))
		}
		if t.RadiusMinM != nil {
			words += ", radius " + units.radius().measured(*t.RadiusMinM)
		}
		if t.SpeedMinMS != nil {
			words += ", slowest " + pace().bare(*t.SpeedMinMS)
		}
		said = append(said, words)
	}
	if l.SpeedDriftMS != nil && pace().beyondDoubt(*l.SpeedDriftMS) {
		word := "gained "
		if l.SpeedDriftMS.Value < 0 {
			word = "lost "
		}
		said = append(said, word+pace().bare(size(*l.SpeedDriftMS)))
	}
	said = append(said, remarks(r, units)...)
	return strings.Join(said, "; ")
}

// remarks are what the figures of a ridden line deserve to have said of them, in the order of the figures.
func remarks(r RiddenLine, units Units) (said []string) {
	for _, f := range Figures() {
		if f.Remark == nil {
			continue
		}
		if e := f.asRead(r); e != nil {
			if words := f.Remark(units, r, *e); words != "" {
				said = append(said, words)
			}
		}
	}
	return said
}

// plannedWords tells what the distance asks of the standard stride, where a ride of it had another count
// beyond doubt.
func plannedWords(rides []Line) string {
	for _, l := range rides {
		if l.PlannedStrides == nil || l.Strides == nil {
			continue
		}
		planned := float64(*l.PlannedStrides)
		if math.Round(l.Strides.High) < planned || math.Round(l.Strides.Low) > planned {
			return fmt.Sprintf("the distance is %d on a 12-ft stride", *l.PlannedStrides)
		}
	}
	return ""
}

// joined are the parts that are not empty, one after the other.
func joined(parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), "; ")
}

// size is an estimate without its sign, for words that carry the sign.
func size(e trace.Estimate) trace.Estimate {
	if e.Value >= 0 {
		return e
	}
	return trace.Estimate{Value: -e.Value, Low: -e.High, High: -e.Low}
}
