package course

import (
	"math"

	"groundline/trace"
)

// Figures are the numbers of a plan, as people want to read them before anybody rides.
type Figures struct {
	Obstacles int // of the route as rule books count them; see [Plan.Numbered]
	Efforts   int // jumps of the route
	Lines     []LineFigures
	Track     Track
	// LengthM is the length of the track in whole metres, from start to finish line or, where the plan
	// has none, from the first or to the last obstacle.
	LengthM float64
	// TimeAllowedS and TimeLimitS are nil without a speed, a start or a finish.
	TimeAllowedS, TimeLimitS *float64
	TimeRules                TimeRules
	// Ground is nil without a slope; WhyLevel then says why.
	Ground   *Surface
	WhyLevel string
	Warnings []Warning
	Cautions []trace.Note
}

// LineFigures are the numbers of one line.
type LineFigures struct {
	Line
	// WayM is the length on the ground, back of the first to front of the second: the tape, the map where
	// the way is in line, or the planned track.
	WayM float64
	// Strides are what the way asks of each profile, in the order of [Profiles].
	Strides []ProfileStrides
	// TurnedDeg is what the planned track turns, right positive; TightestM its smallest
	// radius, nil on a straight.
	TurnedDeg float64
	TightestM *float64
	// Grade is the mean rise per metre along the planned track and Homeward its mean cosine towards
	// home, each nil where the plan does not tell.
	Grade, Homeward *float64
}

// ProfileStrides is what a way asks of a usual stride.
type ProfileStrides struct {
	Profile string
	Real    float64
	Whole   int
}

// Figures are the numbers of the plan; horse is the profile that the warnings are about and whose
// stride the track's straights have.
func (p *Plan) Figures(horse Profile, rules TimeRules) Figures {
	f := Figures{Obstacles: p.Numbered(), Efforts: len(p.Route), TimeRules: rules, Cautions: Cautions()}
	f.Track = p.PlanTrack(horse.StrideM)
	f.LengthM = math.Round(f.Track.LengthM)
	if f.Track.FromStart && f.Track.ToFinish && p.SpeedMMin > 0 && f.LengthM > 0 {
		allowed := TimeAllowedS(f.LengthM, p.SpeedMMin)
		limit := rules.TimeLimitS(allowed)
		f.TimeAllowedS, f.TimeLimitS = &allowed, &limit
	}
	f.Ground, f.WhyLevel = NewSurface(p.Levels)
	for i, l := range p.Lines {
		path := f.Track.leg(i).Path
		g := LineFigures{Line: l, WayM: p.WayM(f.Track, i)}
		for _, profile := range Profiles() {
			g.Strides = append(g.Strides, ProfileStrides{profile.Name, StridesIn(g.WayM, profile.StrideM, p.heightM(l)),
				PlannedStrides(g.WayM, profile.StrideM, p.heightM(l))})
		}
		g.TurnedDeg, _ = path.TurnedDeg()
		if r := path.TightestM(); !math.IsInf(r, 0) {
			g.TightestM = &r
		}
		g.Grade, g.Homeward = SlopeAlong(path, f.Ground, p.Home)
		f.Lines = append(f.Lines, g)
	}
	f.Warnings = p.Check(f.Track, horse)
	return f
}
