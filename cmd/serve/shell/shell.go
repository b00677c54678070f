// Package shell is what all rooms of the local page share: the frame of every page, forms and faults, what answers to programs have
// in common, and looking up what an address names. A room is a package with the pages and the interface of one resource;
// it embeds a [Shell] and adds its templates to it.
package shell

import (
	"groundline/report/keep"
	"html/template"
	"log/slog"
	"net/http"
	"time"
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

// Shell is what the rooms' handlers share. It does not change once all rooms are made.
type Shell struct {
	Options
	pages  map[string]*template.Template
	static map[string]asset
}

// New is the shell before any room is made.
func New(opt Options) *Shell {
	s := &Shell{Options: opt, pages: map[string]*template.Template{}, static: loadStatic()}
	s.Add(templateFiles)
	return s
}

// Routes are the files that pages load, and the choice of units.
func (s *Shell) Routes(mux *http.ServeMux) {
	mux.HandleFunc("GET /static/{file...}", s.file)
	mux.HandleFunc("POST /units", s.setUnits)
}

// Whole is the handler of all routes, with what all answers have in common.
func (s *Shell) Whole(mux *http.ServeMux) http.Handler {
	mux.HandleFunc("/", s.otherwise(mux))
	return s.manners(mux)
}
