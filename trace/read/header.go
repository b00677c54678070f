package read

import (
	"strings"
	"unicode"
)

// role is what a column is to a recording.
type role int8

// The roles, in the order of the values of a row. The first ones are those of motion.
const (
	roleT role = iota
	roleAX
	roleAY
	roleAZ
	roleGX
	roleGY
	roleGZ
	roleLat
	roleLon
	roleHeight
	roleSpeed
	roles       // how many
	unused role = -1
)

var roleNames = [roles]string{"t", "ax", "ay", "az", "gx", "gy", "gz", "lat", "lon", "height", "speed"}

// quantity is what a header says that a column holds.
type quantity uint8

const (
	other quantity = iota
	timeOf
	countOf // a running number instead of a time
	acceleration
	turnRate
	axisAlone // x, y or z of something not named
	latitude
	longitude
	height
	speed
)

// heading is a column's header understood.
type heading struct {
	raw    string
	what   quantity
	axis   int    // 0, 1, 2 for x, y, z
	unit   string // folded: "s", "ms", "us", "ns", "g", "mg", "m/s2", "rad/s", "deg/s", "km/h", "m/s" or empty
	linear bool   // acceleration told to be without gravity
	group  string // headers of one sensor share it
}

// quantityWords are the words and abbreviations by which loggers name what they write.
var quantityWords = map[string]quantity{
	"a": acceleration, "acc": acceleration, "accel": acceleration, "acceleration": acceleration,
	"accelerations": acceleration, "accelerometer": acceleration, "lacc": acceleration, "linacc": acceleration,
	"beschleunigung": acceleration, "accélération": acceleration, "aceleración": acceleration, "accelerazione": acceleration,
	"gf": acceleration, "gforce": acceleration, "f": acceleration,
	"g": turnRate, "gyr": turnRate, "gyro": turnRate, "gyroscope": turnRate, "rotation": turnRate, "rot": turnRate,
	"omega": turnRate, "w": turnRate, "angular": turnRate, "angvel": turnRate, "gyros": turnRate,
	"time": timeOf, "timestamp": timeOf, "timestamps": timeOf, "t": timeOf, "ts": timeOf, "epoch": timeOf, "epoc": timeOf,
	"datetime": timeOf, "date": timeOf, "utc": timeOf, "elapsed": timeOf, "uptime": timeOf, "seconds": timeOf,
	"millis": timeOf, "milliseconds": timeOf, "micros": timeOf, "microseconds": timeOf, "nanos": timeOf, "nanoseconds": timeOf,
	"zeit": timeOf, "temps": timeOf, "tiempo": timeOf,
	"sample": countOf, "samples": countOf, "index": countOf, "idx": countOf, "frame": countOf, "counter": countOf, "n": countOf,
	"lat": latitude, "latitude": latitude,
	"lon": longitude, "lng": longitude, "long": longitude, "longitude": longitude,
	"alt": height, "altitude": height, "height": height, "elevation": height, "ele": height,
	"speed": speed, "velocity": speed,
}

// otherWords make a column something that a recording does not hold, whatever else is said.
var otherWords = map[string]bool{
	"mag": true, "magnetometer": true, "magnetic": true, "magn": true, "gravity": true, "grav": true, "euler": true,
	"roll": true, "pitch": true, "yaw": true, "quat": true, "quaternion": true, "orientation": true, "attitude": true,
	"accuracy": true, "direction": true, "bearing": true, "course": true, "zone": true, "timezone": true, "absolute": true,
	"abs": true, "magnitude": true, "norm": true, "temp": true, "temperature": true, "pressure": true, "vertical": true, "horizontal": true,
	"sd": true, "std": true, "bias": true, "heart": true, "heartrate": true,
}

// units folds the spellings of a unit. "g" is told from the gyroscope's g by its place.
var units = map[string]string{
	"s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s", "ms": "ms", "msec": "ms", "millis": "ms", "millisecond": "ms", "milliseconds": "ms",
	"us": "us", "usec": "us", "micros": "us", "microsecond": "us", "microseconds": "us", "ns": "ns", "nsec": "ns", "nanos": "ns", "nanosecond": "ns", "nanoseconds": "ns",
	"g": "g", "gs": "g", "mg": "mg", "millig": "mg",
	"m/s2": "m/s2", "m/s/s": "m/s2", "ms2": "m/s2", "ms-2": "m/s2", "mps2": "m/s2", "m/sec2": "m/s2", "meters/second2": "m/s2",
	"rad/s": "rad/s", "rads": "rad/s", "rad/sec": "rad/s", "rps": "rad/s", "radians/s": "rad/s", "rads-1": "rad/s", "radps": "rad/s",
	"deg/s": "deg/s", "degs": "deg/s", "dps": "deg/s", "deg/sec": "deg/s", "degrees/s": "deg/s", "degs-1": "deg/s", "degps": "deg/s", "degree/s": "deg/s",
	"m/s": "m/s", "mps": "m/s", "km/h": "km/h", "kmh": "km/h", "kph": "km/h", "deg": "deg", "degree": "deg", "degrees": "deg", "m": "m",
	"ut": "uT", "tesla": "uT", "gauss": "uT",
}

// fold brings a header to plain lower-case letters with blanks between its words.
var foldSigns = strings.NewReplacer(
	"²", "2", "^", "", "µ", "u", "μ", "u", "°", "deg", "⁻", "-", "¹", "1", "·", "", "*", "",
	"\xb0", "deg", "\xb2", "2", "\xb5", "u", // the same in Latin-1
)

// readHeading understands one column's header.
func readHeading(raw string) heading {
	h := heading{raw: raw}
	text := foldSigns.Replace(raw)
	name, inBrackets := text, ""
	if open := strings.IndexAny(text, "([{"); open >= 0 {
		inBrackets = strings.ToLower(strings.Trim(text[open:], "()[]{} "))
		inBrackets = strings.ReplaceAll(inBrackets, " ", "")
		name = text[:open]
		if strings.TrimSpace(name) == "" {
			name = ""
		}
	} else if slash := strings.Index(text, " / "); slash >= 0 { // "time / s"
		inBrackets = strings.ReplaceAll(strings.ToLower(text[slash+3:]), " ", "")
		name = text[:slash]
	}
	words := splitWords(name)
	h.unit = units[inBrackets]
	h.axis = -1
	var rest []string
	for i, w := range words {
		switch {
		case w == "linear" || w == "lin" || w == "user" || w == "lacc" || w == "linacc":
			h.linear = true
		case otherWords[w]:
			h.what = other
			return h
		case w == "axis" || w == "achse":
			continue
		}
		if h.axis < 0 {
			if axis, prefix := axisOf(w); axis >= 0 {
				h.axis = axis
				if prefix != "" {
					rest = append(rest, prefix)
				}
				if h.unit == "" {
					h.unit = units[strings.Join(words[i+1:], "")]
				}
				continue
			}
		} else if units[strings.Join(words[i:], "")] != "" {
			break
		}
		rest = append(rest, w)
	}
	h.group = strings.Join(rest, " ") + "|" + h.unit
	h.what = quantityOf(rest, h.axis >= 0)
	if h.axis >= 0 {
		h.motionUnit(rest)
		return h
	}
	if h.unit == "" {
		for i := range words {
			if u := units[strings.Join(words[i:], "")]; u != "" {
				h.unit = u
				break
			}
			if u := units[words[i]]; u != "" && h.what == timeOf && words[i] != "t" {
				h.unit = u
				break
			}
		}
	}
	return h
}

// motionUnit settles what an axis is of, by its unit where its name does not tell.
func (h *heading) motionUnit(rest []string) {
	if h.unit == "" {
		for _, w := range rest[min(1, len(rest)):] { // "acc_g_x": never the first word, which may be the gyroscope's g
			if u := units[w]; u != "" {
				h.unit = u
			}
		}
	}
	if h.what == axisAlone {
		switch h.unit {
		case "g", "mg", "m/s2":
			h.what = acceleration
		case "rad/s", "deg/s":
			h.what = turnRate
		case "uT":
			h.what = other
		}
	}
	switch strings.Join(rest, " ") {
	case "gf", "g f", "gforce", "g force":
		if h.unit == "" {
			h.unit = "g"
		}
	}
}

// quantityOf is what the words of a header name. With an axis only motion can be meant,
// and acceleration wins, because g stands for its unit as well as for the gyroscope.
func quantityOf(words []string, axis bool) quantity {
	if axis {
		found := other
		if len(words) == 0 {
			found = axisAlone
		}
		for _, w := range words {
			switch quantityWords[w] {
			case acceleration:
				return acceleration
			case turnRate:
				found = turnRate
			}
		}
		return found
	}
	if len(words) == 1 {
		switch units[words[0]] {
		case "s", "ms", "us", "ns":
			return timeOf // a column headed by its unit only
		}
	}
	for i, w := range words {
		switch q := quantityWords[w]; {
		case q == timeOf, q == latitude, q == longitude, q == height, q == speed:
			return q
		case q == countOf && i == 0 && (w != "n" || len(words) == 1):
			return q
		}
	}
	return other
}

// axisOf tells whether a word names an axis, alone ("x") or with its quantity ("accx").
func axisOf(word string) (axis int, prefix string) {
	n := len(word)
	if n == 0 || word[n-1] < 'x' || word[n-1] > 'z' {
		return -1, ""
	}
	prefix = word[:n-1]
	axis = int(word[n-1] - 'x')
	switch quantityWords[prefix] {
	case acceleration, turnRate:
		return axis, prefix
	}
	if prefix == "" {
		return axis, ""
	}
	if prefix == "m" || prefix == "mag" {
		return axis, "magnetic"
	}
	return -1, ""
}

// splitWords cuts at everything that is no letter or digit, and where a small letter
// meets a capital.
func splitWords(name string) []string {
	var words []string
	var b strings.Builder
	flush := func() {
		if b.Len() > 0 {
			words = append(words, strings.ToLower(b.String()))
			b.Reset()
		}
	}
	lower := false
	for _, r := range name {
		switch {
		case !unicode.IsLetter(r) && !unicode.IsDigit(r):
			flush()
			lower = false
			continue
		case unicode.IsUpper(r) && lower:
			flush()
		}
		lower = unicode.IsLower(r)
		b.WriteRune(r)
	}
	flush()
	return words
}
