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

// minPlain are the plain strides that a canter must have, and their least share of all its
// peaks: what jumps all the time and never canters is no horse.
const (
	minPlain      = 2
	minPlainShare = 0.2
	// worstWave is how far a canter's wave may be from what it should be, in nats: three standard deviations; a canter
	// of less than eight strides has less room, because chance has more.
	worstWave = 4.5
)

// canterDoubt is how far the wave of a supposed canter is from a canter's, in nats. A canter is a smooth
// bounding gait: load peaked, suspension flat and long, one wave a stride with a second harmonic of about a tenth of
// its power. A person's steps are as quick, but even in their halves (no skew, hardly a second harmonic),
// or rough with the heel's blow, or swing the sensor more to and fro than up. The limits lie
// between the labelled rounds (rough -4.8 to -3.5, skew 0.3 to 0.5, second -2.5 to -1.9, across 0.1 to 0.35)
// and recordings of people walking, running and jumping.
func canterDoubt(s waveShape) (nats float64, rule string, found, limit float64) {
	type term struct {
		rule         string
		found, limit float64
		z            float64
	}
	terms := []term{
		{"wave too rough for a canter", s.rough, -2.5, math.Max(0, s.rough+2.5) / 0.25},
		{"load not peaked as in a canter", s.skew, 0.25, math.Max(0, 0.25-s.skew) / 0.06},
		{"wave too even for a canter", s.second, -2.8, math.Max(0, -2.8-s.second) / 0.15},
		{"wave too double for a canter", s.second, -1.5, math.Max(0, s.second+1.5) / 0.3},
		{"more to and fro than up", s.across, 0.5, math.Max(0, s.across-0.5) / 0.1},
	}
	worst := terms[0]
	for _, t := range terms {
		nats += gaussCost(t.z)
		if t.z > worst.z {
			worst = t
		}
	}
	return nats, worst.rule, worst.found, worst.limit
}

// believable drops what has a canter's beat but not its wave.
func (p *piece) believable(ev *Events, c *canterPath, canters [][]step, say bool) [][]step {
	var out [][]step
	for _, path := range canters {
		s := p.waveOf(c.pk, path)
		rule, found, limit := "", 0.0, 0.0
		if need := max(minPlain, int(math.Ceil(minPlainShare*float64(len(path))))); s.strides < need {
			rule, found, limit = "too few plain strides for a canter", float64(s.strides), float64(need)
		} else if nats, r, f, l := canterDoubt(s); nats > worstWave*math.Min(1, float64(s.strides)/8) {
			rule, found, limit = r, f, l
		}
		if rule == "" {
			out = append(out, path)
		} else if say {
			ev.Rejected = append(ev.Rejected, Rejected{AtS: c.pk[path[0].k].t, Rule: rule, Found: found, Limit: limit})
		}
	}
	return out
}
