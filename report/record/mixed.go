package record

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"groundline/trace"
)

// z90 is the standard normal quantile of 0.95: half a central 90 % interval in standard deviations.
const z90 = 1.6448536269514722

// row is one figure of one line or jump: y at x, measured with standard deviation sd. Rows of one ride have the
// same ride, rows of one line of a course (or one obstacle of it) the same line.
type row struct {
	ride, line int
	x          []float64
	y, sd      float64
}

// mean is the row of a plain mean: at is 1 alone, and may be shared by all rows.
func mean(at []float64, ride, line int, e trace.Estimate) row {
	return row{ride, line, at, e.Value, e.SD()}
}

// usual is what is known beforehand of how a figure of one horse differs: from line to line, as a standard
// deviation that is worth so many lines (it keeps a few lines that happen to agree from being believed too much), and from ride to ride, as
// the scale of a half-t distribution; nought takes what the lines of one ride differ. A figure with one row a ride has no lineSD.
type usual struct {
	lineSD, worth float64
	rideSD        float64
}

// fitted is a linear model of a figure over lines in rides:
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
type fitted struct {
	rides, rows       int
	lineSD, measureSD float64 // σ, and the middle one of sd
	df                float64 // of σ², what is known beforehand counted in
	parts             []part  // over τ; weights add up to 1
	groups            []group // by ride
	data              []row
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
}

// mixed fits the model; ok is false where the rows can't tell all of β. Rows must be finite.
func mixed(rows []row, before usual) (f fitted, ok bool) {
	if len(rows) == 0 {
		return f, false
	}
	p := len(rows[0].x)
	if len(rows) < p {
		return f, false
	}
	rides := 0
	for _, r := range rows {
		rides = max(rides, r.ride+1)
	}
	seen := make([]bool, rides)
	sds := make([]float64, len(rows))
	for i, r := range rows {
		if !seen[r.ride] {
			seen[r.ride] = true
			f.rides++
		}
		sds[i] = r.sd
	}
	slices.Sort(sds)
	f.rows, f.measureSD = len(rows), sds[len(sds)/2]
	f.lineSD, f.df = lineScatter(rows, rides, before)
	scale := before.rideSD
	if scale == 0 {
		scale = max(f.lineSD, before.lineSD/2)
	}

	groups := make([]group, rides)
	for i := range groups {
		groups[i] = group{xx: make([]float64, p*p), xy: make([]float64, p), x1: make([]float64, p)}
	}
	least := 1e-4 * scale * scale // a row without doubt where lines don't differ
	for _, r := range rows {
		g := &groups[r.ride]
		v := max(f.lineSD*f.lineSD+r.sd*r.sd, least)
		w := 1 / v
		g.least = least
		for a := range p {
			for b := range p {
				g.xx[a*p+b] += w * r.x[a] * r.x[b]
			}
			g.xy[a] += w * r.x[a] * r.y
			g.x1[a] += w * r.x[a]
		}
		g.yy += w * r.y * r.y
		g.y1 += w * r.y
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
			q, logL, ok := atTau(groups, p, tau)
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
func atTau(groups []group, p int, tau float64) (part, float64, bool) {
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
		k := tau * tau / (1 + tau*tau*g.one)
		for a := range p {
			for b := a; b < p; b++ {
				xx.SetSym(a, b, xx.At(a, b)+g.xx[a*p+b]-k*g.x1[a]*g.x1[b])
			}
			xy[a] += g.xy[a] - k*g.x1[a]*g.y1
		}
		yy += g.yy - k*g.y1*g.y1
		logDet += g.logV
		if product *= 1 + tau*tau*g.one; product > 1e100 {
			logDet += math.Log(product)
			product = 1
		}
	}
	logDet += math.Log(product)
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
func lineScatter(rows []row, rides int, before usual) (sd, df float64) {
	if before.lineSD == 0 {
		return 0, math.Max(1, before.worth)
	}
	w := newWithin(rows, rides)
	_, own := w.scatter(before.lineSD)
	df = before.worth + own
	// The weighted scatter falls as σ grows; halving in logarithms finds σ to a thousandth.
	lo, hi := math.Log(before.lineSD*1e-3), math.Log(before.lineSD*1e3)
	for range 14 {
		mid := (lo + hi) / 2
		s := math.Exp(mid)
		ss, _ := w.scatter(s)
		if before.worth*before.lineSD*before.lineSD/(s*s)+ss > df {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Exp((lo + hi) / 2), df
}

// within has the rows for their scatter about each ride's own level and x.
type within struct {
	rows   []row
	p      int
	n      []float64 // by ride
	sw, sy []float64
	sx     []float64
}

func newWithin(rows []row, rides int) *within {
	p := len(rows[0].x)
	return &within{rows: rows, p: p, n: make([]float64, rides), sw: make([]float64, rides), sy: make([]float64, rides), sx: make([]float64, rides*p)}
}

// scatter is the sum of squares of what the rides' own levels and x leave, weighted by 1/(σ² + sd²), and its degrees of
// freedom. The first of x is 1, and goes with the levels.
func (w *within) scatter(sigma float64) (ss, df float64) {
	clear(w.n)
	clear(w.sw)
	clear(w.sy)
	clear(w.sx)
	p := w.p
	for i := range w.rows {
		r := &w.rows[i]
		v := 1 / (sigma*sigma + r.sd*r.sd)
		w.n[r.ride]++
		w.sw[r.ride] += v
		w.sy[r.ride] += v * r.y
		for a := 1; a < p; a++ {
			w.sx[r.ride*p+a] += v * r.x[a]
		}
	}
	df = float64(len(w.rows))
	for _, n := range w.n {
		if n > 0 {
			df--
		}
	}
	// One x beside the level is all that a record has.
	var yy, xy, xx float64
	for i := range w.rows {
		r := &w.rows[i]
		v := 1 / (sigma*sigma + r.sd*r.sd)
		y := r.y - w.sy[r.ride]/w.sw[r.ride]
		yy += v * y * y
		if p > 1 {
			x := r.x[1] - w.sx[r.ride*p+1]/w.sw[r.ride]
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

// at is x·β: the horse's own at x.
func (f fitted) at(x ...float64) trace.Estimate { return f.estimate(x, 0) }

// next is x·β and what a ride differs from it: where the next ride's own level is expected.
func (f fitted) next(x ...float64) trace.Estimate { return f.estimate(x, 1) }

// estimate is the middle of the distribution of x·β, with so many times the rides' variance, and its central 90 %.
func (f fitted) estimate(x []float64, times float64) trace.Estimate {
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
func (f fitted) linesAgain(x []float64) float64 {
	best := 0
	for i, q := range f.parts {
		if q.weight > f.parts[best].weight {
			best = i
		}
	}
	q := f.parts[best]
	p := len(x)
	xc := make([]float64, p)
	for a := range p {
		for b := range p {
			xc[a] += x[b] * q.cov.At(a, b)
		}
	}
	most := -1
	for _, r := range f.data {
		most = max(most, r.line)
	}
	sums, share, singles, all := make([]float64, most+1), make([]float64, most+1), make([]float64, most+1), 0.0
	for i := range f.data {
		r := &f.data[i]
		if r.line < 0 {
			continue
		}
		g := &f.groups[r.ride]
		w := 1 / max(f.lineSD*f.lineSD+r.sd*r.sd, g.least)
		k := q.tau * q.tau / (1 + q.tau*q.tau*g.one)
		weight, res := 0.0, r.y
		for a := range p {
			weight += xc[a] * w * (r.x[a] - k*g.x1[a])
			res -= r.x[a] * q.beta[a]
		}
		sums[r.line] += weight * res
		share[r.line] += weight * weight / w
		all += weight * weight / w
		singles[r.line] += weight * weight * res * res
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

// between is how much the rides differ beyond what lines and measurements explain: standard deviation, its
// median and central 90 %.
func (f fitted) between() trace.Estimate {
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

// owns are the rides' own means where x is 1 alone, with the doubt of their lines and measurements.
func (f fitted) owns() map[int]trace.Estimate {
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: f.df}.Quantile(0.95)
	out := map[int]trace.Estimate{}
	for i, g := range f.groups {
		if g.one > 0 {
			m, half := g.y1/g.one, t/math.Sqrt(g.one)
			out[i] = trace.Estimate{Value: m, Low: m - half, High: m + half}
		}
	}
	return out
}
