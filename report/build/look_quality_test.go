package build

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/report"
	"groundline/trace"
)

// keepSamples leaves of the motion the samples that keep names.
func keepSamples(m *trace.Motion, keep func(i int) bool) {
	n := len(m.TimeS)
	for _, c := range []*[]float64{&m.AX, &m.AY, &m.AZ, &m.GX, &m.GY, &m.GZ, &m.TimeS} {
		if *c == nil {
			continue
		}
		var kept []float64
		for i := range n {
			if keep(i) {
				kept = append(kept, (*c)[i])
			}
		}
		*c = kept
	}
}

// clip cuts every axis off at a size, as a sensor of that range does.
func clip(m *trace.Motion, atMS2 float64) {
	for _, c := range [][]float64{m.AX, m.AY, m.AZ} {
		for i := range c {
			c[i] = math.Max(-atMS2, math.Min(atMS2, c[i]))
		}
	}
	m.ClippedMS2 = atMS2
}

func everyNth(m *trace.Motion, n int) {
	keepSamples(m, func(i int) bool { return i%n == 0 })
	m.RateHz /= float64(n)
}

func addNoise(m *trace.Motion, sdMS2 float64) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, c := range [][]float64{m.AX, m.AY, m.AZ} {
		for i := range c {
			c[i] += sdMS2 * rng.NormFloat64()
		}
	}
}

// scatter moves every fix by noise of its own.
func scatter(p *trace.Positions, sdM float64) {
	rng := rand.New(rand.NewPCG(5, 6))
	for i := range p.TimeS {
		p.LatDeg[i] += sdM * rng.NormFloat64() / 111_200
		p.LonDeg[i] += sdM * rng.NormFloat64() / 111_200 / math.Cos(p.LatDeg[i]*math.Pi/180)
	}
}

// fewer keeps a fix in so many seconds.
func fewer(p *trace.Positions, stepS float64) {
	n := max(int(stepS*p.RateHz+0.5), 1)
	for _, c := range []*[]float64{&p.LatDeg, &p.LonDeg, &p.HeightM, &p.SpeedMS, &p.TimeS} {
		if *c == nil {
			continue
		}
		var kept []float64
		for i := 0; i < len(*c); i += n {
			kept = append(kept, (*c)[i])
		}
		*c = kept
	}
	var kept []int
	for i := 0; i < len(p.Segment); i += n {
		kept = append(kept, p.Segment[i])
	}
	p.Segment = kept
	p.RateHz /= float64(n)
}

// A round spoilt within what sensors do is told with doubt where it must, and never with a wrong count.
func TestSpoiltRoundsAreNotToldWrong(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(rec *trace.Recording)
		// wider names the figure whose interval must grow.
		wider func(l report.Line) *trace.Estimate
	}{
		{name: "a sensor of 2 g", spoil: func(r *trace.Recording) { clip(r.Motion, 2*9.80665) }},
		{name: "12.5 Hz", spoil: func(r *trace.Recording) { everyNth(r.Motion, int(r.Motion.RateHz/12.5+0.5)) }},
		{name: "noise of 3 m/s²", spoil: func(r *trace.Recording) { addNoise(r.Motion, 3) }},
		{name: "fixes that scatter by 3 m", spoil: func(r *trace.Recording) { scatter(r.Positions, 3) },
			wider: func(l report.Line) *trace.Estimate { return l.StrideLengthM }},
		{name: "a fix in 5 s", spoil: func(r *trace.Recording) { fewer(r.Positions, 5) },
			wider: func(l report.Line) *trace.Estimate { return l.StrideLengthM }},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, r := range madeRounds(t, "01-*", "03-*") {
				plain, err := Debrief(t.Context(), r.rec, r.plan, Options{})
				require.NoError(t, err)
				c.spoil(r.rec)
				d, err := Debrief(t.Context(), r.rec, r.plan, Options{})
				require.NoError(t, err)
				require.Equal(t, hasNote(plain, "clock was ahead"), hasNote(d, "clock was ahead"), r.name)
				told := 0
				for _, l := range d.Lines {
					n, ok := r.strides[l.From+"-"+l.To]
					if !ok || n < 0 || l.Strides == nil {
						continue
					}
					told++
					require.LessOrEqual(t, l.Strides.Low, float64(n), "%s %s-%s", r.name, l.From, l.To)
					require.GreaterOrEqual(t, l.Strides.High, float64(n), "%s %s-%s", r.name, l.From, l.To)
				}
				require.GreaterOrEqual(t, told, len(plain.Lines)/2, r.name)
				if c.wider == nil {
					continue
				}
				require.Greater(t, meanWidth(d, c.wider), meanWidth(plain, c.wider), r.name)
			}
		})
	}
}

// A hole in the motion hides strides: none of its lines is counted, and what is estimated has its doubt.
func TestLinesWithAHoleAreNotCounted(t *testing.T) {
	for _, r := range madeRounds(t, "01-*", "03-*") {
		plain, err := Debrief(t.Context(), r.rec, r.plan, Options{})
		require.NoError(t, err)
		var holes [][2]float64
		for i := 1; i < len(plain.Efforts); i++ {
			if a, b := plain.Efforts[i-1].LandingS, plain.Efforts[i].TakeoffS; a != nil && b != nil && b.Value-a.Value > 2.5 {
				mid := (a.Value + b.Value) / 2
				holes = append(holes, [2]float64{mid - 0.6, mid + 0.6})
			}
		}
		keepSamples(r.rec.Motion, func() func(int) bool {
			at := append([]float64(nil), r.rec.Motion.TimeS...)
			return func(i int) bool {
				for _, h := range holes {
					if at[i] > h[0] && at[i] < h[1] {
						return false
					}
				}
				return true
			}
		}())
		d, err := Debrief(t.Context(), r.rec, r.plan, Options{})
		require.NoError(t, err)
		require.True(t, hasNote(d, "not counted"), "%v", d.Notes)
		for _, l := range d.Lines {
			n, ok := r.strides[l.From+"-"+l.To]
			if !ok || n < 0 || l.Strides == nil {
				continue
			}
			require.Equal(t, "estimated", l.StridesBy, "%s %s-%s", r.name, l.From, l.To)
			require.LessOrEqual(t, l.Strides.Low, float64(n))
			require.GreaterOrEqual(t, l.Strides.High, float64(n))
		}
	}
}

func meanWidth(d *report.Debrief, of func(report.Line) *trace.Estimate) float64 {
	sum, n := 0.0, 0.0
	for _, l := range d.Lines {
		if e := of(l); e != nil {
			sum += e.High - e.Low
			n++
		}
	}
	return sum / n
}
