package horse

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/course/prior"
	"groundline/trace"
)

func est(v, sd float64) *trace.Estimate {
	e := trace.FromSD(v, sd)
	return &e
}

func exactly(v float64) *trace.Estimate {
	e := trace.Exactly(v)
	return &e
}

// One line without slope or home, by hand: it is the horse's stride, and five strides show it to 1/(5√12) = 5.77 %, lines differ
// by 5 %, together 7.64 %; beside it the doubt that rides differ and Student's t.
func TestHorseFromOneLine(t *testing.T) {
	r := Rides{Name: "Bramble", Rides: 1, Lines: []Line{{Way: "a", Kind: course.Related, Strides: trace.Exactly(5), Counted: true, StrideM: exactly(3.7)}}}
	u := Of(r)
	require.InDelta(t, 3.7, u.StrideM.Mean.Value, 1e-6)
	own := u.StrideM.Own[0]
	require.InDelta(t, 3.7, own.Value, 1e-6)
	// Student's t with the twelve degrees that the lines' spread is worth is 1.782.
	require.InDelta(t, 1.782*3.7*math.Hypot(0.05, 0.0577), own.High-own.Value, 0.01)
	require.Greater(t, u.StrideM.Mean.High-u.StrideM.Mean.Low, own.High-own.Low, "rides differ besides")
	require.InDelta(t, prior.HomewardRel().Value, u.HomewardRel.Value, 1e-6, "nothing learnt of home")
	require.InDelta(t, prior.GradeRel().Value, u.GradeRel.Value, 1e-6)
	require.Nil(t, u.SpeedMS)
	h, err := u.Course()
	require.NoError(t, err)
	require.Nil(t, h.HoofLandingM, "no jump was measured")
	require.InDelta(t, h.StrideM.Value/2, h.LandingM.Value, 1e-9)
	require.Contains(t, h.Source, "1 line, 0 jumps and 1 recording")
	require.Contains(t, h.Source, "half a stride each")

	// The same line again on the same number shows no more of what the number leaves open.
	r.Lines = append(r.Lines, r.Lines[0], r.Lines[0], r.Lines[0])
	again := Of(r).StrideM.Own[0]
	require.Greater(t, again.SD()/again.Value, 0.05)
	// Another line does.
	r.Lines[1].Way, r.Lines[2].Way, r.Lines[3].Way = "b", "c", "d"
	other := Of(r).StrideM.Own[0]
	require.Less(t, other.SD(), again.SD())

	// A small pony is known to be one beforehand.
	pony := course.Profiles()[4]
	small := Of(Rides{Size: &pony, Rides: 1, Lines: r.Lines[:1]})
	require.Less(t, small.StrideM.Mean.Value, 3.6)
}

func TestNoHorseWithoutALine(t *testing.T) {
	for _, lines := range [][]Line{nil, {{Kind: course.Single, Strides: trace.Exactly(9), StrideM: exactly(3)}},
		{{Kind: course.Related, Strides: trace.Exactly(0), StrideM: exactly(3)}}, {{Kind: course.Related, Strides: trace.Exactly(4)}},
		{{Kind: course.Rollback, Strides: trace.Exactly(9), StrideM: exactly(3), SpeedMS: est(5, 0.1)}}} {
		_, err := Of(Rides{Rides: 1, Lines: lines}).Course()
		require.ErrorIs(t, err, ErrNoLine)
	}
}

// A recording that measures the hooves' distances 0.6 m too short, but strides and ground right: the lines put it right as far
// as they can be believed.
func TestEdgesAsOnTheGround(t *testing.T) {
	// By hand: landing 1.9 + five strides of 3.4 + 0.37 strides + take-off 1.7.
	ground := 1.9 + 5.37*3.4 + 1.7
	line := Line{Way: "a", Kind: course.Related, Strides: trace.Exactly(5), StrideM: est(3.4, 0.02), GroundM: &ground}
	landing, takeoff := asOnTheGround(trace.FromSD(1.6, 0.25), trace.FromSD(1.4, 0.25), []Line{line, line})
	require.InDelta(t, 3.6, landing.Value+takeoff.Value, 0.25)
	require.InDelta(t, 0.2, landing.Value-takeoff.Value, 1e-9, "moved alike")
	require.Less(t, landing.SD(), 0.25)
	same, _ := asOnTheGround(trace.FromSD(1.6, 0.25), trace.FromSD(1.4, 0.25), nil)
	require.Equal(t, trace.FromSD(1.6, 0.25), same)
	line.StrideM = est(3.4, 1) // hardly measured: hardly moved
	landing, takeoff = asOnTheGround(trace.FromSD(1.6, 0.25), trace.FromSD(1.4, 0.25), []Line{line})
	require.InDelta(t, 3.0, landing.Value+takeoff.Value, 0.02)
}

// drawn is a horse drawn as the model takes horses to be, and one ride of it.
type drawn struct{ stride, home, grade, unrelated float64 }

func draw(rng *rand.Rand) drawn {
	n := func(f prior.Figure) float64 { return f.Value + f.SD*rng.NormFloat64() }
	return drawn{3.4 * math.Exp(0.12*rng.NormFloat64()), n(prior.HomewardRel()), n(prior.GradeRel()), n(prior.UnrelatedRel())}
}

// ride has a few lines, each on the whole number of strides nearest to what the horse would do; the first is the one asked about.
func (d drawn) ride(rng *rand.Rand, ride int, dayRel float64, counted bool) (Rides, []float64) {
	r := Rides{Rides: ride + 1}
	shared := 1.0
	if !counted {
		shared += 0.05 * rng.NormFloat64()
	}
	day := d.stride * (1 + dayRel*rng.NormFloat64())
	var truth []float64
	for i := range 3 + rng.IntN(5) {
		home, slope := 2*rng.Float64()-1, 0.06*rng.Float64()-0.03
		stride := day * (1 + d.home*home + d.grade*slope + prior.LineRel().SD*rng.NormFloat64())
		kind := course.Related
		if i > 0 && rng.Float64() < 0.4 {
			kind = course.Single
			stride *= 1 + d.unrelated
		}
		n := float64(3 + rng.IntN(5))
		if kind == course.Single {
			n = float64(9 + rng.IntN(12))
		}
		stride *= 1 + (rng.Float64()-0.5)/n // as far as a whole number fits the ground
		v := stride / 0.6
		m := 0.02 * stride
		measured := (stride + m*rng.NormFloat64()) * shared
		l := Line{Ride: ride, Way: string(rune('a' + i)), Kind: kind, Strides: trace.Exactly(n), Counted: counted, StrideM: est(measured, m),
			Homeward: &home, Grade: &slope}
		if !counted {
			l.SpeedMS, l.StrideS = est(measured/0.6/shared, 0.016*v), est(0.6*shared, 0.03)
			l.StrideM = est(measured, math.Hypot(m, 0.05*stride))
		}
		r.Lines = append(r.Lines, l)
		truth = append(truth, stride)
	}
	return r, truth
}

// Horses drawn as the model takes them to be: the interval of the stride holds the truth nine times in ten, from one ride
// and from five, and the verdicts of lines come true as often as they say.
func TestHorsesDrawnAreHeld(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 3))
	const horses = 400
	for _, rides := range []int{1, 5} {
		for _, counted := range []bool{true, false} {
			held, given, right, said := 0, 0, 0, 0.0
			for range horses {
				d := draw(rng)
				var all Rides
				var truth []float64
				for k := range rides {
					r, strides := d.ride(rng, k, 0.03, counted)
					all.Rides = r.Rides
					all.Lines, truth = append(all.Lines, r.Lines...), append(truth, strides...)
				}
				u := Of(all)
				if e := u.StrideM.Mean; e.Low <= d.stride && d.stride <= e.High {
					held++
				}
				i := len(all.Lines) - 1
				for all.Lines[i].Kind != course.Related {
					i--
				}
				f, ok := all.Fit(i)
				require.True(t, ok)
				require.InDelta(t, 1, f.Long+f.Right+f.Short, 1e-9)
				if verdict, p := f.Says(); verdict != "" && verdict != "right" {
					given++
					said += p
					// One ride alone is held against the ride's own level, which the day has moved by 3 %.
					if off := truth[i] - d.stride; off > 0 == (verdict == "long") {
						right++
					}
				}
			}
			t.Logf("%d rides, counted %v: held %.3f; verdicts on %d, right %.3f, said %.3f", rides, counted, float64(held)/horses, given, float64(right)/float64(given), said/float64(given))
			require.InDelta(t, 0.92, float64(held)/horses, 0.06)
			require.Greater(t, float64(right)/float64(given), said/float64(given)-0.05)
			require.Greater(t, given, horses/10)
		}
	}
}

// A line is never held against itself: whatever its own stride, the usual stride is the others'.
func TestFitLeavesTheLineOut(t *testing.T) {
	r := Rides{Rides: 1}
	for i, v := range []float64{3.4, 3.5, 3.6, 4.2} {
		r.Lines = append(r.Lines, Line{Way: string(rune('a' + i)), Kind: course.Related, Strides: trace.Exactly(5), Counted: true, StrideM: est(v, 0.03)})
	}
	f, ok := r.Fit(3)
	require.True(t, ok)
	require.InDelta(t, 3.5, f.UsualM.Value, 0.01)
	require.InDelta(t, 0.7, f.PerStrideM.Value, 0.01)
	says, p := f.Says()
	require.Equal(t, "long", says)
	require.Greater(t, p, 0.95)
	r.Lines[3].StrideM = est(2.8, 0.03)
	f, _ = r.Fit(3)
	require.InDelta(t, 3.5, f.UsualM.Value, 0.01)
	_, ok = Rides{Rides: 1, Lines: r.Lines[:1]}.Fit(0)
	require.False(t, ok, "nothing else shows the horse's stride")
	size := course.Profiles()[0]
	f, ok = Rides{Rides: 1, Size: &size, Lines: r.Lines[:1]}.Fit(0)
	require.True(t, ok, "its size does")
	require.InDelta(t, 0.93*course.StandardStrideM, f.UsualM.Value, 0.01)
}

// Strides take the same time at every pace, so they grow by that time for each m/s, by definition; the pace is measured with an
// error as large as half of what lines differ, which must not flatten the slope. Also where strides take less time the faster
// the pace.
func TestStrideAgainstPaceIsNotFlattened(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	for _, perMS := range []float64{0, -0.03} {
		var mean float64
		const horses = 60
		held := 0
		for range horses {
			r := Rides{Rides: 8}
			for ride := range r.Rides {
				for i := range 6 {
					v := 5.5 + 0.4*rng.NormFloat64()
					time := 0.6 + perMS*(v-5.5) + 0.006*rng.NormFloat64()
					measured := v + 0.2*rng.NormFloat64()
					r.Lines = append(r.Lines, Line{Ride: ride, Way: string(rune('a' + i)), Kind: course.Related, Strides: trace.Exactly(5), Counted: true,
						SpeedMS: est(measured, 0.2), StrideS: est(time+0.003*rng.NormFloat64(), 0.003), StrideM: est(measured*time, 0.2*time)})
				}
			}
			per := Of(r).StridePerMS
			mean += per.Value / horses
			if truth := 0.6 + 5.5*perMS; per.Low <= truth && truth <= per.High {
				held++
			}
		}
		t.Logf("%.3f m for each m/s on average, truly %.3f; held %d of %d", mean, 0.6+5.5*perMS, held, horses)
		require.InDelta(t, 0.6+5.5*perMS, mean, 0.02)
		require.Greater(t, held, horses*8/10)
	}
	require.InDelta(t, 0.6-0.019*5.5, Of(Rides{}).StridePerMS.Value, 1e-9, "beforehand: Tranquille et al. to Deuel and Park")
}

// What the lines of one ride have in common counts once: three rides that differ show the pace to what three rides do, however
// many lines each has.
func TestPaceKnowsThatRidesDiffer(t *testing.T) {
	ridden := func(lines int, paces ...float64) Level {
		r := Rides{Rides: len(paces)}
		for i, v := range paces {
			for range lines {
				r.Lines = append(r.Lines, Line{Ride: i, Kind: course.Related, Strides: trace.Exactly(5), Counted: true, StrideM: exactly(3.5), SpeedMS: est(v, 0.02), StrideS: est(0.6, 0.002)})
			}
		}
		return *Of(r).SpeedMS
	}
	differ, same := ridden(40, 5, 5.5, 6), ridden(40, 5.5, 5.5, 5.5)
	require.InDelta(t, 5.5, differ.Mean.Value, 1e-6)
	require.Greater(t, differ.Mean.SD(), 0.2)
	require.Less(t, same.Mean.SD(), 0.1)
	require.NotNil(t, differ.Between)
	two := ridden(2, 5, 6)
	require.Nil(t, two.Between, "two rides don't show how rides differ")
}

func TestShowsUsual(t *testing.T) {
	l := Line{Kind: course.Related, Strides: trace.Exactly(5)}
	require.True(t, l.ShowsUsual())
	l.Strides = trace.Exactly(2)
	require.False(t, l.ShowsUsual())
	l = Line{Kind: course.Rollback, Strides: trace.Exactly(9)}
	require.False(t, l.ShowsUsual())
}
