package survey

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundline/course"
)

// build says for every thing which marks make its place, and what an obstacle is built as.
func (s *surveyor) build() {
	s.readTapeObstacles()
	var spreads []string
	for _, t := range s.things {
		switch t.what {
		case obstacle:
			s.buildObstacle(t)
			if !t.sizeGiven && t.spreadM > 0 {
				spreads = append(spreads, fmt.Sprintf("%s (%.1f m)", t.id, t.spreadM))
			}
		case start, finish:
			s.buildLine(t)
		default:
			t.station = mean(t.first)
			for _, i := range t.first {
				s.became(i, strings.TrimSpace(t.label()))
			}
		}
	}
	if len(spreads) > 0 {
		s.note("caution", "it was not given, and distances hang on it", "the spread of %s is a usual one", list(spreads))
		s.check("the spread of %s", list(spreads))
	}
}

func (s *surveyor) became(i int, what string) { s.Marks[s.marks[i].given].Became = what }

// mean is the mean of some marks.
func mean(marks []int) station {
	var out station
	for _, i := range marks {
		out = append(out, weighted{i, 1 / float64(len(marks))})
	}
	return out
}

// readTapeObstacles takes over what the tape file says of obstacles.
func (s *surveyor) readTapeObstacles() {
	for _, o := range s.tape.Obstacles {
		t := s.obstacle[understand(o.ID).id]
		if t == nil {
			s.fault(o.Line, o.Field+".id", o.ID)
			continue
		}
		if o.Kind != "" {
			t.kind, t.kindGiven = o.Kind, true
		}
		if o.HeightM != 0 {
			t.heightM = o.HeightM
		}
		if o.SpreadGiven {
			t.spreadM, t.sizeGiven = o.SpreadM, true
		}
		t.widthM = o.WidthM
	}
}

// fault tells that the tape file names what was not marked.
func (s *surveyor) fault(line int, field, name string) {
	s.faults = append(s.faults, course.Fault{File: s.tape.File, Line: line, Field: field,
		Found: fmt.Sprintf("no mark is called %q", name), Expected: "one of " + strings.Join(s.names(), ", ")})
}

// names are those that a tape may speak of.
func (s *surveyor) names() []string {
	var out []string
	for _, t := range s.things {
		if t.what == level {
			continue
		}
		bare := t.meaning
		bare.side = ""
		out = append(out, bare.label())
		if t.sided && t.what == obstacle {
			out = append(out, t.id+" left", t.id+" right")
		}
	}
	const most = 40
	if len(out) > most {
		out = append(out[:most], "…")
	}
	return out
}

// The spread of obstacles whose spread was not measured, metres: an oxer is about as wide as it is high, and low
// courses have 0.8 to 1.2 m (common practice, from memory).
func usualSpread(k course.Kind) float64 {
	switch k {
	case course.Oxer, course.Ditch:
		return 1.0
	case course.TripleBar:
		return 1.4
	case course.Water:
		return 2.5
	}
	return 0
}

func (s *surveyor) buildObstacle(t *thing) {
	if t.kind == "" {
		t.kind = course.Vertical
	}
	if !t.sizeGiven {
		t.spreadM = usualSpread(t.kind)
	}
	middle := s.face(t)
	// A place marked again counts like the first time.
	for _, i := range t.again {
		s.became(i, "obstacle "+t.id+" again")
	}
	visits := float64(1 + len(t.again))
	for _, w := range middle {
		t.station = append(t.station, weighted{w.mark, w.w / visits})
	}
	for _, i := range t.again {
		t.station = append(t.station, weighted{i, 1 / visits})
	}
	if t.widthM == 0 {
		t.widthM = course.UsualWidthM
		if t.ends != nil {
			// The receiver tells a face's width to a metre or more: only a very unusual one is news.
			if d := apart(s.marks[t.ends[0]], s.marks[t.ends[1]]); d > 2*course.UsualWidthM {
				s.check("the width of obstacle %s, %.1f m by the receiver", t.id, d)
			}
		}
	}
}

// face finds the ends of an obstacle's face, if they were marked, and gives its middle.
func (s *surveyor) face(t *thing) station {
	for _, i := range t.first {
		s.became(i, "obstacle "+t.id)
	}
	if len(t.first) == 1 {
		if side := s.marks[t.first[0]].side; side != "" {
			s.note("caution", "the other end was not marked", "obstacle %s: its %s end is taken for its middle", t.id, side)
			s.check("the middle of obstacle %s, half a face from its %s end", t.id, side)
		}
		return mean(t.first)
	}
	if len(t.first) > 2 {
		s.note("caution", "their mean is taken for its middle", "obstacle %s was marked %d times", t.id, len(t.first))
		return mean(t.first)
	}
	a, b := t.first[0], t.first[1]
	d := apart(s.marks[a], s.marks[b])
	left, right := s.marks[a].side, s.marks[b].side
	switch {
	case left == "right" && right != "right" || right == "left" && left != "left":
		a, b, t.sided = b, a, true
	case left == "left" && right != "left" || right == "right" && left != "right":
		t.sided = true
	case left != "" && left == right:
		s.note("caution", "their mean is taken for its middle", "obstacle %s: its %s end was marked twice", t.id, left)
		s.check("the middle of obstacle %s", t.id)
		return mean(t.first)
	case d < doubleM:
		s.note("info", "two marks so near are one place marked twice", "obstacle %s: the mean of two marks %.1f m apart", t.id, d)
		return mean(t.first)
	case d > max(faceMostM, t.widthM+faceMostM-course.UsualWidthM):
		s.became(b, "left out: too far from the first")
		s.note("warning", "no face is so wide; the first mark is believed", "obstacle %s: two marks %.1f m apart", t.id, d)
		s.check("where obstacle %s stands, and whether the second mark was another's", t.id)
		t.first = t.first[:1]
		return mean(t.first)
	}
	t.ends = &[2]int{a, b}
	if t.sided {
		s.became(a, "left end of obstacle "+t.id)
		s.became(b, "right end of obstacle "+t.id)
	} else {
		s.became(a, "one end of obstacle "+t.id)
		s.became(b, "other end of obstacle "+t.id)
	}
	return mean(t.first)
}

// buildLine is for start and finish.
func (s *surveyor) buildLine(t *thing) {
	for _, i := range t.first {
		s.became(i, strings.TrimSpace(s.marks[i].label()))
	}
	if len(t.first) > 2 {
		for _, i := range t.first[2:] {
			s.became(i, "left out: both ends were marked before")
		}
		s.note("caution", "the first two are believed", "the %s has %d marks", t.label(), len(t.first))
		t.first = t.first[:2]
	}
	t.side = ""
	t.station = mean(t.first)
}

// station of a name that a tape speaks of; the thing where it is an obstacle as a whole.
func (s *surveyor) station(name string) (station, *thing, bool) {
	m := understand(name)
	if m.what == obstacle {
		t := s.obstacle[m.id]
		switch {
		case t == nil:
			return nil, nil, false
		case m.side == "":
			return t.station, t, true
		case t.ends != nil && t.sided && m.side == "left":
			return mean(t.ends[:1]), nil, true
		case t.ends != nil && t.sided:
			return mean(t.ends[1:]), nil, true
		}
		return nil, nil, false
	}
	if m.what == corner && m.id == "" && s.count(corner) == 1 {
		t := s.only(corner)
		return t.station, nil, true
	}
	for _, t := range s.things {
		if t.what != m.what || m.what == nothing || m.what == unnamed || m.what == level || t.what == corner && t.id != m.id {
			continue
		}
		if m.side == "" {
			return t.station, nil, true
		}
		for _, i := range t.first {
			if s.marks[i].side == m.side {
				return mean([]int{i}), nil, true
			}
		}
	}
	return nil, nil, false
}

// tie makes ties of the tape's distances.
func (s *surveyor) tie() {
	for _, d := range s.tape.Distances {
		from, a, okA := s.station(d.From)
		to, b, okB := s.station(d.To)
		if !okA {
			s.fault(d.Line, d.Field+".from", d.From)
		}
		if !okB {
			s.fault(d.Line, d.Field+".to", d.To)
		}
		if !okA || !okB {
			continue
		}
		if slices.Equal(from, to) {
			s.faults = append(s.faults, course.Fault{File: s.tape.File, Line: d.Line, Field: d.Field,
				Found: fmt.Sprintf("%q and %q are one place", d.From, d.To), Expected: "a distance between two"})
			continue
		}
		sd := d.SDM
		if sd == 0 {
			sd = course.TapeSDM(d.M, s.tape.Paced)
		}
		m := d.M
		if a != nil && b != nil {
			m += a.spreadM/2 + b.spreadM/2
		}
		s.net.ties = append(s.net.ties, tie{from: from, to: to, m: m, sdM: sd})
		s.Tapes = append(s.Tapes, Tape{From: d.From, To: d.To, MeasuredM: d.M, SDM: sd})
	}
	for _, l := range s.tape.Levels {
		if _, _, ok := s.station(l.At); !ok {
			s.fault(l.Line, l.Field+".at", l.At)
		}
	}
}

// adjust pulls the places right and says what fits.
func (s *surveyor) adjust(opt Options, timed bool) {
	var times []float64
	for _, m := range s.marks {
		s.net.at = append(s.net.at, m.at)
		times = append(times, m.atS)
	}
	if !timed {
		times = nil
	}
	s.net.cov = receiverCov(len(s.marks), times, opt.ReceiverSDM)
	s.adj = s.net.adjust()
	s.ReceiverScale, s.Redundancy, s.ChiSquared = s.adj.scale, s.adj.redundancy, s.adj.chi2
	if !s.adj.converged {
		s.note("warning", "tapes and marks contradict each other too much", "the adjustment to the tape did not settle")
		s.check("every distance of the tape file")
	}
	if s.adj.unsorted {
		s.note("warning", "the search for misread distances was given up", "more distances contradict each other than can be sorted out")
		s.check("every distance of the tape file")
	}
	if s.adj.scale > 1 {
		s.note("warning", "so many tapes can't be misread: the receiver was bad",
			"the marks are off by some %.1f m instead of %.1f m", s.adj.scale*opt.ReceiverSDM, opt.ReceiverSDM)
	}
	for i := range s.Tapes {
		t, r := &s.Tapes[i], s.adj.ties[i]
		t.ResidualM, t.W, t.Redundancy, t.DetectableM, t.Out = r.residualM, r.w, r.redundancy, r.detectableM, r.out
		if !r.out {
			continue
		}
		for _, k := range r.rivals {
			t.Rivals = append(t.Rivals, fmt.Sprintf("the distance %s to %s", s.Tapes[k].From, s.Tapes[k].To))
		}
		for _, k := range r.rivalMarks {
			t.Rivals = append(t.Rivals, "the mark "+s.markLabel(k))
		}
		s.note("warning", fmt.Sprintf("it is %.1f σ from what the rest says; it is not used", math.Abs(r.w)),
			"the distance %s to %s of %.2f m is %.2f m %s", t.From, t.To, t.MeasuredM, math.Abs(r.residualM), word(r.residualM < 0, "too long", "too short"))
		also := ""
		if len(t.Rivals) > 0 {
			also = ", or " + strings.Join(t.Rivals, ", or ") + ", which may be wrong instead"
		}
		s.check("the distance %s to %s%s", t.From, t.To, also)
	}
	reached := make([]bool, len(s.marks))
	for i, t := range s.net.ties {
		for _, v := range append(slices.Clone(t.from), t.to...) {
			reached[v.mark] = reached[v.mark] || !s.adj.ties[i].out
		}
	}
	for j, r := range s.adj.marks {
		m := &s.Marks[s.marks[j].given]
		if reached[j] {
			d := math.Hypot(r.movedX, r.movedY)
			m.MovedM = &d
		}
		if m.Off = r.out; r.out {
			s.note("warning", "the tapes agree with each other and not with it; it is hardly used",
				"the mark %s lies %.1f m off", s.markLabel(j), math.Hypot(r.movedX, r.movedY))
			s.check("where %s stands", s.markLabel(j))
		}
	}
}

func word(yes bool, a, b string) string {
	if yes {
		return a
	}
	return b
}

func (s *surveyor) markLabel(j int) string { return strings.TrimSpace(s.marks[j].label()) }
