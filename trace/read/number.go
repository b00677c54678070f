package read

import (
	"math"
	"strconv"
)

// exactPow10 are the powers of ten that a float64 holds exactly.
var exactPow10 = [...]float64{
	1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// scanNumber reads the decimal number that starts at b[i], and returns the index of the
// first byte that does not belong to it. point is the decimal mark, '.' or ','.
//
// Digits are gathered in an integer m and scaled once by 10^k: exact, and so correctly
// rounded, while m < 2^53 and |k| <= 22 (W. Clinger, "How to read floating point numbers
// accurately", 1990, fast path). All else goes to strconv. "nan", "inf", "0x1p-2" and
// "1_000", which strconv takes, are no numbers here.
func scanNumber(b []byte, i int, point byte) (v float64, next int, ok bool) {
	start := i
	negative := false
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		negative = b[i] == '-'
		i++
	}
	var m uint64
	first := i
	for i < len(b) && b[i]-'0' <= 9 {
		m = m*10 + uint64(b[i]-'0')
		i++
	}
	digits, scale := i-first, 0 // all digits; those after the mark
	if i < len(b) && b[i] == point {
		i++
		first = i
		for i < len(b) && b[i]-'0' <= 9 {
			m = m*10 + uint64(b[i]-'0')
			i++
		}
		scale = i - first
		digits += scale
	}
	if digits == 0 {
		return 0, start, false
	}
	exponent := 0
	if i < len(b) && (b[i] == 'e' || b[i] == 'E') {
		j := i + 1
		down := false
		if j < len(b) && (b[j] == '-' || b[j] == '+') {
			down = b[j] == '-'
			j++
		}
		firstDigit := j
		for j < len(b) && b[j]-'0' <= 9 {
			if exponent < 10_000 {
				exponent = exponent*10 + int(b[j]-'0')
			}
			j++
		}
		if j == firstDigit {
			return 0, start, false
		}
		if down {
			exponent = -exponent
		}
		i = j
	}
	k := exponent - scale
	if digits <= 19 && m < 1<<53 && k >= -22 && k <= 22 { // 19 digits do not overflow m
		v = float64(m)
		if k < 0 {
			v /= exactPow10[-k]
		} else {
			v *= exactPow10[k]
		}
		if negative {
			v = -v
		}
		return v, i, true
	}
	return slowNumber(b[start:i], i, start, point)
}

// slowNumber reads what the fast path can't hold exactly. The syntax has been checked.
func slowNumber(text []byte, next, start int, point byte) (float64, int, bool) {
	s := string(text)
	if point != '.' {
		plain := append([]byte(nil), text...)
		for j := range plain {
			if plain[j] == point {
				plain[j] = '.'
			}
		}
		s = string(plain)
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, start, false
	}
	return v, next, true
}

// number is the whole of text as one decimal number, blanks around it allowed.
func number(text []byte) (float64, bool) {
	text = trim(text)
	v, next, ok := scanNumber(text, 0, '.')
	return v, ok && next == len(text)
}

// trim cuts blanks off both ends.
func trim(b []byte) []byte {
	for len(b) > 0 && isBlank(b[0]) {
		b = b[1:]
	}
	for len(b) > 0 && isBlank(b[len(b)-1]) {
		b = b[:len(b)-1]
	}
	return b
}

func isBlank(c byte) bool { return c == ' ' || c == '\t' || c == '\r' || c == '\n' }

// moment is an instant as a file tells it.
type moment struct {
	unixS  int64 // whole seconds since 1970-01-01T00:00:00Z
	nanoS  int32 // [0, 1e9)
	zoned  bool  // false: the file does not say in which zone; read as UTC
	dayful bool  // false: a time of day without a date; unixS counts from midnight
}

// since is the time from base to m, seconds.
func (m moment) since(base moment) float64 {
	return float64(m.unixS-base.unixS) + float64(m.nanoS-base.nanoS)*1e-9
}

// scanTime reads the whole of b as a time of ISO 8601 (extended form), with a blank or a T
// between date and time, a point, comma or colon before the fraction, the seconds optional, and
// Z, ±hh:mm, ±hhmm, ±hh or nothing for the zone. Slashes may stand for the dashes of the
// date (year first). A time of day alone is read too. A leap second counts as the second after.
func scanTime(b []byte) (m moment, ok bool) {
	b = trim(b)
	i := 0
	two := func(limit int) (int, bool) {
		if i+2 > len(b) || b[i]-'0' > 9 || b[i+1]-'0' > 9 {
			return 0, false
		}
		v := int(b[i]-'0')*10 + int(b[i+1]-'0')
		i += 2
		return v, v <= limit
	}
	if len(b) > 10 && (b[4] == '-' || b[4] == '/') {
		century, ok1 := two(99)
		year, ok2 := two(99)
		dash := b[4]
		i++
		month, ok3 := two(12)
		if !ok1 || !ok2 || !ok3 || month == 0 || b[i] != dash {
			return moment{}, false
		}
		i++
		day, ok4 := two(31)
		year += century * 100
		if !ok4 || day == 0 || day > daysIn(year, month) || (b[i] != 'T' && b[i] != 't' && b[i] != ' ') {
			return moment{}, false
		}
		i++
		m.unixS = daysFromCivil(year, month, day) * 86400
		m.dayful = true
	}
	hour, ok1 := two(24)
	if !ok1 || i >= len(b) || b[i] != ':' {
		return moment{}, false
	}
	i++
	minute, ok2 := two(59)
	if !ok2 {
		return moment{}, false
	}
	second := 0
	if i < len(b) && b[i] == ':' {
		i++
		var ok3 bool
		if second, ok3 = two(60); !ok3 {
			return moment{}, false
		}
		if i < len(b) && (b[i] == '.' || b[i] == ',' || b[i] == ':') {
			i++
			unit := int32(100_000_000)
			first := i
			for i < len(b) && b[i]-'0' <= 9 {
				m.nanoS += int32(b[i]-'0') * unit
				unit /= 10
				i++
			}
			if i == first {
				return moment{}, false
			}
		}
	}
	m.unixS += int64(hour*3600 + minute*60 + second)
	if i < len(b) && b[i] == ' ' {
		i++
	}
	switch {
	case i == len(b):
		return m, true
	case b[i] == 'Z' || b[i] == 'z':
		m.zoned = true
		return m, i+1 == len(b)
	case b[i] == '+' || b[i] == '-':
		east := b[i] == '+'
		i++
		hours, ok4 := two(14)
		if i < len(b) && b[i] == ':' {
			i++
		}
		minutes, ok5 := 0, true
		if i < len(b) {
			minutes, ok5 = two(59)
		}
		if !ok4 || !ok5 || i != len(b) {
			return moment{}, false
		}
		shift := int64(hours*3600 + minutes*60)
		if !east {
			shift = -shift
		}
		m.unixS -= shift
		m.zoned = true
		return m, true
	}
	return moment{}, false
}

func daysIn(year, month int) int {
	switch month {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

// daysFromCivil is the number of days from 1970-01-01 to a date of the Gregorian calendar:
// years run from March, so that the leap day is the last, and 400 years have 146,097 days.
func daysFromCivil(year, month, day int) int64 {
	y := int64(year)
	if month <= 2 {
		y--
	}
	era := y / 400
	if y < 0 {
		era = (y - 399) / 400
	}
	yearOfEra := y - era*400
	dayOfYear := int64((153*((month+9)%12)+2)/5 + day - 1)
	dayOfEra := yearOfEra*365 + yearOfEra/4 - yearOfEra/100 + dayOfYear
	return era*146_097 + dayOfEra - 719_468
}
