package report

import (
	"fmt"
	"math"
	"slices"

	"groundline/detect"
	"groundline/report/layout"
	"groundline/trace"
	"groundline/trace/dsp"
	"groundline/trace/geo"
	"groundline/trace/smooth"
)

// Looked is what a recording is like, beyond what its files say of themselves, and what a debrief can tell from it.
type Looked struct {
	Motion    *LookedMotion    `json:"motion"`    // nil without motion
	Positions *LookedPositions `json:"positions"` // nil without positions
	Clocks    *LookedClocks    `json:"clocks"`    // nil unless there are both
	// Answers are what a debrief can and can't tell, in a fixed order.
	Answers []Answer `json:"answers"`
}

// LookedMotion tells of the motion sensor.
type LookedMotion struct {
	Mounting       *string  `json:"mounting"` // "steady" | "turning" | "swinging"; nil: can't tell
	MountingWhy    string   `json:"mounting_why"`
	SwingDeg       *float64 `json:"swing_deg"`       // how far up moves within a few seconds, median
	TurnDeg        *float64 `json:"turn_deg"`        // and within half a minute
	TurnRateRadS   *float64 `json:"turn_rate_rad_s"` // root mean square, of the gyroscope
	GravityRemoved bool     `json:"gravity_removed"`
	ClippedMS2     *float64 `json:"clipped_m_s2"` // where peaks are cut off; nil: nowhere
	ClippedShare   float64  `json:"clipped_share"`
	RateHz         float64  `json:"rate_hz"`
	JitterS        float64  `json:"jitter_s"` // of the time step, robust standard deviation
	Gaps           int      `json:"gaps"`     // long enough to hide a stride
	GapsS          float64  `json:"gaps_s"`   // all of them
}

// LookedPositions tells of the receiver. The noise is that of the half hour with most way in it.
type LookedPositions struct {
	RateHz   float64  `json:"rate_hz"`
	JitterS  float64  `json:"jitter_s"`
	Gaps     int      `json:"gaps"`
	GapsS    float64  `json:"gaps_s"`
	NoiseWhy string   `json:"noise_why"` // where the noise can't be told, or what it rests on
	WhiteM   *float64 `json:"white_m"`   // error from fix to fix, standard deviation of an axis
	WanderM  *float64 `json:"wander_m"`  // slow error, likewise
	SpeedMS  *float64 `json:"speed_m_s"` // error of the device's own speed
	Outliers *int     `json:"outliers"`  // fixes that the rest contradicts
	LagWhy   string   `json:"lag_why"`   // whether the lag can be told
	FromS    *float64 `json:"from_s"`    // the stretch looked at
	ToS      *float64 `json:"to_s"`
}

// LookedClocks tells how far the motion's clock is ahead of the positions', found from the ride.
type LookedClocks struct {
	OffsetS  *trace.Estimate `json:"offset_s"`
	DriftPPM *trace.Estimate `json:"drift_ppm"` // nil unless it is significant
	Why      string          `json:"why"`
}

// lookS is how much of the positions is smoothed to learn what they are like, and how much of the motion around
// it is held against them: half an hour has many changes of pace and takes a second or two.
const (
	lookS      = 1800.0
	lookAsideS = 900.0
	lookFixes  = 9000 // the same for receivers of more than 5 Hz
)

// Look finds what a recording is like. It works on parts of long recordings.
func Look(rec *trace.Recording) *Looked {
	l := &Looked{}
	if m := rec.Motion; m != nil && len(m.TimeS) > 0 {
		l.Motion = lookAtMotion(m)
	}
	var track *smooth.Track
	if p := rec.Positions; p != nil && len(p.TimeS) > 0 {
		l.Positions, track = lookAtPositions(p)
		if l.Motion == nil {
			l.Positions.LagWhy = "can't be told: it takes a motion sensor that feels the jumps"
		}
	}
	if l.Motion != nil && l.Positions != nil {
		l.Clocks = lookAtClocks(rec.Motion, track)
	}
	l.Answers = answers(l)
	return l
}

func lookAtMotion(m *trace.Motion) *LookedMotion {
	out := &LookedMotion{GravityRemoved: m.GravityRemoved, ClippedMS2: unlessZero(m.ClippedMS2), RateHz: m.RateHz}
	c := detect.Mounting(m)
	out.MountingWhy = c.Why
	out.Mounting = unlessZero(c.Mount.String())
	out.SwingDeg, out.TurnDeg, out.TurnRateRadS = unlessZero(c.SwingDeg), unlessZero(c.TurnDeg), unlessZero(c.TurnRateRadS)
	// A quarter of a second: what the detection takes for a gap.
	out.JitterS, out.Gaps, out.GapsS = timing(m.TimeS, 0.25)
	if m.ClippedMS2 > 0 {
		n := 0
		for i := range m.TimeS {
			if max(math.Abs(m.AX[i]), math.Abs(m.AY[i]), math.Abs(m.AZ[i])) > 0.995*m.ClippedMS2 {
				n++
			}
		}
		out.ClippedShare = float64(n) / float64(len(m.TimeS))
	}
	return out
}

// timing is the robust standard deviation of the time step, from every so many steps of a long recording, and the
// gaps longer than leastS.
func timing(t []float64, leastS float64) (jitterS float64, gaps int, gapsS float64) {
	if len(t) < 2 {
		return 0, 0, 0
	}
	every := 1 + len(t)/200_000 // more steps would not move a median
	var steps []float64
	for i := 1; i < len(t); i++ {
		d := t[i] - t[i-1]
		if d > leastS {
			gaps++
			gapsS += d
		}
		if i%every == 0 || len(t) < 2*every {
			steps = append(steps, d)
		}
	}
	mid := dsp.Quantile(steps, 0.5)
	for i := range steps {
		steps[i] = math.Abs(steps[i] - mid)
	}
	return 1.4826 * dsp.Quantile(steps, 0.5), gaps, gapsS
}

func lookAtPositions(p *trace.Positions) (*LookedPositions, *smooth.Track) {
	out := &LookedPositions{RateHz: p.RateHz, LagWhy: "told in a debrief with a plan, from the jumps felt and the obstacles passed"}
	gapS := smooth.DefaultMaxGapS
	if p.RateHz > 0 {
		gapS = max(gapS, 2.5/p.RateHz)
	}
	out.JitterS, out.Gaps, out.GapsS = timing(p.TimeS, gapS)
	from, to := livelyPart(p)
	one := &trace.Positions{TimeS: p.TimeS[from:to], LatDeg: p.LatDeg[from:to], LonDeg: p.LonDeg[from:to], RateHz: p.RateHz}
	if p.Segment != nil {
		one.Segment = p.Segment[from:to]
	}
	if p.SpeedMS != nil {
		one.SpeedMS = p.SpeedMS[from:to]
	}
	mid := (from + to) / 2
	t, err := smooth.Smooth(one, geo.NewFrame(geo.LatLon{LatDeg: p.LatDeg[mid], LonDeg: p.LonDeg[mid]}, 0), smooth.Options{})
	if err != nil {
		out.NoiseWhy = err.Error()
		return out, nil
	}
	a, b, n := one.TimeS[0], one.TimeS[len(one.TimeS)-1], len(t.Outliers)
	out.FromS, out.ToS, out.Outliers = &a, &b, &n
	out.WhiteM, out.WanderM, out.SpeedMS = &t.Noise.WhiteM, &t.Noise.WanderM, unlessZero(t.Noise.SpeedMS)
	out.NoiseWhy = "the fixes' own noise is found from the ride; the wander is that of receivers of this kind, which one ride can't tell, and a constant offset shows only against a plan"
	return out, t
}

// livelyPart is the stretch of lookS, or of lookFixes fixes, in which most way was made.
func livelyPart(p *trace.Positions) (from, to int) {
	n := len(p.TimeS)
	if p.TimeS[n-1]-p.TimeS[0] <= lookS && n <= lookFixes {
		return 0, n
	}
	// Metres between neighbours, roughly, and none for what no horse can do (25 m/s).
	way := make([]float64, n)
	for i := 1; i < n; i++ {
		const metresADeg = 111_200
		d := metresADeg * math.Hypot(p.LatDeg[i]-p.LatDeg[i-1], (p.LonDeg[i]-p.LonDeg[i-1])*math.Cos(p.LatDeg[i]*math.Pi/180))
		if d > 25*(p.TimeS[i]-p.TimeS[i-1]) {
			d = 0
		}
		way[i] = way[i-1] + d
	}
	best, a := -1.0, 0
	for b := range n {
		for p.TimeS[b]-p.TimeS[a] > lookS || b-a >= lookFixes {
			a++
		}
		if way[b]-way[a] > best {
			best, from, to = way[b]-way[a], a, b+1
		}
	}
	return from, to
}

func lookAtClocks(m *trace.Motion, t *smooth.Track) *LookedClocks {
	if t == nil {
		return &LookedClocks{Why: "the positions make no track"}
	}
	fromS, toS := t.Pieces[0].FromS, t.Pieces[len(t.Pieces)-1].ToS
	// The gyroscope is not needed for gaits.
	one := *m
	one.GX, one.GY, one.GZ = nil, nil, nil
	a, _ := slices.BinarySearch(m.TimeS, fromS-lookAsideS)
	b, _ := slices.BinarySearch(m.TimeS, toS+lookAsideS)
	c, _ := slices.BinarySearch(m.TimeS, fromS)
	d, _ := slices.BinarySearch(m.TimeS, toS)
	// Where the two hardly share any time, one may be off by hours, and all of it is asked.
	if share := float64(d-c) / max(m.RateHz, 1); share > (toS-fromS)/2 {
		one.TimeS, one.AX, one.AY, one.AZ = m.TimeS[a:b], m.AX[a:b], m.AY[a:b], m.AZ[a:b]
	}
	ev, err := detect.FromMotion(&one, detect.Options{})
	if err != nil {
		return &LookedClocks{Why: err.Error()}
	}
	k := detect.ClockByGaits(ev, t)
	return &LookedClocks{OffsetS: k.OffsetS, DriftPPM: k.DriftPPM, Why: k.Why}
}

// Answer is whether a debrief of a recording can tell a figure.
type Answer struct {
	Figure string `json:"figure"`
	// WithPlan and Without are "yes", "partly" or "no".
	WithPlan string `json:"with_plan"`
	Without  string `json:"without_plan"`
	Why      string `json:"why"`
}

// What a debrief can tell of a figure.
const (
	tellsYes    = "yes"
	tellsPartly = "partly"
	tellsNo     = "no"
)

const (
	// From 20 samples a second nothing is lost; below 10 no stride shows (see detect.FromMotion).
	motionFullHz, motionLeastHz = 20.0, 10.0
	// From 5 Hz a receiver's speeds show a canter's wave; below one fix in three seconds a canter's way is guesswork.
	waveHz, trackLeastHz = 5.0, 0.3
)

// answers says what can be told, in the order in which a debrief does.
func answers(l *Looked) []Answer {
	m, p := l.Motion, l.Positions
	felt := m != nil && m.RateHz >= motionLeastHz
	seen := p != nil && p.WhiteM != nil && p.RateHz >= trackLeastHz
	fast := seen && p.RateHz >= waveHz
	turned := felt && m.TurnRateRadS != nil
	swings := felt && m.Mounting != nil && *m.Mounting == detect.MountSwinging.String()
	least := func(poor bool) string {
		if poor {
			return tellsPartly
		}
		return tellsYes
	}
	var but string
	switch {
	case m != nil && !felt:
		but = fmt.Sprintf("; the motion's %.1f samples a second show no strides, at least %.0f are needed", m.RateHz, motionLeastHz)
	case felt && m.RateHz < motionFullHz:
		but = fmt.Sprintf("; with %.1f samples a second take-off and landing are less sure", m.RateHz)
	case felt && m.ClippedMS2 != nil:
		but = fmt.Sprintf("; peaks are cut off at %.0f m/s², so that push-off and landing are told apart less surely", *m.ClippedMS2)
	case swings:
		but = "; a swinging limb hides low jumps and makes others look like them"
	}
	if felt && m.Gaps > 0 {
		but += fmt.Sprintf("; what happened in %s of the motion is not felt", layout.Plural(m.Gaps, "gap", "gaps"))
	}
	if p != nil && !seen {
		but += "; the positions are too few or too far apart for a track"
	}
	poor := felt && (m.RateHz < motionFullHz || m.ClippedMS2 != nil || swings)
	var out []Answer
	add := func(figure, with, without, why string) {
		out = append(out, Answer{figure, with, without, why})
	}
	switch {
	case felt:
		add("jumps", least(poor), least(poor), "felt as push-off, flight and landing; which obstacle it was takes a plan"+but)
		add("strides", least(poor), least(poor), "counted one by one between the jumps felt"+but)
	case seen:
		add("jumps", tellsPartly, tellsNo, "no motion: with a plan they are where the track passes over an obstacle, to about a sixth of a second; without one nothing shows a leap"+but)
		why := "estimated from the time between obstacles and the horse's stride, not counted: no motion"
		if fast {
			why = "estimated from the time between obstacles and the wave of the receiver's speed, not counted: no motion"
		}
		add("strides", tellsPartly, tellsNo, why+but)
	default:
		add("jumps", tellsNo, tellsNo, "neither usable motion nor a track"+but)
		add("strides", tellsNo, tellsNo, "neither usable motion nor a track"+but)
	}
	switch {
	case felt && seen:
		add("stride length", tellsYes, least(!fast), "the track's length over the strides; a plan's measured distances are surer than a receiver")
	case felt:
		add("stride length", tellsYes, tellsNo, "without positions the ground covered is known only from a plan's distances")
	case seen:
		add("stride length", tellsPartly, tellsNo, "as sure as the strides, which are estimated")
	default:
		add("stride length", tellsNo, tellsNo, "no strides")
	}
	switch {
	case felt && seen, turned:
		add("leads", least(swings), least(swings), "the side waves tell two leads apart and tight turns which is which; null where neither is clear")
	case felt:
		add("leads", tellsNo, tellsNo, "the side waves tell two leads apart, but which is left only turns show: no positions, no gyroscope")
	default:
		add("leads", tellsNo, tellsNo, "no usable motion")
	}
	switch {
	case seen:
		why := "from the track; the tightest radius to about a twentieth"
		if !fast {
			why = "from the track; one fix a second rounds tight turns off, the radius is good to about a tenth"
		}
		with := least(p.RateHz < 0.8)
		without := with
		if !felt {
			without, why = tellsNo, why+"; without plan and motion there are no jumps for a turn to lie between"
		}
		add("turns and radius", with, without, why)
	case turned:
		add("turns and radius", tellsPartly, tellsPartly, "the gyroscope tells the angle; a radius takes the speed, and so positions")
	default:
		add("turns and radius", tellsNo, tellsNo, "neither positions nor a gyroscope")
	}
	switch {
	case seen:
		add("times of a round", tellsYes, tellsNo, "from the start to the finish line, which the plan must have; what a round is, a plan says")
	case felt:
		add("times of a round", tellsPartly, tellsNo, "only when the first take-off and the last landing were: without positions nothing shows the start and finish lines passed")
	default:
		add("times of a round", tellsNo, tellsNo, "nothing shows where the horse was")
	}
	switch {
	case seen || felt:
		add("slope", tellsPartly, tellsNo, "from the spot heights of the plan, where it has them, over five lines or more; a device's own heights err by metres")
	default:
		add("slope", tellsNo, tellsNo, "no line is told")
	}
	return out
}
