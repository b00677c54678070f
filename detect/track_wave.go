package detect

import (
	"math"

	"groundline/trace"
	"groundline/trace/geo"
	track "groundline/trace/smooth"
)

// Wave is the canter's wave in a receiver's speed: how many strides a second over time.
type Wave struct {
	TimeS, FrequencyHz []float64 // the middle of each window, in time order
	// SDHz is the doubt of each frequency.
	SDHz []float64
}

const (
	// waveLowHz and waveHighHz hold the stride frequencies of a canter between fences: 1.6 to 2.0 Hz for
	// horses, up to about 2.1 for ponies, with some room.
	waveLowHz, waveHighHz = 1.4, 2.3
	waveStepHz            = 0.01
	// waveWindowS is ten strides: long enough for a frequency to 0.02 Hz from speeds good to 0.1 m/s, short enough
	// to follow a line.
	waveWindowS, waveHopS = 6.0, 1.0
	// waveDriftHz is how much a canter's frequency changes in a second (standard deviation): a horse asked forward
	// goes from 1.65 to 1.8 Hz in a few strides.
	waveDriftHz = 0.04
	// leastWave is the least mean power of the wave, in units of the noise's, for it to be there. The best path
	// through noise alone reaches 7; a wave of 15 has its strides counted to a tenth over a line.
	leastWave = 15.0
	// leastWaveRateHz leaves the wave below half the rate.
	leastWaveRateHz = 4.8
)

// StrideWave finds the canter's wave in the device's own speed or, without one, in the fixes' steps along the way
// (published for 10-Hz speed: stride frequency to 0.009 Hz over 100 m; J. Biomech. 145, 2022, 111364).
// nil where it is not there: at rates below 4.8 Hz, or where the receiver's noise or its own smoothing covers it,
// which in fixes without speeds is the rule.
func StrideWave(t *track.Track, p *trace.Positions) *Wave {
	if p.RateHz < leastWaveRateHz {
		return nil
	}
	samples := alongSpeeds(t, p)
	var best *Wave
	power, windows := 0.0, 0
	for _, run := range canterRuns(t) {
		w, sum := followWave(samples, run)
		if w == nil {
			continue
		}
		power += sum
		windows += len(w.TimeS)
		if best == nil {
			best = &Wave{}
		}
		best.TimeS = append(best.TimeS, w.TimeS...)
		best.FrequencyHz = append(best.FrequencyHz, w.FrequencyHz...)
		best.SDHz = append(best.SDHz, w.SDHz...)
	}
	if best == nil || power/float64(windows) < leastWave {
		return nil
	}
	return best
}

// Strides is how many strides lie between two instants, a real number: the frequency summed over them.
// ok is false where the wave does not reach or toS <= fromS.
func (w *Wave) Strides(fromS, toS float64) (n trace.Estimate, ok bool) {
	last := len(w.TimeS) - 1
	if !(fromS < toS) || fromS < w.TimeS[0]-waveWindowS/2 || toS > w.TimeS[last]+waveWindowS/2 {
		return trace.Estimate{}, false
	}
	const step = 0.05 // s, a twelfth of a stride
	count := math.Ceil((toS - fromS) / step)
	dt := (toS - fromS) / count
	sum, sd := 0.0, 0.0
	for i := range int(count) {
		f, s, near := w.at(fromS + (float64(i)+0.5)*dt)
		if !near {
			return trace.Estimate{}, false
		}
		sum += f * dt
		sd += s * dt
	}
	// Windows overlap: within one the errors are the same, apart they are independent.
	return trace.FromSD(sum, sd/math.Sqrt(max((toS-fromS)/waveWindowS, 1))), true
}

// at is the frequency and its doubt at an instant; near is false further than half a window from any.
func (w *Wave) at(timeS float64) (hz, sdHz float64, near bool) {
	best := 0
	for i, at := range w.TimeS {
		if math.Abs(at-timeS) < math.Abs(w.TimeS[best]-timeS) {
			best = i
		}
	}
	// Between two windows the mean by distance.
	next := best + 1
	if timeS < w.TimeS[best] {
		next = best - 1
	}
	if next >= 0 && next < len(w.TimeS) && math.Abs(w.TimeS[next]-w.TimeS[best]) < 1.5*waveHopS {
		u := (timeS - w.TimeS[best]) / (w.TimeS[next] - w.TimeS[best])
		return w.FrequencyHz[best] + u*(w.FrequencyHz[next]-w.FrequencyHz[best]), w.SDHz[best], true
	}
	return w.FrequencyHz[best], w.SDHz[best], math.Abs(w.TimeS[best]-timeS) <= waveWindowS/2
}

// alongSpeed is a speed at an instant, unsmoothed.
type alongSpeed struct{ timeS, speedMS float64 }

// alongSpeeds are the device's speeds or, without them, the steps between fixes along the smoothed way.
func alongSpeeds(t *track.Track, p *trace.Positions) []alongSpeed {
	var out []alongSpeed
	if p.SpeedMS != nil {
		for i, v := range p.SpeedMS {
			out = append(out, alongSpeed{p.TimeS[i], v})
		}
		return out
	}
	var e0, n0 float64
	for i, at := range p.TimeS {
		e, n, _ := t.Frame.ToENU(geo.LatLon{LatDeg: p.LatDeg[i], LonDeg: p.LonDeg[i]}, t.Frame.HeightM)
		if i > 0 {
			mid := (at + p.TimeS[i-1]) / 2
			if s, ok := t.At(mid); ok {
				if v := math.Hypot(s.VE, s.VN); v > 0 {
					out = append(out, alongSpeed{mid, ((e-e0)*s.VE + (n-n0)*s.VN) / v / (at - p.TimeS[i-1])})
				}
			}
		}
		e0, n0 = e, n
	}
	return out
}

// canterRuns are the stretches of canter that are long enough for one window.
func canterRuns(t *track.Track) []Span {
	var out []Span
	for _, s := range trackGaits(t) {
		if s.Gait == Canter && s.ToS-s.FromS >= waveWindowS {
			out = append(out, s)
		}
	}
	return out
}

// followWave is the likeliest course of the frequency through the windows of one canter (Viterbi's path), and the sum of
// the wave's powers along it.
func followWave(samples []alongSpeed, run Span) (*Wave, float64) {
	bins := int(math.Round((waveHighHz-waveLowHz)/waveStepHz)) + 1
	var times []float64
	var power [][]float64
	for mid := run.FromS + waveWindowS/2; mid+waveWindowS/2 <= run.ToS; mid += waveHopS {
		if row := wavePower(samples, mid, bins); row != nil {
			times, power = append(times, mid), append(power, row)
		}
	}
	if len(times) == 0 {
		return nil, 0
	}
	// Changes by more than three standard deviations in a hop are not looked at.
	reach := int(math.Ceil(3 * waveDriftHz / waveStepHz))
	score := append([]float64(nil), power[0]...)
	from := make([][]int, len(times))
	for i := 1; i < len(times); i++ {
		next := make([]float64, bins)
		from[i] = make([]int, bins)
		drift := waveDriftHz * math.Sqrt(times[i]-times[i-1])
		for b := range bins {
			best, at := math.Inf(-1), 0
			for a := max(0, b-reach); a <= min(bins-1, b+reach); a++ {
				z := float64(b-a) * waveStepHz / drift
				// A window shares most of its samples with the next.
				if s := score[a] - z*z/2; s > best {
					best, at = s, a
				}
			}
			next[b] = best + power[i][b]*waveHopS/waveWindowS
			from[i][b] = at
		}
		score = next
	}
	b := 0
	for k := range score {
		if score[k] > score[b] {
			b = k
		}
	}
	w := &Wave{TimeS: times, FrequencyHz: make([]float64, len(times)), SDHz: make([]float64, len(times))}
	sum := 0.0
	for i := len(times) - 1; i >= 0; i-- {
		w.FrequencyHz[i] = waveLowHz + float64(b)*waveStepHz
		sum += power[i][b]
		// The least doubt of a wave's frequency in white noise (D. C. Rife and R. R. Boorstyn, IEEE Trans. Inf.
		// Theory 20, 1974, 591-598) in terms of the power over the noise's, and the grid's step.
		w.SDHz[i] = math.Hypot(math.Sqrt(6/max(power[i][b], 1))/(2*math.Pi*waveWindowS), waveStepHz/math.Sqrt(12))
		if i > 0 {
			b = from[i][b]
		}
	}
	return w, sum
}

// wavePower is the power of a wave at each frequency in a window about mid, over the noise's: 1 on average where there is
// none. nil where the window has a hole.
func wavePower(samples []alongSpeed, mid float64, bins int) []float64 {
	var t, v []float64
	for _, s := range samples {
		if d := s.timeS - mid; math.Abs(d) <= waveWindowS/2 {
			if len(t) > 0 && d-t[len(t)-1] > 0.25 {
				return nil
			}
			t, v = append(t, d), append(v, s.speedMS)
		}
	}
	if float64(len(t)) < 0.9*waveWindowS*leastWaveRateHz {
		return nil
	}
	// The pace and its slow change go first: a parabola, by least squares on polynomials made orthogonal.
	detrend(t, v)
	noise := 0.0
	row := make([]float64, bins)
	for b := range row {
		row[b] = powerAt(t, v, waveLowHz+float64(b)*waveStepHz)
	}
	// What is left besides the wave is the noise: its variance from all samples less the strongest wave, whose power is
	// N A²/4 when noise of variance s² has s².
	top := 0.0
	for _, p := range row {
		top = math.Max(top, p)
	}
	for _, x := range v {
		noise += x * x
	}
	noise = (noise - 2*top) / float64(len(v))
	floor := 1e-12
	if !(noise > floor) {
		noise = floor
	}
	for b := range row {
		row[b] /= noise
	}
	return row
}

// powerAt is |sum v e^(-iωt)|²/N.
func powerAt(t, v []float64, hz float64) float64 {
	var c, s float64
	for i := range t {
		sin, cos := math.Sincos(2 * math.Pi * hz * t[i])
		c += v[i] * cos
		s += v[i] * sin
	}
	return (c*c + s*s) / float64(len(t))
}

// detrend takes the least-squares parabola out of v.
func detrend(t, v []float64) {
	n := float64(len(t))
	one := make([]float64, len(t))
	lin, quad := append([]float64(nil), t...), make([]float64, len(t))
	for i := range t {
		one[i] = 1
		quad[i] = t[i] * t[i]
	}
	basis := [][]float64{one, lin, quad}
	for k, b := range basis {
		for _, a := range basis[:k] {
			share := inner(a, b) / inner(a, a)
			for i := range b {
				b[i] -= share * a[i]
			}
		}
		if d := inner(b, b); d > 1e-9*n {
			share := inner(b, v) / d
			for i := range v {
				v[i] -= share * b[i]
			}
		}
	}
}

func inner(a, b []float64) (s float64) {
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}
