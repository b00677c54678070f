package serve

import (
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"
)

// The page as it is drawn, for a first look.
func TestStridesPageIsDrawn(t *testing.T) {
	server := site(t, withDemo)
	for _, path := range []string{"/strides", "/strides?rides=1", "/strides?nothing=1", "/strides/columns", "/programs"} {
		status, page := got(t, server.URL+path)
		require.Equal(t, 200, status, "%s\n%s", path, page)
	}
	status, _ := got(t, server.URL+"/strides?"+url.Values{"do": {"all"}}.Encode())
	require.Equal(t, 200, status)
}
