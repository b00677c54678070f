package shell

import (
	"fmt"
	"groundline/report"
	"groundline/trace"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
)

func DayWords(t time.Time) string { return t.UTC().Format("2 Jan 2006") }

func UpperFirst(s string) string {
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}

func Btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func Tenth(x float64) string { return strconv.FormatFloat(math.Round(x*10)/10+0, 'f', -1, 64) }

const FootM = 0.3048 // the international foot of 1959, exact

// RideClock is a moment of a ride, in minutes and seconds.
func RideClock(s float64) string {
	whole := max(0, int(math.Round(s)))
	return fmt.Sprintf("%d:%02d", whole/60, whole%60)
}

// WithUnit is a figure with its doubt and its unit: "3.46 m ±0.09".
func WithUnit(k report.Key, e trace.Estimate, u report.Units) string {
	said := k.Measured(e, u, false)
	unit := UnitName(k, u)
	if unit == "" {
		return said
	}
	if number, doubt, ok := strings.Cut(said, " "); ok {
		return number + " " + unit + " " + doubt
	}
	return said + " " + unit
}

// UnitName is the unit that people are told a figure in.
func UnitName(k report.Key, u report.Units) string {
	_, unit, _ := strings.Cut(k.Head(u), ", ")
	return unit
}

// Capital is a text that begins with a capital letter.
func Capital(s string) string {
	if s == "" {
		return ""
	}
	return UpperFirst(s)
}

// Cleaned is a text of people's own without what would steer whoever shows it: control and formatting characters
// become the replacement character.
func Cleaned(s string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\r' || r == '\t':
			return ' '
		case !unicode.IsPrint(r):
			return unicode.ReplacementChar
		}
		return r
	}, s))
}
