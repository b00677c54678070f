package record

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/stat/distuv"

	"groundline/course"
	"groundline/course/horse"
	"groundline/course/prior"
	"groundline/report"
	"groundline/report/layout"
	"groundline/trace"
)

const (
	// Paces of the table lie 25 m/min apart, as speeds are prescribed.
	paceStepMMin = 25
	// A line through fewer lines, or over a narrower span of paces than half a metre a second, tells nothing of its slope (ours).
	leastPaceLines, leastPaceSpanMS = 6, 0.5
	// Obstacles of a kind or height are told apart from so many jumps on (ours).
	leastJumps = 6
	// Below five degrees of freedom a spread is known to no better than half of it either way (the chi-square distribution).
	leastRhythmDF = 5
	// A trend needs four rides and two weeks: with two every difference is one, and within a week a horse does not change (ours).
	leastTrendRides, leastTrendDays, trendDays = 4, 14, 30.0
)

// usualLine tells the ways between obstacles that show a horse's usual stride: no rollback, no combination, no way round, and
// more than two strides, as landing and take-off stretch or shorten their neighbours.
func usualLine(l Line) bool {
	if l.Strides == nil || l.Kind == string(course.Rollback) || l.Kind == string(course.Combination) || l.Strides.Value < 2.5 {
		return false
	}
	return !(l.StrideLengthM != nil && report.WentRound(report.Line{Kind: l.Kind, DistanceM: l.DistanceM, Strides: l.Strides, StrideLengthM: l.StrideLengthM}))
}

// rows gathers a figure of the usual lines.
func (r *Record) rows(of func(Line) *trace.Estimate) []horse.Row {
	one := []float64{1}
	out := make([]horse.Row, 0, 8*len(r.rides))
	for i, d := range r.rides {
		for k := range d.Lines {
			l := &d.Lines[k]
			if e := of(*l); e != nil && e.Value >= 0.1 && usualLine(*l) {
				out = append(out, horse.Mean(one, i, r.lineIDs[i][k], *e))
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

// rideIDs are the ids of rides that a level rests on, in order.
func (r *Record) rideIDs(own map[int]trace.Estimate) []int64 {
	out := []int64{}
	for i, d := range r.rides {
		if _, ok := own[i]; ok && d.ID != 0 {
			out = append(out, d.ID)
		}
	}
	return out
}

// figure is a level of the horse as the record has it; own takes each ride's own level.
func (r *Record) figure(l *horse.Level, own func(i int, e trace.Estimate)) *Figure {
	if l == nil {
		return nil
	}
	for i, e := range l.Own {
		if own != nil {
			own(i, e)
		}
	}
	return &Figure{Mean: l.Mean, NextRide: l.NextRide, BetweenSD: l.Between, LineSD: l.LineSD, MeasuredSD: l.MeasuredSD, N: l.N, Count: l.Rides, Rides: r.rideIDs(l.Own)}
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

// tellHorse asks the model of the horse.
func (r *Record) tellHorse() {
	var all []*report.Debrief
	for _, d := range r.rides {
		all = append(all, d.debrief())
	}
	ridden := report.RiddenIn(all)
	if r.Name != "" {
		ridden.Name = r.Name
	}
	ridden.Size = r.size
	r.usual = horse.Of(ridden)
}

// tellStrides tells stride, stride time and pace.
func (r *Record) tellStrides() {
	r.StrideM = r.figure(r.usual.StrideM, func(i int, e trace.Estimate) { r.Rides[i].StrideM = &e })
	r.StrideS = r.figure(r.usual.StrideS, func(i int, e trace.Estimate) { r.Rides[i].StrideS = &e })
	r.SpeedMS = r.figure(r.usual.SpeedMS, func(i int, e trace.Estimate) { r.Rides[i].SpeedMS = &e })
	if r.StrideM == nil && len(r.rides) > 0 {
		r.note("info", "no usual stride", "no ride has a line whose strides were counted and measured: that takes a course plan, or positions and motion")
	}
}

// tellPace tells the stride at each pace that was ridden.
func (r *Record) tellPace() {
	var paces []float64
	own := map[int]trace.Estimate{}
	for i, d := range r.rides {
		for _, l := range d.Lines {
			if l.StrideLengthM == nil || l.SpeedMS == nil || !usualLine(l) {
				continue
			}
			paces = append(paces, l.SpeedMS.Value)
			own[i] = *l.SpeedMS
			r.points = append(r.points, Point{d.ID, l.SpeedMS.Value, l.StrideLengthM.Value})
		}
	}
	if len(paces) == 0 || r.SpeedMS == nil || r.StrideM == nil {
		return
	}
	slices.Sort(paces)
	n := len(paces)
	from, to := paces[n/20], paces[n-1-n/20]
	if n < leastPaceLines || to-from < leastPaceSpanMS {
		r.note("info", "stride at a pace not told", "it takes "+strconv.Itoa(leastPaceLines)+" lines, ridden at paces at least 30 m/min apart")
		return
	}
	slope := r.usual.StridePerMS
	r.Pace = &Pace{PerMS: &slope, UsualM: r.StrideM.Mean, UsualMS: r.SpeedMS.Mean.Value, FromMS: from, ToMS: to, Table: []PaceStride{}, N: n, Count: len(own), Rides: r.rideIDs(own)}
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
	r.TakeoffM = r.edges(r.usual.TakeoffM, func(e Effort) *trace.Estimate { return e.TakeoffDistanceM }, func(i int, e trace.Estimate) { r.Rides[i].TakeoffM = &e })
	r.LandingM = r.edges(r.usual.LandingM, func(e Effort) *trace.Estimate { return e.LandingDistanceM }, func(i int, e trace.Estimate) { r.Rides[i].LandingM = &e })
}

func (r *Record) edges(all *horse.Level, of func(Effort) *trace.Estimate, own func(int, trace.Estimate)) Edges {
	gather := func(keep func(Effort) bool) []horse.Row {
		one := []float64{1}
		rows := make([]horse.Row, 0, 8*len(r.rides))
		for i, d := range r.rides {
			for k, e := range d.Efforts {
				if x := of(e); x != nil && e.Outcome == "jumped" && keep(e) {
					rows = append(rows, horse.Mean(one, i, r.effortIDs[i][k], *x))
				}
			}
		}
		return rows
	}
	out := Edges{ByKind: []KindEdge{}, ByHeight: []HeightEdge{}}
	out.All = r.figure(all, own)
	for _, k := range course.Kinds() {
		rows := gather(func(e Effort) bool { return e.Kind == string(k) })
		if len(rows) >= leastJumps {
			out.ByKind = append(out.ByKind, KindEdge{string(k), *r.figure(horse.LevelOf(rows, horse.ByLine(prior.HoofJumpM().SD), prior.HoofSharedM().SD), nil)})
		}
	}
	slices.SortFunc(out.ByKind, func(a, b KindEdge) int { return cmp.Compare(a.Kind, b.Kind) })
	steps := edgeHeights()
	for i := range len(steps) - 1 {
		rows := gather(func(e Effort) bool { return e.HeightM != nil && *e.HeightM >= steps[i] && *e.HeightM < steps[i+1] })
		if len(rows) >= leastJumps {
			out.ByHeight = append(out.ByHeight, HeightEdge{steps[i], steps[i+1], *r.figure(horse.LevelOf(rows, horse.ByLine(prior.HoofJumpM().SD), prior.HoofSharedM().SD), nil)})
		}
	}
	return out
}

// tellRhythm tells how even the strides are, and what stride time and evenness do over time.
func (r *Record) tellRhythm() {
	var cvs []horse.Row
	var all, strides float64
	for i, d := range r.rides {
		ss, df := rhythmOf(d)
		if df < leastRhythmDF {
			continue
		}
		chi := distuv.ChiSquared{K: df}
		r.Rides[i].RhythmCV = &trace.Estimate{Value: math.Sqrt(ss / df), Low: math.Sqrt(ss / chi.Quantile(0.95)), High: math.Sqrt(ss / chi.Quantile(0.05))}
		cvs = append(cvs, horse.Row{Ride: i, Line: -1, X: []float64{1}, Y: math.Sqrt(ss / df), SD: 1 / math.Sqrt(2*df)})
		all, strides = all+ss, strides+df
	}
	for i := range cvs {
		// The doubt of a spread is a part of it, and here of the mean spread: by its own, a ride that happened to be even would count for
		// more.
		cvs[i].SD *= math.Sqrt(all / strides)
	}
	r.Rhythm.CV = r.figure(horse.LevelOf(cvs, horse.ByRide(prior.RhythmCV().SD), 0), nil)
	var why string
	times := r.rows(func(l Line) *trace.Estimate { return l.StrideS })
	r.Rhythm.StrideS, r.Rhythm.Days, why = r.trend(times, horse.ByLine(prior.StrideLineS().SD))
	r.Rhythm.CVTrend, _, _ = r.trend(cvs, horse.ByRide(prior.RhythmCV().SD))
	r.Rhythm.Why = why
}

// trend is the change of a figure in 30 days, over rides with a date.
func (r *Record) trend(rows []horse.Row, before horse.Before) (perMonth *trace.Estimate, days float64, why string) {
	var dated []horse.Row
	var first float64
	rides, last := 0, -1
	for _, q := range rows {
		d := r.rides[q.Ride]
		if d.At == nil {
			continue
		}
		day := float64(d.At.Unix()) / 86400
		if rides == 0 {
			first = day
		}
		if q.Ride != last {
			rides, last, days = rides+1, q.Ride, day-first
		}
		dated = append(dated, horse.Row{Ride: q.Ride, Line: q.Line, X: []float64{1, (day - first) / trendDays}, Y: q.Y, SD: q.SD})
	}
	if rides < leastTrendRides || days < leastTrendDays {
		return nil, days, "no change over time told: it takes " + strconv.Itoa(leastTrendRides) + " dated rides over at least " + strconv.Itoa(leastTrendDays) + " days"
	}
	f, ok := horse.Mixed(dated, before)
	if !ok {
		return nil, days, "no change over time told: the rides lie too close together in time"
	}
	e := f.At(0, 1)
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
	if r.horse, r.noHorse = r.usual.Course(); r.noHorse != nil {
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
