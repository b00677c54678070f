package follow

import (
	"math"
	"sort"

	"groundline/course"
	"groundline/course/place"
)

// Pose lays a path into the plan's axes: turned clockwise by TurnDeg about the origin, then moved.
type Pose struct {
	TurnDeg, X, Y float64
}

// Apply is the path in the plan's axes.
func (p Pose) Apply(path *place.Path) *place.Path {
	s, c := math.Sincos(p.TurnDeg * math.Pi / 180)
	turn := func(x, y float64) (float64, float64) { return x*c + y*s, y*c - x*s }
	out := &place.Path{RateHz: path.RateHz}
	for _, q := range path.Pieces {
		r := q
		n := len(q.X)
		r.X, r.Y, r.VX, r.VY = make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range n {
			r.X[i], r.Y[i] = turn(q.X[i], q.Y[i])
			r.X[i], r.Y[i] = r.X[i]+p.X, r.Y[i]+p.Y
			r.VX[i], r.VY[i] = turn(q.VX[i], q.VY[i])
		}
		out.Pieces = append(out.Pieces, r)
	}
	return out
}

// Poses are the likeliest ways to lay a path under a plan that has no anchor, best first: every
// jump (or, without a motion sensor, every half second at more than a trot) held against every obstacle
// names a turn and a shift, and those that most obstacles agree on win (a Hough transform, Duda & Hart
// 1972). They are coarse: some degrees and metres; [Ride] with Input.Loose settles them.
func Poses(in Input) []Pose {
	type seen struct{ x, y, heading float64 }
	var at []seen
	add := func(t, least float64) {
		if s, ok := in.Path.At(t); ok && s.SpeedMS() > least {
			at = append(at, seen{s.X, s.Y, s.HeadingDeg()})
		}
	}
	if in.HasMotion {
		for _, j := range in.Jumps {
			if j.Confidence >= 0.5 {
				add(midS(j), 1)
			}
		}
	} else {
		for _, q := range in.Path.Pieces {
			for t := q.FromS; t <= q.ToS(); t += 0.5 {
				add(t, 3.9)
			}
		}
	}
	// Bounded work: a day's ride is looked at in steps.
	if len(at) > 4000 {
		step := len(at)/4000 + 1
		var few []seen
		for i := 0; i < len(at); i += step {
			few = append(few, at[i])
		}
		at = few
	}
	const cellM, cellDeg = 3.0, 10.0
	type cell struct{ turn, x, y int }
	votes := map[cell]map[int]bool{} // cell to the obstacles that vote for it
	for o, ob := range in.Plan.Obstacles {
		if ob.Kind == course.Pole {
			continue
		}
		for _, a := range at {
			turn := course.WrapDeg(ob.FacingDeg - a.heading)
			for _, d := range []float64{-6, 0, 6} {
				th := turn + d
				s, c := math.Sincos(th * math.Pi / 180)
				x, y := ob.At.X-(a.x*c+a.y*s), ob.At.Y-(a.y*c-a.x*s)
				k := cell{int(math.Round(course.WrapDeg(th) / cellDeg)), int(math.Round(x / cellM)), int(math.Round(y / cellM))}
				if k.turn == -18 {
					k.turn = 18
				}
				if votes[k] == nil {
					votes[k] = map[int]bool{}
				}
				votes[k][o] = true
			}
		}
	}
	type scored struct {
		cell
		n int
	}
	var all []scored
	for k, v := range votes {
		all = append(all, scored{k, len(v)})
	}
	sort.Slice(all, func(i, j int) bool {
		a, b := all[i], all[j]
		switch {
		case a.n != b.n:
			return a.n > b.n
		case a.turn != b.turn:
			return a.turn < b.turn
		case a.x != b.x:
			return a.x < b.x
		}
		return a.y < b.y
	})
	var out []Pose
	for _, s := range all {
		p := Pose{float64(s.turn) * cellDeg, float64(s.x) * cellM, float64(s.y) * cellM}
		far := true
		for _, q := range out {
			if math.Abs(course.WrapDeg(p.TurnDeg-q.TurnDeg)) < 15 && math.Hypot(p.X-q.X, p.Y-q.Y) < 8 {
				far = false
			}
		}
		if far {
			out = append(out, p)
		}
		if len(out) == 6 {
			break
		}
	}
	return out
}

// RideUnanchored follows the route of a plan that has no anchor: the plan is laid under the ride by
// the ride itself, and the likeliest of several poses wins. It also gives the pose.
func RideUnanchored(in Input) (*Result, Pose, error) {
	var best *Result
	var pose Pose
	score := math.Inf(-1)
	for _, p := range Poses(in) {
		try := in
		try.Path, try.Loose = p.Apply(in.Path), true
		r, err := Ride(try)
		if err != nil {
			return nil, Pose{}, err
		}
		if r.score > score {
			best, pose, score = r, p, r.score
		}
	}
	if best == nil {
		try := in
		try.Loose = true
		r, err := Ride(try)
		return r, Pose{}, err
	}
	return best, pose, nil
}
