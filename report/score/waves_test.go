package score

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/trace/synth"
)

const (
	// waves is how many horses, each of its own canter, are ridden.
	waves = 72
	// wavesLost is how many of them may fail, by motion alone or beside a watch. It is what failed when it was last set, and
	// only gets less.
	wavesLost = 54
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
