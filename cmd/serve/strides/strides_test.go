package strides

import (
	"context"
	"groundline/cmd/serve/shell"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// A choice is the set of its numbers, whatever the order in which they come and go, and its text gives it back.
func TestChoiceIsASet(t *testing.T) {
	number := rapid.Int64Range(1, 40)
	rapid.Check(t, func(t *rapid.T) {
		set := map[int64]bool{}
		var c choice
		for range rapid.IntRange(0, 12).Draw(t, "steps") {
			ids := rapid.SliceOfN(number, 0, 8).Draw(t, "ids")
			in := rapid.Bool().Draw(t, "in")
			before := c.String()
			was := c
			if in {
				c = c.with(ids)
			} else {
				c = c.without(ids)
			}
			if was.String() != before {
				t.Fatalf("%s became %s", before, was)
			}
			for _, id := range ids {
				set[id] = in
			}
		}
		for id := int64(0); id < 45; id++ {
			if c.has(id) != set[id] {
				t.Fatalf("%s has %d: %v, expected %v", c, id, c.has(id), set[id])
			}
		}
		for i := 1; i < len(c); i++ {
			if c[i-1].last+1 >= c[i].first {
				t.Fatalf("%s: spans that touch", c)
			}
		}
		again, err := parseChoice(c.String())
		if err != nil || again.String() != c.String() {
			t.Fatalf("%s came back as %s (%v)", c, again, err)
		}
	})
}

func TestChoiceFromOutside(t *testing.T) {
	for text, want := range map[string]string{"1": "1", "3,1,2": "1-3", "5-9,1-4": "1-9", "1-3,2-8,20": "1-8,20", "1-9223372036854775807": "1-9223372036854775807", "2,2": "2"} {
		c, err := parseChoice(text)
		require.NoError(t, err, text)
		require.Equal(t, want, c.String())
	}
	for _, text := range []string{",", "0", "-1", "1-", "3-2", "1,,2", "x", "1 ", "01", "9223372036854775808", "1-2-3", strings.Repeat("1,", shell.MaxChoiceBytes)} {
		_, err := parseChoice(text)
		require.Error(t, err, text)
		status, _ := shell.StatusOf(err)
		require.Equal(t, http.StatusBadRequest, status, text)
	}
	// Every second of ten thousand rides can be chosen, and read in no time.
	var ids []int64
	for id := int64(90_001); id < 100_001; id += 2 {
		ids = append(ids, id)
	}
	text := choiceOf(ids).String()
	require.Less(t, len(text), shell.MaxChoiceBytes)
	best := time.Hour
	for range 5 { // the machine has other work too
		began := time.Now()
		c, err := parseChoice(text)
		best = min(best, time.Since(began))
		require.NoError(t, err)
		require.Len(t, c, len(ids))
	}
	require.Less(t, best, 50*time.Millisecond)
}

// Who takes a table slowly, or goes in the middle, holds up nobody; and who waits for a turn and goes frees it.
func TestTurnsAreTaken(t *testing.T) {
	making := make(chan struct{}, 1)
	making <- struct{}{} // somebody's table is being made
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := inTurn(ctx, making, func() (int, error) { t.Error("it was not its turn"); return 0, nil })
	require.ErrorIs(t, err, context.Canceled)
	<-making
	v, err := inTurn(t.Context(), making, func() (int, error) { return 7, nil })
	require.NoError(t, err)
	require.Equal(t, 7, v)
	require.Empty(t, making)
}

// A line ridden one way only is shown once, with its direction.
func TestLinesRiddenOneWay(t *testing.T) {
	rows := []summaryRow{{Line: "all", Direction: "all"}, {Line: "all", Direction: "level", Within: true}, {Line: "1-2", Direction: "all", Strides: 5}, {Line: "1-2", Direction: "uphill", Within: true},
		{Line: "2-3", Direction: "all"}, {Line: "2-3", Direction: "uphill", Within: true}, {Line: "2-3", Direction: "level", Within: true}}
	var told []string
	for _, r := range oneWay(rows) {
		told = append(told, r.Line+" "+r.Direction)
	}
	require.Equal(t, []string{"all all", "all level", "1-2 uphill", "2-3 all", "2-3 uphill", "2-3 level"}, told)
}
