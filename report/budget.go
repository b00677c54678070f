package report

import (
	"math"

	"groundline/course"
	"groundline/course/horse"
	"groundline/course/prior"
	"groundline/trace"
)

// Budget is where the ground of a line went: landing, strides and take-off together are the ground ridden, which is
// DistanceM and TrackExtraM. Their errors hang together (a landing found too far out makes the strides too short), so the
// intervals come from one joint covariance and are narrower than the parts' own.
type Budget struct {
	// DistanceM is the plan's ground: walked or by the map where the line is straight, else along the planned track.
	DistanceM   float64         `json:"distance_m"`
	TrackExtraM *trace.Estimate `json:"track_extra_m"` // ridden beyond it (+, bowed out) or short of it (-, cut in)
	LandingM    *trace.Estimate `json:"landing_m"`     // back of the first obstacle to the fore hooves
	StridesM    *trace.Estimate `json:"strides_m"`     // fore hooves at landing to hind hooves at take-off
	TakeoffM    *trace.Estimate `json:"takeoff_m"`     // hind hooves to the front of the second
	// AgainstUsual is each part less what this horse usually does; nil where that is not known.
	AgainstUsual *AgainstUsual `json:"against_usual"`
}

// AgainstUsual are the parts of a line's ground beyond (+) or short of (-) this horse's usual: landing, all strides together, and
// take-off. What pace, slope and home make of the strides is taken out of StrideM and stands beside it, so that the sum of all
// is the ground ridden less what the horse usually covers on as many strides. nil is not known.
type AgainstUsual struct {
	LandingM *trace.Estimate `json:"landing_m"`
	StrideM  *trace.Estimate `json:"stride_m"`
	TakeoffM *trace.Estimate `json:"takeoff_m"`
	PaceM    *trace.Estimate `json:"pace_m"`
	GradeM   *trace.Estimate `json:"grade_m"`
	HomeM    *trace.Estimate `json:"home_m"`
}

const (
	// How far the hooves reach beyond the sensor is in landing and take-off with one sign and in the track with the other.
	hoofReachSDM = 0.12
	// A straight line is ridden a little longer than the tape, since nobody rides a ruled line (ours).
	straightMoreM, straightMoreSDM = 0.05, 0.15
)

// SetBudgets fills in the budgets of the lines. It rests on the fits (see [Debrief.SetUsual]) and the plan.
func (d *Debrief) SetBudgets(other *horse.Rides) {
	mine := RiddenIn([]*Debrief{d})
	if other != nil {
		mine.Size = other.Size
	}
	usual := horse.Of(mine)
	ways := d.plannedWays()
	ends := d.Ends()
	for i := range d.Lines {
		l := &d.Lines[i]
		l.Budget = nil
		a, b := ends[i][0], ends[i][1]
		if a == nil || b == nil || a.LandingDistanceM == nil || b.TakeoffDistanceM == nil || l.TrackM == nil || l.DistanceM == nil {
			continue
		}
		ground := *l.DistanceM
		if m, ok := ways[[2]string{l.From, l.To}]; ok {
			ground = m
		}
		straight := l.Kind == string(course.Related) || l.Kind == string(course.Combination)
		l.Budget = budgetOf(ground, *a.LandingDistanceM, *l.TrackM, *b.TakeoffDistanceM, straight && !l.round())
		l.Budget.AgainstUsual = d.againstUsual(i, a, b, l, usual)
	}
}

// round reports whether the line was not ridden straight away.
func (l *Line) round() bool {
	return l.Strides != nil && l.StrideLengthM != nil && WentRound(*l)
}

// plannedWays are the lengths on the ground of the plan's ways, along its planned track where they turn.
func (d *Debrief) plannedWays() map[[2]string]float64 {
	out := map[[2]string]float64{}
	if d.Plan == nil || len(d.Plan.Lines) == 0 {
		return out
	}
	track := d.Plan.PlanTrack(course.StandardStrideM)
	for i, l := range d.Plan.Lines {
		out[[2]string{l.From, l.To}] = d.Plan.WayM(track, i)
	}
	return out
}

// budgetOf joins the three parts: their errors, what they share, and, on a straight line, that they must fill its ground
// (a Kalman update by one observation of the sum).
func budgetOf(groundM float64, landing, track, takeoff trace.Estimate, straight bool) *Budget {
	x := [3]float64{landing.Value, track.Value, takeoff.Value}
	h := [3]float64{0.5 * hoofReachSDM, -hoofReachSDM, 0.5 * hoofReachSDM}
	var c [3][3]float64
	for i, e := range [3]trace.Estimate{landing, track, takeoff} {
		for j := range 3 {
			c[i][j] = h[i] * h[j]
		}
		c[i][i] += max(1e-6, e.SD()*e.SD()-h[i]*h[i])
	}
	rows := func() (to [3]float64, all float64) {
		for i := range 3 {
			for j := range 3 {
				to[i] += c[i][j]
				all += c[i][j]
			}
		}
		return to, all
	}
	if straight {
		to, all := rows()
		miss := groundM + straightMoreM - x[0] - x[1] - x[2]
		v := all + straightMoreSDM*straightMoreSDM
		for i := range 3 {
			x[i] += to[i] / v * miss
		}
		for i := range 3 {
			for j := range 3 {
				c[i][j] -= to[i] * to[j] / v
			}
		}
	}
	_, all := rows()
	part := func(i int) *trace.Estimate {
		e := trace.FromSD(millimetres(x[i]), math.Sqrt(max(0, c[i][i])))
		return &e
	}
	out := &Budget{DistanceM: millimetres(groundM), LandingM: part(0), StridesM: part(1), TakeoffM: part(2)}
	extra := trace.FromSD(millimetres(out.LandingM.Value+out.StridesM.Value+out.TakeoffM.Value-out.DistanceM), math.Sqrt(max(0, all)))
	out.TrackExtraM = &extra
	return out
}

// millimetres rounds to the millimetre, so that the parts add up in JSON too.
func millimetres(m float64) float64 { return math.Round(m*1000) / 1000 }

// againstUsual holds the parts of line i, from effort a to b, against the horse's usual: of everything but the line itself.
func (d *Debrief) againstUsual(i int, a, b *Effort, l *Line, usual horse.Usual) *AgainstUsual {
	if l.Fit == nil || l.Fit.PerStrideM == nil || l.Strides == nil {
		return nil
	}
	out := &AgainstUsual{}
	edge := func(mine *trace.Estimate, but *Effort, of func(*Effort) *trace.Estimate) *trace.Estimate {
		var others []trace.Estimate
		for k := range d.Efforts {
			if e := &d.Efforts[k]; e != but && e.Outcome == "jumped" && of(e) != nil {
				others = append(others, *of(e))
			}
		}
		m, sd, ok := meanAbout(others, prior.HoofJumpM().SD, hoofReachSDM/2)
		if !ok {
			return nil
		}
		own := math.Sqrt(max(0, mine.SD()*mine.SD()-sq(hoofReachSDM/2)))
		e := trace.FromSD(mine.Value-m, math.Hypot(own, sd))
		return &e
	}
	out.LandingM = edge(l.Budget.LandingM, a, func(e *Effort) *trace.Estimate { return e.LandingDistanceM })
	out.TakeoffM = edge(l.Budget.TakeoffM, b, func(e *Effort) *trace.Estimate { return e.TakeoffDistanceM })
	n := l.Strides.Value
	rest, restVar := l.Fit.PerStrideM.Value*n, sq(l.Fit.PerStrideM.SD()*n)
	stride := 0.0
	if l.StrideLengthM != nil {
		stride = l.StrideLengthM.Value - l.Fit.PerStrideM.Value
	}
	take := func(value, sd float64) *trace.Estimate {
		rest, restVar = rest-value, restVar+sd*sd
		e := trace.FromSD(value, sd)
		return &e
	}
	if l.SpeedMS != nil {
		var others []trace.Estimate
		for k := range d.Lines {
			if o := &d.Lines[k]; k != i && o.SpeedMS != nil && (o.Kind == string(course.Related) || o.Kind == string(course.Bending)) {
				others = append(others, *o.SpeedMS)
			}
		}
		if m, sd, ok := meanAbout(others, prior.PaceLineRel().SD*l.SpeedMS.Value, 0); ok {
			by, bySD := l.SpeedMS.Value-m, math.Hypot(l.SpeedMS.SD(), sd)
			per := usual.StridePerMS
			out.PaceM = take(n*by*per.Value, n*math.Hypot(bySD*per.Value, by*per.SD()))
		}
	}
	if l.Grade != nil && stride > 0 {
		g := usual.GradeRel
		out.GradeM = take(n*stride*g.Value**l.Grade, n*stride*g.SD()*math.Abs(*l.Grade))
	}
	if l.Homeward != nil && stride > 0 {
		h := usual.HomewardRel
		out.HomeM = take(n*stride*h.Value**l.Homeward, n*stride*h.SD()*math.Abs(*l.Homeward))
	}
	e := trace.FromSD(rest, math.Sqrt(restVar))
	out.StrideM = &e
	return out
}

// meanAbout is the mean of estimates that differ by betweenSD, and its standard deviation without an error of sharedSD that
// all have in common; false without any.
func meanAbout(all []trace.Estimate, betweenSD, sharedSD float64) (mean, sd float64, ok bool) {
	var v float64
	n := float64(len(all))
	for _, e := range all {
		mean += e.Value / n
		v += max(0, e.SD()*e.SD()-sharedSD*sharedSD) + betweenSD*betweenSD
	}
	return mean, math.Sqrt(v) / max(1, n), n > 0
}

func sq(x float64) float64 { return x * x }
