package page

import (
	"fmt"
	"strings"
)

// table is a table of the page without the columns that are empty in every row.
type table struct {
	Heads []column
	Rows  []tableRow
}

// column is a head. A wide column is left out on a phone, where its words stand below the row.
type column struct {
	Name string
	Wide bool
}

// tableRow is a row with what stands below it.
type tableRow struct {
	ID, Name, Small string
	Cells           []cell
	// Narrow are the words of the wide columns, for phones; Below what is told at any width.
	Narrow, Below string
}

type cell struct {
	Text string
	Wide bool
}

func lineID(i int) string { return fmt.Sprintf("line-%d", i+1) }

func effortID(i int) string { return fmt.Sprintf("effort-%d", i+1) }

func (v *view) linesTable() *table {
	unit := v.told.Unit
	heads := []column{{"Line", false}, {"Kind", true}, {"Strides", false}, {"Each, " + unit, false}, {"In, out, m/min", false},
		{"Gained, m/min", true}, {"Turn", true}, {"Radius, " + unit, true}, {"Slowest, m/min", true}, {"Rode", false}}
	var rows []tableRow
	var cells [][]string
	// Pace in and out stay in one row where a doubt goes to the next.
	for i, l := range v.told.Lines {
		kind := joined(l.Ground, l.Track)
		narrow := []string{kind}
		if l.Turn != "" && l.Turn != "straight" {
			words := l.Turn
			if l.Radius != "" {
				words += ", radius " + withUnit(l.Radius, unit)
			}
			if l.Slowest != "" {
				words += ", slowest " + withUnit(l.Slowest, "m/min")
			}
			narrow = append(narrow, words)
		}
		if l.Drift != "" {
			narrow = append(narrow, gained(withUnit(l.Drift, "m/min")))
		}
		rows = append(rows, tableRow{ID: lineID(i), Name: l.Name, Small: l.Ride, Narrow: strings.Join(narrow, "; "), Below: l.Words})
		cells = append(cells, []string{kind, l.Strides, l.Length, strings.ReplaceAll(l.Pace, ", ", ",\u00a0"), l.Drift, l.Turn, l.Radius, l.Slowest, l.Rode})
	}
	return newTable(heads, rows, cells)
}

// gained is a change of pace with its sign, in words.
func gained(change string) string {
	for _, minus := range []string{"-", "\u2212"} {
		if lost, is := strings.CutPrefix(change, minus); is {
			return "lost " + lost
		}
	}
	return "gained " + strings.TrimPrefix(change, "+")
}

func (v *view) effortsTable() *table {
	unit := v.told.Unit
	heads := []column{{"Obstacle", false}, {"Outcome", false}, {"Take-off, s", false}, {"Off, " + unit, false}, {"Land, " + unit, false},
		{"Over, m/min", false}, {"Angle", false}, {"Leads in, out", false}, {"Sure", false}}
	var rows []tableRow
	var cells [][]string
	for i, e := range v.told.Efforts {
		leads := ""
		if e.LeadIn != "" || e.LeadOut != "" {
			leads = or(e.LeadIn) + ", " + or(e.LeadOut)
		}
		rows = append(rows, tableRow{ID: effortID(i), Name: e.Name})
		cells = append(cells, []string{e.Outcome, e.Takeoff, e.TakeoffDistance, e.LandingDistance, e.Pace, e.Angle, leads, e.Sure})
	}
	return newTable(heads, rows, cells)
}

// newTable is rows under heads, of which the first is the names'; nil without rows.
func newTable(heads []column, rows []tableRow, cells [][]string) *table {
	if len(rows) == 0 {
		return nil
	}
	t := &table{Heads: heads[:1:1], Rows: rows}
	for k, h := range heads[1:] {
		told := false
		for _, c := range cells {
			told = told || c[k] != ""
		}
		if !told {
			continue
		}
		t.Heads = append(t.Heads, h)
		for i := range rows {
			rows[i].Cells = append(rows[i].Cells, cell{cells[i][k], h.Wide})
		}
	}
	return t
}

// withUnit puts a unit behind a number and before its doubt: "8.6 m ±1.1".
func withUnit(figure, unit string) string {
	number, doubt, found := strings.Cut(figure, " ")
	if !found {
		return number + " " + unit
	}
	return number + " " + unit + " " + doubt
}

// joined are the parts that are not empty.
func joined(parts ...string) string {
	var out []string
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, ", ")
}

func or(s string) string {
	if s == "" {
		return "–"
	}
	return s
}
