// Package report turns a followed ride into the debrief: one plain struct that
// every rendering reads ([Debrief]), made by [Build], written as JSON or as the
// text that a coach reads aloud.
package report

import "groundline/trace"

// Schema names the layout of the JSON debrief. Fields are added, never renamed.
const Schema = "groundline.debrief/1"

// Debrief is what a recording tells about a ride. Times are seconds from
// Recording.Start. A nil figure is one that the recording can't tell.
type Debrief struct {
	Schema    string        `json:"schema"`
	Recording RecordingInfo `json:"recording"`
	Basis     string        `json:"basis"` // "position+motion" | "position" | "motion"
	Course    *CourseInfo   `json:"course"`
	Efforts   []Effort      `json:"efforts"`
	Lines     []Line        `json:"lines"`
	Rounds    []Round       `json:"rounds"`
	Slope     *Slope        `json:"slope"`
	Gaits     []GaitSpan    `json:"gaits"`
	Strides   []Stride      `json:"strides"`
	Horse     Horse         `json:"horse"`
	Notes     []trace.Note  `json:"notes"`
}

// RecordingInfo says what was read.
type RecordingInfo struct {
	Files        []string `json:"files"`
	Start        *string  `json:"start"` // RFC 3339, UTC; null when no file tells the date
	DurationS    float64  `json:"duration_s"`
	PositionHz   *float64 `json:"position_hz"`
	MotionHz     *float64 `json:"motion_hz"`
	ClockOffsetS *float64 `json:"clock_offset_s"`
}

// CourseInfo says which plan was laid under the ride, and where.
type CourseInfo struct {
	Name   string  `json:"name"`
	Placed *Placed `json:"placed"` // null without positions
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
	Obstacle         *string         `json:"obstacle"` // null: a jump at no obstacle of the plan
	Round            *int            `json:"round"`
	Attempt          int             `json:"attempt"`
	Outcome          string          `json:"outcome"` // jumped | refused | ran out | warm-up
	TakeoffS         *trace.Estimate `json:"takeoff_s"`
	LandingS         *trace.Estimate `json:"landing_s"`
	TakeoffDistanceM *trace.Estimate `json:"takeoff_distance_m"`
	LandingDistanceM *trace.Estimate `json:"landing_distance_m"`
	SpeedMS          *trace.Estimate `json:"speed_m_s"`
	LeadIn           *string         `json:"lead_in"`
	LeadOut          *string         `json:"lead_out"`
	Approach         *Approach       `json:"approach"`
	Confidence       float64         `json:"confidence"`
}

// Approach is how straight the horse came: the spread of the last strides' track about a
// straight line, and the angle to the obstacle's facing (right positive).
type Approach struct {
	StraightRMSM *trace.Estimate `json:"straight_rms_m"`
	AngleDeg     *trace.Estimate `json:"angle_deg"`
}

// Line is a way ridden between two obstacles.
type Line struct {
	From           string          `json:"from"`
	To             string          `json:"to"`
	Round          *int            `json:"round"`
	Attempt        int             `json:"attempt"`
	Kind           string          `json:"kind"`
	DistanceM      *float64        `json:"distance_m"`
	TrackM         *trace.Estimate `json:"track_m"`
	Strides        *trace.Estimate `json:"strides"`
	StridesBy      string          `json:"strides_by"` // counted | estimated | "" with strides null
	StrideLengthM  *trace.Estimate `json:"stride_length_m"`
	StrideLengthsM []float64       `json:"stride_lengths_m"`
	StrideS        *trace.Estimate `json:"stride_s"`
	RhythmCV       *trace.Estimate `json:"rhythm_cv"`
	SpeedMS        *trace.Estimate `json:"speed_m_s"`
	SpeedInMS      *trace.Estimate `json:"speed_in_m_s"`
	SpeedOutMS     *trace.Estimate `json:"speed_out_m_s"`
	SpeedDriftMS   *trace.Estimate `json:"speed_drift_m_s"`
	Grade          *float64        `json:"grade"`
	Homeward       *float64        `json:"homeward"`
	Turn           *Turn           `json:"turn"`
	PlannedStrides *int            `json:"planned_strides"`
	Fit            *Fit            `json:"fit"`
}

// Turn is the turn of a line.
type Turn struct {
	Direction  string          `json:"direction"` // left | right | straight
	TurnedDeg  *trace.Estimate `json:"turned_deg"`
	RadiusMinM *trace.Estimate `json:"radius_min_m"`
	SpeedMinMS *trace.Estimate `json:"speed_min_m_s"`
}

// Fit is how the line suits this horse: metres a stride that the line asks beyond (+, long)
// or short of (-, tight) the horse's usual stride.
type Fit struct {
	PerStrideM *trace.Estimate `json:"per_stride_m"`
	Says       string          `json:"says"` // long | right | tight
}

// Round is one go at the whole route.
type Round struct {
	Round         int             `json:"round"`
	Complete      bool            `json:"complete"`
	StartS        *float64        `json:"start_s"`
	FinishS       *float64        `json:"finish_s"`
	TimeS         *trace.Estimate `json:"time_s"`
	TimeAllowedS  *float64        `json:"time_allowed_s"`
	TimeFaults    *int            `json:"time_faults"`
	Disobediences int             `json:"disobediences"`
	Missed        []string        `json:"missed"`
}

// Slope is what grade and the pull of home do to the speed of this horse's lines.
type Slope struct {
	PerPercentMS *trace.Estimate `json:"per_percent_m_s"`
	HomewardMS   *trace.Estimate `json:"homeward_m_s"`
	N            int             `json:"n"`
}

// GaitSpan is a stretch of time in one gait.
type GaitSpan struct {
	Gait  string  `json:"gait"`
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"`
}

// Stride is one stride.
type Stride struct {
	Gait    string          `json:"gait"`
	FromS   float64         `json:"from_s"`
	ToS     float64         `json:"to_s"`
	LengthM *trace.Estimate `json:"length_m"`
	SpeedMS *trace.Estimate `json:"speed_m_s"`
	Lead    *string         `json:"lead"`
	Line    *string         `json:"line"`
}

// Horse is what the ride tells of the horse's usual way of going.
type Horse struct {
	Name          *string         `json:"name"`
	CanterStrideM *trace.Estimate `json:"canter_stride_m"`
	StrideS       *trace.Estimate `json:"stride_s"`
}
