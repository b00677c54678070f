package sketch

import "groundline/course"

// Fields are a plan as an editor holds it: the fields of a plan file (plan: groundline/1) in JSON, lengths in metres. Null is
// what the plan does not say.
type Fields struct {
	Plan      string         `json:"plan"` // the format's name
	Name      string         `json:"name,omitempty"`
	Units     string         `json:"units"`
	Anchor    *Anchor        `json:"anchor"`
	Arena     [][2]float64   `json:"arena"`
	Levels    [][3]float64   `json:"levels"`
	Home      *[2]float64    `json:"home"`
	Gate      *[2]float64    `json:"gate"`
	Speed     *float64       `json:"speed"` // m/min
	Start     *[2][2]float64 `json:"start"`
	Finish    *[2][2]float64 `json:"finish"`
	Obstacles []Obstacle     `json:"obstacles"`
	Route     []string       `json:"route"`
	Lines     []Way          `json:"lines"`
}

// Anchor is where (0, 0) lies, degrees, and the true bearing of +y.
type Anchor struct {
	Latitude  float64 `json:"latitude"`
	Longitude float64 `json:"longitude"`
	Bearing   float64 `json:"bearing"`
}

// Obstacle is one obstacle. Height and spread are null where the plan gives none.
type Obstacle struct {
	ID     string     `json:"id"`
	Kind   string     `json:"kind"`
	At     [2]float64 `json:"at"`
	Facing float64    `json:"facing"`
	Height *float64   `json:"height"`
	Spread *float64   `json:"spread"`
	Width  float64    `json:"width"`
}

// Way is what the plan says of a line: its kind, null where it is found from the places, and the tape's distance.
type Way struct {
	From   string   `json:"from"`
	To     string   `json:"to"`
	Kind   *string  `json:"kind"`
	Walked *float64 `json:"walked"`
}

// FieldsOf are the fields of a plan. [Read] reads them back to the same plan.
func FieldsOf(p *course.Plan) Fields {
	f := Fields{Plan: "groundline/1", Name: p.Name, Units: "metres", Route: append([]string{}, p.Route...), Obstacles: []Obstacle{}, Lines: []Way{},
		Home: point(p.Home), Gate: point(p.Gate), Start: ends(p.Start), Finish: ends(p.Finish), Speed: unlessZero(p.SpeedMMin)}
	if a := p.Anchor; a != nil {
		f.Anchor = &Anchor{a.At.LatDeg, a.At.LonDeg, a.BearingDeg}
	}
	for _, c := range p.Arena {
		f.Arena = append(f.Arena, [2]float64{c.X, c.Y})
	}
	for _, l := range p.Levels {
		f.Levels = append(f.Levels, [3]float64{l.X, l.Y, l.Z})
	}
	for _, o := range p.Obstacles {
		f.Obstacles = append(f.Obstacles, Obstacle{o.ID, string(o.Kind), [2]float64{o.At.X, o.At.Y}, o.FacingDeg, unlessZero(o.HeightM), unlessZero(o.SpreadM), o.WidthM})
	}
	said := map[[2]string]bool{}
	for _, l := range p.Lines {
		if l.Derived && l.WalkedM == nil || said[[2]string{l.From, l.To}] {
			continue
		}
		said[[2]string{l.From, l.To}] = true
		w := Way{From: l.From, To: l.To, Walked: l.WalkedM}
		if !l.Derived {
			kind := string(l.Kind)
			w.Kind = &kind
		}
		f.Lines = append(f.Lines, w)
	}
	return f
}

func point(p *course.Point) *[2]float64 {
	if p == nil {
		return nil
	}
	return &[2]float64{p.X, p.Y}
}

func ends(l *[2]course.Point) *[2][2]float64 {
	if l == nil {
		return nil
	}
	return &[2][2]float64{{l[0].X, l[0].Y}, {l[1].X, l[1].Y}}
}

func unlessZero(v float64) *float64 {
	if v == 0 {
		return nil
	}
	return &v
}
