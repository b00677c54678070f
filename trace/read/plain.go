package read

import (
	"bytes"
	"encoding/binary"
	"math"
	"runtime"
	"sync"
)

// Most rows of most tables are plain: numbers of a few digits, one delimiter between two. They
// are read here, eight bytes at a time, each byte of a word worked on at once; whatever is
// not plain is left to [table.row], which knows every dialect and tells every fault. So this
// file may refuse anything, and must never read a row otherwise than [table.row] would.

// Every byte of a word at once.
const (
	everyOne  = 0x0101010101010101
	everyHigh = 0x8080808080808080
	everyZero = everyOne * '0'
)

// marks sets the highest bit of the first byte of w that equals each byte of every; bits above
// that may be set wrongly, none below it (H. S. Warren, Hacker's Delight, section 6-1).
func marks(w, every uint64) uint64 {
	x := w ^ every
	return (x - everyOne) &^ x & everyHigh
}

// eightDigits is the number that eight digits make, the first in the lowest byte, '0' taken
// off each: neighbours are joined to pairs, pairs to fours, fours to the whole.
func eightDigits(x uint64) uint64 {
	x = (x * (10<<8 + 1) >> 8) & 0x00ff00ff00ff00ff
	x = (x * (100<<16 + 1) >> 16) & 0x0000ffff0000ffff
	return x * (10_000<<32 + 1) >> 32
}

// notDigits is other than 0 where a byte of x, '0' taken off each, is above 9.
func notDigits(x uint64) uint64 { return (x + everyOne*(0x80-10) | x) & everyHigh }

// through is the bytes up to and with the one that mark, the result of [marks], has first.
func through(mark uint64) uint64 { return mark ^ (mark - 1) }

// count is how many bytes a mask from [through] has.
func count(mask uint64) int { return int((mask & everyOne) * everyOne >> 56) }

// joined is the field of w with its decimal mark cut out and '0' taken off each byte, and the
// bytes up to and with the mark. A field without a mark has it at its end.
func joined(w, field, points uint64) (x, mark uint64) {
	mark = through(marks((w^points)&field, 0))
	x = (w ^ everyZero) & field
	return x&(mark>>8) | x&^mark>>8, mark
}

// scales are the powers of ten that divide the eight digits of [joined], by the bytes up to
// and with the mark.
//
// The digits are not moved to the end of the word: read as they stand, with zeros for what
// follows, they are the number times a power of ten that only the mark's place tells. The
// quotient of two whole numbers that a float64 holds exactly is rounded correctly, see [scanNumber].
var scales = [16]float64{1: 1e8, 1e7, 1e6, 1e5, 1e4, 1e3, 1e2, 1e1}

// longNumber reads a decimal of 8 to 15 bytes from the start of b, 16 bytes, with a mark among
// the first eight, before and after which stand one to eight digits. n is its length with the stop.
func longNumber(b []byte, stop, points uint64) (v float64, n int) {
	w, w2 := binary.LittleEndian.Uint64(b[:8]), binary.LittleEndian.Uint64(b[8:16])
	mark, end := marks(w, points), marks(w2, stop)
	whole := count(through(mark)) - 1 // digits before the mark
	n = 8 + count(through(end))
	scale := n - whole - 2 // digits after it
	if mark == 0 || end == 0 || whole == 0 || scale < 1 || scale > 8 {
		return 0, -1
	}
	x := (w ^ everyZero) << uint(64-8*whole)
	y := (binary.LittleEndian.Uint64(b[whole+1:whole+9]) ^ everyZero) << (uint(64-8*scale) & 63)
	if notDigits(x)|notDigits(y) != 0 {
		return 0, -1
	}
	return float64(int64(eightDigits(x)*intPow10[scale]+eightDigits(y))) / exactPow10[scale], n
}

var intPow10 = [...]uint64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8}

// plainColumn is a column of plain rows.
type plainColumn struct {
	stop   uint64    // what its fields end with, in each byte
	length int       // of the last field with its stop
	to     []float64 // nil: not a number, or not used
}

// plainNumbers reads the numbers of neighbouring columns from text[i:] into row n, and returns
// where the next column starts; -1 where one of them is not plain. points is the decimal mark in each byte.
func plainNumbers(text []byte, i int, columns []plainColumn, points uint64, n int) int {
	for c := range columns {
		col := &columns[c]
		if i < 0 || i > len(text)-wordsAhead || uint(n) >= uint(len(col.to)) {
			return -1
		}
		w := binary.LittleEndian.Uint64(text[i : i+8])
		sign := uint64(0)
		if byte(w) == '-' {
			sign = 1 << 63
			w = binary.LittleEndian.Uint64(text[i+1 : i+9])
			i++
		}
		end := marks(w, col.stop)
		field := through(end)
		x, mark := joined(w, field>>8, points)
		if end == 0 || notDigits(x) != 0 || mark == 0xff {
			v, next := longerNumber(text, i-int(sign>>63), i, col.stop, points)
			if next < 0 {
				return -1
			}
			col.to[n] = v
			i = next
			continue
		}
		v := float64(int64(eightDigits(x))) / scales[count(mark)&15]
		col.to[n] = math.Float64frombits(math.Float64bits(v) | sign)
		// Most fields are as long as the one above. Taken from there, the length needs no
		// waiting for, and the processor starts on the next field before this one is done.
		if length := count(field); length != col.length {
			col.length = length
		}
		i += col.length
	}
	return i
}

// plainRows takes plain rows in from the start of text while there is room for them, and
// returns how many bytes and rows that were. It stops before the first row that is not
// plain, and within the last bytes, which can't be loaded by words.
func (tab *table) plainRows(text []byte) (taken, rows int) {
	lay := tab.lay
	points := uint64(lay.point) * everyOne
	columns := make([]plainColumn, len(lay.roles))
	for c, r := range lay.roles {
		columns[c].stop = uint64(lay.delim) * everyOne
		if r != unused && !(lay.timeText && r == roleT) {
			columns[c].to = tab.col[r]
		}
	}
	more := len(lay.names) > len(lay.roles) // columns behind the last used
	carriage := false                       // before the newline
	if !more {
		stop := lay.newline
		if end := bytes.IndexByte(text, stop); end > 0 && text[end-1] == '\r' {
			stop, carriage = '\r', true
		}
		columns[len(columns)-1].stop = uint64(stop) * everyOne
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
				i = plainNumbers(text, i, columns[c:numbers], points, tab.n)
				c = numbers
			} else {
				i = tab.plainOther(text, i, c, byte(columns[c].stop))
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

// wordsAhead is how many bytes a field is read from at once at most: a sign and two words.
const wordsAhead = 17

// longerNumber is [plainNumbers] for one decimal with more than seven bytes, an exponent or
// a sign +, or with blanks about it, which starts at text[i] and has its digits from text[digits] on.
func longerNumber(text []byte, i, digits int, stop, points uint64) (v float64, next int) {
	if v, n := longNumber(text[digits:digits+16], stop, points); n > 0 {
		if i < digits {
			v = -v
		}
		return v, digits + n
	}
	for i < len(text) && text[i] == ' ' {
		i++
	}
	v, next, ok := scanNumber(text, i, byte(points))
	for next < len(text) && text[next] == ' ' {
		next++
	}
	if !ok || next >= len(text) || text[next] != byte(stop) {
		return 0, -1
	}
	return v, next + 1
}
