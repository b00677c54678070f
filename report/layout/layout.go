// Package layout is how reports set figures and words for people, whatever they tell of: a number with the digits that its
// doubt leaves it, and text of 80 columns without anything in it that could steer a terminal.
package layout

import (
	"bufio"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Width is that of a text, in columns.
const Width = 80

// Page is a text being laid out. What it is given may hold names from files: characters that could steer a terminal are
// shown as �. An error of writing stays with Out, which tells it when it is flushed.
type Page struct {
	Out  *bufio.Writer
	Bold bool // headings in bold, for a terminal that shows it
}

// Row writes one row, without blanks at its end.
func (p *Page) Row(s string, heading bool) {
	s = Printable(strings.TrimRight(s, " "))
	if heading && p.Bold {
		s = "\x1b[1m" + s + "\x1b[0m"
	}
	fmt.Fprintln(p.Out, s)
}

// Heading starts a section.
func (p *Page) Heading(s string) {
	p.Blank()
	p.Row(s, true)
}

// Blank writes an empty row.
func (p *Page) Blank() { p.Row("", false) }

// Para writes words wrapped to the page, the first row after lead and the others indented by indent, or less where a
// long name would leave no room.
func (p *Page) Para(lead string, indent int, words string) {
	indent = min(indent, Width/4)
	row := lead
	for _, word := range strings.Fields(words) {
		blank := strings.TrimSpace(row) == ""
		if !blank && Columns(row)+1+Columns(word) > Width {
			p.Row(row, false)
			row, blank = strings.Repeat(" ", indent), true
		}
		if !blank && !strings.HasSuffix(row, " ") {
			row += " "
		}
		row += word
	}
	p.Row(row, false)
}

// Columns is how many columns a text takes, a rune each.
func Columns(s string) int { return utf8.RuneCountInString(s) }

// Clip cuts what would run over n columns, with a sign that it was cut.
func Clip(s string, n int) string {
	if Columns(s) <= n {
		return s
	}
	return string([]rune(s)[:n-1]) + "…"
}

// Printable is a text with what can't be seen in it, such as what steers a terminal or turns the reading direction,
// as the replacement character.
func Printable(s string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return unicode.ReplacementChar
		}
		return r
	}, s)
}

// Instant is an RFC 3339 instant as people write it, in UTC; the text as it is where it is none.
func Instant(rfc3339 string) string {
	t, err := time.Parse(time.RFC3339, rfc3339)
	if err != nil {
		return rfc3339
	}
	return t.UTC().Format("2 January 2006 15:04 UTC")
}

// Ordinal is 1st, 2nd, 3rd, 4th and so on.
func Ordinal(n int) string {
	end := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			end = "st"
		case 2:
			end = "nd"
		case 3:
			end = "rd"
		}
	}
	return fmt.Sprint(n) + end
}

// Count is a number with its noun: "1 refusal", "2 refusals".
func Count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// Plural is a number with its noun, whose plural is not the noun and an s: "1 fix", "2 fixes".
func Plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// ClockOffset is an offset of clocks: seconds, or hours and minutes for one of a zone's size.
func ClockOffset(s float64) string {
	a := math.Abs(s)
	if a < 120 {
		return fmt.Sprintf("%.1f s", s)
	}
	sign := ""
	if s < 0 {
		sign = "-"
	}
	tenths := int(math.Round(a * 10))
	h, m, rest := tenths/36000, tenths/600%60, float64(tenths%600)/10
	if h == 0 {
		return fmt.Sprintf("%s%d min %.1f s", sign, m, rest)
	}
	return fmt.Sprintf("%s%d h %d min %.1f s", sign, h, m, rest)
}
