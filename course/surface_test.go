package course

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Heights and gradients of SciPy's thin plate; version and command stand in the table and in the script beside it.
func TestThinPlateAgainstSciPy(t *testing.T) {
	f, err := os.Open("../testdata/plans/surface/scipy_rbf.csv")
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	spots := map[string][]Spot{}
	surfaces := map[string]*Surface{}
	compared := 0
	for _, row := range rows[1:] {
		var v [5]float64
		for i := range v {
			v[i], _ = strconv.ParseFloat(row[2+i], 64)
		}
		if row[1] == "spot" {
			spots[row[0]] = append(spots[row[0]], Spot{v[0], v[1], v[2]})
			continue
		}
		s := surfaces[row[0]]
		if s == nil {
			var why string
			s, why = NewSurface(spots[row[0]])
			require.Empty(t, why)
			require.True(t, s.ThinPlate)
			surfaces[row[0]] = s
		}
		require.InDelta(t, v[2], s.HeightAt(v[0], v[1]), 1e-7, "%v", row)
		require.InDelta(t, v[3], s.GradeAlong(v[0], v[1], 90), 2e-6, "%v", row)
		require.InDelta(t, v[4], s.GradeAlong(v[0], v[1], 0), 2e-6, "%v", row)
		compared++
	}
	require.Greater(t, compared, 100)
}

// Spots on a plane: the surface is that plane, whichever way it is fitted.
func TestPlane(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.Float64Range(-200, 200)
		a, b, c := rapid.Float64Range(-0.08, 0.08).Draw(t, "a"), rapid.Float64Range(-0.08, 0.08).Draw(t, "b"), m.Draw(t, "c")
		z := func(x, y float64) float64 { return c + a*x + b*y }
		spots := []Spot{{0, 0, z(0, 0)}, {60, 5, z(60, 5)}, {10, 40, z(10, 40)}}
		for range rapid.IntRange(0, 10).Draw(t, "more") {
			x, y := m.Draw(t, "x"), m.Draw(t, "y")
			spots = append(spots, Spot{x, y, z(x, y)})
		}
		s, why := NewSurface(spots)
		require.Empty(t, why)
		require.InDelta(t, 0, s.ResidualMaxM, 1e-9)
		x, y := m.Draw(t, "x"), m.Draw(t, "y")
		require.InDelta(t, z(x, y), s.HeightAt(x, y), 1e-5)
		deg := rapid.Float64Range(0, 360).Draw(t, "deg")
		u := direction(deg)
		require.InDelta(t, a*u.X+b*u.Y, s.GradeAlong(x, y, deg), 1e-7)
		require.InDelta(t, -s.GradeAlong(x, y, deg), s.GradeAlong(x, y, deg+180), 1e-12, "back down again")
	})
}

// Least squares by hand: four corners of a 10-m square, one of them 4 cm up. The plane takes 3 of the 4 cm
// there, and every corner is left 1 cm off.
func TestResiduals(t *testing.T) {
	s, why := NewSurface([]Spot{{0, 0, 0}, {10, 0, 0}, {10, 10, 0.04}, {0, 10, 0}})
	require.Empty(t, why)
	require.False(t, s.ThinPlate)
	require.InDelta(t, 0.01, s.ResidualRMSM, 1e-12)
	require.InDelta(t, 0.01, s.ResidualMaxM, 1e-12)
	require.InDelta(t, 0.03, s.HeightAt(10, 10), 1e-12)
	require.InDelta(t, 0.002, s.GradeAlong(3, 7, 90), 1e-12)
}

func TestGroundThatTellsNoSlope(t *testing.T) {
	for _, c := range []struct {
		spots []Spot
		why   string
	}{
		{nil, "fewer than three spot heights"},
		{[]Spot{{0, 0, 1}, {5, 5, 2}}, "fewer than three spot heights"},
		{[]Spot{{1, 1, 1}, {1, 1, 2}, {1, 1, 3}}, "all spot heights are at one place"},
		{[]Spot{{0, 0, 1}, {10, 10, 2}, {20, 20, 3}, {40, 40, 1}}, "all spot heights lie on a line"},
		{[]Spot{{0, 0, 1}, {100, 0, 2}, {50, 0.3, 3}}, "all spot heights lie on a line"},
	} {
		s, why := NewSurface(c.spots)
		require.Nil(t, s)
		require.Equal(t, c.why, why)
	}
}

// The same place measured twice, a centimetre apart and two centimetres different, is no hillside.
func TestSpotsOfOnePlaceAreOne(t *testing.T) {
	spots := []Spot{{0, 0, 0}, {60, 0, 0}, {60, 40, 0}, {0, 40, 0}, {30, 20, 0}, {30.01, 20, 0.02}, {20, 30, 0}, {50, 10, 0}}
	s, why := NewSurface(spots)
	require.Empty(t, why)
	require.True(t, s.ThinPlate)
	require.Less(t, math.Abs(s.GradeAlong(30.005, 20.2, 90)), 0.005)
	// Six heights nearly in a row do not bend across it.
	s, why = NewSurface([]Spot{{0, 0, 0}, {10, 1, 0.1}, {20, -1, 0.2}, {30, 1, 0.2}, {40, -1, 0.5}, {50, 1, 0.6}})
	require.Empty(t, why)
	require.False(t, s.ThinPlate)
}

func TestHomeward(t *testing.T) {
	home := Point{0, 100}
	require.InDelta(t, 1, Homeward(Point{}, 0, home), 1e-12)
	require.InDelta(t, -1, Homeward(Point{}, 180, home), 1e-12)
	require.InDelta(t, 0, Homeward(Point{}, 90, home), 1e-12)
	require.InDelta(t, 0.5, Homeward(Point{}, 60, home), 1e-12)
	require.Zero(t, Homeward(home, 0, home))
}

func TestSlopeAlongAWay(t *testing.T) {
	s, _ := NewSurface([]Spot{{0, 0, 0}, {100, 0, 2}, {0, 100, 1}})
	home := Point{500, 0}
	// Straight on: the grade of the plane in that direction.
	grade, homeward := SlopeAlong(Path{{BearingDeg: 90, LengthM: 40}}, s, &home)
	require.InDelta(t, 0.02, *grade, 1e-12)
	require.InDelta(t, 1, *homeward, 1e-12)
	// Half a circle: rise over length, here two radii across over π radii.
	grade, _ = SlopeAlong(Path{{BearingDeg: 0, LengthM: math.Pi * 10, Curvature1M: 0.1}}, s, nil)
	require.InDelta(t, 0.02*20/(math.Pi*10), *grade, 1e-4)
	grade, homeward = SlopeAlong(Path{{BearingDeg: 0, LengthM: 5}}, nil, nil)
	require.Nil(t, grade)
	require.Nil(t, homeward)
	grade, _ = SlopeAlong(nil, s, &home)
	require.Nil(t, grade)
}

func TestGradesStayWhenThePlanIsMoved(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := ridablePlan().Draw(t, "plan")
		q := moved(p, rapid.Float64Range(0, 360).Draw(t, "turn"), 12, -5, rapid.Bool().Draw(t, "mirror"))
		a, whyA := NewSurface(p.Levels)
		b, whyB := NewSurface(q.Levels)
		require.Equal(t, whyA, whyB)
		if a == nil {
			return
		}
		require.Equal(t, a.ThinPlate, b.ThinPlate)
		tracks := [2]Track{p.PlanTrack(3.5), q.PlanTrack(3.5)}
		for i := range p.Lines {
			ga, ha := SlopeAlong(tracks[0].leg(i).Path, a, p.Home)
			gb, hb := SlopeAlong(tracks[1].leg(i).Path, b, q.Home)
			require.Equal(t, ga == nil, gb == nil)
			require.Equal(t, ha == nil, hb == nil)
			require.InDelta(t, *ga, *gb, 1e-5)
			require.InDelta(t, *ha, *hb, 1e-5)
		}
	})
}
