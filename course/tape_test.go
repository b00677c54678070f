package course

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReadTape(t *testing.T) {
	tape, err := ReadTape("tape.yaml", []byte(`tape: groundline/1
name: Long field
units: feet
distances:
  - {from: "1", to: 2, d: 72}
  - {from: corner 1, to: "7a", d: 100, sd: 0.5}
levels:
  - {at: "1", z: 1}
  - {at: home, z: -2}
obstacles:
  - {id: "2", kind: triple bar, height: 0.9, spread: 1.2, width: 12}
  - {id: "3", spread: 0}
`))
	require.NoError(t, err)
	require.Equal(t, "Long field", tape.Name)
	require.False(t, tape.Paced)
	require.Len(t, tape.Distances, 2)
	require.Equal(t, "2", tape.Distances[0].To)
	require.InDelta(t, 21.9456, tape.Distances[0].M, 1e-12) // 72 international feet
	require.Zero(t, tape.Distances[0].SDM)
	require.InDelta(t, 0.1524, tape.Distances[1].SDM, 1e-12)
	require.Equal(t, 6, tape.Distances[1].Line)
	require.Equal(t, "distances[1]", tape.Distances[1].Field)
	require.InDelta(t, 0.3048, tape.Levels[0].ZM, 1e-12)
	require.InDelta(t, -0.6096, tape.Levels[1].ZM, 1e-12)
	// Height and spread are in metres whatever the units, as in a plan.
	require.Equal(t, TapeObstacle{ID: "2", Kind: TripleBar, HeightM: 0.9, SpreadM: 1.2, WidthM: tape.Obstacles[0].WidthM, SpreadGiven: true, Line: 11, Field: "obstacles[0]"}, tape.Obstacles[0])
	require.InDelta(t, 3.6576, tape.Obstacles[0].WidthM, 1e-12)
	require.True(t, tape.Obstacles[1].SpreadGiven)

	tape, err = ReadTape("tape.yaml", []byte("tape: groundline/1\nunits: paces\ndistances: [{from: '1', to: '2', d: 24}]\n"))
	require.NoError(t, err)
	require.True(t, tape.Paced)
	require.InDelta(t, 24*0.914, tape.Distances[0].M, 1e-12)

	tape, err = ReadTape("tape.yaml", []byte("tape: groundline/1\n"))
	require.NoError(t, err)
	require.Empty(t, tape.Distances)
}

// Every fault at once, each with its line and field.
func TestTapeFaults(t *testing.T) {
	_, err := ReadTape("tape.yaml", []byte(`tape: groundline/2
units: cubits
distence: 3
distances:
  - {from: "1", to: "1", d: 20}
  - {from: "1", d: 20}
  - {from: "1", to: "2", d: 0}
  - {from: "1", to: "2", d: -3}
  - {from: "1", to: "2", d: .nan}
  - {from: "1", to: "2", d: }
  - {from: "1", to: "2", d: "21.95"}
  - {from: "1", to: "2", d: 21.95, by: Ann}
  - 21.95
levels:
  - {at: "1"}
  - {at: [1, 2], z: 3}
obstacles:
  - {id: "2", kind: oxr}
  - {id: "2", height: 9}
  - {kind: oxer}
`))
	var faults Faults
	require.ErrorAs(t, err, &faults)
	told := err.Error()
	for _, want := range []string{
		`tape.yaml:1: tape: found "groundline/2", expected groundline/1`,
		"tape.yaml:2: units: ",
		`tape.yaml:3: unknown field "distence", expected one of tape, name, units, distances, levels, obstacles (did you mean distances?)`,
		`tape.yaml:5: distances[0]: found a distance from "1" to itself, expected two marks`,
		"tape.yaml:6: distances[1].to: the field is missing, expected the name of a mark",
		`tape.yaml:7: distances[2].d: found "0", expected a length above zero`,
		"tape.yaml:8: distances[3].d: ",
		"tape.yaml:9: distances[4].d: ",
		"tape.yaml:10: distances[5].d: found nothing, expected the distance",
		"tape.yaml:11: distances[6].d: ",
		`tape.yaml:12: distances[7]: unknown field "by"`,
		`tape.yaml:13: distances[8]: found "21.95", expected fields: from, to, d, sd`,
		"tape.yaml:15: levels[0].z: the field is missing",
		"tape.yaml:16: levels[1].at: found a list of 2",
		`tape.yaml:18: obstacles[0].kind: unknown kind "oxr"`,
		`tape.yaml:19: obstacles[1].id: id "2" given twice`,
		"tape.yaml:19: obstacles[1].height: ",
		"tape.yaml:20: obstacles[2].id: the field is missing",
	} {
		require.Contains(t, told, want)
	}
	require.Len(t, faults, 18)

	for _, bad := range []string{"", "[]", "3", "\x00", "tape: groundline/1\n---\ntape: groundline/1\n", "tape: &a groundline/1\nname: *a\n", strings.Repeat("[", 200)} {
		_, err := ReadTape("tape.yaml", []byte(bad))
		require.ErrorAs(t, err, &faults, "%q", bad)
	}
}

func TestTapeSD(t *testing.T) {
	require.InDelta(t, 0.05, TapeSDM(0, false), 1e-9)
	require.InDelta(t, 0.083, TapeSDM(22, false), 0.001)
	require.Greater(t, TapeSDM(22, true), 0.6)
}

func FuzzReadTape(f *testing.F) {
	if data, err := os.ReadFile("../testdata/survey/tape.yaml"); err == nil {
		f.Add(data)
	}
	f.Add([]byte("tape: groundline/1\nunits: paces\ndistances: [{from: '1', to: '2', d: 24}]\n"))
	f.Add([]byte("tape: groundline/1\nlevels: [{at: 1, z: 1e3}]\nobstacles: [{id: 1, kind: oxer}]"))
	f.Fuzz(func(t *testing.T, data []byte) {
		tape, err := ReadTape("tape.yaml", data)
		if (tape == nil) == (err == nil) {
			t.Fatalf("%v, %v", tape, err)
		}
		if err != nil {
			return
		}
		for _, d := range tape.Distances {
			if !(d.M > 0 && d.M <= maxWalkedM && d.SDM >= 0) || d.From == "" || d.To == "" {
				t.Fatalf("%+v", d)
			}
		}
	})
}
