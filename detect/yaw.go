package detect

import (
	"math"

	"groundline/trace/dsp"
)

// yawStepS is how finely the turn rate is given. Below yawCutHz lie turns, the shortest of which take a
// second or two; the strides' own waves of 1.4 Hz and more are cut to a hundredth.
const (
	yawStepS = 0.1
	yawCutHz = 0.4
)

// addYaw adds the turn rate about the vertical, left positive.
func (p *piece) addYaw(ev *Events) {
	if p.g[0] == nil {
		return
	}
	yaw := make([]float64, p.n)
	for i := range yaw {
		yaw[i] = p.g[0][i]*p.up[0][i] + p.g[1][i]*p.up[1][i] + p.g[2][i]*p.up[2][i]
	}
	low, err := dsp.Lowpass(2, yawCutHz, 1/stepS)
	if err != nil {
		panic("detect: " + err.Error()) // constants of our own
	}
	yaw = low.ZeroPhase(yaw)
	every := int(math.Round(yawStepS / stepS))
	for i := 0; i < p.n; i += every {
		ev.YawTimeS = append(ev.YawTimeS, p.at(float64(i)))
		ev.YawRadS = append(ev.YawRadS, yaw[i])
	}
}

// Turns are the turns that the gyroscope shows: 0.2 rad/s or more (a circle of 30 m at 6 m/s) for an eighth of a circle
// or more.
func (e *Events) Turns() []TurnHint {
	const rate, least = 0.2, math.Pi / 4
	var out []TurnHint
	var t TurnHint
	open := false
	flush := func() {
		if open && math.Abs(t.LeftRad) >= least {
			out = append(out, t)
		}
		open = false
	}
	for i, w := range e.YawRadS {
		at := e.YawTimeS[i]
		gap := i > 0 && at-e.YawTimeS[i-1] > 1.5*yawStepS
		if math.Abs(w) < rate || gap || (open && w*t.LeftRad < 0) {
			flush()
		}
		if math.Abs(w) < rate {
			continue
		}
		if !open {
			t, open = TurnHint{FromS: at}, true
		}
		t.ToS = at
		t.LeftRad += w * yawStepS
	}
	flush()
	return out
}
