package validate_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report/build"
	"groundline/report/validate"
	"groundline/trace/read"
)

const rounds = "../../../shared/data"

// truth is what a round's maker knows, as far as labels need it.
type truth struct {
	Efforts []struct {
		Obstacle string  `json:"obstacle"`
		Outcome  string  `json:"outcome"`
		TakeoffS float64 `json:"takeoff_s"`
		LandingS float64 `json:"landing_s"`
	} `json:"efforts"`
	Lines []struct {
		From    string `json:"from"`
		To      string `json:"to"`
		Strides int    `json:"strides"`
	} `json:"lines"`
}

// Twenty rounds of known truth, filmed at 25 frames a second by a clock of its own, labelled by two people of whom one
// miscounts every tenth line and marks every tenth take-off four frames late: the report finds the clock, the slips by
// their lines, and nothing that the second did not slip on.
func TestRoundsOnFilm(t *testing.T) {
	if testing.Short() {
		t.Skip("-short: twenty rounds are debriefed")
	}
	folders, err := filepath.Glob(filepath.Join(rounds, "practice", "*"))
	require.NoError(t, err)
	if len(folders) == 0 {
		t.Skip("no labelled rounds beside the project")
	}
	const fps = 25.0
	rng := rand.New(rand.NewPCG(7, 9))
	var rides []validate.RideInput
	type clock struct{ off, ppm float64 }
	clocks := map[string]clock{}
	slips := map[string]bool{} // labels of rater B that were spoilt, as file:line
	for _, dir := range folders {
		if len(rides) == 20 {
			break
		}
		if _, err := os.Stat(filepath.Join(dir, "motion.csv")); err != nil {
			continue // a watch alone has no take-offs to the frame
		}
		var tr truth
		data, err := os.ReadFile(filepath.Join(dir, "truth.json"))
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(data, &tr))
		name := filepath.Base(dir)
		c := clock{off: 3000 * rng.Float64(), ppm: 200 * (rng.Float64() - 0.5)}
		clocks[name] = c
		film := func(s float64) float64 { return math.Floor((c.off+(1+c.ppm/1e6)*s)*fps) / fps }
		text := "event,obstacle,line,attempt,time_s,count,rater\n"
		row := 1
		add := func(spoilt bool, format string, args ...any) {
			text += fmt.Sprintf(format+"\n", args...)
			if row++; spoilt {
				slips[fmt.Sprintf("%s:%d", name, row)] = true
			}
		}
		seen, n, m := map[string]int{}, 0, 0
		for _, e := range tr.Efforts {
			if e.Outcome != "jumped" && e.Outcome != "warm-up" {
				continue
			}
			seen[e.Obstacle]++
			late := 0.0
			if n++; n%10 == 3 {
				late = 4 / fps
			}
			add(false, "takeoff,%s,,%d,%.3f,,A", e.Obstacle, seen[e.Obstacle], film(e.TakeoffS))
			add(false, "landing,%s,,%d,%.3f,,A", e.Obstacle, seen[e.Obstacle], film(e.LandingS))
			add(late > 0, "takeoff,%s,,%d,%.3f,,B", e.Obstacle, seen[e.Obstacle], film(e.TakeoffS)+late)
			add(false, "landing,%s,,%d,%.3f,,B", e.Obstacle, seen[e.Obstacle], film(e.LandingS))
		}
		for _, l := range tr.Lines {
			k := l.From + "-" + l.To
			seen[k]++
			wrong := 0
			if m++; m%10 == 2 {
				wrong = 1
			}
			add(false, "strides,,%s,%d,,%d,A", k, seen[k], l.Strides)
			add(wrong > 0, "strides,,%s,%d,,%d,B", k, seen[k], l.Strides+wrong)
		}
		labels, err := validate.ReadLabels(name, []byte(text), validate.LabelOptions{FPS: fps})
		require.NoError(t, err)
		planned, err := os.ReadFile(filepath.Join(dir, "course.yaml"))
		require.NoError(t, err)
		plan, _, err := course.ReadPlan("course.yaml", planned)
		require.NoError(t, err)
		files := []string{filepath.Join(dir, "motion.csv")}
		if _, err := os.Stat(filepath.Join(dir, "ride.gpx")); err == nil {
			files = append(files, filepath.Join(dir, "ride.gpx"))
		}
		rec, err := read.Open(t.Context(), files, read.Options{})
		require.NoError(t, err)
		d, err := build.Debrief(t.Context(), rec, plan, build.Options{})
		require.NoError(t, err)
		rides = append(rides, validate.RideInput{Name: name, Horse: strings.Split(name, "-")[2], Debrief: d, Labels: labels, FPS: fps})
	}
	require.Len(t, rides, 20)
	result, _, err := validate.Judge(rides)
	require.NoError(t, err)

	found := map[string]bool{}
	for _, s := range result.Raters.Slips {
		require.True(t, slips[s.LabelB], "%s %s is called a slip and is none", s.Event, s.LabelB)
		found[s.LabelB] = true
	}
	require.Equal(t, len(slips), len(found), "every slip that was put in is found")
	for _, r := range result.Rides {
		c := clocks[r.Ride]
		// The ride's own clock starts at its first sample: the labels' truth counts from the same start.
		require.InDelta(t, c.off, r.Clock.OffsetS.Value, 0.15, r.Ride)
	}
	var out bytes.Buffer
	require.NoError(t, validate.Text(&out, result))
	t.Logf("%d slips put in, %d found\n%s", len(slips), len(found), out.String())
}
