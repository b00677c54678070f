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
	var pieces []*piece
	for _, s := range split(m.TimeS) {
		p := resample(m, s[0], s[1])
		if p == nil {
			continue
		}
		pieces = append(pieces, p)
	}
	for _, p := range pieces {
		p.findUp(m.GravityRemoved)
		p.loads()
	}
	for i, p := range pieces {
		p.run(ev, o, i)
	}
	ev.finish()
	return ev, nil
}

// split cuts the samples where more than gapS lies between two of them, and at times that
// are not numbers or don't increase. Each part is [from, to).
func split(t []float64) [][2]int {
	var out [][2]int
	from := 0
	for i := 1; i <= len(t); i++ {
		if i < len(t) {
			if d := t[i] - t[i-1]; d > 0 && d <= gapS {
				continue
			}
		}
		if i-from >= 2 && !math.IsNaN(t[from]) && !math.IsInf(t[from], 0) {
			out = append(out, [2]int{from, i})
		}
		from = i
	}
	return out
}
