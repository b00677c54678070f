package report

import (
	"io"
	"time"

	"groundline/trace"
	"groundline/trace/read"
)

// inspectSchema names the layout of [InspectJSON]. Fields are added, never renamed.
const inspectSchema = "groundline.inspect/1"

type inspection struct {
	Schema   string          `json:"schema"`
	Files    []inspectedFile `json:"files"`
	Together *inspectedRide  `json:"together"` // nil where the files were refused
	Look     *Looked         `json:"look"`     // likewise
}

type inspectedFile struct {
	File      string              `json:"file"`
	Format    string              `json:"format"`
	Packed    *string             `json:"packed"`
	Device    *string             `json:"device"`
	Start     *string             `json:"start"`      // nil: the clock counts from an unknown instant
	ZoneKnown bool                `json:"zone_known"` // false: a local time read as UTC
	DurationS float64             `json:"duration_s"`
	Samples   int                 `json:"samples"`
	LeftOut   inspectedLeftOut    `json:"left_out"`
	RateHz    *float64            `json:"rate_hz"`
	JitterS   *float64            `json:"jitter_s"`
	Gaps      []inspectedGap      `json:"gaps"`
	Positions *inspectedPositions `json:"positions"`
	Motion    *inspectedMotion    `json:"motion"`
	Columns   []inspectedColumn   `json:"columns"`
	NotUsed   []string            `json:"not_used"`
}

type inspectedLeftOut struct {
	Unreadable int `json:"unreadable"`
	OutOfOrder int `json:"out_of_order"`
	Repeated   int `json:"repeated"`
}

type inspectedGap struct {
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"`
}

type inspectedPositions struct {
	Segments int  `json:"segments"`
	Height   bool `json:"height"`
	Speed    bool `json:"speed"`
	Outliers int  `json:"outliers"`
}

type inspectedMotion struct {
	TurnRate       bool     `json:"turn_rate"`
	GravityRemoved bool     `json:"gravity_removed"`
	RestMS2        *float64 `json:"rest_m_s2"`
	ClippedMS2     *float64 `json:"clipped_m_s2"`
	Wild           int      `json:"wild"`
}

type inspectedColumn struct {
	Header string `json:"header"`
	As     string `json:"as"`
	Unit   string `json:"unit"`
	By     string `json:"by"`
}

type inspectedRide struct {
	Start        *string         `json:"start"`
	DurationS    float64         `json:"duration_s"`
	PositionHz   *float64        `json:"position_hz"`
	MotionHz     *float64        `json:"motion_hz"`
	ClockOffsetS *trace.Estimate `json:"clock_offset_s"`
	Marks        int             `json:"marks"`
	Notes        []trace.Note    `json:"notes"`
}

// InspectJSON writes what was understood of each file of a recording, and what [Look] found, as one JSON
// object; rec and look may be nil where they were refused. Numbers are as in [JSON].
func InspectJSON(w io.Writer, rec *trace.Recording, look *Looked, files []read.Summary) error {
	in := inspection{Schema: inspectSchema, Look: look}
	for _, f := range files {
		in.Files = append(in.Files, inspected(f))
	}
	if rec != nil {
		t := &inspectedRide{DurationS: rec.DurationS, ClockOffsetS: rec.ClockOffsetS, Marks: len(rec.Marks), Notes: rec.Notes}
		t.Start = instant(rec.Start, !rec.Start.IsZero())
		if rec.Positions != nil {
			t.PositionHz = &rec.Positions.RateHz
		}
		if rec.Motion != nil {
			t.MotionHz = &rec.Motion.RateHz
		}
		in.Together = t
	}
	return WriteJSON(w, in, "inspection")
}

func inspected(f read.Summary) inspectedFile {
	out := inspectedFile{
		File: f.File, Format: f.Format, Packed: unlessZero(f.Packed), Device: unlessZero(f.Device),
		Start: instant(f.Start, f.DateKnown), ZoneKnown: f.ZoneKnown, DurationS: f.DurationS, Samples: f.Rows,
		LeftOut: inspectedLeftOut{f.Unreadable, f.OutOfOrder, f.Repeated}, RateHz: unlessZero(f.RateHz), NotUsed: f.Ignored,
	}
	if f.RateHz > 0 {
		out.JitterS = &f.JitterS
	}
	for _, g := range f.Gaps {
		out.Gaps = append(out.Gaps, inspectedGap{g.FromS, g.ToS})
	}
	if p := f.Positions; p != nil {
		out.Positions = &inspectedPositions{p.Segments, p.HasHeight, p.HasSpeed, p.Outliers}
	}
	if m := f.Motion; m != nil {
		out.Motion = &inspectedMotion{m.HasTurnRate, m.GravityRemoved, unlessZero(m.RestMS2), unlessZero(m.ClippedMS2), m.Wild}
	}
	for _, c := range f.Columns {
		out.Columns = append(out.Columns, inspectedColumn{c.Header, c.As, c.Unit, c.By})
	}
	return out
}

// unlessZero is nil for a value that the reader leaves at zero where it is not known.
func unlessZero[T comparable](v T) *T {
	var zero T
	if v == zero {
		return nil
	}
	return &v
}

// instant is RFC 3339 in UTC to the nanosecond as far as needed.
func instant(t time.Time, known bool) *string {
	if !known {
		return nil
	}
	s := t.UTC().Format(time.RFC3339Nano)
	return &s
}
