package course

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReadHorse(t *testing.T) {
	h, err := ReadHorse("h.yaml", []byte(`horse: groundline/1
name: Bramble
stride: {value: 3.4, low: 3.3, high: 3.5}
landing: 1.9
takeoff: 1.6
pace: 330
homeward: 0.03
`))
	require.NoError(t, err)
	require.Equal(t, "Bramble", h.Name)
	require.Equal(t, 3.4, h.StrideM.Value)
	require.Equal(t, 3.3, h.StrideM.Low)
	require.InDelta(t, 1.9+0.37*3.4, h.LandingM.Value, 1e-9, "to the first hind contact")
	require.Equal(t, 1.6, h.TakeoffM.Value)
	require.InDelta(t, 5.5, h.SpeedMS.Value, 1e-12)
	require.Equal(t, 0.03, h.HomewardRel.Value)
	require.InDelta(t, -0.33, h.GradeRel.Value, 1e-12)

	h, err = ReadHorse("h.yaml", []byte("horse: groundline/1\nunits: feet\nstride: 12\n"))
	require.NoError(t, err)
	require.InDelta(t, StandardStrideM, h.StrideM.Value, 1e-12)
	require.InDelta(t, StandardStrideM/2, h.LandingM.Value, 1e-12)
	require.InDelta(t, 0.0329, (h.StrideM.High-h.StrideM.Value)/h.StrideM.Value, 1e-3, "1.645 times 2 %")

	h, err = ReadHorse("h.yaml", []byte("horse: groundline/1\nsize: small pony\nname: Nut\n"))
	require.NoError(t, err)
	require.Equal(t, "Nut", h.Name)
	require.Equal(t, Profiles()[4].StrideM, h.StrideM.Value)
}

func TestHorseFaults(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", "the file is empty"},
		{"name: x", "horse: the field is missing, expected groundline/1"},
		{"horse: groundline/1", "stride: the field is missing, expected metres, or a size"},
		{"horse: groundline/2\nstride: 3", `h:1: horse: found "groundline/2"`},
		{"horse: groundline/1\nsize: camel", `h:2: size: found "camel", expected one of horse,`},
		{"horse: groundline/1\nstride: 12", `h:2: stride: found "12", expected a number of metres from 1 to 8`},
		{"horse: groundline/1\nstride: {value: 3}", `stride.low: the field is missing`},
		{"horse: groundline/1\nstride: {value: 3, low: 3.1, high: 3.2}", `the value lies outside its interval`},
		{"horse: groundline/1\nstride: 3\nlanding: 2", `found one of landing and takeoff, expected both or none`},
		{"horse: groundline/1\nstide: 3", `unknown field "stide", expected one of horse`},
		{"horse: groundline/1\nstride: .inf", `stride: found ".inf"`},
		{"horse: groundline/1\nstride: 3\npace: 3", `pace: found "3", expected a number from 50 to 1200`},
		{strings.Repeat("[", 100), "lists within lists"},
	} {
		_, err := ReadHorse("h", []byte(c.text))
		var faults Faults
		require.True(t, errors.As(err, &faults), c.text)
		require.Contains(t, err.Error(), c.want)
	}
}

func FuzzReadHorse(f *testing.F) {
	f.Add([]byte("horse: groundline/1\nname: Bramble\nstride: {value: 3.4, low: 3.3, high: 3.5}\nlanding: 1.9\ntakeoff: 1.6\npace: 330\nhomeward: 0.03\n"))
	f.Add([]byte("horse: groundline/1\nsize: large pony\nunits: paces\nstride: 3.5\n"))
	p, _ := mustRead(f, goodPlan)
	f.Fuzz(func(t *testing.T, data []byte) {
		h, err := ReadHorse("f", data)
		if err != nil {
			return
		}
		for _, l := range p.Walk(h).Lines {
			if !(l.Real.Low <= l.Real.Value && l.Real.Value <= l.Real.High) {
				t.Fatalf("%+v", l.Real)
			}
		}
	})
}
