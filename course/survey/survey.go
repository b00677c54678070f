// Package survey makes a course plan of what was taken on a course walk: waypoints or laps of a watch at the
// obstacles, and distances of a tape.
//
// A receiver's places are a metre or two off each, a tape is right to a hand's breadth: so the places are
// adjusted to the tape by least squares, and what fits neither is told. Names of marks say what stands there
// (see understand in names.go); the order walked says which way it is jumped (facing.go). The plan
// that comes out is a draft that names what it does not know.
package survey

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"groundline/course"
	"groundline/trace"
	"groundline/trace/geo"
)

// Options are the choices of a survey. The zero value suits a watch or phone.
type Options struct {
	// ReceiverSDM is the standard deviation of the receiver's places in either coordinate, metres; [ReceiverSDM]
	// when 0. An error common to all marks is not part of it.
	ReceiverSDM float64
}

// ReceiverSDM is the standard deviation of a mark's place in either coordinate, metres: watches and phones under
// open sky, less what is common to a walk of some minutes (stand-alone receivers of 1 and 10 Hz were off by up to
// 5.3 and 1.0 m in three cases of four: Gløersen et al. 2018).
const ReceiverSDM = 1.5

// Limits keep the adjustment, whose work grows with the cube of the marks, to a few seconds.
const (
	maxMarks  = 300
	farM      = 2000.0 // no course is so far across; 5 km is the most that a plan may have
	doubleM   = 1.5    // two marks nearer than this are one place, marked twice
	faceMostM = 8.0    // two marks farther apart are no face: the widest water is some 4.5 m, and receivers err
	endsMostM = 5.0    // unnamed marks nearer than this are the ends of a face: combinations begin at 6.5 m
	revisitM  = 6.5    // a place marked again is nearer than this, and half a face: 3 σ of two marks
)

// Survey is what became of a walk.
type Survey struct {
	Plan *course.Plan
	// Marks are all that were given, in the order walked.
	Marks []Mark
	// Obstacles are those of the plan, in its order.
	Obstacles []Obstacle
	// Tapes are the distances of the tape file, in its order; nil without one.
	Tapes []Tape
	// Lines are the ways of the route, as adjusted.
	Lines []Line
	// Frame says how the arena frame was chosen.
	Frame string
	// ReceiverSDM is the standard deviation that the receiver was given; ReceiverScale by how much the
	// tapes found it worse (1: not).
	ReceiverSDM, ReceiverScale float64
	// Redundancy is how many tapes took part; ChiSquared the weighted sum of squares, which is about as
	// large where all is well.
	Redundancy int
	ChiSquared float64
	// Notes tell what was taken for what, what was left out and what is doubtful.
	Notes []trace.Note
	// Checks are what to look at on the ground.
	Checks []string
}

// Mark is one mark and what became of it.
type Mark struct {
	Name   string // as given; "" without
	Became string // "obstacle 3", "left end of obstacle 3", "left out: …"
	StoodS float64
	// MovedM is by how much the tape moved it; nil where no tape reaches it.
	MovedM *float64
	// Off tells that tapes agree that the mark is not where it was meant.
	Off bool
}

// Obstacle is how an obstacle's place and facing came about.
type Obstacle struct {
	ID string
	// PlaceSDM is the standard deviation of its place in the worse direction, against the middle of all
	// obstacles.
	PlaceSDM float64
	// FacingSDDeg is that of its facing, where two ends tell it; nil where the order does.
	FacingSDDeg *float64
	FacingFrom  string // how the facing was found
	Doubtful    bool   // the facing may be quite another
}

// Tape is a measured distance and what the adjustment says of it.
type Tape struct {
	From, To  string
	MeasuredM float64
	SDM       float64
	// ResidualM is adjusted less measured.
	ResidualM float64
	// W is the normalised residual: beyond ±3.29 in one of a thousand right tapes.
	W float64
	// Redundancy is from 0, nothing checks this tape, to 1.
	Redundancy float64
	// DetectableM is the smallest misreading that would be found in four cases of five.
	DetectableM float64
	Out         bool     // not believed
	Rivals      []string // of one not believed: what could be wrong instead
}

// Line is a way of the route: back of the first to front of the second.
type Line struct {
	From, To string
	M        trace.Estimate
}

// ErrNothing is that a file has no mark that is an obstacle.
var ErrNothing = errors.New("no mark is an obstacle")

// surveyor is a survey being made.
type surveyor struct {
	Survey
	tape     *course.Tape
	marks    []mark // placed and understood
	frame    geo.Frame
	things   []*thing // in the order walked
	obstacle map[string]*thing
	route    []string
	faults   course.Faults
	net      network
	adj      adjustment
}

// mark is a mark that has a place.
type mark struct {
	given int // among Survey.Marks
	meaning
	atS float64
	at  course.Point // east and north, metres
}

// thing is what one or more marks stand for: an obstacle, a line, a corner, …
type thing struct {
	meaning
	first     []int   // marks of the first visit, indices of surveyor.marks
	again     []int   // and of later ones
	ends      *[2]int // left and right, as jumped, or just two where sided is false
	sided     bool
	widthM    float64
	spreadM   float64
	kindGiven bool
	sizeGiven bool
	station   station
}

// Make makes a plan of marks and a tape. tape may be nil. The error is a [course.Faults] where the tape file names what
// was never marked, [ErrNothing] where there is nothing to make a plan of.
//
// Where the track is there too, marks with a time and no place get theirs from it. Marks with a place
// and no time are taken in the order of their numbers where they have numbers.
func Make(rec *trace.Recording, tape *course.Tape, opt Options) (*Survey, error) {
	if opt.ReceiverSDM == 0 {
		opt.ReceiverSDM = ReceiverSDM
	}
	if !(opt.ReceiverSDM > 0) || math.IsInf(opt.ReceiverSDM, 0) {
		panic("survey: ReceiverSDM is no standard deviation")
	}
	s := &surveyor{tape: tape, obstacle: map[string]*thing{}}
	s.ReceiverSDM = opt.ReceiverSDM
	if tape == nil {
		s.tape = &course.Tape{}
	}
	if len(rec.Marks) > maxMarks {
		return nil, fmt.Errorf("%d marks, expected at most %d: one for each obstacle, end, corner or place", len(rec.Marks), maxMarks)
	}
	timed := s.place(rec)
	s.number()
	s.group()
	if len(s.route) == 0 {
		return nil, s.nothing(rec)
	}
	s.build()
	s.tie()
	if len(s.faults) > 0 {
		return nil, s.faults
	}
	s.adjust(opt, timed)
	if err := s.plan(); err != nil {
		return nil, err
	}
	return &s.Survey, nil
}

func (s *surveyor) nothing(rec *trace.Recording) error {
	if len(rec.Marks) == 0 {
		return fmt.Errorf("%w: the file has no waypoints, laps or marks at all", ErrNothing)
	}
	var why []string
	for _, m := range s.Marks {
		why = append(why, fmt.Sprintf("%s: %s", quoted(m.Name), m.Became))
		if len(why) == 5 && len(s.Marks) > 5 {
			why = append(why, fmt.Sprintf("and %d more", len(s.Marks)-5))
			break
		}
	}
	return fmt.Errorf("%w (%s); names that are understood: %s", ErrNothing, strings.Join(why, "; "), namesHelp)
}

func quoted(name string) string {
	if name == "" {
		return "a mark without a name"
	}
	if r := []rune(name); len(r) > 40 {
		name = string(r[:40]) + "…"
	}
	return strconv.Quote(name)
}

func (s *surveyor) note(level, why, what string, args ...any) {
	s.Notes = append(s.Notes, trace.Note{Level: level, What: fmt.Sprintf(what, args...), Why: why})
}

func (s *surveyor) check(what string, args ...any) {
	s.Checks = append(s.Checks, fmt.Sprintf(what, args...))
}

// place finds where the marks are, in metres about their middle. timed tells that their times can be believed.
func (s *surveyor) place(rec *trace.Recording) (timed bool) {
	var at []geo.LatLon
	for i, m := range rec.Marks {
		out := Mark{Name: m.Name}
		means := understand(m.Name)
		place := geo.LatLon{LatDeg: m.LatDeg, LonDeg: m.LonDeg}
		ok := m.HasPlace && place.Valid() && place != (geo.LatLon{}) // 0, 0 is what receivers write without a fix
		if !ok {
			place, out.StoodS, ok = placeAt(rec.Positions, m.AtS)
		}
		switch {
		case means.what == nothing:
			out.Became = "left out: its name is not understood"
		case !ok && rec.Positions == nil:
			out.Became = "left out: it has no place, and the file has no track to find it on"
		case !ok:
			out.Became = "left out: it has no place, and the track has none at its time"
		default:
			s.marks = append(s.marks, mark{given: i, meaning: means, atS: m.AtS})
			at = append(at, place)
		}
		s.Marks = append(s.Marks, out)
	}
	s.toGround(at)
	seconds := map[float64]bool{}
	for _, m := range s.marks {
		seconds[m.atS] = true
	}
	if 2*len(seconds) > len(s.marks) {
		return true
	}
	s.order() // marks without times all have the same
	return false
}

// toGround turns places into metres and leaves out those that are nowhere near the others.
func (s *surveyor) toGround(at []geo.LatLon) {
	if len(at) == 0 {
		return
	}
	middle := at[0]
	// Twice: the first mark may be the one that is far off.
	for range 2 {
		s.frame = geo.NewFrame(middle, 0)
		var e, n []float64
		for i, p := range at {
			x, y, _ := s.frame.ToENU(p, 0)
			s.marks[i].at = course.Point{X: x, Y: y}
			e, n = append(e, x), append(n, y)
		}
		slices.Sort(e)
		slices.Sort(n)
		best := math.Inf(1)
		for i, m := range s.marks {
			if d := math.Hypot(m.at.X-e[(len(e)-1)/2], m.at.Y-n[(len(n)-1)/2]); d < best {
				best, middle = d, at[i]
			}
		}
	}
	s.marks = slices.DeleteFunc(s.marks, func(m mark) bool {
		d := math.Hypot(m.at.X, m.at.Y)
		if d > farM {
			s.Marks[m.given].Became = fmt.Sprintf("left out: %.0f km from the others", d/1000)
		}
		return d > farM
	})
}

// order sorts marks without times by their numbers: some devices export waypoints by their names as text.
func (s *surveyor) order() {
	number := func(m mark) (int, string) {
		n := strings.TrimRight(m.id, "abcdefghijklmnopqrstuvwxyz")
		v, _ := strconv.Atoi(n)
		return v, m.id
	}
	sorted := slices.Clone(s.marks)
	slices.SortStableFunc(sorted, func(a, b mark) int {
		if a.what != obstacle || b.what != obstacle {
			return int(a.what) - int(b.what)
		}
		i, x := number(a)
		j, y := number(b)
		if i != j {
			return i - j
		}
		return strings.Compare(x, y)
	})
	named := !slices.ContainsFunc(s.marks, func(m mark) bool { return m.what == unnamed })
	if named {
		s.marks = sorted
		s.note("info", "the marks have no times", "the order is that of the obstacles' numbers")
	}
}

// number gives unnamed marks their numbers: the next after the obstacle before. Two of them that are no farther
// apart than the ends of a face are one obstacle.
func (s *surveyor) number() {
	taken := map[string]bool{}
	for _, m := range s.marks {
		if m.what == obstacle {
			taken[m.id] = true
		}
	}
	last, open := 0, -1 // open: an unnamed mark that may be the first end of a face
	for i := range s.marks {
		m := &s.marks[i]
		switch m.what {
		case obstacle:
			last, _ = strconv.Atoi(strings.TrimRight(m.id, "abcdefghijklmnopqrstuvwxyz"))
			open = -1
		case unnamed:
			m.what = obstacle
			if open >= 0 {
				if d := apart(*m, s.marks[open]); d < endsMostM {
					m.id = s.marks[open].id
					s.note("info", "combinations begin at 6.5 m, faces are 3 to 4 m wide",
						"two marks without names, %.1f m apart, are taken for the ends of obstacle %s", d, m.id)
					s.check("whether obstacle %s is one obstacle, marked at both ends", m.id)
					open = -1
					continue
				}
			}
			last++
			for taken[strconv.Itoa(last)] {
				last++
			}
			m.id, open = strconv.Itoa(last), i
			taken[m.id] = true
		default:
			open = -1
		}
	}
}

func apart(a, b mark) float64 { return math.Hypot(a.at.X-b.at.X, a.at.Y-b.at.Y) }

// group gathers the marks of one thing, and the route.
func (s *surveyor) group() {
	lastID := ""
	for i := range s.marks {
		m := &s.marks[i]
		switch m.what {
		case obstacle:
			t := s.obstacle[m.id]
			switch {
			case t == nil:
				t = &thing{meaning: m.meaning, first: []int{i}}
				t.side = ""
				s.obstacle[m.id] = t
				s.things = append(s.things, t)
				s.route = append(s.route, m.id)
			case lastID == m.id && len(t.again) == 0:
				t.first = append(t.first, i)
			default:
				s.again(t, i, lastID != m.id)
			}
			s.describe(t, *m)
			lastID = m.id
		case start, finish:
			if t := s.only(m.what); t != nil {
				t.first = append(t.first, i)
			} else {
				s.things = append(s.things, &thing{meaning: m.meaning, first: []int{i}})
			}
		case home, gate:
			if t := s.only(m.what); t != nil {
				s.Marks[m.given].Became = "left out: marked before"
				s.note("caution", "the first mark is believed", "%s was marked more than once", m.label())
				continue
			}
			s.things = append(s.things, &thing{meaning: m.meaning, first: []int{i}})
		case corner:
			if m.id == "" {
				m.id = strconv.Itoa(1 + s.count(corner))
			}
			s.things = append(s.things, &thing{meaning: m.meaning, first: []int{i}})
		case level:
			s.things = append(s.things, &thing{meaning: m.meaning, first: []int{i}})
		}
	}
}

// again takes in an obstacle that was walked to once more, or marked once more there.
func (s *surveyor) again(t *thing, i int, anew bool) {
	m := s.marks[i]
	if d := apart(m, s.marks[t.first[0]]); d > revisitM+faceMostM/2 {
		s.Marks[m.given].Became = "left out: marked before, elsewhere"
		s.note("warning", "the first mark is believed", "obstacle %s was marked again %.0f m away", t.id, d)
		s.check("where obstacle %s stands, and whether another was meant", t.id)
		return
	}
	t.again = append(t.again, i)
	if !anew {
		return
	}
	s.route = append(s.route, t.id)
	s.note("info", "it was marked again after another", "obstacle %s comes again in the route", t.id)
	s.check("whether obstacle %s is jumped again", t.id)
}

func (s *surveyor) only(w what) *thing {
	i := slices.IndexFunc(s.things, func(t *thing) bool { return t.what == w })
	if i < 0 {
		return nil
	}
	return s.things[i]
}

func (s *surveyor) count(w what) (n int) {
	for _, t := range s.things {
		if t.what == w {
			n++
		}
	}
	return n
}

// describe takes in what a further mark says of an obstacle.
func (s *surveyor) describe(t *thing, m mark) {
	if m.kind != "" {
		if t.kind != "" && t.kind != m.kind {
			s.note("caution", "the last is believed", "obstacle %s is called %s and %s", t.id, t.kind, m.kind)
		}
		t.kind, t.kindGiven = m.kind, true
	}
	if m.heightM != 0 {
		t.heightM = m.heightM
	}
	if m.zM != nil {
		t.zM = m.zM
	}
}
