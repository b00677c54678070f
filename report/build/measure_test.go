package build

import (
	"math"
	"math/rand/v2"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/course/follow"
	"groundline/course/place"
	"groundline/detect"
	"groundline/report"
	"groundline/trace"
)

func TestWeighIsTheInverseVarianceMean(t *testing.T) {
	// 20 ± 1 and 22 ± 2 (standard deviations): weights 1 and 1/4, so 20.4 with sqrt(1/1.25).
	e := weigh(trace.FromSD(20, 1), trace.FromSD(22, 2))
	require.InDelta(t, 20.4, e.Value, 1e-12)
	require.InDelta(t, math.Sqrt(1/1.25), e.SD(), 1e-12)
	// What disagrees by far gets a wider interval, not a narrower one.
	require.Greater(t, weigh(trace.FromSD(20, 0.1), trace.FromSD(22, 0.1)).SD(), 0.5)
}

func TestSlopeOfBeats(t *testing.T) {
	slope, sd := slopeOf([]float64{1, 1.6, 2.2, 2.8})
	require.InDelta(t, 0.6, slope, 1e-12)
	require.InDelta(t, 0, sd, 1e-9)
	// One beat late by 0.02: least squares by hand gives slope 0.602 and residuals whose sum of squares is 1.2e-4.
	slope, sd = slopeOf([]float64{1, 1.6, 2.22, 2.8})
	require.InDelta(t, 0.602, slope, 1e-12)
	require.InDelta(t, math.Sqrt(2.8e-4/2/5), sd, 1e-9)
}

func TestRhythm(t *testing.T) {
	require.Nil(t, rhythm([]float64{1, 1.6, 2.2}), "two strides tell no rhythm")
	e := rhythm([]float64{0, 0.6, 1.2, 1.8, 2.4})
	require.Zero(t, e.Value)
	// Strides that vary by 5 % about 0.6 s; a beat's own jitter is half a per cent of a stride and comes off.
	rng := rand.New(rand.NewPCG(1, 2))
	in := 0
	for range 300 {
		b := []float64{0}
		for range 12 {
			b = append(b, b[len(b)-1]+0.6*(1+0.05*rng.NormFloat64()))
		}
		for i := range b {
			b[i] += 0.003 * rng.NormFloat64()
		}
		if e := rhythm(b); e.Low <= 0.05 && 0.05 <= e.High {
			in++
		}
	}
	// A beat's jitter makes neighbouring strides differ in opposite ways, so the interval is a little wide.
	require.InDelta(t, 0.9, float64(in)/300, 0.07)
}

func TestLateIsTheMixtureOfReceivers(t *testing.T) {
	r := &ride{prior: priorFor()}
	r.rec = &trace.Recording{Positions: &trace.Positions{RateHz: 1}}
	e := r.late(10, 0.1)
	rng := rand.New(rand.NewPCG(3, 4))
	var x []float64
	for range 40000 {
		v := 10 + 0.1*rng.NormFloat64()
		if rng.Float64() < r.prior.lagShare {
			v -= r.prior.lagS
		}
		x = append(x, v)
	}
	sort.Float64s(x)
	require.InDelta(t, x[2000], e.Low, 0.01)
	require.InDelta(t, x[38000], e.High, 0.01)
	r.rec.Positions.RateHz = 10
	require.Equal(t, trace.FromSD(10, 0.1), *r.late(10, 0.1))
}

// legsOf are lines of so many strides of strideS at v, as positions alone would time them.
func legsOf(rng *rand.Rand, counts []int, strideS, v, sd float64) *ride {
	r := &ride{prior: priorFor()}
	for _, n := range counts {
		d := (float64(n)+r.prior.edges)*strideS + sd*rng.NormFloat64()
		s := trace.FromSD(v, 0.05)
		r.legs = append(r.legs, leg{durS: d, durSD: sd, speed: &s})
	}
	return r
}

func TestStridesMustBeWholeTogether(t *testing.T) {
	counts := []int{5, 4, 6, 13, 5, 18, 4}
	rng := rand.New(rand.NewPCG(5, 6))
	right, within, all := 0, 0, 0
	for range 60 {
		r := legsOf(rng, counts, 0.58+0.05*rng.Float64(), 5.5, 0.06)
		r.estimateStrides()
		for i, n := range counts {
			s := r.legs[i].strides
			require.Equal(t, "estimated", r.legs[i].by)
			require.True(t, s.Low <= s.Value && s.Value <= s.High)
			if n > 9 {
				continue
			}
			all++
			if math.Round(s.Value) == float64(n) {
				right++
			}
			if s.Low <= float64(n) && float64(n) <= s.High {
				within++
			}
		}
	}
	t.Logf("exact %d, inside %d of %d", right, within, all)
	require.Greater(t, float64(right)/float64(all), 0.93)
	require.Greater(t, float64(within)/float64(all), 0.93)
	// One line alone at an unknown stride time is not called certain.
	r := legsOf(rng, []int{12}, 0.6, 5.5, 0.06)
	r.estimateStrides()
	require.Greater(t, r.legs[0].strides.High-r.legs[0].strides.Low, 0.9)
	// Strides that somebody counted say what the others' stride time is.
	r = legsOf(rng, []int{7, 5}, 0.53, 5.5, 0.03)
	n, st := trace.Exactly(7), trace.FromSD(0.53, 0.003)
	r.legs[0].strides, r.legs[0].by, r.legs[0].strideS = &n, "counted", &st
	r.estimateStrides()
	require.InDelta(t, 5, r.legs[1].strides.Value, 0.3)
	require.InDelta(t, 0.53, r.legs[1].strideS.Value, 0.02)
}

func TestSlopeFromLines(t *testing.T) {
	r := &ride{}
	r.plan = &course.Plan{Home: &course.Point{}}
	r.surface, _ = course.NewSurface([]course.Spot{{X: 0, Y: 0, Z: 0}, {X: 50, Y: 0, Z: 1}, {X: 0, Y: 50, Z: 0}})
	require.NotNil(t, r.surface)
	// v = 5.5 - 0.08 per cent of grade + 0.2 towards home, to the letter.
	var lines []report.Line
	for _, q := range [][2]float64{{-2, 0.9}, {-1, -0.8}, {0, 0.1}, {1, 0.7}, {2, -0.9}, {1.5, -0.2}, {-1.5, 0.3}} {
		v, g, h := trace.FromSD(5.5-0.08*q[0]+0.2*q[1], 0.05), q[0]/100, q[1]
		lines = append(lines, report.Line{Kind: "related", SpeedMS: &v, Grade: &g, Homeward: &h})
	}
	s := r.tellSlope(lines)
	require.NotNil(t, s)
	require.InDelta(t, -0.08, s.PerPercentMS.Value, 1e-9)
	require.InDelta(t, 0.2, s.HomewardMS.Value, 1e-9)
	require.Equal(t, 7, s.N)
	// Home lies downhill: nobody can tell the two apart, and the notes say so.
	for i := range lines {
		h := -*lines[i].Grade * 40
		lines[i].Homeward = &h
	}
	require.Nil(t, r.tellSlope(lines))
	require.Contains(t, r.notes[len(r.notes)-1].What, "not told apart")
	require.Nil(t, r.tellSlope(lines[:4]))
}

func TestCrossing(t *testing.T) {
	var q place.Piece
	for i := range 400 {
		q.X, q.Y, q.VX, q.VY = append(q.X, 0.3), append(q.Y, float64(i)*0.25), append(q.VX, 0), append(q.VY, 5)
		q.PlaceSDM, q.SpeedSDMS = append(q.PlaceSDM, 0.1), append(q.SpeedSDMS, 0.1)
	}
	p := &place.Path{Pieces: []place.Piece{q}}
	at, ok := crossing(p, [2]course.Point{{X: -4, Y: 10.1}, {X: 4, Y: 10.1}}, 0, 15, true)
	require.True(t, ok)
	require.InDelta(t, 10.1/5, at, 1e-9)
	_, ok = crossing(p, [2]course.Point{{X: 9, Y: 10}, {X: 17, Y: 10}}, 0, 15, true)
	require.False(t, ok, "far beside the line")
	_, ok = crossing(p, [2]course.Point{{X: -4, Y: 10}, {X: 4, Y: 10}}, 5, 15, true)
	require.False(t, ok, "not in that time")
	_, ok = crossing(p, [2]course.Point{{X: 1, Y: 1}, {X: 1, Y: 1}}, 0, 15, true)
	require.False(t, ok, "no line at all")
}

func TestFlightsAreWithinThePublishedBand(t *testing.T) {
	// A trunk's low-load time lies between the ballistic flights of 0.35 to 0.80 s less what the body's turning hides.
	for _, h := range []float64{0.3, 0.6, 0.9, 1.2, 1.5} {
		s, sd := flightOver(course.Obstacle{HeightM: h, SpreadM: 1})
		require.True(t, s > 0.3 && s+sd < 0.8, "%v m: %v s", h, s)
	}
}

func TestDistanceOfNoEffort(t *testing.T) {
	r := &ride{prior: priorFor()}
	r.plan = &course.Plan{Obstacles: []course.Obstacle{{ID: "1"}}}
	for _, o := range []follow.Outcome{follow.Refused, follow.RanOut} {
		require.Equal(t, effort{}, r.measureEffort(follow.Effort{Outcome: o, Jump: -1}))
	}
}

// A receiver that shows the canter's wave settles the stride time that the prior would take for a horse's.
func TestTheWaveSettlesTheStrideTime(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	counts := []int{12, 9, 15}
	r := legsOf(rng, counts, 0.50, 5.4, 0.05)
	for i := range r.legs {
		m := &r.legs[i]
		m.fromS, m.toS = float64(i)*20, float64(i)*20+m.durS
	}
	w := &detect.Wave{}
	for s := 0.0; s < 60; s += 0.5 {
		w.TimeS, w.FrequencyHz, w.SDHz = append(w.TimeS, s), append(w.FrequencyHz, 2.0), append(w.SDHz, 0.02)
	}
	r.wave = w
	r.estimateStrides()
	for i, n := range counts {
		require.InDelta(t, float64(n), r.legs[i].strides.Value, 0.5)
		require.InDelta(t, 0.50, r.legs[i].strideS.Value, 0.01)
	}
	r.legs[0].toS = r.legs[0].fromS + 1
	_, ok := r.waveTime(&r.legs[0])
	require.False(t, ok, "too short to tell")
}
