package survey

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"groundline/course"
	"groundline/trace"
	"groundline/trace/geo"
	"groundline/trace/read"
)

const sampleDir = "../../testdata/survey/"

// sample is the invented walk of testdata/survey.
func sample(t *testing.T) (*trace.Recording, *course.Tape) {
	t.Helper()
	rec, err := read.Open(context.Background(), []string{sampleDir + "points.gpx"}, read.Options{PlacesOnly: true})
	require.NoError(t, err)
	data, err := os.ReadFile(sampleDir + "tape.yaml")
	require.NoError(t, err)
	tape, err := course.ReadTape("tape.yaml", data)
	require.NoError(t, err)
	return rec, tape
}

func readPlan(t *testing.T, data []byte) *course.Plan {
	t.Helper()
	p, _, err := course.ReadPlan("draft", data)
	require.NoError(t, err, string(data))
	return p
}

// The sample's places err by 1.3 m and 0.5 m, its tape by 5 cm, one distance is misread by 2 m: see how the plan
// compares with where the course really stands.
func TestSampleAgainstTheTruth(t *testing.T) {
	rec, tape := sample(t)
	s, err := Make(rec, tape, Options{})
	require.NoError(t, err)
	data, err := os.ReadFile(sampleDir + "true.yaml")
	require.NoError(t, err)
	truth := readPlan(t, data)
	p := readPlan(t, s.Draft())
	require.Equal(t, truth.Route, p.Route)
	require.Equal(t, "Low paddock, invented", p.Name)
	require.InDelta(t, truth.Anchor.BearingDeg, p.Anchor.BearingDeg, 3)
	require.Len(t, p.Arena, 4)
	require.NotNil(t, p.Home)
	require.NotNil(t, p.Gate)
	require.NotNil(t, p.Start)
	require.NotNil(t, p.Finish)
	require.Len(t, p.Levels, 5)
	for i, l := range truth.Lines {
		require.InDelta(t, l.MapM, p.Lines[i].MapM, 0.25, "line %s-%s", l.From, l.To)
		require.NotNil(t, p.Lines[i].WalkedM)
		require.LessOrEqual(t, s.Lines[i].M.Low, l.MapM)
		require.GreaterOrEqual(t, s.Lines[i].M.High, l.MapM)
	}
	turn := p.Anchor.BearingDeg - truth.Anchor.BearingDeg
	for i, o := range truth.Obstacles {
		got := p.Obstacles[i]
		require.Equal(t, o.Kind, got.Kind)
		require.Equal(t, o.HeightM, got.HeightM)
		off := math.Abs(turned(got.FacingDeg+turn, o.FacingDeg))
		require.Less(t, off, 2.5**s.Obstacles[i].FacingSDDeg, "facing of %s", o.ID)
	}
	for _, v := range s.Tapes {
		require.Equal(t, v.From == "2" && v.To == "4", v.Out, "%s to %s", v.From, v.To)
	}
	require.Equal(t, 12, s.Redundancy)
	draft := string(s.Draft())
	require.Contains(t, draft, "# Not used: 2 to 4, 29.45 m by the tape, 27.4")
	require.True(t, strings.HasPrefix(draft, "# A draft"))
}

// field is a course on the ground and a walk over it, made here.
type field struct {
	rec trace.Recording
	f   geo.Frame
	t   float64
}

func newField() *field { return &field{f: geo.NewFrame(here, 0)} }

func (w *field) mark(name string, e, n float64) *field {
	at, _ := w.f.FromENU(e, n, 0)
	w.rec.Marks = append(w.rec.Marks, trace.Mark{AtS: w.t, Kind: "waypoint", Name: name, LatDeg: at.LatDeg, LonDeg: at.LonDeg, HasPlace: true})
	w.t += 20
	return w
}

func (w *field) make(t *testing.T, tape *course.Tape) *Survey {
	t.Helper()
	s, err := Make(&w.rec, tape, Options{})
	require.NoError(t, err)
	readPlan(t, s.Draft())
	return s
}

func notes(s *Survey) string {
	var b strings.Builder
	for _, n := range s.Notes {
		b.WriteString(n.What + ": " + n.Why + "\n")
	}
	return b.String() + strings.Join(s.Checks, "\n")
}

func TestOnePoint(t *testing.T) {
	s := newField().mark("1", 3, 4).make(t, nil)
	require.Equal(t, []string{"1"}, s.Plan.Route)
	require.Equal(t, course.Point{}, s.Plan.Obstacles[0].At)
	require.True(t, s.Obstacles[0].Doubtful)
	require.Nil(t, s.Obstacles[0].FacingSDDeg)
	require.Contains(t, notes(s), "direction")
	require.InDelta(t, here.LatDeg, s.Plan.Anchor.At.LatDeg, 1e-4)
}

func TestNothingToMakeAPlanOf(t *testing.T) {
	_, err := Make(&trace.Recording{}, nil, Options{})
	require.ErrorIs(t, err, ErrNothing)
	w := newField().mark("home", 0, 0).mark("lunch", 5, 5)
	_, err = Make(&w.rec, nil, Options{})
	require.ErrorIs(t, err, ErrNothing)
	require.ErrorContains(t, err, `"lunch": left out: its name is not understood`)
	w = newField().mark("1 pole", 0, 0)
	_, err = Make(&w.rec, nil, Options{})
	require.ErrorIs(t, err, ErrNothing)
	w = newField()
	for i := range maxMarks + 1 {
		w.mark("level 0", float64(i), 0)
	}
	_, err = Make(&w.rec, nil, Options{})
	require.ErrorContains(t, err, "at most 300")
}

func TestMiddlesEndsAndDuplicates(t *testing.T) {
	s := newField().
		mark("1", 0, 0).
		mark("2", 0, 22).mark("2", 0.4, 22.3). // one place, pressed twice
		mark("3", 18, 40).mark("3", 21.4, 40). // ends
		mark("4", 40, 40).mark("4", 55, 40).   // no face is so wide
		mark("5 left", 41.75, 20).             // one end only
		mark("1", 0.3, 0.2).                   // jumped again
		mark("2", 30, 0).                      // contradiction
		make(t, nil)
	require.Equal(t, []string{"1", "2", "3", "4", "5", "1"}, s.Plan.Route)
	require.Len(t, s.Plan.Obstacles, 5)
	at := func(id string) course.Point { o, _ := s.Plan.Obstacle(id); return o.At }
	// The frame's origin is obstacle 1, whose place is the mean of both visits.
	require.InDelta(t, 0.2-0.15, at("2").X, 0.011)
	require.InDelta(t, 22.15-0.1, at("2").Y, 0.011)
	require.InDelta(t, 19.7-0.15, at("3").X, 0.011)
	require.InDelta(t, 40-0.15, at("4").X, 0.011)
	said := notes(s)
	for _, want := range []string{
		"obstacle 2: the mean of two marks 0.5 m apart", "obstacle 4: two marks 15.0 m apart", "obstacle 5: its left end is taken for its middle",
		"obstacle 1 comes again in the route", "obstacle 2 was marked again 3",
	} {
		require.Contains(t, said, want)
	}
	became := func(i int) string { return s.Marks[i].Became }
	require.Equal(t, "one end of obstacle 3", became(3))
	require.Equal(t, "left out: too far from the first", became(6))
	require.Equal(t, "obstacle 1 again", became(8))
	require.Equal(t, "left out: marked before, elsewhere", became(9))
}

// A face with two ends: its axis from the ends, its direction from the order or from left and right.
func TestFacingOfAFace(t *testing.T) {
	// Precise ends have all the weight against the order (which says 0°).
	for _, v := range []struct {
		first, second string
		turnDeg, want float64
	}{{"1", "1", 20, 20}, {"1", "1", 200, 20}, {"1 left", "1 right", 20, 20}, {"1 left", "1 right", 200, 200}, {"1 right", "1", 20, 200}} {
		s, c := math.Sincos(v.turnDeg * math.Pi / 180)
		w := newField().mark(v.first, -1.75*c, 1.75*s).mark(v.second, 1.75*c, -1.75*s).mark("2", 0, 25)
		got, err := Make(&w.rec, nil, Options{ReceiverSDM: 0.01})
		require.NoError(t, err)
		require.InDelta(t, v.want, got.Plan.Obstacles[0].FacingDeg, 0.3, "%+v", v)
		require.Less(t, *got.Obstacles[0].FacingSDDeg, 1.0)
		if v.want == 200 {
			require.Contains(t, notes(got), "against the order walked")
		}
	}
	// A watch's ends share the say with the order.
	s, c := math.Sincos(20 * math.Pi / 180)
	got := newField().mark("1", -1.75*c, 1.75*s).mark("1", 1.75*c, -1.75*s).mark("2", 0, 25).make(t, nil)
	require.Greater(t, got.Plan.Obstacles[0].FacingDeg, 2.0)
	require.Less(t, got.Plan.Obstacles[0].FacingDeg, 18.0)
}

func TestFacingRule(t *testing.T) {
	at := func(id string, x, y float64) visit { return visit{id, course.Point{X: x, Y: y}} }
	deg := func(i int, route ...visit) float64 { d, _, _ := facingAt(route, i); return d }
	// A straight line; first and last.
	require.InDelta(t, 90, deg(0, at("1", 0, 0), at("2", 20, 0), at("3", 40, 0)), 1e-9)
	require.InDelta(t, 90, deg(1, at("1", 0, 0), at("2", 20, 0), at("3", 40, 0)), 1e-9)
	require.InDelta(t, 90, deg(2, at("1", 0, 0), at("2", 20, 0), at("3", 40, 0)), 1e-9)
	// On a circle the rule gives its tangent, whatever the distances (inscribed angles).
	on := func(id string, d float64) visit {
		s, c := math.Sincos(d * math.Pi / 180)
		return at(id, 30-30*c, 30*s)
	}
	for _, d := range []float64{10, 20, 30, 40} {
		require.InDelta(t, d, deg(1, on("1", 0), on("2", d), on("3", 50)), 1e-2*d, "at %v", d)
	}
	// Round a corner the nearer neighbour tells.
	require.InDelta(t, 0, deg(1, at("1", 0, 0), at("2", 0, 20), at("3", 40, 10)), 1e-9)
	require.InDelta(t, 90, deg(1, at("1", 0, -40), at("2", 0, 0), at("3", 20, 0)), 1e-9)
	// Elements of a combination along each other, however near the next is.
	require.InDelta(t, 0, deg(2, at("6", -40, 0), at("7a", 0, 0), at("7b", 0, 10), at("8", 6, 10)), 1e-9)
	require.InDelta(t, 0, deg(1, at("6", -5, 0), at("7a", 0, 0), at("7b", 0, 10), at("8", 6, 10)), 1e-9)
	// What stands in the same place tells nothing.
	require.InDelta(t, 90, deg(1, at("1", 0, 0), at("2", 0, 0), at("3", 20, 0)), 1e-9)
	_, how, doubtful := facingAt([]visit{at("1", 0, 0)}, 0)
	require.Contains(t, how, "unknown")
	require.True(t, doubtful)
}

func TestUnnamedMarks(t *testing.T) {
	s := newField().
		mark("lap 2", 0, 0).mark("lap 3", 0, 22).mark("lap 4", 18, 40).mark("lap 5", 21.4, 40).mark("7", 60, 40).mark("", 60, 10).
		make(t, nil)
	require.Equal(t, []string{"1", "2", "3", "7", "8"}, s.Plan.Route)
	require.Equal(t, "other end of obstacle 3", s.Marks[3].Became)
	require.Contains(t, notes(s), "3.4 m apart, are taken for the ends of obstacle 3")
	// Numbers that are taken are passed over.
	s = newField().mark("", 0, 0).mark("2", 0, 22).mark("1", 0, 50).mark("", 0, 80).make(t, nil)
	require.Equal(t, []string{"3", "2", "1", "4"}, s.Plan.Route)
}

// Laps without a place are where the track was, standing still.
func TestLapsOfAWatch(t *testing.T) {
	p := walk([][3]float64{{0, -10, 0}, {10, 0, 0}, {20, 0, 0}, {40, 0, 22}, {50, 0, 22}, {80, 30, 40}, {90, 30, 40}, {100, 30, 40}}, 0.1, 3)
	rec := &trace.Recording{Positions: p}
	for i, at := range []float64{15, 42, 88, 300} {
		rec.Marks = append(rec.Marks, trace.Mark{AtS: at, Kind: "lap", Name: fmt.Sprintf("lap %d", i+2)})
	}
	s, err := Make(rec, nil, Options{})
	require.NoError(t, err)
	require.Equal(t, []string{"1", "2", "3"}, s.Plan.Route)
	require.InDelta(t, 22, s.Plan.Obstacles[1].At.Y, 0.3)
	require.InDelta(t, 30, s.Plan.Obstacles[2].At.X, 0.3)
	require.Greater(t, s.Marks[0].StoodS, 8.0)
	require.Equal(t, "left out: it has no place, and the track has none at its time", s.Marks[3].Became)
}

// Waypoints without times come sorted as text: 1, 10, 2.
func TestUntimedWaypointsGoByNumber(t *testing.T) {
	w := newField()
	for _, v := range []struct {
		name string
		y    float64
	}{{"1", 0}, {"10", 200}, {"2", 20}, {"7a", 140}, {"7b", 150}, {"home", -30}} {
		w.mark(v.name, 0, v.y)
	}
	for i := range w.rec.Marks {
		w.rec.Marks[i].AtS = 0
	}
	s := w.make(t, nil)
	require.Equal(t, []string{"1", "2", "7a", "7b", "10"}, s.Plan.Route)
	require.Contains(t, notes(s), "no times")
}

// Two marks within one second do not undo the order of all.
func TestMarksInOneSecond(t *testing.T) {
	w := newField().mark("3", 0, 0).mark("2", 0, 20)
	w.t -= 20
	s := w.mark("7", 0, 40).mark("1", 20, 50).make(t, nil)
	require.Equal(t, []string{"3", "2", "7", "1"}, s.Plan.Route)
}

func TestFarMarksAreLeftOut(t *testing.T) {
	w := newField()
	w.rec.Marks = append(w.rec.Marks, trace.Mark{Name: "4", LatDeg: -33, LonDeg: 151, HasPlace: true}, // first, so that it is the first guess
		trace.Mark{Name: "5", HasPlace: true}, trace.Mark{Name: "6", LatDeg: math.NaN(), LonDeg: 2, HasPlace: true})
	w.t = 10
	s := w.mark("1", 0, 0).mark("2", 0, 22).mark("3", 20, 40).make(t, nil)
	require.Equal(t, []string{"1", "2", "3"}, s.Plan.Route)
	require.Contains(t, s.Marks[0].Became, "km from the others")
	require.Contains(t, s.Marks[1].Became, "no place")
	require.Contains(t, s.Marks[2].Became, "no place")
}

// corners of a ground 80 m by 45 m whose long side lies at a bearing.
func cornersAt(w *field, deg float64, order ...int) {
	s, c := math.Sincos(deg * math.Pi / 180)
	for _, i := range order {
		p := [][2]float64{{0, 0}, {0, 80}, {45, 80}, {45, 0}}[i]
		w.mark("corner", p[0]*c+p[1]*s, -p[0]*s+p[1]*c)
	}
}

func TestFrame(t *testing.T) {
	for _, order := range [][]int{{0, 1, 2, 3}, {0, 3, 2, 1}, {1, 0, 3, 2}, {0, 2, 1, 3}} {
		w := newField()
		cornersAt(w, 130, order...)
		s := w.mark("1", 1, 1).mark("2", -10, -20).make(t, nil)
		require.InDelta(t, 130, s.Plan.Anchor.BearingDeg, 0.02, "%v", order)
		require.Len(t, s.Plan.Arena, 4)
		for _, p := range s.Plan.Arena { // x and y above zero, as the format has it
			require.GreaterOrEqual(t, p.X, -0.02, "%v", order)
			require.GreaterOrEqual(t, p.Y, -0.02, "%v", order)
		}
		require.Equal(t, slices.Equal(order, []int{0, 2, 1, 3}), strings.Contains(notes(s), "sides cross"))
	}
	w := newField()
	cornersAt(w, 30, 0, 1)
	s := w.mark("1", 10, 10).make(t, nil)
	require.InDelta(t, 30, s.Plan.Anchor.BearingDeg, 0.02)
	require.Nil(t, s.Plan.Arena)
	w = newField()
	cornersAt(w, 30, 0)
	s = w.mark("1", 10, 12).make(t, nil)
	require.Zero(t, s.Plan.Anchor.BearingDeg)
	require.InDelta(t, 12, s.Plan.Obstacles[0].At.Y, 0.011)
	// Corners in one line are no ground.
	w = newField().mark("corner", 0, 0).mark("corner", 20, 0).mark("corner", 40, 0).mark("1", 10, 10)
	s = w.make(t, nil)
	require.Nil(t, s.Plan.Arena)
	require.Contains(t, notes(s), "no boundary")
}

func TestStartWithOneMark(t *testing.T) {
	s := newField().mark("start", 0, -10).mark("1", 0, 0).mark("2", 0, 22).mark("finish left", -4, 35).mark("finish right", 4, 35).make(t, nil)
	require.InDelta(t, 10, math.Hypot(s.Plan.Start[1].X-s.Plan.Start[0].X, s.Plan.Start[1].Y-s.Plan.Start[0].Y), 0.02)
	require.InDelta(t, -10, s.Plan.Start[0].Y, 0.02)
	require.InDelta(t, 8, math.Hypot(s.Plan.Finish[1].X-s.Plan.Finish[0].X, s.Plan.Finish[1].Y-s.Plan.Finish[0].Y), 0.02)
}

func TestTapeNamesThatNobodyMarked(t *testing.T) {
	tape := &course.Tape{File: "tape.yaml", Distances: []course.TapeDistance{
		{From: "1", To: "9", M: 20, Line: 4, Field: "distances[0]"}, {From: "lunch", To: "2", M: 20, Line: 5, Field: "distances[1]"},
		{From: "1", To: "01", M: 3, Line: 6, Field: "distances[2]"}, {From: "1 left", To: "2", M: 20, Line: 7, Field: "distances[3]"}},
		Levels:    []course.TapeLevel{{At: "corner 1", Line: 9, Field: "levels[0]"}},
		Obstacles: []course.TapeObstacle{{ID: "3", Line: 11, Field: "obstacles[0]"}}}
	w := newField().mark("1", 0, 0).mark("2", 0, 20)
	_, err := Make(&w.rec, tape, Options{})
	var faults course.Faults
	require.ErrorAs(t, err, &faults)
	require.Len(t, faults, 6)
	require.ErrorContains(t, err, `tape.yaml:4: distances[0].to: no mark is called "9", expected one of 1, 2`)
	require.ErrorContains(t, err, `tape.yaml:6: distances[2]: "1" and "01" are one place`)
}

// The trade measures between obstacles from back to front, to all else to the middle.
func TestSpreadsInDistances(t *testing.T) {
	tape := &course.Tape{Obstacles: []course.TapeObstacle{{ID: "1", Kind: course.Oxer, SpreadM: 1, SpreadGiven: true}, {ID: "2", Kind: course.Oxer, SpreadM: 1.4, SpreadGiven: true}},
		Distances: []course.TapeDistance{{From: "1", To: "2", M: 20, SDM: 0.001}, {From: "2", To: "home", M: 30, SDM: 0.001}}}
	s := newField().mark("1", 0, 0).mark("2", 0, 22).mark("home", 0, 53).make(t, tape)
	require.InDelta(t, 21.2, s.Plan.Obstacles[1].At.Y, 0.011)
	require.InDelta(t, 51.2, s.Plan.Home.Y, 0.011)
	require.InDelta(t, 20, s.Lines[0].M.Value, 0.01)
	require.InDelta(t, 20, s.Plan.Lines[0].MapM, 0.02)
	require.Equal(t, 20.0, *s.Plan.Lines[0].WalkedM)
}

// Paces pull places, but are no walked distance.
func TestPaces(t *testing.T) {
	tape := &course.Tape{Paced: true, Distances: []course.TapeDistance{{From: "1", To: "2", M: 24 * 0.914}}}
	s := newField().mark("1", 0, 0).mark("2", 0, 20).make(t, tape)
	require.Nil(t, s.Plan.Lines[0].WalkedM)
	require.Greater(t, s.Lines[0].M.Value, 21.0)
	require.Greater(t, s.Lines[0].M.SD(), 0.5)
	require.Contains(t, notes(s), "paced distances are not written as walked")
}

// Walks over a known course with errors of the model: lines, places and facings lie within their 90 % intervals
// about as often as these say.
func TestIntervalsHold(t *testing.T) {
	truth := []course.Point{{X: 10, Y: 10}, {X: 10, Y: 32}, {X: 30, Y: 50}, {X: 48, Y: 34}, {X: 46, Y: 8}, {X: 25, Y: 5}}
	pairs := [][2]int{{0, 1}, {1, 2}, {2, 3}, {3, 4}, {4, 5}, {0, 5}, {1, 3}}
	times := make([]float64, len(truth))
	for i := range times {
		times[i] = 40 * float64(i)
	}
	var chol mat.Cholesky
	require.True(t, chol.Factorize(receiverCov(len(truth), times, ReceiverSDM)))
	var l mat.TriDense
	chol.LTo(&l)
	const walks = 300
	lines, linesIn, places, placesIn, blamed := 0, 0, 0, 0, 0
	for seed := range uint64(walks) {
		r := rand.New(rand.NewPCG(seed, 9))
		z := mat.NewVecDense(2*len(truth), nil)
		for k := range 2 * len(truth) {
			z.SetVec(k, r.NormFloat64())
		}
		var e mat.VecDense
		e.MulVec(&l, z)
		w := newField()
		for i, p := range truth {
			w.t = times[i]
			w.mark(fmt.Sprint(i+1), p.X+e.AtVec(2*i), p.Y+e.AtVec(2*i+1))
		}
		tape := &course.Tape{}
		for _, q := range pairs {
			d := math.Hypot(truth[q[1]].X-truth[q[0]].X, truth[q[1]].Y-truth[q[0]].Y)
			tape.Distances = append(tape.Distances, course.TapeDistance{From: fmt.Sprint(q[0] + 1), To: fmt.Sprint(q[1] + 1), M: d + course.TapeSDM(d, false)*r.NormFloat64()})
		}
		s, err := Make(&w.rec, tape, Options{})
		require.NoError(t, err)
		blamed += len(tape.Distances) - s.Redundancy
		for i, v := range s.Lines {
			d := math.Hypot(truth[i+1].X-truth[i].X, truth[i+1].Y-truth[i].Y)
			lines++
			if v.M.Low <= d && d <= v.M.High {
				linesIn++
			}
		}
		// Against the middle of the course; one axis, as the other has the same doubt or less.
		var middle, mean course.Point
		for i, o := range s.Plan.Obstacles {
			middle.X += truth[i].X / 6
			mean.X += o.At.X / 6
		}
		for i, o := range s.Plan.Obstacles {
			places++
			if math.Abs(o.At.X-mean.X-(truth[i].X-middle.X)) <= 1.645*s.Obstacles[i].PlaceSDM {
				placesIn++
			}
		}
	}
	t.Logf("lines %.3f, places %.3f, tapes blamed %d of %d", float64(linesIn)/float64(lines), float64(placesIn)/float64(places), blamed, walks*len(pairs))
	require.InDelta(t, 0.9, float64(linesIn)/float64(lines), 0.03) // four standard deviations of 1500 cases
	require.GreaterOrEqual(t, float64(placesIn)/float64(places), 0.88)
	require.Less(t, blamed, 15) // a thousandth of 2100 tests, and marks
}

// Whatever is marked and taped, the answer is a plan that reads back, or an error; and the same one each time.
func TestAnythingGoes(t *testing.T) {
	words := []string{"1", "2", "3", "3 left", "3 right", "7a", "7b oxer", "", "lap 3", "corner", "corner 2", "start", "start left", "start right", "finish", "home", "gate",
		"level 0.3", "2 level 1", "4 pole", "nonsense", "5 water", "12 wall 1.10"}
	made, taped := 0, 0 // of 100 draws, usually 70 and 25
	rapid.Check(t, func(t *rapid.T) {
		w := newField()
		if rapid.Bool().Draw(t, "track") {
			w.rec.Positions = walk([][3]float64{{0, 0, 0}, {60, 50, 0}, {200, 50, 80}}, 0.2, 4)
		}
		for range rapid.IntRange(0, 25).Draw(t, "marks") {
			w.mark(rapid.SampledFrom(words).Draw(t, "name"), rapid.Float64Range(-60, 60).Draw(t, "e"), rapid.Float64Range(-60, 60).Draw(t, "n"))
			m := &w.rec.Marks[len(w.rec.Marks)-1]
			m.HasPlace = rapid.IntRange(0, 4).Draw(t, "placed") > 0
			if rapid.IntRange(0, 4).Draw(t, "again") == 0 {
				w.t -= 20
			}
		}
		tape := &course.Tape{Paced: rapid.Bool().Draw(t, "paced")}
		var known []string
		for _, m := range w.rec.Marks {
			if v := understand(m.Name); m.HasPlace && v.what == obstacle && v.side == "" && !slices.Contains(known, v.id) {
				known = append(known, v.id)
			}
		}
		if rapid.IntRange(0, 9).Draw(t, "stranger") == 0 || len(known) == 0 {
			known = append(known, "corner 9")
		}
		for range rapid.IntRange(0, 8).Draw(t, "tapes") {
			a, b := rapid.SampledFrom(known).Draw(t, "from"), rapid.SampledFrom(known).Draw(t, "to")
			if a != b {
				tape.Distances = append(tape.Distances, course.TapeDistance{From: a, To: b, M: rapid.Float64Range(0.01, 1000).Draw(t, "d")})
			}
		}
		s, err := Make(&w.rec, tape, Options{})
		if err != nil {
			return
		}
		made++
		if s.Redundancy > 0 {
			taped++
		}
		again, err := Make(&w.rec, tape, Options{})
		if err != nil || string(again.Draft()) != string(s.Draft()) {
			t.Fatalf("another answer: %v", err)
		}
		if _, _, err := course.ReadPlan("draft", s.Draft()); err != nil {
			t.Fatalf("%v\n%s", err, s.Draft())
		}
		if len(s.Marks) != len(w.rec.Marks) {
			t.Fatalf("%d marks of %d", len(s.Marks), len(w.rec.Marks))
		}
		for _, m := range s.Marks {
			if m.Became == "" {
				t.Fatalf("nothing became of %q", m.Name)
			}
		}
	})
	t.Logf("%d made, %d taped", made, taped)
	least := 20
	if testing.Short() { // in which a fifth of the surveys are drawn
		least = 4
	}
	require.Greater(t, made, least)
	require.GreaterOrEqual(t, taped, least/4)
}

// The laps of a watch's own file, read as such: the press ends one lap and begins the next; the first lap begins
// with the ride and is no press.
func TestLapsOfATCXFile(t *testing.T) {
	p := walk([][3]float64{{0, -10, 0}, {10, 0, 0}, {20, 0, 0}, {40, 0, 22}, {50, 0, 22}, {80, 30, 40}, {90, 30, 40}, {95, 30, 40}}, 0.05, 3)
	var b strings.Builder
	stamp := func(s float64) string { return fmt.Sprintf("2026-05-02T08:%02d:%02dZ", 10+int(s)/60, int(s)%60) }
	b.WriteString(`<?xml version="1.0"?><TrainingCenterDatabase><Activities><Activity Sport="Other"><Id>` + stamp(0) + `</Id>`)
	starts := []float64{0, 15, 45, 85}
	for k, s := range starts {
		end := 1000.0
		if k+1 < len(starts) {
			end = starts[k+1]
		}
		fmt.Fprintf(&b, `<Lap StartTime="%s"><Track>`, stamp(s))
		for i, at := range p.TimeS {
			if at >= s && at < end {
				fmt.Fprintf(&b, `<Trackpoint><Time>%s</Time><Position><LatitudeDegrees>%.8f</LatitudeDegrees><LongitudeDegrees>%.8f</LongitudeDegrees></Position></Trackpoint>`, stamp(at), p.LatDeg[i], p.LonDeg[i])
			}
		}
		b.WriteString(`</Track></Lap>`)
	}
	b.WriteString(`</Activity></Activities></TrainingCenterDatabase>`)
	rec, err := read.OpenBytes(context.Background(), []read.Input{{Name: "walk.tcx", Data: []byte(b.String())}}, read.Options{PlacesOnly: true})
	require.NoError(t, err)
	s, err := Make(rec, nil, Options{})
	require.NoError(t, err)
	require.Equal(t, []string{"1", "2", "3"}, s.Plan.Route)
	require.InDelta(t, 22, s.Plan.Obstacles[1].At.Y, 0.2)
	require.InDelta(t, 30, s.Plan.Obstacles[2].At.X, 0.2)
	require.InDelta(t, 40, s.Plan.Obstacles[2].At.Y, 0.2)
	require.Greater(t, s.Marks[2].StoodS, 8.0)
}
