package detect

import (
	"fmt"
	"sort"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// floors of a world: shares of jumps found, of jumps reported that were true, and of the time in the right gait.
type floors struct{ found, right, gait float64 }

// TestWorlds scores the rounds of other worlds than the first generator's, by world and mounting. Nothing that detects was fitted
// to any of them; the floors lie a little under what was reached.
func TestWorlds(t *testing.T) {
	least := map[string]floors{
		"limbs saddle": {0.97, 0.99, 0.97}, "limbs girth": {0.99, 0.99, 0.97}, "limbs pocket": {0.95, 0.99, 0.96}, "limbs wrist": {0.91, 0.95, 0.95},
		"light saddle": {0.9, 0.99, 0.95}, "light girth": {0.95, 0.95, 0.97}, "light pocket": {0.98, 0.98, 0.97}, "light wrist": {0.75, 0.95, 0.95},
		"gymnastics saddle": {0.99, 0.99, 0.97}, "gymnastics pocket": {0.99, 0.99, 0.97},
		"gymnastics-limbs saddle": {0.95, 0.99, 0.97}, "gymnastics-limbs girth": {0.7, 0.99, 0.97}, "gymnastics-limbs pocket": {0.95, 0.99, 0.97},
		"flat saddle": {0, 0, 0.99}, "flat-limbs saddle": {0, 0, 0.99}, "flat-limbs girth": {0, 0, 0.98}, "flat-limbs wrist": {0, 0, 0.98},
	}
	for _, world := range []string{"limbs", "light", "gymnastics", "gymnastics-limbs", "flat", "flat-limbs"} {
		t.Run(world, func(t *testing.T) {
			by := map[string]*tally{}
			for _, r := range labelledIn(t, "worlds/"+world+"/*") {
				ev, err := FromMotion(r.m, Options{})
				require.NoError(t, err)
				k := r.Sensors.Inertial.Mount
				if by[k] == nil {
					by[k] = &tally{}
				}
				before := *by[k]
				by[k].score(r, ev, t.Logf)
				t.Log(r.name, fmt.Sprintf("gait %.3f", share(by[k].gaitOK-before.gaitOK, by[k].gait-before.gait)))
			}
			var mounts []string
			for k := range by {
				mounts = append(mounts, k)
			}
			sort.Strings(mounts)
			t.Log("\n" + tableHead)
			for _, k := range mounts {
				y, f := by[k], least[world+" "+k]
				t.Log(y.row(k))
				require.Greater(t, f.gait, 0.0, "no floor for %s", k)
				assert.GreaterOrEqual(t, share(y.gaitOK, y.gait), f.gait, k)
				if y.jumps == 0 {
					assert.Zero(t, y.reported, k)
					continue
				}
				assert.GreaterOrEqual(t, share(y.found, y.jumps), f.found, k)
				assert.GreaterOrEqual(t, share(y.right, y.reported), f.right, k)
			}
		})
	}
}
