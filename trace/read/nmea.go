package read

import (
	"bufio"
	"bytes"
	"math"
	"time"
)

// NMEA 0183 is what receivers say on a line of their own, one sentence a line: "$", a talker of two letters, the kind
// of three, fields with commas between, "*" and a checksum. A fix is an RMC sentence (time, date, place, speed in knots), to
// which the GGA sentence of the same time adds the height above the sea; these two are read. The fields are those
// of NMEA 0183 version 2 and later (from memory).

const (
	knot       = 1852.0 / 3600 // m/s (international nautical mile, exactly 1,852 m)
	nmeaLength = 82            // characters of a sentence at most, by the standard; loggers put a time of their own before
)

// isNMEA recognises a text one of whose first lines is a sentence that is whole.
func isNMEA(head []byte) bool {
	const looked = 20
	n := 0
	for line := range bytes.Lines(head) {
		if _, _, ok := sentence(line); ok {
			return true
		}
		if n++; n == looked {
			break
		}
	}
	return false
}

// sentence cuts a line into the kind of its sentence and its fields; ok is false for what is none, or whose checksum, the
// exclusive or of all between $ and *, is another.
func sentence(line []byte) (kind string, fields [][]byte, ok bool) {
	start := bytes.IndexByte(line, '$')
	if start < 0 || len(line)-start > 2*nmeaLength {
		return "", nil, false
	}
	body, check, ok := bytes.Cut(line[start+1:], []byte("*"))
	if check = trim(check); !ok || len(check) != 2 || len(body) < 6 {
		return "", nil, false
	}
	sum := byte(0)
	for _, c := range body {
		sum ^= c
	}
	if want, ok := hexByte(check); !ok || want != sum {
		return "", nil, false
	}
	fields = bytes.Split(body, []byte(","))
	if len(fields[0]) != 5 {
		return "", nil, false
	}
	return string(fields[0][2:]), fields[1:], true
}

func hexByte(text []byte) (v byte, ok bool) {
	for _, c := range text {
		switch {
		case c >= '0' && c <= '9':
			c -= '0'
		case c >= 'A' && c <= 'F':
			c -= 'A' - 10
		case c >= 'a' && c <= 'f':
			c -= 'a' - 10
		default:
			return 0, false
		}
		v = v<<4 | c
	}
	return v, true
}

// nmea reads the sentences of a log. What is no whole sentence is counted where it looks like one, and else passed over.
func (t *task) nmea(name string, c *content) (*part, *Faults) {
	p := &part{sum: Summary{File: name, Format: "NMEA 0183"}}
	x := newFixes(p)
	most := t.rowsLeft()
	defer func() { t.spent.rows += len(x.places.t) }()
	var of, heights struct {
		clock  string
		height float64
	}
	var last fix
	flush := func() {
		if last.line == 0 {
			return
		}
		if heights.clock == of.clock {
			last.height = heights.height
		}
		x.add(last)
		last = fix{}
	}
	var cut Fault
	line := 0
	for {
		text, err := c.r.ReadSlice('\n')
		line++
		kind, fields, ok := sentence(text)
		switch {
		case ok && kind == "RMC" && len(fields) >= 9:
			flush()
			if last, ok = rmc(fields); !ok {
				last = fix{}
				x.noFix++
				break
			}
			last.line, of.clock = line, string(fields[0])
		case ok && kind == "GGA" && len(fields) >= 9:
			if v, known := number(fields[8]); known {
				heights.clock, heights.height = string(fields[0]), v
			}
		case !ok && bytes.IndexByte(text, '$') >= 0:
			x.problems.add(Fault{Line: line, Found: quoteShort(string(trim(text))), Expected: "a sentence whose checksum fits"})
		}
		if err == bufio.ErrBufferFull {
			err = nil // the rest of a line that is no sentence
			line--
		}
		if len(x.places.t) >= most {
			cut = Fault{Found: t.tooManyRows(), Line: line}
			break
		}
		if err != nil {
			if t.ctx.Err() != nil {
				return nil, refuse(Fault{File: name, Found: "stopped"}, problems{})
			}
			break
		}
	}
	flush()
	if cut.Found != "" {
		p.note("warning", "cut off", cut.Found)
	}
	return x.finish(t.opt, nil, 0)
}

// rmc is the fix of an RMC sentence: time, A for a valid one, place, speed, course, date. ok is false without a fix.
func rmc(f [][]byte) (out fix, ok bool) {
	lat, okLat := nmeaDegrees(f[2], f[3], 'N', 'S', 90)
	lon, okLon := nmeaDegrees(f[4], f[5], 'E', 'W', 180)
	if len(f[1]) != 1 || f[1][0] != 'A' || !okLat || !okLon {
		return fix{}, false
	}
	out = fix{lat: lat, lon: lon, height: math.NaN(), speed: math.NaN()}
	if v, known := number(f[6]); known && v >= 0 {
		out.speed = v * knot
	}
	out.when, out.timed = nmeaTime(f[0], f[8])
	if !out.timed {
		out.badTime = string(f[8]) + " " + string(f[0])
	}
	return out, true
}

// nmeaDegrees understands degrees and minutes written as dddmm.mmmm and the letter of the half of the earth.
func nmeaDegrees(text, half []byte, plus, minus byte, most float64) (float64, bool) {
	v, ok := number(text)
	if !ok || v < 0 || len(half) != 1 || half[0] != plus && half[0] != minus {
		return 0, false
	}
	whole := math.Floor(v / 100)
	deg := whole + (v-100*whole)/60
	if v-100*whole >= 60 || deg > most {
		return 0, false
	}
	if half[0] == minus {
		deg = -deg
	}
	return deg, true
}

// nmeaTime understands hhmmss.sss and ddmmyy, which are UTC; years from 80 are those of the last century, when satellites
// began to be heard.
func nmeaTime(clock, date []byte) (moment, bool) {
	if len(clock) < 6 || len(date) != 6 {
		return moment{}, false
	}
	two := func(b []byte) int {
		if b[0] < '0' || b[0] > '9' || b[1] < '0' || b[1] > '9' {
			return -1
		}
		return int(b[0]-'0')*10 + int(b[1]-'0')
	}
	day, month, year := two(date), two(date[2:]), two(date[4:])
	hour, minute, second := two(clock), two(clock[2:]), two(clock[4:])
	if day < 1 || day > 31 || month < 1 || month > 12 || year < 0 || hour < 0 || hour > 23 || minute < 0 || minute > 59 || second < 0 || second > 60 {
		return moment{}, false
	}
	year += 2000
	if year >= 2080 {
		year -= 100
	}
	nano := 0.0
	if len(clock) > 6 {
		v, ok := number(append([]byte("0"), clock[6:]...))
		if !ok || v < 0 || v >= 1 {
			return moment{}, false
		}
		nano = math.Round(v * 1e9)
	}
	at := time.Date(year, time.Month(month), day, hour, minute, second, 0, time.UTC)
	if at.Day() != day {
		return moment{}, false
	}
	return moment{unixS: at.Unix(), nanoS: int32(min(nano, 999_999_999)), zoned: true, dayful: true}, true
}
