// Package editor is the course editor: a plan drawn on the page, and what its script asks.
package editor

import (
	"embed"
	"groundline/cmd/serve/horses"
	"groundline/cmd/serve/shell"
)

//go:embed all:templates
var templates embed.FS

// Room is the pages and the interface of editor.
type Room struct {
	*shell.Shell
	horses *horses.Room
}

// New adds the room to the shell.
func New(sh *shell.Shell, horse *horses.Room) *Room {
	sh.Add(templates)
	return &Room{Shell: sh, horses: horse}
}
