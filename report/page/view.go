package page

import (
	"math"
	"slices"
	"sort"

	"groundline/report"
)

// How much of the ride is drawn in full. What people ride a course for begins some seconds before the first
// fence and ends some seconds after the last; longer ways without a fence (ours: half a minute, more than
// any way between two fences of a course) are left out of the chart and drawn thin on the plan.
const (
	beforeS, afterS = 8.0, 6.0
	pauseS          = 30.0
	mostMoments     = 3000 // what a page holds of a long lesson; a round has some 500
	momentS         = 0.2  // a third of a stride
	mostBareS       = 3600.0
)

// section is a stretch of the ride that is drawn in full.
type section struct {
	fromS, toS float64
	measure    float64 // of its start: metres ridden or seconds
	at, length float64 // along the chart, in the same unit
}

// view is the ride as the page's drawings share it.
type view struct {
	d        *report.Debrief
	ridden   *report.Ridden
	units    report.Units
	told     report.Told
	track    bool // there are positions
	sections []section
	total    float64 // length of the chart: metres or seconds
	gap      float64 // left between sections, in the same unit
	speeds   speedScale
	grade    []float64 // percent, of each sample of the track; NaN where the horse hardly moved
	strides  []stride  // of canter, in the sections
	asked    bool      // the track is drawn by the stride against the horse's usual one, else by speed
	frame    frame     // of the plan
	moments  moments
}

// stride is one canter stride with where it belongs.
type stride struct {
	fromS, toS  float64
	lengthM     float64 // 0 where not told
	halfM       float64 // of its interval
	line        int     // in Debrief.Lines, -1
	number, all int     // in its line, from 1
}

// moments is what the page's script knows. Columns have one value a moment; t in tenths of a second, c in
// hundred-thousandths of the chart's width, x and y in hundred-thousandths of the plan's sides; v and h (half of its interval) in
// m/min, g in tenths of a percent.
type moments struct {
	T       []int      `json:"t"`
	C       []int      `json:"c"`
	X       []int      `json:"x,omitempty"`
	Y       []int      `json:"y,omitempty"`
	V       []int      `json:"v,omitempty"`
	H       []int      `json:"h,omitempty"`
	G       []*int     `json:"g,omitempty"`
	Strides [][6]int   `json:"strides"` // from and to in ms, length and half its interval in cm of the unit, line, number in line
	Lines   []lineData `json:"lines"`
	Efforts []doing    `json:"efforts"`
	Gaits   [][3]int   `json:"gaits"` // from and to in tenths of a second, index of the name
	Unit    string     `json:"unit"`
	PerM    float64    `json:"perM"`
}

// lineData is when a line was ridden, ms, for the script.
type lineData struct {
	Row  string `json:"row"`
	Name string `json:"name"`
	From int    `json:"from"`
	To   int    `json:"to"`
	All  int    `json:"n"` // strides counted
	// Card is the id of the line's card, "" without one; Knots tie its strip to time: ms and hundred-thousandths of its width.
	Card  string   `json:"card,omitempty"`
	Knots [][2]int `json:"k,omitempty"`
}

// doing is an effort for the script, ms.
type doing struct {
	Row     string `json:"row"`
	Name    string `json:"name"`
	Outcome string `json:"outcome"`
	From    int    `json:"from"`
	To      int    `json:"to"`
}

const footM = 0.3048 // exact since 1959

func newView(d *report.Debrief, units report.Units) *view {
	v := &view{d: d, units: units, told: report.Tell(d, units), ridden: d.Ridden}
	if v.ridden == nil {
		v.ridden = &report.Ridden{}
	}
	v.track = len(v.ridden.TimeS) > 1
	v.grade = gradeAlong(v.ridden)
	v.cut()
	v.speeds = newSpeedScale(v.sectionSpeeds())
	v.findStrides()
	v.asked = v.track && d.Horse.CanterStrideM != nil && slices.ContainsFunc(v.strides, func(q stride) bool { return q.lengthM > 0 })
	v.frame = v.newFrame()
	v.fillMoments()
	return v
}

// cut finds the sections.
func (v *view) cut() {
	var spans [][2]float64
	for _, e := range v.d.Efforts {
		if e.TakeoffS == nil {
			continue
		}
		a, b := e.TakeoffS.Value, e.TakeoffS.Value
		if e.LandingS != nil {
			b = math.Max(b, e.LandingS.Value)
		}
		spans = append(spans, [2]float64{a, b})
	}
	first, last := 0.0, math.Min(v.d.Recording.DurationS, mostBareS)
	if v.track {
		first, last = v.ridden.TimeS[0], v.ridden.TimeS[len(v.ridden.TimeS)-1]
	} else {
		for _, g := range v.d.Gaits {
			last = math.Max(last, g.ToS)
		}
	}
	sort.Slice(spans, func(i, j int) bool { return spans[i][0] < spans[j][0] })
	var cut [][2]float64
	for _, s := range spans {
		if n := len(cut); n > 0 && s[0]-cut[n-1][1] < pauseS {
			cut[n-1][1] = math.Max(cut[n-1][1], s[1])
			continue
		}
		cut = append(cut, s)
	}
	for i := range cut {
		cut[i] = [2]float64{math.Max(first, cut[i][0]-beforeS), math.Min(last, cut[i][1]+afterS)}
	}
	cut = slices.DeleteFunc(cut, func(c [2]float64) bool { return !(c[1] > c[0]) })
	if len(cut) == 0 && last > first {
		cut = [][2]float64{{first, last}}
	}
	for _, c := range cut {
		s := section{fromS: c[0], toS: c[1], measure: v.measure(c[0])}
		s.length = math.Max(v.measure(c[1])-s.measure, 1e-3)
		v.sections = append(v.sections, s)
		v.total += s.length
	}
	v.gap = 0.02 * v.total
	at := 0.0
	for i := range v.sections {
		v.sections[i].at = at
		at += v.sections[i].length + v.gap
	}
	v.total = math.Max(at-v.gap, 1e-3)
}

// measure is how far along the ride a time is: metres ridden, or seconds without positions.
func (v *view) measure(t float64) float64 {
	if !v.track {
		return t
	}
	return v.at(v.ridden.DistanceM, t)
}

// at is a column of the track at a time; in a gap and beyond the ends it is the last value before, or the
// first.
func (v *view) at(column []float64, t float64) float64 {
	ts := v.ridden.TimeS
	i := sort.SearchFloat64s(ts, t)
	switch {
	case i == 0:
		return column[0]
	case i == len(ts):
		return column[i-1]
	case v.startsPiece(i):
		return column[i-1]
	}
	u := (t - ts[i-1]) / (ts[i] - ts[i-1])
	return column[i-1] + u*(column[i]-column[i-1])
}

func (v *view) startsPiece(i int) bool {
	_, ok := slices.BinarySearch(v.ridden.Pieces, i)
	return ok
}

// recorded tells that the track was recorded at a time.
func (v *view) recorded(t float64) bool {
	ts := v.ridden.TimeS
	i := sort.SearchFloat64s(ts, t)
	if i < len(ts) && ts[i] == t {
		return true
	}
	return i > 0 && i < len(ts) && !v.startsPiece(i)
}

// along is a time's share of the chart's width; false outside the sections.
func (v *view) along(t float64) (float64, bool) {
	for _, s := range v.sections {
		if t >= s.fromS-1e-6 && t <= s.toS+1e-6 {
			return (s.at + min(max(v.measure(t)-s.measure, 0), s.length)) / v.total, true
		}
	}
	return 0, false
}

// run is an unbroken stretch of the track within one section: samples from until to, to not included.
type run struct{ from, to int }

// runs are the stretches of the sections that were recorded.
func (v *view) runs() []run {
	var out []run
	for _, s := range v.sections {
		from := sort.SearchFloat64s(v.ridden.TimeS, s.fromS-1e-6)
		for i := from; i <= len(v.ridden.TimeS); i++ {
			if i < len(v.ridden.TimeS) && v.ridden.TimeS[i] <= s.toS+1e-6 && (i == from || !v.startsPiece(i)) {
				continue
			}
			if i-from > 1 {
				out = append(out, run{from, i})
			}
			if i == len(v.ridden.TimeS) || v.ridden.TimeS[i] > s.toS+1e-6 {
				break
			}
			from = i
		}
	}
	return out
}

// thinned is every so manyth sample of a run that a long ride leaves, always with the last.
func (v *view) thinned(r run) []int {
	var out []int
	step := v.step()
	for i := r.from; i < r.to; i += step {
		out = append(out, i)
	}
	if out[len(out)-1] != r.to-1 {
		out = append(out, r.to-1)
	}
	return out
}

// step is how many samples make one moment.
func (v *view) step() int {
	n := 0
	for _, s := range v.sections {
		n += int((s.toS - s.fromS) / 0.1)
	}
	return max(int(math.Round(momentS/0.1)), int(math.Ceil(float64(n)/mostMoments)))
}

func (v *view) sectionSpeeds() []float64 {
	var out []float64
	for _, r := range v.runs() {
		for _, i := range v.thinned(r) {
			if s := v.ridden.SpeedMS[i]; s > slowMS {
				out = append(out, s)
			}
		}
	}
	return out
}

// slowMS is what no canter is slower than: what moves slower takes no part in the choice of the colours.
const slowMS = 3.0

// gradeM is the way over which a grade is told, to either side: about a stride in all; and no more than gradeS,
// so that a halt is not told by the way to it. leastGradeM must have been ridden in all.
const gradeM, gradeS, leastGradeM = 2.0, 1.0, 1.0

// gradeAlong is the rise per hundred metres ridden at each sample; NaN where it can't be told, nil without
// heights.
func gradeAlong(r *report.Ridden) []float64 {
	if r.HeightM == nil || len(r.HeightM) != len(r.TimeS) {
		return nil
	}
	out := make([]float64, len(r.TimeS))
	for p, from := range r.Pieces {
		to := len(r.TimeS)
		if p+1 < len(r.Pieces) {
			to = r.Pieces[p+1]
		}
		a, b := from, from
		for i := from; i < to; i++ {
			for r.DistanceM[i]-r.DistanceM[a] > gradeM || r.TimeS[i]-r.TimeS[a] > gradeS {
				a++
			}
			for b < to-1 && (b < i || r.DistanceM[b]-r.DistanceM[i] < gradeM && r.TimeS[b]-r.TimeS[i] < gradeS) {
				b++
			}
			out[i] = math.NaN()
			if d := r.DistanceM[b] - r.DistanceM[a]; d >= leastGradeM {
				out[i] = 100 * (r.HeightM[b] - r.HeightM[a]) / d
			}
		}
	}
	return out
}

// findStrides gathers the canter strides of the sections. In a line that has its strides told one by
// one, those lengths are taken: they fit the tape.
func (v *view) findStrides() {
	for _, s := range v.d.Strides {
		if s.Gait != "canter" || !(s.ToS > s.FromS) {
			continue
		}
		mid := (s.FromS + s.ToS) / 2
		if _, ok := v.along(mid); !ok {
			continue
		}
		q := stride{fromS: s.FromS, toS: s.ToS, line: -1}
		if s.LengthM != nil {
			q.lengthM, q.halfM = s.LengthM.Value, (s.LengthM.High-s.LengthM.Low)/2
		}
		for i, l := range v.ridden.LineS {
			if mid > l[0] && mid < l[1] {
				q.line = i
			}
		}
		v.strides = append(v.strides, q)
	}
	for i := range v.ridden.LineS {
		if i >= len(v.d.Lines) {
			break
		}
		var of []int
		for k, s := range v.strides {
			if s.line == i {
				of = append(of, k)
			}
		}
		l := v.d.Lines[i]
		counted := l.StridesBy == "counted" && l.Strides != nil && int(math.Round(l.Strides.Value)) == len(of)
		for n, k := range of {
			if counted {
				v.strides[k].number, v.strides[k].all = n+1, len(of)
			}
			if len(l.StrideLengthsM) == len(of) {
				v.strides[k].lengthM = l.StrideLengthsM[n]
			}
		}
	}
}

// perM is how many of the units of length are one metre.
func (v *view) perM() float64 {
	if v.units == report.Imperial {
		return 1 / footM
	}
	return 1
}

func (v *view) fillMoments() {
	m := moments{T: []int{}, C: []int{}, Strides: [][6]int{}, Lines: []lineData{}, Efforts: []doing{}, Gaits: [][3]int{}, Unit: v.told.Unit, PerM: v.perM()}
	share := func(x float64) int { return int(math.Round(1e5 * x)) }
	ms := func(t float64) int { return int(math.Round(1000 * t)) }
	tenths := func(x float64) int { return int(math.Round(10 * x)) }
	if v.track {
		for _, r := range v.runs() {
			for _, i := range v.thinned(r) {
				t := v.ridden.TimeS[i]
				c, _ := v.along(t)
				x, y := v.frame.share(v.ridden.XM[i], v.ridden.YM[i])
				m.T, m.C = append(m.T, tenths(t)), append(m.C, share(c))
				m.X, m.Y = append(m.X, share(x)), append(m.Y, share(y))
				m.V = append(m.V, int(math.Round(60*v.ridden.SpeedMS[i])))
				m.H = append(m.H, int(math.Round(60*1.645*v.ridden.SpeedSDMS[i]))) // a normal figure's 90 %
				if v.grade != nil {
					var g *int
					if !math.IsNaN(v.grade[i]) {
						n := tenths(v.grade[i])
						g = &n
					}
					m.G = append(m.G, g)
				}
			}
		}
	} else {
		for _, s := range v.sections {
			step := 0.1 * float64(v.step())
			for k := 0; ; k++ {
				t := s.fromS + float64(k)*step
				if t > s.toS {
					break
				}
				c, _ := v.along(t)
				m.T, m.C = append(m.T, tenths(t)), append(m.C, share(c))
			}
		}
	}
	cm := func(x float64) int { return int(math.Round(100 * x * v.perM())) }
	for _, s := range v.strides {
		m.Strides = append(m.Strides, [6]int{ms(s.fromS), ms(s.toS), cm(s.lengthM), cm(s.halfM), s.line, s.number})
	}
	rows := map[int]string{}
	for i, l := range v.told.Lines {
		rows[l.Index] = lineID(i)
	}
	cards, last := v.addresses(), v.lastRides()
	for i, s := range v.ridden.LineS {
		if i >= len(v.d.Lines) {
			break
		}
		l := v.d.Lines[i]
		q := lineData{Row: rows[i], Name: cleaned(l.From + " to " + l.To), From: ms(s[0]), To: ms(s[1])}
		for _, st := range v.strides {
			if st.line == i && st.number > 0 {
				q.All = st.all
			}
		}
		if rows[i] != "" && last[l.From+" to "+l.To] == i {
			q.Card = cards[i]
			if s := v.stripOf(i); s != nil {
				q.Knots = s.knots(v, i)
			}
		}
		m.Lines = append(m.Lines, q)
	}
	for i, e := range v.d.Efforts {
		if e.TakeoffS == nil {
			continue
		}
		q := doing{Row: effortID(i), Name: cleaned(v.told.Efforts[i].Name), Outcome: e.Outcome, From: ms(e.TakeoffS.Value), To: ms(e.TakeoffS.Value)}
		if e.LandingS != nil {
			q.To = ms(e.LandingS.Value)
		}
		m.Efforts = append(m.Efforts, q)
	}
	for _, g := range v.d.Gaits {
		if i := slices.Index(gaitNames(), g.Gait); i >= 0 {
			m.Gaits = append(m.Gaits, [3]int{tenths(g.FromS), tenths(g.ToS), i})
		}
	}
	v.moments = m
}

// gaitNames are the gaits by their pace, in the script's order.
func gaitNames() []string { return []string{"halt", "walk", "trot", "canter"} }
