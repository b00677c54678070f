package survey

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"groundline/course"
)

// A network is marks whose places a receiver gave, and distances that a tape tied between them.
//
// Model: the receiver's places are the true ones plus errors of zero mean with covariance cov; an error
// common to all marks moves the whole course and can't be seen from here. A tie is the distance between
// two stations (a mark, or the middle of two) with an independent error. Least squares takes the places that
// make the sum of squared errors, each over its variance, least.
type network struct {
	at   []course.Point // as the receiver gave them, metres
	cov  *mat.SymDense  // of x0, y0, x1, y1, …, m²; positive definite
	ties []tie
}

// A station is a place made of marks: the mean of these, weights adding up to 1.
type station []weighted

type weighted struct {
	mark int
	w    float64
}

func (s station) place(at []course.Point) (p course.Point) {
	for _, v := range s {
		p.X += v.w * at[v.mark].X
		p.Y += v.w * at[v.mark].Y
	}
	return p
}

// A tie is a measured distance of two stations.
type tie struct {
	from, to station
	m, sdM   float64 // metres, > 0
}

// tieResult is what the adjustment says of a tie.
type tieResult struct {
	out         bool    // found to be no measurement of this distance, and left out
	residualM   float64 // adjusted less measured
	w           float64 // normalised: standard normal where the tie is no outlier (Baarda 1968)
	redundancy  float64 // 0: nothing checks the tie, 1: the rest knows the distance without it
	detectableM float64 // the smallest error that the test finds in 4 cases of 5; +Inf where nothing checks
	rivals      []int   // of an outlier: ties that the test can hardly tell from it
	rivalMarks  []int   // and marks
}

// markResult is what the adjustment says of a mark.
type markResult struct {
	out            bool // found to be off, and believed ten times less
	movedX, movedY float64
	t              float64 // χ² of dof degrees where the mark is no outlier
	dof            int     // 0: no tie reaches the mark
	rivals         []int   // of an outlier: other marks that the test can hardly tell from it
}

type adjustment struct {
	at []course.Point
	linear
	ties  []tieResult
	marks []markResult
	// scale is by how much the receiver was found worse than assumed (1: not).
	scale      float64
	redundancy int     // ties that took part
	chi2       float64 // of redundancy degrees of freedom
	converged  bool
	// unsorted tells that outliers were left when the search was given up.
	unsorted bool
}

const (
	// α of one test and power β of Baarda's reliability theory (1968): 0.1 % and 80 %; the two quantiles
	// are 3.29 and, together, 4.13.
	testAlpha    = 0.001
	testCritical = 3.2905
	testBothSDs  = 4.1321
	// An outlying mark keeps its place with ten times the standard deviation: as good as none, and the
	// network stays determined.
	markDistrust = 10.0
	// A test within a tenth of the largest can hardly be told from it (ours).
	rivalShare = 0.9
	// Whoever has so many outliers has no tape, and a search without end would be work for nothing.
	snoopMost = 20
	// With so many ties, of which more than a quarter would be outliers, the receiver is worse than
	// assumed, at most by so much (ours; beyond 6 m a receiver is of no use on a course).
	scaleTies, scaleMost = 6, 4.0
)

// adjust finds the places of least squares and what does not belong there.
//
// Outliers are found by data snooping (Baarda 1968): the observation with the most unlikely normalised
// residual beyond the critical value goes, and all is adjusted anew. A mark is tested in both coordinates
// at once. Where more than a quarter of the ties would go, the receiver is worse than assumed rather than so
// many tapes misread: its standard deviation is scaled so that the sum of squares is what it should be,
// and the search begins anew.
func (n network) adjust() adjustment {
	a := n.snoop(1)
	if out := a.outliers(); len(n.ties) >= scaleTies && out > len(n.ties)/4 {
		all := n.solve(1, make([]bool, len(n.ties)), make([]bool, len(n.at)))
		scale := min(math.Sqrt(all.chi2/float64(len(n.ties))), scaleMost)
		if scale > 1 {
			if again := n.snoop(scale); again.outliers() < out {
				return again
			}
		}
	}
	return a
}

func (a adjustment) outliers() (n int) {
	for _, t := range a.ties {
		if t.out {
			n++
		}
	}
	for _, m := range a.marks {
		if m.out {
			n++
		}
	}
	return n
}

// snoop adjusts, and takes outliers out one by one.
func (n network) snoop(scale float64) adjustment {
	tieOut, markOut := make([]bool, len(n.ties)), make([]bool, len(n.at))
	tieFound, markFound := make([]tieResult, len(n.ties)), make([]markResult, len(n.at))
	a := n.solve(scale, tieOut, markOut)
	for round := 0; ; round++ {
		i, j := a.worst()
		if i < 0 && j < 0 {
			break
		}
		if a.unsorted = round == snoopMost; a.unsorted {
			break
		}
		if i >= 0 {
			tieOut[i] = true
			tieFound[i].rivals, tieFound[i].rivalMarks = a.rivals(a.ties[i].w*a.ties[i].w, i, -1)
		} else {
			markOut[j] = true
			_, markFound[j].rivals = a.rivals(a.marks[j].t, -1, j)
		}
		a = n.solve(scale, tieOut, markOut)
		// A tie that was taken for an outlier because of another's error comes back.
		for k := range n.ties {
			if tieOut[k] && k != i && math.Abs(a.ties[k].w) < testCritical {
				tieOut[k] = false
				a = n.solve(scale, tieOut, markOut)
				break
			}
		}
	}
	for i := range a.ties {
		a.ties[i].rivals, a.ties[i].rivalMarks = tieFound[i].rivals, tieFound[i].rivalMarks
	}
	for j := range a.marks {
		a.marks[j].rivals = markFound[j].rivals
	}
	return a
}

// solve is one least-squares adjustment by Gauss and Newton.
//
// With C the receiver's covariance, A the ties' derivatives, R their variances and y their misclosures about the
// receiver's places, the correction is C Aᵀ g, g = S⁻¹ y, S = A C Aᵀ + R: the form of condition equations,
// which needs no inverse of C. The rest follows from S⁻¹: residuals R g of covariance R S⁻¹ R, so the
// normalised residual of tie i is gᵢ/√(S⁻¹)ᵢᵢ and its redundancy Rᵢᵢ (S⁻¹)ᵢᵢ; and for marks the same with
// Aᵀ g of covariance Aᵀ S⁻¹ A (Teunissen, Adjustment theory, and Testing theory, 2000; from memory).
func (n network) solve(scale float64, tieOut, markOut []bool) adjustment {
	c := n.covariance(scale, markOut)
	var use []int
	for i := range n.ties {
		if !tieOut[i] {
			use = append(use, i)
		}
	}
	out := adjustment{at: slices.Clone(n.at), scale: scale, redundancy: len(use), converged: true,
		ties: make([]tieResult, len(n.ties)), marks: make([]markResult, len(n.at))}
	for j := range out.marks {
		out.marks[j].out = markOut[j]
	}
	l := linear{c: c}
	if len(use) > 0 {
		l = n.iterate(&out, c, use)
	}
	out.linear = l
	for i, t := range n.ties {
		r := &out.ties[i]
		r.residualM = between(out.at, t) - t.m
		if r.out = tieOut[i]; r.out {
			sd := math.Sqrt(t.sdM*t.sdM + l.variance(gradient(out.at, t)))
			r.w, r.redundancy, r.detectableM = -r.residualM/sd, 1, testBothSDs*sd
		}
	}
	return out
}

// linear is what remains of an adjustment about its answer.
type linear struct {
	c       *mat.SymDense // the receiver's covariance
	slopes  [][]slope     // A, a row for each tie
	ca      *mat.Dense    // A C; nil without ties
	inverse *mat.SymDense // S⁻¹
}

// variance of a figure after the adjustment: gᵀ (C − C Aᵀ S⁻¹ A C) g.
func (l linear) variance(g []slope) float64 {
	v := variance(l.c, g)
	if l.ca == nil {
		return v
	}
	m, _ := l.ca.Dims()
	p := mat.NewVecDense(m, nil)
	for r := range m {
		for _, s := range g {
			p.SetVec(r, p.AtVec(r)+l.ca.At(r, s.at)*s.d)
		}
	}
	return max(0, v-mat.Inner(p, l.inverse, p))
}

func (n network) iterate(out *adjustment, c *mat.SymDense, use []int) linear {
	m, dim := len(use), 2*len(n.at)
	l := linear{c: c, slopes: make([][]slope, m), ca: mat.NewDense(m, dim, nil)}
	var chol mat.Cholesky
	s := mat.NewSymDense(m, nil)
	y, g := mat.NewVecDense(m, nil), mat.NewVecDense(m, nil)
	linearise := func() bool {
		l.ca.Zero()
		for r, i := range use {
			l.slopes[r] = gradient(out.at, n.ties[i])
			y.SetVec(r, n.ties[i].m-between(out.at, n.ties[i]))
			for _, v := range l.slopes[r] { // misclosure about the receiver's places
				y.SetVec(r, y.AtVec(r)+v.d*(coordinate(out.at, v.at)-coordinate(n.at, v.at)))
				for k := range dim {
					l.ca.Set(r, k, l.ca.At(r, k)+v.d*c.At(v.at, k))
				}
			}
		}
		for r, i := range use {
			for q := r; q < m; q++ {
				v := 0.0
				for _, p := range l.slopes[q] {
					v += p.d * l.ca.At(r, p.at)
				}
				if q == r {
					v += n.ties[i].sdM * n.ties[i].sdM
				}
				s.SetSym(r, q, v)
			}
		}
		return chol.Factorize(s) && chol.SolveVecTo(g, y) == nil
	}
	// u is Aᵀg, so that the places are the receiver's plus C u and the receiver's squares are uᵀ C u.
	u, next, step := mat.NewVecDense(dim, nil), mat.NewVecDense(dim, nil), mat.NewVecDense(dim, nil)
	squares := func(u *mat.VecDense, at []course.Point) float64 {
		sum := mat.Inner(u, c, u)
		for _, i := range use {
			e := (between(at, n.ties[i]) - n.ties[i].m) / n.ties[i].sdM
			sum += e * e
		}
		return sum
	}
	best := squares(u, out.at)
	out.converged = false
	for range 60 {
		if !linearise() {
			return linear{c: c}
		}
		l.pull(next, g)
		next.SubVec(next, u)
		length, moved := 1.0, 0.0
		for {
			var trial mat.VecDense
			trial.AddScaledVec(u, length, next)
			step.MulVec(c, &trial)
			at := slices.Clone(n.at)
			moved = 0
			for j := range at {
				at[j].X += step.AtVec(2 * j)
				at[j].Y += step.AtVec(2*j + 1)
				moved = math.Max(moved, math.Hypot(at[j].X-out.at[j].X, at[j].Y-out.at[j].Y))
			}
			now := squares(&trial, at)
			if now <= best*(1+1e-12) || moved < settledM {
				best, out.at = now, at
				u.CopyVec(&trial)
				break
			}
			length /= 2
		}
		if moved < settledM {
			out.converged = true
			break
		}
	}
	out.chi2 = best
	l.inverse = mat.NewSymDense(m, nil)
	if !linearise() || chol.InverseTo(l.inverse) != nil {
		out.converged = false
		return linear{c: c}
	}
	n.tests(out, l, use, g)
	return l
}

// settledM: the iteration ends when no mark moves farther.
const settledM = 1e-7

// pull sets u to Aᵀ g.
func (l linear) pull(u, g *mat.VecDense) {
	u.Zero()
	for r, row := range l.slopes {
		for _, v := range row {
			u.SetVec(v.at, u.AtVec(v.at)+v.d*g.AtVec(r))
		}
	}
}

// tests fills the results of ties and marks.
func (n network) tests(out *adjustment, l linear, use []int, g *mat.VecDense) {
	for r, i := range use {
		sd, q := n.ties[i].sdM, l.inverse.At(r, r)
		out.ties[i].w = g.AtVec(r) / math.Sqrt(q)
		out.ties[i].redundancy = min(1, sd*sd*q)
		out.ties[i].detectableM = testBothSDs / math.Sqrt(q)
	}
	push := mat.NewVecDense(2*len(n.at), nil)
	l.pull(push, g)
	// Which ties hang on a coordinate, for the 2 by 2 blocks of Aᵀ S⁻¹ A.
	on := make([][]slope, 2*len(n.at))
	for r, row := range l.slopes {
		for _, v := range row {
			on[v.at] = append(on[v.at], slope{r, v.d})
		}
	}
	block := func(a, b int) (v float64) {
		for _, p := range on[a] {
			for _, q := range on[b] {
				v += p.d * q.d * l.inverse.At(p.at, q.at)
			}
		}
		return v
	}
	for j := range out.marks {
		r := &out.marks[j]
		r.movedX, r.movedY = out.at[j].X-n.at[j].X, out.at[j].Y-n.at[j].Y
		if len(on[2*j]) > 0 {
			xy := block(2*j, 2*j+1)
			q := mat.NewSymDense(2, []float64{block(2*j, 2*j), xy, xy, block(2*j+1, 2*j+1)})
			r.t, r.dof = chiSquared(q, push.AtVec(2*j), push.AtVec(2*j+1))
		}
	}
}

// chiSquared is vᵀ Q⁺ v over the directions in which Q is not nothing, and how many these are: ties in one
// direction test a mark in that direction only.
func chiSquared(q *mat.SymDense, x, y float64) (t float64, dof int) {
	var e mat.EigenSym
	if !e.Factorize(q, true) {
		return 0, 0
	}
	var v mat.Dense
	e.VectorsTo(&v)
	values := e.Values(nil)
	for k, l := range values {
		if l > 1e-9*values[1] && l > 0 {
			p := v.At(0, k)*x + v.At(1, k)*y
			t += p * p / l
			dof++
		}
	}
	return t, dof
}

// covariance is the receiver's, scaled, with outlying marks distrusted.
func (n network) covariance(scale float64, markOut []bool) *mat.SymDense {
	dim := 2 * len(n.at)
	c := mat.NewSymDense(dim, nil)
	factor := func(k int) float64 {
		if markOut[k/2] {
			return scale * markDistrust
		}
		return scale
	}
	for r := range dim {
		for q := r; q < dim; q++ {
			c.SetSym(r, q, n.cov.At(r, q)*factor(r)*factor(q))
		}
	}
	return c
}

// worst is the tie or the mark, the other -1, that is most unlikely to belong here; -1, -1 where all do. A tie
// is believed the culprit before marks that explain as much: a misread tape is commoner than a
// misplaced mark.
func (a adjustment) worst() (tieAt, markAt int) {
	tieAt, markAt = -1, -1
	tieW2, markT := testCritical*testCritical, 0.0
	for i, t := range a.ties {
		if !t.out && t.w*t.w > tieW2 {
			tieW2, tieAt = t.w*t.w, i
		}
	}
	for j, m := range a.marks {
		if !m.out && m.t > markCritical(m.dof) && m.t > markT && (tieAt < 0 || rivalShare*rivalShare*m.t > tieW2) {
			markT, markAt = m.t, j
		}
	}
	if markAt >= 0 {
		return -1, markAt
	}
	return tieAt, -1
}

// markCritical is the χ² of so many degrees of freedom that is exceeded with probability α.
func markCritical(dof int) float64 {
	switch dof {
	case 1:
		return testCritical * testCritical
	case 2:
		return -2 * math.Log(testAlpha) // exact for 2 degrees
	}
	return math.Inf(1)
}

// rivals are the ties and marks that explain a misfit nearly as well as the one that was blamed.
func (a adjustment) rivals(t float64, tieAt, markAt int) (ties, marks []int) {
	least := rivalShare * rivalShare * t
	for i, r := range a.ties {
		if i != tieAt && !r.out && r.w*r.w > least {
			ties = append(ties, i)
		}
	}
	for j, r := range a.marks {
		if j != markAt && !r.out && r.dof > 0 && r.t > least {
			marks = append(marks, j)
		}
	}
	return ties, marks
}

func coordinate(at []course.Point, k int) float64 {
	if k%2 == 0 {
		return at[k/2].X
	}
	return at[k/2].Y
}

// between is the distance of a tie's stations.
func between(at []course.Point, t tie) float64 {
	a, b := t.from.place(at), t.to.place(at)
	return math.Hypot(b.X-a.X, b.Y-a.Y)
}

// A slope is the derivative by one coordinate: of x0, y0, x1, …
type slope struct {
	at int
	d  float64
}

// gradient is the derivative of a tie's distance by the few coordinates that it hangs on.
func gradient(at []course.Point, t tie) []slope {
	a, b := t.from.place(at), t.to.place(at)
	ux, uy := b.X-a.X, b.Y-a.Y
	if d := math.Hypot(ux, uy); d > 1e-9 {
		ux, uy = ux/d, uy/d
	} else {
		ux, uy = 1, 0 // one and the same place: any direction will do
	}
	var out []slope
	for _, v := range t.to {
		out = append(out, slope{2 * v.mark, v.w * ux}, slope{2*v.mark + 1, v.w * uy})
	}
	for _, v := range t.from {
		out = append(out, slope{2 * v.mark, -v.w * ux}, slope{2*v.mark + 1, -v.w * uy})
	}
	return out
}

// variance is gᵀ C g.
func variance(c mat.Symmetric, g []slope) (v float64) {
	for _, p := range g {
		for _, q := range g {
			v += p.d * q.d * c.At(p.at, q.at)
		}
	}
	return max(0, v)
}

// receiverCov is the covariance of places that a receiver took at times timeS (nil where unknown): standard
// deviation sdM in either coordinate, of which a part is slow and shared by marks taken soon after each other.
func receiverCov(n int, timeS []float64, sdM float64) *mat.SymDense {
	c := mat.NewSymDense(2*n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			v := 0.0
			switch {
			case i == j:
				v = sdM * sdM
			case timeS != nil:
				v = sdM * sdM * slowShare * math.Exp(-math.Abs(timeS[i]-timeS[j])/slowS)
			}
			c.SetSym(2*i, 2*j, v)
			c.SetSym(2*i+1, 2*j+1, v)
		}
	}
	return c
}

const (
	// The errors of a standing receiver are correlated over about a minute (first-order Gauss-Markov,
	// stationary tests of Wilson and of the University of Otago, Sensors 2020;20:6050).
	slowS = 60.0
	// The rest of the variance, a fifth, is each mark's own: where one stood, the last second's noise.
	// It keeps quick neighbours from being believed too close (ours).
	slowShare = 0.8
)
