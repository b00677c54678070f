package detect

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"groundline/trace"
	"groundline/trace/read"
)

// roundsTruth is what truth.json of a labelled round says of the motion.
type roundsTruth struct {
	Start     string
	DurationS float64 `json:"duration_s"`
	Horse     string
	Efforts   []effort
	Lines     []struct {
		From, To  string
		K         *int
		Strides   int
		StrideS   float64 `json:"stride_s"`
		TurnedDeg float64 `json:"turned_deg"`
	}
	Gaits   []named
	Strides []struct {
		Gait   string
		T0, T1 float64
	}
	Leads   []timed
	Sensors struct {
		Inertial struct {
			Mount, Dialect string
			ClockS         float64 `json:"clock_s"`
			PPM            float64
		}
	}
}

type effort struct {
	Obstacle, Outcome string
	K                 *int
	TakeoffS          *float64 `json:"takeoff_s"`
	LandingS          *float64 `json:"landing_s"`
}

func (e effort) jumped() bool { return e.TakeoffS != nil && e.LandingS != nil }

// named is [name, from, to], timed [at, name].
type named struct {
	Name     string
	From, To float64
}

func (n *named) UnmarshalJSON(b []byte) error {
	return json.Unmarshal(b, &[]any{&n.Name, &n.From, &n.To})
}

type timed struct {
	At   float64
	Name string
}

func (n *timed) UnmarshalJSON(b []byte) error { return json.Unmarshal(b, &[]any{&n.At, &n.Name}) }

// labelled is one round: its truth, and its motion on the truth's clock.
type labelled struct {
	roundsTruth
	name string
	m    *trace.Motion
}

// labelledRounds are all rounds of the first generator with a motion sensor; the test is skipped without them.
func labelledRounds(t testing.TB) []*labelled { return labelledIn(t, "*/*") }

// labelledIn are the rounds with a motion sensor whose folders match a pattern; the test is skipped without any.
func labelledIn(t testing.TB, folders string) []*labelled {
	files, err := filepath.Glob("../../shared/data/" + folders + "/motion.csv")
	require.NoError(t, err)
	if len(files) == 0 {
		t.Skip("the labelled rounds are not here")
	}
	sort.Strings(files)
	var out []*labelled
	for _, f := range files {
		out = append(out, labelledRound(t, f))
	}
	return out
}

// labelledRound is the round of one motion file.
func labelledRound(t testing.TB, f string) *labelled {
	dir := filepath.Dir(f)
	r := &labelled{name: filepath.Base(dir)}
	b, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(b, &r.roundsTruth))
	rec, err := read.Open(context.Background(), []string{f}, read.Options{})
	require.NoError(t, err)
	r.m = rec.Motion
	// where the reader laid zero: the first sample
	zero := 0.0
	if rec.Start.IsZero() {
		raw, err := os.ReadFile(f)
		require.NoError(t, err)
		first, _, _ := strings.Cut(strings.Split(string(raw), "\n")[1], ",")
		zero, err = strconv.ParseFloat(first, 64)
		require.NoError(t, err)
	} else {
		start, err := time.Parse(time.RFC3339, r.Start)
		require.NoError(t, err)
		zero = rec.Start.Sub(start).Seconds()
	}
	in := r.Sensors.Inertial
	for i := range r.m.TimeS {
		r.m.TimeS[i] = (r.m.TimeS[i] + zero - in.ClockS) / (1 + in.PPM*1e-6)
	}
	return r
}

// tally sums up one kind of mounting.
type tally struct {
	jumps, found, reported, right    int
	takeoff, landing                 []float64 // found less true, s
	takeoffIn, landingIn             int       // truths inside the 90 % interval
	short, shortOK, long, longOK     int       // lines of up to 9 strides, and longer
	countIn                          int       // true counts inside their interval
	gait, gaitOK                     int       // tenths of a second
	strides, stridesFound, strideHit int       // canter strides
	leadOK, leadWrong, leadUnknown   int
}

// score compares what was found with what was; fault is called for each thing that is wrong.
func (y *tally) score(r *labelled, ev *Events, fault func(format string, a ...any)) {
	var js []Jump
	for _, j := range ev.Jumps {
		if j.Confidence >= 0.5 {
			js = append(js, j)
		}
	}
	y.reported += len(js)
	jumpOf := map[int]Jump{} // by effort
	used := make([]bool, len(js))
	for i, e := range r.Efforts {
		if !e.jumped() {
			continue
		}
		y.jumps++
		for k, j := range js {
			dt, dl := j.TakeoffS.Value-*e.TakeoffS, j.LandingS.Value-*e.LandingS
			if used[k] || math.Abs(dt) > 0.25 || math.Abs(dl) > 0.25 {
				continue
			}
			used[k] = true
			jumpOf[i] = j
			y.found++
			y.right++
			y.takeoff, y.landing = append(y.takeoff, dt), append(y.landing, dl)
			if j.TakeoffS.Low <= *e.TakeoffS && *e.TakeoffS <= j.TakeoffS.High {
				y.takeoffIn++
			}
			if j.LandingS.Low <= *e.LandingS && *e.LandingS <= j.LandingS.High {
				y.landingIn++
			}
			break
		}
		if _, ok := jumpOf[i]; !ok {
			fault("%s: jump at %.2f s missed", r.name, *e.TakeoffS)
		}
	}
	for k, j := range js {
		if !used[k] {
			fault("%s: jump at %.2f s invented (%.2f)", r.name, j.TakeoffS.Value, j.Confidence)
		}
	}
	for _, l := range r.Lines {
		n, in := -1, false
		for i := 1; i < len(r.Efforts); i++ {
			a, b := r.Efforts[i-1], r.Efforts[i]
			if a.Obstacle != l.From || b.Obstacle != l.To || (l.K != nil && (b.K == nil || *b.K != *l.K)) {
				continue
			}
			from, ok1 := jumpOf[i-1]
			to, ok2 := jumpOf[i]
			if ok1 && ok2 {
				c, beats := ev.CountBetween(from.LandPeakS, to.PushPeakS)
				n = len(beats)
				in = c.Low <= float64(l.Strides) && float64(l.Strides) <= c.High
			}
		}
		if in {
			y.countIn++
		}
		if n != l.Strides {
			fault("%s: line %s-%s: %d strides for %d", r.name, l.From, l.To, n, l.Strides)
		}
		total, right := &y.short, &y.shortOK
		if l.Strides > 9 {
			total, right = &y.long, &y.longOK
		}
		*total++
		if n == l.Strides {
			*right++
		}
	}
	for k := 0; k < int(r.DurationS*10); k++ {
		x := (float64(k) + 0.5) / 10
		want, got := "", ""
		for _, g := range r.Gaits {
			if x >= g.From && x < g.To {
				want = g.Name
			}
		}
		for _, g := range ev.Gaits {
			if x >= g.FromS && x < g.ToS {
				got = g.Gait.String()
			}
		}
		y.gait++
		if want == got {
			y.gaitOK++
		}
	}
	lead := func(t float64) string {
		for _, l := range r.Leads {
			if math.Abs(l.At-t) < 0.05 {
				return l.Name
			}
		}
		return ""
	}
	k := 0
	for _, s := range ev.Strides {
		if s.Gait == Canter {
			y.stridesFound++
		}
	}
	for _, s := range r.Strides {
		if s.Gait != "canter" {
			continue
		}
		y.strides++
		for k < len(ev.Strides) && (ev.Strides[k].Gait != Canter || ev.Strides[k].FromS < s.T0-0.06) {
			k++
		}
		// a tenth of a stride
		if k == len(ev.Strides) || ev.Strides[k].FromS > s.T0+0.06 {
			continue
		}
		y.strideHit++
		switch ev.Strides[k].Lead.String() {
		case "":
			y.leadUnknown++
		case lead(s.T0):
			y.leadOK++
		default:
			y.leadWrong++
		}
		k++
	}
}

// absQuantile is the p quantile of the sizes of x.
func absQuantile(x []float64, p float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = math.Abs(v)
	}
	sort.Float64s(y)
	return y[int(p*float64(len(y)-1))]
}

func share(a, b int) float64 { return float64(a) / float64(b) }

const tableHead = "                 found     true      take-off ms        landing ms         strides exact        count    gait    stride  leads\n" +
	"                                     median p90 in90    median p90 in90    <= 9      longer     in90    share   F1      right wrong unknown"

func (y *tally) row(name string) string {
	return fmt.Sprintf("%-16s %3d/%-3d   %3d/%-3d   %4.1f %5.1f  %.2f     %4.1f %5.1f  %.2f     %3d/%-3d   %3d/%-3d    %.3f   %.4f  %.4f  %d %d %d",
		name, y.found, y.jumps, y.right, y.reported,
		1e3*absQuantile(y.takeoff, 0.5), 1e3*absQuantile(y.takeoff, 0.9), share(y.takeoffIn, y.found),
		1e3*absQuantile(y.landing, 0.5), 1e3*absQuantile(y.landing, 0.9), share(y.landingIn, y.found),
		y.shortOK, y.short, y.longOK, y.long, share(y.countIn, y.short+y.long),
		share(y.gaitOK, y.gait), 2*share(y.strideHit, y.strides+y.stridesFound), y.leadOK, y.leadWrong, y.leadUnknown)
}

// TestScore scores the labelled rounds by mounting, with floors a little under what was reached.
func TestScore(t *testing.T) {
	by := map[string]*tally{"saddle": {}, "pocket": {}, "wrist": {}}
	halves := [2]*tally{{}, {}}
	for i, r := range labelledRounds(t) {
		ev, err := FromMotion(r.m, Options{})
		require.NoError(t, err)
		by[r.Sensors.Inertial.Mount].score(r, ev, t.Logf)
		halves[i%2].score(r, ev, func(string, ...any) {})
	}
	t.Log("\n" + tableHead)
	for _, k := range []string{"saddle", "pocket", "wrist"} {
		t.Log(by[k].row(k))
	}
	t.Log(halves[0].row("even rides"))
	t.Log(halves[1].row("odd rides"))

	for _, k := range []string{"saddle", "pocket"} {
		y := by[k]
		require.GreaterOrEqual(t, share(y.found, y.jumps), 0.995, k)
		require.GreaterOrEqual(t, share(y.right, y.reported), 0.995, k)
		require.LessOrEqual(t, absQuantile(y.takeoff, 0.5), 0.005, k)
		require.LessOrEqual(t, absQuantile(y.takeoff, 0.9), 0.010, k)
		// a pocket's cloth lags by an amount that nothing in the ride shows: see landingAfterFoot
		require.LessOrEqual(t, absQuantile(y.landing, 0.9), map[string]float64{"saddle": 0.010, "pocket": 0.030}[k], k)
		require.GreaterOrEqual(t, share(y.shortOK, y.short), 0.99, k)
		require.GreaterOrEqual(t, share(y.longOK, y.long), 0.985, k)
		require.GreaterOrEqual(t, share(y.gaitOK, y.gait), 0.993, k)
	}
	y := by["wrist"]
	require.GreaterOrEqual(t, share(y.found, y.jumps), 0.97)
	require.GreaterOrEqual(t, share(y.right, y.reported), 0.97)
	require.LessOrEqual(t, absQuantile(y.takeoff, 0.9), 0.020)
	require.GreaterOrEqual(t, share(y.shortOK, y.short), 0.95)
	require.GreaterOrEqual(t, share(y.longOK, y.long), 0.95)
	require.GreaterOrEqual(t, share(y.gaitOK, y.gait), 0.95)
	for _, y := range by {
		require.GreaterOrEqual(t, 2*share(y.strideHit, y.strides+y.stridesFound), 0.985)
		require.LessOrEqual(t, y.leadWrong*200, y.leadOK)
	}
	for _, y := range halves {
		for _, in := range []int{y.takeoffIn, y.landingIn} {
			// more than nine in ten: this generator's hooves lie in the middle of what a ride may have, and the interval holds
			// for others too (TestWorlds)
			require.GreaterOrEqual(t, share(in, y.found), 0.87)
		}
	}
}

// TestScoreSpoilt scores the rounds thinned to about 25 Hz and with noise of 1 m/s² added to every sample.
func TestScoreSpoilt(t *testing.T) {
	thin, noisy := &tally{}, &tally{}
	for i, r := range labelledRounds(t) {
		ev, err := FromMotion(thinned(r.m, int(math.Round(r.m.RateHz/25))), Options{})
		require.NoError(t, err)
		thin.score(r, ev, t.Logf)
		ev, err = FromMotion(spoilt(r.m, 1, 0, uint64(i)), Options{})
		require.NoError(t, err)
		noisy.score(r, ev, t.Logf)
	}
	t.Log("\n" + tableHead)
	for name, y := range map[string]*tally{"25 Hz": thin, "noise 1 m/s²": noisy} {
		t.Log(y.row(name))
		require.GreaterOrEqual(t, share(y.found, y.jumps), 0.99, name)
		require.GreaterOrEqual(t, share(y.right, y.reported), 0.99, name)
		require.GreaterOrEqual(t, share(y.shortOK, y.short), 0.98, name)
		require.GreaterOrEqual(t, share(y.longOK, y.long), 0.98, name)
		require.LessOrEqual(t, absQuantile(y.takeoff, 0.9), 0.015, name)
		require.GreaterOrEqual(t, share(y.takeoffIn, y.found), 0.83, name)
		require.GreaterOrEqual(t, share(y.landingIn, y.found), 0.83, name)
		require.GreaterOrEqual(t, share(y.gaitOK, y.gait), 0.96, name)
	}
}

// TestPhasesFitTheRounds holds the places of peaks in a stride to what the rounds show.
func TestPhasesFitTheRounds(t *testing.T) {
	var phase, after, before []float64
	for _, r := range labelledRounds(t) {
		ev, err := FromMotion(r.m, Options{})
		require.NoError(t, err)
		for _, s := range r.Strides {
			if s.Gait != "canter" {
				continue
			}
			for _, b := range ev.BeatS {
				if b > s.T0 && b < s.T1 {
					phase = append(phase, (b-s.T0)/(s.T1-s.T0))
				}
			}
			for _, j := range ev.Jumps {
				if d := s.T0 - j.LandingS.Value; d > 0 && d < 0.4 {
					after = append(after, d)
				}
				if d := j.TakeoffS.Value - s.T1; d > 0 && d < 0.4 {
					before = append(before, d)
				}
			}
		}
	}
	t.Logf("beat %.3f of a stride after the hind contact; hind contact %.3f s after landing, %.3f s before take-off", median(phase), median(after), median(before))
	require.InDelta(t, usualBeatPhase, median(phase), 0.1)
	require.InDelta(t, hindAfterLandingS, median(after), 0.02)
	require.InDelta(t, hindBeforeTakeoffS, median(before), 0.02)
}
