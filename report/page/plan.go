package page

import (
	"fmt"
	"html"
	"math"
	"sort"
	"strings"

	"groundline/course"
	"groundline/report"
	"groundline/report/draw"
)

// frame is the ground that the plan's drawing shows, metres in the plan's axes.
type frame struct{ lowX, lowY, wide, high float64 }

// share is a place's share of the drawing's width, from the left, and of its height, from the top.
func (f frame) share(x, y float64) (float64, float64) {
	return (x - f.lowX) / f.wide, 1 - (y-f.lowY)/f.high
}

// cm is a place in the drawing's centimetres.
func (f frame) cm(x, y float64) (float64, float64) {
	return 100 * (x - f.lowX), 100 * (f.lowY + f.high - y)
}

const (
	edgeM     = 3.0 // of ground shown beyond all that is drawn
	aroundM   = 8.0 // about an obstacle, where a plan has no arena
	leastM    = 20.0
	slimmest  = 0.35 // height to width or the other way round: a drawing stays touchable
	tickHalfM = 0.9  // of a stride's tick, to either side: it stands out of the track on a phone
	railM     = 0.35 // how thick an obstacle without spread is drawn
)

// newFrame is the arena with all that stands and what was ridden of the sections.
func (v *view) newFrame() frame {
	lowX, lowY, highX, highY := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	take := func(x, y, around float64) {
		lowX, lowY = math.Min(lowX, x-around), math.Min(lowY, y-around)
		highX, highY = math.Max(highX, x+around), math.Max(highY, y+around)
	}
	if p := v.d.Plan; p != nil {
		for _, q := range p.Arena {
			take(q.X, q.Y, 0)
		}
		for _, o := range p.Obstacles {
			around := o.WidthM
			if p.Arena == nil {
				around = aroundM
			}
			take(o.At.X, o.At.Y, around)
		}
	}
	for _, r := range v.runs() {
		for i := r.from; i < r.to; i++ {
			take(v.ridden.XM[i], v.ridden.YM[i], 0)
		}
	}
	if math.IsInf(lowX, 0) {
		lowX, lowY, highX, highY = 0, 0, leastM, leastM
	}
	f := frame{wide: math.Max(highX-lowX, leastM) + 2*edgeM, high: math.Max(highY-lowY, leastM) + 2*edgeM}
	f.wide, f.high = math.Max(f.wide, slimmest*f.high), math.Max(f.high, slimmest*f.wide)
	f.lowX, f.lowY = (lowX+highX-f.wide)/2, (lowY+highY-f.high)/2
	return f
}

// sizes are the rules of style that depend on the ride: the shape of the plan. It never grows taller than
// the screen, nor than a third of a sheet of paper.
func (v *view) sizes() string {
	r := v.frame.wide / v.frame.high
	return fmt.Sprintf("#plan{aspect-ratio:%s;width:min(100%%,calc(86vh*%s))}@media print{#plan{width:min(100%%,calc(54mm*%s))}}\n", num(r), num(r), num(r))
}

// drawPlan draws the ground, what stands on it and what was ridden; nil where there is nothing to draw.
func (v *view) drawPlan() *figure {
	if v.d.Plan == nil && !v.track {
		return nil
	}
	f := &figure{Title: "The ride on the plan", Words: v.planWords()}
	switch {
	case v.d.Plan == nil:
		f.Title = "The ride on the ground"
	case !v.track:
		f.Title = "The plan"
	}
	s := &svg{}
	s.f(`<svg class="draw" width="100%%" height="100%%" role="img" aria-labelledby="plan-title"><title id="plan-title">%s</title>`, html.EscapeString(f.Title))
	s.f(`<svg class="ground" viewBox="0 0 %s %s" width="100%%" height="100%%" preserveAspectRatio="none">`, num(100*v.frame.wide), num(100*v.frame.high))
	v.ground(s)
	if v.track {
		v.trackOn(s)
	}
	s.f(`<path class="pick" id="plan-pick"/></svg>`)
	labels := newLabelRoom(v)
	v.obstacleMarks(s)
	v.jumpMarks(s)
	v.obstacleLabels(s, labels)
	for _, l := range v.placeLineLabels(labels) {
		x, y := v.frame.share(l.at.X, l.at.Y)
		s.text(map[draw.Align]string{draw.Left: "verdict start", draw.Middle: "verdict", draw.Right: "verdict end"}[l.align], x, y, 0, 4, l.words)
	}
	v.bendLabels(s, labels)
	v.placeLabels(s)
	s.f(`<svg id="plan-here" class="here" x="0%%" y="0%%"><circle r="9"/><circle class="dot" r="2.5"/></svg></svg>`)
	f.SVG = s.html()
	f.Keys = v.planKeys()
	return f
}

func (v *view) points(ps []course.Point) string {
	var b strings.Builder
	for i, p := range ps {
		if i > 0 {
			b.WriteByte(' ')
		}
		x, y := v.frame.cm(p.X, p.Y)
		fmt.Fprintf(&b, "%.0f,%.0f", x, y)
	}
	return b.String()
}

// from a place, so far towards a bearing.
func along(p course.Point, deg, d float64) course.Point {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return course.Point{X: p.X + d*sin, Y: p.Y + d*cos}
}

// ground draws arena, lines and obstacles.
func (v *view) ground(s *svg) {
	p := v.d.Plan
	if p == nil {
		return
	}
	if len(p.Arena) > 2 {
		s.f(`<polygon class="arena" points="%s"/>`, v.points(p.Arena))
	}
	for _, l := range []*[2]course.Point{p.Start, p.Finish} {
		if l != nil {
			s.f(`<polyline class="timing" points="%s"/>`, v.points(l[:]))
		}
	}
	for _, o := range p.Obstacles {
		ring := faceOf(o)
		class := "rails"
		if o.Kind == course.Pole {
			class = "pole"
		}
		s.f(`<polygon class="%s" points="%s"/>`, class, v.points(ring))
		if o.Kind == course.Cross {
			s.f(`<polyline class="rails" points="%s"/><polyline class="rails" points="%s"/>`,
				v.points([]course.Point{ring[0], ring[2]}), v.points([]course.Point{ring[1], ring[3]}))
		}
	}
}

// faceOf are the corners of an obstacle on the ground.
func faceOf(o course.Obstacle) []course.Point {
	half, deep := o.WidthM/2, math.Max(o.SpreadM, railM)/2
	corner := func(side, ahead float64) course.Point {
		return along(along(o.At, o.FacingDeg+90, side*half), o.FacingDeg, ahead*deep)
	}
	return []course.Point{corner(-1, -1), corner(1, -1), corner(1, 1), corner(-1, 1)}
}

// trackOn draws the track: thin where it is told no further, else by speed, with a tick for each stride.
func (v *view) trackOn(s *svg) {
	cm := func(ids []int) string {
		xs, ys := make([]float64, len(ids)), make([]float64, len(ids))
		for n, i := range ids {
			xs[n], ys[n] = v.frame.cm(v.ridden.XM[i], v.ridden.YM[i])
		}
		return pathOf(xs, ys)
	}
	runs := v.runs()
	var rest strings.Builder
	for p, from := range v.ridden.Pieces {
		to := len(v.ridden.TimeS)
		if p+1 < len(v.ridden.Pieces) {
			to = v.ridden.Pieces[p+1]
		}
		var ids []int
		flush := func() {
			if len(ids) > 1 {
				rest.WriteString(cm(ids))
			}
			ids = ids[:0]
		}
		step := max(5, 2*v.step())
		for i := from; i < to; i += step {
			if inRuns(runs, i) {
				flush()
				continue
			}
			ids = append(ids, i)
		}
		flush()
	}
	if rest.Len() > 0 {
		s.f(`<path class="rest" d="%s"/>`, rest.String())
	}
	v.bendArcs(s)
	for _, r := range runs {
		v.coloured(v.thinned(r), v.trackClass, func(class int, ids []int) { s.f(`<path class="%s%d" d="%s"/>`, v.trackName(), class, cm(ids)) })
	}
	var ticks strings.Builder
	for _, q := range v.strides {
		if !v.recorded(q.fromS) {
			continue
		}
		x, y := v.at(v.ridden.XM, q.fromS), v.at(v.ridden.YM, q.fromS)
		h := v.heading(q.fromS)
		a, b := along(course.Point{X: x, Y: y}, h-90, tickHalfM), along(course.Point{X: x, Y: y}, h+90, tickHalfM)
		ax, ay := v.frame.cm(a.X, a.Y)
		bx, by := v.frame.cm(b.X, b.Y)
		ticks.WriteString(pathOf([]float64{ax, bx}, []float64{ay, by}))
	}
	if ticks.Len() > 0 {
		s.f(`<path class="tick" d="%s"/>`, ticks.String())
	}
}

// inRuns tells whether a sample is drawn in full.
func inRuns(runs []run, i int) bool {
	k := sort.Search(len(runs), func(k int) bool { return runs[k].to > i })
	return k < len(runs) && i >= runs[k].from
}

// askedClasses are the classes of a stride against the horse's usual one: shorter, usual, longer.
const askedClasses = 3

// trackClass is the class in which a sample of the track is drawn: by the stride against the horse's usual one or, where strides or the usual
// one are not known, by speed.
func (v *view) trackClass(i int) int {
	if !v.asked {
		return v.speeds.class(v.ridden.SpeedMS[i])
	}
	t := v.ridden.TimeS[i]
	k := sort.Search(len(v.strides), func(k int) bool { return v.strides[k].toS > t })
	if k == len(v.strides) || v.strides[k].fromS > t || v.strides[k].lengthM == 0 {
		return 1
	}
	switch off := v.strides[k].lengthM/v.d.Horse.CanterStrideM.Value - 1; {
	case off < -evenShare:
		return 0
	case off > evenShare:
		return 2
	}
	return 1
}

// trackName is the family of classes that the track is drawn in.
func (v *view) trackName() string {
	if v.asked {
		return "a"
	}
	return "k"
}

func (v *view) speedClass(i int) int { return v.speeds.class(v.ridden.SpeedMS[i]) }

// coloured cuts samples into stretches of one class; each begins where the last one ends.
func (v *view) coloured(ids []int, of func(i int) int, do func(class int, ids []int)) {
	from := 0
	for k := 1; k <= len(ids); k++ {
		if k < len(ids)-1 && of(ids[k]) == of(ids[from]) {
			continue
		}
		end := min(k+1, len(ids))
		do(of(ids[from]), ids[from:end])
		from = k
		if end == len(ids) {
			break
		}
	}
}

// heading is the direction of travel at a time, degrees clockwise from +y.
func (v *view) heading(t float64) float64 {
	const halfS = 0.15
	x0, y0 := v.at(v.ridden.XM, t-halfS), v.at(v.ridden.YM, t-halfS)
	x1, y1 := v.at(v.ridden.XM, t+halfS), v.at(v.ridden.YM, t+halfS)
	return math.Atan2(x1-x0, y1-y0) * 180 / math.Pi
}

// shownBends are the turns of the lines that are told. Of a way ridden several times one ride's turn is
// drawn: that of the last, which is the round's where a lesson ends with one.
func (v *view) shownBends() []report.Bend {
	last := map[string]int{}
	for _, l := range v.told.Lines {
		last[l.Name] = l.Index
	}
	var out []report.Bend
	for _, b := range v.ridden.Bends {
		if b.Line >= len(v.d.Lines) {
			continue
		}
		if k, told := last[v.d.Lines[b.Line].From+" to "+v.d.Lines[b.Line].To]; told && k == b.Line {
			out = append(out, b)
		}
	}
	return out
}

// bendArcs draws each turn's circle as far as the turn follows it, filled to its centre, and its radius to where
// it touches the track.
func (v *view) bendArcs(s *svg) {
	for _, b := range v.shownBends() {
		c := course.Point{X: b.XM, Y: b.YM}
		var xs, ys []float64
		const parts = 24
		for i := 0; i <= parts; i++ {
			p := along(c, b.TouchDeg-b.EitherWayDeg+2*b.EitherWayDeg*float64(i)/parts, b.RadiusM)
			x, y := v.frame.cm(p.X, p.Y)
			xs, ys = append(xs, x), append(ys, y)
		}
		cx, cy := v.frame.cm(b.XM, b.YM)
		touch := along(c, b.TouchDeg, b.RadiusM)
		tx, ty := v.frame.cm(touch.X, touch.Y)
		s.f(`<path class="sector" d="%sZ"/><path class="spoke" d="%s"/>`,
			pathOf(append(xs, cx), append(ys, cy)), pathOf([]float64{cx, tx}, []float64{cy, ty}))
	}
}

// unridden are the obstacles of the plan whose direction no take-off and landing shows.
func (v *view) unridden() []course.Obstacle {
	if v.d.Plan == nil {
		return nil
	}
	ridden := map[string]bool{}
	for _, e := range v.d.Efforts {
		if v.track && e.Obstacle != nil && e.TakeoffS != nil && e.LandingS != nil && v.recorded(e.TakeoffS.Value) {
			ridden[*e.Obstacle] = true
		}
	}
	var out []course.Obstacle
	for _, o := range v.d.Plan.Obstacles {
		if o.Kind != course.Pole && !ridden[o.ID] {
			out = append(out, o)
		}
	}
	return out
}

// obstacleMarks draws which way an obstacle is jumped, where the ride does not show it.
func (v *view) obstacleMarks(s *svg) {
	for _, o := range v.unridden() {
		x, y := v.frame.share(o.At.X, o.At.Y)
		s.symbol(x, y, o.FacingDeg, `<path class="facing" d="M-4 -3L0 -9L4 -3M0 -9V9"/>`)
	}
}

// Marks of pixel size, pointing up.
const (
	takeoffMark = `<path class="takeoff" d="M0 -6L5.5 5L-5.5 5Z"/>`
	landingMark = `<circle class="landing" r="4.5"/>`
	stopMark    = `<path class="stop" d="M-6 -6L6 6M-6 6L6 -6"/>`
)

func (v *view) jumpMarks(s *svg) {
	if !v.track {
		return
	}
	mark := func(t float64, inner string) {
		if !v.marked(t) {
			return
		}
		x, y := v.frame.share(v.at(v.ridden.XM, t), v.at(v.ridden.YM, t))
		s.symbol(x, y, math.Round(v.heading(t)), inner)
	}
	for _, e := range v.d.Efforts {
		if e.TakeoffS == nil {
			continue
		}
		if e.Outcome == "refused" || e.Outcome == "ran out" {
			mark(e.TakeoffS.Value, stopMark)
			continue
		}
		if e.LandingS != nil {
			mark(e.LandingS.Value, landingMark)
		}
		mark(e.TakeoffS.Value, takeoffMark)
	}
}

// labelRoom knows what a label should keep away from.
type labelRoom struct {
	v     *view
	taken []course.Point
}

// newLabelRoom is the room about the start and finish, whose names have their places.
func newLabelRoom(v *view) *labelRoom {
	room := &labelRoom{v: v}
	if p := v.d.Plan; p != nil {
		for _, l := range []*[2]course.Point{p.Start, p.Finish} {
			if l != nil {
				room.taken = append(room.taken, l[0], l[1])
			}
		}
	}
	return room
}

// clear is how far a place is from the track and from other labels, metres, up to most.
func (l *labelRoom) clear(p course.Point, most float64) float64 {
	d := most
	for _, q := range l.taken {
		d = math.Min(d, math.Hypot(p.X-q.X, p.Y-q.Y)/1.5) // labels need more room from each other
	}
	for _, r := range l.v.runs() {
		for i := r.from; i < r.to; i += 2 {
			d = math.Min(d, math.Hypot(p.X-l.v.ridden.XM[i], p.Y-l.v.ridden.YM[i]))
		}
	}
	f := l.v.frame
	return math.Min(d, math.Min(math.Min(p.X-f.lowX, f.lowX+f.wide-p.X), math.Min(p.Y-f.lowY, f.lowY+f.high-p.Y)))
}

// label is a text with its place on the ground; deg is the bearing in which it lies from what it names.
type label struct {
	at    course.Point
	deg   float64
	words string
	of    int // index of what it names
	align draw.Align
}

// labelOffM is how far from the end of its face an obstacle's name is put.
const labelOffM = 1.6

// placeObstacleLabels finds for each obstacle's name that end of its face where there is more room.
func (v *view) placeObstacleLabels(room *labelRoom) []label {
	if v.d.Plan == nil {
		return nil
	}
	var out []label
	for i, o := range v.d.Plan.Obstacles {
		if o.Kind == course.Pole {
			continue
		}
		l := label{words: o.ID, of: i}
		most := math.Inf(-1)
		for _, turn := range []float64{90, -90, 60, -60, 120, -120} {
			at := along(o.At, o.FacingDeg+turn, o.WidthM/2+labelOffM)
			if c := room.clear(at, 4); c > most+0.2 {
				most, l.at, l.deg = c, at, o.FacingDeg+turn
			}
		}
		room.taken = append(room.taken, l.at)
		out = append(out, l)
	}
	for _, o := range v.d.Plan.Obstacles {
		room.taken = append(room.taken, o.At)
	}
	return out
}

// obstacleLabels writes the obstacles' names so many pixels off their faces.
func (v *view) obstacleLabels(s *svg, room *labelRoom) {
	const offPx, besidePx = 10.0, 5.0
	for _, l := range v.placeObstacleLabels(room) {
		o := v.d.Plan.Obstacles[l.of]
		end := along(o.At, l.deg, o.WidthM/2)
		x, y := v.frame.share(end.X, end.Y)
		sin, cos := math.Sincos(l.deg * math.Pi / 180)
		class, d := "id", besidePx
		switch {
		case sin > 0.5:
			class = "id start"
		case sin < -0.5:
			class = "id end"
		default:
			d = offPx
		}
		s.text(class, x, y, d*sin, -d*cos+5, short(o.ID, 12))
	}
}

// short is a name cut to so many characters.
func short(name string, most int) string {
	r := []rune(name)
	if len(r) <= most {
		return name
	}
	return string(r[:most-1]) + "…"
}

// placeBendLabels finds a place for each turn's radius near the middle of its circle.
func (v *view) placeBendLabels(room *labelRoom) []label {
	var out []label
	for i, b := range v.shownBends() {
		c := course.Point{X: b.XM, Y: b.YM}
		l := label{words: v.told.Lines[v.toldIndex(b.Line)].Radius, of: i}
		most := math.Inf(-1)
		// A label is some tenth of a phone's width long: its ends need room too.
		side := 0.05 * v.frame.wide
		for _, d := range []float64{0.15, -0.2, 0.5, 0.8, -0.6} {
			for _, turn := range []float64{0, -35, 35} {
				at := along(c, b.TouchDeg+turn, d*b.RadiusM)
				k := min(room.clear(at, 5), room.clear(course.Point{X: at.X - side, Y: at.Y}, 5), room.clear(course.Point{X: at.X + side, Y: at.Y}, 5))
				if k -= 0.15 * math.Abs(d-0.15) * b.RadiusM; k > most+0.05 {
					most, l.at = k, at
				}
			}
		}
		room.taken = append(room.taken, l.at, course.Point{X: l.at.X - side, Y: l.at.Y}, course.Point{X: l.at.X + side, Y: l.at.Y})
		out = append(out, l)
	}
	return out
}

// bendLabels writes the radii; on a phone without their doubt, which the table has.
func (v *view) bendLabels(s *svg, room *labelRoom) {
	bends := v.shownBends()
	for _, l := range v.placeBendLabels(room) {
		b := bends[l.of]
		x, y := v.frame.share(l.at.X, l.at.Y)
		if math.Hypot(l.at.X-b.XM, l.at.Y-b.YM) > 0.4*b.RadiusM {
			x1, y1 := v.frame.share(b.XM, b.YM)
			s.f(`<line class="spoke" x1="%s%%" y1="%s%%" x2="%s%%" y2="%s%%"/>`, num(100*x1), num(100*y1), num(100*x), num(100*y))
		}
		number, doubt, _ := strings.Cut(l.words, " ")
		s.f(`<text class="radius" x="%s%%" y="%s%%" dy="4">r %s<tspan class="wide"> %s</tspan></text>`, num(100*x), num(100*y), html.EscapeString(number), html.EscapeString(doubt))
	}
}

// placeLineLabels finds places beside the lines whose strides people count for how many there were: "5 str.", or "7 for 6". Where there
// is no room a line has none: its card has it.
func (v *view) placeLineLabels(room *labelRoom) []label {
	var out []label
	if !v.track {
		return nil
	}
	last := map[string]int{}
	for _, l := range v.told.Lines {
		last[l.Name] = l.Index
	}
	for _, t := range v.told.Lines {
		l := v.d.Lines[t.Index]
		if l.PlannedStrides == nil || l.Strides == nil || last[t.Name] != t.Index || t.Index >= len(v.ridden.LineS) || l.Kind == "combination" {
			continue
		}
		span := v.ridden.LineS[t.Index]
		low, high := math.Round(l.Strides.Low), math.Round(l.Strides.High)
		words := fmt.Sprintf("%.0f str.", low)
		switch p := float64(*l.PlannedStrides); {
		case low < high:
			words = fmt.Sprintf("%.0f–%.0f", low, high)
		case low != p:
			words = fmt.Sprintf("%.0f for %.0f", low, p)
		}
		wide := 0.02 * v.frame.wide * float64(len([]rune(words))) // on a phone
		q := label{words: words, of: t.Index}
	places: // the first with room, nearest to the middle of the line first
		for _, off := range []float64{1.5, 2.2} {
			for _, part := range []float64{0.5, 0.4, 0.6, 0.3, 0.7} {
				mid := span[0] + part*(span[1]-span[0])
				p, h := v.place(mid), v.heading(mid)
				for _, turn := range []float64{90, -90} {
					at := along(p, h+turn, off)
					q.align = draw.Middle
					from := at.X - wide/2
					switch sin := math.Sin((h + turn) * math.Pi / 180); {
					case sin > 0.5:
						q.align, from = draw.Left, at.X
					case sin < -0.5:
						q.align, from = draw.Right, at.X-wide
					}
					free := true
					for n := range 5 {
						free = free && room.clear(course.Point{X: from + wide*float64(n)/4, Y: at.Y}, 1.3) >= 1.3
					}
					if free {
						q.at = at
						for n := range 5 {
							room.taken = append(room.taken, course.Point{X: from + wide*float64(n)/4, Y: at.Y})
						}
						break places
					}
				}
			}
		}
		if q.at == (course.Point{}) {
			continue
		}
		out = append(out, q)
	}
	return out
}

// toldIndex is where a line is among those told.
func (v *view) toldIndex(line int) int {
	for i, l := range v.told.Lines {
		if l.Index == line {
			return i
		}
	}
	return 0
}

// placeLabels names gate, home, start and finish.
func (v *view) placeLabels(s *svg) {
	p := v.d.Plan
	if p == nil {
		return
	}
	if p.Gate != nil {
		x, y := v.frame.share(p.Gate.X, p.Gate.Y)
		s.symbol(x, y, 0, `<path class="gate" d="M-4 -4H4V4H-4Z"/>`)
		s.text("place", clamp(x, 0.03), clamp(y, 0.03), 0, 16, "gate")
	}
	for i, l := range []*[2]course.Point{p.Start, p.Finish} {
		if l != nil {
			x, y := v.frame.share(l[1].X, l[1].Y)
			s.text("place", clamp(x, 0.04), clamp(y, 0.03), 0, -4, []string{"start", "finish"}[i])
		}
	}
	if h := p.Home; h != nil {
		x, y := v.frame.share(h.X, h.Y)
		if x >= 0 && x <= 1 && y >= 0 && y <= 1 {
			s.text("place", clamp(x, 0.04), clamp(y, 0.03), 0, 4, "home")
			return
		}
		// Beyond the edge: an arrow at the edge, towards it from the middle.
		cx, cy := v.frame.lowX+v.frame.wide/2, v.frame.lowY+v.frame.high/2
		dx, dy := h.X-cx, h.Y-cy
		k := math.Min((v.frame.wide/2-1)/math.Max(math.Abs(dx), 1e-9), (v.frame.high/2-1)/math.Max(math.Abs(dy), 1e-9))
		x, y = v.frame.share(cx+k*dx, cy+k*dy)
		deg := math.Atan2(dx, dy) * 180 / math.Pi
		s.symbol(x, y, math.Round(deg), `<path class="home" d="M0 -3L5 7L-5 7Z"/>`)
		class, sin := "place", math.Sin(deg*math.Pi/180)
		switch {
		case sin > 0.4:
			class = "place end"
		case sin < -0.4:
			class = "place start"
		}
		s.text(class, x, y, -12*sin, 4+12*math.Cos(deg*math.Pi/180), "home")
	}
}

// clamp keeps a share so far from the edges.
func clamp(x, edge float64) float64 { return min(max(x, edge), 1-edge) }

// planKeys explain the plan's marks, as far as they are there.
func (v *view) planKeys() []key {
	var out []key
	add := func(inner, says string) {
		s := &svg{}
		s.f(`<svg class="mark" width="30" height="20" viewBox="-15 -10 30 20" aria-hidden="true">%s</svg>`, inner)
		out = append(out, key{s.html(), says})
	}
	jumped, stopped := false, false
	for _, e := range v.d.Efforts {
		stopped = stopped || e.Outcome == "refused" || e.Outcome == "ran out"
		jumped = jumped || e.LandingS != nil
	}
	if v.track && jumped {
		add(takeoffMark, "take-off")
		add(landingMark, "landing")
	}
	if v.track && stopped {
		add(stopMark, "refusal or run-out")
	}
	if v.track && len(v.strides) > 0 {
		add(`<path class="bar" d="M-14 0H14"/><path class="tick" d="M-7 -6V6M7 -6V6"/>`, "a tick begins each canter stride")
	}
	if len(v.shownBends()) > 0 {
		add(`<path class="sector" d="M-11 -2A14 14 0 0 1 11 -2L0 8Z"/><path class="spoke" d="M0 8V-7"/>`, "r: tightest radius, "+v.told.Unit+", held over 4 m")
	}
	if v.track && len(v.sections) > 0 {
		first, last := v.ridden.TimeS[0], v.ridden.TimeS[len(v.ridden.TimeS)-1]
		if v.sections[0].fromS > first+1 || v.sections[len(v.sections)-1].toS < last-1 || len(v.sections) > 1 {
			add(`<path class="rest" d="M-14 0H14"/>`, "before, between and after")
		}
	}
	if len(v.unridden()) > 0 {
		add(`<path class="rails" d="M-12 0H12"/><path class="facing" d="M-4 -3L0 -9L4 -3M0 -9V9"/>`, "obstacle, and the way it is jumped")
	}
	return out
}

// trackKeyTitle names what the track's colours and widths stand for.
func (v *view) trackKeyTitle() string {
	if v.asked {
		return "Stride against its usual"
	}
	return "Speed, m/min"
}

// trackKey explains the track's colours and widths.
func (v *view) trackKey() []key {
	if !v.track {
		return nil
	}
	var out []key
	for k, says := range v.speedNames() {
		s := &svg{}
		s.f(`<svg class="mark" width="30" height="20" viewBox="-15 -10 30 20" aria-hidden="true"><path class="%s%d" d="M-14 0H14"/></svg>`, v.trackName(), k)
		out = append(out, key{s.html(), says})
	}
	return out
}

// planWords say what the plan shows.
func (v *view) planWords() string {
	var said []string
	ground := fmt.Sprintf("%.0f by %.0f %s", v.frame.wide*v.perM(), v.frame.high*v.perM(), v.told.Unit)
	if p := v.d.Plan; p != nil {
		n := 0
		for _, o := range p.Obstacles {
			if o.Kind != course.Pole {
				n++
			}
		}
		said = append(said, fmt.Sprintf("%d obstacles on %s of ground, to scale", n, ground))
	} else {
		said = append(said, ground+" of ground, to scale")
	}
	if v.track {
		if v.asked {
			said = append(said, "The track is wide where its strides were longer than its usual one and thin where they were shorter, by more than 5 %; beside the lines stands how many strides there were")
		} else {
			said = append(said, "The track is wider and stands out more where the horse was faster; the figures are in the chart and the tables")
		}
	} else {
		said = append(said, "The recording has no positions, so no track is drawn")
	}
	return strings.Join(said, ". ") + "."
}
