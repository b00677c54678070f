package validate

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"groundline/trace"
)

// Share is a share of N with its 90 % interval; Share is nil with N = 0.
type Share struct {
	Of    int             `json:"of"`
	Is    int             `json:"is"`
	Share *trace.Estimate `json:"share"`
}

// shareOf is is of n with the exact interval of Clopper and Pearson (1934, by quantiles of the beta distribution).
func shareOf(is, n int) Share {
	s := Share{Of: n, Is: is}
	if n == 0 {
		return s
	}
	e := trace.Estimate{Value: float64(is) / float64(n), Low: 0, High: 1}
	if is > 0 {
		e.Low = distuv.Beta{Alpha: float64(is), Beta: float64(n-is) + 1}.Quantile(0.05)
	}
	if is < n {
		e.High = distuv.Beta{Alpha: float64(is) + 1, Beta: float64(n - is)}.Quantile(0.95)
	}
	s.Share = &e
	return s
}

// Agreement is how far labels and findings of one kind lie apart: found less labelled, over rides that give several
// pairs each.
type Agreement struct {
	N     int `json:"n"`
	Rides int `json:"rides"`
	// Bias is the mean of found less labelled, with the 90 % interval of a mean over rides.
	Bias *trace.Estimate `json:"bias"`
	// SD is the standard deviation of one difference; of it, BetweenSD is what differs from ride to ride and
	// WithinSD what differs within one. What a film's frame rate adds is taken out.
	SD        *float64 `json:"sd"`
	BetweenSD *float64 `json:"between_sd"`
	WithinSD  *float64 `json:"within_sd"`
	// Low and High are the limits of agreement, between which 95 of 100 differences lie, each with its 90 % interval.
	Low  *trace.Estimate `json:"limit_low"`
	High *trace.Estimate `json:"limit_high"`
	// Slope is the proportional bias: how the difference grows with the mean of both, a unit per unit.
	Slope *trace.Estimate `json:"slope"`
	// MoreRides is how many more rides like these would halve the interval of the bias.
	MoreRides *int `json:"more_rides"`
}

// z95 is the standard normal quantile of 0.975, of the limits of agreement.
const z95 = 1.959963984540054

// agreementOf sums up differences with repeated measures where the true value varies (Bland & Altman 2007, J.
// Biopharm. Stat. 17:571, section 3: a one-way analysis of variance of the differences over the rides). seen and
// found are pairs, ride numbers the ride of each from 0. frameVar is the variance that the film's frames add to a
// difference. Degrees of freedom of the limits' interval are those of Satterthwaite (1946).
func agreementOf(seen, found []float64, ride []int, frameVar float64) Agreement {
	a := Agreement{N: len(seen)}
	if len(seen) == 0 {
		return a
	}
	by := map[int][]float64{}
	var d []float64
	for i := range seen {
		d = append(d, found[i]-seen[i])
		by[ride[i]] = append(by[ride[i]], d[i])
	}
	a.Rides = len(by)
	n, k := float64(len(d)), float64(len(by))
	bias := mean(d)
	var ssw, ssb, sumM2 float64
	for _, r := range sortedRides(by) {
		x := by[r]
		m := mean(x)
		for _, v := range x {
			ssw += sq(v - m)
		}
		ssb += float64(len(x)) * sq(m-bias)
		sumM2 += sq(float64(len(x)))
	}
	if len(d) < 2 {
		return a
	}
	var within, between, msb, msw float64
	switch {
	case k < 2:
		within = ssw / (n - 1)
	case n <= k: // one pair a ride: all that differs is between them
		between = ssb / (k - 1)
		msb = between
	default:
		msb, msw = ssb/(k-1), ssw/(n-k)
		m0 := (n - sumM2/n) / (k - 1) // equation of their section 3: pairs a ride, corrected for uneven numbers
		within, between = msw, max(0, (msb-msw)/m0)
	}
	se := math.Sqrt((within + between) / n)
	df := n - 1
	if k >= 2 && n > k {
		se, df = math.Sqrt(between/k+within/n), k-1
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.95)
	b := trace.Estimate{Value: bias, Low: bias - t*se, High: bias + t*se}
	a.Bias = &b
	if k >= 2 {
		more := int(3 * k) // a mean over rides: four times as many halve its interval
		a.MoreRides = &more
	}
	within, between = framesOut(within, between, frameVar, n > k)
	total := within + between
	sd, bsd, wsd := math.Sqrt(total), math.Sqrt(between), math.Sqrt(within)
	a.SD = &sd
	if k >= 2 {
		a.BetweenSD = &bsd
	}
	if n > k {
		a.WithinSD = &wsd
	}
	// The limits' interval: variance of the bias and of the standard deviation (s²/2ν).
	nu := n - 1
	if k >= 2 && n > k && msb+msw > 0 {
		m0 := (n - sumM2/n) / (k - 1)
		v := msb/m0 + (1-1/m0)*msw
		nu = sq(v) / (sq(msb/m0)/(k-1) + sq((1-1/m0)*msw)/(n-k))
	}
	limSE := math.Sqrt(sq(se) + sq(z95)*total/(2*max(nu, 1)))
	lo, hi := trace.FromSD(bias-z95*sd, limSE), trace.FromSD(bias+z95*sd, limSE)
	a.Low, a.High = &lo, &hi
	a.Slope = slopeOf(seen, found)
	return a
}

// framesOut takes the frames' variance out of the differences' spread, first out of what differs within a ride.
func framesOut(within, between, frameVar float64, repeated bool) (w, b float64) {
	if repeated {
		return max(0, within-frameVar), between
	}
	return within, max(0, between-frameVar)
}

// slopeOf is the slope of the difference over the mean of both, with its 90 % interval; nil where all are alike.
func slopeOf(seen, found []float64) *trace.Estimate {
	n := float64(len(seen))
	if n < 3 {
		return nil
	}
	var mx, my float64
	for i := range seen {
		mx += (seen[i] + found[i]) / 2 / n
		my += (found[i] - seen[i]) / n
	}
	var sxx, sxy, syy float64
	for i := range seen {
		x, y := (seen[i]+found[i])/2-mx, found[i]-seen[i]-my
		sxx, sxy, syy = sxx+x*x, sxy+x*y, syy+y*y
	}
	if sxx < 1e-12 {
		return nil
	}
	b := sxy / sxx
	se := math.Sqrt(max(0, syy-b*sxy) / (n - 2) / sxx)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 2}.Quantile(0.95)
	return &trace.Estimate{Value: b, Low: b - t*se, High: b + t*se}
}

func mean(x []float64) float64 {
	var s float64
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

func sortedRides(by map[int][]float64) []int {
	var out []int
	for r := range by {
		out = append(out, r)
	}
	slices.Sort(out)
	return out
}

// Detection is how well events were found within a window.
type Detection struct {
	WindowS   float64 `json:"window_s"`
	Labelled  int     `json:"labelled"`
	Found     int     `json:"found"`
	Paired    int     `json:"paired"`
	Precision Share   `json:"precision"`
	Recall    Share   `json:"recall"`
	// F1 is twice the pairs over labels and findings together; nil with neither.
	F1 *float64 `json:"f1"`
}

func detectionOf(windowS float64, labelled, found, paired int) Detection {
	d := Detection{WindowS: windowS, Labelled: labelled, Found: found, Paired: paired,
		Precision: shareOf(paired, found), Recall: shareOf(paired, labelled)}
	if labelled+found > 0 {
		f := 2 * float64(paired) / float64(labelled+found)
		d.F1 = &f
	}
	return d
}
