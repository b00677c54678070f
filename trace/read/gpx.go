package read

import (
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/tkrajina/gpxgo/gpx"

	"groundline/trace"
)

// gpxPage is how many points gpxgo is given at a time. It holds some 6 times the text in
// memory, so a day's file is handed to it page by page.
const gpxPage = 4096

// gpx reads GPX 1.0 and 1.1 (topografix.com/GPX/1/1). The structure is read by gpxgo
// behind [gpxFilter], because alone gpxgo v1.4.0 cuts off fractions of a second, loses a
// zone's offset and GPX 1.0's speed, fails the whole file for one bad height, and accepts
// NaN and latitude 999.
func (t *task) gpx(name string, r io.Reader) (*part, *Faults) {
	p := &part{sum: Summary{File: name, Format: "GPX"}}
	filter := &gpxFilter{walk: newXMLWalk(r, t.opt.Limits), rows: t.rowsLeft(), tooMany: t.tooManyRows()}
	defer func() { t.spent.rows += min(filter.read, filter.rows) }()
	fixes := newFixes(p)
	for more := true; more; {
		if t.ctx.Err() != nil {
			return nil, &Faults{List: []Fault{{File: name, Found: "stopped"}}}
		}
		filter.page()
		doc, err := gpx.ParseDecoder(xml.NewTokenDecoder(filter), nil)
		if err != nil {
			if err != io.EOF && filter.walk.cut == "" {
				filter.walk.cut = err.Error()
			}
			break
		}
		if doc.Creator != "" {
			p.sum.Device = doc.Creator
		}
		next := 0
		for _, track := range doc.Tracks {
			for _, segment := range track.Segments {
				for i := range segment.Points {
					if next < len(filter.points) {
						fixes.gpxPoint(&segment.Points[i], filter.points[next])
						next++
					}
				}
			}
		}
		for i := range doc.Waypoints {
			if i < len(filter.waypoints) {
				fixes.gpxWaypoint(&doc.Waypoints[i], filter.waypoints[i], t.opt.PlacesOnly)
			}
		}
		more = filter.again
	}
	if filter.version != "" {
		p.sum.Format += " " + filter.version
	}
	fixes.problems.addAll(filter.problems)
	fixes.badHeights = filter.badHeights
	return fixes.finish(t.opt, filter.walk, filter.routePoints)
}

// gpxPoint is what the filter keeps of a point beside what gpxgo reads.
type gpxPoint struct {
	line    int
	segment int
	when    moment
	timed   bool
	badTime string
	speed   float64 // m/s, NaN without
}

// gpxFilter stands between the XML decoder and gpxgo. It passes on only what gpxgo reads
// rightly, checks every number first, keeps times and speeds itself, and cuts long tracks
// into pages.
type gpxFilter struct {
	walk        *xmlWalk
	queue       []xml.Token
	sent        int      // how much of the queue gpxgo has had
	open        []string // elements passed on and not yet closed
	points      []gpxPoint
	waypoints   []gpxPoint
	current     gpxPoint
	inside      string // "trkpt" or "wpt" while in one
	segment     int
	version     string
	ended       bool // the page or the document is over
	again       bool // there is a further page
	rows        int
	tooMany     string // found where there are more
	read        int
	routePoints int
	badHeights  int
	problems    problems
}

// page starts the next page: the elements that were open are opened again.
func (f *gpxFilter) page() {
	f.points, f.waypoints = f.points[:0], f.waypoints[:0]
	f.queue, f.sent, f.ended, f.again = f.queue[:0], 0, false, false
	for _, name := range f.open {
		f.queue = append(f.queue, xml.StartElement{Name: xml.Name{Local: name}})
	}
}

// Token is the next token for gpxgo.
func (f *gpxFilter) Token() (xml.Token, error) {
	for f.sent == len(f.queue) {
		f.queue, f.sent = f.queue[:0], 0
		if f.ended {
			return nil, io.EOF
		}
		f.step()
	}
	f.sent++
	return f.queue[f.sent-1], nil
}

// step reads one token of the document and queues what gpxgo shall see of it.
func (f *gpxFilter) step() {
	switch tok := f.walk.next().(type) {
	case nil:
		f.end(false)
	case xml.StartElement:
		f.start(tok)
	case xml.EndElement:
		f.closing(tok.Name.Local)
	}
}

// end closes all that is open, for this page or for good.
func (f *gpxFilter) end(again bool) {
	for i := len(f.open) - 1; i >= 0; i-- {
		f.queue = append(f.queue, xml.EndElement{Name: xml.Name{Local: f.open[i]}})
	}
	f.ended, f.again = true, again
	if !again {
		f.keep()
		f.open = nil
	}
}

// keep files the current point, which gpxgo has been shown whole or cut short.
func (f *gpxFilter) keep() {
	switch f.inside {
	case "trkpt":
		f.points = append(f.points, f.current)
	case "wpt":
		f.waypoints = append(f.waypoints, f.current)
	}
	f.inside = ""
}

func (f *gpxFilter) pass(name string, attr ...xml.Attr) {
	f.open = append(f.open, name)
	f.queue = append(f.queue, xml.StartElement{Name: xml.Name{Local: name}, Attr: attr})
}

func (f *gpxFilter) start(tok xml.StartElement) {
	name := tok.Name.Local
	parent := ""
	if n := len(f.open); n > 0 {
		parent = f.open[n-1]
	}
	switch {
	case parent == "" && name == "gpx":
		f.root(tok)
	case parent == "gpx" && name == "trk":
		f.pass(name)
	case parent == "trk" && name == "trkseg":
		f.pass(name)
		f.segment++
	case parent == "trkseg" && name == "trkpt", parent == "gpx" && name == "wpt":
		f.point(tok)
	case parent == "gpx" && name == "rte":
		f.route()
	case f.inside != "" && parent == f.inside:
		f.child(name)
	default:
		f.walk.skip()
	}
}

func (f *gpxFilter) root(tok xml.StartElement) {
	var kept []xml.Attr
	for _, a := range tok.Attr {
		switch a.Name.Local {
		case "creator":
			kept = append(kept, xml.Attr{Name: xml.Name{Local: "creator"}, Value: a.Value})
		case "version":
			f.version = a.Value
		}
	}
	if f.version != "1.0" && f.version != "1.1" {
		f.version = ""
	}
	f.pass("gpx", kept...)
}

func (f *gpxFilter) route() {
	depth := len(f.walk.path)
	for len(f.walk.path) >= depth {
		switch tok := f.walk.next().(type) {
		case nil:
			return
		case xml.StartElement:
			if tok.Name.Local == "rtept" {
				f.routePoints++
			}
		}
	}
}

// point passes a point on if its place is one.
func (f *gpxFilter) point(tok xml.StartElement) {
	f.read++
	line := f.walk.line
	if f.read > f.rows {
		f.walk.cut = f.tooMany
		return
	}
	var kept []xml.Attr
	for _, want := range [...]struct {
		name string
		most float64
	}{{"lat", 90}, {"lon", 360}} {
		text, found := "", false
		for _, a := range tok.Attr {
			if a.Name.Local == want.name {
				text, found = a.Value, true
			}
		}
		v, ok := number([]byte(text))
		if !ok || math.Abs(v) > want.most {
			fault := Fault{Line: line, Field: want.name, Found: quoteShort(text),
				Expected: fmt.Sprintf("degrees from -%g to %g", want.most, want.most)}
			if !found {
				fault.Found = "none"
			}
			f.problems.add(fault)
			f.walk.skip()
			return
		}
		kept = append(kept, xml.Attr{Name: xml.Name{Local: want.name}, Value: strings.TrimSpace(text)})
	}
	f.current = gpxPoint{line: line, segment: f.segment, speed: math.NaN()}
	f.inside = tok.Name.Local
	f.pass(f.inside, kept...)
}

// child is an element directly within a point.
func (f *gpxFilter) child(name string) {
	switch name {
	case "time":
		text := f.walk.text()
		when, ok := scanTime([]byte(text))
		if ok && when.dayful {
			f.current.when, f.current.timed = when, true
		} else {
			f.current.badTime = text
		}
	case "speed":
		f.speed()
	case "ele":
		text := f.walk.text()
		if _, ok := number([]byte(text)); !ok {
			f.badHeights++
			return
		}
		f.leaf(name, text)
	case "name":
		f.leaf(name, f.walk.text())
	case "extensions":
		f.extensions()
	default:
		f.walk.skip()
	}
}

func (f *gpxFilter) leaf(name, text string) {
	tag := xml.Name{Local: name}
	f.queue = append(f.queue, xml.StartElement{Name: tag}, xml.CharData(text), xml.EndElement{Name: tag})
}

func (f *gpxFilter) closing(name string) {
	if len(f.open) == 0 || f.open[len(f.open)-1] != name {
		return
	}
	f.open = f.open[:len(f.open)-1]
	f.queue = append(f.queue, xml.EndElement{Name: xml.Name{Local: name}})
	if len(f.open) == 0 { // the document is over; files put together by hand have another behind it
		f.ended, f.again = true, true
	}
	if name == f.inside {
		f.keep()
		if len(f.points)+len(f.waypoints) >= gpxPage {
			f.end(true)
		}
	}
}

// extensions looks for a speed at any depth: watch makers put it into a group of their own,
// all by this name and in m/s.
func (f *gpxFilter) extensions() {
	depth := len(f.walk.path)
	for len(f.walk.path) >= depth {
		switch tok := f.walk.next().(type) {
		case nil:
			return
		case xml.StartElement:
			if tok.Name.Local == "speed" {
				f.speed()
			}
		}
	}
}

func (f *gpxFilter) speed() {
	if v, ok := number([]byte(f.walk.text())); ok && v >= 0 {
		f.current.speed = v
	}
}

func (x *fixes) gpxPoint(pt *gpx.GPXPoint, side gpxPoint) {
	f := fix{line: side.line, segment: side.segment, lat: pt.Latitude, lon: pt.Longitude,
		height: math.NaN(), speed: side.speed, when: side.when, timed: side.timed, badTime: side.badTime}
	if pt.Elevation.NotNull() {
		f.height = pt.Elevation.Value()
	}
	x.add(f)
}

func (x *fixes) gpxWaypoint(pt *gpx.GPXPoint, side gpxPoint, untimed bool) {
	mark := trace.Mark{Kind: "waypoint", Name: pt.Name, LatDeg: pt.Latitude, LonDeg: wrapLon(pt.Longitude), HasPlace: true}
	x.mark(mark, side.when, side.timed, untimed)
}
