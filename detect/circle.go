package detect

import "math"

// Circle is a circle in the plane, metres.
type Circle struct{ EM, NM, RadiusM float64 }

// FitTaubin is the circle nearest to three or more points by Taubin's algebraic fit
// (G. Taubin, IEEE Trans. Pattern Anal. Mach. Intell. 13, 1991, 1115-1138): almost without bias
// on short arcs, where Kasa's simple fit comes out far too small. ok is false where
// the points lie on a line or in one place.
func FitTaubin(e, n []float64) (c Circle, ok bool) {
	m, ok := momentsOf(e, n)
	if !ok {
		return Circle{}, false
	}
	// The characteristic polynomial of Taubin's generalised eigenproblem in the moments
	// about the centroid (A. Al-Sharadqah and N. Chernov, Electron. J. Stat. 3, 2009, 886-911,
	// section 3); its least root that is not negative gives the fit.
	x := m.leastRoot([4]float64{m.a0(), m.a1(), -3*m.z*m.z - m.zz, 4 * m.z}, 0)
	return m.circle(x, 0)
}

// moments are means of products of the points' coordinates about their centroid, scaled to
// unit size; z is x²+y².
type moments struct {
	e0, n0, scale float64
	xx, yy, xy    float64
	xz, yz, zz    float64
	z             float64
}

func momentsOf(e, n []float64) (m moments, ok bool) {
	if len(e) < 3 || len(e) != len(n) {
		return m, false
	}
	count := float64(len(e))
	for i := range e {
		m.e0 += e[i] / count
		m.n0 += n[i] / count
	}
	for i := range e {
		m.scale = math.Max(m.scale, math.Hypot(e[i]-m.e0, n[i]-m.n0))
	}
	if !(m.scale > 0) || math.IsInf(m.scale, 0) {
		return m, false
	}
	for i := range e {
		x, y := (e[i]-m.e0)/m.scale, (n[i]-m.n0)/m.scale
		z := x*x + y*y
		m.xx += x * x / count
		m.yy += y * y / count
		m.xy += x * y / count
		m.xz += x * z / count
		m.yz += y * z / count
		m.zz += z * z / count
	}
	m.z = m.xx + m.yy
	// Points on a line to within rounding have no circle.
	const onLine = 1e-12
	return m, m.det() > onLine*m.z*m.z
}

// det is the determinant of the points' covariance.
func (m moments) det() float64 { return m.xx*m.yy - m.xy*m.xy }

// a0 and a1 are the coefficients that both fits' polynomials share.
func (m moments) a0() float64 {
	return m.xz*(m.xz*m.yy-m.yz*m.xy) + m.yz*(m.yz*m.xx-m.xz*m.xy) - (m.zz-m.z*m.z)*m.det()
}

func (m moments) a1() float64 {
	return (m.zz-m.z*m.z)*m.z + 4*m.det()*m.z - m.xz*m.xz - m.yz*m.yz
}

// leastRoot is the least root not below zero of c0 + c1 x + c2 x² + c3 x³ + c4 x⁴, by Newton's
// steps from zero, where the polynomial is not above zero and rises towards it.
func (m moments) leastRoot(c [4]float64, c4 float64) float64 {
	x := 0.0
	for range 100 {
		y := c[0] + x*(c[1]+x*(c[2]+x*(c[3]+x*c4)))
		dy := c[1] + x*(2*c[2]+x*(3*c[3]+x*4*c4))
		if dy == 0 {
			break
		}
		next := x - y/dy
		if math.Abs(next-x) <= 1e-15*math.Abs(next) {
			return next
		}
		if !(next >= 0) { // noise-free points: the root is zero but for rounding
			return 0
		}
		x = next
	}
	return x
}

// circle is the fit of a root x; more is what the radius squared gets beyond Taubin's.
func (m moments) circle(x, more float64) (Circle, bool) {
	det := x*x - x*m.z + m.det()
	if det == 0 {
		return Circle{}, false
	}
	xc := (m.xz*(m.yy-x) - m.yz*m.xy) / det / 2
	yc := (m.yz*(m.xx-x) - m.xz*m.xy) / det / 2
	c := Circle{EM: m.e0 + xc*m.scale, NM: m.n0 + yc*m.scale, RadiusM: m.scale * math.Sqrt(xc*xc+yc*yc+m.z+more)}
	ok := !math.IsNaN(c.RadiusM) && !math.IsInf(c.RadiusM, 0)
	return c, ok
}
