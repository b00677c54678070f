package report

import (
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"groundline/trace"
)

// Every figure is declared whole: words for both directions, a meaning, how it is found; what stands in a debrief has
// bounds, and its field is there.
func TestFiguresAreDeclaredWhole(t *testing.T) {
	seen := map[Key]bool{}
	for _, f := range Figures() {
		require.False(t, seen[f.Key], f.Key)
		seen[f.Key] = true
		require.Equal(t, 1, strings.Count(f.More, "%s"), f.Key)
		require.Equal(t, 1, strings.Count(f.Less, "%s"), f.Key)
		require.NotEmpty(t, f.Name)
		require.NotEmpty(t, f.Meaning, f.Key)
		require.NotEmpty(t, f.Derived, f.Key)
		require.Equal(t, f.Field != "", f.High > f.Low, "%s: bounds go with a field", f.Key)
		require.Equal(t, f.Name, f.Key.Name())
		if f.Field != "" {
			requireField(t, f.Field)
		}
		require.Nil(t, f.Of(RiddenLine{}), "%s of nothing", f.Key)
		require.Nil(t, f.Of(RiddenLine{&Line{}, &Effort{}, &Effort{}}), "%s of nothing known", f.Key)
	}
}

// requireField follows a field's path through the debrief's JSON names to an estimate.
func requireField(t *testing.T, field string) {
	t.Helper()
	at := reflect.TypeFor[Debrief]()
	for _, part := range strings.Split(field, ".") {
		name := strings.TrimSuffix(part, "[]")
		for at.Kind() == reflect.Pointer || at.Kind() == reflect.Slice {
			at = at.Elem()
		}
		found := false
		for i := range at.NumField() {
			if jsonName(at.Field(i)) == name {
				at, found = at.Field(i).Type, true
				break
			}
		}
		require.True(t, found, field)
	}
	require.Equal(t, reflect.TypeFor[*trace.Estimate](), at, field)
}
