package survey

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"groundline/course"
)

type referenceCase struct {
	At, Cov                 [][]float64
	Residual, W, Redundancy []float64
	T                       []float64
	Chi2                    float64
}

// referenceNetwork is testdata/adjust_reference.json, made by SciPy in another way (see the script beside it).
func referenceNetwork(t *testing.T) (n network, all, without referenceCase) {
	data, err := os.ReadFile("testdata/adjust_reference.json")
	require.NoError(t, err)
	var ref struct {
		Receiver [][2]float64
		Time     []float64
		SD       float64
		Ties     []struct {
			From, To [][2]float64
			M, SD    float64
		}
		All     referenceCase `json:"all"`
		Without referenceCase `json:"without_5"`
	}
	require.NoError(t, json.Unmarshal(data, &ref))
	for _, p := range ref.Receiver {
		n.at = append(n.at, course.Point{X: p[0], Y: p[1]})
	}
	n.cov = receiverCov(len(n.at), ref.Time, ref.SD)
	asStation := func(v [][2]float64) (s station) {
		for _, w := range v {
			s = append(s, weighted{int(w[0]), w[1]})
		}
		return s
	}
	for _, v := range ref.Ties {
		n.ties = append(n.ties, tie{asStation(v.From), asStation(v.To), v.M, v.SD})
	}
	return n, ref.All, ref.Without
}

func requireReference(t *testing.T, want referenceCase, a adjustment, skip int) {
	t.Helper()
	require.True(t, a.converged)
	for j, p := range want.At {
		require.InDelta(t, p[0], a.at[j].X, 2e-5) // metres; where SciPy's own iteration stops
		require.InDelta(t, p[1], a.at[j].Y, 2e-5)
		require.InDelta(t, want.T[j], a.marks[j].t, 1e-3*(1+want.T[j]))
	}
	for r := range want.Cov {
		for q := range want.Cov {
			require.InDelta(t, want.Cov[r][q], covariance(a.linear).At(r, q), 1e-5) // m²
		}
	}
	k := 0
	for i, r := range a.ties {
		if i == skip {
			continue
		}
		require.InDelta(t, want.Residual[k], r.residualM, 1e-5)
		require.InDelta(t, want.W[k], r.w, 1e-3)
		require.InDelta(t, want.Redundancy[k], r.redundancy, 1e-5)
		k++
	}
	require.InDelta(t, want.Chi2, a.chi2, 1e-4*want.Chi2)
}

func TestAdjustmentIsSciPys(t *testing.T) {
	n, all, without := referenceNetwork(t)
	none, noMark := make([]bool, len(n.ties)), make([]bool, len(n.at))
	requireReference(t, all, n.solve(1, none, noMark), -1)
	none[5] = true
	requireReference(t, without, n.solve(1, none, noMark), 5)
}

func TestSnoopingFindsTheMisreadTape(t *testing.T) {
	n, _, without := referenceNetwork(t)
	a := n.adjust()
	for i := range a.ties {
		require.Equal(t, i == 5, a.ties[i].out, "tape %d", i)
	}
	require.Equal(t, 1.0, a.scale)
	require.InDelta(t, -1.5, a.ties[5].residualM, 0.4) // adjusted less measured
	require.InDelta(t, without.At[2][0], a.at[2].X, 2e-5)
}

// The redundancies of ties and marks add up to the number of conditions, which is that of ties: every mark
// has its two coordinates measured (the trace of the projector on residuals, Baarda 1968).
func TestRedundanciesAddUp(t *testing.T) {
	n, _, _ := referenceNetwork(t)
	a := n.solve(1, make([]bool, len(n.ties)), make([]bool, len(n.at)))
	sum := 0.0
	for _, r := range a.ties {
		sum += r.redundancy
	}
	// Of the coordinates: trace of (C − Cx) C⁻¹.
	var inverse, p mat.Dense
	require.NoError(t, inverse.Inverse(n.cov))
	var drop mat.Dense
	drop.Sub(n.cov, covariance(a.linear))
	p.Mul(&drop, &inverse)
	require.InDelta(t, float64(len(n.ties)), sum+p.Trace(), 1e-9)
}

// Two marks and one tape have an answer on paper: both move along the line between them by half of the misclosure
// times the receiver's share of the variance.
func TestOneTapeOnPaper(t *testing.T) {
	n := network{at: []course.Point{{X: 0}, {X: 20}}, cov: receiverCov(2, nil, 1.5),
		ties: []tie{{station{{0, 1}}, station{{1, 1}}, 22, 0.1}}}
	a := n.adjust()
	share := 2 * 1.5 * 1.5 / (2*1.5*1.5 + 0.1*0.1)
	require.InDelta(t, 20+2*share, a.at[1].X-a.at[0].X, 1e-6)
	require.InDelta(t, -share, a.at[0].X, 1e-6)
	require.InDelta(t, 0, a.at[1].Y, 1e-9)
	require.InDelta(t, 0.1*0.1/(2*1.5*1.5+0.1*0.1), a.ties[0].redundancy, 1e-9)
	require.InDelta(t, 2/math.Sqrt(2*1.5*1.5+0.1*0.1), a.ties[0].w, 1e-6)
	require.False(t, a.ties[0].out)
	// Misread by 9 m it is an outlier, and nobody can say whether the tape's or a mark's.
	n.ties[0].m = 29
	a = n.adjust()
	require.True(t, a.ties[0].out)
	require.Equal(t, []int{0, 1}, a.ties[0].rivalMarks)
	require.Equal(t, n.at, a.at)
}

func TestMisplacedMarkIsFound(t *testing.T) {
	n, _, _ := referenceNetwork(t)
	n.ties[5].m -= 1.5
	n.at[2].X += 18
	n.at[2].Y -= 7
	a := n.adjust()
	for j := range a.marks {
		require.Equal(t, j == 2, a.marks[j].out, "mark %d", j)
	}
	for i := range a.ties {
		require.False(t, a.ties[i].out, "tape %d", i)
	}
	require.InDelta(t, 23, a.at[2].X, 2.5)
	require.InDelta(t, 31, a.at[2].Y, 2.5)
}

// Two tapes of one distance that contradict each other: the receiver decides.
func TestContradictoryTapes(t *testing.T) {
	n := network{at: []course.Point{{X: 0}, {X: 21.5}}, cov: receiverCov(2, nil, 1.5)}
	for _, m := range []float64{21.95, 29.5} {
		n.ties = append(n.ties, tie{station{{0, 1}}, station{{1, 1}}, m, 0.1})
	}
	a := n.adjust()
	require.False(t, a.ties[0].out)
	require.True(t, a.ties[1].out)
	require.InDelta(t, 21.95, a.at[1].X-a.at[0].X, 0.02)
}

// A receiver three times as bad as assumed is seen where there are tapes enough, and hardly a tape is
// blamed for it.
func TestBadReceiverIsNotTheTapesFault(t *testing.T) {
	blamed, scaled := 0, 0
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 5))
		n := network{cov: receiverCov(12, nil, 1.5)}
		var truth []course.Point
		for range 12 {
			p := course.Point{X: 80 * r.Float64(), Y: 45 * r.Float64()}
			truth = append(truth, p)
			n.at = append(n.at, course.Point{X: p.X + 4.5*r.NormFloat64(), Y: p.Y + 4.5*r.NormFloat64()})
		}
		for i := 1; i < 12; i++ {
			d := math.Hypot(truth[i].X-truth[i-1].X, truth[i].Y-truth[i-1].Y)
			n.ties = append(n.ties, tie{station{{i - 1, 1}}, station{{i, 1}}, d + 0.05*r.NormFloat64(), 0.08})
		}
		a := n.adjust()
		blamed += a.outliers()
		if a.scale > 1.5 {
			scaled++
		}
	}
	require.Less(t, blamed, 20, "of 220 tapes, where none was misread")
	require.GreaterOrEqual(t, scaled, 8)
	t.Logf("blamed %d, scaled %d", blamed, scaled)
}

// covariance is that of all coordinates after the adjustment, as [linear.variance] has it for single figures.
func covariance(l linear) *mat.SymDense {
	dim := l.c.SymmetricDim()
	out := mat.NewSymDense(dim, nil)
	out.CopySym(l.c)
	if l.ca == nil {
		return out
	}
	var half, drop mat.Dense
	half.Mul(l.inverse, l.ca)
	drop.Mul(l.ca.T(), &half)
	for r := range dim {
		for q := r; q < dim; q++ {
			out.SetSym(r, q, out.At(r, q)-(drop.At(r, q)+drop.At(q, r))/2)
		}
	}
	return out
}

// drawNetwork is marks on a ground and tapes between some of them, least metres apart or more.
func drawNetwork(t *rapid.T, least float64) network {
	k := rapid.IntRange(1, 9).Draw(t, "marks")
	var n network
	times := make([]float64, k)
	for i := range k {
		n.at = append(n.at, course.Point{X: rapid.Float64Range(0, 80).Draw(t, "x"), Y: rapid.Float64Range(0, 45).Draw(t, "y")})
		times[i] = 20 * float64(i)
	}
	n.cov = receiverCov(k, times, 1.5)
	for range rapid.IntRange(0, 12).Draw(t, "tapes") {
		a, b := rapid.IntRange(0, k-1).Draw(t, "a"), rapid.IntRange(0, k-1).Draw(t, "b")
		if a == b || math.Hypot(n.at[a].X-n.at[b].X, n.at[a].Y-n.at[b].Y) < least {
			continue
		}
		d := math.Hypot(n.at[a].X-n.at[b].X, n.at[a].Y-n.at[b].Y) + rapid.Float64Range(-3, 3).Draw(t, "error")
		n.ties = append(n.ties, tie{station{{a, 1}}, station{{b, 1}}, max(0.5, d), 0.08})
	}
	return n
}

// Shifting and turning the receiver's places shifts and turns the answer and changes no residual.
func TestShiftAndTurn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := drawNetwork(t, 10) // marks upon each other have no direction
		turn := rapid.Float64Range(-math.Pi, math.Pi).Draw(t, "turn")
		s, c := math.Sincos(turn)
		move := func(p course.Point) course.Point { return course.Point{X: c*p.X - s*p.Y + 310, Y: s*p.X + c*p.Y - 120} }
		moved := n
		moved.at = nil
		for _, p := range n.at {
			moved.at = append(moved.at, move(p))
		}
		none, noMark := make([]bool, len(n.ties)), make([]bool, len(n.at))
		a, b := n.solve(1, none, noMark), moved.solve(1, none, noMark)
		if !a.converged || !b.converged {
			t.Skip("a network that hangs between two answers")
		}
		for j := range a.at {
			want := move(a.at[j])
			if math.Hypot(want.X-b.at[j].X, want.Y-b.at[j].Y) > 1e-3 {
				t.Fatalf("mark %d: %v, want %v", j, b.at[j], want)
			}
		}
	})
}

// Tapes never make places less certain, never raise the sum of squares above the receiver's own places, and
// nothing that comes back is no number.
func TestTapesOnlyHelp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := drawNetwork(t, 0)
		a := n.adjust()
		before := 0.0
		for i, v := range n.ties {
			if !a.ties[i].out {
				e := (between(n.at, v) - v.m) / v.sdM
				before += e * e
			}
		}
		if a.chi2 > before+1e-9 {
			t.Fatalf("sum of squares %v, of the receiver's places %v", a.chi2, before)
		}
		after := covariance(a.linear)
		for k := range 2 * len(n.at) {
			v := after.At(k, k)
			if one := a.variance([]slope{{k, 1}}); math.Abs(one-v) > 1e-9 {
				t.Fatalf("variance %v in one way, %v in the other", one, v)
			}
			was := n.cov.At(k, k) * a.scale * a.scale * markDistrust * markDistrust
			if !(v >= 0 && v <= was+1e-9) {
				t.Fatalf("variance %v, the receiver's %v", v, was)
			}
			if !a.marks[k/2].out && v > n.cov.At(k, k)*a.scale*a.scale+1e-9 {
				t.Fatalf("variance %v, the receiver's %v", v, n.cov.At(k, k))
			}
		}
		for _, r := range a.ties {
			if math.IsNaN(r.w+r.residualM+r.redundancy+r.detectableM) || math.IsInf(r.w+r.residualM, 0) {
				t.Fatalf("%+v", r)
			}
		}
	})
}
