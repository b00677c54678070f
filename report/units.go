package report

import (
	"fmt"
	"math"
	"strings"

	"groundline/report/layout"
	"groundline/trace"
)

// Units are the units in which people are told lengths. Pace is in m/min in both, as
// prescribed speeds are everywhere; heights of obstacles stay in metres, as in plans.
type Units string

// The units told apart.
const (
	Metric   Units = "metric"
	Imperial Units = "imperial"
)

const (
	footM       = 0.3048 // the international foot of 1959, exact
	secondsAMin = 60
)

// A quantity is a kind of figure as people say it: its unit, how many of it make one SI
// unit, and the most decimals worth saying however narrow the interval.
type quantity struct {
	unit     string
	perSI    float64
	decimals int
}

// Unit is what a figure is made of, which decides the unit and the digits that people read it in.
type Unit uint8

// The units: a centimetre of stride, a decimetre of track or turn, a metre a minute of pace, a hundredth of a second
// (the finest that rule books time to), a degree and a tenth of a percent are the least that a rider can use.
const (
	Count    Unit = iota
	Length        // of a stride, of landing and take-off
	Distance      // of a track, of a turn
	Pace
	Seconds
	Degrees
	Percent
)

// quantity is how a unit is read. In feet a decimal less is worth as much.
func (u Units) quantity(of Unit) quantity {
	switch of {
	case Length, Distance:
		decimals := 2
		if of == Distance {
			decimals = 1
		}
		if u == Imperial {
			return quantity{"ft", 1 / footM, decimals - 1}
		}
		return quantity{"m", 1, decimals}
	case Pace:
		return quantity{"m/min", secondsAMin, 0}
	case Seconds:
		return quantity{"s", 1, 2}
	case Degrees:
		return quantity{"°", 1, 0}
	case Percent:
		return quantity{"%", 100, 1}
	}
	return quantity{"", 1, 0}
}

func (u Units) length() quantity { return u.quantity(Length) }
func (u Units) radius() quantity { return u.quantity(Distance) }
func pace() quantity             { return Metric.quantity(Pace) }
func seconds() quantity          { return Metric.quantity(Seconds) }
func degrees() quantity          { return Metric.quantity(Degrees) }

// percent is a whole one: of how even a stride is, a tenth is too fine for a sentence.
func percent() quantity { return quantity{"%", 100, 0} }

// In is how a unit is read: its name ("" of counts), how many of it make one SI unit, and the most decimals worth showing.
func (of Unit) In(u Units) (name string, perSI float64, decimals int) {
	q := u.quantity(of)
	return q.unit, q.perSI, q.decimals
}

// SI is the unit that files have: "m", "m/s", "s", "deg", "1" of shares, "" of counts.
func (of Unit) SI() string {
	return [...]string{Count: "", Length: "m", Distance: "m", Pace: "m/s", Seconds: "s", Degrees: "deg", Percent: "1"}[of]
}

// plain is a figure without an interval: "21.95 m".
func (q quantity) plain(si float64) string {
	return layout.Number(si*q.perSI, q.decimals) + q.suffix()
}

// measured is a figure with its doubt, "3.54 m ±0.06", or with its bounds where it may err much
// further to one side than to the other, "9.3 m (8.1 to 12.0)".
func (q quantity) measured(e trace.Estimate) string {
	half := q.half(e)
	if half == 0 {
		return q.plain(e.Value)
	}
	decimals := q.decimalsFor(half)
	value := layout.Number(e.Value*q.perSI, decimals) + q.suffix()
	if lopsided(e) {
		return fmt.Sprintf("%s (%s to %s)", value, layout.Number(e.Low*q.perSI, decimals), layout.Number(e.High*q.perSI, decimals))
	}
	return value + " ±" + q.doubt(half)
}

// bare is measured without the unit, for tables that have it in their head.
func (q quantity) bare(e trace.Estimate) string {
	return strings.Replace(q.measured(e), q.suffix(), "", 1)
}

// half is the larger distance from the value to a bound, in the unit.
func (q quantity) half(e trace.Estimate) float64 {
	return max(e.High-e.Value, e.Value-e.Low, 0) * q.perSI
}

// decimalsFor is the last decimal worth telling beside a doubt of half.
func (q quantity) decimalsFor(half float64) int { return layout.Decimals(half, q.decimals) }

// doubt is half an interval as it is told; see [layout.RoundedUp].
func (q quantity) doubt(half float64) string { return layout.Doubt(half, q.decimalsFor(half)) }

// beyondDoubt tells that a change is other than nothing also in the digits that it is told in: "lost
// 12 ±12" would be no word to a rider.
func (q quantity) beyondDoubt(e trace.Estimate) bool {
	half := q.half(e)
	told := math.Abs(layout.Round(e.Value*q.perSI, q.decimalsFor(half)))
	return resolved(&e) && (half == 0 || told > layout.RoundedUp(half, q.decimalsFor(half)))
}

// suffix is the unit as it follows a number.
func (q quantity) suffix() string {
	if q.unit == "°" {
		return q.unit
	}
	return " " + q.unit
}

// lopsided tells that one bound is more than half as far again from the value as the other.
func lopsided(e trace.Estimate) bool {
	up, down := e.High-e.Value, e.Value-e.Low
	return max(up, down) > 1.5*min(up, down)
}

// resolved tells that the interval leaves no doubt of the figure's sign.
func resolved(e *trace.Estimate) bool {
	return e != nil && (e.Low > 0 || e.High < 0)
}

// clock is a time as minutes and seconds, "1:02", from an hour on with hours, "1:01:02".
func clock(s float64) string {
	whole := int(math.Round(s))
	if whole >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", whole/3600, whole/60%60, whole%60)
	}
	return fmt.Sprintf("%d:%02d", whole/60, whole%60)
}

// lasting is a length of time with its unit.
func lasting(s float64) string {
	if math.Round(s) >= 3600 {
		return clock(s) + " h"
	}
	return clock(s) + " min"
}

// plainShort is a figure without an interval and without decimals that are all zero: "62 s".
func (q quantity) plainShort(si float64) string {
	if x := si * q.perSI; x == math.Trunc(x) {
		return layout.Number(x, 0) + q.suffix()
	}
	return q.plain(si)
}
