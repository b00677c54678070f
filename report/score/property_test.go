package score

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report"
	"groundline/report/build"
	"groundline/trace"
	"groundline/trace/geo"
	"groundline/trace/synth"
)

// What must not change a debrief: these hold for any recording, so they are checked on made ones whose devices are not
// those of the rounds.

// devices are the three ways to record the field's ride.
func devices() map[string]struct {
	watch  synth.Receiver
	sensor synth.Sensor
} {
	type pair = struct {
		watch  synth.Receiver
		sensor synth.Sensor
	}
	return map[string]pair{
		"both":   {fieldWatch(), fieldSensor()},
		"sensor": {synth.Receiver{}, fieldSensor()},
		"watch":  {fieldWatch(), synth.Sensor{}},
	}
}

// eachDevice runs a check for every way to record the ride.
func eachDevice(t *testing.T, check func(t *testing.T, r ridden)) {
	t.Helper()
	for _, name := range []string{"both", "sensor", "watch"} {
		t.Run(name, func(t *testing.T) {
			d := devices()[name]
			plan := fieldPlan()
			check(t, ride(t, plan, fieldRide(plan), d.watch, d.sensor, 3))
		})
	}
}

// widthM is where the mirror stands: x becomes widthM - x.
const widthM = 92

// mirrored is the recording and the plan seen in a mirror that stands along the arena's middle.
func mirrored(r ridden) ridden {
	plan := *r.plan
	flip := func(p course.Point) course.Point { return course.Point{X: widthM - p.X, Y: p.Y} }
	plan.Arena, plan.Levels, plan.Obstacles = slices.Clone(plan.Arena), slices.Clone(plan.Levels), slices.Clone(plan.Obstacles)
	for i := range plan.Arena {
		plan.Arena[i] = flip(plan.Arena[i])
	}
	for i := range plan.Levels {
		plan.Levels[i].X = widthM - plan.Levels[i].X
	}
	for i := range plan.Obstacles {
		o := &plan.Obstacles[i]
		o.At, o.FacingDeg = flip(o.At), math.Mod(360-o.FacingDeg, 360)
	}
	for _, at := range []**course.Point{&plan.Home, &plan.Gate} {
		if *at != nil {
			*at = p(flip(**at))
		}
	}
	for _, line := range []**[2]course.Point{&plan.Start, &plan.Finish} {
		if l := *line; l != nil { // seen in the mirror its left end is its right one
			*line = &[2]course.Point{flip(l[1]), flip(l[0])}
		}
	}

	rec := *r.rec
	if rec.Positions != nil {
		pos := *rec.Positions
		pos.LatDeg, pos.LonDeg = slices.Clone(pos.LatDeg), slices.Clone(pos.LonDeg)
		frame := geo.NewFrame(plan.Anchor.At, 31)
		s, c := math.Sincos(plan.Anchor.BearingDeg * math.Pi / 180)
		for i := range pos.LatDeg {
			height := frame.HeightM
			if pos.HeightM != nil {
				height = pos.HeightM[i]
			}
			e, n, u := frame.ToENU(geo.LatLon{LatDeg: pos.LatDeg[i], LonDeg: pos.LonDeg[i]}, height)
			x, y := widthM-(c*e-s*n), s*e+c*n
			at, _ := frame.FromENU(c*x+s*y, -s*x+c*y, u)
			pos.LatDeg[i], pos.LonDeg[i] = at.LatDeg, at.LonDeg
		}
		rec.Positions = &pos
	}
	if rec.Motion != nil {
		// A mirror turns one axis of a force around, whichever; a turn rate is an axial vector, so its other two.
		mo := *rec.Motion
		mo.AX, mo.GY, mo.GZ = negated(mo.AX), negated(mo.GY), negated(mo.GZ)
		rec.Motion = &mo
	}
	return ridden{plan: &plan, rec: &rec}
}

func negated(x []float64) []float64 {
	if x == nil {
		return nil
	}
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = -v
	}
	return out
}

// near requires two values to be the same, numbers to within tol of 1 or of themselves; those of turns to within a fifth,
// where tol is not almost nothing: their bias is measured on replicas, whose noise no mirror turns around.
func near(t *testing.T, path string, a, b reflect.Value, tol float64) {
	t.Helper()
	if t := a.Type(); (t == reflect.TypeFor[report.Turn]() || t == reflect.TypeFor[report.Bend]()) && tol > 1e-3 {
		tol = max(tol, 0.2)
	}
	if t := a.Type(); t == reflect.TypeFor[report.Fit]() || t == reflect.TypeFor[report.Budget]() {
		// The interval's ends go through variances that a search finds: they have its accuracy, a millimetre of a stride.
		tol = max(tol, 1e-3)
	}
	switch a.Kind() {
	case reflect.Pointer:
		require.Equal(t, a.IsNil(), b.IsNil(), "%s: one is nil", path)
		if !a.IsNil() {
			near(t, path, a.Elem(), b.Elem(), tol)
		}
	case reflect.Struct:
		for i := range a.NumField() {
			near(t, path+"."+a.Type().Field(i).Name, a.Field(i), b.Field(i), tol)
		}
	case reflect.Slice, reflect.Array:
		require.Equal(t, a.Len(), b.Len(), "%s: how many", path)
		for i := range a.Len() {
			near(t, fmt.Sprintf("%s[%d]", path, i), a.Index(i), b.Index(i), tol)
		}
	case reflect.Float64:
		x, y := a.Float(), b.Float()
		require.LessOrEqual(t, math.Abs(x-y), tol*max(1, math.Abs(x)), "%s: %v and %v", path, x, y)
	default:
		require.Equal(t, a.Interface(), b.Interface(), path)
	}
}

func sameDebrief(t *testing.T, want, got *report.Debrief, tol float64) {
	t.Helper()
	// Notes are words with numbers in them; their number is compared.
	a, b := *want, *got
	require.Equal(t, len(a.Notes), len(b.Notes), "notes: %v, %v", a.Notes, b.Notes)
	a.Notes, b.Notes = nil, nil
	a.Plan, b.Plan = nil, nil // what was given
	// Answers are words about these figures.
	require.Equal(t, len(a.Answers), len(b.Answers))
	a.Answers, b.Answers = nil, nil
	near(t, "debrief", reflect.ValueOf(a), reflect.ValueOf(b), tol)
}

// side is the other side's word; others stay.
func side(s *string) *string {
	if s == nil {
		return nil
	}
	switch *s {
	case "left":
		return p("right")
	case "right":
		return p("left")
	}
	return s
}

func opposite(e *trace.Estimate) *trace.Estimate {
	if e == nil {
		return nil
	}
	return &trace.Estimate{Value: -e.Value, Low: -e.High, High: -e.Low}
}

// flipSides turns every left of a debrief into a right.
func flipSides(d *report.Debrief) {
	if d.Course != nil && d.Course.Placed != nil {
		d.Course.Placed.RightM *= -1
		d.Course.Placed.TurnDeg *= -1
	}
	for i := range d.Efforts {
		e := &d.Efforts[i]
		e.LeadIn, e.LeadOut = side(e.LeadIn), side(e.LeadOut)
		if e.Approach != nil {
			e.Approach.AngleDeg = opposite(e.Approach.AngleDeg)
			e.Approach.OffCentreM = opposite(e.Approach.OffCentreM)
		}
	}
	for i := range d.Lines {
		if turn := d.Lines[i].Turn; turn != nil {
			turn.Direction = *side(&turn.Direction)
			turn.TurnedDeg = opposite(turn.TurnedDeg)
		}
	}
	for i := range d.Strides {
		d.Strides[i].Lead = side(d.Strides[i].Lead)
	}
	for i := range d.Events {
		d.Events[i].Side = side(d.Events[i].Side)
	}
	for i := range d.StrideRows {
		r := &d.StrideRows[i]
		r.Lead = side(r.Lead)
		if r.CurvaturePerM != nil {
			r.CurvaturePerM = p(-*r.CurvaturePerM)
		}
	}
	if r := d.Ridden; r != nil {
		for i, x := range r.XM {
			r.XM[i] = widthM - x
		}
		for i := range r.Bends {
			b := &r.Bends[i]
			b.XM, b.TouchDeg = widthM-b.XM, course.WrapDeg(-b.TouchDeg)
		}
	}
}

// A ride seen in a mirror has its leads, turns and angles on the other side, and nothing else is different.
func TestMirrorFlipsSidesOnly(t *testing.T) {
	eachDevice(t, func(t *testing.T, r ridden) {
		want := r.debrief(t)
		flipSides(want)
		sameDebrief(t, want, mirrored(r).debrief(t), 2e-3)
	})
}

// The same of some rounds with known truth, whose noise, gaps, leaps and clocks are harder. What is found by
// iteration may end a little elsewhere.
func TestRoundsInMirrorAndTurned(t *testing.T) {
	if testing.Short() {
		t.Skip("-short leaves the rounds with known truth out")
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for _, name := range []string{"03-teaching-green-first", "11-crosspoles-low", "08-pony-motion-only", "09-full-wrist-offset-clock"} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join("..", "..", "..", "shared", "data", "rounds", name)
			if !exists(dir) {
				t.Skip("the rounds with known truth are not beside the project")
			}
			rec, plan, err := open(dir)
			require.NoError(t, err)
			r := ridden{plan: plan, rec: rec}
			want := r.debrief(t)
			o := r
			o.rec = turned(rec, rng)
			sameDebrief(t, want, o.debrief(t), 1e-4)

			flipSides(want)
			got := mirrored(r).debrief(t)
			sameDebrief(t, want, got, 0.5) // words, sides, counts, and no figure that is far off
			for i, e := range want.Efforts {
				if e.LandingS != nil { // not a refusal
					require.InDelta(t, e.TakeoffS.Value, got.Efforts[i].TakeoffS.Value, 0.01)
					require.InDelta(t, e.LandingS.Value, got.Efforts[i].LandingS.Value, 0.01)
				}
			}
		})
	}
}

// turned is the recording of a sensor that was put in turned about a random axis.
func turned(rec *trace.Recording, rng *rand.Rand) *trace.Recording {
	// A random unit quaternion (normal variates are the same in all directions).
	var q [4]float64
	var n float64
	for i := range q {
		q[i] = rng.NormFloat64()
		n += q[i] * q[i]
	}
	n = math.Sqrt(n)
	w, x, y, z := q[0]/n, q[1]/n, q[2]/n, q[3]/n
	m := [3][3]float64{
		{1 - 2*(y*y+z*z), 2 * (x*y - w*z), 2 * (x*z + w*y)},
		{2 * (x*y + w*z), 1 - 2*(x*x+z*z), 2 * (y*z - w*x)},
		{2 * (x*z - w*y), 2 * (y*z + w*x), 1 - 2*(x*x+y*y)},
	}
	turn := func(a, b, c []float64) (u, v, s []float64) {
		out := [3][]float64{make([]float64, len(a)), make([]float64, len(a)), make([]float64, len(a))}
		for i := range a {
			for k := range out {
				out[k][i] = m[k][0]*a[i] + m[k][1]*b[i] + m[k][2]*c[i]
			}
		}
		return out[0], out[1], out[2]
	}
	mo := *rec.Motion
	mo.AX, mo.AY, mo.AZ = turn(mo.AX, mo.AY, mo.AZ)
	if mo.GX != nil {
		mo.GX, mo.GY, mo.GZ = turn(mo.GX, mo.GY, mo.GZ)
	}
	out := *rec
	out.Motion = &mo
	return &out
}

// However the sensor was put in, the debrief is the same.
func TestMountingDoesNotMatter(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	eachDevice(t, func(t *testing.T, r ridden) {
		if r.rec.Motion == nil {
			t.Skip("a watch alone has no mounting")
		}
		want := r.debrief(t)
		for range 4 {
			o := r
			o.rec = turned(r.rec, rng)
			sameDebrief(t, want, o.debrief(t), 1e-4)
		}
	})
}

// slower is the recording with all its times k times as long.
func slower(rec *trace.Recording, k float64) *trace.Recording {
	times := func(x []float64, k float64) []float64 {
		out := make([]float64, len(x))
		for i, v := range x {
			out[i] = k * v
		}
		return out
	}
	out := *rec
	out.DurationS *= k
	if rec.Motion != nil {
		mo := *rec.Motion
		mo.TimeS, mo.RateHz = times(mo.TimeS, k), mo.RateHz/k
		mo.GX, mo.GY, mo.GZ = times(mo.GX, 1/k), times(mo.GY, 1/k), times(mo.GZ, 1/k)
		out.Motion = &mo
	}
	if rec.Positions != nil {
		pos := *rec.Positions
		pos.TimeS, pos.RateHz = times(pos.TimeS, k), pos.RateHz/k
		out.Positions = &pos
	}
	return &out
}

// halved is the recording with every second sample of the sensor left out, and the watch as it was.
func halved(rec *trace.Recording) *trace.Recording {
	every := func(x []float64) []float64 {
		var out []float64
		for i := 0; i < len(x); i += 2 {
			out = append(out, x[i])
		}
		return out
	}
	out := *rec
	mo := *rec.Motion
	mo.TimeS, mo.RateHz = every(mo.TimeS), mo.RateHz/2
	mo.AX, mo.AY, mo.AZ = every(mo.AX), every(mo.AY), every(mo.AZ)
	mo.GX, mo.GY, mo.GZ = every(mo.GX), every(mo.GY), every(mo.GZ)
	out.Motion = &mo
	return &out
}

// sameJumps requires two debriefs to have the same jumps, with times that are no further apart than tolS once
// those of the second are divided by k.
func sameJumps(t *testing.T, want, got *report.Debrief, k, tolS float64) {
	t.Helper()
	require.Len(t, got.Efforts, len(want.Efforts))
	for i, e := range want.Efforts {
		g := got.Efforts[i]
		require.Equal(t, e.Obstacle, g.Obstacle)
		require.Equal(t, e.Outcome, g.Outcome)
		require.InDelta(t, e.TakeoffS.Value, g.TakeoffS.Value/k, tolS, "take-off at %s", *e.Obstacle)
		require.InDelta(t, e.LandingS.Value, g.LandingS.Value/k, tolS, "landing at %s", *e.Obstacle)
	}
}

// sameCounts requires two debriefs to have the same lines with the same strides, whose times agree to tol of
// themselves once those of the second are divided by k.
func sameCounts(t *testing.T, want, got *report.Debrief, k, tol float64) {
	t.Helper()
	require.Len(t, got.Lines, len(want.Lines))
	for i, l := range want.Lines {
		g := got.Lines[i]
		require.Equal(t, [2]string{l.From, l.To}, [2]string{g.From, g.To})
		require.Equal(t, "counted", g.StridesBy)
		require.Equal(t, l.Strides.Value, g.Strides.Value, "%s to %s", l.From, l.To)
		require.InEpsilon(t, l.StrideS.Value, g.StrideS.Value/k, tol, "%s to %s", l.From, l.To)
	}
}

// A ride played slower or faster has the same jumps and strides, each time as much longer or shorter. From a watch
// alone strides are estimated by what horses usually take, and so needn't follow.
func TestTimeStretched(t *testing.T) {
	eachDevice(t, func(t *testing.T, r ridden) {
		want := r.debrief(t)
		for _, k := range []float64{0.9, 1.1} {
			o := r
			o.rec = slower(r.rec, k)
			got := o.debrief(t)
			if r.rec.Motion == nil {
				sameJumps(t, want, got, k, 0.1)
				continue
			}
			sameJumps(t, want, got, k, 0.015)
			sameCounts(t, want, got, k, 0.015)
		}
	})
}

// Half the sensor's rate, and half of that, show the same.
func TestHalfTheRate(t *testing.T) {
	eachDevice(t, func(t *testing.T, r ridden) {
		if r.rec.Motion == nil {
			t.Skip("a watch alone has no sensor's rate")
		}
		want := r.debrief(t)
		for range 2 {
			r.rec = halved(r.rec)
			got := r.debrief(t)
			sameJumps(t, want, got, 1, 0.02)
			sameCounts(t, want, got, 1, 0.02)
		}
	})
}

// Noise blurs the times before it hides a jump, hides jumps and strides before it invents any, and at the size of the horse's
// own motion leaves nothing.
func TestNoiseDegradesGracefully(t *testing.T) {
	plan := fieldPlan()
	at := func(noiseMS2 float64, seed uint64) *Result {
		s := fieldSensor()
		s.NoiseMS2 = noiseMS2
		return ride(t, plan, fieldRide(plan), synth.Receiver{}, s, seed).score(t)
	}
	for seed := uint64(1); seed <= 2; seed++ {
		for _, c := range []struct{ noiseMS2, errorS float64 }{{0.5, 0.02}, {1, 0.025}, {2, 0.03}, {4, 0.05}} {
			r := at(c.noiseMS2, seed)
			require.Equal(t, []int{8, 8, 8}, []int{r.TrueJumps, r.FoundJumps, r.ReportedJumps}, "noise of %v m/s²", c.noiseMS2)
			require.Equal(t, []int{r.Short.True, r.Long.True}, []int{r.Short.Exact, r.Long.Exact}, "noise of %v m/s²", c.noiseMS2)
			require.Less(t, r.TakeoffS.MedianAbs(), c.errorS, "noise of %v m/s²", c.noiseMS2)
			// 0.95 at every size while strides were found by the wave of one horse; by what any horse's shows, the hind
			// contact is less sure in noise as large as a canter's own motion.
			least := 0.95
			if c.noiseMS2 >= 4 {
				least = 0.85
			}
			require.Greater(t, r.StrideF1(), least)
		}
		for _, noise := range []float64{8, 16} {
			r := at(noise, seed)
			require.Equal(t, r.FoundJumps, r.ReportedJumps, "invented in noise of %v m/s²", noise)
		}
	}
}

// A ride on the flat has no jump, whatever recorded it.
func TestFlatworkHasNoJump(t *testing.T) {
	eachDevice(t, func(t *testing.T, r ridden) {
		flat := synth.Ride{Start: synth.Pose{X: 56, Y: 18, FacingDeg: 90}, WaitS: 5, Horse: synth.Warmblood()}
		for i, gait := range []string{synth.Walk, synth.Trot, synth.Canter, synth.Canter, synth.Canter, synth.Trot, synth.Walk} {
			// Half circles to the left about (56, 28), clear of every obstacle.
			at := synth.Pose{X: 56, Y: 38, FacingDeg: 270}
			if i%2 == 1 {
				at = flat.Start
			}
			flat.Stops = append(flat.Stops, synth.Stop{Pose: at, Gait: gait, RadiusM: 10})
		}
		made, err := flat.Make(5)
		require.NoError(t, err)
		require.Empty(t, made.Jumps)
		rec := trace.Recording{Start: fieldStart(), DurationS: made.DurationS}
		if r.rec.Positions != nil {
			rec.Positions, err = made.Positions(fieldWatch(), r.plan.Anchor.At, r.plan.Anchor.BearingDeg, 5)
			require.NoError(t, err)
		}
		if r.rec.Motion != nil {
			rec.Motion, err = made.Motion(fieldSensor(), 5)
			require.NoError(t, err)
		}
		d, err := build.Debrief(t.Context(), &rec, r.plan, build.Options{})
		require.NoError(t, err)
		require.Empty(t, d.Efforts)
		require.Empty(t, d.Lines)
		require.Greater(t, Round(d, truthOf(t, made, fieldWatch(), fieldStart())).GaitRight(), 0.85)
	})
}

// A horse that leaps for fun between the fences has not jumped. Whether such a leap is one stride or two is a
// matter of words: it has two loads in the time of one stride.
func TestLeapsAreNoJumps(t *testing.T) {
	eachDevice(t, func(t *testing.T, r ridden) {
		if r.rec.Motion == nil {
			t.Skip("a watch alone does not show leaps")
		}
		playful := r.made.Ride
		for i := range r.made.Lines {
			from, to := r.made.Jumps[i].LandingS, r.made.Jumps[i+1].TakeoffS
			if to-from > 5 {
				playful.LeapsS = append(playful.LeapsS, (from+to)/2)
			}
		}
		require.Len(t, playful.LeapsS, 4)
		w := fieldWatch()
		if r.rec.Positions == nil {
			w = synth.Receiver{}
		}
		score := ride(t, r.plan, playful, w, fieldSensor(), 3).score(t)
		require.Equal(t, score.FoundJumps, score.ReportedJumps, "a leap was taken for a jump")
		require.Equal(t, score.FoundJumps, score.RightObstacle)
		// The canter between a leap and a double is a few strides: a sensor alone may not believe it, and then
		// loses the double's two jumps.
		require.GreaterOrEqual(t, score.FoundJumps, 6)
		require.Equal(t, score.Short.Told, score.Short.Exact)
		require.Equal(t, score.Long.Told, score.Long.Within1)
	})
}

// Same recording, same debrief, to the last bit.
func TestSameDebriefEachTime(t *testing.T) {
	eachDevice(t, func(t *testing.T, r ridden) {
		require.Equal(t, r.debrief(t), r.debrief(t))
	})
}
