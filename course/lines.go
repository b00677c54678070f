package course

import (
	"fmt"
	"math"
	"strings"
	"unicode"
)

// What makes the kind of a line, where a plan does not say.
const (
	// Landing and take-off angles up to 10° are in line: an arc with such ends is half a per cent
	// longer than its chord (θ/sin θ), which no tape tells.
	inLineDeg = 10.0
	// Elements of a combination stand 6.50 to 12.00 m apart (Luxembourg federation §508.1). Closer ones, for
	// ponies or as a bounce, are no related line either: up to two strides count as a combination
	// (Swedish riding-school table).
	combinationMinM, combinationMaxM = 6.5, 12.0
	// A combination has at most three elements, A, B and C; more fences in a row at such distances are
	// a barrier competition's, which are no combination (Luxembourg federation §531).
	combinationMost = 3
	// Up to seven strides are related (Swedish riding-school table; other tables say six), here at
	// the standard 12-ft stride: 8 times 3.66 m.
	relatedStrides = 7
	relatedMaxM    = (relatedStrides + 1) * StandardStrideM
	// A rollback turns back by more than 120° to a fence that is near and leaves no more than four
	// strides straight in front of it (no rule book defines it; common practice, the numbers are ours).
	rollbackDeg      = 120.0
	rollbackRunInM   = 4 * StandardStrideM
	rollbackDistantM = 10 * StandardStrideM
	// A bending line leaves and comes within 60° of the straight way between its fences; farther
	// round it is a corner, after which the fence has its own approach (ours).
	bendingMostDeg = 60.0
	// Obstacles nearer than this are one and the same place.
	samePlaceM = 0.5
)

// SetLines makes p.Lines: one line for each consecutive pair of p.Route, its map distance from
// the places, kind and walked distance from the entry of meant with the same ends,
// and the kind derived from the geometry where none is meant.
// Every id of the route must be among the obstacles.
func (p *Plan) SetLines(meant []Line) {
	p.Lines = nil
	for i := 1; i < len(p.Route); i++ {
		a, okA := p.Obstacle(p.Route[i-1])
		b, okB := p.Obstacle(p.Route[i])
		if !okA || !okB {
			panic(fmt.Sprintf("course: route %q-%q names no obstacle", p.Route[i-1], p.Route[i]))
		}
		l := Line{From: a.ID, To: b.ID, MapM: mapM(a, b)}
		for _, m := range meant {
			if m.From == l.From && m.To == l.To {
				l.Kind, l.WalkedM = m.Kind, m.WalkedM
			}
		}
		p.Lines = append(p.Lines, l)
	}
	inRow := p.shortInRow()
	for i := range p.Lines {
		if l := &p.Lines[i]; l.Kind == "" {
			l.Derived = true
			l.Kind, l.Why = p.kind(*l, inRow[i])
		}
	}
}

// mapM is the distance as the trade measures it: from the back of a to the front of b, that is the
// distance of the middles less half of either spread; never below 0.
func mapM(a, b Obstacle) float64 {
	return max(0, distance(a.At, b.At)-a.SpreadM/2-b.SpreadM/2)
}

// bends are the angles of a way: from the landing at a to the straight line towards b, and from that
// line to the facing of b; right positive, (-180, 180].
func bends(a, b Obstacle) (outDeg, inDeg float64) {
	way := bearing(a.At, b.At)
	return turnDeg(a.FacingDeg, way), turnDeg(way, b.FacingDeg)
}

func inLine(a, b Obstacle) bool {
	out, in := bends(a, b)
	return math.Abs(out) <= inLineDeg && math.Abs(in) <= inLineDeg && distance(a.At, b.At) > samePlaceM
}

// number is the number of an obstacle that has a letter: 7 for 7a and 7B; "" without a letter.
func number(id string) string {
	n := strings.TrimRightFunc(id, unicode.IsLetter)
	if n == "" || len([]rune(id)) != len([]rune(n))+1 || !unicode.IsDigit([]rune(n)[len([]rune(n))-1]) {
		return ""
	}
	return n
}

// shortInRow counts for each line the fences of the unbroken row, in line at the distance of a
// combination, that it belongs to. Lettered elements are combinations whatever stands about them
// and break a row.
func (p *Plan) shortInRow() []int {
	short := make([]bool, len(p.Lines))
	for i, l := range p.Lines {
		a, _ := p.Obstacle(l.From)
		b, _ := p.Obstacle(l.To)
		lettered := number(a.ID) != "" && number(a.ID) == number(b.ID)
		short[i] = !lettered && inLine(a, b) && l.DistanceM() <= combinationMaxM
	}
	fences := make([]int, len(p.Lines))
	for i := 0; i < len(short); {
		j := i
		for j < len(short) && short[j] {
			j++
		}
		for k := i; k < j; k++ {
			fences[k] = j - i + 1
		}
		i = j + 1
	}
	return fences
}

// kind finds the kind of a line from what stands on the ground, and says how.
func (p *Plan) kind(l Line, inRow int) (LineKind, string) {
	a, _ := p.Obstacle(l.From)
	b, _ := p.Obstacle(l.To)
	d := l.DistanceM()
	if distance(a.At, b.At) < samePlaceM {
		return Single, "the same place again"
	}
	out, in := bends(a, b)
	turned := out + in
	lettered := number(a.ID) != "" && number(a.ID) == number(b.ID)
	switch {
	case inLine(a, b) && d <= combinationMaxM && lettered:
		return Combination, fmt.Sprintf("in line, %.2f m, elements of number %s", d, number(a.ID))
	case inLine(a, b) && d <= combinationMaxM && inRow > combinationMost:
		return Related, fmt.Sprintf("in line, %.2f m, but one of %d fences in a row, which are no combination", d, inRow)
	case inLine(a, b) && d <= combinationMaxM:
		return Combination, fmt.Sprintf("in line, %.2f m (up to %.0f m)", d, combinationMaxM)
	case inLine(a, b) && d <= relatedMaxM:
		return Related, fmt.Sprintf("in line, %.2f m (up to %.1f m, %d strides)", d, relatedMaxM, relatedStrides)
	case inLine(a, b):
		return Single, fmt.Sprintf("in line but %.1f m off (more than %.1f m)", d, relatedMaxM)
	}
	runIn := distance(a.At, b.At) * math.Cos(in*math.Pi/180)
	switch {
	case math.Abs(turned) > rollbackDeg && d <= rollbackDistantM && runIn <= rollbackRunInM:
		return Rollback, fmt.Sprintf("turns back %.0f° %s to a fence %.1f m off, with the turn right in front of it", math.Abs(turned), side(turned), d)
	case math.Abs(turned) > rollbackDeg:
		return Single, fmt.Sprintf("turns back %.0f° %s, then has a way of its own to the fence", math.Abs(turned), side(turned))
	}
	shortest := math.Inf(1)
	for _, path := range paths(a, b, 0, 0, TurnRadiusM(p.speedMS(), usualLeanDeg)) {
		if path == nil {
			continue
		}
		shortest = min(shortest, path.LengthM()-a.SpreadM/2-b.SpreadM/2)
	}
	switch {
	case math.Max(math.Abs(out), math.Abs(in)) > bendingMostDeg:
		return Single, fmt.Sprintf("out of line: leaves %.0f° and comes %.0f° off the straight way (bending up to %.0f°)", math.Abs(out), math.Abs(in), bendingMostDeg)
	case shortest <= relatedMaxM:
		return Bending, fmt.Sprintf("turns %.0f° %s on a track of %.1f m (up to %.1f m, %d strides)", math.Abs(turned), side(turned), shortest, relatedMaxM, relatedStrides)
	}
	return Single, fmt.Sprintf("out of line, and the track of %.1f m is longer than %.1f m", shortest, relatedMaxM)
}

// side is the word for a turn.
func side(deg float64) string {
	if deg < 0 {
		return "left"
	}
	return "right"
}

// speedMS is the plan's speed, or the usual one where it gives none.
func (p *Plan) speedMS() float64 {
	if p.SpeedMMin > 0 {
		return p.SpeedMMin / 60
	}
	return usualSpeedMMin / 60
}
