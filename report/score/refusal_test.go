package score

import (
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/trace/geo"
	"groundline/trace/synth"
)

// longPlan is three fences up a long field with nothing beside them.
func longPlan() *course.Plan {
	plan := &course.Plan{Name: "Long strip", Anchor: &course.Anchor{At: geo.LatLon{LatDeg: 47.5, LonDeg: -15.25}, BearingDeg: 300},
		Route: []string{"1", "2", "3"}}
	for i, y := range []float64{40, 85, 130} {
		plan.Obstacles = append(plan.Obstacles, course.Obstacle{ID: plan.Route[i], Kind: course.Vertical, At: course.Point{X: 40, Y: y}, HeightM: 0.9, SpreadM: 0.3, WidthM: 3.5})
	}
	plan.SetLines(nil)
	return plan
}

// longRide rides it, with something else on the way to the fence 2 the first time.
func longRide(plan *course.Plan, before2 ...synth.Stop) synth.Ride {
	fence := func(i int) synth.Stop {
		o := plan.Obstacles[i]
		return synth.Stop{Pose: synth.Pose{X: o.At.X, Y: o.At.Y}, Gait: synth.Canter, Fence: &synth.Fence{ID: o.ID, HeightM: o.HeightM, SpreadM: o.SpreadM}}
	}
	r := synth.Ride{Start: synth.Pose{X: 40, Y: -30}, WaitS: 5, Horse: synth.Warmblood(), Stops: []synth.Stop{
		{Pose: synth.Pose{X: 40, Y: -20}, Gait: synth.Walk}, {Pose: synth.Pose{X: 40, Y: 0}, Gait: synth.Trot}, fence(0)}}
	r.Stops = append(r.Stops, before2...)
	r.Stops = append(r.Stops, fence(1), fence(2),
		synth.Stop{Pose: synth.Pose{X: 40, Y: 170}, Gait: synth.Canter}, synth.Stop{Pose: synth.Pose{X: 40, Y: 185}, Gait: synth.Trot},
		synth.Stop{Pose: synth.Pose{X: 40, Y: 192}, Gait: synth.Walk, HoldS: 3})
	return r
}

// TestRefusalAndRunOut rides up to a fence and stops, or past it, comes again and jumps it.
func TestRefusalAndRunOut(t *testing.T) {
	again := []synth.Stop{ // away from the fence, a loop, and back into the approach
		{Pose: synth.Pose{X: 30, Y: 70, FacingDeg: 180}, Gait: synth.Canter, RadiusM: 7},
		{Pose: synth.Pose{X: 40, Y: 62, FacingDeg: 0}, Gait: synth.Canter, RadiusM: 6},
	}
	for outcome, first := range map[string][]synth.Stop{
		"refused": {
			{Pose: synth.Pose{X: 40, Y: 83.6}, Gait: synth.Canter, HoldS: 1.5},
			{Pose: synth.Pose{X: 36.5, Y: 78, FacingDeg: 180}, Gait: synth.Walk, RadiusM: 1.2},
		},
		"ran out": {{Pose: synth.Pose{X: 44, Y: 85, FacingDeg: 20}, Gait: synth.Canter, RadiusM: 12}},
	} {
		for _, name := range []string{"both", "watch", "sensor"} {
			t.Run(outcome+" "+name, func(t *testing.T) {
				plan := longPlan()
				r := longRide(plan, append(first, again...)...)
				made, err := r.Make(1)
				require.NoError(t, err)
				d := devices()[name]
				rd := ride(t, plan, r, d.watch, d.sensor, 1)
				at := made.Jumps[0].LandingS + 6
				rd.truth = truthOf(t, made, d.watch, fieldStart(), TrueEffort{Obstacle: "2", Outcome: outcome, AtS: &at})
				s := rd.score(t)
				require.Equal(t, []int{3, 3, 3}, []int{s.TrueJumps, s.FoundJumps, s.RightObstacle})
				require.Zero(t, s.FalseRefusals)
				if rd.rec.Positions != nil { // a sensor alone may not see it, but must not make it up
					require.Equal(t, []int{1, 1, 1}, []int{s.TrueRefusals, s.FoundRefusals, s.RightRefusalKind})
				}
				require.Zero(t, s.Short.True)
				require.Equal(t, []int{1, 1}, []int{s.Long.True, s.Long.Within1}, "the line on from 2 is told, the broken one is none")
			})
		}
	}
}
