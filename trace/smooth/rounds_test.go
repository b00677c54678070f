package smooth_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"sort"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/trace"
	"groundline/trace/geo"
	"groundline/trace/smooth"
)

// truth is what the makers of a round know of it.
type truth struct {
	Efforts []struct {
		Outcome  string  `json:"outcome"`
		TakeoffS float64 `json:"takeoff_s"`
		LandingS float64 `json:"landing_s"`
		STakeoff float64 `json:"s_takeoff"`
		SLanding float64 `json:"s_landing"`
	} `json:"efforts"`
	Sensors struct {
		GNSS struct {
			Hz    float64 `json:"hz"`
			Lag   float64 `json:"lag"`
			White float64 `json:"white"`
			GM    float64 `json:"gm"`
		} `json:"gnss"`
	} `json:"sensors"`
}

type round struct {
	name  string
	fixes *trace.Positions
	frame geo.Frame
	truth truth
}

var trkpt = regexp.MustCompile(`<trkpt lat="([^"]*)" lon="([^"]*)">.*?<time>([^<]*)</time>`)

// fixesOf reads the plain GPX of the rounds.
func fixesOf(t testing.TB, raw []byte) (*trace.Positions, geo.Frame) {
	t.Helper()
	p := &trace.Positions{}
	var start time.Time
	for i, m := range trkpt.FindAllSubmatch(raw, -1) {
		at, err := time.Parse(time.RFC3339Nano, string(m[3]))
		require.NoError(t, err)
		if i == 0 {
			start = at
		}
		s := at.Sub(start).Seconds()
		if n := len(p.TimeS); n > 0 && s <= p.TimeS[n-1] {
			continue
		}
		lat, err := strconv.ParseFloat(string(m[1]), 64)
		require.NoError(t, err)
		lon, err := strconv.ParseFloat(string(m[2]), 64)
		require.NoError(t, err)
		p.TimeS, p.LatDeg, p.LonDeg, p.Segment = append(p.TimeS, s), append(p.LatDeg, lat), append(p.LonDeg, lon), append(p.Segment, 0)
	}
	require.NotEmpty(t, p.TimeS)
	steps := make([]float64, len(p.TimeS)-1)
	for i := range steps {
		steps[i] = p.TimeS[i+1] - p.TimeS[i]
	}
	sort.Float64s(steps)
	p.RateHz = 1 / steps[len(steps)/2]
	return p, geo.NewFrame(geo.LatLon{LatDeg: p.LatDeg[0], LonDeg: p.LonDeg[0]}, 0)
}

// rounds reads the shared rounds that have positions; it skips the test where there are none.
func rounds(t testing.TB) []round {
	t.Helper()
	dirs, _ := filepath.Glob("../../../shared/data/rounds/*/ride.gpx")
	more, _ := filepath.Glob("../../../shared/data/practice/*/ride.gpx")
	var out []round
	for _, path := range append(dirs, more...) {
		raw, err := os.ReadFile(path)
		require.NoError(t, err)
		r := round{name: filepath.Base(filepath.Dir(path))}
		r.fixes, r.frame = fixesOf(t, raw)
		raw, err = os.ReadFile(filepath.Join(filepath.Dir(path), "truth.json"))
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(raw, &r.truth))
		out = append(out, r)
	}
	if len(out) == 0 {
		t.Skip("the rounds with known truth are not beside the project")
	}
	return out
}

type score struct {
	n, covered int
	errs       []float64
	z2, bias   float64
}

func (s *score) add(e trace.Estimate, want float64) {
	s.n++
	if want >= e.Low && want <= e.High {
		s.covered++
	}
	s.errs = append(s.errs, math.Abs(e.Value-want))
	s.bias += e.Value - want
	if sd := e.SD(); sd > 0 {
		s.z2 += (e.Value - want) * (e.Value - want) / sd / sd
	}
}

func (s *score) String() string {
	if s.n == 0 {
		return "none"
	}
	sort.Float64s(s.errs)
	return fmt.Sprintf("n %d, median error %.3f, 90%% below %.3f, bias %+.3f, covered %.3f, z rms %.2f",
		s.n, s.errs[s.n/2], s.errs[s.n*9/10], s.bias/float64(s.n), float64(s.covered)/float64(s.n), math.Sqrt(s.z2/float64(s.n)))
}

func TestLinesOfTheRounds(t *testing.T) {
	length := map[string]*score{}
	speed := map[string]*score{}
	for _, r := range rounds(t) {
		kind := "1 Hz"
		if r.truth.Sensors.GNSS.Hz > 1 {
			kind = "5-10 Hz"
		} else if r.truth.Sensors.GNSS.Lag > 0 {
			kind = "1 Hz lag"
		}
		if length[kind] == nil {
			length[kind], speed[kind] = &score{}, &score{}
		}
		start := time.Now()
		tr, err := smooth.Smooth(r.fixes, r.frame, smooth.Options{})
		require.NoError(t, err, r.name)
		g := r.truth.Sensors.GNSS
		if os.Getenv("VERBOSE") != "" {
			t.Logf("%-36s %5d ms white %.2f (%.2f) wander %.2f (%.2f) thrust %.2f swerve %.2f outliers %v pieces %d", r.name, time.Since(start).Milliseconds(), tr.Noise.WhiteM, g.White, tr.Noise.WanderM, g.GM, tr.Noise.ThrustMS2, tr.Noise.SwerveMS2, tr.Outliers, len(tr.Pieces))
		}
		var prev = -1
		for i, e := range r.truth.Efforts {
			if e.Outcome != "jumped" && e.Outcome != "warm-up" {
				prev = -1
				continue
			}
			if prev >= 0 {
				a := r.truth.Efforts[prev]
				if l, ok := tr.PathLength(a.LandingS, e.TakeoffS); ok {
					length[kind].add(l, e.STakeoff-a.SLanding)
					v, _ := tr.MeanSpeed(a.LandingS, e.TakeoffS)
					speed[kind].add(v, (e.STakeoff-a.SLanding)/(e.TakeoffS-a.LandingS))
				}
			}
			prev = i
		}
	}
	for _, kind := range []string{"1 Hz", "1 Hz lag", "5-10 Hz"} {
		t.Logf("%s: line length m: %v", kind, length[kind])
		t.Logf("%s: line speed m/s: %v", kind, speed[kind])
	}
}
