// Package horses is the horses and their records.
package horses

import (
	"embed"
	"groundline/cmd/serve/shell"
)

//go:embed all:templates
var templates embed.FS

// Room is the pages and the interface of horses.
type Room struct {
	*shell.Shell
	records records
}

// New adds the room to the shell.
func New(sh *shell.Shell) *Room {
	sh.Add(templates)
	return &Room{Shell: sh}
}
