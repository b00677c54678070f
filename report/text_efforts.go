package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundline/report/layout"
	"groundline/trace"
)

// Bounds for an effort that deserves a word. None is a rule of the sport: they keep the page
// to what a rider can do something about, and are told in the manual.
const (
	takeoffApartM = 0.30 // a foot nearer or further than the ride's middle take-off
	angledDeg     = 10.0 // across the obstacle: a metre of drift over six of jump
	wordsPerKind  = 3    // the most efforts named for one reason
)

func writeEfforts(p *page, d *Debrief, units Units) {
	p.Heading("Efforts: " + tally(d.Efforts))
	said := disobedienceWords(d.Efforts)
	said = append(said, takeoffWords(d.Efforts, units)...)
	said = append(said, angleWords(d.Efforts)...)
	if words := leadWords(d); words != "" {
		said = append(said, words)
	}
	said = append(said, eventWords(d)...)
	for _, words := range said {
		p.Para(" ", 3, words)
	}
	if d.Course == nil {
		writeUnplaced(p, d.Efforts)
	}
}

// tally counts efforts by outcome.
func tally(efforts []Effort) string {
	n := map[string]int{}
	for _, e := range efforts {
		n[e.Outcome]++
	}
	said := []string{fmt.Sprintf("%d jumped", n["jumped"]+n["warm-up"])}
	if n["warm-up"] > 0 {
		said[0] += fmt.Sprintf(", %d of them to warm up", n["warm-up"])
	}
	if n["refused"] > 0 {
		said = append(said, layout.Count(n["refused"], "refusal"))
	}
	if n["ran out"] > 0 {
		said = append(said, layout.Count(n["ran out"], "run-out"))
	}
	return strings.Join(said, ", ")
}

// effortName is the obstacle, or where in time a jump at none was.
func effortName(e Effort) string {
	if e.Obstacle != nil {
		return *e.Obstacle
	}
	if e.TakeoffS != nil {
		return "the jump at " + clock(e.TakeoffS.Value)
	}
	return "a jump"
}

// disobedienceWords tells each refusal and run-out and what came of it.
func disobedienceWords(efforts []Effort) []string {
	var said []string
	for i, e := range efforts {
		if e.Outcome != "refused" && e.Outcome != "ran out" {
			continue
		}
		words := effortName(e) + ": " + e.Outcome
		if e.TakeoffS != nil {
			words += " at " + clock(e.TakeoffS.Value)
		}
		for _, next := range efforts[i+1:] {
			if effortName(next) != effortName(e) {
				continue
			}
			if next.Outcome == "jumped" {
				words += ", then jumped"
				if next.TakeoffS != nil {
					words += " at " + clock(next.TakeoffS.Value)
				}
			}
			break
		}
		said = append(said, words+".")
	}
	return said
}

// takeoffWords names the take-offs that were beyond doubt nearer or further than the middle
// one of the ride, those furthest apart, in the order of the ride.
func takeoffWords(efforts []Effort, units Units) []string {
	var all []float64
	for _, e := range efforts {
		if e.TakeoffDistanceM != nil {
			all = append(all, e.TakeoffDistanceM.Value)
		}
	}
	if len(all) < 4 {
		return nil // no middle to speak of
	}
	slices.Sort(all)
	middle := (all[(len(all)-1)/2] + all[len(all)/2]) / 2
	apart := func(e Effort) float64 { return math.Abs(e.TakeoffDistanceM.Value - middle) }
	var odd []Effort
	for _, e := range efforts {
		if t := e.TakeoffDistanceM; t != nil && apart(e) >= takeoffApartM && (t.Low > middle || t.High < middle) {
			odd = append(odd, e)
		}
	}
	slices.SortStableFunc(odd, func(a, b Effort) int { return cmp.Compare(apart(b), apart(a)) })
	odd = odd[:min(len(odd), wordsPerKind)]
	slices.SortStableFunc(odd, func(a, b Effort) int { return cmp.Compare(at(a), at(b)) })
	var said []string
	for _, e := range odd {
		word := "close"
		if e.TakeoffDistanceM.Value > middle {
			word = "far out"
		}
		said = append(said, fmt.Sprintf("%s: took off %s, %s; the ride's middle is %s.", effortName(e), word,
			units.length().measured(*e.TakeoffDistanceM), units.radius().plain(middle)))
	}
	return said
}

// at is the take-off's time, for ordering.
func at(e Effort) float64 {
	if e.TakeoffS == nil {
		return 0
	}
	return e.TakeoffS.Value
}

// angleWords names obstacles jumped at an angle beyond doubt.
func angleWords(efforts []Effort) []string {
	var said []string
	for _, e := range efforts {
		if e.Approach == nil || e.Approach.AngleDeg == nil || len(said) == wordsPerKind {
			continue
		}
		a := *e.Approach.AngleDeg
		switch {
		case a.Low > angledDeg:
			said = append(said, fmt.Sprintf("%s: jumped at an angle, %s to the right.", effortName(e), degrees().measured(a)))
		case a.High < -angledDeg:
			said = append(said, fmt.Sprintf("%s: jumped at an angle, %s to the left.", effortName(e), degrees().measured(size(a))))
		}
	}
	return said
}

// leadWords names the efforts after which the horse landed on the other lead than the turn
// that followed.
func leadWords(d *Debrief) string {
	var names []string
	for i, e := range d.Efforts {
		if e.LeadOut == nil || e.Obstacle == nil || i+1 >= len(d.Efforts) {
			continue
		}
		for _, l := range d.Lines {
			next := d.Efforts[i+1].Obstacle
			if next == nil || l.From != *e.Obstacle || l.To != *next || !sameRound(l.Round, e.Round) || l.Turn == nil {
				continue
			}
			if l.Turn.Direction != "straight" && *e.LeadOut != "disunited" && l.Turn.Direction != *e.LeadOut {
				names = append(names, *e.Obstacle)
			}
			break
		}
	}
	if len(names) == 0 {
		return ""
	}
	return "Landed on the other lead than the next turn: " + strings.Join(names, ", ") + "."
}

func sameRound(a, b *int) bool {
	return (a == nil) == (b == nil) && (a == nil || *a == *b)
}

// writeUnplaced lists the jumps of a ride without a plan, by time.
func writeUnplaced(p *page, efforts []Effort) {
	var rows []tableRow
	for i, e := range efforts {
		if e.TakeoffS == nil {
			continue
		}
		cells := []string{fmt.Sprint(i + 1), clock(e.TakeoffS.Value), "", ""}
		if e.LandingS != nil {
			cells[2] = seconds().plain(e.LandingS.Value - e.TakeoffS.Value)
		}
		if e.SpeedMS != nil {
			cells[3] = pace().measured(*e.SpeedMS)
		}
		rows = append(rows, tableRow{cells: cells})
	}
	p.table([]string{"jump", "at", "flight", "pace"}, rows)
}

func writeRounds(p *page, d *Debrief) {
	if d.Course == nil {
		return
	}
	p.Heading("Rounds")
	if len(d.Rounds) == 0 {
		p.Para(" ", 1, "No whole round in this recording.")
		return
	}
	for _, r := range d.Rounds {
		p.Para(" ", 3, roundWords(r))
	}
}

func roundWords(r Round) string {
	said := []string{fmt.Sprintf("Round %d complete", r.Round)}
	if !r.Complete {
		said[0] = fmt.Sprintf("Round %d not complete", r.Round)
	}
	if len(r.Missed) > 0 {
		said[0] += " (without " + strings.Join(r.Missed, ", ") + ")"
	}
	if r.TimeS != nil {
		said = append(said, seconds().measured(*r.TimeS))
	} else {
		said = append(said, "not timed")
	}
	if r.TimeAllowedS != nil {
		said = append(said, "allowed "+seconds().plainShort(*r.TimeAllowedS))
	}
	if r.TimeFaults != nil {
		timed := ""
		switch {
		case r.TimeS != nil && r.TimeAllowedS != nil && r.TimeS.Low <= *r.TimeAllowedS && *r.TimeAllowedS < r.TimeS.High:
			timed = "too close to call for time faults"
		case *r.TimeFaults == 0:
			timed = "no time faults"
		default:
			timed = layout.Count(*r.TimeFaults, "time fault")
		}
		said = append(said, timed+" (rails not seen)")
	}
	if n := r.Disobediences; n != nil && *n > 0 {
		said = append(said, layout.Plural(*n, "disobedience", "disobediences"))
	}
	return strings.Join(said, ", ") + "."
}

// toldNotes is how many notes the text has room for.
const toldNotes = 6

// writeNotes numbers what was uncertain and why, the gravest first; notes that share a reason
// stand together. Without all it keeps to the first few.
func writeNotes(p *page, d *Debrief, all bool) {
	type group struct {
		what []string
		why  string
	}
	var groups []group
	for _, level := range []string{"warning", "caution", "info"} {
		for _, n := range d.Notes {
			if n.Level != level {
				continue
			}
			i := slices.IndexFunc(groups, func(g group) bool { return g.why == n.Why })
			switch {
			case i < 0:
				groups = append(groups, group{[]string{n.What}, n.Why})
			case !slices.Contains(groups[i].what, n.What):
				groups[i].what = append(groups[i].what, n.What)
			}
		}
	}
	if len(groups) == 0 {
		return
	}
	p.Heading("What is uncertain or left out, and why")
	for i, g := range groups {
		if i == toldNotes && !all {
			p.Para(" ", 1, fmt.Sprintf("and %d more (--explain)", len(groups)-toldNotes))
			break
		}
		words := strings.Join(g.what, "; ")
		if g.why != "" {
			words += ": " + g.why
		}
		lead := fmt.Sprintf(" %d ", i+1)
		p.Para(lead, len(lead), strings.TrimSuffix(words, ".")+".")
	}
}

// writeCautions says once what every reader must know: that distances are guides and who
// decides (printed warnings of published distance tables), and that this is no
// veterinary tool.
func writeCautions(p *page) {
	p.Blank()
	p.Para("", 0, "Distances are guides; the instructor on the ground and the rules in force decide. "+
		"No veterinary tool: a stride that stays short or uneven is for the vet.")
}

// moved says a shift by its size and the way it goes, as people do, not by a sign.
func moved(q quantity, si float64, ahead, behind string) string {
	if si < 0 {
		ahead = behind
	}
	return q.plain(math.Abs(si)) + " " + ahead
}

// writeExplained gives every figure of every effort, for who wants to check.
func writeExplained(p *page, d *Debrief, units Units) {
	if c := d.Course; c != nil && c.Placed != nil {
		p.Heading("Where the course was laid")
		q := units.length()
		p.Para(" ", 1, fmt.Sprintf("The plan moved %s, %s, turned %s, to lie under the track; jumps are then %s off their obstacles.",
			moved(q, c.Placed.RightM, "right", "left"), moved(q, c.Placed.ForwardM, "forward", "back"),
			fmt.Sprintf("%.1f°", c.Placed.TurnDeg), q.plain(c.Placed.ResidualM)))
	}
	var rows []tableRow
	for _, e := range d.Efforts {
		cells := []string{effortName(e), e.Outcome, "", "", "", "", "", fmt.Sprintf("%.2f", e.Confidence)}
		set := func(i int, q quantity, x *trace.Estimate) {
			if x != nil {
				cells[i] = q.bare(*x)
			}
		}
		set(2, seconds(), e.TakeoffS)
		set(3, units.length(), e.TakeoffDistanceM)
		set(4, units.length(), e.LandingDistanceM)
		set(5, pace(), e.SpeedMS)
		if e.LeadIn != nil || e.LeadOut != nil {
			cells[6] = said(e.LeadIn) + "/" + said(e.LeadOut)
		}
		rows = append(rows, tableRow{cells: cells})
	}
	if len(rows) > 0 {
		u := units.length().unit
		p.table([]string{"Effort", "", "take-off s", "off " + u, "land " + u, "m/min", "leads", "sure"}, rows)
	}
	if len(d.Rejected) > 0 {
		p.Heading("Taken for no jump")
		for _, x := range d.Rejected {
			p.Para(" ", 3, fmt.Sprintf("%s: %s (%.3g, limit %.3g).", clock(x.AtS), x.Rule, x.Found, x.Limit))
		}
	}
	headed := false
	for _, l := range d.Lines {
		if len(l.StrideLengthsM) == 0 {
			continue
		}
		if !headed {
			p.Heading("Stride by stride, " + units.length().unit)
			headed = true
		}
		words := make([]string, len(l.StrideLengthsM))
		for i, s := range l.StrideLengthsM {
			words[i] = layout.Number(s*units.length().perSI, units.length().decimals)
		}
		lead := fmt.Sprintf(" %s to %s, %s: ", l.From, l.To, layout.Ordinal(l.Attempt))
		p.Para(lead, len(lead), strings.Join(words, " "))
	}
	if words := gaitTotals(d.Gaits); words != "" && len(d.Efforts) > 0 {
		p.Heading("Gaits")
		p.Para(" ", 1, words)
	}
}

func said(s *string) string {
	if s == nil {
		return "-"
	}
	return *s
}
