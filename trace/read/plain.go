package read

import (
	"bytes"
	"math"
	"runtime"
	"sync"
)

// Most rows of most tables are plain: numbers of a few digits, one delimiter between two. They
// are read here in one pass over their bytes; whatever is not plain is left to [table.row],
// which knows every dialect and tells every fault. So this file may refuse anything, and
// must never read a row otherwise than [table.row] would.
//
// Working on eight bytes of a word at once was tried and gained nothing: numbers are too short.

// plainColumn is a column of plain rows.
type plainColumn struct {
	stop byte      // what its fields end with
	to   []float64 // nil: not a number, or not used
}

// plainNumbers reads the numbers of neighbouring columns from text[i:] into row n, and returns
// where the next column starts; -1 where one of them is not plain. See [scanNumber] for why
// the quotient is exact.
func plainNumbers(text []byte, i int, columns []plainColumn, point byte, n int) int {
	for c := range columns {
		col := &columns[c]
		if i < 0 || i > len(text)-fieldAhead || uint(n) >= uint(len(col.to)) {
			return -1
		}
		start, sign := i, uint64(0)
		if text[i] == '-' {
			sign = 1 << 63
			i++
		}
		field := text[i : i+fieldAhead-1] // of known length, so that no byte's place is checked again
		m, k, scale := uint64(0), 0, 0
		for ; k < len(field) && field[k]-'0' <= 9; k++ {
			m = m*10 + uint64(field[k]-'0')
		}
		whole := k
		if k < len(field) && field[k] == point {
			first := k + 1
			for k = first; k < len(field) && field[k]-'0' <= 9; k++ {
				m = m*10 + uint64(field[k]-'0')
			}
			scale = k - first
		}
		if whole == 0 || k >= len(field) || field[k] != col.stop { // a sign +, an exponent, many digits, blanks
			v, next := otherNumber(text, start, col.stop, point)
			if next < 0 {
				return -1
			}
			col.to[n], i = v, next
			continue
		}
		v := float64(int64(m)) / exactPow10[scale]
		col.to[n] = math.Float64frombits(math.Float64bits(v) | sign)
		i += k + 1
	}
	return i
}

// fieldAhead is how many bytes are looked at for a number: a sign and what 15 digits, which
// are below 2^53, need with what follows them.
const fieldAhead = 17

// otherNumber is [plainNumbers] for one number of any form that [scanNumber] reads, with blanks about it.
func otherNumber(text []byte, i int, stop, point byte) (v float64, next int) {
	for i < len(text) && text[i] == ' ' {
		i++
	}
	v, next, ok := scanNumber(text, i, point)
	for next < len(text) && text[next] == ' ' {
		next++
	}
	if !ok || next >= len(text) || text[next] != stop {
		return 0, -1
	}
	return v, next + 1
}

// plainRows takes plain rows in from the start of text while there is room for them, and
// returns how many bytes and rows that were. It stops before the first row that is not
// plain, and within the last bytes, where a number can't be looked at as a whole.
func (tab *table) plainRows(text []byte) (taken, rows int) {
	lay := tab.lay
	columns := tab.plain[:0]
	for _, r := range lay.roles {
		c := plainColumn{stop: lay.delim}
		if r != unused && !(lay.timeText && r == roleT) {
			c.to = tab.col[r]
		}
		columns = append(columns, c)
	}
	tab.plain = columns
	more := len(lay.names) > len(lay.roles) // columns behind the last used
	carriage := false                       // before the newline
	if !more {
		stop := lay.newline
		if end := bytes.IndexByte(text, stop); end > 0 && text[end-1] == '\r' {
			stop, carriage = '\r', true
		}
		columns[len(columns)-1].stop = stop
	}
	room := min(len(tab.col[roleT]), tab.limit)
	for tab.n < room {
		i := taken
		if i == len(text) || text[i] == '#' || text[i] == '/' { // perhaps a comment
			break
		}
		for c := 0; c < len(columns) && i >= 0; {
			numbers := c
			for numbers < len(columns) && columns[numbers].to != nil {
				numbers++
			}
			if numbers > c {
				i = plainNumbers(text, i, columns[c:numbers], lay.point, tab.n)
				c = numbers
			} else {
				i = tab.plainOther(text, i, c, columns[c].stop)
				c++
			}
		}
		if i >= 0 && more {
			i += bytes.IndexByte(text[i:], lay.newline) + 1
			if text[i-1] != lay.newline {
				break
			}
		}
		if carriage {
			if i < 0 || i >= len(text) || text[i] != '\n' {
				break
			}
			i++
		}
		if i < 0 {
			break
		}
		taken = i
		rows++
		tab.n++
	}
	return taken, rows
}

// inParts takes the whole lines of text in, line of which were before it, and returns how many bytes and
// lines that were. Each processor reads a part of them into the place that its rows
// have if every line is one, and what the parts found is joined in their order: the outcome is that of
// reading line by line. It takes nothing where the text is too short to gain by it, or where
// the limit of rows may be reached, for which the lines must be counted one by one.
func (tab *table) inParts(text []byte, line int) (taken, lines int) {
	const (
		least   = 128 << 10 // bytes: a part then takes far longer than starting it
		settled = 1000      // rows from which the size of the whole table is told well
		short   = 8         // bytes of a line: of emptier ones too much room would be made
	)
	lay, parts := tab.lay, runtime.GOMAXPROCS(0)
	taken = bytes.LastIndexByte(text, lay.newline) + 1
	if parts < 2 || taken < least || tab.n < settled {
		return 0, 0
	}
	text = text[:taken]
	lines = bytes.Count(text, []byte{lay.newline})
	if lines > taken/short || lines > tab.limit-tab.n {
		return 0, 0
	}
	if tab.n+lines > len(tab.col[roleT]) {
		tab.grow(lines)
	}
	var all sync.WaitGroup
	var read []*table
	for place := tab.n; len(text) > 0; parts-- {
		end := len(text)
		if parts > 1 {
			end /= parts
			end += bytes.IndexByte(text[end:], lay.newline) + 1
		}
		some, n := text[:end], bytes.Count(text[:end], []byte{lay.newline})
		part := &table{lay: lay, limit: n}
		for _, r := range lay.used {
			part.col[r] = tab.col[r][place : place+n]
		}
		first := line
		all.Go(func() { part.lines(some, first) })
		read = append(read, part)
		text, place, line = text[end:], place+n, line+n
	}
	all.Wait()
	for _, part := range read {
		for _, r := range lay.used {
			copy(tab.col[r][tab.n:], part.col[r][:part.n]) // in its place already, but for lines that were no rows
		}
		tab.n += part.n
		tab.problems.append(part.problems)
		tab.empty += part.empty
		tab.holes = tab.holes || part.holes
		tab.unzoned = tab.unzoned || part.unzoned
	}
	return taken, lines
}

// lines takes whole lines in, for which there is room.
func (tab *table) lines(text []byte, line int) {
	for len(text) > 0 {
		taken, rows := tab.plainRows(text)
		text, line = text[taken:], line+rows
		if len(text) > 0 {
			end := bytes.IndexByte(text, tab.lay.newline)
			line++
			tab.row(text[:end], line)
			text = text[end+1:]
		}
	}
}

// plainOther reads a date, or passes a column over that is not used; -1 for what is not plain.
func (tab *table) plainOther(text []byte, i, c int, stop byte) int {
	end := i
	for end < len(text) && text[end] != stop {
		if text[end] == '"' || text[end] == tab.lay.newline {
			return -1
		}
		end++
	}
	if end == len(text) {
		return -1
	}
	if tab.lay.roles[c] == roleT {
		v, ok := tab.lay.value(text[i:end], roleT, &tab.unzoned)
		if !ok {
			return -1
		}
		tab.col[roleT][tab.n] = v
	}
	return end + 1
}
