// Package serve is the local web page: a rider drops the files of a round and lands on its debrief, a coach
// draws courses and compares attempts, a horse's record grows with its rides, a researcher takes the stride
// table away.
//
// The handlers are thin. What is kept is [keep.Store]'s; every figure is worked out and worded by the packages
// below. Pages are written on the server and work without a script where they can: a form, then a
// redirect. Small scripts add what a form can't: dropping files, progress, drawing a course. Everything is embedded
// in the program, and no page asks anything of another machine.
//
// Who may come in, and what a browser may do with a page, is package guard's; it is wrapped about the handler that
// [New] gives. Programs have the same under /api/1/, described by openapi.yaml.
package serve

import (
	"log/slog"
	"net/http"
	"time"

	"groundline/report/keep"
)

// Options are what the server is made of.
type Options struct {
	Store   *keep.Store
	Log     *slog.Logger // nil: nothing is logged
	Program string       // the program and its version, for tables
	// MaxUploadBytes is the largest recording that is taken, all its files together; 0 for DefaultMaxUploadBytes.
	MaxUploadBytes int64
	// Demo are the files of an invented round with its course.yaml, offered while nothing is kept; nil offers none.
	Demo map[string][]byte
	// Patience is how long a stride table waits for rides that are not worked out; 0 for ten minutes.
	Patience time.Duration
	Now      func() time.Time // nil: time.Now
}

// DefaultMaxUploadBytes is an hour of six axes at 200 Hz as text, some 100 MB, five times over.
const DefaultMaxUploadBytes = 512 << 20

// server is what the handlers share. It does not change once made, but for the records that it holds
// and the debriefs that it fetches.
type server struct {
	Options
	pages   map[string]*pageTemplate
	static  map[string]asset
	records records
	anew    anew
}

// New is the handler of all pages and of the interface for programs.
func New(opt Options) http.Handler {
	if opt.Log == nil {
		opt.Log = slog.New(slog.DiscardHandler)
	}
	if opt.MaxUploadBytes == 0 {
		opt.MaxUploadBytes = DefaultMaxUploadBytes
	}
	if opt.Patience == 0 {
		opt.Patience = 10 * time.Minute
	}
	if opt.Now == nil {
		opt.Now = time.Now
	}
	s := &server{Options: opt, static: loadStatic()}
	s.pages = loadPages(s.static)
	return s.routes()
}
