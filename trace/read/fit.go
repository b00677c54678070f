package read

import (
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/muktihari/fit/decoder"
	"github.com/muktihari/fit/kit/hash"
	"github.com/muktihari/fit/kit/hash/crc16"
	"github.com/muktihari/fit/profile/basetype"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/profile/untyped/fieldnum"
	"github.com/muktihari/fit/profile/untyped/mesgnum"
	"github.com/muktihari/fit/proto"

	"groundline/trace"
)

// fitEpoch is 1989-12-31T00:00:00Z, from which FIT counts seconds. Counts below
// fitFirst are seconds since the device was switched on (FIT protocol, type date_time).
const (
	fitEpoch = 631_065_600
	fitFirst = 0x1000_0000
)

// fit reads FIT files, one or several in a chain, by the messages as they come, so that
// a file that breaks off keeps what came before. The checksum is checked beside it: a file
// that fails it is read all the same and said to be damaged.
func (t *task) fit(name string, r io.Reader) (*part, *Faults) {
	p := &part{sum: Summary{File: name, Format: "FIT"}}
	source := &summed{r: r, crc: crc16.New()}
	l := &fitListener{x: newFixes(p), source: source, limit: t.rowsLeft(), tooMany: t.tooManyRows()}
	defer func() { t.spent.rows += min(l.read, l.limit) }()
	why := l.decode(source)
	if err := t.ctx.Err(); err != nil {
		return nil, refuse(Fault{File: name, Found: "stopped"}, problems{})
	}
	if why == "" && source.crc.Sum16() != 0 {
		why = "its checksum does not match"
	}
	l.sensors(p)
	x := l.x
	if p.motion == nil && p.turns == nil || len(x.places.t) >= 2 {
		if why != "" && len(x.places.t) < 2 && len(x.stamped) == 0 {
			return nil, refuse(Fault{File: name, Found: "a damaged FIT file: " + why, Expected: "a recorded activity", Hint: "copy it from the device anew"}, x.problems)
		}
		done, bad := x.finish(t.opt, nil, 0)
		if bad != nil {
			return nil, bad
		}
		p = done
	} else {
		p.sum.ZoneKnown = true
		x.placeMarks()
	}
	if why != "" {
		p.note("warning", "cut off or damaged", why+"; what came before was read")
	}
	return p, nil
}

func isFIT(head []byte) bool { return len(head) >= 12 && string(head[8:12]) == ".FIT" }

// summed keeps the checksum of what is read. A FIT file's ends with its own checksum, so that
// of the whole is 0.
type summed struct {
	r    io.Reader
	crc  hash.Hash16
	stop error
}

func (s *summed) Read(b []byte) (int, error) {
	if s.stop != nil {
		return 0, s.stop
	}
	n, err := s.r.Read(b)
	s.crc.Write(b[:n])
	return n, err
}

// fitListener gathers the messages that matter here.
type fitListener struct {
	x       *fixes
	source  *summed
	limit   int
	tooMany string // why it stops where there are more
	read    int
	segment int
	stopped bool // the timer stands still
	laps    int
	acc     fitSensor
	gyr     fitSensor
}

// decode reads all files of the chain and returns why it ended early, or nothing.
func (l *fitListener) decode(r io.Reader) (why string) {
	defer func() {
		if e := recover(); e != nil { // a decoder of others on a file of strangers
			why = fmt.Sprint("can't be decoded: ", e)
		}
	}()
	dec := decoder.New(r, decoder.WithMesgListener(l), decoder.WithBroadcastOnly(), decoder.WithIgnoreChecksum())
	for files := 0; dec.Next(); files++ {
		if _, err := dec.Decode(); err != nil {
			switch {
			case l.source.stop != nil:
				return l.source.stop.Error()
			case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF):
				return "it breaks off"
			case files > 0 && errors.Is(err, decoder.ErrNotFITFile):
				return "what follows its first part is no FIT file"
			}
			return err.Error()
		}
	}
	return ""
}

// OnMesg takes one message in.
func (l *fitListener) OnMesg(m proto.Message) {
	switch m.Num {
	case mesgnum.Record:
		l.record(&m)
	case mesgnum.Lap:
		if l.laps++; l.laps > 1 {
			l.mark(&m, fieldnum.LapStartTime, trace.Mark{Kind: "lap", Name: fmt.Sprintf("lap %d", l.laps)}, fieldnum.LapStartPositionLat, fieldnum.LapStartPositionLong)
		}
	case mesgnum.Jump:
		l.mark(&m, fieldnum.JumpTimestamp, trace.Mark{Kind: "mark", Name: "jump"}, fieldnum.JumpPositionLat, fieldnum.JumpPositionLong)
	case mesgnum.Event:
		l.event(&m)
	case mesgnum.FileId:
		l.device(&m)
	case mesgnum.ThreeDSensorCalibration:
		switch typedef.SensorType(m.FieldValueByNum(fieldnum.ThreeDSensorCalibrationSensorType).Uint8()) {
		case typedef.SensorTypeAccelerometer:
			l.acc.calibrate(&m)
		case typedef.SensorTypeGyroscope:
			l.gyr.calibrate(&m)
		}
	case mesgnum.AccelerometerData:
		l.samples(&m, &l.acc)
	case mesgnum.GyroscopeData:
		l.samples(&m, &l.gyr)
	}
}

func (l *fitListener) count(n int) bool {
	if l.read += n; l.read > l.limit {
		l.source.stop = errors.New(l.tooMany)
		return false
	}
	return true
}

func fitMoment(seconds uint32) (moment, bool) {
	return moment{unixS: int64(seconds) + fitEpoch, zoned: true, dayful: true},
		seconds >= fitFirst && seconds != basetype.Uint32Invalid
}

// fitDegrees turns semicircles into degrees: 2^31 of them are 180°.
func fitDegrees(semicircles int32) float64 { return float64(semicircles) * 180 / (1 << 31) }

func (l *fitListener) record(m *proto.Message) {
	if !l.count(1) {
		return
	}
	lat := m.FieldValueByNum(fieldnum.RecordPositionLat).Int32()
	lon := m.FieldValueByNum(fieldnum.RecordPositionLong).Int32()
	if lat == basetype.Sint32Invalid || lon == basetype.Sint32Invalid {
		l.x.placeless++
		return
	}
	f := fix{segment: l.segment, lat: fitDegrees(lat), lon: fitDegrees(lon), height: nan, speed: nan}
	if math.Abs(f.lat) > 90 {
		l.x.problems.add(Fault{Field: "position_lat", Found: fmt.Sprintf("%.3f°", f.lat), Expected: "degrees from -90 to 90"})
		return
	}
	f.when, f.timed = fitMoment(m.FieldValueByNum(fieldnum.RecordTimestamp).Uint32())
	// Both scales: metres times 5 above -500 m, m/s times 1000 (FIT profile, message record).
	if v := m.FieldValueByNum(fieldnum.RecordEnhancedAltitude).Uint32(); v != basetype.Uint32Invalid {
		f.height = float64(v)/5 - 500
	} else if v := m.FieldValueByNum(fieldnum.RecordAltitude).Uint16(); v != basetype.Uint16Invalid {
		f.height = float64(v)/5 - 500
	}
	if v := m.FieldValueByNum(fieldnum.RecordEnhancedSpeed).Uint32(); v != basetype.Uint32Invalid {
		f.speed = float64(v) / 1000
	} else if v := m.FieldValueByNum(fieldnum.RecordSpeed).Uint16(); v != basetype.Uint16Invalid {
		f.speed = float64(v) / 1000
	}
	l.x.add(f)
}

func (l *fitListener) mark(m *proto.Message, at byte, mark trace.Mark, latField, lonField byte) {
	when, timed := fitMoment(m.FieldValueByNum(at).Uint32())
	lat, lon := m.FieldValueByNum(latField).Int32(), m.FieldValueByNum(lonField).Int32()
	if lat != basetype.Sint32Invalid && lon != basetype.Sint32Invalid && math.Abs(fitDegrees(lat)) <= 90 {
		mark.LatDeg, mark.LonDeg, mark.HasPlace = fitDegrees(lat), fitDegrees(lon), true
	}
	if timed && l.count(1) {
		l.x.mark(mark, when, true, false)
	}
}

// event starts a new segment where the wearer stopped the timer and started it again.
func (l *fitListener) event(m *proto.Message) {
	if typedef.Event(m.FieldValueByNum(fieldnum.EventEvent).Uint8()) != typedef.EventTimer {
		return
	}
	switch typedef.EventType(m.FieldValueByNum(fieldnum.EventEventType).Uint8()) {
	case typedef.EventTypeStop, typedef.EventTypeStopAll, typedef.EventTypeStopDisable, typedef.EventTypeStopDisableAll:
		l.stopped = true
	case typedef.EventTypeStart:
		if l.stopped {
			l.segment++
		}
		l.stopped = false
	}
}

func (l *fitListener) device(m *proto.Message) {
	if l.x.p.sum.Device != "" {
		return
	}
	if name := m.FieldValueByNum(fieldnum.FileIdProductName).String(); name != basetype.StringInvalid {
		l.x.p.sum.Device = name
	} else if maker := m.FieldValueByNum(fieldnum.FileIdManufacturer).Uint16(); maker != basetype.Uint16Invalid {
		l.x.p.sum.Device = typedef.Manufacturer(maker).String()
	}
}

// fitSensor gathers the samples of an accelerometer or gyroscope.
type fitSensor struct {
	base      moment
	known     bool
	t         []float64
	v         [3][]float64
	raw       int // samples given as counts of the converter
	unhelped  int // counts that came before any calibration
	scale     float64
	shift     float64
	offset    [3]float64
	turn      [9]float64
	hasMatrix bool
}

// calibrate takes the rule from counts to g or deg/s: turn · (count - shift - offset) · factor / divisor
// (FIT profile, message three_d_sensor_calibration; the order as the vendor's notes give it, from memory).
func (s *fitSensor) calibrate(m *proto.Message) {
	factor := m.FieldValueByNum(fieldnum.ThreeDSensorCalibrationCalibrationFactor).Uint32()
	divisor := m.FieldValueByNum(fieldnum.ThreeDSensorCalibrationCalibrationDivisor).Uint32()
	if factor == basetype.Uint32Invalid || divisor == basetype.Uint32Invalid || factor == 0 || divisor == 0 {
		return
	}
	s.scale = float64(factor) / float64(divisor)
	s.shift = 32768
	if v := m.FieldValueByNum(fieldnum.ThreeDSensorCalibrationLevelShift).Uint32(); v != basetype.Uint32Invalid {
		s.shift = float64(v)
	}
	s.offset = [3]float64{}
	if v := m.FieldValueByNum(fieldnum.ThreeDSensorCalibrationOffsetCal).SliceInt32(); len(v) == 3 {
		for k := range 3 {
			if v[k] != basetype.Sint32Invalid {
				s.offset[k] = float64(v[k])
			}
		}
	}
	s.hasMatrix = false
	if v := m.FieldValueByNum(fieldnum.ThreeDSensorCalibrationOrientationMatrix).SliceInt32(); len(v) == 9 {
		s.hasMatrix = true
		for k := range 9 {
			s.turn[k] = float64(v[k]) / 65535
			s.hasMatrix = s.hasMatrix && v[k] != basetype.Sint32Invalid
		}
	}
	if s.unhelped == len(s.t) { // the rule came late: it holds for what came before
		for i := range s.t {
			v := s.inUnits([3]float64{s.v[0][i], s.v[1][i], s.v[2][i]})
			s.v[0][i], s.v[1][i], s.v[2][i] = v[0], v[1], v[2]
		}
		s.unhelped = 0
	}
}

func (s *fitSensor) inUnits(c [3]float64) (v [3]float64) {
	for k := range 3 {
		c[k] = (c[k] - s.shift - s.offset[k]) * s.scale
	}
	if !s.hasMatrix {
		return c
	}
	for k := range 3 {
		v[k] = s.turn[3*k]*c[0] + s.turn[3*k+1]*c[1] + s.turn[3*k+2]*c[2]
	}
	return v
}

// samples takes in one message of up to 30 samples. The fields of the two sensors have the
// same numbers; only the accelerometer has the compressed form.
func (l *fitListener) samples(m *proto.Message, s *fitSensor) {
	when, timed := fitMoment(m.FieldValueByNum(fieldnum.AccelerometerDataTimestamp).Uint32())
	offsets := m.FieldValueByNum(fieldnum.AccelerometerDataSampleTimeOffset).SliceUint16()
	if !timed || len(offsets) == 0 || !l.count(len(offsets)) {
		return
	}
	if !s.known {
		s.base, s.known = when, true
	}
	start := when.since(s.base)
	if ms := m.FieldValueByNum(fieldnum.AccelerometerDataTimestampMs).Uint16(); ms != basetype.Uint16Invalid {
		start += float64(ms) / 1000
	}
	var axis [3][]float64
	counts := false
	for k := range byte(3) {
		if v := m.FieldValueByNum(fieldnum.AccelerometerDataCalibratedAccelX + k).SliceFloat32(); len(v) > 0 {
			axis[k] = floats(v, 1)
		} else if v := m.FieldValueByNum(fieldnum.AccelerometerDataCompressedCalibratedAccelX + k).SliceInt16(); len(v) > 0 {
			axis[k] = floats(v, 1e-3)
		} else if v := m.FieldValueByNum(fieldnum.AccelerometerDataAccelX + k).SliceUint16(); len(v) > 0 {
			axis[k], counts = floats(v, 1), true
		}
	}
	for i := range min(len(offsets), len(axis[0]), len(axis[1]), len(axis[2])) {
		v := [3]float64{axis[0][i], axis[1][i], axis[2][i]}
		if offsets[i] == basetype.Uint16Invalid || math.IsNaN(v[0]+v[1]+v[2]) || math.IsInf(v[0]+v[1]+v[2], 0) {
			continue
		}
		if counts {
			s.raw++
			if s.scale > 0 {
				v = s.inUnits(v)
			} else {
				s.unhelped++
			}
		}
		s.t = append(s.t, start+float64(offsets[i])/1000)
		for k := range 3 {
			s.v[k] = append(s.v[k], v[k])
		}
	}
}

func floats[T uint16 | int16 | float32](v []T, scale float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = float64(v[i]) * scale
	}
	return out
}

// sensors makes motion and turn rate of the samples.
func (l *fitListener) sensors(p *part) {
	acc, gyr := &l.acc, &l.gyr
	if acc.unhelped > 0 {
		for k := range 3 {
			addTo(acc.v[k], -32768) // the middle of the converter's range
		}
	}
	if t, v, ok := acc.ordered(p, "acceleration"); ok {
		p.adopt(acc.base)
		addTo(t, acc.base.since(p.base))
		m := &motion{t: t, a: v}
		lay := &layout{accUnit: "g"}
		if acc.unhelped > 0 {
			lay.accUnit = ""
			p.note("caution", "accelerometer without calibration", "its scale is taken from a resting sensor's 1 g")
		}
		lay.accScale(p, m)
		m.dropWild()
		if len(m.t) > 1 {
			p.motion = m
			p.sum.Rows = len(m.t)
			p.sum.Motion = &MotionSummary{GravityRemoved: m.gravityRemoved, RestMS2: findGravity(m.t, m.a).rest, ClippedMS2: clipped(m.a)}
		}
	}
	if gyr.unhelped > 0 {
		p.note("caution", "gyroscope not used", "it has no calibration")
		return
	}
	if t, v, ok := gyr.ordered(p, "turn rate"); ok {
		p.adopt(gyr.base)
		addTo(t, gyr.base.since(p.base))
		for k := range 3 {
			scaleBy(v[k], math.Pi/180)
		}
		p.turns = &turns{t: t, g: v}
		p.sum.Rows = max(p.sum.Rows, len(t))
	}
}

// adopt makes m the part's time zero if it has none yet.
func (p *part) adopt(m moment) {
	if !p.known {
		p.known, p.base = true, m
	}
}

// ordered is the samples in order; false where there are too few, or their clock is no clock.
func (s *fitSensor) ordered(p *part, what string) ([]float64, [3][]float64, bool) {
	if len(s.t) < 2 {
		return nil, s.v, false
	}
	gone := order(s.t)
	if fault := gone.tooMany("", len(s.t)); fault != nil || len(s.t)-len(gone.drop) < 2 {
		p.note("warning", what+" not used", fmt.Sprintf("%d of its %d times run backwards, repeat or lie far off", len(gone.drop), len(s.t)))
		return nil, s.v, false
	}
	if len(gone.drop) > 0 {
		p.note(levelFor(len(gone.drop), len(s.t)), fmt.Sprintf("%d of %d samples of %s left out", len(gone.drop), len(s.t), what),
			"their times run backwards, repeat or lie far off")
	}
	v := s.v
	for k := range 3 {
		v[k] = without(v[k], gone.drop)
	}
	return without(s.t, gone.drop), v, true
}
