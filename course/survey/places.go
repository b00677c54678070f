package survey

import (
	"math"
	"sort"

	"groundline/trace"
	"groundline/trace/geo"
)

const (
	// Fixes within this of each other for so long are somebody standing: who walks, at 1.4 m/s, is through in
	// 2 s; what a standing receiver wanders from second to second is less (ours).
	stillM, stillLeastS = 1.5, 3.0
	// A press farther from the next fix has no place: a walker is 7 m on in 5 s.
	pressGapS = 5.0
	// Nobody stands at a fence longer than this; a watch left lying does.
	stillMostS = 120.0
)

// placeAt is where the track was at time t, averaged over the seconds about it in which its wearer stood still,
// and how long these were (0: on the move, the place is between two fixes). ok is false where the track has no
// fix within 5 s or t lies in a gap.
func placeAt(p *trace.Positions, t float64) (at geo.LatLon, stoodS float64, ok bool) {
	if p == nil || len(p.TimeS) == 0 {
		return at, 0, false
	}
	next := sort.SearchFloat64s(p.TimeS, t)
	last := next - 1
	if next < len(p.TimeS) && p.TimeS[next] == t {
		last = next
	}
	switch {
	case last < 0 && p.TimeS[0]-t > pressGapS, next == len(p.TimeS) && t-p.TimeS[last] > pressGapS:
		return at, 0, false
	case last < 0:
		last = next
	case next == len(p.TimeS):
		next = last
	case p.TimeS[next]-p.TimeS[last] > 2*pressGapS || p.Segment[next] != p.Segment[last]:
		// A gap: the nearer side, if near enough.
		if t-p.TimeS[last] <= p.TimeS[next]-t {
			next = last
		} else {
			last = next
		}
		if math.Abs(p.TimeS[last]-t) > pressGapS {
			return at, 0, false
		}
	}
	f := geo.NewFrame(geo.LatLon{LatDeg: p.LatDeg[last], LonDeg: p.LonDeg[last]}, 0)
	en := func(i int) (e, n float64) {
		e, n, _ = f.ToENU(geo.LatLon{LatDeg: p.LatDeg[i], LonDeg: p.LonDeg[i]}, 0)
		return e, n
	}
	e, n := en(last)
	if next != last {
		e1, n1 := en(next)
		w := (t - p.TimeS[last]) / (p.TimeS[next] - p.TimeS[last])
		e, n = e+w*(e1-e), n+w*(n1-n)
	}
	// Twice: about the place at the press, then about the mean of what was found.
	from, to := last, next
	for range 2 {
		still := func(i int) bool {
			ei, ni := en(i)
			return math.Hypot(ei-e, ni-n) <= stillM && math.Abs(p.TimeS[i]-t) <= stillMostS
		}
		from, to = last, next
		if !still(from) || !still(to) {
			break
		}
		for from > 0 && p.TimeS[from]-p.TimeS[from-1] <= pressGapS && p.Segment[from-1] == p.Segment[from] && still(from-1) {
			from--
		}
		for to+1 < len(p.TimeS) && p.TimeS[to+1]-p.TimeS[to] <= pressGapS && p.Segment[to+1] == p.Segment[to] && still(to+1) {
			to++
		}
		if p.TimeS[to]-p.TimeS[from] < stillLeastS { // on the move
			break
		}
		e, n = 0, 0
		for i := from; i <= to; i++ {
			ei, ni := en(i)
			e, n = e+ei/float64(to-from+1), n+ni/float64(to-from+1)
		}
		stoodS = p.TimeS[to] - p.TimeS[from]
	}
	at, _ = f.FromENU(e, n, 0)
	return at, stoodS, true
}
