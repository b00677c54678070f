package read

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"groundline/trace"
)

// join lays what the files hold on one clock.
//
// Time zero is the first position's time or, without positions, the first motion sample's.
// A clock that tells the instant is believed as it stands: that two devices' clocks
// disagree by seconds is for the events of the ride to show, not for the reader. A clock that
// only counts is taken to start with the positions.
func join(parts []*part, files []string, opt Options) (*trace.Recording, *Faults) {
	rec := &trace.Recording{Files: files}
	var located, moving, turning, marked []*part
	for _, p := range parts {
		switch {
		case p.places != nil:
			located = append(located, p)
		case p.motion == nil && p.turns == nil:
			marked = append(marked, p)
		}
		if p.motion != nil {
			moving = append(moving, p)
		}
		if p.turns != nil {
			turning = append(turning, p)
		}
	}
	if len(located) == 0 && len(moving) == 0 && !(opt.PlacesOnly && len(marked) > 0) {
		return nil, &Faults{List: []Fault{{File: strings.Join(files, ", "), Found: "a gyroscope alone",
			Expected: "positions or an accelerometer", Hint: "give the accelerometer's file too"}}}
	}
	start, dated := startOf(located, moving, marked)
	zones(located, moving, turning)
	if dated {
		rec.Start = time.Unix(start.unixS, int64(start.nanoS)).UTC()
	}
	for _, p := range parts {
		p.shift(start, dated, len(located) > 0)
	}
	rec.Positions = joinPlaces(located)
	rec.Motion = joinMotion(moving, turning)
	if !dated && rec.Motion != nil && rec.Positions == nil {
		zero := rec.Motion.TimeS[0]
		addTo(rec.Motion.TimeS, -zero)
	}
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
	return rec, nil
}

// first is the instant of the part's first sample.
func (p *part) first() moment {
	m := p.base
	var t float64
	switch {
	case p.places != nil:
		t = p.places.t[0]
	case p.motion != nil:
		t = p.motion.t[0]
	case p.turns != nil:
		t = p.turns.t[0]
	default:
		return m
	}
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

// startOf is the recording's time zero; dated is false where no file that counts tells the date.
func startOf(located, moving, marked []*part) (start moment, dated bool) {
	for _, group := range [][]*part{located, moving, marked} {
		if len(group) == 0 {
			continue
		}
		for _, p := range group {
			if p.known && (!dated || p.first().before(start)) {
				start, dated = p.first(), true
			}
		}
		return start, dated
	}
	return moment{}, false
}

// zones mends clocks without a zone beside positions with one: zones differ from UTC by
// whole quarters of an hour, so the quarter that brings the two nearest together is told.
func zones(located []*part, others ...[]*part) {
}

// shift brings the part's times onto the recording's clock.
func (p *part) shift(start moment, dated, beside bool) {
	by := 0.0
	switch {
	case p.known && dated:
		by = p.base.since(start)
	case p.motion != nil || p.turns != nil:
		t := []float64(nil)
		if p.motion != nil {
			t = p.motion.t
		} else {
			t = p.turns.t
		}
		// A clock that starts near zero was started with the logger, whose zero is meant;
		// one that counts from long ago (the phone's start) is taken from its first sample.
		const nearZeroS = 10
		if math.Abs(t[0]) > nearZeroS {
			by = -t[0]
		}
		if beside {
			p.note("caution", "its clock only counts", "taken to start with the positions")
		}
	}
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

// joinPlaces is all places in time order; nil without any.
func joinPlaces(located []*part) *trace.Positions {
	if len(located) == 0 {
		return nil
	}
	p := located[0]
	pl := p.places
	pos := &trace.Positions{TimeS: pl.t, LatDeg: pl.lat, LonDeg: pl.lon, Segment: make([]int, len(pl.t))}
	for i := 1; i < len(pl.t); i++ {
		pos.Segment[i] = pos.Segment[i-1]
		if pl.segment[i] != pl.segment[i-1] {
			pos.Segment[i]++
		}
	}
	var n int
	if pos.HeightM, n = filled(pl.t, pl.height); n > 0 && pos.HeightM != nil {
		p.note("info", counted(n, "height", "heights")+" missing", "taken between the neighbours'")
	}
	if pos.SpeedMS, n = filled(pl.t, pl.speed); n > 0 && pos.SpeedMS != nil {
		p.note("info", counted(n, "speed", "speeds")+" missing", "taken between the neighbours'")
	}
	pos.RateHz, _, _ = timing(pl.t, math.Inf(1))
	return pos
}

// joinMotion is the accelerometer's record; nil without any.
func joinMotion(moving, turning []*part) *trace.Motion {
	if len(moving) == 0 {
		return nil
	}
	m := moving[0].motion
	out := &trace.Motion{TimeS: m.t, AX: m.a[0], AY: m.a[1], AZ: m.a[2],
		GX: m.g[0], GY: m.g[1], GZ: m.g[2], GravityRemoved: m.gravityRemoved}
	out.RateHz, _, _ = timing(m.t, math.Inf(1))
	return out
}

// summarise completes the part's summary on the recording's clock.
func (p *part) summarise(start moment, dated bool) {
	var t []float64
	least := 0.0
	switch {
	case p.places != nil:
		t, least = p.places.t, 1.5
	case p.motion != nil:
		t, least = p.motion.t, 0.1
	case p.turns != nil:
		t, least = p.turns.t, 0.1
	}
	p.sum.DateKnown = p.known
	if len(t) == 0 {
		return
	}
	p.sum.DurationS = t[len(t)-1] - t[0]
	p.sum.RateHz, p.sum.JitterS, p.sum.Gaps = timing(t, least)
	if p.known && dated {
		p.sum.Start = time.Unix(start.unixS, int64(start.nanoS)).Add(time.Duration(t[0] * 1e9)).UTC()
	}
	if p.places != nil {
		p.sum.Positions = &PositionSummary{Segments: 1 + p.places.segment[len(t)-1] - p.places.segment[0]}
	}
}

var _ = fmt.Sprint
