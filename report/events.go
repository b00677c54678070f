package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"groundline/report/layout"
)

// Kinds of events, as [Event.Event] has them.
const (
	EventCircle       = "circle"             // a volte on the way to the next obstacle of the route
	EventBreak        = "break to trot"      // trot, walk or halt on the way from one obstacle to the next
	EventDisunited    = "disunited"          // fore and hind legs lead on different sides
	EventWrongLead    = "wrong lead"         // a turn cantered on the outside lead; meant or not, no sensor knows
	EventChange       = "change"             // of lead, between obstacles or over one
	EventAddedStride  = "added stride"       // more strides in a line than planned
	EventLeftOut      = "left-out stride"    // fewer
	EventDisobedience = "refusal or run-out" // in Unseen only: efforts have them
)

// Event is something that happened at a certain time and has a name in the trade.
type Event struct {
	Event string  `json:"event"` // one of the kinds
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"`
	Line  *string `json:"line"` // "from-to"; nil outside the lines
	// Obstacle is the one over which it happened; nil but for changes over an obstacle.
	Obstacle *string `json:"obstacle"`
	// Side is "left" or "right": the way a circle turned, the lead that was wrong, the lead changed to; nil for the others.
	Side *string `json:"side"`
	// Strides are how many it took (leads), or by how many the line differs from the plan; nil where nobody counted.
	Strides *int    `json:"strides"`
	P       float64 `json:"p"` // probability, in [0, 1]
}

// Unseen is a kind of event that this recording can't show, so that its absence among the events says nothing.
type Unseen struct {
	Event string `json:"event"`
	Why   string `json:"why"`
}

// Probabilities from which an event is said at all, and said plainly.
const (
	probably = 0.75
	plainly  = 0.95
)

// eventWords are the events in sentences, a kind of event together, in time order.
func eventWords(d *Debrief) []string {
	kinds := []string{EventCircle, EventBreak, EventWrongLead, EventDisunited, EventAddedStride, EventLeftOut}
	var said []string
	for _, kind := range kinds {
		var places []string
		more := 0
		for _, e := range d.Events {
			if e.Event != kind || e.P < probably {
				continue
			}
			if len(places) == wordsPerKind {
				more++
				continue
			}
			places = append(places, eventPlace(e))
		}
		if len(places) == 0 {
			continue
		}
		words := strings.Join(places, ", ")
		if more > 0 {
			words += fmt.Sprintf(" and %d more", more)
		}
		said = append(said, eventNames[kind]+": "+words+".")
	}
	return said
}

var eventNames = map[string]string{
	EventCircle: "Circled", EventBreak: "Broke to trot", EventWrongLead: "Wrong lead in the turn", EventDisunited: "Disunited",
	EventAddedStride: "Added a stride", EventLeftOut: "Left out a stride",
}

// eventPlace is where an event happened and how long it took, in words.
func eventPlace(e Event) string {
	where := fmt.Sprintf("at %.0f s", e.FromS)
	if e.Line != nil {
		from, to, _ := strings.Cut(*e.Line, "-")
		where = from + " to " + to
	}
	var about []string
	if e.P < plainly {
		about = append(about, "probably")
	}
	switch {
	case e.Strides != nil && (e.Event == EventWrongLead || e.Event == EventDisunited):
		about = append(about, "for "+layout.Plural(*e.Strides, "stride", "strides"))
	case e.Strides != nil && *e.Strides > 1 && (e.Event == EventAddedStride || e.Event == EventLeftOut):
		about = append(about, layout.Plural(*e.Strides, "stride", "strides"))
	case e.Event == EventBreak:
		about = append(about, fmt.Sprintf("for %.0f s", e.ToS-e.FromS))
	case e.Event == EventCircle && e.Side != nil:
		about = append(about, "to the "+*e.Side)
	}
	if len(about) > 0 {
		where += " (" + strings.Join(about, ", ") + ")"
	}
	return where
}

// SortEvents brings events into time order, those of one time by kind.
func SortEvents(events []Event) {
	slices.SortStableFunc(events, func(a, b Event) int {
		return cmp.Or(cmp.Compare(a.FromS, b.FromS), cmp.Compare(a.Event, b.Event))
	})
}
