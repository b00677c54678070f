package validate

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReadLabels(t *testing.T) {
	got, err := ReadLabels("l.csv", []byte(`event,obstacle,line,attempt,time_s,count,value,sure,rater,shirt
takeoff,3,,1,31.24,,,0.9,A,red
landing,3,,1,31.76,,,,A,
strides,,3-4,1,,5,,,B,
gait,,,,12,,canter,,A,
`), LabelOptions{})
	require.NoError(t, err)
	require.Len(t, got, 4)
	require.Equal(t, 31.24, *got[0].TimeS)
	require.Equal(t, 0.9, got[0].Sure)
	require.Equal(t, "3-4", got[2].Line())
	require.Equal(t, 5, *got[2].Count)
	require.Equal(t, 5, got[3].Row)

	spans, err := ReadLabels("l.txt", []byte("31.24\t31.24\ttakeoff 3 #1\n40\t44.5\tstrides 3-4 5 @A\n12\t30\tgait canter\n"), LabelOptions{})
	require.NoError(t, err)
	require.Equal(t, "3", spans[0].Obstacle)
	require.Equal(t, 1, spans[0].Attempt)
	require.Equal(t, 5, *spans[1].Count)
	require.Equal(t, "A", spans[1].Rater)
	require.Equal(t, "canter", spans[2].Value)

	frames, err := ReadLabels("l.csv", []byte("event,frame,obstacle\ntakeoff,781,1\n"), LabelOptions{FPS: 25})
	require.NoError(t, err)
	require.InDelta(t, 31.24, *frames[0].TimeS, 1e-9)
}

// Every fault of a file is named with its line and column.
func TestLabelFaults(t *testing.T) {
	_, err := ReadLabels("l.csv", []byte(`event,obstacle,line,attempt,time_s,count,value,sure,rater
jump,3,,1,31.24,,,,
takeoff,3,,0,nan,,,,
strides,,34,,,x,,,
gait,,,,1,,gallop,,
lead,,,,,,left,2,
refusal,,,,,,,,
`), LabelOptions{})
	require.Error(t, err)
	for _, want := range []string{
		`l.csv:2: event: "jump", expected takeoff`, `l.csv:3: attempt: "0"`, `l.csv:3: time_s: "nan"`, `l.csv:4: line: "34"`, `l.csv:4: count: "x"`,
		`l.csv:5: value: "gallop"`, `l.csv:6: sure: "2"`, `l.csv:7: obstacle: none`,
	} {
		require.ErrorContains(t, err, want)
	}
	for name, c := range map[string][2]string{
		"frames without a rate": {"event,frame,obstacle\ntakeoff,781,1\n", "--fps"},
		"twice":                 {"event,obstacle,attempt,time_s\ntakeoff,1,1,3\ntakeoff,1,1,9\n", "l.csv:3: event: takeoff 1, attempt 1, stands in line 2 already"},
		"landing first":         {"event,obstacle,attempt,time_s\ntakeoff,1,1,3\nlanding,1,1,2.5\n", "not after the take-off at 3 s of line 2"},
		"empty":                 {" \n", "empty"},
		"header only":           {"event,time_s\n", "no label"},
		"no event":              {"when,what\n1,2\n", "a column event"},
		"bytes":                 {"event\n\xff\xfe", "not UTF-8"},
	} {
		_, err := ReadLabels("l.csv", []byte(c[0]), LabelOptions{})
		require.ErrorContains(t, err, c[1], name)
	}
	_, err = ReadLabels("l.csv", []byte("event,time_s\n"+strings.Repeat("jump,1\n", 100)), LabelOptions{})
	require.ErrorContains(t, err, "and 80 more")
}

func FuzzReadLabels(f *testing.F) {
	f.Add("event,obstacle,line,attempt,time_s,count,value,sure,rater\ntakeoff,3,,1,31.24,,,0.9,A\n", 25.0)
	f.Add("31.24\t31.24\ttakeoff 3 #1\n", 0.0)
	f.Add("event;frame\ncontact;12\n", 30.0)
	f.Fuzz(func(t *testing.T, text string, fps float64) {
		labels, err := ReadLabels("f", []byte(text), LabelOptions{FPS: fps})
		if (err == nil) == (len(labels) == 0) {
			t.Fatalf("%d labels, %v", len(labels), err)
		}
	})
}
