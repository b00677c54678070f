package course

import (
	"fmt"
	"math"
)

// gravityMS2 is standard gravity (CGPM 1901).
const gravityMS2 = 9.80665

// How hard a turn is told by its lean, atan(v²/(R g)): the physics is plain, but no published
// minimum radius for a horse between fences was found, so these angles are ours. At 350 m/min they are
// radii of 9.5 m and 6.0 m, at which a horse turns 35° and 56° a second.
const (
	usualLeanDeg    = 20.0 // of a turn that is ridden without asking for anything
	tightestLeanDeg = 30.0 // of a turn that may be planned; 0.58 of the body's weight sideways
)

// usualSpeedMMin is the speed of a plan that gives none: the most usual in the rule
// books (Luxembourg federation §504.3; Dutch federation's young-horse classes).
const usualSpeedMMin = 350.0

// Straight ways that a planned track keeps in line with an obstacle, in canter strides: one
// after the landing, two before the take-off, as riders are taught (common practice, from memory).
const (
	straightAfterStrides  = 1.0
	straightBeforeStrides = 2.0
)

// TurnRadiusM is the radius of the turn in which a body at speedMS leans leanDeg from the
// upright: v²/(g tan lean). Both must be positive, the lean below 90°.
func TurnRadiusM(speedMS, leanDeg float64) float64 {
	return speedMS * speedMS / (gravityMS2 * math.Tan(leanDeg*math.Pi/180))
}

// LeanDeg is the lean from the upright in a turn of radiusM at speedMS: atan(v²/(R g)). Horses lean
// about a degree less (Brocklehurst, Weller and Pfau 2014).
func LeanDeg(speedMS, radiusM float64) float64 {
	return math.Atan(speedMS*speedMS/(radiusM*gravityMS2)) * 180 / math.Pi
}

// Piece is a straight or an arc of a track.
type Piece struct {
	From       Point
	BearingDeg float64 // at From, [0, 360)
	LengthM    float64
	// Curvature1M is one over the radius, right positive; 0 on a straight.
	Curvature1M float64
}

// At is the place and bearing d metres into the piece.
func (p Piece) At(d float64) (Point, float64) {
	if p.Curvature1M == 0 {
		return along(p.From, p.BearingDeg, d), p.BearingDeg
	}
	turned := d * p.Curvature1M * 180 / math.Pi
	// The chord of an arc points half way between the bearings of its ends.
	chord := 2 / p.Curvature1M * math.Sin(d*p.Curvature1M/2)
	to := math.Mod(p.BearingDeg+turned, 360)
	if to < 0 {
		to += 360
	}
	return along(p.From, p.BearingDeg+turned/2, chord), to
}

// Path is a way along the ground: pieces that follow each other without a corner.
type Path []Piece

// LengthM is the length of the whole path.
func (p Path) LengthM() float64 {
	var l float64
	for _, q := range p {
		l += q.LengthM
	}
	return l
}

// At is the place and bearing d metres along the path; beyond its ends it goes straight on.
func (p Path) At(d float64) (Point, float64) {
	if d < 0 {
		return along(p[0].From, p[0].BearingDeg, d), p[0].BearingDeg
	}
	for _, q := range p {
		if d <= q.LengthM {
			return q.At(d)
		}
		d -= q.LengthM
	}
	at, b := p[len(p)-1].At(p[len(p)-1].LengthM)
	return along(at, b, d), b
}

// TurnedDeg is all that the path turns to the right less all to the left, and the sum of both.
func (p Path) TurnedDeg() (net, total float64) {
	for _, q := range p {
		t := q.LengthM * q.Curvature1M * 180 / math.Pi
		net += t
		total += math.Abs(t)
	}
	return net, total
}

// TightestM is the smallest radius of the path; +Inf for a straight one.
func (p Path) TightestM() float64 {
	var c float64
	for _, q := range p {
		if q.LengthM > 1e-9 {
			c = max(c, math.Abs(q.Curvature1M))
		}
	}
	return 1 / c
}

// outsideM is how far the path leaves the ring, 0 when it stays inside; it is looked at every half metre.
func (p Path) outsideM(ring []Point) float64 {
	if ring == nil {
		return 0
	}
	var worst float64
	for _, q := range p {
		n := int(math.Ceil(q.LengthM/0.5)) + 1
		for i := 0; i <= n; i++ {
			at, _ := q.At(q.LengthM * float64(i) / float64(n))
			if inside(ring, at) {
				continue
			}
			least := math.Inf(1)
			for j, a := range ring {
				least = min(least, toSegment(at, a, ring[(j+1)%len(ring)]))
			}
			worst = max(worst, least)
		}
	}
	return worst
}

// turns are the ways from one place and bearing to another by arcs of one radius with a straight
// between them: the four of Dubins (1957) that have a straight, in the order LSL, RSR, LSR, RSL; nil where
// one does not exist. His other two, of three arcs, double back like no rider does.
func turns(from Point, fromDeg float64, to Point, toDeg, radiusM float64) (out [4]Path) {
	for way, sides := range [][2]float64{{-1, -1}, {1, 1}, {-1, 1}, {1, -1}} { // right positive
		first, second := sides[0], sides[1]
		c1, c2 := along(from, fromDeg+90*first, radiusM), along(to, toDeg+90*second, radiusM)
		d, b := distance(c1, c2), bearing(c1, c2)
		straight, heading := d, b
		if first != second {
			// The inner tangent of two equal circles.
			if d < 2*radiusM {
				continue
			}
			straight = math.Sqrt(d*d - 4*radiusM*radiusM)
			heading = b + first*math.Asin(2*radiusM/d)*180/math.Pi
		} else if d < 1e-9 {
			heading = fromDeg
		}
		arc1 := turnAngle(first * (heading - fromDeg))
		arc2 := turnAngle(second * (toDeg - heading))
		p := Path{}
		at, deg := from, fromDeg
		for _, q := range []Piece{
			{LengthM: arc1 * math.Pi / 180 * radiusM, Curvature1M: first / radiusM},
			{LengthM: straight},
			{LengthM: arc2 * math.Pi / 180 * radiusM, Curvature1M: second / radiusM},
		} {
			q.From, q.BearingDeg = at, math.Mod(math.Mod(deg, 360)+360, 360)
			if q.LengthM > 1e-9 {
				p = append(p, q)
				at, deg = q.At(q.LengthM)
			}
		}
		out[way] = p
	}
	return out
}

// turnAngle brings an angle into [0, 360); a full circle that is only rounding is none.
func turnAngle(deg float64) float64 {
	deg = math.Mod(deg, 360)
	if deg < 0 {
		deg += 360
	}
	if deg > 360-1e-7 {
		return 0
	}
	return deg
}

// Leg is the planned track of one way: from the middle of one obstacle to the middle of the next,
// or from the start line to the first, or from the last to the finish line.
type Leg struct {
	From, To string // "start" and "finish" for the lines
	Path     Path
	// RadiusM is the radius that its turns were planned with.
	RadiusM float64
	// OutsideM is how far the track leaves the arena; 0 if it fits, or without a boundary.
	OutsideM float64
	// Through are the obstacles that the track runs through all the same.
	Through []string
	// AfterM and BeforeM are the straights that it keeps behind From and in front of To, from the
	// obstacle's edge.
	AfterM, BeforeM float64
}

// Track is the line that a horse would normally follow round the course.
type Track struct {
	Legs []Leg
	// LengthM is the whole length, not rounded; the rule books tell it in whole metres.
	LengthM float64
	// FromStart and ToFinish tell whether the plan has these lines; without them the track begins or
	// ends in the middle of an obstacle.
	FromStart, ToFinish bool
}

// PlanTrack is a rideable line through the middle of every obstacle of the route, which is what
// the length of a course is measured on (Royal Dutch federation, art. 204.1): straight in front of and behind
// each obstacle, arcs and straights in between, in the arena. The arcs have the radius of an easy
// turn at the plan's speed; where that finds no room, the track has less straight and tighter
// arcs down to the tightest sensible ones, and OutsideM tells by how much even these leave the
// arena. strideM is the length of a canter stride.
func (p *Plan) PlanTrack(strideM float64) Track {
	speedMS := p.speedMS()
	var t Track
	var stops []Obstacle
	for _, id := range p.Route {
		o, ok := p.Obstacle(id)
		if !ok {
			panic(fmt.Sprintf("course: route has %q, which is no obstacle", id))
		}
		stops = append(stops, o)
	}
	if len(stops) == 0 {
		return t
	}
	if p.Start != nil {
		first := gateAsObstacle("start", *p.Start, stops[0].At, false)
		t.Legs = append(t.Legs, p.planLeg(first, stops[0], speedMS, strideM))
		t.FromStart = true
	}
	for i := 1; i < len(stops); i++ {
		t.Legs = append(t.Legs, p.planLeg(stops[i-1], stops[i], speedMS, strideM))
	}
	if p.Finish != nil {
		last := gateAsObstacle("finish", *p.Finish, stops[len(stops)-1].At, true)
		t.Legs = append(t.Legs, p.planLeg(stops[len(stops)-1], last, speedMS, strideM))
		t.ToFinish = true
	}
	for _, l := range t.Legs {
		t.LengthM += l.Path.LengthM()
	}
	return t
}

// gateAsObstacle is a start or finish line crossed at its middle, square, towards or away from the
// obstacle next to it.
func gateAsObstacle(id string, line [2]Point, next Point, away bool) Obstacle {
	mid := Point{(line[0].X + line[1].X) / 2, (line[0].Y + line[1].Y) / 2}
	want := bearing(mid, next)
	if away {
		want += 180
	}
	facing := bearing(line[0], line[1]) + 90
	if math.Abs(turnDeg(facing, want)) > 90 {
		facing += 180
	}
	return Obstacle{ID: id, At: mid, FacingDeg: math.Mod(facing, 360)}
}

// Way is the planned way from the middle of a to the middle of b, two obstacles of the plan that the
// route need not have in this order; a and b may be the same. See [Plan.PlanTrack].
func (p *Plan) Way(a, b Obstacle, strideM float64) Leg { return p.planLeg(a, b, p.speedMS(), strideM) }

// planLeg is the way from the middle of a to the middle of b.
func (p *Plan) planLeg(a, b Obstacle, speedMS, strideM float64) Leg {
	usual, tightest := TurnRadiusM(speedMS, usualLeanDeg), TurnRadiusM(speedMS, tightestLeanDeg)
	best, least := Leg{From: a.ID, To: b.ID}, math.Inf(1)
	// Straight gives way before the radius: a horse can straighten in the air sooner than turn on a
	// plate. A rider gives up half a straight rather than ride 15 m more to keep it, goes 15 m round rather
	// than through another obstacle, and does rather anything than leave the arena.
	const levelM, throughM, outsideFactor = 15, 15, 100
	for level, try := range []struct{ straight, tight float64 }{{1, 0}, {0.5, 0}, {0.5, 0.5}, {0.25, 0.5}, {0.5, 1}, {0.25, 1}, {0, 1}} {
		l := Leg{From: a.ID, To: b.ID, RadiusM: usual + try.tight*(tightest-usual),
			AfterM: try.straight * straightAfterStrides * strideM, BeforeM: try.straight * straightBeforeStrides * strideM}
		if room := distance(a.At, b.At) - a.SpreadM/2 - b.SpreadM/2; l.AfterM+l.BeforeM > room && distance(a.At, b.At) > samePlaceM {
			l.AfterM, l.BeforeM = max(0, room/3), max(0, room*2/3)
		}
		for _, path := range paths(a, b, l.AfterM, l.BeforeM, l.RadiusM) {
			if path == nil {
				continue
			}
			if path.LengthM()+float64(level)*levelM >= least {
				continue // dearer already, before it is looked at where it leads
			}
			l.Path, l.OutsideM = path, path.outsideM(p.Arena)
			l.Through = p.through(path, a.ID, b.ID)
			if cost := path.LengthM() + float64(level)*levelM + throughM*float64(len(l.Through)) + outsideFactor*l.OutsideM; cost < least {
				best, least = l, cost
			}
		}
	}
	return best
}

// through are the obstacles, other than its ends, whose face the path crosses.
func (p *Plan) through(path Path, from, to string) []string {
	var out []string
	for _, o := range p.Obstacles {
		if o.ID == from || o.ID == to || o.Kind == Pole {
			continue
		}
		face := faceOf(o)
		reach := o.WidthM/2 + 1
	pieces:
		for _, q := range path {
			if q.Curvature1M == 0 {
				end, _ := q.At(q.LengthM)
				if segmentsMeet(q.From, end, face[0], face[1]) {
					out = append(out, o.ID)
					break
				}
				continue
			}
			// An arc is looked at metre by metre, and only where its circle comes near.
			if centre := along(q.From, q.BearingDeg+90, 1/q.Curvature1M); math.Abs(distance(centre, o.At)-1/math.Abs(q.Curvature1M)) > reach {
				continue
			}
			n := int(math.Ceil(q.LengthM))
			last := q.From
			for i := 1; i <= n; i++ {
				at, _ := q.At(q.LengthM * float64(i) / float64(n))
				if distance(at, o.At) < reach && segmentsMeet(last, at, face[0], face[1]) {
					out = append(out, o.ID)
					break pieces
				}
				last = at
			}
		}
	}
	return out
}

// faceOf are the two ends of an obstacle's face, left first as it is jumped.
func faceOf(o Obstacle) [2]Point {
	return [2]Point{along(o.At, o.FacingDeg-90, o.WidthM/2), along(o.At, o.FacingDeg+90, o.WidthM/2)}
}

// paths are the ways from the middle of a to the middle of b with these straights, from and to the
// obstacles' edges, and this radius, in the order of turns; nil where one does not exist.
func paths(a, b Obstacle, afterM, beforeM, radiusM float64) [4]Path {
	afterM += a.SpreadM / 2
	beforeM += b.SpreadM / 2
	from, to := along(a.At, a.FacingDeg, afterM), along(b.At, b.FacingDeg, -beforeM)
	ways := turns(from, a.FacingDeg, to, b.FacingDeg, radiusM)
	for i, mid := range ways {
		if mid == nil {
			continue
		}
		path := make(Path, 0, 5)
		if afterM > 0 {
			path = append(path, Piece{From: a.At, BearingDeg: a.FacingDeg, LengthM: afterM})
		}
		path = append(path, mid...)
		if beforeM > 0 {
			path = append(path, Piece{From: to, BearingDeg: b.FacingDeg, LengthM: beforeM})
		}
		ways[i] = path
	}
	return ways
}
