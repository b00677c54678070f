package compare

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report"
	"groundline/report/score"
	"groundline/trace"
	"groundline/trace/read"
)

const rounds = "../../../shared/data"

// known is a debrief with what truly happened.
type known struct {
	dir     string
	debrief *report.Debrief
	truth   *score.Truth
}

func load(t *testing.T, dir string) known {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(dir, "course.yaml"))
	require.NoError(t, err)
	plan, _, err := course.ReadPlan("course.yaml", raw)
	require.NoError(t, err)
	var files []string
	for _, name := range []string{"ride.gpx", "motion.csv"} {
		if _, err := os.Stat(filepath.Join(dir, name)); err == nil {
			files = append(files, filepath.Join(dir, name))
		}
	}
	rec, err := read.Open(context.Background(), files, read.Options{})
	require.NoError(t, err)
	d, err := report.Build(rec, plan, report.Options{})
	require.NoError(t, err)
	f, err := os.Open(filepath.Join(dir, "truth.json"))
	require.NoError(t, err)
	defer f.Close()
	truth, err := score.ReadTruth(f)
	require.NoError(t, err)
	return known{dir, d, truth}
}

// truths are the true figures of the rides of a line in a round, in time order.
func (k known) truths(from, to string) []map[Key]float64 {
	var out []map[Key]float64
	next := 0
	for _, l := range k.truth.Lines {
		for i := next; i+1 < len(k.truth.Efforts); i++ {
			a, b := k.truth.Efforts[i], k.truth.Efforts[i+1]
			if a.Obstacle != l.From || b.Obstacle != l.To || a.LandingS == nil || b.TakeoffS == nil {
				continue
			}
			next = i + 1
			if l.From != from || l.To != to {
				break
			}
			m := map[Key]float64{Strides: float64(l.Strides), Track: l.TrackM, Speed: l.SpeedMeanMS, Turned: math.Abs(l.TurnedDeg),
				Time: *b.TakeoffS - *a.LandingS, Landing: *a.LandingDistanceM, Takeoff: *b.TakeoffDistanceM}
			if l.StrideLengthM != nil {
				m[StrideLength], m[StrideTime] = *l.StrideLengthM, *l.StrideS
			}
			if l.RadiusMinM != nil {
				m[Radius] = *l.RadiusMinM
			}
			out = append(out, m)
			break
		}
	}
	return out
}

// held counts how often the interval of a difference held the truth, and how often what was called
// beyond doubt had the right sign.
type held struct{ in, of, sure, wrong, likely, likelyWrong int }

func TestDifferencesOverPairsOfRoundsHoldTheTruth(t *testing.T) {
	dirs, err := filepath.Glob(filepath.Join(rounds, "*", "*", "truth.json"))
	require.NoError(t, err)
	if len(dirs) == 0 {
		t.Skip("the rounds with known truth are not beside the project")
	}
	groups := map[string][]known{}
	var kinds []string
	for _, at := range dirs {
		k := load(t, filepath.Dir(at))
		kind := "teaching " + k.truth.Kind()
		if strings.Contains(k.dir, "full") {
			kind = "full " + k.truth.Kind()
		}
		if groups[kind] == nil {
			kinds = append(kinds, kind)
		}
		groups[kind] = append(groups[kind], k)
	}
	all := map[Key]*held{}
	byKind := map[string]*held{}
	for _, kind := range kinds {
		g := groups[kind]
		byKind[kind] = &held{}
		for i := range g {
			for j := i + 1; j < len(g); j++ {
				pairOf(t, g[i], g[j], all, byKind[kind])
			}
		}
	}
	for _, k := range Keys() {
		if h := all[k]; h != nil {
			fmt.Printf("%-22s %5.3f of %5d  sure %5d wrong %3d  likely %5d wrong %3d\n", k, float64(h.in)/float64(h.of), h.of, h.sure, h.wrong, h.likely, h.likelyWrong)
		}
	}
	for _, kind := range kinds {
		h := byKind[kind]
		fmt.Printf("%-32s %5.3f of %5d  sure %5d wrong %3d  likely %5d wrong %3d\n", kind, float64(h.in)/float64(max(h.of, 1)), h.of, h.sure, h.wrong, h.likely, h.likelyWrong)
	}
}

func pairOf(t *testing.T, a, b known, all map[Key]*held, kind *held) {
	// Other plans have other distances; for this the lines of the same name count as one.
	bare := func(d *report.Debrief) *report.Debrief {
		out := *d
		out.Lines = append([]report.Line{}, d.Lines...)
		for i := range out.Lines {
			out.Lines[i].DistanceM = nil
		}
		return &out
	}
	c, err := Of([]Attempt{{"a", bare(a.debrief)}, {"b", bare(b.debrief)}}, Options{})
	if err != nil {
		return // nothing in common
	}
	for _, l := range c.Lines {
		ta, tb := a.truths(l.From, l.To), b.truths(l.From, l.To)
		if l.From == "" || len(l.Rides) != 2 || len(ta) != 1 || len(tb) != 1 {
			continue
		}
		for _, d := range l.Differences {
			x, ok1 := ta[0][d.Key]
			y, ok2 := tb[0][d.Key]
			if !ok1 || !ok2 {
				continue
			}
			h := all[d.Key]
			if h == nil {
				h = &held{}
				all[d.Key] = h
			}
			for _, h := range []*held{h, kind} {
				h.of++
				if within(d.Difference, y-x) {
					h.in++
				}
				bad := (y-x)*d.Difference.Value <= 0
				switch d.Verdict {
				case BeyondDoubt:
					h.sure++
					if bad {
						h.wrong++
					}
				case Likely:
					h.likely++
					if bad {
						h.likelyWrong++
					}
				}
			}
		}
	}
}

func within(e trace.Estimate, x float64) bool {
	const dust = 0.0015 // what truth.json rounds to
	return x >= e.Low-dust && x <= e.High+dust
}
