package compare

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/xml"
	"html"
	"io"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/report"
)

func asPage(t *testing.T, attempts ...Attempt) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, Page(&out, of(t, attempts...), attempts, PageOptions{}))
	return out.String()
}

// onPlan lays an attempt's lines one after the other along y = x0, ten samples a second at 5 m/s from 19 s on, with a
// gap between 22 and 23 s.
func onPlan(a Attempt, x0 float64) Attempt {
	plan := &course.Plan{Name: "Long field", Arena: []course.Point{{X: 0, Y: 0}, {X: 40, Y: 0}, {X: 40, Y: 90}, {X: 0, Y: 90}}}
	for i, id := range []string{"1", "2", "3", "4"} {
		plan.Obstacles = append(plan.Obstacles, course.Obstacle{ID: id, Kind: course.Vertical, At: course.Point{X: 20, Y: 8 + 22*float64(i)}, WidthM: 3.5})
	}
	d := a.Debrief
	d.Plan, d.Ridden = plan, &report.Ridden{Pieces: []int{0}}
	r := d.Ridden
	for i := range 160 {
		at := 19 + 0.1*float64(i)
		if at > 22.05 && at < 22.95 {
			continue
		}
		if at >= 22.95 && len(r.Pieces) == 1 {
			r.Pieces = append(r.Pieces, len(r.TimeS))
		}
		r.TimeS, r.XM, r.YM = append(r.TimeS, at), append(r.XM, x0), append(r.YM, 5*(at-19))
	}
	for i := range d.Lines {
		r.LineS = append(r.LineS, [2]float64{20.5 + 4.5*float64(i), 24.5 + 4.5*float64(i)})
	}
	return a
}

func TestPageSaysWhatTheTextSays(t *testing.T) {
	got := asPage(t, first(), second())
	for _, want := range []string{"<title>Long field: rides compared</title>", "What changed from A to B", "beyond doubt 5 strides, before 6 (5 planned)",
		"First along the route to improve: 3 to 4", "&#43;0.45 ±0.12", `<th scope="row">each stride, m</th>`, "3 to 4, related 21.95 m, planned 5", "62.0 ±0.2 (2 faults)", "Holm 1979", "No veterinary tool"} {
		require.Contains(t, got, want)
	}
	require.NotContains(t, got, "Look:")
	elsewhere := second()
	elsewhere.Debrief.Course = &report.CourseInfo{Name: "Another field"}
	require.Contains(t, asPage(t, first(), elsewhere), "<b>Look:</b> The debriefs are of plans with different names")
	require.NotContains(t, got, "<figure", "no debrief has a track")
	require.Equal(t, 6, strings.Count(got, `aria-label="To scale, m: `), "a strip for each of two rides of three lines")
	require.Contains(t, asPage(t, lesson(6)), "From ride to ride: each stride")
}

func TestPageDrawsTheTracks(t *testing.T) {
	got := asPage(t, onPlan(first(), 19), onPlan(second(), 21))
	require.Contains(t, got, "A unbroken, B dashed")
	tracks := regexp.MustCompile(`(?s)<g class="tracks".*?</g>`).FindString(got)
	// Each of three rides of A and of B; the gap breaks those of the first line in two.
	require.Equal(t, 8, strings.Count(tracks, "<path"))
	require.Equal(t, 4, strings.Count(tracks, "stroke-dasharray"))
	svg := regexp.MustCompile(`(?s)<figure>(<svg.*?)<figcaption`).FindStringSubmatch(got)[1]
	dec := xml.NewDecoder(strings.NewReader(svg))
	for {
		_, err := dec.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
	}
	for _, id := range []string{"1", "2", "3", "4"} {
		require.Contains(t, svg, ">"+id+"</text>")
	}
	// A debrief without a track beside one with.
	require.Contains(t, asPage(t, onPlan(first(), 19), second()), "A unbroken")
}

// To scale, and where the plan says: 2 m beside each other are 2 m times the scale apart.
func TestTracksLieOnThePlan(t *testing.T) {
	attempts := []Attempt{onPlan(first(), 19), onPlan(second(), 21)}
	d := tracks(of(t, attempts...), attempts)
	require.InDelta(t, 2*d.PtPerM, d.At(course.Point{X: 21}).X-d.At(course.Point{X: 19}).X, 1e-9)
	for _, p := range attempts[0].Debrief.Plan.Arena {
		at := d.At(p)
		require.True(t, at.X >= 0 && at.X <= d.WidthPt && at.Y >= 0 && at.Y <= d.HighPt)
	}
	require.Nil(t, tracks(of(t, first(), second()), []Attempt{first(), second()}))
}

func TestPageIsSafeAndWhole(t *testing.T) {
	a, b := onPlan(first(), 19), onPlan(second(), 21)
	a.Name = `<script>alert("a")</script>` + "\x1b[31m"
	a.Debrief.Plan.Obstacles[0].ID = `<b>1</b>`
	a.Debrief.Course.Name = `Field & <i>ditch</i>`
	b.Debrief.Course.Name = a.Debrief.Course.Name
	got := asPage(t, a, b)
	for _, never := range []string{"<script", "<b>1", "<i>", "\x1b", "javascript:", "src=", "url(", "@import", "ZgotmplZ"} {
		require.NotContains(t, got, never)
	}
	require.Empty(t, regexp.MustCompile(`https?://`).FindAllString(strings.ReplaceAll(got, "http://www.w3.org/2000/svg", ""), -1))
	style := regexp.MustCompile(`(?s)<style>(.*?)</style>`).FindStringSubmatch(got)[1]
	sum := sha256.Sum256([]byte(style))
	require.Contains(t, html.UnescapeString(got), "'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'")
	require.Equal(t, got, asPage(t, a, b))
	for _, x := range comparisons() {
		require.Less(t, len(asPage(t, x.attempts...)), 200_000)
	}
}
