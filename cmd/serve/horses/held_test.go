package horses

import (
	"groundline/report/keep"
	"groundline/report/record"
	"testing"

	"github.com/stretchr/testify/require"
)

// A record is held until its rides, its name or its size change.
func TestHeldRecords(t *testing.T) {
	c := records{}
	h := keep.Horse{ID: 1, Name: "Birch"}
	rec := &record.Record{}
	c.put(h, "a", rec)
	held, ok := c.find(h, "a")
	require.True(t, ok)
	require.Same(t, rec, held)
	_, ok = c.find(h, "b")
	require.False(t, ok)
	h.Size = "large pony"
	_, ok = c.find(h, "a")
	require.False(t, ok, "the size is in it")
	for i := range 3 * mostRecords {
		c.put(keep.Horse{ID: int64(i)}, "a", rec)
	}
	require.LessOrEqual(t, len(c.held), mostRecords)
}
