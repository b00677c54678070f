package report

import (
	"math"
	"strings"
	"testing"

	"groundline/trace"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestFiguresHaveTheDigitsThatTheirIntervalLeaves(t *testing.T) {
	for _, c := range []struct {
		q    quantity
		e    *trace.Estimate
		want string
	}{
		{Metric.length(), within(3.5412, 0.06), "3.54 m ±0.06"},
		{Metric.length(), within(3.5412, 0.0003), "3.54 m ±0.01"}, // no finer than a centimetre, and never ±0
		{Metric.length(), within(3.5412, 0.14), "3.54 m ±0.14"},   // two digits of a doubt that begins with 1
		{Metric.length(), within(3.5412, 0.4), "3.5 m ±0.4"},
		{Metric.length(), within(3.5412, 0.41), "3.5 m ±0.5"}, // a doubt is rounded up
		{Metric.length(), within(61.38, 23), "60 m ±30"},
		{Metric.length(), within(3.5, 0), "3.50 m"},                   // exact: no doubt to tell
		{Metric.radius(), between(9.3, 8.1, 12), "9 m (8 to 12)"},     // lopsided: its bounds
		{Metric.radius(), between(9.3, 8.6, 10.1), "9.3 m ±0.8"},      // nearly even: the larger side
		{Imperial.length(), within(3.6576, 0.0305), "12.0 ft ±0.1"},   // the 12-ft stride
		{Imperial.length(), within(21.9456, 0.03048), "72.0 ft ±0.1"}, // 72 ft, the five-stride line
		{pace(), within(5.8333, 0.1), "350 m/min ±6"},                 // 350 m/min, a rule book speed
		{seconds(), within(62.4, 0.02), "62.40 s ±0.02"},
		{degrees(), within(-155.2, 3), "-155° ±3"},
		{degrees(), within(-0.2, 0.9), "0° ±1"}, // no minus zero
		{percent(), within(0.021, 0.004), "2 % ±1"},
	} {
		require.Equal(t, c.want, c.q.measured(*c.e), "%+v", *c.e)
	}
	require.Equal(t, "62 s", seconds().plainShort(62))
	require.Equal(t, "62.50 s", seconds().plainShort(62.5))
	require.Equal(t, "21.95 m", Metric.length().plain(21.95))
	require.Equal(t, "72.0 ft", Imperial.length().plain(21.95))
	require.Equal(t, "1:02", clock(61.6))
	require.Equal(t, "10:00", clock(599.7)) // never 9:60
	require.Equal(t, "1:00:00", clock(3599.6))
	require.Equal(t, "1:01:02 h", lasting(3662))
	require.Equal(t, "59:59 min", lasting(3599.4))
}

// What is printed must not claim more than is known: the printed interval holds the known one
// but for the rounding of the value and a twentieth of a last digit.
func TestPrintedDoubtIsNeverLessThanItIs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64Range(-1000, 1000).Draw(t, "value")
		half := math.Pow(10, rapid.Float64Range(-4, 2).Draw(t, "log half"))
		q := Metric.length()
		printed, decimals := q.doubt(half), q.decimalsFor(half)
		require.GreaterOrEqual(t, parse(t, printed), half-0.05*math.Pow(10, -float64(decimals))-1e-12)
		if half < 100 && half > 0.01 { // in between, the doubt has one or two digits and adds at most a last digit
			require.LessOrEqual(t, len(strings.TrimLeft(strings.Replace(printed, ".", "", 1), "0")), 3)
		}
		require.NotContains(t, q.measured(trace.Estimate{Value: value, Low: value - half, High: value + half}), "-0.00 ")
	})
}
