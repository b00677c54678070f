package build

import (
	"fmt"
	"math"

	"groundline/report/layout"
	"groundline/trace/smooth"
)

// sparse tells whether the fixes are so far apart that a turn can lie between two of them: over the labelled rounds
// the interval of the tightest radius holds 0.92 of the truths at a fix in 3 s, and 0.37 at one in 5 s.
func (r *ride) sparse() bool {
	p := r.rec.Positions
	return p != nil && p.RateHz > 0 && 1/p.RateHz > smooth.DefaultMaxGapS
}

// noteQuality tells what in the recording itself makes figures less sure, or null.
func (r *ride) noteQuality() {
	if r.missed > 0 {
		r.note("caution", "strides of "+layout.Plural(r.missed, "line", "lines")+" not counted", "the motion has a gap there, or shows no strides for a while")
	}
	if m := r.rec.Motion; m != nil && m.ClippedMS2 > 0 {
		r.note("caution", fmt.Sprintf("the motion sensor's peaks are cut off at %.0f m/s²", m.ClippedMS2),
			"strides and jumps are still told by their timing; take-off and landing are a little less sure")
	}
	if r.sparse() {
		r.note("caution", "no tightest radius of turns", fmt.Sprintf("a fix in %.1f s: a whole turn can lie between two", 1/r.rec.Positions.RateHz))
	}
	r.noteHoles()
	if t := r.track; t != nil && len(t.Unreachable) > 0 {
		r.note("caution", layout.Plural(len(t.Unreachable), "position", "positions")+" left out", "no horse can get there and back in that time")
	}
	if t := r.track; t != nil && t.Noise.WhiteM > noisyM {
		r.note("caution", fmt.Sprintf("the positions scatter by %.1f m from fix to fix", t.Noise.WhiteM),
			"places, speeds and lengths that rest on them are less sure than from an ordinary watch; their intervals say so")
	}
}

// noisyM is scatter from fix to fix beyond that of ordinary watches: four times the usual 0.25 m (see
// smooth.Options).
const noisyM = 1.0

// holesTold is how many gaps of the positions are told one by one.
const holesTold = 3

// noteHoles tells the gaps in the positions while the horse cantered, for what was jumped in them nobody knows
// unless the motion shows it.
func (r *ride) noteHoles() {
	if r.path == nil || r.ev != nil {
		return
	}
	n := 0
	for i := 1; i < len(r.path.Pieces); i++ {
		a, b := &r.path.Pieces[i-1], &r.path.Pieces[i]
		if math.Hypot(a.VX[len(a.VX)-1], a.VY[len(a.VY)-1]) < 2.8 && math.Hypot(b.VX[0], b.VY[0]) < 2.8 {
			continue // it stood or walked
		}
		if n++; n <= holesTold {
			r.note("caution", fmt.Sprintf("nothing is known from %.0f to %.0f s", a.ToS(), b.FromS), "the positions have a gap there; an obstacle jumped in it is missing here")
		}
	}
	if n > holesTold {
		r.note("caution", fmt.Sprintf("%d more gaps", n-holesTold), "the positions have gaps while the horse was moving")
	}
}
