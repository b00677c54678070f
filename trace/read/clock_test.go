package read

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Whatever the times, those kept increase strictly, none is dropped without need, and every
// column keeps in step.
func TestOrderKeepsIncreasingTimes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOf(rapid.Custom(func(t *rapid.T) float64 {
			return float64(rapid.IntRange(-5, 40).Draw(t, "t")) * rapid.SampledFrom([]float64{1, 1, 1, 1e5}).Draw(t, "scale")
		})).Draw(t, "v")
		index := make([]int, len(v))
		for i := range index {
			index[i] = i
		}
		gone := order(v)
		drop := gone.drop
		if len(drop) != gone.equal+gone.back+gone.far {
			t.Fatalf("%+v", gone)
		}
		kept, at := without(append([]float64(nil), v...), drop), without(index, drop)
		if len(kept) != len(v)-len(drop) || len(at) != len(kept) || len(v) > 0 && len(kept) == 0 {
			t.Fatalf("%d of %d kept with %d dropped", len(kept), len(v), len(drop))
		}
		for i := range kept {
			if kept[i] != v[at[i]] {
				t.Fatal("columns out of step")
			}
			if i > 0 && kept[i] <= kept[i-1] {
				t.Fatalf("%v after %v", kept[i], kept[i-1])
			}
		}
		if len(order(kept).drop) != 0 {
			t.Fatal("ordered times lose more")
		}
	})
}

// A stray time, ahead or behind, costs itself only.
func TestAStrayTimeCostsItselfOnly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(10, 100).Draw(t, "n")
		at := rapid.IntRange(0, n-2).Draw(t, "at")
		by := rapid.SampledFrom([]float64{1e3, 1e9, -1e3, -1e9}).Draw(t, "by")
		var v []float64
		for i := range n {
			v = append(v, float64(i))
		}
		v[at] += by
		drop := order(v).drop
		if at == 0 && by == -1e3 { // a first time some minutes back is a gap, and no one's fault
			return
		}
		if len(drop) != 1 || drop[0] != at {
			t.Fatalf("%v dropped for a stray at %d", drop, at)
		}
	})
}

func TestTimingTellsRateJitterAndGaps(t *testing.T) {
	var v []float64
	for i := range 1000 {
		x := float64(i) / 50
		if i >= 500 {
			x += 3
		}
		v = append(v, x+0.002*float64(i%2))
	}
	rate, jitter, gaps := timing(v, 0.1)
	require.InDelta(t, 50, rate, 5.1) // steps of 18 and 22 ms by turns
	require.InDelta(t, 1.4826*0.002, jitter, 0.0031)
	require.Len(t, gaps, 1)
	require.InDelta(t, 3, gaps[0].ToS-gaps[0].FromS, 0.03)
	rate, jitter, gaps = timing([]float64{7}, 0.1)
	require.Zero(t, rate)
	require.Zero(t, jitter)
	require.Empty(t, gaps)
}

func TestFilled(t *testing.T) {
	long := func(holes ...int) (at, v []float64) {
		for i := range 100 {
			at, v = append(at, float64(i*i)), append(v, float64(2*i*i))
		}
		for _, h := range holes {
			v[h] = math.NaN()
		}
		return at, v
	}
	at, v := long(0, 50, 51, 99)
	whole, n := filled(at, v)
	require.Equal(t, 4, n)
	require.Equal(t, 2.0, whole[0])
	require.InDelta(t, 2*50*50, whole[50], 1e-9)
	require.InDelta(t, 2*51*51, whole[51], 1e-9)
	require.Equal(t, 2.0*98*98, whole[99])
	at, v = long(1, 2, 3, 4, 5, 6)
	whole, n = filled(at, v)
	require.Nil(t, whole)
	require.Equal(t, 6, n)
}

// A gyroscope that misses most of the ride is left out; one that misses its edges costs these.
func TestGyroscopeWithHoles(t *testing.T) {
	acc := sensor("acc.csv", accHeader, 2000, func(i int) string { return fmt.Sprintf("%.3f", float64(i)/100) })
	gyro := func(from, to, holeFrom, holeTo int) Input {
		var b strings.Builder
		b.WriteString("time,gx (rad/s),gy (rad/s),gz (rad/s)\n")
		for i := from; i < to; i++ {
			if i < holeFrom || i >= holeTo {
				fmt.Fprintf(&b, "%.3f,0.1,0.2,0.3\n", float64(i)/100)
			}
		}
		return Input{Name: "gyr.csv", Data: []byte(b.String())}
	}
	rec, _ := open(t, acc, gyro(0, 1000, 0, 0))
	require.Nil(t, rec.Motion.GX)
	require.Len(t, rec.Motion.TimeS, 2000)
	require.Contains(t, notes(rec), "gyroscope not used")
	rec, sums := open(t, acc, gyro(20, 1990, 500, 540))
	require.NotNil(t, rec.Motion.GX)
	require.Len(t, rec.Motion.TimeS, 2000-20-10-40+4, "the samples within a step and a half of the holes are kept")
	require.InDelta(t, 100, sums[1].RateHz, 1e-6)
	for i := range rec.Motion.GX {
		require.InDelta(t, 0.1, rec.Motion.GX[i], 1e-12)
	}
}

func TestNamesOfFilesAreHeardOnlyWhereNothingElseTells(t *testing.T) {
	stamp := func(i int) string { return fmt.Sprintf("%.2f", float64(i)/100) }
	xyz := func(name string) Input { return sensor(name, "time,x,y,z", 500, stamp) } // 9.8 on z: an accelerometer, whatever the name
	for _, name := range []string{"Accelerometer.csv", "Gyroscope.csv", "AccelerometerWithGravity.csv", "x.csv"} {
		rec, _ := open(t, xyz(name))
		require.Len(t, rec.Motion.TimeS, 500, name)
	}
	for _, name := range []string{"Gravity.csv", "Magnetometer.csv"} {
		_, err := OpenBytes(context.Background(), []Input{xyz(name)}, Options{})
		requireFault(t, err, "expected an acceleration")
	}
}

func TestXMLInUTF16(t *testing.T) {
	plain := watch(nineTwelve, 50, time.RFC3339)
	want, _ := open(t, plain)
	text := strings.Replace(string(plain.Data), `encoding="UTF-8"`, `encoding="UTF-16"`, 1)
	got, _ := open(t, Input{Name: plain.Name, Data: utf16le([]byte(text))})
	require.Equal(t, want, got)
	bare := utf16le([]byte(text))[2:] // without its byte order mark
	got, _ = open(t, Input{Name: plain.Name, Data: bare})
	require.Equal(t, want, got)
	latin := strings.Replace(string(plain.Data), `encoding="UTF-8"`, `encoding="ISO-8859-1"`, 1)
	got, sums := open(t, Input{Name: plain.Name, Data: []byte(strings.Replace(latin, "an invented watch", "un\xe9", 1))})
	require.Equal(t, want.Positions, got.Positions)
	require.Equal(t, "uné", sums[0].Device)
	_, err := OpenBytes(context.Background(), []Input{{Name: "a", Data: []byte(strings.Replace(string(plain.Data), `encoding="UTF-8"`, `encoding="no-such"`, 1))}}, Options{})
	requireFault(t, err, "damaged")
}
