package course

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"groundline/trace"
)

// Ridden is what recordings tell of one horse between and over fences.
type Ridden struct {
	Name  string // "" if not said
	Rides int    // recordings
	Lines []RiddenLine
	// LandingM and TakeoffM are the hooves' distances at each obstacle jumped: back of it to the fore hooves, hind
	// hooves to its front.
	LandingM, TakeoffM []trace.Estimate
}

// whole is the number of strides.
func (l RiddenLine) whole() int { return int(math.Round(l.Strides.Value)) }

// RiddenLine is one ride of one line.
type RiddenLine struct {
	Ride int    // which recording, so that what its lines have in common counts once
	Line string // names the ground: the same for each ride of the same line
	Kind LineKind
	// Strides are at least 1 and without an interval where they were counted; they need not be whole where they were
	// estimated.
	Strides trace.Estimate
	// StrideM is the mean ground covered by a stride, hind contact to hind contact.
	StrideM trace.Estimate
	// SpeedMS is the mean pace and StrideS the mean time of a stride; nil where not told.
	SpeedMS, StrideS *trace.Estimate
	// GroundM is the length of a straight line, back of the first obstacle to front of the second, by tape or map; nil where
	// the way turns or none is known.
	GroundM *float64
	// Grade is the mean rise per metre and Homeward the mean cosine towards home; nil where not told.
	Grade, Homeward *float64
}

// ErrNoLine tells that no related or bending line was ridden whose strides were measured.
var ErrNoLine = errors.New("no related or bending line whose strides were counted and measured, which is what tells a horse's stride")

const (
	// A line is ridden on a whole number of strides, so n strides on it tell the horse's own stride only to half a stride
	// in n either way: a uniform error of 1/n, whose standard deviation is 1/√12 of that.
	wholeSDStrides = 0.28867513459481287
	// What is known of any horse's stride beforehand: from the tables' 2.97 m of the smallest ponies to the 4.19 m of the
	// longest horses, at the hooves (see hoofStrideRel) 2.8 to 3.9 m, and half as far again for those that the tables don't have.
	anyStrideM, anyStrideRelSD = 3.4, 0.15
	// The tables let landing and take-off take a stride together. Over 1.10 m they take 3.64 m and the fore hooves' way
	// 0.37 strides more (eight horses; see getawayStrides), so that the five strides of a 12-ft horse's 21.95 m are 3.41 m at the
	// hooves, 0.93 of it. Horses of one size differ by a tenth (the width of the tables' rows, and who rides).
	hoofStrideRel, sizeStrideRelSD = 0.93, 0.1
	// Lines towards home are set longer since horses open their canter there (trade; no amount is published). Over 46
	// rounds of a forward model the stride gained 0.030 ± 0.009 of itself from square to home to straight towards it; the
	// doubt reaches to nearly nothing and twice as much.
	homewardRel, homewardRelSD = 0.03, 0.02
	// Stride frequency grows by some 0.1 Hz for 1 to 2 m/s (show jumpers to extended canter: Tranquille et al. 2017, Deuel and
	// Park 1991), at 1.65 Hz 0.019 s less time a stride for each m/s; so its length, speed times time, grows by that
	// time less 0.019 s times the speed. The doubt is ours.
	strideSPerMS     = -0.019
	strideSUsual     = 0.6
	stridePerMSSD    = 0.1
	strideSLineSD    = 0.006 // from line to line of one horse, below the 2 % of single strides
	hoofSharedSDM    = 0.15  // how far ahead of and behind a sensor the hooves reach is not measured, and shared by all jumps of a horse
	linesOfSameRound = 0.07  // the part by which the pace differs from line to line: within the rounds of a forward model
)

// HorseFromRides is the horse that recordings tell of.
//
// Its stride is the mean over the related and bending lines, each weighed by how well it was measured, by what the stride
// differs from line to line anyway, and by its number of strides, since a whole number had to fit the ground. What slope
// and home do is fitted with it (linear regression with normal priors: the published effect of a slope, the trade's of home,
// and the tables' strides), so few lines move these little. Landing and take-off are means over the
// jumps, and what the straight lines leave beside their strides: a line whose ground is known is its edges and its strides,
// so both come out as they do on the ground, whatever the recording's bias. Pace and stride time are means over the lines; the
// turns' pace is that of rollbacks.
//
// size, which may be nil, is the horse's size, whose strides of the tables are then what is known beforehand.
//
// The error is [ErrNoLine].
func HorseFromRides(r Ridden, size *Profile) (Horse, error) {
	type group struct { // rides of one line on one number of strides
		first RiddenLine
		s     pool
	}
	var landing, takeoff trace.Estimate
	edges, edgesSD, atHooves := 0.0, math.Inf(1), len(r.LandingM) > 0 && len(r.TakeoffM) > 0
	if atHooves {
		landing, takeoff = asOnTheGround(hoofs(r.LandingM), hoofs(r.TakeoffM), r.Lines)
		edges, edgesSD = landing.Value+takeoff.Value, math.Hypot(landing.SD(), takeoff.SD())
	}
	var groups []group
	var pace, turn, time pool
	var lines []RiddenLine
	for _, l := range r.Lines {
		if l.whole() < 1 || !(l.StrideM.Value > 0) {
			continue
		}
		if l.Kind == Rollback && l.SpeedMS != nil {
			turn.of(l, *l.SpeedMS)
		}
		if l.Kind != Related && l.Kind != Bending {
			continue
		}
		lines = append(lines, l)
		if l.SpeedMS != nil {
			pace.of(l, *l.SpeedMS)
		}
		if l.StrideS != nil {
			time.of(l, *l.StrideS)
		}
		k := 0
		for k < len(groups) && !(groups[k].first.Line == l.Line && groups[k].first.whole() == l.whole()) {
			k++
		}
		if k == len(groups) {
			groups = append(groups, group{first: l})
		}
		groups[k].s.add(byGround(l, edges, edgesSD))
	}
	if len(lines) == 0 {
		return Horse{}, ErrNoLine
	}
	before, beforeRelSD := anyStrideM, anyStrideRelSD
	if size != nil {
		before, beforeRelSD = size.StrideM*hoofStrideRel, sizeStrideRelSD
	}
	// In logarithms the effects add up.
	fit := newRegression([]float64{math.Log(before), homewardRel, gradeRel}, []float64{beforeRelSD, homewardRelSD, gradeRelSD})
	for _, g := range groups {
		// Rides of the same line on the same number share what the whole number leaves open.
		e := g.s.estimate(lineSDRel * g.s.value())
		sd := math.Hypot(e.SD()/e.Value, wholeSDStrides/float64(g.first.whole()))
		fit.add([]float64{1, orZero(g.first.Homeward), orZero(g.first.Grade)}, math.Log(e.Value), sd)
	}
	coef, sds := fit.solve()
	usual := math.Exp(coef[0])
	h := Horse{
		Name: r.Name, StrideM: trace.FromSD(usual, sds[0]*usual), LineSDRel: lineSDRel,
		Source: fmt.Sprintf("measured on %s, %s and %s", plural(len(lines), "line"), plural(len(r.LandingM), "jump"), plural(r.Rides, "recording")),
	}
	if atHooves {
		name, source := h.Name, h.Source
		h = HorseFromHooves(name, h.StrideM, landing, takeoff)
		h.Source = source
	} else {
		half := trace.Estimate{Value: usual / 2, Low: 0.4 * usual, High: 0.6 * usual}
		h.LandingM, h.TakeoffM = half, half
		h.Source += "; landing and take-off, which they don't tell, half a stride each as in the distance tables"
	}
	if size != nil {
		h.Size = size.Name
	}
	homeward, grade := trace.FromSD(coef[1], sds[1]), trace.FromSD(coef[2], sds[2])
	h.HomewardRel, h.GradeRel = &homeward, &grade
	h.SpeedMS = pace.orNil(linesOfSameRound * pace.value())
	h.TurnMS = turn.orNil(linesOfSameRound * turn.value())
	h.StrideS = time.orNil(strideSLineSD)
	per := stridePerMS(lines, h.SpeedMS, h.StrideS)
	h.StridePerMS = &per
	return h, nil
}

// byGround is the stride of a line. Where the ground of a straight line is known, it is what the edges leave of it for so many
// strides, which is better known than any recording's pace; the recording's own stride is in the edges already
// (see asOnTheGround), and counts besides only where the number of strides is in doubt.
func byGround(l RiddenLine, edges, edgesSD float64) trace.Estimate {
	if l.GroundM == nil || l.Kind != Related || math.IsInf(edgesSD, 1) || *l.GroundM <= edges {
		return l.StrideM
	}
	n := l.Strides.Value + getawayStrides
	v := (*l.GroundM - edges) / n
	sd := math.Hypot(math.Hypot(edgesSD, tapeDoubtM), v*math.Hypot(l.Strides.SD(), getawaySD)) / n
	if l.Strides.SD() == 0 {
		return trace.FromSD(v, sd)
	}
	a, b := 1/(sd*sd), 1/max(1e-6, l.StrideM.SD()*l.StrideM.SD())
	return trace.FromSD((a*v+b*l.StrideM.Value)/(a+b), 1/math.Sqrt(a+b))
}

// stridePerMS is by how much the stride grows with the pace, in metres for each m/s, from line to line.
func stridePerMS(lines []RiddenLine, pace, time *trace.Estimate) trace.Estimate {
	t := strideSUsual
	if time != nil {
		t = time.Value
	}
	v0 := usualSpeedMMin / 60
	if pace != nil {
		v0 = pace.Value
	}
	b := t + strideSPerMS*v0
	fit := newRegression([]float64{anyStrideM, b}, []float64{anyStrideRelSD * anyStrideM, stridePerMSSD})
	for _, l := range lines {
		if l.SpeedMS != nil {
			// A stride's length is measured as pace times time, so an error of the pace moves both alike and the slope hardly; what
			// is left is the stride time's own.
			fit.add([]float64{1, l.SpeedMS.Value - v0}, l.StrideM.Value, max(1e-3, math.Hypot(l.StrideM.SD(), strideSLineSD*l.SpeedMS.Value)))
		}
	}
	coef, sds := fit.solve()
	return trace.FromSD(coef[1], sds[1])
}

// AtPace is the horse at another pace between fences, in m/s: its stride goes with the pace where both are known.
func (h Horse) AtPace(speedMS float64) Horse {
	if h.SpeedMS != nil && h.StridePerMS != nil {
		faster := speedMS - h.SpeedMS.Value
		by := h.StridePerMS.Value * faster
		sd := math.Hypot(h.StrideM.SD(), h.StridePerMS.SD()*faster)
		stride := trace.FromSD(max(minStrideM, h.StrideM.Value+by), sd)
		if h.HoofLandingM != nil {
			moved := HorseFromHooves(h.Name, stride, *h.HoofLandingM, h.TakeoffM)
			h.LandingM = moved.LandingM
		}
		h.StrideM = stride
	}
	pace := trace.Exactly(speedMS)
	h.SpeedMS = &pace
	return h
}

// hoofs is the mean of distances at the hooves, with what all of them share.
func hoofs(all []trace.Estimate) trace.Estimate {
	var m pool
	for _, e := range all {
		m.add(e)
	}
	e := m.estimate(jumpSDM)
	return trace.FromSD(max(0, e.Value), math.Hypot(e.SD(), hoofSharedSDM))
}

// asOnTheGround are landing and take-off with what the straight lines tell of their sum: ground less strides less the way from
// the fore hooves' landing to the hind hooves'. The two sources are weighed by their doubts, and both edges moved alike.
func asOnTheGround(landing, takeoff trace.Estimate, lines []RiddenLine) (trace.Estimate, trace.Estimate) {
	// The strides' lengths of one horse are all measured on the same pace: part of their error is shared.
	const sharedSDM = 0.2
	var sum, weight float64
	for _, l := range lines {
		if l.GroundM == nil || l.Kind != Related || l.whole() < 1 {
			continue
		}
		n := l.Strides.Value + getawayStrides
		sd := math.Hypot(math.Hypot(n*l.StrideM.SD(), l.Strides.SD()*l.StrideM.Value), math.Hypot(tapeDoubtM, getawaySD*l.StrideM.Value))
		sum += (*l.GroundM - n*l.StrideM.Value) / (sd * sd)
		weight += 1 / (sd * sd)
	}
	if weight == 0 {
		return landing, takeoff
	}
	hooves, hoovesSD := landing.Value+takeoff.Value, math.Hypot(landing.SD(), takeoff.SD())
	byLines, byLinesSD := sum/weight, math.Hypot(1/math.Sqrt(weight), sharedSDM)
	k := hoovesSD * hoovesSD / (hoovesSD*hoovesSD + byLinesSD*byLinesSD)
	move := k * (byLines - hooves) / 2
	less := math.Sqrt(1 - k)
	return trace.FromSD(max(0, landing.Value+move), landing.SD()*less), trace.FromSD(max(0, takeoff.Value+move), takeoff.SD()*less)
}

// pool gathers estimates of one figure; its value is their plain mean.
type pool struct {
	all          []trace.Estimate
	rides, lines []string // whose each is, where that is told
}

func (m *pool) add(e trace.Estimate) { m.all = append(m.all, e) }

func (m *pool) of(l RiddenLine, e trace.Estimate) {
	m.add(e)
	m.rides, m.lines = append(m.rides, fmt.Sprint(l.Ride)), append(m.lines, l.Line)
}

func (m *pool) value() float64 {
	var s float64
	for _, e := range m.all {
		s += e.Value / float64(len(m.all))
	}
	return s
}

// estimate is the mean with its doubt, where each also differs by betweenSD about it.
func (m *pool) estimate(betweenSD float64) trace.Estimate {
	var v float64
	for _, e := range m.all {
		v += e.SD()*e.SD() + betweenSD*betweenSD
	}
	n := float64(len(m.all))
	return trace.FromSD(m.value(), math.Sqrt(max(v, m.together()))/n)
}

// together is the variance of the sum when estimates of one ride hang together, as those of a day do, and those of one line
// of a course: the sandwich of two-way clusters (Cameron, Gelbach & Miller 2011, J. Bus. Econ. Stat. 29:238; from memory), what each way adds to
// the estimates' own. Nought for fewer than three rides, which don't show it.
func (m *pool) together() float64 {
	if len(m.rides) != len(m.all) {
		return 0
	}
	byRide := m.clustered(m.rides)
	if byRide == 0 {
		return 0
	}
	value, own := m.value(), 0.0
	for _, e := range m.all {
		own += (e.Value - value) * (e.Value - value)
	}
	return max(own, byRide) + max(0, m.clustered(m.lines)-own)
}

// clustered is the sum of squares of the groups' own sums about the mean, with Student's t for as many groups. Nought for
// fewer than three, which don't show it.
func (m *pool) clustered(group []string) float64 {
	value := m.value()
	var order []string
	sums := map[string]float64{}
	for i, g := range group {
		if _, ok := sums[g]; !ok {
			order = append(order, g)
		}
		sums[g] += m.all[i].Value - value
	}
	k := float64(len(order))
	if k < 3 || len(order) == len(group) {
		return 0
	}
	var v float64
	for _, g := range order {
		v += sums[g] * sums[g]
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: k - 1}.Quantile(0.95) / distuv.UnitNormal.Quantile(0.95)
	return v * k / (k - 1) * t * t
}

func (m *pool) orNil(betweenSD float64) *trace.Estimate {
	if len(m.all) == 0 {
		return nil
	}
	e := m.estimate(betweenSD)
	return &e
}

// regression is a linear one with independent normal priors of its coefficients.
type regression struct {
	precision *mat.SymDense
	right     []float64
}

func newRegression(means, sds []float64) *regression {
	r := &regression{mat.NewSymDense(len(means), nil), make([]float64, len(means))}
	for i, sd := range sds {
		r.precision.SetSym(i, i, 1/(sd*sd))
		r.right[i] = means[i] / (sd * sd)
	}
	return r
}

// add takes y = Σ coefficient·x + an error of standard deviation sd > 0.
func (r *regression) add(x []float64, y, sd float64) {
	w := 1 / (sd * sd)
	for i := range x {
		r.right[i] += w * x[i] * y
		for j := i; j < len(x); j++ {
			r.precision.SetSym(i, j, r.precision.At(i, j)+w*x[i]*x[j])
		}
	}
}

// solve gives the coefficients and their standard deviations. The priors keep the matrix from being singular.
func (r *regression) solve() (coef, sds []float64) {
	var c mat.Cholesky
	if !c.Factorize(r.precision) {
		panic("course: a regression without priors")
	}
	n := len(r.right)
	var x mat.VecDense
	var inverse mat.SymDense
	if err := c.SolveVecTo(&x, mat.NewVecDense(n, r.right)); err != nil {
		panic("course: a regression without priors")
	}
	if err := c.InverseTo(&inverse); err != nil {
		panic("course: a regression without priors")
	}
	for i := range n {
		coef, sds = append(coef, x.AtVec(i)), append(sds, math.Sqrt(inverse.At(i, i)))
	}
	return coef, sds
}

func orZero(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
