package detect

import (
	"errors"
	"fmt"
	"math"

	"groundline/trace"
)

// Options are the choices of [FromMotion]. The zero value is the usual choice.
type Options struct {
	// MinConfidence is the probability from which a jump interrupts the strides of a
	// line: (0, 1); zero means 0.5.
	MinConfidence float64
}

// ErrMotion tells that the motion can't be read as a ride at all: no samples, slices of
// unequal length, or a rate too low to show a stride.
var ErrMotion = errors.New("motion can't be used")

// minRateHz is the lowest rate at which the second wave of a pony's canter (4.2 Hz) is
// still below the Nyquist frequency with some room.
const minRateHz = 10

// gapS is the longest hole that is interpolated. A stride is 0.45 s or longer, so a quarter
// of a second still leaves its peak in sight; anything longer splits the recording.
const gapS = 0.25

// FromMotion finds what the horse did in what the accelerometer felt: gaits, strides,
// canter beats and jumps, and the turn rate where there is a gyroscope.
//
// Up is the slow mean of the specific force; where the device had taken gravity out it is
// the direction of the strongest wave, its sign the one in which load comes in peaks and
// unloading in troughs. Mounting and units of the axes do not matter. A gap of more than
// 0.25 s splits the recording; no stride crosses it and no gait span covers it.
//
// It returns [ErrMotion] for empty motion or one below 10 Hz. Motion that is merely dull (all zero,
// constant, a few seconds) gives halts and no events.
func FromMotion(m *trace.Motion, o Options) (*Events, error) {
	if m == nil || len(m.TimeS) == 0 {
		return nil, fmt.Errorf("%w: no samples", ErrMotion)
	}
	n := len(m.TimeS)
	if len(m.AX) != n || len(m.AY) != n || len(m.AZ) != n {
		return nil, fmt.Errorf("%w: %d times but %d, %d, %d accelerations", ErrMotion, n, len(m.AX), len(m.AY), len(m.AZ))
	}
	if m.GX != nil && (len(m.GX) != n || len(m.GY) != n || len(m.GZ) != n) {
		return nil, fmt.Errorf("%w: %d times but %d, %d, %d turn rates", ErrMotion, n, len(m.GX), len(m.GY), len(m.GZ))
	}
	if m.RateHz > 0 && m.RateHz < minRateHz {
		return nil, fmt.Errorf("%w: %.1f samples a second, at least %d needed", ErrMotion, m.RateHz, minRateHz)
	}
	if o.MinConfidence == 0 {
		o.MinConfidence = 0.5
	}
	if !(o.MinConfidence > 0 && o.MinConfidence < 1) {
		return nil, fmt.Errorf("MinConfidence must lie between 0 and 1, found %v", o.MinConfidence)
	}

	ev := &Events{}
	m = numbersOnly(m)
	mount := Mounting(m).Mount
	var pieces []*piece
	first, totalS := 0, 0.0
	last := math.Inf(1)
	for _, part := range split(m) {
		if from := m.TimeS[part[0]]; from-last > 2*stepS {
			ev.holes = append(ev.holes, [2]float64{last, from})
		}
		last = m.TimeS[part[1]-1]
		p := resample(m, part[0], part[1])
		p.mount = mount
		p.findUp(m.GravityRemoved)
		p.loads()
		if s := float64(p.n) * stepS; totalS+s > longestS && len(pieces) > 0 {
			run(ev, pieces, o, first)
			first, totalS, pieces = first+len(pieces), 0, nil
		}
		pieces, totalS = append(pieces, p), totalS+float64(p.n)*stepS
	}
	run(ev, pieces, o, first)
	ev.finish()
	if n := len(ev.holes); n > 0 {
		ev.Notes = append(ev.Notes, trace.Note{Level: "info", What: fmt.Sprintf("the motion has %d holes of more than %.2f s", n, gapS),
			Why: fmt.Sprintf("strides are counted over holes of up to %.0f s by the time between the beats; a jump in one is not seen", longestBridgeS)})
	}
	if m.RateHz > 0 && m.RateHz < fewHz {
		ev.Notes = append(ev.Notes, trace.Note{Level: "caution", What: "take-off and landing are less sure than with a faster sensor",
			Why: fmt.Sprintf("%.1f samples a second; from %d on nothing is lost", m.RateHz, fewHz)})
	}
	return ev, nil
}

// numbersOnly leaves out the samples that are no numbers or beyond what any sensor on a rider measures
// (2000 m/s², 200 rad/s): they are gaps.
func numbersOnly(m *trace.Motion) *trace.Motion {
	ch := [][]float64{m.AX, m.AY, m.AZ}
	if m.GX != nil {
		ch = append(ch, m.GX, m.GY, m.GZ)
	}
	good := func(i int) bool {
		for k, c := range ch {
			if limit := [...]float64{2000, 200}[k/3]; !(math.Abs(c[i]) < limit) {
				return false
			}
		}
		return !math.IsNaN(m.TimeS[i]) && !math.IsInf(m.TimeS[i], 0)
	}
	bad := 0
	for i := range m.TimeS {
		if !good(i) {
			bad++
		}
	}
	if bad == 0 {
		return m
	}
	out := *m
	keep := func(x []float64) []float64 {
		if x == nil {
			return nil
		}
		y := make([]float64, 0, len(x)-bad)
		for i, v := range x {
			if good(i) {
				y = append(y, v)
			}
		}
		return y
	}
	out.TimeS, out.AX, out.AY, out.AZ = keep(m.TimeS), keep(m.AX), keep(m.AY), keep(m.AZ)
	out.GX, out.GY, out.GZ = keep(m.GX), keep(m.GY), keep(m.GZ)
	return &out
}

// fewHz is the rate below which the steep sides of a flight, a tenth of a second, hold less than two samples.
const fewHz = 20

// longestS is the longest piece that is worked on at once: an hour takes 40 MB, holds one horse's usual
// rhythm, and hardly ever goes by without a quiet moment to cut at.
const longestS = 3600

// split cuts the samples where more than gapS lies between two of them, and at times that
// don't increase; what is longer than longestS it cuts again, at the quietest moment. Each part is
// [from, to); parts of a cut share its sample.
func split(m *trace.Motion) [][2]int {
	t := m.TimeS
	var out [][2]int
	from := 0
	for i := 1; i <= len(t); i++ {
		if i < len(t) {
			if d := t[i] - t[i-1]; d > 0 && d <= gapS {
				continue
			}
		}
		if i-from >= 2 {
			for t[i-1]-t[from] > longestS {
				cut := quietest(m, from, i)
				out = append(out, [2]int{from, cut + 1})
				from = cut
			}
			out = append(out, [2]int{from, i})
		}
		from = i
	}
	return out
}

// quietest is the middle of the second with the least change of force between half of longestS and all of it after
// sample from; a second has at least one over gapS samples.
func quietest(m *trace.Motion, from, to int) int {
	t := m.TimeS
	change := func(i int) float64 {
		return math.Abs(m.AX[i]-m.AX[i-1]) + math.Abs(m.AY[i]-m.AY[i-1]) + math.Abs(m.AZ[i]-m.AZ[i-1])
	}
	a := from + 1
	for t[a]-t[from] < longestS/2 {
		a++
	}
	var sum, best float64
	cut, b := -1, a
	for ; b < to && t[b]-t[from] < longestS; b++ {
		sum += change(b)
		for t[b]-t[a] > 1 {
			sum -= change(a)
			a++
		}
		if t[b]-t[a] > 0.7 && (cut < 0 || sum < best) {
			best, cut = sum, (a+b)/2
		}
	}
	return cut
}
