package read

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// handColumns are columns named by hand.
type handColumns struct {
	ref    map[role]string
	unit   map[role]string
	rateHz float64
}

const columnsHelp = `pairs like "t=timestamp,ax=#2,ay=#3,az=#4"`

// CheckColumns tells what is wrong with a text meant for [Options].Columns, before any file is opened.
func CheckColumns(text string) error {
	if _, fault := parseColumns(text); fault != nil {
		return fault
	}
	return nil
}

// parseColumns reads [Options].Columns.
func parseColumns(text string) (*handColumns, *Fault) {
	if strings.TrimSpace(text) == "" {
		return nil, nil
	}
	h := &handColumns{ref: map[role]string{}, unit: map[role]string{}}
	bad := func(found string) (*handColumns, *Fault) {
		return nil, &Fault{File: "--columns", Found: quoteShort(found), Expected: columnsHelp + " with t, ax, ay, az, gx, gy, gz"}
	}
	for pair := range strings.SplitSeq(text, ",") {
		key, value, found := strings.Cut(pair, "=")
		r := role(slices.Index(roleNames[:], strings.ToLower(strings.TrimSpace(key))))
		value = strings.TrimSpace(value)
		if !found || r == unused || value == "" || h.ref[r] != "" {
			return bad(pair)
		}
		if name, rate, at := strings.Cut(value, "@"); at && r == roleT {
			hz, ok := number([]byte(strings.TrimSuffix(strings.ToLower(rate), "hz")))
			if !ok || hz <= 0 || hz > 1e5 {
				return bad(pair)
			}
			h.rateHz, value = hz, name
		}
		if slash := strings.LastIndex(value, "/"); slash > 0 {
			short := map[string]string{"deg": "deg/s", "rad": "rad/s", "m": "m/s2"}
			u := strings.ToLower(value[slash+1:])
			if full := short[u]; full != "" {
				u = full
			}
			if u = units[u]; u != "" {
				h.unit[r], value = u, value[:slash]
			}
		}
		h.ref[r] = value
	}
	_, t := h.ref[roleT]
	_, x := h.ref[roleAX]
	if !t || !x || len(h.ref) < 4 {
		return nil, &Fault{File: "--columns", Found: quoteShort(text), Expected: columnsHelp + ": at least t, ax, ay and az"}
	}
	return h, nil
}

// assign decides which column is what.
func (l *layout) assign(rows [][][]byte, hand *handColumns) *Fault {
	chosen := map[role]int{}
	countRate := 0.0
	by := "header"
	switch {
	case hand != nil:
		by = "hand"
		for r := range roles {
			if hand.ref[r] == "" {
				continue
			}
			at := l.find(hand.ref[r])
			if at < 0 {
				return &Fault{Field: "--columns", Found: "no column " + quoteShort(hand.ref[r]), Expected: "one of " + l.allNames()}
			}
			chosen[r] = at
			if u := hand.unit[r]; u != "" {
				l.headings[at].unit = u
			}
		}
		countRate = hand.rateHz
	case l.headless():
		by = "place"
		if fault := l.byPlace(rows, chosen); fault != nil {
			return fault
		}
	default:
		if fault := l.byHeader(rows, chosen, &countRate); fault != nil {
			return fault
		}
	}
	l.roles = nil
	for r := range roles {
		at, ok := chosen[r]
		if !ok {
			continue
		}
		for len(l.roles) <= at {
			l.roles = append(l.roles, unused)
		}
		l.roles[at] = r
		l.used = append(l.used, r)
	}
	l.optional = roleGX
	_, moves := chosen[roleAX]
	if _, turns := chosen[roleGX]; turns && moves {
		l.optional = roleAX // loggers that write a row per event leave the other sensor's columns empty
	}
	_, located := chosen[roleLat]
	located = located && !moves
	if fault := l.findClock(rows, chosen[roleT], countRate, located); fault != nil {
		return fault
	}
	l.describe(chosen, by)
	return nil
}

func (l *layout) headless() bool {
	for _, h := range l.headings {
		if h.raw != "" {
			return false
		}
	}
	return true
}

// find is the column of a name or of a number from 1 (#2).
func (l *layout) find(ref string) int {
	if n, err := strconv.Atoi(strings.TrimPrefix(ref, "#")); err == nil && strings.HasPrefix(ref, "#") {
		if n >= 1 && n <= len(l.names) {
			return n - 1
		}
		return -1
	}
	for i, n := range l.names {
		if strings.EqualFold(n, ref) {
			return i
		}
	}
	return -1
}

func (l *layout) allNames() string {
	shown := l.names
	if len(shown) > 20 {
		shown = shown[:20]
	}
	return strings.Join(shown, ", ")
}

// byPlace takes a table without header: time, three axes of acceleration, and three of turn
// rate where three further columns hold fractions (counters do not).
func (l *layout) byPlace(rows [][][]byte, chosen map[role]int) *Fault {
	hint := "name the columns: --columns t=#1,ax=#2,ay=#3,az=#4"
	if len(l.names) < 4 || !increasing(l.columnOf(rows, 0)) {
		return &Fault{Found: fmt.Sprintf("%d columns without a header", len(l.names)),
			Expected: "a header, or time first and three axes of acceleration after it", Hint: hint}
	}
	for k := range 4 {
		chosen[role(k)] = k
	}
	if len(l.names) >= 7 {
		fractions := true
		for k := 4; k < 7; k++ {
			any := false
			for _, v := range l.columnOf(rows, k) {
				any = any || v != math.Trunc(v)
			}
			fractions = fractions && any
		}
		if fractions {
			for k := 4; k < 7; k++ {
				chosen[role(k)] = k
			}
		}
	}
	l.notes = append(l.notes, [3]string{"caution", "no header", "columns taken in the order time, x, y, z of acceleration; if not so, " + hint})
	return nil
}

// columnOf is column c of the first rows; NaN where it is no number.
func (l *layout) columnOf(rows [][][]byte, c int) []float64 {
	var out []float64
	for _, row := range rows {
		v := nan
		if c < len(row) {
			if m, ok := scanTime(row[c]); ok {
				v = m.since(moment{})
			} else if x, next, ok := scanNumber(row[c], 0, l.point); ok && next == len(row[c]) {
				v = x
			}
		}
		out = append(out, v)
	}
	return out
}

// increasing tells a clock from its first values: mostly numbers, rising, seldom falling.
func increasing(v []float64) bool {
	numbers, rises, falls := 0, 0, 0
	last := nan
	for _, x := range v {
		if math.IsNaN(x) {
			continue
		}
		numbers++
		if x > last {
			rises++
		} else if x < last {
			falls++
		}
		last = x
	}
	return numbers*2 > len(v) && falls*10 <= numbers && (rises > 0 || numbers == 1)
}

// byHeader takes the columns that the header tells.
func (l *layout) byHeader(rows [][][]byte, chosen map[role]int, countRate *float64) *Fault {
	fault := l.pickMotion(chosen)
	for i, h := range l.headings {
		switch h.what {
		case latitude, longitude, height, speed:
			r := map[quantity]role{latitude: roleLat, longitude: roleLon, height: roleHeight, speed: roleSpeed}[h.what]
			if _, taken := chosen[r]; !taken {
				chosen[r] = i
			}
		}
	}
	_, moves := chosen[roleAX]
	_, turns := chosen[roleGX]
	_, north := chosen[roleLat]
	_, east := chosen[roleLon]
	located := north && east
	switch {
	case fault != nil:
		return fault
	case !moves && !turns && !located:
		return &Fault{Found: "header " + quoteLong(l.allNames()),
			Expected: "columns for a time and for x, y and z of an acceleration, or for latitude and longitude",
			Hint:     "name them by --columns t=…,ax=…,ay=…,az=…"}
	case !located:
		for _, r := range []role{roleLat, roleLon, roleHeight, roleSpeed} {
			delete(chosen, r)
		}
	}
	at, rate := l.pickTime(rows, located && !moves && !turns)
	if at < 0 {
		return l.noClock(rows)
	}
	chosen[roleT] = at
	*countRate = rate
	return nil
}

// noClock says why no column serves as the clock.
func (l *layout) noClock(rows [][][]byte) *Fault {
	for i, h := range l.headings {
		if h.what != timeOf || i >= len(rows[0]) {
			continue
		}
		f := &Fault{Field: l.names[i], Found: quoteShort(string(rows[0][i])), Expected: "seconds, ms, µs or ns, or a date and time like 2026-06-03T09:12:00.250Z"}
		if !math.IsNaN(someNumber(l.columnOf(rows, i))) {
			f.Found, f.Expected, f.Hint = "times run backwards or stand still", "times that increase", "export the file anew, or name another column by --columns t=…"
		}
		return f
	}
	return &Fault{Field: "time", Found: "no column with times among " + quoteLong(l.allNames()), Expected: "a column of times that increase",
		Hint: "name it by --columns t=…; for evenly counted samples t=COLUMN@RATE"}
}

func quoteLong(s string) string {
	const longest = 160
	if len(s) > longest {
		s = s[:longest] + "…"
	}
	return strconv.Quote(s)
}

// pickMotion takes the sensor's axes: of several accelerometers the one with gravity in it
// before one without, then the first.
func (l *layout) pickMotion(chosen map[role]int) *Fault {
	type set struct {
		what   quantity
		linear bool
		group  string
		at     [3]int
		twice  string
	}
	var sets []*set
	for i, h := range l.headings {
		if h.axis < 0 || h.what != acceleration && h.what != turnRate && h.what != axisAlone {
			continue
		}
		var mine *set
		for _, s := range sets {
			if s.what == h.what && s.linear == h.linear && s.group == h.group {
				mine = s
			}
		}
		if mine == nil {
			mine = &set{what: h.what, linear: h.linear, group: h.group, at: [3]int{-1, -1, -1}}
			sets = append(sets, mine)
		}
		if mine.at[h.axis] >= 0 && mine.twice == "" {
			mine.twice = l.names[i]
		}
		if mine.at[h.axis] < 0 {
			mine.at[h.axis] = i
		}
	}
	pick := func(want func(*set) bool) *set {
		for _, s := range sets {
			if want(s) && s.at[0] >= 0 && s.at[1] >= 0 && s.at[2] >= 0 {
				return s
			}
		}
		return nil
	}
	acc := pick(func(s *set) bool { return s.what == acceleration && !s.linear })
	if acc == nil {
		acc = pick(func(s *set) bool { return s.what == acceleration })
	}
	turn := pick(func(s *set) bool { return s.what == turnRate })
	if acc == nil && turn == nil {
		if acc = pick(func(s *set) bool { return s.what == axisAlone }); acc != nil {
			l.bare = true
		}
	}
	for _, s := range []*set{acc, turn} {
		if s != nil && s.twice != "" {
			return &Fault{Field: s.twice, Found: "two columns of this name", Expected: "one sensor's axes",
				Hint: "choose by number: --columns t=#1,ax=#2,ay=#3,az=#4"}
		}
	}
	if acc != nil {
		l.linear = acc.linear
		for k := range 3 {
			chosen[roleAX+role(k)] = acc.at[k]
		}
	}
	if turn != nil {
		for k := range 3 {
			chosen[roleGX+role(k)] = turn.at[k]
		}
	}
	return nil
}

// assumedRateHz is the rate taken where a file only counts its samples: what most loggers
// of body motion are set to (common practice). It is told with a warning.
const assumedRateHz = 100

// pickTime takes the column of times: one that tells the instant before one that only
// counts, unless it is too coarse to tell the samples apart.
func (l *layout) pickTime(rows [][][]byte, located bool) (at int, countRate float64) {
	at, coarseAt := -1, -1
	var plain []int
	for i, h := range l.headings {
		if h.what != timeOf {
			continue
		}
		v := l.columnOf(rows, i)
		if !increasing(v) {
			continue
		}
		absolute, repeats := l.instants(rows, i, v, located)
		switch {
		case absolute && !repeats && at < 0:
			at = i
		case absolute && coarseAt < 0:
			coarseAt = i
		case !absolute:
			plain = append(plain, i)
		}
	}
	switch {
	case at >= 0:
		return at, 0
	case coarseAt >= 0 && len(plain) > 0:
		l.anchor(rows, coarseAt, plain[0])
		return plain[0], 0
	case coarseAt >= 0:
		return coarseAt, 0
	case len(plain) > 0:
		return plain[0], 0
	}
	for i, h := range l.headings {
		if h.what == countOf && increasing(l.columnOf(rows, i)) {
			l.assumedRateHz = assumedRateHz
			return i, assumedRateHz
		}
	}
	return -1, 0
}

// instants tells whether a column of times tells the date, and whether many rows share a time.
func (l *layout) instants(rows [][][]byte, c int, v []float64, located bool) (absolute, repeats bool) {
	same, n := 0, 0
	for i := 1; i < len(v); i++ {
		n++
		if v[i] == v[i-1] {
			same++
		}
	}
	if m, ok := writtenTime(rows, c); ok {
		return m.dayful, same*5 > n
	}
	unit := l.clockUnit(v, l.headings[c].unit, located)
	return epochS(someNumber(v) * unit), same*5 > n
}

// writtenTime is the first time in column c that is written as one.
func writtenTime(rows [][][]byte, c int) (moment, bool) {
	for _, row := range rows {
		if c < len(row) {
			if m, ok := scanTime(row[c]); ok {
				return m, true
			}
		}
	}
	return moment{}, false
}

// someNumber is a number from the middle: the first ones may come from before the clock was set.
func someNumber(v []float64) float64 {
	for i := range v {
		if x := v[(len(v)/2+i)%len(v)]; !math.IsNaN(x) {
			return x
		}
	}
	return nan
}

// anchor ties a clock that counts to the instant that a coarser column tells in the same row.
func (l *layout) anchor(rows [][][]byte, coarse, fine int) {
	unit := l.clockUnit(l.columnOf(rows, coarse), l.headings[coarse].unit, false)
	for i := range rows {
		count := l.columnOf(rows[i:i+1], fine)[0]
		at, ok := writtenTime(rows[i:i+1], coarse)
		if v := l.columnOf(rows[i:i+1], coarse)[0] * unit; !ok && epochS(v) {
			at, ok = momentOf(v), true
		}
		if ok && !math.IsNaN(count) {
			l.base, l.baseKnown, l.baseCount = at, true, count
			return
		}
	}
}

func momentOf(unixS float64) moment {
	whole := math.Floor(unixS)
	micro := math.Round((unixS - whole) * 1e6) // a float64 of 1.8e9 s is good to 0.24 µs
	if micro == 1e6 {
		whole, micro = whole+1, 0
	}
	return moment{unixS: int64(whole), nanoS: int32(micro) * 1000, zoned: true, dayful: true}
}

// clockUnit is the seconds per count of a clock: as the header says, else the unit by
// which the instants or the rate make sense. Sensors run at 4 to 2,000 Hz and
// receivers at 0.02 to 100 Hz, so that no two units fit a motion file.
func (l *layout) clockUnit(v []float64, told string, located bool) float64 {
	for _, u := range clockUnits {
		if u.name == told {
			return u.s
		}
	}
	numbers, first, last := 0, nan, nan
	for _, x := range v {
		if !math.IsNaN(x) {
			if numbers++; numbers == 1 {
				first = x
			}
			last = x
		}
	}
	step := medianStep(v)
	if mean := (last - first) / float64(max(1, numbers-1)); mean > 0 && mean < step/3 {
		step = mean // stamps shared by several samples
	}
	slowest, fastest := 4.0, 2000.0
	if located {
		slowest, fastest = 0.02, 100
	}
	for pass := range 2 {
		for _, u := range clockUnits {
			rate := 1 / (step * u.s)
			if rate >= slowest && rate <= fastest && (pass == 1 || epochS(someNumber(v)*u.s)) {
				return u.s
			}
		}
	}
	return 0
}

// findClock settles what the column of times counts.
func (l *layout) findClock(rows [][][]byte, c int, countRate float64, located bool) *Fault {
	v := l.columnOf(rows, c)
	if m, ok := writtenTime(rows, c); ok {
		l.timeText, l.clockAlone = true, !m.dayful
		l.base, l.baseKnown = m, m.dayful
		return nil
	}
	if countRate > 0 {
		l.timeUnit = 1 / countRate
		return nil
	}
	l.timeUnit = l.clockUnit(v, l.headings[c].unit, located)
	if l.timeUnit == 0 {
		return &Fault{Field: l.names[c], Found: fmt.Sprintf("times with steps of %.6g", medianStep(v)),
			Expected: "times in s, ms, µs or ns of a sensor at 4 to 2000 Hz", Hint: "give the unit: --columns t=" + l.names[c] + "/ms,…"}
	}
	if math.IsNaN(someNumber(v)) {
		return &Fault{Field: l.names[c], Found: "no times", Expected: "a column of times that increase", Hint: "name it by --columns t=…"}
	}
	if l.baseKnown { // anchored by another column
		return nil
	}
	l.baseCount = someNumber(v)
	if at := l.baseCount * l.timeUnit; epochS(at) {
		l.base, l.baseKnown = momentOf(at), true
	}
	return nil
}

// describe keeps how the columns were understood.
func (l *layout) describe(chosen map[role]int, by string) {
	taken := map[int]bool{}
	for r := range roles {
		at, ok := chosen[r]
		if !ok {
			continue
		}
		taken[at] = true
		unit, how := l.headings[at].unit, by
		switch {
		case r == roleT && l.timeText:
			unit = "date and time"
		case r == roleT && l.assumedRateHz > 0:
			unit, how = fmt.Sprintf("samples at %g Hz", l.assumedRateHz), "assumed"
		case r == roleT && unit == "":
			for _, u := range clockUnits {
				if u.s == l.timeUnit {
					unit, how = u.name, by+", unit by size"
				}
			}
		case r >= roleAX && r <= roleAZ:
			l.accUnit = unit
		case r >= roleGX && r <= roleGZ:
			l.turnUnit = unit
		case r == roleSpeed:
			l.speedUnit = unit
		}
		l.columns = append(l.columns, Column{Header: l.names[at], As: roleNames[r], Unit: unit, By: how})
	}
	for i, n := range l.names {
		if !taken[i] {
			l.ignored = append(l.ignored, n)
		}
	}
}
