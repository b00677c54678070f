// Package compare tells how several rides of the same lines differ: one debrief
// beside another, or the rides of a line inside one recording.
//
// Every line that was ridden at least twice gets its rides side by side in the order
// given ([Line].Rides), each figure of the last ride less that of the first with its
// doubt, and, from three rides on, the trend over them. What is beyond doubt, what
// is likely and what can't be told is decided over all figures shown at once, so
// that many figures don't make a difference out of chance ([Holm], [BenjaminiHochberg]). [Text] tells it
// to people, [JSON] writes it for programs, [Page] shows it with the tracks on the plan.
//
// What is assumed. The errors of two rides are taken as independent. Errors that both
// share (the tape, the plan, how far the hooves reach from the sensor, a watch that
// is always late) cancel in the difference but not in its interval, which is therefore
// rather too wide than too narrow. The interval of a difference holds what the
// recordings leave open, not what a horse does from one ride to the next; that of a
// trend holds both.
package compare

import (
	"fmt"
	"math"
	"slices"
	"time"

	"groundline/report"
	"groundline/report/layout"
	"groundline/trace"
)

// Schema names the layout of the JSON. Fields are added, never renamed.
const Schema = "groundline.compare/1"

// Alpha is the chance that anything at all is wrongly called beyond doubt, were no
// figure truly different (Holm's family-wise level). One in twenty, as the trade of
// statistics has it; a single figure's interval is 90 %, as everywhere in the project.
const Alpha = 0.05

// LikelyWrong is the share of wrong ones to be expected among what is called likely or beyond doubt: one in ten, as
// with the intervals.
const LikelyWrong = 0.10

// Verdict is how sure a difference or trend is.
type Verdict string

// The verdicts. Beyond doubt: sure although many figures were looked at. Likely: right for nine in ten of
// those called so, in the long run. Not resolved: no difference can be told, which does not say that there
// is none.
const (
	BeyondDoubt Verdict = "beyond doubt"
	Likely      Verdict = "likely"
	NotResolved Verdict = "not resolved"
)

// Attempt is one debrief to compare. Name is what people call it.
type Attempt struct {
	Name    string
	Debrief *report.Debrief
}

// Options narrow the comparison.
type Options struct {
	// From and To name one line, which may be one that the route does not have; all lines of the
	// route when empty.
	From, To string
	// Nth are, for each attempt, the rides of that line that count, by [report.Line].Attempt; all of an attempt that has none, and
	// with all lines.
	Nth [][]int
}

// LineOf reads a line as people write it, FROM-TO, where either may itself hold a dash: the split that some ride has is taken,
// else the first. ok is false for what is no line.
func LineOf(line string, attempts []Attempt) (from, to string, ok bool) {
	for i := 1; i < len(line)-1; i++ {
		if line[i] != '-' {
			continue
		}
		a, b := line[:i], line[i+1:]
		if !ok {
			from, to, ok = a, b, true
		}
		for _, x := range attempts {
			for _, l := range x.Debrief.Lines {
				if l.From == a && l.To == b {
					return a, b, true
				}
			}
		}
	}
	return from, to, ok
}

// Comparison is what the rides have in common and in what they differ. Lengths in metres, times in
// seconds, speeds in m/s, angles in degrees. A nil figure is one that the recording can't tell.
type Comparison struct {
	Schema string  `json:"schema"`
	Course *string `json:"course"` // nil without a plan, or with plans of several names
	// Level is that of every interval; Tests are how many differences and trends were judged together, at
	// Alpha and LikelyWrong.
	Level       float64 `json:"level"`
	Alpha       float64 `json:"alpha"`
	LikelyWrong float64 `json:"likely_wrong"`
	Tests       int     `json:"tests"`
	Method      string  `json:"method"`
	Assumed     string  `json:"assumed"`
	// Attempts are the debriefs in the order given.
	Attempts []AttemptInfo `json:"attempts"`
	// Lines are in the order of the route; a way in stands before the line that it leads to.
	Lines  []Line `json:"lines"`
	Rounds Rounds `json:"rounds"`
	// FirstImproved is the first line along the route that improved; nil where none can be told to have.
	FirstImproved *Way         `json:"first_improved"`
	Notes         []trace.Note `json:"notes"`
}

// AttemptInfo says what a debrief rests on.
type AttemptInfo struct {
	Label     string   `json:"label"` // A, B, …
	Name      string   `json:"name"`
	Files     []string `json:"files"`
	Start     *string  `json:"start"`
	DurationS float64  `json:"duration_s"`
	Basis     string   `json:"basis"`
	Horse     *string  `json:"horse"`
}

// Way names a line.
type Way struct {
	From string `json:"from"`
	To   string `json:"to"`
}

// Line is one line with all its rides. With From "" it is the way in to obstacle To, of which only the
// approach and the take-off are told.
type Line struct {
	From           string   `json:"from"`
	To             string   `json:"to"`
	Kind           string   `json:"kind"`
	DistanceM      *float64 `json:"distance_m"`
	PlannedStrides *int     `json:"planned_strides"`
	Rides          []Ride   `json:"rides"` // in the order of the attempts, then in time
	// Differences are of the last ride less the first.
	Differences []Difference `json:"differences"`
	Trends      []Trend      `json:"trends"` // empty with two rides
	// Best is the ride nearest to the planned strides, among equals that whose stride was nearest to the
	// horse's usual; Steadiest that whose stride time varied least. nil with two rides or where not told.
	Best        *Mark       `json:"best"`
	Steadiest   *Mark       `json:"steadiest"`
	Improvement Improvement `json:"improvement"`
}

// Ride is one ride of a line.
type Ride struct {
	Attempt int    `json:"attempt"` // from 1, in Comparison.Attempts
	Label   string `json:"label"`
	Round   *int   `json:"round"` // nil: of no whole round
	Nth     int    `json:"nth"`   // which ride of this line in its recording, from 1
	// AtS is the landing at From, for a way in the take-off, seconds from the recording's start; nil where not told.
	AtS *float64 `json:"at_s"`
	// StridesBy is counted, estimated or "".
	StridesBy string   `json:"strides_by"`
	Figures   []Figure `json:"figures"` // those told, in the order of Keys
}

// Figure is one figure of a ride; see Keys.
type Figure struct {
	Key    report.Key     `json:"figure"`
	Figure trace.Estimate `json:"value"`
}

// Figure is the figure of that key; nil where it is not told.
func (r Ride) Figure(k report.Key) *trace.Estimate {
	for i := range r.Figures {
		if r.Figures[i].Key == k {
			return &r.Figures[i].Figure
		}
	}
	return nil
}

// Difference is a figure of the last ride less that of the first.
type Difference struct {
	Key        report.Key     `json:"figure"`
	Difference trace.Estimate `json:"difference"`
	P          float64        `json:"p"` // two-sided, of this figure alone
	Verdict    Verdict        `json:"verdict"`
}

// Trend is the change of a figure from one ride to the next, by least squares over N rides.
type Trend struct {
	Key     report.Key     `json:"figure"`
	PerRide trace.Estimate `json:"per_ride"`
	N       int            `json:"n"`
	P       float64        `json:"p"`
	Verdict Verdict        `json:"verdict"`
}

// Mark points out a ride.
type Mark struct {
	Ride int `json:"ride"` // from 0, in Line.Rides
	// Apart tells that no other ride could be it: its figure is told apart from all others'.
	Apart bool `json:"apart"`
}

// Improvement is whether a line improved from the first ride to the last. Six figures count, each
// better when smaller: how many strides off the planned, how far off the horse's own usual stride, how much
// the stride time varied, how much the pace changed within the line, the angle of the approach, the
// wander of the approach. Better and Worse are those that changed (beyond doubt or likely).
type Improvement struct {
	// Says is "improved" with something better and nothing worse, "declined" the other way about, "mixed"
	// with both, "not resolved" with neither.
	Says    string       `json:"says"`
	Verdict Verdict      `json:"verdict"` // the surest of those that changed
	Better  []report.Key `json:"better"`
	Worse   []report.Key `json:"worse"`
}

// Rounds are the whole rounds of all attempts, and what the last took less the first.
type Rounds struct {
	Rounds      []Round      `json:"rounds"`
	Differences []Difference `json:"differences"`
}

// Round is one go at the whole route.
type Round struct {
	Attempt       int             `json:"attempt"`
	Label         string          `json:"label"`
	Round         int             `json:"round"`
	Complete      bool            `json:"complete"`
	TimeS         *trace.Estimate `json:"time_s"`         // from the start line to the finish
	JumpingS      *trace.Estimate `json:"jumping_time_s"` // from the first take-off to the last landing
	TimeFaults    *int            `json:"time_faults"`
	Disobediences *int            `json:"disobediences"` // nil without positions
	Missed        []string        `json:"missed"`
}

const (
	methodWords  = "over all differences and trends listed: beyond doubt by Holm 1979 at alpha, likely by Benjamini and Hochberg 1995 at likely_wrong"
	assumedWords = "errors of two rides independent; those that both share (tape, plan, reach of the hooves, a watch's lag) cancel, so that the interval of a difference is rather too wide"
)

// NothingInCommonError tells that no line was ridden twice.
type NothingInCommonError struct{ Line string }

func (e *NothingInCommonError) Error() string {
	if e.Line != "" {
		return fmt.Sprintf("the line %s was not ridden twice, expected two rides of it to compare", e.Line)
	}
	return "no line was ridden twice, expected two rides of one to compare"
}

// Of compares. The order of the attempts is that in which they were ridden. It changes none of the
// debriefs. An error tells that no line was ridden twice.
func Of(attempts []Attempt, opt Options) (*Comparison, error) {
	c := &Comparison{Schema: Schema, Level: 0.9, Alpha: Alpha, LikelyWrong: LikelyWrong, Method: methodWords, Assumed: assumedWords,
		Attempts: []AttemptInfo{}, Notes: []trace.Note{}}
	for i, a := range attempts {
		d := a.Debrief
		c.Attempts = append(c.Attempts, AttemptInfo{Label: label(i), Name: a.Name, Files: slices.Clone(d.Recording.Files), Start: d.Recording.Start,
			DurationS: d.Recording.DurationS, Basis: d.Basis, Horse: d.Horse.Name})
		if c.Course == nil && d.Course != nil {
			c.Course = &d.Course.Name
		}
	}
	if slices.ContainsFunc(attempts, func(a Attempt) bool { return a.Debrief.Course != nil && a.Debrief.Course.Name != *c.Course }) {
		c.Course = nil
	}
	samePlan := true
	for _, l := range gather(attempts, opt) {
		if n := otherPlan(&l); n > 0 {
			samePlan = false
			c.Notes = append(c.Notes, trace.Note{Level: "warning", What: fmt.Sprintf("%s to %s: %s left out", l.from, l.to, layout.Count(n, "ride")),
				Why: "held against another plan: its distance there differs from the first ride's"})
		}
		if len(l.rides) >= 2 {
			c.Lines = append(c.Lines, l.compared(len(attempts)))
		}
	}
	if !slices.ContainsFunc(c.Lines, func(l Line) bool { return l.From != "" }) {
		e := &NothingInCommonError{}
		if opt.From != "" {
			e.Line = opt.From + "-" + opt.To
		}
		return nil, e
	}
	if opt.From == "" {
		c.Rounds = compareRounds(attempts, samePlan)
	} else {
		c.Rounds = Rounds{Rounds: []Round{}, Differences: []Difference{}}
	}
	c.judge()
	c.Notes = append(c.Notes, cautionsAbout(attempts)...)
	c.Notes = append(c.Notes, warningsOf(attempts)...)
	return c, nil
}

// judge gives every difference and trend its verdict, all together, and then the lines theirs.
func (c *Comparison) judge() {
	var p []float64
	var into []*Verdict
	add := func(x float64, v *Verdict) { p, into = append(p, x), append(into, v) }
	for i := range c.Lines {
		l := &c.Lines[i]
		for k := range l.Differences {
			add(l.Differences[k].P, &l.Differences[k].Verdict)
		}
		for k := range l.Trends {
			add(l.Trends[k].P, &l.Trends[k].Verdict)
		}
	}
	for k := range c.Rounds.Differences {
		add(c.Rounds.Differences[k].P, &c.Rounds.Differences[k].Verdict)
	}
	c.Tests = len(p)
	sure, likely := Holm(p, Alpha), BenjaminiHochberg(p, LikelyWrong)
	for i := range p {
		switch {
		case sure[i]:
			*into[i] = BeyondDoubt
		case likely[i]:
			*into[i] = Likely
		default:
			*into[i] = NotResolved
		}
	}
	for i := range c.Lines {
		l := &c.Lines[i]
		l.Improvement = improvement(l.Differences)
		if c.FirstImproved == nil && l.From != "" && l.Improvement.Says == "improved" {
			c.FirstImproved = &Way{l.From, l.To}
		}
	}
}

func improvement(diffs []Difference) Improvement {
	out := Improvement{Says: "not resolved", Verdict: NotResolved, Better: []report.Key{}, Worse: []report.Key{}}
	for _, d := range diffs {
		if d.Verdict == NotResolved || !d.Key.Figure().Better {
			continue
		}
		if d.Difference.Value < 0 {
			out.Better = append(out.Better, d.Key)
		} else {
			out.Worse = append(out.Worse, d.Key)
		}
		if out.Verdict != BeyondDoubt {
			out.Verdict = d.Verdict
		}
	}
	switch {
	case len(out.Better) > 0 && len(out.Worse) > 0:
		out.Says = "mixed"
	case len(out.Better) > 0:
		out.Says = "improved"
	case len(out.Worse) > 0:
		out.Says = "declined"
	}
	return out
}

// otherCourses tells that not all plans have one name.
func otherCourses(attempts []Attempt) bool {
	first := attempts[0].Debrief.Course
	return slices.ContainsFunc(attempts[1:], func(a Attempt) bool {
		c := a.Debrief.Course
		return (c == nil) != (first == nil) || c != nil && c.Name != first.Name
	})
}

// cautionsAbout are what makes rides hard to compare.
func cautionsAbout(attempts []Attempt) []trace.Note {
	var notes []trace.Note
	first := attempts[0].Debrief
	bases, horses := false, false
	for _, a := range attempts[1:] {
		d := a.Debrief
		bases = bases || d.Basis != first.Basis
		horses = horses || d.Horse.Name != nil && first.Horse.Name != nil && *d.Horse.Name != *first.Horse.Name
	}
	if otherCourses(attempts) {
		notes = append(notes, trace.Note{Level: "warning", What: "the debriefs are of plans with different names",
			Why: "lines are matched by the obstacles' numbers; they compare only if it was the same course"})
	}
	if horses {
		notes = append(notes, trace.Note{Level: "caution", What: "different horses", Why: "a difference may be the horse's, not the ride's"})
	}
	if bases {
		notes = append(notes, trace.Note{Level: "caution", What: "recorded by different devices",
			Why: "positions and motion sensors err in different ways; errors that one device would share do not cancel"})
	}
	if a, b, ok := outOfOrder(attempts); ok {
		notes = append(notes, trace.Note{Level: "info", What: fmt.Sprintf("%s was recorded after %s", label(a), label(b)),
			Why: "the order in which the rides were given is taken, not that of their dates"})
	}
	for _, a := range attempts {
		for _, l := range a.Debrief.Lines {
			if l.StridesBy == "estimated" {
				return append(notes, trace.Note{Level: "caution", What: "strides estimated, not counted",
					Why: "without a motion sensor a difference of strides is likely at most"})
			}
		}
	}
	return notes
}

// warningsOf are the warnings of the debriefs themselves; what these say besides is theirs to tell.
func warningsOf(attempts []Attempt) []trace.Note {
	var notes []trace.Note
	for i, a := range attempts {
		for _, n := range a.Debrief.Notes {
			if n.Level != "warning" {
				continue
			}
			if len(attempts) > 1 {
				n.What = label(i) + ": " + n.What
			}
			notes = append(notes, n)
		}
	}
	return notes
}

// outOfOrder finds two attempts given in another order than recorded.
func outOfOrder(attempts []Attempt) (a, b int, ok bool) {
	var last time.Time
	for i, x := range attempts {
		if x.Debrief.Recording.Start == nil {
			continue
		}
		at, err := time.Parse(time.RFC3339, *x.Debrief.Recording.Start)
		if err != nil {
			continue
		}
		if at.Before(last) {
			return a, i, true
		}
		last, a = at, i
	}
	return 0, 0, false
}

// label is a short name of an attempt: A to Z, then by number.
func label(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return fmt.Sprint(i + 1)
}

// maxNumber bounds what a figure may be, so that differences of figures stay finite. No ride has such.
const maxNumber = 1e9

// finite tells an estimate that can be told.
func finite(e *trace.Estimate) bool {
	if e == nil {
		return false
	}
	for _, x := range []float64{e.Value, e.Low, e.High} {
		if math.IsNaN(x) || math.Abs(x) > maxNumber {
			return false
		}
	}
	return e.Low <= e.Value && e.Value <= e.High
}
