// Package table turns rides into the stride table: one row a stride, tidy, for
// scripts and statistics over one recording or thousands.
//
// Rides are found among files and folders ([Find]) or listed in a manifest
// ([ReadManifest]); [Run] works them out on all cores and hands over each ride's
// rows in the order of the rides, whatever finished first; a writer makes CSV, JSON
// Lines or Parquet of them ([NewWriter]), and [Provenance] says of what and by what they
// were made. [Columns] is the data dictionary. [Summary] is what most readers want
// of the rows: means and spread by horse, line and slope.
package table

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"

	"groundline/report"
	"groundline/trace"
)

// Row is one stride of the table.
type Row struct {
	Recording string
	Horse     string // "" where nobody said
	Round     string // the manifest's label, else the round's number; "" for neither
	Basis     string
	report.StrideRow
}

// Kind is what a column holds.
type Kind uint8

// The kinds of columns.
const (
	Text   Kind = iota
	Count       // a whole number
	Number      // a number, rounded to the column's decimals
)

// Column is one column of the table.
type Column struct {
	Name     string
	Kind     Kind
	Unit     string // "" for words and counts
	Meaning  string
	Derived  string // how it is found
	Required bool   // never missing
	// Decimals of a Number: finer than any recording tells it.
	Decimals int
	// Locates tells that the column, along the ride, would redraw where it went.
	Locates bool

	text   func(*Row) string // "" is missing
	number func(*Row) *float64
}

// value is what a row holds in a column; known is false where it is missing.
func (c *Column) value(r *Row) (text string, number float64, known bool) {
	if c.Kind == Text {
		text = c.text(r)
		return text, 0, text != ""
	}
	x := c.number(r)
	if x == nil {
		return "", 0, false
	}
	scale := math.Pow(10, float64(c.Decimals))
	if v := math.Round(*x*scale) / scale; !math.IsInf(v, 0) {
		return "", v + 0, true // and no minus zero
	}
	return "", *x, true
}

func value(p *string) string {
	if p == nil {
		return ""
	}
	return *p
}

func whole(p *int) *float64 {
	if p == nil {
		return nil
	}
	v := float64(*p)
	return &v
}

func of(e *trace.Estimate, pick func(trace.Estimate) float64) *float64 {
	if e == nil {
		return nil
	}
	v := pick(*e)
	return &v
}

// Columns are the columns of the table, in its order.
func Columns() []Column {
	return []Column{
		{Name: "recording", Kind: Text, Required: true,
			Meaning: "the ride that the stride is from",
			Derived: "the ride's files as given, joined by +; without places, the first 16 hex digits of the SHA-256 over the files' SHA-256",
			text:    func(r *Row) string { return r.Recording }},
		{Name: "horse", Kind: Text,
			Meaning: "the horse's name", Derived: "as the manifest or the command line says",
			text: func(r *Row) string { return r.Horse }},
		{Name: "round", Kind: Text,
			Meaning: "the round that the stride is from",
			Derived: "the manifest's round label or, without one, the number of the whole round within the recording; where a labelled recording has several whole rounds, label/number",
			text:    func(r *Row) string { return r.Round }},
		{Name: "attempt", Kind: Count,
			Meaning: "which ride of this line within the recording, from 1; missing outside the lines",
			Derived: "counted in time order",
			number:  func(r *Row) *float64 { return whole(r.Attempt) }},
		{Name: "line", Kind: Text,
			Meaning: "the line that the stride is part of, as from-to with the plan's obstacle ids; missing outside the lines",
			Derived: "the stride's middle lies between the landing after the first obstacle and the take-off before the second",
			text:    func(r *Row) string { return value(r.Line) }},
		{Name: "stride_in_line", Kind: Count,
			Meaning: "the stride's number within its line, 1 to strides_in_line",
			Derived: "counted as a trainer does: neither the landing nor the take-off is a stride",
			number:  func(r *Row) *float64 { return whole(r.InLine) }},
		{Name: "strides_in_line", Kind: Count,
			Meaning: "how many strides the line was ridden in", Derived: "the line's count",
			number: func(r *Row) *float64 { return whole(r.OfLine) }},
		{Name: "gait", Kind: Text, Required: true,
			Meaning: "halt, walk, trot or canter", Derived: "hidden Markov model over the motion sensor's windows or the track's speed",
			text: func(r *Row) string { return r.Gait }},
		{Name: "lead", Kind: Text,
			Meaning: "the leading foreleg of a canter stride, left or right",
			Derived: "lateral and roll wave against the vertical one, its sign settled by the tight turns; missing without that evidence",
			text:    func(r *Row) string { return value(r.Lead) }},
		{Name: "start_s", Kind: Number, Unit: "s", Required: true, Decimals: 3,
			Meaning: "when the stride begins (hind contact), from the recording's start",
			Derived: "load wave of the motion sensor; where strides_by is estimated, laid evenly between landing and take-off",
			number:  func(r *Row) *float64 { return &r.StartS }},
		{Name: "duration_s", Kind: Number, Unit: "s", Required: true, Decimals: 3,
			Meaning: "stride time, hind contact to hind contact", Derived: "as start_s; where estimated, the line's mean",
			number: func(r *Row) *float64 { return &r.DurationS }},
		{Name: "frequency_hz", Kind: Number, Unit: "1/s", Decimals: 4,
			Meaning: "strides a second", Derived: "one over duration_s before rounding",
			number: func(r *Row) *float64 {
				if !(r.DurationS > 0) {
					return nil
				}
				f := 1 / r.DurationS
				return &f
			}},
		{Name: "length_m", Kind: Number, Unit: "m", Decimals: 3,
			Meaning: "ground covered by the stride",
			Derived: "way along the smoothed track; within a line scaled so that the mean is the line's stride length; with motion alone the line's mean by the plan's distance, shared by duration; where estimated, the line's mean",
			number:  func(r *Row) *float64 { return of(r.LengthM, func(e trace.Estimate) float64 { return e.Value }) }},
		{Name: "length_low_m", Kind: Number, Unit: "m", Decimals: 3,
			Meaning: "lower end of the 90 % interval of length_m",
			Derived: "the line's doubt joined with the spread of single strides; outside the lines the track's doubt of speed",
			number:  func(r *Row) *float64 { return of(r.LengthM, func(e trace.Estimate) float64 { return e.Low }) }},
		{Name: "length_high_m", Kind: Number, Unit: "m", Decimals: 3,
			Meaning: "upper end of the 90 % interval of length_m", Derived: "as length_low_m",
			number: func(r *Row) *float64 { return of(r.LengthM, func(e trace.Estimate) float64 { return e.High }) }},
		{Name: "speed_m_s", Kind: Number, Unit: "m/s", Decimals: 3,
			Meaning: "mean speed over the stride", Derived: "length_m over duration_s before rounding",
			number: func(r *Row) *float64 { return r.SpeedMS }},
		{Name: "grade", Kind: Number, Unit: "m/m", Decimals: 4,
			Meaning: "rise per metre ridden, uphill positive; missing without spot heights in the plan",
			Derived: "height of the plan's surface at the stride's end less that at its start over the way between; without positions, the line's mean",
			number:  func(r *Row) *float64 { return r.Grade }},
		{Name: "homeward", Kind: Number, Unit: "1", Decimals: 4, Locates: true,
			Meaning: "cosine of the angle between the stride's direction and home: 1 straight home, -1 straight away; missing without a home in the plan",
			Derived: "direction of travel at the stride's middle; without positions, the line's mean",
			number:  func(r *Row) *float64 { return r.Homeward }},
		{Name: "curvature_1_m", Kind: Number, Unit: "1/m", Decimals: 5, Locates: true,
			Meaning: "turn in radians per metre ridden, left positive: one over the radius; missing without positions",
			Derived: "change of the track's direction over the stride, or over 4 m of travel about its middle where that is longer",
			number:  func(r *Row) *float64 { return r.CurvaturePerM }},
		{Name: "basis", Kind: Text, Required: true,
			Meaning: "what the ride's figures rest on: position+motion, position or motion", Derived: "what the files hold",
			text: func(r *Row) string { return r.Basis }},
		{Name: "strides_by", Kind: Text, Required: true,
			Meaning: "counted: this stride was seen; estimated: it is one of as many as the line most likely had",
			Derived: "counted from a motion sensor; estimated from the line's time and the horse's stride time",
			text:    func(r *Row) string { return r.By }},
	}
}

// Dictionary writes the data dictionary as CSV: column, unit, type, meaning, how it is derived, and whether it is of the table
// of strides or of lines.
func Dictionary(w io.Writer) error {
	out := csv.NewWriter(w)
	rows := [][]string{{"column", "unit", "type", "missing", "meaning", "derived", "table"}}
	for _, c := range Columns() {
		kind := [...]string{Text: "text", Count: "whole number", Number: fmt.Sprintf("number, %d decimals", c.Decimals)}[c.Kind]
		derived := c.Derived
		if c.Locates {
			derived += "; left out without places"
		}
		rows = append(rows, []string{c.Name, c.Unit, kind, missingWords(c.Required), c.Meaning, derived, "strides"})
	}
	return out.WriteAll(append(rows, lineDictionary()...))
}
