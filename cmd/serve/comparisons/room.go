// Package comparisons is rides and attempts side by side.
package comparisons

import (
	"embed"
	"groundline/cmd/serve/rides"
	"groundline/cmd/serve/shell"
)

//go:embed all:templates
var templates embed.FS

// Room is the pages and the interface of comparisons.
type Room struct {
	*shell.Shell
	rides *rides.Room
}

// New adds the room to the shell.
func New(sh *shell.Shell, ride *rides.Room) *Room {
	sh.Add(templates)
	return &Room{Shell: sh, rides: ride}
}
