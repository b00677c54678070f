// Package synth makes rides whose truth is known: for tests, and for the demo.
//
// A [Ride] is a list of places to pass, in what gait and how fast, and which of
// them are fences. [Ride.Make] lays a path of straights and arcs through them,
// lets a horse go along it stride by stride and returns a [Made]: every take-off,
// landing, stride, lead and gait. [Made.Motion] is what a sensor on that horse
// would feel, [Made.Positions] what a receiver would write down, [GPX] and
// [MotionCSV] the files.
//
// The horse is as simple as the published facts allow. Where those say nothing
// a number is our choice and says so; nothing here is a measurement, and a method
// that works on these rides has shown only that it does what it says. The same
// seed gives the same ride; each device has its own seed, so that a change of one
// leaves the others alone.
//
// The arena frame has x to the right and y forward, metres, bearings in degrees
// clockwise from +y. The trunk's axes are x forward, y left, z up.
package synth
