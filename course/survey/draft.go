package survey

import (
	"fmt"
	"strings"

	"groundline/course"
)

// Draft is the plan as a file that [course.ReadPlan] reads, with comments that say what is uncertain
// and what to correct.
func (s *Survey) Draft() []byte {
	var b strings.Builder
	line := func(format string, args ...any) { b.WriteString(comment(fmt.Sprintf(format, args...)) + "\n") }
	line("A draft from a course walk. Correct it on the ground before you ride by it.")
	line("%s. Bearings are degrees clockwise from +y.", s.Frame)
	if len(s.Checks) > 0 {
		line("To check:")
		for _, c := range s.Checks {
			line("- %s", c)
		}
	}
	next := 0
	for _, l := range strings.SplitAfter(string(course.WritePlan(s.Plan)), "\n") {
		if strings.HasPrefix(l, "  - {id: ") && next < len(s.Obstacles) {
			b.WriteString("  " + comment(s.Obstacles[next].words()) + "\n")
			next++
		}
		b.WriteString(l)
	}
	for _, t := range s.Tapes {
		if t.Out {
			line("Not used: %s to %s, %.2f m by the tape, %.2f m by all else.", t.From, t.To, t.MeasuredM, t.MeasuredM+t.ResidualM)
		}
	}
	return []byte(b.String())
}

func (o Obstacle) words() string {
	w := fmt.Sprintf("%s: place within %.1f m", o.ID, 1.645*o.PlaceSDM)
	if o.FacingSDDeg != nil {
		w += fmt.Sprintf("; facing within %.0f degrees, %s", min(180, 1.645**o.FacingSDDeg), o.FacingFrom)
	} else {
		w += "; facing " + o.FacingFrom
	}
	if o.Doubtful {
		w += " (doubtful)"
	}
	return w
}

// comment is one line of a comment. Brackets and marks that a reader of plans counts before it reads are left out.
func comment(s string) string {
	return "# " + strings.Map(func(c rune) rune {
		if c < ' ' || strings.ContainsRune("[]{}&*!?%|>", c) {
			return '-'
		}
		return c
	}, s)
}
