package smooth

import (
	"math"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/require"
)

// No change by a twentieth betters the best levels by more than a fifth of a unit (a level's own standard deviation is worth half
// a unit), of a piece that is far from any receiver's too; from a good start they are found in few filter passes.
func TestBestIsTheTop(t *testing.T) {
	for _, hasSpeed := range []bool{false, true} {
		rng := rand.New(rand.NewSource(77))
		nodes := somePiece(rng, 300)
		for k := range nodes {
			nodes[k].speed = math.NaN()
			if hasSpeed {
				nodes[k].speed = nodes[k].nom.speedMS + 0.2*rng.NormFloat64()
			}
		}
		start := startNoise(1, hasSpeed)[0]
		passes := 0
		of := stepsOf(nodes)
		s := &search{sample: [][]node{nodes}, lean: start.levels(), steps: []stepper{func(k int) *step {
			if k == 0 {
				passes++
			}
			return of(k)
		}}}
		var know curvature
		best, top := s.best(s.lean, &know)
		t.Logf("with speed %v: %d passes to %v", hasSpeed, passes, best.noise())
		require.Less(t, passes, 200)
		for i := range best {
			for _, d := range []float64{-0.05, 0.05} {
				if i == speedLevel && !hasSpeed {
					continue
				}
				try := best
				try[i] += d
				if try != s.within(try) {
					continue
				}
				require.Less(t, s.score(try), top+0.2, "level %d by %v", i, d)
			}
		}
		passes = 0
		again, _ := s.best(best, &know)
		require.Less(t, passes, 15, "a warm start")
		for i := range best {
			require.InDelta(t, best[i], again[i], 0.03)
		}
	}
}
