package place

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"groundline/course"
)

// dense is the same placement as a Gaussian process with all covariances written out (C. E. Rasmussen and C. K. I. Williams,
// Gaussian Processes for Machine Learning, 2006, eqs 2.25, 2.26 and 2.30), of weight 1 for every jump.
type dense struct {
	p     *Placement
	overs []Over
	k     mat.Cholesky
	a     mat.VecDense // K⁻¹ y
	logML float64
}

func denseOf(t *testing.T, p *Placement, overs []Over) *dense {
	t.Helper()
	d := &dense{p: p, overs: overs}
	n := 2 * len(overs)
	k, y := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for i, v := range overs {
		for a, r := range p.rows(v) {
			y.SetVec(2*i+a, r.z)
			for j, w := range overs {
				for b, q := range p.rows(w) {
					if 2*j+b < 2*i+a {
						continue
					}
					c := d.cov(r.h, v.MidS, q.h, w.MidS)
					if 2*i+a == 2*j+b {
						c += r.noise
					}
					k.SetSym(2*i+a, 2*j+b, c)
				}
			}
		}
	}
	require.True(t, d.k.Factorize(k))
	require.NoError(t, d.k.SolveVecTo(&d.a, y))
	d.logML = -mat.Dot(&d.a, y)/2 - d.k.LogDet()/2
	return d
}

func (d *dense) cov(a state, at float64, b state, bt float64) float64 {
	w := d.p.opt.WanderM * d.p.opt.WanderM * math.Exp(-math.Abs(at-bt)/d.p.opt.WanderTauS)
	sum := w * (a[wanderX]*b[wanderX] + a[wanderY]*b[wanderY])
	for i, v := range d.p.prior() {
		sum += a[i] * b[i] * v
	}
	return sum
}

func (d *dense) posterior(t *testing.T, h state, at float64) (mean, sd float64) {
	ks := mat.NewVecDense(2*len(d.overs), nil)
	for i, v := range d.overs {
		for a, r := range d.p.rows(v) {
			ks.SetVec(2*i+a, d.cov(h, at, r.h, v.MidS))
		}
	}
	var x mat.VecDense
	require.NoError(t, d.k.SolveVecTo(&x, ks))
	return mat.Dot(ks, &d.a), math.Sqrt(d.cov(h, at, h, at) - mat.Dot(ks, &x))
}

func TestCreepIsTheGaussianProcess(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	for _, timed := range []bool{true, false} {
		overs := truePlace(rng, 12, 2, -1, 1, 0.2, timed)
		overs[3].MidS = overs[2].MidS // two at once
		rng.Shuffle(len(overs), func(i, j int) { overs[i], overs[j] = overs[j], overs[i] })
		p := &Placement{opt: Defaults(), Centre: course.Point{X: 40, Y: 20}}
		p.opt.WanderM = 0.8
		times := make([]float64, len(overs))
		for i, v := range overs {
			times[i] = v.MidS
		}
		p.creep = creepOf(p.prior(), 0.8, p.opt.WanderTauS, times, func(i int) [2]reading { return p.rows(overs[i]) })
		d := denseOf(t, p, overs)
		require.InDelta(t, d.logML, p.creep.logML, 1e-6)
		for _, at := range []float64{-100, times[0], 17.3, 40, 61.9, 1000} {
			dx, dy, sx, sy := p.Offset(at, 55, 12)
			mx, vx := d.posterior(t, state{0: 1, 4: 12 - 20, wanderX: 1}, at)
			my, vy := d.posterior(t, state{1: 1, 4: -(55 - 40), wanderY: 1}, at)
			require.InDelta(t, mx, dx, 1e-6)
			require.InDelta(t, my, dy, 1e-6)
			require.InDelta(t, vx, sx, 1e-6)
			require.InDelta(t, vy, sy, 1e-6)
			qx, qy := p.shift(at, 55, 12)
			require.InDelta(t, dx, qx, 1e-9)
			require.InDelta(t, dy, qy, 1e-9)
		}
	}
}
