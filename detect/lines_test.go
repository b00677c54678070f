package detect

import (
	"testing"

	"github.com/stretchr/testify/require"
	"groundline/trace"
	"groundline/trace/synth"
)

// TestAStrideWithoutAPeakIsCounted: where a stride left no load peak (flattened here), the rhythm around it still has its beat,
// and the count says that it is in doubt or right.
func TestAStrideWithoutAPeakIsCounted(t *testing.T) {
	made := aRound(t, synth.Warmblood(), 1)
	m := aMotion(t, made, saddle(100), 2)
	whole := events(t, m)
	_, beats := whole.CountBetween(whole.Jumps[1].LandPeakS, whole.Jumps[2].PushPeakS)
	require.Greater(t, len(beats), 10)
	gone := beats[6]
	n := *m
	flat := func(x []float64) []float64 {
		y := append([]float64(nil), x...)
		a, b := -1, -1
		for i, s := range m.TimeS {
			if s > gone-0.25 && a < 0 {
				a = i
			}
			if s < gone+0.25 {
				b = i
			}
		}
		for i := a; i <= b; i++ {
			w := float64(i-a) / float64(b-a)
			y[i] = (1-w)*x[a] + w*x[b]
		}
		return y
	}
	n.AX, n.AY, n.AZ = flat(m.AX), flat(m.AY), flat(m.AZ)
	ev := events(t, &n)
	require.Len(t, ev.Jumps, len(whole.Jumps))
	count, got := ev.CountBetween(ev.Jumps[1].LandPeakS, ev.Jumps[2].PushPeakS)
	t.Log(count)
	require.Len(t, got, len(beats))
	require.InDelta(t, gone, got[6], 0.06)
	require.LessOrEqual(t, count.Low, float64(len(beats)))
	require.GreaterOrEqual(t, count.High, float64(len(beats)))
}

// TestCountOfForeignEvents: events that hold no more than instants are counted as they are.
func TestCountOfForeignEvents(t *testing.T) {
	ev := &Events{BeatS: []float64{1, 2, 3, 4, 5}}
	n, beats := ev.CountBetween(1, 4.5)
	require.Equal(t, trace.Exactly(3), n)
	require.Equal(t, []float64{2, 3, 4}, beats)
	n, beats = ev.CountBetween(7, 3)
	require.Equal(t, trace.Exactly(0), n)
	require.Empty(t, beats)
	n, _ = (&Events{}).CountBetween(0, 1)
	require.Equal(t, trace.Exactly(0), n)
}

// TestCountsAddUp: the probabilities of a line's counts against a count of all paths by hand.
func TestCountsAddUp(t *testing.T) {
	// landing at 0, push-off at 2.2 strides of 0.6 s later, and between them peaks on the beat and one off it
	const T = 0.6
	const first = usualFromLand * T
	at := []float64{0, first, first + 0.5*T, first + T, first + T + usualToPush*T}
	c := &canterPath{r: rhythm{strideS: func(float64) float64 { return T }, sd: strideSD, prom: 10, high: 8,
		toPush: usualToPush, fromLand: usualFromLand, placeSD: placeSD}}
	for _, s := range at {
		c.pk = append(c.pk, peak{t: s, h: 8, prom: 10})
	}
	c.pk[2].prom = 3
	c.cum = []float64{0, skipWorst, 2 * skipWorst, 2*skipWorst + gaussCost(3/2.0), 3*skipWorst + gaussCost(3/2.0), 4*skipWorst + gaussCost(3/2.0)}
	p := c.counts(0, 4, 2)
	require.NotNil(t, p)
	var sum float64
	for _, x := range p {
		sum += x
	}
	require.InDelta(t, 1, sum, 1e-12)
	require.Greater(t, p[2], 0.95)
	require.Zero(t, p[0])
}
