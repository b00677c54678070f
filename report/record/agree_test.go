package record

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course/horse"
	"groundline/report"
	"groundline/trace"
)

// One horse has one usual stride, whoever is asked: the debrief of its only ride, the horse's page, the same debrief read back
// from JSON for a walk, and the verdicts on its lines.
func TestOneHorse(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	for range 20 {
		d := bramble().rides(rng, 1, 1)[0].debrief()
		for i := range d.Lines {
			d.Lines[i].StrideLengthsM, d.Lines[i].Attempt = []float64{}, 1
		}
		d.Schema, d.Basis = report.Schema, "position+motion"
		d.SetUsual(nil)
		same := func(what string, want, got trace.Estimate) {
			t.Helper()
			require.InDelta(t, want.Value, got.Value, 1e-3, what)
			require.InDelta(t, want.Low, got.Low, 2e-3, what)
			require.InDelta(t, want.High, got.High, 2e-3, what)
		}
		page := recordOf(t, []Ride{Extract(d)})
		same("the ride on the horse's page", *d.Horse.CanterStrideM, *page.Rides[0].StrideM)
		same("its stride time", *d.Horse.StrideS, *page.Rides[0].StrideS)
		require.InDelta(t, d.Horse.CanterStrideM.Value, page.StrideM.Mean.Value, 1e-3, "of one ride the horse knows what the ride does")
		require.InDelta(t, d.Horse.StrideS.Value, page.StrideS.Mean.Value, 1e-4)
		require.Equal(t, page.StrideM.Mean, *page.Usual())

		var asJSON bytes.Buffer
		require.NoError(t, report.JSON(&asJSON, d))
		back, err := report.ReadDebrief("d.json", &asJSON)
		require.NoError(t, err)
		walked, err := horse.Of(report.RiddenIn([]*report.Debrief{back})).Course()
		require.NoError(t, err)
		same("the walk's horse", page.StrideM.Mean, walked.StrideM)
		same("the walk's horse and the page's", page.Walk.StrideM, walked.StrideM)
		same("its pace", page.SpeedMS.Mean, *walked.SpeedMS)
		same("its stride time", page.StrideS.Mean, *walked.StrideS)
		at := page.StrideAt(page.SpeedMS.Mean.Value)
		if at != nil {
			require.InDelta(t, page.StrideM.Mean.Value, at.Value, 1e-9, "at its own pace")
		}

		held := Against(nil, nil, Extract(d))
		k := 0
		for i, l := range d.Lines {
			if l.Fit == nil {
				continue
			}
			require.Equal(t, i, held[k].Line)
			same("the verdict's figure", *l.Fit.PerStrideM, held[k].PerStrideM)
			require.Equal(t, l.Fit.Verdict(), held[k].Says)
			k++
		}
		require.Equal(t, len(held), k)
		require.NotZero(t, k)
	}
}
