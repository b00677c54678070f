package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"

	"groundline/course"
	"groundline/report/layout"
)

// PlanOptions are the choices of who checks a plan.
type PlanOptions struct {
	Units Units // Metric when empty
	Bold  bool  // headings in bold, for a terminal that shows it
	// Horse is the size of horse or pony that the strides are for; the first of [course.Profiles], with
	// the 12-ft stride of the distance tables, when its stride is 0.
	Horse course.Profile
}

const (
	// Beyond so many strides nobody counts on a course walk, and a way is as long as it is ridden.
	toldStrides = 9
	// Slopes below this are within what spot heights of a centimetre tell over a line (ours).
	toldGrade = 0.005
	// Half way between straight home and square to it.
	toldHomeward = 0.5
)

// PlanText tells what a plan says: route, lines with distances and the strides they ride in, slope,
// length of the track, time allowed, and what should be looked at. warnings are those of reading the
// plan; those of [course.Plan.Check] are added.
func PlanText(w io.Writer, p *course.Plan, warnings []course.Warning, opt PlanOptions) error {
	if opt.Units == "" {
		opt.Units = Metric
	}
	if opt.Horse.StrideM == 0 {
		opt.Horse = course.Profiles()[0]
	}
	rules := course.TimeRuleSets()[0]
	f := p.Figures(opt.Horse, rules)
	out := bufio.NewWriter(w)
	pg := &page{layout.Page{Out: out, Bold: opt.Bold}}
	pg.title(courseName(p.Name))
	pg.Para("", 0, fmt.Sprintf("%s, %s; route %s.", layout.Count(f.Obstacles, "obstacle"), layout.Count(f.Efforts, "effort"), strings.Join(p.Route, " ")))
	writePlanLines(pg, p, f, opt)
	writePlanTrack(pg, p, f)
	writeWarnings(pg, append(append([]course.Warning{}, warnings...), f.Warnings...))
	pg.Blank()
	var cautions []string
	for _, c := range f.Cautions {
		cautions = append(cautions, c.What+" "+c.Why)
	}
	pg.Para("", 0, strings.Join(cautions, " "))
	return out.Flush()
}

// courseName is a plan's name, or words in its place where it has none.
func courseName(name string) string {
	if strings.TrimSpace(name) == "" {
		return "Course without a name"
	}
	return name
}

func writePlanLines(pg *page, p *course.Plan, f course.Figures, opt PlanOptions) {
	told := tellPlanLines(p, f, opt)
	if len(told.Lines) == 0 {
		return
	}
	var rows []tableRow
	for _, l := range told.Lines {
		rows = append(rows, tableRow{cells: []string{l.From + " to " + l.To, l.Kind, l.Walked, l.Map, l.Track, l.Strides, l.Asks}, below: l.Words})
	}
	pg.table([]string{"Lines, " + told.Unit, "", "walked", "map", "track", "strides", "asks each"}, rows)
	pg.Para(" ", 1, told.Key)
}

// PlanTold are a plan's lines in words, of which text and page are made.
type PlanTold struct {
	Unit  string // of the lengths
	Lines []PlanToldLine
	Key   string // what the columns mean
}

// PlanToldLine is one line of the route. Cells are empty where there is nothing to tell.
type PlanToldLine struct {
	From, To, Kind     string // a kind with * was found from the places
	Walked, Map, Track string // distance by tape and map, and along the planned track where that is longer
	Strides, Asks      string // strides and what they ask of each, where riders count
	Words              string
}

// TellPlan words the lines of a plan. opt.Bold is not looked at.
func TellPlan(p *course.Plan, opt PlanOptions) PlanTold {
	if opt.Units == "" {
		opt.Units = Metric
	}
	if opt.Horse.StrideM == 0 {
		opt.Horse = course.Profiles()[0]
	}
	return tellPlanLines(p, p.Figures(opt.Horse, course.TimeRuleSets()[0]), opt)
}

func tellPlanLines(p *course.Plan, f course.Figures, opt PlanOptions) PlanTold {
	q := opt.Units.length()
	told := PlanTold{Unit: q.unit, Key: fmt.Sprintf("Strides for a %s with a canter stride of %s: whole, and as the distance asks.",
		opt.Horse.Name, q.plain(opt.Horse.StrideM))}
	derived := false
	for _, l := range f.Lines {
		line := PlanToldLine{From: l.From, To: l.To, Kind: string(l.Kind), Map: q.bareNumber(l.MapM), Words: wayWords(l, opt.Units)}
		if l.WalkedM != nil {
			line.Walked = q.bareNumber(*l.WalkedM)
		}
		if l.WayM > l.DistanceM() {
			line.Track = layout.Number(l.WayM*q.perSI, q.decimals-1)
		}
		from, _ := p.Obstacle(l.From)
		to, _ := p.Obstacle(l.To)
		heightM := (from.HeightM + to.HeightM) / 2
		if asked := course.StridesIn(l.WayM, opt.Horse.StrideM, heightM); asked >= 0 && asked < toldStrides+0.5 {
			n := course.PlannedStrides(l.WayM, opt.Horse.StrideM, heightM)
			line.Strides = fmt.Sprintf("%d (%.1f)", n, asked)
			// The stride that makes the whole number fit: distances grow in proportion to it.
			line.Asks = layout.Number(l.WayM/course.LineDistanceM(n, 1, heightM)*q.perSI, q.decimals)
		}
		if l.Derived {
			derived = true
			line.Kind += " *"
		}
		told.Lines = append(told.Lines, line)
	}
	if derived {
		told.Key += " * not in the plan, found from the places."
	}
	return told
}

// wayWords is what a rider wants to know of a way beside its length: turn, slope, home, and why it is of its kind.
func wayWords(l course.LineFigures, units Units) string {
	var said []string
	if l.TightestM != nil && math.Abs(l.TurnedDeg) >= 1 {
		side := "right"
		if l.TurnedDeg < 0 {
			side = "left"
		}
		said = append(said, fmt.Sprintf("turns %s %s, radius %s", side, degrees().plain(math.Abs(l.TurnedDeg)), units.radius().plain(*l.TightestM)))
	}
	if g := l.Grade; g != nil && math.Abs(*g) >= toldGrade {
		word := "rises"
		if *g < 0 {
			word = "falls"
		}
		said = append(said, fmt.Sprintf("%s %.1f %%", word, 100*math.Abs(*g)))
	}
	if h := l.Homeward; h != nil {
		switch {
		case *h > toldHomeward:
			said = append(said, "towards home")
		case *h < -toldHomeward:
			said = append(said, "away from home")
		}
	}
	if l.Derived {
		said = append(said, l.Why)
	}
	return strings.Join(said, "; ")
}

// writePlanTrack tells of the whole track; see trackWords.
func writePlanTrack(pg *page, p *course.Plan, f course.Figures) {
	pg.Heading("Track and ground")
	for _, words := range trackWords(p, f) {
		pg.Para(" ", 1, words)
	}
}

// trackWords tell the length of the track that a horse would normally follow, the time that the prescribed speed
// allows for it, and how the ground lies.
func trackWords(p *course.Plan, f course.Figures) (said []string) {
	if f.LengthM > 0 {
		from, to := "the start line", "the finish line"
		if !f.Track.FromStart {
			from = "the first obstacle"
		}
		if !f.Track.ToFinish {
			to = "the last obstacle"
		}
		words := fmt.Sprintf("%.0f m from %s to %s as a horse would normally go.", f.LengthM, from, to)
		if f.TimeAllowedS != nil {
			words += fmt.Sprintf(" At %g m/min: time allowed %.0f s, limit %.0f s; the rules in force decide.", p.SpeedMMin, *f.TimeAllowedS, *f.TimeLimitS)
		} else if p.SpeedMMin > 0 {
			words += " No time allowed: it needs a start and a finish."
		}
		said = append(said, words)
	}
	if f.Ground == nil {
		return append(said, "No slope: "+f.WhyLevel+".")
	}
	return append(said, groundLies(p, f.Ground))
}

// groundLies is the slope in the middle of the obstacles, and where it falls to.
func groundLies(p *course.Plan, ground *course.Surface) string {
	var x, y float64
	for _, o := range p.Obstacles {
		x += o.At.X / float64(len(p.Obstacles))
		y += o.At.Y / float64(len(p.Obstacles))
	}
	right, forward := ground.GradeAlong(x, y, 90), ground.GradeAlong(x, y, 0)
	grade := math.Hypot(right, forward)
	off := fmt.Sprintf("spot heights lie up to %.2f m off the plane", ground.ResidualMaxM)
	if ground.ResidualMaxM < 0.005 {
		off = "all spot heights lie in one plane"
	}
	if grade < toldGrade {
		return "Level in the middle of the course; " + off + "."
	}
	falls := math.Atan2(-right, -forward) * 180 / math.Pi
	ways := []string{"far end", "far right", "right", "near right", "near end", "near left", "left", "far left"}
	towards := "towards the " + ways[int(math.Round(math.Mod(falls+720, 360)/45))%8] + " of the plan"
	if p.Anchor != nil {
		points := []string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}
		towards = "to the " + points[int(math.Round(math.Mod(falls+p.Anchor.BearingDeg+720, 360)/45))%8]
	}
	return fmt.Sprintf("Falls %.1f %% %s in the middle of the course; %s.", 100*grade, towards, off)
}

func writeWarnings(pg *page, warnings []course.Warning) {
	if len(warnings) == 0 {
		return
	}
	pg.Heading("To look at")
	for i, words := range warningWords(warnings) {
		lead := fmt.Sprintf(" %d ", i+1)
		pg.Para(lead, len(lead), words)
	}
}

// warningWords are what should be looked at, each with why and by which source.
func warningWords(warnings []course.Warning) (said []string) {
	for _, w := range warnings {
		n := w.Note()
		words := n.What
		if w.Line > 0 {
			words = fmt.Sprintf("row %d of the file, %s", w.Line, words)
		}
		if n.Why != "" {
			words += ": " + n.Why
		}
		said = append(said, strings.TrimSuffix(words, ".")+".")
	}
	return said
}
