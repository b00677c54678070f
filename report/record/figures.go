package record

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/stat/distuv"

	"groundline/course"
	"groundline/report"
	"groundline/report/layout"
	"groundline/trace"
)

// What is known beforehand of how lines of one ride differ, as a standard deviation (see [usual]); each is worth three
// lines. Stride: 5 % and pace: 7 %, as course has them (from rounds of a forward model; no published figure was found). Stride time:
// 0.006 s likewise, below the 2 % of single strides. Take-off and landing: 0.2 m from jump to jump (eight horses over 1.10 m:
// means of 1.99 and 1.65 m came in to 1.71 and 1.46 m). Rhythm: half a percent, a quarter of the 2 % by which the strides of a horse vary
// (Equine Veterinary Journal 1980; 12:60-65); ours.
const (
	strideSDRel, paceSDRel  = 0.05, 0.07
	strideSSD, hoofSD, cvSD = 0.006, 0.2, 0.005
	worth                   = 3
	// How far ahead of and behind a sensor the hooves reach is not measured, and the same in all rides (as course has it).
	hoofSharedSDM = 0.15
	// The pace about which the stride is fitted, m/s: 330 m/min, the middle of practice rounds. It moves no figure.
	paceMiddleMS = 5.5
	// Paces of the table lie 25 m/min apart, as speeds are prescribed.
	paceStepMMin = 25
	// A line through fewer lines, or over a narrower span of paces than half a metre a second, tells nothing of its slope (ours).
	leastPaceLines, leastPaceSpanMS = 6, 0.5
	// A stride of less than a tenth of a metre, of a second, or of a metre a second is none.
	leastFigure = 0.1
	// Obstacles of a kind or height are told apart from so many jumps on (ours).
	leastJumps = 6
	// Below five degrees of freedom a spread is known to no better than half of it either way (the chi-square distribution).
	leastRhythmDF = 5
	// A trend needs four rides and two weeks: with two every difference is one, and within a week a horse does not change (ours).
	leastTrendRides, leastTrendDays, trendDays = 4, 14, 30.0
)

// byLine is what is known beforehand of a figure of lines, byRide of one that a ride has once; the latter's own doubt is of many
// strides, so its distribution is as good as normal.
func byLine(lineSD float64) usual { return usual{lineSD: lineSD, worth: worth} }
func byRide(rideSD float64) usual { return usual{rideSD: rideSD, worth: 100} }

// usualLine tells the ways between obstacles that show a horse's usual stride: no rollback, no combination, no way round, and
// more than two strides, as landing and take-off stretch or shorten their neighbours.
func usualLine(l Line) bool {
	if l.Strides == nil || l.Kind == string(course.Rollback) || l.Kind == string(course.Combination) || l.Strides.Value < 2.5 {
		return false
	}
	return !(l.StrideLengthM != nil && report.WentRound(report.Line{Kind: l.Kind, DistanceM: l.DistanceM, Strides: l.Strides, StrideLengthM: l.StrideLengthM}))
}

// rows gathers a figure of the usual lines.
func (r *Record) rows(of func(Line) *trace.Estimate) []row {
	one := []float64{1}
	out := make([]row, 0, 8*len(r.rides))
	for i, d := range r.rides {
		for k := range d.Lines {
			l := &d.Lines[k]
			if e := of(*l); e != nil && e.Value >= leastFigure && usualLine(*l) {
				out = append(out, mean(one, i, r.lineIDs[i][k], *e))
			}
		}
	}
	return out
}

// number gives each line and each obstacle of a course a number of its own, the same in all rides over it; -1 where nobody knows
// which it was.
func (r *Record) number() {
	seen := map[[3]string]int{}
	of := func(ground, a, b string) int {
		if ground == "" {
			return -1
		}
		key := [3]string{ground, a, b}
		if _, ok := seen[key]; !ok {
			seen[key] = len(seen)
		}
		return seen[key]
	}
	for _, d := range r.rides {
		lines, efforts := make([]int, len(d.Lines)), make([]int, len(d.Efforts))
		for i, l := range d.Lines {
			lines[i] = of(d.ground(), l.From, l.To)
		}
		for i, e := range d.Efforts {
			efforts[i] = -1
			if e.Obstacle != "" {
				efforts[i] = of(d.ground(), e.Obstacle, "")
			}
		}
		r.lineIDs, r.effortIDs = append(r.lineIDs, lines), append(r.effortIDs, efforts)
	}
}

// ids are the ids of rides that have a row, in order.
func (r *Record) ids(rows []row) []int64 {
	out := []int64{}
	last := -1
	for _, q := range rows {
		if q.ride != last {
			last = q.ride
			if id := r.rides[last].ID; id != 0 {
				out = append(out, id)
			}
		}
	}
	return out
}

// figure is the mean of rows with what is known beforehand of a line's; sharedSD is an error that all rows have in common.
// own takes each ride's own mean.
func (r *Record) figure(rows []row, before usual, sharedSD float64, own func(i int, e trace.Estimate)) *Figure {
	f, ok := mixed(rows, before)
	if !ok {
		return nil
	}
	shared := func(e trace.Estimate) trace.Estimate {
		if sharedSD == 0 {
			return positive(e)
		}
		return positive(trace.Estimate{Value: e.Value, Low: e.Value - math.Hypot(e.Value-e.Low, z90*sharedSD), High: e.Value + math.Hypot(e.High-e.Value, z90*sharedSD)})
	}
	out := &Figure{Mean: shared(f.at(1)), NextRide: shared(f.next(1)), LineSD: f.lineSD, MeasuredSD: f.measureSD,
		N: f.rows, Count: f.rides, Rides: r.ids(rows)}
	if f.rides >= 3 {
		b := f.between()
		out.BetweenSD = &b
	}
	if own != nil {
		for i, e := range f.owns() {
			own(i, shared(e))
		}
	}
	return out
}

// tellRides lists the rides.
func (r *Record) tellRides() {
	r.Rides = make([]RideFigures, len(r.rides))
	for i, d := range r.rides {
		f := RideFigures{ID: d.ID, At: at(d.At), Course: d.Course, Basis: d.Basis, Lines: len(d.Lines)}
		for _, e := range d.Efforts {
			if e.Outcome == "jumped" || e.Outcome == "warm-up" {
				f.Jumps++
			}
		}
		r.Rides[i] = f
	}
}

// tellStrides tells stride, stride time and pace.
func (r *Record) tellStrides() {
	lengths := r.rows(func(l Line) *trace.Estimate { return l.StrideLengthM })
	r.StrideM = r.figure(lengths, byLine(strideSDRel*meanOf(lengths)), 0, func(i int, e trace.Estimate) { r.Rides[i].StrideM = &e })
	times := r.rows(func(l Line) *trace.Estimate { return l.StrideS })
	r.StrideS = r.figure(times, byLine(strideSSD), 0, func(i int, e trace.Estimate) { r.Rides[i].StrideS = &e })
	paces := r.rows(func(l Line) *trace.Estimate { return l.SpeedMS })
	r.SpeedMS = r.figure(paces, byLine(paceSDRel*meanOf(paces)), 0, func(i int, e trace.Estimate) { r.Rides[i].SpeedMS = &e })
	if r.StrideM == nil && len(r.rides) > 0 {
		r.note("info", "no usual stride", "no ride has a line whose strides were counted and measured: that takes a course plan, or positions and motion")
	}
}

// tellPace fits the stride against the pace.
func (r *Record) tellPace() {
	var rows []row
	var paces []float64
	for i, d := range r.rides {
		for k, l := range d.Lines {
			if l.StrideLengthM == nil || l.SpeedMS == nil || l.StrideLengthM.Value < leastFigure || !usualLine(l) {
				continue
			}
			// A stride's length is measured as pace times time, so that an error of the pace moves a line along the fitted slope, nearly, and
			// hardly tilts it.
			rows = append(rows, row{i, r.lineIDs[i][k], []float64{1, l.SpeedMS.Value - paceMiddleMS}, l.StrideLengthM.Value, l.StrideLengthM.SD()})
			paces = append(paces, l.SpeedMS.Value)
			r.points = append(r.points, Point{d.ID, l.SpeedMS.Value, l.StrideLengthM.Value})
		}
	}
	if len(rows) == 0 || r.SpeedMS == nil {
		return
	}
	slices.Sort(paces)
	n := len(paces)
	from, to := paces[n/20], paces[n-1-n/20]
	if n < leastPaceLines || to-from < leastPaceSpanMS {
		r.note("info", "stride at a pace not told", "it takes "+strconv.Itoa(leastPaceLines)+" lines, ridden at paces at least 30 m/min apart")
		return
	}
	f, ok := mixed(rows, byLine(strideSDRel*meanOf(rows)/2))
	if !ok {
		return
	}
	r.fit = f
	slope := f.at(0, 1)
	usual := min(max(r.SpeedMS.Mean.Value, from), to)
	r.Pace = &Pace{PerMS: &slope, UsualM: positive(f.at(1, usual-paceMiddleMS)), UsualMS: usual, FromMS: from, ToMS: to, Table: []PaceStride{}, N: f.rows, Count: f.rides, Rides: r.ids(rows)}
	for m := math.Ceil(from * 60 / paceStepMMin); m*paceStepMMin <= to*60; m++ {
		v := m * paceStepMMin / 60
		if e := r.StrideAt(v); e != nil {
			r.Pace.Table = append(r.Pace.Table, PaceStride{v, *e})
		}
	}
}

// edgeHeights are the borders of the heights that are told apart: training fences of up to 0.6 m, then every 20 cm.
func edgeHeights() []float64 { return []float64{0, 0.6, 0.8, 1.0, 1.2, 1.4, mostHoofM} }

// tellEdges tells take-off and landing.
func (r *Record) tellEdges() {
	r.TakeoffM = r.edges(func(e Effort) *trace.Estimate { return e.TakeoffDistanceM }, func(i int, e trace.Estimate) { r.Rides[i].TakeoffM = &e })
	r.LandingM = r.edges(func(e Effort) *trace.Estimate { return e.LandingDistanceM }, func(i int, e trace.Estimate) { r.Rides[i].LandingM = &e })
}

func (r *Record) edges(of func(Effort) *trace.Estimate, own func(int, trace.Estimate)) Edges {
	gather := func(keep func(Effort) bool) []row {
		one := []float64{1}
		rows := make([]row, 0, 8*len(r.rides))
		for i, d := range r.rides {
			for k, e := range d.Efforts {
				if x := of(e); x != nil && e.Outcome == "jumped" && keep(e) {
					rows = append(rows, mean(one, i, r.effortIDs[i][k], *x))
				}
			}
		}
		return rows
	}
	out := Edges{ByKind: []KindEdge{}, ByHeight: []HeightEdge{}}
	out.All = r.figure(gather(func(Effort) bool { return true }), byLine(hoofSD), hoofSharedSDM, own)
	for _, k := range course.Kinds() {
		rows := gather(func(e Effort) bool { return e.Kind == string(k) })
		if len(rows) >= leastJumps {
			out.ByKind = append(out.ByKind, KindEdge{string(k), *r.figure(rows, byLine(hoofSD), hoofSharedSDM, nil)})
		}
	}
	slices.SortFunc(out.ByKind, func(a, b KindEdge) int { return cmp.Compare(a.Kind, b.Kind) })
	h := edgeHeights()
	for i := range len(h) - 1 {
		rows := gather(func(e Effort) bool { return e.HeightM != nil && *e.HeightM >= h[i] && *e.HeightM < h[i+1] })
		if len(rows) >= leastJumps {
			out.ByHeight = append(out.ByHeight, HeightEdge{h[i], h[i+1], *r.figure(rows, byLine(hoofSD), hoofSharedSDM, nil)})
		}
	}
	return out
}

// tellRhythm tells how even the strides are, and what stride time and evenness do over time.
func (r *Record) tellRhythm() {
	var cvs []row
	var all, strides float64
	for i, d := range r.rides {
		ss, df := rhythmOf(d)
		if df < leastRhythmDF {
			continue
		}
		chi := distuv.ChiSquared{K: df}
		r.Rides[i].RhythmCV = &trace.Estimate{Value: math.Sqrt(ss / df), Low: math.Sqrt(ss / chi.Quantile(0.95)), High: math.Sqrt(ss / chi.Quantile(0.05))}
		cvs = append(cvs, row{i, -1, []float64{1}, math.Sqrt(ss / df), 1 / math.Sqrt(2*df)})
		all, strides = all+ss, strides+df
	}
	for i := range cvs {
		// The doubt of a spread is a part of it, and here of the mean spread: by its own, a ride that happened to be even would count for
		// more.
		cvs[i].sd *= math.Sqrt(all / strides)
	}
	r.Rhythm.CV = r.figure(cvs, byRide(cvSD), 0, nil)
	var why string
	times := r.rows(func(l Line) *trace.Estimate { return l.StrideS })
	r.Rhythm.StrideS, r.Rhythm.Days, why = r.trend(times, byLine(strideSSD))
	r.Rhythm.CVTrend, _, _ = r.trend(cvs, byRide(cvSD))
	r.Rhythm.Why = why
}

// trend is the change of a figure in 30 days, over rides with a date.
func (r *Record) trend(rows []row, before usual) (perMonth *trace.Estimate, days float64, why string) {
	var dated []row
	var first float64
	rides, last := 0, -1
	for _, q := range rows {
		d := r.rides[q.ride]
		if d.At == nil {
			continue
		}
		day := float64(d.At.Unix()) / 86400
		if rides == 0 {
			first = day
		}
		if q.ride != last {
			rides, last, days = rides+1, q.ride, day-first
		}
		dated = append(dated, row{q.ride, q.line, []float64{1, (day - first) / trendDays}, q.y, q.sd})
	}
	if rides < leastTrendRides || days < leastTrendDays {
		return nil, days, "no change over time told: it takes " + strconv.Itoa(leastTrendRides) + " dated rides over at least " + strconv.Itoa(leastTrendDays) + " days"
	}
	f, ok := mixed(dated, before)
	if !ok {
		return nil, days, "no change over time told: the rides lie too close together in time"
	}
	e := f.at(0, 1)
	return &e, days, ""
}

// rhythmOf are the sum of squares of a ride's relative stride times about their lines' means, and its degrees of freedom.
func rhythmOf(d Ride) (ss, df float64) {
	for _, l := range d.Lines {
		if l.RhythmCV == nil || l.Strides == nil || l.Strides.Value < 2.5 {
			continue
		}
		n := math.Round(l.Strides.Value) - 1
		ss, df = ss+n*l.RhythmCV.Value*l.RhythmCV.Value, df+n
	}
	return ss, df
}

// tellWalk tells the horse as a walk takes it.
func (r *Record) tellWalk() {
	var all []*report.Debrief
	for _, d := range r.rides {
		all = append(all, d.debrief())
	}
	ridden := report.RiddenIn(all)
	if r.Name != "" {
		ridden.Name = r.Name
	}
	if r.horse, r.noHorse = course.HorseFromRides(ridden, r.size); r.noHorse != nil {
		if len(r.rides) > 0 {
			r.note("info", "no horse for a walk from these rides", "no related or bending line was ridden whose strides were counted and measured; a walk takes the size instead")
		}
		return
	}
	h := r.horse
	r.Walk = &WalkHorse{Size: h.Size, StrideM: h.StrideM, LandingM: h.LandingM, HoofLandingM: h.HoofLandingM, TakeoffM: h.TakeoffM,
		SpeedMS: h.SpeedMS, TurnSpeedMS: h.TurnMS, StrideS: h.StrideS, StridePerMS: h.StridePerMS, HomewardRel: h.HomewardRel,
		GradeRel: h.GradeRel, LineSDRel: h.LineSDRel, Source: h.Source}
}

// tellDoubts tells what the figures rest on.
func (r *Record) tellDoubts() {
	if r.Notes == nil {
		r.Notes = []trace.Note{}
	}
	switch n := len(r.rides); {
	case n == 0:
		return
	case n == 1:
		r.note("caution", "one ride only", "how far this horse's rides differ is not known yet; that they differ about as much as the lines of one is taken for it, and is in the intervals")
	case n == 2:
		r.note("caution", "two rides only", "how far this horse's rides differ is hardly known; that they differ about as much as the lines of one weighs in the intervals")
	}
	grounds := map[string]bool{}
	for _, d := range r.rides {
		if g := d.ground(); g != "" {
			grounds[g] = true
		}
	}
	if len(grounds) == 1 && len(r.rides) > 1 {
		r.note("info", "all rides over one course", "its lines ask for certain strides: over another course the usual stride may be another")
	}
	if len(r.LeftOut) > 0 {
		r.note("info", layout.Count(len(r.LeftOut), "recording")+" of the same minutes left out", "a horse goes one ride at a time; of recordings whose times overlap the one that tells most counts")
	}
	if r.TakeoffM.All != nil {
		r.note("info", "take-off and landing share a doubt of 0.25 m", "how far the hooves reach beyond the sensor is not measured, and the same in all rides: no number of rides makes it smaller")
	}
}

func meanOf(rows []row) float64 {
	var s float64
	for _, q := range rows {
		s += q.y / float64(len(rows))
	}
	return s
}

// positive is an estimate of a figure that can't be below nought.
func positive(e trace.Estimate) trace.Estimate {
	return trace.Estimate{Value: max(0, e.Value), Low: max(0, e.Low), High: max(0, e.High)}
}
