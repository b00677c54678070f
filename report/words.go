package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundline/report/layout"
	"groundline/trace"
)

// Told is the debrief in words and figures for people: what [Text] says, not yet laid out. Renderings
// other than the text lay it out their own way, so that all of them say the same.
type Told struct {
	Title    string
	Recorded string   // when, how long, from what
	Files    []string // without their folders
	Unit     string   // of lengths: "m" or "ft"
	Lines    []ToldLine
	LineKeys []string // what the reader of the lines must know
	Slope    string   // "" where it is not told
	Tally    string   // of the efforts
	Efforts  []ToldEffort
	OfNote   []string // what about the efforts deserves a word
	Rounds   []string // nil without a plan
	Gaits    string
	Doubts   []ToldDoubt // the gravest first
	Cautions string
}

// ToldLine is one ride of a line. What is not told is "".
type ToldLine struct {
	Index  int    // in Debrief.Lines
	Name   string // "2 to 3"
	Ride   string // which ride of it, where there were several: "2nd, round 1"
	Ground string // kind and, where people walk it, distance
	// Strides, Length (of one), Pace (in and out), Drift, Turn, Radius, Slowest and Rode are figures with
	// their doubt; lengths in Unit, pace in m/min, neither repeated in them.
	Strides, Length, Pace, Drift, Turn, Radius, Slowest, Rode string
	Track                                                     string // as ridden, where nobody walks it
	Words                                                     string // what else there is to say
}

// ToldEffort is one effort. What is not told is "".
type ToldEffort struct {
	Name, Outcome, Clock                         string
	Takeoff, TakeoffDistance, LandingDistance    string
	Pace, LeadIn, LeadOut, Angle, Straight, Sure string
}

// ToldDoubt is something uncertain or left out, and why.
type ToldDoubt struct {
	Level string // warning | caution | info
	What  []string
	Why   string
}

// Tell puts a debrief into words.
func Tell(d *Debrief, units Units) Told {
	if units == "" {
		units = Metric
	}
	t := Told{Title: titleOf(d), Recorded: recordedAs(d), Files: baseNames(d.Recording.Files), Unit: units.length().unit,
		Tally: tally(d.Efforts), Gaits: gaitTotals(d.Gaits), Cautions: cautions}
	t.tellLines(d, units)
	for _, e := range d.Efforts {
		t.Efforts = append(t.Efforts, toldEffort(e, units))
	}
	t.OfNote = slices.Concat(disobedienceWords(d.Efforts), takeoffWords(d.Efforts, units), angleWords(d.Efforts))
	if words := leadWords(d); words != "" {
		t.OfNote = append(t.OfNote, words)
	}
	if d.Course != nil && len(d.Efforts) > 0 {
		for _, r := range d.Rounds {
			t.Rounds = append(t.Rounds, roundWords(r))
		}
		if len(d.Rounds) == 0 {
			t.Rounds = []string{"No whole round in this recording."}
		}
	}
	if d.Slope != nil {
		t.Slope = slopeWords(*d.Slope)
	}
	t.Doubts = doubts(d.Notes)
	return t
}

// cautions are told once, at the end.
const cautions = "Distances are guides; the instructor on the ground and the rules in force decide. " +
	"No veterinary tool: a stride that stays short or uneven is for the vet."

// aside tells whether a way is left out of the lines: one between other fences than the route has. Without a plan
// all ways are such, and all that there is.
func aside(d *Debrief, l Line) bool { return l.Kind == "between" && d.Course != nil }

// waysOf are the ways ridden, in the order first ridden, the indices of each one's rides in Debrief.Lines, and how many
// rides are set aside.
func waysOf(d *Debrief) (ways [][2]string, rides map[[2]string][]int, others int) {
	rides = map[[2]string][]int{}
	for i, l := range d.Lines {
		if aside(d, l) {
			others++
			continue
		}
		way := [2]string{l.From, l.To}
		if rides[way] == nil {
			ways = append(ways, way)
		}
		rides[way] = append(rides[way], i)
	}
	return ways, rides, others
}

func linesAt(d *Debrief, at []int) []Line {
	lines := make([]Line, len(at))
	for i, k := range at {
		lines[i] = d.Lines[k]
	}
	return lines
}

// lineKeys explain the lines' figures, below them.
func lineKeys(d *Debrief, units Units, others int) (keys []string) {
	if slices.ContainsFunc(d.Lines, func(l Line) bool { return !aside(d, l) && l.StridesBy == "estimated" }) {
		keys = append(keys, "~ estimated from the time between fences, not counted.")
	}
	if slices.ContainsFunc(d.Lines, func(l Line) bool { return !aside(d, l) && l.Strides == nil }) {
		keys = append(keys, "- not told by this recording.")
	}
	if d.Horse.CanterStrideM != nil {
		usual := "Usual stride " + units.length().measured(*d.Horse.CanterStrideM)
		if d.Horse.StrideS != nil {
			usual += " in " + seconds().measured(*d.Horse.StrideS)
		}
		keys = append(keys, usual+".")
	}
	if others > 0 {
		keys = append(keys, fmt.Sprintf("%s between other fences left out.", layout.Count(others, "way")))
	}
	return append(keys, "± holds nine times in ten.")
}

func (t *Told) tellLines(d *Debrief, units Units) {
	ways, rides, others := waysOf(d)
	ridden := d.RiddenLines()
	for _, way := range ways {
		all := rides[way]
		for i, k := range all {
			l := toldLine(d, ridden[k], units)
			l.Index = k
			if len(all) > 1 {
				l.Ride = strings.TrimSpace(rideWords(d.Lines[k]))
			}
			if i == 0 {
				l.Words = joined(plannedWords(linesAt(d, all)), l.Words)
			}
			t.Lines = append(t.Lines, l)
		}
	}
	t.LineKeys = lineKeys(d, units, others)
	if len(t.Lines) == 0 {
		t.LineKeys = t.LineKeys[:len(t.LineKeys)-1] // nothing that ± could stand in
	}
}

func toldLine(d *Debrief, r RiddenLine, units Units) ToldLine {
	l := *r.Line
	t := ToldLine{Name: l.From + " to " + l.To, Ground: groundWords(d, l, units), Strides: strideWords(l), Pace: paceWords(l)}
	if l.StrideLengthM != nil {
		t.Length = units.length().bare(*l.StrideLengthM)
	}
	if l.SpeedDriftMS != nil {
		t.Drift = withSign(pace().bare(*l.SpeedDriftMS), l.SpeedDriftMS.Value)
	}
	if l.Fit != nil {
		t.Rode = fitWords(*l.Fit)
	}
	if l.TrackM != nil && !walkedKind(l.Kind) {
		t.Track = units.radius().measured(*l.TrackM) + " ridden"
	}
	if n := l.Turn; n != nil {
		t.Turn = n.Direction
		if n.Direction != "straight" {
			if n.TurnedDeg != nil {
				t.Turn += " " + degrees().plain(math.Abs(n.TurnedDeg.Value))
			}
			if n.RadiusMinM != nil {
				t.Radius = units.radius().bare(*n.RadiusMinM)
			}
			if n.SpeedMinMS != nil {
				t.Slowest = pace().bare(*n.SpeedMinMS)
			}
		}
	}
	t.Words = strings.Join(remarks(r, units), "; ")
	return t
}

// withSign puts the + before a number that is above zero as it is told, and a true minus before one below.
func withSign(said string, value float64) string {
	if value > 0 && strings.ContainsAny(strings.SplitN(said, " ", 2)[0], "123456789") {
		return "+" + said
	}
	return strings.Replace(said, "-", "−", 1)
}

func toldEffort(e Effort, units Units) ToldEffort {
	t := ToldEffort{Name: effortName(e), Outcome: e.Outcome, Sure: fmt.Sprintf("%.2f", e.Confidence)}
	set := func(at *string, q quantity, x *trace.Estimate) {
		if x != nil {
			*at = q.bare(*x)
		}
	}
	set(&t.Takeoff, seconds(), e.TakeoffS)
	set(&t.TakeoffDistance, units.length(), e.TakeoffDistanceM)
	set(&t.LandingDistance, units.length(), e.LandingDistanceM)
	set(&t.Pace, pace(), e.SpeedMS)
	if e.TakeoffS != nil {
		t.Clock = clock(e.TakeoffS.Value)
	}
	if e.LeadIn != nil {
		t.LeadIn = *e.LeadIn
	}
	if e.LeadOut != nil {
		t.LeadOut = *e.LeadOut
	}
	if a := e.Approach; a != nil {
		set(&t.Straight, units.length(), a.StraightRMSM)
		if a.AngleDeg != nil {
			t.Angle = degrees().measured(size(*a.AngleDeg))
			switch q := degrees(); {
			case layout.Number(math.Abs(a.AngleDeg.Value), q.decimalsFor(q.half(*a.AngleDeg))) == "0":
			case a.AngleDeg.Value > 0:
				t.Angle += " right"
			default:
				t.Angle += " left"
			}
		}
	}
	return t
}

// doubts are the notes, the gravest first; those that share a reason stand together.
func doubts(notes []trace.Note) []ToldDoubt {
	var out []ToldDoubt
	for _, level := range []string{"warning", "caution", "info"} {
		for _, n := range notes {
			if n.Level != level {
				continue
			}
			i := slices.IndexFunc(out, func(g ToldDoubt) bool { return g.Why == n.Why })
			switch {
			case i < 0:
				out = append(out, ToldDoubt{level, []string{n.What}, n.Why})
			case !slices.Contains(out[i].What, n.What):
				out[i].What = append(out[i].What, n.What)
			}
		}
	}
	return out
}

// titleOf is the course's name, and the horse's where it is known.
func titleOf(d *Debrief) string {
	title := "Ride without a course plan"
	if d.Course != nil {
		title = courseName(d.Course.Name)
	}
	if d.Horse.Name != nil {
		title += ": " + *d.Horse.Name
	}
	return title
}

// recordedAs is when, how long and by what was recorded.
func recordedAs(d *Debrief) string {
	var said []string
	if d.Recording.Start != nil {
		said = append(said, layout.Instant(*d.Recording.Start))
	}
	said = append(said, lasting(d.Recording.DurationS))
	if d.Recording.PositionHz != nil {
		said = append(said, fmt.Sprintf("positions %.3g Hz", *d.Recording.PositionHz))
	}
	if d.Recording.MotionHz != nil {
		said = append(said, fmt.Sprintf("motion %.3g Hz", *d.Recording.MotionHz))
	}
	return strings.Join(said, ", ")
}
