// Package report turns a followed ride into the debrief: one plain struct that
// every rendering reads ([Debrief]), made by [Build], written as JSON or as the
// text that a coach reads aloud.
//
// It also words what is no debrief: a recording understood ([Look]), a plan
// checked, walked for a horse or made of a survey. The packages below it draw
// (draw, page), tabulate (table), compare and judge (score) debriefs.
package report

import (
	"groundline/course"
	"groundline/trace"
)

// Schema names the layout of the JSON debrief. Fields are added, never renamed.
const Schema = "groundline.debrief/1"

// Debrief is what a recording tells about a ride. Times are seconds from
// Recording.Start: the first position's time or, without positions, the first
// motion sample's. Units are SI and named at the end of each field; angles are in
// degrees. A measured figure is a [trace.Estimate], whose interval holds the
// truth nine times in ten; a nil figure is one that the recording can't tell, and
// Notes say why. Lists are in time order over the whole recording.
//
// [JSON] writes it, [Text] tells it to people. Its JSON layout is Schema, held
// by a JSON Schema in the project's testdata.
type Debrief struct {
	Schema    string        `json:"schema"`
	Recording RecordingInfo `json:"recording"`
	Basis     string        `json:"basis"`  // what the figures rest on: "position+motion" | "position" | "motion"
	Course    *CourseInfo   `json:"course"` // nil without a plan
	Efforts   []Effort      `json:"efforts"`
	Lines     []Line        `json:"lines"`
	Rounds    []Round       `json:"rounds"` // in order of their start
	Slope     *Slope        `json:"slope"`  // nil where the course can't tell slope from home
	Gaits     []GaitSpan    `json:"gaits"`
	Strides   []Stride      `json:"strides"`
	Horse     Horse         `json:"horse"`
	// Answers are what happened at each element, why, and what to do next time, in the order ridden.
	Answers []ElementAnswer `json:"answers"`
	Notes   []trace.Note    `json:"notes"`
	// Events are what happened beside the plain strides and jumps, in time order, each with its probability; Unseen the kinds of events
	// that this recording can't show.
	Events []Event  `json:"events"`
	Unseen []Unseen `json:"unseen"`
	// Rejected are the candidates for a jump that were turned down, in time order, each with the rule.
	Rejected []Rejected `json:"rejected"`
	// Plan is the plan that the ride was held against, given or found; nil without one. It is not part of
	// the JSON.
	Plan *course.Plan `json:"-"`
	// Ridden is the track in the plan's axes, for drawings. It is not part of the JSON.
	Ridden *Ridden `json:"-"`
	// StrideRows are the strides with all that is known of each, for the stride table. They are not part of the JSON.
	StrideRows []StrideRow `json:"-"`
}

// PlanFound is what a debrief notes whose plan is of the jumps themselves.
const PlanFound = "no plan was given: the obstacles were found from the jumps"

// RecordingInfo says what was read.
type RecordingInfo struct {
	Files      []string `json:"files"` // as given
	Start      *string  `json:"start"` // RFC 3339, UTC; nil when no file tells the date
	DurationS  float64  `json:"duration_s"`
	PositionHz *float64 `json:"position_hz"` // nil without positions
	MotionHz   *float64 `json:"motion_hz"`   // nil without a motion sensor
	// ClockOffsetS is what was subtracted from the motion file's clock to bring it to the
	// positions'; nil with one clock only.
	ClockOffsetS *float64 `json:"clock_offset_s"`
}

// CourseInfo says which plan was laid under the ride, and where.
type CourseInfo struct {
	Name   string  `json:"name"`
	Placed *Placed `json:"placed"` // nil without positions
}

// Placed tells how the course had to be moved to lie under the recorded track: to the right and
// forward in the plan's axes, then turned clockwise. It is the receiver's constant offset, seen
// from the plan. ResidualM is the root mean square of what is left at the obstacles jumped.
type Placed struct {
	RightM    float64 `json:"right_m"`
	ForwardM  float64 `json:"forward_m"`
	TurnDeg   float64 `json:"turn_deg"`
	ResidualM float64 `json:"residual_m"`
}

// Effort is one obstacle taken, or tried.
type Effort struct {
	Obstacle *string `json:"obstacle"` // its id; nil: a jump at no obstacle of the plan
	Round    *int    `json:"round"`    // nil: of no whole round
	Attempt  int     `json:"attempt"`  // which go at this obstacle, from 1
	// Outcome is "jumped", "refused", "ran out" or "warm-up": jumped before the first ride of any
	// planned line, or alone and out of order.
	Outcome string `json:"outcome"`
	// TakeoffS is when the last hind hoof left the ground, LandingS when the first fore hoof touched it.
	// For a refusal or run-out TakeoffS is the moment of it and LandingS nil.
	TakeoffS *trace.Estimate `json:"takeoff_s"`
	LandingS *trace.Estimate `json:"landing_s"`
	// TakeoffDistanceM is from the hind hooves at take-off to the obstacle's front, LandingDistanceM
	// from its back to the fore hooves at landing, both along the track.
	TakeoffDistanceM *trace.Estimate `json:"takeoff_distance_m"`
	LandingDistanceM *trace.Estimate `json:"landing_distance_m"`
	SpeedMS          *trace.Estimate `json:"speed_m_s"` // over the obstacle
	// LeadIn and LeadOut are "left", "right" or "disunited": the leading foreleg of the last stride before and the
	// first after.
	LeadIn   *string   `json:"lead_in"`
	LeadOut  *string   `json:"lead_out"`
	Approach *Approach `json:"approach"` // nil without positions
	// Confidence is the probability that an obstacle was jumped (or refused, or run out at) then, in [0, 1];
	// ObstacleConfidence that it was this one, which motion alone may leave open.
	Confidence         float64 `json:"confidence"`
	ObstacleConfidence float64 `json:"obstacle_confidence"`
}

// Approach is how straight the horse came: the spread of the last strides' track about a
// straight line, and the angle to the obstacle's facing (right positive).
type Approach struct {
	StraightRMSM *trace.Estimate `json:"straight_rms_m"`
	AngleDeg     *trace.Estimate `json:"angle_deg"`
	// Straight10M is the same spread over the last 10 m ridden, however long they took; nil where the track is shorter.
	Straight10M *trace.Estimate `json:"straight_10m_rms_m"`
	// SlowedFromM and OffCentreM are of refusals and run-outs: how far before the obstacle the pace began to fall, and how far from
	// the middle of its face the track then pointed (right positive, as jumped).
	SlowedFromM *trace.Estimate `json:"slowed_from_m"`
	OffCentreM  *trace.Estimate `json:"off_centre_m"`
}

// Line is a way ridden from one obstacle to the next, each time it was ridden: ways that the
// route has in this order, and others with the kind "between".
type Line struct {
	From    string `json:"from"`
	To      string `json:"to"`
	Round   *int   `json:"round"`   // nil: of no whole round
	Attempt int    `json:"attempt"` // which ride of this way, from 1
	Kind    string `json:"kind"`    // related | bending | rollback | combination | single | between
	// DistanceM is the plan's, back of the first obstacle to front of the second: walked where it was, else
	// by the map. TrackM is as ridden, fore hooves at landing to hind hooves at take-off.
	DistanceM *float64        `json:"distance_m"`
	TrackM    *trace.Estimate `json:"track_m"`
	// Strides are the whole canter strides that a trainer counts: from the landing stride's hind contact
	// to that of the take-off, so that neither landing nor take-off is one.
	Strides        *trace.Estimate `json:"strides"`
	StridesBy      string          `json:"strides_by"` // counted | estimated | "" with Strides nil
	StrideLengthM  *trace.Estimate `json:"stride_length_m"`
	StrideLengthsM []float64       `json:"stride_lengths_m"` // one a counted stride; empty where not told
	StrideS        *trace.Estimate `json:"stride_s"`
	RhythmCV       *trace.Estimate `json:"rhythm_cv"`       // coefficient of variation of stride time
	SpeedMS        *trace.Estimate `json:"speed_m_s"`       // mean, landing to take-off
	SpeedInMS      *trace.Estimate `json:"speed_in_m_s"`    // of the first strides
	SpeedOutMS     *trace.Estimate `json:"speed_out_m_s"`   // of the last
	SpeedDriftMS   *trace.Estimate `json:"speed_drift_m_s"` // out less in
	Grade          *float64        `json:"grade"`           // mean rise per metre ridden
	Homeward       *float64        `json:"homeward"`        // mean cosine towards home, in [-1, 1]
	Turn           *Turn           `json:"turn"`            // nil without positions
	// PlannedStrides are what DistanceM asks of the standard 12-ft stride; nil for ways that nobody counts.
	PlannedStrides *int `json:"planned_strides"`
	Fit            *Fit `json:"fit"` // nil where the horse's usual stride is not known
	// Budget is where the ground of the line went; nil where a part of it can't be measured.
	Budget *Budget `json:"budget"`
}

// Turn is the turn of a line.
type Turn struct {
	Direction  string          `json:"direction"`     // left | right | straight
	TurnedDeg  *trace.Estimate `json:"turned_deg"`    // change of heading, left positive
	RadiusMinM *trace.Estimate `json:"radius_min_m"`  // the tightest that the track holds over 4 m of travel
	SpeedMinMS *trace.Estimate `json:"speed_min_m_s"` // the slowest of the line
	// ArcRadiusM is the radius of the circle through the turn's tight part as a whole, fitted to the places: another
	// way to the same figure, a check on RadiusMinM, which is of the tightest 4 m. nil where the arc is too short or
	// too flat to tell.
	ArcRadiusM *trace.Estimate `json:"arc_radius_m"`
}

// Fit is how the line suits this horse: metres a stride that it was ridden beyond (+, long) or short of (-, short)
// the horse's usual stride, as everything but the line itself shows it.
type Fit struct {
	PerStrideM *trace.Estimate `json:"per_stride_m"`
	// PLong, PRight and PShort are probabilities, which add up to 1: that the stride lay above, within or below the 2 %
	// about the usual by which strides vary anyway.
	PLong  float64 `json:"p_long"`
	PRight float64 `json:"p_right"`
	PShort float64 `json:"p_short"`
	// Says is long, right or short where that has a probability of at least 0.75; nil where it is too close to call.
	Says    *string `json:"says"`
	Against string  `json:"against"` // this ride | record | size: what shows the usual stride
}

// Round is one go at the whole route.
type Round struct {
	Round    int  `json:"round"` // from 1
	Complete bool `json:"complete"`
	// StartS and FinishS are the start and finish lines' crossings or, where there are none, the first
	// take-off and the last landing; TimeS is told from line to line only.
	StartS        *float64        `json:"start_s"`
	FinishS       *float64        `json:"finish_s"`
	TimeS         *trace.Estimate `json:"time_s"`
	TimeAllowedS  *float64        `json:"time_allowed_s"` // nil without a prescribed speed
	TimeFaults    *int            `json:"time_faults"`    // never for rails, which no sensor sees
	Disobediences *int            `json:"disobediences"`  // refusals and run-outs; nil without positions, which alone show them
	Missed        []string        `json:"missed"`         // obstacles of the route that it left out
}

// Slope is what grade and the pull of home do to the speed of this horse's lines, by regression over
// N of them.
type Slope struct {
	PerPercentMS *trace.Estimate `json:"per_percent_m_s"` // for each percent of rise
	HomewardMS   *trace.Estimate `json:"homeward_m_s"`    // straight towards home against square to it
	N            int             `json:"n"`
}

// GaitSpan is a stretch of time in one gait, [FromS, ToS).
type GaitSpan struct {
	Gait  string  `json:"gait"` // halt | walk | trot | canter
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"`
}

// Stride is one stride, hind contact to hind contact, [FromS, ToS). The flight of a jump belongs to none.
type Stride struct {
	Gait    string          `json:"gait"`
	FromS   float64         `json:"from_s"`
	ToS     float64         `json:"to_s"`
	LengthM *trace.Estimate `json:"length_m"`
	SpeedMS *trace.Estimate `json:"speed_m_s"`
	Lead    *string         `json:"lead"` // left | right | disunited
	Line    *string         `json:"line"` // "from-to"; nil outside the lines
}

// Horse is what the ride tells of the horse's usual way of going.
type Horse struct {
	Name          *string         `json:"name"`
	CanterStrideM *trace.Estimate `json:"canter_stride_m"`
	StrideS       *trace.Estimate `json:"stride_s"`
}

// Rejected is a candidate for a jump that was turned down.
type Rejected struct {
	AtS float64 `json:"at_s"`
	// Rule is the rule that turned it down, in words; Found is the number that broke it and Limit what
	// the rule allows, in the rule's own unit.
	Rule  string  `json:"rule"`
	Found float64 `json:"found"`
	Limit float64 `json:"limit"`
}

// Ridden is the ride as it lies on the plan, for renderings that draw it. Columns have one value a
// sample, ten samples a second within each piece; without positions they are empty.
type Ridden struct {
	TimeS, XM, YM []float64 // seconds from the recording's start; the plan's axes, or east and north without a plan
	SpeedMS       []float64 // over ground
	SpeedSDMS     []float64 // its standard deviation
	DistanceM     []float64 // ridden since the first sample, as far as was recorded: a gap adds nothing
	HeightM       []float64 // of the ground there; nil where the plan has no heights
	Pieces        []int     // the first sample of each unbroken piece; nothing is known between two
	// LineS is from when to when each of Debrief.Lines was ridden, landing to take-off, in their order.
	LineS [][2]float64
	Bends []Bend
}

// Bend is the circle of a line's tightest radius ([Turn].RadiusMinM), laid against the track from inside
// where it turned most sharply over 4 m of travel.
type Bend struct {
	Line         int     // in Debrief.Lines
	XM, YM       float64 // the circle's centre
	RadiusM      float64
	TouchDeg     float64 // bearing from the centre to where it touches the track, clockwise from +y
	EitherWayDeg float64 // how far along the circle to either side it is worth drawing, degrees
}

// StrideRow is one stride with all that the ride tells about it, for the stride table. Nil is what the
// recording can't tell.
type StrideRow struct {
	Round   *int    // the whole round that it belongs to
	Attempt *int    // which ride of its line, from 1; nil outside the lines
	Line    *string // "from-to"; nil outside the lines
	// InLine counts the strides of the line from 1, OfLine is how many the line has; nil outside the lines. InLine
	// is nil also where the strides found one by one are not as many as the line's count.
	InLine, OfLine *int
	Gait           string // halt | walk | trot | canter
	Lead           *string
	StartS         float64 // from the recording's start
	DurationS      float64 // above 0
	LengthM        *trace.Estimate
	SpeedMS        *float64 // LengthM over DurationS
	Grade          *float64 // mean rise per metre ridden, uphill positive
	Homeward       *float64 // mean cosine towards home
	CurvaturePerM  *float64 // turn per metre ridden, radians, left positive
	// By is "counted" for a stride that was seen, "estimated" for one of as many as the line most
	// likely had, laid evenly between landing and take-off.
	By string
}
