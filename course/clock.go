package course

import "math"

// TimeRules is what a rule set makes of the clock.
type TimeRules struct {
	Name string
	// FaultPerS is the time over for which each commenced piece is one fault.
	FaultPerS float64
	// LimitFactor times the time allowed is the time limit, beyond which the round is out.
	LimitFactor float64
	Source      string
}

// TimeRuleSets are the rule sets known, the one to take unless told otherwise first. Rule texts
// differ by federation and year.
func TimeRuleSets() []TimeRules {
	return []TimeRules{
		{"per second", 1, 2, "one fault per commenced second: Equestrian Australia 5.7 from 2022; Dutch and Swedish jump-offs; limit twice the time allowed: Royal Dutch federation art. 228"},
		{"per four seconds", 4, 2, "one fault per four commenced seconds: Royal Dutch federation art. 236, base round; Swedish federation; limit twice the time allowed: Royal Dutch federation art. 228"},
	}
}

// TimeAllowedS is the time allowed for a track: length over speed (Royal Dutch federation art. 227),
// rounded up to the commenced second. The rule texts seen do not fix the rounding; rounding up favours
// the rider by less than a second. lengthM is taken in whole metres as the rules measure it; both
// must be positive.
func TimeAllowedS(lengthM, speedMMin float64) float64 {
	if !(lengthM > 0 && speedMMin > 0) {
		panic("course: time allowed without a length or a speed")
	}
	return ceil(math.Round(lengthM) * 60 / speedMMin)
}

// TimeLimitS is the time after which the round is out.
func (r TimeRules) TimeLimitS(allowedS float64) float64 { return r.LimitFactor * allowedS }

// TimeFaults are the faults for a time over the time allowed. The clock is read to a hundredth of a
// second (Royal Dutch federation art. 226), so exactly 4 s over is no commenced fifth.
func (r TimeRules) TimeFaults(timeS, allowedS float64) int {
	over := math.Round(timeS*100) - math.Round(allowedS*100)
	if !(over > 0) {
		return 0
	}
	return int(ceil(over / (r.FaultPerS * 100)))
}

// ceil rounds up, but takes a number that is whole but for the noise of its division as whole:
// 396·60/300 comes as 79.2 and must be 80, 420·60/350 as 72 or a hair above and must be 72.
func ceil(v float64) float64 {
	const noise = 1e-9 // far above 2^-52 of an hour's seconds, far below a hundredth of a second
	if r := math.Round(v); math.Abs(v-r) < noise*max(1, math.Abs(v)) {
		return r
	}
	return math.Ceil(v)
}
