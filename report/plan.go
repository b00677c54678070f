package report

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"groundline/course"
)

// PlanOptions are the choices of who checks a plan.
type PlanOptions struct {
	Units   Units   // Metric when empty
	Bold    bool    // headings in bold, for a terminal that shows it
	StrideM float64 // the horse's canter stride; the 12-ft stride of the distance tables when 0
}

// toldStrides is the most strides that are told for a way in a plan: beyond it nobody counts on a course
// walk, and the way is as long as it is ridden.
const toldStrides = 9

// PlanText tells what a plan says: route, lines with distances and the strides they ride in, slope, the
// length of the track, the time allowed, and what should be looked at.
func PlanText(w io.Writer, p *course.Plan, warnings []course.Warning, opt PlanOptions) error {
	if opt.Units == "" {
		opt.Units = Metric
	}
	strideM := opt.StrideM
	if strideM == 0 {
		strideM = course.StandardStrideM
	}
	out := bufio.NewWriter(w)
	pg := &page{out: out, bold: opt.Bold}
	track := p.PlanTrack(strideM)
	pg.title(p.Name)
	pg.para("", 0, fmt.Sprintf("%s, route %s.", count(len(p.Obstacles), "obstacle"), strings.Join(p.Route, " ")))
	writePlanLines(pg, p, track, strideM, opt.Units)
	writePlanTrack(pg, p, track)
	writeWarnings(pg, warnings)
	fmt.Fprintln(out)
	pg.para("", 0, "Distances are guides: horse or pony, height, ground, slope and home change them; err on the long side "+
		"in training and watch the horse. The instructor on the ground and the rules in force decide.")
	return out.Flush()
}

func writePlanLines(pg *page, p *course.Plan, track course.Track, strideM float64, units Units) {
	if len(p.Lines) == 0 {
		return
	}
	q := units.length()
	var rows []tableRow
	derived := false
	for i, l := range p.Lines {
		cells := []string{l.From + " to " + l.To, string(l.Kind), "", q.number(l.MapM*q.perSI, q.decimals), "", "", ""}
		if l.WalkedM != nil {
			cells[2] = q.number(*l.WalkedM*q.perSI, q.decimals)
		}
		wayM := p.WayM(track, i)
		if wayM > l.DistanceM() {
			cells[4] = q.number(wayM*q.perSI, q.decimals-1)
		}
		from, _ := p.Obstacle(l.From)
		to, _ := p.Obstacle(l.To)
		heightM := (from.HeightM + to.HeightM) / 2
		if asked := course.StridesIn(wayM, strideM, heightM); asked >= 0 && asked < toldStrides+0.5 {
			n := course.PlannedStrides(wayM, strideM, heightM)
			cells[5] = fmt.Sprintf("%d (%.1f)", n, asked)
			// The stride that makes the whole number fit: distances grow in proportion to it.
			cells[6] = q.number(wayM/course.LineDistanceM(n, 1, heightM)*q.perSI, q.decimals)
		}
		below := ""
		if l.Derived {
			derived = true
			cells[1] += " *"
			below = l.Why
		}
		rows = append(rows, tableRow{cells: cells, below: below})
	}
	pg.table([]string{"Lines, " + q.unit, "", "walked", "map", "track", "strides", "asks each"}, rows)
	keys := []string{fmt.Sprintf("Strides for a canter stride of %s: whole, and as the distance asks.", q.plain(strideM))}
	if derived {
		keys = append(keys, "* the plan does not say; found from the places.")
	}
	pg.para(" ", 1, strings.Join(keys, " "))
}

// writePlanTrack tells the length of the track that a horse would normally follow and the time that
// the prescribed speed allows for it.
func writePlanTrack(pg *page, p *course.Plan, track course.Track) {
	if len(track.Legs) == 0 {
		return
	}
	pg.heading("Track")
	from, to := "the start line", "the finish line"
	if !track.FromStart {
		from = "the first obstacle"
	}
	if !track.ToFinish {
		to = "the last"
	}
	words := fmt.Sprintf("%.0f m from %s to %s on the way a horse would normally follow.", track.LengthM, from, to)
	if p.SpeedMMin > 0 {
		words += fmt.Sprintf(" At %g m/min: time allowed %.0f s, by this track.", p.SpeedMMin, course.TimeAllowedS(track.LengthM, p.SpeedMMin))
	}
	pg.para(" ", 1, words)
	for _, l := range track.Legs {
		if l.OutsideM > 0.1 {
			pg.para(" ", 1, fmt.Sprintf("%s to %s: the tightest sensible turn leaves the arena by %.1f m.", l.From, l.To, l.OutsideM))
		}
	}
}

func writeWarnings(pg *page, warnings []course.Warning) {
	if len(warnings) == 0 {
		return
	}
	pg.heading("To look at")
	for i, w := range warnings {
		n := w.Note()
		words := n.What
		if w.Line > 0 {
			words = fmt.Sprintf("row %d of the file, %s", w.Line, words)
		}
		if n.Why != "" {
			words += ": " + n.Why
		}
		lead := fmt.Sprintf(" %d ", i+1)
		pg.para(lead, len(lead), strings.TrimSuffix(words, ".")+".")
	}
}
