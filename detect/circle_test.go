package detect

import (
	"math"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// fitKasa is Kasa's fit (I. Kasa, IEEE Trans. Instrum. Meas. 25, 1976, 8-14): ordinary least squares
// of x²+y² on x, y and 1. Here only to show its bias.
func fitKasa(t *testing.T, e, n []float64) Circle {
	a := mat.NewDense(len(e), 3, nil)
	b := mat.NewVecDense(len(e), nil)
	for i := range e {
		a.SetRow(i, []float64{e[i], n[i], 1})
		b.SetVec(i, e[i]*e[i]+n[i]*n[i])
	}
	var x mat.VecDense
	require.NoError(t, x.SolveVec(a, b))
	ec, nc := x.AtVec(0)/2, x.AtVec(1)/2
	return Circle{EM: ec, NM: nc, RadiusM: math.Sqrt(x.AtVec(2) + ec*ec + nc*nc)}
}

// arcPoints are count points on an arc of the given angle with noise of sd.
func arcPoints(rng *rand.Rand, count int, angle, radius, sd float64) (e, n []float64) {
	for i := range count {
		a := angle * float64(i) / float64(count-1)
		e = append(e, 30+radius*math.Cos(a)+sd*rng.NormFloat64())
		n = append(n, -12+radius*math.Sin(a)+sd*rng.NormFloat64())
	}
	return e, n
}

// N. Chernov's notes at his circle-fit programs and Al-Sharadqah and Chernov 2009: on
// short arcs Kasa's circles are far too small, Pratt's and Taubin's are not; from half a circle on
// all agree.
func TestCircleFitBias(t *testing.T) {
	rng := rand.New(rand.NewSource(1))
	mean := func(angleDeg, sd float64) (kasa, pratt, taubin float64) {
		const runs = 400
		for range runs {
			e, n := arcPoints(rng, 30, angleDeg*math.Pi/180, 10, sd)
			p, ok := fitPratt(e, n)
			require.True(t, ok)
			b, ok := FitTaubin(e, n)
			require.True(t, ok)
			kasa += fitKasa(t, e, n).RadiusM / runs
			pratt += p.RadiusM / runs
			taubin += b.RadiusM / runs
		}
		return kasa, pratt, taubin
	}
	kasa, pratt, taubin := mean(30, 0.05)
	require.Less(t, kasa, 8.5, "Kasa's is too small on a short arc")
	require.InDelta(t, 10, pratt, 0.5)
	require.InDelta(t, 10, taubin, 0.5)
	kasa, pratt, taubin = mean(180, 0.05)
	for _, r := range []float64{kasa, pratt, taubin} {
		require.InDelta(t, 10, r, 0.03, "half a circle: all agree")
	}
}

// Both fits by their definition: minimise the algebraic distance under the method's
// normalisation, here by the general eigenvalue problem (gonum) with no moment algebra.
func TestCircleFitAgainstEigenproblem(t *testing.T) {
	rng := rand.New(rand.NewSource(2))
	for range 20 {
		e, n := arcPoints(rng, 25, 0.8+2*rng.Float64(), 7, 0.1)
		var me, mn float64
		for i := range e {
			me += e[i] / 25
			mn += n[i] / 25
		}
		m := mat.NewDense(4, 4, nil) // of (z, x, y, 1)
		var zm, xm, ym float64
		for i := range e {
			x, y := e[i]-me, n[i]-mn
			v := mat.NewVecDense(4, []float64{x*x + y*y, x, y, 1})
			var o mat.Dense
			o.Outer(1.0/25, v, v)
			m.Add(m, &o)
			zm += (x*x + y*y) / 25
			xm += x / 25
			ym += y / 25
		}
		taubin := mat.NewDense(4, 4, []float64{4 * zm, 2 * xm, 2 * ym, 0, 2 * xm, 1, 0, 0, 2 * ym, 0, 1, 0, 0, 0, 0, 0})
		pratt := mat.NewDense(4, 4, []float64{0, 0, 0, -2, 0, 1, 0, 0, 0, 0, 1, 0, -2, 0, 0, 0})
		for _, c := range []struct {
			norm *mat.Dense
			fit  func(e, n []float64) (Circle, bool)
		}{{taubin, FitTaubin}, {pratt, fitPratt}} {
			var inv, prod mat.Dense
			require.NoError(t, inv.Inverse(m))
			prod.Mul(&inv, c.norm) // M⁻¹N a = a/η: the least positive η is the largest 1/η
			var eig mat.Eigen
			require.True(t, eig.Factorize(&prod, mat.EigenRight))
			var vecs mat.CDense
			eig.VectorsTo(&vecs)
			best, at := 0.0, 0
			for i, v := range eig.Values(nil) {
				if real(v) > best {
					best, at = real(v), i
				}
			}
			a, b, cc, d := real(vecs.At(0, at)), real(vecs.At(1, at)), real(vecs.At(2, at)), real(vecs.At(3, at))
			got, ok := c.fit(e, n)
			require.True(t, ok)
			require.InDelta(t, me-b/2/a, got.EM, 1e-6)
			require.InDelta(t, mn-cc/2/a, got.NM, 1e-6)
			require.InDelta(t, math.Sqrt((b*b+cc*cc-4*a*d)/(4*a*a)), got.RadiusM, 1e-6)
		}
	}
}

// Points on a circle give it back, wherever it lies; three points too.
func TestCircleFitExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.Float64Range(0.5, 500).Draw(t, "radius")
		from := rapid.Float64Range(-3, 3).Draw(t, "from")
		arc := rapid.Float64Range(0.3, 6).Draw(t, "arc")
		count := rapid.IntRange(3, 40).Draw(t, "count")
		e0, n0 := rapid.Float64Range(-1e3, 1e3).Draw(t, "e"), rapid.Float64Range(-1e3, 1e3).Draw(t, "n")
		var e, n []float64
		for i := range count {
			a := from + arc*float64(i)/float64(count-1)
			e, n = append(e, e0+r*math.Cos(a)), append(n, n0+r*math.Sin(a))
		}
		for _, fit := range []func(e, n []float64) (Circle, bool){FitTaubin, fitPratt} {
			c, ok := fit(e, n)
			require.True(t, ok)
			require.InDelta(t, r, c.RadiusM, 1e-4*r)
			require.InDelta(t, e0, c.EM, 1e-4*r+1e-6)
			require.InDelta(t, n0, c.NM, 1e-4*r+1e-6)
		}
	})
}

func TestCircleFitDegenerate(t *testing.T) {
	for name, c := range map[string][2][]float64{
		"none":       {nil, nil},
		"two":        {{0, 1}, {0, 1}},
		"one place":  {{3, 3, 3, 3}, {4, 4, 4, 4}},
		"on a line":  {{0, 1, 2, 3}, {0, 2, 4, 6}},
		"not finite": {{0, 1, math.NaN()}, {0, 2, 4}},
		"infinite":   {{0, 1, math.Inf(1)}, {0, 2, 4}},
	} {
		_, ok := FitTaubin(c[0], c[1])
		require.False(t, ok, name)
		_, ok = fitPratt(c[0], c[1])
		require.False(t, ok, name)
	}
}

// fitPratt is a second opinion, Pratt's fit (V. Pratt, Computer Graphics 21, 1987, 145-152), which
// normalises the algebraic circle by the curvature of its form: no bias in the radius to
// speak of either, a little larger than Taubin's.
func fitPratt(e, n []float64) (c Circle, ok bool) {
	m, ok := momentsOf(e, n)
	if !ok {
		return Circle{}, false
	}
	x := m.leastRoot([4]float64{m.a0(), m.a1(), 4*m.det() - 3*m.z*m.z - m.zz, 0}, 4)
	return m.circle(x, 2*x)
}
