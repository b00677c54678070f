package read

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/trace"
)

// ridden is an invented motion: gravity on a tilted sensor, a canter's wave, a rocking.
type ridden struct {
	t    []float64
	a, g [3][]float64
}

func invented(n int, hz float64) ridden {
	var r ridden
	for i := range n {
		t := float64(i) / hz
		if i%7 == 3 {
			t += 0.2 / hz // jitter
		}
		t = math.Round(t*1e6) / 1e6
		w := 0.0
		if t > 2 { // two seconds at rest
			w = 5 * math.Sin(2*math.Pi*1.7*t)
		}
		r.t = append(r.t, t)
		for k, up := range [3]float64{0.6, -0.48, 0.64} { // a unit vector
			r.a[k] = append(r.a[k], up*(9.80665+w))
			r.g[k] = append(r.g[k], 0.3*w/5*float64(k+1))
		}
	}
	return r
}

// startUnix is the instant of t = 0 in the dialects that have one: 2026-06-03T09:12:00Z.
const startUnix = 1780477920

func write(r ridden, head string, row func(b *bytes.Buffer, i int)) []byte {
	var b bytes.Buffer
	b.WriteString(head)
	for i := range r.t {
		row(&b, i)
	}
	return b.Bytes()
}

func TestDialects(t *testing.T) {
	r := invented(1000, 100)
	const g = standardGravity
	stamp := func(i int) string {
		ms := int64(math.Round(r.t[i] * 1000))
		return fmt.Sprintf("2026-06-03T%02d:%02d:%02d.%03d", 9, 12+ms/60000, ms/1000%60, ms%1000)
	}
	for _, c := range []struct {
		name  string
		dated bool
		turns bool
		tolT  float64
		text  []byte
		opt   Options
	}{
		{"seconds, SI, gyroscope", false, true, 1e-9, write(r, "time_s,ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s\n", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%.6f,%.7f,%.7f,%.7f,%.7f,%.7f,%.7f\n", r.t[i], r.a[0][i], r.a[1][i], r.a[2][i], r.g[0][i], r.g[1][i], r.g[2][i])
		}), Options{}},
		{"epoch milliseconds, g", true, false, 6e-4, write(r, "timestamp,acc_x_g,acc_y_g,acc_z_g\n", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%d,%.8f,%.8f,%.8f\n", startUnix*1000+int64(math.Round(r.t[i]*1000)), r.a[0][i]/g, r.a[1][i]/g, r.a[2][i]/g)
		}), Options{}},
		{"ISO time, semicolons, decimal commas", true, false, 6e-4, write(r, "Time;Acceleration x (m/s^2);Acceleration y (m/s^2);Acceleration z (m/s^2)\r\n", func(b *bytes.Buffer, i int) {
			s := fmt.Sprintf("%.7f;%.7f;%.7f", r.a[0][i], r.a[1][i], r.a[2][i])
			fmt.Fprintf(b, "%sZ;%s\r\n", stamp(i), strings.ReplaceAll(s, ".", ","))
		}), Options{}},
		{"epoch nanoseconds, z y x, unit by the resting vector", true, false, 1e-6, write(r, "time,seconds_elapsed,z,y,x\n", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%d%09d,%.6f,%.7f,%.7f,%.7f\n", startUnix+int64(r.t[i]), int64(math.Round((r.t[i]-math.Floor(r.t[i]))*1e9)), r.t[i], r.a[2][i], r.a[1][i], r.a[0][i])
		}), Options{}},
		{"quoted, exponents", false, false, 1e-6, write(r, "\"Time (s)\",\"X (m/s^2)\",\"Y (m/s^2)\",\"Z (m/s^2)\"\n", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%.9E,%.9E,%.9E,%.9E\n", r.t[i], r.a[0][i], r.a[1][i], r.a[2][i])
		}), Options{}},
		{"microseconds, comments, mg, deg/s, tab", false, true, 1e-6, write(r, "# device: a logger\n// any remark\nt_us\taccX (mg)\taccY (mg)\taccZ (mg)\tgyrX (°/s)\tgyrY (°/s)\tgyrZ (°/s)\ttemp\n", func(b *bytes.Buffer, i int) {
			if i == 500 {
				b.WriteString("# lap\n\n")
			}
			const d = 180 / math.Pi
			fmt.Fprintf(b, "%d\t%.5f\t%.5f\t%.5f\t%.6f\t%.6f\t%.6f\t21.5\n", int64(math.Round(r.t[i]*1e6)), r.a[0][i]/g*1000, r.a[1][i]/g*1000, r.a[2][i]/g*1000, r.g[0][i]*d, r.g[1][i]*d, r.g[2][i]*d)
		}), Options{}},
		{"milliseconds, aX gX, units by size", false, true, 6e-4, write(r, "time,aX,aY,aZ,gX,gY,gZ\n", func(b *bytes.Buffer, i int) {
			const d = 180 / math.Pi
			fmt.Fprintf(b, "%d,%.8f,%.8f,%.8f,%.6f,%.6f,%.6f\n", int64(math.Round(r.t[i]*1000)), r.a[0][i]/g, r.a[1][i]/g, r.a[2][i]/g, r.g[0][i]*d, r.g[1][i]*d, r.g[2][i]*d)
		}), Options{}},
		{"no header", false, false, 1e-9, write(r, "", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%.6f,%.7f,%.7f,%.7f,0,0,%d\n", r.t[i], r.a[0][i], r.a[1][i], r.a[2][i], i/50)
		}), Options{}},
		{"columns by hand", false, true, 1e-9, write(r, "c,q,w,e,r,u,i,o\n", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%d,%.6f,%.8f,%.8f,%.8f,%.7f,%.7f,%.7f\n", i, r.t[i], r.a[0][i]/g, r.a[1][i]/g, r.a[2][i]/g, r.g[0][i], r.g[1][i], r.g[2][i])
		}), Options{Columns: "t=q/s, ax=w/g, ay=e/g, az=#5/g, gx=u/rad, gy=i/rad, gz=o/rad"}},
		{"names in camel case, linear beside total", false, false, 1e-9, write(r, "loggingSample(N),elapsedTime(s),motionUserAccelerationX(G),motionUserAccelerationY(G),motionUserAccelerationZ(G),accelerometerAccelerationX(G),accelerometerAccelerationY(G),accelerometerAccelerationZ(G)\n", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%d,%.6f,0.1,0.1,0.1,%.8f,%.8f,%.8f\n", i, r.t[i], r.a[0][i]/g, r.a[1][i]/g, r.a[2][i]/g)
		}), Options{}},
		{"row of units under the names", false, false, 6e-4, write(r, "Time,Acc X,Acc Y,Acc Z\n(ms),(g),(g),(g)\n", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%d,%.8f,%.8f,%.8f\n", int64(math.Round(r.t[i]*1000)), r.a[0][i]/g, r.a[1][i]/g, r.a[2][i]/g)
		}), Options{}},
		{"whole seconds beside seconds elapsed", true, false, 1e-9, write(r, "epoch,elapsed (s),x (g),y (g),z (g)\n", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%d,%.6f,%.8f,%.8f,%.8f\n", startUnix+int64(r.t[i]), r.t[i], r.a[0][i]/g, r.a[1][i]/g, r.a[2][i]/g)
		}), Options{}},
		{"UTF-8 with byte order mark", false, false, 1e-9, append([]byte("\xef\xbb\xbf"), write(r, "time (s),ax (m/s²),ay (m/s²),az (m/s²)\n", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%.6f,%.7f,%.7f,%.7f\n", r.t[i], r.a[0][i], r.a[1][i], r.a[2][i])
		})...), Options{}},
		{"Latin-1", false, false, 1e-9, write(r, "Zeit (s);ax (m/s\xb2);ay (m/s\xb2);az (m/s\xb2)\n", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%.6f;%.7f;%.7f;%.7f\n", r.t[i], r.a[0][i], r.a[1][i], r.a[2][i])
		}), Options{}},
		{"UTF-16", false, false, 1e-9, utf16le(write(r, "time (s),ax (m/s²),ay (m/s²),az (m/s²)\n", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%.6f,%.7f,%.7f,%.7f\n", r.t[i], r.a[0][i], r.a[1][i], r.a[2][i])
		})), Options{}},
		{"lines ended by a carriage return", false, false, 1e-9, write(r, "time (s),ax (g),ay (g),az (g)\r", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%.6f,%.8f,%.8f,%.8f\r", r.t[i], r.a[0][i]/g, r.a[1][i]/g, r.a[2][i]/g)
		}), Options{}},
		{"counts at a rate given by hand", false, false, 2.1e-3, write(r, "n,x,y,z\n", func(b *bytes.Buffer, i int) {
			fmt.Fprintf(b, "%d,%.8f,%.8f,%.8f\n", i, r.a[0][i]/g, r.a[1][i]/g, r.a[2][i]/g)
		}), Options{Columns: "t=n@100,ax=x,ay=y,az=z"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rec, sums, err := InspectBytes(context.Background(), []Input{{Name: "motion", Data: c.text}}, c.opt)
			require.NoError(t, err)
			require.Nil(t, rec.Positions)
			m := rec.Motion
			require.Len(t, m.TimeS, len(r.t))
			require.False(t, m.GravityRemoved)
			require.Equal(t, c.turns, m.GX != nil)
			require.Equal(t, c.dated, !rec.Start.IsZero())
			if c.dated {
				require.InDelta(t, startUnix, float64(rec.Start.UnixNano())*1e-9, 2e-6)
			}
			for i := range r.t {
				require.InDelta(t, r.t[i], m.TimeS[i], c.tolT)
				require.InDelta(t, r.a[0][i], m.AX[i], 1e-6)
				require.InDelta(t, r.a[1][i], m.AY[i], 1e-6)
				require.InDelta(t, r.a[2][i], m.AZ[i], 1e-6)
				if c.turns {
					require.InDelta(t, r.g[0][i], m.GX[i], 1e-6)
					require.InDelta(t, r.g[2][i], m.GZ[i], 1e-6)
				}
			}
			require.InDelta(t, 100, m.RateHz, 0.1)
			require.InDelta(t, 9.80665, sums[0].Motion.RestMS2, 0.01)
		})
	}
}

func utf16le(text []byte) []byte {
	out := []byte{0xff, 0xfe}
	for _, r := range string(text) {
		out = append(out, byte(r), byte(r>>8))
	}
	return out
}

func csvBytes(t *testing.T, text string) (*trace.Recording, []Summary, error) {
	t.Helper()
	return InspectBytes(context.Background(), []Input{{Name: "motion.csv", Data: []byte(text)}}, Options{})
}

// rows is a table of n rows at 100 Hz of a sensor at rest; change may spoil a row.
func rows(n int, change func(i int, row string) string) string {
	var b strings.Builder
	b.WriteString("time_s,ax_m_s2,ay_m_s2,az_m_s2\n")
	for i := range n {
		row := fmt.Sprintf("%.2f,0.1,%.3f,9.8", float64(i)/100, 0.01*math.Sin(float64(i)))
		if change != nil {
			row = change(i, row)
		}
		b.WriteString(row + "\n")
	}
	return b.String()
}

func spoil(at map[int]string) func(int, string) string {
	return func(i int, row string) string {
		if s, ok := at[i]; ok {
			return s
		}
		return row
	}
}

func TestGravityRemovedIsTold(t *testing.T) {
	r := invented(1000, 100)
	text := write(r, "time (s),ax (m/s2),ay (m/s2),az (m/s2)\n", func(b *bytes.Buffer, i int) {
		fmt.Fprintf(b, "%.6f,%.7f,%.7f,%.7f\n", r.t[i], r.a[0][i]-0.6*9.80665, r.a[1][i]+0.48*9.80665, r.a[2][i]-0.64*9.80665)
	})
	rec, _, err := csvBytes(t, string(text))
	require.NoError(t, err)
	require.True(t, rec.Motion.GravityRemoved)
	require.Contains(t, notes(rec), "gravity was removed")
}

func notes(rec *trace.Recording) string {
	var b strings.Builder
	for _, n := range rec.Notes {
		fmt.Fprintf(&b, "%s: %s: %s\n", n.Level, n.What, n.Why)
	}
	return b.String()
}

// A header that gravity contradicts: a resting sensor reads 1 where m/s² is promised.
func TestUnitsByGravityAgainstTheHeader(t *testing.T) {
	r := invented(1000, 100)
	text := write(r, "time (s),ax (m/s2),ay (m/s2),az (m/s2)\n", func(b *bytes.Buffer, i int) {
		fmt.Fprintf(b, "%.6f,%.7f,%.7f,%.7f\n", r.t[i], r.a[0][i]/9.80665, r.a[1][i]/9.80665, r.a[2][i]/9.80665)
	})
	rec, _, err := csvBytes(t, string(text))
	require.NoError(t, err)
	require.InDelta(t, r.a[2][10], rec.Motion.AZ[10], 1e-4)
	require.Contains(t, notes(rec), "not m/s2 as the header says")
}

// A sensor's bare counts, 4096 to the g.
func TestCountsAreScaledByGravity(t *testing.T) {
	r := invented(1000, 100)
	text := write(r, "time (s),ax,ay,az\n", func(b *bytes.Buffer, i int) {
		fmt.Fprintf(b, "%.6f,%.0f,%.0f,%.0f\n", r.t[i], r.a[0][i]/9.80665*4096, r.a[1][i]/9.80665*4096, r.a[2][i]/9.80665*4096)
	})
	rec, _, err := csvBytes(t, string(text))
	require.NoError(t, err)
	require.InDelta(t, r.a[2][10], rec.Motion.AZ[10], 0.01)
	require.Contains(t, notes(rec), "unknown unit")
}

func TestClippedPeaksAreFound(t *testing.T) {
	const top = 2 * standardGravity
	r := invented(3000, 100)
	text := write(r, "time (s),ax (m/s2),ay (m/s2),az (m/s2)\n", func(b *bytes.Buffer, i int) {
		v := 9.80665 + 2.5*(r.a[2][i]/0.64-9.80665)
		fmt.Fprintf(b, "%.6f,%.7f,%.7f,%.7f\n", r.t[i], 0.1, 0.2, math.Max(-top, math.Min(top, v)))
	})
	rec, sums, err := csvBytes(t, string(text))
	require.NoError(t, err)
	require.InDelta(t, top, rec.Motion.ClippedMS2, 1e-3)
	require.Equal(t, rec.Motion.ClippedMS2, sums[0].Motion.ClippedMS2)

	text = write(r, "time (s),ax (m/s2),ay (m/s2),az (m/s2)\n", func(b *bytes.Buffer, i int) {
		fmt.Fprintf(b, "%.6f,%.7f,%.7f,%.7f\n", r.t[i], r.a[0][i], r.a[1][i], r.a[2][i])
	})
	rec, _, err = csvBytes(t, string(text))
	require.NoError(t, err)
	require.Zero(t, rec.Motion.ClippedMS2)
}

func TestABadRowIsANoteNotARefusal(t *testing.T) {
	text := rows(1000, spoil(map[int]string{100: "1.00,abc,0,9.8", 200: "2.00,NaN,0,9.8", 300: "3.00,inf,0,9.8", 400: "4.00,0.1", 500: "5.00,1e9,0,9.8", 600: "0x10,0,0,9.8"}))
	rec, sums, err := csvBytes(t, text)
	require.NoError(t, err)
	require.Len(t, rec.Motion.TimeS, 994)
	require.Equal(t, 5, sums[0].Unreadable)
	require.Equal(t, 1, sums[0].Motion.Wild)
	require.Contains(t, notes(rec), `5 of 1000 rows left out: unreadable, the first in line 102: ax_m_s2 "abc"`)
	require.Contains(t, notes(rec), "1 sample left out")
	for i, v := range rec.Motion.AX {
		require.Equal(t, 0.1, v, i)
	}
}

func TestTimesOutOfOrder(t *testing.T) {
	rec, sums, err := csvBytes(t, rows(1000, spoil(map[int]string{100: "0.50,0.1,0,9.8", 200: "2099.0,0.1,0,9.8", 300: "2.99,0.1,0,9.8"})))
	require.NoError(t, err)
	require.Len(t, rec.Motion.TimeS, 997, "a stray time far ahead goes, not all that follow it")
	require.Equal(t, 2, sums[0].OutOfOrder)
	require.Equal(t, 1, sums[0].Repeated)
	requireIncreasing(t, rec.Motion.TimeS)

	_, _, err = csvBytes(t, rows(1000, func(i int, _ string) string { return fmt.Sprintf("%.2f,0,0,9.8", 10-float64(i)/100) }))
	requireFault(t, err, "time_s: times run backwards")
	_, _, err = csvBytes(t, rows(1000, func(i int, _ string) string { return "03.06.2026 9h12,0,0,9.8" }))
	requireFault(t, err, `time_s: "03.06.2026 9h12", expected seconds`)
	_, _, err = csvBytes(t, rows(1000, func(i int, _ string) string { return fmt.Sprintf("%.2f,0,0,9.8", float64(i%500)/100) }))
	requireFault(t, err, "times run backwards at 499 of 1000 samples")
}

func requireIncreasing(t *testing.T, v []float64) {
	t.Helper()
	for i := 1; i < len(v); i++ {
		require.Greater(t, v[i], v[i-1], i)
	}
}

// requireFault demands an error of this package that says so.
func requireFault(t *testing.T, err error, says string) *Faults {
	t.Helper()
	var faults *Faults
	require.ErrorAs(t, err, &faults)
	require.NotEmpty(t, faults.List)
	require.Contains(t, err.Error(), says)
	for _, f := range faults.List {
		require.NotContains(t, f.Error(), "\n")
	}
	return faults
}

// The first rows of a phone whose clock was not set yet.
func TestTimesBeforeTheClockWasSetAreLeftOut(t *testing.T) {
	rec, _, err := csvBytes(t, rows(1000, func(i int, _ string) string {
		if i < 5 {
			return fmt.Sprintf("%.2f,0.1,0,9.8", float64(i)/100)
		}
		return fmt.Sprintf("%.2f,0.1,0,9.8", 1780477920+float64(i)/100)
	}))
	require.NoError(t, err)
	require.Len(t, rec.Motion.TimeS, 995)
	require.Contains(t, notes(rec), "5 of 1000 rows left out: their times are a week or more")
	require.InDelta(t, 9.94, rec.DurationS, 1e-6)
	require.Equal(t, int64(1780477920), rec.Start.Unix())
	_, _, err = csvBytes(t, rows(1000, func(i int, _ string) string { return fmt.Sprintf("%.2f,0.1,0,9.8", float64(i/500)*1e7+float64(i)/100) }))
	requireFault(t, err, "500 of 1000 samples are weeks from the others")
}

// A clock coarser than the sensor: the samples are laid evenly between its ticks.
func TestSharedStampsAreSpread(t *testing.T) {
	rec, _, err := csvBytes(t, rows(1000, func(i int, _ string) string { return fmt.Sprintf("%d,0.1,0,9.8", 1780477920+i/100) }))
	require.NoError(t, err)
	require.Len(t, rec.Motion.TimeS, 1000)
	requireIncreasing(t, rec.Motion.TimeS)
	require.InDelta(t, 100, rec.Motion.RateHz, 1e-3)
	require.InDelta(t, 5.37, rec.Motion.TimeS[537], 1e-6)
	require.Contains(t, notes(rec), "share the time")
}

// Rows of one sensor at a time, the others' columns left empty.
func TestSparseRows(t *testing.T) {
	var b strings.Builder
	b.WriteString("time,lat,lon,ax,ay,az\n")
	for i := range 1000 {
		fmt.Fprintf(&b, "%.2f,,,0.1,0,9.8\n", float64(i)/100)
		if i%100 == 0 {
			fmt.Fprintf(&b, "%.3f,51.4%03d,-2.3,,,\n", float64(i)/100+0.005, i/100)
		}
	}
	rec, _, err := csvBytes(t, b.String())
	require.NoError(t, err)
	require.Len(t, rec.Motion.TimeS, 1000)
}

// A phone's single table repeats the last fix in every row of motion.
func TestPlacesBesideMotionInOneTable(t *testing.T) {
	var b strings.Builder
	b.WriteString("time (s),accelerometerX(G),accelerometerY(G),accelerometerZ(G),locationLatitude,locationLongitude,locationSpeed(m/s)\n")
	for i := range 1000 {
		fmt.Fprintf(&b, "%.2f,0.01,0,1.0,51.4%03d,-2.3,5.5\n", float64(i)/100, i/100)
	}
	rec, _, err := csvBytes(t, b.String())
	require.NoError(t, err)
	require.Len(t, rec.Motion.TimeS, 1000)
	require.Len(t, rec.Positions.TimeS, 10)
	require.InDelta(t, 3, rec.Positions.TimeS[3], 1e-9)
	require.InDelta(t, 51.4003, rec.Positions.LatDeg[3]*1, 0.003)
	require.Equal(t, 5.5, rec.Positions.SpeedMS[3])
}

func TestHeadersNotUnderstood(t *testing.T) {
	_, _, err := csvBytes(t, strings.Replace(rows(100, nil), "time_s,ax_m_s2,ay_m_s2,az_m_s2", "when,foo,bar,baz", 1))
	requireFault(t, err, "--columns")
	_, _, err = csvBytes(t, strings.Replace(rows(100, nil), "ay_m_s2", "ax_m_s2", 1))
	requireFault(t, err, "--columns")
	_, _, err = csvBytes(t, strings.Replace(rows(100, nil), "time_s", "temperature", 1))
	requireFault(t, err, "no column with times")
	for _, bad := range []string{"t", "t=a", "t=time_s,ax=nope,ay=ay_m_s2,az=az_m_s2", "q=time_s", "t=time_s,t=time_s", "t=time_s@x,ax=#2,ay=#3,az=#4", "t=#1,ax=#9,ay=#3,az=#4"} {
		_, err := OpenBytes(context.Background(), []Input{{Name: "m.csv", Data: []byte(rows(100, nil))}}, Options{Columns: bad})
		requireFault(t, err, "--columns")
	}
}

func TestCountsWithoutARateAreReadWithAWarning(t *testing.T) {
	rec, _, err := csvBytes(t, "samples,acc_x,acc_y,acc_z\n"+strings.Join(func() (l []string) {
		for i := range 500 {
			l = append(l, fmt.Sprintf("%d,0.01,0.02,1.0", i))
		}
		return
	}(), "\n"))
	require.NoError(t, err)
	require.InDelta(t, 100, rec.Motion.RateHz, 1e-6)
	require.Contains(t, notes(rec), "warning: motion.csv: no times")
}

func TestAnOverlongLineIsABadRow(t *testing.T) {
	text := rows(1000, spoil(map[int]string{500: "5.00," + strings.Repeat("9", 5<<20)}))
	rec, sums, err := csvBytes(t, text)
	require.NoError(t, err)
	require.Len(t, rec.Motion.TimeS, 999)
	require.Equal(t, 1, sums[0].Unreadable)
}

func TestRowLimit(t *testing.T) {
	_, err := OpenBytes(context.Background(), []Input{{Name: "m.csv", Data: []byte(rows(1000, nil))}}, Options{Limits: Limits{Rows: 100}})
	requireFault(t, err, "more than 100 rows")
}

// Headers as loggers of many makers write them (common practice).
func TestHeadings(t *testing.T) {
	const x, y, z, none = 0, 1, 2, -1
	for _, c := range []struct {
		raw    string
		what   quantity
		axis   int
		unit   string
		linear bool
	}{
		{"time", timeOf, none, "", false},
		{"Time (s)", timeOf, none, "s", false},
		{"timestamp_ms", timeOf, none, "ms", false},
		{"time_unix_s", timeOf, none, "s", false},
		{"seconds_elapsed", timeOf, none, "s", false},
		{"sensor timestamp [ns]", timeOf, none, "ns", false},
		{"Time since start in ms ", timeOf, none, "ms", false},
		{"epoc (ms)", timeOf, none, "ms", false},
		{"t_us", timeOf, none, "us", false},
		{"Timestamp (µs)", timeOf, none, "us", false},
		{"ms", timeOf, none, "ms", false},
		{"samples", countOf, none, "", false},
		{"n", countOf, none, "", false},
		{"n_sat", other, none, "", false},
		{"v_n_ms", other, none, "ms", false},
		{"ax_m_s2", acceleration, x, "m/s2", false},
		{"acc_y_g", acceleration, y, "g", false},
		{"acc_g_z", acceleration, z, "g", false},
		{"AccZ", acceleration, z, "", false},
		{"aX", acceleration, x, "", false},
		{"x (g)", acceleration, x, "g", false},
		{"x-axis (g)", acceleration, x, "g", false},
		{"X [mg]", acceleration, x, "mg", false},
		{"x_g", acceleration, x, "g", false},
		{"gFx", acceleration, x, "g", false},
		{"Acceleration x (m/s^2)", acceleration, x, "m/s2", false},
		{"Linear Acceleration x (m/s²)", acceleration, x, "m/s2", true},
		{"motionUserAccelerationY(G)", acceleration, y, "g", true},
		{"userAcceleration.z", acceleration, z, "", true},
		{"acceleration_x / m s-2", acceleration, x, "m/s2", false},
		{"Beschleunigung y [m/s\xb2]", acceleration, y, "m/s2", false},
		{"gx_rad_s", turnRate, x, "rad/s", false},
		{"gX", turnRate, x, "", false},
		{"gyr_z_rads", turnRate, z, "rad/s", false},
		{"Gyroscope X (deg/s)", turnRate, x, "deg/s", false},
		{"Gyr Y [°/s]", turnRate, y, "deg/s", false},
		{"gyro_x_dps", turnRate, x, "dps->deg/s", false},
		{"rotationRateX(rad/s)", turnRate, x, "rad/s", false},
		{"Z (rad/s)", turnRate, z, "rad/s", false},
		{"z", axisAlone, z, "", false},
		{"mag_x", other, none, "", false},
		{"mx", other, x, "", false},
		{"Magnetometer X (uT)", other, none, "", false},
		{"motionGravityX(G)", other, none, "", false},
		{"Absolute acceleration (m/s^2)", other, none, "", false},
		{"motionQuaternionX(R)", other, none, "", false},
		{"Latitude (°)", latitude, none, "deg", false},
		{"lon_deg", longitude, none, "deg", false},
		{"Height (m)", height, none, "m", false},
		{"LOCATION Speed ( Kmh)", speed, none, "km/h", false},
		{"Horizontal Accuracy (m)", other, none, "", false},
		{"Direction (°)", other, none, "", false},
		{"heart_rate", other, none, "", false},
		{"index", countOf, none, "", false},
		{"", other, none, "", false},
	} {
		h := readHeading(c.raw)
		require.Equal(t, c.what, h.what, c.raw)
		if c.what == other {
			continue
		}
		require.Equal(t, c.axis, h.axis, c.raw)
		require.Equal(t, strings.TrimPrefix(c.unit, "dps->"), h.unit, c.raw)
		require.Equal(t, c.linear, h.linear, c.raw)
	}
}

// A chest strap's table: the phone's stamps by the packet, the sensor's own clock counting
// from 2000, milli-g.
func TestStampsByThePacketAnchorTheSensorsOwnClock(t *testing.T) {
	r := invented(1000, 100)
	text := write(r, "Phone timestamp;sensor timestamp [ns];X [mg];Y [mg];Z [mg]\n", func(b *bytes.Buffer, i int) {
		packet := i / 36 * 36
		fmt.Fprintf(b, "2026-06-03T09:12:%02d.%03d;%d;%.2f;%.2f;%.2f\n", packet/100, packet%100*10, 834_000_000_000_000_000+int64(r.t[i]*1e9),
			r.a[0][i]/9.80665*1000, r.a[1][i]/9.80665*1000, r.a[2][i]/9.80665*1000)
	})
	rec, sums, err := csvBytes(t, string(text))
	require.NoError(t, err)
	require.Len(t, rec.Motion.TimeS, 1000)
	require.Equal(t, int64(startUnix), rec.Start.Unix())
	require.False(t, sums[0].ZoneKnown)
	for i := range r.t {
		require.InDelta(t, r.t[i], rec.Motion.TimeS[i], 1e-6)
		require.InDelta(t, r.a[1][i], rec.Motion.AY[i], 1e-3)
	}
}

func TestTimesOfDayRunOnPastMidnight(t *testing.T) {
	rec, _, err := csvBytes(t, rows(1000, func(i int, _ string) string {
		s := (86395_00 + i) % 86400_00
		return fmt.Sprintf("%02d:%02d:%02d.%02d,0.1,0,9.8", s/360000, s/6000%60, s/100%60, s%100)
	}))
	require.NoError(t, err)
	require.Len(t, rec.Motion.TimeS, 1000)
	require.True(t, rec.Start.IsZero(), "no date is told")
	for i, v := range rec.Motion.TimeS {
		require.InDelta(t, float64(i)/100, v, 1e-6)
	}
}

// A row per event: the accelerometer's and the gyroscope's by turns, at rates of their own,
// some with the same stamp.
func TestSensorsWithRowsOfTheirOwn(t *testing.T) {
	r := invented(1000, 100)
	var b strings.Builder
	b.WriteString("time (s),acc_x (m/s2),acc_y (m/s2),acc_z (m/s2),gyro_x (rad/s),gyro_y (rad/s),gyro_z (rad/s)\n")
	for i := range r.t {
		fmt.Fprintf(&b, "%.6f,%.6f,%.6f,%.6f,,,\n", r.t[i], r.a[0][i], r.a[1][i], r.a[2][i])
		if i%2 == 0 {
			fmt.Fprintf(&b, "%.6f,,,,%.6f,0.5,NaN\n", r.t[i], r.t[i]/10)
			fmt.Fprintf(&b, "%.6f,,,,%.6f,0.5,0.25\n", r.t[i], r.t[i]/10)
		}
	}
	rec, sums, err := csvBytes(t, b.String())
	require.NoError(t, err)
	sound(t, rec)
	m := rec.Motion
	require.Greater(t, len(m.TimeS), 997)
	require.Zero(t, sums[0].Unreadable, "half a row is no broken row")
	for i := range m.TimeS {
		require.InDelta(t, r.t[i], m.TimeS[i], 1e-9)
		require.InDelta(t, r.a[0][i], m.AX[i], 1e-6)
		require.InDelta(t, r.t[i]/10, m.GX[i], 2e-3)
		require.Equal(t, 0.25, m.GZ[i])
	}
}
