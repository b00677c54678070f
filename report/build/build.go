// Package build makes a debrief of a recording, stage by stage. Each stage is a function of what the ones before it
// found: it adds what it found and notes of its own, and changes nothing that came before.
//
//	sense     motion's gaits, strides, jumps, by its own clock
//	tracked   the fixes as a track
//	clocked   motion's events on the positions' clock
//	placed    the plan, given or found, and the track in its axes
//	followed  what was jumped when; a mirrored mounting and a receiver's lag are settled here
//	measured  times, hooves, strides and speeds of what was jumped
//
// From followed on the clock, the lag and the mounting are settled.
package build

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"groundline/course"
	"groundline/course/follow"
	"groundline/course/horse"
	"groundline/report"
	"groundline/trace"
	"groundline/trace/dsp"
)

// Options are what the reader of a debrief may say beforehand.
type Options struct {
	HorseName string // "" if not said
	// Record are the horse's other rides and its size, which its lines are held against; nil if not known.
	Record *horse.Rides
	// Ways are the plan's ways, for those who build many rides over one plan; nil: worked out, which takes longer than
	// many a ride.
	Ways *follow.Ways
}

// ElsewhereError tells that the recording is from another place than the plan's anchor.
type ElsewhereError struct{ DistanceM float64 }

func (e *ElsewhereError) Error() string {
	return fmt.Sprintf("the recording lies %.1f km from the plan's anchor, expected a ride within %d m of it: it is of another place, or the anchor's latitude and longitude are wrong", e.DistanceM/1000, elsewhereM)
}

// ErrNothing is returned for a recording that has neither positions nor motion.
var ErrNothing = errors.New("the recording has neither positions nor motion: there is nothing to tell")

// Debrief turns a recording, and a plan where there is one, into the debrief. The plan may be nil. It returns the context's
// error as soon as the context ends; what still runs then ends by itself and is thrown away.
func Debrief(ctx context.Context, rec *trace.Recording, plan *course.Plan, opt Options) (*report.Debrief, error) {
	type result struct {
		d     *report.Debrief
		err   error
		panic any
	}
	done := make(chan result, 1)
	go func() {
		var r result
		defer func() {
			r.panic = recover() // to be raised where the caller can recover it
			done <- r
		}()
		r.d, r.err = build(ctx, rec, plan, opt)
	}()
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case r := <-done:
		if r.panic != nil {
			panic(r.panic)
		}
		return r.d, r.err
	}
}

// build runs the stages one after the other.
func build(ctx context.Context, rec *trace.Recording, plan *course.Plan, opt Options) (*report.Debrief, error) {
	if rec.Positions == nil && rec.Motion == nil {
		return nil, ErrNothing
	}
	if err := apart(rec); err != nil {
		return nil, err
	}
	q, err := sense(rec)
	if err != nil {
		return nil, err
	}
	if q, err = q.tracked(plan); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if plan == nil || plan.Anchor == nil {
		q = q.clockedByGaits()
	}
	p, err := q.placed(plan, opt.Ways)
	if err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	f := followed{placed: p}
	if p.plan != nil {
		if f, err = p.clocked().followed(); err != nil {
			return nil, err
		}
	} else {
		f.nameLeads()
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return measured(f).debrief(opt), nil
}

// NotTogetherError says why positions and motion can't be one ride.
type NotTogetherError struct {
	PositionsFromS, PositionsToS, MotionFromS, MotionToS float64 // from the recording's start
}

func (e *NotTogetherError) Error() string {
	return fmt.Sprintf("the files may not belong to the same ride: positions run from %.0f to %.0f s and motion from %.0f to %.0f s, which share no time, expected the files of one ride; read them apart, or set the clock of one right",
		e.PositionsFromS, e.PositionsToS, e.MotionFromS, e.MotionToS)
}

// apartS is more than two zones of the Earth differ by, 26 h: a clock off by a zone is brought back by what both recorded.
const apartS = 27 * 3600

// apart refuses positions and motion that were recorded at quite other times.
func apart(rec *trace.Recording) error {
	if rec.Positions == nil || rec.Motion == nil {
		return nil
	}
	p, m := rec.Positions.TimeS, rec.Motion.TimeS
	e := NotTogetherError{p[0], p[len(p)-1], m[0], m[len(m)-1]}
	if e.MotionFromS-e.PositionsToS > apartS || e.PositionsFromS-e.MotionToS > apartS {
		return &e
	}
	return nil
}

// middleOf is a value of x with as many below it as above.
func middleOf(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	return s[len(s)/2]
}

func median(x []float64) float64 { return dsp.Quantile(x, 0.5) }

// debrief gathers what was found.
func (r *ride) debrief(opt Options) *report.Debrief {
	d := &report.Debrief{Schema: report.Schema, Basis: r.basis(), Efforts: []report.Effort{}, Lines: []report.Line{}, Rounds: []report.Round{}, Gaits: []report.GaitSpan{}, Strides: []report.Stride{}, Rejected: []report.Rejected{}}
	d.Recording = report.RecordingInfo{Files: r.rec.Files, DurationS: r.rec.DurationS}
	if !r.rec.Start.IsZero() {
		s := r.rec.Start.UTC().Format(time.RFC3339Nano)
		d.Recording.Start = &s
	}
	if p := r.rec.Positions; p != nil {
		d.Recording.PositionHz = &p.RateHz
	}
	if m := r.rec.Motion; m != nil {
		d.Recording.MotionHz = &m.RateHz
		if r.rec.Positions != nil {
			off := 0.0
			if r.rec.ClockOffsetS != nil {
				off = r.rec.ClockOffsetS.Value
			}
			d.Recording.ClockOffsetS = &off
		}
	}
	for _, g := range r.gaits {
		d.Gaits = append(d.Gaits, report.GaitSpan{Gait: g.Gait.String(), FromS: g.FromS, ToS: g.ToS})
	}
	if opt.HorseName != "" {
		d.Horse.Name = &opt.HorseName
	}
	if r.plan != nil {
		d.Plan = r.plan
		d.Course = &report.CourseInfo{Name: r.plan.Name}
		if r.res.Placement != nil && !r.found {
			p := r.res.Placement
			d.Course.Placed = &report.Placed{RightM: p.ShiftX.Value, ForwardM: p.ShiftY.Value, TurnDeg: p.TurnDeg.Value, ResidualM: p.ResidualM}
		}
		d.Efforts, d.Lines, d.Rounds = r.tellEfforts(), r.tellLines(), r.tellRounds()
		d.Events, d.Unseen = r.tellEvents(d.Lines)
		d.Slope = r.tellSlope(d.Lines)
	} else {
		d.Efforts = r.bareEfforts()
		d.Lines = r.bareLines()
		d.Events, d.Unseen = r.tellEvents(nil)
	}
	if r.ev != nil {
		for _, x := range r.ev.Rejected {
			d.Rejected = append(d.Rejected, report.Rejected{AtS: x.AtS, Rule: x.Rule, Found: x.Found, Limit: x.Limit})
		}
	}
	r.noteQuality()
	d.Strides = r.tellStrides()
	d.SetUsual(opt.Record)
	if d.Horse.StrideS == nil && r.ev != nil {
		d.Horse.StrideS = r.ev.StrideS
	}
	d.SetBudgets(opt.Record)
	d.SetAnswers()
	d.Ridden = r.ridden(d.Lines)
	d.StrideRows = r.strideRows(d)
	d.Notes = append([]trace.Note{}, r.notes...)
	return d
}

func (r *ride) basis() string {
	switch {
	case r.path != nil && r.ev != nil:
		return "position+motion"
	case r.path != nil:
		return "position"
	}
	return "motion"
}
