// Package dsp is the signal processing that sensors on a horse need and that no
// library of ours has: Butterworth filters and their zero-phase use, outlier
// rejection, an even time grid for jittered samples, and the way up.
//
// All functions are plain functions over slices. Rates and frequencies are in
// hertz; inputs must be finite (the readers see to that), outputs then are too.
package dsp
