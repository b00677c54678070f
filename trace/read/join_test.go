package read

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/trace"
)

func open(t *testing.T, inputs ...Input) (*trace.Recording, []Summary) {
	t.Helper()
	rec, sums, err := InspectBytes(context.Background(), inputs, Options{})
	require.NoError(t, err)
	sound(t, rec)
	return rec, sums
}

// watch is a track of n seconds at 1 Hz from a start, in the zone of the text's suffix.
func watch(start time.Time, n int, layout string) Input {
	var points []string
	for i := range n {
		points = append(points, point(51.4+float64(i)*4e-5, -2.3, "<ele>10</ele><time>"+start.Add(time.Duration(i)*time.Second).Format(layout)+"</time>"))
	}
	return Input{Name: "ride.gpx", Data: []byte(gpxFile(track(points...)))}
}

var nineTwelve = time.Date(2026, 6, 3, 9, 12, 0, 0, time.UTC)

func sensor(name, header string, n int, stamp func(i int) string) Input {
	var b strings.Builder
	b.WriteString(header + "\n")
	columns := strings.Count(header, ",")
	for i := range n {
		b.WriteString(stamp(i))
		for k := range columns {
			fmt.Fprintf(&b, ",%.4f", map[bool]float64{true: 9.8, false: 0.1 * math.Sin(float64(i))}[k == 2])
		}
		b.WriteString("\n")
	}
	return Input{Name: name, Data: []byte(b.String())}
}

const accHeader = "time,ax (m/s2),ay (m/s2),az (m/s2)"

func TestACountingClockStartsWithThePositions(t *testing.T) {
	seconds := func(from float64) func(int) string {
		return func(i int) string { return fmt.Sprintf("%.3f", from+float64(i)/100) }
	}
	for _, c := range []struct{ from, want float64 }{{0.003, 0.003}, {-0.001, -0.001}, {2.5, 2.5}, {6904.5, 0}} {
		rec, _ := open(t, watch(nineTwelve, 20, time.RFC3339), sensor("m.csv", accHeader, 2000, seconds(c.from)))
		require.Equal(t, nineTwelve, rec.Start)
		require.InDelta(t, c.want, rec.Motion.TimeS[0], 1e-9)
		require.Contains(t, notes(rec), "taken to start with the positions")
	}
	rec, _ := open(t, sensor("m.csv", accHeader, 2000, seconds(5.25)))
	require.Zero(t, rec.Motion.TimeS[0], "alone, the first sample is time zero")
	require.True(t, rec.Start.IsZero())
	require.InDelta(t, 19.99, rec.DurationS, 1e-9)
}

func TestPlacesOnACountingClockStartWithDatedMotion(t *testing.T) {
	places := "time (s),lat,lon\n"
	for i := range 20 {
		places += fmt.Sprintf("%d,51.4%02d,-2.3\n", 700+i, i)
	}
	rec, _ := open(t, Input{Name: "p.csv", Data: []byte(places)}, sensor("m.csv", accHeader, 2000, func(i int) string { return fmt.Sprint(int64(1780477920)*1000 + int64(i)*10) }))
	require.Equal(t, nineTwelve, rec.Start)
	require.Zero(t, rec.Positions.TimeS[0])
	require.Zero(t, rec.Motion.TimeS[0])
	require.Contains(t, notes(rec), "p.csv: its clock tells no date: taken to start with the motion")
}

func TestADatedClockIsPlacedByItsTimes(t *testing.T) {
	rec, _ := open(t, sensor("m.csv", accHeader, 2000, func(i int) string { return fmt.Sprint(int64(1780477920+3)*1000 + int64(i)*10) }), watch(nineTwelve, 20, time.RFC3339))
	require.InDelta(t, 3, rec.Motion.TimeS[0], 1e-9)
	require.InDelta(t, 22.99, rec.DurationS, 1e-9)
	require.Equal(t, []string{"m.csv", "ride.gpx"}, rec.Files)
	early, _ := open(t, sensor("m.csv", accHeader, 2000, func(i int) string { return fmt.Sprint(int64(1780477920-3)*1000 + int64(i)*10) }), watch(nineTwelve, 20, time.RFC3339))
	require.InDelta(t, -3, early.Motion.TimeS[0], 1e-9)
	require.Equal(t, nineTwelve, early.Start)
}

// A logger that writes local time without a zone beside a watch in UTC.
func TestLocalTimeIsLaidOverTheRide(t *testing.T) {
	for _, hours := range []float64{2, -5, 5.5, 9.75, 0} {
		local := nineTwelve.Add(time.Duration(hours*3600) * time.Second)
		in := sensor("m.csv", accHeader, 6_000, func(i int) string {
			return local.Add(time.Duration(i)*100*time.Millisecond + 700*time.Millisecond).Format("2006-01-02 15:04:05.000")
		})
		rec, sums := open(t, watch(nineTwelve, 600, time.RFC3339), in)
		require.InDelta(t, 0.7, rec.Motion.TimeS[0], 1e-6, "%v", hours)
		require.False(t, sums[1].ZoneKnown)
		if hours != 0 {
			require.Contains(t, notes(rec), "its local time is taken as UTC")
		}
	}
}

func TestARideInSeveralFiles(t *testing.T) {
	second := watch(nineTwelve.Add(18*time.Second), 20, time.RFC3339)
	second.Name = "later.gpx"
	rec, _ := open(t, second, watch(nineTwelve, 20, time.RFC3339))
	require.Len(t, rec.Positions.TimeS, 38, "two seconds are in both")
	require.Equal(t, 0, rec.Positions.Segment[0])
	require.Equal(t, 1, rec.Positions.Segment[37])
	require.InDelta(t, 37, rec.DurationS, 1e-9)
	epoch := func(from int64) func(int) string {
		return func(i int) string { return fmt.Sprint(from*1000 + int64(i)*10) }
	}
	rec, _ = open(t, sensor("a.csv", accHeader, 1000, epoch(1780477920)), sensor("b.csv", accHeader, 1000, epoch(1780477940)))
	require.Len(t, rec.Motion.TimeS, 2000)
	require.InDelta(t, 20, rec.Motion.TimeS[1000], 1e-9)
}

func TestASecondDeviceOverTheSameTimeIsNotUsed(t *testing.T) {
	short := watch(nineTwelve.Add(5*time.Second), 10, time.RFC3339)
	short.Name = "phone.gpx"
	rec, _ := open(t, short, watch(nineTwelve, 20, time.RFC3339))
	require.Len(t, rec.Positions.TimeS, 20)
	require.Contains(t, notes(rec), "phone.gpx: its positions are not used: it runs beside that of ride.gpx")
}

// A logger's zip: one file a sensor, a place file, and files that are no recordings.
func TestAZipWithOneFileASensorIsOneRecording(t *testing.T) {
	ns := func(i int) string { return fmt.Sprint(int64(1780477920)*1e9 + int64(i)*10_000_000) }
	late := func(i int) string { return fmt.Sprint(int64(1780477920)*1e9 + int64(i)*10_000_000 + 4_000_000) }
	var gyro strings.Builder
	gyro.WriteString("time,z,y,x\n")
	for i := range 2100 {
		fmt.Fprintf(&gyro, "%s,%.6f,%.5f,%.5f\n", late(i-50), 0.001*float64(i-50), 0.2, 0.3)
	}
	var places strings.Builder
	places.WriteString("time,seconds_elapsed,bearingAccuracy,speedAccuracy,verticalAccuracy,horizontalAccuracy,speed,bearing,altitude,longitude,latitude\n")
	for i := range 20 {
		fmt.Fprintf(&places, "%s,%d,0,0,0,3,5.5,90,12.5,-2.3,%.6f\n", ns(i*100), i, 51.4+float64(i)*5e-5)
	}
	archive := zipped(t, map[string][]byte{
		"logger/Accelerometer.csv": sensor("", "time,x,y,z", 2000, ns).Data,
		"logger/Gyroscope.csv":     []byte(gyro.String()),
		"logger/Location.csv":      []byte(places.String()),
		"logger/Metadata.csv":      []byte("version,device name\n3,an invented phone\n"),
		"logger/Annotation.csv":    []byte("time,millis,text\n"),
		"logger/Magnetometer.csv":  sensor("", "time,x,y,z", 2000, func(i int) string { return ns(i) + ",30" }).Data,
		"__MACOSX/._x":             []byte("junk"),
	})
	rec, sums := open(t, Input{Name: "ride.zip", Data: archive})
	require.Len(t, sums, 3)
	require.Equal(t, "zip", sums[0].Packed)
	m := rec.Motion
	require.Len(t, m.TimeS, 2000)
	require.InDelta(t, 100, m.RateHz, 0.01)
	for i, x := range m.TimeS {
		require.InDelta(t, x*0.1-0.0004, m.GZ[i], 2e-6, "between the gyroscope's samples")
		require.Equal(t, 0.3, m.GX[i])
	}
	require.Len(t, rec.Positions.TimeS, 20)
	require.Equal(t, 5.5, rec.Positions.SpeedMS[3])
	require.Equal(t, 12.5, rec.Positions.HeightM[3])
	require.Contains(t, notes(rec), "files of the zip not used")
}

func zipped(t *testing.T, files map[string][]byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, name := range sortedKeys(files) {
		f, err := w.Create(name)
		require.NoError(t, err)
		_, err = f.Write(files[name])
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return b.Bytes()
}

func sortedKeys(m map[string][]byte) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	for i := range keys {
		for j := i; j > 0 && keys[j] < keys[j-1]; j-- {
			keys[j], keys[j-1] = keys[j-1], keys[j]
		}
	}
	return keys
}

func gzipped(t *testing.T, data []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := w.Write(data)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	return b.Bytes()
}

func TestPackedFilesReadLikePlainOnes(t *testing.T) {
	gpx := watch(nineTwelve, 200, time.RFC3339)
	want, _ := open(t, gpx)
	got, sums := open(t, Input{Name: "a", Data: gzipped(t, gpx.Data)})
	require.Equal(t, want.Positions, got.Positions)
	require.Equal(t, "gzip", sums[0].Packed)
	got, _ = open(t, Input{Name: "a", Data: zipped(t, map[string][]byte{"x.bin": gpx.Data})})
	require.Equal(t, want.Positions, got.Positions)
	want, _ = open(t, Input{Name: "a", Data: fitRide(t)})
	got, _ = open(t, Input{Name: "a", Data: zipped(t, map[string][]byte{"x": fitRide(t)})})
	require.Equal(t, want, got)
	_, err := OpenBytes(context.Background(), []Input{{Name: "a", Data: gzipped(t, gzipped(t, gpx.Data))}}, Options{})
	requireFault(t, err, "an archive in an archive")
	_, err = OpenBytes(context.Background(), []Input{{Name: "a", Data: zipped(t, map[string][]byte{"x.zip": zipped(t, map[string][]byte{"y": gpx.Data})})}}, Options{})
	requireFault(t, err, "an archive in an archive")
	cut := gzipped(t, sensor("", accHeader, 5000, func(i int) string { return fmt.Sprintf("%.2f", float64(i)/100) }).Data)
	rec, _ := open(t, Input{Name: "a", Data: cut[:len(cut)/2]})
	require.Greater(t, len(rec.Motion.TimeS), 1000)
	require.Contains(t, notes(rec), "cut off or damaged")
}

func TestBombsAreRefused(t *testing.T) {
	bomb := gzipped(t, append([]byte("time_s,ax_m_s2,ay_m_s2,az_m_s2\n0,0,0,9.8\n"), bytes.Repeat([]byte(strings.Repeat(" ", 1023)+"\n"), 100<<10)...))
	for name, data := range map[string][]byte{"gzip": bomb, "zip": zipped(t, map[string][]byte{"a.csv": bytes.Repeat([]byte("<"), 100<<20)})} {
		started := time.Now()
		_, err := OpenBytes(context.Background(), []Input{{Name: "bomb", Data: data}}, Options{})
		requireFault(t, err, "")
		require.Less(t, time.Since(started), 20*time.Second, name)
	}
	small := gzipped(t, sensor("", accHeader, 50_000, func(i int) string { return fmt.Sprintf("%.2f", float64(i)/100) }).Data)
	rec, _, err := InspectBytes(context.Background(), []Input{{Name: "a", Data: small}}, Options{Limits: Limits{Bytes: 1 << 20}})
	require.NoError(t, err)
	require.Contains(t, notes(rec), "cut off or damaged: it unpacks to more", "what came before the limit is kept, with a note")
}

func TestFilesThatAreNoRecordings(t *testing.T) {
	for _, c := range []struct{ name, data, says string }{
		{"empty", "", "an empty file"},
		{"blank", " \n\n\t", "nothing but blanks"},
		{"binary", "\x00\x01\x02\x03\x04\x05\x06\x07", "binary data"},
		{"picture", "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "binary data"},
		{"JSON", `{"a": 1}`, "JSON"},
		{"prose", "Dear diary,\ntoday we jumped.\n", "no rows of numbers"},
		{"zip cut", "PK\x03\x04 nonsense", "a damaged zip"},
		{"gzip cut", "\x1f\x8b\x08", "a damaged gzip"},
		{"FIT cut", "\x0e\x10\x00\x00\x00\x10\x00\x00.FIT", "a damaged FIT file"},
		{"empty zip", "PK\x05\x06" + strings.Repeat("\x00", 18), "a zip without files"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := OpenBytes(context.Background(), []Input{{Name: c.name, Data: []byte(c.data)}}, Options{})
			requireFault(t, err, c.says)
		})
	}
	_, err := OpenBytes(context.Background(), nil, Options{})
	requireFault(t, err, "nothing to read")
	_, err = Open(context.Background(), []string{filepath.Join(t.TempDir(), "none.gpx"), t.TempDir()}, Options{})
	faults := requireFault(t, err, "no such file")
	require.Contains(t, faults.List[1].Error(), "a folder", "the faults of all files are told at once")
}

func TestAGyroscopeAloneIsRefused(t *testing.T) {
	_, err := OpenBytes(context.Background(), []Input{sensor("g.csv", "time,gx (rad/s),gy (rad/s),gz (rad/s)", 100, func(i int) string { return fmt.Sprintf("%.2f", float64(i)/100) })}, Options{})
	requireFault(t, err, "a gyroscope alone")
}

func TestOpenReadsFilesAndTellsProgress(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.csv")
	require.NoError(t, os.WriteFile(path, []byte(rows(1000, nil)), 0o600))
	var last, size int64
	rec, err := Open(context.Background(), []string{path}, Options{Progress: func(file string, done, of int64) {
		require.Equal(t, path, file)
		last, size = done, of
	}})
	require.NoError(t, err)
	require.Len(t, rec.Motion.TimeS, 1000)
	require.Equal(t, []string{path}, rec.Files)
	require.Equal(t, size, last)
	require.Equal(t, int64(len(rows(1000, nil))), size)
}

func TestTheContextEndsTheReading(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, in := range []Input{watch(nineTwelve, 20, time.RFC3339), {Name: "m.csv", Data: []byte(rows(100, nil))}} {
		_, err := OpenBytes(ctx, []Input{in}, Options{})
		require.ErrorIs(t, err, context.Canceled)
	}
}

func TestMotionFarFromThePositionsIsWarnedOf(t *testing.T) {
	rec, _ := open(t, watch(nineTwelve, 20, time.RFC3339), sensor("m.csv", accHeader, 2000, func(i int) string { return fmt.Sprint(int64(1780477920+86400)*1000 + int64(i)*10) }))
	require.Contains(t, notes(rec), "positions and motion share only 0 s")
}
