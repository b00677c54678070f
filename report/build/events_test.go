package build

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report"
	"groundline/trace/read"
)

// eventRound is a labelled round as far as its events are concerned; times are the truth's.
type eventRound struct {
	name, mount string
	d           *report.Debrief
	shiftS      float64 // debrief's time plus shift is the truth's
	truth       eventTruth
}

type eventTruth struct {
	Start   string
	Leads   []leadTime
	Efforts []struct {
		Obstacle, Outcome string
		TakeoffS          *float64 `json:"takeoff_s"`
		LandingS          *float64 `json:"landing_s"`
	}
	Lines []struct {
		From, To  string
		Strides   int
		TurnedDeg float64 `json:"turned_deg"`
	}
	Sensors struct {
		Inertial *struct {
			Mount  string
			ClockS float64 `json:"clock_s"`
			PPM    float64
		}
	}
}

type leadTime struct {
	At   float64
	Lead string
}

func (l *leadTime) UnmarshalJSON(b []byte) error { return json.Unmarshal(b, &[]any{&l.At, &l.Lead}) }

func eventRounds(t *testing.T, folder string) []eventRound {
	dirs, err := filepath.Glob("../../../shared/data/" + folder + "/*/truth.json")
	require.NoError(t, err)
	sort.Strings(dirs)
	var out []eventRound
	for _, f := range dirs {
		dir := filepath.Dir(f)
		e := eventRound{name: filepath.Base(dir)}
		b, err := os.ReadFile(f)
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(b, &e.truth))
		var files []string
		for _, n := range []string{"ride.gpx", "motion.csv"} {
			if _, err := os.Stat(filepath.Join(dir, n)); err == nil {
				files = append(files, filepath.Join(dir, n))
			}
		}
		rec, err := read.Open(context.Background(), files, read.Options{})
		require.NoError(t, err)
		text, err := os.ReadFile(filepath.Join(dir, "course.yaml"))
		if err != nil {
			continue // flat work
		}
		plan, _, err := course.Read("course.yaml", text)
		require.NoError(t, err)
		start, err := time.Parse(time.RFC3339, e.truth.Start)
		require.NoError(t, err)
		switch {
		case !rec.Start.IsZero():
			e.shiftS = rec.Start.Sub(start).Seconds()
		default:
			raw, err := os.ReadFile(files[0])
			require.NoError(t, err)
			first, _, _ := strings.Cut(strings.Split(string(raw), "\n")[1], ",")
			e.shiftS, err = strconv.ParseFloat(first, 64)
			require.NoError(t, err)
		}
		if in := e.truth.Sensors.Inertial; in != nil {
			e.mount = in.Mount
			if rec.Positions == nil {
				e.shiftS -= in.ClockS
			}
		}
		e.d, err = Debrief(context.Background(), rec, plan, Options{})
		require.NoError(t, err, e.name)
		out = append(out, e)
	}
	return out
}

// lead is the true lead of the stride at a debrief's time; "" where there is none.
func (e *eventRound) lead(s float64) string {
	at := s + e.shiftS
	i := sort.Search(len(e.truth.Leads), func(i int) bool { return e.truth.Leads[i].At > at+0.1 }) - 1
	if i < 0 || at-e.truth.Leads[i].At > 1.2 {
		return ""
	}
	return e.truth.Leads[i].Lead
}

// runs are the true stretches of one lead of at least so many strides, as debrief's times; a jump does not end one.
func (e *eventRound) runs(lead string, least int) [][2]float64 {
	var out [][2]float64
	n := 0
	for i, l := range e.truth.Leads {
		if l.Lead != lead {
			n = 0
			continue
		}
		n++
		jumped := i > 0 && l.At-e.truth.Leads[i-1].At > 1.1
		if n == 1 || jumped {
			n = 1
			out = append(out, [2]float64{l.At - e.shiftS, 0})
		}
		out[len(out)-1][1] = l.At + 0.6 - e.shiftS
	}
	return slices.DeleteFunc(out, func(s [2]float64) bool { return s[1]-s[0] < 0.55*float64(least) })
}

// eventTally counts what was called and what was true.
type eventTally struct {
	called, right, true, found int
	p                          float64
	byP                        [3][2]int // called, right at p of 0.5 to 0.75, to 0.95, above
}

func (y *eventTally) call(p float64, right bool) {
	y.called++
	y.p += p
	k := 0
	if p >= 0.95 {
		k = 2
	} else if p >= 0.75 {
		k = 1
	}
	y.byP[k][0]++
	if right {
		y.right++
		y.byP[k][1]++
	}
}

// TestEventsOfRounds holds the events of rounds against their truth, world by world. A disunited stretch is found where half of either
// lies in the other, a turn on the wrong lead right where most of its strides were on that lead, a change within a second and a half, a
// line's strides where they were what was said.
func TestEventsOfRounds(t *testing.T) {
	if testing.Short() {
		t.Skip("long")
	}
	sum := map[string]*eventTally{}
	at := func(world, kind string) *eventTally {
		k := fmt.Sprintf("%-16s %s", kind, world)
		if sum[k] == nil {
			sum[k] = &eventTally{}
		}
		return sum[k]
	}
	for _, world := range []string{"rounds", "practice", "worlds/gymnastics", "worlds/gymnastics-limbs", "worlds/light", "worlds/limbs"} {
		for _, e := range eventRounds(t, world) {
			group := world
			if e.mount == "wrist" {
				group += " wrist"
			}
			unseen := map[string]bool{}
			for _, u := range e.d.Unseen {
				unseen[u.Event] = true
			}
			disunited := e.runs("disunited", 2)
			overlap := func(a, b [2]float64) float64 { return math.Min(a[1], b[1]) - math.Max(a[0], b[0]) }
			var changes []report.Event
			for _, ev := range e.d.Events {
				span := [2]float64{ev.FromS, ev.ToS}
				switch ev.Event {
				case report.EventDisunited:
					right := slices.ContainsFunc(disunited, func(s [2]float64) bool {
						return overlap(s, span) > 0.5*math.Min(s[1]-s[0], span[1]-span[0])
					})
					at(group, ev.Event).call(ev.P, right)
				case report.EventWrongLead:
					n, of := 0, 0
					for s := ev.FromS + 0.3; s < ev.ToS; s += 0.3 {
						if l := e.lead(s); l != "" {
							of++
							if l == *ev.Side {
								n++
							}
						}
					}
					at(group, ev.Event).call(ev.P, 2*n > of)
				case report.EventChange:
					changes = append(changes, ev)
				case report.EventCircle, report.EventBreak:
					right := ev.Event == report.EventCircle && e.circled(ev) // no round has a break
					at(group, ev.Event).call(ev.P, right)
					t.Logf("%s: %s at %.1f s for %.1f s, p %.2f, right %v", e.name, ev.Event, ev.FromS, ev.ToS-ev.FromS, ev.P, right)
				}
			}
			if !unseen[report.EventDisunited] {
				for _, s := range disunited {
					y := at(group, report.EventDisunited)
					y.true++
					if slices.ContainsFunc(e.d.Events, func(ev report.Event) bool {
						span := [2]float64{ev.FromS, ev.ToS}
						return ev.Event == report.EventDisunited && overlap(s, span) > 0.5*math.Min(s[1]-s[0], span[1]-span[0])
					}) {
						y.found++
					}
				}
				e.scoreChanges(at(group, report.EventChange), changes)
			}
			e.scoreStrides(at(group, report.EventAddedStride), at(group, report.EventLeftOut))
		}
	}
	if len(sum) == 0 {
		t.Skip("the labelled rounds are not here")
	}
	var names []string
	for k := range sum {
		names = append(names, k)
	}
	sort.Strings(names)
	for _, k := range names {
		y := sum[k]
		t.Logf("%-44s called %3d right %3d (mean p %.2f)  true %3d found %3d   by p: %v", k, y.called, y.right, y.p/float64(max(1, y.called)), y.true, y.found, y.byP)
	}
	all := map[string]*eventTally{}
	for k, y := range sum {
		kind, _, _ := strings.Cut(k, "  ")
		if all[kind] == nil {
			all[kind] = &eventTally{}
		}
		a := all[kind]
		a.called, a.right, a.true, a.found = a.called+y.called, a.right+y.right, a.true+y.true, a.found+y.found
	}
	for kind, y := range all {
		t.Logf("%-16s called %d right %d true %d found %d", kind, y.called, y.right, y.true, y.found)
	}
	for _, kind := range []string{report.EventDisunited, report.EventWrongLead, report.EventChange} {
		require.GreaterOrEqual(t, float64(all[kind].right), 0.9*float64(all[kind].called), kind)
	}
}

// circled reports whether the line of an event was ridden with a circle: turned by most of one more than the ways there need.
func (e *eventRound) circled(ev report.Event) bool {
	for _, l := range e.truth.Lines {
		if ev.Line != nil && *ev.Line == l.From+"-"+l.To && math.Abs(l.TurnedDeg) > 285 {
			return true
		}
	}
	return false
}

// scoreChanges pairs changes of the ridden lead with the events.
func (e *eventRound) scoreChanges(y *eventTally, events []report.Event) {
	type change struct {
		from, to float64
		side     string
	}
	var truth []change
	last := -1
	for i, l := range e.truth.Leads {
		if l.Lead == "disunited" {
			continue
		}
		if last >= 0 && e.truth.Leads[last].Lead != l.Lead && l.At-e.truth.Leads[last].At < 8.6 {
			truth = append(truth, change{e.truth.Leads[last].At + 0.6 - e.shiftS, l.At - e.shiftS, l.Lead})
		}
		last = i
	}
	used := make([]bool, len(truth))
	for _, ev := range events {
		right := false
		for k, c := range truth {
			if !used[k] && c.side == *ev.Side && ev.ToS > c.from-1.5 && ev.FromS < c.to+1.5 {
				used[k], right = true, true
				break
			}
		}
		y.call(ev.P, right)
	}
	for _, u := range used {
		y.true++
		if u {
			y.found++
		}
	}
}

// scoreStrides holds lines of more or fewer strides than planned against the true counts.
func (e *eventRound) scoreStrides(added, left *eventTally) {
	next := 0
	for i := 1; i < len(e.truth.Efforts) && next < len(e.truth.Lines); i++ {
		a, b, l := e.truth.Efforts[i-1], e.truth.Efforts[i], e.truth.Lines[next]
		if a.LandingS == nil || b.TakeoffS == nil || a.Obstacle != l.From || b.Obstacle != l.To {
			continue
		}
		next++
		for _, d := range e.d.Lines {
			if d.From != l.From || d.To != l.To || d.PlannedStrides == nil {
				continue
			}
			// Which ride of the line: by an event's or the efforts' time.
			k := slices.IndexFunc(e.d.Efforts, func(f report.Effort) bool {
				return f.LandingS != nil && f.Obstacle != nil && *f.Obstacle == l.From && f.Attempt == d.Attempt
			})
			if k < 0 || math.Abs(e.d.Efforts[k].LandingS.Value+e.shiftS-*a.LandingS) > 2 {
				continue
			}
			by := l.Strides - *d.PlannedStrides
			if by > 6 {
				continue // a circle in it
			}
			name := l.From + "-" + l.To
			j := slices.IndexFunc(e.d.Events, func(ev report.Event) bool {
				return (ev.Event == report.EventAddedStride || ev.Event == report.EventLeftOut) && ev.Line != nil && *ev.Line == name && math.Abs(ev.FromS+e.shiftS-*a.LandingS) < 2
			})
			if by > 0 {
				added.true++
			}
			if by < 0 {
				left.true++
			}
			if j < 0 {
				continue
			}
			ev := e.d.Events[j]
			if ev.Event == report.EventAddedStride {
				added.call(ev.P, by > 0)
				if by > 0 {
					added.found++
				}
			} else {
				left.call(ev.P, by < 0)
				if by < 0 {
					left.found++
				}
			}
		}
	}
}
