package report

import (
	"math"

	"groundline/trace"
)

// Key names a figure of a ridden line in every format, with its unit at the end where it has one.
type Key string

// The figures. Those from OffPlanned to Wander are made so that less is better.
const (
	Strides      Key = "strides"
	StrideLength Key = "stride_length_m"
	StrideTime   Key = "stride_s"
	Speed        Key = "speed_m_s"
	SpeedIn      Key = "speed_in_m_s"
	SpeedOut     Key = "speed_out_m_s"
	SpeedDrift   Key = "speed_drift_m_s"
	Time         Key = "time_s" // landing to take-off; of a round, start line to finish
	Track        Key = "track_m"
	Radius       Key = "radius_min_m"
	Turned       Key = "turned_deg" // either way, without its sign
	SpeedMin     Key = "speed_min_m_s"
	Landing      Key = "landing_distance_m" // behind From
	Takeoff      Key = "takeoff_distance_m" // before To
	OffPlanned   Key = "off_planned_strides"
	OffUsual     Key = "off_usual_stride_m" // from the horse's usual stride of that ride, either way
	Rhythm       Key = "rhythm_cv"
	PaceChange   Key = "pace_change_m_s"     // out against in, either way
	Angle        Key = "approach_angle_deg"  // to To, either way
	Wander       Key = "approach_straight_m" // to To
	Wander10M    Key = "approach_straight_10m_m"
	JumpingTime  Key = "jumping_time_s" // of a round
)

// RiddenLine is one ride of a line: the line with the efforts that it joins. Line is nil for the way in to the first
// obstacle, From and To where they are not known.
type RiddenLine struct {
	Line     *Line
	From, To *Effort
}

// RiddenLines are the lines of a debrief, in their order, with their efforts.
func (d *Debrief) RiddenLines() []RiddenLine {
	ends := d.Ends()
	out := make([]RiddenLine, len(d.Lines))
	for i := range d.Lines {
		out[i] = RiddenLine{&d.Lines[i], ends[i][0], ends[i][1]}
	}
	return out
}

// Figure declares a figure of a ridden line, once for every rendering.
type Figure struct {
	Key  Key
	Name string // in tables
	Unit Unit
	// More and Less say a difference up and down; %s is its size with its interval and unit.
	More, Less string
	Better     bool // when less
	// Field is where the figure stands in a debrief, as "lines[].stride_length_m"; "" for one that is made of others.
	// A reader takes no value of it outside [Low, High]: no ride has such, it is a slip of a unit or a decimal.
	Field     string
	Low, High float64
	Meaning   string // what it is
	Derived   string // how it is found
	// Of finds it in a ridden line, SI units; nil where the recording can't say. Raw, where it differs, is the figure as it
	// stands in Field.
	Of, Raw func(RiddenLine) *trace.Estimate
	// Remark says what deserves a word of it, below the line's figures in text and page; "" for nothing. nil: never.
	Remark func(Units, RiddenLine, trace.Estimate) string
}

// asRead is the figure as it stands in Field; nil where the recording can't say.
func (f *Figure) asRead(r RiddenLine) *trace.Estimate {
	if f.Raw != nil {
		return f.Raw(r)
	}
	return f.Of(r)
}

// Figures are the figures of a ridden line, in the order in which they are shown.
func Figures() []Figure { return figures }

// figures is the table; nothing changes it.
var figures = []Figure{
	{Key: Strides, Name: "strides", Unit: Count, More: "%s more", Less: "%s fewer",
		Field: "lines[].strides", High: 500, Of: ofLine(func(l *Line) *trace.Estimate { return l.Strides }),
		Meaning: "whole canter strides as a trainer counts: neither the landing nor the take-off is one",
		Derived: "counted from a motion sensor's load wave; estimated from the line's time and the horse's stride time"},
	{Key: StrideLength, Name: "each stride", Unit: Length, More: "each stride %s longer", Less: "each stride %s shorter",
		Field: "lines[].stride_length_m", High: 10, Of: ofLine(func(l *Line) *trace.Estimate { return l.StrideLengthM }),
		Meaning: "ground covered by a counted stride, mean of the line", Derived: "the line's speed times its stride time"},
	{Key: StrideTime, Name: "time of a stride", Unit: Seconds, More: "each stride took %s more", Less: "each stride took %s less",
		Field: "lines[].stride_s", High: 3, Of: ofLine(func(l *Line) *trace.Estimate { return l.StrideS }),
		Meaning: "time of a stride, mean of the line", Derived: "the line's time over its strides and edges, and the beats' own spacing"},
	{Key: Speed, Name: "pace", Unit: Pace, More: "pace %s up", Less: "pace %s down",
		Field: "lines[].speed_m_s", High: 25, Of: ofLine(func(l *Line) *trace.Estimate { return l.SpeedMS }),
		Meaning: "mean speed from landing to take-off", Derived: "the track's length, or the plan's distance, over the time"},
	{Key: SpeedIn, Name: "pace in", Unit: Pace, More: "came in %s faster", Less: "came in %s slower",
		Field: "lines[].speed_in_m_s", High: 25, Of: ofLine(func(l *Line) *trace.Estimate { return l.SpeedInMS }),
		Meaning: "mean speed of the first two strides", Derived: "the track over 1.2 s from the landing"},
	{Key: SpeedOut, Name: "pace out", Unit: Pace, More: "went out %s faster", Less: "went out %s slower",
		Field: "lines[].speed_out_m_s", High: 25, Of: ofLine(func(l *Line) *trace.Estimate { return l.SpeedOutMS }),
		Meaning: "mean speed of the last two strides", Derived: "the track over 1.2 s to the take-off"},
	{Key: SpeedDrift, Name: "pace out less in", Unit: Pace,
		More: "gained %s more from in to out", Less: "gained %s less from in to out",
		Field: "lines[].speed_drift_m_s", Low: -25, High: 25,
		Of:      ofLine(func(l *Line) *trace.Estimate { return l.SpeedDriftMS }),
		Meaning: "speed of the last two strides less that of the first two", Derived: "speed_out_m_s less speed_in_m_s"},
	{Key: Time, Name: "time", Unit: Seconds, More: "took %s longer", Less: "took %s less",
		Of: func(r RiddenLine) *trace.Estimate {
			if r.From == nil || r.To == nil || r.From.LandingS == nil || r.To.TakeoffS == nil {
				return nil
			}
			e := TimeBetween(*r.From.LandingS, *r.To.TakeoffS)
			return &e
		},
		Meaning: "time from landing to take-off", Derived: "take-off less landing; an error that both share cancels"},
	{Key: Track, Name: "track", Unit: Distance, More: "track %s longer (wider)", Less: "track %s shorter (flatter)",
		Field: "lines[].track_m", High: 5000, Of: ofLine(func(l *Line) *trace.Estimate { return l.TrackM }),
		Meaning: "ground ridden, fore hooves at landing to hind hooves at take-off", Derived: "the smoothed track's length, and the plan's distance where the line is straight"},
	{Key: Radius, Name: "tightest radius", Unit: Distance,
		More: "turn %s wider at its tightest", Less: "turn %s tighter at its tightest",
		Field: "lines[].turn.radius_min_m", High: maxRadiusM,
		Of: ofTurn(func(t *Turn) *trace.Estimate {
			if t.Direction == "straight" || t.TurnedDeg == nil || math.Abs(t.TurnedDeg.Value) < minTurnDeg {
				return nil // the radius of a straight line is noise
			}
			return t.RadiusMinM
		}),
		Raw:     ofTurn(func(t *Turn) *trace.Estimate { return t.RadiusMinM }),
		Meaning: "the tightest radius that the track holds over 4 m of travel", Derived: "replicas of the smoothed track"},
	{Key: Turned, Name: "turned", Unit: Degrees, More: "turned %s more", Less: "turned %s less",
		Field: "lines[].turn.turned_deg", Low: -maxTurnedDeg, High: maxTurnedDeg,
		Of:      ofTurn(func(t *Turn) *trace.Estimate { return sizeOf(t.TurnedDeg) }),
		Raw:     ofTurn(func(t *Turn) *trace.Estimate { return t.TurnedDeg }),
		Meaning: "change of heading from landing to take-off, either way", Derived: "the smoothed track's heading, or the gyroscope"},
	{Key: SpeedMin, Name: "slowest pace", Unit: Pace, More: "slowest pace %s up", Less: "slowest pace %s down",
		Field: "lines[].turn.speed_min_m_s", High: 25, Of: ofTurn(func(t *Turn) *trace.Estimate { return t.SpeedMinMS }),
		Meaning: "the slowest speed of the line", Derived: "replicas of the smoothed track"},
	{Key: Landing, Name: "landing distance", Unit: Length, More: "landed %s further out", Less: "landed %s nearer",
		Field: "efforts[].landing_distance_m", High: 10, Of: ofEffort(RiddenLine.from, func(e *Effort) *trace.Estimate { return e.LandingDistanceM }),
		Meaning: "from the first obstacle's back to the fore hooves at landing", Derived: "the flight's length at the speed over it, shared by where the sensor was"},
	{Key: Takeoff, Name: "take-off distance", Unit: Length, More: "took off %s further out", Less: "took off %s nearer",
		Field: "efforts[].takeoff_distance_m", High: 10, Of: ofEffort(RiddenLine.to, func(e *Effort) *trace.Estimate { return e.TakeoffDistanceM }),
		Meaning: "from the hind hooves at take-off to the second obstacle's front", Derived: "as landing_distance_m"},
	{Key: OffPlanned, Name: "off planned strides", Unit: Count, Better: true,
		More: "%s further from the planned strides", Less: "%s nearer to the planned strides",
		Of: ofLine(func(l *Line) *trace.Estimate {
			if l.PlannedStrides == nil || l.Strides == nil {
				return nil
			}
			n := float64(*l.PlannedStrides)
			return sizeOf(&trace.Estimate{Value: l.Strides.Value - n, Low: l.Strides.Low - n, High: l.Strides.High - n})
		}),
		Meaning: "how many strides off the planned number, either way", Derived: "strides less planned_strides"},
	{Key: OffUsual, Name: "off its usual stride", Unit: Length, Better: true,
		More: "each stride %s further from its usual", Less: "each stride %s nearer to its usual",
		Field: "lines[].fit.per_stride_m", Low: -10, High: 10,
		Of:      ofFit(func(f *Fit) *trace.Estimate { return sizeOf(f.PerStrideM) }),
		Raw:     ofFit(func(f *Fit) *trace.Estimate { return f.PerStrideM }),
		Remark:  fitRemark,
		Meaning: "how far each stride was from the horse's usual stride, either way", Derived: "stride_length_m less the usual canter stride"},
	{Key: Rhythm, Name: "uneven rhythm", Unit: Percent, Better: true, More: "rhythm %s less steady", Less: "rhythm %s steadier",
		Field: "lines[].rhythm_cv", High: 10,
		Of: ofLine(func(l *Line) *trace.Estimate {
			if r := l.RhythmCV; r != nil && r.Low != r.High {
				return r
			}
			return nil // all of it hidden by the uncertainty of when a stride begins: no steadiness is exact
		}),
		Raw: ofLine(func(l *Line) *trace.Estimate { return l.RhythmCV }),
		Remark: func(_ Units, _ RiddenLine, e trace.Estimate) string {
			if e.Low <= steadyRhythmCV {
				return ""
			}
			return "stride time varied by " + percent().measured(e)
		},
		Meaning: "coefficient of variation of the stride time within the line", Derived: "spacing of the load peaks, their own jitter taken out"},
	{Key: PaceChange, Name: "uneven pace", Unit: Pace, Better: true,
		More: "pace changed %s more within the line", Less: "pace %s evener within the line",
		Of:      ofLine(func(l *Line) *trace.Estimate { return sizeOf(l.SpeedDriftMS) }),
		Meaning: "how much the pace changed within the line, either way", Derived: "speed_drift_m_s without its sign"},
	{Key: Angle, Name: "approach angle", Unit: Degrees, Better: true, More: "approach %s more at an angle", Less: "approach %s squarer",
		Field: "efforts[].approach.angle_deg", Low: -180, High: 180,
		Of:      ofApproach(func(a *Approach) *trace.Estimate { return sizeOf(a.AngleDeg) }),
		Raw:     ofApproach(func(a *Approach) *trace.Estimate { return a.AngleDeg }),
		Meaning: "angle at which the second obstacle was jumped, 0 is square, either way", Derived: "the track's heading at take-off against the obstacle's facing"},
	{Key: Wander, Name: "approach wander", Unit: Length, Better: true, More: "approach wandered %s more", Less: "approach %s straighter",
		Field: "efforts[].approach.straight_rms_m", High: 1000, Of: ofApproach(func(a *Approach) *trace.Estimate { return a.StraightRMSM }),
		Meaning: "spread of the last three strides' track about a straight line, root mean square", Derived: "orthogonal regression of the track over 1.8 s"},
	// It is no sign of a better ride beside Wander, which is nearly the same: one straightness counts once.
	{Key: Wander10M, Name: "wander, last 10 m", Unit: Length, More: "last 10 m wandered %s more", Less: "last 10 m %s straighter",
		Field: "efforts[].approach.straight_10m_rms_m", High: 1000, Of: ofApproach(func(a *Approach) *trace.Estimate { return a.Straight10M }),
		Remark: func(u Units, r RiddenLine, e trace.Estimate) string {
			if e.Low <= weavingM {
				return ""
			}
			return "wandered " + u.length().measured(e) + " over the last 10 m to " + r.Line.To
		},
		Meaning: "spread of the last 10 m ridden before take-off about a straight line, root mean square", Derived: "orthogonal regression of the track over 10 m"},
}

// fitRemark says by how much a line was long or short for this horse, where that is certain.
func fitRemark(u Units, r RiddenLine, e trace.Estimate) string {
	f := r.Line.Fit
	if !f.Certain() || f.Verdict() == "right" {
		return ""
	}
	word := " more a stride than usual"
	if e.Value < 0 {
		word = " less a stride than usual"
	}
	return u.length().measured(size(e)) + word
}

// roundTime is a figure of rounds alone.
var roundTime = Figure{Key: JumpingTime, Name: "first take-off to last landing", Unit: Seconds,
	More: "%s longer from first take-off to last landing", Less: "%s less from first take-off to last landing"}

// Bounds of what a debrief can mean.
const (
	// minTurnDeg is the turn from which a line has a radius worth showing: below it the debrief calls a line straight.
	minTurnDeg   = 10.0
	weavingM     = 0.3 // a foot to either side: more than a horse's own way over straight ground (our choice)
	maxRadiusM   = 1e6
	maxTurnedDeg = 1e5 // 270 circles
)

func (r RiddenLine) from() *Effort { return r.From }
func (r RiddenLine) to() *Effort   { return r.To }

func ofLine(of func(*Line) *trace.Estimate) func(RiddenLine) *trace.Estimate {
	return func(r RiddenLine) *trace.Estimate {
		if r.Line == nil {
			return nil
		}
		return of(r.Line)
	}
}

func ofTurn(of func(*Turn) *trace.Estimate) func(RiddenLine) *trace.Estimate {
	return ofLine(func(l *Line) *trace.Estimate {
		if l.Turn == nil {
			return nil
		}
		return of(l.Turn)
	})
}

func ofFit(of func(*Fit) *trace.Estimate) func(RiddenLine) *trace.Estimate {
	return ofLine(func(l *Line) *trace.Estimate {
		if l.Fit == nil {
			return nil
		}
		return of(l.Fit)
	})
}

func ofEffort(end func(RiddenLine) *Effort, of func(*Effort) *trace.Estimate) func(RiddenLine) *trace.Estimate {
	return func(r RiddenLine) *trace.Estimate {
		if e := end(r); e != nil {
			return of(e)
		}
		return nil
	}
}

func ofApproach(of func(*Approach) *trace.Estimate) func(RiddenLine) *trace.Estimate {
	return ofEffort(RiddenLine.to, func(e *Effort) *trace.Estimate {
		if e.Approach == nil {
			return nil
		}
		return of(e.Approach)
	})
}

// sizeOf is an estimate without its sign; nil of nil.
func sizeOf(e *trace.Estimate) *trace.Estimate {
	if e == nil {
		return nil
	}
	s := e.Size()
	return &s
}

// TimeBetween is the time from one instant to another of one recording. Where positions alone told the instants their
// intervals reach further back than forward, as some receivers tell all places late; being late at both
// ends it cancels in the time between, which is left with the doubt of either end without it. Of a mixture with a
// quarter of late receivers the upper bound lies at 1.50 standard deviations of an end, not 1.645: hence the tenth more.
func TimeBetween(from, to trace.Estimate) trace.Estimate {
	both := func(e trace.Estimate) trace.Estimate {
		if up, down := e.High-e.Value, e.Value-e.Low; down > 1.05*up {
			half := min(1.1*up, down)
			return trace.Estimate{Value: e.Value, Low: e.Value - half, High: e.Value + half}
		}
		return e
	}
	return both(to).Minus(both(from))
}
