package record

import (
	"math"
	"math/rand/v2"
	"strconv"
	"time"

	"groundline/trace"
)

// madeHorse is an invented horse whose truth is known.
type madeHorse struct {
	strideM, perMS     float64 // at 5.5 m/s, and for each m/s
	paceMS             float64
	gradeMS, homeMS    float64 // what 1 % of rise and home do to the pace
	strideS            float64
	trendS             float64 // of the stride time, in 30 days
	cv                 float64
	takeoffM, landingM float64
	refuses            float64 // chance at an obstacle
	leftAfterLeft      float64 // chance of landing left before a left turn
	rideMS, rideM      float64 // by which rides differ: pace, stride
	rideS              float64
	lineMS, lineM      float64 // by which lines of a course differ, the same each time
	againMS, againM    float64 // and by which they differ from ride to ride
}

func bramble() madeHorse {
	return madeHorse{strideM: 3.4, perMS: 0.5, paceMS: 5.5, gradeMS: -0.06, homeMS: 0.2, strideS: 0.61, trendS: 0.004, cv: 0.02,
		takeoffM: 1.8, landingM: 1.7, refuses: 0.05, leftAfterLeft: 0.8, rideMS: 0.12, rideM: 0.06, rideS: 0.006,
		lineMS: 0.12, lineM: 0.06, againMS: 0.1, againM: 0.08}
}

// madeLine is a line of a course: how it lies.
type madeLine struct {
	from, to, kind string
	grade, home    float64
	direction      string
	slower, longer float64
}

// course lays a course of n lines.
func (h madeHorse) course(rng *rand.Rand, n int) []madeLine {
	var out []madeLine
	for i := range n {
		l := madeLine{from: strconv.Itoa(i + 1), to: strconv.Itoa(i + 2), kind: []string{"related", "single", "bending"}[i%3],
			grade: 0.03 * (2*rng.Float64() - 1), home: math.Cos(rng.Float64() * 2 * math.Pi), direction: []string{"straight", "left", "right"}[i%3],
			slower: h.lineMS * rng.NormFloat64(), longer: h.lineM * rng.NormFloat64()}
		out = append(out, l)
	}
	return out
}

// ride rides a course on a day, seen by a sensor and a receiver.
func (h madeHorse) ride(rng *rand.Rand, id int64, day float64, ground string, lines []madeLine) Ride {
	at := time.Date(2026, 3, 1, 10, 0, 0, 0, time.UTC).Add(time.Duration(day * 24 * float64(time.Hour)))
	r := Ride{V: RideVersion, ID: id, At: &at, DurationS: 120, Horse: "Bramble", Course: ground, Ground: ground, Basis: "position+motion", Lines: []Line{}, Efforts: []Effort{}}
	pace, stride, beat := h.rideMS*rng.NormFloat64(), h.rideM*rng.NormFloat64(), h.rideS*rng.NormFloat64()
	seen := func(v, sd float64) *trace.Estimate { e := trace.FromSD(v+sd*rng.NormFloat64(), sd); return &e }
	for i, m := range lines {
		v := h.paceMS + pace + m.slower + 100*h.gradeMS*m.grade + h.homeMS*m.home + h.againMS*rng.NormFloat64()
		s := h.strideM + stride + h.perMS*(v-5.5) + m.longer + h.againM*rng.NormFloat64()
		n := float64(4 + i%3*4)
		// A stride is measured as pace times time, so it errs with the pace.
		wrong := 0.05 * rng.NormFloat64()
		beats := n - 1
		cv := h.cv * math.Sqrt(chiSquared(rng, int(beats))/beats)
		grade, home := m.grade, m.home
		speed := trace.FromSD(v+wrong, 0.05)
		length := trace.FromSD(s+wrong*h.strideS+0.02*rng.NormFloat64(), 0.04)
		l := Line{From: m.from, To: m.to, Kind: m.kind, Strides: exactly(n), Counted: true, StrideLengthM: &length,
			// A stride is pace times time: what it gains with the pace less than its time, the time loses.
			StrideS: seen(h.strideS+(h.perMS-h.strideS)/5.5*(v-5.5)+beat+h.trendS*day/30+0.006*rng.NormFloat64(), 0.003), RhythmCV: &trace.Estimate{Value: cv, Low: 0.5 * cv, High: 2 * cv},
			SpeedMS: &speed, Grade: &grade, Homeward: &home, Direction: m.direction}
		if m.kind == "related" {
			d := n*s + h.takeoffM + h.landingM + 0.37*s
			l.DistanceM = &d
		}
		left := 0.5
		switch m.direction {
		case "left":
			left = h.leftAfterLeft
		case "right":
			left = 1 - h.leftAfterLeft
		}
		l.LeadFirst, l.LeadLast = "right", "left"
		if rng.Float64() < left {
			l.LeadFirst = "left"
		}
		r.Lines = append(r.Lines, l)
	}
	height := 0.9
	for i := range len(lines) + 1 {
		e := Effort{Obstacle: strconv.Itoa(i + 1), Kind: []string{"vertical", "oxer"}[i%2], HeightM: &height, Outcome: "jumped", Confidence: 1,
			TakeoffDistanceM: seen(h.takeoffM+0.2*rng.NormFloat64(), 0.2), LandingDistanceM: seen(h.landingM+0.2*rng.NormFloat64(), 0.2)}
		for rng.Float64() < h.refuses {
			r.Efforts = append(r.Efforts, Effort{Obstacle: e.Obstacle, Kind: e.Kind, HeightM: &height, Outcome: "refused", Confidence: 1})
		}
		r.Efforts = append(r.Efforts, e)
	}
	return r
}

// rides rides so many rides over so many courses of eight lines.
func (h madeHorse) rides(rng *rand.Rand, n, courses int) []Ride {
	laid := make([][]madeLine, courses)
	for i := range laid {
		laid[i] = h.course(rng, 8)
	}
	var out []Ride
	for i := range n {
		out = append(out, h.ride(rng, int64(i+1), 5*float64(i), "course "+strconv.Itoa(i%courses), laid[i%courses]))
	}
	return out
}

func exactly(v float64) *trace.Estimate { e := trace.Exactly(v); return &e }

func chiSquared(rng *rand.Rand, n int) float64 {
	var s float64
	for range n {
		z := rng.NormFloat64()
		s += z * z
	}
	return s
}
