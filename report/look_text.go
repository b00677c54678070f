package report

import (
	"fmt"

	"groundline/report/layout"
)

// writeLook tells what the recording is like and what a debrief can tell from it.
func writeLook(p *page, l *Looked) {
	tell := func(what, text string) { p.Para(fmt.Sprintf("  %-10s", what), 12, text) }
	if m := l.Motion; m != nil {
		words := "how the sensor was carried can't be told"
		if m.Mounting != nil {
			words = map[string]string{"steady": "steady, as on a saddle, a girth or a tight band", "turning": "turning slowly, as in a pocket",
				"swinging": "swinging, as on a wrist"}[*m.Mounting]
		}
		tell("carried", words+": "+m.MountingWhy)
		words = "gravity is in it"
		if m.GravityRemoved {
			words = "gravity was taken out by the device: the way up is found from the strongest wave"
		}
		if m.ClippedMS2 != nil {
			words += fmt.Sprintf("; peaks cut off at %.0f m/s² in %.2g %% of the samples", *m.ClippedMS2, 100*m.ClippedShare)
		}
		tell("motion", words+"; "+pauses(m.RateHz, m.JitterS, m.Gaps, m.GapsS))
	}
	if s := l.Positions; s != nil {
		tell("positions", pauses(s.RateHz, s.JitterS, s.Gaps, s.GapsS))
		if s.WhiteM != nil {
			words := fmt.Sprintf("%.2g m from fix to fix, wander %.2g m", *s.WhiteM, *s.WanderM)
			if s.SpeedMS != nil {
				words += fmt.Sprintf(", own speed %.2g m/s", *s.SpeedMS)
			}
			if *s.Outliers > 0 {
				words += "; " + layout.Plural(*s.Outliers, "fix", "fixes") + " contradicted by the rest"
			}
			tell("noise", words+": "+s.NoiseWhy)
		} else {
			tell("noise", "not told: "+s.NoiseWhy)
		}
		tell("lag", s.LagWhy)
	}
	if c := l.Clocks; c != nil {
		switch {
		case c.OffsetS == nil:
			tell("clocks", "how far the two are apart can't be told: "+c.Why)
		default:
			tell("clocks", fmt.Sprintf("the motion's is ahead by %s ±%.1f: %s", layout.ClockOffset(c.OffsetS.Value), (c.OffsetS.High-c.OffsetS.Low)/2, c.Why))
		}
		if c.DriftPPM != nil {
			tell("", fmt.Sprintf("and gains %.0f millionths, between %.0f and %.0f", c.DriftPPM.Value, c.DriftPPM.Low, c.DriftPPM.High))
		}
	}
	p.Heading("What a debrief can tell from it")
	rows := make([]tableRow, 0, len(l.Answers))
	for _, a := range l.Answers {
		rows = append(rows, tableRow{cells: []string{a.Figure, a.WithPlan, a.Without}, below: a.Why})
	}
	p.table([]string{"", "with a plan", "without"}, rows)
}

// pauses tells of the steps in time.
func pauses(rateHz, jitterS float64, gaps int, gapsS float64) string {
	words := "no gaps"
	if gaps > 0 {
		words = fmt.Sprintf("%s, %.1f s in all", layout.Count(gaps, "gap"), gapsS)
	}
	return fmt.Sprintf("%.4g Hz, steps vary by %.2g s, %s", rateHz, jitterS, words)
}
