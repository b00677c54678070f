package layout

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestCell(t *testing.T) {
	for text, want := range map[string]string{
		"": "", "Bramble": "Bramble", "3-4": "3-4", "'t Hof": "'t Hof",
		"=1+1": "'=1+1", "+44": "'+44", "-x": "'-x", "@SUM(A1)": "'@SUM(A1)", "'=1": "''=1",
	} {
		require.Equal(t, want, Cell(text))
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOf(rapid.SampledFrom([]rune("'=+-@\t\ra "))).Draw(t, "text")
		require.Equal(t, text, OfCell(Cell(text)))
		require.NotContains(t, "=+-@\t\r", (Cell(text) + " ")[:1])
	})
}
