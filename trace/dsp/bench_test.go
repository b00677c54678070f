package dsp_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/trace/dsp"
)

// hour is an hour of one axis at 200 Hz, its times jittered.
func hour() (timeS, x []float64) {
	const n = 720_000
	timeS, x = make([]float64, n), make([]float64, n)
	for i := range timeS {
		timeS[i] = (float64(i) + 0.1*math.Sin(float64(i*i))) / 200
		x[i] = 9.81 + 3*math.Sin(2*math.Pi*1.7*timeS[i])
	}
	return timeS, x
}

func BenchmarkZeroPhaseHour(b *testing.B) {
	_, x := hour()
	f, err := dsp.Lowpass(4, 6, 200)
	require.NoError(b, err)
	for b.Loop() {
		f.ZeroPhase(x)
	}
}

func BenchmarkSampleHour(b *testing.B) {
	timeS, x := hour()
	for b.Loop() {
		for _, p := range dsp.Pieces(timeS, 100, 0.1) {
			p.Sample(timeS, x)
		}
	}
}

func BenchmarkHampelHour(b *testing.B) {
	_, x := hour()
	for b.Loop() {
		dsp.Hampel(x, 4, 5)
	}
}

// Six channels at a hundred a second, as they are laid on a grid together.
func BenchmarkSampleAllHour(b *testing.B) {
	timeS, x := hour()
	for b.Loop() {
		for _, p := range dsp.Pieces(timeS, 100, 0.1) {
			p.SampleAll(timeS, x, x, x, x, x, x)
		}
	}
}
