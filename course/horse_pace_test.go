package course

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/trace"
)

func est(v, sd float64) *trace.Estimate {
	e := trace.FromSD(v, sd)
	return &e
}

// The chances of all numbers are one, and without doubt the nearest has all of it.
func TestChance(t *testing.T) {
	require.Equal(t, 1.0, chance(trace.Exactly(5.2), 0, 5))
	require.Zero(t, chance(trace.Exactly(5.2), 0, 6))
	sum := 0.0
	for n := range 30 {
		sum += chance(trace.FromSD(5.2, 0.4), 0.05, n)
	}
	require.InDelta(t, 1, sum, 1e-9)
	// 5.0 with a standard deviation of 0.5: within one standard deviation, 0.6827.
	require.InDelta(t, 0.6827, chance(trace.FromSD(5, 0.5), 0, 5), 1e-4)
}

func TestAtPace(t *testing.T) {
	h := HorseFromHooves("x", trace.FromSD(3.4, 0.1), trace.FromSD(1.9, 0.1), trace.FromSD(1.7, 0.1))
	h.SpeedMS, h.StridePerMS = est(5.5, 0.1), est(0.5, 0.1)
	q := h.AtPace(6)
	require.InDelta(t, 3.65, q.StrideM.Value, 1e-9)
	require.InDelta(t, 1.9+0.37*3.65, q.LandingM.Value, 1e-9)
	require.Greater(t, q.StrideM.SD(), h.StrideM.SD())
	require.Equal(t, 6.0, q.SpeedMS.Value)
	require.Equal(t, 5.5, h.SpeedMS.Value, "the horse itself stays")
	h.StridePerMS = nil
	require.Equal(t, h.StrideM, h.AtPace(6).StrideM, "not known, not changed")
	require.GreaterOrEqual(t, q.AtPace(0.1).StrideM.Value, minStrideM)
}

// A horse file says again what was written.
func TestWriteHorse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		figure := func(name string, low, high float64) trace.Estimate {
			v := rapid.Float64Range(low, high).Draw(t, name)
			return trace.Estimate{Value: v, Low: v - rapid.Float64Range(0, 1).Draw(t, name+" down")*(v-low), High: v + rapid.Float64Range(0, 1).Draw(t, name+" up")*(high-v)}
		}
		maybe := func(name string, low, high float64) *trace.Estimate {
			if !rapid.Bool().Draw(t, "has "+name) {
				return nil
			}
			e := figure(name, low, high)
			return &e
		}
		stride := figure("stride", 1, 8)
		h := Profile{StrideM: stride.Value, LowM: stride.Low, HighM: stride.High}.Horse()
		if rapid.Bool().Draw(t, "hooves") {
			h = HorseFromHooves("", h.StrideM, figure("landing", 0, 5), figure("take-off", 0, 5))
		}
		h.Name, h.Source = rapid.StringMatching(`|[A-Za-zé"':#\\]{1,20}`).Draw(t, "name"), "by whom: it was"
		h.SpeedMS, h.TurnMS = maybe("pace", 1, 19), maybe("turn pace", 1, 19)
		h.StrideS, h.StridePerMS = maybe("time", 0.3, 1), maybe("per pace", 0, 2)
		h.HomewardRel = maybe("home", -0.5, 0.5)
		got, err := ReadHorse("h", WriteHorse(h))
		require.NoError(t, err, string(WriteHorse(h)))
		require.Equal(t, string(WriteHorse(h)), string(WriteHorse(got)))
		require.InDelta(t, h.StrideM.Low, got.StrideM.Low, 1e-4)
		require.InDelta(t, h.TakeoffM.Value, got.TakeoffM.Value, 1e-3)
		require.InDelta(t, h.LandingM.Value, got.LandingM.Value, 1e-3)
	})
	// What no file may say is written as far as it may.
	h := HorseFromHooves("", trace.FromSD(1.2, 0.5), trace.FromSD(0.1, 0.3), trace.FromSD(0.2, 0.3))
	h.HomewardRel = est(0.1, 3)
	_, err := ReadHorse("h", WriteHorse(h))
	require.NoError(t, err)
	require.Contains(t, string(WriteHorse(h)), "low: 0,")
}

func TestHorseFileSaysMore(t *testing.T) {
	h, err := ReadHorse("h.yaml", []byte("horse: groundline/1\nstride: 3.4\nlanding: 1.8\ntakeoff: 1.6\nturn_pace: 300\nstride_time: 0.61\nstride_per_pace: 0.5\nsource: by tape\n"))
	require.NoError(t, err)
	require.InDelta(t, 5, h.TurnMS.Value, 1e-9)
	require.Equal(t, 0.61, h.StrideS.Value)
	require.Equal(t, 0.5, h.StridePerMS.Value)
	require.Equal(t, "by tape", h.Source)
	_, err = ReadHorse("h.yaml", []byte("horse: groundline/1\nstride: 3.4\nstride_time: 6\nturn_pace: 3\nsource: ''\n"))
	require.Equal(t, 3, strings.Count(err.Error(), "\n")+1, err.Error())
}

// In a combination horses go by the tables' in-and-outs, not by landing, strides and take-off: 7.77 m over 3 ft is one stride
// (US Equestrian's chart), where the law of the lines has 1.12. A horse measured at the hooves that has the 12-ft horse's
// ground on five strides has it there too.
func TestCombinationsAreTheTables(t *testing.T) {
	measured := HorseFromHooves("", trace.Exactly(3.4), trace.Exactly(1.9), trace.Exactly(0))
	measured.TakeoffM = trace.Exactly(6*StandardStrideM - 5*3.4 - measured.LandingM.Value)
	for _, h := range []Horse{Profiles()[0].Horse(), measured} {
		for n, ft := range map[int]float64{1: 25.5, 2: 36.5} {
			q := twoFences(feet(ft, 0)+0.6, 0, 0)
			for i := range q.Obstacles {
				q.Obstacles[i].HeightM = feet(3, 0)
			}
			l := q.Walk(h).Lines[0]
			require.Equal(t, Combination, l.Kind)
			require.InDelta(t, float64(n), l.Real.Value, 1e-6)
			for _, a := range l.Asked {
				if a.Strides == n {
					require.Equal(t, "right", a.Says)
					require.InDelta(t, h.StrideM.Value, a.StrideM.Value, 1e-6)
				}
			}
			require.InDelta(t, -l.In[0].LeftM.Value, l.In[1].LeftM.Value, 1e-9, "weak and forward alike")
		}
	}
}

// The ground of a bending line is the sweep that jumps both fences square, unless it was walked.
func TestGroundOfABendingLine(t *testing.T) {
	q := twoFences(24.6, 35, 35)
	l := q.Walk(exactHorse(3.5, 1.75, 1.75)).Lines[0]
	require.InDelta(t, l.Square.LengthM, l.GroundM.Value, 1e-9)
	walkedM := 25.5
	q.SetLines([]Line{{From: "1", To: "2", WalkedM: &walkedM}})
	require.InDelta(t, 25.5, q.Walk(exactHorse(3.5, 1.75, 1.75)).Lines[0].GroundM.Value, 1e-9)
}

// The tables' word that a distance lies between two numbers is for horses of the tables: 5.5 strides here.
func TestFitOfAMeasuredHorseIsTheLines(t *testing.T) {
	q := twoFences(feet(78, 0)+0.6, 0, 0)
	between := func(h Horse) bool {
		for _, w := range q.Walk(h).Figures.Warnings {
			if w.Source == ponyRule {
				return true
			}
		}
		return false
	}
	require.True(t, between(Profiles()[0].Horse()))
	h := HorseFromHooves("", trace.Exactly(3.4), trace.Exactly(1.9), trace.Exactly(0))
	h.TakeoffM = trace.Exactly(6*StandardStrideM - 5*3.4 - h.LandingM.Value)
	require.False(t, between(h))
}
