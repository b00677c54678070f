package report

import (
	"io"
	"math"

	"groundline/course"
	"groundline/trace"
)

// WalkSchema names the layout of a walk in JSON. Fields are added, never renamed.
const WalkSchema = "groundline.walk/1"

// Walk is what a course asks of one horse, as JSON tells it: SI units, named at the end of each field, angles in degrees. A
// figure in doubt is a [trace.Estimate] with a 90 % interval; null is what is not known, or what a line of that kind
// does not have.
//
//	{"schema": "groundline.walk/1",
//	 "course": {"name", "obstacles", "efforts", "route": ["1", …], "length_m", "from_start", "to_finish", "speed_m_min",
//	            "time_allowed_s", "time_limit_s", "time_rules"},
//	 "horse": {"name", "size", "stride_m": {value, low, high}, "landing_m", "hoof_landing_m", "takeoff_m", "speed_m_s", "turn_speed_m_s",
//	           "stride_s", "stride_per_m_s", "homeward_rel", "grade_rel", "line_sd_rel", "source"},
//	 "lines": [{"from", "to", "kind", "ground_m", "stride_m", "grade", "grade_m", "homeward", "homeward_m", "turned_deg",
//	            "strides", "whole", "asked": [{"strides", "stride_m", "per_stride_m", "says", "can_be_ridden", "chance"}],
//	            "in": [{"how", "landing_m", "stride_m", "left_m", "per_stride_m"}],
//	            "tracks": [{"strides", "length_m", "outside_m", "radius_min_m", "askew_deg", "stride_m", "per_stride_m", "says"}],
//	            "square": a track or null,
//	            "turn": {"cut": {"radius_m", "lean_deg", "length_m", "time_s", "strides", "outside_m", "through"}, "wide", "longer_m", "later_s"}}],
//	 "notes": [{"level", "what", "why"}]}
//
// A JSON Schema in the project's testdata holds it.
type Walk struct {
	Schema string       `json:"schema"`
	Course WalkCourse   `json:"course"`
	Horse  WalkHorse    `json:"horse"`
	Lines  []WalkLine   `json:"lines"` // in the order of the route
	Notes  []trace.Note `json:"notes"` // warnings, then cautions
}

// WalkCourse is the whole course.
type WalkCourse struct {
	Name      string   `json:"name"`
	Obstacles int      `json:"obstacles"` // as rule books count them: a combination is one
	Efforts   int      `json:"efforts"`
	Route     []string `json:"route"`
	// LengthM is the track that a horse would normally follow, in whole metres, from the start line (else the first
	// obstacle) to the finish line (else the last).
	LengthM      float64  `json:"length_m"`
	FromStart    bool     `json:"from_start"`
	ToFinish     bool     `json:"to_finish"`
	SpeedMMin    *float64 `json:"speed_m_min"`    // prescribed; nil when the plan has none
	TimeAllowedS *float64 `json:"time_allowed_s"` // nil without speed, start or finish
	TimeLimitS   *float64 `json:"time_limit_s"`
	TimeRules    string   `json:"time_rules"` // the rule texts that these follow
}

// WalkHorse is the horse as it was taken; see [course.Horse].
type WalkHorse struct {
	Name string `json:"name"`
	Size string `json:"size"` // of horse or pony; "" when not known
	// StrideM is hind contact to hind contact. LandingM is from the back of an obstacle to the first contact of the hind
	// hooves, HoofLandingM to that of the fore hooves; TakeoffM from the hind hooves to the front.
	StrideM      trace.Estimate  `json:"stride_m"`
	LandingM     trace.Estimate  `json:"landing_m"`
	HoofLandingM *trace.Estimate `json:"hoof_landing_m"`
	TakeoffM     trace.Estimate  `json:"takeoff_m"`
	SpeedMS      trace.Estimate  `json:"speed_m_s"`      // between fences
	TurnSpeedMS  trace.Estimate  `json:"turn_speed_m_s"` // in rollbacks
	StrideS      *trace.Estimate `json:"stride_s"`
	StridePerMS  *trace.Estimate `json:"stride_per_m_s"` // metres of stride for each m/s
	HomewardRel  *trace.Estimate `json:"homeward_rel"`   // part of the stride, straight towards home
	GradeRel     *trace.Estimate `json:"grade_rel"`      // part of the stride for a metre of rise a metre
	LineSDRel    float64         `json:"line_sd_rel"`    // from line to line, standard deviation
	Source       string          `json:"source"`
}

// WalkLine is what one line asks.
type WalkLine struct {
	From      string          `json:"from"`
	To        string          `json:"to"`
	Kind      string          `json:"kind"`
	GroundM   trace.Estimate  `json:"ground_m"` // back of the first to front of the second, along the way
	StrideM   trace.Estimate  `json:"stride_m"` // the horse's on this line, with slope and home
	Grade     *float64        `json:"grade"`    // mean rise per metre
	GradeM    *trace.Estimate `json:"grade_m"`  // what it does to each stride
	Homeward  *float64        `json:"homeward"` // mean cosine towards home
	HomewardM *trace.Estimate `json:"homeward_m"`
	TurnedDeg float64         `json:"turned_deg"` // of the planned track, left positive, as in the debrief
	// Strides are as many as the ground has, Whole the nearest whole number, Asked what it and its neighbours ask.
	Strides trace.Estimate `json:"strides"`
	Whole   int            `json:"whole"`
	Asked   []WalkAsked    `json:"asked"`
	In      []WalkIn       `json:"in"`     // empty for lines that are not ridden as one
	Tracks  []WalkTrack    `json:"tracks"` // of a bending line, by number of strides
	Square  *WalkTrack     `json:"square"` // the track that jumps both fences square
	Turn    *WalkTurns     `json:"turn"`   // of a rollback
}

// WalkAsked is what a number of strides asks of each.
type WalkAsked struct {
	Strides     int            `json:"strides"`
	StrideM     trace.Estimate `json:"stride_m"`
	PerStrideM  trace.Estimate `json:"per_stride_m"` // beyond (+) or short of (-) the horse's own
	Says        string         `json:"says"`         // long | right | tight
	CanBeRidden bool           `json:"can_be_ridden"`
	Chance      float64        `json:"chance"` // that the horse goes on this number unasked
}

// WalkIn is a weak or forward jump in, and what it leaves.
type WalkIn struct {
	How        string         `json:"how"` // weak | forward
	LandingM   float64        `json:"landing_m"`
	StrideM    float64        `json:"stride_m"`
	LeftM      trace.Estimate `json:"left_m"` // missing (+) or over (-) at the end
	PerStrideM trace.Estimate `json:"per_stride_m"`
}

// WalkTrack is a way to ride a bending line.
type WalkTrack struct {
	Strides    int            `json:"strides"`
	LengthM    float64        `json:"length_m"`
	OutsideM   float64        `json:"outside_m"`    // of the straight line, at the middle
	RadiusMinM *float64       `json:"radius_min_m"` // nil when straight
	AskewDeg   float64        `json:"askew_deg"`    // off square at the fences, at most
	StrideM    trace.Estimate `json:"stride_m"`     // asked
	PerStrideM trace.Estimate `json:"per_stride_m"`
	Says       string         `json:"says"`
}

// WalkTurns is the choice of a rollback.
type WalkTurns struct {
	Cut     WalkTurn       `json:"cut"`
	Wide    WalkTurn       `json:"wide"`
	LongerM trace.Estimate `json:"longer_m"` // wide against cut
	LaterS  trace.Estimate `json:"later_s"`
}

// WalkTurn is one way to ride a rollback.
type WalkTurn struct {
	RadiusM  float64        `json:"radius_m"`
	LeanDeg  float64        `json:"lean_deg"`
	LengthM  float64        `json:"length_m"`
	TimeS    trace.Estimate `json:"time_s"`
	Strides  int            `json:"strides"`
	OutsideM float64        `json:"outside_m"` // of the arena; 0 if it fits
	Through  []string       `json:"through"`   // obstacles that it runs through all the same
}

// WalkJSON writes a walk as one JSON object, with the promises of [JSON]. warnings are those of reading the plan.
func WalkJSON(out io.Writer, p *course.Plan, w course.Walk, warnings []course.Warning) error {
	return WriteJSON(out, WalkOf(p, w, warnings), "walk")
}

// WalkOf is the walk of a plan as JSON tells it.
func WalkOf(p *course.Plan, w course.Walk, warnings []course.Warning) Walk {
	f, h := w.Figures, w.Horse
	out := Walk{Schema: WalkSchema,
		Course: WalkCourse{Name: p.Name, Obstacles: f.Obstacles, Efforts: f.Efforts, Route: p.Route, LengthM: f.LengthM,
			FromStart: f.Track.FromStart, ToFinish: f.Track.ToFinish, TimeAllowedS: f.TimeAllowedS, TimeLimitS: f.TimeLimitS, TimeRules: f.TimeRules.Source},
		Horse: WalkHorse{Name: h.Name, Size: h.Size, StrideM: h.StrideM, LandingM: h.LandingM, HoofLandingM: h.HoofLandingM, TakeoffM: h.TakeoffM,
			SpeedMS: w.SpeedMS, TurnSpeedMS: w.TurnMS, StrideS: h.StrideS, StridePerMS: h.StridePerMS, HomewardRel: h.HomewardRel,
			GradeRel: h.GradeRel, LineSDRel: h.LineSDRel, Source: h.Source},
	}
	if p.SpeedMMin > 0 {
		out.Course.SpeedMMin = &p.SpeedMMin
	}
	for _, l := range w.Lines {
		out.Lines = append(out.Lines, walkLine(l))
	}
	for _, warning := range append(append([]course.Warning{}, warnings...), f.Warnings...) {
		out.Notes = append(out.Notes, warning.Note())
	}
	out.Notes = append(out.Notes, f.Cautions...)
	out.Notes = append(out.Notes, trace.Note{Level: "caution", What: rulesDecide})
	return out
}

func walkLine(l course.WalkLine) WalkLine {
	out := WalkLine{From: l.From, To: l.To, Kind: string(l.Kind), GroundM: l.GroundM, StrideM: l.StrideM, Grade: l.Grade, GradeM: l.GradeM,
		Homeward: l.Homeward, HomewardM: l.HomewardM, TurnedDeg: -l.TurnedDeg, Strides: l.Real, Whole: l.Whole}
	for _, a := range l.Asked {
		out.Asked = append(out.Asked, WalkAsked{a.Strides, a.StrideM, a.PerStrideM, a.Says, a.CanBeRidden, math.Min(a.Chance, 1)})
	}
	for _, c := range l.In {
		out.In = append(out.In, WalkIn{c.How, c.LandingM, c.StrideM, c.LeftM, c.PerStrideM})
	}
	for _, b := range l.Tracks {
		out.Tracks = append(out.Tracks, walkTrack(b))
	}
	if l.Square != nil {
		s := walkTrack(*l.Square)
		out.Square = &s
	}
	if c := l.Turn; c != nil {
		out.Turn = &WalkTurns{walkTurn(c.Cut), walkTurn(c.Wide), c.LongerM, c.LaterS}
	}
	return out
}

func walkTrack(b course.BendingTrack) WalkTrack {
	return WalkTrack{b.Strides, b.LengthM, b.OutsideM, b.TightestM, b.AskewDeg, b.Asked.StrideM, b.Asked.PerStrideM, b.Asked.Says}
}

func walkTurn(u course.Turn) WalkTurn {
	return WalkTurn{u.RadiusM, u.LeanDeg, u.LengthM, u.TimeS, u.Strides, u.OutsideM, u.Through}
}
