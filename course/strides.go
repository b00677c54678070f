package course

import "math"

// StandardStrideM is the 12-ft canter stride that horse distances are built for (US Equestrian's
// chart of suggested distances; four 3-ft steps of the walker).
const StandardStrideM = 12 * feetM

// inAndOutFt is the distance of a double with n = 1 or 2 strides for a 12-ft stride. It is longer than
// the 12 (n + 1) ft of the lines because of the height: US Equestrian's chart of in-and-outs has
// 25'6", 26', 26'6", 27' for one stride and 36'6", 37', 37'6", 38' for two at fences of 3', 3'6", 3'9",
// 4', one foot a foot of height up to 3'6" and two from there. Lower fences go on by the slope at
// 3' down to the 24 and 36 ft that are usual over low fences; higher ones stay.
func inAndOutFt(n int, heightM float64) float64 {
	h := heightM / feetM
	more := 1.5 + (h - 3)
	if h > 3.5 {
		more = 2 + 2*(h-3.5)
	}
	more = min(more, 3)
	if n == 2 {
		more--
	}
	return float64(12*(n+1)) + max(0, more)
}

// LineDistanceM is the distance, back of the first to front of the second, at which a horse of that canter
// stride does n >= 0 strides between fences of that height (0 for poles or unknown). From three
// strides on it is stride times (n + 1), which all the tables follow, since landing and
// take-off take half a stride each; for one and two it is the chart of in-and-outs in proportion to
// the stride; none is a bounce of one stride's length.
func LineDistanceM(n int, strideM, heightM float64) float64 {
	if n == 1 || n == 2 {
		return strideM * inAndOutFt(n, heightM) / 12
	}
	return strideM * float64(n+1)
}

// StridesIn is how many canter strides a distance asks of a horse with that stride (> 0), as a real
// number: the inverse of [LineDistanceM], straight between its whole numbers. It is
// negative where a distance is shorter than a bounce.
func StridesIn(distanceM, strideM, heightM float64) float64 {
	for n := range 3 {
		from, to := LineDistanceM(n, strideM, heightM), LineDistanceM(n+1, strideM, heightM)
		if distanceM < to {
			if n == 0 && distanceM < from {
				break
			}
			return float64(n) + (distanceM-from)/(to-from)
		}
	}
	return distanceM/strideM - 1
}

// PlannedStrides is the whole number of strides nearest to what the distance asks. The stride is the tables', of
// which landing and take-off take half each; for a stride measured at the hooves see [Plan.Walk].
func PlannedStrides(distanceM, strideM, heightM float64) int {
	return max(0, int(math.Round(StridesIn(distanceM, strideM, heightM))))
}

// Profile is a usual canter stride between fences by size of horse or pony.
type Profile struct {
	Name        string
	StrideM     float64
	LowM, HighM float64 // the strides that the tables give this size
	Source      string
}

// Profiles are the usual strides by size, the standard horse first. The middle of each pony is New
// Zealand's show-hunter stride for its height, the range US Equestrian's chart for its size.
func Profiles() []Profile {
	const ponies = "stride by pony height, New Zealand show hunter; range from US Equestrian's chart of suggested distances"
	return []Profile{
		{"horse", StandardStrideM, 11 * feetM, 13.75 * feetM,
			"12 ft, US Equestrian's chart of suggested distances, which goes to 13 ft 9 in; riding club 11 ft (UK teaching page)"},
		{"riding-school horse", 10 * feetM, 2.9, 11 * feetM,
			"10 ft for riding schools and grids, 11 ft for riding clubs (UK teaching page); 3.05 m measured on six riding-school horses (IAT Leipzig)"},
		{"large pony", 11 * feetM, 11 * feetM, 11.75 * feetM, "143 to 148 cm: 11 ft, " + ponies},
		{"medium pony", 3.2, 10.25 * feetM, 10.75 * feetM, "133 to 143 cm: 3.2 m, " + ponies},
		{"small pony", 10 * feetM, 9.75 * feetM, 10.25 * feetM, "up to 133 cm: 10 ft, " + ponies},
	}
}

// PlannedStrides are the whole strides of every line of the plan for a horse of that canter stride: on
// the distance believed where the way is straight, on the tape or else the planned track where it
// turns. The track is from [Plan.PlanTrack].
func (p *Plan) PlannedStrides(t Track, strideM float64) []int {
	out := make([]int, len(p.Lines))
	for i, l := range p.Lines {
		out[i] = PlannedStrides(p.WayM(t, i), strideM, p.heightM(l))
	}
	return out
}

// WayM is the length on the ground of line i, back of the first obstacle to front of the second: the tape
// where there is one, the map where the way is in line, else the planned track less the half spreads.
func (p *Plan) WayM(t Track, i int) float64 {
	l := p.Lines[i]
	a, _ := p.Obstacle(l.From)
	b, _ := p.Obstacle(l.To)
	if l.WalkedM != nil || inLine(a, b) {
		return l.DistanceM()
	}
	return max(0, t.leg(i).Path.LengthM()-a.SpreadM/2-b.SpreadM/2)
}

// leg is the leg of line i.
func (t Track) leg(i int) Leg {
	if t.FromStart {
		i++
	}
	return t.Legs[i]
}

// heightM is the mean height of the two obstacles of a line.
func (p *Plan) heightM(l Line) float64 {
	a, _ := p.Obstacle(l.From)
	b, _ := p.Obstacle(l.To)
	return (a.HeightM + b.HeightM) / 2
}
