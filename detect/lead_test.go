package detect

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"
)

// madeWaves are strides whose waves are mirror images for left and right and neither for disunited ones, in a sensor that is turned any
// way about up, with noise: hind legs show hind, forelegs fore, and each changes its sign with its own lead.
func madeWaves(rng *rand.Rand, leads []Lead, jumpBefore map[int]bool) []Stride {
	wave := func() complex128 { return cmplx.Rect(0.5+rng.Float64(), 2*math.Pi*rng.Float64()) }
	hind, fore := [2]complex128{wave(), wave()}, [2]complex128{wave(), wave()}
	// Fore and hind legs load the trunk a quarter of a stride apart or so; if they did it at once nothing could be seen.
	fore[0] = hind[0] * cmplx.Rect(0.7+0.7*rng.Float64(), -math.Pi/2+rng.Float64()-0.5)
	ahead := wave()
	angle := 2 * math.Pi * rng.Float64()
	side := [3]float64{math.Cos(angle), math.Sin(angle), 0}
	front := [3]float64{-side[1], side[0], 0}
	noise := func() float64 { return 0.1 * rng.NormFloat64() }
	at := 0.0
	var out []Stride
	for i, l := range leads {
		if jumpBefore[i] {
			at += 0.7
		}
		h, f := 1.0, 1.0
		switch l {
		case LeadRight:
			h, f = -1, -1
		case LeadDisunited:
			f = -1
		}
		w := &strideWave{up: [3]float64{0, 0, 1}}
		for k := range w.force {
			lateral := complex(h, 0)*hind[k] + complex(f, 0)*fore[k]
			for c := range side {
				w.force[k][c] = complex(side[c], 0)*lateral + complex(front[c], 0)*ahead + complex(noise(), noise())
			}
		}
		out = append(out, Stride{Gait: Canter, FromS: at, ToS: at + 0.6, wave: w})
		at += 0.6
	}
	return out
}

// Two leads and a disunited stretch after two of the jumps are named right, whatever the waves' phases, the sensor's
// turn about up, and which is which; and a ride that turns to one side only names no lead.
func TestLeadsOfMirroredWaves(t *testing.T) {
	named, wrong, strides := 0, 0, 0
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(seed, 1))
		var leads []Lead
		var turns []TurnHint
		jumps := map[int]bool{}
		stretch := func(l Lead, n int) {
			for range n {
				leads = append(leads, l)
			}
		}
		for k := range 8 {
			inside, way := LeadLeft, 1.5
			if (k%2 == 0) == (seed%2 == 0) {
				inside, way = LeadRight, -1.5
			}
			if k == 2 || k == 5 {
				stretch(LeadDisunited, 6)
			}
			s := 0.6*float64(len(leads)) + 0.7*float64(len(jumps))
			stretch(inside, 9)
			turns = append(turns, TurnHint{FromS: s - 0.01, ToS: s + 4, LeftRad: way})
			jumps[len(leads)] = true
		}
		made := madeWaves(rng, leads, jumps)
		ev := &Events{Strides: made, sets: findSets(made)}
		require.NotNil(t, ev.sets)
		SettleLeads(ev, turns)
		for i, s := range ev.Strides {
			strides++
			if s.Lead != LeadUnknown {
				named++
				require.GreaterOrEqual(t, s.LeadP, sureLead)
				if s.Lead != leads[i] {
					wrong++
				}
			}
		}

		var oneSide []TurnHint
		for _, h := range turns {
			if h.LeftRad > 0 {
				oneSide = append(oneSide, h)
			}
		}
		require.False(t, SettleLeads(ev, oneSide))
		for _, s := range ev.Strides {
			require.Zero(t, s.Lead)
		}
	}
	t.Logf("%d of %d strides named, %d wrong", named, strides, wrong)
	require.LessOrEqual(t, share(wrong, named), 0.02)
	require.GreaterOrEqual(t, share(named, strides), 0.8)
}

// A ride whose strides change little by little, with its pace say, has no leads that could be named.
func TestNoLeadsInDrift(t *testing.T) {
	for seed := range uint64(20) {
		made := madeWaves(rand.New(rand.NewPCG(seed, 2)), make([]Lead, 90), nil)
		var turns []TurnHint
		for i := range made {
			for c := range made[i].wave.force[0] {
				made[i].wave.force[0][c] += complex(float64(i)/12, 0)
			}
			if i%15 == 0 {
				turns = append(turns, TurnHint{made[i].FromS, made[i].FromS + 4, float64(i/15%2)*2 - 1})
			}
		}
		ev := &Events{Strides: made, sets: findSets(made)}
		require.False(t, SettleLeads(ev, turns), "seed %d", seed)
	}
}

// leadTally counts strides by the lead that was true.
type leadTally struct {
	strides, named, right             int
	disunited, called, disunitedRight int
	sumP                              float64
}

func (y *leadTally) add(o leadTally) {
	y.strides, y.named, y.right = y.strides+o.strides, y.named+o.named, y.right+o.right
	y.disunited, y.called, y.disunitedRight = y.disunited+o.disunited, y.called+o.called, y.disunitedRight+o.disunitedRight
	y.sumP += o.sumP
}

// TestLeadsOfRounds names the leads of the labelled rounds' true canter strides, world by world, so that what is judged is the naming and
// not the strides. The turns are the gyroscope's, else the ones between the jumps.
func TestLeadsOfRounds(t *testing.T) {
	if testing.Short() {
		t.Skip("long")
	}
	by := map[string]*leadTally{}
	for _, world := range []string{"rounds", "practice", "worlds/flat", "worlds/flat-limbs", "worlds/gymnastics", "worlds/gymnastics-limbs", "worlds/light", "worlds/limbs"} {
		for _, r := range roundsOf(t, filepath.Join("../../shared/data", world)) {
			ev, hints := trueStrides(r)
			SettleLeads(ev, hints)
			var y leadTally
			for _, s := range ev.Strides {
				want := ""
				for _, l := range r.Leads {
					if math.Abs(l.At-s.FromS) < 0.05 {
						want = l.Name
					}
				}
				if want == "" {
					continue
				}
				y.strides++
				got := s.Lead.String()
				if want == "disunited" {
					y.disunited++
				}
				if got == "" {
					continue
				}
				y.named++
				y.sumP += s.LeadP
				if got == want {
					y.right++
				}
				if got == "disunited" {
					y.called++
					if want == got {
						y.disunitedRight++
					}
				}
			}
			mount := "saddle, girth, pocket"
			if r.Sensors.Inertial.Mount == "wrist" {
				mount = "wrist"
			}
			for _, k := range []string{world + ", " + mount, "all, " + mount} {
				if by[k] == nil {
					by[k] = &leadTally{}
				}
				by[k].add(y)
			}
		}
	}
	if len(by) == 0 {
		t.Skip("the labelled rounds are not here")
	}
	var names []string
	for k := range by {
		names = append(names, k)
	}
	sort.Strings(names)
	for _, k := range names {
		y := by[k]
		t.Logf("%-46s strides %5d  named %.3f  right of these %.4f (said %.3f)  disunited: true %3d called %3d right %3d",
			k, y.strides, share(y.named, y.strides), share(y.right, y.named), y.sumP/float64(y.named), y.disunited, y.called, y.disunitedRight)
	}
	for k, y := range by {
		if y.named > 100 {
			require.GreaterOrEqual(t, share(y.right, y.named), 0.97, k)
		}
	}
	all := by["all, saddle, girth, pocket"]
	require.GreaterOrEqual(t, share(all.named, all.strides), 0.77)
	require.GreaterOrEqual(t, share(all.right, all.named), 0.99)
	require.GreaterOrEqual(t, share(all.disunitedRight, all.called), 0.95)
	require.GreaterOrEqual(t, share(all.disunitedRight, all.disunited), 0.6)
}

// trueStrides are events with the true canter strides of a round, and the turns that name their leads.
func trueStrides(r *labelled) (*Events, []TurnHint) {
	ev := &Events{}
	m := numbersOnly(r.m)
	for _, part := range split(m) {
		p := resample(m, part[0], part[1])
		p.findUp(m.GravityRemoved)
		p.loads()
		p.addYaw(ev)
		for _, s := range r.Strides {
			if s.Gait != "canter" || s.T0 < p.t0 || s.T1 > p.at(float64(p.n-1)) {
				continue
			}
			st := []Stride{{Gait: Canter, FromS: s.T0, ToS: s.T1}}
			p.addLeadWaves(st)
			ev.Strides = append(ev.Strides, st...)
		}
	}
	sort.SliceStable(ev.Strides, func(i, j int) bool { return ev.Strides[i].FromS < ev.Strides[j].FromS })
	ev.sets = findSets(ev.Strides)
	if hints := ev.Turns(); len(hints) > 0 {
		return ev, hints
	}
	var hints []TurnHint
	next := 0
	for i := 1; i < len(r.Efforts) && next < len(r.Lines); i++ {
		a, b, l := r.Efforts[i-1], r.Efforts[i], r.Lines[next]
		if !a.jumped() || !b.jumped() || a.Obstacle != l.From || b.Obstacle != l.To {
			continue
		}
		next++
		if math.Abs(l.TurnedDeg) > 60 {
			d := *b.TakeoffS - *a.LandingS
			hints = append(hints, TurnHint{*a.LandingS + d/3, *b.TakeoffS - d/6, l.TurnedDeg * math.Pi / 180})
		}
	}
	return ev, hints
}

// roundsOf are the rounds of one folder that have a motion sensor; none where it is not there.
func roundsOf(t testing.TB, dir string) []*labelled {
	files, err := filepath.Glob(filepath.Join(dir, "*", "motion.csv"))
	require.NoError(t, err)
	sort.Strings(files)
	var out []*labelled
	for _, f := range files {
		if _, err := os.Stat(f); err == nil {
			out = append(out, labelledRound(t, f))
		}
	}
	return out
}
