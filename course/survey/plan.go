package survey

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundline/course"
	"groundline/trace"
	"groundline/trace/geo"
)

// A start or finish of which one mark tells the middle gets this width (start and finish lines are commonly 6 to
// 15 m wide; from memory).
const gateWidthM = 10.0

// Sides of nine tenths of the longest are as good as it, by a receiver's marks (ours).
const sameSide = 0.9

// A ground frame: where the arena's (0, 0) lies, metres east and north, and the true bearing of +y.
type arenaFrame struct {
	origin course.Point
	deg    float64
}

func (f arenaFrame) to(p course.Point) course.Point {
	sin, cos := math.Sincos(f.deg * math.Pi / 180)
	e, n := p.X-f.origin.X, p.Y-f.origin.Y
	return course.Point{X: e*cos - n*sin, Y: e*sin + n*cos}
}

// plan puts the plan together from the adjusted places.
func (s *surveyor) plan() error {
	corners := s.corners()
	f := s.chooseFrame(corners)
	anchor, _ := s.frame.FromENU(f.origin.X, f.origin.Y, 0)
	p := &course.Plan{Name: s.tape.Name, Anchor: &course.Anchor{
		At:         geo.LatLon{LatDeg: roundTo(anchor.LatDeg, 8), LonDeg: roundTo(anchor.LonDeg, 8)}, // 1 mm
		BearingDeg: wrap360(roundTo(f.deg, 2))}}
	place := func(st station) course.Point { return rounded(f.to(st.place(s.adj.at))) }

	for _, c := range corners {
		p.Arena = append(p.Arena, place(c.station))
	}
	poles := map[string]bool{}
	for _, t := range s.things {
		switch t.what {
		case home, gate:
			at := place(t.station)
			if t.what == home {
				p.Home = &at
			} else {
				p.Gate = &at
			}
		case obstacle:
			p.Obstacles = append(p.Obstacles, course.Obstacle{ID: t.id, Kind: t.kind, At: place(t.station),
				HeightM: t.heightM, SpreadM: t.spreadM, WidthM: t.widthM})
			poles[t.id] = t.kind == course.Pole
		}
	}
	p.Route = slices.DeleteFunc(slices.Clone(s.route), func(id string) bool { return poles[id] })
	if len(p.Route) == 0 {
		return fmt.Errorf("%w but ground poles, which nobody jumps", ErrNothing)
	}
	s.facings(p, f)
	for _, t := range s.things {
		if t.what == start || t.what == finish {
			s.gateLine(t, p, f)
		}
	}
	s.levels(p, place)
	s.lines(p)
	s.doubts(p)
	s.Plan = p
	return s.readBack()
}

func roundTo(v float64, decimals int) float64 {
	k := math.Pow(10, float64(decimals))
	return math.Round(v*k)/k + 0 // + 0 makes -0 plain
}

func rounded(p course.Point) course.Point {
	return course.Point{X: roundTo(p.X, 2), Y: roundTo(p.Y, 2)}
}

// corners are the arena's, in the order walked or, where that crosses itself, round their middle; nil with fewer
// than three.
func (s *surveyor) corners() []*thing {
	var out []*thing
	for _, t := range s.things {
		if t.what == corner {
			out = append(out, t)
		}
	}
	if len(out) > 0 && len(out) < 3 {
		s.note("info", "an arena has three or more", "%d of the arena's corners marked: no boundary", len(out))
		return nil
	}
	if len(out) > 100 {
		s.note("warning", "a plan has 100 at most", "%d corners: no boundary", len(out))
		return nil
	}
	if at, _ := s.ring(out); crosses(at) {
		s.sortRound(out)
		s.note("info", "in the order walked its sides cross", "the arena's corners are taken in their order round its middle")
	}
	return out
}

// crosses tells that two sides of a ring cross.
func crosses(ring []course.Point) bool {
	side := func(p, q, r course.Point) bool { return (q.X-p.X)*(r.Y-p.Y) > (q.Y-p.Y)*(r.X-p.X) }
	n := len(ring)
	for i := range n {
		for j := i + 2; j < n; j++ {
			a, b, c, d := ring[i], ring[(i+1)%n], ring[j], ring[(j+1)%n]
			if (i > 0 || j < n-1) && side(a, b, c) != side(a, b, d) && side(c, d, a) != side(c, d, b) {
				return true
			}
		}
	}
	return false
}

// ring gives the adjusted corners, and their area, anticlockwise positive.
func (s *surveyor) ring(corners []*thing) (at []course.Point, area float64) {
	for _, c := range corners {
		at = append(at, c.station.place(s.adj.at))
	}
	for i, p := range at {
		q := at[(i+1)%len(at)]
		area += (p.X*q.Y - q.X*p.Y) / 2
	}
	return at, area
}

// sortRound puts corners in the order of their bearing from their middle, clockwise from the first.
func (s *surveyor) sortRound(corners []*thing) {
	at, _ := s.ring(corners)
	var middle course.Point
	for _, p := range at {
		middle.X += p.X / float64(len(at))
		middle.Y += p.Y / float64(len(at))
	}
	first := courseDeg(middle, at[0])
	deg := func(t *thing) float64 { return wrap360(courseDeg(middle, t.station.place(s.adj.at)) - first) }
	slices.SortStableFunc(corners[1:], func(a, b *thing) int {
		switch x, y := deg(a), deg(b); {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
}

// chooseFrame chooses the arena frame:
//
//   - With three corners or more +y runs along a long side with the arena to its right, and (0, 0) is the
//     corner where that side begins, so that the arena has x and y above zero. Of sides as long as the
//     longest it is the one at the corner marked first.
//   - With one or two corners (0, 0) is the first of them, with two +y runs to the second.
//   - Without corners (0, 0) is the first obstacle and +y is north.
func (s *surveyor) chooseFrame(corners []*thing) arenaFrame {
	if len(corners) >= 3 {
		at, area := s.ring(corners)
		if area > 0 { // clockwise has the arena to the right
			slices.Reverse(at)
		}
		first := slices.Index(at, corners[0].station.place(s.adj.at))
		n := len(at)
		length := func(i int) float64 { return math.Hypot(at[(i+1)%n].X-at[i%n].X, at[(i+1)%n].Y-at[i%n].Y) }
		best := 0
		for i := range n {
			if length(i) > length(best) {
				best = i
			}
		}
		for _, i := range []int{first, (first + n - 1) % n} { // from the first corner, or to it
			if length(i) > sameSide*length(best) {
				best = i
				break
			}
		}
		s.Frame = "(0, 0) is a corner of the arena, +y along its long side, the arena to the right"
		return arenaFrame{at[best], roundTo(courseDeg(at[best], at[(best+1)%n]), 2)}
	}
	var some []*thing
	for _, t := range s.things {
		if t.what == corner {
			some = append(some, t)
		}
	}
	switch {
	case len(some) == 2 && apart(s.marks[some[0].first[0]], s.marks[some[1].first[0]]) > faceMostM:
		a, b := some[0].station.place(s.adj.at), some[1].station.place(s.adj.at)
		s.Frame = "(0, 0) is the first corner, +y towards the second"
		return arenaFrame{a, roundTo(courseDeg(a, b), 2)}
	case len(some) > 0:
		s.Frame = "(0, 0) is the marked corner, +y is north"
		return arenaFrame{origin: some[0].station.place(s.adj.at)}
	}
	s.Frame = "(0, 0) is obstacle " + s.route[0] + ", +y is north"
	return arenaFrame{origin: s.obstacle[s.route[0]].station.place(s.adj.at)}
}

// facings sets every obstacle's facing.
//
// Where both ends of a face were marked, it is square to the face, and left and right or least turning say which
// way. Ends a few metres apart by a receiver tell the axis to some 20° only, and the order to some 15°: where both
// agree within their doubt, the facing is their weighted mean. Ends of a survey receiver have all the weight.
func (s *surveyor) facings(p *course.Plan, f arenaFrame) {
	var route []visit
	for _, id := range s.route {
		route = append(route, visit{id, f.to(s.obstacle[id].station.place(s.adj.at))})
	}
	worse := s.endsWorse()
	for i := range p.Obstacles {
		o := &p.Obstacles[i]
		t := s.obstacle[o.ID]
		nth := slices.Index(s.route, o.ID)
		deg, how, doubtful := facingAt(route, nth)
		known := neighbours(route) // else there is no order
		out := Obstacle{ID: o.ID, FacingFrom: how, Doubtful: doubtful}
		if sd := orderSDDeg(doubtful); known {
			out.FacingSDDeg = &sd
		}
		if t.ends != nil {
			square := wrap360(courseDeg(f.to(s.adj.at[t.ends[0]]), f.to(s.adj.at[t.ends[1]])) - 90)
			forward, either := leastTurn(route, nth, square)
			if how == alongCombination {
				forward = math.Abs(turned(square, deg)) <= 90
			}
			out.FacingFrom = "face and order"
			switch {
			case t.sided:
				out.FacingFrom = "face, left and right"
				against := !forward && !either
				if either = false; against {
					s.note("caution", "left and right are as jumped", "obstacle %s: its ends say that it is jumped against the order walked", t.id)
					s.check("which end of obstacle %s is the left one as it is jumped", t.id)
				}
			case !forward:
				square = wrap360(square + 180)
			}
			deg = s.faceFacing(t, square, deg, worse, &out)
			out.Doubtful = out.Doubtful || either
		}
		o.FacingDeg = wrap360(roundTo(deg, 1))
		s.Obstacles = append(s.Obstacles, out)
	}
}

// neighbours tells that a route has two obstacles in two places, so that its order has a direction.
func neighbours(route []visit) bool {
	return slices.ContainsFunc(route, func(v visit) bool {
		return math.Hypot(v.at.X-route[0].at.X, v.at.Y-route[0].at.Y) >= samePlaceM
	})
}

// faceFacing is the facing of an obstacle whose face lies square to a bearing; orderDeg is what the order says, of
// the doubt in out; worse is by how much the ends err more than assumed.
func (s *surveyor) faceFacing(t *thing, square, orderDeg, worse float64, out *Obstacle) float64 {
	sd := s.axisSDDeg(*t.ends, worse)
	doubtful := false
	if out.FacingSDDeg != nil {
		order := *out.FacingSDDeg
		both := math.Hypot(sd, order)
		if off := turned(square, orderDeg); math.Abs(off) < min(2*both, agreeMostDeg) {
			square = wrap360(square + off*sd*sd/(both*both))
			sd *= order / both
		} else {
			doubtful = sd > preciseDeg
		}
	}
	out.FacingSDDeg, out.Doubtful = &sd, doubtful || sd > doubtfulDeg
	return square
}

const (
	// Farther apart than this face and order say different things, however doubtful either is (ours).
	agreeMostDeg = 60.0
	// A face known better than this needs no order to agree (ours).
	preciseDeg = 5.0
	// A facing of a larger standard deviation is called doubtful: nine times in ten it is within 50° (ours).
	doubtfulDeg = 30.0
)

// orderSDDeg is how far the order alone tells a facing: on 59 invented courses, made without this rule, it is off by
// 7° in the middle, 16° in three cases of four and 27° in nine of ten; where it says itself that it is doubtful, by
// more than 20° in one of five, some of these wholly.
func orderSDDeg(doubtful bool) float64 {
	if doubtful {
		return 40
	}
	return 15
}

// axisSDDeg is the standard deviation of the direction from one mark to another, degrees, at most 90.
func (s *surveyor) axisSDDeg(ends [2]int, worse float64) float64 {
	d, across := s.faceM(ends)
	return min(90, math.Atan2(across*worse, d)*180/math.Pi)
}

// faceM is the distance of two marks, and the standard deviation of one against the other across it, metres.
func (s *surveyor) faceM(ends [2]int) (d, acrossM float64) {
	a, b := s.adj.at[ends[0]], s.adj.at[ends[1]]
	ux, uy := b.X-a.X, b.Y-a.Y
	d = math.Hypot(ux, uy)
	if d < 1e-6 {
		return 0, 1
	}
	return d, math.Sqrt(s.adj.variance([]slope{{2 * ends[0], uy / d}, {2*ends[0] + 1, -ux / d}, {2 * ends[1], -uy / d}, {2*ends[1] + 1, ux / d}}))
}

const (
	// So many faces tell how well the receiver knows two ends from each other, by their width, which is known
	// to so much without a tape (poles are 3 to 4 m long; common practice).
	worseFaces, widthSDM = 4, 0.4
)

// endsWorse is by how much the ends of faces err more than the receiver's model says, by their widths: 1 or more.
// A receiver whose error changes from mark to mark is known by it.
func (s *surveyor) endsWorse() float64 {
	sum, n := 0.0, 0.0
	for _, t := range s.things {
		if t.what == obstacle && t.ends != nil {
			d, sd := s.faceM(*t.ends)
			e := d - t.widthM
			sum += e * e / (sd*sd + widthSDM*widthSDM)
			n++
		}
	}
	if n < worseFaces {
		return 1
	}
	return max(1, math.Sqrt(sum/n))
}

// gateLine makes a start or finish line.
func (s *surveyor) gateLine(t *thing, p *course.Plan, f arenaFrame) {
	name := word(t.what == start, "start", "finish")
	at := f.to(t.station.place(s.adj.at))
	var ends [2]course.Point
	if len(t.first) == 2 && apart(s.marks[t.first[0]], s.marks[t.first[1]]) > doubleM {
		ends = [2]course.Point{rounded(f.to(s.adj.at[t.first[0]])), rounded(f.to(s.adj.at[t.first[1]]))}
	} else {
		// Square to the way to the first obstacle or from the last.
		id := p.Route[0]
		if t.what == finish {
			id = p.Route[len(p.Route)-1]
		}
		o, _ := p.Obstacle(id)
		deg := courseDeg(at, o.At) + 90
		if math.Hypot(at.X-o.At.X, at.Y-o.At.Y) < doubleM {
			deg = o.FacingDeg + 90
		}
		sin, cos := math.Sincos(deg * math.Pi / 180)
		ends = [2]course.Point{
			rounded(course.Point{X: at.X - gateWidthM/2*sin, Y: at.Y - gateWidthM/2*cos}),
			rounded(course.Point{X: at.X + gateWidthM/2*sin, Y: at.Y + gateWidthM/2*cos})}
		s.note("caution", "one mark tells its middle only", "the %s line is drawn %.0f m wide, square to the way to obstacle %s", name, gateWidthM, id)
		s.check("the ends of the %s line", name)
	}
	if t.what == start {
		p.Start = &ends
	} else {
		p.Finish = &ends
	}
}

// levels are the heights of the ground, from names and from the tape file, which is believed where both tell.
func (s *surveyor) levels(p *course.Plan, place func(station) course.Point) {
	taped := map[course.Point]bool{}
	for _, l := range s.tape.Levels {
		st, _, _ := s.station(l.At)
		at := place(st)
		if taped[at] {
			s.note("caution", "the first is believed", "the height at %s is given twice", l.At)
			continue
		}
		taped[at] = true
		p.Levels = append(p.Levels, course.Spot{X: at.X, Y: at.Y, Z: roundTo(l.ZM, 3)})
	}
	for _, t := range s.things {
		if t.zM == nil {
			continue
		}
		if at := place(t.station); !taped[at] {
			p.Levels = append(p.Levels, course.Spot{X: at.X, Y: at.Y, Z: roundTo(*t.zM, 3)})
		}
	}
	if n := len(p.Levels); n > 0 && n < 3 {
		s.note("info", "a slope needs three", "%d heights of the ground", n)
	}
}

// lines takes believed tapes over as walked distances: where a way was taped more than once, their mean. Paces are
// not: a plan believes what was walked over its map, and the adjusted map knows better than paces.
func (s *surveyor) lines(p *course.Plan) {
	if s.tape.Paced && len(s.Tapes) > 0 {
		s.note("info", "the places, adjusted to them, are better", "paced distances are not written as walked")
	}
	var meant []course.Line
	for i := 1; i < len(p.Route); i++ {
		from, to := p.Route[i-1], p.Route[i]
		if slices.ContainsFunc(meant, func(l course.Line) bool { return l.From == from && l.To == to }) {
			continue
		}
		sum, n := 0.0, 0
		for _, t := range s.Tapes {
			a, b := understand(t.From), understand(t.To)
			if t.Out || a.what != obstacle || b.what != obstacle || a.side+b.side != "" || s.tape.Paced {
				continue
			}
			if a.id == from && b.id == to || a.id == to && b.id == from {
				sum += t.MeasuredM
				n++
			}
		}
		if n > 0 {
			walked := roundTo(sum/float64(n), 2)
			meant = append(meant, course.Line{From: from, To: to, WalkedM: &walked})
		}
	}
	p.SetLines(meant)
}

// doubts fills the standard deviations of places and lines, and what to check because of them.
func (s *surveyor) doubts(p *course.Plan) {
	var middle []weighted // of all obstacles, as what is common to all drops out when the plan is placed
	for i := range s.Obstacles {
		for _, v := range s.obstacle[s.Obstacles[i].ID].station {
			middle = append(middle, weighted{v.mark, -v.w / float64(len(s.Obstacles))})
		}
	}
	var doubtful, kinds []string
	for i := range s.Obstacles {
		o := &s.Obstacles[i]
		t := s.obstacle[o.ID]
		o.PlaceSDM = s.placeSDM(append(slices.Clone(middle), t.station...))
		if o.Doubtful {
			doubtful = append(doubtful, o.ID)
		}
		if !t.kindGiven {
			kinds = append(kinds, o.ID)
		}
	}
	if len(doubtful) > 0 {
		s.check("in which direction %s %s jumped", list(doubtful), word(len(doubtful) == 1, "is", "are"))
	}
	if len(kinds) > 0 {
		s.note("info", "the names do not say", "%s written as vertical", list(kinds))
		s.check("the kind, height and spread of %s", list(kinds))
	}
	for _, l := range p.Lines {
		from, to := s.obstacle[l.From], s.obstacle[l.To]
		way := tie{from: from.station, to: to.station}
		sd := math.Sqrt(s.adj.variance(gradient(s.adj.at, way)))
		d := between(s.adj.at, way) - from.spreadM/2 - to.spreadM/2
		e := trace.FromSD(max(0, d), sd)
		e.Low = max(0, e.Low)
		s.Lines = append(s.Lines, Line{l.From, l.To, e})
	}
}

// placeSDM is the standard deviation of a sum of marks in the worse direction: the larger axis of its error ellipse.
func (s *surveyor) placeSDM(sum []weighted) float64 {
	along := func(x, y float64) float64 {
		var g []slope
		for _, v := range sum {
			g = append(g, slope{2 * v.mark, v.w * x}, slope{2*v.mark + 1, v.w * y})
		}
		return s.adj.variance(g)
	}
	xx, yy, diagonal := along(1, 0), along(0, 1), along(math.Sqrt2/2, math.Sqrt2/2)
	xy := diagonal - (xx+yy)/2
	return math.Sqrt((xx+yy)/2 + math.Hypot((xx-yy)/2, xy))
}

func list(ids []string) string {
	const most = 12
	if len(ids) > most {
		return fmt.Sprintf("obstacles %s and %d more", strings.Join(ids[:most], ", "), len(ids)-most)
	}
	return word(len(ids) == 1, "obstacle ", "obstacles ") + strings.Join(ids, ", ")
}

// readBack makes sure that the plan reads back without fault. A boundary that is none is left out.
func (s *surveyor) readBack() error {
	_, _, err := course.ReadPlan("the plan", course.WritePlan(s.Plan))
	var faults course.Faults
	if !errors.As(err, &faults) {
		return err
	}
	if i := slices.IndexFunc(faults, func(f course.Fault) bool { return strings.HasPrefix(f.Field, "arena") }); i >= 0 {
		s.Plan.Arena = nil
		s.note("warning", faults[i].Found, "the marked corners make no boundary; it is left out")
		s.check("the corners of the arena")
		_, _, err = course.ReadPlan("the plan", course.WritePlan(s.Plan))
	}
	return err
}
