package build

import (
	"math"
	"slices"

	"groundline/course"
	"groundline/course/follow"
	"groundline/course/place"
	"groundline/trace"
)

// prior is what is known of horses before the ride tells of this one.
type prior struct {
	// hoofM is how much further the hooves reach than the sensor flies: hind hooves behind it at
	// take-off, fore hooves ahead of it at landing. hindM is the part at take-off.
	hoofM, hoofSDM, hindM, hindSDM float64
	// splitSDM is how unevenly take-off and landing distance share their sum, from jump to jump.
	splitSDM float64
	// edges is the time from landing to take-off beyond the counted strides, in strides.
	// From line to line of one ride it varies by edgesLineSD.
	edges, edgesSD, edgesLineSD float64
	// lagShare of the watches at one fix a second tell the place late, by lagS.
	lagShare, lagS float64
}

// priorFor: the hind hooves lie 1.1-1.3 m behind the centre of mass at take-off in Grand Prix horses
// (Colborne et al. 1995, means of 1.11 and 1.30 m), a fifth less in ponies; the sensor sits near it, and 0.1 to 0.3 m
// behind the fore hooves at landing. Take-off and landing distances vary by some 0.2 m each about
// their mean (Ribeiro et al.: 1.65 and 1.99 m over 1.10 m). The edges of a line follow from the definition
// of a counted stride: hind contact 0.2 s after landing to hind contact 0.2 s before take-off, which at 0.6 s
// a stride leaves 0.7 strides; 0.73 ± 0.07 over the practice rounds. How many watches lag is our own
// assumption, close to the practice rounds.
func priorFor() prior {
	return prior{hoofM: 1.17, hoofSDM: 0.15, hindM: 0.95, hindSDM: 0.14, splitSDM: 0.15,
		edges: 0.73, edgesSD: 0.07, edgesLineSD: 0.04, lagShare: 0.25, lagS: 0.45}
}

// effort is what was measured of one effort.
type effort struct {
	takeoff, landing *trace.Estimate
	timed            bool // by a motion sensor
	midSD            float64
	flightS          float64
	flightSD         float64
	speed            *trace.Estimate
	toM, ldM         *trace.Estimate
}

// leg is what was measured of one way.
type leg struct {
	durS, durSD float64
	middleSD    float64         // of the time from the middle of one flight to the middle of the next, where positions alone gave it
	pathM       *trace.Estimate // of the sensor, landing to take-off
	speed       *trace.Estimate
	strides     *trace.Estimate
	by          string
	strideS     *trace.Estimate
	strideM     *trace.Estimate
	beats       []float64
	fromS, toS  float64
	straight    bool
	planned     int // strides that the distance is built for at a 12-ft stride; 0 where none is
}

// ride is a ride whose efforts and legs are measured.
type ride struct {
	followed
	efforts []effort // as in res.Efforts
	legs    []leg    // as in res.Legs
	prior   prior
	missed  int // lines with a hole in the motion
}

func (r *ride) note(level, what, why string) { r.notes = noted(r.notes, level, what, why) }

// measured measures what was followed.
func measured(f followed) *ride {
	r := &ride{followed: f}
	if r.plan != nil {
		r.measure()
	}
	return r
}

func (r *ride) measure() {
	r.prior = priorFor()
	r.efforts = make([]effort, len(r.res.Efforts))
	for i := range r.res.Efforts {
		r.efforts[i] = r.measureEffort(r.res.Efforts[i])
	}
	r.legs = make([]leg, len(r.res.Legs))
	for i, l := range r.res.Legs {
		r.legs[i] = r.measureLeg(l)
	}
	r.estimateStrides()
	for i := range r.legs {
		r.strideLength(&r.legs[i])
	}
}

// flightOver is the flight to be expected over an obstacle: 0.35 s over a low cross-pole to 0.6 s over a metre (own
// reading of the ballistics of Santamaria et al. 2004 and Clayton et al. 1995: 0.42 s over water, 0.60 s
// for a rise of 0.44 m; the trunk's low-load time is shorter), a little longer over a spread.
func flightOver(o course.Obstacle) (s, sd float64) {
	return 0.30 + 0.15*o.HeightM + 0.04*o.SpreadM, math.Hypot(flightHorseSDS, flightJumpSDS)
}

// unseenSpeed is how far the pace over a fence may be from what a track shows, which smooths over a stride or more, as a
// share (own assumption).
const unseenSpeed = 0.03

// splitOver is half of what the landing distance is longer by than the take-off distance: at small fences the two are alike, over
// 1.10 m the landing was longer by 0.34 m (Ribeiro et al.: 1.65 and 1.99 m).
func splitOver(o course.Obstacle) float64 {
	return 0.17 * math.Min(math.Max((o.HeightM-0.8)/0.3, 0), 1)
}

// How much flights differ from what is expected, from horse to horse (one that jumps a hand higher than it
// must stays up some 0.07 s longer: ballistics) and from jump to jump of one horse.
const flightHorseSDS, flightJumpSDS = 0.07, 0.04

func (r *ride) measureEffort(e follow.Effort) effort {
	var m effort
	o := r.plan.Obstacles[e.Obstacle]
	if e.Outcome == follow.Refused || e.Outcome == follow.RanOut {
		return m
	}
	if e.Jump >= 0 {
		j := r.ev.Jumps[e.Jump]
		m.timed = true
		to, ld := r.onClock(j.TakeoffS), r.onClock(j.LandingS)
		m.takeoff, m.landing = &to, &ld
		m.flightS = ld.Value - to.Value
		m.flightSD = math.Hypot(j.TakeoffS.SD(), j.LandingS.SD())
		m.midSD = m.flightSD / 2
	} else {
		m.flightS, m.flightSD = flightOver(o)
		at, _ := r.path.At(e.MidS)
		v := math.Max(at.SpeedMS(), 2)
		var along float64
		if r.res.Placement != nil {
			_, _, sx, sy := r.res.Placement.Offset(e.MidS, at.X, at.Y)
			s, c := math.Sincos(o.FacingDeg * math.Pi / 180)
			along = math.Hypot(sx*s, sy*c)
		}
		sd := r.placesFactor() * math.Sqrt(along*along+sq(place.Defaults().JumpAlongSD)+at.PlaceSDM*at.PlaceSDM) / v
		m.midSD = sd
		m.takeoff = r.late(e.MidS-m.flightS/2, math.Hypot(sd, m.flightSD/2))
		m.landing = r.late(e.MidS+m.flightS/2, math.Hypot(sd, m.flightSD/2))
	}
	// Speed over the fence, and from it the ground covered.
	v, vSD := 5.3, 0.5
	if r.path != nil {
		if d, ok := r.path.LengthM(m.takeoff.Value, m.landing.Value); ok && m.flightS > 0 {
			at, _ := r.path.At((m.takeoff.Value + m.landing.Value) / 2)
			v = d / m.flightS
			vSD = math.Max(math.Hypot(1.25*at.SpeedSDMS, unseenSpeed*v), 0.05)
			s := trace.FromSD(v, vSD)
			m.speed = &s
		}
	}
	sum := v*m.flightS - o.SpreadM + r.prior.hoofM
	sumSD := math.Sqrt(sq(vSD*m.flightS) + sq(v*m.flightSD) + sq(r.prior.hoofSDM))
	split, splitSD := splitOver(o), r.prior.splitSDM
	if m.timed && r.path != nil && r.res.Placement != nil {
		// Where the sensor was at take-off, against the plan, says how the sum is shared; the receiver's
		// own error makes it a weak witness.
		if at, ok := r.path.At(m.takeoff.Value); ok {
			s, c := math.Sincos(o.FacingDeg * math.Pi / 180)
			al := (at.X-o.At.X)*s + (at.Y-o.At.Y)*c
			_, _, sx, sy := r.res.Placement.Offset(m.takeoff.Value, at.X, at.Y)
			toSeen := -al - o.SpreadM/2 + r.prior.hindM
			seenSD := math.Sqrt(sq(sx*s) + sq(sy*c) + sq(at.PlaceSDM) + sq(r.prior.hindSDM) + sq(0.3))
			seen := sum/2 - toSeen
			w := 1 / (1 + sq(seenSD/splitSD))
			split += w * (seen - split)
			splitSD *= math.Sqrt(1 - w)
		}
	}
	half := math.Sqrt(sq(sumSD/2) + sq(splitSD))
	to, ld := trace.FromSD(math.Max(sum/2-split, 0.2), half), trace.FromSD(math.Max(sum/2+split, 0.2), half)
	to.Low, ld.Low = math.Max(to.Low, 0), math.Max(ld.Low, 0)
	m.toM, m.ldM = &to, &ld
	return m
}

// placesFactor widens what rests on places alone: watches at one fix a second are worse than the smoother
// can see in one ride, loggers a little better. Found on one half of the practice rounds; on the other half the intervals hold as often (SCORE_HALF).
func (r *ride) placesFactor() float64 {
	if r.rec.Positions.RateHz > 2 {
		return 0.85
	}
	return 1.25
}

// onClock is a time of the motion sensor on the positions' clock: where the offset between them was found
// from the ride its doubt is the time's too.
func (r *ride) onClock(t trace.Estimate) trace.Estimate {
	if off := r.rec.ClockOffsetS; off != nil {
		d := (off.High - off.Low) / 2
		t.Low, t.High = t.Value-math.Hypot(t.Value-t.Low, d), t.Value+math.Hypot(t.High-t.Value, d)
	}
	return t
}

// late is a time read off positions: some receivers tell it late, and nothing in a recording of
// places alone shows by how much, so the interval reaches back. It is the 5 and 95 % points of a
// mixture of receivers with and without lag, in the normal approximation of either part.
func (r *ride) late(at, sd float64) *trace.Estimate {
	if r.rec.Positions.RateHz > 2 {
		e := trace.FromSD(at, sd)
		return &e
	}
	p := r.prior
	cdf := func(x float64) float64 {
		return (1-p.lagShare)*phi((x-at)/sd) + p.lagShare*phi((x-at+p.lagS)/sd)
	}
	find := func(q float64) float64 {
		lo, hi := at-p.lagS-6*sd, at+6*sd
		for range 60 {
			if mid := (lo + hi) / 2; cdf(mid) < q {
				lo = mid
			} else {
				hi = mid
			}
		}
		return (lo + hi) / 2
	}
	return &trace.Estimate{Value: at, Low: find(0.05), High: find(0.95)}
}

func (r *ride) measureLeg(l follow.Leg) leg {
	var m leg
	a, b := r.efforts[l.From], r.efforts[l.To]
	oa, ob := r.plan.Obstacles[r.res.Efforts[l.From].Obstacle], r.plan.Obstacles[r.res.Efforts[l.To].Obstacle]
	m.fromS, m.toS = a.landing.Value, b.takeoff.Value
	m.durS = b.takeoff.Value - a.landing.Value
	if m.durS <= 0.05 {
		m.durS = 0.05
	}
	if a.timed && b.timed {
		m.durSD = math.Hypot(r.ev.Jumps[r.res.Efforts[l.From].Jump].LandingS.SD(), r.ev.Jumps[r.res.Efforts[l.To].Jump].TakeoffS.SD())
	} else {
		m.durSD = math.Sqrt(sq(a.midSD) + sq(b.midSD) + sq(a.flightSD/2) + sq(b.flightSD/2))
	}
	turn := math.Abs(course.WrapDeg(ob.FacingDeg - oa.FacingDeg))
	chord := math.Hypot(ob.At.X-oa.At.X, ob.At.Y-oa.At.Y)
	bearing := math.Atan2(ob.At.X-oa.At.X, ob.At.Y-oa.At.Y) * 180 / math.Pi
	m.straight = turn < 12 && math.Abs(course.WrapDeg(bearing-oa.FacingDeg)) < 12 && m.durS < 9
	if l.RouteLine >= 0 && m.straight && !r.found {
		if pl := r.plan.Lines[l.RouteLine]; pl.Kind == course.Related || pl.Kind == course.Combination {
			m.planned = course.PlannedStrides(pl.DistanceM(), course.StandardStrideM, math.Max(oa.HeightM, ob.HeightM))
		}
	}
	// By the ground: middle to middle less half of either flight.
	var byMap *trace.Estimate
	var groundM, groundSD float64 // the same from middle to middle; 0 where the plan does not say
	if l.RouteLine >= 0 && m.straight {
		if w := r.plan.Lines[l.RouteLine].WalkedM; w != nil {
			chord = *w + oa.SpreadM/2 + ob.SpreadM/2
		}
	}
	if !r.found && turn < 75 && math.Abs(course.WrapDeg(bearing-oa.FacingDeg)) < 50 && m.durS < 9 {
		v := chord / (m.durS + (a.flightS+b.flightS)/2)
		sd := math.Hypot(0.20, 0.05)
		if !m.straight {
			// An arc over the chord; riders choose wider and flatter tracks than that.
			half := turn / 2 * math.Pi / 180
			f := 1.0
			if half > 0.02 {
				f = half / math.Sin(half)
			}
			sd = math.Hypot(sd, 0.045*chord)
			chord *= f
			v *= f
		}
		groundM, groundSD = chord, sd
		e := trace.FromSD(chord-v*(a.flightS+b.flightS)/2, sd)
		byMap = &e
	}
	var byTrack *trace.Estimate
	if r.path != nil {
		if d, ok := r.path.LengthM(a.landing.Value, b.takeoff.Value); ok {
			more, sd := r.unbent(a.landing.Value, b.takeoff.Value)
			d += more
			if !a.timed || !b.timed {
				// The ends were read off the same track, and move with it.
				sd *= r.placesFactor()
			}
			e := trace.FromSD(d, sd)
			byTrack = &e
		}
	}
	untimed := !a.timed || !b.timed
	if byTrack != nil && untimed {
		v := byTrack.Value / m.durS
		flight := (a.flightS + b.flightS) / 2
		vSD := math.Hypot(byTrack.SD()/m.durS, v*math.Hypot(r.unseenPace(a.landing.Value, b.takeoff.Value), inFlight*flight/(flight+m.durS)))
		middle := m.durS + flight
		middleSD := math.Hypot(a.midSD, b.midSD)
		if groundM > 0 {
			// Three witnesses of two unknowns, all in logarithms: how long it took from flight to flight and how fast it
			// was by the track, and by the plan how far it was, which is their product.
			d, p := joinPace(middleSD/middle, vSD/v, groundSD/groundM, math.Log(groundM/(middle*v)))
			middle, middleSD = middle*math.Exp(d.by), middle*math.Exp(d.by)*d.sd
			v, vSD = v*math.Exp(p.by), v*math.Exp(p.by)*p.sd
		}
		m.durS = math.Max(middle-flight, 0.05)
		m.middleSD = middleSD
		m.durSD = math.Hypot(middleSD, flightSDOf(a, b))
		e := trace.FromSD(v, vSD)
		m.speed = &e
		// Where exactly the line began and ended is part of how long it was, though not of how fast.
		p := trace.FromSD(v*m.durS, math.Hypot(vSD*m.durS, v*m.durSD))
		byTrack = &p
	}
	switch {
	case byTrack != nil && byMap != nil && !untimed:
		// The track was laid by the same obstacles, so the two are not quite independent.
		w := weigh(*byTrack, *byMap)
		p := trace.FromSD(w.Value, 1.15*w.SD())
		m.pathM = &p
	case byTrack != nil:
		m.pathM = byTrack
	case byMap != nil:
		m.pathM = byMap
	}
	if m.pathM != nil && m.speed == nil {
		v := m.pathM.Value / m.durS
		sd := v * math.Hypot(m.pathM.SD()/math.Max(m.pathM.Value, 0.5), m.durSD/m.durS)
		e := trace.FromSD(v, sd)
		m.speed = &e
	}
	if r.ev != nil && a.timed && b.timed {
		r.count(&m, r.res.Efforts[l.From].Jump, r.res.Efforts[l.To].Jump)
	}
	return m
}

// logShift is a change of a logarithm, and its standard deviation after it.
type logShift struct{ by, sd float64 }

// joinPace makes a time and a pace agree with a known distance: the logarithms of both have errors of timeSD and
// paceSD, and their sum is off by off, which is known to groundSD. Least squares: each takes its share of off.
func joinPace(timeSD, paceSD, groundSD, off float64) (time, pace logShift) {
	all := sq(timeSD) + sq(paceSD) + sq(groundSD)
	// Where the three contradict each other beyond their uncertainty, it was too small.
	f := math.Max(1, math.Abs(off)/math.Sqrt(all)/1.5)
	share := func(sd float64) logShift {
		k := sq(sd) / all
		return logShift{off * k, f * sd * math.Sqrt(1-k)}
	}
	return share(timeSD), share(paceSD)
}

// flightSDOf is the uncertainty of half of either flight: one horse's flights are all longer or all shorter than expected.
func flightSDOf(a, b effort) float64 {
	if a.timed || b.timed {
		return math.Hypot(a.flightSD, b.flightSD) / 2
	}
	return math.Sqrt(sq(flightHorseSDS) + sq(flightJumpSDS)/2)
}

// inFlight is how much the pace in flight may differ from that on the ground beside it, as a share (own assumption: a
// landing takes some pace and the next push gives it back, and no receiver shows either).
const inFlight = 0.10

// unseenPace is how far the mean pace of a short stretch may be from what the fixes show, as a share: a horse that
// steadies or presses on between two fences a second or two apart does so between two fixes (to make a number of strides fit,
// a tenth of its pace: one stride in a related distance of five is a sixth), and a receiver that smooths its
// own fixes cuts corners, so that its pace is low by half the square of the turn in its lag
// (published: speeds below the stopwatch's on arena laps, J. Equine Vet. Sci. 84, 2019, 102871).
func (r *ride) unseenPace(from, to float64) float64 {
	const change = 0.12
	fixes := (to - from) * r.rec.Positions.RateHz
	short := change / (1 + sq(fixes/1.5))
	if r.rec.Positions.RateHz > 2 {
		return short
	}
	var low float64
	if turned, ok := r.track.Turned(r.onTrack(from, to)); ok {
		low = math.Sqrt(r.prior.lagShare) * sq(turned.Value/(to-from)*r.prior.lagS) / 2
	}
	return math.Hypot(short, low)
}

// unbent is what the smoother's own estimate of a length adds to the length of its mean path, which
// cuts the corners that noise hides, and the doubt of it.
func (r *ride) unbent(a, b float64) (more, sd float64) {
	a, b = r.onTrack(a, b)
	l, ok := r.track.PathLength(a, b)
	raw, ok2 := r.raw.LengthM(a, b)
	if !ok || !ok2 {
		return 0, 0.5
	}
	return l.Value - raw, l.SD()
}

// count counts the strides of a leg between two jumps of the sensor: the load peaks strictly
// between the landing's and the push-off's.
func (r *ride) count(m *leg, from, to int) {
	a, b := r.ev.Jumps[from], r.ev.Jumps[to]
	if !r.ev.Bridged(a.LandPeakS, b.PushPeakS) {
		r.missed++
		return // what was felt of it is no count
	}
	n, beats := r.ev.CountBetween(a.LandPeakS, b.PushPeakS)
	if silent(a.LandPeakS, beats, b.PushPeakS) {
		r.missed++
		return
	}
	m.strides, m.by, m.beats = &n, "counted", beats
	k := n.Value
	if k < 1 {
		return
	}
	// Two witnesses of the stride time: the whole line over its strides and edges, and the beats.
	whole := trace.FromSD(m.durS/(k+r.prior.edges), m.durS/(k+r.prior.edges)*math.Hypot(r.prior.edgesSD/(k+r.prior.edges), m.durSD/m.durS))
	m.strideS = &whole
	if len(beats) >= 4 {
		slope, sd := slopeOf(beats)
		// The two share the same beats at either end.
		w := weigh(whole, trace.FromSD(slope, math.Max(sd, 0.004)))
		e := trace.FromSD(w.Value, 1.1*w.SD())
		m.strideS = &e
	}
}

// slopeOf is the least-squares time from one beat to the next, with its standard error.
func slopeOf(t []float64) (slope, sd float64) {
	n := float64(len(t))
	var mt float64
	for _, v := range t {
		mt += v / n
	}
	mi := (n - 1) / 2
	var sxx, sxy float64
	for i, v := range t {
		sxx += sq(float64(i) - mi)
		sxy += (float64(i) - mi) * (v - mt)
	}
	slope = sxy / sxx
	var ss float64
	for i, v := range t {
		ss += sq(v - mt - slope*(float64(i)-mi))
	}
	return slope, math.Sqrt(ss / math.Max(n-2, 1) / sxx)
}

// strideLength is the ground covered per counted stride.
func (r *ride) strideLength(m *leg) {
	if m.speed == nil || m.strides == nil || m.strides.Value < 0.5 || m.strideS == nil {
		return
	}
	v := m.speed.Value * m.strideS.Value
	// The line's speed holds the getaway and the way into the take-off as well, whose pace is not quite the
	// strides': in a double by an eighth, in long lines hardly at all (over the practice rounds).
	edges := 0.12 / math.Pow(math.Max(m.strides.Value, 1), 1.5)
	sd := v * math.Sqrt(sq(m.speed.SD()/m.speed.Value)+sq(m.strideS.SD()/m.strideS.Value)+sq(edges))
	e := trace.FromSD(v, sd)
	e.Low = math.Max(e.Low, 0)
	m.strideM = &e
}

// weigh joins two independent estimates of one figure by their inverse variances.
func weigh(a, b trace.Estimate) *trace.Estimate {
	wa, wb := 1/sq(math.Max(a.SD(), 1e-6)), 1/sq(math.Max(b.SD(), 1e-6))
	// Where they disagree beyond their doubt, the doubt was too small.
	f := math.Max(1, math.Abs(a.Value-b.Value)/math.Sqrt(1/wa+1/wb)/1.5)
	e := trace.FromSD((a.Value*wa+b.Value*wb)/(wa+wb), f/math.Sqrt(wa+wb))
	return &e
}

func sq(x float64) float64 { return x * x }

// phi is the standard normal distribution function.
func phi(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

// silent tells whether a canter's beats stop within a line for longer than one could be overlooked: a sensor
// that hung, or was not felt.
func silent(from float64, beats []float64, to float64) bool {
	const longestS = 1.6 // two and a half strides
	last := from
	for _, t := range append(slices.Clone(beats), to) {
		if t-last > longestS {
			return true
		}
		last = t
	}
	return false
}
