package course

import (
	"fmt"
	"math"
)

// SetLines makes p.Lines: one line for each consecutive pair of p.Route, its map
// distance from the places, kind and walked distance from the entry of meant
// with the same ends, and the kind derived from the geometry where none is meant.
// Every id of the route must be among the obstacles.
func (p *Plan) SetLines(meant []Line) {
	p.Lines = nil
	for i := 1; i < len(p.Route); i++ {
		a, okA := p.Obstacle(p.Route[i-1])
		b, okB := p.Obstacle(p.Route[i])
		if !okA || !okB {
			panic(fmt.Sprintf("course: route %q-%q names no obstacle", p.Route[i-1], p.Route[i]))
		}
		l := Line{From: a.ID, To: b.ID, MapM: distance(a.At, b.At) - a.SpreadM/2 - b.SpreadM/2}
		l.MapM = math.Max(0, l.MapM)
		for _, m := range meant {
			if m.From == l.From && m.To == l.To {
				l.Kind, l.WalkedM = m.Kind, m.WalkedM
			}
		}
		p.Lines = append(p.Lines, l)
	}
}
