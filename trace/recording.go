// Package trace holds what a device wrote during a ride, in one shape whatever
// the device: places on the ground over time ([Positions]), what an
// accelerometer and gyroscope felt over time ([Motion]), and one clock for both.
//
// Everything is SI. Time is seconds from [Recording].Start. A channel that the
// device did not write is nil, never a row of zeros; a gap stays a gap.
//
// The packages below it do the work that needs no horse: read understands
// files, geo turns latitude and longitude into metres on the ground, dsp
// filters, smooth turns noisy fixes into a track with its doubt. Package synth
// makes rides whose truth is known, for tests and the demo.
package trace

import "time"

// Recording is one ride as its devices recorded it.
type Recording struct {
	// Files are the names as given, in the order given.
	Files []string
	// Start is the instant of time zero: the first position's time or, without
	// positions, the first motion sample's. Zero when no file tells the date.
	Start time.Time
	// DurationS is the time from Start to the last sample of any kind.
	DurationS float64
	// Positions is nil when no file has places with times.
	Positions *Positions
	// Motion is nil when no file has an accelerometer.
	Motion *Motion
	// ClockOffsetS is what was subtracted from the motion file's own clock to bring it
	// to the positions' clock: nil when there is one clock only.
	ClockOffsetS *Estimate
	// Marks are laps, waypoints and button presses, in time order.
	Marks []Mark
	// Notes tell what the reader had to put up with.
	Notes []Note
}

// Positions are places over time: parallel slices, TimeS strictly increasing.
type Positions struct {
	TimeS  []float64 // seconds from the recording's start
	LatDeg []float64 // WGS 84, degrees north, [-90, 90]
	LonDeg []float64 // WGS 84, degrees east, [-180, 180]
	// HeightM is metres above whatever the device takes for zero; nil unless every fix has one.
	HeightM []float64
	// SpeedMS is the device's own speed over ground; nil unless every fix has one.
	SpeedMS []float64
	// Segment numbers the pieces that the device itself kept apart (0, 1, …).
	Segment []int
	// RateHz is one over the median time step, not rounded.
	RateHz float64
}

// Motion is what an inertial sensor felt: parallel slices, TimeS strictly
// increasing but not even. Axes are the sensor's own, right-handed.
type Motion struct {
	TimeS []float64 // seconds from the recording's start
	// AX, AY, AZ are the specific force in m/s²: a sensor at rest reads 9.81 upwards.
	// Where GravityRemoved, the force less gravity: a sensor at rest reads 0.
	AX, AY, AZ []float64
	// GX, GY, GZ are the turn rate in rad/s, right-hand rule; nil without a gyroscope.
	GX, GY, GZ []float64
	// GravityRemoved tells that the device had taken gravity out of AX, AY, AZ.
	GravityRemoved bool
	// RateHz is one over the median time step, not rounded.
	RateHz float64
	// ClippedMS2 is the size at which samples of one axis pile up because the sensor could
	// measure no more; 0 where none do.
	ClippedMS2 float64
}

// Mark is an instant that the device or its wearer pointed out.
type Mark struct {
	AtS  float64
	Kind string // "lap" | "waypoint" | "mark"
	Name string
	// LatDeg and LonDeg are the place, where HasPlace.
	LatDeg, LonDeg float64
	HasPlace       bool
}

// Estimate is a measured figure with its doubt: the true value lies between Low
// and High nine times in ten. A nil *Estimate is a figure that the recording
// can't tell.
type Estimate struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Note is something that the reader of a figure should know.
type Note struct {
	Level string `json:"level"` // "info" | "caution" | "warning"
	What  string `json:"what"`
	Why   string `json:"why"`
}
