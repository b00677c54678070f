package course

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/trace/geo"
)

// Round trip within a centimetre wherever the course lies: also near a pole, on the equator and over
// the antimeridian. Here it is held to 2 mm.
func TestGeoJSONRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := ridablePlan().Draw(t, "plan")
		p.Name = "Field"
		p.Anchor = &Anchor{geo.LatLon{LatDeg: rapid.Float64Range(-89, 89).Draw(t, "latitude"), LonDeg: rapid.SampledFrom([]float64{-180, -179.9999, -2.3, 0, 10, 179.9999, 180}).Draw(t, "longitude")},
			rapid.Float64Range(0, 359.9).Draw(t, "bearing")}
		if rapid.Bool().Draw(t, "arena") {
			p.Arena = []Point{{-160, -160}, {-160, 170}, {170, 160}, {160, -170}}
			if rapid.Bool().Draw(t, "anticlockwise") {
				p.Arena = []Point{{-160, -160}, {160, -170}, {170, 160}, {-160, 170}}
			}
		}
		text, err := WriteGeoJSON(p)
		require.NoError(t, err)
		q, _, err := ReadGeoJSON("map.geojson", text)
		require.NoError(t, err, "%s", text)
		// The anchor comes back to the ten-billionth of a degree that is written.
		require.InDelta(t, p.Anchor.At.LatDeg, q.Anchor.At.LatDeg, 1e-9)
		require.InDelta(t, 0, math.Mod(p.Anchor.At.LonDeg-q.Anchor.At.LonDeg+720, 360), 1e-9)
		require.Equal(t, p.Anchor.BearingDeg, q.Anchor.BearingDeg)
		q.Anchor = p.Anchor
		requireSamePlan(t, p, q, 2e-3)
	})
}

// What RFC 7946 asks: longitude before latitude, a closed ring with its outside anticlockwise, no crs.
func TestGeoJSONIsRFC7946(t *testing.T) {
	p, _ := mustRead(t, goodPlan)
	p.Arena = []Point{{0, 0}, {0, 60}, {80, 60}, {80, 0}} // clockwise
	text, err := WriteGeoJSON(p)
	require.NoError(t, err)
	var top map[string]any
	require.NoError(t, json.Unmarshal(text, &top))
	require.Equal(t, "FeatureCollection", top["type"])
	require.NotContains(t, top, "crs")
	byRole := map[string][]map[string]any{}
	for _, f := range top["features"].([]any) {
		f := f.(map[string]any)
		require.Equal(t, "Feature", f["type"])
		role := f["properties"].(map[string]any)["role"].(string)
		byRole[role] = append(byRole[role], f)
	}
	require.Len(t, byRole["obstacle"], 5)
	require.Len(t, byRole["level"], 3)
	at := byRole["plan"][0]["geometry"].(map[string]any)["coordinates"].([]any)
	require.Equal(t, []any{-2.3, 51.4}, at, "the anchor, longitude first")
	require.InDelta(t, math.Mod(270+41.5, 360), byRole["obstacle"][0]["properties"].(map[string]any)["facing_true"].(float64), 1e-9)
	ring := byRole["arena"][0]["geometry"].(map[string]any)["coordinates"].([]any)[0].([]any)
	require.Len(t, ring, 5)
	require.Equal(t, ring[0], ring[4])
	var twice float64
	for i := range 4 {
		a, b := ring[i].([]any), ring[i+1].([]any)
		twice += (a[0].(float64)+2.3)*(b[1].(float64)-51.4) - (b[0].(float64)+2.3)*(a[1].(float64)-51.4)
	}
	require.Positive(t, twice, "anticlockwise")
	// A second writing is the same to the byte.
	again, err := WriteGeoJSON(p)
	require.NoError(t, err)
	require.Equal(t, string(text), string(again))
}

// Places by independent computation: 100 m along a meridian at 51.4° are 100/111252 degrees, from the
// meridian radius a(1-e²)/(1-e² sin²φ)^1.5 = 6 374 217 m there, worked by hand.
func TestGeoJSONPlaceByHand(t *testing.T) {
	p, _ := mustRead(t, "plan: groundline/1\nanchor: {latitude: 51.4, longitude: -2.3, bearing: 0}\nobstacles: [{id: 1, kind: wall, at: [0, 100], facing: 0}]\nroute: [1]\n")
	text, err := WriteGeoJSON(p)
	require.NoError(t, err)
	var top featureCollection
	require.NoError(t, json.Unmarshal(text, &top))
	c := top.Features[1].Geometry.Coordinates.([]any)
	require.InDelta(t, -2.3, c[0].(float64), 1e-9)
	e2 := 0.0066943799901
	s := math.Sin(51.4 * math.Pi / 180)
	radius := 6378137 * (1 - e2) / math.Pow(1-e2*s*s, 1.5)
	require.InDelta(t, 51.4+100/radius*180/math.Pi, c[1].(float64), 1e-8)
}

func TestMapDrawnElsewhere(t *testing.T) {
	text := `{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"kind":"oxer","id":1,"facing_true":0,"spread":1,"marker-color":"red"},"geometry":{"type":"Point","coordinates":[10,50]}},
{"type":"Feature","properties":{"kind":"vertical","id":"2","hight":1},"geometry":{"type":"LineString","coordinates":[[9.99998,50.0002,3],[10.00002,50.0002,3]]}},
{"type":"Feature","properties":{"note":"a tree"},"geometry":{"type":"Point","coordinates":[10,50.0001]}},
{"type":"Feature","properties":{},"geometry":{"type":"Polygon","coordinates":[[[9.999,49.999],[10.001,49.999],[10.001,50.001],[9.999,50.001],[9.999,49.999]]]}}]}`
	p, w, err := ReadGeoJSON("m", []byte(text))
	require.NoError(t, err)
	require.Equal(t, []string{"1", "2"}, p.Route)
	require.InDelta(t, 22.2, p.Obstacles[1].At.Y, 0.1)
	require.InDelta(t, 0, turnDeg(0, p.Obstacles[1].FacingDeg), 0.01, "left end first: jumped northwards")
	require.InDelta(t, 2.87, p.Obstacles[1].WidthM, 0.01)
	require.Len(t, p.Arena, 4)
	require.Equal(t, Related, p.Lines[0].Kind)
	var what []string
	for _, v := range w {
		what = append(what, v.What)
	}
	require.Contains(t, what, "the map has no route")
	require.Contains(t, what, "a feature without a role")
	require.Contains(t, what, `the property "hight" is not used`)
}

func TestNoAnchorNoMap(t *testing.T) {
	_, err := WriteGeoJSON(&Plan{})
	require.ErrorContains(t, err, "no anchor")
	_, err = WriteGeoJSON(&Plan{Anchor: &Anchor{}, Obstacles: []Obstacle{{At: Point{math.NaN(), 0}}}})
	require.Error(t, err)
}

func TestGeoJSONFaults(t *testing.T) {
	p, _ := mustRead(t, goodPlan)
	text, err := WriteGeoJSON(p)
	require.NoError(t, err)
	good := string(text)
	for _, c := range []struct{ name, old, new, want string }{
		{"no collection", `"FeatureCollection"`, `"Feature"`, `m:1: type: found "Feature", expected FeatureCollection`},
		{"cut off", `"features"`, `"features" [`, `m:3: can't be read as GeoJSON`},
		{"kind", `"kind": "oxer"`, `"kind": "oxr"`, `properties.kind: unknown kind "oxr", expected one of vertical, oxer`},
		{"id twice", `"id": "2"`, `"id": "1"`, `id "1" given twice`},
		{"no id", `"id": "2",`, ``, `properties.id: the property is missing`},
		{"no facing", `"facing_true": 311.5,`, ``, `properties.facing_true: the property is missing`},
		{"facing", `"facing_true": 311.5`, `"facing_true": "north"`, `properties.facing_true: found "\"north\"", expected a number from 0 to 360`},
		{"height", `"height": 0.85`, `"height": 85`, `properties.height: found "85", expected a number from 0 to 3`},
		{"width", `"width": 3.5`, `"width": 0`, `expected a width above zero`},
		{"latitude", `51.4`, `151.4`, `expected [longitude, latitude], -180 to 180 and -90 to 90 degrees`},
		{"swapped", "-2.3,\n     51.4", "51.4,\n     -2.3", `within 5 km of the anchor`},
		{"one number", "-2.3,\n     51.4", "-2.3", `found [-2.3], expected [longitude, latitude]`},
		{"infinite", "-2.3,\n     51.4", "-2.3,\n 1e999", `found what are no places`},
		{"route", `"4a",`, `"44",`, `no obstacle has the id "44"`},
		{"line kind", `"kind": "related"`, `"kind": "straight"`, `unknown kind "straight", expected one of related`},
		{"walked", `"walked": 21.45`, `"walked": -1`, `found -1, expected a distance above 0`},
		{"role", `"role": "home"`, `"role": 5`, `properties.role: found "5"`},
		{"second gate", `"role": "home"`, `"role": "gate"`, `found a second gate`},
		{"geometry", `"type": "Polygon"`, `"type": "Point"`, `found "Point", expected a Polygon`},
		{"no z", `"z": 2`, `"zz": 2`, `properties.z: the property is missing`},
		{"coordinate system", `"features"`, `"crs": {"type": "name", "properties": {"name": "EPSG:27700"}}, "features"`, `found another coordinate system`},
		{"second plan", `"role": "home"`, `"role": "plan"`, `found a second plan, expected one`},
		{"id of no word", `"id": "2"`, `"id": {}`, `properties.id: found "{}", expected 1 to 32 printable characters`},
		{"line of one place", `"role": "start"`, `"role": "arena"`, `found "LineString", expected a Polygon`},
		{"route of no list", `"route": [`, `"route": 5, "was": [`, `properties.route: found "5", expected a list of up to 200 ids`},
		{"lines of no list", `"lines": [`, `"lines": 5, "was": [`, `properties.lines: found what is no list of lines`},
		{"line of unknown ids", `"to": "2"`, `"to": "9"`, `lines[0]: no obstacle has the id "9"`},
		{"speed", `"speed": 325`, `"speed": 3`, `properties.speed: found "3", expected a number from 50 to 1200`},
		{"format", `"groundline/1"`, `"groundline/7"`, `found "groundline/7", expected groundline/1`},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Contains(t, good, c.old)
			p, _, err := ReadGeoJSON("m", []byte(strings.Replace(good, c.old, c.new, 1)))
			require.Nil(t, p)
			var faults Faults
			require.True(t, errors.As(err, &faults))
			require.Contains(t, err.Error(), c.want)
		})
	}
	for text, want := range map[string]string{
		`{"type":"Feature","properties":{"role":"start"},"geometry":{"type":"LineString","coordinates":[[1,2],[1,2]]}}`:                                "both ends are the same place",
		`{"type":"Feature","properties":{"role":"start"},"geometry":{"type":"LineString","coordinates":[[1,2],[1,2],[1,3]]}}`:                          "found a LineString of 3 places",
		`{"type":"Feature","properties":{"role":"arena"},"geometry":{"type":"Polygon","coordinates":[[[1,2],[1,2.001],[1.001,2]]]}}`:                   "a ring of 3 places that is not closed",
		`{"type":"Feature","properties":{"role":"arena"},"geometry":{"type":"Polygon","coordinates":[[],[]]}}`:                                         "found a Polygon of 2 rings",
		`{"type":"Feature","properties":{"kind":"oxer","id":"9","facing_true":90},"geometry":{"type":"LineString","coordinates":[[1,2],[1,2.00001]]}}`: "",
		`{"type":"Feature","properties":{"kind":"oxer","id":"9","facing_true":0},"geometry":{"type":"LineString","coordinates":[[1,2],[1,2.00001]]}}`:  "expected a bearing across the face",
		`{"type":"Feature","properties":{"kind":"oxer","id":"9"},"geometry":{"type":"LineString","coordinates":[[1,2],[1,2]]}}`:                        "found a face of 0.00 m",
	} {
		_, _, err := ReadGeoJSON("m", []byte(`{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"kind":"wall","id":"1","facing_true":0},"geometry":{"type":"Point","coordinates":[1,2]}},`+text+`]}`))
		if want == "" {
			require.NoError(t, err, text)
			continue
		}
		require.ErrorContains(t, err, want)
	}
	for _, text := range []string{"", "{}", "[]", "null", "5", `"x"`, `{"type":"FeatureCollection"}`, `{"type":"FeatureCollection","features":[null, 3, {}]}`,
		"{\"type\": \"\xff\"}", strings.Repeat("[", 200000), strings.Repeat(" ", 5<<20)} {
		start := time.Now()
		_, _, err := ReadGeoJSON("m", []byte(text))
		require.Error(t, err)
		require.Less(t, len(err.Error()), 2000)
		require.Less(t, time.Since(start), 2*time.Second)
	}
}

// A fault names the line on which its feature begins.
func TestGeoJSONFaultsHaveTheirLine(t *testing.T) {
	text := "{\n\"type\": \"FeatureCollection\", \"note\": [1,\n2], \"features\": [\n\n{\"type\":\"Feature\",\"properties\":{\"role\":\"home\"},\"geometry\":null}\n,\n{\"type\":\"Feature\",\"properties\":{\"role\":\"gate\"},\n\"geometry\":{\"type\":\"Polygon\"}}]}"
	_, _, err := ReadGeoJSON("m", []byte(text))
	require.ErrorContains(t, err, "m:5: features[0].geometry: found nothing, expected a Point")
	require.ErrorContains(t, err, `m:7: features[1].geometry: found "Polygon", expected a Point`)
}

func TestShippedPlansRoundTripAsMaps(t *testing.T) {
	for f, p := range sharedPlans(t) {
		text, err := WriteGeoJSON(p)
		require.NoError(t, err, f)
		q, w, err := ReadGeoJSON(f, text)
		require.NoError(t, err, f)
		require.Empty(t, w, f)
		q.Anchor = p.Anchor
		requireSamePlan(t, p, q, 2e-3)
	}
}

func FuzzReadGeoJSON(f *testing.F) {
	p, _ := mustRead(f, goodPlan)
	text, err := WriteGeoJSON(p)
	require.NoError(f, err)
	f.Add(text)
	f.Add([]byte(`{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"kind":"oxer","id":1,"facing_true":0},"geometry":{"type":"LineString","coordinates":[[1,2],[1.0001,2]]}}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, _, err := ReadGeoJSON("f", data)
		if err != nil {
			var faults Faults
			if !errors.As(err, &faults) || len(faults) == 0 || p != nil {
				t.Fatalf("error %v with plan %v", err, p)
			}
			return
		}
		again, err := WriteGeoJSON(p)
		if err != nil {
			t.Fatal(err)
		}
		q, _, err := ReadGeoJSON("f", again)
		if err != nil {
			t.Fatalf("written map: %v\n%s", err, again)
		}
		q.Anchor = p.Anchor
		requireSamePlan(t, p, q, 1e-2)
		if _, _, err := ReadPlan("f", WritePlan(p)); err != nil {
			t.Fatalf("written plan: %v\n%s", err, WritePlan(p))
		}
	})
}
