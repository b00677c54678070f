package build

import (
	"math"
	"slices"

	"groundline/course"
	"groundline/course/place"
	"groundline/report"
	"groundline/trace"
)

// strideSpread is how much single strides of one horse at one pace differ in length, as a share: 2 % in
// Standardbreds' trot (Equine Vet. J. 1980;12:60-65, the within-horse coefficient of variation), the least to be
// expected of a canter between obstacles. unseenPace is the same where nothing shows how the pace changed
// along the line: riders steady and press on by some percent (our choice).
const strideSpread, unseenPace = 0.02, 0.04

// strideRows are the strides of the ride in time order: those seen and, on lines whose strides nobody could
// see, those estimated. d holds the lines and strides told.
func (r *ride) strideRows(d *report.Debrief) []report.StrideRow {
	out := []report.StrideRow{}
	times := r.lineTimes()
	lines := min(len(times), len(d.Lines))
	lineOf := func(s report.Stride) int {
		mid := (s.FromS + s.ToS) / 2
		for i := range lines {
			if s.Gait == "canter" && d.Lines[i].StridesBy == "counted" && mid > times[i][0] && mid < times[i][1] {
				return i
			}
		}
		return -1
	}
	members := make([][]int, lines) // rows of each line
	for _, s := range d.Strides {
		if !(s.ToS > s.FromS) {
			continue
		}
		row := report.StrideRow{Gait: s.Gait, Lead: s.Lead, StartS: s.FromS, DurationS: s.ToS - s.FromS, LengthM: s.LengthM, By: "counted"}
		if i := lineOf(s); i >= 0 {
			members[i] = append(members[i], len(out))
		}
		out = append(out, row)
	}
	for i := range lines {
		l := &d.Lines[i]
		switch {
		case l.Strides == nil:
		case l.StridesBy == "counted":
			r.lineRows(out, members[i], l)
		default:
			out = append(out, estimatedRows(l, times[i])...)
		}
	}
	slices.SortStableFunc(out, func(a, b report.StrideRow) int {
		switch {
		case a.StartS < b.StartS:
			return -1
		case a.StartS > b.StartS:
			return 1
		}
		return 0
	})
	for i := range out {
		row := &out[i]
		if row.LengthM != nil {
			v := row.LengthM.Value / row.DurationS
			row.SpeedMS = &v
		}
		r.groundOf(row)
		if row.Line == nil {
			row.Round = roundAt(d.Rounds, row.StartS+row.DurationS/2)
		}
		for _, p := range []**float64{&row.SpeedMS, &row.Grade, &row.Homeward, &row.CurvaturePerM} {
			if *p != nil && (math.IsNaN(**p) || math.IsInf(**p, 0)) {
				*p = nil
			}
		}
	}
	return out
}

// lineRows numbers the strides of a line and makes their lengths fit the line's own, which is the better known
// of the two.
func (r *ride) lineRows(rows []report.StrideRow, members []int, l *report.Line) {
	n := int(math.Round(l.Strides.Value))
	var sum, time float64
	known := 0
	for _, k := range members {
		time += rows[k].DurationS
		if rows[k].LengthM != nil {
			sum += rows[k].LengthM.Value
			known++
		}
	}
	for i, k := range members {
		row := &rows[k]
		inLine(row, l, n)
		if len(members) == n {
			at := i + 1
			row.InLine = &at
		}
		if l.StrideLengthM == nil {
			continue
		}
		switch mean := l.StrideLengthM.Value; {
		case known == len(members) && sum > 0:
			row.LengthM = single(row.LengthM.Value*mean*float64(known)/sum, l.StrideLengthM.SD(), strideSpread)
		case r.path == nil:
			row.LengthM = single(row.DurationS*mean*float64(len(members))/time, l.StrideLengthM.SD(), unseenPace)
		}
	}
}

// estimatedRows are as many strides as a line most likely had, one after another in the middle of the time from
// landing to take-off.
func estimatedRows(l *report.Line, times [2]float64) []report.StrideRow {
	n := int(math.Round(l.Strides.Value))
	if n < 1 || l.StrideS == nil || !(l.StrideS.Value > 0) {
		return nil
	}
	out := make([]report.StrideRow, n)
	t := l.StrideS.Value
	from := (times[0]+times[1])/2 - t*float64(n)/2
	for i := range out {
		at := i + 1
		out[i] = report.StrideRow{Gait: "canter", StartS: from + t*float64(i), DurationS: t, InLine: &at, By: "estimated"}
		inLine(&out[i], l, n)
		if l.StrideLengthM != nil {
			out[i].LengthM = single(l.StrideLengthM.Value, l.StrideLengthM.SD(), unseenPace)
		}
	}
	return out
}

func inLine(row *report.StrideRow, l *report.Line, n int) {
	name, attempt := l.From+"-"+l.To, l.Attempt
	row.Line, row.Attempt, row.OfLine, row.Round = &name, &attempt, &n, l.Round
	row.Grade, row.Homeward = l.Grade, l.Homeward // until its own are told
}

// single is the length of one stride: the mean's doubt and its own.
func single(m, meanSD, spread float64) *trace.Estimate {
	e := trace.FromSD(m, math.Hypot(meanSD, spread*m))
	e.Low = math.Max(e.Low, 0)
	return &e
}

// Curvature is taken over the stride, or over curvedOverM of travel about its middle where the stride is shorter:
// a single noisy fix is no turn (the tightest radius of a line is taken over the same length). Slower than
// leastPaceMS a track's direction is mostly noise.
const curvedOverM, leastPaceMS = 4.0, 0.8

// groundOf tells where a stride led: uphill, homeward, and how it turned. Without a track its line's own stand.
func (r *ride) groundOf(row *report.StrideRow) {
	if r.path == nil {
		return
	}
	row.Grade, row.Homeward = nil, nil
	from, to := row.StartS, row.StartS+row.DurationS
	mid, ok := r.path.At((from + to) / 2)
	if !ok || mid.SpeedMS() < leastPaceMS {
		return
	}
	half := math.Max(row.DurationS, curvedOverM/mid.SpeedMS()) / 2
	if k, ok := r.curvature((from+to)/2-half, (from+to)/2+half); ok {
		row.CurvaturePerM = &k
	}
	a, okA := r.path.At(from)
	b, okB := r.path.At(to)
	m, okM := r.path.LengthM(from, to)
	if r.plan == nil || r.found || !okA || !okB || !okM || m < 0.3 {
		return
	}
	if r.surface != nil {
		g := (r.surface.HeightAt(b.X, b.Y) - r.surface.HeightAt(a.X, a.Y)) / m
		row.Grade = &g
	}
	if h := r.plan.Home; h != nil {
		c := course.Homeward(course.Point{X: mid.X, Y: mid.Y}, mid.HeadingDeg(), *h)
		row.Homeward = &c
	}
}

// curvature is the turn per metre ridden from one time to another, radians, left positive.
func (r *ride) curvature(from, to float64) (float64, bool) {
	prev, ok := r.path.At(from)
	if !ok {
		return 0, false
	}
	var turn, way float64
	for t := from; t < to; {
		t = math.Min(t+2*place.StepS, to)
		next, ok := r.path.At(t)
		if !ok {
			return 0, false
		}
		turn -= course.WrapDeg(next.HeadingDeg() - prev.HeadingDeg())
		way += math.Hypot(next.X-prev.X, next.Y-prev.Y)
		prev = next
	}
	if way < 0.5 {
		return 0, false
	}
	return turn * math.Pi / 180 / way, true
}

// roundAt is the number of the whole round that was being ridden at a time, start to finish; nil for none.
func roundAt(rounds []report.Round, at float64) *int {
	for i := range rounds {
		if q := &rounds[i]; q.StartS != nil && q.FinishS != nil && at >= *q.StartS && at <= *q.FinishS {
			return &q.Round
		}
	}
	return nil
}
