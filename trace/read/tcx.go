package read

import (
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strings"

	"groundline/trace"
)

// tcx reads Training Center XML, version 1 and 2: track points, laps as marks, and the speed
// of the activity extension. Each Track is a segment.
func (t *task) tcx(name string, r io.Reader) (*part, *Faults) {
	p := &part{sum: Summary{File: name, Format: "TCX"}}
	w := newXMLWalk(r, t.opt.Limits)
	x := newFixes(p)
	points, segment, laps, most := 0, -1, 0, t.rowsLeft()
	defer func() { t.spent.rows += min(points+laps, most) }()
	for {
		if points%1024 == 0 && t.ctx.Err() != nil {
			return nil, refuse(Fault{File: name, Found: "stopped"}, problems{})
		}
		tok := w.next()
		if tok == nil {
			break
		}
		start, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		switch start.Name.Local {
		case "Lap":
			if laps++; points+laps > most {
				w.cut = t.tooManyRows()
				break
			}
			x.lap(start, laps)
		case "Track":
			segment++
		case "Trackpoint":
			if points++; points+laps > most {
				w.cut = t.tooManyRows()
				break
			}
			x.trackpoint(w, segment)
		case "Creator":
			p.sum.Device = tcxCreator(w)
		}
	}
	return x.finish(t.opt, w, 0)
}

// lap marks a lap's start; the first one is the ride's own.
func (x *fixes) lap(start xml.StartElement, n int) {
	if n == 1 {
		return
	}
	for _, a := range start.Attr {
		if a.Name.Local == "StartTime" {
			when, ok := scanTime([]byte(a.Value))
			if ok && when.dayful {
				x.mark(trace.Mark{Kind: "lap", Name: fmt.Sprintf("lap %d", n)}, when, true, false)
			}
		}
	}
}

// trackpoint takes in one point. A point without a place (only heart rate) is passed over.
func (x *fixes) trackpoint(w *xmlWalk, segment int) {
	f := fix{line: w.line, segment: segment, lat: nan, lon: nan, height: nan, speed: nan}
	depth := len(w.path)
	placed := false
	for len(w.path) >= depth {
		tok := w.next()
		if tok == nil {
			break
		}
		start, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		switch start.Name.Local {
		case "Time":
			f.badTime = w.text()
			f.when, f.timed = scanTime([]byte(f.badTime))
			f.timed = f.timed && f.when.dayful
		case "LatitudeDegrees":
			placed = true
			f.lat = x.degrees(w, "LatitudeDegrees", 90)
		case "LongitudeDegrees":
			placed = true
			f.lon = x.degrees(w, "LongitudeDegrees", 360)
		case "AltitudeMeters":
			if v, ok := number([]byte(w.text())); ok {
				f.height = v
			} else {
				x.badHeights++
			}
		case "Speed":
			if v, ok := number([]byte(w.text())); ok && v >= 0 {
				f.speed = v
			}
		}
	}
	switch {
	case !placed:
		x.placeless++
	case math.IsNaN(f.lat) || math.IsNaN(f.lon):
		if w.cut == "" && x.problems.count == 0 {
			x.problems.add(Fault{Line: f.line, Field: "Position", Found: "half a place", Expected: "latitude and longitude"})
		}
	default:
		x.add(f)
	}
}

// degrees is an angle, or NaN with the fault kept.
func (x *fixes) degrees(w *xmlWalk, field string, most float64) float64 {
	line, text := w.line, w.text()
	v, ok := number([]byte(text))
	if !ok || math.Abs(v) > most {
		x.problems.add(Fault{Line: line, Field: field, Found: quoteShort(text), Expected: fmt.Sprintf("degrees from -%g to %g", most, most)})
		return nan
	}
	return v
}

// tcxCreator is the name of the device.
func tcxCreator(w *xmlWalk) string {
	depth := len(w.path)
	name := ""
	for len(w.path) >= depth {
		tok := w.next()
		if tok == nil {
			break
		}
		if start, ok := tok.(xml.StartElement); ok && start.Name.Local == "Name" {
			name = strings.TrimSpace(w.text())
		}
	}
	return name
}
