package follow

import (
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/detect"
	"groundline/trace"
)

// gymnastic is a row of four up the middle, in at 1, a stride, a bounce, a stride.
func gymnastic() *course.Plan {
	p := &course.Plan{Name: "A row", Arena: []course.Point{{X: 0, Y: 0}, {X: 30, Y: 0}, {X: 30, Y: 80}, {X: 0, Y: 80}}, Route: []string{"1", "2", "3", "4"}}
	for _, o := range []struct {
		id string
		y  float64
	}{{"1", 30}, {"2", 36.3}, {"3", 40}, {"4", 47.2}} {
		p.Obstacles = append(p.Obstacles, course.Obstacle{ID: o.id, Kind: course.Vertical, At: course.Point{X: 15, Y: o.y}, HeightM: 0.6, SpreadM: 0.3, WidthM: 3.5})
	}
	p.SetLines(nil)
	return p
}

// What a sensor missed in a row was jumped where it jumped a neighbour and the track goes straight on; a row that is only ridden over,
// with no jump at all, was not.
func TestMissedInARow(t *testing.T) {
	p := gymnastic()
	m := ride(t, p, "1 2 3 4 1 2 3 4", 3)
	require.Len(t, m.jumps, 8)
	for _, missed := range [][]int{{}, {0}, {1}, {2}, {3}, {4}, {6}, {0, 6}, {1, 7}} {
		in := Input{Plan: p, Path: m.path, HasMotion: true}
		for i, j := range m.jumps {
			seen := true
			for _, k := range missed {
				seen = seen && i != k
			}
			if seen {
				in.Jumps = append(in.Jumps, j)
			}
		}
		r, err := Ride(in)
		require.NoError(t, err)
		require.Equal(t, "1 2 3 4 1 2 3 4", told(p, r), "without %v", missed)
		require.Equal(t, []int{1, 1, 1, 1, 2, 2, 2, 2}, attempts(r), "without %v", missed)
		require.Len(t, r.Rounds, 2)
		for i, e := range r.Efforts {
			require.InDelta(t, m.at[i], e.MidS, 0.4)
		}
	}
	none, err := Ride(Input{Plan: p, Path: m.path, HasMotion: true})
	require.NoError(t, err)
	require.Empty(t, none.Efforts)
}

func attempts(r *Result) []int {
	var out []int
	for _, e := range r.Efforts {
		out = append(out, e.Attempt)
	}
	return out
}

// inTurn are jumps so many seconds apart, with no places.
func inTurn(gapS ...float64) []detect.Jump {
	out := []detect.Jump{}
	now := 20.0
	for _, g := range append([]float64{0}, gapS...) {
		now += g
		out = append(out, detect.Jump{TakeoffS: trace.FromSD(now-0.25, 0.01), LandingS: trace.FromSD(now+0.25, 0.01), Confidence: 0.99})
	}
	return out
}

// Two lines of one length, by times alone: the one that took 3.3 s takes 3.3 s again, so it is that one, though the way to the other would be as long.
func TestALineTakesItsTimeAgain(t *testing.T) {
	p := field(t)
	in := Input{Plan: p, HasMotion: true, Jumps: inTurn(4.7, 14.4, 4.2, 12.4, 3.3, 14.5, 3.3)}
	r, err := Ride(in)
	require.NoError(t, err)
	require.Equal(t, "1 2 3 4 5 6 5 6", told(p, r))

	m := newModel(in)
	cands := m.candidatesFromJumps(nil)
	m.learnPace(m.decode(cands))
	plain := m.decode(cands)
	require.Equal(t, "4", p.Obstacles[m.states[plain[7].state].obstacle].ID, "each time by itself fits the other line better")
	require.InDeltaSlice(t, []float64{3.3, 4.45}, shortGaps(cands), 1e-9)
}

// Behind the last obstacle the route begins again, and a line may be ridden again at once.
func TestAgainFromTheLast(t *testing.T) {
	p := gymnastic()
	row := []float64{1.4, 0.9, 1.5}
	gaps := append(append(append(append([]float64{}, row...), 19), row...), append([]float64{21}, row...)...)
	r, err := Ride(Input{Plan: p, HasMotion: true, Jumps: inTurn(gaps...)})
	require.NoError(t, err)
	require.Equal(t, "1 2 3 4 1 2 3 4 1 2 3 4", told(p, r))
	require.Equal(t, []int{1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3}, attempts(r))
	m := newModel(Input{Plan: p})
	require.Equal(t, []bool{true, false, false, false}, m.begins)
	require.Equal(t, []int{-1, 0, 0, 0}, []int{m.lineBefore(0), m.lineBefore(1), m.lineBefore(2), m.lineBefore(3)})
}

// In a row that is all one way, a receiver that is off along it by metres is no clock that is off by a second; three seconds are.
func TestClockOfARow(t *testing.T) {
	p := gymnastic()
	m := ride(t, p, "1 2 3 4 1 2 3 4", 3)
	for _, alongM := range []float64{-5, 0, 5} {
		in := Input{Plan: p, Path: moved(m.path, 0, alongM), Jumps: m.jumps, HasMotion: true}
		_, ok := ClockOffset(in)
		require.False(t, ok, "%v m along", alongM)
	}
	late := append([]detect.Jump(nil), m.jumps...)
	for i := range late {
		late[i].TakeoffS, late[i].LandingS = trace.FromSD(late[i].TakeoffS.Value+8, 0.01), trace.FromSD(late[i].LandingS.Value+8, 0.01)
	}
	e, ok := ClockOffset(Input{Plan: p, Path: m.path, Jumps: late, HasMotion: true})
	require.True(t, ok)
	require.True(t, e.Low < 8 && 8 < e.High)
	require.Greater(t, e.SD(), 0.5)
}
