package synth

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// The gaits, and the flight of a jump, which is a canter to the rider.
const (
	Halt   = "halt"
	Walk   = "walk"
	Trot   = "trot"
	Canter = "canter"
	flight = "flight"
)

// Ride is what is to be ridden.
type Ride struct {
	Start Pose    // where the horse stands at first
	WaitS float64 // how long it stands there, s
	Stops []Stop  // what it passes, in order; the last is where it stands at the end
	Horse Horse
	// LeapsS are instants about which the horse leaps for fun: the canter stride that holds one is spent in a push, a
	// short flight and a landing, with no fence below.
	LeapsS []float64
	// GroundM is the height of the ground above the anchor at (0, 0), and per metre of x and y.
	GroundM [3]float64
}

// Stop is a place to pass, and how to get there from the one before.
type Stop struct {
	Pose
	Gait    string  // on the way here: walk, trot or canter
	SpeedMS float64 // wanted on the way here; 0: the horse's own
	RadiusM float64 // of the arcs on the way here; 0: the usual one of 9 m
	Fence   *Fence  // nil: nothing to jump here
	HoldS   float64 // how long to stand here; fences have none
}

// Fence is what is jumped at a stop; the stop is the middle of its spread and face.
type Fence struct {
	ID               string
	HeightM, SpreadM float64
	// Strides is how many strides the canter from the last fence takes; 0: as fits the horse best. Bounce takes none.
	Strides int
	Bounce  bool
}

// Horse is how a horse goes. Take one from [Warmblood] or [Pony].
type Horse struct {
	WalkMS, TrotMS, CanterMS float64 // usual speeds
	WalkS, TrotS, CanterS    float64 // usual stride times
	// Variation is the standard deviation of stride time over stride time.
	Variation float64
	// AheadM is how far the trunk's middle is ahead of the hind hooves at take-off, BehindM how far
	// behind the fore hooves at landing.
	AheadM, BehindM float64
	Moves           *Moves // nil: the usual ones
}

// Warmblood is a horse with a stride of about 3.4 m at 5.7 m/s.
//
// Speed in a round 5.53 m/s (Tranquille et al. 2017); canter stride time 0.59 to 0.62 s over 3.4 to
// 7 m/s (Deuel and Park 1991); walk 1.3-1.8 and trot 2.6-3.6 m/s (Bogisch et al. 2014);
// trot at 4 m/s 88-94 strides a minute (Groppi 2008), slower here as the trot is; walk
// stride about 1.1 s (from memory); variation 2 % within a horse (Equine Veterinary Journal
// 1980; 12:60-65); hind hooves 1.11-1.30 m behind the centre of mass at take-off (Colborne
// et al. 1995). That the trunk is 0.2 m behind the fore hooves at landing is our choice.
func Warmblood() Horse {
	return Horse{WalkMS: 1.6, TrotMS: 3.3, CanterMS: 5.6, WalkS: 1.1, TrotS: 0.72, CanterS: 0.60,
		Variation: 0.02, AheadM: 1.15, BehindM: 0.2}
}

// Pony has strides of about 2.6 m, as ponies of 130 cm are measured for (Swedish riding-school table:
// 2.75 m a stride and a landing and take-off of another), taken quicker than a horse's (our choice).
func Pony() Horse {
	return Horse{WalkMS: 1.4, TrotMS: 2.9, CanterMS: 4.9, WalkS: 0.95, TrotS: 0.62, CanterS: 0.53,
		Variation: 0.02, AheadM: 0.95, BehindM: 0.15}
}

// speed and stride time of a gait.
func (h Horse) gait(g string) (speedMS, strideS float64, err error) {
	switch g {
	case Walk:
		speedMS, strideS = h.WalkMS, h.WalkS
	case Trot:
		speedMS, strideS = h.TrotMS, h.TrotS
	case Canter:
		speedMS, strideS = h.CanterMS, h.CanterS
	default:
		return 0, 0, fmt.Errorf("gait %q, expected walk, trot or canter", g)
	}
	if !(speedMS > 0 && strideS > 0.1) {
		return 0, 0, fmt.Errorf("%s at %v m/s with strides of %v s, expected a horse that moves", g, speedMS, strideS)
	}
	return speedMS, strideS, nil
}

// Made is a ride that was ridden. Times are seconds from its start.
type Made struct {
	Ride      Ride
	Path      *Path
	DurationS float64
	Jumps     []Jump
	Strides   []Stride
	Lines     []Line
	Gaits     []Span

	sections []section
	beat     beat // of the canter, with moves of its own
}

// Jump is one fence jumped.
type Jump struct {
	Fence              string
	TakeoffS, LandingS float64
	// TakeoffDistanceM is on the ground from the hind hooves at take-off to the front of the fence,
	// LandingDistanceM from its back to the fore hooves at landing.
	TakeoffDistanceM, LandingDistanceM float64
	// TakeoffM and LandingM are where the trunk is on the path at these instants.
	TakeoffM, LandingM float64
}

// Stride is one stride, in canter from hind contact to hind contact.
type Stride struct {
	Gait       string
	FromS, ToS float64
	LengthM    float64
	Lead       string // left | right | disunited; empty but in canter
	Leap       bool   // spent in a playful leap
	strength   float64
	fore       string // the forehand's lead
}

// Disunited is the lead of a stride in which fore and hind legs lead on different sides.
const Disunited = "disunited"

// Line is the way from one fence to the next.
type Line struct {
	From, To string
	Jump     int // of Made.Jumps over From; the next is over To
	Strides  int
	StrideS  float64 // mean; 0 without strides
	TrackM   float64 // fore hooves at landing to hind hooves at take-off, along the path
	SpeedMS  float64 // mean of the trunk, landing to take-off
}

// Span is a stretch in one gait, [FromS, ToS).
type Span struct {
	Gait       string
	FromS, ToS float64
}

// section is a stretch of one kind of going: the speed goes from v0 to vm in a ramp of half a cosine, stays,
// and goes to v1 in another.
type section struct {
	gait           string
	t0, t1, s0     float64
	v0, vm, v1, rS float64
	first, strides int     // into Made.Strides
	height         float64 // of the fence, in flight
}

// at is the speed and the place at t.
func (c section) at(t float64) (v, s float64) {
	d := min(max(t-c.t0, 0), c.t1-c.t0)
	span := c.t1 - c.t0
	ramp := func(v0, v1, x float64) (float64, float64) { // after x of a ramp from v0 to v1
		return v0 + (v1-v0)*(1-math.Cos(math.Pi*x/c.rS))/2,
			v0*x + (v1-v0)*(x-c.rS/math.Pi*math.Sin(math.Pi*x/c.rS))/2
	}
	switch {
	case span == 0 || c.rS == 0:
		return c.v0, c.s0
	case d < c.rS:
		v, s = ramp(c.v0, c.vm, d)
	case d <= span-c.rS:
		v, s = c.vm, (c.v0+c.vm)/2*c.rS+c.vm*(d-c.rS)
	default:
		v, s = ramp(c.vm, c.v1, d-(span-c.rS))
		s += (c.v0+c.vm)/2*c.rS + c.vm*(span-2*c.rS)
	}
	return v, c.s0 + s
}

const (
	usualRadiusM = 9.0 // arcs without a radius of their own; our choice, a riding school's half circle
	// rampS is how long a change of speed takes. Our choice: a horse takes some three strides.
	rampS = 2.0
	// straightM is how far before and behind a fence the path is straight, where there is room: our
	// choice, about two strides.
	straightM = 6.0
	// edgeStrides is the time from landing to the first hind contact, and from the last hind contact to
	// take-off, in strides: about 0.2 s, so that a line of n strides takes n + 0.7 of them.
	edgeStrides = 0.35
	// takeoffShare is the part before the fence of what the hooves clear beyond its spread. Landing is
	// further than take-off over a 1.10 m vertical: 1.65 and 1.99 m (Universidade Federal Rural do
	// Rio de Janeiro, eight horses).
	takeoffShare = 0.46
	// landingSpeed is the speed at landing over that at take-off: 5.77 and 5.26, 6.42 and 6.27 m/s
	// (Powers and Harrison 2000).
	landingSpeed = 0.95
)

// flightS is how long the trunk is in the air: it rises by an eighth of g T². Over 1.10 m the
// rise is chosen so that at 5.5 m/s the hooves' take-off and landing distances add up to the 3.64 m that were
// measured (see takeoffShare); the line down to a cross-pole's 0.15 m is our choice.
func flightS(heightM float64) float64 {
	rise := 0.08 + 0.18*heightM
	return math.Sqrt(8 * rise / gravity)
}

// gravity is the standard acceleration of free fall, m/s² (CGPM 1901).
const gravity = 9.80665

// Make rides the ride. The seed decides how strides vary. An error tells a stop that can't be
// reached as asked.
func (r Ride) Make(seed uint64) (*Made, error) {
	m := &Made{Ride: r}
	if r.Horse.Moves != nil {
		m.beat = r.Horse.Moves.beat()
	}
	at, err := m.lay()
	if err != nil {
		return nil, err
	}
	w := walker{m: m, rng: rand.New(rand.NewPCG(seed, 1))}
	if r.WaitS > 0 {
		w.stand(r.WaitS)
	}
	for i := range r.Stops {
		if err := w.stop(i, at); err != nil {
			return nil, fmt.Errorf("stop %d: %w", i+1, err)
		}
	}
	m.DurationS = w.t
	m.leads()
	m.disunite(rand.New(rand.NewPCG(seed, 4)))
	m.gaits()
	for _, t := range r.LeapsS {
		i := m.strideAt(t)
		if i < 0 || m.Strides[i].Gait != Canter {
			return nil, fmt.Errorf("a leap at %v s, expected a time in a canter stride", t)
		}
		m.Strides[i].Leap = true
	}
	return m, nil
}

// lay lays the path and returns how far along it each stop is.
func (m *Made) lay() ([]float64, error) {
	r := m.Ride
	m.Path = startPath(r.Start)
	at := make([]float64, len(r.Stops))
	here := r.Start
	for i, s := range r.Stops {
		in, out := 0.0, 0.0
		if s.Fence != nil {
			in = min(straightM, 0.45*math.Hypot(s.X-here.X, s.Y-here.Y))
			out = straightM
			if i+1 < len(r.Stops) {
				out = min(out, 0.45*math.Hypot(s.X-r.Stops[i+1].X, s.Y-r.Stops[i+1].Y))
			}
		}
		radius := s.RadiusM
		if radius == 0 {
			radius = usualRadiusM
		}
		if radius < 0 || math.IsNaN(radius) {
			return nil, fmt.Errorf("stop %d: radius %v m, expected more than 0", i+1, radius)
		}
		if err := m.Path.join(here, s.ahead(-in), radius); err != nil {
			return nil, fmt.Errorf("stop %d: %w", i+1, err)
		}
		m.Path.add(in, 0)
		at[i] = m.Path.LengthM()
		m.Path.add(out, 0)
		here = s.ahead(out)
	}
	return at, nil
}

// walker goes along the path.
type walker struct {
	m       *Made
	rng     *rand.Rand
	t, s, v float64
	landed  bool    // from a fence, since the last section
	wantS   float64 // time wanted for stops passed without an end of section
}

func (w *walker) stand(forS float64) {
	w.m.sections = append(w.m.sections, section{gait: Halt, t0: w.t, t1: w.t + forS, s0: w.s})
	w.t += forS
}

// stop goes on to the stop i, where the stops lie at these places of the path.
func (w *walker) stop(i int, at []float64) error {
	st := w.m.Ride.Stops[i]
	h := w.m.Ride.Horse
	speed, _, err := h.gait(st.Gait)
	if err != nil {
		return err
	}
	if st.SpeedMS > 0 {
		speed = st.SpeedMS
	}
	last := i+1 == len(at)
	if st.Fence == nil {
		to := at[i]
		w.wantS += (to - w.from(i, at)) / speed
		next := speed
		if !last && st.HoldS == 0 {
			n := w.m.Ride.Stops[i+1]
			if n.Gait == st.Gait {
				return nil // the section goes on
			}
			if next, _, err = h.gait(n.Gait); err != nil {
				return err
			}
		}
		end := (speed + next) / 2
		if last || st.HoldS > 0 {
			end = 0
		}
		if err := w.going(st.Gait, to, end, nil); err != nil {
			return err
		}
		if st.HoldS > 0 {
			w.stand(st.HoldS)
		}
		return nil
	}
	if st.Gait != Canter && st.Gait != Trot {
		return fmt.Errorf("%s to the fence %s, expected canter or trot", st.Gait, st.Fence.ID)
	}
	if last {
		return fmt.Errorf("the ride ends in the air over %s", st.Fence.ID)
	}
	f := *st.Fence
	air := flightS(f.HeightM)
	over := speed * (1 + landingSpeed) / 2 * air      // what the trunk travels in flight
	hooves := over + h.AheadM + h.BehindM             // and the hooves, from hind to fore
	front := takeoffShare * (hooves - f.SpreadM)      // before the fence
	back := hooves - f.SpreadM - front                // and behind it
	takeoff := at[i] - f.SpreadM/2 - front + h.AheadM // of the trunk
	w.wantS += (takeoff - w.from(i, at)) / speed
	fromLanding := w.landed
	fromS, fromM := w.t, w.s
	if err := w.going(st.Gait, takeoff, speed, &f); err != nil {
		return fmt.Errorf("to the fence %s: %w", f.ID, err)
	}
	m := w.m
	if k := len(m.Jumps); fromLanding && k > 0 {
		c := m.sections[len(m.sections)-1]
		l := Line{From: m.Jumps[k-1].Fence, To: f.ID, Jump: k - 1, Strides: c.strides,
			TrackM: takeoff - fromM - h.AheadM - h.BehindM, SpeedMS: (takeoff - fromM) / (w.t - fromS)}
		for _, s := range m.Strides[c.first : c.first+c.strides] {
			l.StrideS += (s.ToS - s.FromS) / float64(c.strides)
		}
		m.Lines = append(m.Lines, l)
	}
	m.sections = append(m.sections, section{gait: flight, t0: w.t, t1: w.t + air, s0: w.s,
		v0: speed, vm: speed * (1 + landingSpeed) / 2, v1: speed * landingSpeed, rS: air / 2, height: f.HeightM})
	m.Jumps = append(m.Jumps, Jump{Fence: f.ID, TakeoffS: w.t, LandingS: w.t + air, TakeoffDistanceM: front, LandingDistanceM: back,
		TakeoffM: w.s, LandingM: w.s + over})
	w.t += air
	w.s += over
	w.v = speed * landingSpeed
	w.landed = true
	return nil
}

// from is where the way to stop i begins: the stop before, or where the horse is if it is further.
func (w *walker) from(i int, at []float64) float64 {
	if i == 0 {
		return w.s
	}
	return max(w.s, at[i-1])
}

// going is a section in a gait to a place of the path, arrived at with a speed, before a fence or not.
func (w *walker) going(gait string, toM, endMS float64, f *Fence) error {
	_, strideS, err := w.m.Ride.Horse.gait(gait)
	if err != nil {
		return err
	}
	head, tail := 0.0, 0.0
	if w.landed {
		head = edgeStrides * w.m.Ride.Horse.CanterS
	}
	if f != nil {
		tail = edgeStrides * w.m.Ride.Horse.CanterS
	}
	way := toM - w.s
	want := way / w.wantS // the speed that was asked for
	// What the ramps at either end lose or gain on it is given back in time.
	wantS := w.wantS + min(rampS, w.wantS/2)*(1-(w.v+endMS)/2/want)
	n := int(max(math.Round((wantS-head-tail)/strideS), 0))
	switch {
	case f != nil && f.Bounce:
		n = 0
	case f != nil && f.Strides > 0:
		n = f.Strides
	}
	if way <= 0 || n == 0 && !(w.landed && f != nil) {
		return fmt.Errorf("%.1f m of %s is no stride", way, gait)
	}
	c := section{gait: gait, t0: w.t, s0: w.s, v0: w.v, v1: endMS, first: len(w.m.Strides), strides: n}
	t := w.t + head
	lasts, strength := make([]float64, n), make([]float64, n)
	for i := range n {
		lasts[i] = strideS * (1 + w.m.Ride.Horse.Variation*clip(w.rng.NormFloat64()))
		strength[i] = 1 + strengthVariation*clip(w.rng.NormFloat64())
	}
	w.m.Ride.Horse.Moves.uneven(lasts, w.landed, f != nil)
	for i, d := range lasts {
		w.m.Strides = append(w.m.Strides, Stride{Gait: gait, FromS: t, ToS: t + d, strength: strength[i]})
		t += d
	}
	c.t1 = t + tail
	all := c.t1 - c.t0
	c.rS = min(rampS, all/2)
	c.vm = (way - c.rS*(c.v0+c.v1)/2) / (all - c.rS)
	if c.vm < want/2 || c.vm > want*2 {
		return fmt.Errorf("%.1f m in %d strides of %s between %.1f and %.1f m/s would be at %.1f m/s, %.1f was asked",
			way, n, gait, c.v0, c.v1, c.vm, want)
	}
	for i := c.first; i < c.first+n; i++ {
		s := &w.m.Strides[i]
		_, from := c.at(s.FromS)
		_, to := c.at(s.ToS)
		s.LengthM = to - from
	}
	w.m.sections = append(w.m.sections, c)
	w.t, w.s, w.v, w.landed, w.wantS = c.t1, toM, endMS, false, 0
	return nil
}

// strengthVariation is the standard deviation of a stride's waves over their mean; our choice.
const strengthVariation = 0.06

// clip keeps a normal variate within ±2.5, so that no stride is absurd.
func clip(z float64) float64 { return min(max(z, -2.5), 2.5) }

// leads gives each canter stride the lead of the turn that it is in, or of the next turn within reach: a horse
// that is to turn left is asked for the left lead. Elsewhere it keeps the one it has.
func (m *Made) leads() {
	const reachM = 12
	lead := "left"
	for i := range m.Strides {
		s := &m.Strides[i]
		if s.Gait != Canter {
			continue
		}
		_, at := m.At(s.FromS)
		for d := 0.0; d <= reachM; d++ {
			if k := m.Path.Curvature(at + d); k != 0 {
				lead = "left"
				if k < 0 {
					lead = "right"
				}
				break
			}
		}
		s.Lead, s.fore = lead, lead
	}
}

// disunite lets the horse go disunited for some strides after some of its landings.
func (m *Made) disunite(rng *rand.Rand) {
	mv := m.Ride.Horse.Moves
	if mv == nil {
		return
	}
	for _, j := range m.Jumps {
		draw, n := rng.Float64(), 2+rng.IntN(4)
		if draw >= mv.Disunited {
			continue
		}
		for i := range m.Strides {
			if s := &m.Strides[i]; s.FromS > j.LandingS && n > 0 {
				n--
				if s.Gait != Canter {
					break
				}
				s.Lead = Disunited
			}
		}
	}
}

// gaits joins the sections to gaits: a flight belongs to the canter.
func (m *Made) gaits() {
	for _, c := range m.sections {
		g := c.gait
		if g == flight {
			g = Canter
		}
		if n := len(m.Gaits); n > 0 && m.Gaits[n-1].Gait == g {
			m.Gaits[n-1].ToS = c.t1
			continue
		}
		m.Gaits = append(m.Gaits, Span{Gait: g, FromS: c.t0, ToS: c.t1})
	}
}

// At is the speed and the trunk's place on the path at t seconds; before the start and behind the end it stands.
func (m *Made) At(t float64) (speedMS, placeM float64) { return m.sections[m.section(t)].at(t) }

// section is the index of the section that holds t.
func (m *Made) section(t float64) int {
	lo, hi := 0, len(m.sections)-1
	for lo < hi {
		mid := (lo + hi + 1) / 2
		if m.sections[mid].t0 <= t {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	return lo
}
