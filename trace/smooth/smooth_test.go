package smooth_test

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"io"
	"math"
	"math/rand"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/trace"
	"groundline/trace/geo"
	"groundline/trace/smooth"
)

var field = geo.NewFrame(geo.LatLon{LatDeg: 52, LonDeg: 11}, 60)

// ride is an invented way: where the horse is after t seconds, metres.
type ride func(t float64) (e, n float64)

// oval rides a school's track at an even pace: 30-m long sides and half circles of 9 m radius.
func oval(speed float64) ride {
	const r, straight = 9.0, 30.0
	const half = straight + math.Pi*r
	return func(t float64) (float64, float64) {
		s := math.Mod(speed*t, 2*half)
		side := 1.0
		if s > half {
			s -= half
			side = -1
		}
		e, n := s-straight/2, -r
		if s > straight {
			a := (s - straight) / r
			e, n = straight/2+r*math.Sin(a), -r*math.Cos(a)
		}
		return side * e, side * n
	}
}

// record is a receiver's record of a ride: white noise, a wander and n fixes at a rate with jitter.
func record(rng *rand.Rand, way ride, n int, rateHz, white, wander, tau float64) *trace.Positions {
	p := &trace.Positions{RateHz: rateHz}
	var we, wn = wander * rng.NormFloat64(), wander * rng.NormFloat64()
	last := 0.0
	for i := range n {
		at := float64(i)/rateHz + 0.05/rateHz*rng.Float64()
		decay := math.Exp(-(at - last) / tau)
		grow := wander * math.Sqrt(1-decay*decay)
		we, wn = we*decay+grow*rng.NormFloat64(), wn*decay+grow*rng.NormFloat64()
		last = at
		e, no := way(at)
		ll, _ := field.FromENU(e+we+white*rng.NormFloat64(), no+wn+white*rng.NormFloat64(), 0)
		p.TimeS, p.LatDeg, p.LonDeg, p.Segment = append(p.TimeS, at), append(p.LatDeg, ll.LatDeg), append(p.LonDeg, ll.LonDeg), append(p.Segment, 0)
	}
	return p
}

// Over many invented rides nine in ten 90 % intervals hold the truth, and errors are no
// smaller than they claim, for lengths, speeds and velocities.
func TestIntervalsHold(t *testing.T) {
	rng := rand.New(rand.NewSource(11))
	for _, kind := range []struct {
		rate, white, wander float64
		fixes               int
	}{{1, 0.3, 1.2, 90}, {10, 0.12, 0.6, 500}} {
		var length, speed, velocity score
		for range 15 {
			v := 3.5 + 2.5*rng.Float64()
			// No horse keeps an even pace.
			waver, slow := 0.02+0.06*rng.Float64(), 1.3+2*rng.Float64()
			along := func(at float64) float64 { return at + waver*slow*math.Sin(at/slow) }
			way := func(at float64) (float64, float64) { return oval(v)(along(at)) }
			p := record(rng, way, kind.fixes, kind.rate, kind.white, kind.wander, 60)
			tr, err := smooth.Smooth(p, field, smooth.Options{})
			require.NoError(t, err)
			end := p.TimeS[len(p.TimeS)-1]
			for at := 6.0; at+9 < end-6; at += 9 {
				l, ok := tr.PathLength(at, at+7.3)
				require.True(t, ok)
				length.add(l, v*(along(at+7.3)-along(at)))
				s, ok := tr.At(at + 0.37)
				require.True(t, ok)
				speed.add(s.Speed(), v*(1+waver*math.Cos((at+0.37)/slow)))
				e0, _ := way(at + 0.37 - 1e-4)
				e1, _ := way(at + 0.37 + 1e-4)
				velocity.add(trace.FromSD(s.VE, math.Sqrt(s.Cov[2][2])), (e1-e0)/2e-4)
			}
		}
		t.Logf("%g Hz\n length %v\n speed %v\n velocity %v", kind.rate, &length, &speed, &velocity)
		for name, s := range map[string]*score{"length": &length, "speed": &speed, "velocity": &velocity} {
			share := float64(s.covered) / float64(s.n)
			// Few rides, and the errors of one ride hang together: 0.90 within 0.08.
			require.Greater(t, share, 0.82, "%s at %g Hz", name, kind.rate)
			require.Less(t, math.Abs(s.bias)/float64(s.n), 0.3, name)
		}
		require.Less(t, float64(length.covered)/float64(length.n), 0.995, "intervals are not empty talk")
	}
}

// Nothing depends on where the ride was, how it was turned or when.
func TestInvariance(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		seed := rapid.Int64Range(1, 1000).Draw(rt, "seed")
		angle := rapid.Float64Range(-3, 3).Draw(rt, "turn")
		de := rapid.Float64Range(-300, 300).Draw(rt, "east")
		later := rapid.Float64Range(0, 5000).Draw(rt, "later")
		way := oval(4.7)
		turned := func(at float64) (float64, float64) {
			e, n := way(at)
			c, s := math.Cos(angle), math.Sin(angle)
			return e*c - n*s + de, e*s + n*c
		}
		noise := smooth.Noise{WhiteM: 0.3, WanderM: 1, ThrustMS2: 0.6, SwerveMS2: 1.6}
		o := smooth.Options{Noise: &noise}
		// The same noise in the ride's own axes would need turning too: ride without noise.
		a := record(rand.New(rand.NewSource(seed)), way, 40, 1, 0, 0, 60)
		b := record(rand.New(rand.NewSource(seed)), turned, 40, 1, 0, 0, 60)
		for i := range b.TimeS {
			b.TimeS[i] += later
		}
		ta, err := smooth.Smooth(a, field, o)
		require.NoError(rt, err)
		tb, err := smooth.Smooth(b, field, o)
		require.NoError(rt, err)
		for at := 3.3; at < 36; at += 7 {
			sa, ok := ta.At(at)
			require.True(rt, ok)
			sb, ok := tb.At(at + later)
			require.True(rt, ok)
			require.InDelta(rt, sa.Speed().Value, sb.Speed().Value, 1e-4)
			require.InDelta(rt, sa.Speed().SD(), sb.Speed().SD(), 1e-4)
			c, s := math.Cos(angle), math.Sin(angle)
			require.InDelta(rt, sa.EM*c-sa.NM*s+de, sb.EM, 1e-3)
			require.InDelta(rt, sa.EM*s+sa.NM*c, sb.NM, 1e-3)
		}
		la, ok := ta.PathLength(5, 30)
		require.True(rt, ok)
		lb, ok := tb.PathLength(5+later, 30+later)
		require.True(rt, ok)
		require.InDelta(rt, la.Value, lb.Value, 1e-3)
		require.InDelta(rt, la.SD(), lb.SD(), 1e-3)
	})
}

// Twenty metres off for one fix, and for two in a row.
func TestOutliers(t *testing.T) {
	rng := rand.New(rand.NewSource(12))
	clean := record(rng, oval(5), 80, 1, 0.25, 1, 60)
	spoilt := record(rand.New(rand.NewSource(12)), oval(5), 80, 1, 0.25, 1, 60)
	for _, i := range []int{20, 50, 51} {
		spoilt.LatDeg[i] += 20 / 111e3
	}
	a, err := smooth.Smooth(clean, field, smooth.Options{})
	require.NoError(t, err)
	require.Empty(t, a.Outliers)
	b, err := smooth.Smooth(spoilt, field, smooth.Options{})
	require.NoError(t, err)
	require.Equal(t, []int{20, 50, 51}, b.Outliers)
	la, _ := a.PathLength(10, 70)
	lb, _ := b.PathLength(10, 70)
	require.InDelta(t, la.Value, lb.Value, 6, "300 m")
}

// A gap splits the track; nothing is told across it.
func TestGapIsNotBridged(t *testing.T) {
	p := record(rand.New(rand.NewSource(13)), oval(5), 60, 1, 0.25, 1, 60)
	cut := func(v []float64) []float64 { return append(append([]float64(nil), v[:30]...), v[36:]...) }
	p.TimeS, p.LatDeg, p.LonDeg, p.Segment = cut(p.TimeS), cut(p.LatDeg), cut(p.LonDeg), p.Segment[:54]
	tr, err := smooth.Smooth(p, field, smooth.Options{})
	require.NoError(t, err)
	require.Len(t, tr.Pieces, 2)
	_, ok := tr.At(32)
	require.False(t, ok)
	_, ok = tr.PathLength(20, 40)
	require.False(t, ok)
	require.Nil(t, tr.States(20, 40))
	_, ok = tr.PathLength(10, 25)
	require.True(t, ok)

	// The device's own segments are pieces too.
	p = record(rand.New(rand.NewSource(13)), oval(5), 60, 1, 0.25, 1, 60)
	for i := 25; i < 60; i++ {
		p.Segment[i] = 1
	}
	tr, err = smooth.Smooth(p, field, smooth.Options{})
	require.NoError(t, err)
	require.Len(t, tr.Pieces, 2)
}

func TestNoTrack(t *testing.T) {
	good := record(rand.New(rand.NewSource(14)), oval(5), 20, 1, 0.25, 1, 60)
	nan := *good
	nan.LatDeg = append([]float64(nil), good.LatDeg...)
	nan.LatDeg[7] = math.NaN()
	back := *good
	back.TimeS = append([]float64(nil), good.TimeS...)
	back.TimeS[7] = back.TimeS[6]
	few := &trace.Positions{TimeS: []float64{0, 1, 2}, LatDeg: []float64{1, 1, 1}, LonDeg: []float64{1, 1, 1}}
	sparse := record(rand.New(rand.NewSource(14)), oval(5), 20, 1, 0.25, 1, 60)
	for i := range sparse.Segment {
		sparse.Segment[i] = i
	}
	for name, p := range map[string]*trace.Positions{"none": nil, "empty": {}, "few": few, "NaN": &nan, "time stands": &back, "all apart": sparse} {
		_, err := smooth.Smooth(p, field, smooth.Options{})
		require.ErrorIs(t, err, smooth.ErrNoTrack, name)
	}
	far := *good
	far.TimeS = append([]float64(nil), good.TimeS...)
	far.TimeS[19] = 1e12
	_, err := smooth.Smooth(&far, field, smooth.Options{MaxGapS: math.Inf(1)})
	require.ErrorIs(t, err, smooth.ErrNoTrack, "would need too many nodes")
}

// A receiver that stands still, and one that repeats one place, must give numbers.
func TestStandingStill(t *testing.T) {
	for name, white := range map[string]float64{"noisy": 0.2, "frozen": 0} {
		p := record(rand.New(rand.NewSource(15)), func(float64) (float64, float64) { return 3, 4 }, 60, 1, white, 0, 60)
		tr, err := smooth.Smooth(p, field, smooth.Options{})
		require.NoError(t, err, name)
		l, ok := tr.PathLength(10, 50)
		require.True(t, ok)
		require.Less(t, l.Value, 8.0, name)
		require.GreaterOrEqual(t, l.Low, 0.0)
		require.False(t, math.IsNaN(l.High) || math.IsInf(l.High, 0))
	}
}

// Taking out a lag of known size undoes a first-order filter.
func TestUnlag(t *testing.T) {
	const lag, v = 0.5, 5.0
	way := oval(v)
	// The filter run in fine steps over the ride.
	fe, fn := way(0)
	at := 0.0
	lagged := func(want float64) (float64, float64) {
		for ; at < want; at += 0.002 {
			e, n := way(at)
			fe += (e - fe) * 0.002 / lag
			fn += (n - fn) * 0.002 / lag
		}
		return fe, fn
	}
	p := record(rand.New(rand.NewSource(16)), lagged, 400, 5, 0.02, 0.05, 60)
	tr, err := smooth.Smooth(p, field, smooth.Options{})
	require.NoError(t, err)
	seen, _ := tr.PathLength(10, 70)
	freed, _ := tr.Unlag(lag).PathLength(10, 70)
	require.Less(t, seen.Value, 60*v*0.985, "the filter cut the corners")
	require.InDelta(t, 60*v, freed.Value, 60*v*0.006)
	s, ok := tr.Unlag(lag).At(40)
	require.True(t, ok)
	e, n := way(40)
	require.Less(t, math.Hypot(s.EM-e, s.NM-n), 0.25)
}

// The device's own speed, where it is good, narrows the doubt.
func TestDeviceSpeedHelps(t *testing.T) {
	rng := rand.New(rand.NewSource(17))
	p := record(rng, oval(5), 90, 1, 0.4, 1.3, 60)
	without, err := smooth.Smooth(p, field, smooth.Options{})
	require.NoError(t, err)
	for range p.TimeS {
		p.SpeedMS = append(p.SpeedMS, 5+0.3*rng.NormFloat64())
	}
	with, err := smooth.Smooth(p, field, smooth.Options{})
	require.NoError(t, err)
	a, _ := without.PathLength(20, 30)
	b, _ := with.PathLength(20, 30)
	require.Less(t, b.SD(), a.SD())
	require.InDelta(t, 50, b.Value, 1)
	require.InDelta(t, 0.3, with.Noise.SpeedMS, 0.1)
}

// Satellite fixes with centimetre truth, from a public recording (BSD-3-Clause): a car and
// a walker. Positions made the track; the receiver's Doppler velocity, which is independent of
// them, judges it.
func TestAgainstDopplerVelocity(t *testing.T) {
	dir := "../../../shared/data/real/gnss-rtk"
	for _, c := range []struct {
		name, gpx   string
		lengthShare float64 // of the whole way
		speedMS     float64 // median error of the speed
	}{
		{"drive-1", "drive-1.4hz.gpx.gz", 0.01, 0.05},
		{"drive-3", "drive-3.4hz.gpx.gz", 0.01, 0.05},
		{"walk-a", "walk-a.4hz.gpx.gz", 0.04, 0.1},
		{"drive-1", "drive-1.1hz.gpx.gz", 0.01, 0.15},
		{"drive-3", "drive-3.1hz.gpx.gz", 0.01, 0.15},
	} {
		raw, err := os.ReadFile(filepath.Join(dir, c.gpx))
		if err != nil {
			t.Skip("the recordings with centimetre truth are not beside the project")
		}
		p, f := fixesOf(t, gunzip(t, raw))
		f = geo.NewFrame(f.Origin, 1600) // their height by the recordings' README
		tr, err := smooth.Smooth(p, f, smooth.Options{})
		require.NoError(t, err)
		raw, err = os.ReadFile(filepath.Join(dir, c.name+".rtk.csv.gz"))
		require.NoError(t, err)
		rows, err := csv.NewReader(bytes.NewReader(gunzip(t, raw))).ReadAll()
		require.NoError(t, err)
		num := func(s string) float64 {
			v, err := strconv.ParseFloat(s, 64)
			require.NoError(t, err)
			return v
		}
		start := num(rows[1][0])
		var want float64
		var speed score
		from, to := tr.Pieces[0].FromS, tr.Pieces[0].ToS
		for i, row := range rows[1:] {
			at := num(row[0]) - start
			v := math.Hypot(num(row[9]), num(row[10]))
			if i > 0 && at > from && at <= to {
				want += v * (at - (num(rows[i][0]) - start))
			}
			if s, ok := tr.At(at); ok {
				speed.add(s.Speed(), v)
			}
		}
		got, ok := tr.PathLength(from, to)
		require.True(t, ok)
		t.Logf("%s: length %.2f (Doppler %.2f), speed %v, noise %+v", c.gpx, got.Value, want, &speed, tr.Noise)
		require.InDelta(t, want, got.Value, c.lengthShare*want, c.gpx)
		require.Less(t, speed.median(), c.speedMS, c.gpx)
	}
}

func gunzip(t testing.TB, raw []byte) []byte {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(raw))
	require.NoError(t, err)
	out, err := io.ReadAll(z)
	require.NoError(t, err)
	return out
}

// Whatever valid fixes come in, finite figures or an error come out.
func TestGarbageIn(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(4, 30).Draw(rt, "n")
		wide := rapid.SampledFrom([]float64{1e-7, 1e-4, 0.1, 90}).Draw(rt, "spread")
		p := &trace.Positions{}
		at := 0.0
		for range n {
			at += rapid.SampledFrom([]float64{1e-6, 0.1, 1, 3, 50}).Draw(rt, "step")
			p.TimeS = append(p.TimeS, at)
			p.LatDeg = append(p.LatDeg, rapid.Float64Range(-wide, wide).Draw(rt, "lat"))
			p.LonDeg = append(p.LonDeg, rapid.Float64Range(-2*wide, 2*wide).Draw(rt, "lon"))
			p.SpeedMS = append(p.SpeedMS, rapid.SampledFrom([]float64{0, 5, 1e4, math.NaN(), math.Inf(1)}).Draw(rt, "speed"))
		}
		p.RateHz = float64(n) / at
		if rapid.Bool().Draw(rt, "no speeds") {
			p.SpeedMS = nil
		}
		tr, err := smooth.Smooth(p, geo.NewFrame(geo.LatLon{}, 0), smooth.Options{})
		if err != nil {
			require.ErrorIs(rt, err, smooth.ErrNoTrack)
			return
		}
		for _, piece := range tr.Pieces {
			mid := (piece.FromS + piece.ToS) / 2
			// Fixes that jump over continents in a microsecond may be beyond computing.
			s, ok := tr.At(mid)
			if !ok {
				continue
			}
			l, ok := tr.PathLength(piece.FromS, piece.ToS)
			require.True(rt, ok)
			a, ok := tr.Turned(piece.FromS, mid)
			require.True(rt, ok)
			for _, v := range []float64{s.EM, s.NM, s.VE, s.VN, s.AE, s.AN, s.Cov[0][0], s.Speed().High, l.Value, l.Low, l.High, a.Low, a.High} {
				require.False(rt, math.IsNaN(v) || math.IsInf(v, 0), "%v", v)
			}
		}
	})
}

// One wild fix, or a few, change nothing but that they are told.
func TestWildFixesAreLeftOut(t *testing.T) {
	f := geo.NewFrame(geo.LatLon{LatDeg: 51.4, LonDeg: -2.3}, 0)
	made := func(wild map[int]float64) *trace.Positions {
		p := &trace.Positions{RateHz: 1}
		for i := range 90 {
			a := float64(i) * 5.5 / 20
			ll, _ := f.FromENU(20*math.Cos(a), 20*math.Sin(a)+0.3*math.Sin(float64(i)*7), 0)
			p.TimeS = append(p.TimeS, float64(i))
			p.LatDeg = append(p.LatDeg, ll.LatDeg+wild[i])
			p.LonDeg = append(p.LonDeg, ll.LonDeg)
		}
		return p
	}
	plain, err := smooth.Smooth(made(nil), f, smooth.Options{})
	require.NoError(t, err)
	require.Empty(t, plain.Unreachable)
	for name, wild := range map[string]map[int]float64{
		"a degree": {50: 1}, "a kilometre": {50: 0.01}, "the equator": {50: -51.4},
		"the first": {0: 1}, "the last": {89: -1}, "several": {20: 1, 21: 1, 22: -0.5, 70: 0.01},
	} {
		got, err := smooth.Smooth(made(wild), f, smooth.Options{})
		require.NoError(t, err, name)
		require.Len(t, got.Unreachable, len(wild), name)
		for _, s := range []float64{10, 35, 48.5, 60, 80} {
			a, ok1 := plain.At(s)
			b, ok2 := got.At(s)
			require.True(t, ok1 && ok2, name)
			require.InDelta(t, a.EM, b.EM, 0.3, name)
			require.InDelta(t, a.NM, b.NM, 0.3, name)
		}
	}
}

// Instants in one pass are what each is by itself, to a ten-thousandth of its interval.
func TestMomentsAreWhatAtFinds(t *testing.T) {
	for _, hz := range []float64{1, 10} {
		p := record(rand.New(rand.NewSource(43)), oval(5), int(90*hz), hz, 0.2, 0.8, 60)
		tr, err := smooth.Smooth(p, field, smooth.Options{})
		require.NoError(t, err)
		for _, tr := range []*smooth.Track{tr, tr.Unlag(0.4)} {
			piece := &tr.Pieces[0]
			got := tr.Moments(piece, piece.FromS-1, 0.05, 3000)
			require.InDelta(t, (piece.ToS-piece.FromS)/0.05, float64(len(got)), 2)
			var worst, sum, n float64
			for _, m := range got {
				s, ok := tr.At(m.TimeS)
				require.True(t, ok)
				sd := s.Speed().SD()
				const width = 2 * 1.645 // of an interval, in standard deviations
				for i, d := range [4]float64{s.EM - m.EM, s.NM - m.NM, s.VE - m.VE, s.VN - m.VN} {
					far := math.Abs(d) / (width * math.Sqrt(s.Cov[i][i]))
					worst = max(worst, far)
					sum += far
					n++
				}
				require.InDelta(t, sd, m.SpeedSDMS, 0.05*sd)
			}
			t.Logf("%v Hz, lag %v s: %.4f of the interval, at worst %.4f", hz, tr.LagS, sum/n, worst)
			require.Less(t, sum/n, 1e-4)
			require.Less(t, worst, 1e-3)
			v := tr.Velocities(20.13, 31.77)
			states := tr.States(20.13, 31.77)
			require.Len(t, v, len(states))
			for i, s := range states {
				require.InDelta(t, s.TimeS, v[i].TimeS, 1e-12)
				require.InDelta(t, s.VE, v[i].VE, 1e-9)
				require.InDelta(t, s.VN, v[i].VN, 1e-9)
			}
		}
	}
}
