package survey

import (
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/course"
)

func TestNames(t *testing.T) {
	z := func(v float64) *float64 { return &v }
	for name, want := range map[string]meaning{
		"1":                         {what: obstacle, id: "1"},
		"07":                        {what: obstacle, id: "7"},
		"001":                       {what: obstacle, id: "1"},
		"7a":                        {what: obstacle, id: "7a"},
		"7A ":                       {what: obstacle, id: "7a"},
		"#12":                       {what: obstacle, id: "12"},
		"Fence 3":                   {what: obstacle, id: "3"},
		"no. 3":                     {what: obstacle, id: "3"},
		"3 left":                    {what: obstacle, id: "3", side: "left"},
		"3_R":                       {what: obstacle, id: "3", side: "right"},
		"left end of":               {}, // "of" is no word of ours
		"4 oxer 0.90":               {what: obstacle, id: "4", kind: course.Oxer, heightM: 0.9},
		"Oxer 4, 85cm":              {what: obstacle, id: "4", kind: course.Oxer, heightM: 0.85},
		"4 0,85m":                   {what: obstacle, id: "4", heightM: 0.85},
		"5 triple bar":              {what: obstacle, id: "5", kind: course.TripleBar},
		"5 cross-pole":              {what: obstacle, id: "5", kind: course.Cross},
		"5 cross poles":             {what: obstacle, id: "5", kind: course.Cross},
		"5 upright":                 {what: obstacle, id: "5", kind: course.Vertical},
		"5 ground pole":             {what: obstacle, id: "5", kind: course.Pole},
		"5 oxer wall":               {},
		"5 oxer 9.5":                {},
		"5 6":                       {},
		"corner":                    {what: corner},
		"Corner 2":                  {what: corner, id: "2"},
		"corner left":               {},
		"start":                     {what: start},
		"Start Left":                {what: start, side: "left"},
		"finish line r":             {what: finish, side: "right"},
		"start 3":                   {},
		"home":                      {what: home},
		"stables":                   {what: home},
		"gate":                      {what: gate},
		"in-gate":                   {what: gate},
		"home gate":                 {},
		"level 0.35":                {what: level, zM: z(0.35)},
		"level -1.2":                {what: level, zM: z(-1.2)},
		"level 2":                   {what: level, zM: z(2)},
		"level 35cm":                {what: level, zM: z(0.35)},
		"level":                     {},
		"level high":                {},
		"level NaN":                 {},
		"level 1e9":                 {},
		"3 level 0.35":              {what: obstacle, id: "3", zM: z(0.35)},
		"level 0.35 corner 3":       {what: corner, id: "3", zM: z(0.35)},
		"":                          {what: unnamed},
		"lap 4":                     {what: unnamed},
		"Waypoint 12":               {what: unnamed},
		"WPT003":                    {},
		"jump":                      {what: unnamed},
		"oxer":                      {what: unnamed, kind: course.Oxer},
		"lap 4 oxer":                {what: unnamed, kind: course.Oxer},
		"left":                      {what: unnamed, side: "left"},
		"Anna's lunch":              {},
		"12345":                     {},
		"3 \x1b[31m":                {},
		"٣":                         {},
		"3 3":                       {},
		"level 0.3 level 0.4":       {},
		"1 left right":              {},
		"1 0.80 0.90":               {},
		"1 -0.80":                   {what: obstacle, id: "1", heightM: 0.8}, // a dash, as in 1 - 0.80
		"a very long name of words": {},
	} {
		got := understand(name)
		require.Equal(t, want, got, "%q", name)
	}
}

// A label is understood as what it is the label of.
func TestLabelsAreUnderstood(t *testing.T) {
	for _, name := range []string{"1", "7a", "3 left", "3 right", "corner 2", "start", "start left", "finish right", "home", "gate"} {
		m := understand(name)
		require.Equal(t, name, m.label())
		require.Equal(t, m, understand(m.label()))
	}
}

func FuzzNames(f *testing.F) {
	for _, s := range []string{"3 level 0.35", "7a oxer 85cm", "corner 2", "start l", "lap 3", "#1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		m := understand(name)
		if m.what == obstacle && m.id == "" || m.heightM < 0 || m.heightM > 2.5 {
			t.Fatalf("%q: %+v", name, m)
		}
		if m.zM != nil && !(*m.zM >= -100 && *m.zM <= 9000) {
			t.Fatalf("%q: level %v", name, *m.zM)
		}
	})
}
