package page

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundline/report"
)

// card is an element of the course as it was ridden, to be read at a glance: what it is called, how many strides, what is to be
// said of it, and its strip. The rest is below its fold.
type card struct {
	ID, Name, Ride, Ground string
	Count, Plan            string // "5 strides", "plan 5"
	Badges                 []badge
	Strip                  *figure
	Says                   []string
	Next                   string // what to do next time; "" for nothing
	Facts                  []fact
	Earlier                []string // the rides of the line before this one, the newest first
	Open                   bool
	Href                   string // of all attempts at the line, "" for nowhere
}

// badge is a word with a mark of its own kind: "added", "less", "long", "short", "good", "stop".
type badge struct{ Kind, Words string }

// fact is a figure with its name.
type fact struct{ Name, Figure string }

// mostOpen is how many cards stand open at first: what is worth talking about after a round.
const mostOpen = 3

// mostEarlier is how many earlier rides a card lists; the table has all.
const mostEarlier = 8

// cards are the lines in the order in which they are told, each by its last ride; those before it are listed below the fold.
func (v *view) cards(href func(from, to string) string) []card {
	at := v.addresses()
	last := v.lastRides()
	earlier := map[string][]string{}
	var out []card
	open := 0
	for _, l := range v.told.Lines {
		c := v.cardOf(l)
		if last[l.Name] != l.Index {
			words := strings.Join(append([]string{c.Count}, badgeWords(c.Badges)...), ", ")
			earlier[l.Name] = append(earlier[l.Name], cleaned(c.Ride)+": "+words)
			continue
		}
		for i := len(earlier[l.Name]) - 1; i >= 0 && len(c.Earlier) < mostEarlier; i-- {
			c.Earlier = append(c.Earlier, earlier[l.Name][i])
		}
		c.ID = at[l.Index]
		if href != nil {
			c.Href = href(v.d.Lines[l.Index].From, v.d.Lines[l.Index].To)
		}
		if s := v.stripOf(l.Index); s != nil {
			c.Strip = s.draw(v, c.ID)
		}
		if a := v.answer(v.d.Lines[l.Index].From+"-"+v.d.Lines[l.Index].To, v.d.Lines[l.Index].Attempt); a != nil {
			c.Says, c.Next = saysOf(*a), textOf(a.Next)
		}
		if open < mostOpen && (worthALook(c.Badges) || c.Next != "") {
			c.Open = true
			open++
		}
		out = append(out, c)
	}
	return v.withFences(out)
}

// withFences puts the single fences that there is something to say of before the line that leaves them or, of the last one, at the end.
func (v *view) withFences(cards []card) []card {
	var fences []card
	for i, a := range v.d.Answers {
		if !slices.ContainsFunc(v.d.Efforts, func(e report.Effort) bool { return e.Obstacle != nil && *e.Obstacle == a.Element }) || a.Why == nil && a.Next == nil && len(a.Against) == 0 {
			continue
		}
		c := card{ID: fmt.Sprintf("fence-%s-%d", address(a.Element), i+1), Name: "Fence " + a.Element, Says: saysOf(a), Next: textOf(a.Next)}
		if at := slices.IndexFunc(cards, func(o card) bool { return strings.HasPrefix(o.Name, a.Element+" to ") }); at >= 0 {
			cards = slices.Insert(cards, at, c)
			continue
		}
		fences = append(fences, c)
	}
	return append(cards, fences...)
}

// answer is what the debrief says of an element; nil where it says nothing.
func (v *view) answer(element string, attempt int) *report.ElementAnswer {
	for i := range v.d.Answers {
		if a := &v.d.Answers[i]; a.Element == element && a.Attempt == attempt {
			return a
		}
	}
	return nil
}

// saysOf is what happened, and why.
func saysOf(a report.ElementAnswer) []string {
	out := []string{a.What}
	if a.Why != nil {
		out = append(out, *a.Why)
	}
	return out
}

func textOf(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// lastRides are the last ride of each line, by the line's name, in Debrief.Lines.
func (v *view) lastRides() map[string]int {
	last := map[string]int{}
	for _, l := range v.told.Lines {
		last[l.Name] = max(last[l.Name], l.Index)
	}
	return last
}

func badgeWords(badges []badge) []string {
	var out []string
	for _, b := range badges {
		out = append(out, b.Words)
	}
	return out
}

func worthALook(badges []badge) bool {
	for _, b := range badges {
		if b.Kind != "good" {
			return true
		}
	}
	return false
}

func (v *view) cardOf(told report.ToldLine) card {
	l := v.d.Lines[told.Index]
	c := card{Name: told.Name, Ride: told.Ride, Ground: told.Ground}
	if l.Strides != nil {
		n := int(math.Round(l.Strides.Value))
		about := ""
		if l.StridesBy == "estimated" {
			about = "about "
			if l.Strides.High-l.Strides.Low >= 1 {
				about, n = "", int(math.Round(l.Strides.Low))
				c.Count = fmt.Sprintf("%d to %d strides", n, int(math.Round(l.Strides.High)))
			}
		}
		if c.Count == "" {
			c.Count = fmt.Sprintf("%s%d strides", about, n)
			if n == 1 {
				c.Count = about + "1 stride"
			}
			if n == 0 {
				c.Count = "bounce"
			}
		}
		if p := l.PlannedStrides; p != nil {
			c.Plan = fmt.Sprintf("plan %d", *p)
			// Said only where the count leaves no doubt.
			low, high := int(math.Round(l.Strides.Low)), int(math.Round(l.Strides.High))
			switch {
			case low > *p:
				c.Badges = append(c.Badges, badge{"added", fmt.Sprintf("added %d", n-*p)})
			case high < *p:
				c.Badges = append(c.Badges, badge{"less", fmt.Sprintf("left out %d", *p-n)})
			case low == *p && high == *p:
				c.Badges = append(c.Badges, badge{"good", "as planned"})
			}
		}
	}
	if words, kind := fitBadge(told.Rode); words != "" {
		c.Badges = append(c.Badges, badge{kind, words})
	}
	if told.Words != "" {
		c.Says = append(c.Says, sentence(upper(told.Words)))
	}
	fact1 := func(name, figure, unit string) {
		if figure != "" {
			c.Facts = append(c.Facts, fact{name, withUnit(figure, unit)})
		}
	}
	fact1("Each stride", told.Length, v.told.Unit)
	if told.Pace != "" {
		c.Facts = append(c.Facts, fact{"Pace in, out", told.Pace + " m/min"})
	}
	before, after := v.effortsOf(told.Index)
	for k := range v.d.Efforts {
		if before == &v.d.Efforts[k] {
			fact1("Landing", v.told.Efforts[k].LandingDistance, v.told.Unit)
		}
		if after == &v.d.Efforts[k] {
			fact1("Take-off", v.told.Efforts[k].TakeoffDistance, v.told.Unit)
		}
	}
	if told.Track != "" {
		c.Facts = append(c.Facts, fact{"Track", told.Track})
	}
	if told.Turn != "" && told.Turn != "straight" {
		c.Facts = append(c.Facts, fact{"Turn", told.Turn})
		fact1("Tightest radius", told.Radius, v.told.Unit)
		fact1("Slowest", told.Slowest, "m/min")
	}
	return c
}

// fitBadge is how a line suited the horse, where that is known: what is too close to call has no badge.
func fitBadge(rode string) (words, kind string) {
	switch {
	case rode == "", strings.HasPrefix(rode, "not settled"), strings.HasPrefix(rode, "too close"):
		return "", ""
	case strings.Contains(rode, "long"):
		return rode, "long"
	case strings.Contains(rode, "right"):
		return rode, "good"
	}
	return rode, "short"
}

// upper is a text that begins with a capital.
func upper(s string) string {
	if s == "" {
		return ""
	}
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}

// headline is the round in one sentence; of several rounds the last says most.
func (v *view) headline() string {
	if n := len(v.d.Rounds); n > 0 {
		if a := v.answer(fmt.Sprintf("round %d", v.d.Rounds[n-1].Round), 1); a != nil {
			return strings.Join(append([]string{sentence(v.told.Tally)}, saysOf(*a)...), " ")
		}
	}
	if n := len(v.told.Rounds); n > 0 {
		return strings.Join(append([]string{sentence(v.told.Tally)}, v.told.Rounds...), " ")
	}
	return sentence(v.told.Tally)
}

// grave are the warnings: they stand above the figures.
func (v *view) grave() []report.ToldDoubt {
	var out []report.ToldDoubt
	for _, n := range v.told.Doubts {
		if n.Level == "warning" {
			out = append(out, n)
		}
	}
	return out
}
