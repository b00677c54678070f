// Package sketch is what a course editor needs of a plan while it is being drawn: every figure and every line to draw, as
// one JSON object.
//
// An editor moves a fence and asks anew, some ten times a second. It sends the plan as [Fields], which [Read] understands
// by the reader of plan files, so that what can be saved and what can be sketched are the same, and faults are told by
// the path of the field. [Of] then walks the plan for one horse and lays down distances, strides, tracks as points to
// join, contours, and what should be looked at beside the thing that it is about. Nothing here knows of pages or requests,
// and an editor needs no geometry of its own beyond drawing and moving.
package sketch

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"

	"groundline/course"
	"groundline/report"
	"groundline/report/draw"
	"groundline/trace"
)

// Schema names the layout of a sketch in JSON. Fields are added, never renamed.
const Schema = "groundline.sketch/1"

// Sketch is a plan as an editor shows it: SI units, named at the end of each field, angles in degrees, places as [x, y]
// in the arena's frame. A figure in doubt is a [trace.Estimate] with a 90 % interval; null is what is not known, or
// what a line of that kind does not have. Course, horse and lines have the fields of groundline.walk/1 and more.
type Sketch struct {
	Schema string            `json:"schema"`
	Course report.WalkCourse `json:"course"`
	Horse  report.WalkHorse  `json:"horse"`
	Lines  []Line            `json:"lines"` // in the order of the route
	Track  []Leg             `json:"track"` // from the start line, else the first obstacle, to the finish line, else the last
	// Ground is how the spot heights say that the ground lies; nil without a slope, and WhyLevel says why.
	Ground   *Ground      `json:"ground"`
	WhyLevel string       `json:"why_level"`
	Notes    []Note       `json:"notes"`    // what should be looked at
	Cautions []trace.Note `json:"cautions"` // what everybody should have read once
}

// Line is one line of the route.
type Line struct {
	report.WalkLine
	Derived bool   `json:"derived"` // the kind is not in the plan but found from the places
	Why     string `json:"why"`     // how; "" where it is in the plan
	// MapM is the distance from the places, back of the first to front of the second; WalkedM that of the tape.
	MapM       float64  `json:"map_m"`
	WalkedM    *float64 `json:"walked_m"`
	RadiusMinM *float64 `json:"radius_min_m"` // of the planned track; nil on a straight
	// Counted tells that people count the strides of a way of this kind and length.
	Counted bool `json:"counted"`
	// Fits are the distances that the tables give this horse between these fences, by number of strides.
	Fits   []Fit  `json:"fits"`
	Tracks []Bend `json:"tracks"` // of a bending line, by number of strides
	Square *Bend  `json:"square"` // the track that jumps both fences square
	Turn   *Turns `json:"turn"`   // of a rollback
}

// Fit is a distance at which a horse of the tables' stride does a number of strides.
type Fit struct {
	Strides   int     `json:"strides"`
	DistanceM float64 `json:"distance_m"` // back of the first to front of the second
}

// Bend is a way to ride a bending line.
type Bend struct {
	report.WalkTrack
	Path [][2]float64 `json:"path"`
}

// Turns is the choice of a rollback.
type Turns struct {
	Cut     Turn           `json:"cut"`
	Wide    Turn           `json:"wide"`
	LongerM trace.Estimate `json:"longer_m"` // wide against cut
	LaterS  trace.Estimate `json:"later_s"`
}

// Turn is one way to ride a rollback.
type Turn struct {
	report.WalkTurn
	Path [][2]float64 `json:"path"`
}

// Leg is the planned track of one way, middle to middle.
type Leg struct {
	From     string       `json:"from"` // an obstacle's id, or "start"
	To       string       `json:"to"`   // an obstacle's id, or "finish"
	LengthM  float64      `json:"length_m"`
	RadiusM  float64      `json:"radius_m"`  // that its turns were planned with
	OutsideM float64      `json:"outside_m"` // how far it leaves the arena
	Through  []string     `json:"through"`   // obstacles that it runs through all the same
	Path     [][2]float64 `json:"path"`
}

// Ground is how the ground lies.
type Ground struct {
	// Grade is the rise per metre in the middle of the obstacles, and FallsDeg the bearing in the arena's frame in
	// which it falls.
	Grade        float64   `json:"grade"`
	FallsDeg     float64   `json:"falls_deg"`
	ResidualMaxM float64   `json:"residual_max_m"` // how far a spot height lies off the best plane
	Bends        bool      `json:"bends"`          // the surface bends through every spot; else it is a plane
	StepM        float64   `json:"step_m"`         // between contours; 0 where it is level to the decimetre
	Contours     []Contour `json:"contours"`
	Arrows       []Arrow   `json:"arrows"` // the slope here and there in the arena
}

// Contour is a line of equal height.
type Contour struct {
	HeightM  float64      `json:"height_m"`
	Measured bool         `json:"measured"` // between the spot heights; beyond them the surface only goes on
	Path     [][2]float64 `json:"path"`
}

// Arrow is the slope at a place.
type Arrow struct {
	At       [2]float64 `json:"at"`
	Grade    float64    `json:"grade"`
	FallsDeg float64    `json:"falls_deg"`
}

// Note is something that should be looked at, and what it is about.
type Note struct {
	About    string `json:"about"`    // obstacle | line | start | finish | track | speed | levels | plan
	Obstacle string `json:"obstacle"` // its id; "" for others
	Line     *int   `json:"line"`     // its place among the lines; nil for others
	What     string `json:"what"`
	Why      string `json:"why"`
	Source   string `json:"source"` // of the limit; "" where none is published
}

// Read understands a plan as [Fields] hold it, in JSON, by the rules and within the limits of [course.ReadPlan]. The error
// is a [course.Faults]; its fields are paths such as obstacles[3].height.
func Read(data []byte) (*course.Plan, []course.Warning, error) {
	if !json.Valid(data) {
		return nil, nil, course.Faults{{File: "plan", Found: "found no JSON", Expected: "a plan's fields as one JSON object"}}
	}
	return course.ReadPlan("plan", data)
}

// Of is the sketch of a plan for one horse, whose stride must be above zero. warnings are those of reading the plan. The
// plan must be one that [course.ReadPlan] gives. The error tells a figure that is no number.
func Of(p *course.Plan, h course.Horse, warnings []course.Warning) (Sketch, error) {
	w := p.Walk(h)
	told := report.WalkOf(p, w, nil)
	out := Sketch{Schema: Schema, Course: told.Course, Horse: told.Horse, WhyLevel: w.Figures.WhyLevel}
	for i, l := range w.Lines {
		out.Lines = append(out.Lines, lineOf(p, h, l, told.Lines[i]))
	}
	for _, l := range w.Figures.Track.Legs {
		out.Track = append(out.Track, Leg{From: l.From, To: l.To, LengthM: l.Path.LengthM(), RadiusM: l.RadiusM,
			OutsideM: l.OutsideM, Through: l.Through, Path: points(draw.PathPoints(l.Path, offM))})
	}
	if g := w.Figures.Ground; g != nil {
		out.Ground = groundOf(p, g)
	}
	for _, n := range slices.Concat(warnings, w.Figures.Warnings) {
		out.Notes = append(out.Notes, noteOf(p, n))
	}
	for _, n := range told.Notes {
		if n.Level == "caution" {
			out.Cautions = append(out.Cautions, n)
		}
	}
	return report.Rounded(out, "sketch")
}

// Write writes a sketch as JSON, compact: the points of its lines are most of it.
func Write(w io.Writer, s Sketch) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(s); err != nil {
		return fmt.Errorf("sketch as JSON: %w", err)
	}
	return nil
}

// offM is how far the points of a line may leave the arc that they stand for: less than a pixel where a metre has 40.
const offM = 0.02

// points are places to the centimetre.
func points(ps []course.Point) [][2]float64 {
	out := make([][2]float64, len(ps))
	for i, p := range ps {
		out[i] = [2]float64{centimetres(p.X), centimetres(p.Y)}
	}
	return out
}

func centimetres(v float64) float64 { return math.Round(v*100)/100 + 0 } // + 0: no minus zero

func lineOf(p *course.Plan, h course.Horse, l course.WalkLine, told report.WalkLine) Line {
	out := Line{WalkLine: told, Derived: l.Derived, Why: l.Why, MapM: l.MapM, WalkedM: l.WalkedM, RadiusMinM: l.TightestM,
		Counted: counted(l), Fits: fits(p, h, l.From, l.To)}
	for i, b := range l.Tracks {
		out.Tracks = append(out.Tracks, Bend{told.Tracks[i], points(draw.PathPoints(b.Path, offM))})
	}
	if l.Square != nil {
		out.Square = &Bend{*told.Square, points(draw.PathPoints(l.Square.Path, offM))}
	}
	if c := l.Turn; c != nil {
		out.Turn = &Turns{Cut: Turn{told.Turn.Cut, points(draw.PathPoints(c.Cut.Path, offM))},
			Wide: Turn{told.Turn.Wide, points(draw.PathPoints(c.Wide.Path, offM))}, LongerM: c.LongerM, LaterS: c.LaterS}
	}
	return out
}

// counted tells whether people count the strides of a line: where it is ridden as one, and is no shorter than a bounce.
func counted(l course.WalkLine) bool {
	switch l.Kind {
	case course.Related, course.Bending, course.Combination:
		return l.Real.Value > -0.5
	}
	return false
}

// mostFitted is the most strides that a line is set for: seven are related (Swedish riding-school table), and a few
// more are paced on large grounds.
const mostFitted = 9

// fits are the distances for whole strides: by the tables for one and two, where the height counts, and from three on
// what this horse's landing, strides and take-off need, which is the tables' distance for a horse of the tables.
func fits(p *course.Plan, h course.Horse, from, to string) []Fit {
	a, _ := p.Obstacle(from)
	b, _ := p.Obstacle(to)
	var out []Fit
	for n := 1; n <= mostFitted; n++ {
		d := h.LandingM.Value + float64(n)*h.StrideM.Value + h.TakeoffM.Value
		if n <= 2 {
			d = course.LineDistanceM(n, h.TableStrideM(), (a.HeightM+b.HeightM)/2)
		}
		out = append(out, Fit{n, centimetres(d)})
	}
	return out
}

// groundOf is the slope in the middle of the obstacles, and drawn.
func groundOf(p *course.Plan, s *course.Surface) *Ground {
	var mid course.Point
	for _, o := range p.Obstacles {
		mid.X += o.At.X / float64(len(p.Obstacles))
		mid.Y += o.At.Y / float64(len(p.Obstacles))
	}
	g := &Ground{ResidualMaxM: s.ResidualMaxM, Bends: s.ThinPlate}
	g.Grade, g.FallsDeg = slope(s, mid)
	lines, step := draw.Contours(p, s)
	g.StepM = step
	for _, c := range lines {
		g.Contours = append(g.Contours, Contour{c.HeightM, c.Measured, points(c.Points)})
	}
	g.Arrows = arrows(p, s)
	return g
}

// slope is the rise per metre at a place and the bearing in which it falls.
func slope(s *course.Surface, at course.Point) (grade, fallsDeg float64) {
	right, forward := s.GradeAlong(at.X, at.Y, 90), s.GradeAlong(at.X, at.Y, 0)
	falls := math.Mod(math.Atan2(-right, -forward)*180/math.Pi+360, 360)
	return math.Hypot(right, forward), falls
}

// arrowsAcross is how many arrows stand along the longer side of the ground.
const arrowsAcross = 6

// arrows are the slope on a square grid over what the spot heights span.
func arrows(p *course.Plan, s *course.Surface) []Arrow {
	low, high := course.Point{X: math.Inf(1), Y: math.Inf(1)}, course.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, l := range p.Levels {
		low = course.Point{X: min(low.X, l.X), Y: min(low.Y, l.Y)}
		high = course.Point{X: max(high.X, l.X), Y: max(high.Y, l.Y)}
	}
	side := max(high.X-low.X, high.Y-low.Y) / arrowsAcross
	nx, ny := max(1, int(math.Round((high.X-low.X)/side))), max(1, int(math.Round((high.Y-low.Y)/side)))
	var out []Arrow
	for j := range ny {
		for i := range nx {
			at := course.Point{X: low.X + (float64(i)+0.5)*(high.X-low.X)/float64(nx), Y: low.Y + (float64(j)+0.5)*(high.Y-low.Y)/float64(ny)}
			a := Arrow{At: [2]float64{centimetres(at.X), centimetres(at.Y)}}
			a.Grade, a.FallsDeg = slope(s, at)
			out = append(out, a)
		}
	}
	return out
}

// noteOf is a warning with what it is about. Warnings name their thing in words; the plan says which thing that is.
func noteOf(p *course.Plan, w course.Warning) Note {
	n := Note{About: "plan", What: w.What, Why: w.Why, Source: w.Source}
	switch w.Field {
	case "start", "finish", "track", "speed", "levels":
		n.About = w.Field
		return n
	}
	for _, o := range p.Obstacles {
		if w.Field == "obstacle "+o.ID {
			n.About, n.Obstacle = "obstacle", o.ID
			return n
		}
	}
	for i, l := range p.Lines {
		if name := l.From + "-" + l.To; w.Field == name || w.Field == "line "+name {
			n.About, n.Line = "line", &i
			return n
		}
	}
	if len(p.Route) > 0 {
		switch w.Field {
		case "start-" + p.Route[0]:
			n.About = "start"
		case p.Route[len(p.Route)-1] + "-finish":
			n.About = "finish"
		}
	}
	if n.About == "plan" && w.Field != "" {
		n.What = w.Field + ": " + w.What
	}
	return n
}
