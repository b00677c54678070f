package synth

import (
	"math"
	"sort"
)

// attitude is how the trunk lies: about its forward axis (left side up positive), about its left axis
// (nose down positive), and its heading (left positive), radians.
type attitude struct{ roll, pitch, yaw float64 }

// load is what acts on the trunk in axes that are level and turned to its heading: specific force, m/s².
type load struct{ forward, left, up float64 }

// wave is one harmonic of a stride: amplitude, harmonic number, and where in the stride its crest is.
type wave struct{ amplitude, harmonic, crest float64 }

func (w wave) at(phase float64) float64 {
	return w.amplitude * math.Cos(2*math.Pi*(w.harmonic*phase-w.crest))
}

func sum(ws []wave, phase float64) float64 {
	var v float64
	for _, w := range ws {
		v += w.at(phase)
	}
	return v
}

// motions are a gait's waves over a stride: force in g, angles in degrees. Those of the lead change sides with it.
type motions struct {
	up, forward, left, leftByLead []wave
	pitch, roll, rollByLead       []wave
}

// gaitMotions are the trunk's waves in a gait.
//
// Known: walk and trot load the trunk twice a stride, canter once with weaker harmonics; pitch
// is the largest rotation in every gait, canter is dominated by it, trot has more of roll and of
// fore-aft and lateral force (accelerometers on the saddle, seven horses, Equine Veterinary Journal
// Supplement 1994). A leg in gallop carries 12 to 14 N/kg at its peak (Journal of Experimental
// Biology 2019; 222: jeb204107), so peaks of 1.7 g in canter are moderate. That the lead
// shows in the lateral and roll waves at stride frequency is common practice. All amplitudes and crests are
// our choice within this.
func gaitMotions(gait string) motions {
	switch gait {
	case Walk:
		return motions{
			up:      []wave{{0.10, 2, 0.2}, {0.02, 4, 0.1}},
			forward: []wave{{0.06, 2, 0.5}},
			left:    []wave{{0.06, 1, 0.1}},
			pitch:   []wave{{2, 2, 0.3}},
			roll:    []wave{{1.5, 1, 0.3}},
		}
	case Trot:
		return motions{
			up:      []wave{{0.50, 2, 0.25}, {0.06, 4, 0.6}, {0.03, 1, 0.4}},
			forward: []wave{{0.14, 2, 0.45}},
			left:    []wave{{0.10, 1, 0.2}},
			pitch:   []wave{{2, 2, 0.1}},
			roll:    []wave{{1.8, 1, 0.4}},
		}
	case Canter:
		return motions{
			up:         []wave{{0.58, 1, canterCrest}, {0.15, 2, 2*canterCrest - 0.06}, {0.05, 3, 3 * canterCrest}},
			forward:    []wave{{0.20, 1, 0.72}, {0.06, 2, 0.3}},
			left:       []wave{{0.03, 2, 0.3}},
			leftByLead: []wave{{0.09, 1, 0.22}},
			pitch:      []wave{{4.5, 1, 0.12}},
			roll:       []wave{{0.5, 2, 0.1}},
			rollByLead: []wave{{2.2, 1, 0.35}},
		}
	default:
		return motions{}
	}
}

// canterCrest is where in a canter stride, counted from the hind contact, the trunk is loaded most: when the diagonal
// pair bears it. Our choice.
const canterCrest = 0.42

// Shape of a jump, in g and seconds about take-off and landing.
const (
	// airLoad is what a trunk feels in flight: not quite nothing, as it turns about the centre of mass.
	airLoad = 0.22
	// A hind push is greatest somewhat before the hooves leave, a landing somewhat after they touch.
	pushBeforeS, landAfterS = 0.10, 0.08
	// edgeS is how long the load takes to fade at take-off and to come at landing.
	edgeS = 0.03
	// landShare is the landing peak over the push-off peak: at the stirrups 1447 and 1042 N over
	// 0.70 m, of riders in two-point seat (Marlin et al. 2021); on the horse itself the hind push is 3-5
	// times a canter's and the landing up to twice body weight (Schamhardt et al. 1993), so
	// between these two.
	landShare = 1.1
	// noseUpDeg is the trunk's pitch at take-off: 17-21 degrees (Colborne et al. 1995), somewhat less here as those were
	// over water at Olympic height; at landing as much the other way (our choice).
	noseUpDeg, noseDownDeg = 16.0, 18.0
)

// knot is a point of a curve through which half cosines are laid.
type knot struct{ at, value float64 }

// through is the curve at t, flat beyond its ends.
func through(ks []knot, t float64) float64 {
	i := sort.Search(len(ks), func(i int) bool { return ks[i].at > t })
	if i == 0 {
		return ks[0].value
	}
	if i == len(ks) {
		return ks[i-1].value
	}
	a, b := ks[i-1], ks[i]
	return a.value + (b.value-a.value)*(1-math.Cos(math.Pi*(t-a.at)/(b.at-a.at)))/2
}

// jumpCurves are the load and the pitch of a jump with the last hind contact before and the first one after it.
type jumpCurves struct{ upG, pitchDeg []knot }

// curvesOf shapes a jump so that over its whole time, from hind contact to hind contact, the mean load is
// 1 g: the trunk comes out of it rising as fast as it went in. That fixes the two peaks.
//
// edgeG and airG are the load at a hind contact and in flight.
func curvesOf(takeoff, landing, head, tail, edgeG, airG float64) jumpCurves {
	from, to := takeoff-tail, landing+head
	push, land := takeoff-min(pushBeforeS, 0.45*tail), landing+min(landAfterS, 0.45*head)
	up := []knot{{from, edgeG}, {push, 0}, {takeoff + edgeS, airG}, {landing - edgeS, airG}, {land, 0}, {to, edgeG}}
	// A half cosine's mean is the mean of its ends, so the mean load is linear in the peaks.
	var fixed, perPeak float64
	share := []float64{0, 1, 0, 0, landShare, 0}
	for i := 1; i < len(up); i++ {
		d := up[i].at - up[i-1].at
		fixed += d * (up[i-1].value + up[i].value) / 2
		perPeak += d * (share[i-1] + share[i]) / 2
	}
	peak := (to - from - fixed) / perPeak
	up[1].value, up[4].value = peak, landShare*peak
	return jumpCurves{
		upG: up,
		pitchDeg: []knot{{from - 0.15, 0}, {takeoff, -noseUpDeg}, {landing + 0.03, noseDownDeg},
			{to + 0.25, 0}},
	}
}

// leapCurves shape a playful leap, which takes the time of the stride: shorter in the air than any jump, and flatter.
// That is our choice; no measurement of one was found.
func (m *Made) leapCurves(s Stride) jumpCurves {
	d := s.ToS - s.FromS
	return m.curvesOf(s.FromS+0.34*d, s.FromS+0.66*d, 0.34*d, 0.34*d)
}

// curvesOf are a jump's or leap's curves of this ride's horse.
func (m *Made) curvesOf(takeoff, landing, head, tail float64) jumpCurves {
	if mv := m.Ride.Horse.Moves; mv != nil {
		return curvesOf(takeoff, landing, head, tail, m.beat.at(0), mv.AirG)
	}
	return curvesOf(takeoff, landing, head, tail, 1+sum(gaitMotions(Canter).up, 0), airLoad)
}

// leapPitch is the share of a jump's pitch that a leap has.
const leapPitch = 0.4

// jumpsAt are the indices of the jumps whose curves may matter at t.
func (m *Made) jumpsAt(t float64) (int, int) {
	const reachS = 1.5
	lo := sort.Search(len(m.Jumps), func(i int) bool { return m.Jumps[i].LandingS+reachS >= t })
	hi := sort.Search(len(m.Jumps), func(i int) bool { return m.Jumps[i].TakeoffS-reachS > t })
	return lo, hi
}

// edges are the times from landing to the first hind contact and from the last one to take-off.
func (m *Made) edges() float64 { return edgeStrides * m.Ride.Horse.CanterS }

// strideAt is the stride that holds t, or -1.
func (m *Made) strideAt(t float64) int {
	i := sort.Search(len(m.Strides), func(i int) bool { return m.Strides[i].ToS > t })
	if i < len(m.Strides) && m.Strides[i].FromS <= t {
		return i
	}
	return -1
}

// fadeS is how long a gait's waves take to come and go where it begins and ends; our choice.
const fadeS = 0.2

// trunk is what acts on the trunk at t, and how it lies.
func (m *Made) trunk(t float64) (load, attitude) {
	c := m.sections[m.section(t)]
	v, s := c.at(t)
	const h = 0.01
	v0, _ := m.At(t - h)
	v1, _ := m.At(t + h)
	k := m.Path.meanCurvature(s)
	centripetal := v * v * k
	f := load{forward: (v1 - v0) / (2 * h), left: centripetal, up: gravity}
	// A horse leans about a degree less than the turn asks (Brocklehurst, Weller and Pfau 2014).
	lean := math.Atan(centripetal / gravity)
	lean -= math.Copysign(min(math.Abs(lean), math.Pi/180), lean)
	a := attitude{roll: -lean}
	// The heading is the trunk's: of the way between its ends.
	a.yaw = (90 - (m.Path.At(s-1.5).FacingDeg+m.Path.At(s+1.5).FacingDeg)/2) * math.Pi / 180

	mv := m.Ride.Horse.Moves
	if mv != nil {
		t -= mv.LagS
	}
	if i := m.strideAt(t); i >= 0 {
		st := m.Strides[i]
		phase := (t - st.FromS) / (st.ToS - st.FromS)
		fade := m.fade(st.Gait, t)
		w := m.motions(st.Gait)
		g := st.strength * fade * gravity
		deg := st.strength * fade * math.Pi / 180
		side := 1.0
		if st.fore == "right" {
			side = -1
		}
		hind := side
		if st.Lead == Disunited {
			hind = -side
		}
		switch {
		case st.Leap:
			c := m.leapCurves(st)
			f.up = gravity * through(c.upG, t)
			a.pitch += leapPitch * through(c.pitchDeg, t) * math.Pi / 180
		case mv != nil && st.Gait == Canter:
			f.up += g * (m.beat.at(phase) - 1)
		default:
			f.up += g * sum(w.up, phase)
		}
		f.forward += g * sum(w.forward, phase)
		f.left += g * (sum(w.left, phase) + side*sum(w.leftByLead, phase))
		a.pitch += deg * sum(w.pitch, phase)
		a.roll += deg * (sum(w.roll, phase) + hind*sum(w.rollByLead, phase))
	}
	lo, hi := m.jumpsAt(t)
	for _, j := range m.Jumps[lo:hi] {
		e := m.edges()
		curves := m.curvesOf(j.TakeoffS, j.LandingS, e, e)
		if up := curves.upG; t >= up[0].at && t <= up[len(up)-1].at {
			// Fading between the strides' own strength and the jump's is left out: it is within noise.
			f.up = gravity * through(up, t)
		}
		a.pitch += through(curves.pitchDeg, t) * math.Pi / 180
	}
	return f, a
}

// fade is 1 within a gait and goes to 0 at its ends.
func (m *Made) fade(gait string, t float64) float64 {
	i := sort.Search(len(m.Gaits), func(i int) bool { return m.Gaits[i].ToS > t })
	if i == len(m.Gaits) || m.Gaits[i].Gait != gait {
		return 0
	}
	d := min(t-m.Gaits[i].FromS, m.Gaits[i].ToS-t)
	if d >= fadeS {
		return 1
	}
	return (1 - math.Cos(math.Pi*max(d, 0)/fadeS)) / 2
}

// felt is the specific force in the trunk's axes (m/s²) and its turn rate about them (rad/s).
func (m *Made) felt(t float64) (force, rate [3]float64) {
	const h = 0.004
	f, a := m.trunk(t)
	_, before := m.trunk(t - h)
	_, after := m.trunk(t + h)
	dRoll := (after.roll - before.roll) / (2 * h)
	dPitch := (after.pitch - before.pitch) / (2 * h)
	dYaw := (after.yaw - before.yaw) / (2 * h)
	sr, cr := math.Sincos(a.roll)
	sp, cp := math.Sincos(a.pitch)
	// From heading axes to the trunk's: pitch undone, then roll (yaw-pitch-roll, as J. Diebel, Representing
	// Attitude, 2006, has it, section 5.6).
	x := cp*f.forward - sp*f.up
	z := sp*f.forward + cp*f.up
	force = [3]float64{x, cr*f.left + sr*z, -sr*f.left + cr*z}
	rate = [3]float64{dRoll - dYaw*sp, dPitch*cr + dYaw*cp*sr, -dPitch*sr + dYaw*cp*cr}
	return force, rate
}
