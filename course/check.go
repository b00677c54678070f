package course

import (
	"fmt"
	"math"
	"strings"

	"groundline/trace"
)

// The rule texts that the checks quote. They differ by federation and year: a warning is a hint to
// look, and the instructor on the ground decides.
const (
	lengthRule       = "Royal Dutch federation art. 204.5; Luxembourg federation §504.2"
	startRule        = "at most 15 m, Royal Dutch federation art. 204.6; 3.6 m before the first and 7.3 m after the last at least, quarter-horse rule 459"
	sizeRule         = "Royal Dutch federation art. 208; Luxembourg federation §504"
	combinationRule  = "Luxembourg federation §508.1"
	combinationClass = "up to the lower medium class, Luxembourg federation §504.1"
	speedRule        = "Luxembourg federation §504.3 and §363"
	ponyRule         = "UK reports of ponies on horse distances; US Equestrian's note to its chart"
	turnPhysics      = "lean = atan(v²/(R g)); no published minimum radius was found"
)

const (
	maxLengthPerObstacleM           = 60.0
	startMostM, startLeastM         = 15.0, 3.6
	finishLeastM                    = 7.3
	heightMostM, spreadMostM        = 1.70, 2.00
	tripleBarMostM, waterMostM      = 2.20, 4.00
	heightToleranceM                = 0.05
	spreadToleranceM                = 0.10
	slowestUsualMMin, fastestUsual  = 300.0, 400.0
	offWholeStrides                 = 0.35 // from a whole number: about half a stride is no number at all (ours)
	tightToldDeg                    = 25.0 // half way from an easy turn's lean to the tightest that is planned
	outsideToldM                    = 0.1
	tapeM                           = 0.005 // distances are told to the centimetre
	straightLeastStrides            = 1.0   // in front of a fence (ours, half of what riders are taught)
	singleElementMost, doubleLeastM = 8.0, 10.0
	doubleMostM                     = 11.0
	ponySingleMostM                 = 7.5
	ponyDoubleLeastM, ponyDoubleM   = 9.5, 10.3
)

// Check warns of what published rules, tables or physics speak against in a plan that can be read: distances
// of combinations and lines for this size of horse, room to turn and to approach, sizes of
// obstacles, start and finish, the length of the course, its speed. track is from
// [Plan.PlanTrack]. What is wrong with the file itself, and obstacles outside the arena, [ReadPlan] tells.
func (p *Plan) Check(track Track, horse Profile) []Warning {
	var out []Warning
	warn := func(field, source, why, format string, args ...any) {
		out = append(out, Warning{Field: field, What: fmt.Sprintf(format, args...), Why: why, Source: source})
	}
	for _, o := range p.Obstacles {
		p.checkObstacle(o, warn)
	}
	for i, l := range p.Lines {
		p.checkDistance(l, horse, warn)
		p.checkRoom(l.From, l.To, track.leg(i), horse, warn)
	}
	p.checkEnds(track, horse, warn)
	if n := p.Numbered(); n > 0 && math.Round(track.LengthM) > maxLengthPerObstacleM*float64(n) {
		warn("track", lengthRule, "a course should not be longer than 60 m for each obstacle",
			"%.0f m for %d obstacles", track.LengthM, n)
	}
	if p.SpeedMMin > 0 && (p.SpeedMMin < slowestUsualMMin || p.SpeedMMin > fastestUsual) {
		warn("speed", speedRule, "rule books have 300 to 400 m/min", "%v m/min", p.SpeedMMin)
	}
	return out
}

type warner func(field, source, why, format string, args ...any)

func (p *Plan) checkObstacle(o Obstacle, warn warner) {
	name := "obstacle " + o.ID
	if o.HeightM > heightMostM+heightToleranceM {
		warn(name, sizeRule, "no class is higher than 1.70 m", "%.2f m high", o.HeightM)
	}
	most := spreadMostM
	switch o.Kind {
	case TripleBar:
		most = tripleBarMostM
	case Water, Ditch:
		most = waterMostM
	}
	if o.SpreadM > most+spreadToleranceM {
		warn(name, sizeRule, fmt.Sprintf("no class has a wider %s than %.2f m", o.Kind, most), "%.2f m wide from front to back", o.SpreadM)
	}
	face := faceOf(o)
	if p.Arena != nil && inside(p.Arena, o.At) && !(inside(p.Arena, face[0]) && inside(p.Arena, face[1])) {
		warn(name, "", "place, width or boundary is wrong", "its face of %.1f m reaches out of the arena", o.WidthM)
	}
	for _, other := range p.Obstacles {
		if other.ID == o.ID {
			break // each pair once, in the order of the file
		}
		f := faceOf(other)
		if o.At != other.At && segmentsMeet(face[0], face[1], f[0], f[1]) {
			warn(name, "", "one of the places is wrong", "its face crosses that of obstacle %s", other.ID)
		}
	}
}

// isPony tells the profiles of ponies, for which rules and tables have their own distances.
func (h Profile) isPony() bool { return strings.HasSuffix(h.Name, "pony") }

func (p *Plan) checkDistance(l Line, horse Profile, warn warner) {
	d, name := l.DistanceM(), "line "+l.From+"-"+l.To
	if l.Kind == Combination {
		switch {
		case d < combinationMinM-tapeM || d > combinationMaxM+tapeM:
			warn(name, combinationRule, "elements of a combination stand 6.50 to 12.00 m apart", "%.2f m", d)
		case horse.isPony() && (d > ponySingleMostM+tapeM && d < ponyDoubleLeastM-tapeM || d > ponyDoubleM+tapeM):
			warn(name, combinationClass, "pony classes have 6.50 to 7.50 m or 9.50 to 10.30 m", "%.2f m", d)
		case !horse.isPony() && (d > singleElementMost+tapeM && d < doubleLeastM-tapeM || d > doubleMostM+tapeM):
			warn(name, combinationClass, "easier classes have 6.50 to 8.00 m or 10.00 to 11.00 m", "%.2f m", d)
		}
	}
	a, _ := p.Obstacle(l.From)
	b, _ := p.Obstacle(l.To)
	if out, in := bends(a, b); (l.Kind == Combination || l.Kind == Related) && !inLine(a, b) {
		warn(name, "", fmt.Sprintf("a %s line is straight, within %.0f°; facing, place or kind is wrong", l.Kind, inLineDeg),
			"leaves %.0f° and comes %.0f° off the straight way", math.Abs(out), math.Abs(in))
	}
	if l.Kind == Combination || l.Kind == Related {
		real := StridesIn(d, horse.StrideM, p.heightM(l))
		if math.Abs(real-math.Round(real)) > offWholeStrides {
			warn(name, ponyRule, "a distance between two numbers of strides asks for a stride that the horse does not have",
				"%.1f strides for a %s's stride of %.2f m", real, horse.Name, horse.StrideM)
		}
	}
}

func (p *Plan) checkRoom(from, to string, l Leg, horse Profile, warn warner) {
	name := from + "-" + to
	if l.OutsideM > outsideToldM {
		warn(name, turnPhysics, fmt.Sprintf("even turns of %.1f m radius, a lean of %.0f° at %.0f m/min, leave the arena", l.RadiusM, LeanDeg(p.speedMS(), l.RadiusM), p.speedMS()*60),
			"too little room to turn, by %.1f m", l.OutsideM)
	} else if lean := LeanDeg(p.speedMS(), l.RadiusM); !math.IsInf(l.Path.TightestM(), 0) && lean > tightToldDeg {
		warn(name, turnPhysics, fmt.Sprintf("a lean of %.0f° at %.0f m/min; an easy turn has %.0f°", lean, p.speedMS()*60, usualLeanDeg),
			"tight turns, of %.1f m radius", l.RadiusM)
	}
	a, okA := p.Obstacle(from)
	b, okB := p.Obstacle(to)
	if okB && !(okA && inLine(a, b)) && l.BeforeM < straightLeastStrides*horse.StrideM-tapeM {
		warn(name, "", "less than one stride straight; there is no published minimum", "only %.1f m straight in front of obstacle %s", l.BeforeM, to)
	}
	if len(l.Through) > 0 {
		warn(name, "", "the planned track finds no way round it", "the track runs through obstacle %s", strings.Join(l.Through, ", "))
	}
}

func (p *Plan) checkEnds(track Track, horse Profile, warn warner) {
	if len(p.Route) == 0 {
		return
	}
	first, _ := p.Obstacle(p.Route[0])
	last, _ := p.Obstacle(p.Route[len(p.Route)-1])
	if p.Start != nil {
		s := gateAsObstacle("start", *p.Start, first.At, false)
		d := mapM(s, first)
		switch {
		case math.Abs(turnDeg(first.FacingDeg, bearing(s.At, first.At))) > 90:
			warn("start", "", "it is crossed before the first obstacle is jumped", "it lies behind obstacle %s", first.ID)
		case d > startMostM+tapeM || d < startLeastM-tapeM:
			warn("start", startRule, "the start line is 3.6 to 15 m in front of the first obstacle", "%.1f m from obstacle %s", d, first.ID)
		}
		p.checkRoom("start", first.ID, track.Legs[0], horse, warn)
	}
	if p.Finish != nil {
		f := gateAsObstacle("finish", *p.Finish, last.At, true)
		d := mapM(last, f)
		switch {
		case math.Abs(turnDeg(last.FacingDeg, bearing(last.At, f.At))) > 90:
			warn("finish", "", "it is crossed after the last obstacle is jumped", "it lies in front of obstacle %s", last.ID)
		case d > startMostM+tapeM || d < finishLeastM-tapeM:
			warn("finish", startRule, "the finish line is 7.3 to 15 m behind the last obstacle", "%.1f m from obstacle %s", d, last.ID)
		}
		p.checkRoom(last.ID, "finish", track.Legs[len(track.Legs)-1], horse, warn)
	}
}

// Numbered is how many obstacles the route has as rule books count them: the lettered elements of a
// combination together are one (Royal Dutch federation art. 205.3).
func (p *Plan) Numbered() int {
	seen := map[string]bool{}
	for _, id := range p.Route {
		if n := number(id); n != "" {
			id = n
		}
		seen[id] = true
	}
	return len(seen)
}

// Cautions are what everybody who uses a plan's numbers should have read once.
func Cautions() []trace.Note {
	return []trace.Note{
		{Level: "caution", What: "The instructor on the ground decides.", Why: "Ground, weather, horse and rider change every distance, and no plan sees them."},
		{Level: "caution", What: "Distance tables are guides: watch the horse.", Why: "Height, ground, slope and stride change them (US Equestrian's note to its chart)."},
		{Level: "caution", What: "Wear a helmet with its harness fastened, and have somebody there when you jump.", Why: "Jumping alone is how small accidents become large ones."},
		{Level: "caution", What: "Stop while the horse jumps well.", Why: "Take-off, landing and clearance shrink over a long session (eight horses over 70 jumps)."},
	}
}
