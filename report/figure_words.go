package report

import (
	"fmt"
	"math"
	"strings"

	"groundline/report/layout"
	"groundline/trace"
)

// Figure is how a figure of that key is declared. A key that nothing declares is shown by its name.
func (k Key) Figure() Figure {
	for i := range figures {
		if figures[i].Key == k {
			return figures[i]
		}
	}
	if k == JumpingTime {
		return roundTime
	}
	return Figure{Key: k, Name: string(k), More: "%s more", Less: "%s less"}
}

// Name is a figure's name.
func (k Key) Name() string { return k.Figure().Name }

// PerSI is how many of the unit that people read the figure in make one SI unit.
func (k Key) PerSI(u Units) float64 { return u.quantity(k.Figure().Unit).perSI }

// UnitName is the unit that people read the figure in: "m", "ft", "m/min", "s", "°", "%" or, of counts, "".
func (k Key) UnitName(u Units) string { return u.quantity(k.Figure().Unit).unit }

// Head is a figure's name with its unit, for tables.
func (k Key) Head(u Units) string {
	f := k.Figure()
	if unit := u.quantity(f.Unit).unit; unit != "" {
		return f.Name + ", " + unit
	}
	return f.Name
}

// Measured is a figure with its uncertainty, without its unit: "3.54 ±0.06", or with its bounds where it may err
// much further to one side, "9.3 (8.1 to 12.0)", or "under 0.5" where it is a size that may be zero. signed puts a plus
// before what is above zero.
func (k Key) Measured(e trace.Estimate, u Units, signed bool) string {
	f := k.Figure()
	q := u.quantity(f.Unit)
	up, down := (e.High-e.Value)*q.perSI, (e.Value-e.Low)*q.perSI
	half := max(up, down, 0)
	decimals := layout.Decimals(half, q.decimals)
	if away := e.Low > 0 || e.High < 0; away && f.Unit != Count && half > 0 &&
		math.Abs(layout.Round(e.Value*q.perSI, decimals)) <= layout.RoundedUp(half, decimals) {
		decimals++ // "0.3 ±0.3" would not show that zero is left out
	}
	value := layout.Number(e.Value*q.perSI, decimals)
	if signed && layout.Round(e.Value*q.perSI, decimals) > 0 {
		value = "+" + value
	}
	if f.Unit == Count {
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
	case !signed && f.Better && e.Low == 0 && half > 0:
		scale := math.Pow(10, float64(decimals))
		return "under " + layout.Number(math.Ceil(e.High*q.perSI*scale-1e-9)/scale, decimals)
	case half == 0:
		return value
	case max(up, down) > 1.5*min(up, down):
		return fmt.Sprintf("%s (%s to %s)", value, layout.Number(e.Low*q.perSI, decimals), layout.Number(e.High*q.perSI, decimals))
	}
	return value + " ±" + layout.Doubt(half, decimals)
}

// Difference is a difference of the figure in words, with its size, unit and uncertainty.
func (k Key) Difference(e trace.Estimate, u Units) string {
	f := k.Figure()
	words := f.More
	if e.Value < 0 {
		words, e = f.Less, trace.Estimate{Value: -e.Value, Low: -e.High, High: -e.Low}
	}
	unit := u.quantity(f.Unit).unit
	said := k.Measured(e, u, false)
	switch at := strings.IndexByte(said, ' '); {
	case f.Unit == Count && said == "1":
		said += " stride"
	case f.Unit == Count:
		said += " strides"
	case unit == "°":
		said = strings.TrimSpace(strings.Replace(said+" ", " ", "° ", 1))
	case at >= 0:
		said = said[:at] + " " + unit + said[at:]
	default:
		said += " " + unit
	}
	return fmt.Sprintf(words, said)
}
