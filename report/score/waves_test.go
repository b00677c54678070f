package score

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/trace/geo"
	"groundline/trace/synth"
)

const (
	// waves is how many horses, each of its own canter, are ridden.
	waves = 72
	// wavesLost is how many of them may fail, by motion alone or beside a watch. It is what failed when it was last set, and
	// only gets less.
	wavesLost = 1
	// rowsLost is the same of gymnastic lines.
	rowsLost = 6
)

// anyHorse is a horse or a pony with moves that may be any, and a sensor that was put on it anyhow.
func anyHorse(rng *rand.Rand) (synth.Horse, synth.Sensor) {
	h := synth.Warmblood()
	if rng.IntN(4) == 3 {
		h = synth.Pony()
	}
	h.Moves = synth.AnyMoves(rng)
	h.CanterS *= 0.92 + 0.16*rng.Float64()
	s := fieldSensor()
	s.MountDeg = [3]float64{360 * rng.Float64(), 360 * rng.Float64(), 360 * rng.Float64()}
	return h, s
}

// ridesOfAnyWave makes n rides and debriefs each by motion alone and beside a watch; it returns how many of either kind lost a jump,
// made one up, or counted a line of up to 9 strides wrongly. What failed is logged.
func ridesOfAnyWave(t *testing.T, n int, courseOf func(rng *rand.Rand, h synth.Horse) (*course.Plan, synth.Ride)) (alone, both int) {
	t.Helper()
	failed := [2][]bool{make([]bool, n), make([]bool, n)}
	t.Run("rides", func(t *testing.T) {
		for i := range n {
			t.Run(fmt.Sprint(i), func(t *testing.T) {
				t.Parallel()
				rng := rand.New(rand.NewPCG(uint64(i), 11))
				h, s := anyHorse(rng)
				plan, r := courseOf(rng, h)
				x := ride(t, plan, r, fieldWatch(), s, uint64(i))
				rec := *x.rec
				for k, device := range []string{"alone", "beside a watch"} {
					if x.rec.Positions = rec.Positions; k == 0 {
						x.rec.Positions = nil
					}
					r := x.score(t)
					if lost, invented, wrong := r.TrueJumps-r.FoundJumps, r.ReportedJumps-r.FoundJumps, r.Short.True-r.Short.Exact; lost+invented+wrong > 0 {
						failed[k][i] = true
						t.Logf("%s: %d of %d jumps lost, %d made up, %d of %d counts wrong; %+v", device, lost, r.TrueJumps, invented, wrong, r.Short.True, *h.Moves)
					}
				}
			})
		}
	})
	for i := range n {
		if failed[0][i] {
			alone++
		}
		if failed[1][i] {
			both++
		}
	}
	t.Logf("of %d waves %d failed by motion alone, %d beside a watch", n, alone, both)
	return alone, both
}

// A wave of any shape that a horse's trunk may have, with the hooves where they may be in it: every jump is found, none is made up, and
// the strides of lines of up to 9 are counted exactly, by motion alone and beside a watch.
func TestAnyWave(t *testing.T) {
	n := waves
	if testing.Short() {
		n = 6
	}
	alone, both := ridesOfAnyWave(t, n, func(rng *rand.Rand, h synth.Horse) (*course.Plan, synth.Ride) { return randomCourse(rng, h, 0.5, 1) })
	if !testing.Short() {
		require.LessOrEqual(t, max(alone, both), wavesLost)
	}
}

// randomRow is a gymnastic line of three or four, with bounces, one stride and two between, ridden twice; the first time out of trot or
// canter.
func randomRow(rng *rand.Rand, h synth.Horse) (*course.Plan, synth.Ride) {
	for {
		plan := &course.Plan{Name: "A row", Anchor: &course.Anchor{At: geo.LatLon{LatDeg: 47.5, LonDeg: -15.25}, BearingDeg: 360 * rng.Float64()}}
		r := synth.Ride{Start: synth.Pose{X: 12, Y: 2, FacingDeg: 0}, WaitS: 5, Horse: h, Stops: []synth.Stop{
			{Pose: synth.Pose{X: 12, Y: 8, FacingDeg: 0}, Gait: synth.Walk}, {Pose: synth.Pose{X: 30, Y: 8, FacingDeg: 180}, Gait: synth.Trot, RadiusM: 6}}}
		trot := rng.IntN(2) == 0
		if !trot {
			r.Stops = append(r.Stops, synth.Stop{Pose: synth.Pose{X: 21, Y: -8, FacingDeg: 270}, Gait: synth.Trot, RadiusM: 5})
		}
		strides := []int{0}
		for range 2 + rng.IntN(2) {
			strides = append(strides, rng.IntN(3))
		}
		var row []synth.Stop
		y := 32.0
		for i, n := range strides {
			if i > 0 {
				y += h.CanterS*h.CanterMS*0.85*float64(n) + 3.5 // a bounce of 3.5 m (common practice: 3.3 to 3.7 m)
			}
			o := course.Obstacle{ID: fmt.Sprint(i + 1), Kind: course.Vertical, At: course.Point{X: 12, Y: y}, HeightM: 0.4 + 0.3*rng.Float64(), SpreadM: 0.3, WidthM: 3.5}
			plan.Obstacles, plan.Route = append(plan.Obstacles, o), append(plan.Route, o.ID)
			row = append(row, synth.Stop{Pose: synth.Pose{X: 12, Y: y}, Gait: synth.Canter, SpeedMS: 0.85 * h.CanterMS,
				Fence: &synth.Fence{ID: o.ID, HeightM: o.HeightM, SpreadM: o.SpreadM, Strides: n, Bounce: i > 0 && n == 0}})
		}
		for again := range 2 {
			for i, s := range row {
				if i == 0 && again == 0 && trot {
					s.Gait, s.SpeedMS = synth.Trot, 0
				}
				r.Stops = append(r.Stops, s)
			}
			r.Stops = append(r.Stops, synth.Stop{Pose: synth.Pose{X: 32, Y: y, FacingDeg: 180}, Gait: synth.Canter, RadiusM: 9},
				synth.Stop{Pose: synth.Pose{X: 32, Y: 10, FacingDeg: 180}, Gait: synth.Canter})
		}
		r.Stops = append(r.Stops, synth.Stop{Pose: synth.Pose{X: 32, Y: -8, FacingDeg: 180}, Gait: synth.Trot}, synth.Stop{Pose: synth.Pose{X: 32, Y: -20, FacingDeg: 180}, Gait: synth.Walk})
		plan.SetLines(nil)
		if _, err := r.Make(1); err == nil {
			return plan, r
		}
	}
}

// The same over gymnastic lines: each element is found in its row, bounces and single strides are counted exactly.
func TestAnyWaveInARow(t *testing.T) {
	n := waves
	if testing.Short() {
		n = 6
	}
	alone, both := ridesOfAnyWave(t, n, randomRow)
	if !testing.Short() {
		require.LessOrEqual(t, max(alone, both), rowsLost)
	}
}
