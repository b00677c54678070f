package read

import (
	"fmt"
	"math"
	"slices"

	"groundline/trace"
)

// fix is one point as a reader found it, before it is trusted.
type fix struct {
	line, segment int
	lat, lon      float64 // degrees, in range
	height, speed float64 // metres, m/s; NaN where absent
	when          moment
	timed         bool
	badTime       string
}

// fixes gathers the places and marks of one file.
type fixes struct {
	p          *part
	places     places
	problems   problems
	untimed    int // without a usable time
	badTimes   int // of these, with something that is no time; also among the problems
	unzoned    int
	noFix      int
	placeless  int // records without a place
	wrapped    int
	badHeights int
	lostMarks  int
	plain      bool // the zone has been dealt with already
	stamped    []pendingMark
}

type pendingMark struct {
	mark  trace.Mark
	when  moment
	timed bool
}

func newFixes(p *part) *fixes { return &fixes{p: p} }

// add takes a point in, or counts why not.
func (x *fixes) add(f fix) {
	if !f.timed {
		x.untimed++
		if f.badTime != "" {
			x.badTimes++
			x.problems.add(Fault{Line: f.line, Field: "time", Found: quoteShort(f.badTime), Expected: "a date and time like 2026-06-03T09:12:00.250Z"})
		}
		return
	}
	if !x.p.known {
		x.p.known, x.p.base = true, f.when
	}
	if !f.when.zoned {
		x.unzoned++
	}
	x.place(f, f.when.since(x.p.base))
}

// place takes a fix in at time t of the part's clock.
func (x *fixes) place(f fix, t float64) {
	if f.lat == 0 && f.lon == 0 {
		x.noFix++ // what receivers write while they have no fix
		return
	}
	if f.lon < -180 || f.lon > 180 {
		x.wrapped++
		f.lon = wrapLon(f.lon)
	}
	x.places.add(t, f)
}

func (pl *places) add(t float64, f fix) {
	pl.t = append(pl.t, t)
	pl.lat = append(pl.lat, f.lat)
	pl.lon = append(pl.lon, f.lon)
	pl.height = append(pl.height, f.height)
	pl.speed = append(pl.speed, f.speed)
	pl.segment = append(pl.segment, f.segment)
}

// mark takes a lap or waypoint in. Untimed ones are kept only where asked for.
func (x *fixes) mark(m trace.Mark, when moment, timed, untimed bool) {
	if !timed && !untimed {
		x.lostMarks++
		return
	}
	x.stamped = append(x.stamped, pendingMark{m, when, timed})
}

// wrapLon brings a longitude into [-180, 180].
func wrapLon(lon float64) float64 {
	if lon >= -180 && lon <= 180 {
		return lon
	}
	return lon - 360*math.Round(lon/360)
}

// finish closes the file: orders the times, tells what was left out, or refuses.
func (x *fixes) finish(opt Options, walk *xmlWalk, routePoints int) (*part, *Faults) {
	p, pl := x.p, &x.places
	cut := Fault{File: p.sum.File}
	if walk != nil && walk.cut != "" {
		cut.Line, cut.Found = walk.line, walk.cut
	}
	p.sum.Unreadable += x.problems.count
	marksDo := opt.PlacesOnly && len(x.stamped) > 0
	if len(pl.t) < 2 && !marksDo {
		return nil, refuse(x.emptyReason(cut, routePoints), x.problems)
	}
	if x.untimed > len(pl.t) && !marksDo {
		// Most points without a time: what is left is no ride, and the clock is in doubt.
		return nil, refuse(x.emptyReason(cut, routePoints), x.problems)
	}
	if cut.Found != "" {
		p.note("warning", "cut off or damaged",
			fmt.Sprintf("line %d: %s; what came before was read", cut.Line, cut.Found))
	}
	pl.sortSegments()
	gone, n := order(pl.t), len(pl.t)
	if fault := gone.tooMany(p.sum.File, n); fault != nil {
		return nil, refuse(*fault, x.problems)
	}
	pl.drop(gone.drop)
	if len(pl.t) < 2 && !marksDo {
		return nil, refuse(Fault{File: p.sum.File, Field: "time", Found: "all points have the same time", Expected: "times that increase"}, x.problems)
	}
	p.leftOut(gone, n, "points")
	x.tell(n)
	if len(pl.t) > 0 {
		p.places = pl
	}
	x.placeMarks()
	return p, nil
}

// emptyReason says why a file without a usable track has none.
func (x *fixes) emptyReason(cut Fault, routePoints int) Fault {
	f := Fault{File: x.p.sum.File, Expected: "a track of at least 2 points with time and place"}
	switch {
	case len(x.places.t) == 1:
		f.Found, f.Hint = "a single point with time and place", cut.Found
	case x.placeless > 0 && x.untimed == 0 && x.problems.count == 0:
		f.Found = counted(x.placeless, "record, none with a place", "records, none with a place")
		f.Hint = "it was recorded without a receiver: give the motion file of the ride alone, or another watch's file"
	case x.untimed > 0:
		f.Field = "time"
		f.Found = counted(x.untimed, "point without a usable time", "points without a usable time")
		f.Hint = "export the ride itself with its times, not a route or a map track"
	case x.problems.count > 0:
		f.Found = counted(x.problems.count, "point, none with a usable place", "points, none with a usable place")
	case x.noFix > 0:
		f.Found = counted(x.noFix, "point, none with a fix (0°, 0°)", "points, none with a fix (all 0°, 0°)")
	case cut.Found != "":
		f.Line, f.Found, f.Hint = cut.Line, cut.Found, "the file is damaged: export it anew"
	case routePoints > 0:
		f.Found, f.Hint = counted(routePoints, "point of a route", "points of a route"), "a route is a plan without times: give the recorded track"
	case x.lostMarks+len(x.stamped) > 0:
		f.Found, f.Hint = counted(x.lostMarks+len(x.stamped), "waypoint and no track", "waypoints and no track"), "give the recorded track"
	default:
		f.Found = "no track"
	}
	return f
}

// tell puts what the file was forgiven into notes.
func (x *fixes) tell(n int) {
	p := x.p
	total := n + x.problems.count + x.untimed - x.badTimes + x.noFix
	of := fmt.Sprintf(" of %d points left out", total)
	if n := x.problems.count; n > 0 {
		first := x.problems.first[0]
		why := "unreadable: " + first.Field + " " + first.Found
		if first.Line > 0 {
			why = fmt.Sprintf("unreadable, the first in line %d: %s %s", first.Line, first.Field, first.Found)
		}
		p.note("caution", fmt.Sprint(n)+of, why)
	}
	if n := x.untimed - x.badTimes; n > 0 {
		p.note("caution", fmt.Sprint(n)+of, "they have no time")
	}
	if x.placeless > 0 {
		p.note("info", counted(x.placeless, "record", "records")+" without a place", "passed over")
	}
	if x.noFix > 0 {
		p.note("info", fmt.Sprint(x.noFix)+of, "0°, 0° is what a receiver writes without a fix")
	}
	if x.wrapped > 0 {
		p.note("info", counted(x.wrapped, "longitude", "longitudes")+" brought into ±180°", "written beyond the antimeridian")
	}
	if x.badHeights > 0 {
		p.note("info", counted(x.badHeights, "height", "heights")+" left out", "no numbers")
	}
	if x.lostMarks > 0 {
		p.note("info", counted(x.lostMarks, "waypoint", "waypoints")+" left out", "without a time they are no part of the ride")
	}
	if x.plain {
		return
	}
	p.sum.ZoneKnown = x.unzoned == 0
	if x.unzoned > 0 {
		p.note("caution", "local time without zone", "read as UTC unless another file tells better")
	}
}

// levelFor is the level of a note about n of total samples: 1 % is a hiccup, more a fault of the device.
func levelFor(n, total int) string {
	if n*100 <= total {
		return "info"
	}
	return "caution"
}

// sortSegments brings whole segments into the order of their times: files that gather several
// tracks list them in any order.
func (pl *places) sortSegments() {
	type span struct{ from, to int }
	var spans []span
	sorted := true
	for i := range pl.t {
		if i == 0 || pl.segment[i] != pl.segment[i-1] {
			spans = append(spans, span{i, i})
			sorted = sorted && (i == 0 || pl.t[i] > pl.t[i-1])
		}
		spans[len(spans)-1].to = i + 1
	}
	if sorted {
		return
	}
	slices.SortStableFunc(spans, func(a, b span) int { return compare(pl.t[a.from], pl.t[b.from]) })
	var out places
	for n, s := range spans {
		out.t = append(out.t, pl.t[s.from:s.to]...)
		out.lat = append(out.lat, pl.lat[s.from:s.to]...)
		out.lon = append(out.lon, pl.lon[s.from:s.to]...)
		out.height = append(out.height, pl.height[s.from:s.to]...)
		out.speed = append(out.speed, pl.speed[s.from:s.to]...)
		for range s.to - s.from {
			out.segment = append(out.segment, n)
		}
	}
	*pl = out
}

func (pl *places) drop(i []int) {
	pl.t = without(pl.t, i)
	pl.lat = without(pl.lat, i)
	pl.lon = without(pl.lon, i)
	pl.height = without(pl.height, i)
	pl.speed = without(pl.speed, i)
	pl.segment = without(pl.segment, i)
}

func (x *fixes) placeMarks() {
	for _, s := range x.stamped {
		if s.timed {
			if !x.p.known {
				x.p.known, x.p.base = true, s.when
			}
			s.mark.AtS = s.when.since(x.p.base)
		}
		x.p.marks = append(x.p.marks, s.mark)
	}
}

// mostFilled is the share of the fixes that may lack a height or speed.
const mostFilled = 0.05

func missing(v []float64) (n int) {
	for _, x := range v {
		if math.IsNaN(x) {
			n++
		}
	}
	return n
}

// filled makes a channel whole, or nil where too much of it is absent. Up to mostFilled
// of the fixes may lack it, as the first of a ride often does; these take the value between
// their neighbours. n is how many did.
func filled(t, v []float64) (whole []float64, n int) {
	n = missing(v)
	if float64(n) > mostFilled*float64(len(v)) {
		return nil, n
	}
	if n == 0 {
		return v, 0
	}
	last := -1
	for i := 0; i <= len(v); i++ {
		if i < len(v) && math.IsNaN(v[i]) {
			continue
		}
		for k := last + 1; k < i; k++ {
			switch {
			case last < 0:
				v[k] = v[i]
			case i == len(v):
				v[k] = v[last]
			default:
				v[k] = v[last] + (v[i]-v[last])*(t[k]-t[last])/(t[i]-t[last])
			}
		}
		last = i
	}
	return v, n
}
