package validate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundline/report"
	"groundline/trace"
)

// Pair is one label beside what the debrief found of it. Where one of the two is missing, the label was not found or
// the finding not labelled.
type Pair struct {
	Ride     string
	Horse    string
	Mounting string // as given; the debrief's basis where nobody said
	Kind     string // takeoff, landing, flight, contact, stride time, strides, gait, lead, refusal, runout
	At       string // obstacle or line
	Attempt  int
	Rater    string
	Label    string // file:line; "" for what nobody labelled
	Sure     float64
	// Seen is the label's figure: seconds on the ride's clock, seconds or strides; nil where not labelled.
	Seen *float64
	// Found is the debrief's; nil where it found none.
	Found *trace.Estimate
	// SeenIs and FoundIs are a gait's or lead's names, each with the seconds it stands for in WeightS.
	SeenIs, FoundIs string
	WeightS         float64
}

// RideInput is one ride to judge.
type RideInput struct {
	Name     string // of the ride
	Horse    string
	Mounting string // "" where nobody said
	Debrief  *report.Debrief
	Labels   []Label
	OffsetS  *float64 // of the film's clock, where known
	FPS      float64  // 0 where not said
}

// Judged is a ride's labels paired with its debrief.
type Judged struct {
	Name  string
	Clock *Clock // nil where no label has a time
	FPS   float64
	Pairs []Pair
	// Horse and Mounting as in the input, filled in from the debrief where not given.
	Horse, Mounting string
}

const (
	// eventS is how far apart a label and a finding of one named effort may lie and still be that effort's: half the
	// shortest time from one take-off to the next (a bounce takes some 0.9 s).
	eventS = 0.45
	// contactS is half a canter stride of 0.6 s, beyond which a contact is another stride's.
	contactS = 0.25
	// refusalS is how far apart two people would place a refusal.
	refusalS = 5.0
	// gaitEdgeS around a change of gait is nobody's: a transition takes about a stride.
	gaitEdgeS = 0.6
	gaitStepS = 0.1
)

// Ride pairs the labels of one ride with its debrief. Labels of several raters are paired one by one. The error is a
// [*ClockError] where labels have times and the film's clock can't be matched.
func Ride(in RideInput) (*Judged, error) {
	d := in.Debrief
	j := &Judged{Name: in.Name, FPS: in.FPS, Horse: in.Horse, Mounting: in.Mounting}
	if j.Horse == "" && d.Horse.Name != nil {
		j.Horse = *d.Horse.Name
	}
	if j.Mounting == "" {
		j.Mounting = d.Basis
	}
	if err := belong(in.Labels, d); err != nil {
		return nil, err
	}
	var clock *clocked
	if slices.ContainsFunc(in.Labels, func(l Label) bool { return l.TimeS != nil }) {
		c, err := Match(in.Labels, d, in.OffsetS)
		if err != nil {
			return nil, err
		}
		j.Clock, clock = c, newClocked(in.Labels, d, c)
	}
	for _, rater := range ratersOf(in.Labels) {
		p := pairer{j: j, d: d, clock: clock, rater: rater, labels: in.Labels}
		for i, l := range in.Labels {
			if l.Rater == rater {
				p.mine = append(p.mine, i)
			}
		}
		p.efforts(Takeoff)
		p.efforts(Landing)
		p.contacts()
		p.counts()
		p.gaits()
		p.leads()
		p.disobediences(Refusal, "refused")
		p.disobediences(RunOut, "ran out")
	}
	return j, nil
}

// belong refuses labels that name hardly an obstacle or line that the ride has.
func belong(labels []Label, d *report.Debrief) error {
	known := map[string]bool{}
	for _, e := range d.Efforts {
		if e.Obstacle != nil {
			known[*e.Obstacle] = true
		}
	}
	if d.Plan != nil {
		for _, o := range d.Plan.Obstacles {
			known[o.ID] = true
		}
	}
	for _, l := range d.Lines {
		known[l.From], known[l.To] = true, true
	}
	named, off := 0, 0
	var first Label
	for _, l := range labels {
		for _, id := range []string{l.Obstacle, l.From, l.To} {
			if id == "" {
				continue
			}
			if named++; !known[id] {
				if off++; off == 1 {
					first = l
				}
			}
		}
	}
	if off > 0 && 2*off > named {
		return Fault{File: first.File, Line: first.Row, Field: "obstacle",
			Found:    fmt.Sprintf("%d of %d obstacles named are not of this ride", off, named),
			Expected: "labels of this ride and its course"}
	}
	return nil
}

func ratersOf(labels []Label) []string {
	var out []string
	for _, l := range labels {
		if !slices.Contains(out, l.Rater) {
			out = append(out, l.Rater)
		}
	}
	slices.Sort(out)
	return out
}

type pairer struct {
	j      *Judged
	d      *report.Debrief
	clock  *clocked
	rater  string
	labels []Label
	mine   []int // this rater's
}

func (p *pairer) add(x Pair, l *Label) {
	x.Ride, x.Horse, x.Mounting, x.Rater = p.j.Name, p.j.Horse, p.j.Mounting, p.rater
	x.Sure = 1
	if l != nil {
		x.Label, x.Sure = l.at(), l.Sure
		if x.Attempt == 0 {
			x.Attempt = l.Attempt
		}
	}
	p.j.Pairs = append(p.j.Pairs, x)
}

// of are this rater's labels of an event, by time.
func (p *pairer) of(event string) []int {
	var out []int
	for _, i := range p.mine {
		if p.labels[i].Event == event {
			out = append(out, i)
		}
	}
	return out
}

// efforts pairs take-offs or landings in order, one to one. Findings between the first and last label that nobody
// labelled are pairs without a label.
func (p *pairer) efforts(event string) {
	of := p.of(event)
	if len(of) == 0 {
		return
	}
	seen := make([]float64, len(of))
	for k, i := range of {
		seen[k] = p.clock.rideS(i, *p.labels[i].TimeS)
	}
	order(of, seen)
	var found []float64
	var which []int
	for k, e := range p.d.Efforts {
		at := e.TakeoffS
		if event == Landing {
			at = e.LandingS
		}
		if at != nil && e.Outcome != "refused" && e.Outcome != "ran out" {
			found, which = append(found, at.Value), append(which, k)
		}
	}
	taken := map[int]bool{}
	partner := map[int]int{}
	for _, ab := range inOrder(seen, found, eventS) {
		partner[ab[0]] = ab[1]
		taken[ab[1]] = true
	}
	for k, i := range of {
		x := Pair{Kind: event, At: p.labels[i].Obstacle, Seen: &seen[k]}
		if f, ok := partner[k]; ok {
			e := p.d.Efforts[which[f]]
			x.Found = e.TakeoffS
			if event == Landing {
				x.Found = e.LandingS
			}
			if x.At == "" && e.Obstacle != nil {
				x.At = *e.Obstacle
			}
		}
		p.add(x, &p.labels[i])
	}
	for f, t := range found {
		if !taken[f] && t > seen[0]-eventS && t < seen[len(seen)-1]+eventS {
			e := p.d.Efforts[which[f]]
			x := Pair{Kind: event, Found: e.TakeoffS, Attempt: e.Attempt}
			if event == Landing {
				x.Found = e.LandingS
			}
			if e.Obstacle != nil {
				x.At = *e.Obstacle
			}
			p.add(x, nil)
		}
	}
}

// order sorts label indices and their times by time.
func order(of []int, t []float64) {
	for i := 1; i < len(t); i++ {
		for k := i; k > 0 && t[k] < t[k-1]; k-- {
			t[k], t[k-1], of[k], of[k-1] = t[k-1], t[k], of[k-1], of[k]
		}
	}
}

// contacts pairs hind contacts with the beginnings of counted strides, and each stride between two contacts with the
// stride found.
func (p *pairer) contacts() {
	of := p.of(Contact)
	if len(of) == 0 {
		return
	}
	seen := make([]float64, len(of))
	for k, i := range of {
		seen[k] = p.clock.rideS(i, *p.labels[i].TimeS)
	}
	order(of, seen)
	var found []float64
	for _, s := range p.d.Strides {
		if s.Gait == "canter" {
			found = append(found, s.FromS)
		}
	}
	slices.Sort(found)
	partner := map[int]int{}
	for _, ab := range inOrder(seen, found, contactS) {
		partner[ab[0]] = ab[1]
	}
	for k, i := range of {
		l := &p.labels[i]
		x := Pair{Kind: Contact, At: where(*l), Seen: &seen[k]}
		f, ok := partner[k]
		if ok {
			x.Found = exact(found[f])
		}
		p.add(x, l)
		if g, next := partner[k+1]; ok && next && g == f+1 && found[g]-found[f] < 1.2 {
			dt := *p.labels[of[k+1]].TimeS - *l.TimeS
			if p.clock != nil {
				dt = seen[k+1] - seen[k]
			}
			p.add(Pair{Kind: "stride time", At: where(*l), Seen: &dt, Found: exact(found[g] - found[f])}, l)
		}
	}
}

func where(l Label) string {
	if l.From != "" {
		return l.Line()
	}
	return l.Obstacle
}

// exact is a figure without an interval of its own.
func exact(v float64) *trace.Estimate {
	e := trace.Exactly(v)
	return &e
}

// counts pairs the strides of lines by line and attempt; without an attempt, in order.
func (p *pairer) counts() {
	used := map[int]bool{}
	for _, i := range p.of(Strides) {
		l := &p.labels[i]
		n := float64(*l.Count)
		x := Pair{Kind: Strides, At: l.Line(), Seen: &n}
		for k, d := range p.d.Lines {
			if used[k] || d.From != l.From || d.To != l.To || l.Attempt != 0 && d.Attempt != l.Attempt {
				continue
			}
			used[k] = true
			x.Found, x.Attempt = d.Strides, d.Attempt
			break
		}
		p.add(x, l)
	}
}

// gaits compares the gaits by tenths of a second between the first label and the last, leaving out the moments of
// change.
func (p *pairer) gaits() {
	of := p.of(Gait)
	if len(of) < 2 {
		return
	}
	at := make([]float64, len(of))
	for k, i := range of {
		at[k] = p.clock.rideS(i, *p.labels[i].TimeS)
	}
	order(of, at)
	for k := 0; k+1 < len(of); k++ {
		l := &p.labels[of[k]]
		share := map[string]float64{}
		for t := at[k] + gaitEdgeS; t < at[k+1]-gaitEdgeS; t += gaitStepS {
			is := ""
			for _, g := range p.d.Gaits {
				if t >= g.FromS && t < g.ToS {
					is = g.Gait
				}
			}
			share[is] += gaitStepS
		}
		for _, is := range []string{"halt", "walk", "trot", "canter", ""} {
			if s := share[is]; s > 0 {
				p.add(Pair{Kind: Gait, SeenIs: l.Value, FoundIs: is, WeightS: s}, l)
			}
		}
	}
}

// leads compares each label of a lead with that of the strides from its time on, or with that after its obstacle.
func (p *pairer) leads() {
	for _, i := range p.of(Lead) {
		l := &p.labels[i]
		x := Pair{Kind: Lead, At: where(*l), SeenIs: l.Value, WeightS: 1}
		if l.TimeS != nil {
			t := p.clock.rideS(i, *l.TimeS)
			x.Seen = &t
			for _, s := range p.d.Strides {
				if s.Gait == "canter" && t >= s.FromS-0.1 && t < s.ToS+0.1 && s.Lead != nil {
					x.FoundIs = *s.Lead
				}
			}
		} else {
			n := 0
			for _, e := range p.d.Efforts {
				if e.Obstacle == nil || *e.Obstacle != l.Obstacle {
					continue
				}
				if n++; (l.Attempt == 0 && n == 1 || l.Attempt == e.Attempt) && e.LeadOut != nil {
					x.FoundIs = *e.LeadOut
				}
			}
		}
		p.add(x, l)
	}
}

// disobediences pairs refusals or run-outs by obstacle, and by time where the labels have one.
func (p *pairer) disobediences(event, outcome string) {
	used := map[int]bool{}
	of := p.of(event)
	for _, i := range of {
		l := &p.labels[i]
		x := Pair{Kind: event, At: l.Obstacle}
		one := 1.0
		x.Seen = &one
		for k, e := range p.d.Efforts {
			if used[k] || e.Outcome != outcome || e.Obstacle == nil || *e.Obstacle != l.Obstacle {
				continue
			}
			if l.TimeS != nil && e.TakeoffS != nil && math.Abs(p.clock.rideS(i, *l.TimeS)-e.TakeoffS.Value) > refusalS {
				continue
			}
			used[k] = true
			x.Found, x.Attempt = exact(1), e.Attempt
			break
		}
		p.add(x, l)
	}
	if len(p.of(Refusal))+len(p.of(RunOut)) == 0 {
		return // this rater labelled none of these
	}
	for k, e := range p.d.Efforts {
		if !used[k] && e.Outcome == outcome && e.Obstacle != nil {
			p.add(Pair{Kind: event, At: *e.Obstacle, Attempt: e.Attempt, Found: exact(1)}, nil)
		}
	}
}

// inOrder pairs two lists of instants, each in time order, so that no pair crosses another and none is further apart
// than windowS: as many pairs as can be, and among these the least sum of distances.
func inOrder(a, b []float64, windowS float64) [][2]int {
	n, m := len(a), len(b)
	// Far apart events can't meet, so each row needs only the band of b near a[i]; rows are cut where no pair is
	// possible, which keeps long days linear.
	var pairs [][2]int
	for i, j := 0, 0; i < n; {
		// the block of a and b that hang together
		for j < m && b[j] < a[i]-windowS {
			j++
		}
		ie, je := i+1, j
		reach := a[i] + windowS
		for {
			grew := false
			for je < m && b[je] <= reach {
				reach = max(reach, b[je]+windowS)
				je++
				grew = true
			}
			for ie < n && a[ie] <= reach {
				reach = max(reach, a[ie]+windowS)
				ie++
				grew = true
			}
			if !grew {
				break
			}
		}
		for _, p := range pairBlock(a[i:ie], b[j:je], windowS) {
			pairs = append(pairs, [2]int{p[0] + i, p[1] + j})
		}
		i, j = ie, je
	}
	return pairs
}

// maxBlock bounds the table of one block: beyond it the block is cut in halves in time.
const maxBlock = 4000

func pairBlock(a, b []float64, windowS float64) [][2]int {
	n, m := len(a), len(b)
	if n*m > maxBlock*maxBlock/4 {
		h := n / 2
		k, _ := slices.BinarySearch(b, a[h])
		out := pairBlock(a[:h], b[:k], windowS)
		for _, p := range pairBlock(a[h:], b[k:], windowS) {
			out = append(out, [2]int{p[0] + h, p[1] + k})
		}
		return out
	}
	skip := windowS*float64(n+m) + 1
	cost := make([]float64, (n+1)*(m+1))
	at := func(i, j int) *float64 { return &cost[i*(m+1)+j] }
	for i := n; i >= 0; i-- {
		for j := m; j >= 0; j-- {
			if i == n && j == m {
				continue
			}
			best := math.Inf(1)
			if i < n {
				best = min(best, skip+*at(i+1, j))
			}
			if j < m {
				best = min(best, skip+*at(i, j+1))
			}
			if i < n && j < m {
				if d := math.Abs(a[i] - b[j]); d <= windowS {
					best = min(best, d+*at(i+1, j+1))
				}
			}
			*at(i, j) = best
		}
	}
	var pairs [][2]int
	for i, j := 0, 0; i < n && j < m; {
		d := math.Abs(a[i] - b[j])
		switch {
		case d <= windowS && *at(i, j) == d+*at(i+1, j+1):
			pairs = append(pairs, [2]int{i, j})
			i, j = i+1, j+1
		case *at(i, j) == skip+*at(i+1, j):
			i++
		default:
			j++
		}
	}
	return pairs
}

// PairsHeader is the header of [PairsCSV].
func pairsHeader() []string {
	return strings.Split("ride,horse,mounting,kind,at,attempt,rater,label,sure,seen,found,found_low,found_high,seen_is,found_is,weight_s", ",")
}
