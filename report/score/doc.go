// Package score judges debriefs against rounds whose truth is known.
//
// Judging is a module of its own, so that nothing which makes a debrief also
// marks it. [ReadTruth] reads what happened, [Round] compares one debrief with
// it, [Result.Merge] puts rounds of a kind together, [Table] prints the figures
// side by side.
//
// Events are paired in time order and optimally ([Pair]), once, with a wide
// window, and every figure rests on these pairs: an effort that was named
// wrongly is found, but not right; a line that was not reported counts as
// wrong, it is not left out. Strides are judged twice: with a window of a tenth
// of a stride for precision and recall, with half a stride for the bias, as a
// wide window alone flatters a detector that is late.
//
// An interval is judged by the share of truths inside it; nine in ten is right,
// more is too wide.
package score
