package table

import (
	"bufio"
	"cmp"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"gonum.org/v1/gonum/stat/distuv"

	"groundline/report/layout"
)

// SteepGrade is the grade from which a stride counts as uphill, or downhill below its negative: 1 %, a good deal more
// than what spot heights known to some centimetres leave open over a line of twenty metres, and about
// where riders begin to speak of a slope (our choice). Between the two it is level.
const SteepGrade = 0.01

// Directions on the slope. AllDirections takes in the strides of every one.
const (
	Uphill        = "uphill"
	Level         = "level"
	Downhill      = "downhill"
	UnknownSlope  = "unknown"
	AllDirections = "all"
	AllLines      = "all"
)

func direction(r *Row) string {
	switch {
	case r.Grade == nil:
		return UnknownSlope
	case *r.Grade >= SteepGrade:
		return Uphill
	case *r.Grade <= -SteepGrade:
		return Downhill
	}
	return Level
}

// Summary gathers the canter strides on lines by horse, line and direction on the slope. Its size goes with the
// groups and rides, not the strides. The zero value is empty.
//
// Strides of one ride are alike and no independent witnesses of the horse. So each ride counts once, by
// its mean over the group's strides; the group's mean is the mean of these, and its 90 % interval Student's t over the
// rides. Where a group has one ride only, each time that a line was ridden counts instead, and the interval tells
// how sure the figure is for that ride, not for the horse on another day. The spread is the standard deviation
// of single strides.
type Summary struct {
	groups map[group]*figures
}

type group struct{ horse, course, line, direction string }

// cluster is one ride, or one riding of a line.
type cluster struct{ recording, way string }

type figures struct {
	by map[cluster]*[nFigures]sums // by riding of a line
}

type sums struct {
	n           float64
	mean, about float64 // about: sum of squares about the mean
}

// add is Welford's (1962) running mean and sum of squares.
func (s *sums) add(v float64) {
	s.n++
	d := v - s.mean
	s.mean += d / s.n
	s.about += d * (v - s.mean)
}

// join is the same over two lots (Chan, Golub & LeVeque 1979).
func (s *sums) join(o sums) {
	if o.n == 0 {
		return
	}
	n, d := s.n+o.n, o.mean-s.mean
	s.about += o.about + d*d*s.n*o.n/n
	s.mean += d * o.n / n
	s.n = n
}

func (s *sums) sd() *float64 {
	if s.n < 2 {
		return nil
	}
	v := math.Sqrt(s.about / (s.n - 1))
	return &v
}

// The figures of a summary, each a column of the table.
const (
	figLength = iota
	figDuration
	figFrequency
	figSpeed
	figStrides // of the line, once each time that it was ridden
	nFigures
)

var figureNames = [nFigures]string{"length_m", "duration_s", "frequency_hz", "speed_m_s", "strides_in_line"}
var figureUnits = [nFigures]string{"m", "s", "1/s", "m/s", ""}
var figureDecimals = [nFigures]int{3, 4, 4, 3, 2}

// Add takes up a ride's rows.
func (s *Summary) Add(r *Result) {
	if s.groups == nil {
		s.groups = map[group]*figures{}
	}
	for i := range r.Rows {
		row := &r.Rows[i]
		if row.Gait != "canter" || row.Line == nil || row.Attempt == nil {
			continue
		}
		var v [nFigures]*float64
		f := 1 / row.DurationS
		v[figDuration], v[figFrequency], v[figSpeed] = &row.DurationS, &f, row.SpeedMS
		if row.LengthM != nil {
			v[figLength] = &row.LengthM.Value
		}
		way := cluster{row.Recording, fmt.Sprintf("%s %d", *row.Line, *row.Attempt)}
		for _, line := range []string{AllLines, *row.Line} {
			for _, dir := range []string{AllDirections, direction(row)} {
				g := group{row.Horse, "", line, dir}
				v[figStrides] = nil
				if line != AllLines {
					// A line's name means its course's.
					g.course = r.CourseName
					if row.InLine != nil && *row.InLine == 1 && dir == AllDirections {
						v[figStrides] = whole(row.OfLine)
					}
				}
				s.add(g, way, v)
			}
		}
	}
}

func (s *Summary) add(g group, way cluster, v [nFigures]*float64) {
	f := s.groups[g]
	if f == nil {
		f = &figures{by: map[cluster]*[nFigures]sums{}}
		s.groups[g] = f
	}
	a := f.by[way]
	if a == nil {
		a = &[nFigures]sums{}
		f.by[way] = a
	}
	for k, x := range v {
		if x != nil {
			a[k].add(*x)
		}
	}
}

// Line is one figure of one group.
type Line struct {
	Horse     string   `json:"horse"`     // "" where nobody said
	Course    string   `json:"course"`    // "" for all lines
	Line      string   `json:"line"`      // from-to, or all
	Direction string   `json:"direction"` // uphill, level, downhill, unknown, or all
	Figure    string   `json:"figure"`
	Unit      string   `json:"unit"`
	Rides     int      `json:"rides"`
	Ridings   int      `json:"lines_ridden"` // how often the lines were ridden
	N         int      `json:"n"`            // strides, or for strides_in_line ridings
	Mean      float64  `json:"mean"`
	Low       *float64 `json:"low"` // of the mean's 90 % interval; nil with one ride and one riding
	High      *float64 `json:"high"`
	SD        *float64 `json:"sd"`         // of single strides
	SDBetween *float64 `json:"sd_between"` // of the means that the interval is made from
	Over      string   `json:"over"`       // what counts once: rides, or lines ridden where there is one ride
}

// Lines are the figures of all groups, by horse, course, line, direction and figure.
func (s *Summary) Lines() []Line {
	keys := make([]group, 0, len(s.groups))
	for g := range s.groups {
		keys = append(keys, g)
	}
	first := func(all string) func(a, b string) int { // what takes in the rest stands first
		return func(a, b string) int {
			if (a == all) != (b == all) {
				if a == all {
					return -1
				}
				return 1
			}
			return cmp.Compare(a, b)
		}
	}
	order := []string{AllDirections, Uphill, Level, Downhill, UnknownSlope}
	slices.SortFunc(keys, func(a, b group) int {
		return cmp.Or(cmp.Compare(a.horse, b.horse), cmp.Compare(a.course, b.course), first(AllLines)(a.line, b.line),
			cmp.Compare(slices.Index(order, a.direction), slices.Index(order, b.direction)))
	})
	out := []Line{}
	for _, g := range keys {
		for k := range nFigures {
			if l, ok := s.groups[g].line(k); ok {
				l.Horse, l.Course, l.Line, l.Direction = g.horse, g.course, g.line, g.direction
				out = append(out, l)
			}
		}
	}
	return out
}

// line is one figure of a group; false where no stride has it.
func (f *figures) line(k int) (Line, bool) {
	ways := make([]cluster, 0, len(f.by))
	for w := range f.by {
		if f.by[w][k].n > 0 {
			ways = append(ways, w)
		}
	}
	slices.SortFunc(ways, func(a, b cluster) int {
		return cmp.Or(cmp.Compare(a.recording, b.recording), cmp.Compare(a.way, b.way))
	})
	if len(ways) == 0 {
		return Line{}, false
	}
	var all, overWays sums
	var rides []sums
	for i, w := range ways {
		all.join(f.by[w][k])
		overWays.add(f.by[w][k].mean)
		if i == 0 || ways[i-1].recording != w.recording {
			rides = append(rides, sums{})
		}
		rides[len(rides)-1].join(f.by[w][k])
	}
	l := Line{Figure: figureNames[k], Unit: figureUnits[k], Rides: len(rides), Ridings: len(ways), N: int(all.n), SD: all.sd(), Over: "rides"}
	var over sums
	for _, r := range rides {
		over.add(r.mean)
	}
	if len(rides) == 1 {
		over, l.Over = overWays, "lines ridden"
	}
	l.Mean, l.SDBetween = over.mean, over.sd()
	if sd := over.sd(); sd != nil {
		half := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: over.n - 1}.Quantile(0.95) * *sd / math.Sqrt(over.n)
		low, high := l.Mean-half, l.Mean+half
		l.Low, l.High = &low, &high
	}
	round := func(p *float64) {
		if p != nil {
			scale := math.Pow(10, float64(figureDecimals[k]))
			*p = math.Round(*p*scale)/scale + 0
		}
	}
	for _, p := range []*float64{&l.Mean, l.Low, l.High, l.SD, l.SDBetween} {
		round(p)
	}
	return l, true
}

// SummaryCSV writes the lines as CSV, missing figures empty.
func SummaryCSV(w io.Writer, lines []Line) error {
	out := csv.NewWriter(w)
	rows := [][]string{{"horse", "course", "line", "direction", "figure", "unit", "rides", "lines_ridden", "n", "mean", "low", "high", "sd", "sd_between", "over"}}
	num := func(p *float64) string {
		if p == nil {
			return ""
		}
		return strconv.FormatFloat(*p, 'f', -1, 64)
	}
	for _, l := range lines {
		rows = append(rows, []string{layout.Cell(l.Horse), layout.Cell(l.Course), layout.Cell(l.Line), l.Direction, l.Figure, l.Unit, strconv.Itoa(l.Rides), strconv.Itoa(l.Ridings),
			strconv.Itoa(l.N), num(&l.Mean), num(l.Low), num(l.High), num(l.SD), num(l.SDBetween), l.Over})
	}
	return out.WriteAll(rows)
}

// SummaryJSON writes the lines as one JSON object, with what they mean.
func SummaryJSON(w io.Writer, lines []Line) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	return enc.Encode(struct {
		Schema     string  `json:"schema"`
		SteepGrade float64 `json:"steep_grade"`
		Interval   string  `json:"interval"`
		Lines      []Line  `json:"lines"`
	}{"groundline.strides-summary/1", SteepGrade, "90 % of the mean, Student's t over rides; over ridings of the lines where there is one ride", lines})
}

// SummaryText writes the lines for people, in 80 columns.
func SummaryText(w io.Writer, lines []Line) error {
	out := bufio.NewWriter(w)
	if len(lines) == 0 {
		fmt.Fprintln(out, "No canter stride on a line.")
		return out.Flush()
	}
	byGroup := map[group][nFigures]*Line{}
	var order []group
	for i := range lines {
		l := &lines[i]
		g := group{l.Horse, l.Course, l.Line, l.Direction}
		f, seen := byGroup[g]
		if !seen {
			order = append(order, g)
		}
		f[slices.Index(figureNames[:], l.Figure)] = l
		byGroup[g] = f
	}
	directions := map[group]int{} // of each line
	for _, g := range order {
		if g.direction != AllDirections {
			directions[group{g.horse, g.course, g.line, ""}]++
		}
	}
	var horse, on string
	oneRide := false
	for i, g := range order {
		if i == 0 || g.horse != horse {
			name := g.horse
			if name == "" {
				name = "Horse not named"
			}
			if i > 0 {
				fmt.Fprintln(out)
			}
			fmt.Fprintln(out, name)
			fmt.Fprintf(out, "  %-20s %5s %7s %11s %6s %13s %10s\n", "", "rides", "strides", "length m", "spread", "stride s", "speed m/s")
		}
		if g.course != "" && (g.course != on || g.horse != horse) {
			fmt.Fprintf(out, " %s\n", g.course)
		}
		horse, on = g.horse, g.course
		f := byGroup[g]
		d := f[figDuration]
		// A line that goes one way only has one row, which says which way.
		oneWay := g.line != AllLines && directions[group{g.horse, g.course, g.line, ""}] == 1
		if oneWay && g.direction != AllDirections {
			continue
		}
		name := "all lines"
		if g.line != AllLines {
			name = g.line
		}
		if g.direction != AllDirections {
			name = "  " + strings.Replace(g.direction, UnknownSlope, "slope unknown", 1)
		} else if s := f[figStrides]; s != nil {
			name = fmt.Sprintf("%s in %s", name, strings.TrimSuffix(strconv.FormatFloat(s.Mean, 'f', 1, 64), ".0"))
			if oneWay && i+1 < len(order) && order[i+1].direction != UnknownSlope {
				name += " " + order[i+1].direction
			}
		}
		rides := strconv.Itoa(d.Rides)
		if d.Rides == 1 && d.Low != nil {
			rides, oneRide = "1*", true
		}
		spread := ""
		if l := f[figLength]; l != nil && l.SD != nil {
			spread = strconv.FormatFloat(*l.SD, 'f', 2, 64)
		}
		fmt.Fprintf(out, "  %-20s %5s %7d %11s %6s %13s %10s\n", clip(name, 20), rides, d.N, plusMinus(f[figLength], 2), spread,
			plusMinus(d, 3), plusMinus(f[figSpeed], 2))
	}
	fmt.Fprintf(out, "\n± is half the mean's 90 %% interval (Student's t over rides); spread is the\nstandard deviation of single strides. Uphill and downhill: from %g %%.\n", 100*SteepGrade)
	if oneRide {
		fmt.Fprintln(out, "* One ride: ± is over the times that a line was ridden in it, and says nothing\nof the horse on another day.")
	}
	return out.Flush()
}

func plusMinus(l *Line, decimals int) string {
	if l == nil {
		return ""
	}
	s := strconv.FormatFloat(l.Mean, 'f', decimals, 64)
	if l.Low != nil {
		s += " ±" + strconv.FormatFloat((*l.High-*l.Low)/2, 'f', decimals, 64)
	}
	return s
}

func clip(s string, n int) string {
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	return string([]rune(s)[:n-1]) + "…"
}
