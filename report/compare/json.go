package compare

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"groundline/trace"
)

// JSON writes the comparison as one JSON object, indented, in the layout of [Schema]. Estimates are
// rounded to three digits of half their interval, p-values to four decimals, times to the millisecond.
// The same comparison is the same bytes.
func JSON(w io.Writer, c *Comparison) error {
	out := *c
	out.Lines = make([]Line, len(c.Lines))
	for i, l := range c.Lines {
		l.DistanceM = plain(l.DistanceM)
		l.Rides = append([]Ride{}, l.Rides...)
		for k := range l.Rides {
			r := &l.Rides[k]
			r.AtS = plain(r.AtS)
			r.Figures = append([]Figure{}, r.Figures...)
			for j := range r.Figures {
				r.Figures[j].Figure = roundEstimate(r.Figures[j].Figure)
			}
		}
		l.Differences = roundDifferences(l.Differences)
		l.Trends = append([]Trend{}, l.Trends...)
		for k := range l.Trends {
			t := &l.Trends[k]
			t.PerRide, t.P = roundEstimate(t.PerRide), roundTo(t.P, 4)
		}
		out.Lines[i] = l
	}
	out.Attempts = append([]AttemptInfo{}, c.Attempts...)
	for i := range out.Attempts {
		a := &out.Attempts[i]
		a.DurationS = roundTo(a.DurationS, 3)
		a.Files = append([]string{}, a.Files...)
	}
	out.Rounds.Differences = roundDifferences(c.Rounds.Differences)
	out.Rounds.Rounds = append([]Round{}, c.Rounds.Rounds...)
	for i := range out.Rounds.Rounds {
		r := &out.Rounds.Rounds[i]
		r.TimeS, r.JumpingS = roundPointer(r.TimeS), roundPointer(r.JumpingS)
	}
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := enc.Encode(out); err != nil {
		return fmt.Errorf("comparison as JSON: %w", err)
	}
	return nil
}

func roundDifferences(all []Difference) []Difference {
	out := append([]Difference{}, all...)
	for i := range out {
		out[i].Difference, out[i].P = roundEstimate(out[i].Difference), roundTo(out[i].P, 4)
	}
	return out
}

func plain(x *float64) *float64 {
	if x == nil {
		return nil
	}
	y := roundTo(*x, 3)
	return &y
}

func roundPointer(e *trace.Estimate) *trace.Estimate {
	if e == nil {
		return nil
	}
	r := roundEstimate(*e)
	return &r
}

func roundEstimate(e trace.Estimate) trace.Estimate {
	decimals := 6 // without doubt: only the dust of binary fractions is wiped off
	if half := (e.High - e.Low) / 2; half > 0 {
		decimals = min(decimals, 2-int(math.Floor(math.Log10(half))))
	}
	return trace.Estimate{Value: roundTo(e.Value, decimals), Low: roundTo(e.Low, decimals), High: roundTo(e.High, decimals)}
}

// roundTo rounds to so many decimals; fewer than none to tens and so on. Minus zero becomes zero.
func roundTo(x float64, decimals int) float64 {
	scale := math.Pow(10, math.Abs(float64(decimals)))
	if decimals < 0 {
		return math.Round(x/scale)*scale + 0
	}
	return math.Round(x*scale)/scale + 0
}
