package build

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"groundline/course"
	"groundline/course/follow"
	"groundline/course/place"
	"groundline/detect"
	"groundline/report"
	"groundline/report/layout"
	"groundline/trace"
	"groundline/trace/dsp"
	"groundline/trace/geo"
	"groundline/trace/smooth"
)

// Options are what the reader of a debrief may say beforehand.
type Options struct {
	HorseName string // "" if not said
	// Ways are the plan's ways, for those who build many rides over one plan; nil: worked out, which takes longer than
	// many a ride.
	Ways *follow.Ways
}

// ElsewhereError tells that the recording is from another place than the plan's anchor.
type ElsewhereError struct{ DistanceM float64 }

func (e *ElsewhereError) Error() string {
	return fmt.Sprintf("the recording lies %.1f km from the plan's anchor, expected a ride within %d m of it: it is of another place, or the anchor's latitude and longitude are wrong", e.DistanceM/1000, elsewhereM)
}

// ErrNothing is returned for a recording that has neither positions nor motion.
var ErrNothing = errors.New("the recording has neither positions nor motion: there is nothing to tell")

// elsewhereM is how far from the plan's middle a ride may begin and still belong to it: a warm-up ring
// beside the arena and a receiver gone astray are within it, the next village is not.
const elsewhereM = 1000

// ride is all that is known of the ride while the debrief is built.
type ride struct {
	rec     *trace.Recording
	plan    *course.Plan
	opt     Options
	ev      *detect.Events // nil without motion
	track   *smooth.Track  // nil without positions
	path    *place.Path    // laid onto the plan where there is one; nil without positions
	raw     *place.Path    // as recorded, before it was laid
	poses   []follow.Pose  // that brought the path into the plan's axes, where an anchor did not
	res     *follow.Result // nil without a plan
	gaits   []detect.Span
	wave    *detect.Wave    // the canter's wave in a receiver's speed; nil where it does not show
	surface *course.Surface // nil without a slope
	notes   []trace.Note

	efforts []effort // as in res.Efforts
	legs    []leg    // as in res.Legs
	prior   prior
	yawSum  []float64 // radians turned since the gyroscope's first sample; made when first asked for
	found   bool      // the plan was found in the ride
	missed  int       // lines with a hole in the motion
}

func (r *ride) note(level, what, why string) {
	r.notes = append(r.notes, trace.Note{Level: level, What: what, Why: why})
}

// Debrief turns a recording, and a plan where there is one, into the debrief. The plan may be nil. It returns the context's
// error as soon as the context ends; what still runs then ends by itself and is thrown away.
func Debrief(ctx context.Context, rec *trace.Recording, plan *course.Plan, opt Options) (*report.Debrief, error) {
	type result struct {
		d     *report.Debrief
		err   error
		panic any
	}
	done := make(chan result, 1)
	go func() {
		var r result
		defer func() {
			r.panic = recover() // to be raised where the caller can recover it
			done <- r
		}()
		r.d, r.err = build(ctx, rec, plan, opt)
	}()
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case r := <-done:
		if r.panic != nil {
			panic(r.panic)
		}
		return r.d, r.err
	}
}

func build(ctx context.Context, rec *trace.Recording, plan *course.Plan, opt Options) (*report.Debrief, error) {
	if rec.Positions == nil && rec.Motion == nil {
		return nil, ErrNothing
	}
	r := &ride{rec: rec, plan: plan, opt: opt}
	r.notes = append(r.notes, rec.Notes...)
	if rec.Motion != nil {
		ev, err := detect.FromMotion(rec.Motion, detect.Options{})
		if err != nil {
			return nil, err
		}
		r.ev = ev
		r.notes = append(r.notes, ev.Notes...)
		r.gaits = ev.Gaits
	}
	if rec.Positions != nil {
		if err := r.smooth(); err != nil {
			return nil, err
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if r.plan == nil || r.plan.Anchor == nil {
		if off, ok := r.clockByGaits(nil); ok {
			if err := r.shiftMotion(off, "the changes of gait and of speed then fall together"); err != nil {
				return nil, err
			}
		}
	}
	if r.plan == nil && r.ev != nil && r.path != nil {
		r.findPlan()
	}
	if r.plan != nil {
		if len(r.plan.Levels) > 0 {
			var why string
			if r.surface, why = course.NewSurface(r.plan.Levels); r.surface == nil {
				r.note("info", "no slope told", why)
			}
		}
		if err := r.follow(); err != nil {
			return nil, err
		}
		r.settleLeads()
		r.measure()
	}
	return r.debrief(), nil
}

// smooth turns the fixes into a track about the plan's anchor, or the ride's own middle.
func (r *ride) smooth() error {
	p := r.rec.Positions
	// The middle of the ride, which a wild fix does not move: one of the fixes' own latitudes and longitudes, so
	// that it lies among them on the antimeridian too.
	origin := geo.LatLon{LatDeg: middleOf(p.LatDeg), LonDeg: middleOf(p.LonDeg)}
	var anchor *course.Anchor
	if r.plan != nil && r.plan.Anchor != nil {
		anchor = r.plan.Anchor
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
			e, n, _ := frame.ToENU(geo.LatLon{LatDeg: p.LatDeg[i], LonDeg: p.LonDeg[i]}, heightM)
			d[i] = math.Hypot(e, n)
		}
		if m := median(d); m > elsewhereM {
			return &ElsewhereError{DistanceM: m}
		}
	}
	tr, err := smooth.Smooth(p, frame, smooth.Options{})
	if err != nil {
		return err
	}
	r.track = tr
	r.path = place.FromTrack(tr, anchor)
	r.raw = r.path
	if r.ev == nil {
		r.gaits = detect.FromTrack(tr).Gaits
		r.wave = detect.StrideWave(tr, p)
	}
	return nil
}

// follow reads from the ride which obstacle was jumped when.
func (r *ride) follow() error {
	in := follow.Input{Plan: r.plan, Path: r.path, Gaits: r.gaits, Found: r.found, Ways: r.opt.Ways}
	if in.Ways == nil || r.found {
		in.Ways = follow.WaysOf(r.plan)
	}
	if r.ev != nil {
		in.HasMotion, in.Jumps = true, r.ev.Jumps
		if r.ev.YawTimeS != nil {
			in.TurnedDeg = r.turnedByGyro
		}
	}
	if r.plan.Anchor == nil && r.path != nil {
		first, pose, err := follow.RideUnanchored(in)
		if err != nil {
			return err
		}
		if len(first.Efforts) < unanchoredLeast {
			return &NoAnchorError{}
		}
		r.poses = append(r.poses, pose)
		in.Path, in.Loose = pose.Apply(in.Path), true
		r.note("caution", "the plan was laid by the ride itself", "it has no anchor (latitude, longitude and bearing of the arena's corner), so where it lies and which way it points were found from what was jumped")
	}
	off, ok := follow.ClockOffset(in)
	why := "the jumps and the track's passages over the obstacles then fall together"
	if !ok {
		off, ok = r.clockByGaits(&in)
		why = "the changes of gait and of speed then fall together"
	}
	if ok {
		if err := r.shiftMotion(off, why); err != nil {
			return err
		}
		in.Jumps, in.Gaits = r.ev.Jumps, r.gaits
	}
	res, mirrored, err := follow.RideEitherWay(in)
	if err != nil {
		return err
	}
	if mirrored {
		if err := r.mirror(); err != nil {
			return err
		}
	}
	if p := res.Placement; p != nil && in.HasMotion && p.LagS.Value > lagHeedS && p.LagS.Low > 0 {
		// The receiver's own filter told the places late and cut the corners: both are undone, and the ride is
		// read once more.
		r.track = r.track.Unlag(p.LagS.Value)
		r.raw = place.FromTrack(r.track, r.plan.Anchor)
		in.Path = r.raw
		for _, pose := range r.poses {
			in.Path = pose.Apply(in.Path)
		}
		if again, err := follow.Ride(in); err == nil {
			r.note("info", fmt.Sprintf("the positions lag by %.1f s", p.LagS.Value), "the jumps that the motion sensor felt happen that long before the track passes the obstacles; the track was freed of it")
			res = again
		}
	}
	r.res = res
	if res.Path != nil {
		r.path = res.Path
	}
	r.notes = append(r.notes, res.Notes...)
	if n := len(res.Unplaced); n > 0 {
		r.note("info", fmt.Sprintf("%s left out", layout.Plural(n, "jump", "jumps")),
			"the sensor felt a leap where the plan has no obstacle, or out of any order that fits the ride")
	}
	if len(res.Efforts) == 0 {
		r.note("warning", "no obstacle of the plan was jumped in this recording", r.whyNothing())
	}
	if r.ev != nil && res.Path != nil {
		r.belongs(len(res.Efforts), len(res.Unplaced))
	}
	return nil
}

// mirror takes the gyroscope's turns the other way round.
func (r *ride) mirror() error {
	m := *r.rec.Motion
	m.GX, m.GY, m.GZ = negated(m.GX), negated(m.GY), negated(m.GZ)
	ev, err := detect.FromMotion(&m, detect.Options{})
	if err != nil {
		return err
	}
	rec := *r.rec
	rec.Motion = &m
	r.rec, r.ev, r.gaits, r.yawSum = &rec, ev, ev.Gaits, nil
	r.note("caution", "left and right were taken the other way round", "the turns of the plan are ridden only so: the sensor tells its acceleration with the opposite sign, as some do")
	return nil
}

func negated(x []float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = -v
	}
	return out
}

// lagHeedS is the least lag that is undone: less than that is within what a horse's own way over an obstacle and
// a creeping receiver make.
const lagHeedS = 0.2

// unanchoredLeast is how many obstacles must fall into place before a plan without an anchor is believed
// to lie under a ride: three could by chance.
const unanchoredLeast = 4

// belongs warns where the plan and the ride hardly meet.
func (r *ride) belongs(on, off int) {
	if off >= 3 && off > on {
		r.note("warning", "the plan and the ride may not belong together",
			fmt.Sprintf("of %d jumps only %d fell on obstacles of the plan", on+off, on))
	}
}

// findPlan makes a plan of the jumps themselves, where none was given.
func (r *ride) findPlan() {
	plan := follow.FoundObstacles(r.path, r.ev.Jumps)
	if len(plan.Obstacles) == 0 {
		return
	}
	// The corner of the found arena lies left of and before everything jumped.
	const marginM = 12
	minX, minY := math.Inf(1), math.Inf(1)
	for _, o := range plan.Obstacles {
		minX, minY = math.Min(minX, o.At.X), math.Min(minY, o.At.Y)
	}
	dx, dy := marginM-minX, marginM-minY
	for i := range plan.Obstacles {
		o := &plan.Obstacles[i]
		// To the centimetre and the tenth of a degree: a draft to correct, and no finer than that by far.
		o.At.X, o.At.Y = math.Round(100*(o.At.X+dx))/100, math.Round(100*(o.At.Y+dy))/100
		o.FacingDeg = math.Mod(math.Round(10*o.FacingDeg)/10, 360)
	}
	plan.SetLines(nil)
	corner, _ := r.track.Frame.FromENU(-dx, -dy, 0)
	plan.Anchor = &course.Anchor{At: corner}
	pose := follow.Pose{X: dx, Y: dy}
	r.poses = append(r.poses, pose)
	r.path = pose.Apply(r.path)
	r.plan, r.found = plan, true
	r.note("info", report.PlanFound,
		"they are numbered in the order first jumped; where they stand and how far apart is the track's word, to a metre or two, and what they are built of is not known")
}

// shiftMotion brings the motion to the positions' clock and finds its events anew.
func (r *ride) shiftMotion(off trace.Estimate, why string) error {
	m := *r.rec.Motion
	m.TimeS = make([]float64, len(r.rec.Motion.TimeS))
	for i, t := range r.rec.Motion.TimeS {
		m.TimeS[i] = t - off.Value
	}
	ev, err := detect.FromMotion(&m, detect.Options{})
	if err != nil {
		return err
	}
	rec := *r.rec
	rec.Motion = &m
	if off0 := rec.ClockOffsetS; off0 != nil {
		off = trace.Estimate{Value: off0.Value + off.Value, Low: off0.Low + off.Low, High: off0.High + off.High}
	}
	rec.ClockOffsetS = &off
	rec.DurationS = math.Max(rec.Positions.TimeS[len(rec.Positions.TimeS)-1], m.TimeS[len(m.TimeS)-1])
	r.rec, r.ev, r.gaits, r.yawSum = &rec, ev, ev.Gaits, nil
	r.note("caution", "the motion sensor's clock was ahead by "+layout.ClockOffset(off.Value)+" and was set back",
		fmt.Sprintf("%s; between %.2f and %.2f s", why, off.Low, off.High))
	return nil
}

// NoAnchorError tells that a watch alone can't be held against a plan without anchor.
type NoAnchorError struct{}

func (*NoAnchorError) Error() string {
	return "the plan has no anchor, so positions alone can't be held against it: add anchor: {latitude: …, longitude: …, bearing: …} to the plan"
}

func (r *ride) whyNothing() string {
	for _, g := range r.gaits {
		if g.Gait == detect.Canter {
			if r.path != nil {
				return "the horse cantered, but never over the line of an obstacle's face in the direction in which it is jumped"
			}
			return "the horse cantered, but no leap in it fits the order and the distances of the plan"
		}
	}
	return "no canter was found"
}

// middleOf is a value of x with as many below it as above.
func middleOf(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	return s[len(s)/2]
}

func median(x []float64) float64 { return dsp.Quantile(x, 0.5) }

// debrief gathers what was found.
func (r *ride) debrief() *report.Debrief {
	d := &report.Debrief{Schema: report.Schema, Basis: r.basis(), Efforts: []report.Effort{}, Lines: []report.Line{}, Rounds: []report.Round{}, Gaits: []report.GaitSpan{}, Strides: []report.Stride{}, Rejected: []report.Rejected{}}
	d.Recording = report.RecordingInfo{Files: r.rec.Files, DurationS: r.rec.DurationS}
	if !r.rec.Start.IsZero() {
		s := r.rec.Start.UTC().Format(time.RFC3339Nano)
		d.Recording.Start = &s
	}
	if p := r.rec.Positions; p != nil {
		d.Recording.PositionHz = &p.RateHz
	}
	if m := r.rec.Motion; m != nil {
		d.Recording.MotionHz = &m.RateHz
		if r.rec.Positions != nil {
			off := 0.0
			if r.rec.ClockOffsetS != nil {
				off = r.rec.ClockOffsetS.Value
			}
			d.Recording.ClockOffsetS = &off
		}
	}
	for _, g := range r.gaits {
		d.Gaits = append(d.Gaits, report.GaitSpan{Gait: g.Gait.String(), FromS: g.FromS, ToS: g.ToS})
	}
	if r.opt.HorseName != "" {
		d.Horse.Name = &r.opt.HorseName
	}
	if r.plan != nil {
		d.Plan = r.plan
		d.Course = &report.CourseInfo{Name: r.plan.Name}
		if r.res.Placement != nil && !r.found {
			p := r.res.Placement
			d.Course.Placed = &report.Placed{RightM: p.ShiftX.Value, ForwardM: p.ShiftY.Value, TurnDeg: p.TurnDeg.Value, ResidualM: p.ResidualM}
		}
		d.Efforts, d.Lines, d.Rounds = r.tellEfforts(), r.tellLines(), r.tellRounds()
		d.Slope = r.tellSlope(d.Lines)
	} else {
		d.Efforts = r.bareEfforts()
		d.Lines = r.bareLines()
	}
	if r.ev != nil {
		for _, x := range r.ev.Rejected {
			d.Rejected = append(d.Rejected, report.Rejected{AtS: x.AtS, Rule: x.Rule, Found: x.Found, Limit: x.Limit})
		}
	}
	r.noteQuality()
	d.Strides = r.tellStrides()
	r.tellHorse(d)
	r.tellFit(d)
	d.Ridden = r.ridden(d.Lines)
	d.StrideRows = r.strideRows(d)
	d.Notes = append([]trace.Note{}, r.notes...)
	return d
}

func (r *ride) basis() string {
	switch {
	case r.path != nil && r.ev != nil:
		return "position+motion"
	case r.path != nil:
		return "position"
	}
	return "motion"
}
