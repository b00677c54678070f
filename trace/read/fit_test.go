package read

import (
	"bytes"
	"context"
	"math"
	"testing"
	"time"

	"github.com/muktihari/fit/encoder"
	"github.com/muktihari/fit/profile/mesgdef"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/proto"
	"github.com/stretchr/testify/require"
)

func fitFile(t testing.TB, messages ...proto.Message) []byte {
	t.Helper()
	id := mesgdef.NewFileId(nil).SetType(typedef.FileActivity).SetManufacturer(typedef.ManufacturerDevelopment).SetProductName("an invented watch").SetTimeCreated(nineTwelve).ToMesg(nil)
	var b bytes.Buffer
	require.NoError(t, encoder.New(&b, encoder.WithProtocolVersion(proto.V2)).Encode(&proto.FIT{Messages: append([]proto.Message{id}, messages...)}))
	return b.Bytes()
}

func fitRecord(i int) proto.Message {
	return mesgdef.NewRecord(nil).SetTimestamp(nineTwelve.Add(time.Duration(i) * time.Second)).
		SetPositionLatDegrees(51.4 + float64(i)*5e-5).SetPositionLongDegrees(-2.3).
		SetAltitudeScaled(12.4).SetSpeedScaled(5.5 + float64(i)/1000).ToMesg(nil)
}

func fitRide(t testing.TB) []byte {
	var m []proto.Message
	timer := func(i int, kind typedef.EventType) {
		m = append(m, mesgdef.NewEvent(nil).SetTimestamp(nineTwelve.Add(time.Duration(i)*time.Second)).SetEvent(typedef.EventTimer).SetEventType(kind).ToMesg(nil))
	}
	timer(0, typedef.EventTypeStart)
	for i := range 100 {
		if i == 50 {
			timer(i, typedef.EventTypeStopAll)
			timer(i, typedef.EventTypeStart)
		}
		m = append(m, fitRecord(i))
	}
	for _, start := range []int{0, 40} {
		m = append(m, mesgdef.NewLap(nil).SetTimestamp(nineTwelve.Add(100*time.Second)).SetStartTime(nineTwelve.Add(time.Duration(start)*time.Second)).ToMesg(nil))
	}
	return fitFile(t, m...)
}

func TestFITRecordsLapsAndPauses(t *testing.T) {
	rec, sums := open(t, Input{Name: "a.fit", Data: fitRide(t)})
	p := rec.Positions
	require.Len(t, p.TimeS, 100)
	require.Equal(t, nineTwelve, rec.Start)
	for i := range 100 {
		require.InDelta(t, float64(i), p.TimeS[i], 1e-9)
		require.InDelta(t, 51.4+float64(i)*5e-5, p.LatDeg[i], 1e-7) // a semicircle is 8.4e-8 degrees
		require.InDelta(t, -2.3, p.LonDeg[i], 1e-7)
		require.InDelta(t, 12.4, p.HeightM[i], 1e-9)
		require.InDelta(t, 5.5+float64(i)/1000, p.SpeedMS[i], 1e-9)
		require.Equal(t, i/50, p.Segment[i])
	}
	require.Len(t, rec.Marks, 1)
	require.Equal(t, "lap", rec.Marks[0].Kind)
	require.InDelta(t, 40, rec.Marks[0].AtS, 1e-9)
	require.Equal(t, "an invented watch", sums[0].Device)
	require.Empty(t, rec.Notes)
}

func TestADamagedFITFileKeepsWhatCanBeRead(t *testing.T) {
	whole := fitRide(t)
	for name, data := range map[string][]byte{
		"cut off":     whole[:len(whole)/2],
		"checksum":    append(append([]byte(nil), whole[:len(whole)-1]...), whole[len(whole)-1]^1),
		"junk behind": append(append([]byte(nil), whole...), bytes.Repeat([]byte("junk"), 20)...),
		"size of 4 GB": func() []byte {
			b := append([]byte(nil), whole...)
			b[4], b[5], b[6], b[7] = 0xf0, 0xff, 0xff, 0xff
			return b
		}(),
	} {
		t.Run(name, func(t *testing.T) {
			rec, _ := open(t, Input{Name: "a.fit", Data: data})
			require.Greater(t, len(rec.Positions.TimeS), 30)
			require.Contains(t, notes(rec), "cut off or damaged")
		})
	}
	chained, _ := open(t, Input{Name: "a.fit", Data: append(append([]byte(nil), whole...), fitFile(t, fitRecord(200), fitRecord(201))...)})
	require.Len(t, chained.Positions.TimeS, 102)
	require.Empty(t, chained.Notes)
}

func TestFITRefused(t *testing.T) {
	for _, c := range []struct {
		data []byte
		says string
	}{
		{fitFile(t), "no track"},
		{fitFile(t, fitRecord(1)), "a single point"},
		{fitFile(t, mesgdef.NewRecord(nil).SetTimestamp(nineTwelve).SetHeartRate(60).ToMesg(nil)), "1 record, none with a place"},
		{fitFile(t, fitRecord(9), fitRecord(8), fitRecord(7), fitRecord(6)), "times run backwards"},
	} {
		_, err := OpenBytes(context.Background(), []Input{{Name: "a.fit", Data: c.data}}, Options{})
		requireFault(t, err, c.says)
	}
}

// Raw counts with a calibration: factor 4 g in 32768 counts about 32768, an offset of 100
// counts on x, and the axes turned by 90° about z.
func TestFITSensors(t *testing.T) {
	const n, per = 600, 25
	at := func(i int) (time.Time, uint16, uint16) { // message time, its milliseconds, offset
		first := i / per * per * 10
		return nineTwelve.Add(time.Duration(first/1000) * time.Second), uint16(first % 1000), uint16(i % per * 10)
	}
	wave := func(i int) float64 {
		if i < 150 {
			return 1
		}
		return 1 + 0.4*math.Sin(2*math.Pi*1.7*float64(i)/100)
	}
	calibration := mesgdef.NewThreeDSensorCalibration(nil).SetSensorType(typedef.SensorTypeAccelerometer).
		SetCalibrationFactor(4).SetCalibrationDivisor(32768).SetLevelShift(32768).SetOffsetCal([3]int32{100, 0, 0}).
		SetOrientationMatrixScaled([9]float64{0, -1, 0, 1, 0, 0, 0, 0, 1}).ToMesg(nil)
	var raw, compressed, floats, gyro []proto.Message
	for from := 0; from < n; from += per {
		when, ms, _ := at(from)
		offsets := make([]uint16, per)
		var cx, cy, cz []uint16
		var mx, my, mz []int16
		var fx, fy, fz, gx, gy, gz []float32
		for k := range per {
			_, _, offsets[k] = at(from + k)
			v := wave(from + k) // g, all of it along the turned axes' (0.6, 0, 0.8)
			cx = append(cx, uint16(math.Round(32768+100)))
			cy = append(cy, uint16(math.Round(32768-0.6*v*8192)))
			cz = append(cz, uint16(math.Round(32768+0.8*v*8192)))
			mx, my, mz = append(mx, int16(math.Round(600*v))), append(my, 0), append(mz, int16(math.Round(800*v)))
			fx, fy, fz = append(fx, float32(0.6*v)), append(fy, 0), append(fz, float32(0.8*v))
			gx, gy, gz = append(gx, 90), append(gy, 0), append(gz, -180)
		}
		raw = append(raw, mesgdef.NewAccelerometerData(nil).SetTimestamp(when).SetTimestampMs(ms).SetSampleTimeOffset(offsets).SetAccelX(cx).SetAccelY(cy).SetAccelZ(cz).ToMesg(nil))
		compressed = append(compressed, mesgdef.NewAccelerometerData(nil).SetTimestamp(when).SetTimestampMs(ms).SetSampleTimeOffset(offsets).SetCompressedCalibratedAccelX(mx).SetCompressedCalibratedAccelY(my).SetCompressedCalibratedAccelZ(mz).ToMesg(nil))
		floats = append(floats, mesgdef.NewAccelerometerData(nil).SetTimestamp(when).SetTimestampMs(ms).SetSampleTimeOffset(offsets).SetCalibratedAccelX(fx).SetCalibratedAccelY(fy).SetCalibratedAccelZ(fz).ToMesg(nil))
		gyro = append(gyro, mesgdef.NewGyroscopeData(nil).SetTimestamp(when).SetTimestampMs(ms).SetSampleTimeOffset(offsets).SetCalibratedGyroX(gx).SetCalibratedGyroY(gy).SetCalibratedGyroZ(gz).ToMesg(nil))
	}
	for name, messages := range map[string][]proto.Message{
		"counts":                  append([]proto.Message{calibration}, raw...),
		"counts, rule at the end": append(append([]proto.Message(nil), raw...), calibration),
		"compressed":              compressed,
		"floats":                  floats,
	} {
		t.Run(name, func(t *testing.T) {
			rec, _ := open(t, Input{Name: "a.fit", Data: fitFile(t, append(append([]proto.Message(nil), messages...), gyro...)...)})
			m := rec.Motion
			require.Len(t, m.TimeS, n)
			require.Nil(t, rec.Positions)
			require.Equal(t, nineTwelve, rec.Start)
			for i := range n {
				require.InDelta(t, float64(i)/100, m.TimeS[i], 1e-6)
				require.InDelta(t, 0.6*wave(i)*standardGravity, m.AX[i], 0.006)
				require.InDelta(t, 0, m.AY[i], 0.006)
				require.InDelta(t, 0.8*wave(i)*standardGravity, m.AZ[i], 0.006)
				require.InDelta(t, math.Pi/2, m.GX[i], 1e-6)
				require.InDelta(t, -math.Pi, m.GZ[i], 1e-6)
			}
		})
	}
	rec, _ := open(t, Input{Name: "a.fit", Data: fitFile(t, raw...)})
	require.InDelta(t, standardGravity, math.Sqrt(rec.Motion.AX[5]*rec.Motion.AX[5]+rec.Motion.AY[5]*rec.Motion.AY[5]+rec.Motion.AZ[5]*rec.Motion.AZ[5]), 0.01)
	require.Contains(t, notes(rec), "without calibration")
	withPlaces, _ := open(t, Input{Name: "a.fit", Data: fitFile(t, append([]proto.Message{fitRecord(0), fitRecord(1), fitRecord(2)}, floats...)...)})
	require.NotNil(t, withPlaces.Positions)
	require.Len(t, withPlaces.Motion.TimeS, n)
}

const tcxText = `<?xml version="1.0" encoding="UTF-8"?>
<TrainingCenterDatabase xmlns="http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2"><Activities><Activity Sport="Other"><Id>2026-06-03T09:12:00Z</Id>
<Lap StartTime="2026-06-03T09:12:00Z"><Track>
<Trackpoint><Time>2026-06-03T09:12:00.000Z</Time><Position><LatitudeDegrees>51.4</LatitudeDegrees><LongitudeDegrees>-2.3</LongitudeDegrees></Position><AltitudeMeters>12.5</AltitudeMeters><Extensions><TPX xmlns="x"><Speed>5.5</Speed></TPX></Extensions></Trackpoint>
<Trackpoint><Time>2026-06-03T09:12:01.500Z</Time><Position><LatitudeDegrees>51.40001</LatitudeDegrees><LongitudeDegrees>-2.3</LongitudeDegrees></Position><AltitudeMeters>12.6</AltitudeMeters><Extensions><TPX xmlns="x"><Speed>5.6</Speed></TPX></Extensions></Trackpoint>
<Trackpoint><Time>2026-06-03T09:12:02Z</Time><HeartRateBpm><Value>120</Value></HeartRateBpm></Trackpoint>
</Track></Lap><Lap StartTime="2026-06-03T09:12:03Z"><Track>
<Trackpoint><Time>2026-06-03T09:12:03Z</Time><Position><LatitudeDegrees>51.40002</LatitudeDegrees><LongitudeDegrees>-2.3</LongitudeDegrees></Position><AltitudeMeters>12.7</AltitudeMeters><Extensions><TPX xmlns="x"><Speed>5.7</Speed></TPX></Extensions></Trackpoint>
<Trackpoint><Time>2026-06-03T09:12:04Z</Time><Position><LatitudeDegrees>95</LatitudeDegrees><LongitudeDegrees>-2.3</LongitudeDegrees></Position></Trackpoint>
</Track></Lap><Creator><Name>an invented watch</Name></Creator></Activity></Activities></TrainingCenterDatabase>`

func TestTCX(t *testing.T) {
	rec, sums := open(t, Input{Name: "a.tcx", Data: []byte(tcxText)})
	require.Equal(t, []float64{0, 1.5, 3}, rec.Positions.TimeS)
	require.Equal(t, []float64{51.4, 51.40001, 51.40002}, rec.Positions.LatDeg)
	require.Equal(t, []float64{12.5, 12.6, 12.7}, rec.Positions.HeightM)
	require.Equal(t, []float64{5.5, 5.6, 5.7}, rec.Positions.SpeedMS)
	require.Equal(t, []int{0, 0, 1}, rec.Positions.Segment)
	require.Len(t, rec.Marks, 1)
	require.InDelta(t, 3, rec.Marks[0].AtS, 1e-9)
	require.Equal(t, "an invented watch", sums[0].Device)
	require.Contains(t, notes(rec), `LatitudeDegrees "95"`)
	cut, _ := open(t, Input{Name: "a.tcx", Data: []byte(tcxText[:len(tcxText)*3/4])})
	require.Contains(t, notes(cut), "cut off or damaged")
}
