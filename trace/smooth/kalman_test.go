package smooth

import (
	"math"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// The model over a step is the model over its parts.
func TestStepComposes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := Noise{WhiteM: 0.2, WanderM: 1.3, ThrustMS2: 0.4, SwerveMS2: 1.7}
		angle := rapid.Float64Range(-4, 4).Draw(t, "direction")
		at := nominal{cos: math.Cos(angle), sin: math.Sin(angle),
			speedMS: rapid.Float64Range(0, 8).Draw(t, "speed"), turnRadS: rapid.Float64Range(-1.5, 1.5).Draw(t, "turn")}
		dt := rapid.Float64Range(0.01, maxStepS).Draw(t, "dt")
		part := rapid.Float64Range(0.1, 0.9).Draw(t, "part") * dt
		whole, s1, s2 := newStep(at, dt), newStep(at, part), newStep(at, dt-part)
		f, q := whole.f, whole.noise(n)
		f1, q1 := s1.f, s1.noise(n)
		f2, q2 := s2.f, s2.noise(n)
		ff := f2.mul(&f1)
		fq := f2.mul(&q1)
		qq := fq.mulT(&f2)
		qq = qq.add(&q2)
		for i := range dim {
			for j := range dim {
				require.InDelta(t, f[i][j], ff[i][j], 1e-12)
				// Relative to what the two entries may vary by: place varies far less than velocity over a step.
				require.InDelta(t, q[i][j], qq[i][j], 1e-3*math.Sqrt(q[i][i]*q[j][j])+1e-300, "q[%d][%d]", i, j)
			}
		}
	})
}

// At an even pace round an arc the acceleration turns with the horse: without noise a circle stays one.
func TestStepRidesAnArc(t *testing.T) {
	const radius, speed = 8.0, 5.0
	const w = speed / radius
	f := newStep(nominal{cos: 1, speedMS: speed, turnRadS: w}, 0.2).f
	x := vec{vE: speed, aN: speed * w}
	y := f.apply(&x)
	// But for its decay: over 0.2 s the acceleration loses a tenth, the place 4 mm.
	require.InDelta(t, radius*math.Sin(w*0.2), y[iE], 0.001)
	require.InDelta(t, radius*(1-math.Cos(w*0.2)), y[iN], 0.005)
	require.InDelta(t, w*0.2, math.Atan2(y[aN], y[aE])-math.Pi/2, 1e-9)
}

// (e^z-1)/z and (e^z-1-z)/z² in closed form, where these keep their digits.
func TestResponseClosedForm(t *testing.T) {
	const lambda, dt = -0.5, 1.0
	p, v, a := response(complex(lambda, 0), dt)
	require.InDelta(t, math.Exp(lambda*dt), real(a), 1e-12)
	require.InDelta(t, (math.Exp(lambda*dt)-1)/lambda, real(v), 1e-12)
	require.InDelta(t, (math.Exp(lambda*dt)-1-lambda*dt)/(lambda*lambda), real(p), 1e-12)
}

// somePiece is a short piece with stops, uneven steps and a nominal way that turns.
func somePiece(rng *rand.Rand, n int) []node {
	nodes := make([]node, n)
	at := 100.0
	for k := range nodes {
		angle := 0.3*float64(k) + rng.NormFloat64()
		nodes[k] = node{timeS: at, fix: k, zE: 3*float64(k) + rng.NormFloat64(), zN: rng.NormFloat64(), speed: 4 + rng.NormFloat64(),
			weight: 0.2 + 0.8*rng.Float64(),
			nom:    nominal{cos: math.Cos(angle), sin: math.Sin(angle), speedMS: 5 * rng.Float64(), turnRadS: rng.NormFloat64() / 2}}
		if k%3 == 1 {
			nodes[k].fix = -1
		}
		at += 0.02 + 0.23*rng.Float64()
	}
	return nodes
}

// batch solves the same piece at once: the joint normal distribution of all states from the
// prior and the transitions, conditioned on all fixes. Returned are the posterior mean and covariance
// and the log-likelihood of the fixes.
func batch(t *testing.T, nodes []node, n Noise) (mean *mat.VecDense, cov *mat.Dense, logLik float64) {
	t.Helper()
	size := dim * len(nodes)
	prior := mat.NewDense(size, size, nil)
	mu := mat.NewVecDense(size, nil)
	mu.SetVec(iE, nodes[0].zE)
	mu.SetVec(iN, nodes[0].zN)
	var p matrix
	for i := range 2 {
		p[iE+i][iE+i] = startPlaceM * startPlaceM
		p[vE+i][vE+i] = startSpeed * startSpeed
		p[aE+i][aE+i] = n.SwerveMS2 * n.SwerveMS2
		p[wE+i][wE+i] = n.WanderM * n.WanderM
	}
	put := func(k, l int, m *matrix) {
		for i := range dim {
			for j := range dim {
				prior.Set(k*dim+i, l*dim+j, m[i][j])
				prior.Set(l*dim+j, k*dim+i, m[i][j])
			}
		}
	}
	put(0, 0, &p)
	x := vec{iE: nodes[0].zE, iN: nodes[0].zN}
	for k := 1; k < len(nodes); k++ {
		s := newStep(nodes[k-1].nom.between(nodes[k].nom), nodes[k].timeS-nodes[k-1].timeS)
		f, q := s.f, s.noise(n)
		x = f.apply(&x)
		for i := range dim {
			mu.SetVec(k*dim+i, x[i])
		}
		for l := range k { // cov(x_l, x_k) = cov(x_l, x_{k-1}) F'
			var c matrix
			for i := range dim {
				for j := range dim {
					c[i][j] = prior.At(l*dim+i, (k-1)*dim+j)
				}
			}
			c = c.mulT(&f)
			put(l, k, &c)
		}
		fp := f.mul(&p)
		p = fp.mulT(&f)
		p = p.add(&q)
		put(k, k, &p)
	}
	type row struct {
		h    map[int]float64
		z, r float64
	}
	var rows []row
	for k, nd := range nodes {
		if nd.fix < 0 {
			continue
		}
		o := k * dim
		r := n.WhiteM * n.WhiteM / nd.weight
		rows = append(rows, row{map[int]float64{o + iE: 1, o + wE: 1}, nd.zE, r}, row{map[int]float64{o + iN: 1, o + wN: 1}, nd.zN, r})
		if n.SpeedMS > 0 && nd.nom.speedMS > 0.5 {
			rows = append(rows, row{map[int]float64{o + vE: nd.nom.cos, o + vN: nd.nom.sin}, nd.speed, n.SpeedMS * n.SpeedMS / nd.weight})
		}
	}
	h := mat.NewDense(len(rows), size, nil)
	r := mat.NewDense(len(rows), len(rows), nil)
	e := mat.NewVecDense(len(rows), nil)
	for i, row := range rows {
		v := row.z
		for j, c := range row.h {
			h.Set(i, j, c)
			v -= c * mu.AtVec(j)
		}
		e.SetVec(i, v)
		r.Set(i, i, row.r)
	}
	var hp, s, gain, inv mat.Dense
	hp.Mul(h, prior)
	s.Mul(&hp, h.T())
	s.Add(&s, r)
	require.NoError(t, inv.Inverse(&s))
	gain.Mul(hp.T(), &inv)
	mean = mat.NewVecDense(size, nil)
	mean.MulVec(&gain, e)
	mean.AddVec(mean, mu)
	cov = mat.NewDense(size, size, nil)
	cov.Mul(&gain, &hp)
	cov.Sub(prior, cov)
	var ie mat.VecDense
	ie.MulVec(&inv, e)
	logDet, _ := mat.LogDet(&s)
	logLik = -0.5 * (float64(len(rows))*math.Log(2*math.Pi) + logDet + mat.Dot(e, &ie))
	return mean, cov, logLik
}

func TestSmootherAgainstBatchLeastSquares(t *testing.T) {
	rng := rand.New(rand.NewSource(3))
	for _, n := range []Noise{
		{WhiteM: 0.3, WanderM: 1.2, ThrustMS2: 0.6, SwerveMS2: 1.6},
		{WhiteM: 0.1, WanderM: 0.7, ThrustMS2: 0.5, SwerveMS2: 1.1, SpeedMS: 0.2},
	} {
		nodes := somePiece(rng, 14)
		mean, cov, logLik := batch(t, nodes, n)
		got, ok := filter(nodes, stepsOf(nodes), n, true)
		require.True(t, ok)
		require.InDelta(t, logLik, got, 1e-5*math.Abs(logLik))
		for k := range nodes {
			for i := range dim {
				require.InDelta(t, mean.AtVec(k*dim+i), nodes[k].mean[i], 1e-4, "node %d, state %d", k, i)
				for j := range dim {
					require.InDelta(t, cov.At(k*dim+i, k*dim+j), nodes[k].cov[i][j], 1e-4, "node %d", k)
				}
			}
		}
		// The covariance of neighbours is the gain times the later one's.
		for k := range len(nodes) - 1 {
			c := nodes[k].gain.mul(&nodes[k+1].cov)
			for i := range dim {
				for j := range dim {
					require.InDelta(t, cov.At(k*dim+i, (k+1)*dim+j), c[i][j], 1e-4)
				}
			}
		}
		// A sum over all states varies as the whole covariance says.
		w := make([]vec, len(nodes))
		flat := mat.NewVecDense(dim*len(nodes), nil)
		pointers := make([]*node, len(nodes))
		for k := range nodes {
			pointers[k] = &nodes[k]
		}
		for k := range w {
			for i := range dim {
				w[k][i] = rng.NormFloat64()
				flat.SetVec(k*dim+i, w[k][i])
			}
		}
		want := mat.Inner(flat, cov, flat)
		require.InDelta(t, want, variance(pointers, w), 1e-4*want)
	}
}

// A node put in afterwards has the state that it would have had from the start.
func TestInsertIsExact(t *testing.T) {
	rng := rand.New(rand.NewSource(4))
	n := Noise{WhiteM: 0.3, WanderM: 1.2, ThrustMS2: 0.6, SwerveMS2: 1.6}
	all := somePiece(rng, 13)
	for k := range all { // one nominal for all, so that it does not matter between what it is taken
		all[k].nom = nominal{cos: 0.6, sin: 0.8, speedMS: 4, turnRadS: 0.5}
	}
	const out = 7
	require.Equal(t, -1, all[out].fix)
	fewer := append(append([]node(nil), all[:out]...), all[out+1:]...)
	_, ok := filter(all, stepsOf(all), n, true)
	require.True(t, ok)
	_, ok = filter(fewer, stepsOf(fewer), n, true)
	require.True(t, ok)
	from, mid, ok := (&Track{Noise: n}).insert(&fewer[out-1], &fewer[out], all[out].timeS)
	require.True(t, ok)
	chain := append(append(append([]node(nil), fewer[:out-1]...), *from, *mid), fewer[out:]...)
	require.Len(t, chain, len(all))
	for k := range all {
		for i := range dim {
			require.InDelta(t, all[k].mean[i], chain[k].mean[i], 1e-4)
			for j := range dim {
				require.InDelta(t, all[k].cov[i][j], chain[k].cov[i][j], 1e-4)
				if k < len(all)-1 {
					require.InDelta(t, all[k].gain[i][j], chain[k].gain[i][j], 1e-4)
				}
			}
		}
	}
}

func TestRightSolve(t *testing.T) {
	rng := rand.New(rand.NewSource(5))
	var g, b matrix
	for i := range dim {
		for j := range dim {
			g[i][j], b[i][j] = rng.NormFloat64(), rng.NormFloat64()
		}
	}
	a := g.mulT(&g)
	x, ok := rightSolve(&b, &a)
	require.True(t, ok)
	back := x.mul(&a)
	for i := range dim {
		require.InDeltaSlice(t, b[i][:], back[i][:], 1e-8)
	}
	a[3][3] = -1
	_, ok = rightSolve(&b, &a)
	require.False(t, ok)
}
