package main

import (
	"fmt"
	"path/filepath"
	"time"
)

// Progress is shown for files that take a second or more to read, no more often than eyes can use.
const (
	progressFrom  = 16 << 20 // bytes
	progressEvery = 200 * time.Millisecond
)

// progress writes how much of a large file is read on one row of a terminal, and is nil
// elsewhere. clear wipes the row.
func progress(std streams) (show func(file string, done, size int64), clear func()) {
	if !std.progress {
		return nil, func() {}
	}
	var last time.Time
	shown := false
	show = func(file string, done, size int64) {
		if size < progressFrom || time.Since(last) < progressEvery {
			return
		}
		last, shown = time.Now(), true
		fmt.Fprintf(std.err, "\r\x1b[Kreading %s: %d %%", filepath.Base(file), 100*done/size)
	}
	return show, func() {
		if shown {
			fmt.Fprint(std.err, "\r\x1b[K")
		}
	}
}
