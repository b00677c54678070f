package detect

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"groundline/trace"
)

// judged is a candidate and what it was.
type judged struct {
	gain float64
	jump bool
}

// candidatesOf are a round's candidates, each with its truth; jumps that are not among them are left out.
func candidatesOf(r *labelled, m *trace.Motion) []judged {
	var out []judged
	for _, s := range split(m) {
		p := resample(m, s[0], s[1])
		p.findUp(m.GravityRemoved)
		p.loads()
		w := p.windows(p.t0, p.at(float64(p.n-1)))
		size, gaits := learnSizes(w)
		one := &reading{p: p, w: w, gaits: gaits}
		findCanters([]*reading{one}, size, Options{MinConfidence: 0.5})
		c := one.c
		if len(one.canters) == 0 {
			continue
		}
		for _, x := range c.candidates(-25) {
			j := p.jumpOf(c, x.push, x.land, x.gain)
			hit := false
			for _, e := range r.Efforts {
				hit = hit || e.jumped() && math.Abs(j.TakeoffS.Value-*e.TakeoffS) < 0.15 && math.Abs(j.LandingS.Value-*e.LandingS) < 0.15
			}
			out = append(out, judged{x.gain, hit})
		}
	}
	return out
}

// spoilt adds noise of standard deviation noise per sample, and a sway below 1.5 Hz of standard deviation sway, to all
// axes, m/s².
func spoilt(m *trace.Motion, noise, sway float64, seed uint64) *trace.Motion {
	g := rand.New(rand.NewPCG(seed, 1))
	out := *m
	add := func(x []float64) []float64 {
		slow := make([]float64, int((m.TimeS[len(m.TimeS)-1]-m.TimeS[0])/stepS)+2)
		for i := range slow {
			slow[i] = g.NormFloat64()
		}
		slow = smooth(slow, 0.2)
		var ss float64
		for _, v := range slow {
			ss += v * v
		}
		k := sway / math.Sqrt(ss/float64(len(slow)))
		y := make([]float64, len(x))
		for i, v := range x {
			y[i] = v + noise*g.NormFloat64() + k*slow[int((m.TimeS[i]-m.TimeS[0])/stepS)]
		}
		return y
	}
	out.AX, out.AY, out.AZ = add(m.AX), add(m.AY), add(m.AZ)
	return &out
}

// fitSlope is the slope of a logistic regression of jump on gain through the origin (Newton's method), held by one
// imagined jump and one imagined other at an even chance.
func fitSlope(xs []judged) float64 {
	b := 0.1
	for range 50 {
		var g, h float64
		for _, x := range xs {
			p := 1 / (1 + math.Exp(-b*x.gain))
			y := 0.0
			if x.jump {
				y = 1
			}
			g += (y - p) * x.gain
			h += p * (1 - p) * x.gain * x.gain
		}
		g -= b // a weak prior towards no slope keeps a perfect separation finite
		h++
		b += math.Max(-0.3, math.Min(0.3, g/h))
	}
	return b
}

// TestConfidence fits the slope again on spoilt rounds, leaving out one kind of horse at a time, and checks that what
// is called p is right about p of the time.
func TestConfidence(t *testing.T) {
	byHorse := map[string][]judged{}
	var all []judged
	for i, r := range labelledRounds(t) {
		for _, s := range [][2]float64{{0, 0}, {3, 0}, {0, 4}, {3, 4}} {
			xs := candidatesOf(r, spoilt(r.m, s[0], s[1], uint64(i)))
			byHorse[r.Horse] = append(byHorse[r.Horse], xs...)
			all = append(all, xs...)
		}
	}
	for _, horse := range []string{"cob", "green", "pony", "warmblood"} {
		var rest []judged
		for k, xs := range byHorse {
			if k != horse {
				rest = append(rest, xs...)
			}
		}
		b := fitSlope(rest)
		var loss, own float64
		for _, x := range byHorse[horse] {
			at := func(slope float64) float64 {
				if x.jump {
					return math.Log1p(math.Exp(-slope * x.gain))
				}
				return math.Log1p(math.Exp(slope * x.gain))
			}
			loss += at(b) / float64(len(byHorse[horse]))
			own += at(gainSlope) / float64(len(byHorse[horse]))
		}
		t.Logf("without %-9s slope %.2f; on %d candidates of it, log loss %.4f (with ours %.4f)", horse, b, len(byHorse[horse]), loss, own)
		require.Greater(t, b, gainSlope)
		require.Less(t, b, 2.0)
		// what the costs fitted to these rounds alone lose, 0.02, and what it costs to lean on physics in their stead
		require.Less(t, own, 0.03)
	}
	// reliability
	edges := []float64{0, 0.05, 0.3, 0.7, 0.95, 1.01}
	for k := 0; k+1 < len(edges); k++ {
		var n, hit, sum float64
		for _, x := range all {
			if p := confidence(x.gain); p >= edges[k] && p < edges[k+1] {
				n++
				sum += p
				if x.jump {
					hit++
				}
			}
		}
		t.Logf("called %.2f-%.2f: %4.0f candidates, mean %.3f, jumps %.3f", edges[k], math.Min(1, edges[k+1]), n, sum/n, hit/n)
		if n > 0 {
			// three binomial standard deviations and half a candidate
			p := sum / n
			require.InDelta(t, p, hit/n, 3*math.Sqrt(p*(1-p)/n)+0.5/n)
		}
	}
}

// TestLeapsAreToldAsRejected: what looks like a jump but leaves the rhythm alone is named as such.
func TestLeapsAreToldAsRejected(t *testing.T) {
	leaps := 0
	for _, r := range labelledRounds(t) {
		ev, err := FromMotion(r.m, Options{})
		require.NoError(t, err)
		for _, x := range ev.Rejected {
			require.NotEmpty(t, x.Rule)
			for _, e := range r.Efforts {
				if e.jumped() {
					require.False(t, x.AtS > *e.TakeoffS-0.3 && x.AtS < *e.LandingS+0.1, "%s: %v at a jump", r.name, x)
				}
			}
			leaps++
		}
	}
	require.Positive(t, leaps)
}
