package detect

import (
	"context"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/trace"
	"groundline/trace/geo"
	"groundline/trace/read"
	track "groundline/trace/smooth"
)

// twoClocks is a labelled round with both devices, both on the truth's clock.
type twoClocks struct {
	name  string
	ev    *Events
	track *track.Track
}

func roundsOfTwo(t *testing.T) []twoClocks {
	var out []twoClocks
	for _, r := range labelledRounds(t) {
		files, err := filepath.Glob("../../shared/data/*/" + r.name + "/ride.gpx")
		require.NoError(t, err)
		if len(files) == 0 {
			continue
		}
		rec, err := read.Open(context.Background(), files, read.Options{})
		require.NoError(t, err)
		ev, err := FromMotion(r.m, Options{})
		require.NoError(t, err)
		out = append(out, twoClocks{name: r.name, ev: ev, track: trackOf(t, rec.Positions)})
	}
	return out
}

func trackOf(t *testing.T, p *trace.Positions) *track.Track {
	tr, err := track.Smooth(p, geo.NewFrame(geo.LatLon{LatDeg: p.LatDeg[0], LonDeg: p.LonDeg[0]}, 0), track.Options{})
	require.NoError(t, err)
	return tr
}

// later is the same events on a clock that is ahead by off.
func later(ev *Events, off float64) *Events {
	out := &Events{}
	for _, g := range ev.Gaits {
		out.Gaits = append(out.Gaits, Span{g.Gait, g.FromS + off, g.ToS + off})
	}
	return out
}

// The motion's clock is set ahead by what a round has not, and told again. The constants were fitted on
// rounds 0, 2, 4 …; the interval holds in the others as often.
func TestClockByGaitsOverTheLabelledRounds(t *testing.T) {
	rounds := roundsOfTwo(t)
	for half, title := range []string{"fitted on", "checked on"} {
		told, held, all := 0, 0, 0
		var miss, wide []float64
		for i, r := range rounds {
			if i%2 != half {
				continue
			}
			for _, off := range []float64{0, 7.4, -40.2, 3600, 25205, -14 * 3600} {
				all++
				c := ClockByGaits(later(r.ev, off), r.track)
				if c.OffsetS == nil {
					t.Logf("%s, ahead by %v s: %s", r.name, off, c.Why)
					continue
				}
				told++
				miss, wide = append(miss, math.Abs(c.OffsetS.Value-off)), append(wide, (c.OffsetS.High-c.OffsetS.Low)/2)
				require.Less(t, math.Abs(c.OffsetS.Value-off), 2.0, "%s, ahead by %v s: %+v", r.name, off, *c.OffsetS)
				require.Nil(t, c.DriftPPM)
				if c.OffsetS.Low <= off && off <= c.OffsetS.High {
					held++
				} else if off == 0 {
					t.Logf("%s: %+v", r.name, *c.OffsetS)
				}
			}
		}
		t.Logf("%s: told %d of %d, inside the interval %d, median error %.2f s, median half interval %.2f s",
			title, told, all, held, median(miss), median(wide))
		require.GreaterOrEqual(t, float64(told), 0.9*float64(all))
		require.GreaterOrEqual(t, float64(held), 0.8*float64(told))
	}
}

// paced is a 1-Hz track along a meridian at the pace of the gaits, and the gaits themselves. Speeds change over two
// seconds about each change of gait.
func paced(t *testing.T, lengths []float64, gaits []Gait) (*Events, *track.Track) {
	ev := &Events{}
	at := 0.0
	for i, l := range lengths {
		ev.Gaits = append(ev.Gaits, Span{gaits[i%len(gaits)], at, at + l})
		at += l
	}
	speed := func(x float64) float64 {
		var v float64
		for i, g := range ev.Gaits {
			w := math.Min(1, math.Max(0, (x-g.FromS+1)/2))
			if i == 0 {
				w = 1
			}
			v += w * (trackBands[g.Gait].meanMS - v)
		}
		return v
	}
	p := &trace.Positions{RateHz: 1}
	var north float64
	rng := rand.New(rand.NewPCG(7, 8))
	const fine = 20
	for i := 0; i < int(at)*fine; i++ {
		x := float64(i) / fine
		if i%fine == 0 {
			p.TimeS = append(p.TimeS, x)
			p.LatDeg = append(p.LatDeg, 50+(north+0.2*rng.NormFloat64())/111229)
			p.LonDeg = append(p.LonDeg, 8+0.2*rng.NormFloat64()/71700)
			p.Segment = append(p.Segment, 0)
		}
		north += speed(x) / fine
	}
	return ev, trackOf(t, p)
}

func TestClockByGaitsFindsWhatWasSet(t *testing.T) {
	ev, tr := paced(t, []float64{40, 31, 52, 24, 61, 35, 28, 47}, []Gait{Walk, Trot, Canter, Trot})
	for _, off := range []float64{0, -3.3, 12.25, 600, -7 * 3600} {
		c := ClockByGaits(later(ev, off), tr)
		require.NotNil(t, c.OffsetS, c.Why)
		require.InDelta(t, off, c.OffsetS.Value, 0.5)
		require.LessOrEqual(t, c.OffsetS.Low, off)
		require.GreaterOrEqual(t, c.OffsetS.High, off)
		require.Equal(t, 7, c.Changes)
		require.Greater(t, c.Agree, 0.95)
	}
	// Nobody's clock is off by two days.
	c := ClockByGaits(later(ev, 48*3600), tr)
	require.Nil(t, c.OffsetS)
	require.NotEmpty(t, c.Why)
}

func TestClockByGaitsTellsDrift(t *testing.T) {
	var lengths []float64
	for i := range 24 {
		lengths = append(lengths, 50+float64(i*37%40))
	}
	ev, tr := paced(t, lengths, []Gait{Walk, Trot, Canter, Trot})
	require.Nil(t, ClockByGaits(ev, tr).DriftPPM)
	fast := &Events{}
	for _, g := range ev.Gaits {
		fast.Gaits = append(fast.Gaits, Span{g.Gait, g.FromS * 1.003, g.ToS * 1.003})
	}
	c := ClockByGaits(fast, tr)
	require.NotNil(t, c.DriftPPM, c.Why)
	require.LessOrEqual(t, c.DriftPPM.Low, 3000.0)
	require.GreaterOrEqual(t, c.DriftPPM.High, 3000.0)
}

func TestClockByGaitsRefuses(t *testing.T) {
	ev, tr := paced(t, []float64{60, 60, 60, 60, 60, 60, 60, 60, 60, 60, 60, 60}, []Gait{Walk, Trot})
	require.NotEmpty(t, ClockByGaits(nil, tr).Why)
	require.NotEmpty(t, ClockByGaits(ev, nil).Why)
	require.NotEmpty(t, ClockByGaits(&Events{}, tr).Why)

	few := ClockByGaits(&Events{Gaits: ev.Gaits[:4]}, tr)
	require.Nil(t, few.OffsetS)
	require.Contains(t, few.Why, "changes of gait")

	// The same minute again and again: six of twelve minutes fit at several places.
	same := ClockByGaits(later(&Events{Gaits: ev.Gaits[2:8]}, 3600), tr)
	require.Nil(t, same.OffsetS)
	require.Contains(t, same.Why, "clearly better")

	// A ride at other gaits.
	other, _ := paced(t, []float64{33, 71, 20, 95, 44, 58, 23, 61}, []Gait{Canter, Halt})
	require.Nil(t, ClockByGaits(other, tr).OffsetS)
}
