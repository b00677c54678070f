package report

import (
	"strings"

	"groundline/report/layout"
)

// A page is text being laid out, with tables.
type page struct{ layout.Page }

// title is the first row of a text.
func (p *page) title(s string) {
	p.Row(layout.Clip(s, layout.Width), true)
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
			widths[i] = max(widths[i], layout.Columns(c))
		}
	}
	for i := range heads {
		if widths[i] > 0 {
			widths[i] = max(widths[i], layout.Columns(heads[i]))
		}
	}
	p.Blank()
	p.cells(heads, widths, true)
	indent := min(widths[0], layout.Width/4) + 3
	for _, r := range rows {
		if r.cells != nil {
			p.cells(r.cells, widths, false)
		}
		if r.below != "" {
			p.Para(strings.Repeat(" ", indent), indent, r.below)
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
		if len(over) > 0 || used > 0 && used+1+layout.Columns(c) > layout.Width {
			if c != "" {
				over = append(over, c)
			}
			continue
		}
		row += " " + c + strings.Repeat(" ", widths[i]-layout.Columns(c)) + " "
		used += widths[i] + 2
	}
	p.Row(row, heading)
	if len(over) > 0 {
		p.Para(strings.Repeat(" ", 8), 8, strings.Join(over, "  "))
	}
}
