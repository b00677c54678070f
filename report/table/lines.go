package table

import (
	"encoding/csv"
	"io"
	"strconv"

	"groundline/report"
	"groundline/report/layout"
	"groundline/trace"
)

// LineRow is one ride of a line, with every figure of the table of figures that the recording shows.
type LineRow struct {
	Recording, Horse, Round, Basis string
	Line, Kind                     string // Line as from-to
	Attempt                        int
	StridesBy                      string
	DistanceM                      *float64 // the plan's
	PlannedStrides                 *int
	Figures                        map[report.Key]trace.Estimate
}

// lineDecimals is finer than any recording shows a figure in SI units.
const lineDecimals = 4

// lineColumn is a column of the line table that is no figure.
type lineColumn struct {
	name, unit, kind, meaning, derived string
	required                           bool
	text                               func(*LineRow) string
}

func lineColumns() []lineColumn {
	return []lineColumn{
		{"recording", "", "text", "the ride that the line is from", "as in the stride table", true, func(r *LineRow) string { return r.Recording }},
		{"horse", "", "text", "the horse's name", "as in the stride table", false, func(r *LineRow) string { return r.Horse }},
		{"round", "", "text", "the round that the line is from", "as in the stride table", false, func(r *LineRow) string { return r.Round }},
		{"line", "", "text", "the line, as from-to with the plan's obstacle ids", "the route, or the jumps in their order", true,
			func(r *LineRow) string { return r.Line }},
		{"attempt", "", "whole number", "which ride of this line within the recording, from 1", "counted in time order", true,
			func(r *LineRow) string { return strconv.Itoa(r.Attempt) }},
		{"kind", "", "text", "related, bending, rollback, combination, single or between", "the plan, or its geometry", true,
			func(r *LineRow) string { return r.Kind }},
		{"distance_m", "m", "number, 4 decimals", "the plan's distance, back of the first to front of the second", "walked where it was, else by the map", false,
			func(r *LineRow) string { return figureText(r.DistanceM) }},
		{"planned_strides", "", "whole number", "strides that the distance asks of a 12-ft stride", "the trade's table", false,
			func(r *LineRow) string {
				if r.PlannedStrides == nil {
					return ""
				}
				return strconv.Itoa(*r.PlannedStrides)
			}},
		{"basis", "", "text", "what the ride's figures rest on: position+motion, position or motion", "what the files hold", true,
			func(r *LineRow) string { return r.Basis }},
		{"strides_by", "", "text", "counted or estimated; missing without strides", "as in the stride table", false,
			func(r *LineRow) string { return r.StridesBy }},
	}
}

func figureText(x *float64) string {
	if x == nil {
		return ""
	}
	return strconv.FormatFloat(layout.Round(*x, lineDecimals)+0, 'f', -1, 64)
}

// lineRowsOf are the rows of a ride.
func lineRowsOf(d *report.Debrief, s Source) []LineRow {
	rows := []LineRow{}
	for _, q := range d.RiddenLines() {
		l := q.Line
		row := LineRow{Recording: s.Recording, Horse: s.Horse, Round: roundOf(s.Round, l.Round, len(d.Rounds)), Basis: d.Basis, Line: l.From + "-" + l.To,
			Kind: l.Kind, Attempt: l.Attempt, StridesBy: l.StridesBy, DistanceM: l.DistanceM, PlannedStrides: l.PlannedStrides,
			Figures: map[report.Key]trace.Estimate{}}
		for _, f := range report.Figures() {
			if e := f.Of(q); e != nil {
				row.Figures[f.Key] = *e
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// LineWriter writes the line table as CSV: one row a ridden line; a figure has its value and, as _low and _high, the ends of
// its 90 % interval. Close ends it; it does not close what is below.
type LineWriter struct{ out *csv.Writer }

// NewLineWriter writes the head.
func NewLineWriter(w io.Writer) (*LineWriter, error) {
	l := &LineWriter{csv.NewWriter(w)}
	var head []string
	for _, c := range lineColumns() {
		head = append(head, c.name)
	}
	for _, f := range report.Figures() {
		k := string(f.Key)
		head = append(head, k, k+"_low", k+"_high")
	}
	return l, l.out.Write(head)
}

// Write adds the lines of a ride.
func (w *LineWriter) Write(rows []LineRow) error {
	for i := range rows {
		var cells []string
		for _, c := range lineColumns() {
			cells = append(cells, c.text(&rows[i]))
		}
		for _, f := range report.Figures() {
			if e, ok := rows[i].Figures[f.Key]; ok {
				cells = append(cells, figureText(&e.Value), figureText(&e.Low), figureText(&e.High))
			} else {
				cells = append(cells, "", "", "")
			}
		}
		if err := w.out.Write(cells); err != nil {
			return err
		}
	}
	return nil
}

// Close writes what is left.
func (w *LineWriter) Close() error {
	w.out.Flush()
	return w.out.Error()
}

// lineDictionary are the dictionary's rows of the line table.
func lineDictionary() (rows [][]string) {
	for _, c := range lineColumns() {
		rows = append(rows, []string{c.name, c.unit, c.kind, missingWords(c.required), c.meaning, c.derived, "lines"})
	}
	for _, f := range report.Figures() {
		for _, end := range []struct{ suffix, meaning string }{{"", ""}, {"_low", "lower end of the 90 % interval: "}, {"_high", "upper end of the 90 % interval: "}} {
			rows = append(rows, []string{string(f.Key) + end.suffix, f.Unit.SI(), "number, 4 decimals", missingWords(false), end.meaning + f.Meaning, f.Derived, "lines"})
		}
	}
	return rows
}

func missingWords(required bool) string {
	if required {
		return "never"
	}
	return "may be"
}
