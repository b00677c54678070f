package report

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/trace"
)

// The parts of a line's ground add up to what was ridden, to the millimetre; on a straight line the tape makes each better known
// than by itself, and landing and strides hang together.
func TestBudgetAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string, low, high float64) trace.Estimate {
			return trace.FromSD(rapid.Float64Range(low, high).Draw(t, name), rapid.Float64Range(hoofReachSDM, 0.6).Draw(t, name+" sd"))
		}
		landing, track, takeoff := draw("landing", 0.5, 4), draw("track", 2, 80), draw("takeoff", 0.5, 3)
		ground := landing.Value + track.Value + takeoff.Value + rapid.Float64Range(-3, 3).Draw(t, "off")
		straight := rapid.Bool().Draw(t, "straight")
		b := budgetOf(ground, landing, track, takeoff, straight)
		require.InDelta(t, b.DistanceM+b.TrackExtraM.Value, b.LandingM.Value+b.StridesM.Value+b.TakeoffM.Value, 1e-9)
		if !straight {
			require.InDelta(t, landing.Value, b.LandingM.Value, 1e-3)
			return
		}
		require.LessOrEqual(t, b.LandingM.SD(), landing.SD()+2e-3)
		require.LessOrEqual(t, b.StridesM.SD(), max(track.SD(), hoofReachSDM)+2e-3)
		require.LessOrEqual(t, b.TrackExtraM.SD(), straightMoreSDM+1e-9)
	})
	// By hand: three parts of sd 0.2, 0.3, 0.2 (less the shared reach) that miss the tape by 0.5 m: the sum's own variance without the
	// shared reach, which cancels, is 0.2² - 0.06² + 0.3² - 0.12² + 0.2² - 0.06² = 0.1484, so all but 0.15²/(0.1484 + 0.15²) of it is taken up.
	b := budgetOf(21.95, trace.FromSD(1.7, 0.2), trace.FromSD(18.2, 0.3), trace.FromSD(1.6, 0.2), true)
	require.InDelta(t, 0.05-(21.95+0.05-21.5)*0.0225/(0.1484+0.0225), b.TrackExtraM.Value, 2e-3)
}

// What is said follows from the probabilities: at least 0.95 plainly, from 0.75 "probably", below not at all.
func TestAnswersAreGraded(t *testing.T) {
	say := func(pLong float64, perStrideM float64) ElementAnswer {
		d := fullRound()
		d.Plan = nil
		long := "long"
		for i := range d.Lines {
			l := &d.Lines[i]
			if l.From == "5" {
				l.Fit = &Fit{PerStrideM: within(perStrideM, 0.1), PLong: pLong, PRight: 1 - pLong, Against: AgainstRide}
				if pLong >= 0.75 {
					l.Fit.Says = &long
				}
			}
		}
		for _, a := range d.AnswersIn(Metric) {
			if a.Element == "5-6" {
				return a
			}
		}
		t.Fatal("no answer")
		return ElementAnswer{}
	}
	require.Contains(t, say(0.97, 0.3).What, "long for this horse, 0.3 m a stride")
	require.NotContains(t, say(0.97, 0.3).What, "probably long")
	require.Contains(t, say(0.8, 0.3).What, "probably long for this horse")
	require.InDelta(t, 0.8, say(0.8, 0.3).P, 1e-9)
	require.NotContains(t, say(0.6, 0.3).What, "long")
}

func TestAnswersInWords(t *testing.T) {
	d := fullRound()
	for i := range d.Lines {
		l := &d.Lines[i]
		if l.From == "3" {
			l.Strides = &trace.Estimate{Value: 5.6, Low: 5, High: 6}
		}
		if l.From == "8" {
			l.Strides = &trace.Estimate{Value: 5, Low: 5, High: 5}
		}
	}
	said := map[string]ElementAnswer{}
	for _, a := range d.AnswersIn(Metric) {
		said[a.Element] = a
	}
	require.Contains(t, said["3-4"].What, "Five or six strides (five planned)")
	require.Contains(t, said["8-9"].What, "Five strides, one added")
	require.Contains(t, said["8-9"].Against, "plan")
	require.NotNil(t, said["8-9"].Next)
	require.Contains(t, said["round 1"].What, "time allowed")
	for _, a := range said {
		require.GreaterOrEqual(t, a.P, 0.0)
		require.LessOrEqual(t, a.P, 1.0)
		require.True(t, strings.HasSuffix(a.What, "."), a.What)
		require.False(t, strings.Contains(a.What, "NaN"))
		for _, e := range a.Figures {
			require.False(t, math.IsNaN(e.Value))
		}
	}
	feet := d.AnswersIn(Imperial)
	for _, a := range feet {
		require.NotRegexp(t, `\d m( |\.|,)`, a.What)
	}
}

// No suggestion asks for more pace than the plan's: where a stride was added at or above it, or the plan has none, the added
// stride is the answer.
func TestSuggestionsAskForNoMorePaceThanThePlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := Line{To: "4", Kind: rapid.SampledFrom([]string{"related", "bending", "combination"}).Draw(t, "kind"), PlannedStrides: ptr(5)}
		s := speaker{speedMS: rapid.SampledFrom([]float64{0, 5.4}).Draw(t, "plan")}
		v := within(rapid.Float64Range(3.5, 7).Draw(t, "pace"), 0.1)
		off := rapid.IntRange(-2, 2).Draw(t, "off")
		pace := s.paceOff(v)
		words := s.nextOnALine(&l, off, rapid.SampledFrom([]string{"", "long", "right", "short"}).Draw(t, "verdict"), pace, causes{}, edgeSaid{})
		if strings.Contains(words, "pick up") {
			require.Positive(t, s.speedMS)
			require.Less(t, v.Value, s.speedMS)
			require.Contains(t, words, "and no more")
		}
	})
}
