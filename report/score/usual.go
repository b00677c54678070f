package score

import (
	"groundline/report"
)

// OffUsualM is how far a line's true stride must be off the horse's usual one for its verdict to be scored: less, and the
// right word hangs on what is called usual.
const OffUsualM = 0.25

// usual scores the horse's usual stride against the middle of its true ones on related and bending lines, whose kinds are
// the debrief's; where it has none of these, on all lines of three strides and more. The stride time is that of all
// lines of three and more.
func (r *Result) usual(d *report.Debrief, t *Truth) {
	m, s := usualStrides(d, t)
	if len(m) > 0 {
		r.UsualStrideM.add(d.Horse.CanterStrideM, median(m))
	}
	if len(s) > 0 {
		r.UsualStrideS.add(d.Horse.StrideS, median(s))
	}
}

// usualStrides are the true strides that show the usual one, each line once, and the times of all.
func usualStrides(d *report.Debrief, t *Truth) (m, s []float64) {
	kind := map[[2]string]string{}
	for _, l := range d.Lines {
		kind[[2]string{l.From, l.To}] = l.Kind
	}
	var others []float64
	for _, l := range t.Lines {
		if l.Strides < 3 || l.StrideLengthM == nil || l.StrideS == nil {
			continue
		}
		others, s = append(others, *l.StrideLengthM), append(s, *l.StrideS)
		if k := kind[[2]string{l.From, l.To}]; k == "related" || k == "bending" {
			m = append(m, *l.StrideLengthM)
		}
	}
	if len(m) == 0 {
		m = others
	}
	return m, s
}

// verdicts scores what is said of lines that were plainly long or short.
func (r *Result) verdicts(d *report.Debrief, t *Truth, pairs []effortPair) {
	m, _ := usualStrides(d, t)
	if len(m) == 0 {
		return
	}
	usual := median(m)
	foundOf := make(map[int]int) // true effort to found effort
	for _, p := range pairs {
		foundOf[p.truth] = p.found
	}
	lineOf := linesOf(d)
	for _, w := range t.ways {
		tl := t.Lines[w.line]
		a, okA := foundOf[w.from]
		b, okB := foundOf[w.to]
		k, ok := lineOf[effortPair{a, b}]
		if !ok || !okA || !okB || tl.StrideLengthM == nil {
			continue
		}
		l := d.Lines[k]
		off := *tl.StrideLengthM - usual
		if l.Kind != "related" && l.Kind != "bending" || l.From != tl.From || l.To != tl.To || off < OffUsualM && off > -OffUsualM {
			continue
		}
		r.OffUsual++
		if says := l.Fit.Verdict(); says != "" {
			r.CalledOff++
			if off > 0 && says == "long" || off < 0 && says == "short" {
				r.RightOff++
			}
		}
	}
}
