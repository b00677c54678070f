package read

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	gpxgo "github.com/tkrajina/gpxgo/gpx"
	"pgregory.net/rapid"

	"groundline/trace"
)

func gpxBytes(text string) (*trace.Recording, []Summary, error) {
	return InspectBytes(context.Background(), []Input{{Name: "ride.gpx", Data: []byte(text)}}, Options{})
}

func gpxFile(body string) string {
	return `<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="an invented watch" xmlns="http://www.topografix.com/GPX/1/1">` + body + "</gpx>"
}

func point(lat, lon any, rest string) string {
	return fmt.Sprintf("<trkpt lat=%q lon=%q>%s</trkpt>\n", fmt.Sprint(lat), fmt.Sprint(lon), rest)
}

func track(points ...string) string {
	return "<trk><trkseg>" + strings.Join(points, "") + "</trkseg></trk>"
}

func TestGPXKeepsFractionsZonesSegmentsSpeedsAndWaypoints(t *testing.T) {
	rec, sums, err := gpxBytes(gpxFile(`<metadata><time>1999-01-01T00:00:00Z</time></metadata>
<wpt lat="51.5" lon="-2.25"><ele>3</ele><time>2026-06-03T09:12:00.3Z</time><name>gate</name></wpt>
<wpt lat="51.5" lon="-2.25"><name>untimed</name></wpt>
<trk><name>one</name><number>x</number><trkseg>` +
		point(51.4, -2.3, `<ele>10.5</ele><time>2026-06-03T09:12:00.100Z</time><speed>5.5</speed><course>7</course>`) +
		point(51.40001, -2.3, `<ele>10.6</ele><time>2026-06-03T11:12:00.200+02:00</time><hdop>junk</hdop><extensions><x:group xmlns:x="u"><x:speed>5.75</x:speed><x:hr>120</x:hr></x:group></extensions>`) +
		`</trkseg><trkseg>` +
		point(51.40002, -2.3, `<ele>10.7</ele><time>2026-06-03T09:12:00.3Z</time><extensions><speed>6</speed></extensions>`) +
		`</trkseg></trk><trk><trkseg></trkseg><trkseg>` +
		point(51.40003, -2.3, `<ele>1e1</ele><time>2026-06-03 09:12:00.4Z</time><speed>6.25</speed>`) + `</trkseg></trk>`))
	require.NoError(t, err)
	p := rec.Positions
	require.InDeltaSlice(t, []float64{0, 0.1, 0.2, 0.3}, p.TimeS, 1e-9)
	require.Equal(t, []int{0, 0, 1, 2}, p.Segment)
	require.Equal(t, []float64{5.5, 5.75, 6, 6.25}, p.SpeedMS)
	require.Equal(t, []float64{10.5, 10.6, 10.7, 10}, p.HeightM)
	require.Equal(t, []float64{51.4, 51.40001, 51.40002, 51.40003}, p.LatDeg)
	require.InDelta(t, 10, p.RateHz, 1e-6)
	require.Equal(t, "2026-06-03T09:12:00.1Z", rec.Start.Format("2006-01-02T15:04:05.999Z07:00"))
	require.Len(t, rec.Marks, 1)
	require.Equal(t, "gate", rec.Marks[0].Name)
	require.InDelta(t, 0.2, rec.Marks[0].AtS, 1e-9)
	require.True(t, rec.Marks[0].HasPlace)
	require.Equal(t, "GPX 1.1", sums[0].Format)
	require.Equal(t, "an invented watch", sums[0].Device)
	require.True(t, sums[0].ZoneKnown)
	require.Equal(t, 3, sums[0].Positions.Segments)
}

// Many pages of points, read with gpxgo alone for comparison (whole seconds, because it
// cuts fractions off).
func TestGPXAgreesWithItsLibraryOverPages(t *testing.T) {
	text := string(longGPX(2*gpxPage + 100))
	rec, _, err := gpxBytes(text)
	require.NoError(t, err)
	want, err := gpxgo.ParseString(text)
	require.NoError(t, err)
	points := want.Tracks[0].Segments[0].Points
	require.Len(t, rec.Positions.TimeS, len(points))
	for i, pt := range points {
		require.Equal(t, pt.Latitude, rec.Positions.LatDeg[i])
		require.Equal(t, pt.Longitude, rec.Positions.LonDeg[i])
		require.Equal(t, pt.Elevation.Value(), rec.Positions.HeightM[i])
		require.InDelta(t, float64(i)/10, rec.Positions.TimeS[i], 1e-9)
		require.Zero(t, rec.Positions.Segment[i])
		require.Equal(t, 5.5, rec.Positions.SpeedMS[i])
	}
}

func TestGPXBadPointsAreLeftOutAndTold(t *testing.T) {
	points := []string{}
	for i := range 100 {
		points = append(points, point(51.4+float64(i)*1e-5, -2.3, fmt.Sprintf("<ele>10</ele><time>2026-06-03T09:%02d:%02dZ</time>", 12+i/60, i%60)))
	}
	points[10] = point("NaN", -2.3, "<time>2026-06-03T09:12:10Z</time>")
	points[11] = point(999, -2.3, "<time>2026-06-03T09:12:11Z</time>")
	points[12] = point(51.4, "+Inf", "<time>2026-06-03T09:12:12Z</time>")
	points[13] = "<trkpt lon=\"-2.3\"><time>2026-06-03T09:12:13Z</time></trkpt>\n"
	points[14] = point(51.4, -2.3, "<ele>8</ele>")
	points[15] = point(51.4, -2.3, "<ele>8</ele><time>yesterday</time>")
	points[16] = point(51.4, -2.3, "<ele>high</ele><time>2026-06-03T09:12:16Z</time>")
	points[17] = point(0, 0, "<ele>0</ele><time>2026-06-03T09:12:17Z</time>")
	points[18] = point(51.4, 357.7, "<ele>8</ele><time>2026-06-03T09:12:18Z</time>")
	rec, sums, err := gpxBytes(gpxFile(track(points...)))
	require.NoError(t, err)
	require.Len(t, rec.Positions.TimeS, 93)
	require.Equal(t, 5, sums[0].Unreadable)
	for _, says := range []string{`lat "NaN"`, "they have no time", "receiver writes without a fix", "1 longitude brought into ±180°", "1 height left out"} {
		require.Contains(t, notes(rec), says)
	}
	for _, lon := range rec.Positions.LonDeg {
		require.InDelta(t, -2.3, lon, 1e-9)
	}
	require.NotNil(t, rec.Positions.HeightM, "one bad height does not cost the others")
}

func TestGPXOverTheAntimeridian(t *testing.T) {
	rec, _, err := gpxBytes(gpxFile(track(point(9.8, 179.9999, "<time>2026-06-03T09:12:00Z</time>"), point(9.8, 180.0001, "<time>2026-06-03T09:12:01Z</time>"), point(9.8, -180, "<time>2026-06-03T09:12:02Z</time>"))))
	require.NoError(t, err)
	require.InDeltaSlice(t, []float64{179.9999, -179.9999, -180}, rec.Positions.LonDeg, 1e-9)
}

func TestGPXRefused(t *testing.T) {
	at := func(s string) string { return point(51.4, -2.3, "<time>"+s+"</time>") }
	for _, c := range []struct{ name, text, says string }{
		{"no times", gpxFile(track(point(51.4, -2.3, ""), point(51.5, -2.3, ""))), "2 points without a usable time"},
		{"one point", gpxFile(track(at("2026-06-03T09:12:00Z"))), "a single point"},
		{"one time", gpxFile(track(at("2026-06-03T09:12:00Z"), at("2026-06-03T09:12:00Z"))), "the same time"},
		{"no point", gpxFile("<trk/>"), "no track"},
		{"a route", gpxFile(`<rte><rtept lat="1" lon="2"/><rtept lat="1" lon="2"/></rte>`), "2 points of a route"},
		{"waypoints", gpxFile(`<wpt lat="1" lon="2"/>`), "1 waypoint and no track"},
		{"backwards", gpxFile(track(at("2026-06-03T09:12:03Z"), at("2026-06-03T09:12:02Z"), at("2026-06-03T09:12:01Z"))), "times run backwards"},
		{"all places bad", gpxFile(track(point(99, 1, "<time>2026-06-03T09:12:00Z</time>"), point("x", 1, "<time>2026-06-03T09:12:01Z</time>"))), `ride.gpx:3: lat: "x", expected degrees`},
		{"cut at once", `<?xml version="1.0"?><gpx><trk><trkseg><trkpt lat="1"`, "damaged"},
		{"another kind of XML", `<?xml version="1.0"?><kml></kml>`, "XML <kml>"},
		{"a page", `<!DOCTYPE html><html><body>404</body></html>`, "XML <html>"},
		{"entities", `<?xml version="1.0"?><!DOCTYPE g [<!ENTITY a "aaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]><gpx><trk><name>&b;</name></trk></gpx>`, "damaged"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, err := gpxBytes(c.text)
			requireFault(t, err, c.says)
		})
	}
}

func TestAllFaultsAreCountedAndTheFirstListed(t *testing.T) {
	_, _, err := gpxBytes(gpxFile(track(strings.Repeat(point("x", 1, ""), 100))))
	faults := requireFault(t, err, "and 81 more")
	require.Len(t, faults.List, 20)
	require.Equal(t, 81, faults.More)
}

func TestGPXWithoutZoneIsUTCWithANote(t *testing.T) {
	rec, sums, err := gpxBytes(gpxFile(track(point(51.4, -2.3, "<time>2026-06-03T09:12:00</time>"), point(51.4, -2.3, "<time>2026-06-03T09:12:01</time>"))))
	require.NoError(t, err)
	require.Equal(t, 9, rec.Start.Hour())
	require.False(t, sums[0].ZoneKnown)
	require.Contains(t, notes(rec), "local time without zone")
}

func TestCutOffGPXKeepsWhatCameBefore(t *testing.T) {
	text := string(longGPX(1000))
	rec, _, err := gpxBytes(text[:len(text)*2/3])
	require.NoError(t, err)
	require.InDelta(t, 667, len(rec.Positions.TimeS), 10)
	require.Contains(t, notes(rec), "cut off or damaged")
}

func TestSegmentsInAnyOrder(t *testing.T) {
	at := func(lat float64, s string) string { return point(lat, -2.3, "<time>2026-06-03T09:12:"+s+"Z</time>") }
	rec, _, err := gpxBytes(gpxFile(track(at(51.3, "10"), at(51.4, "11"), at(51.5, "12")) + track(at(51, "00"), at(51.1, "01"), at(51.2, "02"))))
	require.NoError(t, err)
	require.Equal(t, []float64{51, 51.1, 51.2, 51.3, 51.4, 51.5}, rec.Positions.LatDeg)
	require.Equal(t, []int{0, 0, 0, 1, 1, 1}, rec.Positions.Segment)
}

func TestTwoDocumentsInOneFile(t *testing.T) {
	later := watch(nineTwelve.Add(time.Minute), 5, time.RFC3339)
	rec, _, err := gpxBytes(string(watch(nineTwelve, 5, time.RFC3339).Data) + string(later.Data))
	require.NoError(t, err)
	require.Len(t, rec.Positions.TimeS, 10)
	require.Empty(t, rec.Notes)
	require.Equal(t, 1, rec.Positions.Segment[9])
}

func TestPlacesOnlyTakesASurveysWaypoints(t *testing.T) {
	text := gpxFile(`<wpt lat="51.5" lon="-2.25"><name>1</name></wpt><wpt lat="51.6" lon="-2.25"><name>2</name></wpt>`)
	rec, err := OpenBytes(context.Background(), []Input{{Name: "points.gpx", Data: []byte(text)}}, Options{PlacesOnly: true})
	require.NoError(t, err)
	require.Nil(t, rec.Positions)
	require.Len(t, rec.Marks, 2)
	require.Equal(t, "2", rec.Marks[1].Name)
	require.Equal(t, 51.6, rec.Marks[1].LatDeg)
}

func TestGPXBounds(t *testing.T) {
	deep := gpxFile(strings.Repeat("<trk>", 100_000))
	_, _, err := gpxBytes(deep)
	requireFault(t, err, "nest more than 64 deep")
	_, _, err = gpxBytes(gpxFile("<trk><name>" + strings.Repeat("a", 3<<20)))
	requireFault(t, err, "a text or tag of more than 1048576 bytes")
	nested := gpxFile(track(point(51, 2, "<time>2026-06-03T09:12:00Z</time>"), point(51, 2, "<time>2026-06-03T09:12:01Z</time>"),
		point(51, 2, "<extensions>"+strings.Repeat("<a>", 1000))))
	rec, _, err := gpxBytes(nested)
	require.NoError(t, err)
	require.Contains(t, notes(rec), "nest more than 64 deep")
	_, err = OpenBytes(context.Background(), []Input{{Name: "ride.gpx", Data: longGPX(100)}}, Options{Limits: Limits{Rows: 10}})
	require.NoError(t, err, "what came before the limit is kept, with a warning")
}

// Whatever the points, times increase strictly, places are on the earth, and the same file
// read twice gives the same.
func TestGPXProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var points []string
		for range rapid.IntRange(0, 30).Draw(t, "n") {
			lat := rapid.OneOf(rapid.Float64Range(-91, 91), rapid.Just(math.NaN())).Draw(t, "lat")
			lon := rapid.Float64Range(-361, 361).Draw(t, "lon")
			second := rapid.IntRange(0, 59).Draw(t, "s")
			points = append(points, point(lat, lon, fmt.Sprintf("<ele>%g</ele><time>2026-06-03T09:12:%02dZ</time>", lat, second)))
		}
		text := gpxFile(track(points...))
		rec, _, err := gpxBytes(text)
		again, _, err2 := gpxBytes(text)
		if (err == nil) != (err2 == nil) || err == nil && fmt.Sprint(rec.Positions) != fmt.Sprint(again.Positions) {
			t.Fatal("two readings differ")
		}
		if err != nil {
			return
		}
		sound(t, rec)
	})
}

// sound checks what every recording must keep, whatever was read.
func sound(t interface{ Fatalf(string, ...any) }, rec *trace.Recording) {
	finite := func(what string, v []float64, n int) {
		if v != nil && len(v) != n {
			t.Fatalf("%s has %d values for %d times", what, len(v), n)
		}
		for i, x := range v {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Fatalf("%s[%d] is %v", what, i, x)
			}
		}
	}
	rising := func(v []float64) {
		for i := 1; i < len(v); i++ {
			if v[i] <= v[i-1] {
				t.Fatalf("time %d: %v after %v", i, v[i], v[i-1])
			}
		}
	}
	if p := rec.Positions; p != nil {
		n := len(p.TimeS)
		if n == 0 || len(p.Segment) != n || p.LatDeg == nil || p.LonDeg == nil {
			t.Fatalf("positions of unlike length")
		}
		rising(p.TimeS)
		for _, c := range []struct {
			what string
			v    []float64
		}{{"time", p.TimeS}, {"latitude", p.LatDeg}, {"longitude", p.LonDeg}, {"height", p.HeightM}, {"speed", p.SpeedMS}} {
			finite(c.what, c.v, n)
		}
		for i := range n {
			if math.Abs(p.LatDeg[i]) > 90 || math.Abs(p.LonDeg[i]) > 180 {
				t.Fatalf("place %v, %v", p.LatDeg[i], p.LonDeg[i])
			}
		}
	}
	if m := rec.Motion; m != nil {
		n := len(m.TimeS)
		if n == 0 || m.AX == nil || (m.GX == nil) != (m.GZ == nil) {
			t.Fatalf("motion without axes")
		}
		rising(m.TimeS)
		for _, v := range [][]float64{m.TimeS, m.AX, m.AY, m.AZ, m.GX, m.GY, m.GZ} {
			finite("motion", v, n)
		}
	}
	if math.IsNaN(rec.DurationS) || math.IsInf(rec.DurationS, 0) {
		t.Fatalf("duration %v", rec.DurationS)
	}
}
