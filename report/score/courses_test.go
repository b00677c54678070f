package score

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/trace/geo"
	"groundline/trace/synth"
)

// randomCourse is eight fences anywhere on a wide field, some in lines of one to seven strides, and a ride over them.
func randomCourse(rng *rand.Rand, h synth.Horse, lowM, highM float64) (*course.Plan, synth.Ride) {
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	anywhere := func() synth.Pose {
		return synth.Pose{X: between(0, 90), Y: between(0, 60), FacingDeg: between(0, 360)}
	}
	for {
		plan := &course.Plan{Name: "Anywhere", Anchor: &course.Anchor{At: geo.LatLon{LatDeg: between(-60, 60), LonDeg: -15.25}, BearingDeg: between(0, 360)}}
		r := synth.Ride{Start: synth.Pose{X: 45, Y: -30}, WaitS: 5, Horse: h, Stops: []synth.Stop{
			{Pose: synth.Pose{X: 45, Y: -20}, Gait: synth.Walk}, {Pose: synth.Pose{X: 35, Y: -5, FacingDeg: 300}, Gait: synth.Trot}}}
		at := anywhere()
		for i := range 8 {
			o := course.Obstacle{ID: fmt.Sprint(i + 1), Kind: course.Vertical, At: course.Point{X: at.X, Y: at.Y}, FacingDeg: at.FacingDeg,
				HeightM: between(lowM, highM), SpreadM: 0.3, WidthM: 3.5}
			if rng.IntN(2) == 0 {
				o.Kind, o.SpreadM = course.Oxer, between(0.5, 1)
			}
			plan.Obstacles, plan.Route = append(plan.Obstacles, o), append(plan.Route, o.ID)
			r.Stops = append(r.Stops, synth.Stop{Pose: at, Gait: synth.Canter, SpeedMS: h.CanterMS * between(0.93, 1.07), RadiusM: between(8, 14),
				Fence: &synth.Fence{ID: o.ID, HeightM: o.HeightM, SpreadM: o.SpreadM}})
			if s, c := math.Sincos(at.FacingDeg * math.Pi / 180); rng.IntN(3) == 0 {
				d := h.CanterMS*h.CanterS*(float64(1+rng.IntN(7))+0.7) + 2.6 + o.SpreadM
				at.X, at.Y = at.X+d*s, at.Y+d*c
			} else {
				at = anywhere()
			}
		}
		last := r.Stops[len(r.Stops)-1].Pose
		s, c := math.Sincos(last.FacingDeg * math.Pi / 180)
		for i, gait := range []string{synth.Canter, synth.Trot, synth.Walk} {
			d := 20 + 10*float64(i)
			r.Stops = append(r.Stops, synth.Stop{Pose: synth.Pose{X: last.X + d*s, Y: last.Y + d*c, FacingDeg: last.FacingDeg}, Gait: gait})
		}
		plan.SetLines(nil)
		if m, err := r.Make(1); err == nil && comesClear(plan, m) {
			return plan, r
		}
	}
}

// comesClear tells that the ride comes near each fence only to jump it: what passes beside a fence may be
// taken for a jump or a run-out, and rightly so.
func comesClear(plan *course.Plan, m *synth.Made) bool {
	for s := 0.0; s < m.Path.LengthM(); s += 0.5 {
		at := m.Path.At(s)
		for i, j := range m.Jumps {
			o := plan.Obstacles[i]
			if math.Hypot(at.X-o.At.X, at.Y-o.At.Y) < 6 && (s < j.TakeoffM-6 || s > j.LandingM+6) {
				return false
			}
		}
	}
	return true
}

// On any course, horse or pony, every jump is found and is the right one, none is made up, and with a
// sensor every stride is counted.
func TestAnyCourse(t *testing.T) {
	for _, c := range []struct {
		name        string
		horse       synth.Horse
		lowM, highM float64
	}{{"horse", synth.Warmblood(), 0.6, 1.1}, {"pony", synth.Pony(), 0.5, 0.8}, {"low fences", synth.Warmblood(), 0.2, 0.5}} {
		for _, name := range []string{"both", "sensor", "watch"} {
			t.Run(c.name+" "+name, func(t *testing.T) {
				d := devices()[name]
				for seed := range uint64(2) {
					plan, r := randomCourse(rand.New(rand.NewPCG(seed, 4)), c.horse, c.lowM, c.highM)
					s := ride(t, plan, r, d.watch, d.sensor, seed).score(t)
					require.Equal(t, []int{8, 8, 8, 8}, []int{s.TrueJumps, s.FoundJumps, s.ReportedJumps, s.RightObstacle}, "course %d", seed)
					require.Zero(t, s.FalseRefusals, "course %d", seed)
					if d.sensor.RateHz > 0 {
						require.Equal(t, []int{s.Short.True, s.Long.True}, []int{s.Short.Exact, s.Long.Exact}, "course %d", seed)
						// A stride's lead is named from a probability of nine in ten on; at a change one may be named a stride late.
						require.GreaterOrEqual(t, s.RightLeads, s.ToldLeads-s.ToldLeads/100, "course %d: leads that are named are right", seed)
					}
				}
			})
		}
	}
}
