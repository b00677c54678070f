package report

import (
	"errors"
	"fmt"
	"math"
	"time"

	"groundline/course"
	"groundline/course/follow"
	"groundline/course/place"
	"groundline/detect"
	"groundline/trace"
	"groundline/trace/geo"
	"groundline/trace/smooth"
)

// Options are what the reader of a debrief may say beforehand.
type Options struct {
	HorseName string // "" if not said
}

// ElsewhereError tells that the recording is from another place than the plan's anchor.
type ElsewhereError struct{ DistanceM float64 }

func (e *ElsewhereError) Error() string {
	return fmt.Sprintf("the recording lies %.1f km from the plan's anchor: it is of another place, or the anchor's latitude and longitude are wrong", e.DistanceM/1000)
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
	res     *follow.Result // nil without a plan
	gaits   []detect.Span
	surface *course.Surface // nil without a slope
	notes   []trace.Note

	efforts []effort // as in res.Efforts
	legs    []leg    // as in res.Legs
	prior   prior
}

func (r *ride) note(level, what, why string) {
	r.notes = append(r.notes, trace.Note{Level: level, What: what, Why: why})
}

// Build turns a recording, and a plan where there is one, into the debrief. The plan may be nil.
func Build(rec *trace.Recording, plan *course.Plan, opt Options) (*Debrief, error) {
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
	if plan != nil {
		if len(plan.Levels) > 0 {
			var why string
			if r.surface, why = course.NewSurface(plan.Levels); r.surface == nil {
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
	origin := geo.LatLon{LatDeg: p.LatDeg[len(p.LatDeg)/2], LonDeg: p.LonDeg[len(p.LonDeg)/2]}
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
	if r.ev == nil {
		r.gaits = gaitsFromSpeed(r.path)
	}
	return nil
}

// follow reads from the ride which obstacle was jumped when.
func (r *ride) follow() error {
	in := follow.Input{Plan: r.plan, Path: r.path, Gaits: r.gaits}
	if r.ev != nil {
		in.HasMotion, in.Jumps = true, r.ev.Jumps
		if r.ev.YawTimeS != nil {
			in.TurnedDeg = r.turnedByGyro
		}
	}
	if r.plan.Anchor == nil && r.path != nil {
		r.note("warning", "the plan is not laid under the ride", "it has no anchor (latitude, longitude and bearing of the arena's corner), so the positions were left out")
		in.Path = nil
		r.path = nil
		if r.ev == nil {
			return &NoAnchorError{}
		}
	}
	if off, ok := follow.ClockOffset(in); ok {
		if err := r.shiftMotion(off); err != nil {
			return err
		}
		in.Jumps, in.Gaits = r.ev.Jumps, r.gaits
	}
	res, err := follow.Ride(in)
	if err != nil {
		return err
	}
	r.res = res
	if res.Path != nil {
		r.path = res.Path
	}
	r.notes = append(r.notes, res.Notes...)
	if n := len(res.Unplaced); n > 0 {
		r.note("info", fmt.Sprintf("%s left out", counted(n, "jump", "jumps")),
			"the sensor felt a leap where the plan has no obstacle, or out of any order that fits the ride")
	}
	if len(res.Efforts) == 0 {
		r.note("warning", "no obstacle of the plan was jumped in this recording", r.whyNothing())
	}
	return nil
}

// shiftMotion brings the motion to the positions' clock and finds its events anew.
func (r *ride) shiftMotion(off trace.Estimate) error {
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
	r.rec, r.ev, r.gaits = &rec, ev, ev.Gaits
	r.note("caution", fmt.Sprintf("the motion sensor's clock was ahead by %.1f s and was set back", off.Value),
		fmt.Sprintf("the jumps and the track's passages over the obstacles then fall together; between %.2f and %.2f s", off.Low, off.High))
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

// Counted is a number with its noun.
func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func median(x []float64) float64 { return quantile(x, 0.5) }

// debrief gathers what was found.
func (r *ride) debrief() *Debrief {
	d := &Debrief{Schema: Schema, Basis: r.basis(), Efforts: []Effort{}, Lines: []Line{}, Rounds: []Round{}, Gaits: []GaitSpan{}, Strides: []Stride{}}
	d.Recording = RecordingInfo{Files: r.rec.Files, DurationS: r.rec.DurationS}
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
		d.Gaits = append(d.Gaits, GaitSpan{g.Gait.String(), g.FromS, g.ToS})
	}
	if r.opt.HorseName != "" {
		d.Horse.Name = &r.opt.HorseName
	}
	if r.plan != nil {
		d.Course = &CourseInfo{Name: r.plan.Name}
		if r.res.Placement != nil {
			p := r.res.Placement
			d.Course.Placed = &Placed{RightM: p.ShiftX.Value, ForwardM: p.ShiftY.Value, TurnDeg: p.TurnDeg.Value, ResidualM: p.ResidualM}
		}
		d.Efforts, d.Lines, d.Rounds = r.tellEfforts(), r.tellLines(), r.tellRounds()
		d.Slope = r.tellSlope(d.Lines)
	} else {
		d.Efforts = r.bareEfforts()
	}
	d.Strides = r.tellStrides()
	r.tellHorse(d)
	r.tellFit(d)
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
