package report

import (
	"bufio"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

const textWidth = 80 // columns

// A page is text being laid out: headings, wrapped paragraphs, tables. What it is given may hold
// names from files: characters that could steer a terminal are shown as �.
type page struct {
	out  *bufio.Writer
	bold bool // headings in bold
}

// row writes one row, without blanks at its end. An error stays with the writer, which tells it when it
// is flushed.
func (p *page) row(s string, heading bool) {
	s = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return unicode.ReplacementChar
		}
		return r
	}, strings.TrimRight(s, " "))
	if heading && p.bold {
		s = "\x1b[1m" + s + "\x1b[0m"
	}
	fmt.Fprintln(p.out, s)
}

// title is the first row of a text.
func (p *page) title(s string) {
	if r := []rune(s); len(r) > textWidth {
		s = string(r[:textWidth-1]) + "…"
	}
	p.row(s, true)
}

// heading starts a section.
func (p *page) heading(s string) {
	p.blank()
	p.row(s, true)
}

func (p *page) blank() { p.row("", false) }

// para writes words wrapped to the page, the first row after lead and the others indented
// by indent, or less where a long name would leave no room.
func (p *page) para(lead string, indent int, text string) {
	indent = min(indent, textWidth/4)
	row := lead
	for _, word := range strings.Fields(text) {
		blank := strings.TrimSpace(row) == ""
		if !blank && utf8.RuneCountInString(row)+1+utf8.RuneCountInString(word) > textWidth {
			p.row(row, false)
			row, blank = strings.Repeat(" ", indent), true
		}
		if !blank && !strings.HasSuffix(row, " ") {
			row += " "
		}
		row += word
	}
	p.row(row, false)
}

// A tableRow is cells, or words that stand below the cells before them.
type tableRow struct {
	cells []string
	below string
}

// table writes a section as rows under a head row, columns two blanks apart, leaving out
// columns that are empty in every row. Words below a row start under its second column.
// Where a row grows wider than the page its last cells move below it.
func (p *page) table(heads []string, rows []tableRow) {
	widths := make([]int, len(heads))
	for _, r := range rows {
		for i, c := range r.cells {
			widths[i] = max(widths[i], utf8.RuneCountInString(c))
		}
	}
	for i := range heads {
		if widths[i] > 0 {
			widths[i] = max(widths[i], utf8.RuneCountInString(heads[i]))
		}
	}
	p.blank()
	p.cells(heads, widths, true)
	indent := min(widths[0], textWidth/4) + 3
	for _, r := range rows {
		if r.cells != nil {
			p.cells(r.cells, widths, false)
		}
		if r.below != "" {
			p.para(strings.Repeat(" ", indent), indent, r.below)
		}
	}
}

func (p *page) cells(cells []string, widths []int, heading bool) {
	row := ""
	var over []string
	used := 0
	for i, c := range cells {
		if widths[i] == 0 {
			continue
		}
		if len(over) > 0 || used > 0 && used+1+utf8.RuneCountInString(c) > textWidth {
			if c != "" {
				over = append(over, c)
			}
			continue
		}
		row += " " + c + strings.Repeat(" ", widths[i]-utf8.RuneCountInString(c)) + " "
		used += widths[i] + 2
	}
	p.row(row, heading)
	if len(over) > 0 {
		p.para(strings.Repeat(" ", 8), 8, strings.Join(over, "  "))
	}
}
