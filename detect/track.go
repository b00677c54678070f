package detect

import (
	"math"

	"groundline/trace"
	track "groundline/trace/smooth"
)

// FromTrack finds what positions alone show of the ride: the gaits, from the speed. Strides and jumps are
// not in it. Where the track has a gap the gaits have one too.
func FromTrack(t *track.Track) *Events {
	return &Events{Gaits: trackGaits(t)}
}

// trackStepS is how often the speed is looked at: half a second is less than a stride, and changes of gait
// by rider and horse take longer.
const trackStepS = 0.5

// speedBand is how fast a gait goes: the mean and the spread between horses and moments, m/s.
type speedBand struct{ meanMS, sdMS float64 }

// trackBands are the speeds of the gaits. Walk 1.3 to 1.8 and trot 2.6 to 3.6 m/s are the ranges of ridden
// horses (Bogisch et al., Comp. Exerc. Physiol. 2014, doi 10.3920/cep13025), wider here for
// ponies and for what lies between the gaits' own paces; canter from a pony's collected 3.3 (H. M. Clayton,
// Equine Vet. J. 26, 1994, from memory) to the 5.5 m/s of a round (4.2 warming up) and well
// beyond. A halted horse shifts its weight and its receiver creeps.
var trackBands = [...]speedBand{
	Halt:   {0, 0.3},
	Walk:   {1.55, 0.4},
	Trot:   {3.0, 0.5},
	Canter: {5.3, 1.1},
}

// changeEveryS is the mean time between changes of gait to the next slower or faster one; a
// ride has one every 10 s to some minutes. Skipping a gait is jumpGaitShare as likely.
const (
	changeEveryS  = 20.0
	jumpGaitShare = 0.05
)

// trackGaits is the most likely course of the gaits through each piece of the track (A. J. Viterbi,
// IEEE Trans. Inf. Theory 13, 1967, 260-269; L. R. Rabiner, Proc. IEEE 77, 1989, 257-286).
func trackGaits(t *track.Track) []Span {
	var out []Span
	for i := range t.Pieces {
		p := &t.Pieces[i]
		count := max(int((p.ToS-p.FromS)/trackStepS), 1)
		step := (p.ToS - p.FromS) / float64(count)
		likely := make([][len(trackBands)]float64, count)
		for k, m := range t.Moments(p, p.FromS+step/2, step, count) {
			likely[k] = gaitLikelihood(m.Speed())
		}
		for i, g := range mostLikelyGaits(likely, step) {
			from, to := p.FromS+float64(i)*step, p.FromS+float64(i+1)*step
			if n := len(out); n > 0 && out[n-1].Gait == g && out[n-1].ToS >= from-1e-9 {
				out[n-1].ToS = to
				continue
			}
			out = append(out, Span{Gait: g, FromS: from, ToS: to})
		}
	}
	return out
}

// gaitLikelihood is the logarithm of how likely a speed is in each gait, its own doubt added to
// the gait's spread.
func gaitLikelihood(speed trace.Estimate) (l [len(trackBands)]float64) {
	// The interval may have been cut off at zero; its upper half is whole.
	sd := (speed.High - speed.Value) / 1.6448536269514722
	// Speeds half a second apart are nearly one measurement: neighbours over about 1.5 s are alike.
	const independent = 1.0 / 3
	for g, b := range trackBands {
		v := b.sdMS*b.sdMS + sd*sd
		d := speed.Value - b.meanMS
		if Gait(g) == Canter && d > 0 {
			d = 0 // nothing is too fast for a canter
		}
		l[g] = -independent * (math.Log(v)/2 + d*d/(2*v))
	}
	return l
}

// mostLikelyGaits is Viterbi's path through the likelihoods, stepS apart.
func mostLikelyGaits(likely [][len(trackBands)]float64, stepS float64) []Gait {
	const n = len(trackBands)
	var change [n][n]float64
	for a := range n {
		rest := 1.0
		for b := range n {
			if a == b {
				continue
			}
			p := stepS / changeEveryS
			if b != a-1 && b != a+1 {
				p *= jumpGaitShare
			}
			change[a][b] = math.Log(p)
			rest -= p
		}
		change[a][a] = math.Log(rest)
	}
	from := make([][n]int8, len(likely))
	var score [n]float64
	for i, l := range likely {
		if i == 0 {
			score = l
			continue
		}
		var next [n]float64
		for b := range n {
			best := 0
			for a := range n {
				if score[a]+change[a][b] > score[best]+change[best][b] {
					best = a
				}
			}
			next[b] = score[best] + change[best][b] + l[b]
			from[i][b] = int8(best)
		}
		score = next
	}
	best := 0
	for g := range n {
		if score[g] > score[best] {
			best = g
		}
	}
	out := make([]Gait, len(likely))
	for i := len(likely) - 1; i >= 0; i-- {
		out[i] = Gait(best)
		best = int(from[i][best])
	}
	return out
}
