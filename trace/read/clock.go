package read

import (
	"math"
	"slices"
)

// lost are the samples that must go so that the times increase strictly within one ride.
type lost struct {
	drop  []int // their indices, increasing
	equal int   // of these: the time of the one before again
	back  int   // the time ran backwards
	far   int   // days away from most others
}

// order finds which samples must go.
//
// A single time far ahead of its neighbours (a stray date) is itself the one that goes, not
// all that follow it. Times days away from most others, such as those before a clock was
// set, go too.
func order(t []float64) lost {
	var l lost
	step := -1.0           // found only where a time is out of order
	last, before := -1, -1 // the two samples kept last
	for i := range t {
		if last < 0 || t[i] > t[last] {
			before, last = last, i
			continue
		}
		if step < 0 {
			step = medianStep(t)
		}
		stray := before >= 0 && t[i] > t[before] && t[last]-t[before] > 20*step && t[i]-t[before] < (t[last]-t[before])/4
		switch {
		case t[i] == t[last]:
			l.equal++
		case stray || firstStray(t, last, i, step):
			l.drop = append(l.drop, last)
			last = i
			l.back++
			continue
		default:
			l.back++
		}
		l.drop = append(l.drop, i)
	}
	slices.Sort(l.drop)
	l.distant(t)
	return l
}

// distant drops all pieces but the largest where a week or more lies between them: no ride
// lasts so long.
func (l *lost) distant(t []float64) {
	const week = 7 * 86400
	if len(l.drop) == 0 && len(t) > 0 && t[len(t)-1]-t[0] <= week {
		return // the times increase, so that no two are further apart
	}
	type piece struct{ from, to, n int }
	var pieces []piece
	last, skip := -1, l.drop
	for i := range t {
		if len(skip) > 0 && skip[0] == i {
			skip = skip[1:]
			continue
		}
		if last < 0 || t[i]-t[last] > week {
			pieces = append(pieces, piece{from: i})
		}
		p := &pieces[len(pieces)-1]
		p.to, p.n = i+1, p.n+1
		last = i
	}
	if len(pieces) < 2 {
		return
	}
	best := pieces[0]
	for _, p := range pieces {
		if p.n > best.n {
			best = p
		}
	}
	var drop []int
	skip = l.drop
	for i := range t {
		if len(skip) > 0 && skip[0] == i {
			skip = skip[1:]
			drop = append(drop, i)
		} else if i < best.from || i >= best.to {
			l.far++
			drop = append(drop, i)
		}
	}
	l.drop = drop
}

// firstStray tells that the first time of all is the stray one: it lies far ahead of the
// next, and the time after that belongs to the next.
func firstStray(t []float64, last, i int, step float64) bool {
	return last == 0 && t[0]-t[i] > 20*step && i+1 < len(t) && math.Abs(t[i+1]-t[i]) < math.Abs(t[i+1]-t[0])
}

// without is v less the samples at drop, in place.
func without[T any](v []T, drop []int) []T {
	if len(drop) == 0 || v == nil {
		return v
	}
	to := drop[0]
	for k, from := range drop {
		end := len(v)
		if k+1 < len(drop) {
			end = drop[k+1]
		}
		to += copy(v[to:], v[from+1:end])
	}
	return v[:to]
}

// sampled is how many steps a median is taken over: enough for 1 % and cheap for a day.
const sampled = 100_000

// steps are some sampled positive time steps, spread evenly, in no order.
func steps(t []float64) []float64 {
	every := max(1, len(t)/sampled)
	out := make([]float64, 0, len(t)/every+1)
	for i := 1; i < len(t); i += every {
		if d := t[i] - t[i-1]; d > 0 {
			out = append(out, d)
		}
	}
	return out
}

// medianStep is the median of the positive time steps; 0 without any.
func medianStep(t []float64) float64 {
	s := steps(t)
	if len(s) == 0 {
		return 0
	}
	return median(s)
}

// median is the [middle] of values in any order, which it puts into another: only the part
// that holds the middle is sorted on (C. A. R. Hoare, Algorithm 65: Find, 1961).
func median(s []float64) float64 {
	k := len(s) / 2
	lo, hi := 0, len(s)-1
	for rounds := 0; lo < hi; rounds++ {
		// Halving takes some 17 rounds; values made to defeat it shall not cost more than sorting.
		if rounds == 60 {
			slices.Sort(s[lo : hi+1])
			break
		}
		pivot := s[lo+(hi-lo)/2]
		i, j := lo, hi
		for i <= j {
			for s[i] < pivot {
				i++
			}
			for s[j] > pivot {
				j--
			}
			if i <= j {
				s[i], s[j] = s[j], s[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			lo = hi
		}
	}
	if len(s)%2 == 1 {
		return s[k]
	}
	return (slices.Max(s[:k]) + s[k]) / 2
}

// middle is the median of sorted values.
func middle(s []float64) float64 {
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}

// timing tells the rate, its jitter and the gaps of increasing times. least is the
// shortest hole that is called a gap, seconds.
func timing(t []float64, least float64) (rateHz, jitterS float64, gaps []Gap) {
	s := steps(t)
	if len(s) == 0 {
		return 0, 0, nil
	}
	step := median(s)
	for i := range s {
		s[i] = math.Abs(s[i] - step)
	}
	// 1.4826 times the median absolute deviation is the standard deviation of normal values.
	jitterS = 1.4826 * median(s)
	for i := 1; i < len(t); i++ {
		if d := t[i] - t[i-1]; d > least && d > 3*step {
			gaps = append(gaps, Gap{FromS: t[i-1], ToS: t[i]})
		}
	}
	return 1 / step, jitterS, gaps
}

// spread gives samples that share one time stamp their own: a clock coarser than the
// sensor, or samples stamped by the packet. They are laid evenly up to the next stamp.
func spread(t []float64) {
	var usual []float64 // steps within a stamp
	for i := 0; i < len(t); {
		j := i + 1
		for j < len(t) && t[j] == t[i] {
			j++
		}
		if j < len(t) && t[j] > t[i] && len(usual) < sampled {
			usual = append(usual, (t[j]-t[i])/float64(j-i))
		}
		i = j
	}
	if len(usual) == 0 {
		return
	}
	slices.Sort(usual)
	typical := middle(usual)
	for i := 0; i < len(t); {
		j := i + 1
		for j < len(t) && t[j] == t[i] {
			j++
		}
		step := typical // at a gap and at the end the next stamp does not tell
		if j < len(t) && t[j] > t[i] {
			step = math.Min(step*1.5, (t[j]-t[i])/float64(j-i))
		}
		start := t[i]
		for k := i; k < j; k++ {
			t[k] = start + step*float64(k-i)
		}
		i = j
	}
}
