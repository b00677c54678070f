package geo_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/trace/geo"
)

// table reads a CSV of numbers with # comments and one header line.
func table(t *testing.T, path string) [][]float64 {
	t.Helper()
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	var out [][]float64
	for _, row := range rows[1:] {
		nums := make([]float64, len(row))
		for i, s := range row {
			nums[i], err = strconv.ParseFloat(s, 64)
			require.NoError(t, err)
		}
		out = append(out, nums)
	}
	require.NotEmpty(t, out)
	return out
}

// CartConvert of GeographicLib 2.1.2 has the same frame; its table has micrometres and
// its input 1e-11 degrees (1 µm).
func TestToENUAgainstGeographicLib(t *testing.T) {
	for _, r := range table(t, "../../testdata/geo/enu.csv") {
		f := geo.NewFrame(geo.LatLon{LatDeg: r[0], LonDeg: r[1]}, r[2])
		e, n, u := f.ToENU(geo.LatLon{LatDeg: r[3], LonDeg: r[4]}, r[5])
		require.InDelta(t, r[6], e, 2e-6, "east of %v", r)
		require.InDelta(t, r[7], n, 2e-6, "north of %v", r)
		require.InDelta(t, r[8], u, 2e-6, "up of %v", r)
	}
}

// The error over an arena: geodesics of up to 200 m by GeodSolve (GeographicLib 2.1.2) from
// origins that include the equator, latitudes of 80 and more and both sides of the antimeridian.
func TestPlaneAgainstGeodesics(t *testing.T) {
	worstM, worstDeg := 0.0, 0.0
	for _, r := range table(t, "../../testdata/geo/direct.csv") {
		f := geo.NewFrame(geo.LatLon{LatDeg: r[0], LonDeg: r[1]}, 0)
		e, n, _ := f.ToENU(geo.LatLon{LatDeg: r[4], LonDeg: r[5]}, 0)
		worstM = math.Max(worstM, math.Abs(math.Hypot(e, n)-r[3]))
		worstDeg = math.Max(worstDeg, math.Abs(math.Remainder(math.Atan2(e, n)*180/math.Pi-r[2], 360)))
	}
	require.Less(t, worstM, 3e-6, "m")
	// A table in steps of 1 µm allows 3e-6 degrees over its shortest line of 20 m.
	require.Less(t, worstDeg, 1e-5, "degrees")
	t.Logf("worst distance error %.2g mm, worst azimuth error %.2g degrees", worstM*1e3, worstDeg)
}

// Ground at 1600 m is longer than the ellipsoid below it by h over the radius of
// curvature, 0.025 %; a frame at the ride's own height measures the ground.
func TestGroundDistanceAtHeight(t *testing.T) {
	const h = 1600.0
	for _, r := range table(t, "../../testdata/geo/direct.csv") {
		p := geo.LatLon{LatDeg: r[4], LonDeg: r[5]}
		o := geo.LatLon{LatDeg: r[0], LonDeg: r[1]}
		e, n, _ := geo.NewFrame(o, h).ToENU(p, h)
		ratio := math.Hypot(e, n) / r[3]
		// The radii of curvature lie between 6335.4 and 6399.6 km (a(1-e²) and a/√(1-e²)).
		require.Greater(t, ratio, 1+h/6399.6e3-1e-6)
		require.Less(t, ratio, 1+h/6335.4e3+1e-6)
	}
}

// The published geodesic test set (C. F. F. Karney, GeodTest.dat, doi 10.5281/zenodo.32156)
// has lines of thousands of kilometres: the straight chord between their ends is what
// earth-centred coordinates give, and it must be shorter than the geodesic and longer than
// the chord of the same arc on the ellipsoid's smallest circle of curvature.
func TestChordsAgainstPublishedGeodesics(t *testing.T) {
	raw, err := os.ReadFile("../../../shared/data/real/geodesy/GeodTest-odd-50.dat")
	if err != nil {
		t.Skip("the published geodesic test set is not beside the project")
	}
	n := 0
	for _, line := range strings.Split(strings.TrimSpace(string(raw)), "\n") {
		var v []float64
		for _, s := range strings.Fields(line) {
			x, err := strconv.ParseFloat(s, 64)
			require.NoError(t, err)
			v = append(v, x)
		}
		require.GreaterOrEqual(t, len(v), 7)
		lat1, lon1, azi1, lat2, lon2, s12 := v[0], v[1], v[2], v[3], v[4], v[6]
		f := geo.NewFrame(geo.LatLon{LatDeg: lat1, LonDeg: lon1}, 0)
		e, nn, u := f.ToENU(geo.LatLon{LatDeg: lat2, LonDeg: lon2}, 0)
		chord := math.Sqrt(e*e + nn*nn + u*u)
		require.LessOrEqual(t, chord, s12*(1+1e-12)+1e-6, line)
		if s12 < 1e7 {
			const rMin, rMax = 6335439.327, 6399593.626
			require.GreaterOrEqual(t, chord, 2*rMin*math.Sin(s12/2/rMin)*0.9999, line)
			require.LessOrEqual(t, chord, 2*rMax*math.Sin(s12/2/rMax)*1.0001, line)
		}
		// A short way along the same geodesic its azimuth is the plane's.
		if s12 < 1e3 {
			require.InDelta(t, azi1, math.Atan2(e, nn)*180/math.Pi, 1e-3, line)
		}
		n++
	}
	require.Positive(t, n)
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := geo.LatLon{
			LatDeg: rapid.Float64Range(-90, 90).Draw(t, "lat"),
			LonDeg: rapid.Float64Range(-180, 180).Draw(t, "lon"),
		}
		h := rapid.Float64Range(-500, 9000).Draw(t, "height")
		f := geo.NewFrame(o, h)
		e := rapid.Float64Range(-5000, 5000).Draw(t, "e")
		n := rapid.Float64Range(-5000, 5000).Draw(t, "n")
		u := rapid.Float64Range(-300, 300).Draw(t, "u")
		p, hh := f.FromENU(e, n, u)
		require.True(t, p.Valid(), "%v", p)
		e2, n2, u2 := f.ToENU(p, hh)
		require.InDelta(t, e, e2, 1e-6)
		require.InDelta(t, n, n2, 1e-6)
		require.InDelta(t, u, u2, 1e-6)
	})
}

// Across the antimeridian the next step east is still east.
func TestAntimeridian(t *testing.T) {
	f := geo.NewFrame(geo.LatLon{LatDeg: -17.5, LonDeg: 179.9999}, 0)
	e1, _, _ := f.ToENU(geo.LatLon{LatDeg: -17.5, LonDeg: 180}, 0)
	e2, _, _ := f.ToENU(geo.LatLon{LatDeg: -17.5, LonDeg: -180}, 0)
	e3, _, _ := f.ToENU(geo.LatLon{LatDeg: -17.5, LonDeg: -179.9999}, 0)
	require.InDelta(t, e1, e2, 1e-9)
	require.InDelta(t, 2*e1, e3, 1e-6)
	p, _ := f.FromENU(e3, 0, 0)
	require.InDelta(t, -179.9999, p.LonDeg, 1e-9)
}

func TestPoles(t *testing.T) {
	for _, lat := range []float64{90, -90} {
		f := geo.NewFrame(geo.LatLon{LatDeg: lat}, 10)
		p, h := f.FromENU(0, 0, 0)
		require.InDelta(t, lat, p.LatDeg, 1e-9)
		require.InDelta(t, 10, h, 1e-6)
	}
}

func TestValid(t *testing.T) {
	require.True(t, geo.LatLon{LatDeg: -90, LonDeg: 180}.Valid())
	for _, p := range []geo.LatLon{{LatDeg: 90.1}, {LonDeg: -180.1}, {LatDeg: math.NaN()}, {LonDeg: math.NaN()}, {LatDeg: math.Inf(1)}} {
		require.False(t, p.Valid(), "%v", p)
	}
}
