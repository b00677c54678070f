package horse

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"groundline/trace"
)

// z90 is the standard normal quantile of 0.95: half a central 90 % interval in standard deviations.
const z90 = 1.6448536269514722

// Row is one figure of one line or jump: Y at X, measured with standard deviation SD. Rows of one ride have the same
// Ride, from 0; rows of one line of a course (or one obstacle of it) the same Line, -1 where it is not known.
type Row struct {
	Ride, Line int
	X          []float64 // the first is 1, the level
	Y, SD      float64
	// Spread is by how much the row differs from the others beside what all lines do, SharedSD an error that all rows
	// of the ride have in common: standard deviations.
	Spread, SharedSD float64
}

// Mean is the row of a plain mean: at is 1 alone, and may be shared by all rows.
func Mean(at []float64, ride, line int, e trace.Estimate) Row {
	return Row{Ride: ride, Line: line, X: at, Y: e.Value, SD: e.SD()}
}

func (r *Row) variance(sigma float64) float64 {
	return sigma*sigma + r.SD*r.SD + r.Spread*r.Spread
}

// Before is what is known beforehand of how a figure of one horse differs: from line to line, as a standard deviation
// that is worth so many lines (it keeps a few lines that happen to agree from being believed too much), and from ride to
// ride, as the scale of a half-t distribution; zero takes what the lines of one ride differ. A figure with one row a ride
// has no LineSD.
type Before struct {
	LineSD, Worth float64
	RideSD        float64
	// Coef are the coefficients as known beforehand, in the order of Row.X; one with an SD of zero, or missing, is not
	// known. Of those after the first at most one may be unknown.
	Coef []Normal
}

// Normal is a normal distribution.
type Normal struct{ Mean, SD float64 }

// worth is how many lines the prior of their spread counts for.
const worth = 3

// ByLine is what is known beforehand of a figure of lines, ByRide of one that a ride has once; the latter's own error is
// of many strides, so its distribution is as good as normal.
func ByLine(lineSD float64) Before { return Before{LineSD: lineSD, Worth: worth} }

// ByRide see [ByLine].
func ByRide(rideSD float64) Before { return Before{RideSD: rideSD, Worth: 100} }

func (b Before) known(k int) bool { return k < len(b.Coef) && b.Coef[k].SD > 0 }

// Fitted is a linear model of a figure over lines in rides:
//
//	y = x·β + b(ride) + w(line) + e,   b ~ N(0, τ²), w ~ N(0, σ²), e ~ N(0, sd²)
//
// the random-intercept model of Laird & Ware (1982, Biometrics 38:963), with measurement errors known. σ² is what
// makes the scatter within rides, weighted by 1/(σ² + sd²), equal to its degrees of freedom (Paule & Mandel 1982, J. Res. Nat. Bur. Stand.
// 87:377, within rides instead of between laboratories). β is as generalised least squares has it for
// each τ, and τ is integrated out against the restricted likelihood (Harville 1977, J. Am. Stat. Assoc. 72:320) and what is taken
// beforehand: half of Student's t with 3 degrees of freedom (Gelman 2006, Bayesian Analysis 1:515), scaled to what the lines of one ride differ. A horse's
// rides are taken to differ about as much as the lines of one, with a long tail for those that differ more.
// Integrating, where a single best τ would often be nought for few rides, keeps intervals honest (Röver 2020, J. Stat.
// Softw. 93(6), for meta-analysis, which is this with one row a ride).
//
// Lines that are ridden again bring along what is particular to them, which the model has as new each time. What that adds to the
// variance is read off the residuals of different rides of the same line (the sandwich of two-way clusters: Cameron, Gelbach & Miller 2011,
// J. Bus. Econ. Stat. 29:238) and added. Sources from memory.
type Fitted struct {
	Rides, Rows       int
	LineSD, MeasureSD float64 // σ, and the middle one of the rows' SD
	df                float64 // of σ², what is known beforehand counted in
	parts             []part  // over τ; weights add up to 1
	groups            []group // by ride
	data              []Row
}

// part is what is known of β if τ were this.
type part struct {
	tau, weight float64
	beta        []float64
	cov         *mat.SymDense
}

// group is what one ride adds to the normal equations: sums weighted by 1/v.
type group struct {
	xx     []float64 // p × p
	xy, x1 []float64
	yy, y1 float64
	one    float64
	logV   float64
	least  float64 // least variance of a row
	shared float64 // variance of the error that the ride's rows have in common
}

// Mixed fits the model; ok is false where the rows can't tell all of β. Rows must be finite.
func Mixed(rows []Row, before Before) (f Fitted, ok bool) {
	if len(rows) == 0 {
		return f, false
	}
	p := len(rows[0].X)
	unknown := 0
	for k := range p {
		if !before.known(k) {
			unknown++
		}
	}
	if len(rows) < unknown {
		return f, false
	}
	rides := 0
	for _, r := range rows {
		rides = max(rides, r.Ride+1)
	}
	seen := make([]bool, rides)
	sds := make([]float64, len(rows))
	for i, r := range rows {
		if !seen[r.Ride] {
			seen[r.Ride] = true
			f.Rides++
		}
		sds[i] = r.SD
	}
	slices.Sort(sds)
	f.Rows, f.MeasureSD = len(rows), sds[len(sds)/2]
	f.LineSD, f.df = lineScatter(rows, rides, before)
	scale := before.RideSD
	if scale == 0 {
		scale = max(f.LineSD, before.LineSD/2)
	}

	groups := make([]group, rides)
	for i := range groups {
		groups[i] = group{xx: make([]float64, p*p), xy: make([]float64, p), x1: make([]float64, p)}
	}
	least := 1e-4 * scale * scale // a row without doubt where lines don't differ
	for _, r := range rows {
		g := &groups[r.Ride]
		v := max(r.variance(f.LineSD), least)
		w := 1 / v
		g.least = least
		g.shared = max(g.shared, r.SharedSD*r.SharedSD)
		for a := range p {
			for b := range p {
				g.xx[a*p+b] += w * r.X[a] * r.X[b]
			}
			g.xy[a] += w * r.X[a] * r.Y
			g.x1[a] += w * r.X[a]
		}
		g.yy += w * r.Y * r.Y
		g.y1 += w * r.Y
		g.one += w
		g.logV += math.Log(v)
	}
	f.groups, f.data = groups, rows
	// First over all that τ may be, then finely where the weight lies.
	const coarse, fine, priorDF = 75, 80, 3.0
	lo, hi := 0.0, 15*scale
	for pass, n := range []int{coarse, fine} {
		f.parts = f.parts[:0]
		step := (hi - lo) / float64(n)
		most := math.Inf(-1)
		logs := make([]float64, 0, n)
		for i := range n {
			tau := lo + (float64(i)+0.5)*step
			q, logL, ok := atTau(groups, p, tau, before)
			if !ok {
				return f, false
			}
			logL -= (priorDF + 1) / 2 * math.Log1p(tau*tau/(priorDF*scale*scale))
			most = max(most, logL)
			f.parts, logs = append(f.parts, q), append(logs, logL)
		}
		var sum float64
		for i := range f.parts {
			f.parts[i].weight = math.Exp(logs[i] - most)
			sum += f.parts[i].weight
		}
		first, last := -1, 0
		for i := range f.parts {
			f.parts[i].weight /= sum
			if f.parts[i].weight > 1e-5 {
				if first < 0 {
					first = i
				}
				last = i
			}
		}
		if pass == 0 {
			lo, hi = lo+float64(first)*step, lo+float64(last+1)*step
		}
	}
	return f, true
}

// atTau solves for β where the rides differ by tau, with the logarithm of the restricted likelihood.
func atTau(groups []group, p int, tau float64, before Before) (part, float64, bool) {
	xx := mat.NewSymDense(p, nil)
	xy := make([]float64, p)
	var yy, logDet float64
	product := 1.0 // of terms of the determinant: their logarithms are taken together, as they take most of the time
	for i := range groups {
		g := &groups[i]
		if g.one == 0 {
			continue
		}
		// The inverse of D + τ²11' (Sherman & Morrison 1950).
		level := tau*tau + g.shared
		k := level / (1 + level*g.one)
		for a := range p {
			for b := a; b < p; b++ {
				xx.SetSym(a, b, xx.At(a, b)+g.xx[a*p+b]-k*g.x1[a]*g.x1[b])
			}
			xy[a] += g.xy[a] - k*g.x1[a]*g.y1
		}
		yy += g.yy - k*g.y1*g.y1
		logDet += g.logV
		if product *= 1 + level*g.one; product > 1e100 {
			logDet += math.Log(product)
			product = 1
		}
	}
	logDet += math.Log(product)
	for a := range p {
		if before.known(a) {
			w := 1 / (before.Coef[a].SD * before.Coef[a].SD)
			xx.SetSym(a, a, xx.At(a, a)+w)
			xy[a] += w * before.Coef[a].Mean
			yy += w * before.Coef[a].Mean * before.Coef[a].Mean
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(xx) || chol.Cond() > 1e12 {
		return part{}, 0, false
	}
	var beta mat.VecDense
	var cov mat.SymDense
	if chol.SolveVecTo(&beta, mat.NewVecDense(p, xy)) != nil || chol.InverseTo(&cov) != nil {
		return part{}, 0, false
	}
	rss := yy - mat.Dot(&beta, mat.NewVecDense(p, xy))
	return part{tau: tau, beta: beta.RawVector().Data, cov: &cov}, -0.5 * (logDet + chol.LogDet() + rss), true
}

// lineScatter is σ and its degrees of freedom, those of what is known beforehand among them.
func lineScatter(rows []Row, rides int, before Before) (sd, df float64) {
	if before.LineSD == 0 {
		return 0, math.Max(1, before.Worth)
	}
	w := newWithin(rows, rides, before)
	_, own := w.scatter(before.LineSD)
	df = before.Worth + own
	// The weighted scatter falls as σ grows; halving in logarithms finds σ to a thousandth.
	lo, hi := math.Log(before.LineSD*1e-3), math.Log(before.LineSD*1e3)
	for range 14 {
		mid := (lo + hi) / 2
		s := math.Exp(mid)
		ss, _ := w.scatter(s)
		if before.Worth*before.LineSD*before.LineSD/(s*s)+ss > df {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Exp((lo + hi) / 2), df
}

// within has the rows for their scatter about each ride's own level and x.
type within struct {
	rows   []Row
	y      []float64 // what the coefficients known beforehand leave
	free   int       // the x whose coefficient is not known beforehand; 0: none
	n      []float64 // by ride
	sw, sy []float64
	sx     []float64
}

func newWithin(rows []Row, rides int, before Before) *within {
	w := &within{rows: rows, y: make([]float64, len(rows)), n: make([]float64, rides), sw: make([]float64, rides), sy: make([]float64, rides), sx: make([]float64, rides)}
	for k := 1; k < len(rows[0].X); k++ {
		if !before.known(k) {
			w.free = k
		}
	}
	for i := range rows {
		w.y[i] = rows[i].Y
		for k := 1; k < len(rows[i].X); k++ {
			if before.known(k) {
				w.y[i] -= rows[i].X[k] * before.Coef[k].Mean
			}
		}
	}
	return w
}

// scatter is the sum of squares of what the rides' own levels and x leave, weighted by the rows' variances, and its
// degrees of freedom. The first of x is 1, and goes with the levels.
func (w *within) scatter(sigma float64) (ss, df float64) {
	clear(w.n)
	clear(w.sw)
	clear(w.sy)
	clear(w.sx)
	for i := range w.rows {
		r := &w.rows[i]
		v := 1 / r.variance(sigma)
		w.n[r.Ride]++
		w.sw[r.Ride] += v
		w.sy[r.Ride] += v * w.y[i]
		if w.free > 0 {
			w.sx[r.Ride] += v * r.X[w.free]
		}
	}
	df = float64(len(w.rows))
	for _, n := range w.n {
		if n > 0 {
			df--
		}
	}
	var yy, xy, xx float64
	for i := range w.rows {
		r := &w.rows[i]
		v := 1 / r.variance(sigma)
		y := w.y[i] - w.sy[r.Ride]/w.sw[r.Ride]
		yy += v * y * y
		if w.free > 0 {
			x := r.X[w.free] - w.sx[r.Ride]/w.sw[r.Ride]
			xy += v * x * y
			xx += v * x * x
		}
	}
	// An x that does not change within rides, as their date, takes nothing.
	if xx > 1e-9*yy && xx > 0 && df > 1 {
		yy -= xy * xy / xx
		df--
	}
	return max(0, yy), max(0, df)
}

// At is x·β: the horse's own at x.
func (f Fitted) At(x ...float64) trace.Estimate { return f.estimate(x, 0) }

// Next is x·β and what a ride differs from it: where the next ride's own level is expected.
func (f Fitted) Next(x ...float64) trace.Estimate { return f.estimate(x, 1) }

// estimate is the middle of the distribution of x·β, with so many times the rides' variance, and its central 90 %.
func (f Fitted) estimate(x []float64, times float64) trace.Estimate {
	type bell struct{ weight, mid, sd float64 }
	bells := make([]bell, 0, len(f.parts))
	shared := f.linesAgain(x)
	lo, hi := math.Inf(1), math.Inf(-1)
	var middle float64
	for _, q := range f.parts {
		var m, v float64
		for a := range x {
			m += x[a] * q.beta[a]
			for b := range x {
				v += x[a] * x[b] * q.cov.At(a, b)
			}
		}
		sd := math.Sqrt(max(0, v) + shared + times*q.tau*q.tau)
		bells = append(bells, bell{q.weight, m, sd})
		lo, hi = min(lo, m-sd), max(hi, m+sd)
		middle += q.weight * m
	}
	quantile := func(u float64) float64 {
		below := func(y float64) float64 {
			var s float64
			for _, b := range bells {
				if b.weight < 1e-6 {
					continue
				}
				s += b.weight * studentCDF((y-b.mid)/b.sd, f.df)
			}
			return s
		}
		a, b := lo, hi
		for w := hi - lo; below(a) > u && w < 1e12; w *= 2 {
			a -= w
		}
		for w := hi - lo; below(b) < u && w < 1e12; w *= 2 {
			b += w
		}
		for i := 0; i < 60 && b-a > 1e-7*(hi-lo); i++ {
			if c := (a + b) / 2; below(c) < u {
				a = c
			} else {
				b = c
			}
		}
		return (a + b) / 2
	}
	if !(hi > lo) {
		return trace.Exactly(middle)
	}
	return trace.Estimate{Value: middle, Low: min(middle, quantile(0.05)), High: max(middle, quantile(0.95))}
}

// linesAgain is what lines that were ridden again add to the variance of x·β: the products of residuals of one line in different
// rides, each with its weight in x·β. A few lines show it with Student's t for as many.
func (f Fitted) linesAgain(x []float64) float64 {
	q := f.likeliest()
	p := len(x)
	xc := make([]float64, p)
	for a := range p {
		for b := range p {
			xc[a] += x[b] * q.cov.At(a, b)
		}
	}
	most := -1
	for _, r := range f.data {
		most = max(most, r.Line)
	}
	sums, share, singles, all := make([]float64, most+1), make([]float64, most+1), make([]float64, most+1), 0.0
	for i := range f.data {
		r := &f.data[i]
		if r.Line < 0 {
			continue
		}
		g := &f.groups[r.Ride]
		w := 1 / max(r.variance(f.LineSD), g.least)
		level := q.tau*q.tau + g.shared
		k := level / (1 + level*g.one)
		weight, res := 0.0, r.Y
		for a := range p {
			weight += xc[a] * w * (r.X[a] - k*g.x1[a])
			res -= r.X[a] * q.beta[a]
		}
		sums[r.Line] += weight * res
		share[r.Line] += weight * weight / w
		all += weight * weight / w
		singles[r.Line] += weight * weight * res * res
	}
	var v float64
	lines := 0
	for i, s := range sums {
		if s != 0 {
			pull := max(0.1, 1-share[i]/all) // a line pulls the fit to itself
			v += (s*s - singles[i]) / (pull * pull)
			lines++
		}
	}
	if lines <= p || v <= 0 {
		return 0
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(lines - p)}.Quantile(0.95) / z90
	return v * t * t
}

// Between is how much the rides differ beyond what lines and measurements explain: standard deviation, its
// median and central 90 %.
func (f Fitted) Between() trace.Estimate {
	step := 0.0
	if len(f.parts) > 1 {
		step = f.parts[1].tau - f.parts[0].tau
	}
	quantile := func(u float64) float64 {
		var sum float64
		for _, q := range f.parts {
			if sum+q.weight >= u {
				return q.tau - step/2 + step*(u-sum)/q.weight
			}
			sum += q.weight
		}
		return f.parts[len(f.parts)-1].tau + step/2
	}
	return trace.Estimate{Value: quantile(0.5), Low: quantile(0.05), High: quantile(0.95)}
}

// studentCDF is the distribution function of Student's t with df > 1 degrees of freedom, by Wallace's normal
// deviate (1959, Ann. Math. Statist. 30:1124; from memory): within 0.002 of it from two degrees on, in a tenth of the time of an incomplete beta
// function.
func studentCDF(t, df float64) float64 {
	u := (8*df + 1) / (8*df + 3) * math.Sqrt(df*math.Log1p(t*t/df))
	return 0.5 * math.Erfc(-math.Copysign(u, t)/math.Sqrt2)
}

// Owns are the rides' own levels, where the other x are zero, with the error of their lines and measurements: by ride.
func (f Fitted) Owns() map[int]trace.Estimate {
	out := map[int]trace.Estimate{}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: f.df}.Quantile(0.95)
	for i, g := range f.groups {
		if g.one > 0 {
			m, sd := f.Own(i, true)
			out[i] = trace.Estimate{Value: m, Low: m - t*sd, High: m + t*sd}
		}
	}
	return out
}

// Own is the level of one ride, which must have rows, and its standard deviation, with or without the error that all its
// rows have in common.
func (f Fitted) Own(ride int, withShared bool) (level, sd float64) {
	g, q := f.groups[ride], f.likeliest()
	level, v := g.y1/g.one, 1/g.one
	for a := 1; a < len(g.x1); a++ {
		level -= g.x1[a] / g.one * q.beta[a]
		for b := 1; b < len(g.x1); b++ {
			v += g.x1[a] * g.x1[b] / (g.one * g.one) * q.cov.At(a, b)
		}
	}
	if withShared {
		v += g.shared
	}
	return level, math.Sqrt(max(0, v))
}

// likeliest is what is known of β at the likeliest τ.
func (f Fitted) likeliest() part {
	best := 0
	for i, q := range f.parts {
		if q.weight > f.parts[best].weight {
			best = i
		}
	}
	return f.parts[best]
}
