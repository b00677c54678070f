package build

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/detect"
	"groundline/trace"
)

// What each stage gives of the least and the fullest input; every stage leaves what came before as it was.
func TestStages(t *testing.T) {
	for _, c := range []struct {
		round                     string
		events, track, plan, laid bool
		offsetS                   float64 // of the motion's clock, put in here
		wantNote                  string
	}{
		{round: "01-*", events: true, track: true, plan: true, laid: true},
		{round: "01-*", events: true, track: true, plan: true, laid: true, offsetS: 40, wantNote: "the motion sensor's clock was ahead by 40"},
		{round: "01-*", events: true, track: true, laid: true, wantNote: "no plan was given"},
		{round: "02-*", track: true, plan: true, laid: true},
		{round: "02-*", track: true, laid: false},
		{round: "08-*", events: true, plan: true},
	} {
		r := madeRounds(t, c.round)[0]
		if c.offsetS != 0 {
			setAhead(r.rec, c.offsetS)
		}
		given := c.plan
		plan := r.plan
		if !given {
			plan = nil
		}
		q, err := sense(r.rec)
		require.NoError(t, err)
		require.Equal(t, c.events, q.ev != nil, c.round)
		require.Nil(t, q.path)
		tr, err := q.tracked(plan)
		require.NoError(t, err)
		require.Equal(t, c.track, tr.track != nil && tr.path != nil && tr.raw == tr.path, c.round)
		require.NotEmpty(t, tr.gaits)
		require.Nil(t, q.track, "the stage before keeps what it had")
		p, err := tr.placed(plan, nil)
		require.NoError(t, err)
		require.Equal(t, given || c.laid, p.plan != nil)
		require.Equal(t, !given && c.laid, p.found)
		if p.plan == nil {
			continue
		}
		k := p.clocked()
		if c.offsetS != 0 {
			require.InDelta(t, c.offsetS, k.rec.ClockOffsetS.Value, 1)
			require.InDelta(t, k.ev.Jumps[0].TakeoffS.Value, p.ev.Jumps[0].TakeoffS.Value-k.rec.ClockOffsetS.Value, 1e-9)
			require.Greater(t, len(k.notes), len(p.notes))
		}
		f, err := k.followed()
		require.NoError(t, err)
		require.NotEmpty(t, f.res.Efforts)
		require.GreaterOrEqual(t, len(f.notes), len(k.notes))
		m := measured(f)
		require.Len(t, m.efforts, len(f.res.Efforts))
		require.Len(t, m.legs, len(f.res.Legs))
		if c.wantNote != "" {
			require.True(t, slices.ContainsFunc(m.notes, func(n trace.Note) bool { return strings.HasPrefix(n.What, c.wantNote) }), c.wantNote)
		}
	}
}

func TestNotesOfAStageAreItsOwn(t *testing.T) {
	before := make([]trace.Note, 1, 8)
	a, b := noted(before, "info", "a", ""), noted(before, "info", "b", "")
	require.Equal(t, "a", a[1].What)
	require.Equal(t, "b", b[1].What)
	require.Len(t, before, 1)
}

func TestTurnedByGyroscope(t *testing.T) {
	g := turnedOf(&detect.Events{YawTimeS: []float64{0, 1, 2, 3}, YawRadS: []float64{0, 1, 1, 0}})
	for _, c := range []struct{ from, to, rad float64 }{{0, 3, 2}, {1, 2, 1}, {0, 1, 0.5}, {0.5, 0.5, 0}} {
		deg, _, ok := g.between(c.from, c.to)
		require.True(t, ok)
		require.InDelta(t, c.rad*180/math.Pi, deg, 1e-9)
	}
	_, _, ok := g.between(-1, 2)
	require.False(t, ok, "beyond the samples nothing is known")
	_, _, ok = turned{}.between(0, 1)
	require.False(t, ok)
}

func TestAContextThatEndedEndsTheBuild(t *testing.T) {
	ctx, end := context.WithCancel(t.Context())
	end()
	n := 400
	p := &trace.Positions{RateHz: 1}
	for i := range n {
		p.TimeS, p.LatDeg, p.LonDeg = append(p.TimeS, float64(i)), append(p.LatDeg, 51+1e-5*float64(i)), append(p.LonDeg, -2)
	}
	d, err := Debrief(ctx, &trace.Recording{Positions: p}, nil, Options{})
	require.ErrorIs(t, err, context.Canceled)
	require.Nil(t, d)
	d, err = Debrief(t.Context(), &trace.Recording{}, &course.Plan{}, Options{})
	require.ErrorIs(t, err, ErrNothing)
	require.Nil(t, d)
}
