package follow

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/course"
	"groundline/course/place"
	"groundline/detect"
	"groundline/trace"
)

// field is a course of six obstacles; y is forward, so up the page:
//
//	   4 <---- 3
//	 ^
//	1 2 >
//	    5 ---> 6
func field(t testing.TB) *course.Plan {
	t.Helper()
	p := &course.Plan{Name: "Low meadow", Arena: []course.Point{{X: 0, Y: 0}, {X: 90, Y: 0}, {X: 90, Y: 60}, {X: 0, Y: 60}},
		Route: []string{"1", "2", "3", "4", "5", "6"}}
	for _, o := range []struct {
		id         string
		x, y, face float64
	}{{"1", 18, 20, 10}, {"2", 36, 34, 80}, {"3", 68, 48, 270}, {"4", 46, 48, 270}, {"5", 30, 12, 90}, {"6", 52, 12, 90}} {
		p.Obstacles = append(p.Obstacles, course.Obstacle{ID: o.id, Kind: course.Vertical, At: course.Point{X: o.x, Y: o.y},
			FacingDeg: o.face, HeightM: 0.9, SpreadM: 0.3, WidthM: 3.5})
	}
	p.SetLines(nil)
	return p
}

// ridden is a made ride over the obstacles named, in order; "3!" runs out at 3, "3x" refuses at it.
type ridden struct {
	path  *place.Path
	jumps []detect.Jump
	at    []float64 // middle of each jump, refusal and run-out, in the order ridden
}

// paceMS is the pace of the made rides.
const paceMS = 5.5

func ride(t testing.TB, p *course.Plan, order string, seed uint64) ridden {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 1))
	var q place.Piece
	var out ridden
	now := 0.0
	put := func(x, y, vx, vy float64) {
		q.X, q.Y, q.VX, q.VY = append(q.X, x), append(q.Y, y), append(q.VX, vx), append(q.VY, vy)
		q.PlaceSDM, q.SpeedSDMS = append(q.PlaceSDM, 0.1), append(q.SpeedSDMS, 0.15)
		now += place.StepS
	}
	along := func(path course.Path, aside float64) {
		l := path.LengthM()
		for d := 0.0; d < l; d += paceMS * place.StepS {
			at, b := path.At(d)
			s, c := math.Sincos(b * math.Pi / 180)
			// The last metres lead beside the face where it runs out.
			off := aside * math.Max(0, 1-(l-d)/12)
			put(at.X+off*c, at.Y-off*s, paceMS*s, paceMS*c)
		}
	}
	straight := func(from course.Point, deg, l float64) {
		along(course.Path{{From: from, BearingDeg: deg, LengthM: l}}, 0)
	}
	var last *course.Obstacle
	for _, w := range strings.Fields(order) {
		o, ok := p.Obstacle(strings.TrimRight(w, "!x"))
		require.True(t, ok, w)
		s, c := math.Sincos(o.FacingDeg * math.Pi / 180)
		aside := 0.15 * rng.NormFloat64()
		if strings.HasSuffix(w, "!") {
			aside = 3
		}
		if last == nil {
			straight(course.Point{X: o.At.X - 15*s, Y: o.At.Y - 15*c}, o.FacingDeg, 15)
		} else {
			along(p.Way(*last, o, course.StandardStrideM).Path, aside)
		}
		out.at = append(out.at, now)
		switch {
		case strings.HasSuffix(w, "!"):
			straight(course.Point{X: o.At.X + 3*c, Y: o.At.Y - 3*s}, o.FacingDeg, 4)
			last = &course.Obstacle{ID: "beside", At: course.Point{X: o.At.X + 3*c + 4*s, Y: o.At.Y - 3*s + 4*c}, FacingDeg: o.FacingDeg}
			continue
		case strings.HasSuffix(w, "x"):
			// Stands 1.5 m in front for two seconds.
			n := 5 // samples of 1.5 m
			q.X, q.Y, q.VX, q.VY = q.X[:len(q.X)-n], q.Y[:len(q.Y)-n], q.VX[:len(q.VX)-n], q.VY[:len(q.VY)-n]
			q.PlaceSDM, q.SpeedSDMS = q.PlaceSDM[:len(q.X)], q.SpeedSDMS[:len(q.X)]
			now = float64(len(q.X)) * place.StepS
			out.at[len(out.at)-1] = now
			for range 40 {
				put(o.At.X-1.5*s, o.At.Y-1.5*c, 0.01*s, 0.01*c)
			}
			// Back out and round.
			last = &course.Obstacle{ID: "before", At: course.Point{X: o.At.X - 6*s, Y: o.At.Y - 6*c}, FacingDeg: o.FacingDeg + 180}
			straight(course.Point{X: o.At.X - 1.5*s, Y: o.At.Y - 1.5*c}, o.FacingDeg+180, 4.5)
			continue
		default:
			out.jumps = append(out.jumps, detect.Jump{TakeoffS: trace.FromSD(now-0.25, 0.01), LandingS: trace.FromSD(now+0.25, 0.01), Confidence: 0.99})
		}
		cp := o
		last = &cp
	}
	straight(last.At, last.FacingDeg, 20)
	out.path = &place.Path{Pieces: []place.Piece{q}, RateHz: 1}
	return out
}

// moved is the path as a receiver off by (dx, dy) writes it.
func moved(p *place.Path, dx, dy float64) *place.Path { return Pose{X: dx, Y: dy}.Apply(p) }

// told is the result in the words of ride's order: warm-ups in brackets.
func told(p *course.Plan, r *Result) string {
	var b []string
	for _, e := range r.Efforts {
		w := p.Obstacles[e.Obstacle].ID
		switch e.Outcome {
		case RanOut:
			w += "!"
		case Refused:
			w += "x"
		case WarmUp:
			w = "(" + w + ")"
		}
		b = append(b, w)
	}
	return strings.Join(b, " ")
}

func TestRideTells(t *testing.T) {
	p := field(t)
	for _, c := range []struct{ ridden, told string }{
		{"1 2 3 4 5 6", ""},
		{"3 4 3 4 3 4", ""},
		{"5 5 5", ""},                                  // a lone fence again and again is an exercise
		{"4 1 2 3 4 5 6", "(4) 1 2 3 4 5 6"},           // one fence before is a warm-up
		{"1 2 3! 3 4 5 6", ""},                         // a run-out and another go
		{"1 2 3x 3 4 5 6", ""},                         // a refusal and another go
		{"1 2 3 4 5 6 1 2 3 4 5 6", ""},                // two rounds
		{"1 2 4 5 6", ""},                              // 3 left out
		{"3 4 1 2 3 4 5 6 5 6", "3 4 1 2 3 4 5 6 5 6"}, // a line, a round, a line
	} {
		if c.told == "" {
			c.told = c.ridden
		}
		for _, sensors := range []string{"both", "watch", "motion"} {
			t.Run(sensors+" "+c.ridden, func(t *testing.T) {
				m := ride(t, p, c.ridden, 3)
				in := Input{Plan: p, Path: moved(m.path, 2.2, -1.6), Jumps: m.jumps, HasMotion: true}
				switch sensors {
				case "watch":
					in.Jumps, in.HasMotion = nil, false
				case "motion":
					in.Path = nil
				}
				want := c.told
				if sensors == "motion" {
					if strings.ContainsAny(c.ridden, "!x") {
						t.Skip("a motion sensor alone shows neither a run-out nor, without gaits, a refusal")
					}
					if c.ridden == "5 5 5" || strings.HasPrefix(c.ridden, "3 4 3") || strings.HasPrefix(c.ridden, "3 4 1") || strings.HasPrefix(c.ridden, "4 1") {
						// Times alone fit other obstacles too: then the probability must say so.
						r, err := Ride(in)
						require.NoError(t, err)
						require.Len(t, r.Efforts, len(m.jumps))
						for i, e := range r.Efforts {
							if !strings.HasPrefix(strings.Fields(c.ridden)[i], p.Obstacles[e.Obstacle].ID) {
								require.Less(t, e.OfObstacle, 0.95, "a wrong obstacle is not called certain")
							}
						}
						return
					}
				}
				r, err := Ride(in)
				require.NoError(t, err)
				require.Equal(t, want, told(p, r))
				for i, e := range r.Efforts {
					require.InDelta(t, m.at[i], e.MidS, 0.6, "effort %d", i)
					require.GreaterOrEqual(t, e.Confidence, e.OfObstacle-1e-9)
					require.Greater(t, e.Confidence, 0.5)
				}
				if in.Path != nil {
					// Passages over fences that all face along x tell nothing of x.
					if sensors == "both" || strings.Contains(c.ridden, "1") {
						require.InDelta(t, 2.2, r.Placement.ShiftX.Value, 0.8)
					}
					require.InDelta(t, -1.6, r.Placement.ShiftY.Value, 0.8)
				}
			})
		}
	}
}

func TestLegsAndRounds(t *testing.T) {
	p := field(t)
	m := ride(t, p, "4 1 2 3! 3 4 5 6 1 2 4 5 6", 5)
	r, err := Ride(Input{Plan: p, Path: m.path, Jumps: m.jumps, HasMotion: true})
	require.NoError(t, err)
	require.Equal(t, "(4) 1 2 3! 3 4 5 6 1 2 4 5 6", told(p, r))
	require.Len(t, r.Rounds, 2)
	require.True(t, r.Rounds[0].Complete)
	require.Equal(t, 1, r.Rounds[0].Disobediences)
	require.False(t, r.Rounds[1].Complete)
	require.Equal(t, []int{2}, r.Rounds[1].Missed)
	var legs []string
	for _, l := range r.Legs {
		legs = append(legs, fmt.Sprintf("%s-%s#%d/%d", p.Obstacles[r.Efforts[l.From].Obstacle].ID, p.Obstacles[r.Efforts[l.To].Obstacle].ID, l.Attempt, l.Round))
	}
	// No leg leads over the run-out; a way that the route does not have has no line of it.
	require.Equal(t, "4-1#1/0 1-2#1/1 3-4#1/1 4-5#1/1 5-6#1/1 6-1#1/0 1-2#2/2 2-4#1/2 4-5#2/2 5-6#2/2", strings.Join(legs, " "))
	require.Equal(t, -1, r.Legs[0].RouteLine)
	require.Equal(t, 0, r.Legs[1].RouteLine)
	require.Equal(t, 2, r.Efforts[4].Attempt, "the jump after the run-out is the second go at 3")
}

func TestALoneFenceIsNoWarmUp(t *testing.T) {
	p := field(t)
	m := ride(t, p, "5 1 2 3 4", 5)
	in := Input{Plan: p, Path: m.path, Jumps: m.jumps, HasMotion: true}
	r, err := Ride(in)
	require.NoError(t, err)
	require.Equal(t, "(5) 1 2 3 4", told(p, r))
	p.SetLines([]course.Line{{From: "4", To: "5", Kind: course.Single}})
	r, err = Ride(in)
	require.NoError(t, err)
	require.Equal(t, "5 1 2 3 4", told(p, r))
}

// An obstacle that the route leaves out, and a run-out before it: nothing of it is a combination.
func TestObstaclesOutsideTheRoute(t *testing.T) {
	p := field(t)
	p.Route = p.Route[:3]
	p.SetLines(nil)
	m := ride(t, p, "1 2 3! 3 5 6", 5)
	for _, motion := range []bool{true, false} {
		in := Input{Plan: p, Path: m.path, HasMotion: motion}
		if motion {
			in.Jumps = m.jumps
		}
		r, err := Ride(in)
		require.NoError(t, err)
		require.Equal(t, "1 2 3! 3 5 6", strings.NewReplacer("(", "", ")", "").Replace(told(p, r)))
		require.Equal(t, -1, r.Efforts[len(r.Efforts)-1].RouteIndex)
	}
}

// The decoder against trying everything: on few candidates Viterbi must find the best of all sequences.
func TestDecodeAgainstBruteForce(t *testing.T) {
	p := field(t)
	p.Obstacles, p.Route = p.Obstacles[:3], p.Route[:3]
	p.SetLines(nil)
	rapid.Check(t, func(t *rapid.T) {
		m := newModel(Input{Plan: p, HasMotion: true})
		n := rapid.IntRange(1, 4).Draw(t, "n")
		var cands []candidate
		now := 0.0
		for range n {
			now += rapid.Float64Range(1, 25).Draw(t, "gap")
			cands = append(cands, candidate{timeS: now, jump: 0, only: rapid.IntRange(-1, 2).Draw(t, "only"),
				logOdds: rapid.Float64Range(-4, 5).Draw(t, "odds")})
		}
		best := 0.0
		var try func(i, lastCand, lastState int, score float64)
		try = func(i, lastCand, lastState int, score float64) {
			best = math.Max(best, score)
			for j := i; j < n; j++ {
				for k := range m.states {
					if m.states[k].disobey || cands[j].only >= 0 && cands[j].only != m.states[k].obstacle {
						continue
					}
					s := score + cands[j].logOdds + m.logTransition(lastState, k)
					if lastState >= 0 {
						s += m.logTime(lastState, k, cands[lastCand], cands[j])
					}
					try(j+1, j, k, s)
				}
			}
		}
		try(0, -1, -1, 0)
		var got float64
		for _, d := range m.decode(cands) {
			got += d.gain
			require.True(t, d.p >= 0 && d.p <= d.any+1e-9 && d.any <= 1+1e-9)
		}
		require.InDelta(t, best, got, 1e-9)
	})
}

func TestClockOffset(t *testing.T) {
	p := field(t)
	m := ride(t, p, "1 2 3 4 5 6 1 2 3", 7)
	for _, off := range []float64{-12.3, 0, 7.4} {
		late := append([]detect.Jump(nil), m.jumps...)
		for i := range late {
			late[i].TakeoffS = trace.FromSD(late[i].TakeoffS.Value+off, 0.01)
			late[i].LandingS = trace.FromSD(late[i].LandingS.Value+off, 0.01)
		}
		e, ok := ClockOffset(Input{Plan: p, Path: m.path, Jumps: late, HasMotion: true})
		require.Equal(t, off != 0, ok)
		if ok {
			require.InDelta(t, off, e.Value, 0.1)
			require.True(t, e.Low < off && off < e.High)
		}
	}
	// Two jumps could meet by chance: nothing is told.
	_, ok := ClockOffset(Input{Plan: p, Path: m.path, Jumps: m.jumps[:2], HasMotion: true})
	require.False(t, ok)
}

func TestUnanchored(t *testing.T) {
	p := field(t)
	m := ride(t, p, "1 2 3 4 5 6", 9)
	for _, turn := range []float64{0, 37, -120, 180} {
		pose := Pose{TurnDeg: turn, X: 300, Y: -140}
		path := pose.Apply(m.path)
		for _, motion := range []bool{true, false} {
			in := Input{Plan: p, Path: path, HasMotion: motion}
			if motion {
				in.Jumps = m.jumps
			}
			r, _, err := RideUnanchored(in)
			require.NoError(t, err)
			require.Equal(t, "1 2 3 4 5 6", told(p, r), "turned by %v, motion %v", turn, motion)
		}
	}
}

func TestFoundObstacles(t *testing.T) {
	p := field(t)
	m := ride(t, p, "3 4 3 4 5 6", 11)
	found := FoundObstacles(m.path, m.jumps)
	require.Len(t, found.Obstacles, 4)
	for i, id := range []string{"3", "4", "5", "6"} {
		o, _ := p.Obstacle(id)
		f := found.Obstacles[i]
		require.Equal(t, fmt.Sprint(i+1), f.ID)
		require.InDelta(t, o.At.X, f.At.X, 0.8)
		require.InDelta(t, o.At.Y, f.At.Y, 0.8)
		require.InDelta(t, 0, course.WrapDeg(o.FacingDeg-f.FacingDeg), 3)
	}
	require.Equal(t, []string{"1", "2", "3", "4"}, found.Route)
	require.Empty(t, FoundObstacles(m.path, nil).Obstacles)
}

func TestDegenerate(t *testing.T) {
	p := field(t)
	_, err := Ride(Input{Plan: &course.Plan{}})
	require.ErrorIs(t, err, ErrNoRoute)
	for name, in := range map[string]Input{
		"nothing at all":      {Plan: p, HasMotion: true},
		"an empty path":       {Plan: p, Path: &place.Path{}},
		"a path and no jumps": {Plan: p, Path: ride(t, p, "1", 1).path, HasMotion: true},
	} {
		r, err := Ride(in)
		require.NoError(t, err, name)
		require.Empty(t, r.Efforts, name)
		require.Empty(t, r.Legs, name)
	}
	r, err := Ride(Input{Plan: p, Path: ride(t, p, "1 2", 1).path})
	require.NoError(t, err)
	require.Equal(t, "1 2", told(p, r))
}

// Where the arena lies and which way it points on earth is nothing to the ride: moving plan and path together
// changes no effort.
func TestTurnedTogether(t *testing.T) {
	p := field(t)
	m := ride(t, p, "1 2 3! 3 4 5 6", 13)
	want := ""
	for _, turn := range []float64{0, 90, 211} {
		pose := Pose{TurnDeg: turn, X: 40, Y: 15}
		q := *p
		q.Obstacles = append([]course.Obstacle(nil), p.Obstacles...)
		for i := range q.Obstacles {
			o := &q.Obstacles[i]
			s, c := math.Sincos(turn * math.Pi / 180)
			o.At = course.Point{X: o.At.X*c + o.At.Y*s + pose.X, Y: o.At.Y*c - o.At.X*s + pose.Y}
			o.FacingDeg = math.Mod(o.FacingDeg+turn, 360)
		}
		q.Arena = nil
		q.SetLines(nil)
		r, err := Ride(Input{Plan: &q, Path: pose.Apply(m.path), Jumps: m.jumps, HasMotion: true})
		require.NoError(t, err)
		if want == "" {
			want = told(&q, r)
		}
		require.Equal(t, want, told(&q, r))
	}
}
