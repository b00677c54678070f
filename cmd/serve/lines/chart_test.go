package lines

import (
	"fmt"
	"groundline/report"
	"groundline/report/keep"
	"groundline/trace"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Six horses have marks of their own, those with the most attempts; who is never told apart by colour alone.
func TestMarks(t *testing.T) {
	var list []keep.Attempt
	for id := int64(9); id >= 1; id-- { // newest first
		for range id {
			list = append(list, keep.Attempt{HorseID: id, Horse: fmt.Sprintf("Horse %d", id), StrideLengthM: &trace.Estimate{Value: 3.5, Low: 3.4, High: 3.6}})
		}
	}
	m := marksOf(list)
	require.Equal(t, []int64{4, 5, 6, 7, 8, 9}, m.order)
	key := m.key(list)
	require.Equal(t, "3 other horses", key[6].Name)
	require.Equal(t, 6, key[6].N)
	require.Equal(t, 9, key[5].N)
	shapes := map[string]bool{}
	for _, k := range key {
		shapes[regexp.MustCompile(` class="[^"]*"`).ReplaceAllString(string(k.Mark), "")] = true
	}
	require.Len(t, shapes, 7, "shapes without their colour")
	chart, words := attemptChart(list, lineFigures()[0], m, report.Metric)
	require.Equal(t, mostDrawn, strings.Count(string(chart), `class="doubt"`))
	require.Contains(t, strings.Join(words, " "), "Horse 9: 9 attempts, all 3.50.")
	require.Contains(t, words[0], "40 attempts")
	none, _ := attemptChart(nil, lineFigures()[0], m, report.Metric)
	require.Empty(t, none)
}
