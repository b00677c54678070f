package course

import "math"

// ToMillimetres rounds places to 1 mm and bearings to 0.001°, so that a plan from a map can be read by people: degrees of
// latitude turned into metres have no end of digits.
func (p *Plan) ToMillimetres() {
	mm := func(v *float64) { *v = math.Round(*v*1000)/1000 + 0 } // + 0: no minus zero
	points := func(ps []Point) {
		for i := range ps {
			mm(&ps[i].X)
			mm(&ps[i].Y)
		}
	}
	points(p.Arena)
	for _, at := range []*Point{p.Home, p.Gate} {
		if at != nil {
			mm(&at.X)
			mm(&at.Y)
		}
	}
	for _, line := range []*[2]Point{p.Start, p.Finish} {
		if line != nil {
			points(line[:])
		}
	}
	for i := range p.Levels {
		mm(&p.Levels[i].X)
		mm(&p.Levels[i].Y)
		mm(&p.Levels[i].Z)
	}
	for i := range p.Obstacles {
		o := &p.Obstacles[i]
		mm(&o.At.X)
		mm(&o.At.Y)
		mm(&o.FacingDeg)
		mm(&o.WidthM)
		if o.FacingDeg >= 360 {
			o.FacingDeg = 0
		}
	}
}
