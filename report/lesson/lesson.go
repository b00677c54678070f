// Package lesson lays the rides of one day over one course side by side: a row a pupil, a column an element of the course, in each cell how the
// line was ridden time after time.
package lesson

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"groundline/report"
)

// Ride is one ride of the lesson.
type Ride struct {
	ID      int64
	Pupil   string // whose it is: rides of the same text share a row
	At      time.Time
	Debrief *report.Debrief
}

// Matrix is a lesson.
type Matrix struct {
	Columns []Column
	Rows    []Row // by their first ride
}

// Column is an element: the line From an obstacle To the next, or with From "" the first obstacle alone.
type Column struct {
	From, To string
	Planned  *int // strides; nil where nobody counts
}

// Name is what the column is called.
func (c Column) Name() string {
	if c.From == "" {
		return c.To
	}
	return c.From + "–" + c.To
}

// Row is one pupil.
type Row struct {
	Pupil string
	Rides []int64   // in the order ridden
	Cells [][]Tried // one a column; each the pupil's tries in the order ridden
}

// Tried is one go at an element.
type Tried struct {
	RideID int64
	Nth    int    // which ride of the line in its ride, from 1; 0 for a refusal
	Count  string // strides in words, "" where they are not known
	// Word is what stands out, and Kind of which kind it is: "added", "less", "good", "stop", or "" for nothing that is sure.
	Word, Kind string
}

// Of lays rides side by side. Elements come in the order of the first ride's plan, then as they were ridden.
func Of(rides []Ride) Matrix {
	rides = slices.Clone(rides)
	slices.SortStableFunc(rides, func(a, b Ride) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.ID, b.ID)) })
	var m Matrix
	for _, r := range rides {
		m.columnsOf(r.Debrief)
	}
	for _, r := range rides {
		i := slices.IndexFunc(m.Rows, func(row Row) bool { return row.Pupil == r.Pupil })
		if i < 0 {
			i = len(m.Rows)
			m.Rows = append(m.Rows, Row{Pupil: r.Pupil, Cells: make([][]Tried, len(m.Columns))})
		}
		m.Rows[i].Rides = append(m.Rows[i].Rides, r.ID)
		m.add(&m.Rows[i], r)
	}
	return m
}

func (m *Matrix) columnsOf(d *report.Debrief) {
	add := func(c Column) {
		if i := m.column(c.From, c.To); i < 0 {
			m.Columns = append(m.Columns, c)
		} else if m.Columns[i].Planned == nil {
			m.Columns[i].Planned = c.Planned
		}
	}
	if d.Plan != nil && len(d.Plan.Route) > 0 {
		add(Column{To: d.Plan.Route[0]})
		for i := range len(d.Plan.Route) - 1 {
			add(Column{From: d.Plan.Route[i], To: d.Plan.Route[i+1]})
		}
	}
	for _, l := range d.Lines {
		if l.Kind != "between" {
			add(Column{From: l.From, To: l.To, Planned: l.PlannedStrides})
		}
	}
}

func (m *Matrix) column(from, to string) int {
	return slices.IndexFunc(m.Columns, func(c Column) bool { return c.From == from && c.To == to })
}

func (m *Matrix) add(row *Row, r Ride) {
	type timed struct {
		Tried
		column int
		atS    float64
	}
	var all []timed
	for i, l := range r.Debrief.Lines {
		k := m.column(l.From, l.To)
		if k < 0 {
			continue
		}
		t := timed{Tried: Tried{RideID: r.ID, Nth: l.Attempt, Count: report.CountWords(l)}, column: k}
		if d := r.Debrief.Ridden; d != nil && i < len(d.LineS) {
			t.atS = d.LineS[i][0]
		}
		switch off, known := report.OffPlan(l); {
		case known && off > 0:
			t.Word, t.Kind = fmt.Sprintf("added %d", off), "added"
		case known && off < 0:
			t.Word, t.Kind = fmt.Sprintf("left out %d", -off), "less"
		case known:
			t.Kind = "good"
		}
		all = append(all, t)
	}
	for _, e := range r.Debrief.Efforts {
		if e.Outcome != "refused" && e.Outcome != "ran out" || e.Obstacle == nil {
			continue
		}
		if k := slices.IndexFunc(m.Columns, func(c Column) bool { return c.To == *e.Obstacle }); k >= 0 {
			t := timed{Tried: Tried{RideID: r.ID, Word: e.Outcome, Kind: "stop"}, column: k}
			if e.TakeoffS != nil {
				t.atS = e.TakeoffS.Value
			}
			all = append(all, t)
		}
	}
	slices.SortStableFunc(all, func(a, b timed) int { return cmp.Compare(a.atS, b.atS) })
	for _, t := range all {
		row.Cells[t.column] = append(row.Cells[t.column], t.Tried)
	}
}

// Tried is the lesson without the elements that nobody has a try at to show, such as a first fence that all jumped.
func (m Matrix) Tried() Matrix {
	var out Matrix
	for _, row := range m.Rows {
		row.Cells = nil
		out.Rows = append(out.Rows, row)
	}
	for k, c := range m.Columns {
		if !slices.ContainsFunc(m.Rows, func(r Row) bool { return len(r.Cells[k]) > 0 }) {
			continue
		}
		out.Columns = append(out.Columns, c)
		for i := range out.Rows {
			out.Rows[i].Cells = append(out.Rows[i].Cells, m.Rows[i].Cells[k])
		}
	}
	return out
}
