package record

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"groundline/course"
	"groundline/trace"
)

// Least spreads between lines that tell slope and home, as one debrief has them: sums of squares about the courses'
// means, of percents and of cosines; and how closely the two may go together.
const leastGradeSS, leastHomeSS, mostTogether = 0.5, 0.1, 0.9

// leastGroundDF is the least number of degrees of freedom: with one line fewer the interval says nothing.
const leastGroundDF = 2

// tellGround tells what slope and home do to pace and stride.
func (r *Record) tellGround() {
	r.Ground.Speed = r.groundEffect(func(l Line) *trace.Estimate { return l.SpeedMS })
	r.Ground.Stride = r.groundEffect(func(l Line) *trace.Estimate { return l.StrideLengthM })
}

// way is one line of a course over all its rides.
type way struct {
	n           float64
	grade, home float64 // sums
	hasGrade    bool
	effect      float64 // by how much the figure is above the course's other lines
}

// groundEffect is the regression of a figure on slope and home.
//
// A line lies as it lies: ridden twenty times it is still one slope, and whatever else is particular to it comes along each time. So
// first each line's own level is found from all rides over its course (two-way layout of rides and lines, least squares, which takes out that
// rides differ), then the lines' levels are regressed on their slopes and cosines towards home, each line counting
// once, about each course's mean. Student's t with lines less courses less coefficients degrees of freedom. For a single ride this is
// the regression of its debrief.
func (r *Record) groundEffect(of func(Line) *trace.Estimate) GroundEffect {
	out := GroundEffect{Rides: []int64{}}
	var grounds []string
	ways := map[string]map[[2]string]int{} // by ground: of which line
	lines := map[string][]way{}
	obs := map[string][][]observation{}
	homeless, flat := 0, true
	for i, d := range r.rides {
		ground := d.ground()
		if ground == "" {
			continue
		}
		var ride []observation
		for _, l := range d.Lines {
			y := of(l)
			if y == nil || !groundLine(l) {
				continue
			}
			if l.Homeward == nil {
				homeless++
				continue
			}
			if ways[ground] == nil {
				ways[ground] = map[[2]string]int{}
				grounds = append(grounds, ground)
			}
			key := [2]string{l.From, l.To}
			k, known := ways[ground][key]
			if !known {
				k = len(lines[ground])
				ways[ground][key] = k
				lines[ground] = append(lines[ground], way{hasGrade: true})
			}
			w := &lines[ground][k]
			w.n++
			w.home += *l.Homeward
			if l.Grade != nil {
				w.grade += 100 * *l.Grade
				flat = false
			} else {
				w.hasGrade = false
			}
			ride = append(ride, observation{k, y.Value})
		}
		if len(ride) > 0 {
			obs[ground] = append(obs[ground], ride)
			out.Count++
			if r.rides[i].ID != 0 {
				out.Rides = append(out.Rides, r.rides[i].ID)
			}
		}
	}
	var rows []groundRow
	df := 0.0
	for _, g := range grounds {
		ws := lines[g]
		if !levels(ws, obs[g]) {
			continue
		}
		var mg, mh, my, n float64
		mixedUp := false // heights for some lines only
		for _, w := range ws {
			mg, mh, my, n = mg+w.grade/w.n, mh+w.home/w.n, my+w.effect, n+1
			mixedUp = mixedUp || w.hasGrade != ws[0].hasGrade
		}
		if mixedUp {
			continue
		}
		for _, w := range ws {
			rows = append(rows, groundRow{w.effect - my/n, w.grade/w.n - mg/n, w.home/w.n - mh/n})
		}
		df += n - 1
	}
	out.Lines = len(rows)
	var sgg, shh, sgh, sgy, shy, syy float64
	for _, q := range rows {
		sgg, shh, sgh = sgg+q.grade*q.grade, shh+q.home*q.home, sgh+q.grade*q.home
		sgy, shy, syy = sgy+q.grade*q.y, shy+q.home*q.y, syy+q.y*q.y
	}
	slope, home := sgg >= leastGradeSS, shh >= leastHomeSS
	switch {
	case len(rows) == 0 && homeless > 0:
		out.Why = "the plans don't tell where home is, and without it nobody can say what is slope and what is home"
		return out
	case len(rows) == 0:
		out.Why = "no lines of a course with this figure"
		return out
	case df < leastGroundDF+2:
		out.Why = "too few lines: it takes 5 of one course to tell slope from home"
		return out
	case !slope && !home:
		out.Why = "the lines ridden are as good as level and all lie alike to home"
		return out
	case slope && home && math.Abs(sgh) > mostTogether*math.Sqrt(sgg*shh):
		out.Why = "on these courses the lines that go downhill are those that go home, or away from it: slope and home can't be told apart"
		return out
	case slope && !home:
		out.Why = "the lines ridden all lie alike to home"
	case home && flat:
		out.Why = "the plans have no heights: the ground is taken as level"
	case home && !slope:
		out.Why = "the lines ridden are as good as level"
	}
	var bg, bh, vg, vh, rss float64
	switch {
	case slope && home:
		det := sgg*shh - sgh*sgh
		bg, bh = (shh*sgy-sgh*shy)/det, (sgg*shy-sgh*sgy)/det
		vg, vh = shh/det, sgg/det
		df -= 2
	case slope:
		bg, vg = sgy/sgg, 1/sgg
		df--
	default:
		bh, vh = shy/shh, 1/shh
		df--
	}
	rss = max(0, syy-bg*sgy-bh*shy)
	// No line's level is better known than a hundredth of a figure: beyond that a fit is chance.
	s2 := max(rss/df, 1e-6)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.95)
	about := func(b, v float64) *trace.Estimate {
		half := t * math.Sqrt(s2*v)
		return &trace.Estimate{Value: b, Low: b - half, High: b + half}
	}
	if slope {
		out.PerPercent = about(bg, vg)
	}
	if home {
		out.Homeward = about(bh, vh)
	}
	return out
}

type observation struct {
	line int
	y    float64
}

type groundRow struct{ y, grade, home float64 }

// groundLine tells the lines that slope and home are read from: ways of the route, without the turns of rollbacks, which go at
// their own pace, and the way round after a refusal.
func groundLine(l Line) bool {
	switch course.LineKind(l.Kind) {
	case course.Rollback, course.Between, course.Combination:
		return false
	}
	return l.Strides == nil || usualLine(l)
}

// levels finds by how much each line's figure is above the others', where rides have levels of their own. It is false where the rides
// don't join all lines to one another.
func levels(ws []way, rides [][]observation) bool {
	n := len(ws)
	a, c := mat.NewSymDense(n, nil), make([]float64, n)
	for _, ride := range rides {
		var m float64
		for _, o := range ride {
			m += o.y / float64(len(ride))
		}
		for _, o := range ride {
			a.SetSym(o.line, o.line, a.At(o.line, o.line)+1)
			c[o.line] += o.y - m
		}
		count := make([]float64, n)
		for _, o := range ride {
			count[o.line]++
		}
		for i := range n {
			for j := i; j < n; j++ {
				a.SetSym(i, j, a.At(i, j)-count[i]*count[j]/float64(len(ride)))
			}
		}
	}
	// The levels are about a common one, which is taken as nought: 11' makes the matrix regular.
	for i := range n {
		for j := i; j < n; j++ {
			a.SetSym(i, j, a.At(i, j)+1)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) || chol.Cond() > 1e9 {
		return false
	}
	var x mat.VecDense
	if chol.SolveVecTo(&x, mat.NewVecDense(n, c)) != nil {
		return false
	}
	for i := range ws {
		ws[i].effect = x.AtVec(i)
	}
	return true
}
