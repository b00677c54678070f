package survey

import (
	"context"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/trace"
	"groundline/trace/read"
)

// sample is the invented walk of testdata/survey.
func sample(t *testing.T) (*trace.Recording, *course.Tape) {
	const dir = "../../testdata/survey/"
	rec, err := read.Open(context.Background(), []string{dir + "points.gpx"}, read.Options{PlacesOnly: true})
	require.NoError(t, err)
	data, err := os.ReadFile(dir + "tape.yaml")
	require.NoError(t, err)
	tape, err := course.ReadTape("tape.yaml", data)
	require.NoError(t, err)
	return rec, tape
}

func TestSample(t *testing.T) {
	rec, tape := sample(t)
	s, err := Make(rec, tape, Options{})
	require.NoError(t, err)
	t.Log("\n" + string(s.Draft()))
	for _, m := range s.Marks {
		t.Logf("%+v", m)
	}
	for _, m := range s.Tapes {
		t.Logf("%+v", m)
	}
	for _, m := range s.Lines {
		t.Logf("%+v", m)
	}
	for _, m := range s.Notes {
		t.Logf("%+v", m)
	}
	t.Log(s.Redundancy, s.ChiSquared)
}
