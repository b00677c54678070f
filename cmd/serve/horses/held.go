package horses

import (
	"groundline/report/keep"
	"groundline/report/record"
	"sync"
)

// records are those that were worked out last, each as long as its horse's mark in the store stays: a record of hundreds of rides
// takes a tenth of a second to make.
type records struct {
	mu   sync.Mutex
	held map[int64]heldRecord
}

type heldRecord struct {
	mark, name, size string
	rec              *record.Record
}

// mostRecords are held at most: some megabytes where each has hundreds of rides.
const mostRecords = 200

func (c *records) find(h keep.Horse, mark string) (*record.Record, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	r, ok := c.held[h.ID]
	if !ok || r.mark != mark || r.name != h.Name || r.size != h.Size {
		return nil, false
	}
	return r.rec, true
}

// put holds a record that was made of what the store told at a mark. What was told may be newer than the mark, which
// only means that it is made once more.
func (c *records) put(h keep.Horse, mark string, rec *record.Record) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.held == nil || len(c.held) >= mostRecords {
		c.held = map[int64]heldRecord{}
	}
	c.held[h.ID] = heldRecord{mark, h.Name, h.Size, rec}
}
