package score

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"time"
)

// Truth is what happened in a round, as its maker wrote it down. Times are
// seconds from Start; a nil figure is one that this round does not have.
type Truth struct {
	Start     string       `json:"start"` // RFC 3339
	DurationS float64      `json:"duration_s"`
	Efforts   []TrueEffort `json:"efforts"` // in time order
	Lines     []TrueLine   `json:"lines"`   // in time order
	Gaits     []TrueGait   `json:"gaits"`   // without holes
	Strides   []TrueStride `json:"strides"` // in time order; the flight belongs to none
	Leads     []TrueLead   `json:"leads"`   // one a canter stride; nil without a motion file
	OffsetM   *[2]float64  `json:"gnss_offset_m"`
	Sensors   TruthSensors `json:"sensors"`
	start     time.Time    // Start, parsed
	ways      []trueWay    // which efforts each line joins
	leadAt    map[int]int  // index of a stride to the index of its lead
}

// TrueEffort is one obstacle taken or refused. A refusal or run-out has its instant in AtS
// only; an obstacle taken has all the others.
type TrueEffort struct {
	Obstacle         string   `json:"obstacle"`
	Outcome          string   `json:"outcome"` // jumped | warm-up | refused | ran out
	Index            *int     `json:"k"`       // place in the route, from 0; nil in the warm-up
	AtS              *float64 `json:"t"`
	TakeoffS         *float64 `json:"takeoff_s"`
	LandingS         *float64 `json:"landing_s"`
	TakeoffDistanceM *float64 `json:"takeoff_distance_m"` // hind hooves to the front
	LandingDistanceM *float64 `json:"landing_distance_m"` // back to the fore hooves
	SpeedOverMS      *float64 `json:"speed_over_m_s"`     // the trunk's, in flight
}

// TrueLine is a way from one obstacle taken to the next. A refusal in between leaves no line.
type TrueLine struct {
	From    string `json:"from"`
	To      string `json:"to"`
	Index   *int   `json:"k"`       // of To in the route
	Strides int    `json:"strides"` // the strides entry from landing to take-off, counted
	// StrideLengthM is the trunk's way from the start of the first counted stride to the end
	// of the last, over their number: not TrackM over any n, as the landing and the take-off
	// (together 0.23 to 0.61 of a stride) are left out. Nil with no stride.
	StrideLengthM *float64 `json:"stride_length_m"`
	StrideS       *float64 `json:"stride_s"` // mean time of the counted strides
	// TrackM is along the track from the fore hooves at landing to the hind hooves at take-off:
	// 0.9 to 1.3 m, by the horse's size, shorter than the trunk's way between the two instants.
	TrackM      float64  `json:"track_m"`
	RadiusMinM  *float64 `json:"radius_min_m"`   // over 4 m of travel; hundreds of metres on a straight
	TurnedDeg   float64  `json:"turned_deg"`     // left positive
	Turn        string   `json:"turn"`           // left | right | straight
	SpeedMeanMS float64  `json:"speed_mean_m_s"` // the trunk's way over time, landing to take-off
	GradeMean   *float64 `json:"grade_mean"`     // rise per metre
	HomeMean    *float64 `json:"homeward_mean"`  // cosine towards home
}

// TrueGait is a stretch in one gait, [FromS, ToS).
type TrueGait struct {
	Gait       string
	FromS, ToS float64
}

// UnmarshalJSON reads ["canter", 20.2, 167.3].
func (g *TrueGait) UnmarshalJSON(b []byte) error {
	return tuple(b, "gait", &g.Gait, &g.FromS, &g.ToS)
}

// TrueStride is one stride, [FromS, ToS), hind contact to hind contact in canter.
type TrueStride struct {
	Gait  string  `json:"gait"`
	FromS float64 `json:"t0"`
	ToS   float64 `json:"t1"`
}

// TrueLead is the lead from AtS on.
type TrueLead struct {
	AtS  float64
	Lead string // left | right | disunited
}

// UnmarshalJSON reads [20.205, "left"].
func (l *TrueLead) UnmarshalJSON(b []byte) error { return tuple(b, "lead", &l.AtS, &l.Lead) }

// tuple reads a JSON array of exactly these values.
func tuple(b []byte, what string, into ...any) error {
	var raw []json.RawMessage
	if err := json.Unmarshal(b, &raw); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	if len(raw) != len(into) {
		return fmt.Errorf("%s: %d values, expected %d", what, len(raw), len(into))
	}
	for i := range raw {
		if err := json.Unmarshal(raw[i], into[i]); err != nil {
			return fmt.Errorf("%s, value %d: %w", what, i+1, err)
		}
	}
	return nil
}

// TruthSensors says what recorded the round.
type TruthSensors struct {
	Positions *struct {
		RateHz float64 `json:"hz"`
	} `json:"gnss"`
	Motion *struct {
		RateHz float64 `json:"hz"`
		Mount  string  `json:"mount"` // saddle | girth | pocket | wrist
		// ClockS is how far the motion's clock was ahead of the positions'.
		ClockS *float64 `json:"clock_s"`
	} `json:"inertial"`
}

// Kind is the kind of recording, as the tables group them.
func (t *Truth) Kind() string {
	p, m := t.Sensors.Positions, t.Sensors.Motion
	mount := "saddle/pocket"
	if m != nil && m.Mount == "wrist" {
		mount = "wrist"
	}
	switch {
	case p != nil && m != nil:
		return "both " + mount
	case m != nil:
		return "motion " + mount
	case p != nil && p.RateHz < 3:
		return "position 1 Hz"
	default:
		return "position 5-10 Hz"
	}
}

// Kinds are the kinds of recordings in the order of the tables.
func Kinds() []string {
	return []string{"position 1 Hz", "position 5-10 Hz", "motion saddle/pocket", "motion wrist",
		"both saddle/pocket", "both wrist"}
}

// trueWay joins a line to its two efforts, by index.
type trueWay struct{ line, from, to int }

// ReadTruth reads a truth.json and checks that it is of one piece: an error tells a line that
// joins no two efforts, an effort without its times, or times that are not numbers.
func ReadTruth(r io.Reader) (*Truth, error) {
	var t Truth
	if err := json.NewDecoder(r).Decode(&t); err != nil {
		return nil, fmt.Errorf("truth: %w", err)
	}
	if err := t.prepare(); err != nil {
		return nil, fmt.Errorf("truth: %w", err)
	}
	return &t, nil
}

// prepare finds which efforts each line joins and which stride each lead belongs to.
func (t *Truth) prepare() error {
	if t.Start != "" {
		s, err := time.Parse(time.RFC3339, t.Start)
		if err != nil {
			return fmt.Errorf("start: %w", err)
		}
		t.start = s
	}
	for i, e := range t.Efforts {
		if jumped(e.Outcome) != (e.TakeoffS != nil && e.LandingS != nil) {
			return fmt.Errorf("effort %d at %s is %q, and its take-off and landing say otherwise", i+1, e.Obstacle, e.Outcome)
		}
	}
	// Lines lie between neighbours of the list of efforts that were both taken: in time order, so
	// one pass joins them.
	t.ways = nil
	next := 0
	for i := 1; i < len(t.Efforts) && next < len(t.Lines); i++ {
		a, b, l := t.Efforts[i-1], t.Efforts[i], t.Lines[next]
		if jumped(a.Outcome) && jumped(b.Outcome) && a.Obstacle == l.From && b.Obstacle == l.To {
			t.ways = append(t.ways, trueWay{line: next, from: i - 1, to: i})
			next++
		}
	}
	if next < len(t.Lines) {
		return fmt.Errorf("line %d from %s to %s joins no two efforts", next+1, t.Lines[next].From, t.Lines[next].To)
	}
	t.leadAt = make(map[int]int)
	for s, l := 0, 0; s < len(t.Strides); s++ {
		for l < len(t.Leads) && t.Leads[l].AtS < t.Strides[s].FromS-leadSlackS {
			l++
		}
		if l < len(t.Leads) && math.Abs(t.Leads[l].AtS-t.Strides[s].FromS) <= leadSlackS {
			t.leadAt[s] = l
		}
	}
	return nil
}

// leadSlackS is how far a lead's time may lie from the start of its stride: the truth rounds
// the two to different digits.
const leadSlackS = 0.01

// jumped tells an obstacle taken, in the round or before it, from one that was not.
func jumped(outcome string) bool { return outcome == "jumped" || outcome == "warm-up" }

// refused tells a refusal or run-out.
func refused(outcome string) bool { return outcome == "refused" || outcome == "ran out" }
