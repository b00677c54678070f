package detect

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"groundline/trace"
)

// reading is one piece of a recording and what is found in it.
type reading struct {
	p       *piece
	w       []gaitWin
	gaits   []Gait // of each window
	c       *canterPath
	canters [][]step
}

// run finds the events of pieces of one ride, which has one size of each gait and one rhythm. first is the number of the first piece.
func run(ev *Events, pieces []*piece, o Options, first int) {
	rs := make([]*reading, len(pieces))
	var all []gaitWin
	for i, p := range pieces {
		rs[i] = &reading{p: p, w: p.windows(p.t0, p.at(float64(p.n-1)))}
		all = append(all, rs[i].w...)
	}
	size, gaits := learnSizes(all)
	for _, r := range rs {
		r.gaits, gaits = gaits[:len(r.w)], gaits[len(r.w):]
	}
	findCanters(rs, size, o)
	hz, level, repeats, doubt := unfit(rs, size)
	for i, r := range rs {
		r.tell(ev, size, o, first+i, doubt)
	}
	ev.Notes = append(ev.Notes, noteFit(rs, size, hz, level, repeats)...)
}

const (
	// weakG is the root mean square of a canter's wave, g, below which it is no more than a walking person's bag shows: a canter on a
	// trunk moves it by 0.35 g and more, people walking by 0.2 to 0.44 g.
	weakG = 0.3
	// strongG is more than any horse's canter shows, made ones on the hardest pads and arms included (0.4 to 1.15 g).
	strongG = 1.3
	// unfitNats is the cost from which a window fits no gait: three standard deviations in size, or two in both size and place of
	// the wave; unfitS is how long that must last to be worth a word, and movingLevel the size from which anything moves.
	unfitNats   = 4.5
	unfitS      = 15.0
	movingLevel = 0.0
	// mostWalk is by how much a walk's wave may be larger than the usual one's, of the ln of the power: two of carrySD and walkSD
	// together.
	mostWalk = 2.3
)

// inCanter tells whether a moment lies in one of the canters found, or beside one.
func (r *reading) inCanter(t float64) bool {
	for _, path := range r.canters {
		if t > r.c.pk[path[0].k].t-winS && t < r.c.pk[path[len(path)-1].k].t+winS {
			return true
		}
	}
	return false
}

// unfit are the windows in which something moves, but as no gait does: the frequency and size of their strongest wave and its
// share of the power. doubt is what that takes from each jump, nats: what was not understood for a large part of the time is not
// trusted in the rest.
func unfit(rs []*reading, size gaitSizes) (hz, level, repeats []float64, doubt float64) {
	moving := 0
	for _, r := range rs {
		for i, w := range r.w {
			if w.level < movingLevel {
				continue
			}
			moving++
			least := math.Inf(1)
			for _, g := range [...]Gait{Walk, Trot, Canter} {
				least = math.Min(least, gaitCost(w, g, size))
			}
			// no gait's size and place, a canter's without its even beats, or a walk larger than any horse's on any carrying
			evenly := r.gaits[i] != Canter || r.inCanter(w.t)
			if large := r.gaits[i] == Walk && w.level > usualSizes.walk+mostWalk; least < unfitNats && evenly && !large {
				continue
			}
			f := w.peakHz
			if w.powHigh > w.powLow {
				f = w.trotHz
			}
			hz, level = append(hz, f), append(level, w.level)
			repeats = append(repeats, math.Max(w.powLow, w.powHigh)/(w.powLow+w.powHigh))
		}
	}
	if share := float64(len(hz)) / math.Max(1, float64(moving)); share > unfitFree && float64(len(hz))*winHopS >= unfitS {
		doubt = unfitDoubt * (share - unfitFree)
	}
	return hz, level, repeats, doubt
}

// The share of the moving time that may fit no gait before jumps are doubted, and the nats that all of it takes from each.
const (
	unfitFree  = 0.05
	unfitDoubt = 40
)

// noteFit says where the wave is weak or fits no gait, and what was seen of it.
func noteFit(rs []*reading, size gaitSizes, hz, level, repeats []float64) (out []trace.Note) {
	const mount = "fix the sensor tight, at the girth or the saddle, where it neither swings nor slips"
	canterS := 0.0
	for _, r := range rs {
		for _, path := range r.canters {
			canterS += r.c.pk[path[len(path)-1].k].t - r.c.pk[path[0].k].t
		}
	}
	g := math.Exp(size.canter/2) / gravityMS2
	if canterS > 0 && g > strongG {
		out = append(out, trace.Note{Level: "caution", What: "the canter's wave is larger than a horse's",
			Why: fmt.Sprintf("%.1f g: a limb, or a sensor that knocks; %s", g, mount)})
	}
	if canterS > 0 && g < weakG {
		out = append(out, trace.Note{Level: "caution", What: "the canter's wave is weak",
			Why: fmt.Sprintf("%.2f g, where a horse's trunk moves by 0.35 g and more: a wrist, a loose pocket or a bag; %s", g, mount)})
	}
	if s := float64(len(hz)) * winHopS; s >= unfitS {
		out = append(out, trace.Note{Level: "caution", What: fmt.Sprintf("for %.0f s the motion fits no gait", s),
			Why: fmt.Sprintf("its strongest wave has %.1f Hz, %.2f g and %.0f %% of the power; %s", median(hz), math.Exp(median(level)/2)/gravityMS2, 100*median(repeats), mount)})
	}
	return out
}

// tell adds what was found in a piece to the events.
func (r *reading) tell(ev *Events, size gaitSizes, o Options, no int, doubt float64) {
	p, c, canters := r.p, r.c, r.canters
	cands := p.judge(ev, c, canters, gainOf(o.MinConfidence))
	for i := range cands {
		cands[i].gain -= doubt
	}
	p.addYaw(ev)
	first := len(ev.Gaits)
	p.addGaits(ev, c, canters, size)
	strides := len(ev.Strides)
	p.addCanters(ev, c, canters, cands)
	p.addLeadWaves(ev.Strides[strides:])
	if c != nil {
		ev.paths = append(ev.paths, c.light())
	}
	end := p.at(float64(p.n - 1))
	for i := strides; i < len(ev.Strides); i++ {
		s := &ev.Strides[i]
		s.FromS, s.ToS = math.Max(p.t0, s.FromS), math.Min(end, s.ToS)
	}
	for _, g := range ev.Gaits[first:] {
		if g.Gait == Walk || g.Gait == Trot {
			p.addWaves(ev, r.w, g)
		}
	}
}

// findCanters decodes the load peaks of all pieces into beats and jumps; it sets no path where no canter can be.
func findCanters(rs []*reading, size gaitSizes, o Options) {
	var times, amps []float64
	for _, r := range rs {
		for i, g := range r.gaits {
			if g == Canter {
				times = append(times, 1/r.w[i].peakHz)
				amps = append(amps, math.Sqrt(2*r.w[i].powLow))
			}
		}
	}
	// two seconds' worth of windows that look like a canter
	if float64(len(times))*winHopS < 2 {
		return
	}
	amp, T := median(amps), median(times)
	usual := rhythm{strideS: func(float64) float64 { return T }, sd: strideSDRaw, prom: 1.8 * amp, high: amp,
		// of a plain wave: half of it lies below the half, and its middle third at 0.83 of its depth
		width: T / 2, widthSD: 2 * minWidthSD, level: -0.83 * amp, levelSD: 0.3 * amp,
		beatPhase: usualBeatPhase, toPush: usualToPush, fromLand: usualFromLand, placeSD: placeSDRaw}
	if prom := beatPeaks(rs, T, 0.15*amp); prom > 0 {
		usual.prom = prom
	}
	for _, r := range rs {
		r.c.r = usual
	}
	// a jump must be so much likelier than none that it reaches the confidence asked for
	extra := gainOf(o.MinConfidence)
	for pass, last, crowd := 0, 3, 0.0; pass <= last; pass++ {
		if pass > 0 {
			usual = learn(rs, usual)
		}
		var canters [][]step
		for _, r := range rs {
			c := r.c
			c.r = usual
			switch {
			case pass == 0:
				// the strides are learnt first, without any jump: else a wave of two peaks a stride could be read as
				// jumps all the way
				c.jump = func(int, int) float64 { return math.Inf(1) }
			default:
				c.jump = func(j, k int) float64 { return c.shape(j, k) + extra + crowd }
			}
			c.node = r.nodeCosts(size, c.r)
			c.solve()
			r.canters = c.best()
			canters = append(canters, r.canters...)
		}
		if pass == last && tooManyJumps(canters) && crowd < 12 {
			// what jumps all the way is no horse, or its strides are misread
			crowd += 4
			last++
		}
	}
}

// mostInARow is how many efforts a gymnastic line has at most (common practice: up to six).
const mostInARow = 6

// tooManyJumps tells whether a canter jumps more often than every third stride, beyond a gymnastic line.
func tooManyJumps(canters [][]step) bool {
	jumps, beats := 0, 0
	for _, path := range canters {
		for _, s := range path {
			switch s.part {
			case beat:
				beats++
			case land, bounce:
				jumps++
			}
		}
	}
	return jumps > mostInARow && 3*jumps > beats
}

// nodeCosts say how much each peak looks like a canter's: by the gait of the window around it, on its own and among its neighbours,
// and by its prominence.
func (r *reading) nodeCosts(size gaitSizes, is rhythm) []float64 {
	out := make([]float64, len(r.c.pk))
	if len(r.w) == 0 {
		return out
	}
	for k, q := range r.c.pk {
		i := max(0, min(len(r.w)-1, int(math.Round((q.t-r.p.t0)/winHopS))))
		g := r.w[i]
		other := math.Min(gaitCost(g, Halt, size), math.Min(gaitCost(g, Walk, size), gaitCost(g, Trot, size)))
		c := math.Max(-3, math.Min(3, gaitCost(g, Canter, size)-other))
		if r.gaits[i] == Canter {
			c = math.Min(c, amidCanter)
		}
		out[k] = c + promCost(q, is)
	}
	return out
}

// amidCanter is what a window amid canter speaks for it at least, nats.
const amidCanter = -2

// promCost is the cost of taking a peak that hardly stands out for a beat.
func promCost(q peak, r rhythm) float64 {
	return math.Min(6, gaussCost(math.Max(0, 0.5-q.prom/r.prom)/0.15))
}

// addCanters turns canter paths into beats, strides and jumps.
func (p *piece) addCanters(ev *Events, c *canterPath, canters [][]step, cands []candidate) {
	gains := map[[2]int]float64{}
	for _, x := range cands {
		gains[[2]int{x.push, x.land}] = x.gain
	}
	for _, path := range canters {
		for i, s := range path {
			q := c.pk[s.k]
			T, beatPhase := c.r.strideS(q.t), c.r.beatPhase
			switch s.part {
			case beat:
				st := Stride{Gait: Canter, FromS: q.t - beatPhase*T, ToS: q.t + (1-beatPhase)*T}
				if i > 0 && path[i-1].part == beat {
					prev := &ev.Strides[len(ev.Strides)-1]
					if s.unseen {
						half := (ev.BeatS[len(ev.BeatS)-1] + q.t) / 2
						ev.BeatS = append(ev.BeatS, half)
						mid := Stride{Gait: Canter, FromS: half - beatPhase*T, ToS: st.FromS}
						prev.ToS = mid.FromS
						ev.Strides = append(ev.Strides, mid)
					} else {
						// hind contact where the beats' own spacing puts it
						at := q.t - beatPhase*(q.t-c.pk[path[i-1].k].t)
						if l := c.lull(path[i-1].k, s.k); l.ok {
							at = math.Min((l.fall.t+l.rise.t)/2+hindAfterMid*T, q.t)
						}
						at = math.Max(at, prev.FromS+0.3*T)
						prev.ToS, st.FromS = at, at
					}
				} else if i > 0 && path[i-1].part == land {
					st.FromS = ev.Jumps[len(ev.Jumps)-1].LandingS.Value + hindAfterLandingS
					if st.FromS > q.t-0.1 || st.FromS < q.t-0.9*T {
						st.FromS = q.t - beatPhase*T
					}
				}
				ev.BeatS = append(ev.BeatS, q.t)
				ev.Strides = append(ev.Strides, st)
			case push, bounce:
				if i+1 >= len(path) {
					continue
				}
				pair := [2]int{s.k, path[i+1].k}
				j := p.jumpOf(c, pair[0], pair[1], gains[pair])
				delete(gains, pair)
				if i > 0 && path[i-1].part == beat {
					prev := &ev.Strides[len(ev.Strides)-1]
					prev.ToS = math.Max(prev.FromS+0.5*T, j.TakeoffS.Value-hindBeforeTakeoffS)
				}
				ev.Jumps = append(ev.Jumps, j)
			}
		}
	}
	for _, x := range cands {
		if _, left := gains[[2]int{x.push, x.land}]; left {
			ev.Jumps = append(ev.Jumps, p.jumpOf(c, x.push, x.land, x.gain))
		}
	}
}

// shortGait is the gait of a stretch too short to tell: that before it, a halt where there is none.
func shortGait(before []Span) Gait {
	if len(before) == 0 {
		return Halt
	}
	return before[len(before)-1].Gait
}

// jumpOf makes a jump of two peaks.
func (p *piece) jumpOf(c *canterPath, j, k int, gain float64) Jump {
	out := Jump{PushPeakS: c.pk[j].t, LandPeakS: c.pk[k].t, Confidence: confidence(gain)}
	out.TakeoffS, out.LandingS = p.timeJump(c.pk[j], c.pk[k], c.r)
	return out
}

// Limits of what is told of a candidate that is no jump of the canters found: from one chance in ten it is a doubtful
// jump; below, it is a rejected one if at least its shape speaks for a jump rather than a stride (nats of shapeCost,
// which costs 5 to overcome).
const (
	doubtfulGain = -6.1 // gainOf(0.1)
	likeJump     = 3
)

// judge lists the jumps of the canters found and the doubtful candidates in them, and
// records those that only looked like one. extra is what was added to the cost of a jump.
func (p *piece) judge(ev *Events, c *canterPath, canters [][]step, extra float64) []candidate {
	if len(canters) == 0 {
		return nil
	}
	var out []candidate
	var flights [][2]int
	between := 0 // neither jumps nor clearly none
	for _, path := range canters {
		for i, s := range path {
			if s.part.up() && i+1 < len(path) {
				land := path[i+1].k
				flights = append(flights, [2]int{s.k, land})
				out = append(out, candidate{s.k, land, c.jumpGain(s.k, land) + extra})
			}
		}
	}
	inCanter := func(t float64) bool {
		for _, path := range canters {
			if t > c.pk[path[0].k].t-1 && t < c.pk[path[len(path)-1].k].t+1 {
				return true
			}
		}
		return false
	}
	for _, x := range c.candidates(-40 - math.Abs(extra)) {
		x.gain += extra
		a, b := c.pk[x.push], c.pk[x.land]
		clear := inCanter(a.t) && inCanter(b.t)
		for _, f := range flights {
			clear = clear && (x.land < f[0] || x.push > f[1])
		}
		switch {
		case !clear:
		case x.gain >= doubtfulGain:
			out = append(out, x)
			between++
		case c.shape(x.push, x.land) < likeJump:
			ev.Rejected = append(ev.Rejected, Rejected{AtS: a.t, Rule: "looks like a jump, but the strides go on through it", Found: x.gain, Limit: doubtfulGain})
		}
	}
	// Jumps stand apart from strides. Where many candidates lie in between, the wave's own unevenness reaches up to the jumps, and
	// what passes for one says less: as in a false discovery rate, by the logarithm of how many there are.
	for i := range out {
		if out[i].gain < 5 {
			between++
		}
	}
	kept := out[:0]
	for _, x := range out {
		x.gain -= crowdCost * math.Log1p(math.Max(0, float64(between-crowdFree))/2)
		if x.gain >= doubtfulGain || flown(flights, x) {
			kept = append(kept, x)
		}
	}
	return kept
}

// flown tells whether a candidate is one of the flights of the canters found.
func flown(flights [][2]int, x candidate) bool {
	return slices.Contains(flights, [2]int{x.push, x.land})
}

// What a crowd of doubtful candidates takes from each: nats for each e-fold, beyond a few that any ride may have.
const (
	crowdCost = 3.0
	crowdFree = 3
)

// addGaits lays canters where their strides are, and elsewhere the likeliest of the other gaits.
func (p *piece) addGaits(ev *Events, c *canterPath, canters [][]step, size gaitSizes) {
	end := p.at(float64(p.n - 1))
	var spans []Span
	at := p.t0
	for _, path := range canters {
		a, b := c.pk[path[0].k].t, c.pk[path[len(path)-1].k].t
		a = math.Max(at, a-c.r.beatPhase*c.r.strideS(a))
		b = math.Min(end, b+(1-c.r.beatPhase)*c.r.strideS(b))
		spans = append(spans, Span{Canter, a, b})
		at = b
	}
	first := len(ev.Gaits)
	add := func(g Gait, a, b float64) {
		if b <= a {
			return
		}
		if n := len(ev.Gaits); n > first {
			a = ev.Gaits[n-1].ToS // the same moment but for rounding
			if ev.Gaits[n-1].Gait == g {
				ev.Gaits[n-1].ToS = b
				return
			}
		}
		ev.Gaits = append(ev.Gaits, Span{g, a, b})
	}
	// each stretch between canters is told on its own, by windows that hold nothing of the canters
	fill := func(a, b float64) {
		if b <= a {
			return
		}
		w := p.windows(a, b)
		if len(w) == 0 {
			add(shortGait(ev.Gaits[first:]), a, b)
			return
		}
		for i, g := range gaitPath(len(w), []Gait{Halt, Walk, Trot}, func(i int, g Gait) float64 { return gaitCost(w[i], g, size) }) {
			from, to := w[i].t-winHopS/2, w[i].t+winHopS/2
			if i == 0 {
				from = a
			}
			if i == len(w)-1 {
				to = b
			}
			add(g, from, to)
		}
	}
	at = p.t0
	for _, s := range spans {
		fill(at, s.FromS)
		add(Canter, s.FromS, s.ToS)
		at = s.ToS
	}
	fill(at, end)
	p.sharpen(ev.Gaits[first:])
}

// finish brings the events of all pieces into time order and draws the sums.
func (e *Events) finish() {
	// pieces cut for their length follow on
	spans := e.Gaits[:0]
	for _, g := range e.Gaits {
		if n := len(spans); n > 0 && g.FromS-spans[n-1].ToS < 2*stepS {
			spans[n-1].ToS = g.FromS
			if spans[n-1].Gait == g.Gait {
				spans[n-1].ToS = g.ToS
				continue
			}
		}
		spans = append(spans, g)
	}
	e.Gaits = spans
	sort.SliceStable(e.Rejected, func(i, j int) bool { return e.Rejected[i].AtS < e.Rejected[j].AtS })
	sort.SliceStable(e.Strides, func(i, j int) bool { return e.Strides[i].FromS < e.Strides[j].FromS })
	// where a canter is lost and found again, or a trot becomes one, the last stride's end is a guess: the next
	// one's beginning is better
	kept := e.Strides[:0]
	for _, s := range e.Strides {
		if n := len(kept); n > 0 && kept[n-1].ToS > s.FromS {
			kept[n-1].ToS = s.FromS
			if kept[n-1].ToS <= kept[n-1].FromS {
				kept = kept[:n-1]
			}
		}
		kept = append(kept, s)
	}
	e.Strides = kept
	sort.SliceStable(e.Jumps, func(i, j int) bool { return e.Jumps[i].PushPeakS < e.Jumps[j].PushPeakS })
	e.StrideS = e.usualStride()
	e.sets = findSets(e.Strides)
	SettleLeads(e, e.Turns())
}

// usualStride is the mean time from beat to beat in plain canter, nil with fewer than eight such
// strides. Its doubt comes from means of eight strides each, because neighbours are alike.
func (e *Events) usualStride() *trace.Estimate {
	const block = 8
	var means []float64
	var sum float64
	n := 0
	for _, s := range e.Strides {
		if s.Gait != Canter {
			continue
		}
		sum += s.ToS - s.FromS
		if n++; n%block == 0 {
			means = append(means, sum/block)
			sum = 0
		}
	}
	if len(means) == 0 {
		return nil
	}
	var m, ss float64
	for _, x := range means {
		m += x / float64(len(means))
	}
	for _, x := range means {
		ss += (x - m) * (x - m)
	}
	// one block alone: a horse's own spread of 2 % from stride to stride (Equine Veterinary Journal 1980; 12: 60-65)
	// and as much again for its pace
	sd := 0.04 * m
	if len(means) > 1 {
		sd = math.Max(0.002, math.Sqrt(ss/float64(len(means)-1)/float64(len(means))))
	}
	est := trace.FromSD(m, sd)
	return &est
}

// maxPeaks are the high peaks a stride that still count as one: jumps, leaps and breaks add some.
const maxPeaks = 1.15

// mostUneven is the spread of one stride's time, as a share, from which the peaks are no beats: a horse's own is 0.02 (Yamanobe et al.
// 1992), and an uneven canter with a sensor's noise is left room.
const mostUneven = 0.1

// beatPeaks are the load's peaks on a wave that is smooth enough for a canter to have one peak a stride. A canter's load may
// well have two or three peaks a stride; its first harmonic has one. Smoothing costs the short flights of low jumps and
// bounces their depth, so that no more is done than this ride's canter asks for.
func beatPeaks(rs []*reading, strideS, minProm float64) (usualProm float64) {
	canterS := 0.0
	for _, r := range rs {
		for _, g := range r.gaits {
			if g == Canter {
				canterS += winHopS
			}
		}
	}
	n := canterS / strideS
	for _, part := range [...]float64{0, 0.05, 0.08, 0.11, 0.14} {
		var proms, apart []float64
		for _, r := range rs {
			p := r.p
			x := p.load
			if part > 0 {
				x = smooth(p.load, part*strideS)
			}
			r.c = &canterPath{pk: p.peaksOf(x, 0, p.n, minProm), entry: enterCost, p: p, lulls: map[[2]int]lull{}}
			for _, q := range r.c.pk {
				if len(r.w) > 0 && r.gaits[max(0, min(len(r.w)-1, int(math.Round((q.t-p.t0)/winHopS))))] == Canter {
					proms = append(proms, q.prom)
				}
			}
		}
		sort.Sort(sort.Reverse(sort.Float64Slice(proms)))
		if len(proms) == 0 || float64(len(proms)) < n {
			return 0
		}
		usualProm = proms[int(n/2)]
		for _, r := range rs {
			last := math.Inf(-1)
			for _, q := range r.c.pk {
				if q.prom < 0.5*usualProm {
					continue
				}
				if d := (q.t - last) / strideS; d > 0.6 && d < 1.5 {
					apart = append(apart, d)
				}
				last = q.t
			}
		}
		// peaks a third as prominent as a usual beat; and of twin peaks now the one is the higher, now the other
		high := sort.Search(len(proms), func(i int) bool { return proms[i] < 0.35*usualProm })
		if float64(high) < maxPeaks*n && (len(apart) < 4 || spreadOf(apart) < mostUneven) {
			break
		}
	}
	return usualProm
}
