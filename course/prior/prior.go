// Package prior has what is known of show jumpers before a recording says anything: each figure with its value, its
// spread and where both come from. The walk, the horse's model and the debrief take them from here and nowhere else.
package prior

// Figure is what is known of one figure beforehand: normally distributed, SD its standard deviation, in the unit that
// the field's comment gives.
type Figure struct {
	Value, SD float64
	Source    string
}

// Getaway is how far a horse goes from the fore hooves' landing to the hind hooves' first contact, in strides.
func Getaway() Figure {
	return Figure{0.37, 0.08, "the way from landing to take-off takes n + 0.7 strides of time; of these some 2.5 m the hooves take back about 1.2 m, " +
		"as the hind hooves push off 1.1 to 1.3 m behind the centre of mass (Colborne et al. 1995)"}
}

// GradeRel is the part of its length that a stride gains for each metre of rise a metre.
func GradeRel() Figure {
	return Figure{-0.33, 0.2, "8 to 12 % uphill shortens the stride by 3.3 % at equal speed (Parsons, Pfau & Wilson 2008); up to 4 % no effect was found " +
		"(two treadmill studies), so the spread reaches to none at all and to twice as much"}
}

// HomewardRel is the part of its length that a stride gains straight towards home, against square to it.
func HomewardRel() Figure {
	return Figure{0.03, 0.02, "lines towards home are set longer (common practice; no amount is published); 0.030 ± 0.009 over 46 rounds of a forward model"}
}

// UnrelatedRel is the part of its length that a stride loses on unrelated stretches, which lead round turns, against
// related and bending lines.
func UnrelatedRel() Figure {
	return Figure{-0.05, 0.03, "riders slow down for a turn; 0.067 less over 60 rounds of a forward model, where a course with few turns may have none of it"}
}

// Range is what is known of a figure beforehand by its middle and the bounds that hold it nine times in ten.
type Range struct {
	Low, Value, High float64
	Source           string
}

// RollbackWay is how long a rollback is ridden, as a part of the planned track on which it is drawn.
func RollbackWay() Range {
	return Range{0.82, 0.97, 1.26, "70 ridden rollbacks of a forward model; riders cut in by up to a fifth and swing out by more (common practice)"}
}

// UnrelatedWay is how long the way to an unrelated fence is ridden, as a part of the planned track.
func UnrelatedWay() Range {
	return Range{0.95, 1.06, 2.0, "90 ridden ways of a forward model: 5 % longer in the middle, at times half round the arena, since the rider has the choice"}
}

// LineRel is by how much the stride differs from line to line of one ride beside slope, home and the whole number of
// strides: the SD, as a part of the stride.
func LineRel() Figure {
	return Figure{0, 0.05, "makes the chances of the numbers of strides come true over 46 rounds of a forward model (no published figure was found)"}
}

// RideRel is by how much the stride differs from ride to ride of one horse: the SD, as a part of the stride.
func RideRel() Figure {
	return Figure{0, 0.03, "less than lines of one ride do, as ground and rider stay much the same (ours; rides on record correct it)"}
}

// WholeStrides is what a whole number of strides leaves open of the horse's own: uniform over a stride, SD in strides.
func WholeStrides() Figure {
	return Figure{0, 0.28867513459481287, "1/√12: a line is ridden on a whole number, so n strides show the own stride to half a stride in n either way"}
}

// PaceLineRel is by how much the pace differs from line to line of one ride: the SD, as a part of the pace.
func PaceLineRel() Figure {
	return Figure{0, 0.07, "within 46 rounds of a forward model"}
}

// StrideLineS is by how much the stride time differs from line to line of one ride: the SD, s.
func StrideLineS() Figure {
	return Figure{0, 0.006, "0.4 to 1 % over rounds of a forward model, below the 2 % of single strides (Equine Veterinary Journal 1980; 12:60-65)"}
}

// StrideSPerMS is by how much a stride takes longer for each m/s of pace, s.
func StrideSPerMS() Figure {
	return Figure{-0.019, 0.018, "0.1 Hz for 1 to 2 m/s (show jumpers to extended canter: Tranquille et al. 2017, Deuel & Park 1991), at 1.65 Hz; the spread is ours"}
}

// StrideS is the usual time of a stride between fences, s.
func StrideS() Figure {
	return Figure{0.6, 0.04, "1.65 Hz between fences (Tranquille et al. 2017); ponies 0.53 s"}
}

// SizeRel is how a horse's stride at the hooves compares with the tables' for its size.
func SizeRel() Figure {
	return Figure{0.93, 0.1, "the tables let landing and take-off take a stride together; over 1.10 m they take 3.64 m and the way of the fore hooves 0.37 strides " +
		"more (eight horses), so five strides of a 12-ft horse's 21.95 m are 3.41 m each; horses of one size differ by a tenth (the width of the tables' rows)"}
}

// AnyStrideM is the stride of any horse or pony, m, between the tables' smallest and longest.
func AnyStrideM() Figure {
	return Figure{3.4, 0.51, "from the tables' 2.97 m of the smallest ponies to the 4.19 m of the longest horses, at the hooves 2.8 to 3.9 m, and half as far again"}
}

// HoofJumpM is by how much landing and take-off differ from jump to jump: the SD, m.
func HoofJumpM() Figure {
	return Figure{0, 0.2, "eight horses over 1.10 m: means of 1.99 and 1.65 m came in to 1.71 and 1.46 m"}
}

// HoofSharedM is how well it is known how far the hooves reach ahead of and behind a sensor, the same at all jumps of a
// horse: the SD, m.
func HoofSharedM() Figure {
	return Figure{0, 0.15, "not measured by any recording; horses differ by 0.1 to 0.2 m (Colborne et al. 1995: 1.11 and 1.30 m)"}
}

// RhythmCV is by how much the evenness of strides differs from ride to ride: the SD of the coefficient of variation.
func RhythmCV() Figure {
	return Figure{0, 0.005, "a quarter of the 2 % by which the strides of a horse vary (Equine Veterinary Journal 1980; 12:60-65); ours"}
}
