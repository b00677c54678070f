package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"

	"groundline/course/survey"
	"groundline/report/layout"
	"groundline/trace"
)

// SurveyOptions are the choices of who surveys a course.
type SurveyOptions struct {
	Units Units // Metric when empty
	Bold  bool  // headings in bold, for a terminal that shows it
	Plan  string
}

// SurveyText tells what a course walk became: which mark what, how well the tape fits, how sure each place and
// line is, and what to check on the ground. opt.Plan is the file that the plan was written to; "" if none.
func SurveyText(w io.Writer, s *survey.Survey, opt SurveyOptions) error {
	if opt.Units == "" {
		opt.Units = Metric
	}
	out := bufio.NewWriter(w)
	pg := &page{layout.Page{Out: out, Bold: opt.Bold}}
	name := s.Plan.Name
	if name == "" {
		name = "Course walk"
	}
	pg.title(name)
	taken := 0
	for _, m := range s.Marks {
		if !strings.HasPrefix(m.Became, "left out") {
			taken++
		}
	}
	words := fmt.Sprintf("%s from %d of %s", layout.Count(len(s.Obstacles), "obstacle"), taken, layout.Count(len(s.Marks), "mark"))
	if len(s.Tapes) > 0 {
		words += fmt.Sprintf(" and %d of %s", s.Redundancy, layout.Count(len(s.Tapes), "distance"))
	}
	pg.Para("", 0, words+"; route "+strings.Join(s.Plan.Route, " ")+".")
	pg.Para("", 0, s.Frame+".")
	writeSurveyChecks(pg, s)
	writeSurveyObstacles(pg, s, opt.Units)
	writeSurveyTapes(pg, s, opt.Units)
	writeSurveyMarks(pg, s, opt.Units)
	pg.Blank()
	if opt.Plan != "" {
		pg.Para("", 0, "The plan is in "+opt.Plan+", a draft: correct it, then run groundline plan check.")
	} else {
		pg.Para("", 0, "Nothing was written: -o course.yaml writes the plan.")
	}
	return out.Flush()
}

// writeSurveyChecks comes first: it is what somebody still on the ground can do something about.
func writeSurveyChecks(pg *page, s *survey.Survey) {
	if len(s.Checks) > 0 {
		pg.Heading("To check on the ground")
		for _, c := range s.Checks {
			pg.Para(" - ", 3, c+".")
		}
	}
	if len(s.Notes) > 0 {
		pg.Heading("What was doubtful")
		for _, n := range s.Notes {
			pg.Para(" - ", 3, n.What+": "+n.Why+".")
		}
	}
}

func writeSurveyObstacles(pg *page, s *survey.Survey, units Units) {
	q := units.length()
	var rows []tableRow
	for i, o := range s.Plan.Obstacles {
		d := s.Obstacles[i]
		facing := degrees().plain(o.FacingDeg)
		if d.FacingSDDeg != nil {
			facing = degrees().measured(trace.FromSD(o.FacingDeg, *d.FacingSDDeg))
		}
		from := d.FacingFrom
		if d.Doubtful {
			from += " (?)"
		}
		rows = append(rows, tableRow{cells: []string{o.ID, string(o.Kind), layout.Number(o.At.X*q.perSI, q.decimals-1), layout.Number(o.At.Y*q.perSI, q.decimals-1),
			"±" + q.doubt(q.half(trace.FromSD(0, d.PlaceSDM))), facing, from}})
	}
	pg.table([]string{"Obstacles, " + q.unit, "", "x", "y", "", "facing", "found by"}, rows)
	pg.Para(" ", 1, "± holds nine times in ten, against the middle of the course; all of it may lie some metres off on the map, which placing a ride on it takes out.")
	if len(s.Lines) == 0 {
		return
	}
	rows = nil
	for _, l := range s.Lines {
		row := tableRow{cells: []string{l.From + " to " + l.To, q.bare(l.M), ""}}
		for _, p := range s.Plan.Lines {
			if p.From == l.From && p.To == l.To {
				row.cells[2] = string(p.Kind)
			}
		}
		rows = append(rows, row)
	}
	pg.table([]string{"Lines, " + q.unit, "back to front", "as they stand"}, rows)
}

func writeSurveyTapes(pg *page, s *survey.Survey, units Units) {
	if len(s.Tapes) == 0 {
		pg.Heading("Tape")
		pg.Para(" ", 1, fmt.Sprintf("None. Places are the receiver's alone, each off by %s or so; a tape from obstacle to obstacle makes lines right to a hand's breadth.",
			units.radius().plain(s.ReceiverSDM)))
		return
	}
	q := units.length()
	var rows []tableRow
	for _, t := range s.Tapes {
		cells := []string{t.From + " to " + t.To, layout.Number(t.MeasuredM*q.perSI, q.decimals), signed(q, t.ResidualM), fmt.Sprintf("%+.1f", t.W),
			fmt.Sprintf("%.0f %%", 100*t.Redundancy), layout.Number(t.DetectableM*q.perSI, q.decimals-1), ""}
		if t.Out {
			cells[4], cells[5], cells[6] = "", "", "not used"
		}
		rows = append(rows, tableRow{cells: cells})
	}
	pg.table([]string{"Tape, " + q.unit, "measured", "off by", "w", "checked", "finds", ""}, rows)
	pg.Para(" ", 1, fmt.Sprintf("Off by: adjusted less measured. w: that over its standard deviation, beyond ±3.3 in one right distance of a thousand. "+
		"Checked: how far the rest tells the distance without the tape. Finds: the least misreading that would be seen. "+
		"Squares sum up to %.1f, where %d would be usual.", s.ChiSquared, s.Redundancy))
}

// shortened is a mark's name as it fits into the page.
func shortened(name string) string {
	const most = 20
	r := []rune(name)
	switch {
	case len(r) == 0:
		return "(no name)"
	case len(r) > most:
		return string(r[:most-1]) + "…"
	}
	return name
}

func signed(q quantity, si float64) string {
	v := layout.Number(si*q.perSI, q.decimals)
	if !strings.HasPrefix(v, "-") {
		v = "+" + v
	}
	return v
}

func writeSurveyMarks(pg *page, s *survey.Survey, units Units) {
	q := units.length()
	var rows []tableRow
	for _, m := range s.Marks {
		cells := []string{shortened(m.Name), m.Became, "", ""}
		if m.StoodS > 0 {
			cells[2] = fmt.Sprintf("%.0f s", math.Round(m.StoodS))
		}
		if m.MovedM != nil {
			cells[3] = layout.Number(*m.MovedM*q.perSI, q.decimals-1)
		}
		if m.Off {
			cells[3] += " off"
		}
		rows = append(rows, tableRow{cells: cells})
	}
	pg.table([]string{"Marks", "became", "stood", "moved, " + q.unit}, rows)
}
