package detect

import (
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
)

type truthT struct {
	Start     string
	DurationS float64 `json:"duration_s"`
	Horse     string
	Efforts   []struct {
		Obstacle, Outcome string
		TakeoffS          *float64 `json:"takeoff_s"`
		LandingS          *float64 `json:"landing_s"`
	}
	Lines []struct {
		From, To string
		K        int
		Strides  int
		StrideS  float64 `json:"stride_s"`
	}
	Gaits   [][3]any
	Strides []struct {
		Gait   string
		T0, T1 float64
	}
	Leads   [][2]any
	Sensors struct {
		Inertial struct {
			Mount, Dialect string
			ClockS         float64 `json:"clock_s"`
			PPM            float64
			Hz             float64
		}
	}
}

type ride struct {
	name string
	tr   truthT
	m    *trace.Motion
}

// loadRide reads the invented rounds' four dialects; the readers proper are trace/read's.
func loadRide(t testing.TB, dir string) *ride {
	b, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	require.NoError(t, err)
	r := &ride{name: filepath.Base(dir)}
	require.NoError(t, json.Unmarshal(b, &r.tr))
	raw, err := os.ReadFile(filepath.Join(dir, "motion.csv"))
	if err != nil {
		return nil
	}
	start, err := time.Parse(time.RFC3339, r.tr.Start)
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(raw)), "\n")
	m := &trace.Motion{}
	f := func(s string) float64 {
		v, err := strconv.ParseFloat(strings.TrimSpace(strings.Replace(s, ",", ".", 1)), 64)
		require.NoError(t, err)
		return v
	}
	in := r.tr.Sensors.Inertial
	for _, l := range lines[1:] {
		l = strings.TrimSpace(l)
		switch in.Dialect {
		case "seconds":
			c := strings.Split(l, ",")
			m.TimeS = append(m.TimeS, f(c[0]))
			m.AX, m.AY, m.AZ = append(m.AX, f(c[1])), append(m.AY, f(c[2])), append(m.AZ, f(c[3]))
			if len(c) > 6 {
				m.GX, m.GY, m.GZ = append(m.GX, f(c[4])), append(m.GY, f(c[5])), append(m.GZ, f(c[6]))
			}
		case "epoch_ms_g":
			c := strings.Split(l, ",")
			m.TimeS = append(m.TimeS, f(c[0])/1000-float64(start.UnixMilli())/1000)
			m.AX, m.AY, m.AZ = append(m.AX, f(c[1])*gravityMS2), append(m.AY, f(c[2])*gravityMS2), append(m.AZ, f(c[3])*gravityMS2)
		case "epoch_ns":
			c := strings.Split(l, ",")
			ns, err := strconv.ParseInt(c[0], 10, 64)
			require.NoError(t, err)
			m.TimeS = append(m.TimeS, float64(ns-start.UnixNano())/1e9)
			m.AX, m.AY, m.AZ = append(m.AX, f(c[4])), append(m.AY, f(c[3])), append(m.AZ, f(c[2]))
		default:
			c := strings.Split(l, ";")
			at, err := time.Parse(time.RFC3339Nano, c[0])
			require.NoError(t, err)
			m.TimeS = append(m.TimeS, at.Sub(start).Seconds())
			m.AX, m.AY, m.AZ = append(m.AX, f(c[1])), append(m.AY, f(c[2])), append(m.AZ, f(c[3]))
		}
	}
	for i := range m.TimeS {
		m.TimeS[i] = (m.TimeS[i] - in.ClockS) / (1 + in.PPM*1e-6)
	}
	var d []float64
	for i := 1; i < len(m.TimeS); i++ {
		d = append(d, m.TimeS[i]-m.TimeS[i-1])
	}
	m.RateHz = 1 / median(d)
	r.m = m
	return r
}

func allRides(t testing.TB) []*ride {
	var out []*ride
	for _, g := range []string{"rounds", "practice"} {
		dirs, _ := filepath.Glob("../../shared/data/" + g + "/*")
		sort.Strings(dirs)
		for _, d := range dirs {
			if _, err := os.Stat(filepath.Join(d, "motion.csv")); err != nil {
				continue
			}
			out = append(out, loadRide(t, d))
		}
	}
	if len(out) == 0 {
		t.Skip("the labelled rounds are not here")
	}
	return out
}

type tally struct {
	trueJumps, found, reported, right int
	toErr, ldErr                      []float64
	shortN, shortOK, longN, longOK    int
	gaitS, gaitOK                     float64
	strideT, strideF, strideHit       int
	toIn, ldIn                        int
}

func scoreRide(r *ride, ev *Events, y *tally, say func(string, ...any)) {
	type eff struct{ to, ld float64 }
	var effs []eff
	for _, e := range r.tr.Efforts {
		if e.TakeoffS != nil && e.LandingS != nil && (e.Outcome == "jumped" || e.Outcome == "warm-up") {
			effs = append(effs, eff{*e.TakeoffS, *e.LandingS})
		}
	}
	var js []Jump
	for _, j := range ev.Jumps {
		if j.Confidence >= 0.5 {
			js = append(js, j)
		}
	}
	y.trueJumps += len(effs)
	y.reported += len(js)
	match := map[int]int{}
	for i, j := range js {
		for k, e := range effs {
			if _, used := match[k]; !used && math.Abs(j.TakeoffS.Value-e.to) < 0.3 && math.Abs(j.LandingS.Value-e.ld) < 0.4 {
				match[k] = i
				y.found++
				y.right++
				y.toErr = append(y.toErr, j.TakeoffS.Value-e.to)
				y.ldErr = append(y.ldErr, j.LandingS.Value-e.ld)
				if j.TakeoffS.Low <= e.to && e.to <= j.TakeoffS.High {
					y.toIn++
				}
				if j.LandingS.Low <= e.ld && e.ld <= j.LandingS.High {
					y.ldIn++
				}
				if d := math.Max(math.Abs(j.TakeoffS.Value-e.to), math.Abs(j.LandingS.Value-e.ld)); d > 0.05 {
					say("  %s: jump at %.2f: off by %.3f %.3f", r.name, e.to, j.TakeoffS.Value-e.to, j.LandingS.Value-e.ld)
				}
			}
		}
	}
	for k, e := range effs {
		if _, ok := match[k]; !ok {
			say("  %s: missed jump at %.2f-%.2f", r.name, e.to, e.ld)
		}
	}
	seen := map[int]bool{}
	for _, i := range match {
		seen[i] = true
	}
	for i, j := range js {
		if !seen[i] {
			say("  %s: invented jump at %.2f-%.2f conf %.2f", r.name, j.TakeoffS.Value, j.LandingS.Value, j.Confidence)
		}
	}
	// strides of the lines: between consecutive efforts
	for _, l := range r.tr.Lines {
		var a, b int = -1, -1
		for k, e := range r.tr.Efforts {
			_ = e
			if k+1 < len(r.tr.Efforts) {
				n := r.tr.Efforts[k+1]
				if e.Obstacle == l.From && n.Obstacle == l.To && e.LandingS != nil && n.TakeoffS != nil {
					// the same line may be ridden often: take the one whose true stride count fits its strides
					cnt := 0
					for _, s := range r.tr.Strides {
						if s.Gait == "canter" && s.T0 > *e.LandingS && s.T1 < *n.TakeoffS+0.05 {
							cnt++
						}
					}
					if cnt == l.Strides {
						a, b = k, k+1
					}
				}
			}
		}
		if a < 0 {
			continue
		}
		lo, hi := *r.tr.Efforts[a].LandingS, *r.tr.Efforts[b].TakeoffS
		var j1, j2 *Jump
		for i := range js {
			if math.Abs(js[i].LandingS.Value-lo) < 0.4 {
				j1 = &js[i]
			}
			if math.Abs(js[i].TakeoffS.Value-hi) < 0.3 {
				j2 = &js[i]
			}
		}
		n := -1
		if j1 != nil && j2 != nil {
			n = 0
			for _, x := range ev.BeatS {
				if x > j1.LandPeakS && x < j2.PushPeakS {
					n++
				}
			}
		}
		ok := n == l.Strides
		if !ok {
			say("  %s: line %s-%s at %.1f: %d strides, truth %d", r.name, l.From, l.To, lo, n, l.Strides)
		}
		if l.Strides <= 9 {
			y.shortN++
			if ok {
				y.shortOK++
			}
		} else {
			y.longN++
			if ok {
				y.longOK++
			}
		}
	}
	// gait share
	wrong := 0.0
	for x := 0.05; x < r.tr.DurationS; x += 0.1 {
		want := ""
		for _, g := range r.tr.Gaits {
			if x >= g[1].(float64) && x < g[2].(float64) {
				want = g[0].(string)
			}
		}
		got := ""
		for _, g := range ev.Gaits {
			if x >= g.FromS && x < g.ToS {
				got = g.Gait.String()
			}
		}
		y.gaitS += 0.1
		if want == got {
			y.gaitOK += 0.1
		} else {
			wrong += 0.1
		}
	}
	if wrong/r.tr.DurationS > 0.025 {
		s := ""
		for _, g := range ev.Gaits {
			s += fmt.Sprintf(" %s %.1f", g.Gait, g.FromS)
		}
		w := ""
		for _, g := range r.tr.Gaits {
			w += fmt.Sprintf(" %s %.1f", g[0], g[1])
		}
		say("  %s: gaits wrong %.1f s of %.0f: %s | truth%s", r.name, wrong, r.tr.DurationS, s, w)
	}
	// canter strides by start, F1 in 60 ms
	used := map[int]bool{}
	for _, s := range ev.Strides {
		if s.Gait == Canter {
			y.strideF++
		}
	}
	for _, s := range r.tr.Strides {
		if s.Gait != "canter" {
			continue
		}
		y.strideT++
		for i, q := range ev.Strides {
			if q.Gait == Canter && !used[i] && math.Abs(q.FromS-s.T0) < 0.06 {
				used[i] = true
				y.strideHit++
				break
			}
		}
	}
}

func q(x []float64, p float64) float64 {
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

func TestScore(t *testing.T) {
	by := map[string]*tally{}
	for _, r := range allRides(t) {
		ev, err := FromMotion(r.m, Options{})
		require.NoError(t, err)
		k := r.tr.Sensors.Inertial.Mount
		if by[k] == nil {
			by[k] = &tally{}
		}
		scoreRide(r, ev, by[k], t.Logf)
	}
	for _, k := range []string{"saddle", "pocket", "wrist"} {
		y := by[k]
		if y == nil {
			continue
		}
		t.Log(y.row(k))
	}
}

// row is one line of the table.
func (y *tally) row(name string) string {
	f := float64(y.found)
	return fmt.Sprintf("%-7s jumps %d found %d reported %d true %d | take-off ms median %.1f p90 %.1f bias %.1f in90 %.2f | landing %.1f %.1f %.1f in90 %.2f | strides <=9 %d/%d longer %d/%d | gait %.4f | strides F1 %.3f",
		name, y.trueJumps, y.found, y.reported, y.right, 1e3*q(y.toErr, .5), 1e3*q(y.toErr, .9), 1e3*median(y.toErr), float64(y.toIn)/f,
		1e3*q(y.ldErr, .5), 1e3*q(y.ldErr, .9), 1e3*median(y.ldErr), float64(y.ldIn)/f,
		y.shortOK, y.shortN, y.longOK, y.longN, y.gaitOK/y.gaitS, 2*float64(y.strideHit)/float64(y.strideT+y.strideF))
}
