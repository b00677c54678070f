package report

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"groundline/course"
	"groundline/course/survey"
	"groundline/report/layout"
	"groundline/trace"
	"groundline/trace/read"
)

func surveyText(t *testing.T, rec *trace.Recording, tape *course.Tape, opt SurveyOptions) string {
	t.Helper()
	s, err := survey.Make(rec, tape, survey.Options{})
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, SurveyText(&out, s, opt))
	for _, row := range strings.Split(out.String(), "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(row), layout.Width, "%q", row)
	}
	return out.String()
}

func TestSurveyTextReadsAsAgreed(t *testing.T) {
	rec, err := read.Open(context.Background(), []string{"../testdata/survey/points.gpx"}, read.Options{PlacesOnly: true})
	require.NoError(t, err)
	data, err := os.ReadFile("../testdata/survey/tape.yaml")
	require.NoError(t, err)
	tape, err := course.ReadTape("tape.yaml", data)
	require.NoError(t, err)
	golden(t, "survey", surveyText(t, rec, tape, SurveyOptions{Plan: "course.yaml"}))
	golden(t, "survey-no-tape-imperial", surveyText(t, rec, nil, SurveyOptions{Units: Imperial}))
}

func TestSurveyTextOfTheLeast(t *testing.T) {
	long := strings.Repeat("x", 300)
	rec := &trace.Recording{Marks: []trace.Mark{
		{Name: "1", LatDeg: 51.4, LonDeg: -2.3, HasPlace: true}, {AtS: 1, Name: long}, {AtS: 2, Name: "\x1b[31m2"}, {AtS: 3, Name: "3"},
	}}
	s, err := survey.Make(rec, nil, survey.Options{})
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, SurveyText(&out, s, SurveyOptions{}))
	text := out.String()
	for _, row := range strings.Split(text, "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(row), layout.Width, "%q", row)
	}
	require.Contains(t, text, "1 obstacle from 1 of 4 marks; route 1.")
	require.Contains(t, text, "left out: its name is not understood")
	require.Contains(t, text, "in which direction obstacle 1 is jumped")
	require.Contains(t, text, "Nothing was written")
	require.NotContains(t, text, "\x1b")
	require.NotContains(t, text, "back to front") // no lines
}
