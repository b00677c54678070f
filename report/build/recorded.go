package build

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"groundline/course"
	"groundline/course/place"
	"groundline/detect"
	"groundline/report/layout"
	"groundline/trace"
	"groundline/trace/geo"
	"groundline/trace/smooth"
)

// recorded is what was recorded, on one clock.
type recorded struct {
	rec   *trace.Recording // its motion on the clock of ev
	ev    *detect.Events   // nil without motion
	yaw   turned           // of ev
	track *smooth.Track    // nil without positions
	raw   *place.Path      // of track, about the anchor or the ride's middle; nil without positions
	path  *place.Path      // raw, until a plan is laid under it
	gaits []detect.Span    // by the motion where there is one, else by the track
	wave  *detect.Wave     // the canter's wave in a receiver's speed; nil where it does not show
	notes []trace.Note
}

// noted is the notes with one more, which the stages before do not see.
func noted(notes []trace.Note, level, what, why string) []trace.Note {
	return append(slices.Clip(notes), trace.Note{Level: level, What: what, Why: why})
}

// sense finds what the motion shows, by the motion's own clock.
func sense(rec *trace.Recording) (recorded, error) {
	q := recorded{rec: rec, notes: slices.Clone(rec.Notes)}
	if rec.Motion == nil {
		return q, nil
	}
	ev, err := detect.FromMotion(rec.Motion, detect.Options{})
	if err != nil {
		return recorded{}, err
	}
	q.notes = append(q.notes, ev.Notes...)
	return q.with(ev), nil
}

func (q recorded) with(ev *detect.Events) recorded {
	q.ev, q.gaits, q.yaw = ev, ev.Gaits, turnedOf(ev)
	return q
}

// mirrored takes the gyroscope's turns the other way round.
func (q recorded) mirrored() (recorded, error) {
	m := *q.rec.Motion
	m.GX, m.GY, m.GZ = negated(m.GX), negated(m.GY), negated(m.GZ)
	ev, err := detect.FromMotion(&m, detect.Options{})
	if err != nil {
		return recorded{}, err
	}
	rec := *q.rec
	rec.Motion, q.rec = &m, &rec
	q.notes = noted(q.notes, "caution", "left and right were taken the other way round",
		"the turns of the plan are ridden only so: the sensor tells its acceleration with the opposite sign, as some do")
	return q.with(ev), nil
}

func negated(x []float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = -v
	}
	return out
}

// elsewhereM is how far from the plan's middle a ride may begin and still belong to it: a warm-up ring
// beside the arena and a receiver gone astray are within it, the next village is not.
const elsewhereM = 1000

// tracked turns the fixes into a track about the plan's anchor, or the ride's own middle.
func (q recorded) tracked(plan *course.Plan) (recorded, error) {
	p := q.rec.Positions
	if p == nil {
		return q, nil
	}
	// The middle of the ride, which a wild fix does not move: one of the fixes' own latitudes and longitudes, so
	// that it lies among them on the antimeridian too.
	origin := geo.LatLon{LatDeg: middleOf(p.LatDeg), LonDeg: middleOf(p.LonDeg)}
	var anchor *course.Anchor
	if plan != nil && plan.Anchor != nil {
		anchor = plan.Anchor
		origin = anchor.At
	}
	var heightM float64
	if p.HeightM != nil {
		heightM = median(p.HeightM)
	}
	frame := geo.NewFrame(origin, heightM)
	if anchor != nil {
		d := make([]float64, len(p.LatDeg))
		for i := range d {
			e, n, u := frame.ToENU(geo.LatLon{LatDeg: p.LatDeg[i], LonDeg: p.LonDeg[i]}, heightM)
			d[i] = greatCircleM(math.Hypot(math.Hypot(e, n), u))
		}
		if m := median(d); m > elsewhereM {
			return q, &ElsewhereError{DistanceM: m}
		}
	}
	tr, err := smooth.Smooth(p, frame, smooth.Options{})
	if err != nil {
		return q, err
	}
	q.track, q.raw = tr, place.FromTrack(tr, anchor)
	q.path = q.raw
	if q.ev == nil {
		q.gaits = detect.FromTrack(tr).Gaits
		q.wave = detect.StrideWave(tr, p)
	}
	return q, nil
}

// clockedByGaits brings the motion to the positions' clock by the changes of gait, where they settle it.
func (q recorded) clockedByGaits() recorded {
	if off, ok := q.offsetByGaits(); ok {
		return q.earlier(off, "the changes of gait and of speed then fall together")
	}
	return q
}

// clockHeedByGaitsS is the least offset of the clocks that is believed on the gaits' word: over the labelled rounds it
// misses by up to 1.3 s, and a debrief bears what is below.
const clockHeedByGaitsS = 1.5

// offsetByGaits is how far the motion's clock is ahead, from the changes of gait against the changes of speed: for rides
// whose jumps can't be held against passages over obstacles.
func (q recorded) offsetByGaits() (off trace.Estimate, ok bool) {
	if q.ev == nil || q.track == nil {
		return off, false
	}
	c := detect.ClockByGaits(q.ev, q.track)
	// Clocks mostly agree: to set one back takes more than an interval that just leaves out zero.
	if c.OffsetS == nil || math.Abs(c.OffsetS.Value) < max(clockHeedByGaitsS, c.OffsetS.High-c.OffsetS.Low) {
		return off, false
	}
	return *c.OffsetS, true
}

// earlier sets the motion's clock back by off. What was found in the motion holds on any clock: nothing is detected again.
func (q recorded) earlier(off trace.Estimate, why string) recorded {
	rec, m := *q.rec, *q.rec.Motion
	m.TimeS = make([]float64, len(q.rec.Motion.TimeS))
	for i, t := range q.rec.Motion.TimeS {
		m.TimeS[i] = t - off.Value
	}
	rec.Motion = &m
	q.notes = noted(q.notes, "caution", "the motion sensor's clock was ahead by "+layout.ClockOffset(off.Value)+" and was set back",
		fmt.Sprintf("%s; between %.2f and %.2f s", why, off.Low, off.High))
	ev := q.ev.Earlier(off.Value)
	if before := rec.ClockOffsetS; before != nil {
		off = plus(*before, off)
	}
	rec.ClockOffsetS = &off
	rec.DurationS = math.Max(rec.Positions.TimeS[len(rec.Positions.TimeS)-1], m.TimeS[len(m.TimeS)-1])
	q.rec = &rec
	return q.with(ev)
}

// plus adds a second offset to a first whose doubt it has in it.
func plus(a, b trace.Estimate) trace.Estimate {
	return trace.Estimate{Value: a.Value + b.Value, Low: a.Low + b.Low, High: a.High + b.High}
}

// turned is how far a gyroscope turned since its first sample, radians, left positive; empty without one.
type turned struct{ timeS, rad []float64 }

func turnedOf(ev *detect.Events) turned {
	t, w := ev.YawTimeS, ev.YawRadS
	if len(t) < 2 {
		return turned{}
	}
	out := turned{timeS: t, rad: make([]float64, len(t))}
	for i := 1; i < len(t); i++ {
		out.rad[i] = out.rad[i-1] + (t[i]-t[i-1])*(w[i-1]+w[i])/2
	}
	return out
}

// between is how far the horse turned between two instants, left positive; ok is false beyond the gyroscope's samples.
func (g turned) between(fromS, toS float64) (deg, sd float64, ok bool) {
	t := g.timeS
	if len(t) < 2 || fromS < t[0] || toS > t[len(t)-1] {
		return 0, 0, false
	}
	at := func(s float64) float64 {
		i := sort.SearchFloat64s(t, s)
		if i == 0 {
			return 0
		}
		// Linear within a sample: samples are far closer than a turn is long.
		return g.rad[i-1] + (g.rad[i]-g.rad[i-1])*(s-t[i-1])/(t[i]-t[i-1])
	}
	// A gyroscope's zero drifts: some 0.005 rad/s unless it was taken at a halt.
	return (at(toS) - at(fromS)) * 180 / math.Pi, 5 + 0.3*(toS-fromS), true
}

// greatCircleM is the way over the ground between two places a chord apart, on a sphere of the Earth's mean radius (IUGG,
// 6371.0088 km): right to half a percent at any distance.
func greatCircleM(chordM float64) float64 {
	const earthM = 6371008.8
	return 2 * earthM * math.Asin(math.Min(1, chordM/(2*earthM)))
}
