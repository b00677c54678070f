// Package lines is the attempts at one line of a course, listed and drawn.
package lines

import (
	"embed"
	"groundline/cmd/serve/shell"
	"net/http"
)

//go:embed all:templates
var templates embed.FS

// Routes are the attempts at a line.
func (s *Room) Routes(mux *http.ServeMux) {
	mux.HandleFunc("GET /courses/{id}/lines/{from}/{to}", s.showLine)
	mux.HandleFunc("GET /api/1/courses/{id}/lines/{from}/{to}/attempts", s.apiAttempts)
}

// Room is the pages and the interface of lines.
type Room struct {
	*shell.Shell
}

// New adds the room to the shell.
func New(sh *shell.Shell) *Room {
	sh.Add(templates)
	return &Room{Shell: sh}
}
