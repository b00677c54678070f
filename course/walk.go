package course

import (
	"math"
	"slices"

	"groundline/course/prior"
	"groundline/trace"
)

// Horse is how one horse goes between fences, as far as a course walk needs it. Along a straight line the ground
// is landing + n strides + take-off, from the back of one obstacle to the front of the next.
type Horse struct {
	Name string
	// Size is the name of its size among [Profiles], "" when not known.
	Size string
	// StrideM is the usual canter stride between fences, hind contact to hind contact.
	StrideM trace.Estimate
	// LandingM is from the back of the obstacle to where the first stride begins, which is the first contact
	// of the hind hooves; TakeoffM from where the last stride ends, which is where the hind hooves
	// push off, to the front of the obstacle. See [HorseFromHooves] for what a recording measures.
	LandingM, TakeoffM trace.Estimate
	// HoofLandingM is from the back of the obstacle to where the fore hooves land, as a recording measures it; nil
	// where LandingM does not come from it.
	HoofLandingM *trace.Estimate
	// SpeedMS is the pace between fences, TurnMS that in the turn of a rollback; nil takes the plan's speed for the
	// first and SpeedMS for the other.
	SpeedMS, TurnMS *trace.Estimate
	// StrideS is the time of a stride and StridePerMS how much longer it grows for each m/s of pace, in metres; nil
	// when not known.
	StrideS, StridePerMS *trace.Estimate
	// LineSDRel is the part by which the stride differs from line to line beside slope and home: standard deviation.
	LineSDRel float64
	// GradeRel is the part of its length that the stride gains for each metre per metre of rise (below zero:
	// uphill shortens), HomewardRel the part it gains straight towards home; nil when not known.
	GradeRel, HomewardRel *trace.Estimate
	// Source says where the numbers come from.
	Source string
}

const (
	// No effect is believed beyond a quarter of the stride: three quarters of what 100 % of slope would do, so
	// only spot heights that are wrong get there.
	effectMostRel = 0.25
	// A tape or wheel is good to a decimetre, a map to what a plan lets it differ from the tape (0.3 m); 90 % intervals.
	tapeDoubtM, mapDoubtM = 0.1, walkedDiffersM
	// Without a tape of it, a track that turns may be ridden this much longer or shorter (ours).
	trackDoubtRel = 0.03
	// A bending line was ridden 0.1 m longer than the square sweep between its fences and 0.3 m either way, over 68 rides of a
	// forward model; with the map's own 0.3 m.
	bendingSDM = 0.35
	// Natural stride-to-stride variation is 2 % (30 Standardbreds, Equine Vet. J. 1980): less is no change.
	sameStrideRel = 0.02
	// A 12-ft horse can be asked for 10 ft (the stride of riding schools and grids) to 13 ft 9 in (the longest
	// of US Equestrian's chart).
	shortestRel, longestRel = 10.0/12 - 1, 13.75/12 - 1
	// A fence may be jumped this far off square (ours).
	askewMostDeg = 20.0
	// Over a hard session the landing came in from 1.99 to 1.71 m (eight horses over 70 jumps), a seventh: taken
	// for a weak jump, and as much out for a forward one; the stride after it is taken to differ by twice the
	// natural variation.
	jumpedInLandingRel = 1 - 1.71/1.99
	jumpedInStrideRel  = 2 * sameStrideRel
)

// Horse is a horse of that size that goes as the tables have it: landing and take-off take half a stride each.
func (p Profile) Horse() Horse {
	half := trace.Estimate{Value: p.StrideM / 2, Low: p.StrideM * 0.4, High: p.StrideM * 0.6}
	return Horse{Name: p.Name, Size: p.Name, StrideM: trace.Estimate{Value: p.StrideM, Low: p.LowM, High: p.HighM},
		LandingM: half, TakeoffM: half, LineSDRel: prior.LineRel().SD, GradeRel: defaultGradeRel(), Source: p.Source}
}

// HorseFromHooves is a horse as a recording measures it: landing from the obstacle's back to the fore hooves,
// take-off from the hind hooves to the front, stride from hind contact to hind contact.
func HorseFromHooves(name string, stride, landing, takeoff trace.Estimate) Horse {
	way := prior.Getaway()
	start := landing.Value + way.Value*stride.Value
	sd := math.Hypot(landing.SD(), math.Hypot(way.SD*stride.Value, way.Value*stride.SD()))
	return Horse{Name: name, StrideM: stride, LandingM: trace.FromSD(start, sd), TakeoffM: takeoff, HoofLandingM: &landing,
		LineSDRel: prior.LineRel().SD, GradeRel: defaultGradeRel(), Source: "measured at the hooves"}
}

func defaultGradeRel() *trace.Estimate {
	e := trace.FromSD(prior.GradeRel().Value, prior.GradeRel().SD)
	return &e
}

// Walk is what a course asks of one horse.
type Walk struct {
	Horse Horse
	// SpeedMS is the pace that bending lines are for, TurnMS that of the rollbacks' turns and times.
	SpeedMS, TurnMS trace.Estimate
	Lines           []WalkLine // one for each line of the plan
	Figures         Figures    // with the stride of this horse
}

// WalkLine is what one line asks.
type WalkLine struct {
	LineFigures
	// GroundM is the length of the way with its doubt.
	GroundM trace.Estimate
	// StrideM is the horse's stride on this line, with what slope and home do to it (GradeM and
	// HomewardM, nil where not known).
	StrideM           trace.Estimate
	GradeM, HomewardM *trace.Estimate
	// Real is the number of strides that the ground has for this horse, Whole the nearest whole number;
	// Asked what that number asks of each stride, and one less and one more.
	Real  trace.Estimate
	Whole int
	Asked []Asked
	// In is what coming in weak and forward leaves for the strides; nil for lines that are not
	// ridden as one.
	In []CameIn
	// Tracks are those of a bending line, by number of strides, fewest first; Square is the one that jumps both fences
	// square, nil for other lines or where it does not fit.
	Tracks []BendingTrack
	Square *BendingTrack
	// Turn is the choice that a rollback leaves; nil for others.
	Turn *TurnChoice
}

// Asked is what a number of strides asks of each.
type Asked struct {
	Strides int
	StrideM trace.Estimate
	// PerStrideM is metres a stride beyond (+, long) or short of (-, tight) the horse's own.
	PerStrideM trace.Estimate
	Says       string // long | right | tight
	// CanBeRidden tells that the stride is within what horses are asked for.
	CanBeRidden bool
	// Chance is the probability that this horse goes on this number when nothing is asked of it: that its stride on the day,
	// with its doubt and what it differs from line to line, leaves the ground nearest to it.
	Chance float64
}

// CameIn is a jump into a line, and what it leaves.
type CameIn struct {
	How               string // weak | forward
	LandingM, StrideM float64
	// LeftM is what is missing (+) or over (-) at the end of the line when the stride stays as it came in;
	// PerStrideM the same for each stride of the line.
	LeftM, PerStrideM trace.Estimate
}

// BendingTrack is one way to ride a bending line.
type BendingTrack struct {
	Strides int
	Asked   Asked
	LengthM float64 // on the ground, back to front
	// OutsideM is how far the middle of the track lies off the straight line, TightestM its smallest radius
	// (nil when straight), AskewDeg how far off square the fences are jumped at most.
	OutsideM  float64
	TightestM *float64
	AskewDeg  float64
	Path      Path
}

// TurnChoice is the choice of a rollback: cut, on the shortest way that a sensible turn allows, or wide, on the same way
// with as easy a turn as there is room for. The two are the same where there is no choice; where no way fits at all,
// OutsideM or Through of it say why.
type TurnChoice struct {
	Cut, Wide Turn
	// LongerM and LaterS are what the wide turn costs, at the same pace.
	LongerM, LaterS trace.Estimate
}

// Turn is one way to ride a rollback.
type Turn struct {
	RadiusM, LeanDeg float64
	LengthM          float64 // on the ground, back to front
	TimeS            trace.Estimate
	Strides          int
	OutsideM         float64  // of the arena; 0 if it fits
	Through          []string // obstacles that it runs through all the same
	Path             Path
}

// FitSays is the word for a stride that is asked beyond (+) or short of (-) a horse's own: right while
// the difference is within the natural variation of 2 %.
func FitSays(perStrideM, strideM float64) string {
	switch {
	case perStrideM > sameStrideRel*strideM:
		return "long"
	case perStrideM < -sameStrideRel*strideM:
		return "tight"
	}
	return "right"
}

// Walk is the plan walked for one horse, whose stride must be above zero.
func (p *Plan) Walk(h Horse) Walk {
	if !(h.StrideM.Value > 0) {
		panic("course: a walk for a horse without a stride")
	}
	w := Walk{Horse: h, SpeedMS: trace.Exactly(p.speedMS())}
	if h.SpeedMS != nil {
		w.SpeedMS = *h.SpeedMS
	}
	w.TurnMS = w.SpeedMS
	if h.TurnMS != nil {
		w.TurnMS = *h.TurnMS
	}
	profile := Profile{Name: h.Size, StrideM: tablesStrideM(h, h.StrideM.Value), Source: h.Source}
	if profile.Name == "" {
		profile.Name = Profiles()[0].Name
	}
	w.Figures = p.Figures(profile, TimeRuleSets()[0])
	if h.HoofLandingM != nil {
		// Whether a measured horse's strides fit a line, its line tells with its doubt; the tables' word for its size would be
		// surer than what was measured.
		w.Figures.Warnings = slices.DeleteFunc(w.Figures.Warnings, func(x Warning) bool { return x.Source == ponyRule })
	}
	for _, f := range w.Figures.Lines {
		w.Lines = append(w.Lines, p.walkLine(f, h, w))
	}
	return w
}

func (p *Plan) walkLine(f LineFigures, h Horse, w Walk) WalkLine {
	a, _ := p.Obstacle(f.From)
	b, _ := p.Obstacle(f.To)
	l := WalkLine{LineFigures: f, StrideM: h.StrideM}
	doubt := mapDoubtM
	switch {
	case f.WalkedM != nil:
		doubt = tapeDoubtM
	case !inLine(a, b):
		doubt = math.Hypot(mapDoubtM, trackDoubtRel*f.WayM)
	}
	l.GroundM = trace.Estimate{Value: f.WayM, Low: max(0, f.WayM-doubt), High: f.WayM + doubt}
	turned := !inLine(a, b) && (f.Kind == Rollback || f.Kind == Single)
	if f.WalkedM == nil && turned {
		// The rider chooses the way: what is drawn is one of many, and the interval holds those that are ridden.
		way := prior.UnrelatedWay()
		if f.Kind == Rollback {
			way = prior.RollbackWay()
		}
		l.GroundM = trace.Estimate{Value: way.Value * f.WayM, Low: way.Low * f.WayM, High: way.High * f.WayM}
	}
	l.GradeM, l.StrideM = changed(h.GradeRel, f.Grade, h.StrideM, l.StrideM)
	l.HomewardM, l.StrideM = changed(h.HomewardRel, f.Homeward, h.StrideM, l.StrideM)

	if f.Kind == Bending {
		l.Tracks, l.Square = p.bendingTracks(a, b, l.StrideM, h, w.SpeedMS.Value)
		if l.Square != nil && f.WalkedM == nil {
			// Nobody straightens where both fences can be jumped square on one sweep.
			l.GroundM = trace.FromSD(l.Square.LengthM, bendingSDM)
		}
	}
	table := tableOf(h, f, l.StrideM.Value, (a.HeightM+b.HeightM)/2)
	real := l.StrideM
	if turned {
		// Strides are shorter where the way leads round a turn.
		rel := prior.UnrelatedRel()
		real = trace.FromSD(real.Value*(1+rel.Value), math.Hypot(real.SD(), rel.SD*real.Value))
	}
	l.Real = stridesOn(l.GroundM, real, h, table)
	l.Whole = max(0, int(math.Round(l.Real.Value)))
	for n := max(1, l.Whole-1); n <= l.Whole+1; n++ {
		k := asked(l.GroundM, l.StrideM, h, n, table)
		k.Chance = chance(l.Real, h.LineSDRel, n)
		l.Asked = append(l.Asked, k)
	}
	if f.Kind == Related || f.Kind == Bending || f.Kind == Combination {
		l.In = cameIn(l.GroundM, l.StrideM, h, l.Whole, table)
	}
	if f.Kind == Rollback {
		l.Turn = p.turnChoice(a, b, l.StrideM, h, w.TurnMS)
	}
	return l
}

// changed is what an effect does to a stride, and the stride with it; nil and the same stride where effect
// or cause is not known.
func changed(rel *trace.Estimate, cause *float64, usual, stride trace.Estimate) (*trace.Estimate, trace.Estimate) {
	if rel == nil || cause == nil {
		return nil, stride
	}
	part := max(-effectMostRel, min(effectMostRel, rel.Value**cause))
	by := trace.FromSD(part*usual.Value, min(effectMostRel, rel.SD()*math.Abs(*cause))*usual.Value)
	return &by, trace.FromSD(stride.Value+by.Value, math.Hypot(stride.SD(), by.SD()))
}

// tableOf is the ground that the tables give a combination of n strides, for a horse with that stride on this line: more than
// landing, strides and take-off, by the height; nil for other lines. A horse measured at the hooves has the tables'
// stride that gives it the same ground on five strides.
func tableOf(h Horse, f LineFigures, stride, heightM float64) func(n int) float64 {
	if f.Kind != Combination {
		return nil
	}
	tables := tablesStrideM(h, stride)
	return func(n int) float64 { return LineDistanceM(n, tables, heightM) }
}

// TableStrideM is the stride by which the tables' distances fit this horse: its own where landing and take-off take half a
// stride each, as the tables have it, else the one that has the same ground on five strides.
func (h Horse) TableStrideM() float64 { return tablesStrideM(h, h.StrideM.Value) }

// tablesStrideM is the stride of the tables, which let landing and take-off take one stride together, that has the same ground
// on five strides.
func tablesStrideM(h Horse, strideM float64) float64 {
	return (h.LandingM.Value + 5*strideM + h.TakeoffM.Value) / 6
}

// stridesOn is (ground - landing - take-off) / stride, its doubt by the first order of independent errors; table, where
// there is one, is the ground of n strides instead.
func stridesOn(ground, stride trace.Estimate, h Horse, table func(n int) float64) trace.Estimate {
	n := (ground.Value - h.LandingM.Value - h.TakeoffM.Value) / stride.Value
	sd := math.Hypot(edges(ground, h)/stride.Value, n*stride.SD()/stride.Value)
	if table != nil {
		// Between whole numbers straight, beyond two strides by the law of the lines.
		for k := range 3 {
			if from, to := table(k), table(k+1); ground.Value < to {
				n = float64(k) + (ground.Value-from)/(to-from)
				break
			}
		}
	}
	return trace.FromSD(n, sd)
}

// edges is the standard deviation of ground less landing less take-off on one ride of a line: of a horse measured at the
// hooves also what its landing and take-off differ from jump to jump.
func edges(ground trace.Estimate, h Horse) float64 {
	sd := math.Hypot(ground.SD(), math.Hypot(h.LandingM.SD(), h.TakeoffM.SD()))
	if h.HoofLandingM != nil {
		sd = math.Hypot(sd, math.Sqrt2*prior.HoofJumpM().SD)
	}
	return sd
}

func asked(ground, stride trace.Estimate, h Horse, n int, table func(n int) float64) Asked {
	v := (ground.Value - h.LandingM.Value - h.TakeoffM.Value) / float64(n)
	sd := edges(ground, h) / float64(n)
	if table != nil {
		// The tables leave horses more room in a combination than landing, strides and take-off do on a line, and which of the
		// two holds for this one is not known: the doubt reaches from the one to the other.
		plain := v
		v = stride.Value * ground.Value / table(n)
		sd = math.Hypot(sd, (v-plain)/math.Sqrt(3))
	}
	per := v - stride.Value
	return Asked{Strides: n, StrideM: trace.FromSD(v, sd), PerStrideM: trace.FromSD(per, math.Hypot(sd, stride.SD())),
		Says: FitSays(per, stride.Value), CanBeRidden: per >= shortestRel*stride.Value-tapeM && per <= longestRel*stride.Value+tapeM}
}

// chance is the probability that the number of strides comes out as n: that the real number, which also moves with the
// stride from line to line, is nearest to it.
func chance(real trace.Estimate, lineSDRel float64, n int) float64 {
	sd := math.Hypot(real.SD(), real.Value*lineSDRel)
	if sd < 1e-9 {
		if int(math.Round(real.Value)) == n {
			return 1
		}
		return 0
	}
	below := func(x float64) float64 { return math.Erfc((real.Value-x)/(sd*math.Sqrt2)) / 2 }
	return below(float64(n)+0.5) - below(float64(n)-0.5)
}

func cameIn(ground, stride trace.Estimate, h Horse, n int, table func(n int) float64) []CameIn {
	if n < 1 {
		return nil
	}
	fits := h.LandingM.Value + h.TakeoffM.Value + float64(n)*stride.Value
	if table != nil {
		fits = table(n)
	}
	var out []CameIn
	for _, c := range []struct {
		how  string
		sign float64
	}{{"weak", -1}, {"forward", 1}} {
		in := CameIn{How: c.how, LandingM: h.LandingM.Value * (1 + c.sign*jumpedInLandingRel), StrideM: stride.Value * (1 + c.sign*jumpedInStrideRel)}
		left := ground.Value - fits + h.LandingM.Value - in.LandingM + float64(n)*(stride.Value-in.StrideM)
		sd := math.Hypot(edges(ground, h), float64(n)*stride.SD())
		in.LeftM = trace.FromSD(left, sd)
		in.PerStrideM = trace.FromSD(left/float64(n), sd/float64(n))
		out = append(out, in)
	}
	return out
}

// bendingTracks are the ways to ride from a to b by number of strides. A track is two arcs that meet
// half way (a biarc; Bolton 1975), from the straight line between the fences through the one that jumps
// both square to one that bows out farther, as far as the angle to the fences, the lean at that
// speed and the arena allow. Of these each number of strides takes the one on which it needs to
// change its stride least; those that it can't ride at all are left out.
func (p *Plan) bendingTracks(a, b Obstacle, stride trace.Estimate, h Horse, speedMS float64) (tracks []BendingTrack, square *BendingTrack) {
	out, in := bends(a, b)
	most := math.Max(math.Abs(out), math.Abs(in))
	if most == 0 || distance(a.At, b.At) < samePlaceM {
		return nil, nil
	}
	tightest := TurnRadiusM(speedMS, tightestLeanDeg)
	edge := h.LandingM.Value + h.TakeoffM.Value
	ask := func(w BendingTrack, n int) BendingTrack {
		w.Strides = n
		w.Asked = asked(trace.Estimate{Value: w.LengthM, Low: w.LengthM - mapDoubtM, High: w.LengthM + mapDoubtM}, stride, h, n, nil)
		return w
	}
	var ways []BendingTrack
	const steps = 400 // even, so that the square track is one of them
	low, high := max(0, 1-askewMostDeg/most), 1+askewMostDeg/most
	for i := range steps + 1 {
		// bow is 0 on the straight line and 1 where both fences are jumped square.
		bow := low + (1-low)*float64(i)/(steps/2)
		if i > steps/2 {
			bow = 1 + (high-1)*float64(i-steps/2)/(steps/2)
		}
		const foldsOver = 85.0 // degrees off the straight line
		if bow*most > foldsOver {
			break
		}
		path := biarc(a.At, b.At, bearing(a.At, b.At)-bow*out, bearing(a.At, b.At)+bow*in)
		if path.TightestM() < tightest || path.outsideM(p.Arena) > outsideToldM {
			continue
		}
		w := BendingTrack{LengthM: path.LengthM() - a.SpreadM/2 - b.SpreadM/2, AskewDeg: math.Abs(bow-1) * most, Path: path}
		if r := path.TightestM(); !math.IsInf(r, 0) {
			w.TightestM = &r
		}
		mid, _ := path.At(path.LengthM() / 2)
		w.OutsideM = toLine(mid, a.At, b.At)
		ways = append(ways, w)
		if i == steps/2 {
			s := ask(w, max(1, int(math.Round((w.LengthM-edge)/stride.Value))))
			square = &s
		}
	}
	if len(ways) == 0 {
		return nil, nil
	}
	fewest := int(math.Floor((ways[0].LengthM - edge) / (stride.Value * (1 + longestRel))))
	for n := max(1, fewest); n < 30; n++ {
		want := edge + float64(n)*stride.Value
		nearest := 0
		for i, w := range ways {
			if math.Abs(w.LengthM-want) < math.Abs(ways[nearest].LengthM-want) {
				nearest = i
			}
		}
		best := ask(ways[nearest], n)
		// The widest way is that of one number: more strides on it would be no other track.
		if last := len(tracks) - 1; nearest == len(ways)-1 && nearest > 0 && last >= 0 && tracks[last].LengthM == best.LengthM {
			break
		}
		if best.Asked.CanBeRidden {
			tracks = append(tracks, best)
		} else if best.Asked.PerStrideM.Value < 0 {
			break
		}
	}
	return tracks, square
}

// biarc is two arcs from one place and bearing to another that meet at equal tangents (Bolton 1975). With both ends
// bent alike it is the one arc.
func biarc(from, to Point, fromDeg, toDeg float64) Path {
	u, w := direction(fromDeg), direction(toDeg)
	vx, vy := to.X-from.X, to.Y-from.Y
	tx, ty := u.X+w.X, u.Y+w.Y
	vv, vt := vx*vx+vy*vy, vx*tx+vy*ty
	k := 2 * (1 - u.X*w.X - u.Y*w.Y)
	// d solves k d² + 2 vt d - vv = 0, in the form that stays exact when k vanishes.
	d := vv / (vt + math.Sqrt(vt*vt+k*vv))
	mid := Point{(from.X + to.X + d*(u.X-w.X)) / 2, (from.Y + to.Y + d*(u.Y-w.Y)) / 2}
	first := arcTo(from, fromDeg, mid)
	_, midDeg := first.At(first.LengthM)
	return Path{first, arcTo(mid, midDeg, to)}
}

// arcTo is the arc that leaves a place in a direction and ends at another.
func arcTo(from Point, deg float64, to Point) Piece {
	chord := distance(from, to)
	half := turnDeg(deg, bearing(from, to)) * math.Pi / 180
	p := Piece{From: from, BearingDeg: math.Mod(math.Mod(deg, 360)+360, 360), LengthM: chord}
	if math.Abs(half) > 1e-9 {
		p.LengthM = chord * half / math.Sin(half)
		p.Curvature1M = 2 * math.Sin(half) / chord
	}
	return p
}

// toLine is the distance of p from the straight line through a and b.
func toLine(p, a, b Point) float64 {
	return math.Abs((b.X-a.X)*(p.Y-a.Y)-(b.Y-a.Y)*(p.X-a.X)) / distance(a, b)
}

// turnChoice looks for the shortest turn from a to b that stays in the arena and goes through no other obstacle, with
// any radius from the tightest sensible to an easy one, and for the widest of the same shape. Half a stride is kept
// straight behind the first and a whole one in front of the second: less is no approach.
func (p *Plan) turnChoice(a, b Obstacle, stride trace.Estimate, h Horse, speed trace.Estimate) *TurnChoice {
	if speed.Value <= 0 {
		return nil
	}
	tightest, usual := TurnRadiusM(speed.Value, tightestLeanDeg), TurnRadiusM(speed.Value, usualLeanDeg)
	const steps = 20
	var found [4][steps + 1]Path // by shape and radius; nil where it does not fit
	shape, cut := -1, 0
	least := math.Inf(1)
	fallback, fallbackCost := Path(nil), math.Inf(1)
	for i := range steps + 1 {
		for k, path := range paths(a, b, stride.Value/2, stride.Value, tightest+(usual-tightest)*float64(i)/steps) {
			if path == nil {
				continue
			}
			out, through := path.outsideM(p.Arena), len(p.through(path, a.ID, b.ID))
			if cost := path.LengthM() + 100*out + 15*float64(through); i == 0 && cost < fallbackCost {
				fallback, fallbackCost = path, cost
			}
			if out > outsideToldM || through > 0 {
				continue
			}
			found[k][i] = path
			if l := path.LengthM(); l < least-1e-9 {
				shape, cut, least = k, i, l
			}
		}
	}
	turn := func(path Path, step int) Turn {
		t := Turn{RadiusM: tightest + (usual-tightest)*float64(step)/steps, Path: path,
			OutsideM: path.outsideM(p.Arena), Through: p.through(path, a.ID, b.ID)}
		t.LeanDeg = LeanDeg(speed.Value, t.RadiusM)
		t.LengthM = path.LengthM() - a.SpreadM/2 - b.SpreadM/2
		t.TimeS = trace.FromSD(t.LengthM/speed.Value, t.LengthM/speed.Value*speed.SD()/speed.Value)
		t.Strides = max(0, int(math.Round((t.LengthM-h.LandingM.Value-h.TakeoffM.Value)/stride.Value)))
		return t
	}
	if shape < 0 {
		t := turn(fallback, 0)
		return &TurnChoice{Cut: t, Wide: t}
	}
	// Wider step by step, as long as the same shape fits and does not fold over into a circle: a metre more of radius is
	// never more than a whole turn longer, 2π metres.
	wide := cut
	for i := cut + 1; i <= steps && found[shape][i] != nil; i++ {
		if found[shape][i].LengthM()-found[shape][i-1].LengthM() > 2*math.Pi*(usual-tightest)/steps {
			break
		}
		wide = i
	}
	c := TurnChoice{Cut: turn(found[shape][cut], cut), Wide: turn(found[shape][wide], wide)}
	longer := c.Wide.LengthM - c.Cut.LengthM
	doubt := trackDoubtRel * longer // both are ridden by the same rider on the same ground
	c.LongerM = trace.Estimate{Value: longer, Low: longer - doubt, High: longer + doubt}
	later := longer / speed.Value
	c.LaterS = trace.FromSD(later, math.Hypot(c.LongerM.SD(), later*speed.SD())/speed.Value)
	return &c
}
