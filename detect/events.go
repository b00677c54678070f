// Package detect finds what the horse did in what the devices recorded: gaits,
// strides, jumps and turns. It knows nothing of the course.
//
// From motion ([FromMotion]): up is found from gravity, the vertical wave tells
// the gaits, its fundamental the strides, and a push-off, a flight and a landing
// that belong together a jump. From positions ([FromTrack]): speed tells the
// gaits and the curve of the track the turns. Each finding carries its doubt, and
// each rejection the rule that rejected it.
//
// Beside that: how a sensor was carried ([Mounting]), and how far two devices'
// clocks are apart, where gaits in the one must go with speeds in the other
// ([ClockByGaits]).
package detect

import "groundline/trace"

// Gait is how the horse goes.
type Gait uint8

// The gaits told apart.
const (
	Halt Gait = iota
	Walk
	Trot
	Canter
)

// String is the gait's name in the trade's word, lower case.
func (g Gait) String() string { return [...]string{"halt", "walk", "trot", "canter"}[g] }

// Lead is the leading foreleg of a canter stride.
type Lead uint8

// The leads; LeadUnknown where the recording can't show it, LeadDisunited where fore and hind legs lead on different sides.
const (
	LeadUnknown Lead = iota
	LeadLeft
	LeadRight
	LeadDisunited
)

// String is "left", "right", "disunited" or "" for unknown.
func (l Lead) String() string { return [...]string{"", "left", "right", "disunited"}[l] }

// Span is a stretch of time in one gait, [FromS, ToS).
type Span struct {
	Gait       Gait
	FromS, ToS float64
}

// Stride is one stride, hind contact to hind contact, [FromS, ToS). The flight of a
// jump belongs to no stride.
type Stride struct {
	Gait       Gait
	FromS, ToS float64
	Lead       Lead
	LeadP      float64 // probability of Lead, in [0, 1]; 0 for LeadUnknown

	wave *strideWave // of a canter stride; nil where it has none
}

// Jump is a push-off, a flight and a landing that belong together.
type Jump struct {
	TakeoffS, LandingS trace.Estimate // last hind hoof off; first fore hoof down
	// PushPeakS and LandPeakS are the instants of the greatest upward load of the
	// push-off and of the landing; the canter's own load peaks strictly between one jump's
	// landing peak and the next one's push-off peak are the strides of that line.
	PushPeakS, LandPeakS float64
	// Confidence is the probability that this was a jump, in [0, 1].
	Confidence float64
}

// Rejected is a candidate that was turned down, with the rule and the number that did it.
type Rejected struct {
	AtS          float64
	Rule         string
	Found, Limit float64
}

// Events is all that a sensor on the horse or rider shows of the ride.
type Events struct {
	Gaits    []Span   // from the first to the last sample, with holes only where the recording has gaps
	Strides  []Stride // in time order
	Jumps    []Jump   // in time order, also the doubtful ones (see Confidence)
	Rejected []Rejected
	// BeatS are the instants of the upward-load peak of every canter stride, in time
	// order; push-off and landing peaks are not among them.
	BeatS []float64
	// StrideS is the usual time of one canter stride: nil without a canter.
	StrideS *trace.Estimate
	// YawTimeS and YawRadS are the turn rate about the vertical, left positive, low-passed
	// to turns; nil without a gyroscope.
	YawTimeS, YawRadS []float64
	Notes             []trace.Note

	paths   []*canterPath // what CountBetween asks
	sets    *sets         // what SettleLeads names; nil where the strides show none
	holes   [][2]float64  // of the recording, from the last sample before to the first after, s
	behindS float64       // by how much the times here are less than those of paths and holes; see Earlier
}
