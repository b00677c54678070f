package follow

import (
	"fmt"
	"math"

	"groundline/course"
	"groundline/course/place"
	"groundline/detect"
)

// Two jumps were over one obstacle where they lie no further apart than this: the receiver's error creeps by
// a metre or two between them, and elements of a combination are at least 6.5 m apart (Luxembourg
// federation §508.1). Jumps a few seconds apart are never over one obstacle.
const (
	sameFenceM   = 5.0
	sameFenceDeg = 35.0
	sameFenceS   = 5.0
)

// FoundObstacles are the obstacles that a ride's jumps show where there is no plan: jumps near one another and
// in one direction are one obstacle, numbered in the order first jumped. What they are built of nobody
// knows: they are called verticals of 3.5 m face. The route is that order.
func FoundObstacles(path *place.Path, jumps []detect.Jump) *course.Plan {
	type fence struct {
		x, y, s, c float64 // sums
		n          float64
		lastS      float64
	}
	var fences []fence
	for _, j := range jumps {
		t := midS(j)
		at, ok := path.At(t)
		if !ok || j.Confidence < 0.5 || at.SpeedMS() < 1 {
			continue
		}
		h := at.HeadingDeg() * math.Pi / 180
		s, c := math.Sincos(h)
		// The sensor is ahead of the obstacle's middle at the middle of the flight.
		x, y := at.X-place.Defaults().AheadM*s, at.Y-place.Defaults().AheadM*c
		best, bestD := -1, sameFenceM
		for i, f := range fences {
			d := math.Hypot(x-f.x/f.n, y-f.y/f.n)
			turn := math.Abs(course.WrapDeg((h - math.Atan2(f.s, f.c)) * 180 / math.Pi))
			if d < bestD && turn < sameFenceDeg && t-f.lastS > sameFenceS {
				best, bestD = i, d
			}
		}
		if best < 0 {
			fences = append(fences, fence{})
			best = len(fences) - 1
		}
		f := &fences[best]
		f.x, f.y, f.s, f.c, f.n, f.lastS = f.x+x, f.y+y, f.s+s, f.c+c, f.n+1, t
	}
	p := &course.Plan{Name: "Found in the ride"}
	for i, f := range fences {
		deg := math.Atan2(f.s, f.c) * 180 / math.Pi
		if deg < 0 {
			deg += 360
		}
		id := fmt.Sprint(i + 1)
		p.Obstacles = append(p.Obstacles, course.Obstacle{ID: id, Kind: course.Vertical,
			At: course.Point{X: f.x / f.n, Y: f.y / f.n}, FacingDeg: deg, SpreadM: 0.3, WidthM: course.UsualWidthM})
		p.Route = append(p.Route, id)
	}
	p.SetLines(nil)
	return p
}
