package compare

import (
	"bytes"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/report"
)

func written(t require.TestingT, d *report.Debrief) []byte {
	var out bytes.Buffer
	require.NoError(t, report.JSON(&out, d))
	return out.Bytes()
}

// A debrief that was written and read compares as the one it was.
func TestDebriefsReadBack(t *testing.T) {
	var read []Attempt
	for _, a := range []Attempt{first(), second()} {
		data := written(t, a.Debrief)
		require.True(t, IsDebrief(data))
		d, err := ReadDebrief("ride.json", data)
		require.NoError(t, err)
		read = append(read, Attempt{a.Name, d})
	}
	require.Equal(t, asText(t, of(t, first(), second()), report.Metric), asText(t, of(t, read...), report.Metric))
	d, err := ReadDebrief("bom.json", append([]byte("\ufeff"), written(t, first().Debrief)...))
	require.NoError(t, err)
	require.Len(t, d.Lines, 3)
}

func TestIsDebrief(t *testing.T) {
	for begin, want := range map[string]bool{`{"schema"`: true, "\ufeff \n{": true, "": false, "t,ax,ay,az": false, "<?xml": false, "[1]": false} {
		require.Equal(t, want, IsDebrief([]byte(begin)), begin)
	}
}

func TestFaultsOfDebriefs(t *testing.T) {
	good := string(written(t, first().Debrief))
	change := func(old, new string) string {
		require.Contains(t, good, old)
		return strings.Replace(good, old, new, 1)
	}
	for _, c := range []struct{ data, want string }{
		{"", "ride.json:1: not JSON: unexpected end of JSON input, expected a debrief written with --format json"},
		{good[:400], "not JSON"},
		{"{}", "schema: no schema, expected \"groundline.debrief/1\""},
		{change(report.Schema, "groundline.walk/1"), `schema: schema "groundline.walk/1", expected "groundline.debrief/1"`},
		{change(`"duration_s": 90`, `"duration_s": "long"`), "ride.json:9: recording.duration_s: a string"},
		{change(`"duration_s": 90`, `"duration_s": 1e300`), "recording.duration_s: 1e+300, expected a figure of a ride"},
		{change(`"duration_s": 90`, `"duration_s": 1e999`), "recording.duration_s"},
		{change(`"low": 3.42`, `"low": 33.42`), "lines[0].stride_length_m: value 3.5, low 33.42, high 3.58, expected low <= value <= high"},
		{change(`"basis": "position+motion"`, `"basis": "guess"`), `basis: "guess", expected position+motion, position, motion`},
		{change(`"outcome": "jumped"`, `"outcome": "cleared"`), `efforts[0].outcome: "cleared", expected jumped, refused, ran out, warm-up`},
		{change(`"kind": "related"`, `"kind": "straight"`), `lines[0].kind: "straight"`},
		{change(`"from": "1"`, `"from": ""`), `lines[0]: from "" to "2", expected two obstacles`},
		{change(`"strides_by": "counted"`, `"strides_by": "guessed"`), "lines[0].strides_by"},
		{change(`"planned_strides": 5`, `"planned_strides": -5`), "lines[0].planned_strides: -5"},
	} {
		_, err := ReadDebrief("ride.json", []byte(c.data))
		require.ErrorContains(t, err, c.want)
		require.Contains(t, err.Error(), "ride.json")
	}
	// All faults at once, but not a thousand.
	_, err := ReadDebrief("ride.json", []byte(strings.ReplaceAll(good, `"outcome": "jumped"`, `"outcome": "x"`)))
	require.Equal(t, 4, strings.Count(err.Error(), "outcome"))
	_, err = ReadDebrief("ride.json", []byte(strings.ReplaceAll(good, `"low": `, `"low": 9e5, "was": `)))
	require.Equal(t, maxFaults, strings.Count(err.Error(), "\n")+1)
	_, err = ReadDebrief("ride.json", make([]byte, MaxDebriefBytes+1))
	require.ErrorContains(t, err, "larger than 64 MB")
}

// Whatever is accepted can be compared and written, also with itself.
func FuzzReadDebrief(f *testing.F) {
	for _, a := range []Attempt{first(), second(), lesson(3), watch("a", 5)} {
		f.Add(written(f, a.Debrief))
	}
	f.Add([]byte(`{"schema":"groundline.debrief/1","basis":"motion","lines":[{"from":"1","to":"1","attempt":1,"kind":"single"},{"from":"1","to":"1","attempt":1,"kind":"single"}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := ReadDebrief("x.json", data)
		if err != nil {
			return
		}
		c, err := Of([]Attempt{{"a", d}, {"b", d}, first()}, Options{})
		if err != nil {
			return
		}
		require.NoError(t, JSON(io.Discard, c))
		require.NoError(t, Text(io.Discard, c, TextOptions{}))
	})
}
