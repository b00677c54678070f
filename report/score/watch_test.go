package score

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What positions alone show has to hold in worlds that nothing was fitted to: true counts lie in the counts' intervals, and
// each figure's 90 % interval holds about nine truths in ten.
func TestWatchAloneHoldsInEveryWorld(t *testing.T) {
	if testing.Short() {
		t.Skip("-short leaves the rounds with known truth out")
	}
	shared := filepath.Join("..", "..", "..", "shared", "data")
	for _, world := range []string{"practice", "worlds/limbs", "worlds/light"} {
		t.Run(world, func(t *testing.T) {
			found, err := filepath.Glob(filepath.Join(shared, world, "*", "ride.gpx"))
			require.NoError(t, err)
			if len(found) == 0 {
				t.Skip("the rounds with known truth are not beside the project")
			}
			var alone []goal
			for _, f := range found {
				alone = append(alone, goal{filepath.Dir(f), []string{"ride.gpx"}})
			}
			var b strings.Builder
			kinds := byKind(judgeAll(t, alone))
			require.NoError(t, Table(&b, columnsOf(kinds)))
			t.Log("\n" + b.String())
			for kind, r := range kinds {
				require.GreaterOrEqual(t, share(r.FoundJumps, r.TrueJumps), 0.97, "%s: jumps found", kind)
				require.GreaterOrEqual(t, r.Strides.Covered(), 0.93, "%s: counts inside", kind)
				for name, f := range map[string]Figure{"stride lengths": r.StrideLengthM, "stride times": r.StrideS, "usual stride times": r.UsualStrideS,
					"speeds": r.SpeedMS, "tracks": r.TrackM, "take-offs": r.TakeoffS, "landings": r.LandingS} {
					require.GreaterOrEqual(t, f.Covered(), 0.83, "%s: %s inside", kind, name)
				}
			}
		})
	}
}
