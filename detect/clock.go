package detect

import (
	"fmt"
	"math"

	"groundline/trace"
	track "groundline/trace/smooth"
)

// Clocks is what the gaits tell of the motion's and the positions' clocks.
type Clocks struct {
	// OffsetS is how far the motion's clock runs ahead of the positions', amid the changes where it drifts; nil where it can't
	// be told.
	OffsetS *trace.Estimate
	// DriftPPM is by how much it gains, in millionths; nil unless it is significant.
	DriftPPM *trace.Estimate
	// Changes is how many gait changes were met by a change of speed, Agree the share of the common time in which
	// speed and gait fit together at that offset, both 0 where none was found.
	Changes int
	Agree   float64
	// Why is the reason in words, of an answer or of none.
	Why string
}

const (
	// clockReachS is how far clocks may be apart: the widest error of a time zone is 14 hours (zones go from -12 to +14), and what
	// a clock is off besides.
	clockReachS = 14*3600 + 900
	// clockStepS is how finely offsets are tried first; speeds change over a second or two.
	clockStepS = 0.5
	// leastChanges is how many gait changes must be met: with three, a median is one change's word.
	leastChanges = 4
	// leastAgree is the share of time in which speed and gait must fit: over the labelled rounds it is 0.92 and more, between
	// strangers' rides often less.
	leastAgree = 0.9
	// rivalS is how far off another offset is a rival and not the flank of the same fit: longer than most changes of speed.
	rivalS = 6.0
	// clearBy is by how much (natural logarithm of the likelihood) the best offset must be ahead of its rivals: 150 to 1.
	clearBy = 5.0
	// changeReachS is how far from a gait change, at the offset found so far, its change of speed is looked for.
	changeReachS = 5.0
	// paceS is over what the paces before and after a change are taken, changeLeastS what must be there on both sides.
	paceS        = 8.0
	changeLeastS = 2.0
	// clearPaceMS is what the paces on both sides must differ by for the instant midway to be told.
	clearPaceMS = 0.7
	// changeSDS is the usual spread of one change, s: horses speed up after an upward change and slow before a downward one, and a
	// 1-Hz receiver smears its speeds; the track's own doubt comes on top. Fitted on every second labelled round.
	changeSDS = 0.4
	// haltS is how long after setting off, or before standing, the speed is midway between nothing and a walk, s. Fitted likewise.
	haltS = 0.7
	// mostSpreadS is how far apart single changes may say different things, as a standard deviation.
	mostSpreadS = 2.0
	// lagSDS is the doubt that a receiver's own lag of 0 to half a second leaves.
	lagSDS = 0.2
)

// ClockByGaits finds how far the motion's clock runs ahead of the positions' from the ride itself, without a plan: the
// gaits that the motion shows are slid along the speeds that the track shows until they fit best (the likelihood of each speed in
// its gait against that in the ride's mixture of gaits), up to a time zone's error. Then each single gait change is
// held against the instant at which the speed passes midway between the paces on its two sides; the offset is the mean of the upward
// changes' median and the downward changes' median, because the speed rises after an upward change and falls before a
// downward one. The interval comes from the changes' spread and a receiver's possible lag of 0 to 0.5 s, which
// looks the same as a clock that is late by as much.
//
// Nothing is told, with the reason, where fewer than four changes are met, another offset fits nearly as well, or
// speed and gait do not fit together even at the best.
func ClockByGaits(ev *Events, t *track.Track) Clocks {
	if ev == nil || t == nil || len(ev.Gaits) == 0 {
		return Clocks{Why: "there are not both motion and positions"}
	}
	if n := changesOf(ev.Gaits); len(n) < leastChanges {
		return Clocks{Why: fmt.Sprintf("only %d changes of gait, %d needed", len(n), leastChanges)}
	}
	f := newGaitFit(ev.Gaits, t)
	at, lead := f.best()
	if lead < clearBy {
		return Clocks{Why: "no offset of the clocks fits gaits and speeds clearly better than others"}
	}
	agree := f.agree(at)
	if agree < leastAgree {
		return Clocks{Why: fmt.Sprintf("speed and gait fit together in only %.0f %% of the time even at the best offset of the clocks", 100*agree)}
	}
	var met []metChange
	for range 3 {
		met = f.meet(func(float64) float64 { return at })
		if len(met) < leastChanges {
			return Clocks{Why: fmt.Sprintf("only %d changes of gait have a clear change of speed, %d needed", len(met), leastChanges)}
		}
		v, _ := middle(met)
		if math.Abs(v-at) < 0.01 {
			break
		}
		at = v
	}
	v, sd := middle(met)
	if spread := sd * math.Sqrt(float64(len(met))) / 1.2533; spread > mostSpreadS {
		return Clocks{Why: fmt.Sprintf("single changes of gait put the clocks apart differently, by %.1f s", spread)}
	}
	off := trace.FromSD(v, math.Hypot(sd, lagSDS))
	gain := drift(met)
	if gain != nil {
		// Looked for again where the drift has them: paces taken beside the change would make it look smaller.
		var mid float64
		for _, m := range met {
			mid += m.atS / float64(len(met))
		}
		again := f.meet(func(atS float64) float64 { return v + gain.Value*1e-6*(atS-mid) })
		if better := drift(again); better != nil {
			gain, met = better, again
		}
	}
	return Clocks{OffsetS: &off, DriftPPM: gain, Changes: len(met), Agree: agree,
		Why: fmt.Sprintf("%d changes of gait against changes of speed", len(met))}
}

// change is one change of gait.
type change struct {
	atS      float64
	from, to Span
}

// changesOf are the changes between gaits that both last, and touch.
func changesOf(gaits []Span) []change {
	var out []change
	for i := 1; i < len(gaits); i++ {
		a, b := gaits[i-1], gaits[i]
		if a.Gait != b.Gait && b.FromS-a.ToS < gapS && a.ToS-a.FromS >= changeLeastS && b.ToS-b.FromS >= changeLeastS {
			out = append(out, change{b.FromS, a, b})
		}
	}
	return out
}

// gaitFit holds how well speeds fit gaits, summed over time.
type gaitFit struct {
	gaits []Span
	t     *track.Track
	fromS float64                    // the track's start
	speed []float64                  // by clockStepS from fromS; NaN in gaps
	sum   [len(trackBands)][]float64 // of the likelihood ratios before step i
	has   []float64                  // seconds of track before step i
}

func newGaitFit(gaits []Span, t *track.Track) *gaitFit {
	last := t.Pieces[len(t.Pieces)-1].ToS
	f := &gaitFit{gaits: gaits, t: t, fromS: t.Pieces[0].FromS}
	n := int((last-f.fromS)/clockStepS) + 1
	f.speed = make([]float64, n)
	f.has = make([]float64, n+1)
	for g := range f.sum {
		f.sum[g] = make([]float64, n+1)
	}
	var share [len(trackBands)]float64
	var whole float64
	for _, s := range gaits {
		share[s.Gait] += s.ToS - s.FromS
		whole += s.ToS - s.FromS
	}
	for i := range f.speed {
		f.speed[i] = math.NaN()
		for g := range f.sum {
			f.sum[g][i+1] = f.sum[g][i]
		}
		f.has[i+1] = f.has[i]
		s, ok := t.At(f.fromS + (float64(i)+0.5)*clockStepS)
		if !ok {
			continue
		}
		f.speed[i] = s.Speed().Value
		l := gaitLikelihood(s.Speed())
		mixed := 0.0
		for g := range l {
			mixed += share[g] / whole * math.Exp(l[g])
		}
		for g := range l {
			// A speed that no gait has says nothing.
			if r := l[g] - math.Log(mixed); !math.IsNaN(r) && !math.IsInf(r, 0) {
				f.sum[g][i+1] += max(r, -3)
			}
		}
		f.has[i+1] += clockStepS
	}
	return f
}

// upTo is a running sum at time atS, between steps in proportion.
func (f *gaitFit) upTo(sum []float64, atS float64) float64 {
	x := (atS - f.fromS) / clockStepS
	n := len(sum) - 1
	if x <= 0 {
		return 0
	}
	if x >= float64(n) {
		return sum[n]
	}
	i := int(x)
	return sum[i] + (x-float64(i))*(sum[i+1]-sum[i])
}

// score is how well the gaits fit where the motion's clock is ahead by off. Nearer offsets are likelier beforehand,
// by one over their distance beyond ten seconds.
func (f *gaitFit) score(off float64) float64 {
	var sum float64
	for _, s := range f.gaits {
		c := f.sum[s.Gait]
		sum += f.upTo(c, s.ToS-off) - f.upTo(c, s.FromS-off)
	}
	return sum - math.Log1p(math.Abs(off)/10)
}

// best is the offset that fits best and its lead over the best rival.
func (f *gaitFit) best() (at, lead float64) {
	n := len(f.gaits)
	last := f.fromS + float64(len(f.speed))*clockStepS
	// Only offsets at which motion and track share some time.
	lo := math.Ceil(max(f.gaits[0].FromS-last, -clockReachS) / clockStepS)
	hi := math.Floor(min(f.gaits[n-1].ToS-f.fromS, clockReachS) / clockStepS)
	if !(hi > lo) {
		return 0, 0
	}
	scores := make([]float64, 0, int(hi-lo)+1)
	top := 0
	for k := lo; k <= hi; k++ {
		scores = append(scores, f.score(k*clockStepS))
		if scores[len(scores)-1] > scores[top] {
			top = len(scores) - 1
		}
	}
	rival := 0.0 // no common time at all scores nothing
	for i, s := range scores {
		if math.Abs(float64(i-top))*clockStepS > rivalS {
			rival = max(rival, s)
		}
	}
	return (lo + float64(top)) * clockStepS, scores[top] - rival
}

// agree is the share of the common time in which the speed is nearest the gait's, or between it and its neighbours.
func (f *gaitFit) agree(off float64) float64 {
	var fit, all float64
	k := 0
	for i, v := range f.speed {
		if math.IsNaN(v) {
			continue
		}
		at := f.fromS + (float64(i)+0.5)*clockStepS + off
		for k < len(f.gaits) && f.gaits[k].ToS <= at {
			k++
		}
		if k == len(f.gaits) || f.gaits[k].FromS > at {
			continue
		}
		all++
		b := trackBands[f.gaits[k].Gait]
		if math.Abs(v-b.meanMS) < 3*b.sdMS || f.gaits[k].Gait == Canter && v > b.meanMS {
			fit++
		}
	}
	if all == 0 {
		return 0
	}
	return fit / all
}

// metChange is a change of gait and the change of speed that belongs to it.
type metChange struct {
	atS, offS float64
	sdS       float64 // what the track's own doubt of the speed makes of it
	up        bool
}

// meet finds for each change of gait the instant at which the speed passes midway, near where the offset at that time has
// it.
func (f *gaitFit) meet(offAt func(atS float64) float64) []metChange {
	const fine = 0.05
	var out []metChange
	for _, c := range changesOf(f.gaits) {
		off := offAt(c.atS)
		at := c.atS - off
		before, ok1 := f.pace(max(c.from.FromS-off, at-paceS), at-changeLeastS/2)
		after, ok2 := f.pace(at+changeLeastS/2, min(c.to.ToS-off, at+paceS))
		if !ok1 || !ok2 || math.Abs(after-before) < clearPaceMS || (after > before) != (c.to.Gait > c.from.Gait) {
			continue
		}
		mid := (before + after) / 2
		best, doubt := math.Inf(1), 0.0
		last, whole := 0.0, false
		for x := at - changeReachS; x <= at+changeReachS; x += fine {
			s, ok := f.t.At(x)
			if !ok {
				whole = false
				continue
			}
			v := math.Hypot(s.VE, s.VN) - mid
			if whole && (last < 0) != (v < 0) && (v > last) == (after > before) {
				// where the line between the two passes
				if d := x - fine*v/(v-last) - at; math.Abs(d) < math.Abs(best) {
					e := s.Speed()
					best, doubt = d, (e.High-e.Value)/1.6448536269514722*fine/math.Abs(v-last)
				}
			}
			last, whole = v, true
		}
		if !math.IsInf(best, 0) {
			if c.from.Gait == Halt {
				best -= haltS
			}
			if c.to.Gait == Halt {
				best += haltS
			}
			out = append(out, metChange{c.atS, off - best, min(doubt, changeReachS), after > before})
		}
	}
	return out
}

// pace is the median speed between two instants of the positions' clock.
func (f *gaitFit) pace(fromS, toS float64) (float64, bool) {
	a, b := int(math.Ceil((fromS-f.fromS)/clockStepS-0.5)), int((toS-f.fromS)/clockStepS+0.5)
	var v []float64
	for i := max(a, 0); i < min(b, len(f.speed)); i++ {
		if !math.IsNaN(f.speed[i]) {
			v = append(v, f.speed[i])
		}
	}
	if len(v) == 0 {
		return 0, false
	}
	return median(v), true
}

// middle is the mean of the upward and the downward changes' medians, or the only one there is, with its standard
// deviation.
func middle(met []metChange) (v, sd float64) {
	var side, doubts [2][]float64
	for _, m := range met {
		k := 1
		if m.up {
			k = 0
		}
		side[k], doubts[k] = append(side[k], m.offS), append(doubts[k], m.sdS)
	}
	var sum, vars float64
	n := 0.0
	for k, s := range side {
		if len(s) == 0 {
			// What the other half would have balanced stays in doubt.
			vars += changeSDS * changeSDS
			continue
		}
		m := median(s)
		dev := make([]float64, len(s))
		for i, x := range s {
			dev[i] = math.Abs(x - m)
		}
		// 1.4826 makes the median absolute deviation a normal's standard deviation, 1.2533 a mean's doubt a median's.
		spread := max(1.4826*median(dev), math.Hypot(changeSDS, median(doubts[k])))
		sum += m
		vars += 1.2533 * 1.2533 * spread * spread / float64(len(s))
		n++
	}
	return sum / n, math.Sqrt(vars) / n
}

// drift is the slope of the changes' offsets over time, upward and downward apart; nil unless it is four standard
// deviations from none and there are ten changes.
func drift(met []metChange) *trace.Estimate {
	const least, sure = 10, 4.0
	if len(met) < least {
		return nil
	}
	var mean [2][2]float64
	var count [2]float64
	k := func(m metChange) int {
		if m.up {
			return 0
		}
		return 1
	}
	for _, m := range met {
		mean[k(m)][0] += m.atS
		mean[k(m)][1] += m.offS
		count[k(m)]++
	}
	var xx, xy, rr float64
	for _, m := range met {
		i := k(m)
		dx, dy := m.atS-mean[i][0]/count[i], m.offS-mean[i][1]/count[i]
		xx += dx * dx
		xy += dx * dy
	}
	if !(xx > 0) {
		return nil
	}
	slope := xy / xx
	for _, m := range met {
		i := k(m)
		r := m.offS - mean[i][1]/count[i] - slope*(m.atS-mean[i][0]/count[i])
		rr += r * r
	}
	sd := math.Sqrt(max(rr/float64(len(met)-3), changeSDS*changeSDS) / xx)
	if math.Abs(slope) < sure*sd {
		return nil
	}
	e := trace.FromSD(slope*1e6, sd*1e6)
	return &e
}
