// Package rides is what becomes of a recording: dropping files, the list, the debrief.
package rides

import (
	"embed"
	"groundline/cmd/serve/shell"
)

//go:embed all:templates
var templates embed.FS

// Room is the pages and the interface of rides.
type Room struct {
	*shell.Shell
	anew anew
}

// New adds the room to the shell.
func New(sh *shell.Shell) *Room {
	sh.Add(templates)
	return &Room{Shell: sh}
}
