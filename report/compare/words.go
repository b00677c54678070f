package compare

import (
	"fmt"
	"math"
	"strings"

	"groundline/report"
	"groundline/report/layout"
	"groundline/trace"
)

// A saying is how people are told a figure.
type saying struct {
	name string // in tables, figures below each other
	kind kind
	// more and less tell a difference up and down; %s is its size with its doubt and unit.
	more, less string
}

// kind is what a figure is made of, which decides its unit and its digits.
type kind uint8

const (
	ofCount kind = iota
	ofLength
	ofRadius
	ofPace
	ofSeconds
	ofDegrees
	ofPercent
)

const footM = 0.3048 // the international foot of 1959, exact

// unit is the unit, how many of it make one SI unit, and the most decimals worth saying: a centimetre of
// stride, a metre a minute of pace, a decimetre of turn, a hundredth of a second, a degree.
func (k kind) unit(u report.Units) (unit string, perSI float64, decimals int) {
	switch k {
	case ofLength, ofRadius:
		decimals = 2
		if k == ofRadius {
			decimals = 1
		}
		if u == report.Imperial {
			return "ft", 1 / footM, decimals - 1
		}
		return "m", 1, decimals
	case ofPace:
		return "m/min", 60, 0
	case ofSeconds:
		return "s", 1, 2
	case ofDegrees:
		return "°", 1, 0
	case ofPercent:
		return "%", 100, 1
	}
	return "", 1, 0
}

// say is how a figure is told. An unknown key is told by its name.
func (k Key) say() saying {
	switch k {
	case Strides:
		return saying{"strides", ofCount, "%s more", "%s fewer"}
	case StrideLength:
		return saying{"each stride", ofLength, "each stride %s longer", "each stride %s shorter"}
	case StrideTime:
		return saying{"time of a stride", ofSeconds, "each stride took %s more", "each stride took %s less"}
	case Speed:
		return saying{"pace", ofPace, "pace %s up", "pace %s down"}
	case SpeedIn:
		return saying{"pace in", ofPace, "came in %s faster", "came in %s slower"}
	case SpeedOut:
		return saying{"pace out", ofPace, "went out %s faster", "went out %s slower"}
	case SpeedDrift:
		return saying{"pace out less in", ofPace, "gained %s more from in to out", "gained %s less from in to out"}
	case Time:
		return saying{"time", ofSeconds, "took %s longer", "took %s less"}
	case Track:
		return saying{"track", ofRadius, "track %s longer (wider)", "track %s shorter (flatter)"}
	case Radius:
		return saying{"tightest radius", ofRadius, "turn %s wider at its tightest", "turn %s tighter at its tightest"}
	case Turned:
		return saying{"turned", ofDegrees, "turned %s more", "turned %s less"}
	case SpeedMin:
		return saying{"slowest pace", ofPace, "slowest pace %s up", "slowest pace %s down"}
	case Landing:
		return saying{"landing distance", ofLength, "landed %s further out", "landed %s nearer"}
	case Takeoff:
		return saying{"take-off distance", ofLength, "took off %s further out", "took off %s nearer"}
	case OffPlanned:
		return saying{"off planned strides", ofCount, "%s further from the planned strides", "%s nearer to the planned strides"}
	case OffUsual:
		return saying{"off its usual stride", ofLength, "each stride %s further from its usual", "each stride %s nearer to its usual"}
	case Rhythm:
		return saying{"uneven rhythm", ofPercent, "rhythm %s less steady", "rhythm %s steadier"}
	case PaceChange:
		return saying{"uneven pace", ofPace, "pace changed %s more within the line", "pace %s evener within the line"}
	case Angle:
		return saying{"approach angle", ofDegrees, "approach %s more at an angle", "approach %s squarer"}
	case Wander:
		return saying{"approach wander", ofLength, "approach wandered %s more", "approach %s straighter"}
	case JumpingTime:
		return saying{"first take-off to last landing", ofSeconds, "%s longer from first take-off to last landing", "%s less from first take-off to last landing"}
	}
	return saying{string(k), ofCount, "%s more", "%s less"}
}

// Name is a figure's name.
func (k Key) Name() string { return k.say().name }

// PerSI is how many of the unit that people are told the figure in make one SI unit.
func (k Key) PerSI(u report.Units) float64 {
	_, perSI, _ := k.say().kind.unit(u)
	return perSI
}

// Head is a figure's name with its unit, for tables.
func (k Key) Head(u report.Units) string {
	s := k.say()
	if unit, _, _ := s.kind.unit(u); unit != "" {
		return s.name + ", " + unit
	}
	return s.name
}

// Measured is a figure with its doubt, without its unit: "3.54 ±0.06", or with its bounds where it may err
// much further to one side, "9.3 (8.1 to 12.0)", or "under 0.5" where it is a size that may be nought. signed puts a plus before what is above nought.
func (k Key) Measured(e trace.Estimate, u report.Units, signed bool) string {
	kind := k.say().kind
	_, perSI, most := kind.unit(u)
	up, down := (e.High-e.Value)*perSI, (e.Value-e.Low)*perSI
	half := max(up, down, 0)
	decimals := layout.Decimals(half, most)
	if away := e.Low > 0 || e.High < 0; away && kind != ofCount && half > 0 &&
		math.Abs(layout.Round(e.Value*perSI, decimals)) <= layout.RoundedUp(half, decimals) {
		decimals++ // "0.3 ±0.3" would not show that nought is left out
	}
	value := layout.Number(e.Value*perSI, decimals)
	if signed && layout.Round(e.Value*perSI, decimals) > 0 {
		value = "+" + value
	}
	if kind == ofCount {
		low, high := layout.Number(e.Low, 0), layout.Number(e.High, 0)
		if low == high {
			return value
		}
		if signed {
			return fmt.Sprintf("%s (%s to %s)", value, low, high)
		}
		return fmt.Sprintf("%s (%s-%s)", value, low, high)
	}
	switch {
	case !signed && k.better() && e.Low == 0 && half > 0:
		return "under " + layout.Number(math.Ceil(e.High*perSI*math.Pow(10, float64(decimals))-1e-9)/math.Pow(10, float64(decimals)), decimals)
	case half == 0:
		return value
	case max(up, down) > 1.5*min(up, down):
		return fmt.Sprintf("%s (%s to %s)", value, layout.Number(e.Low*perSI, decimals), layout.Number(e.High*perSI, decimals))
	}
	return value + " ±" + layout.Doubt(half, decimals)
}

// told is a difference in words, with its size, unit and doubt.
func (k Key) told(e trace.Estimate, u report.Units) string {
	s := k.say()
	words := s.more
	if e.Value < 0 {
		words, e = s.less, trace.Estimate{Value: -e.Value, Low: -e.High, High: -e.Low}
	}
	unit, _, _ := s.kind.unit(u)
	said := k.Measured(e, u, false)
	switch at := strings.IndexByte(said, ' '); {
	case s.kind == ofCount && said == "1":
		said += " stride"
	case s.kind == ofCount:
		said += " strides"
	case unit == "°":
		said = strings.Replace(said+" ", " ", "° ", 1)
		said = strings.TrimSpace(said)
	case at >= 0:
		said = said[:at] + " " + unit + said[at:]
	default:
		said += " " + unit
	}
	return fmt.Sprintf(words, said)
}
