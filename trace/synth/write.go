package synth

import (
	"bytes"
	"strconv"
	"time"

	"groundline/trace"
)

// GPX is the positions as a GPX 1.1 file with one track; times in UTC to a millisecond, places to
// 1e-7 degrees (about 1 cm), heights to 0.1 m. Speeds go into the points' extensions.
func GPX(p *trace.Positions, start time.Time) []byte {
	var b bytes.Buffer
	b.WriteString("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n" +
		"<gpx version=\"1.1\" creator=\"made\" xmlns=\"http://www.topografix.com/GPX/1/1\">\n<trk><trkseg>\n")
	for i, t := range p.TimeS {
		b.WriteString(`<trkpt lat="` + fixed(p.LatDeg[i], 7) + `" lon="` + fixed(p.LonDeg[i], 7) + `">`)
		if p.HeightM != nil {
			b.WriteString("<ele>" + fixed(p.HeightM[i], 1) + "</ele>")
		}
		at := start.UTC().Add(time.Duration(t*1e3+0.5) * time.Millisecond)
		b.WriteString("<time>" + at.Format("2006-01-02T15:04:05.000Z") + "</time>")
		if p.SpeedMS != nil {
			b.WriteString("<extensions><speed>" + fixed(p.SpeedMS[i], 2) + "</speed></extensions>")
		}
		b.WriteString("</trkpt>\n")
	}
	b.WriteString("</trkseg></trk>\n</gpx>\n")
	return b.Bytes()
}

// MotionCSV is the motion as comma-separated values with a header that names units: seconds to a tenth of a
// millisecond, acceleration to 0.01 m/s², turn rates to 0.001 rad/s.
func MotionCSV(m *trace.Motion) []byte {
	var b bytes.Buffer
	b.WriteString("time_s,ax_m_s2,ay_m_s2,az_m_s2")
	if m.GX != nil {
		b.WriteString(",gx_rad_s,gy_rad_s,gz_rad_s")
	}
	b.WriteByte('\n')
	for i, t := range m.TimeS {
		b.WriteString(fixed(t, 4))
		for _, a := range [][]float64{m.AX, m.AY, m.AZ} {
			b.WriteString("," + fixed(a[i], 2))
		}
		if m.GX != nil {
			for _, a := range [][]float64{m.GX, m.GY, m.GZ} {
				b.WriteString("," + fixed(a[i], 3))
			}
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

func fixed(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }
