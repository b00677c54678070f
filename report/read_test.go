package report

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/course"
	"groundline/course/horse"
)

func TestReadDebriefReadsWhatJSONWrites(t *testing.T) {
	for _, r := range rides() {
		d, err := ReadDebrief("d.json", bytes.NewReader(asJSON(t, r.d)))
		require.NoError(t, err, r.name)
		require.Equal(t, len(r.d.Lines), len(d.Lines))
		want, got := RiddenIn([]*Debrief{r.d}), RiddenIn([]*Debrief{d})
		require.Equal(t, len(want.Lines), len(got.Lines), r.name)
		require.Equal(t, want.Name, got.Name)
		for i := range want.Lines {
			require.Equal(t, want.Lines[i].Strides, got.Lines[i].Strides)
			require.Equal(t, want.Lines[i].Counted, got.Lines[i].Counted)
			if want.Lines[i].StrideM != nil {
				require.InDelta(t, want.Lines[i].StrideM.Value, got.Lines[i].StrideM.Value, 1e-3)
			}
		}
		require.Equal(t, len(want.Jumps), len(got.Jumps))
	}
}

func TestReadDebriefTellsEveryFault(t *testing.T) {
	const head = `{"schema": "groundline.debrief/1", "course": null, "horse": {"name": null}, `
	line := func(l string) string {
		return "{\n" + head[1:] + "\n\"efforts\": [], \"lines\": [\n" + l + "]}"
	}
	full := string(asJSON(t, fullRound()))
	change := func(old, new string) string {
		require.Contains(t, full, old)
		return strings.Replace(full, old, new, 1)
	}
	for _, c := range []struct{ text, want string }{
		{"", "d: the file is empty, expected a debrief in JSON"},
		{"hello", "d:1: no JSON: "},
		{full[:400], "no JSON: it ends too early"},
		{full + "{}", "more behind the debrief, expected one JSON object"},
		{"{\n\"schema\": \"groundline.debrief/1\",\n}", "d:2: no JSON: "},
		{"[]", "d:1: no JSON object"},
		{"null", "d:1: no JSON object"},
		{"{}", "d:1: schema: the field is missing, expected groundline.debrief/1"},
		{`{"schema": "groundline.walk/1", "efforts": 3}`, `d:1: schema: "groundline.walk/1", expected groundline.debrief/1`},
		{head + `"efforts": []}`, "d:1: lines: the field is missing, expected it as the debrief was written"},
		{head + `"efforts": [], "lines": null}`, "d:1: lines: null, expected a list"},
		{head + `"efforts": [1], "lines": {}}`, "d:1: efforts[0]: 1, expected an object"},
		{head + `"efforts": [1], "lines": {"a": [{}]}}`, "d:1: lines: an object, expected a list"},
		{head + `"efforts": [{"outcome": "flew", "takeoff_distance_m": {"value": 1}, "landing_distance_m": 2}], "lines": []}`,
			`efforts[0].outcome: "flew", expected one of jumped, refused, ran out, warm-up`},
		{head + `"efforts": [{"outcome": "jumped", "takeoff_distance_m": {"value": 1}}], "lines": []}`,
			`efforts[0].takeoff_distance_m: {"value":1,"low":null,"high":null}, expected {value, low, high} in order, value from 0 to 10, or null`},
		{head + `"efforts": [{"outcome": "jumped", "takeoff_distance_m": null, "landing_distance_m": {"value": 1, "low": 2, "high": 3}}], "lines": []}`,
			`efforts[0].landing_distance_m: value 1, low 2, high 3, expected {value, low, high} in order`},
		{line(`{"from": "1", "to": 2}`), "d:4: lines[0].to: 2, expected a text"},
		{line(`{"from": "", "to": "2"}`), `d:4: lines[0].from: "", expected a text`},
		{line(`{"from": "1", "to": "2",` + "\n" + `"grade": 9}`), "d:5: lines[0].grade: 9, expected a number from -1 to 1"},
		{line(`{"from": "1"}`), "d:4: lines[0]: the fields to, kind are missing, expected them as the debrief was written"},
		{line(`{"stride_length_m": {"value": 346, "low": 340, "high": 352}}`), "d:4: lines[0].stride_length_m: value 346, low 340, high 352, expected {value, low, high} in order, value from 0 to 10, or null"},
		{head + `"efforts": [` + strings.Repeat("1,", 50) + `1], "lines": []}`, "more faults than are listed, expected these mended first"},
		{strings.Repeat("[", 100000), "d:1: no JSON"},
		{change(`"basis": "position+motion"`, `"basis": "guess"`), `basis: "guess", expected one of position+motion, position, motion`},
		{change(`"kind": "related"`, `"kind": "straight"`), `kind: "straight", expected one of related,`},
		{change(`"strides_by": "counted"`, `"strides_by": "guessed"`), `strides_by: "guessed"`},
		{change(`"attempt": 1`, `"attempt": 1.5`), "attempt: 1.5, expected a whole number from"},
		{change(`"duration_s": `, `"duration_s": 1e300, "was": `), "recording.duration_s: 1e300, expected a number from"},
		{change(`"duration_s": `, `"duration_s": 1e999, "was": `), "recording.duration_s: 1e999"},
		{change(`"duration_s": `, `"duration_s": "long", "was": `), `recording.duration_s: "long", expected a number`},
		{change(`"duration_s": `, `"duration_s": null, "was": `), `recording.duration_s: null, expected a number`},
	} {
		_, err := ReadDebrief("d", bytes.NewReader([]byte(c.text)))
		require.ErrorContains(t, err, c.want)
		var faults course.Faults
		require.ErrorAs(t, err, &faults)
		require.LessOrEqual(t, len(faults), maxDebriefFaults+1)
	}
	_, err := ReadDebrief("d", io.MultiReader(strings.NewReader(head), repeated(" ", MaxDebriefBytes)))
	require.EqualError(t, err, "d: the file is too long, expected at most 64 MB")
	_, err = ReadDebrief("d", io.MultiReader(strings.NewReader(head+`"strides": [`), repeated("{},", MaxDebriefBytes-1000)))
	require.ErrorContains(t, err, "strides: too many items, expected a debrief that takes at most 128 MB of memory")
}

func FuzzReadDebrief(f *testing.F) {
	var full bytes.Buffer
	require.NoError(f, JSON(&full, fullRound()))
	f.Add(full.Bytes())
	f.Add([]byte(`{"schema": "groundline.debrief/1", "course": null, "horse": null, "efforts": [], "lines": []}`))
	text, err := os.ReadFile(filepath.Join("..", "testdata", "plans", "field.yaml"))
	require.NoError(f, err)
	p, _, err := course.ReadPlan("p", text)
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := ReadDebrief("f", bytes.NewReader(data))
		if err != nil {
			return
		}
		h, err := horse.Of(RiddenIn([]*Debrief{d})).Course()
		if err != nil {
			return
		}
		var out bytes.Buffer
		require.NoError(t, WalkJSON(&out, p, p.Walk(h), nil))
		_, err = course.ReadHorse("h", course.WriteHorse(h))
		require.NoError(t, err)
	})
}

// repeated is a text over and over, n bytes of it.
func repeated(text string, n int64) io.Reader { return io.LimitReader(&again{text: text}, n) }

type again struct {
	text string
	at   int
}

func (a *again) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = a.text[a.at]
		a.at = (a.at + 1) % len(a.text)
	}
	return len(p), nil
}

// What is written is what is read, of any debrief.
func TestDebriefsRoundTrip(t *testing.T) {
	for _, r := range rides() {
		data := asJSON(t, r.d)
		back, err := ReadDebrief("d", bytes.NewReader(append([]byte(bom), data...)))
		require.NoError(t, err, r.name)
		require.Equal(t, string(data), string(asJSON(t, back)), r.name)
	}
	rapid.Check(t, func(t *rapid.T) {
		d := anyDebrief(t)
		var data bytes.Buffer
		require.NoError(t, JSON(&data, d))
		back, err := ReadDebrief("d", bytes.NewReader(data.Bytes()))
		if err != nil {
			return // its figures are beyond any ride's
		}
		var again bytes.Buffer
		require.NoError(t, JSON(&again, back))
		require.Equal(t, data.String(), again.String())
	})
}
