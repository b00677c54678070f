package validate

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/report"
	"groundline/trace"
)

// made is a debrief of n efforts over obstacles 1 to 5 again and again, and labels of it by a film whose clock is
// offS ahead and gains ppm millionths, rounded to frames.
func made(n int, offS, ppm, fps float64, noise func() float64) (*report.Debrief, []Label) {
	d := &report.Debrief{Schema: report.Schema, Basis: "motion"}
	var labels []Label
	t := 20.0
	film := func(v float64) float64 {
		v = offS + (1+ppm/1e6)*v
		if fps > 0 {
			v = math.Floor(v*fps) / fps
		}
		return v
	}
	for i := range n {
		id := fmt.Sprint(i%5 + 1)
		to, ld := t, t+0.5
		d.Efforts = append(d.Efforts, report.Effort{Obstacle: &id, Attempt: i/5 + 1, Outcome: "jumped",
			TakeoffS: est(to+noise(), 0.03), LandingS: est(ld+noise(), 0.03)})
		a, b := film(to), film(ld)
		labels = append(labels, Label{File: "l", Row: 2*i + 2, Event: Takeoff, Obstacle: id, Attempt: i/5 + 1, TimeS: &a, Sure: 1},
			Label{File: "l", Row: 2*i + 3, Event: Landing, Obstacle: id, Attempt: i/5 + 1, TimeS: &b, Sure: 1})
		t += 3.1 + 1.7*math.Abs(math.Sin(float64(i)*1.3))
	}
	return d, labels
}

func est(v, sd float64) *trace.Estimate {
	e := trace.FromSD(v, sd)
	return &e
}

func none() float64 { return 0 }

// Whatever the film's offset and drift, they are found, and the pairs lie on each other.
func TestClockIsFound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		off := rapid.Float64Range(-5000, 5000).Draw(t, "off")
		ppm := rapid.Float64Range(-200, 200).Draw(t, "ppm")
		d, labels := made(30, off, ppm, 0, none)
		c, err := Match(labels, d, nil)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(c.OffsetS.Value-off) > 0.01 || c.DriftPPM == nil || math.Abs(c.DriftPPM.Value-ppm) > 10 {
			t.Fatalf("%v %v", c.OffsetS, c.DriftPPM)
		}
		j, err := Ride(RideInput{Name: "r", Debrief: d, Labels: labels})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range j.Pairs {
			if p.Seen == nil || p.Found == nil || math.Abs(*p.Seen-p.Found.Value) > 0.01 {
				t.Fatalf("%+v", p)
			}
		}
	})
}

func TestClockIsRefused(t *testing.T) {
	d, labels := made(20, 12, 0, 0, none)
	for name, c := range map[string]struct {
		labels []Label
		want   string
	}{
		"few":   {labels[:3], "expected 4 or more"},
		"other": {shiftFrom(labels, 0, func(i int) float64 { return 40 * math.Sin(float64(i*i*i)*2.7) }), "can't be matched"},
		"jump":  {shiftFrom(labels, 20, func(int) float64 { return 9 }), "l:22: the film's clock can't be matched to the ride's: from here on its times are 9.0 s off"},
		"fps":   {scaled(labels, 25.0/30), "its times run 0.8333 times as fast"},
	} {
		_, err := Match(c.labels, d, nil)
		var why *ClockError
		require.True(t, errors.As(err, &why), "%s: %v", name, err)
		require.ErrorContains(t, err, c.want, name)
	}
	// Fences at even times, not named: every shift by one fits nearly as well.
	even := &report.Debrief{}
	var anyOf []Label
	for i := range 12 {
		even.Efforts = append(even.Efforts, report.Effort{Outcome: "jumped", TakeoffS: est(10+5*float64(i), 0.03)})
		v := 50 + 5*float64(i)
		anyOf = append(anyOf, Label{File: "l", Row: i + 2, Event: Takeoff, TimeS: &v, Sure: 1})
	}
	_, err := Match(anyOf, even, nil)
	require.ErrorContains(t, err, "fits as well as one of")
	c, err := Match(anyOf, even, ptr(40.0))
	require.NoError(t, err)
	require.True(t, c.Given)
	require.Equal(t, 12, c.Events)
}

func ptr[T any](v T) *T { return &v }

func shiftFrom(labels []Label, from int, by func(i int) float64) []Label {
	out := append([]Label(nil), labels...)
	for i := from; i < len(out); i++ {
		out[i].TimeS = ptr(*out[i].TimeS + by(i))
	}
	return out
}

func scaled(labels []Label, by float64) []Label {
	out := append([]Label(nil), labels...)
	for i := range out {
		out[i].TimeS = ptr(*out[i].TimeS * by)
	}
	return out
}

// What the film's frames add is taken out of the spread, and the noise that was put in comes back.
func TestSpreadComesBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	var all []RideInput
	for r := range 12 {
		d, labels := made(20, float64(r)*100, 30, 25, func() float64 { return 0.03 * rng.NormFloat64() })
		all = append(all, RideInput{Name: fmt.Sprint(r), Debrief: d, Labels: labels, FPS: 25})
	}
	res, _, err := Judge(all)
	require.NoError(t, err)
	require.Equal(t, Takeoff, res.Events[0].Event)
	require.Equal(t, 240, res.Events[0].Pairs)
	require.InDelta(t, 0.03, *res.Events[0].Agreement.SD, 0.004)
	require.InDelta(t, 0.03*math.Sqrt2, *res.Events[2].Agreement.SD, 0.005) // flights
	require.InDelta(t, 0.9, res.Coverage[0].Inside.Share.Value, 0.06)
}

// Labels of another ride are refused, counts alone are enough, and slips of one rater stand by line.
func TestCountsAndRaters(t *testing.T) {
	d := &report.Debrief{Basis: "position", Lines: []report.Line{
		{From: "3", To: "4", Attempt: 1, Strides: est(5, 0)}, {From: "3", To: "4", Attempt: 2, Strides: est(6, 0.3)}, {From: "4", To: "5", Attempt: 1}}}
	labels, err := ReadLabels("rail.csv", []byte(`event,line,attempt,count,rater
strides,3-4,1,5,Ash
strides,3-4,2,5,Ash
strides,4-5,1,7,Ash
strides,3-4,1,5,Bay
strides,3-4,2,6,Bay
`), LabelOptions{})
	require.NoError(t, err)
	res, judged, err := Judge([]RideInput{{Name: "monday", Debrief: d, Labels: labels}})
	require.NoError(t, err)
	require.Nil(t, res.Clock)
	require.Equal(t, Share{Of: 4, Is: 3, Share: res.Counts.Exact.Share}, res.Counts.Exact)
	require.Equal(t, 4, res.Counts.WithinOne.Is)
	require.Equal(t, 1, res.Counts.Missing)
	require.Len(t, res.Raters.Slips, 1)
	require.Equal(t, "rail.csv:3", res.Raters.Slips[0].LabelA)
	require.Equal(t, "rail.csv:6", res.Raters.Slips[0].LabelB)
	require.Equal(t, "6", res.Raters.Slips[0].Recording)
	var b bytes.Buffer
	require.NoError(t, Text(&b, res))
	require.Contains(t, b.String(), "Of 4 lines, 3 had the right number of strides")
	b.Reset()
	require.NoError(t, JSON(&b, res))
	require.True(t, json.Valid(b.Bytes()))
	b.Reset()
	require.NoError(t, HTML(&b, res))
	require.Contains(t, b.String(), "<h2>Strides of lines</h2>")
	b.Reset()
	require.NoError(t, PairsCSV(&b, judged))
	require.Equal(t, 6, strings.Count(b.String(), "\n"))
	b.Reset()
	require.NoError(t, ShareCSV(&b, judged))
	for _, name := range []string{"Ash", "Bay", "monday", "rail.csv"} {
		require.NotContains(t, b.String(), name)
	}

	_, err = Ride(RideInput{Name: "x", Debrief: d, Labels: []Label{{File: "l", Row: 2, Event: Refusal, Obstacle: "12"}}})
	require.ErrorContains(t, err, "l:2: obstacle: 1 of 1 obstacles named are not of this ride")
}

func TestCellsAreInert(t *testing.T) {
	require.Equal(t, "'=1+1", inert("=1+1"))
	require.Equal(t, "3-4", inert("3-4"))
}
