package table

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"groundline/report/paths"
)

// The shards of any number of rides are all of them, each once, and about equally many.
func TestShardsAreTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rides := make([]paths.Ride, rapid.IntRange(0, 50).Draw(t, "rides"))
		for i := range rides {
			rides[i].Recording = string(rune('A' + i))
		}
		n := rapid.IntRange(1, 12).Draw(t, "n")
		seen := map[string]int{}
		for i := 1; i <= n; i++ {
			part := Shard{i, n}.Take(rides)
			require.InDelta(t, float64(len(rides))/float64(n), len(part), 1)
			for _, r := range part {
				seen[r.Recording]++
			}
		}
		require.Len(t, seen, len(rides))
		for _, k := range seen {
			require.Equal(t, 1, k)
		}
	})
}

// Folder names are what Hive, and the engines after it, write and read: percent and two hex digits for what has a meaning
// in paths or to them (the characters of Hive's FileUtils, from memory), all else as it stands.
func TestFolder(t *testing.T) {
	for horse, want := range map[string]string{
		"":            "horse=__HIVE_DEFAULT_PARTITION__",
		"Bramble":     "horse=Bramble",
		"Old Moss":    "horse=Old Moss",
		"a/b\\..":     "horse=a%2Fb%5C..",
		"50% = x:y?":  "horse=50%25 %3D x%3Ay%3F",
		"Épée":        "horse=Épée",
		"tab\there#1": "horse=tab%09here%231",
	} {
		require.Equal(t, want, Folder(horse))
	}
}
