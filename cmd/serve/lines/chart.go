package lines

import (
	"fmt"
	"groundline/cmd/serve/chart"
	"groundline/cmd/serve/shell"
	"groundline/course"
	"groundline/report"
	"groundline/report/keep"
	"groundline/report/layout"
	"groundline/trace"
	"html/template"
	"math"
	"slices"
	"strings"
)

// marks are the shapes of horses, by shape and colour: of the six with the most attempts, those that rode first the first shapes. All
// others share one.
type marks struct{ order []int64 }

func marksOf(list []keep.Attempt) marks {
	n := map[int64]int{}
	var first []int64
	for _, a := range slices.Backward(list) { // oldest first, so that a horse keeps its shape as rides are added
		if n[a.HorseID] == 0 {
			first = append(first, a.HorseID)
		}
		n[a.HorseID]++
	}
	most := slices.Clone(first)
	slices.SortStableFunc(most, func(a, b int64) int { return n[b] - n[a] })
	most = most[:min(len(most), len(markShapes()))]
	return marks{slices.DeleteFunc(first, func(id int64) bool { return !slices.Contains(most, id) })}
}

// Outlines of some 12 by 12 px about their middle.
func markShapes() []string {
	return []string{
		`<circle r="5"/>`,
		`<path d="M-5 -5H5V5H-5Z"/>`,
		`<path d="M0 -6.5L6 4.5H-6Z"/>`,
		`<path d="M0 -7L7 0L0 7L-7 0Z"/>`,
		`<path d="M-6 -4.5H6L0 6.5Z"/>`,
		`<path d="M-2 -6H2V-2H6V2H2V6H-2V2H-6V-2H-2Z"/>`,
	}
}

// shape is a horse's mark, about the origin.
func (m marks) shape(horseID int64) string {
	i := slices.Index(m.order, horseID)
	if i < 0 {
		return `<g class="others"><circle r="3"/></g>`
	}
	return fmt.Sprintf(`<g class="h%d">%s</g>`, i, markShapes()[i])
}

// svg is a horse's mark by itself.
func (m marks) svg(horseID int64) template.HTML {
	return template.HTML(`<svg class="mark" width="16" height="16" viewBox="-8 -8 16 16" aria-hidden="true">` + m.shape(horseID) + `</svg>`)
}

// horseKey explains a mark.
type horseKey struct {
	Mark template.HTML
	Name string
	N    int
}

func (m marks) key(list []keep.Attempt) []horseKey {
	out := make([]horseKey, len(m.order))
	for i, id := range m.order {
		out[i] = horseKey{Mark: m.svg(id), Name: "horse not named"}
	}
	var others []int64
	n := 0
	for _, a := range list {
		i := slices.Index(m.order, a.HorseID)
		if i < 0 {
			n++
			if !slices.Contains(others, a.HorseID) {
				others = append(others, a.HorseID)
			}
			continue
		}
		out[i].N++
		if a.Horse != "" {
			out[i].Name = a.Horse
		}
	}
	if len(others) > 0 {
		out = append(out, horseKey{m.svg(others[0]), layout.Count(len(others), "other horse"), n})
	}
	return out
}

// mostDrawn is how many attempts the chart has: on a phone a mark each seven pixels.
const mostDrawn = 40

// attemptChart draws a figure of attempts in the order in which they were ridden, each with its interval, and tells in words
// what it shows. list is newest first.
func attemptChart(list []keep.Attempt, f lineFigure, m marks, units report.Units) (template.HTML, []string) {
	var told []keep.Attempt
	for _, a := range slices.Backward(list) {
		if f.of(a) != nil {
			told = append(told, a)
		}
	}
	if len(told) == 0 {
		return "", nil
	}
	if len(told) > mostDrawn {
		told = told[len(told)-mostDrawn:]
	}
	perSI := f.key.PerSI(units)
	low, high := math.Inf(1), math.Inf(-1)
	for _, a := range told {
		e := f.of(a)
		low, high = min(low, e.Low*perSI), max(high, e.High*perSI)
	}
	leastStep := 0.0
	if f.key == report.Strides {
		leastStep = 1
	}
	p := &chart.Plot{X: chart.Axis{Low: 0, High: float64(len(told)), Step: 1}, Y: chart.AxisOf(low, high, leastStep)}
	words := m.words(told, f, units)
	p.Open(strings.Join(words, " "))
	// Days: a thin line where a new one begins, its name where there is room.
	const apart, lastName = 27.0, 75.0 // percent: what a day's name takes on a phone
	named := -apart
	var begins []int
	for i, a := range told {
		if i == 0 || shell.DayWords(a.RiddenAt) != shell.DayWords(told[i-1].RiddenAt) {
			begins = append(begins, i)
		}
	}
	for _, i := range begins {
		at := p.Px(float64(i))
		if i > 0 {
			fmt.Fprintf(p, `<line class="day" x1="%.2f%%" x2="%.2f%%" y1="%g" y2="%g"/>`, at, at, chart.Top, chart.Low+6)
		}
		if at-named >= apart && at < lastName {
			named = at
			fmt.Fprintf(p, `<text class="when" x="%.2f%%" dx="3" y="%g">%s</text>`, at, chart.Low+22, shell.DayWords(told[i].RiddenAt))
		}
	}
	for i, a := range told {
		e := f.of(a)
		at := p.Px(float64(i) + 0.5)
		fmt.Fprintf(p, `<line class="doubt" x1="%.2f%%" x2="%.2f%%" y1="%s" y2="%s"/>`, at, at, shell.Tenth(p.Py(e.Low*perSI)), shell.Tenth(p.Py(e.High*perSI)))
		fmt.Fprintf(p, `<svg x="%.2f%%" y="%s" width="1" height="1" overflow="visible">%s</svg>`, at, shell.Tenth(p.Py(e.Value*perSI)), m.shape(a.HorseID))
	}
	return p.Close("in the order ridden"), words
}

// words tell what the chart shows: for each horse how many, from what to what, and the middle.
func (m marks) words(told []keep.Attempt, f lineFigure, units report.Units) []string {
	exactly := func(v float64) string { return f.key.Measured(trace.Exactly(v), units, false) }
	first, last := shell.DayWords(told[0].RiddenAt), shell.DayWords(told[len(told)-1].RiddenAt)
	when := "on " + first
	if first != last {
		when = "from " + first + " to " + last
	}
	words := []string{fmt.Sprintf("%s: %s %s.", shell.UpperFirst(f.key.Head(units)), layout.Count(len(told), "attempt"), when)}
	tell := func(name string, values []float64) {
		slices.Sort(values)
		n := len(values)
		switch {
		case n == 0:
		case n == 1:
			words = append(words, fmt.Sprintf("%s: %s.", name, exactly(values[0])))
		case exactly(values[0]) == exactly(values[n-1]):
			words = append(words, fmt.Sprintf("%s: %s, all %s.", name, layout.Count(n, "attempt"), exactly(values[0])))
		default:
			middle := (values[(n-1)/2] + values[n/2]) / 2
			words = append(words, fmt.Sprintf("%s: %s from %s to %s, the middle one %s.", name, layout.Count(n, "attempt"), exactly(values[0]), exactly(values[n-1]), exactly(middle)))
		}
	}
	var others []float64
	for _, id := range m.order {
		var values []float64
		name := "Horse not named"
		for _, a := range told {
			if a.HorseID == id {
				values = append(values, f.of(a).Value)
				if a.Horse != "" {
					name = shell.Cleaned(a.Horse)
				}
			}
		}
		tell(name, values)
	}
	for _, a := range told {
		if !slices.Contains(m.order, a.HorseID) {
			others = append(others, f.of(a).Value)
		}
	}
	tell("Other horses", others)
	return words
}

func hasObstacles(p *course.Plan, from, to string) bool {
	_, a := p.Obstacle(from)
	_, b := p.Obstacle(to)
	return a && b
}
