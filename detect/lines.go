package detect

import (
	"math"
	"sort"

	"groundline/trace"
)

// CountBetween counts the strides between two jumps: the canter's load peaks strictly between the landing peak
// of the first and the push-off peak of the second. It gives the count and the instants of
// these beats. Where the recording has a short hole, or a beat or two left no peak, the strides that the time between its neighbours
// holds are counted too, each at its likely instant: a count is a phase advance.
//
// The count's interval is the shortest range of whole numbers around it that holds nine tenths of the probability of all
// ways to read the load peaks between as a canter (the forward algorithm, Baum et al. 1970, over the same
// costs that found the beats): low and high equal the count where nothing puts it in question. What is counted in holes widens it by what
// their time leaves open. Instants that are not jumps' peaks of these events, or lie on both sides of a gap, are counted as they
// are.
func (e *Events) CountBetween(landPeakS, pushPeakS float64) (n trace.Estimate, beatS []float64) {
	i := sort.SearchFloat64s(e.BeatS, landPeakS)
	for i < len(e.BeatS) && e.BeatS[i] <= landPeakS {
		i++
	}
	for ; i < len(e.BeatS) && e.BeatS[i] < pushPeakS; i++ {
		beatS = append(beatS, e.BeatS[i])
	}
	seen := len(beatS)
	beatS, fewer, more := e.bridge(landPeakS, beatS, pushPeakS)
	count, lo, hi := len(beatS), seen, seen
	for _, c := range e.paths {
		a, ok1 := c.peakAt(landPeakS + e.behindS)
		b, ok2 := c.peakAt(pushPeakS + e.behindS)
		if !ok1 || !ok2 || b <= a || seen < count {
			continue
		}
		prob := c.counts(a, b, seen)
		if prob == nil {
			break
		}
		mass := prob[seen]
		for mass < 0.9 && (lo > 0 || hi+1 < len(prob)) {
			left, right := -1.0, -1.0
			if lo > 0 {
				left = prob[lo-1]
			}
			if hi+1 < len(prob) {
				right = prob[hi+1]
			}
			if left >= right {
				lo--
				mass += left
			} else {
				hi++
				mass += right
			}
		}
		break
	}
	n = trace.Exactly(float64(count))
	n.Low, n.High = math.Max(0, float64(count+lo-seen-fewer)), float64(count+hi-seen+more)
	return n, beatS
}

// What may be bridged: so many strides at once, and how far the time between two beats may be from whole strides before the count is
// in question (a tenth either side: two standard deviations of a stride's and a place's own spread are about a third).
const (
	mostBridged  = 4
	surelyStride = 0.3
)

// bridge adds the beats that the time between neighbours asks for: of the landing, the beats and the push-off of a line. fewer and more
// are by how much the count may be off for that.
func (e *Events) bridge(landS float64, beatS []float64, pushS float64) (all []float64, fewer, more int) {
	if len(e.paths) == 0 || !(pushS > landS) {
		return beatS, 0, 0
	}
	r := e.paths[0].r
	for i := 0; i <= len(beatS); i++ {
		from, to := landS, pushS
		whole := 0.0 // strides that lie between the two without a beat
		if i > 0 {
			from = beatS[i-1]
		} else {
			whole += r.fromLand - 1
		}
		if i < len(beatS) {
			to = beatS[i]
		} else {
			whole += r.toPush - 1
		}
		strides := (to - from) / r.strideS((from+to)/2+e.behindS)
		left := strides - 1 - whole
		m := int(math.Round(left))
		if hole := e.holeIn(from, to); !hole && (i == 0 || i == len(beatS)) && left < 1-surelyStride {
			m = 0 // the strides at a jump differ the most
		}
		if m >= 1 && m <= mostBridged {
			for k := 1; k <= m; k++ {
				all = append(all, from+(to-from)*float64(k)/float64(m+1))
			}
			switch off := left - float64(m); {
			case off > surelyStride:
				more++
			case off < -surelyStride:
				fewer++
			}
		}
		if i < len(beatS) {
			all = append(all, to)
		}
	}
	return all, fewer, more
}

// holeIn tells whether the recording has a hole between two moments.
func (e *Events) holeIn(fromS, toS float64) bool {
	fromS, toS = fromS+e.behindS, toS+e.behindS
	for _, h := range e.holes {
		if h[0] < toS && h[1] > fromS {
			return true
		}
	}
	return false
}

// Bridged tells whether every hole of the recording between two moments is so short that strides can be counted over it.
func (e *Events) Bridged(fromS, toS float64) bool {
	fromS, toS = fromS+e.behindS, toS+e.behindS
	for _, h := range e.holes {
		if h[0] < toS && h[1] > fromS && h[1]-h[0] > longestBridgeS {
			return false
		}
	}
	return true
}

// longestBridgeS is not quite two strides: over more, a horse may have done what it likes.
const longestBridgeS = 1.0

// peakAt finds the peak at time t, within two grid steps.
func (c *canterPath) peakAt(t float64) (int, bool) {
	k := sort.Search(len(c.pk), func(i int) bool { return c.pk[i].t >= t-2*stepS })
	return k, k < len(c.pk) && math.Abs(c.pk[k].t-t) <= 2*stepS
}

// counts is the probability of every number of beats between a landing at peak a and a
// push-off at peak b, nil where no reading joins them. near is the count believed in; the list reaches three beyond it.
func (c *canterPath) counts(a, b, near int) []float64 {
	most := near + 3
	w := make([][]float64, b-a+1) // weight of being at peak a+i having counted n beats
	for i := range w {
		w[i] = make([]float64, most+1)
	}
	total := make([]float64, most+1)
	for k := a + 1; k <= b; k++ {
		if k < b {
			node := math.Exp(-promCost(c.pk[k], c.r))
			if v := c.stepCost(a, land, k, beat); !math.IsInf(v, 1) && most >= 1 {
				w[k-a][1] += math.Exp(-v) * node
			}
			for j := k - 1; j > a && c.pk[k].t-c.pk[j].t < reachS; j-- {
				one, two := c.beatSteps(j, k)
				p1, p2 := math.Exp(-one)*node, math.Exp(-two)*node
				for n := 1; n <= most; n++ {
					if x := w[j-a][n]; x > 0 {
						if n+1 <= most {
							w[k-a][n+1] += x * p1
						}
						if n+2 <= most {
							w[k-a][n+2] += x * p2
						}
					}
				}
			}
			continue
		}
		if v := c.stepCost(a, land, b, push); !math.IsInf(v, 1) {
			total[0] += math.Exp(-v)
		}
		for j := b - 1; j > a && c.pk[b].t-c.pk[j].t < reachS; j-- {
			if v := c.stepCost(j, beat, b, push); !math.IsInf(v, 1) {
				for n := 1; n <= most; n++ {
					total[n] += w[j-a][n] * math.Exp(-v)
				}
			}
		}
	}
	var sum float64
	for _, x := range total {
		sum += x
	}
	if !(sum > 0) || total[near] == 0 {
		return nil
	}
	for n := range total {
		total[n] /= sum
	}
	return total
}
