// Package record gathers what the rides of one horse tell of it: the horse's record.
//
// It is made of what each debrief tells ([Extract]), without the debriefs themselves, and knows neither where rides
// are kept nor who asks ([Of]). A ride's lines are not independent witnesses: they share the day, the ground, the
// rider's plan and the recording's error. So a figure is a mean over rides, with what differs from
// ride to ride apart from what differs from line to line and from what the recordings can't see (see package horse).
// The lines of a course don't change when it is ridden again, so what slope and home do is read between lines, not rides (see ground.go).
// Leads and refusals are counts, whose rides count for less where they differ much (see rates.go).
package record

import (
	"fmt"
	"io"
	"time"

	"groundline/course"
	"groundline/course/horse"
	"groundline/report"
	"groundline/trace"
)

// Schema names the layout of a record in JSON. Fields are added, never renamed.
const Schema = "groundline.horse/1"

// Record is what the rides of one horse tell of it. Units are SI and named at the end of each field. A
// [trace.Estimate] has a 90 % interval; a nil figure is one that the rides can't tell, and Notes say why. Lists of rides are the ids
// of those that a figure rests on, oldest first. [JSON] writes it.
type Record struct {
	Schema string `json:"schema"`
	Name   string `json:"name"` // "" if not told
	Size   string `json:"size"` // a name of [course.Profiles]; "" if not known
	// Rides are those that count, oldest first; LeftOut those that don't.
	Rides   []RideFigures `json:"rides"`
	LeftOut []LeftOut     `json:"left_out"`
	// StrideM, StrideS and SpeedMS are the usual canter stride, its time and the pace between fences: over the lines that are
	// no rollback and no combination.
	StrideM *Figure `json:"stride_m"`
	StrideS *Figure `json:"stride_s"`
	SpeedMS *Figure `json:"speed_m_s"`
	// Pace is the stride against the pace.
	Pace *Pace `json:"pace"`
	// TakeoffM is from the hind hooves to an obstacle's front, LandingM from its back to the fore hooves.
	TakeoffM Edges `json:"takeoff_m"`
	LandingM Edges `json:"landing_m"`
	// Ground is what slope and home do.
	Ground Ground `json:"ground"`
	Rhythm Rhythm `json:"rhythm"`
	Leads  Leads  `json:"leads"`
	// Disobediences are refusals and run-outs of the obstacles tried, in rides with positions: motion alone hardly shows
	// them.
	Disobediences *Rate `json:"disobediences"`
	// Walk is the horse as a walk takes it (see [Record.CourseHorse]); nil where the rides have no line for it.
	Walk  *WalkHorse   `json:"walk"`
	Notes []trace.Note `json:"notes"`

	rides              []Ride  // those that count
	lineIDs, effortIDs [][]int // of the rides' lines and obstacles
	size               *course.Profile
	horse              course.Horse
	noHorse            error
	usual              horse.Usual
	points             []Point
}

// Figure is a figure over rides.
type Figure struct {
	// Mean is the horse's own; NextRide where the next ride's own level is expected, nine times in ten.
	Mean     trace.Estimate `json:"mean"`
	NextRide trace.Estimate `json:"next_ride"`
	// BetweenSD is by how much rides differ beyond what lines and recordings explain, as a standard deviation; nil with fewer than
	// three rides, which hardly show it. LineSD is the same from line to line (jump to jump) of one ride, MeasuredSD the recordings'
	// own error of one line.
	BetweenSD  *trace.Estimate `json:"between_sd"`
	LineSD     float64         `json:"line_sd"`
	MeasuredSD float64         `json:"measured_sd"`
	N          int             `json:"n"`     // lines or jumps
	Count      int             `json:"count"` // rides
	Rides      []int64         `json:"rides"`
}

// Pace is the stride against the pace: a straight line over the pace, with a level of its own for each ride.
type Pace struct {
	PerMS *trace.Estimate `json:"per_m_s"` // metres of stride for each m/s
	// UsualM is the stride at UsualMS, the horse's usual pace: its usual stride, without what rides and lines at other paces
	// made of it.
	UsualM  trace.Estimate `json:"usual_m"`
	UsualMS float64        `json:"usual_m_s"`
	// FromMS and ToMS are the paces ridden, without the slowest and the fastest twentieth. The table lies within.
	FromMS float64      `json:"from_m_s"`
	ToMS   float64      `json:"to_m_s"`
	Table  []PaceStride `json:"table"`
	N      int          `json:"n"`
	Count  int          `json:"count"`
	Rides  []int64      `json:"rides"`
}

// PaceStride is the horse's own stride at a pace.
type PaceStride struct {
	SpeedMS float64        `json:"speed_m_s"`
	StrideM trace.Estimate `json:"stride_m"`
}

// Edges are distances of take-off or landing. What the rides share, how far ahead of the hooves a sensor sits, is in
// the intervals however many rides there are.
type Edges struct {
	All      *Figure      `json:"all"`
	ByKind   []KindEdge   `json:"by_kind"`   // of obstacles jumped often enough, by name
	ByHeight []HeightEdge `json:"by_height"` // likewise, lowest first
}

// KindEdge is the distance at obstacles of one kind.
type KindEdge struct {
	Kind   string `json:"kind"`
	Figure Figure `json:"figure"`
}

// HeightEdge is the distance at obstacles of [FromM, ToM).
type HeightEdge struct {
	FromM  float64 `json:"from_m"`
	ToM    float64 `json:"to_m"`
	Figure Figure  `json:"figure"`
}

// Ground is what a rise of 1 % and the way home do to pace and stride, over the lines of the courses.
type Ground struct {
	Speed  GroundEffect `json:"speed_m_s"`
	Stride GroundEffect `json:"stride_m"`
}

// GroundEffect is what they do to one figure, in its unit.
type GroundEffect struct {
	PerPercent *trace.Estimate `json:"per_percent"` // for each percent of rise; nil: Why
	Homeward   *trace.Estimate `json:"homeward"`    // straight towards home against square to it; nil: Why
	Why        string          `json:"why"`         // what is not told, and why; "" where both are
	Lines      int             `json:"lines"`       // different lines
	Count      int             `json:"count"`
	Rides      []int64         `json:"rides"`
}

// Rhythm is the stride time over time. Trends are for each 30 days; nil: Why.
type Rhythm struct {
	CV      *Figure         `json:"cv"` // coefficient of variation of stride time within a line
	StrideS *trace.Estimate `json:"stride_s_per_30_days"`
	CVTrend *trace.Estimate `json:"cv_per_30_days"`
	Days    float64         `json:"days"` // from the first dated ride to the last
	Why     string          `json:"why"`
}

// Leads are the leads by the turn of the lines: on landing into a line, and at its last stride.
type Leads struct {
	In  []LeadsBy `json:"in"`  // by turn: left, right, straight
	Out []LeadsBy `json:"out"` // likewise
	// WithTurn is how often the horse landed on the lead of the turn that followed.
	WithTurn *Rate `json:"with_turn"`
}

// LeadsBy are the leads of lines that turn to one side.
type LeadsBy struct {
	Turn string `json:"turn"` // left | right | straight
	Left Rate   `json:"left"` // on the left lead, of those known
}

// Rate is how often something happened.
type Rate struct {
	Events int            `json:"events"`
	Of     int            `json:"of"`
	Share  trace.Estimate `json:"share"` // in [0, 1]
	Count  int            `json:"count"`
	Rides  []int64        `json:"rides"`
}

// WalkHorse is the horse as a walk takes it: with what is known of horses beforehand, see [horse.Of] and
// [course.Horse]. What the rides can't tell is nil.
type WalkHorse struct {
	Size         string          `json:"size"`
	StrideM      trace.Estimate  `json:"stride_m"`
	LandingM     trace.Estimate  `json:"landing_m"`
	HoofLandingM *trace.Estimate `json:"hoof_landing_m"`
	TakeoffM     trace.Estimate  `json:"takeoff_m"`
	SpeedMS      *trace.Estimate `json:"speed_m_s"`
	TurnSpeedMS  *trace.Estimate `json:"turn_speed_m_s"`
	StrideS      *trace.Estimate `json:"stride_s"`
	StridePerMS  *trace.Estimate `json:"stride_per_m_s"`
	HomewardRel  *trace.Estimate `json:"homeward_rel"`
	GradeRel     *trace.Estimate `json:"grade_rel"`
	LineSDRel    float64         `json:"line_sd_rel"`
	Source       string          `json:"source"`
}

// RideFigures are the figures of one ride by itself, for what the horse does over time.
type RideFigures struct {
	ID     int64   `json:"id"`
	At     *string `json:"at"` // RFC 3339, UTC; nil when no file tells the date
	Course string  `json:"course"`
	Basis  string  `json:"basis"`
	Lines  int     `json:"lines"`
	Jumps  int     `json:"jumps"`
	// Each is the ride's own mean, with the doubt of its lines; nil where it can't be told.
	StrideM  *trace.Estimate `json:"stride_m"`
	StrideS  *trace.Estimate `json:"stride_s"`
	SpeedMS  *trace.Estimate `json:"speed_m_s"`
	RhythmCV *trace.Estimate `json:"rhythm_cv"`
	TakeoffM *trace.Estimate `json:"takeoff_m"`
	LandingM *trace.Estimate `json:"landing_m"`
}

// LeftOut is a ride that does not count, since it is a recording of the same minutes as another.
type LeftOut struct {
	ID     int64 `json:"id"`
	SameAs int64 `json:"same_as"`
}

// Point is one ride of one line, for drawing the stride against the pace.
type Point struct {
	RideID           int64
	SpeedMS, StrideM float64
}

// VersionError tells that a ride was extracted by another version of the program.
type VersionError struct {
	ID int64
	V  int
}

func (e *VersionError) Error() string {
	return fmt.Sprintf("ride %d: layout %d of what it tells, expected %d: extract it anew", e.ID, e.V, RideVersion)
}

// Of is the record of a horse. name is its name, "" for that which the rides tell; size its size, nil if not known. The
// order of the rides does not matter, nor does a ride that comes twice. The error is a [*VersionError].
func Of(name string, size *course.Profile, rides []Ride) (*Record, error) {
	for _, r := range rides {
		if r.V != RideVersion {
			return nil, &VersionError{r.ID, r.V}
		}
	}
	r := &Record{Schema: Schema, Name: name, size: size, LeftOut: []LeftOut{}}
	if size != nil {
		r.Size = size.Name
	}
	r.rides, r.LeftOut = counting(rides)
	for _, d := range r.rides {
		if r.Name == "" {
			r.Name = d.Horse
		}
	}
	if len(r.rides) == 0 {
		r.note("info", "no figure", "no ride of this horse is kept that could be worked out")
	}
	r.number()
	r.tellRides()
	r.tellHorse()
	r.tellStrides()
	r.tellPace()
	r.tellEdges()
	r.tellGround()
	r.tellRhythm()
	r.tellLeads()
	r.tellDisobediences()
	r.tellWalk()
	r.tellDoubts()
	// A record may be held for long, and is small without what it was made of.
	r.rides, r.lineIDs, r.effortIDs = nil, nil, nil
	return r, nil
}

func (r *Record) note(level, what, why string) {
	r.Notes = append(r.Notes, trace.Note{Level: level, What: what, Why: why})
}

// CourseHorse is the horse for a walk, from the rides that count. The error is [horse.ErrNoLine].
func (r *Record) CourseHorse() (course.Horse, error) { return r.horse, r.noHorse }

// StrideAt is the horse's own stride at a pace; nil beyond the paces that it was ridden at.
func (r *Record) StrideAt(speedMS float64) *trace.Estimate {
	if r.Pace == nil || !(speedMS >= r.Pace.FromMS && speedMS <= r.Pace.ToMS) {
		return nil
	}
	return r.usual.StrideAt(speedMS)
}

// Usual is the horse's usual stride, on related and bending lines; nil where the rides don't show it.
func (r *Record) Usual() *trace.Estimate {
	if r.StrideM == nil {
		return nil
	}
	return &r.StrideM.Mean
}

// Points are the lines that [Record.Pace] rests on.
func (r *Record) Points() []Point { return r.points }

// JSON writes the record as one JSON object, with the promises of [report.JSON].
func JSON(w io.Writer, r *Record) error { return report.WriteJSON(w, *r, "horse") }

// at is a time as JSON has it.
func at(t *time.Time) *string {
	if t == nil {
		return nil
	}
	s := t.UTC().Format(time.RFC3339)
	return &s
}
