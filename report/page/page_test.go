package page

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"groundline/report"
	"groundline/trace"
	"groundline/trace/testkit"
)

// Every page is well formed, says its title and its cautions, holds no number that is none, asks for nothing from
// outside, and is the same when it is made again.
func TestEveryKindOfRide(t *testing.T) {
	for _, r := range rides(t) {
		t.Run(r.name, func(t *testing.T) {
			page := render(t, r.d, report.Metric)
			require.Equal(t, page, render(t, r.d, report.Metric))
			require.Contains(t, page, "instructor on the ground")
			told := regexp.MustCompile(`(?s)<(script|style)>.*?</`).ReplaceAllString(page, "") // without the page's own code
			require.NotRegexp(t, `NaN|Infinity|\bInf\b|%!`, told)
			for _, reach := range []string{"http:", "https:", "src=", "@import", "url(", "href="} {
				require.NotContains(t, regexp.MustCompile(`src=x`).ReplaceAllString(told, ""), reach) // but for the hostile name's words
			}
			root, err := html.Parse(strings.NewReader(page))
			require.NoError(t, err)
			ids := map[string]bool{}
			scripts := 0
			var walk func(n *html.Node)
			walk = func(n *html.Node) {
				if n.Type == html.ElementNode && n.Data == "script" {
					scripts++
				}
				require.NotEqual(t, "img", n.Data)
				for _, a := range n.Attr {
					require.False(t, strings.HasPrefix(a.Key, "on"), "an inline handler: %s", a.Key)
					require.NotEqual(t, "style", a.Key, "the policy forbids style attributes")
					if a.Key == "id" {
						require.False(t, ids[a.Val], "two of id %s", a.Val)
						ids[a.Val] = true
					}
				}
				for c := n.FirstChild; c != nil; c = c.NextSibling {
					walk(c)
				}
			}
			walk(root)
			require.Equal(t, 2, scripts)
		})
	}
}

// A full round stays far below what a phone's data plan minds, and a long lesson is thinned.
func TestPagesStaySmall(t *testing.T) {
	require.Less(t, len(render(t, demoRide(t, true, "ride.gpx", "motion.csv"), report.Metric)), 150_000)
	lesson := loops(40, 2, 32)
	require.Greater(t, lesson.Recording.DurationS, 40*60.0)
	require.Less(t, len(render(t, lesson, report.Metric)), 600_000)
	v := newView(lesson, report.Metric)
	require.LessOrEqual(t, len(v.moments.T), mostMoments+2*len(v.sections))
	require.Len(t, v.sections, 40)
}

// The policy lets only the page's own script and style run: by hashes of their bytes as they stand.
func TestPolicyHashesScriptAndStyle(t *testing.T) {
	page := render(t, named(hostile), report.Metric)
	policy := html.UnescapeString(regexp.MustCompile(`http-equiv="Content-Security-Policy" content="([^"]*)"`).FindStringSubmatch(page)[1])
	require.Contains(t, policy, "default-src 'none'")
	require.NotContains(t, policy, "unsafe")
	for tag, directive := range map[string]string{"script": "script-src", "style": "style-src"} {
		body := regexp.MustCompile(`(?s)<` + tag + `>(.*?)</` + tag + `>`).FindStringSubmatch(page)[1]
		sum := sha256.Sum256([]byte(body))
		require.Contains(t, policy, directive+" 'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'")
	}
}

// Names from files stand in the page as text, in every place, and steer nobody's reading direction.
func TestNamesAreEscaped(t *testing.T) {
	page := render(t, named(hostile), report.Metric)
	require.NotContains(t, page, "<img")
	require.NotContains(t, page, "<script>document")
	require.NotContains(t, page, "\u202e")
	require.NotContains(t, page, "\x00")
	require.Contains(t, page, html.EscapeString("<img src=x onerror=alert(1)>"))
	var m moments
	require.NoError(t, json.Unmarshal([]byte(dataOf(t, page)), &m))
	require.Equal(t, cleaned(hostile), m.Efforts[0].Name)
}

func dataOf(t *testing.T, page string) string {
	t.Helper()
	return regexp.MustCompile(`(?s)<script type="application/json" id="ride">(.*?)</script>`).FindStringSubmatch(page)[1]
}

// What the script knows agrees with the ride: in order, inside the drawings, and at the right moments.
func TestMomentsAgreeWithTheRide(t *testing.T) {
	d := demoRide(t, true, "ride.gpx", "motion.csv")
	v := newView(d, report.Metric)
	m := v.moments
	require.Greater(t, len(m.T), 200)
	for i := range m.T {
		require.Equal(t, len(m.T), len(m.X))
		for _, share := range []int{m.C[i], m.X[i], m.Y[i]} {
			require.True(t, share >= 0 && share <= 100_000, "%d", share)
		}
		if i > 0 {
			require.Greater(t, m.T[i], m.T[i-1])
			require.GreaterOrEqual(t, m.C[i], m.C[i-1])
		}
	}
	require.Len(t, m.Lines, len(d.Lines))
	for i, l := range m.Lines {
		require.Less(t, l.From, l.To)
		require.InDelta(t, d.Lines[i].Strides.Value, l.All, 0.5, l.Name) // the ticks are the strides that are told
	}
	for i, at := range m.T {
		x, y := v.frame.share(v.at(v.ridden.XM, float64(at)/10), v.at(v.ridden.YM, float64(at)/10))
		require.InDelta(t, 1e5*x, m.X[i], 1e5*0.05*8/v.frame.wide) // half a tenth of a second at 8 m/s
		require.InDelta(t, 1e5*y, m.Y[i], 1e5*0.05*8/v.frame.high)
	}
	// The middle of each flight is drawn where its obstacle stands: within the two metres that placing leaves.
	for _, e := range d.Efforts {
		o, ok := d.Plan.Obstacle(*e.Obstacle)
		require.True(t, ok)
		mid := (e.TakeoffS.Value + e.LandingS.Value) / 2
		require.InDelta(t, 0, math.Hypot(v.at(v.ridden.XM, mid)-o.At.X, v.at(v.ridden.YM, mid)-o.At.Y), 3.5, o.ID)
	}
}

// A turn's circle touches the ridden track from inside, and is as tight as it is told.
func TestBendsTouchTheTrack(t *testing.T) {
	d := demoRide(t, true, "ride.gpx", "motion.csv")
	require.NotEmpty(t, d.Ridden.Bends)
	for _, b := range d.Ridden.Bends {
		require.Equal(t, d.Lines[b.Line].Turn.RadiusMinM.Value, b.RadiusM)
		sin, cos := math.Sincos(b.TouchDeg * math.Pi / 180)
		near, at := math.Inf(1), 0
		for i, s := range d.Ridden.TimeS {
			if s < d.Ridden.LineS[b.Line][0] || s > d.Ridden.LineS[b.Line][1] {
				continue
			}
			if off := math.Hypot(d.Ridden.XM[i]-b.XM-b.RadiusM*sin, d.Ridden.YM[i]-b.YM-b.RadiusM*cos); off < near {
				near, at = off, i
			}
		}
		require.Less(t, near, 0.5) // half a sample's way at canter
		// The centre lies on the side that the line turned to, and the way bends about it there: a third of a second on
		// either side the track is nearer to the centre than its tangent is.
		side := (d.Ridden.XM[at+1]-d.Ridden.XM[at-1])*(b.YM-d.Ridden.YM[at]) - (d.Ridden.YM[at+1]-d.Ridden.YM[at-1])*(b.XM-d.Ridden.XM[at])
		require.Equal(t, d.Lines[b.Line].Turn.Direction == "left", side > 0, "line %d", b.Line)
		for _, i := range []int{at - 3, at + 3} {
			off := math.Hypot(d.Ridden.XM[i]-d.Ridden.XM[at], d.Ridden.YM[i]-d.Ridden.YM[at])
			require.Less(t, math.Hypot(d.Ridden.XM[i]-b.XM, d.Ridden.YM[i]-b.YM), math.Hypot(b.RadiusM, off)+0.02)
		}
	}
}

// A turn on a way that is not told is not drawn; of a way ridden again and again the last ride's is.
func TestBendsAreOfLinesThatAreTold(t *testing.T) {
	d := loops(3, 2, 0)
	v := newView(d, report.Metric)
	require.Equal(t, []string{"2 to 1", "1 to 2"}, bendNames(v))
	require.Equal(t, len(d.Lines)-1, v.shownBends()[1].Line)
	for i := range d.Lines {
		if d.Lines[i].From == "2" {
			d.Lines[i].Kind = "between"
		}
	}
	require.Equal(t, []string{"1 to 2"}, bendNames(newView(d, report.Metric)))
}

func bendNames(v *view) []string {
	var out []string
	for _, b := range v.shownBends() {
		out = append(out, v.d.Lines[b.Line].From+" to "+v.d.Lines[b.Line].To)
	}
	return out
}

// Grade is rise over way ridden: on a plane that rises 2 % to the right, a ring's grades lie within and reach both.
func TestGradeAlongARing(t *testing.T) {
	v := newView(loops(1, 2, 0), report.Metric)
	low, high := math.Inf(1), math.Inf(-1)
	for i, s := range v.ridden.TimeS {
		if s > 17 && s < 40 {
			low, high = math.Min(low, v.grade[i]), math.Max(high, v.grade[i])
		}
	}
	require.InDelta(t, -2, low, 0.05)
	require.InDelta(t, 2, high, 0.05)
	require.True(t, math.IsNaN(v.grade[len(v.grade)-20]), "a horse that stands has no grade")
}

// Nothing is drawn across a gap of the recording.
func TestGapsStayGaps(t *testing.T) {
	d := loops(2, 2, 0)
	d.Ridden.Pieces = []int{0, 400}
	v := newView(d, report.Metric)
	for _, r := range v.runs() {
		require.False(t, r.from < 400 && r.to > 400)
	}
	require.False(t, v.recorded((d.Ridden.TimeS[399]+d.Ridden.TimeS[400])/2))
	require.Greater(t, len(v.runs()), len(newView(loops(2, 2, 0), report.Metric).runs()))
}

func TestFiguresThatAreNoneAreRefused(t *testing.T) {
	d := loops(1, 2, 0)
	d.Efforts[0].TakeoffS = &trace.Estimate{Value: math.NaN()}
	require.Error(t, Write(&strings.Builder{}, d, Options{}))
}

func TestSpeedScale(t *testing.T) {
	for _, c := range []struct {
		speeds []float64
		want   []string
	}{
		{[]float64{5, 5.5, 6, 6.5}, []string{"below 315", "315–330", "330–345", "345–360", "360–375", "375 and above"}},
		{[]float64{5}, []string{"below 305", "305–310", "310–315", "315–320", "320–325", "325 and above"}},
		{nil, []string{"below 240", "240–280", "280–320", "320–360", "360–400", "400 and above"}},
	} {
		s := newSpeedScale(c.speeds)
		var got []string
		for k := range speedClasses {
			got = append(got, s.says(k))
		}
		require.Equal(t, c.want, got)
		for _, v := range c.speeds {
			k := s.class(v)
			require.True(t, k >= 0 && k < speedClasses)
		}
	}
	s := newSpeedScale([]float64{5, 6.5})
	require.Equal(t, 0, s.class(0))
	require.Equal(t, speedClasses-1, s.class(1e6))
	require.Equal(t, 1, s.class(320.0/60)) // a bound belongs to the class above
}

func TestPathsAreToldFromPointToPoint(t *testing.T) {
	require.Equal(t, "M10 20l5-5l-3 0l0 4", pathOf([]float64{10, 15, 15.2, 12, 12}, []float64{20, 15, 15.1, 15, 19}))
	require.Empty(t, pathOf(nil, nil))
}

func TestTicksAreRound(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		want      []float64
	}{
		{264, 350, []float64{300, 350}}, {-3.1, 3.1, []float64{-2, 0, 2}}, {2.9, 3.6, []float64{3, 3.5}}, {0.49, 0.56, []float64{0.5, 0.55}},
	} {
		p := newPanel("", c.low, c.high, 0.01, 0)
		require.InDeltaSlice(t, c.want, p.ticks, 1e-9, "%v", p.ticks)
	}
}

// The drawings of a small ride, to be read: a change of them is to be seen.
func TestGoldenDrawings(t *testing.T) {
	d := loops(1, 2, 0)
	v := newView(d, report.Metric)
	plan, chart := v.drawPlan(), v.drawChart()
	got := strings.ReplaceAll(string(plan.SVG)+"\n\n"+string(v.furniture())+"\n\n"+string(chart.SVG)+"\n", "><", ">\n<")
	testkit.Golden(t, "testdata/ring.golden.svg.txt", []byte(got))
}

func TestUnitsStandBeforeTheDoubt(t *testing.T) {
	require.Equal(t, "8.6 m ±1.1", withUnit("8.6 ±1.1", "m"))
	require.Equal(t, "15 m (10 to 26)", withUnit("15 (10 to 26)", "m"))
	require.Equal(t, "−12 m/min", withUnit("−12", "m/min"))
}

// A page among others begins as they do; one that stands alone leads nowhere.
func TestLinks(t *testing.T) {
	d := demoRide(t, true, "ride.gpx", "motion.csv")
	require.NotContains(t, render(t, d, report.Metric), "<a ")
	html, _, err := Render(d, Options{Links: []report.Link{{Text: "all", Href: "/"}, {Text: "Rides", Href: "/", Here: true}, {Text: "Courses", Href: "/courses"}}, Own: []report.Link{{Text: "PDF", Href: "/a.pdf?x=1&y=2"}}})
	require.NoError(t, err)
	for _, want := range []string{`<a class="skip" href="#main">`, `<a class="name" href="/">all</a>`, `<li><a href="/" aria-current="page">Rides</a></li>`, `<li><a href="/courses">Courses</a></li>`, `<li><a href="/a.pdf?x=1&amp;y=2">PDF</a></li>`} {
		require.Contains(t, string(html), want)
	}
}

// A change of pace between in and out, in the words that the text has.
func TestGained(t *testing.T) {
	require.Equal(t, "gained 20 m/min ±10", gained("+20 m/min ±10"))
	require.Equal(t, "lost 18 m/min ±12", gained("\u221218 m/min ±12"))
	require.Equal(t, "gained 0 m/min ±30", gained("0 m/min ±30"))
}
