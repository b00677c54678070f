// Package serve is the local web page: a rider drops the files of a round and lands on its debrief, a coach
// draws courses and compares attempts, a horse's record grows with its rides, a researcher takes the stride
// table away.
//
// Each resource has a package of its own: rides, lessons, courses (with their editor), lines, horses, strides and comparisons. What they
// share is package shell: the frame of every page, forms, faults, the answers to programs. Package guard decides who may come
// in, and what a browser may do with a page; it is wrapped about the handler that [New] gives.
//
// The handlers are thin. What is kept is [keep.Store]'s; every figure is measured and worded by the packages
// below. Pages are written on the server and work without a script where they can: a form, then a
// redirect. Small scripts add what a form can't: dropping files, progress, drawing a course. Everything is embedded
// in the program, and no page asks anything of another machine. Programs have the same under /api/1/, described by openapi.yaml.
package serve

import (
	"log/slog"
	"net/http"
	"time"

	"groundline/cmd/serve/comparisons"
	"groundline/cmd/serve/courses"
	"groundline/cmd/serve/editor"
	"groundline/cmd/serve/horses"
	"groundline/cmd/serve/lessons"
	"groundline/cmd/serve/lines"
	"groundline/cmd/serve/rides"
	"groundline/cmd/serve/shell"
	"groundline/cmd/serve/strides"
)

// Options are what the server is made of.
type Options = shell.Options

// DefaultMaxUploadBytes is an hour of six axes at 200 Hz as text, some 100 MB, five times over.
const DefaultMaxUploadBytes = 512 << 20

// server is the description of the interface beside the shell that it is shown in.
type server struct{ *shell.Shell }

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
	sh := shell.New(opt)
	ride, horse := rides.New(sh), horses.New(sh)
	edit := editor.New(sh, horse)
	mux := http.NewServeMux()
	sh.Routes(mux)
	for _, add := range []func(*http.ServeMux){
		ride.Routes, courses.New(sh, horse, edit).Routes, edit.Routes, lines.New(sh).Routes, horse.Routes,
		comparisons.New(sh, ride).Routes, lessons.New(sh).Routes, strides.New(sh, ride).Routes, newServer(sh).programRoutes,
	} {
		add(mux)
	}
	return sh.Whole(mux)
}
