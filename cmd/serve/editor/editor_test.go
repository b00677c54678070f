package editor

import (
	"groundline/course"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestCommentsAreSeen(t *testing.T) {
	for text, want := range map[string]bool{"plan: x # why": true, "# why": true, "a: 1\n  # why\n": true, "a: \"x # y\"": false, "a: 'x # y'": false, "a: x#y": false, "a: it's # why": true, "a: \"it's\" # why": true,
		`{"type":"FeatureCollection", "x": " # "}`: false, "": false} {
		require.Equal(t, want, hasComments([]byte(text)), text)
	}
}

// The drawing's place is as high as what is drawn asks, within what a screen takes.
func TestShapeOfADrawing(t *testing.T) {
	rectangle := func(w, l float64) []course.Point { return []course.Point{{}, {X: w}, {X: w, Y: l}, {Y: l}} }
	for _, c := range []struct {
		plan course.Plan
		want int
	}{
		{course.Plan{}, 7}, // 60 by 40 m, with 2 m about it
		{course.Plan{Arena: rectangle(84, 48)}, 6},
		{course.Plan{Arena: rectangle(40, 60)}, 15},
		{course.Plan{Arena: rectangle(20, 60)}, 16},
		{course.Plan{Arena: rectangle(100, 10)}, 5},
		{course.Plan{Arena: rectangle(60, 40), Gate: &course.Point{X: 30, Y: -20}}, 10},
		{course.Plan{Obstacles: []course.Obstacle{{At: course.Point{X: 5, Y: 5}}}}, 10},
	} {
		require.Equal(t, c.want, shapeOf(&c.plan), "%+v", c.plan)
	}
}
