// Package geo turns latitude and longitude into metres on the ground about a
// place, and back.
package geo

// LatLon is a place on the WGS 84 ellipsoid, degrees.
type LatLon struct{ LatDeg, LonDeg float64 }
