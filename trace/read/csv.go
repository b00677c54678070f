package read

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// csv reads a table of motion or of places in any of the dialects that [layout] tells apart.
func (t *task) csv(name string, c *content) (*part, *Faults) {
	lay, fault := understand(name, c.head, t.hand)
	if fault != nil {
		return nil, refuse(*fault, problems{})
	}
	tab := &table{lay: lay, limit: t.rowsLeft(), tooMany: t.tooManyRows(), meter: c.meter, total: c.size}
	fault = tab.read(c.r, t.opt.Limits.LineBytes)
	t.spent.rows += tab.n
	if fault != nil {
		fault.File = name
		return nil, refuse(*fault, tab.problems)
	}
	p := &part{sum: Summary{File: name, Format: "CSV", Device: lay.device, Columns: lay.columns, Ignored: lay.ignored, Unreadable: tab.problems.count}}
	if tab.n == 0 || float64(tab.problems.count) > mostUnreadable*float64(tab.n+tab.problems.count) {
		return nil, refuse(Fault{File: name, Found: fmt.Sprintf("%d of %d rows can't be read", tab.problems.count, tab.n+tab.problems.count),
			Expected: "numbers in " + lay.usedNames(), Hint: "name the columns by --columns, or export the file anew"}, tab.problems)
	}
	return t.tableToPart(p, tab)
}

// tableBrings is what the columns of a table hold.
func tableBrings(t *task, name string, head []byte) (Brings, string) {
	lay, fault := understand(name, head, t.hand)
	if fault != nil {
		return Brings{}, fault.Found
	}
	return Brings{slices.Contains(lay.used, roleLat), slices.Contains(lay.used, roleAX), slices.Contains(lay.used, roleGX)}, ""
}

// mostUnreadable is the share of rows that may be broken before the file is not what it seems.
const mostUnreadable = 0.5

// table is what is read of a CSV file: one flat slice a column.
type table struct {
	lay      *layout
	col      [roles][]float64
	n        int
	limit    int
	tooMany  string // found where there are more
	meter    *meter
	taken    int64 // bytes of text in the rows taken in
	total    int64 // bytes of text in all; 0 where not known for sure
	problems problems
	plain    []plainColumn // scratch of plainRows
	holes    bool          // a value of some row is absent
	empty    int           // rows without any value of the sensor
	unzoned  bool
	cut      string // why the file ended before its end
}

// read takes all rows in, in bounded memory: a block of text at a time.
func (tab *table) read(r io.Reader, longest int) *Fault {
	lay := tab.lay
	buf := make([]byte, 1<<20)
	have, line := 0, 0
	overlong := false
	for end := false; !end; {
		for have < len(buf) && !end {
			n, err := r.Read(buf[have:])
			have += n
			if err != nil {
				end = true
				if err != io.EOF {
					tab.cut = err.Error()
				}
			}
		}
		at := 0
		for at < have {
			if line >= lay.skip && !overlong {
				taken, lines := tab.inParts(buf[at:have], line)
				if taken == 0 {
					taken, lines = tab.plainRows(buf[at:have])
				}
				tab.taken += int64(taken)
				line += lines
				if at += taken; at == have {
					break
				}
			}
			stop := bytes.IndexByte(buf[at:have], lay.newline)
			if stop < 0 {
				if !end || tab.cut != "" { // a row cut off may have lost digits
					break
				}
				stop = have - at
			}
			text := buf[at : at+stop]
			at += stop + 1
			tab.taken += int64(stop + 1)
			line++
			if overlong {
				overlong = false // the rest of the line that was too long
				continue
			}
			if line <= lay.skip {
				continue
			}
			if tab.n >= tab.limit {
				return &Fault{Line: line, Found: tab.tooMany, Expected: "a ride of some hours", Hint: "cut the file"}
			}
			tab.row(text, line)
		}
		if end {
			break
		}
		rest := have - min(at, have)
		copy(buf, buf[have-rest:have])
		have = rest
		switch {
		case have < len(buf):
		case len(buf) < longest:
			buf = append(buf, make([]byte, len(buf))...)
		default:
			if !overlong {
				tab.problems.add(Fault{Line: line + 1, Found: fmt.Sprintf("a line of more than %d bytes", longest)})
			}
			have, overlong = 0, true
		}
	}
	return nil
}

// row takes one line in.
func (tab *table) row(text []byte, line int) {
	if n := len(text); n > 0 && text[n-1] == '\r' {
		text = text[:n-1]
	}
	lay := tab.lay
	if len(text) == 0 || lay.isComment(text) {
		return
	}
	var values [roles]float64
	if at := lay.parse(text, &values, &tab.unzoned); at >= 0 {
		if len(trim(text)) == 0 {
			return
		}
		if lay.blank(text) {
			tab.empty++
			return
		}
		field := ""
		if at < len(lay.names) {
			field = lay.names[at]
		}
		tab.problems.add(Fault{Line: line, Field: field, Found: quoteShort(string(lay.field(text, at))), Expected: lay.expected(at)})
		return
	}
	if lay.optional == roleAX && math.IsNaN(values[roleAX]+values[roleAY]+values[roleAZ]) && math.IsNaN(values[roleGX]+values[roleGY]+values[roleGZ]) {
		tab.empty++
		return
	}
	if tab.n == len(tab.col[roleT]) {
		tab.grow(1)
	}
	for _, r := range lay.used {
		tab.col[r][tab.n] = values[r]
		tab.holes = tab.holes || math.IsNaN(values[r])
	}
	tab.n++
}

// grow makes room for all rows to come, at least for more, as the share of the file taken so far foretells: a
// slice that is made once is never copied, and pages not filled cost nothing. Where the size
// of the text is not known for sure, because it comes out of an archive, growth goes in steps.
func (tab *table) grow(more int) {
	want := float64(tab.n) / tab.meter.fraction()
	if tab.total > 0 && tab.taken > 0 {
		want = float64(tab.n) / float64(tab.taken) * float64(tab.total)
	} else {
		step := 16.0
		if tab.n > 1<<17 { // by then the share is a fair witness
			step = 64
		}
		want = min(want, step*float64(tab.n))
	}
	size := int(want*1.03) + 1024 // 3 % for rows that grow shorter
	size = min(max(size, tab.n+max(more, tab.n/4)), tab.limit)
	for _, r := range tab.lay.used {
		bigger := make([]float64, size)
		copy(bigger, tab.col[r][:tab.n])
		tab.col[r] = bigger
	}
}

// layout is how a table is written and what its columns are.
type layout struct {
	delim, point, newline byte
	skip                  int    // lines before the first row
	roles                 []role // of each column up to the last used
	used                  []role
	optional              role     // the first of the roles that a row may leave empty
	names                 []string // headers, or "column 3"
	headings              []heading
	device                string

	timeText   bool    // times are written as dates
	timeUnit   float64 // seconds per count
	base       moment  // instant of count baseCount
	baseCount  float64
	baseKnown  bool
	clockAlone bool // a time of day without a date

	// Units as told, folded; empty: to be found from the values.
	accUnit, turnUnit, speedUnit string
	linear                       bool
	bare                         bool // axes without a quantity
	assumedRateHz                float64

	columns []Column
	ignored []string
	notes   [][3]string
}

func (l *layout) isComment(text []byte) bool {
	return text[0] == '#' || len(text) > 1 && text[0] == '/' && text[1] == '/'
}

func (l *layout) usedNames() string {
	var names []string
	for i, r := range l.roles {
		if r != unused {
			names = append(names, l.names[i])
		}
	}
	return strings.Join(names, ", ")
}

func (l *layout) expected(at int) string {
	if at < len(l.roles) && l.roles[at] == roleT && l.timeText {
		return "a date and time"
	}
	return "a number"
}

// parse reads the used columns of a row. It returns -1, or the first column that can't be read.
func (l *layout) parse(text []byte, values *[roles]float64, unzoned *bool) int {
	i := 0
	for c, r := range l.roles {
		if c > 0 {
			if i >= len(text) {
				return c
			}
			i++ // the delimiter
		}
		if r == unused {
			i = fieldEnd(text, i, l.delim)
			continue
		}
		for i < len(text) && text[i] == ' ' {
			i++
		}
		if i < len(text) && text[i] == '"' || r == roleT && l.timeText {
			end := fieldEnd(text, i, l.delim)
			field := bytes.Trim(text[i:end], "\" \t")
			v, ok := l.value(field, r, unzoned)
			if !ok {
				if r < l.optional || !isAbsent(field) {
					return c
				}
				v = nan
			}
			values[r] = v
			i = end
			continue
		}
		v, next, ok := scanNumber(text, i, l.point)
		for next < len(text) && text[next] == ' ' {
			next++
		}
		if !ok || next < len(text) && text[next] != l.delim {
			if next = fieldEnd(text, i, l.delim); r < l.optional || !isAbsent(text[i:next]) {
				return c
			}
			v = nan
		}
		values[r] = v
		i = next
	}
	return -1
}

func (l *layout) value(text []byte, r role, unzoned *bool) (float64, bool) {
	if r == roleT && l.timeText {
		m, ok := scanTime(text)
		if !ok || m.dayful == l.clockAlone {
			return 0, false
		}
		if !m.zoned {
			*unzoned = true
		}
		return m.since(l.base), true
	}
	v, next, ok := scanNumber(text, 0, l.point)
	return v, ok && next == len(text)
}

// isAbsent tells how loggers write a value that they do not have.
func isAbsent(field []byte) bool {
	switch string(trim(field)) {
	case "", "-", "nan", "NaN", "NAN", "null", "NULL", "None", "NA", "N/A":
		return true
	}
	return false
}

// blank tells a row that has a time and nothing of the axes: loggers that write one row per
// event leave the other sensors' columns empty.
func (l *layout) blank(text []byte) bool {
	for c, f := range split(text, l.delim) {
		if c < len(l.roles) && l.roles[c] > roleT && !isAbsent(f) {
			return false
		}
	}
	return true
}

// fieldEnd is the index of the delimiter or end after the field that starts at i.
func fieldEnd(text []byte, i int, delim byte) int {
	quoted := false
	for ; i < len(text); i++ {
		switch {
		case text[i] == '"':
			quoted = !quoted
		case text[i] == delim && !quoted:
			return i
		}
	}
	return len(text)
}

// field is the text of column at.
func (l *layout) field(text []byte, at int) []byte {
	fields := split(text, l.delim)
	if at < len(fields) {
		return fields[at]
	}
	return []byte("no such column")
}

// split cuts a line into its fields, without blanks and quotes.
func split(text []byte, delim byte) [][]byte {
	var out [][]byte
	for i := 0; ; {
		end := fieldEnd(text, i, delim)
		out = append(out, bytes.Trim(text[i:end], "\" \t\r"))
		if end >= len(text) {
			return out
		}
		i = end + 1
	}
}

// understand finds out how a table is written from its first lines.
func understand(name string, head []byte, hand *handColumns) (*layout, *Fault) {
	lay := &layout{newline: '\n', timeUnit: 1}
	if bytes.IndexByte(head, '\n') < 0 && bytes.IndexByte(head, '\r') >= 0 {
		lay.newline = '\r'
	}
	lines := headLines(head, lay.newline)
	lay.findDelimiter(lines)
	first, headerAt := lay.findRows(lines)
	if first < 0 {
		return nil, &Fault{File: name, Found: "no rows of numbers", Expected: "a table of times and accelerations, or any recording: " + formatNames()}
	}
	lay.skip = first
	var rows [][][]byte
	for _, line := range lines[first:] {
		if len(trim(line)) > 0 && !lay.isComment(line) {
			rows = append(rows, split(line, lay.delim))
		}
	}
	lay.findPoint(rows)
	lay.name(lines, headerAt, len(rows[0]))
	if fault := lay.assign(rows, hand); fault != nil {
		fault.File = name
		return nil, fault
	}
	return lay, nil
}

func headLines(head []byte, newline byte) [][]byte {
	lines := bytes.Split(head, []byte{newline})
	if len(head) == headBytes && len(lines) > 1 {
		lines = lines[:len(lines)-1] // cut off in its middle
	}
	return lines
}

// findDelimiter takes the first of semicolon, tab and comma that most lines have at least
// twice: a table with time and three axes has three.
func (l *layout) findDelimiter(lines [][]byte) {
	for _, d := range []byte{';', '\t', ','} {
		with, all := 0, 0
		for _, line := range lines[:min(len(lines), 200)] {
			if len(trim(line)) == 0 || l.isComment(line) {
				continue
			}
			all++
			if bytes.Count(line, []byte{d}) >= 2 {
				with++
			}
		}
		if with*2 > all {
			l.delim = d
			return
		}
	}
	l.delim = ','
}

// numeric counts the fields of a line that are numbers or times, by either decimal mark.
func (l *layout) numeric(line []byte) (numbers, fields int) {
	for _, f := range split(line, l.delim) {
		fields++
		if _, next, ok := scanNumber(f, 0, '.'); ok && next == len(f) {
			numbers++
		} else if _, next, ok := scanNumber(f, 0, ','); ok && next == len(f) {
			numbers++
		} else if _, ok := scanTime(f); ok {
			numbers++
		}
	}
	return numbers, fields
}

// findRows finds the first row of numbers, and the header before it (-1: none).
func (l *layout) findRows(lines [][]byte) (first, header int) {
	const searched = 500
	for i, line := range lines[:min(len(lines), searched)] {
		if len(trim(line)) == 0 || l.isComment(line) {
			continue
		}
		numbers, fields := l.numeric(line)
		if numbers < 3 || numbers*2 < fields {
			continue
		}
		for k := i - 1; k >= 0; k-- {
			if len(trim(lines[k])) == 0 || l.isComment(lines[k]) {
				continue
			}
			if n := len(split(lines[k], l.delim)); n == fields || n == fields-1 || n == fields+1 {
				return i, k
			}
			break
		}
		for k := i - 1; k >= 0; k-- { // a header within a comment
			if l.isComment(append(lines[k], ' ')) {
				if n := len(split(lines[k], l.delim)); n == fields {
					return i, k
				}
			}
		}
		return i, -1
	}
	return -1, -1
}

// findPoint tells a decimal comma, which only a table not cut by commas can have.
func (l *layout) findPoint(rows [][][]byte) {
	l.point = '.'
	if l.delim == ',' {
		return
	}
	points, commas := 0, 0
	for _, row := range rows[:min(len(rows), 1000)] {
		for _, f := range row {
			if _, next, ok := scanNumber(f, 0, ','); ok && next == len(f) && bytes.IndexByte(f, ',') >= 0 {
				commas++
			}
			if _, next, ok := scanNumber(f, 0, '.'); ok && next == len(f) && bytes.IndexByte(f, '.') >= 0 {
				points++
			}
		}
	}
	if commas > points {
		l.point = ','
	}
}

// name reads the header, a row of units under it, and what the comments say of the device.
func (l *layout) name(lines [][]byte, header, columns int) {
	for _, line := range lines[:l.skip] {
		text := strings.Trim(string(trim(line)), "#/ ")
		if key, value, found := strings.Cut(text, ":"); found && len(value) < 80 {
			switch strings.ToLower(strings.TrimSpace(key)) {
			case "device", "sensor", "model", "logger", "device name":
				l.device = strings.TrimSpace(value)
			}
		}
	}
	l.names = make([]string, columns)
	l.headings = make([]heading, columns)
	for i := range columns {
		l.names[i] = "column " + strconv.Itoa(i+1)
		l.headings[i] = heading{axis: -1}
	}
	if header < 0 {
		return
	}
	fields := split(bytes.TrimLeft(lines[header], "#/ "), l.delim)
	under := make([]string, len(fields))
	if above := header - 1; above >= 0 && allUnits(fields) {
		if names := split(bytes.TrimLeft(lines[above], "#/ "), l.delim); len(names) == len(fields) {
			for i, u := range fields {
				under[i] = " (" + strings.Trim(string(u), "()[] ") + ")"
			}
			fields = names
		}
	}
	for i := range min(columns, len(fields)) {
		if len(fields[i]) == 0 {
			continue
		}
		l.names[i] = strings.ToValidUTF8(string(fields[i]), "?")
		l.headings[i] = readHeading(string(fields[i]) + under[i])
	}
}

// allUnits tells a row of nothing but units.
func allUnits(fields [][]byte) bool {
	n := 0
	for _, f := range fields {
		u := strings.ToLower(strings.Trim(foldSigns.Replace(string(f)), "()[] "))
		if u == "" || u == "-" {
			continue
		}
		if units[u] == "" {
			return false
		}
		n++
	}
	return n >= 2
}

// clockUnits are the units that clocks count in.
var clockUnits = []struct {
	name string
	s    float64
}{{"s", 1}, {"ms", 1e-3}, {"us", 1e-6}, {"ns", 1e-9}}

// epochS tells a count of seconds since 1970 that a recording can have: November 2004 to 2100.
// Less is a device's own count: since its start, or since 2000 as some chest straps have it.
func epochS(s float64) bool { return s > 1_100_000_000 && s < 4_102_444_800 }

var nan = math.NaN()
