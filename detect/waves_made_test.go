package detect

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"groundline/trace"
)

// rewaved is a round's ride with another wave, which no generator of the labelled rounds makes: harmonics of a canter in the size of
// real ones (the second up to 0.6, the third up to 0.5 of the first) at any phase, troughs cut at free fall or not, walks and trots of a real
// horse's size, pushes and landings with the impulse of their flight, more or less. It says what it drew.
func rewaved(r *labelled, g *rand.Rand) (*trace.Motion, string) {
	a1 := 6 + 2*g.Float64()
	r2, r3 := 0.6*g.Float64(), 0.5*g.Float64()
	p2, p3, p1 := 2*math.Pi*g.Float64(), 2*math.Pi*g.Float64(), 2*math.Pi*(0.45+0.15*(g.Float64()-0.5))
	walk, trot := 1+1.5*g.Float64(), 6+3*g.Float64()
	flight := 0.8 + 0.2*g.Float64()
	clip := g.Float64() < 0.5
	pushK, landK := 0.7+0.5*g.Float64(), 0.9+0.8*g.Float64()
	desc := fmt.Sprintf("a1 %.1f r2 %.2f r3 %.2f p1 %.2f p2 %.2f p3 %.2f walk %.1f trot %.1f flight %.2f clip %v push %.1f land %.1f", a1, r2, r3, p1, p2, p3, walk, trot, flight, clip, pushK, landK)
	n := int(r.DurationS * 100)
	v := make([]float64, n)
	at := func(t float64) int { return max(0, min(n, int(math.Round(t*100)))) }
	for _, s := range r.Strides {
		for i := at(s.T0); i < at(s.T1); i++ {
			ph := 2 * math.Pi * (float64(i)/100 - s.T0) / (s.T1 - s.T0)
			switch s.Gait {
			case "walk":
				v[i] = walk * (math.Cos(2*ph) + 0.3*math.Cos(4*ph+1))
			case "trot":
				v[i] = trot * (math.Cos(2*ph) + 0.15*math.Cos(4*ph+1))
			case "canter":
				v[i] = a1 * (math.Cos(ph-p1) + r2*math.Cos(2*ph-p2) + r3*math.Cos(3*ph-p3))
				if clip {
					v[i] = math.Max(v[i], -gravityMS2)
				}
			}
		}
	}
	for _, e := range r.Efforts {
		if !e.jumped() {
			continue
		}
		to, la := *e.TakeoffS, *e.LandingS
		D := la - to
		w := 0.2
		for i := at(to - w - 0.05); i < at(to); i++ {
			v[i] = pushK * gravityMS2 * D / 2 / (2 * w / math.Pi) * math.Sin(math.Pi*math.Max(0, (float64(i)/100-to+w)/w))
		}
		for i := at(la); i < at(la+w); i++ {
			v[i] = landK * gravityMS2 * D / 2 / (2 * w / math.Pi) * math.Sin(math.Pi*(float64(i)/100-la)/w)
		}
		for i := at(to); i < at(la); i++ {
			v[i] = -flight * gravityMS2
		}
	}
	v = smooth(v, 0.015)
	m := &trace.Motion{RateHz: 100}
	for i := range v {
		m.TimeS = append(m.TimeS, float64(i)/100)
		m.AX = append(m.AX, 0.3*g.NormFloat64())
		m.AY = append(m.AY, 0.3*g.NormFloat64())
		m.AZ = append(m.AZ, gravityMS2+v[i]+0.3*g.NormFloat64())
	}
	return m, desc
}

// TestAnyWave: whatever the harmonics of a canter, no jump is lost, and no count on a line of up to nine strides.
func TestAnyWave(t *testing.T) {
	draws := uint64(8)
	if testing.Short() {
		draws = 3
	}
	all := &tally{}
	rides := 0
	for i, r := range labelledIn(t, "rounds/0*") {
		for k := range draws {
			m, drawn := rewaved(r, rand.New(rand.NewPCG(k, uint64(i))))
			ev, err := FromMotion(m, Options{})
			require.NoError(t, err)
			one := &tally{}
			one.score(r, ev, t.Logf)
			all.score(r, ev, func(string, ...any) {})
			rides++
			require.Equal(t, one.jumps, one.found, "%s: %s", r.name, drawn)
			require.Equal(t, one.short, one.shortOK, "%s: %s", r.name, drawn)
		}
	}
	t.Log("\n" + tableHead)
	t.Log(all.row(fmt.Sprintf("%d waves", rides)))
	require.GreaterOrEqual(t, share(all.right, all.reported), 0.98)
	require.GreaterOrEqual(t, share(all.longOK, all.long), 0.97)
	require.GreaterOrEqual(t, share(all.gaitOK, all.gait), 0.98)
	require.GreaterOrEqual(t, share(all.takeoffIn, all.found), 0.85)
	require.GreaterOrEqual(t, share(all.landingIn, all.found), 0.85)
}
