package dsp_test

import (
	"encoding/csv"
	"math"
	"math/cmplx"
	"math/rand"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/trace/dsp"
)

// table reads a CSV with # comments; its first row is the header.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	file, err := os.Open("../../testdata/dsp/" + name)
	require.NoError(t, err)
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1)
	return rows
}

func num(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

// design makes the filter that a row's first five fields describe.
func design(t *testing.T, row []string) (dsp.Filter, float64) {
	t.Helper()
	order, err := strconv.Atoi(row[1])
	require.NoError(t, err)
	low, high, rate := num(t, row[2]), num(t, row[3]), num(t, row[4])
	var f dsp.Filter
	switch row[0] {
	case "low":
		f, err = dsp.Lowpass(order, low, rate)
	case "high":
		f, err = dsp.Highpass(order, low, rate)
	case "band":
		f, err = dsp.Bandpass(order, low, high, rate)
	}
	require.NoError(t, err)
	return f, rate
}

// SciPy 1.10.1, scipy.signal.butter and sosfreqz; the script is testdata/dsp/make.py.
func TestResponseAgainstSciPy(t *testing.T) {
	for _, row := range table(t, "butter.csv")[1:] {
		f, rate := design(t, row)
		want := complex(num(t, row[6]), num(t, row[7]))
		got := f.Response(num(t, row[5]), rate)
		require.Less(t, cmplx.Abs(got-want), 1e-9, "%v: got %v", row, got)
	}
}

// The sections multiplied out have the coefficients of scipy.signal.butter's b and a.
func TestCoefficientsAgainstSciPy(t *testing.T) {
	rows := table(t, "coefficients.csv")[1:]
	for _, row := range rows {
		f, _ := design(t, row)
		poly := []float64{1}
		for _, s := range f {
			p := []float64{s.B0, s.B1, s.B2}
			if row[5] == "a" {
				p = []float64{1, s.A1, s.A2}
			}
			next := make([]float64, len(poly)+2)
			for i, a := range poly {
				for j, b := range p {
					next[i+j] += a * b
				}
			}
			poly = next
		}
		k, err := strconv.Atoi(row[6])
		require.NoError(t, err)
		require.InDelta(t, num(t, row[7]), poly[k], 1e-11, "%v", row)
	}
}

// SciPy 1.10.1, scipy.signal.sosfiltfilt with its default padding.
func TestZeroPhaseAgainstSciPy(t *testing.T) {
	rows := table(t, "zerophase.csv")[1:]
	x := make([]float64, len(rows))
	for i, row := range rows {
		x[i] = num(t, row[0])
	}
	// The designs in the table's order: each new one of butter.csv.
	column := 0
	last := ""
	for _, row := range table(t, "butter.csv")[1:] {
		key := row[0] + row[1] + row[2] + row[3] + row[4]
		if key == last {
			continue
		}
		last = key
		column++
		f, _ := design(t, row)
		for i, got := range f.ZeroPhase(x) {
			require.InDelta(t, num(t, rows[i][column]), got, 1e-8, "%v, sample %d", row[:5], i)
		}
	}
	require.Equal(t, len(rows[0])-1, column)
}

// A Butterworth filter has half the power at its cut whatever its order.
func TestHalfPowerAtTheCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.Float64Range(10, 400).Draw(t, "rate")
		a := rapid.Float64Range(0.02, 0.47).Draw(t, "cut") * rate
		b := a + rapid.Float64Range(0.1, 0.9).Draw(t, "width")*(rate/2-a)
		order := rapid.IntRange(1, 6).Draw(t, "order")
		half := 1 / math.Sqrt2
		f, err := dsp.Lowpass(order, a, rate)
		require.NoError(t, err)
		require.InDelta(t, half, cmplx.Abs(f.Response(a, rate)), 1e-7)
		f, err = dsp.Highpass(order, a, rate)
		require.NoError(t, err)
		require.InDelta(t, half, cmplx.Abs(f.Response(a, rate)), 1e-7)
		f, err = dsp.Bandpass(order, a, b, rate)
		require.NoError(t, err)
		require.InDelta(t, half, cmplx.Abs(f.Response(a, rate)), 1e-6)
		require.InDelta(t, half, cmplx.Abs(f.Response(b, rate)), 1e-6)
	})
}

func TestDesignRefused(t *testing.T) {
	for name, try := range map[string]func() (dsp.Filter, error){
		"order 0":       func() (dsp.Filter, error) { return dsp.Lowpass(0, 1, 10) },
		"order 13":      func() (dsp.Filter, error) { return dsp.Highpass(13, 1, 10) },
		"cut at 0":      func() (dsp.Filter, error) { return dsp.Lowpass(2, 0, 10) },
		"above Nyquist": func() (dsp.Filter, error) { return dsp.Lowpass(2, 5, 10) },
		"NaN":           func() (dsp.Filter, error) { return dsp.Lowpass(2, math.NaN(), 10) },
		"rate infinite": func() (dsp.Filter, error) { return dsp.Lowpass(2, 1, math.Inf(1)) },
		"band reversed": func() (dsp.Filter, error) { return dsp.Bandpass(2, 3, 1, 10) },
	} {
		_, err := try()
		require.ErrorIs(t, err, dsp.ErrDesign, name)
	}
}

func TestZeroPhaseShortInput(t *testing.T) {
	f, err := dsp.Lowpass(4, 6, 100)
	require.NoError(t, err)
	require.Empty(t, f.ZeroPhase(nil))
	for n := 1; n < 30; n++ {
		x := make([]float64, n)
		for i := range x {
			x[i] = 5
		}
		y := f.ZeroPhase(x)
		require.Len(t, y, n)
		for _, v := range y {
			require.InDelta(t, 5, v, 1e-9, "a constant stays, n = %d", n)
		}
	}
}

// Run both ways over a wave, the filter gives the square of its gain and no delay.
func TestZeroPhaseGain(t *testing.T) {
	f, err := dsp.Lowpass(3, 4, 100)
	require.NoError(t, err)
	x := make([]float64, 2000)
	for i := range x {
		x[i] = math.Sin(2 * math.Pi * 5 * float64(i) / 100)
	}
	g := cmplx.Abs(f.Response(5, 100))
	y := f.ZeroPhase(x)
	for i := 500; i < 1500; i++ {
		require.InDelta(t, g*g*x[i], y[i], 1e-6)
	}
}

// NumPy's medians over the same windows (testdata/dsp/make.py).
func TestHampelAgainstNumPy(t *testing.T) {
	var x, want []float64
	for _, row := range table(t, "hampel.csv")[1:] {
		x, want = append(x, num(t, row[0])), append(want, num(t, row[1]))
	}
	got, outliers := dsp.Hampel(x, 4, 3)
	require.InDeltaSlice(t, want, got, 1e-12)
	var differ []int
	for i := range x {
		if want[i] != x[i] {
			differ = append(differ, i)
		}
	}
	require.Equal(t, differ, outliers)
	for _, i := range []int{5, 40, 41, 118} { // the spikes that the script put in
		require.Contains(t, outliers, i)
	}
}

func TestHampelEnds(t *testing.T) {
	got, outliers := dsp.Hampel(nil, 3, 3)
	require.Empty(t, got)
	require.Empty(t, outliers)
	got, outliers = dsp.Hampel([]float64{7}, 3, 3)
	require.Equal(t, []float64{7}, got)
	require.Empty(t, outliers)
}

func TestPiecesKeepGaps(t *testing.T) {
	times := []float64{0.013, 0.021, 0.030, 0.041, 0.2, 0.21, 0.219, 0.905}
	require.Equal(t, []dsp.Piece{
		{From: 0, To: 4, StartS: 0.02, RateHz: 100, N: 3},
		{From: 4, To: 7, StartS: 0.2, RateHz: 100, N: 2},
	}, dsp.Pieces(times, 100, 0.05), "the last sample alone holds no grid point")
	require.Empty(t, dsp.Pieces(nil, 100, 0.05))
}

func TestPiecesGridInsideSamples(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		steps := rapid.SliceOfN(rapid.Float64Range(0.001, 0.3), 1, 60).Draw(t, "steps")
		rate := rapid.Float64Range(10, 200).Draw(t, "rate")
		times := []float64{rapid.Float64Range(-5, 1e5).Draw(t, "start")}
		for _, s := range steps {
			times = append(times, times[len(times)-1]+s)
		}
		x := make([]float64, len(times))
		for i, v := range times {
			x[i] = 3 - 2*(v-times[0]) // a straight line must stay one
		}
		covered := 0
		for _, p := range dsp.Pieces(times, rate, 0.1) {
			for i := p.From + 1; i < p.To; i++ {
				require.LessOrEqual(t, times[i]-times[i-1], 0.1)
			}
			require.GreaterOrEqual(t, p.TimeS(0), times[p.From]-1e-6)
			require.LessOrEqual(t, p.TimeS(p.N-1), times[p.To-1]+1e-6)
			for i, v := range p.Sample(times, x) {
				require.InDelta(t, 3-2*(p.TimeS(i)-times[0]), v, 1e-6)
			}
			covered += p.To - p.From
		}
		require.LessOrEqual(t, covered, len(times))
	})
}

// A wave of a tenth of the sampling rate, sampled with a jitter of a tenth of the step.
func TestSampleError(t *testing.T) {
	rng := rand.New(rand.NewSource(1))
	var times, x []float64
	for i := range 2000 {
		at := (float64(i) + 0.1*rng.NormFloat64()) / 100
		times, x = append(times, at), append(x, math.Sin(2*math.Pi*10*at))
	}
	p := dsp.Pieces(times, 100, 0.1)
	require.Len(t, p, 1)
	var sum float64
	y := p[0].Sample(times, x)
	for i := 5; i < len(y)-5; i++ {
		e := y[i] - math.Sin(2*math.Pi*10*p[0].TimeS(i))
		sum += e * e
	}
	require.Less(t, math.Sqrt(sum/float64(len(y)-10)), 0.005)
}

// Two samples written almost at once, with noise, must not throw the curve about.
func TestSampleOfCrowdedTimes(t *testing.T) {
	times := []float64{0, 0.01, 0.02, 0.02001, 0.03, 0.04}
	x := []float64{0, 0, 0, 1, 0, 0}
	p := dsp.Pieces(times, 1000, 0.1)
	for _, v := range p[0].Sample(times, x) {
		require.Less(t, math.Abs(v), 1.5)
	}
}

// A sensor mounted any way round reads the same vertical, and the horizontal parts keep
// their length; up is found though the horse bounces and the mounting turns slowly.
func TestUpAndLevel(t *testing.T) {
	const rate, n = 50.0, 3000
	rng := rand.New(rand.NewSource(2))
	for range 5 {
		q := randomRotation(rng)
		ax, ay, az := make([]float64, n), make([]float64, n), make([]float64, n)
		vert, hor := make([]float64, n), make([]float64, n)
		for i := range ax {
			at := float64(i) / rate
			vert[i] = 9.81 + 5*math.Sin(2*math.Pi*1.7*at)
			fore, side := 3*math.Cos(2*math.Pi*1.7*at), math.Sin(2*math.Pi*3.4*at)
			hor[i] = math.Hypot(fore, side)
			tilt := 0.2 * math.Sin(2*math.Pi*at/60) // one turn a minute, 0.2 rad
			f := fore*math.Cos(tilt) - vert[i]*math.Sin(tilt)
			v := fore*math.Sin(tilt) + vert[i]*math.Cos(tilt)
			for j, out := range [][]float64{ax, ay, az} {
				out[i] = q[j][0]*f + q[j][1]*side + q[j][2]*v
			}
		}
		up, ok := dsp.FindUp(ax, ay, az, rate, 0.2)
		require.True(t, ok)
		v, h1, h2 := up.Level(ax, ay, az)
		for i := 100; i < n-100; i++ {
			require.InDelta(t, vert[i], v[i], 0.3)
			require.InDelta(t, hor[i], math.Hypot(h1[i], h2[i]), 0.4)
			size := ax[i]*ax[i] + ay[i]*ay[i] + az[i]*az[i]
			require.InDelta(t, size, v[i]*v[i]+h1[i]*h1[i]+h2[i]*h2[i], 1e-9*size, "a rotation keeps lengths")
		}
	}
}

func TestUpRefused(t *testing.T) {
	_, ok := dsp.FindUp(nil, nil, nil, 50, 0.2)
	require.False(t, ok)
	x := make([]float64, 500)
	for i := range x {
		x[i] = math.Sin(float64(i))
	}
	_, ok = dsp.FindUp(x, x, x, 50, 0.2)
	require.False(t, ok, "gravity was removed")
}

// Upside down, and too short to filter.
func TestLevelUpsideDown(t *testing.T) {
	up, ok := dsp.FindUp([]float64{0, 0}, []float64{0, 0}, []float64{-9.81, -9.81}, 50, 0.2)
	require.True(t, ok)
	v, h1, h2 := up.Level([]float64{1, 0}, []float64{2, 0}, []float64{-9.81, -9.81})
	require.InDeltaSlice(t, []float64{9.81, 9.81}, v, 1e-12)
	require.InDelta(t, 5, h1[0]*h1[0]+h2[0]*h2[0], 1e-12)
}

// randomRotation is a rotation matrix from a random unit quaternion.
func randomRotation(rng *rand.Rand) [3][3]float64 {
	var q [4]float64
	s := 0.0
	for i := range q {
		q[i] = rng.NormFloat64()
		s += q[i] * q[i]
	}
	s = math.Sqrt(s)
	w, x, y, z := q[0]/s, q[1]/s, q[2]/s, q[3]/s
	return [3][3]float64{
		{1 - 2*(y*y+z*z), 2 * (x*y - w*z), 2 * (x*z + w*y)},
		{2 * (x*y + w*z), 1 - 2*(x*x+z*z), 2 * (y*z - w*x)},
		{2 * (x*z - w*y), 2 * (y*z + w*x), 1 - 2*(x*x+y*y)},
	}
}
