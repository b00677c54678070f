package page

import (
	"fmt"
	"strings"

	"groundline/report"
)

// lineRow is one ride of a line in its table.
type lineRow struct {
	ID string
	report.ToldLine
	// Narrow are the words below the row on a phone, where the table has fewer columns.
	Narrow, Below string
}

func lineID(i int) string { return fmt.Sprintf("line-%d", i+1) }

func (v *view) lineRows() []lineRow {
	var out []lineRow
	for i, l := range v.told.Lines {
		r := lineRow{ID: lineID(i), ToldLine: l}
		var narrow, below []string
		r.Ground = joined([]string{l.Ground, l.Track})
		narrow = append(narrow, r.Ground)
		below = append(below, l.Words)
		if l.Turn != "" && l.Turn != "straight" {
			words := l.Turn
			if l.Radius != "" {
				words += ", radius " + l.Radius + " " + v.told.Unit
			}
			if l.Slowest != "" {
				words += ", slowest " + l.Slowest + " m/min"
			}
			narrow = append(narrow, words)
		}
		if l.Drift != "" {
			narrow = append(narrow, "drift "+l.Drift+" m/min")
		}
		r.Narrow, r.Below = strings.Join(narrow, "; "), joined(below)
		out = append(out, r)
	}
	return out
}

func joined(parts []string) string {
	var out []string
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, ", ")
}

// effortRow is one effort in its table.
type effortRow struct {
	ID string
	report.ToldEffort
	Leads string
}

func effortID(i int) string { return fmt.Sprintf("effort-%d", i+1) }

func (v *view) effortRows() []effortRow {
	var out []effortRow
	for i, e := range v.told.Efforts {
		r := effortRow{ID: effortID(i), ToldEffort: e}
		if e.LeadIn != "" || e.LeadOut != "" {
			r.Leads = or(e.LeadIn) + ", " + or(e.LeadOut)
		}
		out = append(out, r)
	}
	return out
}

func or(s string) string {
	if s == "" {
		return "–"
	}
	return s
}
