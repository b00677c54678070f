package report

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/trace/read"
)

// trueLine is a line as it was ridden.
type trueLine struct {
	From    string `json:"from"`
	To      string `json:"to"`
	Strides int    `json:"strides"`
}

// roundOf is a round with its truth: its plan, its debrief by the whole chain, read back from JSON, and how its
// lines were ridden.
type roundOf struct {
	name  string
	plan  *course.Plan
	d     *Debrief
	lines []trueLine
}

func rounds(t *testing.T) []roundOf {
	t.Helper()
	var out []roundOf
	for _, folder := range []string{"rounds", "practice"} {
		truths, err := filepath.Glob(filepath.Join("..", "..", "shared", "data", folder, "*", "truth.json"))
		require.NoError(t, err)
		for i, f := range truths {
			if testing.Short() && i%6 != 0 {
				continue
			}
			dir := filepath.Dir(f)
			var truth struct {
				Lines []trueLine `json:"lines"`
			}
			data, err := os.ReadFile(f)
			require.NoError(t, err)
			require.NoError(t, json.Unmarshal(data, &truth))
			text, err := os.ReadFile(filepath.Join(dir, "course.yaml"))
			require.NoError(t, err)
			plan, _, err := course.ReadPlan("course.yaml", text)
			require.NoError(t, err)
			var files []string
			for _, name := range []string{"ride.gpx", "motion.csv"} {
				if p := filepath.Join(dir, name); fileIs(p) {
					files = append(files, p)
				}
			}
			rec, err := read.Open(t.Context(), files, read.Options{})
			require.NoError(t, err)
			d, err := Build(rec, plan, Options{})
			require.NoError(t, err)
			var asJSON bytes.Buffer
			require.NoError(t, JSON(&asJSON, d))
			back, err := ReadDebrief("debrief.json", asJSON.Bytes())
			require.NoError(t, err)
			out = append(out, roundOf{filepath.Base(dir), plan, back, truth.Lines})
		}
	}
	if len(out) == 0 {
		t.Skip("the rounds with known truth are not here")
	}
	return out
}

func fileIs(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// A walked of predictions: how many came true, and what was said of their chance.
type walked struct{ right, near, all, sure, sureRight int }

func (y *walked) add(l course.WalkLine, ridden int) {
	const sure = 0.8
	y.all++
	if l.Whole == ridden {
		y.right++
	}
	if d := l.Whole - ridden; d >= -1 && d <= 1 {
		y.near++
	}
	k := slices.IndexFunc(l.Asked, func(a course.Asked) bool { return a.Strides == l.Whole })
	if k >= 0 && l.Asked[k].Chance >= sure {
		y.sure++
		if l.Whole == ridden {
			y.sureRight++
		}
	}
}

// The walk of each round's course for the horse that its own debrief measured, against the strides that it rode; then with
// the debrief less the line that is asked for, which is what a walk before the ride would say.
func TestWalkPredictsTheRounds(t *testing.T) {
	all := rounds(t)
	within := map[course.LineKind]*walked{}
	without := map[course.LineKind]*walked{}
	for _, m := range []map[course.LineKind]*walked{within, without} {
		for _, k := range []course.LineKind{course.Related, course.Bending, course.Combination} {
			m[k] = &walked{}
		}
	}
	tracks, bending := 0, 0
	for _, r := range all {
		own := RiddenIn([]*Debrief{r.d})
		h, err := course.HorseFromRides(own, nil)
		if err != nil {
			t.Logf("%s: %v", r.name, err)
			continue
		}
		w := r.plan.Walk(h)
		for _, truth := range r.lines {
			i := slices.IndexFunc(w.Lines, func(l course.WalkLine) bool { return l.From == truth.From && l.To == truth.To })
			const roundAgain = 12 // more strides than that on a line: it was ridden in a circle
			if i < 0 || within[w.Lines[i].Kind] == nil || truth.Strides > roundAgain || truth.Strides < 1 {
				continue
			}
			l := w.Lines[i]
			within[l.Kind].add(l, truth.Strides)
			if l.Kind == course.Bending {
				bending++
				if slices.ContainsFunc(l.Tracks, func(b course.BendingTrack) bool { return b.Strides == truth.Strides }) {
					tracks++
				}
			}
			less := own
			less.Lines = slices.DeleteFunc(slices.Clone(own.Lines), func(x course.RiddenLine) bool {
				return x.Line == r.plan.Name+"/"+l.From+"/"+l.To
			})
			if h, err := course.HorseFromRides(less, nil); err == nil {
				without[l.Kind].add(r.plan.Walk(h).Lines[i], truth.Strides)
			}
		}
	}
	for _, k := range []course.LineKind{course.Related, course.Bending, course.Combination} {
		for name, y := range map[string]*walked{"with the line itself": within[k], "without it": without[k]} {
			t.Logf("%s, %s: %d of %d as walked (%.2f), %d within one; of %d said to be sure %d", k, name, y.right, y.all,
				float64(y.right)/math.Max(float64(y.all), 1), y.near, y.sure, y.sureRight)
		}
	}
	t.Logf("bending lines ridden on one of the walk's tracks: %d of %d", tracks, bending)
	if testing.Short() {
		return
	}
	require.GreaterOrEqual(t, float64(within[course.Related].right), 0.9*float64(within[course.Related].all))
}
