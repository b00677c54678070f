package synth

import (
	"math"
	"math/rand/v2"
)

// Moves is how a horse loads its trunk, and where in its strides, where that is not as usual ([gaitMotions]). Horses, and
// sensors on them, differ far more than one model shows. The zero value is no horse: every figure is taken as it is.
type Moves struct {
	// WalkMS2 and TrotMS2 are the standard deviation of the vertical specific force in walk and trot.
	WalkMS2, TrotMS2 float64
	// CanterMS2 is the amplitude of the canter's first harmonic; Second and Third are the other two over it, and their
	// crests are so many turns after the first's. What would be below FloorG is cut off there, and the rest lowered or
	// raised until the mean over a stride is 1 g.
	CanterMS2                 float64
	Second, Third             float64
	SecondTurns, ThirdTurns   float64
	FloorG                    float64
	Feet                      []Foot  // hooves that push, in place of harmonics; nil: harmonics
	AirG                      float64 // what is felt in flight, 0 in free fall
	PitchDeg, PitchTurns      float64 // the canter's pitch: amplitude, and where in the stride its nose is lowest
	LagS                      float64 // how far the load comes after the hooves; negative: before
	LongFirst, ShortLast      float64 // shares by which the first stride after a landing is longer, the last before a fence shorter
	Disunited                 float64 // share of landings from which a horse goes disunited for two to five strides
	PadHz, PadDamping         float64 // the pad's or seat's own frequency and its share of critical damping; 0 Hz: stiff
	CanterLateral, CanterRoll float64 // sizes of the waves that show the lead, over the usual
}

// Foot is one hoof's push in a canter stride.
type Foot struct {
	At    float64 // when it comes down, in strides after the trailing hind's
	Duty  float64 // share of the stride for which it stands
	Share float64 // of the weight that it carries; all hooves' are made to sum up to 1
}

// AnyMoves draws moves as wide as horses and mountings may differ. What was published or measured:
//
//   - on 11 canters filmed from the side the first harmonic was 6.4 to 7.8 m/s², the second 0.10 to 0.22 of it with a phase
//     anywhere, the third 0.2 to 0.5; here both go further;
//   - one horse's markers moved with 1.6 to 2.5 m/s² (standard deviation, at the withers; 4.2 to 5.4 at the croup) in walk and 7.0
//     to 7.6 in trot;
//   - of 13 canters the leading hind came 0.20, the trailing fore 0.17 and the leading fore 0.42 of a stride after the
//     trailing hind, with 0.08 to either side;
//   - a gallop's suspension is free fall at the withers (Pfau, Witte and Wilson 2006);
//   - level stances of 0.2 to 0.3 s at 5 to 6 m/s (Parsons, Pfau and Wilson 2008), so duties of 0.3 to 0.5;
//   - floors of 20 to 40 ms for what a trunk's load tells of hooves.
//
// The rest is our choice.
func AnyMoves(rng *rand.Rand) *Moves {
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	m := &Moves{
		WalkMS2: between(0.8, 5), TrotMS2: between(3.5, 7.5), CanterMS2: between(5.5, 8),
		Second: between(0, 0.6), Third: between(0, 0.5), SecondTurns: rng.Float64(), ThirdTurns: rng.Float64(),
		FloorG: between(0, 0.15), AirG: between(0, 0.2),
		PitchDeg: between(2.5, 7), PitchTurns: rng.Float64(),
		LagS:      between(-0.04, 0.04),
		LongFirst: between(0, 0.08), ShortLast: between(0, 0.08),
		CanterLateral: between(0.5, 1.5), CanterRoll: between(0.5, 1.5),
	}
	if rng.IntN(3) == 0 { // hooves that push: three beats or four, with a suspension or without
		d := between(0.28, 0.5)
		m.Feet = []Foot{
			{0, d * between(0.9, 1.1), between(0.8, 1.2)},
			{0.20 + between(-0.08, 0.08), d * between(0.9, 1.1), between(0.8, 1.2)},
			{0.17 + between(-0.08, 0.12), d * between(0.9, 1.1), between(0.9, 1.4)},
			{0.42 + between(-0.08, 0.08), d * between(0.9, 1.1), between(0.9, 1.4)},
		}
	}
	if rng.IntN(2) == 0 {
		m.PadHz, m.PadDamping = between(5, 15), between(0.3, 0.8)
	}
	if rng.IntN(3) == 0 {
		m.Disunited = 0.3
	}
	return m
}

// beat is the vertical specific force of a canter stride at a phase, in g, tabled, with a mean of 1.
type beat []float64

func (b beat) at(phase float64) float64 {
	n := float64(len(b))
	x := (phase - math.Floor(phase)) * n
	i := int(x)
	j := x - float64(i)
	return b[i%len(b)]*(1-j) + b[(i+1)%len(b)]*j
}

// beat makes the table.
func (m *Moves) beat() beat {
	const n = 256
	raw := make([]float64, n)
	if m.Feet != nil {
		var all float64
		for i := range raw {
			for _, f := range m.Feet {
				for k := -1; k < 1; k++ { // a hoof may still stand when the next stride begins
					if x := float64(i)/n - f.At - float64(k); x >= 0 && x < f.Duty {
						raw[i] += f.Share / f.Duty * math.Sin(math.Pi*x/f.Duty)
					}
				}
			}
			all += raw[i] / n
		}
		for i := range raw {
			raw[i] /= all
		}
		return raw
	}
	a := m.CanterMS2 / gravity
	ws := []wave{{a, 1, canterCrest}, {a * m.Second, 2, 2*canterCrest + m.SecondTurns}, {a * m.Third, 3, 3*canterCrest + m.ThirdTurns}}
	for i := range raw {
		raw[i] = sum(ws, float64(i)/n)
	}
	// The lift that makes the mean 1 with the cut is found by halving: the mean grows with it.
	low, high := -3.0, 3.0
	cut := func(lift float64) (out beat, mean float64) {
		out = make(beat, n)
		for i, v := range raw {
			out[i] = max(v+lift, m.FloorG)
			mean += out[i] / n
		}
		return out, mean
	}
	for range 40 {
		if _, mean := cut((low + high) / 2); mean < 1 {
			low = (low + high) / 2
		} else {
			high = (low + high) / 2
		}
	}
	out, _ := cut(high)
	return out
}

// motions are a gait's waves, with those of the horse's own moves in place of the usual; up is nil in a canter of its own, as that
// has a [beat].
func (m *Made) motions(gait string) motions {
	w := gaitMotions(gait)
	mv := m.Ride.Horse.Moves
	if mv == nil {
		return w
	}
	resized := func(ws []wave, by float64) []wave {
		out := make([]wave, len(ws))
		for i, w := range ws {
			out[i] = wave{w.amplitude * by, w.harmonic, w.crest}
		}
		return out
	}
	switch gait {
	case Walk:
		w.up = resized(w.up, mv.WalkMS2/deviation(w.up))
	case Trot:
		w.up = resized(w.up, mv.TrotMS2/deviation(w.up))
	case Canter:
		w.up = nil
		w.leftByLead = resized(w.leftByLead, mv.CanterLateral)
		w.rollByLead = resized(w.rollByLead, mv.CanterRoll)
		w.pitch = []wave{{mv.PitchDeg, 1, mv.PitchTurns}}
	}
	return w
}

// deviation is the standard deviation over a stride of waves in g, m/s².
func deviation(ws []wave) float64 {
	var ss float64
	for _, w := range ws {
		ss += w.amplitude * w.amplitude / 2
	}
	return gravity * math.Sqrt(ss)
}

// uneven stretches or shortens the strides of a section between fences, keeping their sum.
func (mv *Moves) uneven(strideS []float64, landed, fence bool) {
	n := len(strideS)
	if mv == nil || n < 2 {
		return
	}
	var before, after float64
	for i, d := range strideS {
		before += d
		if i == 0 && landed {
			strideS[i] *= 1 + mv.LongFirst
		}
		if i == n-1 && fence {
			strideS[i] *= 1 - mv.ShortLast
		}
		after += strideS[i]
	}
	for i := range strideS {
		strideS[i] *= before / after
	}
}

// padStepS is the step in which a pad's answer is worked out; a pad of 15 Hz turns by a fifth of a radian in it.
const padStepS = 0.002

// pad is how much more than the trunk the sensor on a pad or a seat feels upwards, every padStepS seconds: a mass on
// a spring and damper that push and don't pull. nil where it is stiff.
func (m *Made) pad() []float64 {
	mv := m.Ride.Horse.Moves
	if mv == nil || mv.PadHz <= 0 {
		return nil
	}
	w := 2 * math.Pi * mv.PadHz
	out := make([]float64, int(m.DurationS/padStepS)+2)
	var x, v float64 // how far and how fast the pad is pressed beyond the weight's
	for i := range out {
		f, _ := m.trunk(float64(i) * padStepS)
		felt := max(w*w*x+2*mv.PadDamping*w*v+gravity, 0)
		out[i] = felt - f.up
		v += (f.up - felt) * padStepS
		x += v * padStepS
	}
	return out
}
