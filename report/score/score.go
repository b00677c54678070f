package score

import (
	"math"
	"sort"
	"time"

	"groundline/report"
	"groundline/trace"
)

// Windows and limits of the judging.
const (
	// JumpWindowS pairs jumps: less than half of the least time between two take-offs
	// of a one-stride double (1.1 s), so that no jump can pass for its neighbour.
	JumpWindowS = 0.5
	// SlowJumpWindowS pairs jumps where the only source is a fix a second or slower: three fixes.
	SlowJumpWindowS = 1.5
	// StrideNarrowS pairs strides for precision and recall: a tenth of a canter stride.
	StrideNarrowS = 0.06
	// StrideWideS pairs strides for bias and leads: half a canter stride.
	StrideWideS = 0.3
	// ShortLine is the longest line, in strides, of the first group: what a trainer calls related
	// ends at six to eight, and the count is asked for up to one more.
	ShortLine = 9
	// MinConfidence is from where on an effort counts as reported.
	MinConfidence = 0.5
	// TurnMinDeg and TurnMaxRadiusM tell what is scored as a turn: the tightest radius of a line that hardly
	// turns, or never tightly, is a quotient of two small numbers and means nothing to a rider.
	TurnMinDeg     = 30.0
	TurnMaxRadiusM = 40.0
)

// Gaits are the gaits in the order of the confusion matrix.
func Gaits() []string { return []string{"halt", "walk", "trot", "canter"} }

// Lines counts the strides of lines.
type Lines struct {
	True, Told, Exact, Within1 int
}

// Called is one reported jump: how sure the debrief was, and whether it was one.
type Called struct {
	Confidence float64
	Right      bool
}

// Result is the comparison of one debrief, or of several merged, with the truth.
type Result struct {
	Rounds int
	// WindowS is the widest window that jumps were paired with.
	WindowS float64

	// Jumps: obstacles taken, in the round or before it. RightOutcome tells these two apart.
	TrueJumps, FoundJumps       int
	ReportedJumps               int // of which FoundJumps are true
	RightObstacle, RightOutcome int // of FoundJumps
	Confidence                  []Called

	// Refusals and run-outs. Found: reported at the right obstacle between the same jumps, as either.
	TrueRefusals, FoundRefusals, RightRefusalKind, FalseRefusals int

	TakeoffS, LandingS                 Figure
	TakeoffDistanceM, LandingDistanceM Figure
	OverSpeedMS                        Figure

	Short, Long Lines // up to ShortLine strides | more
	// Of the lines:
	Strides, StrideLengthM, StrideS, SpeedMS, TrackM Figure
	TurnedDeg, RadiusMinM                            Figure // RadiusMinM of turns only
	Grade, Homeward                                  Figure // told without an interval
	TrueTurns, RightTurns                            int    // lines that turn, and those with the right direction

	// GaitS is the time by true gait (row) and told gait (column, the last one for none), seconds, in
	// the order of [Gaits].
	GaitS [4][5]float64

	// Canter strides.
	TrueStrides, ToldStrides, PairedStrides int       // paired within StrideNarrowS
	StrideBiasS                             []float64 // found - true, within StrideWideS
	TrueLeads, ToldLeads, RightLeads        int
	// Of TrueLeads the disunited strides, those reported as such, and strides that were called disunited and were not.
	TrueDisunited, FoundDisunited, FalseDisunited int

	// The horse's usual stride in this ride, of the strides of lines of three and more.
	UsualStrideM, UsualStrideS Figure

	// Verdicts on related and bending lines whose true stride is more than OffUsualM off the horse's usual: how many there
	// were, how many were called long, right or short, and how many of these were called so truly.
	OffUsual, CalledOff, RightOff int

	Failed int // rounds whose debrief could not be made; they count with all their truths and nothing found

	ClockS  Figure    // told without an interval; where two clocks were recorded
	PlacedM []float64 // distance of the placing from the receiver's true offset, one a round
}

// Round compares one debrief with what happened.
func Round(d *report.Debrief, t *Truth) *Result {
	r := &Result{Rounds: 1}
	shift := clockShift(d, t)
	pairs := r.efforts(d, t, shift)
	r.refusals(d, t, pairs)
	r.lines(d, t, pairs)
	r.gaits(d, t, shift)
	r.strides(d, t, shift)
	r.usual(d, t)
	r.verdicts(d, t, pairs)
	r.placing(d, t)
	if m := t.Sensors.Motion; m != nil && m.ClockS != nil && t.Sensors.Positions != nil {
		r.ClockS.add(exactly(d.Recording.ClockOffsetS), *m.ClockS)
	}
	return r
}

// clockShift is what to add to the debrief's times to get the truth's. With positions both
// count from an absolute start; without, from the first motion sample, which is the truth's zero.
func clockShift(d *report.Debrief, t *Truth) float64 {
	if d.Recording.Start == nil || d.Basis == "motion" || t.start.IsZero() {
		return 0
	}
	s, err := time.Parse(time.RFC3339Nano, *d.Recording.Start)
	if err != nil {
		return 0
	}
	return s.Sub(t.start).Seconds()
}

// effortPair joins a reported effort to a true one, by index.
type effortPair struct{ found, truth int }

// efforts scores the jumps and returns the pairs in time order.
func (r *Result) efforts(d *report.Debrief, t *Truth, shift float64) []effortPair {
	r.WindowS = JumpWindowS
	if hz := d.Recording.PositionHz; d.Basis == "position" && hz != nil && *hz < 3 {
		r.WindowS = SlowJumpWindowS
	}
	var found, sure, truth []int
	var foundS, sureS, truthS []float64
	for i, e := range d.Efforts {
		if !jumped(e.Outcome) {
			continue
		}
		at := effortS(e) + shift
		found, foundS = append(found, i), append(foundS, at)
		if e.Confidence >= MinConfidence {
			sure, sureS = append(sure, i), append(sureS, at)
		}
	}
	for i, e := range t.Efforts {
		if jumped(e.Outcome) {
			truth, truthS = append(truth, i), append(truthS, *e.TakeoffS)
		}
	}
	r.TrueJumps, r.ReportedJumps = len(truth), len(sure)

	// Confidence is judged over all that was reported, also what was called unlikely.
	right := make(map[int]bool)
	for _, p := range Pair(foundS, truthS, r.WindowS) {
		right[p[0]] = true
	}
	for k, i := range found {
		r.Confidence = append(r.Confidence, Called{Confidence: d.Efforts[i].Confidence, Right: right[k]})
	}

	var pairs []effortPair
	for _, p := range Pair(sureS, truthS, r.WindowS) {
		e, te := d.Efforts[sure[p[0]]], t.Efforts[truth[p[1]]]
		pairs = append(pairs, effortPair{found: sure[p[0]], truth: truth[p[1]]})
		if e.Obstacle != nil && *e.Obstacle == te.Obstacle {
			r.RightObstacle++
		}
		if e.Outcome == te.Outcome {
			r.RightOutcome++
		}
		r.TakeoffS.add(shifted(e.TakeoffS, shift), *te.TakeoffS)
		r.LandingS.add(shifted(e.LandingS, shift), *te.LandingS)
		addKnown(&r.TakeoffDistanceM, e.TakeoffDistanceM, te.TakeoffDistanceM)
		addKnown(&r.LandingDistanceM, e.LandingDistanceM, te.LandingDistanceM)
		addKnown(&r.OverSpeedMS, e.SpeedMS, te.SpeedOverMS)
	}
	r.FoundJumps = len(pairs)
	return pairs
}

// effortS is when an effort was, by its take-off, else by its landing; NaN without either.
func effortS(e report.Effort) float64 {
	switch {
	case e.TakeoffS != nil:
		return e.TakeoffS.Value
	case e.LandingS != nil:
		return e.LandingS.Value
	default:
		return math.NaN()
	}
}

func shifted(e *trace.Estimate, by float64) *trace.Estimate {
	if e == nil {
		return nil
	}
	return &trace.Estimate{Value: e.Value + by, Low: e.Low + by, High: e.High + by}
}

// exactly is a figure that was told without an interval.
func exactly(v *float64) *trace.Estimate {
	if v == nil {
		return nil
	}
	e := trace.Exactly(*v)
	return &e
}

// addKnown takes a figure in where the truth has it.
func addKnown(f *Figure, e *trace.Estimate, truth *float64) {
	if truth != nil {
		f.add(e, *truth)
	}
}

// refusals scores refusals and run-outs. They have no take-off, so order places them: a reported one is right
// where a true one at the same obstacle lies between the same two paired jumps.
func (r *Result) refusals(d *report.Debrief, t *Truth, pairs []effortPair) {
	taken := make(map[int]bool)
	for _, e := range t.Efforts {
		if refused(e.Outcome) {
			r.TrueRefusals++
		}
	}
	for i, e := range d.Efforts {
		if !refused(e.Outcome) || e.Confidence < MinConfidence {
			continue
		}
		after, before := -1, len(t.Efforts) // of the true efforts
		for _, p := range pairs {
			if p.found < i {
				after = p.truth
			} else if before == len(t.Efforts) {
				before = p.truth
			}
		}
		hit := -1
		for k := after + 1; k < before && e.Obstacle != nil; k++ {
			te := t.Efforts[k]
			if refused(te.Outcome) && !taken[k] && te.Obstacle == *e.Obstacle && (hit < 0 || te.Outcome == e.Outcome && t.Efforts[hit].Outcome != e.Outcome) {
				hit = k
			}
		}
		if hit < 0 {
			r.FalseRefusals++
			continue
		}
		taken[hit] = true
		r.FoundRefusals++
		if t.Efforts[hit].Outcome == e.Outcome {
			r.RightRefusalKind++
		}
	}
}

// lines scores the lines.
func (r *Result) lines(d *report.Debrief, t *Truth, pairs []effortPair) {
	foundOf := make(map[int]int) // true effort to found effort
	for _, p := range pairs {
		foundOf[p.truth] = p.found
	}
	lineOf := linesOf(d)
	for _, w := range t.ways {
		tl := t.Lines[w.line]
		var l report.Line // all nil, as if the debrief had said nothing
		a, okA := foundOf[w.from]
		b, okB := foundOf[w.to]
		if k, ok := lineOf[effortPair{a, b}]; ok && okA && okB && d.Lines[k].From == tl.From && d.Lines[k].To == tl.To {
			l = d.Lines[k]
		}
		group := &r.Short
		if tl.Strides > ShortLine {
			group = &r.Long
		}
		group.True++
		if l.Strides != nil {
			group.Told++
			off := math.Abs(math.Round(l.Strides.Value) - float64(tl.Strides))
			if off == 0 {
				group.Exact++
			}
			if off <= 1 {
				group.Within1++
			}
		}
		r.Strides.add(l.Strides, float64(tl.Strides))
		addKnown(&r.StrideLengthM, l.StrideLengthM, tl.StrideLengthM)
		addKnown(&r.StrideS, l.StrideS, tl.StrideS)
		r.SpeedMS.add(l.SpeedMS, tl.SpeedMeanMS)
		r.TrackM.add(l.TrackM, tl.TrackM)
		addKnown(&r.Grade, exactly(l.Grade), tl.GradeMean)
		addKnown(&r.Homeward, exactly(l.Homeward), tl.HomeMean)
		var turn report.Turn
		if l.Turn != nil {
			turn = *l.Turn
		}
		r.TurnedDeg.add(turn.TurnedDeg, tl.TurnedDeg)
		if math.Abs(tl.TurnedDeg) > TurnMinDeg {
			r.TrueTurns++
			if turn.Direction == tl.Turn {
				r.RightTurns++
			}
			if tl.RadiusMinM != nil && *tl.RadiusMinM < TurnMaxRadiusM {
				r.RadiusMinM.add(turn.RadiusMinM, *tl.RadiusMinM)
			}
		}
	}
}

// linesOf finds which two reported efforts each reported line joins: lines carry obstacles and round but
// no time. Neighbours among the efforts that count are tried in time order, first those of
// the same round without a refusal in between; each joins one line.
func linesOf(d *report.Debrief) map[effortPair]int {
	type way struct {
		pair    effortPair
		refused bool
	}
	var ways []way
	last, refusal := -1, false
	for i, e := range d.Efforts {
		switch {
		case refused(e.Outcome):
			refusal = true
		case jumped(e.Outcome) && e.Confidence >= MinConfidence:
			if last >= 0 {
				ways = append(ways, way{effortPair{last, i}, refusal})
			}
			last, refusal = i, false
		}
	}
	used := make(map[int]bool)
	of := make(map[effortPair]int)
	for k, l := range d.Lines {
		var fits []int
		penalty := make(map[int]int)
		for i, w := range ways {
			a, b := d.Efforts[w.pair.found].Obstacle, d.Efforts[w.pair.truth].Obstacle
			if used[i] || a == nil || b == nil || *a != l.From || *b != l.To {
				continue
			}
			if w.refused {
				penalty[i] += 2
			}
			if !sameRound(l.Round, d.Efforts[w.pair.truth].Round) {
				penalty[i]++
			}
			fits = append(fits, i)
		}
		if len(fits) == 0 {
			continue
		}
		sort.SliceStable(fits, func(x, y int) bool { return penalty[fits[x]] < penalty[fits[y]] })
		used[fits[0]] = true
		of[ways[fits[0]].pair] = k
	}
	return of
}

func sameRound(a, b *int) bool { return a == b || a != nil && b != nil && *a == *b }

// gaits scores the gaits, each instant of the truth by what the debrief says there.
func (r *Result) gaits(d *report.Debrief, t *Truth, shift float64) {
	name := make(map[string]int)
	for i, g := range Gaits() {
		name[g] = i
	}
	for _, tg := range t.Gaits {
		row, ok := name[tg.Gait]
		if !ok {
			continue
		}
		none := tg.ToS - tg.FromS
		for _, g := range d.Gaits {
			col, ok := name[g.Gait]
			over := min(tg.ToS, g.ToS+shift) - max(tg.FromS, g.FromS+shift)
			if !ok || over <= 0 {
				continue
			}
			r.GaitS[row][col] += over
			none -= over
		}
		r.GaitS[row][len(Gaits())] += max(none, 0)
	}
}

// strides scores the canter strides by their starts, and the leads by the strides.
func (r *Result) strides(d *report.Debrief, t *Truth, shift float64) {
	if d.Basis == "position" && len(d.Strides) == 0 {
		return // fixes that can't show strides: none were asked for
	}
	var found, truth []int
	var foundS, truthS []float64
	for i, s := range d.Strides {
		if s.Gait == "canter" {
			found, foundS = append(found, i), append(foundS, s.FromS+shift)
		}
	}
	for i, s := range t.Strides {
		if s.Gait == "canter" {
			truth, truthS = append(truth, i), append(truthS, s.FromS)
		}
	}
	r.TrueStrides, r.ToldStrides = len(truth), len(found)
	r.PairedStrides = len(Pair(foundS, truthS, StrideNarrowS))
	r.TrueLeads = len(t.leadAt)
	for _, p := range Pair(foundS, truthS, StrideWideS) {
		r.StrideBiasS = append(r.StrideBiasS, foundS[p[0]]-truthS[p[1]])
		lead := d.Strides[found[p[0]]].Lead
		if k, ok := t.leadAt[truth[p[1]]]; ok && lead != nil {
			r.ToldLeads++
			if *lead == t.Leads[k].Lead {
				r.RightLeads++
			}
			switch {
			case *lead != disunited:
			case t.Leads[k].Lead == disunited:
				r.FoundDisunited++
			default:
				r.FalseDisunited++
			}
		}
	}
	for _, l := range t.Leads {
		if l.Lead == disunited {
			r.TrueDisunited++
		}
	}
}

// disunited is the lead of a stride whose fore and hind legs lead on different sides.
const disunited = "disunited"

// placing scores how far the placing is from the receiver's true constant offset, which it should be.
func (r *Result) placing(d *report.Debrief, t *Truth) {
	if t.OffsetM == nil || d.Course == nil || d.Course.Placed == nil {
		return
	}
	p := d.Course.Placed
	r.PlacedM = append(r.PlacedM, math.Hypot(p.RightM-t.OffsetM[0], p.ForwardM-t.OffsetM[1]))
}

// Merge adds another result to this one.
func (r *Result) Merge(o *Result) {
	r.Rounds += o.Rounds
	r.WindowS = max(r.WindowS, o.WindowS)
	r.TrueJumps += o.TrueJumps
	r.FoundJumps += o.FoundJumps
	r.ReportedJumps += o.ReportedJumps
	r.RightObstacle += o.RightObstacle
	r.RightOutcome += o.RightOutcome
	r.Confidence = append(r.Confidence, o.Confidence...)
	r.TrueRefusals += o.TrueRefusals
	r.FoundRefusals += o.FoundRefusals
	r.RightRefusalKind += o.RightRefusalKind
	r.FalseRefusals += o.FalseRefusals
	r.TakeoffS.merge(o.TakeoffS)
	r.LandingS.merge(o.LandingS)
	r.TakeoffDistanceM.merge(o.TakeoffDistanceM)
	r.LandingDistanceM.merge(o.LandingDistanceM)
	r.OverSpeedMS.merge(o.OverSpeedMS)
	r.Short.merge(o.Short)
	r.Long.merge(o.Long)
	r.Strides.merge(o.Strides)
	r.StrideLengthM.merge(o.StrideLengthM)
	r.StrideS.merge(o.StrideS)
	r.SpeedMS.merge(o.SpeedMS)
	r.TrackM.merge(o.TrackM)
	r.TurnedDeg.merge(o.TurnedDeg)
	r.RadiusMinM.merge(o.RadiusMinM)
	r.Grade.merge(o.Grade)
	r.Homeward.merge(o.Homeward)
	r.ClockS.merge(o.ClockS)
	r.TrueTurns += o.TrueTurns
	r.RightTurns += o.RightTurns
	for i := range r.GaitS {
		for j := range r.GaitS[i] {
			r.GaitS[i][j] += o.GaitS[i][j]
		}
	}
	r.TrueStrides += o.TrueStrides
	r.ToldStrides += o.ToldStrides
	r.PairedStrides += o.PairedStrides
	r.StrideBiasS = append(r.StrideBiasS, o.StrideBiasS...)
	r.TrueLeads += o.TrueLeads
	r.ToldLeads += o.ToldLeads
	r.RightLeads += o.RightLeads
	r.TrueDisunited += o.TrueDisunited
	r.FoundDisunited += o.FoundDisunited
	r.FalseDisunited += o.FalseDisunited
	r.OffUsual += o.OffUsual
	r.CalledOff += o.CalledOff
	r.RightOff += o.RightOff
	r.UsualStrideM.merge(o.UsualStrideM)
	r.UsualStrideS.merge(o.UsualStrideS)
	r.Failed += o.Failed
	r.PlacedM = append(r.PlacedM, o.PlacedM...)
}

func (l *Lines) merge(o Lines) {
	l.True += o.True
	l.Told += o.Told
	l.Exact += o.Exact
	l.Within1 += o.Within1
}

// GaitRight is the share of the time with the right gait; NaN without gaits in the truth.
func (r *Result) GaitRight() float64 {
	var right, all float64
	for i, row := range r.GaitS {
		for j, s := range row {
			all += s
			if i == j {
				right += s
			}
		}
	}
	if all == 0 {
		return math.NaN()
	}
	return right / all
}

// StrideF1 is the harmonic mean of precision and recall of the canter strides.
func (r *Result) StrideF1() float64 { return share(2*r.PairedStrides, r.TrueStrides+r.ToldStrides) }
