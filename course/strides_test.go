package course

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func feet(f, inches float64) float64 { return (f + inches/12) * feetM }

// US Equestrian, chart of suggested distances, lines of 3 to 8 strides: every cell, as printed (the
// page has two misprints, 7 strides at 13'6" as 1086' and the medium pony's 2 strides as 61'6"; the
// first row is left out and the second mended).
func TestUSChartOfLines(t *testing.T) {
	for _, row := range []struct {
		name    string
		strideM float64
		cells   [6][2]float64 // feet and inches for 3, 4, 5, 6, 7, 8 strides
	}{
		{"horse 12'", feet(12, 0), [6][2]float64{{48, 0}, {60, 0}, {72, 0}, {84, 0}, {96, 0}, {108, 0}}},
		{"horse 12'6\"", feet(12, 6), [6][2]float64{{50, 0}, {62, 6}, {75, 0}, {87, 6}, {100, 0}, {112, 6}}},
		{"horse 13'", feet(13, 0), [6][2]float64{{52, 0}, {65, 0}, {78, 0}, {91, 0}, {104, 0}, {117, 0}}},
		{"horse 13'9\"", feet(13, 9), [6][2]float64{{55, 0}, {68, 9}, {82, 6}, {96, 3}, {110, 0}, {123, 9}}},
		{"small pony 9'9\"", feet(9, 9), [6][2]float64{{39, 0}, {48, 9}, {58, 6}, {68, 3}, {78, 0}, {87, 9}}},
		{"small pony 10'", feet(10, 0), [6][2]float64{{40, 0}, {50, 0}, {60, 0}, {70, 0}, {80, 0}, {90, 0}}},
		{"small pony 10'3\"", feet(10, 3), [6][2]float64{{41, 0}, {51, 3}, {61, 6}, {71, 9}, {82, 0}, {92, 3}}},
		{"medium pony 10'3\"", feet(10, 3), [6][2]float64{{41, 0}, {51, 3}, {61, 6}, {71, 9}, {82, 0}, {92, 3}}},
		{"medium pony 10'6\"", feet(10, 6), [6][2]float64{{42, 0}, {52, 6}, {63, 0}, {73, 6}, {84, 0}, {94, 6}}},
		{"medium pony 10'9\"", feet(10, 9), [6][2]float64{{43, 0}, {53, 9}, {64, 6}, {75, 3}, {86, 0}, {96, 9}}},
		{"large pony 11'", feet(11, 0), [6][2]float64{{44, 0}, {55, 0}, {66, 0}, {77, 0}, {88, 0}, {99, 0}}},
		{"large pony 11'3\"", feet(11, 3), [6][2]float64{{45, 0}, {56, 3}, {67, 6}, {78, 9}, {90, 0}, {101, 3}}},
		{"large pony 11'6\"", feet(11, 6), [6][2]float64{{46, 0}, {57, 6}, {69, 0}, {80, 6}, {92, 0}, {103, 6}}},
		{"large pony 11'9\"", feet(11, 9), [6][2]float64{{47, 0}, {58, 9}, {70, 6}, {82, 3}, {94, 0}, {105, 9}}},
	} {
		for i, c := range row.cells {
			n := i + 3
			require.InDelta(t, float64(n), StridesIn(feet(c[0], c[1]), row.strideM, 1.0), 1e-9, "%s, %d strides", row.name, n)
			require.InDelta(t, feet(c[0], c[1]), LineDistanceM(n, row.strideM, 1.0), 1e-9)
			require.Equal(t, n, PlannedStrides(feet(c[0], c[1]), row.strideM, 1.0))
		}
	}
	// The metres of the chart, printed to the centimetre.
	for i, m := range []float64{14.63, 18.29, 21.95, 25.60, 29.26, 32.92} {
		require.InDelta(t, m, LineDistanceM(i+3, StandardStrideM, 1), 0.005)
	}
}

// The same chart, in-and-outs: for horses by height, every cell exact; for ponies, which the chart
// gives without a height, at the heights of their classes (2'3", 2'6", 3': common practice).
func TestUSChartOfInAndOuts(t *testing.T) {
	for _, c := range []struct {
		heightFt, heightIn float64
		one, two           float64
	}{
		{3, 0, feet(25, 6), feet(36, 6)}, {3, 6, feet(26, 0), feet(37, 0)}, {3, 9, feet(26, 6), feet(37, 6)}, {4, 0, feet(27, 0), feet(38, 0)},
	} {
		h := feet(c.heightFt, c.heightIn)
		require.InDelta(t, c.one, LineDistanceM(1, StandardStrideM, h), 1e-9)
		require.InDelta(t, c.two, LineDistanceM(2, StandardStrideM, h), 1e-9)
		require.InDelta(t, 1, StridesIn(c.one, StandardStrideM, h), 1e-9)
		require.InDelta(t, 2, StridesIn(c.two, StandardStrideM, h), 1e-9)
	}
	for _, c := range []struct {
		name             string
		strideM, heightM float64
		one, two         [2]float64
	}{
		{"small pony", feet(10, 0), feet(2, 3), [2]float64{feet(19, 0), feet(20, 0)}, [2]float64{feet(29, 0), feet(30, 0)}},
		{"medium pony", feet(10, 6), feet(2, 6), [2]float64{feet(21, 0), feet(22, 0)}, [2]float64{feet(31, 6), feet(32, 0)}},
		{"large pony", feet(11, 3), feet(3, 0), [2]float64{feet(23, 0), feet(24, 0)}, [2]float64{feet(34, 0), feet(34, 6)}},
	} {
		for _, d := range c.one {
			require.InDelta(t, 1, StridesIn(d, c.strideM, c.heightM), 0.2, c.name)
		}
		for _, d := range c.two {
			require.InDelta(t, 2, StridesIn(d, c.strideM, c.heightM), 0.2, c.name)
		}
	}
}

// Bands of metres in which the tables put a whole number of strides: both ends must come out as that
// number. The stride of each band is the one by which its own rows grow.
func TestPublishedBands(t *testing.T) {
	type row struct {
		n         int
		low, high float64
	}
	const usualHeightM = 0.9
	for _, c := range []struct {
		source          string
		strideM, height float64
		rows            []row
	}{
		{"Swedish riding-school table, horse", 3.5, usualHeightM,
			[]row{{1, 7, 8}, {2, 10, 11}, {3, 14, 15}, {4, 17, 18}, {5, 20.5, 21.5}, {6, 24, 25}, {7, 27.5, 28.5}}},
		{"Swedish page of 2013, horse", 3.5, usualHeightM,
			[]row{{1, 6.5, 7}, {2, 9.75, 10.25}, {3, 13.5, 14}, {4, 17, 17.5}, {5, 20.5, 21}, {6, 24, 24.5}, {7, 27.5, 28}}},
		{"Swedish riding-school table, D-pony", 3.25, usualHeightM,
			[]row{{1, 6.3, 7}, {2, 9.5, 10}, {3, 13, 14}, {4, 16.25, 17}, {5, 19.5, 20.5}, {6, 23, 24}, {7, 26, 27}}},
		{"Swedish page of 2013, D-pony", 3.25, usualHeightM,
			[]row{{1, 6.5, 6.9}, {2, 9.5, 9.9}, {4, 16.25, 17.25}, {6, 22.75, 23.75}}},
		{"Swedish riding-school table, C-pony", 3.0, 0.7,
			[]row{{1, 5.9, 6.3}, {2, 8.7, 9.1}, {3, 12, 13}, {4, 15, 16}, {5, 18, 19}, {6, 21, 22}, {7, 24, 25}}},
		{"Swedish riding-school table, B-pony", 2.75, 0.5,
			[]row{{1, 5.3, 5.7}, {2, 7.8, 8.2}, {3, 11, 12}, {4, 13.75, 14.75}, {5, 16.5, 17.5}, {6, 19.25, 20.25}, {7, 22, 23}}},
		{"German practice, horse", 3.5, usualHeightM,
			[]row{{0, 3.6, 3.6}, {1, 7.5, 7.5}, {2, 10, 11}, {3, 14, 15}, {4, 17.5, 18.5}, {5, 21, 22}, {6, 24.5, 25.5}}},
		{"French practice, horse", 3.5, 0,
			[]row{{1, 7, 7}, {2, 10.5, 10.5}, {3, 14, 14}, {4, 17.5, 17.5}, {5, 21, 21}, {6, 24.5, 24.5}}},
		{"BHS Manual of Horsemanship, pony", feet(10, 6), 0.7,
			[]row{{0, feet(10, 0), feet(12, 0)}, {1, feet(21, 0), feet(24, 0)}, {2, feet(31, 0), feet(34, 0)}}},
		{"BHS Manual of Horsemanship, horse", feet(12, 0), 0.7,
			[]row{{0, feet(11, 0), feet(14, 0)}, {1, feet(24, 0), feet(26, 6)}, {2, feet(34, 0), feet(36, 0)}}},
		{"training sheet, 15.2 h and over", 3.5, usualHeightM,
			[]row{{0, 3, 3.7}, {1, 6.4, 7.5}, {2, 10, 11}, {3, 13.7, 14.6}, {4, 17.4, 18.3}, {5, 20.1, 22}}},
		{"US gymnastic page, canter", feet(12, 0), 0,
			[]row{{0, feet(12, 0), feet(12, 0)}, {1, feet(24, 0), feet(24, 0)}, {2, feet(36, 0), feet(36, 0)}, {3, feet(48, 0), feet(48, 0)},
				{4, feet(60, 0), feet(60, 0)}, {5, feet(72, 0), feet(72, 0)}, {6, feet(84, 0), feet(84, 0)}}},
	} {
		for _, r := range c.rows {
			require.Equal(t, r.n, PlannedStrides(r.low, c.strideM, c.height), "%s: %.2f m", c.source, r.low)
			require.Equal(t, r.n, PlannedStrides(r.high, c.strideM, c.height), "%s: %.2f m", c.source, r.high)
		}
	}
	// French practice states the law itself, 3.50 (n + 1), and pony strides of 2.90, 3.10, 3.30 m.
	for _, s := range []float64{2.9, 3.1, 3.3, 3.5} {
		for n := 3; n < 9; n++ {
			require.InDelta(t, s*float64(n+1), LineDistanceM(n, s, 0), 1e-12)
		}
	}
}

// The walker's rules, in 3-ft steps: a quarter of the steps less one; a bending line walks about one step
// less and keeps its number (Tinder, Jump Course Design Manual; other teaching pages agree). The
// plan's pace is 0.914 m.
func TestWalkersSteps(t *testing.T) {
	for steps, n := range map[float64]int{16: 3, 20: 4, 24: 5, 28: 6, 23: 5} {
		require.Equal(t, n, PlannedStrides(steps*paceM, StandardStrideM, 0), "%v steps", steps)
	}
	require.InDelta(t, StandardStrideM, 4*paceM, 0.002)
}

// 24 to 84 ft at a 12-ft stride are 1 to 6, at any height of fence that is jumped for training.
func TestTheDistancesThatEverybodyKnows(t *testing.T) {
	for i, ft := range []float64{24, 36, 48, 60, 72, 84} {
		for _, h := range []float64{0, 0.3, 0.6, 0.9, 1.1, 1.3} {
			require.Equal(t, i+1, PlannedStrides(ft*feetM, StandardStrideM, h), "%v ft at %v m", ft, h)
		}
	}
	require.InDelta(t, 5.86, StridesIn(feet(72, 0), feet(10, 6), 0), 0.005, "reads as a forward 6")
	require.InDelta(t, 7, StridesIn(feet(96, 0), feet(12, 0), 0), 1e-9)
}

// The height formula of a German page, heights + 3.5 n, is another law: its distances lie 0.7 to 1.7 m
// below the tables. The page's example: 1.15 + 1.20 + 2 × 3.5 = 9.35 m.
func TestHeightFormulaLiesBelowTheTables(t *testing.T) {
	formula := 1.15 + 1.20 + 2*3.5
	require.InDelta(t, 9.35, formula, 1e-12)
	below := LineDistanceM(2, 3.5, (1.15+1.20)/2) - formula
	require.GreaterOrEqual(t, below, 0.7)
	require.LessOrEqual(t, below, 1.7)
}

// A 138-cm pony on a double built for horses comes on "two and a half" strides (reader's letter in a UK
// magazine): neither number is near.
func TestPonyOnAHorsesDouble(t *testing.T) {
	pony := Profiles()[3]
	require.Equal(t, "medium pony", pony.Name)
	n := StridesIn(LineDistanceM(2, StandardStrideM, 1.0), pony.StrideM, 0.8)
	require.Greater(t, math.Abs(n-math.Round(n)), 0.3)
}

func TestProfiles(t *testing.T) {
	names := map[string]bool{}
	for _, p := range Profiles() {
		require.NotEmpty(t, p.Source)
		require.False(t, names[p.Name])
		names[p.Name] = true
		require.LessOrEqual(t, p.LowM, p.StrideM, p.Name)
		require.GreaterOrEqual(t, p.HighM, p.StrideM-1e-9, p.Name)
	}
	// New Zealand's show hunter: 3.05, 3.2 and 3.35 m for ponies, 3.65 m for horses.
	for i, m := range []float64{3.65, 0, 3.35, 3.2, 3.05} {
		if m > 0 {
			require.InDelta(t, m, Profiles()[i].StrideM, 0.01)
		}
	}
}

func TestStridesInIsTheInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 15).Draw(t, "n")
		s := rapid.Float64Range(1.8, 4.5).Draw(t, "stride")
		h := rapid.Float64Range(0, 1.8).Draw(t, "height")
		require.InDelta(t, float64(n), StridesIn(LineDistanceM(n, s, h), s, h), 1e-9)
		// More ground never asks for fewer strides.
		d := rapid.Float64Range(0, 60).Draw(t, "distance")
		more := rapid.Float64Range(0, 10).Draw(t, "more")
		require.LessOrEqual(t, StridesIn(d, s, h), StridesIn(d+more, s, h)+1e-12)
		// A distance in proportion to the stride asks for the same number.
		require.InDelta(t, StridesIn(d, s, h), StridesIn(2*d, 2*s, h), 1e-9)
	})
}

func ExamplePlannedStrides() {
	for _, ft := range []float64{24, 36, 48, 60, 72, 84} {
		fmt.Print(PlannedStrides(ft*0.3048, StandardStrideM, 0), " ")
	}
	// Output: 1 2 3 4 5 6
}
