package course

import (
	"math"
	"math/rand/v2"
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

// One line without slope or home, by hand: five strides tell the horse's own to 1/(5√12) = 5.77 %, lines differ by 5 %,
// together 7.64 %; beforehand 3.4 m to 15 %. In logarithms the weights are 171.4 and 44.4.
func TestHorseFromOneLine(t *testing.T) {
	r := Ridden{Name: "Bramble", Rides: 1, Lines: []RiddenLine{{Line: "a", Kind: Related, Strides: trace.Exactly(5), StrideM: trace.Exactly(3.7)}}}
	h, err := HorseFromRides(r, nil)
	require.NoError(t, err)
	want := math.Exp((171.4*math.Log(3.7) + 44.4*math.Log(3.4)) / (171.4 + 44.4))
	require.InDelta(t, want, h.StrideM.Value, 1e-3)
	require.InDelta(t, want/math.Sqrt(171.4+44.4), h.StrideM.SD(), 1e-3)
	require.InDelta(t, homewardRel, h.HomewardRel.Value, 1e-9, "nothing learnt of home")
	require.InDelta(t, gradeRel, h.GradeRel.Value, 1e-9)
	require.Nil(t, h.SpeedMS)
	require.Nil(t, h.HoofLandingM, "no jump was measured")
	require.InDelta(t, h.StrideM.Value/2, h.LandingM.Value, 1e-9)
	require.Contains(t, h.Source, "1 line, 0 jumps and 1 recording")
	require.Contains(t, h.Source, "half a stride each")

	// The same line again on the same number tells no more of what the number leaves open.
	r.Lines = append(r.Lines, r.Lines[0], r.Lines[0], r.Lines[0])
	again, err := HorseFromRides(r, nil)
	require.NoError(t, err)
	require.Greater(t, again.StrideM.SD()/again.StrideM.Value, 0.05)
	// Another line does.
	r.Lines[1].Line, r.Lines[2].Line, r.Lines[3].Line = "b", "c", "d"
	other, err := HorseFromRides(r, nil)
	require.NoError(t, err)
	require.Less(t, other.StrideM.SD()/other.StrideM.Value, 0.04)

	// A small pony is known to be one beforehand.
	pony := Profiles()[4]
	small, err := HorseFromRides(Ridden{Lines: r.Lines[:1]}, &pony)
	require.NoError(t, err)
	require.Less(t, small.StrideM.Value, 3.6)
	require.Less(t, small.StrideM.Value, h.StrideM.Value)
}

func TestNoHorseWithoutALine(t *testing.T) {
	for _, lines := range [][]RiddenLine{nil, {{Kind: Single, Strides: trace.Exactly(9), StrideM: trace.Exactly(3)}},
		{{Kind: Related, Strides: trace.Exactly(0), StrideM: trace.Exactly(3)}}, {{Kind: Related, Strides: trace.Exactly(4)}}, {{Kind: Rollback, Strides: trace.Exactly(9), StrideM: trace.Exactly(3), SpeedMS: est(5, 0.1)}}} {
		_, err := HorseFromRides(Ridden{Lines: lines}, nil)
		require.ErrorIs(t, err, ErrNoLine)
	}
}

// A recording that tells the hooves' distances 0.6 m too short, but strides and ground right: the lines put it right as far
// as they can be believed.
func TestEdgesAsOnTheGround(t *testing.T) {
	// By hand: landing 1.9 + five strides of 3.4 + 0.37 strides + take-off 1.7.
	ground := 1.9 + 5.37*3.4 + 1.7
	line := RiddenLine{Line: "a", Kind: Related, Strides: trace.Exactly(5), StrideM: trace.FromSD(3.4, 0.02), GroundM: &ground}
	landing, takeoff := asOnTheGround(trace.FromSD(1.6, 0.25), trace.FromSD(1.4, 0.25), []RiddenLine{line, line})
	require.InDelta(t, 3.6, landing.Value+takeoff.Value, 0.25)
	require.InDelta(t, 0.2, landing.Value-takeoff.Value, 1e-9, "moved alike")
	require.Less(t, landing.SD(), 0.25)
	same, _ := asOnTheGround(trace.FromSD(1.6, 0.25), trace.FromSD(1.4, 0.25), nil)
	require.Equal(t, trace.FromSD(1.6, 0.25), same)
	line.StrideM = trace.FromSD(3.4, 1) // hardly measured: hardly moved
	landing, takeoff = asOnTheGround(trace.FromSD(1.6, 0.25), trace.FromSD(1.4, 0.25), []RiddenLine{line})
	require.InDelta(t, 3.0, landing.Value+takeoff.Value, 0.02)
}

// With ground and edges known a counted line tells its stride whatever the recording's pace says; by hand (21.95 - 3.6)/5.37 =
// 3.417 m. A number in doubt leaves both a say.
func TestStrideByTheGround(t *testing.T) {
	ground := 21.95
	l := RiddenLine{Line: "a", Kind: Related, Strides: trace.Exactly(5), StrideM: trace.FromSD(3.7, 0.1), GroundM: &ground}
	require.InDelta(t, 3.417, byGround(l, 3.6, 0.2).Value, 1e-3)
	require.InDelta(t, math.Hypot(math.Hypot(0.2, tapeDoubtM), 3.417*0.08)/5.37, byGround(l, 3.6, 0.2).SD(), 1e-3)
	l.Strides = trace.FromSD(5, 0.5)
	between := byGround(l, 3.6, 0.2)
	require.Greater(t, between.Value, 3.45)
	require.Less(t, between.Value, 3.7)
	require.Less(t, between.SD(), 0.1)
	require.Equal(t, l.StrideM, byGround(l, 0, math.Inf(1)), "edges not known")
	l.Kind = Bending
	require.Equal(t, l.StrideM, byGround(l, 3.6, 0.2), "the way ridden is not known")
}

// Horses drawn as the method takes them to be, ridden over random lines on the whole number nearest to their stride of the
// day: the interval of the stride holds the truth nine times in ten, and the chance told of the number of strides on a new
// line is the part of them that is ridden on it.
func TestHorseFromRidesHoldsWhatItSays(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7, 1))
	normal := rnd.NormFloat64
	const horses = 1500
	holds, right, chances := 0, 0, 0.0
	for range horses {
		own := anyStrideM * math.Exp(anyStrideRelSD*normal())
		home, grade := homewardRel+homewardRelSD*normal(), gradeRel+gradeRelSD*normal()
		landing, takeoff := 1.8+0.2*normal(), 1.7+0.2*normal()
		ride := func() (ground, homeward, slope float64, n int, stride float64) {
			homeward, slope = 2*rnd.Float64()-1, 0.06*rnd.Float64()-0.03
			free := own * math.Exp(home*homeward+grade*slope+lineSDRel*normal())
			ground = 15 + 12*rnd.Float64()
			n = max(1, int(math.Round((ground-landing-takeoff)/free-getawayStrides)))
			stride = (ground - landing - takeoff) / (float64(n) + getawayStrides)
			return
		}
		r := Ridden{Rides: 1}
		for i := range 4 {
			_, homeward, slope, n, stride := ride()
			r.Lines = append(r.Lines, RiddenLine{Line: string(rune('a' + i)), Kind: Related, Strides: trace.Exactly(float64(n)),
				StrideM: trace.FromSD(stride+0.05*normal(), 0.05), Homeward: &homeward, Grade: &slope})
			r.LandingM = append(r.LandingM, trace.FromSD(landing+0.2*normal(), 0.1))
			r.TakeoffM = append(r.TakeoffM, trace.FromSD(takeoff+0.2*normal(), 0.1))
		}
		h, err := HorseFromRides(r, nil)
		require.NoError(t, err)
		if h.StrideM.Low <= own && own <= h.StrideM.High {
			holds++
		}
		ground, homeward, slope, n, _ := ride()
		_, stride := changed(h.HomewardRel, &homeward, h.StrideM, h.StrideM)
		_, stride = changed(h.GradeRel, &slope, h.StrideM, stride)
		real := stridesOn(trace.Exactly(ground), stride, h, nil)
		told := int(math.Round(real.Value))
		chances += chance(real, h.LineSDRel, told)
		if told == n {
			right++
		}
	}
	require.InDelta(t, 0.90, float64(holds)/horses, 0.03)
	require.InDelta(t, chances/horses, float64(right)/horses, 0.05)
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

// In strides at a constant time the length grows by that time for each m/s; a horse measured so is told so, within what
// was believed beforehand.
func TestStridePerPace(t *testing.T) {
	var lines []RiddenLine
	for i := range 8 {
		v := 5 + 0.2*float64(i)
		lines = append(lines, RiddenLine{Strides: trace.Exactly(5), Kind: Related, SpeedMS: est(v, 0.01), StrideM: trace.FromSD(0.6*v, 0.01)})
	}
	per := stridePerMS(lines, est(5.7, 0.1), est(0.6, 0.01))
	require.InDelta(t, 0.6, per.Value, 0.03)
	require.Less(t, per.SD(), stridePerMSSD)
	require.InDelta(t, 0.6-0.019*350/60, stridePerMS(nil, nil, nil).Value, 1e-9, "beforehand: Tranquille et al. to Deuel and Park")
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

// What the lines of one ride have in common counts once: three rides that differ tell the pace to what three rides do, however many lines
// each has; rides that agree tell it as before.
func TestPaceKnowsThatRidesDiffer(t *testing.T) {
	ridden := func(lines int, paces ...float64) Horse {
		var r Ridden
		for i, v := range paces {
			for range lines {
				r.Lines = append(r.Lines, RiddenLine{Ride: i, Line: "a", Kind: Related, Strides: trace.Exactly(5), StrideM: trace.Exactly(3.5), SpeedMS: est(v, 0.02), StrideS: est(0.6, 0.002)})
			}
		}
		h, err := HorseFromRides(r, nil)
		require.NoError(t, err)
		return h
	}
	// By hand: means of 5, 5.5 and 6 differ by 0.5, Student's t of two degrees is 2.920.
	h := ridden(40, 5, 5.5, 6)
	require.InDelta(t, 5.5, h.SpeedMS.Value, 1e-9)
	require.InDelta(t, 2.920*0.5/math.Sqrt(3), h.SpeedMS.High-h.SpeedMS.Value, 1e-3)
	same := ridden(40, 5.5, 5.5, 5.5)
	require.Less(t, same.SpeedMS.High-same.SpeedMS.Value, 0.1)
	require.InDelta(t, h.StrideS.SD(), same.StrideS.SD(), 1e-12)
	two := ridden(2, 5, 6)
	require.Less(t, two.SpeedMS.High-two.SpeedMS.Value, 0.5, "two rides don't show how rides differ")
}
