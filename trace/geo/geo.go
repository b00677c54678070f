// Package geo turns latitude and longitude into metres on the ground about a
// place, and back.
//
// A [Frame] is the plane that touches the earth at one place of the ride: east,
// north and up in metres. The way there is exact (through earth-centred Cartesian
// coordinates of WGS 84), so nothing is lost at high latitudes, at the
// antimeridian or on a hill. What remains is that the plane is flat and the ground
// is not: within 200 m of the origin distances on the plane differ from the
// geodesic by less than 0.003 mm (a height left out, see [NewFrame], matters more).
// North is the origin's north everywhere: at latitude 80 true north 100 m further
// east differs from it by 0.005 degrees, as meridians do.
package geo

import "math"

// WGS 84 as defined: National Imagery and Mapping Agency, TR8350.2, 3rd ed.
// (2000), table 3.1: the semi-major axis and the reciprocal flattening.
const (
	semiMajorM = 6378137.0
	flattening = 1 / 298.257223563
	// ecc2 is the first eccentricity squared, f(2-f).
	ecc2 = flattening * (2 - flattening)
)

// LatLon is a place on the WGS 84 ellipsoid, degrees.
type LatLon struct{ LatDeg, LonDeg float64 }

// Valid tells whether the place is one: finite, latitude in [-90, 90],
// longitude in [-180, 180].
func (p LatLon) Valid() bool {
	return math.Abs(p.LatDeg) <= 90 && math.Abs(p.LonDeg) <= 180
}

// Frame is a local tangent plane: its origin, and the directions of east, north
// and up there. Make one with [NewFrame]; the zero Frame is of no use.
type Frame struct {
	// Origin is where east = north = 0; HeightM the height above the ellipsoid where up = 0.
	Origin  LatLon
	HeightM float64

	x0, y0, z0     float64 // the origin, earth-centred, m
	sinLat, cosLat float64
	sinLon, cosLon float64
}

// NewFrame is the tangent plane at a valid place (see [LatLon.Valid]) and a
// finite height above the ellipsoid in metres.
//
// Choose the ride's own height: distances on the ground at 1600 m are 0.025 %
// longer than on the ellipsoid below (5 cm in 200 m). A height that is some tens
// of metres off does no harm (1 mm in 200 m for 32 m).
func NewFrame(origin LatLon, heightM float64) Frame {
	f := Frame{Origin: origin, HeightM: heightM}
	f.sinLat, f.cosLat = sinCosDeg(origin.LatDeg)
	f.sinLon, f.cosLon = sinCosDeg(origin.LonDeg)
	f.x0, f.y0, f.z0 = ecef(origin, heightM)
	return f
}

// ToENU is the place and height in the frame: metres east, north and up. Without a
// height of one's own pass f.HeightM; then upM tells how far the ground has curved away.
func (f Frame) ToENU(p LatLon, heightM float64) (eM, nM, uM float64) {
	x, y, z := ecef(p, heightM)
	dx, dy, dz := x-f.x0, y-f.y0, z-f.z0
	// Hofmann-Wellenhof, Lichtenegger and Wasle, GNSS (2008), eq. 8.8 to 8.10.
	out := f.cosLon*dx + f.sinLon*dy // away from the earth's axis, in the origin's meridian plane
	eM = -f.sinLon*dx + f.cosLon*dy
	nM = -f.sinLat*out + f.cosLat*dz
	uM = f.cosLat*out + f.sinLat*dz
	return eM, nM, uM
}

// FromENU is the inverse of [Frame.ToENU] to within a micrometre for heights
// between -10 and 10 km. The longitude is in [-180, 180].
func (f Frame) FromENU(eM, nM, uM float64) (p LatLon, heightM float64) {
	out := f.cosLat*uM - f.sinLat*nM
	return geodetic(
		f.x0+f.cosLon*out-f.sinLon*eM,
		f.y0+f.sinLon*out+f.cosLon*eM,
		f.z0+f.cosLat*nM+f.sinLat*uM,
	)
}

// ecef is a place in earth-centred Cartesian coordinates, metres
// (Hofmann-Wellenhof et al. 2008, eq. 8.5).
func ecef(p LatLon, heightM float64) (x, y, z float64) {
	sinLat, cosLat := sinCosDeg(p.LatDeg)
	sinLon, cosLon := sinCosDeg(p.LonDeg)
	n := semiMajorM / math.Sqrt(1-ecc2*sinLat*sinLat)
	return (n + heightM) * cosLat * cosLon, (n + heightM) * cosLat * sinLon, (n*(1-ecc2) + heightM) * sinLat
}

// geodetic is the inverse of ecef by Bowring's formula (B. R. Bowring,
// Transformation from spatial to geographical coordinates, Survey Review 23,
// 1976, 323-327), run three times: near the ground one run is good to
// 1e-9 degrees, and the runs converge.
func geodetic(x, y, z float64) (LatLon, float64) {
	const (
		b   = semiMajorM * (1 - flattening)
		ep2 = ecc2 / (1 - ecc2)
	)
	p := math.Hypot(x, y)
	// beta is the parametric latitude.
	beta := math.Atan2(z, p*(1-flattening))
	var lat float64
	for range 3 {
		s, c := math.Sincos(beta)
		lat = math.Atan2(z+ep2*b*s*s*s, p-ecc2*semiMajorM*c*c*c)
		beta = math.Atan2((1-flattening)*math.Sin(lat), math.Cos(lat))
	}
	s, c := math.Sincos(lat)
	// The height by projection on the normal: good at the poles too, where p/cos(lat) is not.
	h := p*c + z*s - semiMajorM*math.Sqrt(1-ecc2*s*s)
	return LatLon{LatDeg: lat * 180 / math.Pi, LonDeg: math.Atan2(y, x) * 180 / math.Pi}, h
}

// sinCosDeg is exact at the quarter turns, so that the poles and the antimeridian
// have the coordinates that they should.
func sinCosDeg(deg float64) (sin, cos float64) {
	q := math.Round(deg / 90)
	s, c := math.Sincos((deg - 90*q) * math.Pi / 180)
	switch int(q) & 3 {
	case 0:
		return s, c
	case 1:
		return c, -s
	case 2:
		return -s, -c
	default:
		return -c, s
	}
}
