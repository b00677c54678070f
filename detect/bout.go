package detect

import "math"

// waveShape is what the load looks like over the plain strides of one canter (or of what
// pretends to be one): medians over the strides, so that jumps and leaps don't count.
type waveShape struct {
	strides int
	rough   float64 // ln of the power at about 6 to 12 Hz over the wave's
	skew    float64 // skewness of the load: peaked loads, flat troughs are positive
	second  float64 // ln of the second harmonic's power over the first's
	across  float64 // standard deviation of the horizontal force's size over the load's
}

// waveOf folds the plain strides of a path.
func (p *piece) waveOf(pk []peak, path []step) waveShape {
	var rough, skew, second, across []float64
	for n := 1; n+1 < len(path); n++ {
		if path[n-1].part != beat || path[n].part != beat || path[n+1].part != beat {
			continue
		}
		a := p.idx((pk[path[n-1].k].t + pk[path[n].k].t) / 2)
		b := p.idx((pk[path[n].k].t + pk[path[n+1].k].t) / 2)
		m := float64(b - a)
		if m < 20 {
			continue
		}
		var s1, h1 float64
		for i := a; i < b; i++ {
			s1 += p.level[i]
			h1 += p.horiz[i]
		}
		s1, h1 = s1/m, h1/m
		var m2, m3, hh, hv, c1, d1, c2, d2 float64
		for i := a; i < b; i++ {
			x := p.level[i] - s1
			m2 += x * x
			m3 += x * x * x
			hh += p.rough[i] * p.rough[i]
			y := p.horiz[i] - h1
			hv += y * y
			ph := 2 * math.Pi * float64(i-a) / m
			c, s := math.Cos(ph), math.Sin(ph)
			c1 += x * c
			d1 += x * s
			c2 += x * (2*c*c - 1)
			d2 += x * 2 * s * c
		}
		m2, m3 = m2/m, m3/m
		if m2 < 1e-6 {
			continue
		}
		rough = append(rough, math.Log((hh/m+1e-9)/m2))
		skew = append(skew, m3/math.Pow(m2, 1.5))
		across = append(across, math.Sqrt(hv/m/m2))
		second = append(second, math.Log((c2*c2+d2*d2+1e-9)/(c1*c1+d1*d1+1e-9)))
	}
	return waveShape{len(skew), median(rough), median(skew), median(second), median(across)}
}
