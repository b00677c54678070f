package columns

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestTables(t *testing.T) {
	for text, want := range map[string][][]string{
		"a,b,c,d\n1,2,3,4\n":               {{"a", "b", "c", "d"}, {"1", "2", "3", "4"}},
		"a;b;c;d\n1;2;3;4\n1;2;3;4\n":      {{"a", "b", "c", "d"}, {"1", "2", "3", "4"}, {"1", "2", "3", "4"}},
		"Device X\na\tb\tc\td\n1\t2\t3\t4": {{"a", "b", "c", "d"}, {"1", "2", "3", "4"}},
		"a,b\n1,2\n":                       nil,
		"<gpx a=\"1,2,3,4\">\n,,,\n":       nil,
		"\xff\xfe,,,\n,,,\n":               nil,
		"":                                 nil,
		"a,b,c,d":                          nil,
	} {
		require.Equal(t, want, tableOf([]byte(text)), "%q", text)
	}
}

// What only looks packed is no table.
func TestBrokenlyPacked(t *testing.T) {
	require.Nil(t, tableOf(beginning(strings.NewReader("\x1f\x8bno such"))))
}
