package detect

import (
	"math"
	"sort"

	"groundline/trace"
	track "groundline/trace/smooth"
)

// Turn is a change of direction, or the lack of one, between two instants.
type Turn struct {
	FromS, ToS float64
	Direction  string         // "left" | "right" | "straight"
	TurnedDeg  trace.Estimate // net, left positive, counted on beyond half a turn
	// RadiusMinM is the tightest that the track holds over heldM of travel; nil where the
	// track can't tell it from straight.
	RadiusMinM *trace.Estimate
	// SpeedMinMS is the slowest mean over heldM of travel.
	SpeedMinMS *trace.Estimate
}

const (
	// heldM is the stretch that curvature is averaged over: about one canter stride. A shorter one
	// measures noise.
	heldM = 4.0
	// straightDeg is the net turn below which a way is called straight: a rider sees no turn in it,
	// and receivers' noise makes 2 to 7 degrees.
	straightDeg = 10.0
	// turnDeg and turnRadiusM are what [Turns] calls a turn: by 30 degrees or more, nowhere wider than
	// 30 m, about the widest that a school's corner is ridden.
	turnDeg     = 30.0
	turnRadiusM = 30.0
	// replicas of the recording that bias and doubt of a radius are told from; 24 tell a
	// standard deviation to 15 %.
	turnReplicas = 24
	// Replicas are made about a way that still has some bumps of noise, so more noise adds less to its greatest
	// curvature than it did to the ride's, and varies less: by these shares on simulated turns of 60 to 180
	// degrees and 5.5 to 13.5 m (TestTightestIsCalibrated).
	biasShare  = 1.25
	doubtShare = 1.3
)

// TurnBetween is how the way bent between two instants, such as a landing and the next take-off.
// ok is false where the track has a gap between them or they are less than heldM apart.
func TurnBetween(t *track.Track, fromS, toS float64) (turn Turn, ok bool) {
	return turnBetween(t, fromS, toS, true)
}

// Turns are all turns by turnDeg or more from fromS to toS, each as long as the track stays on one
// side and tighter than turnRadiusM over heldM; in time order.
func Turns(t *track.Track, fromS, toS float64) []Turn {
	var out []Turn
	for _, p := range t.Pieces {
		a, b := max(fromS, p.FromS), min(toS, p.ToS)
		if !(a < b) {
			continue
		}
		w := wayOf(t.Velocities(a, b))
		// side is that of the run since d = from; 0 outside a turn.
		side, from := 0.0, 0.0
		end := func(d float64) {
			if side == 0 {
				return
			}
			if turn, ok := turnBetween(t, w.at(w.timeS, from), w.at(w.timeS, d), false); ok && math.Abs(turn.TurnedDeg.Value) >= turnDeg {
				out = append(out, turn)
			}
		}
		for d := heldM / 2; d+heldM/2 <= w.length(); d += windowStepM {
			k := (w.at(w.turnedRad, d+heldM/2) - w.at(w.turnedRad, d-heldM/2)) / heldM
			now := 0.0
			if math.Abs(k) > 1/turnRadiusM {
				now = math.Copysign(1, k)
			}
			if now != side {
				end(d)
				side, from = now, d
			}
		}
		end(w.length())
	}
	return out
}

func turnBetween(t *track.Track, fromS, toS float64, betweenJumps bool) (turn Turn, ok bool) {
	ridden := wayOf(t.Velocities(fromS, toS))
	if ridden.length() < heldM {
		return Turn{}, false
	}
	replicas := t.Replicas(fromS, toS, turnReplicas)
	if replicas == nil {
		return Turn{}, false
	}
	// The track's own interval allows for any way a horse might swerve; how far replicas scatter is how well this
	// one is known. A little is added for what smoothing takes from all of them alike.
	angles := make([]float64, 0, turnReplicas)
	drawn := make([]way, 0, turnReplicas)
	for _, r := range replicas.Drawn {
		w := wayOf(r)
		drawn = append(drawn, w)
		angles = append(angles, w.turned())
	}
	sd := doubtShare * deviation(angles)
	const deg = 180 / math.Pi
	turn = Turn{FromS: fromS, ToS: toS, Direction: "straight", TurnedDeg: trace.FromSD(ridden.turned()*deg, sd*deg)}
	switch {
	case turn.TurnedDeg.Value >= straightDeg:
		turn.Direction = "left"
	case turn.TurnedDeg.Value <= -straightDeg:
		turn.Direction = "right"
	}
	turn.RadiusMinM = tightest(t, replicas, drawn, ridden, betweenJumps)
	if turn.Direction == "straight" && turn.RadiusMinM != nil && turn.RadiusMinM.Value > turnRadiusM {
		turn.RadiusMinM = nil // a straight way's waver, not a turn and a turn back
	}
	a, b := ridden.slowest()
	if v, ok := t.MeanSpeed(a, b); ok {
		turn.SpeedMinMS = &v
	}
	return turn, true
}

// tightest is the least radius held over heldM.
//
// The greatest of many noisy curvatures is too great, and smoothing makes a short bend too wide. Both are
// measured on replicas of the recording made from the track itself: what noise adds is taken off, and
// what smoothing takes is put back.
func tightest(t *track.Track, replicas *track.Replicas, drawn []way, w way, betweenJumps bool) *trace.Estimate {
	turnedRad := w.turned()
	seen, at := w.tightest()
	if seen == 0 {
		return nil
	}
	ridden, _ := wayOf(replicas.Way).tightest()
	calm, _ := wayOf(replicas.Calm).tightest()
	curvatures := make([]float64, len(drawn))
	mean := 0.0
	for i := range drawn {
		curvatures[i], _ = drawn[i].tightest()
		mean += curvatures[i] / float64(len(drawn))
	}
	sd := deviation(curvatures)
	k := max(seen-biasShare*(mean-calm), 0)

	// A bend w long comes out √(w²+s²) long of smoothing by a kernel s long, and curvature goes as one over the
	// length. So (ridden/calm)² is 1+s²/w² for the replicas' bend; the bend that was smoothed to look like k had
	// 1-s²/v² of the square of v, the length that it has now. More than half lost can't be told from the rest.
	once := 1.0
	if calm > 0 && ridden > calm {
		loss := (ridden*ridden/(calm*calm) - 1) * k * k / (ridden * ridden)
		once = math.Sqrt(max(1-loss, 0.25))
	}
	k /= once
	sd = math.Hypot(doubtShare*sd/once, 0.6*k*(1-once))

	// The doubt to the tight side: a bend of few degrees may have been ridden in a short place that the fixes
	// do not show, down to what the model holds possible; a turn of a quarter or more must go on for a
	// while, and then its curvature is seen.
	tightSD := sd
	if turn, ok := t.Turned(at[0], at[1]); ok {
		hidden := min(max((100-math.Abs(turnedRad)*180/math.Pi)/50, 0), 1)
		tightSD = math.Hypot(sd, hidden*turn.SD()/heldM)
	}
	if betweenJumps {
		// A fence is ridden straight for a stride before and after (common practice), so the bend lies in what is
		// left, and a bend that begins and ends softly is half as tight again in its middle as on
		// the whole (a parabola's peak over its mean).
		const straightM = 2 * 3.5
		if room := w.length() - straightM; room > heldM {
			if least := 1.5 * math.Abs(turnedRad) / room; least > k {
				sd = max(sd, (least-k)/2)
				k = least
			}
		}
	}
	// Where curvature can't be told from none there is no radius.
	const leastSD = 2.0
	if k < leastSD*sd || k <= 0 {
		return nil
	}
	low, high := trace.FromSD(k, sd).Low, trace.FromSD(k, tightSD).High
	return &trace.Estimate{Value: 1 / k, Low: 1 / high, High: 1 / low}
}

// deviation is the standard deviation of a sample of two or more.
func deviation(x []float64) float64 {
	mean, sum := 0.0, 0.0
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		sum += (v - mean) * (v - mean)
	}
	return math.Sqrt(sum / max(float64(len(x)-1), 1))
}

// way is a stretch of track by distance.
type way struct {
	timeS, distM, turnedRad []float64 // from its start
}

func wayOf(states []track.Velocity) way {
	w := way{timeS: make([]float64, len(states)), distM: make([]float64, len(states)), turnedRad: make([]float64, len(states))}
	for i, b := range states {
		w.timeS[i] = b.TimeS
		if i == 0 {
			continue
		}
		a := states[i-1]
		speed := (math.Hypot(a.VE, a.VN) + math.Hypot(b.VE, b.VN)) / 2
		w.distM[i] = w.distM[i-1] + speed*(b.TimeS-a.TimeS)
		w.turnedRad[i] = w.turnedRad[i-1] + math.Atan2(a.VE*b.VN-a.VN*b.VE, a.VE*b.VE+a.VN*b.VN)
	}
	return w
}

func (w way) length() float64 {
	if len(w.distM) == 0 {
		return 0
	}
	return w.distM[len(w.distM)-1]
}

// turned is the change of direction over the whole way, radians, left positive.
func (w way) turned() float64 { return w.turnedRad[len(w.turnedRad)-1] }

// at is a column's value after d metres, between its ends.
func (w way) at(column []float64, d float64) float64 {
	i := sort.SearchFloat64s(w.distM, d)
	switch {
	case i == 0:
		return column[0]
	case i == len(column):
		return column[i-1]
	}
	u := (d - w.distM[i-1]) / (w.distM[i] - w.distM[i-1])
	return column[i-1] + u*(column[i]-column[i-1])
}

// windowStepM is how far the windows of heldM are apart: a sixteenth of their length.
const windowStepM = 0.25

// tightest is the greatest mean curvature over heldM, 1/m and never negative, and when that was.
func (w way) tightest() (curvature float64, timeS [2]float64) {
	for d := 0.0; d+heldM <= w.length(); d += windowStepM {
		if k := math.Abs(w.at(w.turnedRad, d+heldM)-w.at(w.turnedRad, d)) / heldM; k > curvature {
			curvature = k
			timeS = [2]float64{w.at(w.timeS, d), w.at(w.timeS, d+heldM)}
		}
	}
	return curvature, timeS
}

// slowest is the stretch of heldM that took longest.
func (w way) slowest() (fromS, toS float64) {
	fromS, toS = w.timeS[0], w.timeS[len(w.timeS)-1]
	longest := 0.0
	for d := 0.0; d+heldM <= w.length(); d += windowStepM {
		if a, b := w.at(w.timeS, d), w.at(w.timeS, d+heldM); b-a > longest {
			longest, fromS, toS = b-a, a, b
		}
	}
	return fromS, toS
}
