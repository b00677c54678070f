package detect_test

import (
	"math/rand"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/detect"
	"groundline/trace"
	track "groundline/trace/smooth"
)

// paced is the recording of a straight way ridden at given speeds, each for a number of seconds.
func paced(rng *rand.Rand, rateHz, whiteM float64, legs [][2]float64) *trace.Positions {
	p := &trace.Positions{RateHz: rateHz}
	e, at, speed := 0.0, 0.0, legs[0][1]
	const dt = 0.01
	next := 0.0
	for _, leg := range legs {
		for left := leg[0]; left > 0; left -= dt {
			speed += (leg[1] - speed) * dt / 0.6 // the horse takes a moment
			if at >= next {
				ll, _ := arena.FromENU(e+whiteM*rng.NormFloat64(), whiteM*rng.NormFloat64(), 100)
				p.TimeS, p.LatDeg, p.LonDeg, p.Segment = append(p.TimeS, at), append(p.LatDeg, ll.LatDeg), append(p.LonDeg, ll.LonDeg), append(p.Segment, 0)
				next += 1 / rateHz
			}
			e += speed * dt
			at += dt
		}
	}
	return p
}

func TestGaitsFromSpeed(t *testing.T) {
	legs := [][2]float64{{10, 0}, {12, 1.5}, {12, 3}, {30, 5.2}, {10, 3.1}, {10, 1.6}, {10, 0}}
	want := []detect.Gait{detect.Halt, detect.Walk, detect.Trot, detect.Canter, detect.Trot, detect.Walk, detect.Halt}
	for _, rate := range []float64{1, 5} {
		tr, err := track.Smooth(paced(rand.New(rand.NewSource(31)), rate, 0.2, legs), arena, track.Options{})
		require.NoError(t, err)
		spans := detect.FromTrack(tr).Gaits
		require.Len(t, spans, len(want), "%v", spans)
		at := 0.0
		for i, s := range spans {
			require.Equal(t, want[i], s.Gait)
			require.InDelta(t, at, s.FromS, 2)
			at += legs[i][0]
			if i > 0 {
				require.InDelta(t, spans[i-1].ToS, s.FromS, 1e-9, "no holes")
			}
		}
	}
}

// Through a gap there is no gait.
func TestGaitsKeepGaps(t *testing.T) {
	p := paced(rand.New(rand.NewSource(32)), 1, 0.2, [][2]float64{{60, 5}})
	for i := 30; i < len(p.TimeS); i++ {
		p.TimeS[i] += 20
	}
	tr, err := track.Smooth(p, arena, track.Options{})
	require.NoError(t, err)
	spans := detect.FromTrack(tr).Gaits
	require.Len(t, spans, 2)
	require.InDelta(t, p.TimeS[29], spans[0].ToS, 1e-9)
	require.InDelta(t, p.TimeS[30], spans[1].FromS, 1e-9)
}

func TestGaitsOfTheRounds(t *testing.T) {
	type count struct{ right, all float64 }
	table := map[string]*count{}
	confusion := map[[2]string]float64{}
	for _, r := range trackRounds(t) {
		c := table[r.kind]
		if c == nil {
			c = &count{}
			table[r.kind] = c
		}
		spans := detect.FromTrack(r.track).Gaits
		const dt = 0.1
		for _, g := range r.gaits {
			name, from, to := g[0].(string), g[1].(float64), g[2].(float64)
			for at := from + dt/2; at < to; at += dt {
				for _, s := range spans {
					if s.FromS <= at && at < s.ToS {
						c.all += dt
						confusion[[2]string{name, s.Gait.String()}] += dt
						if s.Gait.String() == name {
							c.right += dt
						}
					}
				}
			}
		}
	}
	for _, k := range []string{"1 Hz", "1 Hz, lag", "5-10 Hz"} {
		c := table[k]
		t.Logf("%s: right %.4f of %.0f s", k, c.right/c.all, c.all)
		require.Greater(t, c.right/c.all, 0.93)
	}
	names := []string{"halt", "walk", "trot", "canter"}
	for _, a := range names {
		row := a + ":"
		for _, b := range names {
			row += " " + b + " " + fmtSeconds(confusion[[2]string{a, b}])
		}
		t.Log(row)
	}
}
