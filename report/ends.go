package report

// Ends are the two efforts that each line of a debrief joins, in the order of the lines: both lists are in time order,
// so one pass over the efforts joins them. nil where no two neighbours fit.
func (d *Debrief) Ends() [][2]*Effort {
	ends := make([][2]*Effort, len(d.Lines))
	next := 0
	for k := range d.Lines {
		l := &d.Lines[k]
		for i := next; i+1 < len(d.Efforts); i++ {
			a, b := &d.Efforts[i], &d.Efforts[i+1]
			if a.LandingS != nil && b.TakeoffS != nil && a.at(l.From) && b.at(l.To) && a.Taken() && b.Taken() {
				ends[k], next = [2]*Effort{a, b}, i+1
				break
			}
		}
	}
	return ends
}

func (e *Effort) at(obstacle string) bool { return e.Obstacle != nil && *e.Obstacle == obstacle }

// Taken tells that the obstacle was jumped, in a round or to warm up.
func (e *Effort) Taken() bool { return e.Outcome == "jumped" || e.Outcome == "warm-up" }
