package survey

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/trace"
	"groundline/trace/geo"
)

var here = geo.LatLon{LatDeg: 51.4, LonDeg: -2.3}

// walk is a track at 1 Hz along places of (second, east, north), straight between them.
func walk(stops [][3]float64, noiseM float64, seed uint64) *trace.Positions {
	r := rand.New(rand.NewPCG(seed, 1))
	f := geo.NewFrame(here, 0)
	p := &trace.Positions{RateHz: 1}
	for k := 1; k < len(stops); k++ {
		a, b := stops[k-1], stops[k]
		for t := a[0]; t < b[0]; t++ {
			w := (t - a[0]) / (b[0] - a[0])
			at, _ := f.FromENU(a[1]+w*(b[1]-a[1])+noiseM*r.NormFloat64(), a[2]+w*(b[2]-a[2])+noiseM*r.NormFloat64(), 0)
			p.TimeS = append(p.TimeS, t)
			p.LatDeg = append(p.LatDeg, at.LatDeg)
			p.LonDeg = append(p.LonDeg, at.LonDeg)
			p.Segment = append(p.Segment, 0)
		}
	}
	return p
}

func offM(at geo.LatLon, e, n float64) float64 {
	x, y, _ := geo.NewFrame(here, 0).ToENU(at, 0)
	return math.Hypot(x-e, y-n)
}

// Somebody walks to a fence, stands there for ten seconds and walks on: the mark is where they stood, better
// than any single fix of noise 0.3 m (expected 0.3·√(2/10) = 0.13 m).
func TestStandingStillIsAveraged(t *testing.T) {
	stops := [][3]float64{{0, 0, 0}, {20, 28, 0}, {30, 28, 0}, {50, 28, 28}}
	sum, worst := 0.0, 0.0
	for seed := range uint64(40) {
		at, stood, ok := placeAt(walk(stops, 0.3, seed), 24.4)
		require.True(t, ok)
		require.InDelta(t, 10, stood, 4)
		d := offM(at, 28, 0)
		sum += d / 40
		worst = max(worst, d)
	}
	require.Less(t, sum, 0.25)
	require.Less(t, worst, 0.7)
}

// Pressed on the move the mark is on the way between the two fixes.
func TestPressedOnTheMove(t *testing.T) {
	at, stood, ok := placeAt(walk([][3]float64{{0, 0, 0}, {100, 140, 0}}, 0, 1), 50.25)
	require.True(t, ok)
	require.Zero(t, stood)
	require.Less(t, offM(at, 50.25*1.4, 0), 0.01)
}

func TestNoPlaceInGapsAndBeyondTheEnds(t *testing.T) {
	p := walk([][3]float64{{10, 0, 0}, {110, 140, 0}}, 0, 1)
	for _, s := range []float64{-1, 4, 200} {
		_, _, ok := placeAt(p, s)
		require.False(t, ok, "%v", s)
	}
	for _, s := range []float64{6, 10, 109, 113} {
		_, _, ok := placeAt(p, s)
		require.True(t, ok, "%v", s)
	}
	cut := &trace.Positions{}
	for i, s := range p.TimeS {
		if s < 40 || s >= 80 {
			cut.TimeS, cut.LatDeg = append(cut.TimeS, s), append(cut.LatDeg, p.LatDeg[i])
			cut.LonDeg, cut.Segment = append(cut.LonDeg, p.LonDeg[i]), append(cut.Segment, 0)
		}
	}
	_, _, ok := placeAt(cut, 60)
	require.False(t, ok)
	at, _, ok := placeAt(cut, 42)
	require.True(t, ok)
	require.Less(t, offM(at, 29*1.4, 0), 0.01) // the last fix before the gap, nothing drawn across it
	_, _, ok = placeAt(nil, 5)
	require.False(t, ok)
	_, _, ok = placeAt(&trace.Positions{}, 5)
	require.False(t, ok)
	one := &trace.Positions{TimeS: []float64{5}, LatDeg: []float64{51.4}, LonDeg: []float64{-2.3}, Segment: []int{0}}
	at, _, ok = placeAt(one, 6)
	require.True(t, ok)
	require.Less(t, offM(at, 0, 0), 1e-6)
}
