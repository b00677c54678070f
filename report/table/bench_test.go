package table

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course/follow"
	"groundline/report/paths"
)

// BenchmarkRides works out rides of about two minutes: a motion sensor at 50 to 100 Hz alone, and with positions. One
// operation is one ride, on one core.
func BenchmarkRides(b *testing.B) {
	for _, files := range [][]string{{"motion.csv"}, {"motion.csv", "ride.gpx"}} {
		var rides []paths.Ride
		dirs, err := filepath.Glob("../../../shared/data/practice/*")
		require.NoError(b, err)
		for _, dir := range dirs {
			r := paths.Ride{Recording: filepath.Base(dir), Course: filepath.Join(dir, "course.yaml")}
			for _, f := range files {
				if _, err := os.Stat(filepath.Join(dir, f)); err == nil {
					r.Files = append(r.Files, filepath.Join(dir, f))
				}
			}
			if len(r.Files) == len(files) {
				rides = append(rides, r)
			}
		}
		b.Run(fmt.Sprint(len(files), " files"), func(b *testing.B) {
			if len(rides) == 0 {
				b.Skip("the practice rounds are not here")
			}
			b.ReportAllocs()
			known := plans{ways: map[string]*follow.Ways{}}
			for i := range b.N {
				require.NoError(b, workOut(b.Context(), rides[i%len(rides)], Settings{}, RunOptions{}, &known).Err)
			}
		})
	}
}
