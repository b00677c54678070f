package read

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"groundline/trace"
)

// join lays what the files hold on one clock.
//
// Time zero is the first position's time or, without positions, the first motion sample's.
// A clock that tells the instant is believed as it stands: that two devices' clocks
// disagree by seconds is for the events of the ride to show, not for the reader. Clocks that
// only count are one clock (the files of one logger) and are taken to start with the
// positions.
func join(parts []*part, files []string, opt Options) (*trace.Recording, *Faults) {
	located := having(parts, func(p *part) bool { return p.places != nil })
	moving := having(parts, func(p *part) bool { return p.motion != nil })
	turning := having(parts, func(p *part) bool { return p.turns != nil })
	if len(located)+len(moving) == 0 {
		if len(turning) > 0 {
			return nil, refuse(Fault{File: turning[0].sum.File, Found: "a gyroscope alone",
				Expected: "positions or an accelerometer", Hint: "give the accelerometer's file too"}, problems{})
		}
		if !opt.PlacesOnly {
			return nil, refuse(Fault{File: strings.Join(files, ", "), Found: "neither positions nor motion", Expected: "a ride"}, problems{})
		}
	}
	zones(parts)
	rec := &trace.Recording{Files: files}
	start, dated := startOf(located, moving, parts)
	if dated {
		rec.Start = start.time()
	}
	layOnClock(parts, located, moving, start, dated)
	rec.Positions = joinPlaces(located)
	rec.Motion = joinMotion(moving, turning)
	for _, p := range parts {
		rec.Marks = append(rec.Marks, p.marks...)
		rec.Notes = append(rec.Notes, p.notes...)
		p.summarise(start, dated)
	}
	slices.SortStableFunc(rec.Marks, func(a, b trace.Mark) int {
		switch {
		case a.AtS < b.AtS:
			return -1
		case a.AtS > b.AtS:
			return 1
		}
		return 0
	})
	if pos := rec.Positions; pos != nil {
		rec.DurationS = pos.TimeS[len(pos.TimeS)-1]
	}
	if mot := rec.Motion; mot != nil {
		rec.DurationS = math.Max(rec.DurationS, mot.TimeS[len(mot.TimeS)-1])
	}
	apart(rec)
	return rec, nil
}

func having(parts []*part, want func(*part) bool) []*part {
	var out []*part
	for _, p := range parts {
		if want(p) {
			out = append(out, p)
		}
	}
	return out
}

// times are the part's sample times; nil for one with marks only.
func (p *part) times() []float64 {
	switch {
	case p.places != nil && p.motion != nil && p.places.t[0] > p.motion.t[0]:
		return p.motion.t
	case p.places != nil:
		return p.places.t
	case p.motion != nil:
		return p.motion.t
	case p.turns != nil:
		return p.turns.t
	}
	return nil
}

// at is the instant t seconds after m.
func (m moment) at(t float64) moment {
	whole := math.Floor(t)
	m.unixS += int64(whole)
	m.nanoS += int32(math.Round((t - whole) * 1e9))
	if m.nanoS >= 1_000_000_000 {
		m.nanoS -= 1_000_000_000
		m.unixS++
	}
	return m
}

func (m moment) before(o moment) bool {
	return m.unixS < o.unixS || m.unixS == o.unixS && m.nanoS < o.nanoS
}

func (m moment) time() time.Time { return time.Unix(m.unixS, int64(m.nanoS)).UTC() }

// startOf is the recording's time zero: of the places, else of the motion, else of the marks,
// whichever tell the date first. dated is false where none does.
func startOf(located, moving, parts []*part) (start moment, dated bool) {
	earliest := func(group []*part, first func(*part) float64) {
		for _, p := range group {
			if m := p.base.at(first(p)); p.known && (!dated || m.before(start)) {
				start, dated = m, true
			}
		}
	}
	earliest(located, func(p *part) float64 { return p.places.t[0] })
	if !dated {
		earliest(moving, func(p *part) float64 { return p.motion.t[0] })
	}
	if !dated && len(located)+len(moving) == 0 {
		earliest(parts, func(*part) float64 { return 0 })
	}
	return start, dated
}

// zones mends clocks without a zone beside one with a zone. Zones differ from UTC by
// whole quarters of an hour, so the shift that lays the two over each other can be told;
// whole hours come first, because few zones are others.
func zones(parts []*part) {
	var sure *part
	for _, p := range parts {
		if p.known && p.sum.ZoneKnown && len(p.times()) > 0 && (sure == nil || p.places != nil && sure.places == nil) {
			sure = p
		}
	}
	if sure == nil {
		return
	}
	t := sure.times()
	from, to := t[0], t[len(t)-1]
	for _, p := range parts {
		own := p.times()
		if !p.known || p.sum.ZoneKnown || len(own) == 0 {
			continue
		}
		apart := p.base.since(sure.base)
		best, bestOverlap := 0, overlap(from, to, own[0]+apart, own[len(own)-1]+apart)
		for _, step := range []int{4, 1} { // in quarters of an hour
			for k := -14 * 4; k <= 14*4; k += step {
				by := apart - float64(k)*900
				if o := overlap(from, to, own[0]+by, own[len(own)-1]+by); o > bestOverlap*1.1+1 {
					best, bestOverlap = k, o
				}
			}
		}
		if best != 0 {
			p.base.unixS -= int64(best) * 900
			p.note("caution", fmt.Sprintf("its local time is taken as UTC%+.4g h", float64(best)/4),
				"so it lies over "+filepath.Base(sure.sum.File))
		}
	}
}

// overlap is how long the spans [a, b] and [c, d] run together, seconds.
func overlap(a, b, c, d float64) float64 { return math.Max(0, math.Min(b, d)-math.Max(a, c)) }

// layOnClock brings every part onto the recording's clock.
func layOnClock(parts, located, moving []*part, start moment, dated bool) {
	// A clock that starts near zero was started with the logger, whose zero is meant; one
	// that counts from long ago (the phone's start) is taken from its first sample.
	const nearZeroS = 10
	lead := located
	if len(having(located, func(p *part) bool { return !p.known })) == 0 {
		lead = moving
	}
	counting, first := 0.0, math.Inf(1)
	for _, p := range having(lead, func(p *part) bool { return !p.known }) {
		t := p.places
		if t != nil {
			first = math.Min(first, t.t[0])
		} else {
			first = math.Min(first, p.motion.t[0])
		}
	}
	if math.IsInf(first, 1) { // gyroscopes only
		first = nearZeroS
	}
	if !dated || math.Abs(first) >= nearZeroS {
		counting = -first
	}
	for _, p := range parts {
		by := counting
		if p.known {
			by = 0
			if dated {
				by = p.base.since(start)
			}
		} else if dated && (p.motion != nil || p.places != nil) {
			with := "the other motion"
			switch {
			case p.places != nil:
				with = "the motion"
			case len(located) > 0:
				with = "the positions"
			}
			p.note("caution", "its clock tells no date", "taken to start with "+with)
		}
		p.shift(by)
	}
}

// shift adds to all times of the part, once each: places and motion of one table have
// slices of their own.
func (p *part) shift(by float64) {
	if p.places != nil {
		addTo(p.places.t, by)
	}
	if p.motion != nil {
		addTo(p.motion.t, by)
	}
	if p.turns != nil {
		addTo(p.turns.t, by)
	}
	for i := range p.marks {
		p.marks[i].AtS += by
	}
}

func addTo(v []float64, by float64) {
	if by == 0 {
		return
	}
	for i := range v {
		v[i] += by
	}
}

// inOrder sorts parts by their first time and leaves out those that run beside a better
// one: a second device over the same time. better tells which of two to keep.
func inOrder(parts []*part, times func(*part) []float64, better func(a, b *part) bool, what string) []*part {
	ranked := slices.Clone(parts)
	slices.SortStableFunc(ranked, func(a, b *part) int {
		switch {
		case better(a, b):
			return -1
		case better(b, a):
			return 1
		}
		return 0
	})
	var kept []*part
	for _, p := range ranked {
		t := times(p)
		from, to := t[0], t[len(t)-1]
		beside := ""
		for _, k := range kept {
			u := times(k)
			// A tenth of the shorter one may overlap: a file cut in two repeats its edge.
			if o := overlap(from, to, u[0], u[len(u)-1]); o > 0.1*math.Min(to-from, u[len(u)-1]-u[0]) {
				beside = filepath.Base(k.sum.File)
			}
		}
		if beside != "" {
			p.note("caution", what+" not used", "it runs beside that of "+beside)
			continue
		}
		kept = append(kept, p)
	}
	slices.SortStableFunc(kept, func(a, b *part) int {
		switch x, y := times(a)[0], times(b)[0]; {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	return kept
}

// after is the index of the first time later than last.
func after(t []float64, last float64) int {
	i, found := slices.BinarySearch(t, last)
	if found {
		i++
	}
	return i
}

// joinPlaces is all places in time order; nil without any.
func joinPlaces(located []*part) *trace.Positions {
	if len(located) == 0 {
		return nil
	}
	times := func(p *part) []float64 { return p.places.t }
	kept := inOrder(located, times, func(a, b *part) bool { return len(a.places.t) > len(b.places.t) }, "its positions are")
	pos := &trace.Positions{}
	segment := -1
	for _, p := range kept {
		pl := p.places
		from := 0
		if n := len(pos.TimeS); n > 0 {
			from = after(pl.t, pos.TimeS[n-1])
		}
		for i := from; i < len(pl.t); i++ {
			if i == from || pl.segment[i] != pl.segment[i-1] {
				segment++
			}
			pos.Segment = append(pos.Segment, segment)
		}
		pos.TimeS = append(pos.TimeS, pl.t[from:]...)
		pos.LatDeg = append(pos.LatDeg, pl.lat[from:]...)
		pos.LonDeg = append(pos.LonDeg, pl.lon[from:]...)
		pos.HeightM = append(pos.HeightM, pl.height[from:]...)
		pos.SpeedMS = append(pos.SpeedMS, pl.speed[from:]...)
	}
	fill := func(v []float64, one, many string) []float64 {
		whole, n := filled(pos.TimeS, v)
		switch {
		case n > 0 && whole != nil:
			kept[0].note("info", counted(n, one, many)+" missing", "taken from the neighbours")
		case n > 0 && n < len(v):
			kept[0].note("info", many+" not used", fmt.Sprintf("missing at %d of %d points", n, len(v)))
		}
		return whole
	}
	pos.HeightM = fill(pos.HeightM, "height", "heights")
	pos.SpeedMS = fill(pos.SpeedMS, "speed", "speeds")
	pos.RateHz, _, _ = timing(pos.TimeS, math.Inf(1))
	return pos
}

// joinMotion is all motion in time order; nil without any.
func joinMotion(moving, turning []*part) *trace.Motion {
	if len(moving) == 0 {
		for _, p := range turning {
			p.note("caution", "gyroscope not used", "there is no accelerometer")
		}
		return nil
	}
	times := func(p *part) []float64 { return p.motion.t }
	kept := inOrder(moving, times, func(a, b *part) bool {
		if a.motion.gravityRemoved != b.motion.gravityRemoved {
			return b.motion.gravityRemoved
		}
		if (a.motion.g[0] != nil) != (b.motion.g[0] != nil) {
			return a.motion.g[0] != nil
		}
		return len(a.motion.t) > len(b.motion.t)
	}, "its motion is")
	for i := len(kept) - 1; i > 0; i-- {
		if kept[i].motion.gravityRemoved != kept[0].motion.gravityRemoved {
			kept[i].note("caution", "its motion is not used", "one file holds gravity and the other does not")
			kept = slices.Delete(kept, i, i+1)
		}
	}
	for _, p := range kept {
		for _, q := range turning {
			if p.motion.g[0] == nil && !q.turns.used {
				p.takeTurns(q)
			}
		}
	}
	m := kept[0].motion
	for _, p := range kept[1:] {
		m.add(p.motion)
	}
	limit := 0.0
	for _, p := range kept {
		if c := p.sum.Motion.ClippedMS2; c > 0 && (limit == 0 || c < limit) {
			limit = c
		}
	}
	if m.g[0] == nil && len(having(kept, func(p *part) bool { return p.motion.g[0] != nil })) > 0 {
		kept[0].note("caution", "gyroscope not used", "not all files have one")
	}
	out := &trace.Motion{TimeS: m.t, AX: m.a[0], AY: m.a[1], AZ: m.a[2],
		GX: m.g[0], GY: m.g[1], GZ: m.g[2], GravityRemoved: m.gravityRemoved, ClippedMS2: limit}
	out.RateHz, _, _ = timing(m.t, math.Inf(1))
	return out
}

// add appends what o has after m's end.
func (m *motion) add(o *motion) {
	from := after(o.t, m.t[len(m.t)-1])
	m.t = append(m.t, o.t[from:]...)
	for k := range 3 {
		m.a[k] = append(m.a[k], o.a[k][from:]...)
		if m.g[k] != nil && o.g[k] != nil {
			m.g[k] = append(m.g[k], o.g[k][from:]...)
		} else {
			m.g[k] = nil
		}
	}
}

// takeTurns lays a gyroscope of its own file on the accelerometer's times, by straight
// lines between its samples. Acceleration samples outside it, or in a hole of it, are left
// out if they are few; else the gyroscope is.
func (p *part) takeTurns(q *part) {
	m, turns := p.motion, q.turns
	hole := 3 * medianStep(turns.t)
	var drop []int
	var g [3][]float64
	for k := range 3 {
		g[k] = make([]float64, len(m.t))
	}
	j := 0
	last := len(turns.t) - 1
	for i, t := range m.t {
		for j < last && turns.t[j+1] <= t {
			j++
		}
		next := min(j+1, last)
		near := math.Min(math.Abs(t-turns.t[j]), math.Abs(turns.t[next]-t))
		inside := t >= turns.t[j] && t <= turns.t[next] && turns.t[next]-turns.t[j] <= hole
		if !inside && near > hole/2 {
			drop = append(drop, i)
			continue
		}
		share := 0.0
		if inside && next > j {
			share = (t - turns.t[j]) / (turns.t[next] - turns.t[j])
		} else if math.Abs(turns.t[next]-t) < math.Abs(t-turns.t[j]) {
			share = 1
		}
		for k := range 3 {
			g[k][i] = turns.g[k][j] + share*(turns.g[k][next]-turns.g[k][j])
		}
	}
	const mostLost = 0.05
	if float64(len(drop)) > mostLost*float64(len(m.t)) || len(m.t)-len(drop) < 2 {
		q.note("caution", "gyroscope not used", fmt.Sprintf("it covers %d of %d samples of %s", len(m.t)-len(drop), len(m.t), filepath.Base(p.sum.File)))
		return
	}
	if len(drop) > 0 {
		p.note("info", counted(len(drop), "sample", "samples")+" left out", "the gyroscope "+filepath.Base(q.sum.File)+" has none there")
	}
	m.t = without(m.t, drop)
	for k := range 3 {
		m.a[k] = without(m.a[k], drop)
		m.g[k] = without(g[k], drop)
	}
	p.sum.Rows = len(m.t)
	if p.sum.Motion != nil {
		p.sum.Motion.HasTurnRate = true
	}
	turns.used = true
}

// apart warns where positions and motion hardly run together.
func apart(rec *trace.Recording) {
	pos, mot := rec.Positions, rec.Motion
	if pos == nil || mot == nil {
		return
	}
	a, b := pos.TimeS[0], pos.TimeS[len(pos.TimeS)-1]
	c, d := mot.TimeS[0], mot.TimeS[len(mot.TimeS)-1]
	if o := overlap(a, b, c, d); o < 0.5*math.Min(b-a, d-c) {
		rec.Notes = append(rec.Notes, trace.Note{Level: "warning",
			What: fmt.Sprintf("positions and motion share only %.0f s and may not belong to the same ride", o),
			Why:  fmt.Sprintf("positions run from %.0f to %.0f s, motion from %.0f to %.0f s", a, b, c, d)})
	}
}

// summarise completes the part's summary on the recording's clock.
func (p *part) summarise(start moment, dated bool) {
	t := p.times()
	p.sum.DateKnown = p.known
	if len(t) == 0 {
		return
	}
	least := 0.1 // seconds: a hole in motion that a stride would feel
	if p.motion == nil && p.places != nil {
		least = 1.5 // more than a watch's second
	}
	p.sum.DurationS = t[len(t)-1] - t[0]
	p.sum.RateHz, p.sum.JitterS, p.sum.Gaps = timing(t, least)
	if p.known && dated {
		p.sum.Start = start.at(t[0]).time()
	}
	if pl := p.places; pl != nil {
		s := &PositionSummary{Segments: 1, Outliers: outliers(pl),
			HasHeight: float64(missing(pl.height)) <= mostFilled*float64(len(t)), HasSpeed: float64(missing(pl.speed)) <= mostFilled*float64(len(t))}
		for i := 1; i < len(pl.t); i++ {
			if pl.segment[i] != pl.segment[i-1] {
				s.Segments++
			}
		}
		p.sum.Positions = s
	}
}

// outliers counts fixes that can't be reached from both neighbours: a speed above any horse's.
func outliers(pl *places) int {
	const fastest = 25         // m/s; racehorses reach about 19.7 (70.76 km/h, a published record; from memory)
	const radius = 6_371_008.8 // m, mean radius of the earth (IUGG): a few parts in a thousand do here
	away := func(i, j int) bool {
		north := (pl.lat[j] - pl.lat[i]) * math.Pi / 180
		east := math.Remainder(pl.lon[j]-pl.lon[i], 360) * math.Pi / 180 * math.Cos(pl.lat[i]*math.Pi/180)
		return radius*math.Hypot(north, east) > fastest*(pl.t[j]-pl.t[i])
	}
	n := 0
	for i := 1; i+1 < len(pl.t); i++ {
		if away(i-1, i) && away(i, i+1) && !away(i-1, i+1) {
			n++
		}
	}
	return n
}
