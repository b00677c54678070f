package page

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"groundline/report"
)

// A strip is a line drawn to scale from the back of its first obstacle to the front of its second: landing, each stride, take-off;
// above it what the plan asks of this horse.
type strip struct {
	parts   []stripPart
	ridden  float64   // metres, of all parts
	planned []float64 // where the planned strides begin and end, metres from the first obstacle; nil where nobody counts
	planM   float64   // the line by the plan; 0 with planned nil
	shift   float64   // metres that it is moved to the right, to stand beneath others
	width   float64   // metres that its width stands for; 0 for its own
	even    bool      // the strides are laid out evenly: the recording does not show them one by one
}

// stripPart is a landing, a stride or a take-off, from and to in metres from the first obstacle.
type stripPart struct {
	kind     string // "landing" | "stride" | "takeoff"
	from, to float64
	number   int // of a stride, from 1
	class    string
}

// A stride that differs by less than this share from the horse's usual one is drawn as usual: strides of an even canter
// differ by some 3 to 4 % among themselves (the practice rounds).
const evenShare = 0.05

// stripOf is the strip of a line; nil where its strides or their lengths are not known.
func (v *view) stripOf(i int) *strip {
	l := v.d.Lines[i]
	if l.Strides == nil || l.StrideLengthM == nil {
		return nil
	}
	n := int(math.Round(l.Strides.Value))
	lengths := l.StrideLengthsM
	s := &strip{}
	if len(lengths) != n || l.StridesBy != "counted" {
		s.even = true
		lengths = slices.Repeat([]float64{l.StrideLengthM.Value}, n)
	}
	before, after := v.effortsOf(i)
	at := 0.0
	add := func(kind string, long float64, number int, class string) {
		s.parts = append(s.parts, stripPart{kind, at, at + long, number, class})
		at += long
	}
	if before != nil && before.LandingDistanceM != nil {
		add("landing", before.LandingDistanceM.Value, 0, "")
	}
	for k, long := range lengths {
		class := "even"
		if u := v.d.Horse.CanterStrideM; u != nil && !s.even {
			switch off := long/u.Value - 1; {
			case off < -evenShare:
				class = "shorter"
			case off > evenShare:
				class = "longer"
			}
		}
		add("stride", long, k+1, class)
	}
	if after != nil && after.TakeoffDistanceM != nil {
		add("takeoff", after.TakeoffDistanceM.Value, 0, "")
	}
	if len(s.parts) == 0 || !(at > 0) {
		return nil
	}
	s.ridden = at
	usualLanding, usualTakeoff := v.usualEnds()
	if l.PlannedStrides != nil && l.DistanceM != nil && usualLanding > 0 && usualTakeoff > 0 {
		if free := *l.DistanceM - usualLanding - usualTakeoff; free > 0 && *l.PlannedStrides > 0 {
			s.planM = *l.DistanceM
			for k := range *l.PlannedStrides + 1 {
				s.planned = append(s.planned, usualLanding+free*float64(k)/float64(*l.PlannedStrides))
			}
		}
	}
	return s
}

// effortsOf are the jumps that a line lies between; nil where they are not known.
func (v *view) effortsOf(i int) (before, after *report.Effort) {
	if i >= len(v.ridden.LineS) {
		return nil, nil
	}
	const near = 0.3 // s, less than any flight
	for k := range v.d.Efforts {
		e := &v.d.Efforts[k]
		if e.LandingS != nil && math.Abs(e.LandingS.Value-v.ridden.LineS[i][0]) < near {
			before = e
		}
		if e.TakeoffS != nil && math.Abs(e.TakeoffS.Value-v.ridden.LineS[i][1]) < near {
			after = e
		}
	}
	return before, after
}

// usualEnds are the middle landing and take-off distances of the ride, metres; 0 where fewer than three are known.
func (v *view) usualEnds() (landing, takeoff float64) {
	var in, out []float64
	for _, e := range v.d.Efforts {
		if e.LandingDistanceM != nil {
			in = append(in, e.LandingDistanceM.Value)
		}
		if e.TakeoffDistanceM != nil {
			out = append(out, e.TakeoffDistanceM.Value)
		}
	}
	middle := func(x []float64) float64 {
		if len(x) < 3 {
			return 0
		}
		slices.Sort(x)
		return (x[(len(x)-1)/2] + x[len(x)/2]) / 2
	}
	return middle(in), middle(out)
}

// wholeM is the length that the strip's width stands for.
func (s *strip) wholeM() float64 { return max(s.ridden, s.planM, s.width) }

// words say what the strip shows.
func (s *strip) words(v *view) string {
	length := func(m float64) string { return fmt.Sprintf("%.1f", m*v.perM()) }
	var said []string
	var strides []string
	for _, p := range s.parts {
		switch p.kind {
		case "landing":
			said = append(said, "landing "+length(p.to-p.from))
		case "takeoff":
			strides = append(strides, "take-off "+length(p.to-p.from))
		default:
			strides = append(strides, length(p.to-p.from))
		}
	}
	said = append(said, strides...)
	words := "To scale, " + v.told.Unit + ": " + strings.Join(said, ", ")
	if s.even {
		words += "; strides laid out evenly"
	}
	if n := len(s.planned) - 1; n > 0 {
		words += fmt.Sprintf("; above, the %d planned", n)
	}
	return words
}

// draw draws the strip as wide as its place is. id begins the ids of its strides.
func (s *strip) draw(v *view, id string) *figure {
	const planY, barY, barPx, high = 5.0, 12.0, 22.0, 38.0
	x := func(m float64) string { return num(100 * (m + s.shift) / s.wholeM()) }
	words := s.words(v)
	every := 1 // stride numbered: on a phone each has the room of two digits
	for _, each := range []int{2, 5, 10} {
		if len(s.parts)/every > 15 {
			every = each
		}
	}
	out := &svg{}
	out.f(`<svg class="draw ridden" width="100%%" height="%s" role="img" aria-label="%s">`, num(high), html.EscapeString(words))
	if s.planned != nil {
		out.f(`<line class="plan" x1="%s%%" x2="%s%%" y1="%s" y2="%s"/>`, x(s.planned[0]), x(s.planned[len(s.planned)-1]), num(planY), num(planY))
		for _, m := range s.planned {
			out.f(`<line class="plan" x1="%s%%" x2="%s%%" y1="%s" y2="%s"/>`, x(m), x(m), num(planY-4), num(planY+4))
		}
	}
	for _, p := range s.parts {
		wide := num(100 * (p.to - p.from) / s.wholeM())
		switch p.kind {
		case "stride":
			out.f(`<g id="%s.%d"><rect class="%s" x="%s%%" width="%s%%" y="%s" height="%s"/>`, html.EscapeString(id), p.number, p.class, x(p.from), wide, num(barY), num(barPx))
			if p.number%every == 0 {
				out.f(`<text class="count" x="%s%%" y="%s">%d</text>`, x((p.from+p.to)/2), num(barY+barPx-6.5), p.number)
			}
			out.f(`</g>`)
		default: // down from the first obstacle, or up to the second
			d := "M0 0Q8 2 10 10L0 10Z"
			if p.kind == "takeoff" {
				d = "M10 0Q2 2 0 10L10 10Z"
			}
			out.f(`<svg class="panel" x="%s%%" y="%s" width="%s%%" height="%s" viewBox="0 0 10 10" preserveAspectRatio="none"><path class="air" d="%s"/></svg>`,
				x(p.from), num(barY), wide, num(barPx), d)
		}
	}
	class := "fence"
	if s.even {
		class = "fence guessed"
	}
	for _, m := range []float64{0, s.ridden} {
		out.f(`<line class="%s" x1="%s%%" x2="%s%%" y1="%s" y2="%s"/>`, class, x(m), x(m), num(barY-3), num(barY+barPx+3))
	}
	out.f(`<line class="here" x1="0%%" x2="0%%" y1="0" y2="%s"/></svg>`, num(high))
	return &figure{SVG: out.html(), Words: words}
}

// knots tie the strip to the ride's time: each is a time in ms and where the strip has it, in hundred-thousandths of its width.
func (s *strip) knots(v *view, i int) [][2]int {
	if i >= len(v.ridden.LineS) {
		return nil
	}
	at := func(t, m float64) [2]int {
		return [2]int{int(math.Round(1000 * t)), int(math.Round(1e5 * m / s.wholeM()))}
	}
	var begins, ends float64
	byNumber := map[int]stripPart{}
	for _, p := range s.parts {
		if p.kind == "stride" {
			if p.number == 1 {
				begins = p.from
			}
			ends = p.to
			byNumber[p.number] = p
		}
	}
	out := [][2]int{at(v.ridden.LineS[i][0], begins)}
	if !s.even {
		for _, q := range v.strides {
			if p, ok := byNumber[q.number]; ok && q.line == i && q.fromS > v.ridden.LineS[i][0] && q.toS < v.ridden.LineS[i][1] && q.number > 1 {
				out = append(out, at(q.fromS, p.from))
			}
		}
	}
	return append(out, at(v.ridden.LineS[i][1], ends))
}

// LineAddress is where the first ride of a line is found within a debrief's page, without the #.
func LineAddress(from, to string) string { return address(from, to) }

// Stripped is one strip of several above one another; SVG is empty where the ride's strides are not known.
type Stripped struct {
	SVG   template.HTML
	Words string
}

// LineOf is a line of a debrief, by its place in Debrief.Lines.
type LineOf struct {
	Debrief *report.Debrief
	Line    int
}

// Strips draws rides of one line above one another: to one scale, all landings at the same place. Each is as wide as its place is and needs
// [StripStyle].
//
// id begins the ids of their strides; it must be the only one of its kind on the page.
func Strips(rides []LineOf, units report.Units, id string) []Stripped {
	views, strips := make([]*view, len(rides)), make([]*strip, len(rides))
	landing, whole := 0.0, 0.0
	for i, r := range rides {
		unit := "m"
		if units == report.Imperial {
			unit = "ft"
		}
		views[i] = &view{d: r.Debrief, units: units, told: report.Told{Unit: unit}, ridden: r.Debrief.Ridden} // all that a strip needs
		if views[i].ridden == nil {
			views[i].ridden = &report.Ridden{}
		}
		if strips[i] = views[i].stripOf(r.Line); strips[i] != nil {
			landing = max(landing, strips[i].landingM())
		}
	}
	for _, s := range strips {
		if s != nil {
			s.shift = landing - s.landingM()
			whole = max(whole, s.shift+s.wholeM())
		}
	}
	out := make([]Stripped, len(rides))
	for i, s := range strips {
		if s == nil {
			continue
		}
		s.width = whole
		f := s.draw(views[i], fmt.Sprintf("%s-%d", address(id), i+1))
		out[i] = Stripped{f.SVG, f.Words}
	}
	return out
}

// landingM is the landing's part of the strip, 0 where it is not known.
func (s *strip) landingM() float64 {
	if s.parts[0].kind == "landing" {
		return s.parts[0].to
	}
	return 0
}

// address is a text as part of an address within the page: what is neither letter, digit, dash nor dot becomes a low line.
func address(parts ...string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= '0' && r <= '9', r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r == '-', r == '~':
			return r
		}
		return '_'
	}, strings.Join(parts, "-"))
}

// addresses are where the lines of the debrief are found within the page: "3-4" the first time that it was ridden, "3-4~2" the second. Each is
// there once.
func (v *view) addresses() []string {
	out := make([]string, len(v.d.Lines))
	seen := map[string]int{}
	for i, l := range v.d.Lines {
		a := address(l.From, l.To)
		seen[a]++
		out[i] = a
		if seen[a] > 1 {
			out[i] += "~" + strconv.Itoa(seen[a])
		}
	}
	return out
}
