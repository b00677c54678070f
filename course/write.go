package course

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// WritePlan is the plan as a file that [ReadPlan] reads back to the same plan, in metres. Derived
// kinds are left to be derived again. What ReadPlan leaves out (comments, poles in
// the route, lines about pairs that the route does not have) is not in a Plan and so not written.
func WritePlan(p *Plan) []byte {
	var b strings.Builder
	b.WriteString("plan: " + planFormat + "\n")
	if p.Name != "" {
		b.WriteString("name: " + strconv.Quote(p.Name) + "\n")
	}
	b.WriteString("units: metres\n")
	if a := p.Anchor; a != nil {
		fmt.Fprintf(&b, "anchor: {latitude: %s, longitude: %s, bearing: %s}\n", plain(a.At.LatDeg), plain(a.At.LonDeg), plain(a.BearingDeg))
	}
	if len(p.Arena) > 0 {
		b.WriteString("arena: " + ring(p.Arena) + "\n")
	}
	if len(p.Levels) > 0 {
		b.WriteString("levels:\n")
		for _, s := range p.Levels {
			fmt.Fprintf(&b, "  - [%s, %s, %s]\n", plain(s.X), plain(s.Y), plain(s.Z))
		}
	}
	if p.Home != nil {
		b.WriteString("home: " + place(*p.Home) + "\n")
	}
	if p.Gate != nil {
		b.WriteString("gate: " + place(*p.Gate) + "\n")
	}
	if p.SpeedMMin != 0 {
		b.WriteString("speed: " + plain(p.SpeedMMin) + "\n")
	}
	if p.Start != nil {
		b.WriteString("start: " + ring(p.Start[:]) + "\n")
	}
	if p.Finish != nil {
		b.WriteString("finish: " + ring(p.Finish[:]) + "\n")
	}
	b.WriteString("obstacles:\n")
	for _, o := range p.Obstacles {
		fmt.Fprintf(&b, "  - {id: %s, kind: %s, at: %s, facing: %s", strconv.Quote(o.ID), o.Kind, place(o.At), plain(o.FacingDeg))
		if o.HeightM != 0 {
			b.WriteString(", height: " + plain(o.HeightM))
		}
		if o.SpreadM != 0 {
			b.WriteString(", spread: " + plain(o.SpreadM))
		}
		b.WriteString(", width: " + plain(o.WidthM) + "}\n")
	}
	ids := make([]string, len(p.Route))
	for i, id := range p.Route {
		ids[i] = strconv.Quote(id)
	}
	b.WriteString("route: [" + strings.Join(ids, ", ") + "]\n")

	var written []Line
	for _, l := range p.Lines {
		if l.Derived && l.WalkedM == nil || slices.ContainsFunc(written, func(w Line) bool { return w.From == l.From && w.To == l.To }) {
			continue
		}
		if len(written) == 0 {
			b.WriteString("lines:\n")
		}
		written = append(written, l)
		fmt.Fprintf(&b, "  - {from: %s, to: %s", strconv.Quote(l.From), strconv.Quote(l.To))
		if !l.Derived {
			b.WriteString(", kind: " + string(l.Kind))
		}
		if l.WalkedM != nil {
			b.WriteString(", walked: " + plain(*l.WalkedM))
		}
		b.WriteString("}\n")
	}
	return []byte(b.String())
}

// plain is the shortest decimal that reads back to the same number.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func place(p Point) string { return "[" + plain(p.X) + ", " + plain(p.Y) + "]" }

func ring(ps []Point) string {
	s := make([]string, len(ps))
	for i, p := range ps {
		s[i] = place(p)
	}
	return "[" + strings.Join(s, ", ") + "]"
}
