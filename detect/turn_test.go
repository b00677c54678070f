package detect_test

import (
	"compress/gzip"
	"encoding/csv"
	"io"
	"math"
	"math/rand"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/detect"
	"groundline/trace"
	"groundline/trace/geo"
	track "groundline/trace/smooth"
)

var arena = geo.NewFrame(geo.LatLon{LatDeg: 47, LonDeg: -122}, 100)

// bend is a way of 25 m straight, a turn and 25 m straight; the turn's curvature rises and falls over
// 1.5 m and is even between.
type bend struct{ radiusM, angleRad, speedMS float64 }

func (b bend) lengthM() float64 { return 50 + 1.5 + math.Abs(b.angleRad)*b.radiusM }

// ride is the recording of a bend, first at the place where the straight begins.
func (b bend) ride(rng *rand.Rand, rateHz, whiteM, wanderM float64) *trace.Positions {
	const ds = 0.01
	const ramp = 1.5
	arc := math.Abs(b.angleRad) * b.radiusM
	waver, slow, phase := 0.05*rng.Float64(), 1.3+2*rng.Float64(), 6*rng.Float64()
	p := &trace.Positions{RateHz: rateHz}
	var e, n, at, nextFix float64
	heading := 6 * rng.Float64()
	var we, wn, last float64
	we, wn = wanderM*rng.NormFloat64(), wanderM*rng.NormFloat64()
	for s := 0.0; s < b.lengthM(); s += ds {
		if at >= nextFix {
			decay := math.Exp(-(at - last) / 60)
			grow := wanderM * math.Sqrt(1-decay*decay)
			we, wn, last = we*decay+grow*rng.NormFloat64(), wn*decay+grow*rng.NormFloat64(), at
			ll, _ := arena.FromENU(e+we+whiteM*rng.NormFloat64(), n+wn+whiteM*rng.NormFloat64(), 100)
			p.TimeS, p.LatDeg, p.LonDeg, p.Segment = append(p.TimeS, at), append(p.LatDeg, ll.LatDeg), append(p.LonDeg, ll.LonDeg), append(p.Segment, 0)
			nextFix += 1 / rateHz
		}
		share := min((s-25)/ramp, (25+arc+ramp-s)/ramp, 1)
		if share > 0 {
			heading += math.Copysign(share/b.radiusM, b.angleRad) * ds
		}
		e += math.Cos(heading) * ds
		n += math.Sin(heading) * ds
		at += ds / (b.speedMS * (1 + waver*math.Cos(at/slow+phase)))
	}
	return p
}

// Turns of 60 to 180 degrees of known radius, left and right: the radius is next to unbiased and its
// interval holds.
func TestTightestIsCalibrated(t *testing.T) {
	rng := rand.New(rand.NewSource(21))
	for _, kind := range []struct {
		rate, white, wander float64
		runs                int
		median, bias        float64
	}{{1, 0.3, 1.2, 80, 0.09, 0.09}, {10, 0.12, 0.6, 30, 0.06, 0.06}} {
		var radius, turned spread
		for range kind.runs {
			b := bend{radiusM: 5.5 + 8*rng.Float64(), angleRad: 1 + 2.1*rng.Float64(), speedMS: 4.5 + 1.5*rng.Float64()}
			if rng.Intn(2) == 0 {
				b.angleRad = -b.angleRad
			}
			tr, err := track.Smooth(b.ride(rng, kind.rate, kind.white, kind.wander), arena, track.Options{})
			require.NoError(t, err)
			turn, ok := detect.TurnBetween(tr, tr.Pieces[0].FromS+1, tr.Pieces[0].ToS-1)
			require.True(t, ok)
			side := "left"
			if b.angleRad < 0 {
				side = "right"
			}
			require.Equal(t, side, turn.Direction)
			radius.add(turn.RadiusMinM, b.radiusM, true)
			turned.add(&turn.TurnedDeg, b.angleRad*180/math.Pi, false)
		}
		t.Logf("%g Hz: radius %v\n turned %v", kind.rate, &radius, &turned)
		require.Less(t, radius.median(), kind.median)
		require.Greater(t, float64(radius.in)/float64(radius.told), 0.75)
		require.Less(t, math.Abs(radius.bias)/float64(radius.told), kind.bias)
	}
}

// A way with a right and a left turn and a straight between: both are found, mirrored they swap sides, and
// the straight has no radius.
func TestTurnsMirror(t *testing.T) {
	for _, sign := range []float64{1, -1} {
		rng := rand.New(rand.NewSource(22))
		p := bend{radiusM: 9, angleRad: sign * 1.6, speedMS: 5}.ride(rng, 5, 0.05, 0.3)
		tr, err := track.Smooth(p, arena, track.Options{})
		require.NoError(t, err)
		turns := detect.Turns(tr, 0, 100)
		require.Len(t, turns, 1)
		require.Equal(t, map[float64]string{1: "left", -1: "right"}[sign], turns[0].Direction)
		require.InDelta(t, sign*1.6*180/math.Pi, turns[0].TurnedDeg.Value, 12)
		require.NotNil(t, turns[0].RadiusMinM)
		require.InDelta(t, 9, turns[0].RadiusMinM.Value, 1)
		require.InDelta(t, 5, turns[0].SpeedMinMS.Value, 0.5)

		straight, ok := detect.TurnBetween(tr, 0.5, 4.5)
		require.True(t, ok)
		require.Equal(t, "straight", straight.Direction)
		require.Nil(t, straight.RadiusMinM)
	}
}

func TestTurnBetweenRefuses(t *testing.T) {
	tr, err := track.Smooth(bend{radiusM: 9, angleRad: 1, speedMS: 5}.ride(rand.New(rand.NewSource(23)), 1, 0.2, 1), arena, track.Options{})
	require.NoError(t, err)
	for _, c := range [][2]float64{{5, 5}, {6, 5}, {5, 5.2}, {-3, 5}, {5, 1e6}, {math.NaN(), 5}} {
		_, ok := detect.TurnBetween(tr, c[0], c[1])
		require.False(t, ok, "%v", c)
	}
	require.Empty(t, detect.Turns(tr, 50, 40))
}

// Turns of a car and of a walker with centimetre truth, from a public recording (BSD-3-Clause). The
// recording's own table has the mean radius of each, arc over angle, good to some 15 %: the radius
// of the same stretch must agree with it, and its side and angle too.
func TestTurnsOfSatelliteTruth(t *testing.T) {
	dir := "../../shared/data/real/gnss-rtk/"
	var radius spread
	for _, name := range []string{"drive-1", "drive-3"} {
		file, err := os.Open(dir + name + ".4hz.gpx.gz")
		if err != nil {
			t.Skip("the recordings with centimetre truth are not beside the project")
		}
		z, err := gzip.NewReader(file)
		require.NoError(t, err)
		raw, err := io.ReadAll(z)
		require.NoError(t, err)
		file.Close()
		p, f := plainGPX(t, raw)
		tr, err := track.Smooth(p, geo.NewFrame(f.Origin, 1600), track.Options{})
		require.NoError(t, err)
		start := startOf(t, raw)

		file, err = os.Open(dir + name + ".turns.csv")
		require.NoError(t, err)
		rows, err := csv.NewReader(file).ReadAll()
		require.NoError(t, err)
		file.Close()
		found := detect.Turns(tr, 0, 1e9)
		for _, row := range rows[1:] {
			var v []float64
			for _, s := range row {
				x, err := strconv.ParseFloat(s, 64)
				require.NoError(t, err)
				v = append(v, x)
			}
			a, b := v[0]-start, v[1]-start
			turned, ok := tr.Turned(a, b)
			require.True(t, ok)
			require.InDelta(t, -v[2], turned.Value*180/math.Pi, 8)
			l, ok := tr.PathLength(a, b)
			require.True(t, ok)
			mean := trace.FromSD(l.Value/math.Abs(turned.Value), 0)
			radius.add(&mean, v[4], true)
			require.InDelta(t, v[4], mean.Value, 0.15*v[4])
			// A circle through the same stretch has the table's radius, which was fitted to the raw positions.
			var e, n []float64
			for _, s := range tr.States(a, b) {
				e, n = append(e, s.EM), append(n, s.NM)
			}
			circle, ok := detect.FitTaubin(e, n)
			require.True(t, ok)
			require.InDelta(t, v[5], circle.RadiusM, 0.06*v[5])
			// The same turn is among those found, no wider at its tightest than on the whole.
			hit := false
			for _, turn := range found {
				if turn.FromS < (a+b)/2 && turn.ToS > (a+b)/2 {
					hit = true
					require.Equal(t, v[2] < 0, turn.Direction == "left")
					require.NotNil(t, turn.RadiusMinM)
					require.Less(t, turn.RadiusMinM.Value, 1.1*v[4])
					require.Greater(t, turn.RadiusMinM.Value, 0.4*v[4])
				}
			}
			require.True(t, hit, "turn at %.1f s", a)
		}
	}
	t.Logf("mean radius: %v", &radius)
}
