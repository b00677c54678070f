// Package smooth turns a receiver's noisy fixes into a track: place, velocity and
// acceleration at any instant, with covariances.
//
// A receiver's error has a part that changes from fix to fix and a part that wanders for
// a minute. Both are in the model, so the track's covariances know that two places a few
// seconds apart share most of their error: lengths, speeds and turns are far better than
// places. A constant offset of the receiver can't be seen from the fixes and is not in
// any covariance; laying the course under the ride finds it.
//
// The method is a Kalman filter and Rauch-Tung-Striebel smoother over irregular times,
// linearised again and again about its own result (B. M. Bell, The iterated Kalman smoother
// as a Gauss-Newton method, SIAM J. Optim. 4, 1994, 626-636) so that the model turns with the
// horse; fixes that lie off lose their weight; and the noise levels are those that make
// the ride's own fixes most likely, but for the wander, which a ride can't tell from the horse's
// own way and which is taken at its published size. A gap splits the track and is never bridged.
package smooth

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"groundline/trace"
	"groundline/trace/geo"
)

// Options change how a track is smoothed; the zero value is right for a horse.
type Options struct {
	// MaxGapS is the longest time between two fixes that is one piece still; 0 takes
	// [DefaultMaxGapS], or two and a half usual steps where the receiver is slower than that, but
	// no more than half a minute.
	MaxGapS float64
	// Noise, where not nil, is taken as it is instead of being estimated from the ride.
	Noise *Noise
}

const (
	// DefaultMaxGapS lets two fixes of a 1-Hz receiver be missing. In 3 s a cantering horse goes
	// 15 m and may turn by 90 degrees and back: beyond that the model would invent the way.
	DefaultMaxGapS = 3.4
	// maxStepS bounds the model's step for receivers of 1 Hz and more. Within it a canter turn (up to 1 rad/s)
	// turns by 14 degrees, which the middle of the step stands for well. Slower receivers, which can't
	// follow a turn anyway, get an eighth of their step up to longStepS.
	maxStepS  = 0.25
	longStepS = 1.0
	// leastFixes is what a piece needs: fewer can't tell a speed from noise.
	leastFixes = 4
	// maxNodes bounds the stops that a piece may need: a piece's length in time is at most
	// its fixes times the longest gap, but an absurd MaxGapS must not eat the memory.
	maxNodes = 4_000_000
)

// ErrNoTrack is wrapped by the error of a recording that no track can be made of.
var ErrNoTrack = errors.New("no track")

// Track is a smoothed ride.
type Track struct {
	Frame  geo.Frame
	Pieces []Piece // in time order, apart by gaps; at least one
	// Noise is what the ride was found, or taken, to be like.
	Noise Noise
	// Outliers are the indices of fixes that the rest of the ride contradicts; they had next
	// to no influence.
	Outliers []int
	// Unreachable are the indices of fixes so far off that no horse could get there and back; they had no
	// influence at all.
	Unreachable []int
	// RateHz is that of the fixes.
	RateHz float64
	// LagS is the lag that figures are freed of; 0 unless [Track.Unlag] made the track.
	LagS float64
}

// Piece is a stretch of the ride without a gap.
type Piece struct {
	FromS, ToS float64 // its first and last fix
	nodes      []node
	gains      []pulls // the filter's, of each node
}

// State is where and how the horse went at an instant: metres and seconds, east and north
// in the track's frame. Cov is the covariance of (EM, NM, VE, VN, AE, AN).
type State struct {
	TimeS          float64
	EM, NM, VE, VN float64
	AE, AN         float64
	Cov            [6][6]float64
}

// Smooth makes a track of the fixes in frame f. Positions must be as trace.Positions
// promises. The error wraps [ErrNoTrack] where no piece has at least four fixes or a number
// is not finite.
func Smooth(p *trace.Positions, f geo.Frame, o Options) (*Track, error) {
	if p == nil || len(p.TimeS) < leastFixes {
		return nil, fmt.Errorf("%w: fewer than %d fixes", ErrNoTrack, leastFixes)
	}
	fixes, err := project(p, f)
	if err != nil {
		return nil, err
	}
	t := &Track{Frame: f, RateHz: p.RateHz}
	wild := unreachable(fixes)
	fixes, p = without(fixes, p, wild)
	stepS := max(maxStepS, min(usualStep(p)/8, longStepS))
	for _, part := range split(p, maxGap(p, o)) {
		nodes, err := stops(fixes[part.from:part.to], stepS)
		if err != nil {
			return nil, err
		}
		t.Pieces = append(t.Pieces, Piece{FromS: p.TimeS[part.from], ToS: p.TimeS[part.to-1], nodes: nodes})
	}
	if len(t.Pieces) == 0 {
		return nil, fmt.Errorf("%w: no %d fixes without a gap", ErrNoTrack, leastFixes)
	}
	if err := t.solve(o, p.SpeedMS != nil); err != nil {
		return nil, err
	}
	t.Unreachable = wild
	return t, nil
}

// What no horse can reach: beyond fastestMS (a galloping racehorse goes 20 m/s) and a receiver's own scatter.
const (
	fastestMS  = 25.0
	scatterM   = 15.0
	chainReach = 40 // fixes that may be wild in a row
)

// unreachable are the fixes that lie off the longest chain in which each can be reached from the one
// before: a receiver's wild jumps of hundreds of metres, which would drag the first, blind pass along. Where
// no chain holds four fifths of them nothing is left out.
func unreachable(fixes []node) []int {
	n := len(fixes)
	long, back := make([]int, n), make([]int, n)
	end := 0
	for i := range n {
		long[i], back[i] = 1, -1
		for j := i - 1; j >= 0 && j >= i-chainReach; j-- {
			d := math.Hypot(fixes[i].zE-fixes[j].zE, fixes[i].zN-fixes[j].zN)
			if long[j]+1 > long[i] && d <= scatterM+fastestMS*(fixes[i].timeS-fixes[j].timeS) {
				long[i], back[i] = long[j]+1, j
			}
			if back[i] == i-1 {
				break // the chain through the one before is as long as any
			}
		}
		if long[i] > long[end] {
			end = i
		}
	}
	if long[end]*5 < n*4 {
		return nil
	}
	kept := make([]bool, n)
	for i := end; i >= 0; i = back[i] {
		kept[i] = true
	}
	var out []int
	for i, k := range kept {
		if !k {
			out = append(out, fixes[i].fix)
		}
	}
	return out
}

// without are the fixes and their times less those left out, whose indices are in order.
func without(fixes []node, p *trace.Positions, out []int) ([]node, *trace.Positions) {
	if len(out) == 0 {
		return fixes, p
	}
	q := *p
	q.TimeS, q.Segment = nil, nil
	var kept []node
	for i := range fixes {
		if len(out) > 0 && out[0] == i {
			out = out[1:]
			continue
		}
		kept = append(kept, fixes[i])
		q.TimeS = append(q.TimeS, p.TimeS[i])
		if p.Segment != nil {
			q.Segment = append(q.Segment, p.Segment[i])
		}
	}
	return kept, &q
}

// project puts every fix in the frame. Heights are not used: those of a watch are noise of
// metres, which a plane at the ride's height (see geo.NewFrame) need not know.
func project(p *trace.Positions, f geo.Frame) ([]node, error) {
	fixes := make([]node, len(p.TimeS))
	for i, at := range p.TimeS {
		e, n, _ := f.ToENU(geo.LatLon{LatDeg: p.LatDeg[i], LonDeg: p.LonDeg[i]}, f.HeightM)
		speed := math.NaN()
		if p.SpeedMS != nil {
			speed = p.SpeedMS[i]
		}
		if s := e + n + at; math.IsNaN(s) || math.IsInf(s, 0) || i > 0 && at <= p.TimeS[i-1] {
			return nil, fmt.Errorf("%w: fix %d is not finite or not later than the one before", ErrNoTrack, i)
		}
		if math.IsInf(speed, 0) {
			speed = math.NaN()
		}
		fixes[i] = node{timeS: at, fix: i, zE: e, zN: n, speed: speed, weight: 1}
	}
	return fixes, nil
}

func maxGap(p *trace.Positions, o Options) float64 {
	if o.MaxGapS > 0 {
		return o.MaxGapS
	}
	return min(max(DefaultMaxGapS, 2.5*usualStep(p)), 30)
}

// usualStep is the median time from fix to fix, s.
func usualStep(p *trace.Positions) float64 {
	steps := make([]float64, len(p.TimeS)-1)
	for i := range steps {
		steps[i] = p.TimeS[i+1] - p.TimeS[i]
	}
	sort.Float64s(steps)
	return steps[len(steps)/2]
}

type part struct{ from, to int }

// split finds the stretches of fixes without a gap and within one segment.
func split(p *trace.Positions, maxGapS float64) []part {
	var out []part
	from := 0
	for i := 1; i <= len(p.TimeS); i++ {
		if i < len(p.TimeS) && p.TimeS[i]-p.TimeS[i-1] <= maxGapS && (p.Segment == nil || p.Segment[i] == p.Segment[i-1]) {
			continue
		}
		if i-from >= leastFixes {
			out = append(out, part{from, i})
		}
		from = i
	}
	return out
}

// stops puts nodes without a fix between fixes that are further apart than stepS.
func stops(fixes []node, stepS float64) ([]node, error) {
	count := 1
	for i := 1; i < len(fixes); i++ {
		count += int(math.Ceil((fixes[i].timeS-fixes[i-1].timeS)/stepS - 1e-9))
		if count > maxNodes {
			return nil, fmt.Errorf("%w: fixes are too far apart", ErrNoTrack)
		}
	}
	nodes := make([]node, 0, count)
	for i, fix := range fixes {
		if i > 0 {
			a := fixes[i-1].timeS
			n := int(math.Ceil((fix.timeS-a)/stepS - 1e-9))
			for k := 1; k < n; k++ {
				nodes = append(nodes, node{timeS: a + (fix.timeS-a)*float64(k)/float64(n), fix: -1, weight: 1})
			}
		}
		nodes = append(nodes, fix)
	}
	return nodes, nil
}

// solve smooths all pieces: start with a model that knows no direction, then in turn find the
// noise levels, the weights and the way, until the way stands.
func (t *Track) solve(o Options, hasSpeed bool) error {
	starts := startNoise(t.RateHz, hasSpeed)
	n, start := starts[0], starts[0]
	if o.Noise != nil {
		n = *o.Noise
	}
	for i := range t.Pieces {
		for k := range t.Pieces[i].nodes {
			t.Pieces[i].nodes[k].nom = nominal{cos: 1, speedMS: refSpeedMS}
		}
	}
	blind := n
	blind.ThrustMS2, blind.SpeedMS = n.SwerveMS2, 0
	if err := t.pass(blind); err != nil {
		return err
	}
	// Noise levels and the way settle together in about three rounds. Then, with the noise fixed, the
	// weights and the way are let come to rest; two outliers in a row take some ten passes.
	const rounds, passes = 3, 15
	if o.Noise == nil {
		var know curvature
		for i := range rounds {
			t.reweigh(n)
			if i == 0 {
				n, start = t.firstNoise(starts, &know)
			} else {
				best, _ := t.newSearch(start).best(n.levels(), &know)
				n = best.noise()
			}
			if err := t.pass(n); err != nil {
				return err
			}
		}
	}
	for i := range passes {
		// A weight that moves by less than a fifth moves no figure by a tenth of its doubt.
		if moved := t.reweigh(n); moved < 0.2 && i >= 3 {
			break
		}
		if err := t.pass(n); err != nil {
			return err
		}
	}
	t.Noise = n
	for i := range t.Pieces {
		for k := range t.Pieces[i].nodes {
			if nd := &t.Pieces[i].nodes[k]; nd.fix >= 0 && nd.weight < outlierWeight {
				t.Outliers = append(t.Outliers, nd.fix)
			}
		}
	}
	return nil
}

// pass filters and smooths every piece and takes the result as the next nominal way.
func (t *Track) pass(n Noise) error {
	for i := range t.Pieces {
		p := &t.Pieces[i]
		nodes := p.nodes
		if p.gains == nil {
			p.gains = make([]pulls, len(nodes))
		}
		if _, ok := filterKeeping(nodes, stepsOf(nodes), n, true, p.gains); !ok {
			return fmt.Errorf("%w: the fixes from %.1f s on contradict each other beyond what can be computed", ErrNoTrack, t.Pieces[i].FromS)
		}
		for k := range nodes {
			nodes[k].nom = nominalOf(&nodes[k].mean)
		}
	}
	return nil
}

// nominalOf is the direction, pace and turn rate of a state. Near a halt the turn rate is
// drawn to zero: what turns there is noise.
func nominalOf(x *vec) nominal {
	speed := math.Hypot(x[vE], x[vN])
	if speed < 1e-9 {
		return nominal{cos: 1}
	}
	const calm2 = 0.5 * 0.5 // (m/s)², below a walk
	turn := (x[vE]*x[aN] - x[vN]*x[aE]) / (speed*speed + calm2)
	// Faster than 1.5 rad/s at a walk or 0.9 rad/s at a canter a horse pirouettes.
	const most = 1.5
	return nominal{cos: x[vE] / speed, sin: x[vN] / speed, speedMS: speed, turnRadS: min(max(turn, -most), most)}
}

// The weight of a fix falls once it lies further from what all others say than goodSigma
// standard deviations; far out its pull falls as one over the distance. These are the weights of a
// t distribution with tailDF degrees of freedom (K. L. Lange, R. J. A. Little and J. M. G. Taylor,
// J. Am. Stat. Assoc. 84, 1989, 881-896) but for the plateau, which spares normal errors.
const (
	goodSigma     = 3.0
	tailDF        = 4.0
	outlierWeight = (tailDF + goodSigma*goodSigma) / (tailDF + 5*5) // further than five standard deviations
	leastWeight   = 1e-6
)

// reweigh sets each fix's weight by its distance from the smoothed track, in units of
// what that distance would vary by had the fix not been used. It returns the largest change of a
// weight's logarithm.
func (t *Track) reweigh(n Noise) (moved float64) {
	r := n.WhiteM * n.WhiteM
	for i := range t.Pieces {
		nodes := t.Pieces[i].nodes
		for k := range nodes {
			nd := &nodes[k]
			if nd.fix < 0 {
				continue
			}
			d2 := 0.0
			for axis, z := range [2]float64{nd.zE, nd.zN} {
				e := z - nd.mean[iE+axis] - nd.mean[wE+axis]
				// The variance of place plus wander given all fixes; taking the fix out again
				// makes the residual e/(1-v/r) with variance r/(1-v/r) for a good fix (the
				// leave-one-out identity of linear least squares).
				v := nd.cov[iE+axis][iE+axis] + nd.cov[wE+axis][wE+axis] + 2*nd.cov[iE+axis][wE+axis]
				used := max(1-v*nd.weight/r, 1e-3)
				// Where the fix had weight w its own variance in this solution was r/w.
				apart := e / used
				varApart := r + r/nd.weight*(1/used-1)
				d2 += apart * apart / varApart
			}
			weight := 1.0
			if d2 > goodSigma*goodSigma {
				weight = max((tailDF+goodSigma*goodSigma)/(tailDF+d2), leastWeight)
			}
			moved = max(moved, math.Abs(math.Log(weight/nd.weight)))
			nd.weight = weight
		}
	}
	return moved
}
