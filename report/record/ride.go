package record

import (
	"math"
	"strings"
	"time"

	"groundline/report"
	"groundline/trace"
)

// RideVersion is the version of the layout of [Ride]. A ride of another version is extracted anew.
const RideVersion = 1

// Ride is what one debrief tells of its horse: small, and all that a record needs, so that a record of hundreds
// of rides opens no debrief again. It is kept as JSON; V is [RideVersion]. Units are SI and named at the end of each
// field; nil is what the ride can't tell.
type Ride struct {
	V  int   `json:"v"`
	ID int64 `json:"id"` // of whoever keeps it; 0: none
	// At is when the recording starts; nil when no file tells the date. DurationS is how long it is.
	At        *time.Time `json:"at"`
	DurationS float64    `json:"duration_s"`
	Horse     string     `json:"horse"`  // "" if not told
	Course    string     `json:"course"` // the plan's name; "" without one
	// Ground names the ground that was ridden over, the same for rides over the same version of a course; "" takes Course, and
	// without that each ride has ground of its own.
	Ground string `json:"ground"`
	Basis  string `json:"basis"` // position+motion | position | motion
	// CanterStrideM and StrideS are the ride's own middle stride, as its debrief tells it.
	CanterStrideM *trace.Estimate `json:"canter_stride_m"`
	StrideS       *trace.Estimate `json:"stride_s"`
	Lines         []Line          `json:"lines"`
	Efforts       []Effort        `json:"efforts"`
}

// Line is one ride of one line; figures as in [report.Line].
type Line struct {
	From          string          `json:"from"`
	To            string          `json:"to"`
	Kind          string          `json:"kind"`
	Strides       *trace.Estimate `json:"strides"`
	Counted       bool            `json:"counted"` // not estimated
	StrideLengthM *trace.Estimate `json:"stride_length_m"`
	StrideS       *trace.Estimate `json:"stride_s"`
	RhythmCV      *trace.Estimate `json:"rhythm_cv"`
	SpeedMS       *trace.Estimate `json:"speed_m_s"`
	SpeedInMS     *trace.Estimate `json:"speed_in_m_s"`
	SpeedOutMS    *trace.Estimate `json:"speed_out_m_s"`
	DistanceM     *float64        `json:"distance_m"` // the plan's
	TrackM        *trace.Estimate `json:"track_m"`
	Grade         *float64        `json:"grade"`     // rise per metre
	Homeward      *float64        `json:"homeward"`  // cosine towards home
	Direction     string          `json:"direction"` // left | right | straight; "" if not told
	TurnedDeg     *trace.Estimate `json:"turned_deg"`
	RadiusMinM    *trace.Estimate `json:"radius_min_m"`
	FitM          *trace.Estimate `json:"fit_m"`    // a stride, against the stride that the debrief held it against
	FitSays       string          `json:"fit_says"` // long | right | short; "" where it is too close to call
	// LeadFirst is the lead on landing into the line, LeadLast that of its last stride: left | right, "" if not told.
	LeadFirst string `json:"lead_first"`
	LeadLast  string `json:"lead_last"`
}

// Effort is one obstacle taken or tried; figures as in [report.Effort].
type Effort struct {
	Obstacle string `json:"obstacle"` // "" if at none of the plan
	// Kind and HeightM are the plan's; "" and nil where it does not tell.
	Kind             string          `json:"kind"`
	HeightM          *float64        `json:"height_m"`
	Outcome          string          `json:"outcome"` // jumped | refused | ran out | warm-up
	TakeoffDistanceM *trace.Estimate `json:"takeoff_distance_m"`
	LandingDistanceM *trace.Estimate `json:"landing_distance_m"`
	SpeedMS          *trace.Estimate `json:"speed_m_s"`
	Confidence       float64         `json:"confidence"`
}

// Extract takes from a debrief what it tells of its horse. The date, the horse's name and the course's are the debrief's where
// it has them; ID and Ground are left to whoever keeps the ride. A figure that is no finite number is taken as not told.
func Extract(d *report.Debrief) Ride {
	r := Ride{V: RideVersion, DurationS: number(d.Recording.DurationS), Basis: d.Basis,
		CanterStrideM: told(d.Horse.CanterStrideM), StrideS: told(d.Horse.StrideS), Lines: []Line{}, Efforts: []Effort{}}
	if d.Recording.Start != nil {
		if at, err := time.Parse(time.RFC3339Nano, *d.Recording.Start); err == nil {
			at = at.UTC()
			r.At = &at
		}
	}
	if d.Horse.Name != nil {
		r.Horse = *d.Horse.Name
	}
	if d.Course != nil {
		r.Course = d.Course.Name
	}
	ends := d.Ends()
	for i, l := range d.Lines {
		t := Line{From: l.From, To: l.To, Kind: l.Kind, Strides: told(l.Strides), Counted: l.StridesBy == "counted",
			StrideLengthM: told(l.StrideLengthM), StrideS: told(l.StrideS), RhythmCV: told(l.RhythmCV),
			SpeedMS: told(l.SpeedMS), SpeedInMS: told(l.SpeedInMS), SpeedOutMS: told(l.SpeedOutMS),
			DistanceM: finite(l.DistanceM), TrackM: told(l.TrackM), Grade: finite(l.Grade), Homeward: finite(l.Homeward)}
		if l.Turn != nil {
			t.Direction, t.TurnedDeg, t.RadiusMinM = l.Turn.Direction, told(l.Turn.TurnedDeg), told(l.Turn.RadiusMinM)
		}
		if l.Fit != nil {
			t.FitM, t.FitSays = told(l.Fit.PerStrideM), l.Fit.Verdict()
		}
		if a := ends[i][0]; a != nil && a.LeadOut != nil {
			t.LeadFirst = *a.LeadOut
		}
		if b := ends[i][1]; b != nil && b.LeadIn != nil {
			t.LeadLast = *b.LeadIn
		}
		r.Lines = append(r.Lines, t)
	}
	for _, e := range d.Efforts {
		t := Effort{Outcome: e.Outcome, TakeoffDistanceM: told(e.TakeoffDistanceM), LandingDistanceM: told(e.LandingDistanceM),
			SpeedMS: told(e.SpeedMS), Confidence: number(e.Confidence)}
		if e.Obstacle != nil {
			t.Obstacle = *e.Obstacle
			if d.Plan != nil {
				if o, ok := d.Plan.Obstacle(*e.Obstacle); ok {
					t.Kind = string(o.Kind)
					if o.HeightM > 0 {
						t.HeightM = finite(&o.HeightM)
					}
				}
			}
		}
		r.Efforts = append(r.Efforts, t)
	}
	return rounded(r)
}

// rounded has the numbers of a ride as the debrief's JSON has them, so that it tells the same whether the debrief was just made or
// read back.
func rounded(r Ride) Ride {
	var err error
	if r.Lines, err = report.Rounded(r.Lines, "lines"); err != nil {
		panic("record: " + err.Error())
	}
	if r.Efforts, err = report.Rounded(r.Efforts, "efforts"); err != nil {
		panic("record: " + err.Error())
	}
	usual, err := report.Rounded(struct{ M, S *trace.Estimate }{r.CanterStrideM, r.StrideS}, "horse")
	if err != nil {
		panic("record: " + err.Error())
	}
	r.CanterStrideM, r.StrideS = usual.M, usual.S
	return r
}

// ground names the ground of a ride, "" where it has none but its own.
func (r Ride) ground() string {
	if r.Ground != "" {
		return r.Ground
	}
	return strings.TrimSpace(r.Course)
}

// debrief is the ride as a debrief that has what [report.RiddenIn] looks at.
func (r Ride) debrief() *report.Debrief {
	d := &report.Debrief{}
	if r.Horse != "" {
		d.Horse.Name = &r.Horse
	}
	if g := r.ground(); g != "" {
		d.Course = &report.CourseInfo{Name: g}
	}
	for _, e := range r.Efforts {
		t := report.Effort{Outcome: e.Outcome, TakeoffDistanceM: e.TakeoffDistanceM, LandingDistanceM: e.LandingDistanceM}
		if e.Obstacle != "" {
			t.Obstacle = &e.Obstacle
		}
		d.Efforts = append(d.Efforts, t)
	}
	for _, l := range r.Lines {
		by := "estimated"
		if l.Counted {
			by = "counted"
		}
		d.Lines = append(d.Lines, report.Line{From: l.From, To: l.To, Kind: l.Kind, DistanceM: l.DistanceM, Strides: l.Strides, StridesBy: by,
			StrideLengthM: l.StrideLengthM, StrideS: l.StrideS, SpeedMS: l.SpeedMS, Grade: l.Grade, Homeward: l.Homeward})
	}
	return d
}

// told is a copy of an estimate; nil where it is absent or no estimate.
func told(e *trace.Estimate) *trace.Estimate {
	if e == nil || !isNumber(e.Value) || !isNumber(e.Low) || !isNumber(e.High) || !(e.Low <= e.Value && e.Value <= e.High) {
		return nil
	}
	c := *e
	return &c
}

func finite(x *float64) *float64 {
	if x == nil || !isNumber(*x) {
		return nil
	}
	c := *x
	return &c
}

func isNumber(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func number(x float64) float64 {
	if !isNumber(x) {
		return 0
	}
	return x
}
