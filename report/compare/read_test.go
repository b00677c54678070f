package compare

import (
	"bytes"
	"io"
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
		require.True(t, report.IsDebrief(data))
		d, err := report.ReadDebrief("ride.json", bytes.NewReader(data))
		require.NoError(t, err)
		read = append(read, Attempt{a.Name, d})
	}
	require.Equal(t, asText(t, of(t, first(), second()), report.Metric), asText(t, of(t, read...), report.Metric))
	d, err := report.ReadDebrief("bom.json", bytes.NewReader(append([]byte("\ufeff"), written(t, first().Debrief)...)))
	require.NoError(t, err)
	require.Len(t, d.Lines, 3)
}

func TestIsDebrief(t *testing.T) {
	for begin, want := range map[string]bool{`{"schema"`: true, "\ufeff \n{": true, "": false, "t,ax,ay,az": false, "<?xml": false, "[1]": false} {
		require.Equal(t, want, report.IsDebrief([]byte(begin)), begin)
	}
}

// Whatever is accepted can be compared and written, also with itself.
func FuzzReadDebrief(f *testing.F) {
	for _, a := range []Attempt{first(), second(), lesson(3), watch("a", 5)} {
		f.Add(written(f, a.Debrief))
	}
	f.Add([]byte(`{"schema":"groundline.debrief/1","basis":"motion","lines":[{"from":"1","to":"1","attempt":1,"kind":"single"},{"from":"1","to":"1","attempt":1,"kind":"single"}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := report.ReadDebrief("x.json", bytes.NewReader(data))
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
