package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"groundline/course"
	"groundline/course/horse"
	"groundline/course/prior"
	"groundline/report/layout"
	"groundline/trace"
)

// ElementAnswer is what happened at one element of the course, why, and what to do next time. Words and probability come from one
// decision: what is less probable than 0.75 is not said, from 0.95 on it is said plainly, between with "probably".
type ElementAnswer struct {
	Element string  `json:"element"` // "3-4", "1", "round 1"
	Attempt int     `json:"attempt"`
	What    string  `json:"what"`
	Why     *string `json:"why"`  // nil where no cause is at least probable
	Next    *string `json:"next"` // nil where there is nothing to suggest; the instructor decides
	P       float64 `json:"p"`    // that what is said is so
	// Against are the references that it is said against: plan, horse, last time.
	Against []string `json:"against"`
	// Figures are the estimates used, by their names in the debrief.
	Figures map[string]trace.Estimate `json:"figures"`
}

const (
	// Less than this of a line's ground is no cause that a rider could feel (ours: half a step).
	causeM = 0.3
	// A pace this far from the prescribed one is worth a word (m/min; ours: four seconds in a minute).
	paceOffMMin = 20.0
	// A turn this much longer or shorter than planned is worth a word, metres (ours: a horse's length).
	turnOffM = 2.5
	// Off square by so much a fence is jumped at an angle; off a straight line by so much the approach was crooked.
	angleOffDeg, crookedM = 12.0, 0.35
	// A take-off this far from the usual is deep or stood off, metres (ours: more than jumps differ anyway).
	takeoffOffM = 0.35
	// The count is certain where its interval, which holds it nine times in ten, has one number.
	countP = 0.95
)

// SetAnswers fills in the answers, in the order ridden. It rests on fits and budgets.
func (d *Debrief) SetAnswers() { d.Answers = d.AnswersIn(Metric) }

// AnswersIn are the answers with lengths in these units.
func (d *Debrief) AnswersIn(units Units) []ElementAnswer {
	out := []ElementAnswer{}
	for _, a := range d.answersIn(units) {
		out = append(out, a.ElementAnswer)
	}
	return out
}

func (d *Debrief) answersIn(units Units) (out []*answer) {
	if d.Course == nil {
		return out
	}
	s := speaker{d: d, units: units, ends: d.Ends(), last: map[string]*Line{}}
	// The strides are planned by the size where it is known; else 12 ft are meant, of which a pony has less than nine tenths.
	if u := d.Horse.CanterStrideM; u != nil {
		s.small = 1-above(*u, 0.9*prior.SizeRel().Value*course.StandardStrideM) >= horse.Probable
	}
	if d.Plan != nil {
		s.speedMS = d.Plan.SpeedMMin / 60
	}
	into := map[*Effort]int{} // the line that ends at an effort
	for i := range d.Lines {
		if b := s.ends[i][1]; b != nil {
			into[b] = i
		}
	}
	for k := range d.Efforts {
		e := &d.Efforts[k]
		i, ok := into[e]
		switch {
		case e.Obstacle == nil:
		case e.Outcome == "refused" || e.Outcome == "ran out":
			out = append(out, s.disobedience(e))
		case ok && aside(d, d.Lines[i]):
		case ok:
			out = append(out, s.line(i))
		case e.Outcome == "jumped":
			out = append(out, s.first(e))
		}
	}
	for _, r := range d.Rounds {
		if a, ok := s.round(r); ok {
			out = append(out, a)
		}
	}
	return out
}

// speaker puts a debrief into sentences.
type speaker struct {
	d       *Debrief
	units   Units
	ends    [][2]*Effort
	speedMS float64          // the plan's; 0: none
	last    map[string]*Line // of each element, the ride before
	small   bool             // its stride is at least probably a pony's
}

// above is the probability that an estimate's truth is above x.
func above(e trace.Estimate, x float64) float64 {
	sd := e.SD()
	if sd < 1e-9 {
		if e.Value > x {
			return 1
		}
		return 0
	}
	return distuv.UnitNormal.CDF((e.Value - x) / sd)
}

// graded puts "probably" before what is not certain.
func graded(p float64, words string) string {
	if p < horse.Certain {
		return "probably " + words
	}
	return words
}

// about is a length as people say it: to the decimetre, or to half a foot.
func (s speaker) about(m float64) string {
	if s.units == Imperial {
		return fmt.Sprintf("%g ft", math.Max(0.5, math.Round(math.Abs(m)/0.3048*2)/2))
	}
	return layout.Number(math.Max(0.1, math.Abs(m)), 1) + " m"
}

func mPerMin(ms float64) string { return fmt.Sprintf("%.0f m/min", math.Round(ms*60/5)*5) }

// numeral is a small number in words.
func numeral(n int) string {
	names := []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}
	if n >= 0 && n < len(names) {
		return names[n]
	}
	return fmt.Sprint(n)
}

func stridesWord(n int) string {
	if n == 1 {
		return "one stride"
	}
	return numeral(n) + " strides"
}

// counted is the number of strides as far as it is known: one number, or the two ends of its interval.
func countOf(l *Line) (n int, words string, sure bool) {
	if l.Strides == nil {
		return 0, "", false
	}
	low, high := int(math.Round(l.Strides.Low)), int(math.Round(l.Strides.High))
	n = int(math.Round(l.Strides.Value))
	switch {
	case low == high:
		return n, stridesWord(n), true
	case high == low+1:
		return n, numeral(low) + " or " + stridesWord(high), false
	}
	return n, fmt.Sprintf("%s to %s", numeral(low), stridesWord(high)), false
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// fullStop joins parts to one that begins with a capital and ends with a stop.
func fullStop(parts []string) string {
	return upperFirst(strings.TrimSuffix(strings.Join(parts, ", "), ".")) + "."
}

// statement is one thing said: its words, how probable it is, and what it is held against.
type statement struct {
	words   string
	p       float64
	against string
}

// answer gathers what is said.
type answer struct {
	ElementAnswer
	parts []string
	quiet bool // nothing stands out
}

func (s speaker) begin(element string, attempt int) *answer {
	return &answer{ElementAnswer: ElementAnswer{Element: element, Attempt: attempt, P: 1, Against: []string{}, Figures: map[string]trace.Estimate{}}}
}

func (a *answer) say(x statement) {
	if x.words == "" {
		return
	}
	a.parts = append(a.parts, x.words)
	a.P = min(a.P, x.p)
	if x.against != "" && !slices.Contains(a.Against, x.against) {
		a.Against = append(a.Against, x.against)
	}
}

func (a *answer) use(name string, e *trace.Estimate) {
	if e != nil {
		a.Figures[name] = *e
	}
}

func (a *answer) because(words string) {
	if words != "" {
		w := upperFirst(words) + "."
		a.Why = &w
	}
}

func (a *answer) next(words string) {
	if words != "" {
		w := upperFirst(words) + "."
		a.Next = &w
	}
}

func (a *answer) done(fallback string) *answer {
	if len(a.parts) == 0 {
		a.parts, a.quiet = []string{fallback}, true
	}
	a.What = fullStop(a.parts)
	a.P = math.Round(a.P*1000) / 1000
	return a
}

// line is the answer about one ride of one line and the fence at its end.
func (s speaker) line(i int) *answer {
	l := &s.d.Lines[i]
	a := s.begin(l.From+"-"+l.To, l.Attempt)
	a.use("strides", l.Strides)
	a.use("speed_m_s", l.SpeedMS)
	if l.Fit != nil {
		a.use("per_stride_m", l.Fit.PerStrideM)
	}
	if l.Budget != nil {
		a.use("track_extra_m", l.Budget.TrackExtraM)
	}
	defer func() { s.last[a.Element] = l }()
	switch course.LineKind(l.Kind) {
	case course.Related, course.Bending, course.Combination:
		return s.related(a, i, l)
	default:
		return s.turn(a, i, l)
	}
}

// related is a line ridden on a number of strides.
func (s speaker) related(a *answer, i int, l *Line) *answer {
	n, words, sure := countOf(l)
	off := 0 // strides more or fewer than planned
	if l.round() {
		a.say(statement{"not ridden straight away", 1, ""})
		return a.done("")
	}
	switch {
	case words == "":
		a.say(statement{"the strides can't be counted from this recording", 1, ""})
	case !sure && l.PlannedStrides != nil && float64(*l.PlannedStrides) >= math.Round(l.Strides.Low) && float64(*l.PlannedStrides) <= math.Round(l.Strides.High):
		a.say(statement{words + " (" + numeral(*l.PlannedStrides) + " planned)", 0.9, "plan"})
	case l.PlannedStrides == nil:
		a.say(statement{words, countP, ""})
	default:
		off = n - *l.PlannedStrides
		if sure {
			a.say(statement{words + planned(off, *l.PlannedStrides), countP, "plan"})
			break
		}
		word := "fewer"
		if off > 0 {
			word = "more"
		}
		a.say(statement{fmt.Sprintf("%s, %s than the %s planned", words, word, numeral(*l.PlannedStrides)), 0.9, "plan"})
	}
	verdict := l.Fit.Verdict()
	if verdict != "" {
		p := max(l.Fit.PLong, l.Fit.PRight, l.Fit.PShort)
		word := verdict + " for this horse"
		if verdict == "right" {
			word = "right for this horse"
		} else if math.Abs(l.Fit.PerStrideM.Value) < touchM {
			word = "a touch " + word
		} else {
			word += ", " + s.about(l.Fit.PerStrideM.Value) + " a stride"
		}
		a.say(statement{graded(p, word), p, "horse"})
	}
	var slow paceSaid
	if l.Kind != string(course.Combination) {
		slow = s.paceOff(l.SpeedMS)
	}
	a.say(slow.statement)
	edges := s.edges(a, l, i)
	causes := s.causes(l, verdict, off)
	a.because(strings.Join(causes.words, ", "))
	a.next(s.nextOnALine(l, off, verdict, slow, causes, edges))
	s.since(a, l)
	return a.done("")
}

// planned is how a count compares with the plan.
func planned(off, want int) string {
	switch {
	case off == 0:
		return ", as planned"
	case off == 1:
		return ", one added"
	case off == -1:
		return ", one left out"
	case off > 0:
		return fmt.Sprintf(", %s added (%s planned)", numeral(off), numeral(want))
	}
	return fmt.Sprintf(", %s left out (%s planned)", numeral(-off), numeral(want))
}

type paceSaid struct {
	statement
	slower, faster bool
}

// paceOff is how a pace compares with the plan's.
func (s speaker) paceOff(v *trace.Estimate) (out paceSaid) {
	if v == nil || s.speedMS <= 0 {
		return out
	}
	low, high := 1-above(*v, s.speedMS-paceOffMMin/60), above(*v, s.speedMS+paceOffMMin/60)
	switch {
	case low >= horse.Probable:
		out = paceSaid{statement{graded(low, "under the pace at "+mPerMin(v.Value)), low, "plan"}, true, false}
	case high >= horse.Probable:
		out = paceSaid{statement{graded(high, "over the pace at "+mPerMin(v.Value)), high, "plan"}, false, true}
	}
	return out
}

// edgeSaid is how the fence at the end was jumped.
type edgeSaid struct{ deep, off, crooked, angled bool }

// edges says what there is to say of the take-off at the end of line i.
func (s speaker) edges(a *answer, l *Line, i int) (out edgeSaid) {
	b := s.ends[i][1]
	if b == nil {
		return out
	}
	if u := against(l); u != nil && u.TakeoffM != nil {
		a.use("takeoff_against_usual_m", u.TakeoffM)
		switch deep, stood := 1-above(*u.TakeoffM, -takeoffOffM), above(*u.TakeoffM, takeoffOffM); {
		case deep >= horse.Probable:
			out.deep = true
			a.say(statement{graded(deep, "got deep to "+l.To), deep, "horse"})
		case stood >= horse.Probable:
			out.off = true
			a.say(statement{graded(stood, "stood off "+l.To), stood, "horse"})
		}
	}
	ap := b.Approach
	if ap != nil && ap.AngleDeg != nil {
		right, left := above(*ap.AngleDeg, angleOffDeg), 1-above(*ap.AngleDeg, -angleOffDeg)
		if p, side := max(left, right), map[bool]string{true: "right", false: "left"}[right > left]; p >= horse.Probable && math.Abs(ap.AngleDeg.Value) > angleOffDeg {
			out.angled = true
			a.use("angle_deg", ap.AngleDeg)
			a.say(statement{graded(p, fmt.Sprintf("jumped %s at a %.0f° angle to the %s", l.To, math.Abs(ap.AngleDeg.Value), side)), p, "plan"})
		}
	}
	if ap != nil && ap.StraightRMSM != nil {
		if p := above(*ap.StraightRMSM, crookedM); p >= horse.Probable && !out.angled {
			out.crooked = true
			a.use("straight_rms_m", ap.StraightRMSM)
			a.say(statement{graded(p, "crooked to "+l.To), p, ""})
		}
	}
	return out
}

func against(l *Line) *AgainstUsual {
	if l.Budget == nil {
		return nil
	}
	return l.Budget.AgainstUsual
}

// causes are the parts of a line's budget that are at least probable and large enough to feel.
type causes struct {
	words                                  []string
	wide, cut, slow, fast, quietIn, boldIn bool
}

func (s speaker) causes(l *Line, verdict string, off int) (out causes) {
	if l.Budget == nil || off == 0 && verdict != "long" && verdict != "short" {
		return out // nothing to explain
	}
	type part struct {
		e          *trace.Estimate
		more, less string
		set, unset *bool
		shortens   bool // more of it leaves less ground for the strides
	}
	u := l.Budget.AgainstUsual
	parts := []part{}
	if l.Kind == string(course.Bending) {
		parts = append(parts, part{l.Budget.TrackExtraM, "%s wider than the straight line of the plan", "%s cut in", &out.wide, &out.cut, false})
	}
	if u != nil {
		parts = append(parts, part{u.LandingM, "landed %s further in than usual", "landed %s short of usual", &out.boldIn, &out.quietIn, true},
			part{u.PaceM, "a quicker pace, %s over the strides", "a slower pace, %s less over the strides", &out.fast, &out.slow, false},
			part{u.GradeM, "downhill, %s more", "uphill, %s less", nil, nil, false}, part{u.HomeM, "towards home, %s more", "away from home, %s less", nil, nil, false})
	}
	type found struct {
		size  float64
		words string
	}
	var all []found
	shorter := verdict == "short" || off > 0 && verdict != "long"
	for _, q := range parts {
		if q.e == nil {
			continue
		}
		// What made the strides longer is no cause of shorter ones, but a wider track makes room for one more.
		lengthens := q.e.Value > 0 != q.shortens
		if lengthens == shorter && !(q.set == &out.wide && off > 0 && q.e.Value > 0) {
			continue
		}
		switch more, less := above(*q.e, 0), 1-above(*q.e, 0); {
		case math.Abs(q.e.Value) < causeM:
		case more >= horse.Probable:
			all = append(all, found{q.e.Value, graded(more, fmt.Sprintf(q.more, s.about(q.e.Value)))})
			if q.set != nil {
				*q.set = true
			}
		case less >= horse.Probable:
			all = append(all, found{-q.e.Value, graded(less, fmt.Sprintf(q.less, s.about(q.e.Value)))})
			if q.unset != nil {
				*q.unset = true
			}
		}
	}
	slices.SortStableFunc(all, func(a, b found) int {
		switch {
		case a.size > b.size:
			return -1
		case a.size < b.size:
			return 1
		}
		return 0
	})
	for _, f := range all {
		out.words = append(out.words, f.words)
	}
	return out
}

// nextOnALine is the one suggestion for a line. It never asks for more pace than the plan's, and where the pace is not below
// the plan's, or the plan has none, it asks for no more pace at all.
func (s speaker) nextOnALine(l *Line, off int, verdict string, v paceSaid, c causes, e edgeSaid) string {
	want := ""
	if l.PlannedStrides != nil {
		want = numeral(*l.PlannedStrides)
	}
	switch {
	case off > 0 && c.wide:
		return "hold the line to the middle of " + l.To + ", or ride the " + numeral(*l.PlannedStrides+off) + " on purpose"
	case off > 0 && s.small:
		return "ride the added stride: this horse's stride is shorter than what the distance is planned for"
	case off == 1 && v.slower && l.Kind != string(course.Combination):
		return "pick up the pace before the corner, to the plan's " + mPerMin(s.speedMS) + " and no more, or ride the " + numeral(*l.PlannedStrides+off)
	case off > 0:
		return "the added stride is the safe one; ride it on purpose, and even"
	case off < 0:
		return "steady on landing and wait for the fence: there is room for the " + want
	case e.crooked || e.angled:
		return "straighten before " + l.To
	case verdict == "short" && e.deep || verdict == "long" && c.boldIn || verdict == "short" && c.boldIn:
		return "steady on landing, wait for the fence"
	case verdict == "long" && c.wide:
		return "hold the line to the middle of " + l.To
	case verdict == "long":
		return "long at this count: keep the rhythm, or ask the instructor about one more stride"
	case verdict == "short":
		return "keep this count; collect early in the line rather than at the fence"
	case v.faster:
		return "come back to the plan's " + mPerMin(s.speedMS) + " before the line"
	case l.PlannedStrides != nil && l.Strides != nil && verdict == "right":
		return "keep this"
	}
	return ""
}

// turn is a way whose strides nobody counts: a rollback, or the turn to a fence.
func (s speaker) turn(a *answer, i int, l *Line) *answer {
	rollback := l.Kind == string(course.Rollback)
	wide, tight := false, false
	if b := l.Budget; b != nil && b.TrackExtraM != nil {
		longer, shorter := above(*b.TrackExtraM, turnOffM), 1-above(*b.TrackExtraM, -turnOffM)
		seconds := ""
		if l.SpeedMS != nil && l.SpeedMS.Value > 1 {
			seconds = fmt.Sprintf(" (about %.0f s)", math.Max(1, math.Abs(b.TrackExtraM.Value)/l.SpeedMS.Value))
		}
		switch {
		case longer >= horse.Probable:
			wide = true
			a.say(statement{graded(longer, "turned "+s.metres(b.TrackExtraM.Value)+" wider than planned"+seconds), longer, "plan"})
		case shorter >= horse.Probable:
			tight = true
			a.say(statement{graded(shorter, "cut "+s.metres(b.TrackExtraM.Value)+" off the planned track"+seconds), shorter, "plan"})
		case rollback && 1-longer-shorter >= horse.Probable:
			p := 1 - longer - shorter
			a.say(statement{graded(p, "about the planned track"), p, "plan"})
		}
	}
	if t := l.Turn; rollback && t != nil {
		if t.RadiusMinM != nil {
			a.use("radius_min_m", t.RadiusMinM)
			a.say(statement{"tightest radius " + s.about(t.RadiusMinM.Value), 0.9, ""})
		}
		if t.SpeedMinMS != nil && l.SpeedMS != nil && t.SpeedMinMS.High < l.SpeedMS.Low {
			a.use("speed_min_m_s", t.SpeedMinMS)
			a.say(statement{"slowest " + mPerMin(t.SpeedMinMS.Value), 0.95, ""})
		}
	}
	slow := s.paceOff(l.SpeedMS)
	if !rollback {
		a.say(slow.statement)
	}
	e := s.edges(a, l, i)
	switch {
	case wide && rollback:
		a.next("turn a little earlier to the planned track, no tighter than it")
	case tight && (e.angled || e.crooked):
		a.because("no room left to straighten after the short turn")
		a.next("give the turn more room and straighten before " + l.To)
	case e.angled || e.crooked:
		a.next("straighten before the turn ends, to the middle of " + l.To)
	case e.deep && slow.faster:
		a.because("over the pace to the fence")
		a.next("steady after the turn, wait for " + l.To)
	case e.deep && slow.slower:
		a.because("the pace came back late after the turn")
		a.next("let the pace come back earlier after the turn, to the plan's and no more")
	case tight && rollback:
		a.next("fine if it stays straight and in balance; else the planned track")
	}
	s.since(a, l)
	if len(a.parts) == 0 {
		return a.done("to " + l.To + ": nothing stands out")
	}
	return a.done("")
}

// metres is a length of track, to the metre or the foot.
func (s speaker) metres(m float64) string {
	if s.units == Imperial {
		return fmt.Sprintf("%.0f ft", math.Abs(m)/0.3048)
	}
	return fmt.Sprintf("%.0f m", math.Abs(m))
}

// since compares a line with the ride of it before.
func (s speaker) since(a *answer, l *Line) {
	before := s.last[l.From+"-"+l.To]
	if before == nil {
		return
	}
	n, _, sure := countOf(l)
	m, _, sureBefore := countOf(before)
	switch {
	case sure && sureBefore && n != m && n <= 12 && m <= 12:
		a.say(statement{fmt.Sprintf("was %s the time before", numeral(m)), countP, "last time"})
	case l.SpeedMS != nil && before.SpeedMS != nil:
		diff := trace.FromSD(l.SpeedMS.Value-before.SpeedMS.Value, math.Hypot(l.SpeedMS.SD(), before.SpeedMS.SD()))
		quicker, slower := above(diff, paceOffMMin/60), 1-above(diff, -paceOffMMin/60)
		if p := max(quicker, slower); p >= horse.Probable {
			word := "quicker"
			if slower > quicker {
				word = "slower"
			}
			a.say(statement{graded(p, mPerMin(math.Abs(diff.Value))+" "+word+" than the time before"), p, "last time"})
		}
	}
}

// first is a lone fence, or the first of a round.
func (s speaker) first(e *Effort) *answer {
	a := s.begin(*e.Obstacle, e.Attempt)
	v := s.paceOff(e.SpeedMS)
	a.use("speed_m_s", e.SpeedMS)
	a.say(v.statement)
	out := edgeSaid{}
	l := &Line{To: *e.Obstacle}
	s.ends = append(s.ends, [2]*Effort{nil, e})
	out = s.edges(a, l, len(s.ends)-1)
	switch {
	case out.angled || out.crooked:
		a.next("straighten before the turn to " + *e.Obstacle)
	case v.slower:
		a.next("set the plan's pace before the first fence")
	}
	return a.done("to " + *e.Obstacle + ": nothing stands out")
}

// disobedience is a refusal or a run-out.
func (s speaker) disobedience(e *Effort) *answer {
	a := s.begin(*e.Obstacle, e.Attempt)
	word, had := "refused", "refused"
	if e.Outcome == "ran out" {
		word, had = "ran out", "run out"
	}
	if e.Confidence >= horse.Probable {
		a.say(statement{graded(e.Confidence, word+" at "+*e.Obstacle), e.Confidence, ""})
	} else {
		a.say(statement{"may have " + had + " at " + *e.Obstacle, e.Confidence, ""})
	}
	a.next("come again quietly and straight, at the plan's pace or below; the instructor decides")
	return a.done("")
}

// round is the time of a round.
func (s speaker) round(r Round) (*answer, bool) {
	a := s.begin(fmt.Sprintf("round %d", r.Round), 1)
	if r.TimeS == nil || r.TimeAllowedS == nil {
		return nil, false
	}
	a.use("time_s", r.TimeS)
	over := above(*r.TimeS, *r.TimeAllowedS)
	late := r.TimeS.Value - *r.TimeAllowedS
	switch {
	case over >= horse.Probable:
		a.say(statement{graded(over, fmt.Sprintf("%s s over the time allowed of %.0f s", layout.Number(late, 1), *r.TimeAllowedS)), over, "plan"})
		a.because(s.seconds())
	case 1-over >= horse.Probable:
		a.say(statement{graded(1-over, fmt.Sprintf("inside the time allowed, %s s of %.0f s", layout.Number(r.TimeS.Value, 1), *r.TimeAllowedS)), 1 - over, "plan"})
	default:
		a.say(statement{fmt.Sprintf("%s s: too close to call against the time allowed of %.0f s", layout.Number(r.TimeS.Value, 1), *r.TimeAllowedS), max(over, 1-over), "plan"})
	}
	return a.done(""), true
}

// seconds says which ways took the time: those that were ridden wider than planned.
func (s speaker) seconds() string {
	type way struct {
		name string
		s    float64
	}
	var all []way
	for i := range s.d.Lines {
		l := &s.d.Lines[i]
		if l.Budget == nil || l.Budget.TrackExtraM == nil || l.SpeedMS == nil || aside(s.d, *l) || l.SpeedMS.Value < 1 {
			continue
		}
		if e := *l.Budget.TrackExtraM; above(e, turnOffM) >= horse.Probable {
			all = append(all, way{l.From + " to " + l.To, e.Value / l.SpeedMS.Value})
		}
	}
	slices.SortStableFunc(all, func(a, b way) int {
		switch {
		case a.s > b.s:
			return -1
		case a.s < b.s:
			return 1
		}
		return 0
	})
	if len(all) == 0 {
		return ""
	}
	var words []string
	for _, w := range all[:min(2, len(all))] {
		words = append(words, fmt.Sprintf("%s (about %.0f s)", w.name, math.Max(1, w.s)))
	}
	return "wide turns: " + strings.Join(words, ", ")
}

// writeAnswers writes what happened at each element, why, and what to do next time, each with its name; elements at which
// nothing stands out share one row.
func writeAnswers(p *page, d *Debrief, units Units) {
	answers := d.answersIn(units)
	if len(answers) == 0 {
		return
	}
	p.Blank()
	var quiet []string
	const indent = 9
	for _, a := range answers {
		name := strings.Replace(a.Element, "-", " to ", 1)
		if a.Attempt > 1 {
			name += ", " + layout.Ordinal(a.Attempt)
		}
		if strings.HasPrefix(a.Element, "round ") && a.Why == nil {
			continue // the rounds' own rows say it
		}
		if a.quiet {
			quiet = append(quiet, name)
			continue
		}
		words := a.What
		if a.Why != nil {
			words += " " + *a.Why
		}
		if a.Next != nil {
			words += " Next: " + *a.Next
		}
		p.Para(" "+name+strings.Repeat(" ", max(2, indent-1-len([]rune(name)))), indent, words)
	}
	if len(quiet) > 0 {
		p.Para(" ", indent, "Nothing stands out: "+strings.Join(quiet, ", ")+".")
	}
	if words := leadWords(d); words != "" {
		p.Para(" ", indent, words)
	}
}
